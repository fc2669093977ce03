"""Variants share the days on which they are alike, and no bit of any is another for it."""

from __future__ import annotations

import datetime as dt
from dataclasses import fields, replace

import numpy as np
import pytest
from small import pond

from pondpop.ensemble import forks, run
from pondpop.ensemble.draws import Prior
from pondpop.ensemble.forks import parting_day
from pondpop.ensemble.prepare import prepare
from pondpop.ensemble.run import Variant, project_all
from pondpop.ensemble.workers import processes
from pondpop.model.inputs import Inputs
from pondpop.scenario import befallen

TAKE = """
[[strategies.{name}.harvest]]
name = "{take}"
species = "bass"
length_in = [6, 12]
season = ["{season}", "12-20"]
{amount}
"""
BASS = """
[strategies.{name}]
[[strategies.{name}.stocking]]
name = "young_bass"
species = "bass"
date = 2026-04-10
per_acre = 30
length_in = 6
"""
REACTS = 'per_acre = 3\nwhen = {{ any = [{{ quantity = "bass_psd", {limit} }}], fish_sampled = 40 }}\n'
THREE = (
    BASS.format(name="late") + TAKE.format(name="late", take="late", season="08-05", amount="lb_per_acre = 3")
    + BASS.format(name="more") + TAKE.format(name="more", take="late", season="08-05", amount="lb_per_acre = 9")
    + BASS.format(name="fed") + '[[strategies.fed.feeding]]\nlb_per_acre_day = 5\nseason = ["07-01", "09-30"]\n'
    + BASS.format(name="cull")
    + '[[strategies.cull.removal]]\nname = "cull"\nspecies = "bluegill"\ndate = 2026-05-20\nper_acre = 40\n'
    + BASS.format(name="again")
    + '[[strategies.again.stocking]]\nname = "again"\nspecies = "bass"\ndate = 2026-07-10\nper_acre = 9\nlength_in = 8\n'
)  # fmt: skip
OXYGEN = """
[oxygen]
depth_ft = 5
"""
BEFALLS = """
[what_if.hot]
[[what_if.hot.spell]]
name = "hot"
from = 2026-08-01
to = 2026-08-20
at_least_f = 95
[what_if.kill]
[[what_if.kill.die_off]]
name = "kill"
species = "bluegill"
date = 2026-06-20
share = 0.5
"""


FLOOD = """
[[pond.fertility_loss]]
name = "flood"
from = 2026-05-01
to = 2026-11-20
share = 0.4
"""


def every_variant(scenario):
    worlds = [scenario._replace(what_if=()), *(befallen(scenario, one.name) for one in scenario.what_if)]
    return [Variant(world, name) for world in worlds for name in scenario.strategies]


def days_run(monkeypatch):
    """How many days of ponds are stepped, in a list that grows."""
    stepped, step = [], forks.Engine.run_day

    def run_day(engine):
        stepped.append(engine.state.members)
        step(engine)

    monkeypatch.setattr(forks.Engine, "run_day", run_day)
    return stepped


def assert_as_alone(variants, together):
    for variant, readings in zip(variants, together, strict=True):
        (alone,) = project_all([variant])
        assert alone.keys() == readings.keys()
        for name in alone:
            np.testing.assert_array_equal(alone[name], readings[name], err_msg=f"{variant.strategy} {name}")


@pytest.mark.parametrize(
    ("change", "most"),
    [
        ({}, 0.85),
        ({"area_ha": 0.2}, 0.85),  # whole fish
        ({"oxygen_risk": True}, 0.85),
    ],
)
def test_every_strategy_has_the_bits_that_it_has_alone(monkeypatch, change, most):
    scenario = pond(members=2, extra=THREE)
    scenario = scenario._replace(pond=scenario.pond._replace(**change))
    variants = every_variant(scenario)
    stepped = days_run(monkeypatch)
    together = list(project_all(variants))
    alone = 365 * 2 * len(variants)
    assert sum(stepped) < most * alone
    assert_as_alone(variants, together)
    ends = [float(one["end_biomass"].sum()) for one in together]
    assert len(set(ends)) == len(variants)


