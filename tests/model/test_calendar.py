"""Days and seasons: a year's effort is one in whole, whatever the year; the year begins on 1 January."""

import datetime as dt

import numpy as np
import pytest
from laws import plain
from small import raw

from pondpop.scenario import resolve, temperature

SEASONS = [["01-01", "12-31"], ["03-01", "10-31"], ["02-01", "03-01"], ["12-31", "12-31"]]


def inputs(season, start=dt.date(2027, 1, 1), years=2):
    """Inputs of a run over an ordinary and a leap year in which there is fishing in the season."""
    scenario = raw() | {"run": {"start": start, "years": years}}
    for events in (scenario["stocking"], *(s["stocking"] for s in scenario["strategies"].values())):
        for event in events:
            if "date" in event:
                event["date"] = start
    scenario["harvest"] = [{"species": "bass", "season": season, "share": 0.1}]
    scenario["angling"] = [{"season": season, "hours_per_ha": 50.0}]
    return plain(resolve(scenario))


@pytest.mark.parametrize("season", SEASONS)
def test_a_calendar_years_effort_is_one_in_whole(season):
    found = inputs(season)
    for year, days in enumerate((365, 366)):
        of_year = found.year == year
        assert of_year.sum() == days
        (rule,) = found.fishing
        assert rule.effort[of_year].sum() == pytest.approx(1.0, rel=1e-12)
        assert found.angling_hours_per_ha[of_year].sum() == pytest.approx(50.0, rel=1e-12)
        assert len(set(rule.effort[of_year][rule.effort[of_year] > 0.0])) == 1


def test_days_of_the_year_are_counted_from_new_year():
    found = inputs(SEASONS[0])
    np.testing.assert_array_equal(found.year_day, [*range(365), *range(366)])
    later = inputs(SEASONS[0], start=dt.date(2027, 6, 1))
    assert later.year_day[0] == (dt.date(2027, 6, 1) - dt.date(2027, 1, 1)).days


def test_every_month_of_ordinary_and_leap_years_keeps_its_mean_temperature():
    means = [9.0, 11.0, 15.0, 20.0, 25.0, 28.5, 30.0, 29.5, 27.0, 21.5, 16.0, 11.0]
    first, count = dt.date(2027, 1, 1), 365 + 366 + 365
    daily = temperature.daily_from_monthly(means, first, count)
    dates = [first + dt.timedelta(days=k) for k in range(count)]
    month = np.array([12 * (date.year - 2027) + date.month - 1 for date in dates])
    found = [daily[month == m].mean() for m in range(36)]
    np.testing.assert_allclose(found, 3 * means, rtol=1e-12)
    assert np.abs(np.diff(daily)).max() < 0.5  # no corner between years


def test_the_days_of_readings_have_the_readings():
    dates = [dt.date(2026, 1, 5) + dt.timedelta(days=20 * k) for k in range(20)]
    readings = [15.0 + 10.0 * np.sin(k) for k in range(20)]
    start = dates[0] - dt.timedelta(days=3)
    daily = temperature.daily_from_readings(dates, readings, start, (dates[-1] - start).days + 5)
    found = [daily[(date - start).days] for date in dates]
    np.testing.assert_allclose(found, readings, rtol=1e-12)


def test_readings_have_one_mean_a_month():
    """Readings every 30 days of a steep spring: the mean of the month's days between them, not of its one or two readings."""
    from pondpop.scenario.schema import Temperature
    from pondpop.scenario.water import expected_on, monthly_of_readings

    dates = [dt.date(2026, 1, 1) + dt.timedelta(days=30 * k) for k in range(14)]
    readings = [18.0 - 12.0 * np.cos(2 * np.pi * (d.timetuple().tm_yday - 15) / 365) for d in dates]
    monthly = monthly_of_readings(list(zip(dates, readings, strict=True)))
    daily = np.interp([dates[0].toordinal() + k for k in range(391)], [d.toordinal() for d in dates], readings)
    month = np.array([(dates[0] + dt.timedelta(days=k)).month for k in range(391)])
    np.testing.assert_allclose(monthly, [daily[month == m].mean() for m in range(1, 13)], rtol=1e-12)
    by_month = {m: [r for d, r in zip(dates, readings, strict=True) if d.month == m] for m in range(1, 13)}
    apart = [abs(np.mean(by_month[m]) - monthly[m - 1]) for m in by_month if by_month[m]]
    assert max(apart) > 2  # what a mean of the readings alone would miss
    water = Temperature("readings", "", readings=tuple(zip(dates, readings, strict=True)))
    assert expected_on(water, dt.date(2026, 4, 15)) == pytest.approx(monthly[3], abs=0.2)
    after = temperature.daily_from_readings(dates, readings, dt.date(2028, 1, 1), 366)
    assert after[31 + 29 + 31 : 31 + 29 + 31 + 30].mean() == pytest.approx(monthly[3], rel=1e-12)
