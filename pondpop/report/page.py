"""One self-contained page, and a CSV of every table beside it, from stored projections."""

from __future__ import annotations

import json
from collections.abc import Sequence
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

import xarray as xr

from pondpop.decide.passages import FILES
from pondpop.ensemble import results
from pondpop.ensemble.store import page_place, tables_folder, write_page_files
from pondpop.report import calendar, tables
from pondpop.report.answer import Answer, Verdict, answer
from pondpop.report.document import (
    CAUTIONS,
    GEAR_CAUTION,
    MODEL_CAUTION,
    NOBODY,
    Cover,
    For,
    Section,
    as_list,
    as_tree,
    document,
    plots,
    under,
)
from pondpop.report.format import html
from pondpop.report.pond_state import balance, crowding, kind_of, too_early
from pondpop.report.searches_page import Search, how_searched, read_searches, search_sections
from pondpop.report.strategies import Case, Material, Projection, gather
from pondpop.report.tables import Table
from pondpop.scenario import SPREADS
from pondpop.species import works_cited
from pondpop.units import AREA, Units, day, in_words, joined

if TYPE_CHECKING:
    from pondpop.assess import Assessment

IN_GENERAL = "Amounts in this section are what agencies advise for ponds in such a state; for this pond see the answer."
FIRST_SETTLE = "Settle with a certified professional whether to thin the crowded bass."
LIMITS = (
    "Real ponds differ more than the members of this run: the spreads of the doubts are assumed where it says so.",
    "Many values of the model are from memory or assumed (`pondpop sources` lists each with its origin); few were "
    "checked "
    "against your pond. Differences between strategies are surer than levels.",
    "All fish of a species are one stock in one well-mixed pond; nothing is said about where they are.",
    "Thinning does less for crowded bass in the model than the trade expects: little or no harvest as its answer says little "
    "against thinning bass that a survey found crowded.",
    "Big-fish figures rest on the upper tail of size and age, the least certain part.",
    "Target ranges were made for populations sampled in spring or autumn with electrofishing; your gear sees "
    "otherwise.",
)  # fmt: skip


def write_report(
    projections: xr.Dataset | str | Path | Sequence[xr.Dataset | str | Path],
    path: str | Path,
    units: Units | None = None,
    replace: bool = False,
    assessment: Assessment | None = None,
    found: Sequence[Path] = (),
    whom: For = NOBODY,
) -> None:
    """Write report.html, and beside it a folder of CSV files named after it (`report_tables`).

    projections: one for each scenario file, as a Dataset of `compare` or the path of a projection.nc, told side by side.
    units: those that come first; the first scenario's unless given. replace: also in place of a file that pondpop did
    not write. assessment: of the pond's records, told on the same page. found: files quota.json, plan.json and verify.json,
    told on it too. whom: names for the cover. The same input gives the same bytes. Raises InputError where something is in
    the way, OSError, RunError.

    >>> import pondpop
    >>> pondpop.write_report(pondpop.compare("pond.toml"), "report.html")
    """
    every = [projections] if isinstance(projections, xr.Dataset | str | Path) else list(projections)
    path = Path(path)
    page_place(path, [*(Path(one) for one in every if not isinstance(one, xr.Dataset)), *found], replace)
    datasets = [one if isinstance(one, xr.Dataset) else results.read(Path(one)) for one in every]
    material = gather(datasets, units)
    searches = read_searches(found)
    text, sheets = make_page(material, tables_folder(path).name, assessment, searches, whom)
    write_page_files(path, text, {f"{sheet.name}.csv": sheet.to_csv() for sheet in sheets})


