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
    LEAST_CV,
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
