"""Chance: prefixes, shared luck, means and spreads of what members are dealt."""

import datetime as dt

import numpy as np
import pytest
from small import pond, raw

from pondpop.ensemble.draws import (
    Prior,
    _spells,
    at_least_one,
    draw_luck,
    draw_parameters,
    multiplier,
    normal,
    streams,
    uniform,
    whole_fish,
)
from pondpop.model.inputs import Luck
from pondpop.scenario import SPREADS, resolve
from pondpop.species import find, load_parameters, uncertain

ASKED_FOR = ("missed_males", "truck", "whole", "arrived")  # dealt only where they are
FIELDS = tuple(name for name in Luck.__dataclass_fields__ if name not in ASKED_FOR)


def luck(scenario, strategy="few", first=0, members=4):
    return Prior().draw(scenario, scenario.strategies[strategy], first, members)[1]


def spreads(scenario, **changes):
    ensemble = scenario.ensemble
    return scenario._replace(ensemble=ensemble._replace(spreads=ensemble.spreads | changes))


def no_spreads(scenario, **changes):
    return spreads(scenario, **(dict.fromkeys(SPREADS, 0.0) | changes))


def test_uniforms_lie_inside_and_are_even():
    u = uniform(1, "test", range(200), 500)
    assert u.min() > 0.0 and u.max() < 1.0
    counts = np.histogram(u, bins=20, range=(0, 1))[0]
    assert ((counts - 5000) ** 2 / 5000).sum() < 45  # chi-square with 19 degrees of freedom, p about 0.001
    assert abs(np.corrcoef(u[:100].ravel(), u[100:].ravel())[0, 1]) < 0.02


@pytest.mark.parametrize("raw_output", [0, 1, 2**52, 2**63, 2**64 - 2**11, 2**64 - 1])
def test_ends_are_excluded_at_the_ends_of_the_raw_output(monkeypatch, raw_output):
    class Fixed:
        def __init__(self, _):
            pass

        def random_raw(self, size):
            return np.full(size, raw_output, np.uint64)

    monkeypatch.setattr(np.random, "PCG64", Fixed)
    u = uniform(1, "test", range(2), 3)
    assert (u > 0.0).all() and (u < 1.0).all()
    assert np.isfinite(normal(1, "test", range(2), 3)).all()


def test_streams_differ_by_decision_member_and_seed():
    draws = [uniform(s, d, range(k, k + 1), 3)[0, 0] for s in (1, 2) for d in ("a", "b") for k in (0, 1)]
    assert len(set(draws)) == len(draws)


@pytest.mark.parametrize("name", FIELDS)
def test_the_first_members_of_many_are_a_run_of_few(name):
    scenario = pond()
    many, few = luck(scenario, members=9), luck(scenario, members=4)
    np.testing.assert_array_equal(getattr(many, name)[:4], getattr(few, name))
    np.testing.assert_array_equal(getattr(many, name)[5:], getattr(luck(scenario, first=5, members=4), name))
    assert not np.array_equal(getattr(many, name)[0], getattr(many, name)[1])


def test_parameters_are_prefixes_and_stay_in_their_range():
    scenario = spreads(pond(), parameters=3.0)
    strategy = scenario.strategies["few"]
    many = Prior().draw(scenario, strategy, 0, 200)[0]
    few = Prior().draw(scenario, strategy, 0, 20)[0]
    living = {"pond", *(event.species for event in strategy.stocking)}  # what does not live there is dealt nothing
    for path in uncertain():
        if path.partition(".")[0] not in living:
            continue
        values = many.value(path)
        np.testing.assert_array_equal(values[:20], few.value(path))
        assert find(path).low <= values.min() < values.max() <= find(path).high


@pytest.mark.parametrize(("dealt", "side"), [(0.9, 1), (0.1, -1)])
def test_who_is_dealt_much_has_the_larger_values(dealt, side):
    drawn = draw_parameters(pond(members=1), lambda decision, size: np.full((1, size), dealt))
    paths = [path for path in uncertain() if path.startswith("bass.")]
    assert paths and {float(np.sign(drawn.value(path)[0] - find(path).value)) for path in paths} == {side}


