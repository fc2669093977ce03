"""The pond model as first written down: a specification that runs.

Plain Python floats, one member, one day at a time. Nothing here is meant to be fast or general; it is meant to
be read. It keeps the first form of the model, whose books do not close, so that every later change of form can be
measured against it (`tests/test_gate.py`).

Units: per hectare; fish mass g, biomass and resources kg/ha, total length mm, water deg C, time in days and rates per
day, age in years, energy J/g wet mass. Years have 365 days.

Sources of the equations: temperature dome Kitchell, Stewart & Weininger 1977; oxygen to energy Elliott & Davison 1975;
background deaths Lorenzen 1996 (from memory); prey in and out of cover after the foraging arena of
Walters & Juanes 1993 (from memory); standard weights Henson 1991 (from memory) and Hillman 1982 (from memory).
All other forms and values were calibrated or assumed together with the model.
"""

from dataclasses import dataclass
from math import cos, exp, inf, log, log10, pi, sqrt

SPECIES = ("bass", "bluegill", "shad", "minnow")
RESOURCES = ("plankton", "benthos")
HECTARES_PER_ACRE = 1 / 2.471  # as rounded for the recorded run
DAYS_PER_YEAR = 365
OXYGEN_J_PER_G = 13_560.0

# ---------------------------------------------------------------------------------------------- parameters

BASS = {
    "max_intake_at_1_g": 0.33, "max_intake_exponent": -0.325,
    "intake_dome_slope": 2.65, "intake_optimum_c": 27.5, "intake_limit_c": 37.0,
    "respiration_at_1_g": 0.00279, "respiration_exponent": -0.355,
    "respiration_per_c": 0.0811,
    "egested_share": 0.104, "excreted_share": 0.079, "digestion_cost_share": 0.163,
    "body_energy": 4186.0,
    "standard_weight_intercept": -5.528, "standard_weight_slope": 3.273,
    "activity": 0.925,
    "activity_per_kg": {"female": 0.025, "male": 0.115},
    "winter_rest_share": 0.75, "feeding_stop_c": 9.8,
    "background_death_factor": 0.98, "oldest_age": 14.0,
    "spawning_temperature_c": 17.0, "recruits_cap": 7_000.0, "spawners_for_half_cap": 3.1,
    "recruit_length": 20.0, "maturity_length": 250.0,
    "spawning_cost": {"female": 0.083, "male": 0.078},
    "growth_type_spread": 0.177,
    "prey_length_ratio_max": 0.45, "ease_of_capture": 0.306, "exposure": 0.06,
    "half_saturation": 11.3,
}
BLUEGILL = {
    "max_intake_at_1_g": 0.182, "max_intake_exponent": -0.274,
    "intake_dome_slope": 2.3, "intake_optimum_c": 29.0, "intake_limit_c": 36.5,
    "respiration_at_1_g": 0.0154, "respiration_exponent": -0.20,
    "respiration_dome": (2.1, 33.0, 38.0),
    "egested_share": 0.158, "excreted_share": 0.0253, "digestion_cost_share": 0.172,
    "body_energy": 4186.0,
    "standard_weight_intercept": -5.374, "standard_weight_slope": 3.316,
    "activity": 0.69,
    "winter_rest_share": 0.4, "feeding_stop_c": 5.0,
    "background_death_factor": 0.685, "oldest_age": 9.0,
    "spawning_temperature_c": 22.0, "recruits_cap": 125_000.0, "spawners_for_half_cap": 10.0,
    "recruit_length": 15.0, "maturity_length": 97.0,
    "spawning_cost": {"unsexed": 0.03},
    "growth_type_spread": 0.10,
    "prey_length_ratio_max": 0.37, "ease_of_capture": 0.643, "exposure": 0.046,
    "half_saturation": 40.7,
}
SHAD = {
    "max_intake_at_1_g": 0.40, "max_intake_exponent": -0.30,
    "intake_dome_slope": 2.3, "intake_optimum_c": 27.0, "intake_limit_c": 35.0,
    "respiration_at_1_g": 0.0037, "respiration_exponent": -0.215,
    "respiration_per_c": 0.055,
    "egested_share": 0.20, "excreted_share": 0.10, "digestion_cost_share": 0.175,
    "body_energy": 4600.0,
    "standard_weight_intercept": -5.376, "standard_weight_slope": 3.170,
    "activity": 0.915,
    "winter_rest_share": 0.4, "feeding_stop_c": 6.0,
    "background_death_factor": 0.75, "oldest_age": 3.5,
    "spawning_temperature_c": 20.0, "recruits_cap": 115_000.0, "spawners_for_half_cap": 1.6,
    "recruit_length": 18.0, "maturity_length": 75.0,
    "spawning_cost": {"unsexed": 0.03},
    "prey_length_ratio_max": 0.47, "ease_of_capture": 0.60, "exposure": 0.06,
    "half_saturation": 176.0,
}
MINNOW = {
    "max_intake_at_1_g": 0.149, "max_intake_exponent": -0.242,
    "intake_dome_slope": 2.4, "intake_optimum_c": 26.0, "intake_limit_c": 34.0,
    "respiration_at_1_g": 0.0096, "respiration_exponent": -0.041,
    "respiration_dome": (2.6, 31.0, 35.0),
    "egested_share": 0.18, "excreted_share": 0.09, "digestion_cost_share": 0.15,
    "body_energy": 4500.0,
    "standard_weight_intercept": -5.06, "standard_weight_slope": 3.05,
    "activity": 1.0,
    "winter_rest_share": 0.4, "feeding_stop_c": 5.0,
    "background_death_factor": 0.70, "oldest_age": 1.8,
    "spawning_temperature_c": 17.0, "recruits_cap": 180_000.0, "spawners_for_half_cap": 4.0,
    "recruit_length": 15.0, "maturity_length": 42.0,
    "spawning_cost": {"unsexed": 0.03},
    "prey_length_ratio_max": 0.47, "ease_of_capture": 2.0, "exposure": 0.06,
    "half_saturation": 146.0,
}
PARAMETERS = {"bass": BASS, "bluegill": BLUEGILL, "shad": SHAD, "minnow": MINNOW}

