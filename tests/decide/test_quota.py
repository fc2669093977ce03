"""Quotas: the rules that amounts become, what a trial is judged by, the search, and what is said of it."""

import csv
import datetime as dt
import io
import re
from dataclasses import replace

import numpy as np
import pytest
from small import TEXT, dataset, pond, raw, readings

from pondpop import cli
from pondpop.checks import InputError
from pondpop.decide import quota, quota_phrases
from pondpop.decide.comparison import judge as decision_of
from pondpop.decide.comparison import together
from pondpop.decide.limits import Limit
from pondpop.decide.phrases import Wording
from pondpop.decide.quota import (
    FRESH,
    Question,
    _binds,
    ask,
    chance_caught,
    in_vain,
    judge,
    search,
    whole_fish,
    with_quota,
)
from pondpop.decide.quota_phrases import months_csv, quota_advice, quota_answer, quota_csv, quota_text
from pondpop.ensemble.jobs import Job
from pondpop.scenario import resolve
from pondpop.update.posterior import Posterior

WINDOWS = ((203.2, 304.8), (381.0, 635.0))
RULES = """
[[strategies.few.harvest]]
name = "old_rule"
species = "bass"
length_in = [8, 20]
lb_per_acre = 50
[[strategies.few.harvest]]
name = "bluegill_rule"
species = "bluegill"
length_in = [6, 12]
lb_per_acre = 20
"""


def question(windows=WINDOWS, periods=((1, 2), (3, 4)), **changes):
    return replace(Question("few", windows, periods), **changes)


def trial(amounts=((10.0, 20.0), (0.0, 5.0)), years=3, members=4, fill=None, extra="", **changes):
    """A trial of the strategy "few" made by hand: bass PSD 50, bluegill PSD 40, Wr 95 in every member, unless `fill` says."""
    scenario = pond(members=members, years=years, extra=extra)
    asked = question(**changes)
    made = with_quota(scenario, asked, np.array(amounts))
    read = readings(made)
    one = read["few"]
    one["number"][..., 0, 9], one["number"][..., 0, 13] = 50.0, 50.0
    one["number"][..., 1, 4], one["number"][..., 1, 7] = 60.0, 40.0
    one["relative_weight"][..., 0, 8:20] = 95.0
    one["biomass"][..., 0, 9], one["biomass"][..., 1, 4] = 20.0, 80.0
    if fill:
        fill(one)
    return judge(dataset(made, read), made, asked, np.array(amounts)), asked, made


# --- what is asked


def test_by_default_harvest_begins_the_year_after_the_last_bass():
    assert ask(pond(years=4)).periods == ((2, 3), (4, 5))
    assert ask(pond(years=4), from_year=1).periods == ((1, 2), (3, 5))
    later = raw(years=4)
    later["strategies"]["few"]["stocking"][0]["date"] = later["run"]["start"].replace(year=2027)
    assert ask(resolve(later)).periods == ((3, 4), (5, 5))


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"strategy": "fwe"}, 'did you mean "few"'),
        ({"from_year": 0}, "--from-year"),
        ({"from_year": 4}, "--from-year"),
        ({"windows": ()}, "1 to 3 length windows"),
        ({"windows": [(100.0 * k, 100.0 * k + 100.0) for k in range(2, 6)]}, "got 4 of them, needs 1 to 3 length windows"),
        ({"windows": ((203.2, 304.8), (254.0, 381.0))}, r"8\.\.12 and 10\.\.15 in, which overlap"),
        ({"windows": ((203.2, 304.8), (203.2, 304.8))}, "overlap"),
    ],
)
def test_what_cannot_be_asked(given, says):
    with pytest.raises(InputError, match=says):
        ask(pond(years=3), **given)


def test_amounts_become_rules_in_place_of_those_for_bass():
    made = with_quota(pond(years=3, extra=RULES), question(), np.array([[10.0, 20.0], [0.0, 5.0]]))
    rules = {rule.name: rule for rule in made.strategies["few"].harvest}
    assert set(rules) == {"bluegill_rule", "quota_1_1", "quota_1_2", "quota_2_1", "quota_2_2"}
    assert rules["quota_1_2"].kg_per_ha == 20.0
    assert (rules["quota_1_2"].from_year, rules["quota_1_2"].to_year) == (3, 4)
    assert rules["quota_2_1"].length_mm == WINDOWS[1]
    assert list(made.strategies) == ["few"]


# --- how a trial is judged


PANFISH = "[[goals]]\nkind = 'panfish'\n"
BIG = "[[goals]]\nkind = 'bass_above'\nabove_lb = 5\n"


def test_the_goals_of_the_file_set_the_limits():
    assert set(trial()[0].chances) == {"bass PSD 40–70", "bluegill PSD 20–60"}  # balanced, without any goal
    assert set(trial(extra=PANFISH)[0].chances) == {"bass PSD 20–40", "bluegill PSD 50–80"}
    assert set(trial(extra=PANFISH + "weight = 0\n" + BIG)[0].chances) == {"at least one bass above 5 lb"}
    assert trial(extra="[[goals]]\nkind = 'pounds_harvested'\n")[0].limits == ()
    assert "Wr of bass of 8–12 in from 90" in trial(wr_floor=90.0)[0].chances


@pytest.mark.parametrize("heavier", [8.01, 8.0001])
def test_goals_of_nearly_one_weight_are_two_limits_with_names_of_their_own(heavier):
    two = BIG.replace("5", "8") + BIG.replace("5", str(heavier))
    found, _, made = trial(extra=two, fill=lambda one: one["bass_above"].__setitem__(..., 0.5))
    assert set(found.chances) == {"at least one bass above 8 lb", f"at least one bass above {heavier} lb"}
    told = Wording(made, decision_of(["a"], *together([(found.scores, found.cost)])), ("a",), ("a",), "us")
    assert [told.heading(score) for score in found.scores] == ["bass over 8 lb", f"bass over {heavier} lb"]
    assert len({told.goal(score) for score in found.scores}) == 2
    metric = replace(told, units="metric")
    assert len({metric.heading(score) for score in found.scores}) == 2


def test_a_pond_in_range_meets_every_limit():
    found, _, _ = trial(wr_floor=90.0)
    assert set(found.chances.values()) == {1.0} and len(found.chances) == 3
    assert found.meets(0.99) and found.all_at_once == 1.0
    assert (found.near_chances > 0.9).all()


@pytest.mark.parametrize(
    ("name", "fill"),
    [
        ("bass PSD 40–70", lambda one: one["number"].__setitem__((0, slice(None), 0, 9), 500.0)),
        ("Wr of bass of 8–12 in from 90", lambda one: one["relative_weight"].__setitem__((0, slice(None), 0), 85.0)),
        ("bluegill PSD 20–60", lambda one: one["number"].__setitem__((0, slice(None), 1, 7), 400.0)),
    ],
)
def test_each_limit_is_missed_alone_by_the_member_that_misses_it(name, fill):
    found, _, _ = trial(fill=fill, wr_floor=90.0)
    good = trial(wr_floor=90.0)[0]
    assert found.chances == {**good.chances, name: 0.75} and found.all_at_once == 0.75
    assert not found.meets(0.8) and found.meets(0.75)
    assert found.standing(0.8) < good.standing(0.8)


def test_at_least_one_fish_is_a_matter_of_how_many_are_expected():
    def fill(one):
        one["bass_above"][...] = 0.5  # per ha

    found, _, made = trial(fill=fill, extra=BIG)
    assert found.all_at_once == pytest.approx(1.0 - np.exp(-0.5 * made.pond.area_ha))


