"""Whole sentences of a comparison whose every number is known: two ponds of forty futures, worked out by hand.

“few” takes 5 kg/ha of bass in July of either year; both PSDs are in range in 30 of its 40 futures (bass PSD 50, or 0 where there
are no bass of 12 in) and in 10 of those of “many”; it holds 4 bass above 5 lb, “many” 9, and 10 kg/ha of bass for 25.
"""

from types import SimpleNamespace

import numpy as np
import pytest
from small import dataset, pond, raw, readings

from pondpop.decide import console, goals, harvest_outcome, limits
from pondpop.decide.phrases import teller
from pondpop.scenario import Removal, resolve

RULE = '[[strategies.few.harvest]]\nname = "t"\nspecies = "bass"\nlength_in = [8, 12]\nlb_per_acre = 10\n'
GOALS = """
[[goals]]
kind = 'balanced'
weight = 2
[[goals]]
kind = 'bass_above'
above_lb = 5
[[goals]]
kind = 'pounds_harvested'
matters_lb_per_acre = 5
[[goals]]
kind = 'cost'
matters = 50
[costs]
per_bass = 2
per_hour = 15
"""


@pytest.fixture(scope="module")
def told():
    scenario = pond(members=40, years=2, extra=GOALS + RULE)
    read = readings(scenario)
    for name, inside, big, crop in (("few", 30, 4.0, 10.0), ("many", 10, 9.0, 25.0)):
        one = read[name]
        one["number"][..., 0, 9], one["number"][..., 1, 4], one["number"][..., 1, 7] = 50.0, 60.0, 40.0
        one["number"][:inside, :, 0, 13] = 50.0
        one["biomass"][..., 0, 9], one["biomass"][..., 1, 4] = crop, 50.0
        one["bass_above"][..., 0] = big / scenario.pond.area_ha
        one["catch_rate"][:] = 2.0
    read["few"]["harvest_biomass"][:, [3, 15], 0], read["few"]["harvest_number"][:, [3, 15], 0] = 5.0, 20.0
    return teller(dataset(scenario, read), "us")


def test_balance_is_told_of_the_strategy_that_is_followed_and_chances_of_each(told):
    """The cheaper of the two, whose middle PSD is 0: in 2 of 10 futures, rounded down, it is in range."""
    assert told.expected() == (
        "With “many”, bass PSD 0 [0–50] and bluegill PSD 40, mean of the surveys of the last twelve months; these two middles "
        "read: bass small, bluegill in range: bass many. Both PSDs in the balanced ranges then: “few” in 7 of 10 futures "
        "and “many” "
        "in 2 of 10 futures. Chance of at least one of the bass above 5 lb (2.27 kg) in the pond at the last survey: “few” more "
        "than 9 of 10 and “many” more than 9 of 10."
    )


def test_points_off_a_range_are_a_mean_over_its_indices(told):
    """Of five, PSD-P of bass is 10 below its 10 to 40, that of bluegill 5 below its 5 to 20; PSD 0 of bass is 40 off."""
    off = goals.out_of_range(told.dataset, "balanced")
    assert off[0] == pytest.approx([3.0] * 30 + [11.0] * 10) and off[1] == pytest.approx([3.0] * 10 + [11.0] * 30)
    assert goals.chance_in_range(told.dataset, "balanced").tolist() == [0.75, 0.25]


def test_money_is_told_of_equals_and_what_more_of_it_buys(told):
    """60 and 120 fish at 2; 16.2 fish a July at 1 or 2 an hour (half or all of those of 8 in are under 12) at 15 an hour."""
    hours = 2 * 20 * told.scenario.pond.area_ha
    assert told.decision.cost.total[0].tolist() == pytest.approx([120 + 15 * hours] * 30 + [120 + 15 * hours / 2] * 10)
    assert told.money() == (
        "“few” USD 610 [360–610] and “many” USD 240 over 2 years; “few” costs USD 370 more than “many”, for 4 PSD points nearer "
        "the balanced ranges."
    )
    assert told.each() == "for each of the bass above 5 lb (2.27 kg): “few” USD 150 [91–150] and “many” USD 27."


def test_sureness_is_told_goal_by_goal(told):
    assert told.sureness() == (
        "“few” is better than “many” in 5 of 10 futures and worse in 5 of 10 (being near the balanced ranges: up to 8 PSD points "
        "nearer; bass above 5 lb (2.27 kg): 5 fewer; weight harvested in all: 8.9 lb/acre more; cost: USD 370 more [120–370]). A "
        "difference under 3 PSD points, 1 fish, 5 lb/acre or USD 50 does not matter."
    )
    assert told.next_steps() == (
        "10 April 2026: Stock 120 bass of 6 in (152 mm): 60 per acre (150 per ha) (with “many”). Then follow the calendar."
    )