def test_strategies_share_all_their_luck():
    scenario = pond()
    for name in FIELDS:
        np.testing.assert_array_equal(getattr(luck(scenario, "few"), name), getattr(luck(scenario, "many"), name))


def test_no_more_fish_live_after_the_move_than_were_bought():
    scenario = spreads(pond(), stocking_survival=0.5)
    events = scenario.strategies["few"].stocking
    survival = luck(scenario, members=200).stocking_survival
    resident = np.array([event.resident for event in events])
    assert survival[:, ~resident].max() == 1.0 and survival[:, ~resident].min() < 0.5
    assert survival[:, resident].max() > 1.5  # of fish that live there the number is in doubt both ways


@pytest.mark.parametrize("doubt", ["number_cv", "share_cv"])
def test_doubt_about_a_number_is_the_coefficient_of_variation_of_a_log_normal(doubt):
    """Its logarithm has the variance log(1 + CV²), so that one deviate tells all of them, whatever the doubt."""

    def logarithms(cv):
        content = raw()
        content["strategies"]["few"]["stocking"][0] |= {doubt: cv}
        scenario = no_spreads(resolve(content))
        place = [event.name for event in scenario.strategies["few"].stocking].index("young_bass")
        return np.log(luck(scenario, members=400).stocking_survival[:, place])

    deviates = [(logarithms(cv) + np.log1p(cv**2) / 2) / np.sqrt(np.log1p(cv**2)) for cv in (0.3, 1.7)]
    np.testing.assert_allclose(*deviates, atol=1e-9)
    assert abs(deviates[0].mean()) < 0.2 and deviates[0].std() == pytest.approx(1.0, abs=0.15)


@pytest.mark.parametrize(("per_acre", "error", "on_average"), [(50, 0.1, 9.0), (50, 0.0, 0.0), (0.5, 0.5, None)])
def test_males_taken_for_females_are_whole_fish_as_many_as_said_and_no_more_than_there_are(per_acre, error, on_average):
    content = raw(only="few")
    content["strategies"]["few"]["stocking"][0] |= {"per_acre": per_acre, "female_share": 0.9, "sexing_error": error}
    content["stocking"][0] |= {"female_share": 0.5, "sexing_error": 0.1}  # of other fish
    scenario = resolve(content)
    place = [event.name for event in scenario.strategies["few"].stocking].index("young_bass")
    share, females = luck(scenario, members=400).missed_males[:, place], 2 * per_acre * 0.9  # of two acres
    if on_average is None:  # of less than one fish
        assert set(share) == {0.0, 1.0}
    else:
        np.testing.assert_allclose(share * females, np.rint(share * females), atol=1e-9)
        assert abs((share * females).mean() - on_average) <= 5 * np.sqrt(on_average / 400)


def test_wild_fish_come_in_as_many_years_as_said():
    comes = {"name": "wild", "species": "redear", "per_acre": 100, "length_in": 4}
    flood = comes | {"name": "flood", "date": dt.date(2026, 5, 1)}
    scenario = resolve(raw(years=2) | {"arrival": [comes | {"chance": 0.2}, flood]})
    arrived = luck(scenario, members=400).arrived
    assert abs(arrived[:, 0].mean() - 0.2) < 5 * np.sqrt(0.16 / 1200) and set(arrived[:, 0].ravel()) == {0.0, 1.0}
    assert (arrived[:, 1] == 1.0).all()  # on a day that is named


def test_an_event_keeps_its_luck_whatever_else_is_stocked():
    extra = (
        '[[strategies.many.stocking]]\nname = "a_first"\nspecies = "minnow"\ndate = 2026-04-02\n'
        "per_acre = 9\nlength_in = 2\n"
    )
    more = pond(extra=extra)
    names = [event.name for event in more.strategies["many"].stocking]
    before = [event.name for event in pond().strategies["many"].stocking]
    assert names.index("young_bass") != before.index("young_bass")
    np.testing.assert_array_equal(
        luck(more, "many").stocking_survival[:, names.index("young_bass")],
        luck(pond(), "many").stocking_survival[:, before.index("young_bass")],
    )


