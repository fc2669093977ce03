"""What an assessment is made of: figures with their limits."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass


@dataclass(frozen=True)
class Finding:
    """One figure: value with its limits (None where there are none), the fish or trips it rests on, and a remark.

    unit: %, mm, mm a year, per hour, per haul, fish, share, or empty for a ratio.
    """

    quantity: str
    unit: str
    value: float
    low: float | None = None
    high: float | None = None
    count: int | None = None
    date: dt.date | None = None
    gear: str = ""
    species: str = ""
    note: str = ""
