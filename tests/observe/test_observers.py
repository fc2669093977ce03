"""What is read off a pond: fish counted one by one at many quantiles of every group, budgets of the year, water by month."""

from types import SimpleNamespace

import numpy as np
import pytest
from laws import inputs
from scipy.special import ndtr, ndtri

from pondpop.assess.size_and_condition import INCH_EDGES_MM, LENGTH_CLASSES
from pondpop.model import bioenergetics, harvest, oxygen
from pondpop.model.day import Engine
from pondpop.model.grid import GRID_MM
from pondpop.model.oxygen import MOVED
from pondpop.model.predation import prey_size_kernel
from pondpop.observe import indices, observers
from pondpop.observe.gears import gear, log_chance
from pondpop.observe.observers import (
    AGES,
    AXES,
    BASS_CLASSES_IN,
    BASS_WEIGHTS_G,
    BIG_BASS_LB,
    LENGTH_CLASSES_IN,
    Surveys,
    Water,
    _age0,
    _by_age,
    _stocked_groups,
    largest_weight,
    project,
    read_month,
    read_survey,
    year_classes,
)
from pondpop.species import MEASURED, SPECIES
from pondpop.units import G_PER_LB, MM_PER_IN

BASS = SPECIES.index("bass")
POINTS = 4001


@pytest.fixture(scope="module")
def engine():
    """A pond of everything, half a year on: with fish born in it, some of them cut off by a removal."""
    made = Engine(inputs())
    for _ in range(130):
        made.run_day()
    return made


@pytest.fixture(scope="module")
def counted(engine):
    """Length, weight and number of single fish [member, group, fish], equally many of each group."""
    every = engine.lengths(slice(None))
    low, high = (np.broadcast_to(ndtr(z), engine.state.number.shape)[..., None] for z in (every.low, every.high))
    z = ndtri(low + (high - low) * (np.arange(POINTS) + 0.5) / POINTS)
    length = np.exp(every.middle[..., None] + every.sd[..., None] * z)
    heavy = length ** np.broadcast_to(engine.group.ws_slope, engine.state.number.shape)[..., None]
    weight = engine.state.weight()[..., None] * heavy / heavy.mean(axis=-1, keepdims=True)
    number = np.broadcast_to(engine.state.number[..., None] / POINTS, length.shape)
    return SimpleNamespace(length=length, weight=weight, number=number)


@pytest.fixture(scope="module")
def survey(engine):
    return read_survey(engine)


def test_fish_and_weight_by_class_are_those_of_single_fish(engine, counted, survey):
    inch = np.minimum((counted.length / MM_PER_IN).astype(int), LENGTH_CLASSES_IN[-1])
    for k, groups in enumerate(engine.slices):
        for name, amount in (("number", counted.number), ("biomass", counted.number * counted.weight / 1000.0)):
            found = [
                np.bincount(inch[m, groups].ravel(), weights=amount[m, groups].ravel(), minlength=32)
                for m in range(engine.state.members)
            ]
            most = survey[name][:, k].max()
            assert (most > 0.0) == (groups.stop > groups.start)
            np.testing.assert_allclose(survey[name][:, k], found, atol=2e-3 * most, err_msg=f"{name} of {SPECIES[k]}")


def test_bass_above_a_weight_are_those_of_single_fish(engine, counted, survey):
    bass = engine.slices[BASS]
    for name, weights in (("bass_above", np.array(BIG_BASS_LB) * G_PER_LB), ("bass_heavier", BASS_WEIGHTS_G)):
        for k, grams in enumerate(weights):
            heavier = (counted.number * (counted.weight > grams))[:, bass].sum(axis=(1, 2))
            np.testing.assert_allclose(survey[name][:, k], heavier, atol=2e-3 * engine.state.number[:, bass].sum())
    assert (survey["bass_heavier"][:, 0] > survey["bass_heavier"][:, 20]).all()


