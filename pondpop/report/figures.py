"""The pictures of the report, each made for up to a handful of cases; and length-frequency pictures of surveys."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import ArrayLike, NDArray

from pondpop import indices
from pondpop.quantities import Units
from pondpop.report.answer import Verdict, chance_words, goal_words, tenths
from pondpop.report.cases import Array, Case, Material
from pondpop.report.drawing import (
    INK,
    PALE,
    SOFT,
    TARGET,
    Picture,
    grid,
    heading,
    no_data,
    picture,
    spread_apart,
    stacked,
    unit_above,
    year_axis,
)
from pondpop.report.words import EXPLAINED, converted, figure_of, joined, unit_of
from pondpop.scenario import SPECIES
from pondpop.species.listing import standards

MOST_CASES = 5  # of one picture, so that it fits a printed page
SPECIES_LOOKS = {"bass": ("#14418b", "-"), "bluegill": ("#b5461a", (0, (5, 2))), "shad": ("#0a6b5e", (0, (1.2, 1.2))),
                 "minnow": ("#5b5b5b", (0, (6, 1.5, 1, 1.5)))}  # fmt: skip


@dataclass(frozen=True)
class Index:
    """One balance index as it is drawn: scale, and the range wanted with its origin."""

    name: str
    title: str
    axis: str
    limits: tuple[float, float]
    wanted: tuple[float, float] | None
    origin: str
    log: bool = False


def balance_indices(option: str) -> list[Index]:
    """The indices over time, with the ranges of a management option (Willis, Murphy & Guy 1993, from memory)."""
    ranges = f"{option.replace('_', '-')} range, Willis, Murphy & Guy 1993, from memory"
    low, high = standards()["relative_weight"]["target"]
    balanced = standards()["balance"]["forage_carnivore_ratio"]["balanced"]
    return [
        Index("bass_psd", "Size of bass: PSD", "bass PSD, %", (0, 100),
              indices.target_range(option, "bass", "psd"), ranges),
        Index("bluegill_psd", "Size of bluegill: PSD", "bluegill PSD, %", (0, 100),
              indices.target_range(option, "bluegill", "psd"), ranges),
        Index("bass_wr_8_12in", "Condition of small bass: Wr", "Wr of bass 8–12 in, %", (70, 115),
              (low, high), "range wanted, Anderson 1980, from memory"),
        Index("forage_carnivore_ratio", "Food fish for each pound of bass: F/C", "F/C, weight per weight", (0.3, 60),
              (balanced[0], balanced[1]), "balanced ponds, Swingle 1950, from memory", log=True),
    ]  # fmt: skip


def draw_all(material: Material, option: str) -> Iterator[Picture]:
    """Every picture of the pond year by year, in the order of the page."""
    for n, cases in enumerate(groups_of(material.cases)):
        for index in balance_indices(option):
            yield balance(cases, index, f"{index.name.replace('_', '-')}-{n}")
        yield psd_pair(cases, option, f"pair-{n}")
        yield crop(cases, f"crop-{n}")
        for species in ("bass", "bluegill"):
            yield lengths(cases, species, f"length-{species}-{n}")
        yield from growth(cases, material.units, n)
        yield big_fish(cases, f"big-{n}")
        harvest_picture = harvest(cases, f"harvest-{n}")
        if harvest_picture is not None:
            yield harvest_picture


def groups_of(cases: Sequence[Case]) -> list[Sequence[Case]]:
    count = -(-len(cases) // MOST_CASES)
    size = -(-len(cases) // count)
    return [cases[k : k + size] for k in range(0, len(cases), size)]


def _span(cases: Sequence[Case]) -> tuple[float, float]:
    first = min(case.projection.scenario.run.start for case in cases)
    last = max(case.projection.scenario.run.end for case in cases)
    return _decimal(first), _decimal(last)


def _decimal(date: dt.date) -> float:
    year = dt.date(date.year, 1, 1)
    return date.year + (date - year).days / (dt.date(date.year + 1, 1, 1) - year).days


def _time_panels(cases: Sequence[Case], unit: str, right_in: float = 0.12) -> tuple[Figure, list[Axes]]:
    """A panel over time for each case, with the unit of its upright axis."""
    figure, panels = stacked(len(cases), panel_height(len(cases)), right_in=right_in)
    first, last = _span(cases)
    for k, (axes, case) in enumerate(zip(panels, cases, strict=True)):
        year_axis(axes, first, last, labels=k == len(cases) - 1)
        heading(axes, case.letter, case.title, 36)
        unit_above(axes, unit)
    return figure, panels


def panel_height(count: int) -> float:
    """Height in inches of each of some panels, so that three pictures stand below each other on a printed page."""
    return max(0.44, min(1.3, 2.3 / count - 0.22))


def _line(axes: Axes, case: Case, band: Array, look: tuple[str, object, str] | None = None) -> None:
    """The median with its band of p10 to p90; a gap where it is not defined."""
    colour, dashes, marker = look or case.look
    x = case.projection.survey_years
    if case.projection.members > 1:
        axes.fill_between(x, band[:, 0], band[:, 2], color=colour, alpha=0.22, linewidth=0)
    axes.plot(x, band[:, 1], color=colour, linestyle=dashes, marker=marker)


def balance(cases: Sequence[Case], index: Index, key: str) -> Picture:
    """One index over time: a panel for each strategy, the range wanted behind it, the other strategies in grey."""
    figure, panels = _time_panels(cases, index.axis)
    said = []
    for axes, case in zip(panels, cases, strict=True):
        band = case.band(index.name)
        if index.log:
            axes.set_yscale("log")
            axes.set_yticks([0.5, 2, 10, 50], labels=["0.5", "2", "10", "50"])
            axes.minorticks_off()
            axes.set_ylim(index.limits)
        else:
            seen = band[np.isfinite(band)]
            low = min([index.limits[0], *(seen - 2)])
            high = max([index.limits[1], *(seen + 2)])
            axes.set_ylim(low, high)
            axes.set_yticks([0, 50, 100] if index.limits[0] == 0 else range(-(-int(low) // 10) * 10, int(high) + 1, 10))
        if index.wanted:
            axes.axhspan(*index.wanted, color=TARGET, linewidth=0, zorder=0)
            for edge in index.wanted:
                axes.axhline(edge, color="#a89f80", linewidth=0.5, zorder=0.5)
        for another in cases:
            if another is not case:
                axes.plot(another.projection.survey_years, another.band(index.name)[:, 1], color=SOFT, linewidth=0.6)
        if np.isfinite(band[:, 1]).any():
            _line(axes, case, band)
        else:
            no_data(axes, "not defined: no fish of stock length")
        said.append(f"{case.letter}: {_ends(case, band, 'ratio' if index.log else 'percent')}")
    short = index.axis.split(",")[0].split(" of ")[0].split()[-1]
    wanted = f"Shaded: {_range(index)} ({index.origin})." if index.wanted else ""
    return picture(
        figure, key, index.title, f"{wanted} {_reading(cases)}",
        f"{index.title}, one panel for each strategy, by year. {EXPLAINED.get(short, '')}. {wanted} " + "; ".join(said) + ".",
    )  # fmt: skip


def _range(index: Index) -> str:
    low, high = index.wanted or (0, 0)
    return f"{low:g}–{high:g}"


def _reading(cases: Sequence[Case]) -> str:
    band = "band: 8 of 10 possible courses; " if any(c.projection.members > 1 for c in cases) else ""
    grey = "thin grey: the other strategies" if len(cases) > 1 else ""
    text = "Line: median; " + band + grey
    return text.rstrip("; ") + "."


def _ends(case: Case, band: Array, kind: str) -> str:
    known = np.flatnonzero(np.isfinite(band[:, 1]))
    if not known.size:
        return "not defined"
    dates = case.projection.survey_dates
    first, last = known[0], known[-1]
    return (
        f"from {figure_of(band[first, 1], kind)} in {dates[first].astype(object).year} "
        f"to {figure_of(band[last, 1], kind)} in {dates[last].astype(object).year}"
    )


def psd_pair(cases: Sequence[Case], option: str, key: str) -> Picture:
    """Bass PSD against bluegill PSD: the path of each strategy through the years, last survey of each year."""
    figure, panels = grid(len(cases), 1.0 if len(cases) > 2 else 1.5 if len(cases) > 1 else 2.2)
    bass, bluegill = (indices.target_range(option, s, "psd") or (0.0, 0.0) for s in ("bass", "bluegill"))
    said = []
    for k, (axes, case) in enumerate(zip(panels, cases, strict=True)):
        axes.set(xlim=(0, 100), ylim=(0, 100), xticks=[0, 20, 40, 60, 80, 100], yticks=[0, 20, 40, 60, 80, 100])
        axes.fill_between(bluegill, *bass, color=TARGET, linewidth=0, zorder=0)
        axes.plot(
            [bluegill[0], bluegill[1], bluegill[1], bluegill[0], bluegill[0]],
            [bass[0], bass[0], bass[1], bass[1], bass[0]], color="#a89f80", linewidth=0.5, zorder=0.5,
        )  # fmt: skip
        heading(axes, case.letter, case.title, 24)
        if k % 2 == 0:
            axes.set_ylabel("bass PSD, %", labelpad=1)
        if k >= len(cases) - 2:
            axes.set_xlabel("bluegill PSD, %", labelpad=1)
        years = case.projection.yearly
        x = np.array([case.band("bluegill_psd")[i, 1] for _, i in years])
        y = np.array([case.band("bass_psd")[i, 1] for _, i in years])
        known = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
        if not ((x[known] < 45) & (y[known] > 62)).any():
            axes.text(2, 98, "bluegill crowded", ha="left", va="top", fontsize=6.5, color="#555555")
        if not ((x[known] > 80) & (y[known] < 65)).any():
            axes.text(99, 2, "bass crowded", ha="right", va="bottom", rotation=90, fontsize=6.5, color="#555555")
        if not known.size:
            no_data(axes, "not defined")
            said.append(f"{case.letter}: not defined")
            continue
        colour, dashes, marker = case.look
        axes.plot(x[known], y[known], color=colour, linestyle=dashes, linewidth=1.0, clip_on=False)
        axes.plot(x[known], y[known], color=colour, linestyle="", marker=marker, markersize=2.6, clip_on=False)
        axes.plot(x[known[-1:]], y[known[-1:]], color=colour, marker=marker, markersize=5.5, clip_on=False)
        for i in _far_apart(x, y, known):
            up = y[i] < 88
            axes.annotate(str(years[i][0]), (x[i], y[i]), xytext=(0, (4.5 if i == known[-1] else 3) * (1 if up else -1)), textcoords="offset points",
                          ha="left" if x[i] < 15 else "right" if x[i] > 85 else "center", va="bottom" if up else "top",
                          fontsize=6.5, color=INK)  # fmt: skip
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


def _far_apart(x: Array, y: Array, known: NDArray[np.intp]) -> list[int]:
    """Points whose labels do not meet: the last, the first, then whichever are far from those labelled."""
    chosen = [int(known[-1])]
    for i in known:
        if all(abs(x[i] - x[j]) > 26 or abs(y[i] - y[j]) > 11 for j in chosen):
            chosen.append(int(i))
    return chosen


def crop(cases: Sequence[Case], key: str) -> Picture:
    """Standing crop of each species over time, lines labelled at their ends."""
    units = cases[0].projection.units
    figure, panels = _time_panels(cases, unit_of("crop", units), right_in=0.5)
    said = []
    top = max(np.nanmax([*c.band(f"{s}_standing_crop")[:, 2], 1.0]) for c in cases for s in SPECIES) * 1.05
    for axes, case in zip(panels, cases, strict=True):
        axes.set_ylim(0, top)
        axes.locator_params(axis="y", nbins=4)
        ends = []
        for species in SPECIES:
            colour, dashes = SPECIES_LOOKS[species]
            band = case.band(f"{species}_standing_crop")
            _line(axes, case, band, (colour, dashes, "None"))
            ends.append(float(np.nan_to_num(band[-1, 1])))
        height_pt = axes.get_position().height * figure.get_figheight() * 72
        places = spread_apart(ends, 7.2 * top / height_pt)
        lift = max(0.0, -min(places))
        for species, place in zip(SPECIES, places, strict=True):
            axes.annotate(species, (1, place + lift), xycoords=("axes fraction", "data"), xytext=(3, 0),
                          textcoords="offset points", va="center", fontsize=7, color=SPECIES_LOOKS[species][0],
                          annotation_clip=False)  # fmt: skip
        shown = joined(f"{s} {figure_of(e, 'crop')}" for s, e in zip(SPECIES, ends, strict=True))
        said.append(f"{case.letter}, at the last survey: {shown}")
    unit = unit_of("crop", units)
    band_words = "; band: 8 of 10 possible courses" if cases[0].projection.members > 1 else ""
    return picture(
        figure, key, "Weight of fish in the pond",
        f"Standing crop of each species, {unit} (1 lb/acre = 1.12 kg/ha). Line: median{band_words}.",
        f"Standing crop of bass, bluegill, shad and minnows over time in {unit}. " + "; ".join(said) + ".",
    )  # fmt: skip


def lengths(cases: Sequence[Case], species: str, key: str) -> Picture:
    """Length distribution at the last survey of each year: per cent of the fish of stock length, by inch class."""
    rows = max(len(case.projection.yearly) for case in cases)
    figure, panels = grid(len(cases), 0.2 + (0.085 if len(cases) > 2 else 0.17) * rows, left_in=0.36, between_in=0.66, right_in=0.3)
    stock, quality, preferred, memorable, *_ = indices.category_inches(species)
    last_in = 26 if species == "bass" else 12
    k = SPECIES.index(species)
    factor = converted(1.0, "density", cases[0].projection.units)
    said = []
    for n, (axes, case) in enumerate(zip(panels, cases, strict=True)):
        number = np.median(case.of("number")[:, :, k, :], axis=0)
        axes.set(xlim=(stock, last_in), ylim=(-0.1, rows + 1.0), yticks=[])
        axes.spines["left"].set_visible(False)
        axes.set_xticks([stock, quality, preferred, memorable] + ([25] if species == "bass" else []))
        for edge in (quality, preferred, memorable):
            axes.axvline(edge, color=PALE, linewidth=0.5, zorder=0)
        heading(axes, case.letter, case.title, 24)
        for row, (year, i) in enumerate(case.projection.yearly):
            base = rows - 1 - row
            fish = number[i, stock:last_in]
            total = fish.sum() * factor
            axes.annotate(str(year), (0, base), xycoords=("axes fraction", "data"), xytext=(-2, 0),
                          textcoords="offset points", ha="right", va="bottom", fontsize=6.5)  # fmt: skip
            axes.annotate(figure_of(total, "density"), (1, base), xycoords=("axes fraction", "data"), xytext=(2, 0),
                          textcoords="offset points", ha="left", va="bottom", fontsize=6.5)  # fmt: skip
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
        f"Share of the {species} of {stock} in and longer in each inch class, last survey of each year (1 in = 25.4 mm). "
        f"Lines: quality, preferred and memorable length. Right: such fish {unit}.",
        f"Length distribution of {species} by year, a row for each year. " + "; ".join(said) + ".",
    )  # fmt: skip


def _bass_groups(case: Case) -> list[str]:
    return [event.name for event in case.strategy.stocking if event.species == "bass"]


def growth(cases: Sequence[Case], units: Units, n: int) -> Iterator[Picture]:
    """Mean weight, and survivors, of the stocked groups of bass (of all groups where there are none of bass)."""
    groups = list(dict.fromkeys(g for c in cases for g in _bass_groups(c)))[:MOST_CASES]
    if not groups:
        groups = list(dict.fromkeys(e.name for c in cases for e in c.strategy.stocking))[:MOST_CASES]
    if not groups:
        return
    for measure, kind, title in (
        ("weight", "weight", "Growth of stocked fish: mean weight"),
        ("survivors", "density", "How many stocked fish are left"),
    ):
        figure, panels = stacked(len(groups), panel_height(len(groups)), right_in=0.24)
        first, last = _span(cases)
        said = []
        for k, (axes, group) in enumerate(zip(panels, groups, strict=True)):
            year_axis(axes, first, last, labels=k == len(groups) - 1)
            heading(axes, "", group.replace("_", " "))
            unit_above(axes, unit_of(kind, units))
            ends = []
            for case in cases:
                name = f"group_{measure}:{group}"
                if name not in case.projection.quantities or group not in [e.name for e in case.strategy.stocking]:
                    continue
                band = case.band(name)
                known = np.flatnonzero(np.isfinite(band[:, 1]))
                if known.size:
                    _line(axes, case, band)
                    at = known[-1]
                    ends.append((case, case.projection.survey_years[at], float(band[at, 1])))
                    said.append(f"{group}, {case.letter}: {figure_of(band[at, 1], kind)} at the end")
            axes.set_ylim(bottom=0)
            axes.locator_params(axis="y", nbins=4)
            if ends:
                height_pt = axes.get_position().height * figure.get_figheight() * 72
                places = spread_apart([e[2] for e in ends], 7.2 * axes.get_ylim()[1] / height_pt)
                lift = max(0.0, -min(places))
                for (case, x, _), place in zip(ends, places, strict=True):
                    axes.annotate(case.letter, (x, place + lift), xytext=(4, 0), textcoords="offset points",
                                  va="center", fontsize=7.5, fontweight="bold", color=case.look[0],
                                  annotation_clip=False)  # fmt: skip
            else:
                no_data(axes, "none alive at a survey")
        unit = unit_of(kind, units)
        beside = "1 lb = 454 g" if kind == "weight" else "1 per acre = 2.47 per ha"
        yield picture(
            figure, f"{measure}-{n}", title,
            f"Bass that were stocked or lived there at the start, {unit} ({beside}). A letter marks each strategy."
            if any(map(_bass_groups, cases)) else f"Stocked fish, {unit} ({beside}). A letter marks each strategy.",
            f"{title} of each group in {unit}. " + "; ".join(said) + ".",
        )  # fmt: skip


def big_fish(cases: Sequence[Case], key: str) -> Picture:
    """Chance of at least one bass above each weight in this pond: 1 − e^−n of the expected number n, over members."""
    figure, panels = _time_panels(cases, "chances in 10", right_in=0.4)
    looks = (("#14418b", "-", "o"), ("#b5461a", (0, (5, 2)), "s"), ("#5b5b5b", (0, (1.2, 1.2)), "^"))
    said = []
    for axes, case in zip(panels, cases, strict=True):
        expected = case.of("bass_above") * case.projection.scenario.pond.area_ha
        chance = (1.0 - np.exp(-expected)).mean(axis=0) * 10
        pounds = np.round(case.projection.dataset["big_weight"].values / 453.59237).astype(int)
        axes.set(ylim=(-0.3, 10.3), yticks=[0, 5, 10])
        ends = []
        for k in range(min(3, pounds.size)):
            colour, dashes, marker = looks[k]
            axes.plot(case.projection.survey_years, chance[:, k], color=colour, linestyle=dashes, marker=marker)
            ends.append(float(chance[-1, k]))
        height_pt = axes.get_position().height * figure.get_figheight() * 72
        for k, place in enumerate(spread_apart(ends, 7.2 * 10.6 / height_pt)):
            axes.annotate(f"{pounds[k]} lb", (1, place), xycoords=("axes fraction", "data"), xytext=(3, 0),
                          textcoords="offset points", va="center", fontsize=7, color=looks[k][0],
                          annotation_clip=False)  # fmt: skip
        said.append(f"{case.letter}, at the end: " + joined(f"{p} lb {e:.0f} of 10" for p, e in zip(pounds, ends, strict=True)))
    return picture(
        figure, key, "Chance of a big bass",
        "Chances in 10 that this pond holds at least one bass above 5, 8 and 10 lb (2.3, 3.6 and 4.5 kg).",
        "Chance of at least one bass above 5, 8 and 10 lb in the pond over time. " + "; ".join(said) + ".",
    )  # fmt: skip


def harvest(cases: Sequence[Case], key: str) -> Picture | None:
    """Weight harvested in the twelve months before the last survey of each year; None where nothing is harvested."""
    names = {s: f"{s}_harvest_biomass_12_months" for s in SPECIES}
    taken = [s for s in SPECIES if any(np.nanmax([*c.band(names[s])[:, 2], 0.0]) > 0 for c in cases)]
    if not taken:
        return None
    units = cases[0].projection.units
    figure, panels = _time_panels(cases, unit_of("crop", units), right_in=0.5)
    hatches = dict(zip(SPECIES, ("", "////", "....", "xxxx"), strict=True))
    top = 1.1 * max(np.nanmax([*c.band(names[s])[:, 2], 0.01]) for c in cases for s in taken)
    said = []
    for axes, case in zip(panels, cases, strict=True):
        axes.set_ylim(0, top)
        axes.locator_params(axis="y", nbins=4)
        width = 0.8 / len(taken)
        for k, species in enumerate(taken):
            at = [i for _, i in case.projection.yearly]
            band = case.band(names[species])[at]
            x = np.array([year for year, _ in case.projection.yearly]) + 0.1 + width * (k + 0.5)
            colour = SPECIES_LOOKS[species][0]
            axes.bar(x, band[:, 1], width * 0.9, facecolor=colour if not hatches[species] else "white",
                     edgecolor=colour, hatch=hatches[species], linewidth=0.6)  # fmt: skip
            if case.projection.members > 1:
                axes.vlines(x, band[:, 0], band[:, 2], color=INK, linewidth=0.8)
        total = [np.nansum([case.band(names[s])[i, 1] for s in taken]) for _, i in case.projection.yearly]
        said.append(f"{case.letter}: up to {figure_of(max(total), 'crop')} a year")
    for k, species in enumerate(taken):
        panels[0].annotate(species, (1, 1), xycoords="axes fraction", xytext=(3, -6 - 9 * k), textcoords="offset points",
                           fontsize=7, color=SPECIES_LOOKS[species][0], annotation_clip=False)  # fmt: skip
    unit = unit_of("crop", units)
    whisker = "; thin line: 8 of 10 possible courses" if cases[0].projection.members > 1 else ""
    return picture(
        figure, key, "Harvest",
        f"Taken in the twelve months before the last survey of each year, {unit} (1 lb/acre = 1.12 kg/ha); median{whisker}.",
        f"Weight harvested by year in {unit}. " + "; ".join(said) + ".",
    )  # fmt: skip


def duels(verdict: Verdict, key: str) -> Picture | None:
    """The chance that one strategy beats another: a square for each goal, rows against columns, in tenths."""
    if len(verdict.cases) < 2 or verdict.projection.members < 2:
        return None
    letters = [case.letter for case in verdict.cases]
    n = len(letters)
    figure, panels = grid(len(verdict.scores), 0.25 * n + 0.25 if n < 7 else 1.7, gap_in=0.5, top_in=0.42, bottom_in=0.08,
                          left_in=0.24)  # fmt: skip
    said = []
    for axes, score in zip(panels, verdict.scores, strict=True):
        words = goal_words(score, verdict.projection)
        heading(axes, "", words, 60 if len(verdict.scores) == 1 else 30)
        axes.texts[-1].set_y(12)
        axes.set(xlim=(-0.5, n - 0.5), ylim=(n - 0.5, -0.5))
        axes.xaxis.tick_top()
        axes.set_xticks(range(n), labels=letters, fontweight="bold")
        axes.set_yticks(range(n), labels=letters, fontweight="bold")
        axes.tick_params(length=0)
        for spine in axes.spines.values():
            spine.set_visible(False)
        for duel in verdict.duels(score):
            i, j = (letters.index(verdict.case(name).letter) for name in (duel.first, duel.second))
            for row, column, chance in ((i, j, duel.chance), (j, i, 1 - duel.chance)):
                if not np.isfinite(chance):
                    continue
                axes.fill_between([column - 0.47, column + 0.47], row - 0.46, row + 0.46, linewidth=0,
                                  color=(0.98 - 0.4 * chance, 0.98 - 0.33 * chance, 0.95 - 0.4 * chance))  # fmt: skip
                axes.text(column, row, tenths(chance, verdict.projection), ha="center", va="center", fontsize=8,
                          fontweight="bold" if chance > 0.5 else "normal")  # fmt: skip
            said.append(f"{verdict.case(duel.first).letter} beats {verdict.case(duel.second).letter} on {words} "
                        f"{chance_words(duel.chance, verdict.projection)}")  # fmt: skip
    return picture(
        figure, key, "How often one strategy beats another",
        "Each number: in how many of 10 courses the strategy of the row does better than that of the column, weather and "
        "luck being the same for both. 5 is a toss-up.",
        "; ".join(said) + ".",
    )  # fmt: skip


def length_frequency(counts: Mapping[str, ArrayLike], species: str, key: str, title: str) -> Picture:
    """Length-frequency picture of survey counts: fish measured in each one-inch class, one panel for each sample.

    counts: label of the sample (a date or gear) to fish in one-inch classes [length_class] from 0 in. Lines stand at
    the published length categories of the species where it has them.
    """
    from pondpop.report.drawing import look

    with look():
        figure, panels = stacked(max(1, len(counts)), 1.1, bottom_in=0.38)
        edges = indices.category_inches(species) if species in ("bass", "bluegill") else ()
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
            axes.locator_params(axis="y", nbins=4, integer=True)
            heading(axes, "", f"{label}: {fish.sum():.0f} fish")
            said.append(f"{label}: {fish.sum():.0f} fish" + (f", most of {fish.argmax()}–{fish.argmax() + 1} in" if fish.any() else ""))
        if not arrays:
            no_data(panels[0], "no fish measured")
        panels[-1].set_xlabel("total length, in", labelpad=1)
        lines = f"Dashed: length categories {', '.join(map(str, edges))} in." if edges else ""
        return picture(figure, key, title, f"Fish measured in each one-inch class (1 in = 25.4 mm). {lines}",
                       f"{title}. " + "; ".join(said) + ".")  # fmt: skip
