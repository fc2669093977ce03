"""Mechanisms of the ecology, each held to what it is there for."""

from __future__ import annotations

import numpy as np
import pytest
from laws import inputs
from scipy.special import expit
from small import pond

from pondpop.ensemble.prepare import prepare, run_days
from pondpop.model import bioenergetics, feeding, grid, mortality, predation, recruitment
from pondpop.model.community import ALGAE, BENTHOS, LITTORAL, PLANKTON
from pondpop.model.day import Engine
from pondpop.model.inputs import Luck
from pondpop.species import SPECIES, load_parameters

BASS, BLUEGILL, SHAD, MINNOW = (SPECIES.index(name) for name in ("bass", "bluegill", "shad", "minnow"))


def engine_of(stocking: str, years: int = 1, parameters=None) -> Engine:
    """Fish that live in the pond at its start, with the bluegill and bass of the small pond; two members, no luck."""
    scenario = pond(2, years, stocking, only="few")
    strategy = scenario.strategies["few"]
    luck = Luck.none(2, run_days(scenario), scenario.run.last_year, len(strategy.stocking))
    return Engine(prepare(scenario, strategy, parameters or load_parameters(), luck))


def stocked(length_in: float, per_acre: float, female_share: float = 0.5, name: str = "more") -> str:
    return f"""
[[stocking]]
species = "bass"
resident = true
name = "{name}"
per_acre = {per_acre}
length_in = {length_in}
female_share = {female_share}
"""


def young_bass(engine: Engine, days: int) -> np.ndarray:
    """Bass born in the pond, fish/ha, at the end of each day [day, member]."""
    found = []
    for _ in range(days):
        engine.run_day()
        groups = engine.slices[BASS]
        born_here = engine.state.columns.origin[:, groups] < 0
        found.append((engine.state.number[:, groups] * born_here).sum(axis=1))
    return np.array(found)


def test_females_without_males_have_no_young():
    of_both, of_females = (engine_of(stocked(14, 20, share)) for share in (0.5, 1.0))
    for engine in (of_both, of_females):
        for _ in range(12):  # until the young bass of the small pond are in
            engine.run_day()
    of_females.state.number[:, of_females.slices[BASS]] *= of_females.state.columns.sex[:, of_females.slices[BASS]] > 0
    assert (young_bass(of_both, 120)[-1] > 1.0).all()
    assert (young_bass(of_females, 120)[-1] == 0.0).all()


def test_fry_appear_as_many_days_later_as_they_take_to_grow():
    p = load_parameters()
    first = []
    for delay in (0.0, 10.5, 40.0):
        year_day = np.arange(365)
        water_c = (18.0 + 10.0 * np.sin(2.0 * np.pi * (year_day - 100) / 365))[:, None]
        hatched = recruitment.hatching_of_day(p.replace("bass.recruit_delay_days", delay), BASS, water_c, year_day[:, None])
        gathered = np.cumsum(hatched[:, 0])
        first.append(np.interp(0.5 * gathered[-1], gathered, year_day))
    np.testing.assert_allclose(np.diff(first), [10.5, 29.5], atol=0.05)


def test_more_females_do_not_make_up_for_eaten_spawn():
    p = load_parameters()
    half = p.egg_predator_half_kg_per_ha[0, BASS]
    share = recruitment.spawn_left_by_egg_predators(np.array([0.0, half]), half, p.egg_predator_exponent[0, BASS])
    np.testing.assert_allclose(share, [1.0, 0.5])
    plain, hungry = engine_of(stocked(14, 40)), engine_of(stocked(14, 40))
    hungry.parameters = hungry.parameters.replace("bass.egg_predator_half_kg_per_ha", 1e-3)
    assert (young_bass(hungry, 120)[-1] < 1e-2 * young_bass(plain, 120)[-1]).all()


