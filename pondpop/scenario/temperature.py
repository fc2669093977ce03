"""Water temperature: daily series from what a scenario states.

Arrays are daily means in °C. Nothing here knows of files, members or luck.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
import scipy
from numpy.typing import NDArray

from pondpop.scenario.schema import COLDEST_LIQUID_C
from pondpop.scenario.water import monthly_of_readings

MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def year_from_monthly_means(monthly_c: Sequence[float], leap: bool = False) -> NDArray[np.float64]:
    """One year of daily temperatures [365 or 366] whose mean over each calendar month is the month's given mean.

    The running integral of temperature is known at the month boundaries; a periodic cubic spline through it is
    differenced day by day, so that the monthly means are kept exactly and the curve has no corners.
    """
    days = np.array(MONTH_DAYS, dtype=float)
    if leap:
        days[1] += 1.0
    boundaries = np.concatenate([[0.0], np.cumsum(days)])
    mean = float(np.dot(days, monthly_c) / boundaries[-1])
    excess = np.concatenate([[0.0], np.cumsum(days * (np.asarray(monthly_c, dtype=float) - mean))])
    excess[-1] = 0.0  # zero but for rounding; a periodic spline needs it exact
    integral = scipy.interpolate.CubicSpline(boundaries, excess, bc_type="periodic")
    return mean + np.diff(integral(np.arange(boundaries[-1] + 1.0)))


def daily_from_monthly(monthly_c: Sequence[float], start: dt.date, days: int) -> NDArray[np.float64]:
    """Daily temperatures [days] from the date `start` on, from twelve monthly means (January first)."""
    out = np.empty(days)
    curves: dict[bool, NDArray[np.float64]] = {}
    filled, year = 0, start.year
    while filled < days:
        leap = _is_leap(year)
        if leap not in curves:
            curves[leap] = year_from_monthly_means(monthly_c, leap)
        curve = curves[leap]
        first = (start - dt.date(year, 1, 1)).days if year == start.year else 0
        piece = curve[first : first + days - filled]
        out[filled : filled + piece.size] = piece
        filled, year = filled + piece.size, year + 1
    return np.maximum(out, COLDEST_LIQUID_C)


def daily_from_readings(
    dates: Sequence[dt.date], readings_c: Sequence[float], start: dt.date, days: int
) -> NDArray[np.float64]:
    """Daily temperatures [days]: straight lines between dated readings, the readings' own monthly means outside them."""
    day = start.toordinal() + np.arange(days)
    known = np.array([d.toordinal() for d in dates])
    out = daily_from_monthly(monthly_of_readings(list(zip(dates, readings_c, strict=True))), start, days)
    inside = (day >= known[0]) & (day <= known[-1])
    out[inside] = np.interp(day[inside], known, readings_c)
    return np.maximum(out, COLDEST_LIQUID_C)


def _is_leap(year: int) -> bool:
    return year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
