"""Length, weight and condition of fish: pure formulas that broadcast. Mass in g, length in mm."""

from __future__ import annotations

import numpy as np

from pondpop.arrays import Array


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
