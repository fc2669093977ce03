"""A member's bits depend on nothing but the member: not on its block, and not on columns without fish."""

from __future__ import annotations

import numpy as np
import pytest
from laws import EVERYTHING
from small import pond

from pondpop.arrays import logistic, softplus, total
from pondpop.ensemble.draws import Prior
from pondpop.ensemble.prepare import prepare
from pondpop.model import feeding, predation
from pondpop.model.budget import Flows
from pondpop.model.day import Engine
from pondpop.model.grid import GRID_POINTS
from pondpop.model.state import Columns

FIELDS = ("number", "log_weight", "log_length", "ration")
DAYS = 280


def run(first: int, members: int, empty_from: int | None = None) -> Engine:
    """Some members of the ensemble under everything that can happen; from a day on with columns that hold no fish."""
    scenario = pond(100, 1, EVERYTHING)
    strategy = scenario.strategies["few"]
    parameters, luck = Prior().draw(scenario, strategy, first, members)
    engine = Engine(prepare(scenario, strategy, parameters, luck))
    engine.moved = Flows.zero(members)
    for day in range(DAYS):
        if empty_from is not None and day >= empty_from and day % 7 == 0:
            add_empty_columns(engine)
        engine.run_day()
        engine.moved.include(engine.flows)
    return engine


def add_empty_columns(engine: Engine) -> None:
    """Two columns without fish behind those of each species."""
    nothing, day, zeros = np.zeros((1, 2)), np.full((1, 2), float(engine.day)), np.zeros((engine.state.members, 2))
    for species in engine.community.species:
        of = np.repeat(species, 2)
        columns = Columns(of, nothing, nothing, nothing + 0.5, day - 40.0, day - np.inf, np.full((1, 2), -1), nothing)
        engine.state.add(columns, zeros, zeros + 3.0, zeros + 4.5, zeros + 0.065, zeros + 0.5)
    engine.columns_changed()


def fish_of(engine: Engine, member: int) -> list[np.ndarray]:
    """All that one member's pond holds, without columns that are empty in it."""
    s = engine.state
    there = s.number[member] > 0.0
    flows = [getattr(engine.moved, name)[member] for name in Flows.__dataclass_fields__]
    groups = [getattr(s, name)[member, there] for name in FIELDS]
    return [*groups, s.columns.born[member, there], s.food[:, member], s.spawn_gathered[member], s.wariness[member], *flows]


@pytest.fixture(scope="module")
def block() -> Engine:
    return run(0, 40)


@pytest.mark.parametrize("member", [0, 23, 39])
def test_a_member_alone_has_the_bits_it_has_in_a_block(block, member):
    alone = run(member, 1)
    for mine, in_block in zip(fish_of(alone, 0), fish_of(block, member), strict=True):
        np.testing.assert_array_equal(mine, in_block)


def test_small_blocks_have_the_bits_of_large_ones(block):
    few = run(20, 3)
    for k in range(3):
        for mine, in_block in zip(fish_of(few, k), fish_of(block, 20 + k), strict=True):
            np.testing.assert_array_equal(mine, in_block)


def test_columns_without_fish_change_no_bit(block):
    """The pond is not only stocked and fished by then: bass have spawned, some columns have come and gone."""
    padded = run(0, 2, empty_from=50)
    for k in range(2):
        for mine, plain in zip(fish_of(padded, k), fish_of(block, k), strict=True):
            np.testing.assert_array_equal(mine, plain)


def test_closing_up_keeps_every_group_in_its_order_and_leaves_no_gap():
    engine = run(0, 8)
    s, rng = engine.state, np.random.default_rng(3)
    s.number[rng.random(s.number.shape) < 0.4] = 0.0
    s.number[3] = 0.0  # a member without fish
    before = [fish_of(engine, k) for k in range(8)]
    species = [s.columns.species[s.number[k] > 0.0] for k in range(8)]
    assert s.close_up()
    engine.columns_changed()
    for k in range(8):
        for was, now in zip(before[k], fish_of(engine, k), strict=True):
            np.testing.assert_array_equal(now, was)
        np.testing.assert_array_equal(s.columns.species[s.number[k] > 0.0], species[k])
        for groups in engine.slices:
            there = s.number[k, groups] > 0.0
            assert not (there[1:] & ~there[:-1]).any(), "a gap"
    for groups in engine.slices:
        assert groups.start == groups.stop or (s.number[:, groups] > 0.0).any(axis=0).all(), "a column without fish"
    assert not s.close_up()


