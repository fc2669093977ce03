"""Rows of the record files against each other: doubles, trips, and the life of each tagged fish. Standard library only.

Each function leaves out the row that contradicts what stands before it (in time, or in its file) and says why.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import combinations, pairwise
from math import inf
from typing import TypeVar

from pondpop.checks import Fact, InputError
from pondpop.records.csv_rows import Sheets
from pondpop.records.rows import Catch, Effort, Fish, TagEvent
from pondpop.species import TRAITS
from pondpop.species.catalogue import gears
from pondpop.species.gears import taken_share
from pondpop.units import DAYS_PER_CALENDAR_YEAR, MM_PER_IN

LENGTH_ERROR_MM = 10.0
"""Two measurements of one fish may differ by this much (assumed)."""
FASTEST_MM_A_DAY = 2.0
"""No fish grows faster than this (assumed)."""

MOST_YEARS_APART = 30
"""A row so many years from the middle one of all records has a wrong year (assumed)."""
FEWEST_DATED = 5
"""Rows of which one can be told to be of another time (a choice)."""

MOST_HOURS_A_DAY = 12.0
"""Of electrofishing, beyond which minutes may be meant (a choice)."""

STRETCHES = ((5, 5, True), (12, 8, False))
"""Rows, unlike rows, and whether any must be weighed, for a stretch that comes again to be worth a word."""

Row = TypeVar("Row", Effort, TagEvent)
Dated = TypeVar("Dated", Fish, Effort, Catch, TagEvent)


def of_one_time(
    sheet: Sheets | None, rows: list[Dated], every: Iterable[Sequence[Fish | Effort | Catch | TagEvent]]
) -> list[Dated]:
    """The rows of a sheet that are of the time of all records; of fewer than FEWEST_DATED none can be told to be of another."""
    dates = sorted(row.date for kind in every for row in kind)
    if not sheet or len(dates) < FEWEST_DATED:
        return rows
    middle, kept = dates[len(dates) // 2], []
    for row in rows:
        if abs((row.date - middle).days) > MOST_YEARS_APART * DAYS_PER_CALENDAR_YEAR:
            allowed = f"a date within {MOST_YEARS_APART} years of the others, of which the middle one is {middle}"
            sheet.reject(row.line, InputError("date", row.date, allowed, "check the year"), row)
        else:
            kept.append(row)
    return kept


def once(sheet: Sheets | None, rows: list[Row], key: Callable[[Row], tuple], words: str) -> list[Row]:
    """The first row of each key."""
    first: dict[tuple, Row] = {}
    for row in rows:
        if key(row) in first and sheet:
            sheet.reject(
                row.line,
                InputError(
                    "row", Fact("a second one"), f"one row for {words}", f"the first is {sheet.at(first[key(row)].line)}"
                ),
                row,
            )
        else:
            first[key(row)] = row
    return list(first.values())


def trips(sheet: Sheets | None, rows: list[Catch]) -> list[Catch]:
    """One effort a trip; each species and class once; nothing beside a row that says that no fish were caught."""
    kept: dict[tuple[dt.date, str], list[Catch]] = defaultdict(list)
    for row in rows:
        trip = kept[row.date, row.trip]
        assert sheet is not None
        if trip and row.hours != trip[0].hours:
            sheet.reject(
                row.line,
                InputError("hours", row.hours, f"the hours of its trip, {trip[0].hours:g} on {sheet.at(trip[0].line)}"),
                row,
            )
        elif trip and (row.species is None or trip[0].species is None):
            sheet.reject(row.line, InputError("trip", row.trip, "either fish or none", f"see {sheet.at(trip[0].line)}"), row)
        elif twin := next((c for c in trip if _class(c) == _class(row)), None):
            sheet.reject(
                row.line,
                InputError(
                    "row",
                    Fact("a second one"),
                    "one row for this trip, species and class",
                    f"the first is {sheet.at(twin.line)}",
                ),
                row,
            )
        elif over := next((c for c in trip if c.species == row.species and _overlap(c, row)), None):
            sheet.reject(
                row.line,
                InputError(
                    "length class", Fact(f"one that overlaps {sheet.at(over.line)}"), "classes of a trip that do not overlap"
                ),
                row,
            )
        else:
            trip.append(row)
    return sorted((c for trip in kept.values() for c in trip), key=lambda c: c.line)


def _class(c: Catch) -> tuple:
    return c.species, c.shortest_mm, c.longest_mm


def _overlap(a: Catch, b: Catch) -> bool:
    """Whether two length classes share lengths; "size not noted" may stand beside measured fish."""
    if any(c.shortest_mm is None and c.longest_mm is None for c in (a, b)):
        return False
    return max(a.shortest_mm or 0, b.shortest_mm or 0) < min(a.longest_mm or inf, b.longest_mm or inf)


def sought(sheet: Sheets | None, efforts: Sheets | None, fish: list[Fish], effort: list[Effort]) -> list[Fish]:
    """Fish of species that were taken up with that gear on that day, each tagged fish once a day."""
    sought = {(e.date, e.gear): e for e in effort}
    out: list[Fish] = []
    held: dict[tuple[str, dt.date], int] = {}
    for f in fish:
        assert sheet is not None
        e = sought.get((f.date, f.gear))
        if e and efforts and f.species not in e.species:
            allowed = f"one sought on that day ({', '.join(e.species)}, {efforts.named(e.line)})"
            sheet.reject(f.line, InputError("species", f.species, allowed), f)
        elif f.tag and (f.tag, f.date) in held:
            sheet.reject(
                f.line,
                InputError("tag", f.tag, "each tagged fish once a day", f"the first is {sheet.at(held[f.tag, f.date])}"),
                f,
            )
        else:
            out.append(f)
            if f.tag:
                held[f.tag, f.date] = f.line
    return out


def histories(
    survey: Sheets | None, sheet: Sheets, fish: list[Fish], tags: list[TagEvent]
) -> tuple[list[Fish], list[TagEvent]]:
    """Follows each tag through its days; rows that contradict what came before are left out."""
    order = "tagged", "recaptured", "survey", "kept"
    life: dict[str, list[tuple[dt.date, int, str, Fish | TagEvent]]] = defaultdict(list)
    for t in tags:
        life[t.tag].append((t.date, order.index(t.event), t.event, t))
    for f in fish:
        if f.tag:
            life[f.tag].append((f.date, order.index("survey"), "survey", f))
    out: set[tuple[str, int]] = set()
    for tag, events in life.items():
        events.sort(key=lambda e: (e[0], e[1], e[3].line))
        tagged = kept = None
        measured: Fish | TagEvent | None = None
        for date, _, what, row in events:
            why = None
            where = "survey.csv" if what == "survey" else "tags.csv"
            if what == "tagged":
                if tagged:
                    why = InputError(
                        "event", "tagged", "one tagging a tag", f"it was tagged on {tagged.date}, {sheet.at(tagged.line)}"
                    )
            elif tagged is None:
                later = next((r for _, _, w, r in events if w == "tagged"), None)
                found = (
                    f"it was tagged on {later.date}, {sheet.at(later.line)}" if later else "it is never tagged in tags.csv"
                )
                why = InputError("tag", tag, f"a fish tagged by {date}", found)
            if why is None and kept:
                why = InputError(
                    "tag", tag, "a fish still in the pond", f"it was kept on {kept.date}, {sheet.at(kept.line)}"
                )
            if why is None and tagged and row.species != tagged.species:
                why = InputError("species", row.species, f"{tagged.species}, as tagged on {sheet.at(tagged.line)}")
            if why is None and measured and row.length_mm is not None:
                source = survey if isinstance(measured, Fish) and survey else sheet
                why = _impossible_growth(measured, row, source.named(measured.line))
            if why:
                (survey if what == "survey" and survey else sheet).reject(row.line, why, row)
                out.add((where, row.line))
                continue
            if what == "tagged":
                tagged = row
            elif what == "kept":
                kept = row
            measured = row if row.length_mm is not None else measured
    return (
        [f for f in fish if ("survey.csv", f.line) not in out],
        [t for t in tags if ("tags.csv", t.line) not in out],
    )


def _impossible_growth(before: Fish | TagEvent, now: Fish | TagEvent, where: str) -> InputError | None:
    assert before.length_mm is not None and now.length_mm is not None
    days, gain = (now.date - before.date).days, now.length_mm - before.length_mm
    if -LENGTH_ERROR_MM <= gain <= LENGTH_ERROR_MM + FASTEST_MM_A_DAY * days:
        return None
    least, most = before.length_mm - LENGTH_ERROR_MM, before.length_mm + LENGTH_ERROR_MM + FASTEST_MM_A_DAY * days
    earlier = f"it measured {_long(before.length_mm)} {days} days before ({where})"
    return InputError(
        "length",
        Fact(_long(now.length_mm)),
        f"{_long(least)} to {_long(most)}",
        earlier + "; one of the two is wrong",
    )


def _long(mm: float) -> str:
    """Both units: what was measured before may stand in another file and unit."""
    return f"{mm:.0f} mm ({mm / MM_PER_IN:.1f} in)"


def notes(
    sheets: Mapping[str, Sheets | None], fish: list[Fish], effort: list[Effort], tags: list[TagEvent],
    lost_effort: Sequence[tuple[str, dt.date | None, str | None]] = (),
) -> Iterator[str]:
    """What looks odd among rows that were kept, in words.

    lost_effort: where they stand, date and gear of the rows of effort that were left out, as far as they can be read.
    """  # fmt: skip
    worked = {(e.date, e.gear) for e in effort}
    idle = sorted({(f.date, f.gear) for f in fish} - worked)
    for where, date, gear in lost_effort:
        if mine := [(d, g) for d, g in idle if date in (None, d) and gear in (None, g)]:
            worked_on = some(f"{d} {g}" for d, g in mine)
            yield f"{where} was left out, which may be the effort of {worked_on}: no catch rates for it"
            idle = [one for one in idle if one not in mine]
    if idle and sheets["effort.csv"]:
        yield "no effort is recorded for " + some(f"{d} {g}" for d, g in idle) + ": no catch rates for these"
    caught = {(f.date, f.gear) for f in fish}
    if sheets["survey.csv"] and (empty := sorted({(e.date, e.gear) for e in effort} - caught)):
        yield "effort without a fish in survey.csv, " + some(f"{d} {g}" for d, g in empty) + ": taken as nothing caught"
    if long := [e for e in effort if e.gear == "electrofishing" and e.amount > MOST_HOURS_A_DAY]:
        hours = some(f"{e.amount:g} hours on {e.date}" for e in long)
        yield f"more electrofishing than a day has room for, {hours}: are these minutes?"
    if not sheets["tags.csv"] and any(f.tag for f in fish):
        yield "survey.csv names tags, but there is no tags.csv: nothing is learned from them"
    held = {(f.tag, f.date) for f in fish if f.tag}
    days = {f.date for f in fish if f.tag}
    absent = [
        f"{t.tag} on {t.date}" for t in tags if t.event == "tagged" and t.date in days and (t.tag, t.date) not in held
    ]
    if absent:
        yield "tagged on the day of a survey, but not among its fish: " + some(absent)
    if surveys := sheets["survey.csv"]:
        yield from _too_small(surveys, fish)
        yield from _unlike_their_age(surveys, fish)
        yield from _repeats(surveys, fish)


LEAST_TAKEN = 0.02
"""Share of the fish of a length within reach below which a gear hardly takes any (a choice of ours)."""


def _too_small(surveys: Sheets, fish: list[Fish]) -> Iterator[str]:
    """Fish of a length that their gear hardly takes."""
    found: dict[tuple[str, str], list[Fish]] = defaultdict(list)
    for f in fish:
        settings = gears()[f.gear]
        known = f"{f.species}_selected_from_mm" in settings
        if known and taken_share(settings, f.species, f.length_mm) < LEAST_TAKEN:
            found[f.gear, f.species].append(f)
    for (gear, species), odd in found.items():
        lines = surveys.some((f.line for f in odd), 3)
        shortest = min(f.length_mm for f in odd)
        yield (
            f"{sum(f.count for f in odd)} {species} from {_long(shortest)} on, of a length that {gear} hardly takes "
            f"({lines}): check length and gear"
        )


UNLIKE_USUAL = 0.5, 1.5
"""Shares of the usual length at an age, and at the next, below and above which a fish is odd (choices of ours)."""


def _unlike_their_age(surveys: Sheets, fish: list[Fish]) -> Iterator[str]:
    """Fish far shorter than is usual at their age, or far longer than at the next one: either may be written down wrong."""
    found: dict[str, list[Fish]] = defaultdict(list)
    for f in fish:
        if f.age is not None:
            low, high = UNLIKE_USUAL
            if not low * _usual_mm(f.species, f.age) <= f.length_mm <= high * _usual_mm(f.species, f.age + 1):
                found[f.species].append(f)
    for species, odd in found.items():
        lines = surveys.some((f.line for f in odd), 3)
        yield (
            f"{sum(f.count for f in odd)} {species} whose age and length do not fit one another ({lines}), the first "
            f"{_long(odd[0].length_mm)} at age {odd[0].age}: check both"
        )


def _usual_mm(species: str, age: int) -> float:
    """The usual length at an age, on straight lines between those that are known; that of the oldest for all beyond."""
    known = TRAITS[species].usual_ages
    for (shorter, younger), (longer, older) in pairwise(known):
        if age <= older:
            return max(shorter, shorter + (longer - shorter) * (age - younger) / (older - younger))
    return known[-1][0]


def after(today: dt.date, rows: Iterable[Sequence[Fish | Effort | Catch | TagEvent]]) -> Iterator[str]:
    """Names dates that have not come yet."""
    late = [row for kind in rows for row in kind if row.date > today]
    if late:
        dates = some(str(day) for day in sorted({row.date for row in late}))
        yield f"{len(late)} row{'s' * (len(late) > 1)} dated after today, {today}: {dates}; kept, but check the year"


def of_books(books: tuple[dt.date, dt.date] | None, today: dt.date, catches: Sequence[Catch]) -> Iterator[str]:
    """Names what is odd about books that are said to hold every trip of some days."""
    if books is None:
        return
    first, last = books
    if last > today:
        yield f"catches are said to hold every trip until {last}, a day after today, {today}; kept, but check the year"
    if not any(first <= row.date <= last for row in catches):
        yield f"catches are said to hold every trip from {first} to {last}, and hold none: nobody kept a fish then"


def some(items: Iterable[str], most: int = 5) -> str:
    """The first few, and how many more."""
    items = list(items)
    return ", ".join(items[:most]) + (f" and {len(items) - most} more" if len(items) > most else "")


def _repeats(surveys: Sheets, fish: list[Fish]) -> Iterator[str]:
    """Names the first stretch of survey rows that occurs twice, as when rows are pasted again.

    Five unlike rows suffice where weights tell fish apart, twelve of which eight are unlike where they do not; or all
    rows of a day and gear written down twice, five of them unlike (choices of ours: fish of one length are alike by chance).
    """
    rows = [_seen(f) for f in fish]
    found = [pair for block, unlike, weighed in STRETCHES if (pair := _again(rows, block, unlike, weighed))]
    of_day: dict[tuple, list[int]] = defaultdict(list)
    for i, f in enumerate(fish):
        of_day[f.date, f.gear].append(i)
    for lines in of_day.values():
        half = len(lines) // 2
        first, second = ([rows[i] for i in part] for part in (lines[:half], lines[half:]))
        if first == second and len(set(first)) >= STRETCHES[0][1]:
            found.append((lines[half], lines[0]))
    if found:
        again, before = min(found)
        sheet, _ = surveys.place(fish[again].line)
        yield (
            f"{sheet.name} repeats {'itself' if sheet is surveys.place(fish[before].line)[0] else 'another'}: the rows from "
            f"{surveys.at(fish[again].line)} are those from {surveys.at(fish[before].line)} again; kept, but check that they "
            "were not pasted twice"
        )


def each_survey_once(surveys: Sheets | None, fish: list[Fish]) -> None:
    """Raises InputError where the fish of one date and gear stand in two sheets, alike to the last."""
    found: dict[tuple[dt.date, str], dict[str, list[Fish]]] = defaultdict(lambda: defaultdict(list))
    if surveys is None or len(surveys.every) == 1:
        return
    for f in fish:
        found[f.date, f.gear][surveys.place(f.line)[0].name].append(f)
    for (date, gear), by_sheet in found.items():
        for one, other in combinations(by_sheet.values(), 2):
            rows, again = (Counter(_seen(f) for f in some) for some in (one, other))
            if rows == again and len(rows) >= LEAST_ALIKE:
                given = Fact(f"the fish of {date} by {gear} again, as {surveys.named(one[0].line)} and below has them")
                path = str(surveys.place(other[0].line)[0].path)
                raise InputError("", given, "each survey in one sheet", "take one of the two out", file=path)


LEAST_ALIKE = 3
"""Unlike fish of one day from which two sheets that agree are taken to be one (a choice of ours)."""


def _seen(f: Fish) -> tuple:
    return f.date, f.gear, f.species, f.length_mm, f.weight_g, f.count, f.tag, f.sex


def _again(rows: list[tuple], block: int, unlike: int, weighed: bool) -> tuple[int, int] | None:
    """Where the first stretch of rows stands that occurred before, and where it did."""
    first: dict[tuple, int] = {}
    for i in range(len(rows) - block + 1):
        stretch = tuple(rows[i : i + block])
        if len(set(stretch)) < unlike or (weighed and all(row[4] is None for row in stretch)):
            continue
        if stretch in first:
            return i, first[stretch]
        first[stretch] = i
    return None
