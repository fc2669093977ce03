"""A pond that begins from a survey: the fish that must live there for a gear to have caught what it did.

Numbers are the catch over the chance of being caught (`observe.gears.expected_catch`, turned round). The numbers of one
species are wrong together by the gear's scatter and its catchability in this pond, and each class by itself by the
scatter of the lengths and the count. Ages are the usual ones at the lengths caught. What the gear hardly takes cannot be
told and is refused. Standard library only.
"""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter
from collections.abc import Mapping
from typing import TYPE_CHECKING

from pondpop.checks import Fact, InputError
from pondpop.scenario.read import Table
from pondpop.scenario.schema import LONGEST_MM, SHORTEST_MM, Run, Stocking, Temperature
from pondpop.scenario.water import expected_on
from pondpop.species.gears import setting, taken_share, warmth
from pondpop.units import LENGTH, MM_PER_IN, TEMPERATURE

if TYPE_CHECKING:
    from pondpop.species.catalogue import Entry

GEARS = ("electrofishing", "seine")  # angling's catch is not in proportion to the fish
LEAST_TAKEN = 0.1  # share of the fish of a length within reach that the gear must take (a choice)


def residents(table: Table, run: Run, area_ha: float, water: Temperature) -> list[Stocking]:
    """The fish living in the pond at the start of the run. Raises InputError."""
    from pondpop.species.catalogue import gears  # only a pond that begins so pays for reading them

    gear = table.choice("gear", GEARS)
    used = gears()[gear]
    unit = "hauls" if gear == "seine" else "hours"
    effort = table.number(unit, 0.05, 200)
    if (other := "hours" if unit == "hauls" else "hauls") in table.raw:
        raise InputError(table.at(other), table.raw[other], f"the {unit} of {gear}", "remove it")
    given_c = table.quantity("water", TEMPERATURE, 0, 45, needed=False)
    water_c = expected_on(water, run.start) if given_c is None else given_c
    from_c, until_c, width_c = (used[f"temperature_{name}_c"].value for name in ("from", "until", "width"))
    intensity = effort * warmth(water_c, from_c, until_c, width_c) / area_ha
    found: dict[str, Stocking] = {}
    rows = table.tables("catch")
    if not rows:
        raise InputError(table.at("catch"), Fact("no catch"), "at least one [[start_from_survey.catch]]")
    caught = Counter[str]()
    for row in rows:
        caught[row.species()] += row.integer("count", 1, 100_000)
    for row in rows:
        event = _resident(row, gear, used, intensity, area_ha, run.start, caught)
        if event.name in found:
            raise InputError(row.path, Fact("a second row"), "one row for each species and length class")
        found[event.name] = event
    return list(found.values())


def _resident(
    row: Table, gear: str, used: Mapping[str, Entry], intensity: float, area_ha: float, start: dt.date, of_species: Counter[str]
) -> Stocking:
    species = row.species()
    low, high = row.quantity("length", LENGTH, SHORTEST_MM, LONGEST_MM, pair=True)
    count = row.integer("count", 1, 100_000)
    reach = setting(used, species, "reach_ha", None).value
    steps = [low + (high - low) * (k + 0.5) / 10 for k in range(10)]
    taken = sum(taken_share(used, species, length) for length in steps) / len(steps)
    if taken < LEAST_TAKEN:
        allowed = f"a length class of which {gear} takes a tenth of the fish within reach or more"
        raise InputError(row.path, Fact(f"{species} of {row.told('length', LENGTH, low, high)}"), allowed, "leave it out")
    caught = -math.expm1(-reach * taken * intensity)  # chance of a fish of the pond to be caught
    per_ha, middle = count / caught / area_ha, (low + high) / 2
    if per_ha > 1e6:
        raise InputError(row.at("count"), count, "a catch of at most 1,000,000 fish per ha", "check effort and count")
    share, independent = count / of_species[species], used["independent_fish"].value
    return Stocking(
        name=f"{species}_{low / MM_PER_IN:.1f}_{high / MM_PER_IN:.1f}in".replace(".", "_"),
        species=species,
        date=start,
        per_ha=per_ha,
        length_mm=middle,
        length_cv=min(0.5, (high - low) / math.sqrt(12) / middle),
        resident=True,
        number_cv=math.hypot(used["catch_cv"].value, used["catchability_spread"].value),
        share_cv=min(2.0, math.sqrt(1 / count + (1 - share) / share / (independent + 1))),
    )
