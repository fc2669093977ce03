"""One row of a record file: what it holds, and what it must hold to be possible. Standard library only.

Inside: mm, g, °C, hours.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from pondpop.checks import MISSING, Fact, InputError
from pondpop.records.csv_rows import date_of, label, measure, needed, number, told, whole, word
from pondpop.species import TRAITS
from pondpop.species.gears import GEARS
from pondpop.species.registry import OTHER_NAMES, SPECIES
from pondpop.units import G_PER_LB, LENGTH, TEMPERATURE, WEIGHT, Family, Unit

EVENTS = ("tagged", "recaptured", "kept")
SEXES = ("female", "male")

MAX_COUNT = 10_000
OLDEST = 25
"""No such fish of a pond lives longer (assumed; bass reach some 16 years, from memory)."""

COARSE_SCALE_G = 1.5
"""A weight may miss its allowed range by this much, so that a small fish can be weighed to the nearest gram."""

_WEIGHT: Family = WEIGHT | {"oz": Unit(G_PER_LB / 16, "oz")}


@dataclass(frozen=True, slots=True)
class Fish:
    """One row of a survey: a fish, or `count` fish of one length that were neither weighed nor tagged."""

    line: int
    date: dt.date
    gear: str
    species: str
    length_mm: float
    weight_g: float | None
    count: int
    tag: str | None
    sex: str | None
    age: int | None = None
    """Whole years, as read."""


@dataclass(frozen=True, slots=True)
class Effort:
    """What one gear was worked on one day, and the species taken up."""

    line: int
    date: dt.date
    gear: str
    amount: float
    """Hours, or hauls of a seine."""
    water_c: float | None
    species: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Catch:
    """Fish of one species and length class caught on one angling trip; species None: a trip without fish."""

    line: int
    date: dt.date
    trip: str
    hours: float
    species: str | None
    shortest_mm: float | None
    longest_mm: float | None
    kept: int
    released: int


@dataclass(frozen=True, slots=True)
class TagEvent:
    """A marked fish in the hand."""

    line: int
    tag: str
    date: dt.date
    species: str
    event: str
    length_mm: float | None
    weight_g: float | None


def _size(cells: dict[str, str], species: str) -> tuple[float | None, float | None]:
    """Length and weight of one fish, the weight possible for the length."""
    length = measure(cells, "length", LENGTH, *TRAITS[species].records_mm, f" for {species}")
    weight = measure(cells, "weight", _WEIGHT, 0.005, 15_000.0)
    if weight is not None and length is not None:
        low, high = (c * length**3 / 1e5 for c in TRAITS[species].records_condition)
        if not low - COARSE_SCALE_G <= weight <= high + COARSE_SCALE_G:
            raise InputError(
                "weight",
                Fact(told(cells, "weight", _WEIGHT, weight)),
                f"{told(cells, 'weight', _WEIGHT, low, high)} for a {species} of {told(cells, 'length', LENGTH, length)}",
                "check length, weight and units",
            )
    return length, weight


def fish(line: int, cells: dict[str, str]) -> Fish:
    date, gear, species = date_of(cells), word(cells, "gear", GEARS), word(cells, "species", SPECIES, OTHER_NAMES)
    length, weight = _size(cells, species)
    count = whole(cells, "count", 1, MAX_COUNT)
    tag = label(cells, "tag") if cells.get("tag") else None
    sex = word(cells, "sex", SEXES) if cells.get("sex") else None
    if (count or 1) > 1 and (tag or weight is not None):
        what = "a tag" if tag else "a weight"
        raise InputError("count", count, f"1 on a row with {what}", "write such fish one by one")
    age = whole(cells, "age", 0, OLDEST)
    return Fish(line, date, gear, species, needed(length, "length", "a length"), weight, count or 1, tag, sex, age)


def effort(line: int, cells: dict[str, str]) -> Effort:
    date, gear = date_of(cells), word(cells, "gear", GEARS)
    hours, hauls = number(cells, "hours", 0.05, 100, " hours"), whole(cells, "hauls", 1, 200)
    mine, other = ("hauls", "hours") if gear == "seine" else ("hours", "hauls")
    if cells[other]:
        raise InputError(other, cells[other], f"nothing for {gear}", f"its effort is in {mine}")
    amount = needed(hauls if gear == "seine" else hours, mine, f"the {mine} of {gear}")
    species = tuple(dict.fromkeys(cells.get("species_sought", "").split()))
    for name in species:
        word({"species_sought": name}, "species_sought", SPECIES, OTHER_NAMES)
    return Effort(line, date, gear, float(amount), measure(cells, "water", TEMPERATURE, 0, 45), species or SPECIES)


def catch(line: int, cells: dict[str, str]) -> Catch:
    date, trip = date_of(cells), label(cells, "trip")
    hours = needed(number(cells, "hours", 0.05, 500, " hours"), "hours", "the hours of the trip")
    kept, released = (needed(whole(cells, n, 0, MAX_COUNT), n, "a number of fish") for n in ("kept", "released"))
    shortest, longest = (measure(cells, stem, LENGTH, 0, 900) for stem in ("shortest", "longest"))
    if not cells["species"]:
        if kept or released:
            raise InputError("species", MISSING, "the species of the fish caught")
        return Catch(line, date, trip, hours, None, None, None, 0, 0)
    species = word(cells, "species", SPECIES, OTHER_NAMES)
    if longest is not None and longest <= (shortest or 0):
        least = told(cells, "shortest", LENGTH, shortest) if shortest else "0"
        raise InputError("longest", Fact(told(cells, "longest", LENGTH, longest)), f"a length above the shortest, {least}")
    if shortest is not None and shortest > TRAITS[species].records_mm[1]:
        most = told(cells, "shortest", LENGTH, TRAITS[species].records_mm[1])
        raise InputError("shortest", Fact(told(cells, "shortest", LENGTH, shortest)), f"at most {most} for {species}")
    return Catch(line, date, trip, hours, species, shortest, longest, kept, released)


def tag_event(line: int, cells: dict[str, str]) -> TagEvent:
    tag, date = label(cells, "tag"), date_of(cells)
    species, event = word(cells, "species", SPECIES, OTHER_NAMES), word(cells, "event", EVENTS)
    return TagEvent(line, tag, date, species, event, *_size(cells, species))
