"""Reading, resolving, dumping and telling of scenarios."""

import copy
import datetime as dt
import errno
import os
import time
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pondpop import cli
from pondpop.checks import InputError
from pondpop.scenario import (
    CLIMATES,
    SPREADS,
    Condition,
    befallen,
    describe,
    dump,
    load,
    read,
    resolve,
    unusual,
    years_after,
)
from pondpop.scenario.keys import key_tables, keys_text
from pondpop.scenario.read import KEYS, si
from pondpop.units import AREA, DENSITY, LENGTH, WEIGHT

ROOT = Path(__file__).parents[2]
SHIPPED = sorted((ROOT / "scenarios").glob("*.toml"))

SMALL = """
title = "A pond"
[pond]
area_acres = 2
fertility = "fertilized"
[run]
start = 2026-03-15
years = 3
[[stocking]]
species = "bluegill"
date = 2026-03-20
per_acre = 1500
length_in = 2
[strategies.light]
[[strategies.light.stocking]]
name = "bass"
species = "bass"
date = 2027-06-05
per_acre = 75
length_in = 2
[[strategies.light.harvest]]
species = "bass"
length_in = [8, 14]
from_year = 2
lb_per_acre = 20
"""

FULL = """
title = "Everything \\"at once\\" – ü \\\\"
[pond]
area_ha = 1.5
cover = "much"
alkalinity_mg_l = 12
[water]
monthly_f = [48, 52, 59, 68, 77, 83, 86, 85, 80.6, 70.7, 61, 52]
origin = "a neighbour's pond"
[run]
start = 2024-02-29
years = 4
surveys = ["05-01", 2025-08-08, {passes_f = 64.4, rising = true}, {passes_c = 15, rising = false}]
[[stocking]]
species = "bass"
resident = true
count = 40
length_mm = 300
length_cv = 0.1
weight_g = 350
age_years = 3.5
female_share = 0.6
[[pond.fertility_loss]]
from = 2025-05-01
to = 2025-06-01
share = 0.2
[[water.spell]]
from = 2024-07-01
to = 2024-07-31
at_least_f = 88
[[removal]]
species = "bluegill"
date = 2026-01-15
per_acre = 200
length_in = [0, 3]
reason = "die_off"
[[feeding]]
lb_per_acre_day = 2
season = ["04-01", "09-30"]
[[angling]]
hours_per_acre = 60
to_year = 3
[[local_knowledge]]
species = "bass"
process = "spawning"
multiplier = 0.5
reason = "little gravel"
[ensemble]
members = 12
seed = 7
spread = {weather_day = 0, growth = 0.1}
[[goals]]
kind = "bass_above"
above_lb = 5
by_year = 4
[costs]
per_bass = 1.25
per_lb_feed = 0.4
per_kwh = 0.15
currency = "USD"
[what_if.cold_winter]
title = "a cold winter"
[[what_if.cold_winter.spell]]
from = 2025-01-05
to = 2025-02-20
at_most_f = 38
[[what_if.cold_winter.die_off]]
species = "shad"
date = 2025-02-20
share = 0.8
[what_if.flood-2]
[[what_if.flood-2.fertility_loss]]
name = "flush"
from = 2026-03-01
to = 2026-03-01
share = 0.5
[[what_if.flood-2.drought]]
from = 2025-08-01
to = 2025-10-01
area_share = 0.5
[[what_if.flood-2.plants]]
date = 2026-06-01
share = 0.7
[[what_if.flood-2.spell]]
from = 2026-07-01
to = 2026-07-20
at_least_c = 33
[report]
consultant = "N. N."
note = "First line\\nsecond"
units = "metric"
[[plants]]
date = 2024-06-01
share = 0.5
[[plants]]
name = "treated"
date = 2024-09-01
share = 0.15
cost = 400
[strategies.a]
fertility = 0.8
[[strategies.a.fertilization]]
level = "fertilized"
to_year = 2
cost = 300
[[strategies.a.fertilization]]
level = "unfertilized"
from = 2026-01-01
to = 2027-12-31
[[strategies.a.liming]]
date = 2024-11-01
tons_per_acre = 1.5
[[strategies.a.drawdown]]
from = 2025-11-01
to = 2026-01-31
area_share = 0.6
[[strategies.a.aeration]]
kind = "paddlewheel"
power_hp = 2
hours = [22, 7]
season = ["05-15", "09-30"]
[[strategies.a.aeration]]
name = "bubbles"
kind = "diffused"
power_kw = 0.4
when_below_mg_l = 4
from_year = 2
[[strategies.a.grass_carp]]
date = 2025-04-01
per_acre = 8
[[strategies.a.harvest]]
species = "bass"
share = 0.3
[[strategies.a.harvest]]
name = "reacting"
species = "bass"
length_in = [0, 13]
lb_per_acre = 25
otherwise_kg_per_ha = 11
when = {all = [{quantity = "bass_psd", below = 40}, {quantity = "bass_wr_8_12in", above = 90}], fish_sampled = 60}
[strategies.b-2]
fertility = "unfertilized"
title = "the other"
[[strategies.b-2.stocking]]
species = "shad"
date = 2024-04-01
per_ha = 1000
length_mm = 75
cost_each = 0.2
"""


def small(**changes):
    """The small scenario as the file says it, with values at dotted paths changed; None takes a key away."""
    raw = tomllib.loads(SMALL)
    for path, value in changes.items():
        *folders, last = path.split("__")
        place = raw
        for name in folders:
            place = place[int(name)] if name.isdigit() else place.setdefault(name, {})
        if value is None:
            del place[last]
        else:
            place[last] = value
    return raw


def bass(raw):
    return raw["strategies"]["light"]["stocking"][0]


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: p.stem)
def test_shipped_scenarios_say_that_they_are_invented_and_survive_a_round_trip(path):
    scenario = load(path)
    assert "invented" in path.read_text("utf-8")
    assert scenario.run.years == 8
    assert len(scenario.strategies) >= 2
    assert resolve(tomllib.loads(dump(scenario))) == scenario._replace(source_file=None)


def test_what_a_scenario_means_in_si():
    scenario = resolve(tomllib.loads(SMALL))
    light = scenario.strategies["light"]
    assert scenario.pond.area_ha == pytest.approx(2 * 0.40468564224)
    assert [(s.name, s.species) for s in light.stocking] == [("bluegill_2026-03-20", "bluegill"), ("bass", "bass")]
    assert light.stocking[1].per_ha == pytest.approx(75 * 2.4710538)
    assert light.stocking[1].length_mm == pytest.approx(50.8)
    (harvest,) = light.harvest
    assert harvest.kg_per_ha == pytest.approx(20 * 1.1208511561)
    assert harvest.length_mm == pytest.approx((203.2, 355.6))
    assert (harvest.season, harvest.from_year, harvest.to_year) == (((3, 1), (10, 31)), 2, 4)
    assert light.fertility == 1
    assert scenario.pond.temperature.monthly_c == CLIMATES["deep_south"].monthly_c
    assert scenario.pond.temperature.origin.startswith("no water temperature was given")
    assert scenario.run.end == dt.date(2029, 3, 15)
    years = [2026, 2027, 2028]
    assert scenario.run.survey_dates == tuple(dt.date(y, m, 15) for y in years for m in (4, 10))
    assert scenario.ensemble.spreads == {name: spread.default for name, spread in SPREADS.items()}


