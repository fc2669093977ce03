"""Joins a scenario with the records of its pond: what the pond, and the model for it, must be like to explain them.

Members drawn from the scenario's spreads (parameters, growth, deaths, productivity, young of each year, losses of
stocking, weather, catch) are run up to the last record, weighed by the likelihood of the records and renewed in stages
(`stages`). Where too few members are left to tell anything, nothing is concluded.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from math import ceil, floor
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pondpop.checks import Fact, InputError, choice
from pondpop.ensemble.draws import draw_luck, draw_parameters, streams
from pondpop.ensemble.run import Store
from pondpop.ensemble.store import package_versions
from pondpop.records import Records, read_records
from pondpop.scenario import Run, Scenario, as_scenario, dump, years_after
from pondpop.units import hundredths
from pondpop.update.from_records import Evidence, evidence
from pondpop.update.likelihood import (
    DOUBTS,
    Observation,
    View,
    doubts,
    log_likelihood,
    summaries,
    view_of,
)
from pondpop.update.posterior import Posterior, history
from pondpop.update.simulate import Uniforms, watch_all
from pondpop.update.smc import Members, Stage, learn

__all__ = ["Update", "update_ensemble"]

Array = NDArray[np.float64]

LEAST_EFFECTIVE = 20.0  # independent members, below which nothing is concluded (a choice)
LEAST_SHARE = 0.1  # the same as a share of the members
FAR_OUT = 4.0  # standard deviations from the mean of the ensemble beyond all of which a record cannot be explained
USUAL_RUNS = 30  # a member's ponds, for telling how long it takes
DAILY = ("weather of the day", "cloud", "wind", "bloom")  # decisions that deal a value for each day
MOST_UNEXPLAINED = 0.5  # share of the records that may be so before nothing is concluded


@dataclass(frozen=True)
class Fit:
    """One figure of one record: what was seen, and what ponds of either ensemble would have shown [member]."""

    title: str
    name: str
    unit: str
    observed: float
    prior: Array
    posterior: Array | None
    used: bool


@dataclass(frozen=True)
class Update:
    """What was learned. posterior is None where nothing is concluded; `why` says so in words."""

    scenario: Scenario
    records: Records
    strategy: str
    until: dt.date | None
    evidence: Evidence
    impossible: tuple[str, ...]  # records that no member can explain: named and not used
    contradictory: tuple[str, ...]  # records that the ensemble that explains the others cannot explain
    stages: tuple[Stage, ...]
    prior: Members
    learned: Members | None
    posterior: Posterior | None
    fits: tuple[Fit, ...]
    why: str


def update_ensemble(
    scenario: Scenario | str | Path,
    records: Records | str | Path,
    strategy: str | None = None,
    *,
    executor: Executor | None = None,
    store: Store | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Update:
    """Weigh a scenario's ensemble by the records of its pond; either may be given by its path.

    strategy: the one that was followed so far, needed if they differ before the last record. The answer's `posterior`, where
    something could be concluded, is a `source` for `compare`, `sweep`, `find_quota` and `Simulation`. Raises InputError, also
    where the strategies differ and none is named, and RunError.

    >>> import pondpop
    >>> pondpop.update_ensemble("pond.toml", "records").why.partition(":")[0]  # of another pond and time
    'The records hold nothing on this run'
    """
    scenario = as_scenario(scenario)
    records = records if isinstance(records, Records) else read_records(records)
    seen = evidence(records, scenario)
    if not seen.observations:
        return _nothing_seen(scenario, records, followed(scenario, strategy, None), seen)
    until = scenario.run.start + dt.timedelta(days=seen.last_day)
    name = followed(scenario, strategy, until)
    past = up_to(scenario, name, until)
    runs = 0

    def ran(members: int) -> None:
        nonlocal runs
        runs += members
        if progress:
            progress(runs, max(runs, USUAL_RUNS * scenario.ensemble.members))

    rng = np.random.default_rng([2, scenario.ensemble.seed])

    def members(uniforms: Uniforms, read: dict[str, Array], observations: tuple[Observation, ...]) -> Members:
        view = view_of(past, seen.watched, read, dict(uniforms))
        return Members(uniforms, read, log_likelihood(observations, view), *summaries(observations, view, rng))

    def watched(uniforms: Uniforms) -> dict[str, Array]:
        return watch_all(past, name, seen.watched, uniforms, executor=executor, store=store, done=ran)

    dealt = prior_uniforms(past, name, until, doubts(seen.observations))
    prior = members(dealt, watched(dealt), seen.observations)
    before = view_of(past, seen.watched, prior.seen, dict(prior.uniforms))
    figures = figures_of(seen.observations, before, 0)
    is_far = {id(o): _far(shown) for o, shown in zip(seen.observations, figures, strict=True)}
    far = [o for o in seen.observations if is_far[id(o)]]
    kept = tuple(o for o in seen.observations if not is_far[id(o)])
    impossible = tuple(_told(o, shown) for o, shown in zip(seen.observations, figures, strict=True) if is_far[id(o)])
    found = Update(scenario, records, name, until, seen, impossible, (), (), prior, None, None, (), "")
    with_fish = [o for o in seen.observations if o.data.any()]
    if sum(is_far[id(o)] for o in with_fish) > MOST_UNEXPLAINED * len(with_fish):
        why = (
            f"Nothing is concluded: {len(far)} of {len(with_fish)} records of fish lie outside all that the scenario "
            "can bring about. Check its stocking, harvest and dates, and the units of the records."
        )
        return replace(found, fits=_fits(seen.observations, is_far, figures, None), why=why)
    prior = members(dealt, prior.seen, kept)
    observed = np.concatenate([np.zeros(0), *(one.summary(one.data) for one in kept)])
    learned, stages = learn(prior, lambda u: members(u, watched(u), kept), observed, scenario.ensemble.seed)
    after = view_of(past, seen.watched, learned.seen, dict(learned.uniforms))
    shown = figures_of(seen.observations, after, 1)
    fits = _fits(seen.observations, is_far, figures, shown)
    against = tuple(
        _told(o, now) for o, now in zip(seen.observations, shown, strict=True) if not is_far[id(o)] and _far(now)
    )
    found = replace(found, contradictory=against, stages=tuple(stages), fits=fits)
    if why := in_want_of(stages, scenario.ensemble.members):
        return replace(found, why=f"Nothing is concluded: {why}. Take more members (--members), or check the records.")
    posterior = Posterior(
        known_past(learned.uniforms, seen.last_day),
        until,
        history(scenario, scenario.strategies[name], until),
        _provenance(scenario, name, records),
    )
    return replace(found, learned=learned, posterior=posterior)


def in_want_of(stages: Sequence[Stage], members: int) -> str:
    """What is missing for something to be concluded from the last of some stages; empty where nothing is.

    Told so that the figures say it: what was reached is rounded down, what is needed up.
    """
    last, least = stages[-1], max(LEAST_EFFECTIVE, LEAST_SHARE * members)
    if last.power < 1.0:
        return f"after {len(stages)} stages {hundredths(last.power)} % of what the records say was taken in"
    if last.independent < least:
        return f"what is left is worth only {floor(last.independent)} independent members, {ceil(least)} are needed"
    return ""


def _nothing_seen(scenario: Scenario, records: Records, name: str, seen: Evidence) -> Update:
    """Without records the ensemble is what it was: every number comes from the members' own streams."""
    start = scenario.run.start
    count = scenario.ensemble.members
    uniforms = prior_uniforms(up_to(scenario, name, start), name, start, ())
    members = Members(uniforms, {}, np.zeros(count), np.zeros((count, 0)), np.zeros((count, 0)))
    posterior = Posterior(
        uniforms, start, history(scenario, scenario.strategies[name], start), _provenance(scenario, name, None)
    )
    why = "The records hold nothing on this run: the ensemble is that of the scenario, unchanged."
    return Update(scenario, records, name, None, seen, (), (), (), members, members, posterior, (), why)