FEEDING_STOP_WIDTH_C = 1.2
WINTER_REST_C, WINTER_REST_WIDTH_C = 5.6, 1.0
SEARCH_COLD_EXPONENT = 0.73
BASS_SEARCH_AT_100_G, BASS_SEARCH_EXPONENT = 0.00185, 1.05  # ha/d per kg of bass
PREY_LENGTH_RATIO_MIN = 0.0975
COVER = 0.30
BASS_BENTHOS, BLUEGILL_PLANKTON, BLUEGILL_SEARCH_EXPONENT = 0.018, 0.16, 0.334
RESOURCE_CAPACITY = {"plankton": 200.0, "benthos": 220.0}
RESOURCE_RENEWAL_AT_20_C = {"plankton": 0.094, "benthos": 0.043}
FERTILITY = 1.0  # a fertilised pond
ENERGY_OF_FISH = 4250.0
ENERGY_OF_RESOURCE = {"plankton": 2500.0, "benthos": 3000.0}
CONDITION_SET_POINT, CONDITION_PER_RATION = 0.76, 0.38
NAIVE_EASE = 60.0
EGG_PREDATORS_FOR_HALF, EGG_PREDATION_EXPONENT = 29.0, 2.6  # kg/ha of 3-6-in bluegill; none
SPAWNING_PULSES = {"bass": 1, "bluegill": 5, "shad": 2, "minnow": 4}  # in spring and summer; shad 1 more in autumn

THREE_TYPES = ((-1.2, 0.28), (0.0, 0.44), (1.2, 0.28))  # z and weight
GROWTH_TYPES = {"bass": THREE_TYPES, "bluegill": THREE_TYPES, "shad": ((0.0, 1.0),), "minnow": ((0.0, 1.0),)}
SEX_GROWTH = {"female": exp(0.08), "male": exp(-0.08), "unsexed": 1.0}
GONE_BELOW, NO_PULSE_BELOW = 1e-5, 1e-3  # fish/ha

GRID_CELLS, GRID_FIRST, GRID_LAST = 36, 8.0, 800.0
GRID_STEP = log(GRID_LAST / GRID_FIRST) / (GRID_CELLS - 1)
GRID_LENGTHS = [GRID_FIRST * exp(GRID_STEP * i) for i in range(GRID_CELLS)]


