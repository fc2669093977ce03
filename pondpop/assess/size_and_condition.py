"""Size structure, relative weight, catch rates and balance ratios of one survey, and what changed since the last."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import scipy

from pondpop.assess.effort import Outings
from pondpop.assess.findings import Finding
from pondpop.observe import indices
from pondpop.observe.gears import gear as settings
from pondpop.observe.limits import (
    Share,
    effective_fish,
    fish_for,
    mean_differs,
    mean_wr,
    share_differs,
    share_of,
)  # fmt: skip
from pondpop.observe.observers import LENGTH_CLASSES_IN
from pondpop.records import Effort, Fish
from pondpop.records.surveys import Survey
from pondpop.species import MEASURED, SPECIES, load_parameters
from pondpop.units import MM_PER_IN

GAME = MEASURED
PAIR = ("bass", "bluegill")
CATEGORY_SUFFIX = {"quality": "", "preferred": "_p", "memorable": "_m", "trophy": "_t"}
HALF_WIDTH = 0.10
USUAL_FISH = 50
"""Fish of stock length that a further outing is taken to bring, if those before brought fewer (a choice of ours)."""
LENGTH_CLASSES = LENGTH_CLASSES_IN.size
INCH_EDGES_MM = np.arange(LENGTH_CLASSES + 1) * MM_PER_IN


def counts_by_inch(fish: tuple[Fish, ...]) -> np.ndarray:
    """Fish in one-inch classes [length_class], the lower bounds being 0 to 31 in."""
    lengths, numbers = lengths_of(fish)
    return np.histogram(lengths, INCH_EDGES_MM, weights=numbers)[0]


def lengths_of(fish: tuple[Fish, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Lengths (mm) and numbers of the rows, each of shape [row]."""
    return np.array([f.length_mm for f in fish], float), np.array([f.count for f in fish], int)


def category_counts(fish: tuple[Fish, ...], species: str) -> np.ndarray:
    """Fish in each length category from stock on [category]."""
    return indices.category_counts(np.repeat(*lengths_of(fish)), species)


@dataclass(frozen=True)
class Structure:
    """The fish of each length category on each outing, and how many independent ones an outing is worth [outing]."""

    parts: np.ndarray  # [outing, category], stock first
    concentration: np.ndarray

    @property
    def stock(self) -> int:
        return int(self.parts.sum())

    def psd(self, category: str = "quality") -> float:
        """PSD, %."""
        return float(100 * self.parts[:, indices.CATEGORIES.index(category) :].sum() / self.parts.sum())

    def share(self, first: int, last: int | None = None) -> Share:
        """What is known of the share of some categories among fish of stock length."""
        return share_of(self.parts[:, first:last].sum(axis=1), self.parts.sum(axis=1), self.concentration)


def structure(survey: Survey, gear: str, species: str) -> Structure | None:
    """The size structure of a survey by one gear; None without fish of stock length.

    Fish of one day are one outing. Of the independent fish of an outing those of stock length have their share.
    """
    fish = survey.taken(gear, species)
    days = sorted({f.date for f in fish})
    parts = np.array([category_counts(tuple(f for f in fish if f.date == day), species) for day in days])
    if not parts.sum():
        return None
    of_stock = parts.sum() / sum(f.count for f in fish)
    parts = parts[parts.sum(axis=1) > 0]
    return Structure(parts, np.full(len(parts), float(settings(gear).concentration(of_stock))))


def size_structure(survey: Survey, gear: str, species: str) -> Iterator[Finding]:
    """PSD family and its parts with limits, how well PSD can be known from these outings, and what would tell more."""
    seen = structure(survey, gear, species)
    if seen is None:
        return
    at: dict[str, Any] = {"date": survey.first, "gear": gear, "species": species, "count": seen.stock}
    seen_again = survey.again(gear, species, indices.category_inches(species)[0] * MM_PER_IN)
    again = f"{seen_again} of them caught again in this survey, counted once" if seen_again else ""
    for category, suffix in CATEGORY_SUFFIX.items():
        low, high = (100 * x for x in seen.share(indices.CATEGORIES.index(category)).limits())
        yield Finding(f"{species}_psd{suffix}", "%", seen.psd(category), low, high, **at, note=again)
    each = 1 - 0.05 / len(indices.PART_NAMES)  # Bonferroni
    for k, name in enumerate(indices.PART_NAMES):
        low, high = (100 * x for x in seen.share(k, k + 1).limits(each))
        yield Finding(
            f"{species}_psd_part_{name.lower().replace('-', '_')}", "%", 100 * seen.parts[:, k].sum() / seen.stock,
            low, high, **at, note="limits hold for all parts at once",
        )  # fmt: skip
    yield from _precision(seen, species, at)


