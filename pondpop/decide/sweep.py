"""Vary one or two numbers or dates of a scenario over their values, under the same luck."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from pondpop.checks import Fact, InputError, nearest
from pondpop.decide import goals
from pondpop.decide.answers import few_members, goal_words, score_unit
from pondpop.decide.console import MAIN, autumn_surveys, band, columns
from pondpop.decide.goals import Score
from pondpop.decide.sweep_paths import Axis, Point, Value
from pondpop.ensemble import results
from pondpop.ensemble.draws import Source
from pondpop.ensemble.quantities import QUANTILES, quantiles, quantities
from pondpop.ensemble.run import Store, Variant, project_all
from pondpop.scenario import Scenario, Stocking
from pondpop.units import Units

Array = NDArray[np.float64]
PLAIN_SCORES = ("crop", "fish", "money")
MOST_TOLD = 4  # points as good as the best that are named
SETTLED_MONTHS = 6  # how long after the last date of a sweep survivors are counted, at the least (a choice)
GROWN_MONTHS = 12  # and how long after they were stocked


@dataclass(frozen=True)
class Row:
    """One strategy at one point: quantities of autumn surveys, goals and survivors, member by member."""

    values: tuple[Value, ...]
    strategy: str
    dates: tuple[str, ...]
    bands: dict[str, tuple[str, str, Array]]  # quantity: kind of unit, unit, p10–p50–p90 [survey, 3]
    scores: list[Score]  # values [1, member]
    in_range: float | None  # chance that both PSDs are in the range of the first goal that has one
    survivors: Array | None  # share of the asked group that lives [member]


# ---------------------------------------------------------------------- running it


def run(
    every: Sequence[Point],
    *,
    group: str | None = None,
    source: Source | None = None,
    executor: Executor | None = None,
    store: Store | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> list[Row]:
    """Project every point and keep what is looked at. group: the stocked group whose survivors are counted.

    Raises InputError for an unknown group, RunError.
    """
    variants = [(p, name) for p in every for name in p.scenario.strategies]
    for point, name in variants:
        if group is not None:
            _stocked(point.scenario, name, group)
    survey = _counting_survey(every, group) if group is not None else None
    projected = project_all(
        [Variant(p.scenario, name) for p, name in variants],
        source=source,
        executor=executor,
        store=store,
        progress=progress,
    )
    rows = []
    for (point, name), readings in zip(variants, projected, strict=True):
        alone = point.scenario._replace(strategies={name: point.scenario.strategies[name]})
        dataset = results.to_dataset(alone, {name: readings}, {})
        rows.append(_row(point, name, dataset, alone.units, group, survey))
    return rows


def _row(
    point: Point, name: str, dataset: xr.Dataset, units: Units, group: str | None, survey: int | None
) -> Row:
    autumn = autumn_surveys(dataset)
    bands = {
        q.name: (q.kind, q.unit(units), quantiles(q.in_units(units))[0, autumn]) for q in quantities(dataset)
    }
    scores = goals.scores(dataset)
    option = next((s.goal for s in scores if s.kind == "points"), None)
    survivors = None
    if group is not None and survey is not None:
        k = [str(g) for g in dataset["stocked_group"].values].index(group)
        alive = dataset["group_survivors"].values[0, :, survey, k]
        survivors = alive / _stocked(point.scenario, name, group).per_ha
    return Row(
        values=point.values,
        strategy=name,
        dates=tuple(str(dataset["survey_date"].values[d])[:10] for d in autumn),
        bands=bands,
        scores=scores,
        in_range=float(goals.chance_in_range(dataset, option.kind, option.by_year)[0]) if option else None,
        survivors=survivors,
    )


def _stocked(scenario: Scenario, strategy: str, group: str) -> Stocking:
    events = {event.name: event for event in scenario.strategies[strategy].stocking}
    if group not in events:
        raise InputError("--survivors", group, f"a stocked group of {strategy}", nearest(group, events))
    return events[group]


def _counting_survey(every: Sequence[Point], group: str) -> int:
    """The survey at which survivors are counted, the same for every point: after the last date that is varied."""
    scenario = every[-1].scenario
    dates = [value for point in every for value in point.values if isinstance(value, dt.date)]
    stocked = [
        _stocked(p.scenario, name, group).date + dt.timedelta(days=round(GROWN_MONTHS * 30.4375))
        for p in every
        for name in p.scenario.strategies
    ]
    when = max([*stocked, *(date + dt.timedelta(days=round(SETTLED_MONTHS * 30.4375)) for date in dates)])
    after = [k for k, date in enumerate(scenario.run.survey_dates) if date >= when]
    if not after:
        raise InputError("--survivors", Fact(f"no survey on or after {when}"), "a run that goes on until then")
    return after[0]


# ---------------------------------------------------------------------- telling it


def table(rows: Sequence[Row], axes: Sequence[Axis], scenario: Scenario) -> str:
    """The last autumn survey of every point, with goals and survivors, as aligned text in the scenario's units."""
    first = rows[0]
    names = [name for name, _ in MAIN]
    head = [axis.path for axis in axes] + ["strategy"]
    head += [f"{heading}, {unit}" if (unit := first.bands[name][1]) else heading for name, heading in MAIN]
    head += ["both PSDs in range, %"] if first.in_range is not None else []
    counted = [(k, *score_unit(s, scenario, scenario.units)) for k, s in enumerate(first.scores) if s.kind in PLAIN_SCORES]
    head += [f"{goal_words(first.scores[k], scenario.units)},{unit}" for k, unit, _ in counted]
    head += ["survivors, %"] if first.survivors is not None else []
    body = []
    for row in rows:
        cells = [*(str(v) for v in row.values), row.strategy]
        cells += [band(row.bands[name][2][-1], row.bands[name][0]) for name in names]
        cells += [f"{100 * row.in_range:.0f}"] if row.in_range is not None else []
        cells += [band(np.quantile(factor * row.scores[k].values, QUANTILES)) for k, _, factor in counted]
        if row.survivors is not None:
            cells.append(band(np.quantile(100 * row.survivors, QUANTILES), "percent"))
        body.append(cells)
    return f"autumn survey of {first.dates[-1]}, median [p10–p90]\n{columns([head, *body])}"


