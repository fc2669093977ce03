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


class Today(NamedTuple):
    """The factors of one day, as `DayFactors` has them.

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

    water_c [member or 1, day]; fertility before luck and, or None, share of the area in plants [day, m or 1]; share of it under
    water [day]; renewal [food, day, member], for fertility 1;
    [day, member, kind]: max_intake,
    growth_respired (growth that the energy respired would give; of those richer when large, if they had the body of 100 g)
    and background deaths, all of a fish of 1 g and middle growth, per day, food_ease, spawning, resting, length_growth
    (relative to that at the best temperature), cold_deaths (of a fish of 100 mm, per day) and pulse_due; search
    [day, member, predator]; cold, fed: whether any fish die of it, are fed, by day; pulses: the kinds of which one is due in
    some member, by day; oxygen: what the weather makes of it, None where it is left out.
    """

    def __init__(self, inputs: Inputs, p: Parameters) -> None:
        year_day, of_kind, predators = inputs.year_day[:, None], community(p.kinds).species, community(p.kinds).predators
        self.water_c = water_of_day(inputs)
        self.fertility = fertility.course(p, inputs)
        self.area_share = np.ones(inputs.days) if inputs.area_share is None else inputs.area_share
        self.plants = plants.share_of_area(p, inputs)
        self.fertility_changes = _changes(inputs.year, self.fertility)
        self.cover_changes = _changes(inputs.cover, self.area_share, *(() if self.plants is None else (self.plants,)))
        water_c = np.ascontiguousarray(self.water_c.T)
        t = water_c[:, :, None]
        dome = bioenergetics.temperature_dome(t, p.intake_dome_q, p.intake_optimum_c, p.intake_maximum_c)
        intake = bioenergetics.intake_temperature_factor(
            dome, t, p.feeding_stops_below_c, p.feeding_stop_width_c, p.intake_dome_floor[:, None]
        )
        luck_of_growth, local_growth = inputs.luck.growth[:, of_kind], inputs.local_growth[of_kind]
        self.max_intake = intake * (p.max_intake_at_1_g * luck_of_growth * local_growth)
        search = np.maximum(p.search_dome_floor[:, None], dome) ** -p.search_cold_exponent[:, None]
        self.length_growth = dome
        self.intake = intake
        self.search = np.ascontiguousarray(intake[:, :, :predators] * search[:, :, :predators])
        if inputs.area_share is not None:  # fish meet as if there were more of them
            self.search /= self.area_share[:, None, None]
        if self.plants is not None:
            self.search *= plants.hunting_in_plants(p, self.plants)[:, :, None]
        self.food_ease = search / p.resource_half_saturation_kg_per_ha
        if inputs.area_share is not None:
            self.food_ease = self.food_ease / self.area_share[:, None, None]
        energy = p.respiration_at_1_g * p.activity_multiplier * p.oxygen_energy_j_per_g[:, None]
        respiration = bioenergetics.respiration_of_day(p, water_c)
        self.growth_respired = respiration * (energy / p.body_energy_j_per_g)
        cold = bioenergetics.winter_cold(water_c, p.winter_rest_below_c, p.winter_rest_width_c)
        self.resting = bioenergetics.resting_share(cold[:, :, None], p.winter_rest_share)
        luck = np.moveaxis(inputs.luck.background_deaths / inputs.local_survival[:, None], 2, 0)[inputs.year][:, :, of_kind]
        self.background_deaths = mortality.background_of_day(p, water_c, luck)
        cold = mortality.cold_deaths(t, p.cold_deaths_per_day, p.cold_deaths_below_c, p.cold_deaths_width_c)
        self.cold_deaths = np.nan_to_num(cold)
        self.fed = [bool(np.any(of_day)) for of_day in inputs.pellets_kg_per_ha]
        self.cold = [bool(worst.any()) for worst in self.cold_deaths.max(axis=1)]
        self.renewal = feeding.renewal_of_day(p, water_c, year_day)
        if inputs.area_share is not None:
            self.renewal = self.renewal * self.area_share[:, None]
        self.pulse_due = recruitment.pulse_due(p, year_day)
        due_in_some = np.asarray(self.pulse_due.any(axis=1)).tolist()
        self.pulses = [[kind for kind, due in enumerate(of_day) if due] for of_day in due_in_some]
        self.oxygen = None if inputs.oxygen is None else oxygen.Days(inputs, p, self.water_c)
        self.spawning = np.stack([recruitment.hatching_of_day(p, k, water_c, year_day) for k in range(len(p.kinds))], axis=2)

    def of(self, day: int) -> Today:
        """The factors of a day of the run."""
        return Today(
            self.max_intake[day],
            self.growth_respired[day],
            self.background_deaths[day],
            self.food_ease[day],
            self.resting[day],
            self.length_growth[day],
            self.cold_deaths[day],
            self.search[day],
            self.intake[day],
            self.renewal[:, day],
        )
