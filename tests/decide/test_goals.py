"""Goals, costs and repairs against Datasets made by hand."""

import datetime as dt
import re
import tomllib
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from scipy.special import ndtr
from small import dataset, pond, readings

import pondpop
from pondpop.decide import goals, harvest_outcome
from pondpop.decide.console import answer_text, balance_table
from pondpop.decide.details import details
from pondpop.decide.phrases import teller
from pondpop.scenario import resolve
from pondpop.scenario.schema import Liming
from pondpop.species import SPECIES, load_parameters

ALL_GOALS = """
[[goals]]
kind = "balanced"
[[goals]]
kind = "pounds_harvested"
[[goals]]
kind = "bass_above"
above_lb = 5
[[goals]]
kind = "cost"
[costs]
per_bass = 2
per_bluegill = 1
per_hour = 15
per_kg_feed = 3
"""


def fish(read, member=slice(None), survey=slice(None), bass=(60, 30, 10, 0), bluegill=(60, 30, 10)):
    """Bass at 9, 13, 16 and 21 in and bluegill at 4, 7 and 9 in, fish/ha: with the defaults bass PSD 40, PSD-P 10."""
    read["number"][member, survey, 0, :] = 0.0
    read["number"][member, survey, 1, :] = 0.0
    for k, n in zip((9, 13, 16, 21), bass, strict=True):
        read["number"][member, survey, 0, k] = n
    for k, n in zip((4, 7, 9), bluegill, strict=True):
        read["number"][member, survey, 1, k] = n


# --- ranges


def two_ponds(extra=ALL_GOALS, members=2, years=1):
    scenario = pond(members=members, years=years, extra=extra)
    read = readings(scenario)
    for one in read.values():
        fish(one)
    return scenario, read


def test_a_pond_inside_all_ranges_is_0_points_away():
    scenario, read = two_ponds()
    ds = dataset(scenario, read)
    np.testing.assert_allclose(goals.out_of_range(ds, "balanced"), 0.0)
    np.testing.assert_allclose(goals.chance_in_range(ds, "balanced"), 1.0)
    assert goals.both_in_range(ds, "balanced").all()


def test_points_outside_are_a_mean_over_the_indices_of_the_option():
    scenario, read = two_ponds()
    fish(read["few"], bass=(80, 20, 0, 0))  # PSD 20 (20 under), PSD-P 0 (10 under), PSD-M 0 (in range)
    away = goals.out_of_range(dataset(scenario, read), "balanced")
    np.testing.assert_allclose(away[0], (20 + 10 + 0 + 0 + 0) / 5)
    np.testing.assert_allclose(away[1], 0.0)
    # big bass: PSD-M of 10 to 25 wanted and none there
    np.testing.assert_allclose(goals.out_of_range(dataset(scenario, read), "big_bass")[1], (10 + 20 + 10 + 0 + 0) / 5)


def test_a_pond_without_stock_length_fish_is_as_far_as_can_be():
    scenario, read = two_ponds()
    fish(read["few"], bass=(0, 0, 0, 0))
    ds = dataset(scenario, read)
    np.testing.assert_allclose(goals.out_of_range(ds, "balanced")[0], 100 * 3 / 5)
    assert goals.chance_in_range(ds, "balanced").tolist() == [0.0, 1.0]


def test_the_end_is_the_mean_of_the_last_twelve_months():
    scenario, read = two_ponds(years=2)
    dates = scenario.run.survey_dates
    assert [str(d) for d in dates[-4:]] == ["2026-09-15", "2027-04-20", "2027-06-15", "2027-09-15"]
    values = np.arange(len(dates), dtype=float)[None, None, :]
    ds = dataset(scenario, read)
    assert goals.at_end(values, ds)[0, 0] == np.mean([3, 4, 5])
    assert goals.at_end(values, ds, by_year=1)[0, 0] == np.mean([0, 1, 2])
    values = values.copy()
    values[..., -1] = np.nan
    assert goals.at_end(values, ds)[0, 0] == 3.5


# --- big bass and harvest


def test_bass_above_a_weight_of_the_dataset_is_its_own_figure():
    scenario, read = two_ponds()
    read["few"]["bass_above"][..., 0] = 0.4
    found = goals.scores(dataset(scenario, read))[2]
    np.testing.assert_allclose(found.values[0], 0.4 * scenario.pond.area_ha)
    assert found.better == 1


