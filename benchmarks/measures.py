"""The evidence ponds run, and what each row of tests/evidence/rows.toml reads off them.

A row is made of readings: one function of one strategy's run, one value a member. A member is a parameter set (without
luck), or a draw of the shipped spreads (with luck). `evaluate` runs every strategy that some rows need once, as a job of
any executor, and only numbers come back.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from pondpop.ensemble.draws import draw_luck, draw_parameters, streams
from pondpop.ensemble.prepare import prepare, run_days
from pondpop.model import harvest, lengths, oxygen
from pondpop.model.budget import PREDATORS, PREY, Flows
from pondpop.model.day import Engine, run
from pondpop.model.inputs import Luck
from pondpop.observe.indices import standard_weight
from pondpop.scenario import load
from pondpop.species import SPECIES, Parameters, load_parameters, uncertain
from pondpop.units import G_PER_LB, HA_PER_ACRE, KG_PER_HA_IN_LB_PER_ACRE, MM_PER_IN

BASS, BLUEGILL, MINNOW, SHAD, REDEAR = (SPECIES.index(name) for name in ("bass", "bluegill", "minnow", "shad", "redear"))

PONDS = Path(__file__).resolve().parent.parent / "tests" / "ponds"
LB_ACRE = KG_PER_HA_IN_LB_PER_ACRE
SEED = 20261126
Array = np.ndarray


LEAST_MG_L = 0.4  # bluegill shun water with less (Byrd 1950, as read in a summary)


class Water:
    """The oxygen of a run up to a day: the lowest dawn, and how deep water could be breathed, day by day."""

    def __init__(self, members: int) -> None:
        self.lowest_dawn = np.full(members, np.inf)
        self.breathable_m: list[Array] = []

    def see(self, engine: Engine) -> None:
        night, days = engine.night, engine.by_day.oxygen
        if night is None or days is None or engine.inputs.oxygen is None:
            return
        self.lowest_dawn = np.minimum(self.lowest_dawn, night.dawn)
        deep = np.maximum(night.dawn - days.deep_shortage[night.day], 0.0)
        bottom = 2.0 * engine.inputs.oxygen.mean_depth_m  # of a bowl
        mixed = np.minimum(oxygen.mixing_depth_m(engine.parameters, engine.inputs.area_ha), bottom)
        self.breathable_m.append(np.where(deep < LEAST_MG_L, mixed, bottom))


class Look:
    """The pond on one day: measures return one value a member."""

    def __init__(self, engine: Engine, moved: Flows, water: Water) -> None:
        s = engine.state
        self.columns, self.slices = s.columns, engine.slices
        self.number, self.log_weight, self.log_length = s.number.copy(), s.log_weight.copy(), s.log_length.copy()
        self.parameters = engine.parameters
        spread = np.broadcast_arrays(*engine.lengths())
        self.lengths, self.slope = lengths.Shape(*(part.copy() for part in spread)), engine.group.ws_slope
        self.condition = np.exp(engine.log_condition())
        self.area = engine.inputs.area_ha
        self.harvest = moved.harvest_biomass.copy()  # kg/ha since the start
        self.harvest_number = moved.harvest_number.copy()
        self.removed = moved.removed_biomass.copy()
        self.eaten = moved.eaten[:, PREDATORS.index("bass")].copy()
        self.plankton, self.wariness = s.plankton.copy(), s.wariness[:, BASS].copy()
        self.suffocated = moved.suffocated_biomass.sum(axis=2)
        self.lowest_dawn, self.breathable_m = water.lowest_dawn.copy(), np.array(water.breathable_m)
        self.day = engine.day

    def spread_of(self, groups: slice) -> lengths.Shape:
        return lengths.Shape(*(part[:, groups] for part in self.lengths))

    def longer(self, species: int, log_mm: float | Array) -> Array:
        """Share of each group longer than a length given in the logarithm of mm [member, group of the species]."""
        return lengths.share_longer(self.spread_of(self.slices[species]), log_mm)

    def heavier(self, species: int, log_g: float | Array) -> Array:
        """Share of each group heavier than a weight given in the logarithm of g [member, group of the species]."""
        groups = self.slices[species]
        at = lengths.log_length_of_weight(
            self.spread_of(groups), self.log_weight[:, groups], log_g, self.slope[:, groups]
        )
        return lengths.share_longer(self.spread_of(groups), at)

    def fish(self, species: int, low_mm: float = 0.0, high_mm: float = np.inf) -> Array:
        """Fish/ha of each group in a length window [member, group of the species]."""
        longer = [
            1.0 if mm <= 0 else 0.0 if np.isinf(mm) else self.longer(species, np.log(mm)) for mm in (low_mm, high_mm)
        ]
        return self.number[:, self.slices[species]] * (longer[0] - longer[1])

    def n(self, species: int, low_mm: float = 0.0, high_mm: float = np.inf) -> Array:
        return self.fish(species, low_mm, high_mm).sum(axis=1)

    def crop(self, species: int) -> Array:
        return (self.fish(species) * np.exp(self.log_weight[:, self.slices[species]])).sum(axis=1) / 1000.0

    def total(self) -> Array:
        return sum(self.crop(k) for k in range(len(SPECIES)))

    def fc(self) -> Array:
        return (self.total() - self.crop(BASS)) / np.maximum(self.crop(BASS), 1e-9)

    def psd(self, species: int) -> Array:
        stock, quality = ((8, 12), (3, 6))[species]
        return 100.0 * self.n(species, quality * MM_PER_IN) / np.maximum(self.n(species, stock * MM_PER_IN), 1e-12)

    def wr(self, species: int, low_mm: float, high_mm: float = np.inf) -> Array:
        """Mean relative weight of the fish of a window, NaN where there is less than one in 100 ha; groups under the
        equation's shortest length are left out."""
        groups = self.slices[species]
        fish = self.fish(species, low_mm, high_mm)
        known = np.isfinite(standard_weight(np.exp(self.log_length[:, groups]), ("bass", "bluegill")[species]))
        fish = np.where(known, fish, 0.0)
        there = fish.sum(axis=1)
        wr = 100.0 * self.condition[:, groups]
        return np.where(there > 0.01, (fish * wr).sum(axis=1) / np.maximum(there, 1e-300), np.nan)

    def largest_lb(self, males_only: bool = False) -> Array:
        """Weight that one expected bass of the pond exceeds, lb."""
        fish = self.number[:, self.slices[BASS]]
        if males_only:
            fish = fish * (self.columns.sex[:, self.slices[BASS]] < 0)
        return self._exceeded_by_one(BASS, fish) / G_PER_LB

    def largest_bluegill_lb(self) -> Array:
        return self._exceeded_by_one(BLUEGILL, self.number[:, self.slices[BLUEGILL]]) / G_PER_LB

    def _exceeded_by_one(self, species: int, number: Array) -> Array:
        low, high = np.full(number.shape[0], -5.0), np.full(number.shape[0], 12.0)
        for _ in range(45):
            middle = 0.5 * (low + high)
            above = (number * self.area * self.heavier(species, middle[:, None])).sum(axis=1) > 1.0
            low, high = np.where(above, middle, low), np.where(above, high, middle)
        return np.exp(low)

    def longest_in(self, species: int) -> Array:
        """Length that one expected fish of the pond exceeds, in."""
        fish = self.number[:, self.slices[species]] * self.area
        low, high = np.full(fish.shape[0], np.log(5.0)), np.full(fish.shape[0], np.log(1500.0))
        for _ in range(45):
            middle = 0.5 * (low + high)
            above = (fish * self.longer(species, middle[:, None])).sum(axis=1) > 1.0
            low, high = np.where(above, middle, low), np.where(above, high, middle)
        return np.exp(low) / MM_PER_IN

    def of_origin(self, origin: int) -> Array:
        """Fish/ha of the groups of one stocking event [member, group]; none in other groups."""
        return np.where(self.columns.origin == origin, self.number, 0.0)

    def stocked(self, origin: int) -> tuple[Array, Array, Array]:
        """Fish/ha, mean weight g and mean length mm of one stocking event."""
        fish = self.of_origin(origin)
        left = fish.sum(axis=1)
        some = np.maximum(left, 1e-12)
        weight = (fish * np.exp(self.log_weight)).sum(axis=1) / some
        return left, weight, (fish * np.exp(self.log_length)).sum(axis=1) / some

    def aged(self, species: int, youngest: float, oldest: float, sex: float | None = None) -> Array:
        """Fish/ha born in the pond of an age in years [member, group of the species]."""
        groups, columns = self.slices[species], self.columns
        age = (self.day - columns.born[:, groups]) / 365.0
        inside = (columns.origin[:, groups] < 0) & (age >= youngest) & (age < oldest)
        if sex is not None:
            inside = inside & (columns.sex[:, groups] == sex)
        return np.where(inside, self.number[:, groups], 0.0)

    def mean_of(self, species: int, fish: Array, log_of: str = "log_length", least: float = 1e-3) -> Array:
        """Mean length in mm (or weight in g) of some fish; NaN where there are less than `least` per ha."""
        size = np.exp(getattr(self, log_of)[:, self.slices[species]])
        there = fish.sum(axis=1)
        return np.where(there > least, (fish * size).sum(axis=1) / np.maximum(there, 1e-300), np.nan)

    def young(self, oldest_years: float = 0.9) -> Array:
        """Bass born in the pond within so many years, fish/ha."""
        return self.aged(BASS, -1.0, oldest_years).sum(axis=1)

    def young_cv(self) -> Array:
        """Coefficient of variation of the lengths of young bass, %, the spread within groups included."""
        fish, size = self.aged(BASS, -1.0, 0.9), np.exp(self.log_length[:, self.slices[BASS]])
        share = fish / np.maximum(fish.sum(axis=1, keepdims=True), 1e-300)
        mean = (share * size).sum(axis=1)
        square = (share * size**2 * (1.0 + self.spread_of(self.slices[BASS]).sd ** 2)).sum(axis=1)
        return 100.0 * np.sqrt(np.maximum(square / np.maximum(mean, 1e-9) ** 2 - 1.0, 0.0))

    def catch_per_hour(self) -> Array:
        """Bass of 8 in and more that an angler catches in an hour."""
        p = self.parameters
        return harvest.catch_per_hour(
            np.maximum(self.n(BASS, 8 * MM_PER_IN), 1e-9),
            p.catch_per_hour_at_100_per_ha,
            p.catch_density_exponent,
            p.wariness_per_catch * self.wariness,
        )


