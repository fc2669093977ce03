"""Luck of whole fish: in a small pond ten bass are no density, they are ten fish, each of which lives or dies.

Where a group holds fewer fish in the pond than `Inputs.whole_below`, what is left of it after a step, and what each cause
took, are drawn as whole numbers: of x fish expected, floor(x + u) with u even between 0 and 1, which is x on average and,
where few die in a step, the luck of fish that die one by one. A group that has become so few is made whole at the end of
the day; what that adds is counted with the born, what it takes with the last few of a group. So few newcomers are dealt
their sexes and growth types one by one, and so few females make whole nests. Every other process reads the numbers as ever.

The uniforms are a function of the member's own number for the year, of what a group is (species, birthday, stocking, sex,
growth type), of the day and of what is drawn; so they do not depend on who shares a block, and the same fish have the
same luck under every strategy. Predators are fed by what was expected to die; over time that is what dies.
Nothing here changes the pond.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pondpop.arrays import Array, total
from pondpop.model.inputs import Inputs
from pondpop.model.lengths import Left
from pondpop.model.mortality import Deaths
from pondpop.model.state import ALL, Columns, Pond
from pondpop.model.stocking import Groups

Bits = NDArray[np.uint64]

STEP, NIGHT, HAUL, NEW, SPAWN, WHOLE, REMOVAL = range(7)  # what is drawn; removals are numbered from REMOVAL on
NEAR = 1e-9  # fish within which a number counts as whole


class Whole(NamedTuple):
    """What a step leaves and takes, whole where few; fish/ha and kg/ha [member, group]."""

    number: Array  # left
    dead: dict[str, tuple[Array, Array]]  # fish and kg of each cause
    biomass: Array  # after the step, grown
    few: NDArray[np.bool_]


GOLDEN = np.uint64(0x9E3779B97F4A7C15)  # the golden ratio as 64 bits, by which splitmix64 goes on


def mix(bits: Bits) -> Bits:
    """A number of 64 bits from another, as good as drawn (the finalizer of splitmix64; Steele, Lea & Flood 2014, from memory)."""
    bits = (bits ^ (bits >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    bits = (bits ^ (bits >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return np.asarray(bits ^ (bits >> np.uint64(31)))


def names_of_stockings(inputs: Inputs) -> Bits:
    """The number that stands for the name of each stocking [member or 1, origin], and behind them one for fish born in the
    pond, whose origin is −1."""
    own = any(event.of is not None for event in inputs.stockings)
    origins = 1 + max((event.origin for event in inputs.stockings), default=-1)
    names = np.zeros((inputs.members if own else 1, origins + 1), np.uint64)
    for event in inputs.stockings:
        names[slice(None) if event.of is None else event.of, event.origin] = event.luck
    return names


def keys(columns: Columns, stocked_as: Bits) -> Bits:
    """A number for each group [member or 1, group] by what it is; stocked_as: `names_of_stockings`."""
    names = stocked_as[np.arange(len(stocked_as))[:, None], columns.origin]
    told = [
        np.broadcast_to(columns.species, columns.origin.shape).astype(np.int64),
        np.floor(columns.born).astype(np.int64),
        np.rint(2.0 * columns.growth_z).astype(np.int64),
        columns.sex.astype(np.int64),
        names.astype(np.int64),
    ]
    bits = np.zeros((1, 1), np.uint64)
    for one in told:
        bits = mix(bits ^ (one.astype(np.uint64) + GOLDEN))
    return bits


def uniforms(pond: Pond, of: Bits, what: int, part: int = 0) -> Array:
    """Numbers between 0 and 1 for keys [member or 1, …], from the member's own for the year, the day, and what is drawn."""
    assert pond.inputs.luck.whole is not None
    own = (pond.inputs.luck.whole[:, pond.inputs.year[pond.day]] * 2.0**53).astype(np.uint64)
    own = mix(own ^ np.uint64(pond.day * 4096 + part * 64 + what))
    bits = mix(of ^ own.reshape(-1, *[1] * (of.ndim - 1)))
    return np.asarray((bits >> np.uint64(11)).astype(float) * 2.0**-53)


def _floor(fish: Array, u: Array) -> Array:
    return np.floor(np.where(np.abs(fish - np.rint(fish)) < NEAR, np.rint(fish), fish) + u)


def made_whole(pond: Pond) -> Array:
    """Fish/ha of all groups [member, group], those of few whole: a part of a fish is one as often as it is large."""
    return left(pond, pond.state.number, pond.state.number, WHOLE)


