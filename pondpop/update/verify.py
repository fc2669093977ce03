"""Whether a pond follows its forecast: what was foretold of every record since, what was seen, and what to suspect.

The ensemble of a projection is run again up to the last record, with the same members and luck, and makes the records
that it would have shown; no member is weighed. A right forecast holds 8 of 10 figures in its ranges of 80 % and ranks
them evenly. Where it does not, members that are run once more with one assumption wrong say what the records would look like
then; the one whose records these resemble beyond chance is under suspicion.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from pondpop.checks import Fact, InputError, RunError
from pondpop.decide.goals import scenario_of
from pondpop.ensemble import results
from pondpop.ensemble.draws import Dealer, Prior, Source, streams
from pondpop.ensemble.jobs import Job, Readings
from pondpop.ensemble.run import Store, at_once, blocks, run_all
from pondpop.model.inputs import Luck
from pondpop.records import Records, read_records
from pondpop.scenario import Scenario, Strategy
from pondpop.species import MEASURED, SPECIES, Parameters, of_species
from pondpop.update import figures_of, followed, up_to
from pondpop.update.from_records import evidence
from pondpop.update.likelihood import CATCHABILITY, REPORTED, REPORTING, Haul, Observation, View, doubts, view_of
from pondpop.update.posterior import Posterior
from pondpop.update.shares import Aged, Recaptured, Returned
from pondpop.update.simulate import Watched

Array = NDArray[np.float64]

LOW, HIGH = 0.1, 0.9  # of the range in which 8 of 10 figures are expected
DRAWN = 16  # records that each member makes (a choice)
SHRINK = 0.3  # of the correlations between figures among ponds towards none (a choice)
TAIL = 0.975  # of right forecasts, by which the scale of a score is told: what is far out matters, and tails differ (a choice)
LEAST_TOLD = 0.03  # of a figure's variance that ponds must make, right or wrong, for it to be looked at (a choice)
LEAST_CHANCE = 1e-6  # of a figure's variance; never none, since it divides
SUPPORT = 2.0  # of log-likelihood, by which the best assumption leads one that is as good as told apart from it (a choice)
WRONG = 3.0  # standard deviations by which a wrong assumption is off (a choice)
PAIRED = 32  # members that are run again with each assumption wrong (a choice)
PARTS = 8  # of the members, each judged by what the others say (a choice)
RIGHT = 0.92  # of right forecasts, in which nothing is to be suspected (a choice)
FEWEST_MEMBERS = 20  # of whom ranges can be read


@dataclass(frozen=True)
class Checked:
    """One figure of one record: what was seen, and what each member would have shown. `before` is the same figure when
    it was last seen, NaN where this is the first."""

    title: str
    species: str
    name: str
    unit: str
    day: dt.date
    seen: float
    foretold: Array
    before: float

    @property
    def band(self) -> tuple[float, float, float]:
        low, middle, high = np.quantile(self._known, (LOW, 0.5, HIGH))
        return float(low), float(middle), float(high)

    @property
    def inside(self) -> bool:
        low, _, high = self.band
        return low <= self.seen <= high

    @property
    def rank(self) -> float:
        """Share of the members below what was seen, ties by half: 0 to 1, even over many figures of a right forecast."""
        return float((self._known < self.seen).mean() + 0.5 * (self._known == self.seen).mean())

    @property
    def miss(self) -> float:
        """Continuous ranked probability score (Matheson & Winkler 1976, from memory): mean distance of members from what
        was seen less half their mean distance from one another; for a single number, the distance."""
        x = np.sort(self._known)
        between = 2.0 * float((x * (2.0 * np.arange(1, x.size + 1) - x.size - 1.0)).sum()) / x.size**2
        return float(np.abs(x - self.seen).mean()) - 0.5 * between

    @property
    def miss_of_no_change(self) -> float:
        """Distance from what was seen when it was last seen; NaN where this is the first time."""
        return abs(self.before - self.seen)

    @property
    def _known(self) -> Array:
        return self.foretold[np.isfinite(self.foretold)]


@dataclass(frozen=True)
class Estimate:
    """How much the records look like those of ponds with more, or less, of something than assumed: in standard deviations of
    those of a right forecast. Suspected: chance alone brings no assumption to as much as the first of them, and the records
    cannot tell this one from the first."""

    assumption: str
    more: bool
    score: float
    suspected: bool


@dataclass(frozen=True)
class Verification:
    """Figures in the order of the records, estimates with those first that the records speak of most."""

    scenario: Scenario
    strategy: str
    since: dt.date
    members: int
    figures: tuple[Checked, ...]
    estimates: tuple[Estimate, ...]
    unused: tuple[str, ...]

    @property
    def inside(self) -> int:
        return sum(one.inside for one in self.figures)

    @property
    def suspects(self) -> tuple[Estimate, ...]:
        return tuple(one for one in self.estimates if one.suspected)

    @property
    def gain_on_no_change(self) -> float:
        """Share by which the forecast misses less than "no change" does; NaN where nothing was seen twice.

        Figures differ in unit: each counts in units of the mean distance of the two misses.
        """
        pairs = [(one.miss, one.miss_of_no_change) for one in self.figures if np.isfinite(one.before)]
        scaled = [(2.0 * a / (a + b), 2.0 * b / (a + b)) for a, b in pairs if a + b > 0.0]
        if not scaled:
            return float("nan")
        own, other = np.sum(scaled, axis=0)
        return float(1.0 - own / other) if other > 0.0 else float("nan")


def verify(
    projection: xr.Dataset | str | Path,
    records: Records | str | Path,
    strategy: str | None = None,
    *,
    since: dt.date | None = None,
    source: Source | None = None,
    executor: Executor | None = None,
    store: Store | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Verification:
    """Hold a stored projection against what was seen since.

    projection: a Dataset of `compare`, or the path of its projection.nc; records: as read, or their folder. strategy: the
    one that was followed, needed if they differ before the last record. since: records later than this day count, by default
    those that the projection's ensemble has not learned from. source: the ensemble, where the projection was made of one.
    Raises InputError, where nothing is there to compare too; RunError; OSError.

    >>> import pondpop
    >>> pondpop.verify(pondpop.compare("pond.toml"), "records")  # of another pond and time
    Traceback (most recent call last):
    pondpop.checks.InputError: records: got nothing later than 2026-04-01 on this run, needs a record since the forecast
    """
    dataset = projection if isinstance(projection, xr.Dataset) else results.read(Path(projection))
    scenario = scenario_of(dataset)
    drawn = source or Prior()
    made_of = dataset.attrs.get("members_from")
    if (made_of or Prior().identity) != drawn.identity:
        given = Fact("another ensemble than the projection was made of" if source else "a projection made of an ensemble")
        raise InputError("--ensemble", given, "the posterior.nc that the projection was made with", "name it with --ensemble")
    records = records if isinstance(records, Records) else read_records(records)
    learned = drawn.until if isinstance(drawn, Posterior) else scenario.run.start
    after = learned if since is None else since
    every = evidence(records, scenario)
    days = {id(one): scenario.run.start + dt.timedelta(days=one.day) for one in every.observations}
    later = tuple(one for one in every.observations if days[id(one)] > after)
    if not later:
        raise InputError("records", Fact(f"nothing later than {after} on this run"), "a record since the forecast")
    until = scenario.run.start + dt.timedelta(days=every.last_day)
    name = followed(scenario, strategy, until)
    members = int(dataset.sizes["member"])
    if members < FEWEST_MEMBERS:
        raise RunError(f"{members} members have no ranges to speak of: compare with {FEWEST_MEMBERS} or more, then verify")
    past = up_to(scenario, name, until)
    jobs = [
        Job(((past, name),), part.start, len(part), drawn, every.watched)
        for part in blocks(members, at_once(executor))
    ]
    parts: dict[int, Readings] = {}
    for k, (readings,), _ in run_all(jobs, executor, store):
        parts[k] = readings
        if progress:
            progress(sum(jobs[n].members for n in parts), members)
    seen = results.stack_members([parts[k] for k in range(len(jobs))])
    deal = streams(scenario.ensemble.seed, range(members))
    uniforms = {doubt: deal(doubt, 1) for doubt in doubts(later)}
    view = view_of(past, every.watched, seen, uniforms)
    off = views_off(past, name, every.watched, drawn, view, executor, store, progress)
    return Verification(
        scenario=scenario,
        strategy=name,
        since=after,
        members=members,
        figures=tuple(_checked(later, every.observations, view, days)),
        estimates=tuple(estimates(later, view, off)),
        unused=every.unused,
    )


def _checked(
    later: tuple[Observation, ...], every: Sequence[Observation], view: View, days: Mapping[int, dt.date]
) -> list[Checked]:
    known: dict[tuple[str, str], list[tuple[dt.date, float]]] = {}
    for one in every:
        for figure, (_, values) in one.figures(one.data).items():
            if np.isfinite(float(values)):
                known.setdefault((_what(one.title), figure), []).append((days[id(one)], float(values)))
    found = []
    for one, shown in zip(later, figures_of(later, view, 4), strict=True):
        for figure, (unit, seen, foretold) in shown.items():
            if not np.isfinite(seen) or np.isfinite(foretold).sum() < FEWEST_MEMBERS:
                continue
            day, species = days[id(one)], next(s for s in SPECIES if s in one.title.split())
            earlier = [(when, value) for when, value in known[_what(one.title), figure] if when < day]
            before = max(earlier, default=(day, float("nan")))[1]
            found.append(Checked(_what(one.title), species, figure, unit, day, seen, foretold, before))
    return found


def _what(title: str) -> str:
    """A record's title without its date or dates."""
    return re.sub(r"^[\d-]+( to [\d-]+)? ", "", title)


