"""Intake, respiration, growth and condition of a fish: pure formulas that broadcast.

Mass in g, length in mm, temperature in °C, rates per day, energy in J. Sources stand beside each equation; the
values that go into them live in the species files.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

Array = NDArray[np.float64]
Value = NDArray[np.float64] | float


def logistic(z: Value) -> Array:
    """1 / (1 + e^−z), a smooth step from 0 to 1; safe for any z."""
    return np.asarray(expit(z))


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


def log_standard_weight(log_length: Array, log_intercept: Array, slope: Array, isometric_below: Array) -> Array:
    """Natural log of the standard weight in g of a fish of length e^log_length mm.

    Below the length whose natural log is `isometric_below` the published line no longer holds and weight is taken
    as proportional to length cubed (fish of 50 mm in Sammons & Maceina 2005 weighed 1.8 g).
    """
    log_weight = np.maximum(log_length, isometric_below)
    log_weight *= slope - 3.0
    log_weight += log_intercept
    log_weight += 3.0 * log_length
    return log_weight


def share_longer(log_length: Array, threshold_mm: Value, length_cv: Value) -> Array:
    """Share of a group that is longer than a threshold, lengths being spread about the group's own (log-logistic)."""
    return 1.0 / (1.0 + np.exp((np.log(threshold_mm) - log_length) * (1.702 / np.asarray(length_cv))))


def share_heavier(log_weight: Array, threshold_g: Value, length_cv: Value, slope: Value) -> Array:
    """Share of a group that is heavier than a threshold; weights spread as lengths to the power `slope`."""
    return logistic(1.702 * (log_weight - np.log(threshold_g)) / (np.asarray(slope) * length_cv))
