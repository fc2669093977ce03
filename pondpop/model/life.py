"""Deaths by cause and spawning: pure formulas that broadcast. Rates per day, mass in g, age in years."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pondpop.model.bioenergetics import logistic

Array = NDArray[np.float64]
Value = NDArray[np.float64] | float


def old_age_deaths(days_past: Array, per_year: Value, ramp_days: Value, ramp_limit: Value) -> Array:
    """Deaths per day of fish so many days past the age at which age begins to tell: rise to a limit (assumed shape)."""
    past = np.minimum(np.maximum(days_past / ramp_days, 0.0), ramp_limit)
    return np.asarray(past * per_year / 365.0)


def starvation_deaths(condition: Array, per_day: Value, below: Value, width: Value) -> Array:
    """Deaths per day of thin fish: rise linearly as condition (weight over standard weight) falls below a limit."""
    return np.asarray(per_day) * np.maximum(0.0, np.asarray(below) - condition) / np.asarray(width)


def warm_deaths(water_c: Value, warming_per_c: Value, reference_c: Value) -> Array:
    """Multiple of natural deaths in water of a temperature: e^(k·(T − reference)).

    Natural deaths rise with temperature (Pauly 1980, from memory); the shape is ours.
    """
    return np.exp(np.asarray(warming_per_c) * (np.asarray(water_c) - reference_c))


def cold_deaths(water_c: Value, per_day: Value, below_c: Value, width_c: Value) -> Array:
    """Deaths per day from cold, for threadfin shad (Griffith 1978: none survive 4 °C)."""
    return np.asarray(per_day) * logistic((np.asarray(below_c) - np.asarray(water_c)) / np.asarray(width_c))


def recruits(spawners: Array, cap: Value, half: Value) -> Array:
    """Young that reach recruit length per ha from kg/ha of mature females: saturating (Beverton & Holt 1957, from memory)."""
    return np.asarray(cap) * spawners / (spawners + half)


def spawn_left_by_egg_predators(predators: Array, half: Array, exponent: Array) -> Array:
    """Share of bass spawn that egg predators (kg/ha of bluegill) leave."""
    return 1.0 / (1.0 + (predators / half) ** exponent)


def mean_share_alive(log_left: Array, left: Array) -> Array:
    """(1 − e^−Z)/Z: mean share of a group alive over a step in which Z deaths per fish leave a share e^−Z of it.

    log_left is −Z, left is e^−Z. Exactly the share that dies, per death per fish, so that causes add up to it; of no use
    by itself for a Z near 0.
    """
    alive = left - 1.0
    alive /= log_left
    return alive
