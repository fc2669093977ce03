"""A large ensemble on a local cluster of separate processes that loses one worker in the middle; and memory of the parent.

    python benchmarks/cluster.py                         20,000 members of the README's pond, two workers; some hours of two cores
    python benchmarks/cluster.py --members 96 --years 1  the same, small
    python benchmarks/cluster.py --memory 100000         what the parent holds of so many members, from invented blocks

Needs the extra `cluster` (Dask). The same members are run once with a worker killed outright when a third is done, and once
without a cluster in this process; every bit of what is kept must be the same.
"""

from __future__ import annotations

import argparse
import os
import resource
import signal
import sys
import time
from pathlib import Path

for library in ("OPENBLAS", "MKL", "OMP"):
    os.environ.setdefault(f"{library}_NUM_THREADS", "1")

HOME = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(HOME)]


def on_cluster(members: int, years: int, workers: int) -> int:
    """Run on a cluster that loses a worker, and without; 0 if all bits are the same."""
    import xarray as xr
    from dask.distributed import Client, LocalCluster

    from pondpop.ensemble.summary import summarise
    from pondpop.scenario import read, resolve

    file = HOME / "scenarios" / "predators_75_or_100.toml"
    raw = read(file)
    raw["run"]["years"] = years
    scenario = resolve(raw, file.parent)
    killed: list[int] = []
    begun = time.perf_counter()
    environment = {"PYTHONPATH": os.pathsep.join([str(HOME), *filter(None, [os.environ.get("PYTHONPATH")])])}
    os.environ.update(environment)
    with LocalCluster(n_workers=workers, threads_per_worker=1, dashboard_address=None) as cluster, Client(cluster) as client:
        pids = client.run(os.getpid)

        def lose_one(done: int, total: int) -> None:
            if not killed and 3 * done >= total:
                killed.append(next(iter(pids.values())))
                os.kill(killed[0], signal.SIGKILL)

        found: xr.Dataset = summarise(scenario, client.get_executor(), members=members, progress=lose_one)
    there = time.perf_counter() - begun
    alone = summarise(scenario, members=members)
    same = found.identical(alone)
    print(f"{members} members x {len(scenario.strategies)} strategies x {years} years, {workers} workers: {there:.1f} s with a "
          f"worker lost (process {killed[0] if killed else 'none'}); alone {time.perf_counter() - begun - there:.1f} s; "
          f"{'the same bits' if same else 'NOT THE SAME'}")  # fmt: skip
    return int(not (same and killed))


def memory(members: int) -> int:
    """Peak memory of a parent that gathers invented blocks of so many members under two strategies; 0 if below 1 GB."""
    import numpy as np

    from pondpop.ensemble import summary
    from pondpop.ensemble.run import BLOCK_MEMBERS
    from pondpop.scenario import load

    scenario = load(HOME / "scenarios" / "predators_75_or_100.toml")
    names, surveys = [f"quantity {k}" for k in range(110)], len(scenario.run.survey_dates)
    rng = np.random.default_rng(0)
    block = {name: rng.lognormal(2.0, 3.0, (BLOCK_MEMBERS, surveys)) for name in names}

    def invented(jobs: list, executor: object, store: object) -> object:
        for k, job in enumerate(jobs):
            yield k, [{name: values[: job.members] for name, values in block.items()} for _ in job.variants], True

    summary.run_all = invented
    begun = time.process_time()
    told = summary.summarise(scenario, members=members)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    took = time.process_time() - begun
    print(f"{members} members x {told.sizes['strategy']} strategies x {len(names)} quantities x {surveys} surveys: the parent "
          f"holds at most {peak:.0f} MB and works {took:.1f} s of processor time")  # fmt: skip
    return int(peak >= 1000.0)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--members", type=int, default=20_000)
    parser.add_argument("--years", type=int, default=8)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--memory", type=int, help="measure the parent alone, with invented blocks of so many members")
    asked = parser.parse_args()
    return memory(asked.memory) if asked.memory else on_cluster(asked.members, asked.years, asked.workers)


if __name__ == "__main__":
    sys.exit(main())
