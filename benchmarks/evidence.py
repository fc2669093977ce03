"""Runs every evidence pond and compares it with what is published or expected; writes benchmarks/EVIDENCE.md.

    python benchmarks/evidence.py              everything, the sensitivity and the tipping edge included
    python benchmarks/evidence.py --rows-only  the table alone

The rows (what is measured, its interval and its source) stand in tests/evidence/rows.toml, the ponds as ordinary
scenario files in tests/ponds/; the arithmetic that reads a row off its ponds is below, one function a row. Exit
status 1 if a row that must hold does not.
"""

from __future__ import annotations

import argparse
import datetime as dt
import sys
import tomllib
from collections.abc import Callable
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

HOME = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(HOME), str(HOME / "tests")]

import numpy as np

from pondpop.ensemble.prepare import prepare, run_days
from pondpop.model import lengths
from pondpop.model.budget import PREY, Flows
from pondpop.model.day import Engine, run
from pondpop.model.inputs import Luck
from pondpop.observe.indices import standard_weight
from pondpop.scenario import load
from pondpop.species import BASS, BLUEGILL, MINNOW, SHAD, Parameters, load_parameters, paths
from pondpop.units import G_PER_LB, HA_PER_ACRE, KG_PER_HA_IN_LB_PER_ACRE, MM_PER_IN

PONDS = HOME / "tests" / "ponds"
ROWS = HOME / "tests" / "evidence" / "rows.toml"
HELD = HOME / "tests" / "evidence" / "held.txt"
TABLE = HOME / "benchmarks" / "EVIDENCE.md"
LB_ACRE = KG_PER_HA_IN_LB_PER_ACRE
Array = np.ndarray


class Look:
    """The pond on one day: measures return one value a member."""

    def __init__(self, engine: Engine, moved: Flows) -> None:
        s = engine.state
        self.columns, self.slices = s.columns, engine.slices
        self.number, self.log_weight, self.log_length = s.number.copy(), s.log_weight.copy(), s.log_length.copy()
        self.lengths, self.slope = lengths.Shape(*(part.copy() for part in engine.lengths())), engine.group.ws_slope
        self.condition = np.exp(engine.log_condition())
        self.area = engine.inputs.area_ha
        self.harvest = moved.harvest_biomass.copy()  # kg/ha since the start
        self.eaten = moved.eaten_by_bass.copy()
        self.day = engine.day

    def spread_of(self, groups: slice) -> lengths.Shape:
        return lengths.Shape(*(part[:, groups] for part in self.lengths))

    def fish(self, species: int, low_mm: float = 0.0, high_mm: float = np.inf) -> Array:
        """Fish/ha of each group in a length window [member, group of the species]."""
        groups = self.slices[species]
        longer = [
            1.0 if mm <= 0 else 0.0 if np.isinf(mm) else lengths.share_longer(self.spread_of(groups), np.log(mm))
            for mm in (low_mm, high_mm)
        ]
        return self.number[:, groups] * (longer[0] - longer[1])

    def n(self, species: int, low_mm: float = 0.0, high_mm: float = np.inf) -> Array:
        return self.fish(species, low_mm, high_mm).sum(axis=1)

    def crop(self, species: int) -> Array:
        return (self.fish(species) * np.exp(self.log_weight[:, self.slices[species]])).sum(axis=1) / 1000.0

    def total(self) -> Array:
        return sum(self.crop(k) for k in (BASS, BLUEGILL, SHAD, MINNOW))

    def fc(self) -> Array:
        return (self.total() - self.crop(BASS)) / np.maximum(self.crop(BASS), 1e-9)

    def psd(self, species: int) -> Array:
        stock, quality = ((8, 12), (3, 6))[species]
        return 100.0 * self.n(species, quality * MM_PER_IN) / np.maximum(self.n(species, stock * MM_PER_IN), 1e-12)

    def wr(self, species: int, low_mm: float, high_mm: float) -> Array:
        """Mean relative weight of the fish of a window; groups under the equation's shortest length are left out."""
        groups = self.slices[species]
        fish = self.fish(species, low_mm, high_mm)
        known = np.isfinite(standard_weight(np.exp(self.log_length[:, groups]), ("bass", "bluegill")[species]))
        wr = np.where(known, 100.0 * self.condition[:, groups], np.nan)
        fish = np.where(np.isnan(wr), 0.0, fish)
        return (fish * np.nan_to_num(wr)).sum(axis=1) / np.maximum(fish.sum(axis=1), 1e-300)

    def largest_lb(self, males_only: bool = False) -> Array:
        """Weight that one expected bass of the pond exceeds, lb."""
        groups = self.slices[BASS]
        fish = self.number[:, groups] * self.area
        if males_only:
            fish = fish * (self.columns.sex[:, groups] < 0)
        low, high = np.full(fish.shape[0], -5.0), np.full(fish.shape[0], 12.0)
        for _ in range(45):
            middle = 0.5 * (low + high)
            at = lengths.log_length_of_weight(
                self.spread_of(groups), self.log_weight[:, groups], middle[:, None], self.slope[:, groups]
            )
            above = (fish * lengths.share_longer(self.spread_of(groups), at)).sum(axis=1) > 1.0
            low, high = np.where(above, middle, low), np.where(above, high, middle)
        return np.exp(low) / G_PER_LB

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

    def young(self, oldest_years: float = 0.9) -> Array:
        groups = self.slices[BASS]
        age = (self.day - self.columns.born[:, groups]) / 365.0
        born_here = self.columns.origin[:, groups] < 0
        return (self.number[:, groups] * (born_here & (age < oldest_years))).sum(axis=1)


