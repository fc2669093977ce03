"""The fertility of a pond from day to day: it follows what it is given, sooner upward than downward.

Ponds that are no longer fertilised lose half of what fertilising gave in half a year and are as if never fertilised after two
to three (Swingle, Gooch & Rabanal 1963, as read in a summary); phosphorus in new ponds acts within one to two months.
"""

from __future__ import annotations

import numpy as np

from pondpop.arrays import Array
from pondpop.model.inputs import Inputs
from pondpop.scenario import FERTILITIES
from pondpop.species import Parameters


def course(p: Parameters, inputs: Inputs) -> Array:
    """Fertility of each day, before luck [day, m or 1].

    f' = (target − f)/τ, exact over a day, τ being `fertility_rise_days` or `fertility_fall_days`; what is lost is gone on the
    first day of a loss. It begins in equilibrium. Where nothing changes, the targets themselves, to the bit.
    """
    kept = np.ones((inputs.days, 1)) if inputs.fertility_lost is None else 1.0 - inputs.fertility_lost.reshape(inputs.days, -1)
    levels = inputs.fertility.reshape(inputs.days, -1)
    start = levels[0] if inputs.fertility_at_start is None else np.atleast_1d(inputs.fertility_at_start)
    if inputs.alkalinity_mg_l is None and (levels * kept == start).all():
        return np.asarray(levels)
    answer = response(p, inputs)  # [day, m]
    target = fertilized(levels, answer) * kept
    start = fertilized(start, answer[0])
    rises, falls, start, _ = np.broadcast_arrays(p.fertility_rise_days, p.fertility_fall_days, start, target[0])
    rising, falling = -np.expm1(-1.0 / rises), -np.expm1(-1.0 / falls)
    out = np.empty((inputs.days, rising.size))
    now, kept_before = start.copy(), np.ones(kept.shape[1])
    for day in range(inputs.days):
        if (kept[day] < kept_before).any():
            now = np.where(kept[day] < kept_before, now * (kept[day] / kept_before), now)
        kept_before = kept[day]
        if day > 0:
            now = now + (target[day] - now) * np.where(target[day] > now, rising, falling)
        out[day] = now
    return out


def response(p: Parameters, inputs: Inputs) -> Array:
    """Share of what fertiliser gives in hard water that the pond's alkalinity lets it give [day, m].

    min(1, alkalinity/enough)^e (assumed shape). Lime lifts the alkalinity in proportion to its dose and is flushed out.
    """
    if inputs.alkalinity_mg_l is None:
        return np.ones((inputs.days, 1))
    days = np.arange(inputs.days)[:, None]
    alkalinity = np.full((inputs.days, 1), inputs.alkalinity_mg_l)
    for day, dose in inputs.limings:
        since = np.maximum(days - day, 0)
        alkalinity = alkalinity + np.where(days >= day, dose * p.lime_mg_l_per_t_per_ha * np.exp(-since / p.lime_days), 0.0)
    return np.asarray(np.minimum(1.0, alkalinity / p.alkalinity_enough_mg_l) ** p.alkalinity_exponent)


def fertilized(level: Array, response: Array) -> Array:
    """A level of fertility where fertiliser gives only a share of what it could; what the pond has without it stays."""
    own = FERTILITIES["unfertilized"]
    return np.where(level > own, own + (level - own) * response, level) if (response < 1.0).any() else np.asarray(level)
