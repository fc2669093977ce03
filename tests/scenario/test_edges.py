"""Where the meaning of a scenario turns, by hand: fish that a survey saw, days that water passes, planning texts, lists."""

import datetime as dt
import math
import re
import tomllib
from types import SimpleNamespace

import pytest
from small import raw

from pondpop.checks import InputError
from pondpop.records.surveys import LastCatch
from pondpop.scenario import describe, resolve
from pondpop.scenario.initial import _in_words as _in_words_of_survey
from pondpop.scenario.initial import begun_with, class_in, share_of_class
from pondpop.scenario.questions import QUESTIONS, _aligned, _assigned, _converted, _in_words, first_year, question_text
from pondpop.scenario.schema import SHORTEST_MM, Arrival, Feeding, Temperature
from pondpop.scenario.toml_hints import syntax_error
from pondpop.scenario.unusual import _at_one_time, unusual
from pondpop.scenario.water import expected_on
from pondpop.scenario.what_if import begins
from pondpop.species.catalogue import gears
from pondpop.species.gears import taken_share, warmth

CATCH = {"species": "bass", "length_in": [9, 10], "count": 40}


def begun(*rows, **said):
    """The fish that a survey saw live in 2 ha of water at 18 °C, by name."""
    whole = raw(only="few") | {"pond": {"area_ha": 2.0, "fertility": 1.0}}
    whole["start_from_survey"] = {"gear": "electrofishing", "hours": 1.5, "water_c": 18.0, "catch": list(rows)} | said
    whole["start_from_survey"] = {k: v for k, v in whole["start_from_survey"].items() if v is not None}
    return {one.name: one for one in resolve(whole).strategies["few"].stocking if one.number_cv is not None}


def numbers(gear, species, count, low_in, high_in, effort, water_c, area_ha):
    used = gears()[gear]
    steps = [25.4 * (low_in + (high_in - low_in) * (k + 0.5) / 10) for k in range(10)]
    taken = sum(taken_share(used, species, length) for length in steps) / 10
    at = (used[f"temperature_{name}_c"].value for name in ("from", "until", "width"))
    rate = used[f"{species}_reach_ha"].value * taken * effort * warmth(water_c, *at) / area_ha
    return count / (1 - math.exp(-rate)) / area_ha


def test_as_many_fish_live_there_as_a_gear_must_have_met_to_catch_so_many():
    others = {"species": "bass", "length_in": [12, 14], "count": 20}, {"species": "bluegill", "length_in": [5, 6], "count": 3}
    found = begun(CATCH, *others)
    bass, longer, bluegill = (found[name] for name in ("bass_9_0_10_0in", "bass_12_0_14_0in", "bluegill_5_0_6_0in"))
    assert bass.per_ha == pytest.approx(numbers("electrofishing", "bass", 40, 9, 10, 1.5, 18, 2))
    assert longer.per_ha == pytest.approx(numbers("electrofishing", "bass", 20, 12, 14, 1.5, 18, 2))
    assert (bass.resident, bass.date, bass.weight_g) == (True, dt.date(2026, 4, 1), None)
    assert bass.length_mm == pytest.approx(9.5 * 25.4) and longer.length_cv == pytest.approx(2 / math.sqrt(12) / 13)
    used = gears()["electrofishing"]
    assert bass.number_cv == pytest.approx(math.hypot(used["catch_cv"].value, used["catchability_spread"].value))
    few = used["independent_fish"].value + 1
    assert bass.share_cv == pytest.approx(math.sqrt(1 / 40 + 0.5 / few))
    assert longer.share_cv == pytest.approx(math.sqrt(1 / 20 + 2 / few))
    assert bluegill.share_cv == pytest.approx(math.sqrt(1 / 3))  # all bluegill are of its class


def test_a_seine_works_by_hauls_and_water_that_is_not_told_is_that_of_the_season():
    row = {"species": "bluegill", "length_in": [1, 2], "count": 50}
    water = expected_on(resolve(raw()).pond.temperature, dt.date(2026, 4, 1))
    (found,) = begun(row, gear="seine", hours=None, hauls=4, water_c=None).values()
    assert found.per_ha == pytest.approx(numbers("seine", "bluegill", 50, 1, 2, 4, water, 2))
    with pytest.raises(InputError, match=r"start_from_survey.hours: got 1.5, needs the hauls of seine"):
        begun(row, gear="seine", hauls=4)


