"""What surveys tell of a pond: limits against known laws, and how often they hold the truth."""

import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pondpop.checks import InputError
from pondpop.observe.gears import WR_BETWEEN_FISH, WR_BETWEEN_OUTINGS
from pondpop.observe.limits import (
    CV_DOUBT,
    LEAST_CV,
    Mean,
    effective_fish,
    fish_for,
    mean_differs,
    mean_wr,
    rate_limits,
    share_differs,
    share_of,
)

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))
import survey_coverage

counted = st.integers(1, 300).flatmap(lambda total: st.tuples(st.integers(0, total), st.just(total)))


@given(counted)
def test_fish_taken_one_by_one_have_the_limits_of_jeffreys(sample):
    count, total = sample
    low, high = share_of(count, total, 1e12).limits(0.9)
    known = stats.beta.ppf([0.05, 0.95], count + 0.5, total - count + 0.5)
    assert low == pytest.approx(known[0] if count else 0.0, abs=3e-4)
    assert high == pytest.approx(known[1] if count < total else 1.0, abs=3e-4)


@given(counted, st.floats(1, 1e4), st.floats(0.05, 0.95))
def test_a_share_and_its_complement_mirror_one_another(sample, strength, bound):
    count, total = sample
    one, other = share_of(count, total, strength), share_of(total - count, total, strength)
    assert one.below(bound) == pytest.approx(1 - other.below(1 - bound), abs=1e-9)
    assert one.limits()[0] == pytest.approx(1 - other.limits()[1], abs=1e-9)


