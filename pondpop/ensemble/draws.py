"""Chance: which numbers each member is dealt, and how they become weather, luck and doubt.

Every decision has a stream of its own, SeedSequence(seed, spawn_key=(stream, member)), of uniforms that are turned into
what is needed, year by year. A member's numbers therefore depend on nothing but the seed, the decision's name and the
member's own number: the first 100 of 1,000 members are those of a run of 100, and strategies share their luck. A
stocking is known by its name, so that events of one name share their luck whatever their date and number.

Spreads of weather are assumed, the others calibrated to the evidence (`scenario.SPREADS`); multipliers are log-normal
with a mean of 1, but for the survival of bought fish, which is that at most 1.
"""

from __future__ import annotations

import datetime as dt
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import pairwise
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pondpop.ensemble.prepare import run_days
from pondpop.model.inputs import Luck
from pondpop.scenario import CONDITION_QUANTITIES, Scenario, Stocking, Strategy
from pondpop.species import KINDS, SPECIES, Parameters, find, load_parameters, uncertain

Array = NDArray[np.float64]
Deal = Callable[[str, int], Array]
"""Uniforms [member, size] for a decision and a size; a larger size begins with a smaller one."""

# Share of a day's departure from the mean temperature that is still there on the next day (assumed).
DAY_MEMORY = 0.8
# Largest pond whose few fish are whole: an acre. In larger ones few groups that matter are of so few fish (a choice).
WHOLE_FISH_UP_TO_HA = 0.405
# The same of the state of the sky and of the wind, so that dark and still days come in spells (assumed).
CLOUD_MEMORY, WIND_MEMORY = 0.65, 0.5


class Dealer(Protocol):
    """Deals members their parameters and their luck.

    `draw` gives members first … first + members − 1; it is a pure function, and the dealer can be pickled. `identity`
    is a text that differs where draws do; `about` holds texts for the report, on the records behind an ensemble.
    """

    @property
    def identity(self) -> str: ...

    @property
    def about(self) -> Mapping[str, str]: ...

    def draw(self, scenario: Scenario, strategy: Strategy, first: int, members: int) -> tuple[Parameters, Luck]: ...


class Source(Dealer, Protocol):
    """Where members come from: spreads, or an ensemble that records have weighed.

    `pasts` is how many different pasts there are, None where each member has its own; `parted` gives a source for so many
    members of a search and another for those that confirm what it finds, with no past in common.
    """

    @property
    def pasts(self) -> int | None: ...

    def parted(self, members: int) -> tuple[Source, Source]: ...


@dataclass(frozen=True)
class Prior:
    """Members as the scenario's spreads deal them."""

    identity: str = "spreads"

    @property
    def about(self) -> Mapping[str, str]:
        return {}

    @property
    def pasts(self) -> None:
        return None

    def parted(self, members: int) -> tuple[Source, Source]:
        """Itself twice: members of other numbers share nothing."""
        return self, self

    def draw(self, scenario: Scenario, strategy: Strategy, first: int, members: int) -> tuple[Parameters, Luck]:
        deal = streams(scenario.ensemble.seed, range(first, first + members))
        return draw_parameters(scenario, deal), draw_luck(scenario, strategy, deal)


@lru_cache(maxsize=1)
def streams(seed: int, members: range | tuple[int, ...]) -> Deal:
    """What the streams of a seed deal to members; kept until others are asked for, since variants under one luck share it."""
    return cache(lambda decision, size: uniform(seed, decision, members, size))


def draw_parameters(scenario: Scenario, deal: Deal) -> Parameters:
    """The model's parameters with one value per member of those that are uncertain (`species.uncertain`).

    The scenario's spread "parameters" scales theirs; where it is 0 they stay as they are, with a member axis of 1; so do
    those of species of which no strategy has fish. No member leaves a parameter's range.
    """
    parameters, multiple = load_parameters(), scenario.ensemble.spreads["parameters"]
    if multiple == 0.0:
        return parameters
    here = {species for strategy in scenario.strategies.values() for species in strategy.species}
    for path, spread in uncertain().items():
        if (place := path.partition(".")[0]) in KINDS and KINDS[place].species not in here:
            continue
        entry = find(path)
        z = _deviates(deal(f"parameter {path}", 1))[:, 0]
        values = np.clip(entry.value * np.exp(multiple * spread * z), entry.low, entry.high)
        parameters = parameters.replace(path, values)
    return parameters


