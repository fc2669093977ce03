"""Observations that are shares: of a catch that was marked, of tags that are handed in, of the years in which fish hatched.

Neither effort nor catchability matters to them. Fish keep together as the lengths of a catch do, so that shares scatter by more
than as many fish by themselves would (Dirichlet-multinomial).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from pondpop.assess.size_and_condition import class_name
from pondpop.ensemble.draws import multiplier
from pondpop.observe.gears import gear
from pondpop.species import of_species
from pondpop.update.likelihood import LENGTH_OFF, OFFSET, STRAY_SHARE, View, lengths_off

Array = NDArray[np.float64]

# All assumed, as in `likelihood`.
MARKS_KEPT = 0.95  # share of the marked fish whose mark is seen
MARKS_OFF = 0.15  # of the share marked, of all recaptures of a species alike (marks lost, marked fish apart), log
LEAST_MARKED, MOST_MARKED = 0.002, 0.95  # share of a catch that is marked
LENGTHS_ALIKE = 0.03  # of the lengths of all year classes of a species alike, where ages are held against them, as a share
MISREAD = 0.1  # share of the fish whose age is read a year wrong, half of them too old
HANDED_IN = 0.6  # share of the tags of kept fish that anglers hand in, and
HANDED_IN_OFF = 0.3  # of it, from pond to pond, log


@dataclass(frozen=True)
class Recaptured:
    """Marked fish among those of some lengths that were examined, by one gear: a share of its catch, so that neither effort nor
    catchability matters. When they were marked counts too: of older marks fewer are left, the more fish die. They keep together
    as the lengths of a catch do (Dirichlet-multinomial)."""

    title: str
    name: str  # of the marks
    species: str
    gear: str
    day: int
    marked: tuple[int, ...]  # the numbers of those marked on one day, the first first, among those that were asked for
    low_in: int
    high_in: int | None
    examined: int
    data: Array  # [day of marking], fish

    @property
    def doubts(self) -> tuple[str, ...]:
        return (f"{OFFSET}marks {self.species}",)

    def expected(self, view: View) -> Array:
        """The share that was marked on each day [member, day of marking]."""
        taken = of_species(gear(self.gear).class_selectivity(), self.species, axis=0)
        every = of_species(view.at("number", self.day), self.species) * view.area_ha
        inside = slice(self.low_in, self.high_in)
        marked = np.cumsum((view.seen["marked"][:, list(self.marked)] * taken)[:, :, inside], axis=2)[:, :, -1]
        there, whole = (every * taken)[:, inside].sum(axis=1), np.cumsum(marked, axis=1)[:, -1]
        kept = MARKS_KEPT * multiplier(view.doubts[self.doubts[0]], MARKS_OFF)
        share = np.clip(kept * whole / np.maximum(there, 1e-9), LEAST_MARKED, MOST_MARKED)
        of_day = (marked + 1e-3) / (whole + 1e-3 * len(self.marked))[:, None]
        return share[:, None] * of_day

    def log_likelihood(self, expected: Array, data: Array) -> Array:
        parts = np.broadcast_to(np.append(data, self.examined - data.sum()), (len(expected), len(self.marked) + 1))
        return _log_chance_of_shares(parts, self._strengths(expected))

    def draw(self, expected: Array, rng: np.random.Generator) -> Array:
        share = rng.gamma(self._strengths(expected))
        share /= share.sum(axis=-1, keepdims=True)
        return rng.multinomial(self.examined, share)[..., :-1].astype(float)

    def typical(self, expected: Array) -> Array:
        return self.examined * expected

    def summary(self, data: Array) -> Array:
        """The logarithm of all, and that of the odds of having been marked on one of the first half of the days [..., figure]."""
        whole = np.log1p(data.sum(axis=-1, keepdims=True))
        middle = len(self.marked) // 2
        return np.concatenate([whole, _log_odds_by_year(data)[..., middle - 1 : middle]], axis=-1) if middle else whole

    def figures(self, data: Array) -> dict[str, tuple[str, Array]]:
        """The share that is marked of those examined."""
        share = 100.0 * data.sum(axis=-1) / self.examined
        return {f"{self.name} {class_name(self.low_in, self.high_in)}": ("%", share)}

    def _strengths(self, expected: Array) -> Array:
        """Of the shares of each day of marking and of those without a mark [member, share]."""
        unmarked = 1.0 - expected.sum(axis=-1, keepdims=True)
        return gear(self.gear).independent_fish * np.concatenate([expected, unmarked], axis=-1)


@dataclass(frozen=True)
class Returned:
    """Tags of the fish of one species tagged in one survey that anglers hand in within a year, since they keep the fish. Not
    every tag is handed in, and what share is, is doubted for all surveys alike; the fish keep together as the lengths of a catch
    do (beta-binomial)."""

    title: str
    species: str
    day: int
    k: int  # its number among those that were asked for
    tagged: int
    data: Array  # [1], tags

    @property
    def doubts(self) -> tuple[str, ...]:
        return (f"{OFFSET}tags handed in {self.species}",)

    def expected(self, view: View) -> Array:
        """The share that is handed in [member, 1]."""
        handed_in = HANDED_IN * multiplier(view.doubts[self.doubts[0]], HANDED_IN_OFF)
        return np.clip(handed_in * view.seen["marked_kept"][:, self.k] / self.tagged, LEAST_MARKED, MOST_MARKED)[:, None]

    def log_likelihood(self, expected: Array, data: Array) -> Array:
        return _log_chance_of_shares(np.append(data, self.tagged - data.sum()), self._strengths(expected))

    def draw(self, expected: Array, rng: np.random.Generator) -> Array:
        kept, other = self._strengths(expected).T
        return rng.binomial(self.tagged, rng.beta(kept, other))[:, None].astype(float)

    def typical(self, expected: Array) -> Array:
        return self.tagged * expected

    def summary(self, data: Array) -> Array:
        return np.log1p(data)

    def figures(self, data: Array) -> dict[str, tuple[str, Array]]:
        """The share of the tags that is handed in."""
        return {"tags handed in": ("%", 100.0 * data[..., 0] / self.tagged)}

    def _strengths(self, expected: Array) -> Array:
        return gear("angling").independent_fish * np.concatenate([expected, 1.0 - expected], axis=-1)


@dataclass(frozen=True)
class Aged:
    """The years in which fish of one survey, gear and species hatched, as their ages say, by length class.

    Only what ages tell beyond the lengths counts, so that it does not matter which lengths were chosen to be aged: the fish of a
    length class are a sample of those of that class which the gear takes. They keep together as the lengths of a catch do
    (Dirichlet-multinomial). Ages of fish that were there when the run starts are guessed from their lengths, so those that
    hatched before the run's first calendar year are not told apart.
    """

    title: str
    species: str
    gear: str
    day: int
    k: int  # its number among what was asked
    classes: tuple[tuple[int, int | None], ...]
    data: Array  # [length class, year class], fish; the first year class are those from before the run's first year

    @property
    def doubts(self) -> tuple[str, ...]:
        return (f"{OFFSET}ages {self.species}",)

    @property
    def fish(self) -> Array:
        """Fish aged in each length class."""
        return np.asarray(self.data.sum(axis=-1))

    def expected(self, view: View) -> Array:
        """Share of each year class among the fish of each length class, as read [member, length class, year class]."""
        years = self.data.shape[-1]
        taken = of_species(gear(self.gear).class_selectivity(), self.species, axis=0)
        there = view.seen["year_classes"][:, self.k, :, :years] * taken[:, None]
        shorter = np.cumsum(np.einsum("mcy,cd->mdy", there, lengths_off(LENGTH_OFF)), axis=1)
        shorter = np.concatenate([np.zeros_like(shorter[:, :1]), shorter], axis=1)  # than each whole inch
        scale = np.exp(-LENGTHS_ALIKE * view.doubts[self.doubts[0]])
        number = np.stack([_at(shorter, high, scale) - _at(shorter, low, scale) for low, high in self.classes], axis=1)
        total = number.sum(axis=-1, keepdims=True)
        share = np.divide(number, total, out=np.full_like(number, 1.0 / years), where=total > 1e-9)
        return (share @ _misread(years)) * (1.0 - STRAY_SHARE) + STRAY_SHARE / years

    def log_likelihood(self, expected: Array, data: Array) -> Array:
        together = gear(self.gear).independent_fish
        return np.asarray(_log_chance_of_shares(data, together * expected).sum(axis=-1))

    def draw(self, expected: Array, rng: np.random.Generator) -> Array:
        share = rng.gamma(gear(self.gear).independent_fish * expected)
        share /= share.sum(axis=-1, keepdims=True)
        return rng.multinomial(self.fish.astype(np.int64), share).astype(float)

    def typical(self, expected: Array) -> Array:
        return self.fish[:, None] * expected

    def summary(self, data: Array) -> Array:
        """Of all fish that were aged, the logarithm of the odds of having hatched by each year but the last [..., year]."""
        return _log_odds_by_year(data.sum(axis=-2))

    def figures(self, data: Array) -> dict[str, tuple[str, Array]]:
        """The mean age of each length class; fish from before the run's first year count as of the year before it."""
        ages = np.arange(data.shape[-1])[::-1]
        mean = data @ ages / self.fish
        return {f"mean age {class_name(*one)}": ("years", mean[..., n]) for n, one in enumerate(self.classes)}


