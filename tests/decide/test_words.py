"""How a decision is worded: differences with their sign, size and band, certainty by members, and what is left out of many."""

import datetime as dt

import numpy as np
import pytest
from small import dataset, pond, readings

from pondpop.decide import console, details, goals
from pondpop.decide.comparison import judge
from pondpop.decide.console import WIDE, autumn_surveys, band, columns, fitted, wrapped
from pondpop.decide.goals import Cost, Score
from pondpop.decide.phrases import Teller, Wording, few_members, of_members, teller
from pondpop.scenario import Goal

FISH = Goal("bass_above", above_g=2267.96185, matters=1.0)
POINTS, CROP, MONEY = Goal("balanced", matters=5.0), Goal("pounds_harvested", matters=5.0), Goal("cost", matters=50.0)
KINDS = {"bass_above": ("fish", 1), "balanced": ("points", -1), "pounds_harvested": ("crop", 1), "cost": ("money", -1)}


def wording(differences, goal=FISH, cost=None, units="us", **more):
    """The words of strategies A, B, … of which each has these values by member."""
    kind, better = KINDS[goal.kind]
    values = np.array(differences, dtype=float)
    names = [chr(65 + k) for k in range(len(values))]
    decision = judge(names, [Score(goal, "", kind, better, values, ()), *more.get("scores", ())], cost)
    return Wording(pond(), decision, tuple(names), tuple(f"{name} (whole)" for name in names), units)


def gain(differences, goal=FISH, units="us"):
    """What is said of A that differs from B so much in each member."""
    told = wording([differences, np.zeros(len(differences))], goal, units=units)
    return told.gain(told.decision.pair(0, 1).margins[0])


def spread(low, high):
    """Eleven members of which p10 and p90 are these."""
    step = (high - low) / 8
    return np.linspace(low - step, high + step, 11)


@pytest.mark.parametrize(
    ("goal", "differences", "said"),
    [
        (FISH, spread(3, 11), "7 more [3–11]"),
        (FISH, spread(-11, -3), "7 fewer [3–11]"),
        (FISH, [4.0] * 5, "4 more"),
        (FISH, [4.0], "4 more"),
        (FISH, [-4.0], "4 fewer"),
        (FISH, [0.0] * 5, "no difference"),
        (FISH, spread(-1, 7), "from 1 fewer to 7 more"),
        (FISH, spread(-7, 1), "from 7 fewer to 1 more"),
        (FISH, [0.0] * 5 + list(range(1, 7)), "up to 5 more"),
        (FISH, [0.0] * 5 + list(range(-6, 0)), "up to 5 fewer"),
        (FISH, spread(-0.0001, 0.0001), "no difference"),
        (FISH, [np.nan] * 3, "not known"),
        (POINTS, spread(-20, -8), "14 PSD points nearer [8–20]"),
        (POINTS, spread(8, 20), "14 PSD points farther off [8–20]"),
        (POINTS, [-1.0] * 3, "1 PSD point nearer"),
        (POINTS, spread(-3, 2), "from 2 PSD points farther off to 3 PSD points nearer"),
        (CROP, [28.02127889] * 3, "25 lb/acre more"),
        (MONEY, spread(100, 300), "USD 200 more [100–300]"),
        (MONEY, spread(-300, -100), "USD 200 less [100–300]"),
    ],
)
def test_a_difference_has_its_sign_its_size_and_its_band(goal, differences, said):
    assert gain(differences, goal) == said


