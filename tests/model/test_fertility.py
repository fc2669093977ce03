"""Fertility follows what the pond is given, sooner upward than downward."""

from dataclasses import replace

import numpy as np
import pytest
from reference import scalar_day
from small import pond

from pondpop.ensemble.draws import Prior
from pondpop.ensemble.prepare import prepare
from pondpop.model.day import Engine
from pondpop.model.fertility import course, response
from pondpop.species import load_parameters

P = load_parameters()
RISE, FALL = P.fertility_rise_days[0], P.fertility_fall_days[0]


def inputs_of(years=3, **changes):
    scenario = pond(members=2, years=years)
    strategy = scenario.strategies["few"]
    return replace(prepare(scenario, strategy, *Prior().draw(scenario, strategy, 0, 2)), **changes)


def target(*steps, days=1096):
    made = np.empty(days)
    for first, value in steps:
        made[first:] = value
    return made


def test_a_pond_that_nothing_changes_is_as_it_was_to_the_bit():
    inputs = inputs_of()
    assert (course(P, inputs) == inputs.fertility[:, None]).all()
    same = replace(inputs, fertility_lost=np.zeros(inputs.days))
    assert (course(P, same) == inputs.fertility[:, None]).all()


def test_it_comes_63_per_cent_nearer_in_its_days_upward_and_downward():
    up = course(P, inputs_of(fertility=target((0, 1.0)), fertility_at_start=0.35))[:, 0]
    assert (1.0 - up[round(RISE)]) / 0.65 == pytest.approx(np.exp(-1.0), rel=1e-9)
    down = course(P, inputs_of(fertility=target((0, 0.35)), fertility_at_start=1.0))[:, 0]
    assert (down[round(FALL)] - 0.35) / 0.65 == pytest.approx(np.exp(-1.0), rel=1e-9)
    assert RISE < FALL and (np.diff(up) > 0).all() and (np.diff(down) < 0).all()


def test_after_three_years_a_pond_that_is_no_longer_fertilised_is_as_if_it_never_was():
    down = course(P, inputs_of(fertility=target((0, 0.35)), fertility_at_start=1.0))[:, 0]
    of_year = [down[365 * k : 365 * (k + 1)].mean() for k in range(3)]  # Swingle, Gooch & Rabanal 1963, as seen in a summary
    assert 0.6 < of_year[0] < 0.9 and 0.4 < of_year[1] < 0.7 and of_year[2] < 1.1 * 0.35


def test_a_loss_is_gone_at_once_and_comes_back_as_a_response():
    lost = np.zeros(1096)
    lost[100:200] = 0.6
    found = course(P, inputs_of(fertility_lost=lost))[:, 0]
    assert found[99] == 1.0 and found[100:200] == pytest.approx(0.4)
    assert (1.0 - found[199 + round(RISE)]) / 0.6 == pytest.approx(np.exp(-1.0), rel=1e-9)


def test_the_engine_lives_by_it_and_so_does_the_plain_day():
    inputs = inputs_of(years=1, fertility=target((0, 1.0), (50, 0.5), days=365))
    engine, plain = Engine(inputs), 1.0
    for day in range(80):
        engine.run_day()
        plain = scalar_day.fertility_after(plain, inputs.fertility[day + 1], scalar_day.one_member(P))
        expected = plain * inputs.luck.productivity[:, 0]
        np.testing.assert_allclose(engine.fertility, expected, rtol=1e-12)
    assert plain < 0.96


def test_members_may_differ_in_how_soon():
    slow = P.replace("pond.fertility_fall_days", [250.0, 330.0])
    found = course(slow, inputs_of(fertility=target((0, 0.35)), fertility_at_start=1.0))
    assert found.shape == (1096, 2) and (found[1:, 0] < found[1:, 1]).all()


def soft(alkalinity, limings=()):
    return course(P, inputs_of(alkalinity_mg_l=alkalinity, limings=limings))[:, 0]


def test_fertilizer_does_less_in_soft_water_and_as_much_where_alkalinity_suffices():
    assert (soft(20.0) == 1.0).all() and (soft(200.0) == 1.0).all()
    assert soft(8.0) == pytest.approx(0.35 + 0.65 * (8 / 20) ** P.value("pond.alkalinity_exponent")[0])
    own = course(P, inputs_of(fertility=target((0, 0.35)), fertility_at_start=0.35, alkalinity_mg_l=8.0))
    assert (own == 0.35).all()  # what the pond has without fertilizer stays


def test_lime_lifts_a_soft_pond_and_is_flushed_out_within_years():
    limed = soft(8.0, ((100, 4.5),))
    assert (limed[:100] == limed[0]).all() and limed[400] > limed[0] + 0.1
    given = response(P, inputs_of(alkalinity_mg_l=8.0, limings=((100, 0.2), (500, 0.1))))[:, 0]
    more = given ** (1.0 / P.alkalinity_exponent[0]) * P.alkalinity_enough_mg_l[0] - 8.0
    left = 0.2 * np.exp(-np.arange(996) / P.lime_days[0])
    left[400:] += 0.1 * np.exp(-np.arange(596) / P.lime_days[0])
    np.testing.assert_allclose(more, [*np.zeros(100), *(left * P.lime_mg_l_per_t_per_ha[0])], rtol=1e-9, atol=1e-9)
    assert (soft(30.0, ((100, 4.5),)) == 1.0).all()


def test_rules_give_the_level_of_each_day():
    rules = "[[fertilization]]\nlevel = 'unfertilized'\nfrom = 2026-06-01\nto = 2026-12-31\n"
    scenario = pond(members=1, years=2, extra=rules)
    strategy = scenario.strategies["few"]
    inputs = prepare(scenario, strategy, *Prior().draw(scenario, strategy, 0, 1))
    found = course(P, inputs)[:, 0]
    assert inputs.fertility[60] == 1.0 and inputs.fertility[61] == 0.35 and inputs.fertility[275] == 1.0
    assert (found[:61] == 1.0).all() and (np.diff(found[61:275]) < 0).all() and found[-1] > 0.98
