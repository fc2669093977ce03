"""The search of a plan: a grid of decisions, looked at under the same luck, few members first and more for what is left.

It knows nothing of ponds: `look` gives the worth of places of the grid, member by member. A space-filling start; in every
round the members double, places drop out that the paired members speak clearly against, and new ones come in: neighbours
of the leader, and what a quadratic surface through all that was seen promises. At last the leader climbs among its
neighbours until none is better. The same seed, the same search.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

Array = NDArray[np.float64]
Place = tuple[int, ...]
"""A position on each axis of the grid."""
Look = Callable[[Sequence[Place], int, int], Array]
"""Worth [place, member] of places in so many members from a first one on; −inf where a place is not allowed."""

FIRST_MEMBERS = 8  # of the first round; they double from round to round (a choice)
CLEAR = 2.0  # standard errors of a paired difference from which a place is dropped (a choice)
MOST_FOLLOWED = 12  # places that are kept from one round to the next, the best ones (a choice)
PROMISED = 4  # places that the surface proposes in a round (a choice)
CLIMBS = 8  # steps of the leader in one round, at most (a choice)
LOOKED_OVER = 4096  # places among which the surface is read, where the grid has more
STIFFNESS = 0.05  # of the surface: penalty on its coefficients (a choice)


@dataclass
class Record:
    """Everything that was looked at: worth [member] of each place, longer for those that were followed longer."""

    worth: dict[Place, Array] = field(default_factory=dict)

    def against(self, place: Place, other: Place) -> Array:
        """Worth of one place less that of another, in the members that both were looked at in [member]."""
        count = min(self.worth[place].size, self.worth[other].size)
        return np.asarray(self.worth[place][:count] - self.worth[other][:count])

    @property
    def allowed(self) -> list[Place]:
        return [place for place, worth in self.worth.items() if np.isfinite(worth).all()]

    def ranked(self, least_members: int = 1) -> list[Place]:
        """Allowed places with so many members, the best first."""
        some = [place for place in self.allowed if self.worth[place].size >= least_members]
        return sorted(some, key=lambda place: (-float(self.worth[place].mean()), place))

    @property
    def looks(self) -> int:
        """How many ponds were run, a member of a place each."""
        return sum(worth.size for worth in self.worth.values())


def search(
    sizes: Sequence[int],
    look: Look,
    members: int,
    *,
    begin: Iterable[Place] = (),
    in_order: Sequence[bool] = (),
    start: int = 0,
    seed: int = 0,
) -> Record:
    """Look for the place of most worth on a grid.

    sizes: how many values each axis has; members: of the last round; begin: places to look at in any case; in_order:
    whether neighbours on an axis are alike (numbers and dates) or not (words), by default all are; start: places of the
    space-filling start, by default 8 and 6 for each axis. The best of what was found is `record.ranked(members)[0]`.
    """
    shape = tuple(int(size) for size in sizes)
    ordered = tuple(in_order) or (True,) * len(shape)
    record = Record()
    rounds = _rounds(members)
    followed = list(dict.fromkeys([*begin, *_spread_out(shape, start or places_to_begin(shape), seed)]))
    for count in rounds:
        _extend(record, followed, count, look)
        for climb in range(CLIMBS):
            best = record.ranked(count)
            if not best:
                return record
            new = list(_neighbours(best[0], shape, ordered))
            if climb == 0:
                new += _promised(record, shape, seed + count)
            new = [place for place in dict.fromkeys(new) if place not in record.worth or 0 < record.worth[place].size < count]
            new = [place for place in new if not _out_of_question(record, place, best[0])]
            if not new:
                break
            _extend(record, new, count, look)
            if record.ranked(count)[0] == best[0] and climb:
                break
        leader = record.ranked(count)[0]
        kept = [place for place in record.ranked(count) if not _out_of_question(record, place, leader)]
        followed = kept[:MOST_FOLLOWED]
    return record


def places_to_begin(sizes: Sequence[int]) -> int:
    """Places of the space-filling start: 8 and 6 for each axis (a choice), of a small grid all that there are."""
    return min(8 + 6 * len(sizes), math.prod(sizes))


def _rounds(members: int) -> list[int]:
    """Members of every round: doubled until there are as many as asked for."""
    counts = [min(FIRST_MEMBERS, members)]
    while counts[-1] < members:
        counts.append(min(2 * counts[-1], members))
    return counts


def _extend(record: Record, places: Sequence[Place], count: int, look: Look) -> None:
    """Look at places until each has so many members; those that stand equally far are looked at together."""
    short: dict[int, list[Place]] = {}
    for place in places:
        have = record.worth.get(place, np.empty(0))
        if have.size < count and np.isfinite(have).all():
            short.setdefault(have.size, []).append(place)
    for have_members, group in sorted(short.items()):
        found = look(group, have_members, count - have_members)
        for place, worth in zip(group, found, strict=True):
            record.worth[place] = np.concatenate([record.worth.get(place, np.empty(0)), worth])


def _out_of_question(record: Record, place: Place, leader: Place) -> bool:
    """Whether the members that both were looked at in speak clearly against a place, or it is not allowed."""
    if place == leader or place not in record.worth:
        return False
    difference = record.against(place, leader)
    if not np.isfinite(difference).all():
        return True
    if difference.size < 2:
        return False
    error = float(difference.std(ddof=1)) / math.sqrt(difference.size)
    return float(difference.mean()) + CLEAR * error < 0.0


def _spread_out(shape: Place, count: int, seed: int) -> list[Place]:
    """Places all over the grid: all of a small one, a Latin hypercube otherwise."""
    if math.prod(shape) <= count:
        return list(itertools.product(*map(range, shape)))
    cube = qmc.LatinHypercube(d=len(shape), rng=np.random.default_rng(seed)).random(count)
    return list(dict.fromkeys(tuple(int(u * size) for u, size in zip(row, shape, strict=True)) for row in cube))


def _neighbours(place: Place, shape: Place, ordered: Sequence[bool]) -> list[Place]:
    """One step on one axis, either way; on an axis without order, every other value."""
    found = []
    for axis, size in enumerate(shape):
        here = place[axis]
        there = (here - 1, here + 1) if ordered[axis] else range(size)
        found += [(*place[:axis], k, *place[axis + 1 :]) for k in there if 0 <= k < size and k != here]
    return found


def _promised(record: Record, shape: Place, seed: int) -> list[Place]:
    """Places not looked at yet where a quadratic surface through what was seen is highest."""
    seen = record.allowed
    if len(seen) < 3 * len(shape):
        return []
    reference = record.ranked(max(record.worth[place].size for place in seen))[0]
    height = np.array([record.against(place, reference).mean() for place in seen])
    size = np.array([record.worth[place].size for place in seen], dtype=float)
    height = np.maximum(height, np.quantile(height, 0.25))  # how bad the worst are says nothing of where the best is
    terms = _terms(np.array(seen, dtype=float), shape)
    penalty = STIFFNESS * size.sum() * np.eye(terms.shape[1]) / terms.shape[1]
    penalty[0, 0] = 0.0
    surface = np.linalg.solve(terms.T * size @ terms + penalty, terms.T @ (height * size))
    others = _places_to_read(shape, seed)
    promise = _terms(others.astype(float), shape) @ surface
    known = record.worth.keys()
    best = (tuple(int(k) for k in others[n]) for n in np.argsort(-promise, kind="stable"))
    return list(itertools.islice((place for place in best if place not in known), PROMISED))


def _places_to_read(shape: Place, seed: int) -> NDArray[np.int64]:
    if math.prod(shape) <= LOOKED_OVER:
        return np.array(list(itertools.product(*map(range, shape))), dtype=np.int64)
    drawn = np.random.default_rng(seed).random((LOOKED_OVER, len(shape)))
    return (drawn * np.array(shape)).astype(np.int64)


def _terms(places: Array, shape: Place) -> Array:
    """1, each axis scaled to −1…1, squares and products [place, term]."""
    half = np.maximum((np.array(shape, dtype=float) - 1.0) / 2.0, 0.5)
    x = places / half - 1.0
    pairs = itertools.combinations_with_replacement(range(len(shape)), 2)
    return np.column_stack([np.ones(len(places)), x, *(x[:, i] * x[:, j] for i, j in pairs)])
