"""A day in the pond, written plainly: the judge of the array engine.

Plain Python floats, one member, plain lists of groups; the order of a day is the list in `one_day` and `one_step`.
Everything the engine does fast over many members is done here slowly for one, from the same parameters, and the two
must agree (`tests/test_gate.py` holds this form to a recorded run; the engine's own tests hold the engine to this).

`parameters` is any object with one attribute per parameter, named as in `pondpop/species/*.toml`: a species' parameter
is a sequence of five in the order of `SPECIES`, a shared one a number. Nothing else is read from the project.

Units: per hectare; fish mass g, biomass and food kg/ha, length mm, water deg C, time in days and rates per day, age in
years, energy J/g wet mass. The days of a year are counted from 0 on 1 January.

Sources of the equations: temperature dome Kitchell, Stewart & Weininger 1977; background deaths Lorenzen 1996 (from
memory); prey in and out of cover after the foraging arena of Walters & Juanes 1993 (from memory); interference after
Beddington 1975 and DeAngelis et al. 1975 (from memory). All other forms are assumed or calibrated.
"""

from dataclasses import dataclass, field
from itertools import pairwise
from math import cos, erfc, exp, expm1, floor, inf, isnan, log, log1p, log10, pi, prod, sqrt
from types import SimpleNamespace

SPECIES = ("bass", "bluegill", "shad", "minnow", "redear")
BASS, BLUEGILL, SHAD, MINNOW, REDEAR = range(5)
FOODS = ("plankton", "benthos", "littoral", "algae", "snails")
DAYS_PER_YEAR = 365.0
STOCK_LENGTH_OF_BASS = 8 * 25.4  # mm
UNCUT = 40.0  # standard deviations
NOTHING = 1e-12  # a group of which no larger share is left is gone

GRID_POINTS, GRID_FIRST, GRID_LAST = 36, 8.0, 800.0
GRID_STEP = log(GRID_LAST / GRID_FIRST) / (GRID_POINTS - 1)
GRID = [GRID_FIRST * exp(GRID_STEP * i) for i in range(GRID_POINTS)]


# ---------------------------------------------------------------------------------------------- state and inputs


@dataclass
class Group:
    """Fish of one species, one origin, one growth type and, for bass, one sex."""

    species: int
    origin: str
    sex: str  # "female", "male" or "both"
    female_share: float
    growth: float  # multiplies maximum intake and the search of bass
    growth_z: float  # place of the growth type
    number: float
    weight: float
    length: float  # whose logarithm is the mean of the logarithms; a fish never shrinks
    age: float
    ration: float  # running mean of the share of maximum intake that was eaten
    days_since_stocked: float = inf
    spread: float = 0.0  # standard deviation of the natural log of length, about that of `length`
    brood: int | None = None  # year of the run in which fish born in the pond became recruits
    hauling: float = 0.0  # deaths per day of the move, in the days after it
    cut: tuple = (-UNCUT, UNCUT)  # no fish beyond, in standard deviations of the normal before the cut

    @property
    def biomass(self):
        return self.number * self.weight / 1000


@dataclass
class Pond:
    groups: list
    food: dict  # kg/ha of each of FOODS
    spawning_gathered: list = field(default_factory=lambda: [0.0] * 5)
    spawning_released: list = field(default_factory=lambda: [0.0] * 5)
    spawned: list = field(default_factory=lambda: [[], [], [], [], []])  # of each day of the run, until hatched
    richness: float = 1.0  # renewal of animal food relative to fertility 1
    wariness: float = 0.0  # recent catches per catchable bass, from angling with release
    caught_number: list = field(default_factory=lambda: [0.0] * 5)  # by harvest rules since the start, fish/ha
    caught_biomass: list = field(default_factory=lambda: [0.0] * 5)  # kg/ha
    algae_richness: float = 1.0  # renewal of algae relative to fertility 1
    fish: float = 0.0  # kg/ha at the start of the last step
    oxygen: float = 8.0  # mg/L at dusk
    bloom: float = 1.0  # relative to its ordinary state
    made_lately: float = 4.0  # g O2/m2/d
    waste: float = 0.0  # g O2/m2 that feed and dead plankton will still take
    deep_short: float = 0.0  # mg/L that deep water is behind the mixed water
    warmth: float | None = None  # temperature of the last days
    suffocated: list = field(default_factory=lambda: [0.0] * 5)  # fish/ha since the start


@dataclass(frozen=True)
class Stocking:
    species: int
    per_ha: float
    length_mm: float
    age_years: float
    weight_g: float | None = None
    length_cv: float | None = None
    female_share: float = 0.5
    origin: str = "stocked"
    truck: tuple | None = None  # hours, temperature of its water or None, tempered, salted


@dataclass(frozen=True)
class Removal:
    """Fish taken out, or killed, on one day: a share, a number per ha or kg/ha of those in a length window."""

    species: int
    shortest_mm: float
    longest_mm: float
    kind: str  # "share", "per_ha" or "kg_per_ha"
    amount: float


@dataclass(frozen=True)
class Fishing:
    """A harvest rule on one day; `effort` is that day's part of its season (1/days of the season)."""

    species: int
    shortest_mm: float
    longest_mm: float
    kind: str  # "share", "per_ha" or "kg_per_ha"
    ask: float  # of a season
    effort: float


@dataclass(frozen=True)
class Day:
    year_day: int
    water_c: float
    fertility: float = 1.0
    cover: float = 1.0  # relative to the ordinary pond
    plants: float | None = None  # share of the area in plants; None: as cover says
    area_share: float = 1.0  # under water
    pellets_kg_per_ha: float = 0.0
    stockings: tuple = ()
    removals: tuple = ()
    fishing: tuple = ()
    angling_hours_per_ha: float = 0.0  # all bass that are caught are let go
    death_after_release: float = 0.0  # share
    mean_depth_m: float | None = None  # None: water that is always rich in oxygen
    area_ha: float = 1.0
    cloud: float = 0.0  # state of the sky
    wind: float = 1.0  # relative to the mean
    collapse: float = 1.0  # number below whose chance the bloom collapses
    aerators: tuple = ()  # kW/ha, kind, hours of the night (None: below the limit), mg/L
    first_of_run: bool = False
    year: int = 0  # of the run
    joins: bool = False  # whether groups that have become alike join at the end of the day
    local_growth: tuple = (1.0,) * 5  # multipliers by species: maximum intake,
    local_survival: tuple = (1.0,) * 5  # background deaths divided by this,
    local_spawning: tuple = (1.0,) * 5  # recruits


def fertility_after(fertility, target, p):
    """A day's way of the fertility to what the pond is given, sooner upward than downward."""
    days = p.fertility_rise_days if target > fertility else p.fertility_fall_days
    return target + (fertility - target) * exp(-1 / days)


def one_member(parameters, member=0):
    """The project's parameters of one member as plain numbers and tuples, under the same names."""
    plain = {}
    for name, values in parameters.of_kinds(SPECIES).arrays().items():
        own = values[member if len(values) > 1 else 0].tolist()
        plain[name] = tuple(own) if isinstance(own, list) else own
    return SimpleNamespace(**plain)


