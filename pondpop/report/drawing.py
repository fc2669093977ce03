"""How every picture is drawn: one look, and a matplotlib figure as clean inline SVG; the only import of matplotlib."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from textwrap import fill

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.markers import TICKDOWN
from matplotlib.textpath import text_to_path
from scipy.optimize import isotonic_regression

from pondpop.report.format import html

WIDTH_IN = 3.6
POINTS_PER_IN = 72
TEXT_PT, NOTE_PT, SMALL_PT = 7.5, 7.0, 6.5  # letters; those of years and of words beside curves; those of units and of marks
LINE_PT = 7.2  # a line of words beside curves
MOST_CASES = 4  # of one picture, so that it fits a printed page
INK, SOFT, TARGET, PALE = "#222222", "#8a8a8a", "#e9e4d4", "#c9c9c9"
LOOK = {
    "font.family": "DejaVu Sans",
    "font.size": TEXT_PT,
    "text.parse_math": False,
    "text.color": INK,
    "axes.edgecolor": "#666666",
    "axes.labelcolor": INK,
    "axes.linewidth": 0.6,
    "axes.labelsize": TEXT_PT,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.unicode_minus": True,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": NOTE_PT,
    "ytick.labelsize": NOTE_PT,
    "xtick.major.size": 2,
    "ytick.major.size": 2,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "xtick.major.pad": 2,
    "ytick.major.pad": 2,
    "lines.linewidth": 1.4,
    "lines.markersize": 2.6,
    "hatch.linewidth": 0.6,
    "svg.fonttype": "none",
    "svg.hashsalt": "pondpop",
    "path.simplify": False,
    "timezone": "UTC",
}


@dataclass(frozen=True)
class Picture:
    """One drawn picture: `key` is unique on the page, `words` tell those who cannot see it what it shows."""

    key: str
    title: str
    caption: str
    words: str
    svg: str


@contextmanager
def look() -> Iterator[None]:
    """The one look, whatever the user's own settings are; glyphs that the measuring font lacks are left to the page."""
    with mpl.rc_context(), warnings.catch_warnings():
        mpl.rcdefaults()
        mpl.rcParams.update(LOOK)  # type: ignore[arg-type]
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        yield


def stacked(count: int, panel_in: float, gap_in: float = 0.22, left_in: float = 0.42, right_in: float = 0.12,
            bottom_in: float = 0.26, top_in: float = 0.2) -> tuple[Figure, list[Axes]]:  # fmt: skip
    """Panels below each other on one width, sizes in inches."""
    height = top_in + count * panel_in + (count - 1) * gap_in + bottom_in
    figure = Figure(figsize=(WIDTH_IN, height))
    across = (WIDTH_IN - left_in - right_in) / WIDTH_IN
    panels = []
    for k in range(count):
        bottom = height - top_in - (k + 1) * panel_in - k * gap_in
        panels.append(figure.add_axes((left_in / WIDTH_IN, bottom / height, across, panel_in / height)))
    return figure, panels


