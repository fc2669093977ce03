"""The best plan: several decisions together, under one luck, by the goals of the file and within a budget.

`plan_search` looks for the combination of values with most worth; the few that come out best, and the file's own plan,
are then projected in members that the search has not seen, so that a winner's luck is not sold as its merit. What is
said of plans is said by the same `Decision` as of strategies.
"""

from __future__ import annotations

import copy
import datetime as dt
import math
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pondpop.checks import Fact, InputError, day, number
from pondpop.decide import goals
from pondpop.decide.comparison import Decision, judge, together
from pondpop.decide.goals import Cost, Score, worth
from pondpop.decide.plan_search import Place, Record, places_to_begin, search
from pondpop.decide.survey_value import Survey, SurveyValue, alike_until, ponds_on, read_survey, survey_value
from pondpop.decide.sweep_paths import Axis, Value, labels, put
from pondpop.ensemble import results
from pondpop.ensemble.draws import Prior, Source
from pondpop.ensemble.run import Store, Variant, project_all
from pondpop.scenario import Ensemble, Scenario, as_scenario, dump, read, resolve
from pondpop.species import of_species
from pondpop.units import Units

Array = NDArray[np.float64]

MOST_AXES = 6
MOST_PLACES = 1_000_000
FRESH = 200_000  # number of the first member that confirms; no search reaches it
FINALISTS = 5  # that are confirmed, the best first (a choice)
OTHER_VALUES = 3  # of each decision, with all others as in the best plan, that are told (a choice)
ON_FRONTIER = 5  # points of the frontier of cost and worth that are told (a choice)
SHARE = 1 / 3  # of the members that stand for a poor pond, a rich one, poor recruitment (a choice)
LOOKED = (0.0, 0.25, 0.5, 0.75, 1.0)  # shares of what a reacting rule may take, that the fixed rules beside it take
AS_IN_FILE = "as in the file"
FILES_OWN = "the file's own plan"


@dataclass(frozen=True)
class Trial:
    """One plan in so many members: its scores (values [1, member]) and cost (parts [1, member])."""

    scenario: Scenario
    scores: list[Score]
    cost: Cost

    @cached_property
    def worth(self) -> Array:
        """Worth by the goals [member]; see `worth`."""
        return worth(self.scores)[0]

    @property
    def middle_cost(self) -> float:
        return float(np.median(self.cost.total))


@dataclass(frozen=True)
class Change:
    """The best plan with one decision changed, against the best plan: `pair` tells the best less the changed one."""

    axis: int
    value: Value  # AS_IN_FILE, or one of the axis
    decision: Decision  # of the best plan (0) and the changed one (1)


@dataclass(frozen=True)
class Regret:
    """What each finalist gives up in a part of the futures against the plan that is best there, in worth [plan]."""

    where: str
    members: int
    lost: tuple[float, ...]


@dataclass(frozen=True)
class Looking:
    """The best plan with its reacting rules, against the best of the fixed rules beside them (share of the amount)."""

    share: float
    decision: Decision  # of the plan as it is (0) and with the fixed rule (1)


@dataclass(frozen=True)
class Tried:
    """A plan that the search looked at, in so many of its members: middle cost, mean worth less that of the best."""

    values: tuple[Value, ...]
    members: int
    cost: float
    against_best: float


@dataclass(frozen=True)
class Plan:
    """What was found. Finalists are by rank of the search; they and the file's own plan, the last trial unless it is over
    the budget, are judged by `decision` on the members that the search has not seen. Values that are those of the file
    stand there once, as its own plan."""

    axes: tuple[Axis, ...]
    strategy: str
    finalists: tuple[tuple[Value, ...], ...]  # without the file's own plan
    trials: tuple[Trial, ...]
    own_cost: float  # of the file's own plan
    decision: Decision
    changes: tuple[Change, ...]
    regrets: tuple[Regret, ...]
    looking: Looking | None
    survey: SurveyValue | None
    tried: tuple[Tried, ...]  # all within the budget that the search looked at, the best first
    frontier: tuple[Tried, ...]  # those that no cheaper one is as good as, the cheapest first; few of many
    budget: float | None
    dear: int  # plans looked at that are over the budget
    scenario: Scenario = field(repr=False)

    @property
    def best(self) -> tuple[Value, ...] | None:
        """Values of the plan to follow; None where that is the file's own."""
        k = self.decision.followed
        return self.finalists[k] if k < len(self.finalists) else None

    @property
    def chosen_scenario(self) -> Scenario:
        """The scenario with the plan to follow as its only strategy."""
        return self.trials[self.decision.followed].scenario


