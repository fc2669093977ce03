"""Which species a pond has, or can come to have, and which foods of the pond they eat: the axes of kinds and of food.

What no fish of a pond is or eats takes no part in its days, so that a species costs nothing where it does not live.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

import numpy as np
from numpy.typing import NDArray

from pondpop.species import KINDS, SPECIES, TRAITS, Species, kinds_with, place_of, species_with

FOODS = ("plankton", "benthos", "littoral", "algae", "snails")  # of the pond itself, in the order of the axis of food
PLANKTON, BENTHOS, LITTORAL, ALGAE, SNAILS = range(len(FOODS))


class Community:
    """The kinds of fish of a pond, by their names, and their foods. In a pond each is a species, all strains together.

    species: the place among `SPECIES` of each kind's; of_species: the kinds of each of SPECIES, one or none; predators: the
    first so many kinds; foods: the first so many of FOODS.
    """

    def __init__(self, kinds: tuple[str, ...]) -> None:
        self.kinds = kinds
        self.species: NDArray[np.intp] = np.array([place_of(KINDS[kind].species) for kind in kinds], np.intp)
        places = {int(k): place for place, k in enumerate(self.species)}
        self.of_species = tuple(slice(place := places.get(k, 0), place + (k in places)) for k in range(len(SPECIES)))
        self.predators = len(kinds_with("role: predator", kinds))
        eaten = set().union(*(foods_of(self.traits(k)) for k in range(len(kinds))))
        self.foods = FOODS[: max(eaten, default=0) + 1]

    def __len__(self) -> int:
        return len(self.kinds)

    def traits(self, kind: int) -> Species:
        """What the species of a kind is and can do."""
        return TRAITS[SPECIES[self.species[kind]]]


def foods_of(species: Species) -> set[int]:
    """The foods of the pond that a species eats at some length."""
    eats = (
        species.plankton != "none",
        species.benthos != "none",
        species.has("feeds by the shore when small"),
        species.has("eats algae"),
        species.has("eats snails"),
    )
    return {food for food, eaten in enumerate(eats) if eaten}


@cache
def community(kinds: tuple[str, ...]) -> Community:
    """The community of some kinds, in their order."""
    return Community(kinds)


def species_present(stocked: Iterable[int]) -> list[str]:
    """The species of a pond in which some are stocked (places among `SPECIES`), and every predator."""
    return [SPECIES[k] for k in sorted({*stocked, *species_with("role: predator")})]