@dataclass
class Run:
    """One strategy of one scenario file, looked at on its survey dates."""

    looks: dict[dt.date, Look]
    origins: dict[str, int]

    def at(self, year: int, month: int, day: int) -> Look:
        """The look of a date; year 1 is 2027, in most ponds the calendar year in which the bass are stocked."""
        return self.looks[dt.date(2026 + year, month, day)]

    def founders(self, year: int, month: int, day: int, name: str = "bass") -> tuple[Array, Array, Array]:
        return self.at(year, month, day).stocked(self.origins[name])

    def mean(self, measure: Callable[[Look], Array], first: int, last: int) -> Array:
        """Mean over the April and October looks of some years; NaN only where all are."""
        dates = [dt.date(2026 + y, m, 15) for y in range(first, last + 1) for m in (4, 10)]
        return _mean([measure(self.looks[d]) for d in dates if d in self.looks])

    def autumns(self, measure: Callable[[Look], Array], first: int, last: int) -> Array:
        """Values at the October looks of some years [year, member]."""
        return np.stack([measure(self.at(y, 10, 15)) for y in range(first, last + 1)])

    def eaten(self, first: tuple[int, int, int], last: tuple[int, int, int]) -> Array:
        """What bass ate between two looks, kg/ha [member, prey]."""
        return self.at(*last).eaten - self.at(*first).eaten


def _mean(values: list[Array]) -> Array:
    stacked = np.stack(values)
    there = np.isfinite(stacked)
    some = there.sum(axis=0)
    return np.where(some > 0, np.where(there, stacked, 0.0).sum(axis=0) / np.maximum(some, 1), np.nan)


# ---------------------------------------------------------------------- running


@dataclass(frozen=True)
class Chance:
    """Members as spreads deal them: which of a seed, and spreads that differ from the shipped ones."""

    members: tuple[int, ...]
    seed: int = SEED
    spreads: tuple[tuple[str, float], ...] = ()


def run_pond(
    file: str, strategy: str, parameters: Parameters, chance: Chance | None = None, steps_per_day: int = 1
) -> Run:
    """One strategy of one evidence scenario, up to its last survey.

    Without chance the members are those of the parameters. With it each parameter set has the members of the chance, set
    after set: they differ from it as the spreads deal, in luck and, by the ratio to the package's values, in uncertain
    parameters.
    """
    scenario = load(PONDS / f"{file}.toml")
    plan = scenario.strategies[strategy]
    if chance is None:
        luck = Luck.none(parameters.members, run_days(scenario), scenario.run.last_year, len(plan.stocking))
    else:
        spreads = scenario.ensemble.spreads | {"whole_fish": 0.0} | dict(chance.spreads)  # rows are of fish expected
        members = chance.members * parameters.members
        scenario = scenario._replace(
            ensemble=scenario.ensemble._replace(members=len(members), seed=chance.seed, spreads=spreads)
        )
        deal = streams(chance.seed, members)
        luck = draw_luck(scenario, plan, deal)
        drawn, shipped = draw_parameters(scenario, deal), load_parameters()
        parameters = parameters.take(np.repeat(np.arange(parameters.members), len(chance.members)))
        for path in uncertain():
            parameters = parameters.replace(path, parameters.value(path) * drawn.value(path) / shipped.value(path))
    wanted = {(date - scenario.run.start).days: date for date in scenario.run.survey_dates}
    looks, moved, water = {}, Flows.zero(luck.growth.shape[0]), Water(luck.growth.shape[0])

    def look(engine: Engine) -> None:
        water.see(engine)
        if engine.day in wanted:
            moved.include(engine.flows)
            looks[wanted[engine.day]] = Look(engine, moved, water)

    run(prepare(scenario, plan, parameters, luck, steps_per_day), [look], until=max(wanted), flows_from=wanted)
    return Run(looks, {event.name: k for k, event in enumerate(plan.stocking)})


Place = tuple[str, str]  # file and strategy


@dataclass(frozen=True)
class Measure:
    """A row: readings of one or several runs, and how they become one value a member.

    `across` rows are made of ponds that are strangers to one another: with luck their members are shifted, so that
    they do not share it. formula: a row that no pond is run for, from the parameters alone.
    """

    parts: tuple[tuple[Place, Callable[[Run], Array]], ...]
    combine: Callable[..., Array]
    across: bool = False
    formula: Callable[[Parameters], Array] | None = None


def _readings(
    place: Place, names: tuple[str, ...], parameters: Parameters, chance: Chance | None, steps_per_day: int
) -> dict[tuple[str, int], Array]:
    run = run_pond(*place, parameters, chance, steps_per_day)
    with np.errstate(all="ignore"):
        return {
            (name, k): read(run)
            for name in names
            for k, (where, read) in enumerate(MEASURES[name].parts)
            if where == place
        }


