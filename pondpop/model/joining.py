"""Which groups have become alike, so that one can stand for them. Nothing here changes the pond.

Pulses of young of one year differ when they are born and hardly when they are large. Only fish born in the pond in one
calendar year, of one kind, sex and growth type, can be alike: stocked fish stay with their event, and ages can be read.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pondpop.arrays import Array
from pondpop.model.lengths import UNCUT
from pondpop.model.state import Pond
from pondpop.species import SPECIES
from pondpop.units import DAYS_PER_YEAR

FARTHEST = 1.0  # difference of mean log length, relative to `length_cv`, beyond which no groups join


def alike(pond: Pond) -> NDArray[np.intp]:
    """A label of each group [member, group] that those alike share; −1 where a group stays by itself.

    Neighbours in length of one brood, sex and growth type are alike if to put them together changes the lengths of the
    brood little. Where they hold shares f and g of it and their mean log lengths are d apart, 4·f·g/(f + g)·d² is at most
    (`join_within` · `length_cv`)²: the halves of a brood join within that distance, small parts from farther away. The shares
    are of its fish or of its weight, whichever gives more. Of neighbours the nearest by that measure join first. A
    group that a removal has cut stays by itself.
    """
    p, s, c = pond.parameters, pond.state, pond.state.columns
    labels = np.full(s.number.shape, -1, np.intp)
    can = (s.number > 0.0) & (c.origin < 0) & (s.low == -UNCUT) & (s.high == UNCUT) & (p.join_within > 0.0)[:, None]
    if not can.any():
        return labels
    member, column = np.nonzero(can)
    brood = (member * len(SPECIES) + c.species[column]) * pond.inputs.years + year_of_birth(pond)[can]
    cell = (brood * 3 + _code(c.sex, can)) * 3 + _code(c.growth_z, can)
    order = np.lexsort((s.log_length[can], cell))
    brood, cell = brood[order], cell[order]
    number, log_length = s.number[can][order], s.log_length[can][order]
    weight = number * np.exp(s.log_weight[can][order])
    fish, kilograms = (each / np.bincount(brood, weights=each)[brood] for each in (number, weight))  # shares of the brood
    farthest = np.broadcast_to(FARTHEST * p.length_cv, s.members)[member][order]
    within = np.broadcast_to(p.join_within * p.length_cv, s.members)[member][order]
    label = np.arange(cell.size)
    while True:
        apart = np.diff(log_length)
        part = np.maximum(_joint(fish), _joint(kilograms))
        change = np.where((cell[1:] == cell[:-1]) & (apart <= farthest[1:]), 4.0 * part * (apart / within[1:]) ** 2, np.inf)
        beside = np.concatenate([[np.inf], change, [np.inf]])
        joins = (change <= 1.0) & (change < beside[:-2]) & (change <= beside[2:])
        if not joins.any():
            break
        one, other = np.flatnonzero(joins), np.flatnonzero(joins) + 1
        both = fish[one] + fish[other]
        log_length[one] = (fish[one] * log_length[one] + fish[other] * log_length[other]) / both
        fish[one] = both
        kilograms[one] += kilograms[other]
        stays = np.concatenate([[True], ~joins])
        label = (np.cumsum(stays) - 1)[label]
        cell, log_length, fish, kilograms, farthest, within = (
            each[stays] for each in (cell, log_length, fish, kilograms, farthest, within)
        )
    in_place = np.empty_like(label)
    in_place[order] = label
    labels[can] = in_place
    return labels


def _joint(share: Array) -> Array:
    """f·g/(f + g) of neighbours, that part of the square of their distance which is variance between them."""
    return np.asarray(share[1:] * share[:-1] / (share[1:] + share[:-1]))


def _code(sign: Array, can: NDArray[np.bool_]) -> NDArray[np.intp]:
    """0, 1 or 2 of what is −1, 0 or 1."""
    return np.broadcast_to(np.sign(sign), can.shape)[can].astype(np.intp) + 1


def year_of_birth(pond: Pond) -> NDArray[np.intp]:
    """Calendar year of the run in which fish born in the pond became recruits [member, group]."""
    recruited = pond.state.columns.born + DAYS_PER_YEAR * pond.parameters.recruit_age_years[:, None]
    day = np.broadcast_to(recruited, pond.state.number.shape).round().clip(0, pond.inputs.days - 1)
    return np.asarray(pond.inputs.year[day.astype(np.intp)])
