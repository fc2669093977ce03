"""Harvest rules that react: what the last survey saw of a pond, and whether a rule's condition holds there."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pondpop.arrays import Array
from pondpop.model.day import Engine
from pondpop.observe import indices
from pondpop.observe.gears import counted, gear, mean_wr_error
from pondpop.scenario import CONDITION_QUANTITIES, Trigger
from pondpop.species import of_species

GEAR = "electrofishing"  # what the survey of a rule is made with (a choice)


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
    species that are measured on one outing, no more than there are in the pond; uniforms [member, quantity] deal its
    error, one column a quantity. What the gear shows and how far it scatters are those of `observe.gears`. Without
    fish_sampled or uniforms the pond is read as it is. NaN where a survey sees no such fish.
    """
    seen: dict[str, Array] = {}
    used = gear(GEAR)
    exact = uniforms is None or fish_sampled is None
    taken = number if exact else number * used.class_selectivity(number.shape[-1])
    for k, name in enumerate(CONDITION_QUANTITIES):
        species, _, measure = name.partition("_")
        own = of_species(taken, species)
        stock = _at_least(own, species)
        if measure.startswith("wr_"):
            low, high = (int(part) for part in measure.removeprefix("wr_").removesuffix("in").split("_"))
            value = indices.class_mean(relative_weight, taken, species, low, high)
        else:
            value = 100.0 * _ratio(stock[:, 1 if measure == "psd" else 2], stock[:, 0])
        if uniforms is not None and fish_sampled is not None:
            u = uniforms[:, k]
            there = _at_least(of_species(number, species), species)[:, 0]  # no more can be measured than live there
            measured = np.minimum(float(fish_sampled), np.floor(there * area_ha))
            of_catch = _ratio(stock, own.sum(axis=1)[:, None])
            if measure == "psd":
                strength = used.concentration(np.nan_to_num(of_catch[:, 0]))
                value = 100.0 * _ratio(counted(measured, value / 100.0, strength, u), measured)
            elif measure == "psd_p":  # preferred fish are drawn from those of quality length that were seen
                quality = np.nan_to_num(np.round(seen[f"{species}_psd"] / 100.0 * measured))
                strength = used.concentration(np.nan_to_num(of_catch[:, 1]))
                value = 100.0 * _ratio(counted(quality, _ratio(stock[:, 2], stock[:, 1]), strength, u), measured)
            else:
                inside = own[:, low:high].sum(axis=1)
                value = _with_error(value, np.round(measured * np.nan_to_num(_ratio(inside, stock[:, 0]))), u)
        seen[name] = value
    return seen


def holds(trigger: Trigger, seen: dict[str, Array]) -> NDArray[np.bool_]:
    """Whether the condition of a rule holds [member]; a sign that could not be read does not hold."""
    each = []
    for c in trigger.conditions:
        low, high = (-np.inf if c.above is None else c.above), (np.inf if c.below is None else c.below)
        each.append((seen[c.quantity] > low) & (seen[c.quantity] < high))
    return np.any(each, axis=0) if trigger.needs == "any" else np.all(each, axis=0)


def _at_least(number: Array, species: str) -> Array:
    """Fish of stock, quality, preferred … length or more [member, category]."""
    of_category = indices.category_numbers(number, species)
    return np.cumsum(of_category[:, ::-1], axis=1)[:, ::-1]


def _with_error(mean: Array, fish: Array, u: Array) -> Array:
    """A mean Wr as some fish show it; NaN where there is none."""
    from scipy.special import ndtri

    return np.where(fish >= 1.0, mean + mean_wr_error(np.maximum(fish, 1.0)) * ndtri(u), np.nan)


def _ratio(above: Array, below: Array) -> Array:
    return np.divide(above, below, out=np.full(np.shape(above), np.nan), where=below > 0.0)