def test_bass_of_the_year_before_eat_eggs_and_large_bass_do_not():
    none, small, large = (predation.egg_predators(_started(stocking)) for stocking in ("", stocked(7, 100), stocked(16, 100)))
    assert (small > 1.2 * none).all()
    np.testing.assert_allclose(large, none, rtol=1e-2)


def test_crowded_bluegill_hold_down_their_own_young():
    few, many = (_young_bluegill(stocked_bluegill(per_acre)) for per_acre in (50, 5000))
    guarded = load_parameters().replace("bluegill.egg_predator_half_kg_per_ha", 1e9)
    few_guarded, many_guarded = (_young_bluegill(stocked_bluegill(per_acre), guarded) for per_acre in (50, 5000))
    assert (few > 0.8 * few_guarded).all()
    assert (many < 0.6 * many_guarded).all()


def stocked_bluegill(per_acre: float) -> str:
    return f"""
[[stocking]]
species = "bluegill"
resident = true
name = "crowd"
per_acre = {per_acre}
length_in = 4.5
"""


def _young_bluegill(stocking: str, parameters=None) -> np.ndarray:
    """Bluegill born in the pond by the first pulse, fish/ha [member]."""
    engine = engine_of(stocking, parameters=parameters)
    groups = engine.slices[BLUEGILL]
    for _ in range(250):
        engine.run_day()
        groups = engine.slices[BLUEGILL]
        born_here = (engine.state.number[:, groups] * (engine.state.columns.origin[:, groups] < 0)).sum(axis=1)
        if (born_here > 0.0).all():
            return born_here
    raise AssertionError("no young")


def test_threadfin_eat_algae_with_the_appetite_that_animal_food_leaves():
    engine = _started("""
[[stocking]]
species = "shad"
resident = true
name = "threadfin"
per_acre = 500
length_in = 4
""")
    groups, weight = engine.slices[SHAD], engine.state.weight()

    def shares(plankton: float, algae: float) -> tuple[np.ndarray, np.ndarray]:
        engine.state.food[:ALGAE] = 0.0
        engine.state.food[PLANKTON], engine.state.food[ALGAE] = plankton, algae
        place = grid.place_on_grid(engine.log_length_of_weight(), engine.first_points, len(engine.community))
        found = feeding.food_met(engine, place, weight)
        met = (grid.read(place, engine.meals.by_food(found.field)) * found.smaller)[:, :, groups]
        eaten = met / (1.0 + met.sum(axis=0))
        return eaten[PLANKTON], eaten[ALGAE]

    alone, _ = shares(50.0, 0.0)
    _, algae_alone = shares(0.0, 100.0)
    of_both = shares(50.0, 100.0)
    assert (alone > 0.05).all() and (algae_alone > 0.05).all()
    np.testing.assert_allclose(of_both[0], alone, rtol=1e-12)
    np.testing.assert_allclose(of_both[1], (1.0 - alone) * algae_alone, rtol=1e-12)


def _started(stocking: str) -> Engine:
    engine = engine_of(stocking)
    engine.run_day()
    return engine


def test_grown_bass_near_their_longest_put_on_weight_and_then_stop_eating():
    engine = _started(stocked(25, 2, name="giants") + stocked(13, 2, name="grown"))
    groups, s = engine.slices[BASS], engine.state
    condition = engine.log_condition()
    grown = bioenergetics.grown_shares(engine)
    most = bioenergetics.max_intake(engine)
    eats = bioenergetics.appetite(engine, most, condition, grown) / most
    fat = bioenergetics.appetite(engine, most, condition + np.log(1.25), grown) / most
    large = s.log_length[:, groups] > np.log(300.0)
    assert (eats[:, groups][large] > 0.8).all() and (fat[:, groups][large] < 0.3).all()
    gain = np.full_like(s.log_weight, 0.01)
    longer = bioenergetics.lengthening(engine, gain, condition, grown, 1.0)[:, groups]
    giants = s.log_length[:, groups] > np.log(550.0)
    males = s.columns.sex[:, groups] < 0
    assert (longer[:, (giants & males)[0]] < 1e-5).all()
    middle = large & ~giants
    assert (longer[middle] > 1e-4).all()
    assert (longer[middle & ~males] > longer[middle & males]).all()  # females have further to go


