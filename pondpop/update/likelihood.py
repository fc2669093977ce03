"""Observations that a simulated pond can be held against (those that are shares of fish stand in `shares`), and how probable they
are for one; `from_records` finds them.

An observation has data [value], means expected of ponds [member, value], the likelihood of data about such means, and a
draw of data from them; both are one model (see `observe.gears`), so that what is simulated here is what is learned from.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import Protocol

import numpy as np
import scipy
from numpy.typing import NDArray

from pondpop.assess.size_and_condition import GAME, LENGTH_CLASSES, class_name
from pondpop.ensemble.draws import multiplier
from pondpop.ensemble.prepare import daily_water
from pondpop.observe import indices
from pondpop.observe.gears import WR_BETWEEN_FISH, expected_catch, gear, log_chance, scatter
from pondpop.scenario import Scenario
from pondpop.species import of_species
from pondpop.units import MM_PER_IN
from pondpop.update.simulate import Watched

Array = NDArray[np.float64]

# All assumed. What the model cannot know of a record beyond the sampling of its fish; standard deviations. What is wrong
# alike in several records is dealt to each member once (`offsets`), so that many records do not average it away.
LENGTH_OFF = 0.06  # of the mean length of a year class in the model, as a share of it
WR_OFF = 5.0  # of all mean Wr of a species alike, %
WR_OFF_IN_SURVEY = 4.0  # of all mean Wr of a species in one survey alike (season, scale, crew), %
WR_ERROR = 4.0  # of the mean of one length class, %
GROWTH_OFF_MM = 8.0  # of all mean growth of a species alike, mm a year
GROWTH_ERROR_MM = 12.0  # of the mean growth of one length class, mm a year
GROWTH_SPREAD_MM = 30.0  # between fish of one length class, mm a year
STRAYS = 0.1  # fish in a day's catch that the model does not have
STRAY_SHARE = 0.02  # share of a catch with lengths that the model does not have
ANGLERS_OFF = 0.2  # of what anglers catch an hour in a year, on all trips alike (who fishes, and with what), log
REPORTED = 0.1  # of all kept fish in books that are said to hold every one, alike (forgotten, miscounted), log
KEPT_ERROR = 0.1  # of the number of fish that anglers keep in a year, beyond that of a count, as a share
WITHOUT_FISH = (90.0, 30.0)  # mean and standard deviation of a Wr where a pond has no fish of the class
WITHOUT_GROWTH = (60.0, 60.0)  # the same for growth, mm a year

CATCHABILITY, OFFSET, REPORTING = "catchability ", "offset ", "reporting of kept fish"
DOUBTS = (CATCHABILITY, OFFSET, REPORTING)
"""How the names of decisions begin that concern the records and not the pond."""


@dataclass(frozen=True)
class View:
    """What was seen of ponds: `watch` arrays, the days they belong to, and the doubts that records share."""

    seen: dict[str, Array]
    days: tuple[int, ...]
    area_ha: float
    water_c: Array  # [day], expected
    doubts: dict[str, Array]  # by decision, standard normal deviates [member]

    def at(self, name: str, day: int) -> Array:
        return self.seen[name][:, self.days.index(day)]


class Observation(Protocol):
    """One record, or several that belong together."""

    @property
    def title(self) -> str: ...

    @property
    def day(self) -> int:
        """The last day of the run that it is of."""
        ...

    @property
    def data(self) -> Array: ...

    @property
    def doubts(self) -> tuple[str, ...]: ...

    def expected(self, view: View) -> Array: ...

    def log_likelihood(self, expected: Array, data: Array) -> Array: ...

    def draw(self, expected: Array, rng: np.random.Generator) -> Array: ...

    def typical(self, expected: Array) -> Array: ...

    def summary(self, data: Array) -> Array: ...

    def figures(self, data: Array) -> dict[str, tuple[str, Array]]: ...


@dataclass(frozen=True)
class Outing:
    """A day on which a gear was worked; effort None: unknown, water_c None: as expected on that day. times: outings about that
    day, of which the effort is the sum."""

    day: int
    effort: float | None
    water_c: float | None = None
    times: int = 1


@dataclass(frozen=True)
class Haul:
    """The catch of one species and gear in a survey (or by anglers in a year), its days together: fish by length.

    Each outing scatters anew, so that more of them tell more; what is wrong on all of them alike is `lengths_off` and
    the catchability. bins [bin, length_class]: share of each one-inch class that belongs to a bin. Where the effort of a
    day is unknown, how many were caught tells nothing, only their lengths.
    """

    title: str
    species: str
    gear: str
    outings: tuple[Outing, ...]
    data: Array  # [bin], and behind them the fish whose length was not noted
    bins: Array = field(default_factory=lambda: np.eye(LENGTH_CLASSES), repr=False)

    @property
    def doubts(self) -> tuple[str, ...]:
        of_gear = f"{CATCHABILITY}{self.gear} {self.species}"
        return (of_gear, f"{OFFSET}catch of {self.title}") if self.gear == "angling" else (of_gear,)

    @property
    def day(self) -> int:
        return max(one.day for one in self.outings)

    @property
    def times(self) -> int:
        """Outings, of which the number caught scatters each time anew."""
        return sum(one.times for one in self.outings)

    @property
    def draws(self) -> int:
        """Outings that tell of the lengths anew; anglers fish for the same ones all through a year."""
        return 1 if self.gear == "angling" else self.times

    @property
    def counts(self) -> bool:
        """Whether how many were caught tells something."""
        return all(one.effort is not None for one in self.outings)

    def expected(self, view: View) -> Array:
        there = multiplier(view.doubts[self.doubts[0]], gear(self.gear).catchability_spread)
        for name in self.doubts[1:]:
            there = there * multiplier(view.doubts[name], ANGLERS_OFF)
        catch = np.zeros(())
        for one in self.outings:
            warmth = view.water_c[one.day] if one.water_c is None else one.water_c
            effort = (one.effort or 1.0) * there
            if self.gear == "angling":
                effort = effort * of_species(view.at("catch_while_wary", one.day), self.species, axis=-1)
            number = view.at("number", one.day)
            whole = expected_catch(number, gear(self.gear), effort, warmth, view.area_ha)
            catch = catch + of_species(whole, self.species)
        mean = catch @ lengths_off(LENGTH_OFF) @ self.bins.T
        total = mean.sum(axis=1, keepdims=True)
        mean = mean * (1.0 - STRAY_SHARE) + (STRAY_SHARE * total + STRAYS) / mean.shape[1]
        return np.concatenate([mean, np.zeros_like(total)], axis=1)

    def log_likelihood(self, expected: Array, data: Array) -> Array:
        whole = np.full(expected.shape[0], np.nan) if not self.counts else data.sum(axis=-1)
        return log_chance(data[..., :-1], expected[:, :-1], gear(self.gear), whole, self.times, self.draws)

    def draw(self, expected: Array, rng: np.random.Generator) -> Array:
        sized = scatter(expected[:, :-1], gear(self.gear), rng, self.times, self.draws)
        return np.concatenate([sized, np.zeros((len(sized), 1))], axis=1)

    def typical(self, expected: Array) -> Array:
        return expected

    def summary(self, data: Array) -> Array:
        """Roots of the shares by length, and the logarithm of the fish caught where it counts [..., figure]."""
        sized = data[..., :-1]
        shares = np.sqrt(sized / np.maximum(sized.sum(axis=-1, keepdims=True), 1e-9))
        return np.concatenate([shares, np.log1p(data.sum(axis=-1, keepdims=True))] if self.counts else [shares], axis=-1)

    def as_long(self, data: Array) -> Array:
        """Fish measured of each length category of the species or longer, all of them first [..., category]."""
        lower = indices.category_inches(self.species) if self.species in GAME else ()
        category = np.searchsorted(lower, self._middles / MM_PER_IN, side="right")
        share = (category[:, None] >= np.arange(len(lower) + 1)).astype(float)
        return np.asarray(data[..., :-1] @ share)

    @property
    def _middles(self) -> Array:
        """The middle of each bin, mm [bin]."""
        return self.bins @ (np.arange(LENGTH_CLASSES) + 0.5) * MM_PER_IN / np.maximum(self.bins.sum(axis=1), 1e-9)

    def figures(self, data: Array) -> dict[str, tuple[str, Array]]:
        """Fish caught, and the mean length of those measured."""
        found = {"caught": ("fish", data.sum(axis=-1))} if self.counts else {}
        middle = self._middles
        sized = data[..., :-1]
        fish = sized.sum(axis=-1)
        mean = np.divide(sized @ middle, fish, out=np.full(fish.shape, np.nan), where=fish > 0)
        return found | {"mean length": ("mm", mean)}


@dataclass(frozen=True)
class KeptInBooks:
    """Fish of a species that anglers kept in (a part of) a calendar year, of books that are said to hold every one.

    A count (negative binomial) of those that harvest rules take; what the books leave out all the same is doubted for all
    years alike. Some of these fish are among those caught an hour too (`Haul`), which tell of the fish there are and not of the
    rules: that the chance of both is the same is left out of account.
    """

    title: str
    species: str
    day: int
    k: int  # its number among those that were asked for
    data: Array  # [1], fish

    @property
    def doubts(self) -> tuple[str, ...]:
        return (REPORTING,)

    def expected(self, view: View) -> Array:
        """Fish in the books [member, 1]."""
        written = multiplier(view.doubts[REPORTING], REPORTED)
        return (written * view.seen["kept"][:, self.k] * view.area_ha + STRAYS)[:, None]

    def log_likelihood(self, expected: Array, data: Array) -> Array:
        n = KEPT_ERROR**-2
        return np.asarray(scipy.stats.nbinom.logpmf(data[..., 0], n, n / (n + expected[:, 0])))

    def draw(self, expected: Array, rng: np.random.Generator) -> Array:
        n = KEPT_ERROR**-2
        return rng.poisson(expected * rng.gamma(n, 1.0 / n, expected.shape)).astype(float)

    def typical(self, expected: Array) -> Array:
        return expected

    def summary(self, data: Array) -> Array:
        return np.log1p(data)

    def figures(self, data: Array) -> dict[str, tuple[str, Array]]:
        return {"kept": ("fish", data[..., 0])}


@cache
def lengths_off(off: float) -> Array:
    """Share of the fish of each one-inch class that are seen in each [class, class], all lengths being off by a factor.

    The factor is log-normal with this standard deviation, for each year class anew.
    """
    edges = np.append(np.arange(LENGTH_CLASSES), np.inf)
    inside = (np.arange(LENGTH_CLASSES)[:, None] + (np.arange(5) + 0.5) / 5)[..., None]  # [class, point, edge]
    with np.errstate(divide="ignore"):
        below = scipy.stats.norm.cdf((np.log(edges) - np.log(inside)) / off)
    share: Array = np.diff(below, axis=-1).mean(axis=1)
    return share


@dataclass(frozen=True)
class Mean:
    """The mean of a measure over n fish, normal about what a pond has, and about what other records share with it."""

    title: str
    name: str
    unit: str
    data: Array  # [1]
    fish: int
    spread: float  # between fish
    error: float  # of the model
    without: tuple[float, float]
    read: MeanWr | MeanGrowth
    offsets: dict[str, float]  # standard deviation by decision, of what is wrong alike in other records

    @property
    def day(self) -> int:
        return self.read.day

    @property
    def doubts(self) -> tuple[str, ...]:
        return tuple(self.offsets)

    def expected(self, view: View) -> Array:
        off = sum(sd * view.doubts[name] for name, sd in self.offsets.items())
        return np.asarray(self.read(view) + off)[:, None]

    def _centre(self, expected: Array) -> tuple[Array, Array]:
        known = np.isfinite(expected[:, 0])
        sd = np.hypot(self.spread / np.sqrt(self.fish), self.error)
        return np.where(known, expected[:, 0], self.without[0]), np.where(known, sd, self.without[1])

    def log_likelihood(self, expected: Array, data: Array) -> Array:
        centre, sd = self._centre(expected)
        return np.asarray(scipy.stats.norm.logpdf(data[..., 0], centre, sd))

    def draw(self, expected: Array, rng: np.random.Generator) -> Array:
        centre, sd = self._centre(expected)
        return rng.normal(centre, sd)[:, None]

    def typical(self, expected: Array) -> Array:
        return self._centre(expected)[0][:, None]

    def summary(self, data: Array) -> Array:
        return data

    def figures(self, data: Array) -> dict[str, tuple[str, Array]]:
        return {self.name: (self.unit, data[..., 0])}


@dataclass(frozen=True)
class MeanWr:
    """Reads the mean Wr of the fish of a length window that a gear takes [member]."""

    day: int
    species: str
    gear: str
    low_in: int
    high_in: int

    def __call__(self, view: View) -> Array:
        taken = view.at("number", self.day) * gear(self.gear).class_selectivity()
        wr = view.at("relative_weight", self.day)
        return indices.class_mean(wr, taken, self.species, self.low_in, self.high_in)


@dataclass(frozen=True)
class MeanGrowth:
    """Reads the growth until a day that was asked for as number k [member]."""

    k: int
    day: int

    def __call__(self, view: View) -> Array:
        return view.seen["growth"][:, self.k]


def wr_of(day: int, species: str, used: str, low: int, high: int | None, mean: float, fish: int, title: str) -> Mean:
    read = MeanWr(day, species, used, low, LENGTH_CLASSES if high is None else high)
    name = f"mean Wr {class_name(low, high)}"
    survey = title.partition(" ")[0]  # its first day
    offsets = {f"{OFFSET}Wr {species}": WR_OFF, f"{OFFSET}Wr {species} {survey}": WR_OFF_IN_SURVEY}
    return Mean(
        title, name, "%", np.array([mean]), fish, WR_BETWEEN_FISH, WR_ERROR, WITHOUT_FISH, read, offsets
    )  # fmt: skip


def growth_of(k: int, day: int, species: str, name: str, mean: float, fish: int, title: str) -> Mean:
    return Mean(
        title, name, "mm a year", np.array([mean]), fish, GROWTH_SPREAD_MM, GROWTH_ERROR_MM, WITHOUT_GROWTH,
        MeanGrowth(k, day), {f"{OFFSET}growth {species}": GROWTH_OFF_MM},
    )  # fmt: skip


def doubts(observations: tuple[Observation, ...]) -> tuple[str, ...]:
    """The decisions that deal what records share: catchability by gear and species, and what is wrong alike."""
    return tuple(dict.fromkeys(name for o in observations for name in o.doubts))


def view_of(scenario: Scenario, watched: Watched, seen: dict[str, Array], uniforms: dict[str, Array]) -> View:
    """What observations are held against."""
    from scipy.special import ndtri

    dealt = {name: ndtri(u[:, 0]) for name, u in uniforms.items() if name.startswith(DOUBTS)}
    return View(seen, watched.days, scenario.pond.area_ha, daily_water(scenario), dealt)


def log_likelihood(observations: tuple[Observation, ...], view: View) -> Array:
    """Of all observations together [member]."""
    total = np.zeros(view.seen["number"].shape[0])
    for one in observations:
        total += one.log_likelihood(one.expected(view), one.data)
    return total


def summaries(
    observations: tuple[Observation, ...], view: View, rng: np.random.Generator
) -> tuple[Array, Array]:
    """What the ponds would make the records, on scales on which chance scatters about alike [member, figure]: without
    that chance, and as drawn with it."""
    if not observations:
        nothing = np.zeros((view.seen["number"].shape[0], 0))
        return nothing, nothing
    expected = [one.expected(view) for one in observations]
    typical = [one.summary(one.typical(mean)) for one, mean in zip(observations, expected, strict=True)]
    drawn = [one.summary(one.draw(mean, rng)) for one, mean in zip(observations, expected, strict=True)]
    return np.concatenate(typical, axis=1), np.concatenate(drawn, axis=1)