def _log_odds_by_year(data: Array) -> Array:
    """Of fish of years in their order [..., year], the logarithm of the odds of being of each of them but the last, or of one
    before [..., year]."""
    older = np.cumsum(data, axis=-1)
    return np.asarray(np.log((older[..., :-1] + 0.5) / (older[..., -1:] - older[..., :-1] + 0.5)))


def _log_chance_of_shares(data: Array, a: Array) -> Array:
    """The chance of counts about shares of these strengths (Dirichlet-multinomial, Mosimann 1962, from memory) [...]; both
    [..., part]."""
    gammaln = scipy.special.gammaln
    fish, together = data.sum(axis=-1), a.sum(axis=-1)
    each = gammaln(data + a) - gammaln(a) - gammaln(data + 1)
    return np.asarray(gammaln(together) + gammaln(fish + 1) - gammaln(fish + together) + each.sum(axis=-1))


def _at(shorter: Array, inches: int | None, scale: Array) -> Array:
    """Fish shorter than a length times a factor [member] [member, year class], of those shorter than each whole inch."""
    last = shorter.shape[1] - 1
    at = np.clip(last if inches is None else inches * scale, 0.0, last) * np.ones_like(scale)
    below = np.minimum(at.astype(np.intp), last - 1)
    row, above = np.arange(len(shorter)), (at - below)[:, None]
    return np.asarray(shorter[row, below] * (1.0 - above) + shorter[row, below + 1] * above)


def _misread(years: int) -> Array:
    """Share of the fish of each year class that are read as of each [year class, as read]; the first and last are open."""
    read = np.eye(years) * (1.0 - MISREAD)
    for k in range(years):
        read[k, max(k - 1, 0)] += MISREAD / 2
        read[k, min(k + 1, years - 1)] += MISREAD / 2
    return read