def test_no_bass_grows_past_its_longest():
    room = bioenergetics.length_potential(np.log(np.array([0.5, 0.9, 1.0, 1.1])), 1.0)
    assert room[0] == pytest.approx(1.0, rel=1e-6) and room[1] == pytest.approx(1 / 9, rel=0.02)
    assert room[3] < 1e-3 and (np.diff(room) < 0.0).all()


def test_cold_kills_small_fish_first_and_warm_water_none():
    p = load_parameters()
    rates = mortality.cold_deaths(
        np.array([2.0, 8.0, 25.0]), p.cold_deaths_per_day[0, BASS], p.cold_deaths_below_c[0, BASS], p.cold_deaths_width_c[0, BASS]
    )
    assert rates[0] > rates[1] > 0.0 and rates[2] == 0.0
    engine = _started(stocked(4, 10, name="small") + stocked(12, 10, name="large"))
    engine.today.cold_deaths[:] = np.nan_to_num(engine.parameters.cold_deaths_per_day[0])
    none = np.zeros_like(engine.state.number)
    per_day = mortality.natural_rates(engine, none, engine.log_condition(), none)["cold"][1]
    length = engine.state.log_length
    bass = np.argsort(length[0, engine.slices[BASS]])
    by_length = per_day[0, engine.slices[BASS]][bass]
    assert (np.diff(by_length) <= 0.0).all() and by_length[0] > 4.0 * by_length[-1] > 0.0


def test_large_bluegill_respire_more_for_their_size_than_bass_do():
    p = load_parameters()
    assert p.activity_per_kg[0, BLUEGILL] > 0.0 and np.isnan(p.activity_per_kg[0, BASS])
    still = inputs(parameters=p.replace("bluegill.activity_per_kg", 0.0))
    engines = [Engine(inputs()), Engine(still)]
    for engine in engines:
        engine.run_day()
    engines[1].state.log_weight = engines[0].state.log_weight
    weight = engines[0].state.weight()
    full = np.full_like(weight, np.inf)
    spent = [bioenergetics._growth_respired(engine, weight, full)[:, engine.slices[BLUEGILL]] for engine in engines]
    expected = 1.0 + p.activity_per_kg[0, BLUEGILL] * weight[:, engines[0].slices[BLUEGILL]] / 1000.0
    np.testing.assert_allclose(spent[0] / spent[1], expected, rtol=1e-9)


def test_looking_for_food_costs_the_hungry_in_warm_water():
    """Nothing found costs bass the whole of it, half of what satisfies half of it, plenty nothing; in the cold none swims."""
    cost = 0.8
    engine = Engine(inputs(parameters=load_parameters().replace("bass.searching_cost", cost)))
    engine.run_day()
    weight, intake = engine.state.weight(), engine.today.intake[:, :1]

    def spent(met: float) -> np.ndarray:
        return bioenergetics._growth_respired(engine, weight, np.full_like(weight, 1.0 + met))

    sated, bass = spent(np.inf), engine.slices[BASS]
    for met in (0.0, 1.0, 3.0):
        rise = (spent(met) / sated)[:, bass]
        np.testing.assert_allclose(rise, np.broadcast_to(1.0 + cost * intake / (1.0 + met), rise.shape), rtol=1e-12)
    assert (intake > 0.1).all()
    np.testing.assert_array_equal(spent(0.0)[:, engine.slices[BLUEGILL]], sated[:, engine.slices[BLUEGILL]])
    p = engine.parameters
    assert all(engine.by_day.of(day).intake[0, 0] < 1.0 for day in range(engine.inputs.days))
    cold = bioenergetics.intake_temperature_factor(
        0.1, 4.0, p.feeding_stops_below_c[0, BASS], p.feeding_stop_width_c[0, BASS], p.intake_dome_floor[0]
    )
    assert cost * float(cold) < 0.01  # so that what unfed bass lose over winter stands as it was published


