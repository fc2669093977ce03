"""Luck of whole fish: a half-acre pond of ten bass, whose fish are whole, whose means stay, and whose luck is its own."""

import tomllib
import warnings
from dataclasses import replace

import numpy as np
import pytest

from pondpop.ensemble.draws import Prior
from pondpop.ensemble.prepare import prepare
from pondpop.ensemble.side_by_side import side_by_side
from pondpop.model import whole_fish
from pondpop.model.budget import CAUSES, Flows
from pondpop.model.day import Engine
from pondpop.model.inputs import RemovalInput
from pondpop.scenario import SPREADS, resolve
from pondpop.species import SPECIES

BASS = SPECIES.index("bass")
TEN_BASS = """
title = "ten bass"
[pond]
area_acres = 0.5
fertility = "fertilized"
[water]
climate = "deep_south"
[run]
start = 2026-04-01
years = 1
[[stocking]]
name = "ten"
species = "bass"
resident = true
count = 10
length_in = 12
[strategies.only]
[[strategies.only.harvest]]
name = "few"
species = "bass"
length_in = [8, 30]
share = 0.3
season = ["04-10", "05-20"]
"""
HAULED = """
[[stocking]]
name = "hauled"
species = "shad"
date = 2026-08-01
count = 40
length_in = 3.5
haul_hours = 72
from_water_c = 5.0
tempered = false
salted = false
"""


def inputs(members, first=0, whole=50.0, text=TEN_BASS, name="only"):
    raw = tomllib.loads(text)
    raw["ensemble"] = {"members": members, "spread": dict.fromkeys(SPREADS, 0.0) | {"whole_fish": whole}}
    scenario = resolve(raw)
    strategy = scenario.strategies[name]
    return prepare(scenario, strategy, *Prior().draw(scenario, strategy, first, members))


def run(given, days=60):
    """The engine after so many days, what moved until then, and the fish of the first stocking by day [day, member, group]."""
    engine, flows, ten = Engine(given), Flows.zero(given.members), []
    while engine.day < days:
        engine.run_day()
        flows.include(engine.flows)
        here = np.where(engine.state.columns.origin == 0, engine.state.number, 0.0) * given.area_ha
        ten.append(here[:, engine.slices[0]].sum(axis=1))
    return engine, flows, np.array(ten)


@pytest.fixture(scope="module")
def lucky():
    return run(inputs(250))


@pytest.fixture(scope="module")
def expected():
    return run(inputs(1, whole=0.0))


def test_fish_are_whole_and_never_come_back(lucky, expected):
    _, _, ten = lucky
    np.testing.assert_allclose(ten, np.round(ten), atol=1e-9)
    assert (np.diff(ten, axis=0) <= 1e-9).all() and (ten[0] <= 10.0 + 1e-9).all()
    assert np.unique(np.round(ten[-1])).size >= 5  # some ponds have kept most of them, others few
    assert abs(expected[2][-1, 0] % 1.0 - 0.5) < 0.49  # without luck they are no whole number


def test_means_stay(lucky, expected):
    for got, wanted in (
        (lucky[2][-1], expected[2][-1, 0]),
        (lucky[2][19], expected[2][19, 0]),
        (lucky[1].harvest_number[:, 0], expected[1].harvest_number[0, 0]),
        (lucky[1].deaths_number[:, 0, CAUSES.index("background")], expected[1].deaths_number[0, 0, CAUSES.index("background")]),
    ):
        error = got.std(ddof=1) / np.sqrt(got.size)
        assert abs(got.mean() - wanted) < 3.5 * error, (got.mean(), wanted, error)
        assert error < 0.1 * abs(wanted)


def test_deaths_spread_as_those_of_single_fish(lucky):
    """Ten fish of which each lives with the same chance p: a variance of 10·p·(1 − p)."""
    alive = lucky[2][-1]
    p = alive.mean() / 10.0
    assert alive.var(ddof=1) == pytest.approx(10.0 * p * (1.0 - p), rel=0.3)


def test_the_books_of_fish_and_weight_close(lucky):
    engine, f, _ = lucky
    fish = np.stack([engine.state.number[:, s].sum(axis=1) for s in engine.slices], axis=1)
    kilograms = np.stack([engine.state.biomass()[:, s].sum(axis=1) for s in engine.slices], axis=1)
    np.testing.assert_allclose(f.stocked_number + f.born_number - f.deaths_number.sum(axis=2), fish, atol=1e-6)
    moved = f.stocked_biomass + f.born_biomass + f.growth_biomass - f.spawning_biomass - f.deaths_biomass.sum(axis=2)
    np.testing.assert_allclose(moved, kilograms, atol=1e-8)


def test_each_cause_takes_whole_fish():
    winter = TEN_BASS.replace("start = 2026-04-01", "start = 2026-11-01").replace("04-10", "11-10").replace("05-20", "12-20")
    given = inputs(40, text=winter)
    _, flows, _ = run(given)
    dead = flows.deaths_number[:, 0] * given.area_ha
    np.testing.assert_allclose(dead, np.round(dead), atol=1e-8)
    assert (dead >= -1e-9).all()
    assert (dead[:, CAUSES.index("harvest")] > 0).any() and (dead[:, CAUSES.index("background")] > 0).any()