def new_pond(p):
    return Pond([], {food: getattr(p, f"{food}_capacity_kg_per_ha") for food in FOODS})


# ---------------------------------------------------------------------------------------------- formulas


def step_up(z):
    """The logistic function 1/(1 + e^-z)."""
    return 1 / (1 + exp(-z)) if z > -700 else 0.0


def dome(temperature, q, optimum, maximum):
    """Temperature dome of Kitchell, Stewart & Weininger 1977; 1 at the optimum, 0 at the maximum and above."""
    if temperature >= maximum:
        return 0.0
    v = (maximum - temperature) / (maximum - optimum)
    z = log(q) * (maximum - optimum)
    y = log(q) * (maximum - optimum + 2)
    x = z * z * (1 + sqrt(1 + 40 / y)) ** 2 / 400
    return v**x * exp(x * (1 - v))


def standard_weight(p, species, length):
    """log10 W = a + b log10 L; below a length where the published line no longer holds, W goes with L cubed."""
    a, b, below = (v[species] for v in (p.standard_weight_intercept, p.standard_weight_slope, p.isometric_below_mm))
    if length < below:  # False where the species has no such length (NaN)
        return 10 ** (a + b * log10(below)) * (length / below) ** 3
    return 10 ** (a + b * log10(length))


def slope_of_weight(p, group):
    return p.standard_weight_slope[group.species]


def mean_over_middle_weight(p, group):
    """Mean weight of a group over the weight of its fish of mean length."""
    return exp((slope_of_weight(p, group) * group.spread) ** 2 / 2)


def normal_between(low, high, tilt=0.0):
    """Share of a normal between two z; with a tilt, share of the weight, which grows by e^tilt per z."""
    return (erfc((low - tilt) / sqrt(2)) - erfc((high - tilt) / sqrt(2))) / 2


def normal_density(z):
    return exp(-z * z / 2) / sqrt(2 * pi)


def mean_and_variance_of_z(low, high):
    whole = max(normal_between(low, high), 1e-300)
    a, b = normal_density(low), normal_density(high)
    mean = (a - b) / whole
    return mean, max(1 + (low * a - high * b) / whole - mean * mean, 1e-6)


def z_of(group, length):
    """Place of a length in the normal, within the cuts, and the standard deviation of that normal."""
    mean, variance = mean_and_variance_of_z(*group.cut)
    sd = group.spread / sqrt(variance)
    if length in (0.0, inf):
        return group.cut[length == inf], sd
    return min(max((log(length / group.length) + sd * mean) / sd, group.cut[0]), group.cut[1]), sd


def longer(p, group, threshold):
    """Share of a group longer than a threshold: lengths are spread about the group's own."""
    return in_window(p, group, threshold, inf)


def weight_longer(p, group, threshold):
    """Share of the weight of a group in fish longer than a threshold."""
    return weight_in_window(p, group, threshold, inf)


def in_window(p, group, shortest, longest):
    a, b = z_of(group, shortest)[0], z_of(group, longest)[0]
    return normal_between(a, b) / max(normal_between(*group.cut), 1e-300)


def weight_in_window(p, group, shortest, longest):
    (a, sd), (b, _) = z_of(group, shortest), z_of(group, longest)
    tilt = slope_of_weight(p, group) * sd
    return normal_between(a, b, tilt) / max(normal_between(*group.cut, tilt), 1e-300)


def amount_inside(p, groups, window, kind):
    """Kg/ha or fish/ha in a length window."""
    if kind == "kg_per_ha":
        return sum(g.biomass * weight_in_window(p, g, *window) for g in groups)
    return sum(g.number * in_window(p, g, *window) for g in groups)


def left_by_window(p, group, shortest, longest, share):
    """Shares of number and weight left when a share of a window is taken, gain of mean log length, spread, and cut."""
    low, high = group.cut
    (a, sd), (b, _) = z_of(group, shortest), z_of(group, longest)
    whole, mean_and_variance = max(normal_between(low, high), 1e-300), mean_and_variance_of_z(low, high)
    number = 1 - share * in_window(p, group, shortest, longest)
    weight = 1 - share * weight_in_window(p, group, shortest, longest)
    if min(number, weight) <= NOTHING:
        return 0.0, 0.0, 0.0, 1.0, group.cut
    mean, variance = mean_and_variance
    at_a, at_b = normal_density(a), normal_density(b)
    mean_left = (mean - share * (at_a - at_b) / whole) / number
    square = variance + mean * mean - share * (normal_between(a, b) + a * at_a - b * at_b) / whole
    variance_left = max(square / number - mean_left * mean_left, 1e-6)
    cut = group.cut
    if share >= 1 and a < b:  # all of them: where none are left at one end, the group ends there
        before, after = normal_between(low, a), normal_between(b, high)
        if after <= 1e-3 * before:
            cut = (low, a)
        elif before < 1e-3 * after:
            cut = (b, high)
        if cut != group.cut:
            mean_left, variance_left = mean_and_variance_of_z(*cut)
    return number, weight, sd * (mean_left - mean), sqrt(variance_left / variance), cut


def place_on_grid(length):
    """Lower grid point and the share that belongs to the point above it."""
    position = min(max(log(length / GRID_FIRST) / GRID_STEP, 0.0), GRID_POINTS - 1.0)
    lower = min(int(position), GRID_POINTS - 2)
    return lower, position - lower


def place_of_weight(p, group):
    """Where the mean log length of a group's weight stands: heavier fish count more."""
    return place_on_grid(group.length * exp(slope_of_weight(p, group) * group.spread**2))


def rise(values, place):
    """What a field read there gains per unit of log length."""
    return (values[place[0] + 1] - values[place[0]]) / GRID_STEP


def read(values, place):
    lower, upper = place
    return values[lower] * (1 - upper) + values[lower + 1] * upper


def lay(values, place, amount):
    lower, upper = place
    values[lower] += amount * (1 - upper)
    values[lower + 1] += amount * upper


class Tables:
    """What depends on parameters and length alone, on the grid."""

    def __init__(self, p):
        # indices: species of prey, length of bass, length of prey
        self.prey_size = [[[prey_size(p, s, a, b) for b in GRID] for a in GRID] for s in range(5)]
        self.food_use = {f: [[food_use(p, s, f, length) for length in GRID] for s in range(5)] for f in FOODS}


def grazing_exponent(p, length):
    """Exponent of the benthos left in how much of it bass of a length meet."""
    from_mm, width = p.benthos_grazing_from_mm[BASS], p.benthos_grazing_width_mm[BASS]
    return p.benthos_grazing_exponent[BASS] * step_up((length - from_mm) / width)


def fertility_exponent(p, length):
    """Exponent of a pond's richness by which bass of a length meet less of its benthos: its large animals gain nothing."""
    return p.benthos_fertility_exponent[BASS] * step_up(
        (length - p.benthos_fertility_from_mm[BASS]) / p.benthos_fertility_width_mm[BASS]
    )


