"""The state of a block of ponds: the only place where the shapes of the state's arrays are declared.

A *group* is one column: fish of one species, one origin (a stocking event or a spawning pulse) and one growth type.
Columns stand species by species in the order of `SPECIES`, and within a species in order of birth or stocking; all
members of a block have the same columns (a group may be empty in some of them).
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from pondpop.species import SPECIES

Array = NDArray[np.float64]


@dataclass
class Columns:
    """What never changes about a group, one entry per column [group]."""

    species: NDArray[np.intp]
    growth_z: Array  # place of the growth type in the spread of growth, in standard deviations
    sex: Array  # +1 female, −1 male, 0 both together
    female_share: Array  # share of females: 1, 0, or that of an unsexed group
    born: Array  # day of the run at which age was 0
    stocked: Array  # day of the run of stocking; −inf for fish born in the pond
    origin: NDArray[np.intp]  # index of the stocking event, −1 for fish born in the pond

    @classmethod
    def none(cls) -> Columns:
        integer, real = np.empty(0, np.intp), np.empty(0)
        return cls(integer, real, real.copy(), real.copy(), real.copy(), real.copy(), integer.copy())

    def __len__(self) -> int:
        return self.species.size

    def taken(self, index: NDArray[np.intp]) -> Columns:
        return Columns(*(getattr(self, f.name)[index] for f in fields(self)))

    def joined(self, other: Columns) -> Columns:
        return Columns(*(np.concatenate([getattr(self, f.name), getattr(other, f.name)]) for f in fields(self)))


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
            columns=Columns.none(),
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
        joined = self.columns.joined(columns)
        order = np.argsort(joined.species, kind="stable")
        self.columns = joined.taken(order)
        for name, new in (
            ("number", number),
            ("log_weight", log_weight),
            ("log_length", log_length),
            ("ration", ration),
        ):
            new = np.broadcast_to(new, (self.members, len(columns)))
            setattr(self, name, np.concatenate([getattr(self, name), new], axis=1).take(order, axis=1))

    def drop_empty(self) -> bool:
        """Forget columns in which no member has fish; True if there were any."""
        occupied = np.flatnonzero((self.number > 0.0).any(axis=0))
        if occupied.size == len(self.columns):
            return False
        self.columns = self.columns.taken(occupied)
        for name in ("number", "log_weight", "log_length", "ration"):
            setattr(self, name, getattr(self, name).take(occupied, axis=1))
        return True
