"""What is to be done under a strategy, and when: dated facts, each told in one sentence."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import xarray as xr

from pondpop.scenario import (
    LONGEST_MM,
    SHORTEST_MM,
    Angling,
    Feeding,
    Harvest,
    Removal,
    Run,
    Scenario,
    Stocking,
)
from pondpop.species import TRAITS
from pondpop.units import Units, both, brief, day, day_of_year, joined, window

Deed = Literal["stock", "take out", "harvest", "feed", "fish", "survey", "seine"]
PLURAL = {name: one.plural for name, one in TRAITS.items()}
WARM_C, SHAD_COLD_C = 27.0, 9.0  # common practice, no source; threadfin feed less below 9 °C (Griffith 1978)


@dataclass(frozen=True)
class Action:
    """One thing to do: its day (or the first of a season), how that is told, what kind of thing, what, and what to
    mind about it."""

    date: dt.date
    when: str
    deed: Deed
    what: str
    mind: str = ""

    @property
    def words(self) -> str:
        return f"{self.what}. {self.mind}" if self.mind else f"{self.what}."


def actions(dataset: xr.Dataset, scenario: Scenario, strategy: str) -> list[Action]:
    """Everything that a strategy asks for within the run, by date."""
    return sorted(_actions(dataset, scenario, strategy), key=lambda action: action.date)


def first_steps(every: Sequence[Action], most: int = 3) -> list[Action]:
    """The first things to do besides looking at the pond."""
    return [action for action in every if action.deed not in ("survey", "seine")][:most]


def _actions(dataset: xr.Dataset, scenario: Scenario, name: str) -> Iterator[Action]:
    strategy, run, units = scenario.strategies[name], scenario.run, scenario.units
    area = scenario.pond.area_ha
    for event in strategy.stocking:
        if not event.resident:
            water = water_c(dataset, name, event.date)
            yield Action(event.date, day(event.date), "stock", _stock(event, area, units), _mind(event, water, units))
    for removal in strategy.removals:
        if removal.reason == "removal":
            yield Action(removal.date, day(removal.date), "take out", _take(removal, area, units))
    for rule in strategy.harvest:
        for season in seasons(rule, run):
            yield Action(*season, "harvest", _harvest(rule, area, units))
    for feeding in strategy.feeding:
        for season in seasons(feeding, run):
            what = f"Feed {both(feeding.kg_per_ha_day * area, 'catch', units)} of pellets a day in the pond"
            yield Action(*season, "feed", what, "Stop when fish leave any, or gasp.")
    for angling in strategy.angling:
        for season in seasons(angling, run):
            what = f"Fish for bass, all released: about {brief(angling.hours_per_ha * area, 2)} hours a year"
            yield Action(*season, "fish", what, "Land them fast; fewer live when the water is hot.")
    for date in run.survey_dates:
        yield Action(date, day(date), "survey", "Survey")
    for year in range(run.start.year, run.end.year + 1):
        first, last = dt.date(year, 6, 1), dt.date(year, 7, 15)
        if run.start <= first and last < run.end:
            yield Action(first, f"June to mid-July {year}", "seine", "Seine the shore")


def seasons(rule: Harvest | Feeding | Angling, run: Run) -> Iterator[tuple[dt.date, str]]:
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


def _stock(event: Stocking, area: float, units: Units) -> str:
    return (
        f"Stock {brief(event.per_ha * area)} {PLURAL[event.species]} of {both(event.length_mm, 'length', units)}: "
        f"{both(event.per_ha, 'density', units)}"
    )


def _mind(event: Stocking, water: float, units: Units) -> str:
    """What the water says about a stocking."""
    if event.species == "shad" and water < SHAD_COLD_C:
        return f"Water is about {both(water, 'temperature', units)}: too cold for threadfin; wait."
    if water > WARM_C:
        return f"Water is about {both(water, 'temperature', units)}: move at dawn, cool and aerated, temper slowly."
    return ""


def _take(event: Removal, area: float, units: Units) -> str:
    if event.share is not None:
        amount = "all" if event.share == 1 else f"{brief(100 * event.share, 2)} % of the"
    elif event.per_ha is not None:
        amount = f"{brief(event.per_ha * area)}"
    else:
        amount = f"{both(event.kg_per_ha or 0.0, 'crop', units)} of"
    return f"Take out {amount} {PLURAL[event.species]}, {window(event.length_mm, SHORTEST_MM, LONGEST_MM, units)}"


def _harvest(rule: Harvest, area: float, units: Units) -> str:
    def amount(value: float) -> str:
        if rule.share is not None:
            return f"{brief(100 * value, 2)} % of them in each season"
        if rule.per_ha is not None:
            return f"{brief(value * area, 2)} fish a year ({both(value, 'density', units)})"
        return f"{both(value, 'crop', units)} a year"

    given = rule.share if rule.share is not None else rule.per_ha if rule.per_ha is not None else rule.kg_per_ha
    size = window(rule.length_mm, SHORTEST_MM, LONGEST_MM, units)
    text = f"Harvest {PLURAL[rule.species]}, {size}: {amount(given or 0.0)}"
    if rule.when is not None:
        signs = [
            f"{_sign(c.quantity)} {'below' if c.below is not None else 'above'} "
            f"{c.below if c.below is not None else c.above:g}"
            for c in rule.when.conditions
        ]
        link = "or" if rule.when.needs == "any" else "and"
        text += f" if the last survey shows {joined(signs, link)}; otherwise {amount(rule.otherwise or 0.0)}"
    return text


def _sign(quantity: str) -> str:
    species, index, *rest = quantity.split("_")
    if index == "wr":
        low, high = rest
        return f"Wr of {species} {low}–{high.removesuffix('in')} in"
    return f"{species} " + "-".join(["PSD", *(r.upper() for r in rest)])


def water_c(dataset: xr.Dataset, strategy: str, date: dt.date) -> float:
    """Median water temperature of the month of a date; of that calendar month where the run does not cover it."""
    months = dataset["month"].values.astype("datetime64[M]")
    temperature = np.median(dataset["water_temperature"].sel(strategy=strategy).values, axis=0)
    at = np.flatnonzero(months == np.datetime64(date, "M"))
    if not at.size:
        at = np.flatnonzero(months.astype(int) % 12 + 1 == date.month)
    return float(temperature[at].mean()) if at.size else float("nan")
