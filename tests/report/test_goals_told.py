"""Goals on the page and in its CSV: two ponds of which every number is known."""

from dataclasses import replace

import numpy as np
import pytest
from small import EVENTS, dataset, pond, readings

from pondpop.ensemble import results
from pondpop.report import comparisons
from pondpop.report.answer import answer
from pondpop.report.strategies import gather

GOALS = """
[[goals]]
kind = 'bass_above'
above_lb = 5
[[goals]]
kind = 'pounds_harvested'
matters_lb_per_acre = 5
weight = 2
[costs]
per_bass = 2
"""


def made(members=10):
    """“few” holds 4 bass above 5 lb (none in one future) and gives 22.4 kg/ha, “many” 9 and nothing; they cost 120 and 240."""
    scenario = pond(members=members, extra=GOALS)
    read = readings(scenario)
    for name, big in (("few", 4.0), ("many", 9.0)):
        read[name]["bass_above"][..., 0] = big / scenario.pond.area_ha
        read[name]["number"][..., 0, 9] = 50.0
    read["few"]["bass_above"][0, :, 0] = 0.0
    read["few"]["harvest_biomass"][:, 3, 0] = 22.417023122
    return dataset(scenario, read)


@pytest.fixture(scope="module")
def verdicts():
    return answer(gather([made()], "us")).verdicts


def test_each_goal_stands_with_its_unit_its_direction_and_what_matters(verdicts):
    table = comparisons.goal_tables(verdicts)[0]
    assert table.caption == "The goals: the middle (median) and the range of 8 of 10 futures"
    few = [row for row in table.csv_rows if row[0] == "A"]
    assert [row[2:6] for row in few] == [
        ["bass above 5 lb (2.27 kg)", "fish", "more is better", 1.0],
        ["bass above 5 lb (2.27 kg), cost for each of them, USD", "USD", "less is better", ""],
        ["weight harvested in all", "lb/acre", "more is better", pytest.approx(5.0)],
    ]
    assert few[0][6:] == pytest.approx([3.6, 4.0, 4.0], abs=0.01) and few[2][6:] == pytest.approx([20.0] * 3)
    assert few[1][6:8] == pytest.approx([30.0, 30.0])
    many = [row for row in table.csv_rows if row[0] == "B"]
    assert many[0][6:] == [9.0] * 3 and many[1][6:] == pytest.approx([240 / 9] * 3) and many[2][6:] == [0.0] * 3
    assert table.rows == [
        ["bass over 5 lb; more is better", ("4", "3.6–4"), ("9", "")],
        ["cost for each of them, USD; less is better", ("30", ""), ("27", "")],
        ["harvest in all, lb/acre; more is better", ("20", ""), ("0", "")],
        ["All goals, against A: futures in which better; worse", "–", "less than 1 of 10; more than 9 of 10"],
    ]


def test_every_strategy_is_held_against_every_other_in_the_csv(verdicts):
    """Harvest weighs twice: “few” wins on it by 20 lb/acre in all futures, “many” on big bass by 5, or 9."""
    pairs = comparisons.goal_tables(verdicts)[-1]
    assert pairs.csv_header[:5] == ["first", "first_title", "second", "second_title", "goal"]
    rows = {row[4]: row for row in pairs.csv_rows}
    assert rows["all, by weight"][:4] == ["A", "few", "B", "many"] and rows["all, by weight"][5:7] == [1.0, 0.0]
    big, harvest, dearer = rows["bass above 5 lb (2.27 kg)"], rows["weight harvested in all"], rows["what it costs more"]
    assert big[5:7] == [0.0, 1.0] and big[8:] == pytest.approx([-5.4, -5.0, -5.0], abs=0.01)
    assert harvest[5:7] == [1.0, 0.0] and harvest[7] == "lb/acre" and harvest[8:] == pytest.approx([20.0] * 3)
    assert dearer[7] == "USD" and dearer[8:] == pytest.approx([-120.0] * 3)


def test_squares_are_not_drawn_of_one_strategy_or_one_future():
    (alone,) = answer(gather([made(members=1)], "us")).verdicts
    assert comparisons.squares(alone, "k") is None
    table = comparisons.goal_tables([alone])[0]
    assert table.caption == "The goals" and not any("All goals" in str(row[0]) for row in table.rows)


def test_members_without_a_value_are_left_out_of_its_band(verdicts):
    (verdict,) = verdicts
    score = verdict.decision.scores[0]
    values = score.values.copy()
    values[0, 1:] = np.nan
    one = replace(score, values=values)
    assert comparisons._quantiles(one, verdict, verdict.cases[0]) == [0.0] * 3
    none = replace(score, values=np.full_like(values, np.nan))
    assert np.isnan(comparisons._quantiles(none, verdict, verdict.cases[0])).all()


# --- if something befalls the pond

WANTED = """
[[goals]]
kind = 'bass_above'
above_lb = 5
weight = 2
[[goals]]
kind = 'pounds_harvested'
matters_lb_per_acre = 5
"""
LB_PER_ACRE = 0.45359237 / 0.40468564224  # kg/ha