def test_an_event_keeps_its_luck_when_its_date_and_number_change():
    content = raw()
    content["strategies"]["few"]["stocking"][0] |= {"date": dt.date(2026, 6, 1), "per_acre": 99}
    moved = luck(resolve(content)).stocking_survival
    np.testing.assert_array_equal(np.sort(moved), np.sort(luck(pond()).stocking_survival))


def test_a_longer_run_begins_with_the_luck_of_a_shorter_one():
    long, short = luck(pond(years=3)), luck(pond(years=1))
    for name in ("productivity", "recruitment", "background_deaths", "angler_success"):
        years = getattr(short, name).shape[-1]
        np.testing.assert_array_equal(getattr(long, name)[..., :years], getattr(short, name))
    for name in ("water_c", "cloud", "wind", "bloom"):
        np.testing.assert_array_equal(getattr(long, name)[:, :365], getattr(short, name))


def test_without_spreads_luck_is_neutral():
    scenario = no_spreads(pond())
    parameters, dealt = Prior().draw(scenario, scenario.strategies["few"], 0, 3)
    neutral = Luck.none(3, dealt.water_c.shape[1], 2, dealt.stocking_survival.shape[1])
    for name in set(FIELDS) - {"survey"}:
        np.testing.assert_array_equal(getattr(dealt, name), getattr(neutral, name))
    assert parameters.members == 1
    np.testing.assert_array_equal(parameters.max_intake_at_1_g, load_parameters().max_intake_at_1_g)


FIELD_OF = {
    "productivity": "productivity",
    "growth": "growth",
    "recruitment": "recruitment",
    "natural_mortality": "background_deaths",
    "stocking_survival": "stocking_survival",
    "angler_success": "angler_success",
    "weather_year": "water_c",
    "weather_day": "water_c",
    "weather_cloud": "cloud",
    "weather_wind": "wind",
    "bloom_collapse": "bloom",
}


@pytest.mark.parametrize(("source", "name"), FIELD_OF.items())
def test_each_spread_moves_what_it_names_and_nothing_else(source, name):
    scenario = no_spreads(pond(), **{source: 0.5})
    dealt = draw_luck(scenario, scenario.strategies["few"], streams(scenario.ensemble.seed, range(400)))
    for other in set(FIELDS) - {"survey", name}:
        assert np.ptp(getattr(dealt, other)) == 0.0
    values = getattr(dealt, name).reshape(400, -1)[:, 0]
    if name in ("water_c", "cloud"):
        assert abs(values.mean()) < 0.08 and 0.44 < values.std() < 0.56
    elif name == "bloom":  # numbers between 0 and 1, twice as high as the chance is halved
        assert 0.9 < values.mean() < 1.1 and values.max() < 2.0 and (values < 0.2).mean() == pytest.approx(0.1, abs=0.05)
    else:
        assert 0.93 < values.mean() < 1.07  # five standard errors of a mean of 1 would be 0.13
        assert 0.44 < np.log(values).std() < 0.56


def test_each_day_remembers_the_last():
    scenario = no_spreads(pond(), weather_day=1.5)
    water = draw_luck(scenario, scenario.strategies["few"], streams(scenario.ensemble.seed, range(60))).water_c
    ahead = np.corrcoef(water[:, :-1].ravel(), water[:, 1:].ravel())[0, 1]
    assert ahead == pytest.approx(0.8, abs=0.02)
    assert water.std() == pytest.approx(1.5, abs=0.05)


