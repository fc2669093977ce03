"""From the tags in the records to survivors, numbers, growth and the share kept."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator

import numpy as np

from pondpop.assess.findings import Finding
from pondpop.assess.size_and_condition import class_name, mean_limits, weight_classes, within
from pondpop.observe import indices
from pondpop.observe.mark_recapture import (
    Estimate,
    Increments,
    chapman,
    grow_from_tags,
    jolly_seber,
    schnabel,
    summarize_captures,
)
from pondpop.records import Fish, Records, TagEvent
from pondpop.records.surveys import Survey
from pondpop.species import MEASURED, SPECIES
from pondpop.units import DAYS_PER_CALENDAR_YEAR, MM_PER_IN

MIN_DAYS = 180
"""Fish at large for less tell of one season only, not of a year (a choice of ours)."""


def tag_findings(records: Records, surveys: tuple[Survey, ...]) -> tuple[tuple[Finding, ...], tuple[str, ...]]:
    """Figures from tags by species, and why others are missing."""
    findings: list[Finding] = []
    missing: list[str] = []
    for species in SPECIES:
        events = [t for t in records.tags if t.species == species]
        if not events:
            continue
        findings += closed_numbers(species, events, surveys)
        findings += open_numbers(species, events, surveys, missing)
        findings += kept_share(species, events, _last_day(records), missing)
        findings += growth(species, increments(species, records), missing)
    if not records.tags:
        missing.append("no tags: neither survival, numbers nor growth of single fish can be told")
    return tuple(findings), tuple(missing)


def _long_enough(survey: Survey, species: str, shortest: float) -> list[Fish]:
    return [f for f in survey.fish if f.species == species and f.length_mm >= shortest - 1e-6]


def _shortest_tagged(species: str, events: list[TagEvent], fish: tuple[Fish, ...]) -> float:
    tagged = {(t.tag, t.date) for t in events if t.event == "tagged"}
    lengths = [t.length_mm for t in events if t.event == "tagged" and t.length_mm]
    lengths += [f.length_mm for f in fish if f.species == species and (f.tag, f.date) in tagged]
    return min(lengths, default=0.0)


LEAST_SEEN_AGAIN = 7


def closed_numbers(species: str, events: list[TagEvent], surveys: tuple[Survey, ...]) -> Iterator[Finding]:
    """Fish of taggable length, from those handled on one day of a survey and caught again on a later one."""
    kept = {t.tag: t.date for t in events if t.event == "kept"}
    for survey in surveys:
        shortest = _shortest_tagged(species, [t for t in events if survey.first <= t.date <= survey.last], survey.fish)
        fish = _long_enough(survey, species, shortest)
        days = sorted({f.date for f in fish})
        at_large: set[str] = set()
        caught, recaptured, marked = [], [], []
        for day in days:
            at_large -= {tag for tag, when in kept.items() if when < day}
            today = [f for f in fish if f.date == day]
            tags = {f.tag for f in today if f.tag}
            caught.append(sum(f.count for f in today))
            recaptured.append(len(tags & at_large))
            marked.append(len(at_large))
            at_large |= {tag for tag in tags if kept.get(tag) != day}
        if not any(marked):
            continue
        found = chapman(marked[1], caught[1], recaptured[1]) if len(days) == 2 else schnabel(caught, recaptured, marked)
        method = "Chapman 1951" if len(days) == 2 else "Schnabel 1938"
        few = f"; fewer than {LEAST_SEEN_AGAIN} seen again: it may be far off (Robson & Regier 1964, from memory)"
        yield Finding(
            f"{species}_number_closed", "fish", found.value, _limit(found.low), _limit(found.high), sum(recaptured),
            survey.first, species=species, note=f"fish of {_long(shortest)} and more; {method}; {found.basis}"
            + (few if sum(recaptured) < LEAST_SEEN_AGAIN else ""),
        )  # fmt: skip


def _long(mm: float) -> str:
    return f"{mm:.0f} mm ({mm / MM_PER_IN:.1f} in)"


def _limit(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def open_numbers(
    species: str, events: list[TagEvent], surveys: tuple[Survey, ...], missing: list[str]
) -> Iterator[Finding]:
    """Survival from survey to survey and numbers at the surveys between (Jolly 1965, Seber 1965)."""
    first_day = min(t.date for t in events)
    shortest = _shortest_tagged(species, events, tuple(f for s in surveys for f in s.fish))
    catches = [(s, f) for s in surveys if s.last >= first_day and (f := _long_enough(s, species, shortest))]
    if len(catches) < 3:
        missing.append(
            f"{species}: survival from recaptures needs three surveys with fish of taggable length, not {len(catches)}"
        )
        return
    tags = sorted({f.tag for _, fish in catches for f in fish if f.tag})
    if not tags:
        missing.append(f"{species}: no tags are named in survey.csv, so recaptures cannot be told from the other fish")
        return
    catches = [(survey, fish) for survey, fish in catches if any(f.tag for f in fish)]  # where tags were looked for
    if len(catches) < 3:
        missing.append(f"{species}: survival from recaptures needs three surveys with tagged fish, not {len(catches)}")
        return
    seen, lost = np.zeros((len(tags), len(catches)), bool), np.zeros((len(tags), len(catches)), bool)
    kept = {t.tag: t.date for t in events if t.event == "kept"}
    unmarked = []
    for i, (survey, fish) in enumerate(catches):
        mine = {f.tag for f in fish if f.tag}
        seen[:, i] = [t in mine for t in tags]
        lost[:, i] = [t in mine and survey.first <= kept.get(t, dt.date.min) <= survey.last for t in tags]
        unmarked.append(sum(f.count for f in fish if not f.tag))
    found = jolly_seber(summarize_captures(seen, lost, unmarked))
    low, high = found.number_limits()
    live_low, live_high = found.survival_limits()
    for i, (survey, _) in enumerate(catches):
        if np.isfinite(found.number[i]):
            yield Finding(
                f"{species}_number_open", "fish", float(found.number[i]), _limit(low[i]), _limit(high[i]),
                int(seen[:, i].sum()), survey.first, species=species,
                note=f"fish of {_long(shortest)} and more; Jolly–Seber; untagged fish caught twice count twice",
            )  # fmt: skip
        if np.isfinite(found.survival[i]):
            years = (catches[i + 1][0].first - survey.first).days / DAYS_PER_CALENDAR_YEAR
            value, bottom, top = (float(min(x[i], 1.0) ** (1 / years)) for x in (found.survival, live_low, live_high))
            above = "; came out above 1, by chance" if found.survival[i] > 1 else ""
            yield Finding(
                f"{species}_survival_per_year", "share", value, _limit(bottom), _limit(top), int(seen[:, i].sum()),
                survey.first, species=species, note=f"tagged fish, {years:.2f} years; Jolly–Seber{above}; "
                "lost tags and fish that left count as dead, so that more live than this",
            )  # fmt: skip
    if not np.isfinite(found.survival).any():
        missing.append(f"{species}: too few tagged fish were seen again to tell survival")


def _last_day(records: Records) -> dt.date:
    return max([t.date for t in records.tags] + [c.date for c in records.catches])


def kept_share(species: str, events: list[TagEvent], end: dt.date, missing: list[str]) -> Iterator[Finding]:
    """The share of fish tagged in each year that anglers reported kept within 365 days."""
    tagged = {t.tag: t.date for t in events if t.event == "tagged"}
    kept = {t.tag: t.date for t in events if t.event == "kept"}
    for year in sorted({d.year for d in tagged.values()}):
        tags = [t for t, d in tagged.items() if d.year == year]
        taken = sum(1 for t in tags if t in kept and (kept[t] - tagged[t]).days <= 365)
        low, high = (float(x) for x in indices.exact_limits(taken, len(tags)))
        if (end - max(tagged[t] for t in tags)).days < 365:
            missing.append(f"{species}: the records end before the fish tagged in {year} were at large for a year")
            continue
        yield Finding(
            f"{species}_kept_within_a_year", "share", taken / len(tags), low, high, len(tags),
            min(tagged[t] for t in tags), species=species,
            note=f"{taken} of {len(tags)} tagged; at least this: tags are lost or not reported",
        )  # fmt: skip


def increments(species: str, records: Records, least_days: int = MIN_DAYS) -> Increments:
    """Pairs of lengths of one fish, each measurement used with the next one at least some days later."""
    measured: dict[str, dict[dt.date, float]] = defaultdict(dict)
    for t in records.tags:
        if t.species == species and t.length_mm is not None:
            measured[t.tag][t.date] = t.length_mm
    known = {t.tag for t in records.tags if t.species == species}
    for f in records.fish:
        if f.tag in known:
            measured[f.tag].setdefault(f.date, f.length_mm)
    pairs = []
    for days in measured.values():
        start = None
        for day in sorted(days):
            if start is None:
                start = day
            elif (day - start).days >= least_days:
                pairs.append((days[start], days[day], (day - start).days))
                start = day
    table = np.array(pairs, float).reshape(-1, 3)
    return Increments(table[:, 0], table[:, 1], table[:, 2])


def growth(species: str, pairs: Increments, missing: list[str]) -> Iterator[Finding]:
    """Mean growth a year by length at marking, and the growth curve if the fish allow one."""
    if not pairs.days.size:
        missing.append(f"{species}: no fish was measured twice {MIN_DAYS} days or more apart, so no growth from tags")
        return
    classes = weight_classes(species) if species in MEASURED else [(0, None)]
    for low, high in classes:
        mine = pairs.mm_per_year[within(pairs.first_mm, low, high)]
        if mine.size:
            yield Finding(
                f"{species}_growth_{class_name(low, high)}", "mm a year", float(mine.mean()), *mean_limits(mine),
                int(mine.size), species=species, note=f"fish {MIN_DAYS} days or more at large",
            )  # fmt: skip
    try:
        curve = grow_from_tags(pairs)
    except ValueError as why:
        missing.append(f"{species}: {why}")
        return
    for name, unit, e in (
        ("final_length", "mm", curve.final_length_mm),
        ("growth_rate", "a year", curve.rate_per_year),
    ):
        yield _from_estimate(f"{species}_{name}", unit, e, species, curve.pairs)


def _from_estimate(quantity: str, unit: str, e: Estimate, species: str, count: int) -> Finding:
    note = "growth curve of Fabens 1965; single fish scatter about it"
    return Finding(quantity, unit, e.value, _limit(e.low), _limit(e.high), count, species=species, note=note)
