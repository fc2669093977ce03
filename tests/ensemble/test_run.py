"""Blocks of members: the same bits for any split, order, worker or executor; shared luck; reacting to interrupts."""

import _thread
import signal
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass
from threading import Timer
from types import SimpleNamespace

import numpy as np
import pytest
from small import TEXT, pond, raw

from pondpop.checks import InputError
from pondpop.ensemble import run
from pondpop.ensemble.draws import Prior
from pondpop.ensemble.jobs import Job, run_job
from pondpop.ensemble.results import content_hash
from pondpop.ensemble.run import Variant, compare, project_all
from pondpop.ensemble.workers import processes
from pondpop.scenario import resolve

HARVEST = """
[[strategies.few.harvest]]
name = "take"
species = "bass"
length_in = [8, 14]
lb_per_acre = 10
[[strategies.few.angling]]
hours_per_acre = 30
"""


class Memory:
    """A store that remembers what it was given."""

    def __init__(self):
        self.kept, self.loads = {}, 0

    def load(self, identity):
        found = self.kept.get(identity)
        self.loads += found is not None
        return found

    def save(self, identity, readings):
        assert identity not in self.kept
        self.kept[identity] = readings


class BackwardsExecutor(Executor):
    """A foreign executor: keeps jobs until someone waits, then runs the last one first, on one thread."""

    def __init__(self):
        self.jobs, self.order = [], []

    def submit(self, function, /, *arguments):
        future = Future()
        self.jobs.append((future, function, arguments))
        if len(self.jobs) == self.expected:
            ThreadPoolExecutor(1).submit(self._run)
        return future

    expected = 4

    def _run(self):
        for future, function, arguments in reversed(self.jobs):
            self.order.append(arguments[0].first)
            future.set_result(function(*arguments))


@pytest.fixture(scope="module")
def whole():
    return compare(pond(members=5, extra=HARVEST))


def assert_same(a, b):
    for name in a.data_vars:
        np.testing.assert_array_equal(a[name].values, b[name].values, err_msg=name)


def test_a_run_is_the_same_twice(whole):
    assert content_hash(whole) == content_hash(compare(pond(members=5, extra=HARVEST)))


def test_a_path_is_compared_like_its_scenario(tmp_path):
    file = tmp_path / "pond.toml"
    file.write_text(TEXT, "utf-8")
    assert content_hash(compare(file)) == content_hash(compare(str(file))) == content_hash(compare(pond()))


@pytest.mark.parametrize(
    ("change", "path"),
    [
        (lambda s: s._replace(pond=s.pond._replace(area_ha=-3.0)), "pond.area_ha"),
        (lambda s: s._replace(pond=s.pond._replace(area_ha=float("nan"))), "pond.area_ha"),
        (lambda s: s._replace(pond=s.pond._replace(area_ha=np.float64(3.0))), "scenario"),
        (lambda s: s._replace(ensemble=s.ensemble._replace(members=0)), "ensemble.members"),
        (lambda s: s._replace(strategies={"other": s.strategies["few"]}), "scenario"),
        (lambda s: s._replace(strategies={}), "strategies"),
        (lambda s: 3, "scenario"),
    ],
)
def test_what_no_file_could_state_is_refused(monkeypatch, change, path):
    monkeypatch.setattr(run, "run_job", lambda job: pytest.fail("work was begun"))
    with pytest.raises(InputError) as error:
        compare(change(pond()))
    assert error.value.path == path


@pytest.mark.parametrize("size", [1, 3])
def test_the_split_into_blocks_changes_no_bit(whole, monkeypatch, size):
    monkeypatch.setattr(run, "BLOCK_MEMBERS", size)
    assert content_hash(whole) == content_hash(compare(pond(members=5, extra=HARVEST)))


def test_the_first_30_of_40_members_are_a_run_of_30():
    scenario = pond()
    short = scenario._replace(run=scenario.run._replace(survey_dates=scenario.run.survey_dates[:1]))
    many, few = (
        next(project_all([Variant(short._replace(ensemble=short.ensemble._replace(members=n)), "few")]))
        for n in (40, 30)
    )
    for name in many:
        np.testing.assert_array_equal(many[name][:30], few[name], err_msg=name)
    assert np.ptp(many["biomass"][:, 0, 0].sum(axis=-1)) > 0