def test_everything_at_once():
    scenario = resolve(tomllib.loads(FULL))
    a, b = scenario.strategies.values()
    assert (a.fertility, b.fertility) == (0.8, 0.35)
    assert (a.title, b.title) == ("a", "the other")
    (resident,) = a.stocking
    assert (resident.resident, resident.date) == (True, dt.date(2024, 2, 29))
    assert resident.per_ha == pytest.approx(40 / 1.5)
    assert {e.name for e in b.stocking} == {"bass_resident", "shad_2024-04-01"}
    plain, reacting = a.harvest
    assert (plain.share, plain.length_mm) == (0.3, (5, 900))
    assert (reacting.kg_per_ha, reacting.otherwise) == (pytest.approx(28.021279), 11)
    assert reacting.when.needs == "all"
    assert reacting.when.conditions[0] == Condition("bass_psd", below=40)
    assert reacting.when.fish_sampled == 60
    assert scenario.ensemble.spreads["weather_day"] == 0
    assert scenario.ensemble.spreads["growth"] == 0.1
    assert scenario.goals[0].above_g == pytest.approx(5 * 453.59237)
    assert scenario.costs.per_kg_feed == pytest.approx(0.4 / 0.45359237)
    assert scenario.run.end == dt.date(2028, 2, 29)
    assert scenario.run.last_year == 5
    assert resolve(tomllib.loads(dump(scenario))) == scenario
    assert dump(resolve(tomllib.loads(dump(scenario)))) == dump(scenario)


def test_surveys_by_temperature_come_when_the_model_water_passes_it():
    water = pytest.importorskip("pondpop.scenario.temperature")
    scenario = resolve(small(run__surveys=[{"passes_f": 64.4, "rising": True}, {"passes_c": 20, "rising": False}]))
    spring, autumn = scenario.run.survey_dates[:2]
    days = water.daily_from_monthly(scenario.pond.temperature.monthly_c, dt.date(2026, 1, 1), 365)
    passes_18 = dt.date(2026, 1, 1) + dt.timedelta(int((days >= 18).argmax()))
    falls_20 = dt.date(2026, 1, 1) + dt.timedelta(200 + int((days[200:] <= 20).argmax()))
    assert abs(spring - passes_18) <= dt.timedelta(3)
    assert abs(autumn - falls_20) <= dt.timedelta(3)


def test_a_number_in_any_unit_is_the_same_fish():
    def fish(**keys):
        raw = small()
        del bass(raw)["per_acre"], bass(raw)["length_in"]
        bass(raw).update(keys)
        return resolve(raw).strategies["light"].stocking[1]

    us = fish(per_acre=75, length_in=2)
    metric = fish(per_ha=75 / 0.40468564224, length_mm=50.8)
    whole = fish(count=150, length_mm=50.8)
    assert metric.per_ha == pytest.approx(us.per_ha, rel=1e-12) == pytest.approx(whole.per_ha, rel=1e-12)
    assert metric.length_mm == pytest.approx(us.length_mm, rel=1e-12)


def test_bounds_hold_at_their_edge_in_any_unit_and_after_the_round_trip():
    raw = small(pond__area_acres=200 / 0.40468564224)
    scenario = resolve(raw)
    assert scenario.pond.area_ha == 200
    assert resolve(tomllib.loads(dump(scenario))) == scenario


@given(st.sampled_from([LENGTH["in"], WEIGHT["lb"], AREA["acres"], DENSITY["per_acre"]]), st.floats(0.01, 1000))
def test_what_is_allowed_in_one_unit_is_allowed_in_si(unit, bound):
    assert si("p", unit.from_si(bound), unit, 0, bound) <= bound
    assert si("p", unit.from_si(bound), unit, bound, 2000) >= bound


def test_the_end_is_exclusive_and_29_february_ends_on_1_march():
    scenario = resolve(small(run__start=dt.date(2026, 3, 20), run__surveys=["03-20"]))
    assert scenario.run.survey_dates == (dt.date(2026, 3, 20), dt.date(2027, 3, 20), dt.date(2028, 3, 20))
    assert years_after(dt.date(2024, 2, 29), 1) == dt.date(2025, 3, 1)
    assert years_after(dt.date(2024, 2, 29), 4) == dt.date(2028, 2, 29)


def test_a_survey_without_sampling_error_survives_the_round_trip():
    raw = small(strategies__light__harvest__0__when={"any": [{"quantity": "bass_psd", "below": 40}], "fish_sampled": 0})
    scenario = resolve(raw)
    (rule,) = scenario.strategies["light"].harvest
    assert (rule.when.fish_sampled, rule.otherwise) == (None, 0)
    assert resolve(tomllib.loads(dump(scenario))) == scenario
    assert "without sampling error" in describe(scenario)


def event(species, day, per_acre):
    return {"species": species, "date": dt.date(2026, 4, day), "per_acre": per_acre, "length_in": 2}


@given(st.permutations([event("shad", 1, 100), event("shad", 1, 200), event("minnow", 1, 5), event("shad", 3, 100)]))
def test_the_order_of_events_in_the_file_does_not_matter(events):
    in_order = sorted(events, key=repr)
    assert resolve(small(stocking=events)) == resolve(small(stocking=in_order))
    own = small(strategies__light__stocking=events)
    assert resolve(own) == resolve(small(strategies__light__stocking=in_order))


def test_events_without_a_name_have_the_same_name_in_every_strategy():
    raw = small(strategies__other={"stocking": [event("bluegill", 1, 9)]})
    raw["strategies"]["other"]["stocking"][0]["date"] = dt.date(2026, 3, 20)
    scenario = resolve(raw)
    assert [s.name for s in scenario.strategies["other"].stocking] == ["bluegill_2026-03-20", "bluegill_2026-03-20_2"]
    assert scenario.strategies["other"].stocking[0] == scenario.strategies["light"].stocking[0]


LIGHT = "strategies__light__"
PSD_LOW = {"any": [{"quantity": "bass_psd", "below": 40}]}
NAN, INF = float("nan"), float("inf")

