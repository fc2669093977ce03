"""What to do and when: the calendar of the coming two years, harvest in whole fish, windows for moving fish, signs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from pondpop.report.format import PLURAL
from pondpop.report.strategies import Case, Material, Projection
from pondpop.report.tables import Cell, Table
from pondpop.scenario import (
    LONGEST_MM,
    SHORTEST_MM,
    SPECIES,
    Angling,
    Feeding,
    Harvest,
    Removal,
    Run,
    Stocking,
    years_after,
)
from pondpop.scenario.describe import describe
from pondpop.units import (
    NONE,
    both,
    brief,
    converted,
    day,
    day_of_year,
    figure_of,
    joined,
    months_in_words,
    unit_of,
    window,
)

YEARS = 2
HOW_TO_SURVEY = (
    "Survey: measure and weigh bass and bluegill, 100 bass of 8 in (20 cm) and longer if you can get them; note "
    "gear and "
    "hours; compare with the tables below.",
    "Seine: note every haul, also empty ones. Look for young bass, new bluegill, and bluegill of 3–5 in (8–13 cm).",
)
MOVING_C = (7.0, 18.0)  # 45 to 65 °F: common practice, no source
WARM_C, SHAD_COLD_C = 27.0, 9.0  # common practice, no source; threadfin feed less below 9 °C (Griffith 1978)


@dataclass(frozen=True)
class Action:
    """One thing to do: its day (or the first of a season), how that is told, what, and for which cases."""

    date: dt.date
    when: str
    what: str
    letters: tuple[str, ...] = ()


def until(projection: Projection) -> dt.date:
    return years_after(projection.scenario.run.start, YEARS)


def calendar(material: Material, chosen: Sequence[Case] = ()) -> Table:
    """Actions of the first two years by date, and later stockings and removals; the same action is told once.

    Those of a chosen strategy that not all share are ticked.
    """
    merged: dict[tuple[dt.date, str, str], list[str]] = {}
    for case in material.cases:
        for action in _actions(case):
            letters = merged.setdefault((action.date, action.when, action.what), [])
            if case.letter not in letters:
                letters.append(case.letter)
    every = len(material.cases)
    rows: list[list[Cell]] = []
    csv_rows: list[list[object]] = []
    for (date, when, what), letters in sorted(merged.items(), key=lambda item: (item[0][0], item[0][2])):
        who = "all" if len(letters) == every and every > 1 else ", ".join(letters)
        tick = " ✓" if who != "all" and any(case.letter in letters for case in chosen) else ""
        rows.append([when, who + tick, what] if every > 1 else [when, what])
        csv_rows.append([str(date), when, who, what])
    header = ["When", "Strategy", "What"] if every > 1 else ["When", "What"]
    return Table(
        "calendar", "Calendar of actions." + (" ✓ belongs to the strategy chosen above." if chosen else ""),
        header, rows, ["first_day", "when", "strategy", "action"], csv_rows, look="texts",
    )  # fmt: skip


def first_steps(case: Case, most: int = 3) -> list[Action]:
    """The first stockings, removals and harvests of a strategy, by date."""
    done = [action for action in _actions(case) if not action.what.startswith(("Survey", "Seine"))]
    return sorted(done, key=lambda action: action.date)[:most]


def _actions(case: Case) -> Iterator[Action]:
    projection, strategy = case.projection, case.strategy
    run, end = projection.scenario.run, until(projection)
    units = projection.units
    for event in strategy.stocking:
        if not event.resident:
            later = "Later: " if event.date >= end else ""
            yield Action(event.date, day(event.date), later + _stock(case, event))
    for removal in strategy.removals:
        if removal.reason == "removal":
            later = "Later: " if removal.date >= end else ""
            yield Action(removal.date, day(removal.date), later + _take(case, removal))
    for rule in strategy.harvest:
        for season in _seasons(rule, run):
            yield Action(*season, _harvest(case, rule))
    for feeding in strategy.feeding:
        amount = feeding.kg_per_ha_day * projection.scenario.pond.area_ha
        pounds = both(amount, "catch", units)
        for season in _seasons(feeding, run):
            what = f"Feed {pounds} of pellets a day in the pond; stop when fish leave any, or gasp."
            yield Action(*season, what)
    for angling in strategy.angling:
        hours = angling.hours_per_ha * projection.scenario.pond.area_ha
        for season in _seasons(angling, run):
            what = f"Fishing for bass, all released: about {brief(hours, 2)} hours a year. Land them fast; fewer live "
            yield Action(*season, f"{what}when the water is hot.")
    for date in run.survey_dates:
        if date < end:
            yield Action(date, day(date), "Survey.")
    for year in range(run.start.year, end.year + 1):
        first, last = dt.date(year, 6, 1), dt.date(year, 7, 15)
        if run.start <= first and last < end:
            yield Action(first, f"June to mid-July {year}", "Seine the shore.")


def _seasons(rule: Harvest | Feeding | Angling, run: Run) -> Iterator[tuple[dt.date, str]]:
    """The first day of a rule's first season that the run holds a day of, and its season and years in words.

    Nothing where no season is left: one that was over at the start, and is not to come again, is not a thing to do.
    """
    years = [
        year
        for year in range(run.start.year + rule.from_year - 1, run.start.year + rule.to_year)
        if dt.date(year, *rule.season[1]) >= run.start and dt.date(year, *rule.season[0]) < run.end
    ]
    if years:
        span = f"{years[0]}" if len(years) == 1 else f"{years[0]}–{years[-1]}"
        words = f"{day_of_year(rule.season[0])} to {day_of_year(rule.season[1])}, {span}"
        yield max(dt.date(years[0], *rule.season[0]), run.start), words


def _stock(case: Case, event: Stocking) -> str:
    scenario = case.projection.scenario
    count = event.per_ha * scenario.pond.area_ha
    units = case.projection.units
    water = water_c(case, event.date)
    text = (
        f"Stock {brief(count)} {PLURAL[event.species]} of {both(event.length_mm, 'length', units)}: "
        f"{both(event.per_ha, 'density', units)}."
    )
    if event.species == "shad" and water < SHAD_COLD_C:
        return f"{text} Water is about {both(water, 'temperature', units)}: too cold for threadfin; wait."
    if water > WARM_C:
        return (
            f"{text} Water is about {both(water, 'temperature', units)}: move at dawn, cool and aerated, temper slowly."
        )
    return text


def _take(case: Case, event: Removal) -> str:
    scenario, units = case.projection.scenario, case.projection.units
    if event.share is not None:
        amount = "all" if event.share == 1 else f"{brief(100 * event.share, 2)} % of the"
    elif event.per_ha is not None:
        amount = f"{brief(event.per_ha * scenario.pond.area_ha)}"
    else:
        amount = f"{both(event.kg_per_ha or 0.0, 'crop', units)} of"
    size = window(event.length_mm, SHORTEST_MM, LONGEST_MM, units)
    return f"Take out {amount} {PLURAL[event.species]}, {size}."


def _harvest(case: Case, rule: Harvest) -> str:
    scenario, units = case.projection.scenario, case.projection.units
    size = window(rule.length_mm, SHORTEST_MM, LONGEST_MM, units)

    def amount(value: float) -> str:
        if rule.share is not None:
            return f"{brief(100 * value, 2)} % of them in each season"
        if rule.per_ha is not None:
            return f"{brief(value * scenario.pond.area_ha, 2)} fish a year ({both(value, 'density', units)})"
        return f"{both(value, 'crop', units)} a year"

    given = rule.share if rule.share is not None else rule.per_ha if rule.per_ha is not None else rule.kg_per_ha
    text = f"Harvest {PLURAL[rule.species]}, {size}: {amount(given or 0.0)}"
    if rule.when is not None:
        signs = [
            f"{_sign(c.quantity)} {'below' if c.below is not None else 'above'} "
            f"{c.below if c.below is not None else c.above:g}"
            for c in rule.when.conditions
        ]
        link = "or" if rule.when.needs == "any" else "and"
        text += f" if the last survey shows {joined(signs, link)}; otherwise {amount(rule.otherwise or 0.0)}"
    return text + ". Whole fish by month: next table."


def _sign(quantity: str) -> str:
    species, index, *rest = quantity.split("_")
    if index == "wr":
        low, high = rest
        return f"Wr of {species} {low}–{high.removesuffix('in')} in"
    return f"{species} " + "-".join(["PSD", *(r.upper() for r in rest)])


def water_c(case: Case, date: dt.date) -> float:
    """Median water temperature of the month of a date; of that calendar month where the run does not cover it."""
    months = case.projection.months
    temperature = np.median(case.of("water_temperature"), axis=0)
    at = np.flatnonzero(months == np.datetime64(date, "M"))
    if not at.size:
        at = np.flatnonzero(months.astype(int) % 12 + 1 == date.month)
    return float(temperature[at].mean()) if at.size else float("nan")


def harvest_tables(material: Material) -> list[Table]:
    """Whole fish of this pond by month, for the coming two years; for the first year of harvest where it is later."""
    columns: list[tuple[Case, int, list[int]]] = []
    for case in material.cases:
        months = case.projection.months
        horizon = int((months < np.datetime64(until(case.projection), "M")).sum())
        for k in range(len(SPECIES)):
            median = np.median(case.of("harvest_number")[:, :, k], axis=0)
            taken = np.flatnonzero(np.median(case.of("harvest_biomass")[:, :, k], axis=0) > 0)
            if taken.size:
                soon = taken[taken < horizon]
                first_year = taken[taken < taken[0] + 12]
                columns.append((case, k, list(map(int, soon if median[soon].sum() > 0 else first_year))))
    header = [
        "strategy",
        "title",
        "species",
        "size",
        "month",
        "fish_p10",
        "fish_p50",
        "fish_p90",
        "weight_unit",
        "weight_p50",
    ]
    csv_rows: list[list[object]] = []
    tables = []
    ranged = " with the range of 8 of 10 courses" if material.banded else ""
    weight_unit = "lb" if material.units == "us" else "kg"
    per_kg = 1000 * converted(1.0, "weight", "us") if material.units == "us" else 1.0
    for part in [columns[k : k + 4] for k in range(0, len(columns), 4)]:
        dates = sorted({case.projection.months[m] for case, _, places in part for m in places})
        rows: list[list[Cell]] = []
        for date in dates:
            cells: list[Cell] = [f"{date.astype(object):%b %Y}"]
            for case, k, places in part:
                at = np.flatnonzero(case.projection.months == date)
                if not at.size or int(at[0]) not in places:
                    cells.append(NONE)
                    continue
                area = case.projection.scenario.pond.area_ha
                fish = np.quantile(case.of("harvest_number")[:, at[0], k] * area, (0.1, 0.5, 0.9))
                weight = float(np.median(case.of("harvest_biomass")[:, at[0], k])) * area * per_kg
                low, middle, high = (f"{v:.0f}" for v in fish)
                band = "" if low == high else f"{low}–{high}; "
                cells.append((f"{middle} fish", f"{band}{figure_of(weight, 'weight')} {weight_unit}"))
                csv_rows.append([case.letter, case.title, SPECIES[k], _sizes(case, SPECIES[k]), str(date), *fish,
                                 weight_unit, weight])  # fmt: skip
            rows.append(cells)
        heads = [
            f"{case.letter}: {', '.join(filter(None, (SPECIES[k], _sizes(case, SPECIES[k]))))}" for case, k, _ in part
        ]
        tables.append(Table(
            "harvest_by_month", f"Harvest in whole fish of this pond by month{ranged}; weight: the coming two years, "
            "or the first year of harvest where it begins later.",
            ["Month", *heads], rows, header, csv_rows, look="bands",
        ))  # fmt: skip
    return tables or [Table("harvest_by_month", "", [], [], header, [])]


def _sizes(case: Case, species: str) -> str:
    windows = [
        window(rule.length_mm, SHORTEST_MM, LONGEST_MM, case.projection.units)
        for rule in case.strategy.harvest
        if rule.species == species
    ]
    return joined(dict.fromkeys(windows))


def moving_window(projection: Projection, case: Case) -> str:
    """Months whose mean water suits the moving of fish."""
    months = projection.months.astype(int) % 12 + 1
    temperature = np.median(case.of("water_temperature"), axis=0)
    usual = {m: float(temperature[months == m].mean()) for m in range(1, 13) if (months == m).any()}
    good = [m for m, t in usual.items() if MOVING_C[0] <= t <= MOVING_C[1]]
    hot = [m for m, t in usual.items() if t > WARM_C]
    cold = [m for m, t in usual.items() if t < SHAD_COLD_C]
    units = projection.units
    low, high = (converted(t, "temperature", units) for t in MOVING_C)
    unit = unit_of("temperature", units)
    span = f"{low:.0f}–{high:.0f} {unit}"
    second = "7–18 °C" if units == "us" else "45–64 °F"
    text = (
        f"Fish travel best in water of {span} ({second}; common practice, no source): "
        f"here in {months_in_words(good) or 'no month'}."
    )
    if hot:
        warm = both(WARM_C, "temperature", units)
        text += f" In {months_in_words(hot)} the water is above {warm}: move only what must be moved, at dawn."
    if cold and any(e.species == "shad" for s in projection.scenario.strategies.values() for e in s.stocking):
        text += (
            f" In {months_in_words(cold)} it is below {both(SHAD_COLD_C, 'temperature', units)}, where threadfin "
            f"shad stop "
            "feeding well and may die (Griffith 1978): do not stock them then."
        )
    return text


def signs(cases: Sequence[Case]) -> Table:
    """What to look for, what it means, what to do; the trade's usual readings."""
    rows: list[list[Cell]] = [
        ["Fish gasp at dawn, or float dead", "Oxygen is short: still, cloudy, hot days, dying plants, too much feed",
         "Aerate, stop feeding and fertilizing; call the agency; restock only when the cause is known"],
        ["Most bass caught are under 12 in and thin (Wr below 90); bluegill are few and large", "Bass are crowded",
         "Take out bass under 12–14 in, release larger ones; add bluegill of 3–5 in if they are few"],
        ["Bluegill are many and 3–5 in, none of 6 in; bass are few and fat", "Bluegill are crowded",
         "Take no bass; ask about adding 20–30 bass of 12 in and longer per acre (50–75 per ha)"],
        ["No young bass in the seine in June or July", "The bass spawn failed, or the young were eaten",
         "Seine again after two weeks; one poor year needs no help, two call for advice"],
        ["No new bluegill in summer", "Adults too few, too crowded or too cold", "Survey the bluegill before any "
                                                                                 "stocking"],
        ["Fish you did not stock (green sunfish, bullheads, carp)", "Wild fish have come in",
         "Do not move them; find the way in; ask a professional"],
    ]  # fmt: skip
    if any(event.species == "shad" for case in cases for event in case.strategy.stocking):
        rows.append(["Shad flutter or float in winter", "Water below about 45 °F (7 °C) kills threadfin",
                     "Note the day and the temperature; decide in spring whether to restock, with the agency's "
                     "leave"])  # fmt: skip
    return Table("signs", "What to look for, and what to do if you see it (common practice of agencies and "
                          "extension services).",
                 ["If you see", "it may mean", "then"], rows, ["sign", "meaning", "action"], rows,
                 look="texts")  # fmt: skip


def assumptions(projection: Projection) -> list[str]:
    """Everything the scenario said, line by line."""
    return [line for line in describe(projection.scenario).splitlines()[1:] if line.strip()]
