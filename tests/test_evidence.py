"""No evidence row that used to hold may stop holding: every evidence pond is run, and the rows are read off again.

tests/evidence/held.txt lists the rows that held when `python benchmarks/evidence.py` last wrote it; the rows that must
hold are held to be there.
"""

import importlib.util
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import pytest

HOME = Path(__file__).parent.parent
HELD = HOME / "tests" / "evidence" / "held.txt"


def evidence():
    spec = importlib.util.spec_from_file_location("evidence", HOME / "benchmarks" / "evidence.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules["evidence"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def outcome():
    module = evidence()
    with ProcessPoolExecutor(2) as pool:
        values = module.measured_on(pool, module.rows())
    return {name: bool(module.holds(entry, values[name])) for name, entry in module.rows().items()}


def test_rows_that_held_still_hold(outcome):
    held = HELD.read_text(encoding="utf-8").split()
    assert len(held) > 60
    assert [name for name in held if not outcome[name]] == []


def test_rows_that_must_hold_do(outcome):
    must = [name for name, entry in evidence().rows().items() if entry["must_hold"]]
    assert len(must) >= 12
    assert [name for name in must if not outcome[name]] == []


def test_every_row_has_its_arithmetic_and_interval():
    module = evidence()
    assert set(module.rows()) == set(module.MEASURES)
    for name, entry in module.rows().items():
        assert entry["low"] < entry["high"], name
        assert entry["source"].strip() and entry["measured"].strip(), name
