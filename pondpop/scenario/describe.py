"""A scenario told back in words, with both systems of units."""

import datetime as dt
import math
from collections.abc import Iterable
from pathlib import Path

from pondpop.scenario.moving import is_fragile, tempering
from pondpop.scenario.resolve import as_scenario
from pondpop.scenario.schema import (
    LONGEST_MM,
    SHORTEST_MM,
    SPREADS,
    Aeration,
    Angling,
    Arrival,
    Costs,
    Drawdown,
    Feeding,
    FertilityLoss,
    Fertilization,
    Goal,
    GrassCarp,
    Harvest,
    Liming,
    Plants,
    Removal,
    Run,
    Scenario,
    Season,
    Spell,
    Stocking,
    Strategy,
    Temperature,
    Trigger,
)
from pondpop.scenario.unusual import unusual
from pondpop.species.registry import KINDS, place_of
from pondpop.units import (
    AREA,
    CROP,
    DENSITY,
    DEPTH,
    EFFORT,
    FEED,
    FEED_PRICE,
    LENGTH,
    LIME,
    POWER,
    TEMPERATURE,
    WEIGHT,
    Family,
    Unit,
    Units,
    brief,
    other,
    percent,
    told_apart,
)

_GOALS = {
    "balanced": "bass and bluegill in the ranges of a balanced pond",
    "big_bass": "bass and bluegill in the ranges of the big-bass option",
    "panfish": "bass and bluegill in the ranges of the panfish option",
    "pounds_harvested": "weight harvested",
    "bass_above": "bass above a weight",
    "cost": "low cost",
}


CARP = "ask the state: many require a permit, some forbid them"


def describe(scenario: Scenario | str | Path) -> str:
    """What was understood of a scenario, or of its file: pond, run, strategies, doubts; one fact a line.

    Raises InputError.

    >>> import pondpop
    >>> print(pondpop.describe("pond.toml").splitlines()[0])
    small pond
    """
    return "\n".join(_Words(as_scenario(scenario)).lines()) + "\n"


