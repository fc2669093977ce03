"""How a plan is told, and what a survey is worth to it: plans, changes and values made by hand."""

import csv
import datetime as dt
import io
import re
from types import SimpleNamespace

import numpy as np
import pytest
from small import pond

from pondpop.decide import plan_phrases
from pondpop.decide.comparison import judge
from pondpop.decide.goals import Cost, Score
from pondpop.decide.plan import FILES_OWN, Change, Looking, Regret, Tried
from pondpop.decide.survey_value import EFFORTS, Survey, SurveyValue, _features, survey_value
from pondpop.decide.sweep_paths import Axis
from pondpop.ensemble.prepare import daily_water
from pondpop.observe.gears import expected_catch, gear
from pondpop.scenario import Goal
from pondpop.species import SPECIES

FISH, BALANCE = Goal("bass_above", above_g=2267.96185, matters=2.0), Goal("balanced", matters=5.0)
AXES = (Axis("strategies.few.stocking.young_bass.per_acre", (10, 30, 60)), Axis("pond.cover", (0.5, 1.0)))


def score(values, goal=FISH):
    kind, better = ("fish", 1) if goal is FISH else ("points", -1)
    return Score(goal, "", kind, better, np.array(values, dtype=float), ())


def decided(names, *scores, cost=None):
    return judge(names, scores, cost)


def found(decision=None, **more):
    """A plan of two finalists and the file's own, as the phrases see it."""
    given = decision or decided(["10, 0.5", "30, 1.0", FILES_OWN], score([[9.0] * 10, [5.0] * 10, [1.0] * 10]))
    every = {"finalists": ((10, 0.5), (30, 1.0)), "decision": given, "scenario": pond(), "axes": AXES, "changes": (), "dear": 0,
             "tried": (), "budget": None, "survey": None, "looking": None, "regrets": ()}  # fmt: skip
    return SimpleNamespace(**every | more)


def changed(axis, value, better, worse=0):
    """A decision changed, against which the plan wins in so many futures of ten."""
    values = [9.0] * better + [-9.0] * worse + [0.0] * (10 - better - worse)
    return Change(axis, value, decided(["this plan", f"{value}"], score([values, [0.0] * 10])))


def test_the_decisions_whose_change_does_most_harm_are_told_the_worst_first():
    some = (changed(0, 30, 4), changed(0, 60, 9), changed(1, 1.0, 7), changed(1, "as in the file", 8, 2))
    told = plan_phrases._most(found(changes=some))  # of the cover as in the file the net is 6, less than 7
    assert told == (
        "young_bass.per_acre (10 better than 60 in 9 of 10 futures) and pond.cover (0.5 better than 1.0 in 7 of 10 futures), of "
        "the 10 futures looked at."
    )
    assert plan_phrases._most(found(changes=(changed(0, 30, 2, 2), changed(1, 1.0, 0, 3)))).startswith("none of the decisions")


def test_what_would_be_regretted_is_told_from_one_difference_that_matters_on():
    regrets = (Regret("a poor pond", 3, (0.99, 0.0, 4.0)), Regret("a rich pond", 3, (1.5, 0.0, 4.0)))
    poor, rich = plan_phrases.regrets(found(regrets=regrets))
    assert poor == "In a poor pond (the 3 such futures of 10), nothing is better."
    assert rich == "In a rich pond (the 3 such futures of 10), plan 2 is better by 3 fish."  # a difference that matters is 2 fish


def test_a_worth_is_told_in_the_goals_unit_where_there_is_one_goal():
    assert plan_phrases._worth(1.5, found()) == "3 fish"
    both = decided(["a", "b"], score([[9.0], [5.0]]), score([[9.0], [5.0]], BALANCE))
    assert plan_phrases._worth(1.5, found(both)) == "1.5 differences that matter"


def valued(gains, error=0.1, plans=4, gear="electrofishing", effort=2.0):
    efforts = tuple(effort * share for share in EFFORTS)
    survey = Survey(gear, effort, dt.date(2026, 6, 15))
    return SurveyValue(survey, efforts, gains, error, 3.0, plans, (4.4, 9.0, 18.0, 36.0, 72.0))


def test_what_a_survey_is_worth_and_how_much_of_it_is_enough():
    some = valued((0.5, 0.9, 1.0, 1.0, 0.8))
    assert some.gain == 1.0 and some.enough == 1
    assert plan_phrases.survey_worth(found(survey=some)) == (
        "The survey of 2026-06-15 (electrofishing, 2 h) gains 2 fish on average by what it shows, of 6 fish if all were known; "
        "4 plans that differ only after it are chosen from. Enough is 1 h, about 9 bass of stock length."
    )
    assert valued((0.89, 0.5, 1.0, 1.0, 1.0)).enough == 2 and valued((0.9, 0.5, 1.0, 1.0, 1.0)).enough == 0
    assert valued((0.2,) * 5).enough is None and valued((0.21,) * 5).enough == 0
    answers = [plan_phrases.plan_answer(found(survey=survey)) for survey in (some, None)]
    assert ["The survey of 2026-06-15 (electrofishing, 2 h) gains" in answer for answer in answers] == [True, False]
    unsure = plan_phrases.survey_worth(found(survey=valued((0.1, 0.2, 0.2, 0.9, 0.9))))
    assert "gains nothing sure by what it shows: 4 plans" in unsure and "(to know all would gain 6 fish)" in unsure
    assert "can change nothing here" in plan_phrases.survey_worth(found(survey=valued((0.0,) * 5, plans=1)))
    assert "(seine, 4 hauls)" in plan_phrases.survey_worth(found(survey=valued((0.0,) * 5, gear="seine", effort=4.0)))
    assert plan_phrases.survey_worth(found()) == ""