@dataclass
class Run:
    """One strategy of one scenario file, looked at on its survey dates."""

    looks: dict[dt.date, Look]
    origins: dict[str, int]

    def at(self, year: int, month: int, day: int) -> Look:
        """The look of a date; year 1 is 2027, the calendar year in which the bass are stocked."""
        return self.looks[dt.date(2026 + year, month, day)]

    def founders(self, year: int, month: int, day: int, name: str = "bass") -> tuple[Array, Array, Array]:
        return self.at(year, month, day).stocked(self.origins[name])

    def mean(self, measure: Callable[[Look], Array], first: int, last: int) -> Array:
        """Mean over the April and October looks of some years."""
        dates = [dt.date(2026 + y, m, 15) for y in range(first, last + 1) for m in (4, 10)]
        return np.mean([measure(self.looks[d]) for d in dates if d in self.looks], axis=0)


class Ponds:
    """Runs strategies of the evidence scenarios when first asked for, all members (parameter sets) at once.

    `last_year` (of those of `Run.at`) ends the runs early, for measures that look no further.
    """

    def __init__(self, parameters: Parameters, steps_per_day: int = 1, last_year: int = 99) -> None:
        self.parameters, self.steps_per_day, self.last_year = parameters, steps_per_day, last_year
        self.runs: dict[tuple[str, str], Run] = {}

    def __call__(self, file: str, strategy: str = "pond") -> Run:
        if (file, strategy) not in self.runs:
            self.runs[file, strategy] = self._run(file, strategy)
        return self.runs[file, strategy]

    def _run(self, file: str, name: str) -> Run:
        scenario = load(PONDS / f"{file}.toml")
        strategy = scenario.strategies[name]
        members = self.parameters.members
        luck = Luck.none(members, run_days(scenario), scenario.run.last_year, len(strategy.stocking))
        dates = [date for date in scenario.run.survey_dates if date.year <= 2026 + self.last_year]
        wanted = {(date - scenario.run.start).days: date for date in dates}
        looks, moved = {}, Flows.zero(members)

        def look(engine: Engine) -> None:
            moved.include(engine.flows)
            if engine.day in wanted:
                looks[wanted[engine.day]] = Look(engine, moved)

        run(prepare(scenario, strategy, self.parameters, luck, self.steps_per_day), [look], until=max(wanted))
        return Run(looks, {event.name: k for k, event in enumerate(strategy.stocking)})


# ---------------------------------------------------------------------- what each row reads off its ponds

E = "expectations"
MEASURES: dict[str, Callable[[Ponds], Array]] = {}


def row(identity: str) -> Callable[[Callable[[Ponds], Array]], Callable[[Ponds], Array]]:
    def keep(measure: Callable[[Ponds], Array]) -> Callable[[Ponds], Array]:
        MEASURES[identity] = measure
        return measure

    return keep


def _add(identity: str, measure: Callable[[Ponds], Array]) -> None:
    MEASURES[identity] = measure


def bass_psd(look: Look) -> Array:
    return look.psd(BASS)


def bluegill_psd(look: Look) -> Array:
    return look.psd(BLUEGILL)


def bass_crop(look: Look) -> Array:
    return look.crop(BASS)


def wr_8_14(look: Look) -> Array:
    return look.wr(BASS, 8 * MM_PER_IN, 14 * MM_PER_IN)


def wr_8_12(look: Look) -> Array:
    return look.wr(BASS, 8 * MM_PER_IN, 12 * MM_PER_IN)


