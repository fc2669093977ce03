"""Harvest, angling and removals: of what is asked for, what fish are taken. Nothing here changes the pond.

Densities per ha, mass in g, biomass in kg/ha. Arrays are [member, group] unless said.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pondpop.arrays import Array, total
from pondpop.model.inputs import RemovalInput
from pondpop.model.state import Pond
from pondpop.species import BASS

STOCK_LENGTH_MM = 8 * 25.4  # bass of stock length count as catchable by anglers


def share_of_window(kind: str, amount: ArrayLike, there: Array) -> Array:
    """Share [member] of the fish in a length window that a one-off removal takes; never more than all of them.

    there [member]: fish/ha or kg/ha in the window, in the unit of `amount`; for kind "share" it is not used.
    """
    if kind == "share":
        return np.broadcast_to(np.asarray(amount, dtype=float), there.shape)
    return np.minimum(1.0, np.asarray(amount) / np.maximum(there, 1e-300))


def share_removed(pond: Pond, event: RemovalInput) -> Array:
    """Share of the fish of each group of its species that a one-off removal takes [member, group of the species]."""
    s, groups = pond.state, pond.slices[event.species]
    inside = pond.window(groups, event.shortest_mm, event.longest_mm)
    there = s.number[:, groups]
    if event.kind == "kg_per_ha":
        there = there * np.exp(s.log_weight[:, groups]) / 1000.0
    return share_of_window(event.kind, event.amount, total(there * inside))[:, None] * inside


def season_fishing(kind: str, ask: Array, there: Array, limit: Array, limit_power: Array) -> Array:
    """Fishing deaths per fish and season [member] that a rule brings about.

    A share is taken as it stands: F = −ln(1 − share). A quota asks for F = quota / what is there, bounded smoothly by
    what anglers can catch: q / (1 + (q/limit)^power)^(1/power) (assumed shape).
    """
    if kind == "share":
        return np.broadcast_to(-np.log1p(-np.minimum(ask, 1.0 - 1e-9)), there.shape)
    wanted = np.minimum(ask / np.maximum(there, 1e-300), 1e6 * limit)
    # The same as wanted / (1 + (wanted/limit)^power)^(1/power), written so that no power overflows.
    low, high = np.minimum(wanted, limit), np.maximum(wanted, limit)
    return low / (1.0 + (low / high) ** limit_power) ** (1.0 / limit_power)


def harvest_rates(pond: Pond) -> Array:
    """Deaths per fish and day from harvest rules: F of the season · share of its effort on the day · anglers' success."""
    p, s, inputs = pond.parameters, pond.state, pond.inputs
    rates = np.zeros_like(s.number)
    year = inputs.year[pond.day]
    for rule, holds in zip(inputs.fishing, pond.rule_holds, strict=True):
        effort = rule.effort[pond.day]
        if effort == 0.0:
            continue
        groups = pond.slices[rule.species]
        inside = pond.window(groups, rule.shortest_mm, rule.longest_mm)
        amount = s.number[:, groups]
        if rule.kind == "kg_per_ha":
            amount = amount * np.exp(s.log_weight[:, groups]) / 1000.0
        ask = rule.ask[:, year] if rule.when is None else np.where(holds, rule.ask[:, year], rule.otherwise)
        season = season_fishing(
            rule.kind, ask, total(amount * inside), p.quota_fishing_limit_per_year, p.quota_limit_power
        )
        success = inputs.luck.angler_success[:, year]
        rates[:, groups] += (season * effort * success)[:, None] * inside
    return rates


def catch_per_hour(catchable: Array, at_100_per_ha: Array, exponent: Array, wariness: Array) -> Array:
    """Bass caught per angler hour [member] from N catchable bass/ha, falling as fish grow scarce and wary.

    c·(N/100)^exponent / (1 + wariness). Catch rises less than in proportion to density (hyperstability; exponent after
    2–5 bass/h at 50–250 bass/acre).
    """
    return at_100_per_ha * (catchable / 100.0) ** exponent / (1.0 + wariness)


def release_rates(pond: Pond) -> Array:
    """Deaths per bass and day after being caught and let go [member, bass group]."""
    groups, deaths = pond.slices[BASS], pond.inputs.death_after_release[pond.day]
    return (_caught_and_released(pond) * deaths)[:, None] * pond.longer(groups, STOCK_LENGTH_MM)


def _caught_and_released(pond: Pond) -> Array:
    """How often a catchable bass is caught and let go, per day [member]."""
    p, s, inputs, groups = pond.parameters, pond.state, pond.inputs, pond.slices[BASS]
    there = np.maximum(total(s.number[:, groups] * pond.longer(groups, STOCK_LENGTH_MM)), 1e-12)
    per_hour = catch_per_hour(
        there, p.catch_per_hour_at_100_per_ha, p.catch_density_exponent, p.wariness_per_catch * s.wariness
    )
    success = inputs.luck.angler_success[:, inputs.year[pond.day]]
    return np.asarray(per_hour * success * inputs.angling_hours_per_ha[pond.day] / there)


def wariness_after(pond: Pond, length: float) -> Array:
    """Recent catches per catchable bass [member] after a step: those of the step come in, older ones fade.

    w·e^(−t/memory) + catches per bass in t days.
    """
    kept = pond.state.wariness * np.exp(-length / pond.parameters.wariness_memory_days)
    return kept + _caught_and_released(pond) * length if pond.inputs.angling_hours_per_ha[pond.day] else kept
