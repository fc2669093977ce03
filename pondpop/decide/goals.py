"""What the owner cares about, member by member: goals, costs, repairs.

Everything is made of a Dataset and the scenario stored in it, so that a stored projection can be judged again. Arrays
are [strategy, member, …]; members are paired, since strategies share their luck.
"""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy
import xarray as xr
from numpy.typing import NDArray

from pondpop.decide import harvest_outcome
from pondpop.ensemble.draws import at_least_one
from pondpop.ensemble.quantities import PSD_CATEGORIES
from pondpop.observe import indices
from pondpop.scenario import FERTILITIES, SPECIES, Drawdown, Goal, GrassCarp, Plants, Scenario, resolve
from pondpop.scenario.schema import is_nothing
from pondpop.species import MEASURED, place_of
from pondpop.units import DAYS_PER_CALENDAR_YEAR

Array = NDArray[np.float64]

SURE = 0.8  # share of members from which something is called sure: a win, a range that is reached (a choice)
LOST_SEASON_SHARE = 0.5  # a season with less than this share of the first month's catch per hour is lost (assumed)
PSD_UNDEFINED = 100.0  # points out of range, where no fish of stock length is left (a choice)


@dataclass(frozen=True)
class Score:
    """One goal, member by member: values [strategy, member]; `better` is +1 where more is better, −1 where less is.

    kind is one of `units.KINDS`; made_of names the variables of the Dataset behind it.
    """

    goal: Goal
    words: str
    kind: str
    better: int
    values: Array
    made_of: tuple[str, ...]


@dataclass(frozen=True)
class Cost:
    """What strategies cost in all: parts by what is paid for, each [strategy, member]; and what has no price."""

    currency: str
    parts: Mapping[str, Array]
    unpriced: tuple[str, ...]

    @property
    def total(self) -> Array:
        return np.sum(list(self.parts.values()), axis=0)


@dataclass(frozen=True)
class Repair:
    """A repair, by strategy: years until both PSDs are in range with a probability of SURE (None: never in the run),
    whole fish taken out and put in by species [member] or a number, and seasons lost [strategy, member]."""

    years: dict[str, float | None]
    taken_out: dict[str, Array]  # [member, species]
    put_in: dict[str, Array]  # [species]
    seasons_lost: Array


def scenario_of(dataset: xr.Dataset) -> Scenario:
    """The scenario that a Dataset was made of."""
    return resolve(tomllib.loads(dataset.attrs["scenario"]))


def scores(dataset: xr.Dataset) -> list[Score]:
    """Every goal of the scenario, member by member; a scenario without goals is judged as `balanced`."""
    scenario = scenario_of(dataset)
    return [_score(dataset, scenario, goal) for goal in scenario.goals or (Goal("balanced"),)]


def _score(dataset: xr.Dataset, scenario: Scenario, goal: Goal) -> Score:
    if goal.kind in indices.TARGET_OPTIONS:
        values = out_of_range(dataset, goal.kind, goal.by_year)
        return Score(goal, f"PSD points outside the {goal.kind} ranges", "points", -1, values, ("number",))
    if goal.kind == "pounds_harvested":
        until = _months_until(dataset, goal.by_year)
        values = indices.whole(np.moveaxis(dataset["harvest_biomass"].values[:, :, until], -1, -2))
        return Score(goal, "fish harvested in all", "crop", 1, values, ("harvest_biomass",))
    if goal.kind == "bass_above":
        assert goal.above_g is not None
        values = at_end(bass_above(dataset, goal.above_g), dataset, goal.by_year) * scenario.pond.area_ha
        return Score(goal, "big bass in the pond", "fish", 1, values, ("number", "biomass"))
    cost = costs(dataset)
    return Score(goal, "cost", "money", -1, cost.total, ("harvest_number", "catch_rate", "pellets_given", "aeration_kwh"))