def prey_size(p, species, predator, prey):
    """How well bass of one length take prey of one species and length, before the ease of capture."""
    ratio = prey / predator
    largest = p.prey_length_ratio_max[species]
    if species in (BLUEGILL, REDEAR):
        none_at, full_at = p.young_gape_none_at_mm[BASS], p.young_gape_full_at_mm[BASS]
        largest += p.young_gape_gain[species] * min(1.0, max(0.0, log(none_at / predator) / log(none_at / full_at)))
    return (
        step_up((predator - p.fish_eating_from_mm[BASS]) / p.fish_eating_width_mm[BASS])
        * step_up((ratio - p.prey_length_ratio_min[BASS]) / p.prey_length_ratio_min_width[BASS])
        * step_up((largest - ratio) / p.prey_length_ratio_max_width[BASS])
    )


def food_use(p, species, food, length):
    """How well fish of one species and length use a food of the pond."""
    if food == "littoral":
        if species not in (BLUEGILL, REDEAR):
            return 0.0
        return p.littoral_use[species] * step_up(
            (p.littoral_use_until_mm[species] - length) / p.littoral_use_width_mm[species]
        )
    if food == "algae":
        return p.algae_use[SHAD] if species == SHAD else 0.0
    if food == "snails":
        if species != REDEAR:
            return 0.0
        return p.snails_use[REDEAR] * step_up((length - p.snails_use_from_mm[REDEAR]) / p.snails_use_width_mm[REDEAR])
    if food == "plankton":
        use = p.plankton_use[species]
        if species not in (BASS, BLUEGILL, REDEAR):
            return use
        young = step_up((p.plankton_use_until_mm[species] - length) / p.plankton_use_width_mm[species])
        kept = p.plankton_use_of_large[BLUEGILL] if species == BLUEGILL else 0.0
        return use * (kept + (1 - kept) * young)
    if species == BLUEGILL:
        return p.benthos_use[BLUEGILL] * step_up(
            (length - p.benthos_use_from_mm[BLUEGILL]) / p.benthos_use_from_width_mm[BLUEGILL]
        )
    return 0.0 if isnan(p.benthos_use[species]) else p.benthos_use[species]


# ---------------------------------------------------------------------------------------------- a day, in order


def one_day(pond, day, p, tables, steps=1):
    """Change the pond by one day, in `steps` equal steps. Ages move once a day; spawning comes last."""
    intake = pass_night(pond, day, p) if day.mean_depth_m is not None else 1.0
    for event in day.stockings:
        stock(pond, event, p, day.water_c)
    for event in day.removals:
        remove(pond, event, p)
    for _ in range(steps):
        one_step(pond, day, p, tables, 1 / steps, intake)
    for g in pond.groups:
        g.age += 1 / DAYS_PER_YEAR
        g.days_since_stocked += 1
    spawn(pond, day, p)
    pond.groups = [g for g in pond.groups if g.number >= of_species(p.group_min_per_ha, g.species)]
    if day.joins and p.join_within > 0:
        pond.groups = joined(pond.groups, p)


def joined(groups, p):
    """Fish born in the pond in one year, of one species, sex and growth, join where it changes their brood's lengths little.

    Parts f and g of a brood, of its fish or of its weight, whose means are d apart: 4 f g / (f + g) d^2 up to a limit.
    """
    cells, fish, weight = {}, {}, {}
    for i, g in enumerate(groups):
        if g.brood is not None and g.cut == (-UNCUT, UNCUT):
            brood = (g.species, g.brood)
            cells.setdefault((*brood, g.sex, g.growth), []).append(i)
            fish[brood] = fish.get(brood, 0.0) + g.number
            weight[brood] = weight.get(brood, 0.0) + g.biomass
    kept = {i: [g] for i, g in enumerate(groups)}
    for (*brood, _, _), members in cells.items():
        parts = [
            ([i], groups[i].number / fish[*brood], groups[i].biomass / weight[*brood], log(groups[i].length))
            for i in sorted(members, key=lambda i: groups[i].length)
        ]
        while near := nearest(parts, p):
            for k in reversed(near):
                (a, f, w, x), (b, g, v, y) = parts[k : k + 2]
                parts[k : k + 2] = [(a + b, f + g, w + v, (f * x + g * y) / (f + g))]
        for members, *_ in parts:
            first, *others = sorted(members)
            for i in others:
                kept[first] += kept.pop(i)
    for alike in kept.values():
        if len(alike) == 1:
            continue
        number, biomass = sum(g.number for g in alike), sum(g.biomass for g in alike)
        mean = sum(g.number * log(g.length) for g in alike) / number
        spread = sqrt(sum(g.number * (g.spread**2 + (log(g.length) - mean) ** 2) for g in alike) / number)
        age = sum(g.number * g.age for g in alike) / number
        ration = sum(g.biomass * g.ration for g in alike) / biomass
        first = alike[0]
        first.number, first.weight, first.length, first.spread = number, 1000 * biomass / number, exp(mean), spread
        first.age, first.ration = age, ration
    return [alike[0] for alike in kept.values()]


def nearest(parts, p):
    """Places of parts that join those after them: alike, and more so than with their other neighbours."""
    changes = []
    for (_, f, w, x), (_, g, v, y) in pairwise(parts):
        change = 4 * max(f * g / (f + g), w * v / (w + v)) * ((y - x) / (p.join_within * p.length_cv)) ** 2
        changes.append(change if y - x <= p.length_cv else inf)
    beside = [inf, *changes, inf]
    return [k for k, c in enumerate(changes) if c <= 1 and c < beside[k] and c <= beside[k + 2]]


def one_step(pond, day, p, tables, dt, intake=1.0):
    """All rates use the state at the start of the step; `intake` is what the water's oxygen leaves of intake."""
    groups = pond.groups
    pond.fish = sum(g.biomass for g in groups)
    set_temperature_factors(groups, day, p)
    for g in groups:
        g.intake_factor *= intake
    set_maximum_intake_and_search(groups, day, p)
    set_food_met(pond, day, p, tables)
    out_of_cover = hunt(groups, day, p, tables)
    for g in groups:
        g.hunger = 1 / (1 + g.fish_met + g.other_food_met)  # one saturating response shared by all food
    caught_and_released = angling_catch(pond, day, p)
    learnt = caught_and_released * min(catchable_bass(pond, p), 1.0)  # those that grow up have not learnt what few have
    set_deaths(groups, day, p, dt, caught_and_released)
    set_fish_eaten(groups, p, tables, out_of_cover)
    set_pellets_eaten(groups, day, p)
    food_after = set_food_eaten(pond, day, p, dt)
    if day.fishing:
        book_catch(pond, dt)
    for g in groups:
        grow(g, p, dt)
    for g in groups:
        g.number *= exp(-g.deaths)
    pond.food = food_after
    if caught_and_released or pond.wariness:
        pond.wariness = pond.wariness * exp(-dt / p.wariness_memory_days) + learnt * dt


def of_species(value, species):
    """A parameter that may be shared or one of each species."""
    return value[species] if hasattr(value, "__len__") else value


# ---------------------------------------------------------------------------------------------- oxygen


def saturation(t):
    k = t + 273.15
    return exp(-139.34411 + 1.575701e5 / k - 6.642308e7 / k**2 + 1.243800e10 / k**3 - 8.621949e11 / k**4)


