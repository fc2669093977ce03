"""What a survey of the simulated pond would see, and how often its advice would be wrong.

Numbers of fish are [..., species, length_class] per ha, as in the Dataset: species in the order of SPECIES, one-inch
classes from 0 in. The gears' values stand with their kind and source in `gears/`; most are assumed, so the results
tell how a survey distorts, not by exactly how much.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special, stats

from pondpop.checks import InputError, nearest
from pondpop.observe import indices
from pondpop.records import GEARS
from pondpop.species import SPECIES, find, species_with
from pondpop.species.catalogue import Entry, gears
from pondpop.units import MM_PER_IN

Array = NDArray[np.float64]

POINTS_A_CLASS = 5
_BY_SPECIES = ("reach_ha", "selected_from_mm", "selected_width_mm", "missed_from_mm", "missed_width_mm", "missed_share")


@dataclass(frozen=True)
class Gear:
    """One gear; arrays are [species]. A species that the gear does not take has the reach 0."""

    name: str
    reach_ha: Array
    """Area searched per unit of effort (hour, or haul of a seine) at the best temperature."""
    density_exponent: Array
    """Exponent of density in the catch per effort; below 1, catches fall less than the fish."""
    selected_from_mm: Array
    selected_width_mm: Array
    missed_from_mm: Array
    missed_width_mm: Array
    missed_share: Array
    temperature_from_c: float
    temperature_until_c: float
    temperature_width_c: float
    catch_cv: float
    """Scatter of catches beyond that of a count."""
    independent_fish: float
    """Fish that tell as much of the lengths as an endless catch of one day."""

    def selectivity(self, length_mm: ArrayLike) -> Array:
        """Share of the fish within reach that is taken [..., species], at lengths [..., species] or [...,1]."""
        length = np.asarray(length_mm, float)
        taken = _logistic((length - self.selected_from_mm) / self.selected_width_mm)
        missed = self.missed_share * _logistic((length - self.missed_from_mm) / self.missed_width_mm)
        return taken * (1 - missed)

    def class_selectivity(self, classes: int = 32) -> Array:
        """The mean selectivity within each one-inch class [species, length_class]."""
        inside = (np.arange(classes * POINTS_A_CLASS) + 0.5) / POINTS_A_CLASS * MM_PER_IN
        return self.selectivity(inside[:, None]).reshape(classes, POINTS_A_CLASS, -1).mean(1).T

    def temperature_factor(self, temperature_c: ArrayLike) -> Array:
        """The catch at a water temperature relative to that at the best one, 0 to 1; of the same shape."""
        best = (self.temperature_from_c + self.temperature_until_c) / 2
        return self._warmth(np.asarray(temperature_c, float)) / self._warmth(np.asarray(best))

    def _warmth(self, c: Array) -> Array:
        rising = _logistic((c - self.temperature_from_c) / self.temperature_width_c)
        return rising * _logistic((self.temperature_until_c - c) / self.temperature_width_c)


def _logistic(z: Array) -> Array:
    return np.asarray(0.5 * (1 + np.tanh(z / 2)))


def gear_entries(name: str) -> Mapping[str, Entry]:
    """Every value of a gear with unit, range, kind and source. Raises InputError for an unknown gear."""
    if name not in GEARS:
        raise InputError("gear", name, "one of " + ", ".join(GEARS), nearest(name, GEARS))
    return gears()[name]


@cache
def gear(name: str) -> Gear:
    """One of the gears: electrofishing, seine, angling. Raises InputError."""
    table = gear_entries(name)
    value = {key: entry.value for key, entry in table.items()}
    columns: dict[str, Any] = {
        key: np.array(
            [value.get(f"{species}_{key}", 0.0 if key in ("reach_ha", "missed_share") else 1.0) for species in SPECIES]
        )
        for key in _BY_SPECIES
    }
    exponent = np.full(len(SPECIES), value.get("density_exponent", 1.0))
    if name == "angling":  # fish an hour = c · (D/100)^x, the reach in ha an hour being c/100 at 100 fish per ha
        for angled in species_with("caught by anglers"):
            columns["reach_ha"][angled] = find("pond.catch_per_hour_at_100_per_ha").value / 100
            exponent[angled] = find("pond.catch_density_exponent").value
    return Gear(
        name,
        density_exponent=exponent,
        temperature_from_c=value["temperature_from_c"],
        temperature_until_c=value["temperature_until_c"],
        temperature_width_c=value["temperature_width_c"],
        catch_cv=value["catch_cv"],
        independent_fish=value["independent_fish"],
        **columns,
    )


def expected_catch(number: ArrayLike, used: Gear, effort: ArrayLike, temperature_c: ArrayLike, area_ha: float) -> Array:
    """Fish that a survey takes on average [..., species, length_class].

    number: fish/ha [..., species, length_class]. effort (hours or hauls) and temperature_c: [...]. area_ha: the pond.
    Every fish is taken with the chance 1 − e^−(reach · selectivity · temperature factor · effort / area), so that
    effort without end takes every fish that the gear can take, and none twice.
    """
    fish = np.asarray(number, float)
    if not area_ha > 0:
        raise InputError("area_ha", area_ha, "an area above 0")
    seen = used.class_selectivity(fish.shape[-1])
    density = np.maximum((fish * seen).sum(-1), 1e-9)
    reach = used.reach_ha * (density / 100) ** (used.density_exponent - 1)
    intensity = np.asarray(effort, float) * used.temperature_factor(temperature_c) / area_ha
    return fish * area_ha * -np.expm1(-seen * reach[..., None] * intensity[..., None, None])


def draw_catch(
    number: ArrayLike, used: Gear, effort: ArrayLike, temperature_c: ArrayLike, area_ha: float, rng: np.random.Generator
) -> NDArray[np.int64]:
    """One survey's catch by chance [..., species, length_class]; see `scatter`."""
    return scatter(expected_catch(number, used, effort, temperature_c, area_ha), used, rng)


