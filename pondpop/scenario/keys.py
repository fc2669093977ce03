"""The keys of a scenario in words: `keys.md`, whole or one table of it. Standard library only."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from textwrap import fill, wrap
from typing import NamedTuple

from pondpop import checks

WIDTH = 78
HEADINGS = 21  # width of the column of headings, where all tables are told
ALL = "all"


class Row(NamedTuple):
    """Keys of one quantity (one for each unit) or of one meaning."""

    keys: tuple[str, ...]
    meaning: str
    allowed: str
    if_left_out: str


class KeyTable(NamedTuple):
    """A table of a scenario: its heading as a file writes it, what it is about, and its keys."""

    heading: str
    about: str
    rows: tuple[Row, ...]


@cache
def key_tables() -> dict[str, KeyTable]:
    """The tables by the last word of their headings (`stocking`, `catch`, `strategies`; `top` for what stands in none)."""
    tables = {}
    for section in files("pondpop.scenario").joinpath("keys.md").read_text("utf-8").split("\n## ")[1:]:
        heading, _, rest = section.partition("\n")
        name, _, about = heading.replace("`", "").partition(": ")
        rows = [_row(line) for line in rest.splitlines() if line.startswith("| `")]
        tables[name_of(name)] = KeyTable(name, about, tuple(rows))
    return tables


def name_of(heading: str) -> str:
    """The word by which a table is asked for: `catch` of `[[start_from_survey.catch]]`."""
    return heading.strip("[]").removesuffix(".NAME").rpartition(".")[2]


def _row(line: str) -> Row:
    keys, meaning, allowed, if_left_out = (cell.strip() for cell in line.strip().strip("|").split("|"))
    return Row(tuple(re.findall(r"`(\w+)`", keys)), *(cell.replace("`", "") for cell in (meaning, allowed, if_left_out)))


def keys_text(table: str = "") -> str:
    """The keys of one table, of all, or (with none named) what tables there are; of a key where it stands and what it says.

    Raises InputError.
    """
    tables = key_tables()
    if table == ALL:
        return "\n".join(_told(one) for one in tables.values())
    if table:
        name = name_of(table)
        stands = [one._replace(rows=tuple(row for row in one.rows if name in row.keys)) for one in tables.values()]
        if name not in tables and any(one.rows for one in stands):  # a key, told in each table where it stands
            return "\n".join(_told(one) for one in stands if one.rows)
        return _told(tables[checks.choice("TABLE", name, tables)])
    # entries of lists in a table, and the tables within them
    inside = [name for name, one in tables.items() if one.heading == name != "top" or one.heading.endswith(f".{name}]]")]
    lines: list[tuple[str, str]] = []
    for one in (one for name, one in tables.items() if name not in (*inside, "top")):
        beside, about = lines[-1] if lines else ("[[", "")
        single = not (beside + one.heading).count("[[")
        if single and len(both := f"{about}; {one.about}") < WIDTH - HEADINGS:  # two share a line, so that all fit a screen
            lines[-1] = f"{beside}, {one.heading}", both
        else:
            lines.append((one.heading, one.about))
    head = "`pondpop keys TABLE` tells the keys of one, `pondpop keys all` those inside too."
    return "\n".join([head, *(f"{heading:{HEADINGS}}{about}" for heading, about in lines), ""])


def _told(table: KeyTable) -> str:
    return "\n".join([f"{table.heading}: {table.about}", *(line for row in table.rows for line in _lines(row)), ""])


def _lines(row: Row) -> Iterator[str]:
    yield from wrap(", ".join(row.keys), WIDTH, initial_indent="  ", subsequent_indent="  ")
    default = bool(row.if_left_out) and "needed" not in row.if_left_out
    left_out = f"if left out: {row.if_left_out}" if default else row.if_left_out
    parts = [row.meaning, f"allowed: {row.allowed}" if row.allowed else "", left_out]
    yield fill("; ".join(part for part in parts if part), WIDTH, initial_indent="      ", subsequent_indent="      ")