WRONG = [
    # change, path of the complaint, what it says
    ({"title": None}, "title", "got nothing"),
    ({"title": 3}, "title", "needs text"),
    ({"title": "a\x07b"}, "title", "printable"),
    ({"titel": "x"}, "titel", 'did you mean "title"'),
    ({"pond": 3}, "pond", "a table"),
    ({"pond": None}, "pond", "got nothing"),
    ({"pond__area_acres": None}, "pond", "one of area_ha, area_acres"),
    ({"pond__area_ha": 1.0}, "pond.area_acres", "one quantity in one unit"),
    ({"pond__area_acres": 0}, "pond.area_acres", "from 0.0247 to 494 acres"),
    ({"pond__area_acres": "2"}, "pond.area_acres", "without quotes"),
    ({"pond__area_acres": True}, "pond.area_acres", "got true"),
    ({"pond__area_acres": NAN}, "pond.area_acres", "got nan"),
    ({"pond__area_acres": 10**5000}, "pond.area_acres", "more than 60 digits"),
    ({"pond__fertility": None}, "pond.fertility", "unfertilized, fertilized or a number"),
    ({"pond__fertility": "fertilised"}, "pond.fertility", 'did you mean "fertilized"'),
    ({"pond__fertility": 3}, "pond.fertility", "from 0.1 to 2"),
    ({"pond__cover": "lots"}, "pond.cover", "bare, some, much"),
    ({"pond__depth_ft": 8}, "pond.depth_ft", "a known key"),
    ({"pond__area": 4.5}, "pond.area", "the unit is part of the key: write area_acres or area_ha"),
    ({"pond__area_ac": 4.5}, "pond.area_ac", "write area_acres or area_ha"),
    ({"stocking__0__length_cm": 5}, "stocking[1].length_cm", "write length_in or length_mm"),
    ({"stocking__0__lenght_in": 2}, "stocking[1].lenght_in", 'did you mean "length_in"?'),
    ({"stocking__0__weight": 5}, "stocking[1].weight", "write weight_lb, weight_kg or weight_g"),
    ({"stocking__0__per_acres": 5}, "stocking[1].per_acres", "write per_acre, count or per_ha"),
    ({LIGHT + "harvest__0__lbs_per_acre": 5}, "strategies.light.harvest[1].lbs_per_acre", "lb_per_acre or kg_per_ha"),
    ({LIGHT + "angling": [{"hours": 5}]}, "strategies.light.angling[1].hours", "hours_per_acre or hours_per_ha"),
    ({"run__start": "2026-03-15"}, "run.start", "without quotes"),
    ({"run__start": dt.datetime(2026, 3, 15)}, "run.start", "a date"),
    ({"run__start": dt.date(1900, 1, 1)}, "run.start", "a date from 1950"),
    ({"run__years": 16}, "run.years", "from 1 to 15"),
    ({"run__years": 2.5}, "run.years", "whole number"),
    ({"run__surveys": []}, "run.surveys", "a list of 1 to"),
    ({"run__surveys": ["4-15"]}, "run.surveys[1]", "month first"),
    ({"run__surveys": ["02-29"]}, "run.surveys[1]", "02-29"),
    ({"run__surveys": [dt.date(2040, 1, 1)]}, "run.surveys[1]", "within the run"),
    ({"run__surveys": [{"passes_f": 120, "rising": True}]}, "run.surveys[1].passes_f", "from 32 to 104"),
    ({"run__surveys": [{"passes_f": 40, "rising": True}]}, "run.surveys[1]", "passes, 48.2 to 86 °F"),
    ({"run__surveys": [{"passes_f": 64.4, "rising": "yes"}]}, "run.surveys[1].rising", "true or false"),
    ({"water": {"climate": "alaska"}}, "water.climate", "deep_south, upper_south, southern_plains"),
    ({"water": {"climate": "Georgia"}}, "water.climate", "write monthly_f or monthly_c, the twelve monthly means of its water"),
    ({"water": {"climate": "deep_soth"}}, "water.climate", 'did you mean "deep_south"?'),
    ({"water": {"monthly_f": [50] * 11}}, "water.monthly_f", "twelve"),
    ({"water": {"monthly_f": [50] * 11 + [INF]}}, "water.monthly_f[12]", "got inf"),
    ({"water": {"monthly_f": [50] * 12, "monthly_c": [10] * 12}}, "water.monthly_f", "one unit"),
    ({"water": {"origin": "me"}}, "water", "one of climate"),
    ({"water": {"climate": "deep_south", "origin": "me"}}, "water.origin", "planning climate"),
    ({"water": {"readings_c": [[dt.date(2025, 1, 1), 5.0]]}}, "water.readings_c", "at least a year"),
    ({"water": {"readings_c": [1, 2]}}, "water.readings_c", "a list of [date, temperature]"),
    ({"water": {"readings_c": [["2025-01-01", 5.0]]}}, "water.readings_c[1]", "a date"),
    ({"water": {"readings_csv": "t.csv"}}, "water.readings_csv", "no folder"),
    ({"stocking": {"species": "bass"}}, "stocking", "double brackets"),
    ({"stocking": [3]}, "stocking[1]", "a table"),
    ({"stocking": [{}] * 201}, "stocking", "at most 200"),
    ({"stocking__0__species": "trout"}, "stocking[1].species", "one of bass, bluegill, shad, minnow, redear"),
    ({"stocking__0__species": "Largemouth bass"}, "stocking[1].species", 'did you mean "bass"?'),
    ({"stocking__0__species": "fathead minnows"}, "stocking[1].species", 'did you mean "minnow"?'),
    ({"stocking__0__species": "bream"}, "stocking[1].species", 'did you mean "bluegill"?'),
    ({"stocking__0__species": "threadfin_shad"}, "stocking[1].species", 'did you mean "shad"?'),
    ({"stocking__0__species": "BASS"}, "stocking[1].species", 'did you mean "bass"?'),
    ({"stocking__0__species": ["bass"]}, "stocking[1].species", "one of bass"),
    ({"stocking__0__date": dt.date(2026, 3, 14)}, "stocking[1].date", "within the run"),
    ({"stocking__0__date": dt.date(2029, 3, 15)}, "stocking[1].date", "to 2029-03-14"),
    ({"stocking__0__per_ha": 20}, "stocking[1].per_acre", "one unit"),
    ({"stocking__0__per_acre": -1}, "stocking[1].per_acre", "from 0 to"),
    ({"stocking__0__length_in": 0}, "stocking[1].length_in", "from 0.197 to 35.4 in"),
    ({"stocking__0__weight_g": 500}, "stocking[1].weight_g", "a fish of 2 in, 0.524 to 6.55 g"),
    ({"stocking__0__weight_g": 0.2}, "stocking[1].weight_g", "a fish of 2 in"),
    ({"stocking__0__weight_lb": 8}, "stocking[1].weight_lb", "a fish of 2 in, 0.00116 to 0.0145 lb"),
    ({"stocking__0__name": "a b"}, "stocking[1].name", "a name of"),
    ({"stocking__0__length_cv": 0.6}, "stocking[1].length_cv", "from 0 to 0.5"),
    ({"stocking__0__resident": True}, "stocking[1].date", "leave it out"),
    ({LIGHT + "stocking__0__name": "bluegill_2026-03-20", "stocking__0__name": "bluegill_2026-03-20"},
     "strategies.light.stocking[1].name", "a name that no other"),
    ({LIGHT + "harvest__0__length_in": [14, 8]}, "strategies.light.harvest[1].length_in", "from below to"),
    ({LIGHT + "harvest__0__length_in": [8, 8]}, "strategies.light.harvest[1].length_in", "from below to"),
    ({LIGHT + "harvest__0__length_in": [0, 0.1]}, "strategies.light.harvest[1].length_in", "to above 0.197 in"),
    ({LIGHT + "harvest__0__length_in": 8}, "strategies.light.harvest[1].length_in", "[from, to]"),
    ({LIGHT + "harvest__0__share": 0.5}, "strategies.light.harvest[1].share", "lb_per_acre is given too"),
    ({LIGHT + "harvest__0__lb_per_acre": None}, "strategies.light.harvest[1]", "one of kg_per_ha, lb_per_acre"),
    ({LIGHT + "harvest__0__from_year": 5}, "strategies.light.harvest[1].from_year", "from 1 to 4"),
    ({LIGHT + "harvest__0__from_year": 2028}, "strategies.light.harvest[1].from_year",
     "years count from 1, which is 2026, the calendar year of the start; 2028 is year 3"),
    ({LIGHT + "harvest__0__from_year": 2030}, "strategies.light.harvest[1].from_year", "year of the start"),
    ({"goals": [{"kind": "balanced", "by_year": 2027}]}, "goals[1].by_year", "2027 is year 2"),
    ({LIGHT + "stocking__0__per_acre": -1}, "strategies.light.stocking[1].per_acre", "stocking[1] (bass).per_acre: got"),
    ({LIGHT + "stocking__0__weight": 1}, "strategies.light.stocking[1].weight", "stocking[1] (bass).weight: got"),
    ({LIGHT + "harvest__0__to_year": 1}, "strategies.light.harvest[1].to_year", "from 2 to 4"),
    ({LIGHT + "harvest__0__season": ["10-01", "03-01"]}, "strategies.light.harvest[1].season", "one calendar year"),
    ({LIGHT + "harvest__0__season": "March"}, "strategies.light.harvest[1].season", "a first and a last day"),
    ({LIGHT + "harvest__0__otherwise_share": 0.1}, "strategies.light.harvest[1].otherwise_share", "a condition"),
    ({LIGHT + "harvest__0__otherwise_share": 0.1, LIGHT + "harvest__0__when": PSD_LOW},
     "strategies.light.harvest[1].otherwise_share", "the same kind"),
    ({LIGHT + "harvest__0__when": {}}, "strategies.light.harvest[1].when", "one of any, all"),
    ({LIGHT + "harvest__0__when": {"any": []}}, "strategies.light.harvest[1].when.any", "1 to 10 conditions"),
    ({LIGHT + "harvest__0__when": {"any": [{"quantity": "bass_pds", "below": 4}]}},
     "strategies.light.harvest[1].when.any[1].quantity", 'did you mean "bass_psd"'),
    ({LIGHT + "harvest__0__when": {"any": [{"quantity": "bass_psd"}]}},
     "strategies.light.harvest[1].when.any[1]", "one of below, above"),
    ({LIGHT + "removal": [{"species": "bass", "date": dt.date(2027, 1, 1), "share": 1.5}]},
     "strategies.light.removal[1].share", "from 0 to 1"),
    ({LIGHT + "removal": [{"species": "bass", "date": dt.date(2027, 1, 1), "share": 1, "reason": "flood"}]},
     "strategies.light.removal[1].reason", "removal, die_off"),
    ({LIGHT + "feeding": [{"lb_per_acre_day": 500}]}, "strategies.light.feeding[1].lb_per_acre_day", "from 0 to"),
    ({LIGHT + "angling": [{"hours_per_acre": -1}]}, "strategies.light.angling[1].hours_per_acre", "from 0 to"),
    ({LIGHT + "stocking": None, "stocking": None}, "strategies.light.stocking", "at least one stocking"),
    ({"strategies": None}, "strategies", "got nothing"),
    ({"strategies": {}}, "strategies", "got 0 strategies"),
    ({"strategies": {"a b": {}}}, "strategies", "a name of"),
    ({"strategies__light": 4}, "strategies.light", "a table"),
    ({"fertilization": [{"level": 1, "to_year": 2}, {"level": 0.5, "from_year": 2}]}, "fertilization", "one level a day"),
    ({"fertilization": [{"level": 1, "to_year": 2, "from": dt.date(2027, 1, 1)}]}, "fertilization[1].to_year", "days or years"),
    ({"fertilization": [{"level": "much"}]}, "fertilization[1].level", "unfertilized, fertilized or a number"),
    ({"liming": [{"date": dt.date(2027, 1, 1), "tons_per_acre": 1}]}, "pond.alkalinity_mg_l", "have the water tested"),
    ({"aeration": [{"kind": "paddle", "power_hp": 1}]}, "aeration[1].kind", 'did you mean "paddlewheel"'),
    ({"aeration": [{"kind": "diffused"}]}, "aeration[1]", "one of power_kw, power_hp"),
    ({"aeration": [{"kind": "diffused", "power_kw": 1, "hours": [7]}]}, "aeration[1].hours", "two hours of the 24-hour clock"),
    ({"aeration": [{"kind": "diffused", "power_kw": 1, "hours": [7, 7]}]}, "aeration[1].hours", "[0, 24] is all day"),
    ({"aeration": [{"kind": "diffused", "power_kw": 1, "hours": [7, 24.1]}]}, "aeration[1].hours[2]", "a number from 0 to 24"),
    ({"aeration": [{"kind": "diffused", "power_kw": 1, "hours": [7, 9], "when_below_mg_l": 3}]},
     "aeration[1].when_below_mg_l", "not both"),
    ({"aeration": [{"kind": "diffused", "power_kw": 1}], "oxygen": {"risk": False}}, "oxygen.risk", "no aeration"),
    ({"plants": [{"date": dt.date(2027, 1, 1), "share": 1.2}]}, "plants[1].share", "from 0 to 1"),
    ({"plants": [{"date": dt.date(2027, 1, 1), "share": s} for s in (0.1, 0.2)]}, "plants", "one share a day"),
    ({"drawdown": [{"from": dt.date(2027, 1, 1), "to": dt.date(2027, 2, 1), "area_share": 0.01}]},
     "drawdown[1].area_share", "from 0.1 to 1"),
    ({"grass_carp": [{"date": dt.date(2027, 1, 1), "per_acre": 5000}]}, "grass_carp[1].per_acre", "from 0 to 405 per acre"),
    ({"what_if": 3}, "what_if", "1 to 10 tables like [what_if.cold_winter]"),
    ({"what_if": {}}, "what_if", "got 0 events"),
    ({"what_if": {"cold": {}}}, "what_if.cold", "nothing that befalls the pond"),
    ({"what_if": {"cold": {"spell": [{"from": dt.date(2027, 1, 1), "to": dt.date(2027, 1, 9)}]}}},
     "what_if.cold.spell[1]", "one of at_most_c, at_most_f, at_least_c, at_least_f"),
    ({"what_if": {"cold": {"spell": [{"from": dt.date(2027, 1, 9), "to": dt.date(2027, 1, 1), "at_most_f": 39}]}}},
     "what_if.cold.spell[1].to", "a date from 2027-01-09 on"),
    ({"what_if": {"cold": {"spell": [{"from": dt.date(2027, 1, 1), "to": dt.date(2031, 1, 1), "at_most_f": 39}]}}},
     "what_if.cold.spell[1].to", "within the run"),
    ({"what_if": {"cold": {"spell": [{"from": dt.date(2027, 1, 1), "to": dt.date(2027, 1, 9), "at_most_f": 30}]}}},
     "what_if.cold.spell[1].at_most_f", "from 33.8 to 104 °F"),
    ({"what_if": {"kill": {"die_off": [{"species": "shad", "date": dt.date(2027, 1, 1), "share": 1, "cost": 5}]}}},
     "what_if.kill.die_off[1].cost", "a known key"),
    ({"what_if": {"kill": {"stocking": []}}}, "what_if.kill.stocking", "a known key"),
    ({"what_if": {"kill": {"die_off": [{"species": "shad", "date": dt.date(2027, 1, 1), "share": 1}] * 200}},
      "removal": [{"species": "shad", "date": dt.date(2027, 1, 1), "share": 1}]}, "what_if.kill", "at most 200"),
    ({"local_knowledge": [{"species": "bass", "process": "growth", "multiplier": 2}]},
     "local_knowledge[1].reason", "got nothing"),
    ({"ensemble": {"members": 10_001}}, "ensemble.members", "from 1 to 10,000"),
    ({"ensemble": {"spread": {"wether_day": 1}}}, "ensemble.spread.wether_day", 'did you mean "weather_day"'),
    ({"goals": [{"kind": "bass_above"}]}, "goals[1]", "above_lb"),
    ({"goals": [{"kind": "balanced", "above_lb": 5}]}, "goals[1]", "bass_above only"),
    ({"goals": [{"kind": "trophy"}]}, "goals[1].kind", 'one of balanced, big_bass, panfish, pounds_harvested, bass_above, cost; '
     'did you mean "big_bass"?'),
    ({"run__years": "6"}, "run.years", "write it as a number, without quotes or units"),
    ({"plants": [{"date": dt.date(2027, 1, 1), "share": 25}]}, "plants[1].share", "from 0 to 1; write 0.25 for 25 %"),
    ({"costs": {"per_bass": -1}}, "costs.per_bass", "from 0"),
    ({"report": {"units": "si"}}, "report.units", "us, metric"),
    ({"report": {"note": "x" * 4001}}, "report.note", "4,000"),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "path", "says"), WRONG, ids=lambda v: None if isinstance(v, dict) else str(v)[:40])