def test_a_goal_with_a_year_is_read_then():
    def fill(one):
        one["number"][:, :3, 0, 13] = 0.0  # of three surveys a year, all of the first

    assert trial(fill=fill)[0].meets(1.0)
    assert not trial(fill=fill, extra="[[goals]]\nkind = 'balanced'\nby_year = 1\n")[0].meets(0.1)


@pytest.mark.parametrize("large", [1.0, 500.0])  # PSD 2 and 91, below and above the range
def test_the_indicator_knows_both_ends_of_the_range(large):
    assert trial(fill=lambda one: one["number"].__setitem__((..., 0, 13), large))[0].near_chances[0] < 0.05


def test_a_pond_without_bass_misses_the_range():
    found = trial(fill=lambda one: one["number"].__setitem__((slice(None), slice(None), 0), 0.0))[0]
    assert found.chances["bass PSD 40–70"] == 0.0
    assert np.isfinite(found.near_chances).all()


def test_the_indicator_falls_smoothly_across_the_edge():
    soft = [
        trial(fill=lambda one, wr=wr: one["relative_weight"].__setitem__((..., 0, slice(None)), wr), wr_floor=90.0)[0]
        .near_chances[2]
        for wr in (86.0, 88.0, 90.0, 92.0, 94.0)
    ]
    assert soft == sorted(soft)
    assert soft[2] == pytest.approx(0.5)
    assert max(np.diff(soft)) < 0.4
    assert soft[1] == pytest.approx(1.0 / (1.0 + np.exp(2.0 / 1.5)))  # over one and a half points of Wr, three of PSD
    psd = trial(fill=lambda one: one["number"].__setitem__((..., 0, 13), 40.0))[0]
    (limit,) = (limit for limit in psd.limits if limit.quantity == "bass PSD")
    away = replace(limit, values=limit.low - np.array([0.0, 3.0, 6.0]))
    np.testing.assert_allclose(away.nearly, 1.0 / (1.0 + np.exp([0.0, 1.0, 2.0])), rtol=1e-3)


def test_a_limit_is_widened_at_the_end_that_is_missed_more():
    values = np.array([10.0, 12.0, 30.0, 45.0, 50.0, 55.0, 60.0, 65.0, 75.0, np.nan])
    limit = Limit("x", 40.0, 70.0, 3.0, values)
    assert limit.widened(0.6) == (30.0, 70.0)
    assert limit.widened(0.7) == (12.0, 70.0)
    low, high = limit.widened(0.8)
    assert np.mean((values >= low) & (values <= high)) == 0.8
    assert limit.widened(0.9) is None  # one is above and one is not known
    assert Limit("x", 1.0, np.inf, 1.0, values, expected=True).widened(0.5) is None


def with_chances(*shares, worth=0.0):
    """A trial of which each limit holds smoothly and truly in these shares of 100 members."""
    every = trial()[0]
    made = tuple(
        Limit(f"limit {k}", 0.0, np.inf, 1e-3, np.where(np.arange(100) < round(100 * share), 1.0, -1.0))
        for k, share in enumerate(shares)
    )
    scores = [replace(every.scores[0], values=np.full((1, 100), -3.0 * worth))]
    return replace(every, limits=made, scores=scores, taken=np.zeros((100, 3)), asked=np.zeros(3), independent=100)


def test_more_worth_counts_only_among_what_keeps_the_limits():
    kept, better, missed = with_chances(0.95, 0.9), with_chances(0.9, 0.9, worth=2.0), with_chances(0.95, 0.7, worth=9.0)
    barely = with_chances(0.81, 0.9, worth=5.0)
    ranked = sorted([missed, kept, barely, better], key=lambda one: one.standing(0.8), reverse=True)
    assert ranked == [better, kept, barely, missed]
    assert with_chances(0.5, 0.6).standing(0.8) > with_chances(0.4, 0.7, worth=9.0).standing(0.8)  # all at once
    assert kept.surely_meets(0.8) and barely.meets(0.8) and not barely.surely_meets(0.8)
    assert not replace(kept, independent=8).surely_meets(0.8)


def test_a_limit_that_is_to_hold_in_no_future_is_surely_met():
    none = with_chances(0.0)
    assert none.surely_meets(0.0) and not none.surely_meets(0.01)


def test_what_so_few_members_cannot_tell_apart_is_chosen_by_the_goals():
    nearest, serves, farther = with_chances(0.23), with_chances(0.21, worth=1.0), with_chances(0.05, worth=9.0)
    few = [replace(one, independent=12) for one in (nearest, serves, farther)]
    assert quota.best_of(few, 0.8) is few[1]  # 0.23 ± 0.12
    sure = [replace(one, independent=100_000) for one in (nearest, serves, farther)]
    assert quota.best_of(sure, 0.8) is sure[0]
    near = [with_chances(0.30), with_chances(0.28, worth=1.0)]  # apart by 0.02 ± 0.14, a standard error of 49 members
    assert quota.best_of([replace(one, independent=49) for one in near], 0.8).value == near[1].value
    assert quota.best_of([replace(one, independent=51) for one in near], 0.8).value == near[0].value
    met = with_chances(0.9)
    assert quota.best_of([*few, met], 0.8) is met  # what keeps the limits comes first
    none = [with_chances(0.0), with_chances(0.0, worth=1.0)]
    assert quota.best_of(none, 0.8) is none[1]


def test_a_chance_that_is_smaller_in_every_future_is_told_from_a_larger_one():
    every = trial(extra=BIG)[0]

    def of_chance(chance, worth):
        limit = replace(every.limits[0], values=-np.log1p(-chance * np.linspace(0.9, 1.1, 4)))
        return replace(every, limits=(limit,), scores=[replace(every.scores[0], values=np.full((1, 4), worth))])

    nearer, farther = of_chance(0.18, 0.0), of_chance(0.02, 9.0)
    assert quota.best_of([farther, nearer], 0.8) is nearer


def test_what_is_not_caught_gives_way_to_the_least_that_does_as_well():
    def of(asked, taken, worth, share=0.5):
        one = with_chances(share, worth=worth)
        return replace(one, asked=np.full(3, asked), taken=np.full((100, 3), taken))

    best, less, least, rarer = of(100.0, 30.0, 6.0), of(50.0, 25.0, 5.6), of(20.0, 10.0, 3.0), of(30.0, 20.0, 6.0, share=0.4)
    assert quota.instead_of(best, [best, less, least, rarer], 0.8) is less
    caught = of(25.0, 25.0, 5.9)
    assert quota.instead_of(best, [best, less, least, caught], 0.8) is caught
    assert quota.instead_of(best, [best, least, rarer], 0.8) is best


def twenty_at_most(job: Job):
    """Ponds out of balance whatever is taken, of which anglers get 20 kg/ha a year at most."""
    made = []
    for one, _ in job.variants:
        read = readings(one._replace(ensemble=one.ensemble._replace(members=job.members)))["few"]
        amount = next(rule.kg_per_ha for rule in one.strategies["few"].harvest if rule.name == "quota_1_2")
        read["harvest_biomass"][..., [6, 15], 0] = -20.0 * np.expm1(-amount / 20.0)
        made.append(read)
    return made


def searched_there(tries=12):
    """A search in such ponds, by balance and by weight harvested."""
    scenario = pond(members=4, years=2, extra="[[goals]]\nkind='balanced'\n[[goals]]\nkind='pounds_harvested'\nweight=3\n")
    return search(scenario, ask(scenario, windows=[(203.2, 304.8)], from_year=1), search_members=4, tries=tries)


