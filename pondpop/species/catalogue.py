"""Every number of the species files with its unit, range and source: read, checked, told in words. Standard library only."""

import math
import tomllib
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, fields
from functools import cache
from pathlib import Path
from textwrap import fill
from typing import Any, Final

from pondpop.checks import MISSING as NOTHING
from pondpop.checks import InputError, nearest, only_known
from pondpop.species.registry import FORMS, HABITS, KINDS, STRAIN_PARAMETERS, TRAITS

HERE: Final = Path(__file__).parent
POND: Final = "pond"
PLACES: Final = (*KINDS, POND)
ORIGINS: Final = ("published", "from memory", "assumed", "calibrated")
PARTS: Final = ("model", "standards", "methods")

@dataclass(frozen=True)
class Entry:
    """One parameter as its file tells it; `unit` "1" is a pure number, `source` a key of sources.toml or empty.

    `published` is the value in the source where ours departs from it; `spread`, of a parameter in which members of an
    ensemble differ, the standard deviation of its logarithm (all assumed).
    """

    name: str
    value: float
    unit: str
    low: float
    high: float
    kind: str
    source: str
    note: str
    published: float | None = None
    spread: float | None = None


@dataclass(frozen=True)
class Work:
    """One work to cite; `read` says whether its figures were read in it, `use` what it is used for, `part` by what."""

    reference: str
    read: str
    use: str
    part: str


_ASKED: Final = {key: f'{trait} = "{form}"' for trait, forms in FORMS.items() for form, keys in forms.items() for key in keys} | {
    key: f'habits = ["{habit}"]' for habit, keys in HABITS.items() for key in keys
}
"""The trait that asks for a parameter."""


@cache
def entries() -> Mapping[str, Mapping[str, Entry]]:
    """Every parameter, by species, kind or "pond" and key, in the order of the files. Raises InputError.

    A species' file holds what its traits ask for and nothing else; that of a kind holds what differs from the species.
    """
    tables = {place: read_entries(_text(f"{place}.toml"), f"{place}.toml", works()) for place in PLACES}
    for name, kind in KINDS.items():
        needs = TRAITS[kind.species].needs
        for key in tables[name]:
            if name != kind.species and key in needs and key not in STRAIN_PARAMETERS:
                allowed = "one in which strains can differ: " + ", ".join(STRAIN_PARAMETERS)
                raise InputError(key, key, allowed, nearest(key, STRAIN_PARAMETERS), f"{name}.toml")
            if key not in needs:
                remedy = nearest(key, needs) if key not in _ASKED else f"add the trait that asks for it: {_ASKED[key]}"
                raise InputError(key, key, "a parameter that its traits ask for", remedy, f"{name}.toml")
        missing = [key for key in needs if key not in tables[name]] if name == kind.species else []
        if missing:
            asks = f"an entry, which {needs[missing[0]]} asks for"
            raise InputError(missing[0], NOTHING, asks, f"add [{missing[0]}]", f"{name}.toml")
    return tables


@cache
def gears() -> Mapping[str, Mapping[str, Entry]]:
    """Every value of the gears, by gear and key. Raises InputError."""
    files = sorted((HERE / "gears").glob("*.toml"))
    return {file.stem: read_entries(file.read_text("utf-8"), file.name, works()) for file in files}


@cache
def works() -> Mapping[str, Work]:
    """Every work, by the key that the other files use. Raises InputError."""
    file = "sources.toml"
    raw = _parse(_text(file), file)
    result = {key: Work(**_table(file, key, table, Work)) for key, table in raw.items()}
    for key, work in result.items():
        if work.part not in PARTS:
            raise InputError(f"{key}.part", work.part, "one of " + ", ".join(PARTS), nearest(work.part, PARTS), file)
    return result


@cache
def standards() -> Mapping[str, Any]:
    """The published yardsticks of pond surveys (length categories, standard weights, target ranges)."""
    return _parse(_text("standards.toml"), "standards.toml")


