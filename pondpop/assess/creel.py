"""What the catch records say: fish an hour, and the share kept."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

import numpy as np

from pondpop.assess.effort import Outings
from pondpop.assess.findings import Finding
from pondpop.observe.gears import gear
from pondpop.observe.limits import share_of
from pondpop.records import Catch, Records
from pondpop.species import SPECIES
from pondpop.species.catalogue import gears

HABIT_DOUBT = 1.0
"""Standard deviation of the logarithm of `keeping_concentration` from pond to pond (assumed)."""


def angler_findings(records: Records) -> Iterator[Finding]:
    """By year: trips and hours, and for each species fish caught an hour with limits and the share of them kept.

    Fish an hour is all fish over all hours; its limits rest on the scatter of the trips. Those of the share kept hold
    that anglers keep or release by habit, trip by trip (beta-binomial, the assumed strength of habit corrected by the
    trips themselves).
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
            caught, kept = np.zeros((2, hours.size))
            index = {key: i for i, (key, _) in enumerate(trips)}
            for c in rows:
                if c.species == species:
                    caught[index[c.date, c.trip]] += c.kept + c.released
                    kept[index[c.date, c.trip]] += c.kept
            total = int(caught.sum())
            if not total:
                continue
            low, high = Outings(caught, hours, gear("angling").catch_cv).limits()
            yield Finding(
                f"{species}_caught_per_hour", "per hour", total / hours.sum(), low, high, hours.size, first, "angling",
                species, f"{total} fish on {hours.size} trips of {year}",
            )  # fmt: skip
            share = kept.sum() / total
            bottom, top = share_of(kept, caught, gears()["angling"]["keeping_concentration"].value, HABIT_DOUBT).limits()
            yield Finding(
                f"{species}_kept_share", "share", share, min(bottom, share), max(top, share), total, first, "angling",
                species, f"{kept.sum():.0f} of {total} caught in {year}",
            )  # fmt: skip