# ---------------------------------------------------------------------------------------------- state

@dataclass
class Group:
    """One species x one origin x one growth type (and sex, for bass)."""
    species: str
    origin: str
    sex: str
    growth: float  # multiplies maximum intake only
    number: float
    weight: float
    length: float
    age: float
    ration: float  # 30-day mean, share of maximum intake
    days_since_stocked: float = inf


@dataclass
class Pond:
    groups: list
    resources: dict
    pulses_done: dict  # species -> pulses of this year so far
    next_pulse: dict  # species -> day of the year of its next pulse, once begun
    autumn_done: bool = False


def new_pond():
    return Pond([], dict(RESOURCE_CAPACITY), {s: 0 for s in SPECIES}, {s: None for s in SPECIES})


# ---------------------------------------------------------------------------------------------- formulas

def step_up(z):
    """The logistic function 1/(1 + e^-z)."""
    return 1 / (1 + exp(-z)) if z > -700 else 0.0


def dome(temperature, slope, optimum, limit):
    """Temperature dome of Kitchell, Stewart & Weininger 1977; 1 at the optimum, 0 at the limit and above."""
    if temperature >= limit:
        return 0.0
    v = (limit - temperature) / (limit - optimum)
    z = log(slope) * (limit - optimum)
    y = log(slope) * (limit - optimum + 2)
    x = z * z * (1 + sqrt(1 + 40 / y)) ** 2 / 400
    return v**x * exp(x * (1 - v))


def standard_weight(species, length):
    p = PARAMETERS[species]
    return 10 ** (p["standard_weight_intercept"] + p["standard_weight_slope"] * log10(length))


def grid_place(length):
    """Lower cell and the share that belongs to the cell above it."""
    place = min(max(log(length / GRID_FIRST) / GRID_STEP, 0.0), GRID_CELLS - 1.0)
    cell = min(int(place), GRID_CELLS - 2)
    return cell, place - cell


def read(field, place):
    cell, upper = place
    return field[cell] * (1 - upper) + field[cell + 1] * upper


def lay(field, place, amount):
    cell, upper = place
    field[cell] += amount * (1 - upper)
    field[cell + 1] += amount * upper


def prey_size_kernel():
    """kernel[species][predator cell][prey cell]."""
    def ease(species, predator, prey):
        p, ratio = PARAMETERS[species], prey / predator
        return (p["ease_of_capture"] * step_up((predator - 45) / 5) * step_up((ratio - PREY_LENGTH_RATIO_MIN) / 0.02)
                * step_up((p["prey_length_ratio_max"] - ratio) / 0.035))
    return {s: [[ease(s, a, b) for b in GRID_LENGTHS] for a in GRID_LENGTHS] for s in SPECIES}


def resource_access_table():
    """access[species, resource][cell]: which resources a fish of this length can use."""
    table = {}
    for species in SPECIES:
        for resource in RESOURCES:
            table[species, resource] = [resource_access(species, resource, length) for length in GRID_LENGTHS]
    return table


def resource_access(species, resource, length):
    if species == "bass":
        if resource == "plankton":
            return step_up((70 - length) / 12)
        return BASS_BENTHOS * step_up((280 - length) / 50) + 0.03
    if species == "bluegill":
        if resource == "plankton":
            return BLUEGILL_PLANKTON * (0.3 + 0.7 * step_up((70 - length) / 12))
        return step_up((length - 40) / 8)
    if species == "shad":
        return 1.0 if resource == "plankton" else 0.0
    return 0.6


KERNEL = prey_size_kernel()
ACCESS = resource_access_table()


def temperature_factors(species, temperature):
    """Factors of intake, search and respiration."""
    p = PARAMETERS[species]
    warmth = dome(temperature, p["intake_dome_slope"], p["intake_optimum_c"], p["intake_limit_c"])
    intake = max(0.001, warmth * step_up((temperature - p["feeding_stop_c"]) / FEEDING_STOP_WIDTH_C))
    search = max(0.02, warmth) ** -SEARCH_COLD_EXPONENT
    if "respiration_dome" in p:
        respiration = dome(temperature, *p["respiration_dome"])
    else:
        respiration = exp(p["respiration_per_c"] * min(temperature, 32.0))
    respiration *= 1 - p["winter_rest_share"] * step_up((WINTER_REST_C - temperature) / WINTER_REST_WIDTH_C)
    return intake, search, respiration