def standard_weight_g(species: str, length_mm: float) -> float:
    """The weight of a fish of a species in full condition, g, by the length-weight relation of its file."""
    intercept, slope = (entries()[species][f"standard_weight_{part}"].value for part in ("intercept", "slope"))
    return float(10 ** (intercept + slope * math.log10(length_mm)))


def read_entries(text: str, file: str, known_works: Mapping[str, Work]) -> dict[str, Entry]:
    """The parameters in the text of one file, each checked: keys, range, unit, kind, source. Raises InputError."""
    result = {}
    for key, table in _parse(text, file).items():
        if key == "traits":
            continue
        table = _table(file, key, table, Entry)
        entry = Entry(**table)
        for part in ("low", "value", "high", *(part for part in ("published", "spread") if part in table)):
            number = table[part]
            if isinstance(number, bool) or not isinstance(number, int | float) or not math.isfinite(number):
                raise InputError(f"{key}.{part}", number, "a finite number", file=file)
        if not entry.low <= entry.high:
            raise InputError(f"{key}.low", entry.low, f"at most high = {entry.high}", file=file)
        if not entry.low <= entry.value <= entry.high:
            raise InputError(
                f"{key}.value", entry.value, f"a number from low = {entry.low} to high = {entry.high}",
                "mend the value, or the range with the reason in the note", file,
            )  # fmt: skip
        if entry.spread is not None and not (entry.spread > 0.0 and entry.low > 0.0):
            raise InputError(f"{key}.spread", entry.spread, "a number above 0, of a parameter above 0", file=file)
        for part in ("name", "unit"):
            if not table[part].strip():
                raise InputError(f"{key}.{part}", table[part], "text", 'a pure number has the unit "1"', file)
        if entry.kind not in ORIGINS:
            raise InputError(f"{key}.kind", entry.kind, "one of " + ", ".join(ORIGINS), nearest(entry.kind, ORIGINS), file)
        if entry.source and entry.source not in known_works:
            raise InputError(
                f"{key}.source", entry.source, "a work of sources.toml", nearest(entry.source, known_works), file
            )
        if not entry.source and entry.kind in ("published", "calibrated") and not entry.note.strip():
            raise InputError(f"{key}.note", entry.note, f"the reason why it is {entry.kind}", file=file)
        if not entry.source and (entry.kind == "published" or entry.published is not None):
            raise InputError(f"{key}.source", entry.source, "the work in which it is published", file=file)
        result[key] = entry
    return result


def find(path: str) -> Entry:
    """The parameter at `bass.max_intake_at_1_g` or `pond.length_cv`. Raises InputError naming the nearest one."""
    place, _, key = path.partition(".")
    entry = entries().get(place, {}).get(key)
    if entry is None:
        raise InputError(path, path, "the path of a parameter", _nearest_path(path))
    return entry


def paths() -> tuple[str, ...]:
    """The path of every parameter, in the order of the files."""
    return tuple(f"{place}.{key}" for place, table in entries().items() for key in table)


def uncertain() -> dict[str, float]:
    """The parameters in which members of an ensemble differ, and the standard deviation of their logarithm."""
    table = {path: find(path).spread for path in paths()}
    return {path: spread for path, spread in table.items() if spread is not None}


def works_cited(*parts: str) -> list[str]:
    """The references of some parts (`model`, `standards`, `methods`), or of all, by author. Raises InputError."""
    for part in parts:
        if part not in PARTS:
            raise InputError("works", part, "one of " + ", ".join(PARTS), nearest(part, PARTS))
    cited = {work.reference for work in works().values() if work.part in (parts or PARTS)}
    return sorted(cited, key=str.casefold)