def test_where_no_limit_is_met_the_answer_is_not_the_end_of_what_is_tried_if_less_takes_as_much(monkeypatch):
    monkeypatch.setattr("pondpop.ensemble.run.run_job", twenty_at_most)
    result = searched_there()
    assert not result.best.meets(0.8) and result.binding is not None
    every = [result.best, *result.others.values()]
    assert max(one.value for one in every) - result.best.value <= quota.ALIKE
    assert max(one.asked.sum() for one in every) > 2 * result.best.asked.sum() > 0.0
    assert not result.best.at_the_most


def quick_search(monkeypatch, read, scan, extra="", **more):
    """A search of one window in ponds of one future and two years, which `read` fills by the amount that is asked for."""
    def run_job(job: Job):
        made = []
        for one, _ in job.variants:
            made.append(readings(one._replace(ensemble=one.ensemble._replace(members=job.members)))["few"])
            read(made[-1], next(rule.kg_per_ha for rule in one.strategies["few"].harvest if rule.name == "quota_1_2"))
        return made

    monkeypatch.setattr("pondpop.ensemble.run.run_job", run_job)
    monkeypatch.setattr(quota, "SCAN", scan)
    scenario = pond(members=1, years=2, extra=extra)._replace(units="metric")
    return search(scenario, ask(scenario, windows=[(203.2, 304.8)], from_year=1), search_members=1, **{"tries": 0} | more)


def amounts_of(result):
    return sorted({float(one.amounts[0, 0]) for one in (result.best, *result.others.values())})


POUNDS = "[[goals]]\nkind='pounds_harvested'\n"
SEASONS = np.array([214 / 245, 1.0, 31 / 245])  # what the run holds of those of its three calendar years


def test_less_of_which_as_small_a_part_is_caught_is_not_looked_at_further(monkeypatch):
    """Anglers get half of whatever is asked for: of the most that is tried, 100 kg/ha, and of the 50 that they get of it."""
    def half(one, amount):
        one["harvest_biomass"][..., [6, 15, 23], 0] = 0.5 * amount * SEASONS

    assert amounts_of(quick_search(monkeypatch, half, (0.0, 100.0), POUNDS)) == [0.0, 50.0, 100.0]


def test_what_was_confirmed_is_looked_around_until_nothing_better_is_found(monkeypatch):
    """All that is asked for is caught: more is better, far beyond what the search looked at."""
    def whole(one, amount):
        one["harvest_biomass"][..., [6, 15, 23], 0] = amount * SEASONS

    told = []
    result = quick_search(monkeypatch, whole, (0.0, 40.0), POUNDS, progress=lambda *far: told.append(far))
    assert result.best.amounts.tolist() == [[100.0, 100.0]] and amounts_of(result) == [0.0, 20.0, 40.0, 50.0, 80.0, 100.0]
    assert told == sorted(told) and told[0] == (0, 8) and told[-1] == (8, 8)  # with the scan of two


def test_the_search_is_led_back_from_amounts_below_nothing(monkeypatch):
    """They are looked at as nothing, and cost it a hundredth of a difference that matters for each kg/ha."""
    found = []
    tried = np.array([[0.0, 0.0], [-5.0, 0.0], [-5.0, -5.0], [10.0, 10.0]])  # of the last nothing is caught
    monkeypatch.setattr("scipy.optimize.minimize", lambda against, start, **_: found.extend(map(against, tried)))
    quick_search(monkeypatch, lambda one, amount: None, (0.0, 10.0), POUNDS, tries=3)
    assert found == pytest.approx([0.0, 0.05, 0.1, quota.VAIN])


def test_what_binds_is_left_out_alone(monkeypatch):
    """Bluegill are out of balance whatever is taken; bass are in it, and many of them above 5 lb."""
    def bluegill_out(one, amount):
        one["number"][..., 0, [9, 13]], one["number"][..., 1, 7], one["bass_above"][...] = 50.0, 50.0, 50.0

    binding = quick_search(monkeypatch, bluegill_out, (0.0, 10.0), "[[goals]]\nkind='balanced'\n" + BIG).binding
    assert binding.limit.quantity == "bluegill PSD"
    assert [limit.quantity for limit in binding.without.limits] == ["bass PSD", "bass above 2.27 kg"]


def test_an_answer_at_the_end_of_what_is_tried_says_so():
    def said(fill=None, **changes):
        best, asked, _ = trial(amounts=((10.0, 100.0), (0.0, 5.0)), fill=fill, **changes)
        return quota_text(quota.Found(asked, best, {"no harvest": best}, None, [best], 1, pond(members=4, years=3)))

    assert "It asks for the most that is tried, 89 lb/acre a year of a window, to take what anglers get, 0 lb/acre" in said()
    all_of_it = said(fill=lambda one: one["harvest_biomass"].__setitem__((slice(None), [0, 9, 21, 33], 0), 120.0))
    assert "More than 89 lb/acre a year of a window was not tried: the best may lie beyond." in all_of_it
    assert "was not tried:" not in told() and "the most that is tried" not in told()


def test_of_fish_that_are_expected_it_is_said_which_probability_would_be_enough():
    def fill(one):
        one["bass_above"][...] = 0.5  # per ha

    best, asked, made = trial(fill=fill, extra=BIG)
    binding = quota.Binding(best.limits[0], best, None)
    text = quota_text(quota.Found(asked, best, {"no harvest": best}, binding, [best], 1, made))
    share = int(100 * -np.expm1(-0.5 * made.pond.area_ha))
    assert f"Without it the same amounts would serve the goals best. Were a probability of {share} % enough" in text


def test_the_probability_that_would_be_enough_is_the_one_that_was_found():
    """100 · 0.29 is a little less than 29."""
    best, asked, made = trial(members=100)
    limit = replace(best.limits[0], values=np.where(np.arange(100) < 29, 50.0, 5.0))
    best = replace(best, limits=(limit,))
    text = quota_text(quota.Found(asked, best, {"no harvest": best}, quota.Binding(limit, best, None), [best], 1, made))
    assert "bass PSD 40–70 29 %." in text and "Were a probability of 29 % enough" in text


def test_a_limit_that_fails_by_a_hair_is_not_told_to_hold():
    """399 of 500 members are no 80 %."""
    best, asked, made = trial(members=500)
    limit = replace(best.limits[0], values=np.where(np.arange(500) < 399, 50.0, 5.0))
    best = replace(best, limits=(limit,))
    found = quota.Found(asked, best, {"no harvest": best}, None, [best], 1, made)
    assert not best.meets(0.8) and "bass PSD 40–70 79 %." in quota_text(found)
    assert {row[2] for row in quota_phrases._trade_off_rows(found)} == {"all limits, %", "79"}


def test_what_binds_tells_what_leaving_it_out_would_be_worth():
    best, asked, made = trial()
    other = replace(best, amounts=best.amounts / 2, scores=[replace(best.scores[0], values=best.scores[0].values + 6.0)])
    binding = quota.Binding(best.limits[0], other, None)
    text = quota_text(quota.Found(asked, best, {"no harvest": best}, binding, [best], 1, made))
    assert "worth less than the quota below, by 2 times the least difference that matters." in text


@pytest.mark.parametrize(("share", "how"), [(0.8, "meet the others"), (0.79, "come nearest to the others")])
def test_without_what_binds_the_others_are_met_from_the_probability_on_that_was_asked_for(share, how):
    best, without = with_chances(0.5, 0.5), with_chances(0.5, share)
    found = quota.Found(question(), best, {}, quota.Binding(best.limits[0], without, None), [best], 1, pond())
    assert f"Without it the same amounts would {how} ({100 * share:.0f} %)." in quota_phrases._binding(found)


