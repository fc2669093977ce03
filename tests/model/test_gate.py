"""The gate: the array engine held to the plain day (reference/scalar_day.py) to 1e-9, and laws of the plain day itself.

The plain day knows no luck of whole fish (`model/whole_fish.py`), so the engine is held to it without."""

import datetime as dt
from copy import deepcopy
from dataclasses import replace
from math import exp, log

import numpy as np
import pytest
from reference import scalar_day
from reference.scalar_day import BASS, BLUEGILL, MINNOW, REDEAR, SHAD, Day, Fishing, Removal, Stocking

from pondpop.model.budget import CAUSES, Flows
from pondpop.model.day import Engine
from pondpop.model.inputs import (
    AerationInput,
    FishingInput,
    Inputs,
    Luck,
    OxygenInput,
    RemovalInput,
    StockingInput,
    TruckInput,
)
from pondpop.species import SPECIES, load_parameters

P = scalar_day.one_member(load_parameters())
TABLES = scalar_day.Tables(P)


# ------------------------------------------------------------------ formulas: values worked out by hand beforehand


@pytest.mark.parametrize(
    ("dome", "value"),
    [
        ((8.0, 2.65, 27.5, 37.0), 0.1386),
        ((20.0, 2.65, 27.5, 37.0), 0.6454),
        ((25.0, 2.1, 33.0, 38.0), 0.7076),
        ((25.0, 2.3, 29.0, 36.5), 0.8836),
        ((27.5, 2.65, 27.5, 37.0), 1.0),
        ((37.0, 2.65, 27.5, 37.0), 0.0),
        ((38.0, 2.65, 27.5, 37.0), 0.0),
    ],
)
def test_temperature_dome(dome, value):
    assert scalar_day.dome(*dome) == pytest.approx(value, abs=5e-5)


# ------------------------------------------------------------------ laws of the plain day


def pond_of(*stocked):
    pond = scalar_day.new_pond(P)
    for event in stocked:
        scalar_day.stock(pond, event, P)
    return pond


@pytest.fixture
def pond():
    """A small pond of all five species with bass of several sizes, days after stocking."""
    made = pond_of(
        Stocking(BASS, 150.0, 60.0, 0.2), Stocking(BASS, 30.0, 250.0, 1.5), Stocking(BASS, 10.0, 380.0, 3.0),
        Stocking(BLUEGILL, 8000.0, 35.0, 0.2), Stocking(BLUEGILL, 1500.0, 120.0, 1.5),
        Stocking(SHAD, 6000.0, 60.0, 0.5), Stocking(MINNOW, 8000.0, 40.0, 0.4),
        Stocking(REDEAR, 900.0, 45.0, 0.4), Stocking(REDEAR, 120.0, 170.0, 2.5),
    )
    made.food = {"plankton": 120.0, "benthos": 60.0, "littoral": 9.0, "algae": 80.0, "snails": 40.0}
    return made


def total(pond, species, what="number"):
    return sum(getattr(g, what) for g in pond.groups if g.species == species)


SUMMER = Day(190, 26.0)