def test_what_was_looked_at_is_counted():
    tried = tuple(Tried((k,), 4, 1.0, 0.0) for k in range(5))
    words = plan_phrases.searched(found(tried=tried, dear=2, budget=1234.0))
    assert words.startswith("2 decisions, 6 plans; 7 of them were looked at")
    assert "; 2 of them were over the budget of USD 1,234. A goal" in words
    assert plan_phrases.searched(found(tried=tried, axes=AXES[:1])).startswith("1 decision, 3 plans; 5 of them")


def test_the_answer_says_what_matters_most_where_something_was_changed():
    told = " ".join(plan_phrases.plan_answer(found(changes=(changed(0, 60, 9),))).split())
    assert f"Matters most: {plan_phrases._most(found(changes=(changed(0, 60, 9),)))}" in told
    assert "Matters most" not in plan_phrases.plan_answer(found())


def test_a_page_tells_what_was_searched_before_the_plans_and_each_change_after_them():
    told = plan_phrases.plan_passages(found(changes=(changed(0, 60, 9),), frontier=(), tried=(Tried((10, 0.5), 4, 0.0, 0.0),)))
    assert told[1].words.startswith("How sure: ") and told[2].detail and told[2].words.startswith("2 decisions, 6 plans")
    assert [part.words.partition(",")[0] for part in told[3:5]] == ["The plans", "What each decision is worth"]


def test_what_looking_first_is_worth_stands_on_the_page_where_it_was_asked_for(monkeypatch):
    monkeypatch.setattr(plan_phrases, "looking", lambda _: "Looking first is worth much.")
    told = plan_phrases.plan_passages(found(frontier=(), tried=(Tried((10, 0.5), 4, 0.0, 0.0),)))
    assert told[-1] == plan_phrases.Passage("Looking first is worth much.")


def test_looking_first_is_told_against_the_fixed_share_of_the_amount_that_does_best():
    decision = decided(["looking first", "the best fixed rule"], score([[9.0] * 7 + [0.0] * 3, [0.0] * 7 + [9.0] * 3]))
    words = plan_phrases.looking(found(looking=Looking(0.75, decision)))
    assert words.startswith(
        "Looking at the pond first, against the best fixed rule, 75 % of the amount every year whatever the survey says: better "
        "in 7 of 10 futures, worse in 3 of 10 (bass above 5 lb (2.27 kg): "
    )
    assert plan_phrases.looking(found()) == ""


def test_on_a_low_screen_four_rows_of_the_plans_are_left(monkeypatch):
    monkeypatch.setattr(plan_phrases, "HIGH", 8)
    lines = plan_phrases.plan_answer(found()).splitlines()
    assert lines.index(next(line for line in lines if line.startswith("["))) - lines.index("") - 1 == 4


@pytest.mark.parametrize(("values", "cost", "said"), [
    ([9.0, 5.0, 1.0], None, "Choose: plan 1 (10, 0.5)."),
    ([9.0, 9.0, 1.0], None, "As good as one another: plan 1 (10, 0.5) or plan 2 (30, 1.0). What follows is of plan 1, which the "
     "goals speak for most."),
    ([9.0, 9.0, 1.0], [20.0, 10.0, 0.0], "As good as one another: plan 1 (10, 0.5) or plan 2 (30, 1.0). What follows is of plan "
     "2, which costs least of them."),
])  # fmt: skip
def test_of_plans_as_good_as_one_another_it_is_said_which_one_is_followed_and_why(values, cost, said):
    paid = None if cost is None else Cost("USD", {"fish": np.repeat(np.array(cost)[:, None], 10, axis=1)}, ())
    decision = decided(["10, 0.5", "30, 1.0", FILES_OWN], score(np.repeat(np.array(values)[:, None], 10, axis=1)), cost=paid)
    assert " ".join(plan_phrases._choice(found(decision))) == said
    alone = decided([FILES_OWN], score([[9.0] * 10]))
    assert plan_phrases._choice(found(alone, finalists=())) == [f"Only one plan: {FILES_OWN}."]


def test_of_plans_that_find_no_room_beside_each_other_the_best_and_the_files_own_stay(monkeypatch):
    def heads(wide):
        monkeypatch.setattr(plan_phrases, "WIDE", wide)
        return next(line for line in plan_phrases.plan_answer(found()).splitlines() if line.endswith(f"  {FILES_OWN}"))

    width = len(heads(200))
    for wide, plans in ((width, ["plan 1", "plan 2", FILES_OWN]), (width - 1, ["plan 1", FILES_OWN]), (20, [FILES_OWN])):
        assert re.split("  +", heads(wide).strip()) == plans