def _precision(seen: Structure, species: str, at: dict[str, Any]) -> Iterator[Finding]:
    """How closely PSD can be known from such outings however many fish are measured, and the outings still wanted."""
    outings = len(seen.parts)
    share = (seen.parts[:, 1:].sum() + 0.5) / (seen.stock + 1)
    floor = HALF_WIDTH * (fish_for(share, HALF_WIDTH) / float((seen.concentration + 1).sum())) ** 0.5
    now = effective_fish(seen.parts.sum(axis=1), seen.concentration)
    each = max(USUAL_FISH, round(seen.stock / outings))
    wanted = fish_for(share, HALF_WIDTH) - now
    more = max(0, math.ceil(wanted / effective_fish([each], seen.concentration[:1])))
    yield Finding(
        f"{species}_psd_floor", "points", 100 * floor, **at,
        note=f"more fish of {'this outing' if outings == 1 else f'these {outings} outings'} would not tell PSD closer",
    )  # fmt: skip
    yield Finding(
        f"{species}_more_outings_for_10_points", "outings", more, **at,
        note=f"on other days of {each} fish of stock length each",
    )


def weighed(fish: tuple[Fish, ...], species: str) -> Weighed:
    """The weighed fish of a species, those without a weight, and those below the equation's shortest length."""
    rows = [f for f in fish if f.weight_g is not None]
    lengths = np.array([f.length_mm for f in rows])
    wr = indices.relative_weight(np.array([f.weight_g for f in rows], float), lengths, species)
    known = np.isfinite(wr)
    days = tuple(f.date for f, there in zip(rows, known, strict=True) if there)
    return Weighed(lengths[known], wr[known], days, sum(f.count for f in fish) - len(rows), int((~known).sum()))


@dataclass(frozen=True)
class Weighed:
    """Length (mm), Wr (%) and outing of each weighed fish; how many were not weighed, or too short for Wr."""

    length_mm: np.ndarray
    wr: np.ndarray
    outing: tuple[dt.date, ...]
    unweighed: int
    short: int

    def of(self, low: int, high: int | None) -> tuple[np.ndarray, list[dt.date]]:
        """Wr and outing of the fish of a length class (in)."""
        mine = within(self.length_mm, low, high)
        return self.wr[mine], [day for day, there in zip(self.outing, mine, strict=True) if there]


LEAST_WEIGHED = 5  # fish from which a mean Wr is told without a warning (a choice of ours)
FEW = "too few to judge by"


def weight_classes(species: str) -> list[tuple[int, int | None]]:
    """Bounds (in) of the classes in which Wr is read: under stock, then the length categories."""
    edges = [0, *indices.category_inches(species)]
    return list(zip(edges, [*edges[1:], None], strict=True))


def class_name(low: int, high: int | None) -> str:
    return f"{low}in_up" if high is None else f"{low}_{high}in"


def class_words(name: str) -> str:
    """8–12 in for 8_12in, under 8 in for 0_8in, and 25 in and up for 25in_up."""
    low, high = name.split("_")
    if low == "0":
        return f"under {high.removesuffix('in')} in"
    return f"{low.removesuffix('in')} in and up" if high == "up" else f"{low}–{high.removesuffix('in')} in"


