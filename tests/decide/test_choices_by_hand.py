"""Choices, sweeps and what a survey is worth, where every number is known on paper."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pytest
from small import dataset, pond, readings

from pondpop.checks import InputError
from pondpop.decide import (
    comparison,
    console,
    details,
    goals,
    harvest_outcome,
    limits,
    plan_phrases,
    plan_search,
    quota,
    quota_phrases,
    survey_value,
    sweep,
)
from pondpop.decide.actions import PLURAL
from pondpop.decide.phrases import Teller, teller
from pondpop.decide.quota import Trial
from pondpop.decide.survey_value import FEWEST, FOLDS, Survey, SurveyValue, gain_from
from pondpop.decide.sweep_paths import MOST_POINTS, _inside, read_axis
from pondpop.species import SPECIES

# --- the choice when something befalls the pond


def choice(names="ABC", chosen=None, tied=False, equals=(0, 1)):
    return SimpleNamespace(names=tuple(names), chosen=chosen, tied=tied, equals=equals)


@pytest.mark.parametrize(("before", "after", "said"), [
    (choice(chosen=1), choice(chosen=1), "still B"), (choice(chosen=0), choice(chosen=1), "choose B"),
    (choice(), choice(chosen=0), "choose A"), (choice(chosen=0), choice(tied=True), "as good as one another, A or B"),
    (choice(chosen=0), choice(equals=(1, 2)), "no sure choice, B or C"),
    (choice("A"), choice("A", chosen=0), "nothing is compared"),
])  # fmt: skip
def test_the_choice_with_an_event_is_told_beside_that_without(before, after, said):
    told = SimpleNamespace(decision=before, short=("A", "B", "C"))
    assert Teller.chosen_with(told, SimpleNamespace(decision=after)) == said


@pytest.mark.parametrize(("events", "counted"), [(1, "with and without it"), (3, "with none and with each of the 3")])
def test_over_what_it_is_counted_who_stands_up_best_is_told_where_it_is_asked_for(events, counted):
    pair = SimpleNamespace(ties=True, better=0.0)
    overall = SimpleNamespace(ranked=(1, 0), best=1, pair=lambda best, second: pair, members=10)
    befalling = SimpleNamespace(overall=overall, events=[None] * events)
    told = SimpleNamespace(befalling=befalling, decision=choice("AB"), short=("A", "B"))
    assert Teller.stands_up(told) == f"Stands up best: none; B and A are as good as one another, counting {counted} alike."
    assert Teller.stands_up(told, counted=False) == "Stands up best: none; B and A are as good as one another."
    told.decision = choice("A")
    assert Teller.stands_up(told) == ""


@pytest.mark.parametrize(
    ("seasons", "said"), [([0, 0], ""), ([0, 1], "; 0.5 seasons of fishing lost"), ([1, 1], "; 1 season of fishing lost")]
)
def test_seasons_of_fishing_that_a_repair_costs_are_told_from_a_half_on(monkeypatch, seasons, said):
    none = np.zeros(len(SPECIES))
    found = SimpleNamespace(years={"A": None}, taken_out={"A": none[None]}, put_in={"A": none}, seasons_lost=[seasons])
    goals = SimpleNamespace(is_repair=lambda _: True, repair=lambda *_: found, SURE=0.8)
    monkeypatch.setattr("pondpop.decide.phrases.goals", goals)
    told = SimpleNamespace(scenario=None, dataset=None, option="balance", in_range=[0.5], short=("A",),
                           decision=SimpleNamespace(names=("A",), members=1), chance=str, _fish=Teller._fish)  # fmt: skip
    words = Teller.repair(told)
    assert (said in words) if said else ("lost" not in words)


def test_of_half_a_fish_nothing_is_told():
    """The middle of an even number of futures may lie between two counts."""
    counts = np.zeros(len(SPECIES))
    counts[:3] = 0.5, 0.51, 2.0
    assert Teller._fish(counts) == f"1 {PLURAL[SPECIES[1]]} and 2 {PLURAL[SPECIES[2]]}"


# --- sweeps


@pytest.mark.parametrize("values", [[], [1.0, 2.0, 1.0]])
def test_a_sweep_takes_each_value_once_and_one_at_least(values):
    with pytest.raises(InputError, match="at least one value, and each once"):
        sweep.sweep(pond(), {"pond.cover": values})


def test_a_range_of_a_sweep_has_a_step_above_nothing_and_two_hundred_values_at_most():
    assert list(read_axis("pond.cover=1..3/1").values) == [1, 2, 3]
    assert len(read_axis(f"pond.cover=1..{MOST_POINTS}/1").values) == MOST_POINTS == 200
    for given, says in (("1..3/0", "a step above 0"), ("1..3/-1", "a step above 0"), ("3..1/1", "write the smaller end first"),
                        (f"1..{MOST_POINTS + 1}/1", "more than 200 values"), ("1,2,1", "1 more than once")):  # fmt: skip
        with pytest.raises(InputError, match=says):
            read_axis(f"pond.cover={given}")


def test_events_are_found_by_the_names_that_they_have():
    events = [{"per_acre": 1}, {"name": 7}, {"name": "young", "per_acre": 2}]
    assert _inside(events, "young", "stocking.young") is events[2]
    with pytest.raises(InputError, match="a name that is written in the file"):
        _inside(events[:2], "young", "stocking.young")
    with pytest.raises(InputError, match="did you mean"):
        _inside(events, "yuong", "stocking.young")


def survivors(**by_date):
    """Rows of a sweep by their date, each with the shares that live of ten members."""
    score = SimpleNamespace(values=np.zeros((1, 10)))
    return [
        SimpleNamespace(values=(day,), survivors=None if alive is None else np.array(alive), scores=(score,))
        for day, alive in by_date.items()
    ]


def test_the_earliest_date_is_the_first_at_which_as_many_live_as_often_as_asked(monkeypatch):
    monkeypatch.setattr(sweep, "_at", lambda row, axes: row.values[0])
    rows = survivors(d3=[0.9] * 10, d1=[0.5] * 7 + [0.4] * 3, d2=[0.5] * 8 + [0.49] * 2, d0=None)
    said = sweep._earliest(rows, (), 0, 0.5, 0.8, "young_bass")
    assert said.startswith("Earliest date at which at least 50 % of young_bass live ") and "a chance of 80 %: d2 (80 %" in said
    none = sweep._earliest(rows[1:], (), 0, 0.5, 0.9, "young_bass")
    assert none.startswith("At no date do at least 50 %") and "nearest: d2 (80 %" in none
    odd = sweep._earliest(rows[1:], (), 0, 0.125, 0.975, "young_bass")  # told as they were asked for
    assert odd.startswith("Earliest date at which at least 12.5 % of young_bass live ") and "with a chance of 97.5 %: d1" in odd
    alike = sweep._earliest(survivors(d1=[0.1] * 10, d2=[0.3] * 10), (), 0, 0.5, 0.9, "young_bass")
    assert "nearest: d2" in alike  # of chances alike that with most alive
    asked = []
    monkeypatch.setattr(sweep, "answer", lambda *given: asked.append(given) or "")
    sweep.Sweep((), (), None).answer()
    assert asked[0][3:5] == (0.5, 0.8)  # half of the fish, eight of ten


# --- what a survey is worth


def test_a_survey_gains_from_two_members_a_fold_on():
    """One plan is worth 1 where the survey shows 1, and −1 where it shows −1; the other nothing: half is gained."""
    shown = np.resize([1.0, -1.0], 40)
    worth = np.stack([np.zeros(40), shown])
    gain, error = gain_from(worth, np.tile(shown, (3, 1))[..., None])
    assert gain == pytest.approx(0.5, abs=0.01)
    assert error == pytest.approx(np.std(np.maximum(shown, 0), ddof=1) / 40**0.5, rel=0.05)
    few = 2 * FOLDS
    assert gain_from(worth[:, :few], np.tile(shown[:few], (3, 1))[..., None])[0] > 0.0
    assert gain_from(worth[:, : few - 1], np.tile(shown[: few - 1], (3, 1))[..., None]) == (0.0, 0.0)


def test_figures_of_a_survey_are_told_from_their_mean_in_deviations_and_what_is_missing_is_marked():
    seen = np.array([[[2.0], [6.0]], [[4.0], [np.nan]]])  # mean 4, deviation √(8/3), one of four missing
    found = survey_value._features(seen[0], seen)
    x = np.array([-2.0, 2.0]) / (8 / 3) ** 0.5
    np.testing.assert_allclose(found, np.column_stack([np.ones(2), x, x**2 - 1, [-0.25, -0.25]]))
    np.testing.assert_allclose(survey_value._features(seen[1], seen)[1], [1.0, 0.0, -1.0, 0.75])
    alike = survey_value._features(np.full((2, 1), 5.0), np.full((1, 2, 1), 5.0))
    np.testing.assert_allclose(alike, [[1.0, 0.0, -1.0, 0.0]] * 2)


def test_to_know_each_pond_is_worth_the_best_plan_of_each_less_the_one_that_is_best_in_the_mean(monkeypatch):
    """The better plan of each pond gives 4, 0 and 5, a mean of 3; the first alone 2, the second 5/3: worth 3 − 2."""
    worth = np.array([[4.0, 0.0, 2.0], [0.0, 0.0, 5.0]])
    monkeypatch.setattr(survey_value, "shown", lambda *given: np.zeros((3, 1)))
    monkeypatch.setattr(survey_value, "expected_catch", lambda number, used, effort, *more: number * effort)
    scenario = pond()
    number = np.zeros((3, 5, 30))  # member, species, class
    number[:, 0, 7], number[:, 0, 8] = 99.0, 10.0  # of stock length from 8 in
    survey = Survey("electrofishing", 2.0, scenario.run.start)
    monkeypatch.setattr(survey_value, "of_species", lambda array, species: array[:, 0])
    found = survey_value.survey_value(worth, {"number": number}, survey, scenario)
    assert found.perfect == pytest.approx(1.0) and found.gain == 0.0
    assert found.efforts == (0.5, 1.0, 2.0, 4.0, 8.0) and found.fish == (5.0, 10.0, 20.0, 40.0, 80.0)
    assert FEWEST == 3


# --- quota and plan


def test_a_trial_that_meets_its_limits_stands_by_its_worth_and_another_by_how_nearly_it_does():
    def stands(chances, nearly=0.25):
        made = {"near_chances": np.array(chances), "limits": (), "value": 7.0, "_all_at_once": lambda given: np.array([nearly])}
        return Trial.near_standing(SimpleNamespace(**made), 0.8)

    assert stands([0.8, 0.9]) == (1, 0.0, 7.0) and stands([0.79, 0.9]) == (0, 0.25, 7.0)
    assert stands([0.8, 0.9]) > stands([0.79, 1.0], 0.99) > stands([0.5, 1.0], 0.5)

    def confirmed(surely, met):
        given = SimpleNamespace(surely_meets=lambda p: surely, meets=lambda p: met, all_at_once=0.6, value=7.0)
        return Trial.standing(given, 0.8)

    found = [confirmed(*x) for x in ((True, True), (False, True), (False, False))]
    assert found == [(2, 0.0, 7.0), (1, 0.0, 7.0), (0, 0.6, 7.0)]


@pytest.mark.parametrize(("names", "said"), [
    ((), ", until 2026-09-15: the goals set no limits, so this is what serves them best."),
    (("bass PSD 40–70",), ": by the goals, bass PSD 40–70, with a probability of 80 %, over the twelve months to 2026-09-15;"),
    (("a", "b"), ": by the goals, a and b, each with a probability of 80 %, over the twelve months to 2026-09-15;"),
])  # fmt: skip
def test_what_a_quota_was_asked_for_is_told(names, said):
    best = SimpleNamespace(
        limits=tuple(SimpleNamespace(name=name) for name in names),
        dataset={"survey_date": SimpleNamespace(values=np.array(["2026-04-20", "2026-09-15"], dtype="datetime64[ns]"))},
    )
    question = SimpleNamespace(strategy="few", probability=0.8)
    told = quota_phrases._asked(SimpleNamespace(best=best, question=question, scenario=pond()))
    assert told.startswith("Quota for “") and f"”{said}" in told
    question.probability = 0.975
    told = quota_phrases._asked(SimpleNamespace(best=best, question=question, scenario=pond()))
    assert f"”{said.replace('80 %', '97.5 %')}" in told


def test_plans_have_their_number_and_values_and_the_files_own_its_name():
    decision = SimpleNamespace(names=("a 1", "a 2", plan_phrases.FILES_OWN))
    told = plan_phrases.wording(SimpleNamespace(finalists=[1, 2], decision=decision, scenario=pond()))
    assert told.short == ("plan 1", "plan 2", plan_phrases.FILES_OWN)
    assert told.full == ("plan 1 (a 1)", "plan 2 (a 2)", plan_phrases.FILES_OWN)


def test_plans_stand_beside_each_other_below_their_headings():
    table = [["decision", "plan 1", "plan 2"], ["x" * 40, "1", "2"]]
    narrow = plan_phrases._columns_of(table, [2, 1])
    assert narrow[0] == ["decision", "plan 2", "plan 1"] and narrow[1][1:] == ["2", "1"]
    assert narrow[1][0].startswith("xxx") and len(narrow[1][0]) == 28  # letters


# --- goals


def test_the_ends_of_a_range_belong_to_it_and_balance_asks_for_both_species():
    """Of 100 bass 40 or 70 of 12 in, of 100 bluegill 20 or 60 of 6 in; one beyond each end in turn."""
    scenario = pond(members=8)
    read = readings(scenario)
    pairs = [(40, 20), (40, 60), (70, 20), (70, 60), (39, 20), (71, 60), (40, 19), (70, 61)]
    for one in read.values():
        for member, (bass, bluegill) in enumerate(pairs):
            one["number"][member, :, 0, 9], one["number"][member, :, 0, 13] = 100 - bass, bass
            one["number"][member, :, 1, 4], one["number"][member, :, 1, 7] = 100 - bluegill, bluegill
    made = dataset(scenario, read)
    assert goals.both_in_range(made, "balanced")[0, :, -1].tolist() == [True] * 4 + [False] * 4
    assert goals.chance_in_range(made, "balanced").tolist() == [0.5, 0.5]


def dated(**dates):
    return {name: SimpleNamespace(values=np.array(some, dtype="datetime64[ns]")) for name, some in dates.items()}


def test_twelve_months_reach_back_to_the_same_day_of_the_year_before_and_not_beyond():
    made = dated(survey_date=["2026-09-15", "2026-09-16", "2026-09-17", "2027-09-15"])
    assert goals.at_end(np.array([[[1.0, 2.0, 4.0, 8.0]]]), made).tolist() == [[6.0]]
    leap = dated(survey_date=["2027-09-17", "2027-09-18", "2028-09-15"])  # 364 and 363 days before
    assert goals.at_end(np.array([[[1.0, 2.0, 4.0]]]), leap).tolist() == [[3.0]]


@pytest.mark.parametrize(("by_year", "months"), [(1, 9), (2, 21), (3, 33), (4, 36), (None, 36)])
def test_what_is_due_by_a_calendar_year_counts_its_months(by_year, months):
    made = dated(month=np.arange("2026-04", "2029-04", dtype="datetime64[M]"))
    assert goals._months_until(made, by_year).sum() == months


def test_a_difference_that_matters_just_so_counts_and_half_a_vote_is_none():
    score = goals.Score(SimpleNamespace(weight=2.0, smallest=5.0), "", "points", -1, np.array([[0.0], [5.0]]), ())
    said = comparison.verdicts(score, np.array([-5.0, -4.999, 5.0, np.nan]))
    assert said.tolist() == [1.0, 0.0, -1.0, 0.0]
    other = goals.Score(SimpleNamespace(weight=2.0, smallest=1.0), "", "fish", 1, np.array([[0.0], [1.0]]), ())
    assert comparison.judge(["A", "B"], [score]).chosen == 0
    assert comparison.judge(["A", "B"], [score, other]).tied


def test_scores_of_several_runs_are_put_together_and_so_are_costs_unless_one_has_none():
    def run(value, paid):
        score = goals.Score(SimpleNamespace(weight=1.0, smallest=1.0), "", "fish", 1, np.array([[value, value]]), ())
        return [score], None if paid is None else goals.Cost("EUR", {"fish": np.array([[paid, paid]])}, ("feed",))

    (score,), cost = comparison.together([run(1.0, 10.0), run(2.0, 20.0)])
    assert score.values.tolist() == [[1.0, 1.0], [2.0, 2.0]] and cost.parts["fish"].tolist() == [[10.0, 10.0], [20.0, 20.0]]
    assert (cost.currency, cost.unpriced) == ("EUR", ("feed",))
    (wide,), longer = comparison.together([run(1.0, 10.0), run(2.0, 20.0)], axis=1)
    assert wide.values.tolist() == [[1.0, 1.0, 2.0, 2.0]] and longer.total.tolist() == [[10.0, 10.0, 20.0, 20.0]]
    assert comparison.together([run(1.0, 10.0), run(2.0, None)])[1] is None


# --- harvests


RULE = '[[strategies.few.harvest]]\nname="{}"\nspecies="bass"\nlength_in=[8, 12]\nseason=["{}", "{}"]\n{}\n'


def test_of_a_season_that_the_run_cuts_so_much_is_asked_for_as_lies_within_it():
    """Of 100 days from 1 March to 8 June a run from 1 April to 31 March holds 69 in its first year and 31 in the second."""
    scenario = pond(extra=RULE.format("a", "03-01", "06-08", "per_acre = 10"))
    rules = scenario.strategies["few"].harvest
    per_ha = 10 / 0.40468564224
    assert harvest_outcome.asked(scenario, rules, "per_ha").tolist() == pytest.approx([0.69 * per_ha, 0.31 * per_ha])
    assert harvest_outcome.asked(scenario, rules, "kg_per_ha").tolist() == [0.0, 0.0]


@pytest.mark.parametrize(("rules", "years"), [
    (RULE.format("a", "05-01", "06-30", "lb_per_acre = 9"), (2026, 2027)),
    (RULE.format("a", "03-01", "06-30", "lb_per_acre = 9"), (2027,)),  # the run holds parts of the first and of the last season
    (RULE.format("a", "05-01", "06-30", "lb_per_acre = 9\nfrom_year = 2"), (2027,)),
    (RULE.format("a", "05-01", "06-30", "lb_per_acre = 9\nto_year = 1"), (2026,)),
    (RULE.format("a", "05-01", "06-30", "lb_per_acre = 9") + RULE.format("b", "07-01", "07-31", "per_acre = 9"), None),
    (RULE.format("a", "05-01", "06-30", "share = 0.1"), None),
])  # fmt: skip
def test_catches_are_held_against_what_is_asked_for_in_whole_seasons(rules, years):
    scenario = pond(years=2, extra=rules)
    read = readings(scenario)
    read["few"]["harvest_biomass"][:, [1, 2, 13, 14], 0] = 1.0  # May and June
    found = harvest_outcome.catches(dataset(scenario, read), scenario)
    assert [one.years for one in found] == ([years] if years else [])
    assert all((one.caught == 2.0).all() and one.falls_short for one in found)


def test_fish_are_kept_in_the_months_of_their_rule_and_in_the_window_of_any():
    scenario = pond(extra=RULE.format("a", "05-01", "06-01", "per_acre = 9")
                    + RULE.format("b", "06-01", "07-31", "per_acre = 9").replace("[8, 12]", "[11, 13.5]"))  # fmt: skip
    dates = [scenario.run.start + dt.timedelta(days=k) for k in range(365)]
    kept = harvest_outcome._kept(scenario.strategies["few"].harvest, dates, 16)
    assert kept.shape == (12, 16) and np.flatnonzero(kept.any(axis=1)).tolist() == [1, 2, 3]
    assert np.flatnonzero(kept[1]).tolist() == [8, 9, 10, 11] and kept[3] == pytest.approx([0.0] * 11 + [1, 1, 0.5, 0, 0])
    assert kept[2] == pytest.approx(np.maximum(kept[1], kept[3]))  # both on 1 June


# --- details


@pytest.mark.parametrize(("few", "many", "cv", "said"), [
    (0.5, 0.7, 0.0, "0.5 lb lighter [0.5–0.5]; 20 points more survive [20–20] at 24 months (survivors 50 % and 70 %, weight 3 "
     "and 2.5 lb)."),
    (0.7, 0.5, 0.2, "20 points fewer survive [20–20] at 24 months (survivors 70 % and 50 %, of a number that is itself in doubt"),
])  # fmt: skip
def test_a_group_that_both_stock_is_told_two_years_on(few, many, cv, said):
    scenario = pond(members=4, years=3)
    changed = {
        name: one._replace(stocking=tuple(e if e.resident else e._replace(number_cv=cv) for e in one.stocking))
        for name, one in scenario.strategies.items()
    }
    read = readings(scenario)
    for (name, one), share, pounds in zip(changed.items(), (few, many), (3.0, 2.5), strict=True):
        (place,) = [k for k, event in enumerate(one.stocking) if event.name == "young_bass"]
        read[name]["group_survivors"][..., place] = share * one.stocking[place].per_ha
        read[name]["group_weight"][..., place] = pounds * 453.59237
    told = teller(dataset(scenario, read), "us")
    stocked = [one.stocking[-1] for one in changed.values()]
    lead = "“many” instead of “few”"
    (found,) = details._group_difference(told, *stocked, 0, 1, lead)
    assert found.words.startswith(f"{lead}: bass stocked 2026-04-10 (“young_bass”) ") and said in found.words


@pytest.mark.parametrize(("later", "found"), [("2028-04-20", (1, 24)), ("2028-09-30", (0, 19))])
def test_the_survey_nearest_to_two_years_after_a_stocking_is_told_with_its_months(later, found):
    days = np.array(["2027-11-01", later], dtype="datetime64[D]")  # 18.8 months, and 24.4 or 29.8
    told = SimpleNamespace(dataset={"survey_date": SimpleNamespace(values=days)})
    assert details._survey_after(told, dt.date(2026, 4, 8)) == found
    assert details._survey_after(told, dt.date(2028, 10, 1)) == (None, 0)


@pytest.mark.parametrize(("count", "pairs"), [(4, 6), (5, 4)])
def test_of_more_than_four_strategies_only_the_best_is_held_against_each_other(count, pairs):
    told = SimpleNamespace(decision=SimpleNamespace(ranked=list(range(count))))
    assert len(list(details._pairs(told))) == pairs


def test_a_group_that_does_not_differ_is_told_so():
    scenario = pond(members=4, years=3)
    told = teller(dataset(scenario, readings(scenario, 1.0)), "us")
    event = scenario.strategies["few"].stocking[-1]
    (found,) = details._group_difference(told, event, event, 0, 1, "x")
    assert "bass stocked 2026-04-10 (“young_bass”) no clear difference in weight or survival at 24 months" in found.words


# --- a terminal


def test_lines_of_a_terminal_are_counted_with_those_that_run_over():
    assert [console.height(text) for text in ("", "a", "a\n\nb", "x" * 80, "x" * 81, f"{'x' * 160}\ny")] == [0, 1, 3, 1, 2, 3]


def answers(values, members=10, units="us", **more):
    """The table of strategies of which each has so many bass above 5 lb."""
    scenario = pond(members=members, extra="[[goals]]\nkind='bass_above'\nabove_lb=5\n")
    read = readings(scenario)
    for one, fish in zip(read.values(), values, strict=True):
        one["bass_above"][..., 0] = fish / scenario.pond.area_ha
        one["number"][..., 0, 9], one["number"][..., 0, 13] = 50.0, 50.0
        one["number"][..., 1, 4], one["number"][..., 1, 7] = 60.0, 40.0
    read["few"]["number"][..., 1, 7] = 0.0
    return console._strategies(teller(dataset(scenario, read), units), more.get("against"), 20)


def test_strategies_stand_below_one_another_the_best_first_with_how_often_they_win():
    assert answers((2.0, 9.0)).splitlines() == [
        "          bass over 5 lb  better; worse  in balanced ranges",
        "  “many”               9              –   more than 9 of 10",
        "  “few”                2         <1; >9   less than 1 of 10",
        "[…] holds 8 of 10 futures; “better; worse”: in how many of 10 futures than",
        "“many”",
    ]
    assert [line.split()[2] for line in answers((2.0, 9.0), against=0).splitlines()[1:3]] == [">9;", "–"]
    assert answers((2.0, 9.0), members=1).splitlines() == [
        "          bass over 5 lb  better; worse  in balanced ranges",
        "  “many”               9              –                 yes",
        "  “few”                2          worse                  no",
        "“better; worse”: than “many”",
    ]
    assert "better" in answers((2.0, 9.0), members=1, against=0) and "neither" in answers((9.0, 9.0), members=1)


# --- what a survey shows, and how much of one is enough


@pytest.mark.parametrize(("gains", "error", "enough"), [
    ((0.0, 0.5, 0.9, 1.0), 0.1, 2), ((0.0, 0.5, 0.89, 1.0), 0.1, 3), ((0.0, 0.5, 0.9, 1.0), 0.5, None),
    ((0.0, 0.5, 0.9, 1.0), 0.499, 2), ((-1.0, -0.5), 0.1, None),
])  # fmt: skip
def test_an_effort_is_enough_from_nine_tenths_of_the_largest_gain_that_is_sure(gains, error, enough):
    survey = Survey("seine", 2.0, dt.date(2026, 6, 1))
    found = SurveyValue(survey, tuple(range(len(gains))), gains, error, 1.0, 2, ())
    assert found.enough == enough


@pytest.mark.parametrize(("effort", "read"), [("0.05", True), ("0.04", False), ("1000", True), ("1000.1", False)])
def test_a_survey_takes_from_three_minutes_to_a_thousand_hours(effort, read):
    if read:
        assert survey_value.read_survey(f"angling:{effort}h@2028-10-15").effort == float(effort)
    else:
        with pytest.raises(InputError, match="--survey"):
            survey_value.read_survey(f"angling:{effort}h@2028-10-15")


def shown_of(catch, monkeypatch):
    """What a survey of bass without scatter shows of a catch [pond, species, inch]; Wr of the fish of a class from 90 up."""
    monkeypatch.setattr(survey_value, "expected_catch", lambda number, *more: number)
    monkeypatch.setattr(survey_value, "scatter", lambda mean, used, rng: mean)
    monkeypatch.setattr(survey_value, "draw_wr", lambda wr, rng: wr + np.arange(wr.size))
    used = SimpleNamespace(takes=lambda species: species == "bass")
    seen = {"number": catch, "relative_weight": np.full(catch.shape, 90.0)}
    return survey_value.shown(seen, used, 1.0, 20.0, 1.0, np.random.default_rng(1))


def test_a_survey_shows_how_many_fish_of_what_size_and_weight_where_three_were_measured(monkeypatch):
    """Bass: 8 of which 2 of 12 in in one pond, 2 in the other; their Wr is 90 in all classes."""
    catch = np.zeros((2, 5, 40))
    catch[0, 0, 5], catch[0, 0, 9], catch[0, 0, 13], catch[1, 0, 9] = 1.0, 6.0, 2.0, 2.0
    found = shown_of(catch, monkeypatch)
    nan = np.nan
    assert found[:, :4] == pytest.approx(np.array([[np.log(10.0), 25.0, 92.5, nan], [np.log(3.0), nan, nan, nan]]), nan_ok=True)


def test_three_fish_are_enough_for_an_index_of_a_survey_and_two_are_not(monkeypatch):
    """Bass of 9 in, none of 12: a PSD of 0, and a Wr of 90 and more, of three in the one pond and of two in the other."""
    catch = np.zeros((2, 5, 40))
    catch[:, 0, 9] = 3.0, 2.0
    found = shown_of(catch, monkeypatch)
    assert found[0, 1:3].tolist() == [0.0, 91.0] and np.isnan(found[1, 1:3]).all()


# --- limits, searches, steps


def test_limits_of_a_goal_that_is_due_in_a_year_say_so():
    scenario = pond(years=2, extra="[[goals]]\nkind='balanced'\nby_year=1\n[[goals]]\nkind='bass_above'\nabove_lb=5\nby_year=2\n")
    made = dataset(scenario, readings(scenario)).isel(strategy=[0])
    assert [one.name for one in limits.limits(made, scenario)] == [
        "bass PSD in year 1 40–70", "bluegill PSD in year 1 20–60", "at least one bass above 5 lb in year 2",
    ]  # fmt: skip


def test_terms_of_a_surface_are_scaled_to_the_grid():
    found = plan_search._terms(np.array([[0.0, 0.0], [4.0, 0.0], [1.0, 1.0]]), (5, 2))
    assert found.tolist() == [
        [1, -1, -1, 1, 1, 1], [1, 1, -1, 1, -1, 1], [1, -0.5, 1, 0.25, -0.5, 1],
    ]  # 1, x, y, x², xy, y²  # fmt: skip
    assert plan_search._terms(np.array([[0.0]]), (1,)).tolist() == [[1, -1, 1]]


def test_the_first_steps_are_told_and_those_of_the_same_day_counted(monkeypatch):
    """Four things to do on one day, of which two are told; another day is not counted."""
    step = [SimpleNamespace(when=when, what=what) for when, what in (("1 May", "A"), ("1 May", "B"), ("1 May", "C"),
                                                                    ("1 May", "D"), ("2 May", "E"))]  # fmt: skip
    monkeypatch.setattr("pondpop.decide.phrases.first_steps", lambda some, most: some[:most])
    told = SimpleNamespace(decision=SimpleNamespace(followed=0, equals=(0,)), actions_of=lambda k: step, short=("few",))
    assert Teller.next_steps(told, 2) == "1 May: A; 1 May: B; and 2 more at that time. Then follow the calendar."
    assert Teller.next_steps(told, 4) == "1 May: A; 1 May: B; 1 May: C; 1 May: D. Then follow the calendar."
    told.actions_of = lambda k: step[:1] * 20
    assert "; and 9 more at that time." in Teller.next_steps(told, 2)
    told.actions_of = lambda k: []
    assert Teller.next_steps(told) == "nothing but to survey, as the calendar says."
    others = SimpleNamespace(decision=SimpleNamespace(followed=1, equals=(0, 1)), actions_of=lambda k: step[k:], short=("a", "b"))
    assert Teller.next_steps(others, 1) == "1 May: B; and 2 more at that time (with b). Then follow the calendar."


@pytest.mark.parametrize(("count", "said"), [(2, "With “x”: choose A. With “x”: choose A. Up."), (3, "Up.")])
def test_events_are_told_one_by_one_where_they_are_few(count, said):
    events = [SimpleNamespace(title="x")] * count
    some = SimpleNamespace(events=events)
    told = SimpleNamespace(befalling=some, chosen_with=lambda event: "choose A", stands_up=lambda: "Up.")
    assert Teller.if_something_befalls(told) == said
    assert Teller.if_something_befalls(SimpleNamespace(befalling=None)) == ""


def test_a_group_of_a_sweep_is_told_once_for_each_row_and_left_out_where_it_is_not_known():
    """A point is a line of the table: fish that live in per cent; a dash where none were stocked."""
    scenario = pond(members=2)
    bands = {"bass_psd": ("percent", "%", np.array([[40.0, 50.0, 60.0]])), "crop": ("crop", "", np.array([[1.0, 2.0, 3.0]]))}
    goal = SimpleNamespace(kind="bass_above", weight=1.0, smallest=1.0, above_g=2267.96185, by_year=None)

    def row(value, alive, **more):
        score = goals.Score(goal, "", "fish", 1, np.array([[3.0, 5.0]]), ())
        made = {"dates": ("2026-09-15",), "in_range": 0.5} | more
        return sweep.Row((value,), "few", bands=bands, scores=[score], survivors=alive, **made)

    some = [row(1, np.array([0.5, 0.7])), row(2, None)]
    axes = (SimpleNamespace(path="pond.cover"),)
    main = (("bass_psd", "PSD"), ("crop", "crop"))
    about, head, first, second, *_ = sweep.table(some, axes, scenario, "young", main).split("\n")
    assert about == "Survey of 2026-09-15, median [8 of 10 futures]; alive: of young, 12 months after their stocking"
    assert head.split("  ")[1:2] == ["pond.cover"] and "PSD, %" in head and "crop, " not in head and "both PSDs in range" in head
    heads = [part.strip() for part in head.split("  ") if part]
    assert heads[:5] == ["pond.cover", "strategy", "PSD, %", "crop", "both PSDs in range"]
    assert first.split()[:6] == ["1", "few", "50", "[40–60]", "2", "[1–3]"] and first.endswith("60 [52–68]")
    assert second.endswith("–") and "50 %" in second
    assert sweep.sweep_csv(some[:1], axes).splitlines()[1:] == [
        "1,few,2026-09-15,bass_psd,%,40,50,60", "1,few,2026-09-15,crop,,1,2,3", "1,few,None,survivors,%,52,60,68",
    ]  # fmt: skip
    others = [row(1, None), row(2, None, dates=("2027-09-15",), in_range=0.5)]
    told = sweep.table(others, axes, scenario, None, main)
    assert told.startswith("Last survey of every point, median") and "survey" in told.split("\n")[1] and "2027-09-15" in told
    assert "alive" not in told


def test_chances_of_a_kill_are_told_where_feed_alone_is_varied():
    def row(feed, kill, name="few"):
        return SimpleNamespace(values=(feed,), strategy=name, kill=kill)

    fed = SimpleNamespace(path="strategies.few.feeding.pellets.lb_per_acre_day")
    rows = [row(20, 0.04), row(10, 0.02), row(5, None, "many")]
    (words,) = sweep._kills(rows, (fed,))
    assert words.startswith("few: chance a year that over a tenth of the fish die for want of oxygen 2.0 % at 10, 4.0 % at 20 ")
    assert sweep._kills(rows, (fed, fed)) == [] == sweep._kills(rows, (SimpleNamespace(path="pond.cover"),))


def test_the_limit_that_binds_is_of_equals_the_one_that_is_least_met_itself():
    """Left out, either limit leaves the other met; the second is met in six of ten futures at most, the first in nine."""
    def trial(first, second, value):
        return SimpleNamespace(near_chances=np.array([first, second]), limits=(0, 1), value=value)

    every = [trial(0.9, 0.5, 1.0), trial(0.1, 0.6, 3.0), trial(0.7, 0.1, 2.0)]
    assert quota._binds(every, 0.5) == (1, every[2])  # of what meets the first, the one of most worth
    assert quota._binds(every, 0.95) == (1, every[0])  # nothing does: what comes nearest


def test_of_those_that_do_as_well_and_are_caught_the_one_of_most_worth_is_offered(monkeypatch):
    every = [SimpleNamespace(value=value, asked=np.array([asked])) for value, asked in ((1.0, 9.0), (3.0, 8.0), (2.0, 1.0))]
    monkeypatch.setattr(quota, "as_good", lambda best, others, probability: list(others)[:2])
    assert quota.instead_of(every[2], every, 0.8) is every[1]
    monkeypatch.setattr(quota, "as_good", lambda best, others, probability: [])
    monkeypatch.setattr(quota, "keeps_as_well", lambda one, best, probability: one is not every[2])
    assert quota.instead_of(every[1], every, 0.8) is every[1]  # the others are worth less by what matters