# ---------------------------------------------------------------------- what to suspect


HARVEST = "harvest by anglers"
REPORTED_FEWER = "reporting of kept fish"  # the harvest is as forecast, and the books hold a part of it
NOT_IN_BOOKS = "unreported harvest"  # the books hold the harvest that was forecast, and fish are kept besides


class Assumption(NamedTuple):
    """A source of doubt that all members of a forecast could be wrong in: its spread, and where it stands in the luck."""

    spread: str
    field: str
    species: str | None = None


@dataclass(frozen=True)
class Off:
    """A dealer of another's members, of whom one assumption is wrong: off by so many standard deviations, all through the run."""

    dealer: Dealer
    wrong: Assumption
    by: float

    @property
    def identity(self) -> str:
        return f"{self.dealer.identity}, {self.wrong} off by {self.by}"

    @property
    def about(self) -> Mapping[str, str]:
        return self.dealer.about

    def draw(self, scenario: Scenario, strategy: Strategy, first: int, members: int) -> tuple[Parameters, Luck]:
        parameters, luck = self.dealer.draw(scenario, strategy, first, members)
        field, by = self.wrong.field, self.by * scenario.ensemble.spreads[self.wrong.spread]
        values = getattr(luck, field).copy()
        there = values if self.wrong.species is None else of_species(values, self.wrong.species, axis=1)
        there *= np.exp(by)
        if field == "stocking_survival":
            values = np.minimum(values, np.maximum(getattr(luck, field), 1.0))
        return parameters, replace(luck, **{field: values})


