"""The events and rules of a scenario, named and in order: what is done (stocking, harvest, removals, feeding, angling), and
what befalls the pond."""

import datetime as dt
import math
from collections.abc import Callable
from itertools import pairwise
from typing import Any, TypeVar

from pondpop import checks
from pondpop.checks import MISSING, Fact, InputError
from pondpop.scenario.read import (
    AMOUNTS,
    KEYS,
    MOST_EVENTS,
    Table,
    keys,
    month_day,
    naming,
    season,
    word_or_number,
    yes_or_no,
)
from pondpop.scenario.schema import (
    AERATORS,
    COLDEST_LIQUID_C,
    CONDITION_QUANTITIES,
    DEFAULT_AERATION_BELOW_MG_L,
    FERTILITIES,
    LONGEST_MM,
    SHORTEST_MM,
    Aeration,
    Angling,
    Arrival,
    Condition,
    Drawdown,
    Feeding,
    FertilityLoss,
    Fertilization,
    GrassCarp,
    Harvest,
    Liming,
    Plants,
    Removal,
    Run,
    Season,
    Spell,
    Stocking,
    Trigger,
    WhatIf,
)
from pondpop.species.registry import STRAINS, TRAITS
from pondpop.units import CROP, EFFORT, FEED, LENGTH, LIME, POWER, TEMPERATURE, WEIGHT, density

DEFAULT_ARRIVAL = (5, 15)  # assumed: spring floods
DEFAULT_SEASON: Season = ((3, 1), (10, 31))
DEFAULT_DEATH_AFTER_RELEASE = 0.10  # assumed, within the 2–34 % that studies give
DEFAULT_FISH_SAMPLED = 100  # Weithman, Reynolds & Simpson 1979: a fixed sample of stock-length bass


_Event = TypeVar(
    "_Event",
    Stocking, Harvest, Removal, Feeding, Angling, Aeration,
    Fertilization, Liming, Plants, Drawdown, GrassCarp, Spell, FertilityLoss, Arrival
)