def test_a_difference_is_told_in_the_readers_units():
    assert gain([28.0] * 3, CROP, "metric") == "28 kg/ha more"


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ([[9.0] * 9 + [0.0], [0.0] * 10], "A is better than B in 9 of 10 futures"),
        ([[9.0] * 8 + [0.0] * 2, [0.0] * 10], "A is better than B in 8 of 10 futures"),
        ([[9.0] * 7 + [-9.0] * 3, [0.0] * 10], "A is better than B in 7 of 10 futures and worse in 3 of 10"),
        ([[0.5] * 8 + [9.0] * 2, [0.0] * 10], "A and B are as good as one another in 8 of 10 futures"),
        ([[np.nan] * 10, [0.0] * 10], "A cannot be compared with B"),
        ([[9.0], [0.0]], "A is better than B in the one future run"),
        ([[-9.0], [0.0]], "A is worse than B in the one future run"),
        ([[0.5], [0.0]], "A is as good as B in the one future run"),
    ],
)
def test_who_wins_and_in_how_many_futures(values, said):
    told = wording(values)
    assert told._outcome(told.decision.pair(0, 1)) == said


def test_the_first_rivals_are_told_and_the_others_pointed_at():
    told = wording([[9.0 - k] * 40 for k in range(5)])
    said = told.sureness()
    assert [f"A is better than {name}" in said for name in "BCDE"] == [True, True, True, False]
    assert "The table has the others." in said and "The table" not in wording([[9.0 - k] * 40 for k in range(4)]).sureness()
    assert said.endswith("A difference under 1 fish does not matter.")
    assert told.sureness(against=4).count(" is better than ") == 1 and "than E in" in told.sureness(against=4)
    assert wording([[1.0]]).sureness() == ""


def test_the_heaviest_goals_are_told_first():
    light = Score(Goal("cost", 0.5, matters=50.0), "", "money", -1, np.array([[100.0] * 3, [0.0] * 3]), ())
    told = wording([[9.0] * 3, [0.0] * 3], scores=[light])
    assert "9 more; cost: USD 100 more" in told.sureness() and "cost:" not in told.sureness(goals=1)
    assert "A difference under 1 fish or USD 50 does not matter." in told.sureness()


@pytest.mark.parametrize(("saved", "said"), [(100.0, True), (10.0, False)])
def test_it_is_told_if_another_strategy_would_be_the_choice_by_one_goal_alone(saved, said):
    """A is better by the heavier goal; B costs so much less, of which 50 matter."""
    costs = Score(Goal("cost", 0.5, matters=50.0), "", "money", -1, np.array([[saved] * 3, [0.0] * 3]), ())
    told = Teller(**vars(wording([[9.0] * 3, [0.0] * 3], scores=[costs])), dataset=None)
    assert told.decision.chosen == 0
    assert told.change().startswith("If only cost counted, B (whole) would be the choice; a survey") == said
    alone = Teller(**vars(wording([[9.0] * 3, [0.0] * 3])), dataset=None)
    assert alone.change().startswith("A survey that finds")


@pytest.mark.parametrize(("members", "off"), [(2, 71), (4, 50), (16, 25), (24, 20), (29, 19)])
def test_how_little_few_members_say(members, off):
    assert f"Only {members} futures were run: a chance may be off by {off} points" in few_members(members)


def test_enough_members_and_one_alone():
    assert few_members(30) == "" and "Only one future was run" in few_members(1)


def test_of_many_strategies_four_are_named():
    told = wording([[1.0]] * 6)
    assert told.listed([0, 1, 2, 3]) == "A (whole), B (whole), C (whole) or D (whole)"
    assert told.listed([0, 1, 2, 3, 4, 5], last="and") == "A (whole), B (whole), C (whole), D (whole) and 2 more"


def test_what_more_money_buys():
    def priced(dearer, more, members=5):
        cost = Cost("USD", {"fish": np.repeat([[100.0 + dearer], [100.0]], members, axis=1)}, ())
        told = wording(np.repeat([[more], [0.0]], members, axis=1), cost=cost)
        return told._price(told.decision.pair(0, 1))

    goal = "bass above 5 lb (2.27 kg)"
    assert priced(120.0, 3.0) == f"USD 120 more than B, for 3 more {goal}"
    assert priced(-120.0, -3.0) == f"USD 120 less than B, with 3 fewer {goal}"
    assert priced(120.0, 0.0) == f"USD 120 more than B, for no difference in {goal}"
    assert priced(-120.0, 3.0) == f"USD 120 less than B, with 3 more {goal}"
    assert priced(-120.0, 0.0) == f"USD 120 less than B, with no difference in {goal}"
    assert priced(0.0, 3.0) == "as much as B"


