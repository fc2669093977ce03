"""What records say that a simulated pond can be held against, and how probable they are for one.

An observation has data [value], means expected of ponds [member, value], the likelihood of data about such means, and a
draw of data from them; both are one model (see `observe.gears`), so that what is simulated here is what is learned from.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise, product
from typing import Protocol

import numpy as np
import scipy
from numpy.typing import NDArray

from pondpop.assess.size_and_condition import (
    GAME,
    LENGTH_CLASSES,
    class_name,
    counts_by_inch,
    weighed,
    weight_classes,
    within,
)
from pondpop.assess.tags import MIN_DAYS
from pondpop.ensemble.draws import multiplier
from pondpop.ensemble.prepare import daily_water
from pondpop.observe import indices
from pondpop.observe.gears import WR_BETWEEN_FISH, expected_catch, gear, log_chance, scatter
from pondpop.records import BadRow, Fish, Records, TagEvent
from pondpop.records.surveys import Survey, surveys
from pondpop.scenario import Scenario
from pondpop.species import SPECIES, of_species
from pondpop.units import MM_PER_IN
from pondpop.update.simulate import Growing, Hatched, Marked, Watched

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
MARKS_KEPT = 0.95  # share of the marked fish whose mark is seen
MARKS_OFF = 0.15  # of the share marked, of all recaptures of a species alike (marks lost, marked fish apart), log
LEAST_MARKED, MOST_MARKED = 0.002, 0.95  # share of a catch that is marked
LENGTHS_ALIKE = 0.03  # of the lengths of all year classes of a species alike, where ages are held against them, as a share
MISREAD = 0.1  # share of the fish whose age is read a year wrong, half of them too old
WITHOUT_FISH = (90.0, 30.0)  # mean and standard deviation of a Wr where a pond has no fish of the class
WITHOUT_GROWTH = (60.0, 60.0)  # the same for growth, mm a year

CATCHABILITY, OFFSET = "catchability ", "offset "
DOUBTS = (CATCHABILITY, OFFSET)
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
    """A day on which a gear was worked; effort None: unknown, water_c None: as expected on that day."""

    day: int
    effort: float | None
    water_c: float | None = None


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
        return (f"{CATCHABILITY}{self.gear} {self.species}",)

    @property
    def day(self) -> int:
        return max(one.day for one in self.outings)

    @property
    def counts(self) -> bool:
        """Whether how many were caught tells something."""
        return all(one.effort is not None for one in self.outings)

    def expected(self, view: View) -> Array:
        there = multiplier(view.doubts[self.doubts[0]], gear(self.gear).catchability_spread)
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
        return log_chance(data[..., :-1], expected[:, :-1], gear(self.gear), whole, len(self.outings))

    def draw(self, expected: Array, rng: np.random.Generator) -> Array:
        sized = scatter(expected[:, :-1], gear(self.gear), rng, len(self.outings))
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
class Recaptured:
    """Marked fish among those of some lengths that were examined, by one gear: a share of its catch, so that neither effort nor
    catchability matters. They keep together as the lengths of a catch do (beta-binomial)."""

    title: str
    name: str  # of the marks
    species: str
    gear: str
    day: int
    marked: tuple[int, ...]  # their numbers among the marked fish that were asked for
    low_in: int
    high_in: int | None
    examined: int
    data: Array  # [1], fish

    @property
    def doubts(self) -> tuple[str, ...]:
        return (f"{OFFSET}marks {self.species}",)

    def expected(self, view: View) -> Array:
        """The share that is marked [member, 1]."""
        taken = of_species(gear(self.gear).class_selectivity(), self.species, axis=0)
        every = of_species(view.at("number", self.day), self.species) * view.area_ha
        alive = view.seen["marked"][:, list(self.marked)].sum(axis=1)
        marked, there = ((fish * taken)[:, self.low_in : self.high_in].sum(axis=1) for fish in (alive, every))
        kept = MARKS_KEPT * multiplier(view.doubts[self.doubts[0]], MARKS_OFF)
        return np.clip(kept * marked / np.maximum(there, 1e-9), LEAST_MARKED, MOST_MARKED)[:, None]

    def log_likelihood(self, expected: Array, data: Array) -> Array:
        a, b = self._strengths(expected)
        return np.asarray(scipy.stats.betabinom.logpmf(data[..., 0], self.examined, a, b))

    def draw(self, expected: Array, rng: np.random.Generator) -> Array:
        return rng.binomial(self.examined, rng.beta(*self._strengths(expected)))[:, None].astype(float)

    def typical(self, expected: Array) -> Array:
        return self.examined * expected

    def summary(self, data: Array) -> Array:
        return np.log1p(data)

    def figures(self, data: Array) -> dict[str, tuple[str, Array]]:
        """The share that is marked of those examined."""
        return {f"{self.name} {class_name(self.low_in, self.high_in)}": ("%", 100.0 * data[..., 0] / self.examined)}

    def _strengths(self, expected: Array) -> tuple[Array, Array]:
        together = gear(self.gear).independent_fish
        return together * expected[:, 0], together * (1.0 - expected[:, 0])


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
        fish, a = data.sum(axis=-1), together * expected
        of_class = scipy.special.gammaln(together) + scipy.special.gammaln(fish + 1) - scipy.special.gammaln(fish + together)
        each = scipy.special.gammaln(data + a) - scipy.special.gammaln(a) - scipy.special.gammaln(data + 1)
        return np.asarray((of_class + each.sum(axis=-1)).sum(axis=-1))

    def draw(self, expected: Array, rng: np.random.Generator) -> Array:
        share = rng.gamma(gear(self.gear).independent_fish * expected)
        share /= share.sum(axis=-1, keepdims=True)
        return rng.multinomial(self.fish.astype(np.int64), share).astype(float)

    def typical(self, expected: Array) -> Array:
        return self.fish[:, None] * expected

    def summary(self, data: Array) -> Array:
        """Of all fish that were aged, the logarithm of the odds of having hatched by each year but the last [..., year]."""
        older = np.cumsum(data.sum(axis=-2), axis=-1)
        return np.asarray(np.log((older[..., :-1] + 0.5) / (older[..., -1:] - older[..., :-1] + 0.5)))

    def figures(self, data: Array) -> dict[str, tuple[str, Array]]:
        """The mean age of each length class; fish from before the run's first year count as of the year before it."""
        ages = np.arange(data.shape[-1])[::-1]
        mean = data @ ages / self.fish
        return {f"mean age {class_name(*one)}": ("years", mean[..., n]) for n, one in enumerate(self.classes)}


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