def test_fry_find_the_small_animals_of_grazed_benthos_and_grown_bass_do_not():
    apart = load_parameters().replace("bass.benthos_grazing_from_mm", 150.0).replace("bass.benthos_grazing_width_mm", 10.0)
    engine = engine_of(stocked(14, 10), parameters=apart)
    engine.run_day()
    p = engine.parameters
    place = grid.place_on_grid(engine.log_length_of_weight(), engine.first_points, len(engine.community))

    def met(left: float) -> np.ndarray:
        engine.state.food[BENTHOS] = left * engine.food_capacity[BENTHOS]
        found = feeding.food_met(engine, place, engine.state.weight())
        return np.asarray(found.field[engine.meals.place[BENTHOS, BASS]])

    ratio = met(0.25) / met(1.0)
    begins, width = p.benthos_grazing_from_mm[0, BASS], p.benthos_grazing_width_mm[0, BASS]
    fry, grown = begins - 6.0 * width > grid.GRID_MM, begins + 6.0 * width < grid.GRID_MM
    assert fry.any() and grown.any()
    np.testing.assert_allclose(ratio[:, fry], 0.25, rtol=0.01)
    wanted = np.broadcast_to(0.25 ** (1.0 + p.benthos_grazing_exponent[:, BASS : BASS + 1]), ratio[:, grown].shape)
    np.testing.assert_allclose(ratio[:, grown], wanted, rtol=0.01)
    assert (np.diff(ratio) <= 1e-12).all()


def test_fertiliser_makes_no_more_of_the_large_animals_that_grown_bass_eat():
    """With an exponent of 1 benthos three times as rich feeds grown bass no better; fry it does, and no pond is too poor."""
    p = load_parameters().replace("bass.benthos_fertility_exponent", np.array([1.0, 0.5]))
    fertility = np.array([0.35, 0.7, 1.05, 0.1])
    shares = {at: feeding.share_of_large(p, np.full(2, at)) for at in fertility.tolist()}
    assert BASS in shares[0.35] and BLUEGILL not in shares[0.35]
    begins, width = p.benthos_fertility_from_mm[0, BASS], p.benthos_fertility_width_mm[0, BASS]
    fry, grown = begins - 8.0 * width > grid.GRID_MM, begins + 8.0 * width < grid.GRID_MM
    assert grown.any()
    for at, share in ((at, found[BASS]) for at, found in shares.items()):
        times = max(1.0, at / 0.35)
        np.testing.assert_allclose(share[:, grown], np.repeat([[1.0 / times], [times**-0.5]], grown.sum(), axis=1), rtol=1e-3)
        np.testing.assert_allclose(share[:, fry], 1.0, rtol=1e-3)
        assert (np.diff(share) <= 1e-12).all()
    half = np.interp(begins, grid.GRID_MM, np.log(shares[0.7][BASS][0]))
    assert half == pytest.approx(-0.5 * np.log(2.0), rel=0.05)


def test_bass_meet_the_share_of_large_animals_of_a_pond_as_rich_as_it_is_that_day():
    met = {}
    for exponent in (0.0, 1.0):
        engine = engine_of(stocked(14, 10), parameters=load_parameters().replace("bass.benthos_fertility_exponent", exponent))
        engine.run_day()
        place = grid.place_on_grid(engine.log_length_of_weight(), engine.first_points, len(engine.community))
        field = feeding.food_met(engine, place, engine.state.weight()).field
        met[exponent] = field[engine.meals.place[BENTHOS, BASS]] / engine.state.food[BENTHOS][:, None]
    assert (engine.fertility > 0.36).all()
    at_start = met[1.0][:, -1] / met[0.0][:, -1]
    np.testing.assert_allclose(at_start, 0.35 / engine.fertility, rtol=0.02)
    np.testing.assert_allclose(met[1.0][:, 0], met[0.0][:, 0], rtol=0.02)


