"""What a set of records says of one run: the observations that a pond is held against, and what was not used."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise, product

import numpy as np
from numpy.typing import NDArray

from pondpop.assess.size_and_condition import (
    GAME,
    LENGTH_CLASSES,
    class_name,
    counts_by_inch,
    weighed,
    weight_classes,
    within,
)
from pondpop.assess.tags import MIN_DAYS
from pondpop.observe import indices
from pondpop.observe.gears import gear
from pondpop.records import BadRow, Fish, Records, TagEvent
from pondpop.records.surveys import Survey, surveys
from pondpop.scenario import Scenario
from pondpop.species import SPECIES
from pondpop.units import DAYS_PER_CALENDAR_YEAR, MM_PER_IN
from pondpop.update.likelihood import Haul, KeptInBooks, Mean, Observation, Outing, growth_of, wr_of
from pondpop.update.shares import Aged, Recaptured, Returned
from pondpop.update.simulate import Growing, Hatched, Keeping, Marked, Watched

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Evidence:
    """All that a set of records says of one run: observations, what must be watched for them, what was not used."""

    observations: tuple[Observation, ...]
    watched: Watched
    unused: tuple[str, ...]

    @property
    def last_day(self) -> int:
        return self.watched.days[-1] if self.watched.days else -1


def evidence(records: Records, scenario: Scenario) -> Evidence:
    """What the records say of the days of a run; what lies outside it, or tells nothing, is named.

    That none was caught of a species of which the scenario has no fish tells nothing, and is left out. Nor does what was
    seen on the first day, in the course of which the fish that live there come: the pond is held to be empty until then.
    """
    here = {species for strategy in scenario.strategies.values() for species in strategy.species}
    start, end = scenario.run.start, scenario.run.end
    unused: list[str] = []

    def day_of(date: dt.date) -> int | None:
        return (date - start).days if start <= date < end else None

    outside = [d for d in _dates(records) if day_of(d) is None]
    if outside:
        days = f"{len(outside)} day{'s' * (len(outside) > 1)} of records, {outside[0]} to {outside[-1]}"
        unused.append(f"{days}, lie outside the run, {start} to {end - dt.timedelta(days=1)}")
    whole, records = records, _after(records, start)
    if start in _dates(whole):
        unused.append(f"what was seen on {start} tells nothing, as the run begins on that day with its fish as they are stated")
    found: list[Observation] = []
    for survey in surveys(records):
        if day_of(survey.first) is None or day_of(survey.last) is None:
            continue
        found += _hauls(survey, start, records.left_out, unused)
        found += _conditions(survey, start)
    found += _angling(whole, scenario, unused)
    found = [o for o in found if not isinstance(o, Haul) or o.species in here or o.data.any()]
    asked, grown = _growth(records, start, end)
    marked, recaptured = _recaptured(records, start, end)
    hatched, aged = _aged(records, start, end)
    keeping, kept = _kept(whole, scenario, unused)
    tagged, returned = _returned(records, start, end)
    found += [*grown, *recaptured, *aged, *kept, *returned]
    looked = {one.day for one in found} | {one.day for o in found if isinstance(o, Haul) for one in o.outings}
    watched = Watched(
        tuple(sorted(looked)), tuple(asked), tuple(marked), tuple(hatched), tuple(keeping), tuple(tagged)
    )
    return Evidence(tuple(found), watched, tuple(unused))


def _after(records: Records, day: dt.date) -> Records:
    """The records without those of a day."""
    return replace(
        records,
        fish=tuple(row for row in records.fish if row.date != day),
        effort=tuple(row for row in records.effort if row.date != day),
        catches=tuple(row for row in records.catches if row.date != day),
        tags=tuple(row for row in records.tags if row.date != day),
    )


def _dates(records: Records) -> list[dt.date]:
    rows = (records.fish, records.effort, records.catches, records.tags)
    return sorted({row.date for kind in rows for row in kind})


def _hauls(survey: Survey, start: dt.date, left_out: Sequence[BadRow], unused: list[str]) -> Iterator[Haul]:
    """The catch of each gear and species that was taken up in a survey; days apart of which only the lengths count.

    These are days without known effort, and days of which a row was left out: how many were caught is not known then.
    """
    worked = {(e.date, e.gear): e for e in survey.effort}
    every = sorted({(f.date, f.gear) for f in survey.fish} | set(worked))
    for used in sorted({used for _, used in every}):
        for species in SPECIES:
            days: dict[bool, list[tuple[Outing, list[Fish]]]] = {True: [], False: []}
            for date in (date for date, gear_used in every if gear_used == used):
                effort = worked.get((date, used))
                caught = [f for f in survey.fish if (f.date, f.gear, f.species) == (date, used, species)]
                if effort and species not in effort.species:
                    continue
                lost = sum(_may_be_of(bad, date, used, species) for bad in left_out)
                if effort and lost:
                    rows = "a row that was" if lost == 1 else f"{lost} rows that were"
                    seen = "only the lengths of the others count" if caught else "nothing is known of it"
                    unused.append(f"{date} {used} {species}: {rows} left out may be of it, so {seen}")
                known = effort is not None and not lost
                if known or caught:
                    amount = effort.amount if known and effort else None
                    outing = Outing((date - start).days, amount, effort.water_c if effort else None)
                    days[known].append((outing, caught))
            for some in days.values():
                if some and gear(used).takes(species):
                    fish = tuple(f for _, caught in some for f in caught)
                    data = np.append(counts_by_inch(fish), 0.0)
                    yield Haul(f"{survey.first} {used} {species}", species, used, tuple(one for one, _ in some), data)


def _may_be_of(bad: BadRow, date: dt.date, used: str, species: str) -> bool:
    """Whether a row that was left out may have been one of a day's survey, by what can be read of it."""
    return bad.kind in ("survey.csv", "effort.csv") and all(
        read in (None, own) for read, own in ((bad.date, date), (bad.gear, used), (bad.species, species))
    )


