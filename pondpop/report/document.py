"""One page for a client: a cover that holds the answer, contents, sections, cautions and words once; self-contained HTML."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from pondpop import __version__
from pondpop.ensemble.store import PAGE_MARK
from pondpop.report.format import EXPLAINED, html
from pondpop.report.style import CSS

CAUTIONS = (
    ("The law", "Stocking and moving fish, the species and strains you may stock, and harvest are regulated by the state, "
     "often with permits and health certificates. Ask the state agency, and a certified fisheries professional, before "
     "you act on this report."),
    ("Eating fish", "Follow the state's consumption advisories; fish of some waters should not be eaten often, or at all."),
    ("Safety", "Ice, deep or cold water, boats and electricity kill. Wear a life vest, never sample alone, stay off thin "
     "ice. Electrofishing is for trained crews with a permit."),
    ("Oxygen", "A kill can come in one night. Electricity near water kills: leave aerators and their wiring to a licensed "
     "electrician, with a ground-fault breaker. For a pond in trouble call the county Extension office or the state agency."),
)  # fmt: skip
MODEL_CAUTION = (
    "This model",
    "A projection is not a promise. It knows bass, bluegill, redear, threadfin shad and minnows in a mixed pond, not disease, "
    "other fish, otters or poachers, and weeds and floods only as far as they are stated. Survey the pond and correct the "
    "course.",
)
GEAR_CAUTION = (
    "What the gear sees",
    "A survey sees what its gear catches. Limits say how far chance of the day may mislead, not what the gear misses by "
    "length; figures of different gears are not compared with each other.",
)


@dataclass(frozen=True)
class For:
    """Whom the page is about and for; empty texts are left out."""

    pond: str = ""
    client: str = ""
    consultant: str = ""


NOBODY = For()


class Cover(NamedTuple):
    """What stands above everything: the title, what it is about in a line or two, for and by whom, notes."""

    title: str
    lines: Sequence[str]
    whom: For
    notes: Sequence[str] = ()


class Section(NamedTuple):
    """A part of the page; one without content is left out."""

    key: str
    title: str
    content: str


def document(cover: Cover, answer: Section, lead: str, sections: Sequence[Section], cautions: Sequence[tuple[str, str]]) -> str:
    """The text of the page: `lead` is the answer in a few sentences, before the contents, `answer` the rest of it."""
    return "\n".join(_lines(cover, answer, lead, [one for one in sections if one.content], cautions)) + "\n"


def _lines(
    cover: Cover, answer: Section, lead: str, sections: Sequence[Section], cautions: Sequence[tuple[str, str]]
) -> Iterator[str]:
    yield "<!doctype html>"
    yield f'<html lang="en"><head><meta charset="utf-8"><title>{html(cover.title)}</title>'
    yield f'{PAGE_MARK} {__version__}">'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
    yield f"<style>{CSS}</style></head>"
    yield '<body><a class="skip" href="#answer">Skip to the answer</a>'
    yield f"<header><h1>{html(cover.title)}</h1>"
    yield from (f'<p class="by">{html(line)}</p>' for line in cover.lines)
    named = [(words, name) for words, name in (("For", cover.whom.client), ("Prepared by", cover.whom.consultant)) if name]
    if named:
        yield f'<p class="by"><b>{html(". ".join(f"{words} {name}" for words, name in named))}</b></p>'
    yield "</header><main>"
    links = "".join(f'<li><a href="#{one.key}">{html(one.title)}</a></li>' for one in sections)
    notes = "".join(f'<p class="note">{html(note)}</p>' for note in cover.notes)
    yield f'<div class="first"><section aria-labelledby="{answer.key}"><h2 id="{answer.key}">{html(answer.title)}</h2>{lead}'
    yield f'{notes}<nav aria-label="Contents"><b>Contents</b><ul>{links}</ul></nav>{answer.content}</section>'
    yield f'<div class="beside">{_cautions(cautions)}{_explained()}</div></div>'
    for one in sections:
        yield f'<section aria-labelledby="{one.key}"><h2 id="{one.key}">{html(one.title)}</h2>{one.content}</section>'
    yield "</main></body></html>"


def _cautions(cautions: Sequence[tuple[str, str]]) -> str:
    items = "".join(f"<li><b>{html(head)}.</b> {html(text)}</li>" for head, text in cautions)
    return f'<section class="warn" aria-labelledby="cautions"><h2 id="cautions">Cautions</h2><ul>{items}</ul></section>'


def _explained() -> str:
    terms = "".join(f"<dt>{html(short)}</dt><dd>{html(text)}</dd>" for short, text in EXPLAINED.items())
    return f'<section class="fine" aria-labelledby="words"><h2 id="words">Words used</h2><dl>{terms}</dl></section>'


def under(parts: Iterable[Section]) -> str:
    """Sections below one heading of a larger one."""
    return "".join(f'<h3 id="{one.key}">{html(one.title)}</h3>{one.content}' for one in parts if one.content)


def as_list(lines: Iterable[str]) -> str:
    items = "".join(f"<li>{html(line)}</li>" for line in lines)
    return f"<ul>{items}</ul>" if items else ""


def as_tree(lines: Iterable[str]) -> str:
    """A list in which indented lines stand under the line before them that is not."""
    parts: list[tuple[str, list[str]]] = []
    for line in lines:
        if line.startswith(" ") and parts:
            parts[-1][1].append(line.strip())
        else:
            parts.append((line.strip(), []))
    items = "".join(f"<li>{html(head)}{as_list(under)}</li>" for head, under in parts)
    return f"<ul>{items}</ul>" if items else ""


def plots(drawn: Iterable[object]) -> str:
    """Pictures beside each other."""
    figures = "".join(
        f"<figure><h3>{html(one.title)}</h3>{one.svg}<figcaption>{html(one.caption)}</figcaption></figure>"  # type: ignore[attr-defined]
        for one in drawn
    )
    return f'<div class="plots">{figures}</div>' if figures else ""
