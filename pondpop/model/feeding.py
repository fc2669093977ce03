"""Food from the pond itself and pellets: who uses them, how they renew, what is eaten. Nothing here changes the pond.

Food is plankton, benthos, the small animals of the shore (littoral, within reach of small bluegill alone) and algae with
detritus (of which threadfin shad alone live), in the order of `state.FOODS`, kg/ha [food, …]. Arrays are [member, group]
unless said.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pondpop.arrays import Array, Value, logistic, total, totals
from pondpop.model.grid import GRID_MM, GRID_POINTS, GridPlace, read
from pondpop.model.state import BENTHOS, FOODS, Pond, of_foods
from pondpop.species import KINDS, SPECIES, SPECIES_OF_KIND, TRAITS, Parameters, Species, species_with

SMALL_BETTER, PELLET_EATERS = species_with("forages better when small"), species_with("eats pellets")
TAKES_LARGE_BENTHOS = species_with("finds little where benthos is grazed down")
PREDATOR_SPECIES = species_with("role: predator")

# ---------------------------------------------------------------------- renewal


def light(year_day: ArrayLike, floor: ArrayLike, peak_day: ArrayLike) -> Array:
    """Share of midsummer light, from `floor` to 1, that the pond's plants get on a day of the year.

    floor + (1 − floor)·max(0, cos(2π·(day − peak)/365)) (assumed shape).
    """
    sun = np.maximum(0.0, np.cos(2.0 * np.pi * (np.asarray(year_day) - peak_day) / 365.0))
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
    animal = rich(fertility, p.renewal_saturation)
    return np.stack(np.broadcast_arrays(animal, animal, animal, rich_in_algae(fertility, p.algae_light_limit)))


def richness_with_pellets(pond: Pond, pellets: Array | None, biomass: Array) -> Array:
    """Renewal of food relative to fertility 1 [food, member]; pellets that are not eaten fertilise."""
    if pellets is None:
        return pond.richness_of_day
    p = pond.parameters
    eaten = total(pellets * biomass)
    left = pond.inputs.pellets_kg_per_ha[pond.day] - eaten
    return richness(p, pond.fertility + p.pellet_fertility_ha_day_per_kg * left)


# ---------------------------------------------------------------------- food of the pond


def food_use(p: Parameters) -> Array:
    """Use of each food by length [food, m, kind, length], in the form that the species' traits say."""
    forms = (_plankton_use, _benthos_use, _littoral_use, _algae_use)
    use = np.stack(np.broadcast_arrays(*(form(p, kind) for form in forms for kind in range(len(KINDS)))))
    return np.ascontiguousarray(use.reshape(len(FOODS), len(KINDS), -1, GRID_POINTS).swapaxes(1, 2))


def _traits(kind: int) -> Species:
    return TRAITS[SPECIES[SPECIES_OF_KIND[kind]]]


def _plankton_use(p: Parameters, kind: int) -> Array:
    """Use of plankton by the fish of each length [m or 1, length]: by all, or falling with length to a share or none."""
    form = _traits(kind).plankton
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
    form, use = _traits(kind).benthos, p.benthos_use[:, kind, None]
    if form == "none":
        return np.zeros((1, GRID_POINTS))
    if form == "all sizes":
        return np.asarray(use * np.ones(GRID_POINTS))
    begins, width = p.benthos_use_from_mm[:, kind, None], p.benthos_use_from_width_mm[:, kind, None]
    return np.asarray(use * logistic((GRID_MM - begins) / width))


def _littoral_use(p: Parameters, kind: int) -> Array:
    """Use of the small animals of the shore by the fish of each length [m or 1, length]: by the small."""
    if not _traits(kind).has("feeds by the shore when small"):
        return np.zeros((1, GRID_POINTS))
    until, width = p.littoral_use_until_mm[:, kind, None], p.littoral_use_width_mm[:, kind, None]
    return np.asarray(p.littoral_use[:, kind, None] * logistic((until - GRID_MM) / width))


