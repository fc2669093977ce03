"""The recorded run of the second model: its parameter values, its pond and its figures.

The values are a fixed set for `second_run.csv`; the project's own (pondpop/species) may move on. Four of them carry
a digit more than the description of the second model shows, which prints three: activity of bass .8918 and of shad
.9378, feeding stop of bass 8.922 deg C, exponent of egg predation 2.982. They were found from the recorded figures.
So were the limits below which groups and pulses are dropped.
"""

from math import cos, nan, pi
from types import SimpleNamespace

from .scalar_day import BASS, BLUEGILL, MINNOW, SHAD, Day, Stocking, Tables, longer, new_pond, one_day

HECTARES_PER_ACRE = 1 / 2.471  # as rounded for the recorded run
FIRST_DAY_OF_YEAR = 150

PARAMETERS = SimpleNamespace(
    # each species: bass, bluegill, shad, minnow
    max_intake_at_1_g=(0.3525, 0.1751, 0.40, 0.149),
    max_intake_exponent=(-0.325, -0.274, -0.30, -0.242),
    intake_dome_q=(2.65, 2.3, 2.3, 2.4),
    intake_optimum_c=(27.5, 29.0, 27.0, 26.0),
    intake_maximum_c=(37.0, 36.5, 35.0, 34.0),
    feeding_stops_below_c=(8.922, 5.0, 6.0, 5.0),
    feeding_stop_width_c=(1.54, 1.2, 1.2, 1.2),
    respiration_at_1_g=(0.00279, 0.0154, 0.0037, 0.0096),
    respiration_exponent=(-0.355, -0.20, -0.215, -0.041),
    respiration_per_c=(0.0811, nan, 0.055, nan),
    respiration_flat_above_c=(32.0, nan, 32.0, nan),
    respiration_dome_q=(nan, 2.1, nan, 2.6),
    respiration_optimum_c=(nan, 33.0, nan, 31.0),
    respiration_maximum_c=(nan, 38.0, nan, 35.0),
    winter_rest_share=(0.682, 0.4, 0.4, 0.4),
    winter_rest_size_exponent=(0.0, nan, nan, nan),  # rest is the same for all sizes
    activity_multiplier=(0.8918, 0.701, 0.9378, 1.0),
    activity_per_kg_female=(0.0, nan, nan, nan),
    activity_per_kg_male=(0.112, nan, nan, nan),
    egested_share=(0.104, 0.158, 0.20, 0.18),
    excreted_share=(0.079, 0.0253, 0.10, 0.09),
    digestion_cost_share=(0.163, 0.172, 0.175, 0.15),
    body_energy_j_per_g=(4186.0, 4186.0, 4600.0, 4500.0),
    body_energy_exponent=(0.112, nan, nan, nan),
    standard_weight_intercept=(-5.528, -5.374, -5.376, -5.06),
    standard_weight_slope=(3.273, 3.316, 3.170, 3.05),
    isometric_below_mm=(150.0, nan, nan, nan),
    growth_spread=(0.0956, 0.10, 0.05, 0.05),
    sex_growth_difference=(0.08, nan, nan, nan),
    search_area_at_100_g=(0.00215, nan, nan, nan),
    search_area_exponent=(1.10, nan, nan, nan),
    interference_ha_per_kg=(0.013, nan, nan, nan),
    interference_from_mm=(200.0, nan, nan, nan),
    interference_length_share=(
        1e-9,
        nan,
        nan,
        nan,
    ),  # in the second model all large bass interfere, whatever their size,
    interference_length_width=(0.08, nan, nan, nan),
    search_growth_exponent=(0.0, nan, nan, nan),  # growth types search alike,
    recruit_food_exponent=(0.0, 0.0, 0.0, 0.0),  # and recruits do not depend on food
    pellet_fertility_ha_day_per_kg=0.0,
    fish_eating_from_mm=(45.0, nan, nan, nan),
    fish_eating_width_mm=(5.0, nan, nan, nan),
    prey_length_ratio_min=(0.0956, nan, nan, nan),
    prey_length_ratio_min_width=(0.02, nan, nan, nan),
    prey_length_ratio_max_width=(0.035, nan, nan, nan),
    prey_length_ratio_max=(0.555, 0.38, 0.47, 0.47),
    young_gape_gain=(nan, 0.0398, nan, nan),
    young_gape_none_at_mm=(300.0, nan, nan, nan),
    young_gape_full_at_mm=(60.0, nan, nan, nan),
    capture_ease=(0.27, 0.651, 0.638, 1.97),
    exposure_per_day=(0.06, 0.0737, 0.06, 0.06),
    exposure_half_saturation_kg_per_ha=(nan, nan, 2.18, nan),
    resource_half_saturation_kg_per_ha=(11.0, 40.4, 176.0, 146.0),
    plankton_use=(1.0, 0.187, 1.0, 0.6),
    plankton_use_until_mm=(70.0, 70.0, nan, nan),
    plankton_use_width_mm=(12.0, 12.0, nan, nan),
    plankton_use_of_large=(nan, 0.3, nan, nan),
    benthos_use=(0.0238, 1.0, nan, 0.6),
    benthos_use_until_mm=(280.0, nan, nan, nan),
    benthos_use_until_width_mm=(50.0, nan, nan, nan),
    benthos_use_floor=(0.03, nan, nan, nan),
    benthos_use_from_mm=(nan, 40.0, nan, nan),
    benthos_use_from_width_mm=(nan, 8.0, nan, nan),
    foraging_size_exponent=(nan, 0.33, nan, nan),
    foraging_size_offset_g=(nan, 5.0, nan, nan),
    foraging_size_reference_g=(nan, 30.0, nan, nan),
    pellets_from_mm=(nan, 75.0, nan, nan),
    pellets_above_c=(nan, 15.0, nan, nan),
    pellet_ration_target=(nan, 0.85, nan, nan),
    pellet_access=(nan, 0.20, nan, nan),
    pellet_displacement=(nan, 4.66, nan, nan),
    background_deaths_multiplier=(0.907, 0.699, 0.75, 0.70),
    large_fish_death_reduction=(0.363, nan, nan, nan),
    large_fish_from_g=(1000.0, nan, nan, nan),
    large_fish_width_ln=(0.35, nan, nan, nan),
    oldest_age_years=(14.0, 9.0, 3.5, 1.8),
    cold_deaths_per_day=(nan, nan, 0.30, nan),
    cold_deaths_below_c=(nan, nan, 5.0, nan),
    cold_deaths_width_c=(nan, nan, 0.6, nan),
    spawning_from_c=(17.0, 22.0, 20.0, 17.0),
    spawning_until_c=(nan, nan, 26.0, nan),
    spawning_first_day=(40.0, nan, nan, nan),
    spawning_last_day=(219.0, 269.0, nan, 269.0),
    spawning_hazard_per_day=(0.15, nan, nan, nan),
    spawning_cycle_days=(nan, 32.0, 32.0, 32.0),
    spawning_autumn_share=(nan, nan, 0.5, nan),
    spawning_autumn_from_day=(nan, nan, 205.0, nan),
    pulse_slot_days=(14.0, 16.0, 24.0, 32.0),
    recruits_cap_per_ha=(4690.0, 187_000.0, 115_000.0, 175_000.0),
    recruits_half_saturation_kg_per_ha=(2.88, 10.0, 1.6, 4.0),
    recruit_length_mm=(20.0, 15.0, 18.0, 15.0),
    mature_length_mm=(250.0, 96.7, 75.0, 42.0),
    spawning_cost_female=(0.083, 0.03, 0.03, 0.03),
    spawning_cost_male=(0.078, nan, nan, nan),
    egg_predator_half_kg_per_ha=(35.6, nan, nan, nan),
    egg_predator_exponent=(2.982, nan, nan, nan),
    group_min_per_ha=(1e-4, 5e-3, 5e-3, 5e-3),  # shared in the project
    # shared
    search_cold_exponent=0.687,
    intake_dome_floor=0.001,
    search_dome_floor=0.02,
    winter_rest_below_c=5.7,
    winter_rest_width_c=1.0,
    condition_at_no_food=0.78,
    condition_gain_at_full_food=0.428,
    length_growth_power=8.0,
    length_growth_limit=1.6,
    ration_memory_days=30.0,
    weight_loss_limit_per_day=0.05,
    weight_gain_limit_per_day=0.4,
    growth_type_z=1.2,
    growth_type_middle_share=0.44,
    stocking_length_growth_exponent=0.4,
    stocking_ration=0.5,
    recruit_ration=0.5,
    recruit_age_years=0.05,
    female_share=0.5,
    length_cv=0.065,
    cover_share=0.264,
    cover_length_mm=60.0,
    naive_ease=121.0,
    naive_days=20.0,
    oxygen_energy_j_per_g=13_560.0,
    prey_fish_energy_j_per_g=4250.0,
    plankton_energy_j_per_g=2500.0,
    benthos_energy_j_per_g=3000.0,
    pellet_energy_j_per_g=13_000.0,
    plankton_capacity_kg_per_ha=201.0,
    benthos_capacity_kg_per_ha=220.0,
    plankton_renewal_per_day=0.100,
    benthos_renewal_per_day=0.0635,
    renewal_q10=2.0,
    renewal_reference_c=20.0,
    renewal_saturation=0.292,
    light_floor=0.5,
    light_peak_day=190.0,
    resource_floor_kg_per_ha=0.001,
    pellet_waste_share=0.791,
    background_deaths_at_1_g_per_year=3.0,
    background_deaths_exponent=-0.288,
    background_deaths_warming_per_c=0.0,
    background_deaths_reference_c=20.0,
    starvation_deaths_per_day=0.03,
    starvation_below_condition=0.70,
    starvation_width=0.1,
    old_age_deaths_per_year=1.5,
    old_age_from_share=0.8,
    old_age_ramp_share=0.2,
    old_age_ramp_limit=3.0,
    quota_fishing_limit_per_year=1.2,
    quota_limit_power=4.0,
    spawning_width_c=0.8,
    mature_age_years=0.3,
    pulse_min_weight=0.02,
    pulse_min_per_ha=0.02,
    egg_predator_min_mm=75.0,
    egg_predator_max_mm=150.0,
    egg_predator_hunger_exponent=0.551,
    egg_predator_hunger_floor=0.01,
)


