"""How a survey sees a pond: the one model of it, for drawing surveys, for learning from them and for judging them.

A gear takes fish in proportion to what is within its reach, by length and by the warmth of the water (`expected_catch`).
The fish of one outing (a day's work of one gear) are not independent: the catch as a whole scatters from day to day, and
its lengths keep together, so that however many fish are measured they tell no more of the pond's lengths than
`independent_fish` taken one by one would (`scatter`, and `log_chance` of the same law). Another outing is a new draw.
Relative weights share an error of the outing besides. `observe.limits` turns this law round.

Numbers of fish are [..., species, length_class] per ha, as in the Dataset: species in the order of SPECIES, one-inch
classes from 0 in. The gears' values stand with their kind and source in `species/gears/`; most are assumed, so the
results tell how a survey distorts, not by exactly how much.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import scipy  # its modules are imported when they are first used
from numpy.typing import ArrayLike, NDArray
from scipy import special

from pondpop.arrays import Array
from pondpop.checks import InputError, nearest
from pondpop.observe import indices
from pondpop.species import SPECIES, find, place_of, species_with
from pondpop.species.catalogue import gears
from pondpop.species.gears import GEARS, selectivity, setting, warmth
from pondpop.units import MM_PER_IN

WR_BETWEEN_FISH = 8.0
"""Standard deviation of relative weight among fish of one length class, % (assumed)."""
WR_BETWEEN_OUTINGS = 2.0
"""Of what all fish of one outing have in common beyond those of the pond (scale, wet fish, crew, place), % (assumed)."""

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
    """Fish that tell as much of the lengths as an endless catch of one outing."""
    catchability_spread: float
    """Of the catch per effort between ponds and species, standard deviation of the logarithm."""

    def selectivity(self, length_mm: ArrayLike) -> Array:
        """Share of the fish within reach that is taken [..., species], at lengths [..., species] or [...,1]."""
        selected, missed = (self.selected_from_mm, self.selected_width_mm), (self.missed_from_mm, self.missed_width_mm)
        return np.asarray(selectivity(np.asarray(length_mm, float), selected, missed, self.missed_share, np.tanh))

    def class_selectivity(self, classes: int = 32) -> Array:
        """The mean selectivity within each one-inch class [species, length_class]."""
        inside = (np.arange(classes * POINTS_A_CLASS) + 0.5) / POINTS_A_CLASS * MM_PER_IN
        return self.selectivity(inside[:, None]).reshape(classes, POINTS_A_CLASS, -1).mean(1).T

    def takes(self, species: str) -> bool:
        """Whether it takes fish of a species at all."""
        return bool(self.reach_ha[place_of(species)] > 0.0)

    def temperature_factor(self, temperature_c: ArrayLike) -> Array:
        """The catch at a water temperature relative to that at the best one, 0 to 1; of the same shape."""
        limits = self.temperature_from_c, self.temperature_until_c, self.temperature_width_c
        return np.asarray(warmth(np.asarray(temperature_c, float), *limits, np.tanh))

    def concentration(self, share: ArrayLike = 1.0) -> Array:
        """Independent fish that an outing is worth among those that make up a share of its catch, 0 to 1 [...].

        Of stock-length fish, for one: PSD in an endless catch of one outing has the variance p(1 − p)/(this + 1).
        """
        return self.independent_fish * np.maximum(np.asarray(share, float), 1e-9)


@cache
def gear(name: str) -> Gear:
    """One of the gears: electrofishing, seine, angling. Raises InputError."""
    if name not in GEARS:
        raise InputError("gear", name, "one of " + ", ".join(GEARS), nearest(name, GEARS))
    value = {key: entry.value for key, entry in gears()[name].items()}
    columns: dict[str, Any] = {
        key: np.array(
            [setting(value, species, key, 0.0 if key in ("reach_ha", "missed_share") else 1.0) for species in SPECIES]
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
        catchability_spread=value["catchability_spread"],
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


def scatter(
    mean: Array, used: Gear, rng: np.random.Generator, outings: int = 1, draws: int | None = None
) -> NDArray[np.int64]:
    """Catches by chance about their mean [..., length_class], for a species and an outing each.

    The catch as a whole scatters with `catch_cv` (gamma), its shares by length scatter about those of the mean as
    `independent_fish` do (Dirichlet), and each class is a count (Poisson). outings: how many of about equal size the
    mean is the sum of; they scatter as much as one of as many times the shape and the independent fish. draws: how many
    of them tell of the lengths anew (None: all).
    """
    total = mean.sum(-1, keepdims=True)
    share = np.divide(mean, total, out=np.zeros_like(mean), where=total > 0)
    drawn = rng.gamma(np.maximum((draws or outings) * used.independent_fish * share, 1e-12))
    shape = outings / used.catch_cv**2
    whole = total * rng.gamma(shape, 1 / shape, total.shape)
    return rng.poisson(whole * drawn / np.maximum(drawn.sum(-1, keepdims=True), 1e-300))


def log_chance(
    catch: ArrayLike, mean: Array, used: Gear, whole: ArrayLike | None = None, outings: int = 1, draws: int | None = None
) -> Array:
    """Logarithm of the chance of a catch [..., length_class] under `scatter` about a mean above 0 of that shape.

    whole: the number of fish of the catch [...], where some were not measured; NaN leaves out how many there were
    (effort unknown). Negative binomial for the number, Dirichlet-multinomial for the lengths; terms that do not depend
    on the mean are kept.
    """
    count = np.asarray(catch, float)
    measured, total = count.sum(-1), mean.sum(-1)
    fish = measured if whole is None else np.asarray(whole, float)
    shape = outings / used.catch_cv**2
    number = scipy.stats.nbinom.logpmf(np.nan_to_num(fish), shape, shape / (shape + total))
    independent = (draws or outings) * used.independent_fish
    a = independent * mean / total[..., None]
    lengths = special.gammaln(independent) + special.gammaln(measured + 1)
    lengths = lengths - special.gammaln(measured + independent)
    lengths = lengths + (special.gammaln(count + a) - special.gammaln(a) - special.gammaln(count + 1)).sum(-1)
    return np.where(np.isnan(fish), 0.0, number) + lengths


def draw_wr(wr: ArrayLike, rng: np.random.Generator) -> Array:
    """Relative weights as weighed on one outing [fish], %, about those that the pond's fish of their lengths have."""
    mean = np.asarray(wr, float)
    return mean + rng.normal(0, WR_BETWEEN_OUTINGS) + rng.normal(0, WR_BETWEEN_FISH, mean.shape)