@pytest.mark.parametrize("members", [1, 2, 3, 8, 64])
@pytest.mark.parametrize("groups", [1, 7, 300])
def test_sums_over_groups_run_in_group_order(members, groups):
    amount = np.random.default_rng(groups).lognormal(0.0, 5.0, (members, groups))

    def one_by_one(row: np.ndarray) -> float:
        total = 0.0
        for value in row.tolist():
            total += value
        return total

    assert total(amount).tolist() == [one_by_one(row) for row in amount]


@pytest.mark.parametrize("function", [np.exp, np.log, np.expm1, np.log1p, np.sqrt, logistic, softplus])
def test_a_function_of_one_number_does_not_depend_on_its_place(function):
    """Vector instructions treat the end of an array apart; the value must be the same."""
    x = np.random.default_rng(1).uniform(1e-3, 30.0, 260)
    whole = function(x)
    for start in range(9):
        for length in (1, 2, 3, 4, 5, 7, 8, 9, 15, 17, 64, 251):
            np.testing.assert_array_equal(function(x[start : start + length].copy()), whole[start : start + length])
            np.testing.assert_array_equal(function(x[start : start + length]), whole[start : start + length])


@pytest.mark.parametrize("function", [np.exp, np.log])
def test_a_function_of_some_numbers_only_gives_the_same(function):
    x = np.random.default_rng(1).uniform(1e-3, 30.0, 260)
    flags = np.arange(x.size) % 3 != 0
    np.testing.assert_array_equal(function(x, out=np.zeros_like(x), where=flags)[flags], function(x)[flags])


def test_products_on_the_grid_are_each_member_s_own():
    rng = np.random.default_rng(2)
    kernel = rng.random((1, GRID_POINTS, 4 * GRID_POINTS))
    prey, load = rng.random((64, 4 * GRID_POINTS)), rng.random((64, GRID_POINTS))
    reach, hunted = predation.prey_within_reach(prey, kernel), predation.search_upon_prey(load, kernel)
    for m in (0, 5, 63):
        row = slice(m, m + 1)
        np.testing.assert_array_equal(predation.prey_within_reach(prey[row].copy(), kernel)[0], reach[m])
        np.testing.assert_array_equal(predation.search_upon_prey(load[row].copy(), kernel)[0], hunted[m])
        own = np.repeat(kernel, 64, axis=0)  # the same kernel given to each member
        np.testing.assert_array_equal(predation.prey_within_reach(prey, own)[m], reach[m])


def test_food_met_on_the_grid_is_each_member_s_own():
    rng = np.random.default_rng(3)
    kind = np.array([0, 0, 1, 3, 3])
    field, eaters = rng.random((kind.size, 64, GRID_POINTS)), rng.random((64, 4 * GRID_POINTS))
    met = feeding.met_by(eaters, field, kind)
    for m in (0, 5, 63):
        row = slice(m, m + 1)
        alone = feeding.met_by(eaters[row].copy(), field[:, row].copy(), kind)
        np.testing.assert_array_equal(alone[:, 0], met[:, m])
    for pair, k in enumerate(kind):
        own = eaters[:, k * GRID_POINTS : (k + 1) * GRID_POINTS]
        np.testing.assert_allclose(met[pair], (field[pair] * own).sum(axis=1), rtol=1e-12)


def test_flows_of_many_days_are_the_sum_of_those_of_each_day_and_alike_in_any_block():
    scenario = pond(100, 1, EVERYTHING)
    strategy, begins = scenario.strategies["few"], (0, 90, 200)

    def many_days(first: int, members: int) -> list[Flows]:
        kept, inputs = [], prepare(scenario, strategy, *Prior().draw(scenario, strategy, first, members))
        engine = Engine(inputs, flows_from=begins)
        for day in range(begins[-1]):
            engine.run_day()
            if day + 1 in begins:
                kept.append(engine.flows)
        return kept

    three, one = many_days(0, 3), many_days(1, 1)
    by_day = Engine(prepare(scenario, strategy, *Prior().draw(scenario, strategy, 0, 3)))
    for whole, alone, start, end in zip(three, one, begins, begins[1:], strict=False):
        summed = Flows.zero(3)
        for _ in range(start, end):
            by_day.run_day()
            summed.include(by_day.flows)
        assert summed.born_number.any() and summed.deaths_number.any()
        for name in Flows.__dataclass_fields__:
            np.testing.assert_allclose(getattr(whole, name), getattr(summed, name), rtol=1e-12, atol=1e-12, err_msg=name)
            np.testing.assert_array_equal(getattr(whole, name)[1:2], getattr(alone, name), err_msg=name)