class Events:
    """Makes the lists of events of a strategy, within one run and pond."""

    def __init__(self, run: Run, area_ha: float) -> None:
        self.run, self.density = run, density(area_ha)

    def lists(self, table: Table, common: dict[str, Any] | None) -> dict[str, tuple[Any, ...]]:
        """The lists of a strategy: the common ones and its own; or, with common None, the common ones."""
        result: dict[str, tuple[Any, ...]] = {
            "stocking": self._list(table, "stocking", self._stocking, common),
            "harvest": self._list(table, "harvest", self._harvest, common),
            "removals": self._list(table, "removal", self._removal, common, "removals"),
            "feeding": self._list(table, "feeding", self._feeding, common),
            "angling": self._list(table, "angling", self._angling, common),
            "fertilization": self._list(table, "fertilization", self._fertilization, common),
            "liming": self._list(table, "liming", self._liming, common),
            "plants": self._list(table, "plants", self._plants, common),
            "drawdown": self._list(table, "drawdown", self._drawdown, common),
            "grass_carp": self._list(table, "grass_carp", self._grass_carp, common),
            "aeration": self._list(table, "aeration", self._aeration, common),
            "arrivals": self._list(table, "arrival", self._arrival, common, "arrivals"),
        }
        count = sum(map(len, result.values()))
        if count > MOST_EVENTS:
            raise InputError(table.path or "events", Fact(f"{count} events and rules"), f"at most {MOST_EVENTS}")
        for before, after in pairwise(result["fertilization"]):
            if after.first <= before.last:
                given = Fact(f"{after.name}, which begins before {before.name} ends")
                raise InputError(table.at("fertilization"), given, "one level a day", "let one end before the next begins")
        dates = [point.date for point in result["plants"]]
        if len(set(dates)) < len(dates):
            raise InputError(table.at("plants"), Fact("two shares on one day"), "one share a day")
        if common is not None and not result["stocking"]:
            raise InputError(f"{table.path}.stocking", MISSING, "at least one stocking", "a pond without fish stays so")
        return result

    def spells(self, table: Table) -> tuple[Spell, ...]:
        return self._list(table, "spell", self._spell)

    def fertility_losses(self, table: Table) -> tuple[FertilityLoss, ...]:
        return self._list(table, "fertility_loss", self._fertility_loss)

    def what_if(self, name: str, table: Table) -> WhatIf:
        """What befalls the pond under every strategy. Raises InputError if nothing does."""
        found = WhatIf(
            name=name,
            title=table.get("title", lambda p, v: checks.text(p, v, 120), name.replace("_", " ").strip()),
            spells=self.spells(table),
            die_offs=self._list(table, "die_off", self._die_off),
            fertility_losses=self.fertility_losses(table),
            droughts=self._list(table, "drought", self._drawdown),
            plants=self._list(table, "plants", self._plants),
            arrivals=self._list(table, "arrival", self._arrival),
        )
        for yearly in (event for event in found.arrivals if event.date is None):
            raise InputError(f"{table.path}.arrival", yearly.chance, "a date: what if says what happens then", "give date")
        if not any(found[2:]):
            raise InputError(table.path, Fact("nothing that befalls the pond"), f"a list such as [[{table.path}.spell]]")
        return found

    def _list(
        self,
        table: Table,
        key: str,
        make: Callable[[Table], _Event],
        common: dict[str, Any] | None = None,
        field: str | None = None,
    ) -> tuple[_Event, ...]:
        """Named, and in an order that does not depend on the order of the file."""
        events: list[_Event] = list(common[field or key]) if common else []
        taken = {event.name for event in events}
        unnamed = []
        for item in table.tables(key):
            with naming(item.path, item.raw):
                event = make(item)
            if "name" not in item.raw:
                unnamed.append(event)
                continue
            if event.name in taken:
                raise InputError(item.at("name"), event.name, f"a name that no other {key} of the strategy has")
            taken.add(event.name)
            events.append(event)
        for event in sorted(unnamed, key=repr):
            name, copy = event.name, 1
            while name in taken:
                copy += 1
                name = f"{event.name}_{copy}"
            taken.add(name)
            events.append(event._replace(name=name))
        return tuple(sorted(events, key=lambda e: (_day(e, self.run.start), e.name)))

    def _name(self, table: Table, default: str) -> str:
        return str(table.get("name", checks.label, default))

    def _date(self, table: Table, default: Any = MISSING, key: str = "date") -> dt.date:
        run = self.run
        date: dt.date = table.get(key, lambda p, v: checks.day(p, v, run.start, run.end, " (within the run)"), default)
        return date

    def _days(self, table: Table, begin: Any = MISSING, end: Any = MISSING) -> tuple[dt.date, dt.date]:
        """The first and the last day of what goes on for some time, within the run."""
        first, last = self._date(table, begin, "from"), self._date(table, end, "to")
        if last < first:
            raise InputError(table.at("to"), last, f"a date from {first} on", "the last day is not before the first")
        return first, last

    def _years(self, table: Table) -> dict[str, Any]:
        last = self.run.last_year
        first = table.run_year("from_year", self.run, 1, 1)
        return {
            "season": table.get("season", season, DEFAULT_SEASON),
            "from_year": first,
            "to_year": table.run_year("to_year", self.run, first, last),
        }

    def _window(self, table: Table) -> tuple[float, float]:
        low, high = table.quantity("length", LENGTH, 0, LONGEST_MM, needed=False, pair=True) or (0.0, LONGEST_MM)
        if high <= SHORTEST_MM:
            key = table.one_of("length", LENGTH) or "length"
            allowed = f"[from, to] with to above {table.told('length', LENGTH, SHORTEST_MM)}"
            raise InputError(table.at(key), table.raw[key], allowed, "no fish here is shorter")
        return max(low, SHORTEST_MM), high  # the model has no shorter fish, so 0 is no limit

    def _amount(self, table: Table, prefix: str, most_share: float) -> dict[str, Any]:
        """Exactly one of kg_per_ha, per_ha and share, from whichever key it is given in."""
        key = table.one_of(prefix, AMOUNTS)
        assert key is not None
        unit = key.removeprefix(f"{prefix}_")
        if unit == "share":
            return {"share": table.number(key, 0, most_share)}
        if unit in CROP:
            return {"kg_per_ha": table.quantity(prefix, CROP, 0, 2000)}
        return {"per_ha": table.quantity(prefix, self.density, 0, 1e6)}

    def _stocking(self, table: Table) -> Stocking:
        species, resident = table.species(), table.get("resident", yes_or_no, False)
        date = self._date(table, self.run.start if resident else MISSING)
        if resident and date != self.run.start:
            raise InputError(
                table.at("date"), date, f"the start, {self.run.start}, for fish that live there", "leave it out"
            )
        _wants_length(table, species)
        length = table.quantity("length", LENGTH, SHORTEST_MM, LONGEST_MM)
        return Stocking(
            name=self._name(table, f"{species}_resident" if resident else f"{species}_{date}"),
            species=species,
            date=date,
            per_ha=table.quantity("", self.density, 0, 1e6),
            length_mm=length,
            length_cv=table.number("length_cv", 0, 0.5, None),
            weight_g=table.weight_of(length),
            age_years=table.number("age_years", 0, 15, None),
            female_share=table.number("female_share", 0, 1, None),
            resident=resident,
            cost_each=table.number("cost_each", 0, 10_000, None),
            number_cv=table.number("number_cv", 0, 2, None),
            share_cv=table.number("share_cv", 0, 2, None),
            strain=self._strain(table, species),
            sexing_error=table.number("sexing_error", 0, 0.5, None),
            **self._truck(table, resident),
        )

    def _arrival(self, table: Table) -> Arrival:
        species = table.species()
        by_date = "date" in table.raw
        for key in ("chance", "day") if by_date else ():
            if key in table.raw:
                raise InputError(table.at(key), table.raw[key], "a date, or a chance in each year", "remove date or this")
        date = self._date(table) if by_date else None
        day = None if by_date else table.get("day", month_day, DEFAULT_ARRIVAL)
        return Arrival(
            name=self._name(table, f"{species}_arrival" if date is None else f"{species}_arrival_{date}"),
            species=species,
            per_ha=table.quantity("", self.density, 0, 1e6),
            length_mm=table.quantity("length", LENGTH, SHORTEST_MM, LONGEST_MM),
            date=date,
            day=day,
            chance=None if by_date else table.number("chance", 0, 1),
            strain=self._strain(table, species),
        )

    def _truck(self, table: Table, resident: bool) -> dict[str, Any]:
        """How the fish come, where hours in a truck are given; nothing else says that there is one."""
        given = [key for key in ("haul_hours", *keys("from_water", TEMPERATURE), "tempered", "salted") if key in table.raw]
        if given and (resident or "haul_hours" not in given):
            allowed = "no truck: these fish live there at the start" if resident else "haul_hours beside it, hours in the truck"
            raise InputError(table.at(given[0]), table.raw[given[0]], allowed, "leave it out" if resident else "")
        from_c = table.quantity("from_water", TEMPERATURE, 0, 40, needed=False)
        if "tempered" in given and from_c is None:
            allowed = "from_water_f or from_water_c beside it, the temperature of the truck's water"
            raise InputError(table.at("tempered"), table.raw["tempered"], allowed)
        return {
            "haul_hours": table.number("haul_hours", 0, 72, None),
            "from_water_c": from_c,
            "tempered": table.get("tempered", yes_or_no, None),
            "salted": table.get("salted", yes_or_no, None),
        }

    def _strain(self, table: Table, species: str) -> str | None:
        """A strain other than the species' own, which is None."""
        own = TRAITS[species].own_strain
        if own is None:
            if "strain" in table.raw:
                some = " and ".join(one.name for one in TRAITS.values() if one.own_strain)
                raise InputError(table.at("strain"), table.raw["strain"], f"no strain: only {some} has strains", "leave it out")
            return None
        strain = table.choice("strain", [own, *STRAINS[species]], own)
        return None if strain == own else str(strain)

    def _harvest(self, table: Table) -> Harvest:
        species = table.species()
        amount = self._amount(table, "", 0.99)
        when = _trigger(table.table("when")) if "when" in table.raw else None
        otherwise = 0.0 if when else None
        key = table.one_of("otherwise", AMOUNTS, needed=False)
        if key is not None:
            other = self._amount(table, "otherwise", 0.99)
            if when is None:
                raise InputError(table.at(key), table.raw[key], "a condition, when = {…}, beside it")
            if other.keys() != amount.keys():
                raise InputError(table.at(key), table.raw[key], "the same kind of amount as when the condition holds")
            otherwise = next(iter(other.values()))
        return Harvest(
            name=self._name(table, f"{species}_harvest"),
            species=species,
            length_mm=self._window(table),
            **self._years(table),
            **amount,
            when=when,
            otherwise=otherwise,
        )

    def _removal(self, table: Table) -> Removal:
        species, date = table.species(), self._date(table)
        reason = table.choice("reason", ("removal", "die_off"), "removal")
        return Removal(
            name=self._name(table, f"{species}_{reason}_{date}"),
            species=species,
            date=date,
            length_mm=self._window(table),
            **self._amount(table, "", 1.0),
            reason=reason,
            cost=table.number("cost", 0, 1e7, None),
        )

    def _die_off(self, table: Table) -> Removal:
        species, date = table.species(), self._date(table)
        name, window = self._name(table, f"{species}_die_off_{date}"), self._window(table)
        return Removal(name, species, date, window, **self._amount(table, "", 1.0), reason="die_off")

    def _spell(self, table: Table) -> Spell:
        first, last = self._days(table)
        side = table.one_of("", [f"{side}_{unit}" for side in ("at_most", "at_least") for unit in TEMPERATURE])
        most = (side or "").startswith("at_most")
        limit = table.quantity("at_most" if most else "at_least", TEMPERATURE, COLDEST_LIQUID_C, 40)
        name = self._name(table, f"{'cold' if most else 'hot'}_{first}")
        return Spell(name, first, last, limit, None) if most else Spell(name, first, last, None, limit)

    def _fertility_loss(self, table: Table) -> FertilityLoss:
        first, last = self._days(table)
        return FertilityLoss(self._name(table, f"loss_{first}"), first, last, table.number("share", 0, 0.9))

    def _cost(self, table: Table) -> float | None:
        cost: float | None = table.number("cost", 0, 1e7, None) if "cost" in KEYS[table.kind] else None
        return cost

    def _fertilization(self, table: Table) -> Fertilization:
        run = self.run
        by_date = [key for key in ("from", "to") if key in table.raw]
        by_year = [key for key in ("from_year", "to_year") if key in table.raw]
        if by_date and by_year:
            raise InputError(table.at(by_year[0]), table.raw[by_year[0]], "days or years, not both", f"remove {by_date[0]}")
        if by_date:
            first, last = self._days(table, run.start, run.end - dt.timedelta(days=1))
        else:
            begin = table.run_year("from_year", run, 1, 1)
            until = table.run_year("to_year", run, begin, run.last_year)
            first = max(run.start, dt.date(run.start.year + begin - 1, 1, 1))
            last = min(run.end - dt.timedelta(days=1), dt.date(run.start.year + until - 1, 12, 31))
        level = table.get("level", lambda p, v: word_or_number(p, v, FERTILITIES, 0.1, 2))
        return Fertilization(self._name(table, f"fertilization_{first}"), level, first, last, self._cost(table))

    def _liming(self, table: Table) -> Liming:
        date = self._date(table)
        dose = table.quantity("", LIME, 0, 20)
        return Liming(self._name(table, f"liming_{date}"), date, dose, self._cost(table))

    def _plants(self, table: Table) -> Plants:
        date = self._date(table)
        return Plants(self._name(table, f"plants_{date}"), date, table.number("share", 0, 1), self._cost(table))

    def _drawdown(self, table: Table) -> Drawdown:
        first, last = self._days(table)
        share = table.number("area_share", 0.1, 1)
        return Drawdown(self._name(table, f"{table.kind}_{first}"), first, last, share, self._cost(table))

    def _grass_carp(self, table: Table) -> GrassCarp:
        date = self._date(table)
        per_ha = table.quantity("", self.density, 0, 1000)
        return GrassCarp(self._name(table, f"grass_carp_{date}"), date, per_ha, self._cost(table))

    def _feeding(self, table: Table) -> Feeding:
        return Feeding(self._name(table, "feeding"), table.quantity("", FEED, 0, 50), **self._years(table))

    def _angling(self, table: Table) -> Angling:
        return Angling(
            name=self._name(table, "angling"),
            hours_per_ha=table.quantity("", EFFORT, 0, 10_000),
            death_after_release=table.number("death_after_release", 0, 1, DEFAULT_DEATH_AFTER_RELEASE),
            **self._years(table),
        )

    def _aeration(self, table: Table) -> Aeration:
        if "hours" in table.raw and "when_below_mg_l" in table.raw:
            raise InputError(table.at("when_below_mg_l"), table.raw["when_below_mg_l"], "hours or this, not both")
        hours = table.get("hours", _hours, None)
        below = None if hours else table.number("when_below_mg_l", 0.5, 6, DEFAULT_AERATION_BELOW_MG_L)
        kind = table.choice("kind", AERATORS)
        power = table.quantity("power", POWER, 0.01, 500)
        return Aeration(self._name(table, kind), kind, power, **self._years(table), hours=hours, when_below_mg_l=below)


