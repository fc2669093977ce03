"""Fish that come by truck: how many of them handling, hours, and a step of temperature kill, at once and in the days after.

Deaths are natural logs of the share alive, so that causes add up. Nothing here changes the pond.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pondpop.arrays import Array, Value
from pondpop.model.inputs import Inputs, TruckInput
from pondpop.species import Parameters


def handling_deaths(at_100_mm: Value, length_mm: Value, exponent: Value, water_c: Value, warming: Value, at_c: Value) -> Array:
    """Deaths from being caught and moved: D·(100 mm/L)^e·e^(k·(T − T0)), T being the water that fish come into (assumed shape).

    D and k after Diana & Wahl 2009 and Buckmeier et al. 2005, for bass.
    """
    smaller = np.asarray(exponent) * np.log(100.0 / np.asarray(length_mm))
    return np.asarray(at_100_mm * np.exp(smaller + np.asarray(warming) * (np.asarray(water_c) - at_c)))


def hours_deaths(hours: Value, borne: Value, power: Value) -> Array:
    """Deaths of hours in a truck, or confined: (h/h0)^p (assumed shape; Carmichael et al. 1984, Williamson & Carmichael 1986)."""
    return np.asarray((np.asarray(hours) / borne) ** power)


def shock_deaths(step_c: Value, from_c: Value, scale_c: Value, of_cooling: Value) -> Array:
    """Deaths from a step of temperature into the pond, unless tempered: ((|d| − 3)/6)², more downward. The curve is assumed."""
    beyond = np.maximum(0.0, np.abs(step_c) - from_c) / scale_c
    return np.asarray(beyond**2 * np.where(np.asarray(step_c) < 0.0, of_cooling, 1.0))


def deaths_of_move(p: Parameters, truck: TruckInput, length_mm: float, water_c: Array) -> Array:
    """All deaths of a move [member or 1], without luck; p is of the one kind of fish, water_c [member or 1] the pond's."""
    handled = handling_deaths(
        p.handling_deaths[:, 0], length_mm, p.handling_size_exponent, water_c, p.handling_warming_per_c, p.handling_reference_c
    )
    hauled = handled + hours_deaths(truck.hours, p.haul_hours[:, 0], p.haul_power)
    if truck.salted:
        hauled = hauled * p.salt_left
    if truck.from_c is None or truck.tempered:
        return hauled
    step = shock_deaths(water_c - truck.from_c, p.shock_from_c, p.shock_scale_c, p.shock_of_cooling)
    return np.asarray(hauled + p.shock_deaths[:, 0] * step)


class Haul(NamedTuple):
    """What the move of one stocking costs: at_once [member], share of its fish that die on its day; later [member], deaths per
    fish and day of the rest for `days` [member] days; until: the first day on which nobody dies of it any more; of [member]: the
    ponds that it was for, None for all."""

    species: int
    origin: int
    day: int
    at_once: Array
    later: Array
    days: Array
    until: int
    of: NDArray[np.bool_] | None

    def dead_at_once(self, origin: NDArray[np.intp]) -> Array:
        """Share of each group that dies on the day [member, group], from the origin of each [member or 1, group]."""
        return np.where(origin == self.origin, self.at_once[:, None], 0.0)

    def later_on(self, day: int, origin: NDArray[np.intp]) -> Array:
        """Deaths per fish on a day [member, group], from the origin of each group [member or 1, group]."""
        dying = np.where(day < self.day + self.days, self.later, 0.0)
        return np.where(origin == self.origin, dying[:, None], 0.0)


def hauls_of(inputs: Inputs, water_c: Array) -> tuple[Haul, ...]:
    """The hauls of a block's stockings, with luck. water_c: [member or 1, day]."""
    found = []
    for event in inputs.stockings:
        if event.truck is None:
            continue
        p = inputs.parameters.of_kinds((event.truck.kind,))
        deaths = deaths_of_move(p, event.truck, event.length_mm, water_c[:, event.day])
        if inputs.luck.truck is not None:
            deaths = deaths * inputs.luck.truck[:, event.origin]
        if event.of is not None:
            deaths = np.where(event.of, deaths, 0.0)
        at_once = -np.expm1(-deaths * p.move_deaths_at_once)
        days = np.broadcast_to(p.move_deaths_days, deaths.shape)
        later = deaths * (1.0 - p.move_deaths_at_once) / days
        until = event.day + int(np.ceil(days.max()))
        found.append(Haul(event.species, event.origin, event.day, at_once, later, days, until, event.of))
    return tuple(found)