def test_one_fish_of_the_pond_is_heavier_than_the_largest_weight(engine, counted, survey):
    for k, groups in enumerate(engine.slices):
        fish = counted.number[:, groups] * engine.inputs.area_ha
        if not fish.size:
            assert np.isnan(survey["largest_weight"][:, k]).all()
            continue
        for member in range(engine.state.members):
            heavier = fish[member][counted.weight[member, groups] > survey["largest_weight"][member, k]].sum()
            assert heavier == pytest.approx(1.0, abs=0.01 + 1.01 * fish[member].max())


def test_relative_weight_is_that_of_the_fish_of_a_class(engine, survey):
    for name in MEASURED:
        k = SPECIES.index(name)
        mean = indices.class_mean(survey["relative_weight"], survey["number"], name, 0, 32)
        groups, fish = engine.slices[k], engine.state.number[:, engine.slices[k]]
        if fish.sum() > 0.0:
            condition = 100.0 * np.exp(engine.log_condition()[:, groups])
            np.testing.assert_allclose(mean, (fish * condition).sum(axis=1) / fish.sum(axis=1), rtol=1e-6)


def test_ages_and_sexes_add_up_to_all_fish(engine, survey):
    s = engine.state
    for k, groups in enumerate(engine.slices):
        fish, females = s.number[:, groups], (s.number * s.columns.female_share)[:, groups]
        by_sex = survey["number_at_age"][:, k].sum(axis=-1)
        np.testing.assert_allclose(by_sex, np.stack([females.sum(axis=1), (fish - females).sum(axis=1)], axis=1), rtol=1e-9)
        at_age = survey["number_at_age"][:, k]
        length = (at_age * np.nan_to_num(survey["length_at_age"][:, k])).sum(axis=(1, 2))
        np.testing.assert_allclose(length, (fish * np.exp(s.log_length[:, groups])).sum(axis=1), rtol=1e-6)
        ages = engine.inputs.date(engine.day).year - np.array(
            [[(engine.inputs.start + np.timedelta64(int(np.floor(born)), "D").astype(object)).year for born in row]
             for row in np.broadcast_to(s.columns.born[:, groups], fish.shape)]
        )  # fmt: skip
        for age in AGES[:-1]:
            wanted = np.where(np.maximum(ages, 0) == age, fish, 0.0).sum(axis=1)
            np.testing.assert_allclose(at_age[..., age].sum(axis=1), wanted, atol=1e-9)


def test_what_stands_along_the_axes_of_sizes_and_ages():
    """The Dataset's axes, which scenarios, reports and records lean on."""
    inches, ages = AXES["length_class"].labels, AXES["age"].labels
    assert inches.tolist() == list(range(32)) and ages.tolist() == list(range(13))
    assert AXES["bass_class"].labels.tolist() == [2, 5, 8, 12, 15, 20]
    np.testing.assert_allclose(AXES["big_weight"].labels, [5 * 453.59237, 8 * 453.59237, 10 * 453.59237])
    weights = AXES["bass_weight"].labels
    assert weights[[0, -1]] == pytest.approx([100.0, 15_000.0]) and weights[1:] / weights[:-1] == pytest.approx(1.1, rel=0.002)
    assert AXES["catch_size"].labels.tolist() == [8, 15]
    assert inches.size == LENGTH_CLASSES
    np.testing.assert_allclose(INCH_EDGES_MM, 25.4 * np.arange(33))


def test_fish_older_than_the_last_age_stand_in_it():
    start = Engine(inputs())
    start.run_day()
    start.state.columns.born[:] = -40.0 * 365.25
    found = _by_age(start)["number_at_age"]
    assert found.any() and not found[..., :-1].any()


def test_year_classes_are_all_fish_by_the_year_in_which_they_hatched(engine, survey):
    s, year = engine.state, engine.inputs.start.year
    for name in ("bass", "bluegill"):
        found = year_classes(engine, name, year - 1, 3)  # before last year, of last year, and since
        k = SPECIES.index(name)
        np.testing.assert_allclose(found.sum(axis=2), survey["number"][:, k], rtol=1e-9, atol=1e-9)
        fish, born = s.number[:, engine.slices[k]], np.broadcast_to(s.columns.born, s.number.shape)[:, engine.slices[k]]
        hatched = np.vectorize(lambda day: engine.inputs.date(int(np.floor(day))).year)(born)
        for place, those in enumerate((hatched < year - 1, hatched == year - 1, hatched >= year)):
            np.testing.assert_allclose(found[:, :, place].sum(axis=1), (fish * those).sum(axis=1), rtol=1e-9, atol=1e-9)
        assert (found.sum(axis=1)[:, [0, 2]] > 1.0).all()
    empty = Engine(inputs())
    assert year_classes(empty, "bluegill", year, 2).shape == (2, 32, 2) and not year_classes(empty, "shad", year, 2).any()


