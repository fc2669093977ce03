"""From a prior ensemble to one of equal weight that has learned, in stages, so that it does not collapse.

A sequential sampler (Del Moral, Doucet & Jasra 2006, from memory): the likelihood enters by growing powers; each power
is as large as an effective number of half the members allows; members are drawn by their weight (systematically) and
then moved by steps that keep the posterior, taken or not by a rule (Hastings 1970, from memory). Such a step turns normal
deviates z of a member into √(1 − s²)·z + s·ξ, which keeps their prior by itself (Cotter et al. 2013, from memory). In
few decisions it goes far, which gives back the spread of all that the records say nothing about. In all decisions it goes
about the mean and the covariance of the other half of the members, half-way between theirs and the prior's (for few members
know a covariance badly), so that what the records bind together is moved together.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.special import logsumexp, ndtr, ndtri

from pondpop.ensemble.draws import normal, uniform
from pondpop.update.simulate import Uniforms

Array = NDArray[np.float64]

KEPT_SHARE = 0.5  # effective share of the members that a stage keeps, before they are drawn
MOST_STAGES = 20
MOVES = (True, False, True, False)  # of a stage: in everything, as the others lie (True), or far in a few decisions
LAST_MOVES = 3  # times as many in the last stage
FIRST_STEP, LEARNED = 0.6, 0.5  # share of the others' mean and covariance in a step, the rest being the prior's
MANY = 40  # values of a decision (days of weather) that are too many for a covariance
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
        for everything in (*moves,) * (LAST_MOVES if power == 1.0 else 1):
            moved += 1
            proposed, gain = (guided if everything else redealt)(now.uniforms, size[everything], seed, moved)
            there = look(proposed)
            with np.errstate(invalid="ignore"):
                ratio = power * (there.log_likelihood - now.log_likelihood) + gain
            dealt = uniform(seed, f"update choice {moved}", range(count), 1)[:, 0]
            taken = np.log(dealt) < np.where(np.isnan(ratio), -np.inf, ratio)
            now = now.where(taken, there)
            copy = np.where(taken, count * moved + np.arange(count), copy)
            shares.append(float(taken.mean()))
            change = 0.6 if shares[-1] < WANTED_MOVES[0] else 1.5 if shares[-1] > WANTED_MOVES[1] else 1.0
            size[everything] = min(1.0, size[everything] * change)
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


Proposal = tuple[dict[str, Array], Array]
"""What members are dealt instead, and what belongs to the logarithm of the chance that each takes it."""


def guided(uniforms: Uniforms, step: float, seed: int, number: int) -> Proposal:
    """Every member away from where it is in all that it was dealt, as the members of the other half lie."""
    few = [decision for decision, u in uniforms.items() if u.shape[1] <= MANY]
    z = np.concatenate([ndtri(uniforms[decision]) for decision in few], axis=1) if few else np.zeros((0, 0))
    count = next(iter(uniforms.values())).shape[0]
    order = np.argsort(uniform(seed, f"update half {number}", range(count), 1)[:, 0])
    fresh = normal(seed, f"update step {number}", range(count), z.shape[1])
    moved, gain = z.copy(), np.zeros(count)
    for mine, others in ((order[: count // 2], order[count // 2 :]), (order[count // 2 :], order[: count // 2])):
        if mine.size == 0 or not few:
            continue
        mean, root = _about(z[others])
        off = z[mine] - mean
        moved[mine] = mean + np.sqrt(1.0 - step**2) * off + step * fresh[mine] @ root.T
        gain[mine] = _apart(moved[mine], mean, root) - _apart(z[mine], mean, root)
    columns = np.cumsum([uniforms[decision].shape[1] for decision in few])[:-1]
    out = dict(zip(few, map(_dealt, np.split(moved, columns, axis=1)), strict=True)) if few else {}
    for decision in uniforms.keys() - set(few):
        out[decision] = _step(ndtri(uniforms[decision]), step, seed, f"update step {number} {decision}")
    return {decision: out[decision] for decision in uniforms}, gain


def _about(others: Array) -> tuple[Array, Array]:
    """Mean and lower root of the covariance between that of some members and the prior's, 0 and the identity."""
    size = others.shape[1]
    if others.shape[0] < 2:
        return np.zeros(size), np.eye(size)
    spread = np.cov(others, rowvar=False, bias=True).reshape(size, size)
    root = np.linalg.cholesky(LEARNED * spread + (1.0 - LEARNED) * np.eye(size))
    return LEARNED * others.mean(axis=0), np.asarray(root, float)


def _apart(z: Array, mean: Array, root: Array) -> Array:
    """Logarithm of the prior's density over that of the normal law of a mean and a root, but for a constant."""
    far = solve_triangular(root, (z - mean).T, lower=True)
    out: Array = 0.5 * (far**2).sum(axis=0) - 0.5 * (z**2).sum(axis=1)
    return out


def redealt(uniforms: Uniforms, share: float, seed: int, number: int) -> Proposal:
    """Every member far from where it is, but only in a share of its decisions, picked by chance for each member."""
    out = {}
    for decision, u in uniforms.items():
        picked = uniform(seed, f"update pick {number} {decision}", range(u.shape[0]), 1) < share
        out[decision] = np.where(picked, _step(ndtri(u), FAR, seed, f"update deal {number} {decision}"), u)
    return out, np.zeros(next(iter(out.values())).shape[0])


def _step(z: Array, s: float, seed: int, decision: str) -> Array:
    fresh = normal(seed, decision, range(z.shape[0]), z.shape[1])
    return _dealt(np.sqrt(1.0 - s**2) * z + s * fresh)


def _dealt(z: Array) -> Array:
    return np.clip(ndtr(z), 2.0**-53, 1.0 - 2.0**-53)
