"""The accounts of what moves in a pond: flows of a day, and the books of one step.

Nothing here changes the pond.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pondpop.arrays import Array, total
from pondpop.model.mortality import Deaths, Rates, Where
from pondpop.model.state import ALGAE, BENTHOS, FOODS, LITTORAL, PLANKTON, Columns, Pond
from pondpop.species import SPECIES, TRAITS, species_with

PREDATOR_PLACES = species_with("role: predator")
PREDATORS = tuple(SPECIES[k] for k in PREDATOR_PLACES)


def _foods_of(species: str) -> set[int]:
    of = TRAITS[species]
    uses = (of.plankton != "none", of.benthos != "none", of.has("feeds by the shore when small"), of.has("eats algae"))
    return {food for food, used in zip((PLANKTON, BENTHOS, LITTORAL, ALGAE), uses, strict=True) if used}


FOODS_OF_PREDATORS = sorted(set().union(*(_foods_of(name) for name in PREDATORS)))
PREY = (*SPECIES, *(FOODS[food] for food in FOODS_OF_PREDATORS), "pellets")


@dataclass
class Flows:
    """What moved in some time, per ha."""

    eaten: Array  # [member, predator species, prey] kg
    harvest_number: Array  # [member, species] fish
    harvest_biomass: Array  # [member, species] kg
    removed_number: Array  # [member, species] fish
    removed_biomass: Array  # [member, species] kg
    release_deaths: Array  # [member] fish
    pellets_given: Array  # [member] kg
    pellets_eaten: Array  # [member] kg

    @classmethod
    def zero(cls, members: int) -> Flows:
        kinds = len(SPECIES)
        return cls(
            np.zeros((members, len(PREDATORS), len(PREY))),
            *(np.zeros((members, kinds)) for _ in range(4)),
            *(np.zeros(members) for _ in range(3)),
        )

    def include(self, other: Flows) -> None:
        """Add what moved in another time."""
        for name in self.__dataclass_fields__:
            getattr(self, name)[...] += getattr(other, name)

    def add(
        self,
        pond: Pond,
        deaths: Deaths,
        alive: Array,
        weight_alive: Array,
        biomass: Array,
        food_of_predators: Array,
        fish_eaten: Array,
        pellets: Array | None,
        length: float,
    ) -> None:
        """Add what moved in this step."""
        s, kinds = pond.state, len(SPECIES)
        self.eaten[:, :, :kinds] += fish_eaten * length
        self.eaten[:, :, kinds:-1] += food_of_predators[:, FOODS_OF_PREDATORS].transpose(2, 0, 1)
        if pellets is not None:
            self.pellets_given += pond.inputs.pellets_kg_per_ha[pond.day] * length
            self.pellets_eaten += total(pellets * biomass) * length
            for eater, groups in enumerate(pond.slices[k] for k in PREDATOR_PLACES):
                self.eaten[:, eater, -1] += total(pellets[:, groups] * biomass[:, groups]) * length
        if "harvest" in deaths.rates:
            caught = s.number * alive * deaths.rates["harvest"][1] * length
            kilograms = biomass * weight_alive * deaths.chosen["harvest"][1] * length
            for species, groups in enumerate(pond.slices):
                self.harvest_number[:, species] += total(caught[:, groups])
                self.harvest_biomass[:, species] += total(kilograms[:, groups])
        if "release" in deaths.rates:
            self.release_deaths += total(s.number * alive * deaths.rates["release"][1]) * length


@dataclass(frozen=True)
class Books:
    """The accounts of one step, group by group, for checking that they close."""

    columns: Columns
    number: Array  # fish/ha before
    weight: Array  # g before
    rates: dict[str, Array]  # deaths per fish and day by cause
    weight_rates: dict[str, Array]  # deaths per g and day by cause
    alive: Array  # mean share of the fish alive over the step, and
    weight_alive: Array  # of their weight
    length: float  # days
    ate_fish: Array  # g per g and day, [member, predator group]
    ate_food: Array  # g per g and day [food, member, group]
    ate_pellets: Array  # g per g and day
    growth: Array  # per day, in log weight
    refused: Array  # growth per day beyond the daily limits
    food: Array  # kg/ha [member, food] before
    food_after: Array

    @classmethod
    def of_step(
        cls,
        pond: Pond,
        *,
        weight: Array,
        deaths: Deaths,
        alive: Array,
        weight_alive: Array,
        length: float,
        ate_fish: Array,
        ate_food: Array,
        pellets: Array | None,
        growth: Array,
        free_growth: Array,
        food_after: Array,
    ) -> Books:
        """The accounts of a step that the pond has not taken yet."""
        s = pond.state

        def whole(rates: Rates) -> dict[str, Array]:
            return {cause: _whole(where, rate, s.number.shape) for cause, (where, rate) in rates.items()}

        return cls(
            columns=s.columns,
            number=s.number.copy(),
            weight=weight,
            rates=whole(deaths.rates),
            weight_rates=whole(deaths.rates | deaths.chosen),
            alive=alive,
            weight_alive=weight_alive,
            length=length,
            ate_fish=ate_fish,
            ate_food=ate_food,
            ate_pellets=np.zeros_like(weight) if pellets is None else pellets,
            growth=growth,
            refused=free_growth - growth,
            food=s.food.T.copy(),
            food_after=food_after.T,
        )


def _whole(where: Where, rate: Array, shape: tuple[int, ...]) -> Array:
    """Rates of one cause at all groups [member, group]."""
    whole = np.zeros(shape)
    whole[where] = rate
    return whole