def part_of_day(oxygen, made, taken, wind, share, depth, day, frozen):
    """Oxygen after a share of the day in which some is made and taken, g/m2, and the air exchanged with."""
    speed = 0.0 if frozen else 0.24 * (2.07 + 0.215 * wind**1.7)
    exchange = speed * share / depth
    stays = exp(-exchange)
    counts = (1 - stays) / exchange if exchange > 1e-9 else 1.0
    full = saturation(day.water_c)
    return full + (oxygen - full) * stays + (made - taken) / depth * counts


def pass_night(pond, day, p):
    """Deep water mixes, the night takes, some fish die, the day gives; returns the share of intake that is left."""
    t = day.water_c
    frozen = t < p.ice_below_c
    mixed = p.mixing_depth_at_1_ha_m * (day.area_ha * day.area_share) ** p.mixing_depth_exponent
    mean_depth = day.mean_depth_m * day.area_share
    deep = max(0.0, 1 - mixed / (2 * mean_depth)) ** 2
    depth = mean_depth if frozen else min(mixed, mean_depth)
    night = 0.46 - 0.06 * cos(2 * pi * (day.year_day - 172) / DAYS_PER_YEAR)
    wind = p.mean_wind_m_s * day.wind

    dense = pond.algae_richness / (pond.algae_richness + p.oxygen_production_half) * pond.bloom
    relative = (1 + p.oxygen_production_half) * dense  # to a fertilised pond's ordinary bloom
    if day.collapse < p.bloom_collapse_per_day * relative * step_up((t - p.bloom_collapse_above_c) / 1.5):
        left = p.bloom_left_after_collapse
        pond.waste += p.oxygen_of_collapse_g_per_m2 * relative * (1 - left)
        pond.bloom *= left
        dense *= left

    if pond.warmth is None:
        pond.warmth = t
    mixes = step_up((wind - 9) / 0.7) + step_up(12 - t) + step_up((pond.warmth - t - p.turnover_cooling_c) / 0.4)
    mixes = min(1.0, mixes)
    start = max(0.0, pond.oxygen - (0.0 if frozen else mixes * deep * pond.deep_short))
    fallen_behind = pond.deep_short * (1 - mixes) + p.deep_shortage_mg_l_per_day * 1.07 ** (t - 25)
    pond.deep_short = min(p.deep_shortage_most_mg_l, fallen_behind)
    pond.warmth += (t - pond.warmth) / 3

    debris = 0.0 if frozen else p.waste_decay_per_day * pond.waste
    pond.waste -= debris
    if frozen:
        rich = min(1.0, max(0.0, (pond.algae_richness - 0.35) / 0.65))
        poorest, richest = p.ice_bottom_poor_g_per_m2_day, p.ice_bottom_rich_g_per_m2_day
        taken = p.ice_water_g_per_m3_day * depth + poorest + (richest - poorest) * rich
    else:
        taken = p.bloom_respires_lately * pond.made_lately
        taken += p.mud_oxygen_g_per_m2_day * 1.07 ** (t - 25)
        taken += 1e-4 * pond.fish / day.area_share * p.fish_oxygen_mg_per_kg_hour * 24 / 1000 * 1.07 ** (t - 28)
        taken += debris

    def fades(oxygen):
        return min(1.0, oxygen / p.ice_limited_below_mg_l) if frozen else oxygen / (oxygen + p.oxygen_fade_mg_l)

    dawn = part_of_day(start, 0.0, taken * fades(start) * night, p.night_wind_share * wind, night, depth, day, frozen)
    dawn, refuge = aerated(max(0.0, dawn), start, 24 * night, depth, day, p)
    sky = p.overcast_light + (1 - p.overcast_light) * step_up(p.cloud_steepness * (day.cloud + 1))
    light = sky * (0.62 + 0.38 * cos(2 * pi * (day.year_day - 172) / DAYS_PER_YEAR))
    response = (1 - exp(-light / p.bloom_light_point)) / (1 - exp(-1 / p.bloom_light_point))
    made = 0.0 if frozen else p.oxygen_production_most * dense * response * 1.05 ** (t - 28)
    kept = made * (1 - p.bloom_respires_today)
    dusk = part_of_day(dawn, kept, taken * fades(dawn) * (1 - night), wind, 1 - night, depth, day, frozen)
    pond.oxygen = min(max(dusk, 0.0), 2.2 * saturation(t))
    pond.made_lately += (made - pond.made_lately) / p.bloom_memory_days
    pond.bloom += p.bloom_recovery_per_day * pond.bloom * (1 - pond.bloom)
    pond.waste += 0.1 * day.pellets_kg_per_ha / day.area_share * p.feed_oxygen_kg_per_kg

    rise = 1 + 0.03 * (min(max(t, 8.0), 36.0) - 28)
    for g in pond.groups:
        large = step_up((log(g.weight) - log(1000)) / 0.2)
        limit = (p.oxygen_limit_mg_l[g.species] + 0.2 * large) * rise
        share = (step_up((limit - dawn) / (p.oxygen_limit_width_mg_l[g.species] * rise)) - 1e-3) / (1 - 1e-3)
        dead = g.number * max(0.0, share) * (1 - refuge)
        pond.suffocated[g.species] += dead
        g.number -= dead
    return max(0.05, growth_in((start + dawn) / 2))


def aerated(dawn, start, night_hours, depth, day, p):
    """Dawn with what aerators add, and the share of fish in their refuge."""
    lost, added = 1.0, 0.0
    shortage = max(0.0, p.transfer_beta * saturation(day.water_c) - dawn)
    for kw, kind, hours, below in day.aerators:
        kw /= day.area_share
        if hours is None:
            hours = night_hours * min(1.0, max(0.0, (below - dawn) / max(start - dawn, 1e-9)))
            works = dawn < below
        else:
            works = hours > 0
        per_kwh = getattr(p, f"aerator_{kind}_kg_per_kwh") * p.transfer_alpha * shortage / 9.09 * 1.024 ** (day.water_c - 20)
        added += kw * hours * per_kwh * 0.1 / depth
        lost *= exp(-kw / p.aerator_reach_kw_per_ha) if works else 1.0
    return dawn + min(added, shortage), 1 - lost


def growth_in(oxygen):
    """Growth of bass at a steady oxygen relative to full, by straight lines."""
    table = ((1.0, 0.0), (3.0, 0.77), (4.0, 0.91), (5.0, 0.99), (6.0, 1.0))
    for (low, at_low), (high, at_high) in pairwise(table):
        if oxygen < high:
            return at_low + (at_high - at_low) * max(0.0, oxygen - low) / (high - low)
    return 1.0


# ---------------------------------------------------------------------------------------------- stocking and removal


def add_groups(
    pond, p, species, number, female_share, length_of_type, weight_of, age, ration, since, origin, brood=None, spread=None
):
    """One origin's groups: three growth types for bass (each sex), bluegill and redear, one for shad and minnows."""
    spread = p.length_cv if spread is None else spread
    outer = (1 - p.growth_type_middle_share) / 2
    types = ((0.0, 1.0),)
    if species in (BASS, BLUEGILL, REDEAR):
        z = p.growth_type_z
        types = ((-z, outer), (0.0, p.growth_type_middle_share), (z, outer))
    sexes = (("both", 1.0, female_share),)
    if species == BASS:
        sexes = (("female", female_share, 1.0), ("male", 1 - female_share, 0.0))
    for sex, sex_share, females in sexes:
        for z, type_share in types:
            growth = exp(p.growth_spread[species] * z)
            length = length_of_type(z, growth)
            pond.groups.append(
                Group(
                    species,
                    origin,
                    sex,
                    females,
                    growth,
                    z,
                    number * sex_share * type_share,
                    weight_of(length) * exp((p.standard_weight_slope[species] * spread) ** 2 / 2),
                    length,
                    age,
                    ration,
                    since,
                    spread,
                    brood,
                )
            )