def _hours(path: str, value: object) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise InputError(path, value, "two hours of the 24-hour clock, like [22, 7]")
    first, last = (checks.number(checks.entry(path, i), v, 0, 24) for i, v in enumerate(value))
    if first == last:
        raise InputError(path, value, "two hours that differ", "[0, 24] is all day")
    return first, last


def _day(event: Any, start: dt.date) -> dt.date:
    """The day by which an event is put in order."""
    first: dt.date = getattr(event, "first", start)
    return getattr(event, "date", None) or first


def _wants_length(table: Table, species: str) -> None:
    """Refuses fish that are told by weight alone, with the length at which such a fish is of standard weight."""
    if table.one_of("length", LENGTH, needed=False) or not table.one_of("weight", WEIGHT, needed=False):
        return
    from pondpop.species.catalogue import standards  # only this refusal has use for it

    key = table.one_of("weight", WEIGHT) or ""
    weight = table.quantity("weight", WEIGHT, 0.001, 15_000)
    yardsticks = standards()["standard_weight"]
    row = next((row for name, row in yardsticks.items() if name == species or name.startswith(f"{species}_")), None)
    lengths = [f"length_{suffix}" for suffix in LENGTH][::-1]
    remedy = f"give {checks.alternatives(lengths)}"
    if row is not None:
        usual = 10 ** ((math.log10(weight) - row["intercept"]) / row["slope"])
        suffix = "in" if key == "weight_lb" else "mm"
        told = f"{LENGTH[suffix].from_si(usual):.0f}"
        fish = f"a {species} of {table.told('weight', WEIGHT, weight)}"
        remedy = f"{fish} is about {told} {suffix} long: give length_{suffix} = {told}"
    raise InputError(table.at(key), table.raw[key], "a length beside the weight", remedy)


def _trigger(table: Table) -> Trigger:
    needs: Any = table.one_of("", ("any", "all"))
    items = table.raw[needs]
    if not isinstance(items, list) or not 1 <= len(items) <= 10:
        allowed = 'a list of 1 to 10 conditions like {quantity = "bass_psd", below = 40}'
        raise InputError(table.at(needs), items, allowed)
    conditions = []
    for i, item in enumerate(items):
        condition = Table(item, checks.entry(table.at(needs), i), "conditions")
        side = condition.one_of("", ("below", "above"))
        limit = condition.number(side or "", 0, 200)
        conditions.append(Condition(condition.choice("quantity", CONDITION_QUANTITIES), **{str(side): limit}))
    sampled = table.integer("fish_sampled", 0, 1000, DEFAULT_FISH_SAMPLED)
    return Trigger(tuple(conditions), needs, sampled or None)