def _conditions(survey: Survey, start: dt.date) -> Iterator[Mean]:
    day = (survey.first - start).days
    for used in survey.gears:
        for species in GAME:
            found = weighed(survey.taken(used, species), species)
            for low, high in weight_classes(species):
                mine, _ = found.of(low, high)
                if mine.size:
                    title = f"{survey.first} {used} {species}"
                    yield wr_of(day, species, used, low, high, float(mine.mean()), mine.size, title)


def _angling(records: Records, scenario: Scenario, unused: list[str]) -> Iterator[Haul]:
    """What anglers caught in each calendar year: all fish over all hours; those of each month held against the day in its middle.

    Fish are as wary then as the fishing that the scenario states (`[[angling]]`) makes them; that of the trips recorded does
    not count. Trips do not say what was sought: a species that none of them lists, be it with 0 fish, is left out.
    """
    start, end = scenario.run.start, scenario.run.end
    of_run = [c for c in records.catches if start < c.date < end]
    listed = {c.species for c in records.catches} | {bad.species for bad in records.left_out if bad.kind == "catches.csv"}
    for year in sorted({c.date.year for c in of_run}):
        rows = [c for c in of_run if c.date.year == year]
        broken = {(bad.date, bad.trip) for bad in records.left_out if bad.kind == "catches.csv"}
        halves = sorted({(c.date, c.trip) for c in rows} & broken)
        if halves:
            named = ", ".join(f"{date} {trip}" for date, trip in halves)
            unused.append(f"{year} angling: a row was left out of these trips, so all of each is: {named}")
            rows = [c for c in rows if (c.date, c.trip) not in broken]
        trips = {(c.date, c.trip): c.hours for c in rows}
        hours = sum(trips.values())
        if not hours:
            continue
        months: dict[int, list[tuple[int, float]]] = defaultdict(list)
        for (date, _), spent in sorted(trips.items()):
            months[date.month].append(((date - start).days, spent))
        lost = [
            bad
            for bad in records.left_out
            if bad.kind == "catches.csv" and (None in (bad.date, bad.trip)) and (bad.date is None or bad.date.year == year)
        ]
        for species in SPECIES:
            if not gear("angling").takes(species) or species not in listed:
                continue
            classes: dict[tuple[float, float], float] = defaultdict(float)
            unsized = 0.0
            for c in rows:
                if c.species != species:
                    continue
                if c.shortest_mm is None and c.longest_mm is None:
                    unsized += c.kept + c.released
                else:
                    classes[c.shortest_mm or 0.0, c.longest_mm or np.inf] += c.kept + c.released
            bounds = sorted(classes)
            if any(a[1] > b[0] + 1e-6 for a, b in pairwise(bounds)):
                unused.append(f"{year} {species}: the length classes of the trips overlap, so only their number counts")
                unsized, bounds = unsized + sum(classes.values()), []
            edges = sorted({0.0, np.inf, *(edge for one in bounds for edge in one)})
            parts = list(pairwise(edges))  # a class in which no fish was caught tells something too
            data = np.array([*(classes[one] if bounds else 0.0 for one in parts), unsized])
            bins = _bins(parts)
            known = not any(bad.species in (None, species) for bad in lost)
            if not known:
                unused.append(f"{year} angling {species}: a row that was left out may be of it, so only lengths count")
            if known or data[:-1].any():
                outings = tuple(_of_month(some, known) for some in months.values())
                yield Haul(f"{year} angling {species}", species, "angling", outings, data, bins)
    here = {species for strategy in scenario.strategies.values() for species in strategy.species}
    for species in SPECIES if of_run else ():
        if gear("angling").takes(species) and species in here - listed:
            unused.append(
                f"angling {species}: no trip lists any and none says what was sought, so that none was caught tells nothing "
                "(a row with 0 kept and 0 released says that it was sought)"
            )