def followed(scenario: Scenario, strategy: str | None, until: dt.date | None) -> str:
    """The strategy that is named, or any where all are alike until a day (None: no record). Raises InputError."""
    names = list(scenario.strategies)
    if strategy is not None:
        return choice("--strategy", strategy, names)
    if until and len({history(scenario, scenario.strategies[name], until) for name in names}) > 1:
        raise InputError(
            "--strategy", Fact(f"strategies that differ before the last record, {until}"),
            "the one that was followed so far: " + ", ".join(names),
        )  # fmt: skip
    return names[0]


def up_to(scenario: Scenario, strategy: str, until: dt.date) -> Scenario:
    """The scenario cut to the whole years that hold the day, with one strategy, and the surveys up to that day."""
    start = scenario.run.start
    years = next(n for n in range(1, scenario.run.years + 1) if until < years_after(start, n))
    surveys = tuple(day for day in scenario.run.survey_dates if day <= until)
    return scenario._replace(
        title="",
        run=Run(start, years, surveys),
        strategies={strategy: scenario.strategies[strategy]},
        goals=(),
        costs=None,
        consultant=None,
        note=None,
        units="us",
        source_file=None,
        what_if=(),
    )


def prior_uniforms(past: Scenario, strategy: str, until: dt.date, doubted: tuple[str, ...]) -> dict[str, Array]:
    """What the members' own streams deal of the past, by decision [member, size]: all that can bear on the records."""
    sizes = dict.fromkeys(doubted, 1)

    def note(decision: str, size: int) -> Array:
        sizes[decision] = size
        return np.full((1, size), 0.5)

    draw_parameters(past, note)
    draw_luck(past, past.strategies[strategy], note)
    years, days = until.year - past.run.start.year + 1, (until - past.run.start).days
    coming = [event.name for event in past.strategies[strategy].stocking if event.date > until]
    later = {f"{decision} {name}" for name in coming for decision in ("stocking", "truck of")}
    deal = streams(past.ensemble.seed, range(past.ensemble.members))
    most = {"weather of the day": days, "weather of the year": years, "angler success": years, "whole fish": years}
    cut = {
        name: min(size, years if name.startswith(("recruitment ", "arrival of ")) else most.get(name, size))
        for name, size in sizes.items()
        if size and name not in later
    }
    return {name: deal(name, size) for name, size in cut.items() if size}