def test_young_of_the_year_were_born_in_the_pond(engine, survey):
    s = engine.state
    born = [(s.number * (s.columns.origin < 0))[:, groups].sum(axis=1) for groups in engine.slices]
    np.testing.assert_allclose(survey["age0_number"], np.stack(born, axis=1), rtol=1e-9)  # all of them, in the first year
    assert survey["age0_number"].any()


def test_stocked_groups_are_their_own_fish(engine):
    s, weight = engine.state, engine.state.weight()
    found = _stocked_groups(engine, weight)
    for event in engine.inputs.stockings:
        k, own = event.origin, s.number * (s.columns.origin == event.origin)
        assert event.day < engine.day
        np.testing.assert_allclose(found["group_survivors"][:, k], own.sum(axis=1), rtol=1e-9)
        for name, of_group in (("group_weight", weight), ("group_length", np.exp(s.log_length))):
            mean = (own * of_group).sum(axis=1) / own.sum(axis=1)
            np.testing.assert_allclose(found[name][:, k], mean, rtol=1e-9)


def test_a_stocked_group_is_not_known_before_the_day_after_its_stocking():
    start = Engine(inputs())
    found = _stocked_groups(start, start.state.weight())  # before the events of the first day
    assert any(event.day == 0 for event in start.inputs.stockings)
    assert all(np.isnan(values).all() for values in found.values())


def test_blood_of_another_strain_is_told_by_the_weight_of_the_fish_that_have_it():
    made = Engine(inputs("", members=1))
    made.run_day()
    bass, s = made.slices[BASS], made.state
    s.columns.blood[:, bass] = np.linspace(0.0, 1.0, bass.stop - bass.start)
    kilograms = s.biomass()[0, bass]
    assert np.ptp(kilograms / s.number[0, bass]) > 0.01  # small fish and large ones
    told = read_survey(made)["other_blood"][0]
    assert told[BASS] == pytest.approx(np.average(s.columns.blood[0, bass], weights=kilograms), rel=1e-12)
    assert not np.delete(told, BASS).any()  # nor is it unknown where there are no fish


def test_big_bass_are_those_of_the_weights_that_the_page_names():
    assert AXES["big_weight"].labels / 453.59237 == pytest.approx([5.0, 8.0, 10.0])
    assert (BASS_WEIGHTS_G[0], BASS_WEIGHTS_G[-1]) == pytest.approx((100.0, 15_000.0))  # as a goal may name them


def test_needs_of_classes_add_up_and_anglers_catch_shares_of_the_stock(engine, counted):
    month = read_month(engine, 30)
    twice = read_month(engine, 60)
    np.testing.assert_allclose(twice["prey_need"], 2.0 * month["prey_need"], rtol=1e-12)
    np.testing.assert_array_equal(twice["edible_prey"], month["edible_prey"])
    bass = engine.slices[BASS]
    fish = counted.number[:, bass]
    longer = [np.where(counted.length[:, bass] >= inches * MM_PER_IN, fish, 0.0).sum(axis=(1, 2)) for inches in (8, 15)]
    share = month["catch_rate"][:, 1] / month["catch_rate"][:, 0]
    np.testing.assert_allclose(share, longer[1] / longer[0], atol=2e-3)
    lower = [inches * MM_PER_IN for inches in BASS_CLASSES_IN]
    length = counted.length[:, bass]
    some = [((length >= a) & (length < b)).any() for a, b in zip(lower, [*lower[1:], np.inf], strict=True)]
    assert ((month["prey_need"] > 1e-6).any(axis=0) <= np.array(some)).all()
    there = (engine.state.biomass().sum(axis=1) - engine.state.biomass()[:, bass].sum(axis=1))[:, None]
    assert (month["edible_prey"] >= 0.0).all() and (month["edible_prey"] <= there + engine.state.biomass()[:, bass].sum()).all()


