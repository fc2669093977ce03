"""A pond that begins from a survey: the fish that must live there for a gear to have caught what it did.

Numbers are the catch over the chance of being caught (`observe.gears.expected_catch`, turned round). The numbers of one
species are wrong together by the gear's scatter and its catchability in this pond, and each class by itself by the
scatter of the lengths and the count. Ages are the usual ones at the lengths caught, weights those that were weighed, or else
of full condition. What the gear hardly takes cannot be told and is refused. Standard library only.
"""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from pondpop.checks import Fact, InputError
from pondpop.scenario.read import Table, read
from pondpop.scenario.schema import LONGEST_MM, SHORTEST_MM, Run, Stocking, Temperature
from pondpop.scenario.water import expected_on, inside
from pondpop.species.gears import setting, taken_share, warmth
from pondpop.units import LENGTH, MM_PER_IN, TEMPERATURE, joined

if TYPE_CHECKING:
    from pondpop.records import Records
    from pondpop.records.surveys import LastCatch
    from pondpop.species.catalogue import Entry

GEARS = ("electrofishing", "seine")  # angling's catch is not in proportion to the fish
MOST_DAYS_AFTER = 30  # from a survey to a start with its fish (a choice)
LEAST_TAKEN = 0.1  # share of the fish of a length within reach that the gear must take (a choice)


def residents(table: Table, run: Run, area_ha: float, water: Temperature, folder: str | Path | None) -> list[Stocking]:
    """The fish living in the pond at the start of the run. Raises InputError.

    folder: where records may lie, which need not be written into the table.
    """
    from pondpop.species.catalogue import gears  # only a pond that begins so pays for reading them

    if "records" in table.raw:
        table = _of_records(table, run, folder)
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
    counts = [row.integer("count", 1, 100_000) for row in rows]
    caught = Counter[str]()
    for row, count in zip(rows, counts, strict=True):
        caught[row.species()] += count
    for row, count in zip(rows, counts, strict=True):
        event = _resident(row, count, caught[row.species()], gear, used, intensity, area_ha, run.start)
        if event.name in found:
            raise InputError(row.path, Fact("a second row"), "one row for each species and length class")
        found[event.name] = event
    return list(found.values())


def begun_with(path: str | Path, start: dt.date) -> list[str]:
    """The survey with which a scenario begins where its records say it, in lines, with what of its catch, and which rows of
    the records, are left out; nothing where it begins otherwise."""
    from pondpop.records import read_records
    from pondpop.records.told import left_out, slips_of

    begun = read(path).get("start_from_survey", {})
    if "records" not in begun:
        return []
    records = read_records(Path(path).parent / begun["records"])
    found = _begun_with(records, (begun["gear"],) if "gear" in begun else GEARS, start)
    lines = [] if found is None else [_in_words(found)]
    if records.left_out:
        lines += [f"{left_out(records)} of {begun['records']}:", *(f"  {slip}" for slip in slips_of(records))]
    return lines


def _in_words(found: LastCatch) -> str:
    """The survey with which a pond begins, and of its catch what its gear hardly takes."""
    unit = "haul" if found.gear == "seine" else "hour"
    effort = f"{found.amount:g} {unit}{'' if found.amount == 1 else 's'}"
    caught, taken = Counter[str](), _taken(found)
    for (species, _), count in found.fish.items():
        caught[species] += count
    fish = joined(f"{count} {species}" for species, count in caught.items())
    text = f"The fish that live there are told by the survey of {_days(found)}, {effort} of {found.gear}: {fish}"
    few = [f"{n} {key[0]} of {key[1]} to {key[1] + 1} in" for key, n in found.fish.items() if key not in taken]
    return f"{text}; left out, as {found.gear} hardly takes them: {joined(few)}." if few else f"{text}."


def class_in(inch: int) -> tuple[float, float]:
    """The inch class as a scenario states it, which knows no fish of 0 in."""
    return (inch or 0.2, inch + 1)


def weight_in(found: LastCatch, species: str, inch: int) -> float | None:
    """The weight of a fish in the middle of an inch class, g, in the condition that was seen; None if none was weighed."""
    from pondpop.species.catalogue import standard_weight_g

    condition = found.condition.get((species, inch))
    return condition and condition * standard_weight_g(species, sum(class_in(inch)) / 2 * MM_PER_IN)