def evaluate(
    names: Iterable[str],
    parameters: Parameters,
    executor: Executor | None = None,
    chance: Chance | None = None,
    steps_per_day: int = 1,
) -> dict[str, Array]:
    """Rows' values, one for each member [member], with chance each set's members after one another; every strategy that they
    need is run once."""
    names = tuple(names)
    places = sorted({place for name in names for place, _ in MEASURES[name].parts}, key=_cost, reverse=True)
    arguments = (places, *([x] * len(places) for x in (names, parameters, chance, steps_per_day)))
    done = executor.map(_readings, *arguments) if executor else map(_readings, *arguments)
    found: dict[tuple[str, int], Array] = {}
    for part in done:
        found |= part
    values = {}
    for name in names:
        measure = MEASURES[name]
        if measure.formula is not None:
            values[name] = np.broadcast_to(measure.formula(parameters), (parameters.members,))
            if chance is not None:
                values[name] = np.repeat(values[name], len(chance.members))
            continue
        parts = [np.asarray(found[name, k], float) for k in range(len(measure.parts))]
        if measure.across and chance is not None:
            order = {place: k for k, place in enumerate(dict.fromkeys(place for place, _ in measure.parts))}
            parts = [
                np.roll(part.reshape(-1, len(chance.members)), order[place], axis=1).ravel()
                for part, (place, _) in zip(parts, measure.parts, strict=True)
            ]
        with np.errstate(all="ignore"):
            values[name] = np.asarray(measure.combine(*parts), float)
    return values


def _cost(place: Place) -> tuple[float, str, str]:
    run = load(PONDS / f"{place[0]}.toml").run
    return float((max(run.survey_dates) - run.start).days), *place


# ---------------------------------------------------------------------- what each row reads off its ponds

MEASURES: dict[str, Measure] = {}
FILES = {  # where the trade's strategies stand
    **dict.fromkeys(("base", "slot", "stopped", "thinned", "fed", "richest"), "expectations"),
    **dict.fromkeys(
        ("few", "moderate", "heavy", "severe", "rich_moderate", "fed_3", "fed_10", "fed_20", "supplemented"),
        "expectations_shorter",
    ),
    **dict.fromkeys(("poor", "poor_moderate"), "expectations_poor"),
    **dict.fromkeys(("no_shad", "bass_alone", "females"), "expectations_alone"),
    **dict.fromkeys(("denser", "sparser", "residents", "residents_later", "more_bluegill"), "expectations_first"),
}
COOLER = ("cooler_water", "base")


def _place(where: str | Place) -> Place:
    return (FILES[where], where) if isinstance(where, str) else where


def _add(name: str, where: str | Place, read: Callable[[Run], Array]) -> None:
    MEASURES[name] = Measure(((_place(where), read),), lambda value: value)


def _two(
    name: str, read: Callable[[Run], Array], above: str | Place, below: str | Place, combine: Callable[..., Array]
) -> None:
    """One reading of two runs."""
    MEASURES[name] = Measure(((_place(above), read), (_place(below), read)), combine)


def _ratio(a: Array, b: Array) -> Array:
    return a / b


def _difference(a: Array, b: Array) -> Array:
    return a - b


def bass_psd(look: Look) -> Array:
    return look.psd(BASS)


def bluegill_psd(look: Look) -> Array:
    return look.psd(BLUEGILL)


def bass_crop(look: Look) -> Array:
    return look.crop(BASS)


def bluegill_crop(look: Look) -> Array:
    return look.crop(BLUEGILL)


def shad_crop(look: Look) -> Array:
    return look.crop(SHAD)


def wr(low_in: float, high_in: float = np.inf) -> Callable[[Look], Array]:
    return lambda look: look.wr(BASS, low_in * MM_PER_IN, high_in * MM_PER_IN)


wr_8_14, wr_8_12, wr_12_15, wr_18 = wr(8, 14), wr(8, 12), wr(12, 15), wr(18)


def over(measure: Callable[[Look], Array], first: int, last: int) -> Callable[[Run], Array]:
    return lambda run: run.mean(measure, first, last)


# --- new ponds, the first years
for _name, _per_acre, _short in (("base", 75, "75"), ("denser", 100, "100"), ("sparser", 50, "50")):
    if _short != "50":
        _add(f"alive_{_short}", _name, lambda r, a=_per_acre: r.founders(1, 11, 15)[0] * HA_PER_ACRE / a)
    _add(f"weight_6_months_{_short}", _name, lambda r: r.founders(1, 11, 30)[1] / G_PER_LB)
    _add(f"weight_18_months_{_short}", _name, lambda r: r.founders(2, 11, 30)[1] / G_PER_LB)


def founders_crop(run: Run) -> Array:
    left, weight, _ = run.founders(2, 11, 30)
    return left * weight


_two("lighter_when_denser", lambda r: r.founders(2, 11, 30)[1], "base", "denser", _ratio)
_two("more_biomass_when_denser", founders_crop, "denser", "base", _ratio)
_two("residents", lambda r: r.founders(1, 11, 30)[0], "residents", "base", _ratio)
_two("residents_later", lambda r: r.founders(2, 11, 30)[0], "residents_later", "base", _ratio)
_add("first_spawning", "base", lambda r: r.at(2, 10, 15).young() * HA_PER_ACRE)
_two("more_bluegill_first_autumn", lambda r: r.founders(0, 10, 15, "bluegill")[2], "more_bluegill", "base", _ratio)
_two("more_bluegill_second_autumn", lambda r: r.founders(1, 10, 15, "bluegill")[2], "more_bluegill", "base", _ratio)


def _minnows_last(run: Run) -> Array:
    """Months from the bass until minnows are under a twentieth of their highest crop, between looks in the logarithm."""
    dates = [date for date in sorted(run.looks) if date <= dt.date(2030, 1, 1)]
    crop = np.stack([run.looks[date].crop(MINNOW) for date in dates])
    return _first_below(dates, np.log(np.maximum(crop, 1e-12)), np.log(0.05) + np.log(crop.max(axis=0)))


def _first_below(dates: list[dt.date], values: Array, limit: Array) -> Array:
    """Months from 1 June 2027 to the last fall below a limit [member]; NaN where values end above it."""
    months = np.array([(date - dt.date(2027, 6, 1)).days / 30.44 for date in dates])
    found = np.full(values.shape[1], np.nan)
    for k in range(len(dates) - 1):
        falls = (values[k] >= limit) & (values[k + 1] < limit)
        part = (values[k] - limit) / np.where(falls, values[k] - values[k + 1], 1.0)
        found = np.where(falls, months[k] + part * (months[k + 1] - months[k]), found)
    return np.where(values[-1] < limit, found, np.nan)


_add("minnows_last", "base", _minnows_last)


def _wave_falls(run: Run) -> Array:
    """Years from the bass until PSD has fallen below 40 for the first lasting time, from autumn 2 to spring 9."""
    dates = [d for d in sorted(run.looks) if d.day == 15 and d.month in (4, 10)]
    dates = [d for d in dates if dt.date(2028, 10, 1) <= d <= dt.date(2035, 5, 1)]
    psd = np.stack([run.looks[date].psd(BASS) for date in dates])
    gone = np.full(psd.shape[1], np.nan)
    for k in range(len(dates) - 1, 0, -1):
        falls = (psd[k - 1] >= 40.0) & (psd[k] < 40.0)
        part = (psd[k - 1] - 40.0) / np.where(falls, psd[k - 1] - psd[k], 1.0)
        years = (dates[k - 1] - dt.date(2027, 6, 1)).days / 365.25
        gone = np.where(falls, years + part * (dates[k] - dates[k - 1]).days / 365.25, gone)
    return gone


_add("wave_falls", "base", _wave_falls)
_add("largest_3_years", "base", lambda r: r.at(4, 6, 1).largest_lb())
_add("largest_9_years_crowded", "base", lambda r: r.at(10, 6, 1).largest_lb())
_add("largest_9_years_few", "few", lambda r: r.at(10, 6, 1).largest_lb())
_add("largest_male", "few", lambda r: r.at(10, 6, 1).largest_lb(males_only=True))
_add("largest_richest", "richest", lambda r: r.autumns(Look.largest_lb, 6, 14).max(axis=0))
_add("late_large_crowded", "base", over(Look.largest_lb, 12, 14))
_add("late_large_poor", "poor", over(Look.largest_lb, 8, 11))

