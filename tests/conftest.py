"""One thread a process, as the program has it: many small products share out more than they gain. And how Hypothesis draws
cases in this suite: the same ones on every run, and a failing one is told as it was drawn.

The random search for rare cases belongs in benchmarks/fuzz_long.py, and a failure of the suite is told at
once and not after minutes of shrinking. Last, how several runs share the files of tests (`tests/__main__.py`).
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from itertools import chain, groupby, pairwise
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, settings

for library in ("OPENBLAS", "MKL", "OMP"):
    os.environ.setdefault(f"{library}_NUM_THREADS", "1")

settings.register_profile(
    "suite",
    derandomize=True,
    database=None,
    deadline=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.function_scoped_fixture],
)
settings.load_profile("suite")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--claims", type=Path, help="folder by which several runs share the files of tests (tests/__main__.py)")


@pytest.hookimpl(tryfirst=True)
def pytest_runtestloop(session: pytest.Session) -> bool | None:
    """Run what this process claims before others do; without --claims pytest's own loop runs everything."""
    if session.config.option.claims is None or session.testsfailed or session.config.option.collectonly:
        return None
    for item, following in pairwise(chain(claimed(session), [None])):
        item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
        if session.shouldfail:
            raise session.Failed(session.shouldfail)
        if session.shouldstop:
            raise session.Interrupted(session.shouldstop)
    return True


def claimed(session: pytest.Session) -> Iterator[pytest.Item]:
    """The tests of the files that no other process has claimed, those of files with many slow ones first."""
    files = [list(tests) for _, tests in groupby(session.items, key=lambda item: item.path)]
    files.sort(key=lambda tests: sum(1 + 99 * ("slow" in test.keywords) for test in tests), reverse=True)
    for tests in files:
        name = str(tests[0].path.relative_to(session.config.rootpath)).replace(os.sep, "-")
        try:
            (session.config.option.claims / name).touch(exist_ok=False)
        except FileExistsError:
            continue
        yield from tests