def test_the_answer_says_that_the_goals_chose_among_equals():
    best, nearest = (trial(fill=lambda one, k=k: one["number"].__setitem__((slice(k), slice(None), 0, 9), 500.0)) for k in (3, 2))
    result = quota.Found(best[1], best[0], {"no harvest": nearest[0]}, None, [best[0]], 1, pond(members=4, years=3))
    said = "Of those that come nearest, which 4 futures cannot tell apart, this serves the goals best, in 4 futures"
    assert said in quota_text(result)
    assert said not in quota_text(replace(result, best=nearest[0], others={}))


def test_what_binds_is_what_the_others_are_met_without():
    one, two = with_chances(0.95, 0.3, 0.85), with_chances(0.85, 0.6, 0.4)
    k, without = _binds([two, one], 0.8)
    assert k == 1 and without is one
    better = with_chances(0.9, 0.0, 0.9, worth=1.0)
    assert _binds([two, one, better], 0.8) == (1, better)
    just = with_chances(0.8, 0.0, 0.8, worth=2.0)
    assert _binds([two, one, better, just], 0.8) == (1, just)


def test_a_quota_is_caught_where_nine_tenths_of_it_are():
    def fill(one):
        one["harvest_biomass"][:, 0, 0] = np.array([1.0, 0.91, 0.89, 0.0]) * 10 * 214 / 245

    found, _, _ = trial(fill=fill)
    part = np.array([214, 245, 245, 31]) / 245  # from 1 April 2026 to 31 March 2029, of a season from March to October
    np.testing.assert_allclose(found.asked, part * [10.0, 10.0, 25.0, 25.0])
    assert chance_caught(found).tolist() == [0.5, 0.0, 0.0, 0.0]
    none = trial(amounts=((0.0, 0.0), (0.0, 0.0)))[0]
    assert np.isnan(chance_caught(none)).all()


@pytest.mark.parametrize(("taken", "caught"), [(9.0, True), (8.99, False)])
def test_just_nine_tenths_of_a_quota_are_enough(taken, caught):
    one = replace(with_chances(1.0), asked=np.array([10.0]), taken=np.full((100, 1), taken))
    assert one.caught == caught and chance_caught(one).tolist() == [float(caught)]


def test_what_cannot_be_caught_is_asked_for_in_vain():
    none = trial(amounts=((0.0, 0.0), (0.0, 0.0)))[0]
    assert in_vain(none) == 0.0
    nothing, _, _ = trial()
    assert in_vain(nothing) == pytest.approx(1.0)

    def fill(one):  # half of each year's 10, 10, 25 and 25 kg/ha, twice the quota in the first year
        one["harvest_biomass"][:, [0, 9, 21, 33], 0] = [20.0, 5.0, 12.5, 12.5 * 31 / 245]

    some = trial(fill=fill)[0]
    whole = 10 * 214 / 245 + 10 + 25 + 25 * 31 / 245
    assert in_vain(some) == pytest.approx((5 + 12.5 + 12.5 * 31 / 245) / whole)
    worth = some.worth.mean() - nothing.worth.mean()
    assert some.value - nothing.value == pytest.approx(worth + in_vain(nothing) - in_vain(some))


def test_whole_fish_are_the_quota_over_the_mean_weight():
    def fill(one):
        one["biomass"][..., 0, :] = 0.0
        one["biomass"][..., 0, 9] = 50.0 * 0.2  # bass of 200 g in the first window, none in the second

    found, asked, made = trial(fill=fill, amounts=((10.0, 200.0), (0.0, 5.0)))
    fish = whole_fish(found, asked, made)
    assert fish.shape == (2, 4, 12) and fish.dtype.kind == "i"
    whole = 10.0 * made.pond.area_ha / 0.2
    part = np.array([214 / 245, 1.0, 20.0, 20.0 * 31 / 245])  # of the season within the run, and 200 from the third year
    np.testing.assert_allclose(fish[0].sum(axis=1), np.round(whole * part), atol=0.5)
    assert (fish[1] == 0).all()
    text = quota_text(quota.Found(asked, found, {}, None, [found], 1, made))
    row = next(line for line in text.splitlines() if "8–12" in line)
    for some in (fish[0, :2].sum(axis=1), fish[0, 2:].sum(axis=1)):
        assert f"{min(some)} to {max(some)} fish" in row
    june = whole * 30 / 245
    assert abs(fish[0, 1, 5] - june) < 1 and fish[0, 1, 0] == 0 and fish[0, 0, 2] == 0  # not before the run begins


def test_the_nearest_survey_is_counted_from_the_middle_of_the_month():
    def grown(one):
        one["biomass"][..., 0, 9] = 20.0
        one["biomass"][:, 1:, 0, 9] = 40.0  # from the second survey on twice as heavy

    found, asked, made = trial(amounts=((90.0, 90.0), (0.0, 0.0)), fill=grown)
    dates = found.dataset["survey_date"].values.copy()
    fish = []
    for first, second in (("2026-06-01", "2026-06-29"), ("2026-06-01", "2026-06-28")):  # from the 15th as far, and farther
        dates[:2] = np.array([first, second], dates.dtype)
        fish.append(whole_fish(replace(found, dataset=found.dataset.assign_coords(survey_date=dates)), asked, made)[0, 0, 5])
    assert fish[0] == pytest.approx(2 * fish[1], abs=2) and fish[1] > 10


# --- the search


@pytest.fixture(scope="module")
def found():
    scenario = pond(members=3, years=2, extra='[[goals]]\nkind = "pounds_harvested"\n[costs]\nper_hour = 10\n')
    asked = ask(scenario, windows=[(203.2, 304.8)], from_year=1)
    told = []
    result = search(scenario, asked, search_members=2, tries=4, progress=lambda done, of: told.append((done, of)))
    return result, told


def test_what_is_found_is_confirmed_on_members_that_the_search_never_saw(monkeypatch):
    seen = []

    def run_job(job: Job):
        seen.extend([(job.first, job.members)] * len(job.variants))
        return [
            readings(one._replace(ensemble=one.ensemble._replace(members=job.members)))["few"] for one, _ in job.variants
        ]

    monkeypatch.setattr("pondpop.ensemble.run.run_job", run_job)
    scenario = pond(members=5, years=2)
    result = search(scenario, ask(scenario, from_year=1), search_members=2, tries=6)
    first = seen.index((FRESH, 5))
    assert set(seen[:first]) == {(0, 2)} and set(seen[first:]) == {(FRESH, 5)}
    assert not result.met
    assert "No quota that was tried meets them all" in quota_text(result)


def test_pasts_of_the_search_are_none_of_those_that_confirm(monkeypatch):
    drawn = []

    def run_job(job: Job):
        dealt = job.source.past["a"][np.arange(job.first, job.first + job.members) % job.source.members, 0]
        drawn.append((job.first, dealt))
        return [readings(one._replace(ensemble=one.ensemble._replace(members=job.members)))["few"] for one, _ in job.variants]

    monkeypatch.setattr("pondpop.ensemble.run.run_job", run_job)
    learned = Posterior({"a": np.linspace(0.0, 1.0, 7)[:, None]}, dt.date(2026, 5, 1), "", {})
    scenario = pond(members=12, years=2)
    result = search(scenario, ask(scenario, from_year=1), search_members=4, tries=0, source=learned)
    searched, confirmed = (
        {float(z) for first, dealt in drawn if (first >= FRESH) == fresh for z in dealt} for fresh in (False, True)
    )
    assert len(searched) == 3 and len(confirmed) == 4 and not searched & confirmed
    assert result.best.members == 12 and result.best.independent == 4
    with pytest.raises(InputError, match="an ensemble of 1 member"):
        Posterior({"a": np.zeros((1, 1))}, dt.date(2026, 5, 1), "", {}).parted(3)


