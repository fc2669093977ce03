"""Natural deaths, cause by cause, and what is left of fish after a step. Nothing here changes the pond.

Rates per day, mass in g, age in years. Arrays are [member, group] unless said.
"""

from __future__ import annotations

from math import log
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pondpop.arrays import Array, Value, logistic
from pondpop.model import harvest
from pondpop.model.predation import Hunt
from pondpop.model.state import Pond
from pondpop.species import SPECIES, Parameters, species_with
from pondpop.units import DAYS_PER_YEAR

LOG_OF_100_MM = log(100.0)
DYING_AS_FRY = species_with("dies as fry")
LEAST_DEATHS = 1e-15  # per fish and step; never none, since they divide
Where = tuple[slice | NDArray[np.intp], ...]
EVERY: Where = np.s_[:, :]
Rates = dict[str, tuple[Where, Array]]
"""Deaths per fish (or per g) and day by cause: where among [member, group] it acts, and how much there."""


def background_of_day(p: Parameters, water_c: Array, multiplier: Array) -> Array:
    """Natural deaths per day of a fish of 1 g on each day [day, member, kind]: m·M1/365·W0^−g·e^(k·(T − reference)).

    After Lorenzen 1996 (M1 and its exponent in pond.toml), of which a kind has the share m; where deaths fall less with size
    it has that at W0, and elsewhere times (W/W0)^g. multiplier [day, member, kind]: luck and local survival.
    """
    warm = warm_deaths(water_c, p.background_deaths_warming_per_c, p.background_deaths_reference_c)
    of_kind = p.background_deaths_multiplier * p.background_deaths_at_1_g_per_year[:, None] / DAYS_PER_YEAR
    pivot = np.nan_to_num(p.background_deaths_pivot_g, nan=1.0) ** -np.nan_to_num(p.background_deaths_size_gain)
    return np.asarray(of_kind * pivot * multiplier * warm[:, :, None])


def warm_deaths(water_c: Value, warming_per_c: Value, reference_c: Value) -> Array:
    """Multiple of natural deaths in water of a temperature: e^(k·(T − reference)).

    Natural deaths rise with temperature (Pauly 1980, from memory); the shape is ours.
    """
    return np.exp(np.asarray(warming_per_c) * (np.asarray(water_c) - reference_c))


def cold_deaths(water_c: Value, per_day: Value, below_c: Value, width_c: Value) -> Array:
    """Deaths per day from cold of a fish of 100 mm: r/(1 + e^((T − below)/width)), for threadfin shad of any length.

    Of threadfin none survive 4 °C (Griffith 1978); of bass and bluegill small ones die more in winter (Fullerton et al.
    2000, seen; the shape is ours). The last millionth is cut off, so that in warm water nothing needs to be worked out.
    """
    chilled = logistic((np.asarray(below_c) - np.asarray(water_c)) / np.asarray(width_c))
    return np.asarray(per_day) * np.maximum(0.0, chilled - 1e-6)


def fry_deaths(log_length: Array, per_day: Value, at_mm: Value, exponent: Value) -> Array:
    """Deaths per day of fry, by length: r·(L0/L)^e (assumed shape)."""
    shorter = np.asarray(np.log(at_mm) - log_length)
    shorter *= exponent
    np.exp(shorter, out=shorter)
    shorter *= per_day
    return shorter


def old_age_deaths(days_past: Array, per_year: Value, ramp_days: Value, ramp_limit: Value) -> Array:
    """Deaths per day of fish so many days past the age at which age begins to tell: rise to a limit (assumed shape)."""
    past = np.minimum(np.maximum(days_past / ramp_days, 0.0), ramp_limit)
    return np.asarray(past * per_year / DAYS_PER_YEAR)


def crowding_deaths(biomass: Array, limit: Value, per_day: Value) -> Array:
    """Deaths per day where the water holds B kg/ha of fish, more than it can carry: d·(B/limit − 1), at most 1 (assumed shape).

    Beside the deaths from want of oxygen; without this, fish without number lived on one another for years.
    """
    return np.clip(np.asarray(per_day) * (biomass / limit - 1.0), 0.0, 1.0)


