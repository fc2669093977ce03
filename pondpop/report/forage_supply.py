"""Which bass go hungry, and when: edible prey in the pond against a month's need, by length class."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pondpop.report.drawing import SMALL_PT, Picture, heading, picture, stacked, year_axis
from pondpop.report.strategies import Array, Case, Material, decimal_years
from pondpop.report.tables import Cell, Table
from pondpop.species import TRAITS
from pondpop.units import MM_PER_IN, NONE, Units, figure_of, in_ten, joined, months_in_words, unit_of

SHORT, TIGHT = 1.0, 3.0  # months of need standing in the pond; a choice of ours
PRESENT_KG_PER_HA = 0.05  # need in a month below which a class counts as empty; a choice of ours
THIN_WR = 90.0  # below the range wanted, 95–105 (Anderson 1980, from memory), by more than a few points; a choice of ours
MIDDLING_IN = 8  # from which bass are no young fish here: stock length (Gabelhouse 1984)
LARGE_IN = 15  # from which bass are large here: preferred length (Gabelhouse 1984)
YEARS = 2  # the coming years, and the last whole years of the run, which are told as the usual year


WATCH = "Where nothing runs short there is nothing to do beyond watching Wr at each survey."
CROWDED = (
    "Small and middling bass that are short for months, or thin, are the mark of a crowded pond: the usual help is to "
    "take out bass under 12 in (agencies' advice for crowded ponds) and, where bluegill are few, to add bluegill of 3–5 in, "
    "200 per acre (490 per ha)."
)
YOUNG = (
    "Where only young bass are short: with enough older bass in the pond this thins them and needs no help; where you "
    "want more of them, cover and small forage (minnows, a late spawn of bluegill) help."
)
LARGE = (
    "Large bass that are short of large prey, or thin: threadfin shad, where winters and the state allow them, or fewer large "
    "bass, are the usual help."
)


@dataclass(frozen=True, eq=False)
class Hunger:
    """Edible prey and need of one case, kg/ha [member, month, bass_class]."""

    case: Case
    prey: Array
    need: Array

    @property
    def share_short(self) -> Array:
        """Share of members in which prey is below a month's need [month, bass_class]; NaN where there are no bass."""
        return self._share_below(SHORT)

    @property
    def share_tight(self) -> Array:
        """Share of members in which prey is scarce [month, bass_class]; NaN where there are no bass."""
        return self._share_below(TIGHT)

    def _share_below(self, multiple: float) -> Array:
        there = self.need > PRESENT_KG_PER_HA
        below = (self.prey < multiple * self.need) & there
        count = there.sum(axis=0)
        return np.where(count * 2 >= there.shape[0], below.sum(axis=0) / np.maximum(count, 1), np.nan)


def hunger(case: Case) -> Hunger:
    return Hunger(case, case.of("edible_prey"), case.of("prey_need"))


def class_words(case: Case, units: Units) -> list[str]:
    """The broad classes of bass: 8–12 in, the last open above."""
    lower = [int(inches) for inches in case.projection.dataset["bass_class"].values]
    if units == "metric":
        lower = [round(inches * MM_PER_IN) for inches in lower]
    unit = "in" if units == "us" else "mm"
    return [f"{a}–{b} {unit}" for a, b in pairwise(lower)] + [f"{lower[-1]} {unit} and up"]


def _places(case: Case, coming: bool) -> dict[int, list[int]]:
    """Calendar month to its places among the months of the coming, or of the last, YEARS whole years of the run."""
    months = case.projection.months.astype(int)
    wanted = range(12 * YEARS) if coming else range(months.size - 12 * YEARS, months.size)
    out: dict[int, list[int]] = {}
    for k in wanted:
        if 0 <= k < months.size:
            out.setdefault(int(months[k]) % 12 + 1, []).append(k)
    return out


def draw(cases: Sequence[Case], units: Units, key: str) -> Picture:
    """Months in which each class finds less than it needs: black where it is likely, grey where it may be tight."""
    names = class_words(cases[0], units)
    figure, panels = stacked(len(cases), max(0.62, min(1.3, 2.6 / len(cases) - 0.22)), left_in=0.72)
    first = min(decimal_years(c.projection.months[:1])[0] for c in cases)
    last = max(decimal_years(c.projection.months[-1:])[0] for c in cases) + 1 / 12
    said = []
    for k, (axes, case) in enumerate(zip(panels, cases, strict=True)):
        found = hunger(case)
        year_axis(axes, first, last, labels=k == len(cases) - 1)
        heading(axes, case.letter, case.title)
        axes.set(ylim=(-0.5, len(names) - 0.5))
        axes.set_yticks(range(len(names)), labels=names, fontsize=SMALL_PT)
        axes.tick_params(axis="y", length=0)
        start = decimal_years(case.projection.months)
        for c in range(len(names)):
            for share, colour, height in (
                (np.where(np.isfinite(found.share_short[:, c]), 1.0, 0.0), "#e3e3e3", 0.18),
                (np.nan_to_num(found.share_tight[:, c]), "#e0a33e", 0.5),
                (np.nan_to_num(found.share_short[:, c]), "#7a1f12", 0.8),
            ):
                runs = list(_runs(share >= 0.5))
                if runs:
                    axes.broken_barh([(start[a], (b - a) / 12) for a, b in runs], (c - height / 2, height),
                                     color=colour, linewidth=0)  # fmt: skip
        said.append(f"{case.letter}: {_short_words(found, names) or 'no class is short'}")
    return picture(
        figure, key, "Months in which bass find too little",
        "Dark and tall: prey of their size is less than a month's need. Ochre: less than three months' need. Thin "
        "grey: "
        "enough. Empty: no such bass.",
        "Months in which each length class of bass finds too little prey. " + "; ".join(said) + ".",
    )  # fmt: skip


