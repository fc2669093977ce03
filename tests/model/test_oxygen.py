"""Oxygen of the water: published tables, the budget of a night and a day, whom a poor night kills, and the switch."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from laws import EVERYTHING, inputs
from small import pond

from pondpop.ensemble.draws import Prior
from pondpop.ensemble.prepare import prepare
from pondpop.ensemble.run import compare
from pondpop.model import oxygen
from pondpop.model.budget import CAUSES
from pondpop.model.day import Engine
from pondpop.model.inputs import AerationInput
from pondpop.species import SPECIES, load_parameters

P = load_parameters()
SATURATION = {0: 14.621, 5: 12.771, 10: 11.288, 15: 10.084, 20: 9.092, 25: 8.263, 28: 7.828, 30: 7.559, 32: 7.305, 35: 6.949}
AT_25_C = {150.0: 8.113, 300.0: 7.965, 600.0: 7.674}
UNDER_SNOW_DAYS = {1.0: 34, 1.5: 50, 2.0: 66, 3.0: 95}  # from 12 to 3.8 mg/L in rich water (from Mathias & Barica 1980)


def weather(engine_inputs, **luck):
    """The same inputs with other luck, given [day] or as one number."""
    shape = engine_inputs.luck.cloud.shape
    return replace(engine_inputs, luck=replace(engine_inputs.luck, **{
        name: np.broadcast_to(values, shape).astype(float) for name, values in luck.items()
    }))  # fmt: skip


# ------------------------------------------------------------------ published figures


@pytest.mark.parametrize(("water_c", "published"), SATURATION.items())
def test_saturation_is_that_of_the_standard_table(water_c, published):
    assert oxygen.saturation_mg_l(water_c) == pytest.approx(published, abs=0.005)


@pytest.mark.parametrize(("water_c", "worked_out"), [(0.0, 9.75e-4), (10.0, 8.38836e-4), (25.0, 6.58725e-4), (30.0, 6.05124e-4)])
def test_departure_from_an_ideal_gas_is_as_worked_out_by_hand(water_c, worked_out):
    assert oxygen.departure_per_atm(water_c) == pytest.approx(worked_out, rel=1e-9)


@pytest.mark.parametrize(("elevation_m", "derived"), AT_25_C.items())
def test_thin_air_holds_less_oxygen(elevation_m, derived):
    assert oxygen.saturation_mg_l(25.0, elevation_m) == pytest.approx(derived, abs=0.005)


def test_pressures_of_air_and_vapour_are_those_of_the_tables():
    """The standard atmosphere (in atm), and steam tables (in mm of mercury), both from memory."""
    for elevation_m, atm in {0: 1.0, 500: 0.9421, 1000: 0.8870, 1500: 0.8345, 2000: 0.7846}.items():
        assert oxygen.air_pressure_atm(elevation_m) == pytest.approx(atm, rel=2e-4)
    for water_c, mm in {5: 6.543, 10: 9.209, 15: 12.788, 20: 17.535, 25: 23.756, 30: 31.824, 35: 42.175}.items():
        assert 760 * oxygen.vapour_pressure_atm(water_c) == pytest.approx(mm, rel=2e-3)


def test_formulas_of_exchange_by_wind_are_near_one_another():
    """Cole & Caraco 1998 at 0, 1, 2, 3 and 5 m/s."""
    found = oxygen.transfer_m_per_day(np.array([0.0, 1.0, 2.0, 3.0, 5.0]))
    np.testing.assert_allclose(found, [0.50, 0.55, 0.66, 0.83, 1.29], atol=0.01)


def test_breathable_water_reaches_as_deep_as_in_two_alabama_ponds():
    assert oxygen.mixing_depth_m(P, 0.81) == pytest.approx(1.52, abs=0.05)
    assert oxygen.mixing_depth_m(P, 8.9) == pytest.approx(2.13, abs=0.05)


def test_a_quarter_of_the_light_makes_half_of_the_oxygen():
    assert oxygen.light_response(0.25, P.bloom_light_point) == pytest.approx(0.5, abs=0.05)
    assert oxygen.light_response(1.0, P.bloom_light_point) == pytest.approx(1.0)


def under_snow(mean_depth_m: float, fertility: float, days: int, start_mg_l: float = 12.0) -> np.ndarray:
    """Oxygen at dusk, day by day, of a pond without fish under ice and snow."""
    plain = inputs("")
    empty = replace(plain, stockings=(), water_c=np.full_like(plain.water_c, 1.0), fertility=np.full(plain.days, fertility),
                    oxygen=replace(plain.oxygen, mean_depth_m=mean_depth_m))  # fmt: skip
    engine = Engine(empty)
    engine.algae_richness = engine.algae_of_day
    engine.state.oxygen[:] = start_mg_l
    seen = []
    for _ in range(days):
        engine.run_day()
        seen.append(engine.state.oxygen[0])
    return np.array(seen)


@pytest.mark.parametrize(("mean_depth_m", "days"), UNDER_SNOW_DAYS.items())
def test_under_snow_oxygen_lasts_as_long_as_the_published_rates_say(mean_depth_m, days):
    seen = under_snow(mean_depth_m, 1.0, 200)
    assert np.argmax(seen < 3.8) + 1 == pytest.approx(days, abs=2)
    assert (np.diff(seen) < 0.0).all() and seen[-1] > 0.0


def test_lakes_under_65_days_of_snow_spread_as_eleven_did():
    """Cooper & Washburn 1949: least oxygen from 0.2 to above 5 mg/L among lakes of southern Michigan."""
    least = [under_snow(depth, fertility, 65)[-1] for fertility in (0.35, 1.0) for depth in (0.8, 1.5, 3.0)]
    assert min(least) < 0.6 and max(least) > 5.0


def test_fish_die_under_ice_where_the_published_lakes_lost_them():
    """Cooper & Washburn 1949: bass and bluegill died nearly all at 0.6 mg/L and less, in numbers only there; minnows live
    through 0.3 (Klinger et al. 1982). Each over 20 nights (assumed); between the lakes' 0.6 and 0.8 the model still kills bass.
    """
    rise = oxygen.limit_rise(np.array(2.0))

    def left(species, mg_l):
        k = SPECIES.index(species)
        night = oxygen.share_killed(mg_l, P.oxygen_limit_mg_l[0, k] * rise, P.oxygen_limit_width_mg_l[0, k] * rise)
        return (1.0 - float(night)) ** 20

    assert left("bass", 0.6) < 0.1 and left("bluegill", 0.4) < 0.1 and left("bluegill", 0.5) < 0.5
    assert left("bass", 0.8) > 0.5 and left("bluegill", 0.8) > 0.95
    assert left("bass", 1.0) > 0.9
    assert left("minnow", 0.3) > 0.8


def test_fish_eat_less_in_poor_water():
    """EPA 1986: growth of bass 0.99, 0.91 and 0.77 of full at 5, 4 and 3 mg/L."""
    night = Engine(inputs("")).night
    engine = Engine(inputs(""))
    engine.run_day()
    assert night is None and engine.night is not None
    steady = np.array([5.0, 4.0, 3.0, 0.0, 9.0])
    np.testing.assert_allclose(oxygen.eats(engine.night._replace(start=steady, dawn=steady)), [0.99, 0.91, 0.77, 0.05, 1.0])
    assert oxygen.eats(engine.night._replace(start=steady[:1] + 1.0, dawn=steady[:1] + 1.0)) is None


# ------------------------------------------------------------------ the budget


def nights_of(engine_inputs, days):
    engine = Engine(engine_inputs)
    nights = []
    for _ in range(days):
        engine.run_day()
        nights.append(engine.night)
    return engine, nights


@pytest.fixture(scope="module")
def troubled():
    """A fed pond whose bloom falls now and then, in changing weather, with short days and deep water."""
    plain = inputs(EVERYTHING.replace("lb_per_acre_day = 3", "lb_per_acre_day = 44"))
    rng, days = np.random.default_rng(4), plain.days
    bloom = np.where(rng.random(days) < 0.06, 0.0, 1.0)
    return weather(plain, cloud=rng.normal(0.0, 1.5, days), wind=rng.lognormal(0.0, 1.0, days), bloom=bloom)


@pytest.mark.parametrize("depth_m", [0.3, 1.5])
def test_the_budget_of_oxygen_closes(troubled, depth_m):
    engine, nights = nights_of(replace(troubled, oxygen=replace(troubled.oxygen, mean_depth_m=depth_m)), 240)
    moved = oxygen.moved(engine.by_day.oxygen, nights, engine.parameters.bloom_respires_today)
    np.testing.assert_allclose(moved.sum(axis=0), nights[-1].dusk - nights[0].before, atol=1e-9)
    by_name = dict(zip(oxygen.MOVED, moved[:, 0], strict=True))
    assert by_name["made"] > 100.0 and (by_name["turnover"] < -1.0 or depth_m < 1.0)
    for taker in ("plankton", "bottom", "fish", "debris", "bubbles"):
        assert by_name[taker] <= 0.0 and (by_name[taker] < -1.0 or taker == "bubbles"), taker
    dawns = np.array([night.dawn[0] for night in nights])
    assert (dawns >= 0.0).all() and (dawns.min() == 0.0) == (depth_m < 1.0)


def test_a_day_takes_no_more_oxygen_than_there_is():
    fan = '[[strategies.few.aeration]]\nname = "night"\nkind = "diffused"\npower_hp = 20\nhours = [22, 6]\n'
    engine, _ = nights_of(inputs(EVERYTHING + fan), 100)
    engine.fish_kg_per_ha = np.full(engine.state.members, 1e5)  # with oxygen at dawn, which an aerator made
    night = oxygen.night(engine)
    assert (night.dawn > 5.0).all() and (night.dusk == 0.0).all()


def test_a_night_is_what_its_rates_give_when_stepped_by_the_minute(troubled):
    """Dawn and dusk, and what air gave, from the fluxes of a night and a day stepped in small steps."""
    engine, nights = nights_of(troubled, 90)
    days, p = engine.by_day.oxygen, engine.parameters
    checked = 0
    for night in nights[5::3]:
        at = night.day
        full, layer, dark = (float(x[at, 0]) for x in (days.saturated, days.layer, days.dark))
        taken = sum(float(getattr(night, name)[0]) for name in ("plankton", "bottom", "fish", "debris"))
        made, steps, air = float(night.made[0]) * (1.0 - float(p.bloom_respires_today[0])), 4000, 0.0
        c = float(night.start[0])
        for share, stays, rate in (
            (dark, days.night_stays, -taken * float(night.night_fade[0])),
            (1.0 - dark, days.day_stays, made / (1.0 - dark) - taken * float(night.day_fade[0])),
        ):
            exchange = -np.log(float(stays[at, 0])) / steps
            for _ in range(steps):
                into = exchange * (full - c)
                c, air = c + into + rate * share / steps / layer, air + into
            expected = night.dawn if share == dark else night.dusk
            if share == dark and c < 0.0:
                break
            assert c == pytest.approx(float(expected[0]), abs=5e-3)
        else:
            moved = oxygen.moved(days, [night], p.bloom_respires_today)
            assert moved[oxygen.MOVED.index("air"), 0] == pytest.approx(air, abs=5e-3)
            checked += 1
    assert checked > 16


# ------------------------------------------------------------------ kills


def test_fish_that_suffocate_have_a_killer_and_are_in_the_books(troubled):
    engine = Engine(troubled)
    died = np.zeros(len(oxygen.KILLERS))
    for _ in range(240):
        before, crop = engine.state.number.sum(axis=1), engine.state.biomass().sum(axis=1)
        engine.pass_night()
        dead = engine.flows.suffocated_number
        gone = crop - engine.state.biomass().sum(axis=1)
        assert engine.flows.suffocated_biomass.sum(axis=(1, 2)) == pytest.approx(gone, rel=1e-9, abs=1e-9)
        assert dead.sum() == pytest.approx(engine.flows.deaths_number[..., CAUSES.index("oxygen")].sum(), rel=1e-12)
        assert dead.sum(axis=(1, 2)) == pytest.approx(before - engine.state.number.sum(axis=1), rel=1e-9, abs=1e-6)
        engine.flows = type(engine.flows).zero(2)
        engine.pass_night = lambda: None  # the night has passed
        engine.run_day()
        del engine.pass_night
        died += dead.sum(axis=(0, 1))
    assert died[oxygen.KILLERS.index("bloom")] > 10.0 and died[oxygen.KILLERS.index("ice")] == 0.0


def test_a_poor_night_kills_shad_before_bass_before_bluegill_before_minnows_and_large_bass_first():
    engine = Engine(inputs())
    for _ in range(70):
        engine.run_day()
    night = engine.night._replace(dawn=np.array([1.0, 8.0]))
    killed = oxygen.killed(engine, night)
    assert (killed[1] == 0.0).all()
    shad, bass, bluegill, minnow = (
        np.median(killed[0, engine.slices[SPECIES.index(s)]]) for s in ("shad", "bass", "bluegill", "minnow")
    )
    assert shad > bass > bluegill > minnow
    bass = killed[0, engine.slices[SPECIES.index("bass")]]
    heavy = engine.state.log_weight[0, engine.slices[SPECIES.index("bass")]].argmax()
    assert bass[heavy] == bass.max() > np.median(bass)
    assert oxygen.killed(engine, night._replace(dawn=np.array([6.0, 8.0]))) is None


DARK, FALLEN = {"cloud": -4.0, "wind": 0.1}, {"bloom": np.arange(365) != 100}


@pytest.mark.parametrize(("luck", "killer"), [(DARK, "cloud"), (FALLEN, "bloom")])
def test_a_kill_is_put_down_to_what_brought_it(luck, killer):
    plain = inputs("", strategy="few")
    rich = weather(replace(plain, fertility=np.full(plain.days, 2.0)), **luck)
    engine, nights = nights_of(rich, 120)
    poorest = min(nights, key=lambda night: night.dawn[0])
    assert oxygen.KILLERS[oxygen.killer(engine, poorest)[0]] == killer


def test_dawns_are_poorer_in_fed_and_shallow_ponds_and_dark_days(troubled):
    def poorest(changed, share=0.05):
        return np.quantile([night.dawn[0] for night in nights_of(changed, 200)[1]], share)

    worst = poorest(troubled)
    assert poorest(replace(troubled, pellets_kg_per_ha=np.zeros(troubled.days))) > worst + 0.3
    lasting = weather(troubled, bloom=1.0)
    assert poorest(lasting) > worst
    assert poorest(weather(lasting, cloud=1.0)) > poorest(lasting)
    shallow = replace(troubled, oxygen=replace(troubled.oxygen, mean_depth_m=0.7))
    assert poorest(shallow, 0.5) < poorest(troubled, 0.5) - 0.3  # on a usual night; on the worst ones deep water mixes


# ------------------------------------------------------------------ aeration

# per cent of rated transfer by temperature in °C, at oxygen of 0, 2, 4 and 5 mg/L (a supplier's page, origin unstated)
AERATOR = {10: (89, 75, 58, 52), 15: (90, 73, 55, 46), 20: (91, 72, 51, 41), 25: (92, 72, 46, 35), 30: (96, 67, 44, 31)}


@pytest.mark.parametrize("water_c", AERATOR)
def test_an_aerator_moves_what_a_table_of_field_transfer_says(water_c):
    found = 100.0 * oxygen.aerator_kg_per_kwh(P, 1.0, np.array([0.0, 2.0, 4.0, 5.0]), np.array(float(water_c)))
    np.testing.assert_allclose(found, AERATOR[water_c], atol=4.0)


def test_a_horsepower_in_two_acres_keeps_a_refuge_and_lifts_no_pond():
    """1 hp moves 0.74 kg/h at 2 mg/L and 28 °C, 0.06 mg/L and hour in 0.8 ha of 1.5 m (derived)."""
    per_hour = 0.746 * float(oxygen.aerator_kg_per_kwh(P, P.aerator_vertical_pump_kg_per_kwh, np.array(2.0), np.array(28.0))[0])
    assert per_hour == pytest.approx(0.74, abs=0.03)
    assert per_hour / (0.8 * 1e4 * 1.5) * 1000.0 == pytest.approx(0.06, abs=0.005)


def with_aerator(engine_inputs, **changes):
    one = AerationInput("vertical_pump", 1.0, np.ones(engine_inputs.days, bool), 3.0)
    return replace(engine_inputs, oxygen=replace(engine_inputs.oxygen, aeration=(replace(one, **changes),)))


def test_an_aerator_lowers_deaths_takes_power_and_its_budget_closes(troubled):
    engine, nights = nights_of(with_aerator(troubled), 240)
    moved = oxygen.moved(engine.by_day.oxygen, nights, engine.parameters.bloom_respires_today)
    np.testing.assert_allclose(moved.sum(axis=0), nights[-1].dusk - nights[0].before, atol=1e-9)
    aerators = moved[oxygen.MOVED.index("aerators")]
    kwh = sum(night.kwh for night in nights)
    assert (aerators > 0.1).all() and (kwh > 1.0).all()
    _, without = nights_of(troubled, 240)
    working = [k for k, night in enumerate(nights) if np.max(night.kwh) > 0.0]
    assert 3 < len(working) < 200
    lifts = [float(np.max(nights[k].added)) for k in working]
    assert max(lifts) < 1.5  # mg/L in a night: no pond is lifted
    assert min(float(night.dawn.min()) for night in nights) >= min(float(night.dawn.min()) for night in without)


def test_fish_in_the_refuge_live(troubled):
    engine = Engine(inputs())
    for _ in range(70):
        engine.run_day()
    poor = engine.night._replace(dawn=np.array([0.8, 0.8]))
    bare = oxygen.killed(engine, poor)
    kept = oxygen.killed(engine, poor._replace(refuge=np.array([0.8, 0.0])))
    np.testing.assert_allclose(kept[0], 0.2 * bare[0])
    np.testing.assert_allclose(kept[1], bare[1])
    assert bare.max() > 0.5


def test_set_hours_of_a_scenario_are_those_of_the_night_they_fall_in():
    text = """