# --- crowded
_add("crowded_crop", "base", lambda r: r.mean(bass_crop, 7, 10) / LB_ACRE)
_add("crowded_psd", "base", over(bass_psd, 7, 10))
_add("crowded_psd_late", "base", over(bass_psd, 12, 14))
_add("crowded_wr", "base", over(wr_8_12, 7, 10))
_add("crowded_wr_large", "base", over(wr_18, 7, 10))
_add("crowded_wr_rises", "base", lambda r: r.mean(wr_18, 7, 10) - r.mean(wr_12_15, 7, 10))
_add(
    "crowded_length_4",
    "base",
    lambda r: _mean(
        [_length_at(r.at(y, 4, 15), 4.0) for y in range(7, 11)],
    ),
)
_add("crowded_bluegill_psd", "base", over(bluegill_psd, 7, 10))
_add("crowded_forage_carnivore", "base", over(Look.fc, 7, 10))
_add(
    "overshoot",
    "base",
    lambda r: np.max([r.mean(bass_crop, y, y) for y in (3, 4, 5, 6)], axis=0) / r.mean(bass_crop, 7, 10),
)


def _length_at(look: Look, age: float, sex: float | None = None) -> Array:
    """Mean length in inches of the bass born in the pond that are about an age in spring."""
    return look.mean_of(BASS, look.aged(BASS, age - 0.45, age + 0.55, sex)) / MM_PER_IN


# --- thinned (years 8 to 10), over the same pond left alone
_two("thinned_wr", over(wr_8_12, 10, 10), "thinned", "base", _difference)
_two("thinned_psd", over(bass_psd, 10, 10), "thinned", "base", _difference)
_two("thinned_bluegill_psd", over(bluegill_psd, 10, 10), "thinned", "base", _difference)
_two("thinned_returns", over(bass_psd, 14, 14), "thinned", "base", _difference)

# --- harvested
_add("moderate_psd", "moderate", over(bass_psd, 7, 10))
_add("moderate_wr", "moderate", over(wr_8_14, 7, 10))
_add("moderate_wr_8_12", "moderate", over(wr_8_12, 7, 10))
_add("moderate_wr_12_15", "moderate", over(wr_12_15, 7, 10))
_add("moderate_wr_15_18", "moderate", over(wr(15, 18), 7, 10))
_add("moderate_wr_18", "moderate", over(wr_18, 7, 10))
_add("moderate_forage_carnivore", "moderate", over(Look.fc, 7, 10))
_add("moderate_bluegill_psd", "moderate", over(bluegill_psd, 7, 10))


def _caught(run: Run) -> Array:
    return (run.at(11, 1, 1).harvest[:, BASS] - run.at(7, 1, 1).harvest[:, BASS]) / 4.0 / LB_ACRE


_add("moderate_catch", "moderate", _caught)
_add("slot_psd", "slot", over(bass_psd, 7, 10))
_add("slot_psd_late", "slot", over(bass_psd, 11, 14))
_add("slot_wr", "slot", over(wr_8_12, 7, 14))
_add("slot_forage_carnivore", "slot", over(Look.fc, 7, 14))
_add("slot_bluegill_psd", "slot", over(bluegill_psd, 7, 14))
_add("crowding_returns", "stopped", over(bass_psd, 12, 13))
_add("poor_moderate_psd", "poor_moderate", over(bass_psd, 7, 11))
_add("poor_moderate_wr", "poor_moderate", over(wr_8_14, 7, 11))
_add("rich_moderate_psd", "rich_moderate", over(bass_psd, 7, 10))
_add("rich_moderate_wr", "rich_moderate", over(wr_8_14, 7, 10))
_add("heavy_bluegill_psd", "heavy", over(bluegill_psd, 6, 9))
_add("heavy_bluegill_3_5in", "heavy", over(lambda look: look.n(BLUEGILL, 3 * MM_PER_IN, 5 * MM_PER_IN), 6, 9))
_add("heavy_wr", "heavy", over(wr_8_14, 6, 9))
_add("severe_bass_left", "severe", lambda r: r.mean(bass_crop, 8, 8) / LB_ACRE)
_add("total_fertilised", "base", lambda r: r.mean(Look.total, 7, 10) / LB_ACRE)
_add("total_unfertilised", "poor", lambda r: r.mean(Look.total, 7, 10) / LB_ACRE)

# --- pellets and the size of bluegill


def _bluegill_weight(look: Look) -> Array:
    return look.mean_of(BLUEGILL, look.fish(BLUEGILL, 3 * MM_PER_IN), "log_weight")


_two("fed_bluegill_crop", over(bluegill_crop, 4, 10), "fed", "base", _ratio)
_two("fed_bluegill_weight", over(_bluegill_weight, 4, 10), "fed", "base", _ratio)
_two("fed_bass_crop", over(bass_crop, 4, 10), "fed", "base", _ratio)
_two("fed_bass_crop_late", over(bass_crop, 12, 14), "fed", "base", _ratio)
_add("unfed_longest_bluegill", "base", over(lambda look: look.longest_in(BLUEGILL), 7, 10))
for _feed in (3, 10):
    _add(f"fed_{_feed}_largest_bluegill", f"fed_{_feed}", over(Look.largest_bluegill_lb, 7, 10))
_add("fed_20_longest_bluegill", "fed_20", over(lambda look: look.longest_in(BLUEGILL), 7, 10))
_add("fed_20_largest_bluegill", "fed_20", over(Look.largest_bluegill_lb, 7, 10))

# --- threadfin


def _share_eaten(prey: str, first: tuple[int, int, int], last: tuple[int, int, int]) -> Callable[[Run], Array]:
    def share(run: Run) -> Array:
        eaten = run.eaten(first, last)
        return eaten[:, PREY.index(prey)] / eaten.sum(axis=1)

    return share


def _fish_share(first: tuple[int, int, int], last: tuple[int, int, int]) -> Callable[[Run], Array]:
    def share(run: Run) -> Array:
        eaten = run.eaten(first, last)
        return eaten[:, : PREY.index("plankton")].sum(axis=1) / eaten.sum(axis=1)

    return share


_add("shad_new_crop", "base", lambda r: r.mean(shad_crop, 2, 4) / LB_ACRE)
_add("shad_later_crop", "base", lambda r: r.mean(shad_crop, 7, 10) / LB_ACRE)
_add("shad_new_diet", "base", _share_eaten("shad", (2, 4, 15), (3, 4, 15)))
_add("shad_later_diet", "base", _share_eaten("shad", (7, 4, 15), (10, 4, 15)))
_add("fish_in_diet_crowded", "base", _fish_share((7, 4, 15), (10, 4, 15)))
_add("fish_in_diet_moderate", "moderate", _fish_share((7, 4, 15), (10, 4, 15)))
for _c in (8, 9):
    _add(
        f"threadfin_winter_{_c}c",
        (f"winter_{_c}c", "pond"),
        lambda r: r.looks[dt.date(2027, 4, 25)].n(SHAD) / r.looks[dt.date(2026, 11, 7)].n(SHAD),
    )


def _half_survives(*left: Array) -> Array:
    """Least winter temperature at which half would live, °C, on straight lines between the four winters."""
    at, share = (4.0, 5.0, 8.0, 9.0), np.stack(left)
    found = np.full(share.shape[1], np.nan)
    for k in range(3, 0, -1):
        crosses = (share[k] >= 0.5) & (share[k - 1] < 0.5)
        part = (0.5 - share[k - 1]) / np.where(crosses, share[k] - share[k - 1], 1.0)
        found = np.where(crosses, at[k - 1] + part * (at[k] - at[k - 1]), found)
    return found