def test_wrong_input_is_refused_with_path_value_and_remedy(changes, path, says):
    with pytest.raises(InputError) as caught:
        resolve(small(**changes))
    assert caught.value.path == path
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


OTHERS = ("gizzard shad", "smallmouth bass", "green sunfish", "sunfish", "black bass", "hybrid striped bass", "trout")


@pytest.mark.parametrize("name", OTHERS)
def test_other_species_are_not_taken_for_ours(name):
    with pytest.raises(InputError, match="one of bass, bluegill, shad, minnow, redear") as caught:
        resolve(small(stocking__0__species=name))
    assert not caught.value.remedy


def test_too_many_events_in_all_are_refused():
    rules = [{"hours_per_acre": 1}] * 150
    with pytest.raises(InputError, match=r"strategies\.light: got 303 events and rules, needs at most 200"):
        resolve(small(angling=rules, strategies__light__angling=rules))


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "an empty file"),
        (b"\xff\xfe", "no UTF-8"),
        (b"title = ", "valid TOML"),
        (b"a = 1\na = 2", "valid TOML"),
        (b"start = 2026-02-30", "valid TOML"),
        (b"a = " + b"9" * 10_000, "valid TOML"),
        (b"a = " + b"[" * 50_000, "nested too deeply"),
        (b"a" + b".a" * 400_000 + b" = 1", "joined by dots"),
        (b"[" + b'"a" . ' * 100_000 + b"a]", "joined by dots"),
        (b"#" * 1_000_001, "at most 1,000,000 bytes"),
    ],
    ids=lambda v: repr(v)[:20],
)
def test_files_that_cannot_be_read_are_refused_in_good_time(tmp_path, content, says):
    file = tmp_path / "pond.toml"
    file.write_bytes(content)
    before = time.monotonic()
    with pytest.raises(InputError) as caught:
        load(file)
    assert time.monotonic() - before < 5
    assert caught.value.file == str(file)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("date = 06/01/2027", "write dates as 2027-06-01"),
        ("date = June 1, 2027", "write dates as 2027-06-01"),
        ("date = 2027-02-30", "a day that the calendar has"),
        ("per_acre = 1,000", "without thousands commas"),
        ("length_in = 2 1/2", "2.5 for 2 1/2"),
        ("[strategies.75 per acre]", "without blanks, 75_per_acre"),
        ("fertility = fertilized  # or not", 'words in quotes, "fertilized"'),
        ("fertility = “fertilized”", "straight quotation marks"),
        ('title = "a', "close the quotation marks"),
        ("rising = True", "small letters"),
        ("years = 05  # not 1,000", "5 for 05"),
        ("area_acres = .5", "0.5 for .5"),
        ("area_acres = 2 acres", "its unit is part of the key"),
        ("per acre = 5", "keys without blanks"),
        ("cover: 2", "with = in place of :"),
        ("length_in = [8 14]", "commas between"),
        ("years = 3\nyears = 4", "stands twice"),
        ("[run]\n[run]", "head each table once"),
        ("surveys = [04-15]", 'in quotes, "04-15"'),
        ("years = 3..4", "each line is key = value"),
    ],
)
def test_slips_of_writing_are_shown_with_their_line_and_what_to_do(tmp_path, line, says):
    file = tmp_path / "pond.toml"
    file.write_text(f"# a pond\n[pond]\n{line}\n", "utf-8")
    with pytest.raises(InputError) as caught:
        load(file)
    last, told = line.splitlines()[-1], str(caught.value)
    assert f"pond.toml: line {3 + line.count(chr(10))}, column " in told
    assert f"got {last}, needs valid TOML (" in told and says in told
    assert "\n" not in told


