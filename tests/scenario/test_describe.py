"""A scenario told back, line by line as it was written: numbers converted by hand, and nothing told of what is not there."""

import datetime as dt
import json
import tomllib

import pytest
from small import TEXT

from pondpop.checks import InputError
from pondpop.scenario import describe, resolve
from pondpop.scenario.unusual import unusual
from pondpop.scenario.water import expected_on
from pondpop.scenario.what_if import befallen, begins

SEASON = "1 March to 31 October"


def told(extra="", text=TEXT):
    """The lines, of the small pond with these tables besides."""
    return describe(resolve(tomllib.loads(text + extra))).splitlines()


def line(name, extra, text=TEXT):
    """What is said of a named thing, behind its name."""
    (found,) = [one for one in told(extra, text) if f"  {name}: " in one]
    return found


def test_a_pond_is_told_with_its_run_its_surveys_and_its_strategies():
    lines = told()
    assert lines[:2] == ["small pond", ""]
    assert lines[2:4] == [
        "Pond: 2 acres (0.809 ha); cover 1 times that of an ordinary pond",
        "  mean depth 5 ft (1.52 m), assumed as none was given",
    ]
    assert "Run: 1 year, 2026-04-01 to 2027-03-31 (year 1 is 2026)" in lines
    assert "Surveys: every 20 April and 15 June and 15 September, 3 in all" in lines
    assert "Oxygen: a poor night kills fish; how often is assumed" in lines
    common, few, many = (lines.index(head) for head in ("In every strategy:", "Strategy few: few", "Strategy many: many"))
    assert lines[common + 1 : few - 1] == [
        "  fertility 1 (renewal of food, a fertilized pond being 1)",
        "  2026-04-01  old_bass: living there: bass 13 in (330 mm) long; 20 per acre (49.4 per ha), 40 in the pond",
        "  2026-04-01  bluegill: living there: bluegill 4 in (102 mm) long; 600 per acre (1,480 per ha), 1,200 in the pond",
        "  no harvest",
    ]
    assert lines[few + 1 : many - 1] == [
        "  2026-04-10  young_bass: stock bass 6 in (152 mm) long; 30 per acre (74.1 per ha), 60 in the pond"
    ]
    assert "Ensemble: 3 members, seed 20260315" in lines
    assert not any(one.startswith(("unusual", "Goal", "Costs")) for one in lines)


def test_surveys_of_six_days_of_every_year_are_told_by_their_days_and_of_more_by_their_dates():
    days = ["04-20", "05-20", "06-20", "07-20", "08-20", "09-20", "10-20"]
    for count, words in ((6, "every 20 April and 20 May"), (7, "7, on 2026-04-20, 2026-05-20")):
        text = TEXT.replace('["04-20", "06-15", "09-15"]', json.dumps(days[:count]))
        assert any(line.startswith(f"Surveys: {words}") for line in told(text=text))


def test_one_strategy_alone_has_nothing_in_common():
    text = TEXT.partition("[strategies.many]")[0]
    lines = told(text=text)
    assert "In every strategy:" not in lines and "  no harvest" in lines[lines.index("Strategy few: few") :]


def test_what_was_stated_of_a_pond_is_told_as_stated():
    text = TEXT.replace("area_acres = 2", "area_acres = 2\nmean_depth_ft = 8\nalkalinity_mg_l = 12.5")
    text = text.replace("years = 1", "years = 2")
    text = text.replace('surveys = ["04-20", "06-15", "09-15"]', "surveys = [2026-05-01, 2027-06-02]")
    lines = told(text=text)
    assert "  mean depth 8 ft (2.44 m)" in lines and "Alkalinity of the water: 12.5 mg/l as CaCO3" in lines
    oxygen = "Oxygen: left out; the water is taken to be rich in it at all times"
    scenario = resolve(tomllib.loads(TEXT))
    assert oxygen not in lines
    assert oxygen in describe(scenario._replace(pond=scenario.pond._replace(oxygen_risk=False))).splitlines()
    assert "Run: 2 years, 2026-04-01 to 2028-03-31 (year 1 is 2026)" in lines
    assert "Surveys: 2, on 2026-05-01, 2027-06-02" in lines


