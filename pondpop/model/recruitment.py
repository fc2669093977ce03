"""Spawning, and the young that come of it: days on which fish can spawn, pulses, recruits and what they cost.

Nothing here changes the pond.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pondpop.arrays import Array, Value, logistic, total
from pondpop.model import predation, stocking
from pondpop.model.state import PLANKTON, Pond, of_species
from pondpop.species import BASS, SHAD, Parameters


def spawning_of_day(p: Parameters, species: int, water_c: Array, year_day: NDArray[np.intp]) -> Array:
    """Spawning that each day's water allows [day, member]: for bass a hazard, for the others a share of a cycle.

    1/(1 + e^((T0 − T)/width)), per day times the hazard or over the days of a cycle, within the days of the year on
    which the species spawns (values and sources in the species files; the shape is ours).
    """
    today = logistic((water_c - p.spawning_from_c[:, species]) / p.spawning_width_c[:, species])
    if species == BASS:
        today = p.spawning_hazard_per_day[:, BASS] * today
    else:
        today = today / p.spawning_cycle_days[:, species]
    if species == SHAD:
        today = today * logistic((p.spawning_until_c[:, SHAD] - water_c) / p.spawning_width_c[:, species])
        autumn = year_day >= p.spawning_autumn_from_day[:, SHAD]
        today = np.where(autumn, today * p.spawning_autumn_share[:, SHAD], today)
    first, last = p.spawning_first_day[:, species], p.spawning_last_day[:, species]
    return np.where((year_day < first) | (year_day > last), 0.0, today)


def hatching_of_day(p: Parameters, species: int, water_c: Array, year_day: NDArray[np.intp]) -> Array:
    """Spawning of which each day brings the young to recruit length [day, member]: that of `recruit_delay_days` ago.

    Parts of a day are shared between two days. What was spawned before the run began is not known and counts as none.
    """
    spawning = spawning_of_day(p, species, water_c, year_day)
    delay = np.nan_to_num(p.recruit_delay_days[:, species])
    if not delay.any():
        return spawning
    days, members = spawning.shape[0], max(spawning.shape[1], delay.size)
    spawning, delay = np.broadcast_to(spawning, (days, members)), np.broadcast_to(delay, (members,))
    whole = np.floor(delay)
    late = delay - whole

    def before(by: Array) -> Array:
        day = np.arange(days)[:, None] - by.astype(np.intp)
        return np.where(day >= 0, np.take_along_axis(spawning, np.maximum(day, 0), axis=0), 0.0)

    return np.asarray((1.0 - late) * before(whole) + late * before(whole + 1.0))


def spawning_done(gathered: Array, species: int) -> Array:
    """Spawning done this year: 1 − e^−H of a hazard H gathered (each bass spawns once), or the cycles themselves."""
    return -np.expm1(-gathered) if species == BASS else gathered


def recruits(spawners: Array, cap: Value, half: Value) -> Array:
    """Young that reach recruit length per ha from S kg/ha of mature females: cap·S/(S + half).

    Saturating (Beverton & Holt 1957, from memory).
    """
    return np.asarray(cap) * spawners / (spawners + half)


def spawn_left_by_egg_predators(predators: Array, half: Array, exponent: Array) -> Array:
    """Share of bass spawn that P kg/ha of egg predators leave: 1/(1 + (P/half)^exponent)."""
    return 1.0 / (1.0 + (predators / half) ** exponent)


def nests_guarded(males: Array, half: Value) -> Array:
    """Share of the spawn that M kg/ha of mature males guard: M/(M + half); females alone have no young (assumed shape)."""
    return np.asarray(males / (males + half))


class Pulse(NamedTuple):
    """What spawning has gathered and now releases, of one species."""

    released: Array  # [member] part of the year's spawning
    young: Array  # [member] fish/ha
    parents_gain: Array  # [member, group of the species] in log weight, below 0: what spawning costs them


def pulse(pond: Pond, species: int) -> Pulse | None:
    """What spawning has gathered since the last pulse, as young of one group; None where nothing has.

    young = released · recruits(S) · (richness · plankton / capacity)^e · luck, S the kg/ha of mature females. Larvae live
    on plankton: fewer recruits where it is grazed down or renews slowly (larval survival follows zooplankton; DeVries
    & Stein 1990, 1992, from memory; the shape is ours).
    """
    p, s, groups = pond.parameters, pond.state, pond.slices[species]
    ready = spawning_done(s.spawn_gathered[:, species], species) - s.spawn_released[:, species]
    ready = np.where(ready >= p.pulse_min_weight, ready, 0.0)
    if not ready.any():
        return None
    columns = s.columns
    of_age = (pond.day + 1 - columns.born[:, groups]) / 365.0 >= p.mature_age_years[0]
    mature = pond.weight_longer(groups, p.mature_length_mm[:, species]) * of_age
    kilograms = s.number[:, groups] * np.exp(s.log_weight[:, groups]) / 1000.0
    spawners = total(kilograms * mature * columns.female_share[:, groups])
    if species == BASS:
        spawners = spawners * spawn_left_by_egg_predators(
            predation.egg_predators(pond), p.egg_predator_half_kg_per_ha[:, BASS], p.egg_predator_exponent[:, BASS]
        )
        male = pond.weight_longer(groups, p.male_mature_length_mm[:, BASS]) * of_age * (1.0 - columns.female_share[:, groups])
        spawners = spawners * nests_guarded(total(kilograms * male), p.male_half_saturation_kg_per_ha[:, BASS])
    young = ready * recruits(
        spawners, p.recruits_cap_per_ha[:, species], p.recruits_half_saturation_kg_per_ha[:, species]
    )
    larval_food = pond.richness[PLANKTON] * s.plankton / p.plankton_capacity_kg_per_ha
    young = young * larval_food ** p.recruit_food_exponent[:, species]
    young = young * pond.inputs.luck.recruitment[:, species, pond.inputs.year[pond.day]]
    young = young * pond.inputs.local_spawning[species]
    young = np.where(young >= p.pulse_min_per_ha, young, 0.0)
    cost = np.where(
        columns.sex[:, groups] < 0.0, of_species(p.spawning_cost_male, species), of_species(p.spawning_cost_female, species)
    )
    return Pulse(ready, young, np.log1p(-cost * np.minimum(ready, 1.0)[:, None] * mature))


def young_groups(pond: Pond, species: int, young: Array) -> stocking.Groups:
    """The groups of a pulse of young [member], fish/ha: all of recruit length, sharing one birthday."""
    p = pond.parameters
    return stocking.groups_of(
        pond,
        species=species,
        number=young,
        female_share=float(p.female_share[0]),
        age_years=float(p.recruit_age_years[0]) - 1.0 / 365.0,  # that age at the next day's start
        stocked=-np.inf,
        origin=-1,
        length_mm=float(p.recruit_length_mm[0, species]),
        ration=p.recruit_ration,
    )
