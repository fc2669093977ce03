"""Food from the pond itself and pellets: who uses them, how they renew, what is eaten. Nothing here changes the pond.

Food is plankton, benthos, the small animals of the shore (littoral, within reach of small bluegill alone) and algae with
detritus (of which threadfin shad alone live) and snails (which redear alone crush), in the order of `community.FOODS`, kg/ha
[food, …]. Arrays are [member, group] unless said.
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pondpop.arrays import Array, Value, logistic, power, total
from pondpop.model.community import ALGAE, BENTHOS, community, foods_of
from pondpop.model.grid import GRID_MM, GRID_POINTS, GridPlace, lay, read
from pondpop.model.state import Pond, of_foods
from pondpop.scenario import FERTILITIES
from pondpop.species import Parameters, kinds_with, species_with
from pondpop.units import DAYS_PER_YEAR

PELLET_EATERS = species_with("eats pellets")
PREDATOR_SPECIES = species_with("role: predator")

# ---------------------------------------------------------------------- renewal


def light(year_day: ArrayLike, floor: ArrayLike, peak_day: ArrayLike) -> Array:
    """Share of midsummer light, from `floor` to 1, that the pond's plants get on a day of the year.

    floor + (1 − floor)·max(0, cos(2π·(day − peak)/365)) (assumed shape).
    """
    sun = np.maximum(0.0, np.cos(2.0 * np.pi * (np.asarray(year_day) - peak_day) / DAYS_PER_YEAR))
    return np.asarray(floor) + (1.0 - np.asarray(floor)) * sun


def renewal_of_day(p: Parameters, water_c: Array, year_day: ArrayLike) -> Array:
    """Renewal of food at fertility 1, per day [food, day, member]: r · Q10^((T − reference)/10) · light."""
    warmth = p.renewal_q10 ** ((water_c - p.renewal_reference_c) / 10.0)
    warmth_and_light = warmth * light(year_day, p.light_floor, p.light_peak_day)
    return np.asarray(of_foods(p, "renewal_per_day")[:, None, :] * warmth_and_light)


def rich(fertility: Value, saturation: Value) -> Array:
    """Renewal of animal food relative to fertility 1: f·√((1 + s)/(s + f²)), which rises with fertility f and saturates.

    Bluegill ponds of Wudtisin 2003 gained nothing from phosphorus beyond some dose; the shape is ours.
    """
    return np.asarray(fertility * np.sqrt((1.0 + saturation) / (saturation + fertility**2)))


def rich_in_algae(fertility: Value, light_limit: Value) -> Array:
    """Renewal of algae relative to fertility 1: linear in nutrients up to a limit that light sets (assumed shape).

    f / (1 + (f/limit)⁴)^¼.
    """
    return np.asarray(fertility / (1.0 + (fertility / np.asarray(light_limit)) ** 4) ** 0.25)


def richness(p: Parameters, fertility: Array) -> Array:
    """Renewal of each food relative to fertility 1 [food, member] at a fertility [member]."""
    foods = [rich(fertility, p.renewal_saturation)] * len(community(p.kinds).foods)
    if len(foods) > ALGAE:
        foods[ALGAE] = rich_in_algae(fertility, p.algae_light_limit)
    return np.stack(np.broadcast_arrays(*foods))


def richness_with_pellets(pond: Pond, pellets: Array | None, biomass: Array) -> tuple[Array, Array]:
    """Renewal of food relative to fertility 1 [food, member], and that of algae, eaten or not [member].

    Pellets that are not eaten fertilise.
    """
    if pellets is None:
        return pond.richness_of_day, pond.algae_of_day
    p = pond.parameters
    eaten = total(pellets * biomass)
    left = pond.inputs.pellets_kg_per_ha[pond.day] - eaten
    fertility = pond.fertility + p.pellet_fertility_ha_day_per_kg * left
    return richness(p, fertility), rich_in_algae(fertility, p.algae_light_limit)


# ---------------------------------------------------------------------- food of the pond


def food_use(p: Parameters) -> Array:
    """Use of each food by length [food, m, kind, length], in the form that the species' traits say."""
    foods, kinds = len(community(p.kinds).foods), len(p.kinds)
    forms = (_plankton_use, _benthos_use, _littoral_use, _algae_use, _snails_use)[:foods]
    use = np.stack(np.broadcast_arrays(*(form(p, kind) for form in forms for kind in range(kinds))))
    return np.ascontiguousarray(use.reshape(foods, kinds, -1, GRID_POINTS).swapaxes(1, 2))


