"""Variants under the same luck: what is to be compared is projected with the same members.

Members are run in blocks; one block of one variant is one picklable job for a pure function, so that any
`concurrent.futures` executor can run them, in any order, with the same bits as a result.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, as_completed
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Protocol

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from pondpop.ensemble import results
from pondpop.ensemble.draws import Prior, Source
from pondpop.ensemble.prepare import prepare
from pondpop.ensemble.store import package_versions
from pondpop.observe.observers import project
from pondpop.scenario import Scenario, as_scenario, dump

Array = NDArray[np.float64]
Readings = dict[str, Array]
ABOUT_RECORDS = ("assessment", "update", "update_table", "last_record")  # texts of an ensemble that its projections carry
BLOCK_MEMBERS = 128  # larger blocks gain nothing


class Store(Protocol):
    """Keeps finished blocks, so that an interrupted run can go on."""

    def load(self, identity: str) -> Readings | None: ...

    def save(self, identity: str, readings: Readings) -> None: ...


@dataclass(frozen=True)
class Variant:
    """One strategy of one scenario; variants of one comparison share the seed, and so their luck."""

    scenario: Scenario
    strategy: str
    counted: dt.date | None = None  # a day on which the survivors of stocked groups are counted as well


@dataclass(frozen=True)
class Job:
    """One block of members of one variant, from number `first` on."""

    scenario: Scenario
    strategy: str
    first: int
    members: int
    source: Source = field(default_factory=Prior)
    counted: dt.date | None = None

    @property
    def identity(self) -> str:
        """A name that only a job with the same result has (in one version of the packages)."""
        what = f"{dump(self.scenario)}\n{self.strategy}\n{self.first}\n{self.members}\n{self.source.identity}"
        what += f"\n{self.counted}" if self.counted else ""
        return hashlib.sha256(what.encode()).hexdigest()


def run_job(job: Job) -> Readings:
    """Project one block: a pure function of the job."""
    scenario, strategy = job.scenario, job.scenario.strategies[job.strategy]
    parameters, luck = job.source.draw(scenario, strategy, job.first, job.members)
    inputs = prepare(scenario, strategy, parameters, luck)
    survey_days = [(date - scenario.run.start).days for date in scenario.run.survey_dates]
    return project(inputs, survey_days, None if job.counted is None else (job.counted - scenario.run.start).days)


def project_all(
    variants: Sequence[Variant],
    *,
    first: int = 0,
    source: Source | None = None,
    executor: Executor | None = None,
    store: Store | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Iterator[Readings]:
    """Readings [member, …] of each variant in order, each as soon as it is whole.

    first is the number of the first member; as many follow as the variant's scenario asks for. Blocks that the store
    has are not run again. progress is told the members done and those there are, before the work and after each block.
    """
    source = source or Prior()
    jobs = [_jobs(variant, first, source) for variant in variants]
    total = sum(job.members for own in jobs for job in own)
    done = 0
    finished: dict[tuple[int, int], Readings] = {}

    def arrived(place: tuple[int, int], job: Job, readings: Readings, fresh: bool) -> None:
        nonlocal done
        if fresh and store:
            store.save(job.identity, readings)
        finished[place] = readings
        done += job.members
        if progress and fresh:
            progress(done, total)

    waiting: list[tuple[tuple[int, int], Job]] = []
    for v, own in enumerate(jobs):
        for b, job in enumerate(own):
            kept = store.load(job.identity) if store else None
            if kept is None:
                waiting.append(((v, b), job))
            else:
                arrived((v, b), job, kept, fresh=False)
    following = 0

    def whole() -> Iterator[Readings]:
        nonlocal following
        while following < len(jobs) and all((following, b) in finished for b in range(len(jobs[following]))):
            yield results.stack_members([finished.pop((following, b)) for b in range(len(jobs[following]))])
            following += 1

    if progress:
        progress(done, total)
    yield from whole()
    for place, job, readings in _run(waiting, executor):
        arrived(place, job, readings, fresh=True)
        yield from whole()


def _run(
    waiting: list[tuple[tuple[int, int], Job]], executor: Executor | None
) -> Iterator[tuple[tuple[int, int], Job, Readings]]:
    """Run jobs and give each back when it is done, in whatever order that is."""
    if executor is None:
        for place, job in waiting:
            yield place, job, run_job(job)
        return
    futures = {executor.submit(run_job, job): (place, job) for place, job in waiting}
    try:
        for future in as_completed(futures):
            place, job = futures.pop(future)
            yield place, job, future.result()
    finally:
        for future in futures:
            future.cancel()


def blocks(members: int) -> list[range]:
    """Members shared out to blocks of nearly one size; two blocks at least from `BLOCK_MEMBERS` on, for two workers."""
    count = max(-(-members // BLOCK_MEMBERS), min(2, 2 * members // BLOCK_MEMBERS))
    ends = [-(-members * k // count) for k in range(count + 1)]
    return [range(a, b) for a, b in pairwise(ends)]


def _jobs(variant: Variant, first: int, source: Source) -> list[Job]:
    """The blocks of a variant; each knows its own strategy only, and nothing that changes no number."""
    scenario = variant.scenario
    members = scenario.ensemble.members
    own = scenario._replace(
        title="",
        strategies={variant.strategy: scenario.strategies[variant.strategy]},
        ensemble=scenario.ensemble._replace(members=members),
        goals=(),
        costs=None,
        consultant=None,
        note=None,
        units="us",
        source_file=None,
    )
    return [
        Job(own, variant.strategy, first + block.start, len(block), source, variant.counted) for block in blocks(members)
    ]


def compare(
    scenario: Scenario | str | Path,
    executor: Executor | None = None,
    *,
    source: Source | None = None,
    store: Store | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> xr.Dataset:
    """Project every strategy of a scenario under the same luck and return one Dataset (see `results.VARIABLES`).

    scenario: one that was loaded, or the path of its file. executor: any `concurrent.futures.Executor`; without one the
    blocks run one after the other. source: where parameters and luck come from, by default the spreads of the scenario.
    >>> import pondpop
    >>> psd = pondpop.compare("pond.toml")["psd"].sel(strategy="few", species="bass", length_category="quality")
    >>> psd.dims
    ('member', 'survey_date')

    Raises InputError, also for a scenario that was altered to what no file could state, and RunError.
    """
    scenario = as_scenario(scenario)
    variants = [Variant(scenario, name) for name in scenario.strategies]
    projected = project_all(variants, source=source, executor=executor, store=store, progress=progress)
    dataset = results.to_dataset(
        scenario, dict(zip(scenario.strategies, projected, strict=True)), package_versions()
    )
    if source and source != Prior():
        dataset.attrs["members_from"] = source.identity
        dataset.attrs.update({name: source.about[name] for name in ABOUT_RECORDS if name in source.about})
    return dataset