class _Words:
    """Tells one scenario; the writer's system of units comes first."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario, self.metric = scenario, scenario.units == "metric"

    def both(self, value: float, family: Family) -> str:
        """75 per acre (185 per ha), or the other way round."""
        first, second = (f"{brief(unit.from_si(value))} {unit.words}" for unit in self._pair(family))
        return f"{first} ({second})"

    def window(self, length_mm: tuple[float, float]) -> str:
        low, high = length_mm
        if low <= SHORTEST_MM and high >= LONGEST_MM:
            return "of all lengths"
        if low <= SHORTEST_MM:
            return f"shorter than {self.both(high, LENGTH)}"
        if high >= LONGEST_MM:
            return f"longer than {self.both(low, LENGTH)}"
        pair = self._pair(LENGTH)
        first, second = (f"{brief(u.from_si(low))} to {brief(u.from_si(high))} {u.words}" for u in pair)
        return f"of {first} ({second})"

    def _pair(self, family: Family) -> list[Unit]:
        units = list(family.values())[:2]
        return units if self.metric else units[::-1]

    def density(self, per_ha: float) -> str:
        count = per_ha * self.scenario.pond.area_ha
        return f"{self.both(per_ha, DENSITY)}, {brief(count)} in the pond"

    def lines(self) -> Iterable[str]:
        scenario = self.scenario
        pond = scenario.pond
        yield scenario.title
        if scenario.source_file:
            yield f"from {scenario.source_file}"
        yield ""
        yield f"Pond: {self.both(pond.area_ha, AREA)}; cover {brief(pond.cover)} times that of an ordinary pond"
        assumed = "" if pond.mean_depth_m is not None else ", assumed as none was given"
        yield f"  mean depth {self.both(pond.depth_m, DEPTH)}{assumed}"
        if pond.alkalinity_mg_l is not None:
            yield f"Alkalinity of the water: {brief(pond.alkalinity_mg_l)} mg/l as CaCO3"
        for loss in pond.fertility_losses:
            yield self.loss(loss)
        yield from self.water(pond.temperature)
        if pond.oxygen_risk:
            yield "Oxygen: a poor night kills fish; how often is assumed"
        else:
            yield "Oxygen: left out; the water is taken to be rich in it at all times"
        yield from self.run(scenario.run)
        for item in scenario.local_knowledge:
            yield f"Local knowledge: {item.process} of {item.species} × {brief(item.multiplier)} ({item.reason})"
        strategies = list(scenario.strategies.values())
        common = set(self.strategy(strategies[0])) if len(strategies) > 1 else set()
        common = common.intersection(*(self.strategy(strategy) for strategy in strategies[1:]))
        if common:
            yield ""
            yield "In every strategy:"
            yield from (line for line in self.strategy(strategies[0]) if line in common)
        for strategy in strategies:
            yield ""
            yield f"Strategy {strategy.name}: {strategy.title}"
            yield from (line for line in self.strategy(strategy) if line not in common)
        for one in scenario.what_if:
            yield ""
            yield f"What if {one.name}: {one.title} (with every strategy, beside the pond without it)"
            yield from map(self.spell, one.spells)
            yield from map(self.removal, one.die_offs)
            yield from map(self.loss, one.fertility_losses)
            yield from map(self.drawdown, one.droughts)
            yield from map(self.plants, one.plants)
            yield from map(self.arrival, one.arrivals)
        yield ""
        yield from (f"unusual: {odd}" for odd in unusual(scenario))
        yield from self.doubt()
        for goal in scenario.goals:
            yield self.goal(goal)
        if scenario.costs is not None:
            yield self.costs(scenario.costs)
        if scenario.consultant:
            yield f"Consultant: {scenario.consultant}"
        if scenario.note:
            yield "Note: " + " / ".join(scenario.note.splitlines())

    def water(self, temperature: Temperature) -> Iterable[str]:
        yield f"Water temperature: {temperature.origin}"
        if temperature.monthly_c is not None:
            for unit in self._pair(TEMPERATURE):
                means = " ".join(brief(unit.from_si(value)) for value in temperature.monthly_c)
                yield f"  monthly means, January to December, {unit.words}: {means}"
        if temperature.readings is not None:
            days, values = zip(*temperature.readings, strict=True)
            span = f"{self.both(min(values), TEMPERATURE)} to {self.both(max(values), TEMPERATURE)}"
            yield f"  {len(days):,} readings from {days[0]} to {days[-1]}, {span}"
            yield "  between readings straight lines; before the first and after the last the mean year of the readings"
        yield from map(self.spell, temperature.spells)

    def spell(self, spell: Spell) -> str:
        most, least = spell.at_most_c, spell.at_least_c
        side, limit = ("at most", most) if most is not None else ("at least", least)
        return f"  {spell.first} to {spell.last}  {spell.name}: water {side} {self.both(limit or 0.0, TEMPERATURE)}"

    def loss(self, loss: FertilityLoss) -> str:
        share = percent(loss.share)
        return f"  {loss.first} to {loss.last}  {loss.name}: {share} of the fertility is lost, and comes back afterwards"

    def run(self, run: Run) -> Iterable[str]:
        last = run.end - dt.timedelta(days=1)
        yield f"Run: {run.years} {_plural(run.years, 'year')}, {run.start} to {last} (year 1 is {run.start.year})"
        dates = run.survey_dates
        days: dict[tuple[int, int], int] = {}
        for date in dates:
            days[date.month, date.day] = days.get((date.month, date.day), 0) + 1
        if len(days) <= 6 and all(count >= run.years for count in days.values()):
            yield f"Surveys: every {' and '.join(_day(*day) for day in sorted(days))}, {len(dates)} in all"
        else:
            yield f"Surveys: {len(dates)}, on {', '.join(map(str, dates))}"

    def strategy(self, strategy: Strategy) -> Iterable[str]:
        yield f"  fertility {brief(strategy.fertility)} (renewal of food, a fertilized pond being 1)"
        dated: list[Stocking | Removal] = [*strategy.stocking, *strategy.removals]
        for event in sorted(dated, key=_by_day_and_fish):
            yield self.stocking(event) if isinstance(event, Stocking) else self.removal(event)
        for rule in strategy.harvest:
            yield self.harvest(rule)
        for feeding in strategy.feeding:
            yield self.feeding(feeding)
        for angling in strategy.angling:
            yield self.angling(angling)
        yield from map(self.fertilization, strategy.fertilization)
        for liming in strategy.liming:
            yield f"  {liming.date}  {liming.name}: lime, {self.both(liming.tonnes_per_ha, LIME)}{_cost(liming)}"
        yield from map(self.plants, strategy.plants)
        yield from map(self.arrival, strategy.arrivals)
        yield from map(self.drawdown, strategy.drawdown)
        for carp in strategy.grass_carp:
            yield f"  {carp.date}  {carp.name}: sterile (triploid) grass carp, {self.density(carp.per_ha)}{_cost(carp)}; {CARP}"
        for aeration in strategy.aeration:
            yield self.aeration(aeration)
        if not strategy.harvest:
            yield "  no harvest"

    def fertilization(self, rule: Fertilization) -> str:
        cost = f", cost {brief(rule.cost)} a year" if rule.cost is not None else ""
        return f"  {rule.first} to {rule.last}  {rule.name}: the pond tends to a fertility of {brief(rule.level)}{cost}"

    def plants(self, point: Plants) -> str:
        return f"  {point.date}  {point.name}: plants on {percent(point.share)} of the area{_cost(point)}"

    def drawdown(self, low: Drawdown) -> str:
        share = percent(low.area_share)
        return f"  {low.first} to {low.last}  {low.name}: water on {share} of the area{_cost(low)}"

    def stocking(self, event: Stocking) -> str:
        more = []
        if event.weight_g is not None:
            more.append(self.both(event.weight_g, WEIGHT))
        if event.length_cv is not None:
            more.append(f"lengths differ by {percent(event.length_cv)}")
        if event.age_years is not None:
            more.append(f"{brief(event.age_years)} {_plural(event.age_years, 'year')} old")
        if event.female_share is not None:
            more.append(f"{percent(event.female_share)} females")
        if event.sexing_error is not None:
            more.append(f"{brief(100 * event.sexing_error)} of 100 taken for females are males, by chance")
        if event.cost_each is not None:
            more.append(f"{brief(event.cost_each)} each")
        if event.number_cv is not None or event.share_cv is not None:
            doubt = math.hypot(event.number_cv or 0.0, event.share_cv or 0.0)
            more.append(f"their number in doubt by {percent(doubt)}")
        if event.strain is not None:
            more.append(KINDS[event.strain].title)
        if event.haul_hours is not None:
            more.append(self.haul(event, event.haul_hours))
        there = "living there:" if event.resident else "stock"
        size = self.both(event.length_mm, LENGTH)
        details = "".join(f", {text}" for text in more)
        return (
            f"  {event.date}  {event.name}: {there} {event.species} {size} long{details}; {self.density(event.per_ha)}"
        )

    def arrival(self, event: Arrival) -> str:
        when = str(event.date)
        if event.day is not None:
            when = f"{percent(event.chance or 0.0)} of years, {_day(*event.day)}"
        strain = "" if event.strain is None else f", {KINDS[event.strain].title}"
        fish = f"{event.species} {self.both(event.length_mm, LENGTH)} long{strain}; {self.density(event.per_ha)}"
        return f"  {when}  {event.name}: wild fish come in uninvited, {fish}"

    def haul(self, event: Stocking, hours: float) -> str:
        fragile = ", fragile fish" if is_fragile(event.species) else ""
        tempered = "" if event.from_water_c is None else ", tempered" if event.tempered else ", not tempered"
        water = f"in {'salted' if event.salted else 'fresh'} water{tempered}{fragile}"
        told = tempering(event, self.scenario.pond, self.scenario.units)
        return f"{brief(hours)} {_plural(hours, 'hour')} by truck {water} ({told})"

    def amount(self, rule: Harvest | Removal, otherwise: bool = False) -> str:
        if rule.share is not None:
            share = rule.otherwise if otherwise and isinstance(rule, Harvest) else rule.share
            return f"{percent(share or 0)} of the fish"
        value = rule.kg_per_ha if rule.kg_per_ha is not None else rule.per_ha
        if otherwise and isinstance(rule, Harvest):
            value = rule.otherwise
        return self.both(value or 0.0, CROP) if rule.kg_per_ha is not None else self.density(value or 0.0)

    def removal(self, event: Removal) -> str:
        verb = "take out" if event.reason == "removal" else "die-off of"
        cost = f", cost {brief(event.cost)}" if event.cost is not None else ""
        what = f"{event.species} {self.window(event.length_mm)}: {self.amount(event)}"
        return f"  {event.date}  {event.name}: {verb} {what}{cost}"

    def harvest(self, rule: Harvest) -> str:
        when = "in each season" if rule.share is not None else "a year"
        text = f"take {self.amount(rule)} {when}"
        if rule.when is not None:
            text += f" if {self.trigger(rule.when)}, otherwise {self.amount(rule, otherwise=True)}"
        span = self.years(rule.from_year, rule.to_year, rule.season)
        return f"  {span}  {rule.name}: {rule.species} {self.window(rule.length_mm)}, {text}"

    def trigger(self, trigger: Trigger) -> str:
        signs = [
            f"{c.quantity} is " + (f"below {brief(c.below)}" if c.below is not None else f"above {brief(c.above or 0)}")
            for c in trigger.conditions
        ]
        joined = (" or " if trigger.needs == "any" else " and ").join(signs)
        fish = trigger.fish_sampled
        seen = f"as a sample of {fish} fish shows it" if fish else "as the pond is, without sampling error"
        return f"at the last survey {joined} ({seen})"

    def feeding(self, rule: Feeding) -> str:
        span = self.years(rule.from_year, rule.to_year, rule.season)
        return f"  {span}  {rule.name}: pellets, {self.both(rule.kg_per_ha_day, FEED)}"

    def angling(self, rule: Angling) -> str:
        span = self.years(rule.from_year, rule.to_year, rule.season)
        share = percent(rule.death_after_release)
        text = f"{self.both(rule.hours_per_ha, EFFORT)} a year, all bass released, {share} of them die"
        return f"  {span}  {rule.name}: {text}"

    def aeration(self, rule: Aeration) -> str:
        span = self.years(rule.from_year, rule.to_year, rule.season)
        when = f"while the water has less than {brief(rule.when_below_mg_l or 0)} mg/l of oxygen at night"
        if rule.hours is not None:
            when = f"from {brief(rule.hours[0])} to {brief(rule.hours[1])} o'clock"
        kind = rule.kind.replace("_", " ")
        return f"  {span}  {rule.name}: {kind}, {self.both(rule.kilowatts, POWER)} in the pond, {when}"

    def years(self, first: int, last: int, season: Season) -> str:
        start = self.scenario.run.start.year - 1
        years = f"{start + first}" if first == last else f"{start + first}–{start + last}"
        return f"{years}, {_day(*season[0])} to {_day(*season[1])}"

    def doubt(self) -> Iterable[str]:
        ensemble = self.scenario.ensemble
        yield f"Ensemble: {ensemble.members:,} {_plural(ensemble.members, 'member')}, seed {ensemble.seed}"
        for name, value in ensemble.spreads.items():
            state = brief(value) if value else "off"
            yield f"  {name}: {state} ({SPREADS[name].words})"

    def goal(self, goal: Goal) -> str:
        above = ""
        if goal.above_g is not None:
            first, second = (weight_of(goal, self.scenario, one) for one in (self.scenario.units, other(self.scenario.units)))
            above = f" of {first} ({second})"
        end = "the end" if goal.by_year is None else f"{self.scenario.run.start.year + goal.by_year - 1}"
        text = f"Goal: {_GOALS[goal.kind]}{above}, by {end}, weight {brief(goal.weight)}"
        return f"{text}; a difference under {self.matters(goal)} does not matter"

    def matters(self, goal: Goal) -> str:
        if goal.kind == "pounds_harvested":
            return self.both(goal.smallest, CROP)
        currency = self.scenario.costs.currency if self.scenario.costs else "USD"
        unit = {"bass_above": "fish in the pond", "cost": currency}.get(goal.kind, "PSD points")
        return f"{brief(goal.smallest)} {unit}"

    def costs(self, costs: Costs) -> str:
        parts = [f"{brief(price)} a {species}" for species, price in costs.per_fish.items()]
        if costs.per_kg_feed is not None:
            lb = brief(FEED_PRICE["per_lb_feed"].from_si(costs.per_kg_feed))
            parts.append(f"feed {lb} a lb ({brief(costs.per_kg_feed)} a kg)")
        if costs.per_hour is not None:
            parts.append(f"{brief(costs.per_hour)} an hour")
        if costs.per_kwh is not None:
            parts.append(f"{brief(costs.per_kwh)} a kWh")
        return f"Costs in {costs.currency}: {', '.join(parts) or 'none given'}"


def weight_of(goal: Goal, scenario: Scenario, units: Units) -> str:
    """The weight above which a goal counts bass, in words that tell it from those of the scenario's other goals."""
    others = (one.above_g for one in scenario.goals if one.above_g is not None)
    return told_apart(goal.above_g or 0.0, others, "weight", units)


def _by_day_and_fish(event: Stocking | Removal) -> tuple[dt.date, bool, int, float, str]:
    """As people list fish: of one day those that come first, as in the pond's day, by species, the small first."""
    comes = isinstance(event, Stocking)
    length = event.length_mm if isinstance(event, Stocking) else event.length_mm[0]
    return event.date, not comes, place_of(event.species), length, event.name


def _cost(event: Liming | Plants | Drawdown | GrassCarp) -> str:
    return f", cost {brief(event.cost)}" if event.cost is not None else ""


def _day(month: int, day: int) -> str:
    return f"{day} {dt.date(2001, month, 1):%B}"


def _plural(count: float, word: str) -> str:
    return word if count == 1 else f"{word}s"
