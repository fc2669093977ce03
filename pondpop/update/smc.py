"""From a prior ensemble to one of equal weight that has learned, in stages, so that it does not collapse.

A sequential sampler (Del Moral, Doucet & Jasra 2006, from memory): the likelihood enters by growing powers; each power
is as large as an effective number of half the members allows; members are drawn by their weight (systematically) and
then moved until they are independent enough, by steps that keep the posterior, taken or not by a rule (Hastings 1970,
from memory).

Where to step is learned from what ponds showed in earlier moves: a linear fit of what would have been recorded to what
members were dealt gives a normal law that is roughly the posterior (as ensemble filters do; Evensen 1994, from
memory), wide where the fit is bad and the prior where the records say nothing. A step turns normal deviates z of a
member into m + √(1 − s²)·(z − m) + s·ξ, ξ of that law's covariance about its mean m, which keeps that law by itself
(Cotter et al. 2013, from memory); the rule makes up for the difference to the posterior. The law is settled before a move and
is the same for all members, so that a move leaves the posterior as it is whatever the law.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.optimize import bisect
from scipy.special import logsumexp, ndtr, ndtri

from pondpop.ensemble.draws import normal, uniform
from pondpop.update.simulate import Uniforms

Array = NDArray[np.float64]

KEPT_SHARE = 0.5  # effective share of the members that a stage keeps, before they are drawn
MOST_STAGES = 20
WANTED_SHARE = 0.5  # of the members, that are to be independent after a stage's moves
MOST_MOVES, MOST_LAST_MOVES, LEAST_LAST_MOVES = 8, 16, 3  # of a stage, and of the last one
WANTED_MOVES = (0.2, 0.4)  # share of moves taken outside of which the next are smaller or larger
SMALLEST_STEP = 0.1
MANY = 40  # values of a decision (days of weather) that are too many for a fit: they step about the prior
FITTED_MOVES = 8  # last ones, to which the law is fitted
SMALLEST_ERROR = 0.02  # of what is recorded, standard deviation: nothing is known better


@dataclass(frozen=True)
class Stage:
    """How a stage went: the power of the likelihood it reached, and how many members still tell something of their own.

    effective: 1/Σw² of the weights; independent: members that would know a mean as well, after the moves (see
    `learn`); moves: how many; taken: share of them taken.
    """

    power: float
    effective: float
    independent: float
    moves: int
    taken: float


@dataclass(frozen=True)
class Members:
    """What members were dealt, by decision [member, size]; what was seen of their ponds; their log likelihood.

    typical [member, figure]: what their ponds would make one record, on a scale on which chance scatters about alike
    everywhere; drawn: the same with that chance.
    """

    uniforms: Uniforms
    seen: dict[str, Array]
    log_likelihood: Array
    typical: Array
    drawn: Array

    def drawn_rows(self, rows: NDArray[np.intp]) -> Members:
        return Members(
            {name: u[rows] for name, u in self.uniforms.items()},
            {name: a[rows] for name, a in self.seen.items()},
            self.log_likelihood[rows],
            self.typical[rows],
            self.drawn[rows],
        )

    def where(self, taken: NDArray[np.bool_], other: Members) -> Members:
        """The other's members where taken, else these."""

        def choose(new: Array, old: Array) -> Array:
            return np.where(taken.reshape(-1, *[1] * (old.ndim - 1)), new, old)

        return Members(
            {name: choose(other.uniforms[name], u) for name, u in self.uniforms.items()},
            {name: choose(other.seen[name], a) for name, a in self.seen.items()},
            choose(other.log_likelihood, self.log_likelihood),
            choose(other.typical, self.typical),
            choose(other.drawn, self.drawn),
        )

    def deviates(self) -> Array:
        """Normal deviates of the decisions with few values [member, value], in the order of the uniforms."""
        few = [ndtri(u) for u in self.uniforms.values() if u.shape[1] <= MANY]
        return np.concatenate(few, axis=1) if few else np.zeros((self.log_likelihood.size, 0))


