"""What the catch records say: fish an hour, and the share kept."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

import numpy as np
from scipy import stats

from pondpop.assess.surveys import Finding
from pondpop.observe import indices
from pondpop.records import Catch, Records
from pondpop.species import SPECIES


def angler_findings(records: Records) -> Iterator[Finding]:
    """By year: trips and hours, and for each species fish caught an hour with limits and the share of them kept.

    Fish an hour is all fish over all hours; its limits come from the scatter of the trips (Cochran 1977, from memory).
    """
    years: dict[int, list[Catch]] = defaultdict(list)
    for c in records.catches:
        years[c.date.year].append(c)
    for year, rows in sorted(years.items()):
        trips = sorted({(c.date, c.trip): c.hours for c in rows}.items())
        hours = np.array([h for _, h in trips])
        first = trips[0][0][0]
        yield Finding("angling_hours", "hours", float(hours.sum()), count=hours.size, date=first, note=f"{year}")
        for species in SPECIES:
            caught, kept = np.zeros(hours.size), 0
            index = {key: i for i, (key, _) in enumerate(trips)}
            for c in rows:
                if c.species == species:
                    caught[index[c.date, c.trip]] += c.kept + c.released
                    kept += c.kept
            total = int(caught.sum())
            if not total:
                continue
            low, high = ratio_limits(caught, hours)
            yield Finding(
                f"{species}_caught_per_hour", "per hour", total / hours.sum(), low, high, hours.size, first, "angling",
                species, f"{total} fish on {hours.size} trips of {year}",
            )  # fmt: skip
            bottom, top = (float(x) for x in indices.exact_limits(kept, total))
            yield Finding(
                f"{species}_kept_share", "share", kept / total, bottom, top, total, first, "angling", species,
                f"{kept} of {total} caught in {year}",
            )  # fmt: skip


def ratio_limits(above: np.ndarray, below: np.ndarray, confidence: float = 0.95) -> tuple[float | None, float | None]:
    """Limits of a ratio of sums [pair], from the scatter of the pairs; none for fewer than three."""
    n = above.size
    if n < 3:
        return None, None
    ratio = above.sum() / below.sum()
    error = np.sqrt(((above - ratio * below) ** 2).sum() / (n * (n - 1))) / below.mean()
    half = float(stats.t.ppf((1 + confidence) / 2, n - 1) * error)
    return max(0.0, float(ratio) - half), float(ratio) + half
