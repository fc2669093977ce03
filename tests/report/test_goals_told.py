"""Goals on the page and in its CSV: two ponds of which every number is known."""

from dataclasses import replace

import numpy as np
import pytest
from small import dataset, pond, readings

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
        ["harvest, lb/acre; more is better", ("20", ""), ("0", "")],
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
