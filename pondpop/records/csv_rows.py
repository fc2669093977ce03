"""One CSV file as cells with line numbers, and the checks that turn a cell into a value. Standard library only.

Field sheets are put into the words of record files first (`field_sheets`), and what was read as what is told. A cell is
then what it says or it is refused with an InputError that names its column.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
import re
from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import accumulate, islice
from pathlib import Path
from typing import TypeVar

from pondpop.checks import MISSING, Fact, InputError, alternatives, meant, nearest, one_line, shown
from pondpop.records.field_sheets import ALWAYS, OWN_WORDS, OwnWords, Reading
from pondpop.units import Family, brief, joined

MAX_BYTES = 100_000_000
MAX_ROWS = 200_000
MOST_TITLE_LINES = 10
"""Lines among which the headings are looked for."""
LEAST_HEADINGS = 2
"""Known headings that a line of them has."""
MOST_HEADINGS = 6
"""Unknown headings of which one refusal tells."""
EITHER = ("hours", "hauls")
"""Columns of efforts of which one is enough."""
FILLED_DOWN = ("date", "gear")
"""Columns that a sheet may hold once, blank below."""
NO_WORDS = OwnWords()

_FIRST, _END = dt.date(1950, 1, 1), dt.date(2100, 1, 1)
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)", re.ASCII)
_DATE = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_LABEL = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,39}", re.ASCII)

T = TypeVar("T")


Columns = tuple[tuple[str, ...], tuple[str, ...]]
"""Needed and optional columns of a record file; of names joined by | at most one is used."""


class Lines:
    """One CSV file as numbered lines of cells, of which nothing is known yet."""

    def __init__(self, path: Path, own: OwnWords = NO_WORDS) -> None:
        """Raises InputError and OSError."""
        self.path, self.reading = path, Reading(str(path), own)
        text = self._text()
        separator = self._separator(text)
        self._reader = csv.reader(io.StringIO(text, newline=""), strict=True, delimiter=separator)
        self.cells = list(self._lines())

    def headings(self, columns: Columns) -> tuple[int, int]:
        """Where among the first lines the headings stand (0 if nowhere), and how many of them are known."""
        known, quiet = _names(columns), Reading("", self.reading.own)
        there = [sum(quiet.is_heading(cell, known) for cell in cells) for _, cells in self.cells[:MOST_TITLE_LINES]]
        most = max(there, default=0)
        return (there.index(most), most) if most >= LEAST_HEADINGS else (0, 0)

    def kinds(self, record_files: Mapping[str, Columns]) -> list[str]:
        """The record files whose headings these may be: one, where they show it.

        Those that lack no needed column, else those that lack few for the headings they know; then those that know the most.
        """
        ranks: dict[tuple[bool, int, int], list[str]] = {}
        for name, columns in record_files.items():
            at, there = self.headings(columns)
            if there:
                quiet = Reading("", self.reading.own)
                wanted = ["|".join(EITHER) if group in EITHER else group for group in columns[0]]
                lacking = sum(
                    not any(quiet.is_heading(cell, group.split("|")) for cell in self.cells[at][1])
                    for group in wanted if group not in self.reading.own.always
                )  # fmt: skip
                ranks.setdefault((lacking > 0, lacking - there if lacking else 0, -there), []).append(name)
        return ranks[min(ranks)] if ranks else []

    def _text(self) -> str:
        """The file as text, in UTF-8 or else in Windows-1252."""
        if not self.path.is_file():
            raise InputError("", MISSING, "a file, not a folder", file=str(self.path))
        size = self.path.stat().st_size
        if size > MAX_BYTES:
            raise InputError(
                "", Fact(f"{size / 1e6:,.0f} MB"), "at most 100 MB", "split the records by year", file=str(self.path)
            )
        data = self.path.read_bytes()
        save = "save it as CSV in UTF-8"
        if b"\0" in data:
            line = data[: data.index(b"\0")].count(b"\n") + 1
            raise InputError(f"line {line}", Fact("a zero byte"), "plain text", save, file=str(self.path))
        try:
            return data.decode("utf-8-sig")
        except UnicodeDecodeError as utf:
            try:
                text = data.decode("cp1252")
            except UnicodeDecodeError:
                line = data[: utf.start].count(b"\n") + 1
                given = Fact(f"the byte {data[utf.start]:#04x}")
                raise InputError(f"line {line}", given, "text in UTF-8 or Windows-1252", save, file=str(self.path)) from None
        self.reading.say("file", "as Windows-1252", "")
        return text

    def _separator(self, text: str) -> str:
        """What separates the columns: most of commas, semicolons and tabs in the first lines outside quotation marks."""
        first = re.sub(r'"[^"\n]*"', "", "".join(islice(io.StringIO(text, newline=None), MOST_TITLE_LINES)))
        separator = max(",;\t", key=first.count)
        if separator != ",":
            self.reading.decimal_comma = True
            self.reading.say("file", "with semicolons" if separator == ";" else "with tabs", "")
        return separator

    def _lines(self) -> Iterator[tuple[int, list[str]]]:
        number = 0
        while True:
            line = self._reader.line_num + 1
            try:
                cells = next(self._reader, None)
            except csv.Error as e:
                raise InputError(
                    f"line {line}", Fact(e), "rows of CSV", "check the quotation marks", file=str(self.path)
                ) from None
            if cells is None:
                return
            if any(cell.strip() for cell in cells):
                number += 1
                if number > MAX_ROWS + 1:
                    rows = f"at most {MAX_ROWS:,} rows"
                    raise InputError(f"line {line}", Fact("more rows"), rows, "split the records by year", file=str(self.path))
                yield line, cells


def _is_remark(cells: Sequence[str]) -> bool:
    """Whether a line is a word of whoever keeps the sheet, as they stand above its headings; a tag like #12 alone is none."""
    return cells[0].startswith("#") and " " in cells[0] and not any(cells[1:])


