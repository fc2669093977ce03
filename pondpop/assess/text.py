"""An assessment as text to read and as a table to keep."""

from __future__ import annotations

import csv
import io
import textwrap
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from pondpop.assess.advice import LIKELY
from pondpop.assess.size_and_condition import FEW, LEAST_WEIGHED, class_words
from pondpop.records.told import by_slip, how_read, left_out, slips_of
from pondpop.units import LENGTH, Units, brief, in_csv, in_ten, shortened

if TYPE_CHECKING:
    from pondpop.assess import Assessment, SurveyAssessment
    from pondpop.assess.advice import Advice
    from pondpop.assess.findings import Finding
    from pondpop.assess.seining import SeiningReading
    from pondpop.assess.size_and_condition import Change, PairDoubt
    from pondpop.records import Records

WIDTH = 100
SCREEN_WIDE, SCREEN_HIGH = 80, 24  # of a plain terminal
SHOWN_SLIPS = 4  # on one screen
SURE = 0.05
FLOOR, MORE = "_psd_floor", "_more_outings_for_10_points"
CAUTIONS = (
    "A survey sees what its gear catches: figures of different gears are not compared with each other.",
    "Catch per hour changes with light, clear water, temperature and crew as well as with the fish; Wr of females before "
    "spawning holds eggs (common practice, no source).",
    "Before fish are stocked, moved, removed or eaten, ask the state agency for the rules that hold, and a certified "
    "fisheries professional for the pond. Electrofishing is for trained crews with a permit.",
)
COLUMNS = ("date", "gear", "species", "quantity", "unit", "value", "low", "high", "count", "note")


def converted(finding: Finding, units: str) -> tuple[str, float, float | None, float | None]:
    """Unit, value and limits of a figure in US or metric units."""
    if units == "us" and finding.unit.split(" ")[0] == "mm":
        turn = LENGTH["in"].from_si
        low, high = (None if x is None else turn(x) for x in (finding.low, finding.high))
        return finding.unit.replace("mm", "in"), turn(finding.value), low, high
    return finding.unit, finding.value, finding.low, finding.high


