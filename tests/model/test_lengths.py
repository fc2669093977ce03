"""The spread of lengths within a group: windows, cuts, weights by length, and removals held to fish counted one by one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from laws import EVERYTHING, inputs
from small import pond

from pondpop.decide.goals import bass_above
from pondpop.ensemble.prepare import prepare, run_days
from pondpop.ensemble.run import compare
from pondpop.model import lengths
from pondpop.model.day import Engine
from pondpop.model.inputs import Inputs, Luck, RemovalInput
from pondpop.model.state import SpreadFactors
from pondpop.observe.observers import read_survey
from pondpop.species import SPECIES, load_parameters
from pondpop.units import G_PER_LB

BASS, BLUEGILL = (SPECIES.index(name) for name in ("bass", "bluegill"))

SLOPE = 3.2
EDGES = st.floats(min_value=-3.0, max_value=3.0)


def shape(mean=6.0, spread=0.065, low=-lengths.UNCUT, high=lengths.UNCUT) -> lengths.Shape:
    return lengths.shape(*(np.array([[value]]) for value in (mean, spread, low, high)))


def fish_of(group: lengths.Shape, count: int = 200_001) -> tuple[np.ndarray, np.ndarray]:
    """Log lengths of fish of a group, evenly spaced, and how many there are of each (they add up to 1, none is above 1e-4)."""
    z = np.linspace(max(group.low.item(), -8.0), min(group.high.item(), 8.0), count)
    number = np.exp(-0.5 * z**2)
    number[[0, -1]] *= 0.5
    return group.middle.item() + group.sd.item() * z, number / number.sum()


GROUPS = {
    "uncut": shape(),
    "cut above": shape(high=0.4),
    "cut below": shape(low=-0.3),
    "cut at both ends": shape(low=-1.0, high=0.5),
    "a tail": shape(high=-3.0),
}


@pytest.mark.parametrize("name", GROUPS)
def test_mean_and_spread_of_a_group_are_those_of_its_fish(name):
    x, number = fish_of(GROUPS[name])
    mean = (number * x).sum()
    assert mean == pytest.approx(6.0, abs=1e-6)
    assert np.sqrt((number * (x - mean) ** 2).sum()) == pytest.approx(0.065, rel=1e-4)


@pytest.mark.parametrize("name", GROUPS)
@given(at=EDGES)
@settings(max_examples=20)
def test_shares_of_fish_and_weight_are_those_of_fish_counted_one_by_one(name, at):
    group, edge = GROUPS[name], 6.0 + 0.065 * at
    x, number = fish_of(group)
    weight = number * np.exp(SLOPE * x)
    weight /= weight.sum()
    assert lengths.share_longer(group, edge).item() == pytest.approx(number[x > edge].sum(), abs=1e-4)
    assert lengths.share_longer(group, edge, SLOPE).item() == pytest.approx(weight[x > edge].sum(), abs=1e-4)


@pytest.mark.parametrize("name", GROUPS)
def test_fish_of_a_length_weigh_such_that_the_group_has_its_mean_weight(name):
    group = GROUPS[name]
    x, number = fish_of(group)
    weights = np.log([90.0, 100.0, 130.0])
    at = [lengths.log_length_of_weight(group, np.log(100.0), w, SLOPE).item() for w in weights]
    of_fish = np.exp(SLOPE * (x - at[1])) * 100.0
    assert (number * of_fish).sum() == pytest.approx(100.0, rel=1e-4)
    np.testing.assert_allclose(np.diff(at), np.diff(weights) / SLOPE, rtol=1e-9)


@pytest.mark.parametrize("name", GROUPS)
@given(edges=st.tuples(EDGES, EDGES).map(sorted), share=st.sampled_from([0.0, 1e-6, 0.1, 0.5, 0.99, 1.0]))
@settings(max_examples=30)
def test_what_a_removal_leaves_is_what_is_left_of_fish_counted_one_by_one(name, edges, share):
    group = GROUPS[name]
    a, b = (6.0 + 0.065 * z for z in edges)
    left = lengths.left_by_window(group, a, b, np.array([[share]]), SLOPE)
    assert (left.spread > 0.0).all() and (left.low <= left.high).all()
    x, before = fish_of(group)
    number = before * np.where((x > a) & (x < b), 1.0 - share, 1.0)
    weight = before * np.exp(SLOPE * x)
    assert left.number.item() == pytest.approx(number.sum(), abs=1e-4)
    assert left.weight.item() == pytest.approx((number * np.exp(SLOPE * x)).sum() / weight.sum(), abs=1e-4)
    if number.sum() > 0.02:
        mean = (number * x).sum() / number.sum()
        variance = (number * (x - mean) ** 2).sum() / number.sum()
        assert 6.0 + left.longer.item() == pytest.approx(mean, abs=0.01 * 0.065)
        assert left.spread.item() * 0.065 == pytest.approx(np.sqrt(variance), rel=0.01)


def test_to_take_nothing_changes_no_bit():
    for high in np.linspace(-3.0, 3.0, 50):
        left = lengths.left_by_window(shape(high=high), 5.9, 6.05, np.zeros((1, 1)), SLOPE)
        assert [float(np.squeeze(part)) for part in left] == [1.0, 1.0, 0.0, 1.0, -lengths.UNCUT, high]


def test_fish_that_were_all_taken_are_not_there_again():
    group, top = shape(), 6.0 + 0.065
    left = lengths.left_by_window(group, top, 9.0, np.array([[1.0]]), SLOPE)
    after = lengths.shape(6.0 + left.longer, 0.065 * left.spread, left.low, left.high)
    assert lengths.share_longer(after, top).item() == 0.0
    assert lengths.share_longer(after, top - 0.001).item() > 0.0
    np.testing.assert_allclose(after.sd, 0.065, rtol=1e-9)  # below the cut the fish are where they were
    np.testing.assert_allclose(after.middle, 6.0, rtol=1e-12)


def bass_in_a_pond(removals: list[RemovalInput]) -> Inputs:
    """Bass of about 12 in, more of them in some growth types, beside bluegill; no luck."""
    scenario = pond(1, 1, "")
    strategy = scenario.strategies["few"]
    bass = """
