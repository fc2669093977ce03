"""Spawning, and the young that come of it: days on which fish can spawn, pulses, recruits and what they cost.

Nothing here changes the pond.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pondpop.arrays import Array, Value, logistic, power, total
from pondpop.model import predation, stocking, whole_fish
from pondpop.model.community import PLANKTON, community
from pondpop.model.state import Pond
from pondpop.species import Parameters, Species
from pondpop.units import DAYS_PER_YEAR

if TYPE_CHECKING:
    from pondpop.model.strains import Strains


def spawning_of_day(p: Parameters, kind: int, water_c: Array, year_day: NDArray[np.intp], later_c: Value = 0.0) -> Array:
    """Spawning that each day's water allows [day, member]: a hazard for fish that spawn once a year, else a share of a cycle.

    1/(1 + e^((T0 − T)/width)), per day times the hazard or over the days of a cycle, within the days of the year on
    which the species spawns (values and sources in the species files; the shape is ours). later_c is added to T0.
    """
    of = community(p.kinds).traits(kind)
    today = logistic((water_c - (p.spawning_from_c[:, kind] + later_c)) / p.spawning_width_c[:, kind])
    if of.spawning == "once a year":
        today = p.spawning_hazard_per_day[:, kind] * today
    else:
        today = today / p.spawning_cycle_days[:, kind]
    if of.has("spawns less in heat"):
        today = today * logistic((p.spawning_until_c[:, kind] - water_c) / p.spawning_width_c[:, kind])
    if of.has("spawns less in autumn"):
        autumn = year_day >= p.spawning_autumn_from_day[:, kind]
        today = np.where(autumn, today * p.spawning_autumn_share[:, kind], today)
    first, last = p.spawning_first_day[:, kind], p.spawning_last_day[:, kind]
    return np.where((year_day < first) | (year_day > last), 0.0, today)


def hatching_of_day(p: Parameters, kind: int, water_c: Array, year_day: NDArray[np.intp], later_c: Value = 0.0) -> Array:
    """Spawning of which each day brings the young to recruit length [day, member]: that of `recruit_delay_days` ago.

    Parts of a day are shared between two days. What was spawned before the run began is not known and counts as none.
    """
    spawning = spawning_of_day(p, kind, water_c, year_day, later_c)
    delay = np.nan_to_num(p.recruit_delay_days[:, kind])
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


def pulse_due(p: Parameters, year_day: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Whether a pulse is due at the end of each day [day, member, kind]: every `pulse_slot_days` days of the year.

    One is due on the first day of a run besides, and takes what fish that begin in the pond have gathered by then.
    """
    due = (year_day[:, :, None] + 1) % p.pulse_slot_days.astype(np.intp) == 0
    due[0] = True
    return np.asarray(due)


def spawning_done(gathered: Array, of: Species) -> Array:
    """Spawning done this year: 1 − e^−H of a hazard H gathered where each spawns once, or the cycles themselves."""
    return -np.expm1(-gathered) if of.spawning == "once a year" else gathered


def recruits(spawners: Array, cap: Value, half: Value) -> Array:
    """Young that reach recruit length per ha from S kg/ha of mature females: cap·S/(S + half).

    Saturating (Beverton & Holt 1957, from memory).
    """
    return np.asarray(cap) * spawners / (spawners + half)


def spawn_left_by_egg_predators(predators: Array, half: Array, exponent: Array) -> Array:
    """Share of spawn that P kg/ha of egg predators leave: 1/(1 + (P/half)^exponent)."""
    return 1.0 / (1.0 + power(predators / half, exponent))


def nests_guarded(males: Array, half: Value) -> Array:
    """Share of the spawn that M kg/ha of mature males guard: M/(M + half); females alone have no young (assumed shape)."""
    return np.asarray(males / (males + half))


class Pulse(NamedTuple):
    """What spawning has gathered and now releases, of one kind."""

    counters: list[int]  # which counters of the state it is told by: that of the kind, or those of its strains
    released: Array  # [member, counter] part of the year's spawning
    young: Array  # [member] fish/ha
    parents_gain: Array  # [member, group of the kind] in log weight, below 0: what spawning costs them
    blood: float | Array  # [member] share of blood of another strain in the young


def counters_of_strains(pond: Pond) -> Iterator[tuple[Strains, list[int]]]:
    """The strains of each species that has several, and the places of their counters of spawning, behind those of kinds."""
    first = len(pond.community)
    for strains in pond.strains:
        yield strains, list(range(first, first + len(strains.names)))
        first += len(strains.names)


