"""Formulas of the model called directly: published numbers, exact arithmetic on small inputs, and what their words promise."""

from types import SimpleNamespace

import numpy as np
import pytest
from laws import inputs

from pondpop.model import hauling, mortality, oxygen, plants, predation, recruitment, stocking, whole_fish
from pondpop.model.budget import Flows
from pondpop.model.day import Engine
from pondpop.model.inputs import AerationInput, RemovalInput
from pondpop.model.state import Columns
from pondpop.species import SPECIES, load_parameters
from pondpop.units import DAYS_PER_YEAR

P = load_parameters()
BASS = 0


@pytest.fixture(scope="module")
def engine():
    """A pond of everything on its first evening."""
    made = Engine(inputs())
    made.run_day()
    return made


# ------------------------------------------------------------------ whole fish


def test_numbers_are_mixed_as_the_published_generator_does():
    """splitmix64 (Steele, Lea & Flood 2014): its first outputs for the seed 1234567, as users print them (from memory)."""
    seeds = np.array([(1234567 + k * int(whole_fish.GOLDEN)) % 2**64 for k in range(1, 6)], dtype=np.uint64)
    assert whole_fish.mix(seeds).tolist() == [
        6457827717110365317, 3203168211198807973, 9817491932198370423, 4593380528125082431, 16408922859458223821,
    ]  # fmt: skip


def test_every_group_of_fish_has_a_number_of_its_own_wherever_it_stands():
    told = np.array([
        (born, z, sex, origin) for born in (-30.0, -29.0, 0.0, 1.0) for z in (-1.0, 0.0, 1.0) for sex in (-1.0, 0.0, 1.0)
        for origin in (-1.0, 0.0, 1.0)
    ]).T[:, None]  # fmt: skip
    born, z, sex, origin = told

    def keys(order, species=BASS):
        of = np.full(order.size, species)
        own = [each[:, order] for each in (z, sex, sex, born, born)]
        return whole_fish.keys(Columns(of, *own, origin[:, order].astype(int), sex), np.array([[7, 11, 0]], np.uint64))

    forward, backward = np.arange(born.size), np.arange(born.size)[::-1]
    every = np.concatenate([keys(forward), keys(forward, 1)], axis=1)
    assert np.unique(every).size == every.size
    np.testing.assert_array_equal(keys(backward), keys(forward)[:, ::-1])


def test_whole_numbers_stay_whole_and_parts_of_a_fish_are_one_as_often_as_they_are_large():
    u = (np.arange(1000) + 0.5) / 1000
    for fish, mean in ((3.0, 3.0), (3.0 - 1e-12, 3.0), (2.25, 2.25), (0.001, 0.001), (0.0, 0.0)):
        drawn = whole_fish._floor(np.full(u.size, fish), u)
        assert drawn.mean() == pytest.approx(mean, abs=1e-9) and set(drawn) <= {np.floor(mean), np.floor(mean) + 1.0}


# ------------------------------------------------------------------ plants


def carp_leave(share_of_enough: float, years: int = 15) -> np.ndarray:
    """Share of the plants that carp which never die leave, day by day."""
    put_in = share_of_enough * 0.5 * float(P.carp_enough_per_ha[0])
    of = SimpleNamespace(plants=np.full(365 * years, 0.5), cover=np.ones(365 * years), days=365 * years, carp=((0, put_in),))
    return plants.share_of_area(P.replace("pond.carp_deaths_per_year", 0.0), of)[:, 0] / 0.5


def test_carp_take_all_from_the_density_on_that_is_said_to_and_leave_a_balance_below_it():
    """The plants that are left have a state to rest in while (1 − g)(g + h) = ((1 + h)/2)²·n/n* has a root: up to n = n*."""
    few, many = carp_leave(0.85), carp_leave(1.15)
    h = plants.HARD_TO_GRAZE
    rests = (1 - h + np.sqrt((1 - h) ** 2 - 4 * (0.85 * ((1 + h) / 2) ** 2 - h))) / 2
    assert few[-1] == pytest.approx(rests, rel=1e-3) and (np.diff(few) <= 1e-12).all()
    assert many[-1] == pytest.approx(plants.LEAST_LEFT) and (np.diff(many) <= 0.0).all()


