"""What is to be done under a strategy, and when: dated facts, each told in one sentence."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Literal

import numpy as np
import xarray as xr

from pondpop.decide import harvest_outcome
from pondpop.records.surveys import SESSION_DAYS
from pondpop.scenario import (
    FERTILITIES,
    LONGEST_MM,
    SHORTEST_MM,
    Aeration,
    Angling,
    Feeding,
    Harvest,
    Removal,
    Run,
    Scenario,
    Stocking,
    Strategy,
)
from pondpop.scenario.moving import is_fragile, tempering
from pondpop.scenario.schema import BY_AMOUNT, is_nothing
from pondpop.species import TRAITS
from pondpop.species.registry import KINDS
from pondpop.units import LIME, POWER, Units, both, brief, day, day_of_year, joined, percent, window

Deed = Literal["stock", "take out", "harvest", "feed", "fish", "fertilize", "aerate", "level", "upkeep", "survey", "seine"]
LOOKING = ("upkeep", "survey", "seine")  # deeds that every plan has
PLURAL = {name: one.plural for name, one in TRAITS.items()}
CARP = (
    "Sterile (triploid) grass carp only, and only with the state's permit: in many states they need one, in some they are "
    "forbidden. Keep them from leaving by the spillway."
)
STRAIN = "Which strains may be stocked is for the state agency to say; in some states this one is forbidden."
WARM_C, SHAD_COLD_C = 27.0, 9.0  # common practice, no source; threadfin feed less below 9 °C (Griffith 1978)


ICE_C = 3.0  # mean water of a month below which a pond may freeze over (a choice)
FERTILIZED = 0.9  # renewal of food from which a pond is taken to be fertilized (a choice)
# first and last day, only for fertilized ponds, what, what to mind; common practice of extension services, no source
UPKEEP = (
    ((3, 1), (9, 30), True, "Fertilize: hold a bloom through which a white disc is seen to 18–24 in (46–61 cm)",
     "Begin when the water stays above 60 °F (16 °C); none while it is deeper green than that, muddy or weedy."),
    ((6, 1), (9, 30), False, "Check oxygen at dawn after hot, still or cloudy days, and the colour of the water",
     "Fish that gasp at the surface: aerate, stop feeding and fertilizing."),
    ((11, 1), (12, 31), True, "Have the water tested, and lime where its alkalinity is below 20 mg/l",
     "Fertilizer does little in softer water."),
)  # fmt: skip


UNDER_ICE = "Have oxygen measured under the ice once snow has lain on it for a month"
UNDER_ICE_MIND = (
    "Snow on the ice starts the want of oxygen (Cooper & Washburn 1949). Stay off ice that has not been measured and found thick "
    "enough, never go on it alone, and keep away from it where an aerator runs."
)
AERATE_MIND = (
    "Run it before the fish gasp. Electricity near water kills: let a licensed electrician connect it, with a ground-fault "
    "breaker, and never wade or boat near it while it runs. It keeps a refuge and does not lift the pond."
)


@dataclass(frozen=True)
class Action:
    """One thing to do: its day (or the first of a season), how that is told, what kind of thing, what, what to mind about
    it, and of a harvest the species and what is taken of it, in words."""

    date: dt.date
    when: str
    deed: Deed
    what: str
    mind: str = ""
    species: str = ""
    taken: str = ""

    @property
    def words(self) -> str:
        return f"{self.what}. {self.mind}" if self.mind else f"{self.what}."


def today(dataset: xr.Dataset, scenario: Scenario) -> dt.date:
    """The day from which things are still to be done: the one that was given, that of the last record, or the start."""
    given = dataset.attrs.get("today") or dataset.attrs.get("last_record")
    day = dt.date.fromisoformat(str(given)) if given else scenario.run.start
    return day if scenario.run.start <= day < scenario.run.end else scenario.run.start


def last_survey(dataset: xr.Dataset, scenario: Scenario) -> dt.date | None:
    """The day of the last record, or of the survey from which the run begins; None where it begins from neither."""
    if dataset.attrs.get("last_record"):
        return dt.date.fromisoformat(str(dataset.attrs["last_record"]))
    begun = any(event.number_cv for strategy in scenario.strategies.values() for event in strategy.stocking if event.resident)
    return scenario.run.start if begun else None


def actions(dataset: xr.Dataset, scenario: Scenario, strategy: str) -> list[Action]:
    """Everything that a strategy still asks for within the run, by date; what is past, or of amount 0, is not to be done."""
    now = today(dataset, scenario)
    every = (action for action in _actions(dataset, scenario, strategy, now) if action.date >= now)
    return sorted(every, key=lambda action: action.date)


def _aerate(rule: Aeration, units: Units) -> str:
    when = f"at night while oxygen is below {brief(rule.when_below_mg_l or 0.0)} mg/l"
    if rule.hours is not None:
        when = f"from {brief(rule.hours[0])} to {brief(rule.hours[1])} o'clock"
    metric, us = (f"{brief(unit.from_si(rule.kilowatts))} {unit.words}" for unit in POWER.values())
    power = f"{us}, {metric}" if units == "us" else f"{metric}, {us}"
    return f"Run the {rule.kind.replace('_', ' ')} aerator ({power}) {when}"


def first_steps(every: Sequence[Action], most: int = 3) -> list[Action]:
    """The first things to do besides looking at the pond."""
    return [action for action in every if action.deed not in LOOKING][:most]


def _actions(dataset: xr.Dataset, scenario: Scenario, name: str, now: dt.date) -> Iterator[Action]:
    whole, run, units = scenario.strategies[name], scenario.run, scenario.units
    of_amount: dict[str, Any] = {f: tuple(one for one in getattr(whole, f) if not is_nothing(one)) for f in BY_AMOUNT}
    strategy = whole._replace(**of_amount)
    area = scenario.pond.area_ha
    for event in strategy.stocking:
        if not event.resident:
            water = water_c(dataset, name, event.date)
            yield Action(event.date, day(event.date), "stock", _stock(event, area, units), _mind(event, water, scenario))
    for removal in strategy.removals:
        if removal.reason == "removal":
            yield Action(removal.date, day(removal.date), "take out", _take(removal, area, units))
    short = {c.species: c for c in harvest_outcome.catches(dataset, scenario) if c.strategy == name and c.falls_short}
    for rule in strategy.harvest:
        caught = ""
        if rule.species in short:
            caught = f", of which about {percent(float(np.median(short[rule.species].share)), 2)} is caught"
        taken = f"{_taken(rule, area, units)}{caught}"
        for season in seasons(rule, run, now):
            yield Action(*season, "harvest", f"Harvest {taken}", species=rule.species, taken=taken)
    for feeding in strategy.feeding:
        for season in seasons(feeding, run, now):
            what = f"Feed {both(feeding.kg_per_ha_day * area, 'catch', units)} of pellets a day in the pond"
            yield Action(*season, "feed", what, "Stop when fish leave any, or gasp.")
    for angling in strategy.angling:
        for season in seasons(angling, run, now):
            what = f"Fish for bass, all released: about {brief(angling.hours_per_ha * area, 2)} hours a year"
            yield Action(*season, "fish", what, "Land them fast; fewer live when the water is hot.")
    for aeration in strategy.aeration:
        for season in seasons(aeration, run, now):
            yield Action(*season, "aerate", _aerate(aeration, units), AERATE_MIND)
    yield from _water(strategy, scenario)
    seen = last_survey(dataset, scenario)
    for date in run.survey_dates:
        if seen is None or (date - seen).days > SESSION_DAYS:  # nearer, it would be of the same survey
            yield Action(date, day(date), "survey", "Survey")
    for year in range(run.start.year, run.end.year + 1):
        first, last = dt.date(year, 6, 1), dt.date(year, 7, 15)
        if run.start <= first and now <= last < run.end:
            yield Action(max(first, now), f"June to mid-July {year}", "seine", "Seine the shore")
        for (month, day_), (end_month, end_day), fertilized, what, mind in UPKEEP:
            first, last = dt.date(year, month, day_), dt.date(year, end_month, end_day)
            wanted = fertility_in(strategy, last) >= FERTILIZED if fertilized else True
            if wanted and last >= now and first < run.end:
                when = f"{dt.date(year, month, 1):%B} to {dt.date(year, end_month, 1):%B} {year}"
                yield Action(max(first, now), when, "upkeep", what, mind)
        begins, ends = dt.date(year, 1, 1), dt.date(year, 2, 28)
        if ends >= now and run.start <= begins < run.end and water_c(dataset, name, begins) < ICE_C:
            yield Action(max(begins, now), f"January and February {year}", "upkeep", UNDER_ICE, UNDER_ICE_MIND)


def fertility_in(strategy: Strategy, day: dt.date) -> float:
    """The fertility that is aimed at on a day."""
    rules = [rule.level for rule in strategy.fertilization if rule.first <= day <= rule.last]
    return rules[0] if rules else strategy.fertility


def _water(strategy: Strategy, scenario: Scenario) -> Iterator[Action]:
    """Fertilizer, lime, plants, level and grass carp."""
    area, units = scenario.pond.area_ha, scenario.units
    for rule in strategy.fertilization:
        when = f"{day(rule.first)} to {day(rule.last)}"
        if rule.level <= FERTILITIES["unfertilized"]:
            what, mind = "No fertilizer any more", "What it gave is lost over two to three years."
        else:
            what, mind = f"Fertilize to a fertility of {brief(rule.level, 2)} (1: a good bloom)", ""
        yield Action(rule.first, when, "fertilize", what, mind)
    for liming in strategy.liming:
        tons = brief(LIME["tons_per_acre"].from_si(liming.tonnes_per_ha), 2)
        what = f"Spread lime, {tons} tons an acre ({brief(liming.tonnes_per_ha, 2)} t/ha), over the whole bottom"
        yield Action(liming.date, day(liming.date), "fertilize", what, "Agricultural limestone; test the water after two months.")
    for low in strategy.drawdown:
        when = f"{day(low.first)} to {day(low.last)}"
        what = f"Draw the pond down to {percent(low.area_share, 2)} of its area"
        yield Action(low.first, when, "level", what, "Ask the state about permits downstream; stop if fish gasp.")
    for carp in strategy.grass_carp:
        what = f"Stock {brief(carp.per_ha * area)} grass carp: {both(carp.per_ha, 'density', units)}"
        yield Action(carp.date, day(carp.date), "stock", what, CARP)
    for before, after in pairwise(strategy.plants):
        if after.share < before.share:
            what = f"Have the plants down to {percent(after.share, 2)} of the area (from {percent(before.share, 2)})"
            mind = "Dying plants use up oxygen: treat a part at a time; herbicides by their label, with the state's leave."
            yield Action(before.date, f"{day(before.date)} to {day(after.date)}", "level", what, mind)


def seasons(rule: Harvest | Feeding | Angling | Aeration, run: Run, now: dt.date) -> Iterator[tuple[dt.date, str]]:
    """The first day, from now on, of a rule's first season that the run holds a day of; its season and years in words.

    Nothing where no season is left: one that is over, and is not to come again, is not a thing to do.
    """
    years = [
        year
        for year in range(run.start.year + rule.from_year - 1, run.start.year + rule.to_year)
        if dt.date(year, *rule.season[1]) >= max(run.start, now) and dt.date(year, *rule.season[0]) < run.end
    ]
    if years:
        span = f"{years[0]}" if len(years) == 1 else f"{years[0]}–{years[-1]}"
        words = f"{day_of_year(rule.season[0])} to {day_of_year(rule.season[1])}, {span}"
        yield max(dt.date(years[0], *rule.season[0]), run.start, now), words


def _stock(event: Stocking, area: float, units: Units) -> str:
    strain = f", {KINDS[event.strain].title}" if event.strain else ""
    return (
        f"Stock {brief(event.per_ha * area)} {PLURAL[event.species]} of {both(event.length_mm, 'length', units)}{strain}: "
        f"{both(event.per_ha, 'density', units)}"
    )


def _mind(event: Stocking, water: float, scenario: Scenario) -> str:
    """What the water, the truck and the law of strains say about a stocking."""
    said = [_mind_water(event, water, scenario.units)]
    if event.haul_hours is not None:
        told = tempering(event, scenario.pond, scenario.units)
        said.append(f"{told[0].upper()}{told[1:]}.")
        if is_fragile(event.species):
            said.append("They are fragile: few to a tank, cool and salted, handled as little as can be.")
    if event.strain:
        said.append(STRAIN)
    return " ".join(filter(None, said))


def _mind_water(event: Stocking, water: float, units: Units) -> str:
    if event.species == "shad" and water < SHAD_COLD_C:
        return f"Water is about {both(water, 'temperature', units)}: too cold for threadfin; wait."
    if water > WARM_C:
        return f"Water is about {both(water, 'temperature', units)}: move at dawn, cool and aerated, temper slowly."
    return ""


def _take(event: Removal, area: float, units: Units) -> str:
    if event.share is not None:
        amount = "all" if event.share == 1 else f"{percent(event.share, 2)} of the"
    elif event.per_ha is not None:
        amount = f"{brief(event.per_ha * area)}"
    else:
        amount = f"{both(event.kg_per_ha or 0.0, 'crop', units)} of"
    return f"Take out {amount} {PLURAL[event.species]}, {window(event.length_mm, SHORTEST_MM, LONGEST_MM, units)}"


def _taken(rule: Harvest, area: float, units: Units) -> str:
    def amount(value: float) -> str:
        if rule.share is not None:
            return f"{percent(value, 2)} of them in each season"
        if rule.per_ha is not None:
            return f"{brief(value * area, 2)} fish a year, {both(value, 'density', units)}"
        return f"{both(value, 'crop', units)} a year"

    given = rule.share if rule.share is not None else rule.per_ha if rule.per_ha is not None else rule.kg_per_ha
    size = window(rule.length_mm, SHORTEST_MM, LONGEST_MM, units)
    text = f"{PLURAL[rule.species]}, {size}: {amount(given or 0.0)}"
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
