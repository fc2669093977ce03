"""Size structure, relative weight, catch rates and balance ratios of one survey, and what changed since the last."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy import stats

from pondpop.assess.effort import Outings
from pondpop.assess.surveys import Finding, Survey
from pondpop.observe import indices
from pondpop.records import Effort, Fish
from pondpop.species import MEASURED, SPECIES, load_parameters
from pondpop.units import MM_PER_IN

GAME = MEASURED
PAIR = ("bass", "bluegill")
CATEGORY_SUFFIX = {"quality": "", "preferred": "_p", "memorable": "_m", "trophy": "_t"}
HALF_WIDTH = 0.10
LENGTH_CLASSES = 32
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


def size_structure(survey: Survey, gear: str, species: str) -> Iterator[Finding]:
    """PSD family with exact limits, its parts with simultaneous ones, and the fish still wanted for ±10 points."""
    parts = category_counts(survey.taken(gear, species), species)
    stock = int(parts.sum())
    at: dict[str, Any] = {"date": survey.first, "gear": gear, "species": species}
    if not stock:
        return
    seen_again = survey.again(gear, species, indices.category_inches(species)[0] * MM_PER_IN)
    again = f"{seen_again} of them caught again in this survey, counted once" if seen_again else ""
    for category, suffix in CATEGORY_SUFFIX.items():
        longer = parts[indices.CATEGORIES.index(category) :].sum()
        low, high = (100 * float(x) for x in indices.exact_limits(longer, stock))
        yield Finding(f"{species}_psd{suffix}", "%", 100 * longer / stock, low, high, stock, **at, note=again)
    limits = indices.simultaneous_limits(parts)
    for name, part, low, high in zip(indices.PART_NAMES, parts, *limits, strict=True):
        yield Finding(
            f"{species}_psd_part_{name.lower().replace('-', '_')}", "%", 100 * part / stock, 100 * low, 100 * high,
            stock, **at, note="limits hold for all parts at once",
        )  # fmt: skip
    wanted = indices.sample_size(parts[1:].sum() / stock, HALF_WIDTH)
    yield Finding(
        f"{species}_more_fish_for_10_points", "fish", max(0, wanted - stock), count=stock, **at,
        note=f"{wanted} of stock length bring PSD to about ±10 points, if it stays near its present value",
    )  # fmt: skip


def weighed(fish: tuple[Fish, ...], species: str) -> tuple[np.ndarray, np.ndarray, int, int]:
    """Length (mm) and Wr (%) of the weighed fish, those unweighed and those below the equation's shortest length."""
    rows = [f for f in fish if f.weight_g is not None]
    lengths = np.array([f.length_mm for f in rows])
    wr = indices.relative_weight(np.array([f.weight_g for f in rows], float), lengths, species)
    known = np.isfinite(wr)
    return lengths[known], wr[known], sum(f.count for f in fish) - len(rows), int((~known).sum())


LEAST_WEIGHED = 5  # fish from which a mean Wr is told without a warning (a choice of ours)
FEW = "too few to judge by"


def weight_classes(species: str) -> list[tuple[int, int | None]]:
    """Bounds (in) of the classes in which Wr is read: under stock, then the length categories."""
    edges = [0, *indices.category_inches(species)]
    return list(zip(edges, [*edges[1:], None], strict=True))


def class_name(low: int, high: int | None) -> str:
    return f"{low}in_up" if high is None else f"{low}_{high}in"


def conditions(survey: Survey, gear: str, species: str) -> Iterator[Finding]:
    """Mean Wr by length class with Student's limits, and the fish left out."""
    lengths, wr, unweighed, short = weighed(survey.taken(gear, species), species)
    at: dict[str, Any] = {"date": survey.first, "gear": gear, "species": species}
    for low, high in weight_classes(species):
        mine = wr[within(lengths, low, high)]
        if mine.size:
            limits = mean_limits(mine)
            note = "one fish has no limits" if mine.size == 1 else FEW if mine.size < LEAST_WEIGHED else ""
            yield Finding(
                f"{species}_wr_{class_name(low, high)}", "%", float(mine.mean()), *limits, mine.size, **at, note=note
            )
    if wr.size or short:
        shortest = indices.shortest_mm(species)
        yield Finding(
            f"{species}_wr_left_out", "fish", unweighed + short, **at,
            note=f"{unweighed} not weighed, {short} shorter than the {shortest} mm from which Wr is defined",
        )  # fmt: skip


