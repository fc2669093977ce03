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


@dataclass(frozen=True)
class Step:
    """What happens in one step, before the pond has taken it; arrays are [member, group] unless said."""

    length: float  # days
    weight: Array  # g before
    biomass: Array  # kg/ha before
    deaths: Deaths
    alive: Array  # mean share of the fish alive over the step, and
    weight_alive: Array  # of their weight
    ate_fish: Array  # g per g and day [member, predator group]
    ate_food: Array  # g per g and day [food, member, group]
    pellets: Array | None  # eaten, g per g and day; None where none are given
    fish_eaten: Array  # kg/ha and day [member, predator species, species]
    food_of_predators: Array  # eaten in the step, kg/ha [predator species, food, member]
    food_after: Array  # kg/ha [food, member]
    growth: Array  # per day, in log weight
    free_growth: Array  # the same, had it no daily limits


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

    def add(self, pond: Pond, step: Step) -> None:
        """Add what moves in a step."""
        s, kinds = pond.state, len(SPECIES)
        self.eaten[:, :, :kinds] += step.fish_eaten * step.length
        self.eaten[:, :, kinds:-1] += step.food_of_predators[:, FOODS_OF_PREDATORS].transpose(2, 0, 1)
        if step.pellets is not None:
            self.pellets_given += pond.inputs.pellets_kg_per_ha[pond.day] * step.length
            self.pellets_eaten += total(step.pellets * step.biomass) * step.length
            for eater, groups in enumerate(pond.slices[k] for k in PREDATOR_PLACES):
                self.eaten[:, eater, -1] += total(step.pellets[:, groups] * step.biomass[:, groups]) * step.length
        if "harvest" in step.deaths.rates:
            caught = s.number * step.alive * step.deaths.rates["harvest"][1] * step.length
            kilograms = step.biomass * step.weight_alive * step.deaths.chosen["harvest"][1] * step.length
            for species, groups in enumerate(pond.slices):
                self.harvest_number[:, species] += total(caught[:, groups])
                self.harvest_biomass[:, species] += total(kilograms[:, groups])
        if "release" in step.deaths.rates:
            self.release_deaths += total(s.number * step.alive * step.deaths.rates["release"][1]) * step.length


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
    def of_step(cls, pond: Pond, step: Step) -> Books:
        """The accounts of a step that the pond has not taken yet."""
        s, deaths = pond.state, step.deaths

        def whole(rates: Rates) -> dict[str, Array]:
            return {cause: _whole(where, rate, s.number.shape) for cause, (where, rate) in rates.items()}

        return cls(
            columns=s.columns,
            number=s.number.copy(),
            weight=step.weight,
            rates=whole(deaths.rates),
            weight_rates=whole(deaths.rates | deaths.chosen),
            alive=step.alive,
            weight_alive=step.weight_alive,
            length=step.length,
            ate_fish=step.ate_fish,
            ate_food=step.ate_food,
            ate_pellets=np.zeros_like(step.weight) if step.pellets is None else step.pellets,
            growth=step.growth,
            refused=step.free_growth - step.growth,
            food=s.food.T.copy(),
            food_after=step.food_after.T,
        )


def _whole(where: Where, rate: Array, shape: tuple[int, ...]) -> Array:
    """Rates of one cause at all groups [member, group]."""
    whole = np.zeros(shape)
    whole[where] = rate
    return whole