def test_the_doubt_about_a_survey_has_bounds():
    many = {"species": "bass", "length_in": [10, 11], "count": 9999}
    assert begun({**CATCH, "count": 1}, many)["bass_9_0_10_0in"].share_cv == 2.0
    row = {"species": "bluegill", "length_in": [0.2, 10], "count": 9}
    (wide,) = begun(row, gear="seine", hours=None, hauls=4).values()
    assert wide.length_cv == 0.5  # 9.8 / sqrt(12) / 5.1 would be 0.555


@pytest.mark.parametrize(("length_mm", "taken"), [(83.5, False), (84.7, True)])
def test_a_class_of_which_the_gear_takes_a_tenth_can_be_told(length_mm, taken):
    """Of bass of 84.08 mm a boat takes 1 / (1 + exp(65.92 / 30)) = 0.1."""
    row = {"species": "bass", "length_mm": [length_mm - 0.1, length_mm + 0.1], "count": 4}
    if taken:
        assert begun(row)
    else:
        with pytest.raises(InputError, match=r"bass of 83.4 to 83.6 mm, needs a length class of which electrofishing takes"):
            begun(row)


@pytest.mark.parametrize(
    ("rows", "says"),
    [((), "no catch, needs at least one"), ((CATCH, CATCH), "a second row, needs one row for each species and length class"),
     (({**CATCH, "count": 100_000},), "needs a catch of at most 1,000,000 fish per ha"),
     (({**CATCH, "count": 100_001},), "count: got 100001, needs a whole number from 1 to 100,000")],
)  # fmt: skip
def test_catches_that_cannot_be_are_refused(rows, says):
    with pytest.raises(InputError) as refused:
        begun(*rows, hours=0.05)
    assert says in str(refused.value)


def test_a_window_ends_above_the_shortest_fish_there_is():
    harvest = {"name": "h", "species": "bass", "share": 0.2}
    ends = {"strategies": {"few": {"harvest": [harvest | {"length_mm": [0, SHORTEST_MM * 1.01]}]}}}
    (rule,) = resolve(raw() | ends).strategies["few"].harvest
    assert rule.length_mm == (SHORTEST_MM, SHORTEST_MM * 1.01)
    harvest["length_mm"] = [200, 200]
    with pytest.raises(InputError, match="with from below to"):
        resolve(raw() | {"strategies": {"few": {"harvest": [harvest]}}})
    harvest["length_mm"] = [0, SHORTEST_MM]
    with pytest.raises(InputError, match="no fish here is shorter"):
        resolve(raw() | {"strategies": {"few": {"harvest": [harvest]}}})


def test_a_catch_tells_of_at_most_a_million_fish_a_hectare():
    row, each = {"species": "bass", "length_in": [4, 5]}, numbers("electrofishing", "bass", 1, 4, 5, 0.05, 18, 2)
    (found,) = begun(row | {"count": int(0.995e6 / each)}, hours=0.05).values()
    assert found.per_ha == pytest.approx(0.995e6, rel=1e-3)
    with pytest.raises(InputError, match="needs a catch of at most 1,000,000 fish per ha"):
        begun(row | {"count": int(1.005e6 / each)}, hours=0.05)


def survey(tmp_path, day="2026-04-01", extra=""):
    (tmp_path / "seen").mkdir(exist_ok=True)
    rows = "".join(f"{day},electrofishing,bass,{inch},\n" for inch in (9.2, 9.7, 12.1)) + extra
    (tmp_path / "seen" / "survey.csv").write_text("date,gear,species,length_in,weight_lb\n" + rows)
    (tmp_path / "seen" / "effort.csv").write_text(f"date,gear,hours,water_c\n{day},electrofishing,1.5,18\n")
    whole = raw(only="few") | {"pond": {"area_ha": 2.0, "fertility": 1.0}, "start_from_survey": {"records": "seen"}}
    return {one.name: one for one in resolve(whole, tmp_path).strategies["few"].stocking if one.number_cv is not None}


