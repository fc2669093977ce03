"""Choices, sweeps and what a survey is worth, where every number is known on paper."""

from types import SimpleNamespace

import numpy as np
import pytest
from small import pond

from pondpop.checks import InputError
from pondpop.decide import plan_phrases, quota_phrases, survey_value, sweep
from pondpop.decide.phrases import Teller
from pondpop.decide.quota import Trial
from pondpop.decide.survey_value import FEWEST, FOLDS, Survey, gain_from
from pondpop.decide.sweep_paths import MOST_POINTS, _inside, read_axis

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


def test_plans_have_their_number_and_values_and_the_files_own_its_name():
    decision = SimpleNamespace(names=("a 1", "a 2", plan_phrases.FILES_OWN))
    told = plan_phrases.wording(SimpleNamespace(finalists=[1, 2], decision=decision, scenario=pond()))
    assert told.short == ("plan 1", "plan 2", plan_phrases.FILES_OWN)
    assert told.full == ("plan 1 (a 1)", "plan 2 (a 2)", plan_phrases.FILES_OWN)


def test_plans_stand_beside_each_other_below_their_headings():
    table = [["decision", "plan 1", "plan 2"], ["x" * 40, "1", "2"]]
    narrow = plan_phrases._columns_of(table, [2, 1])
    assert narrow[0] == ["decision", "plan 2", "plan 1"] and narrow[1][1:] == ["2", "1"]
    assert narrow[1][0].startswith("xxx") and len(narrow[1][0]) == plan_phrases.NARROW
