"""What quota, plan and verify found, as sections of the client's page, or as a page of their own; no run is needed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from pondpop.decide import passages
from pondpop.decide.passages import FILES, Passage
from pondpop.ensemble.store import page_place, write_page_files
from pondpop.report.document import CAUTIONS, MODEL_CAUTION, NOBODY, Cover, For, Section, document
from pondpop.report.format import html
from pondpop.report.tables import Cell, Table

MOST_WIDE = 12  # columns, those of ranges counted, that letter paper holds (tried in a browser)
SWIPED = 10  # from so many it is said that a table may be wider than a phone (9 fit into 390 px, tried in a browser)
SWIPE = '<p class="swipe">If columns are cut off at the right, swipe the table sideways →</p>'


class Search(NamedTuple):
    """What it is called on the page, the title of its scenario, what bass it advises to take ("" where it advises no
    amount), and its passages.
    """

    name: str
    title: str
    harvest: str
    some: Sequence[Passage]


def read_searches(found: Sequence[Path]) -> list[Search]:
    """What files of `passages.FILES` hold. Raises OSError, RunError."""
    return [Search(FILES[one.name], *passages.read(one)) for one in found]


def write_searches(found: Sequence[Path], path: str | Path, replace: bool = False, whom: For = NOBODY) -> None:
    """Write a page of such files alone. Raises InputError where something is in the way, OSError, RunError."""
    path = Path(path)
    page_place(path, found, replace)
    write_page_files(path, searches_page(read_searches(found), whom), {})


def searches_page(searches: Sequence[Search], whom: For = NOBODY) -> str:
    """The text of the page: the answers first, then each search in full."""
    title = " / ".join(dict.fromkeys(search.title for search in searches))
    cover = Cover(f"{whom.pond}: {title}" if whom.pond else title, [], whom)
    answers = "".join(
        f"<h3>{html(search.name)}</h3>{_passage(search.some[0])}" for search in searches if search.some
    )
    sections = [*search_sections(searches), Section("searched", "How it was searched", how_searched(searches))]
    lead = f'<div class="lead">{answers}</div>'
    return document(cover, Section("answer", "The answer", ""), lead, sections, [*CAUTIONS, MODEL_CAUTION])


def search_sections(searches: Sequence[Search]) -> list[Section]:
    """A section for each, without what is of interest to who checks the search."""
    return [
        Section(
            f"search-{n}",
            search.name,
            f"<p>For the scenario “{html(search.title)}”.</p>"
            + "".join(_passage(one) for one in search.some if not one.detail),
        )
        for n, search in enumerate(searches)
    ]


def how_searched(searches: Sequence[Search]) -> str:
    """The rest of them."""
    return "".join(_passage(one) for search in searches for one in search.some if one.detail)


def _passage(one: Passage) -> str:
    """A passage, a value's range in brackets put beside it."""
    if not one.rows:
        return "".join(f"<p>{html(line)}</p>" for line in one.words.splitlines())
    head, *rows = one.rows
    cells: list[list[Cell]] = [[first, *map(_split, rest)] for first, *rest in rows]
    lines = one.words.splitlines()
    before = "".join(f"<p>{html(line)}</p>" for line in lines[:-1])
    note = f"<p>{html(one.note)}</p>" if one.note else ""
    caption = lines[-1].removesuffix(":") + "."
    tables = []
    widths = _widths(cells)
    for n, columns in enumerate(_parts(widths)):
        heads = [head[k] for k in (0, *columns)]
        some = [[row[k] for k in (0, *columns)] for row in cells]
        table = Table("search", "The same, continued." if n else caption, heads, some, [], look="bands").to_html()
        swipe = SWIPE if sum(widths[k - 1] for k in columns) >= SWIPED else ""
        tables.append(f'{swipe}<div class="wide">{table}</div>')
    return f"{before}{''.join(tables)}{note}"


def _widths(rows: Sequence[Sequence[Cell]]) -> list[int]:
    """How many columns each but the first takes: two where ranges stand beside its values."""
    return [1 + any(isinstance(row[k], tuple) for row in rows) for k in range(1, len(rows[0]))] if rows else []


def _parts(widths: Sequence[int]) -> list[range]:
    """Columns but the first, from 1, in few and even parts of which each fits on paper."""
    even = sum(widths) / max(1, -(-sum(widths) // MOST_WIDE))
    parts, begin = [], 1
    for k in range(1, len(widths) + 1):
        if k == len(widths) or sum(widths[begin - 1 : k + 1]) > min(MOST_WIDE, even + 1):
            parts.append(range(begin, k + 1))
            begin = k + 1
    return parts


def _split(cell: str) -> Cell:
    value, mark, rest = cell.partition(" [")
    return (value, rest[:-1]) if mark and rest.endswith("]") else cell