def stock(pond, event, p, water_c=None):
    """Faster growers are a little longer when stocked; a stated spread of lengths replaces that."""
    spread = p.length_cv
    if event.length_cv is not None:
        types = event.species in (BASS, BLUEGILL, REDEAR)
        spread = max(1e-3, min(event.length_cv, p.length_cv) if types else event.length_cv)

    def length_of_type(z, growth):
        if event.length_cv is None:
            return event.length_mm * growth**p.stocking_length_growth_exponent
        between_types = max(0.0, event.length_cv**2 - spread**2) / (1 - p.growth_type_middle_share)
        return event.length_mm * exp(sqrt(between_types) * z / p.growth_type_z)

    def weight_of(length):
        weight = standard_weight(p, event.species, length)
        if event.weight_g is not None:
            weight *= event.weight_g / standard_weight(p, event.species, event.length_mm)
        return weight

    add_groups(
        pond,
        p,
        event.species,
        event.per_ha,
        event.female_share,
        length_of_type,
        weight_of,
        event.age_years,
        p.stocking_ration,
        0.0,
        event.origin,
        spread=spread,
    )
    if event.truck is None:
        return
    dying = deaths_of_move(p, event, water_c)
    for g in pond.groups:
        if g.origin == event.origin:
            g.number *= exp(-dying * p.move_deaths_at_once)
            g.hauling = dying * (1 - p.move_deaths_at_once) / p.move_deaths_days


def deaths_of_move(p, event, water_c):
    """Natural log of the share that lives after a move, negative: handling, hours, and a step of temperature."""
    hours, from_c, tempered, salted = event.truck
    s = event.species
    smaller = (100 / event.length_mm) ** p.handling_size_exponent
    warmer = exp(p.handling_warming_per_c * (water_c - p.handling_reference_c))
    dying = p.handling_deaths[s] * smaller * warmer + (hours / p.haul_hours[s]) ** p.haul_power
    dying *= p.salt_left if salted else 1
    step = 0.0 if from_c is None or tempered else water_c - from_c
    shock = (max(0, abs(step) - p.shock_from_c) / p.shock_scale_c) ** 2
    return dying + p.shock_deaths[s] * shock * (p.shock_of_cooling if step < 0 else 1)


def remove(pond, event, p):
    groups = [g for g in pond.groups if g.species == event.species]
    there = amount_inside(p, groups, (event.shortest_mm, event.longest_mm), event.kind)
    share = event.amount if event.kind == "share" else min(1.0, event.amount / max(there, 1e-300))
    for g in groups:
        number, weight, gain, narrower, g.cut = left_by_window(p, g, event.shortest_mm, event.longest_mm, share)
        g.number *= number
        g.weight *= weight / number if number else 1.0
        g.length *= exp(gain)
        g.spread *= narrower


# ---------------------------------------------------------------------------------------------- meeting food


def set_temperature_factors(groups, day, p):
    t = day.water_c
    intake, search, respiration, lengthening = [], [], [], []
    for s in range(5):
        warmth = dome(t, p.intake_dome_q[s], p.intake_optimum_c[s], p.intake_maximum_c[s])
        feeding = step_up((t - p.feeding_stops_below_c[s]) / p.feeding_stop_width_c[s])
        intake.append(max(p.intake_dome_floor, warmth * feeding))
        search.append(max(p.search_dome_floor, warmth) ** -p.search_cold_exponent)  # falls less with cold than intake
        if s in (BASS, SHAD):
            burning = exp(p.respiration_per_c[s] * min(t, p.respiration_flat_above_c[s]))
        else:
            best = p.respiration_optimum_c[s]
            burning = dome(min(t, best), p.respiration_dome_q[s], best, p.respiration_maximum_c[s])
        respiration.append(burning)
        lengthening.append(warmth)
    cold = step_up((p.winter_rest_below_c - t) / p.winter_rest_width_c)
    for g in groups:
        g.intake_factor, g.search_factor = intake[g.species], search[g.species]
        g.length_factor = lengthening[g.species]
        awake = 1 - p.winter_rest_share[g.species]
        left = 1 - cold * (1 - awake)
        if g.species == BASS:  # small bass rest more deeply
            left += max(0.0, cold - 1e-6) * awake * ((g.weight / 100) ** p.winter_rest_size_exponent[BASS] - 1)
        g.respiration_factor = respiration[g.species] * left


def set_maximum_intake_and_search(groups, day, p):
    """Maximum intake and appetite, g/g/d; area searched, ha/d per kg of bass, less where bass as large or larger are many."""
    large = [0.0] * GRID_POINTS
    for g in groups:
        if g.species == BASS:
            lay(large, place_of_weight(p, g), g.biomass * weight_longer(p, g, p.interference_from_mm[BASS]))
    unhindered = []
    for own in GRID:
        in_the_way = sum(
            there * step_up(log(other / (p.interference_length_share[BASS] * own)) / p.interference_length_width[BASS])
            for other, there in zip(GRID, large, strict=True)
        )
        unhindered.append(1 / (1 + p.interference_ha_per_kg[BASS] * in_the_way / day.area_share))
    for g in groups:
        s = g.species
        g.max_intake = (
            p.max_intake_at_1_g[s]
            * g.weight ** p.max_intake_exponent[s]
            * g.intake_factor
            * g.growth
            * day.local_growth[s]
        )
        g.condition = g.weight / mean_over_middle_weight(p, g) / standard_weight(p, s, g.length)
        g.appetite = g.max_intake
        g.search = 0.0
        if s == BASS:
            g.grown = step_up((g.length - p.two_phase_from_mm[BASS]) / p.two_phase_width_mm[BASS])
            full = (g.condition / p.full_condition[BASS]) ** p.full_condition_power[BASS]
            g.appetite /= 1 + g.grown * full  # the grown cannot turn a surplus into length
            area = p.search_area_at_100_g[BASS] * (g.weight / 100) ** -p.search_area_exponent[BASS]
            area *= g.growth ** p.search_growth_exponent[BASS]
            g.search = area * g.intake_factor * g.search_factor * read(unhindered, place_of_weight(p, g)) / day.area_share
            if day.plants is not None:
                g.search *= 1 - p.plants_hinder_per_share * max(0.0, day.plants - p.plants_hinder_from_share)


