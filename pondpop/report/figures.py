"""The pictures of the report, each made for up to a handful of cases; and length-frequency pictures of surveys."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pondpop.observe import indices
from pondpop.report import time_series
from pondpop.report.drawing import (
    INK,
    PALE,
    SMALL_PT,
    SOFT,
    TARGET,
    Picture,
    few_ticks,
    grid,
    heading,
    look,
    no_data,
    picture,
    stacked,
)
from pondpop.report.strategies import Array, Case
from pondpop.species import MEASURED
from pondpop.units import Units, converted, figure_of, unit_of

LABEL_WIDE, LABEL_HIGH = 24.0, 11.0  # of the label of a year in the smallest panel, in PSD points


def draw_all(cases: Sequence[Case], units: Units, option: str) -> Iterator[Picture]:
    """Every picture of the pond year by year, in the order of the page."""
    for index in time_series.balance_indices(option):
        yield time_series.balance(cases, index, index.name.replace("_", "-"))
    yield psd_pair(cases, option, "pair")
    yield time_series.crop(cases, "crop")
    for species in MEASURED:
        if any(species in case.strategy.species for case in cases):
            yield lengths(cases, species, f"length-{species}")
    yield from time_series.growth(cases, units)
    yield time_series.big_fish(cases, "big")
    harvest_picture = time_series.harvest(cases, "harvest")
    if harvest_picture is not None:
        yield harvest_picture


def psd_pair(cases: Sequence[Case], option: str, key: str) -> Picture:
    """Bass PSD against bluegill PSD: the path of each strategy through the years, last survey of each year."""
    figure, panels = grid(len(cases), 1.0 if len(cases) > 2 else 1.5 if len(cases) > 1 else 2.2, gap_in=0.45)
    bass, bluegill = (indices.target_range(option, s, "psd") or (0.0, 0.0) for s in ("bass", "bluegill"))
    said = []
    for k, (axes, case) in enumerate(zip(panels, cases, strict=True)):
        axes.set(xlim=(0, 100), ylim=(0, 100), xticks=[0, 20, 40, 60, 80, 100], yticks=[0, 25, 50, 75, 100])
        axes.fill_between(bluegill, *bass, color=TARGET, linewidth=0, zorder=0)
        axes.plot(
            [bluegill[0], bluegill[1], bluegill[1], bluegill[0], bluegill[0]],
            [bass[0], bass[0], bass[1], bass[1], bass[0]], color="#a89f80", linewidth=0.5, zorder=0.5,
        )  # fmt: skip
        heading(axes, case.letter, case.title)
        if k % 2 == 0:
            axes.set_ylabel("bass PSD, %", labelpad=1)
        if k >= len(cases) - 2:
            axes.set_xlabel("bluegill PSD, %", labelpad=1)
        years = case.projection.yearly
        x = np.array([case.band("bluegill_psd")[i, 1] for _, i in years])
        y = np.array([case.band("bass_psd")[i, 1] for _, i in years])
        known = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
        if not known.size:
            no_data(axes, "not defined")
            said.append(f"{case.letter}: not defined")
            continue
        colour, dashes, marker = case.look
        axes.plot(x[known], y[known], color=colour, linestyle=dashes, linewidth=1.0, clip_on=False)
        axes.plot(x[known], y[known], color=colour, linestyle="", marker=marker, markersize=2.6, clip_on=False)
        axes.plot(x[known[-1:]], y[known[-1:]], color=colour, marker=marker, markersize=5.5, clip_on=False)
        for i, side in _labelled(x, y, known):
            away = side * (4.5 if i == known[-1] else 3)
            axes.annotate(str(years[i][0]), (x[i], y[i]), xytext=(away, 0), textcoords="offset points",
                          ha="left" if side > 0 else "right", va="center", fontsize=SMALL_PT, color=INK)  # fmt: skip
        first, last = known[0], known[-1]
        said.append(
            f"{case.letter}: bass {y[first]:.0f} and bluegill {x[first]:.0f} in {years[first][0]}, "
            f"bass {y[last]:.0f} and bluegill {x[last]:.0f} in {years[last][0]}"
        )
    return picture(
        figure, key, "The pair of PSD values, year by year",
        f"Medians at the last survey of each year; the large mark is the last year. Shaded: both in the "
        f"{option.replace('_', '-')} range. Bottom right, bass are crowded; top left, bluegill.",
        "Path of bass PSD against bluegill PSD through the years. " + "; ".join(said) + ".",
    )  # fmt: skip


def _labelled(x: Array, y: Array, known: NDArray[np.intp]) -> list[tuple[int, int]]:
    """Points with room for the label of their year, and its side (1 right, -1 left): it meets no mark and no other label.

    The last point first, then the first, then whichever have room; in PSD points, of which a label takes about 24 by 10.
    """
    taken: list[tuple[float, float]] = []  # middles of the labels
    chosen = []
    for i in dict.fromkeys([int(known[-1]), *map(int, known)]):
        for side in (1, -1):
            middle = (x[i] + side * (LABEL_WIDE / 2 + 4), y[i])
            inside = middle[0] - LABEL_WIDE / 2 >= 0 and middle[0] + LABEL_WIDE / 2 <= 104
            marks = all(abs(x[j] - middle[0]) > LABEL_WIDE / 2 or abs(y[j] - middle[1]) > LABEL_HIGH / 2 for j in known if j != i)
            apart = all(abs(a - middle[0]) > LABEL_WIDE or abs(b - middle[1]) > LABEL_HIGH for a, b in taken)
            if inside and marks and apart:
                taken.append(middle)
                chosen.append((i, side))
                break
    return chosen


def lengths(cases: Sequence[Case], species: str, key: str) -> Picture:
    """Length distribution at the last survey of each year: per cent of the fish of stock length, by inch class."""
    rows = max(len(case.projection.yearly) for case in cases)
    figure, panels = grid(
        len(cases), 0.2 + (0.085 if len(cases) > 2 else 0.17) * rows, gap_in=0.42, left_in=0.36, between_in=0.66, right_in=0.3
    )
    stock, *marks = indices.category_inches(species)
    large = marks[-1] > 2 * stock + 8  # a fish of which the trophies stand apart on the axis
    last_in = marks[-1] + large
    factor = converted(1.0, "density", cases[0].projection.units)
    said = []
    for n, (axes, case) in enumerate(zip(panels, cases, strict=True)):
        number = np.median(case.of("number", species=species), axis=0)
        axes.set(xlim=(stock, last_in), ylim=(-0.1, rows + 1.0), yticks=[])
        axes.spines["left"].set_visible(False)
        axes.set_xticks([stock, *marks[:3], *marks[3:] * large])
        for edge in marks[:3]:
            axes.axvline(edge, color=PALE, linewidth=0.5, zorder=0)
        heading(axes, case.letter, case.title)
        for row, (year, i) in enumerate(case.projection.yearly):
            base = rows - 1 - row
            fish = number[i, stock:last_in]
            total = fish.sum() * factor
            axes.annotate(str(year), (0, base), xycoords=("axes fraction", "data"), xytext=(-2, 0),
                          textcoords="offset points", ha="right", va="bottom", fontsize=SMALL_PT)  # fmt: skip
            axes.annotate(figure_of(total, "density"), (1, base), xycoords=("axes fraction", "data"), xytext=(2, 0),
                          textcoords="offset points", ha="left", va="bottom", fontsize=SMALL_PT)  # fmt: skip
            edges = np.arange(stock, last_in + 1)
            share = fish / fish.sum() if fish.sum() > 1e-6 else np.zeros_like(fish)
            axes.stairs(base + np.minimum(share * 3.5, 1.9), edges, baseline=base, fill=True, color=case.look[0],
                        alpha=0.55, linewidth=0, zorder=2 + row)  # fmt: skip
            axes.stairs(base + np.minimum(share * 3.5, 1.9), edges, baseline=base, color=INK, linewidth=0.5,
                        zorder=2 + row)  # fmt: skip
        if n >= len(cases) - 2:
            axes.set_xlabel("length, in", labelpad=1)
        psd = case.band(f"{species}_psd")[case.projection.yearly[-1][1], 1]
        said.append(f"{case.letter}: PSD {figure_of(psd, 'percent')} in {case.projection.yearly[-1][0]}")
    unit = unit_of("density", cases[0].projection.units)
    return picture(
        figure, key, f"Lengths of {species} by year",
        f"Share of the {species} of {stock} in and longer in each inch class, last survey of each year (1 in = 25.4 "
        f"mm). "
        f"Lines: quality, preferred and memorable length. Right: such fish {unit}.",
        f"Length distribution of {species} by year, a row for each year. " + "; ".join(said) + ".",
    )  # fmt: skip


def length_frequency(counts: Mapping[str, ArrayLike], species: str, key: str, title: str) -> Picture:
    """Length-frequency picture of survey counts: fish measured in each one-inch class, one panel for each sample.

    counts: label of the sample (a date or gear) to fish in one-inch classes [length_class] from 0 in. Lines stand at
    the published length categories of the species where it has them.
    """
    with look():
        panel_in = 1.1 if len(counts) < 2 else 0.9 if len(counts) < 3 else 0.56
        figure, panels = stacked(max(1, len(counts)), panel_in, bottom_in=0.38, right_in=0.3)
        edges = indices.category_inches(species) if species in MEASURED else ()
        arrays = {label: np.asarray(values, dtype=float) for label, values in counts.items()}
        filled = [np.flatnonzero(a)[-1] for a in arrays.values() if a.any()]
        last = max([*filled, *edges[:3], 6]) + 1
        said = []
        for axes, (label, fish) in zip(panels, arrays.items(), strict=False):
            axes.set_xlim(0, last)
            axes.bar(np.arange(fish.size) + 0.5, fish, 0.92, color="#14418b", edgecolor=INK, linewidth=0.4)
            for edge in edges:
                if edge < last:
                    axes.axvline(edge, color=SOFT, linewidth=0.7, linestyle=(0, (3, 2)))
            axes.set_ylim(0, max(1.0, fish.max(initial=0.0) * 1.1))
            few_ticks(axes, whole=True)
            heading(axes, "", f"{label}: {fish.sum():.0f} fish", "fish" if axes is panels[0] else "")
            axes.tick_params(labelbottom=axes is panels[-1])
            said.append(
                f"{label}: {fish.sum():.0f} fish"
                + (f", most of {fish.argmax()}–{fish.argmax() + 1} in" if fish.any() else "")
            )
        if not arrays:
            no_data(panels[0], "no fish measured")
        panels[-1].set_xlabel("total length, in", labelpad=1)
        lines = f"Dashed: length categories {', '.join(map(str, edges))} in." if edges else ""
        return picture(figure, key, title, f"Fish measured in each one-inch class (1 in = 25.4 mm). {lines}",
                       f"{title}. " + "; ".join(said) + ".")  # fmt: skip