def test_no_number_of_fish_of_one_outing_tells_more_than_its_independent_ones():
    width = {n: np.diff(share_of(n // 2, n, 60).limits())[0] for n in (50, 500, 50_000, 5_000_000)}
    assert width[50] > width[500] > width[50_000] > width[5_000_000] > 0.99 * width[50_000]
    assert width[5_000_000] == pytest.approx(2 * 1.96 * (0.25 / 61) ** 0.5, rel=0.03)
    assert effective_fish([5_000_000], [60]) == pytest.approx(61, rel=1e-4)
    two = np.diff(share_of([50, 50], [100, 100], 60).limits())[0]
    assert two < 0.85 * np.diff(share_of([100], [200], 60).limits())[0]  # the same fish of two outings tell more
    assert fish_for(0.5, 0.1) == pytest.approx(96.04, abs=0.01)


def test_outings_teach_how_alike_their_fish_are():
    apart, alike = share_of([20, 0, 19, 1], [20] * 4, 10, 1.0), share_of([10, 10, 9, 11], [20] * 4, 10, 1.0)
    assert np.diff(apart.limits())[0] > 1.5 * np.diff(alike.limits())[0]


def test_a_difference_of_shares_by_hand():
    known = share_of(500, 1000, 1e12), share_of(460, 1000, 1e12)
    z = 0.04 / (0.5**2 / 1000 + 0.46 * 0.54 / 1000) ** 0.5
    assert share_differs(*known) == pytest.approx(2 * stats.norm.sf(z), abs=0.004)
    assert share_differs(share_of(50, 100, 60), share_of(50, 100, 60)) == pytest.approx(1.0, abs=1e-6)
    assert share_differs(*(share_of(x, 100, 60) for x in (20, 60))) > share_differs(*(share_of(x, 100, 1e9) for x in (20, 60)))


def test_one_outing_has_wide_limits_and_many_those_of_their_own_scatter():
    (low, high), (few, many) = rate_limits([40.0], [2.0], 0.35), rate_limits([40.0] * 30, [2.0] * 30, 0.35)
    assert low < 20 / 2 and high > 20 * 3
    assert 17 < few < 20 < many < 24
    one = stats.gamma.ppf([0.975, 0.025], LEAST_CV**-2, scale=LEAST_CV**2)  # the rate is the catch over such a factor
    assert (low, high) == pytest.approx(tuple(20 / one), rel=0.6) and high > 20 / one[1]
    assert rate_limits([0.0, 0.0], [1.0, 1.0], 0.35)[0] == 0.0
    assert np.isfinite(rate_limits([0.0], [0.1], 0.6)).all()


def test_a_mean_wr_by_hand():
    values, days = np.array([80.0, 90.0, 100.0]), ["a", "a", "b"]
    mean = mean_wr(values, days)
    spread = (10 * WR_BETWEEN_FISH**2 + 200) / 12
    assert mean.value == 90 and mean.variance == pytest.approx(spread / 3 + WR_BETWEEN_OUTINGS**2 * 5 / 9)
    low, high = mean_wr(np.array([12.0]), ["a"]).limits()
    assert low == 0.0 and high > 12  # of what cannot be below 0, no limit is
    assert mean_differs(mean, mean) == 1.0
    assert mean_differs(mean_wr(np.full(99, 90.0), ["a"] * 99), mean_wr(np.full(99, 80.0), ["b"] * 99)) < 0.01


def test_no_spread_at_all_is_no_certainty():
    one, other = mean_wr(np.full(5, 90.0), ["a"] * 5), mean_wr(np.full(5, 92.0), ["b"] * 5)
    assert np.diff(one.limits())[0] > 8 and mean_differs(one, other) > 0.3


@pytest.mark.parametrize(("fish", "outings"), [(50, 2), (200, 1)])
def test_limits_hold_the_truth_and_tests_alarm_as_often_as_they_say(fish, outings):
    """80 surveys; `benchmarks/survey_coverage.py` measures 400 of each kind. Five standard errors are allowed."""
    for name, seen in survey_coverage.of_surveys(80, fish, outings, seed=7).items():
        wanted = 0.05 if name.startswith("alarm") else 0.95
        error = 5 * (0.95 * 0.05 / min(len(seen), 240)) ** 0.5  # figures of one survey are not independent
        assert np.mean(seen) == pytest.approx(wanted, abs=error), name
        assert name.startswith("alarm") or np.mean(seen) > 0.9, name


@pytest.mark.parametrize(("cv", "outings"), [(0.3, 1), (0.6, 1), (0.6, 2), (0.6, 5)])
def test_limits_of_catch_per_hour_hold_at_any_number_of_outings(cv, outings):
    assert survey_coverage.of_rates(200, cv, outings, seed=7) > 0.89  # 92 % less two standard errors


@pytest.mark.parametrize("habit", [1.5, 6])
def test_limits_of_the_share_kept_hold_where_anglers_keep_by_habit(habit):
    assert survey_coverage.of_kept(80, habit, 20, seed=7) > 0.87  # 95 % less three standard errors


def test_counts_that_cannot_be():
    for count, total, strength in ((11, 10, 60), (-1, 10, 60), (1, 10, 0)):
        with pytest.raises(InputError, match="counts from 0"):
            share_of(count, total, strength)
    with pytest.raises(InputError, match="above 0 and below 1"):
        share_of(1, 10, 60).limits(95)


def test_a_bound_itself_is_refused_or_allowed_as_the_words_say():
    """A count may be none or all of its total; a concentration and a confidence lie above 0, a confidence below 1."""
    for count in (0, 10):
        assert share_of(count, 10, 60).probability.sum() == pytest.approx(1.0)
    for count, total, strength in (([3, 11], 10, 60), ([3, -1], 10, 60), (1, 10, [5, 0]), (1, np.inf, 60), (np.nan, 10, 60)):
        with pytest.raises(InputError, match="counts from 0"):
            share_of(count, total, strength)
    for told in (
        share_of(1, 10, 60).limits, Mean(90.0, 4.0, 9.0).limits,
        lambda confidence: rate_limits([4.0], [1.0], 0.6, confidence), lambda confidence: fish_for(0.5, 0.1, confidence),
    ):  # fmt: skip
        for confidence in (-0.1, 0.0, 1.0, 1.1):
            with pytest.raises(InputError, match="above 0 and below 1"):
                told(confidence)
        assert np.all(np.isfinite(told(0.999)))


def test_limits_are_those_of_95_percent_unless_another_share_is_asked_for():
    share, mean = share_of(4, 10, 60), Mean(90.0, 4.0, 9.0)
    assert share.limits() == share.limits(0.95) and mean.limits() == mean.limits(0.95)
    assert rate_limits([4.0], [1.0], 0.6) == rate_limits([4.0], [1.0], 0.6, 0.95)
    assert fish_for(0.5, 0.1) == fish_for(0.5, 0.1, 0.95)


@given(counted, st.floats(1, 1e3), st.floats(0.5, 0.99))
def test_chances_below_a_bound_and_limits_are_each_other_turned_round(sample, strength, confidence):
    count, total = sample
    share = share_of(count, total, strength)
    low, high = share.limits(confidence)
    tail = (1 - confidence) / 2
    assert share.below(low) == pytest.approx(tail if count else 0.0, abs=1e-9)
    assert share.below(high) == pytest.approx(1 - tail if count < total else 1.0, abs=1e-9)
    assert share.below(0.0) == share.below(-1.0) == 0.0 and share.below(1.0) == share.below(2.0) == pytest.approx(1.0)


def test_a_share_of_outings_of_unknown_likeness_is_summed_over_what_it_may_be():
    """The same by another way: each strength's own limits from beta-binomial chances on a grid of shares of its own."""
    kind, fish, strength, doubt = np.array([2, 9, 4]), np.array([10, 12, 20]), 6.0, 0.8
    at = (np.arange(4000) + 0.5) / 4000
    chance = np.zeros(at.size)
    for z in np.linspace(-5, 5, 81):
        m = strength * np.exp(doubt * z)
        law = stats.betabinom.pmf(kind[:, None], fish[:, None], m * at, m * (1 - at)).prod(axis=0)
        chance += stats.norm.pdf(z) * law * stats.beta.pdf(at, 0.5, 0.5)
    known = np.interp([0.025, 0.975], np.cumsum(chance) / chance.sum(), at)
    assert share_of(kind, fish, strength, doubt).limits() == pytest.approx(tuple(known), abs=0.005)


@pytest.mark.parametrize(("cv", "near"), [(0.35, 1e-3), (0.9, 6e-3)])  # what lies past three sd of the doubt is left out
def test_limits_of_a_rate_are_those_of_negative_binomial_catches_of_a_scatter_in_doubt(cv, near):
    caught, effort = np.array([3.0, 11.0, 0.0]), np.array([1.0, 2.0, 0.5])
    rate = np.exp(np.linspace(np.log(1e-3), np.log(1e3), 30_000))
    chance = np.zeros(rate.size)
    for z in np.linspace(-4, 4, 61):
        shape = (max(cv, LEAST_CV) * np.exp(CV_DOUBT * z)) ** -2.0
        mean = rate * effort[:, None]
        law = stats.nbinom.pmf(caught[:, None], shape, shape / (shape + mean)).prod(axis=0)
        chance += stats.norm.pdf(z) * law * np.sqrt(rate / (1 + rate * effort.mean() / shape))
    known = np.interp([0.025, 0.975], (np.cumsum(chance) - chance / 2) / chance.sum(), rate)
    assert rate_limits(caught, effort, cv) == pytest.approx(tuple(known), rel=near)


def test_means_are_compared_by_the_test_of_welch():
    rng = np.random.default_rng(2)
    one, other = rng.normal(90, 5, 8), rng.normal(94, 9, 15)
    told = mean_differs(*(Mean(x.mean(), x.var(ddof=1) / x.size, x.size - 1) for x in (one, other)))
    assert told == pytest.approx(stats.ttest_ind(one, other, equal_var=False).pvalue)
    low, high = Mean(one.mean(), one.var(ddof=1) / one.size, one.size - 1).limits(0.9)
    assert (low, high) == pytest.approx(stats.ttest_1samp(one, 0).confidence_interval(0.9))


def test_the_freedom_of_a_mean_wr_is_that_of_its_spread_where_nothing_is_shared():
    """Satterthwaite's: that of the spread between fish, larger as the share of it in the variance is smaller."""
    mean = mean_wr(np.array([80.0, 90.0, 100.0]), ["a", "b", "c"])
    alone = (10 * WR_BETWEEN_FISH**2 + 200) / 12 / 3
    assert mean.variance - alone == pytest.approx(WR_BETWEEN_OUTINGS**2 / 3)
    assert mean.freedom == pytest.approx(12 * (mean.variance / alone) ** 2)


def test_effective_fish_add_up_over_outings():
    assert effective_fish([1, 1, 1], [60, 5, 0.1]) == pytest.approx(3.0)  # a single fish is one, however alike
    assert effective_fish([20, 40], 10) == pytest.approx(20 * 11 / 30 + 40 * 11 / 50)