def conditions(survey: Survey, gear: str, species: str) -> Iterator[Finding]:
    """Mean Wr by length class with limits, and the fish left out."""
    found = weighed(survey.taken(gear, species), species)
    at: dict[str, Any] = {"date": survey.first, "gear": gear, "species": species}
    for low, high in weight_classes(species):
        mine, outing = found.of(low, high)
        if mine.size:
            mean, note = mean_wr(mine, outing), FEW if mine.size < LEAST_WEIGHED else ""
            name = f"{species}_wr_{class_name(low, high)}"
            yield Finding(name, "%", mean.value, *mean.limits(), mine.size, **at, note=note)
    if found.wr.size or found.short:
        shortest = indices.shortest_mm(species)
        yield Finding(
            f"{species}_wr_left_out", "fish", found.unweighed + found.short, **at,
            note=f"{found.unweighed} not weighed, {found.short} shorter than the {shortest:.0f} mm from which Wr is defined",
        )  # fmt: skip


def within(lengths: np.ndarray, low: int, high: int | None) -> np.ndarray:
    return (lengths >= low * MM_PER_IN) & (lengths < (np.inf if high is None else high * MM_PER_IN))


def lengths_at_age(survey: Survey, gear: str, species: str) -> Iterator[Finding]:
    """Mean length of the fish of each age that was read, with Student's limits (none for one fish)."""
    of_age: dict[int, list[float]] = {}
    for f in survey.taken(gear, species):
        if f.age is not None:
            of_age.setdefault(f.age, []).extend([f.length_mm] * f.count)
    for age, lengths in sorted(of_age.items()):
        yield Finding(
            f"{species}_length_at_age_{age}", "mm", float(np.mean(lengths)), *mean_limits(np.array(lengths)), len(lengths),
            survey.first, gear, species, "of the fish whose age was read; small fish of an age are missed by the gear",
        )  # fmt: skip


def mean_limits(values: np.ndarray, confidence: float = 0.95) -> tuple[float | None, float | None]:
    """Student's limits of a mean; none for fewer than two values."""
    if values.size < 2:
        return None, None
    half = scipy.stats.t.ppf((1 + confidence) / 2, values.size - 1) * values.std(ddof=1) / np.sqrt(values.size)
    return float(values.mean() - half), float(values.mean() + half)


def outings(survey: Survey, gear: str, species: str, low_in: float = 0.0) -> Outings | None:
    """Fish of a length and longer on each day with a known effort; None if the species was not taken up on any."""
    worked: list[Effort] = [e for e in survey.effort if e.gear == gear and species in e.species]
    if not worked:
        return None
    caught = dict.fromkeys((e.date for e in worked), 0)
    for f in survey.fish:
        if (f.gear, f.species) == (gear, species) and f.date in caught and inches(f) >= low_in:
            caught[f.date] += f.count
    return Outings(
        np.array([caught[e.date] for e in worked], float), np.array([e.amount for e in worked]), settings(gear).catch_cv
    )


def inches(fish: Fish) -> float:
    return fish.length_mm / MM_PER_IN + 1e-9  # as the length categories: on a bound is above it


def catch_rates(survey: Survey, gear: str, species: str) -> Iterator[Finding]:
    """Fish per hour (or haul) of all lengths and of stock length, on the days whose effort is known."""
    unit = "haul" if gear == "seine" else "hour"
    at: dict[str, Any] = {"date": survey.first, "gear": gear, "species": species}
    ranges = {"caught": 0.0}
    if species in GAME:
        ranges["stock_caught"] = float(indices.category_inches(species)[0])
    for name, low_in in ranges.items():
        worked = outings(survey, gear, species, low_in)
        if worked is None:
            return
        again = survey.again(gear, species, low_in * MM_PER_IN)
        note = worked.words(unit)
        if again:
            note += f"; {again} tagged fish caught again in this survey count each time, in PSD and Wr once"
        yield Finding(
            f"{species}_{name}_per_{unit}", f"per {unit}", worked.rate, *worked.limits(), worked.total, **at, note=note,
        )


def disagreements(survey: Survey, gear: str) -> tuple[str, ...]:
    """Sentences on species whose catch per effort differs more than chance between the outings of a survey."""
    unit = "haul" if gear == "seine" else "hour"
    found = {species: outings(survey, gear, species) for species in SPECIES}
    words = (o.disagreement(f"{species} by {gear}", unit) for species, o in found.items() if o)
    return tuple(filter(None, words))


