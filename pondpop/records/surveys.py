"""Records put together to surveys, and the last of them as a catch from which a pond can begin. Standard library only."""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import NamedTuple

from pondpop.records import Effort, Fish, Records
from pondpop.species.catalogue import standard_weight_g
from pondpop.units import MM_PER_IN

SESSION_DAYS = 30
"""Survey days at most this far from the first one are one survey (a choice of ours)."""
LEAST_WEIGHED = 3
"""Weighed fish of a class from which its condition is read (a choice of ours)."""


@dataclass(frozen=True)
class Survey:
    """The fish and the effort of one survey: all gears, days that lie close together."""

    first: dt.date
    last: dt.date
    fish: tuple[Fish, ...]
    effort: tuple[Effort, ...]

    @property
    def gears(self) -> tuple[str, ...]:
        return tuple(sorted({f.gear for f in self.fish} | {e.gear for e in self.effort}))

    def taken(self, gear: str, species: str) -> tuple[Fish, ...]:
        """Fish of one gear and species; a tagged fish that was caught on several days counts once, the first time."""
        seen: set[str] = set()
        out = []
        for f in sorted(self.fish, key=lambda f: (f.date, f.line)):
            if f.gear == gear and f.species == species and f.tag not in seen:
                out.append(f)
                if f.tag:
                    seen.add(f.tag)
        return tuple(out)

    def again(self, gear: str, species: str, shortest_mm: float = 0.0) -> int:
        """Tagged fish that were caught once more with this gear, each time counted: what `taken` leaves out."""
        rows = [f for f in self.fish if f.gear == gear and f.species == species]
        every, first = (sum(f.length_mm >= shortest_mm - 1e-6 for f in some) for some in (rows, self.taken(gear, species)))
        return every - first

    def sought(self, gear: str, species: str) -> bool:
        """Whether a species would have been written down had it been caught (it was caught, or its effort says so)."""
        named = [e for e in self.effort if e.gear == gear]
        return any(species in e.species for e in named) or any(
            f.gear == gear and f.species == species for f in self.fish
        )


def surveys(records: Records) -> tuple[Survey, ...]:
    """The surveys in the records, by date."""
    days = sorted({f.date for f in records.fish} | {e.date for e in records.effort})
    groups: list[list[dt.date]] = []
    for day in days:
        if groups and (day - groups[-1][0]).days <= SESSION_DAYS:
            groups[-1].append(day)
        else:
            groups.append([day])
    return tuple(Survey(g[0], g[-1], _of(records.fish, g), _of(records.effort, g)) for g in groups)


def _of(rows: Iterable, days: list[dt.date]) -> tuple:
    return tuple(row for row in rows if row.date in set(days))


class LastCatch(NamedTuple):
    """What the last survey caught with one gear: its days, effort in hours or hauls, and fish by species and inch class.

    condition: weight over standard weight of the fish of a class; where fewer than LEAST_WEIGHED of them were weighed, of all
    fish of the species that were; missing where there are none.
    """

    gear: str
    first: dt.date
    last: dt.date
    amount: float
    water_c: float | None
    fish: dict[tuple[str, int], int]
    condition: dict[tuple[str, int], float]


def last_catches(records: Records, gears: Sequence[str]) -> Iterable[LastCatch]:
    """Catches of known effort, those of the first gear first and each the last survey's first."""
    every = surveys(records)
    for gear in gears:
        for survey in reversed(every):
            worked = [e for e in survey.effort if e.gear == gear]
            days = {e.date for e in worked}
            fish = Counter[tuple[str, int]]()
            weighed = defaultdict[tuple[str, int], list[float]](list)
            for one in survey.fish:
                if one.gear == gear and one.date in days:
                    key = one.species, int(one.length_mm / MM_PER_IN + 1e-9)
                    fish[key] += one.count
                    if one.weight_g is not None:
                        weighed[key].append(one.weight_g / standard_weight_g(one.species, one.length_mm))
            warm = [e.water_c for e in worked if e.water_c is not None]
            if fish:
                amount, mean = sum(e.amount for e in worked), fmean(warm) if warm else None
                condition = _conditions(fish, weighed)
                yield LastCatch(gear, min(days), max(days), amount, mean, dict(sorted(fish.items())), condition)


def _conditions(
    fish: Iterable[tuple[str, int]], weighed: Mapping[tuple[str, int], list[float]]
) -> dict[tuple[str, int], float]:
    found = {}
    for species, inch in fish:
        mine = weighed.get((species, inch), [])
        if len(mine) < LEAST_WEIGHED:
            mine = [one for (name, _), some in weighed.items() if name == species for one in some]
        if mine:
            found[species, inch] = fmean(mine)
    return found