def test_records_say_what_a_table_would(tmp_path):
    typed = begun({**CATCH, "count": 2}, {"species": "bass", "length_in": [12, 13], "count": 1})
    assert survey(tmp_path) == typed
    small_fish = "2026-04-01,electrofishing,bass,1.5,\n"
    assert survey(tmp_path, extra=small_fish) == typed  # a boat hardly takes them
    one = f"2026-04-01,electrofishing,bass,{14.5},1.6\n"
    assert survey(tmp_path, extra=one)["bass_14_0_15_0in"].weight_g is not None


@pytest.mark.parametrize(("day", "good"), [("2026-03-02", True), ("2026-03-01", False), ("2026-04-02", False)])
def test_a_run_begins_at_most_thirty_days_after_the_survey(tmp_path, day, good):
    if good:
        assert len(survey(tmp_path, day)) == 2
    else:
        with pytest.raises(InputError, match=f"the last survey is of {day}: write start = {day}"):
            survey(tmp_path, day)


def test_rows_lost_of_the_records_that_a_pond_begins_from_are_told(tmp_path):
    survey(tmp_path, extra="2026-04-01,electrofishing,carp,14,\n")
    (file := tmp_path / "pond.toml").write_text('[start_from_survey]\nrecords = "seen"\n')
    start = dt.date(2026, 4, 1)
    survey_, *told = begun_with(file, start)
    assert told[0] == "Left out, 1 row of seen:" and len(told) == 2
    assert told[1].startswith('  survey.csv, line 5: species: got "carp"')
    survey(tmp_path)
    assert begun_with(file, start) == [survey_]
    file.write_text("[start_from_survey]\nhours = 2\n")
    assert begun_with(file, start) == []


@pytest.mark.parametrize(("gear", "days", "amount", "fish", "said"), [
    ("electrofishing", 1, 1.0, {("bass", 9): 2, ("bass", 12): 1, ("bluegill", 5): 3, ("bass", 1): 4},
     "2026-04-01, 1 hour of electrofishing: 7 bass and 3 bluegill; left out, as electrofishing hardly takes them: "
     "4 bass of 1 to 2 in."),
    ("electrofishing", 2, 1.5, {("bass", 9): 2}, "2026-04-01 to 2026-04-02, 1.5 hours of electrofishing: 2 bass."),
    ("seine", 1, 1.0, {("bluegill", 1): 30}, "2026-04-01, 1 haul of seine: 30 bluegill."),
    ("seine", 1, 4.0, {("bluegill", 1): 30}, "2026-04-01, 4 hauls of seine: 30 bluegill."),
])  # fmt: skip
def test_the_survey_that_a_pond_begins_from_is_told_with_its_days_its_effort_and_its_fish(gear, days, amount, fish, said):
    found = LastCatch(gear, dt.date(2026, 4, 1), dt.date(2026, 4, days), amount, None, fish, {})
    assert _in_words_of_survey(found) == f"The fish that live there are told by the survey of {said}"


def test_classes_are_whole_inches_and_none_begins_at_nought():
    assert (class_in(0), class_in(9)) == ((0.2, 1), (9, 10))
    used = gears()["electrofishing"]
    inches = [9 + (k + 0.5) / 10 for k in range(10)]
    wanted = sum(taken_share(used, "bass", 25.4 * inch) for inch in inches) / 10
    assert share_of_class(used, "bass", 9) == pytest.approx(wanted, rel=1e-12)


# ---- planning texts


@pytest.mark.parametrize(
    ("key", "us", "metric"),
    [("per_acre", "per_acre", "per_ha"), ("lb_per_acre", "lb_per_acre", "kg_per_ha"), ("length_in", "length_in", "length_mm"),
     ("lb_per_acre_day", "lb_per_acre_day", "kg_per_ha_day"), ("area_acres", "area_acres", "area_ha"),
     ("above_lb", "above_lb", "above_kg"), ("monthly_f", "monthly_f", "monthly_c"),
     ("per_lb_feed", "per_lb_feed", "per_kg_feed")],
)  # fmt: skip
def test_a_key_is_written_in_the_units_asked_for(key, us, metric):
    assert _converted(key, "us")[0] == us and _converted(key, "metric")[0] == metric


