"""What a survey tells of a pond, and how surely: the law of `observe.gears` turned round.

Fish of one outing are not independent, so a share, a rate or a mean is known no better than its outings allow, however
many fish were measured. Shares and rates have a probability on a grid: the chance of the data under the law times a
prior that hardly speaks, Jeffreys' rule (Jeffreys 1946, from memory). Limits cut off equal tails of it.
`benchmarks/survey_coverage.py` measures how often they hold the truth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike
from scipy import special

from pondpop.arrays import Array
from pondpop.checks import InputError
from pondpop.observe.gears import WR_BETWEEN_FISH, WR_BETWEEN_OUTINGS

POINTS = 400
LEAST_CV = 0.6
"""Before they are seen, days are taken to differ by a gear's `catch_cv`, and by no less than this (assumed)."""
CV_DOUBT = 0.4
"""Standard deviation of the logarithm of that coefficient of variation before any outing is seen (assumed)."""
SPREAD_FREEDOM = 10.0
"""Fish whose scatter the assumed spread of Wr between fish is worth beside that of the fish weighed (assumed)."""


# ---- a share ---------------------------------------------------------------------------------------------------------


_ANGLE = (np.arange(POINTS) + 0.5) / POINTS * np.pi / 2
_SHARE = np.sin(_ANGLE) ** 2
"""Points at which a share has the same chance by Jeffreys' rule, Beta(½, ½)."""


@dataclass(frozen=True)
class Share:
    """What is known of a share: its probability at each point of the grid, and whether none or all were seen."""

    probability: Array
    none: bool
    all: bool

    def below(self, share: float) -> float:
        """The chance that the share is below a bound, 0 to 1."""
        at = np.arcsin(np.sqrt(np.clip(share, 0.0, 1.0))) / (np.pi / 2)
        return float(np.interp(at, np.linspace(0, 1, POINTS + 1), self._cumulative()))

    def limits(self, confidence: float = 0.95) -> tuple[float, float]:
        """Limits of the share, 0 to 1; the lower is 0 where none were seen, the upper 1 where all were."""
        tail = (1 - _known(confidence)) / 2
        low, high = np.interp([tail, 1 - tail], self._cumulative(), np.linspace(0, np.pi / 2, POINTS + 1))
        return 0.0 if self.none else float(np.sin(low) ** 2), 1.0 if self.all else float(np.sin(high) ** 2)

    def _cumulative(self) -> Array:
        return np.concatenate([[0.0], np.cumsum(self.probability)])


def share_of(count: ArrayLike, total: ArrayLike, concentration: ArrayLike, doubt: float = 0.0) -> Share:
    """What counts of some kind among totals [outing] tell of its share, beta-binomial about it on each outing.

    concentration: see `Gear.concentration`, a number or [outing]; doubt: standard deviation of its logarithm where it is
    not known, so that outings that differ more, or less, teach how much they do. Raises InputError.
    """
    kind, fish, strength = (np.atleast_1d(np.asarray(x, float)) for x in (count, total, concentration))
    kind, fish, strength = np.broadcast_arrays(kind, fish, strength)
    if not (np.all(kind >= 0) and np.all(kind <= fish) and np.all(strength > 0) and np.isfinite(fish).all()):
        raise InputError("count", f"{kind} of {fish}", "counts from 0 to their total, and a concentration above 0")
    z = np.linspace(-2.5, 2.5, 15) if doubt else np.zeros(1)
    log = np.repeat(-z[:, None] ** 2 / 2, POINTS, axis=1)
    for x, n, m in zip(kind, fish, strength, strict=True):
        if n:
            a = (m * np.exp(doubt * z))[:, None] * _SHARE
            b = (m * np.exp(doubt * z))[:, None] * (1 - _SHARE)
            log = log + special.betaln(x + a, n - x + b) - special.betaln(a, b)
    chance = np.exp(log - log.max()).sum(axis=0)
    return Share(chance / chance.sum(), bool(kind.sum() == 0), bool(kind.sum() == fish.sum()))


def share_differs(one: Share, other: Share) -> float:
    """p of two shares being the same: twice the smaller of the chances that either is the larger, at most 1."""
    smaller = np.cumsum(other.probability) - other.probability / 2
    larger = float((one.probability * smaller).sum())
    return min(1.0, 2 * min(larger, 1 - larger))