def test_what_is_no_file_is_refused(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for name, says in [("nothing", "no such file"), (".", "a folder"), ("pipe", "no ordinary file"), ("a\0b", "needs")]:
        with pytest.raises(InputError, match=says):
            read(f"{tmp_path}/{name}")


@pytest.mark.parametrize("command", ["check", "compare"])
def test_a_file_that_may_not_be_read_is_no_fault_of_the_input(tmp_path, monkeypatch, command, capsys):
    """Status 1, as wherever a file cannot be read or written."""
    file = tmp_path / "pond.toml"
    file.write_text(SMALL)
    opened = Path.open

    def refuse(self, *given, **more):
        if self == file:
            raise PermissionError(errno.EACCES, "Permission denied", str(file))
        return opened(self, *given, **more)

    monkeypatch.setattr(Path, "open", refuse)
    monkeypatch.chdir(tmp_path)
    assert cli.main([command, str(file)]) == 1
    assert capsys.readouterr().err == f"pondpop: {file}: you may not read or write there\n"


def test_a_byte_order_mark_is_no_harm(tmp_path):
    file = tmp_path / "pond.toml"
    file.write_bytes(b"\xef\xbb\xbf" + SMALL.encode())
    assert load(file)._replace(source_file=None) == resolve(tomllib.loads(SMALL))
    assert load(file).source_file == str(file)


def weekly(first, count, step=7):
    return [(first + dt.timedelta(step * i), 60 + i % 7) for i in range(count)]


def with_csv(folder, text, name="water.csv"):
    (folder / name).write_text(text, "utf-8")
    return resolve(small(water={"readings_csv": name}), folder)


def test_readings_from_a_csv_are_inlined(tmp_path):
    rows = weekly(dt.date(2025, 1, 1), 60)
    text = "date,water_f\n" + "".join(f"{day},{value}\n" for day, value in reversed(rows))
    scenario = with_csv(tmp_path, text)
    assert scenario.pond.temperature.origin == "readings in water.csv"
    assert [day for day, _ in scenario.pond.temperature.readings] == [day for day, _ in rows]
    assert scenario.pond.temperature.readings[0][1] == pytest.approx((60 - 32) / 1.8)
    assert resolve(tomllib.loads(dump(scenario))) == scenario
    assert "60 readings" in describe(scenario)
    by_water = small(water={"readings_csv": "water.csv"}, run__surveys=[{"passes_c": 17, "rising": True}])
    assert resolve(by_water, tmp_path).run.survey_dates


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "the header"),
        ("day,temp\n", "the header date,water_c or date,water_f"),
        ("date,water_c\n2025-01-01,20,3\n", "line 2"),
        ("date,water_c\n2025-13-01,20\n", "line 2"),
        ("date,water_c\n2025-01-01,warm\n", "line 2"),
        ("date,water_c\n2025-01-01,nan\n", "line 2"),
        ("date,water_c\n2025-01-01,20\n2025-01-01,21\n", "one reading a day"),
        ("date,water_c\n2025-01-01,20\n2026-01-01,21\n", "no reading for 365 days after 2025-01-01"),
        ("date,water_c\n2025-01-01,20\n", "readings of 1 days"),
        ("date,water_c\n2025-01-01,20\n2025-02-01,20\n2025-03-01,20\n", "readings of 60 days"),
        ("date,water_c\n", "readings of 0 days"),
        ('date,water_c\n"2025' + "x" * 200_000, "needs"),
        ("date,water_c\n" + "".join(f"{dt.date(1990, 1, 1) + dt.timedelta(i)},9\n" for i in range(10_001)), "10,000"),
    ],
    ids=lambda v: repr(v)[:25],
)
def test_wrong_readings_are_refused(tmp_path, text, says):
    with pytest.raises(InputError) as caught:
        with_csv(tmp_path, text)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_readings_come_from_the_scenarios_folder_only(tmp_path):
    home = tmp_path / "home"
    home.mkdir()
    (tmp_path / "secret.csv").write_text("date,water_c\n")
    (home / "link.csv").symlink_to(tmp_path / "secret.csv")
    for name in ["../secret.csv", str(tmp_path / "secret.csv"), "link.csv", "x/../../secret.csv"]:
        with pytest.raises(InputError, match="in the scenario's folder"):
            resolve(small(water={"readings_csv": name}), home)
    for name, says in (("gone.csv", "no such file"), ("g/" * 150, "no such file"), ("g/" * 150 + "g", "needs text of 1 to 300")):
        with pytest.raises(InputError, match=says):
            resolve(small(water={"readings_csv": name}), home)