@dataclass(frozen=True)
class Evidence:
    """All that a set of records says of one run: observations, what must be watched for them, what was not used."""

    observations: tuple[Observation, ...]
    watched: Watched
    unused: tuple[str, ...]

    @property
    def last_day(self) -> int:
        return self.watched.days[-1] if self.watched.days else -1


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


# ---------------------------------------------------------------------- from records


def evidence(records: Records, scenario: Scenario) -> Evidence:
    """What the records say of the days of a run; what lies outside it, or tells nothing, is named.

    That none was caught of a species of which the scenario has no fish tells nothing, and is left out.
    """
    here = {species for strategy in scenario.strategies.values() for species in strategy.species}
    start, end = scenario.run.start, scenario.run.end
    unused: list[str] = []

    def day_of(date: dt.date) -> int | None:
        return (date - start).days if start <= date < end else None

    outside = [d for d in _dates(records) if day_of(d) is None]
    if outside:
        days = f"{len(outside)} day{'s' * (len(outside) > 1)} of records, {outside[0]} to {outside[-1]}"
        unused.append(f"{days}, lie outside the run, {start} to {end - dt.timedelta(days=1)}")
    found: list[Observation] = []
    for survey in surveys(records):
        if day_of(survey.first) is None or day_of(survey.last) is None:
            continue
        found += _hauls(survey, start, records.left_out, unused)
        found += _conditions(survey, start)
    found += _angling(records, scenario, unused)
    found = [o for o in found if not isinstance(o, Haul) or o.species in here or o.data.any()]
    asked, grown = _growth(records, start, end)
    marked, recaptured = _recaptured(records, start, end)
    hatched, aged = _aged(records, start, end)
    found += [*grown, *recaptured, *aged]
    looked = {one.day for one in found} | {one.day for o in found if isinstance(o, Haul) for one in o.outings}
    watched = Watched(tuple(sorted(looked)), tuple(asked), tuple(marked), tuple(hatched))
    return Evidence(tuple(found), watched, tuple(unused))