class Sheet:
    """One record file: its cells by column name, how it was read, and the rows found bad."""

    def __init__(self, kind: str, lines: Lines, columns: Columns) -> None:
        """kind: the record file that it is, whatever its name. Of the columns in EITHER one is enough, and those that
        `own.always` states may be missing. Raises InputError.
        """
        self.kind, self.path, self.name, self.reading = kind, lines.path, lines.path.name, lines.reading
        self.bad: list[tuple[int, InputError, object]] = []
        """Line, reason, and what was read of it: the cells, or the row as parsed."""
        if not lines.cells:
            raise InputError("line 1", MISSING, "a header", ", ".join(columns[0]), file=str(self.path))
        at, _ = lines.headings(columns)
        if not all("".join(cells).startswith("#") for _, cells in lines.cells[:at]):
            above = f"from the headings on line {lines.cells[at][0]} on, what stands above them is not read"
            self.reading.say("file", above, "")
        if self.name != kind:
            self.reading.say("file", f"as {kind}", "")
        self._header(*lines.cells[at], *columns)
        self._cells = [(line, cells) for line, cells in lines.cells[at + 1 :] if not _is_remark(cells)]
        self.last_line = lines.cells[-1][0]
        if "date" in self.header:
            self.reading.find_order(self._column("date"))
        self._below: dict[str, str] = {}
        """What is read in the blank cells of a column that says one thing only, where `OWN_WORDS` says that it always does."""
        for name in FILLED_DOWN:
            always = self.reading.own.always.get(name, "")
            blank = always and any(not text.strip() for _, text in self._column(name))
            if blank and self.once(name) == self.reading.cell(name, always, 0):
                self._below[name] = always
                self.reading.say("file", f"blank cells of {name} as {always}", "")

    def _column(self, name: str) -> Iterator[tuple[int, str]]:
        """Line and text of the cells of a column; none where the sheet has no such column."""
        place = self.header.index(name) if name in self.header else self._width
        return ((line, cells[place]) for line, cells in self._cells if len(cells) > place and place < self._width)

    def once(self, name: str) -> str:
        """What a column says wherever it is filled in; "" if it says several things or nothing."""
        return self.reading.one_word(name, self._column(name))

    def _header(self, line: int, cells: list[str], needed: tuple[str, ...], optional: tuple[str, ...]) -> None:
        known = _names((needed, optional))
        where = {"path": f"line {line}", "file": str(self.path)}
        cells = [*cells]
        self._width = len(cells)
        while cells and not cells[-1].strip():  # spreadsheets write empty columns behind the last, in every row
            cells.pop()
        names = [(written.strip(), self.reading.column(written, known)) for written in cells]
        if unknown := [written for written, name in names if name is None]:
            raise self._not_known(unknown, known, (needed, optional), where)
        self.header: list[str] = []
        for name in (name or "" for _, name in names):
            if name and name in self.header:
                raise InputError(given=name, allowed="each column once", remedy="remove one", **where)
            self.header.append(name)
        always = {name: text for name, text in self.reading.own.always.items() if name in known}
        lacking: list[str] = []
        for group in needed + optional:
            found = [name for name in group.split("|") if name in self.header]
            if len(found) > 1:
                raise InputError(
                    given=Fact(" and ".join(found)), allowed="one unit", remedy="keep one of them", **where
                )
            there = bool(found) or group in always or (group in EITHER and any(name in self.header for name in EITHER))
            if group in needed and not there:
                lacking.append("|".join(EITHER) if group in EITHER else group)
        if lacking:
            stated = " and ".join(ALWAYS[group] for group in lacking if group in ALWAYS)
            once = f"write {stated} under [always] into {OWN_WORDS} beside it, for all rows"
            remedy = f"add what is missing, or {once}" if stated else ""
            several = [group.replace("|", " or ") for group in dict.fromkeys(lacking)]
            allowed = f"a column {several[0]}" if len(several) == 1 else f"columns {' and '.join(several)}"
            raise InputError(given=MISSING, allowed=allowed, remedy=remedy, **where)
        self._always = {name: text for name, text in always.items() if name not in self.header}
        self._absent = [name for name in EITHER if name in needed and name not in self.header]

    def _not_known(self, unknown: list[str], known: list[str], columns: Columns, where: dict[str, str]) -> InputError:
        """Every heading that names no column, with what each may be meant for."""
        groups = [group.split("|") for group in columns[0] + columns[1] if "|" in group]
        quantities = [(group[0].rpartition("_")[0], group) for group in groups]
        every = list(dict.fromkeys(unknown))
        unknown, more = every[:MOST_HEADINGS], len(every) - MOST_HEADINGS
        remedies: dict[str, list[str]] = {}
        for written in unknown:
            of_unit = self.reading.wanted_units(written, known)
            named = f"name its unit: {alternatives(of_unit)}" if of_unit else nearest(written.casefold(), known, quantities)
            remedies.setdefault(named, []).append(shown(written or MISSING))
        if len(unknown) > 1:
            each = "; ".join(f"{joined(headings)}: {named}" for named, headings in remedies.items())
            line = f'{shown(unknown[-1] or MISSING)} = ""'
            remedy = f"{each}; or write each that is not to be read, like {line}, under [columns] into {OWN_WORDS} beside it"
            told = [shown(written or MISSING) for written in unknown] + [f"{more} more"] * (more > 0)
            given: object = Fact(joined(told))
            return InputError(given=given, allowed="headings that record files know", remedy=remedy, **where)
        line = f'"{one_line(unknown[0])}" = ""'
        remedy = f"{next(iter(remedies))}; or write {line} under [columns] into {OWN_WORDS} beside it, which leaves it unread"
        remedy += " (the name of a column there reads it as that)"
        given = unknown[0] or MISSING
        return InputError(given=given, allowed="a heading that record files know", remedy=remedy, **where)

    def rows(self) -> Iterator[tuple[int, dict[str, str]]]:
        """Line number and cells of each row that has as many cells as the header; others are noted as bad."""
        for line, cells in self._cells:
            if len(cells) == self._width and not any(cell.strip() for cell in cells[len(self.header) :]):
                cells = cells[: len(self.header)]
            raw = {k: v for k, v in zip(self.header, cells, strict=False) if k}
            if self.reading.totals(raw):
                self.reading.say("totals", f"line {line}", "")
            elif other := self.reading.other_fish(raw):
                self.reading.say("other fish", other, "")
            elif len(cells) != len(self.header):
                wanted = f"{len(self.header)}, as in the header"
                self.reject(line, InputError("cells", len(cells), wanted, "decimals have a point, texts no comma"), {})
            else:
                raw = {name: text if text.strip() else self._below.get(name, text) for name, text in raw.items()}
                raw = dict.fromkeys(self._absent, "") | self._always | raw
                yield line, {name: self.reading.cell(name, text, line) for name, text in raw.items()}

    def reject(self, line: int, why: InputError, read: object) -> None:
        self.bad.append((line, why, read))