def test_bass_above_another_weight_is_that_of_the_fish_not_of_classes():
    """A group of known weights, of which the Dataset holds some: what lies between is told to half a percent."""
    scenario, read = two_ponds()

    def heavier(grams):
        return 100.0 * ndtr((np.log(1200.0) - np.log(grams)) / 0.25)

    ds = dataset(scenario, read)
    read["few"]["bass_heavier"][:] = heavier(ds["bass_weight"].values)
    read["few"]["bass_above"][:] = heavier(ds["big_weight"].values)
    ds = dataset(scenario, read)
    for grams in (300.0, 777.0, 1200.0, 7.0 * 453.59237, 8.01 * 453.59237):
        np.testing.assert_allclose(goals.bass_above(ds, grams)[0], heavier(grams), rtol=5e-3)
    assert goals.bass_above(ds, 50.0)[0] == pytest.approx(100.0)
    assert (goals.bass_above(ds, 700.0)[1] == 0.0).all()
    falling = [goals.bass_above(ds, g)[0, 0, 0] for g in range(100, 1500, 50)]
    assert all(a >= b for a, b in pairwise(falling))


def test_harvest_counts_until_the_year_it_is_due():
    scenario, read = two_ponds("[[goals]]\nkind = 'pounds_harvested'\nby_year = 1\n", years=2)
    read["few"]["harvest_biomass"][:, :, 0] = 2.0
    months = 9  # April to December
    np.testing.assert_allclose(goals.scores(dataset(scenario, read))[0].values[0], 2.0 * months)


RULE = '[[strategies.few.harvest]]\nname="t"\nspecies="bass"\nlength_in=[8, 12]\nlb_per_acre=9\n'


def test_hours_of_harvest_are_fish_over_catch_per_hour_of_those_fish():
    scenario, read = two_ponds(RULE)
    read["few"]["harvest_number"][:, 2, 0] = 5.0
    read["few"]["catch_rate"][..., 0] = 2.0
    hours = harvest_outcome.harvest_hours(dataset(scenario, read), scenario)
    kept = 0.6  # 60 of 100 bass of 8 in and more are in the window
    np.testing.assert_allclose(hours[0, :, 2], 5.0 * scenario.pond.area_ha / (2.0 * kept))
    assert (hours[1] == 0).all()


def test_hours_of_large_bass_are_at_the_rate_of_large_bass():
    scenario, read = two_ponds(RULE.replace("[8, 12]", "[15, 20]"))
    read["few"]["harvest_number"][:, 2, 0] = 5.0
    read["few"]["number"][..., 0, 15:] = 0.0
    read["few"]["number"][..., 0, 15], read["few"]["number"][..., 0, 22] = 3.0, 1.0
    read["few"]["catch_rate"][..., 0], read["few"]["catch_rate"][..., 1] = 2.0, 0.4
    hours = harvest_outcome.harvest_hours(dataset(scenario, read), scenario)
    np.testing.assert_allclose(hours[0, :, 2], 5.0 * scenario.pond.area_ha / (0.4 * 0.75))


def test_hours_of_bluegill_count_too_and_those_of_other_months_rules_do_not():
    bluegill = RULE.replace("bass", "bluegill").replace('"t"', '"b"').replace("[8, 12]", "[6, 10]")
    bluegill += "season = ['05-01', '06-30']\n"
    later = RULE.replace('"t"', '"l"').replace("[8, 12]", "[12, 30]") + "season = ['07-01', '08-31']\n"
    scenario, read = two_ponds(bluegill + RULE.replace("lb_per_acre", "season = ['05-01', '06-30']\nlb_per_acre") + later)
    read["few"]["harvest_number"][:, 2, 0] = 5.0
    read["few"]["harvest_number"][:, 2, 1] = 7.0
    read["few"]["number"][..., 1, :] = 0.0
    read["few"]["number"][..., 1, 6], read["few"]["number"][..., 1, 11] = 400.0, 50.0
    read["few"]["catch_rate"][..., 0] = 2.0
    hours = harvest_outcome.harvest_hours(dataset(scenario, read), scenario)
    per_hour = harvest_outcome.CAUGHT_PER_HOUR["bluegill"] * 4.0 ** float(load_parameters().catch_density_exponent[0])
    area = scenario.pond.area_ha
    np.testing.assert_allclose(hours[0, :, 2], 5.0 * area / (2.0 * 0.6) + 7.0 * area / per_hour)