def test_processes_change_no_bit(whole, monkeypatch):
    monkeypatch.setattr(run, "BLOCK_MEMBERS", 3)
    with processes(2) as executor:
        assert content_hash(whole) == content_hash(compare(pond(members=5, extra=HARVEST), executor))


def test_a_foreign_executor_changes_no_bit(whole, monkeypatch):
    monkeypatch.setattr(run, "BLOCK_MEMBERS", 3)
    executor = BackwardsExecutor()
    assert content_hash(whole) == content_hash(compare(pond(members=5, extra=HARVEST), executor))
    assert executor.order == [3, 3, 0, 0]


@pytest.mark.parametrize("members", [1, 2, 3, 63, 64, 127, 128, 129, 250, 256, 257, 1000, 1024])
def test_blocks_hold_each_member_once_and_are_of_nearly_one_size(members):
    for least in (1, 2, 5):
        blocks = run.blocks(members, least)
        assert [m for block in blocks for m in block] == list(range(members))
        sizes = [len(block) for block in blocks]
        assert max(sizes) - min(sizes) <= 1 and max(sizes) <= run.BLOCK_MEMBERS
        assert len(blocks) == max(-(-members // run.BLOCK_MEMBERS), min(least, members // run.LEAST_MEMBERS))


MORE = """
[[removal]]
name = "cull"
species = "bluegill"
date = 2026-05-20
per_acre = 40
[[strategies.many.harvest]]
name = "take"
species = "bass"
length_in = [8, 14]
lb_per_acre = 2
[[strategies.many.angling]]
hours_per_acre = 30
[strategies.none]
[[strategies.none.stocking]]
name = "young_bass"
species = "bass"
date = 2026-04-10
per_acre = 0.5
length_in = 6
[[strategies.none.harvest]]
name = "take"
species = "bass"
length_in = [8, 14]
lb_per_acre = 0
[[strategies.none.angling]]
hours_per_acre = 30
"""


@pytest.mark.parametrize(("doubt", "years"), [(0.0, 1), (1.0, 2)])
def test_variants_that_differ_in_numbers_only_run_side_by_side_to_the_same_bits(monkeypatch, doubt, years):
    scenario = pond(members=3, years=years, extra=HARVEST + MORE + f"[ensemble.spread]\nparameters = {doubt}\n")
    ran = []
    monkeypatch.setattr(run, "run_job", lambda job: ran.append(job) or run_job(job))
    together = compare(scenario)
    assert [len(job.variants) for job in ran] == [3]
    for name in scenario.strategies:
        alone = compare(scenario._replace(strategies={name: scenario.strategies[name]}))
        for variable in alone.data_vars:
            np.testing.assert_array_equal(
                alone[variable].values[0], together[variable].sel(strategy=name).values, err_msg=f"{name} {variable}"
            )
    assert together["harvest_biomass"].sel(strategy="none").sum() == 0 < together["harvest_biomass"].sel(strategy="few").sum()
    assert float(together["number"].std("strategy").max()) > 0


FED = """
[[strategies.few.feeding]]
lb_per_acre_day = 1
[[strategies.many.feeding]]
lb_per_acre_day = 6
[strategies.poor]
fertility = "unfertilized"
[[strategies.poor.stocking]]
name = "young_bass"
species = "bass"
date = 2026-04-10
per_acre = 30
length_in = 6
[[strategies.poor.feeding]]
lb_per_acre_day = 0
"""
FLOOD = """
[[pond.fertility_loss]]
name = "flood"
from = 2026-05-01
to = 2026-05-20
share = 0.4
"""


@pytest.mark.parametrize("extra", [FED, FED + FLOOD])
def test_so_do_variants_that_differ_in_fertility_and_feed(monkeypatch, extra):
    scenario = pond(members=2, extra=extra)
    ran = []
    monkeypatch.setattr(run, "run_job", lambda job: ran.append(job) or run_job(job))
    together = compare(scenario)
    assert [len(job.variants) for job in ran] == [3]
    for name in scenario.strategies:
        alone = compare(scenario._replace(strategies={name: scenario.strategies[name]}))
        for variable in alone.data_vars:
            np.testing.assert_array_equal(
                alone[variable].values[0], together[variable].sel(strategy=name).values, err_msg=f"{name} {variable}"
            )
    eaten = together["pellets_eaten"].sum("month")
    assert (eaten.sel(strategy="poor") == 0).all() and (eaten.sel(strategy="many") > eaten.sel(strategy="few")).all()


OTHERWISE = """
[[strategies.many.stocking]]
name = "late_bass"
species = "bass"
date = 2026-04-18
count = 6
length_in = 12
female_share = 0.9
sexing_error = 0.1
haul_hours = 20
[[strategies.many.removal]]
name = "some"
species = "bass"
date = 2026-05-20
length_in = [6, 14]
share = 0.4
[[strategies.many.removal]]
name = "all_long"
species = "bass"
date = 2026-05-20
length_in = [13, 35]
share = 1
[[strategies.many.harvest]]
name = "share"
species = "bass"
length_in = [8, 14]
share = 0.3
[[strategies.many.harvest]]
name = "take"
species = "bass"
length_in = [8, 14]
lb_per_acre = 4
[[strategies.many.feeding]]
lb_per_acre_day = 3
[[strategies.few.angling]]
hours_per_acre = 30
[[strategies.few.harvest]]
name = "take"
species = "bass"
length_in = [8, 14]
lb_per_acre = 10
[strategies.none]
[[strategies.none.stocking]]
name = "old_bluegill"
species = "bluegill"
date = 2026-04-02
per_acre = 9
length_in = 7
[[strategies.none.stocking]]
name = "late_bass"
species = "bass"
date = 2026-04-21
count = 3
length_in = 12
haul_hours = 9
[[strategies.none.removal]]
name = "all_long"
species = "bass"
date = 2026-05-20
length_in = [13, 35]
share = 1
[[strategies.none.removal]]
name = "some"
species = "bass"
date = 2026-05-20
length_in = [6, 14]
share = 0.4
[[strategies.none.angling]]
hours_per_acre = 5
death_after_release = 0.2
[[strategies.none.harvest]]
name = "react"
species = "bass"
length_in = [8, 14]
lb_per_acre = 12
otherwise_lb_per_acre = 1
when = { any = [{ quantity = "bass_psd", below = 60 }], fish_sampled = 40 }
[[strategies.none.fertilization]]
level = "unfertilized"
from = 2026-05-01
to = 2026-06-01
[what_if.warm]
title = "warm water"
[[what_if.warm.spell]]
from = 2026-05-01
to = 2026-05-09
at_least_f = 88
[[what_if.warm.fertility_loss]]
from = 2026-05-10
to = 2026-05-20
share = 0.6
[what_if.kill]
title = "a kill"
[[what_if.kill.die_off]]
species = "bass"
date = 2026-05-21
share = 0.5
[[what_if.kill.fertility_loss]]
from = 2026-05-21
to = 2026-06-01
share = 0.3
"""


@pytest.mark.parametrize("area", [2.0, 0.05])
def test_so_do_variants_in_which_other_things_are_done_or_befall_the_pond(monkeypatch, area):
    content = raw(2, 1, OTHERWISE)
    content["pond"]["area_acres"] = area
    scenario, ran = resolve(content), []
    monkeypatch.setattr(run, "run_job", lambda job: ran.append(job) or run_job(job))
    together = compare(scenario)
    assert [len(job.variants) for job in ran] == [9]
    for name in scenario.strategies:
        monkeypatch.setattr(run, "_of_a_kind", lambda scenario, strategy: f"{len(ran)} {id(scenario)}")
        alone = compare(scenario._replace(strategies={name: scenario.strategies[name]}))
        for variable in alone.data_vars:
            one, other = (dataset[variable].sel(strategy=name) for dataset in (together, alone))
            if "stocked_group" in one.dims:
                one = one.sel(stocked_group=alone["stocked_group"])
            np.testing.assert_array_equal(one.values, other.values, err_msg=f"{name} {variable}")
    assert [len(job.variants) for job in ran] == [9, *[1] * 9]
    assert np.unique(together["number"].sum(["species", "length_class"]).values[:, 0, -1]).size == 3


def other_water(scenario):
    return scenario._replace(pond=scenario.pond._replace(alkalinity_mg_l=10.0))


def with_shad(scenario):
    ((name, own),) = scenario.strategies.items()
    more = own.stocking[0]._replace(name="shad", species="shad")
    return scenario._replace(strategies={name: own._replace(stocking=(*own.stocking, more))})


def of_a_strain(scenario):
    ((name, own),) = scenario.strategies.items()
    last = own.stocking[-1]._replace(strain="florida")
    return scenario._replace(strategies={name: own._replace(stocking=(*own.stocking[:-1], last))})


def with_a_strain_that_comes_in(scenario):
    ((name, own),) = scenario.strategies.items()
    flood = {"species": "bass", "strain": "florida", "date": scenario.run.start, "per_acre": 5, "length_in": 6}
    ((_, wet),) = resolve(raw(only=name) | {"arrival": [flood]}).strategies.items()
    return scenario._replace(strategies={name: own._replace(arrivals=wet.arrivals)})


@pytest.mark.parametrize("change", [other_water, with_shad, of_a_strain, with_a_strain_that_comes_in])
def test_variants_of_other_water_or_species_do_not_share_a_block(change):
    scenario = pond(only="few")
    for other, blocks in ((scenario, [(0, 1)]), (change(scenario), [(0,), (1,)])):
        placed = run.jobs_of([Variant(scenario, "few"), Variant(other, "few")], 0, Prior(), 1)
        assert [places for places, _ in placed] == blocks


@pytest.mark.parametrize(
    ("variants", "members", "least", "jobs"),
    [(1, 12, 1, 1), (1, 63, 2, 1), (1, 64, 2, 2), (2, 12, 1, 1), (2, 12, 2, 1), (2, 32, 2, 2), (60, 16, 1, 4), (60, 16, 2, 4),
     (2, 100, 1, 2), (3, 12, 1, 1), (3, 60, 1, 3), (2, 1000, 2, 8), (5, 3, 8, 1), (4, 16, 2, 2)],
)  # fmt: skip
def test_small_runs_are_split_so_that_all_workers_share_them(variants, members, least, jobs):
    scenario = pond(members=members, only="few")
    placed = run.jobs_of([Variant(scenario, "few")] * variants, 0, Prior(), least)
    assert len(placed) == jobs
    every = [(place, m) for places, job in placed for place in places for m in range(job.first, job.first + job.members)]
    assert sorted(every) == [(place, m) for place in range(variants) for m in range(members)]
    assert max(job.members * len(places) for places, job in placed) <= run.BLOCK_MEMBERS


def test_the_first_members_are_told_before_all_are_done(whole, monkeypatch):
    monkeypatch.setattr(run, "BLOCK_MEMBERS", 4)
    told = []  # in blocks of two members of both strategies
    scenario = pond(members=5, extra=HARVEST)
    variants = [Variant(scenario, name) for name in scenario.strategies]
    every = list(project_all(variants, early=lambda count, readings: told.append((count, readings))))
    assert [count for count, _ in told] == [2, 4]
    for count, readings in told:
        for some, all_of_it in zip(readings, every, strict=True):
            for name in some:
                np.testing.assert_array_equal(some[name], all_of_it[name][:count], err_msg=name)


def test_a_job_is_a_pure_function_of_what_it_holds():
    job = Job(((pond(), "few"),), 0, 2)
    (one,), (two,) = run_job(job), run_job(job)
    for name in one:
        np.testing.assert_array_equal(one[name], two[name])


def test_strategies_that_are_alike_end_alike_and_others_do_not(whole):
    more = '[[strategies.more.stocking]]\nname = "young_bass"\nspecies = "bass"\ndate = 2026-04-10\n'
    alike = compare(pond(extra="[strategies.more]\n" + more + "per_acre = 30\nlength_in = 6\n"))
    few, many, more = (alike["number"].values[k] for k in range(3))
    np.testing.assert_array_equal(few, more)
    assert not np.array_equal(few, many)
    np.testing.assert_array_equal(alike["water_temperature"].values[0], alike["water_temperature"].values[1])


def test_order_of_strategies_does_not_matter(whole):
    scenario = pond(members=5, extra=HARVEST)
    turned = scenario._replace(strategies=dict(reversed(scenario.strategies.items())))
    again = compare(turned)
    for name in whole.data_vars:
        np.testing.assert_array_equal(whole[name].sel(strategy="few"), again[name].sel(strategy="few"), err_msg=name)


def test_an_interrupted_run_goes_on_from_whole_blocks(whole, monkeypatch):
    monkeypatch.setattr(run, "BLOCK_MEMBERS", 3)
    store, told = Memory(), []

    def stop(done, of):
        told.append((done, of))
        if done >= 5:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        compare(pond(members=5, extra=HARVEST), store=store, progress=stop)
    assert told == [(0, 10), (3, 10), (6, 10)]
    assert len(store.kept) == 2
    ran = []
    monkeypatch.setattr(run, "run_job", lambda job: ran.append(job) or run_job(job))
    assert content_hash(whole) == content_hash(compare(pond(members=5, extra=HARVEST), store=store))
    assert store.loads == 2
    assert len(ran) == 2


def identity(variant, first=0, source=None):
    ((_, job),) = run.jobs_of([variant], first, source or Prior(), 1)
    return job.identities[0]


def test_blocks_are_told_apart_by_all_that_changes_them():
    scenario = pond()
    mine = identity(Variant(scenario, "few"))
    others = [
        identity(Variant(scenario, "many")),
        identity(Variant(scenario, "few"), 3),
        identity(Variant(scenario._replace(ensemble=scenario.ensemble._replace(seed=7)), "few")),
        identity(Variant(pond(members=4), "few")),
        identity(Variant(pond(years=2), "few")),
        identity(Variant(scenario, "few"), source=Prior("weighed")),
        identity(Variant(scenario, "few", scenario.run.start)),
    ]
    assert len({mine, *others}) == 8
    told = scenario._replace(title="other title", note="a note", units="metric")
    assert identity(Variant(told, "few")) == mine


@dataclass(frozen=True)
class Still:
    """A source without doubt."""

    identity: str = "still"

    @property
    def about(self):
        return {"update": "Nothing was learned.", "other": "for no report"}

    def draw(self, scenario, strategy, first, members):
        ensemble = scenario.ensemble._replace(spreads=dict.fromkeys(scenario.ensemble.spreads, 0.0))
        return Prior().draw(scenario._replace(ensemble=ensemble), strategy, first, members)


def test_members_can_come_from_another_source(whole):
    dataset = compare(pond(members=2), source=Still())
    assert dataset.attrs["update"] == "Nothing was learned." and "other" not in dataset.attrs
    biomass = dataset["biomass"].values
    np.testing.assert_array_equal(biomass[:, 0], biomass[:, 1])


def test_a_scenario_altered_to_what_no_file_may_say_is_refused():
    scenario = pond(members=1)
    with pytest.raises(InputError, match=r"pond\.area_ha: got -3.0"):
        compare(scenario._replace(pond=scenario.pond._replace(area_ha=-3.0)))


def test_a_request_to_end_is_heard_while_blocks_are_waited_for():
    """It does not wake what waits (as one that comes as the wait begins does not)."""
    blocks = [Future(), Future()]
    executor = SimpleNamespace(submit=lambda *_: blocks.pop())
    late = Timer(5.0, blocks[0].set_exception, (AssertionError("not heard"),))
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        late.start()
        Timer(0.1, _thread.interrupt_main).start()
        with pytest.raises(KeyboardInterrupt):
            list(run._run([(0, None), (1, None)], executor))
        assert late.is_alive()  # so nothing else ended the wait
    finally:
        signal.signal(signal.SIGINT, before)
        late.cancel()
