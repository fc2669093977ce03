"""Field sheets as people keep them, put into the words that record files use. Standard library only.

Headings in any case with units in brackets, American dates, fractions of an inch, codes of species and gears, "n/a", M and
F: what can be read one way only is read so, and `Reading.said` tells what was read as what. What could be read two ways
is refused with what to write. A folder's `columns.toml` adds words of its own:

    dates = "day first"            # or "month first", where 5/6/2026 could be either
    [columns]                      # heading = a column of record files, or "" to leave it unread
    "Fork" = ""
    [species]
    "green trout" = "bass"
    "channel cat" = ""             # a fish that the model does not know: its rows are left out, and that is told
    [gears]
    "Unit 4" = "electrofishing"
    [always]                       # columns that the sheets lack, or that hold this once and are blank below
    gear = "electrofishing"
    date = 2026-05-14
    [books]                        # every trip of these days, and every fish kept, is in catches.csv
    complete_from = 2026-04-01
    complete_until = 2027-10-31
"""

from __future__ import annotations

import datetime as dt
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

from pondpop import checks
from pondpop.checks import Fact, InputError
from pondpop.species.gears import GEARS
from pondpop.species.registry import OTHER_NAMES, SPECIES

OWN_WORDS = "columns.toml"
MOST_SHOWN = 8
ORDERS = ("month first", "day first")
ALWAYS = {"date": "date = 2026-05-14", "gear": 'gear = "electrofishing"', "species": 'species = "bass"'}
"""Columns that may be stated once for all rows, and how that is written."""

_BOOKS = ("complete_from", "complete_until")

_STEMS = {
    "date": "date, sample date, survey date, date sampled, date collected",
    "gear": "gear, gear type, sampling gear, method, sampling method",
    "species": "species, spp, sp, fish species, species code, fish",
    "length": "length, len, tl, total length, fish length",
    "weight": "weight, wt, fish weight",
    "count": "count, number, no, n, num, #, qty, quantity, number of fish, no of fish, fish count",
    "tag": "tag, tag no, tag number, tag id, tag #",
    "sex": "sex, m/f",
    "age": "age, ages, age class, years of age",
    "hours": "hours, effort, time, hours fished, hours worked, shock time, time fished",
    "hauls": "hauls, no of hauls, number of hauls, seine hauls",
    "water": "water, water temp, water temperature, temp, temperature",
    "species_sought": "species sought, target species, targets, species targeted",
    "trip": "trip, trip no, trip number, trip id",
    "shortest": "shortest, min length, minimum length, length from",
    "longest": "longest, max length, maximum length, length to",
    "kept": "kept, harvested, no kept, number kept",
    "released": "released, no released, number released",
    "event": "event, status, fate",
}
_UNREAD = ("notes", "note", "comment", "comments", "remarks", "initials", "crew", "station", "site", "transect", "run")
_UNITS = {
    "in": "in, ins, inch, inches", "mm": "mm, millimeters", "cm": "cm, centimeters",
    "lb": "lb, lbs, pound, pounds", "oz": "oz, ozs, ounce, ounces", "g": "g, gm, gms, gram, grams", "kg": "kg, kilograms",
    "f": "f, °f, deg f, degf, fahrenheit", "c": "c, °c, deg c, degc, celsius",
    "hours": "h, hr, hrs, hour, hours", "min": "min, mins, minute, minutes",
}  # fmt: skip
_SCALED = {"cm": ("mm", "10"), "kg": ("g", "1000"), "min": ("hours", "1/60")}
"""Units that are turned into one that record files have, and by what."""
_MEASURED = {"length": ("in", "mm"), "shortest": ("in", "mm"), "longest": ("in", "mm"), "weight": ("lb", "oz", "g"),
             "water": ("f", "c")}  # fmt: skip