# ---------------------------------------------------------------------------------------------- a day

def one_day(pond, day_of_year, temperature, stocking=()):
    """Change the pond by one day. Rates use the state at the start of the day; spawning comes last."""
    for event in stocking:
        stock(pond, **event)
    factors = {s: temperature_factors(s, temperature) for s in SPECIES}
    groups = pond.groups
    for g in groups:
        g.place = grid_place(g.length)
        g.naive = 1 + NAIVE_EASE * exp(-g.days_since_stocked / 20)
        set_maximum_intake(g, factors)
        set_resource_encounter(g, factors, pond.resources)
    prey_field = lay_prey(groups)
    predation = share_out_prey(groups, prey_field)
    eaten = {r: 0.0 for r in RESOURCES}
    for g in groups:
        set_ration(g, eaten)
    for g in groups:
        grow_and_die(g, factors, predation, temperature)
    renew_resources(pond, eaten, day_of_year, temperature)
    pond.groups = [g for g in groups if g.number >= GONE_BELOW]
    spawn(pond, day_of_year, temperature)


def stock(pond, species, origin, number, length, age):
    """Add the groups of one stocking event. `number` per hectare."""
    p = PARAMETERS[species]
    for sex in ("female", "male") if species == "bass" else ("unsexed",):
        for z, weight in GROWTH_TYPES[species]:
            growth = exp(p.get("growth_type_spread", 0.0) * z) * SEX_GROWTH[sex]
            own_length = length * growth**0.4
            share = weight / (2 if species == "bass" else 1)
            pond.groups.append(Group(species, origin, sex, growth, number * share, standard_weight(species, own_length),
                                     own_length, age, 0.5, 0.0))


def set_maximum_intake(g, factors):
    p = PARAMETERS[g.species]
    intake, search, _ = factors[g.species]
    g.max_intake = p["max_intake_at_1_g"] * g.weight ** p["max_intake_exponent"] * intake * g.growth
    g.search = 0.0
    if g.species == "bass":
        g.search = BASS_SEARCH_AT_100_G * (g.weight / 100) ** -BASS_SEARCH_EXPONENT * intake * search


def set_resource_encounter(g, factors, resources):
    p = PARAMETERS[g.species]
    _, search, _ = factors[g.species]
    size = ((g.weight + 5) / 30) ** -BLUEGILL_SEARCH_EXPONENT if g.species == "bluegill" else 1.0
    g.encounter = {r: read(ACCESS[g.species, r], g.place) * resources[r] / p["half_saturation"] * search * size
                   for r in RESOURCES}


def lay_prey(groups):
    """Prey on the length grid, kg/ha, by species; newly stocked fish count several times over."""
    field = {s: [0.0] * GRID_CELLS for s in SPECIES}
    for g in groups:
        lay(field[g.species], g.place, g.number * g.weight / 1000 * g.naive)
    return field


def share_out_prey(groups, prey_field):
    """Two passes: the bass search what is out of cover, and what is out of cover depends on their search.

    Returns the predation rate on the grid, by prey species; leaves each bass group's encounter with fish in it.
    """
    leaving = {s: [PARAMETERS[s]["exposure"] * (1 - COVER * exp(-((b / 60) ** 2))) for b in GRID_LENGTHS]
               for s in SPECIES}
    bass = [g for g in groups if g.species == "bass"]
    predator_cells = sorted({c for g in bass for c in (g.place[0], g.place[0] + 1)})
    prey_cells = {s: [b for b in range(GRID_CELLS) if prey_field[s][b] > 0] for s in SPECIES}
    out_of_cover = {s: [1.0] * GRID_CELLS for s in SPECIES}
    for final in (False, True):
        available = [0.0] * GRID_CELLS  # to a bass of each grid length, kg/ha
        for a in predator_cells:
            available[a] = sum(KERNEL[s][a][b] * out_of_cover[s][b] * prey_field[s][b]
                               for s in SPECIES for b in prey_cells[s])
        load = [0.0] * GRID_CELLS
        for g in bass:
            g.fish_encounter = g.search * read(available, g.place) / g.max_intake
            x = g.fish_encounter + sum(g.encounter.values())
            lay(load, g.place, g.number * g.weight / 1000 * g.search / (1 + x))
        pressure = {s: [0.0] * GRID_CELLS for s in SPECIES}
        for s in SPECIES:
            for b in prey_cells[s]:
                pressure[s][b] = sum(KERNEL[s][a][b] * load[a] for a in predator_cells)
        if final:
            return {s: [o * m for o, m in zip(out_of_cover[s], pressure[s], strict=True)] for s in SPECIES}
        out_of_cover = {s: [1 / (1 + m / v) for m, v in zip(pressure[s], leaving[s], strict=True)] for s in SPECIES}