def draw_luck(scenario: Scenario, strategy: Strategy, deal: Deal) -> Luck:
    """What differs between members besides their parameters; see `inputs.Luck` for shapes and units.

    Species of which the strategy has no fish are dealt nothing.
    """
    spreads = scenario.ensemble.spreads
    years, days = scenario.run.last_year, run_days(scenario)

    def factor(source: str, decision: str, size: int) -> Array:
        return multiplier(_deviates(deal(decision, size)), spreads[source])

    angler_success = factor("angler_success", "angler success", years)

    def of_species(source: str, decision: str, size: int) -> Array:
        nothing = np.ones((angler_success.shape[0], size))
        here = (factor(source, f"{decision} of {s}", size) if s in strategy.species else nothing for s in SPECIES)
        return np.stack(list(here), axis=1)

    growth, deaths = of_species("growth", "growth", 1)[:, :, 0], of_species("natural_mortality", "natural deaths", 1)
    stocked = []
    for event in strategy.stocking:
        if event.haul_hours is None:
            there = factor("stocking_survival", f"stocking {event.name}", 1)[:, 0]
            if not event.resident:  # no more fish live after the move than were bought
                there = np.minimum(there, 1.0)
        else:  # what the move costs is told by its truck
            there = np.ones(growth.shape[0])
        if event.number_cv:  # of one species all numbers are wrong together
            doubt = np.sqrt(np.log1p(event.number_cv**2))
            there = there * multiplier(_deviates(deal(f"number of {event.species}", 1)), doubt)[:, 0]
        if event.share_cv:
            doubt = np.sqrt(np.log1p(event.share_cv**2))
            there = there * multiplier(_deviates(deal(f"number of {event.name}", 1)), doubt)[:, 0]
        stocked.append(there)
    trucks = [
        np.ones(growth.shape[0]) if event.haul_hours is None else factor("truck", f"truck of {event.name}", 1)[:, 0]
        for event in strategy.stocking
    ]
    comes = [
        np.ones((growth.shape[0], years)) if event.chance is None
        else (deal(f"arrival of {event.name}", years) < event.chance).astype(float)
        for event in strategy.arrivals
    ]  # fmt: skip
    sky, wind, bloom = _air(scenario, deal, days, growth.shape[0])
    errors = [event.sexing_error or 0.0 for event in strategy.stocking]
    missed = [_missed_males(scenario, event, deal) for event in strategy.stocking] if any(errors) else []
    surveys, signs = len(scenario.run.survey_dates), len(CONDITION_QUANTITIES)
    return Luck(
        water_c=_weather(scenario, deal, years, days),
        productivity=np.repeat(factor("productivity", "productivity", 1), years, axis=1),
        growth=growth,
        recruitment=of_species("recruitment", "recruitment", years),
        background_deaths=np.repeat(deaths, years, axis=2),
        stocking_survival=np.stack(stocked, axis=1) if stocked else np.ones((growth.shape[0], 0)),
        angler_success=angler_success,
        truck=np.stack(trucks, axis=1) if any(event.haul_hours is not None for event in strategy.stocking) else None,
        missed_males=np.stack(missed, axis=1) if missed else None,
        arrived=np.stack(comes, axis=1) if comes else None,
        cloud=sky,
        wind=wind,
        bloom=bloom,
        survey=deal("sampling of surveys", surveys * signs).reshape(growth.shape[0], surveys, signs),
        whole=deal("whole fish", years) if whole_fish(scenario) else None,
    )


def whole_fish(scenario: Scenario) -> bool:
    """Whether few fish are whole: in ponds so small that groups can be few fish."""
    return scenario.ensemble.spreads["whole_fish"] > 0.0 and scenario.pond.area_ha <= WHOLE_FISH_UP_TO_HA


