"""Catch per effort of a survey, outing by outing."""

import numpy as np
import pytest

from pondpop.assess.effort import Outings
from pondpop.observe.mark_recapture import poisson_limits


def outings(caught, effort) -> Outings:
    return Outings(np.array(caught, float), np.array(effort, float))


def test_one_outing_has_the_limits_of_a_count_and_says_that_they_are_narrow():
    one = outings([30], [1.5])
    assert one.rate == 20.0
    assert one.limits() == pytest.approx(tuple(x / 1.5 for x in poisson_limits(30)))
    assert "real limits are wider" in one.words("hour")
    assert one.agreement() is None


def test_outings_that_agree_have_the_limits_of_a_count():
    alike = outings([20, 20, 20], [1.0, 1.0, 1.0])
    assert alike.limits() == pytest.approx(tuple(x / 3.0 for x in poisson_limits(60)))
    assert alike.disagreement("bass", "hour") == ""


def test_outings_that_scatter_have_wider_limits_by_hand():
    """49 and 10 bass in 1.5 hours each: rates 32.7 and 6.67, their mean 19.7 with standard error 13; t with 1 is 12.706."""
    apart = outings([49, 10], [1.5, 1.5])
    assert apart.scatter_variance**0.5 == pytest.approx((49 - 10) / 1.5 / 2)
    low, high = apart.limits()
    assert (low, high) == pytest.approx((0.0, 59 / 3 + 12.7062 * 13.0), rel=1e-4)
    assert "p under 0.001" in apart.disagreement("bass by electrofishing", "hour")
    assert "6.67 to 32.7 per hour" in apart.disagreement("bass by electrofishing", "hour")


def test_longer_outings_are_not_blamed_for_catching_more():
    assert outings([10, 40], [1.0, 4.0]).scatter_variance == pytest.approx(0.0)
    assert outings([10, 40], [1.0, 4.0]).agreement() == pytest.approx(1.0)


def test_few_fish_are_not_judged():
    assert outings([1, 4], [1.0, 1.0]).agreement() is None


def test_limits_hold_as_often_as_they_say_where_outings_scatter():
    """Gamma rates with a spread of 60 % on four outings of 20 fish: limits of a count alone hold far less often.

    With two to five outings of 10 to 40 fish and a spread of 30 or 60 %, limits for 95 % held in 86 to 95 % of 1,500
    draws, least with two outings; those of a count alone in 38 to 86 %.
    """
    rng = np.random.default_rng(1)
    rates = rng.gamma(1 / 0.36, 20 * 0.36, (600, 4))
    drawn = [outings(caught, np.ones(4)) for caught in rng.poisson(rates)]
    held = np.mean([low <= 20 <= high for low, high in (o.limits() for o in drawn)])
    of_counts = np.mean([a <= 80 <= b for a, b in (poisson_limits(o.total) for o in drawn)])
    assert of_counts < 0.7
    assert held > 0.85