class Sheets:
    """The sheets of one kind, joined: their lines are numbered through, those of the second after those of the first."""

    def __init__(self, every: Sequence[Sheet]) -> None:
        self.every = tuple(every)
        self._before = [0, *accumulate(sheet.last_line for sheet in self.every)][:-1]

    def rows(self) -> Iterator[tuple[int, dict[str, str]]]:
        """Numbered line and cells of each row."""
        for before, sheet in zip(self._before, self.every, strict=True):
            for line, cells in sheet.rows():
                yield before + line, cells

    def reject(self, line: int, why: InputError, read: object) -> None:
        sheet, own = self.place(line)
        sheet.reject(own, why, read)

    def place(self, line: int) -> tuple[Sheet, int]:
        """The sheet that a numbered line stands in, and which of its lines it is."""
        k = bisect_left(self._before, line) - 1
        return self.every[k], line - self._before[k]

    def at(self, line: int) -> str:
        """Where a numbered line stands, for whoever knows the kind: line 5, or spring.csv line 5."""
        return f"line {line}" if len(self.every) == 1 else self.named(line)

    def named(self, line: int) -> str:
        """Where it stands: spring.csv line 5."""
        sheet, own = self.place(line)
        return f"{sheet.name} line {own}"

    def some(self, lines: Iterable[int], most: int) -> str:
        """The first few of several numbered lines: spring.csv line 5, 8 and 2 more."""
        every = list(lines)
        told = ", ".join([self.named(every[0]), *(str(n) if len(self.every) == 1 else self.named(n) for n in every[1:most])])
        return told + (f" and {len(every) - most} more" if len(every) > most else "")