def set_ration(g, eaten):
    """One saturating response shared by all food, g per g of fish and day."""
    fish = g.fish_encounter if g.species == "bass" else 0.0
    x = fish + sum(g.encounter.values())
    g.fish_intake = g.max_intake * fish / (1 + x)
    g.resource_intake = {r: g.max_intake * g.encounter[r] / (1 + x) for r in RESOURCES}
    for r in RESOURCES:
        eaten[r] += g.resource_intake[r] * g.number * g.weight / 1000


def grow_and_die(g, factors, predation, temperature):
    p = PARAMETERS[g.species]
    energy_in = g.fish_intake * ENERGY_OF_FISH + sum(g.resource_intake[r] * ENERGY_OF_RESOURCE[r] for r in RESOURCES)
    gain = energy_in * (1 - p["egested_share"]) * (1 - p["excreted_share"] - p["digestion_cost_share"])
    activity = p["activity"]
    if g.species == "bass":
        activity *= 1 + p["activity_per_kg"][g.sex] * g.weight / 1000
    respiration = (p["respiration_at_1_g"] * g.weight ** p["respiration_exponent"] * factors[g.species][2]
                   * activity * OXYGEN_J_PER_G)
    growth = min(max((gain - respiration) / p["body_energy"], -0.05), 0.4)
    condition = g.weight / standard_weight(g.species, g.length)
    deaths = death_rate(g, condition, predation, temperature)

    intake = g.fish_intake + sum(g.resource_intake.values())
    g.ration += (intake / g.max_intake - g.ration) / 30
    set_point = CONDITION_SET_POINT + CONDITION_PER_RATION * min(1.0, g.ration)
    if growth > 0:
        g.length *= exp(growth / p["standard_weight_slope"] * min(1.6, (condition / set_point) ** 8))
    g.weight *= exp(growth)
    g.number *= exp(-deaths)
    g.age += 1 / DAYS_PER_YEAR
    g.days_since_stocked += 1


def death_rate(g, condition, predation, temperature):
    p = PARAMETERS[g.species]
    predated = read(predation[g.species], g.place) * g.naive
    background = p["background_death_factor"] * 3.0 * g.weight**-0.288 / DAYS_PER_YEAR
    starvation = 0.03 * max(0.0, 0.70 - condition) / 0.1
    old_age = 1.5 / DAYS_PER_YEAR * min(3.0, max(0.0, (g.age / p["oldest_age"] - 0.8) / 0.2))
    cold = 0.30 * step_up((5.0 - temperature) / 0.6) if g.species == "shad" else 0.0
    return predated + background + starvation + old_age + cold


def renew_resources(pond, eaten, day_of_year, temperature):
    light = 0.5 + 0.5 * max(0.0, cos(2 * pi * (day_of_year - 190) / DAYS_PER_YEAR))
    for r in RESOURCES:
        renewal = RESOURCE_RENEWAL_AT_20_C[r] * 2 ** ((temperature - 20) / 10) * FERTILITY * light
        before = pond.resources[r]
        pond.resources[r] = (before + renewal * RESOURCE_CAPACITY[r]) / (1 + renewal + eaten[r] / before)


# ---------------------------------------------------------------------------------------------- spawning

def spawn(pond, day_of_year, temperature):
    if day_of_year == 1:
        pond.pulses_done = {s: 0 for s in SPECIES}
        pond.next_pulse = {s: None for s in SPECIES}
        pond.autumn_done = False
    for species in SPECIES:
        if pulse_is_due(pond, species, day_of_year, temperature):
            one_pulse(pond, species)


