"""Fish that come into a pond, as groups of one origin: stocked, or born in it. Nothing here changes the pond."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pondpop.arrays import Array
from pondpop.model import lengths
from pondpop.model.body import log_standard_weight
from pondpop.model.inputs import StockingInput
from pondpop.model.state import Columns, Pond
from pondpop.species import SPECIES, TRAITS, Parameters
from pondpop.units import DAYS_PER_YEAR

LEAST_SPREAD = 1e-3  # standard deviation of log length of fish that are said to be alike; never none, since it divides


class Groups(NamedTuple):
    """Groups of one origin that are to be added to a state: see `state.State` for shapes and units."""

    columns: Columns
    number: Array
    log_weight: Array
    log_length: Array
    spread: Array
    ration: Array


def types(p: Parameters, species: int) -> tuple[Array, Array, Array]:
    """Growth place and sex of a new origin's groups [group], and the share of its fish in each [member or 1, group]."""
    middle = p.growth_type_middle_share
    outer = (1.0 - middle) / 2.0
    of = TRAITS[SPECIES[species]]
    places, shares = ([-1.0, 0.0, 1.0], [outer, middle, outer]) if of.growth_types == 3 else ([0.0], [np.ones(1)])
    sexes = [1.0, -1.0] if of.sexes == "apart" else [0.0]
    return np.array(places * len(sexes)), np.repeat(sexes, len(places)), np.stack(shares * len(sexes), axis=1)


def groups_of(
    pond: Pond,
    *,
    species: int,
    number: Array,
    female_share: float | Array,
    age_years: float | Array,
    stocked: float,
    origin: int,
    length_mm: float | Array,
    ration: Array,
    length_cv: float | None = None,
    weight_g: float | None = None,
    blood: float | Array = 0.0,
) -> Groups:
    """The groups of one origin; number [member], fish/ha, is split between sexes and growth types.

    female_share, age_years, length_mm and blood are the same for all members, or [member]. Growth types of stocked fish begin at
    lengths apart, by their place in the spread of growth, or so that all fish together have `length_cv`; where that is less
    than the model's, or there is one growth type, it is the spread within each group. Weight is the standard weight of the
    length, times `weight_g` over that of the mean length.
    """
    p = pond.parameters
    growth_z, sex, share = types(p, species)
    females, born, log_mean = (
        np.reshape(value, (-1, 1))
        for value in (female_share, pond.day - DAYS_PER_YEAR * np.asarray(age_years), np.log(length_mm))
    )
    sexes = np.where(sex > 0.0, females, np.where(sex < 0.0, 1.0 - females, 1.0))
    row = (1, sex.size)
    columns = Columns(
        species=np.full(sex.size, species, np.intp),
        growth_z=growth_z[None],
        sex=sex[None],
        female_share=np.where(sex > 0.0, 1.0, np.where(sex < 0.0, 0.0, females)),
        born=np.repeat(born, sex.size, axis=1),
        stocked=np.full(row, stocked),
        origin=np.full(row, origin, np.intp),
        blood=np.repeat(np.reshape(blood, (-1, 1)).astype(float), sex.size, axis=1),
    )
    kind = pond.community.of_species[species]
    intercept, slope = p.standard_weight_intercept[:, kind] * np.log(10.0), p.standard_weight_slope[:, kind]
    isometric_below = np.log(np.nan_to_num(p.isometric_below_mm[:, kind], nan=1e-300))
    mean = np.zeros((pond.state.members, sex.size)) + log_mean
    log_length = mean.copy()
    within = p.length_cv
    if length_cv is not None:
        most = p.length_cv if growth_z.any() else np.inf
        within = np.maximum(LEAST_SPREAD, np.minimum(length_cv, np.full_like(within, most)))
        apart = np.sqrt(np.maximum(0.0, length_cv**2 - within**2) / (1.0 - p.growth_type_middle_share))
        log_length += apart[:, None] * growth_z
    elif origin >= 0:
        growth_type = p.growth_spread[:, kind] * p.growth_type_z[:, None] * growth_z
        log_length += p.stocking_length_growth_exponent[:, None] * growth_type
    spread = np.broadcast_to(within[:, None], log_length.shape)
    log_weight = log_standard_weight(log_length, intercept, slope, isometric_below)
    log_weight += lengths.log_uplift(spread, slope)
    if weight_g is not None:
        log_weight += np.log(weight_g) - log_standard_weight(mean, intercept, slope, isometric_below)
    return Groups(columns, number[:, None] * share * sexes, log_weight, log_length, spread, ration[:, None])


def stocked(pond: Pond, event: StockingInput) -> Groups:
    """The groups of a stocking, less what does not survive it."""
    there = 1.0 if event.uninvited else pond.inputs.luck.stocking_survival[:, event.origin]
    number = event.per_ha * there
    return groups_of(
        pond,
        species=event.species,
        number=np.broadcast_to(number, (pond.state.members,)),
        female_share=event.female_share,
        age_years=event.age_years,
        stocked=-np.inf if event.resident else pond.day,
        origin=event.origin,
        length_mm=event.length_mm,
        length_cv=event.length_cv,
        weight_g=event.weight_g,
        ration=pond.parameters.stocking_ration,
        blood=event.blood,
    )
