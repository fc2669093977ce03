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
from pondpop.species import KINDS


def alike(pond: Pond) -> NDArray[np.intp]:
    """A label of each group [member, group] that those alike share; −1 where a group stays by itself.

    Alike are groups whose mean log lengths fall into one interval of `join_within` times `length_cv`. A group that a
    removal has cut stays by itself.
    """
    p, s, c = pond.parameters, pond.state, pond.state.columns
    width = np.broadcast_to((p.join_within * p.length_cv)[:, None], s.number.shape)
    can = (s.number > 0.0) & (c.origin < 0) & (s.low == -UNCUT) & (s.high == UNCUT) & (width > 0.0)
    labels = np.full(s.number.shape, -1, np.intp)
    if not can.any():
        return labels
    interval = np.floor(s.log_length[can] / width[can]).astype(np.intp)
    digits = [
        (np.nonzero(can)[0], s.members),
        (np.broadcast_to(c.kind, s.number.shape)[can], len(KINDS)),
        (_code(c.sex, can), 3),
        (_code(c.growth_z, can), 3),
        (year_of_birth(pond)[can], int(pond.inputs.year[-1]) + 1),
        (interval, int(interval.max()) + 1),
    ]
    label = np.zeros(interval.shape, np.intp)
    for digit, base in digits:
        label = label * base + digit
    labels[can] = label
    return labels


def _code(sign: Array, can: NDArray[np.bool_]) -> NDArray[np.intp]:
    """0, 1 or 2 of what is −1, 0 or 1."""
    return np.broadcast_to(np.sign(sign), can.shape)[can].astype(np.intp) + 1


def year_of_birth(pond: Pond) -> NDArray[np.intp]:
    """Calendar year of the run in which fish born in the pond became recruits [member, group]."""
    recruited = pond.state.columns.born + 365.0 * pond.parameters.recruit_age_years[:, None]
    day = np.broadcast_to(recruited, pond.state.number.shape).round().clip(0, pond.inputs.days - 1)
    return np.asarray(pond.inputs.year[day.astype(np.intp)])