# --- a whole run


@pytest.fixture(scope="module")
def run_of_a_year():
    made = inputs()
    return made, project(made, [20, 200], count_day=300)


def test_the_budget_of_a_year_closes(run_of_a_year):
    _, read = run_of_a_year
    for what, gains in (("number", ("stocked_number", "born_number")), ("biomass", ("stocked_biomass", "born_biomass"))):
        lost = read[f"deaths_{what}"].sum(axis=-1)
        came = sum(read[name] for name in gains)
        if what == "biomass":
            came = came + read["growth_biomass"] - read["spawning_biomass"]
        np.testing.assert_allclose(read[f"start_{what}"] + came - lost, read[f"end_{what}"], rtol=1e-6, atol=1e-6)
        np.testing.assert_allclose(read[f"start_{what}"][:, 1:], read[f"end_{what}"][:, :-1], rtol=1e-12)
    assert read["start_number"].shape[1] == 2  # April to March: two calendar years


def test_water_is_read_by_calendar_month(run_of_a_year):
    made, read = run_of_a_year
    dates = np.array([made.date(day) for day in range(made.days)], dtype="datetime64[M]")
    water = np.broadcast_to(made.water_c, (made.members, made.days))
    wanted = np.stack([water[:, dates == month].mean(axis=1) for month in np.unique(dates)], axis=1)
    np.testing.assert_allclose(read["water_temperature"], wanted, rtol=1e-12)
    at_end, moved = read["oxygen_at_end"], read["oxygen_moved"].sum(axis=-1)
    assert read["oxygen_moved"].shape[-1] == len(MOVED)
    np.testing.assert_allclose(at_end[:, :-1] + moved[:, 1:], at_end[:, 1:], rtol=1e-6, atol=1e-6)
    assert (read["dawn_oxygen"] <= at_end + 10.0).all() and (read["dawn_oxygen"] >= 0.0).all()
    assert ((read["oxygen_kill"] >= 0.0) & (read["oxygen_kill"] < 1.0)).all()


def test_nights_are_read_into_their_month_and_kills_one_after_another(monkeypatch):
    monkeypatch.setattr(oxygen, "moved", lambda days, nights, respires: np.full((len(MOVED), 1), float(len(nights))))
    month = np.array([0, 0, 0, 1, 1])
    dawn, dusk = [4.0, 2.0, 3.0, 6.0, 5.0], [9.0, 8.0, 7.0, 6.0, 5.0]
    killed = [0.5, None, 0.2, None, 0.1]
    with_oxygen, without = (Water(SimpleNamespace(members=1), month) for _ in range(2))
    by_day, parameters = SimpleNamespace(oxygen=object()), SimpleNamespace(bloom_respires_today=None)
    for day in range(6):
        night = SimpleNamespace(dawn=np.array([dawn[day - 1]]), dusk=np.array([dusk[day - 1]])) if day else None
        share = np.array([killed[day - 1]]) if day and killed[day - 1] is not None else None
        pond = SimpleNamespace(night=night, day=day, killed_share=share, by_day=by_day, parameters=parameters)
        with_oxygen(pond)
        without(SimpleNamespace(night=None, day=day, killed_share=None))
    read = with_oxygen.stacked()
    assert read["oxygen_kill"][0] == pytest.approx([1.0 - 0.5 * 0.8, 0.1])
    assert (list(read["dawn_oxygen"][0]), list(read["oxygen_at_end"][0])) == ([2.0, 5.0], [7.0, 5.0])
    assert (read["oxygen_moved"][0] == [[3.0], [2.0]]).all()
    nothing = without.stacked()
    assert np.isnan(nothing["dawn_oxygen"]).all() and np.isnan(nothing["oxygen_at_end"]).all()
    assert not nothing["oxygen_moved"].any() and not nothing["oxygen_kill"].any()