def test_threadfin_alone_live_on_algae_and_small_bluegill_alone_on_the_shore():
    use = feeding.food_use(Engine(inputs()).parameters)
    for species in (BASS, BLUEGILL, SHAD, MINNOW):
        assert use[ALGAE, 0, species].any() == (species == SHAD)
        assert use[LITTORAL, 0, species].any() == (species == BLUEGILL)
    shore = use[LITTORAL, 0, BLUEGILL]
    assert (np.diff(shore) < 0.0).all() and shore[0] > 0.9 and shore[-1] < 1e-6


def test_bass_shorter_than_take_the_largest_bluegill_for_their_length_take_no_larger_ones_still():
    p = load_parameters()
    kernel = predation.prey_size_kernel(p)[0, BLUEGILL]  # [prey, bass]
    short, long = p.young_gape_full_at_mm[0, BASS] > grid.GRID_MM, p.young_gape_none_at_mm[0, BASS] < grid.GRID_MM
    ratio, least, gain = grid.GRID_MM[:, None] / grid.GRID_MM, p.prey_length_ratio_min[0, BASS], p.young_gape_gain[0, BLUEGILL]

    def rising(x: np.ndarray, width: np.ndarray) -> np.ndarray:
        return np.asarray(expit(x / width))

    eats = rising(grid.GRID_MM - p.fish_eating_from_mm[0, BASS], p.fish_eating_width_mm[0, BASS])
    eats = eats * rising(ratio - least, p.prey_length_ratio_min_width[0, BASS])
    for of_bass, most in ((short, gain), (long, 0.0)):
        small = rising(p.prey_length_ratio_max[0, BLUEGILL] + most - ratio, p.prey_length_ratio_max_width[0, BASS])
        assert of_bass.sum() > 3
        np.testing.assert_allclose(kernel[:, of_bass], (eats * small)[:, of_bass], rtol=1e-9, atol=1e-12)


def test_the_ration_of_a_condition_is_that_which_sets_it():
    """Back and forth: condition without food and its gain at full food, of a ration that saturates (Wr of 70 to 95)."""
    p = load_parameters()
    for condition in (0.7, 0.8, 0.9, 0.95):
        ration = bioenergetics.ration_of_condition(p, condition)
        assert (ration > 0.0).all() and (ration < 1.0).all()
        set_at = bioenergetics.set_point_ration(ration, p.condition_ration_limit)
        np.testing.assert_allclose(p.condition_at_no_food + p.condition_gain_at_full_food * set_at, condition, rtol=1e-6)
    none, all_food = (bioenergetics.ration_of_condition(p, condition) for condition in (0.3, 2.0))
    assert (none == 0.0).all() and (all_food == 1.0).all()


def test_of_a_stocking_as_many_are_there_as_its_luck_lets_live():
    scenario = pond(2, 1, stocked(14, 40), only="few")
    strategy = scenario.strategies["few"]
    luck = Luck.none(2, run_days(scenario), scenario.run.last_year, len(strategy.stocking))
    luck.stocking_survival[:] = [[0.8], [0.5]]
    engine = Engine(prepare(scenario, strategy, load_parameters(), luck))
    engine.stock()
    first = [k for k, event in enumerate(strategy.stocking) if event.date == scenario.run.start]
    assert len(first) > 1
    for k in first:
        there = np.where(engine.state.columns.origin == k, engine.state.number, 0.0).sum(axis=1)
        np.testing.assert_allclose(there, strategy.stocking[k].per_ha * np.array([0.8, 0.5]), rtol=1e-12)
