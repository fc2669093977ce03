"""The fertility of a pond from day to day: it follows what it is given, sooner upward than downward.

Ponds that are no longer fertilised lose half of what fertilising gave in half a year and are as if never fertilised after two
to three (Swingle, Gooch & Rabanal 1963, as read in a summary); phosphorus in new ponds acts within one to two months.
"""

from __future__ import annotations

import numpy as np

from pondpop.arrays import Array
from pondpop.model.inputs import Inputs
from pondpop.species import Parameters


def course(p: Parameters, inputs: Inputs) -> Array:
    """Fertility of each day, before luck [day, m or 1].

    f' = (target − f)/τ, exact over a day, τ being `fertility_rise_days` or `fertility_fall_days`; what is lost is gone on the
    first day of a loss. It begins in equilibrium. Where nothing changes, the targets themselves, to the bit.
    """
    kept = np.ones(inputs.days) if inputs.fertility_lost is None else 1.0 - inputs.fertility_lost
    start = inputs.fertility[0] if inputs.fertility_at_start is None else inputs.fertility_at_start
    target = inputs.fertility * kept
    if (target == start).all():
        return np.asarray(target[:, None])
    rises, falls = np.broadcast_arrays(p.fertility_rise_days, p.fertility_fall_days)
    rising, falling = -np.expm1(-1.0 / rises), -np.expm1(-1.0 / falls)
    out = np.empty((target.size, rising.size))
    now, kept_before = np.full(rising.size, start), 1.0
    for day in range(target.size):
        if kept[day] < kept_before:
            now = now * (kept[day] / kept_before)
        kept_before = kept[day]
        if day > 0:
            now = now + (target[day] - now) * np.where(target[day] > now, rising, falling)
        out[day] = now
    return out