def test_what_is_eaten_is_what_died_and_what_the_pond_gave(pond):
    """The books of one step: fish eaten = deaths by predation; food eaten = food before + renewed - after."""
    before = deepcopy(pond)
    scalar_day.one_step(pond, SUMMER, P, TABLES, 1.0)
    eaten = lost = 0.0
    food = dict.fromkeys(scalar_day.FOODS, 0.0)
    for was, g in zip(before.groups, pond.groups, strict=True):
        died = was.number - g.number
        assert died == pytest.approx(was.number * g.mean_alive * g.deaths, rel=1e-12)
        of_weight = was.biomass * g.weight_alive * g.weight_deaths
        assert was.biomass * exp(-g.weight_deaths) == pytest.approx(was.biomass - of_weight, rel=1e-12)
        lost += was.biomass * g.weight_alive * g.predation
        eaten += g.fish_eaten * was.biomass
        for name in food:
            food[name] += g.food_eaten[name] * was.biomass
    assert eaten == pytest.approx(lost, rel=1e-12)
    assert eaten > 0.1
    light, warmth = 1.0, P.renewal_q10 ** ((26.0 - P.renewal_reference_c) / 10.0)  # at midsummer
    for name in food:
        capacity, at_20_c = getattr(P, f"{name}_capacity_kg_per_ha"), getattr(P, f"{name}_renewal_per_day")
        at_20_c *= 1.0 if name != "algae" else (1.0 + P.algae_light_limit**-4) ** -0.25
        renewed = at_20_c * warmth * light * (capacity - pond.food[name])
        assert food[name] == pytest.approx(before.food[name] + renewed - pond.food[name], rel=1e-12)


def test_two_half_steps_are_close_to_one_step(pond):
    for g in pond.groups:
        g.days_since_stocked = 200.0  # fish fresh from a hatchery die too fast for a step of a day
    halved = deepcopy(pond)
    for year_day in range(150, 210):
        day = Day(year_day, 26.0, first_of_run=year_day == 150)
        scalar_day.one_day(pond, day, P, TABLES)
        scalar_day.one_day(halved, day, P, TABLES, steps=2)
    for species in (BASS, BLUEGILL, SHAD, MINNOW, REDEAR):
        assert total(halved, species, "biomass") == pytest.approx(total(pond, species, "biomass"), rel=0.03)
        assert total(halved, species, "biomass") != total(pond, species, "biomass")


def test_removal_takes_what_is_asked_and_never_more_than_is_there(pond):
    scalar_day.remove(pond, Removal(BASS, 200.0, 300.0, "per_ha", 12.0), P)
    assert total(pond, BASS) == pytest.approx(190.0 - 12.0)
    before = total(pond, BLUEGILL, "biomass")
    scalar_day.remove(pond, Removal(BLUEGILL, 80.0, 160.0, "kg_per_ha", 5.0), P)
    assert before - total(pond, BLUEGILL, "biomass") == pytest.approx(5.0)
    scalar_day.remove(pond, Removal(BASS, 1.0, 9000.0, "per_ha", 1e6), P)
    assert total(pond, BASS) == pytest.approx(0.0, abs=1e-6)
    scalar_day.remove(pond, Removal(MINNOW, 1.0, 9000.0, "share", 0.25), P)
    assert total(pond, MINNOW) == pytest.approx(6000.0)


@pytest.mark.parametrize("kind", ["kg_per_ha", "per_ha"])
def test_quota_is_taken_when_small_and_bounded_by_what_anglers_catch_when_large(pond, kind):
    def deaths(ask):
        rule = Fishing(BASS, 1.0, 9000.0, kind, ask, 1 / 200)
        return [per_fish for per_fish, *_ in scalar_day.harvest_rates(pond.groups, rule, P, 1.0)]

    there = total(pond, BASS, "biomass" if kind == "kg_per_ha" else "number")
    small = deaths(0.05 * there)
    assert [r for g, r in zip(pond.groups, small, strict=True) if g.species == BASS] == pytest.approx(
        [0.05 / 200] * 18, rel=1e-5)
    assert all(r == 0.0 for g, r in zip(pond.groups, small, strict=True) if g.species != BASS)
    assert max(deaths(1e9)) == pytest.approx(P.quota_fishing_limit_per_year / 200, rel=1e-6)


def test_a_season_of_a_share_takes_that_share(pond):
    rule = Fishing(BASS, 300.0, 9000.0, "share", 0.4, 1 / 200)
    rates = [per_fish for per_fish, *_ in scalar_day.harvest_rates(pond.groups, rule, P, 1.0)]
    large = [i for i, g in enumerate(pond.groups) if g.species == BASS and g.length > 350]
    assert max(rates[i] for i in large) * 200 == pytest.approx(-log(0.6), rel=1e-2)
    assert max(rates) <= -log(0.6) / 200 * (1 + 1e-12)