def mean_wr_error(fish: ArrayLike) -> Array:
    """Standard error of a mean Wr of some fish of one outing [...], %; see `draw_wr`."""
    return np.hypot(WR_BETWEEN_FISH / np.sqrt(np.asarray(fish, float)), WR_BETWEEN_OUTINGS)


def counted(fish: Array, share: Array, concentration: Array, uniforms: Array) -> Array:
    """Fish of a kind among those measured on one outing [...], from uniforms: quantiles of the beta-binomial law.

    fish: whole fish measured; share: of that kind in the mean catch; concentration: see `Gear.concentration`, of the
    fish measured. 0 where there is nothing to draw from.
    """
    drawable = (fish > 0) & (share > 0) & (concentration > 0)
    p = np.where(drawable, np.clip(share, 0.0, 1.0), 0.5)[..., None]
    n = np.where(drawable, fish, 1.0)[..., None]
    k = np.arange(int(np.max(n, initial=1.0)) + 1.0)
    strength = np.where(drawable, concentration, 1.0)[..., None]
    a, b = np.maximum(strength * p, 1e-12), np.maximum(strength * (1 - p), 1e-12)
    left = np.maximum(n - k, 0.0)
    log = special.gammaln(n + 1) - special.gammaln(k + 1) - special.gammaln(left + 1)
    log = log + special.betaln(k + a, left + b) - special.betaln(a, b)
    below = np.cumsum(np.where(k <= n, np.exp(log), 0.0), axis=-1)
    drawn = np.minimum((below < uniforms[..., None]).sum(-1), n[..., 0])
    return np.where(drawable, np.where(share >= 1.0, fish, drawn), 0.0)


def as_sampled_psd(number: ArrayLike, used: Gear, species: str, category: str = "quality") -> Array:
    """PSD that the gear shows on average [...], from fish/ha [..., species, length_class]; NaN if it takes none.

    For an effort that takes only a small share of the fish; temperature cancels out.
    """
    fish = np.asarray(number, float)
    return indices.psd(fish * used.class_selectivity(fish.shape[-1]) * (used.reach_ha > 0)[:, None], species, category)