def starvation_deaths(condition: Array, per_day: Value, below: Value, width: Value) -> Array:
    """Deaths per day of thin fish: rise linearly as condition (weight over standard weight) falls below a limit."""
    return np.asarray(per_day) * np.maximum(0.0, np.asarray(below) - condition) / np.asarray(width)


class Deaths(NamedTuple):
    """Of what the fish of a step die, and how those that live differ from those that there were.

    Deaths that choose by length are not the same per fish and per g; `chosen` has those per g.
    """

    rates: Rates  # per fish
    chosen: Rates
    longer: Array  # gain of the mean of log length in the step
    spread: Array | None  # standard deviation of log length, relative to before; None: as before

    def log_shares_left(self, length: float) -> tuple[Array, Array]:
        """Natural log of the shares of number and of weight that are left after so many days [member, group]."""
        number = log_share_left(self.rates, length)
        more = self.chosen["predation"][1] - self.rates["predation"][1]
        for cause, (where, per_gram) in self.chosen.items():
            if cause != "predation":
                more[where] += per_gram - self.rates[cause][1]
        if length != 1.0:
            more *= length
        np.subtract(number, more, out=more)
        return number, more.clip(-np.inf, -LEAST_DEATHS, out=more)


def deaths(pond: Pond, biomass: Array, log_condition: Array, hunt: Hunt, length: float) -> Deaths:
    """All deaths of a step, harvest with them."""
    predation, longer = _predation(pond, hunt, length)
    spread: Array | None = None
    rates = natural_rates(pond, biomass, log_condition, predation)
    chosen: Rates = {"predation": (EVERY, hunt.predation)}
    if any(rule.effort[pond.day] for rule in pond.inputs.fishing):
        taken = harvest.harvested(pond, length)
        rates["harvest"], chosen["harvest"] = (EVERY, taken.per_fish), (EVERY, taken.per_gram)
        longer, spread = longer + taken.longer, taken.spread
    if pond.by_day.angled[pond.day]:
        taken = harvest.released(pond, length)
        rates["release"], chosen["release"] = (EVERY, taken.per_fish), (EVERY, taken.per_gram)
        longer, spread = longer + taken.longer, taken.spread if spread is None else spread * taken.spread
    return Deaths(rates, chosen, longer, spread)


def _predation(pond: Pond, hunt: Hunt, length: float) -> tuple[Array, Array]:
    """Predation per fish and day, and what the mean of log length gains by it in a step of so many days.

    Where predation rises with log length at a rate r, the mean of a normal spread moves by −variance · r a day and the
    variance stays; a group's fish of a length keep their weight. A fish is taken at no rate below 0.
    """
    slope, spreads = pond.group.ws_slope, pond.spreads
    longer = spreads.variance_less * hunt.rise
    if length != 1.0:
        longer *= length
    np.maximum(longer, hunt.predation * (-length / slope), out=longer)
    np.minimum(longer, spreads.most_moved, out=longer)
    np.maximum(longer, spreads.least_moved, out=longer)
    per_fish = longer * slope
    if length != 1.0:
        per_fish *= 1.0 / length
    per_fish += hunt.predation
    return per_fish.clip(0.0, np.inf, out=per_fish), longer


