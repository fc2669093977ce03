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
from typing import Any, Protocol, TypeVar

from pondpop.arrays import Array
from pondpop.ensemble.draws import Dealer, Prior
from pondpop.ensemble.forks import run_forked
from pondpop.ensemble.prepare import prepare
from pondpop.model.inputs import Inputs
from pondpop.observe.observers import Watch, WholeRun
from pondpop.scenario import Harvest, Removal, Scenario, dump

Readings = dict[str, Array]
Rule = TypeVar("Rule", Harvest, Removal)


class Look(Protocol):
    """What is read of a block of ponds, that can be pickled; `identity` is a text that differs where it does."""

    @property
    def identity(self) -> str: ...

    def watch(self, inputs: Inputs, survey_days: Sequence[int]) -> Watch:
        """What reads a block with these inputs, and the days of the run's surveys."""
        ...

    def tell(self, scenario: Scenario, strategy: str, read: Readings) -> Readings:
        """What is told of what was read of one variant."""
        ...


@dataclass(frozen=True)
class Whole:
    """Reads a run to its end (`observers.project`)."""

    counted: dt.date | None = None  # a day on which the survivors of stocked groups are counted as well

    @property
    def identity(self) -> str:
        return f"{self.counted}" if self.counted else ""

    def watch(self, inputs: Inputs, survey_days: Sequence[int]) -> WholeRun:
        return WholeRun(inputs, survey_days, None if self.counted is None else (self.counted - inputs.start).days)

    def tell(self, scenario: Scenario, strategy: str, read: Readings) -> Readings:
        return read


@dataclass(frozen=True)
class Job:
    """One block: members from number `first` on of one variant, or of several that share what days they can (`forks`).

    variants are a scenario and the name of one of its strategies; the runs of all are of the same days.
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
    prepared, structures = [], []
    for scenario, name in job.variants:
        strategy = scenario.strategies[name]
        prepared.append(prepare(scenario, strategy, *job.source.draw(scenario, strategy, job.first, job.members)))
        structures.append(but_for_numbers(scenario, name))
    run = job.variants[0][0].run
    survey_days = [(date - run.start).days for date in run.survey_dates]
    read = run_forked(prepared, structures, lambda inputs: job.look.watch(inputs, survey_days))
    return [job.look.tell(*variant, one) for variant, one in zip(job.variants, read, strict=True)]


def but_for_numbers(scenario: Scenario, strategy: str) -> str:
    """A text that is the same for variants which `prepare.side_by_side` can join."""
    own = scenario.strategies[strategy]
    own = own._replace(
        name="any",
        title="any",
        fertility=1.0,
        stocking=tuple(event._replace(per_ha=1.0) for event in own.stocking),
        harvest=tuple(map(_any_amount, own.harvest)),
        removals=tuple(map(_any_amount, own.removals)),
        feeding=tuple(rule._replace(kg_per_ha_day=1.0) for rule in own.feeding),
    )
    return dump(scenario._replace(strategies={"any": own}))


def _any_amount(rule: Rule) -> Rule:
    given = [name for name in ("kg_per_ha", "per_ha", "share") if getattr(rule, name) is not None]
    same: dict[str, Any] = dict.fromkeys(given, 0.5)
    return rule._replace(**same)
