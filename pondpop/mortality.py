"""Arithmetic of deaths and catch with a known answer: rates and survival, Baranov's catch, the yield of a cohort.

Pure functions that broadcast. Rates are instantaneous, per the unit of time in which `time` or age is given; total
deaths are Z = F + M, fishing and natural deaths acting together.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def survival(rate: ArrayLike, time: ArrayLike = 1.0) -> Array:
    """Share alive after a time at an instantaneous death rate: e^−Zt (rate and time in the same unit of time)."""
    return np.exp(-np.asarray(rate, dtype=float) * np.asarray(time))


def death_rate(survivors: ArrayLike, of: ArrayLike = 1.0, time: ArrayLike = 1.0) -> Array:
    """Instantaneous death rate Z = ln(of / survivors) / time; infinite if none survive."""
    with np.errstate(divide="ignore"):
        return np.log(np.asarray(of, dtype=float) / np.asarray(survivors, dtype=float)) / np.asarray(time)


def baranov_catch(number: ArrayLike, fishing: ArrayLike, natural: ArrayLike, time: ArrayLike = 1.0) -> Array:
    """Catch in number F/Z · (1 − e^−Zt) · N (Baranov 1918, from memory), F and M acting together."""
    n, f, m, t = (np.asarray(x, dtype=float) for x in (number, fishing, natural, time))
    z = f + m
    return n * f * np.where(z > 0, -np.expm1(-z * t) / np.where(z > 0, z, 1.0), t)


class Yield(NamedTuple):
    """Catch of a cohort over its life: fish and weight."""

    number: Array
    weight: Array


def cohort_yield(
    recruits: ArrayLike,
    *,
    recruit_age: ArrayLike,
    catch_age: ArrayLike,
    fishing: ArrayLike,
    natural: ArrayLike,
    largest_length: ArrayLike,
    growth_rate: ArrayLike,
    age_at_no_length: ArrayLike,
    weight_factor: ArrayLike,
    weight_power: ArrayLike,
) -> Yield:
    """Lifetime catch of a cohort that is fished from `catch_age` on, in fish and in the unit of weight_factor.

    Length is L∞(1 − e^−K(t − t0)), weight factor · length^power; rates per year, ages in years. The integral over
    age is closed by the incomplete beta function, B(e^−K(tc − t0); Z/K, power + 1) · e^{Z(tc − t0)}/K. Definitions as
    in Cadima 2003, chapter 8.
    """
    from scipy.special import beta, betainc

    f, m, k, power = (np.asarray(x, dtype=float) for x in (fishing, natural, growth_rate, weight_power))
    z, caught_from = f + m, np.asarray(catch_age, dtype=float)
    entering = np.asarray(recruits) * survival(m, caught_from - np.asarray(recruit_age))
    since = caught_from - np.asarray(age_at_no_length)
    grown = betainc(z / k, power + 1.0, np.exp(-k * since)) * beta(z / k, power + 1.0) * np.exp(z * since) / k
    largest = np.asarray(weight_factor) * np.asarray(largest_length, dtype=float) ** power
    return Yield(entering * f / z, f * entering * largest * grown)