def pulse(pond: Pond, kind: int) -> Pulse | None:
    """What spawning has gathered since the last pulse, as young of one group; None where nothing is ready in any member.

    young = released · recruits(S) · left · (richness · plankton / capacity)^e · luck, S the kg/ha of mature females and left
    what egg predators and nests without a male leave of the spawn: more females do not make up for it. Larvae live
    on plankton: fewer recruits where it is grazed down or renews slowly (larval survival follows zooplankton; DeVries
    & Stein 1990, 1992, from memory; the shape is ours).

    Strains of a species spawn in water of their own and share what its females can bring up: released is then the mean over
    females, each as ready as its blood says, and the young have the mean blood of the mothers and fathers that are ready.
    """
    p, s, of, species = pond.parameters, pond.state, pond.community.traits(kind), int(pond.community.species[kind])
    strains, counters = next((own for own in counters_of_strains(pond) if own[0].species == species), (None, [kind]))
    released = spawning_done(s.spawn_gathered[:, counters], of) - s.spawn_released[:, counters]
    due = pond.by_day.pulse_due[pond.day, :, kind, None] & (released >= p.pulse_min_weight[:, None])
    released = np.where(due, released, 0.0)
    if not released.any():
        return None
    columns, groups, ready = s.columns, pond.slices[species], released[:, 0]
    ready_of_group, blood = released, np.zeros(1)  # [member, 1 or group], [member or 1]
    mature = _mature(pond, groups, p.mature_length_mm[:, kind, None])
    females = mature * columns.female_share[:, groups]
    spawners = _kilograms(pond, groups, females)
    if strains is not None:
        ready_of_group = strains.of_groups(released)
        ready = _mean(pond, groups, females, ready_of_group)
        blood = _mean(pond, groups, females * ready_of_group, columns.blood[:, groups])
    left: Value = 1.0
    if of.has("loses eggs"):
        left = left * spawn_left_by_egg_predators(
            predation.egg_predators(pond), p.egg_predator_half_kg_per_ha[:, kind], p.egg_predator_exponent[:, kind]
        )
    if of.sexes == "apart":
        males = _mature(pond, groups, p.male_mature_length_mm[:, kind, None]) * (1.0 - columns.female_share[:, groups])
        left = left * nests_guarded(_kilograms(pond, groups, males), p.male_half_saturation_kg_per_ha[:, kind])
        if strains is not None:
            blood = 0.5 * (blood + _mean(pond, groups, males * ready_of_group, columns.blood[:, groups]))
    most = recruits(spawners, p.recruits_cap_per_ha[:, kind], p.recruits_half_saturation_kg_per_ha[:, kind])
    young = ready * most * left
    larval_food = pond.richness[PLANKTON] * s.plankton / p.plankton_capacity_kg_per_ha
    young = young * power(larval_food, p.recruit_food_exponent[:, kind])
    young = young * pond.inputs.luck.recruitment[:, species, pond.inputs.year[pond.day]]
    young = young * pond.inputs.local_spawning[species]
    if pond.inputs.luck.whole is not None:
        young = young * whole_fish.nests(pond, kind, total(pond.state.number[:, groups] * females * ready_of_group))
    young = np.where(young >= p.pulse_min_per_ha, young, 0.0)
    cost = np.where(
        columns.sex[:, groups] < 0.0, p.spawning_cost_male[:, kind, None], p.spawning_cost_female[:, kind, None]
    )
    parents_gain = np.log1p(-cost * np.minimum(ready_of_group, 1.0) * mature)
    return Pulse(counters, released, young, parents_gain, blood)


def _mature(pond: Pond, groups: slice, from_mm: Array) -> Array:
    """Share of the weight of some groups in fish long and old enough to spawn, as of the next day [member, group]."""
    age = (pond.day + 1 - pond.state.columns.born[:, groups]) / DAYS_PER_YEAR
    of_age = age >= pond.parameters.mature_age_years[:, None]
    return np.asarray(pond.weight_longer(groups, from_mm) * of_age)


def _kilograms(pond: Pond, groups: slice, share: Array) -> Array:
    """Weight of a share of some groups, kg/ha [member]."""
    return total(pond.state.biomass(groups) * share)


def _mean(pond: Pond, groups: slice, share: Array, of: Array) -> Array:
    """Mean of a value over the weight of a share of some groups [member]; 0 where there are none."""
    return _kilograms(pond, groups, share * of) / np.maximum(_kilograms(pond, groups, share), 1e-300)


def young_groups(pond: Pond, kind: int, young: Array, blood: float | Array) -> stocking.Groups:
    """The groups of a pulse of young [member], fish/ha: all of recruit length, sharing one birthday; blood [member or 1]."""
    p = pond.parameters
    return stocking.groups_of(
        pond,
        species=int(pond.community.species[kind]),
        number=young,
        female_share=p.female_share,
        age_years=p.recruit_age_years - 1.0 / DAYS_PER_YEAR,  # that age at the next day's start
        stocked=-np.inf,
        origin=-1,
        length_mm=p.recruit_length_mm[:, kind],
        ration=p.recruit_ration,
        blood=blood,
    )