def set_food_met(pond, day, p, tables):
    """Food of the pond met, as multiples of what half satisfies."""
    for g in pond.groups:
        g.place = place_of_weight(p, g)
        size = 1.0
        if g.species in (BASS, BLUEGILL, REDEAR):
            offset, reference = p.foraging_size_offset_g[g.species], p.foraging_size_reference_g[g.species]
            size = ((g.weight + offset) / reference) ** -p.foraging_size_exponent[g.species]
        ease = g.search_factor * size / p.resource_half_saturation_kg_per_ha[g.species] / day.area_share
        g.food_met = {f: read(tables.food_use[f][g.species], g.place) * pond.food[f] * ease for f in FOODS}
        if g.species == BASS:  # they take large animals; where benthos is grazed down, what is left is small
            left, use = pond.food["benthos"] / p.benthos_capacity_kg_per_ha, tables.food_use["benthos"][BASS]
            richer = max(1.0, day.fertility / 0.35)
            found = [
                u * left ** grazing_exponent(p, length) * richer ** -fertility_exponent(p, length)
                for u, length in zip(use, GRID, strict=True)
            ]
            g.food_met["benthos"] = read(found, g.place) * pond.food["benthos"] * ease
        for f in FOODS:
            if f != "algae":  # animal food first; only threadfin eat algae
                g.food_met[f] *= 1 + g.food_met["algae"]
        g.other_food_met = sum(g.food_met.values())


def hunt(groups, day, p, tables):
    """Two passes: bass search what is out of cover, and what is out of cover depends on their search.

    Sets each group's predation rate and each bass group's encounter with fish; returns the share of prey out of cover.
    """
    for g in groups:
        g.naive = 1 + p.naive_ease * exp(-g.days_since_stocked / p.naive_days) if g.days_since_stocked < inf else 1.0
        g.fish_met = 0.0
    bass = [g for g in groups if g.species == BASS]
    ease = ease_of_capture(groups, day, p)
    leaving_cover = []
    for s in range(5):
        stands = day.cover * day.area_share
        if day.plants is not None:
            planted = min(3.0, day.plants / p.plants_of_ordinary_pond) * day.area_share
            stands += (p.plants_hide[s] if s in (SHAD, MINNOW) else 1.0) * (planted - stands)
        cover = [min(0.99, stands * p.cover_share * exp(-((length / p.cover_length_mm) ** 2))) for length in GRID]
        leaving_cover.append([p.exposure_per_day[s] * (1 - c) for c in cover])
    prey = lay_prey(groups, [g.biomass * g.naive for g in groups])
    out_of_cover = [[1.0] * GRID_POINTS for _ in range(5)]

    reach_prey(bass, ease, prey, out_of_cover, tables)
    hunted = hunting_pressure(bass, ease, prey, tables)
    out_of_cover = [[1 / (1 + h / v) for h, v in zip(hunted[s], leaving_cover[s], strict=True)] for s in range(5)]
    reach_prey(bass, ease, prey, out_of_cover, tables)
    hunted = hunting_pressure(bass, ease, prey, tables)

    taken = [[o * h for o, h in zip(out_of_cover[s], hunted[s], strict=True)] for s in range(5)]
    for g in groups:
        g.predation = read(taken[g.species], g.place) * g.naive  # per g
        g.predation_rise = rise(taken[g.species], g.place) * g.naive
    return [[o * e for o in out] for out, e in zip(out_of_cover, ease, strict=True)]


def ease_of_capture(groups, day, p):
    """By prey species; shad are hard to find when few."""
    ease = list(p.capture_ease)
    shad = sum(g.biomass for g in groups if g.species == SHAD) / day.area_share
    half = p.exposure_half_saturation_kg_per_ha[SHAD]
    ease[SHAD] *= shad**2 / (shad**2 + half**2)
    return ease


def lay_prey(groups, amounts):
    """Amounts of fish on the length grid, by species."""
    field = [[0.0] * GRID_POINTS for _ in range(5)]
    for g, amount in zip(groups, amounts, strict=True):
        lay(field[g.species], g.place, amount)
    return field


def within_reach(bass, weights, prey, tables):
    """Prey that bass of each grid length can reach, kg/ha; only where there are bass."""
    reach = [0.0] * GRID_POINTS
    occupied = [[b for b in range(GRID_POINTS) if prey[s][b] > 0] for s in range(5)]
    for a in {point for g in bass for point in (g.place[0], g.place[0] + 1)}:
        reach[a] = sum(tables.prey_size[s][a][b] * weights[s][b] * prey[s][b] for s in range(5) for b in occupied[s])
    return reach


def reach_prey(bass, ease, prey, out_of_cover, tables):
    weights = [[e * o for o in out] for e, out in zip(ease, out_of_cover, strict=True)]
    reach = within_reach(bass, weights, prey, tables)
    for g in bass:
        g.fish_met = g.search * read(reach, g.place) / g.appetite


def hunting_pressure(bass, ease, prey, tables):
    """Rate at which prey that are out of cover are taken, by species and length; only where there is prey."""
    load = [0.0] * GRID_POINTS
    for g in bass:
        lay(load, g.place, g.biomass * g.search / (1 + g.fish_met + g.other_food_met))
    hunters = [a for a in range(GRID_POINTS) if load[a] > 0]
    return [
        [
            ease[s] * sum(tables.prey_size[s][a][b] * load[a] for a in hunters) if prey[s][b] > 0 else 0.0
            for b in range(GRID_POINTS)
        ]
        for s in range(5)
    ]


# ---------------------------------------------------------------------------------------------- deaths


def catchable_bass(pond, p):
    return sum(g.number * longer(p, g, STOCK_LENGTH_OF_BASS) for g in pond.groups if g.species == BASS)


def angling_catch(pond, day, p):
    """How often a catchable bass is caught and let go, per day; the catch falls as fish grow scarce and wary."""
    if day.angling_hours_per_ha == 0:
        return 0.0
    there = max(catchable_bass(pond, p), 1.0)  # a fish is caught no more often for the want of others
    per_hour = p.catch_per_hour_at_100_per_ha * (there / 100) ** p.catch_density_exponent
    return per_hour / (1 + p.wariness_per_catch * pond.wariness) * day.angling_hours_per_ha / there


