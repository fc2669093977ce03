"""Harvest rules that react: what the last survey saw of a pond, and whether a rule's condition holds there."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pondpop.arrays import Array
from pondpop.model.day import Engine
from pondpop.observe import indices
from pondpop.scenario import CONDITION_QUANTITIES, Trigger
from pondpop.species import SPECIES

# Standard deviation of relative weight among fish of one length class, in % (assumed).
WR_SPREAD_BETWEEN_FISH = 8.0


def inform(engine: Engine, survey: int, number: Array, relative_weight: Array) -> None:
    """Let reacting harvest rules learn of a survey, numbered from 0 in the run; it holds until the next one.

    number, relative_weight: as in `signs`.
    """
    dealt = engine.inputs.luck.survey
    uniforms = None if dealt is None else dealt[:, survey]
    for k, rule in enumerate(engine.inputs.fishing):
        if rule.when is not None:
            seen = signs(number, relative_weight, engine.inputs.area_ha, rule.when.fish_sampled, uniforms)
            engine.let_rule_hold(k, holds(rule.when, seen))


def signs(
    number: Array, relative_weight: Array, area_ha: float, fish_sampled: int | None, uniforms: Array | None
) -> dict[str, Array]:
    """What a survey reads of a pond: each of CONDITION_QUANTITIES [member], in %.

    number, relative_weight [member, species, length_class] (fish/ha, %); fish_sampled: stock-length fish of each
    species that are measured, no more than there are in the pond, or None for a survey without error; uniforms
    [member, quantity] deal its error, one column a quantity. NaN where a survey sees no such fish.
    """
    seen: dict[str, Array] = {}
    for k, name in enumerate(CONDITION_QUANTITIES):
        u = None if uniforms is None or fish_sampled is None else uniforms[:, k]
        species, _, measure = name.partition("_")
        of_category = indices.category_numbers(number[:, SPECIES.index(species)], species)
        stock = np.cumsum(of_category[:, ::-1], axis=1)[:, ::-1]  # fish of stock, quality, preferred … length or more
        if measure == "psd":
            seen[name] = _sampled_psd(stock[:, 0], stock[:, 1], area_ha, fish_sampled, u)
        elif measure == "psd_p":  # preferred fish are drawn from those of quality length that were seen
            seen[name] = _sampled_preferred(seen[f"{species}_psd"], stock, area_ha, fish_sampled, u)
        else:
            low, high = (int(part) for part in measure.removeprefix("wr_").removesuffix("in").split("_"))
            there = number[:, SPECIES.index(species), low:high].sum(axis=1)
            mean = indices.class_mean(relative_weight, number, species, low, high)
            seen[name] = _sampled_mean(mean, there, stock[:, 0], area_ha, fish_sampled, u)
    return seen


def holds(trigger: Trigger, seen: dict[str, Array]) -> NDArray[np.bool_]:
    """Whether the condition of a rule holds [member]; a sign that could not be read does not hold."""
    each = []
    for c in trigger.conditions:
        low, high = (-np.inf if c.above is None else c.above), (np.inf if c.below is None else c.below)
        each.append((seen[c.quantity] > low) & (seen[c.quantity] < high))
    return np.any(each, axis=0) if trigger.needs == "any" else np.all(each, axis=0)


def _measured(stock: Array, area_ha: float, fish_sampled: int) -> Array:
    """Whole fish of stock length that the survey gets [member]."""
    return np.minimum(float(fish_sampled), np.floor(stock * area_ha))


def _sampled_psd(stock: Array, quality: Array, area_ha: float, fish_sampled: int | None, u: Array | None) -> Array:
    share = _ratio(quality, stock)
    if u is None or fish_sampled is None:
        return 100.0 * share
    measured = _measured(stock, area_ha, fish_sampled)
    return 100.0 * _ratio(_binomial(measured, share, u), measured)


def _sampled_preferred(psd: Array, stock: Array, area_ha: float, fish_sampled: int | None, u: Array | None) -> Array:
    if u is None or fish_sampled is None:
        return 100.0 * _ratio(stock[:, 2], stock[:, 0])
    measured = _measured(stock[:, 0], area_ha, fish_sampled)
    of_quality = np.nan_to_num(np.round(psd / 100.0 * measured))
    return 100.0 * _ratio(_binomial(of_quality, _ratio(stock[:, 2], stock[:, 1]), u), measured)


def _sampled_mean(
    mean: Array, there: Array, stock: Array, area_ha: float, fish_sampled: int | None, u: Array | None
) -> Array:
    from scipy.special import ndtri

    if u is None or fish_sampled is None:
        return mean
    fish = np.round(_measured(stock, area_ha, fish_sampled) * np.nan_to_num(_ratio(there, stock)))
    error = WR_SPREAD_BETWEEN_FISH / np.sqrt(np.maximum(fish, 1.0)) * ndtri(u)
    return np.where(fish >= 1.0, mean + error, np.nan)


def _binomial(n: Array, share: Array, u: Array) -> Array:
    """Binomial numbers from uniforms; 0 where there is nothing to draw from."""
    from scipy.stats import binom

    drawable = (n > 0.0) & np.isfinite(share)
    drawn = binom.ppf(u, np.where(drawable, n, 1.0), np.where(drawable, np.clip(share, 0.0, 1.0), 0.0))
    return np.where(drawable, np.maximum(drawn, 0.0), 0.0)


def _ratio(above: Array, below: Array) -> Array:
    return np.divide(above, below, out=np.full(np.shape(above), np.nan), where=below > 0.0)
