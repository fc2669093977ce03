"""Variants under the same luck: every strategy of a scenario projected with the same members.

Members are run in fixed blocks; one block of one strategy is one picklable job for a pure function, so that any
`concurrent.futures` executor can run them, in any order, with the same bits as a result.
"""

from __future__ import annotations

from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from pondpop import results
from pondpop.inputs import Luck, prepare, run_days
from pondpop.readings import project
from pondpop.scenario import Scenario
from pondpop.species import load_parameters

BLOCK_MEMBERS = 64


@dataclass(frozen=True)
class Job:
    """One block of members of one strategy."""

    scenario: Scenario
    strategy: str
    first: int
    members: int


def run_job(job: Job) -> dict[str, NDArray[np.float64]]:
    """Project one block: a pure function of the job."""
    scenario, strategy = job.scenario, job.scenario.strategies[job.strategy]
    years = scenario.run.last_year
    luck = Luck.none(job.members, run_days(scenario), years, len(strategy.stocking))
    inputs = prepare(scenario, strategy, load_parameters(), luck)
    return project(inputs, [(date - scenario.run.start).days for date in scenario.run.survey_dates])


def compare(scenario: Scenario, executor: Executor | None = None) -> xr.Dataset:
    """Project every strategy of a scenario and return one Dataset (see `results.VARIABLES`)."""
    jobs = [
        Job(scenario, name, first, min(BLOCK_MEMBERS, scenario.ensemble.members - first))
        for name in scenario.strategies
        for first in range(0, scenario.ensemble.members, BLOCK_MEMBERS)
    ]
    done = list((executor.map if executor else map)(run_job, jobs))
    projected = {
        name: results.stack_members([block for job, block in zip(jobs, done, strict=True) if job.strategy == name])
        for name in scenario.strategies
    }
    return results.to_dataset(scenario, projected, results.package_versions())
