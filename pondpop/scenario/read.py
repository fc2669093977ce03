"""The tables of a scenario file: which keys they may hold, and reading them with their paths. Standard library only.

`KEYS` lists every key. Nothing is repaired in silence: what is not known, not finite, given twice or in two units is
refused with its path.
"""

import datetime as dt
import re
import tomllib
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from pondpop import checks
from pondpop.checks import MISSING, Fact, InputError
from pondpop.scenario.schema import SPREADS, MonthDay, Run, Season
from pondpop.species.registry import OTHER_NAMES, SPECIES
from pondpop.units import (
    AREA,
    CROP,
    DENSITY,
    DEPTH,
    EFFORT,
    FEED,
    FEED_PRICE,
    LENGTH,
    LIME,
    POWER,
    TEMPERATURE,
    WEIGHT,
    Family,
    Unit,
    brief,
)

LARGEST_FILE = 1_000_000
MOST_EVENTS = 200


def keys(prefix: str, family: Iterable[str]) -> list[str]:
    return [f"{prefix}_{suffix}" if prefix else suffix for suffix in family]


COUNTS = [*DENSITY, "count"]
AMOUNTS = [*CROP, *COUNTS, "share"]
_YEARS = ["from_year", "to_year"]
_DAYS = ["from", "to"]
_EVENTS = ["stocking", "harvest", "removal", "feeding", "angling", "aeration", "fertilization", "liming", "plants", "drawdown",
           "grass_carp", "arrival"]

KEYS: dict[str, list[str]] = {
    "": ["title", "pond", "water", "oxygen", "run", "start_from_survey", *_EVENTS, "strategies", "what_if", "local_knowledge",
         "ensemble", "goals", "costs", "report"],
    "pond": [*keys("area", AREA), *keys("mean_depth", DEPTH), "fertility", "cover", "alkalinity_mg_l", "fertility_loss"],
    "oxygen": ["risk"],
    "fertility_loss": ["name", *_DAYS, "share"],
    "water": ["climate", *keys("monthly", TEMPERATURE), "readings_csv", *keys("readings", TEMPERATURE), "origin", "spell"],
    "spell": ["name", *_DAYS, *keys("at_most", TEMPERATURE), *keys("at_least", TEMPERATURE)],
    "run": ["start", "years", "surveys"],
    "surveys": [*keys("passes", TEMPERATURE), "rising"],
    "strategies": ["title", "fertility", *_EVENTS],
    "what_if": ["title", "spell", "die_off", "fertility_loss", "drought", "plants", "arrival"],
    "arrival": ["name", "species", "strain", "chance", "day", "date", *COUNTS, *keys("length", LENGTH)],
    "fertilization": ["name", "level", *_YEARS, *_DAYS, "cost"],
    "liming": ["name", "date", *LIME, "cost"],
    "plants": ["name", "date", "share", "cost"],
    "drawdown": ["name", *_DAYS, "area_share", "cost"],
    "drought": ["name", *_DAYS, "area_share"],
    "grass_carp": ["name", "date", *COUNTS, "cost"],
    "die_off": ["name", "species", "date", *keys("length", LENGTH), *AMOUNTS],
    "stocking": ["name", "species", "strain", "date", *COUNTS, *keys("length", LENGTH), "length_cv", *keys("weight", WEIGHT),
                 "age_years", "female_share", "sexing_error", "resident", "cost_each", "number_cv", "share_cv", "haul_hours",
                 *keys("from_water", TEMPERATURE), "tempered", "salted"],
    "start_from_survey": ["records", "gear", "hours", "hauls", *keys("water", TEMPERATURE), "catch"],
    "catch": ["species", *keys("length", LENGTH), "count", *keys("weight", WEIGHT)],
    "harvest": ["name", "species", *keys("length", LENGTH), "season", *_YEARS, *AMOUNTS, "when",
                *keys("otherwise", AMOUNTS)],
    "when": ["any", "all", "fish_sampled"],
    "conditions": ["quantity", "below", "above"],
    "removal": ["name", "species", "date", *keys("length", LENGTH), *AMOUNTS, "reason", "cost"],
    "feeding": ["name", *FEED, "season", *_YEARS],
    "angling": ["name", *EFFORT, "season", "death_after_release", *_YEARS],
    "aeration": ["name", "kind", *keys("power", POWER), "season", "hours", "when_below_mg_l", *_YEARS],
    "local_knowledge": ["species", "process", "multiplier", "reason"],
    "ensemble": ["members", "seed", "spread"],
    "spread": list(SPREADS),
    "goals": ["kind", "weight", "by_year", *keys("above", WEIGHT), "matters", *keys("matters", CROP)],
    "costs": [*keys("per", SPECIES), *FEED_PRICE, "per_hour", "per_kwh", "currency"],
    "report": ["consultant", "note", "units"],
}  # fmt: skip