def test_catch_is_harvests_share_of_deaths_and_more_fishing_leaves_fewer(pond):
    left = {}
    for share in (0.0, 0.2, 0.6):
        fished = deepcopy(pond)
        rule = Fishing(BASS, 200.0, 9000.0, "share", share, 1 / 100)
        scalar_day.one_step(fished, Day(190, 26.0, fishing=(rule,)), P, TABLES, 1.0)
        left[share] = total(fished, BASS)
        by_hand = sum((was.number - g.number) * g.harvest / g.deaths
                      for was, g in zip(pond.groups, fished.groups, strict=True))
        assert fished.caught_number[BASS] == pytest.approx(by_hand, rel=1e-12)
    assert left[0.0] > left[0.2] > left[0.6]


def test_pellets_reach_large_bluegill_only_and_no_more_than_is_not_wasted(pond):
    unfed = deepcopy(pond)
    scalar_day.one_step(unfed, SUMMER, P, TABLES, 1.0)
    before = deepcopy(pond)
    scalar_day.one_step(pond, Day(190, 26.0, pellets_kg_per_ha=0.02), P, TABLES, 1.0)
    eaten = sum(g.pellets_eaten * was.biomass for was, g in zip(before.groups, pond.groups, strict=True))
    assert eaten == pytest.approx(0.02 * (1 - P.pellet_waste_share), rel=1e-9)
    for g, plain in zip(pond.groups, unfed.groups, strict=True):
        if g.species == BLUEGILL and g.length > 100:
            assert g.weight > plain.weight
            assert sum(g.food_eaten.values()) < sum(plain.food_eaten.values())
        elif g.species != BLUEGILL:
            assert g.pellets_eaten == 0.0
        else:
            assert g.pellets_eaten < 1e-6 * g.max_intake
    cold = deepcopy(before)
    scalar_day.one_step(cold, Day(30, 12.0, pellets_kg_per_ha=2.0), P, TABLES, 1.0)
    assert all(g.pellets_eaten == 0.0 for g in cold.groups)


def test_stocked_fish_keep_number_mean_and_stated_spread():
    pond = pond_of(Stocking(BASS, 100.0, 200.0, 1.0, weight_g=110.0, length_cv=0.12, female_share=0.7))
    assert total(pond, BASS) == pytest.approx(100.0)
    assert sum(g.number for g in pond.groups if g.sex == "female") == pytest.approx(70.0)
    middle = [g for g in pond.groups if g.length == pytest.approx(200.0)]
    assert middle
    assert all(g.weight == pytest.approx(110.0 * scalar_day.mean_over_middle_weight(P, g)) for g in middle)
    spread = sum(g.number * log(g.length / 200.0) ** 2 for g in pond.groups) / 100.0
    assert spread + P.length_cv**2 == pytest.approx(0.12**2, rel=1e-9)


def test_hatchery_fish_are_easier_prey_than_fish_long_in_the_pond(pond):
    scalar_day.one_step(pond, SUMMER, P, TABLES, 1.0)
    fresh = max(g.predation for g in pond.groups if g.species == BASS and g.length < 80)
    for g in pond.groups:
        g.days_since_stocked = 200.0
    scalar_day.one_step(pond, SUMMER, P, TABLES, 1.0)
    wary = max(g.predation for g in pond.groups if g.species == BASS and g.length < 80)
    assert 1.0 + 0.1 * P.naive_ease < fresh / wary <= 1.0 + P.naive_ease


# ------------------------------------------------------------------ the array engine, held to the plain day

ENGINE_DAYS = 660