def _of_month(trips: Sequence[tuple[int, float]], known: bool) -> Outing:
    """The trips of a month, days of the run and hours, about the day in their middle; unless their hours tell nothing."""
    hours = sum(spent for _, spent in trips)
    return Outing(round(sum(day * spent for day, spent in trips) / hours), hours if known else None, None, len(trips))


def _bins(bounds: list[tuple[float, float]]) -> Array:
    """Share of each one-inch class within each length class [bin, length_class]."""
    lower = np.arange(LENGTH_CLASSES) * MM_PER_IN
    rows = [
        np.clip((np.minimum(high, lower + MM_PER_IN) - np.maximum(low, lower)) / MM_PER_IN, 0.0, 1.0)
        for low, high in bounds
    ]
    return np.array(rows)


def _growth(records: Records, start: dt.date, end: dt.date) -> tuple[list[Growing], list[Mean]]:
    """Mean growth of tagged fish between two surveys, by species and length class at the first."""
    sessions = [s for s in surveys(records) if start < s.first and s.last < end]
    session = {date: s.first for s in sessions for date in {f.date for f in s.fish}}
    measured: dict[str, dict[dt.date, float]] = defaultdict(dict)
    species = {t.tag: t.species for t in records.tags}
    every: tuple[TagEvent | Fish, ...] = (*records.tags, *records.fish)
    for row in every:
        if row.tag and row.tag in species and row.length_mm is not None and row.date in session:
            measured[row.tag].setdefault(row.date, row.length_mm)
    groups: dict[tuple[dt.date, dt.date, str, int, int | None], list[tuple[float, float]]] = defaultdict(list)
    for tag, days in measured.items():
        first: dt.date | None = None
        for day in sorted(days):
            if first is not None and (day - first).days >= MIN_DAYS:
                for low, high in weight_classes(species[tag]) if species[tag] in GAME else [(0, None)]:
                    if within(np.array(days[first]), low, high):
                        a_year = (days[day] - days[first]) / (day - first).days * DAYS_PER_CALENDAR_YEAR
                        key = (session[first], session[day], species[tag], low, high)
                        groups[key].append((days[first], a_year))
                first = day
            first = first or day
    asked, found = [], []
    for (first_day, last_day, name, low, high), pairs in sorted(groups.items(), key=str):
        lengths, grown = np.array(pairs).T
        asked.append(
            Growing(name, (first_day - start).days, (last_day - start).days, tuple(map(float, lengths)))
        )
        title = f"{first_day} to {last_day} tags {name}"
        name_of = f"growth {class_name(low, high)}"
        found.append(growth_of(len(asked) - 1, asked[-1].last, name, name_of, grown.mean(), grown.size, title))
    return asked, found


def _recaptured(records: Records, start: dt.date, end: dt.date) -> tuple[list[Marked], list[Recaptured]]:
    """Marked fish in the catch of each survey in which any were seen or marked: of those marked in each earlier survey, and on
    each further day of those handled on the days before, which tells how many there are. Those that anglers kept since are
    marked fish too: their deaths are among those of the pond."""
    asked: list[Marked] = []
    found: list[Recaptured] = []
    sessions = [s for s in surveys(records) if start < s.first and s.last < end and any(f.tag for f in s.fish)]
    for n, now in enumerate(sessions):
        for species, used in product(GAME, now.gears):
            before, known = [], list[set[str | None]]()
            for then in sessions[:n]:
                old = set[str | None]().union(*known)
                new = {f.tag: f.length_mm for f in then.fish if f.tag and f.species == species and f.tag not in old}
                if new:
                    known.append(set(new))
                    before.append(Marked(species, (then.first - start).days, (now.first - start).days, tuple(new.values())))
            looks = [("old tags", now.first, before, known, now.taken(used, species))]
            for day in sorted({f.date for f in now.fish if f.gear == used}):
                handled = {f.tag: f.length_mm for f in now.fish if f.tag and f.species == species and f.date < day}
                first, last = (now.first - start).days, (day - start).days
                today = tuple(f for f in now.fish if (f.date, f.gear, f.species) == (day, used, species))
                again = [Marked(species, first, last, tuple(handled.values()))] if handled else []
                looks.append(("new tags", day, again, [set(handled)], today))
            for name, day, marked, tags, fish in looks:
                numbers = tuple(range(len(asked), len(asked) + len(marked)))
                asked += marked
                stock, quality = indices.category_inches(species)[:2]
                for low, high in ((stock, quality), (quality, None)) if marked else ():
                    some = [f for f in fish if within(np.array(f.length_mm), low, high)]
                    if some:
                        seen = {f.tag for f in some}
                        data = np.array([float(len(seen & of_day)) for of_day in tags])
                        examined = sum(f.count for f in some)
                        found.append(
                            Recaptured(
                                f"{day} {used} {species}", name, species, used, (day - start).days, numbers, low, high,
                                examined, data,
                            )
                        )  # fmt: skip
    return asked, found


