"""What the move of fish asks for: how long they are tempered, in words. Standard library only."""

from __future__ import annotations

from pondpop.scenario.schema import Pond, Stocking
from pondpop.scenario.water import expected_on
from pondpop.units import TEMPERATURE, Units, both

UP_F, DOWN_F, MINUTES = 8.0, 5.0, 30.0  # at most so many °F up, or down, in so many minutes (LSU AgCenter, seen in a summary)
RATES = "8 °F (4.4 °C) up or 5 °F (2.8 °C) down in half an hour (LSU AgCenter)"
FRAGILE_FROM = 0.03  # deaths after handling from which fish are called fragile (a choice; bass have 0.0125)


def tempering_minutes(from_c: float, to_c: float) -> float:
    """Minutes in which fish are brought from one temperature of water to another.

    >>> round(tempering_minutes(20.0, 20.0 + 16 / 1.8)), round(tempering_minutes(20.0, 20.0 - 10 / 1.8))
    (60, 60)
    """
    step_f = (to_c - from_c) / TEMPERATURE["f"].factor
    return MINUTES * abs(step_f) / (UP_F if step_f > 0.0 else DOWN_F)


def is_fragile(species: str) -> bool:
    """Whether handling kills many of a species."""
    from pondpop.species.catalogue import find  # only fish that are moved have use for it

    return find(f"{species}.handling_deaths").value >= FRAGILE_FROM


def tempering(event: Stocking, pond: Pond, units: Units) -> str:
    """How long the fish of a truck are to be tempered into the pond's expected water of that day."""
    if event.from_water_c is None:
        return f"measure the truck's water and the pond's, and temper by at most {RATES}"
    to_c = expected_on(pond.temperature, event.date)
    here, there = (both(water, "temperature", units) for water in (to_c, event.from_water_c))
    minutes = tempering_minutes(event.from_water_c, to_c)
    told = f"{minutes:.0f} minute{'' if round(minutes) == 1 else 's'}"
    return f"tempering takes {told}, from {there} to some {here} in the pond: at most {RATES}"
