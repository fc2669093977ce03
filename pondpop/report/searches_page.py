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


class Search(NamedTuple):
    """What it is called on the page, the title of its scenario, what bass it advises to take ("" where it advises no
    amount), and its passages.
    """

    name: str
    title: str
    harvest: str
    some: Sequence[Passage]


def read_searches(found: Sequence[Path]) -> list[Search]:
    """What files of `passages.FILES` hold. Raises InputError."""
    return [Search(FILES[one.name], *passages.read(one)) for one in found]


def write_searches(found: Sequence[Path], path: str | Path, replace: bool = False, whom: For = NOBODY) -> None:
    """Write a page of such files alone. Raises InputError where something is in the way, OSError."""
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
    cells = [[first, *map(_split, rest)] for first, *rest in rows]
    lines = one.words.splitlines()
    before = "".join(f"<p>{html(line)}</p>" for line in lines[:-1])
    note = f"<p>{html(one.note)}</p>" if one.note else ""
    table = Table("search", lines[-1].removesuffix(":") + ".", head, cells, [], look="bands").to_html()
    return f'{before}<div class="wide">{table}</div>{note}'


def _split(cell: str) -> Cell:
    value, mark, rest = cell.partition(" [")
    return (value, rest[:-1]) if mark and rest.endswith("]") else cell