def _missed_males(scenario: Scenario, event: Stocking, deal: Deal) -> Array:
    """Share of the fish of a stocking taken for females that are males [member]: whole fish of the pond, a Poisson number."""
    count = event.per_ha * scenario.pond.area_ha * (0.5 if event.female_share is None else event.female_share)
    males = count * (event.sexing_error or 0.0)
    dealt = deal(f"sexing of {event.name}", 1)[:, 0]
    if males == 0.0:
        return np.zeros(dealt.size)
    from scipy.stats import poisson

    return np.asarray(np.minimum(poisson.ppf(dealt, males) / count, 1.0))


def _weather(scenario: Scenario, deal: Deal, years: int, days: int) -> Array:
    """Departure of the water temperature from its expected course [member, day], °C.

    Each calendar year has an anomaly of its own; each day's departure remembers the last one (AR(1) of DAY_MEMORY).
    """
    spreads, start = scenario.ensemble.spreads, scenario.run.start
    new_years = [(dt.date(start.year + k, 1, 1) - start).days for k in range(1, years)]
    year = np.searchsorted(new_years, np.arange(days), side="right")
    yearly = spreads["weather_year"] * _deviates(deal("weather of the year", years))[:, year]
    if spreads["weather_day"] == 0.0:
        return yearly
    return yearly + spreads["weather_day"] * _spells(_deviates(deal("weather of the day", days)), DAY_MEMORY)


def _air(scenario: Scenario, deal: Deal, days: int, members: int) -> tuple[Array, Array, Array]:
    """Sky, wind and the luck of the bloom [member, day], as `inputs.Luck` has them; neutral where oxygen is left out."""
    spreads = scenario.ensemble.spreads
    neutral = Luck.none(members, days, 1, 0)
    sky, wind, bloom = neutral.cloud, neutral.wind, neutral.bloom
    if not scenario.pond.oxygen_risk:
        return sky, wind, bloom
    if spreads["weather_cloud"]:
        sky = spreads["weather_cloud"] * _spells(_deviates(deal("cloud", days)), CLOUD_MEMORY)
    if spreads["weather_wind"]:
        wind = multiplier(_spells(_deviates(deal("wind", days)), WIND_MEMORY), spreads["weather_wind"])
    if spreads["bloom_collapse"]:
        bloom = deal("bloom", days) / spreads["bloom_collapse"]
    return sky, wind, bloom


def _spells(fresh: Array, memory: float) -> Array:
    """Standard deviates [member, day] of which each remembers the last one, made of fresh ones."""
    daily = fresh.T * np.sqrt(1.0 - memory**2)  # a day's members stand together
    daily[0] = fresh[:, 0]
    for yesterday, today in pairwise(daily):
        today += memory * yesterday
    return np.ascontiguousarray(daily.T)


# ---------------------------------------------------------------------- numbers


def uniform(seed: int, decision: str, members: range | tuple[int, ...], size: int) -> Array:
    """Uniforms between 0 and 1, ends excluded [member, size], from the stream of a decision.

    Made of the raw output of PCG64, which numpy promises not to change; a longer draw begins with a shorter one.
    """
    stream = zlib.crc32(decision.encode())
    raw = np.stack(
        [np.random.PCG64(np.random.SeedSequence(seed, spawn_key=(stream, k))).random_raw(size) for k in members]
    )
    middles = ((raw >> np.uint64(11)).astype(float) + 0.5) * 2.0**-53
    dealt = np.minimum(middles, 1.0 - 2.0**-53)  # above one half, the half step up is rounded away or to 1
    dealt.flags.writeable = False  # `streams` gives it to many
    return dealt


def normal(seed: int, decision: str, members: range, size: int) -> Array:
    """Standard normal deviates [member, size], one from each uniform."""
    return _deviates(uniform(seed, decision, members, size))


def _deviates(uniforms: Array) -> Array:
    from scipy.special import ndtri

    deviates: Array = ndtri(uniforms)
    return deviates


def multiplier(z: Array, spread: float) -> Array:
    """Log-normal multipliers with a mean of 1, from standard normal deviates; spread is the sd of the logarithm."""
    return np.exp(spread * z - 0.5 * spread**2)


def at_least_one(expected: Array, axis: int = -1) -> Array:
    """Probability that a pond holds at least one such fish: 1 − e^−n, averaged over the members on `axis`.

    expected: fish expected in the whole pond (whole fish vary about it as a Poisson number).
    """
    return -np.expm1(-expected).mean(axis=axis)
