"""The gate: two recorded base runs, reproduced from plainly written models.

The pond of both runs is invented: southern water, 1,200 bluegill, 1,200 minnows and 2,000 threadfin shad per acre on
day 150, 75 bass of 50 mm per acre a year later, no harvest, ten years.
"""

import csv
from pathlib import Path

import pytest
from reference import first_model, second_run

REFERENCE = Path(__file__).parent / "reference"


def recorded(name):
    """Column names and rows of a recorded run: {days after the start: figures or None}."""
    with (REFERENCE / name).open(encoding="utf-8", newline="") as stream:
        header, *rows = csv.reader(stream)
    return header[1:], {int(day): [float(x) if x else None for x in row] for day, *row in rows}


def disagreements(run, figures, name, relative):
    columns, rows = recorded(name)
    days_checked, wrong = 0, []
    for day, temperature, pond in run(max(rows)):
        if day not in rows:
            continue
        days_checked += 1
        for column, wanted, found in zip(columns, rows[day], figures(temperature, pond), strict=True):
            if (found is None or wanted is None) and found is wanted:
                continue  # no such fish yet
            if found is None or wanted is None or found != pytest.approx(wanted, rel=relative, abs=1e-12):
                wrong.append(f"day {day} {column}: recorded {wanted}, found {found}")
    assert days_checked == len(rows)
    return wrong


def test_model_as_first_written_down_reproduces_its_recorded_run():
    assert disagreements(first_model.base_run, first_model.figures, "first_run.csv", 1e-6) == []


def test_second_model_reproduces_its_recorded_run():
    assert disagreements(second_run.base_run, second_run.figures, "second_run.csv", 1e-6) == []