def worth(scores: Sequence[Score]) -> Array:
    """What scores are worth [strategy, member]: each goal in differences that matter, averaged by the goals' weights.

    1 more is one more such difference; where a goal has no value in a member, it counts as none.
    """
    total = np.zeros(scores[0].values.shape)
    weights = sum(score.goal.weight for score in scores)
    for score in scores:
        unit = score.goal.smallest or Goal(score.goal.kind).smallest
        total += score.goal.weight / weights * score.better * np.nan_to_num(score.values, nan=0.0) / unit if weights else 0.0
    return total


# ---------------------------------------------------------------------- ranges of a management option


def psds(dataset: xr.Dataset, option: str) -> list[tuple[Array, tuple[float, float], bool]]:
    """Each index that an option gives a range for: values [strategy, member, survey], range, and whether it is a PSD
    itself (not PSD-P or PSD-M)."""
    found = []
    for species in MEASURED:
        for index, category in PSD_CATEGORIES.items():
            bounds = indices.target_range(option, species, index)
            if bounds is not None:
                values = dataset["psd"].sel(species=species, length_category=category).values
                found.append((values, bounds, index == "psd"))
    return found


def out_of_range(dataset: xr.Dataset, option: str, by_year: int | None = None) -> Array:
    """How far a pond is from an option's ranges [strategy, member]: points outside, as a mean over the indices.

    PSDs are read as the mean of the surveys of the last twelve months (or of the year asked for).
    """
    away = []
    for values, (low, high), _ in psds(dataset, option):
        value = at_end(values, dataset, by_year)
        outside = np.maximum(low - value, 0.0) + np.maximum(value - high, 0.0)
        away.append(np.where(np.isfinite(value), outside, PSD_UNDEFINED))
    return np.mean(away, axis=0)


def both_in_range(dataset: xr.Dataset, option: str) -> NDArray[np.bool_]:
    """Whether the PSDs of bass and bluegill are both in an option's range [strategy, member, survey]."""
    inside = [(low <= v) & (v <= high) for v, (low, high), is_psd in psds(dataset, option) if is_psd]
    return np.logical_and.reduce(inside)


def chance_in_range(dataset: xr.Dataset, option: str, by_year: int | None = None) -> Array:
    """Share of members with both PSDs in range [strategy], read as in `out_of_range`."""
    inside = []
    for values, (low, high), is_psd in psds(dataset, option):
        if is_psd:
            value = at_end(values, dataset, by_year)
            inside.append((low <= value) & (value <= high))
    return np.logical_and.reduce(inside).mean(axis=1)


def at_end(values: Array, dataset: xr.Dataset, by_year: int | None = None) -> Array:
    """Mean over the surveys of the last twelve months, or of a calendar year of the run [strategy, member].

    Spring and autumn read differently, so both count. NaN where no survey has a value.
    """
    dates = dataset["survey_date"].values.astype("datetime64[D]")
    if by_year is None:
        there = dates > dates[-1] - np.timedelta64(364, "D")
    else:
        first = dataset["month"].values[0].astype("datetime64[Y]").astype(int)
        years = dates.astype("datetime64[Y]").astype(int) - first + 1
        there = years == years[years <= by_year].max(initial=years[0])
    chosen = values[..., there]
    known = np.isfinite(chosen)
    count, total = known.sum(axis=-1), np.where(known, chosen, 0.0).sum(axis=-1)
    return np.divide(total, count, out=np.full(count.shape, np.nan), where=count > 0)


# ---------------------------------------------------------------------- big bass

_NONE = 1e-300  # fish/ha, in place of none, which has no logarithm