def plan(
    scenario: Scenario | str | Path,
    vary: Mapping[str, Sequence[Value]],
    strategy: str | None = None,
    *,
    budget: float | None = None,
    survey: Survey | str | None = None,
    search_members: int = 32,
    source: Source | None = None,
    executor: Executor | None = None,
    store: Store | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Plan:
    """The combination of up to six decisions that serves the goals of a scenario best.

    scenario: the path of its file, or one that was loaded, which has the keys of a resolved file. vary: by path, the
    values that the decision may take (see `sweep`). strategy: the one that is planned, by default the one that the paths
    name or else the first. budget: most that the plan may cost over the run, in the currency of the file's costs.
    survey: one that could be made, such as "electrofishing:2h@2028-10-15", of which the answer tells what it is worth.
    search_members: of the last round of the search; the plans it ends with are confirmed on as many fresh members as the
    scenario asks for. Raises InputError, RunError.

    >>> import pondpop
    >>> found = pondpop.plan("pond.toml", {"pond.cover": [0.5, 1, 2]}, search_members=2)
    >>> found.decision.names[-1]
    "the file's own plan"
    """
    asked = read_survey(survey) if isinstance(survey, str) else survey
    axes = [Axis(path, tuple(values)) for path, values in vary.items()]
    question = ask(scenario, axes, strategy, budget, asked)
    return find(
        question, search_members=search_members, source=source, executor=executor, store=store, progress=progress
    )


@dataclass(frozen=True)
class Question:
    """A plan that is asked for, checked: `made` gives the scenario, with one strategy, of a place of the grid."""

    scenario: Scenario  # with the planned strategy only
    strategy: str
    axes: tuple[Axis, ...]
    budget: float | None
    survey: Survey | None
    raw: dict[str, Any] = field(repr=False)
    folder: Path | None

    def values(self, place: Place) -> tuple[Value, ...]:
        return tuple(axis.values[k] for axis, k in zip(self.axes, place, strict=True))

    def made(self, values: Sequence[Value]) -> Scenario:
        """The scenario in which the decisions have these values; AS_IN_FILE leaves one as it is. Raises InputError."""
        changed = copy.deepcopy(self.raw)
        for axis, value in zip(self.axes, values, strict=True):
            if value != AS_IN_FILE:
                put(changed, axis.path, value)
        found = resolve(changed, self.folder)
        found = found._replace(ensemble=self.scenario.ensemble, units=self.scenario.units)
        return found._replace(strategies={self.strategy: found.strategies[self.strategy]}, what_if=())


def ask(
    scenario: Scenario | str | Path,
    axes: Sequence[Axis],
    strategy: str | None = None,
    budget: float | None = None,
    survey: Survey | None = None,
    ensemble: Ensemble | None = None,
    units: Units | None = None,
) -> Question:
    """A question about one strategy of a scenario, checked; ensemble, units: in place of the file's. Raises InputError."""
    whole = as_scenario(scenario)
    whole = whole._replace(ensemble=ensemble or whole.ensemble, units=units or whole.units)
    raw, folder = (
        (tomllib.loads(dump(scenario)), None) if isinstance(scenario, Scenario) else (read(scenario), Path(scenario).parent)
    )
    if not 1 <= len(axes) <= MOST_AXES or len({axis.path for axis in axes}) < len(axes):
        raise InputError("--vary", Fact(f"{len(axes)} paths"), f"1 to {MOST_AXES} different paths")
    for axis in axes:
        if axis.path.startswith(("what_if.", "water.spell", "pond.fertility_loss")):
            raise InputError("--vary", axis.path, "a decision", "what befalls a pond is none")
        if not axis.values or len(set(axis.values)) < len(axis.values):
            raise InputError(axis.path, list(axis.values), "at least one value, and each once")
    count = math.prod(len(axis.values) for axis in axes)
    if not 2 <= count <= MOST_PLACES:
        remedy = "give several values, such as 75,100 or 75..100/5" if count < 2 else ""
        raise InputError("--vary", Fact(f"{count:,} {'plan' if count == 1 else 'plans'}"), f"2 to {MOST_PLACES:,} plans", remedy)
    named = {axis.path.split(".")[1] for axis in axes if axis.path.startswith("strategies.")}
    if len(named) > 1:
        raise InputError("--vary", Fact(f"paths of {' and '.join(sorted(named))}"), "paths of one strategy, the planned one")
    name = strategy if strategy is not None else next(iter(named or whole.strategies))
    if name not in whole.strategies:
        raise InputError("--strategy", name, "one of " + ", ".join(whole.strategies))
    if named and name not in named:
        raise InputError("--strategy", name, f"the strategy that the paths name, {next(iter(named))}")
    if budget is not None:
        number("--budget", budget, 0, 1e9)
        if whole.costs is None:
            raise InputError("--budget", budget, "prices in the file, which has no [costs]", "add the table")
    if survey is not None:
        day("--survey", survey.date, whole.run.start + dt.timedelta(days=1), whole.run.end, " within the run")
    alone = whole._replace(strategies={name: whole.strategies[name]}, what_if=())
    question = Question(alone, name, tuple(axes), budget, survey, raw, folder)
    for k, axis in enumerate(axes):  # every value is checked before any work, one at a time
        for value in axis.values:
            question.made([value if n == k else AS_IN_FILE for n in range(len(axes))])
    return question


# ---------------------------------------------------------------------- finding it


def find(
    question: Question,
    *,
    search_members: int = 32,
    source: Source | None = None,
    executor: Executor | None = None,
    store: Store | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Plan:
    """Search, confirm on fresh members, and tell decisions apart. Raises RunError; InputError where no plan fits."""
    fresh = question.scenario.ensemble.members
    axes = question.axes
    searching, confirming = (source or Prior()).parted(search_members)
    told = _Told(progress, _expected(axes, search_members, fresh))

    def project(every: Sequence[Scenario], first: int, count: int) -> list[Trial]:
        of_count = [one._replace(ensemble=one.ensemble._replace(members=count)) for one in every]
        found = project_all(
            [Variant(one, question.strategy) for one in of_count],
            first=first, source=confirming if first >= FRESH else searching, executor=executor, store=store, progress=told,
        )  # fmt: skip
        made = []
        for one, readings in zip(of_count, found, strict=True):
            dataset = results.to_dataset(one, {question.strategy: readings}, {})
            made.append(Trial(one, goals.scores(dataset), goals.costs(dataset)))
        told.done(len(of_count) * count)
        return made

    costs: dict[Place, float] = {}

    def look(places: Sequence[Place], first: int, count: int) -> Array:
        found = project([question.made(question.values(place)) for place in places], first, count)
        rows = []
        for place, trial in zip(places, found, strict=True):
            costs.setdefault(place, trial.middle_cost)
            rows.append(trial.worth if within(costs[place]) else np.full(count, -np.inf))
        return np.array(rows)

    def within(cost: float) -> bool:
        return question.budget is None or cost <= question.budget

    ordered = [not any(isinstance(value, str) for value in axis.values) for axis in axes]
    seed = question.scenario.ensemble.seed
    record = search([len(axis.values) for axis in axes], look, search_members, in_order=ordered, seed=seed)
    ranked = record.ranked(search_members)
    if not ranked:
        cheapest = min(costs.values())
        raise InputError("--budget", question.budget, f"at least {cheapest:,.0f}, the cheapest plan that was tried")
    finalists = _finalists(record, ranked)
    values = [question.values(place) for place in finalists]
    own, searched = question.made([AS_IN_FILE] * len(axes)), values[0]
    alike = [one for one in values if dump(question.made(one)) == dump(own)]  # which stand once, as the file's own
    values = [one for one in values if one not in alike]
    trials = project([*map(question.made, values), own], FRESH, fresh)
    own_cost = trials[-1].middle_cost
    names = [_named(axes, one) for one in values]
    if alike or within(own_cost):
        names.append(FILES_OWN)
    else:
        trials.pop()
    decision = _judged(names, trials)
    followed = decision.followed
    base = values[followed] if followed < len(values) else (AS_IN_FILE,) * len(axes)
    some = fresh if question.survey is not None else min(fresh, search_members)
    ponds, changed = {dump(question.made(base))}, []  # each once: a value may be that of the file
    for change in _changed(axes, base, searched):
        if (pond := dump(question.made(change[2]))) not in ponds:
            ponds.add(pond)
            changed.append(change)
    made = project([question.made(base), *(question.made(one) for _, _, one in changed)], FRESH, some)
    changes = [
        Change(axis, value, _judged(["this plan", f"{value}"], [made[0], trial]))
        for (axis, value, _), trial in zip(changed, made[1:], strict=True)
    ]
    valued = None
    if question.survey is not None:
        unlike = list({dump(trial.scenario): trial for trial in [made[0], *trials, *made[1:]]}.values())
        plans, every = [trial.scenario for trial in unlike], np.array([trial.worth for trial in unlike])
        day_of, name = question.survey.date, question.strategy
        open_yet = alike_until(plans, name, day_of, FRESH, confirming, executor, store)
        (seen,) = ponds_on(plans[:1], name, day_of, FRESH, fresh, confirming, executor, store)
        valued = survey_value(every[open_yet], seen, question.survey, plans[0], question.scenario.ensemble.seed)
    looking = _looking(question.made(base), question.strategy, project, some)
    told.finish()
    tried = [
        Tried(question.values(p), record.worth[p].size, costs[p], float(record.against(p, finalists[0]).mean()))
        for p in [*ranked, *(p for p in record.ranked() if p not in set(ranked))]
    ]
    drawn = confirming.draw(own, own.strategies[question.strategy], FRESH, fresh)[1]
    signs = {
        "a poor pond": drawn.productivity[:, 0],
        "a rich pond": -drawn.productivity[:, 0],
        "poor recruitment of bass": np.log(of_species(drawn.recruitment, "bass", axis=1)).mean(axis=-1),
    }
    return Plan(
        axes=axes,
        strategy=question.strategy,
        finalists=tuple(values),
        trials=tuple(trials),
        own_cost=own_cost,
        decision=decision,
        changes=tuple(changes),
        regrets=_regrets(trials, signs),
        looking=looking,
        survey=valued,
        tried=tuple(tried),
        frontier=_frontier(tried) if question.scenario.costs else (),
        budget=question.budget,
        dear=sum(not within(cost) for cost in costs.values()),
        scenario=question.scenario,
    )


class _Told:
    """Progress over the many projections of one search."""

    def __init__(self, progress: Callable[[int, int], None] | None, total: int) -> None:
        self._progress, self._total, self._before = progress, total, 0

    def __call__(self, done: int, of: int) -> None:
        if self._progress:
            self._progress(min(self._before + done, self._total), self._total)

    def done(self, count: int) -> None:
        self._before += count
        self._total = max(self._total, self._before)

    def finish(self) -> None:
        if self._progress:
            self._progress(self._before, self._before)


def _expected(axes: Sequence[Axis], search_members: int, fresh: int) -> int:
    """About how many ponds are going to be run."""
    start = places_to_begin([len(axis.values) for axis in axes])
    return 8 * start + 24 * search_members + (FINALISTS + 1) * fresh + (OTHER_VALUES + 1) * len(axes) * min(fresh, search_members)


def _finalists(record: Record, ranked: Sequence[Place]) -> list[Place]:
    """The best place and those behind it that the search could not tell from it by what matters."""
    best = ranked[0]
    near = [best]
    for place in ranked[1:]:
        difference = record.against(place, best)
        error = float(difference.std(ddof=1)) / math.sqrt(difference.size) if difference.size > 1 else 0.0
        if float(difference.mean()) + 2.0 * error > -1.0:
            near.append(place)
    return near[:FINALISTS]


def _judged(names: Sequence[str], trials: Sequence[Trial]) -> Decision:
    return judge(names, *together([(trial.scores, trial.cost) for trial in trials]))


def _named(axes: Sequence[Axis], values: Sequence[Value]) -> str:
    return ", ".join(f"{label} {value}" for label, value in zip(labels(axes), values, strict=True))


def _changed(
    axes: Sequence[Axis], base: Sequence[Value], searched: Sequence[Value]
) -> Iterable[tuple[int, Value, tuple[Value, ...]]]:
    """The followed plan with one decision at a time as in the file, and at a few other values spread over the axis."""
    for k, axis in enumerate(axes):
        there = base[k] if base[k] != AS_IN_FILE else searched[k]
        others = [value for value in axis.values if value != there]
        places = np.unique(np.linspace(0, len(others) - 1, OTHER_VALUES).round().astype(int)) if others else ()
        for value in ([AS_IN_FILE] if base[k] != AS_IN_FILE else []) + [others[n] for n in places]:
            yield k, value, (*base[:k], value, *base[k + 1 :])


def _looking(
    scenario: Scenario, strategy: str, project: Callable[[Sequence[Scenario], int, int], list[Trial]], members: int
) -> Looking | None:
    """What rules that look at the pond are worth; None where the plan has none."""
    own = scenario.strategies[strategy]
    if not any(rule.when for rule in own.harvest):
        return None
    fixed = []
    for share in LOOKED:
        rules = tuple(rule if rule.when is None else _always(rule, share) for rule in own.harvest)
        fixed.append(scenario._replace(strategies={strategy: own._replace(harvest=rules)}))
    trials = project([scenario, *fixed], FRESH, members)
    best = max(range(len(LOOKED)), key=lambda k: float(trials[1 + k].worth.mean()))
    names = ["looking first", "the best fixed rule"]
    return Looking(LOOKED[best], _judged(names, [trials[0], trials[1 + best]]))


def _always(rule: Any, share: float) -> Any:
    """A rule without its condition, with a share of its amount."""
    given = next(name for name in ("kg_per_ha", "per_ha", "share") if getattr(rule, name) is not None)
    return rule._replace(when=None, otherwise=None, **{given: share * getattr(rule, given)})


def _regrets(trials: Sequence[Trial], signs: Mapping[str, Array]) -> tuple[Regret, ...]:
    """What every plan gives up in the members where a sign is lowest."""
    every = np.array([trial.worth for trial in trials])
    found = []
    for where, sign in signs.items():
        if np.ptp(sign) == 0.0:
            continue
        count = max(1, round(SHARE * sign.size))
        there = np.argsort(sign, kind="stable")[:count]
        means = every[:, there].mean(axis=1)
        found.append(Regret(where, count, tuple(float(means.max() - mean) for mean in means)))
    return tuple(found)


def _frontier(tried: Sequence[Tried]) -> tuple[Tried, ...]:
    """Plans than which none is both as cheap and better, the cheapest first; few of many, the ends among them."""
    kept: list[Tried] = []
    for one in sorted(tried, key=lambda one: (one.cost, -one.against_best)):
        if not kept or one.against_best > kept[-1].against_best + 1e-9:
            kept.append(one)
    if len(kept) > ON_FRONTIER:
        kept = [kept[n] for n in np.unique(np.linspace(0, len(kept) - 1, ON_FRONTIER).round().astype(int))]
    return tuple(kept)