def test_what_is_offered_is_the_best_of_all_that_was_confirmed(monkeypatch):
    """A pond of which the search sees other things than the fresh members: more is better there, less is better here."""

    def run_job(job: Job):
        made = []
        for one, _ in job.variants:
            read = readings(one._replace(ensemble=one.ensemble._replace(members=job.members)))["few"]
            amount = next(rule.kg_per_ha for rule in one.strategies["few"].harvest if rule.name == "quota_1_2")
            far = amount if job.first >= FRESH else 60.0 - amount
            read["number"][..., 0, 9], read["number"][..., 1, 4], read["number"][..., 1, 7] = 50.0, 60.0, 40.0
            read["number"][..., 0, 13] = np.where(np.arange(job.members) < 0.7 * job.members - far / 12.0, 50.0, 0.0)[:, None]
            made.append(read)
        return made

    monkeypatch.setattr("pondpop.ensemble.run.run_job", run_job)
    scenario = pond(members=20, years=2)
    result = search(scenario, ask(scenario, windows=[(203.2, 304.8)], from_year=1), search_members=20, tries=0)
    assert result.best.amounts[0, 1] == 0.0
    every = [result.best, *result.others.values()]
    assert max(trial.all_at_once for trial in every) == result.best.all_at_once > min(trial.all_at_once for trial in every)
    assert result.binding is not None and result.binding.limit.name == "bass PSD 40–70"
    text = quota_text(result)
    assert "Of what was tried taking nothing comes nearest, as far as 20 futures can tell." in text
    assert "What taking nothing does" in text and "half and double" not in text
    assert "What binds is bass PSD 40–70. Without it" in text


def test_the_search_tries_the_scan_and_some_more(found):
    result, told = found
    assert len(result.scan) == len(quota.SCAN)
    assert len(quota.SCAN) < result.tried <= len(quota.SCAN) + 4
    assert told[-1][0] <= told[-1][1]
    assert [done for done, _ in told] == sorted(done for done, _ in told)


def test_more_asked_is_never_less_taken(found):
    result, _ = found
    taken = [np.median(t.taken.sum(axis=1)) for t in sorted(result.scan, key=lambda t: t.asked.sum())]
    assert taken == sorted(taken)
    assert taken[0] == 0.0 < taken[1]


def test_half_and_double_are_what_they_say(found):
    result, _ = found
    unit = quota.KG_PER_HA_IN_LB_PER_ACRE
    np.testing.assert_allclose(result.others["half"].amounts, 0.5 * result.best.amounts, atol=0.5001 * unit)
    most = quota.MOST_KG_PER_HA
    double = result.others.get("double", result.best).amounts  # of a quota at the most there is no double
    np.testing.assert_allclose(double, np.minimum(2.0 * result.best.amounts, most))
    assert (result.others["no harvest"].amounts == 0).all() and result.best.amounts.any()
    assert result.best.taken.shape[0] == 3


def test_windows_may_touch():
    assert ask(pond(years=3), windows=[(304.8, 381.0), (203.2, 304.8)]).windows[0] == (304.8, 381.0)


def test_an_altered_scenario_is_refused():
    scenario = pond(years=3)
    with pytest.raises(InputError, match=r"pond\.area_ha: got -3"):
        ask(scenario._replace(pond=scenario.pond._replace(area_ha=-3.0)))


@pytest.mark.parametrize("members", [20, 100, 400])
def test_a_quota_that_misses_its_probability_is_hardly_ever_said_to_meet_it(members):
    rng = np.random.default_rng(1)
    shares = rng.binomial(members, 0.6, 4000) / members  # the truth is the least that was asked for
    said = np.mean([quota.at_least(share, members) >= 0.6 for share in shares])
    assert 0.02 < said <= 0.105
    assert quota.at_least(1.0, members) > 0.85 and quota.at_least(0.0, members) == 0.0


def test_a_quota_that_so_few_members_cannot_confirm_is_not_met():
    found, asked, _ = trial()
    assert found.meets(0.8) and not found.surely_meets(0.8)  # all four of four: 56 % at least
    text = quota_text(quota.Found(asked, found, dict.fromkeys(("no harvest", "half", "double"), found), None, [found], 1,
                                  pond(members=4, years=3)))  # fmt: skip
    assert "so few futures are sure of 56 % only" in text and "This one meets" not in text


def test_whether_it_is_met_follows_from_the_fresh_members(found):
    result, _ = found
    assert result.met == result.best.surely_meets(result.question.probability)
    text = quota_text(result)
    assert not result.best.limits and "the goals set no limits" in text and result.met
    assert "state agency" in text
    lines = list(csv.reader(io.StringIO(quota_csv(result))))
    assert len(lines) == 2 + len(result.others) + len(quota.SCAN)
    assert all(re.fullmatch("[a-z0-9_]+", head) for head in lines[0]) and len({len(line) for line in lines}) == 1
    assert len(set(lines[0])) == len(lines[0])
    months = list(csv.DictReader(io.StringIO(months_csv(result))))
    fish = whole_fish(result.best, result.question, result.scenario)
    assert sum(int(row["fish"]) for row in months) == fish.sum() > 0


def test_the_same_question_has_the_same_answer(monkeypatch):
    """The search itself; that ponds of the same luck are the same to the bit is a law of the ensemble."""
    monkeypatch.setattr("pondpop.ensemble.run.run_job", twenty_at_most)
    one, again = searched_there(4), searched_there(4)
    np.testing.assert_array_equal(again.best.amounts, one.best.amounts)
    assert quota_text(again) == quota_text(one) and quota_csv(again) == quota_csv(one)


def told(**changes) -> str:
    """The answer, where the quota that was found is a trial made by hand."""
    best, asked, _ = trial(**changes)
    others = {name: best for name in ("no harvest", "half", "double")}
    return quota_text(quota.Found(asked, best, others, None, [best], 1, pond(members=4, years=3)))


def test_the_answer_says_first_what_is_not_caught():
    def all_of_it(one):  # 10, 10, 25 and 25 kg/ha, of the last year's season what lies within the run
        one["harvest_biomass"][:, [0, 9, 21, 33], 0] = [10.0, 10.0, 25.0, 25.0]

    assert "the amounts are ceilings" not in told(fill=all_of_it)
    assert "Take each year" in told(fill=all_of_it) and "Take each year" not in told()
    lead = told().partition("Ceilings, of which not all is caught; each year")[0]
    assert "Not all of it is caught: of 42 lb/acre that it asks for over the run, 0." in lead
    assert "Advised is what is caught, 0" in lead
    missed = told(fill=lambda one: one["number"].__setitem__((slice(None), slice(None), 0, 9), 500.0))
    assert "not advice" in missed and "That is 0" in missed and "Advised is" not in missed


def test_no_amount_is_not_held_against_thinning_of_crowded_bass():
    weak = "Where a survey finds bass crowded this does not overrule what agencies advise"
    assert weak in told(amounts=((0.0, 0.0), (0.0, 0.0)))
    assert weak in told(fill=lambda one: one["number"].__setitem__((slice(None), slice(None), 0, 9), 500.0))
    assert weak not in told()