def test_harvest_and_catch_are_those_of_their_months(run_of_a_year):
    made, read = run_of_a_year
    by_year = read["deaths_number"][..., list(_causes()).index("harvest")].sum(axis=1)
    np.testing.assert_allclose(read["harvest_number"].sum(axis=1), by_year, rtol=1e-9)
    assert read["harvest_number"].shape[1] == 12 and read["survivors_counted"].shape == (made.members, len(made.stockings))


def _causes():
    from pondpop.model.budget import CAUSES

    return CAUSES


def test_a_survey_is_read_on_its_days_and_no_other():
    class Pond:
        day = 3

    survey = Surveys([5, 9], [7])
    survey(Pond())
    assert survey.read == {} and survey.days == {5, 7, 9} and survey.stacked([]) == {}


def test_each_survey_of_the_run_has_its_number_and_a_look_of_the_reader_s_own_has_none(monkeypatch):
    told = []
    monkeypatch.setattr(observers, "read_survey", lambda pond: {"number": pond.day, "relative_weight": -pond.day})
    monkeypatch.setattr(observers.harvest_control, "inform", lambda pond, *survey: told.append(survey))
    survey = Surveys([5, 9, 12], [7])
    for day in range(14):
        survey(SimpleNamespace(day=day))
    assert told == [(0, 5, -5), (1, 9, -9), (2, 12, -12)] and sorted(survey.read) == [5, 7, 9, 12]


# --- the chance of a catch


@pytest.mark.parametrize("outings", [1, 2])
def test_chances_of_all_catches_add_up_to_one(outings):
    used, mean = gear("electrofishing"), np.array([1.5, 0.5])
    first, second = np.meshgrid(np.arange(80.0), np.arange(80.0), indexing="ij")
    catch = np.stack([first, second], axis=-1)
    chance = np.exp(log_chance(catch, np.broadcast_to(mean, catch.shape), used, outings=outings))
    assert chance.sum() == pytest.approx(1.0, abs=1e-6)
    total = mean.sum()
    number, number_variance = (chance * (first + second)).sum(), total + total**2 * used.catch_cv**2 / outings
    assert number == pytest.approx(total, abs=1e-5)
    assert (chance * (first + second - total) ** 2).sum() == pytest.approx(number_variance, rel=1e-4)
    assert (chance * first).sum() == pytest.approx(mean[0], abs=1e-5)
    alone = np.exp(log_chance(catch, np.broadcast_to(mean, catch.shape), used, np.full(catch.shape[:-1], np.nan), outings))
    of_three = [alone[k, 3 - k] for k in range(4)]
    assert sum(of_three) == pytest.approx(1.0)  # of three fish measured, whatever their number
    m = outings * used.independent_fish
    share = np.dot(of_three, np.arange(4)) / 3
    assert share == pytest.approx(0.75)
    assert np.dot(of_three, (np.arange(4) - 2.25) ** 2) == pytest.approx(3 * 0.75 * 0.25 * (m + 3) / (m + 1))


def test_fish_that_were_not_measured_count_for_the_number_alone():
    used, mean = gear("electrofishing"), np.array([[30.0, 10.0]])
    some = np.array([[6.0, 2.0]])
    more, fewer = (log_chance(some, mean, used, np.array([n])) for n in (40.0, 400.0))
    assert more > fewer
    lengths = log_chance(some, mean, used, np.array([np.nan]))
    of_more = log_chance(2.0 * some, mean, used, np.array([40.0])) - log_chance(2.0 * some, mean, used, np.array([np.nan]))
    assert more - lengths == pytest.approx(of_more)


# --- few fish, and the year in which they were born


def test_fish_are_of_the_year_in_which_they_appeared_a_month_after_the_egg():
    start = Engine(inputs())
    start.run_day()
    new_year = -int(start.inputs.year_day[0])  # day of the run
    s = start.state
    s.columns.origin[:] = -1
    every = [s.number[:, groups].sum(axis=1) for groups in start.slices]
    for born, young in ((new_year - 30, 1.0), (new_year - 31, 0.0), (new_year + 60, 1.0)):
        s.columns.born[:] = born
        np.testing.assert_allclose(_age0(start), young * np.stack(every, axis=1), rtol=1e-12)
    s.columns.origin[:] = 0  # bought
    assert not _age0(start).any()