MEASURES["threadfin_half_c"] = Measure(
    tuple(
        (
            (f"winter_{c}c", "pond"),
            lambda r: r.looks[dt.date(2027, 4, 25)].n(SHAD) / r.looks[dt.date(2026, 11, 7)].n(SHAD),
        )
        for c in (4, 5, 8, 9)
    ),
    _half_survives,
)

# --- young bass, sexes, deaths


def _fry(run: Run) -> Array:
    """Young bass in late May, per acre, mean of years 7 to 10."""
    return _mean([run.at(y, 5, 20).young() * HA_PER_ACRE for y in (7, 8, 9, 10)])


def _first_fry(run: Run) -> Array:
    """Day of the year by which a twentieth of late May's young has appeared, mean of years 7 to 10."""
    days = []
    for y in (7, 8, 9, 10):
        look = run.at(y, 5, 20)
        fish, born = look.aged(BASS, -1.0, 0.9), look.columns.born[:, look.slices[BASS]]
        there = np.maximum(fish.sum(axis=1), 1e-300)
        for_member = []
        for k in range(fish.shape[0]):
            mine = np.broadcast_to(born, fish.shape)[k]
            order = np.argsort(mine, kind="stable")
            grown = np.cumsum(fish[k][order]) / there[k]
            for_member.append(mine[order][np.searchsorted(grown, 0.05)] if there[k] > 1e-3 else np.nan)
        appeared = np.array(for_member) + 365.0 * look.parameters.recruit_age_years
        days.append(appeared - (look.day - dt.date(2026 + y, 5, 20).timetuple().tm_yday))
    return _mean(days)


_DAY_OF_16_C = 79.0  # the planning year of the deep South passes 16 °C on 20 March
_add("fry_in_may", "base", _fry)
_add("first_fry", "base", lambda r: _first_fry(r) - _DAY_OF_16_C)
_add("october_young", "base", lambda r: r.autumns(Look.young, 7, 10).mean(axis=0) * HA_PER_ACRE)
_add("october_young_moderate", "moderate", lambda r: r.autumns(Look.young, 7, 10).mean(axis=0) * HA_PER_ACRE)
_add("october_young_cv", "base", lambda r: r.autumns(Look.young_cv, 7, 10).mean(axis=0))


def _young_between_years(run: Run) -> Array:
    young = run.autumns(Look.young, 5, 14)
    return young.std(axis=0, ddof=1) / young.mean(axis=0)


_add("young_between_years", "base", _young_between_years)


def _winter_sorts(run: Run) -> Array:
    """Mean length in April over that in October of the young of years 4 to 7 that are the same year class."""
    ratios = []
    for y in (4, 5, 6, 7):
        before, after = run.at(y, 10, 15), run.at(y + 1, 4, 15)
        small = before.mean_of(BASS, before.aged(BASS, -1.0, 0.9))
        ratios.append(after.mean_of(BASS, after.aged(BASS, 0.5, 1.4)) / small)
    return _mean(ratios)


_add("winter_sorts_young", COOLER, _winter_sorts)


def _by_sex(age: float) -> Callable[[Run], Array]:
    return lambda r: _mean([_length_at(r.at(y, 4, 15), age, 1.0) / _length_at(r.at(y, 4, 15), age, -1.0) for y in (8, 9, 10)])


for _age in (1, 3, 5):
    _add(f"sexes_age_{_age}", "moderate", _by_sex(_age))


def _females(run: Run) -> Array:
    share = []
    for y in (8, 9, 10):
        look = run.at(y, 4, 15)
        female, male = (look.aged(BASS, 4.55, 5.55, sex).sum(axis=1) for sex in (1.0, -1.0))
        share.append(100.0 * female / np.maximum(female + male, 1e-12))
    return _mean(share)


_add("females_at_5", "moderate", _females)
_add(
    "adult_deaths",
    "females",
    lambda r: np.log(r.founders(3, 4, 15)[0] / r.founders(6, 4, 15)[0]) / 3.0,
)
_add("added_alive", "supplemented", lambda r: r.founders(8, 10, 15, "added")[0] * HA_PER_ACRE / 100.0)


def _share_of_class(run: Run) -> Array:
    added, own = run.founders(8, 10, 15, "added")[0], run.at(8, 10, 15).young()
    return added / np.maximum(added + own, 1e-12)


_add("added_of_class", "supplemented", _share_of_class)

# --- winter and cooler water


def _kind(look: Look, fish: Array, growth_z: float, sex: float) -> tuple[Array, Array]:
    """Fish/ha and mean weight in g of the groups of one growth type and sex; 0 where there are none."""
    fish = np.where((look.columns.growth_z == growth_z) & (look.columns.sex == sex), fish, 0.0)
    number = fish.sum(axis=1)
    return number, (fish * np.exp(look.log_weight)).sum(axis=1) / np.maximum(number, 1e-300)


def _winter(run: Run) -> Array:
    """Mean change of weight in per cent over six winters (December to February), of stocked bass that live through."""
    changes = []
    for year in range(2, 8):
        before, after = run.at(year, 12, 1), run.at(year + 1, 2, 28)
        origin = run.origins["bass"]
        alive, was = after.of_origin(origin), before.of_origin(origin)
        now, then = np.zeros(after.number.shape[0]), np.zeros(after.number.shape[0])
        for growth_z in (-1.0, 0.0, 1.0):  # one group of each kind
            for sex in (-1.0, 1.0):
                fish, weight = _kind(after, alive, growth_z, sex)
                _, weight_then = _kind(before, was, growth_z, sex)
                now += fish * weight
                then += fish * weight_then
        changes.append(100.0 * (now / np.maximum(then, 1e-300) - 1.0))
    return np.mean(changes, axis=0)


_add("winter_southern", "base", _winter)
_add("winter_northern", COOLER, _winter)
_two("cooler_growth", lambda r: r.founders(2, 11, 30)[1], COOLER, "base", _ratio)
_add("cooler_both_live", COOLER, lambda r: np.minimum(r.mean(bass_crop, 8, 8), r.mean(bluegill_crop, 8, 8)))

# --- without some fish
_add("alone_crop", "bass_alone", over(bass_crop, 5, 6))
_add("alone_psd", "bass_alone", over(bass_psd, 6, 9))
_add("alone_length_4", "bass_alone", lambda r: _mean([_length_at(r.at(y, 4, 15), 4.0) for y in (7, 8, 9, 10)]))
_add("females_alone", "females", lambda r: r.founders(6, 10, 15)[1] / G_PER_LB)
_add("females_alone_wr", "females", over(wr(12), 3, 6))
_add("no_shad_psd", "no_shad", over(bass_psd, 7, 10))
_add("no_shad_crop", "no_shad", lambda r: r.mean(bass_crop, 7, 10) / LB_ACRE)

# --- 4.1 to 4.11


def _alone(dose: int) -> tuple[Place, Callable[[Run], Array]]:
    return ("documented_4_7", f"dose_{dose}"), lambda r: 0.5 * (r.at(2, 11, 1).crop(BLUEGILL) + r.at(3, 11, 1).crop(BLUEGILL))


MEASURES["bluegill_alone_unfertilised"] = Measure((_alone(0),), lambda a: a)
MEASURES["bluegill_alone_fertilised"] = Measure((_alone(4),), lambda a: a)
MEASURES["bluegill_alone_rises"] = Measure((_alone(2), _alone(0)), _ratio)
MEASURES["bluegill_alone_flattens"] = Measure((_alone(6), _alone(4)), _ratio)
D41, D43, D45, D46 = (("documented_4_" + n, "pond") for n in ("1", "3", "5", "6"))
_add("d41_survival", D41, lambda r: r.founders(2, 3, 28)[0] / 248.0)
_add("d41_weight", D41, lambda r: r.founders(2, 3, 28)[1])
_add("d41_eaten", D41, lambda r: r.eaten((1, 6, 1), (2, 3, 28))[:, PREY.index("bluegill")])