def test_numbers_of_planning_texts_are_rounded_to_two_digits_where_they_are_converted():
    assert _assigned("length_in", "[8, 12.5]", "us") == "length_in = [8, 12.5]"
    assert _assigned("length_in", "[8, 12.5]", "metric") == "length_mm = [200, 320]"
    assert _in_words("75", "per_acre", "us") == "75 per acre" and _in_words("75", "per_acre", "metric") == "190 per ha"
    assert _assigned("monthly_f", "[32, 50]", "metric") == "monthly_c = [0, 10]"


def test_comments_of_planning_texts_stand_in_one_column():
    assert _aligned("years = 6  # yours") == "years = 6".ljust(34) + "  # yours"
    assert _aligned("# a line  # of words") == "# a line  # of words" and _aligned("years = 6") == "years = 6"
    text = question_text("repair", "us", 2030, "here.toml")
    assert "start = 2030-02-01" in text and "date = 2031-02-15" in text and "date = 2032-06-01" in text
    assert "check here.toml" in text
    short = [line for line in text.splitlines() if "  # yours" in line and len(line.split("  # ")[0].rstrip()) <= 34]
    assert {line.index("  # ") for line in short} == {34}


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("question", QUESTIONS)
def test_titles_of_planning_texts_say_what_their_strategies_do(question, units):
    """Every number and month of a title is one of the tables of its strategy."""
    strategies = tomllib.loads(question_text(question, units, 2030, "here.toml"))["strategies"]
    entries = {name: [e for kind in ("stocking", "harvest", "feeding", "removal") for e in one.get(kind, [])]
               for name, one in strategies.items()}  # fmt: skip
    first = min((e["date"] for some in entries.values() for e in some if "date" in e), default=None)
    for name, strategy in strategies.items():
        values = [entry[key] for entry in entries[name] for key in entry]
        values = [v for value in values for v in (value if isinstance(value, list) else [value])]
        dates = [v for v in values if isinstance(v, dt.date)]
        days = dates + [dt.date(2030, *map(int, v.split("-"))) for v in values if re.fullmatch(r"\d\d-\d\d", str(v))]
        numbers = {float(v) for v in values if isinstance(v, int | float)} | {100 * e.get("share", 0.0) for e in entries[name]}
        numbers |= {float((d.year - first.year) * 12 + d.month - first.month) for d in dates}
        months = {f"{day:%B}" for day in days}
        assert {float(n) for n in re.findall(r"\d+(?:\.\d+)?", strategy["title"])} <= numbers, strategy["title"]
        assert {f"{dt.date(2030, k, 1):%B}" for k in range(1, 13)} & {*re.findall(r"\w+", strategy["title"])} <= months


def test_the_first_year_is_one_whose_start_is_to_come():
    assert [first_year("repair", dt.date(2030, 2, day)) for day in (1, 2)] == [2030, 2031]


# ---- water


MONTHS = (5.0, 7.0, 11.0, 16.0, 21.0, 25.0, 27.0, 26.0, 22.0, 16.0, 10.0, 6.0)


def test_water_lies_on_straight_lines_between_the_middles_of_months():
    water = Temperature("monthly", "invented", MONTHS)
    share = (31 - 15.5) / 30.44  # of the way from the middle of a month to that of the next
    assert expected_on(water, dt.date(2026, 3, 31)) == pytest.approx(11 + 5 * share)
    assert expected_on(water, dt.date(2026, 12, 31)) == pytest.approx(6 - 1 * share)
    assert expected_on(water, dt.date(2026, 1, 1)) == pytest.approx(5 + 14.5 / 30.44)


def passing(**said):
    whole = raw() | {"water": {"monthly_c": list(MONTHS)}}
    whole["run"] = whole["run"] | {"surveys": [said]}
    return [(day.month, day.day) for day in resolve(whole).run.survey_dates]


