"""What the goals of a file ask of a pond beyond more or less of something: limits that it keeps or not, member by member.

A management option asks for the PSD of each species in its range (PSD-P and PSD-M count in its worth only), bass above a
weight for at least one such fish in the pond. Weight harvested and cost have no limit: more, or less, of them is better.
A goal without weight asks for nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.special import expit

from pondpop.decide import goals
from pondpop.ensemble.quantities import PSD_CATEGORIES, quantities
from pondpop.observe import indices
from pondpop.scenario import Goal, Scenario, weight_of
from pondpop.species import MEASURED
from pondpop.units import brief

Array = NDArray[np.float64]

SOFT_PSD, SOFT_WR = 3.0, 1.5  # points over which the smoothed indicator of a limit rises (choices)


@dataclass(frozen=True)
class Limit:
    """A quantity that is to lie between two values, and what it is in every member [member]; NaN misses it.

    expected: the values are fish expected in the pond, of which at least one is wanted; whole fish vary about that.
    """

    quantity: str
    low: float
    high: float
    soft: float
    values: Array
    expected: bool = False

    @property
    def name(self) -> str:
        if self.expected:
            return f"at least one {self.quantity}"
        if math.isinf(self.high):
            return f"{self.quantity} from {brief(self.low)}"
        return f"{self.quantity} {brief(self.low)}–{brief(self.high)}"

    @property
    def holds(self) -> Array:
        """Whether it holds [member], 0 or 1; of an expected number the probability of at least one, 1 − e^−n."""
        if self.expected:
            return -np.expm1(-np.nan_to_num(self.values))
        return ((self.values >= self.low) & (self.values <= self.high)).astype(float)

    @property
    def nearly(self) -> Array:
        """The same, smoothed across the ends, for a search [member]."""
        if self.expected:
            return self.holds
        known = np.nan_to_num(self.values, nan=-np.inf)
        return np.asarray(expit((known - self.low) / self.soft) * expit((self.high - known) / self.soft))

    def widened(self, probability: float) -> tuple[float, float] | None:
        """The ends where the limit would hold in this share of the members; the one end is moved that is missed more.

        None where no end can be moved so far.
        """
        known = self.values[np.isfinite(self.values)]
        below, above = (known < self.low).sum(), (known > self.high).sum()
        allowed = math.floor((1.0 - probability) * self.values.size + 1e-9) - (self.values.size - known.size)
        left = allowed - int(min(below, above))
        if self.expected or left < 0 or not known.size:
            return None
        ordered = np.sort(known)
        if below >= above:
            return float(min(self.low, ordered[left])), self.high
        return self.low, float(max(self.high, ordered[known.size - 1 - left]))


def asked_by(scenario: Scenario) -> tuple[Goal, ...]:
    """The goals that count; a file without goals is judged as `balanced`."""
    return tuple(goal for goal in scenario.goals or (Goal("balanced"),) if goal.weight > 0.0)


def limits(dataset: xr.Dataset, scenario: Scenario, wr_floor: float | None = None) -> tuple[Limit, ...]:
    """Every limit of the goals of a scenario in the only strategy of a Dataset; and a least Wr of bass of 8–12 in."""
    found = {limit.name: limit for goal in asked_by(scenario) for limit in _of_goal(dataset, goal, scenario)}
    if wr_floor is not None:
        wr = next(q.values for q in quantities(dataset) if q.name == "bass_wr_8_12in")
        floor = Limit("Wr of bass of 8–12 in", wr_floor, math.inf, SOFT_WR, goals.at_end(wr, dataset)[0])
        found[floor.name] = floor
    return tuple(found.values())


def _of_goal(dataset: xr.Dataset, goal: Goal, scenario: Scenario) -> Iterator[Limit]:
    when = "" if goal.by_year is None else f" in year {goal.by_year}"
    if goal.kind in indices.TARGET_OPTIONS:
        for species in MEASURED:
            bounds = indices.target_range(goal.kind, species, "psd")
            if bounds is not None:
                values = dataset["psd"].sel(species=species, length_category=PSD_CATEGORIES["psd"]).values
                yield Limit(f"{species} PSD{when}", *bounds, SOFT_PSD, goals.at_end(values, dataset, goal.by_year)[0])
    elif goal.kind == "bass_above":
        assert goal.above_g is not None
        fish = goals.bass_above(dataset, goal.above_g) * scenario.pond.area_ha
        heavy = weight_of(goal, scenario, scenario.units)
        expected = fish[0][..., goals.last_survey(dataset, goal.by_year)]
        yield Limit(f"bass above {heavy}{when}", 1.0, math.inf, 1.0, expected, expected=True)