[[stocking]]
name = "adults"
species = "bass"
resident = true
per_acre = 20
length_in = 12
length_cv = 0.12
"""
    scenario = pond(1, 1, bass)
    strategy = scenario.strategies["few"]
    luck = Luck.none(1, run_days(scenario), scenario.run.last_year, len(strategy.stocking))
    return replace(prepare(scenario, strategy, load_parameters(), luck), removals=tuple(removals))


def taken_and_left(days: range, share: float, shortest_in: float = 15.0, longest_in: float = 35.0):
    """Bass taken in all, those in the window at the first removal, and at each day's end, those there without any."""
    inch = 25.4
    removals = [RemovalInput(d, BASS, shortest_in * inch, longest_in * inch, "share", share, "removal") for d in days]
    fished, free = Engine(bass_in_a_pond(removals)), Engine(bass_in_a_pond([]))

    def inside(engine):
        groups = engine.slices[BASS]
        between = engine.longer(groups, shortest_in * inch) - engine.longer(groups, longest_in * inch)
        return (engine.state.number[:, groups] * between).sum()

    taken, grams, there = 0.0, 0.0, None
    for day in range(days.stop):
        if day == days.start:
            there = inside(fished)
        fished.run_day()
        free.run_day()
        taken += fished.flows.removed_number[0, BASS]
        grams += 1000.0 * fished.flows.removed_biomass[0, BASS]
    return taken, grams, there, inside(fished), inside(free)


def there_or_growing_in(days: range, shortest_in: float) -> float:
    """Bass that are so long at the first of these days, or that grow so long by the last as their group does where all of
    that length are taken."""
    long = shortest_in * 25.4
    taken = [RemovalInput(d, BASS, long, 35.0 * 25.4, "share", 1.0, "removal") for d in days]
    fished, free = Engine(bass_in_a_pond(taken)), Engine(bass_in_a_pond([]))
    for _ in range(days.start):
        fished.run_day()
        free.run_day()

    def grown(engine):
        """Growth of log length so far of the stocked groups, by what tells these from one another."""
        own, c, shape = engine.slices[BASS], engine.state.columns, engine.state.number.shape
        told = [np.broadcast_to(part, shape)[0, own].tolist() for part in (c.origin, c.sex, c.growth_z)]
        every = list(zip(*told, strict=True))
        return {key: (k, float(engine.state.grown[0, own][k])) for k, key in enumerate(every) if key[0] >= 0}

    before, number = grown(fished), free.state.number[0, free.slices[BASS]].copy()
    for _ in days:
        fished.run_day()
    after = grown(fished)
    so_long = 0.0
    for key, (k, _) in grown(free).items():
        gain = after[key][1] - before[key][1]
        so_long += number[k] * free.longer(free.slices[BASS], long * np.exp(-gain))[0, k]
    return float(so_long)


