"""Ensembles too large to be held: what each block tells is gathered as it comes, and forgotten.

Workers read the named quantities of their members at every survey. Kept are counts, from which quantiles follow, and each
member's values at the last survey. Counts do not depend on the order in which blocks come.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from pondpop.checks import integer
from pondpop.ensemble import results
from pondpop.ensemble.draws import Prior, Source
from pondpop.ensemble.jobs import Readings
from pondpop.ensemble.quantities import QUANTILES, quantities
from pondpop.ensemble.run import Store, Variant, at_once, jobs_of, run_all
from pondpop.model.inputs import Inputs
from pondpop.observe.observers import project
from pondpop.scenario import Scenario, as_scenario

Array = NDArray[np.float64]
SMALLEST = 1e-3  # values far below it count as 0
STEP = 4e-3  # between counted values, relative to them: quantiles are right to half of it
MOST = 1e9  # larger values count as this
BINS = round(float(np.arcsinh(MOST / SMALLEST)) / STEP) + 1


@dataclass(frozen=True)
class Told:
    """Reads the named quantities of one strategy's members at every survey: {name: [member, survey_date]}."""

    scenario: Scenario

    @property
    def identity(self) -> str:
        return "quantities"

    def __call__(self, inputs: Inputs, survey_days: Sequence[int]) -> Readings:
        (name,) = self.scenario.strategies
        dataset = results.to_dataset(self.scenario, {name: project(inputs, survey_days)}, {})
        return {one.name: one.values[0] for one in quantities(dataset)}


@dataclass
class Gathered:
    """What is kept of one strategy; quantities in the order of their names."""

    members: int
    names: list[str] = field(default_factory=list)
    counts: NDArray[np.int32] = field(default_factory=lambda: np.empty(0, np.int32))  # [quantity, survey_date, bin]
    last: Array = field(default_factory=lambda: np.empty(0))  # [quantity, member]

    def add(self, first: int, told: Readings) -> None:
        """Take in the members from number `first` on."""
        if not self.names:
            self.names = list(told)
            surveys = told[self.names[0]].shape[1]
            self.counts = np.zeros((len(self.names), surveys, BINS), np.int32)
            self.last = np.full((len(self.names), self.members), np.nan)
        for k, name in enumerate(self.names):
            values = told[name]
            self.last[k, first : first + len(values)] = values[:, -1]
            some = np.isfinite(values)
            bins = np.rint(np.arcsinh(np.clip(values[some], 0.0, MOST) / SMALLEST) / STEP).astype(np.intp)
            np.add.at(self.counts[k], (np.nonzero(some)[1], bins), 1)

    def quantiles(self) -> Array:
        """QUANTILES of the members that have a value [quantity, survey_date, quantile]; NaN where none has."""
        below = self.counts.cumsum(axis=2)
        some = below[:, :, -1]
        out = np.full((*some.shape, len(QUANTILES)), np.nan)
        for k, share in enumerate(QUANTILES):
            rank = np.rint(share * (some - 1)).astype(np.int64)  # of the member in order, from 0
            bins = (below <= rank[:, :, None]).sum(axis=2)
            out[:, :, k] = np.where(some > 0, SMALLEST * np.sinh(bins * STEP), np.nan)
        return out


def summarise(
    scenario: Scenario | str | Path,
    executor: Executor | None = None,
    *,
    members: int | None = None,
    source: Source | None = None,
    store: Store | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> xr.Dataset:
    """Project every strategy for so many members as one likes and keep what fits into memory.

    The Dataset has, for every quantity of `yearly.csv` and in metric units, `quantiles` [strategy, quantity, survey_date,
    quantile] right to 0.2 %, `defined`, how many members have a value, and `at_end` [strategy, quantity, member], each
    member's value at the last survey. Members are those of `compare` under the same seed. executor, source, store and
    progress are as of `compare`. Raises InputError and RunError.

    >>> import pondpop
    >>> told = pondpop.summarise("pond.toml", members=4)
    >>> told["quantiles"].sel(strategy="few", quantity="bass_psd").dims
    ('survey_date', 'quantile')
    """
    scenario = as_scenario(scenario)
    count = scenario.ensemble.members if members is None else integer("members", members, 1, 10_000_000)
    asked = scenario._replace(what_if=(), ensemble=scenario.ensemble._replace(members=count))
    names = list(asked.strategies)
    gathered = [Gathered(count) for _ in names]
    placed = jobs_of([Variant(asked, name) for name in names], 0, source or Prior(), at_once(executor), look=Told)
    done = 0
    if progress:
        progress(0, count * len(names))
    for k, told, _ in run_all([job for _, job in placed], executor, store):
        places, job = placed[k]
        for place, one in zip(places, told, strict=True):
            gathered[place].add(job.first, one)
        done += job.members * len(places)
        if progress:
            progress(done, count * len(names))
    return _dataset(asked, gathered)


def _dataset(scenario: Scenario, gathered: Sequence[Gathered]) -> xr.Dataset:
    """What was gathered of every strategy; a quantity that a strategy does not have is NaN."""
    every = list(dict.fromkeys(name for one in gathered for name in one.names))
    surveys, members = len(scenario.run.survey_dates), scenario.ensemble.members
    quantile = np.full((len(gathered), len(every), surveys, len(QUANTILES)), np.nan)
    defined = np.zeros(quantile.shape[:3], np.int32)
    at_end = np.full((len(gathered), len(every), members), np.nan)
    for k, one in enumerate(gathered):
        rows = [every.index(name) for name in one.names]
        quantile[k, rows], defined[k, rows], at_end[k, rows] = one.quantiles(), one.counts.sum(axis=2), one.last
        one.counts, one.last = np.empty(0, np.int32), np.empty(0)
    return xr.Dataset(
        {
            "quantiles": (("strategy", "quantity", "survey_date", "quantile"), quantile),
            "defined": (("strategy", "quantity", "survey_date"), defined),
            "at_end": (("strategy", "quantity", "member"), at_end),
        },
        {
            "strategy": list(scenario.strategies),
            "quantity": every,
            "survey_date": np.array(scenario.run.survey_dates, dtype="datetime64[ns]"),
            "quantile": list(QUANTILES),
        },
    )