def make_page(
    material: Material,
    folder: str,
    assessment: Assessment | None = None,
    searches: Sequence[Search] = (),
    whom: For = NOBODY,
) -> tuple[str, list[Table]]:
    """The text of the page, and the tables whose CSV belongs beside it."""
    from pondpop.report import comparisons, figures, forage_supply, oxygen_chart, posterior_charts
    from pondpop.report.assessment_page import assessment_part
    from pondpop.report.drawing import MOST_CASES, look

    said, pond = answer(material), kind_of(case.strategy for case in material.cases)
    best, shown = said.best, said.shown(MOST_CASES)
    with look():
        squares = [one for n, v in enumerate(said.verdicts) if (one := comparisons.squares(v, f"squares-{n}"))]
        pictures = list(figures.draw_all(shown, material.units, said.option))
        kills = [drawn] if (drawn := oxygen_chart.draw(shown, "kills")) else []
        hungry = [forage_supply.draw(shown, material.units, "hunger")]
        told = [list(posterior_charts.draw_all(str(p.dataset.attrs.get("update_table", "")), material.units, f"learned-{n}"))
                for n, p in enumerate(material.projections)]  # fmt: skip
    chosen = [v.chosen for v in said.verdicts if v.chosen is not None]
    yearly = shown if len(shown) == len(material.cases) else [v.best for v in said.verdicts]
    quota = next((one.harvest for one in searches if one.harvest), "")
    coming, harvest = calendar.calendar(material, chosen, quota), calendar.harvest_tables(material, quota)
    outcomes = [*tables.outcomes(material), *tables.strains(material), *tables.moves(material)]
    years = tables.by_year(material, yearly)
    prey = forage_supply.table(material, best)
    signs, oxygen = calendar.signs(material.cases), tables.oxygen(material)
    goals = [*comparisons.goal_tables(said.verdicts), *comparisons.what_if_tables(said.verdicts)]
    sheets = [
        next(iter(same)) for _, same in groupby(
            [*goals, *coming, *harvest, *outcomes, *years, *prey, signs, oxygen, tables.groups(material),
             tables.length_classes(material)], key=lambda t: t.name)
    ]  # fmt: skip
    files = "Tables as CSV beside this page: " + ", ".join(f"{folder}/{sheet.name}.csv" for sheet in sheets) + "."
    appendix = [
        Section("learned", "What was learned from the records", _records(material, [plots(some) for some in told])),
        Section("searched", "How it was searched", how_searched(searches)),
        Section("assumptions", "What was assumed", "".join(map(_assumptions, material.projections))),
        Section("again", "How to run it again", f"{_again(material)}<p>{html(files)}</p>"),
    ]
    works = works_cited("model", "standards", *(["methods"] if assessment else []))
    sections = [
        Section("records", "What the records say, and what to do",
                f"<p>{html(IN_GENERAL)}</p>{assessment_part(assessment, material.units, pond)}" if assessment else ""),
        *search_sections(searches),
        Section("actions", "What to do and when",
                "".join(t.to_html() for t in coming) + as_list([*calendar.HOW_TO_SURVEY, *_moving(material)])
                + "".join(t.to_html() for t in harvest) + signs.to_html()),
        Section("years", "The pond year by year",
                "".join(t.to_html() for t in outcomes) + _differences(material, said) + _left_out(material, shown)
                + plots([*pictures, *kills, *squares]) + oxygen.to_html()
                + '<div class="two">' + "".join(f'<div class="wide">{t.to_html()}</div>' for t in years) + "</div>"),
        Section("hunger", "Which bass go hungry, and when",
                f'<div class="two"><div>{plots(hungry)}</div><div>{_advice(shown, material.units)}</div></div>'
                + "".join(t.to_html() for t in prey)),
        Section("limits", "Limits", as_list(LIMITS)),
        Section("sources", "Sources", f'<div class="fine columns">{as_list(works)}</div>'),
        Section("appendix", "Appendix", under(appendix)),
    ]  # fmt: skip
    more = _more(material, said, goals)
    cautions = [*CAUTIONS, MODEL_CAUTION, *([GEAR_CAUTION] if assessment else [])]
    rest = Section("answer", "The answer", more)
    lead = _lead(material, said, _how_many(said, searches, assessment), *_state(said, searches, assessment))
    return document(_cover(material, whom), rest, lead, sections, cautions), sheets


def _cover(material: Material, whom: For) -> Cover:
    scenarios = [projection.scenario for projection in material.projections]
    title = " / ".join(dict.fromkeys(scenario.title for scenario in scenarios))
    by = joined(dict.fromkeys(scenario.consultant for scenario in scenarios if scenario.consultant))
    lines = [_pond(projection, len(scenarios) > 1) for projection in material.projections]
    notes = list(dict.fromkeys(scenario.note for scenario in scenarios if scenario.note))
    full = f"{whom.pond}: {title}" if whom.pond and whom.pond.casefold() not in title.casefold() else title
    return Cover(full, lines, For(whom.pond, whom.client, whom.consultant or by), notes)


