"""The water temperature that a scenario states: a planning climate, monthly means, or dated readings."""

import csv
import datetime as dt
import io
import math
from collections.abc import Iterable, Sequence
from itertools import pairwise
from pathlib import Path

from pondpop import checks
from pondpop.checks import MISSING, Fact, InputError
from pondpop.scenario.read import LARGEST_FILE, Table, file_text, keys, si, yes_or_no
from pondpop.scenario.schema import CLIMATES, MonthDay, Temperature
from pondpop.units import TEMPERATURE, Unit

MOST_READINGS = 10_000
LONGEST_GAP_DAYS = 45
DEFAULT_CLIMATE = "deep_south"


def temperature(top: Table, folder: str | Path | None) -> Temperature:
    if "water" not in top.raw:
        return _climate(DEFAULT_CLIMATE, "no water temperature was given, so ")
    water = top.table("water")
    ways = ["climate", *keys("monthly", TEMPERATURE), "readings_csv", *keys("readings", TEMPERATURE)]
    way = water.one_of("", ways)
    origin = water.get("origin", lambda p, v: checks.text(p, v, 300), None)
    if way == "climate":
        if origin is not None:
            raise InputError(water.at("origin"), origin, "no origin beside a planning climate", "it has its own")
        return _climate(water.get("climate", _one_of_the_climates), "")
    if way in keys("monthly", TEMPERATURE):
        return Temperature("monthly", origin or "monthly means given in the scenario", _monthly(water, way))
    if way == "readings_csv":
        file = water.get("readings_csv", lambda p, v: inside(p, v, folder))
        path = f"{water.at('readings_csv')} ({checks.one_line(file.name)})"
        readings = _readings(path, _csv_rows(path, file))
        return Temperature("readings", origin or f"readings in {file.name}", readings=readings)
    path, unit = water.at(way or ""), TEMPERATURE["f" if way == "readings_f" else "c"]
    items = water.raw[way]
    if not isinstance(items, list) or not all(isinstance(item, list) and len(item) == 2 for item in items):
        raise InputError(path, items, "a list of [date, temperature]")
    rows = ((checks.entry(path, i), item[0], item[1], unit) for i, item in enumerate(items))
    return Temperature("readings", origin or "readings given in the scenario", readings=_readings(path, rows))


def _one_of_the_climates(path: str, value: object) -> str:
    try:
        return checks.choice(path, value, CLIMATES)
    except InputError as error:
        if error.remedy:
            raise
        elsewhere = "for a place of another kind write monthly_f or monthly_c, the twelve monthly means of its water"
        raise InputError(path, value, error.allowed, elsewhere) from None


def _climate(name: str, before: str) -> Temperature:
    climate = CLIMATES[name]
    return Temperature("monthly", f"{before}planning climate {name}: {climate.origin}", climate.monthly_c)


def _monthly(water: Table, key: str) -> tuple[float, ...]:
    items, unit = water.raw[key], TEMPERATURE[key.removeprefix("monthly_")]
    if not isinstance(items, list) or len(items) != 12:
        raise InputError(water.at(key), items, "twelve monthly means, January first")
    return tuple(si(checks.entry(water.at(key), i), v, unit, 0, 40) for i, v in enumerate(items))


def inside(path: str, value: object, folder: str | Path | None, what: str = "a file") -> Path:
    """A path in the scenario's folder or below it. Raises InputError."""
    name = checks.text(path, value, 300)
    allowed = f"{what} in the scenario's folder or below it"
    if folder is None:
        raise InputError(path, name, "what it holds, in the scenario itself", "there is no folder to look in")
    try:
        home, file = Path(folder).resolve(), (Path(folder) / name).resolve()
    except (OSError, RuntimeError):
        raise InputError(path, name, allowed) from None
    if not file.is_relative_to(home):
        raise InputError(path, name, allowed, "copy it there")
    return file