def _runs(wanted: np.ndarray) -> Iterator[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], wanted.astype(int), [0]])))
    yield from zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)


def _months(share: Array, found: Hunger, coming: bool) -> dict[int, list[int]]:
    """Class to the calendar months in which half of the members are short (or tight, by the share given)."""
    out = {}
    for c in range(share.shape[1]):
        months = [m for m, places in _places(found.case, coming).items() if np.nanmean(_some(share[places, c])) >= 0.5]
        if months:
            out[c] = sorted(months)
    return out


def _some(values: Array) -> Array:
    return values if np.isfinite(values).any() else np.zeros_like(values)


def _short_words(found: Hunger, names: Sequence[str]) -> str:
    short = _months(found.share_short, found, coming=False)
    return "; ".join(f"{names[c]} short in {months_in_words(months)}" for c, months in short.items())


def advice(case: Case, units: Units, coming: bool = False) -> tuple[str, list[str]]:
    """Which classes go hungry, when and how sure, as one sentence, and what usually helps.

    coming: in the coming two years, else in the usual year at the end of the run.
    """
    found, names, members = hunger(case), class_words(case, units), case.projection.members
    places = _places(case, coming)
    lean = [] if coming else _thin(case)
    thin = _thin_in_words(lean, units)
    of_thin = list(dict.fromkeys(CROWDED if low < LARGE_IN else LARGE for low, _, _ in lean))
    if not np.isfinite(found.share_short[[k for some in places.values() for k in some]]).any():
        return "too few bass to go hungry.", []
    short = _months(found.share_short, found, coming)
    if not short:
        tight = _months(found.share_tight, found, coming)
        told = joined(f"{names[c]} in {months_in_words(months)}" for c, months in tight.items())
        more = f" (tightest: {told})" if told else ""
        return f"no class is likely to run short of prey of its size{more}.{thin}", of_thin or [WATCH]
    parts = []
    for c, months in short.items():
        sure = float(np.nanmean([np.nanmean(_some(found.share_short[places[m], c])) for m in months]))
        chance = f" ({in_ten(sure, members)})" if members > 1 else ""
        parts.append(f"bass of {names[c]}, {months_in_words(months)}{chance}")
    from_in = case.projection.dataset["bass_class"].values[list(short)]
    young, large = from_in < MIDDLING_IN, from_in >= LARGE_IN
    middling = ~(young | large)
    wanted = {CROWDED: middling.any(), YOUNG: young.any() and not middling.any(), LARGE: large.any()}
    helps = [words for words, helpful in wanted.items() if helpful]
    helps += [words for words in of_thin if words not in helps]
    return f"short of prey of their size: {'; '.join(parts)}.{thin}", helps


def _thin(case: Case) -> list[tuple[int, int, float]]:
    """Lengths of bass, in inches, that are thin at the last survey, whatever stands in the pond for them, and their Wr."""
    every = [(low, high, float(case.band(f"bass_wr_{low}_{high}in")[-1, 1])) for low, high in TRAITS["bass"].wr_classes_in]
    return [one for one in every if one[2] < THIN_WR]


def _thin_in_words(thin: list[tuple[int, int, float]], units: Units) -> str:
    if not thin:
        return ""
    factor, unit = (1.0, "in") if units == "us" else (MM_PER_IN, "mm")
    told = [f"{low * factor:.0f}–{high * factor:.0f} {unit} (Wr {wr:.0f})" for low, high, wr in thin]
    return (
        f" Yet bass of {joined(told)} are thin at the last survey: prey is there, but in cover, or too many bass share it."
    )


def table(material: Material, shown: Case) -> list[Table]:
    """Edible prey and need by month and class, median of the last whole years; all cases in the CSV."""
    header = ["strategy", "title", "month", "bass_from_in", "bass_to_in", "unit", "edible_prey_p50", "need_p50", "share_short"]
    unit, factor = unit_of("crop", material.units), material.crop_factor
    csv_rows: list[list[object]] = []
    rows: list[list[Cell]] = []
    names = class_words(shown, material.units)
    for case in material.cases:
        found = hunger(case)
        edges = [int(inches) for inches in case.projection.dataset["bass_class"].values]
        for month, places in sorted(_places(case, coming=False).items()):
            cells, lacking = list[Cell](), list[str]()
            for c, (low, high) in enumerate(zip(edges, [*edges[1:], ""], strict=True)):
                prey = float(np.median(found.prey[:, places, c])) * factor
                need = float(np.median(found.need[:, places, c])) * factor
                short = float(np.nanmean(_some(found.share_short[places, c])))
                none = need < PRESENT_KG_PER_HA * factor
                csv_rows.append([case.letter, case.title, f"{month:02}", low, high, unit, prey, need, short])
                cells.append(NONE if none else (figure_of(prey, "crop"), figure_of(need, "crop")))
                lacking += [names[c]] * (short >= 0.5 and not none)
            if case is shown:
                rows.append([f"{dt.date(2001, month, 1):%b}", *cells, joined(lacking) or NONE])
    seen = [k for k in range(len(names)) if any(row[1 + k] != NONE for row in rows)]
    absent = joined(names[k] for k in range(len(names)) if k not in seen)
    return [Table(
        "prey_and_need",
        f"{shown.letter}: {shown.title}. Prey of the right size in the pond, and beside it what the class needs in the month, "
        f"{unit}, usual year at the end of the run; last, which classes are short. Classes share the same prey."
        + (f" Too few bass of {absent} to tell." if absent else ""),
        ["Month", *(names[k] for k in seen), "Short"], [[row[0], *(row[1 + k] for k in seen), row[-1]] for row in rows],
        header, csv_rows,
    )]  # fmt: skip
