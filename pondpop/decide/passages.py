"""What was found, as passages: a text for the terminal and its file, and the same as data for the client's page."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import NamedTuple

from pondpop.checks import RunError
from pondpop.decide.console import columns

LARGEST = 1_000_000  # bytes of such a file
FILES = {"quota.json": "How many bass to take", "plan.json": "The plan", "verify.json": "Whether the pond follows the forecast"}
"""Files of passages, with what they are called on the page."""


class Passage(NamedTuple):
    """Some sentences, and below them a table (its first row are the headings) and a note on it.

    detail: of interest to who wants to check the search, not to a client.
    """

    words: str
    rows: Sequence[Sequence[str]] = ()
    note: str = ""
    detail: bool = False

    def text(self) -> str:
        table = columns(self.rows) if self.rows else ""
        return f"{self.words}\n{table}" + (f"{self.note}\n" if self.note else "")


def in_text(passages: Iterable[Passage]) -> str:
    """The passages below each other, a blank line between them."""
    return "\n".join(one.text() for one in passages)


def to_json(title: str, passages: Iterable[Passage], harvest: str = "") -> str:
    """The passages as a file that `read` takes; title is that of the scenario, harvest what is advised to be taken."""
    told = [{**one._asdict(), "rows": [list(row) for row in one.rows]} for one in passages]
    content: dict[str, object] = {"written_by": "pondpop", "title": title, "harvest": harvest, "passages": told}
    return json.dumps({**content, "content_hash": _hash(content)}, indent=1, ensure_ascii=False) + "\n"


def read(path: Path) -> tuple[str, str, list[Passage]]:
    """Title, advice on harvest and passages of a file that `to_json` made. Raises OSError, RunError if it is damaged."""
    try:
        if path.stat().st_size > LARGEST:
            raise ValueError
        content = json.loads(path.read_text("utf-8"))
        if content.pop("content_hash") != _hash(content):  # a page is not made of words that were changed since
            raise ValueError
        return _text(content["title"]), _text(content["harvest"]), [_passage(one) for one in content["passages"]]
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise RunError(f"{path}: the file is damaged, or pondpop did not write it; make it again") from None


def _hash(content: dict[str, object]) -> str:
    """Of all that the file says. Raises UnicodeEncodeError, a ValueError, for what is no text."""
    return hashlib.sha256(json.dumps(content, ensure_ascii=False).encode("utf-8")).hexdigest()


def _passage(raw: dict[str, object]) -> Passage:
    rows = raw["rows"]
    if not isinstance(rows, list) or not all(isinstance(row, list) and len(row) == len(rows[0]) for row in rows):
        raise ValueError
    cells = [[_text(cell) for cell in row] for row in rows]
    return Passage(_text(raw["words"]), cells, _text(raw["note"]), raw["detail"] is True)


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise ValueError
    return value