def set_deaths(groups, day, p, dt, caught_and_released):
    """Deaths per fish over the step by all causes, and the mean share of the group alive during it."""
    fishing = [harvest_rates(groups, rule, p, dt) for rule in day.fishing]
    beyond = sum(g.biomass for g in groups) / p.crowding_from_kg_per_ha - 1
    crowding = min(1.0, max(0.0, p.crowding_deaths_per_day * beyond))
    for i, g in enumerate(groups):
        s = g.species
        background = (
            p.background_deaths_multiplier[s]
            * p.background_deaths_at_1_g_per_year
            * g.weight**p.background_deaths_exponent
            * exp(p.background_deaths_warming_per_c * (day.water_c - p.background_deaths_reference_c))
            / DAYS_PER_YEAR
            / day.local_survival[s]
        )
        gain = p.background_deaths_size_gain[s]
        if not isnan(gain):
            background *= (g.weight / p.background_deaths_pivot_g[s]) ** gain
        fry = 0.0
        if s == BASS:
            fry = p.fry_deaths_per_day[BASS] * (p.recruit_length_mm[BASS] / g.length) ** p.fry_deaths_exponent[BASS]
        thin = max(0.0, p.starvation_below_condition - g.condition) / p.starvation_width
        starvation = p.starvation_deaths_per_day * thin
        past = (g.age / p.oldest_age_years[s] - p.old_age_from_share) / p.old_age_ramp_share
        old_age = p.old_age_deaths_per_year / DAYS_PER_YEAR * min(p.old_age_ramp_limit, max(0.0, past))
        cold = 0.0
        if not isnan(p.cold_deaths_per_day[s]):  # of 100 mm; the smaller die more, but for threadfin
            chilled = step_up((p.cold_deaths_below_c[s] - day.water_c) / p.cold_deaths_width_c[s])
            cold = p.cold_deaths_per_day[s] * max(0.0, chilled - 1e-6)
            if not isnan(p.cold_deaths_size_exponent[s]):
                cold *= (100 / g.length) ** p.cold_deaths_size_exponent[s]
        slope = slope_of_weight(p, g)
        moved = max(-g.spread**2 * g.predation_rise * dt, -g.predation * dt / slope)
        moved = min(max(moved, -g.spread / 2), g.spread / 2)
        eaten = max(0.0, g.predation + moved * slope / dt)  # predation per fish
        taken = [rates[i] for rates in fishing]
        if s == BASS and caught_and_released:
            dying = caught_and_released * day.death_after_release
            taken.append(window_deaths(p, g, STOCK_LENGTH_OF_BASS, inf, dying, dt))
        g.harvest, g.harvest_by_weight = (sum(t[k] for t in taken[: len(fishing)]) for k in (0, 1))
        hauling = g.hauling if g.days_since_stocked < p.move_deaths_days else 0.0
        natural = background + fry + starvation + old_age + cold + crowding + hauling
        g.deaths = (eaten + natural + sum(t[0] for t in taken)) * dt
        g.weight_deaths = (g.predation + natural + sum(t[1] for t in taken)) * dt
        g.mean_alive = -expm1(-g.deaths) / g.deaths
        g.weight_alive = -expm1(-g.weight_deaths) / g.weight_deaths
        g.moved = moved + sum(t[2] for t in taken)
        g.narrower = prod(t[3] for t in taken)


def window_deaths(p, group, shortest, longest, per_day, dt):
    """Fish of a window die at a rate: deaths per fish and per g and day, gain of mean log length, and of spread."""
    share = min(-expm1(-per_day * dt), 1 - 1e-9)
    number, weight, gain, narrower, _ = left_by_window(p, group, shortest, longest, share)
    return -log(max(number, NOTHING)) / dt, -log(max(weight, NOTHING)) / dt, gain, narrower


def harvest_rates(groups, rule, p, dt):
    """What a rule does to each group in a step, as `window_deaths`. A quota asks for F, bounded by what anglers catch."""
    window = (rule.shortest_mm, rule.longest_mm)
    if rule.kind == "share":
        season = -log(1 - min(rule.ask, 1 - 1e-9))
    else:
        there = amount_inside(p, [g for g in groups if g.species == rule.species], window, rule.kind)
        limit, power = p.quota_fishing_limit_per_year, p.quota_limit_power
        wanted = min(rule.ask / max(there, 1e-300), 1e6 * limit)
        season = wanted / (1 + (wanted / limit) ** power) ** (1 / power)
    per_day = season * rule.effort
    return [window_deaths(p, g, *window, per_day, dt) if g.species == rule.species else (0, 0, 0, 1) for g in groups]


def book_catch(pond, dt):
    """Catch is harvest's share of the deaths, of fish and of weight."""
    for g in pond.groups:
        pond.caught_number[g.species] += g.number * g.mean_alive * g.harvest * dt
        pond.caught_biomass[g.species] += g.biomass * g.weight_alive * g.harvest_by_weight * dt


# ---------------------------------------------------------------------------------------------- eating: what was there


def set_fish_eaten(groups, p, tables, catchable):
    """Bass eat what died of predation: the prey is laid again as it was alive over the step."""
    bass = [g for g in groups if g.species == BASS]
    alive = lay_prey(groups, [g.biomass * g.naive * g.weight_alive for g in groups])
    reach = within_reach(bass, catchable, alive, tables)
    for g in groups:
        g.fish_eaten = g.search * read(reach, g.place) * g.hunger if g.species == BASS else 0.0


def set_pellets_eaten(groups, day, p):
    """Bluegill of a size to take pellets share what is not wasted."""
    for g in groups:
        g.pellets_eaten = 0.0
    if day.pellets_kg_per_ha == 0 or day.water_c <= p.pellets_above_c[BLUEGILL]:
        return
    bluegill = [g for g in groups if g.species == BLUEGILL]
    for g in bluegill:
        room = max(0.0, p.pellet_ration_target[BLUEGILL] - (1 - g.hunger))
        g.pellets_eaten = p.pellet_access[BLUEGILL] * room * g.appetite * weight_longer(p, g, p.pellets_from_mm[BLUEGILL])
    wanted = sum(g.pellets_eaten * g.biomass for g in bluegill)
    share = min(1.0, day.pellets_kg_per_ha * (1 - p.pellet_waste_share) / max(wanted, 1e-300))
    for g in bluegill:
        g.pellets_eaten *= share


def set_food_eaten(pond, day, p, dt):
    """Food of the pond eaten is what the pond gave; returns what is left."""
    eaten = sum(g.pellets_eaten * g.biomass for g in pond.groups)
    f = day.fertility + p.pellet_fertility_ha_day_per_kg * (day.pellets_kg_per_ha - eaten)
    pond.richness = f * sqrt((1 + p.renewal_saturation) / (p.renewal_saturation + f * f))
    pond.algae_richness = f / (1 + (f / p.algae_light_limit) ** 4) ** 0.25  # linear up to a limit of light
    sun = max(0.0, cos(2 * pi * (day.year_day - p.light_peak_day) / DAYS_PER_YEAR))
    light = p.light_floor + (1 - p.light_floor) * sun
    warmth = p.renewal_q10 ** ((day.water_c - p.renewal_reference_c) / 10)
    after = {}
    for g in pond.groups:
        displaced = 1.0
        if g.species == BLUEGILL:
            displaced = max(0.0, 1 - p.pellet_displacement[BLUEGILL] * g.pellets_eaten / g.appetite)
        g.food_eaten = {food: g.appetite * g.food_met[food] * g.hunger * displaced for food in FOODS}
    for food in FOODS:
        capacity, renewal = (getattr(p, f"{food}_{what}") for what in ("capacity_kg_per_ha", "renewal_per_day"))
        before = pond.food[food]
        renewed = day.area_share * renewal * warmth * (pond.algae_richness if food == "algae" else pond.richness) * light * dt
        wanted = sum(g.food_eaten[food] * g.biomass for g in pond.groups) * dt
        after[food] = max((before + renewed * capacity) / (1 + renewed + wanted / before), p.resource_floor_kg_per_ha)
        for g in pond.groups:
            g.food_eaten[food] *= after[food] / before
    return after


# ---------------------------------------------------------------------------------------------- growth