@pytest.mark.parametrize(("species", "an_hour"), [("bluegill", 2.0), ("redear", 1.0), ("shad", 50.0), ("minnow", 50.0)])
def test_of_a_hundred_forage_fish_a_hectare_so_many_are_caught_an_hour(species, an_hour):
    """Sunfish by angling, others by cast net or seine (assumed)."""
    rule = RULE.replace("bass", species).replace("[8, 12]", "[2, 10]")
    rule += f"[[strategies.few.stocking]]\nname='s'\nspecies='{species}'\ndate=2026-04-10\nper_acre=9\nlength_in=3\n"
    scenario, read = two_ponds(rule)
    place = SPECIES.index(species)
    read["few"]["harvest_number"][:, 2, place] = 7.0
    read["few"]["number"][..., place, :], read["few"]["number"][..., place, 3] = 0.0, 100.0
    hours = harvest_outcome.harvest_hours(dataset(scenario, read), scenario)
    np.testing.assert_allclose(hours[0, :, 2], 7.0 * scenario.pond.area_ha / an_hour)


def harvested(rules: str, kilograms: float, years: int = 3):
    """Asked and caught where bass of so many kg/ha are caught each June by the strategy "few"."""
    scenario, read = two_ponds(rules, years=years)
    read["few"]["harvest_biomass"][:, 2::12, 0] = kilograms
    return harvest_outcome.catches(dataset(scenario, read), scenario), dataset(scenario, read)


def test_asked_and_caught_are_of_the_years_whose_seasons_lie_within_the_run():
    (catch,), _ = harvested(RULE, 5.0)  # 1 April 2026 to 31 March 2029, season March to October
    assert (catch.strategy, catch.species, catch.amount, catch.years) == ("few", "bass", "kg_per_ha", (2027, 2028))
    np.testing.assert_allclose(catch.asked, 9 * 1.12085, rtol=1e-4)
    np.testing.assert_allclose(catch.caught, 5.0)
    np.testing.assert_allclose(catch.share, 5.0 / (9 * 1.12085), rtol=1e-4)


@pytest.mark.parametrize(("kilograms", "short"), [(9.2, False), (9.0, True)])  # 9/10 of 9 lb/acre are 9.08 kg/ha
def test_a_harvest_falls_short_where_less_than_nine_tenths_are_caught(kilograms, short):
    (catch,), made = harvested(RULE, kilograms)
    assert catch.falls_short == short
    told = teller(made, "us").shortfalls()
    assert len(told) == short
    if short:
        assert "asks for 9 lb/acre of bass a year in 2027–2028, and 8 are caught" in told[0]


@pytest.mark.parametrize(
    "other",
    [
        RULE.replace('"t"', '"u"').replace("lb_per_acre=9", "share=0.2"),
        RULE.replace('"t"', '"u"').replace("lb_per_acre=9", "per_acre=9"),
    ],
)
def test_rules_that_the_catch_cannot_tell_apart_are_left_out(other):
    assert harvested(RULE + other, 5.0)[0] == []


def test_the_table_on_the_screen_says_what_its_signs_are():
    scenario, read = two_ponds()
    head = balance_table(dataset(scenario, read), "us").splitlines()[0]
    assert "[8 of 10 futures]" in head and "F/C: weight of forage fish over weight of bass" in head


# --- costs


def test_costs_add_up_from_prices():
    scenario, read = two_ponds(ALL_GOALS + RULE)
    area = scenario.pond.area_ha
    read["few"]["pellets_given"][:, :3] = 4.0
    read["few"]["harvest_number"][:, 2, 0] = 5.0
    read["few"]["catch_rate"][..., 0] = 2.0
    cost = goals.costs(dataset(scenario, read))
    # per acre, acres, price; fish that live there are free
    np.testing.assert_allclose(cost.parts["fish"][:, 0], [30 * 2 * 2, 60 * 2 * 2])
    np.testing.assert_allclose(cost.parts["feed"][0], 12 * area * 3)
    np.testing.assert_allclose(cost.parts["hours of harvest"][0], 15 * 5 * area / (2 * 0.6))
    np.testing.assert_allclose(cost.total, sum(cost.parts.values()))
    assert cost.unpriced == ()


