"""Indices of a pond and of a sample of fish: size structure, relative weight, balance ratios, and their doubt.

Pure functions of numpy that broadcast over leading axes. Length classes are one inch wide with their lower bounds at
0, 1, 2, … inches on the last axis, so that every published length category begins at the edge of a class. Shares are
0 to 1, indices of the PSD family and A_T per cent. The published yardsticks stand in `species/standards.toml`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise
from typing import Any, Final, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pondpop.checks import InputError, choice, nearest
from pondpop.species import SPECIES, TRAITS, of_species, species_with
from pondpop.species.catalogue import standards
from pondpop.units import MM_PER_IN

Array = NDArray[np.float64]

CATEGORIES: Final = tuple(standards()["categories"]["order"])
PART_NAMES: Final = ("S-Q", "Q-P", "P-M", "M-T", "T")
TARGET_OPTIONS: Final = tuple(name for name, row in standards()["targets"].items() if isinstance(row, dict))
ADULT_BASS_IN: Final = 8
CARNIVORES, FORAGE = list(species_with("role: predator")), list(species_with("role: prey"))
# Swingle's own lengths of harvestable fish are not at hand: these are a choice of ours.
HARVESTABLE_FROM_IN: Final = {
    name: one.harvestable_from_in for name, one in TRAITS.items() if one.harvestable_from_in is not None
}


# --- size structure -----------------------------------------------------------------------------------------------


def category_inches(species: str) -> tuple[int, ...]:
    """Lower bounds of the length categories in inches, stock first (Gabelhouse 1984). Raises InputError."""
    return tuple(_standard("categories", species, "length categories")["inches"])


def category_counts(length_mm: ArrayLike, species: str) -> Array:
    """Fish in each length category [category], of the total lengths [fish] in mm; fish under stock do not count.

    Raises InputError for a length that is not a finite number above 0.
    """
    lengths = np.asarray(length_mm, dtype=float).ravel()
    wrong = lengths[~(np.isfinite(lengths) & (lengths > 0))]
    if wrong.size:
        raise InputError("length_mm", float(wrong[0]), "a length above 0", "leave out fish that were not measured")
    edges = [inches * MM_PER_IN for inches in category_inches(species)]
    return np.histogram(lengths, bins=[*edges, np.inf])[0].astype(float)


def category_numbers(number: ArrayLike, species: str) -> Array:
    """Fish in each length category [..., category], from the numbers in one-inch classes [..., length_class]."""
    classes = np.asarray(number, dtype=float)
    edges = [*category_inches(species), None]
    return np.stack([classes[..., a:b].sum(axis=-1) for a, b in pairwise(edges)], axis=-1)


def psd_of_categories(numbers: ArrayLike, category: str = "quality") -> Array:
    """PSD-X = 100 · fish of category X and longer / fish of stock length and longer; NaN without any.

    `numbers` is [..., category] in the order of CATEGORIES. Terms: Guy et al. 2007 (from memory).
    Raises InputError for a category that the species does not have.
    """
    parts = np.asarray(numbers, dtype=float)
    known = CATEGORIES[: parts.shape[-1]]
    choice("category", category, known)
    return _ratio(100.0 * parts[..., known.index(category) :].sum(axis=-1), parts.sum(axis=-1))


def psd(number: ArrayLike, species: str, category: str = "quality") -> Array:
    """PSD of one species [...], per cent, from numbers [..., species, length_class]; NaN without stock-length fish."""
    return psd_of_categories(category_numbers(_of(number, species), species), category)


def class_mean(values: ArrayLike, number: ArrayLike, species: str, from_in: int, below_in: int) -> Array:
    """Mean of a value over the fish of a length window [...], both [..., species, length_class]; NaN if there are none.

    Classes without a value (NaN) are left out.
    """
    wanted = slice(from_in, below_in)
    value, weight = _of(values, species)[..., wanted], _of(number, species)[..., wanted]
    weight = np.where(np.isnan(value), 0.0, weight)
    return _ratio((np.nan_to_num(value) * weight).sum(axis=-1), weight.sum(axis=-1))


# --- weight -------------------------------------------------------------------------------------------------------


def standard_weight(length_mm: ArrayLike, species: str) -> Array:
    """Standard weight in g at a total length in mm; NaN below the shortest length of the equation.

    log10 Ws = intercept + slope · log10 length: bass Henson 1991, bluegill Hillman 1982, redear sunfish Pope et al.
    1995, gizzard shad Anderson & Gutreuter 1983. Raises InputError for species without one (threadfin shad, minnow).
    """
    row = _standard("standard_weight", species, "a published standard weight")
    length = np.asarray(length_mm, dtype=float)
    valid = length >= row["shortest_mm"]
    return np.where(valid, 10.0 ** (row["intercept"] + row["slope"] * np.log10(np.where(valid, length, 1.0))), np.nan)


def shortest_mm(species: str) -> float:
    """The shortest length in mm of which a standard weight is defined. Raises InputError for species without one."""
    return float(_standard("standard_weight", species, "a published standard weight")["shortest_mm"])


def relative_weight(weight_g: ArrayLike, length_mm: ArrayLike, species: str) -> Array:
    """Wr = 100 · weight / standard weight, per cent; NaN below the shortest length of the equation."""
    return 100.0 * np.asarray(weight_g, dtype=float) / standard_weight(length_mm, species)


# --- balance ------------------------------------------------------------------------------------------------------


def forage_carnivore_ratio(biomass: ArrayLike) -> Array:
    """F/C [...]: weight of forage species over that of predators, from kg/ha [..., species, length_class].

    Swingle 1950 (from memory). NaN without predators.
    """
    weight = np.asarray(biomass, dtype=float).sum(axis=-1)
    return _ratio(weight[..., FORAGE].sum(axis=-1), weight[..., CARNIVORES].sum(axis=-1))


def edible_forage_carnivore_ratio(number: ArrayLike, biomass: ArrayLike, largest_prey_ratio: ArrayLike) -> Array:
    """Y/C [...]: weight of forage that the average adult predator can swallow, over the weight of predators.

    `number` and `biomass` are [..., species, length_class]; `largest_prey_ratio` [species] is the longest prey of each
    species as a share of the length of the predator. Adult is taken as 8 in and longer; within a class the weight is
    taken as even. Swingle 1950 (from memory). NaN without adult predators.
    """
    fish, weight = np.asarray(number, dtype=float), np.asarray(biomass, dtype=float)
    lower = np.arange(fish.shape[-1], dtype=float)
    adults = fish[..., CARNIVORES, ADULT_BASS_IN:].sum(axis=-2)
    mean_in = _ratio((adults * (lower[ADULT_BASS_IN:] + 0.5)).sum(axis=-1), adults.sum(axis=-1))
    longest_in = mean_in[..., None, None] * np.asarray(largest_prey_ratio, dtype=float)[FORAGE, None]
    edible = weight[..., FORAGE, :] * np.clip(longest_in - lower, 0.0, 1.0)
    return _ratio(whole(edible), whole(weight[..., CARNIVORES, :]))


def whole(amount: Array) -> Array:
    """Sum [...] of [..., species, length_class], species by species, so that one that is not there changes no bit of it."""
    first, *others = np.moveaxis(amount.sum(axis=-1), -1, 0)
    return np.asarray(sum(others, first))


def harvestable_share(biomass: ArrayLike) -> Array:
    """A_T [...]: per cent of the weight of all fish that is of harvestable size, from [..., species, length_class].

    Bass of 10 in and bluegill of 6 in and longer count as harvestable. Swingle 1950 (from memory); the lengths are
    a choice of ours. NaN without fish.
    """
    weight = np.asarray(biomass, dtype=float)
    taken = sum(_of(weight, species)[..., inches:].sum(axis=-1) for species, inches in HARVESTABLE_FROM_IN.items())
    return _ratio(100.0 * np.asarray(taken), whole(weight))


BalanceRatio = Literal["forage_carnivore_ratio", "edible_forage_carnivore_ratio", "harvestable_share"]


def balance_rating(value: float, ratio: BalanceRatio) -> str:
    """Where a ratio stands against Swingle's ranges (1950, from memory), in words. Raises InputError."""
    row = _standard("balance", ratio, "a balance ratio")
    (low, high), (best_low, best_high) = row["balanced"], row["best"]
    if math.isnan(value):
        return "not defined"
    if value < low:
        return "below the range of balanced ponds"
    if value > high:
        return "above the range of balanced ponds"
    return "in the best part of the range of balanced ponds" if best_low <= value <= best_high else "balanced"


