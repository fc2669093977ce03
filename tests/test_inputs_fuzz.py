"""Whatever file is given, it is understood, or refused in one line with status 2: no traceback, no warning, no hang.

A few hundred cases here, the same ones each time; benchmarks/fuzz_long.py tries more than ten thousand.
"""

from __future__ import annotations

import os
import tempfile
import time
from pathlib import Path

import pytest
from commands import TooSlow, answered_or_refused, asked, assess_files, check_bytes, in_good_time
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis_ponds import broken_scenarios, records, scenario_bytes, scenarios, toml
from small import raw as small_raw

from pondpop.checks import InputError
from pondpop.records import read_records
from pondpop.scenario import load, resolve


@settings(max_examples=60)
@given(scenarios())
def test_valid_scenarios_are_understood(raw):
    assert check_bytes(toml(raw).encode()) == 0


@settings(max_examples=150)
@given(broken_scenarios())
def test_broken_scenarios_are_understood_or_refused(raw):
    check_bytes(toml(raw).encode("utf-8", "surrogatepass"))


@settings(max_examples=120)
@given(scenario_bytes())
def test_damaged_files_are_understood_or_refused(data):
    check_bytes(data)


@settings(max_examples=60)
@given(records())
def test_records_without_damage_are_assessed_unless_most_of_a_sheet_would_be_lost(files):
    if assess_files(files) != 0:
        with tempfile.TemporaryDirectory() as folder:
            for name, data in files.items():
                (Path(folder) / name).write_bytes(data)
            with pytest.raises(InputError, match="rows that would be left out, needs at most half"):
                read_records(folder)


@settings(max_examples=120)
@given(records(broken=True), st.booleans())
def test_damaged_records_are_assessed_or_refused(files, strict):
    assess_files(files, *(["--strict"] if strict else []))


def test_what_waits_or_works_for_ever_is_noticed():
    with pytest.raises(TooSlow), in_good_time(0.05):
        while True:
            pass
    with pytest.raises(TooSlow), in_good_time(0.05):
        time.sleep(60)
    with pytest.raises(TooSlow), in_good_time(0.05), in_good_time(60):
        time.sleep(60)


@pytest.mark.parametrize("kind", ["pipe", "folder", "endless"])
@pytest.mark.parametrize("name", ["pond.toml", "survey.csv", "readings.csv"])
def test_what_is_no_ordinary_file_is_refused_and_not_waited_for(tmp_path, kind, name):
    path = tmp_path / name
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    else:
        path.symlink_to("/dev/zero")
    asks = {"pond.toml": ("check", path), "survey.csv": ("assess", tmp_path)}
    if name == "readings.csv":
        scenario = small_raw() | {"water": {"readings_csv": name}}
        (tmp_path / "pond.toml").write_text(toml(scenario), "utf-8")
    with in_good_time(2):
        assert answered_or_refused(*asks.get(name, ("check", tmp_path / "pond.toml"))) == 2


@pytest.mark.parametrize("key", ["title", "pond", "run", "strategies", "water"])
def test_a_key_given_twice_is_refused(key):
    line = f'{key} = "again"\n'
    assert check_bytes(f"{line}{line}".encode()) == 2


def huge(path: Path, start: bytes) -> Path:
    """A file of 100 MB that takes no place on the disk."""
    with path.open("wb") as file:
        file.write(start)
        file.truncate(100_000_000)
    return path


def test_a_scenario_of_100_mb_is_refused_at_once(tmp_path):
    with in_good_time(10):
        assert answered_or_refused("check", huge(tmp_path / "pond.toml", b'title = "x"\n')) == 2


def test_records_of_100_mb_are_refused_in_good_time(tmp_path):
    huge(tmp_path / "survey.csv", b"date,gear,species,length_in\n")
    assert answered_or_refused("assess", tmp_path) == 2


def test_records_of_100_mb_of_rows_are_refused_in_good_time(tmp_path):
    row = b"2024-04-10,electrofishing,bass,12\n"
    with (tmp_path / "survey.csv").open("wb") as file:
        file.write(b"date,gear,species,length_in\n")
        for _ in range(29):
            file.write(row * 100_000)
    assert answered_or_refused("assess", tmp_path) == 2


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"members": 10_001}, "a whole number from 1 to 10,000"),
        ({"years": 16}, "a whole number from 1 to 15"),
        ({"events": 201}, "at most 200"),
        ({"strategies": 21}, "1 to 20 tables"),
    ],
)
def test_limits_are_told(change, says):
    def file(members: int = 1, years: int = 1, events: int = 1, strategies: int = 1) -> str:
        event = '{species = "bass", date = 2026-05-01, per_acre = 1, length_in = 6}'
        names = "".join(f"s{k} = {{}}\n" for k in range(strategies))
        return (
            f'title = "t"\nstocking = [{", ".join([event] * events)}]\n[pond]\narea_ha = 1\nfertility = 1\n'
            f"[run]\nstart = 2026-04-01\nyears = {years}\n[ensemble]\nmembers = {members}\n[strategies]\n{names}"
        )

    def told(text: str) -> tuple[int, str, str]:
        with tempfile.TemporaryDirectory() as folder:
            (Path(folder) / "pond.toml").write_text(text, "utf-8")
            return asked("check", Path(folder) / "pond.toml")

    assert told(file())[0] == 0
    status, _, err = told(file(**change))
    assert status == 2 and says in err, err


def test_the_strategies_write_what_they_mean(tmp_path):
    """The files that the strategies write are read as what they drew; else the tests above would try nothing."""

    @settings(max_examples=40)
    @given(scenarios())
    def reads_back(raw):
        file = tmp_path / "pond.toml"
        file.write_text(toml(raw), "utf-8")
        assert load(file)._replace(source_file=None) == resolve(raw)

    reads_back()