def test_of_a_quota_that_is_not_caught_a_smaller_one_that_does_as_well_is_advised():
    def caught(share):
        def fill(one):  # of 10, 10, 25 and 25 kg/ha
            one["harvest_biomass"][:, [0, 9, 21, 33], 0] = share * np.array([10.0, 10.0, 25.0, 25.0])

        return fill

    best, half = trial(fill=caught(0.4))[0], ((5.0, 10.0), (0.0, 2.5))
    small = trial(half, fill=caught(0.5))[0]
    assert not best.caught and small.caught
    assert quota.as_good(best, [best, small, trial(half, fill=caught(0.2))[0]], 0.8) == [small]  # the third is not caught either
    assert quota.as_good(small, [best], 0.8) == []  # it asks for more

    def crowded(one):
        caught(0.5)(one)
        one["number"][..., 0, 9] = 500.0

    assert quota.as_good(best, [trial(half, fill=crowded)[0]], 0.8) == []  # out of the limits


def test_the_advice_on_harvest_is_one_sentence():
    def advice(**changes):
        best, asked, _ = trial(**changes)
        return quota_advice(quota.Found(asked, best, {}, None, [best], 1, pond(members=4, years=3)))

    told = advice()
    assert told.startswith("Take what is caught, 0") and told.endswith(", which are not reached.")
    assert "8.92 lb/acre a year in 2026–2027 and 17.8 lb/acre a year in 2028–2029 of bass of 8–12 in; 0 lb" in told

    def all_of_it(one):
        one["harvest_biomass"][:, [0, 9, 21, 33], 0] = [10.0, 10.0, 10.0, 10.0]

    told = advice(amounts=((10.0, 10.0), (0.0, 0.0)), fill=all_of_it)
    assert told == "Take 8.92 lb/acre a year of bass of 8–12 in."
    assert advice(amounts=((0.0, 0.0), (0.0, 0.0))) == "Take no bass: no harvest that was tried serves the goals better."
    assert advice(fill=lambda one: one["number"].__setitem__((slice(None), slice(None), 0, 9), 500.0)) == ""


def test_the_answer_fits_a_terminal(found):
    result, _ = found
    text = quota_answer(result)
    assert text.count("\n") <= 21 and max(map(len, text.splitlines())) <= 80, text
    assert "each year, 1 Mar to 31 Oct" in text and "state agency" in text
    best, asked, _ = trial(extra=PANFISH + BIG, wr_floor=90.0)  # nothing is met, much is to be said
    others = dict.fromkeys(("no harvest", "half", "double"), best)
    binding = quota.Binding(best.limits[0], best, (10.0, 70.0))
    text = quota_answer(quota.Found(asked, best, others, binding, [best], 1, pond(members=4, years=3, extra=PANFISH + BIG)))
    assert text.count("\n") <= 21 and max(map(len, text.splitlines())) <= 80, text
    assert "What binds is bass PSD 20–40" in text and "\n  quota" in text
    assert "The nearest tried, not advice; each year, " in text and "Take each year" not in text


def test_a_screen_of_a_quota_is_filled_with_sentences_but_keeps_two_rows_and_room_for_what_the_command_says(monkeypatch):
    best, asked, _ = trial(extra=PANFISH + BIG, wr_floor=90.0)
    others = dict.fromkeys(("no harvest", "half", "double"), best)
    result = quota.Found(asked, best, others, quota.Binding(best.limits[0], best, (10.0, 70.0)), [best], 1,
                         pond(members=4, years=3, extra=PANFISH + BIG))  # fmt: skip
    left, rows = [], []
    for high in range(18, 40):
        monkeypatch.setattr(quota_phrases, "HIGH", high)
        lines = quota_answer(result).splitlines()
        left.append(high - len(lines))
        rows.append(sum(line.startswith(("  quota", "  no harvest", "  double", "  half")) for line in lines))
    full = left.count(3)  # from where on all is told
    assert left == [3] * full + list(range(4, 4 + 22 - full)) and full > 10
    assert set(rows) == {2, 3, 4} and rows[full - 1 :] == [4] * (23 - full)


@pytest.mark.parametrize(("letters", "kept"), [(38, True), (39, False)])
def test_columns_are_left_out_of_the_table_until_it_is_narrower_than_a_terminal(monkeypatch, letters, kept):
    """Two blanks before each column, and five letters and thirty before the last one: 41 and so many more."""
    rows = [["", "x" * 30, "y" * letters], ["quota", "1", "2"]]
    for name, given in (("_lead", []), ("_amounts", quota_phrases.Passage("Amounts:")), ("_trade_off_rows", rows)):
        monkeypatch.setattr(quota_phrases, name, lambda found, given=given: given)
    head = quota_answer(None).splitlines()[2]
    assert ("y" in head) == kept and "x" * 30 in head and len(head) == (79 if kept else 39)


def test_a_schedule_is_the_mean_of_all_years_of_the_last_period_and_of_no_other():
    def fill(one):  # each January from 2027 on; the last period is of 2028 and 2029
        one["harvest_biomass"][:, [9, 21, 33], 0] = [99.0, 16.0, 8.0]

    best, asked, made = trial(fill=fill)
    made = made._replace(units="metric")
    (january,) = quota_phrases._schedule(quota.Found(asked, best, {}, None, [best], 1, made)).rows[1:]
    assert january[:2] == ["Jan", "12"]


@pytest.mark.parametrize(("fish", "suffice"), [(40.0, 100), (40.1, 0)])
def test_as_many_hours_as_are_fished_suffice(fish, suffice):
    """Two an hour, of which half are kept: an hour for each fish."""
    def fill(one):
        one["harvest_number"][:, 2, 0], one["catch_rate"][..., 0] = fish, 2.0

    fished = "[[strategies.few.angling]]\nname = 'sport'\nhours_per_ha = 40\n"
    best, asked, made = trial(fill=fill, extra=fished)
    rows = quota_phrases._catching(quota.Found(asked, best, {}, None, [best], 1, made)).rows
    assert rows[1][1].endswith(f"(the 32.4 hours fished suffice: {suffice} %)")


def test_a_schedule_tells_months_hours_and_chances():
    scenario = pond(members=4, years=3)

    def fill(one):  # June to September 2028, the third calendar year
        one["harvest_biomass"][..., 26:30, 0] = 2.0
        one["harvest_number"][..., 26:30, 0] = 4.0
        one["catch_rate"][..., 0] = 2.0

    best, asked, made = trial(fill=fill)
    others = {name: best for name in ("no harvest", "half", "double")}
    text = quota_text(quota.Found(asked, best, others, None, [best], 1, scenario))
    assert "each year, 1 Mar to 31 Oct" in text
    caught = text.partition("Caught by month")[2]
    jun = next(line.split() for line in caught.splitlines() if line.strip().startswith("Jun"))
    fish = 4.0 * made.pond.area_ha / 2  # mean of two Junes, one of them within the run and with a harvest
    assert [float(cell) for cell in jun[1:4]] == pytest.approx([1.8, 2 * fish, 2 * fish / (2 * 0.5)], rel=0.02)
    assert "probability that 90 % is caught" in text


def test_the_command_writes_its_files_and_ends_well_without_a_quota(tmp_path, capsys):
    file = tmp_path / "pond.toml"
    file.write_text(TEXT)
    out = tmp_path / "out"
    given = ["quota", str(file), "--from-year", "1", "--window-in", "8..12", "--wr-floor", "130", "--members", "2"]
    given += ["--search-members", "1", "--tries", "2", "--out", str(out)]
    assert cli.main(given) == 0
    said = capsys.readouterr().out
    assert "No quota that was tried meets them" in said and said.count("\n") <= 24
    assert {p.name for p in out.iterdir()} >= {"quota.txt", "quota.csv", "quota_by_month.csv", "scenario.resolved.toml"}
    assert "quota_1_1" in (out / "scenario.resolved.toml").read_text("utf-8")