def test_twenty_days_of_taking_all_large_bass_take_what_is_there_and_what_grows_in():
    days = range(90, 110)  # July: there is young bluegill to grow on
    taken, grams, there, left, _ = taken_and_left(days, 1.0)
    assert there > 1.0
    assert 0.95 * there < taken < 1.02 * there_or_growing_in(days, 15.0)
    assert left < 0.05 * there
    of_15_in = 10.0 ** (-5.528 + 3.273 * np.log10(381.0))  # standard weight, Henson 1991
    assert 0.8 * of_15_in < grams / taken < 1.3 * of_15_in


def test_twenty_days_of_a_slot_take_no_more_than_were_there_and_grew_in():
    taken, _, there, left, free = taken_and_left(range(12, 32), 1.0, 12.0, 15.0)
    assert taken < 1.1 * (there + max(0.0, free - there)) + 0.1 * there
    assert left < 0.1 * there


def test_classes_add_up_to_groups_and_weigh_what_their_fish_weigh():
    engine = Engine(inputs())
    for _ in range(200):
        engine.run_day()
    survey = read_survey(engine)
    for species, groups in enumerate(engine.slices):
        np.testing.assert_allclose(
            survey["number"][:, species].sum(axis=-1), engine.state.number[:, groups].sum(axis=1), rtol=1e-9
        )
        np.testing.assert_allclose(
            survey["biomass"][:, species].sum(axis=-1), engine.state.biomass()[:, groups].sum(axis=1), rtol=1e-9
        )
    number, kilograms, wr = (survey[name][0, BLUEGILL, 3:10] for name in ("number", "biomass", "relative_weight"))
    middle_mm = (np.arange(3, 10) + 0.5) * 25.4
    standard = 10.0 ** (-5.374 + 3.316 * np.log10(middle_mm))  # Hillman 1982
    some = number > 1e-3
    assert some.sum() > 3
    np.testing.assert_allclose(1000.0 * kilograms[some] / number[some], (standard * wr / 100.0)[some], rtol=0.2)


def test_more_bass_are_above_a_smaller_weight_whatever_the_weights():
    scenario = pond(4, 2, EVERYTHING)
    dataset = compare(scenario)
    weights = np.sort(np.concatenate([np.linspace(0.2, 12.0, 60), [5.0, 8.0, 10.0, 4.99, 5.01, 7.99, 8.01]])) * G_PER_LB
    above = np.stack([bass_above(dataset, grams) for grams in weights])
    assert (np.diff(above, axis=0) <= 1e-12).all()
    assert above[0].max() > 0.0


def test_what_bass_choose_by_length_leaves_the_others():
    """One group in a field of deaths that rises with length, held to its fish counted one by one over a month."""
    mean, variance, rise, days = 4.6, 0.065**2, 0.9, 30
    x = np.linspace(4.0, 5.2, 4001)
    number = np.exp(-0.5 * (x - mean) ** 2 / variance)
    for _ in range(days):
        number = number * np.exp(-(0.05 + rise * (x - 4.5)))
    left = (number * x).sum() / number.sum()
    spread = np.sqrt((number * (x - left) ** 2).sum() / number.sum())
    assert left == pytest.approx(mean - variance * rise * days, rel=1e-6)  # the rule of `mortality`
    assert spread == pytest.approx(0.065, rel=1e-6)


def test_predation_moves_the_mean_and_leaves_fish_of_a_length_at_their_weight():
    engine = Engine(inputs(""), keep_books=True)
    for _ in range(150):
        engine.run_day()
    s, groups, slope = engine.state, engine.slices[BLUEGILL], engine.group.ws_slope
    mean, grown, condition = s.log_length.copy(), s.grown.copy(), engine.log_condition()
    engine.step()
    lengthened = s.grown - grown
    moved = (s.log_length - mean - lengthened)[:, groups]
    assert np.abs(moved).max() > 1e-5
    by_growth = engine.books[-1].growth - slope * lengthened
    np.testing.assert_allclose((engine.log_condition() - condition)[:, groups], by_growth[:, groups], atol=1e-9)


def test_predation_moves_the_mean_of_a_group_by_half_its_spread_at_most():
    spread = np.array([[0.02, 0.1]])
    of_groups = SpreadFactors(spread, np.full((1, 2), SLOPE))
    np.testing.assert_allclose(of_groups.most_moved, [[0.01, 0.05]])
    np.testing.assert_allclose(of_groups.least_moved, [[-0.01, -0.05]])
