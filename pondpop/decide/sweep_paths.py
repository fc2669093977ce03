"""What a sweep varies: paths into a scenario file, their values, and the scenarios that these make.

Standard library only.
"""

from __future__ import annotations

import copy
import datetime as dt
import itertools
import math
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from pondpop.checks import MISSING, Fact, InputError, nearest
from pondpop.scenario import Scenario, befallen, resolve
from pondpop.units import brief

Value = int | float | str | dt.date
MOST_POINTS = 200


@dataclass(frozen=True)
class Axis:
    """What is varied: the path of a key in the scenario file, and its values."""

    path: str
    values: tuple[Value, ...]


@dataclass(frozen=True)
class Point:
    """One combination of values, and the scenario that they make (with the strategies that are looked at)."""

    values: tuple[Value, ...]
    scenario: Scenario


def read_axis(text: str) -> Axis:
    """An axis from PATH=VALUES: a list `a,b,c` or a range `first..last/step` (days, for dates). Raises InputError."""
    path, equals, given = text.partition("=")
    if not equals or not path or not given:
        raise InputError("--vary", text, "PATH=VALUES, such as strategies.light.stocking.bass.per_acre=75..100/5")
    return Axis(path, tuple(_values(given)))


def labels(axes: Sequence[Axis]) -> list[str]:
    """What each axis is called beside its value: as much of its path as tells it from others (bass.per_acre)."""
    short = []
    for axis in axes:
        parts = axis.path.split(".")
        parts = parts[2:] if parts[0] == "strategies" and len(parts) > 2 else parts
        short.append(".".join(parts[1:] if len(parts) > 2 else parts))
    return short if len(set(short)) == len(short) else [axis.path for axis in axes]


def _values(given: str) -> list[Value]:
    match = re.fullmatch(r"(.+?)\.\.(.+?)/(.+)", given)
    if not match:
        _refuse_stepless(given)
        values = [_value(part.strip()) for part in given.split(",")]
    else:
        first, last = _value(match[1]), _value(match[2])
        values = list(itertools.islice(_range(match, first, last, _step(match[3])), MOST_POINTS + 1))
    if not values:
        raise InputError("--vary", given, "at least one value", "write the smaller end first")
    if len(values) > MOST_POINTS:
        given = Fact(f"more than {MOST_POINTS} values")
        raise InputError("--vary", given, f"at most {MOST_POINTS}", "take a larger step")
    twice = next((value for value in values if values.count(value) > 1), None)
    if twice is not None:
        raise InputError("--vary", Fact(f"{twice} more than once"), "every value once")
    return values


def _refuse_stepless(given: str) -> None:
    """A range of numbers or dates without a step would be read as a word."""
    first, dots, last = given.partition("..")
    if dots and all(isinstance(_value(end), int | float | dt.date) for end in (first, last or first)):
        raise InputError("--vary", given, "a range with a step, such as 75..100/5", "or a list, such as 75,85,100")


def _step(text: str) -> Decimal:
    try:
        step = Decimal(text) if text.isascii() else Decimal("NaN")
    except InvalidOperation:
        step = Decimal("NaN")
    if not step.is_finite() or step <= 0:
        raise InputError("--vary", text, "a step above 0, such as 75..100/5")
    return step


def _range(match: re.Match[str], first: Value, last: Value, step: Decimal) -> Iterator[Value]:
    if isinstance(first, dt.date) and isinstance(last, dt.date):
        if step != int(step):
            raise InputError("--vary", match[3], "a whole number of days between dates")
        _within(step, last.toordinal() - first.toordinal())
        for day in range(first.toordinal(), last.toordinal() + 1, int(step)):
            yield dt.date.fromordinal(day)
    elif isinstance(first, int | float) and isinstance(last, int | float):
        low, high = Decimal(match[1]), Decimal(match[2])
        _within(step, high - low)
        for k in itertools.count():
            value = low + k * step
            if value > high:
                return
            yield _value(f"{value:f}")
    else:
        raise InputError("--vary", match[0], "a range of numbers or of dates", "write words as a list: a,b,c")


def _within(step: Decimal, width: Decimal | int) -> None:
    """Refuse a step with which only the first value would be looked at."""
    if step > width > 0:
        raise InputError("--vary", Fact(f"a step of {step}"), f"a step of at most {width}, the width of the range")


def _value(text: str) -> Value:
    if not text:
        raise InputError("--vary", MISSING, "a value before and after every comma")
    if not text.isascii():  # digits of other scripts are digits to Python, and to no reader of a table
        raise InputError("--vary", text, "plain letters and digits")
    if re.fullmatch(r"[+-]?\d{1,18}", text):
        return int(text)
    if re.fullmatch(r"\d{4}-\d\d-\d\d", text):
        try:
            return dt.date.fromisoformat(text)
        except ValueError:
            raise InputError("--vary", text, "a date such as 2027-06-05") from None
    try:
        number = float(text)
    except ValueError:
        return text
    if "_" in text:  # Python reads 1_0 as ten
        return text
    if not math.isfinite(number):
        raise InputError("--vary", text, "a finite number")
    return number