def learn(
    prior: Members, look: Callable[[Uniforms], Members], observed: Array, seed: int
) -> tuple[Members, list[Stage]]:
    """Members of equal weight, and how each stage went; the last power is below 1 if MOST_STAGES were not enough.

    look runs ponds for what their members are dealt; observed [figure] is what was recorded, on the scale of
    `Members.typical`. All chance comes from streams of the seed.

    How many members are independent is the smaller of two counts. One follows how members are akin: copies are one, a
    step of size s that is taken leaves √(1 − s²) of what was common. The other follows how much members still resemble
    (r², over what they were dealt and what they would show) where they began the stage, at which a share of
    the members was lost to their weights.
    """
    now, stages = prior, list[Stage]()
    count = prior.log_likelihood.size
    akin, independent = np.eye(count), float(count)
    power, moved, size = 0.0, 0, 1.0
    fitted = [(prior.deviates(), prior.typical, prior.drawn)]
    while power < 1.0 and len(stages) < MOST_STAGES and np.isfinite(now.log_likelihood).any():
        following = next_power(now.log_likelihood, power)
        weight = weights((following - power) * now.log_likelihood)
        rows = draw_rows(weight, float(uniform(seed, f"update draw {len(stages)}", range(1), 1)[0, 0]))
        effective, power = float(1 / np.sum(weight**2)), following
        began = now = now.drawn_rows(rows)
        akin, before = akin[np.ix_(rows, rows)], independent * effective / count
        shares = list[float]()
        least, most = (LEAST_LAST_MOVES, MOST_LAST_MOVES) if power == 1.0 else (1, MOST_MOVES)
        while len(shares) < least or (len(shares) < most and independent < WANTED_SHARE * count):
            moved += 1
            law = fit(fitted, observed, power)
            proposed, gain = step(now, law, size, seed, moved)
            there = look(proposed)
            fitted = [*fitted, (there.deviates(), there.typical, there.drawn)][-FITTED_MOVES:]
            with np.errstate(invalid="ignore"):
                ratio = power * (there.log_likelihood - now.log_likelihood) + gain
            dealt = uniform(seed, f"update choice {moved}", range(1), count)[0]
            taken = np.log(dealt) < np.where(np.isnan(ratio), -np.inf, ratio)
            now = now.where(taken, there)
            left = np.where(taken, kept_by_step(size), 1.0)
            akin = akin * left[:, None] * left
            np.fill_diagonal(akin, 1.0)
            same = max(alike(began.deviates(), now.deviates()), alike(began.typical, now.typical))
            independent = independent_members(akin, same, before)
            shares.append(float(taken.mean()))
            change = 0.6 if shares[-1] < WANTED_MOVES[0] else 1.5 if shares[-1] > WANTED_MOVES[1] else 1.0
            size = float(np.clip(size * change, SMALLEST_STEP, 1.0))
        stages.append(Stage(power, effective, float(independent), len(shares), float(np.mean(shares))))
    return now, stages


def weights(log_weight: Array) -> Array:
    """Weights that add up to 1, from their logarithms."""
    return np.exp(log_weight - logsumexp(log_weight))


def independent_members(akin: Array, same: float, before: float) -> float:
    """How many independent members tell a mean as well as these do, the fewer of two counts.

    akin: what members have in common, 1 with themselves [member, member]; same: how much they are as they were when so many
    were independent as `before` says, 0 to 1.
    """
    count = len(akin)
    return float(min(count**2 / akin.sum(), 1.0 / (same / before + (1.0 - same) / count)))


def next_power(log_likelihood: Array, power: float) -> float:
    """The largest power up to 1 that leaves an effective KEPT_SHARE of the members; at least a thousandth more."""
    least = KEPT_SHARE * log_likelihood.size
    possible = log_likelihood[np.isfinite(log_likelihood)]  # the others weigh nothing at any power

    def effective(to: float) -> float:
        return float(1 / np.sum(weights((to - power) * possible) ** 2))

    if effective(1.0) >= least:
        return 1.0
    largest = float(bisect(lambda to: effective(to) - least, power, 1.0)) if possible.size > least else power
    return min(1.0, max(largest, power + 1e-3))


def draw_rows(weight: Array, start: float) -> NDArray[np.intp]:
    """Systematic draw: as many rows as there are weights, each as often as its weight says, to within one."""
    places = (np.arange(weight.size) + start) / weight.size
    return np.minimum(np.searchsorted(np.cumsum(weight), places), weight.size - 1)


def alike(before: Array, after: Array) -> float:
    """Mean r² across members between values [member, value] before and after, what chance gives taken off."""
    count = before.shape[0]
    a, b = before - before.mean(axis=0), after - after.mean(axis=0)
    size = np.sqrt((a**2).sum(axis=0) * (b**2).sum(axis=0))
    varied = size > 1e-9
    if not varied.any() or count < 2:
        return 0.0
    r = (a * b).sum(axis=0)[varied] / size[varied]
    return float(np.clip((count * np.mean(r**2) - 1.0) / (count - 1.0), 0.0, 1.0))


