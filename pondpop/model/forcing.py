"""Factors known before a step: those of each day, from temperature and light, and those of each column of fish.

They depend on parameters, weather and luck, never on how many fish there are.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pondpop.model import bioenergetics, life
from pondpop.model.bioenergetics import logistic
from pondpop.model.inputs import Inputs
from pondpop.model.state import Columns
from pondpop.scenario import temperature
from pondpop.species import BASS, BLUEGILL, MINNOW, SHAD, SPECIES, Parameters

Array = NDArray[np.float64]


class DayFactors:
    """What temperature and light, and each member's luck, make of every day of the run.

    water_c [member or 1, day]; renewal [food, day, member], for fertility 1; [day, member, species]: max_intake,
    growth_respired (growth that the energy respired would give; of bass, if they had the body of 100 g) and background
    deaths, all of a fish of 1 g and middle growth, per day, food_ease and spawning; bass_search, bass_resting and
    cold_deaths (of shad) [day, member].
    """

    def __init__(self, inputs: Inputs) -> None:
        p = inputs.parameters
        self.water_c = np.maximum(inputs.water_c + inputs.luck.water_c, temperature.COLDEST_LIQUID_C)
        water_c = np.ascontiguousarray(self.water_c.T)
        t = water_c[:, :, None]
        dome = bioenergetics.temperature_dome(t, p.intake_dome_q, p.intake_optimum_c, p.intake_maximum_c)
        intake = bioenergetics.intake_temperature_factor(
            dome, t, p.feeding_stops_below_c, p.feeding_stop_width_c, p.intake_dome_floor[:, None]
        )
        self.max_intake = intake * (p.max_intake_at_1_g * inputs.luck.growth * inputs.local_growth)
        search = np.maximum(p.search_dome_floor[:, None], dome) ** -p.search_cold_exponent[:, None]
        self.bass_search = np.ascontiguousarray(intake[:, :, BASS] * search[:, :, BASS])
        self.food_ease = search / p.resource_half_saturation_kg_per_ha
        respiration = np.empty_like(dome)
        for k in (BASS, SHAD):
            respiration[:, :, k] = np.exp(
                p.respiration_per_c[:, k] * np.minimum(water_c, p.respiration_flat_above_c[:, k])
            )
        for k in (BLUEGILL, MINNOW):
            respiration[:, :, k] = bioenergetics.temperature_dome(
                water_c, p.respiration_dome_q[:, k], p.respiration_optimum_c[:, k], p.respiration_maximum_c[:, k]
            )
        cold = bioenergetics.winter_cold(water_c, p.winter_rest_below_c, p.winter_rest_width_c)
        self.bass_resting = bioenergetics.resting_share(cold, p.winter_rest_share[:, BASS])
        respiration *= 1.0 - p.winter_rest_share * cold[:, :, None]
        energy = p.respiration_at_1_g * p.activity_multiplier * p.oxygen_energy_j_per_g[:, None]
        self.growth_respired = respiration * (energy / p.body_energy_j_per_g)
        warm_deaths = life.warm_deaths(water_c, p.background_deaths_warming_per_c, p.background_deaths_reference_c)
        background = p.background_deaths_multiplier * p.background_deaths_at_1_g_per_year[:, None] / 365.0
        luck = np.moveaxis(inputs.luck.background_deaths / inputs.local_survival[:, None], 2, 0)[inputs.year]
        self.background_deaths = background * luck * warm_deaths[:, :, None]
        self.cold_deaths = life.cold_deaths(
            water_c, p.cold_deaths_per_day[:, SHAD], p.cold_deaths_below_c[:, SHAD], p.cold_deaths_width_c[:, SHAD]
        )
        year_day = inputs.year_day[:, None]
        warmth = p.renewal_q10 ** ((water_c - p.renewal_reference_c) / 10.0)
        warmth_and_light = warmth * temperature.light(year_day, p.light_floor, p.light_peak_day)
        renewal = np.stack(np.broadcast_arrays(p.plankton_renewal_per_day, p.benthos_renewal_per_day))
        self.renewal = renewal[:, None, :] * warmth_and_light
        self.spawning = np.stack([_spawning(p, k, water_c, year_day) for k in range(len(SPECIES))], axis=2)


def _spawning(p: Parameters, species: int, water_c: Array, year_day: NDArray[np.intp]) -> Array:
    """Spawning that each day's water allows [day, member]: for bass a hazard, for the others a share of a cycle."""
    today = logistic((water_c - p.spawning_from_c[:, species]) / p.spawning_width_c)
    if species == BASS:
        today = p.spawning_hazard_per_day[:, BASS] * today
    else:
        today = today / p.spawning_cycle_days[:, species]
    if species == SHAD:
        today = today * logistic((p.spawning_until_c[:, SHAD] - water_c) / p.spawning_width_c)
        autumn = year_day >= p.spawning_autumn_from_day[:, SHAD]
        today = np.where(autumn, today * p.spawning_autumn_share[:, SHAD], today)
    first, last = p.spawning_first_day[:, species], p.spawning_last_day[:, species]
    return np.where((year_day < first) | (year_day > last), 0.0, today)


class GroupFactors:
    """Parameters and constants spread over the columns: [member, group] or [1, group]."""

    def __init__(self, p: Parameters, columns: Columns) -> None:
        kind = columns.species

        def spread(of_species: Array) -> Array:
            return of_species.take(kind, axis=1)

        of_sex = spread(np.nan_to_num(p.sex_growth_difference)) * columns.sex
        growth_type = spread(p.growth_spread) * p.growth_type_z[:, None] * columns.growth_z + of_sex
        self.log_growth = growth_type
        at_1_g = p.search_area_exponent * np.log(100.0) + np.log(p.search_area_at_100_g)
        self.log_search_at_1_g = spread(np.nan_to_num(p.search_growth_exponent)) * growth_type + spread(at_1_g)
        self.max_intake_exponent = spread(p.max_intake_exponent)
        self.respiration_exponent = spread(p.respiration_exponent)
        per_kg = np.where(columns.sex > 0.0, spread(p.activity_per_kg_female), spread(p.activity_per_kg_male))
        self.activity_per_g = np.where(kind == BASS, per_kg, 0.0) / 1000.0
        kept = (1.0 - p.egested_share) * (1.0 - p.excreted_share - p.digestion_cost_share)
        self.growth_per_energy_eaten = spread(kept / p.body_energy_j_per_g)
        self.ws_intercept = spread(p.standard_weight_intercept * np.log(10.0))
        self.ws_slope = spread(p.standard_weight_slope)
        self.length_per_weight = 1.0 / self.ws_slope  # growth in log length per growth in log weight
        self.isometric_below = spread(np.log(np.nan_to_num(p.isometric_below_mm, nan=1e-300)))
        oldest_days = spread(365.0 * p.oldest_age_years)
        self.age_tells_from = columns.born + p.old_age_from_share[:, None] * oldest_days  # day of the run
        self.first_day_of_old_age_of = self.age_tells_from.min(axis=0)  # [group]
        self.first_day_of_old_age = float(np.min(self.first_day_of_old_age_of, initial=np.inf))
        self.old_age_ramp_days = p.old_age_ramp_share[:, None] * oldest_days