def everything_at_once(parameters, steps):
    """Inputs of the engine with all that a strategy can ask for, and the same day by day for the judge."""
    year_day = (150 + np.arange(ENGINE_DAYS)) % 365
    year = (150 + np.arange(ENGINE_DAYS)) // 365
    water_c = np.array([max(1.0, 18.75 + 10.75 * np.cos(2 * np.pi * (d - 205) / 365)) - 1.0 for d in year_day])
    stocked = [
        (0, Stocking(MINNOW, 3000.0, 50.0, 0.4, origin="0")), (0, Stocking(BLUEGILL, 3000.0, 40.0, 0.3, origin="1")),
        (0, Stocking(SHAD, 5000.0, 75.0, 0.8, length_cv=0.15, origin="2", truck=(5.0, 35.0, False, False))),
        (30, Stocking(BASS, 185.0, 50.0, 0.15, weight_g=1.8, origin="3", truck=(20.0, 20.0, False, True))),
        (60, Stocking(BASS, 20.0, 360.0, 3.0, length_cv=0.1, female_share=0.7, origin="4")),
        (0, Stocking(REDEAR, 300.0, 160.0, 2.2, origin="6")),
        (200, Stocking(BLUEGILL, 800.0, 120.0, 1.5, length_cv=0.03, origin="5", truck=(8.0, 30.0, True, False))),
    ]
    removals = [
        (250, Removal(BLUEGILL, 80.0, 150.0, "share", 0.3)), (260, Removal(BASS, 300.0, 500.0, "kg_per_ha", 2.0)),
        (270, Removal(SHAD, 1.0, 900.0, "per_ha", 1000.0)), (40, Removal(BASS, 370.0, 900.0, "share", 1.0)),
        (300, Removal(BLUEGILL, 90.0, 140.0, "share", 1.0)), (310, Removal(BLUEGILL, 100.0, 130.0, "share", 0.6)),
    ]
    growth, survival, spawning = (1.05, 1.0, 0.97, 1.0, 0.9), (1.0, 1.1, 1.0, 0.9, 1.05), (0.8, 1.0, 1.2, 1.0, 1.1)
    season = np.where((year_day >= 60) & (year_day < 300), 1 / 240, 0.0)
    rules = [Fishing(BASS, 250.0, 350.0, "kg_per_ha", 12.0, 0.0), Fishing(BASS, 350.0, 900.0, "per_ha", 6.0, 0.0),
             Fishing(BLUEGILL, 150.0, 900.0, "share", 0.3, 0.0)]
    pellets = np.where(season > 0, 1.5, 0.0)
    hours = season * 150.0
    years = int(year[-1]) + 1
    rng = np.random.default_rng(5)
    cloud, wind = rng.normal(0.0, 1.0, ENGINE_DAYS), rng.lognormal(0.0, 0.8, ENGINE_DAYS)
    bloom = np.ones(ENGINE_DAYS)
    bloom[[75, 110, 430]], cloud[111:113], wind[111:113] = 1e-9, -3.0, 0.2  # collapses; the second in still and dark days
    luck = replace(Luck.none(1, ENGINE_DAYS, years, len(stocked)), cloud=cloud[None, :], wind=wind[None, :], bloom=bloom[None, :])
    plants = np.interp(np.arange(ENGINE_DAYS), [100, 300], [0.1, 0.7], left=np.nan)
    area_share = np.where((np.arange(ENGINE_DAYS) >= 200) & (np.arange(ENGINE_DAYS) < 260), 0.6, 1.0)
    inputs = Inputs(
        parameters=parameters, luck=luck, area_ha=1.0, steps_per_day=steps, oxygen=OxygenInput(1.3),
        start=dt.date(2025, 5, 31), year_day=year_day, year=year, water_c=water_c[None, :],
        fertility=np.full(ENGINE_DAYS, 0.7), cover=np.full(ENGINE_DAYS, 1.2),
        pellets_kg_per_ha=pellets, angling_hours_per_ha=hours,
        death_after_release=np.full(ENGINE_DAYS, 0.1),
        stockings=tuple(StockingInput(day, e.species, e.per_ha, e.length_mm, e.length_cv, e.weight_g, e.age_years,
                                      e.female_share, int(e.origin),
                                      truck=None if e.truck is None else TruckInput(SPECIES[e.species], *e.truck))
                        for day, e in stocked),
        fishing=tuple(FishingInput(r.species, r.shortest_mm, r.longest_mm, season, r.kind, np.full((1, years), r.ask))
                      for r in rules),
        removals=tuple(RemovalInput(day, r.species, r.shortest_mm, r.longest_mm, r.kind, r.amount, "removal")
                       for day, r in removals),
        local_growth=np.array(growth), local_survival=np.array(survival), local_spawning=np.array(spawning),
        plants=plants, area_share=area_share,
    )
    days = [
        Day(int(year_day[k]), float(water_c[k]), fertility=0.7, cover=1.2,
            plants=float(plants[k]) if k >= 100 else 1.2 * parameters.plants_of_ordinary_pond[0],
            area_share=float(area_share[k]), pellets_kg_per_ha=float(pellets[k]),
            stockings=tuple(e for day, e in stocked if day == k), removals=tuple(r for day, r in removals if day == k),
            fishing=tuple(Fishing(r.species, r.shortest_mm, r.longest_mm, r.kind, r.ask, float(season[k]))
                          for r in rules if season[k] > 0),
            angling_hours_per_ha=float(hours[k]), death_after_release=0.1, first_of_run=k == 0,
            year=int(year[k]), joins=k % 32 == 0,
            local_growth=growth, local_survival=survival, local_spawning=spawning, mean_depth_m=1.3,
            cloud=float(cloud[k]), wind=float(wind[k]), collapse=float(bloom[k]))
        for k in range(ENGINE_DAYS)
    ]
    return inputs, days