for _name, _per_acre, _short in (("base", 75, "75"), ("denser", 100, "100"), ("sparser", 50, "50")):
    if _short != "50":
        _add(f"alive_{_short}", lambda p, n=_name, a=_per_acre: p(E, n).founders(1, 11, 15)[0] * HA_PER_ACRE / a)
    _add(f"weight_6_months_{_short}", lambda p, n=_name: p(E, n).founders(1, 11, 30)[1] / G_PER_LB)
    _add(f"weight_18_months_{_short}", lambda p, n=_name: p(E, n).founders(2, 11, 30)[1] / G_PER_LB)


def founders_crop(run: Run) -> Array:
    left, weight, _ = run.founders(2, 11, 30)
    return left * weight


_add("lighter_when_denser", lambda p: MEASURES["weight_18_months_75"](p) / MEASURES["weight_18_months_100"](p))
_add("more_biomass_when_denser", lambda p: founders_crop(p(E, "denser")) / founders_crop(p(E, "base")))
_add("first_spawning", lambda p: p(E, "base").at(2, 10, 15).young())


@row("minnows_gone")
def _minnows(p: Ponds) -> Array:
    looks = p(E, "base").looks
    peak = np.max([look.crop(MINNOW) for date, look in looks.items() if date <= dt.date(2028, 8, 25)], axis=0)
    return p(E, "base").at(2, 8, 25).crop(MINNOW) / peak


_add("largest_3_years", lambda p: p(E, "base").at(4, 6, 1).largest_lb())
_add("largest_9_years_crowded", lambda p: p(E, "base").at(10, 6, 1).largest_lb())
_add("largest_9_years_few", lambda p: p(E, "few").at(10, 6, 1).largest_lb())
_add("largest_male", lambda p: p(E, "few").at(10, 6, 1).largest_lb(males_only=True))
_add(
    "largest_richest",
    lambda p: np.max([p(E, "richest").at(y, 10, 15).largest_lb() for y in (6, 8, 10, 12, 14)], axis=0),
)
_add("late_large_crowded", lambda p: p(E, "base").mean(Look.largest_lb, 12, 15))
_add("late_large_poor", lambda p: p(E, "poor").mean(Look.largest_lb, 8, 11))
_add("crowded_crop", lambda p: p(E, "base").mean(bass_crop, 7, 10) / LB_ACRE)
_add("crowded_psd", lambda p: p(E, "base").mean(bass_psd, 7, 10))
_add("crowded_psd_late", lambda p: p(E, "base").mean(bass_psd, 12, 15))
_add("crowded_wr", lambda p: p(E, "base").mean(wr_8_12, 7, 10))
_add("crowded_bluegill_psd", lambda p: p(E, "base").mean(bluegill_psd, 7, 10))
_add("crowded_forage_carnivore", lambda p: p(E, "base").mean(Look.fc, 7, 10))


@row("overshoot")
def _overshoot(p: Ponds) -> Array:
    run = p(E, "base")
    return np.max([run.mean(bass_crop, y, y) for y in (3, 4, 5, 6)], axis=0) / run.mean(bass_crop, 7, 10)


_add("moderate_psd", lambda p: p(E, "moderate").mean(bass_psd, 7, 10))
_add("moderate_wr", lambda p: p(E, "moderate").mean(wr_8_14, 7, 10))
_add("moderate_forage_carnivore", lambda p: p(E, "moderate").mean(Look.fc, 7, 10))
_add("moderate_bluegill_psd", lambda p: p(E, "moderate").mean(bluegill_psd, 7, 10))


@row("moderate_catch")
def _caught(p: Ponds) -> Array:
    run = p(E, "moderate")
    return (run.at(11, 1, 1).harvest[:, BASS] - run.at(7, 1, 1).harvest[:, BASS]) / 4.0 / LB_ACRE


_add("slot_psd", lambda p: p(E, "slot").mean(bass_psd, 7, 10))
_add("slot_psd_late", lambda p: p(E, "slot").mean(bass_psd, 11, 15))
_add("slot_wr", lambda p: p(E, "slot").mean(wr_8_12, 7, 15))
_add("slot_forage_carnivore", lambda p: p(E, "slot").mean(Look.fc, 7, 15))
_add("slot_bluegill_psd", lambda p: p(E, "slot").mean(bluegill_psd, 7, 15))
_add("crowding_returns", lambda p: p(E, "stopped").mean(bass_psd, 12, 13))
_add("poor_moderate_psd", lambda p: p(E, "poor_moderate").mean(bass_psd, 7, 11))
_add("poor_moderate_wr", lambda p: p(E, "poor_moderate").mean(wr_8_14, 7, 11))
_add("rich_moderate_psd", lambda p: p(E, "rich_moderate").mean(bass_psd, 7, 10))
_add("rich_moderate_wr", lambda p: p(E, "rich_moderate").mean(wr_8_14, 7, 10))
_add("heavy_bluegill_psd", lambda p: p(E, "heavy").mean(bluegill_psd, 6, 9))
_add(
    "heavy_bluegill_3_5in",
    lambda p: p(E, "heavy").mean(lambda look: look.n(BLUEGILL, 3 * MM_PER_IN, 5 * MM_PER_IN), 6, 9),
)
_add("heavy_wr", lambda p: p(E, "heavy").mean(wr_8_14, 6, 9))
_add("severe_bass_left", lambda p: p(E, "severe").mean(bass_crop, 8, 8) / LB_ACRE)
_add("residents", lambda p: p(E, "residents").founders(1, 11, 30)[0] / p(E, "base").founders(1, 11, 30)[0])
_add("residents_later", lambda p: p(E, "residents_later").founders(2, 11, 30)[0] / p(E, "base").founders(2, 11, 30)[0])
_add("total_fertilised", lambda p: p(E, "base").mean(Look.total, 7, 10) / LB_ACRE)
_add("total_unfertilised", lambda p: p(E, "poor").mean(Look.total, 7, 10) / LB_ACRE)