def test_carp_graze_from_their_day_on_and_plants_come_back_when_they_have_died():
    of = SimpleNamespace(plants=np.full(4000, 0.5), cover=np.ones(4000), days=4000, carp=((100, 40.0), (200, 40.0)))
    left = plants.share_of_area(P.replace("pond.carp_deaths_per_year", 1.0), of)[:, 0]
    assert (left[:100] == 0.5).all() and left[100] < 0.5 and left[200] - left[199] < 1.5 * (left[199] - left[198])
    assert left[-1] > left.min() + 0.2


def test_cover_follows_the_share_in_plants_up_to_three_times_that_of_the_ordinary_pond():
    ordinary = P.plants_of_ordinary_pond[0]
    np.testing.assert_allclose(plants.relative_cover(P, ordinary * np.array([0.0, 0.5, 1.0, 3.0, 4.0])), [0, 0.5, 1, 3, 3])
    few = predation.leaving_cover(P, 0.0)
    np.testing.assert_array_equal(few, np.repeat(P.exposure_per_day, predation.GRID_POINTS, axis=1))  # no cover hides none


# ------------------------------------------------------------------ stocking


@pytest.mark.parametrize(("origin", "apart"), [(0, True), (1, True), (-1, False)])
def test_growth_types_of_every_stocking_begin_at_lengths_apart_and_those_of_young_alike(engine, origin, apart):
    one = np.ones(engine.state.members)
    groups = stocking.groups_of(
        engine, species=BASS, number=one, female_share=0.5, age_years=1.0, stocked=0.0, origin=origin, length_mm=200.0, ration=one
    )
    fast, slow = (groups.log_length[:, groups.columns.growth_z[0] == z] for z in (1.0, -1.0))
    assert (fast > slow + 0.01).all() if apart else (fast == slow).all()
    np.testing.assert_allclose((fast + slow) / 2, np.log(200.0))


# ------------------------------------------------------------------ trucks


def test_deaths_of_a_move_are_those_of_its_words():
    fish = {"at_100_mm": 0.02, "exponent": 1.5, "warming": 0.1, "at_c": 20.0}
    assert hauling.handling_deaths(length_mm=100.0, water_c=20.0, **fish) == pytest.approx(0.02)
    assert hauling.handling_deaths(length_mm=25.0, water_c=20.0, **fish) == pytest.approx(0.16)
    assert hauling.handling_deaths(length_mm=100.0, water_c=30.0, **fish) == pytest.approx(0.02 * np.e)
    assert hauling.hours_deaths(np.array([0.0, 12.0, 24.0]), 12.0, 3.0) == pytest.approx([0.0, 1.0, 8.0])
    steps = np.array([-9.0, -3.0, 0.0, 3.0, 9.0, 15.0])
    assert hauling.shock_deaths(steps, 3.0, 6.0, 2.5) == pytest.approx([2.5, 0.0, 0.0, 0.0, 1.0, 4.0])


# ------------------------------------------------------------------ spawning


def test_young_of_a_delay_of_two_days_and_a_quarter_come_in_parts_after_two_days_and_three():
    days, water = np.arange(80, 120)[:, None], np.full((40, 1), 21.0)
    late = P.of_kinds(("bass", "bluegill")).replace("bass.recruit_delay_days", 2.25)
    spawned = recruitment.spawning_of_day(late, BASS, water, days)
    hatched = recruitment.hatching_of_day(late, BASS, water, days)
    assert spawned.min() > 0.0 and np.ptp(spawned) == 0.0
    np.testing.assert_allclose(hatched[:5, 0] / spawned[0, 0], [0.0, 0.0, 0.75, 1.0, 1.0])
    np.testing.assert_allclose(hatched[5:], spawned[5:])