def grow(g, p, dt):
    s = g.species
    eaten = g.fish_eaten + sum(g.food_eaten.values()) + g.pellets_eaten
    energy = (
        g.fish_eaten * p.prey_fish_energy_j_per_g
        + g.pellets_eaten * p.pellet_energy_j_per_g
        + sum(g.food_eaten[food] * getattr(p, f"{food}_energy_j_per_g") for food in FOODS)
    )
    gain = energy * (1 - p.egested_share[s]) * (1 - p.excreted_share[s] - p.digestion_cost_share[s])
    activity = p.activity_multiplier[s]
    body_energy = p.body_energy_j_per_g[s]
    if not isnan(p.activity_per_kg[s]):
        activity *= 1 + p.activity_per_kg[s] * g.weight / 1000
    if s == BASS:
        rise = p.body_energy_exponent[BASS]
        body_energy *= (1 + rise) * (g.weight / 100) ** rise  # of the next gram; 4186 J/g at 100 g is of the whole body
    respiration = (
        p.respiration_at_1_g[s]
        * g.weight ** p.respiration_exponent[s]
        * g.respiration_factor
        * activity
        * p.oxygen_energy_j_per_g
    )
    if s == BASS:  # the hungry look for food all day
        respiration *= 1 + p.searching_cost[BASS] * g.intake_factor * g.hunger
    growth = (gain - respiration) / body_energy
    growth = min(max(growth, -p.weight_loss_limit_per_day), p.weight_gain_limit_per_day) * dt

    g.ration += (eaten / g.max_intake - g.ration) * -expm1(-dt / p.ration_memory_days)
    if growth > 0:  # thin fish put on weight first, plump fish length
        limited = g.ration / (1 + (g.ration / p.condition_ration_limit) ** 4) ** 0.25
        set_point = p.condition_at_no_food + p.condition_gain_at_full_food * limited
        share = min(p.length_growth_limit, (g.condition / set_point) ** p.length_growth_power)
        slope = 3.0 if g.length < p.isometric_below_mm[s] else p.standard_weight_slope[s]
        longer = growth / slope * share
        if s == BASS:
            potential = length_potential(g, p) * dt
            longer += g.grown * (longer / (1 + (longer / max(potential, 1e-300)) ** 4) ** 0.25 - longer)
        g.length *= exp(longer)
    g.length *= exp(g.moved)
    g.spread *= g.narrower
    g.weight *= exp(growth + g.deaths - g.weight_deaths)


def length_potential(g, p):
    """Most that a grown bass lengthens a day, in log length: K f(T) (L / L_infinity, smoothed), by sex."""
    female = g.sex == "female"
    longest = p.asymptotic_length_female_mm[BASS] if female else p.asymptotic_length_male_mm[BASS]
    longest *= exp(p.asymptotic_length_spread[BASS] * g.growth_z)
    per_year = p.growth_coefficient_female_per_year[BASS] if female else p.growth_coefficient_male_per_year[BASS]
    room, blur = longest / g.length - 1, 0.02
    smooth = room if room > 30 * blur else blur * log1p(exp(room / blur))
    return per_year / DAYS_PER_YEAR * g.length_factor * smooth


# ---------------------------------------------------------------------------------------------- spawning


def spawn(pond, day, p):
    """Spawning gathers as the water allows and is released as pulses of young at fixed slots of the year."""
    if day.year_day == 0:
        pond.spawning_gathered = [0.0] * 5
        pond.spawning_released = [0.0] * 5
    for s in range(5):
        pond.spawned[s].append(spawning_today(s, day, p))
        pond.spawning_gathered[s] += grown_to_recruits(pond.spawned[s], p.recruit_delay_days[s])
        if day.first_of_run or (day.year_day + 1) % int(p.pulse_slot_days[s]) == 0:
            gathered = pond.spawning_gathered[s]
            done = -expm1(-gathered) if s == BASS else gathered
            ready = done - pond.spawning_released[s]
            if ready >= p.pulse_min_weight:  # otherwise it waits for the next slot
                pond.spawning_released[s] = done
                one_pulse(pond, s, ready, day, p)


def grown_to_recruits(spawned, delay):
    """Spawning of so many days ago, parts of a day shared between two; none before the run."""
    if isnan(delay):
        return spawned[-1]
    whole = floor(delay)
    earlier = [spawned[-1 - by] if by < len(spawned) else 0.0 for by in (whole, whole + 1)]
    return (1 - (delay - whole)) * earlier[0] + (delay - whole) * earlier[1]


def spawning_today(s, day, p):
    """For bass a hazard, for the others a share of a cycle."""
    if day.year_day < p.spawning_first_day[s] or day.year_day > p.spawning_last_day[s]:  # False for NaN: no such limit
        return 0.0
    warm = step_up((day.water_c - p.spawning_from_c[s]) / p.spawning_width_c[s])
    if s == BASS:
        return p.spawning_hazard_per_day[BASS] * warm
    if s == SHAD:
        warm *= step_up((p.spawning_until_c[SHAD] - day.water_c) / p.spawning_width_c[s])
        if day.year_day >= p.spawning_autumn_from_day[SHAD]:
            warm *= p.spawning_autumn_share[SHAD]
    return warm / p.spawning_cycle_days[s]


def one_pulse(pond, species, ready, day, p):
    parents = [g for g in pond.groups if g.species == species and g.age >= p.mature_age_years]
    mature = [weight_longer(p, g, p.mature_length_mm[species]) for g in parents]
    females = sum(g.biomass * g.female_share * part for g, part in zip(parents, mature, strict=True))
    left = 1.0
    if species in (BASS, BLUEGILL, REDEAR):
        eaters = egg_predators(pond, p)
        left /= 1 + (eaters / p.egg_predator_half_kg_per_ha[species]) ** p.egg_predator_exponent[species]
    if species == BASS:
        males = sum(g.biomass * (1 - g.female_share) * weight_longer(p, g, p.male_mature_length_mm[BASS]) for g in parents)
        left *= males / (males + p.male_half_saturation_kg_per_ha[BASS])
    half = p.recruits_half_saturation_kg_per_ha[species]
    young = ready * p.recruits_cap_per_ha[species] * females / (females + half) * left * day.local_spawning[species]
    larval_food = pond.richness * pond.food["plankton"] / p.plankton_capacity_kg_per_ha
    young *= larval_food ** p.recruit_food_exponent[species]
    for g, part in zip(parents, mature, strict=True):
        cost = p.spawning_cost_male[BASS] if g.sex == "male" else p.spawning_cost_female[species]
        g.weight *= 1 - cost * min(ready, 1.0) * part
    if young >= p.pulse_min_per_ha:
        length = p.recruit_length_mm[species]
        add_groups(
            pond,
            p,
            species,
            young,
            p.female_share,
            lambda z, growth: length,
            lambda own: standard_weight(p, species, own),
            p.recruit_age_years,
            p.recruit_ration,
            inf,
            "wild",
            day.year,
        )


def egg_predators(pond, p):
    """Bluegill, and bass of the years before, of a size to eat eggs and fry, kg/ha, the hungry counting more."""
    return sum(
        g.biomass
        * weight_in_window(p, g, p.egg_eating_from_mm[g.species], p.egg_eating_until_mm[g.species])
        * p.egg_eating[g.species]
        * (2 * max(p.egg_predator_hunger_floor, 1 - g.ration)) ** p.egg_predator_hunger_exponent
        for g in pond.groups
        if g.species in (BASS, BLUEGILL)
    )
