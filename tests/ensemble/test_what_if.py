"""What may befall a pond: run with every strategy under the same luck, beside the pond that nothing befalls."""

import numpy as np
import pytest
from ensemble.test_run import BackwardsExecutor, Memory, assert_same
from small import pond, raw

from pondpop import Simulation
from pondpop.decide.sweep import sweep
from pondpop.ensemble import results
from pondpop.ensemble.draws import Prior
from pondpop.ensemble.prepare import prepare
from pondpop.ensemble.results import UNDER_EVENTS, content_hash, under
from pondpop.ensemble.run import compare
from pondpop.model.forcing import water_of_day
from pondpop.scenario import befallen, dump, resolve

EVENTS = """
[what_if.cold]
title = "a cold summer"
[[what_if.cold.spell]]
name = "spell"
from = 2026-06-01
to = 2026-08-31
at_most_c = 20
[what_if.kill]
[[what_if.kill.die_off]]
name = "bass"
species = "bass"
date = 2026-07-01
share = 0.5
[[what_if.kill.fertility_loss]]
from = 2026-06-01
to = 2026-06-30
share = 0.5
"""


@pytest.fixture(scope="module")
def whole():
    return compare(pond(members=3, extra=EVENTS))


def test_strategies_without_an_event_are_as_if_there_were_none(whole):
    plain = compare(pond(members=3))
    assert_same(plain, whole[list(plain.data_vars)])
    assert [str(name) for name in whole["strategy"].values] == ["few", "many"]


def test_with_an_event_they_are_the_ponds_that_it_befalls_under_the_same_luck(whole):
    for name in ("cold", "kill"):
        alone = compare(befallen(pond(members=3, extra=EVENTS), name))
        found = under(whole, name)
        assert_same(found, alone[list(found.data_vars)])
        assert found.attrs["scenario"] == alone.attrs["scenario"]
        assert {*UNDER_EVENTS, "psd"} == set(found.data_vars)
    assert (under(whole, "cold")["biomass"].values != whole["biomass"].values).any()


def test_any_executor_and_kept_blocks_give_the_same_and_an_event_is_part_of_what_is_kept(whole):
    store, executor = Memory(), BackwardsExecutor()
    executor.expected = 3
    assert content_hash(compare(pond(members=3, extra=EVENTS), executor, store=store)) == content_hash(whole)
    assert len(store.kept) == 6
    again = compare(pond(members=3, extra=EVENTS), store=store)
    assert store.loads == 6 and content_hash(again) == content_hash(whole)
    colder = EVENTS.replace("at_most_c = 20", "at_most_c = 19")
    compare(pond(members=3, extra=colder), store=store)
    assert len(store.kept) == 8  # of the colder summer only


def test_a_file_keeps_events(whole, tmp_path):
    results.write(whole, tmp_path / "p.nc")
    stored = results.read(tmp_path / "p.nc")
    assert_same(under(stored, "kill"), under(whole, "kill"))
    assert [str(name) for name in stored["what_if"].values] == ["cold", "kill"]


def test_a_spell_limits_the_water_of_every_member():
    scenario = befallen(pond(members=3, extra=EVENTS), "cold")
    strategy = scenario.strategies["few"]
    inputs = prepare(scenario, strategy, *Prior().draw(scenario, strategy, 0, 3))
    water = water_of_day(inputs)
    unlimited = inputs.water_c + inputs.luck.water_c
    summer = slice(61, 153)  # June to August of a run from 1 April
    assert unlimited[:, summer].min() > 20 and (water[:, summer] == 20).all()
    others = np.delete(np.arange(inputs.days), np.r_[summer])
    np.testing.assert_array_equal(water[:, others], np.maximum(unlimited, 1.0)[:, others])


def test_a_sweep_varies_a_number_of_an_event_and_leaves_events_out_otherwise():
    scenario = pond(members=1, extra=EVENTS, only="few")
    cold = sweep(scenario, {"what_if.cold.spell.spell.at_most_c": [10, 30]})
    usual = sweep(scenario, {"pond.cover": [1.0]})
    bass = [row.bands["bass_standing_crop"][2][-1, 1] for row in (*cold.rows, *usual.rows)]
    assert bass[0] < 0.9 * bass[1] and bass[1] == pytest.approx(bass[2], rel=0.2)
    assert "what_if" not in dump(usual.rows and resolve(raw(only="few")))


def test_a_pond_stepped_by_day_can_have_an_event():
    scenario = pond(members=1, extra=EVENTS, only="few")
    alive = {}
    for event in (None, "kill"):
        stepped = Simulation(scenario, "few", what_if=event)
        stepped.run(until=scenario.run.start.replace(month=7, day=2))
        alive[event] = stepped.number("bass", (300.0, 900.0)).sum()
    assert alive["kill"] == pytest.approx(0.5 * alive[None], rel=0.02)