[[strategies.few.aeration]]
kind = "paddlewheel"
power_hp = 2
hours = [22, 7]
season = ["05-01", "09-30"]
"""
    scenario = pond(1, 1, text)
    strategy = scenario.strategies["few"]
    one = prepare(scenario, strategy, *Prior().draw(scenario, strategy, 0, 1)).oxygen.aeration[0]
    midsummer = next(k for k in range(365) if (scenario.run.start.toordinal() + k) == date(2026, 6, 21).toordinal())
    assert one.hours == 9.0 and one.night_hours[midsummer] == pytest.approx(2.0 + 4.8, abs=0.05)
    assert one.kw_per_ha == pytest.approx(2 * 0.7457 / scenario.pond.area_ha)
    assert one.available[midsummer] and not one.available[0]


def test_water_holds_no_more_than_so_many_times_saturation():
    engine = Engine(inputs(""))
    engine.state.oxygen[:] = 99.0
    engine.run_day()
    assert (engine.night.dusk <= engine.by_day.oxygen.most[0]).all() and (engine.state.oxygen == engine.night.dusk).all()
    assert engine.by_day.oxygen.most[0] == pytest.approx(
        oxygen.MOST_SATURATED * oxygen.saturation_mg_l(engine.by_day.water_c[0, 0]), rel=1e-6
    )


# ------------------------------------------------------------------ low water


def test_low_water_is_shallower_and_its_fish_and_feed_denser(troubled):
    low = replace(troubled, area_share=np.full(troubled.days, 0.5))
    deep, half = Engine(troubled), Engine(low)
    for engine in (deep, half):
        engine.state.oxygen[:] = 6.0
    days, halved = deep.by_day.oxygen, half.by_day.oxygen
    assert halved.layer[150] == pytest.approx(0.5 * low.oxygen.mean_depth_m)
    np.testing.assert_allclose(halved.per_fish, 2.0 * days.per_fish)
    np.testing.assert_allclose(half.by_day.of(150).food_ease, 2.0 * deep.by_day.of(150).food_ease)
    _, nights = nights_of(troubled, 200)
    _, shallow = nights_of(low, 200)
    assert np.median([n.dawn[0] for n in shallow]) < np.median([n.dawn[0] for n in nights]) - 0.3


# ------------------------------------------------------------------ the switch


def test_without_risk_the_pond_is_that_of_a_model_without_oxygen():
    """`[oxygen] risk = false`: no night passes, no luck is dealt, and what is left is the day without it."""
    scenario = pond(3, 1, EVERYTHING + "\n[oxygen]\nrisk = false\n")
    strategy = scenario.strategies["few"]
    engine = Engine(prepare(scenario, strategy, *Prior().draw(scenario, strategy, 0, 3)))
    with_risk = pond(3, 1, EVERYTHING)
    drawn = prepare(with_risk, with_risk.strategies["few"], *Prior().draw(with_risk, with_risk.strategies["few"], 0, 3))
    other = Engine(replace(drawn, oxygen=None))
    for one in (engine, other):
        for _ in range(150):
            one.run_day()
    assert engine.night is None
    np.testing.assert_array_equal(engine.state.number, other.state.number)
    np.testing.assert_array_equal(engine.state.log_weight, other.state.log_weight)


def test_in_good_water_nobody_dies_and_fish_grow_as_without_oxygen():
    plain = inputs(members=1)
    poor = replace(plain, fertility=np.full(plain.days, 0.6), pellets_kg_per_ha=np.zeros(plain.days))
    engine, without = Engine(poor), Engine(replace(poor, oxygen=None))
    for _ in range(200):
        engine.run_day()
        without.run_day()
        assert engine.flows.suffocated_number.sum() == 0.0
    crops = [float(e.state.biomass().sum()) for e in (engine, without)]
    assert crops[0] == pytest.approx(crops[1], rel=0.03)


def test_months_of_oxygen_in_the_dataset_close_their_budget():
    dataset = compare(pond(3, 1, EVERYTHING))
    moved, end = dataset["oxygen_moved"].sum("oxygen_flow").values, dataset["oxygen_at_end"].values
    np.testing.assert_allclose(end[..., 1:] - end[..., :-1], moved[..., 1:], atol=1e-9)
    by_cause = dataset["suffocated_biomass"].sum(("month", "killer"))
    np.testing.assert_allclose(by_cause, dataset["deaths_biomass"].sel(cause="oxygen").sum("year"), rtol=1e-9, atol=1e-12)
    assert (dataset["dawn_oxygen"] > 0.0).all() and (dataset["oxygen_kill"] >= 0.0).all()