def test_monthly_means_are_told_in_both_units_the_writers_first():
    water = "climate = \"deep_south\""
    text = TEXT.replace(water, "monthly_c = [4, 6, 10, 15, 20, 26, 28, 27, 23, 17, 11, 6]")
    lines = told(text=text)
    k = lines.index("Water temperature: monthly means given in the scenario")
    assert lines[k + 1 : k + 3] == [
        "  monthly means, January to December, °F: 39.2 42.8 50 59 68 78.8 82.4 80.6 73.4 62.6 51.8 42.8",
        "  monthly means, January to December, °C: 4 6 10 15 20 26 28 27 23 17 11 6",
    ]
    metric = told('[report]\nunits = "metric"\n', text)
    assert metric[2] == "Pond: 0.809 ha (2 acres); cover 1 times that of an ordinary pond" and metric[k + 1] == lines[k + 2]


def test_dated_readings_are_told_with_their_ends():
    days = [dt.date(2025, 1, 1) + dt.timedelta(30 * k) for k in range(14)]
    readings = ", ".join(f"[{day}, {10 + k}]" for k, day in enumerate(days))
    lines = told(text=TEXT.replace('climate = "deep_south"', f"readings_c = [{readings}]"))
    assert "  14 readings from 2025-01-01 to 2026-01-26, 50 °F (10 °C) to 73.4 °F (23 °C)" in lines


STOCKED = """
[[strategies.few.stocking]]
name = "more"
species = "{species}"
date = 2026-04-20
per_acre = 10
length_in = 5
{more}
"""


def test_doubts_of_a_number_and_of_a_share_of_it_are_told_as_one():
    scenario = resolve(tomllib.loads(TEXT + STOCKED.format(species="bass", more="")))
    few = scenario.strategies["few"]
    for number_cv, share_cv, said in ((None, 0.3, "30 %"), (0.3, None, "30 %"), (0.3, 0.4, "50 %")):
        events = tuple(event._replace(number_cv=number_cv, share_cv=share_cv) for event in few.stocking if event.name == "more")
        told_ = describe(scenario._replace(strategies={"few": few._replace(stocking=events)}))
        assert f"their number in doubt by {said}" in told_


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ("weight_lb = 0.1", ", 0.1 lb (45.4 g); "), ("length_cv = 0.25", ", lengths differ by 25 %; "),
        ("age_years = 1", ", 1 year old; "), ("age_years = 1.5", ", 1.5 years old; "), ("cost_each = 1.5", ", 1.5 each; "),
        ("female_share = 1\nsexing_error = 0.02", ", 100 % females, 2 of 100 taken for females are males, by chance; "),
        ("number_cv = 0.3", ", their number in doubt by 30 %; "), ("", "long; "),
        ("haul_hours = 1", ", 1 hour by truck in fresh water ("),
        ("haul_hours = 3\nsalted = true", ", 3 hours by truck in salted water ("),
        ("haul_hours = 3\nfrom_water_f = 70\ntempered = false", ", 3 hours by truck in fresh water, not tempered ("),
        ("haul_hours = 3\nfrom_water_f = 70\ntempered = true", ", 3 hours by truck in fresh water, tempered ("),
    ],
)  # fmt: skip
def test_what_is_said_of_stocked_fish_is_told(more, said):
    words = line("more", STOCKED.format(species="bass", more=more))
    assert words.startswith("  2026-04-20  more: stock bass 5 in (127 mm) long") and said in words
    assert words.endswith("; 10 per acre (24.7 per ha), 20 in the pond")
    assert words.count(",") - words.count("fresh water,") <= 4 and ("truck" in words) == ("haul" in more)


def test_fragile_fish_in_a_truck_are_called_so():
    assert ", fragile fish (" in line("more", STOCKED.format(species="shad", more="haul_hours = 2"))
    assert "fragile" not in line("more", STOCKED.format(species="bass", more="haul_hours = 2"))


