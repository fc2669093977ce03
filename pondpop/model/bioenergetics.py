"""Intake, respiration and growth of a fish: what it can eat, what it respires, what it gains. Nothing here changes the pond.

Mass in g, length in mm, temperature in °C, rates per day, energy in J. Sources stand beside each equation; the
values that go into them live in the species files. Arrays are [member, group] unless said.
"""

from __future__ import annotations

from math import log

import numpy as np

from pondpop.arrays import Array, Value, hold_between, logistic, softplus
from pondpop.model.state import Pond
from pondpop.species import Parameters, kinds_with, species_with

LOG_OF_100_G = log(100.0)
SEARCHING, TWO_PHASES, RESTING, RICHER = (
    species_with(habit) for habit in ("searches at a cost", "grows in two phases", "rests by size", "richer when large")
)

# ---------------------------------------------------------------------- temperature


def temperature_dome(water_c: Value, q: Value, optimum_c: Value, maximum_c: Value) -> Array:
    """Dome-shaped response to temperature: 1 at the optimum, 0 at and above the maximum.

    Kitchell, Stewart & Weininger 1977 (from memory); q is the rise per 10 °C at low temperature.
    """
    span = np.asarray(maximum_c, dtype=float) - optimum_c
    log_q = np.log(q)
    y = log_q * (span + 2.0)
    x = (log_q * span) ** 2 * (1.0 + np.sqrt(1.0 + 40.0 / y)) ** 2 / 400.0
    v = np.maximum((np.asarray(maximum_c, dtype=float) - water_c) / span, 0.0)
    return v**x * np.exp(x * (1.0 - v))


def intake_temperature_factor(
    dome: Array, water_c: Value, stops_below_c: Value, width_c: Value, floor: Value
) -> Array:
    """Share of the maximum intake that temperature allows, with feeding fading out in the cold; at least `floor`."""
    return np.maximum(floor, dome * logistic((np.asarray(water_c) - stops_below_c) / width_c))


def winter_cold(water_c: Value, rest_below_c: Value, width_c: Value) -> Array:
    """Share of its winter rest that a fish takes in water of a temperature (assumed shape)."""
    return logistic((np.asarray(rest_below_c) - np.asarray(water_c)) / width_c)


def resting_share(cold: Array, rest_share: Value) -> Array:
    """Share of a resting fish's respiration that is respired at rest, and so depends on size as rest does.

    With a share c of winter rest, respiration is multiplied by 1 − c + c·(1 − rest)·(W/100)^exponent, so that small
    fish rest more deeply, as the losses of unfed bass of 2–517 g ask for (Breck 2014). The last millionth of c is
    cut off, so that in warm water nothing needs to be worked out.
    """
    return np.maximum(0.0, cold - 1e-6) * (1.0 - np.asarray(rest_share)) / (1.0 - rest_share * cold)


def respiration_of_day(p: Parameters, water_c: Array) -> Array:
    """Respiration relative to that at the kind's own reference [day, member, kind].

    In the exponential form e^(k·min(T, T_flat)), in the other the rise of a dome (sources in the species files), which stays
    at its top in hotter water: fish that eat nothing there must not live without cost. Times 1 − rest·cold in winter.
    """
    respiration = np.empty((*water_c.shape, p.respiration_at_1_g.shape[1]))
    for k in kinds_with("respiration: exponential", p.kinds):
        respiration[:, :, k] = np.exp(p.respiration_per_c[:, k] * np.minimum(water_c, p.respiration_flat_above_c[:, k]))
    for k in kinds_with("respiration: dome", p.kinds):
        top_c = np.minimum(water_c, p.respiration_optimum_c[:, k])
        respiration[:, :, k] = temperature_dome(
            top_c, p.respiration_dome_q[:, k], p.respiration_optimum_c[:, k], p.respiration_maximum_c[:, k]
        )
    cold = winter_cold(water_c, p.winter_rest_below_c, p.winter_rest_width_c)
    respiration *= 1.0 - p.winter_rest_share * cold[:, :, None]
    return respiration


# ---------------------------------------------------------------------- a step