def test_a_scenario_in_words_has_both_systems_of_units():
    words = describe(resolve(tomllib.loads(SMALL)))
    for part in ["2 acres (0.809 ha)", "75 per acre (185 per ha), 150 in the pond", "8 to 14 in (203 to 356 mm)",
                 "20 lb/acre (22.4 kg/ha)", "15 April and 15 October", "2026-03-15 to 2029-03-14"]:  # fmt: skip
        assert part in words
    metric = describe(resolve(tomllib.loads(FULL)))
    for part in ["1.5 ha (3.71 acres)", "300 mm (11.8 in)", "die-off of bluegill shorter than 76.2 mm (3 in)",
                 "otherwise 11 kg/ha (9.81 lb/acre)", "as a sample of 60 fish shows it", "weather_day: off",
                 "First line / second", "little gravel", "pellets, 2.24 kg/ha a day (2 lb/acre a day)"]:  # fmt: skip
        assert part in metric


def test_the_page_of_keys_has_every_key_once_in_its_table_and_no_other():
    tables = key_tables()
    named = {name: [key for row in table.rows for key in row.keys] for name, table in tables.items()}
    assert {"" if name == "top" else name for name in named} == set(KEYS)
    below = [name for name in named if tables[name].heading.strip("[]").partition(".")[0] == name]
    for kind, known in KEYS.items():
        told = named[kind or "top"] + ([name for name in below if name in known] if not kind else [])
        assert sorted(told) == sorted(known), kind


def test_what_befalls_a_pond_befalls_every_strategy_and_is_none():
    scenario = resolve(tomllib.loads(FULL))
    assert [one.name for one in scenario.what_if] == ["cold_winter", "flood-2"] and len(scenario.strategies) == 2
    cold = befallen(scenario, "cold_winter")
    for name, strategy in cold.strategies.items():
        more = set(strategy.removals) - set(scenario.strategies[name].removals)
        assert [(one.species, one.share, one.reason) for one in more] == [("shad", 0.8, "die_off")]
    limits = [(s.at_most_c, s.at_least_c) for s in cold.pond.temperature.spells]
    assert limits == [(None, pytest.approx(31.11, abs=0.01)), (pytest.approx(3.33, abs=0.01), None)]
    assert cold.what_if == () and resolve(tomllib.loads(dump(cold))) == cold._replace(source_file=None)
    flood = befallen(scenario, "flood-2")
    assert [loss.share for loss in flood.pond.fertility_losses] == [0.2, 0.5]
    for name, strategy in flood.strategies.items():
        assert len(strategy.drawdown) == len(scenario.strategies[name].drawdown) + 1
        assert [point.share for point in strategy.plants] == [0.5, 0.15, 0.7]
    with pytest.raises(InputError, match='did you mean "flood-2"'):
        befallen(scenario, "flood")
    words = describe(scenario)
    for part in ["sterile (triploid) grass carp", "1.5 tons/acre", "the pond tends to a fertility of 0.35", "water on 60 %",
                 "plants on 15 % of the area, cost 400", "paddlewheel, 1.49 kW (2 hp) in the pond", "from 22 to 7 o'clock",
                 "Alkalinity of the water: 12 mg/l", "What if cold_winter: a cold winter",
                 "Oxygen: a poor night kills fish; how often is assumed"]:
        assert part in words
    twice = befallen(cold._replace(what_if=scenario.what_if), "cold_winter")
    for strategy in twice.strategies.values():
        assert len({one.name for one in strategy.removals}) == len(strategy.removals) == 3
    assert resolve(tomllib.loads(dump(twice))).strategies == twice.strategies


def test_fish_told_by_weight_alone_are_refused_with_their_usual_length():
    raw = tomllib.loads(SMALL)
    bass = raw["strategies"]["light"]["stocking"][0]
    bass["weight_lb"] = 2
    del bass["length_in"]
    with pytest.raises(InputError, match=r"a bass of 2 lb is about 15 in long: give length_in = 15"):
        resolve(raw)


AERATOR = {"name": "aerator", "kind": "paddlewheel", "power_kw": 1}
RESIDENT = {"resident": True, "per_acre": 100}
FED = {"lb_per_acre_day": 12}
UNLIKELY = [
    ({LIGHT + "stocking__0__per_acre": 7500}, "bass, 7,500 per acre (18,500 per ha)"),
    ({"stocking__0__per_acre": 150_000}, "150,000 per acre (371,000 per ha) bluegill, far more than are stocked"),
    ({"stocking__0__length_in": None, "stocking__0__length_mm": 5}, "bluegill of 0.197 in (5 mm); cm or inches may be meant"),
    ({"stocking__0__length_in": 20}, "bluegill of 20 in (508 mm), longer than they ever become"),
    ({"water": {"monthly_c": [28, 28, 25, 20, 15, 11, 9, 10, 14, 19, 23, 26]}}, "warmer in January and February than in July"),
    ({"goals": [{"kind": "big_bass"}, {"kind": "panfish"}]},
     "goals big_bass and panfish, which no pond meets at one time (bass PSD 50–80 and 20–40); leave one out"),
    ({LIGHT + "feeding": [{"lb_per_acre_day": 30}]}, "feeding, feed of 30 lb/acre a day"),
    ({LIGHT + "feeding": [FED | {"season": ["03-01", "10-31"]}, FED | {"season": ["05-01", "06-30"]}]}, "feed of 24 lb/acre"),
    ({LIGHT + "feeding": [FED | {"lb_per_acre_day": 30, "season": ["05-01", "08-31"]}],
      LIGHT + "aeration": [AERATOR | {"season": ["10-01", "11-30"]}]}, "feed of 30 lb/acre a day"),
    ({LIGHT + "feeding": [FED | {"lb_per_acre_day": 30}], LIGHT + "aeration": [AERATOR | {"to_year": 2}]}, "feed of 30 lb/acre"),
    ({LIGHT + "aeration": [AERATOR | {"power_kw": 500}]}, "aerator, 500 kW of aerators"),
    ({LIGHT + "liming": [{"date": dt.date(2027, 1, 1), "tons_per_acre": 8}], "pond__alkalinity_mg_l": 9}, "lime of 8 tons/acre"),
    ({LIGHT + "grass_carp": [{"date": dt.date(2027, 1, 1), "per_acre": 60}]}, "60 per acre (148 per ha) grass carp"),
    ({LIGHT + "removal": [{"species": "shad", "date": dt.date(2027, 1, 1), "share": 1, "reason": "die_off"}]}, "does not have"),
    ({"what_if": {"kill": {"die_off": [{"species": "shad", "date": dt.date(2027, 1, 1), "share": 1}]}}}, "which no strategy has"),
    ({LIGHT + "stocking__0__date": dt.date(2026, 3, 16)}, "bass on 2026-03-16, before anything they eat (2026-03-20)"),
    ({LIGHT + "harvest__0__lb_per_acre": 400}, "a harvest of 400 lb/acre"),
    ({LIGHT + "harvest__0__length_in": None, LIGHT + "harvest__0__length_mm": [8, 12]}, "inches may be meant"),
    ({"strategies__other": {"removal": [{"species": "bluegill", "date": dt.date(2027, 1, 1), "share": 1, "reason": "die_off"}],
                            "stocking": [{"species": "bass", "date": dt.date(2027, 6, 5), "per_acre": 50, "length_in": 2}]},
      "stocking__0__date": dt.date(2026, 3, 15)}, "a die-off of one strategy alone"),
    ({LIGHT + "stocking": [RESIDENT | {"species": "bass", "length_in": 12}, RESIDENT | {"species": "bluegill", "length_in": 5}]},
     "write species_sought = bass into effort.csv, and the other fish as [[stocking]] with resident = true"),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "says"), UNLIKELY, ids=lambda v: None if isinstance(v, dict) else str(v)[:40])