def test_strategies_with_parts_that_have_no_price_are_compared_by_the_rest_only():
    cost = Cost("USD", {"fish": np.full((2, 5), 100.0)}, ("grass_carp", "shad"))
    told = wording(np.repeat([[3.0], [0.0]], 5, axis=1), cost=cost)
    without = ", without grass carp and shad, for which no price was given; of the rest A costs as much as B."
    assert told.money() == f"A USD 100 over 1 year{without}"
    assert told.each().endswith("(of what has a price).")
    cost = Cost("USD", {"fish": np.full((6, 5), 100.0)}, ())
    assert wording(np.repeat(np.arange(1.0, 7.0)[:, None], 5, axis=1), cost=cost).each().count("USD") == 4  # the best of six


def test_a_goal_that_is_due_in_a_year_says_which():
    told = wording([[1.0], [2.0]], Goal("bass_above", above_g=2267.96185, by_year=3))
    (score,) = told.decision.scores
    assert told.goal(score) == "bass above 5 lb (2.27 kg) in 2028"  # the third calendar year of a run from 2026
    assert told.goal(score, short=True) == "bass above 5 lb (2.27 kg)" and told.heading(score) == "bass over 5 lb"


def test_members_without_a_value_are_left_out_of_a_band():
    assert of_members(np.array([np.nan, *spread(20, 60)]), "percent") == "40 [20–60]"
    assert of_members(np.array([np.nan]), "percent") == "–"


# --- what the goals do not count


def balance(bass_few, bass_many, crop_few=10.0, crop_many=10.0, members=10):
    """Ponds with so many members, of ten, whose PSDs are in range, and so much bass."""
    scenario = pond(members=members)
    read = readings(scenario)
    for name, inside, crop in (("few", bass_few, crop_few), ("many", bass_many, crop_many)):
        one = read[name]
        one["number"][..., 0, 9], one["number"][..., 1, 4], one["number"][..., 1, 7] = 50.0, 60.0, 40.0
        one["number"][:inside, :, 0, 13] = 50.0
        one["biomass"][..., 0, 9] = crop
    return teller(dataset(scenario, read), "us")


def test_few_bass_left_are_told():
    goal = "leaves 4.4 lb/acre of bass at the end, “many” 8.9"  # 5 and 10 kg/ha, just below a half
    assert goal in balance(10, 0, crop_few=4.98).mind()
    assert "leaves" not in balance(10, 0, crop_few=5.02).mind()




def test_chances_below_one_half_are_no_prospect():
    unlikely = "None is likely to get there"
    assert unlikely in balance(4, 4).expected() and unlikely not in balance(5, 4).expected()
    said = balance(4, 5).expected()
    assert "“few” in 4 of 10 futures and “many” in 5 of 10 futures" in said
    assert balance(1, 0, members=1).chance(1.0) == "in the one future run"
    assert balance(1, 0, members=1).chance(0.0) == "not in the one future run"


def test_of_a_pond_of_small_fish_only_no_balance_is_read():
    scenario = pond(members=2)
    said = teller(dataset(scenario, readings(scenario)), "us").expected()
    assert said.startswith("With “few”, too few fish of stock length in the last twelve months to read the balance. Both PSDs ")


# --- tables and lines of a terminal


def test_columns_are_aligned_and_two_apart():
    assert columns([["", "a", "long"], ["row", "12.5", "1"]]) == "          a  long\n  row  12.5     1\n"


