"""What temperature, light and luck make of each day, known before the run. The formulas are those of each process."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pondpop.arrays import Array
from pondpop.model import bioenergetics, feeding, fertility, mortality, oxygen, plants, recruitment
from pondpop.model.community import community
from pondpop.model.inputs import Inputs
from pondpop.scenario import COLDEST_LIQUID_C
from pondpop.species import Parameters

DAYS_AT_ONCE = 128  # those of eight years would take a megabyte a member, and more while they are made


class Today(NamedTuple):
    """The factors of one day.

    Intake, respiration (as the growth that the energy respired would give; of those richer when large, if they had the body of
    100 g) and background deaths are of a fish of 1 g and middle growth, per day; length_growth is relative to that at the
    best temperature, cold_deaths are of a fish of 100 mm, per day, renewal is for fertility 1.
    What of them depends on the state of the pond, as intake does on its oxygen, a process puts in their place as a day begins.
    """

    max_intake: Array  # [member, kind], as are the next six
    growth_respired: Array
    background_deaths: Array
    food_ease: Array
    resting: Array
    length_growth: Array
    cold_deaths: Array
    search: Array  # [member, predator]
    intake: Array  # [member or 1, kind], share of the maximum that temperature allows
    renewal: Array  # [food, member]
    cold_kills: bool  # whether any fish can die of it


def water_of_day(inputs: Inputs) -> Array:
    """Temperature of the water of each member and day, °C [member or 1, day]: as expected, luck added, within its spells."""
    water_c = np.maximum(inputs.water_c + inputs.luck.water_c, COLDEST_LIQUID_C)
    if inputs.spell_most_c is not None:
        water_c = np.minimum(water_c, inputs.spell_most_c)
    if inputs.spell_least_c is not None:
        water_c = np.maximum(water_c, inputs.spell_least_c)
    return water_c


def _changes(*by_day: Array | NDArray[np.intp]) -> list[bool]:
    """Whether any of what is [day, …] is another on a day than on the day before; on the first day all is."""
    changes = np.ones(len(by_day[0]), dtype=bool)
    changes[1:] = np.any([(one[1:] != one[:-1]).reshape(len(one) - 1, -1).any(axis=1) for one in by_day], axis=0)
    return changes.tolist()


class DayFactors:
    """What temperature and light, and each member's luck, make of every day of the run, for the kinds of the parameters.

    Known from the start: water_c [member or 1, day]; fertility before luck and, or None, share of the area in plants
    [day, m or 1]; share of it under water [day]; spawning and pulse_due [day, member, kind]; fed and angled: whether any
    fish are, by day; pulses: the kinds of which one is due in some member, by day; oxygen: what the weather makes of it, None
    where it is left out. What is larger is made for some days at a time, `DAYS_AT_ONCE`, and asked for with `of`.
    """

    def __init__(self, inputs: Inputs, p: Parameters) -> None:
        year_day, of_kind = inputs.year_day[:, None], community(p.kinds).species
        self.inputs, self.parameters = inputs, p
        self.water_c = water_of_day(inputs)
        self.fertility = fertility.course(p, inputs)
        self.area_share = np.ones(inputs.days) if inputs.area_share is None else inputs.area_share
        self.plants = plants.share_of_area(p, inputs)
        self.fertility_changes = _changes(inputs.year, self.fertility)
        self.cover_changes = _changes(inputs.cover, self.area_share, *(() if self.plants is None else (self.plants,)))
        self.by_day_c = np.ascontiguousarray(self.water_c.T)
        luck = np.moveaxis(inputs.luck.background_deaths / inputs.local_survival[:, None], 2, 0)
        self.luck_of_deaths = luck[:, :, of_kind]  # [year, member, kind]
        self.fed = [bool(np.any(of_day)) for of_day in inputs.pellets_kg_per_ha]
        self.angled = [bool(np.any(of_day)) for of_day in inputs.angling_hours_per_ha]
        self.pulse_due = recruitment.pulse_due(p, year_day)
        due_in_some = np.asarray(self.pulse_due.any(axis=1)).tolist()
        self.pulses = [[kind for kind, due in enumerate(of_day) if due] for of_day in due_in_some]
        self.oxygen = None if inputs.oxygen is None else oxygen.Days(inputs, p, self.water_c)
        kinds = range(len(p.kinds))
        self.spawning = np.stack([recruitment.hatching_of_day(p, k, self.by_day_c, year_day) for k in kinds], axis=2)
        self.some = SomeDays(self, 0)

    def of(self, day: int) -> Today:
        """The factors of a day of the run."""
        if not 0 <= day - self.some.first < len(self.some.today):
            self.some = SomeDays(self, day - day % DAYS_AT_ONCE)
        return self.some.today[day - self.some.first]


class SomeDays:
    """The factors of some days that follow one another, from `first` on; `today` has those of each."""

    def __init__(self, every: DayFactors, first: int) -> None:
        inputs, p, days = every.inputs, every.parameters, slice(first, first + DAYS_AT_ONCE)
        of_kind, predators = community(p.kinds).species, community(p.kinds).predators
        area_share, stands = every.area_share[days], None if every.plants is None else every.plants[days]
        self.first = first
        water_c = every.by_day_c[days]
        t = water_c[:, :, None]
        dome = bioenergetics.temperature_dome(t, p.intake_dome_q, p.intake_optimum_c, p.intake_maximum_c)
        intake = bioenergetics.intake_temperature_factor(
            dome, t, p.feeding_stops_below_c, p.feeding_stop_width_c, p.intake_dome_floor[:, None]
        )
        luck_of_growth, local_growth = inputs.luck.growth[:, of_kind], inputs.local_growth[of_kind]
        max_intake = intake * (p.max_intake_at_1_g * luck_of_growth * local_growth)
        warmth = np.maximum(p.search_dome_floor[:, None], dome) ** -p.search_cold_exponent[:, None]
        search = np.ascontiguousarray(intake[:, :, :predators] * warmth[:, :, :predators])
        food_ease = warmth / p.resource_half_saturation_kg_per_ha
        if inputs.area_share is not None:  # fish meet as if there were more of them
            search /= area_share[:, None, None]
            food_ease = food_ease / area_share[:, None, None]
        if stands is not None:
            search *= plants.hunting_in_plants(p, stands)[:, :, None]
        energy = p.respiration_at_1_g * p.activity_multiplier * p.oxygen_energy_j_per_g[:, None]
        growth_respired = bioenergetics.respiration_of_day(p, water_c) * (energy / p.body_energy_j_per_g)
        resting = bioenergetics.winter_cold(water_c, p.winter_rest_below_c, p.winter_rest_width_c)
        resting = bioenergetics.resting_share(resting[:, :, None], p.winter_rest_share)
        deaths = mortality.background_of_day(p, water_c, every.luck_of_deaths[inputs.year[days]])
        cold = np.nan_to_num(
            mortality.cold_deaths(t, p.cold_deaths_per_day, p.cold_deaths_below_c, p.cold_deaths_width_c)
        )
        renewal = feeding.renewal_of_day(p, water_c, inputs.year_day[days, None])
        if inputs.area_share is not None:
            renewal = renewal * area_share[:, None]
        kills = [bool(of_day.any()) for of_day in cold]
        self.today = [
            Today(
                max_intake[k],
                growth_respired[k],
                deaths[k],
                food_ease[k],
                resting[k],
                dome[k],
                cold[k],
                search[k],
                intake[k],
                renewal[:, k],
                kills[k],
            )
            for k in range(len(kills))
        ]