D42 = (("documented_4_2", "threadfin"), ("documented_4_2", "control"))


def _wr_203_380(look: Look) -> Array:
    return look.wr(BASS, 203, 380)


_two("d42_bass_wr", over(_wr_203_380, 5, 6), *D42, _ratio)
_two("d42_bass_psd", over(bass_psd, 5, 6), *D42, _ratio)
_two("d42_recruits", over(lambda look: look.n(BASS, 150, 203), 5, 6), *D42, _ratio)
_two("d42_bluegill_wr", over(lambda look: look.wr(BLUEGILL, 151, 400), 5, 6), *D42, _ratio)
MEASURES["d42_reversal"] = Measure(
    tuple((place, over(_wr_203_380, *years)) for years in ((8, 8), (5, 6)) for place in D42),
    lambda late, late_control, with_, without: (
        (late / late_control - 1.0) / np.maximum(1e-3, np.abs(with_ / without - 1.0))
    ),
)
_add("d43_bass_length", D43, lambda r: r.founders(1, 10, 15)[2])
_add("d43_bluegill_length", D43, lambda r: r.founders(1, 10, 15, "bluegill")[2])


def _fathead(run: Run) -> Array:
    look = run.at(1, 10, 15)
    return look.crop(MINNOW) / (look.crop(MINNOW) + look.crop(BLUEGILL))


_add("d43_fathead", D43, _fathead)
_add("d43_forage_carnivore", D43, lambda r: r.at(2, 10, 15).fc())


def _mode(run: Run) -> Array:
    """Most frequent length of bluegill of 50 mm and more, mm: the top of a parabola through the fullest class of 10 mm."""
    look = run.at(2, 10, 15)
    edges = np.arange(50, 200, 10)
    count = np.stack([look.n(BLUEGILL, float(mm), float(mm + 10)) for mm in edges])
    top = np.clip(np.argmax(count, axis=0), 1, edges.size - 2)
    a, b, c = (np.take_along_axis(count, (top + k)[None], axis=0)[0] for k in (-1, 0, 1))
    bend = a - 2.0 * b + c
    shift = np.where(bend < 0.0, 0.5 * (a - c) / np.where(bend < 0.0, bend, -1.0), np.where(a > c, -1.0, 1.0))
    return edges[top] + 5.0 + 10.0 * np.clip(shift, -1.0, 1.0)


_add("d43_bluegill_mode", D43, _mode)
_add("d43_total", D43, lambda r: r.at(2, 10, 15).total() / LB_ACRE)


def _months(run: Run) -> Array:
    """Crops of bluegill on the 27th of each month, [month, member]."""
    return np.stack([run.looks[date].crop(BLUEGILL) for date in sorted(run.looks) if date.day == 27])


def _fed_month(fed: Array, unfed: Array) -> Array:
    """Month at which the crop of the fed pond passes that of the unfed one by 8 %, on straight lines between months."""
    lead = fed / unfed - 1.08
    found = np.full(lead.shape[1], np.nan)
    for k in range(lead.shape[0] - 1, 0, -1):
        passes = (lead[k] >= 0.0) & (lead[k - 1] < 0.0)
        found = np.where(passes, k + lead[k - 1] / np.where(passes, lead[k - 1] - lead[k], 1.0), found)
    return found


D44 = (("documented_4_4", "fed"), ("documented_4_4", "unfed"))
_two("d44_month", _months, *D44, _fed_month)
_two("d44_gain", lambda r: r.at(2, 6, 28).crop(BLUEGILL) / LB_ACRE, *D44, _difference)


def _yield(run: Run, year: int) -> Array:
    return (run.at(year + 1, 1, 1).harvest - run.at(year, 1, 1).harvest).sum(axis=1) / LB_ACRE


_add("d45_opening_yield", D45, lambda r: _yield(r, 3))
_add("d45_second_year", D45, lambda r: _yield(r, 4) / _yield(r, 3))
_add("opening_over_later", D45, lambda r: 2.0 * _yield(r, 3) / (_yield(r, 4) + _yield(r, 5)))
_add(
    "d45_bluegill_crowded",
    D45,
    lambda r: np.mean([r.at(y, m, 15).psd(BLUEGILL) for y, m in ((4, 10), (5, 4), (5, 10))], axis=0),
)


def _removal(low: float, high: float) -> Callable[[Run], Array]:
    def ratio(run: Run) -> Array:
        def there(look: Look) -> Array:
            return look.n(BASS, low, high)

        return run.mean(there, 13, 13) / run.mean(there, 9, 9)

    return ratio


_add("d46_small_ratio", D46, _removal(200, 300))
_add("d46_small_left", D46, over(lambda look: look.n(BASS, 200, 300), 13, 13))
_add("d46_middle_ratio", D46, _removal(300, 380))
_add("d46_large_share", D46, over(lambda look: 100 * look.n(BASS, 380) / look.n(BASS, 200), 13, 13))


def _slope(*young: Array) -> Array:
    adults = np.log([15.0, 30.0, 60.0, 100.0])
    centred = adults - adults.mean()
    return (centred[:, None] * np.log(np.stack(young) + 1e-9)).sum(axis=0) / (centred**2).sum()


MEASURES["d48_slope"] = Measure(
    tuple((("documented_4_8", f"adults_{n}"), lambda r: r.at(1, 9, 8).young()) for n in (15, 30, 60, 100)), _slope, True
)
_two(
    "d48_growth",
    lambda r: r.founders(1, 9, 28)[2],
    ("documented_4_8", "young_4000"),
    ("documented_4_8", "young_500"),
    _ratio,
)
D49 = ("documented_4_9", "lake")


def _highest(run: Run) -> Array:
    first, last = dt.date(2028, 4, 1), dt.date(2029, 11, 1)
    return np.max([look.psd(BASS) for date, look in run.looks.items() if first <= date <= last], axis=0)


_add("d49_high", D49, _highest)
_add(
    "d49_later", D49, lambda r: np.mean([r.at(y, m, 15).psd(BASS) for y, m in ((4, 10), (5, 4), (5, 10))], axis=0)
)


def _bass_density(look: Look) -> Array:
    return look.n(BASS, 8 * MM_PER_IN)


def _correlation(name: str, a: Callable[[Look], Array], b: Callable[[Look], Array]) -> None:
    """Correlation over seven ponds of differing harvest; with luck the ponds do not share it."""
    places = [("documented_4_10", f"taken_{share}") for share in (0, 15, 30, 45, 60, 72, 82)]

    def combine(*parts: Array) -> Array:
        x, y = np.stack(parts[: len(places)]), np.stack(parts[len(places) :])
        x, y = x - x.mean(axis=0), y - y.mean(axis=0)
        return (x * y).sum(axis=0) / np.sqrt((x**2).sum(axis=0) * (y**2).sum(axis=0))

    MEASURES[name] = Measure(tuple((place, over(one, 7, 9)) for one in (a, b) for place in places), combine, True)


_correlation("d410_psd_psd", bass_psd, bluegill_psd)
_correlation("d410_density_bass_psd", _bass_density, bass_psd)
_correlation("d410_density_bluegill_psd", _bass_density, bluegill_psd)
_correlation("d410_bluegill_psd_wr", bluegill_psd, wr_8_12)
D411 = ("documented_4_11", "pond")
for _y in (1, 2, 3):
    _add(f"d411_length_{_y}", D411, lambda r, y=_y: r.founders(1 + y, 7, 30)[2])
_add("d411_weight_3", D411, lambda r: r.founders(4, 7, 30)[1])
_add("d411_survival", D411, lambda r: r.founders(2, 7, 30)[0] * HA_PER_ACRE / 100.0)
_add("d411_bass_crop", D411, lambda r: r.at(4, 7, 30).crop(BASS))
_add("d411_bluegill_crop", D411, lambda r: r.at(4, 7, 30).crop(BLUEGILL))