def balance_ratios(survey: Survey, gear: str) -> Iterator[Finding]:
    """Swingle's ratios in the catch of one gear, where every fish was weighed and every species taken up."""
    fish = [f for f in survey.fish if f.gear == gear]
    if not fish or any(f.weight_g is None for f in fish) or not all(survey.sought(gear, s) for s in SPECIES):
        return
    of = [tuple(f for f in fish if f.species == s) for s in SPECIES]
    number = np.stack([counts_by_inch(rows) for rows in of])
    weight = np.stack(
        [np.histogram(lengths_of(rows)[0], INCH_EDGES_MM, weights=[f.weight_g or 0 for f in rows])[0] for rows in of]
    )
    longest = load_parameters().of_kinds(SPECIES).prey_length_ratio_max[0]
    values = {
        "forage_carnivore_ratio": ("", indices.forage_carnivore_ratio(weight)),
        "edible_forage_carnivore_ratio": ("", indices.edible_forage_carnivore_ratio(number, weight, longest)),
        "harvestable_share": ("%", indices.harvestable_share(weight)),
    }
    for name, (unit, value) in values.items():
        if np.isfinite(value):
            rating = indices.balance_rating(float(value), name)  # type: ignore[arg-type]
            note = f"{rating}; of the fish caught, which are not the pond's fish in proportion"
            yield Finding(name, unit, float(value), count=len(fish), date=survey.first, gear=gear, note=note)


# ---- the pair of PSD values ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class PairDoubt:
    """The two-way reading of bass and bluegill PSD with the doubt of its sample size."""

    gear: str
    bass_psd: float
    bluegill_psd: float
    stock: tuple[int, int]
    words: str
    chances: dict[str, float]
    """How probable each reading is, the most probable first."""


def pair(survey: Survey) -> PairDoubt | None:
    """The reading from electrofishing, or else from angling; None without stock-length fish of both by one gear."""
    for gear in ("electrofishing", "angling"):
        bass, bluegill = (structure(survey, gear, species) for species in PAIR)
        if bass and bluegill:
            shares = (bass.share(1), bluegill.share(1))
            chances = indices.pair_reading_chances(shares[0].below, shares[1].below)
            order = dict(sorted(chances.items(), key=lambda item: -item[1]))
            words = indices.pair_reading(bass.psd(), bluegill.psd()).words
            return PairDoubt(gear, bass.psd(), bluegill.psd(), (bass.stock, bluegill.stock), words, order)
    return None


# ---- change --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Change:
    """A figure now and at the last survey with the same gear; p as tested, and p held against all tests at once."""

    quantity: str
    unit: str
    gear: str
    before: float
    now: float
    counts: tuple[int, int]
    test: str
    p: float
    p_all: float = 1.0


def changes(before: Survey, now: Survey, gear: str) -> tuple[Change, ...]:
    """Changes of PSD and of mean Wr by length class since the last survey.

    Both are held against what surveys of one pond differ by (`observe.limits`). p_all is adjusted after Holm 1979 (from
    memory): with many tests, one in twenty would otherwise call chance a change.
    """
    found: list[Change] = []
    for species in GAME:
        a, b = (structure(s, gear, species) for s in (before, now))
        if a and b:
            p = share_differs(a.share(1), b.share(1))
            found.append(Change(f"{species}_psd", "%", gear, a.psd(), b.psd(), (a.stock, b.stock), "shares", p))
        first, second = (weighed(s.taken(gear, species), species) for s in (before, now))
        for low, high in weight_classes(species):
            (x, days), (y, later) = first.of(low, high), second.of(low, high)
            if x.size > 1 and y.size > 1:
                mean, mean_now = mean_wr(x, days), mean_wr(y, later)
                name = f"{species}_wr_{class_name(low, high)}"
                p = mean_differs(mean, mean_now)
                found.append(Change(name, "%", gear, mean.value, mean_now.value, (x.size, y.size), "Welch's t", p))
    adjusted = holm([f.p for f in found])
    return tuple(replace(f, p_all=p) for f, p in zip(found, adjusted, strict=True))


def holm(p: list[float]) -> list[float]:
    """Holm's adjusted p values: the chance of any false alarm among all tests stays below each."""
    order = np.argsort(p, kind="stable")
    out, worst = [0.0] * len(p), 0.0
    for rank, i in enumerate(order):
        worst = max(worst, min(1.0, p[i] * (len(p) - rank)))
        out[i] = worst
    return out
