"""A block of ponds run up to the last record, and what is read off them on the days of the records.

`Watched` says what is read, with plain arrays, members first, of a block whose members are `Dealt` a past.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pondpop.ensemble import results
from pondpop.ensemble.draws import draw_luck, draw_parameters, streams
from pondpop.ensemble.jobs import Job
from pondpop.ensemble.run import Store, at_once, blocks, run_all
from pondpop.model import harvest
from pondpop.model.day import Engine, run
from pondpop.model.inputs import Inputs, Luck
from pondpop.observe.observers import AXES, Surveys, year_classes
from pondpop.scenario import Scenario, Strategy
from pondpop.species import Parameters, place_of
from pondpop.units import DAYS_PER_CALENDAR_YEAR, DAYS_PER_YEAR, MM_PER_IN

Array = NDArray[np.float64]
Uniforms = Mapping[str, Array]
"""By decision (see `chance`), [member, size]."""
READ = ("number", "biomass", "relative_weight")
CLASSES = AXES["length_class"].labels.size


@dataclass(frozen=True)
class Growing:
    """Fish of some lengths (mm) at the start of `first` whose mean growth until `last` is asked; days of the run."""

    species: str
    first: int
    last: int
    lengths_mm: tuple[float, ...]


@dataclass(frozen=True)
class Marked:
    """Fish of some lengths (mm) marked at the start of `first`, of whom is asked how many live on `last`, and how long."""

    species: str
    first: int
    last: int
    lengths_mm: tuple[float, ...]


@dataclass(frozen=True)
class Hatched:
    """Fish of a species at the start of `day` of the run, of whom is asked in which years they hatched."""

    species: str
    day: int


@dataclass(frozen=True)
class Keeping:
    """Fish of a species of whom is asked how many anglers keep from the start of `first` to that of `last`; days of the run."""

    species: str
    first: int
    last: int


@dataclass(frozen=True)
class Watched:
    """What is read: the fish on some days of the run, in order, growth and survival between two of them, years of hatching on
    some, how many fish anglers keep between some, and how many of the fish marked (`returned`)."""

    days: tuple[int, ...]
    growth: tuple[Growing, ...] = ()
    marked: tuple[Marked, ...] = ()
    hatched: tuple[Hatched, ...] = ()
    kept: tuple[Keeping, ...] = ()
    returned: tuple[Marked, ...] = ()

    @property
    def identity(self) -> str:
        return repr(self)

    def __call__(self, inputs: Inputs, survey_days: Sequence[int]) -> dict[str, Array]:
        """Run a block up to the last day asked: number, biomass, relative_weight [member, day, species, length_class],
        catch_while_wary [member, day, species] (catch per hour relative to that of fish that nobody fished for), growth
        [member, asked] (mm a year; NaN where no such fish live until then), marked [member, asked, length_class] (fish that
        live), year_classes [member, asked, length_class, year_class] (fish/ha; first those that hatched before the calendar year
        in which the run starts, then those of each year until the last day), kept [member, asked] (fish/ha), marked_kept
        [member, asked] (fish), and group_survivors, group_length [member, stocked_group] on the last day. survey_days are the
        run's own, which reacting rules learn from.
        """
        surveys, between = Surveys(survey_days, self.days), _Between(self, inputs.members)
        kept, marked_kept = _Kept(self.kept, inputs.members), _MarkedKept(self.returned, inputs.members)
        wary: dict[int, Array] = {}
        first_year = inputs.start.year
        years = inputs.date(self.days[-1]).year - first_year + 1
        hatched = np.zeros((inputs.members, len(self.hatched), CLASSES, years + 1))

        def note(engine: Engine) -> None:
            for k, one in enumerate(self.hatched):
                if one.day == engine.day:
                    hatched[:, k] = year_classes(engine, one.species, first_year, years + 1)
            if engine.day in self.days:
                caught = engine.parameters.wariness_per_catch[:, None] * engine.state.wariness
                wary[engine.day] = 1.0 / (1.0 + caught)

        run(inputs, [surveys, between, kept, marked_kept, note], until=self.days[-1], flows_from=kept.days)
        read = surveys.stacked(self.days)
        out = {name: read[name] for name in READ} | {"growth": between.mm_a_year, "marked": between.alive}
        out |= {"year_classes": hatched, "kept": kept.number, "marked_kept": marked_kept.number}
        out["catch_while_wary"] = np.stack([wary[day] for day in self.days], axis=1)
        return out | {name: read[name][:, -1] for name in ("group_survivors", "group_length")}


class _Between:
    """Reads growth and survival between days of the run: `mm_a_year` [member, asked], `alive` [member, asked, length_class]."""

    def __init__(self, watched: Watched, members: int) -> None:
        self.watched = watched
        self.mm_a_year = np.full((members, len(watched.growth)), np.nan)
        self.alive = np.zeros((members, len(watched.marked), CLASSES))
        self.begun: dict[tuple[str, int], dict[str, Array]] = {}

    def __call__(self, engine: Engine) -> None:
        day = engine.day
        asked: tuple[Growing | Marked, ...] = (*self.watched.growth, *self.watched.marked)
        for one in asked:
            if one.first == day and (one.species, day) not in self.begun:
                self.begun[one.species, day] = _groups(engine, one.species)
        for k, grown in enumerate(self.watched.growth):
            if grown.last == day:
                self.mm_a_year[:, k] = _growth(engine, grown, self.begun[grown.species, grown.first])
        for k, marked in enumerate(self.watched.marked):
            if marked.last == day:
                self.alive[:, k] = _alive(engine, marked, self.begun[marked.species, marked.first])


class _Kept:
    """Reads how many fish anglers keep between days of the run: `number` [member, asked], fish/ha. The flows of the run are to
    begin on `days`."""

    def __init__(self, asked: Sequence[Keeping], members: int) -> None:
        self.asked = asked
        self.days = tuple(sorted({day for one in asked for day in (one.first, one.last)}))
        self.number = np.zeros((members, len(asked)))

    def __call__(self, engine: Engine) -> None:
        if engine.day not in self.days:
            return
        for k, one in enumerate(self.asked):
            if one.first < engine.day <= one.last:
                self.number[:, k] += engine.flows.harvest_number[:, place_of(one.species)]


DAYS_ALIKE = 15  # in which fish of an inch class that are marked are fished for alike (a choice)


class _MarkedKept:
    """Reads how many of the fish marked anglers keep: `number` [member, asked], fish. Those of an inch class are fished for as
    all fish of it are, and every DAYS_ALIKE it is read anew how many live and how long they are."""

    def __init__(self, asked: Sequence[Marked], members: int) -> None:
        self.asked = asked
        self.number = np.zeros((members, len(asked)))
        self.begun: dict[int, dict[str, Array]] = {}
        self.alive: dict[int, Array] = {}  # [member, length_class], and
        self.fished: dict[int, Array] = {}  # the deaths per fish since they were counted

    def __call__(self, engine: Engine) -> None:
        day = engine.day
        for k, one in enumerate(self.asked):
            if one.first == day:
                self.begun[k] = _groups(engine, one.species)
            if one.first <= day <= one.last and (day in (one.first, one.last) or day % DAYS_ALIKE == 0):
                if k in self.alive:
                    self.number[:, k] += (self.alive[k] * -np.expm1(-self.fished[k])).sum(axis=1)
                self.alive[k] = _alive(engine, one, self.begun[k])
                self.fished[k] = np.zeros_like(self.alive[k])
        there = {k: place_of(one.species) for k, one in enumerate(self.asked) if one.first <= day < one.last}
        for rule, per_day in harvest.fished(engine) if there and day < engine.inputs.days else ():
            for k, species in there.items():
                if rule.species == species:
                    self.fished[k] += per_day[:, None] * _inside(rule.shortest_mm, rule.longest_mm)


def _inside(shortest_mm: float, longest_mm: float) -> Array:
    """Share of each inch class, the last one open, that lies between two lengths [length_class]."""
    lower = np.arange(CLASSES) * MM_PER_IN
    upper = np.append(lower[1:], np.inf)
    inside = np.clip((np.minimum(longest_mm, lower + MM_PER_IN) - np.maximum(shortest_mm, lower)) / MM_PER_IN, 0.0, 1.0)
    return np.where(np.isinf(upper), float(longest_mm > lower[-1]), inside)


SAME_GROUP = ("origin", "growth_z", "sex")
SAME_BROOD_DAYS = 60.0  # groups that have joined have a mean birthday; others of a brood are born weeks away


def _groups(engine: Engine, species: str) -> dict[str, Array]:
    """The groups of a species as they stand, [member, group]: number, lengths and what tells a group from others."""
    s, groups = engine.state, engine.slices[place_of(species)]
    constant = {name: getattr(s.columns, name)[:, groups].copy() for name in (*SAME_GROUP, "born")}
    return constant | {name: getattr(s, name)[:, groups].copy() for name in ("number", "log_length", "spread", "grown")}


def _growth(engine: Engine, asked: Growing, then: dict[str, Array]) -> Array:
    """Mean growth in mm a year [member] of fish of the asked lengths in groups that live; each keeps its rank."""
    now = _groups(engine, asked.species)
    if not (then["number"].size and now["number"].size):
        return np.full(engine.state.members, np.nan)
    apart = _apart(then, now, asked.first - DAYS_PER_YEAR * engine.parameters.recruit_age_years[:, None] + 1.0)
    before = apart.argmin(axis=2)
    number = np.where(apart.min(axis=2) <= SAME_BROOD_DAYS, now["number"], 0.0)[:, :, None]
    start, spread, grown = (
        np.take_along_axis(then[name], before, axis=1)[:, :, None] for name in ("log_length", "spread", "grown")
    )
    length = np.array(asked.lengths_mm)
    off = (np.log(length) - start) / spread
    likely = number * np.exp(-0.5 * off**2)  # [member, group, fish]
    total = likely.sum(axis=1)
    gain = (likely * np.expm1(now["grown"][:, :, None] - grown)).sum(axis=1) * length / np.maximum(total, 1e-300)
    mean: Array = gain.mean(axis=1) * DAYS_PER_CALENDAR_YEAR / (asked.last - asked.first)
    return np.where((total > 1e-9).all(axis=1), mean, np.nan)


def _apart(then: dict[str, Array], now: dict[str, Array], born_by: Array | float) -> Array:
    """Days between the births of groups of now, born by a day, and of then [member, now, then]; inf where they cannot be the
    same fish."""
    same = ((now["number"] > 0.0) & (now["born"] <= born_by))[:, :, None] & (then["number"] > 0.0)[:, None, :]
    for name in SAME_GROUP:
        same &= now[name][:, :, None] == then[name][:, None, :]
    return np.where(same, np.abs(now["born"][:, :, None] - then["born"][:, None, :]), np.inf)


def _alive(engine: Engine, asked: Marked, then: dict[str, Array]) -> Array:
    """Marked fish that live [member, length_class], each with the luck of the groups that such a fish may be of, by their
    numbers at its length; groups that have joined since share theirs."""
    now, members = _groups(engine, asked.species), engine.state.members
    alive = np.zeros((members, CLASSES))
    if not (then["number"].size and now["number"].size):
        return alive
    apart = _apart(then, now, asked.first)
    became = apart.argmin(axis=1)  # [member, then]
    found = apart.min(axis=1) <= SAME_BROOD_DAYS
    into = (became[:, None, :] == np.arange(apart.shape[1])[:, None]) & found[:, None, :]  # [member, now, then]
    gathered = np.cumsum(np.where(into, then["number"][:, None, :], 0.0), axis=2)[:, :, -1]
    left = np.minimum(now["number"] / np.maximum(gathered, 1e-300), 1.0)
    lives = np.where(found, np.take_along_axis(left, became, axis=1), 0.0)
    longer = np.where(found, np.take_along_axis(now["grown"], became, axis=1) - then["grown"], 0.0)
    rows = np.arange(members)[:, None]
    with np.errstate(divide="ignore"):
        number, spread = np.log(then["number"]), np.where(then["number"] > 0.0, then["spread"], 1.0)
    for length, fish in Counter(asked.lengths_mm).items():
        likely = number - np.log(spread) - 0.5 * ((np.log(length) - then["log_length"]) / spread) ** 2
        most = likely.max(axis=1, keepdims=True)
        share = np.exp(likely - np.where(np.isfinite(most), most, 0.0))
        share /= np.maximum(np.cumsum(share, axis=1)[:, -1:], 1e-300)
        inch = np.clip(length * np.exp(longer) / MM_PER_IN, 0, CLASSES - 1).astype(np.intp)
        np.add.at(alive, (np.broadcast_to(rows, inch.shape), inch), fish * share * lives)
    return alive


# ---------------------------------------------------------------------- blocks


@dataclass(frozen=True)
class Dealt:
    """Members that are dealt what is given of the past; all else comes from their own streams."""

    uniforms: dict[str, Array]

    @property
    def identity(self) -> str:
        digest = hashlib.sha256()
        for decision in sorted(self.uniforms):
            digest.update(decision.encode() + self.uniforms[decision].tobytes())
        return digest.hexdigest()

    @property
    def about(self) -> Mapping[str, str]:
        return {}

    def draw(self, scenario: Scenario, strategy: Strategy, first: int, members: int) -> tuple[Parameters, Luck]:
        deal = deal_past(self.uniforms, scenario.ensemble.seed, range(first, first + members), np.arange(members))
        return draw_parameters(scenario, deal), draw_luck(scenario, strategy, deal)


def deal_past(past: Uniforms, seed: int, members: range, rows: NDArray[np.intp]) -> Callable[[str, int], Array]:
    """Deals to members what is known of the past (their row of it) and what follows from their own streams."""
    fresh = streams(seed, members)

    def deal(decision: str, size: int) -> Array:
        dealt = fresh(decision, size)
        if decision in past:
            dealt = dealt.copy()
            known = min(past[decision].shape[1], size)
            dealt[:, :known] = past[decision][rows, :known]
        return dealt

    return deal


def watch_all(
    scenario: Scenario,
    strategy: str,
    asked: Watched,
    uniforms: Uniforms,
    *,
    executor: Executor | None = None,
    store: Store | None = None,
    done: Callable[[int], None] | None = None,
) -> dict[str, Array]:
    """Watch as many ponds as there are rows of uniforms, in blocks."""
    members = next(iter(uniforms.values())).shape[0]
    jobs = []
    for b in blocks(members, at_once(executor)):
        dealt = Dealt({name: u[b.start : b.stop] for name, u in uniforms.items()})
        jobs.append(Job(((scenario, strategy),), b.start, len(b), dealt, asked))
    parts: dict[int, dict[str, Array]] = {}
    for k, (readings,), _ in run_all(jobs, executor, store):
        parts[k] = readings
        if done:
            done(jobs[k].members)
    return results.stack_members([parts[k] for k in range(len(jobs))])