def effective_fish(fish: ArrayLike, concentration: ArrayLike) -> float:
    """Fish taken one by one that would tell as much of a share as all those of some outings [outing].

    Σ n(M + 1)/(n + M), n fish on an outing of concentration M: the variance of a beta-binomial share.
    """
    n, m = np.asarray(fish, float), np.asarray(concentration, float)
    return float((n * (m + 1) / (n + m)).sum())


def fish_for(share: float, half_width: float, confidence: float = 0.95) -> float:
    """Effective fish for limits of a share some ± half width apart, by the normal approximation."""
    z = float(special.ndtri((1 + _known(confidence)) / 2))
    return z**2 * share * (1 - share) / half_width**2


# ---- a rate ----------------------------------------------------------------------------------------------------------


def rate_limits(
    caught: Sequence[float] | Array, effort: Sequence[float] | Array, catch_cv: float, confidence: float = 0.95
) -> tuple[float, float]:
    """Limits of the fish caught per unit of effort, from outings [outing] that scatter with about a gear's `catch_cv`.

    Catches are negative binomial about rate · effort; their coefficient of variation is log-normal about the larger of
    catch_cv and LEAST_CV, so that a single outing has wide limits and many have those of their own scatter.
    """
    x, e = np.asarray(caught, float), np.asarray(effort, float)
    rate = (x.sum() + 0.5) / e.sum() * np.exp(np.linspace(-7, 7, 3 * POINTS))
    z = np.linspace(-3, 3, 25)
    shape = (max(catch_cv, LEAST_CV) * np.exp(CV_DOUBT * z))[:, None] ** -2
    log = -z[:, None] ** 2 / 2 + 0.5 * np.log(rate / (1 + rate * e.mean() / shape))  # the rule of Jeffreys, in log rate
    for fish, worked in zip(x, e, strict=True):
        mean = rate * worked
        log = log + special.gammaln(fish + shape) - special.gammaln(shape)
        log = log - shape * np.log1p(mean / shape) + special.xlogy(fish, mean / (shape + mean))
    chance = np.exp(log - log.max()).sum(axis=0)
    tail = (1 - _known(confidence)) / 2
    low, high = np.interp([tail, 1 - tail], (np.cumsum(chance) - chance / 2) / chance.sum(), rate)
    return 0.0 if x.sum() == 0 else float(low), float(high)


# ---- a mean ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Mean:
    """A mean, its variance, and the degrees of freedom of that."""

    value: float
    variance: float
    freedom: float

    def limits(self, confidence: float = 0.95) -> tuple[float, float]:
        """Student's limits; what is measured is not below 0, nor are they."""
        half = float(scipy.stats.t.ppf((1 + _known(confidence)) / 2, self.freedom)) * self.variance**0.5
        return max(0.0, self.value - half), self.value + half


def mean_wr(values: Array, outing: Sequence[object]) -> Mean:
    """Mean relative weight of fish [fish] weighed on some outings [fish], %.

    Fish scatter with the assumed spread and with their own, weighted by SPREAD_FREEDOM and their number; those of one
    outing share an error besides, so that more fish of one outing tell little more. Freedom by Satterthwaite 1946 (from
    memory), the shared error being taken as known.
    """
    n = values.size
    fish = np.array([sum(one == day for one in outing) for day in dict.fromkeys(outing)], float)
    mean, freedom = float(values.mean()), SPREAD_FREEDOM + n - 1
    spread = (SPREAD_FREEDOM * WR_BETWEEN_FISH**2 + float(((values - mean) ** 2).sum())) / freedom
    alone, shared = spread / n, WR_BETWEEN_OUTINGS**2 * float((fish**2).sum()) / n**2
    return Mean(mean, alone + shared, freedom * ((alone + shared) / alone) ** 2)


def mean_differs(one: Mean, other: Mean) -> float:
    """p of two means being the same, by Welch's t (Welch 1947, from memory)."""
    variance = one.variance + other.variance
    freedom = variance**2 / (one.variance**2 / one.freedom + other.variance**2 / other.freedom)
    return float(2 * scipy.stats.t.sf(abs(one.value - other.value) / variance**0.5, freedom))


def _known(confidence: float) -> float:
    if not 0 < confidence < 1:
        raise InputError("confidence", confidence, "a share above 0 and below 1, such as 0.95")
    return confidence
