"""Harvest, angling and removals: of what is asked for, what fish are taken. Nothing here changes the pond.

Densities per ha, mass in g, biomass in kg/ha. Arrays are [member, group] unless said.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from pondpop.arrays import Array, power, total
from pondpop.model import lengths
from pondpop.model.inputs import FishingInput, RemovalInput
from pondpop.model.lengths import Left
from pondpop.model.state import Pond
from pondpop.species import species_with

ANGLED = species_with("caught by anglers")
STOCK_LENGTH_MM = 8 * 25.4  # fish of this length, the stock length of bass, count as catchable by anglers
FEWEST_PER_HA = 1.0  # catchable fish of which each is caught as easily as the last one (assumed)
MOST_IN_A_STEP = 1.0 - 1e-9  # share of the fish of a window that can be caught in a step


def share_of_window(kind: str, amount: ArrayLike, there: Array) -> Array:
    """Share [member] of the fish in a length window that a one-off removal takes; never more than all of them.

    there [member]: fish/ha or kg/ha in the window, in the unit of `amount`; for kind "share" it is not used.
    """
    if kind == "share":
        return np.broadcast_to(np.asarray(amount, dtype=float), there.shape)
    return np.minimum(1.0, np.asarray(amount) / np.maximum(there, 1e-300))


def left_by_removal(pond: Pond, event: RemovalInput) -> Left:
    """What a one-off removal leaves of each group of its species [member, group of the species]."""
    groups = pond.slices[event.species]
    there = in_window(pond, event.species, event.kind, event.shortest_mm, event.longest_mm)
    share = share_of_window(event.kind, event.amount, there)[:, None]
    shortest, longest = np.log(event.shortest_mm), np.log(event.longest_mm)
    return lengths.left_by_window(pond.lengths(groups), shortest, longest, share, pond.group.ws_slope[:, groups])


def in_window(pond: Pond, species: int, kind: str, shortest_mm: float, longest_mm: float) -> Array:
    """Fish/ha of a species between two lengths, or kg/ha of them for kind "kg_per_ha" [member]."""
    s, groups = pond.state, pond.slices[species]
    if kind == "kg_per_ha":
        return total(s.biomass(groups) * (pond.weight_longer(groups, shortest_mm) - pond.weight_longer(groups, longest_mm)))
    return total(s.number[:, groups] * (pond.longer(groups, shortest_mm) - pond.longer(groups, longest_mm)))


def season_fishing(kind: str, ask: Array, there: Array, limit: Array, limit_power: Array) -> Array:
    """Fishing deaths per fish and season [member] that a rule brings about.

    A share is taken as it stands: F = −ln(1 − share). A quota asks for F = quota / what is there, bounded smoothly by
    what anglers can catch: q / (1 + (q/limit)^power)^(1/power) (assumed shape).
    """
    if kind == "share":
        return np.broadcast_to(-np.log1p(-np.minimum(ask, 1.0 - 1e-9)), there.shape)
    wanted = ask / np.maximum(there, 1e-300)
    # The same as wanted / (1 + (wanted/limit)^power)^(1/power), written so that no power overflows.
    low, high = np.minimum(wanted, limit), np.maximum(wanted, limit)
    return low / power(1.0 + power(low / high, limit_power), 1.0 / limit_power)


class Taken(NamedTuple):
    """What deaths in windows of lengths do to the groups in a step; the fish of a window die alike [member, group]."""

    per_fish: Array  # deaths per fish and day
    per_gram: Array  # deaths per g and day
    longer: Array  # gain of the mean of log length
    spread: Array  # standard deviation of log length, relative to before

    @classmethod
    def none(cls, pond: Pond) -> Taken:
        number = pond.state.number
        per_fish, per_gram, longer = (np.zeros_like(number) for _ in range(3))
        return cls(per_fish, per_gram, longer, np.ones_like(number))

    def take(self, pond: Pond, species: int, shortest_mm: float, longest_mm: float, per_day: Array, length: float) -> None:
        """Let fish of a window die at a rate [member] per day over a step of so many days; those easily caught more."""
        groups = pond.slices[species]
        rate = per_day[:, None]
        if pond.strains:
            inside = pond.longer(groups, shortest_mm) - pond.longer(groups, longest_mm)
            if ease := ease_of_catching(pond, species, pond.state.number[:, groups] * inside):
                rate = rate * ease[0]
        share = np.minimum(-np.expm1(-rate * length), MOST_IN_A_STEP)
        shortest, longest = np.log(shortest_mm), np.log(longest_mm)
        left = lengths.left_by_window(pond.lengths(groups), shortest, longest, share, pond.group.ws_slope[:, groups])
        self.per_fish[:, groups] -= np.log(np.maximum(left.number, lengths.NOTHING)) / length
        self.per_gram[:, groups] -= np.log(np.maximum(left.weight, lengths.NOTHING)) / length
        self.longer[:, groups] += left.longer
        self.spread[:, groups] *= left.spread


def harvested(pond: Pond, length: float) -> Taken:
    """What harvest rules take in a step."""
    taken = Taken.none(pond)
    for rule, per_day in fished(pond):
        taken.take(pond, rule.species, rule.shortest_mm, rule.longest_mm, per_day, length)
    return taken


def fished(pond: Pond) -> Iterator[tuple[FishingInput, Array]]:
    """Each harvest rule that is fished on this day, and deaths per fish of its window and day [member]:
    F of the season · share of its effort on the day · anglers' success."""
    p, inputs = pond.parameters, pond.inputs
    year = inputs.year[pond.day]
    for rule, holds in zip(inputs.fishing, pond.rule_holds, strict=True):
        effort = rule.effort[pond.day]
        if effort == 0.0:
            continue
        there = in_window(pond, rule.species, rule.kind, rule.shortest_mm, rule.longest_mm)
        ask = rule.ask[:, year] if rule.when is None else np.where(holds, rule.ask[:, year], rule.otherwise)
        season = season_fishing(rule.kind, ask, there, p.quota_fishing_limit_per_year, p.quota_limit_power)
        yield rule, season * effort * inputs.luck.angler_success[:, year]


