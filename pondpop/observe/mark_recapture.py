"""What marked fish tell: how many there are, how many live on, how fast they grow.

Pure estimators on counts and lengths; they know nothing of files. The sources of the equations stand beside them; the
equations and worked examples (Pyburn 1958; Gerking 1953, as told by Ricker 1975) were written down from memory and then
checked by arithmetic and by simulation (tests/observe/test_mark_recapture.py).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike

from pondpop.units import DAYS_PER_CALENDAR_YEAR


@dataclass(frozen=True)
class Estimate:
    """One estimated figure with its limits (NaN where the data give none) and what it rests on."""

    value: float
    low: float
    high: float
    standard_error: float
    basis: str


def _whole(name: str, value: ArrayLike) -> np.ndarray:
    array = np.asarray(value, float)
    if not np.all(np.isfinite(array)) or np.any(array < 0) or np.any(array != np.floor(array)):
        raise ValueError(f"{name} must be whole numbers of fish, 0 or more")
    return array


def chapman(marked: int, caught: int, recaptured: int, confidence: float = 0.95) -> Estimate:
    """Fish in a closed pond from one marking and one later catch.

    N = (n1 + 1)(n2 + 1)/(m + 1) − 1 (Chapman 1951, from memory), its variance after Seber 1970 (from memory). The
    limits are exact: the numbers of fish N under which neither so few nor so many recaptures would be rarer than half
    of 1 − confidence (hypergeometric). Without a recapture the upper limit is infinite.

    marked, caught, recaptured: fish marked first, caught later, and caught later with a mark.
    Raises ValueError when more were recaptured than were marked or caught.
    """
    n1, n2, m = (int(_whole("marked, caught and recaptured", x)) for x in (marked, caught, recaptured))
    if m > min(n1, n2):
        raise ValueError(f"{m} recaptured, but only {n1} were marked and {n2} caught")
    value = (n1 + 1) * (n2 + 1) / (m + 1) - 1
    variance = (n1 + 1) * (n2 + 1) * (n1 - m) * (n2 - m) / ((m + 1) ** 2 * (m + 2))
    least, tail = n1 + n2 - m, (1 - confidence) / 2

    def as_few(n: int) -> float:  # the chance of m or fewer recaptures; rises with n
        return float(scipy.stats.hypergeom.cdf(m, n, n1, n2))

    def as_many(n: int) -> float:  # the chance of m or more; falls with n
        return float(scipy.stats.hypergeom.sf(m - 1, n, n1, n2))

    low = _first(lambda n: as_few(n) > tail, least)
    high = np.inf if m == 0 else _first(lambda n: as_many(n) <= tail, least) - 1
    return Estimate(
        value,
        float(low),
        float(high),
        float(np.sqrt(variance)),
        f"{m} of {n2} fish caught were marked, {n1} marked before",
    )


def _first(holds: Callable[[int], bool], start: int) -> int:
    """The first whole number at or above start for which a condition, false then true, holds."""
    if holds(start):
        return start
    step = 1
    while not holds(start + step):
        step *= 2
        if step > 2**40:
            raise ValueError("no limit found below 10^12 fish")
    below, above = start + step // 2, start + step
    while above - below > 1:
        middle = (below + above) // 2
        below, above = (below, middle) if holds(middle) else (middle, above)
    return above


def schnabel(caught: ArrayLike, recaptured: ArrayLike, marked: ArrayLike, confidence: float = 0.95) -> Estimate:
    """Fish in a closed pond from several catches, each returning its fish marked.

    N = Σ C·M / (Σ R + 1) (Schnabel 1938, with the one added by Chapman 1952; from memory); limits from the
    exact Poisson limits of Σ R (Garwood 1936, from memory).

    caught, recaptured, marked: shape [occasion]; fish caught, those of them with a mark, and the marked fish at large
    just before. Raises ValueError when more were recaptured than caught or at large.
    """
    c, r, m = np.broadcast_arrays(*(_whole("caught, recaptured and marked", x) for x in (caught, recaptured, marked)))
    if np.any(r > np.minimum(c, m)):
        raise ValueError("more fish were recaptured than were caught or at large with a mark")
    product, total = float(np.sum(c * m)), float(np.sum(r))
    few, many = poisson_limits(total, confidence)
    value = product / (total + 1)
    least = float(np.max(m + c - r)) if c.size else np.nan
    return Estimate(
        value,
        max(least, product / many) if many else np.nan,
        product / few if few else np.inf,
        value / np.sqrt(total) if total else np.nan,
        f"{total:.0f} recaptures on {np.count_nonzero(m)} occasions",
    )


def poisson_limits(count: float, confidence: float = 0.95) -> tuple[float, float]:
    """Exact limits of a Poisson mean from one count (Garwood 1936, from memory)."""
    tail = (1 - confidence) / 2
    low = float(scipy.stats.chi2.ppf(tail, 2 * count) / 2) if count > 0 else 0.0
    return low, float(scipy.stats.chi2.ppf(1 - tail, 2 * count + 2) / 2)


@dataclass(frozen=True)
class CaptureSummary:
    """Counts by occasion that the open-population estimator uses, each of shape [occasion]."""

    caught: np.ndarray  # fish caught
    marked: np.ndarray  # of these, with a mark
    released: np.ndarray  # released with a mark, old or new
    seen_again: np.ndarray  # of these, caught again later
    passed_by: np.ndarray  # marked before, not caught now, caught later


def summarize_captures(histories: ArrayLike, lost: ArrayLike | None = None, unmarked: ArrayLike = 0) -> CaptureSummary:
    """Counts by occasion from capture histories.

    histories: bool [fish, occasion], a marked fish was caught on the occasion (its first catch is its marking).
    lost: bool, same shape, the fish was not released again.
    unmarked: [occasion] or a number, fish caught, neither marked before nor released with a mark.
    """
    seen = np.asarray(histories, bool)
    if seen.ndim != 2:
        raise ValueError("capture histories need the shape [fish, occasion]")
    gone = np.zeros_like(seen) if lost is None else np.asarray(lost, bool)
    if gone.shape != seen.shape or np.any(gone & ~seen):
        raise ValueError("a fish can only be lost on an occasion it was caught on")
    before = np.cumsum(seen, axis=1) - seen > 0
    after = np.cumsum(seen[:, ::-1], axis=1)[:, ::-1] - seen > 0
    if np.any(gone & after):
        raise ValueError("a fish that was not released cannot be caught again")
    return CaptureSummary(
        caught=seen.sum(0) + np.broadcast_to(np.asarray(unmarked, int), seen.shape[1:]),
        marked=(seen & before).sum(0),
        released=(seen & ~gone).sum(0),
        seen_again=(seen & ~gone & after).sum(0),
        passed_by=(~seen & before & after).sum(0),
    )


@dataclass(frozen=True)
class OpenPopulation:
    """Estimates by occasion, shape [occasion], NaN where the data cannot give them.

    survival[i] is the share alive at occasion i + 1 (and still in the pond) of those alive just after occasion i;
    it may come out above 1, by chance. number_se and survival_se are sampling errors alone.
    """

    marked: np.ndarray
    number: np.ndarray
    number_se: np.ndarray
    survival: np.ndarray
    survival_se: np.ndarray

    def number_limits(self, confidence: float = 0.95) -> tuple[np.ndarray, np.ndarray]:
        """Limits of the number of fish, [occasion] each: symmetric in the logarithm."""
        return _log_limits(self.number, self.number_se, confidence)

    def survival_limits(self, confidence: float = 0.95) -> tuple[np.ndarray, np.ndarray]:
        """Limits of survival, [occasion] each: symmetric in the logarithm, the upper one at most 1."""
        low, high = _log_limits(self.survival, self.survival_se, confidence)
        return np.minimum(low, 1.0), np.minimum(high, 1.0)


def _log_limits(value: np.ndarray, error: np.ndarray, confidence: float) -> tuple[np.ndarray, np.ndarray]:
    z = scipy.stats.norm.ppf((1 + confidence) / 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = np.exp(z * np.sqrt(np.log1p((error / value) ** 2)))
        return value / factor, value * factor


def jolly_seber(summary: CaptureSummary, corrected: bool = True) -> OpenPopulation:
    """Number and survival of fish in an open pond from three or more occasions (Jolly 1965, Seber 1965; from memory).

    With marked m, caught n, released R, seen again r, passed by z:
    M = m + R·z/r, N = M·n/m, survival = M(i+1)/(M − m + R); corrected=True takes the forms of Seber 1982 (from memory)
    M = m + (R + 1)·z/(r + 1), N = M·(n + 1)/(m + 1), which are nearly unbiased in small samples.
    Every fish, marked or not, is assumed to have the same chance of being caught and of living on, and no tag is lost.
    """
    n, m, released, r, z = (
        _whole("captures", x)
        for x in (summary.caught, summary.marked, summary.released, summary.seen_again, summary.passed_by)
    )
    if n.size < 3:
        raise ValueError(f"an open population needs three or more occasions, not {n.size}")
    one = 1.0 if corrected else 0.0
    with np.errstate(divide="ignore", invalid="ignore"):
        marked = m + (released + one) * z / (r + one)
        marked[0] = 0.0
        if corrected:  # without a release or a sighting afterwards nothing is known of the marked fish
            marked[(r + z == 0) & (np.arange(n.size) > 0)] = np.nan
        number = marked * (n + one) / (m + one)
        number[0] = np.nan
        survival = np.full(n.size, np.nan)
        survival[:-1] = marked[1:] / (marked[:-1] - m[:-1] + released[:-1])
        unseen = 1 / np.where(r > 0, r, np.nan) - 1 / np.where(released > 0, released, np.nan)
        share_marked = m / n
        number_se = np.sqrt(
            number * (number - n)
            * ((marked - m + released) / marked * unseen + (1 - share_marked) / np.where(m > 0, m, np.nan))
        )  # fmt: skip
        ahead = (marked - m) * (marked - m + released) / marked**2 * unseen
        here = (marked - m) / (marked - m + released) * unseen
        survival_se = np.full(n.size, np.nan)
        survival_se[:-1] = survival[:-1] * np.sqrt(ahead[1:] + here[:-1])
    return OpenPopulation(marked, number, number_se, survival, survival_se)


# ---- growth --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Increments:
    """Lengths of marked fish measured twice, each of shape [pair]."""

    first_mm: np.ndarray
    second_mm: np.ndarray
    days: np.ndarray

    @property
    def mm_per_year(self) -> np.ndarray:
        return (self.second_mm - self.first_mm) / self.days * DAYS_PER_CALENDAR_YEAR


@dataclass(frozen=True)
class Growth:
    """Growth curve of marked fish: the length it ends at, its rate, limits, and the scatter about it (mm)."""

    final_length_mm: Estimate
    rate_per_year: Estimate
    scatter_mm: float
    pairs: int

    def increment(self, length_mm: ArrayLike, days: float = DAYS_PER_CALENDAR_YEAR) -> np.ndarray:
        """Expected growth (mm) of fish of a length over some days."""
        length = np.asarray(length_mm, float)
        return (self.final_length_mm.value - length) * -np.expm1(-self.rate_per_year.value * days / DAYS_PER_CALENDAR_YEAR)


def grow_from_tags(pairs: Increments, confidence: float = 0.95) -> Growth:
    """Growth from lengths at marking and recapture: ΔL = (L_end − L1)(1 − e^{−K·days/365.25}).

    The form of Fabens 1965 (from memory). Least squares; limits from its curvature and Student's t.
    Individual differences in growth bias L_end upward a little (the estimator's known weakness).
    Raises ValueError with fewer than ten pairs, or when the lengths are too alike to find a curve.
    """
    first, second, days = (np.asarray(x, float) for x in (pairs.first_mm, pairs.second_mm, pairs.days))
    if first.size < 10:
        raise ValueError(f"a growth curve needs ten or more fish measured twice, not {first.size}")

    def residual(p: np.ndarray) -> np.ndarray:
        return second - first + np.expm1(-np.exp(p[1]) * days / DAYS_PER_CALENDAR_YEAR) * (np.exp(p[0]) - first)

    start = [np.log(1.2 * second.max()), np.log(0.3)]
    fit = scipy.optimize.least_squares(residual, start, bounds=([np.log(50), np.log(0.01)], [np.log(1500), np.log(5)]))
    information = fit.jac.T @ fit.jac
    if not fit.success or np.any(fit.active_mask) or np.linalg.cond(information) > 1e10:
        raise ValueError("the marked fish are too alike in length, or grew too little, to find a growth curve")
    freedom = first.size - 2
    scatter = float(np.sqrt(2 * fit.cost / freedom))
    errors = np.sqrt(np.diag(np.linalg.inv(information))) * scatter
    t = scipy.stats.t.ppf((1 + confidence) / 2, freedom)
    end, rate = (
        Estimate(
            float(np.exp(v)),
            float(np.exp(v - t * e)),
            float(np.exp(v + t * e)),
            float(np.exp(v) * e),
            f"{first.size} fish measured twice",
        )
        for v, e in zip(fit.x, errors, strict=True)
    )
    return Growth(end, rate, scatter, first.size)