def _bluegill_weight(look: Look) -> Array:
    fish = look.fish(BLUEGILL, 3 * MM_PER_IN)
    return (fish * np.exp(look.log_weight[:, look.slices[BLUEGILL]])).sum(axis=1) / fish.sum(axis=1)


def _fed(measure: Callable[[Look], Array], first: int, last: int) -> Callable[[Ponds], Array]:
    return lambda p: p(E, "fed").mean(measure, first, last) / p(E, "base").mean(measure, first, last)


_add("fed_bluegill_crop", _fed(lambda look: look.crop(BLUEGILL), 4, 10))
_add("fed_bluegill_weight", _fed(_bluegill_weight, 4, 10))
_add("fed_bass_crop", _fed(bass_crop, 4, 10))
_add("fed_bass_crop_late", _fed(bass_crop, 12, 15))
for _c in (4, 5, 8, 9):
    _add(
        f"threadfin_winter_{_c}c",
        lambda p, c=_c: (
            p(f"winter_{c}c").looks[dt.date(2027, 4, 25)].n(SHAD)
            / p(f"winter_{c}c").looks[dt.date(2026, 11, 7)].n(SHAD)
        ),
    )


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
        changes.append(100.0 * (now / then - 1.0))
    return np.mean(changes, axis=0)


_add("winter_southern", lambda p: _winter(p(E, "base")))
_add("winter_northern", lambda p: _winter(p("cooler_water", "base")))
_add("cooler_growth", lambda p: p("cooler_water", "base").founders(2, 11, 30)[1] / p(E, "base").founders(2, 11, 30)[1])
_add("cooler_no_shad", lambda p: p("cooler_water", "base").at(2, 4, 15).crop(SHAD))
_add(
    "cooler_both_live",
    lambda p: np.minimum(
        *(p("cooler_water", "base").mean(lambda look, k=k: look.crop(k), 8, 8) for k in (BASS, BLUEGILL))
    ),
)
_add("bass_alone", lambda p: p(E, "bass_alone").mean(bass_crop, 5, 6))
_add("females_alone", lambda p: p(E, "females").founders(6, 10, 15)[1] / G_PER_LB)
_add("no_shad_psd", lambda p: p(E, "no_shad").mean(bass_psd, 7, 10))
_add("no_shad_crop", lambda p: p(E, "no_shad").mean(bass_crop, 7, 10) / LB_ACRE)


def _alone(dose: int) -> Callable[[Ponds], Array]:
    def crop(p: Ponds) -> Array:
        run = p("documented_4_7", f"dose_{dose}")
        return (run.at(2, 11, 1).crop(BLUEGILL) + run.at(3, 11, 1).crop(BLUEGILL)) / 2.0

    return crop


_add("bluegill_alone_unfertilised", _alone(0))
_add("bluegill_alone_fertilised", _alone(4))
_add("bluegill_alone_rises", lambda p: _alone(2)(p) / _alone(0)(p))
_add("bluegill_alone_flattens", lambda p: _alone(6)(p) / _alone(4)(p))
_add("d41_survival", lambda p: p("documented_4_1").founders(2, 3, 28)[0] / 248.0)
_add("d41_weight", lambda p: p("documented_4_1").founders(2, 3, 28)[1])
_add(
    "d41_eaten",
    lambda p: (p("documented_4_1").at(2, 3, 28).eaten - p("documented_4_1").at(1, 6, 1).eaten)[
        :, PREY.index("bluegill")
    ],
)


def _threadfin(measure: Callable[[Look], Array], first: int, last: int) -> Callable[[Ponds], Array]:
    return lambda p: (
        p("documented_4_2", "threadfin").mean(measure, first, last)
        / p("documented_4_2", "control").mean(measure, first, last)
    )