def bass_above(dataset: xr.Dataset, grams: float) -> Array:
    """Bass heavier than a weight, fish/ha [strategy, member, survey].

    For a weight that the Dataset holds, its own figure; between two of them by a curve (Fritsch and Carlson 1980, from
    memory) through the logarithms of all that it holds, which falls as they do.
    """
    kept, above = dataset["big_weight"].values, dataset["bass_above"].values
    same = np.flatnonzero(np.abs(kept - grams) < 1e-6 * grams)
    if same.size:
        return np.asarray(above[..., same[0]])
    weights = np.concatenate([kept, dataset["bass_weight"].values])
    order = np.argsort(weights)
    every = np.concatenate([above, dataset["bass_heavier"].values], axis=-1)[..., order]
    curve = scipy.interpolate.PchipInterpolator(np.log(weights[order]), np.log(np.maximum(every, _NONE)), axis=-1)
    found = np.exp(curve(np.log(np.clip(grams, weights.min(), weights.max()))))
    next_heavier = int(np.searchsorted(weights[order], grams).clip(1, weights.size - 1))
    within = np.clip(found, every[..., next_heavier], every[..., next_heavier - 1])  # but for rounding it is so already
    return np.where(within > 2.0 * _NONE, within, 0.0)


def chance_of_one(dataset: xr.Dataset, goal: Goal) -> Array:
    """Probability that the pond holds at least one bass of the goal's weight at the last survey [strategy].

    Of the run, or of the year in which the goal is due: the same event wherever such a chance is told.
    """
    assert goal.above_g is not None
    expected = bass_above(dataset, goal.above_g) * scenario_of(dataset).pond.area_ha
    return at_least_one(expected[..., last_survey(dataset, goal.by_year)])


def last_survey(dataset: xr.Dataset, by_year: int | None = None) -> int:
    """Position of the last survey of the run, or of the last calendar year with one until the year asked for."""
    if by_year is None:
        return int(dataset.sizes["survey_date"]) - 1
    first = dataset["month"].values[0].astype("datetime64[Y]").astype(int)
    years = dataset["survey_date"].values.astype("datetime64[Y]").astype(int) - first + 1
    return int(np.flatnonzero(years == years[years <= by_year].max(initial=years[0]))[-1])


def survivors(alive: Array, stocked_per_ha: float) -> Array:
    """Share of stocked fish that lives, at most all of them; not known where none were stocked.

    Of a group whose number is in doubt more may be there than were given; that is no survival.
    """
    return np.minimum(alive / stocked_per_ha, 1.0) if stocked_per_ha > 0.0 else np.full(np.shape(alive), np.nan)


# ---------------------------------------------------------------------- money


def costs(dataset: xr.Dataset) -> Cost:
    """What every strategy costs over the run, from the prices that the scenario gives."""
    scenario = scenario_of(dataset)
    prices, area = scenario.costs, scenario.pond.area_ha
    members = dataset.sizes["member"]
    fish, events, water, level = np.zeros((4, len(scenario.strategies)))
    unpriced: set[str] = set()
    for s, strategy in enumerate(scenario.strategies.values()):
        for stocking in strategy.stocking:
            if stocking.resident:
                continue
            price = stocking.cost_each
            if price is None:
                price = prices.per_fish.get(stocking.species) if prices else None
            if price is None and stocking.per_ha:
                unpriced.add(stocking.species)
            fish[s] += (price or 0.0) * stocking.per_ha * area
        for removal in strategy.removals:
            if is_nothing(removal):  # as a sweep or a plan may try it; nobody is paid for it
                continue
            events[s] += removal.cost or 0.0
            if removal.cost is None and removal.reason == "removal":
                unpriced.add("some removals")
        for rule in strategy.fertilization:
            water[s] += (rule.cost or 0.0) * ((rule.last - rule.first).days + 1) / DAYS_PER_CALENDAR_YEAR
            if rule.cost is None and rule.level > FERTILITIES["unfertilized"]:
                unpriced.add("fertilizer")
        for liming in strategy.liming:
            if is_nothing(liming):
                continue
            water[s] += liming.cost or 0.0
            if liming.cost is None:
                unpriced.add("lime")
        carp = [event for event in strategy.grass_carp if not is_nothing(event)]
        worked: list[Plants | Drawdown | GrassCarp] = [*strategy.plants, *strategy.drawdown, *carp]
        level[s] = sum(event.cost or 0.0 for event in worked)
        if any(event.cost is None for event in carp):
            unpriced.add("grass carp")
    per_kg = prices.per_kg_feed if prices else None
    per_hour = prices.per_hour if prices else None
    feed = dataset["pellets_given"].values.sum(axis=-1) * area
    hours = harvest_outcome.harvest_hours(dataset, scenario).sum(axis=-1)
    per_kwh = prices.per_kwh if prices else None
    power = dataset["aeration_kwh"].values.sum(axis=-1) * area
    if per_kwh is None and power.any():
        unpriced.add("electricity")
    if per_kg is None and feed.any():
        unpriced.add("feed")
    if per_hour is None and hours.any():
        unpriced.add("hours of harvest")
    parts = {
        "fish": np.repeat(fish[:, None], members, axis=1),
        "removals": np.repeat(events[:, None], members, axis=1),
        "fertilizer and lime": np.repeat(water[:, None], members, axis=1),
        "plants and level": np.repeat(level[:, None], members, axis=1),
        "feed": feed * (per_kg or 0.0),
        "hours of harvest": hours * (per_hour or 0.0),
        "electricity": power * (per_kwh or 0.0),
    }
    return Cost(prices.currency if prices else "USD", parts, tuple(sorted(unpriced)))