def befallen():
    """Bass above 5 lb of “few” and “many”, 5 and 9, in a cold winter 9 and 2, after a kill 4 and 8; “few” gives 20 lb/acre, 10
    after the kill, “many” none."""
    scenario = pond(members=10, extra=WANTED + EVENTS)

    def read(few, many, caught):
        found = readings(scenario)
        for name, fish in (("few", few), ("many", many)):
            found[name]["bass_above"][..., 0] = fish / scenario.pond.area_ha
        found["few"]["harvest_biomass"][:, 3, 0] = caught * LB_PER_ACRE
        return found

    events = {"cold": read(9, 2, 20), "kill": read(4, 8, 10)}
    return answer(gather([results.with_events(dataset(scenario, read(5, 9, 20)), scenario, events)], "us")).verdicts


def test_every_goal_stands_beside_each_event_with_what_is_to_be_chosen_then():
    verdicts = befallen()
    (table,) = comparisons.what_if_tables(verdicts)
    assert table.caption == "If something befalls the pond: each strategy with it, under the same luck"
    assert table.header == ["If", "Goal", "A: few", "B: many"]
    plain, cold, kill = ("nothing befalls the pond", "as above"), ("a cold winter", "choose A"), ("a kill", "still B")
    assert table.rows == [
        [plain, "bass over 5 lb", ("5", ""), ("9", "")], [plain, "harvest in all, lb/acre", ("20", ""), ("0", "")],
        [cold, "bass over 5 lb", ("9", ""), ("2", "")], [cold, "harvest in all, lb/acre", ("20", ""), ("0", "")],
        [kill, "bass over 5 lb", ("4", ""), ("8", "")], [kill, "harvest in all, lb/acre", ("10", ""), ("0", "")],
    ]  # fmt: skip
    rows = {(row[0], row[3], row[5]): row for row in table.csv_rows}
    assert len(rows) == len(table.csv_rows) == 3 * 2 * 2
    caught = rows["kill", "A", "weight harvested in all"]
    assert caught[1:3] == ["a kill", "still B"] and caught[6] == "lb/acre"
    assert caught[7:] == pytest.approx([10.0] * 3 + [-10.0] * 3)
    assert rows["cold", "B", "bass above 5 lb (2.27 kg)"][6:] == ["fish", *[2.0] * 3, *[-7.0] * 3]
    assert rows["", "A", "weight harvested in all"][7:] == pytest.approx([20.0] * 3 + [0.0] * 3)
    both = comparisons.what_if_tables(verdicts * 2)
    assert [one.caption for one in both] == [f"{table.caption} (small pond)"] * 2
    assert comparisons.what_if_tables(answer(gather([made()], "us")).verdicts) == []


def test_five_strategies_stand_in_two_tables_each_under_its_own_heading():
    """A to E hold 1 to 5 bass above 5 lb: E is better than each of the others, and of ten pairs the better comes first."""
    stocked = '[[strategies.{0}.stocking]]\nname = "young"\nspecies = "bass"\ndate = 2026-04-10\nper_acre = 9\nlength_in = 6\n'
    more = "".join(f"[strategies.{name}]\n{stocked.format(name)}" for name in "cde")
    scenario = pond(members=10, extra=WANTED + EVENTS + more)

    def read(times):
        found = readings(scenario)
        for k, one in enumerate(found.values()):
            one["bass_above"][..., 0] = times * (k + 1) / scenario.pond.area_ha
        return found

    made = results.with_events(dataset(scenario, read(1)), scenario, {"cold": read(2), "kill": read(3)})
    verdicts = answer(gather([made], "us")).verdicts
    first, second, pairs = comparisons.goal_tables(verdicts)
    assert (first.header, second.header) == (["Goal", "A: few", "B: many", "C: c"], ["Goal", "D: d", "E: e"])
    assert first.rows[0][1:] == [("1", ""), ("2", ""), ("3", "")] and second.rows[0][1:] == [("4", ""), ("5", "")]
    assert first.rows[-1][0] == "All goals, against E: futures in which better; worse"
    assert second.rows[-1][1:] == ["less than 1 of 10; more than 9 of 10", "–"]
    told = [(row[0], row[2]) for row in pairs.csv_rows if row[4] == "all, by weight"]
    assert told == [(a, b) for a in "EDCBA" for b in "EDCBA" if a > b]
    one, two = comparisons.what_if_tables(verdicts)
    assert (one.header[2:], two.header[2:]) == (first.header[1:], second.header[1:])
    assert [row[2:] for row in two.rows[::2]] == [[("4", ""), ("5", "")], [("8", ""), ("10", "")], [("12", ""), ("15", "")]]
    assert len(one.csv_rows) == 3 * 2 * 5


def test_goals_of_several_ponds_say_whose_they_are():
    verdicts = answer(gather([made(), made()], "us")).verdicts
    captions = [table.caption for table in comparisons.goal_tables(verdicts)[:-1]]
    assert captions == ["The goals: the middle (median) and the range of 8 of 10 futures (small pond)"] * 2


def test_nine_strategies_stand_in_three_tables_each_once():
    stocked = '[[strategies.{0}.stocking]]\nname = "young"\nspecies = "bass"\ndate = 2026-04-10\nper_acre = 9\nlength_in = 6\n'
    more = "".join(f"[strategies.{name}]\n{stocked.format(name)}" for name in "cdefghi")
    scenario = pond(members=2, extra=GOALS + more)
    read = readings(scenario)
    for k, one in enumerate(read.values()):
        one["bass_above"][..., 0] = (k + 1) / scenario.pond.area_ha
    *tables, _ = comparisons.goal_tables(answer(gather([dataset(scenario, read)], "us")).verdicts)
    assert [[cell[0] for cell in table.rows[0][1:]] for table in tables] == [["1", "2", "3"], ["4", "5", "6"], ["7", "8", "9"]]