_GEARS = {
    "electrofishing": "ef, e f, efish, e fishing, electro, electrofish, electrofisher, electroshocking, electro fishing, "
    "shocking, shocked, shocker, shock boat, shocking boat, boat shocking, boat electrofishing, electrofishing boat, "
    "boat ef, ef boat",
    "seine": "seine haul, seining, seined, bag seine, beach seine, shoreline seine",
    "angling": "angler, anglers, angled, hook and line, hook & line, h&l, rod and reel, fishing",
}
_SEXES = {"female": "female, f, fem", "male": "male, m", "": "u, unk, unknown, ?, i, imm, immature, j, juv, juvenile"}
_EVENTS = {
    "tagged": "tagged, t, tag, new tag, marked", "recaptured": "recaptured, r, recap, recapture, recaptured and released",
    "kept": "kept, k, harvested, kept by angler",
}  # fmt: skip
_CODES = {
    "bass": "lmb, lmbs, lm bass, lmb bass, largemouths", "bluegill": "bg, blg, bgl, bluegills",
    "shad": "tfs, tfsh, threadfins", "minnow": "fhm, fatheads",
}  # fmt: skip
_BLANK = ("n/a", "na", "none", "nil", "-", "--", "–", "—", ".", "nd", "no data", "not taken", "not weighed")
_TOTALS = ("total", "totals", "sum", "subtotal", "grand total", "mean", "means", "average", "averages", "avg", "total fish")
_NUMBERS = ("length", "weight", "count", "age", "hours", "hauls", "water", "shortest", "longest", "kept", "released")
_FRACTION = re.compile(r"(?:(\d{1,3})(?:\s+|-|\s+-\s*))?(\d{1,2})/(\d{1,2})", re.ASCII)
_VULGAR = {"¼": "1/4", "½": "1/2", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})(?:[T ]00:00(?::00)?)?", re.ASCII)
_SLASHED = re.compile(r"(\d{1,2})[/-](\d{1,2})[/-](\d{4}|\d{2})", re.ASCII)
_DOTTED = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4}|\d{2})", re.ASCII)
_NAMED = re.compile(r"(?:(\d{1,2})[ -])?([A-Za-z]{3,9})\.?[ -](?:(\d{1,2}),? )?(\d{4}|\d{2})", re.ASCII)
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


def _words(text: str) -> str:
    """A word or heading without what people write at will: case, dots, bars and blanks."""
    return " ".join(re.sub(r"[_.:\s]+", " ", text.casefold().replace("-", " ")).split()) or text.strip()


def _by_word(table: Mapping[str, str]) -> dict[str, str]:
    return {_words(word): name for name, words in table.items() for word in [name, *words.split(", ")]}


STEMS, UNITS, EVENTS = _by_word(_STEMS), _by_word(_UNITS), _by_word(_EVENTS)
SEXES = {word: name for word, name in _by_word(_SEXES).items() if word}


@dataclass(frozen=True)
class OwnWords:
    """The words of one folder, from its columns.toml."""

    dates: str = ""
    columns: Mapping[str, str] = field(default_factory=dict)
    species: Mapping[str, str] = field(default_factory=dict)
    gears: Mapping[str, str] = field(default_factory=dict)
    always: Mapping[str, str] = field(default_factory=dict)
    books: tuple[dt.date, dt.date] | None = None
    """First and last day of which catches.csv is said to hold every trip and every kept fish."""


def own_words(folder: Path, known: Iterable[str]) -> OwnWords:
    """The words in a folder's columns.toml, none if there is no such file. Raises InputError and OSError."""
    path = folder / OWN_WORDS
    if not path.exists():
        return OwnWords()
    checks.ordinary_file(path, "a file of words")
    try:
        raw = tomllib.loads(path.read_text("utf-8-sig"))
        return _own_words(raw, set(known))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError("", Fact(error), "a TOML file in UTF-8", file=str(path)) from None
    except InputError as error:
        raise error.in_file(str(path)) from None