def _algae_use(p: Parameters, kind: int) -> Array:
    """Use of algae by the fish of each length [m or 1, length]: by all."""
    use = p.algae_use[:, kind, None] if _traits(kind).has("eats algae") else np.zeros((1, 1))
    return np.asarray(use * np.ones(GRID_POINTS))


def food_met(pond: Pond, place: GridPlace, weight: Array) -> Array:
    """Food of the pond met, as multiples of what half satisfies: [food, member, group].

    use(length) · ease(temperature) · stock / half-saturation, and of bass and bluegill times ((W + W1)/W0)^−e: small
    ones forage better. Of benthos bass meet (stock / capacity)^g times as much: they take the large animals, and what
    fish leave where they graze it down is small (Crowder & Cooper 1982, from memory; the shape is ours).
    """
    s = pond.state
    ease = s.food[:, :, None] * pond.today.food_ease
    field = pond.food_use * ease[:, :, :, None]
    met = read(place, field.reshape(len(FOODS), s.members, -1))
    for species in SMALL_BETTER:
        groups = pond.slices[species]
        small_forage_better = weight[:, groups] + pond.of("foraging_size_offset_g", species)
        np.log(small_forage_better, out=small_forage_better)
        small_forage_better -= np.log(pond.of("foraging_size_reference_g", species))
        small_forage_better *= -pond.of("foraging_size_exponent", species)
        np.exp(small_forage_better, out=small_forage_better)
        met[:, :, groups] *= small_forage_better
    for species in TAKES_LARGE_BENTHOS:
        left = s.food[BENTHOS] / pond.food_capacity[BENTHOS]
        met[BENTHOS, :, pond.slices[species]] *= left[:, None] ** pond.of("benthos_grazing_exponent", species)
    return met


def eat_food(
    pond: Pond, appetite: Array, biomass: Array, food_met: Array, sated: Array, pellets: Array | None, length: float
) -> tuple[Array, Array, Array]:
    """Food of the pond eaten, g per g and day, no more than the pond gave [food, member, group].

    Also what is left of them [food, member], and what each species of predators ate of them in the step
    [predator, food, member], both kg/ha. sated is 1 and all food met: one saturating response,
    appetite · met / (1 + all met), is shared by all food.

    Over a step of t days a food of stock F and capacity K that renews at r a day and is wished for at w kg/ha a day
    becomes (F + r·K·t)/(1 + r·t + w·t/F), a step of F' = r·(K − F) − w that can neither pass K nor fall below 0;
    all wishes are met in the same share.
    """
    p, s = pond.parameters, pond.state
    per_met = appetite / sated
    if pellets is not None:
        for species in PELLET_EATERS:
            groups = pond.slices[species]
            displacement = pond.of("pellet_displacement", species) * pellets[:, groups] / appetite[:, groups]
            per_met[:, groups] *= np.maximum(0.0, 1.0 - displacement)
    ate = food_met * per_met
    wish_of_predators, wished = totals(ate * biomass, [pond.slices[k] for k in PREDATOR_SPECIES])
    renewed = pond.today.renewal * pond.richness * length
    left = (s.food + renewed * pond.food_capacity) / (1.0 + renewed + wished * length / s.food)
    left = np.maximum(left, p.resource_floor_kg_per_ha)
    given = left / s.food
    ate *= given[:, :, None]
    return ate, left, wish_of_predators * given * length


# ---------------------------------------------------------------------- pellets


def eat_pellets(pond: Pond, appetite: Array, biomass: Array, sated: Array) -> Array | None:
    """Pellets eaten, g per g and day [member, group]; None where none are given.

    access · (target − ration met elsewhere) · appetite, in warm water, by fish long enough; all in the same share
    where less is given. sated is 1 and all food met [member, group].
    """
    given = pond.inputs.pellets_kg_per_ha[pond.day]
    if given == 0.0:
        return None
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
