"""What harvest rules ask for, what of it is caught, and the angler hours that it takes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from pondpop.ensemble.prepare import season_effort
from pondpop.scenario import SPECIES, Harvest, Scenario
from pondpop.units import MM_PER_IN

Array = NDArray[np.float64]
Amount = Literal["kg_per_ha", "per_ha"]
FLOWS: dict[Amount, str] = {"kg_per_ha": "harvest_biomass", "per_ha": "harvest_number"}  # variable of the Dataset

TAKEN = 0.9  # an amount counts as caught where this share of it is (a choice)


@dataclass(frozen=True)
class Catch:
    """Of one species under one strategy, in the calendar years whose seasons lie within the run.

    asked [year] and caught [member, year], kg/ha or fish/ha by `amount`; caught is by all rules for the species.
    """

    strategy: str
    species: str
    amount: Amount
    years: tuple[int, ...]
    asked: Array
    caught: Array

    @property
    def share(self) -> Array:
        """Share of what is asked for over these years that is caught, at most 1 a year [member]."""
        return np.asarray(np.minimum(self.caught, self.asked).sum(axis=1) / self.asked.sum())

    @property
    def falls_short(self) -> bool:
        return float(np.median(self.share)) < TAKEN


def catches(dataset: xr.Dataset, scenario: Scenario) -> list[Catch]:
    """Asked and caught of every strategy and species whose rules ask for amounts.

    Left out are species of which a rule takes a share, reacts to surveys, or asks in another unit than the others:
    there what one rule asks for cannot be told from the catch.
    """
    found = []
    for s, (name, strategy) in enumerate(scenario.strategies.items()):
        for k, species in enumerate(SPECIES):
            rules = [rule for rule in strategy.harvest if rule.species == species]
            kinds = [kind for kind in FLOWS if any(getattr(rule, kind) is not None for rule in rules)]
            if len(kinds) != 1 or any(rule.when or rule.share is not None for rule in rules):
                continue
            amount = kinds[0]
            wanted, caught = asked(scenario, rules, amount), by_year(dataset, dataset[FLOWS[amount]].values[s, ..., k])
            years = np.arange(1, wanted.size + 1)
            of_whole_seasons = sum(
                (getattr(rule, amount) or 0.0) * ((rule.from_year <= years) & (years <= rule.to_year)) for rule in rules
            )
            there = np.flatnonzero((wanted > 0.0) & (wanted >= 0.999 * of_whole_seasons))
            if there.size:
                when = tuple(int(scenario.run.start.year + y) for y in there)
                found.append(Catch(name, species, amount, when, wanted[there], caught[:, there]))
    return found


def asked(scenario: Scenario, rules: Sequence[Harvest], amount: Amount) -> Array:
    """What rules ask for in each calendar year of the run [year], kg/ha or fish/ha.

    Of a season that the run holds only a part of, as large a part of the amount.
    """
    run = scenario.run
    dates = [run.start + dt.timedelta(days=k) for k in range((run.end - run.start).days)]
    year = np.array([date.year - run.start.year for date in dates], dtype=np.intp)
    wanted = np.zeros(run.last_year)
    for rule in rules:
        effort = season_effort(dates, year, rule.season, rule.from_year, rule.to_year)
        wanted += (getattr(rule, amount) or 0.0) * np.bincount(year, weights=effort, minlength=run.last_year)
    return wanted


def by_year(dataset: xr.Dataset, monthly: Array) -> Array:
    """Sums over the months of each calendar year of the run: [..., year] of [..., month]."""
    years = dataset["month"].values.astype("datetime64[Y]").astype(int)
    return np.stack([monthly[..., years == year].sum(axis=-1) for year in np.unique(years)], axis=-1)


def harvest_hours(dataset: xr.Dataset, scenario: Scenario) -> Array:
    """Angler hours that the bass harvest of each month takes, whole pond [strategy, member, month].

    The catch per hour of bass above 8 in, times the share of them (at the survey nearest to the month) that the harvest
    rules keep. Other species have no catch rate in the model, so their harvest takes no hours here.
    """
    fish = dataset["harvest_number"].sel(species="bass").values * scenario.pond.area_ha
    rate = dataset["catch_rate"].sel(catch_size=8).values
    number = dataset["number"].sel(species="bass").values
    months = dataset["month"].values.astype("datetime64[D]").astype(int) + 15
    surveys = dataset["survey_date"].values.astype("datetime64[D]").astype(int)
    nearest = np.abs(surveys[None, :] - months[:, None]).argmin(axis=1)
    stock = np.maximum(number[..., 8:].sum(axis=-1), 1e-12)
    kept = np.stack(
        [
            (number[s] * inside(strategy.harvest, number.shape[-1])).sum(axis=-1) / stock[s]
            for s, strategy in enumerate(scenario.strategies.values())
        ]
    )
    return fish / np.maximum(rate * np.minimum(kept, 1.0)[..., nearest], 1e-6)


def inside(rules: tuple[Harvest, ...], classes: int) -> Array:
    """Share of each inch class, from 8 in on, that lies in the window of any rule for bass [class]."""
    low = np.arange(classes, dtype=float)
    share = np.zeros(classes)
    for rule in rules:
        if rule.species == "bass":
            first, last = (edge / MM_PER_IN for edge in rule.length_mm)
            share = np.maximum(share, np.clip(np.minimum(last, low + 1.0) - np.maximum(first, low), 0.0, 1.0))
    return np.where(low >= 8.0, share, 0.0)