def scatter(mean: Array, used: Gear, rng: np.random.Generator) -> NDArray[np.int64]:
    """Catches by chance about their mean [..., length_class], for a species and a day each.

    The catch as a whole scatters with `catch_cv` (gamma), its shares by length scatter about those of the mean as
    `independent_fish` do (Dirichlet), and each class is a count (Poisson).
    """
    total = mean.sum(-1, keepdims=True)
    share = np.divide(mean, total, out=np.zeros_like(mean), where=total > 0)
    drawn = rng.gamma(np.maximum(used.independent_fish * share, 1e-12))
    shape = 1 / used.catch_cv**2
    whole = total * rng.gamma(shape, 1 / shape, total.shape)
    return rng.poisson(whole * drawn / np.maximum(drawn.sum(-1, keepdims=True), 1e-300))


def log_chance(catch: ArrayLike, mean: Array, used: Gear, whole: ArrayLike | None = None) -> Array:
    """Logarithm of the chance of a catch [..., length_class] under `scatter` about a mean above 0 of that shape.

    whole: the number of fish of the catch [...], where some were not measured; NaN leaves out how many there were
    (effort unknown). Negative binomial for the number, Dirichlet-multinomial for the lengths; terms that do not depend
    on the mean are kept.
    """
    count = np.asarray(catch, float)
    measured, total = count.sum(-1), mean.sum(-1)
    fish = measured if whole is None else np.asarray(whole, float)
    shape = 1 / used.catch_cv**2
    number = stats.nbinom.logpmf(np.nan_to_num(fish), shape, shape / (shape + total))
    a = used.independent_fish * mean / total[..., None]
    lengths = special.gammaln(used.independent_fish) + special.gammaln(measured + 1)
    lengths = lengths - special.gammaln(measured + used.independent_fish)
    lengths = lengths + (special.gammaln(count + a) - special.gammaln(a) - special.gammaln(count + 1)).sum(-1)
    return np.where(np.isnan(fish), 0.0, number) + lengths


def as_sampled_psd(number: ArrayLike, used: Gear, species: str, category: str = "quality") -> Array:
    """PSD that the gear shows on average [...], from fish/ha [..., species, length_class]; NaN if it takes none.

    For an effort that takes only a small share of the fish; temperature cancels out.
    """
    fish = np.asarray(number, float)
    return indices.psd(fish * used.class_selectivity(fish.shape[-1]) * (used.reach_ha > 0)[:, None], species, category)


# ---- how often the advice would be wrong ---------------------------------------------------------------------------


def _level_chances(psd: Array, fish: Array, species: str) -> Array:
    """Chances [..., 3] that `fish` sampled fish show a PSD below, in and above the balanced range."""
    low, high = (x / 100 for x in indices.target_range("balanced", species, "psd") or (0, 100))
    share = np.clip(psd / 100, 0, 1)
    # a value on a bound is in range; the tiny shift keeps 0.4 · 10 from being 4.000001 fish
    below = stats.binom.cdf(np.ceil(low * fish - 1e-9) - 1, fish, share)
    not_above = stats.binom.cdf(np.floor(high * fish + 1e-9), fish, share)
    return np.stack([below, not_above - below, 1 - not_above], axis=-1)


