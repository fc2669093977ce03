"""What a seine along the shore says: young bass, newly hatched and intermediate bluegill.

The idea is the key of Swingle 1956 (from memory, in our own words). How many are "many" is a declared choice of ours: his
own figures were not found.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from pondpop.records.surveys import Survey
from pondpop.units import MM_PER_IN

YOUNG_BASS_BELOW_IN = 4.0
HATCHED_BLUEGILL_BELOW_IN = 1.5
INTERMEDIATE_BLUEGILL_IN = (3.0, 5.0)
MANY_HATCHED_PER_HAUL = 10.0
MANY_INTERMEDIATE_PER_HAUL = 5.0
SEASON = ((6, 1), (9, 30))
"""Seining for young fish tells most in these months (common practice, no source)."""

_WITH_YOUNG_BASS = {
    ("many", "many"): "both spawn, but intermediate bluegill are not thinned enough: bluegill crowding may begin",
    ("many", "few"): "balanced: both spawn and the young bluegill are thinned",
    ("many", "none"): "both spawn and bass take nearly all young bluegill: balanced, or bass crowded",
    ("few", "many"): "intermediate bluegill are many and few young hatch: bluegill crowded, though bass still spawn",
    ("few", "few"): "few bluegill hatch: too early or late in the season, or bass crowded",
}
_WITHOUT = {
    ("many", "many"): "bluegill spawn and grow up, bass do not spawn: bluegill crowding has begun",
    ("many", "few"): "bluegill spawn and are thinned, but no young bass: in balance for now, bass fail to renew",
    ("few", "many"): "bluegill crowded: intermediate bluegill are many and no young of bass are found",
    ("few", "few"): "hardly any young: other fish compete, or the water or the season does not suit spawning",
}


@dataclass(frozen=True)
class SeiningReading:
    """Fish per haul, how they are called, and what the three together say."""

    hauls: int
    young_bass: int
    hatched_per_haul: float
    intermediate_per_haul: float
    hatched: str
    intermediate: str
    words: str
    in_season: bool


def seining(survey: Survey) -> SeiningReading | None:
    """The reading of the seine hauls of a survey; None without hauls in which bass and bluegill were taken up."""
    worked = [e for e in survey.effort if e.gear == "seine" and {"bass", "bluegill"} <= set(e.species)]
    if not worked:
        return None
    hauls, days = int(sum(e.amount for e in worked)), {e.date for e in worked}

    def number(species: str, low_in: float, high_in: float) -> int:
        low, high = low_in * MM_PER_IN, high_in * MM_PER_IN  # as a length in inches is read, so that 3 in are 3 in
        return sum(
            f.count
            for f in survey.fish
            if (f.gear, f.species) == ("seine", species) and f.date in days and low <= f.length_mm < high
        )

    bass = number("bass", 0, YOUNG_BASS_BELOW_IN)
    per_haul = number("bluegill", 0, HATCHED_BLUEGILL_BELOW_IN) / hauls
    between = number("bluegill", *INTERMEDIATE_BLUEGILL_IN) / hauls
    hatched = amount(per_haul, MANY_HATCHED_PER_HAUL)
    intermediate = amount(between, MANY_INTERMEDIATE_PER_HAUL)
    months = [_in_season(e.date) for e in worked]
    return SeiningReading(
        hauls, bass, per_haul, between, hatched, intermediate, reading(bass > 0, hatched, intermediate), all(months)
    )


def amount(per_haul: float, many: float) -> str:
    return "none" if per_haul == 0 else "many" if per_haul >= many else "few"


def reading(young_bass: bool, hatched: str, intermediate: str) -> str:
    """The words for young bass present or not, and newly hatched and intermediate bluegill none, few or many."""
    table = _WITH_YOUNG_BASS if young_bass else _WITHOUT
    hatched = "many" if hatched == "many" else "few"
    return table.get((hatched, intermediate)) or table[hatched, "few"]


def _in_season(date: dt.date) -> bool:
    return SEASON[0] <= (date.month, date.day) <= SEASON[1]
