"""Memory of arrays: what a step drops is there for the next one."""

import sys

import numpy as np
import pytest

from pondpop.arrays import keep_memory

ROUNDS, ARRAYS, BYTES = 50, 20, 250_000


@pytest.mark.skipif(sys.platform != "linux", reason="other systems keep memory in their own ways")
def test_memory_of_arrays_dropped_is_used_again():
    import resource

    keep_memory()

    def rounds(count):
        for _ in range(count):
            arrays = [np.ones(BYTES // 8) for _ in range(ARRAYS)]
            del arrays

    rounds(2)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    rounds(ROUNDS)
    pages = resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before
    assert pages < ROUNDS * ARRAYS * BYTES / resource.getpagesize() / 10