def _plankton_use(p: Parameters, kind: int) -> Array:
    """Use of plankton by the fish of each length [m or 1, length]: by all, or falling with length to a share or none."""
    form = community(p.kinds).traits(kind).plankton
    if form == "none":
        return np.zeros((1, GRID_POINTS))
    use, until, width, kept = (
        column[:, kind, None]
        for column in (p.plankton_use, p.plankton_use_until_mm, p.plankton_use_width_mm, p.plankton_use_of_large)
    )
    if form == "all sizes":
        return np.asarray(use * np.ones(GRID_POINTS))
    young = logistic((until - GRID_MM) / width)
    return np.asarray(use * young if form == "young" else use * (kept + (1.0 - kept) * young))


def _benthos_use(p: Parameters, kind: int) -> Array:
    """Use of benthos by the fish of each length [m or 1, length]: by all, or by the larger."""
    form, use = community(p.kinds).traits(kind).benthos, p.benthos_use[:, kind, None]
    if form == "none":
        return np.zeros((1, GRID_POINTS))
    if form == "all sizes":
        return np.asarray(use * np.ones(GRID_POINTS))
    begins, width = p.benthos_use_from_mm[:, kind, None], p.benthos_use_from_width_mm[:, kind, None]
    return np.asarray(use * logistic((GRID_MM - begins) / width))


def _littoral_use(p: Parameters, kind: int) -> Array:
    """Use of the small animals of the shore by the fish of each length [m or 1, length]: by the small."""
    if not community(p.kinds).traits(kind).has("feeds by the shore when small"):
        return np.zeros((1, GRID_POINTS))
    until, width = p.littoral_use_until_mm[:, kind, None], p.littoral_use_width_mm[:, kind, None]
    return np.asarray(p.littoral_use[:, kind, None] * logistic((until - GRID_MM) / width))


def _algae_use(p: Parameters, kind: int) -> Array:
    """Use of algae by the fish of each length [m or 1, length]: by all."""
    eats = community(p.kinds).traits(kind).has("eats algae")
    use = p.algae_use[:, kind, None] if eats else np.zeros((1, 1))
    return np.asarray(use * np.ones(GRID_POINTS))


def _snails_use(p: Parameters, kind: int) -> Array:
    """Use of snails by the fish of each length [m or 1, length]: by those long enough to crush them."""
    if not community(p.kinds).traits(kind).has("eats snails"):
        return np.zeros((1, GRID_POINTS))
    begins, width = p.snails_use_from_mm[:, kind, None], p.snails_use_width_mm[:, kind, None]
    return np.asarray(p.snails_use[:, kind, None] * logistic((GRID_MM - begins) / width))


def grazing_exponent(p: Parameters, kind: int) -> Array:
    """Exponent of the benthos left in how much of it the fish of each length meet [m, length]: rises with length from 0."""
    begins, width = p.benthos_grazing_from_mm[:, kind, None], p.benthos_grazing_width_mm[:, kind, None]
    return np.asarray(p.benthos_grazing_exponent[:, kind, None] * logistic((GRID_MM - begins) / width))


def share_of_large(p: Parameters, fertility: Array) -> dict[int, Array]:
    """Benthos that kinds that live on its large animals meet, over what they met were it as in a pond without fertiliser, by
    the place of the kind [member, length], at a fertility [member].

    max(1, fertility / that of a pond without fertiliser)^−e, where e rises with length from 0: fertiliser makes more midges
    and worms, and, as is assumed, hardly more crayfish and large insects, on which grown bass live (the shape is ours).
    """
    beyond = np.maximum(fertility / FERTILITIES["unfertilized"], 1.0)[:, None]
    shares = {}
    for kind in kinds_with("lives on large bottom animals", p.kinds):
        begins, width = p.benthos_fertility_from_mm[:, kind, None], p.benthos_fertility_width_mm[:, kind, None]
        exponent = p.benthos_fertility_exponent[:, kind, None] * logistic((GRID_MM - begins) / width)
        shares[kind] = power(beyond, -exponent)
    return shares