@pytest.mark.parametrize("length", [5, 12, 13, 40, 70, 71, 72, 73, 200])
def test_rows_are_cut_to_the_width_of_a_terminal_and_not_more(length):
    name = "x" * length
    text = fitted([["", "head"], [name, "1.5"], ["short", "2"]])
    lines = text.splitlines()
    assert max(map(len, lines)) == min(WIDE, 2 + length + 2 + 4)
    assert (name in text) == (2 + length + 2 + 4 <= WIDE) and ("…" in text) != (name in text)


def test_a_first_column_is_never_cut_to_nothing():
    text = fitted([["", *["heading"] * 9], ["x" * 40, *["1"] * 9]])
    assert text.splitlines()[1].split()[0] == "x" * 11 + "…"  # of names twelve letters stay
    assert "x" * 11 + "…" in text


def test_words_are_wrapped_below_the_width_and_a_path_stays_whole():
    path = "/home/" + "name-of-a-folder/" * 8
    lines = wrapped(f"Everything is in {path}; " + "some words " * 40)
    assert max(len(line) for line in lines if path not in line) <= WIDE - 1 and f"{path};" in lines
    assert max(map(len, wrapped("a " * 200))) == WIDE - 1


@pytest.mark.parametrize(
    ("values", "kind", "told"),
    [
        ((1, 2, 3), "", "2 [1–3]"), ((2.04, 2.04, 2.04), "", "2"), ((11.23, 12.34, 13.45), "", "12.3 [11.2–13.4]"),
        ((9.94, 9.96, 10.04), "", "10 [9.9–10]"), ((40.4, 52.5, 60.6), "percent", "52 [40–61]"), ((np.nan,) * 3, "", "–"),
        ((-12.34, -1.23, 0), "", "-1.2 [-12.3–0]"), ((9.84, 10.24, 10.44), "", "10.2 [9.8–10.4]"),
    ],
)  # fmt: skip
def test_a_band_stands_beside_its_middle(values, kind, told):
    assert band(values, kind) == told


def test_the_last_survey_of_each_year_stands_for_autumn():
    scenario = pond(years=2)
    made = dataset(scenario, readings(scenario))
    dates = [str(date) for date in scenario.run.survey_dates]
    assert [dates[k] for k in autumn_surveys(made)] == [max(d for d in dates if d[:4] == y) for y in ("2026", "2027")]


# --- details


@pytest.mark.parametrize(
    ("difference", "said"),
    [
        (spread(0.2, 0.4), "0.3 lb heavier [0.2–0.4]"), (spread(-0.4, -0.2), "0.3 lb lighter [0.2–0.4]"),
        ([1.0] * 7 + [-1.0] * 3, "1 lb heavier [−1 to 1]"), ([1.0] * 6 + [-1.0] * 4, ""), ([-1.0] * 7 + [1.0] * 3,
         "1 lb lighter [−1 to 1]"), ([np.nan], ""), ([1.0, np.nan, 1.0], "1 lb heavier [1–1]"),
        (spread(0.0057, 5.3), "2.7 lb heavier [0–5.3]"), (spread(-0.0871, 1.74), "0.83 lb heavier [−0.1 to 1.7]"),
        (spread(1234, 5678), "3,500 lb heavier [1,200–5,700]"),
    ],
)  # fmt: skip
def test_a_detail_is_told_where_seven_of_ten_members_agree_on_its_sign(difference, said):
    assert details._difference(np.array(difference), " lb", "heavier", "lighter") == said


def test_what_differs_at_the_end_is_told_in_points_and_in_pounds():
    scenario = pond(members=3)
    read = readings(scenario)
    for name, large, crop in (("few", 25.0, 50.0), ("many", 75.0, 50.0 + 11.208511561)):
        one = read[name]
        one["number"][..., 0, 9], one["number"][..., 0, 13] = 100.0 - large, large
        one["biomass"][..., 0, 9] = crop
    (words,) = [d.words for d in details.differences(teller(dataset(scenario, read), "us"), 0, 1) if d.topic == "differences"]
    assert words.startswith("“many” instead of “few”, last twelve months to 2026-09-15: bass PSD 50 points higher [50–50]; ")
    assert "standing crop of bass 10 lb/acre higher [10–10]" in words and "bluegill" not in words


