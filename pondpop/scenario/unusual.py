"""What is allowed but unlikely in a scenario, told in one line each: nothing is refused. Standard library only.

The limits are choices of ours, well beyond what is commonly done, but for feed (agencies advise at most 20 lb/acre a day
without aeration; Kansas, seen in a summary; ponds of catfish get up to 100 with it, more than a scenario may say), the
power of aerators (15 to 20 kW/ha for shrimp, Boyd 1998, seen in an abstract), lime (1 to 2 tons an acre, Arkansas and Georgia,
seen in summaries) and grass carp (5 to 15 an acre, from memory; 20, Hill 1970, seen in a summary).
"""

import itertools
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from pondpop.scenario.schema import (
    BY_AMOUNT,
    SHORTEST_MM,
    Aeration,
    Costs,
    Feeding,
    Harvest,
    MonthDay,
    Removal,
    Scenario,
    Strategy,
    is_nothing,
)
from pondpop.species.registry import TRAITS
from pondpop.units import CROP, DENSITY, FEED, G_PER_KG, LENGTH, LIME, MM_PER_IN, Family, brief

MOST_BASS_PER_HA = 1235.0  # 500 per acre; 50 to 100 are usual
USUAL_PER_ACRE = {"bass": (50, 100), "bluegill": (500, 1000)}  # common advice of state agencies for new ponds, from memory
MOST_FORAGE_PER_ACRE = {"bluegill": 5000, "redear": 2500, "shad": 10_000, "minnow": 20_000}
SHORTEST_STOCKED_MM = 15.0
LONGEST_FINGERLING_MM = 150.0
MOST_FEED_KG_PER_HA = 20 * FEED["lb_per_acre_day"].factor
MOST_AERATION_KW_PER_HA = 20.0
MOST_LIME_TONNES_PER_HA = 5 * LIME["tons_per_acre"].factor
MOST_CARP_PER_HA = 30 * DENSITY["per_acre"].factor
MOST_HARVEST_KG_PER_HA = 150 * CROP["lb_per_acre"].factor  # of one species and rule; fertilized ponds carry some 300 in all
SHORTEST_TAKEN_MM = 40.0
SHORTEST_HARVESTED_IN = {"bass": 6, "bluegill": 4, "redear": 4}  # what is kept is longer (common practice, no source)
DEAREST_FINGERLING = 20.0  # each, in the scenario's currency
LEAST_FORAGE = 0.5  # weight of other fish over that of bass in a pond; balanced ones have 1.4 to 10 (Swingle 1950)


class Odd(NamedTuple):
    """What should be looked at again, and for whoever writes the file the likely remedy."""

    what: str
    remedy: str = ""

    def __str__(self) -> str:
        return f"{self.what}; {self.remedy}" if self.remedy else self.what


def unusual(scenario: Scenario) -> list[Odd]:
    """What should be looked at again, each once."""
    found: dict[Odd, list[str]] = {}
    for strategy in scenario.strategies.values():
        for odd in (*_of_strategy(strategy, scenario.pond.area_ha), *_dear_fingerlings(strategy, scenario.costs)):
            found.setdefault(odd, []).append(strategy.name)
    every = len(scenario.strategies)
    without = [strategy.name for strategy in scenario.strategies.values() if "bass" not in strategy.species]
    if len(without) < every:
        remedy = "is a name in [[strategies.NAME.…]] another than was meant?"
        found |= {Odd("no bass are stocked or live there, as in other strategies", remedy): without} if without else {}
    told = [
        odd if len(names) == every else odd._replace(what=f"{', '.join(names)}: {odd.what}") for odd, names in found.items()
    ]
    if every > 1:
        common = set.intersection(*(set(strategy.removals) for strategy in scenario.strategies.values()))
        told += [
            Odd(
                f"{strategy.name}: {event.name}, a die-off of one strategy alone",
                "what befalls a pond is no choice: [what_if.NAME]",
            )
            for strategy in scenario.strategies.values()
            for event in strategy.removals
            if event.reason == "die_off" and event not in common
        ]
    told += [*_winter_in_july(scenario), *_goals_apart(scenario)]
    here = {name for strategy in scenario.strategies.values() for name in strategy.species}
    told += [
        Odd(f"what_if.{one.name}: {event.name}, a die-off of {event.species}, which no strategy has")
        for one in scenario.what_if
        for event in one.die_offs
        if event.species not in here
    ]
    return told


def _winter_in_july(scenario: Scenario) -> Iterator[Odd]:
    """Monthly means that begin with another month than January."""
    means = scenario.pond.temperature.monthly_c
    if means and sum(means[:2]) > sum(means[6:8]):
        yield Odd("water that is warmer in January and February than in July and August", "the first mean is January's")


