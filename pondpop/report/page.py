"""One self-contained page, and a CSV of every table beside it, from stored projections."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from itertools import groupby
from pathlib import Path

import xarray as xr

from pondpop import __version__
from pondpop.ensemble import results
from pondpop.ensemble.store import PAGE_MARK, page_place, tables_folder, write_page_files
from pondpop.report import calendar, tables
from pondpop.report.answer import Answer, answer
from pondpop.report.format import EXPLAINED, html
from pondpop.report.strategies import Case, Material, Projection, gather
from pondpop.report.style import CSS
from pondpop.report.tables import Table
from pondpop.scenario import SPREADS
from pondpop.species import works_cited
from pondpop.units import AREA, Units, day, in_words, joined

CAUTIONS = (
    ("The law", "Stocking and moving fish, the species and strains you may stock, and harvest are regulated by the "
                "state, "
     "often with permits and health certificates. Ask the state agency, and a certified fisheries professional, before "
     "you act on this report."),
    ("Eating fish", "Follow the state's consumption advisories; fish of some waters should not be eaten often, or "
                    "at all."),
    ("Safety", "Ice, deep or cold water, boats and electricity kill. Wear a life vest, never sample alone, stay off "
               "thin "
     "ice. Electrofishing is for trained crews with a permit."),
    ("This model", "A projection is not a promise. It knows bass, bluegill, redear, threadfin shad and minnows in a mixed "
                   "pond, not "
     "disease, weeds, floods, other fish, otters or poachers. Survey the pond and correct the course."),
)  # fmt: skip
LIMITS = (
    "Real ponds differ more than the members of this run: the spreads of the doubts are assumed where it says so.",
    "Many values of the model are from memory or assumed (`pondpop sources` lists each with its origin); few were "
    "checked "
    "against your pond. Differences between strategies are surer than levels.",
    "All fish of a species are one stock in one well-mixed pond; nothing is said about where they are.",
    "Big-fish figures rest on the upper tail of size and age, the least certain part.",
    "Target ranges were made for populations sampled in spring or autumn with electrofishing; your gear sees "
    "otherwise.",
)  # fmt: skip


def write_report(
    projections: xr.Dataset | str | Path | Sequence[xr.Dataset | str | Path],
    path: str | Path,
    units: Units | None = None,
    replace: bool = False,
) -> None:
    """Write report.html, and beside it a folder of CSV files named after it (`report_tables`).

    projections: one for each scenario file, as a Dataset of `compare` or the path of a projection.nc, told side by side.
    units: those that come first; the first scenario's unless given. replace: also in place of a file that pondpop did
    not write. The same input gives the same bytes. Raises InputError where something is in the way, OSError, RunError.

    >>> import pondpop
    >>> pondpop.write_report(pondpop.compare("pond.toml"), "report.html")
    """
    every = [projections] if isinstance(projections, xr.Dataset | str | Path) else list(projections)
    path = Path(path)
    page_place(path, [Path(one) for one in every if not isinstance(one, xr.Dataset)], replace)
    datasets = [one if isinstance(one, xr.Dataset) else results.read(Path(one)) for one in every]
    material = gather(datasets, units)
    text, sheets = make_page(material, tables_folder(path).name)
    write_page_files(path, text, {f"{sheet.name}.csv": sheet.to_csv() for sheet in sheets})


def make_page(material: Material, folder: str) -> tuple[str, list[Table]]:
    """The text of the page, and the tables whose CSV belongs beside it."""
    from pondpop.report import comparisons, figures, forage_supply, posterior_charts
    from pondpop.report.drawing import MOST_CASES, Picture, look

    said = answer(material)
    best, shown = said.best, said.shown(MOST_CASES)
    with look():
        squares = [one for n, v in enumerate(said.verdicts) if (one := comparisons.squares(v, f"squares-{n}"))]
        pictures = list(figures.draw_all(shown, material.units, said.option))
        hungry = [forage_supply.draw(shown, material.units, "hunger")]
        told = [list(posterior_charts.draw_all(str(p.dataset.attrs.get("update_table", "")), material.units, f"learned-{n}"))
                for n, p in enumerate(material.projections)]  # fmt: skip
    chosen = [v.chosen for v in said.verdicts if v.chosen is not None]
    yearly = shown if len(shown) == len(material.cases) else [v.best for v in said.verdicts]
    coming, harvest = calendar.calendar(material, chosen), calendar.harvest_tables(material)
    outcomes, years, prey = tables.outcomes(material), tables.by_year(material, yearly), forage_supply.table(material, best)
    signs = calendar.signs(material.cases)
    goals = [*comparisons.goal_tables(said.verdicts), *comparisons.what_if_tables(said.verdicts)]

    def plots(some: Sequence[Picture]) -> str:
        return f'<div class="plots">{"".join(map(_figure, some))}</div>' if some else ""

    sections = [
        ("answer", "The answer", _answer(material, said, goals) + plots(squares)),
        ("actions", "What to do and when",
         "".join(t.to_html() for t in coming) + _list([*calendar.HOW_TO_SURVEY, *_moving(material)])
         + "".join(t.to_html() for t in harvest) + signs.to_html()),
        ("years", "The pond year by year",
         "".join(t.to_html() for t in outcomes) + _differences(material, said) + _left_out(material, shown)
         + plots(pictures)
         + f'<div class="two">{"".join(f"<div>{t.to_html()}</div>" for t in years)}</div>'),
        ("hunger", "Which bass go hungry, and when",
         f'<div class="two"><div>{plots(hungry)}</div><div>{_advice(shown, material.units)}</div></div>'
         + "".join(t.to_html() for t in prey)),
        ("records", "What the records say", _records(material, [plots(some) for some in told])),
        ("assumptions", "What was assumed", "".join(map(_assumptions, material.projections))),
        ("limits", "Limits", _list(LIMITS)),
        ("sources", "Sources", f'<div class="fine columns">{_list(works_cited("model", "standards"))}</div>'),
        ("again", "How to run it again", _again(material)),
    ]  # fmt: skip
    sheets = [
        next(iter(same)) for _, same in groupby(
            [*goals, *coming, *harvest, *outcomes, *years, *prey, signs, tables.groups(material),
             tables.length_classes(material)], key=lambda t: t.name)
    ]  # fmt: skip
    return "\n".join(_document(material, [s for s in sections if s[2]], sheets, folder)) + "\n", sheets


def _document(
    material: Material, sections: Sequence[tuple[str, str, str]], sheets: Sequence[Table], folder: str
) -> Iterator[str]:
    title = " / ".join(dict.fromkeys(p.scenario.title for p in material.projections))
    yield "<!doctype html>"
    yield f'<html lang="en"><head><meta charset="utf-8"><title>{html(title)}</title>'
    yield f'{PAGE_MARK} {__version__}">'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
    yield f"<style>{CSS}</style></head>"
    yield '<body><a class="skip" href="#answer">Skip to the answer</a>'
    yield f"<header><h1>{html(title)}</h1>"
    for projection in material.projections:
        yield f'<p class="by">{html(_pond(projection, len(material.projections) > 1))}</p>'
    for who in dict.fromkeys(p.scenario.consultant for p in material.projections if p.scenario.consultant):
        yield f'<p class="by"><b>Prepared by {html(who)}</b></p>'
    for note in dict.fromkeys(p.scenario.note for p in material.projections if p.scenario.note):
        yield f'<p class="note">{html(note)}</p>'
    yield "</header>"
    links = "".join(f'<li><a href="#{key}">{html(words)}</a></li>' for key, words, _ in sections)
    yield f'<nav aria-label="Contents"><ul>{links}</ul></nav>'
    yield "<main>"
    for n, (key, words, content) in enumerate(sections):
        yield '<div class="first">' if n == 0 else ""
        yield f'<section aria-labelledby="{key}"><h2 id="{key}">{html(words)}</h2>{content}</section>'
        yield f'<div class="beside">{_cautions()}{_explained()}</div></div>' if n == 0 else ""
    yield "</main>"
    files = ", ".join(f"{folder}/{sheet.name}.csv" for sheet in sheets)
    yield f"<footer><p>Tables as CSV beside this page: {html(files)}.</p></footer>"
    yield "</body></html>"


def _pond(projection: Projection, several: bool) -> str:
    scenario = projection.scenario
    first, second = ("acres", "ha") if projection.units == "us" else ("ha", "acres")
    area = scenario.pond.area_ha
    name = f"{scenario.title}: " if several else ""
    runs = f"{projection.members:,} possible futures" if projection.members > 1 else "one future, no doubt shown"
    return (
        f"{name}Pond of {in_words(area, AREA, first)} ({in_words(area, AREA, second)}), {day(scenario.run.start)} to "
        f"{day(scenario.run.end)}, {scenario.run.years} years, {runs}."
    )


def _key(material: Material) -> str:
    from pondpop.report.drawing import dashes_for_html

    items = []
    for case in material.cases:
        colour, dashes, _ = case.look
        line = (
            f'<svg viewBox="0 0 38 10" aria-hidden="true"><path d="M0 5H38" stroke="{colour}" stroke-width="2.5" '
            f'fill="none"{dashes_for_html(dashes)}/></svg>'
        )
        items.append(f"<li>{line}<b>{case.letter}</b> {html(case.title)}</li>")
    return f'<ul class="key">{"".join(items)}</ul>'


def _answer(material: Material, said: Answer, goals: Sequence[Table]) -> str:
    several = len(material.projections) > 1
    parts = []
    for projection, points in zip(material.projections, said.lead, strict=True):
        head = f"<h3>{html(projection.scenario.title)}</h3>" if several else ""
        lines = "".join(f"<p><b>{html(word)}:</b> {html(text)}</p>" for word, text in points)
        parts.append(f'<div class="lead">{head}{lines}</div>')
    return f'{_key(material)}<div class="leads">{"".join(parts)}</div>' + "".join(t.to_html() for t in goals)


def _differences(material: Material, said: Answer) -> str:
    lines = [line for verdict in said.verdicts for line in verdict.details_on("stocked group", "differences")]
    band = " (middle and range of 8 of 10 futures)" if material.banded else ""
    return f'<h3>What differs{band}</h3><div class="fine columns">{_list(lines)}</div>' if lines else ""


def _left_out(material: Material, shown: Sequence[Case]) -> str:
    """Which strategies have no pictures of their own."""
    rest = [case.letter for case in material.cases if case not in shown]
    if not rest:
        return ""
    return (
        f"<p>Pictures show the {len(shown)} strategies that do best on their goals, yearly tables the best one; "
        f"{html(joined(rest))} stand in the tables above and in the CSV files.</p>"
    )


def _cautions() -> str:
    items = "".join(f"<li><b>{html(head)}.</b> {html(text)}</li>" for head, text in CAUTIONS)
    return f'<section class="warn" aria-labelledby="cautions"><h2 id="cautions">Cautions</h2><ul>{items}</ul></section>'


def _figure(one: object) -> str:
    return (
        f"<figure><h3>{html(one.title)}</h3>{one.svg}"  # type: ignore[attr-defined]
        f"<figcaption>{html(one.caption)}</figcaption></figure>"  # type: ignore[attr-defined]
    )


def _list(lines: Sequence[str]) -> str:
    return f"<ul>{''.join(f'<li>{html(line)}</li>' for line in lines)}</ul>" if lines else ""


def _explained() -> str:
    terms = "".join(f"<dt>{html(short)}</dt><dd>{html(text)}</dd>" for short, text in EXPLAINED.items())
    return f'<section class="fine" aria-labelledby="words"><h2 id="words">Words used</h2><dl>{terms}</dl></section>'


def _moving(material: Material) -> list[str]:
    texts: dict[str, str] = {}
    for projection in material.projections:
        text = calendar.moving_window(projection, material.cases_of(projection)[0])
        texts.setdefault(text, projection.scenario.title)
    return list(texts) if len(texts) == 1 else [f"{title}: {text}" for text, title in texts.items()]


def _advice(cases: Sequence[Case], units: Units) -> str:
    """What the coming years and the end of the run hold for the bass of each strategy; each piece of advice once."""
    from pondpop.report.forage_supply import advice

    parts, helps = [], dict[str, list[str]]()
    for head, coming in (("The coming two years", True), ("Usual year at the end of the run", False)):
        seen = []
        for case in cases:
            words, help_with = advice(case, units, coming)
            seen.append(f"{case.letter}: {words}")
            for text in help_with:
                if case.letter not in helps.setdefault(text, []):
                    helps[text].append(case.letter)
        parts.append(f"<h3>{head}</h3>{_list(seen)}")
    said = [f"{text} ({', '.join(letters)})" if len(cases) > 1 else text for text, letters in helps.items()]
    return "".join(parts) + (f"<h3>What helps</h3>{_list(said)}" if said else "")


def _records(material: Material, pictures: Sequence[str]) -> str:
    """Assessment and update as the projection carries them in its attributes, in pictures and words; or nothing."""
    parts = []
    for projection, drawn in zip(material.projections, pictures, strict=True):
        parts.append(drawn)
        for name in ("assessment", "update"):
            text = str(projection.dataset.attrs.get(name, ""))
            if text.strip():
                parts.append(f"<h3>{html(name.capitalize())}</h3><pre>{html(text.strip())}</pre>")
    return "".join(parts)


def _assumptions(projection: Projection) -> str:
    scenario = projection.scenario
    lines = calendar.assumptions(projection)
    spreads = [
        f"{SPREADS[name].words}: {value:g} ({SPREADS[name].source})"
        for name, value in scenario.ensemble.spreads.items()
        if value
    ]
    known = [line for line in lines if not any(line.strip().startswith(f"{name}:") for name in SPREADS)]
    doubts = f"<p>Doubts that make the futures differ:</p>{_list(spreads)}" if projection.members > 1 else ""
    return f'<h3>{html(scenario.title)}</h3><div class="fine columns">{_list([k.strip() for k in known])}{doubts}</div>'


def _again(material: Material) -> str:
    items = []
    for projection in material.projections:
        dataset = projection.dataset
        told = joined(f"{name} {number}" for name, number in json.loads(str(dataset.attrs["versions"])).items())
        items.append(
            f"<p>{html(projection.scenario.title)}: seed {html(dataset.attrs['seed'])}, {projection.members:,} "
            f"{'member' if projection.members == 1 else 'members'}, made with {html(told)}. Contents of projection.nc: "
            f"<code>{html(results.content_hash(dataset))}</code>.</p>"
        )
    return "".join(items) + (
        "<pre>pondpop report projection.nc              this page again\n"
        "pondpop compare scenario.resolved.toml    the projection again</pre>"
    )
