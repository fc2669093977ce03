"""What is to be done, and when: amounts of the whole pond, first days of seasons, and what is past or comes too soon."""

import datetime as dt

import numpy as np
import pytest
from small import dataset, raw, readings

from pondpop.decide.actions import actions, fertility_in, first_steps, last_survey, seasons, today, water_c
from pondpop.records.surveys import SESSION_DAYS
from pondpop.scenario import Aeration, Condition, Feeding, Harvest, Plants, Run, Trigger, resolve

DEEDS = """
[[strategies.few.stocking]]
name = "threadfin"
species = "shad"
date = 2026-05-01
per_acre = 500
length_in = 3
haul_hours = 2
from_water_f = 60
[[strategies.few.removal]]
name = "out"
species = "bluegill"
date = 2026-06-01
length_in = [4, 6]
share = 0.25
[[strategies.few.removal]]
name = "many"
species = "bluegill"
date = 2026-06-02
length_in = [4, 6]
per_acre = 30
[[strategies.few.removal]]
name = "heavy"
species = "bass"
date = 2026-06-03
share = 1
[[strategies.few.removal]]
name = "weighed"
species = "bass"
date = 2026-06-04
lb_per_acre = 10
[[strategies.few.harvest]]
name = "slot"
species = "bass"
length_in = [8, 12]
season = ["05-01", "09-30"]
from_year = 2
lb_per_acre = 15
[[strategies.few.harvest]]
name = "panfish"
species = "bluegill"
length_in = [7, 12]
share = 0.4
[[strategies.few.feeding]]
name = "pellets"
lb_per_acre_day = 10
season = ["04-15", "10-15"]
[[strategies.few.angling]]
name = "sport"
hours_per_acre = 100
[[strategies.few.aeration]]
name = "fountain"
kind = "vertical_pump"
power_hp = 1
when_below_mg_l = 3
[[strategies.few.fertilization]]
name = "bloom"
from = 2026-05-01
to = 2026-09-30
level = 0.95
[[strategies.few.fertilization]]
name = "none"
from = 2026-10-01
to = 2027-02-28
level = 0.3
[[strategies.few.liming]]
name = "lime"
date = 2026-11-15
tons_per_acre = 2
[[strategies.few.drawdown]]
name = "low"
from = 2026-12-01
to = 2027-02-01
area_share = 0.6
[[strategies.few.grass_carp]]
name = "carp"
date = 2026-06-20
per_acre = 10
"""




def made(extra="", years=1, water=20.0, change=lambda strategy: strategy, **attributes):
    """A dataset of the small pond at one temperature, with its scenario."""
    content = raw(members=3, years=years, extra=extra)
    content["pond"]["alkalinity_mg_l"] = 15
    scenario = resolve(content)
    scenario = scenario._replace(strategies={"few": change(scenario.strategies["few"])})
    read = readings(scenario)
    for one in read.values():
        one["water_temperature"][:] = water
    found = dataset(scenario, read)
    found.attrs.update(attributes)
    return found, scenario


def told(extra="", deed=None, units="us", **changes):
    """First day, season and words of what is to be done."""
    found, scenario = made(extra, **changes)
    every = actions(found, scenario._replace(units=units), "few")
    return [(str(one.date), one.when, one.words) for one in every if deed in (None, one.deed)]


def test_amounts_are_those_of_the_whole_pond_in_both_units():  # two acres
    young = ("2026-04-10", "10 April 2026", "Stock 60 bass of 6 in (152 mm): 30 per acre (74 per ha).")
    assert told(deed="stock") == [young]
    assert told(deed="stock", units="metric")[0][2] == "Stock 60 bass of 152 mm (6 in): 74 per ha (30 per acre)."
    assert [words for _, _, words in told(DEEDS, "take out")] == [
        "Take out 25 % of the bluegill, 4–6 in (102–152 mm).", "Take out 60 bluegill, 4–6 in (102–152 mm).",
        "Take out all bass, all lengths.", "Take out 10 lb/acre (11 kg/ha) of bass, all lengths.",
    ]  # fmt: skip
    assert told(DEEDS, "feed")[0][2].startswith("Feed 20 lb (9.1 kg) of pellets a day in the pond.")
    assert told(DEEDS, "fish")[0][2].startswith("Fish for bass, all released: about 200 hours a year.")
    assert told(DEEDS, "stock")[-1][2].startswith("Stock 20 grass carp: 10 per acre (25 per ha). Sterile (triploid)")
    assert [words.partition(". ")[0] for _, _, words in told(DEEDS, "fertilize")] == [
        "Fertilize to a fertility of 0.95 (1: a good bloom).", "No fertilizer any more",
        "Spread lime, 2 tons an acre (4.5 t/ha), over the whole bottom",
    ]  # fmt: skip
    assert told(DEEDS, "level")[0][:2] == ("2026-12-01", "1 December 2026 to 1 February 2027")
    assert "down to 60 % of its area" in told(DEEDS, "level")[0][2]