_add("d42_bass_wr", _threadfin(lambda look: look.wr(BASS, 203, 380), 5, 6))
_add("d42_bass_psd", _threadfin(bass_psd, 5, 6))
_add("d42_recruits", _threadfin(lambda look: look.n(BASS, 150, 203), 5, 6))
_add("d42_bluegill_wr", _threadfin(lambda look: look.wr(BLUEGILL, 151, 400), 5, 6))


@row("d42_reversal")
def _reversal(p: Ponds) -> Array:
    effect = _threadfin(lambda look: look.wr(BASS, 203, 380), 5, 6)(p) - 1.0
    return (_threadfin(lambda look: look.wr(BASS, 203, 380), 8, 8)(p) - 1.0) / np.maximum(1e-3, np.abs(effect))


_add("d43_bass_length", lambda p: p("documented_4_3").founders(1, 10, 15)[2])
_add("d43_bluegill_length", lambda p: p("documented_4_3").founders(1, 10, 15, "bluegill")[2])


@row("d43_fathead")
def _fathead(p: Ponds) -> Array:
    look = p("documented_4_3").at(1, 10, 15)
    return look.crop(MINNOW) / (look.crop(MINNOW) + look.crop(BLUEGILL))


_add("d43_forage_carnivore", lambda p: p("documented_4_3").at(2, 10, 15).fc())


@row("d43_bluegill_mode")
def _mode(p: Ponds) -> Array:
    look = p("documented_4_3").at(2, 10, 15)
    edges = np.arange(50, 200, 10)
    count = np.stack([look.n(BLUEGILL, float(mm), float(mm + 10)) for mm in edges])
    return edges[np.argmax(count, axis=0)] + 5.0


_add("d43_total", lambda p: p("documented_4_3").at(2, 10, 15).total() / LB_ACRE)


@row("d44_month")
def _fed_month(p: Ponds) -> Array:
    fed, unfed = p("documented_4_4", "fed").looks, p("documented_4_4", "unfed").looks
    months = [date for date in sorted(fed) if date.day == 27]
    leads = np.stack([fed[date].crop(BLUEGILL) > 1.08 * unfed[date].crop(BLUEGILL) for date in months])
    return np.where(leads.any(axis=0), np.argmax(leads, axis=0) + 1.0, np.nan)


_add(
    "d44_gain",
    lambda p: (
        (
            p("documented_4_4", "fed").at(2, 6, 28).crop(BLUEGILL)
            - p("documented_4_4", "unfed").at(2, 6, 28).crop(BLUEGILL)
        )
        / LB_ACRE
    ),
)


def _yield(p: Ponds, year: int) -> Array:
    run = p("documented_4_5")
    return (run.at(year + 1, 1, 1).harvest - run.at(year, 1, 1).harvest).sum(axis=1) / LB_ACRE


_add("d45_opening_yield", lambda p: _yield(p, 3))
_add("d45_second_year", lambda p: _yield(p, 4) / _yield(p, 3))
_add(
    "d45_bluegill_crowded",
    lambda p: np.mean([p("documented_4_5").at(y, m, 15).psd(BLUEGILL) for y, m in ((4, 10), (5, 4), (5, 10))], axis=0),
)


def _removal(low: float, high: float) -> Callable[[Ponds], Array]:
    return lambda p: (
        p("documented_4_6").mean(lambda look: look.n(BASS, low, high), 13, 13)
        / p("documented_4_6").mean(lambda look: look.n(BASS, low, high), 9, 9)
    )


_add("d46_small_ratio", _removal(200, 300))
_add("d46_small_left", lambda p: p("documented_4_6").mean(lambda look: look.n(BASS, 200, 300), 13, 13))
_add("d46_middle_ratio", _removal(300, 380))
_add(
    "d46_large_share",
    lambda p: p("documented_4_6").mean(lambda look: 100 * look.n(BASS, 380) / look.n(BASS, 200), 13, 13),
)


@row("d48_slope")
def _slope(p: Ponds) -> Array:
    adults = np.log([15.0, 30.0, 60.0, 100.0])
    young = np.log(np.stack([p("documented_4_8", f"adults_{n}").at(1, 9, 8).young() for n in (15, 30, 60, 100)]) + 1e-9)
    centred = adults - adults.mean()
    return (centred[:, None] * young).sum(axis=0) / (centred**2).sum()


_add(
    "d48_growth",
    lambda p: (
        p("documented_4_8", "young_4000").founders(1, 9, 28)[2] / p("documented_4_8", "young_500").founders(1, 9, 28)[2]
    ),
)