def _kept(records: Records, scenario: Scenario, unused: list[str]) -> tuple[list[Keeping], list[KeptInBooks]]:
    """Fish that anglers kept in each calendar year, of species that they keep, where the books are said to hold every one."""
    asked: list[Keeping] = []
    found: list[KeptInBooks] = []
    if records.books is None:
        return asked, found
    start, end = scenario.run.start, scenario.run.end
    first, last = max(records.books[0], start), min(records.books[1] + dt.timedelta(days=1), end - dt.timedelta(days=1))
    wanted = {rule.species for strategy in scenario.strategies.values() for rule in strategy.harvest}
    for year in range(first.year, last.year + 1):
        begins, ends = max(first, dt.date(year, 1, 1)), min(last, dt.date(year + 1, 1, 1))
        if begins >= ends:
            continue
        rows = [c for c in records.catches if begins <= c.date < ends and c.species]
        lost = [bad for bad in records.left_out if bad.kind == "catches.csv" and (bad.date is None or begins <= bad.date < ends)]
        for species in (s for s in SPECIES if s in wanted | {c.species for c in rows if c.kept}):
            if any(bad.species in (None, species) for bad in lost):
                unused.append(f"{year} books {species}: a row that was left out may be of it, so how many were kept is not known")
                continue
            asked.append(Keeping(species, (begins - start).days, (ends - start).days))
            data = np.array([float(sum(c.kept for c in rows if c.species == species))])
            found.append(KeptInBooks(f"{year} books {species}", species, asked[-1].last, len(asked) - 1, data))
    return asked, found


def _returned(records: Records, start: dt.date, end: dt.date) -> tuple[list[Marked], list[Returned]]:
    """Tags that anglers handed in within a year of the survey in which fish were tagged; none is told of, where none ever was,
    since it may be that nobody asked for them."""
    asked: list[Marked] = []
    found: list[Returned] = []
    held = {(f.tag, f.date): f.length_mm for f in records.fish if f.tag}
    kept = {t.tag: t.date for t in records.tags if t.event == "kept" and (t.tag, t.date) not in held}
    if not kept:
        return asked, found
    known = max([*(t.date for t in records.tags), *(c.date for c in records.catches), *(f.date for f in records.fish)])
    for survey, species in product(surveys(records), GAME):
        if not start < survey.first <= survey.last < end:
            continue
        tagged = {
            t.tag: length
            for t in records.tags
            if t.event == "tagged" and t.species == species and survey.first <= t.date <= survey.last
            and (length := t.length_mm or held.get((t.tag, t.date))) is not None
        }  # fmt: skip
        last = min(survey.first + dt.timedelta(days=365), known + dt.timedelta(days=1), end - dt.timedelta(days=1))
        if not tagged or last <= survey.last:
            continue
        first, until = (survey.first - start).days, (last - start).days
        asked.append(Marked(species, first, until, tuple(tagged.values())))
        data = np.array([float(sum(tag in kept and kept[tag] < last for tag in tagged))])
        found.append(Returned(f"{survey.first} tags {species}", species, until, len(asked) - 1, len(tagged), data))
    return asked, found


def _aged(records: Records, start: dt.date, end: dt.date) -> tuple[list[Hatched], list[Aged]]:
    """The ages read in each survey, by gear and species; by calendar year, so that all fish are a year older on 1 January."""
    asked: list[Hatched] = []
    found: list[Aged] = []
    for survey in surveys(records):
        if not start < survey.first <= survey.last < end:
            continue
        day, years = (survey.first - start).days, survey.first.year - start.year + 2
        for used, species in product(survey.gears, SPECIES):
            fish = [f for f in survey.taken(used, species) if f.age is not None]
            if not fish or not gear(used).takes(species):
                continue
            every = weight_classes(species) if species in GAME else [(0, None)]
            counts = {}
            for one in every:
                some = [f for f in fish if within(np.array(f.length_mm), *one)]
                hatched = [f.date.year - (f.age or 0) - start.year + 1 for f in some]
                if some:
                    at = np.clip(hatched, 0, years - 1)
                    counts[one] = np.bincount(at, [float(f.count) for f in some], minlength=years)
            asked.append(Hatched(species, day))
            data = np.array(list(counts.values()))
            title = f"{survey.first} {used} {species}"
            found.append(Aged(title, species, used, day, len(asked) - 1, tuple(counts), data))
    return asked, found