def water_temperature(year_day):
    return max(1.0, 18.75 + 10.75 * cos(2 * pi * (year_day - 205) / 365))


def stockings(days_before):
    per_acre = 1 / HECTARES_PER_ACRE
    if days_before == 0:
        return (
            Stocking(MINNOW, 1200 * per_acre, 50.0, 0.4),
            Stocking(BLUEGILL, 1200 * per_acre, 40.0, 0.3),
            Stocking(SHAD, 2000 * per_acre, 75.0, 0.8),
        )
    if days_before == 365:
        return (Stocking(BASS, 75 * per_acre, 50.0, 0.15, weight_g=1.8, origin="founding bass"),)
    return ()


def base_run(days, p=PARAMETERS, steps=1):
    """Yield (days since the start, temperature, pond) at the end of each day."""
    pond, tables = new_pond(p), Tables(p)
    for days_before in range(days):
        year_day = (FIRST_DAY_OF_YEAR + days_before) % 365
        water_c = water_temperature(year_day)
        day = Day(year_day, water_c, stockings=stockings(days_before), first_of_run=days_before == 0)
        one_day(pond, day, p, tables, steps)
        yield days_before + 1, water_c, pond


def figures(temperature, pond, p=PARAMETERS):
    """The recorded figures of a pond, in the order of the table's columns; None where there are no such fish."""
    of = [[g for g in pond.groups if g.species == s] for s in range(4)]
    founders = [g for g in pond.groups if g.origin == "founding bass"]
    alive = sum(g.number for g in founders)
    return [
        temperature,
        *(sum(g.biomass for g in groups) for groups in of),
        *(sum(g.number for g in groups) for groups in of),
        pond.food["plankton"],
        pond.food["benthos"],
        alive,
        sum(g.number * g.weight for g in founders) / alive if founders else None,
        sum(g.number * g.length for g in founders) / alive if founders else None,
        sum(g.number * longer(p, g, 76.0) for g in of[BLUEGILL]),
    ]