def sources_text(width: int = 110) -> str:
    """Every parameter with value, unit and source, the yardsticks of surveys, and the works to cite."""
    lines = ["Parameters of the model: value [range] unit, kind, source", ""]
    titles = {name: kind.title for name, kind in KINDS.items()} | {POND: "The pond, and what all species share"}
    titles |= {name: f"Gear: {name}" for name in gears()}
    for place, table in ({**entries(), **gears()}).items():
        lines += [titles[place], "-" * len(titles[place])]
        for key, entry in table.items():
            unit = "" if entry.unit == "1" else f" {entry.unit}"
            there = "" if entry.published is None else f" (there {entry.published:g})"
            doubt = "" if entry.spread is None else f"members differ by some {100 * entry.spread:g} % (assumed)"
            origin = ", ".join(part for part in (entry.kind, entry.source + there, doubt) if part)
            line = f"{key} = {entry.value:g} [{entry.low:g} to {entry.high:g}]{unit}, {origin}"
            lines.append(fill(line, width, subsequent_indent=" " * 8))
            lines.append(_indented(entry.name + (f"; {entry.note}" if entry.note else ""), width))
        lines.append("")
    lines += ["Yardsticks of surveys", "---------------------", *_standards_lines(width), ""]
    lines += ["Works to cite", "-------------"]
    for key, work in sorted(works().items(), key=lambda item: item[0].casefold()):
        lines += [f"{key} ({work.read}): {work.use}", _indented(work.reference, width)]
    return "\n".join(lines) + "\n"


def _standards_lines(width: int) -> list[str]:
    table = standards()
    categories, weights = table["categories"], table["standard_weight"]
    lines = [f"length categories, in, from {' / '.join(categories['order'])} ({_origin(categories)})"]
    lines += [
        f"    {species.replace('_', ' ')}: {' / '.join(map(str, row['inches']))}"
        for species, row in categories.items()
        if isinstance(row, dict)
    ]
    lines.append("standard weight, log10 g = intercept + slope * log10 mm")
    lines += [
        f"    {species.replace('_', ' ')}: {row['intercept']} + {row['slope']} * log10 mm, "
        f"from {row['shortest_mm']} mm ({_origin(row)})"
        for species, row in weights.items()
    ]
    low, high = table["relative_weight"]["target"]
    lines.append(f"relative weight wanted {low} to {high} % ({_origin(table['relative_weight'])})")
    lines.append(f"ranges of PSD by management option ({_origin(table['targets'])})")
    for option, row in table["targets"].items():
        if isinstance(row, dict):
            parts = [
                f"{species} {index.upper().replace('_', '-')} {low}-{high}"
                for species, indices in row.items()
                for index, (low, high) in indices.items()
            ]
            lines.append(f"    {option.replace('_', ' ')}: {', '.join(parts)}")
    lines.append(f"weights of a balanced pond ({_origin(table['balance'])})")
    for ratio, row in table["balance"].items():
        if isinstance(row, dict):
            (low, high), (best_low, best_high) = row["balanced"], row["best"]
            lines.append(f"    {ratio.replace('_', ' ')}: {low} to {high}, best {best_low} to {best_high}")
    return [fill(line, width, subsequent_indent=" " * 8) for line in lines]


def _origin(table: Mapping[str, Any]) -> str:
    return "; ".join(part for part in (f"{table['kind']}, {table['source']}", table["note"]) if part)


def _indented(text: str, width: int) -> str:
    return fill(text, width, initial_indent="    ", subsequent_indent="    ")


def _nearest_path(path: str) -> str:
    key = path.rpartition(".")[2]
    remedy = nearest(path, [known for known in paths() if known.endswith(f".{key}")] or paths())
    return remedy if remedy.startswith("did you mean") else "`pondpop sources` lists them"


def _text(file: str) -> str:
    return (HERE / file).read_text("utf-8")


def _parse(text: str, file: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError("", text, f"a TOML file ({error})", file=file) from error


def _table(file: str, key: str, table: object, kind: type) -> dict[str, Any]:
    if not isinstance(table, dict):
        raise InputError(key, table, "a table of its own", f"write [{key}] above it", file)
    known = {field.name: (field.type, field.default is MISSING) for field in fields(kind)}
    try:
        only_known(key, table, known)
    except InputError as error:
        raise error.in_file(file) from None
    for name, (wanted, required) in known.items():
        if required and name not in table:
            raise InputError(f"{key}.{name}", NOTHING, "an entry", f"add {name} = ...", file)
        if wanted is str and not isinstance(table[name], str):
            raise InputError(f"{key}.{name}", table[name], "text", file=file)
    return table