def test_what_the_goals_do_not_count_is_told(told):
    """Of a whole season within the run, that of 2027, 10 lb/acre are asked for; 5 kg/ha are 4.5 lb/acre."""
    assert told.mind() == (
        "“many” takes out no bass, and the model makes too little of thinning crowded bass: where a survey finds them, "
        "this says little against thinning; “few” asks for 10 lb/acre of bass a year in 2027, and 4.5 are caught: its harvest "
        "is a ceiling, not a catch (too few such fish, or too few hours and bites); “few” is in the balanced ranges more often."
    )
    (catch,) = harvest_outcome.catches(told.dataset, told.scenario)
    assert (catch.years, catch.asked.tolist()) == ((2027,), [pytest.approx(11.2085, rel=1e-4)]) and catch.falls_short
    assert catch.share == pytest.approx(np.full(40, 5 / 11.2085), rel=1e-4)


def test_thinning_that_the_model_makes_too_little_of_is_told_where_bass_are_left_alone(told):
    def said(few, many):
        scenario = told.scenario._replace(strategies={"few": few, "many": many})
        return type(told).unthinned(SimpleNamespace(scenario=scenario, decision=told.decision, short=told.short))

    thins, leaves = told.scenario.strategies["few"], told.scenario.strategies["many"]
    assert told.decision.followed == 1 and len(said(thins, leaves)) == 1
    assert said(leaves, leaves) == said(thins, thins) == said(leaves, thins) == []
    of_bluegill = thins._replace(harvest=tuple(rule._replace(species="bluegill") for rule in thins.harvest))
    new = [one._replace(stocking=tuple(event._replace(resident=False) for event in one.stocking)) for one in (thins, leaves)]
    assert said(of_bluegill, leaves) == said(*new) == []


@pytest.mark.parametrize(("reason", "thins"), [("removal", True), ("die_off", False)])
def test_bass_that_are_taken_out_are_thinned_and_those_that_die_are_not(told, reason, thins):
    leaves = told.scenario.strategies["many"]
    out = Removal("out", "bass", told.scenario.run.start, (203.2, 304.8), share=0.5, reason=reason)
    scenario = told.scenario._replace(strategies={"few": leaves._replace(removals=(out,)), "many": leaves})
    said = type(told).unthinned(SimpleNamespace(scenario=scenario, decision=told.decision, short=told.short))
    assert len(said) == thins


def test_a_repair_is_told_with_fish_out_and_in(told):
    """16.2 bass of the pond a July; 30 and 60 an acre of two acres put in."""
    assert told.repair() == (
        "(8 of 10 futures with both PSDs in the balanced ranges at one survey count as sure) “few”: at no survey surely "
        "in range, "
        "over the last twelve months in 7 of 10 futures; 32 bass out; 60 bass in. “many”: at no survey surely in range, over the "
        "last twelve months in 2 of 10 futures; 120 bass in."
    )


def test_details_tell_every_goal_in_per_cent(told):
    lines = console.details_text(told).splitlines()
    assert lines[3] == "- A survey that finds a PSD or Wr outside the band drawn below: run it again from the fish found."
    assert lines[5:8] == [
        "- Bass above 5 lb (2.27 kg) at the end: “few” 4 fish (at least one at the last survey with a chance of 98 %); "
        "“many” 9 fish "
        "(at least one at the last survey with a chance of over 99 %). “few” against “many”: 5 fewer; better by what "
        "matters in under "
        "3 %, worse in over 97 % of futures.",
        "- Weight harvested in all over the run: “few” 8.9 lb/acre; “many” 0 lb/acre. “few” against “many”: 8.9 lb/acre "
        "more; better "
        "by what matters in over 97 %, worse in under 3 % of futures.",
        "- Cost over the run: “few” 610 [360–610] USD; “many” 240 USD. “few” against “many”: USD 370 more [120–370]; "
        "better by what "
        "matters in under 3 %, worse in over 97 % of futures.",
    ]
    assert "- Cost over the run: “few” USD 610 [360–610] (fish 120, hours of harvest 490 [240–490]); “many” USD 240." in lines
    assert (
        "- “many” instead of “few”, last twelve months to 2027-09-15: standing crop of bass 13 lb/acre higher [13–13]." in lines
    )
    assert not any("old_bass” weighs" in line for line in lines)