def test_what_is_unlikely_is_told_in_one_line_and_not_refused(changes, says):
    assert unusual(resolve(small())) == []
    scenario = resolve(small(**changes))
    (odd,) = unusual(scenario)
    assert says in str(odd) and f"unusual: {odd}" in describe(scenario).splitlines()


@pytest.mark.parametrize("goals", [
    [{"kind": "big_bass"}, {"kind": "balanced"}],  # bass PSD 50–70 and bluegill PSD 20–50 are in both
    [{"kind": "big_bass", "by_year": 2}, {"kind": "panfish"}],
    [{"kind": "big_bass"}, {"kind": "cost"}],
])  # fmt: skip
def test_goals_that_one_pond_can_meet_or_that_are_due_in_other_years_are_usual(goals):
    assert unusual(resolve(small(goals=goals))) == []


def later(**said):
    return [{"date": dt.date(2027, 1, 1)} | said]


OF_BASS = {"species": "bass", "per_acre": 100, "length_mm": 300, "weight_g": 400, "resident": True}
OF_BLUEGILL = OF_BASS | {"species": "bluegill", "length_mm": 150, "weight_g": 100}
MOST = [  # what may be written, and a word of what is said of more (or, of some, of less): our choices, but for feed
    (lambda x: {LIGHT + "stocking__0__per_ha": x, LIGHT + "stocking__0__per_acre": None}, 1235.0, "bass, where 50 to 100"),
    (lambda x: {"stocking__0__per_acre": x}, 5000.0, "far more than are stocked"),
    (lambda x: {"stocking__0__species": "redear", "stocking__0__per_acre": x}, 2500.0, "far more than are stocked"),
    (lambda x: {"stocking__0__species": "shad", "stocking__0__per_acre": x}, 10_000.0, "far more than are stocked"),
    (lambda x: {"stocking__0__species": "minnow", "stocking__0__per_acre": x}, 20_000.0, "far more than are stocked"),
    (lambda x: {"stocking__0__length_in": None, "stocking__0__length_mm": x}, 360.0, "longer than they ever become"),
    (lambda x: {"stocking__0__length_in": None, "stocking__0__length_mm": x}, 15.0, "cm or inches may be meant"),
    (lambda x: {LIGHT + "feeding": [{"lb_per_acre_day": x}]}, 20.0, "20 lb/acre are a limit"),
    (lambda x: {LIGHT + "liming": later(tons_per_acre=x), "pond__alkalinity_mg_l": 9}, 5.0, "1 to 2 tons/acre"),
    (lambda x: {LIGHT + "grass_carp": later(per_acre=x)}, 30.0, "5 to 20 per acre"),
    (lambda x: {LIGHT + "harvest__0__lb_per_acre": x}, 150.0, "more than ponds give"),
    (lambda x: {LIGHT + "aeration": [AERATOR | {"power_kw": x}], "pond__area_acres": None, "pond__area_ha": 2.0}, 40.0,
     "20 kW a hectare"),
    (lambda x: {LIGHT + "removal": later(species="bass", share=0.1, length_mm=[8, x])}, 40.0, "inches may be meant"),
    (lambda x: {LIGHT + "harvest": [{"species": "bass", "share": 0.1, "length_in": [x, 12]}]}, 6.0, "their young as readily"),
    (lambda x: {LIGHT + "harvest": [{"species": "bluegill", "share": 0.1, "length_in": [x, 12]}]}, 4.0, "their young as readily"),
    (lambda x: {LIGHT + "stocking": [OF_BASS, OF_BLUEGILL | {"per_acre": x}]}, 200.0, "of what they eat"),
    (lambda x: {"stocking__0__cost_each": x}, 20.0, "not of all of them"),
    (lambda x: {"costs": {"per_bluegill": x}}, 20.0, "not of all of them"),
]  # fmt: skip


@pytest.mark.parametrize(("written", "limit", "says"), MOST, ids=[one[2] for one in MOST])
def test_what_is_unlikely_is_told_just_past_its_limit_and_not_at_it(written, limit, says):
    less = says in ("inches may be meant", "cm or inches may be meant", "of what they eat", "their young as readily")
    past = limit * (1 - 1e-6 if less else 1 + 1e-6)
    at, beyond = (unusual(resolve(small(**written(number)))) for number in (limit, past))
    assert at == [] and len(beyond) == 1 and says in str(beyond[0])


@pytest.mark.parametrize(("longest_mm", "says"), [(39.9, "inches may be meant"), (40.0, "their young as readily")])
def test_a_harvest_of_the_shortest_is_told_once(longest_mm, says):
    (odd,) = unusual(resolve(small(**{LIGHT + "harvest": [{"species": "bass", "share": 0.1, "length_mm": [20, longest_mm]}]})))
    assert says in str(odd)


AMOUNTS_OF_0 = {
    "grass_carp": {"date": dt.date(2027, 1, 1), "per_acre": 0},
    "stocking": {"species": "bluegill", "date": dt.date(2027, 6, 1), "count": 0, "length_in": 3},
    "harvest": {"species": "bluegill", "share": 0, "length_in": [6, 9]},
    "removal": {"species": "bluegill", "date": dt.date(2027, 6, 1), "lb_per_acre": 0},
    "liming": {"date": dt.date(2027, 1, 1), "tons_per_acre": 0},
    "feeding": {"lb_per_acre_day": 0},
    "angling": {"hours_per_acre": 0},
}


@pytest.mark.parametrize("kind", AMOUNTS_OF_0)
def test_an_amount_of_0_is_said(kind):
    entry = AMOUNTS_OF_0[kind] | {"name": "none_of_it"}
    (odd,) = unusual(resolve(small(**{LIGHT + kind: [entry], "pond__alkalinity_mg_l": 9})))
    assert "none_of_it, an amount of 0" in str(odd)


def test_a_rule_that_takes_something_otherwise_is_not_one_of_0():
    when = {"any": [{"quantity": "bass_psd", "below": 40}]}
    rule = {"species": "bass", "length_in": [8, 12], "share": 0, "otherwise_share": 0.2, "when": when}
    assert unusual(resolve(small(**{LIGHT + "harvest": [rule]}))) == []


def test_a_harvest_of_any_length_takes_young_too_and_one_of_prey_may():
    any_length = [{"species": species, "share": 0.2} for species in ("bass", "minnow")]
    (odd,) = unusual(resolve(small(**{LIGHT + "harvest": any_length})))
    assert "a harvest of bass of any length, their young" in odd.what and "shorter than 6 in (152 mm)" in odd.remedy
    (odd,) = unusual(resolve(small(**{LIGHT + "harvest": [any_length[0] | {"length_in": [1, 14]}]})))
    assert "a harvest of bass from 1 in (25.4 mm) on, their young" in odd.what