def test_so_has_it_under_all_that_may_befall_the_pond():
    variants = every_variant(pond(members=2, extra=THREE.partition("[strategies.fed]")[0] + BEFALLS + FLOOD))
    assert_as_alone(variants, list(project_all(variants)))


def test_rules_that_react_learn_of_the_surveys_before_they_part():
    extra = ""
    for name, limit, season in (
        ("early", "above = 5", "05-10"), ("late", "above = 5", "07-01"), ("never", "below = 1", "07-01"),
    ):  # fmt: skip
        extra += BASS.format(name=name) + TAKE.format(name=name, take="take", season=season, amount=REACTS.format(limit=limit))
    scenario = pond(members=3, extra=extra)
    variants = [Variant(scenario, name) for name in ("early", "late", "never")]
    together = list(project_all(variants))
    assert_as_alone(variants, together)
    taken = [float(one["harvest_number"].sum()) for one in together]
    assert taken[1] > 0.0 == taken[2]


def test_no_split_into_workers_changes_a_bit(monkeypatch):
    variants = every_variant(pond(members=3, extra=THREE))
    whole = list(project_all(variants))
    monkeypatch.setattr(run, "BLOCK_MEMBERS", 2)
    with processes(2) as executor:
        again = list(project_all(variants, executor=executor))
    for one, other in zip(whole, again, strict=True):
        for name in one:
            np.testing.assert_array_equal(one[name], other[name], err_msg=name)


def inputs(scenario, strategy, members=2):
    own = scenario.strategies[strategy]
    return prepare(scenario, own, *Prior().draw(scenario._replace(strategies={strategy: own}), own, 0, members))


def test_they_part_on_the_first_day_that_differs():
    scenario = pond(members=2, extra=THREE)

    def day(one, other):
        a, b = inputs(scenario, one), inputs(scenario, other)
        assert parting_day(a, b) == parting_day(b, a)
        return scenario.run.start + dt.timedelta(days=parting_day(a, b))

    assert day("late", "more") == dt.date(2026, 8, 5)
    assert day("late", "fed") == dt.date(2026, 7, 1)
    assert day("late", "cull") == day("again", "cull") == dt.date(2026, 5, 20)
    assert day("again", "late") == dt.date(2026, 7, 10)
    assert day("few", "many") == dt.date(2026, 4, 10)
    assert day("few", "few") == scenario.run.end


def test_under_what_befalls_them_they_part_on_its_first_day():
    scenario = pond(members=2, extra=BEFALLS)
    usual = inputs(scenario._replace(what_if=()), "few")
    parted = {name: parting_day(usual, inputs(befallen(scenario, name), "few")) for name in ("hot", "kill")}
    first = {name: scenario.run.start + dt.timedelta(days=day) for name, day in parted.items()}
    assert first == {"hot": dt.date(2026, 8, 1), "kill": dt.date(2026, 6, 20)}


def test_whatever_is_not_told_by_day_parts_them_from_the_first_day_on():
    one = inputs(pond(members=2), "few")
    for changed in (
        replace(one, area_ha=1.0), replace(one, alkalinity_mg_l=10.0), replace(one, local_growth=1.1 * one.local_growth),
        replace(one, parameters=one.parameters.replace("bass.max_intake_at_1_g", np.array([0.3]))),
        replace(one, luck=replace(one.luck, growth=1.1 * one.luck.growth)),
        replace(one, fertility_at_start=0.5), replace(one, water_c=one.water_c + (np.arange(one.days) > 300)),
        replace(one, whole_below=1.0), replace(one, plants=np.full(one.days, 0.3)),
    ):  # fmt: skip
        assert parting_day(one, changed) == 0
    assert {field.name for field in fields(Inputs)} >= forks.BY_DAY.keys()
