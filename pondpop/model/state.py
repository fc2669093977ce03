"""The state of a block of ponds: the only place where the shapes of the state's arrays are declared.

A *group* is fish of one species, one origin (a stocking event or a spawning pulse) and one growth type. Each member
has its own groups, in order of birth or stocking, in the columns of the species; columns stand species by species in
the order of `SPECIES`. Now and then each member's groups close up, so that a column may hold other groups in other
members; where a member has no more groups, its columns are empty.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pondpop.species import SPECIES

Array = NDArray[np.float64]


@dataclass
class Columns:
    """What never changes about the groups: [member, group], but one species for each column.

    All members may share one row.
    """

    species: NDArray[np.intp]  # [group]
    growth_z: Array  # place of the growth type in the spread of growth, in standard deviations
    sex: Array  # +1 female, −1 male, 0 both together
    female_share: Array  # share of females: 1, 0, or that of an unsexed group
    born: Array  # day of the run at which age was 0
    stocked: Array  # day of the run of stocking; −inf for fish born in the pond
    origin: NDArray[np.intp]  # index of the stocking event, −1 for fish born in the pond

    @classmethod
    def none(cls, members: int) -> Columns:
        real, integer = np.empty((members, 0)), np.empty((members, 0), np.intp)
        return cls(np.empty(0, np.intp), real, real.copy(), real.copy(), real.copy(), real.copy(), integer)

    def __len__(self) -> int:
        return self.species.size


@dataclass
class State:
    """One block of members: groups [member, group], food [food, member], spawning counters [member, …]."""

    columns: Columns
    number: Array  # fish/ha
    log_weight: Array  # natural log of mean weight in g
    log_length: Array  # natural log of structural length in mm, which never shrinks
    ration: Array  # running mean of the share of maximum intake that was eaten
    food: Array  # kg/ha [food, member]: plankton and benthos
    spawn_gathered: Array  # [member, species]: spawning done this year, and
    spawn_released: Array  # [member, species]: that part of it which pulses have used
    wariness: Array  # [member]: recent catches per catchable bass

    @classmethod
    def empty(cls, members: int, plankton: Array, benthos: Array) -> State:
        def groups() -> Array:
            return np.empty((members, 0))

        return cls(
            columns=Columns.none(members),
            number=groups(),
            log_weight=groups(),
            log_length=groups(),
            ration=groups(),
            food=np.stack([np.broadcast_to(food, (members,)) for food in (plankton, benthos)]).astype(float),
            spawn_gathered=np.zeros((members, len(SPECIES))),
            spawn_released=np.zeros((members, len(SPECIES))),
            wariness=np.zeros(members),
        )

    @property
    def members(self) -> int:
        return self.food.shape[1]

    @property
    def plankton(self) -> Array:
        return self.food[0]

    @property
    def benthos(self) -> Array:
        return self.food[1]

    def species_slices(self) -> tuple[slice, ...]:
        """The columns of each species, in the order of `SPECIES`."""
        ends = np.searchsorted(self.columns.species, np.arange(len(SPECIES) + 1))
        return tuple(slice(int(a), int(b)) for a, b in pairwise(ends))

    def weight(self) -> Array:
        """Mean weight of each group, g [member, group]."""
        return np.exp(self.log_weight)

    def biomass(self) -> Array:
        """Biomass of each group, kg/ha [member, group]."""
        return self.number * self.weight() / 1000.0

    def add(self, columns: Columns, number: Array, log_weight: Array, log_length: Array, ration: Array) -> None:
        """Add groups; each goes behind the others of its species."""
        species = np.concatenate([self.columns.species, columns.species])
        order = np.argsort(species, kind="stable")

        def joined(old: NDArray[Any], new: NDArray[Any]) -> NDArray[Any]:
            return np.concatenate([old, np.broadcast_to(new, (self.members, len(columns)))], axis=1).take(order, axis=1)

        for name, new in zip(_VARIABLES, (number, log_weight, log_length, ration), strict=True):
            setattr(self, name, joined(getattr(self, name), new))
        constants = (joined(getattr(self.columns, name), getattr(columns, name)) for name in _CONSTANTS)
        self.columns = Columns(species[order], *constants)

    def close_up(self) -> bool:
        """Move each member's groups to the first columns of their species, in their order; True if any column goes."""
        alive, order = self.number > 0.0, []
        for groups in self.species_slices():
            inside = alive[:, groups]
            first = np.argsort(~inside, axis=1, kind="stable")
            order.append(groups.start + first[:, : int(inside.sum(axis=1).max())])
        index = np.concatenate(order, axis=1)
        if index.shape[1] == len(self.columns):
            return False
        for name in _VARIABLES:
            setattr(self, name, np.take_along_axis(getattr(self, name), index, axis=1))
        constants = (np.take_along_axis(getattr(self.columns, name), index, axis=1) for name in _CONSTANTS)
        self.columns = Columns(np.repeat(np.arange(len(SPECIES)), [part.shape[1] for part in order]), *constants)
        return True


_VARIABLES = ("number", "log_weight", "log_length", "ration")
_CONSTANTS = tuple(f.name for f in fields(Columns) if f.name != "species")
