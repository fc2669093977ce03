"""What the model is told of the rules of a scenario."""

import datetime as dt

import numpy as np
import pytest
from small import raw

from pondpop.ensemble.prepare import _oxygen, season_effort
from pondpop.scenario import resolve


def hours_at_night(first, last):
    """Hours of a night in which an aerator runs from one hour to another [day]."""
    said = raw(only="few")
    said["strategies"]["few"]["aeration"] = [{"kind": "diffused", "power_kw": 1, "hours": [first, last]}]
    scenario = resolve(said)
    dates = [scenario.run.start + dt.timedelta(k) for k in range(0, 365, 30)]
    aerator = _oxygen(scenario, scenario.strategies["few"], dates, np.zeros(len(dates), int)).aeration[0]
    assert aerator.hours == pytest.approx((last - first) % 24 or 24)
    return aerator.night_hours


def test_aerators_of_all_hours_run_all_night_and_those_of_noon_never():
    night = hours_at_night(0, 24)
    assert (night > 8).all() and (night < 13).all() and np.ptp(night) > 1
    assert hours_at_night(10, 14) == pytest.approx(0.0)
    assert hours_at_night(12, 24) == pytest.approx(night / 2) == hours_at_night(0, 12)
    assert hours_at_night(16, 8) == pytest.approx(night) == hours_at_night(17, 7)
    assert hours_at_night(23, 2) == pytest.approx(3.0)


@pytest.mark.parametrize(("first", "last"), [(20, 5), (22, 7), (18, 1), (3, 6)])
def test_hours_at_night_are_alike_about_midnight_and_add_up(first, last):
    assert hours_at_night(first, last) == pytest.approx(hours_at_night(24 - last, 24 - first))
    assert hours_at_night(first, last) + hours_at_night(last, first) == pytest.approx(hours_at_night(0, 24))


SEASONS = [((3, 1), (10, 31)), ((2, 1), (2, 28)), ((12, 31), (12, 31)), ((1, 1), (12, 31)), ((5, 5), (5, 5))]


@pytest.mark.parametrize("season", SEASONS)
def test_the_effort_of_a_year_is_even_over_its_season_and_one_in_all(season):
    start = dt.date(2027, 1, 1)
    dates = [start + dt.timedelta(k) for k in range(365 + 366 + 365)]
    year = np.array([date.year - 2027 for date in dates])
    effort = season_effort(dates, year, season, 1, 2)
    for y, told in ((0, 1.0), (1, 1.0), (2, 0.0)):
        assert effort[year == y].sum() == pytest.approx(told)
    days = [date for date, share in zip(dates, effort, strict=True) if share]
    assert {(date.month, date.day) for date in days if date.year == 2027} >= set(season)
    assert all(season[0] <= (date.month, date.day) <= season[1] for date in days)
    assert all(len(set(effort[(year == y) & (effort > 0)])) == 1 for y in (0, 1))
    later = season_effort(dates[130:], year[130:], season, 1, 2)  # a run that starts within a season does a part of its effort
    assert later == pytest.approx(effort[130:])