# ---------------------------------------------------------------------- where to step


@dataclass(frozen=True)
class Law:
    """A normal law of the deviates [value]: its mean, and the lower root of its covariance."""

    mean: Array
    root: Array

    def apart(self, z: Array) -> Array:
        """Logarithm of the prior's density over that of this law [member], but for a constant."""
        far = solve_triangular(self.root, (z - self.mean).T, lower=True)
        out: Array = 0.5 * (far**2).sum(axis=0) - 0.5 * (z**2).sum(axis=1)
        return out


def fit(shown: Sequence[tuple[Array, Array, Array]], observed: Array, power: float) -> Law:
    """The law that deviates have after the records at a power of their likelihood, if ponds were linear.

    shown: of earlier moves the deviates [member, value], what is typical and what was drawn [member, figure]. Each
    figure is fitted alone, by ridge regression with the penalty that predicts each member best from the others; what
    the fit leaves adds to the figure's error.
    """
    z, typical, drawn = (np.concatenate(parts) for parts in zip(*shown, strict=True))
    good = np.isfinite(typical).all(axis=1) & np.isfinite(drawn).all(axis=1)
    z, typical, drawn = z[good], typical[good], drawn[good]
    count, values = z.shape
    if count < 3 or not values or not observed.size:
        return Law(np.zeros(values), np.eye(values))
    x, y = z - z.mean(axis=0), typical - typical.mean(axis=0)
    u, d, v = np.linalg.svd(x, full_matrices=False)
    in_y = u.T @ y
    errors, slopes = [], []
    for penalty in count * np.geomspace(1e-5, 1e3, 17):
        kept = d**2 / (d**2 + penalty)
        own = np.minimum((u**2 * kept).sum(axis=1) + 1.0 / count, 0.999)
        errors.append((((y - u @ (kept[:, None] * in_y)) / (1.0 - own)[:, None]) ** 2).mean(axis=0))
        slopes.append((kept / np.maximum(d, 1e-300))[:, None] * in_y)
    best = np.argmin(errors, axis=0)
    figures = np.arange(best.size)
    slope = np.array(slopes)[best, :, figures] @ v  # [figure, value]
    chance = drawn - typical
    error = np.array(errors)[best, figures] + chance.var(axis=0) + SMALLEST_ERROR**2
    centre = (typical + chance).mean(axis=0) - slope @ z.mean(axis=0)
    toward = power * slope.T / error
    precision = np.eye(values) + toward @ slope
    root = np.linalg.cholesky(np.linalg.inv(precision))
    return Law(np.linalg.solve(precision, toward @ (observed - centre)), np.asarray(root, float))


Proposal = tuple[dict[str, Array], Array]
"""What members are dealt instead, and what belongs to the logarithm of the chance that each takes it."""


def kept_by_step(size: float) -> float:
    """What a step of a size, 0 to 1, leaves of a deviate: √(1 - size²), so that standard deviates stay so."""
    return float(np.sqrt(1.0 - size**2))


def step(now: Members, law: Law, size: float, seed: int, number: int) -> Proposal:
    """Every member away from where it is in all that it was dealt, about a law; days of weather about the prior."""
    few = [decision for decision, u in now.uniforms.items() if u.shape[1] <= MANY]
    z = now.deviates()
    count, stay = z.shape[0], kept_by_step(size)
    fresh = normal(seed, f"update step {number}", range(1), z.size).reshape(z.shape)
    moved = law.mean + stay * (z - law.mean) + size * fresh @ law.root.T
    columns = np.cumsum([now.uniforms[decision].shape[1] for decision in few])[:-1]
    out = dict(zip(few, map(_dealt, np.split(moved, columns, axis=1)), strict=True)) if few else {}
    for decision in now.uniforms.keys() - set(few):
        u = now.uniforms[decision]
        anew = normal(seed, f"update step {number} {decision}", range(1), u.size).reshape(count, -1)
        out[decision] = _dealt(stay * ndtri(u) + size * anew)
    return {decision: out[decision] for decision in now.uniforms}, law.apart(moved) - law.apart(z)


def _dealt(z: Array) -> Array:
    return np.clip(ndtr(z), 2.0**-53, 1.0 - 2.0**-53)
