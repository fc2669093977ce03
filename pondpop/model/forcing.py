"""What temperature, light and luck make of each day, known before the run. The formulas are those of each process."""

from __future__ import annotations

import numpy as np

from pondpop.model import bioenergetics, feeding, mortality, recruitment
from pondpop.model.inputs import Inputs
from pondpop.scenario import temperature
from pondpop.species import BASS, SPECIES


class DayFactors:
    """What temperature and light, and each member's luck, make of every day of the run.

    water_c [member or 1, day]; renewal [food, day, member], for fertility 1; [day, member, species]: max_intake,
    growth_respired (growth that the energy respired would give; of bass, if they had the body of 100 g) and background
    deaths, all of a fish of 1 g and middle growth, per day, food_ease, spawning and cold_deaths (of a fish of 100 mm, per
    day); bass_search, bass_resting and length_growth (of bass, relative to their best temperature) [day, member].
    """

    def __init__(self, inputs: Inputs) -> None:
        p, year_day = inputs.parameters, inputs.year_day[:, None]
        self.water_c = np.maximum(inputs.water_c + inputs.luck.water_c, temperature.COLDEST_LIQUID_C)
        water_c = np.ascontiguousarray(self.water_c.T)
        t = water_c[:, :, None]
        dome = bioenergetics.temperature_dome(t, p.intake_dome_q, p.intake_optimum_c, p.intake_maximum_c)
        intake = bioenergetics.intake_temperature_factor(
            dome, t, p.feeding_stops_below_c, p.feeding_stop_width_c, p.intake_dome_floor[:, None]
        )
        self.max_intake = intake * (p.max_intake_at_1_g * inputs.luck.growth * inputs.local_growth)
        search = np.maximum(p.search_dome_floor[:, None], dome) ** -p.search_cold_exponent[:, None]
        self.length_growth = np.ascontiguousarray(dome[:, :, BASS])
        self.bass_search = np.ascontiguousarray(intake[:, :, BASS] * search[:, :, BASS])
        self.food_ease = search / p.resource_half_saturation_kg_per_ha
        energy = p.respiration_at_1_g * p.activity_multiplier * p.oxygen_energy_j_per_g[:, None]
        respiration = bioenergetics.respiration_of_day(p, water_c)
        self.growth_respired = respiration * (energy / p.body_energy_j_per_g)
        cold = bioenergetics.winter_cold(water_c, p.winter_rest_below_c, p.winter_rest_width_c)
        self.bass_resting = bioenergetics.resting_share(cold, p.winter_rest_share[:, BASS])
        luck = np.moveaxis(inputs.luck.background_deaths / inputs.local_survival[:, None], 2, 0)[inputs.year]
        self.background_deaths = mortality.background_of_day(p, water_c, luck)
        cold = mortality.cold_deaths(t, p.cold_deaths_per_day, p.cold_deaths_below_c, p.cold_deaths_width_c)
        self.cold_deaths = np.nan_to_num(cold)
        self.renewal = feeding.renewal_of_day(p, water_c, year_day)
        self.spawning = np.stack(
            [recruitment.hatching_of_day(p, k, water_c, year_day) for k in range(len(SPECIES))], axis=2
        )