# --- tables and sentences of a quota worked out by hand

PRICED = "[[goals]]\nkind='balanced'\n[[goals]]\nkind='bass_above'\nabove_lb=5\n[costs]\nper_hour=10\n"


def partly_caught(one):
    """Of 10, 10, 25 and 25 kg/ha nothing, 8, 16 and 16 in January to October; bass of 200 g, two an hour and one in two."""
    months = [3, 9, 21, 33]
    one["harvest_biomass"][:, months, 0], one["harvest_number"][:, months, 0] = [0.0, 8.0, 16.0, 16.0], [0.0, 40.0, 80.0, 80.0]
    one["catch_rate"][..., 0], one["catch_rate"][..., 1] = 2.0, 0.5


@pytest.fixture(scope="module")
def answered():
    best, asked, made = trial(fill=partly_caught, extra=PRICED)
    none = trial(amounts=((0.0, 0.0), (0.0, 0.0)), extra=PRICED)[0]
    half = trial(amounts=((5.0, 10.0), (0.0, 2.5)), fill=partly_caught, extra=PRICED)[0]
    others = {"no harvest": none, "half": half, "double": best}
    return quota.Found(asked, best, others, None, [none, best], 7, made)


def test_amounts_that_were_asked_for_besides_stand_in_the_table_too(answered):
    def rows(found):
        return next(part.rows for part in quota_phrases.quota_passages(found) if part.words.startswith("What it does"))

    asked_for = replace(answered, others=answered.others | {"asked": answered.others["half"]})
    assert len(rows(asked_for)) == len(rows(answered)) + 1 and rows(asked_for)[-1][1:] == rows(answered)[3][1:]


def test_a_quota_is_told_with_its_limits_and_how_often_they_hold(answered):
    text = quota_text(answered)
    assert text.startswith(
        "Quota for “few”: by the goals, bass PSD 40–70, bluegill PSD 20–60 and at least one bass above 5 lb, each with a "
        "probability "
        "of 80 %, over the twelve months to 2028-09-15; of what keeps that, what serves the goals best.\n"
        "No quota that was tried meets them all. The nearest of them, in 4 futures that the search had not seen: bass PSD 40–70 "
        "100 %, bluegill PSD 20–60 100 %, at least one bass above 5 lb 0 %, all at once 0 %.\n"
    )
    assert "(being near the balanced ranges: no difference; bass above 5 lb (2.27 kg): no difference)." in text
    # 0.873 · 10 + 10 + 25 + 0.127 · 25 kg/ha are 42 lb/acre, 0 + 8 + 16 + 3.2 of them are caught: 24
    assert (
        "Not all of it is caught: of 42 lb/acre that it asks for over the run, 24.2. That is 8.9 lb/acre of bass a year "
        "in all; the "
        "amounts are ceilings."
    ) in text


def test_of_several_limits_it_is_said_how_often_each_and_all_hold(answered):
    told = quota_phrases._met(replace(answered, best=with_chances(0.9, 0.82)))
    assert "limit 0 from 0 90 %, limit 1 from 0 82 %, all at once 82 %." in told