@row("d49_high")
def _highest(p: Ponds) -> Array:
    looks = p("documented_4_9", "lake").looks
    return np.max(
        [look.psd(BASS) for date, look in looks.items() if dt.date(2028, 4, 1) <= date <= dt.date(2029, 11, 1)], axis=0
    )


_add(
    "d49_later",
    lambda p: np.mean(
        [p("documented_4_9", "lake").at(y, m, 15).psd(BASS) for y, m in ((4, 10), (5, 4), (5, 10))], axis=0
    ),
)


def _correlation(a: Callable[[Look], Array], b: Callable[[Look], Array]) -> Callable[[Ponds], Array]:
    def measure(p: Ponds) -> Array:
        runs = [p("documented_4_10", f"taken_{share}") for share in (0, 15, 30, 45, 60, 72, 82)]
        x, y = (np.stack([run.mean(one, 7, 9) for run in runs]) for one in (a, b))
        x, y = x - x.mean(axis=0), y - y.mean(axis=0)
        return (x * y).sum(axis=0) / np.sqrt((x**2).sum(axis=0) * (y**2).sum(axis=0))

    return measure


def _bass_density(look: Look) -> Array:
    return look.n(BASS, 8 * MM_PER_IN)


_add("d410_psd_psd", _correlation(bass_psd, bluegill_psd))
_add("d410_density_bass_psd", _correlation(_bass_density, bass_psd))
_add("d410_density_bluegill_psd", _correlation(_bass_density, bluegill_psd))
_add("d410_bluegill_psd_wr", _correlation(bluegill_psd, wr_8_12))
for _y in (1, 2, 3):
    _add(f"d411_length_{_y}", lambda p, y=_y: p("documented_4_11").founders(1 + y, 7, 30)[2])
_add("d411_weight_3", lambda p: p("documented_4_11").founders(4, 7, 30)[1])
_add("d411_survival", lambda p: p("documented_4_11").founders(2, 7, 30)[0] * HA_PER_ACRE / 100.0)
_add("d411_bass_crop", lambda p: p("documented_4_11").at(4, 7, 30).crop(BASS))
_add("d411_bluegill_crop", lambda p: p("documented_4_11").at(4, 7, 30).crop(BLUEGILL))


# ---------------------------------------------------------------------- the table

SENSITIVE = {  # what the sensitivity is told of
    "bass PSD, moderate harvest": lambda p: p(E, "moderate").mean(bass_psd, 7, 10),
    "bluegill PSD, no harvest": lambda p: p(E, "base").mean(bluegill_psd, 7, 10),
    "bass at 18 months, lb": MEASURES["weight_18_months_75"],
    "total standing crop, lb/acre": MEASURES["total_fertilised"],
}


def rows() -> dict[str, dict[str, object]]:
    """The evidence rows by name, in order."""
    return tomllib.loads(ROWS.read_text(encoding="utf-8"))


def holds(entry: dict[str, object], value: Array) -> Array:
    return np.isfinite(value) & (float(entry["low"]) <= value) & (value <= float(entry["high"]))  # type: ignore[arg-type]


def measured_on(executor: Executor, entries: dict[str, dict[str, object]]) -> dict[str, float]:
    """Every row's value; the strategies of the evidence ponds are run on the executor, the longest first."""
    needed = _all_ponds()
    ponds = Ponds(load_parameters())
    ponds.runs = dict(zip(needed, executor.map(run_pond, *zip(*needed, strict=True)), strict=True))
    return {name: float(MEASURES[name](ponds)[0]) for name in entries}


def run_pond(file: str, strategy: str) -> Run:
    """One strategy of one evidence scenario, with the package's parameters."""
    return Ponds(load_parameters())(file, strategy)


def _all_ponds() -> list[tuple[str, str]]:
    """All strategies of all evidence scenarios; the shared ones of the trade's expectations first."""
    files = sorted(PONDS.glob("*.toml"), key=lambda path: (path.stem != E, path.stem))
    return [(path.stem, name) for path in files for name in load(path).strategies]


def digits(value: float) -> str:
    return f"{value:.0f}" if abs(value) >= 1000 else f"{value:.3g}"


def interval(entry: dict[str, object]) -> str:
    low, high = float(entry["low"]), float(entry["high"])  # type: ignore[arg-type]
    return f"{digits(low)} or more" if np.isinf(high) else f"{digits(low)} to {digits(high)}"