def _own_words(raw: Mapping[str, object], known: set[str]) -> OwnWords:
    checks.only_known("", raw, ("dates", "columns", "species", "gears", "always", "books"))
    if "dates" in raw:
        checks.choice("dates", raw["dates"], ORDERS)
    tables: dict[str, dict[str, str]] = {}
    allowed = {"columns": {*known, ""}, "species": {*SPECIES, ""}, "gears": set(GEARS)}
    for name in ("columns", "species", "gears", "always"):
        table = raw.get(name, {})
        if not isinstance(table, dict):
            raise InputError(name, table, "a table", f"write [{name}] above its lines")
        if name == "always":
            checks.only_known(name, table, ALWAYS)
            tables[name] = {key: value.isoformat() if isinstance(value, dt.date) else checks.text(f"{name}.{key}", value, 60)
                            for key, value in table.items()}  # fmt: skip
            continue
        for key, value in table.items():
            if value not in allowed[name]:
                told = sorted(word or '""' for word in allowed[name])
                raise InputError(f"{name}.{key}", value, "one of " + ", ".join(told))
        tables[name] = {_words(key): value for key, value in table.items()}
    return OwnWords(str(raw.get("dates", "")), **tables, books=_books(raw["books"]) if "books" in raw else None)


def _books(table: object) -> tuple[dt.date, dt.date]:
    """The days of which the books are said to be complete."""
    if not isinstance(table, dict):
        raise InputError("books", table, "a table", "write [books] above its lines")
    checks.only_known("books", table, _BOOKS)
    for key in _BOOKS:
        if key not in table:
            remedy = "say from when and until when every trip and every kept fish is in catches.csv"
            raise InputError(f"books.{key}", checks.MISSING, "a date, like 2026-04-01", remedy)
        if type(table[key]) is not dt.date:
            raise InputError(f"books.{key}", table[key], "a date, like 2026-04-01", "write it without quotation marks or time")
    first, last = (table[key] for key in _BOOKS)
    if last < first:
        raise InputError("books.complete_until", last, f"a day from complete_from, {first}, on")
    return first, last