class Meals(NamedTuple):
    """Which kind eats which food at all: pairs of both, those of a kind together, its foods in their order."""

    food: NDArray[np.intp]  # [pair]
    kind: NDArray[np.intp]  # [pair]
    use: Array  # of the food by the kind at each length [pair, m, length]
    of_kind: tuple[slice, ...]  # the pairs of each kind
    place: dict[tuple[int, int], int]  # of the pair of a food and a kind
    grazed: dict[int, Array]  # exponents of the benthos left, by length, of the kinds that find little of it [m, length]
    energy: Array  # of the food, J/g [pair, m or 1, 1]
    of_predators: list[tuple[int, slice]]  # the place of each species of predators that is there, and its pairs

    def over_foods(self, of_pair: Array) -> Array:
        """Sums over the foods of each kind of what is [..., pair, member, length]: [..., member, kind * length]."""
        *several, _, members, points = of_pair.shape
        sums = np.empty((*several, members, len(self.of_kind), points))
        for kind, pairs in enumerate(self.of_kind):
            of_kind = sums[..., kind, :]
            of_kind[...] = of_pair[..., pairs.start, :, :] if pairs.start < pairs.stop else 0.0
            for pair in range(pairs.start + 1, pairs.stop):
                of_kind += of_pair[..., pair, :, :]
        return sums.reshape(*several, members, -1)

    def by_food(self, of_pair: Array) -> Array:
        """What is [pair, member, length], with nothing where a kind does not eat a food [food, member, kind * length]."""
        whole = np.zeros((int(self.food.max()) + 1, of_pair.shape[1], len(self.of_kind), GRID_POINTS))
        for pair, (food, kind) in enumerate(zip(self.food, self.kind, strict=True)):
            whole[food, :, kind] = of_pair[pair]
        return whole.reshape(*whole.shape[:2], -1)


def meals(p: Parameters) -> Meals:
    """What the kinds of a pond eat of its foods."""
    kinds, use = community(p.kinds), food_use(p)
    pairs = [(food, kind) for kind in range(len(kinds)) for food in sorted(foods_of(kinds.traits(kind)))]
    food, kind = (np.array(places, np.intp) for places in zip(*pairs, strict=True))
    ends = np.searchsorted(kind, np.arange(len(kinds) + 1)).tolist()
    of_kind = tuple(slice(a, b) for a, b in pairwise(ends))
    grazed = {k: grazing_exponent(p, k) for k in kinds_with("finds little where benthos is grazed down", p.kinds)}
    place = {pair: place for place, pair in enumerate(pairs)}
    energy = of_foods(p, "energy_j_per_g")[food][:, :, None]
    own = [(k, kinds.of_species[species]) for k, species in enumerate(PREDATOR_SPECIES)]
    of_predators = [(k, of_kind[those.start]) for k, those in own if those.start < those.stop]
    return Meals(food, kind, use[food, :, kind], of_kind, place, grazed, energy, of_predators)


class FoodMet(NamedTuple):
    """Food of the pond that fish meet, as multiples of what half satisfies."""

    place: GridPlace
    field: Array  # of its food at each length of each pair's kind, for fish that forage like the large [pair, member, length]
    smaller: Array  # how many times as well a group forages for being small [member, group]
    all_foods: Array  # together [member, group]


class FoodEaten(NamedTuple):
    """What fish eat of the food of the pond, no more than the pond gives."""

    ate: Array  # g per g and day, of all foods together [member, group], and
    energy: Array  # the J per g and day in it
    after: Array  # food left after the step, kg/ha [food, member]
    of_predators: Array  # what each species of predators ate in the step, kg/ha [predator species, food, member]
    per_met: Array  # eaten of each food, relative to that met by fish that forage like the large [member, group]
    place: GridPlace
    meals: Meals
    given: Array  # food met that the pond gives: as `FoodMet.field`

    def by_food(self) -> Array:
        """Eaten of each food, g per g and day [food, member, group]."""
        return read(self.place, self.meals.by_food(self.given)) * self.per_met


def food_met(pond: Pond, place: GridPlace, weight: Array) -> FoodMet:
    """Food of the pond met, as multiples of what half satisfies.

    use(length) · ease(temperature) · stock / half-saturation, and of bass and bluegill times ((W + W1)/W0)^−e: small
    ones forage better. Of benthos bass meet (stock / capacity)^g times as much: they take the large animals, and what
    fish leave where they graze it down is small (Crowder & Cooper 1982, from memory; the shape is ours); g rises with
    length from 0, as the fry take small animals. Of richer ponds they meet less, see `share_of_large`. What eats algae
    takes animal food first: with a of it and b of algae met it eats the share a/(1 + a) of its appetite, and of what is
    left b/(1 + b); so a counts 1 + b times (threadfin pick out zooplankton and filter algae where it is scarce, from
    memory; the form is ours).
    """
    s, g, eaten = pond.state, pond.group, pond.meals
    ease = s.food[eaten.food]
    ease *= pond.today.food_ease.T[eaten.kind]  # [pair, member]
    left = s.food[BENTHOS] / pond.food_capacity[BENTHOS]
    field = eaten.use * ease[:, :, None]
    for kind, exponent in eaten.grazed.items():
        field[eaten.place[BENTHOS, kind]] *= power(left[:, None], exponent)
    for kind, share in pond.share_of_large.items():
        field[eaten.place[BENTHOS, kind]] *= share
    for kind in kinds_with("eats algae", pond.community.kinds):
        of_algae = eaten.place[ALGAE, kind]
        algae = field[of_algae].copy()
        field[eaten.of_kind[kind]] *= 1.0 + algae
        field[of_algae] = algae
    smaller = weight + g.foraging_size_offset_g
    np.log(smaller, out=smaller)
    smaller -= g.log_foraging_size_reference
    smaller *= -g.foraging_size_exponent
    np.exp(smaller, out=smaller)
    met = read(place, eaten.over_foods(field))
    met *= smaller
    return FoodMet(place, field, smaller, met)


