"""What to do and when: the calendar from today on, harvest in whole fish, windows for moving fish, signs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np

from pondpop.decide.actions import LOOKING, SHAD_COLD_C, WARM_C, Action, actions, today
from pondpop.report.strategies import Case, Material, Projection
from pondpop.report.tables import Cell, Table, plain
from pondpop.scenario import LONGEST_MM, SHORTEST_MM, SPECIES, years_after
from pondpop.scenario.describe import describe
from pondpop.units import G_PER_KG, NONE, both, converted, day, figure_of, joined, months_in_words, unit_of, window

YEARS = 1
LATER = "After that; surveys, seining and upkeep as in the coming year."
OTHERS = "What only other strategies ask for."
COMPARED = "Harvest of bass as the strategies had it when they were compared; what is to be taken is the quota."
HOW_TO_SURVEY = (
    "Survey: measure and weigh bass and bluegill, 100 bass of 8 in (20 cm) and longer if you can get them; note "
    "gear and "
    "hours; compare with the tables below.",
    "Seine: note every haul, also empty ones. Look for young bass, new bluegill, and bluegill of 3–5 in (8–13 cm).",
)
MOVING_C = (7.0, 18.0)  # 45 to 65 °F: common practice, no source


def until(projection: Projection) -> dt.date:
    """The end of the months that are told first."""
    return years_after(today(projection.dataset, projection.scenario), YEARS)


def calendar(material: Material, chosen: Sequence[Case] = (), quota: str = "") -> list[Table]:
    """What is to be done from today on: the coming twelve months, then the years after.

    The same action is told once. Where a strategy is chosen its plan stands first and what only others ask for last. quota:
    what was searched for and is to be taken in place of the strategies' harvest of bass.
    """
    merged: dict[tuple[Action, bool], list[str]] = {}
    for case in material.cases:
        end = until(case.projection)
        for action in actions(case.projection.dataset, case.projection.scenario, case.strategy.name):
            letters = merged.setdefault((action, action.date < end), [])
            if case.letter not in letters:
                letters.append(case.letter)
    ordered = sorted(merged.items(), key=lambda item: (item[0][0].date, item[0][0].what))
    wanted = {case.letter for case in chosen or material.cases}
    parts: dict[str, list[list[Cell]]] = {}
    csv_rows: list[list[object]] = []
    several = len(material.cases) > 1
    firsts = sorted({day(today(p.dataset, p.scenario)) for p in material.projections})
    plan = f": {joined(sorted(wanted))}" if chosen else ""
    soon = f"The coming twelve months, from {joined(firsts)}{plan}. Upkeep is common practice of extension services."
    for (action, coming), letters in ordered:
        who = "all" if several and len(letters) == len(material.cases) else ", ".join(letters)
        more = " Whole fish by month: below." if action.deed == "harvest" else ""
        csv_rows.append([str(action.date), plain(action.when), who, plain(f"{action.words}{more}")])
        if not coming and action.deed in LOOKING:
            continue  # year after year the same
        part = (soon if coming else LATER) if wanted & set(letters) else OTHERS
        if quota and action.species == "bass":
            part = COMPARED
        cells: list[Cell] = [action.when, who, f"{action.words}{more}"] if several else [action.when, f"{action.words}{more}"]
        parts.setdefault(part, []).append(cells)
    if quota:
        told = f"{quota} Whole fish by month: with the quota."
        parts.setdefault(soon, []).insert(0, ["each year", "quota", told] if several else ["each year", told])
        csv_rows.insert(0, ["", "each year", "quota", told])
    header = ["When", "Strategy", "What"] if several else ["When", "What"]
    csv_header = ["first_day", "when", "strategy", "action"]
    return [
        Table("calendar", caption, header, parts.get(caption, []), csv_header, csv_rows, look="texts")
        for caption in (soon, LATER, OTHERS, COMPARED)
        if caption == soon or caption in parts
    ]


def harvest_tables(material: Material, quota: str = "") -> list[Table]:
    """Whole fish of this pond by month, for the coming twelve months; for the first year of harvest where it is later.

    quota: as in `calendar`; then these are not the fish to take.
    """
    columns: list[tuple[Case, str, list[int]]] = []
    for case in material.cases:
        months, now = case.projection.months, today(case.projection.dataset, case.projection.scenario)
        yet, coming = months >= np.datetime64(now, "M"), months < np.datetime64(until(case.projection), "M")
        for species in SPECIES:
            median = np.median(case.of("harvest_number", species=species), axis=0)
            taken = np.flatnonzero((np.median(case.of("harvest_biomass", species=species), axis=0) > 0) & yet)
            if taken.size:
                soon = taken[coming[taken]]
                first_year = taken[taken < taken[0] + 12]
                columns.append((case, species, list(map(int, soon if median[soon].sum() > 0 else first_year))))
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
    ranged = " with the range of 8 of 10 futures" if material.banded else ""
    weight_unit = "lb" if material.units == "us" else "kg"
    per_kg = G_PER_KG * converted(1.0, "weight", "us") if material.units == "us" else 1.0
    for part in [columns[k : k + 4] for k in range(0, len(columns), 4)]:
        dates = sorted({case.projection.months[m] for case, _, places in part for m in places})
        rows: list[list[Cell]] = []
        for date in dates:
            cells: list[Cell] = [f"{date.astype(object):%b %Y}"]
            for case, species, places in part:
                at = np.flatnonzero(case.projection.months == date)
                if not at.size or int(at[0]) not in places:
                    cells.append(NONE)
                    continue
                area = case.projection.scenario.pond.area_ha
                fish = np.quantile(case.of("harvest_number", species=species)[:, at[0]] * area, (0.1, 0.5, 0.9))
                weight = float(np.median(case.of("harvest_biomass", species=species)[:, at[0]])) * area * per_kg
                low, middle, high = (f"{v:.0f}" for v in fish)
                band = "" if low == high else f"{low}–{high}; "
                cells.append((f"{middle} fish", f"{band}{figure_of(weight, 'weight')} {weight_unit}"))
                csv_rows.append([case.letter, case.title, species, plain(_sizes(case, species)), str(date), *fish,
                                 weight_unit, weight])  # fmt: skip
            rows.append(cells)
        rows.append(["Together", *(_together(*column, per_kg, weight_unit) for column in part)])
        heads = [
            f"{case.letter}: {', '.join(filter(None, (species, _sizes(case, species))))}" for case, species, _ in part
        ]
        tables.append(Table(
            "harvest_by_month", f"{'As compared, not the quota: harvest' if quota else 'Harvest'} in whole fish of this pond by "
            f"month{ranged}; weight: the coming twelve months, or the first year of harvest where it begins later.",
            ["Month", *heads], rows, header, csv_rows, look="bands",
        ))  # fmt: skip
    return tables or [Table("harvest_by_month", "", [], [], header, [])]


def _together(case: Case, species: str, places: Sequence[int], per_kg: float, weight_unit: str) -> Cell:
    """Fish and weight of all months of a table, summed member by member."""
    area = case.projection.scenario.pond.area_ha
    fish = case.of("harvest_number", species=species)[:, list(places)].sum(axis=1) * area
    weight = float(np.median(case.of("harvest_biomass", species=species)[:, list(places)].sum(axis=1))) * area * per_kg
    low, middle, high = (f"{v:.0f}" for v in np.quantile(fish, (0.1, 0.5, 0.9)))
    band = "" if low == high else f"{low}–{high}; "
    return f"{middle} fish", f"{band}{figure_of(weight, 'weight')} {weight_unit}"


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
         "Take out bass under 12 in, put back those of 12–15 in; add bluegill of 3–5 in if they are few"],
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
                 ["If you see", "it may mean", "then"], rows, ["sign", "meaning", "action"],
                 [[plain(str(cell)) for cell in row] for row in rows],
                 look="texts")  # fmt: skip


def assumptions(projection: Projection) -> list[str]:
    """Everything the scenario said, line by line."""
    return [line for line in describe(projection.scenario).splitlines()[1:] if line.strip()]