FEWEST = 0.05  # big bass in the pond below which a price of each says nothing (a choice)


def cost_per_fish(cost: Cost, score: Score) -> Array:
    """What a strategy costs in all for each big bass in the pond [strategy, member]; infinite where there are hardly any."""
    some = score.values >= FEWEST
    return np.divide(cost.total, score.values, out=np.full(score.values.shape, np.inf), where=some)


# ---------------------------------------------------------------------- repairs


def is_repair(scenario: Scenario) -> bool:
    """Whether the pond has fish at the start."""
    return any(event.resident for strategy in scenario.strategies.values() for event in strategy.stocking)


def repair(dataset: xr.Dataset, option: str = "balanced") -> Repair:
    """What becomes of a pond that has fish at the start; see `Repair`."""
    scenario = scenario_of(dataset)
    chance = both_in_range(dataset, option).mean(axis=1)
    start = scenario.run.start
    dates = dataset["survey_date"].values.astype("datetime64[D]").tolist()
    years: dict[str, float | None] = {}
    taken_out, put_in = {}, {}
    out = (dataset["harvest_number"].values + dataset["removed_number"].values).sum(axis=2) * scenario.pond.area_ha
    for s, (name, strategy) in enumerate(scenario.strategies.items()):
        sure = np.flatnonzero(chance[s] >= SURE)
        years[name] = _years_between(start, dates[sure[0]]) if sure.size else None
        taken_out[name] = out[s]
        added = np.zeros(len(SPECIES))
        for event in strategy.stocking:
            if not event.resident:
                added[place_of(event.species)] += event.per_ha * scenario.pond.area_ha
        put_in[name] = added
    return Repair(years, taken_out, put_in, _seasons_lost(dataset))


def _seasons_lost(dataset: xr.Dataset) -> Array:
    """Calendar years whose catch per hour, March to October, is below LOST_SEASON_SHARE of the run's first month."""
    rate = dataset["catch_rate"].sel(catch_size=8).values
    months = dataset["month"].values.astype("datetime64[M]").astype(int)
    in_season = (months % 12 >= 2) & (months % 12 <= 9)
    years = months // 12
    limit = LOST_SEASON_SHARE * rate[..., 0]
    lost = [
        rate[..., in_season & (years == year)].mean(axis=-1) < limit
        for year in np.unique(years[in_season])
        if np.count_nonzero(in_season & (years == year)) >= 4
    ]
    return np.sum(lost, axis=0) if lost else np.zeros(limit.shape)


def _years_between(start: dt.date, end: dt.date) -> float:
    return (end - start).days / DAYS_PER_CALENDAR_YEAR


def _months_until(dataset: xr.Dataset, by_year: int | None) -> NDArray[np.bool_]:
    """Which months count towards a goal that is due by the end of a calendar year of the run."""
    years = dataset["month"].values.astype("datetime64[Y]").astype(int)
    return years - years[0] + 1 <= (by_year or years[-1] - years[0] + 1)
