"""What is stated holds: parameters for each member, fertility and cover for each day, hours of each rule, spreads of lengths."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from laws import inputs, plain
from small import raw

from pondpop.model.budget import CAUSES
from pondpop.model.day import Engine
from pondpop.model.forcing import water_of_day
from pondpop.scenario import COLDEST_LIQUID_C, resolve
from pondpop.species import load_parameters

DAYS = 160
OF_YOUNG = {
    "pond.mature_age_years": (0.5, 5.0),
    "pond.female_share": (0.4, 0.6),
    "pond.recruit_age_years": (0.02, 0.09),
    "bluegill.recruit_length_mm": (12.0, 18.0),
    "bluegill.pulse_slot_days": (16.0, 11.0),
    "bass.recruit_delay_days": (3.0, 20.0),
}


def run(parameters, members):
    engine = Engine(replace(inputs(members=members), parameters=parameters))
    for _ in range(DAYS):
        engine.run_day()
    return engine


def fish(engine, member):
    s = engine.state
    there = s.number[member] > 0.0
    names = ("number", "log_weight", "log_length", "ration")
    constant = (np.broadcast_to(part, s.number.shape)[member, there] for part in (s.columns.born, s.columns.female_share))
    return [*(getattr(s, name)[member, there] for name in names), *constant]


@pytest.mark.parametrize("path", OF_YOUNG)
def test_a_parameter_of_the_young_holds_for_each_member(path):
    p, values = load_parameters(), OF_YOUNG[path]
    block = run(p.replace(path, values), 2)
    for member, value in enumerate(values):
        alone = run(p.replace(path, value), 1)
        for mine, in_block in zip(fish(alone, 0), fish(block, member), strict=True):
            np.testing.assert_array_equal(mine, in_block)
    first, second = fish(block, 0), fish(block, 1)
    assert any(a.shape != b.shape or (a != b).any() for a, b in zip(first, second, strict=True)), "the value has no effect"


def test_fertility_and_cover_hold_from_their_day_on():
    base = inputs(members=1)
    change = 60
    for name, value in (("fertility", 0.3), ("cover", 2.0)):
        later = getattr(base, name).copy()
        later[change:] = value
        before, changed = Engine(base), Engine(replace(base, **{name: later}))
        for _ in range(change):
            before.run_day()
            changed.run_day()
        np.testing.assert_array_equal(before.state.food, changed.state.food)
        np.testing.assert_array_equal(before.state.number, changed.state.number)
        for _ in range(40):
            before.run_day()
            changed.run_day()
        assert not np.array_equal(before.state.number, changed.state.number), name


def angled(*rules):
    scenario = raw()
    scenario["angling"] = [
        {"name": name, "hours_per_ha": hours, "death_after_release": share} for name, hours, share in rules
    ]
    return plain(resolve(scenario))


def test_overlapping_rules_of_angling_share_their_deaths_by_hours_whatever_their_order():
    one, other = ("a", 100.0, 0.0), ("b", 1.0, 1.0)
    found, turned = angled(one, other), angled(other, one)
    fishing = found.angling_hours_per_ha > 0.0
    assert fishing.any()
    np.testing.assert_allclose(found.death_after_release[fishing], 1.0 / 101.0, rtol=1e-12)
    np.testing.assert_allclose(turned.death_after_release, found.death_after_release, rtol=1e-12)
    assert (found.death_after_release[~fishing] == 0.0).all()


@pytest.mark.parametrize("species", ["bass", "bluegill", "shad", "minnow", "redear"])
@pytest.mark.parametrize("length_cv", [0.0, 0.03, 0.2])
def test_stocked_fish_have_the_spread_of_lengths_that_is_stated(species, length_cv):
    scenario = raw()
    scenario["stocking"] = [
        {"species": species, "resident": True, "per_ha": 100.0, "length_mm": 60.0, "length_cv": length_cv}
    ]
    for strategy in scenario["strategies"].values():
        strategy["stocking"] = []
    engine = Engine(plain(resolve(scenario)))
    engine.stock()
    s = engine.state
    share = s.number[0] / s.number[0].sum()
    mean = (share * s.log_length[0]).sum()
    variance = (share * (s.spread[0] ** 2 + (s.log_length[0] - mean) ** 2)).sum()
    assert mean == pytest.approx(np.log(60.0), abs=1e-12)
    assert np.sqrt(variance) == pytest.approx(max(length_cv, 1e-3), rel=1e-9)


def test_water_is_that_of_the_day_and_as_much_warmer_as_a_member_has_it_but_for_spells_and_ice():
    expected = inputs(members=3)
    by = np.array([[2.0], [0.0], [-1.5]]) * np.ones(expected.days)
    told = replace(expected, luck=replace(expected.luck, water_c=by), spell_most_c=None, spell_least_c=None)
    warm = np.maximum(expected.water_c + 2.0, COLDEST_LIQUID_C)
    np.testing.assert_allclose(water_of_day(told)[0], np.broadcast_to(warm, (1, expected.days))[0])
    np.testing.assert_allclose(water_of_day(told)[1] - water_of_day(told)[2], 1.5)
    cold = replace(told, water_c=np.zeros_like(expected.water_c), spell_most_c=np.full(expected.days, 1.5))
    np.testing.assert_allclose(water_of_day(cold)[:, 0], [1.5, COLDEST_LIQUID_C, COLDEST_LIQUID_C])


def test_what_the_last_few_fish_of_a_group_weigh_is_in_the_books():
    engine = Engine(inputs(members=2))
    for _ in range(40):
        engine.run_day()
    engine.ledger.cast_up(engine, engine.flows)
    least, crop = engine.parameters.group_min_per_ha[:, None], engine.state.biomass().sum(axis=1)
    engine.state.number[:, ::2] = np.minimum(engine.state.number[:, ::2], 0.9 * least)
    few, before = engine.state.biomass()[:, ::2].sum(axis=1), engine.flows.deaths_biomass.copy()
    assert (few > 0.0).all() and (crop > few).all()
    engine.forget_empty()
    engine.ledger.cast_up(engine, engine.flows)
    gone = (engine.flows.deaths_biomass - before)[..., CAUSES.index("last_few")].sum(axis=1)
    np.testing.assert_allclose(gone, few, rtol=1e-9)