def test_to_aim_at_the_fertility_of_an_unfertilized_pond_is_to_fertilize_no_more():
    for level, said in (('"unfertilized"', "No fertilizer any more"), ("0.36", "Fertilize to a fertility of 0.36 (1: a good")):
        rule = f'[[strategies.few.fertilization]]\nname = "f"\nfrom = 2026-05-01\nto = 2026-09-30\nlevel = {level}\n'
        ((_, _, words),) = told(rule, "fertilize")
        assert words.startswith(said)


def test_an_aerator_is_told_with_its_power_and_hours():
    def aerated(**changes):
        one = Aeration("a", "vertical_pump", 0.7457, ((3, 1), (10, 31)), 1, 3, **changes)
        return {"change": lambda strategy: strategy._replace(aeration=(one,))}

    night, by_clock = aerated(when_below_mg_l=3.0), aerated(hours=(22.5, 6.0))
    assert told(deed="aerate", **night)[0][2].startswith(
        "Run the vertical pump aerator (1 hp, 0.746 kW) at night while oxygen is below 3 mg/l. Run it before the fish gasp."
    )
    assert "(0.746 kW, 1 hp) from 22.5 to 6 o'clock" in told(deed="aerate", units="metric", **by_clock)[0][2]


def test_what_a_harvest_asks_for_and_when():
    slot = told(DEEDS, "harvest", years=3)
    assert slot == [
        ("2026-04-01", "1 March to 31 October, 2026–2029", "Harvest bluegill, 7–12 in (178–305 mm): "
         "40 % of them in each season."),
        ("2027-05-01", "1 May to 30 September, 2027–2028", "Harvest bass, 8–12 in (203–305 mm): 15 lb/acre (17 kg/ha) a year, "
         "of which about 0 % is caught."),
    ]  # fmt: skip

    def reacts(conditions, needs, **amount):
        rule = Harvest("r", "bass", (203.2, 304.8), ((3, 1), (10, 31)), 1, 1, when=Trigger(conditions, needs), **amount)
        return told(deed="harvest", change=lambda strategy: strategy._replace(harvest=(rule,)))[0][2]

    thin, many = Condition("bass_wr_8_12in", below=90.0), Condition("bass_psd_p", above=30.0)
    assert reacts((thin, many), "any", per_ha=10.0 / 0.80937128448, otherwise=0.0) == (
        "Harvest bass, 8–12 in (203–305 mm): 10 fish a year, 5 per acre (12 per ha) if the last survey shows Wr of bass 8–12 in "
        "below 90 or bass PSD-P above 30; otherwise 0 fish a year, 0 per acre (0 per ha)."
    )
    assert "below 90 and bass PSD-P" in reacts((thin, many), "all", share=0.5, otherwise=0.1)
    assert "50 % of them in each season" in reacts((thin,), "all", share=0.5, otherwise=0.1)
    assert "otherwise 10 % of them" in reacts((thin,), "all", share=0.5, otherwise=0.1)


def test_what_is_caught_of_a_harvest_that_falls_short_is_told():
    found, scenario = made(DEEDS, years=3)
    found["harvest_biomass"].loc[{"species": "bass"}] = 15 * 1.1208511561 / 20  # a twentieth of the quota in each month
    harvest = [one.what for one in actions(found, scenario, "few") if one.deed == "harvest"]
    assert [", of which about 60 % is caught" in what for what in harvest] == [False, True]  # twelve months of a year
    found["harvest_biomass"].loc[{"species": "bass"}] = 15 * 1.1208511561
    assert all("is caught" not in one.what for one in actions(found, scenario, "few"))


