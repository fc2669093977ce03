"""One vocabulary of checks for files and for arguments; every refusal is one line that says how to go on."""

import datetime as dt
import errno
import math
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from enum import Enum
from typing import Final

from pondpop.units import brief


class _Nothing(Enum):  # one and the same in every process
    MISSING = 0


MISSING: Final = _Nothing.MISSING
Quantity = tuple[str, Sequence[str]]
"""What the keys of one quantity begin with, and the keys, one for each unit."""
_LONGEST_SHOWN = 60
_LONGEST_PATH = 160
_LONGEST_FACT = 200
_LONGEST_FILE = 1000  # longer than any path that is meant
_MOST_ITEMS = _LONGEST_SHOWN // 3 + 1  # of a list; so many do not fit, whatever they are


class Fact(str):
    """What was found, in our words ("an empty file"), where no value of the input can be shown."""

    __slots__ = ()


class InputError(ValueError):
    """The input is wrong: where, what was given, what is allowed, what to do.

    `path` addresses the value in its file (`strategies.light.stocking[1].length_in`); `given` is the value as it was
    read, or MISSING; `file` may be added later by whoever knows it, with `in_file`, and the `name` of the `entry` of a
    list with `of`: `strategies.light.stocking[1] (adults).length_in`.
    """

    def __init__(
        self,
        path: str,
        given: object,
        allowed: str,
        remedy: str = "",
        file: str | None = None,
        entry: str = "",
        name: str = "",
    ) -> None:
        self.path, self.given, self.allowed, self.remedy, self.file = path, given, allowed, remedy, file
        self.entry, self.name = entry, name
        super().__init__(path, given, allowed, remedy, file, entry, name)

    def in_file(self, file: str) -> "InputError":
        """The same error, told with its file."""
        return InputError(
            self.path, self.given, self.allowed, self.remedy, self.file or file, self.entry, self.name
        )

    def of(self, entry: str, name: str) -> "InputError":
        """The same error, told with the name of the entry of a list that it is about."""
        return InputError(self.path, self.given, self.allowed, self.remedy, self.file, entry, name)

    def __str__(self) -> str:
        path = self.path.replace(self.entry, f"{self.entry} ({self.name})", 1) if self.name else self.path
        where = ": ".join(_cut(one_line(part), _LONGEST_PATH) for part in (self.file, path) if part)
        remedy = f"; {self.remedy}" if self.remedy else ""
        told = f"got {shown(self.given)}, needs {self.allowed}{remedy}"
        return f"{where}: {told}" if where else told


class RunError(RuntimeError):
    """Something failed that is not the input's fault: a file that cannot be written, an internal fault."""


_REASONS = {
    errno.ENOENT: "there is no such file or folder",
    errno.EACCES: "you may not read or write there",
    errno.EPERM: "you may not read or write there",
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "your share of the disk is full",
    errno.EFBIG: "a file may not become so large there",
    errno.EROFS: "the disk can only be read",
    errno.EISDIR: "it is a folder, not a file",
    errno.ENOTDIR: "part of the path is a file, not a folder",
    errno.EEXIST: "something of that name is there already",
    errno.ENAMETOOLONG: "the name is too long",
    errno.EMFILE: "too many files are open",
    errno.ENFILE: "too many files are open",
    errno.EIO: "the disk does not answer as it should",
    errno.ELOOP: "its links lead back to themselves",
}


def reason(error: OSError) -> str:
    """Why something could not be read or written, with its path if that is known, in plain words."""
    words = _REASONS.get(error.errno or 0) or error.strerror or str(error) or "it could not be read or written"
    path = error.filename
    return f"{_cut(os.fsdecode(path), _LONGEST_FILE)}: {words}" if isinstance(path, str | bytes | os.PathLike) else words