def known_past(dealt: Uniforms, days: int) -> dict[str, Array]:
    """What a posterior keeps of what its members were dealt: the pond's own, of the air on the days before the last record.

    `prior_uniforms` deals sky, wind and bloom to the end of the last year; they bear on no record after its day.
    """
    own = {decision: u for decision, u in dealt.items() if not decision.startswith(DOUBTS)}
    return {decision: u[:, :days] if decision in DAILY else u for decision, u in own.items()}


def _provenance(scenario: Scenario, strategy: str, records: Records | None) -> dict[str, str]:
    versions = ", ".join(f"{name} {version}" for name, version in package_versions().items())
    told = "none" if records is None else (
        f"{', '.join(records.files)}: {sum(f.count for f in records.fish)} survey fish, {len(records.catches)} rows of "
        f"catches, {len(records.tags)} of tags"
    )
    return {
        "title": scenario.title, "followed": strategy, "seed": str(scenario.ensemble.seed), "versions": versions,
        "records": told, "scenario": dump(scenario),
    }  # fmt: skip


# ---------------------------------------------------------------------- records against the ensemble

Figures = dict[str, tuple[str, float, Array]]  # name: unit, observed, what each member would have shown


def figures_of(observations: tuple[Observation, ...], view: View, salt: int) -> list[Figures]:
    rng = np.random.default_rng([salt, len(observations)])
    found = []
    for one in observations:
        drawn = one.figures(one.draw(one.expected(view), rng))
        seen = one.figures(one.data)
        found.append({name: (unit, float(seen[name][1]), values) for name, (unit, values) in drawn.items()})
    return found


def _far(figures: Figures) -> bool:
    """Whether a record lies beyond what any member would have shown, and far out."""
    return any(_outside(unit, seen, values) for unit, seen, values in figures.values())


def _outside(unit: str, seen: float, values: Array) -> bool:
    some = values[np.isfinite(values)]
    if not np.isfinite(seen) or some.size < LEAST_EFFECTIVE:  # few ponds have no range to speak of
        return False
    scale: Callable[[Array], Array] = np.log1p if unit == "fish" else np.asarray
    x, all_x = float(scale(np.array(seen))), scale(some)
    return not all_x.min() <= x <= all_x.max() and abs(x - all_x.mean()) > FAR_OUT * all_x.std()


def _told(observation: Observation, figures: Figures) -> str:
    parts = [
        f"{name} {seen:.4g} {unit}, the ponds showed {np.nanmin(values):.4g} to {np.nanmax(values):.4g}"
        for name, (unit, seen, values) in figures.items()
        if _outside(unit, seen, values)
    ]
    return f"{observation.title}: {'; '.join(parts)}"


def _fits(
    observations: tuple[Observation, ...],
    is_far: dict[int, bool],
    prior: list[Figures],
    posterior: list[Figures] | None,
) -> tuple[Fit, ...]:
    rows = []
    for k, one in enumerate(observations):
        for name, (unit, seen, values) in prior[k].items():
            after = posterior[k][name][2] if posterior else None
            rows.append(Fit(one.title, name, unit, seen, values, after, not is_far[id(one)]))
    return tuple(rows)


