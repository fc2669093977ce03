"""The gate: two recorded base runs, reproduced from plainly written models.

The pond of both runs is invented: southern water, 1,200 bluegill, 1,200 minnows and 2,000 threadfin shad per acre on
day 150, 75 bass of 50 mm per acre a year later, no harvest, ten years.
"""

import csv
from copy import deepcopy
from math import exp, log
from pathlib import Path
from types import SimpleNamespace

import pytest
from reference import first_model, scalar_day, second_run
from reference.scalar_day import BASS, BLUEGILL, MINNOW, SHAD, Day, Fishing, Removal, Stocking

from pondpop.species import load_parameters

REFERENCE = Path(__file__).parent / "reference"


def recorded(name):
    """Column names and rows of a recorded run: {days after the start: figures or None}."""
    with (REFERENCE / name).open(encoding="utf-8", newline="") as stream:
        header, *rows = csv.reader(stream)
    return header[1:], {int(day): [float(x) if x else None for x in row] for day, *row in rows}


def disagreements(run, figures, name, relative):
    columns, rows = recorded(name)
    days_checked, wrong = 0, []
    for day, temperature, pond in run(max(rows)):
        if day not in rows:
            continue
        days_checked += 1
        for column, wanted, found in zip(columns, rows[day], figures(temperature, pond), strict=True):
            if (found is None or wanted is None) and found is wanted:
                continue  # no such fish yet
            if found is None or wanted is None or found != pytest.approx(wanted, rel=relative, abs=1e-12):
                wrong.append(f"day {day} {column}: recorded {wanted}, found {found}")
    assert days_checked == len(rows)
    return wrong


def test_model_as_first_written_down_reproduces_its_recorded_run():
    assert disagreements(first_model.base_run, first_model.figures, "first_run.csv", 1e-6) == []


def test_second_model_reproduces_its_recorded_run():
    assert disagreements(second_run.base_run, second_run.figures, "second_run.csv", 1e-6) == []


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
    assert first_model.dome(*dome) == pytest.approx(value, abs=5e-5)
    assert scalar_day.dome(*dome) == pytest.approx(value, abs=5e-5)


def test_intake_and_respiration_of_a_100_g_bass():
    bass = first_model.BASS
    intake = bass["max_intake_at_1_g"] * 100 ** bass["max_intake_exponent"]
    assert intake == pytest.approx(0.0739, abs=5e-5)
    burned = bass["respiration_at_1_g"] * 100 ** bass["respiration_exponent"] * bass["activity"] * 13_560
    assert burned * exp(bass["respiration_per_c"] * 20) == pytest.approx(34.6, rel=2e-3)  # J per g and day


# ------------------------------------------------------------------ laws of the second model's day


P = second_run.PARAMETERS
TABLES = scalar_day.Tables(P)


def pond_of(*stocked):
    pond = scalar_day.new_pond(P)
    for event in stocked:
        scalar_day.stock(pond, event, P)
    return pond


@pytest.fixture
def pond():
    """A small pond of all four species with bass of several sizes, days after stocking."""
    made = pond_of(
        Stocking(BASS, 150.0, 60.0, 0.2), Stocking(BASS, 30.0, 250.0, 1.5), Stocking(BASS, 10.0, 380.0, 3.0),
        Stocking(BLUEGILL, 8000.0, 35.0, 0.2), Stocking(BLUEGILL, 1500.0, 120.0, 1.5),
        Stocking(SHAD, 6000.0, 60.0, 0.5), Stocking(MINNOW, 8000.0, 40.0, 0.4),
    )
    made.food = {"plankton": 120.0, "benthos": 60.0}
    return made


def total(pond, species, what="number"):
    return sum(getattr(g, what) for g in pond.groups if g.species == species)


SUMMER = Day(190, 26.0)


def test_what_is_eaten_is_what_died_and_what_the_pond_gave(pond):
    """The books of one step: fish eaten = deaths by predation; food eaten = food before + renewed - after."""
    before = deepcopy(pond)
    scalar_day.one_step(pond, SUMMER, P, TABLES, 1.0)
    eaten = lost = 0.0
    food = {"plankton": 0.0, "benthos": 0.0}
    for was, g in zip(before.groups, pond.groups, strict=True):
        died = was.number - g.number
        assert died == pytest.approx(was.number * g.mean_alive * g.deaths, rel=1e-12)
        lost += died * g.predation / g.deaths * was.weight / 1000
        eaten += g.fish_eaten * was.biomass
        for name in food:
            food[name] += g.food_eaten[name] * was.biomass
    assert eaten == pytest.approx(lost, rel=1e-12)
    assert eaten > 0.1
    light = 0.5 + 0.5
    for name, capacity, at_20_c in (("plankton", 201.0, 0.100), ("benthos", 220.0, 0.0635)):
        renewed = at_20_c * 2**0.6 * light * (capacity - pond.food[name])
        assert food[name] == pytest.approx(before.food[name] + renewed - pond.food[name], rel=1e-12)


