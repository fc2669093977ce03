"""Reads what was seen at a pond: surveys, their effort, catch records and tags, as plain CSV in one folder.

Standard library only. Headings, dates, numbers and words may be written as people keep field sheets (`field_sheets`);
what was read as what is told, and what could be read two ways is refused. A row that cannot be right is left out and
reported with file, line and reason (or, when strict, refuses its file), and what only looks odd is named in the notes.
Inside: mm, g, °C, hours.

The files (at least one must be there, under any name that ends in .csv if the headings show which it is; the columns may
stand in any order; of names joined by | at most one is used; several of one kind, as of several years, are joined):

survey.csv   date, gear, species, length_in|length_mm, and optionally weight_lb|weight_oz|weight_g, count, tag, sex, age
             One row a fish, or `count` unweighed, untagged fish of one length. Gear: electrofishing, seine, angling.
             Age: whole years, all fish being a year older on 1 January.
effort.csv   date, gear, hours, hauls, and optionally water_f|water_c, species_sought
             One row per date and gear: hours for electrofishing and angling, hauls for the seine, the other left empty
             (or its column, if no gear needs it).
             species_sought names the species taken up, separated by blanks; empty means all of them.
catches.csv  date, trip, hours, species, shortest_in|shortest_mm, longest_in|longest_mm, kept, released
             One row per species and length class of a trip; `hours` are the trip's and stand on each of its rows.
             Empty bounds: no bound known. A trip without fish is one row with an empty species, 0 kept and 0 released.
tags.csv     tag, date, species, event, and optionally length_in|length_mm, weight_lb|weight_oz|weight_g
             Event: tagged, recaptured (and released), kept. A tagged fish of a survey is also written in survey.csv.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import TypeVar

from pondpop.checks import MISSING, Fact, InputError, one_line, reason, shown
from pondpop.records import consistency, rows
from pondpop.records.csv_rows import FILLED_DOWN, Columns, Lines, Sheet, Sheets, date_of, label, rows_of, word
from pondpop.records.field_sheets import OWN_WORDS, OwnWords, in_words, own_words
from pondpop.records.rows import Catch, Effort, Fish, TagEvent
from pondpop.species.gears import GEARS
from pondpop.species.registry import SPECIES

T = TypeVar("T")

MOST_LEFT_OUT = 5
"""Rows from which on a sheet is refused if more than half of it would be left out (a choice of ours)."""

__all__ = ["COLUMNS", "GEARS", "BadRow", "Catch", "Effort", "Fish", "Records", "TagEvent", "read_records"]

COLUMNS: dict[str, Columns] = {
    "survey.csv": (
        ("date", "gear", "species", "length_in|length_mm"),
        ("weight_lb|weight_oz|weight_g", "count", "tag", "sex", "age"),
    ),
    "effort.csv": (("date", "gear", "hours", "hauls"), ("water_f|water_c", "species_sought")),
    "catches.csv": (
        ("date", "trip", "hours", "species", "shortest_in|shortest_mm", "longest_in|longest_mm", "kept", "released"),
        (),
    ),
    "tags.csv": (("tag", "date", "species", "event"), ("length_in|length_mm", "weight_lb|weight_oz|weight_g")),
}
"""Needed and optional columns of each file."""


@dataclass(frozen=True, slots=True)
class BadRow:
    """A row that was left out, why, and what can be read of it all the same (None: nothing, or nothing sure)."""

    file: str
    kind: str
    """The record file that it is, whatever its name."""
    line: int
    reason: str
    found: str
    """The reason without what is allowed."""
    date: dt.date | None = None
    gear: str | None = None
    species: str | None = None
    trip: str | None = None

    def __str__(self) -> str:
        return f"{self.file}, line {self.line}: {self.reason}"

    @property
    def slip(self) -> str:
        """What rows have in common that were left out for the same slip: the reason without the figures that they hold, but
        with their words, since each unknown word has a remedy of its own."""
        of_figures = re.compile(r'"[^"]*"|\d[\d.,:/-]*')
        return of_figures.sub(lambda found: "#" if re.search(r"\d", found[0]) else found[0], f"{self.file}: {self.reason}")

    @property
    def in_short(self) -> str:
        """File, line and what was found there, without what is allowed."""
        return f"{self.file}, line {self.line}: {self.found}"


@dataclass(frozen=True)
class Records:
    """Everything seen at one pond, each kind in the order of its file."""

    folder: str
    files: tuple[str, ...]
    fish: tuple[Fish, ...]
    effort: tuple[Effort, ...]
    catches: tuple[Catch, ...]
    tags: tuple[TagEvent, ...]
    left_out: tuple[BadRow, ...]
    notes: tuple[str, ...]
    """What looks odd but was kept."""
    read_as: str = ""
    """What of the field sheets was read as what; empty where they use the words of record files."""
    books: tuple[dt.date, dt.date] | None = None
    """First and last day of which the catches are said to hold every trip and every kept fish; None: nothing is said."""

    @property
    def last(self) -> dt.date | None:
        """The day of the last of them."""
        return max((row.date for rows in (self.fish, self.effort, self.catches, self.tags) for row in rows), default=None)


def read_records(folder: str | Path, strict: bool = False, today: dt.date | None = None) -> Records:
    """Reads the record files of a folder.

    strict: refuse a file with a bad row instead of leaving the row out; one of which more than half the rows would be left
    out, MOST_LEFT_OUT or more of them, is always refused. today: after which dates are odd.
    >>> import pondpop
    >>> pondpop.read_records("records").files
    ('catches.csv', 'effort.csv', 'survey.csv', 'tags.csv')

    Raises InputError (no such folder, a header, an unknown file, a file too large or not text; with strict, a bad row)
    and OSError.
    """
    folder = Path(folder)
    if found := _no_folder(folder):
        raise InputError("", Fact(found), "a folder with record files", "check the path", file=str(folder))
    own = own_words(folder, (name for columns in COLUMNS.values() for group in sum(columns, ()) for name in group.split("|")))
    files = _files(folder, own)
    sheets = {kind: _joined(kind, files[kind]) if kind in files else None for kind in COLUMNS}

    if own.books and not sheets["catches.csv"]:
        remedy = "add it, or take [books] out"
        raise InputError("books", Fact("books that hold every trip"), "a catches.csv", remedy, file=str(folder / OWN_WORDS))

    fish = rows_of(sheets["survey.csv"], rows.fish)
    effort = rows_of(sheets["effort.csv"], rows.effort)
    catches = rows_of(sheets["catches.csv"], rows.catch)
    tags = rows_of(sheets["tags.csv"], rows.tag_event)

    every = fish, effort, catches, tags
    fish = consistency.of_one_time(sheets["survey.csv"], fish, every)
    effort = consistency.of_one_time(sheets["effort.csv"], effort, every)
    catches = consistency.of_one_time(sheets["catches.csv"], catches, every)
    tags = consistency.of_one_time(sheets["tags.csv"], tags, every)

    effort = consistency.once(sheets["effort.csv"], effort, lambda e: (e.date, e.gear), "this date and gear")
    tags = consistency.once(sheets["tags.csv"], tags, lambda e: (e.tag, e.date), "this tag and date")
    catches = consistency.trips(sheets["catches.csv"], catches)
    consistency.each_survey_once(sheets["survey.csv"], fish)
    fish = consistency.sought(sheets["survey.csv"], sheets["effort.csv"], fish, effort)
    if sheets["tags.csv"]:
        fish, tags = consistency.histories(sheets["survey.csv"], sheets["tags.csv"], fish, tags)

    by_kind: dict[str, Sequence[Fish | Effort | Catch | TagEvent]]
    by_kind = {"survey.csv": fish, "effort.csv": effort, "catches.csv": catches, "tags.csv": tags}
    kept = Counter(group.place(row.line)[0].name for kind, group in sheets.items() if group for row in by_kind[kind])
    read = [sheet for group in sheets.values() if group for sheet in group.every]
    if strict:
        for sheet in read:
            if sheet.bad:
                first = min(sheet.bad, key=lambda item: item[0])
                raise _refusal(sheet, *first[:2])
    left_out = [_left_out(s, *bad) for s in read for bad in sorted(s.bad, key=lambda item: item[0])]
    for sheet in read:
        _mostly_read(sheet, kept[sheet.name], [bad for bad in left_out if bad.file == sheet.name])
    lost_effort = [(f"{bad.file} line {bad.line}", bad.date, bad.gear) for bad in left_out if bad.kind == "effort.csv"]
    return Records(
        str(folder), tuple(sorted(s.name for s in read)), tuple(fish), tuple(effort), tuple(catches), tuple(tags),
        tuple(left_out),
        (
            *consistency.notes(sheets, fish, effort, tags, lost_effort),
            *consistency.after(today or dt.date.today(), (fish, effort, catches, tags)),
            *consistency.of_books(own.books, today or dt.date.today(), catches),
            *(note for sheet in read for note in _not_understood(sheet)),
        ),
        in_words(sheet.reading for sheet in read),
        own.books,
    )  # fmt: skip


def _joined(kind: str, every: Sequence[Lines]) -> Sheets:
    """The sheets of one kind; those without a row give way to those with rows. Raises InputError for one that stands twice."""
    filled = [lines for lines in every if len(lines.cells) > lines.headings(COLUMNS[kind])[0] + 1] or every[:1]
    for one, other in combinations(filled, 2):
        if [cells for _, cells in one.cells] == [cells for _, cells in other.cells]:
            given = Fact(f"what {one.path.name} holds too, cell by cell")
            raise InputError("", given, "each sheet once", "take one of the two out", file=str(other.path))
    return Sheets([Sheet(kind, lines, COLUMNS[kind]) for lines in filled])


def _files(folder: Path, own: OwnWords) -> dict[str, list[Lines]]:
    """The sheets of each kind: of that name, or with headings that show what they are. Raises InputError and OSError."""
    names = sorted(p.name for p in folder.iterdir())
    present = [name for name in names if name.lower().endswith(".csv")]
    if not present:
        book = next((name for name in names if name.lower().endswith((".xlsx", ".xls", ".ods"))), None)
        remedy = f"save the sheets of {book} as CSV" if book else "add a record file"
        raise InputError("", MISSING, "one or more of " + ", ".join(COLUMNS), remedy, file=str(folder))
    found: dict[str, list[Lines]] = {}
    for name in sorted(present, key=lambda name: name not in COLUMNS):
        lines = Lines(folder / name, own)
        kinds = [name] if name in COLUMNS else lines.kinds(COLUMNS)
        if len(kinds) != 1:
            given = Fact("headings that may be of either" if kinds else "headings of no record file")
            remedy = f"rename it to the one that it is, of {', '.join(kinds or COLUMNS)}"
            remedy += "" if kinds else ", or move it out of the folder"
            raise InputError("", given, "those of one record file", remedy, file=str(lines.path))
        found.setdefault(kinds[0], []).append(lines)
    return found


def _not_understood(sheet: Sheet) -> Iterator[str]:
    for sex, lines in sheet.reading.not_understood.items():
        rows = f"{len(lines)} row{'s' * (len(lines) > 1)} (line {consistency.some(list(map(str, lines)), 3)})"
        yield f'{sheet.name}: the sex "{one_line(sex)}" was not understood in {rows}; the fish are kept'


def _no_folder(path: Path) -> str:
    """What stands in place of a folder; nothing if it is one."""
    try:
        return "" if path.is_dir() else "a file" if path.exists() else "no such folder"
    except OSError as error:  # a name that no folder can have
        return reason(OSError(error.errno, error.strerror))


def _left_out(sheet: Sheet, line: int, why: InputError, read: object) -> BadRow:
    """The row with what its good cells say; of an effort only date and gear, whatever species it was for."""
    if isinstance(read, Mapping):
        cells: Mapping[str, str] = {"date": "", "gear": "", "species": "", "trip": "", **read}
        date = _if_good(date_of, cells)
        gear = _if_good(word, cells, "gear", GEARS)
        species = _if_good(word, cells, "species", SPECIES)
        trip = _if_good(label, cells, "trip")
    else:
        date, gear, species, trip = (getattr(read, name, None) for name in ("date", "gear", "species", "trip"))
    species = species if sheet.kind != "effort.csv" else None
    found = f"{why.path}: got {shown(why.given)}"
    return BadRow(sheet.name, sheet.kind, line, _reason(why), found, date, gear, species, trip)


def _mostly_read(sheet: Sheet, kept: int, left_out: list[BadRow]) -> None:
    """Raises InputError for a sheet of which most would be lost: with the commonest reason, and how to mend that."""
    if len(left_out) < MOST_LEFT_OUT or len(left_out) <= kept:
        return
    slip, rows = Counter(bad.slip for bad in left_out).most_common(1)[0]
    first = next(bad for bad in left_out if bad.slip == slip)
    why = next(why for line, why, _ in sheet.bad if line == first.line)
    remedy = f"{rows} rows from line {first.line} on: {first.reason}"
    if why.given is MISSING and why.path in FILLED_DOWN:
        remedy = f"{rows} rows from line {first.line} on have no {why.path}: fill it down to every row"
        once = sheet.once(why.path)
        value = once if why.path == "date" else f'"{once}"'
        remedy += f", or write {why.path} = {value} under [always] into {OWN_WORDS} beside it, for all rows" if once else ""
    given = Fact(f"{len(left_out)} of {kept + len(left_out)} rows that would be left out")
    raise InputError("", given, "at most half", remedy, file=str(sheet.path))


def _if_good(read: Callable[..., T], *cell: object) -> T | None:
    try:
        return read(*cell)
    except InputError:
        return None


def _reason(e: InputError) -> str:
    return str(InputError(e.path, e.given, e.allowed, e.remedy))


def _refusal(sheet: Sheet, line: int, e: InputError) -> InputError:
    others = len(sheet.bad) - 1
    more = f"{others} more bad row{'s' * (others > 1)} in this file" if others else ""
    remedy = "; ".join(part for part in (e.remedy, more) if part)
    return InputError(f"line {line}, {e.path}", e.given, e.allowed, remedy, file=str(sheet.path))