def test_threadfin_spawn_less_from_the_day_on_that_follows_the_last_of_their_spring():
    shad, last = P.kinds.index("shad"), int(P.spawning_autumn_from_day[0, P.kinds.index("shad")])  # 1 is 1 January
    days = np.arange(last - 2, last + 2)[:, None]  # 0 is 1 January
    spawned = recruitment.spawning_of_day(P, shad, np.full((4, 1), 22.0), days)[:, 0]
    assert spawned[0] > 0.0
    np.testing.assert_allclose(spawned / spawned[0], [1.0, 1.0, *2 * [P.spawning_autumn_share[0, shad]]])


def test_a_pulse_is_due_at_the_end_of_every_slot_of_the_year_and_on_the_first_day():
    slots = P.pulse_slot_days[0].astype(int)
    due = recruitment.pulse_due(P, np.arange(40, 100)[:, None])
    for kind, slot in enumerate(slots):
        ends = {day - 40 for day in range(40, 100) if (day + 1) % slot == 0} | {0}
        assert set(np.flatnonzero(due[:, 0, kind])) == ends


def test_a_pulse_waits_for_the_least_that_is_told_of_spawning_of_young_and_of_the_age_of_parents():
    bluegill, pond = SPECIES.index("bluegill"), Engine(inputs(members=1))
    pond.run_day()
    pond.by_day.pulse_due[pond.day] = True
    least, pond.state.spawn_released[:] = pond.parameters.pulse_min_weight[0], 0.0

    def young(ready=0.5):
        pond.state.spawn_gathered[:] = ready
        found = recruitment.pulse(pond, bluegill)
        return None if found is None else found.young.item()

    def under(path, value):
        pond.parameters = as_it_is.replace(path, value)
        return young()

    assert young(least) is not None and young(np.nextafter(least, 0.0)) is None
    many, as_it_is = young(), pond.parameters
    assert under("pond.pulse_min_per_ha", many) == many > 0.0 == under("pond.pulse_min_per_ha", np.nextafter(many, np.inf))
    oldest = (pond.day + 1 - pond.state.columns.born[0, pond.slices[bluegill]].min()) / DAYS_PER_YEAR
    assert under("pond.mature_age_years", oldest) > 0.0 == under("pond.mature_age_years", np.nextafter(oldest, np.inf))


# ------------------------------------------------------------------ oxygen


def test_nights_and_light_are_those_of_33_degrees_north():
    midsummer, midwinter = 172.0, 172.0 - 182.5
    assert oxygen.night_share([midsummer, midwinter]) == pytest.approx([0.40, 0.52])
    assert oxygen.clear_light([midsummer, midwinter]) == pytest.approx([1.0, 0.24])
    assert oxygen.night_share(midsummer + 91.25) == pytest.approx(0.46)
    assert oxygen.clear_light(midsummer + 91.25) == pytest.approx(0.62)


def test_limits_of_oxygen_rise_by_three_per_cent_a_degree_between_8_and_36():
    assert oxygen.limit_rise(np.array([0.0, 8.0, 18.0, 28.0, 36.0, 40.0])) == pytest.approx([0.4, 0.4, 0.7, 1.0, 1.24, 1.24])


def test_the_share_killed_is_half_at_the_limit_and_none_in_good_water():
    limit, width = 1.0, 0.1
    at = np.array([0.0, 1.0, 1.0 + 0.1 * np.log(999.0), 3.0])
    assert oxygen.share_killed(at, limit, width) == pytest.approx([1.0, (0.5 - 1e-3) / 0.999, 0.0, 0.0], abs=1e-4)
    assert oxygen.share_killed(np.array([1.69]), limit, width) > 0.0 == oxygen.share_killed(np.array([1.70]), limit, width)


def test_volume_below_a_depth_is_that_of_a_bowl():
    assert oxygen.share_below(np.array([0.0, 1.5, 3.0, 4.0]), 1.5) == pytest.approx([1.0, 0.25, 0.0, 0.0])