def _pond(projection: Projection, several: bool) -> str:
    scenario = projection.scenario
    first, second = ("acres", "ha") if projection.units == "us" else ("ha", "acres")
    area, years = scenario.pond.area_ha, scenario.run.years
    name = f"{scenario.title}: " if several else ""
    runs = f"{projection.members:,} possible futures" if projection.members > 1 else "one future, no doubt shown"
    return (
        f"{name}Pond of {in_words(area, AREA, first)} ({in_words(area, AREA, second)}), {day(scenario.run.start)} to "
        f"{day(scenario.run.end)}, {years} {'year' if years == 1 else 'years'}, {runs}."
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


def _how_many(said: Answer, searches: Sequence[Search], assessment: Assessment | None) -> str:
    """Which harvest is advised, where a page tells of more than one; nothing where it does not."""
    general = "the amounts with the records are what agencies advise for such ponds in general" if assessment else ""
    asked = next((one for one in searches if one.name == FILES["quota.json"]), None)
    if asked is not None and asked.harvest:
        others = "the harvests of the strategies were only compared with one another"
        return f"{asked.harvest} That is the quota, searched for this pond; {joined(filter(None, [others, general]))}."
    if asked is None and not general:
        return ""
    none = "" if asked is None else "No harvest of bass keeps all that the goals ask for, so the search advises no amount. "
    takes = [f"{case.letter} takes {_bass_taken(said.verdicts[0], case)}" for case in said.equals]
    sure = ["none of them is surely better"] if len(takes) > 1 else []
    return f"{none}{'; '.join(filter(None, [*takes, *sure, general]))}."


def _bass_taken(verdict: Verdict, case: Case) -> str:
    """What a strategy still takes of the bass, in words."""
    every = verdict.told.actions_of(verdict.cases.index(case))
    return joined(dict.fromkeys(one.taken for one in every if one.species == "bass")) or "none"


def _state(said: Answer, searches: Sequence[Search], assessment: Assessment | None) -> tuple[str, str]:
    """Whether the pond is balanced by its records, and what to make of the harvest advised where bass are crowded."""
    if assessment is None:
        return "", ""
    first = said.verdicts[0]
    quota = next((one for one in searches if one.name == FILES["quota.json"]), None)
    words = crowding(assessment, first.told, None if quota is None else quota.harvest)
    early = too_early(assessment, first.projection.scenario)
    return f"{early} {balance(assessment, first.projection.units)}".strip(), words


def _lead(material: Material, said: Answer, how_many: str, state: str = "", crowded: str = "") -> str:
    """What to choose, how surely, what to do next; for each pond. Of several ponds it is not known whose the records are."""
    several = len(material.projections) > 1
    parts = []
    for projection, points in zip(material.projections, said.lead, strict=True):
        head = f"<h3>{html(projection.scenario.title)}</h3>" if several else ""
        if not several:
            own = [("Is it balanced?", state), ("How many bass to take", f"{how_many} {crowded}".strip())]
            first = f"{FIRST_SETTLE} By the model: " if crowded else ""
            rest = [(w, f"{first}{t[0].lower()}{t[1:]}" if w == "Do next" and first else t) for w, t in points[1:]]
            points = [points[0], *((word, text) for word, text in own if text), *rest]
        lines = "".join(f"<p><b>{html(word)}{'' if word.endswith('?') else ':'}</b> {html(text)}</p>" for word, text in points)
        parts.append(f'<div class="lead">{head}{lines}</div>')
    return f'<div class="leads">{"".join(parts)}</div>'


def _more(material: Material, said: Answer, goals: Sequence[Table]) -> str:
    several = len(material.projections) > 1
    parts = []
    for projection, points in zip(material.projections, said.more, strict=True):
        head = f"<h3>{html(projection.scenario.title)}</h3>" if several else ""
        parts.append(head + "".join(f"<p><b>{html(word)}:</b> {html(text)}</p>" for word, text in points))
    return _key(material) + "".join(t.to_html() for t in goals) + "".join(parts)


def _differences(material: Material, said: Answer) -> str:
    lines = [line for verdict in said.verdicts for line in verdict.details_on("stocked group", "differences")]
    band = " (middle and range of 8 of 10 futures)" if material.banded else ""
    return f'<h3>What differs{band}</h3><div class="fine columns">{as_list(lines)}</div>' if lines else ""


def _left_out(material: Material, shown: Sequence[Case]) -> str:
    """Which strategies have no pictures of their own."""
    rest = [case.letter for case in material.cases if case not in shown]
    if not rest:
        return ""
    return (
        f"<p>Pictures show the {len(shown)} strategies that do best on their goals, yearly tables the best one; "
        f"{html(joined(rest))} stand in the tables above and in the CSV files.</p>"
    )


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
        parts.append(f"<h3>{head}</h3>{as_list(seen)}")
    said = [f"{text} ({', '.join(letters)})" if len(cases) > 1 else text for text, letters in helps.items()]
    return "".join(parts) + (f"<h3>What helps</h3>{as_list(said)}" if said else "")


def _records(material: Material, pictures: Sequence[str]) -> str:
    """Assessment and update as the projection carries them in its attributes, in pictures and words; or nothing."""
    parts = []
    for projection, drawn in zip(material.projections, pictures, strict=True):
        parts.append(drawn)
        for name in ("assessment", "update"):
            text = str(projection.dataset.attrs.get(name, ""))
            if text.strip():
                parts.append(f"<h4>{html(name.capitalize())}</h4><pre>{html(text.strip())}</pre>")
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
    doubts = f"<p>Doubts that make the futures differ:</p>{as_list(spreads)}" if projection.members > 1 else ""
    return f'<h4>{html(scenario.title)}</h4><div class="fine columns">{as_tree(known)}{doubts}</div>'


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