def _dates(records: Records) -> list[dt.date]:
    rows = (records.fish, records.effort, records.catches, records.tags)
    return sorted({row.date for kind in rows for row in kind})


def _hauls(survey: Survey, start: dt.date, left_out: Sequence[BadRow], unused: list[str]) -> Iterator[Haul]:
    """The catch of each gear and species that was taken up in a survey; days apart of which only the lengths count.

    These are days without known effort, and days of which a row was left out: how many were caught is not known then.
    """
    worked = {(e.date, e.gear): e for e in survey.effort}
    every = sorted({(f.date, f.gear) for f in survey.fish} | set(worked))
    for used in sorted({used for _, used in every}):
        for species in SPECIES:
            days: dict[bool, list[tuple[Outing, list[Fish]]]] = {True: [], False: []}
            for date in (date for date, gear_used in every if gear_used == used):
                effort = worked.get((date, used))
                caught = [f for f in survey.fish if (f.date, f.gear, f.species) == (date, used, species)]
                if effort and species not in effort.species:
                    continue
                lost = sum(_may_be_of(bad, date, used, species) for bad in left_out)
                if effort and lost:
                    rows = "a row that was" if lost == 1 else f"{lost} rows that were"
                    seen = "only the lengths of the others count" if caught else "nothing is known of it"
                    unused.append(f"{date} {used} {species}: {rows} left out may be of it, so {seen}")
                known = effort is not None and not lost
                if known or caught:
                    amount = effort.amount if known and effort else None
                    outing = Outing((date - start).days, amount, effort.water_c if effort else None)
                    days[known].append((outing, caught))
            for some in days.values():
                if some and gear(used).takes(species):
                    fish = tuple(f for _, caught in some for f in caught)
                    data = np.append(counts_by_inch(fish), 0.0)
                    yield Haul(f"{survey.first} {used} {species}", species, used, tuple(one for one, _ in some), data)


def _may_be_of(bad: BadRow, date: dt.date, used: str, species: str) -> bool:
    """Whether a row that was left out may have been one of a day's survey, by what can be read of it."""
    return bad.kind in ("survey.csv", "effort.csv") and all(
        read in (None, own) for read, own in ((bad.date, date), (bad.gear, used), (bad.species, species))
    )


def _conditions(survey: Survey, start: dt.date) -> Iterator[Mean]:
    day = (survey.first - start).days
    for used in survey.gears:
        for species in GAME:
            found = weighed(survey.taken(used, species), species)
            for low, high in weight_classes(species):
                mine, _ = found.of(low, high)
                if mine.size:
                    title = f"{survey.first} {used} {species}"
                    yield wr_of(day, species, used, low, high, float(mine.mean()), mine.size, title)