@pytest.mark.parametrize(("shares", "told"), [(None, False), (1.0, True), (0.5, False)])
def test_only_where_all_bass_are_females_is_it_told_that_none_are_born(shares, told):
    scenario = pond(members=3)
    changed = {
        name: one._replace(stocking=tuple(event._replace(female_share=shares) for event in one.stocking))
        for name, one in scenario.strategies.items()
    }
    scenario = scenario._replace(strategies=changed)
    told_of = details.details(teller(dataset(scenario, readings(scenario)), "us"))
    found = [one.words for one in told_of if one.topic == "no young"]
    assert len(found) == (2 if told else 0) and all("only female bass are put in" in words for words in found)


@pytest.mark.parametrize(
    ("error", "doubt"), [(None, "; that none of them is a male is taken for sure (`sexing_error`)."), (0.02, ".")]
)
def test_in_how_many_futures_no_bass_are_born_is_told_with_what_is_taken_for_sure(error, doubt):
    scenario = pond(members=4, only="few")
    few = scenario.strategies["few"]
    put_in = tuple(
        event._replace(female_share=1.0, sexing_error=error) if event.species == "bass" else event for event in few.stocking
    )
    scenario = scenario._replace(strategies={"few": few._replace(stocking=put_in)})
    read = readings(scenario)
    read["few"]["born_number"][0, 0, 0] = 3.0  # bass, in one of four
    (told,) = details._no_young(teller(dataset(scenario, read), "us"))
    assert told.words == f"“few”: only female bass are put in, and no bass are born in 75 % of futures{doubt}"


@pytest.mark.parametrize(("letters", "called"), [(40, "“{}”"), (41, "few (“{}”)"), (60, "few (“{}”)"), (61, "few (“{}…”)")])
def test_a_strategy_is_called_by_its_title_up_to_40_letters_and_beside_its_key_up_to_60(letters, called):
    scenario = pond(members=3)
    title = ("abcdefghi " * 7)[: letters - 1] + "z"
    named = scenario._replace(strategies=scenario.strategies | {"few": scenario.strategies["few"]._replace(title=title)})
    told = teller(dataset(named, readings(named)), "us")
    assert told.full[0] == called.format(title if letters <= 60 else title[:59].rstrip())
    assert told.short[0] == ("few" if letters > 40 else f"“{title}”")


def test_what_is_said_of_big_bass_stands_before_what_is_said_of_no_young_and_of_cost():
    scenario = pond(members=3, extra="[costs]\nper_bass = 2\n")
    changed = {
        name: one._replace(stocking=tuple(event._replace(female_share=1.0) for event in one.stocking))
        for name, one in scenario.strategies.items()
    }
    scenario = scenario._replace(strategies=changed)
    topics = [one.topic for one in details.details(teller(dataset(scenario, readings(scenario)), "us"))]
    asked = ["big bass", "no young", "no young", "cost"]
    assert [topic for topic in topics if topic in asked] == asked


@pytest.mark.parametrize(("value", "said"), [(1.234, "1.2"), (9.87, "9.9"), (10.04, "10"), (12.34, "12.3"), (1234.0, "1,230")])
def test_a_band_has_two_digits_below_ten_and_three_from_there(value, said):
    assert band([value] * 3, "crop") == said and band([value, value, 2.0 * value], "crop").startswith(f"{said} [{said}–")


def test_a_table_of_strategies_keeps_two_columns_beside_the_names(monkeypatch):
    scenario = pond(members=3)
    told = teller(dataset(scenario, readings(scenario)), "us")
    monkeypatch.setattr("pondpop.decide.console.WIDE", 20)
    head, *rows = console._strategies(told, None, 20).splitlines()
    assert head.split("  ")[-1] == "better; worse" and len(rows[0].split()) == 3