def points(
    raw: dict[str, Any], axes: Sequence[Axis], finish: Callable[[dict[str, Any]], Scenario] = resolve
) -> list[Point]:
    """Every combination of values as a scenario, checked; strategies that no path touches are left out.

    raw is what the file says, `finish` makes a scenario of it. Raises InputError.
    """
    if not 1 <= len(axes) <= 2 or len({axis.path for axis in axes}) < len(axes):
        raise InputError("--vary", Fact(f"{len(axes)} paths"), "one path, or two different ones for a grid")
    count = math.prod(len(axis.values) for axis in axes)
    if count > MOST_POINTS:
        raise InputError("--vary", Fact(f"{count} points"), f"at most {MOST_POINTS} points", "take fewer values")
    found = []
    for values in itertools.product(*(axis.values for axis in axes)):
        changed = copy.deepcopy(raw)
        for axis, value in zip(axes, values, strict=True):
            put(changed, axis.path, value)
        scenario = _with_one_event(finish(changed), axes)
        named = {axis.path.split(".")[1] for axis in axes if axis.path.startswith("strategies.")}
        common = any(not axis.path.startswith("strategies.") for axis in axes)
        kept = {name: s for name, s in scenario.strategies.items() if common or name in named}
        found.append(Point(values, scenario._replace(strategies=kept)))
    return found


def _with_one_event(scenario: Scenario, axes: Sequence[Axis]) -> Scenario:
    """The scenario with the event of which a number is varied, if one is, and without all others. Raises InputError."""
    varied = list(dict.fromkeys(axis.path.split(".")[1] for axis in axes if axis.path.startswith("what_if.")))
    if len(varied) > 1:
        raise InputError("--vary", Fact(f"paths of {len(varied)} events"), "those of one event of [what_if]")
    return befallen(scenario, varied[0]) if varied else scenario._replace(what_if=())


def put(raw: dict[str, Any], path: str, value: Value) -> None:
    """Change one value in what a file says. Events and rules are found by their names. Raises InputError.

    The two ends of a pair such as length_in are addressed as length_in.1 and length_in.2.
    """
    parts = path.split(".")
    if parts[0] == "ensemble" and parts[-1] in ("seed", "members"):
        raise InputError(path, Fact("a sweep over it"), "something that changes the pond", "variants share their luck")
    if parts[0] == "report" or parts[-1] in ("title", "name", "origin", "reason", "currency"):
        raise InputError(path, Fact("a sweep over it"), "something that changes the pond, not what it is called")
    node: Any = raw
    for depth, part in enumerate(parts[:-1]):
        node = _inside(node, part, ".".join(parts[: depth + 1]))
    last = parts[-1]
    if isinstance(node, list) and node and not isinstance(node[0], dict):
        if last not in ("1", "2") or len(node) != 2:
            raise InputError(path, Fact(f"position {last}"), "1 or 2, the ends of a pair")
        node[int(last) - 1] = value
    elif isinstance(node, dict) and not isinstance(node.get(last), dict | list):
        node[last] = value
    else:
        raise InputError(path, Fact("a table or a list"), "the path of one number, date or word")


def _inside(node: Any, part: str, path: str) -> Any:
    if isinstance(node, list):
        named = {item["name"]: item for item in node if isinstance(item, dict) and isinstance(item.get("name"), str)}
        if part not in named:
            remedy = (nearest(part, named) if named else "") or 'give the event a name = "…" of its own'
            raise InputError(path, part, "a name that is written in the file", remedy)
        return named[part]
    if not isinstance(node, dict) or not isinstance(node.get(part), dict | list):
        tables = [key for key, item in node.items() if isinstance(item, dict | list)] if isinstance(node, dict) else []
        raise InputError(path, MISSING, "a table of the file", nearest(part, tables) if tables else "")
    return node[part]


def read_pair(name: str, text: str, low: float, high: float) -> tuple[float, float]:
    """Two increasing numbers from `FROM..TO`, both from low to high. Raises InputError."""
    first, dots, last = text.partition("..")
    try:
        pair = (float(first), float(last))
    except ValueError:
        pair = (math.nan, math.nan)
    if not dots or not text.isascii() or "_" in text or not low <= pair[0] < pair[1] <= high:
        raise InputError(name, text, f"FROM..TO with FROM below TO, both from {brief(low)} to {brief(high)}")
    return pair


def csv_cell(value: Value) -> str:
    """A value as a cell that no spreadsheet takes for a formula."""
    return f"'{value}" if isinstance(value, str) and value[:1] in "=+-@" else str(value)
