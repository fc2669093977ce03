"""One decision about strategies: what was compared, which wins, by how much, how surely, and whether it matters.

A `Decision` is made once of a Dataset; terminal, sweep and page tell the same one. Strategies share their luck, so that
they are compared member by member: in each member every goal speaks, with its weight, for the strategy that is better
by at least what matters to the owner, and for neither where the difference is smaller.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from pondpop.decide import goals
from pondpop.decide.goals import SURE, Cost, Score
from pondpop.ensemble.quantities import QUANTILES

Array = NDArray[np.float64]
Three = tuple[float, float, float]
"""p10, p50 and p90 of the members."""

UNKNOWN: Three = (float("nan"),) * 3


@dataclass(frozen=True)
class Margin:
    """One strategy against another on one goal: the shares of members in which it is better, or worse, by at least what
    matters, and its value less the other's, in the unit of the score."""

    score: Score
    better: float
    worse: float
    difference: Three

    @property
    def compared(self) -> bool:
        """Whether any member has a value for both."""
        return bool(np.isfinite(self.difference[1]))

    @property
    def gain(self) -> Three:
        """The difference so that more is better."""
        low, middle, high = (self.score.better * d for d in self.difference)
        return (low, middle, high) if low <= high else (high, middle, low)


@dataclass(frozen=True)
class Pair:
    """One strategy against another, by position: the shares of members in which it is better, or worse, all goals by
    their weight; goal by goal; and what it costs more, None where nothing has a price."""

    first: int
    second: int
    better: float
    worse: float
    margins: tuple[Margin, ...]
    dearer: Three | None

    @property
    def wins(self) -> bool:
        """Whether the first wins surely: by what matters, in at least SURE of the members."""
        return _sure(self.better)

    @property
    def ties(self) -> bool:
        """Whether they are surely as good as one another: in at least SURE of the members neither wins."""
        return _sure(1.0 - self.better - self.worse)


@dataclass(frozen=True, eq=False)
class Decision:
    """What was compared and what follows; strategies are known by their position in `names`.

    better [strategy, strategy]: share of members in which the one of the row is better than that of the column.
    """

    names: tuple[str, ...]
    scores: tuple[Score, ...]
    cost: Cost | None
    better: Array

    @property
    def members(self) -> int:
        return int(self.scores[0].values.shape[-1])

    @cached_property
    def ranked(self) -> tuple[int, ...]:
        """All strategies: those first that fewest others surely beat, and of these the ones that win most."""
        beaten = np.sum([[_sure(share) for share in row] for row in self.better], axis=0)
        net = (self.better - self.better.T).sum(axis=1)
        return tuple(sorted(range(len(self.names)), key=lambda k: (beaten[k], -net[k], k)))

    @property
    def best(self) -> int:
        """The strategy to show where one must be shown; only `chosen` says that it is the one to choose."""
        return self.ranked[0]

    @cached_property
    def equals(self) -> tuple[int, ...]:
        """The best strategy and those that it does not surely beat, by rank."""
        return (self.best, *(k for k in self.ranked[1:] if not _sure(self.better[self.best, k])))

    @property
    def chosen(self) -> int | None:
        """The strategy that surely beats every other; None where none does, or nothing is compared."""
        return self.best if len(self.names) > 1 and len(self.equals) == 1 else None

    @property
    def tied(self) -> bool:
        """Whether all that are not surely beaten are surely as good as the best."""
        return all(self.pair(self.best, k).ties for k in self.equals[1:])

    @cached_property
    def median_cost(self) -> Array | None:
        """Whole cost of each strategy in the middle member [strategy], None where nothing has a price."""
        return None if self.cost is None else np.median(self.cost.total, axis=1)

    @property
    def cheapest(self) -> int | None:
        """Of the equals the one that costs least; None where they cost the same or nothing has a price."""
        if self.median_cost is None:
            return None
        prices = [float(self.median_cost[k]) for k in self.equals]
        return self.equals[int(np.argmin(prices))] if max(prices) > min(prices) else None

    @property
    def followed(self) -> int:
        """The strategy whose next steps are told: the chosen one, or the cheapest of equals, or the best of them."""
        return self.best if self.chosen is not None or self.cheapest is None else self.cheapest

    def pair(self, first: int, second: int) -> Pair:
        """One strategy against another, by position."""
        dearer = None
        if self.cost is not None:
            dearer = _three(self.cost.total[first] - self.cost.total[second])
        return Pair(
            first,
            second,
            float(self.better[first, second]),
            float(self.better[second, first]),
            tuple(margin(score, first, second) for score in self.scores),
            dearer,
        )


def decide(dataset: xr.Dataset) -> Decision:
    """The decision that a projection leads to by the goals of its scenario."""
    scenario = goals.scenario_of(dataset)
    return judge(list(scenario.strategies), goals.scores(dataset), goals.costs(dataset))


def judge(names: Sequence[str], scores: Sequence[Score], cost: Cost | None = None) -> Decision:
    """The decision between strategies with these scores and costs, each [strategy, member]."""
    count = len(names)
    better = np.zeros((count, count))
    weight = sum(score.goal.weight for score in scores)
    for i in range(count):  # one row at a time: a sweep may have hundreds
        votes = np.zeros((count, scores[0].values.shape[-1]))
        for score in scores:
            votes += score.goal.weight * verdicts(score, score.values[i] - score.values)
        better[i] = np.mean(votes > 1e-9 * weight, axis=1)
    return Decision(tuple(names), tuple(scores), cost if cost is not None and cost.total.any() else None, better)


def together(
    every: Sequence[tuple[Sequence[Score], Cost | None]], axis: int = 0
) -> tuple[list[Score], Cost | None]:
    """Scores and costs of several Datasets under the same goals as those of one: further strategies (axis 0) or further
    members (axis 1). Where any has no cost there is none."""
    first = every[0][0]
    scores = [
        replace(score, values=np.concatenate([scores[k].values for scores, _ in every], axis=axis))
        for k, score in enumerate(first)
    ]
    costs = [cost for _, cost in every if cost is not None]
    if len(costs) < len(every):
        return scores, None
    parts = {what: np.concatenate([one.parts[what] for one in costs], axis=axis) for what in costs[0].parts}
    return scores, Cost(costs[0].currency, parts, tuple(sorted({what for one in costs for what in one.unpriced})))


def verdicts(score: Score, difference: Array) -> Array:
    """1 where a difference is better by at least what matters, −1 where it is as much worse, 0 elsewhere."""
    gain = score.better * np.nan_to_num(difference, nan=0.0)
    return np.where(np.abs(gain) >= score.goal.smallest, np.sign(gain), 0.0)


def margin(score: Score, first: int, second: int) -> Margin:
    """One strategy against another on one goal; members without a value for both count as ties."""
    return margin_of(score, score.values[first] - score.values[second])


def margin_of(score: Score, difference: Array) -> Margin:
    """What differences [member] of a goal say, member by member."""
    said = verdicts(score, difference)
    return Margin(score, float(np.mean(said > 0)), float(np.mean(said < 0)), _three(difference))


def _three(values: Array) -> Three:
    known = values[np.isfinite(values)]
    if not known.size:
        return UNKNOWN
    low, middle, high = (float(q) for q in np.quantile(known, QUANTILES))
    return low, middle, high


def _sure(share: float) -> bool:
    return share >= SURE - 1e-9