def test_plans_stand_side_by_side_with_the_files_own():
    heads, first, second, own = plan_phrases.plans_table(found())
    assert heads[0] == "" and heads[3:] == ["bass over 5 lb", "better than the file's own"]
    assert (first[0], first[-1], own[-1]) == ("plan 1", "more than 9 of 10", "–")
    assert second[1:3] == ["30", "1.0"] and own[1:3] == ["as in the file"] * 2
    priced = Cost("USD", {"fish": np.array([[100.0] * 10, [200.0] * 10, [0.0] * 10])}, ())
    decision = decided(["10, 0.5", "30, 1.0", FILES_OWN], score([[9.0] * 10, [5.0] * 10, [1.0] * 10]), cost=priced)
    table = plan_phrases.plans_table(found(decision))
    assert table[0][-1] == "cost, USD" and [row[-1] for row in table[1:]] == ["100", "200", "0"]
    assert [row[3] for row in table[1:]] == ["9", "5", "1"]


def test_what_more_money_buys_is_told_with_its_sign():
    frontier = (Tried((10, 0.5), 4, 1234.0, -2.04), Tried((30, 1.0), 4, 5000.0, 0.0))
    for some in (frontier, frontier[:1]):  # of one plan there is nothing to buy
        last = plan_phrases.plan_passages(found(frontier=some, tried=frontier))[-1]
        assert last.words.startswith("What more money buys") == (some == frontier)
    rows = plan_phrases.frontier_table(found(frontier=frontier))
    assert rows[1:] == [["1,200", "-2.0", "10", "0.5"], ["5,000", "+0.0", "30", "1.0"]]


@pytest.mark.parametrize(("best", "against"), [((10, 0.5), ["0.0000", "-4.0000", "-8.0000"]),
                                              ((60, 1.0), ["8.0000", "4.0000", "0.0000"])])  # fmt: skip
def test_a_table_of_data_tells_worth_against_the_best_of_the_search_which_may_be_the_files_own(best, against):
    trials = [SimpleNamespace(worth=np.full(10, worth), middle_cost=0.0) for worth in (9.0, 5.0, 1.0)]
    text = plan_phrases.plan_csv(found(trials=trials, tried=(Tried(best, 4, 0.0, 0.0),)))
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [row["worth_against_best"] for row in rows] == [*against, "0.0000"]
    assert [row["pond.cover"] for row in rows] == ["0.5", "1.0", "as in the file", str(best[1])]


# --- the value itself


def test_figures_of_a_survey_are_told_in_standard_deviations_and_what_is_missing_as_the_mean():
    every = np.array([[[1.0, np.nan], [3.0, 5.0]], [[5.0, 5.0], [7.0, np.nan]]])  # [draw, member, figure]
    found_ = _features(every[0], every)
    sd = np.sqrt(5.0)  # of 1, 3, 5 and 7
    np.testing.assert_allclose(found_[:, 0], 1.0)
    np.testing.assert_allclose(found_[:, 1], [-3 / sd, -1 / sd])
    np.testing.assert_allclose(found_[:, 2], 0.0)  # what is missing, and what never differs
    np.testing.assert_allclose(found_[:, 3], [9 / 5 - 1, 1 / 5 - 1])
    np.testing.assert_allclose(found_[:, 4], -1.0)
    np.testing.assert_allclose(found_[:, 5:], [[0.0, 0.5], [0.0, -0.5]])


def test_a_survey_tells_which_plan_suits_a_pond_of_few_or_of_many_bass():
    """One plan suits ponds of few bass, one those of many; a survey counts them."""
    members = 40
    number = np.zeros((members, len(SPECIES), 32))
    number[:, 0, 6] = 500.0  # under stock length
    number[:, 0, 9] = np.where(np.arange(members) % 3 == 0, 400.0, 4.0)
    seen = {"number": number, "relative_weight": np.full(number.shape, np.nan)}
    many = np.where(number[:, 0, 9] > 100.0, 3.0, -3.0)
    scenario = pond(only="few")
    survey = Survey("electrofishing", 1.0, dt.date(2026, 6, 15))
    value = survey_value(np.stack([np.zeros(members), many]), seen, survey, scenario, seed=3)
    share = np.mean(many > 0)
    assert value.perfect == pytest.approx(3.0 * share) and value.plans == 2 and value.efforts == EFFORTS
    assert 0.6 * value.perfect < value.gain <= value.perfect and 0.0 < value.error < 0.4
    water = float(daily_water(scenario)[75])
    for effort, fish in zip(value.efforts, value.fish, strict=True):
        caught = expected_catch(number, gear("electrofishing"), effort, water, scenario.pond.area_ha)[:, 0, 8:].sum(axis=-1)
        assert fish == pytest.approx(float(np.median(caught)))
    again = survey_value(np.stack([np.zeros(members), many]), seen, survey, scenario, seed=3)
    assert again == value
