"""Laws that hold for any pond: the books of fish, weight and energy close, group by group and day by day."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from laws import EVERYTHING, inputs, respired
from small import pond

from pondpop.ensemble.prepare import prepare, run_days
from pondpop.model import bioenergetics, grid
from pondpop.model.day import Engine
from pondpop.model.inputs import Luck
from pondpop.model.state import of_foods
from pondpop.species import SPECIES, load_parameters

BASS = SPECIES.index("bass")


@pytest.fixture(scope="module")
def books():
    engine = Engine(inputs(), keep_books=True)
    for _ in range(250):
        engine.run_day()
    assert engine.books
    return engine.books


def test_deaths_by_cause_account_for_every_fish(books):
    for page in books:
        total = sum(page.rates.values())
        deaths = sum(page.number * rate * page.alive * page.length for rate in page.rates.values())
        left = page.number * np.exp(-total * page.length)
        np.testing.assert_allclose(page.number - deaths, left, rtol=1e-12, atol=1e-12)
        assert all((rate >= 0.0).all() for rate in page.rates.values())


def test_what_bass_ate_is_what_predation_took(books):
    eaten_somewhere = False
    for page in books:
        kind = page.columns.species
        died = page.number * page.weight / 1000.0 * page.weight_rates["predation"] * page.weight_alive
        bass = page.number[:, kind == BASS] * page.weight[:, kind == BASS] / 1000.0
        np.testing.assert_allclose((bass * page.ate_fish).sum(axis=1), died.sum(axis=1), rtol=1e-9, atol=1e-14)
        eaten_somewhere |= bool((died.sum(axis=1) > 1e-3).any())
    assert eaten_somewhere


def test_food_eaten_is_food_that_left_the_pond(books):
    for page in books:
        biomass = page.number * page.weight / 1000.0
        for r, wished in enumerate(page.ate_food):
            taken = (wished * biomass).sum(axis=1) * page.length
            growth = page.food_after[:, r] - page.food[:, r] + taken
            # What is not eaten renews: back towards capacity, never past it.
            capacity = of_foods(load_parameters(), "capacity_kg_per_ha")[r]
            assert (growth >= -1e-12).all()
            assert (page.food_after[:, r] <= capacity + 1e-9).all()


def test_energy_eaten_is_spent_or_grown(books):
    p, water_c = load_parameters(), inputs().water_c[0]
    for day in range(0, len(books), 7):
        page = books[day]
        kind = page.columns.species
        eaten = (page.ate_food * of_foods(p, "energy_j_per_g")[: len(page.ate_food), :, None]).sum(axis=0)
        eaten[:, kind == BASS] += page.ate_fish * p.prey_fish_energy_j_per_g
        eaten += page.ate_pellets * p.pellet_energy_j_per_g
        kept = (1 - p.egested_share) * (1 - p.excreted_share - p.digestion_cost_share)
        rise = p.body_energy_exponent[0, BASS]
        held = np.broadcast_to(p.body_energy_j_per_g[0, kind], page.weight.shape).copy()
        held[:, kind == BASS] *= (1.0 + rise) * (page.weight[:, kind == BASS] / 100.0) ** rise
        grown = (page.growth + page.refused) * held
        free = eaten * kept[0, kind] - respired(page, float(water_c[day]))
        np.testing.assert_allclose(grown, free, rtol=1e-9, atol=1e-6)


def test_no_limit_on_growth_is_reached_by_more_than_a_trace(books):
    refused = sum(
        (np.abs(page.refused) * page.number * page.weight).sum() for page in books
    )
    grown = sum((np.abs(page.growth) * page.number * page.weight).sum() for page in books)
    assert refused < 0.02 * grown


def test_luck_and_local_knowledge_multiply_what_they_say():
    """Twice the luck of growth is twice the intake, of deaths twice the deaths; local survival divides them."""
    plain, twice = inputs(), np.full(len(SPECIES), 2.0)
    luck = replace(plain.luck, growth=plain.luck.growth * [[2.0], [1.0]])
    luck = replace(luck, background_deaths=luck.background_deaths * np.array([3.0, 1.0])[:, None, None])
    engines = [
        Engine(plain, keep_books=True),
        Engine(replace(plain, luck=luck), keep_books=True),
        Engine(replace(plain, local_growth=twice, local_survival=2.0 * twice), keep_books=True),
    ]
    for engine in engines:
        engine.run_day()
    intake = [bioenergetics.max_intake(engine) for engine in engines]
    weight = [engine.state.log_weight for engine in engines]
    exponent = engines[0].group.max_intake_exponent
    at_1_g = [i / np.exp(exponent * w) for i, w in zip(intake, weight, strict=True)]
    np.testing.assert_allclose(at_1_g[1], at_1_g[0] * [[2.0], [1.0]], rtol=1e-12)
    np.testing.assert_allclose(at_1_g[2], 2.0 * at_1_g[0], rtol=1e-12)
    died = [engine.books[0].rates["background"] for engine in engines]
    assert (died[0] > 0.0).any()
    np.testing.assert_allclose(died[1], died[0] * [[3.0], [1.0]], rtol=1e-12)
    np.testing.assert_allclose(died[2], died[0] / 4.0, rtol=1e-12)


def test_nothing_is_negative_or_undefined():
    engine = Engine(inputs())
    for _ in range(365):
        engine.run_day()
        s = engine.state
        for array in (s.number, s.log_weight, s.log_length, s.ration, s.plankton, s.benthos):
            assert np.isfinite(array).all()
        assert (s.number >= 0.0).all() and (s.ration >= 0.0).all() and (s.plankton > 0.0).all()


def test_fish_never_shrink():
    """The mean of a group falls when its longest are taken; the fish themselves only grow."""
    engine = Engine(inputs())
    before = None
    for _ in range(120):
        engine.run_day()
        s = engine.state
        origin = s.columns.origin
        stocked = {int(o): s.grown[origin == o] for o in np.unique(origin[s.number > 0.0]) if o >= 0}
        if before is not None:
            for origin, grown in before.items():
                if origin in stocked and stocked[origin].shape == grown.shape:
                    assert (stocked[origin] >= grown).all()
        before = stocked
    assert max(grown.max() for grown in before.values()) > 0.01


def final_biomass(steps: int) -> np.ndarray:
    engine = Engine(inputs(EVERYTHING.replace("length_in = 2\n", "length_in = 3\n"), members=1, years=2, steps=steps))
    out = []
    for day in range(700):
        engine.run_day()
        if day % 100 == 99:
            out.append([engine.state.biomass()[0, groups].sum() for groups in engine.slices])
    return np.array(out)


def test_halving_the_step_changes_little():
    whole, half = final_biomass(1), final_biomass(2)
    worth_comparing = whole > 0.05 * whole.max()
    assert worth_comparing.sum() > 10
    change = half[worth_comparing] / whole[worth_comparing] - 1.0
    assert np.abs(change).max() < 0.03, change


def test_pellets_and_diets_of_a_day_are_the_same_in_halves():
    moved, of_bass = [], []
    for steps in (1, 2):
        engine = Engine(inputs(EVERYTHING, members=1, steps=steps))
        days, diets = [], 0.0
        for _ in range(150):
            engine.run_day()
            days.append([engine.flows.pellets_given[0], engine.flows.pellets_eaten[0]])
            diets += engine.flows.eaten[0, 0]
        moved.append(np.sum(days, axis=0))
        of_bass.append(diets)
    (given, eaten), (given_in_halves, eaten_in_halves) = moved
    whole, half = of_bass
    assert (whole[: len(SPECIES)].sum() > 1.0) and (whole[len(SPECIES) : -1].sum() > 1.0)  # fish, and food of the pond
    np.testing.assert_allclose(half, whole, rtol=0.05, atol=0.01 * whole.sum())
    assert 0.0 < eaten < given and given_in_halves == pytest.approx(given, rel=1e-12)
    assert eaten_in_halves == pytest.approx(eaten, rel=0.03)


def test_more_fishing_leaves_fewer_fish_of_that_cohort_that_day():
    def left(share: float) -> np.ndarray:
        engine = Engine(inputs(EVERYTHING.replace("share = 0.5", f"share = {share}"), members=1))
        for _ in range(92):
            engine.run_day()
        return np.array([engine.state.number[0, g].sum() for g in engine.slices])

    few, many = left(0.8), left(0.2)
    assert few[BASS] < many[BASS]


def test_doubling_the_area_leaves_densities_alone():
    def ponds(acres: int) -> np.ndarray:
        scenario = pond(1, 1, EVERYTHING)
        scenario = scenario._replace(pond=scenario.pond._replace(area_ha=acres * 0.40468564224))
        chosen = scenario.strategies["few"]
        luck = Luck.none(1, run_days(scenario), scenario.run.last_year, len(chosen.stocking))
        engine = Engine(prepare(scenario, chosen, load_parameters(), luck))
        for _ in range(200):
            engine.run_day()
        return engine.state.number

    np.testing.assert_array_equal(ponds(2), ponds(4))


def test_laying_and_reading_are_adjoint():
    """What predators take and what prey lose are the same sum, whatever the lengths and the field."""
    rng = np.random.default_rng(1)
    species = np.sort(rng.integers(0, len(SPECIES), 30))
    log_length = np.log(rng.uniform(5.0, 900.0, (3, 30)))
    place = grid.place_on_grid(log_length, grid.first_points(3, species, len(SPECIES)), len(SPECIES))
    amount, field = rng.random((3, 30)), rng.random((3, len(SPECIES) * grid.GRID_POINTS))
    laid = (grid.lay(place, amount) * field).sum(axis=1)
    np.testing.assert_allclose(laid, (amount * grid.read(place, field)).sum(axis=1), rtol=1e-12)


def test_a_pond_without_fish_waits_for_them():
    engine = Engine(replace(inputs(), stockings=()))
    for _ in range(40):
        engine.run_day()
    assert engine.state.number.size == 0
    assert (engine.state.plankton > 0.0).all()