class Reading:
    """How one file is read, and what was read as what."""

    def __init__(self, file: str, own: OwnWords) -> None:
        self.own = own
        self.said: dict[str, dict[str, str]] = {}
        """By what it is about (heading, word, date …), what was written and what it was read as."""
        self.not_understood: dict[str, list[int]] = {}
        """Words of no consequence that were not understood, and their lines."""
        self.file = file
        self.order = own.dates
        self.decimal_comma = False
        self._scale: dict[str, str] = {}
        self._known: dict[str, dict[str, str]] = {
            "species": {**_by_word(_CODES), **{_words(k): v for k, v in OTHER_NAMES.items()}, **own.species},
            "gear": {**_by_word(_GEARS), **own.gears}, "event": EVENTS, "sex": SEXES,
        }  # fmt: skip

    def say(self, about: str, written: str, read: str) -> None:
        self.said.setdefault(about, {}).setdefault(written, read)

    # ---- headings

    def column(self, heading: str, known: Iterable[str]) -> str | None:
        """The column that a heading names; "" if it is left unread; None if it names none, or its unit is not known."""
        known, written = tuple(known), heading.strip()
        name, told = self._column(written, known)
        if name and told:
            self.say("heading", written, name)
        elif name == "":
            self.say("unread", written, "")
        return name

    def _column(self, written: str, known: tuple[str, ...]) -> tuple[str | None, bool]:
        if written in known:
            return written, False
        own = self.own.columns.get(_words(written))
        if own is not None:
            return (own if own in known or not own else None), True
        bracket = re.fullmatch(r"(.*?)[(\[]([^)\]]*)[)\]]\s*", written)
        stem, unit = (_words(bracket[1]), UNITS.get(_words(bracket[2]))) if bracket else (_words(written), None)
        if unit is None and not bracket:
            for at in range(1, len(parts := re.split(r"[,\s]+", stem))):
                if (STEMS.get(" ".join(parts[:at]))) and UNITS.get(" ".join(parts[at:])):
                    stem, unit = " ".join(parts[:at]), UNITS[" ".join(parts[at:])]
        column = STEMS.get(stem)
        if column is None:
            return ("" if stem in _UNREAD else None), False
        units = _MEASURED.get(column, ("hours",) if column == "hours" else ())
        wanted, scale = _SCALED.get(unit or "", (unit, ""))
        if bracket and unit is None and _words(bracket[2]):
            return None, False
        if column == "hours":
            if unit not in (None, "hours", "min") or (unit is None and "hour" not in stem):
                return None, False
            name = "hours"
        elif units:
            if wanted not in units:
                return None, False
            name = f"{column}_{wanted}"
        elif unit is not None:
            return None, False
        else:
            name = column
        if name not in known:
            return None, False
        if scale:
            self._scale[name] = scale
        return name, _words(written) != _words(name)

    def is_heading(self, written: str, known: Iterable[str]) -> bool:
        """Whether it names one of the columns, or would with its unit."""
        return bool(self.column(written, known) or self.wanted_units(written, known))

    def wanted_units(self, heading: str, known: Iterable[str]) -> list[str]:
        """Headings with the units that one without, or with another, may have."""
        bracket = re.fullmatch(r"(.*?)[(\[].*", heading.strip())
        plain = (bracket[1] if bracket else heading).strip()
        column = STEMS.get(_words(plain), "")
        if column == "hours" and "hours" in known:
            return [f"{plain} (hours)", f"{plain} (min)"]
        return [f"{plain} ({unit})" for unit in _MEASURED.get(column, ()) if f"{column}_{unit}" in known]

    # ---- dates

    def find_order(self, dates: Iterable[tuple[int, str]]) -> None:
        """Finds out whether the month or the day stands first in dates such as 5/14/2026. Raises InputError."""
        unsure, shown = None, dict[str, str]()
        for line, text in dates:
            found = _SLASHED.fullmatch(text.strip())
            if not found:
                continue
            first, second = int(found[1]), int(found[2])
            if first > 12 or second > 12:
                shown.setdefault(ORDERS[first > 12], text)
            elif first != second:
                unsure = unsure or (line, text)
        if self.order or not (unsure or shown):
            return
        say = f'write dates = "month first" or dates = "day first" into {OWN_WORDS} beside it, or dates like 2026-05-14'
        if len(shown) == 2:
            raise InputError("date", Fact(" and ".join(shown.values())), "one order of day and month", say, file=self.file)
        if not shown:
            assert unsure is not None
            raise InputError(f"line {unsure[0]}, date", unsure[1], "a date that can be read one way only", say, file=self.file)
        self.order = next(iter(shown))

    def date(self, text: str) -> str:
        """A date as year-month-day; the text itself if it is none."""
        parts: tuple[str, str, str] | None = None
        about = ""
        if found := _ISO.fullmatch(text):
            parts = found[1], found[2], found[3]
        elif found := _SLASHED.fullmatch(text):
            day_first = self.order == "day first"
            parts, about = (found[3], found[1 + day_first], found[2 - day_first]), self.order or "day and month alike"
        elif found := _DOTTED.fullmatch(text):
            parts, about = (found[3], found[2], found[1]), "day first, as dates with dots are"
        elif (found := _NAMED.fullmatch(text)) and bool(found[1]) != bool(found[3]):
            month = _MONTHS.index(found[2][:3].casefold()) + 1 if found[2][:3].casefold() in _MONTHS else 0
            parts = found[4], str(month), found[1] or found[3]
            about = "by its name"
        if parts is None:
            return text
        year = int(parts[0]) + 2000 * (len(parts[0]) == 2)
        try:
            read = dt.date(year, int(parts[1]), int(parts[2])).isoformat()
        except ValueError:
            return text
        if about:
            self.said.setdefault("date", {})
            if not any(value.endswith(f"({about})") for value in self.said["date"].values()):
                self.said["date"][text] = f"{read} ({about})"
        return read

    # ---- cells

    def cell(self, column: str, written: str, line: int) -> str:
        """A cell as record files have it; what cannot be read stays as it was written."""
        text = written.strip()
        if not text:
            return ""
        if column == "date":
            return self.date(text)
        stem = column.partition("_")[0] if column != "species_sought" else column
        if column not in ("species", "gear", "event", "trip") and text.casefold() in _BLANK:
            self.say("blank", text, "")
            return ""
        if stem in _NUMBERS:
            return self._number(column, text)
        if column == "species_sought":
            return self._sought(text)
        return self._word(column, text, line) if column in self._known else text

    def _word(self, column: str, text: str, line: int) -> str:
        known, word = self._known[column], _words(text)
        name = known.get(word, known.get(word.removesuffix("s")) if column == "species" else None)
        plain = {"species": SPECIES, "gear": GEARS}.get(column, ())
        if name is None and word in plain:
            name = word
        if name is None:
            if column == "sex":  # no reason to lose a measured fish
                self.not_understood.setdefault(text, []).append(line)
                return ""
            return text
        if word != name:
            self.say("word", text, name or "not known")
        return name

    def _sought(self, text: str) -> str:
        whole = _words(text)
        if whole in ("all", "all species", "all fish"):
            self.say("word", text, "all species")
            return ""
        if re.fullmatch(r"[a-z ]+", text):
            names = text.split()
            if all(name in SPECIES for name in names):
                return text
        parts = [part for part in re.split(r"[,;/&+]|\band\b|\s{2,}", text) if part.strip()]
        if len(parts) == 1 and self._word("species", parts[0], 0) not in SPECIES:
            parts = text.split()
        return " ".join(self._word("species", part.strip(), 0).replace(" ", "_") for part in parts)

    def _number(self, column: str, text: str) -> str:
        plain = text
        if column.endswith("_in"):
            plain = plain.removesuffix("''").removesuffix('"').removesuffix("”").strip()
        for sign, fraction in _VULGAR.items():
            plain = plain.replace(sign, f" {fraction}").strip()
        if self.decimal_comma and re.fullmatch(r"\d*,\d+", plain):
            plain = plain.replace(",", ".")
            self.say("decimal comma", text, plain)
        if found := _FRACTION.fullmatch(plain):
            whole, top, bottom = int(found[1] or 0), int(found[2]), int(found[3])
            if 0 < top < bottom and bottom in (2, 4, 8, 16):
                plain = f"{float(whole + Fraction(top, bottom)):g}"
                self.say("fraction", text, plain)
        scale = self._scale.get(column)
        if scale and re.fullmatch(r"\d+(\.\d*)?|\.\d+", plain) and len(plain) < 20:
            part = Fraction(scale)
            return f"{Decimal(plain) * part.numerator / part.denominator:f}"
        return plain

    def totals(self, cells: Mapping[str, str]) -> bool:
        """Whether a row holds totals and no fish: the word in a cell, and no date."""
        if _ISO.fullmatch(self.date(cells.get("date", ""))):
            return False
        return any(_words(text) in _TOTALS for text in cells.values())

    def one_word(self, column: str, cells: Iterable[tuple[int, str]]) -> str:
        """What the filled cells of a column, with their lines, all say; "" if they say several things or nothing."""
        words = {self.cell(column, text, line) for line, text in cells} - {""}
        return words.pop() if len(words) == 1 else ""

    def other_fish(self, cells: Mapping[str, str]) -> str:
        """The fish of a row that `OWN_WORDS` names as no part of the model (`"channel cat" = ""`); "" if it is of another."""
        written = cells.get("species", "").strip()
        return written if self.own.species.get(_words(written)) == "" else ""