FOUR = "4 per acre (9.88 per ha), 8 in the pond a year"
HARVEST = '[[strategies.few.harvest]]\nname = "rule"\nspecies = "bass"\n'


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ("length_in = [12, 15]\nshare = 0.25", "bass of 12 to 15 in (305 to 381 mm), take 25 % of the fish in each season"),
        ("lb_per_acre = 10", "bass of all lengths, take 10 lb/acre (11.2 kg/ha) a year"),
        ("length_in = [0, 12]\nper_acre = 4", f"bass shorter than 12 in (305 mm), take {FOUR}"),
        ("length_mm = [381, 900]\nper_acre = 4", f"bass longer than 15 in (381 mm), take {FOUR}"),
    ],
)
def test_a_harvest_is_told_with_its_lengths_and_its_amount(given, said):
    words = line("rule", HARVEST + given + "\n")
    assert words == f"  2026–2027, {SEASON}  rule: {said}"
    assert "no harvest" not in " ".join(told(HARVEST + given + "\n")).partition("Strategy few")[2].partition("Strategy many")[0]
    only = line("rule", HARVEST + given + "\nfrom_year = 2\nto_year = 2\n")
    assert only == f"  2027, {SEASON}  rule: {said}"


@pytest.mark.parametrize(("needs", "word"), [("any", "or"), ("all", "and")])
@pytest.mark.parametrize(
    ("sampled", "seen"), [(60, "as a sample of 60 fish shows it"), (0, "as the pond is, without sampling error")]
)
def test_a_rule_that_looks_at_the_pond_is_told_with_what_it_asks(needs, word, sampled, seen):
    signs = '[{ quantity = "bass_psd", below = 40 }, { quantity = "bass_wr_8_12in", above = 90.5 }]'
    rule = HARVEST + f"share = 0.25\notherwise_share = 0.1\nwhen = {{ {needs} = {signs}, fish_sampled = {sampled} }}\n"
    assert line("rule", rule).endswith(
        f"take 25 % of the fish in each season if at the last survey bass_psd is below 40 {word} bass_wr_8_12in is above 90.5 "
        f"({seen}), otherwise 10 % of the fish"
    )


OTHERS = """
[[strategies.few.feeding]]
name = "pellets"
lb_per_acre_day = 8
season = ["04-01", "10-15"]
[[strategies.few.angling]]
name = "club"
hours_per_acre = 10
death_after_release = 0.05
[[strategies.few.aeration]]
name = "night"
kind = "diffused"
power_hp = 1
hours = [22, 6]
[[strategies.few.aeration]]
name = "when_low"
kind = "vertical_pump"
power_hp = 2
when_below_mg_l = 3.5
[[strategies.few.fertilization]]
name = "fertilizer"
level = "fertilized"
from = 2026-05-01
to = 2026-09-30
cost = 300
[[strategies.few.plants]]
name = "weeds"
date = 2026-06-01
share = 0.35
[[strategies.few.drawdown]]
name = "low"
from = 2026-11-01
to = 2026-12-31
area_share = 0.6
cost = 50
[[strategies.few.grass_carp]]
name = "carp"
date = 2026-06-01
per_acre = 8
cost = 100
[[strategies.few.removal]]
name = "thinned"
species = "bluegill"
date = 2026-06-10
length_in = [0, 3]
share = 0.4
cost = 80
"""


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("pellets", "  2026–2027, 1 April to 15 October  pellets: pellets, 8 lb/acre a day (8.97 kg/ha a day)"),
        ("club", f"  2026–2027, {SEASON}  club: 10 hours/acre (24.7 hours/ha) a year, all bass released, 5 % of them die"),
        ("night", f"  2026–2027, {SEASON}  night: diffused, 1 hp (0.746 kW) in the pond, from 22 to 6 o'clock"),
        ("when_low", f"  2026–2027, {SEASON}  when_low: vertical pump, 2 hp (1.49 kW) in the pond, while the water has less "
                     "than 3.5 mg/l of oxygen at night"),
        ("fertilizer", "  2026-05-01 to 2026-09-30  fertilizer: the pond tends to a fertility of 1, cost 300 a year"),
        ("weeds", "  2026-06-01  weeds: plants on 35 % of the area"),
        ("low", "  2026-11-01 to 2026-12-31  low: water on 60 % of the area, cost 50"),
        ("carp", "  2026-06-01  carp: sterile (triploid) grass carp, 8 per acre (19.8 per ha), 16 in the pond, cost 100; ask the "
                 "state: many require a permit, some forbid them"),
    ],
)  # fmt: skip
def test_what_is_done_to_a_pond_is_told(name, said):
    assert line(name, OTHERS) == said


