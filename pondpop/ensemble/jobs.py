"""Blocks of members, and how one is run: all that a process which shares the work imports.

A block of one variant, or of several side by side, is one picklable job for a pure function, so that any
`concurrent.futures` executor can run them, in any order, with the same bits as a result. What makes a Dataset of the
readings stands above, since its packages take longer to import than a small block to run.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

from pondpop.arrays import Array
from pondpop.ensemble.draws import Dealer, Prior
from pondpop.ensemble.prepare import prepare
from pondpop.ensemble.side_by_side import side_by_side
from pondpop.model.inputs import Inputs
from pondpop.observe.observers import of_variant, project
from pondpop.scenario import Scenario, dump

Readings = dict[str, Array]


class Look(Protocol):
    """What is read of a block of ponds: a pure function of inputs and the days of the run's surveys, that can be
    pickled; `identity` is a text that differs where it does."""

    @property
    def identity(self) -> str: ...

    def __call__(self, inputs: Inputs, survey_days: Sequence[int]) -> Readings: ...


@dataclass(frozen=True)
class Whole:
    """Reads a run to its end (`observers.project`)."""

    counted: dt.date | None = None  # a day on which the survivors of stocked groups are counted as well

    @property
    def identity(self) -> str:
        return f"{self.counted}" if self.counted else ""

    def __call__(self, inputs: Inputs, survey_days: Sequence[int]) -> Readings:
        return project(inputs, survey_days, None if self.counted is None else (self.counted - inputs.start).days)


@dataclass(frozen=True)
class Job:
    """One block: members from number `first` on of one variant, or of several side by side (see that module).

    variants are a scenario and the name of one of its strategies; several are read to the end of their run (`Whole`).
    """

    variants: tuple[tuple[Scenario, str], ...]
    first: int
    members: int
    source: Dealer = field(default_factory=Prior)
    look: Look = field(default_factory=Whole)

    @property
    def identities(self) -> list[str]:
        """Of each variant, a name that only a block with the same result has (in one version of the packages)."""
        more = f"{self.first}\n{self.members}\n{self.source.identity}\n{self.look.identity}"
        return [
            hashlib.sha256(f"{dump(scenario)}\n{strategy}\n{more}".encode()).hexdigest()
            for scenario, strategy in self.variants
        ]


def run_job(job: Job) -> list[Readings]:
    """Run one block and give what was read of each variant: a pure function of the job."""
    prepared = []
    for scenario, name in job.variants:
        strategy = scenario.strategies[name]
        prepared.append(prepare(scenario, strategy, *job.source.draw(scenario, strategy, job.first, job.members)))
    run = job.variants[0][0].run
    read = job.look(side_by_side(prepared), [(date - run.start).days for date in run.survey_dates])
    if len(prepared) == 1:
        return [read]
    rows = [slice(k * job.members, (k + 1) * job.members) for k in range(len(prepared))]
    bought = [len(scenario.strategies[name].stocking) for scenario, name in job.variants]
    return [of_variant(read, own, count) for own, count in zip(rows, bought, strict=True)]
