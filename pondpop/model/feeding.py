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
from pondpop.model.state import FOODS, Pond, of_foods, of_species
from pondpop.species import BASS, BLUEGILL, MINNOW, SHAD, SPECIES, Parameters

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
        return pond.richness_of_year
    p = pond.parameters
    eaten = total(pellets * biomass[:, pond.slices[BLUEGILL]])
    left = pond.inputs.pellets_kg_per_ha[pond.day] - eaten
    return richness(p, pond.fertility + p.pellet_fertility_ha_day_per_kg * left)


# ---------------------------------------------------------------------- food of the pond


def food_use(p: Parameters) -> Array:
    """Use of each food by length [food, m, species, length]: plankton by the small, benthos by the larger."""

    def young(species: int) -> Array:
        until, width = p.plankton_use_until_mm[:, species, None], p.plankton_use_width_mm[:, species, None]
        return logistic((until - GRID_MM) / width)

    def shared(name: str, species: int) -> Array:
        return np.asarray(getattr(p, name)[:, species, None])

    kept = shared("plankton_use_of_large", BLUEGILL)
    plankton = (
        shared("plankton_use", BASS) * young(BASS),
        shared("plankton_use", BLUEGILL) * (kept + (1.0 - kept) * young(BLUEGILL)),
        shared("plankton_use", SHAD),
        shared("plankton_use", MINNOW),
    )
    begins, width = shared("benthos_use_from_mm", BLUEGILL), shared("benthos_use_from_width_mm", BLUEGILL)
    none = np.zeros((1, 1))
    benthos = (
        shared("benthos_use", BASS),
        shared("benthos_use", BLUEGILL) * logistic((GRID_MM - begins) / width),
        none,
        shared("benthos_use", MINNOW),
    )
    until, width = shared("littoral_use_until_mm", BLUEGILL), shared("littoral_use_width_mm", BLUEGILL)
    littoral = (none, shared("littoral_use", BLUEGILL) * logistic((until - GRID_MM) / width), none, none)
    algae = (none, none, shared("algae_use", SHAD), none)
    use = np.stack(np.broadcast_arrays(*plankton, *benthos, *littoral, *algae))  # [food * species, m, length]
    return np.ascontiguousarray(use.reshape(len(FOODS), len(SPECIES), -1, GRID_POINTS).swapaxes(1, 2))


def food_met(pond: Pond, place: GridPlace, weight: Array) -> Array:
    """Food of the pond met, as multiples of what half satisfies: [food, member, group].

    use(length) · ease(temperature) · stock / half-saturation, and of bass and bluegill times ((W + W1)/W0)^−e: small
    ones forage better.
    """
    p, s = pond.parameters, pond.state
    ease = s.food[:, :, None] * pond.by_day.food_ease[pond.day]
    field = pond.food_use * ease[:, :, :, None]
    met = read(place, field.reshape(len(FOODS), s.members, -1))
    for species in (BASS, BLUEGILL):
        groups = pond.slices[species]
        small_forage_better = weight[:, groups] + of_species(p.foraging_size_offset_g, species)
        np.log(small_forage_better, out=small_forage_better)
        small_forage_better -= np.log(of_species(p.foraging_size_reference_g, species))
        small_forage_better *= -of_species(p.foraging_size_exponent, species)
        np.exp(small_forage_better, out=small_forage_better)
        met[:, :, groups] *= small_forage_better
    return met


def eat_food(
    pond: Pond, appetite: Array, biomass: Array, food_met: Array, sated: Array, pellets: Array | None, length: float
) -> tuple[Array, Array, Array]:
    """Food of the pond eaten, g per g and day, no more than the pond gave [food, member, group].

    Also what is left of them, and what bass ate of them in the step, both kg/ha [food, member]. sated is 1 and all
    food met: one saturating response, appetite · met / (1 + all met), is shared by all food.

    Over a step of t days a food of stock F and capacity K that renews at r a day and is wished for at w kg/ha a day
    becomes (F + r·K·t)/(1 + r·t + w·t/F), a step of F' = r·(K − F) − w that can neither pass K nor fall below 0;
    all wishes are met in the same share.
    """
    p, s, bass, bluegill = pond.parameters, pond.state, pond.slices[BASS], pond.slices[BLUEGILL]
    per_met = appetite / sated
    if pellets is not None:
        displacement = of_species(p.pellet_displacement, BLUEGILL) * pellets / appetite[:, bluegill]
        per_met[:, bluegill] *= np.maximum(0.0, 1.0 - displacement)
    ate = food_met * per_met
    wish_of_bass, wished = totals(ate * biomass, bass)
    renewed = pond.by_day.renewal[:, pond.day] * pond.richness * length
    left = (s.food + renewed * pond.food_capacity) / (1.0 + renewed + wished * length / s.food)
    left = np.maximum(left, p.resource_floor_kg_per_ha)
    given = left / s.food
    ate *= given[:, :, None]
    return ate, left, wish_of_bass * given * length


# ---------------------------------------------------------------------- pellets


def eat_pellets(pond: Pond, appetite: Array, biomass: Array, sated: Array) -> Array | None:
    """Pellets that bluegill eat, g per g and day [member, bluegill group]; None where none are given.

    access · (target − ration met elsewhere) · appetite, in warm water, by fish long enough; all in the same share
    where less is given. sated is 1 and all food met [member, group].
    """
    p, groups = pond.parameters, pond.slices[BLUEGILL]
    given = pond.inputs.pellets_kg_per_ha[pond.day]
    if given == 0.0:
        return None
    warm = pond.by_day.water_c[:, pond.day] > p.pellets_above_c[:, BLUEGILL]
    ration = 1.0 - 1.0 / sated[:, groups]
    room = np.maximum(0.0, of_species(p.pellet_ration_target, BLUEGILL) - ration)
    wish = of_species(p.pellet_access, BLUEGILL) * room * appetite[:, groups] * warm[:, None]
    wish = wish * pond.weight_longer(groups, p.pellets_from_mm[:, BLUEGILL])
    wanted = total(wish * biomass[:, groups])
    reached = given * (1.0 - p.pellet_waste_share)
    return wish * np.minimum(1.0, reached / np.maximum(wanted, 1e-300))[:, None]