def max_intake(pond: Pond) -> Array:
    """Maximum intake of each group in this water, g per g and day: a · W^b · f(T) · e^growth type.

    Kitchell, Stewart & Weininger 1977 (from memory); growth type multiplies it. a · f(T) is known by day.
    """
    g = pond.group
    intake = g.max_intake_exponent * pond.state.log_weight
    intake += g.log_growth
    np.exp(intake, out=intake)
    intake *= pond.of_groups(pond.today.max_intake)
    return intake


def grown_shares(pond: Pond) -> dict[int, Array]:
    """How far fish that grow in two phases have left that of the young, 0 to 1: by species [member, group of the species].

    1/(1 + e^((from − L)/width)): growth in two phases (Lester, Shuter & Abrams 2004, from memory); the blend is ours.
    """
    grown = {}
    for species in TWO_PHASES:
        past = np.exp(pond.state.log_length[:, pond.slices[species]])
        past -= pond.of("two_phase_from_mm", species)
        past /= pond.of("two_phase_width_mm", species)
        grown[species] = logistic(past)
    return grown


def appetite(pond: Pond, max_intake: Array, log_condition: Array, grown: dict[int, Array]) -> Array:
    """Intake that fish would have if food were without limit, g per g and day: the grown in full condition are sated.

    max_intake / (1 + grown · (condition / full)^power) (assumed shape): the young turn a surplus into length, the grown,
    whose length has a limit, cannot. `grown` as of `grown_shares`.
    """
    left = max_intake.copy()
    for species, share in grown.items():
        groups = pond.slices[species]
        sated = log_condition[:, groups] - np.log(pond.of("full_condition", species))
        sated *= pond.of("full_condition_power", species)
        np.exp(sated, out=sated)
        sated *= share
        sated += 1.0
        left[:, groups] /= sated
    return left


def free_growth(
    pond: Pond, weight: Array, food_energy: Array, ate_fish: Array, pellets: Array | None, sated: Array
) -> Array:
    """Growth per day in log weight that the energy eaten and respired asks for [member, group].

    (eaten · (1 − egested) · (1 − excreted − digestion) − respired) / energy of the body, all J per g and day. In species that
    are richer when large, as bass, a gram of the body holds E·(1 + r)·(W/100)^r J at the margin, so that the next gram of
    a large fish costs more. food_energy is that of the pond's food eaten, J per g and day; ate_fish [member, predator group];
    sated is 1 and all food met.
    """
    p, g = pond.parameters, pond.group
    energy = food_energy  # is not asked for again
    energy[:, pond.hunters] += ate_fish * p.prey_fish_energy_j_per_g[:, None]
    if pellets is not None:
        energy += pellets * p.pellet_energy_j_per_g[:, None]
    growth = np.multiply(energy, g.growth_per_energy_eaten, out=energy)
    growth -= _growth_respired(pond, weight, sated)
    for species in RICHER:
        growth[:, pond.slices[species]] *= _less_in_large(pond, species)
    return growth


def _growth_respired(pond: Pond, weight: Array, sated: Array) -> Array:
    """Growth per day in log weight that the energy respired would give, of those richer when large as if of 100 g.

    R1 · W^r · f(T) · activity · (1 + k·W) · oxygen energy / body energy; R1 and f(T) are known by day, k ends the growth
    of bluegill. Of fish that rest by size a share of respiration at rest in winter depends on size as `resting_share` says.
    Fish that search at a cost respire 1 + cost · f(T) / sated times as much, where 1/sated is the share of their time that they
    look for food and f(T) the share of the maximum intake that temperature allows: the hungry of a crowd swim more for what
    they eat, as perch did that were stunted (Sherwood et al. 2002, from memory; the shape is ours).
    """
    s, g = pond.state, pond.group
    respired = g.respiration_exponent * s.log_weight
    np.exp(respired, out=respired)
    activity = g.activity_per_g * weight
    activity += 1.0
    respired *= activity
    respired *= pond.of_groups(pond.today.growth_respired)
    for species in RESTING:
        resting = pond.of_groups_of(species, pond.today.resting)
        if resting.any():
            groups = pond.slices[species]
            at_rest = s.log_weight[:, groups] - LOG_OF_100_G
            at_rest *= pond.of("winter_rest_size_exponent", species)
            np.expm1(at_rest, out=at_rest)
            at_rest *= resting
            at_rest += 1.0
            respired[:, groups] *= at_rest
    for species in SEARCHING:
        groups = pond.slices[species]
        swims = pond.of("searching_cost", species) * pond.of_groups_of(species, pond.today.intake)
        more = swims / sated[:, groups]
        more += 1.0
        respired[:, groups] *= more
    return respired