# --- the second list
P1, P3, P10 = (("documented_" + n, "pond") for n in ("p1", "p3", "p10"))


def _age_at(length_mm: float) -> Callable[[Run], Array]:
    """Age in years at which the founders, stocked at age 1 on 1 April of year 1, pass a mean length."""

    def age(run: Run) -> Array:
        dates = [date for date in sorted(run.looks) if date > dt.date(2027, 4, 1)]
        length = np.stack([run.looks[date].stocked(run.origins["bass"])[2] for date in dates])
        years = np.array([1.0 + (date - dt.date(2027, 4, 1)).days / 365.25 for date in dates])
        found = np.full(length.shape[1], np.nan)
        for k in range(len(dates) - 1, 0, -1):
            passes = (length[k] >= length_mm) & (length[k - 1] < length_mm)
            part = (length_mm - length[k - 1]) / np.where(passes, length[k] - length[k - 1], 1.0)
            found = np.where(passes, years[k - 1] + part * (years[k] - years[k - 1]), found)
        return found

    return age


def _heavy_share(run: Run) -> Array:
    """Share in per cent of the founders above 3.6 kg at age 8."""
    look = run.at(8, 4, 15)
    fish = look.of_origin(run.origins["bass"])
    fish = fish[:, look.slices[BASS]]
    return 100.0 * (fish * look.heavier(BASS, np.log(3600.0))).sum(axis=1) / np.maximum(fish.sum(axis=1), 1e-12)


_add("p1_age_457", P1, _age_at(457.0))
_add("p1_age_508", P1, _age_at(508.0))
_add("p1_wr", P1, over(wr(12), 2, 8))
_add("p1_heavy_share", P1, _heavy_share)
_add("p3_bass_crop", P3, lambda r: _mean([bass_crop(r.at(y, 3, 14)) for y in (3, 5, 7, 9)]) / LB_ACRE)
_add("p3_bass_yield", P3, lambda r: (r.at(10, 1, 1).harvest[:, BASS] - r.at(1, 1, 1).harvest[:, BASS]) / 9.0 / LB_ACRE)
_add("p3_mean_caught", P3, lambda r: r.at(10, 1, 1).harvest[:, BASS] * 1000 / r.at(10, 1, 1).harvest_number[:, BASS] / G_PER_LB)
_add("p3_bluegill_culled", P3, lambda r: r.at(10, 1, 1).removed[:, BLUEGILL] / 9.0 / LB_ACRE)
_add(
    "p3_fry_after_cull",
    P3,
    lambda r: sum(r.at(y, 6, 15).young() for y in (3, 5, 7, 9)) / sum(r.at(y, 6, 15).young() for y in (4, 6, 8, 10)),
)


def _crowded_share(year: int) -> Measure:
    """Share of all ponds and members whose forage weighs more than ten times the carnivores, %; the same for each."""

    def combine(*parts: Array) -> Array:
        return np.full(parts[0].size, 100.0 * np.mean(np.stack(parts) > 10.0))

    places = tuple(("documented_p6", f"taken_{share}") for share in (0, 40, 70, 90))
    return Measure(tuple((place, lambda r: r.at(year, 10, 15).fc()) for place in places), combine)


MEASURES["p6_crowded_1"] = _crowded_share(1)
MEASURES["p6_crowded_2"] = _crowded_share(2)


def _p9(per_acre: int) -> Place:
    return "documented_p9", f"adults_{per_acre}"


def _shad_young(run: Run) -> Array:
    look = run.at(1, 11, 15)
    return look.n(SHAD) - look.stocked(run.origins["shad"])[0]


_add("p9_young_100", _p9(100), _shad_young)
_add("p9_young_1600", _p9(1600), _shad_young)
_two("p9_young_alike", _shad_young, _p9(1600), _p9(100), _ratio)
_add("p9_crop", _p9(400), lambda r: shad_crop(r.at(1, 11, 15)))
_add("p10_crop", P10, lambda r: shad_crop(r.at(1, 10, 31)))
P12 = (("documented_p12", "fertilised"), ("documented_p12", "none"))


def _net(run: Run) -> Array:
    return run.at(1, 11, 1).crop(BLUEGILL) - run.at(1, 3, 2).crop(BLUEGILL)


_add("p12_unfertilised", P12[1], _net)
_add("p12_fertilised", P12[0], _net)
_two("p12_ratio", _net, *P12, _ratio)


def _age_1_weight(run: Run) -> Array:
    look = run.at(2, 9, 15)
    return look.mean_of(BLUEGILL, look.aged(BLUEGILL, 0.75, 1.75), "log_weight")


P14 = tuple(("documented_p14", name) for name in ("all", "none", "bass", "fertilised", "fished"))
_two("p14_all_three", _age_1_weight, P14[0], P14[1], _ratio)
MEASURES["p14_best_single"] = Measure(
    tuple((place, _age_1_weight) for place in P14[1:]),
    lambda none, *single: np.max(np.stack(single), axis=0) / none,
)
P15 = (("documented_p15", "with"), ("documented_p15", "without"))
_two("p15_plankton", lambda r: r.at(1, 5, 10).plankton, *P15, _ratio)
_two("p15_young_bluegill", lambda r: r.at(1, 10, 15).aged(BLUEGILL, -1.0, 0.9).sum(axis=1), *P15, _ratio)
_two("p15_bass_weight", lambda r: r.founders(1, 10, 15)[1], *P15, _ratio)


def _catch_ratio(late: tuple[int, int], early: tuple[int, int]) -> Callable[[Run], Array]:
    return lambda r: r.at(1, *late).catch_per_hour() / r.at(1, *early).catch_per_hour()


_add("p18_october_over_may", ("documented_p18", "open"), _catch_ratio((10, 28), (5, 8)))
_add("p18_after_closure", ("documented_p18", "closed"), _catch_ratio((9, 6), (6, 28)))
for _name, _many, _fewer in (("p19_350_over_100", 350, 100), ("p19_100_over_30", 100, 30)):
    _two(
        _name,
        lambda r: r.at(1, 6, 1).catch_per_hour(),
        ("documented_p19", f"bass_{_many}"),
        ("documented_p19", f"bass_{_fewer}"),
        _ratio,
    )


def _stock_left(run: Run) -> Array:
    """Bass that were there when the lake was opened, per ha; young that reach 8 in meanwhile are not among them."""
    look = run.at(1, 8, 16)
    return look.stocked(run.origins["small_bass"])[0] + look.stocked(run.origins["bass"])[0]


_two("p20_taken", _stock_left, ("documented_p20", "open"), ("documented_p20", "closed"), lambda a, b: 100 * (1 - a / b))
P22 = (("documented_p22", "with"), ("documented_p22", "without"))
_two("p22_yield", lambda r: bass_crop(r.at(1, 9, 1)), *P22, _ratio)
_two("p22_length", lambda r: r.founders(1, 9, 1)[2], *P22, _difference)
P21 = (("documented_p21", "redear"), ("documented_p21", "bluegill"))


def _september(run: Run, species: int) -> tuple[Array, Array, Array]:
    """Young of the year on 15 September: fish/ha, mean length in mm, and mean day of birth."""
    look = run.at(1, 9, 15)
    fish = look.aged(species, -1.0, 0.9)
    number, born = fish.sum(axis=1), look.columns.born[:, look.slices[species]]
    return number, look.mean_of(species, fish), (fish * born).sum(axis=1) / np.maximum(number, 1e-300)


def _redear_over_bluegill(part: int, combine: Callable[[Array, Array], Array]) -> Callable[[Run], Array]:
    return lambda r: combine(_september(r, REDEAR)[part], _september(r, BLUEGILL)[part])