def left(pond: Pond, before: Array, after: Array, what: int, groups: slice = ALL) -> Array:
    """Fish/ha of some groups [member, group] that are left of a change: of few a whole number of the pond."""
    few = _few(pond, before)
    if not few.any():
        return after
    u = uniforms(pond, pond.group_keys[:, groups], what)
    return np.where(few, _floor(after * pond.inputs.area_ha, u) / pond.inputs.area_ha, after)


def _few(pond: Pond, number: Array) -> NDArray[np.bool_]:
    return (number * pond.inputs.area_ha < pond.inputs.whole_below) & (number > 0.0)


def left_by_removal(pond: Pond, expected: Left, fish: Array, groups: slice, number: int) -> Left:
    """What the removal of that number on the day leaves of some groups: of few a whole number, of the weight expected of it."""
    share = left(pond, fish, fish * expected.number, REMOVAL + number, groups) / np.maximum(fish, 1e-300)
    weight = expected.weight * np.divide(share, expected.number, out=np.zeros_like(share), where=expected.number > 0.0)
    return expected._replace(number=share, weight=weight)


def deaths(
    pond: Pond, every: Deaths, length: float, alive: Array, weight_alive: Array, shares_left: tuple[Array, Array], growth: Array,
    part: int,
) -> Whole:
    """What the deaths of a step leave and take; shares_left: of number and of weight.

    The causes follow one another: what is left after each is floor(x + u) of what is expected, with one u for all, so that
    each takes a whole number and together they take what is gone.
    """
    number, biomass, area = pond.state.number, pond.state.biomass(), pond.inputs.area_ha
    fish, kilograms = number * alive * length, biomass * weight_alive * length
    left_number, left_weight = shares_left
    expected = number * left_number
    few = _few(pond, number)
    u = uniforms(pond, pond.group_keys, STEP, part)
    remaining = number * area
    now = remaining
    dead = {}
    rates = list(every.rates.items())
    for n, (cause, (where, rate)) in enumerate(rates):
        lost, weight = np.zeros_like(number), np.zeros_like(number)
        lost[where] = fish[where] * rate
        weight[where] = kilograms[where] * every.chosen.get(cause, (where, rate))[1]
        remaining = expected * area if n == len(rates) - 1 else remaining - lost * area
        after = np.where(few, _floor(np.maximum(remaining, 0.0), u), 0.0)
        after = np.minimum(after, now)
        taken = (now - after) / area
        per_fish = np.divide(weight, lost, out=np.zeros_like(lost), where=lost > 0.0)
        dead[cause] = np.where(few, taken, lost), np.where(few, taken * per_fish, weight)
        now = after
    number_left = np.where(few, now / area, expected)
    heavier = np.divide(left_weight, left_number, out=np.ones_like(number), where=left_number > 0.0)  # of none left: nothing
    weight_of_one = biomass / np.maximum(number, 1e-300) * heavier * np.exp(growth * length)
    return Whole(number_left, dead, number_left * weight_of_one, few)


def newcomers(pond: Pond, groups: Groups, stocked_as: Bits) -> Groups:
    """Groups of one origin; where they are few fish in all, whole ones, each dealt its sex and growth type."""
    area = pond.inputs.area_ha
    count = total(groups.number) * area
    few = (count < pond.inputs.whole_below) & (count > 0.0)
    if not few.any():
        return groups
    key = keys(groups.columns, stocked_as)[:, :1]  # [member or 1, 1]
    fish = _floor(count, uniforms(pond, key, NEW)[:, 0])
    most = int(fish[few].max(initial=0.0))
    each = uniforms(pond, mix(np.asarray(key + np.arange(1, most + 1, dtype=np.uint64), np.uint64)), NEW)  # [member, fish]
    ends = np.cumsum(groups.number, axis=1) / np.maximum(count / area, 1e-300)[:, None]  # [member, group]
    there = np.arange(most) < fish[:, None]
    below = ((each[:, :, None] < ends[:, None, :]) & there[:, :, None]).sum(axis=1)
    below[:, -1] = there.sum(axis=1)
    whole = np.diff(below, axis=1, prepend=0) / area
    return groups._replace(number=np.where(few[:, None], whole, groups.number))


def nests(pond: Pond, kind: int, females: Array) -> Array:
    """Whole over expected number of females that spawn [member], from those expected per ha; 1 where they are many."""
    there = females * pond.inputs.area_ha
    few = (there < pond.inputs.whole_below) & (there > 0.0)
    if not few.any():
        return np.ones_like(there)
    u = uniforms(pond, mix(np.full((1, 1), kind + 1, np.uint64)), SPAWN)[:, 0]
    return np.where(few, _floor(there, u) / np.maximum(there, 1e-300), 1.0)