def test_a_survey_waits_for_the_water_to_rise_or_to_fall_to_its_temperature():
    """By hand: from 11 to 16 °C by 5 / 30.44 a day from 15.5 March on; from 22 to 16 °C by 6 / 30.44 from 15.5 September on."""
    assert passing(passes_c=12, rising=True) == [(3, 22)] and passing(passes_c=20, rising=False) == [(9, 26)]
    assert passing(passes_f=53.6, rising=True) == [(3, 22)]


def daily(days, gap=1, most=0):
    first = dt.date(2024, 1, 1)
    dates = [first + dt.timedelta(k) for k in range(0, days, gap)]
    dates += [dates[-1] + dt.timedelta(most)] * bool(most)
    return raw() | {"water": {"readings_c": [[day, 15] for day in dates]}}


@pytest.mark.parametrize(("whole", "says"), [
    (daily(365), ""), (daily(364), "readings of 364 days, needs readings that span at least a year"),
    (daily(400, most=45), ""), (daily(400, most=46), "no reading for 46 days after 2025-02-03, needs gaps of at most 45 days"),
    (daily(10_000), ""), (daily(10_001), "more than 10,000 readings"),
], ids=range(6))  # fmt: skip
def test_readings_span_a_year_without_a_long_gap(whole, says):
    if says:
        with pytest.raises(InputError) as refused:
            resolve(whole)
        assert says in str(refused.value)
    else:
        assert resolve(whole).pond.temperature.kind == "readings"


# ---- lists and words


def test_wild_fish_come_on_their_day_of_each_year_within_the_run():
    run = resolve(raw(years=2)).run  # from 1 April 2026 on, to 31 March 2028
    every = Arrival("a", "bass", 1.0, 50.0, day=(4, 1), chance=0.5)
    assert every.dates(run) == [dt.date(2026, 4, 1), dt.date(2027, 4, 1)]
    assert every._replace(day=(3, 31)).dates(run) == [dt.date(2027, 3, 31), dt.date(2028, 3, 31)]
    assert every._replace(date=dt.date(2027, 1, 2), day=None).dates(run) == [dt.date(2027, 1, 2)]


FEW = "strategies.few."
DAY = dt.date(2026, 8, 1)


@pytest.mark.parametrize(
    ("table", "entry", "says"),
    [
        ("stocking", {"haul_hours": 2, "tempered": True}, "needs from_water_f or from_water_c beside it"),
        ("stocking", {"salted": True}, "salted: got true, needs haul_hours beside it, hours in the truck"),
        ("stocking", {"from_water_c": 20}, "needs haul_hours beside it"), ("stocking", {"haul_hours": 2}, ""),
        ("stocking", {"strain": "florida"}, ""), ("stocking", {"strain": "gulf"}, "strain: got"),
        ("stocking", {"species": "bluegill", "strain": "florida"}, "needs no strain: only bass has strains; leave it out"),
        ("arrival", {"chance": 0.1}, ""), ("arrival", {"date": DAY, "chance": 0.1}, "a date, or a chance in each year"),
        ("arrival", {"date": DAY, "day": "05-15"}, "a date, or a chance in each year"), ("arrival", {"date": DAY}, ""),
    ],
)  # fmt: skip
def test_keys_that_need_one_another_stand_together(table, entry, says):
    whole = raw(only="few")
    base = {"species": "bass", "per_acre": 10, "length_in": 4} | ({"date": DAY} if table == "stocking" else {})
    whole["strategies"]["few"].setdefault(table, []).append(base | entry)
    if says:
        with pytest.raises(InputError) as refused:
            resolve(whole)
        assert says in str(refused.value)
    else:
        assert resolve(whole)


def test_fertilization_by_years_is_of_the_days_of_the_run():
    whole = raw(years=2, only="few")
    whole["strategies"]["few"]["fertilization"] = [{"level": 1, "to_year": 1}, {"level": 0.5, "from_year": 2, "to_year": 2},
                                                   {"level": 0.8, "from_year": 3}]  # fmt: skip
    found = [(one.first, one.last, one.level) for one in resolve(whole).strategies["few"].fertilization]
    assert found == [
        (dt.date(2026, 4, 1), dt.date(2026, 12, 31), 1), (dt.date(2027, 1, 1), dt.date(2027, 12, 31), 0.5),
        (dt.date(2028, 1, 1), dt.date(2028, 3, 31), 0.8),
    ]  # fmt: skip