def test_each_big_bass_costs_all_that_is_paid_over_how_many_there_are_and_the_answer_compares_it():
    scenario, read = two_ponds(extra='[[goals]]\nkind = "bass_above"\nabove_lb = 5\n[costs]\nper_bass = 2\n')
    area, per_acre = scenario.pond.area_ha, 1 / 0.40468564224
    for name, there in (("few", 3.0), ("many", 2.0)):
        read[name]["bass_above"][...] = there / area
    read["many"]["bass_above"][1] = 0.01 / area  # hardly any in one future
    ds = dataset(scenario, read)
    (score,), cost = goals.scores(ds), goals.costs(ds)
    bought = 2 * per_acre * area * np.array([30.0, 60.0])
    np.testing.assert_allclose(goals.cost_per_fish(cost, score), [[bought[0] / 3] * 2, [bought[1] / 2, np.inf]])
    told = teller(ds, "us")
    assert told.each() == f"for each of the bass above 5 lb (2.27 kg): {told.short[0]} USD 40 and {told.short[1]} USD 120."
    assert re.search(r"USD for each.*\n.*few.* 40\b.*\n.*many.* 120\b", answer_text(told))
    named = [one.words for one in details(told) if one.topic == "cost"]
    assert any(words.startswith("Cost for each of the bass above 5 lb") for words in named)


@pytest.mark.parametrize("name", ["bass_size_and_season", "ten_pounder_northern_or_first_cross"])
def test_a_shipped_question_about_bought_bass_compares_what_each_big_one_costs(name, tmp_path):
    content = tomllib.loads((Path(__file__).parents[2] / "scenarios" / f"{name}.toml").read_text("utf-8"))
    content["run"]["years"], content["ensemble"] = 3, {"members": 2}
    content["goals"][0]["above_lb"] = 0.7  # three years are too few for a trophy
    content.pop("what_if", None)
    found = pondpop.compare(resolve(content))
    told = teller(found, "us")
    assert told.each().startswith("for each of the bass above 0.7 lb")
    assert all(f"{short} USD" in told.each() for short in told.short)
    pondpop.write_report([found], tmp_path / "page.html")
    page = re.sub("<[^>]*>", "", (tmp_path / "page.html").read_text("utf-8"))
    assert "cost for each of them, USD" in page and "Cost of each" in page and "Died of the move" in page
    assert (name == "bass_size_and_season") is not ("Share of the blood of Florida bass" in page)


def test_what_has_no_price_is_named():
    scenario, read = two_ponds("[[goals]]\nkind='cost'\n[costs]\nper_minnow = 1\n")
    read["few"]["pellets_given"][:] = 1.0
    assert goals.costs(dataset(scenario, read)).unpriced == ("bass", "feed")


@pytest.mark.parametrize(("level", "unpriced"), [('"unfertilized"', ()), ("0.36", ("fertilizer",))])
def test_only_where_something_is_spread_does_fertilizer_lack_a_price(level, unpriced):
    rule = f"[[strategies.few.fertilization]]\nlevel={level}\nfrom=2026-05-01\nto=2026-09-30\n"
    scenario, read = two_ponds("[costs]\nper_bass=1\nper_bluegill=1\n" + rule)
    assert goals.costs(dataset(scenario, read)).unpriced == unpriced


@pytest.mark.parametrize(("amount", "paid"), [(0.0, 0.0), (0.5, 900.0)])
@pytest.mark.parametrize(
    ("part", "event"),
    [("removals", "removal]]\nspecies='bass'\nshare"), ("plants and level", "grass_carp]]\nper_acre"),
     ("fertilizer and lime", "")],
)  # fmt: skip
def test_what_is_done_to_an_amount_of_nothing_costs_nothing(part, event, amount, paid):
    """As a sweep or a plan tries it, whose first value is often 0; nor does it lack a price."""
    for cost in (900.0, None):
        done = f"[[strategies.few.{event}={amount}\ndate=2026-07-01\n" + (f"cost={cost}\n" if cost else "") if event else ""
        scenario, read = two_ponds("[[goals]]\nkind='cost'\n[costs]\nper_bass=1\n" + done)
        if not event:
            few, many = scenario.strategies.values()
            few = few._replace(liming=(Liming("lime", dt.date(2026, 7, 1), amount, cost),))
            soft = scenario.pond._replace(alkalinity_mg_l=9.0)
            scenario = scenario._replace(pond=soft, strategies={"few": few, "many": many})
        found = goals.costs(dataset(scenario, read))
        assert found.parts[part].tolist() == ([[paid, paid], [0.0, 0.0]] if cost else [[0.0, 0.0]] * 2)
        assert bool(set(found.unpriced) - {"feed", "bluegill"}) == (cost is None and amount > 0)