def one_line(text: str) -> str:
    """The text without anything that would break or disguise the line it is shown in."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def shown(value: object) -> str:
    """A value as the writer would recognise it, on one short line."""
    if value is MISSING:
        return "nothing"
    if isinstance(value, Fact):
        return _cut(one_line(value), _LONGEST_FACT)
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, str):
        text = f'"{one_line(value[:_LONGEST_SHOWN])}"'
    elif isinstance(value, dt.date | dt.time):
        text = value.isoformat()
    elif isinstance(value, Mapping):
        return f"a table of {len(value)} keys"
    elif isinstance(value, Sequence):
        text = "[" + ", ".join(shown(item) for item in value[:_MOST_ITEMS]) + "]"
    elif isinstance(value, int) and abs(value) >= 10**_LONGEST_SHOWN:
        return "a number of more than 60 digits"
    else:
        text = one_line(str(value))
    return _cut(text, _LONGEST_SHOWN)


def _cut(text: str, longest: int) -> str:
    return text if len(text) <= longest else text[: longest - 1] + "…"


def nearest(word: object, known: Iterable[str], quantities: Iterable[Quantity] = ()) -> str:
    """A remedy that names the nearest known word, or else the words there are.

    Where the word lacks its unit or has another one, all keys of its quantity are named: no unit is guessed.
    """
    known = list(known)
    similar = _closest(word, known)
    units = _units_of(str(word), similar, list(quantities))
    if units:
        return f"the unit is part of the key: write {alternatives(units)}"
    return _meant(similar) or f"known: {', '.join(known)}"


def _units_of(word: str, similar: str, quantities: Sequence[Quantity]) -> list[str]:
    """The keys of the quantity that a word without a known unit may mean."""
    bare = [key for _, keys in quantities if any(k.startswith(f"{word}_") for k in keys) for key in keys]
    if bare:
        return bare
    for stem, keys in quantities:
        if stem and word.startswith(f"{stem}_"):
            return list(keys)
        if similar in keys and not (stem and word.endswith(similar.removeprefix(stem))):
            return list(keys)
    return []


def alternatives(words: Sequence[str]) -> str:
    """a, b or c."""
    return " or ".join(part for part in (", ".join(words[:-1]), words[-1]) if part)


def _closest(word: object, known: list[str]) -> str:
    from difflib import get_close_matches  # most inputs have no use for it

    longer = [key for key in known if key.startswith(f"{word}_")]
    close = longer if len(longer) == 1 else get_close_matches(str(word)[:_LONGEST_FACT], known, n=1)
    return close[0] if close else ""


def _meant(word: str) -> str:
    return f'did you mean "{word}"?' if word else ""


def entry(path: str, place: int) -> str:
    """The path of an entry of a list, told as people count: from 1, as in the paths of a sweep (`length_in.1`)."""
    return f"{path}[{place + 1}]"


def number(path: str, value: object, low: float, high: float, unit: str = "") -> float:
    """A finite number from low to high (both allowed). Raises InputError."""
    allowed = f"a number from {brief(low)} to {brief(high)}{' ' + unit if unit else ''}"
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(path, value, allowed, "write it as a number, without quotes or units")
    try:
        result = float(value)
    except OverflowError:
        result = math.inf
    if not low <= result <= high:  # nor is any NaN
        percent = high <= 1.0 and low <= result / 100.0 <= high
        raise InputError(path, value, allowed, f"write {brief(result / 100.0)} for {brief(result)} %" if percent else "")
    return result


def integer(path: str, value: object, low: int, high: int, remedy: str = "") -> int:
    """A whole number from low to high (both allowed). Raises InputError."""
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        quoted = isinstance(value, str) and "write it as a number, without quotes or units"
        raise InputError(path, value, f"a whole number from {low:,} to {high:,}", remedy or quoted or "")
    return value


def text(path: str, value: object, longest: int, lines: bool = False) -> str:
    """Printable text, not empty; with `lines`, line breaks are allowed. Raises InputError."""
    allowed = f"text of 1 to {longest:,} characters"
    if not isinstance(value, str) or not value.strip() or len(value) > longest:
        raise InputError(path, value, allowed)
    if not all(c.isprintable() or (lines and c == "\n") for c in value):
        raise InputError(path, value, "printable text", "remove control and invisible characters")
    return value


def label(path: str, value: object) -> str:
    """A name that can stand in keys, tables and file names. Raises InputError."""
    allowed = "a name of 1 to 40 letters (a–z, A–Z), digits, _ or -, no - first"  # which a spreadsheet takes for a formula
    if not isinstance(value, str) or not 1 <= len(value) <= 40 or not value.isascii() or value[0] == "-":
        raise InputError(path, value, allowed)
    letters = value.replace("_", "").replace("-", "")
    if not letters:
        raise InputError(path, value, f"{allowed}, and a letter or digit among them")
    if not letters.isalnum():
        raise InputError(path, value, allowed)
    return value


def ordinary_file(path: str | os.PathLike[str], allowed: str, remedy: str = "") -> None:
    """Refuses a path at which there is no ordinary file: a pipe would be waited for, a device never ends."""
    name = os.fspath(path) or "."
    if os.path.isfile(name):
        return
    found = "a folder" if os.path.isdir(name) else "no ordinary file" if os.path.lexists(name) else "no such file"
    raise InputError("", Fact(found), allowed, remedy, file=name)


def choice(path: str, value: object, known: Iterable[str], other_names: Mapping[str, str] | None = None) -> str:
    """One of the known words. Raises InputError with the nearest one, or the one that goes by another name."""
    known = list(known)
    if not isinstance(value, str) or value not in known:
        raise InputError(path, value, "one of " + ", ".join(known), meant(value, known, other_names or {}))
    return value


def meant(value: object, known: list[str], other_names: Mapping[str, str]) -> str:
    """A remedy that names the word that is meant, if one can be told."""
    words = " ".join(str(value)[:_LONGEST_FACT].lower().replace("_", " ").replace("-", " ").split())
    singular = words.removesuffix("s") if not words.endswith("ss") else words
    called = [other_names.get(words), other_names.get(singular), words, singular]
    return _meant(next((word for word in called if word in known), "") or _closest(value, known))


def day(path: str, value: object, first: dt.date, end: dt.date, why: str = "") -> dt.date:
    """A date from `first` to the day before `end`. Raises InputError."""
    last = end - dt.timedelta(days=1)
    allowed = f"a date from {first.isoformat()} to {last.isoformat()}{why}"
    if isinstance(value, dt.datetime) or not isinstance(value, dt.date):
        raise InputError(path, value, allowed, "write it like 2027-06-05, without quotes")
    if not first <= value < end:
        raise InputError(path, value, allowed)
    return value


def only_known(
    path: str,
    given: Iterable[str],
    known: Iterable[str],
    quantities: Iterable[Quantity] = (),
    remedy: Callable[[str], str] = lambda _: "",
) -> None:
    """Refuses the first key that is not known. Raises InputError with the nearest one, or those of its quantity.

    remedy: what to do about a word that is known to be meant otherwise, told before any that is merely like it.
    """
    known = list(known)
    for key in given:
        if key not in known:
            where = f"{path}.{key}" if path else key
            raise InputError(where, key, "a known key", remedy(key) or nearest(key, known, quantities))
