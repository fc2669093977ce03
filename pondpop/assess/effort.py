"""Catch per effort of one survey, outing by outing: its limits, and whether the outings agree.

An outing is a day's work of one gear; several hauls of one day are written down as one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from pondpop.observe.limits import rate_limits
from pondpop.units import brief

SURE = 0.05
LEAST_EXPECTED = 3.0
"""Fish to be expected on each outing before their agreement is tested (a choice of ours)."""


@dataclass(frozen=True)
class Outings:
    """Fish caught and hours (or hauls) worked [outing], and the gear's usual scatter of catches from day to day."""

    caught: np.ndarray
    effort: np.ndarray
    catch_cv: float

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

    def limits(self, confidence: float = 0.95) -> tuple[float, float]:
        """Limits of the rate, from the scatter of the outings and the usual one of the gear; see `rate_limits`."""
        low, high = rate_limits(self.caught, self.effort, self.catch_cv, confidence)
        return min(low, self.rate), max(high, self.rate)

    def agreement(self) -> float | None:
        """The chance of outings so unlike if days differed as they usually do with this gear; None of too few fish.

        Chi-square (Fisher 1925, from memory) of negative binomial counts about one rate, of the variance m + (cv·m)².
        """
        expected = self.rate * self.effort
        if self.count < 2 or expected.min() < LEAST_EXPECTED:
            return None
        variance = expected + (self.catch_cv * expected) ** 2
        return float(scipy.stats.chi2.sf(((self.caught - expected) ** 2 / variance).sum(), self.count - 1))

    def words(self, unit: str) -> str:
        """How many outings were pooled, and what the limits rest on."""
        amount = brief(float(self.effort.sum()))
        worked = f"{amount} {unit}{'' if amount == '1' else 's'}"
        if self.count == 1:
            return f"one outing of {worked}; limits rest on how far days usually differ (assumed); more outings narrow them"
        return f"{worked} on {self.count} outings pooled; limits from their scatter and how far days usually differ (assumed)"

    def disagreement(self, who: str, unit: str) -> str:
        """A sentence where outings differ more than chance; else nothing."""
        p = self.agreement()
        if p is None or p >= SURE:
            return ""
        rates = self.caught / self.effort
        chance = "under 0.001" if p < 0.001 else f"{p:.2g}"
        return (
            f"{who}: {rates.min():.3g} to {rates.max():.3g} per {unit} from outing to outing, further apart than days "
            f"usually are (chi-square, p {chance}); look for weather, water, crew or place behind it, "
            "and take the mean with care"
        )

