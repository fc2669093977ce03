"""What the fish of a pond meet and eat in a step: bass hunting fish, food from the pond itself, pellets.

Nothing here changes the pond. Arrays are [member, group] unless said; the grid of lengths is that of `feeding`.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pondpop.model import feeding
from pondpop.model.feeding import GridPlace
from pondpop.model.pond import Pond, of_species, total, totals
from pondpop.species import BASS, BLUEGILL, SHAD, SPECIES

Array = NDArray[np.float64]


OF_SHAD = slice(SHAD * feeding.GRID_POINTS, (SHAD + 1) * feeding.GRID_POINTS)  # of a grid of all species


class Naive(NamedTuple):
    """Hatchery fish that are not wary yet, and how easily they are caught relative to a wary fish."""

    groups: NDArray[np.intp]  # columns in which some member has such fish
    ease: Array  # [member, those groups]

    def times(self, amount: Array) -> Array:
        """Amount [member, group] times ease of catching."""
        if not self.groups.size:
            return amount
        eased = amount.copy()
        eased[:, self.groups] *= self.ease
        return eased


class Hunt(NamedTuple):
    """How bass and their prey met in a step."""

    at_length: GridPlace  # where the bass stand on a grid of lengths
    naive: Naive
    out_of_cover: Array  # [member, species * length], share of the prey that bass can find, relative to many shad
    fish_met: Array  # [member, bass group], as multiples of what half satisfies
    hunting: Array  # [member, bass group], area searched while not handling food, ha per day and kg
    taken: Array  # [member, species * length], predation of wary prey per day
    predation: Array  # [member, group], predation per day


def food_met(pond: Pond, place: GridPlace, weight: Array) -> Array:
    """Plankton and benthos met, as multiples of what half satisfies: [food, member, group]."""
    p, s, bluegill = pond.parameters, pond.state, pond.slices[BLUEGILL]
    ease = s.food[:, :, None] * pond.by_day.food_ease[pond.day]
    field = pond.tables.food_use * ease[:, :, :, None]
    met = feeding.read(place, field.reshape(2, s.members, -1))
    small_forage_better = weight[:, bluegill] + of_species(p.foraging_size_offset_g, BLUEGILL)
    np.log(small_forage_better, out=small_forage_better)
    small_forage_better -= np.log(of_species(p.foraging_size_reference_g, BLUEGILL))
    small_forage_better *= -of_species(p.foraging_size_exponent, BLUEGILL)
    np.exp(small_forage_better, out=small_forage_better)
    met[:, :, bluegill] *= small_forage_better
    return met


def hunt(pond: Pond, place: GridPlace, biomass: Array, max_intake: Array, sated: Array) -> Hunt:
    """Bass look for fish: first as if no prey hid, then for the prey that is out of cover.

    After the foraging arena of Walters & Juanes 1993 (from memory): prey leave cover at a limited rate, so that
    bass compete for what is out. sated is 1 and the other food met [member, group].
    """
    bass, kernel = pond.slices[BASS], pond.tables.catching
    hunters, at_length = biomass[:, bass], place.of_species(bass, pond.first_of_bass)
    naive = _naive(pond)
    if not hunters.shape[1]:
        nothing, nowhere = np.zeros_like(hunters), np.zeros((hunters.shape[0], place.points))
        return Hunt(at_length, naive, nowhere, nothing, nothing, nowhere, np.zeros_like(biomass))
    found = _shad_found(pond, biomass)
    offered = feeding.lay(place, naive.times(biomass))
    offered[:, OF_SHAD] *= found
    search = _search_area(pond, at_length, hunters)
    per_intake = search / max_intake[:, bass]

    def hunted_by(out_of_cover: Array) -> tuple[Array, Array, Array]:
        fish_met = feeding.read(at_length, feeding.prey_within_reach(out_of_cover, kernel))
        fish_met *= per_intake
        hunting = search / (sated[:, bass] + fish_met)
        load = feeding.lay(at_length, hunters * hunting)
        hunted = feeding.search_upon_prey(load, kernel)
        hunted[:, OF_SHAD] *= found
        return fish_met, hunting, hunted

    _, _, hunted = hunted_by(offered)
    hunted += pond.tables.leaving_cover
    exposed = pond.tables.leaving_cover / hunted
    offered *= exposed
    fish_met, hunting, hunted = hunted_by(offered)
    taken = np.multiply(exposed, hunted, out=hunted)
    exposed[:, OF_SHAD] *= found
    return Hunt(
        at_length=at_length,
        naive=naive,
        out_of_cover=exposed,
        fish_met=fish_met,
        hunting=hunting,
        taken=taken,
        predation=naive.times(feeding.read(place, taken)),
    )


def _shad_found(pond: Pond, biomass: Array) -> Array:
    """Ease of finding shad relative to many of them: few are hard to find [member, 1]."""
    shad = total(biomass[:, pond.slices[SHAD]]) ** 2
    return (shad / (shad + pond.parameters.exposure_half_saturation_kg_per_ha[:, SHAD] ** 2))[:, None]


def _naive(pond: Pond) -> Naive:
    """How much more easily hatchery fish are caught in their first weeks, until they are as wary as wild fish."""
    p = pond.parameters
    if pond.day - pond.last_stocked > pond.wary_from_day:
        return Naive(np.empty(0, np.intp), np.empty((1, 0)))
    groups = np.flatnonzero(pond.day - pond.last_stocked_of <= pond.wary_from_day)
    since = pond.day - pond.state.columns.stocked[:, groups]
    return Naive(groups, 1.0 + p.naive_ease[:, None] * np.exp(-since / p.naive_days[:, None]))


def _search_area(pond: Pond, at_length: GridPlace, biomass: Array) -> Array:
    """Area that bass search, ha per day and kg of bass [member, bass group].

    Nearly the same for a fish of any size; fast growers search more. Bass get into one another's way (interference
    after Beddington 1975 and DeAngelis et al. 1975, from memory), and the smaller gives way to the larger.
    """
    p, groups = pond.parameters, pond.slices[BASS]
    large = feeding.lay(at_length, biomass * pond.longer(groups, p.interference_from_mm[:, BASS]))
    in_the_way = feeding.prey_within_reach(large, pond.tables.gives_way)
    crowding = 1.0 + of_species(p.interference_ha_per_kg, BASS) * in_the_way
    area = pond.state.log_weight[:, groups] * -of_species(p.search_area_exponent, BASS)
    area += pond.group.log_search_at_1_g[:, groups]
    np.exp(area, out=area)
    area *= feeding.read(at_length, pond.by_day.bass_search[pond.day][:, None] / crowding)
    return area


def eat_pellets(pond: Pond, max_intake: Array, biomass: Array, sated: Array) -> Array | None:
    """Pellets that bluegill eat, g per g and day [member, bluegill group]; None where none are given.

    sated is 1 and all food met [member, group].
    """
    p, groups = pond.parameters, pond.slices[BLUEGILL]
    given = pond.inputs.pellets_kg_per_ha[pond.day]
    if given == 0.0:
        return None
    warm = pond.by_day.water_c[:, pond.day] > p.pellets_above_c[:, BLUEGILL]
    ration = 1.0 - 1.0 / sated[:, groups]
    room = np.maximum(0.0, of_species(p.pellet_ration_target, BLUEGILL) - ration)
    appetite = of_species(p.pellet_access, BLUEGILL) * room * max_intake[:, groups] * warm[:, None]
    appetite = appetite * pond.longer(groups, p.pellets_from_mm[:, BLUEGILL])
    wanted = total(appetite * biomass[:, groups])
    reached = given * (1.0 - p.pellet_waste_share)
    return appetite * np.minimum(1.0, reached / np.maximum(wanted, 1e-300))[:, None]


def eat_food(
    pond: Pond, max_intake: Array, biomass: Array, food_met: Array, sated: Array, pellets: Array | None, length: float
) -> tuple[Array, Array, Array]:
    """Plankton and benthos eaten, g per g and day, no more than the pond gave [food, member, group].

    Also what is left of them, and what bass ate of them in the step, both kg/ha [food, member]. sated is 1 and all
    food met: one saturating response is shared by all food.
    """
    p, s, bass, bluegill = pond.parameters, pond.state, pond.slices[BASS], pond.slices[BLUEGILL]
    appetite = max_intake / sated
    if pellets is not None:
        displacement = of_species(p.pellet_displacement, BLUEGILL) * pellets / max_intake[:, bluegill]
        appetite[:, bluegill] *= np.maximum(0.0, 1.0 - displacement)
    ate = food_met * appetite
    wish_of_bass, wished = totals(ate * biomass, bass)
    renewed = pond.by_day.renewal[:, pond.day] * pond.richness * length
    left = (s.food + renewed * pond.food_capacity) / (1.0 + renewed + wished * length / s.food)
    left = np.maximum(left, p.resource_floor_kg_per_ha)
    given = left / s.food
    ate *= given[:, :, None]
    return ate, left, wish_of_bass * given * length


def richness(pond: Pond, pellets: Array | None, biomass: Array) -> Array:
    """Renewal of food relative to fertility 1 [member]; pellets that are not eaten fertilise."""
    if pellets is None:
        return pond.richness_of_year
    p = pond.parameters
    eaten = total(pellets * biomass[:, pond.slices[BLUEGILL]])
    left = pond.inputs.pellets_kg_per_ha[pond.day] - eaten
    return feeding.richness(pond.fertility + p.pellet_fertility_ha_day_per_kg * left, p.renewal_saturation)


def eat_fish(pond: Pond, place: GridPlace, hunt: Hunt, biomass_alive: Array) -> tuple[Array, Array]:
    """Fish that bass ate: g per g and day [member, bass group], and kg/ha and day by prey species [member, species].

    The prey is laid on the grid as it was alive over the step, so that what is eaten is what died of predation.
    """
    members = pond.state.members
    if not hunt.hunting.shape[1]:
        return np.zeros_like(hunt.hunting), np.zeros((members, len(SPECIES)))
    there = feeding.lay(place, hunt.naive.times(biomass_alive))
    within_reach = feeding.prey_within_reach(there * hunt.out_of_cover, pond.tables.catching)
    ate = feeding.read(hunt.at_length, within_reach)
    ate *= hunt.hunting
    by_species = (there * hunt.taken).reshape(members, len(SPECIES), feeding.GRID_POINTS)
    return ate, by_species.sum(axis=2)


def egg_predators(pond: Pond) -> Array:
    """Bluegill of a size and hunger to eat bass eggs, kg/ha [member]."""
    p, s, groups = pond.parameters, pond.state, pond.slices[BLUEGILL]
    inside = pond.longer(groups, p.egg_predator_min_mm) - pond.longer(groups, p.egg_predator_max_mm)
    hunger = 2.0 * np.maximum(p.egg_predator_hunger_floor[:, None], 1.0 - s.ration[:, groups])
    kilograms = s.number[:, groups] * np.exp(s.log_weight[:, groups]) / 1000.0
    return total(kilograms * inside * hunger ** p.egg_predator_hunger_exponent[:, None])