def _goals_apart(scenario: Scenario) -> Iterator[Odd]:
    """Goals for one time of which no pond can meet both, as their ranges lie apart."""
    from pondpop.species.catalogue import standards  # only goals of two options pay for reading it

    targets = standards()["targets"] if len(scenario.goals) > 1 else {}
    wanted = [goal for goal in scenario.goals if isinstance(targets.get(goal.kind), dict)]
    for one, other in itertools.combinations(wanted, 2):
        ranges = [(name, targets[one.kind][name]["psd"], targets[other.kind][name]["psd"]) for name in ("bass", "bluegill")]
        apart = [(name, a, b) for name, a, b in ranges if max(a[0], b[0]) >= min(a[1], b[1])]
        if apart and one.by_year == other.by_year:
            name, (low, high), (least, most) = apart[0]
            yield Odd(
                f"goals {one.kind} and {other.kind}, which no pond meets at one time "
                f"({name} PSD {low}–{high} and {least}–{most})",
                "leave one out, or let weight say which counts more",
            )


def _sizes_and_numbers(strategy: Strategy) -> Iterator[Odd]:
    """Fish of lengths that are hardly ever stocked, or reached; and forage in numbers that are hardly ever stocked."""
    for event in strategy.stocking:
        if event.length_mm < SHORTEST_STOCKED_MM:
            yield Odd(f"{event.name}, {event.species} of {_both(event.length_mm, LENGTH)}", "cm or inches may be meant")
        if event.length_mm > TRAITS[event.species].records_mm[1]:
            yield Odd(f"{event.name}, {event.species} of {_both(event.length_mm, LENGTH)}, longer than they ever become")
        most = MOST_FORAGE_PER_ACRE.get(event.species)
        if most is not None and not event.resident and DENSITY["per_acre"].from_si(event.per_ha) > most * (1 + 1e-9):
            yield Odd(f"{event.name}, {_both(event.per_ha, DENSITY)} {event.species}, far more than are stocked")


def _dear_fingerlings(strategy: Strategy, costs: Costs | None) -> Iterator[Odd]:
    """Small fish at a price that is likely that of them all."""
    for event in strategy.stocking:
        each = event.cost_each
        if each is None and costs is not None:
            each = costs.per_fish.get(event.species)
        if each is None or each <= DEAREST_FINGERLING or event.resident or event.length_mm > LONGEST_FINGERLING_MM:
            continue
        yield Odd(
            f"{event.name}, {event.species} of {_both(event.length_mm, LENGTH)} at a price of {brief(each)} each",
            "a price is that of one fish, not of all of them",
        )


def _far_too_few(strategy: Strategy, area_ha: float) -> Iterator[Odd]:
    """First stockings of so few that the number of the whole pond is likely meant for each acre."""
    settled = {event.species for event in strategy.stocking if event.resident}
    for event in strategy.stocking:
        if event.species not in USUAL_PER_ACRE or event.species in settled or event.length_mm > LONGEST_FINGERLING_MM:
            continue
        low, high = USUAL_PER_ACRE[event.species]
        acre, whole = DENSITY["per_acre"].from_si(event.per_ha), event.per_ha * area_ha
        if acre < low / 2 and low <= round(whole) <= 2 * high and abs(whole - round(whole)) < 1e-6:
            yield Odd(
                f"{event.name}, {brief(whole)} {event.species} in the whole pond, {brief(acre)} per acre, where {low:,} "
                f"to {high:,} per acre are usual",
                f"if {brief(whole)} an acre are meant, write per_acre = {whole:.0f}",
            )


def _little_forage(strategy: Strategy) -> Iterator[Odd]:
    """Fish living there at the start of which bass are most, as where a survey looked for bass only."""
    from pondpop.species.catalogue import standard_weight_g  # only a pond with bass at the start pays for reading it

    bass = others = 0.0  # kg/ha
    there = [event for event in strategy.stocking if event.resident]
    if not any(event.species == "bass" for event in there):
        return
    for event in there:
        weight = event.per_ha * (event.weight_g or standard_weight_g(event.species, event.length_mm)) / G_PER_KG
        bass, others = (bass + weight, others) if event.species == "bass" else (bass, others + weight)
    if others < LEAST_FORAGE * bass:
        yield Odd(
            f"{_both(bass, CROP)} of bass at the start and {_both(others, CROP)} of what they eat",
            "if a survey looked for bass only, write species_sought = bass into effort.csv, and the other fish as "
            "[[stocking]] with resident = true; balanced ponds have 1.4 to 10 times as much of what bass eat as of bass",
        )