def _quantities(known: list[str]) -> list[checks.Quantity]:
    """The quantities of a table, with the keys of their units, the SI one last as readers meet US ones first."""
    found: list[checks.Quantity] = []
    for family in (AREA, DEPTH, LENGTH, WEIGHT, TEMPERATURE, CROP, FEED, EFFORT, POWER, FEED_PRICE, LIME, COUNTS):
        si_suffix, *others = family
        for key in known:
            stem = key.removesuffix(si_suffix).removesuffix("_")
            names = keys(stem, [*others, si_suffix])
            if key == names[-1] and set(names) <= set(known):
                found.append((stem, names))
    return found


def read(path: str | Path) -> dict[str, Any]:
    """What the TOML file says, unchecked. Raises InputError if it is no TOML, OSError if it cannot be read."""
    content = file_text(Path(path), LARGEST_FILE)
    # Python's TOML reader takes quadratic time for long dotted keys and recurses into nested lists.
    if re.search(r"""(?<![\w-])(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){20}""", content):
        raise InputError("", Fact("20 or more names joined by dots"), "keys of a few names", file=str(path))
    try:
        raw = tomllib.loads(content)
    except RecursionError:
        raise InputError("", Fact("lists or tables nested too deeply"), "a scenario in TOML", file=str(path)) from None
    except ValueError as error:
        from pondpop.scenario.toml_hints import syntax_error  # most files have no use for it

        raise syntax_error(content, error).in_file(str(path)) from None
    if not raw:
        raise InputError("", Fact("an empty file"), "a scenario in TOML", file=str(path))
    return raw


def file_text(path: Path, largest: int) -> str:
    """The text of a regular file that is not too large. Raises InputError for what is none, OSError if it cannot be read."""
    name = str(path)
    try:
        if not path.exists():
            raise InputError("", Fact("no such file"), "a file that can be read", "check the path", file=name)
        if not path.is_file():
            raise InputError("", Fact("a folder" if path.is_dir() else "no ordinary file"), "a file", file=name)
        if path.stat().st_size > largest:
            size = Fact(f"{path.stat().st_size:,} bytes")
            raise InputError("", size, f"a file of at most {largest:,} bytes", file=name)
        with path.open("rb") as stream:
            return stream.read(largest).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            "", Fact(f"a byte that is no UTF-8 (number {error.start:,})"), "text in UTF-8", file=name
        ) from None
    except InputError:
        raise
    except ValueError as error:  # a name that no file can have
        raise InputError("", Fact(error), "a file that can be read", file=name) from None


@contextmanager
def naming(path: str, item: object) -> Iterator[None]:
    """Errors about an entry of a list are told with the entry's name, if it has one."""
    name = item.get("name") if isinstance(item, dict) else None
    try:
        yield
    except InputError as error:
        raise error.of(path, name) if isinstance(name, str) and 0 < len(name) <= 40 else error from None