@pytest.mark.parametrize("steps", [1, 2])
def test_engine_agrees_with_the_plain_day_group_by_group(steps):
    parameters = load_parameters()
    p = scalar_day.one_member(parameters)
    inputs, days = everything_at_once(parameters, steps)
    engine, pond, tables = Engine(inputs), scalar_day.new_pond(p), scalar_day.Tables(p)
    moved, hauled = Flows.zero(1), CAUSES.index("hauling")
    for day in days[: ENGINE_DAYS if steps == 1 else 320]:
        engine.run_day()
        moved.include(engine.flows)
        scalar_day.one_day(pond, day, p, tables, steps)
    s = engine.state
    groups = sorted(pond.groups, key=lambda g: g.species)  # keeps the order of birth within a species
    there = s.number[0] > 0
    assert len(groups) == there.sum() > 50
    for name, found in (("number", s.number), ("weight", np.exp(s.log_weight)), ("length", np.exp(s.log_length)),
                        ("ration", s.ration), ("spread", s.spread)):
        np.testing.assert_allclose(found[0, there], [getattr(g, name) for g in groups], rtol=1e-9, err_msg=name)
    np.testing.assert_allclose(np.stack([s.low, s.high])[:, 0, there].T, [g.cut for g in groups], rtol=1e-9)
    assert (s.high[0, there] < 10.0).any(), "no group was cut"
    if steps == 1:
        assert (s.spread[0, there] > 1.02 * p.length_cv).any(), "no groups joined"
        assert (moved.deaths_number[0, :, CAUSES.index("old_age")] > 0.1).any(), "no fish died of old age"
    np.testing.assert_allclose(s.food[:, 0], [pond.food[name] for name in scalar_day.FOODS], rtol=1e-9)
    np.testing.assert_allclose(moved.harvest_number[0], pond.caught_number, rtol=1e-9)
    np.testing.assert_allclose(moved.harvest_biomass[0], pond.caught_biomass, rtol=1e-9)
    water = (pond.oxygen, pond.bloom, pond.made_lately, pond.waste)
    np.testing.assert_allclose([s.oxygen[0], s.bloom[0], s.lately[0], s.waste[0]], water, rtol=1e-9)
    suffocated = moved.suffocated_number[0].sum(axis=1)
    np.testing.assert_allclose(suffocated, pond.suffocated, rtol=1e-9)
    assert (moved.deaths_number[0, [BASS, SHAD, BLUEGILL], hauled] > 5.0).all()
    assert suffocated[BASS] > 1.0 and suffocated[SHAD] > 1.0, "no night killed bass and shad"