def eat_food(
    pond: Pond, appetite: Array, biomass: Array, met: FoodMet, sated: Array, pellets: Array | None, length: float
) -> FoodEaten:
    """Food of the pond that is eaten, no more than the pond gives. sated is 1 and all food met [member, group].

    One saturating response, appetite · met / (1 + all met), is shared by all food.

    Over a step of t days a food of stock F and capacity K that renews at r a day and is wished for at w kg/ha a day
    becomes (F + r·K·t)/(1 + r·t + w·t/F), a step of F' = r·(K − F) − w that can neither pass K nor fall below 0;
    all wishes are met in the same share. The wish is what all fish eat of what they would: fish are laid on the grid
    and meet the food there, which is the same as to sum over fish what each reads off the grid.
    """
    p, s, eaten = pond.parameters, pond.state, pond.meals
    per_met = appetite / sated
    if pellets is not None:
        for species in PELLET_EATERS:
            groups = pond.slices[species]
            displacement = pond.of("pellet_displacement", species) * pellets[:, groups] / appetite[:, groups]
            per_met[:, groups] *= np.maximum(0.0, 1.0 - displacement)
    per_met *= met.smaller
    wish = met_by(lay(met.place, per_met * biomass), met.field, eaten.kind)
    wished, wish_of_predators = np.zeros(s.food.shape), np.zeros((len(PREDATOR_SPECIES), *s.food.shape))
    np.add.at(wished, eaten.food, wish)
    for k, pairs in eaten.of_predators:
        wish_of_predators[k][eaten.food[pairs]] = wish[pairs]
    renewed = pond.today.renewal * pond.richness
    if length != 1.0:
        renewed *= length
        wished *= length
    left = (s.food + renewed * pond.food_capacity) / (1.0 + renewed + wished / s.food)
    left = np.maximum(left, p.resource_floor_kg_per_ha)
    given = left / s.food
    wish_of_predators *= given
    if length != 1.0:
        wish_of_predators *= length
    gives = np.empty((2, *met.field.shape))  # of each pair its food, and the energy in it
    np.multiply(met.field, given[eaten.food][:, :, None], out=gives[0])
    np.multiply(gives[0], eaten.energy, out=gives[1])
    ate = read(met.place, eaten.over_foods(gives))
    ate *= per_met
    return FoodEaten(ate[0], ate[1], left, wish_of_predators, per_met, met.place, eaten, gives[0])


def met_by(eaters: Array, field: Array, kind: NDArray[np.intp]) -> Array:
    """What eaters [member, kind * length] meet by the field of each pair [pair, member, length], of a kind each: [pair, member].

    Each is the sum over the lengths of one kind.
    """
    of_pair = eaters.reshape(eaters.shape[0], -1, GRID_POINTS).swapaxes(0, 1)[kind]
    return np.asarray(np.einsum("pml,pml->pm", field, of_pair, order="C"))


# ---------------------------------------------------------------------- pellets


def eat_pellets(pond: Pond, appetite: Array, biomass: Array, sated: Array) -> Array | None:
    """Pellets eaten, g per g and day [member, group]; None where none are given.

    access · (target − ration met elsewhere) · appetite, in warm water, by fish long enough; all in the same share
    where less is given. sated is 1 and all food met [member, group].
    """
    if not pond.by_day.fed[pond.day]:
        return None
    given = pond.inputs.pellets_kg_per_ha[pond.day]
    wish = np.zeros_like(biomass)
    for species in PELLET_EATERS:
        groups = pond.slices[species]
        warm = pond.by_day.water_c[:, pond.day, None] > pond.of("pellets_above_c", species)
        ration = 1.0 - 1.0 / sated[:, groups]
        room = np.maximum(0.0, pond.of("pellet_ration_target", species) - ration)
        here = pond.of("pellet_access", species) * room * appetite[:, groups] * warm
        wish[:, groups] = here * pond.weight_longer(groups, pond.of("pellets_from_mm", species))
    wanted = total(wish * biomass)
    reached = given * (1.0 - pond.parameters.pellet_waste_share)
    return wish * np.minimum(1.0, reached / np.maximum(wanted, 1e-300))[:, None]
