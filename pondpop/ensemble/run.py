"""Variants under the same luck: what is to be compared is projected with the same members.

Members are run in blocks (`jobs`), in this process or by any `concurrent.futures` executor.
"""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, wait
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any, Protocol, TypeVar

import xarray as xr

from pondpop.ensemble import results
from pondpop.ensemble.draws import Dealer, Prior, Source
from pondpop.ensemble.jobs import Job, Look, Readings, Whole, run_job
from pondpop.ensemble.store import package_versions
from pondpop.scenario import Harvest, Removal, Scenario, as_scenario, befallen, dump

ABOUT_RECORDS = ("assessment", "update", "update_table", "last_record")  # texts of an ensemble that its projections carry
BLOCK_MEMBERS = 256  # twice as many take a twentieth less time a member, half as many a fifth more; memory goes with them
LISTEN_SECONDS = 0.2  # Python answers a signal that comes just as a wait begins when that ends
LEAST_MEMBERS = 32  # smaller blocks are ruled by calls: half of these cost three quarters
Rule = TypeVar("Rule", Harvest, Removal)


class Store(Protocol):
    """Keeps finished blocks, so that an interrupted run can go on."""

    def load(self, identity: str) -> Readings | None: ...

    def save(self, identity: str, readings: Readings) -> None: ...


@dataclass(frozen=True)
class Variant:
    """One strategy of one scenario; variants of one comparison share the seed, and so their luck."""

    scenario: Scenario
    strategy: str
    counted: dt.date | None = None  # see `Whole`


def run_all(jobs: Sequence[Job], executor: Executor | None, store: Store | None) -> Iterator[tuple[int, list[Readings], bool]]:
    """Number and readings of each job as soon as it is done, in whatever order that is, and whether it was run now.

    Jobs of which the store has all are not run again. A single job is run in this process.
    """
    waiting = []
    for k, job in enumerate(jobs):
        kept = [store.load(identity) for identity in job.identities] if store else [None]
        found = [readings for readings in kept if readings is not None]
        if len(found) == len(job.variants):
            yield k, found, False
        else:
            waiting.append(k)
    for k, readings in _run([(k, jobs[k]) for k in waiting], executor):
        if store:
            for identity, one in zip(jobs[k].identities, readings, strict=True):
                store.save(identity, one)
        yield k, readings, True


def _run(waiting: Sequence[tuple[int, Job]], executor: Executor | None) -> Iterator[tuple[int, list[Readings]]]:
    if executor is None or len(waiting) < 2:
        for k, job in waiting:
            yield k, run_job(job)
        return
    futures = {executor.submit(run_job, job): k for k, job in waiting}
    try:
        while futures:
            for future in wait(futures, LISTEN_SECONDS, FIRST_COMPLETED).done:
                yield futures.pop(future), future.result()
    finally:
        for future in futures:
            future.cancel()


def project_all(
    variants: Sequence[Variant],
    *,
    first: int = 0,
    source: Source | None = None,
    executor: Executor | None = None,
    store: Store | None = None,
    progress: Callable[[int, int], None] | None = None,
    early: Callable[[int, list[Readings]], None] | None = None,
) -> Iterator[Readings]:
    """Readings [member, …] of each variant in order, each as soon as it is whole.

    first is the number of the first member; as many follow as the variant's scenario asks for. Blocks that the store
    has are not run again. progress is told the members done and those there are, before the work and after each block;
    early is given the first members of all variants, how many and their readings, whenever they have become more.
    """
    placed = jobs_of(variants, first, source or Prior(), at_once(executor))
    jobs = [job for _, job in placed]
    total = sum(job.members * len(job.variants) for job in jobs)
    blocks_of: list[list[int]] = [[] for _ in variants]  # numbers of the first members, in order
    for places, job in placed:
        for place in places:
            blocks_of[place] = sorted([*blocks_of[place], job.first])
    finished: list[dict[int, Readings]] = [{} for _ in variants]
    done, shown, following = 0, 0, 0

    if progress:
        progress(done, total)
    for k, readings, fresh in run_all(jobs, executor, store):
        places, job = placed[k]
        for place, one in zip(places, readings, strict=True):
            finished[place][job.first] = one
        done += job.members * len(places)
        if progress and fresh:
            progress(done, total)
        if early and done < total:
            begun = [_begun(finished[v], blocks_of[v]) for v in range(len(variants))]
            count = min(sum(len(next(iter(block.values()))) for block in own) for own in begun)
            if count > shown:
                shown = count
                every = [results.stack_members(own) for own in begun]
                early(count, [{name: values[:count] for name, values in one.items()} for one in every])
        while following < len(variants) and len(finished[following]) == len(blocks_of[following]):
            own = finished[following]
            yield results.stack_members([own[begin] for begin in blocks_of[following]])
            finished[following] = own if early else {}
            following += 1


def _begun(finished: dict[int, Readings], blocks: Sequence[int]) -> list[Readings]:
    """The first blocks, as many as are finished without a gap."""
    return [finished[begin] for begin in itertools.takewhile(finished.__contains__, blocks)]


def at_once(executor: Executor | None) -> int:
    """How many jobs an executor runs at the same time, as far as can be told; small runs are split into so many."""
    return 1 if executor is None else getattr(executor, "workers", 2)