@pytest.mark.parametrize(
    ("years", "now", "first", "words"),
    [
        ((1, 3), (2026, 4, 1), (2026, 4, 1), "1 March to 31 October, 2026–2028"),  # a run from April 2026
        ((2, 3), (2026, 4, 1), (2027, 3, 1), "1 March to 31 October, 2027–2028"),
        ((1, 2), (2026, 10, 31), (2026, 10, 31), "1 March to 31 October, 2026–2027"),
        ((1, 2), (2026, 11, 1), (2027, 3, 1), "1 March to 31 October, 2027"),
        ((1, 1), (2026, 11, 1), None, None),
        ((4, 9), (2026, 4, 1), (2029, 3, 1), "1 March to 31 October, 2029"),  # of which the run holds March
        ((5, 9), (2026, 4, 1), None, None),
    ],
)
def test_a_season_is_told_from_its_first_day_that_is_left(years, now, first, words):
    run = Run(dt.date(2026, 4, 1), 3, ())
    found = list(seasons(Feeding("f", 1.0, ((3, 1), (10, 31)), *years), run, dt.date(*now)))
    assert found == ([(dt.date(*first), words)] if first else [])


def test_a_season_that_begins_when_the_run_ends_is_none_of_it():
    run = Run(dt.date(2026, 4, 1), 1, ())
    assert list(seasons(Feeding("f", 1.0, ((4, 1), (10, 31)), 2, 2), run, run.start)) == []


# --- what the water says of a move


def test_warm_and_cold_water_are_told_where_fish_are_moved():
    hot = "Water is about 82 °F (28 °C): move at dawn, cool and aerated, temper slowly."
    assert hot in told(deed="stock", water=28.0)[0][2] and "Water" not in told(deed="stock", water=27.0)[0][2]
    assert "Water is about 81 °F (27 °C): move at dawn" in told(deed="stock", water=27.1)[0][2]
    shad = [told(DEEDS, "stock", water=water)[1][2] for water in (8.9, 9.0)]
    assert "Water is about 48 °F (9 °C): too cold for threadfin; wait." in shad[0] and "too cold" not in shad[1]
    assert "too cold" not in told(deed="stock", water=5.0)[0][2]  # bass
    assert "Tempering takes" in shad[0] and "They are fragile" in shad[0]  # they come by truck
    bass = told(DEEDS.replace('"shad"', '"bass"\nstrain = "florida"'), "stock")[1][2]
    assert "3 in (76 mm), Florida bass: 500 per acre" in bass and "is for the state agency to say" in bass
    assert "fragile" not in bass


def test_water_is_that_of_the_month_or_of_that_month_in_other_years():
    found, _ = made(years=2)
    months = found["month"].values.astype("datetime64[M]").astype(int)
    found["water_temperature"].values[:] = np.array([0.0, 1.0, 5.0])[:, None] + months - months[0]  # a member apart from two
    assert water_c(found, "few", dt.date(2026, 4, 30)) == 1.0 and water_c(found, "few", dt.date(2027, 6, 1)) == 15.0
    assert water_c(found, "few", dt.date(2031, 6, 1)) == 1.0 + (2 + 14) / 2  # of both Junes


# --- what is past, and what is looked at


def test_today_is_a_day_of_the_run():
    for attributes, day in [
        ({}, "2026-04-01"), ({"today": "2026-08-01", "last_record": "2026-05-01"}, "2026-08-01"),
        ({"last_record": "2026-05-01"}, "2026-05-01"), ({"today": "2027-03-31"}, "2027-03-31"),
        ({"today": "2027-04-01"}, "2026-04-01"), ({"today": "2025-04-01"}, "2026-04-01"),
    ]:  # fmt: skip
        found, scenario = made(**attributes)
        assert str(today(found, scenario)) == day


def test_what_is_past_is_not_to_be_done():
    every, left = told(DEEDS, years=3), told(DEEDS, years=3, today="2026-06-03")
    assert [one for one in every if one[0] >= "2026-06-04"] == [one for one in left if one[0] >= "2026-06-04"]
    assert min(date for date, _, _ in left) == "2026-06-03"
    assert "Take out all bass, all lengths." in [words for _, _, words in left]
    assert [date for date, _, _ in every] == sorted(date for date, _, _ in every)