def _less_in_large(pond: Pond, species: int) -> Array:
    """Growth from energy relative to that of a fish of 100 g, whose next gram holds less [member, group of the species]."""
    rise = pond.of("body_energy_exponent", species)
    share = pond.state.log_weight[:, pond.slices[species]] * -rise
    share += rise * LOG_OF_100_G - np.log1p(rise)
    return np.exp(share, out=share)


def within_limits(pond: Pond, growth: Array) -> Array:
    """Growth per day in log weight, no faster than fish can lose or gain weight."""
    p = pond.parameters
    return hold_between(growth.copy(), -p.weight_loss_limit_per_day[:, None], p.weight_gain_limit_per_day[:, None])


def lengthening(pond: Pond, gain: Array, log_condition: Array, grown: dict[int, Array], length: float) -> Array:
    """Growth in log length in a step of so many days: thin fish put on weight first, plump fish length.

    gain · min(limit, (condition / set point)^power) / b, never below 0, for a gain in log weight; the set point of
    condition rises with the ration up to a limit, and b is the slope of standard weight, or 3 where weight is isometric
    (assumed shape). The grown lengthen no faster than their potential; `grown` as of `grown_shares`.
    """
    p, s, g = pond.parameters, pond.state, pond.group
    longer = set_point_ration(s.ration, p.condition_ration_limit[:, None])
    longer *= p.condition_gain_at_full_food[:, None]
    longer += p.condition_at_no_food[:, None]  # the set point of condition
    np.log(longer, out=longer)
    np.subtract(log_condition, longer, out=longer)
    longer *= p.length_growth_power[:, None]
    np.exp(longer, out=longer)
    hold_between(longer, -np.inf, p.length_growth_limit[:, None])
    longer *= gain
    longer.clip(0.0, np.inf, out=longer)
    longer *= np.where(s.log_length < g.isometric_below, 1.0 / 3.0, g.length_per_weight)
    for species, share in grown.items():
        groups = pond.slices[species]
        of_young = longer[:, groups]
        warmth = pond.of_groups_of(species, pond.today.length_growth)
        coefficient = g.growth_coefficient[:, groups] * warmth
        if length != 1.0:
            coefficient *= length
        less = less_than_either(
            of_young, length_potential(s.log_length[:, groups] - g.log_asymptotic_length[:, groups], coefficient)
        )
        less -= of_young
        less *= share
        of_young += less
    return longer


def set_point_ration(ration: Array, limit: Value) -> Array:
    """Ration that sets condition: that of the days before, smoothly no more than a limit; beyond it fish lengthen."""
    return less_than_either(ration, limit)


def ration_of_condition(p: Parameters, condition: float) -> Array:
    """Ration [member], 0 to 1, at which the set point is so much; 1 where no ration brings it."""
    limited = np.maximum(0.0, condition - p.condition_at_no_food) / p.condition_gain_at_full_food
    share = np.minimum(limited / p.condition_ration_limit, 1.0 - 1e-9) ** 4
    return np.minimum(1.0, limited / np.sqrt(np.sqrt(1.0 - share)))


ROOM_BLUR = 0.02  # share of length over which growth ends at the asymptotic length (assumed)


def length_potential(log_share: Array, coefficient: Value) -> Array:
    """Most growth in log length in a time for which K·f(T) is `coefficient`: K·f(T)·(L∞/L − 1), smoothly 0 past L∞.

    von Bertalanffy 1938 (from memory), with K following temperature as intake does; log_share is ln(L/L∞).
    """
    room = np.negative(log_share)
    np.expm1(room, out=room)
    room /= ROOM_BLUR
    return np.asarray(coefficient * ROOM_BLUR * softplus(room))


def less_than_either(wish: Array, potential: Value) -> Array:
    """A smooth smaller of two: w/(1 + (w/c)⁴)^¼; where they are alike, 0.84 of either."""
    ratio = wish / np.asarray(potential).clip(1e-300, np.inf)
    ratio *= ratio
    ratio *= ratio
    ratio += 1.0
    np.sqrt(ratio, out=ratio)
    np.sqrt(ratio, out=ratio)
    return np.asarray(np.divide(wish, ratio, out=ratio))