def natural_rates(pond: Pond, biomass: Array, log_condition: Array, predation: Array) -> Rates:
    """Deaths per fish and day by cause, without those that people cause."""
    p, g, day = pond.parameters, pond.group, pond.day
    rates: Rates = {"predation": (EVERY, predation), "background": (EVERY, _background(pond))}
    for species in DYING_AS_FRY:
        rates[f"fry of {SPECIES[species]}"] = np.s_[:, pond.slices[species]], _fry(pond, species)
    if pond.today.cold_kills:
        rates["cold"] = EVERY, _cold(pond)
    for strains in pond.strains:
        if (chill := strains.chill[day]).any():
            rates[f"cold of {SPECIES[strains.species]}"] = np.s_[:, pond.slices[strains.species]], strains.of_groups(chill)
    for number, haul in enumerate(pond.hauls):
        if haul.day <= day < haul.until:
            groups = pond.slices[haul.species]
            rates[f"hauling of {number}"] = np.s_[:, groups], haul.later_on(day, pond.state.columns.origin[:, groups])
    if day > g.first_day_of_old_age:
        (old,) = (day > g.first_day_of_old_age_of).nonzero()
        rates["old_age"] = np.s_[:, old], old_age_deaths(
            day - g.age_tells_from[:, old],
            p.old_age_deaths_per_year[:, None],
            g.old_age_ramp_days[:, old],
            p.old_age_ramp_limit[:, None],
        )
    if (pond.fish_kg_per_ha > p.crowding_from_kg_per_ha).any():
        crowded = crowding_deaths(pond.fish_kg_per_ha, p.crowding_from_kg_per_ha, p.crowding_deaths_per_day)
        rates["crowding"] = EVERY, crowded[:, None]
    thin = (log_condition < pond.thin_below).ravel().nonzero()[0]  # sooner found in one row
    if thin.size:
        where = np.unravel_index(thin, log_condition.shape)
        rates["starvation"] = where, _starvation(pond, where[0], log_condition[where])
    return rates


def _background(pond: Pond) -> Array:
    """Natural deaths per fish and day: those of a fish of 1 g on the day, times W^exponent."""
    background = pond.group.background_deaths_exponent * pond.state.log_weight
    np.exp(background, out=background)
    background *= pond.of_groups(pond.today.background_deaths)
    return background


def _fry(pond: Pond, species: int) -> Array:
    """Deaths of fry and of what they grow into, per fish and day [member, group of the species]."""
    names = ("fry_deaths_per_day", "recruit_length_mm", "fry_deaths_exponent")
    return fry_deaths(pond.state.log_length[:, pond.slices[species]], *(pond.of(name, species) for name in names))


def _cold(pond: Pond) -> Array:
    """Deaths from cold per fish and day: those of a fish of 100 mm on the day, times (100 mm/L)^exponent."""
    smaller = LOG_OF_100_MM - pond.state.log_length
    smaller *= pond.group.cold_deaths_exponent
    np.exp(smaller, out=smaller)
    smaller *= pond.of_groups(pond.today.cold_deaths)
    return smaller


def _starvation(pond: Pond, member: NDArray[np.intp], log_condition: Array) -> Array:
    """Deaths of some thin fish per fish and day, from the member that each group is of and its condition."""
    p = pond.parameters
    per_day, below, width = (
        parameter.take(member, mode="clip")  # a parameter that all share has one value
        for parameter in (p.starvation_deaths_per_day, p.starvation_below_condition, p.starvation_width)
    )
    return starvation_deaths(np.exp(log_condition), per_day, below, width)


def log_share_left(rates: Rates, length: float) -> Array:
    """Natural log of the share of each group that is alive after a step of so many days [member, group].

    It is −Z, where Z are the deaths per fish of all causes in the step.
    """
    (_, predation), (_, background), *others = rates.values()
    deaths = predation + background
    for where, rate in others:
        deaths[where] += rate
    deaths *= -length
    return deaths.clip(-np.inf, -LEAST_DEATHS, out=deaths)


def mean_share_alive(log_left: Array, left: Array) -> Array:
    """(1 − e^−Z)/Z: mean share of a group alive over a step in which Z deaths per fish leave a share e^−Z of it.

    log_left is −Z, left is e^−Z. A cause of F deaths per fish takes F·(1 − e^−Z)/Z of them (Baranov 1918, from memory), and
    the causes add up to all that die; for a Z near 0 it is not precise on its own.
    """
    alive = left - 1.0
    alive /= log_left
    return alive
