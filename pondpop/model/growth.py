"""How the fish of a pond grow in a step, from the energy eaten and respired. Nothing here changes the pond.

Arrays are [member, group] unless said.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pondpop.model.feeding import BENTHOS, PLANKTON
from pondpop.model.pond import LOG_OF_100_G, Pond, of_species
from pondpop.species import BASS, BLUEGILL

Array = NDArray[np.float64]


def free_growth(pond: Pond, weight: Array, ate_food: Array, ate_fish: Array, pellets: Array | None) -> Array:
    """Growth per day in log weight that the energy eaten and respired asks for [member, group]."""
    p, g = pond.parameters, pond.group
    bass, bluegill = pond.slices[BASS], pond.slices[BLUEGILL]
    energy = ate_food[PLANKTON] * p.plankton_energy_j_per_g[:, None]
    energy += ate_food[BENTHOS] * p.benthos_energy_j_per_g[:, None]
    energy[:, bass] += ate_fish * p.prey_fish_energy_j_per_g[:, None]
    if pellets is not None:
        energy[:, bluegill] += pellets * p.pellet_energy_j_per_g[:, None]
    growth = np.multiply(energy, g.growth_per_energy_eaten, out=energy)
    growth -= _growth_respired(pond, weight)
    growth[:, bass] *= _less_in_large_bass(pond)
    return growth


def _growth_respired(pond: Pond, weight: Array) -> Array:
    """Growth per day in log weight that the energy respired would give, in bass as if of 100 g [member, group]."""
    s, g, bass = pond.state, pond.group, pond.slices[BASS]
    respired = g.respiration_exponent * s.log_weight
    np.exp(respired, out=respired)
    activity = g.activity_per_g[:, bass] * weight[:, bass]
    activity += 1.0
    respired[:, bass] *= activity
    respired *= pond.of_groups(pond.by_day.growth_respired[pond.day])
    resting = pond.by_day.bass_resting[pond.day]
    if resting.any():
        at_rest = s.log_weight[:, bass] - LOG_OF_100_G
        at_rest *= of_species(pond.parameters.winter_rest_size_exponent, BASS)
        np.expm1(at_rest, out=at_rest)
        at_rest *= resting[:, None]
        at_rest += 1.0
        respired[:, bass] *= at_rest
    return respired


def _less_in_large_bass(pond: Pond) -> Array:
    """Growth from energy relative to that of a bass of 100 g, whose next gram holds less [member, bass group]."""
    rise = of_species(pond.parameters.body_energy_exponent, BASS)
    share = pond.state.log_weight[:, pond.slices[BASS]] * -rise
    share += rise * LOG_OF_100_G - np.log1p(rise)
    return np.exp(share, out=share)


def within_limits(pond: Pond, growth: Array) -> Array:
    p = pond.parameters
    return growth.clip(-p.weight_loss_limit_per_day[:, None], p.weight_gain_limit_per_day[:, None])


def lengthening(pond: Pond, gain: Array, log_condition: Array) -> Array:
    """Growth in log length: thin fish put on weight first, plump fish length."""
    p, s, g = pond.parameters, pond.state, pond.group
    share = np.minimum(1.0, s.ration)
    share *= p.condition_gain_at_full_food[:, None]
    share += p.condition_at_no_food[:, None]  # the set point of condition
    np.log(share, out=share)
    np.subtract(log_condition, share, out=share)
    share *= p.length_growth_power[:, None]
    np.exp(share, out=share)
    np.minimum(share, p.length_growth_limit[:, None], out=share)
    share *= gain
    np.maximum(share, 0.0, out=share)
    share *= np.where(s.log_length < g.isometric_below, 1.0 / 3.0, g.length_per_weight)
    return share