def assessment_csv(assessment: Assessment, units: str = "us") -> str:
    """Every figure as one row: date, gear, species, quantity, unit, value, low, high, count, note."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for f in assessment.findings:
        unit, *numbers = converted(f, units)
        cells = ["" if x is None else in_csv(x) for x in numbers]
        writer.writerow(
            [f.date or "", f.gear, f.species, f.quantity, unit, *cells, "" if f.count is None else f.count, f.note]
        )
    return out.getvalue()


def assessment_text(assessment: Assessment, units: Units = "us") -> str:
    """The assessment in words and tables; units "us" or "metric" (PSD always uses the inch categories)."""
    return "\n".join(_lines(assessment, units)) + "\n"


def assessment_answer(a: Assessment, units: Units = "us", where: str = "") -> str:
    """The answer on one plain screen: rows that were lost, the state, what speaks for it, what to do, what looks odd.

    where: the page that was written, told last.
    """
    r, advice = a.records, a.advice(units)
    slips = slips_of(r)
    lost = _lines_of(f"{left_out(r)}: {slips[0]}.", SCREEN_WIDE) if slips else []
    for rows in by_slip(r)[1:SHOWN_SLIPS]:
        many = f" ({len(rows)} such rows)" if len(rows) > 1 else ""
        lost += _lines_of(f"  also {shortened(rows[0].in_short, 120)}{many}", SCREEN_WIDE)
    if (others := len(slips) - SHOWN_SLIPS) > 0:
        lost.append(f"  and rows for {others} other reason{'s' * (others > 1)}, see --details")
    trips = len({(c.date, c.trip) for c in r.catches})
    fish = f"{sum(f.count for f in r.fish):,} survey fish, {trips} angling trip{'s' * (trips != 1)} read"
    words = "; some words, units or dates were read as others" if r.read_as else ""
    more = f" ({len(r.notes) - 1} more: --details)" if len(r.notes) > 1 else ""
    odd = _lines_of(f"Odd{more}: {r.notes[0]}.", SCREEN_WIDE) if r.notes else []
    page = f" The page is {where}" if where else ""
    last = _lines_of(f"{fish}{words}. --details tells all of it, and every figure.{page}", SCREEN_WIDE)
    law = _lines_of("Before fish are stocked, moved, removed or eaten, ask the state agency.", SCREEN_WIDE)
    if advice is None:
        state = _lines_of("The state of the pond cannot be told from these records.", SCREEN_WIDE)
        rest = [_lines_of(f"- {line}", SCREEN_WIDE) for line in a.missing]
    else:
        state = _lines_of(f"{state_words(advice)}.", SCREEN_WIDE)
        seen = [_lines_of(f"seen: {line}", SCREEN_WIDE) for line in advice.why]
        rest = [*seen[:1], *(_lines_of(f"- {line}", SCREEN_WIDE) for line in advice.steps), *seen[1:]]
    said, foot = [*lost, *state], [*odd, *law, *last]
    for part in rest:
        if len(said) + len(part) + len(foot) <= SCREEN_HIGH:
            said += part
    return "\n".join([*said, *foot][:SCREEN_HIGH]) + "\n"


def _lines_of(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, subsequent_indent="  ", break_on_hyphens=False, break_long_words=False)


def _lines(a: Assessment, units: Units) -> Iterator[str]:
    r = a.records
    yield f"Records in {r.folder}: " + ", ".join(r.files)
    days, trips, tags = len(r.effort), len({(c.date, c.trip) for c in r.catches}), len({t.tag for t in r.tags})
    yield (
        f"{sum(f.count for f in r.fish)} survey fish, {days} day{'s' * (days != 1)} of effort by gear, "
        f"{trips} angling trip{'s' * (trips != 1)}, {tags} tag{'s' * (tags != 1)}"
    )
    if r.left_out:
        yield ""
    yield from left_out_and_odd(r)
    if advice := a.advice(units):
        yield ""
        yield from _title("What it says, and what to do")
        yield from _wrap(f"{state_words(advice)}.")
        for line in advice.why:
            yield from _wrap(f"seen: {line}", "  ")
        for line in advice.steps:
            yield from _wrap(f"- {line}")
    for survey in a.surveys:
        yield ""
        yield from _survey(survey, units)
    for title, findings in (("Catch records", a.anglers), ("Tags", a.tags)):
        if findings:
            yield ""
            yield from _title(title)
            yield from _table(findings, units)
            for quantity, note in dict.fromkeys((f.quantity, f.note) for f in findings if title == "Tags"):
                yield from _wrap(f"{quantity}: {note}", "  ")
    if a.missing:
        yield ""
        yield from _title("What these records cannot tell")
        for line in a.missing:
            yield from _wrap("- " + line)
    yield ""
    yield "Limits are of 95 %."
    for line in CAUTIONS:
        yield from _wrap(line)


def state_words(advice: Advice) -> str:
    """The state of the pond and how sure it is."""
    words = advice.words if advice.chance >= LIKELY else f"no state is likely; the likeliest: {advice.words}"
    words = words[0].upper() + words[1:]
    joined = f", from PSD and Wr together: {advice.joined}" if advice.joined else ""
    return f"{words} (chance: {in_ten(advice.chance)}{joined}; survey of {advice.survey} by {advice.gear})"


def left_out_and_odd(r: Records) -> Iterator[str]:
    """Lines on what was read as what, on the rows that were left out, and on what looks odd but was kept."""
    for indent, paragraph in how_read(r):
        yield from _wrap(paragraph, indent)


def _title(words: str) -> Iterator[str]:
    yield words
    yield "-" * len(words)


def _wrap(text: str, indent: str = "") -> Iterator[str]:
    yield from textwrap.wrap(
        text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ", break_on_hyphens=False
    )


def _survey(s: SurveyAssessment, units: str) -> Iterator[str]:
    yield from _title(f"Survey of {s.first}" + (f" to {s.last}" if s.last != s.first else ""))
    if s.pair:
        yield from _pair(s.pair)
    if s.seining:
        yield from _seining(s.seining)
    by_gear: dict[tuple[str, str], list[Finding]] = {}
    for f in s.findings:
        by_gear.setdefault((f.gear, f.species), []).append(f)
    for findings in by_gear.values():
        yield from _structure(findings)
    rates = [f for f in s.findings if not _compact(f)]
    yield from _table(rates, units)
    yield from _notes(rates)
    for words in s.disagreements:
        yield from _wrap(words + ".", "  ")
    for gear, date in s.compared_with.items():
        yield from _change(gear, str(date), [c for c in s.changes if c.gear == gear], (s.first - date).days)


def _pair(p: PairDoubt) -> Iterator[str]:
    yield from _wrap(
        f"Bass PSD {p.bass_psd:.0f} ({p.stock[0]} of stock length), bluegill PSD {p.bluegill_psd:.0f} ({p.stock[1]}), "
        f"by {p.gear}: {p.words}."
    )
    likely = [(words, chance) for words, chance in p.chances.items() if chance >= SURE] or list(p.chances.items())[:1]
    yield "With so many fish measured, the chances are"
    for words, chance in likely:
        yield from _wrap(f"{in_ten(chance)}: {words}", "  ")
    rest = 1 - sum(chance for _, chance in likely)
    if rest > 0.005:
        yield f"  {in_ten(rest)}: another reading"


def _seining(s: SeiningReading) -> Iterator[str]:
    season = "" if s.in_season else " Seining tells most from June to September; this was outside."
    bass = f"{s.young_bass} young bass" if s.young_bass else "no young bass"
    yield from _wrap(
        f"{s.hauls} seine hauls: {bass}, newly hatched bluegill {s.hatched} ({s.hatched_per_haul:.1f} a haul), "
        f"intermediate bluegill {s.intermediate} ({s.intermediate_per_haul:.1f} a haul): {s.words}. "
        f"What counts as many is a choice of ours.{season}"
    )


def _compact(f: Finding) -> bool:
    """Whether a figure stands in a line of its species rather than in the table."""
    return "_psd" in f.quantity or "_wr_" in f.quantity or f.quantity.endswith(MORE)


def _structure(findings: list[Finding]) -> Iterator[str]:
    """The PSD family, its parts and Wr of one species and gear, a line each."""
    f = findings[0]
    who = f"{f.species} by {f.gear}: "
    psd = {
        x.quantity.removeprefix(f"{f.species}_psd"): x
        for x in findings
        if "_psd" in x.quantity and not x.quantity.endswith(FLOOR)
    }
    whole = [f"PSD{k.upper().replace('_', '-')} {_with_limits(x)}" for k, x in psd.items() if "_part_" not in k]
    parts = [
        f"{k.removeprefix('_part_').upper().replace('_', '-')} {_with_limits(x)}"
        for k, x in psd.items()
        if "_part_" in k and (x.value or "s_q" in k)
    ]
    if whole:
        again = f" ({psd[''].note})" if psd[""].note else ""
        yield from _wrap(who + ", ".join(whole) + f" of {psd[''].count} fish of stock length{again}")
        yield from _wrap("parts, limits of all at once: " + ", ".join(parts), "  ")
    floor = next((x for x in findings if x.quantity.endswith(FLOOR)), None)
    more = next((x for x in findings if x.quantity.endswith(MORE)), None)
    if floor and more:
        known = "known to ±10 points or better"
        if more.value:
            outings = f"{more.value:.0f} more outing{'s' * (more.value > 1)}"
            known = f"about {outings} {more.note} would bring ±10"
        yield from _wrap(
            f"PSD: {known}; {floor.note} than ±{floor.value:.0f} points, as fish of one outing are much alike", "  "
        )
    weights = [x for x in findings if "_wr_" in x.quantity]
    if weights:
        classes = [
            f"{class_words(x.quantity.split('_wr_')[1])} {_with_limits(x, x.count)}"
            for x in weights
            if not x.quantity.endswith("left_out")
        ]
        left_out = "; left out: " + weights[-1].note if weights[-1].value else ""
        yield from _wrap(who + "Wr " + (", ".join(classes) or "of no fish") + left_out)


def _with_limits(f: Finding, count: int | None = None) -> str:
    limits = [] if f.low is None or f.high is None else [f"{f.low:.0f}–{f.high:.0f}"]
    if count is not None:
        limits.append(f"n {count}, {FEW}" if count < LEAST_WEIGHED else f"n {count}")
    inside = ", ".join(limits)
    return f"{f.value:.0f}" + (f" ({inside})" if inside else "")


def _number(x: float | None) -> str:
    return "" if x is None else brief(x)


def _table(findings: Iterable[Finding], units: str) -> Iterator[str]:
    rows = []
    for f in findings:
        unit, value, low, high = converted(f, units)
        limits = "" if low is None and high is None else f"{_number(low) or '?'} to {_number(high) or 'no limit'}"
        when = str(f.date or "")
        rows.append((when, f.gear, f.quantity, _number(value), limits, unit, "" if f.count is None else f"n {f.count}"))
    if not rows:
        return
    header = ("from", "gear", "figure", "value", "limits", "unit", "")
    widths = [max(len(r[i]) for r in (header, *rows)) for i in range(len(header))]
    for row in (header, *rows):
        yield "  ".join(
            c.rjust(w) if i == 3 else c.ljust(w) for i, (c, w) in enumerate(zip(row, widths, strict=True))
        ).rstrip()


def _notes(findings: list[Finding]) -> Iterator[str]:
    """What rests on what, once for all figures that share a note."""
    sharing: dict[str, list[str]] = {}
    for f in findings:
        if f.note:
            sharing.setdefault(f.note, []).append(f.quantity)
    for note, names in sharing.items():
        yield from _wrap(f"{', '.join(names)}: {note}", "  ")


def _change(gear: str, date: str, changes: list[Change], days: int) -> Iterator[str]:
    if not changes:
        return
    apart = min(days % 365, 365 - days % 365)
    season = f" The two were taken {apart} days apart in the year, so season may play a part." if apart > 45 else ""
    yield from _wrap(f"Since the survey of {date} by {gear} (p of each test, and of all of them together):{season}")
    for c in changes:
        sure = "a change" if c.p_all < SURE else "may be chance"
        yield from _wrap(
            f"{c.quantity}: {c.before:.0f} to {c.now:.0f} {c.unit} (n {c.counts[0]}, {c.counts[1]}), "
            f"{c.test} p = {brief(c.p, 2)}, together {brief(c.p_all, 2)}: {sure}", "  ",
        )  # fmt: skip