def in_words(readings: Iterable[Reading]) -> str:
    """One paragraph on what was read as what; empty if the files use the words of record files."""
    readings, said = list(readings), list[str]()
    for about in ("heading", "word", "date", "fraction", "decimal comma"):
        found: dict[str, str] = {}
        cases = set[str]()
        for one in readings:
            for written, read in one.said.get(about, {}).items():
                if written.casefold() not in cases:
                    found[checks.one_line(written)] = read
                cases.add(written.casefold())
        if found:
            most = len(found) if about in ("heading", "word") else MOST_SHOWN
            shown = [f"{written} as {read}" for written, read in list(found.items())[:most]]
            more = f" and {len(found) - most} more" if len(found) > most else ""
            said.append(f"{about}s: " + ", ".join(shown) + more)
    blank = sorted({w for one in readings for w in one.said.get("blank", {})})
    if blank:
        said.append(f"as blank: {', '.join(checks.one_line(w) for w in blank)}")
    for one in readings:
        for about, words in (
            ("unread", "columns not read"), ("totals", "totals left out"),
            ("other fish", "fish that the model does not know left out"), ("file", "read"),
        ):  # fmt: skip
            if about in one.said:
                said.append(f"{Path(one.file).name} {words}: {', '.join(checks.one_line(w) for w in one.said[about])}")
    return "; ".join(said)