def within(lengths: np.ndarray, low: int, high: int | None) -> np.ndarray:
    return (lengths >= low * MM_PER_IN) & (lengths < (np.inf if high is None else high * MM_PER_IN))


def mean_limits(values: np.ndarray, confidence: float = 0.95) -> tuple[float | None, float | None]:
    """Student's limits of a mean; none for fewer than two values."""
    if values.size < 2:
        return None, None
    half = stats.t.ppf((1 + confidence) / 2, values.size - 1) * values.std(ddof=1) / np.sqrt(values.size)
    return float(values.mean() - half), float(values.mean() + half)


def outings(survey: Survey, gear: str, species: str, low_in: float = 0.0, below_in: float = np.inf) -> Outings | None:
    """Fish of a range of lengths on each day with a known effort; None if the species was not taken up on any."""
    worked: list[Effort] = [e for e in survey.effort if e.gear == gear and species in e.species]
    if not worked:
        return None
    caught = dict.fromkeys((e.date for e in worked), 0)
    for f in survey.fish:
        if (f.gear, f.species) == (gear, species) and f.date in caught and low_in <= inches(f) < below_in:
            caught[f.date] += f.count
    return Outings(np.array([caught[e.date] for e in worked], float), np.array([e.amount for e in worked]))


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
            f"{species}_{name}_per_{unit}", f"per {unit}", worked.rate, *worked.limits(), worked.total, **at, note=note
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
    longest = load_parameters().prey_length_ratio_max[0]
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
        parts = [category_counts(survey.taken(gear, species), species) for species in PAIR]
        stock = [int(p.sum()) for p in parts]
        if all(stock):
            quality = [int(p[1:].sum()) for p in parts]
            psd = [100 * q / s for q, s in zip(quality, stock, strict=True)]
            chances = indices.pair_reading_chances(quality[0], stock[0], quality[1], stock[1])
            order = dict(sorted(chances.items(), key=lambda item: -item[1]))
            words = indices.pair_reading(psd[0], psd[1]).words
            return PairDoubt(gear, psd[0], psd[1], (stock[0], stock[1]), words, order)
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
    """Changes of PSD (Fisher's exact test) and of mean Wr by length class (Welch's t test) since the last survey.

    p_all is adjusted after Holm 1979 (from memory): with many tests, one in twenty would otherwise call chance a change.
    """
    found: list[Change] = []
    for species in GAME:
        a, b = (category_counts(s.taken(gear, species), species) for s in (before, now))
        if a.sum() and b.sum():
            table = [[x[1:].sum(), x[0]] for x in (a, b)]
            p = stats.fisher_exact(table)[1]
            before_psd, now_psd = [float(100 * x[1:].sum() / x.sum()) for x in (a, b)]
            n = int(a.sum()), int(b.sum())
            found.append(Change(f"{species}_psd", "%", gear, before_psd, now_psd, n, "Fisher's exact", float(p)))
        (la, wa, *_), (lb, wb, *_) = (weighed(s.taken(gear, species), species) for s in (before, now))
        for low, high in weight_classes(species):
            x, y = wa[within(la, low, high)], wb[within(lb, low, high)]
            if x.size > 1 and y.size > 1 and (x.std() or y.std()):
                p = stats.ttest_ind(x, y, equal_var=False).pvalue
                name = f"{species}_wr_{class_name(low, high)}"
                means = float(x.mean()), float(y.mean())
                found.append(Change(name, "%", gear, *means, (x.size, y.size), "Welch's t", float(p)))
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
