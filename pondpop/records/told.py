"""How records were read, in words: what was read as what, the rows that were left out and why. Standard library only."""

from __future__ import annotations

from collections.abc import Iterator

from pondpop.records import BadRow, Records

SHOWN_SLIPS = 20


def how_read(r: Records) -> Iterator[tuple[str, str]]:
    """Paragraphs on what was read as what, on the rows that were left out, and on what looks odd but was kept; with indents.

    Rows left out for the same slip are one paragraph with their number and the first three of them.
    """
    if r.read_as:
        yield "", f"Read as: {r.read_as}."
    if r.books:
        yield "", f"Said to hold every trip and every kept fish: the catches of {r.books[0]} to {r.books[1]}."
    slips = slips_of(r)
    if slips:
        yield "", f"{left_out(r)}:"
    for slip in slips[:SHOWN_SLIPS]:
        yield "  ", slip
    if (more := len(slips) - SHOWN_SLIPS) > 0:
        yield "  ", f"and rows for {more} other reason{'s' * (more > 1)}"
    for note in r.notes:
        yield "", "Odd: " + note


def left_out(r: Records) -> str:
    return f"Left out, {len(r.left_out)} row{'s' * (len(r.left_out) > 1)}"


def by_slip(r: Records) -> list[list[BadRow]]:
    """The rows that were left out, those of one slip together: first the slips that cost effort or empty a file."""
    slips: dict[str, list[BadRow]] = {}
    for bad in r.left_out:
        slips.setdefault(bad.slip, []).append(bad)
    kept = {"survey.csv": r.fish, "effort.csv": r.effort, "catches.csv": r.catches, "tags.csv": r.tags}
    return sorted(slips.values(), key=lambda rows: rows[0].kind != "effort.csv" and bool(kept[rows[0].kind]))


def slips_of(r: Records) -> list[str]:
    """Why rows were left out: each slip with the number of its rows and the first three of them."""
    told = []
    for rows in by_slip(r):
        lines = ", ".join(str(bad.line) for bad in rows[:3]) + (f" and {len(rows) - 3} more" if len(rows) > 3 else "")
        told.append(f"{rows[0]}" + (f" ({len(rows)} such rows: lines {lines})" if len(rows) > 1 else ""))
    return told