def _names(columns: Columns) -> list[str]:
    return [name for group in columns[0] + columns[1] for name in group.split("|")]


def rows_of(sheet: Sheets | None, parse: Callable[[int, dict[str, str]], T]) -> list[T]:
    out: list[T] = []
    for line, cells in sheet.rows() if sheet else ():
        try:
            out.append(parse(line, cells))
        except InputError as e:
            assert sheet is not None
            sheet.reject(line, e, cells)
    return out


def number(cells: dict[str, str], name: str, low: float, high: float, words: str = "") -> float | None:
    text = cells.get(name, "")
    if not text:
        return None
    if not _NUMBER.fullmatch(text) or len(text) > 30:
        raise InputError(name, text, "a plain number", "decimals have a point")
    value = float(text)
    if not low <= value <= high:
        raise InputError(name, text, f"{_inward(low, math.ceil)} to {_inward(high, math.floor)}{words}")
    return value


def _inward(bound: float, towards: Callable[[float], int]) -> str:
    """A bound in three digits, rounded so that what is told is allowed."""
    step = 10.0 ** (math.floor(math.log10(abs(bound))) - 2) if bound else 1.0
    return f"{towards(bound / step + (1e-9 if towards is math.floor else -1e-9)) * step:g}"


def measure(cells: dict[str, str], stem: str, family: Family, low: float, high: float, words: str = "") -> float | None:
    """A number whose unit is in its column name, in SI; the bounds are SI."""
    for suffix, unit in family.items():
        name = f"{stem}_{suffix}"
        if name in cells:
            # a bound told in the column's unit must not refuse itself by rounding
            least, most = unit.from_si(low - 1e-9 * abs(low)), unit.from_si(high + 1e-9 * abs(high))
            value = number(cells, name, least, most, f" {unit.words}{words}")
            return None if value is None else unit.to_si(value)
    return None


def told(cells: dict[str, str], stem: str, family: Family, *values: float) -> str:
    """SI values in the unit of the column they are in: "0.1 to 2 lb"."""
    unit = next(unit for suffix, unit in family.items() if f"{stem}_{suffix}" in cells)
    return f"{' to '.join(brief(unit.from_si(value)) for value in values)} {unit.words}"


def needed(value: T | None, name: str, allowed: str) -> T:
    if value is None:
        raise InputError(name, MISSING, allowed)
    return value


def whole(cells: dict[str, str], name: str, low: int, high: int) -> int | None:
    value = number(cells, name, low, high)
    if value is not None and value != int(value):
        raise InputError(name, cells[name], "a whole number")
    return None if value is None else int(value)


def word(
    cells: dict[str, str], name: str, known: tuple[str, ...], other_names: dict[str, str] | None = None
) -> str:
    if cells[name] not in known:
        remedy = meant(cells[name], list(known), other_names or {}) if cells[name] else ""
        if name == "species" and cells[name]:
            own = f'write "{one_line(cells[name][:40])}" = one of these, or "" for another fish, under [species] in {OWN_WORDS}'
            remedy = f"{remedy}; else {own}" if remedy else own
        if name == "gear" and cells[name]:
            own = f'write "{one_line(cells[name][:40])}" = one of these under [gears] in {OWN_WORDS}'
            remedy = f"{remedy}; else {own}" if remedy else own
        raise InputError(name, cells[name] or MISSING, "one of " + ", ".join(known), remedy)
    return cells[name]


def label(cells: dict[str, str], name: str) -> str:
    if not _LABEL.fullmatch(cells[name]):
        raise InputError(name, cells[name] or MISSING, "1 to 40 letters, digits, or _ . - after the first")
    return cells[name]


def date_of(cells: dict[str, str]) -> dt.date:
    text = cells["date"]
    try:
        if not _DATE.fullmatch(text):
            raise ValueError
        date = dt.date.fromisoformat(text)
    except ValueError:
        known = "a day that the calendar has" if _DATE.fullmatch(text) else "year-month-day, like 2024-06-05 for June 5"
        remedy = "spreadsheets change dates: format the column as yyyy-mm-dd" if "/" in text else ""
        raise InputError("date", text or MISSING, f"a date, {known}", remedy) from None
    if not _FIRST <= date < _END:
        raise InputError("date", text, f"a date from {_FIRST} to {_END - dt.timedelta(days=1)}")
    return date