def assumptions(scenario: Scenario, strategy: str) -> dict[str, Assumption]:
    """What a forecast assumes and records could speak against, by what it is called; the gears come with the records."""
    own = scenario.strategies[strategy]
    found = {"food of the pond": Assumption("productivity", "productivity")}
    for species in (s for s in MEASURED if s in own.species):
        found[f"growth of {species}"] = Assumption("growth", "growth", species)
        found[f"young of {species}"] = Assumption("recruitment", "recruitment", species)
        found[f"natural deaths of {species}"] = Assumption("natural_mortality", "background_deaths", species)
    if any(not event.resident for event in own.stocking):
        found["survival of stocked fish"] = Assumption("stocking_survival", "stocking_survival")
    if own.harvest or own.angling:
        found[HARVEST] = Assumption("angler_success", "angler_success")
    return {name: one for name, one in found.items() if scenario.ensemble.spreads[one.spread] > 0.0}


def views_off(
    past: Scenario, strategy: str, watched: Watched, dealer: Dealer, view: View, executor: Executor | None = None,
    store: Store | None = None, progress: Callable[[int, int], None] | None = None,
) -> dict[str, dict[int, View]]:
    """What the first members would have shown, were one assumption wrong: by its name, and way, less (-1) or more (1)."""
    count = min(PAIRED, view.seen["number"].shape[0])
    asked = [(name, way, one) for name, one in assumptions(past, strategy).items() for way in (-1, 1)]
    jobs = [Job(((past, strategy),), 0, count, Off(dealer, one, way * WRONG), watched) for _, way, one in asked]
    found: dict[str, dict[int, View]] = {name: {} for name, _, _ in asked}
    seen = {k: read for k, (read,), _ in _told(run_all(jobs, executor, store), len(jobs) * count, count, progress)}
    first = {name: z[:count] for name, z in view.doubts.items()}
    for k, (name, way, _) in enumerate(asked):
        found[name][way] = replace(view, seen=seen[k], doubts=first)
    for doubt, z in view.doubts.items():
        if doubt.startswith(CATCHABILITY):
            name = f"catchability by {doubt.removeprefix(CATCHABILITY)}"
            found[name] = {way: replace(view, doubts={**view.doubts, doubt: z + way * WRONG}) for way in (-1, 1)}
    more = found[HARVEST][1] if HARVEST in found else None
    return found | of_books(view, more, WRONG * past.ensemble.spreads["angler_success"])


