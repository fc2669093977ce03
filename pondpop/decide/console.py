"""What the commands print: plain tables of medians with their 80 % band."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike

from pondpop.ensemble.quantities import Quantity, quantiles, quantities
from pondpop.units import Units, brief

# name of the quantity, heading of its column
MAIN = (
    ("bass_psd", "bass PSD"),
    ("bluegill_psd", "bluegill PSD"),
    ("bass_wr_8_12in", "Wr 8–12 in"),
    ("bass_standing_crop", "bass"),
    ("total_standing_crop", "all fish"),
    ("forage_carnivore_ratio", "F/C"),
)


def balance_table(dataset: xr.Dataset, units: Units) -> str:
    """Per strategy and autumn survey: the main signs of balance, median [p10–p90]."""
    named = {quantity.name: quantity for quantity in quantities(dataset)}
    shown = [(heading, named[name]) for name, heading in MAIN]
    autumn = autumn_surveys(dataset)
    dates = [str(date)[:10] for date in dataset["survey_date"].values]
    head = ["survey", *(_headed(heading, quantity, units) for heading, quantity in shown)]
    values = [quantiles(quantity.in_units(units)) for _, quantity in shown]
    parts = []
    for s, strategy in enumerate(dataset["strategy"].values):
        rows = [[dates[d], *(band(v[s, d], q.kind) for (_, q), v in zip(shown, values, strict=True))] for d in autumn]
        parts.append(f"{strategy}\n{columns([head, *rows])}")
    about = "Last survey of each year, median [8 of 10 members]; F/C: weight of forage fish over weight of bass.\n"
    return about + "\n".join(parts)


def autumn_surveys(dataset: xr.Dataset) -> list[int]:
    """The last survey of each calendar year, by position."""
    years = dataset["survey_date"].values.astype("datetime64[Y]").astype(int)
    return [int(np.flatnonzero(years == year)[-1]) for year in np.unique(years)]


def band(values: ArrayLike, kind: str = "") -> str:
    """p10, p50, p90 as "median [p10–p90]"; "–" where undefined. Per cent without decimals."""
    low, middle, high = (float(v) for v in np.asarray(values))
    if np.isnan(middle):
        return "–"
    told = [f"{v:.0f}" if kind == "percent" else brief(v, 2 if abs(v) < 10 else 3) for v in (low, middle, high)]
    return told[1] if low == high else f"{told[1]} [{told[0]}–{told[2]}]"


def columns(rows: Sequence[Sequence[str]]) -> str:
    """Rows as aligned text, the first column to the left and the others to the right."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    lines = []
    for row in rows:
        cells = [row[0].ljust(widths[0]), *(cell.rjust(w) for cell, w in zip(row[1:], widths[1:], strict=True))]
        lines.append("  " + "  ".join(cells).rstrip())
    return "\n".join(lines) + "\n"


def _headed(heading: str, quantity: Quantity, units: Units) -> str:
    unit = quantity.unit(units)
    return f"{heading}, {unit}" if unit else heading