def test_costs_are_told_by_what_they_go_to():
    scenario = pond(members=3, extra="[costs]\nper_bass = 2\nper_kg_feed = 3\n")
    read = readings(scenario)
    read["few"]["pellets_given"][:, 0] = 10.0 / scenario.pond.area_ha
    (one,) = details._costs(teller(dataset(scenario, read), "us"))
    assert one.words == "Cost over the run: “few” USD 150 (fish 120, feed 30); “many” USD 240."


def test_survivors_are_told_two_years_after_stocking():
    scenario = pond(years=4)
    told = teller(dataset(scenario, readings(scenario)), "us")
    dates = scenario.run.survey_dates
    survey, months = details._survey_after(told, dt.date(2026, 4, 10))
    assert (str(dates[survey]), months) == ("2028-04-20", 24)
    assert details._survey_after(told, dates[-1]) == (None, 0)
    assert details._survey_after(told, dt.date(2030, 2, 1)) == (None, 0)
    survey, months = details._survey_after(told, dt.date(2029, 5, 1))
    assert (survey, months) == (len(dates) - 1, round((dates[-1] - dt.date(2029, 5, 1)).days / 30.4375))


@pytest.mark.parametrize(("count", "pairs"), [(2, 1), (3, 3), (4, 6), (5, 4), (6, 5)])
def test_of_many_strategies_only_the_best_is_told_against_each_other(count, pairs):
    told = wording([[float(-k)] * 4 for k in range(count)])
    found = list(details._pairs(told))
    assert len(found) == pairs and found[0] == (0, 1)
    assert all(first < second for first, second in found) and (count <= 4 or {first for first, _ in found} == {0})


def test_chances_of_big_bass_are_at_the_last_and_at_the_best_survey():
    scenario = pond(members=2, years=1)
    read = readings(scenario)
    area = scenario.pond.area_ha
    for k, expected in enumerate((0.2, 1.0, 0.5)):
        read["few"]["bass_above"][:, k, 0] = expected / area
    words = details._big_bass(teller(dataset(scenario, read), "us")).words
    assert "“few”: 5 lb 39 % (at most 63 %, 2026-06)" in words  # 1 − e^−0.5 and 1 − e^−1
    assert "“many”: 5 lb under 1 % (at most under 1 %, 2026-04)" in words


# --- goals


def test_a_year_that_no_survey_has_is_read_at_the_one_before():
    scenario = pond(years=3)
    made = dataset(scenario, readings(scenario))
    count = len(scenario.run.survey_dates)
    values = np.arange(count, dtype=float)[None, None, :]
    of_year = {y: [k for k, d in enumerate(scenario.run.survey_dates) if d.year == 2025 + y] for y in (1, 2, 3)}
    for year, there in of_year.items():
        assert goals.at_end(values, made, year)[0, 0] == np.mean(there)
        assert goals.last_survey(made, year) == there[-1]
    assert goals.at_end(values, made, 9)[0, 0] == np.mean(of_year[3]) and goals.last_survey(made, 9) == count - 1


def test_what_is_worth_nothing_has_no_weight():
    def of(values, weight):
        return Score(Goal("bass_above", weight, above_g=1.0, matters=2.0), "", "fish", 1, np.array(values), ())

    assert goals.worth([of([[4.0]], 0.0)]).tolist() == [[0.0]]
    assert goals.worth([of([[4.0]], 3.0), of([[9.0]], 0.0)]).tolist() == [[2.0]]


def test_a_price_of_each_needs_a_twentieth_of_a_fish():
    cost = Cost("USD", {"fish": np.array([[100.0, 100.0]])}, ())
    score = Score(FISH, "", "fish", 1, np.array([[0.05, 0.049]]), ())
    assert goals.cost_per_fish(cost, score).tolist() == [[2000.0, np.inf]]