def test_a_lot_of_which_none_lives_leaves_no_fish_and_no_weight():
    """Hauled so long that the share left is nought in the machine's numbers."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        engine = Engine(inputs(3, text=TEN_BASS + HAULED))
        while engine.day < 200:
            engine.run_day()
    assert np.isfinite(engine.state.number).all() and np.isfinite(engine.state.biomass()).all()
    shad = engine.slices[SPECIES.index("shad")]
    assert engine.state.number[:, shad].sum() == 0.0 and engine.state.biomass()[:, shad].sum() == 0.0


def test_the_same_bits_for_any_split():
    whole, _, ten = run(inputs(9), 120)
    assert (whole.state.number[:, :6] == 0.0).any()  # groups have died out, so that columns close up otherwise elsewhere
    for first, count in ((0, 1), (1, 1), (2, 5), (7, 1), (8, 1)):
        part, _, ten_of_part = run(inputs(count, first), 120)
        np.testing.assert_array_equal(ten[:, first : first + count], ten_of_part)
        for k in range(count):
            a, b = whole.state.number[first + k], part.state.number[k]
            np.testing.assert_array_equal(a[a > 0.0], b[b > 0.0])


def test_strategies_share_their_luck():
    more = TEN_BASS + '[strategies.fed]\n[[strategies.fed.feeding]]\nname = "f"\nlb_per_acre_day = 0.001\n'
    alone, fed = (run(inputs(30, text=more, name=name), 100)[2][-1] for name in ("only", "fed"))
    rule = TEN_BASS[TEN_BASS.index("[[strategies.only.harvest]]") :].replace("only", "fed").replace("0.3", "0.302")
    harvested_too = more.replace("[strategies.fed]\n", f"[strategies.fed]\n{rule}")
    nearly = run(inputs(30, text=harvested_too, name="fed"), 100)[2][-1]
    assert np.mean(nearly == alone) > 0.8 and np.mean(np.roll(nearly, 1) == alone) < 0.6
    assert (fed >= alone).all()  # without a harvest none dies that lives with one


def test_members_side_by_side_are_those_alone():
    both = Engine(side_by_side([inputs(3), inputs(3)]))
    alone = run(inputs(3), 50)[0]
    while both.day < 50:
        both.run_day()
    for k in range(6):
        a, b = both.state.number[k], alone.state.number[k % 3]
        np.testing.assert_array_equal(a[a > 0.0], b[b > 0.0])


def test_a_removal_touches_no_pond_of_another_strategy():
    """Even where a removal of its own has left a part of a fish, which only the end of the day makes whole."""
    given = inputs(3)
    event = RemovalInput(0, BASS, 1.0, 900.0, "share", 0.3, "removal")
    engine = Engine(side_by_side([replace(given, removals=(event,)), replace(given, removals=())]))
    engine.stock()
    engine.state.number[engine.state.number > 0.0] = 2.4 / given.area_ha
    before = engine.state.number.copy()
    engine.remove(engine.inputs.removals)
    np.testing.assert_array_equal(engine.state.number[3:], before[3:])
    assert (engine.state.number[:3] != before[:3]).any()


def test_few_fish_are_dealt_their_sex():
    given = inputs(300, text=TEN_BASS.replace("count = 10", "count = 2"))
    engine = Engine(given)
    engine.stock()
    s = engine.state
    females = (s.number * (s.columns.sex > 0)).sum(axis=1) * given.area_ha
    shares = np.bincount(np.round(females).astype(int), minlength=3) / 300
    assert shares == pytest.approx([0.25, 0.5, 0.25], abs=0.08)
    np.testing.assert_allclose(s.number.sum(axis=1) * given.area_ha, 2.0)


def test_a_larger_pond_and_one_without_this_luck_have_none():
    assert inputs(2).luck.whole is not None
    assert inputs(2, whole=0.0).luck.whole is None
    assert inputs(2, text=TEN_BASS.replace("area_acres = 0.5", "area_acres = 1.1")).luck.whole is None


def test_the_numbers_are_even_and_of_their_own():
    engine = Engine(inputs(400))
    of = np.arange(50, dtype=np.uint64)[None, :]
    u, other = whole_fish.uniforms(engine, of, 0), whole_fish.uniforms(engine, of, 0, part=1)
    engine.day = 1
    later = whole_fish.uniforms(engine, of, 0)
    counts = np.histogram(u, 20, (0.0, 1.0))[0]
    assert ((counts - 1000.0) ** 2 / 1000.0).sum() < 50.0  # chi-squared of 19 degrees of freedom: 1 in 10,000
    for one in (other, later, np.roll(u, 1, axis=0), np.roll(u, 1, axis=1)):
        assert abs(np.corrcoef(u.ravel(), one.ravel())[0, 1]) < 0.03
