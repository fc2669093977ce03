"""A block of ponds as it stands on a day: what is known of it, and what can be read off it without changing it."""

from __future__ import annotations

from math import log

import numpy as np
from numpy.typing import NDArray

from pondpop.model import bioenergetics, feeding
from pondpop.model.bioenergetics import share_longer
from pondpop.model.forcing import DayFactors, GroupFactors
from pondpop.model.inputs import Inputs
from pondpop.model.state import State
from pondpop.species import BASS

Array = NDArray[np.float64]
ALL = slice(None)
LOG_OF_100_G = log(100.0)
STOCK_LENGTH_MM = 8 * 25.4  # bass of stock length count as catchable by anglers


class Pond:
    """The state of a block of members and what its rates are made of. Only `engine.Engine` changes it.

    Arrays are [member, group] unless said.
    """

    def __init__(self, inputs: Inputs) -> None:
        p = inputs.parameters
        self.inputs = inputs
        self.parameters = p
        self.day = 0
        self.tables = feeding.feeding_tables(p, inputs.cover)
        self.by_day = DayFactors(inputs)
        self.food_capacity = np.stack(np.broadcast_arrays(p.plankton_capacity_kg_per_ha, p.benthos_capacity_kg_per_ha))
        self.pulse_slot_days = [int(days) for days in p.pulse_slot_days[0]]
        self.wary_from_day = np.max(p.naive_days * (np.log(np.maximum(p.naive_ease, 1.0)) + 37.0))
        self.ration_memory = -np.expm1(-1.0 / (inputs.steps_per_day * p.ration_memory_days[:, None]))
        self.large_die_less = bool(p.large_fish_death_reduction[:, BASS].any())
        self.state = State.empty(inputs.members, p.plankton_capacity_kg_per_ha, p.benthos_capacity_kg_per_ha)
        self.richness = np.ones(inputs.members)  # renewal of food relative to fertility 1, of late
        self.rule_holds = [np.zeros(inputs.members, dtype=bool) for _ in inputs.fishing]
        self.columns_changed()

    def columns_changed(self) -> None:
        """Remake what depends on which groups there are, and on the year."""
        s, inputs = self.state, self.inputs
        year = inputs.year[min(self.day, inputs.days - 1)]
        self.fertility = inputs.fertility[year] * inputs.luck.productivity[:, year]
        self.richness_of_year = feeding.richness(self.fertility, self.parameters.renewal_saturation)
        self.group = GroupFactors(self.parameters, s.columns)
        self.slices = s.species_slices()
        self.columns_of_species = [groups.stop - groups.start for groups in self.slices]
        self.first_points = feeding.first_points(s.members, s.columns.species)
        self.first_of_bass = feeding.first_points_of(BASS, s.members)
        self.last_stocked_of = s.columns.stocked.max(axis=0)  # [group], day
        self.last_stocked = float(np.max(self.last_stocked_of, initial=-np.inf))

    @property
    def water_c(self) -> Array:
        """Water temperature [member or 1, day], °C."""
        return self.by_day.water_c

    def max_intake(self) -> Array:
        """Maximum intake of each group in this water, g per g and day."""
        g = self.group
        intake = g.max_intake_exponent * self.state.log_weight
        intake += g.log_growth
        np.exp(intake, out=intake)
        intake *= self.of_groups(self.by_day.max_intake[self.day])
        return intake

    def of_groups(self, of_species: Array) -> Array:
        """Values of [member, species] at each group [member, group]."""
        return of_species.repeat(self.columns_of_species, axis=1)

    def log_standard_weight(self, log_length: Array, groups: slice = ALL) -> Array:
        """Natural log of the standard weight in g of some groups, had they these lengths."""
        g = self.group
        return bioenergetics.log_standard_weight(
            log_length, g.ws_intercept[:, groups], g.ws_slope[:, groups], g.isometric_below[:, groups]
        )

    def log_condition(self) -> Array:
        """Natural log of each group's weight over its standard weight."""
        standard = self.log_standard_weight(self.state.log_length)
        return np.subtract(self.state.log_weight, standard, out=standard)

    def longer(self, groups: slice, threshold_mm: float | Array) -> Array:
        """Share of the fish of some groups that are longer than a threshold [member, group]."""
        return share_longer(
            self.state.log_length[:, groups], np.reshape(threshold_mm, (-1, 1)), self.parameters.length_cv[:, None]
        )

    def window(self, groups: slice, shortest_mm: float, longest_mm: float) -> Array:
        """Share of the fish of some groups between two lengths [member, group]."""
        return self.longer(groups, shortest_mm) - self.longer(groups, longest_mm)


def of_species(parameter: Array, species: int) -> Array:
    """One species' values of a parameter, to stand against [member, group]: [member, 1]."""
    return parameter[:, species, None]


def total(amount: Array) -> Array:
    """Sum over groups [..., member], always in group order, so that empty columns change no bit of it."""
    if amount.shape[0] == 1:
        return np.bincount(np.zeros(amount.size, np.intp), weights=amount[0], minlength=1).astype(float, copy=False)
    return np.add.reduce(np.ascontiguousarray(amount.T), axis=0)  # row after row; along a row numpy adds pairwise


def totals(amount: Array, part: slice) -> tuple[Array, Array]:
    """Sums over the first groups, those of `part`, and over all [food, member] of [food, member, group], in group order."""
    foods, members, groups = amount.shape
    by_group = amount.reshape(foods * members, groups).T.copy()  # foods keep numpy from adding a single column pairwise
    first = np.add.reduce(by_group[part], axis=0)
    whole = first + np.add.reduce(by_group[part.stop :], axis=0)
    return first.reshape(foods, members), whole.reshape(foods, members)