def table(entries: dict[str, dict[str, object]], values: dict[str, float]) -> str:
    lines = ["| check | kind | source | measured | model | interval | holds |", "|---|---|---|---|---|---|---|"]
    for name, entry in entries.items():
        mark = "yes" if holds(entry, np.asarray(values[name])) else "**no**"
        kind = (
            str(entry["kind"])
            + ("" if entry["in_fit"] else ", not fitted")
            + (", must hold" if entry["must_hold"] else "")
        )
        lines.append(
            f"| {name} | {kind} | {entry['source']} | {entry['measured']} | {digits(values[name])} "
            f"| {interval(entry)} | {mark} |"
        )
    return "\n".join(lines)


# ---------------------------------------------------------------------- moving one parameter at a time

# Not moved: days of the calendar, thresholds below which a group does not exist, the ends of shares, and the published
# standard-weight lines (2 % of a log10 intercept is 26-40 % of the weight; they are the definition of Wr).
STRUCTURAL = (
    "pulse_slot_days", "spawning_first_day", "spawning_last_day", "spawning_autumn_from_day", "pulse_min_weight",
    "pulse_min_per_ha", "group_min_per_ha", "resource_floor_kg_per_ha", "light_peak_day", "intake_dome_floor",
    "standard_weight_", "search_dome_floor", "egg_predator_hunger_floor", "wariness", "catch_",
)  # fmt: skip
BATCH = 64
LAST_YEAR_OF_MUSTS = 10  # rows that must hold, and SENSITIVE, look no further


def movable() -> list[str]:
    base = load_parameters()
    return [
        path
        for path in paths()
        if not any(path.split(".")[1].startswith(name) for name in STRUCTURAL) and base.value(path)[0] != 0.0
    ]


def moved(pool: Executor, moves: list[tuple[str, float]], names: list[str]) -> dict[str, Array]:
    """Measures with one parameter moved at a time, [move]; `moves` are (path, share), run in batches of members."""
    batches = [moves[first : first + BATCH] for first in range(0, len(moves), BATCH)]
    parts = list(pool.map(_moved_batch, batches, [names] * len(batches)))
    return {name: np.concatenate([part[name] for part in parts]) for name in names}


def _moved_batch(batch: list[tuple[str, float]], names: list[str]) -> dict[str, Array]:
    base = load_parameters()
    together = base
    for path in dict.fromkeys(path for path, _ in batch):
        value = float(base.value(path)[0])
        together = together.replace(path, [value * (1.0 + share if path == p else 1.0) for p, share in batch])
    ponds = Ponds(together, last_year=LAST_YEAR_OF_MUSTS)
    return {name: (MEASURES | SENSITIVE)[name](ponds) for name in names}


def robustness(pool: Executor, entries: dict[str, dict[str, object]]) -> str:
    """Which single moves of 2 % break a row that must hold; the ten parameters that move outcomes most; their room."""
    must = [name for name, entry in entries.items() if entry["must_hold"]]
    free = movable()
    moves = [("pond.length_cv", 0.0)] + [(path, sign * 0.02) for path in free for sign in (1.0, -1.0)]
    got = moved(pool, moves, must + list(SENSITIVE))
    broken = [
        f"{path} {share:+.0%} breaks {name} ({digits(float(got[name][k]))})"
        for k, (path, share) in enumerate(moves)
        for name in must
        if not holds(entries[name], got[name][k])
    ]
    effect = {name: (got[name][1::2] - got[name][2::2]) / (2 * 0.02) / np.abs(got[name][0]) for name in SENSITIVE}
    strength = sum(np.abs(one) for one in effect.values())
    order = np.argsort(-strength)[:10]
    steps = (0.03, 0.05, 0.1, 0.2)
    room_moves = [(free[k], sign * step) for k in order for sign in (1.0, -1.0) for step in steps]
    room = moved(pool, room_moves, must)
    fine = np.all([holds(entries[name], room[name]) for name in must], axis=0).reshape(len(order), 2, len(steps))
    lines = [
        f"{len(moves) - 1} single moves of 2 % over {len(free)} parameters; {len(broken)} break a row that must hold.",
        *(f"- {one}" for one in broken),
        "",
        "The ten parameters that move the outcomes most: change of each outcome in per cent for one per cent of the",
        "parameter (from moves of ±2 %), and the largest step tried (2, 3, 5, 10, 20 %) at which all rows that must",
        "hold still do, upwards and downwards.",
        "",
        "| parameter | " + " | ".join(SENSITIVE) + " | room up | room down |",
        "|---|" + "---|" * (len(SENSITIVE) + 2),
    ]
    breaks = {
        (path, share > 0)
        for path, share in moves
        for name in must
        if any(not holds(entries[name], got[name][k]) for k, move in enumerate(moves) if move == (path, share))
    }
    for position, k in enumerate(order):
        cells = [f"{float(effect[name][k]):+.1f}" for name in SENSITIVE]
        for side, up in ((0, True), (1, False)):
            passed = fine[position, side]
            reach = int(np.argmin(passed)) if not passed.all() else len(steps)
            cells.append("under 2 %" if (free[k], up) in breaks else f"{(0.02, *steps)[reach]:.0%}")
        lines.append(f"| {free[k]} | " + " | ".join(cells) + " |")
    return "\n".join(lines)


