"""Units, and numbers in words: every conversion, and every number, chance, date and list as people read it.

Inside everything is SI (mm, g, ha, kg/ha, °C, days). A family maps the suffix of a key (`length_in`, `lb_per_acre`) to
its unit; the first unit of each family is the SI one. A kind (`KINDS`) is what a figure is about; it knows the unit of
either system and the digits that such figures deserve.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from itertools import takewhile
from typing import TYPE_CHECKING, Literal, NamedTuple, TypeVar

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Values = TypeVar("Values", float, NDArray[np.float64])

Units = Literal["us", "metric"]
MM_PER_IN = 25.4
HA_PER_ACRE = 0.40468564224
G_PER_LB = 453.59237
G_PER_KG = 1000.0
KG_PER_HA_IN_LB_PER_ACRE = G_PER_LB / G_PER_KG / HA_PER_ACRE
DAYS_PER_YEAR = 365.0  # of rates, ages and seasons in the model
DAYS_PER_CALENDAR_YEAR = 365.25
HOURS_PER_DAY = 24.0
NONE = "–"


class Unit(NamedTuple):
    """A unit of one family: SI = (value − zero) · factor."""

    factor: float
    words: str
    zero: float = 0.0

    def to_si(self, value: Values) -> Values:
        return (value - self.zero) * self.factor

    def from_si(self, value: Values) -> Values:
        return value / self.factor + self.zero


Family = dict[str, Unit]

LENGTH: Family = {"mm": Unit(1.0, "mm"), "in": Unit(MM_PER_IN, "in")}
WEIGHT: Family = {"g": Unit(1.0, "g"), "lb": Unit(G_PER_LB, "lb"), "kg": Unit(G_PER_KG, "kg")}
AREA: Family = {"ha": Unit(1.0, "ha"), "acres": Unit(HA_PER_ACRE, "acres")}
DEPTH: Family = {"m": Unit(1.0, "m"), "ft": Unit(0.3048, "ft")}
TEMPERATURE: Family = {"c": Unit(1.0, "°C"), "f": Unit(5 / 9, "°F", 32.0)}
CROP: Family = {"kg_per_ha": Unit(1.0, "kg/ha"), "lb_per_acre": Unit(KG_PER_HA_IN_LB_PER_ACRE, "lb/acre")}
FEED: Family = {
    "kg_per_ha_day": Unit(1.0, "kg/ha a day"),
    "lb_per_acre_day": Unit(KG_PER_HA_IN_LB_PER_ACRE, "lb/acre a day"),
}
EFFORT: Family = {
    "hours_per_ha": Unit(1.0, "hours/ha"),
    "hours_per_acre": Unit(1 / HA_PER_ACRE, "hours/acre"),
}
LIME: Family = {"tonnes_per_ha": Unit(1.0, "t/ha"), "tons_per_acre": Unit(2 * G_PER_LB / G_PER_KG / HA_PER_ACRE, "tons/acre")}
DENSITY: Family = {"per_ha": Unit(1.0, "per ha"), "per_acre": Unit(1 / HA_PER_ACRE, "per acre")}
POWER: Family = {"kw": Unit(1.0, "kW"), "hp": Unit(0.7457, "hp")}
FEED_PRICE: Family = {"per_kg_feed": Unit(1.0, "per kg"), "per_lb_feed": Unit(G_PER_KG / G_PER_LB, "per lb")}


def density(area_ha: float) -> Family:
    """Fish per hectare, per acre, or counted in the whole pond of this area."""
    return DENSITY | {"count": Unit(1 / area_ha, "fish in the pond")}


class Kind(NamedTuple):
    """What a figure is about: its units in either system, the digits it deserves, the least that is told as a number."""

    metric: Unit
    us: Unit
    digits: int = 2
    least: float = 0.1


NUMBER = Unit(1.0, "")
FISH = Unit(1.0, "fish")
PER_CENT = Unit(1.0, "%")
PER_HOUR = Unit(1.0, "per hour")
POINTS = Unit(1.0, "points")
KINDS = {
    "crop": Kind(CROP["kg_per_ha"], CROP["lb_per_acre"]),
    "density": Kind(DENSITY["per_ha"], DENSITY["per_acre"]),
    "length": Kind(LENGTH["mm"], LENGTH["in"], digits=3),
    "growth": Kind(Unit(1.0, "mm a year"), Unit(MM_PER_IN, "in a year")),
    "weight": Kind(WEIGHT["g"], WEIGHT["lb"], least=0.01),
    "catch": Kind(Unit(1.0, "kg"), Unit(G_PER_LB / G_PER_KG, "lb")),
    "percent": Kind(PER_CENT, PER_CENT),
    "ratio": Kind(NUMBER, NUMBER, least=0.01),
    "fish": Kind(FISH, FISH),
    "temperature": Kind(TEMPERATURE["c"], TEMPERATURE["f"]),
    "rate": Kind(PER_HOUR, PER_HOUR),
    "points": Kind(POINTS, POINTS),  # of a PSD
    "money": Kind(NUMBER, NUMBER),
}


def unit(kind: str, units: Units) -> Unit:
    """The unit of a kind in one system."""
    return KINDS[kind].us if units == "us" else KINDS[kind].metric


def unit_of(kind: str, units: Units) -> str:
    return unit(kind, units).words


def other(units: Units) -> Units:
    return "metric" if units == "us" else "us"


def converted(value: Values, kind: str, units: Units) -> Values:
    """An SI value, or an array of them, in one system."""
    return unit(kind, units).from_si(value)


# ---------------------------------------------------------------------- numbers in words


def brief(value: float, digits: int = 3) -> str:
    """A number with no more digits than it deserves, never in powers of ten: 1500, 0.45, 12.3."""
    if value == 0:
        return "0"
    rounded = float(f"{value:.{digits}g}")
    if abs(rounded) < 1e-4:
        return f"{Decimal(repr(rounded)):f}"
    return f"{rounded:,.0f}" if abs(rounded) >= 10 ** (digits - 1) else f"{rounded:.{digits}g}"


def percent(share: float, digits: int = 3) -> str:
    """A share as people say it: 45 %, 0.3 %."""
    return f"{brief(100 * share, digits)} %"


def in_csv(value: float, least: float = 1e-6) -> str:
    """A number of a CSV, in four digits and never in powers of ten; 0 below half of `least`, nothing where it is none."""
    if not math.isfinite(value):
        return ""
    return "0" if abs(value) < least / 2 else brief(value, 4).replace(",", "")


def in_words(value: float, family: Family, suffix: str, digits: int = 3) -> str:
    """An SI value in one unit of its family: in_words(203.2, LENGTH, "in") is "8 in"."""
    unit = family[suffix]
    return f"{brief(unit.from_si(value), digits)} {unit.words}"


def figure_of(value: float, kind: str, digits: int | None = None) -> str:
    """A number of one kind, in the unit it is told in, as it is shown: 52, 1,200, 0.34; a dash where there is none.

    digits: other than the kind's own.
    """
    if not math.isfinite(value):
        return NONE
    if kind in ("percent", "temperature"):
        return f"{value:.0f}".replace("-0", "0") if abs(value) < 0.5 else f"{value:.0f}"
    if kind == "points":  # whole ones, below one with one digit
        return f"{value:.0f}" if abs(value) >= 1 or abs(value) < 0.05 else brief(value, 1)
    if kind == "money":
        return brief(value, 2)
    if kind == "length" and abs(value) >= 40:  # millimetres, not inches
        return f"{value:.0f}"
    least = KINDS[kind].least
    if abs(value) < least / 100:
        return "0"
    if abs(value) < least:
        return f"<{least:g}"
    return brief(value, digits or KINDS[kind].digits)


def with_band(values: Iterable[float], kind: str) -> tuple[str, str]:
    """Middle and band of p10, p50 and p90 as shown; the band is empty where it says nothing."""
    low, middle, high = (figure_of(float(v), kind) for v in values)
    nothing = NONE in (low, high) or low == high or (low == "0" and high.startswith("<"))
    return middle, "" if nothing else f"{low}–{high}"


def banded(values: Iterable[float], kind: str) -> str:
    """Middle and band in one: 52 [40–60]."""
    middle, band = with_band(values, kind)
    return f"{middle} [{band}]" if band else middle


def with_unit(value: float, kind: str, units: Units, digits: int | None = None) -> str:
    """A value that is in one system already, with its unit; a kilogram and more in kg."""
    if kind == "weight" and units == "metric" and value >= G_PER_KG:
        return f"{figure_of(value / G_PER_KG, kind, digits)} kg"
    return f"{figure_of(value, kind, digits)} {unit_of(kind, units)}".rstrip()


def told_apart(value: float, others: Iterable[float], kind: str, units: Units) -> str:
    """An SI value with its unit, in three digits, or as many as tell it from others: 10 lb beside 10.01 lb."""
    every = list(dict.fromkeys([value, *others]))
    for digits in range(3, 16):
        told = [with_unit(converted(one, kind, units), kind, units, digits) for one in every]
        if len(set(told)) == len(told):
            break
    return told[0]


def both(value: float, kind: str, units: Units) -> str:
    """An SI value in the first system with the other beside it: 25 lb/acre (28 kg/ha)."""
    first, second = (with_unit(converted(value, kind, u), kind, u) for u in (units, other(units)))
    return first if first == second else f"{first} ({second})"


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
    """A chance as people say it: 8 of 10; rounded down, so that it is never told as more than it is.

    Never a certainty, and the less so the fewer members it was counted in.
    """
    if not math.isfinite(chance):
        return "not known"
    told = tenths(chance, members)
    words = {"<1": "less than 1", ">9": "more than 9"}.get(told, told)
    return f"{words} of 10"


def tenths(chance: float, members: int = 1000) -> str:
    """The same for a small space: 8, >9, <1."""
    if not math.isfinite(chance):
        return NONE
    doubt = 0.5 / (members + 1)
    guarded = min(max(chance, doubt), 1.0 - doubt)
    return ">9" if guarded > 0.95 else str(math.floor(10 * guarded + 1e-9) or "<1")


def hundredths(chance: float) -> int:
    """A chance in whole per cent, rounded down; so many hundredths are so many, though 100 · 0.29 is less than 29."""
    return math.floor(100 * chance + 1e-9)


def in_hundred(chance: float, members: int = 1000) -> str:
    """A chance in per cent, rounded down, and never a certainty: 76 %, over 99 %, under 1 %."""
    doubt = max(0.01, 1.0 / (members + 1))
    if chance < doubt:
        return f"under {math.ceil(100 * doubt - 1e-9)} %"
    if chance > 1.0 - doubt:
        return f"over {hundredths(1.0 - doubt)} %"
    return f"{hundredths(chance)} %"


# ---------------------------------------------------------------------- dates and lists


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


def told_short(names: Sequence[str], most: int) -> list[str]:
    """Names cut to so many characters, 8 or more; where two would look alike, their middle goes, or they get numbers."""
    cut = {name: shortened(name, most) for name in names}
    for alike in _alike(cut):
        parts = len([*takewhile(lambda letters: len({*letters}) == 1, zip(*alike, strict=False))])
        begin = max(alike[0].rfind(" ", 0, parts) + 1, parts - most // 4)  # with the word in which they part, if it is short
        for name in alike:
            cut[name] = shortened(f"{name[: most // 2].rstrip()}…{name[begin:]}", most)
    for k, name in enumerate([name for alike in _alike(cut) for name in alike], 1):
        cut[name] = f"{name[: most - 1 - len(str(k))].rstrip()}…{k}"
    return [cut[name] for name in names]


def _alike(cut: Mapping[str, str]) -> list[list[str]]:
    """Names that are cut to the same text."""
    of: dict[str, list[str]] = {}
    for name, text in cut.items():
        of.setdefault(text, []).append(name)
    return [some for some in of.values() if len(some) > 1]


def shortened(text: str, most: int) -> str:
    """The text on one line, cut with an ellipsis."""
    line = " ".join(text.split())
    return line if len(line) <= most else line[: most - 1].rstrip() + "…"