def target_range(option: str, species: str, index: str) -> tuple[float, float] | None:
    """The range of `psd`, `psd_p` or `psd_m` wanted under a management option; None where none is published.

    Options are those of TARGET_OPTIONS (Willis, Murphy & Guy 1993, from memory). Raises InputError.
    """
    row = _standard("targets", option, "a management option")
    if species not in SPECIES:
        choice("species", species, row)
    if index not in ("psd", "psd_p", "psd_m"):
        raise InputError("index", index, "one of psd, psd_p, psd_m")
    bounds = row.get(species, {}).get(index)
    return None if bounds is None else (float(bounds[0]), float(bounds[1]))


# --- the pair of PSD values ---------------------------------------------------------------------------------------

_LEVELS: Final = ("low", "middle", "high")
PAIR_READINGS: Final = {
    ("low", "low"): "both small: competition for food, poor habitat, or both harvested too hard",
    ("low", "middle"): "bass small, bluegill in range: bass many or harvested too hard",
    ("low", "high"): "bass crowded: many small bass keep the bluegill few and large",
    ("middle", "low"): "bass in range, bluegill small: bluegill not thinned enough",
    ("middle", "middle"): "balanced",
    ("middle", "high"): "bass in range, bluegill large: little young forage",
    ("high", "low"): "bluegill crowded: few large bass among many small bluegill",
    ("high", "middle"): "bass large, bluegill in range: few young bass come on",
    ("high", "high"): "both large: few young of either come on",
}