def test_two_half_steps_are_close_to_one_step(pond):
    for g in pond.groups:
        g.days_since_stocked = 200.0  # fish fresh from a hatchery die too fast for a step of a day
    halved = deepcopy(pond)
    for year_day in range(150, 210):
        day = Day(year_day, 26.0, first_of_run=year_day == 150)
        scalar_day.one_day(pond, day, P, TABLES)
        scalar_day.one_day(halved, day, P, TABLES, steps=2)
    for species in (BASS, BLUEGILL, SHAD, MINNOW):
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
        return scalar_day.harvest_rates(pond.groups, Fishing(BASS, 1.0, 9000.0, kind, ask, 1 / 200), P)

    there = total(pond, BASS, "biomass" if kind == "kg_per_ha" else "number")
    small = deaths(0.05 * there)
    assert [r for g, r in zip(pond.groups, small, strict=True) if g.species == BASS] == pytest.approx(
        [0.05 / 200] * 18, rel=1e-5)
    assert all(r == 0.0 for g, r in zip(pond.groups, small, strict=True) if g.species != BASS)
    assert max(deaths(1e9)) == pytest.approx(1.2 / 200, rel=1e-6)


def test_a_season_of_a_share_takes_that_share(pond):
    rates = scalar_day.harvest_rates(pond.groups, Fishing(BASS, 300.0, 9000.0, "share", 0.4, 1 / 200), P)
    large = [i for i, g in enumerate(pond.groups) if g.species == BASS and g.length > 350]
    assert max(rates[i] for i in large) * 200 == pytest.approx(-log(0.6), rel=1e-2)
    assert max(rates) <= -log(0.6) / 200


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
    scalar_day.one_step(pond, Day(190, 26.0, pellets_kg_per_ha=0.5), P, TABLES, 1.0)
    eaten = sum(g.pellets_eaten * was.biomass for was, g in zip(before.groups, pond.groups, strict=True))
    assert eaten == pytest.approx(0.5 * (1 - P.pellet_waste_share), rel=1e-9)
    for g, plain in zip(pond.groups, unfed.groups, strict=True):
        if g.species == BLUEGILL and g.length > 100:
            assert g.weight > plain.weight
            assert sum(g.food_eaten.values()) < sum(plain.food_eaten.values())
        elif g.species != BLUEGILL:
            assert g.pellets_eaten == 0.0
    cold = deepcopy(before)
    scalar_day.one_step(cold, Day(30, 12.0, pellets_kg_per_ha=2.0), P, TABLES, 1.0)
    assert all(g.pellets_eaten == 0.0 for g in cold.groups)


def test_stocked_fish_keep_number_mean_and_stated_spread():
    pond = pond_of(Stocking(BASS, 100.0, 200.0, 1.0, weight_g=110.0, length_cv=0.12, female_share=0.7))
    assert total(pond, BASS) == pytest.approx(100.0)
    assert sum(g.number for g in pond.groups if g.sex == "female") == pytest.approx(70.0)
    middle = [g for g in pond.groups if g.length == pytest.approx(200.0)]
    assert middle
    assert all(g.weight == pytest.approx(110.0) for g in middle)
    spread = sum(g.number * log(g.length / 200.0) ** 2 for g in pond.groups) / 100.0
    assert spread + P.length_cv**2 == pytest.approx(0.12**2, rel=1e-9)


def test_hatchery_fish_are_easier_prey_than_fish_long_in_the_pond(pond):
    scalar_day.one_step(pond, SUMMER, P, TABLES, 1.0)
    fresh = max(g.predation for g in pond.groups if g.species == BASS and g.length < 80)
    for g in pond.groups:
        g.days_since_stocked = 200.0
    scalar_day.one_step(pond, SUMMER, P, TABLES, 1.0)
    assert fresh > 5 * max(g.predation for g in pond.groups if g.species == BASS and g.length < 80)


def test_judge_reads_every_parameter_under_the_projects_names():
    parameters = scalar_day.one_member(load_parameters())
    assert vars(P).keys() <= vars(parameters).keys()
    assert parameters.max_intake_exponent == P.max_intake_exponent
    assert isinstance(parameters, SimpleNamespace)