def share_of_class(used: Mapping[str, Entry], species: str, inch: int) -> float:
    """The share of the fish of an inch class within reach that a gear takes."""
    steps = [(inch + (k + 0.5) / 10) * MM_PER_IN for k in range(10)]
    return sum(taken_share(used, species, length) for length in steps) / len(steps)


def _of_records(table: Table, run: Run, folder: str | Path | None) -> Table:
    """The table as its records fill it: the last survey of known effort before the start, without what the gear hardly takes."""
    from pondpop.records import read_records

    for key in table.raw:
        if key not in ("records", "gear"):
            raise InputError(table.at(key), table.raw[key], "records alone, which say it", "remove it, or the records")
    path = table.at("records")
    place = table.get("records", lambda p, v: inside(p, v, folder, "a folder of records"))
    wanted = (table.choice("gear", GEARS),) if "gear" in table.raw else GEARS
    try:
        records = read_records(place)
    except InputError as error:
        raise InputError(path, Fact(str(error)), "a folder of records that can be read", "mend them first") from None
    found = _begun_with(records, wanted, run.start)
    if found is None:
        needed = "a survey by electrofishing or seine with its effort in effort.csv"
        raise InputError(path, Fact("records without one"), needed, "add the hours or hauls of the survey")
    if not _fits(found, run.start):
        allowed = f"a start on the days of a survey or at most {MOST_DAYS_AFTER} days after it"
        raise InputError("run.start", run.start, allowed, f"the last survey is of {_days(found)}: write start = {found.last}")
    raw = {
        "gear": found.gear,
        "hauls" if found.gear == "seine" else "hours": found.amount,
        "catch": [
            {"species": species, "length_in": list(class_in(inch)), "count": count}
            | ({"weight_g": weight} if (weight := weight_in(found, species, inch)) else {})
            for (species, inch), count in _taken(found).items()
        ],
    }  # fmt: skip
    return Table(raw if found.water_c is None else raw | {"water_c": found.water_c}, table.path, "start_from_survey")


def _begun_with(records: Records, wanted: Sequence[str], start: dt.date) -> LastCatch | None:
    """The last survey that fits the start, of the first gear that has one; if none fits, the last there is."""
    from pondpop.records.surveys import last_catches

    every = [found for found in last_catches(records, wanted) if _taken(found)]
    return next((found for found in every if _fits(found, start)), every[0] if every else None)


def _fits(found: LastCatch, start: dt.date) -> bool:
    return found.first <= start <= found.last + dt.timedelta(days=MOST_DAYS_AFTER)


def _taken(found: LastCatch) -> dict[tuple[str, int], int]:
    """The fish of a catch by species and inch class, without the classes that the gear hardly takes."""
    from pondpop.species.catalogue import gears

    used = gears()[found.gear]
    return {key: count for key, count in found.fish.items() if share_of_class(used, *key) >= LEAST_TAKEN}


def _days(found: LastCatch) -> str:
    return f"{found.first}" if found.first == found.last else f"{found.first} to {found.last}"


def _resident(
    row: Table, count: int, of_all: int, gear: str, used: Mapping[str, Entry], intensity: float, area_ha: float, start: dt.date
) -> Stocking:
    species = row.species()
    low, high = row.quantity("length", LENGTH, SHORTEST_MM, LONGEST_MM, pair=True)
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
    share, independent = count / of_all, used["independent_fish"].value
    return Stocking(
        name=f"{species}_{low / MM_PER_IN:.1f}_{high / MM_PER_IN:.1f}in".replace(".", "_"),
        species=species,
        date=start,
        per_ha=per_ha,
        length_mm=middle,
        length_cv=min(0.5, (high - low) / math.sqrt(12) / middle),
        weight_g=row.weight_of(middle),
        resident=True,
        number_cv=math.hypot(used["catch_cv"].value, used["catchability_spread"].value),
        share_cv=min(2.0, math.sqrt(1 / count + (1 - share) / share / (independent + 1))),
    )
