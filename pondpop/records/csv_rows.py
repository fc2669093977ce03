"""One CSV file as cells with line numbers, and the checks that turn a cell into a value. Standard library only.

Nothing is repaired: a cell is what it says or it is refused with an InputError that names its column.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TypeVar

from pondpop.checks import MISSING, Fact, InputError, meant, nearest
from pondpop.units import Family, brief

MAX_BYTES = 100_000_000
MAX_ROWS = 200_000

_FIRST, _END = dt.date(1950, 1, 1), dt.date(2100, 1, 1)
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)", re.ASCII)
_DATE = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_LABEL = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,39}", re.ASCII)

T = TypeVar("T")


class Sheet:
    """One file: its cells by column name, and the rows found bad."""

    def __init__(self, path: Path, needed: tuple[str, ...], optional: tuple[str, ...]) -> None:
        self.path, self.name = path, path.name
        self.bad: list[tuple[int, InputError, object]] = []
        """Line, reason, and what was read of it: the cells, or the row as parsed."""
        if not path.is_file():
            raise InputError("", MISSING, "a file, not a folder", file=str(path))
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise InputError(
                "", Fact(f"{size / 1e6:,.0f} MB"), "at most 100 MB", "split the records by year", file=str(path)
            )
        data = path.read_bytes()
        save = "save it as CSV in UTF-8"
        if b"\0" in data:
            line = data[: data.index(b"\0")].count(b"\n") + 1
            raise InputError(f"line {line}", Fact("a zero byte"), "plain text", save, file=str(path))
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError as e:
            line = data[: e.start].count(b"\n") + 1
            raise InputError(
                f"line {line}", Fact(f"the byte {data[e.start]:#04x}"), "text in UTF-8", save, file=str(path)
            ) from None
        self._reader = csv.reader(io.StringIO(text, newline=""), strict=True)
        header = next(self._lines(), None)
        if header is None:
            raise InputError("line 1", MISSING, "a header", ", ".join(needed), file=str(path))
        self.header = header[1]
        self._check_header(needed, optional)

    def _lines(self) -> Iterator[tuple[int, list[str]]]:
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
                yield line, cells

    def _check_header(self, needed: tuple[str, ...], optional: tuple[str, ...]) -> None:
        known = [name for group in needed + optional for name in group.split("|")]
        where = {"path": "line 1", "file": str(self.path)}
        for name in self.header:
            if name not in known:
                units = [group.split("|") for group in needed + optional if "|" in group]
                quantities = [(names[0].rpartition("_")[0], names) for names in units]
                remedy = nearest(name, known, quantities)
                if ";" in name or "\t" in name:
                    remedy = "separate the columns by commas"
                raise InputError(given=name, allowed="column names spelled exactly", remedy=remedy, **where)
            if self.header.count(name) > 1:
                raise InputError(given=name, allowed="each column once", remedy="remove one", **where)
        for group in needed + optional:
            found = [name for name in group.split("|") if name in self.header]
            if len(found) > 1:
                raise InputError(
                    given=Fact(" and ".join(found)), allowed="one unit", remedy="keep one of them", **where
                )
            if group in needed and not found:
                raise InputError(given=MISSING, allowed=f"a column {group.replace('|', ' or ')}", **where)

    def rows(self) -> Iterator[tuple[int, dict[str, str]]]:
        """Line number and cells of each row that has as many cells as the header; others are noted as bad."""
        for number, (line, cells) in enumerate(self._lines(), 1):
            if number > MAX_ROWS:
                raise InputError(
                    f"line {line}",
                    Fact("more rows"),
                    f"at most {MAX_ROWS:,} rows",
                    "split the records by year",
                    file=str(self.path),
                )
            if len(cells) != len(self.header):
                self.reject(
                    line,
                    InputError(
                        "cells",
                        len(cells),
                        f"{len(self.header)}, as in the header",
                        "decimals have a point, texts no comma",
                    ),
                    {},
                )
            else:
                yield line, {k: v.strip() for k, v in zip(self.header, cells, strict=True)}

    def reject(self, line: int, why: InputError, read: object) -> None:
        self.bad.append((line, why, read))


def rows_of(sheet: Sheet | None, parse: Callable[[int, dict[str, str]], T]) -> list[T]:
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
        raise InputError(name, text, f"{low:g} to {high:g}{words}")
    return value


def measure(cells: dict[str, str], stem: str, family: Family, low: float, high: float, words: str = "") -> float | None:
    """A number whose unit is in its column name, in SI; the bounds are SI."""
    for suffix, unit in family.items():
        name = f"{stem}_{suffix}"
        if name in cells:
            # a bound told in the column's unit must not refuse itself by rounding
            slack = 1e-9 * max(abs(low), abs(high))
            value = number(cells, name, unit.from_si(low - slack), unit.from_si(high + slack), f" {unit.words}{words}")
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
        remedy = (meant(cells[name], list(known), other_names or {}) or nearest(cells[name], known)) if cells[name] else ""
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