def test_fertilization_from_a_day_on_lasts_to_the_end_and_one_to_a_day_from_the_start():
    whole = raw(years=2, only="few")
    whole["strategies"]["few"]["fertilization"] = [{"level": 1, "to": dt.date(2026, 6, 1)},
                                                   {"level": 0.5, "from": dt.date(2026, 6, 2)}]  # fmt: skip
    found = [(one.first, one.last) for one in resolve(whole).strategies["few"].fertilization]
    assert found == [(dt.date(2026, 4, 1), dt.date(2026, 6, 1)), (dt.date(2026, 6, 2), dt.date(2028, 3, 31))]


def test_no_day_has_two_levels_of_fertility():
    whole = raw(only="few")
    whole["strategies"]["few"]["fertilization"] = [{"level": 1, "to": dt.date(2026, 6, 1)},
                                                   {"level": 0.5, "from": dt.date(2026, 6, 1)}]  # fmt: skip
    with pytest.raises(InputError, match=r"which begins before .* ends, needs one level a day"):
        resolve(whole)


def test_goals_whose_ranges_only_touch_are_told_as_apart():
    scenario = resolve(raw() | {"goals": [{"kind": "panfish"}, {"kind": "balanced"}]})
    (told,) = (str(odd) for odd in unusual(scenario) if "goals" in str(odd))
    assert "goals panfish and balanced, which no pond meets at one time (bass PSD 20–40 and 40–70)" in told


@pytest.mark.parametrize(("weight", "given", "says"), [
    ("weight_lb", 2, "give length_in = 15"), ("weight_g", 907.18474, "give length_mm ="),
    ("weight_kg", 0.90718474, "give length_mm ="),
])  # fmt: skip
def test_the_usual_length_of_a_weight_is_told_in_the_system_of_the_weight(weight, given, says):
    whole = raw(only="few")
    whole["strategies"]["few"]["stocking"] = [{"species": "bass", "date": DAY, "per_acre": 10, weight: given}]
    with pytest.raises(InputError) as refused:
        resolve(whole)
    assert says in str(refused.value) and "needs a length beside the weight" in str(refused.value)
    if weight != "weight_lb":
        assert str(refused.value).endswith("is about 391 mm long: give length_mm = 391")  # 10 ** ((log10 W + 5.528) / 3.273)


@pytest.mark.parametrize(("conditions", "good"), [(10, True), (11, False)])
def test_a_rule_has_at_most_ten_conditions(conditions, good):
    whole = raw(only="few")
    when = {"all": [{"quantity": "bass_psd", "below": 40}] * conditions}
    whole["strategies"]["few"]["harvest"] = [{"species": "bass", "share": 0.2, "when": when}]
    if good:
        (rule,) = resolve(whole).strategies["few"].harvest
        assert (rule.when.fish_sampled, len(rule.when.conditions), rule.otherwise) == (100, 10, 0.0)
    else:
        with pytest.raises(InputError, match="1 to 10 conditions"):
            resolve(whole)


@pytest.mark.parametrize(("strategies", "events", "good"), [(20, 10, True), (21, 10, False), (20, 11, False)])
def test_there_are_at_most_twenty_strategies_and_ten_events(strategies, events, good):
    whole = raw(only="few")
    whole["strategies"] = {f"s{k}": {} for k in range(strategies)}
    whole["what_if"] = {f"w{k}": {"spell": [{"from": DAY, "to": DAY, "at_most_c": 20}]} for k in range(events)}
    if good:
        found = resolve(whole)
        assert len(found.strategies) == 20 and len(found.what_if) == 10
        assert found.what_if[0].spells[0].name == "cold_2026-08-01"
    else:
        with pytest.raises(InputError, match=f"got {strategies} strategies|got {events} events"):
            resolve(whole)