def test_a_survey_is_due_unless_one_was_just_made():
    assert [date for date, _, _ in told(deed="survey")] == ["2026-04-20", "2026-06-15", "2026-09-15"]
    for days, left in ((SESSION_DAYS, 1), (SESSION_DAYS + 1, 2)):  # nearer, they are one survey
        record = dt.date(2026, 6, 15) - dt.timedelta(days)
        assert len(told(deed="survey", last_record=record.isoformat())) == left


def test_the_last_survey_is_that_of_records_or_the_one_that_a_run_begins_from():
    found, scenario = made()
    assert last_survey(found, scenario) is None
    assert last_survey(*made(last_record="2026-05-05")) == dt.date(2026, 5, 5)
    few = scenario.strategies["few"]
    counted = few._replace(stocking=tuple(event._replace(number_cv=0.2) for event in few.stocking if event.resident))
    assert last_survey(found, scenario._replace(strategies={"few": counted})) == scenario.run.start


def test_the_shore_is_seined_in_summers_that_lie_within_the_run():
    assert [(date, when) for date, when, _ in told(deed="seine")] == [("2026-06-01", "June to mid-July 2026")]
    assert [date for date, _, _ in told(deed="seine", today="2026-07-15")] == ["2026-07-15"]
    assert told(deed="seine", today="2026-07-16") == []


def test_a_run_that_begins_with_the_first_day_of_seining_has_that_summer():
    found, scenario = made()
    for day, summers in ((1, ["2026-06-01"]), (2, [])):
        later = scenario._replace(run=scenario.run._replace(start=dt.date(2026, 6, day)))
        assert [str(one.date) for one in actions(found, later, "few") if one.deed == "seine"] == summers


def test_upkeep_by_the_calendar_fertility_and_ice():
    def heads(**changes):
        return [(date, when, words.partition(" ")[0]) for date, when, words in told(deed="upkeep", **changes)]

    assert heads() == [
        ("2026-04-01", "March to September 2026", "Fertilize:"), ("2026-06-01", "June to September 2026", "Check"),
        ("2026-11-01", "November to December 2026", "Have"), ("2027-03-01", "March to September 2027", "Fertilize:"),
    ]  # fmt: skip
    assert [words for _, _, words in heads(change=lambda s: s._replace(fertility=0.89))] == ["Check"]
    assert len(heads(change=lambda s: s._replace(fertility=0.9))) == 4
    assert heads(today="2026-12-31")[0] == ("2026-12-31", "November to December 2026", "Have")
    ice = [one for one in heads(water=2.9) if "January" in one[1]]
    assert ice == [("2027-01-01", "January and February 2027", "Have")]
    assert not [one for one in heads(water=3.0) if "January" in one[1]]
    assert [one[0] for one in heads(water=2.0, today="2027-02-28") if "January" in one[1]] == ["2027-02-28"]
    assert not [one for one in heads(water=2.0, today="2027-03-01") if "January" in one[1]]


def test_the_fertility_of_a_day_is_that_of_its_rule():
    _, scenario = made(DEEDS)
    strategy = scenario.strategies["few"]
    days = [(2026, 4, 30), (2026, 5, 1), (2026, 9, 30), (2026, 10, 1), (2027, 2, 28), (2027, 3, 1)]
    levels = [fertility_in(strategy, dt.date(*day)) for day in days]
    assert levels == [strategy.fertility, 0.95, 0.95, 0.3, 0.3, strategy.fertility]


def test_plants_are_put_down_only_where_they_are_to_be_fewer():
    share = {"2026-05-01": 0.4, "2026-07-01": 0.1, "2026-08-01": 0.1, "2026-09-01": 0.3}
    plants = tuple(Plants("p", dt.date.fromisoformat(day), of) for day, of in share.items())
    found = told(deed="level", change=lambda strategy: strategy._replace(plants=plants))
    (one,) = found
    assert one[:2] == ("2026-05-01", "1 May 2026 to 1 July 2026")
    assert one[2].startswith("Have the plants down to 10 % of the area (from 40 %). Dying plants use up oxygen")


def test_the_first_steps_are_deeds_and_not_looking():
    found, scenario = made(DEEDS)
    every = actions(found, scenario, "few")
    steps = first_steps(every, 4)
    assert len(steps) == 4 and not {one.deed for one in steps} & {"upkeep", "survey", "seine"}
    assert steps == [one for one in every if one in steps] and len(first_steps(every)) == 3
