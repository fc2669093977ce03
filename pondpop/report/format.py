"""Plain words for the page: numbers with the digits they deserve, both systems of units, chances, lists."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from html import escape

from pondpop.ensemble.quantities import UNITS, Units
from pondpop.units import brief

DIGITS = {"crop": 2, "density": 2, "length": 3, "weight": 2, "ratio": 2, "fish": 2, "rate": 2}
SMALLEST = {"weight": 0.01, "ratio": 0.01}
NONE = "–"
PLURAL = {"bass": "bass", "bluegill": "bluegill", "shad": "shad", "minnow": "minnows"}
EXPLAINED = {
    "PSD": "proportional size distribution: of the fish of stock length and longer, the per cent that reach quality "
    "length (bass: 8 and 12 in; bluegill: 3 and 6 in)",
    "PSD-P": "the same with preferred length (bass 15 in, bluegill 8 in)",
    "PSD-M": "the same with memorable length (bass 20 in, bluegill 10 in)",
    "Wr": "relative weight: weight in per cent of the standard weight of a fish of that length",
    "F/C": "weight of all forage fish over weight of bass",
    "Y/C": "weight of forage that the average adult bass can swallow over weight of bass",
    "A_T": "per cent of the weight of all fish that is of harvestable size",
}


def figure_of(value: float, kind: str) -> str:
    """A number of one kind as it is shown, without its unit: 52, 1,200, 0.34; a dash where there is none."""
    if not math.isfinite(value):
        return NONE
    if kind in ("percent", "temperature"):
        return f"{value:.0f}".replace("-0", "0") if abs(value) < 0.5 else f"{value:.0f}"
    if kind == "length" and abs(value) >= 40:  # millimetres, not inches
        return f"{value:.0f}"
    smallest = SMALLEST.get(kind, 0.1)
    if abs(value) < smallest / 100:
        return "0"
    if abs(value) < smallest:
        return f"<{smallest:g}"
    return brief(value, DIGITS[kind])


def with_band(values: Iterable[float], kind: str) -> tuple[str, str]:
    """Middle and band of p10, p50 and p90 as shown; the band is empty where it says nothing."""
    low, middle, high = (figure_of(float(v), kind) for v in values)
    nothing = NONE in (low, high) or low == high or (low == "0" and high.startswith("<"))
    return middle, "" if nothing else f"{low}–{high}"


def unit_of(kind: str, units: Units) -> str:
    metric, us, _ = UNITS[kind]
    return us if units == "us" else metric


def other(units: Units) -> Units:
    return "metric" if units == "us" else "us"


def converted(value: float, kind: str, units: Units) -> float:
    """An SI value in one system."""
    _, _, factor = UNITS[kind]
    return value if units == "metric" else value * factor + (32.0 if kind == "temperature" else 0.0)


def both(value: float, kind: str, units: Units) -> str:
    """An SI value in the first system with the other beside it: 25 lb/acre (28 kg/ha)."""
    first, second = (with_unit(converted(value, kind, u), kind, u) for u in (units, other(units)))
    return first if first == second else f"{first} ({second})"


def with_unit(value: float, kind: str, units: Units) -> str:
    """A value that is in one system already, with its unit; a kilogram and more in kg."""
    if kind == "weight" and units == "metric" and value >= 1000:
        return f"{figure_of(value / 1000, kind)} kg"
    return f"{figure_of(value, kind)} {unit_of(kind, units)}".rstrip()


def window(length_mm: tuple[float, float], shortest: float, longest: float, units: Units) -> str:
    """A length window in words; open at the ends of what a scenario may say."""
    low, high = length_mm
    if low <= shortest and high >= longest:
        return "all lengths"
    if low <= shortest:
        return f"under {both(high, 'length', units)}"
    if high >= longest:
        return f"over {both(low, 'length', units)}"
    parts = []
    for u in (units, other(units)):
        a, b = (figure_of(converted(v, "length", u), "length") for v in length_mm)
        parts.append(f"{a}–{b} {unit_of('length', u)}")
    return f"{parts[0]} ({parts[1]})"


def in_ten(chance: float, members: int = 1000) -> str:
    """A chance as people say it: 8 of 10; never a certainty, and the less so the fewer members it was counted in."""
    if not math.isfinite(chance):
        return "not known"
    guarded = (chance * members + 0.5) / (members + 1)
    if guarded > 0.95:
        return "more than 9 of 10"
    if guarded < 0.05:
        return "less than 1 of 10"
    return f"{min(9, max(1, math.floor(10 * guarded + 0.5)))} of 10"


def day(date: dt.date) -> str:
    """5 June 2027."""
    return f"{date.day} {date:%B %Y}"


def day_of_year(month_day: tuple[int, int]) -> str:
    month, number = month_day
    return f"{number} {dt.date(2001, month, 1):%B}"


def joined(items: Iterable[str], last: str = "and") -> str:
    """One, two and three."""
    every = list(items)
    return every[0] if len(every) == 1 else f"{', '.join(every[:-1])} {last} {every[-1]}" if every else ""


def months_in_words(numbers: Iterable[int]) -> str:
    """Runs of calendar months: March–April and October; a run may pass the turn of the year."""
    wanted = set(numbers)
    if not wanted:
        return ""
    if len(wanted) == 12:
        return "every month"
    firsts = [m for m in range(1, 13) if m in wanted and (m - 2) % 12 + 1 not in wanted]
    runs = []
    for first in firsts:
        last = first
        while last % 12 + 1 in wanted:
            last = last % 12 + 1
        names = [f"{dt.date(2001, m, 1):%B}" for m in (first, last)]
        runs.append(names[0] if first == last else "–".join(names))
    return joined(runs)


def shortened(text: str, most: int) -> str:
    """The text on one line, cut with an ellipsis."""
    line = " ".join(text.split())
    return line if len(line) <= most else line[: most - 1].rstrip() + "…"


def html(text: object) -> str:
    """Text made safe for the page."""
    return escape(str(text), quote=True)
