"""Memory of arrays, of which what a step drops is there for the next one; smooth steps."""

import sys
from functools import reduce
from operator import add

import numpy as np
import pytest
from scipy.special import expit

from pondpop.arrays import aligned, hold_between, keep_memory, logistic, power, softplus, total

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


def test_smooth_steps_hold_for_any_number():
    z = np.array([-np.inf, -1e4, -745.0, -30.0, -1.0, 0.0, 1.0, 30.0, 745.0, 1e4, np.inf])
    with np.errstate(over="raise", invalid="raise", divide="raise"):
        step, larger = logistic(z), softplus(z[1:-1])
    np.testing.assert_allclose(step, expit(z), rtol=1e-14, atol=1e-300)
    np.testing.assert_allclose(larger, np.logaddexp(0.0, z[1:-1]), rtol=1e-14, atol=1e-300)


@pytest.mark.parametrize("exponent", [2.0, 0.5, -1.0, 1.9, 0.0])
def test_a_power_has_the_same_bits_alone_and_among_others(exponent):
    base, one = np.random.default_rng(0).uniform(0.01, 300.0, 2000), np.array([exponent])
    alone = np.concatenate([power(base[k : k + 1], one) for k in range(base.size)])
    np.testing.assert_array_equal(power(base, one), alone)
    np.testing.assert_array_equal(power(base.reshape(20, 100).T, one[:, None]).T.ravel(), alone)
    np.testing.assert_allclose(alone, [x**exponent for x in base.tolist()], rtol=1e-15)


@pytest.mark.parametrize("members", [1, 3])
def test_a_sum_runs_in_group_order_and_empty_columns_change_no_bit(members):
    amount = np.random.default_rng(1).lognormal(0.0, 3.0, (members, 700))
    in_order = [reduce(add, row.tolist()) for row in amount]
    np.testing.assert_array_equal(total(amount), in_order)
    np.testing.assert_array_equal(total(np.insert(amount, [0, 9, 9, 700], 0.0, axis=1)), in_order)


@pytest.mark.parametrize("of_members", [False, True])
def test_an_amount_is_held_between_bounds_of_all_or_of_each_member_in_its_own_memory(of_members):
    amount = np.arange(-4.0, 5.0).reshape(3, 3)
    low, high = (np.array([[-3.0], [0.0], [2.5]]), np.array([[-2.5], [0.5], [3.5]])) if of_members else (-2.0, 1.5)
    held = [[min(max(x, lo), hi) for x in row] for row, lo, hi in
            zip(amount.tolist(), np.ravel(low + np.zeros((3, 1))), np.ravel(high + np.zeros((3, 1))), strict=True)]  # fmt: skip
    assert hold_between(amount, low, high) is amount
    np.testing.assert_array_equal(amount, held)


@pytest.mark.parametrize("shape", [(1,), (5, 3), (1, 36, 180)])
def test_an_aligned_copy_begins_with_a_line_of_memory_and_holds_the_same(shape):
    amount = np.random.default_rng(0).random(shape)
    for _ in range(4):  # numpy's own memory begins anywhere
        copy = aligned(amount)
        assert copy.ctypes.data % 64 == 0 and not np.shares_memory(copy, amount)
        np.testing.assert_array_equal(copy, amount)