def aerated(engine, dawn, available=True, **aerators):
    """What is added, spared and spent in a night that falls from 5 mg/L to a dawn, by aerators of 2 kW/ha."""
    days = engine.inputs.days
    one = AerationInput("paddlewheel", 2.0, np.full(days, available), **aerators)
    stated = SimpleNamespace(oxygen=SimpleNamespace(aeration=(one,)))
    pond = SimpleNamespace(parameters=engine.parameters, by_day=engine.by_day, day=100, inputs=stated)
    return oxygen.aerated(pond, np.full(2, 5.0), np.full(2, dawn))


def test_an_aerator_that_waits_for_a_limit_runs_while_the_night_is_below_it_and_two_hours_more(engine):
    night = 24.0 * float(engine.by_day.oxygen.dark[100, 0])
    for dawn, hours in ((1.0, night / 2 + 2.0), (2.0, night / 3 + 2.0), (3.0, 0.0), (4.0, 0.0)):
        added, spared, spent = aerated(engine, dawn, below_mg_l=3.0)
        assert spent[0] == pytest.approx(2.0 * hours)
        assert (added[0] > 0.0) == (spared[0] > 0.0) == (hours > 0.0)
    added, spared, spent = aerated(engine, 4.0, below_mg_l=None, night_hours=np.full(engine.inputs.days, 3.0), hours=8.0)
    water = engine.by_day.oxygen.water_c[100]
    per_kwh = oxygen.aerator_kg_per_kwh(P, P.aerator_paddlewheel_kg_per_kwh, np.array(4.0), water)[0]
    assert spent[0] == 16.0 and spared[0] == pytest.approx(-np.expm1(-2.0 / engine.parameters.aerator_reach_kw_per_ha[0]))
    # kg/ha is a tenth of a gram per m²
    assert added[0] == pytest.approx(2.0 * 3.0 * 0.1 * per_kwh / engine.by_day.oxygen.layer[100, 0])
    assert not any(each.any() for each in aerated(engine, 1.0, available=False, below_mg_l=3.0))
    _, spared, _ = aerated(engine, 4.0, below_mg_l=None, night_hours=np.zeros(engine.inputs.days), hours=8.0)
    assert spared[0] == 0.0  # at noon it keeps no fish alive in the night


@pytest.mark.parametrize(
    ("killer", "response", "frozen", "changed"),
    [
        ("cloud", 0.1, False, {}), ("turnover", 0.8, False, {"start": 3.0}), ("feed", 0.8, False, {"debris": 9.0}),
        ("bloom", 0.8, False, {"bloom": 0.5, "debris": 0.1}), ("bloom", 0.8, False, {"bloom": 0.69, "debris": 9.0}),
        ("feed", 0.8, False, {"bloom": 0.71, "debris": 9.0}), ("ice", 0.1, True, {"start": 3.0, "debris": 9.0}),
        ("turnover", 0.70, False, {"start": 7.9}), ("cloud", 0.70, False, {"start": 7.999}),
    ],
)  # fmt: skip
def test_a_kill_is_put_down_to_what_took_or_withheld_most(engine, killer, response, frozen, changed):
    days = SimpleNamespace(
        response=np.full((101, 1), response), layer=np.full((101, 1), 1.5), frozen=np.full((101, 1), frozen)
    )
    ordinary = {"day": 100, "before": 8.0, "start": 8.0, "plankton": 2.0, "debris": 0.05, "bloom": 1.0} | changed
    night = SimpleNamespace(**{name: np.array([value]) if name != "day" else value for name, value in ordinary.items()})
    found = oxygen.killer(SimpleNamespace(by_day=SimpleNamespace(oxygen=days)), night)
    assert oxygen.KILLERS[found[0]] == killer


# ------------------------------------------------------------------ flows