class Table:
    """A table of the file with its path; refuses keys that are not known."""

    def __init__(self, raw: object, path: str, kind: str) -> None:
        if not isinstance(raw, dict):
            raise InputError(path, raw, "a table", f"write it under [{path}]")
        self.raw, self.path, self.kind = raw, path, kind
        if not set(raw) <= set(KEYS[kind]):
            from pondpop.scenario.key_hints import remedy  # most files have no use for it

            checks.only_known(path, raw, KEYS[kind], _quantities(KEYS[kind]), lambda key: remedy(kind, key))

    def at(self, key: str) -> str:
        return f"{self.path}.{key}" if self.path else key

    def get(self, key: str, check: Callable[[str, Any], Any], default: Any = MISSING) -> Any:
        """The checked value of a key, or its default; without a default the key must be there."""
        assert key in KEYS[self.kind], key
        if key not in self.raw and default is not MISSING:
            return default
        return check(self.at(key), self.raw.get(key, MISSING))

    def table(self, key: str, default: Any = MISSING) -> "Table":
        return Table(self.raw.get(key, default), self.at(key), key)

    def tables(self, key: str) -> list["Table"]:
        """A list of tables, `[[key]]`; none if the key is missing."""
        items = self.raw.get(key, [])
        if not isinstance(items, list):
            raise InputError(self.at(key), items, "a list of tables", f"write [[{self.at(key)}]] with double brackets")
        if len(items) > MOST_EVENTS:
            raise InputError(self.at(key), Fact(f"{len(items):,} entries"), f"at most {MOST_EVENTS}")
        tables = []
        for i, item in enumerate(items):
            path = checks.entry(self.at(key), i)
            with naming(path, item):
                tables.append(Table(item, path, key))
        return tables

    def one_of(self, prefix: str, suffixes: Iterable[str], needed: bool = True) -> str | None:
        """The one key that is given among those of a quantity. Raises InputError for none (if needed) or several."""
        names = keys(prefix, suffixes)
        given = [name for name in names if name in self.raw]
        if len(given) > 1:
            remedy = f"{given[0]} is given too, remove one of them"
            raise InputError(self.at(given[1]), self.raw[given[1]], "one quantity in one unit", remedy)
        if not given and needed:
            raise InputError(self.path or names[0], MISSING, "one of " + ", ".join(names))
        return given[0] if given else None

    def quantity(
        self, prefix: str, family: Family, low: float, high: float, needed: bool = True, pair: bool = False
    ) -> Any:
        """A number (or with `pair` an increasing pair) in SI from whichever unit it is given in; bounds are SI."""
        key = self.one_of(prefix, family, needed)
        if key is None:
            return None
        unit = family[key.removeprefix(f"{prefix}_")]
        if not pair:
            return self.get(key, lambda p, v: si(p, v, unit, low, high))
        value = self.raw[key]
        if not isinstance(value, list) or len(value) != 2:
            raise InputError(self.at(key), value, "two numbers, [from, to]")
        first, last = (si(checks.entry(self.at(key), i), v, unit, low, high) for i, v in enumerate(value))
        if first >= last:
            raise InputError(self.at(key), value, "[from, to] with from below to")
        return first, last

    def told(self, prefix: str, family: Family, *values: float) -> str:
        """SI values in the unit in which the quantity is given here: "0.1 to 2 lb"."""
        unit = family[(self.one_of(prefix, family) or "").removeprefix(f"{prefix}_")]
        return f"{' to '.join(brief(unit.from_si(value)) for value in values)} {unit.words}"

    def choice(self, key: str, known: Iterable[str], default: Any = MISSING) -> Any:
        return self.get(key, lambda p, v: checks.choice(p, v, known), default)

    def weight_of(self, length_mm: float) -> float | None:
        """The weight of a fish of that length, g, if it is given. Raises InputError."""
        weight = self.quantity("weight", WEIGHT, 0.001, 15_000, needed=False)
        if weight is not None and not 4e-6 <= weight / length_mm**3 <= 5e-5:
            key = self.one_of("weight", WEIGHT) or ""
            usual = self.told("weight", WEIGHT, 4e-6 * length_mm**3, 5e-5 * length_mm**3)
            allowed = f"the weight of a fish of {self.told('length', LENGTH, length_mm)}, {usual}"
            raise InputError(self.at(key), self.raw[key], allowed, "check length, weight and units")
        return weight

    def species(self) -> str:
        return str(self.get("species", lambda p, v: checks.choice(p, v, SPECIES, OTHER_NAMES)))

    def number(self, key: str, low: float, high: float, default: Any = MISSING) -> Any:
        return self.get(key, lambda p, v: checks.number(p, v, low, high), default)

    def run_year(self, key: str, run: Run, first: int, default: Any) -> Any:
        """A year of the run, counted from 1, the calendar year of its start."""
        start = run.start.year
        remedy = f"years count from 1, which is {start}, the calendar year of the start"
        value = self.raw.get(key)
        if isinstance(value, int) and start <= value < start + run.last_year:
            remedy += f"; {value} is year {value - start + 1}"
        return self.get(key, lambda p, v: checks.integer(p, v, first, run.last_year, remedy), default)

    def integer(self, key: str, low: int, high: int, default: Any = MISSING) -> Any:
        return self.get(key, lambda p, v: checks.integer(p, v, low, high), default)


def si(path: str, value: object, unit: Unit, low: float, high: float) -> float:
    """A number within SI bounds, given in some unit; rounding in the conversion never leaves the bounds."""
    given = checks.number(path, value, unit.from_si(low), unit.from_si(high), unit.words)
    return min(max(unit.to_si(given), low), high)


def words_or_number(words: dict[str, float], low: float, high: float) -> str:
    return f"{', '.join(words)} or a number from {brief(low)} to {brief(high)}"


def word_or_number(path: str, value: object, words: dict[str, float], low: float, high: float) -> float:
    if isinstance(value, str):
        if value not in words:
            raise InputError(path, value, words_or_number(words, low, high), checks.nearest(value, words))
        return words[value]
    return checks.number(path, value, low, high)


def yes_or_no(path: str, value: object) -> bool:
    if not isinstance(value, bool):
        raise InputError(path, value, "true or false, without quotes")
    return value


def month_day(path: str, value: object) -> MonthDay:
    match = re.fullmatch(r"(\d\d)-(\d\d)", value) if isinstance(value, str) else None
    try:
        day = dt.date(2001, int(match[1]), int(match[2])) if match else None
    except ValueError:
        day = None
    if day is None:
        raise InputError(path, value, 'a day of every year, month first, like "04-15" (02-29 is not)')
    return day.month, day.day


def season(path: str, value: object) -> Season:
    if not isinstance(value, list) or len(value) != 2:
        raise InputError(path, value, 'a first and a last day, like ["03-01", "10-31"]')
    first, last = (month_day(checks.entry(path, i), v) for i, v in enumerate(value))
    if first > last:
        raise InputError(path, value, "a season within one calendar year", "write two rules, one for each year's part")
    return first, last
