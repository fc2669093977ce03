"""Catch per effort of a survey, outing by outing."""

import numpy as np
import pytest

from pondpop.assess.effort import Outings
from pondpop.assess.findings import Finding
from pondpop.assess.text import converted
from pondpop.observe.limits import rate_limits


def outings(caught, effort, cv=0.35) -> Outings:
    return Outings(np.array(caught, float), np.array(effort, float), cv)


def test_one_outing_has_wide_limits_and_says_what_they_rest_on():
    one = outings([30], [1.5])
    assert one.rate == 20.0
    assert one.limits() == pytest.approx(rate_limits([30], [1.5], 0.35))
    assert one.limits()[1] > 3 * one.rate
    assert "how far days usually differ (assumed); more outings narrow them" in one.words("hour")
    assert one.agreement() is None


def test_more_outings_narrow_the_limits_and_more_hours_of_one_hardly_do():
    (low, high), (less, more), (few, many) = (
        outings(*x).limits() for x in (([20], [1]), ([200], [10]), ([20] * 5, [1] * 5))
    )
    assert high / low > more / less > 2 * many / few


def test_outings_that_scatter_more_than_days_do_are_told_by_hand():
    """49 and 10 bass in 1.5 hours each: 29.5 expected of each, of the variance 29.5 + (0.35 · 29.5)²."""
    apart = outings([49, 10], [1.5, 1.5])
    from scipy.stats import chi2

    assert apart.agreement() == pytest.approx(chi2.sf(2 * 19.5**2 / (29.5 + (0.35 * 29.5) ** 2), 1))
    words = apart.disagreement("bass by electrofishing", "hour")
    assert "p 0.018" in words and "6.67 to 32.7 per hour" in words
    assert outings([45, 22], [1.5, 1.5]).disagreement("bass", "hour") == ""  # as days differ


def test_longer_outings_are_not_blamed_for_catching_more():
    assert outings([10, 40], [1.0, 4.0]).agreement() == pytest.approx(1.0)


def test_few_fish_are_not_judged():
    assert outings([1, 4], [1.0, 1.0]).agreement() is None
    assert outings([100, 4], [10.0, 0.1]).agreement() is None  # the shortest outing should have caught one


@pytest.mark.parametrize(("p", "said"), [
    (None, ""), (0.05, ""), (0.0499, "(chi-square, p 0.05)"), (0.001, "p 0.001)"), (0.00099, "p under 0.001)"),
])  # fmt: skip
def test_outings_are_told_apart_below_one_chance_in_twenty(monkeypatch, p, said):
    monkeypatch.setattr(Outings, "agreement", lambda self: p)
    words = outings([10, 40], [1.0, 2.0]).disagreement("bass", "hour")
    assert said in words and (words == "") == (said == "")
    assert not said or words.startswith("bass: 10 to 20 per hour")


def test_lengths_are_told_in_inches_with_the_limits_that_they_have():
    said = converted(Finding("x", "mm a year", 50.8, low=25.4, high=None), "us")
    assert said == ("in a year", pytest.approx(2.0), pytest.approx(1.0), None)
    assert converted(Finding("x", "mm", 50.8, high=76.2), "us")[2:] == (None, pytest.approx(3.0))
    assert converted(Finding("x", "mm", 50.8, high=76.2), "metric") == ("mm", 50.8, None, 76.2)
    assert converted(Finding("x", "%", 50.8, high=76.2), "us") == ("%", 50.8, None, 76.2)
