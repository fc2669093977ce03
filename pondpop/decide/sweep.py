"""Vary one or two numbers or dates of a scenario over their values, under the same luck."""

from __future__ import annotations

import csv
import datetime as dt
import io
import tomllib
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from pondpop.checks import Fact, InputError, nearest
from pondpop.decide import goals, oxygen_risk
from pondpop.decide.comparison import Decision, judge, together
from pondpop.decide.console import HIGH, MAIN, autumn_surveys, band, columns, wrapped
from pondpop.decide.goals import Cost, Score
from pondpop.decide.phrases import Wording, of_members
from pondpop.decide.sweep_paths import Axis, Point, Value, csv_cell, labels, points
from pondpop.ensemble import results
from pondpop.ensemble.draws import Source
from pondpop.ensemble.quantities import QUANTILES, quantiles, quantities
from pondpop.ensemble.run import Store, Variant, project_all
from pondpop.scenario import Scenario, Stocking, as_scenario, dump, read, resolve, years_after
from pondpop.units import FEED, NONE, brief, converted, in_csv, in_hundred, percent

Array = NDArray[np.float64]
PLAIN_SCORES = ("crop", "fish", "money")
COUNTED_YEARS = 1  # after their stocking, whatever else a point has; survivors of unlike ages cannot be compared
WITHOUT = "without"  # in place of a value: the pond without the fish that are counted


@dataclass(frozen=True)
class Row:
    """One strategy at one point: quantities of the last surveys of years, goals and survivors, member by member."""

    values: tuple[Value, ...]
    strategy: str
    dates: tuple[str, ...]
    bands: dict[str, tuple[str, str, Array]]  # quantity: kind of unit, unit, p10–p50–p90 [survey, 3]
    scores: list[Score]  # values [1, member]
    in_range: float | None  # chance that both PSDs are in the range of the first goal that has one
    survivors: Array | None = None  # share of the asked group that lives on the day `counted` [member]
    counted: dt.date | None = None  # COUNTED_YEARS after its stocking
    cost: Cost | None = None  # parts [1, member]
    kill: float | None = None  # chance a year that over a tenth of the fish die for want of oxygen


@dataclass(frozen=True)
class Sweep:
    """What was varied, and one row for each strategy at each combination of values."""

    axes: tuple[Axis, ...]
    rows: tuple[Row, ...]
    scenario: Scenario
    survivors: str | None = None

    def table(self) -> str:
        """The rows at the end of their runs as aligned text, in the scenario's units."""
        return table(self.rows, self.axes, self.scenario, self.survivors)

    def answer(self, keep_share: float = 0.5, probability: float = 0.8) -> str:
        """What the sweep says in words; of survivors, the earliest date at which enough of them live."""
        return answer(self.rows, self.axes, self.scenario, keep_share, probability, self.survivors or "")

    def to_csv(self) -> str:
        """Every quantity of every row, as `sweep.csv` has it."""
        return sweep_csv(self.rows, self.axes)