def test_dark_and_still_days_come_in_spells():
    scenario = pond()
    dealt = draw_luck(scenario, scenario.strategies["few"], streams(scenario.ensemble.seed, range(60)))
    for air, memory, spread in ((dealt.cloud, 0.65, 1.0), (np.log(dealt.wind), 0.5, 0.5)):
        ahead = np.corrcoef(air[:, :-1].ravel(), air[:, 1:].ravel())[0, 1]
        assert ahead == pytest.approx(memory, abs=0.02)
        assert air.std() == pytest.approx(spread, abs=0.03)
    bloom = dealt.bloom
    assert abs(np.corrcoef(bloom[:, :-1].ravel(), bloom[:, 1:].ravel())[0, 1]) < 0.02


def test_a_day_of_a_spell_is_what_it_remembers_and_as_much_fresh_as_keeps_the_spread():
    fresh = np.array([[1.0, 0.5, -2.0], [0.3, 0.0, 1.0]])
    second = 0.6 * fresh[:, 0] + 0.8 * fresh[:, 1]
    known = [fresh[:, 0], second, 0.6 * second + 0.8 * fresh[:, 2]]
    np.testing.assert_allclose(_spells(fresh, 0.6), np.transpose(known), rtol=1e-12)


def test_where_oxygen_is_left_out_no_luck_of_it_is_dealt():
    asked = []
    scenario = pond(extra="[oxygen]\nrisk = false\n")

    def deal(decision, size):
        asked.append(decision)
        return streams(1, range(2))(decision, size)

    dealt = draw_luck(scenario, scenario.strategies["few"], deal)
    assert not {"cloud", "wind", "bloom"} & set(asked)
    assert (dealt.cloud == 0.0).all() and (dealt.wind == 1.0).all() and (dealt.bloom == 1.0).all()


def test_the_weather_of_the_year_changes_on_new_years_day():
    scenario = no_spreads(pond(), weather_year=1.0)
    water = draw_luck(scenario, scenario.strategies["few"], streams(scenario.ensemble.seed, range(3))).water_c
    changes = np.flatnonzero(np.abs(np.diff(water[0])) > 0)
    assert list(changes) == [274]  # 31 December is day 274 from 1 April


def test_multipliers_have_a_mean_of_one():
    z = normal(3, "mean", range(400), 500)
    for spread in (0.1, 0.4, 1.0):
        factors = multiplier(z, spread)
        assert factors.mean() == pytest.approx(1.0, abs=5 * factors.std() / np.sqrt(z.size))


def test_whole_fish_of_a_small_pond():
    assert at_least_one(np.array([0.0, 0.0])) == 0.0
    assert at_least_one(np.array([0.3])) == pytest.approx(1 - np.exp(-0.3))
    mixed = at_least_one(np.array([0.0, 2.0]))
    assert mixed == pytest.approx((1 - np.exp(-2.0)) / 2)
    assert mixed < 1 - np.exp(-1.0)  # members that differ hold fewer "at least one" than their mean would


@pytest.mark.parametrize(("acres", "whole"), [(0.2, True), (1.0, True), (1.01, False), (20.0, False)])
def test_fish_are_whole_in_ponds_of_up_to_an_acre_as_the_page_of_keys_says(acres, whole):
    content = raw(only="few")
    content["pond"]["area_acres"] = acres
    scenario = resolve(content)
    assert whole_fish(scenario) == whole == (luck(scenario).whole is not None)
    assert not whole_fish(spreads(scenario, whole_fish=0.0))


def test_an_acre_is_one_in_hectares_too():
    content = raw(only="few")
    del content["pond"]["area_acres"]
    assert [whole_fish(resolve(content | {"pond": content["pond"] | {"area_ha": ha}})) for ha in (0.405, 0.406)] == [True, False]


def test_what_is_dealt_is_shared_and_none_of_those_who_share_it_can_change_it():
    first = streams(1, range(2))("cloud", 3)
    with pytest.raises(ValueError, match="read-only"):
        first[0, 0] = 0.5
    assert streams(1, range(2))("cloud", 3) is first
    other_seed, other_members = streams(2, range(2))("cloud", 3), streams(1, range(1, 3))("cloud", 3)
    assert (other_seed != first).all()
    np.testing.assert_array_equal(other_members[0], first[1])
    np.testing.assert_array_equal(streams(1, range(2))("cloud", 3), first)