def blocks(members: int, least: int = 1, most: int | None = None) -> list[range]:
    """Members shared out to blocks of nearly one size of at most `most`; to so many at least, unless these were tiny."""
    count = max(-(-members // (most or BLOCK_MEMBERS)), min(least, members // LEAST_MEMBERS))
    ends = [-(-members * k // count) for k in range(count + 1)]
    return [range(a, b) for a, b in pairwise(ends)]


def jobs_of(
    variants: Sequence[Variant], first: int, source: Dealer, least: int, look: Callable[[Scenario], Look] | None = None
) -> list[tuple[tuple[int, ...], Job]]:
    """Jobs and the places of their variants, the first members first. look makes of a scenario of one strategy what is read.

    Variants that differ in numbers only stand side by side, as many as fill a block. Together they are at least so
    many jobs, unless these were tiny.
    """
    bare = [_bare(variant) for variant in variants]
    alike: dict[tuple[str, dt.date | None], list[int]] = {}
    for place, (variant, own) in enumerate(zip(variants, bare, strict=True)):
        alike.setdefault((_but_for_numbers(*own), variant.counted), []).append(place)
    made = []
    for (_, counted), places in alike.items():
        members = variants[places[0]].scenario.ensemble.members
        wanted = -(-least // len(alike))
        parts = blocks(members)
        abreast = max(1, BLOCK_MEMBERS // len(parts[0]))
        sides = blocks(len(places), most=abreast)
        if len(parts) * len(sides) < wanted:
            split = min(wanted, members * len(places) // LEAST_MEMBERS, len(places))
            sides = blocks(len(places), most=-(-len(places) // max(1, split)))
        if len(parts) * len(sides) < wanted:
            parts = blocks(members, -(-wanted // len(sides)))
        for part, side in itertools.product(parts, sides):
            own_places = tuple(places[k] for k in side)
            those = tuple(bare[k] for k in own_places)
            read = look(those[0][0]) if look else Whole(counted)
            job = Job(those, first + part.start, len(part), source, read)
            made.append((own_places, job))
    return sorted(made, key=lambda one: one[1].first)


def _bare(variant: Variant) -> tuple[Scenario, str]:
    """The scenario with this strategy alone, and without what has no bearing on its numbers."""
    return variant.scenario._replace(
        title="",
        strategies={variant.strategy: variant.scenario.strategies[variant.strategy]},
        goals=(),
        costs=None,
        consultant=None,
        note=None,
        units="us",
        source_file=None,
        what_if=(),
    ), variant.strategy


def _but_for_numbers(scenario: Scenario, strategy: str) -> str:
    """A text that is the same for variants which `side_by_side` can join."""
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


def compare(
    scenario: Scenario | str | Path,
    executor: Executor | None = None,
    *,
    source: Source | None = None,
    store: Store | None = None,
    progress: Callable[[int, int], None] | None = None,
    early: Callable[[xr.Dataset], None] | None = None,
) -> xr.Dataset:
    """Project every strategy of a scenario under the same luck and return one Dataset (see `observers.VARIABLES`).

    What the scenario says may befall the pond is run with every strategy too; `results.under` gives those projections.
    scenario: one that was loaded, or the path of its file. executor: any `concurrent.futures.Executor`; without one the
    blocks run one after the other. early is given the comparison of the first members as soon as these are done, and
    again whenever there are more. source: where parameters and luck come from, by default the spreads of the scenario.
    >>> import pondpop
    >>> psd = pondpop.compare("pond.toml")["psd"].sel(strategy="few", species="bass", length_category="quality")
    >>> psd.dims
    ('member', 'survey_date')

    Raises InputError, also for a scenario that was altered to what no file could state, and RunError.
    """
    scenario = as_scenario(scenario)

    def first_members(count: int, every: list[Readings]) -> None:
        of_count = scenario._replace(ensemble=scenario.ensemble._replace(members=count))
        if early:
            early(results.to_dataset(of_count, dict(zip(scenario.strategies, every, strict=False)), {}))  # events come after

    projected = project_all(
        _of_comparison(scenario),
        source=source,
        executor=executor,
        store=store,
        progress=progress,
        early=first_members if early else None,
    )
    return _compared(scenario, projected, source)


def compare_ponds(
    scenarios: Sequence[Scenario | str | Path],
    executor: Executor | None = None,
    *,
    source: Source | None = None,
    store: Store | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Iterator[xr.Dataset]:
    """`compare` of several ponds, each as soon as it is whole; the blocks of all stand in one queue.

    Each Dataset is, to the bit, the one that `compare` gives for that pond alone. Raises InputError and RunError as
    `compare` does.
    """
    ponds = [as_scenario(scenario) for scenario in scenarios]
    variants = [variant for pond in ponds for variant in _of_comparison(pond)]
    projected = project_all(variants, source=source, executor=executor, store=store, progress=progress)
    for pond in ponds:
        yield _compared(pond, projected, source)


def _of_comparison(scenario: Scenario) -> list[Variant]:
    """Every strategy of a scenario, without events and then with each of them."""
    worlds = [scenario._replace(what_if=()), *(befallen(scenario, one.name) for one in scenario.what_if)]
    return [Variant(world, name) for world in worlds for name in scenario.strategies]


def _compared(scenario: Scenario, projected: Iterator[Readings], source: Source | None) -> xr.Dataset:
    """The comparison of a scenario from the readings of its variants, which come next."""
    events = [one.name for one in scenario.what_if]
    every = [{name: next(projected) for name in scenario.strategies} for _ in ("without", *events)]
    dataset = results.to_dataset(scenario, every[0], package_versions())
    if events:
        dataset = results.with_events(dataset, scenario, dict(zip(events, every[1:], strict=True)))
    if source and source != Prior():
        dataset.attrs["members_from"] = source.identity
        dataset.attrs.update({name: source.about[name] for name in ABOUT_RECORDS if name in source.about})
    return dataset