def sweep(
    scenario: Scenario | str | Path,
    vary: Mapping[str, Sequence[Value]],
    *,
    survivors: str | None = None,
    source: Source | None = None,
    executor: Executor | None = None,
    store: Store | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Sweep:
    """Vary one or two numbers, dates or words of a scenario under the same luck.

    scenario: the path of its file, or one that was loaded, which has the keys of a resolved file (`per_ha`, `length_mm`, …).
    vary: by path, such as "strategies.few.stocking.bass.per_acre", the values. survivors: a stocked group whose survivors are
    counted. Raises InputError, RunError.

    >>> import pondpop
    >>> found = pondpop.sweep("pond.toml", {"pond.cover": [0.5, 2]})
    >>> [(row.values, row.strategy) for row in found.rows]
    [((0.5,), 'few'), ((0.5,), 'many'), ((2,), 'few'), ((2,), 'many')]
    """
    whole = as_scenario(scenario)
    for path, values in vary.items():
        if not values or len(set(values)) < len(values):
            raise InputError(path, list(values), "at least one value, and each once")
    axes = tuple(Axis(path, tuple(values)) for path, values in vary.items())
    raw, folder = (
        (tomllib.loads(dump(scenario)), None) if isinstance(scenario, Scenario) else (read(scenario), Path(scenario).parent)
    )
    rows = run(
        points(raw, axes, lambda said: resolve(said, folder)), axes, group=survivors, source=source, executor=executor,
        store=store, progress=progress,
    )  # fmt: skip
    return Sweep(axes, tuple(rows), whole, survivors)


# ---------------------------------------------------------------------- running it


def run(
    every: Sequence[Point],
    axes: Sequence[Axis] = (),
    *,
    group: str | None = None,
    source: Source | None = None,
    executor: Executor | None = None,
    store: Store | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> list[Row]:
    """Project every point and keep what is looked at.

    group: the stocked group whose survivors are counted, COUNTED_YEARS after it was stocked; its points are followed by
    the same ponds without it. Raises InputError for an unknown group or a run that ends too early, RunError.
    """
    variants: list[tuple[tuple[Value, ...], Variant]] = []
    for point in every:
        for name in point.scenario.strategies:
            counted = None if group is None else _counting_day(point.scenario, _stocked(point.scenario, name, group))
            variants.append((point.values, Variant(point.scenario, name, counted)))
    if group is not None:
        variants += _without(variants, axes, group)
    projected = project_all(
        [variant for _, variant in variants], source=source, executor=executor, store=store, progress=progress
    )
    rows = []
    for (values, variant), readings in zip(variants, projected, strict=True):
        name, scenario = variant.strategy, variant.scenario
        alone = scenario._replace(strategies={name: scenario.strategies[name]})
        row = _row(values, name, results.to_dataset(alone, {name: readings}, {}), alone)
        if variant.counted is not None and group is not None:
            event = _stocked(scenario, name, group)
            place = scenario.strategies[name].stocking.index(event)
            alive = goals.survivors(readings["survivors_counted"][:, place], event.per_ha)
            row = replace(row, survivors=alive, counted=variant.counted)
        rows.append(row)
    return rows


def _row(values: tuple[Value, ...], name: str, dataset: xr.Dataset, scenario: Scenario) -> Row:
    autumn, units = autumn_surveys(dataset), scenario.units
    scores = goals.scores(dataset)
    option = next((s.goal for s in scores if s.kind == "points"), None)
    return Row(
        values=values,
        strategy=name,
        dates=tuple(str(dataset["survey_date"].values[d])[:10] for d in autumn),
        bands={q.name: (q.kind, q.unit(units), quantiles(q.in_units(units))[0, autumn]) for q in quantities(dataset)},
        scores=scores,
        in_range=float(goals.chance_in_range(dataset, option.kind, option.by_year)[0]) if option else None,
        cost=goals.costs(dataset),
        kill=risk[0].partial if (risk := oxygen_risk.risks(dataset, scenario)) else None,
    )


def _stocked(scenario: Scenario, strategy: str, group: str) -> Stocking:
    events = {event.name: event for event in scenario.strategies[strategy].stocking}
    if group not in events:
        raise InputError("--survivors", group, f"a stocked group of {strategy}", nearest(group, events))
    return events[group]


def _counting_day(scenario: Scenario, event: Stocking) -> dt.date:
    """The day on which the survivors of a group are counted, at the same age at every point."""
    day = years_after(event.date, COUNTED_YEARS)
    if day >= scenario.run.end:
        given = Fact(f"no day of the run {12 * COUNTED_YEARS} months after {event.date}")
        raise InputError("--survivors", given, f"a run that goes on until {day}")
    return day


def _without(
    variants: Sequence[tuple[tuple[Value, ...], Variant]], axes: Sequence[Axis], group: str
) -> list[tuple[tuple[Value, ...], Variant]]:
    """The same ponds without the group; those that are the same pond once."""
    found: list[tuple[tuple[Value, ...], Variant]] = []
    for values, variant in variants:
        strategy = variant.scenario.strategies[variant.strategy]
        others = tuple(event for event in strategy.stocking if event.name != group)
        scenario = variant.scenario._replace(strategies={variant.strategy: strategy._replace(stocking=others)})
        told = tuple(
            WITHOUT if group in axis.path.split(".") else value for axis, value in zip(axes, values, strict=True)
        )
        told = told if WITHOUT in told else (WITHOUT, *told[1:])
        if all(scenario != other.scenario for _, other in found):
            found.append((told, Variant(scenario, variant.strategy)))
    return found


# ---------------------------------------------------------------------- telling it


def screen(rows: Sequence[Row], axes: Sequence[Axis], scenario: Scenario, said: str, group: str | None = None) -> str:
    """The answer (`said`) and as many points as fit one screen, those first that do best by the goals."""
    lines = [line for words in said.splitlines() for line in wrapped(words)]
    most = max(2, HIGH - len(lines) - 6)
    best = sorted(decision(rows, axes).ranked[:most])
    left = len(rows) - len(best)
    shown = table([rows[k] for k in best], axes, scenario, group, MAIN[:2], labels(axes))
    about, _, body = shown.partition("\n")
    more = f"… and {left} more points (--details)\n" if left else ""
    return "\n".join([*lines, "", *wrapped(about), body]) + more


def table(
    rows: Sequence[Row],
    axes: Sequence[Axis],
    scenario: Scenario,
    group: str | None = None,
    main: Sequence[tuple[str, str]] = MAIN,
    heads: Sequence[str] = (),
) -> str:
    """The last survey of every point, with goals and survivors, as aligned text in the scenario's units.

    main: the quantities that are shown, and their headings; heads: of the axes, by default their paths.
    """
    first, told = rows[0], wording(rows, axes, scenario)
    names = [name for name, _ in main]
    each_its_own = len({row.dates[-1] for row in rows}) > 1
    head = [*(heads or [axis.path for axis in axes]), "strategy"] + (["survey"] if each_its_own else [])
    head += [f"{heading}, {unit}" if (unit := first.bands[name][1]) else heading for name, heading in main]
    head += ["both PSDs in range"] if first.in_range is not None else []
    counted = [k for k, score in enumerate(first.scores) if score.kind in PLAIN_SCORES]
    head += [told.heading(first.scores[k]) for k in counted]
    counts = any(row.survivors is not None for row in rows)
    head += ["alive, %"] if counts else []
    body = []
    for row in rows:
        cells = [*(str(v) for v in row.values), row.strategy] + ([row.dates[-1]] if each_its_own else [])
        cells += [band(row.bands[name][2][-1], row.bands[name][0]) for name in names]
        members = row.scores[0].values.shape[-1]
        cells += [in_hundred(row.in_range, members)] if row.in_range is not None else []
        for k in counted:
            values = converted(row.scores[k].values, row.scores[k].kind, scenario.units)
            cells.append(of_members(values, row.scores[k].kind))
        if counts:
            cells.append(NONE if row.survivors is None else of_members(100 * row.survivors, "percent"))
        body.append(cells)
    about = "Last survey of every point" if each_its_own else f"Survey of {first.dates[-1]}"
    alive = f"; alive: of {group}, {12 * COUNTED_YEARS} months after their stocking" if counts else ""
    if counts and group is not None and _doubted(scenario, group):
        alive += ", as a share of a number that is itself in doubt"
    return f"{about}, median [8 of 10 futures]{alive}\n{columns([head, *body])}"


def _doubted(scenario: Scenario, group: str) -> bool:
    return any(e.name == group and bool(e.number_cv) for s in scenario.strategies.values() for e in s.stocking)


def decision(rows: Sequence[Row], axes: Sequence[Axis]) -> Decision:
    """The decision between the points of a sweep, by the goals of the scenario."""
    return judge([_at(row, axes) for row in rows], *together([(row.scores, row.cost) for row in rows]))


def wording(rows: Sequence[Row], axes: Sequence[Axis], scenario: Scenario) -> Wording:
    made = decision(rows, axes)
    return Wording(scenario, made, made.names, made.names, scenario.units)


def answer(
    rows: Sequence[Row], axes: Sequence[Axis], scenario: Scenario, keep_share: float, probability: float, group: str = ""
) -> str:
    """What the sweep says in words: the point to choose by the goals, the earliest date that spares the group."""
    told = wording(rows, axes, scenario)
    said = []
    if len(rows) > 1:
        said += [f"{told.head}: {told.choice()}", f"How sure: {told.sureness()}"]
        if told.decision.cost is not None:
            said.append(f"Cost: {told.money()}")
    dates = [k for k, axis in enumerate(axes) if axis.path.endswith(".date")] if group else []
    if dates:  # of the group itself, or of what may eat it
        k = next((k for k in dates if axes[k].path.endswith(f".{group}.date")), dates[0])
        said.append(_earliest(rows, axes, k, keep_share, probability, group))
    said += _kills(rows, axes)
    return "\n".join(said) + "\n" if said else ""


def _kills(rows: Sequence[Row], axes: Sequence[Axis]) -> list[str]:
    """Where the feed is what is varied: the chance of a kill at each, and the feed at which it is doubled."""
    unit = next((unit for key, unit in FEED.items() if axes and axes[0].path.endswith(f".{key}")), None)
    if unit is None or len(axes) > 1:
        return []
    said = []
    for name in dict.fromkeys(row.strategy for row in rows):
        some = [(float(str(row.values[0])), row.kill) for row in rows if row.strategy == name and row.kill is not None]
        if not some:
            continue
        told = ", ".join(f"{100.0 * chance:.1f} % at {brief(feed)}" for feed, chance in sorted(some))
        lb = sorted((unit.to_si(feed) / FEED["lb_per_acre_day"].factor, chance) for feed, chance in some)
        words = f"{name}: chance a year that over a tenth of the fish die for want of oxygen {told} {unit.words}"
        said.append(f"{words} (frequencies assumed). {oxygen_risk.doubling_words(lb)}".strip())
    return said


def _earliest(
    rows: Sequence[Row], axes: Sequence[Axis], k: int, keep_share: float, probability: float, group: str
) -> str:
    """The earliest date, the value of axis k, at which enough of the group lives."""
    ordered = sorted((row for row in rows if row.survivors is not None), key=lambda row: str(row.values[k]))
    chances = [float(np.mean(np.asarray(row.survivors) >= keep_share)) for row in ordered]
    what = f"at least {percent(keep_share)} of {group} live {12 * COUNTED_YEARS} months after their stocking"
    sure = f"a chance of {percent(probability)}"
    members = ordered[0].scores[0].values.shape[-1]
    for row, chance in zip(ordered, chances, strict=True):
        if chance >= probability:
            return f"Earliest date at which {what} with {sure}: {_at(row, axes)} ({in_hundred(chance, members)})."
    middles = [float(np.median(np.nan_to_num(np.asarray(row.survivors)))) for row in ordered]
    best = max(range(len(ordered)), key=lambda n: (chances[n], middles[n]))
    return f"At no date do {what} with {sure}; nearest: {_at(ordered[best], axes)} ({in_hundred(chances[best], members)})."


def _at(row: Row, axes: Sequence[Axis]) -> str:
    named = zip(labels(axes), row.values, strict=True)
    told = [f"{label} {value}" if value != WITHOUT else "without these fish" for label, value in named]
    return f"{row.strategy}: {', '.join(told)}"


def sweep_csv(rows: Sequence[Row], axes: Sequence[Axis]) -> str:
    """The text of `sweep.csv`: the values, strategy, date, quantity, unit, p10, p50, p90; an undefined one is empty."""
    out = io.StringIO()
    lines = csv.writer(out, lineterminator="\n")
    lines.writerow([*(axis.path for axis in axes), "strategy", "date", "quantity", "unit", "p10", "p50", "p90"])
    for row in rows:
        for name, (_, unit, values) in row.bands.items():
            for date, three in zip(row.dates, values, strict=True):
                lines.writerow([*map(csv_cell, row.values), row.strategy, date, name, unit, *map(in_csv, three)])
        if row.survivors is not None and np.isfinite(row.survivors).all():
            cells = [in_csv(q) for q in np.quantile(100 * row.survivors, QUANTILES)]
            lines.writerow([*map(csv_cell, row.values), row.strategy, str(row.counted), "survivors", "%", *cells])
    return out.getvalue()