def smoothness(pool: Executor) -> str:
    """Scans of ±3 % in steps of 1.5 %: the largest jump of a yearly quantity between neighbours, beside its slope."""
    shares = [-0.03, -0.015, 0.0, 0.015, 0.03]
    free = movable()
    got = moved(pool, [(path, share) for path in free for share in shares], list(SENSITIVE))
    worst = []
    for name, values in got.items():
        steps = np.diff(values.reshape(len(free), len(shares)), axis=1)
        bend = np.abs(steps - np.median(steps, axis=1, keepdims=True)).max(axis=1)
        k = int(np.argmax(bend))
        worst.append(
            f"| {name} | {digits(float(bend[k]))} | {free[k]} | {digits(float(np.median(np.abs(steps[k]))))} |"
        )
    return "\n".join(
        [
            "| quantity | largest departure of a 1.5 % step from the usual step | at | usual step there |",
            "|---|---|---|---|",
            *worst,
        ]
    )


def halved_step(entries: dict[str, dict[str, object]], values: dict[str, float]) -> str:
    """Largest change of a must-hold row's value when the day is taken in two steps."""
    ponds = Ponds(load_parameters(), steps_per_day=2, last_year=LAST_YEAR_OF_MUSTS)
    lines = []
    for name, entry in entries.items():
        if entry["must_hold"]:
            half = float(MEASURES[name](ponds)[0])
            lines.append(
                f"| {name} | {digits(values[name])} | {digits(half)} | {100 * (half / values[name] - 1):+.1f} % |"
            )
    return "\n".join(["| row | a step a day | two steps a day | change |", "|---|---|---|---|", *lines])


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rows-only", action="store_true", help="the table alone")
    only_rows = parser.parse_args().rows_only
    entries = rows()
    with ProcessPoolExecutor(2) as pool:
        values = measured_on(pool, entries)
    held = {name: bool(holds(entry, np.asarray(values[name]))) for name, entry in entries.items()}
    formulas = formula_checks()
    documented = [name for name, entry in entries.items() if entry["kind"] == "documented pond"]
    expected = [name for name, entry in entries.items() if entry["kind"] == "expectation"]
    last = (
        f"{sum(held.values()) + sum(ok for _, ok in formulas)} of {len(held) + len(formulas)} checks hold; "
        f"documented ponds {sum(held[n] for n in documented)} of {len(documented)}; "
        f"expectations {sum(held[n] for n in expected)} of {len(expected)}"
    )
    parts = [
        "# Evidence",
        "",
        "Made by `python benchmarks/evidence.py`; the rows and their intervals are in tests/evidence/rows.toml.",
        "",
        table(entries, values),
        "",
        "## Why rows miss",
        "",
        misses(entries, held),
        "",
        "## Formula checks",
        "",
        *(f"- {'holds' if ok else '**misses**'}: {words}" for words, ok in formulas),
        "",
    ]
    HELD.write_text("".join(f"{name}\n" for name, ok in held.items() if ok), encoding="utf-8")
    write([*parts, last])
    if not only_rows:
        with ProcessPoolExecutor(2) as pool:
            parts += ["## Sensitivity and the distance to the edge", "", robustness(pool, entries), ""]
            write([*parts, last])
            parts += ["## Halving the step", "", halved_step(entries, values), ""]
            write([*parts, last])
            parts += ["## Smoothness", "", smoothness(pool), ""]
            write([*parts, last])
    print("\n".join([*parts, last]))
    return int(any(entry["must_hold"] and not held[name] for name, entry in entries.items()))


def write(parts: list[str]) -> None:
    """The table after each part of the work, since the later parts take long."""
    TABLE.write_text("\n".join([*parts, ""]), encoding="utf-8")


def formula_checks() -> list[tuple[str, bool]]:
    """The published figures of tests/published against the package's formulas, in words, and whether each holds."""
    from published.formulas import checks

    return [(str(check), bool(check.holds)) for check in checks()]


def misses(entries: dict[str, dict[str, object]], held: dict[str, bool]) -> str:
    """The reason that rows.toml gives for each row that misses; a miss without one says so."""
    lines = [
        f"- {name}: {entry.get('reason', 'no reason found yet')}" for name, entry in entries.items() if not held[name]
    ]
    return "\n".join(lines) or "No row misses."


if __name__ == "__main__":
    sys.exit(main())