@pytest.mark.parametrize(
    ("content", "where", "says"),
    [
        ("a = 1\nb = ", "line 2, the end", "write a value after =, or remove the line"),
        ("a = [1\n\n", "line 1, the end", "close every"),
        ("a = 1\n\nb = [1\n\n", "line 3, the end of the file", "close every"),
        ("price = $5", "line 1", "without $"),
        ("words alone", "line 1", "write key = value; comments begin with #"),
    ],
)  # fmt: skip
def test_the_place_of_a_slip_is_that_of_the_last_line_with_words_where_none_is_told(content, where, says):
    import tomllib

    with pytest.raises(tomllib.TOMLDecodeError) as slip:
        tomllib.loads(content)
    told = syntax_error(content, slip.value)
    assert told.path.startswith(where) and says in told.remedy


def test_goals_have_a_difference_in_their_unit():
    for goal, says in (
        ({"kind": "pounds_harvested", "matters": 5}, "write matters_kg_per_ha or matters_lb_per_acre"),
        ({"kind": "cost", "matters_kg_per_ha": 5}, "a weight that matters for cost, needs matters, without a unit"),
    ):
        with pytest.raises(InputError) as refused:
            resolve(raw() | {"goals": [goal]})
        assert says in str(refused.value)
    goals = [{"kind": "cost"}, {"kind": "pounds_harvested", "matters_lb_per_acre": 2}, {"kind": "panfish", "matters": 0}]
    found = resolve(raw() | {"goals": goals}).goals
    assert [goal.smallest for goal in found] == [100.0, pytest.approx(2 * 0.45359237 / 0.40468564224), 0.0]


@pytest.mark.parametrize("rising", [True, False])
def test_water_that_stays_as_it_is_passes_nothing(rising):
    whole = raw() | {"water": {"monthly_c": [15] * 12}}
    whole["run"] = whole["run"] | {"surveys": [{"passes_c": 15, "rising": rising}]}
    with pytest.raises(InputError, match="a temperature that this water passes"):
        resolve(whole)


def test_of_rules_that_feed_too_much_together_the_one_is_named_that_begins_while_the_other_goes_on():
    whole = raw(only="few")
    rules = {"name": "early", "season": ["03-01", "06-30"]}, {"name": "late", "season": ["06-01", "10-31"]}
    whole["strategies"]["few"]["feeding"] = [rule | {"lb_per_acre_day": 15} for rule in rules]
    told = [odd.what for odd in unusual(resolve(whole)) if "feed of" in odd.what]
    assert len(told) == 1 and told[0].startswith("late, feed of 30 lb/acre a day")


def test_numbers_of_a_whole_pond_are_told_before_other_numbers():
    whole = raw(only="few")
    tiny = {"species": "minnow", "date": DAY, "per_acre": 1000, "length_in": 0.2, "name": "tiny"}
    few = {"species": "bass", "date": DAY, "count": 60, "length_in": 2, "name": "whole"}
    whole["pond"] |= {"area_acres": 4}
    whole["strategies"]["few"]["stocking"], whole["stocking"] = [tiny, few], []
    assert [odd.what.partition(",")[0] for odd in unusual(resolve(whole))][:2] == ["whole", "tiny"]
    alone = {"species": "bass", "resident": True, "per_acre": 20, "length_in": 13, "name": "old"}
    whole["strategies"]["few"]["stocking"] = [alone, tiny]
    tiny_one, forage = (odd.what for odd in unusual(resolve(whole)))
    assert tiny_one.startswith("tiny,") and "of bass at the start" in forage
    told = "".join(describe(resolve(whole)))
    assert 0 < told.index("unusual: tiny") < told.index("whole_fish: ")  # before what is in doubt