def test_fish_of_a_day_are_told_by_species_and_length_and_not_by_the_letters_of_their_names():
    bluegill = [("a2", "bluegill", 2.5), ("a10", "bluegill", 10), ("a6", "bluegill", 6)]
    lots = [("b9", "bass", 9), ("b10", "bass", 10), *bluegill]
    there = "".join(
        f'[[stocking]]\nname = "{name}"\nspecies = "{species}"\nlength_in = {length}\nper_acre = 9\nresident = true\n'
        for name, species, length in lots
    )
    out = '[[removal]]\nname = "all_out"\nspecies = "bass"\ndate = 2026-04-01\nshare = 0.1\n'
    names = [one.split()[1] for one in told(there + out) if one.startswith("  2026-04-01  ")]
    assert names == ["b9:", "b10:", "old_bass:", "a2:", "bluegill:", "a6:", "a10:", "all_out:"]


def test_a_removal_is_told_in_the_order_of_days():
    lines = told(OTHERS)
    words = line("thinned", OTHERS)
    assert words.startswith("  2026-06-10  thinned: ") and "40 % of the fish" in words and "80" in words
    assert "bluegill shorter than 3 in (76.2 mm)" in words
    k = lines.index(words)
    assert "young_bass" in lines[k - 1]  # stocked before


def test_what_is_done_is_told_in_groups_fish_that_come_by_themselves_behind_the_plants():
    arrival = '[[strategies.few.arrival]]\nname = "came"\nspecies = "bluegill"\ndate = 2026-05-20\nlength_in = 4\nper_acre = 2\n'
    names = [one.split("  ")[2].partition(":")[0] for one in told(OTHERS + arrival) if one.startswith("  20")]
    first = names.index("thinned")
    assert names[first : first + 10] == [
        "thinned", "pellets", "club", "fertilizer", "weeds", "came", "low", "carp", "night", "when_low"
    ]  # fmt: skip


def test_fish_that_come_by_themselves_in_some_years_are_told_with_how_many_of_them():
    flood = '[[strategies.few.arrival]]\nname = "flood"\nspecies = "bluegill"\nday = "05-20"\nchance = 0.25\n'
    said = line("flood", flood + "length_in = 4\nper_acre = 2\n")
    assert said.startswith("  25 % of years, 20 May  flood: wild fish come in uninvited, bluegill 4 in (102 mm) long; 2 per acre")


def test_what_befalls_a_pond_is_told_by_its_title():
    extra = """
[what_if.hard_times]
title = "hard times"
[[what_if.hard_times.spell]]
name = "cold"
from = 2027-01-05
to = 2027-02-20
at_most_f = 38
[[what_if.hard_times.fertility_loss]]
name = "flush"
from = 2026-06-01
to = 2026-06-30
share = 0.25
[[what_if.hard_times.spell]]
name = "warm"
from = 2026-07-05
to = 2026-07-20
at_least_f = 88
"""
    lines = told(extra)
    k = lines.index("What if hard_times: hard times (with every strategy, beside the pond without it)")
    assert lines[k + 1 : k + 4] == [
        "  2026-07-05 to 2026-07-20  warm: water at least 88 °F (31.1 °C)",
        "  2027-01-05 to 2027-02-20  cold: water at most 38 °F (3.33 °C)",
        "  2026-06-01 to 2026-06-30  flush: 25 % of the fertility is lost, and comes back afterwards",
    ]


