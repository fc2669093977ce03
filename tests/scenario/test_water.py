"""Water temperature by hand: monthly means, readings, the day that passes a temperature."""

import datetime as dt
import tomllib
from itertools import pairwise

import numpy as np
import pytest
from small import TEXT

from pondpop.checks import InputError
from pondpop.scenario import resolve
from pondpop.scenario.schema import Temperature
from pondpop.scenario.temperature import MONTH_DAYS, daily_from_monthly, daily_from_readings, year_from_monthly_means
from pondpop.scenario.water import LONGEST_GAP_DAYS, _readings, expected_on, monthly_of_readings
from pondpop.units import TEMPERATURE

MONTHLY = (4.0, 6.0, 10.0, 15.0, 20.0, 26.0, 28.0, 27.0, 23.0, 17.0, 11.0, 6.0)
WATER = Temperature("monthly", "invented", MONTHLY)


def read(days, values=None, unit="c"):
    """Readings on these days after 1 January 2025."""
    rows = [("row", dt.date(2025, 1, 1) + dt.timedelta(day), value, TEMPERATURE[unit])
            for day, value in zip(days, values or [10.0] * len(days), strict=True)]  # fmt: skip
    return _readings("water", rows)


def test_readings_must_span_a_year_to_the_day():
    assert len(read([*range(0, 364, 28), 364])) == 14
    with pytest.raises(InputError, match="got readings of 364 days, needs readings that span at least a year"):
        read([*range(0, 363, 28), 363])


@pytest.mark.parametrize(("year", "read"), [(1899, False), (1900, True), (2199, True), (2200, False)])
def test_readings_are_of_1900_to_2199(year, read):
    day = dt.date(year, 12, 31) if year in (1899, 2199) else dt.date(year, 1, 1)
    says = "needs readings that span at least a year" if read else "needs a date from 1900-01-01 to 2199-12-31"
    with pytest.raises(InputError, match=says):
        _readings("water", [("row", day, 10.0, TEMPERATURE["c"])])


@pytest.mark.parametrize(("values", "refused"), [((0.0, 40.0), False), ((-0.1, 20.0), True), ((20.0, 40.1), True)])
def test_readings_are_of_water_of_0_to_40_degrees(values, refused):
    says = "needs a number from 0 to 40" if refused else "needs readings that span at least a year"
    with pytest.raises(InputError, match=says):
        read([0, 1], list(values))


def test_the_longest_gap_is_the_one_that_is_told():
    assert LONGEST_GAP_DAYS == 45
    assert len(read([0, 45, *range(60, 370, 30), 375])) == 14
    with pytest.raises(InputError, match="no reading for 50 days after 2025-05-01"):
        read([0, 46, 92, 120, 170, *range(190, 370, 30), 375])
    with pytest.raises(InputError, match="no reading for 46 days after 2025-01-01"):
        read([0, 46, *range(60, 370, 30), 375])


def test_readings_are_put_in_order_and_into_degrees_of_one_kind():
    days = [*range(0, 391, 30)]
    got = read(days[::-1], [50.0 + k for k in range(len(days))], "f")
    assert all(a[0] < b[0] for a, b in pairwise(got)) and got[-1] == (dt.date(2026, 1, 26), pytest.approx(10.0))


def test_monthly_means_of_readings_are_those_of_the_lines_between_them():
    """From 0 on 1 January by 0.1 a day to 31 December: the mean of a month is that of its middle."""
    start = dt.date(2025, 1, 1)
    line = [(start + dt.timedelta(k), 0.1 * k) for k in (0, 90, 200, 364)]
    means = monthly_of_readings(line)
    assert [means[k] for k in (0, 2, 11)] == pytest.approx([0.1 * 15, 0.1 * (59 + 15), 0.1 * (334 + 15)])


def test_water_is_expected_between_the_middles_of_months():
    for month in (1, 6, 12):
        days = [expected_on(WATER, dt.date(2030, month, day)) for day in (15, 16)]
        assert np.mean(days) == pytest.approx(MONTHLY[month - 1], abs=0.12)
    assert expected_on(WATER, dt.date(2030, 7, 1)) == pytest.approx((26 + 28) / 2, abs=0.1)
    assert expected_on(WATER, dt.date(2030, 12, 31)) == pytest.approx((6 + 4) / 2, abs=0.1)
    assert expected_on(WATER, dt.date(2031, 1, 1)) == pytest.approx((6 + 4) / 2, abs=0.1)
    dated = Temperature("readings", "", readings=tuple((dt.date(2025, 1, 1) + dt.timedelta(k), 12.0) for k in (0, 200, 365)))
    assert expected_on(dated, dt.date(2030, 8, 1)) == pytest.approx(12.0)