@pytest.mark.parametrize(
    ("season", "years", "together"),
    [(((4, 1), (5, 1)), (2, 3), True), (((4, 1), (4, 30)), (2, 3), False), (((5, 31), (7, 1)), (2, 3), True),
     (((6, 1), (7, 1)), (2, 3), False), (((1, 1), (12, 31)), (3, 4), True), (((1, 1), (12, 31)), (1, 2), True),
     (((5, 10), (5, 10)), (4, 4), False), (((5, 10), (5, 10)), (1, 1), False)],
)  # fmt: skip
def test_two_rules_go_on_at_one_time_where_a_day_and_a_year_are_of_both(season, years, together):
    one = Feeding("one", 1.0, ((5, 1), (5, 31)), 2, 3)
    other = Feeding("other", 1.0, season, *years)
    assert _at_one_time(one, other) is _at_one_time(other, one) is together


@pytest.mark.parametrize(("weight_g", "says"), [(15_000, "needs a length beside the weight"), (15_000.5, "from 0.001 to 15,000")])
def test_no_fish_told_by_weight_alone_is_heavier_than_bass_are(weight_g, says):
    whole = raw(only="few")
    whole["strategies"]["few"]["stocking"] = [{"species": "bass", "date": DAY, "per_acre": 10, "weight_g": weight_g}]
    with pytest.raises(InputError) as refused:
        resolve(whole)
    assert says in str(refused.value)


@pytest.mark.parametrize(("weight_g", "fits"), [(108, True), (107, False), (1350, True), (1351, False)])
def test_a_fish_of_300_mm_weighs_4_to_50_millionths_of_a_gram_a_cubic_millimetre(weight_g, fits):
    whole = raw(only="few")
    lot = {"species": "bass", "date": DAY, "per_acre": 10, "length_mm": 300, "weight_g": weight_g}
    whole["strategies"]["few"]["stocking"] = [lot]
    if fits:
        assert resolve(whole)
    else:
        with pytest.raises(InputError, match="a fish of 300 mm, 108 to 1,350 g"):
            resolve(whole)


def test_the_file_of_a_scenario_is_told_where_it_is_of_one():
    scenario = resolve(raw())
    assert describe(scenario._replace(source_file="pond.toml")).splitlines()[:3] == ["small pond", "from pond.toml", ""]
    assert describe(scenario).splitlines()[:2] == ["small pond", ""]


def test_a_file_may_compare_twenty_strategies():
    content = raw()
    content["strategies"] = {f"s{k}": content["strategies"]["few"] for k in range(20)}
    assert len(resolve(content).strategies) == 20
    content["strategies"]["one_more"] = content["strategies"]["s0"]
    with pytest.raises(InputError, match="20"):
        resolve(content)


def test_an_event_begins_with_the_first_day_that_it_names_and_fish_that_come_every_year_name_none():
    days = [dt.date(2026, month, 1) for month in range(1, 7)]
    kinds = ("spells", "fertility_losses", "droughts", "die_offs", "plants", "arrivals")
    for k, kind in enumerate(kinds):
        events = {name: [SimpleNamespace(first=day, date=day)] for name, day in zip(kinds, days, strict=True)}
        events[kind] = [SimpleNamespace(first=dt.date(2025, 5, k + 1), date=dt.date(2025, 5, k + 1))]
        events["arrivals"] = [*events["arrivals"], SimpleNamespace(date=None)]
        assert begins(SimpleNamespace(**events)) == dt.date(2025, 5, k + 1)


def refused(start):
    """What is refused of the small pond, whose fish come in 2026, where its run starts on another day."""
    with pytest.raises(InputError) as found:
        resolve(raw() | {"run": raw()["run"] | {"start": start}})
    return found.value.path


def test_a_run_starts_within_the_years_that_dates_may_be_of():
    day = dt.timedelta(days=1)
    for first, beyond in ((dt.date(1950, 1, 1), -day), (dt.date(2100, 12, 31), day)):
        assert refused(first) != "run.start" == refused(first + beyond)


@pytest.mark.parametrize("letters", [40, 41])
def test_an_entry_is_told_by_a_name_of_up_to_forty_letters(letters):
    named = {"species": "bass", "date": DAY, "per_acre": -1, "length_in": 2, "name": "n" * letters}
    with pytest.raises(InputError) as refused:
        resolve(raw(only="few") | {"stocking": [named]})
    assert ("(nnn" in str(refused.value)) == (letters == 40)
