"""The accounts of what moves in a pond: flows of a day, and the books of one step.

Nothing here changes the pond. A flow is one line of `Flows`: by that it is summed over months or years and stands in the
Dataset.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, NamedTuple, get_type_hints

import numpy as np
from numpy.typing import NDArray

from pondpop.arrays import Array, Variable, names_axis, total
from pondpop.model.community import FOODS, foods_of
from pondpop.model.feeding import FoodEaten
from pondpop.model.mortality import EVERY, Deaths, Rates, Where
from pondpop.model.oxygen import KILLERS
from pondpop.model.state import Columns, Pond
from pondpop.model.whole_fish import Whole
from pondpop.species import SPECIES, TRAITS, species_with
from pondpop.units import G_PER_KG

PREDATOR_PLACES = species_with("role: predator")
PREDATORS = tuple(SPECIES[k] for k in PREDATOR_PLACES)
FOODS_OF_PREDATORS = sorted(set().union(*(foods_of(TRAITS[name]) for name in PREDATORS)))
PREY = (*SPECIES, *(FOODS[food] for food in FOODS_OF_PREDATORS), "pellets")
CAUSES = (
    "predation", "background", "fry", "cold", "old_age", "crowding", "starvation", "oxygen", "hauling", "harvest", "release",
    "removal", "die_off", "last_few",
)  # fmt: skip
"""Of what fish die, or go: by the names of `mortality`, of nights short of oxygen, of the move by truck (`hauling`), in one-off
removals, and as the last few of a group."""

AXES = {
    "species": names_axis(SPECIES, "species"),
    "predator": names_axis(PREDATORS, "species that eats fish"),
    "prey": names_axis(PREY, "food of predators"),
    "cause": names_axis(
        CAUSES, "cause of death; harvest, removal and die_off by the scenario's rules and events, last_few: too few to follow"
    ),
    "killer": names_axis(KILLERS, "what a night short of oxygen is put down to"),
}
"""What flows are told apart by."""


class Step(NamedTuple):
    """What happens in one step, before the pond has taken it; arrays are [member, group] unless said."""

    length: float  # days
    weight: Array  # g before
    biomass: Array  # kg/ha before
    deaths: Deaths
    alive: Array  # mean share of the fish alive over the step, and
    weight_alive: Array  # of their weight
    biomass_alive: Array  # mean weight alive over the step, kg/ha
    gain: Array  # in log weight
    weight_left: Array  # share of their weight left after the step, before they grow
    sated: Array  # 1 and all food met, as multiples of what half satisfies
    ate_fish: Array  # g per g and day [member, predator group]
    food: FoodEaten
    pellets: Array | None  # eaten, g per g and day; None where none are given
    fish_eaten: Array  # kg/ha and day [member, predator species, species]
    growth: Array  # per day, in log weight
    free_growth: Array  # the same, had it no daily limits
    whole: Whole | None = None  # what luck makes of the deaths, where there is luck of whole fish


KG, FISH = "kg ha-1", "ha-1"


@dataclass
class Flows:
    """What moved in some time, per ha: arrays [member, …], the time first over which the Dataset has them summed, then the axes.

    Of each species: fish there were + stocked + born − deaths of all causes = fish there are; and the same of weight,
    with what the living gained (or lost, in a hungry time) and less what spawning cost them. Where fish are whole, so are
    their deaths of each cause, and the gain of the living includes by how much their mean weight moves with who dies.
    """

    eaten: Annotated[Array, Variable(("month", "predator", "prey"), KG, "what predators ate in the month")]
    pellets_given: Annotated[Array, Variable(("month",), KG, "pellets given in the month")]
    pellets_eaten: Annotated[Array, Variable(("month",), KG, "pellets eaten in the month")]
    suffocated_number: Annotated[Array, Variable(
        ("month", "species", "killer"), FISH, "fish that died of want of oxygen, by what it is put down to"
    )]
    suffocated_biomass: Annotated[Array, Variable(
        ("month", "species", "killer"), KG, "weight of fish that died of want of oxygen"
    )]
    aeration_kwh: Annotated[Array, Variable(("month",), "kWh ha-1", "electricity that aerators took in the month")]
    stocked_number: Annotated[Array, Variable(
        ("year", "species"), FISH, "fish stocked (of a move without a truck told, the survivors) or come in"
    )]
    stocked_biomass: Annotated[Array, Variable(("year", "species"), KG, "weight of the fish stocked or come in")]
    born_number: Annotated[Array, Variable(("year", "species"), FISH, "young that came of spawning in the pond")]
    born_biomass: Annotated[Array, Variable(("year", "species"), KG, "weight of young that came of spawning in the pond")]
    deaths_number: Annotated[Array, Variable(
        ("year", "species", "cause"), FISH, "fish that died or were taken, by cause"
    )]
    deaths_biomass: Annotated[Array, Variable(
        ("year", "species", "cause"), KG, "weight of fish that died or were taken, by cause"
    )]
    growth_biomass: Annotated[Array, Variable(
        ("year", "species"), KG, "weight gained by the living, less what hunger cost them"
    )]
    spawning_biomass: Annotated[Array, Variable(("year", "species"), KG, "weight that spawners lost")]

    @classmethod
    def zero(cls, members: int) -> Flows:
        shapes = (tuple(AXES[axis].labels.size for axis in OWN_FLOWS[name].dims[1:]) for name in cls.__dataclass_fields__)
        return cls(*(np.zeros((members, *shape)) for shape in shapes))

    @property
    def harvest_number(self) -> Array:
        """Fish harvested [member, species], a view."""
        return self.deaths_number[..., CAUSES.index("harvest")]

    @property
    def harvest_biomass(self) -> Array:
        """Weight harvested in kg [member, species], a view."""
        return self.deaths_biomass[..., CAUSES.index("harvest")]

    @property
    def removed_number(self) -> Array:
        """Fish taken out at once [member, species], a view."""
        return self.deaths_number[..., CAUSES.index("removal")]

    @property
    def removed_biomass(self) -> Array:
        """Weight taken out at once in kg [member, species], a view."""
        return self.deaths_biomass[..., CAUSES.index("removal")]

    @property
    def release_deaths(self) -> Array:
        """Fish that died after release [member]."""
        return np.asarray(self.deaths_number[..., CAUSES.index("release")].sum(axis=1))

    def include(self, other: Flows) -> None:
        """Add what moved in another time."""
        for name in self.__dataclass_fields__:
            getattr(self, name)[...] += getattr(other, name)

    def add(self, pond: Pond, step: Step) -> None:
        """Add what moves in a step, but for growth and deaths, which a `Ledger` adds."""
        kinds, length = len(SPECIES), step.length
        self.eaten[:, :, :kinds] += step.fish_eaten if length == 1.0 else step.fish_eaten * length
        self.eaten[:, :, kinds:-1] += step.food.of_predators[:, FOODS_OF_PREDATORS].transpose(2, 0, 1)
        if step.pellets is not None:
            self.pellets_given += pond.inputs.pellets_kg_per_ha[pond.day] * length
            self.pellets_eaten += total(step.pellets * step.biomass) * length
            for eater, groups in enumerate(pond.slices[k] for k in PREDATOR_PLACES):
                self.eaten[:, eater, -1] += total(step.pellets[:, groups] * step.biomass[:, groups]) * length

    def suffocated(self, pond: Pond, fish: Array, killer: NDArray[np.intp]) -> None:
        """Add fish that a night kills [member, group], and what it was put down to [member]."""
        kilograms = pond.state.kilograms(fish)
        member = np.arange(killer.size)
        for species, groups in enumerate(pond.slices):
            self.gone(species, "oxygen", fish[:, groups], kilograms[:, groups])
            self.suffocated_number[member, species, killer] += total(fish[:, groups])
            self.suffocated_biomass[member, species, killer] += total(kilograms[:, groups])

    def gone(self, species: int, cause: str, fish: Array, kilograms: Array) -> None:
        """Add fish of some groups of a species [member, group] that are gone at once, and their weight in kg."""
        self.deaths_number[:, species, CAUSES.index(cause)] += total(fish)
        self.deaths_biomass[:, species, CAUSES.index(cause)] += total(kilograms)

    def come(self, columns: Columns, fish: Array, log_weight: Array) -> None:
        """Add new groups of one species and origin [member, group] that were stocked, or born in the pond."""
        species, stocked = int(columns.species[0]), columns.origin[0, 0] >= 0
        number, biomass = (
            (self.stocked_number, self.stocked_biomass) if stocked else (self.born_number, self.born_biomass)
        )
        number[:, species] += total(fish)
        biomass[:, species] += total(fish * np.exp(log_weight) / G_PER_KG)


OWN_FLOWS: dict[str, Variable] = {
    name: told.__metadata__[0] for name, told in get_type_hints(Flows, include_extras=True).items()
}
FLOWS: dict[str, Variable] = OWN_FLOWS | {
    "harvest_number": Variable(("month", "species"), FISH, "fish harvested in the month"),
    "harvest_biomass": Variable(("month", "species"), KG, "weight harvested in the month"),
    "removed_number": Variable(("month", "species"), FISH, "fish taken out in one-off removals"),
    "removed_biomass": Variable(("month", "species"), KG, "weight taken out in one-off removals"),
    "release_deaths": Variable(("month",), FISH, "fish that died after release"),
}
"""All that the Dataset holds of flows: each of `Flows`, and what is read off deaths by cause month by month."""


class Ledger:
    """Growth and deaths group by group, [member, group], until they are summed over groups into flows.

    Sums over groups cost more than all that is summed; so they are made once for many days.
    """

    def __init__(self) -> None:
        self.grew: Array | None = None
        self.gone: dict[str, tuple[Array, Array]] = {}  # fish and kg by cause

    def add(self, pond: Pond, step: Step) -> None:
        """Add what grew and died in a step."""
        deaths, length = step.deaths, step.length
        fish, kilograms = pond.state.number * step.alive, step.biomass_alive
        if length != 1.0:
            fish, kilograms = fish * length, kilograms * length
        grew = np.expm1(step.gain)
        grew *= step.weight_left
        grew *= step.biomass
        if step.whole is not None:
            gone = np.add.reduce([weight for _, weight in step.whole.dead.values()])
            grew = np.where(step.whole.few, step.whole.biomass - step.biomass + gone, grew)
        if self.grew is None:
            self.grew = grew
        else:
            self.grew += grew
        for cause, (where, rate) in deaths.rates.items():
            name = cause.partition(" of ")[0]  # "fry of bass" is of the cause "fry"
            if step.whole is not None:
                self.add_gone(pond, EVERY, name, *step.whole.dead[cause])
                continue
            per_gram = deaths.chosen.get(cause, (where, rate))[1]
            there = (fish, kilograms) if where is EVERY else (fish[where], kilograms[where])
            self.add_gone(pond, where, name, there[0] * rate, there[1] * per_gram)

    def add_gone(self, pond: Pond, where: Where, cause: str, fish: Array, kilograms: Array) -> None:
        """Add fish of the groups at some places of [member, group] that are gone, and their weight in kg."""
        if cause in self.gone:
            whole, whole_kilograms = self.gone[cause]
            if where is EVERY:
                whole += fish
                whole_kilograms += kilograms
            else:
                whole[where] += fish
                whole_kilograms[where] += kilograms
        elif where is EVERY:
            self.gone[cause] = fish, kilograms
        else:
            self.gone[cause] = _whole(where, fish, pond.state.number.shape), _whole(where, kilograms, pond.state.number.shape)

    def make_whole(self, pond: Pond, number: Array, flows: Flows) -> None:
        """Add what makes whole fish of parts of them, number [member, group]: more with the born, less with the last few."""
        more = number - pond.state.number
        kilograms = pond.state.kilograms(more)
        for species, groups in enumerate(pond.slices):
            flows.born_number[:, species] += total(np.maximum(more[:, groups], 0.0))
            flows.born_biomass[:, species] += total(np.maximum(kilograms[:, groups], 0.0))
        self.add_gone(pond, EVERY, "last_few", np.maximum(-more, 0.0), np.maximum(-kilograms, 0.0))

    def make_room(self, at: int, count: int) -> None:
        """Be ready for so many groups more, which stand from a column on."""

        def wider(amount: Array) -> Array:
            return np.concatenate([amount[:, :at], np.zeros((amount.shape[0], count)), amount[:, at:]], axis=1)

        if self.grew is not None:
            self.grew = wider(self.grew)
        self.gone = {cause: (wider(fish), wider(kilograms)) for cause, (fish, kilograms) in self.gone.items()}

    def cast_up(self, pond: Pond, flows: Flows) -> None:
        """Add it to flows, summed over the groups of each species in their order, and begin anew."""
        rows, places = [], []
        if self.grew is not None:
            rows, places = [self.grew], [flows.growth_biomass]
        for cause, amounts in self.gone.items():
            rows += amounts
            places += [deaths[..., CAUSES.index(cause)] for deaths in (flows.deaths_number, flows.deaths_biomass)]
        self.grew, self.gone = None, {}
        if not rows:
            return
        members, groups_there = rows[0].shape
        by_group = np.stack(rows).reshape(len(rows) * members, groups_there).T.copy()  # for sums row after row
        for species, groups in enumerate(pond.slices):
            of_species = np.add.reduce(by_group[groups], axis=0).reshape(len(rows), members)
            for place, amount in zip(places, of_species, strict=True):
                place[:, species] += amount


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
    searching: Array  # share of their time that fish look for food, as far as oxygen lets them
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
            searching=pond.of_groups(pond.today.intake / pond.by_day.of(pond.day).intake) / step.sated,
            ate_fish=step.ate_fish,
            ate_food=step.food.by_food(),
            ate_pellets=np.zeros_like(step.weight) if step.pellets is None else step.pellets,
            growth=step.growth,
            refused=step.free_growth - step.growth,
            food=s.food.T.copy(),
            food_after=step.food.after.T,
        )


def _whole(where: Where, rate: Array, shape: tuple[int, ...]) -> Array:
    """Rates of one cause at all groups [member, group]."""
    whole = np.zeros(shape)
    whole[where] = rate
    return whole