def answer(rows: Sequence[Row], axes: Sequence[Axis], keep_share: float, probability: float) -> str:
    """What the sweep says in words: the point that does best by the goals, the earliest date that spares the group."""
    said = []
    if len(rows) > 1:
        names = [_at(row, axes) for row in rows]
        combined = [
            replace(s, values=np.concatenate([row.scores[k].values for row in rows]))
            for k, s in enumerate(rows[0].scores)
        ]
        standing = goals.standing(combined, names)
        best = max(standing, key=lambda name: standing[name])
        if standing[best] < goals.BETTER:
            said.append(f"By the goals no point stands out; {best} comes nearest to it.")
        else:
            share = f"{100 * standing[best]:.0f} %"
            as_good = _as_good(combined, names, names.index(best))
            said.append(f"By the goals {best} does best: it beats another point in {share} of paired ponds.{as_good}")
        if few := few_members(rows[0].scores[0].values.shape[-1]):
            said.append(few)
    if rows[0].survivors is not None and any(isinstance(v, dt.date) for v in rows[0].values):
        said.append(_earliest(rows, axes, keep_share, probability))
    return "\n".join(said) + "\n" if said else ""


def _as_good(scores: list[goals.Score], names: list[str], best: int) -> str:
    """The points that the best one does not beat clearly."""
    others = [k for k in range(len(names)) if k != best and goals.against(scores, names, best, k) < goals.BETTER]
    if not others:
        return ""
    more = f" and {len(others) - MOST_TOLD} more" if len(others) > MOST_TOLD else ""
    told = "; ".join(names[k] for k in others[:MOST_TOLD])
    return f" As good, within chance (under {100 * goals.BETTER:.0f} %): {told}{more}."


def _earliest(rows: Sequence[Row], axes: Sequence[Axis], keep_share: float, probability: float) -> str:
    k = next(k for k, value in enumerate(rows[0].values) if isinstance(value, dt.date))
    ordered = sorted((row for row in rows if row.survivors is not None), key=lambda row: str(row.values[k]))
    chances = [float(np.mean(np.asarray(row.survivors) >= keep_share)) for row in ordered]
    what, sure = f"at least {100 * keep_share:.0f} % of the group live", f"a probability of {100 * probability:.0f} %"
    for row, chance in zip(ordered, chances, strict=True):
        if chance >= probability:
            return f"Earliest date at which {what} with {sure}: {_at(row, axes)} ({100 * chance:.0f} %)."
    best = int(np.argmax(chances))
    return f"At no date do {what} with {sure}; nearest: {_at(ordered[best], axes)} ({100 * chances[best]:.0f} %)."


def _at(row: Row, axes: Sequence[Axis]) -> str:
    told = ", ".join(f"{axis.path.split('.')[-1]} {value}" for axis, value in zip(axes, row.values, strict=True))
    return f"{row.strategy} with {told}"


def sweep_csv(rows: Sequence[Row], axes: Sequence[Axis]) -> str:
    """The text of `sweep.csv`: the values, strategy, date, quantity, unit, p10, p50, p90; an undefined one is empty."""
    out = io.StringIO()
    lines = csv.writer(out, lineterminator="\n")
    lines.writerow([*(axis.path for axis in axes), "strategy", "date", "quantity", "unit", "p10", "p50", "p90"])
    for row in rows:
        for name, (_, unit, values) in row.bands.items():
            for date, three in zip(row.dates, values, strict=True):
                cells = ["" if np.isnan(v) else repr(float(v)) for v in three]
                lines.writerow([*map(_cell, row.values), row.strategy, date, name, unit, *cells])
    return out.getvalue()


def _cell(value: Value) -> str:
    """A value as a cell that no spreadsheet takes for a formula."""
    return f"'{value}" if isinstance(value, str) and value[0] in "=+-@" else str(value)