def _csv_rows(path: str, file: Path) -> Iterable[tuple[str, object, object, Unit]]:
    rows = csv.reader(io.StringIO(file_text(file, LARGEST_FILE)))
    headers = [f"date,water_{suffix}" for suffix in TEMPERATURE]
    header = ",".join(cell.strip() for cell in next(rows, []))
    if header not in headers:
        raise InputError(f"{path} line 1", header or MISSING, "the header " + " or ".join(headers))
    unit = TEMPERATURE[header.removeprefix("date,water_")]
    while True:
        try:
            row = next(rows, None)
        except csv.Error as error:
            raise InputError(f"{path} line {rows.line_num}", Fact(error), "date,temperature") from None
        if row is None:
            return
        where = f"{path} line {rows.line_num}"
        try:
            date, reading = row
            yield where, dt.date.fromisoformat(date.strip()), float(reading), unit
        except ValueError:
            given = ",".join(row) or MISSING
            raise InputError(where, given, "a date like 2026-04-15 and a number") from None


def _readings(source: str, rows: Iterable[tuple[str, object, object, Unit]]) -> tuple[tuple[dt.date, float], ...]:
    """Dated readings in °C, in order. Raises InputError unless they span a year without a long gap."""
    found: dict[dt.date, float] = {}
    for at, date, value, unit in rows:
        date = checks.day(at, date, dt.date(1900, 1, 1), dt.date(2200, 1, 1))
        if date in found:
            raise InputError(at, date, "one reading a day", "give the day's mean")
        if len(found) == MOST_READINGS:
            raise InputError(at, Fact(f"more than {MOST_READINGS:,} readings"), f"at most {MOST_READINGS:,}")
        found[date] = si(at, value, unit, 0, 40)
    days = sorted(found)
    if not days or (days[-1] - days[0]).days < 364:
        given = Fact(f"readings of {(days[-1] - days[0]).days + 1 if days else 0} days")
        raise InputError(source, given, "readings that span at least a year", "or give monthly means")
    gap, after = max((b - a, a) for a, b in pairwise(days))
    if gap.days > LONGEST_GAP_DAYS:
        given = Fact(f"no reading for {gap.days} days after {after}")
        raise InputError(source, given, f"gaps of at most {LONGEST_GAP_DAYS} days")
    return tuple((day, found[day]) for day in days)


def day_passing(table: Table, water: Temperature) -> MonthDay:
    """The first day of the year on which the water, its monthly means joined by straight lines, passes a temperature.

    A date to plan by: it is the same every year, though the water of a given year is earlier or later.
    """
    limit = table.quantity("passes", TEMPERATURE, 0, 40)
    rising = table.get("rising", yes_or_no)
    monthly = water.monthly_c or monthly_of_readings(water.readings or ())
    days = [dt.date(2001, 1, 1) + dt.timedelta(i) for i in range(-1, 365)]
    curve = [_between_monthly(monthly, day) for day in days]
    for before, now, day in zip(curve, curve[1:], days[1:], strict=False):
        if (before < limit <= now) if rising else (before > limit >= now):
            return day.month, day.day
    given = table.raw[table.one_of("passes", TEMPERATURE) or ""]
    passed = table.told("passes", TEMPERATURE, min(monthly), max(monthly))
    raise InputError(table.path, given, f"a temperature that this water passes, {passed}")


def expected_on(water: Temperature, day: dt.date) -> float:
    """The mean temperature of the water on a day of the year, its monthly means joined by straight lines, °C."""
    monthly = water.monthly_c or monthly_of_readings(water.readings or ())
    return _between_monthly(monthly, day)


def monthly_of_readings(readings: Sequence[tuple[dt.date, float]]) -> tuple[float, ...]:
    """Mean of each calendar month of dated readings joined by straight lines, °C; of all its days that lie between
    the first and the last. The readings must be in order and span a year.
    """
    of_month: list[list[float]] = [[] for _ in range(12)]
    for (before, low), (after, high) in pairwise(readings):
        days = (after - before).days
        for k in range(days):
            of_month[(before + dt.timedelta(k)).month - 1].append(low + (high - low) * k / days)
    last, value = readings[-1]
    of_month[last.month - 1].append(value)
    return tuple(math.fsum(values) / len(values) for values in of_month)


def _between_monthly(monthly: tuple[float, ...], day: dt.date) -> float:
    position = day.month - 1 + (day.day - 15.5) / 30.44  # months since the middle of January, taken as day 15.5
    below = int(position // 1)
    share = position - below
    return monthly[below % 12] * (1 - share) + monthly[(below + 1) % 12] * share
