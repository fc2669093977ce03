"""From a prior ensemble to one of equal weight that has learned, in stages, so that it does not collapse.

A sequential sampler (Del Moral, Doucet & Jasra 2006, from memory): the likelihood enters by growing powers; each power
is as large as an effective number of half the members allows; members are drawn by their weight (systematically) and
then moved by steps that keep the posterior. A step turns normal deviates z of a member into √(1 − s²)·z + s·ξ, which
keeps the prior by itself (Cotter et al. 2013, from memory), and is taken with the chance of the likelihood ratio. Small
steps in everything find the place of a sharp likelihood; large ones in a few decisions give back the spread of all that
the records say nothing about, which copying alone would lose.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp, ndtr, ndtri

from pondpop.chance import normal, uniform
from pondpop.update.watch import Uniforms

Array = NDArray[np.float64]

KEPT_SHARE = 0.5  # effective share of the members that a stage keeps, before they are drawn
MOST_STAGES = 20
MOVES = (True, False, True, False)  # of a stage: a little in everything (True), or far in a few decisions
LAST_MOVES = 4  # times as many in the last stage, which must give back the spread that copying took
FIRST_STEP, SMALLEST_SPREAD = 0.5, 0.1
FIRST_PICKED, FAR = 0.3, 0.9
WANTED_MOVES = (0.2, 0.45)  # share of moves taken outside of which the next are smaller or larger


@dataclass(frozen=True)
class Stage:
    """How a stage went: the power of the likelihood it reached, and how many members still tell something of their own.

    effective: 1/Σw² of the weights; different: 1/Σ(share of copies)² after the moves; founders: members of the prior
    that have descendants; taken: share of the steps taken.
    """

    power: float
    effective: float
    different: float
    founders: int
    taken: float


@dataclass(frozen=True)
class Members:
    """What members were dealt, by decision [member, size]; what was seen of their ponds; their log likelihood."""

    uniforms: Uniforms
    seen: dict[str, Array]
    log_likelihood: Array

    def drawn(self, rows: NDArray[np.intp]) -> Members:
        return Members(
            {name: u[rows] for name, u in self.uniforms.items()},
            {name: a[rows] for name, a in self.seen.items()},
            self.log_likelihood[rows],
        )

    def where(self, taken: NDArray[np.bool_], other: Members) -> Members:
        """The other's members where taken, else these."""

        def choose(new: Array, old: Array) -> Array:
            return np.where(taken.reshape(-1, *[1] * (old.ndim - 1)), new, old)

        return Members(
            {name: choose(other.uniforms[name], u) for name, u in self.uniforms.items()},
            {name: choose(other.seen[name], a) for name, a in self.seen.items()},
            choose(other.log_likelihood, self.log_likelihood),
        )


def learn(
    prior: Members, look: Callable[[Uniforms], Members], seed: int, moves: Sequence[bool] = MOVES
) -> tuple[Members, list[Stage]]:
    """Members of equal weight, and how each stage went; the last power is below 1 if MOST_STAGES were not enough.

    look runs ponds for what their members are dealt. All chance comes from streams of the seed.
    """
    now, stages = prior, list[Stage]()
    count = prior.log_likelihood.size
    founder = np.arange(count)
    copy = np.arange(count)  # members with the same number are copies of one another
    power, moved = 0.0, 0
    size = {True: FIRST_STEP, False: FIRST_PICKED}
    while power < 1.0 and len(stages) < MOST_STAGES and np.isfinite(now.log_likelihood).any():
        following = next_power(now.log_likelihood, power)
        weight = weights((following - power) * now.log_likelihood)
        rows = draw_rows(weight, float(uniform(seed, f"update draw {len(stages)}", range(1), 1)[0, 0]))
        now, founder, copy, power = now.drawn(rows), founder[rows], copy[rows], following
        shares = []
        for small in (*moves,) * (LAST_MOVES if power == 1.0 else 1):
            moved += 1
            there = look((stepped if small else redealt)(now.uniforms, size[small], seed, moved))
            with np.errstate(invalid="ignore"):
                ratio = power * (there.log_likelihood - now.log_likelihood)
            dealt = uniform(seed, f"update choice {moved}", range(count), 1)[:, 0]
            taken = np.log(dealt) < np.where(np.isnan(ratio), -np.inf, ratio)
            now = now.where(taken, there)
            copy = np.where(taken, count * moved + np.arange(count), copy)
            shares.append(float(taken.mean()))
            change = 0.6 if shares[-1] < WANTED_MOVES[0] else 1.5 if shares[-1] > WANTED_MOVES[1] else 1.0
            size[small] = min(1.0, size[small] * change)
        copies = np.unique(copy, return_counts=True)[1] / count
        stages.append(
            Stage(
                power,
                float(1 / np.sum(weight**2)),
                float(1 / np.sum(copies**2)),
                np.unique(founder).size,
                float(np.mean(shares)) if shares else 0.0,
            )
        )
    return now, stages


def weights(log_weight: Array) -> Array:
    """Weights that add up to 1, from their logarithms."""
    return np.exp(log_weight - logsumexp(log_weight))


def next_power(log_likelihood: Array, power: float) -> float:
    """The largest power up to 1 that leaves an effective KEPT_SHARE of the members; at least a thousandth more."""
    least = KEPT_SHARE * log_likelihood.size

    def effective(to: float) -> float:
        return float(1 / np.sum(weights((to - power) * log_likelihood) ** 2))

    if effective(1.0) >= least:
        return 1.0
    low, high = power, 1.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if effective(middle) >= least else (low, middle)
    return min(1.0, max(low, power + 1e-3))


def draw_rows(weight: Array, start: float) -> NDArray[np.intp]:
    """Systematic draw: as many rows as there are weights, each as often as its weight says, to within one."""
    places = (np.arange(weight.size) + start) / weight.size
    return np.minimum(np.searchsorted(np.cumsum(weight), places), weight.size - 1)


def stepped(uniforms: Uniforms, step: float, seed: int, number: int) -> dict[str, Array]:
    """Every member a little from where it is, in all that it was dealt; wider where members still differ more."""
    out = {}
    for decision, u in uniforms.items():
        z = ndtri(u)
        s = np.minimum(1.0, step * np.maximum(z.std(axis=0), SMALLEST_SPREAD))
        out[decision] = _step(z, s, seed, f"update step {number} {decision}")
    return out


def redealt(uniforms: Uniforms, share: float, seed: int, number: int) -> dict[str, Array]:
    """Every member far from where it is, but only in a share of its decisions, picked by chance for each member."""
    out = {}
    for decision, u in uniforms.items():
        picked = uniform(seed, f"update pick {number} {decision}", range(u.shape[0]), 1) < share
        out[decision] = np.where(picked, _step(ndtri(u), FAR, seed, f"update deal {number} {decision}"), u)
    return out


def _step(z: Array, s: Array | float, seed: int, decision: str) -> Array:
    fresh = normal(seed, decision, range(z.shape[0]), z.shape[1])
    return np.clip(ndtr(np.sqrt(1.0 - np.square(s)) * z + s * fresh), 2.0**-53, 1.0 - 2.0**-53)