def test_the_answer_is_one_screen_with_a_table(told):
    assert console.answer_text(told).splitlines()[11:] == [
        "          points off balanced  better; worse  bass over 5 lb  harvest, lb/acre",
        "  “few”              3 [3–11]              –               4               8.9",
        "  “many”            11 [3–11]           5; 5               9                 0",
        "[…] holds 8 of 10 futures; “better; worse”: in how many of 10 futures than",
        "“few”; cost, USD: --details",
        "Mind: “many” takes out no bass, and the model makes too little of thinning",
        "crowded bass: where a survey finds them, this says little against thinning",
    ]


def test_signs_of_balance_stand_by_year(told):
    lines = console.balance_table(told.dataset, "us").splitlines()
    assert lines[1:5] == [
        "few",
        "  survey      bass PSD, %  bluegill PSD, %  Wr 8–12 in, %  bass, lb/acre  all fish, lb/acre  F/C",
        "  2026-09-15    50 [0–50]               40              0            8.9               53.5    5",
        "  2027-09-15    50 [0–50]               40              0            8.9               53.5    5",
    ]
    assert lines[-1].split() == ["2027-09-15", "0", "[0–50]", "40", "0", "22.3", "66.9", "2"]


def test_limits_of_the_goals_hold_as_often_as_their_quantities_do(told):
    found = limits.limits(told.dataset.isel(strategy=[0]), told.scenario, 90.0)
    assert {one.name: round(float(one.holds.mean()), 4) for one in found} == {
        "bass PSD 40–70": 0.75, "bluegill PSD 20–60": 1.0, "at least one bass above 5 lb": round(1 - np.exp(-4.0), 4),
        "Wr of bass of 8–12 in from 90": 0.0,
    }  # fmt: skip


# --- limits by hand


def test_an_end_of_a_limit_belongs_to_it():
    one = limits.Limit("x", 40.0, 70.0, 3.0, np.array([39.9, 40.0, 70.0, 70.1, np.nan]))
    assert one.holds.tolist() == [0.0, 1.0, 1.0, 0.0, 0.0] and one.name == "x 40–70"
    near = one.nearly
    assert near[1] == pytest.approx(0.5, abs=1e-3) and near[2] == pytest.approx(0.5, abs=1e-3) and near[4] == 0.0
    steep = limits.Limit("x", 40.0, np.inf, 3.0, np.array([43.0, 37.0]))
    assert steep.nearly == pytest.approx([1 / (1 + np.exp(-1)), 1 / (1 + np.exp(1))]) and steep.name == "x from 40"


def test_a_limit_is_widened_upwards_where_more_lies_above():
    one = limits.Limit("x", 40.0, 70.0, 3.0, np.array([50.0, 60.0, 75.0, 80.0, 90.0]))
    assert one.widened(0.4) == (40.0, 70.0) and one.widened(0.6) == (40.0, 75.0)
    assert one.widened(0.8) == (40.0, 80.0) and one.widened(1.0) == (40.0, 90.0)
    assert limits.Limit("x", 40.0, 70.0, 3.0, np.full(3, np.nan)).widened(0.1) is None


def test_of_two_ends_that_are_missed_as_often_the_lower_one_is_moved():
    one = limits.Limit("x", 40.0, 70.0, 3.0, np.array([30.0, 50.0, 80.0]))
    assert one.widened(0.6) == (30.0, 70.0) and one.widened(0.9) is None


# --- harvest by hand


def test_shares_of_inch_classes_in_a_window():
    assert harvest_outcome.inside((203.2, 304.8), 14) == pytest.approx([0.0] * 8 + [1.0] * 4 + [0.0] * 2)
    assert harvest_outcome.inside((25.4 * 1.25, 25.4 * 2.5), 4) == pytest.approx([0.0, 0.75, 0.5, 0.0])


