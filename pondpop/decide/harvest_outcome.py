"""What harvest rules ask for, what of it is caught, and the hours that it takes."""

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
from pondpop.species import TRAITS, load_parameters
from pondpop.units import MM_PER_IN

Array = NDArray[np.float64]
Amount = Literal["kg_per_ha", "per_ha"]
FLOWS: dict[Amount, str] = {"kg_per_ha": "harvest_biomass", "per_ha": "harvest_number"}  # variable of the Dataset

TAKEN = 0.9  # an amount counts as caught where this share of it is (a choice)
STOCK_IN, LARGE_IN = 8, 15  # lengths above which the Dataset counts the bass that are caught per hour
CAUGHT_PER_HOUR = {"bluegill": 2.0, "redear": 1.0, "shad": 50.0, "minnow": 50.0}
"""Fish of a size caught per hour at 100 of them per ha: sunfish by angling, others by cast net or seine (all assumed)."""
LEAST_PER_HOUR = 1e-3  # nothing takes longer: who waits a thousand hours for a fish gives up (a choice)


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
    """Hours that the harvest of each month takes, whole pond [strategy, member, month], of all species together.

    Fish over the catch per hour of fish that the rules of the month keep. Of bass it is the model's: that of fish of 15 in
    and more where no smaller ones are kept, else that of 8 in and more, times the share of them (at the survey nearest to
    the month) that are kept. Of other species it is CAUGHT_PER_HOUR at 100 kept fish per ha, and rises with their
    number as that of bass does; a species that is not listed is caught like the one that its file names, or like bass.
    """
    run = scenario.run
    area = scenario.pond.area_ha
    months = dataset["month"].values.astype("datetime64[D]").astype(int) + 15
    surveys = dataset["survey_date"].values.astype("datetime64[D]").astype(int)
    nearest = np.abs(surveys[None, :] - months[:, None]).argmin(axis=1)
    p = load_parameters()
    exponent, of_bass = float(p.catch_density_exponent[0]), float(p.catch_per_hour_at_100_per_ha[0])
    dates = [run.start + dt.timedelta(days=k) for k in range((run.end - run.start).days)]
    every = np.zeros((len(scenario.strategies), dataset.sizes["member"], months.size))
    for s, strategy in enumerate(scenario.strategies.values()):
        for species in dict.fromkeys(rule.species for rule in strategy.harvest):
            fish = dataset["harvest_number"].sel(species=species).values[s] * area
            rules = [rule for rule in strategy.harvest if rule.species == species]
            there = dataset["number"].sel(species=species).values[s][:, nearest]  # [member, month, class]
            kept = _kept(rules, dates, there.shape[-1])
            if species == "bass":
                large = ~kept[:, :LARGE_IN].any(axis=1)
                first = np.where(large, LARGE_IN, STOCK_IN)
                counted = np.arange(there.shape[-1]) >= first[:, None]
                of = (there * counted).sum(axis=-1)
                share = np.where(of > 0.0, (there * kept * counted).sum(axis=-1) / np.maximum(of, 1e-300), 1.0)
                by_size = (dataset["catch_rate"].sel(catch_size=size).values[s] for size in (LARGE_IN, STOCK_IN))
                rate = np.where(large, *by_size) * np.minimum(share, 1.0)
            else:
                like = species if species in CAUGHT_PER_HOUR else TRAITS[species].caught_like
                rate = CAUGHT_PER_HOUR.get(like or "", of_bass) * ((there * kept).sum(axis=-1) / 100.0) ** exponent
            every[s] += fish / np.maximum(rate, LEAST_PER_HOUR)
    return every


def _kept(rules: Sequence[Harvest], dates: list[dt.date], classes: int) -> Array:
    """Share of each inch class that lies in the window of any rule that holds in a month [month of the run, class]."""
    year = np.array([date.year - dates[0].year for date in dates], dtype=np.intp)
    month = np.array([(date.year - dates[0].year) * 12 + date.month - dates[0].month for date in dates])
    kept = np.zeros((int(month[-1]) + 1, classes))
    for rule in rules:
        effort = season_effort(dates, year, rule.season, rule.from_year, rule.to_year)
        holds = np.bincount(month, weights=effort, minlength=len(kept)) > 0.0
        kept[holds] = np.maximum(kept[holds], inside(rule.length_mm, classes))
    return kept


def inside(length_mm: tuple[float, float], classes: int) -> Array:
    """Share of each inch class that lies in a window of length [class]."""
    low = np.arange(classes, dtype=float)
    first, last = (edge / MM_PER_IN for edge in length_mm)
    return np.clip(np.minimum(last, low + 1.0) - np.maximum(first, low), 0.0, 1.0)