def of_books(view: View, more_harvest: View | None, by: float) -> dict[str, dict[int, View]]:
    """What books that are said to hold every kept fish would show, did they not: by what is wrong with them, and way. Nothing,
    where nothing is said of them.

    more_harvest: what is shown where more fish are kept, and by how much, log; the books then hold what was forecast.
    """

    def written(of: View, off: float) -> View:
        return replace(of, doubts={**of.doubts, REPORTING: of.doubts[REPORTING] + off})

    if REPORTING not in view.doubts:
        return {}
    found = {REPORTED_FEWER: {-1: written(view, -WRONG)}}
    return found if more_harvest is None else found | {NOT_IN_BOOKS: {1: written(more_harvest, -by / REPORTED)}}


def _told(
    done: Iterator[tuple[int, list[Readings], bool]], total: int, each: int, progress: Callable[[int, int], None] | None
) -> Iterator[tuple[int, list[Readings], bool]]:
    for n, one in enumerate(done, 1):
        if progress:
            progress(n * each, total)
        yield one


def estimates(observations: Sequence[Observation], view: View, off: Mapping[str, Mapping[int, View]]) -> list[Estimate]:
    """How much the records look like those of ponds in which an assumption is wrong, for each, in the way they look more so."""
    return discriminants(observations, view, off).estimates(observations)


@dataclass(frozen=True)
class Discriminants:
    """What tells the records of ponds in which an assumption is wrong, by its name and way, from those of a right forecast.

    Half the square of a score is the log-likelihood by which records speak for that assumption, wrong by whatever suits them
    best, over none; those within SUPPORT of the best explain the records about as well (Edwards 1972, from memory).
    middle, spread [figure] of a right forecast, inf where it has none; weights [figure, assumption] of the figures so scaled;
    level: from where an assumption is suspected.
    """

    names: tuple[tuple[str, int], ...]
    middle: Array
    spread: Array
    weights: Array
    level: float

    def estimates(self, observations: Sequence[Observation]) -> list[Estimate]:
        """Of records of the same kind; those that the records speak of most come first."""
        seen = np.concatenate([_figures(one, one.data[None])[0] for one in observations])
        scores = np.nan_to_num((seen - self.middle) / self.spread) @ self.weights
        best: dict[str, Estimate] = {}
        for (name, way), score in sorted(zip(self.names, scores, strict=True), key=lambda one: float(one[1])):
            best[name] = Estimate(name, way > 0, float(score), False)  # the larger of two ways comes last
        found = sorted(best.values(), key=lambda one: -one.score)
        if not found or found[0].score < self.level:
            return found
        least = max(found[0].score ** 2 - 2.0 * SUPPORT, 0.0) ** 0.5
        return [replace(one, suspected=one.score > least) for one in found]