_add("p21_number", P21[0], _redear_over_bluegill(0, lambda redear, bluegill: bluegill / redear))
_add("p21_length", P21[0], _redear_over_bluegill(1, _ratio))
_add("p21_earlier", P21[0], _redear_over_bluegill(2, lambda redear, bluegill: bluegill - redear))
_two("p21_bluegill", lambda r: r.at(1, 9, 15).crop(BLUEGILL), *P21, _ratio)


def _strains(year: int, above: str, below: str) -> Callable[[Run], Array]:
    """Mean weight of one strain over that of another in October."""
    return lambda r: r.founders(year, 10, 15, above)[1] / r.founders(year, 10, 15, below)[1]


P23 = ("documented_p23", "pond")
_add("p23_first_florida", P23, _strains(1, "northern", "florida"))
_add("p23_first_cross", P23, _strains(1, "northern", "first_cross"))
_add("p23_second_cross", P23, _strains(2, "first_cross", "northern"))
_add("p23_second_florida", P23, _strains(2, "northern", "florida"))
_add("p23_third_cross", P23, _strains(3, "first_cross", "northern"))
_add("p23_third_florida", P23, _strains(3, "florida", "northern"))


# --- the water: drawdown, fertilizer withdrawn, lime, oxygen
P8 = (("documented_p8", "low"), ("documented_p8", "full"))


def _aged_cm(age: int) -> Callable[[Run], Array]:
    """Mean length of the bass that had an age in spring, at the end of that year's growth, cm."""
    stocked = {3: "bass_1"}  # young of before the run

    def read(run: Run) -> Array:
        if age in stocked:
            return run.founders(3, 11, 1, stocked[age])[2] / 10.0
        look = run.at(3, 11, 1)
        return look.mean_of(BASS, look.aged(BASS, age + 0.1, age + 1.1)) / 10.0

    return read


def _bass_intake(run: Run) -> Array:
    """What a kilogram of bass ate in August, kg."""
    look, later = run.at(3, 8, 1), run.at(3, 9, 1)
    return (later.eaten - look.eaten).sum(axis=1) / (0.5 * (look.crop(BASS) + later.crop(BASS)))


_two("p8_growth_1", _aged_cm(1), *P8, _difference)
_two("p8_growth_2", _aged_cm(2), *P8, _difference)
_two("p8_growth_3", _aged_cm(3), *P8, _difference)
_two("p8_intake", _bass_intake, *P8, _ratio)
_two("p8_bluegill", lambda r: r.at(3, 10, 1).n(BLUEGILL, 25, 100), *P8, _ratio)

P11 = tuple(("documented_p11", name) for name in ("withdrawn", "kept", "never"))


def _october(*years: int) -> Callable[[Run], Array]:
    return lambda run: _mean([run.at(year, 10, 15).total() for year in years])


_two("p11_first", _october(4), P11[0], P11[1], _ratio)
_two("p11_second", _october(5), P11[0], P11[1], _ratio)
_two("p11_later", _october(6, 7), P11[0], P11[2], _ratio)

_two("p13_soft", _net, ("documented_p13_soft", "limed"), ("documented_p13_soft", "none"), _ratio)
_two("p13_hard", _net, ("documented_p13_hard", "limed"), ("documented_p13_hard", "none"), _ratio)


def _summer_depth(run: Run) -> Array:
    """Depth of the water with at least 0.4 mg/L at dawn, the middle of the days from 24 June to 12 September, m."""
    days = run.at(1, 9, 13).breathable_m
    return np.median(days[-81:], axis=0)


_add("p16_2_acres", ("documented_p16_2_acres", "pond"), _summer_depth)
_add("p16_22_acres", ("documented_p16_22_acres", "pond"), _summer_depth)

LAKES = tuple((f"documented_p17_{depth}", name) for depth in ("shallow", "middle", "deep") for name in ("rich", "poor"))


def _least(run: Run) -> Array:
    return run.at(2, 2, 16).lowest_dawn


def _suffocated(run: Run) -> Array:
    """Share of the weight of bass and bluegill that died under the snow."""
    there = run.at(1, 12, 11).crop(BASS) + run.at(1, 12, 11).crop(BLUEGILL)
    dead = run.at(2, 2, 16).suffocated - run.at(1, 12, 11).suffocated
    return (dead[:, BASS] + dead[:, BLUEGILL]) / there


def _highest_with_a_kill(*read: Array) -> Array:
    """The highest of the least oxygens of the lakes that lost over a tenth of their fish, mg/L; 0 where none did."""
    least, dead = np.stack(read[: len(LAKES)]), np.stack(read[len(LAKES) :])
    return np.where(dead > 0.1, least, 0.0).max(axis=0)


MEASURES["p17_poorest"] = Measure(tuple((lake, _least) for lake in LAKES), lambda *least: np.minimum.reduce(least))
MEASURES["p17_richest"] = Measure(tuple((lake, _least) for lake in LAKES), lambda *least: np.maximum.reduce(least))
MEASURES["p17_dead"] = Measure(tuple((lake, _suffocated) for lake in LAKES), lambda *dead: np.maximum.reduce(dead))
MEASURES["p17_kill_at"] = Measure(
    (*((lake, _least) for lake in LAKES), *((lake, _suffocated) for lake in LAKES)), _highest_with_a_kill
)

SATURATION = {0: 14.621, 5: 12.771, 10: 11.288, 15: 10.084, 20: 9.092, 25: 8.263, 28: 7.828, 30: 7.559, 32: 7.305, 35: 6.949}
AERATOR = {10: (89, 75, 58, 52), 15: (90, 73, 55, 46), 20: (91, 72, 51, 41), 25: (92, 72, 46, 35), 30: (96, 67, 44, 31)}
AERATOR_AT_MG_L = np.array([0.0, 2.0, 4.0, 5.0])
# days from 12 to 3.8 mg/L by mean depth, rich and poor lakes (derived from the rates of Mathias & Barica 1980)
UNDER_SNOW = {1.0: (34, 91), 1.5: (50, 129), 2.0: (66, 164), 3.0: (95, 224)}


def _farthest(apart: Array) -> Array:
    return np.asarray(apart[np.abs(apart).argmax()])


def _saturation(p: Parameters) -> Array:
    return _farthest(oxygen.saturation_mg_l(np.array([*SATURATION], float)) - np.array([*SATURATION.values()]))


def _transfer(p: Parameters) -> Array:
    """Farthest from the table, points of the rated transfer."""
    apart = [
        100.0 * oxygen.aerator_kg_per_kwh(p, 1.0, AERATOR_AT_MG_L, np.array(float(water_c))) - np.array(table)
        for water_c, table in AERATOR.items()
    ]
    return _farthest(np.concatenate(apart))


def _days_under_snow(p: Parameters) -> Array:
    """Days from 12 to 3.8 mg/L over those of the table, the farthest from 1: lakes without fish, frozen all along."""
    scenario = load(PONDS / "documented_p17_deep.toml")
    found = []
    for depth, table in UNDER_SNOW.items():
        for fertility, days in zip((1.0, 0.35), table, strict=True):
            plan = scenario.strategies["rich"]._replace(fertility=fertility)
            luck = Luck.none(1, run_days(scenario), scenario.run.last_year, len(plan.stocking))
            inputs = prepare(scenario._replace(pond=scenario.pond._replace(mean_depth_m=depth)), plan, p, luck)
            engine = Engine(replace(inputs, stockings=(), water_c=np.full_like(inputs.water_c, 1.0), spell_least_c=None))
            engine.algae_richness = engine.algae_of_day
            engine.state.oxygen[:] = 12.0
            while engine.state.oxygen[0] > 3.8 and engine.day < 330:
                engine.run_day()
            found.append(engine.day / days)
    return _farthest(np.log(found))


MEASURES["a1_saturation"] = Measure((), _ratio, formula=_saturation)
MEASURES["a5_transfer"] = Measure((), _ratio, formula=_transfer)
MEASURES["a8_under_snow"] = Measure((), _ratio, formula=_days_under_snow)