def test_the_water_of_the_engine_agrees_with_the_plain_one_through_ice_storms_and_collapses():
    """Three years of a shallow pond without fish: its oxygen day by day, and what is left of appetite."""
    days, p, rng = 1000, scalar_day.one_member(load_parameters()), np.random.default_rng(7)
    year_day = np.arange(days) % 365
    water_c = np.maximum(1.0, 15.0 - 16.0 * np.cos(2 * np.pi * (year_day - 20) / 365)) + rng.uniform(0.0, 3.0, days)
    luck = replace(
        Luck.none(1, days, 3, 0), cloud=rng.normal(0.0, 1.5, (1, days)), wind=rng.lognormal(0.0, 1.0, (1, days)),
        bloom=rng.uniform(0.0, 0.02, (1, days)),
    )  # fmt: skip
    pellets = np.where((year_day > 100) & (year_day < 280), 15.0, 0.0)
    inputs = Inputs(
        parameters=load_parameters(), luck=luck, area_ha=0.4, steps_per_day=1, start=dt.date(2025, 1, 1), year_day=year_day,
        year=np.arange(days) // 365, water_c=water_c[None, :], fertility=np.full(days, 0.9), cover=np.ones(days),
        pellets_kg_per_ha=pellets, angling_hours_per_ha=np.zeros(days), death_after_release=np.zeros(days),
        oxygen=OxygenInput(1.6, (
            AerationInput("vertical_pump", 2.0, year_day > 150, 3.0),
            AerationInput("paddlewheel", 0.5, year_day > 220, None, np.full(days, 6.0), 8.0),
        )),
    )  # fmt: skip
    engine, pond, tables = Engine(inputs), scalar_day.new_pond(p), scalar_day.Tables(p)
    engine.columns_changed()
    seen, added = [], []

    def aerators(of_year):
        if of_year > 150:
            yield 2.0, "vertical_pump", None, 3.0
        if of_year > 220:
            yield 0.5, "paddlewheel", 6.0, None

    for k in range(days):
        day = Day(int(year_day[k]), float(water_c[k]), fertility=0.9, pellets_kg_per_ha=float(pellets[k]), mean_depth_m=1.6,
                  area_ha=0.4, cloud=float(luck.cloud[0, k]), wind=float(luck.wind[0, k]),
                  collapse=float(luck.bloom[0, k]), first_of_run=k == 0, aerators=tuple(aerators(year_day[k])))  # fmt: skip
        scalar_day.one_day(pond, day, p, tables)
        engine.run_day()
        s = engine.state
        plain = (pond.oxygen, pond.bloom, pond.made_lately, pond.waste)
        np.testing.assert_allclose((s.oxygen[0], s.bloom[0], s.lately[0], s.waste[0]), plain, rtol=1e-9, err_msg=str(k))
        added.append(float(np.mean(engine.night.added)))
        seen.append(((engine.night.dawn - engine.night.added)[0], s.bloom[0], bool(engine.by_day.oxygen.frozen[k, 0])))
    assert sum(a > 0.0 for a in added) > 100 and max(added) > 0.2
    dawn, bloom, frozen = map(np.array, zip(*seen, strict=True))
    assert dawn.min() < 1.0 < 8.0 < dawn.max() and bloom.min() < 0.5 and frozen.sum() > 10