@pytest.mark.parametrize(("fish", "there"), [(0.97, False), (1.04, True)])
def test_a_pond_of_less_than_one_fish_has_no_largest(engine, fish, there):
    number = np.full((engine.state.members, 1), fish / engine.inputs.area_ha)
    found = largest_weight(engine, number, np.array([0]))
    assert np.isfinite(found).all() == there and np.isnan(found).all() == (not there)


def test_needs_of_bass_are_shared_out_among_classes_by_their_fish():
    start = Engine(inputs())
    start.run_day()
    s, bass = start.state, start.slices[BASS]
    s.spread[:, bass] = 1e-6
    start.spreads_changed()
    for k, inches in enumerate((3, 6, 9, 13, 18, 25)):
        s.log_length[:, bass] = np.log(inches * MM_PER_IN)
        need = read_month(start, 30)["prey_need"]
        assert (need[:, k] > 0.0).all() and not np.delete(need, k, axis=1).any()
        np.testing.assert_allclose(read_month(start, 1)["prey_need"] * 30, need)
        ration = bioenergetics.ration_of_condition(start.parameters, 0.95)[:, None]  # Wr 95, Anderson 1980
        eats = (s.biomass() * bioenergetics.max_intake(start))[:, bass] * ration  # kg/ha a day
        np.testing.assert_allclose(need[:, k], 30 * eats.sum(axis=1))
    p, catchable = start.parameters, s.number[:, bass].sum(axis=1)  # of 25 in
    s.wariness[:] = 0.0
    rate = harvest.catch_per_hour(catchable, p.catch_per_hour_at_100_per_ha, p.catch_density_exponent, 0.0)
    np.testing.assert_allclose(read_month(start, 30)["catch_rate"], rate[:, None] * np.ones(2))
    s.log_length[:, bass] = np.log(1.9 * MM_PER_IN)
    assert not read_month(start, 30)["prey_need"].any() and not read_month(start, 30)["catch_rate"].any()


def test_prey_is_edible_as_the_rule_of_prey_size_says_of_the_middle_of_a_class():
    start = Engine(inputs())
    start.run_day()
    s, p, bluegill = start.state, start.parameters, start.slices[SPECIES.index("bluegill")]
    s.number[:, : bluegill.start] = 0.0
    s.number[:, bluegill.stop :] = 0.0
    s.log_length[:, bluegill] = np.log(GRID_MM[20])
    start.columns_changed()
    edible = read_month(start, 30)["edible_prey"] / s.biomass().sum(axis=1)[:, None]
    kernel = prey_size_kernel(p)[0, SPECIES.index("bluegill"), 20]
    upper = (*BASS_CLASSES_IN[1:], BASS_CLASSES_IN[-1] * 1.2)
    for k, (low, high) in enumerate(zip(BASS_CLASSES_IN, upper, strict=True)):
        middle = np.interp(np.log((low * high) ** 0.5 * MM_PER_IN), np.log(GRID_MM), kernel)
        np.testing.assert_allclose(edible[:, k], middle, rtol=1e-9)


def test_of_a_block_a_variant_has_its_own_members_and_groups():
    """Groups stand where each variable has them; counted survivors have none but these."""
    read = {"survivors_counted": np.arange(12.0).reshape(4, 3), "group_weight": np.arange(24.0).reshape(4, 2, 3),
            "bass_above": np.arange(24.0).reshape(4, 2, 3)}  # fmt: skip
    own = observers.of_variant(read, slice(1, 3), 2)
    np.testing.assert_array_equal(own["survivors_counted"], read["survivors_counted"][1:3, :2])
    np.testing.assert_array_equal(own["group_weight"], read["group_weight"][1:3, :, :2])
    np.testing.assert_array_equal(own["bass_above"], read["bass_above"][1:3])
