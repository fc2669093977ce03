"""Of what the fish of a pond die in a step, cause by cause. Nothing here changes the pond.

Arrays are [member, group] unless said.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pondpop.model import harvest, life
from pondpop.model.bioenergetics import logistic
from pondpop.model.pond import STOCK_LENGTH_MM, Pond, of_species, total
from pondpop.species import BASS, SHAD

Array = NDArray[np.float64]
LEAST_DEATHS = 1e-15  # per fish and step; never none, since they divide
Where = tuple[slice | NDArray[np.intp], ...]
Rates = dict[str, tuple[Where, Array]]
"""Deaths per fish and day by cause: where among [member, group] it acts, and how much there."""


def death_rates(pond: Pond, log_condition: Array, predation: Array) -> Rates:
    """Deaths per fish and day by cause."""
    p, s, g, day = pond.parameters, pond.state, pond.group, pond.day
    bass, shad, every = np.s_[:, pond.slices[BASS]], np.s_[:, pond.slices[SHAD]], np.s_[:, :]
    background = p.background_deaths_exponent[:, None] * s.log_weight
    np.exp(background, out=background)
    background *= pond.of_groups(pond.by_day.background_deaths[day])
    if pond.large_die_less:
        large = logistic(
            (s.log_weight[bass] - np.log(of_species(p.large_fish_from_g, BASS)))
            / of_species(p.large_fish_width_ln, BASS)
        )
        background[bass] *= 1.0 - of_species(p.large_fish_death_reduction, BASS) * large
    rates: Rates = {
        "predation": (every, predation),
        "background": (every, background),
        "cold": (shad, pond.by_day.cold_deaths[day][:, None]),
    }
    if day > g.first_day_of_old_age:
        old = np.flatnonzero(day > g.first_day_of_old_age_of)
        rates["old_age"] = np.s_[:, old], life.old_age_deaths(
            day - g.age_tells_from[:, old],
            p.old_age_deaths_per_year[:, None],
            g.old_age_ramp_days[:, old],
            p.old_age_ramp_limit[:, None],
        )
    thin = np.flatnonzero(log_condition < np.log(p.starvation_below_condition)[:, None])
    if thin.size:
        where = np.unravel_index(thin, log_condition.shape)
        rates["starvation"] = where, _starvation(pond, where[0], log_condition[where])
    if any(rule.effort[day] for rule in pond.inputs.fishing):
        rates["harvest"] = every, _harvest_rates(pond)
    if pond.inputs.angling_hours_per_ha[day]:
        rates["release"] = bass, _release_rates(pond)
    return rates


def _starvation(pond: Pond, member: NDArray[np.intp], log_condition: Array) -> Array:
    """Deaths of some thin fish per fish and day, from the member that each group is of and its condition."""
    p = pond.parameters
    per_day, below, width = (
        parameter.take(member, mode="clip")  # a parameter that all share has one value
        for parameter in (p.starvation_deaths_per_day, p.starvation_below_condition, p.starvation_width)
    )
    return life.starvation_deaths(np.exp(log_condition), per_day, below, width)


def _harvest_rates(pond: Pond) -> Array:
    """Deaths per fish and day from harvest rules [member, group]."""
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
        season = harvest.season_fishing(
            rule.kind, ask, total(amount * inside), p.quota_fishing_limit_per_year, p.quota_limit_power
        )
        success = inputs.luck.angler_success[:, year]
        rates[:, groups] += (season * effort * success)[:, None] * inside
    return rates


def _release_rates(pond: Pond) -> Array:
    """Deaths per bass and day after being caught and let go [member, bass group]."""
    groups, deaths = pond.slices[BASS], pond.inputs.death_after_release[pond.day]
    return (_caught_and_released(pond) * deaths)[:, None] * pond.longer(groups, STOCK_LENGTH_MM)


def _caught_and_released(pond: Pond) -> Array:
    """How often a catchable bass is caught and let go, per day [member]."""
    p, s, inputs, groups = pond.parameters, pond.state, pond.inputs, pond.slices[BASS]
    there = np.maximum(total(s.number[:, groups] * pond.longer(groups, STOCK_LENGTH_MM)), 1e-12)
    per_hour = harvest.catch_per_hour(
        there, p.catch_per_hour_at_100_per_ha, p.catch_density_exponent, p.wariness_per_catch * s.wariness
    )
    success = inputs.luck.angler_success[:, inputs.year[pond.day]]
    return np.asarray(per_hour * success * inputs.angling_hours_per_ha[pond.day] / there)


def wariness_after(pond: Pond, length: float) -> Array:
    """Recent catches per catchable bass [member] after a step: those of the step come in, older ones fade."""
    kept = pond.state.wariness * np.exp(-length / pond.parameters.wariness_memory_days)
    return kept + _caught_and_released(pond) * length if pond.inputs.angling_hours_per_ha[pond.day] else kept


def log_share_left(rates: Rates, length: float) -> Array:
    """Natural log of the share of each group that is alive after a step of so many days [member, group].

    It is −Z, where Z are the deaths per fish of all causes in the step.
    """
    (_, predation), (_, background), *others = rates.values()
    deaths = predation + background
    for where, rate in others:
        deaths[where] += rate
    deaths *= -length
    return np.minimum(deaths, -LEAST_DEATHS, out=deaths)
