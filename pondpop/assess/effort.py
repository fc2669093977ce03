"""Catch per effort of one survey, outing by outing: its limits, and whether the outings agree.

An outing is a day's work of one gear; several hauls of one day are written down as one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from pondpop.observe.mark_recapture import poisson_limits

SURE = 0.05
LEAST_EXPECTED = 3.0
"""Fish to be expected on each outing before their agreement is tested (a choice of ours)."""


@dataclass(frozen=True)
class Outings:
    """Fish caught and hours (or hauls) worked [outing]."""

    caught: np.ndarray
    effort: np.ndarray

    @property
    def count(self) -> int:
        return int(self.caught.size)

    @property
    def total(self) -> int:
        return int(self.caught.sum())

    @property
    def rate(self) -> float:
        """All fish over all effort."""
        return float(self.caught.sum() / self.effort.sum())

    @property
    def count_variance(self) -> float:
        """Variance of the rate if only chance of single fish were at work (Poisson)."""
        return float(self.caught.sum() / self.effort.sum() ** 2)

    @property
    def scatter_variance(self) -> float:
        """Variance of the rate from the scatter of the outings, a ratio of sums (Cochran 1977, from memory)."""
        n = self.count
        if n < 2:
            return 0.0
        apart = self.caught - self.rate * self.effort
        return float((apart**2).sum() / (n * (n - 1)) / self.effort.mean() ** 2)

    @property
    def scatters(self) -> bool:
        """Whether the outings scatter more than a count does."""
        return self.scatter_variance > self.count_variance

    def limits(self, confidence: float = 0.95) -> tuple[float, float]:
        """Limits of the rate from the larger of the two variances.

        Scatter: Student's t with one less than the outings; count: exact Poisson limits (Garwood 1936, from memory).
        """
        if not self.scatters:
            low, high = poisson_limits(self.total, confidence)
            return low / float(self.effort.sum()), high / float(self.effort.sum())
        half = float(stats.t.ppf((1 + confidence) / 2, self.count - 1)) * self.scatter_variance**0.5
        return max(0.0, self.rate - half), self.rate + half

    def agreement(self) -> float | None:
        """The chance of outings so unlike if all had one rate: chi-square of Poisson counts (Fisher 1925, from memory).

        None where too few fish are to be expected.
        """
        expected = self.rate * self.effort
        if self.count < 2 or expected.min() < LEAST_EXPECTED:
            return None
        return float(stats.chi2.sf(((self.caught - expected) ** 2 / expected).sum(), self.count - 1))

    def words(self, unit: str) -> str:
        """How many outings were pooled, and what the limits rest on."""
        worked = f"{self.effort.sum():g} {unit}s"
        if self.count == 1:
            return f"one outing of {worked}; limits of a count alone (Garwood 1936): real limits are wider"
        pooled = f"{worked} on {self.count} outings pooled"
        if not self.scatters:
            return f"{pooled}, which differ no more than counts do; limits of a count (Garwood 1936)"
        few = ", which two outings show but roughly" if self.count == 2 else ""
        return f"{pooled}; limits from the scatter of the outings (Cochran 1977, Student's t){few}"

    def disagreement(self, who: str, unit: str) -> str:
        """A sentence where outings differ more than chance; else nothing."""
        p = self.agreement()
        if p is None or p >= SURE:
            return ""
        rates = self.caught / self.effort
        chance = "under 0.001" if p < 0.001 else f"{p:.2g}"
        return (
            f"{who}: {rates.min():.3g} to {rates.max():.3g} per {unit} from outing to outing, further apart than chance "
            f"brings about (chi-square of counts, p {chance}); look for weather, water, crew or place behind it, "
            "and take the mean with care"
        )