def test_of_other_species_the_catch_an_hour_rises_with_their_number():
    """Bluegill: 2 an hour at 100 kept fish/ha; 40 of them in the pond of 0.81 ha a month."""
    rule = RULE.replace("bass", "bluegill").replace("[8, 12]", "[6, 12]")
    scenario = pond(members=2, extra=rule)
    read = readings(scenario)
    read["few"]["number"][0, :, 1, 7], read["few"]["number"][1, :, 1, 7] = 100.0, 400.0
    read["few"]["number"][..., 1, 3] = 999.0  # shorter than those that are kept
    read["few"]["harvest_number"][:, 4, 1] = 50.0
    hours = harvest_outcome.harvest_hours(dataset(scenario, read), scenario)
    fish = 50.0 * scenario.pond.area_ha
    assert hours[0, 0, 4] == pytest.approx(fish / 2.0) and hours[0, 0, 5] == 0.0 and not hours[1].any()
    ratio = hours[0, 0, 4] / hours[0, 1, 4]
    assert 1.5 < ratio < 4.0  # less than in proportion


def test_where_no_small_bass_are_kept_the_catch_is_that_of_large_ones():
    rule = RULE.replace("[8, 12]", "[15, 20]")
    scenario = pond(members=1, extra=rule)
    read = readings(scenario)
    read["few"]["number"][..., 0, [9, 16]] = 300.0, 10.0
    read["few"]["harvest_number"][:, 4, 0] = 5.0
    read["few"]["catch_rate"][..., 0], read["few"]["catch_rate"][..., 1] = 4.0, 0.5  # of 8 and of 15 in and more
    hours = harvest_outcome.harvest_hours(dataset(scenario, read), scenario)
    assert hours[0, 0, 4] == pytest.approx(5.0 * scenario.pond.area_ha / 0.5)
    read["few"]["catch_rate"][:] = 0.0
    slow = harvest_outcome.harvest_hours(dataset(scenario, read), scenario)
    assert slow[0, 0, 4] == pytest.approx(5.0 * scenario.pond.area_ha / 1e-3)


@pytest.mark.parametrize(("share", "short"), [(0.901, False), (0.899, True)])
def test_nine_tenths_of_what_is_asked_for_are_a_catch(share, short):
    scenario = pond(members=3, years=2, extra=RULE)
    read = readings(scenario)
    read["few"]["harvest_biomass"][:, 15, 0] = share * 11.208511561
    (catch,) = harvest_outcome.catches(dataset(scenario, read), scenario)
    assert catch.falls_short == short


# --- seasons lost


def test_a_season_is_lost_below_half_of_the_first_months_catch():
    """March to October, of years of which four such months lie within the run; 4 an hour in the first month."""
    scenario = pond(members=3, years=2)
    read = readings(scenario)
    rate = read["few"]["catch_rate"][..., 0]
    rate[:], rate[:, 0] = 2.0, 4.0
    rate[1, 9:21] = 1.99  # January to December of 2027
    rate[2, 1:9] = 0.0  # May to December of 2026
    lost = goals._seasons_lost(dataset(scenario, read))[0]
    assert lost.tolist() == [0.0, 1.0, 1.0]


def test_prices_are_counted_where_they_are_given():
    extra = """
[costs]
per_bass = 2
per_kwh = 0.5
[[strategies.few.removal]]
species = "bluegill"
date = 2026-07-01
share = 0.1
cost = 70
[[strategies.few.liming]]
date = 2026-07-01
tons_per_acre = 1
cost = 90
[[strategies.few.grass_carp]]
date = 2026-07-01
per_acre = 5
[[strategies.few.fertilization]]
level = "fertilized"
from = 2026-05-01
to = 2027-03-31
cost = 365.25
"""
    content = raw(members=1, extra=extra)
    content["pond"]["alkalinity_mg_l"] = 10
    scenario = resolve(content)
    read = readings(scenario)
    read["few"]["aeration_kwh"][:, 3] = 100.0
    cost = goals.costs(dataset(scenario, read))
    of = {what: float(values[0, 0]) for what, values in cost.parts.items()}
    assert of == {
        "fish": 120.0, "removals": 70.0, "fertilizer and lime": pytest.approx(90.0 + 335.0), "plants and level": 0.0, "feed": 0.0,
        "hours of harvest": 0.0, "electricity": pytest.approx(50.0 * scenario.pond.area_ha),
    }  # fmt: skip
    assert cost.unpriced == ("grass carp",)


def test_a_title_of_forty_letters_is_a_name_and_a_longer_one_is_said_once_beside_the_key():
    content = raw(members=1)
    content["strategies"]["few"]["title"], content["strategies"]["many"]["title"] = "x" * 40, "y" * 41
    scenario = resolve(content)
    told = teller(dataset(scenario, readings(scenario)), "us")
    assert told.short == (f"“{'x' * 40}”", "many") and told.full == (f"“{'x' * 40}”", f"many (“{'y' * 41}”)")
