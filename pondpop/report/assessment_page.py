"""The page of an assessment: what records say of a pond, for a client to read and print; one self-contained HTML file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

import numpy as np

from pondpop.assess.advice import LEAST_SAID
from pondpop.assess.size_and_condition import LEAST_WEIGHED
from pondpop.assess.text import converted, state_words
from pondpop.records.told import how_read
from pondpop.report.document import CAUTIONS, GEAR_CAUTION, NOBODY, Cover, For, Section, as_list, document, plots, under
from pondpop.report.format import html
from pondpop.report.tables import Cell, Table
from pondpop.species import works_cited
from pondpop.species.catalogue import standards
from pondpop.units import NONE, Units, brief, day, in_ten, joined

if TYPE_CHECKING:
    from pondpop.assess import Assessment, Finding, SurveyAssessment
    from pondpop.report.drawing import Picture

MOST_SURVEYS = 3  # the last ones, whose lengths are drawn
FAMILY = (("psd", "PSD"), ("psd_p", "PSD-P"), ("psd_m", "PSD-M"))


def assessment_page(found: Assessment, units: Units = "us", whom: For = NOBODY) -> str:
    """The text of the page. Units "us" or "metric" (PSD always uses the inch categories). The same input, the same bytes."""
    r = found.records
    dates = sorted({row.date for rows in (r.fish, r.effort, r.catches, r.tags) for row in rows})
    ends = dict.fromkeys(day(date) for date in (dates[:1] + dates[-1:]))
    lines = [f"Records of {' to '.join(ends)}: {_seen(found)}."] if dates else []
    cover = Cover(f"Assessment of {whom.pond}" if whom.pond else "Assessment of a pond", lines, whom)
    lead, more = _answer(found, units)
    sources = f'<div class="fine columns">{as_list(works_cited("standards", "methods"))}</div>'
    return document(
        cover,
        Section("answer", "What the records say, and what to do", more),
        lead,
        [*assessment_sections(found, units), Section("sources", "Sources", sources)],
        [*CAUTIONS, GEAR_CAUTION],
    )


def assessment_sections(found: Assessment, units: Units) -> list[Section]:
    """What the records say, part by part, below the answer."""
    return [
        Section("sizes", "Size structure", _sizes(found)),
        Section("condition", "Condition", _condition(found)),
        Section("catch", "Catch rates and balance", _rates(found, units)),
        Section("growth", "Growth, numbers and survival", _growth(found, units)),
        Section("anglers", "What anglers caught", _figures("anglers", "By year; limits of 95 %.", found.anglers, units)),
        Section("changes", "What changed", _changes(found)),
        Section("gaps", "What these records cannot tell", as_list(found.missing)),
        Section("read", "How the records were read", as_list(text for _, text in how_read(found.records))),
    ]


def assessment_part(found: Assessment, units: Units, pond: str | None = None) -> str:
    """The whole assessment as one section of a larger page, of a pond that is "fertile" or "infertile" if that is known."""
    lead, more = _answer(found, units, pond)
    return f"<p>{html(_seen(found))}.</p>{lead}{more}{under(assessment_sections(found, units))}"


def _seen(found: Assessment) -> str:
    r = found.records
    fish, trips = sum(f.count for f in r.fish), len({(c.date, c.trip) for c in r.catches})
    return f"{fish:,} survey fish, {trips:,} angling trips, {len({t.tag for t in r.tags}):,} tagged fish"


def _answer(found: Assessment, units: Units, pond: str | None = None) -> tuple[str, str]:
    """The advice, and what it rests on."""
    advice = found.advice(units, pond)
    if advice is None:
        words = "The state of the pond cannot be told from these records; what they lack stands at the end."
        return f'<div class="lead"><p>{words}</p></div>', ""
    steps = "".join(f"<li>{html(line)}</li>" for line in advice.steps)
    other = [(words, chance) for words, chance in _pair_chances(found) if chance >= LEAST_SAID]
    rows = [[words, in_ten(chance)] for words, chance in other]
    title = "How probable each reading of the two PSD values is, without Wr"
    read = Table("readings", title, ("Reading", "Chance"), rows, (), look="texts")
    lead = f'<div class="lead"><p>{html(state_words(advice))}.</p><ul>{steps}</ul></div>'
    seen = as_list(line[0].upper() + line[1:] + "." for line in advice.why)
    return lead, f"<h3>What was seen</h3>{seen}{read.to_html()}"


def _pair_chances(found: Assessment) -> list[tuple[str, float]]:
    last = next(s for s in reversed(found.surveys) if s.pair is not None)
    assert last.pair is not None
    return list(last.pair.chances.items())


# ---- figures ---------------------------------------------------------------------------------------------------------


def _cell(f: Finding | None, digits: int = 0) -> str | tuple[str, str]:
    if f is None:
        return NONE
    value = f"{f.value:.{digits}f}"
    return value if f.low is None or f.high is None else (value, f"{f.low:.{digits}f}–{f.high:.{digits}f}")


def _when(s: SurveyAssessment, gear: str) -> str:
    return f"{s.first}, {gear}"


def _of(s: SurveyAssessment, gear: str, species: str) -> dict[str, Finding]:
    return {f.quantity.removeprefix(f"{species}_"): f for f in s.findings if (f.gear, f.species) == (gear, species)}


def _groups(found: Assessment) -> Iterator[tuple[SurveyAssessment, str, str]]:
    """Surveys, the last first, with each gear and species in them."""
    for s in reversed(found.surveys):
        for gear, species in dict.fromkeys((f.gear, f.species) for f in s.findings if f.species):
            yield s, gear, species


def _sizes(found: Assessment) -> str:
    rows = []
    for s, gear, species in _groups(found):
        mine = _of(s, gear, species)
        if "psd" in mine:
            known = _cell(mine.get("psd_floor"))
            floor = f"±{known}" if isinstance(known, str) else NONE
            family = [_cell(mine.get(key)) for key, _ in FAMILY]
            rows.append([_when(s, gear), species, f"{mine['psd'].count:,}", *family, floor])
    header = ("Survey", "Species", "Fish of stock length", *(name for _, name in FAMILY), "At best")
    words = "Limits of 95 % beside each figure. At best: how closely these days can tell PSD, however many fish are measured."
    return Table("sizes", words, header, rows, ()).to_html() + plots(_pictures(found))


def _pictures(found: Assessment) -> Iterator[Picture]:
    from pondpop.report.figures import length_frequency

    every = dict.fromkeys((gear, species) for _, gear, species in _groups(found))
    sized = {(f.gear, f.species) for s in found.surveys for f in s.findings if f.quantity.endswith("_psd")}
    for gear, species in sorted(every, key=lambda pair: pair not in sized):  # first those from which sizes are judged
        counts = {
            f"{s.first}": s.length_frequency[gear, species] for s in found.surveys if (gear, species) in s.length_frequency
        }
        if counts:
            last = dict(list(counts.items())[-MOST_SURVEYS:])
            yield length_frequency(last, species, f"lengths-{gear}-{species}", f"Lengths of {species}, {gear}")


def _condition(found: Assessment) -> str:
    rows = []
    for s, gear, species in _groups(found):
        for name, f in _of(s, gear, species).items():
            if name.startswith("wr_") and name != "wr_left_out":
                few = " (few)" if (f.count or 0) < LEAST_WEIGHED else ""
                rows.append([_when(s, gear), species, _class(name.removeprefix("wr_")), f"{f.count:,}{few}", _cell(f)])
    low, high = standards()["relative_weight"]["target"]
    words = f"Mean relative weight, %; {low} to {high} is wanted (Anderson 1980). Limits of 95 % beside it."
    table = Table("condition", words, ("Survey", "Species", "Length", "Fish weighed", "Wr"), rows, ())
    return table.to_html() + plots(_wr_picture(found))


def _class(name: str) -> str:
    low, _, high = name.partition("_")
    if high == "up":
        return f"{low.removesuffix('in')} in and more"
    return f"{low}–{high.removesuffix('in')} in" if low != "0" else f"under {high.removesuffix('in')} in"


def _wr_picture(found: Assessment) -> Iterator[Picture]:
    """Mean Wr by length class in the last survey with weights, with its limits and the range that is wanted."""
    from pondpop.report.drawing import INK, TARGET, heading, look, picture, stacked

    last = next((one for one in _groups(found) if any(q.startswith("wr_") and q != "wr_left_out" for q in _of(*one))), None)
    if last is None:
        return
    s, gear, _ = last
    of_species = {}
    for species in dict.fromkeys(f.species for f in s.findings if f.gear == gear and f.species):
        mine = {q: f for q, f in _of(s, gear, species).items() if q.startswith("wr_") and q != "wr_left_out"}
        if mine:
            of_species[species] = mine
    with look():
        figure, panels = stacked(len(of_species), 1.1, gap_in=0.42, bottom_in=0.3)
        said = []
        for axes, (species, mine) in zip(panels, of_species.items(), strict=True):
            at = np.arange(len(mine))
            axes.axhspan(*standards()["relative_weight"]["target"], color=TARGET, linewidth=0, zorder=0)
            for x, f in zip(at, mine.values(), strict=True):
                ends = [f.value if end is None else end for end in (f.low, f.high)]
                axes.plot([x, x], ends, color=INK, linewidth=1.0)
                axes.plot([x], [f.value], color="#14418b", marker="o", markersize=4, linestyle="")
            axes.set_xlim(-0.6, len(mine) - 0.4)
            axes.set_xticks(at, [_class(q.removeprefix("wr_")) for q in mine])
            heading(axes, "", species)
            said.append(species + ": " + ", ".join(f"{_class(q.removeprefix('wr_'))} {f.value:.0f}" for q, f in mine.items()))
        title = f"Relative weight, {s.first}, {gear}"
        yield picture(figure, "wr", title, "Mean Wr by length class, %, with limits of 95 %; band: the range that is wanted.",
                      f"{title}. {'; '.join(said)}.")  # fmt: skip


WORDS = {
    "number_closed": "fish there, by marks of one season",
    "number_open": "fish there, by marks of several years",
    "survival_per_year": "share that lives through a year",
    "kept_within_a_year": "share of the tagged kept within a year",
    "kept_share": "share of the caught that was kept",
    "final_length": "length at which growth ends",
    "growth_rate": "growth coefficient",
    "angling_hours": "hours fished",
}
IN_WORDS = (("stock_caught_per", "caught, of stock length, per"), ("caught_per", "caught per"), ("growth_", "growth at "))


def figure_words(f: Finding) -> str:
    """What a figure is, without its species: caught per hour, growth at 8–12 in."""
    name = f.quantity.removeprefix(f"{f.species}_")
    for begins, words in () if name in WORDS else IN_WORDS:
        if name.startswith(begins):
            rest = name.removeprefix(begins)
            return words + (_class(rest) if rest[:1].isdigit() else rest.replace("_", " "))
    return WORDS.get(name, name.replace("_", " "))


def _figures(name: str, caption: str, findings: Iterable[Finding], units: Units) -> str:
    rows: list[list[Cell]] = []
    for f in findings:
        unit, value, low, high = converted(f, units)
        limits = "" if low is None and high is None else f"{_number(low)}{' to ' if low and low < 0 else '–'}{_number(high)}"
        when, count = f"{f.date or ''}, {f.gear}".strip(", "), NONE if f.count is None else f"{f.count:,}"
        rows.append([when, f.species, figure_words(f), (_number(value), limits), unit, count])
    header = ("From", "Species", "Figure", "Value", "Unit", "Fish, trips or days")
    return Table(name, caption, header, rows, (), look="texts").to_html()


def _number(value: float | None) -> str:
    return "?" if value is None else brief(value, 2) if np.isfinite(value) else "no limit"


def _shown_elsewhere(f: Finding) -> bool:
    name = f.quantity
    return any(part in name for part in ("_psd", "_wr_", "_for_10_points", "_at_age_"))


def _rates(found: Assessment, units: Units) -> str:
    every = [f for s in reversed(found.surveys) for f in s.findings if not _shown_elsewhere(f)]
    rates = [f for f in every if f.value or "caught_per" not in f.quantity]
    absent: dict[str, list[str]] = {}
    for f in every:
        if not f.value and "_stock_" not in f.quantity and "caught_per" in f.quantity:
            absent.setdefault(f"{f.date}, {f.gear}", []).append(f.species)
    words = "Limits of 95 % beside each figure hold that days differ; one day's catch says little of the next."
    if absent:
        words += f" None caught: {'; '.join(f'{when}: {joined(names)}' for when, names in absent.items())}."
    odd = as_list(f"{line}." for s in found.surveys for line in s.disagreements)
    seined = [f"{s.first}: {s.seining.words} (seine)." for s in reversed(found.surveys) if s.seining]
    return _figures("rates", words, rates, units) + as_list(seined) + odd


def _growth(found: Assessment, units: Units) -> str:
    aged = [f for s in reversed(found.surveys) for f in s.findings if "_at_age_" in f.quantity]
    return _figures("growth", "From ages that were read, and from tags; limits of 95 %.", [*aged, *found.tags], units)


def _changes(found: Assessment) -> str:
    rows = []
    for s in reversed(found.surveys):
        for c in s.changes:
            sure = "a change" if c.p_all < 0.05 else "may be chance"
            fish = f"{c.counts[0]} and {c.counts[1]}"
            since = f"{s.compared_with[c.gear]} to {s.first}, {c.gear}"
            rows.append([since, c.quantity.replace("_", " "), f"{c.before:.0f} to {c.now:.0f} {c.unit}", fish, sure])
    words = "Held against what surveys of one pond differ by; of twenty unchanged ponds one is called changed."
    return Table("changes", words, ("Surveys", "Figure", "Change", "Fish", "Verdict"), rows, (), look="texts").to_html()
