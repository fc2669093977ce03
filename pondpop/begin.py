"""What a pond begins with: a scenario for a question and blank record sheets. Standard library only.

Nothing that is there is changed: a scenario of the same name is refused, sheets that are there stay as they are.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from pathlib import Path
from typing import NamedTuple

from pondpop import checks
from pondpop.checks import Fact, InputError
from pondpop.records import COLUMNS
from pondpop.scenario.questions import QUESTIONS, first_year, question_text
from pondpop.units import Units

SHEETS = "records"
HELP = {
    "survey.csv": "One row a fish, or count fish of one length that were neither weighed nor tagged. Dates like 2027-06-05; "
    "gear: electrofishing, seine or angling; species: bass, bluegill, redear, shad or minnow; all after length may stay "
    "empty; age: whole years.",
    "effort.csv": "One row for each date and gear: hours of electrofishing or angling, or hauls of the seine, the other left "
    "empty; species_sought: bass, if bass only were netted; empty if all fish were.",
    "catches.csv": "Anglers' catches, one row for each trip, species and length class: hours are the trip's, on each of its "
    "rows; a trip without fish is one row with an empty species, 0 kept and 0 released.",
    "tags.csv": "Tagged fish, one row each time one is in the hand; event: tagged, recaptured (and released) or kept.",
}
_US, _METRIC = ("in", "lb", "f"), ("mm", "g", "c")


class Begun(NamedTuple):
    """The scenario that was written, and which sheets were written or left as they were."""

    scenario: Path
    sheets: Path
    written: list[str]
    left: list[str]


def begin(folder: Path, question: str, units: Units, today: dt.date) -> Begun:
    """Writes the scenario of a question and blank record sheets into a folder, which may be there already.

    Raises InputError if that scenario is there, or something else is in the way, and OSError.
    """
    scenario, sheets = folder / f"{question}.toml", folder / SHEETS
    for place in (folder, sheets):
        if place.exists() and not place.is_dir():
            raise InputError("DIR", Fact(f"{place}, which is no folder"), "a new folder, or one to add to", "name another")
    if scenario.exists():
        remedy = "edit that one, or name another folder"
        raise InputError("DIR", Fact(f"{scenario}, which is there already"), "a folder without it", remedy)
    sheets.mkdir(parents=True, exist_ok=True)
    _write_new(scenario, question_text(question, units, first_year(question, today), str(scenario)))
    written = [name for name in COLUMNS if not (sheets / name).exists()]
    for name in written:
        _write_new(sheets / name, blank_sheet(name, units))
    return Begun(scenario, sheets, written, [name for name in COLUMNS if name not in written])


def blank_sheet(name: str, units: Units) -> str:
    """A record file without rows: a line of help, and the headings in the units asked for."""
    needed, optional = COLUMNS[name]
    wanted = _US if units == "us" else _METRIC
    headings = [
        next((key for key in names if key.rpartition("_")[2] in wanted), names[0])
        for names in (group.split("|") for group in needed + optional)
    ]
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows([[f"# {HELP[name]}"], headings])
    return out.getvalue()


def told(begun: Begun, question: str) -> str:
    """What was written, and what to do next."""
    fresh = f"blank sheets for what is seen and caught: {', '.join(begun.written)}" if begun.written else ""
    left = f"left as they were: {', '.join(begun.left)}" if begun.left else ""
    sheets = f"{begun.sheets}: {'; '.join(part for part in (fresh, left) if part)}"
    return f"""{begun.scenario}: {QUESTIONS[question].asks} An invented pond until you make it yours.
{sheets}

Next:
  1. open {begun.scenario} in a text editor and change the lines marked "yours"
  2. pondpop check {begun.scenario}
  3. pondpop compare {begun.scenario}
With a survey of the pond: fill in the sheets (if bass only were netted, say so in effort.csv: species_sought = bass),
then pondpop assess {begun.sheets} --out assessment
"""


def asked(question: str) -> str:
    """The question, if it is one that can be begun with. Raises InputError."""
    return checks.choice("--question", question, QUESTIONS)


def _write_new(path: Path, text: str) -> None:
    with path.open("x", encoding="utf-8", newline="\n") as stream:
        stream.write(text)
