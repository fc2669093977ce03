"""What the records told: prior against posterior, and fitted against observed, from the table that an update leaves."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from pondpop.report.drawing import INK, PALE, Picture, picture, stacked
from pondpop.units import KINDS, Units, converted, shortened, unit_of

MOST_DOUBTS = 14  # of the model's quantities, those that the records narrowed most
AFTER, ROW_IN = "#1d3d3a", 0.135
RECORDS = {"caught": "Fish caught", "mean length": "Mean length of the catch", "mean Wr": "Mean relative weight",
           "growth": "Growth of tagged fish"}  # fmt: skip
KIND_OF = {kind.metric.words: name for name, kind in KINDS.items() if kind.metric.words}  # by the unit in the table


@dataclass(frozen=True)
class Line:
    """One quantity or record: bands of 10, 50 and 90 % before and after, and what was observed, if anything."""

    about: str
    name: str
    unit: str
    observed: float
    prior: tuple[float, float, float]
    posterior: tuple[float, float, float]
    used: bool

    @property
    def left(self) -> float:
        """Width of the band after as a share of that before."""
        wide = self.prior[2] - self.prior[0]
        return (self.posterior[2] - self.posterior[0]) / wide if wide > 0 else math.nan


def lines(table: str, units: Units) -> list[Line]:
    """The rows of an update's table (`update_csv` in metric units), in the asked units."""
    out = []
    for row in csv.DictReader(io.StringIO(table)):
        kind = KIND_OF.get(row["unit"], "ratio")
        unit = unit_of(kind, units) or row["unit"]

        def value(key: str, row: dict[str, str] = row, kind: str = kind) -> float:
            return converted(float(row[key]), kind, units) if row[key] else math.nan

        low, middle, high = (
            tuple(value(f"{side}_{q}") for side in ("prior", "posterior")) for q in ("p10", "p50", "p90")
        )
        out.append(
            Line(row["about"], row["quantity"], unit, value("observed"), (low[0], middle[0], high[0]),
                 (low[1], middle[1], high[1]), not row["note"])
        )  # fmt: skip
    return out


def draw_all(table: str, units: Units, key: str) -> Iterator[Picture]:
    """Pictures of an update: what the records narrowed, the pond now, and each kind of record."""
    every = [one for one in lines(table, units) if np.isfinite([*one.prior, *one.posterior]).all()]
    told = "Pale: as the scenario had it. Dark: after the records. Each bar holds 8 of 10 futures, its mark the middle."
    doubts = sorted((one for one in every if one.about == "model" and one.left < 1), key=lambda one: one.left)
    ratios = [one for one in doubts if one.unit == ""]
    if ratios:
        yield _bars(ratios[:MOST_DOUBTS], f"{key}-doubts", "What the records narrowed",
                    f"{told} Times that of ponds in general; those that narrowed most.", log=True)  # fmt: skip
    now = [one for one in every if one.about == "pond" and one.unit == "%"]
    if now:
        yield _bars(now, f"{key}-pond", "The pond at the last record: PSD and Wr", told)
    for start, title in RECORDS.items():
        mine = [one for one in every if one.about == "record" and one.name.partition(": ")[2].startswith(start)]
        seen = [one for one in mine if max(one.observed, one.prior[1]) > 0.5] if start == "caught" else mine
        if seen:
            yield _bars(seen, f"{key}-{start.replace(' ', '-').lower()}", f"{title}: fitted against observed",
                        f"{told} Diamond: observed; hollow: not used, for no future explains it.",
                        log=start == "caught")  # fmt: skip


def _bars(some: Sequence[Line], key: str, title: str, caption: str, log: bool = False) -> Picture:
    """One row for each line: the band before, the band after, and what was observed."""
    figure, (axes,) = stacked(1, ROW_IN * len(some) + 0.08, left_in=1.72, right_in=0.1, bottom_in=0.36, top_in=0.05)
    for k, one in enumerate(some):
        for (low, middle, high), colour, width in ((one.prior, PALE, 6.0), (one.posterior, AFTER, 2.6)):
            axes.plot([low, high], [k, k], color=colour, linewidth=width, solid_capstyle="butt")
            axes.plot([middle], [k], color="white" if colour == AFTER else "#7d7d7d", marker="|", linestyle="",
                      markersize=width + 0.5, markeredgewidth=1.0)  # fmt: skip
        if np.isfinite(one.observed):
            axes.plot([one.observed], [k], linestyle="", marker="D", markersize=3.4, color="#c2571a",
                      markerfacecolor="#c2571a" if one.used else "white", markeredgewidth=0.8, clip_on=False)  # fmt: skip
    if log:
        axes.set_xscale("symlog", linthresh=1.0, linscale=0.4) if some[0].about == "record" else axes.set_xscale("log")
        axes.xaxis.set_major_formatter(lambda x, _: f"{x:g}")
        axes.xaxis.set_minor_formatter(lambda x, _: "")
    if some[0].about == "model":
        axes.axvline(1.0, color=INK, linewidth=0.5, zorder=0)
        shown = [x for x in (0.1, 0.2, 0.5, 1, 2, 5, 10) if axes.get_xlim()[0] <= x <= axes.get_xlim()[1]]
        axes.set_xticks(shown)
    axes.set(ylim=(len(some) - 0.4, -0.6))
    axes.set_yticks(range(len(some)), labels=[shortened(_label(one), 44) for one in some], fontsize=5.8)
    axes.tick_params(axis="y", length=0)
    axes.set_xlabel("times that of ponds in general" if some[0].about == "model" else some[0].unit, labelpad=1)
    said = "; ".join(
        f"{_label(one)} {one.prior[1]:.3g} before, {one.posterior[1]:.3g} after"
        + (f", {one.observed:.3g} observed" if np.isfinite(one.observed) else "")
        for one in some
    )
    return picture(figure, key, title, caption, f"{title}. {said}.")


def _label(one: Line) -> str:
    """The name of a row in few words."""
    title, _, figure = one.name.partition(": ")
    words = {"electrofishing": "electrofished", " tags": ""}
    for long, short in words.items():
        title = title.replace(long, short)
    sizes = figure.partition(" ")[2] if figure.startswith("growth") else figure.removeprefix("mean Wr ")
    return title.replace("_", " ") if figure in ("", "caught", "mean length") else f"{title} {sizes}".replace("_", "–")
