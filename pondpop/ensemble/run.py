"""Variants under the same luck: what is to be compared is projected with the same members.

Members are run in blocks (`jobs`), in this process or by any `concurrent.futures` executor.
"""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Callable, Hashable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, wait
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Protocol

import xarray as xr

from pondpop.ensemble import results
from pondpop.ensemble.draws import Dealer, Prior, Source
from pondpop.ensemble.jobs import Job, Look, Readings, Whole, run_job
from pondpop.ensemble.store import package_versions
from pondpop.scenario import Scenario, as_scenario, befallen, dump

ABOUT_RECORDS = ("assessment", "update", "update_table", "last_record")  # texts of an ensemble that its projections carry
BLOCK_MEMBERS = 256  # twice as many take a twentieth less time a member, half as many a fifth more; memory goes with them
LISTEN_SECONDS = 0.2  # Python answers a signal that comes just as a wait begins when that ends
LEAST_MEMBERS = 32  # smaller blocks are ruled by calls: half of these cost three quarters
ABREAST = 1.5  # cost of a member side by side with other variants: it has the columns of the one with the most groups (measured)


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

    What the store has is not run again. A single job is run in this process.
    """
    waiting, known = [], {}
    for k, job in enumerate(jobs):
        kept = [store.load(identity) if store else None for identity in job.identities]
        lacking = tuple(variant for variant, readings in zip(job.variants, kept, strict=True) if readings is None)
        if lacking:
            waiting.append((k, replace(job, variants=lacking)))
            known[k] = kept
        else:
            yield k, [readings for readings in kept if readings is not None], False
    asked = dict(waiting)
    for k, readings in _run(waiting, executor):
        if store:
            for identity, one in zip(asked[k].identities, readings, strict=True):
                store.save(identity, one)
        fresh = iter(readings)
        yield k, [next(fresh) if one is None else one for one in known.pop(k)], True


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


def blocks(members: int, workers: int = 1) -> list[range]:
    """The members of one variant, shared out to blocks of nearly one size (`parts_and_sides`)."""
    return _shared_out(members, parts_and_sides(members, 1, workers)[0])


def _shared_out(count: int, parts: int) -> list[range]:
    ends = [-(-count * k // parts) for k in range(parts + 1)]
    return [range(a, b) for a, b in pairwise(ends)]


def parts_and_sides(members: int, variants: int, workers: int) -> tuple[int, int]:
    """Into how many parts to cut the members, and into how many the variants, so that blocks of both are soonest done.

    A block costs as much as its members, of all its variants, and LEAST_MEMBERS more for the calls; ABREAST times as much
    a member where several variants stand in it. None has more than BLOCK_MEMBERS, and none is made for the sake of other
    workers that would have less than LEAST_MEMBERS. Of two ways as good the one with fewer parts is taken, since each part
    draws anew.
    """
    ways = []  # blocks, relative time, parts, sides
    for sides in range(-(-variants // BLOCK_MEMBERS), variants + 1):
        abreast = -(-variants // sides)
        each = abreast * (1.0 if abreast == 1 else ABREAST)
        fewest = -(-members // (BLOCK_MEMBERS // abreast))
        for parts in range(fewest, min(fewest + workers, members) + 1):
            rounds = -(-parts * sides // workers)
            ways.append((parts * sides, rounds * (-(-members // parts) * each + LEAST_MEMBERS), parts, sides))
    most = max(min(ways)[0], members * variants // LEAST_MEMBERS)
    _, parts, sides = min(way[1:] for way in ways if way[0] <= most)
    return parts, sides


def jobs_of(
    variants: Sequence[Variant], first: int, source: Dealer, workers: int, look: Callable[[Scenario], Look] | None = None
) -> list[tuple[tuple[int, ...], Job]]:
    """Jobs and the places of their variants, the first members first, shared out to so many workers.

    look makes of a scenario of one strategy what is read, each by itself; else all are read whole, and variants that can
    stand side by side do where that takes less time.
    """
    bare = [_bare(variant) for variant in variants]
    alike: dict[Hashable, list[int]] = {}
    for place, (variant, own) in enumerate(zip(variants, bare, strict=True)):
        alike.setdefault(place if look else (_of_a_kind(*own), variant.counted), []).append(place)
    made = []
    for places in alike.values():
        members = variants[places[0]].scenario.ensemble.members
        parts, sides = parts_and_sides(members, len(places), -(-workers // len(alike)))
        for part, side in itertools.product(_shared_out(members, parts), _shared_out(len(places), sides)):
            own_places = tuple(places[k] for k in side)
            those = tuple(bare[k] for k in own_places)
            read = look(those[0][0]) if look else Whole(variants[own_places[0]].counted)
            made.append((own_places, Job(those, first + part.start, len(part), source, read)))
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


def _of_a_kind(scenario: Scenario, strategy: str) -> str:
    """A text that is the same for variants which `side_by_side` can join: those of one run and water, with the same species
    and strains, which differ in fertility, spells of the water, and what is stocked, fed, fished or removed."""
    own, pond = scenario.strategies[strategy], scenario.pond
    strains = {event.species for event in own.stocking if event.strain is not None}
    strains |= {event.species for event in own.arrivals if event.strain is not None}
    never = own._replace(
        name="any", title="any", fertility=1.0, stocking=(), harvest=(), removals=(), feeding=(), angling=(), fertilization=(),
        arrivals=(),
    )  # fmt: skip
    calm = pond._replace(temperature=pond.temperature._replace(spells=()), fertility_losses=())
    return f"{own.species} {sorted(strains)}\n{dump(scenario._replace(pond=calm, strategies={'any': never}))}"


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