def _at_one_time(one: Feeding, other: Feeding | Aeration) -> bool:
    """Whether two rules have a day in common."""
    years = one.from_year <= other.to_year and other.from_year <= one.to_year
    return years and one.season[0] <= other.season[1] and other.season[0] <= one.season[1]


def _fed_without_air(strategy: Strategy) -> Iterable[tuple[Feeding, float]]:
    """The most that all rules together feed on the first day of one, kg/ha, in years in which nothing aerates in its season,
    and that rule; one for each such day of the year.
    """
    most: dict[MonthDay, tuple[Feeding, float]] = {}
    for rule in strategy.feeding:
        first = rule.season[0]
        for year in range(rule.from_year, rule.to_year + 1):
            season = rule._replace(from_year=year, to_year=year)
            if any(_at_one_time(season, aeration) for aeration in strategy.aeration):
                continue
            day = season._replace(season=(first, first))
            given = sum(other.kg_per_ha_day for other in strategy.feeding if _at_one_time(day, other))
            if first not in most or given > most[first][1]:
                most[first] = rule, given
    return most.values()


def _of_strategy(strategy: Strategy, area_ha: float) -> Iterator[Odd]:
    bass = [event for event in strategy.stocking if event.species == "bass"]
    yield from _far_too_few(strategy, area_ha)
    yield from _sizes_and_numbers(strategy)
    yield from _little_forage(strategy)
    forage = [event.date for event in strategy.stocking if event.species != "bass"]
    for event in bass:
        if event.per_ha > MOST_BASS_PER_HA:
            yield Odd(f"{event.name}, {_both(event.per_ha, DENSITY)} bass, where 50 to 100 per acre are usual")
    put_in = [event for event in bass if not event.resident]  # of those that live there `_little_forage` tells
    if put_in and forage and (first := min(put_in, key=lambda event: event.date)).date < min(forage):
        yield Odd(f"{first.name}, bass on {first.date}, before anything they eat ({min(forage)})")
    for feeding, given in _fed_without_air(strategy):
        if given > MOST_FEED_KG_PER_HA:
            yield Odd(f"{feeding.name}, feed of {_both(given, FEED)}, where 20 lb/acre are a limit without aeration")
    for liming in strategy.liming:
        if liming.tonnes_per_ha > MOST_LIME_TONNES_PER_HA:
            yield Odd(f"{liming.name}, lime of {_both(liming.tonnes_per_ha, LIME)}, where 1 to 2 tons/acre are usual")
    for carp in strategy.grass_carp:
        if carp.per_ha > MOST_CARP_PER_HA:
            yield Odd(f"{carp.name}, {_both(carp.per_ha, DENSITY)} grass carp, where 5 to 20 per acre are usual")
    for event in (event for field in BY_AMOUNT for event in getattr(strategy, field) if is_nothing(event)):
        yield Odd(f"{event.name}, an amount of 0, of which nothing comes", "leave it out, unless it is to be varied")
    for aeration in strategy.aeration:
        if aeration.kilowatts > MOST_AERATION_KW_PER_HA * area_ha:
            yield Odd(f"{aeration.name}, {brief(aeration.kilowatts)} kW of aerators, where ponds have at most 20 kW a hectare")
    for removal in strategy.removals:
        if removal.reason == "die_off" and removal.species not in strategy.species:
            yield Odd(f"{removal.name}, a die-off of {removal.species}, which the pond does not have")
    taken: list[Harvest | Removal] = [*strategy.harvest, *strategy.removals]
    for rule in taken:
        if rule.length_mm[1] < SHORTEST_TAKEN_MM:
            yield Odd(f"{rule.name}, {rule.species} shorter than {_both(rule.length_mm[1], LENGTH)}", "inches may be meant")
    for harvest in strategy.harvest:
        least = SHORTEST_HARVESTED_IN.get(harvest.species, 0) * MM_PER_IN
        if harvest.length_mm[0] < least * (1 - 1e-9) and harvest.length_mm[1] >= SHORTEST_TAKEN_MM:
            short = harvest.length_mm[0]
            shortest = f"from {_both(short, LENGTH)} on" if short > SHORTEST_MM else "of any length"
            yield Odd(
                f"{harvest.name}, a harvest of {harvest.species} {shortest}, their young as readily as grown fish",
                f"hardly any are kept that are shorter than {_both(least, LENGTH)}: let length begin there",
            )
        amount = harvest.kg_per_ha or 0.0
        if amount > MOST_HARVEST_KG_PER_HA:
            yield Odd(f"{harvest.name}, a harvest of {_both(amount, CROP)} of {harvest.species} a year, more than ponds give")


def _both(value: float, family: Family) -> str:
    si, us = list(family.values())[:2]
    return f"{brief(us.from_si(value))} {us.words} ({brief(si.from_si(value))} {si.words})"