GOALS = """
[[goals]]
kind = "bass_above"
above_lb = 5
by_year = 2
weight = 2
[[goals]]
kind = "pounds_harvested"
matters_lb_per_acre = 10
[[goals]]
kind = "cost"
matters = 150
[[goals]]
kind = "panfish"
[costs]
currency = "EUR"
per_bass = 2
per_lb_feed = 0.5
per_hour = 20
per_kwh = 0.2
"""


def test_goals_and_prices_are_told():
    found = [one for one in told(GOALS) if one.startswith(("Goal", "Costs"))]
    assert found == [
        "Goal: bass above a weight of 5 lb (2.27 kg), by 2027, weight 2; a difference under 1 fish in the pond does not matter",
        "Goal: weight harvested, by the end, weight 1; a difference under 10 lb/acre (11.2 kg/ha) does not matter",
        "Goal: low cost, by the end, weight 1; a difference under 150 EUR does not matter",
        "Goal: bass and bluegill in the ranges of the panfish option, by the end, weight 1; a difference under 3 PSD points does "
        "not matter",
        "Costs in EUR: 2 a bass, feed 0.5 a lb (1.1 a kg), 20 an hour, 0.2 a kWh",
    ]
    assert "Costs in USD: none given" in told("[costs]\n")


def test_the_first_of_what_bass_eat_is_what_bass_come_before():
    text = TEXT.replace("resident = true\n", "date = 2026-05-01\n")
    text += '[[stocking]]\nname = "shad"\nspecies = "shad"\ndate = 2026-04-20\nper_acre = 500\nlength_in = 3\n'
    said = [odd.what for odd in unusual(resolve(tomllib.loads(text)))]
    assert said.count("young_bass, bass on 2026-04-10, before anything they eat (2026-04-20)") == 1
    between = text.replace("date = 2026-04-20", "date = 2026-04-05")  # shad are there before the bass, bluegill are not
    assert not any("before anything they eat" in odd.what for odd in unusual(resolve(tomllib.loads(between))))


def test_two_events_of_a_strategy_cannot_have_one_name():
    twice = STOCKED.format(species="bass", more="") * 2
    with pytest.raises(InputError, match="a name that no other stocking of the strategy has"):
        told(twice)


@pytest.mark.parametrize(("from_f", "minutes"), [(50, "minutes"), (90, "minutes")])
def test_fish_are_tempered_by_what_the_waters_differ(from_f, minutes):
    """At most 8 °F up or 5 °F down in half an hour, from the truck's water to that of 20 April."""
    scenario = resolve(tomllib.loads(TEXT + STOCKED.format(species="bass", more=f"haul_hours = 2\nfrom_water_f = {from_f}")))
    pond_f = 32 + 1.8 * expected_on(scenario.pond.temperature, dt.date(2026, 4, 20))
    wanted = 30 * (pond_f - from_f) / 8 if pond_f > from_f else 30 * (from_f - pond_f) / 5
    words = line("more", STOCKED.format(species="bass", more=f"haul_hours = 2\nfrom_water_f = {from_f}"))
    assert f"tempering takes {wanted:.0f} {minutes}, from {from_f} °F" in words
    assert "measure the truck's water" in line("more", STOCKED.format(species="bass", more="haul_hours = 2"))


def test_events_that_befall_a_pond_have_names_of_their_own():
    loss = '[[what_if.bad.fertility_loss]]\nname = "{}"\nfrom = 2026-06-01\nto = 2026-06-30\nshare = 0.25\n'
    long = "x" * 39
    scenario = resolve(tomllib.loads(TEXT + '[what_if.bad]\ntitle = "bad"\n' + loss.format("a") + loss.format(long + "y")
                                     + loss.format(long + "z")))  # fmt: skip
    pond = befallen(scenario, "bad").pond
    names = [one.name for one in pond.fertility_losses]
    assert len(set(names)) == 3 and "bad_a" in names and max(map(len, names)) <= 40
    twice = befallen(scenario._replace(pond=pond), "bad").pond.fertility_losses
    assert len({one.name for one in twice}) == 6 and "bad_a_2" in {one.name for one in twice}
    assert begins(scenario.what_if[0]) == dt.date(2026, 6, 1)
    with pytest.raises(InputError, match='did you mean "bad"'):
        befallen(scenario, "bda")
