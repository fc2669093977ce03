"""Strains of a species: what the share of another strain's blood makes of its fish. Nothing here changes the pond.

Fish of all strains of a species stand together, eat alike and breed with one another; each group has a share of blood,
0 for the species' own strain, and its young the mean of their mothers' and fathers'. Between two strains of the species'
files a group is what lies on a straight line between them (assumed shape): a group is told by its mean share, so that what
cold chooses within a group of mixed fish is not told. Where only the own strain lives nothing here is worked out.
"""

from __future__ import annotations

import numpy as np

from pondpop.arrays import Array
from pondpop.model import mortality, recruitment
from pondpop.model.inputs import Inputs
from pondpop.species import KINDS, SPECIES, STRAINS


class Strains:
    """The strains of one species of a pond, its own first.

    parameters [member, strain]; blood: the share at which each strain stands; chill [day, member, strain]: deaths per day from
    cold that only some strains die of; spawning [day, member, strain], as of `recruitment.hatching_of_day`.
    """

    def __init__(self, inputs: Inputs, species: int, water_c: Array) -> None:
        """water_c: [day, member or 1], °C."""
        name = SPECIES[species]
        self.species, self.names = species, (name, *STRAINS[name])
        p = self.parameters = inputs.parameters.of_kinds(self.names)
        self.blood = np.array([KINDS[strain].blood for strain in self.names])
        self.chill = mortality.cold_deaths(
            water_c[:, :, None], p.chill_deaths_per_day, p.chill_deaths_below_c, p.chill_deaths_width_c
        )
        year_day, each = inputs.year_day[:, None], range(len(self.names))
        days = [recruitment.hatching_of_day(p, k, water_c, year_day, p.strain_spawning_later_c[:, k]) for k in each]
        self.spawning = np.stack(np.broadcast_arrays(*days), axis=2)
        self.weights = np.ones((len(self.names), 1, 0))
        self.log_intake = np.zeros((1, 0))

    def see(self, blood: Array) -> None:
        """Note the share of blood of each group [member, group of the species]."""
        at = [np.interp(blood, self.blood, row) for row in np.eye(len(self.names))]
        self.weights = np.stack(at)  # of each strain in what a group is [strain, member, group]
        self.log_intake = np.log(self.factor("strain_intake"))

    def intake(self, grown: Array | None) -> Array:
        """Maximum intake over that of the own strain [member, group of the species]: of the young, the grown eat alike.

        grown: how far fish have left the growth of the young, 0 to 1, or None where they do not part. Florida bass are thinner up
        to 300 mm and no longer beyond (SEAFWA, Aquilla Lake, seen); the blend is that of growth in two phases (assumed).
        """
        return np.exp(self.log_intake if grown is None else self.log_intake * (1.0 - grown))

    def of_groups(self, of_strain: Array) -> Array:
        """Values of [member, strain] at each group [member, group of the species]."""
        out = self.weights[0] * of_strain[:, :1]
        for k in range(1, len(self.names)):
            out += self.weights[k] * of_strain[:, k : k + 1]
        return out

    def factor(self, parameter: str) -> Array:
        """A parameter at each group [member, group of the species]."""
        return self.of_groups(getattr(self.parameters, parameter))


def strains_of(inputs: Inputs, water_c: Array) -> tuple[Strains, ...]:
    """The strains of each species of which fish with blood of another strain are stocked. water_c: [day, member or 1]."""
    mixed = sorted({event.species for event in inputs.stockings if event.blood > 0.0})
    return tuple(Strains(inputs, species, water_c) for species in mixed)
