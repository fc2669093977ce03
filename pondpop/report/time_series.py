"""Pictures over time: balance indices, standing crop, stocked groups, big fish, harvest; a panel for each strategy."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pondpop.observe import indices
from pondpop.report.drawing import (
    INK,
    MOST_CASES,
    SOFT,
    TARGET,
    TEXT_PT,
    Picture,
    colour_key,
    few_ticks,
    heading,
    name_beside,
    no_data,
    picture,
    places_beside,
    stacked,
    year_axis,
)
from pondpop.report.format import EXPLAINED
from pondpop.report.strategies import Array, Case
from pondpop.scenario import SPECIES
from pondpop.species import TRAITS
from pondpop.species.catalogue import standards
from pondpop.units import G_PER_LB, Units, figure_of, in_ten, joined, unit_of

MOST_DRAWN = 2000.0  # on a scale of powers


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


def balance(cases: Sequence[Case], index: Index, key: str) -> Picture:
    """One index over time: a panel for each strategy, the range wanted behind it, the other strategies in grey."""
    figure, panels = _time_panels(cases, index.axis)
    low, high, ticks = _scale(cases, index)
    said = []
    for axes, case in zip(panels, cases, strict=True):
        band = case.band(index.name)
        if index.log:
            axes.set_yscale("log")
            axes.minorticks_off()
        axes.set_yticks(ticks, labels=[f"{tick:g}" for tick in ticks])
        axes.set_ylim(low, high)
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
    if index.log and any((case.band(index.name) > MOST_DRAWN).any() for case in cases):
        wanted += f" Above {MOST_DRAWN:,.0f} hardly any bass are left: not drawn."
    return picture(
        figure, key, index.title, f"{wanted} {_reading(cases)}",
        f"{index.title}, one panel for each strategy, by year. {EXPLAINED.get(short, '')}. {wanted} "
        f"" + "; ".join(said) + ".",
    )  # fmt: skip


def _scale(cases: Sequence[Case], index: Index) -> tuple[float, float, list[float]]:
    """Limits and ticks of an index, the same for all strategies: its usual ones, wider where a band goes beyond."""
    every = np.concatenate([case.band(index.name).ravel() for case in cases])
    every = every[np.isfinite(every)]
    if index.log:
        every = np.clip(every, 0.05, MOST_DRAWN)
        low, high = min([index.limits[0], *every]), max([index.limits[1], *every])
        return low, high, [tick for tick in (0.1, 0.5, 2, 10, 50, 250, 1250) if low <= tick <= high]
    low, high = min([index.limits[0], *(every - 2)]), max([index.limits[1], *(every + 2)])
    if index.limits[0] == 0:
        return *index.limits, [0, 50, 100]
    step = 10 if high - low < 60 and len(cases) < 3 else 20
    return low, high, [float(tick) for tick in range(ceil(low / step) * step, int(high) + 1, step)]


def _range(index: Index) -> str:
    low, high = index.wanted or (0, 0)
    return f"{low:g}–{high:g}"


def _reading(cases: Sequence[Case]) -> str:
    band = "band: 8 of 10 possible futures; " if any(c.projection.members > 1 for c in cases) else ""
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


FLAT = 0.02  # share of the scale below which a line would lie on the axis


def crop(cases: Sequence[Case], key: str) -> Picture:
    """Standing crop of each species over time, lines labelled at their ends."""
    units = cases[0].projection.units
    figure, panels = _time_panels(cases, unit_of("crop", units), right_in=0.5)
    said = []
    most = {s: max(np.nanmax([*c.band(f"{s}_standing_crop")[:, 2], 0.0]) for c in cases) for s in SPECIES}
    top = max(1.0, *most.values()) * 1.05
    there = [s for s in SPECIES if most[s] > FLAT * top] or list(SPECIES)
    for axes, case in zip(panels, cases, strict=True):
        axes.set_ylim(0, top)
        few_ticks(axes)
        ends = []
        for species in there:
            look = TRAITS[species].look
            band = case.band(f"{species}_standing_crop")
            _line(axes, case, band, (look.colour, (0, look.dashes) if look.dashes else "-", "None"))
            ends.append(float(np.nan_to_num(band[-1, 1])))
        for species, place in zip(there, places_beside(figure, axes, ends), strict=True):
            name_beside(axes, species, place, TRAITS[species].look.colour)
        shown = joined(f"{s} {figure_of(e, 'crop')}" for s, e in zip(there, ends, strict=True))
        said.append(f"{case.letter}, at the last survey: {shown}")
    unit = unit_of("crop", units)
    band_words = "; band: 8 of 10 possible futures" if cases[0].projection.members > 1 else ""
    lives = {s for case in cases for s in case.strategy.species}
    absent = joined(TRAITS[s].plural for s in SPECIES if s in lives and s not in there)
    nothing = f" Hardly any {absent} at any survey (under {FLAT:.0%} of the scale), so without a line." if absent else ""
    return picture(
        figure, key, "Weight of fish in the pond",
        f"Standing crop of each species, {unit} (1 lb/acre = 1.12 kg/ha). Line: median{band_words}.{nothing}",
        f"Standing crop of {joined(TRAITS[s].plural for s in there)} over time in {unit}. " + "; ".join(said) + ".",
    )  # fmt: skip


def _bass_groups(case: Case) -> list[str]:
    return [event.name for event in case.strategy.stocking if event.species == "bass" and not event.share_cv]


def growth(cases: Sequence[Case], units: Units) -> Iterator[Picture]:
    """Mean weight, and survivors, of the stocked groups of bass (of all groups where there are none of bass).

    Not of the length classes of a survey, of which no one asks what becomes of them.
    """
    groups = list(dict.fromkeys(g for c in cases for g in _bass_groups(c)))[:MOST_CASES]
    if not groups:
        groups = list(dict.fromkeys(e.name for c in cases for e in c.strategy.stocking if not e.share_cv))[:MOST_CASES]
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
            heading(axes, "", group.replace("_", " "), unit_of(kind, units))
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
            few_ticks(axes)
            if ends:
                places = places_beside(figure, axes, [e[2] for e in ends], clear=0.4)
                for (case, x, _), place in zip(ends, places, strict=True):
                    axes.annotate(case.letter, (x, place), xytext=(4, 0), textcoords="offset points",
                                  va="center", fontsize=TEXT_PT, fontweight="bold", color=case.look[0],
                                  annotation_clip=False)  # fmt: skip
            else:
                no_data(axes, "none alive at a survey")
        unit = unit_of(kind, units)
        beside = "1 lb = 454 g" if kind == "weight" else "1 per acre = 2.47 per ha"
        yield picture(
            figure, measure, title,
            f"Bass that were stocked or lived there at the start, {unit} ({beside}). A letter marks each strategy."
            if any(map(_bass_groups, cases)) else f"Stocked fish, {unit} ({beside}). A letter marks each strategy.",
            f"{title} of each group in {unit}. " + "; ".join(said) + ".",
        )  # fmt: skip


def big_fish(cases: Sequence[Case], key: str) -> Picture:
    """Chance of at least one bass above each weight in this pond: 1 − e^−n of the expected number n, over members."""
    figure, panels = _time_panels(cases, "chances in 10", right_in=0.4)
    looks = (("#14418b", "-", "o"), ("#b5461a", (0, (5, 2)), "s"), ("#5b5b5b", (0, (1.2, 1.2)), "^"))
    said, nowhere = [], []
    for axes, case in zip(panels, cases, strict=True):
        expected = case.of("bass_above") * case.projection.scenario.pond.area_ha
        chance = (1.0 - np.exp(-expected)).mean(axis=0) * 10
        pounds = np.round(case.projection.dataset["big_weight"].values / G_PER_LB).astype(int)[: len(looks)]
        axes.set(ylim=(-0.3, 10.3), yticks=[0, 5, 10])
        ends = [float(chance[-1, k]) for k in range(pounds.size)]
        drawn = [k for k in range(pounds.size) if chance[:, k].max() > 10 * FLAT]
        for k in drawn:
            colour, dashes, marker = looks[k]
            axes.plot(case.projection.survey_years, chance[:, k], color=colour, linestyle=dashes, marker=marker)
        if len(drawn) < pounds.size:
            nowhere.append(f"{case.letter} above {joined(f'{p}' for k, p in enumerate(pounds) if k not in drawn)} lb")
        for k, place in zip(drawn, places_beside(figure, axes, [ends[k] for k in drawn]), strict=True):
            name_beside(axes, f"{pounds[k]} lb", place, looks[k][0])
        said.append(
            f"{case.letter}, at the end: " + joined(f"{p} lb {in_ten(e / 10)}" for p, e in zip(pounds, ends, strict=True))
        )
    return picture(
        figure, key, "Chance of a big bass",
        "Chances in 10 that this pond holds at least one bass above 5, 8 and 10 lb (2.3, 3.6 and 4.5 kg)."
        + (f" Hardly any at any survey, so without a line: {'; '.join(nowhere)}." if nowhere else ""),
        "Chance of at least one bass above 5, 8 and 10 lb in the pond over time. " + "; ".join(said) + ".",
    )  # fmt: skip


def harvest(cases: Sequence[Case], key: str) -> Picture | None:
    """Weight harvested in the twelve months before the last survey of each year; None where nothing is harvested."""
    names = {s: f"{s}_harvest_biomass_12_months" for s in SPECIES}
    taken = [s for s in SPECIES if any(np.nanmax([*c.band(names[s])[:, 2], 0.0]) > 0 for c in cases)]
    if not taken:
        return None
    units = cases[0].projection.units
    without = [c.letter for c in cases if not any(np.nanmax([*c.band(names[s])[:, 2], 0.0]) > 0 for s in taken)]
    cases = [case for case in cases if case.letter not in without]
    figure, panels = _time_panels(cases, unit_of("crop", units), right_in=0.5)
    top = 1.1 * max(np.nanmax([*c.band(names[s])[:, 2], 0.01]) for c in cases for s in taken)
    said = []
    for axes, case in zip(panels, cases, strict=True):
        axes.set_ylim(0, top)
        few_ticks(axes)
        width = 0.8 / len(taken)
        for k, species in enumerate(taken):
            at = [i for _, i in case.projection.yearly]
            band = case.band(names[species])[at]
            x = np.array([year for year, _ in case.projection.yearly]) + 0.1 + width * (k + 0.5)
            look = TRAITS[species].look
            axes.bar(x, band[:, 1], width * 0.9, facecolor="white" if look.hatch else look.colour,
                     edgecolor=look.colour, hatch=look.hatch, linewidth=0.6)  # fmt: skip
            if case.projection.members > 1:
                axes.vlines(x, band[:, 0], band[:, 2], color=INK, linewidth=0.8)
        total = [np.nansum([case.band(names[s])[i, 1] for s in taken]) for _, i in case.projection.yearly]
        said.append(f"{case.letter}: up to {figure_of(max(total), 'crop')} a year")
    colour_key(panels[0], {species: TRAITS[species].look.colour for species in taken})
    unit = unit_of("crop", units)
    whisker = "; thin line: 8 of 10 possible futures" if cases[0].projection.members > 1 else ""
    return picture(
        figure, key, "Harvest",
        f"Taken in the twelve months before the last survey of each year, {unit} (1 lb/acre = 1.12 kg/ha); "
        f"median{whisker}.{f' Nothing under {joined(without)}.' if without else ''}",
        f"Weight harvested by year in {unit}. " + "; ".join(said) + ".",
    )  # fmt: skip


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
        heading(axes, case.letter, case.title, "" if k else unit)
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
