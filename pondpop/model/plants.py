"""Plants and the level of the water, day by day: how much of a pond is cover, what sterile grass carp leave of it, how much
of the area is under water. Nothing here changes the pond.

Bass ease falls with stems and cover protects bluegill but hardly minnows (Savino & Stein 1982, 1989, as read in summaries);
young bass rise with cover up to a fifth of the area and large ones grow slower where it is much (Durocher et al. 1984, Brown &
Maceina 2002, the same); a lake drawn down by 42 % fed its bass (Heman et al. 1969, the same). The rules are assumed from these.
"""

from __future__ import annotations

import numpy as np

from pondpop.arrays import Array
from pondpop.model.inputs import Inputs
from pondpop.species import Parameters
from pondpop.units import DAYS_PER_CALENDAR_YEAR

DENSEST = 3.0  # cover relative to the ordinary pond beyond which more hides no more (the guide's 60 % of the area)
HARD_TO_GRAZE = 0.1  # part of the plants at which carp find half of what they want (a choice)
LEAST_LEFT = 0.005  # share of the plants that carp leave, from which they come back


def share_of_area(p: Parameters, inputs: Inputs) -> Array | None:
    """Share of the area that stands in plants [day, m or 1]; None where neither plants nor carp are stated.

    Carp: the part g of the plants that is left follows g' = r·g·(1 − g) − r·((1 + h)/2)²·n/n*·g/(g + h), n being the carp
    alive per hectare of plants and n* the density from which they take all, within one to three years: all or nothing.
    """
    if inputs.plants is None and not inputs.carp:
        return None
    ordinary = p.plants_of_ordinary_pond
    there = inputs.cover[:, None] * ordinary
    if inputs.plants is not None:
        known = np.isfinite(inputs.plants)
        there = np.where(known[:, None], np.nan_to_num(inputs.plants)[:, None], there)
    if not inputs.carp:
        return np.asarray(there)
    growth, enough, dying, _ = np.broadcast_arrays(
        p.plants_regrowth_per_year, p.carp_enough_per_ha, p.carp_deaths_per_year, there[0]
    )
    left = np.ones(growth.shape)
    out = np.empty((inputs.days, left.size))
    for day in range(inputs.days):
        alive = (n * np.exp(-dying * (day - put) / DAYS_PER_CALENDAR_YEAR) for put, n in inputs.carp if put <= day)
        carp = sum(alive, np.zeros(left.shape))
        vegetated = np.maximum(there[day], 1e-3)
        eaten = ((1.0 + HARD_TO_GRAZE) / 2.0) ** 2 * carp / vegetated / enough * left / (left + HARD_TO_GRAZE)
        change = growth * (left * (1.0 - left) - eaten)
        left = np.clip(left + change / DAYS_PER_CALENDAR_YEAR, LEAST_LEFT, 1.0)
        out[day] = there[day] * left
    return out


def relative_cover(p: Parameters, share: Array) -> Array:
    """Cover relative to the ordinary pond, of a share of the area in plants."""
    return np.asarray(np.minimum(share / p.plants_of_ordinary_pond, DENSEST))


def hunting_in_plants(p: Parameters, share: Array) -> Array:
    """Search of bass among plants on this share of the area, relative to a pond with few."""
    return np.asarray(1.0 - p.plants_hinder_per_share * np.maximum(0.0, share - p.plants_hinder_from_share))