def ease_of_catching(pond: Pond, species: int, fish: Array) -> tuple[Array, Array] | None:
    """Ease of catching the groups of a species relative to the mean of some of its fish, and that mean; None where all are alike.

    fish: those that could be caught [member, group of the species]. Returns [member, group of the species] and [member].
    """
    for strains in pond.strains:
        if strains.species == species:
            ease = strains.factor("strain_catching")
            there = total(fish)
            mean = np.where(there > 0.0, total(fish * ease) / np.maximum(there, 1e-300), 1.0)
            return ease / mean[:, None], mean
    return None


def catch_per_hour(catchable: Array, at_100_per_ha: Array, exponent: Array, wariness: Array) -> Array:
    """Fish caught per angler hour [member] from N catchable fish/ha, falling as fish grow scarce and wary.

    c·(N/100)^exponent / (1 + wariness). Catch rises less than in proportion to density (hyperstability; exponent after
    2–5 bass/h at 50–250 bass/acre), but in proportion where there is not one a hectare: a fish is caught no more often
    for the want of others.
    """
    some = np.maximum(catchable, FEWEST_PER_HA)
    return at_100_per_ha * power(some / 100.0, exponent) * (catchable / some) / (1.0 + wariness)


def released(pond: Pond, length: float) -> Taken:
    """Deaths in a step after being caught and let go."""
    taken = Taken.none(pond)
    for species in ANGLED:
        per_day = _caught_and_released(pond, species) * pond.inputs.death_after_release[pond.day]
        taken.take(pond, species, STOCK_LENGTH_MM, np.inf, per_day, length)
    return taken


def _caught_and_released(pond: Pond, species: int) -> Array:
    """How often a catchable fish of a species is caught and let go, per day [member]."""
    p, s, inputs = pond.parameters, pond.state, pond.inputs
    fish = _catchable(pond, species)
    there = np.maximum(total(fish), FEWEST_PER_HA)
    per_hour = catch_per_hour(
        there, p.catch_per_hour_at_100_per_ha, p.catch_density_exponent, p.wariness_per_catch * s.wariness[:, species]
    )
    if ease := ease_of_catching(pond, species, fish):
        per_hour = per_hour * ease[1]
    success = inputs.luck.angler_success[:, inputs.year[pond.day]]
    return np.asarray(per_hour * success * inputs.angling_hours_per_ha[pond.day] / there)


def _catchable(pond: Pond, species: int) -> Array:
    """Fish/ha of each group that are long enough to be caught [member, group of the species]."""
    groups = pond.slices[species]
    return np.asarray(pond.state.number[:, groups] * pond.longer(groups, STOCK_LENGTH_MM))


def wariness_after(pond: Pond, length: float) -> Array:
    """Recent catches per catchable fish [member, species] after a step: those of the step come in, older ones fade.

    w·e^(−t/memory) + catches per fish in t days. Where there is not one fish a hectare the catches are told per hectare: what
    few or none have learnt, those that grow up have not.
    """
    after = pond.state.wariness * np.exp(-length / pond.parameters.wariness_memory_days)[:, None]
    if pond.by_day.angled[pond.day]:
        for species in ANGLED:
            fish = total(_catchable(pond, species))
            after[:, species] += _caught_and_released(pond, species) * np.minimum(fish / FEWEST_PER_HA, 1.0) * length
    return np.asarray(after)