def discriminants(observations: Sequence[Observation], view: View, off: Mapping[str, Mapping[int, View]]) -> Discriminants:
    """What tells records of this kind of ponds in which an assumption is wrong from those of a right forecast.

    What tells the two apart best is the linear discriminant (Fisher 1936): the difference of their means by the inverse of the
    covariance of a right forecast's records. That is made of what ponds differ by (of few members, so that it is shrunk) and
    of chance in the records, of which each member makes DRAWN sets; the difference is that of the records which the same
    members would make without chance, less where members do not agree on it (after James & Stein 1961, from memory). Figures
    that differ in chance alone are left out. The discriminant's value is told in standard deviations of those of a right
    forecast; something is suspected from where no assumption reaches in RIGHT of them. A member is judged there as a pond
    would be, by discriminants that know nothing of it (made without its PARTS-th of the members): by what they made
    themselves few members look more alike than ponds do.
    """
    rng = np.random.default_rng([19, len(observations)])
    expected = [one.expected(view) for one in observations]

    def draw() -> list[Array]:
        return [one.draw(mean, rng) for one, mean in zip(observations, expected, strict=True)]

    drawn = np.stack([_together(observations, draw()) for _ in range(DRAWN)])  # [draw, member, figure]
    known = np.isfinite(drawn)
    count = np.maximum(known.sum(axis=(0, 1)), 1)
    middle = np.where(known, drawn, 0.0).sum(axis=(0, 1)) / count
    spread = np.sqrt(np.where(known, (drawn - middle) ** 2, 0.0).sum(axis=(0, 1)) / count)
    spread[spread <= 1e-9] = np.inf

    def scaled(figures: Array) -> Array:
        return np.nan_to_num((figures - middle) / spread)  # what could not be read says nothing

    def typical(of: View) -> Array:
        return _together(observations, [one.typical(one.expected(of)) for one in observations])

    own = typical(view)
    moved = {}
    for name, ways in off.items():
        for way, wrong in ways.items():
            shown = typical(wrong)
            moved[name, way] = _agreed(scaled(shown) - scaled(own[: len(shown)]))
    by = np.array(list(moved.values())).reshape(-1, len(middle))  # [assumption, figure]
    told = scaled(own).var(axis=0) + (by**2).max(axis=0, initial=0.0) >= LEAST_TOLD
    seen = (np.abs(by) > 1e-9)[:, told].any(axis=1)  # what moves no figure that tells is never seen
    names = tuple(which for which, there in zip(moved, seen, strict=True) if there)
    spread, apart = np.where(told, spread, np.inf), np.where(told, by[seen], 0.0).T
    if not names:
        return Discriminants((), middle, spread, apart, np.inf)
    x, ponds = scaled(drawn), scaled(own)
    chance = (x - x.mean(axis=0)).reshape(-1, x.shape[-1])
    of_chance = chance.T @ chance / (len(chance) - len(own)) + LEAST_CHANCE * np.eye(x.shape[-1])

    def weights(members: NDArray[np.bool_] | slice) -> Array:
        between = np.cov(ponds[members].T)
        return np.linalg.solve(of_chance + (1.0 - SHRINK) * between + SHRINK * np.diag(np.diag(between)), apart)

    part = np.arange(x.shape[1]) % PARTS
    right = np.empty((*x.shape[:2], len(names)))
    for k in range(PARTS):
        right[:, part == k] = x[:, part == k] @ weights(part != k)
    scatter = np.quantile(right, TAIL, axis=(0, 1)) / NormalDist().inv_cdf(TAIL)
    level = float(np.quantile((right / scatter).max(axis=-1), RIGHT))
    return Discriminants(names, middle, spread, weights(slice(None)) / scatter, level)


def _agreed(moved: Array) -> Array:
    """The mean of what members are moved by [member, figure], less where they do not agree."""
    mean = moved.mean(axis=0)
    error = moved.var(axis=0) / len(moved)
    return np.asarray(mean * np.maximum(0.0, 1.0 - error / np.maximum(mean**2, 1e-12)))


def _together(observations: Sequence[Observation], data: Sequence[Array]) -> Array:
    return np.concatenate([_figures(one, some) for one, some in zip(observations, data, strict=True)], axis=-1)


def _figures(one: Observation, data: Array) -> Array:
    """The figures of a record [draw, figure]; numbers of fish by their logarithm. Of a catch the fish of each length category
    and longer (their shares, where the effort is unknown), and the mean length. Few, so that members can tell how they vary
    together."""
    if isinstance(one, Recaptured | Returned | Aged):
        return one.summary(data)
    if not isinstance(one, Haul):
        return np.column_stack([np.log1p(values) if unit == "fish" else values for unit, values in one.figures(data).values()])
    fish = one.as_long(data)
    numbers = np.log1p(fish) if one.counts else np.sqrt(fish[..., 1:] / np.maximum(fish[..., :1], 1e-9))
    _, length = one.figures(data)["mean length"]
    return np.concatenate([numbers, length[..., None]], axis=-1)