# --- repairs


def test_a_repair_counts_years_fish_and_seasons():
    extra = '[[strategies.many.removal]]\nspecies="bass"\ndate=2026-05-01\nshare=0.5\ncost=100\n'
    scenario, read = two_ponds(extra, members=5, years=2)
    fish(read["few"], survey=slice(0, 3), bass=(95, 5, 0, 0))
    fish(read["many"], member=slice(0, 2), bass=(95, 5, 0, 0))
    read["many"]["removed_number"][:, 1, 0] = 10.0
    for one in read.values():
        one["catch_rate"][..., 0] = 1.0
    read["many"]["catch_rate"][:, 2:9, 0] = 0.1
    found = goals.repair(dataset(scenario, read))
    assert found.years["few"] == pytest.approx((scenario.run.survey_dates[3] - scenario.run.start).days / 365.25)
    assert found.years["many"] is None  # three of five members are not 80 %
    np.testing.assert_allclose(found.taken_out["many"][:, 0], 10 * scenario.pond.area_ha)
    assert found.put_in["many"][0] == pytest.approx(120)  # 60 per acre on two acres; residents were there
    assert found.seasons_lost.tolist() == [[0] * 5, [1] * 5]


@pytest.mark.parametrize(("month", "lost"), [(10, 1), (11, 0), (18, 0), (19, 1)])  # February, March, October, November
def test_a_season_of_fishing_is_march_to_october(month, lost):
    scenario, read = two_ponds("", members=1, years=2)
    for one in read.values():
        one["catch_rate"][..., 0] = 1.0
        one["catch_rate"][:, 11:19, 0] = 0.45  # all of the second season just below half of the first month
        one["catch_rate"][:, month, 0] = 0.95
    assert goals.repair(dataset(scenario, read)).seasons_lost.tolist() == [[lost], [lost]]


@pytest.mark.parametrize(("first", "lost"), [(7, 2), (8, 1)])
def test_a_year_is_lost_only_if_the_run_holds_four_months_of_its_season(first, lost):
    """Of twelve months from July the first year has July to October, from August three of them; both have enough of the next."""
    scenario, read = two_ponds("", members=1)
    read["few"]["catch_rate"][:, 1:, 0], read["few"]["catch_rate"][:, 0, 0] = 0.1, 1.0
    made = dataset(scenario, read)
    months = np.arange(12) + np.datetime64(f"2026-{first:02d}")
    made = made.assign_coords(month=months.astype(made["month"].dtype))
    assert goals.repair(made).seasons_lost[0].tolist() == [lost]


@pytest.mark.parametrize(("out", "reached"), [(1, True), (2, False)])
def test_a_range_is_reached_where_four_of_five_futures_are_in_it(out, reached):
    scenario, read = two_ponds("", members=5)
    fish(read["few"], member=slice(0, out), bass=(95, 5, 0, 0))
    assert (goals.repair(dataset(scenario, read)).years["few"] is not None) == reached


def test_survivors_are_at_most_all_and_unknown_of_none():
    assert goals.survivors(np.array([0.0, 30.0, 66.0]), 60.0).tolist() == [0.0, 0.5, 1.0]
    assert np.isnan(goals.survivors(np.array([0.0]), 0.0)).all()


def test_one_chance_of_a_big_bass_is_that_of_the_last_survey():
    scenario, read = two_ponds("[[goals]]\nkind='bass_above'\nabove_lb=5\n", years=2)
    read["few"]["bass_above"][:, :, 0] = np.linspace(0.0, 0.7, len(scenario.run.survey_dates))
    made = dataset(scenario, read)
    last = 1 - np.exp(-0.7 * scenario.pond.area_ha)
    np.testing.assert_allclose(goals.chance_of_one(made, scenario.goals[0]), [last, 0.0])
    assert goals.last_survey(made, by_year=1) == 2 and goals.last_survey(made) == 5