_WITHOUT_HARVEST: Final = {
    ("low", "low"): "both small: competition for food or poor habitat",
    ("low", "middle"): "bass small, bluegill in range: bass many",
}


class PairReading(NamedTuple):
    """What the PSD values of bass and bluegill say together."""

    bass: str
    bluegill: str
    words: str


def pair_reading(bass_psd: float, bluegill_psd: float, *, harvested: bool = True) -> PairReading:
    """The two-way reading of bass and bluegill PSD (per cent) against the ranges of a balanced pond, in words.

    The corners and the middle are as in Willis, Murphy & Guy 1993 and Guy & Willis 1990; the words for the four
    sides are ours. A value on a bound counts as in range. harvested: whether fish are taken out, as far as is known;
    where they are not, harvest is not among the reasons. Raises InputError for values outside 0 to 100.
    """
    levels = []
    for species, value in (("bass", bass_psd), ("bluegill", bluegill_psd)):
        if not 0 <= value <= 100:
            raise InputError(f"{species}_psd", value, "a PSD from 0 to 100 %")
        low, high = _balanced_psd(species)
        levels.append("low" if value < low else "high" if value > high else "middle")
    pair = levels[0], levels[1]
    words = PAIR_READINGS[pair]
    return PairReading(*pair, words if harvested else _WITHOUT_HARVEST.get(pair, words))


def pair_reading_chances(bass: Callable[[float], float], bluegill: Callable[[float], float]) -> dict[str, float]:
    """How probable each two-way reading is, the PSD of each species being known by chance, and independent.

    bass, bluegill: the chance that the share of quality fish among those of stock length is below a bound (both 0 to
    1). The probabilities add up to 1.
    """
    levels = []
    for species, below in (("bass", bass), ("bluegill", bluegill)):
        low, high = (below(bound / 100.0) for bound in _balanced_psd(species))
        levels.append(dict(zip(_LEVELS, (low, high - low, 1.0 - high), strict=True)))
    return {words: float(levels[0][one] * levels[1][other]) for (one, other), words in PAIR_READINGS.items()}


# --- doubt --------------------------------------------------------------------------------------------------------


class Limits(NamedTuple):
    """Lower and upper limit of a share, 0 to 1."""

    low: Array
    high: Array


def exact_limits(count: ArrayLike, total: ArrayLike, confidence: float = 0.95) -> Limits:
    """Exact limits of a share (Clopper & Pearson 1934), by the inverse of the incomplete beta function; NaN of none."""
    from scipy.special import betaincinv

    count, total = _check_counts(count, total)
    tail = (1.0 - _check_confidence(confidence)) / 2.0
    rest = total - count
    low = np.where(count > 0, betaincinv(np.maximum(count, 1.0), rest + 1.0, tail), 0.0)
    high = np.where(rest > 0, betaincinv(count + 1.0, np.maximum(rest, 1.0), 1.0 - tail), 1.0)
    return Limits(np.where(total > 0, low, np.nan), np.where(total > 0, high, np.nan))


# --- helpers ------------------------------------------------------------------------------------------------------


def _standard(table: str, key: str, what: str) -> dict[str, Any]:
    rows = {name: row for name, row in standards()[table].items() if isinstance(row, dict)}
    key = (TRAITS[key].standard or key) if key in TRAITS else key
    if key not in rows:
        raise InputError(table, key, f"{what}: one of {', '.join(rows)}", nearest(key, rows).partition("known:")[0])
    row: dict[str, Any] = rows[key]
    return row


def _of(values: ArrayLike, species: str) -> Array:
    choice("species", species, SPECIES)
    return of_species(np.asarray(values, dtype=float), species)


def _balanced_psd(species: str) -> tuple[float, float]:
    bounds = target_range("balanced", species, "psd")
    assert bounds is not None
    return bounds


def _ratio(above: ArrayLike, below: ArrayLike) -> Array:
    """above / below, NaN where below is 0."""
    top, bottom = np.broadcast_arrays(np.asarray(above, dtype=float), np.asarray(below, dtype=float))
    return np.divide(top, bottom, out=np.full(top.shape, np.nan), where=bottom != 0)


def _check_counts(count: ArrayLike, total: ArrayLike) -> tuple[Array, Array]:
    count, total = np.asarray(count, dtype=float), np.asarray(total, dtype=float)
    if not (np.isfinite(total).all() and (count >= 0).all() and (count <= total).all()):
        raise InputError("count", f"{count} of {total}", "counts from 0 to their total")
    return count, total


def _check_confidence(confidence: float) -> float:
    if not 0 < confidence < 1:
        raise InputError("confidence", confidence, "a share above 0 and below 1, such as 0.95")
    return confidence