def _level(psd: Array, species: str) -> NDArray[np.int64]:
    low, high = indices.target_range("balanced", species, "psd") or (0, 100)
    return np.where(psd < low, 0, np.where(psd > high, 2, 1))


def chance_of_wrong_reading(number: ArrayLike, used: Gear, fish: ArrayLike) -> Array:
    """Chance [...] that the two-way reading of a survey differs from that of the pond; NaN without stock-length fish.

    number: fish/ha [..., species, length_class]; fish: how many of stock length are measured of bass and as many of
    bluegill [...]. Fish are taken to be caught independently; where they are caught in schools more are needed.
    Exact for the binomial sample; the gear's selectivity is what makes large samples wrong.
    """
    wanted = np.asarray(fish, float)
    if np.any(wanted < 1) or np.any(wanted != np.floor(wanted)):
        raise InputError("fish", str(fish), "whole numbers of fish, 1 or more")
    right = np.ones(())
    for species in ("bass", "bluegill"):
        truth, shown = indices.psd(number, species), as_sampled_psd(number, used, species)
        chances = _level_chances(shown, wanted, species)
        level = np.broadcast_to(_level(truth, species), chances.shape[:-1])
        mine = np.take_along_axis(chances, level[..., None], -1)[..., 0]
        right = right * np.where(np.isnan(truth) | np.isnan(shown), np.nan, mine)
    return np.asarray(1 - right)


def wrong_however_many(number: ArrayLike, used: Gear) -> Array:
    """1 where a sample without end would still misread the pond, for its selectivity, else 0 [...]; NaN as above."""
    out = np.zeros(())
    for species in ("bass", "bluegill"):
        truth, shown = indices.psd(number, species), as_sampled_psd(number, used, species)
        differs = (_level(truth, species) != _level(shown, species)).astype(float)
        out = np.maximum(out, np.where(np.isnan(truth) | np.isnan(shown), np.nan, differs))
    return np.asarray(out)


@dataclass(frozen=True)
class SurveyAdvice:
    """How often the advice from a survey would be wrong, over many possible ponds."""

    gear: str
    fish: tuple[int, ...]
    wrong: tuple[float, ...]
    """For each number of fish, how often the reading is wrong."""
    wrong_however_many: float
    """How often selectivity alone makes it wrong."""
    fish_needed: int | None
    """The fewest fish of each species that keep the wrong readings at or below the limit; None if no number does."""
    limit: float

    def in_words(self) -> str:
        """One or two sentences."""
        shown = ", ".join(f"{n} fish {w:.0%}" for n, w in zip(self.fish, self.wrong, strict=True))
        start = (
            f"Reading bass and bluegill by {self.gear} is wrong this often, by fish of stock length of each: {shown}. "
        )
        if self.fish_needed is not None:
            return start + f"With {self.fish_needed} of each it is wrong in at most {self.limit:.0%}."
        return start + (
            f"No number of fish up to {MOST_FISH:,} brings that to {self.limit:.0%}: the gear sees other sizes than "
            f"the pond holds, or the pond is near a bound (wrong however many: {self.wrong_however_many:.0%})."
        )


MOST_FISH = 3000
_SIZES = np.unique(np.round(np.geomspace(5, MOST_FISH, 120)).astype(int))


def survey_advice(
    number: ArrayLike, used: Gear, fish: tuple[int, ...] = (25, 50, 100, 200), limit: float = 0.1
) -> SurveyAdvice:
    """How often a survey's reading is wrong, averaged over the leading axes of number [..., species, length_class].

    Ponds without stock-length fish of either species have no reading and do not count. Raises InputError if all are so,
    or for a limit outside 0 to 1. The fish needed are sought on a grid of some per cent, and every larger sample on the
    grid holds the limit too.
    """
    if not 0 < limit < 1:
        raise InputError("limit", limit, "a share above 0 and below 1")
    ponds = np.asarray(number, float)
    ponds = ponds.reshape(-1, *ponds.shape[-2:])
    endless = wrong_however_many(ponds, used)
    if np.isnan(endless).all():
        raise InputError("number", "ponds without them", "bass and bluegill of stock length that the gear takes")
    known = ponds[~np.isnan(endless)]
    on_grid = chance_of_wrong_reading(known[:, None], used, _SIZES).mean(0)
    good = np.logical_and.accumulate((on_grid <= limit)[::-1])[::-1]
    needed = int(_SIZES[np.argmax(good)]) if good.any() else None
    wrong = chance_of_wrong_reading(known[:, None], used, np.array(fish)).mean(0)
    return SurveyAdvice(
        used.name, tuple(int(n) for n in fish), tuple(map(float, wrong)), float(np.nanmean(endless)), needed, limit
    )