@pytest.mark.parametrize(("origin", "told"), [(0, "stocked"), (1, "stocked"), (-1, "born")])
def test_fish_of_every_stocking_are_told_as_stocked_and_young_of_the_pond_as_born(origin, told):
    flows, nought = Flows.zero(1), np.zeros((1, 2))
    columns = Columns(np.full(2, BASS), *[nought] * 5, np.full((1, 2), origin), nought)
    flows.come(columns, np.array([[30.0, 5.0]]), np.log([[100.0, 200.0]]))
    for name in ("stocked", "born"):
        came = [getattr(flows, f"{name}_number")[0, BASS], getattr(flows, f"{name}_biomass")[0, BASS]]
        assert came == (pytest.approx([35.0, 4.0]) if name == told else [0.0, 0.0])


def test_flows_of_parts_of_a_day_add_up_to_what_came_and_went():
    """In steps of a third of a day as in whole ones: fish and weight, pellets given and eaten, food of predators."""
    made = Engine(inputs(steps=3))
    for _ in range(30):
        made.run_day()
    there = {name: np.stack([x[:, s].sum(axis=1) for s in made.slices], axis=1)
             for name, x in (("number", made.state.number), ("biomass", made.state.biomass()))}  # fmt: skip
    made.run_day()
    f = made.flows
    for name, after in (("number", made.state.number), ("biomass", made.state.biomass())):
        came = getattr(f, f"stocked_{name}") + getattr(f, f"born_{name}") - getattr(f, f"deaths_{name}").sum(axis=2)
        came = came if name == "number" else came + f.growth_biomass - f.spawning_biomass
        now = np.stack([after[:, s].sum(axis=1) for s in made.slices], axis=1)
        np.testing.assert_allclose(there[name] + came, now, rtol=1e-9, atol=1e-9)
    assert f.pellets_given == pytest.approx(made.inputs.pellets_kg_per_ha[30]) and (f.pellets_given > 1.0).all()
    assert (f.pellets_eaten > 0.0).all() and (f.pellets_eaten <= f.pellets_given).all()
    died = f.deaths_biomass[..., 0].sum(axis=1)  # of predation
    np.testing.assert_allclose(f.eaten[:, :, : len(SPECIES)].sum(axis=(1, 2)), died, rtol=1e-6)
    assert (f.eaten[:, 0, len(SPECIES) : -1].sum(axis=1) > 0.0).all()  # bass ate food of the pond besides


def test_removals_of_few_fish_take_whole_ones_of_their_weight_and_each_has_its_own_luck():
    from model.test_whole_fish import inputs as of_ten

    made = Engine(of_ten(300))
    half = RemovalInput(0, BASS, 1.0, 9000.0, "share", 0.35, "removal")
    made.run_day([half, half])
    ten = made.inputs.area_ha
    taken = made.flows.removed_number[:, BASS] * ten
    np.testing.assert_allclose(taken, np.round(taken), atol=1e-9)
    assert taken.mean() == pytest.approx(10.0 * (1.0 - 0.65**2), abs=0.35) and np.unique(np.round(taken)).size > 3
    some = taken > 0.5
    each = 1000.0 * made.flows.removed_biomass[some, BASS] / made.flows.removed_number[some, BASS]
    assert each == pytest.approx(np.exp(made.state.log_weight.mean()), rel=0.2)


@pytest.mark.parametrize("days", [1.0, 2.0])
def test_the_mean_length_moves_no_farther_than_the_fish_that_are_eaten_can_move_it(days):
    """Of a weight to the power 3 of length: where none are eaten it stays, however much longer ones would be sought."""
    spreads = SimpleNamespace(variance_less=np.full((1, 3), -0.04), most_moved=0.1, least_moved=-0.1)
    pond = SimpleNamespace(group=SimpleNamespace(ws_slope=3.0), spreads=spreads)
    hunt = SimpleNamespace(rise=np.array([[0.5, 0.5, 0.01]]), predation=np.array([[0.0, 0.003, 0.003]]))
    per_fish, longer = mortality._predation(pond, hunt, days)
    np.testing.assert_allclose(longer, days * np.array([[0.0, -0.001, -0.0004]]), atol=1e-15)
    np.testing.assert_allclose(per_fish, [[0.0, 0.0, 0.0018]], atol=1e-15)
