"""Bass and their prey: which fish they can take, cover, search, and what is eaten. Nothing here changes the pond.

Prey by length is [member, species * length], predators by length [member, length], on the grid of `grid`; other arrays
are [member, group] unless said.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pondpop.arrays import Array, logistic, total
from pondpop.model.grid import GRID_MM, GRID_POINTS, GridPlace, lay, read, read_with_slope
from pondpop.model.state import Pond, of_species
from pondpop.species import BASS, BLUEGILL, SHAD, SPECIES, Parameters

OF_SHAD = slice(SHAD * GRID_POINTS, (SHAD + 1) * GRID_POINTS)  # of a grid of all species

# ---------------------------------------------------------------------- what depends on parameters and length alone


@dataclass(frozen=True)
class PredationTables:
    """What depends on parameters and length alone, tabulated on the grid once per run.

    prey_size: [m, predator length, species * prey length], share of full catchability
    catching: the same times the ease of capture of each species
    leaving_cover: [m, species * prey length], per day
    gives_way: [m, own length, length of the other], share of another bass of that length that is in one's way
    """

    prey_size: Array
    catching: Array
    leaving_cover: Array
    gives_way: Array


def prey_size_kernel(p: Parameters) -> Array:
    """Share of full catchability of prey of length b to bass of length a: [m, species, b, a].

    Rises past `fish_eating_from_mm` of the predator and between the smallest and largest prey as shares of its length;
    bluegill of a larger share are taken by young bass (SEAFWA 1993 and Hoyle & Keast 1987, as read in summaries).
    """
    predator = GRID_MM
    ratio = GRID_MM[:, None] / GRID_MM[None, :]

    def column(name: str, species: int = BASS) -> Array:
        return getattr(p, name)[:, species, None, None]

    eats_fish = logistic((predator - column("fish_eating_from_mm")) / column("fish_eating_width_mm"))
    large_enough = logistic((ratio - column("prey_length_ratio_min")) / column("prey_length_ratio_min_width"))
    kernels = []
    for species in range(len(SPECIES)):
        largest = column("prey_length_ratio_max", species)
        if species == BLUEGILL:
            none_at, full_at = column("young_gape_none_at_mm"), column("young_gape_full_at_mm")
            youth = np.clip(np.log(none_at / predator) / np.log(none_at / full_at), 0.0, 1.0)
            largest = largest + column("young_gape_gain", BLUEGILL) * youth
        small_enough = logistic((largest - ratio) / column("prey_length_ratio_max_width"))
        kernels.append(eats_fish * large_enough * small_enough)
    return np.stack(np.broadcast_arrays(*kernels), axis=1)


def predation_tables(p: Parameters, relative_cover: float = 1.0) -> PredationTables:
    """Tabulate prey sizes and cover for a set of parameters and a pond's cover.

    The share of prey of length b in cover is cover · share · e^−(b/length)²; what is not in cover leaves it at
    `exposure_per_day` (assumed shape).
    """
    kernel = prey_size_kernel(p)
    prey_size = np.ascontiguousarray(kernel.reshape(kernel.shape[0], -1, GRID_POINTS).swapaxes(1, 2))
    cover = relative_cover * p.cover_share[:, None] * np.exp(-((GRID_MM / p.cover_length_mm[:, None]) ** 2))
    leaving = p.exposure_per_day[:, :, None] * (1.0 - cover[:, None, :])
    return PredationTables(
        prey_size=prey_size,
        catching=prey_size * np.repeat(p.capture_ease, GRID_POINTS, axis=1)[:, None, :],
        leaving_cover=leaving.reshape(leaving.shape[0], -1),
        gives_way=_gives_way(p),
    )


def _gives_way(p: Parameters) -> Array:
    """Share of a bass of length b that is in the way of one of length a: [m, a, b]; the smaller gives way (assumed shape)."""
    share = p.interference_length_share[:, BASS, None, None]
    apart = np.log(GRID_MM[None, :] / (share * GRID_MM[:, None]))
    return logistic(apart / p.interference_length_width[:, BASS, None, None])


def prey_within_reach(prey: Array, kernel: Array) -> Array:
    """Sum over prey of kernel times prey, for each predator length: [member, length]; one product per member."""
    return np.matmul(kernel, prey[:, :, None])[:, :, 0]


def search_upon_prey(search: Array, kernel: Array) -> Array:
    """Rate at which prey of each species and length meet the searching predators: [member, species * length]."""
    return np.matmul(search[:, None, :], kernel)[:, 0, :]


# ---------------------------------------------------------------------- a step


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
    predation: Array  # [member, group], predation per g and day
    rise: Array  # [member, group], what a fish longer by a unit of log length suffers more of it


def hunt(pond: Pond, place: GridPlace, biomass: Array, appetite: Array, sated: Array) -> Hunt:
    """Bass look for fish: first as if no prey hid, then for the prey that is out of cover.

    After the foraging arena of Walters & Juanes 1993 (from memory): prey leave cover at a limited rate, so that
    bass compete for what is out. Of prey that leave cover at v a day and are hunted at h a day if all could be found, a
    share v/(v + h) is out. A bass that searches a ha per day and kg meets a · prey within reach, m times what half
    satisfies it, and takes what it meets in the share 1/(1 + m) of the time that it is not handling food (Holling 1959,
    from memory). sated is 1 and the other food met [member, group].
    """
    bass, kernel = pond.slices[BASS], pond.tables.catching
    hunters, at_length = biomass[:, bass], place.of_species(bass, pond.first_of_bass)
    naive = _naive(pond)
    if not hunters.shape[1]:
        nothing, nowhere = np.zeros_like(hunters), np.zeros((hunters.shape[0], place.points))
        none = np.zeros_like(biomass)
        return Hunt(at_length, naive, nowhere, nothing, nothing, nowhere, none, none)
    found = _shad_found(pond, biomass)
    offered = lay(place, naive.times(biomass))
    offered[:, OF_SHAD] *= found
    search = _search_area(pond, at_length, hunters)
    per_intake = search / appetite[:, bass]

    def hunted_by(out_of_cover: Array) -> tuple[Array, Array, Array]:
        fish_met = read(at_length, prey_within_reach(out_of_cover, kernel))
        fish_met *= per_intake
        hunting = search / (sated[:, bass] + fish_met)
        load = lay(at_length, hunters * hunting)
        hunted = search_upon_prey(load, kernel)
        hunted[:, OF_SHAD] *= found
        return fish_met, hunting, hunted

    _, _, hunted = hunted_by(offered)
    hunted += pond.tables.leaving_cover
    exposed = pond.tables.leaving_cover / hunted
    offered *= exposed
    fish_met, hunting, hunted = hunted_by(offered)
    taken = np.multiply(exposed, hunted, out=hunted)
    exposed[:, OF_SHAD] *= found
    suffered, rise = read_with_slope(place, taken)
    return Hunt(
        at_length=at_length,
        naive=naive,
        out_of_cover=exposed,
        fish_met=fish_met,
        hunting=hunting,
        taken=taken,
        predation=naive.times(suffered),
        rise=naive.times(rise),
    )


def _shad_found(pond: Pond, biomass: Array) -> Array:
    """Ease of finding shad relative to many of them: few are hard to find, B²/(B² + half²) (assumed shape) [member, 1]."""
    shad = total(biomass[:, pond.slices[SHAD]]) ** 2
    return (shad / (shad + pond.parameters.exposure_half_saturation_kg_per_ha[:, SHAD] ** 2))[:, None]


def _naive(pond: Pond) -> Naive:
    """How much more easily hatchery fish are caught in their first weeks: 1 + ease · e^(−days since stocking / memory)."""
    p = pond.parameters
    if pond.day - pond.last_stocked > pond.wary_from_day:
        return Naive(np.empty(0, np.intp), np.empty((1, 0)))
    groups = np.flatnonzero(pond.day - pond.last_stocked_of <= pond.wary_from_day)
    since = pond.day - pond.state.columns.stocked[:, groups]
    return Naive(groups, 1.0 + p.naive_ease[:, None] * np.exp(-since / p.naive_days[:, None]))


def _search_area(pond: Pond, at_length: GridPlace, biomass: Array) -> Array:
    """Area that bass search, ha per day and kg of bass [member, bass group].

    a·(W/100)^−e · e^(g·growth type) · temperature / (1 + i · bass in the way, kg/ha).

    Per fish it rises with size; fast growers search more. Bass get into one another's way (interference
    after Beddington 1975 and DeAngelis et al. 1975, from memory), and the smaller gives way to the larger.
    """
    p, groups = pond.parameters, pond.slices[BASS]
    large = lay(at_length, biomass * pond.weight_longer(groups, p.interference_from_mm[:, BASS]))
    in_the_way = prey_within_reach(large, pond.tables.gives_way)
    crowding = 1.0 + of_species(p.interference_ha_per_kg, BASS) * in_the_way
    area = pond.state.log_weight[:, groups] * -of_species(p.search_area_exponent, BASS)
    area += pond.group.log_search_at_1_g[:, groups]
    np.exp(area, out=area)
    area *= read(at_length, pond.by_day.bass_search[pond.day][:, None] / crowding)
    return area


def eat_fish(pond: Pond, place: GridPlace, hunt: Hunt, biomass_alive: Array) -> tuple[Array, Array]:
    """Fish that bass ate: g per g and day [member, bass group], and kg/ha and day by prey species [member, species].

    The prey is laid on the grid as it was alive over the step, so that what is eaten is what died of predation.
    """
    members = pond.state.members
    if not hunt.hunting.shape[1]:
        return np.zeros_like(hunt.hunting), np.zeros((members, len(SPECIES)))
    there = lay(place, hunt.naive.times(biomass_alive))
    within_reach = prey_within_reach(there * hunt.out_of_cover, pond.tables.catching)
    ate = read(hunt.at_length, within_reach)
    ate *= hunt.hunting
    by_species = (there * hunt.taken).reshape(members, len(SPECIES), GRID_POINTS)
    return ate, by_species.sum(axis=2)


def egg_predators(pond: Pond) -> Array:
    """Bluegill that eat bass eggs, kg/ha [member]: biomass · (2 · max(floor, 1 − ration))^e (assumed shape)."""
    p, s, groups = pond.parameters, pond.state, pond.slices[BLUEGILL]
    inside = pond.weight_longer(groups, p.egg_predator_min_mm) - pond.weight_longer(groups, p.egg_predator_max_mm)
    hunger = 2.0 * np.maximum(p.egg_predator_hunger_floor[:, None], 1.0 - s.ration[:, groups])
    kilograms = s.number[:, groups] * np.exp(s.log_weight[:, groups]) / 1000.0
    return total(kilograms * inside * hunger ** p.egg_predator_hunger_exponent[:, None])