def pulse_is_due(pond, species, day_of_year, temperature):
    if species == "shad" and not pond.autumn_done and day_of_year > 240 and 18 < temperature < 25:
        pond.autumn_done = True
        return True
    warm = temperature >= PARAMETERS[species]["spawning_temperature_c"]
    if not warm or pond.pulses_done[species] >= SPAWNING_PULSES[species]:
        return False
    if pond.next_pulse[species] is None:
        due = 41 <= day_of_year <= 204
    else:
        due = pond.next_pulse[species] <= day_of_year < 270
    if due:
        pond.pulses_done[species] += 1
        pond.next_pulse[species] = day_of_year + 32
    return due


def one_pulse(pond, species):
    p = PARAMETERS[species]
    parents = [g for g in pond.groups
               if g.species == species and g.length >= p["maturity_length"] and g.age >= 0.3]
    females = sum(g.number * g.weight / 1000 * {"female": 1.0, "male": 0.0, "unsexed": 0.5}[g.sex] for g in parents)
    if species == "bass":
        egg_predators = sum(g.number * g.weight / 1000 * step_up((g.length - 75) / 5) * step_up((150 - g.length) / 8)
                            for g in pond.groups if g.species == "bluegill")
        females /= 1 + (egg_predators / EGG_PREDATORS_FOR_HALF) ** EGG_PREDATION_EXPONENT
    recruits = p["recruits_cap"] * females / (females + p["spawners_for_half_cap"])
    for g in parents:
        g.weight *= 1 - p["spawning_cost"][g.sex]
    if recruits < NO_PULSE_BELOW:
        return
    for sex in ("female", "male") if species == "bass" else ("unsexed",):
        for z, weight in GROWTH_TYPES[species]:
            growth = exp(p.get("growth_type_spread", 0.0) * z) * SEX_GROWTH[sex]
            share = weight / (2 if species == "bass" else 1)
            length = p["recruit_length"]
            pond.groups.append(Group(species, "wild", sex, growth, recruits * share, standard_weight(species, length),
                                     length, 0.05, 0.5))


# ---------------------------------------------------------------------------------------------- the recorded run

FIRST_DAY_OF_YEAR = 150


def water_temperature(day_of_year):
    return max(1.0, 18.75 + 10.75 * cos(2 * pi * (day_of_year - 205) / DAYS_PER_YEAR))


def base_run_stocking(days_before):
    """What is stocked on this day, per hectare."""
    per_acre = 1 / HECTARES_PER_ACRE
    if days_before == 0:
        return (
            {"species": "minnow", "origin": "stocked", "number": 1200 * per_acre, "length": 50.0, "age": 0.4},
            {"species": "bluegill", "origin": "stocked", "number": 1200 * per_acre, "length": 40.0, "age": 0.3},
            {"species": "shad", "origin": "stocked", "number": 2000 * per_acre, "length": 75.0, "age": 0.8},
        )
    if days_before == 365:
        return ({"species": "bass", "origin": "founding bass", "number": 75 * per_acre, "length": 50.0, "age": 0.15},)
    return ()


def base_run(days):
    """Yield (days since the start, temperature, pond) at the end of each day."""
    pond = new_pond()
    for days_before in range(days):
        day_of_year = (FIRST_DAY_OF_YEAR - 1 + days_before) % DAYS_PER_YEAR + 1
        temperature = water_temperature(day_of_year)
        one_day(pond, day_of_year, temperature, base_run_stocking(days_before))
        yield days_before + 1, temperature, pond


def figures(temperature, pond):
    """The recorded figures of a pond, in the order of the table's columns; None where there are no such fish."""
    groups = pond.groups
    of = {s: [g for g in groups if g.species == s] for s in SPECIES}
    founders = [g for g in groups if g.origin == "founding bass"]
    alive = sum(g.number for g in founders)
    return [
        temperature,
        *(sum(g.number * g.weight for g in of[s]) / 1000 for s in SPECIES),
        *(sum(g.number for g in of[s]) for s in SPECIES),
        pond.resources["plankton"], pond.resources["benthos"],
        alive,
        sum(g.number * g.weight for g in founders) / alive if founders else None,
        sum(g.number * g.length for g in founders) / alive if founders else None,
        sum(g.number for g in of["bluegill"] if g.length >= 76),
    ]
