"""Length, weight and condition of fish: pure formulas that broadcast. Mass in g, length in mm."""

from __future__ import annotations

import numpy as np

from pondpop.arrays import Array, Value, logistic


def log_standard_weight(log_length: Array, log_intercept: Array, slope: Array, isometric_below: Array) -> Array:
    """Natural log of the standard weight in g of a fish of length L = e^log_length mm: ln Ws = a + b·ln L.

    Below the length whose natural log is `isometric_below` the published line no longer holds and weight is taken
    as proportional to length cubed (fish of 50 mm in Sammons & Maceina 2005 weighed 1.8 g).
    """
    log_weight = np.maximum(log_length, isometric_below)
    log_weight *= slope - 3.0
    log_weight += log_intercept
    log_weight += 3.0 * log_length
    return log_weight


def share_longer(log_length: Array, threshold_mm: Value, length_cv: Value) -> Array:
    """Share of a group that is longer than a threshold T: 1 / (1 + e^(1.702·(ln T − ln L)/cv)).

    Lengths are spread about the group's own, L, log-logistically; 1.702 makes that a log-normal spread of the same cv
    to within 0.01.
    """
    return 1.0 / (1.0 + np.exp((np.log(threshold_mm) - log_length) * (1.702 / np.asarray(length_cv))))


def share_heavier(log_weight: Array, threshold_g: Value, length_cv: Value, slope: Value) -> Array:
    """Share of a group that is heavier than a threshold; weights spread as lengths to the power `slope`."""
    return logistic(1.702 * (log_weight - np.log(threshold_g)) / (np.asarray(slope) * length_cv))