def test_amounts_stand_with_whole_fish_by_window_and_period(answered):
    """Bass of 400 g in a pond of 0.81 ha: 20 a year of 10 kg/ha, 17.7 of the season from April on, and 5 of March 2029."""
    lines = quota_text(answered).splitlines()
    k = lines.index("The nearest tried, not advice; each year, 1 Mar to 31 Oct:")
    assert lines[k + 1 : k + 5] == [
        "  bass of                     2026–2027                   2028–2029",
        "  8–12 in   8.92 lb/acre, 18 to 20 fish  17.8 lb/acre, 5 to 40 fish",
        "  15–25 in            0 lb/acre, 0 fish        4.46 lb/acre, 0 fish",
        "Fish are those of the whole pond, in each year, at their mean weight then.",
    ]
    k = lines.index("Whole fish of 8–12 in to take from the pond, by month:")
    assert lines[k + 1].split() == ["2026", "2027", "2028", "2029"]
    table = {line.split()[0]: [int(n) for n in line.split()[1:]] for line in lines[k + 2 : k + 11]}
    assert list(table) == ["Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "year"]
    assert table["year"] == [18, 20, 40, 5] and table["Mar"][0] == 0 and table["Mar"][3] == 5
    assert [sum(table[month][year] for month in table if month != "year") for year in range(4)] == table["year"]
    assert not any("15–25 in to take" in line for line in lines)  # of which there are none


def test_whole_fish_are_those_of_the_weight_at_the_nearest_survey():
    """Surveys on 20 April, 15 June and 15 September; bass of 400 g, of 800 from the autumn of 2027, none in that of 2028."""
    def grown(one):
        one["biomass"][:, 5:, 0, 9] = 40.0
        one["number"][:, 8, 0, 9] = one["biomass"][:, 8, 0, 9] = 0.0

    best, asked, made = trial(amounts=((10.0, 20.0), (0.0, 0.0)), fill=grown)
    kept, weighed = 6 * 50.0 + 2 * 50.0, 5 * 20.0 + 3 * 40.0  # of the other eight surveys
    days = np.array([0, 0, 31, 30, 31, 30, 31, 31, 30, 31, 0, 0]) / 245
    kg = made.pond.area_ha * np.array([10.0, 20.0])
    per_kg = np.full((2, 12), 1 / 0.4)
    per_kg[0, 7:] = per_kg[1, :7] = 1 / 0.8  # from mid-August on it is September that is nearer
    per_kg[1, 7:] = kept / weighed
    for year in (0, 1):
        wanted = np.diff(np.round(np.cumsum(kg[year] * days * per_kg[year])), prepend=0)
        assert quota.whole_fish(best, asked, made)[0, 1 + year].tolist() == wanted.tolist()


def test_headings_say_which_weight_is_of_a_year_and_which_of_all_years():
    best, asked, _ = trial(extra="[[goals]]\nkind = 'pounds_harvested'\n")
    found = quota.Found(asked, best, {}, None, [best], 1, pond(members=4, years=3))
    assert "caught a year, lb/acre  harvest in all, lb/acre" in quota_text(found)
    assert "caught_lb_per_acre_a_year,goal_harvest_in_all_lb_acre," in quota_csv(found)


def test_effects_of_amounts_stand_side_by_side(answered):
    lines = quota_text(answered).splitlines()
    k = next(k for k, line in enumerate(lines) if line.startswith("What it does, and half and double of it (4 futures"))
    assert [line.split()[:4] for line in lines[k + 2 : k + 6]] == [
        ["no", "harvest", "0", "0"], ["half", "8.9", "0", "0"], ["quota", "8.9", "0", "0"], ["double", "8.9", "0", "0"],
    ]  # fmt: skip
    # balanced: PSD-P of bass is 10 points off and that of bluegill 5, of five indices; F/C 80 over 20
    assert lines[k + 4].split()[4:] == ["3", "50", "40", "95", "4", "100", "100", "0"]
    heads = ["caught", "a", "year,", "lb/acre", "all", "limits,", "%", "bass", "over", "5", "lb", "points", "off", "balanced"]
    assert lines[k + 1].split()[:14] == heads
    k = next(k for k, line in enumerate(lines) if line.startswith("The scan (4 futures of the search; amounts in lb/acre"))
    assert [line.split()[:4] for line in lines[k + 2 : k + 4]] == [["0", "+", "0", "0"], ["8.9", "+", "0", "8.9"]]


def test_what_is_caught_is_told_by_month_and_year(answered):
    """In January of 2028 and 2029 16 kg/ha and 80 fish/ha; 2 an hour, of which half are under 12 in: one that is kept."""
    lines = quota_text(answered).splitlines()
    k = next(k for k, line in enumerate(lines) if line.startswith("Caught by month, mean of 2028–2029"))
    assert lines[k + 2].split() == ["Jan", "14.3", "64.7", "129", "2", "0.5"]
    k = lines.index("Whether it can be caught at all:")
    assert [line.split() for line in lines[k + 2 : k + 6]] == [
        ["2026", "0", "0", "%"], ["2027", "64.7", "0", "%"], ["2028", "129", "0", "%"], ["2029", "129", "100", "%"],
    ]  # fmt: skip


def test_tables_of_data_hold_every_set_of_amounts_and_every_month(answered):
    rows = list(csv.DictReader(io.StringIO(quota_csv(answered))))
    assert [row["what"] for row in rows] == ["quota", "no harvest", "half", "double", "scan 1", "scan 2"]
    name = "bass_8_12_in_years_1_to_2_lb_per_acre"
    assert [float(row[name]) for row in rows] == pytest.approx([8.9218, 0, 4.4609, 8.9218, 0, 8.9218], rel=1e-4)
    assert float(rows[0]["caught_lb_per_acre_a_year"]) == pytest.approx((0 + 8 + 16 + 16) / 4 * 0.89218, rel=1e-4)
    assert (rows[0]["all_limits_percent"], rows[0]["goal_points_off_balanced"], rows[0]["forage_carnivore_ratio"]) == (
        "0.0", "3.0", "4.0",
    )  # fmt: skip
    months = list(csv.DictReader(io.StringIO(months_csv(answered))))
    assert len(months) == 2 * 4 * 8 and {row["year"] for row in months} == {"2026", "2027", "2028", "2029"}
    assert {(row["length_from_in"], row["length_to_in"]) for row in months} == {("8", "12"), ("15", "25")}
    assert sorted({int(row["month"]) for row in months}) == list(range(3, 11))


@pytest.mark.parametrize(
    ("season", "months"),
    [(((3, 1), (10, 31)), list(range(2, 10))), (((1, 1), (12, 31)), list(range(12))), (((5, 15), (5, 20)), [4])],
)
def test_months_of_a_season_are_those_it_holds_a_day_of(season, months):
    from pondpop.decide.quota_phrases import _months

    assert _months(question(season=season)) == months


@pytest.mark.parametrize(("difference", "told"), [
    (0.04, "worth as much by the goals as the quota below"), (-0.049, "worth as much by the goals as the quota below"),
    (0.05, "worth more than the quota below, by 0.05 times the least difference that matters"),
    (-1.26, "worth less than the quota below, by 1.3 times the least difference that matters"),
])  # fmt: skip
def test_a_difference_of_worth_is_told_in_what_matters(difference, told):
    from pondpop.decide.quota_phrases import _worth

    assert _worth(difference) == told


def test_a_quota_takes_over_where_the_rules_before_it_end():
    """A rule for bass from the first year on goes on until the quota begins."""
    scenario = pond(years=4, extra=RULES)
    made = with_quota(scenario, question(periods=((3, 4), (5, 5))), np.ones((2, 2)))
    rules = {rule.name: rule for rule in made.strategies["few"].harvest}
    assert (rules["old_rule"].from_year, rules["old_rule"].to_year) == (1, 2)
    assert {name: (rule.from_year, rule.to_year) for name, rule in rules.items() if name.startswith("quota_1")} == {
        "quota_1_1": (3, 4), "quota_1_2": (5, 5)
    }  # fmt: skip
    assert made.what_if == ()


@pytest.mark.parametrize(("begins", "left"), [(2, [(2, 2)]), (3, [])])
def test_a_rule_that_begins_in_the_year_before_the_quota_holds_in_it(begins, left):
    scenario = pond(years=4, extra=RULES.replace("lb_per_acre = 50", f"lb_per_acre = 50\nfrom_year = {begins}"))
    made = with_quota(scenario, question(periods=((3, 4), (5, 5))), np.ones((2, 2)))
    assert [(rule.from_year, rule.to_year) for rule in made.strategies["few"].harvest if rule.name == "old_rule"] == left


def test_whole_amounts_are_asked_for_in_either_unit():
    assert quota._rounded(np.array([1.0, 5.5, 16.0]), "us") / quota.KG_PER_HA_IN_LB_PER_ACRE == pytest.approx([1, 5, 14])
    assert quota._rounded(np.array([1.4, 5.5, 16.6]), "metric").tolist() == [1.0, 6.0, 17.0]


@pytest.mark.parametrize(("share", "members", "least"), [(1.0, 10, 0.1 ** (1 / 10)), (1.0, 44, 0.1 ** (1 / 44)), (0.0, 10, 0.0)])
def test_what_shows_in_every_member_is_at_least_so_probable(share, members, least):
    """Of n of n the lower end is the root of one in ten."""
    assert quota.at_least(share, members) == pytest.approx(least)


def test_of_one_future_alone_the_best_is_taken_as_it_is():
    one, two = with_chances(0.3), with_chances(0.2, worth=5.0)
    alone = [replace(each, independent=1) for each in (one, two)]
    assert quota.best_of(alone, 0.8) is alone[1]
    assert one.at_the_most is False and replace(one, amounts=np.array([[99.5]])).at_the_most
    assert not replace(one, amounts=np.array([[99.4]])).at_the_most


def test_what_is_as_good_is_caught_and_asks_for_less_and_keeps_the_limits():
    best = replace(with_chances(0.9), asked=np.full(3, 30.0), taken=np.full((100, 3), 10.0))
    other = replace(with_chances(0.9), asked=np.full(3, 10.0), taken=np.full((100, 3), 10.0))
    assert quota.as_good(best, [other], 0.8) == [other]
    assert quota.as_good(best, [replace(other, asked=np.full(3, 30.0), taken=np.full((100, 3), 30.0))], 0.8) == []
    assert quota.as_good(best, [replace(other, taken=np.full((100, 3), 5.0))], 0.8) == []
    assert quota.as_good(best, [replace(other, limits=with_chances(0.5).limits)], 0.8) == []
    worse = replace(other, scores=with_chances(0.9, worth=-9.0).scores)
    assert quota.as_good(best, [worse], 0.8) == []
    assert quota.keeps_as_well(with_chances(0.5), with_chances(0.5), 0.8) and not quota.keeps_as_well(
        with_chances(0.4), with_chances(0.5), 0.8
    )


def test_the_last_year_stands_apart_also_in_the_shortest_run():
    assert ask(pond(years=1), from_year=1).periods == ((1, 1), (2, 2))
    assert [ask(pond(years=2), from_year=first).periods for first in (1, 2)] == [((1, 2), (3, 3)), ((2, 2), (3, 3))]
    with pytest.raises(InputError, match="a year of the run from 1 to 1"):
        ask(pond(years=1), from_year=2)


def test_harvest_begins_after_the_last_of_several_stockings():
    several = raw(years=5)
    (one,) = several["strategies"]["few"]["stocking"]
    several["strategies"]["few"]["stocking"] = [one, one | {"name": "later", "date": one["date"].replace(year=2027)}]
    assert ask(resolve(several)).periods[0][0] == 3