def grid(count: int, panel_in: float, gap_in: float = 0.34, left_in: float = 0.38, right_in: float = 0.08,
         bottom_in: float = 0.4, top_in: float = 0.2, between_in: float = 0.2
         ) -> tuple[Figure, list[Axes]]:  # fmt: skip
    """Panels two in a row (one alone if there is one), sizes in inches."""
    columns = min(count, 2)
    rows = -(-count // 2)
    height = top_in + rows * panel_in + (rows - 1) * gap_in + bottom_in
    figure = Figure(figsize=(WIDTH_IN, height))
    width = (WIDTH_IN - left_in - right_in - (columns - 1) * between_in) / columns
    panels = []
    for k in range(count):
        x = left_in + (k % 2) * (width + between_in)
        bottom = height - top_in - (k // 2 + 1) * panel_in - (k // 2) * gap_in
        panels.append(figure.add_axes((x / WIDTH_IN, bottom / height, width / WIDTH_IN, panel_in / height)))
    return figure, panels


def heading(axes: Axes, letter: str, title: str, unit: str = "") -> None:
    """Letter and title of a case above the left end of its panel, the unit of the upright axis above its right end. Where
    there is no room for the title, up to the unit, the next panel or the edge, the letter stands alone, for the key of the
    page names it; a title without letter is broken into lines. Nothing is cut."""
    box = axes.get_position()
    beside = [panel.get_position().x0 for panel in axes.figure.axes if panel.get_position().x0 > box.x1]
    ends_pt = (box.x1 if unit else min(beside, default=1.0)) * WIDTH_IN * POINTS_PER_IN - 0.5 * TEXT_PT
    room_pt = ends_pt - box.x0 * WIDTH_IN * POINTS_PER_IN
    if unit:
        room_pt -= _wide_pt(unit, SMALL_PT, "normal")
        axes.annotate(
            unit, (1, 1), xytext=(0, 3), xycoords="axes fraction", textcoords="offset points",
            fontsize=SMALL_PT, color="#444444", va="bottom", ha="right",
        )  # fmt: skip
    words = " ".join(title.split())
    whole = f"{letter}: {words}" if letter else words
    wide_pt = _wide_pt(whole, TEXT_PT, "bold")
    if wide_pt > room_pt:
        whole = letter or fill(words, int(len(words) * room_pt / wide_pt))
    axes.annotate(
        whole, (0, 1), xytext=(0, 3), xycoords="axes fraction", textcoords="offset points",
        fontsize=TEXT_PT, fontweight="bold", va="bottom", ha="left",
    )  # fmt: skip


def _wide_pt(words: str, size_pt: float, weight: str) -> float:
    """How wide words are in the font of the pictures, points; in that of the page they are narrower."""
    return float(text_to_path.get_text_width_height_descent(words, FontProperties(size=size_pt, weight=weight), False)[0])


def few_ticks(axes: Axes, whole: bool = False) -> None:
    """At most four steps on the upright axis of a low panel; of whole numbers where fractions make no sense."""
    axes.locator_params(axis="y", nbins=4, integer=whole)


def no_data(axes: Axes, words: str) -> None:
    axes.text(0.5, 0.5, words, transform=axes.transAxes, ha="center", va="center", color="#555555")


def spread_apart(positions: Sequence[float], least: float) -> list[float]:
    """Positions of labels moved apart to a least distance, in the same order, as little as that takes (least squares)."""
    at = np.array(positions, float)
    order = np.argsort(at, kind="stable")
    steps = least * np.arange(at.size)
    at[order] = isotonic_regression(at[order] - steps).x + steps
    return at.tolist()


def places_beside(figure: Figure, axes: Axes, ends: Sequence[float], clear: float = 0.0) -> list[float]:
    """Where words beside the ends of curves stand, on the panel's upright axis, so that no line of them covers another and
    none lies below the panel, or so much of a line above its lower edge."""
    height_pt = axes.get_position().height * figure.get_figheight() * POINTS_PER_IN
    low, high = axes.get_ylim()
    line = LINE_PT * (high - low) / height_pt
    places = spread_apart(ends, line)
    lift = max(0.0, low + clear * line - min(places, default=low))
    return [place + lift for place in places]


def name_beside(axes: Axes, words: str, place: float, colour: str) -> None:
    """Words to the right of a panel, at a place of its upright axis."""
    axes.annotate(words, (1, place), xycoords=("axes fraction", "data"), xytext=(3, 0), textcoords="offset points", va="center",
                  fontsize=NOTE_PT, color=colour, annotation_clip=False)  # fmt: skip


def colour_key(axes: Axes, colours: Mapping[str, str]) -> None:
    """Names below each other to the right of a panel, from its upper edge, each in its colour."""
    for k, (name, colour) in enumerate(colours.items()):
        axes.annotate(name, (1, 1), xytext=(3, -6 - 9 * k), xycoords="axes fraction", textcoords="offset points",
                      fontsize=NOTE_PT, color=colour, annotation_clip=False)  # fmt: skip


def picture(figure: Figure, key: str, title: str, caption: str, words: str) -> Picture:
    """The figure as inline SVG: same bytes each time, ids of its own, nothing from outside, a text alternative."""
    out = io.StringIO()
    FigureCanvasSVG(figure).print_svg(out, metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    return Picture(key, title, caption, words, _clean(out.getvalue(), key, title, words))


def _clean(svg: str, key: str, title: str, words: str) -> str:
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<!--.*?-->", "", svg, flags=re.S)
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.S)
    svg = re.sub(r"<style type=\"text/css\">.*?</style>", "", svg, flags=re.S)
    svg = svg.replace("xlink:href", "href")
    used = set(re.findall(r"(?:url\(#|href=\"#)([^)\"]+)", svg))
    svg = re.sub(r' id="([^"]*)"', lambda m: f' id="{key}-{m[1]}"' if m[1] in used else "", svg)
    svg = re.sub(r"(url\(#|href=\"#)", rf"\g<1>{key}-", svg)
    svg = re.sub(r"<defs>\s*</defs>", "", svg)
    svg = re.sub(r"font: ([\d.]+)px 'DejaVu Sans'", r"font-size: \1px", svg)
    svg = re.sub(r"font: (\d+|bold) ([\d.]+)px 'DejaVu Sans'", r"font-weight: \1; font-size: \2px", svg)
    svg = svg.replace(" font-family: 'DejaVu Sans';", "")
    svg = re.sub(r' transform="rotate\(-0 [^)]*\)"', "", svg)
    svg = re.sub(r"<[^>]+>", lambda tag: re.sub(r"(\d+\.\d)\d+", r"\1", tag[0]), svg)  # places and sizes, not words
    svg = re.sub(r"\s*\n\s*", "\n", svg)
    box = re.search(r'viewBox="([^"]*)"', svg)
    assert box is not None
    head = (
        f'<svg class="plot" viewBox="{box[1]}" role="img" aria-labelledby="{key}-t {key}-d">'
        f'<title id="{key}-t">{html(title)}</title><desc id="{key}-d">{html(words)}</desc>'
    )
    return head + svg[svg.index(">") + 1 :].strip()


def year_axis(axes: Axes, first: float, last: float, labels: bool) -> None:
    """Years along the bottom, a tick at each 1 January, the year's number in the middle of it."""
    axes.set_xlim(first, last)
    start, end = int(first), int(last) if last > int(last) else int(last) - 1
    every = 1 if end - start < 10 else 2
    axes.set_xticks([])
    ticks = range(start + 1, end + 1)
    axes.plot(ticks, [0.0] * len(ticks), linestyle="", marker=TICKDOWN, markersize=2.5, markeredgewidth=0.6,
              color="#666666", transform=axes.get_xaxis_transform(), clip_on=False)  # fmt: skip
    if labels:
        for year in range(start, end + 1):
            middle = (max(first, year) + min(last, year + 1)) / 2
            if (year - start) % every == 0 and min(last, year + 1) - max(first, year) > 0.4:
                axes.annotate(str(year), (middle, 0), xycoords=("data", "axes fraction"), xytext=(0, -4),
                              textcoords="offset points", ha="center", va="top", fontsize=NOTE_PT)  # fmt: skip


def dashes_for_html(dashes: object, scale: float = 2.0) -> str:
    """The attribute that gives a line in the page the dashes of a picture."""
    if not isinstance(dashes, tuple):
        return ""
    return f' stroke-dasharray="{" ".join(f"{scale * d:g}" for d in dashes[1])}"'