def _angling(records: Records, scenario: Scenario, unused: list[str]) -> Iterator[Haul]:
    """What anglers caught in each calendar year: all fish over all hours, held against the day in their middle.

    Fish are as wary then as the fishing that the scenario states (`[[angling]]`) makes them; that of the trips recorded does
    not count.
    """
    start, end = scenario.run.start, scenario.run.end
    for year in sorted({c.date.year for c in records.catches}):
        rows = [c for c in records.catches if c.date.year == year and start <= c.date < end]
        broken = {(bad.date, bad.trip) for bad in records.left_out if bad.kind == "catches.csv"}
        halves = sorted({(c.date, c.trip) for c in rows} & broken)
        if halves:
            named = ", ".join(f"{date} {trip}" for date, trip in halves)
            unused.append(f"{year} angling: a row was left out of these trips, so all of each is: {named}")
            rows = [c for c in rows if (c.date, c.trip) not in broken]
        trips = {(c.date, c.trip): c.hours for c in rows}
        hours = sum(trips.values())
        if not hours:
            continue
        middle = sum((date - start).days * spent for (date, _), spent in trips.items()) / hours
        lost = [
            bad
            for bad in records.left_out
            if bad.kind == "catches.csv" and (None in (bad.date, bad.trip)) and (bad.date is None or bad.date.year == year)
        ]
        for species in SPECIES:
            if not gear("angling").takes(species):
                continue
            classes: dict[tuple[float, float], float] = defaultdict(float)
            unsized = 0.0
            for c in rows:
                if c.species != species:
                    continue
                if c.shortest_mm is None and c.longest_mm is None:
                    unsized += c.kept + c.released
                else:
                    classes[c.shortest_mm or 0.0, c.longest_mm or np.inf] += c.kept + c.released
            bounds = sorted(classes)
            if any(a[1] > b[0] + 1e-6 for a, b in pairwise(bounds)):
                unused.append(f"{year} {species}: the length classes of the trips overlap, so only their number counts")
                unsized, bounds = unsized + sum(classes.values()), []
            edges = sorted({0.0, np.inf, *(edge for one in bounds for edge in one)})
            parts = list(pairwise(edges))  # a class in which no fish was caught tells something too
            data = np.array([*(classes[one] if bounds else 0.0 for one in parts), unsized])
            bins = _bins(parts)
            known = not any(bad.species in (None, species) for bad in lost)
            if not known:
                unused.append(f"{year} angling {species}: a row that was left out may be of it, so only lengths count")
            if known or data[:-1].any():
                outing = Outing(round(middle), hours if known else None)
                yield Haul(f"{year} angling {species}", species, "angling", (outing,), data, bins)


def _bins(bounds: list[tuple[float, float]]) -> Array:
    """Share of each one-inch class within each length class [bin, length_class]."""
    lower = np.arange(LENGTH_CLASSES) * MM_PER_IN
    rows = [
        np.clip((np.minimum(high, lower + MM_PER_IN) - np.maximum(low, lower)) / MM_PER_IN, 0.0, 1.0)
        for low, high in bounds
    ]
    return np.array(rows)


def _growth(records: Records, start: dt.date, end: dt.date) -> tuple[list[Growing], list[Mean]]:
    """Mean growth of tagged fish between two surveys, by species and length class at the first."""
    sessions = [s for s in surveys(records) if start <= s.first and s.last < end]
    session = {date: s.first for s in sessions for date in {f.date for f in s.fish}}
    measured: dict[str, dict[dt.date, float]] = defaultdict(dict)
    species = {t.tag: t.species for t in records.tags}
    every: tuple[TagEvent | Fish, ...] = (*records.tags, *records.fish)
    for row in every:
        if row.tag and row.tag in species and row.length_mm is not None and row.date in session:
            measured[row.tag].setdefault(row.date, row.length_mm)
    groups: dict[tuple[dt.date, dt.date, str, int, int | None], list[tuple[float, float]]] = defaultdict(list)
    for tag, days in measured.items():
        first: dt.date | None = None
        for day in sorted(days):
            if first is not None and (day - first).days >= MIN_DAYS:
                for low, high in weight_classes(species[tag]) if species[tag] in GAME else [(0, None)]:
                    if within(np.array(days[first]), low, high):
                        a_year = (days[day] - days[first]) / (day - first).days * 365.25
                        key = (session[first], session[day], species[tag], low, high)
                        groups[key].append((days[first], a_year))
                first = day
            first = first or day
    asked, found = [], []
    for (first_day, last_day, name, low, high), pairs in sorted(groups.items(), key=str):
        lengths, grown = np.array(pairs).T
        asked.append(
            Growing(name, (first_day - start).days, (last_day - start).days, tuple(map(float, lengths)))
        )
        title = f"{first_day} to {last_day} tags {name}"
        name_of = f"growth {class_name(low, high)}"
        found.append(growth_of(len(asked) - 1, asked[-1].last, name, name_of, grown.mean(), grown.size, title))
    return asked, found