def test_daily_water_keeps_its_monthly_means_in_leap_years_too():
    for leap in (False, True):
        days = np.array(MONTH_DAYS) + (np.arange(12) == 1) * leap
        year = year_from_monthly_means(MONTHLY, leap)
        assert year.size == days.sum()
        means = [part.mean() for part in np.split(year, np.cumsum(days)[:-1])]
        assert means == pytest.approx(MONTHLY) and abs(np.diff(year)).max() < 0.5


def test_years_of_water_follow_one_another_from_any_day():
    whole = daily_from_monthly(MONTHLY, dt.date(2027, 1, 1), 365 + 366 + 365)
    assert whole[:365] == pytest.approx(year_from_monthly_means(MONTHLY))
    assert whole[365:731] == pytest.approx(year_from_monthly_means(MONTHLY, leap=True))
    assert whole[731:] == pytest.approx(year_from_monthly_means(MONTHLY))
    assert daily_from_monthly(MONTHLY, dt.date(2027, 11, 5), 200) == pytest.approx(whole[308:508])
    assert daily_from_monthly([-5.0] * 12, dt.date(2027, 1, 1), 9).tolist() == [1.0] * 9  # no pond with fish is colder


@pytest.mark.parametrize(("year", "days"), [(2000, 366), (2100, 365), (2096, 366), (2099, 365)])
def test_leap_years_are_those_of_the_calendar(year, days):
    two = daily_from_monthly(MONTHLY, dt.date(year, 1, 1), days + 1)
    assert two[days] == pytest.approx(year_from_monthly_means(MONTHLY, leap=False)[0], abs=0.2)
    assert two[:days] == pytest.approx(year_from_monthly_means(MONTHLY, leap=days == 366))


def test_between_readings_water_is_on_a_line_and_outside_them_as_their_months_are():
    dates = [dt.date(2025, 1, 1) + dt.timedelta(k) for k in range(0, 400, 40)]
    values = [5.0 + k for k in range(10)]
    water = daily_from_readings(dates, values, dt.date(2024, 12, 31), 365)
    assert water[1] == 5.0 and water[21] == pytest.approx(5.5) and water[41] == 6.0
    means = monthly_of_readings(list(zip(dates, values, strict=True)))
    assert water[0] == pytest.approx(daily_from_monthly(means, dt.date(2024, 12, 31), 1)[0])


MEANS = ", ".join(map(str, MONTHLY))
DATED = ", ".join(f"[{dt.date(2025, 1, 1) + dt.timedelta(7 * k)}, {value}]" for k, value in enumerate(
    [4.0 + 24.0 * min(7 * k, 380 - 7 * k) / 190 for k in range(54)]))  # fmt: skip


def surveyed(passes, water=f"monthly_c = [{MEANS}]"):
    """The days on which a pond is surveyed when its water passes a temperature."""
    text = TEXT.replace('surveys = ["04-20", "06-15", "09-15"]', f"surveys = [{{ {passes} }}]")
    run = resolve(tomllib.loads(text.replace('climate = "deep_south"', water))).run
    return [(day.month, day.day) for day in run.survey_dates]


def test_the_day_on_which_water_passes_a_temperature_lies_between_the_middles_of_months():
    """12 °C is two fifths of the way from 10 in the middle of March to 15 in that of April; 20 half way from 23 to 17."""
    assert surveyed("passes_c = 12, rising = true") in ([(3, 27)], [(3, 28)])
    assert surveyed("passes_c = 20, rising = false") in ([(9, 30)], [(10, 1)])
    assert surveyed("passes_f = 68, rising = true") in ([(5, 15)], [(5, 16)])
    assert surveyed("passes_c = 4.9, rising = false") in ([(1, 1)], [(1, 2)])
    up, down = (surveyed(f"passes_c = 20, rising = {rising}", f"readings_c = [{DATED}]") for rising in ("true", "false"))
    assert up[0][0] in (4, 5) and down[0][0] in (8, 9)


def test_a_temperature_that_water_never_passes_is_refused_with_those_that_it_does():
    for passes in ("passes_c = 28.5, rising = true", "passes_c = 3, rising = false"):
        with pytest.raises(InputError, match="needs a temperature that this water passes, 4 to 28 °C"):
            surveyed(passes)