def test_a_price_of_grown_fish_of_other_kinds_or_of_what_lives_there_is_no_price_of_small_ones():
    grown = later(species="bass", per_acre=1, length_in=16, cost_each=80, name="grown")
    assert unusual(resolve(small(**{LIGHT + "stocking": grown, "costs": {"per_minnow": 300}}))) == []
    there = [RESIDENT | {"species": "redear", "length_in": 4}]
    assert unusual(resolve(small(**{LIGHT + "stocking": there, "costs": {"per_redear": 300}}))) == []
    for length, told in ((150, 1), (150.1, 0)):
        fish = later(species="bass", per_acre=1, length_mm=length, cost_each=80, name="longest")
        assert len(unusual(resolve(small(**{LIGHT + "stocking": fish})))) == told


def test_feed_at_different_times_is_not_added_up():
    parts = [{"lb_per_acre_day": 15, "season": ["03-01", "05-31"]}, {"lb_per_acre_day": 15, "season": ["06-01", "10-31"]}]
    assert unusual(resolve(small(**{LIGHT + "feeding": parts}))) == []
    later = [{"lb_per_acre_day": 15, "to_year": 1}, {"lb_per_acre_day": 15, "from_year": 2}]
    assert unusual(resolve(small(**{LIGHT + "feeding": later}))) == []


def test_feed_that_is_much_without_aeration_is_not_with_it():
    fed = small(**{LIGHT + "feeding": [{"lb_per_acre_day": 30}], LIGHT + "aeration": [AERATOR]})
    assert unusual(resolve(fed)) == []


@pytest.mark.parametrize(("place", "longest"), [
    ("title", 200), ("strategies__light__title", 120), ("costs__currency", 10), ("report__consultant", 200),
    ("report__note", 4000), ("local_knowledge__0__reason", 300), ("water__origin", 300), ("what_if__cold__title", 120),
])  # fmt: skip
def test_texts_may_be_so_long_and_no_longer(place, longest):
    raw = {
        "local_knowledge": [{"species": "bass", "process": "growth", "multiplier": 2, "reason": "x"}],
        "water": {"monthly_c": [12, 13, 16, 20, 24, 28, 29, 29, 26, 22, 17, 13]},
        "what_if": {"cold": {"spell": [{"from": dt.date(2026, 12, 1), "to": dt.date(2027, 2, 1), "at_most_f": 38}]}},
    }
    resolve(small(**raw, **{place: "x" * longest}))
    with pytest.raises(InputError, match=f"needs text of 1 to {longest:,} characters"):
        resolve(small(**raw, **{place: "x" * (longest + 1)}))


def test_water_that_hardly_cools_is_not_taken_for_months_that_begin_in_summer():
    warm = [16, 17, 19, 22, 26, 29, 30, 30, 28, 25, 20, 17]
    assert unusual(resolve(small(water={"monthly_c": warm}))) == []
    assert unusual(resolve(small(water={"monthly_c": [c + 14 * (k < 2) for k, c in enumerate(warm)]}))) != []


def test_smallest_differences_that_matter_where_none_are_given():
    kinds = {"balanced": 3, "big_bass": 3, "panfish": 3, "pounds_harvested": 10 * 1.1208511561, "bass_above": 1, "cost": 100}
    for kind, matters in kinds.items():
        goal = {"kind": kind} | ({"above_lb": 5} if kind == "bass_above" else {})
        assert resolve(small(goals=[goal], costs={})).goals[0].smallest == pytest.approx(matters, rel=1e-9)


def test_water_of_climates_is_written_to_half_a_degree_and_warmest_in_summer():
    for climate in CLIMATES.values():
        assert all((2 * mean).is_integer() for mean in climate.monthly_c) and len(climate.monthly_c) == 12
        assert climate.monthly_c[0] == min(climate.monthly_c) and max(climate.monthly_c) in climate.monthly_c[6:8]


def test_shipped_scenarios_are_not_unusual():
    assert [line for path in SHIPPED for line in unusual(load(path))] == []


def test_keys_are_told_by_table():
    assert "[[stocking]]" in keys_text() and "per_acre" not in keys_text()
    units = keys_text("units")  # no table but a key
    assert units.startswith("[report]: ") and '"metric"' in units and "currency" not in units
    assert "[[stocking]]" in keys_text("per_acre") and "[[harvest]]" in keys_text("per_acre")
    assert keys_text("catch") == keys_text("[[start_from_survey.catch]]")
    told = keys_text("[pond]")
    assert "area_acres, area_ha" in told and "needed, here or in every strategy" in told and "per_acre" not in told
    every = keys_text("all")
    assert all(keys_text(name) in every for name in key_tables())
    listed = keys_text().splitlines()  # one screen: every table of the top level, each with a word on what it is about
    for name in set(KEYS[""]) & set(key_tables()):
        heading, about = key_tables()[name].heading, key_tables()[name].about
        assert [about in line for line in listed if heading in line.split("  ")[0].split(", ")] == [True], name
    assert len(listed) < 24 and max(map(len, listed)) <= 80
    assert max(len(line) for line in every.splitlines() if line.startswith(" ")) == 78  # broken where a terminal ends
    with pytest.raises(InputError, match='did you mean "stocking"'):
        keys_text("stockings")


# Chance: whatever a file says, it resolves or is refused in one line.

ODD = st.one_of(
    st.none(), st.booleans(), st.integers(-(10**20), 10**20), st.floats(), st.text(max_size=20),
    st.dates(), st.datetimes(), st.times(), st.lists(st.integers(-5, 40), max_size=3),
    st.just({}), st.just([]), st.just([{}]), st.sampled_from(sorted({k for keys in KEYS.values() for k in keys})),
)  # fmt: skip


def places(value, path=()):
    """The path of every table, list and value."""
    yield path
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, item in items:
        yield from places(item, (*path, key))


WHOLE = [tomllib.loads(text) for text in (SMALL, FULL)]
PLACES = [(i, path) for i, raw in enumerate(WHOLE) for path in places(raw) if path]


@settings(max_examples=400)
@given(
    st.lists(st.tuples(st.sampled_from(PLACES), ODD, st.sampled_from(["set", "delete", "add"])), min_size=1, max_size=3)
)
def test_any_broken_file_resolves_or_is_refused_in_one_line(changes):
    which = changes[0][0][0]
    raw = copy.deepcopy(WHOLE[which])
    for (whose, path), value, how in changes:
        if whose != which:
            continue
        place = raw
        try:
            for key in path[:-1]:
                place = place[key]
            if how == "delete":
                del place[path[-1]]
            elif how == "add" and isinstance(value, str) and isinstance(place, dict):
                place[value] = 1
            else:
                place[path[-1]] = value
        except (KeyError, IndexError, TypeError):
            continue
    try:
        scenario = resolve(raw)
    except InputError as error:
        assert str(error).isprintable()
        assert len(str(error)) < 700
    else:
        assert resolve(tomllib.loads(dump(scenario))) == scenario
        assert describe(scenario)


@settings(max_examples=150)
@given(st.binary(max_size=200) | st.text(alphabet='[]{}="a.\n #1', max_size=200).map(str.encode))
def test_any_bytes_are_refused_in_one_line(tmp_path, content):
    file = tmp_path / "pond.toml"
    file.write_bytes(content)
    with pytest.raises(InputError) as caught:
        load(file)
    assert str(caught.value).isprintable()