def _recaptured(records: Records, start: dt.date, end: dt.date) -> tuple[list[Marked], list[Recaptured]]:
    """Marked fish in the catch of each survey in which any were seen or marked: of those marked in earlier surveys, and on each
    further day of those handled on the days before, which tells how many there are. Those that anglers kept since are marked
    fish too: their deaths are among those of the pond."""
    asked: list[Marked] = []
    found: list[Recaptured] = []
    sessions = [s for s in surveys(records) if start <= s.first and s.last < end and any(f.tag for f in s.fish)]
    for n, now in enumerate(sessions):
        for species, used in product(GAME, now.gears):
            before, known = [], set()
            for then in sessions[:n]:
                new = {f.tag: f.length_mm for f in then.fish if f.tag and f.species == species and f.tag not in known}
                known |= set(new)
                if new:
                    before.append(Marked(species, (then.first - start).days, (now.first - start).days, tuple(new.values())))
            looks = [("old tags", now.first, before, known, now.taken(used, species))]
            for day in sorted({f.date for f in now.fish if f.gear == used}):
                handled = {f.tag: f.length_mm for f in now.fish if f.tag and f.species == species and f.date < day}
                first, last = (now.first - start).days, (day - start).days
                today = tuple(f for f in now.fish if (f.date, f.gear, f.species) == (day, used, species))
                again = [Marked(species, first, last, tuple(handled.values()))] if handled else []
                looks.append(("new tags", day, again, set(handled), today))
            for name, day, marked, tags, fish in looks:
                numbers = tuple(range(len(asked), len(asked) + len(marked)))
                asked += marked
                stock, quality = indices.category_inches(species)[:2]
                for low, high in ((stock, quality), (quality, None)) if marked else ():
                    some = [f for f in fish if within(np.array(f.length_mm), low, high)]
                    if some:
                        data, examined = np.array([float(sum(f.tag in tags for f in some))]), sum(f.count for f in some)
                        found.append(
                            Recaptured(
                                f"{day} {used} {species}", name, species, used, (day - start).days, numbers, low, high,
                                examined, data,
                            )
                        )  # fmt: skip
    return asked, found


def _aged(records: Records, start: dt.date, end: dt.date) -> tuple[list[Hatched], list[Aged]]:
    """The ages read in each survey, by gear and species; by calendar year, so that all fish are a year older on 1 January."""
    asked: list[Hatched] = []
    found: list[Aged] = []
    for survey in surveys(records):
        if not start <= survey.first <= survey.last < end:
            continue
        day, years = (survey.first - start).days, survey.first.year - start.year + 2
        for used, species in product(survey.gears, SPECIES):
            fish = [f for f in survey.taken(used, species) if f.age is not None]
            if not fish or not gear(used).takes(species):
                continue
            every = weight_classes(species) if species in GAME else [(0, None)]
            counts = {}
            for one in every:
                some = [f for f in fish if within(np.array(f.length_mm), *one)]
                hatched = [f.date.year - (f.age or 0) - start.year + 1 for f in some]
                if some:
                    at = np.clip(hatched, 0, years - 1)
                    counts[one] = np.bincount(at, [float(f.count) for f in some], minlength=years)
            asked.append(Hatched(species, day))
            data = np.array(list(counts.values()))
            title = f"{survey.first} {used} {species}"
            found.append(Aged(title, species, used, day, len(asked) - 1, tuple(counts), data))
    return asked, found
