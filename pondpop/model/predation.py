"""Predators and their prey: which fish they can take, cover, search, and what is eaten. Nothing here changes the pond.

Prey by length is [member, kind * length], predators by length [member, predator * length], on the grid of `grid`, where
predator counts the kinds of predators, which are the first kinds; other arrays are [member, group] unless said.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pondpop.arrays import Array, aligned, logistic, power, total
from pondpop.model import lengths
from pondpop.model.community import community
from pondpop.model.grid import GRID_MM, GRID_POINTS, GridPlace, lay, place_at, read, read_with_slope
from pondpop.model.state import Pond
from pondpop.species import SPECIES, Parameters, kinds_with, species_with

MOST_HIDDEN = 0.99  # however dense the cover, some fish are out of it
PREDATOR_SPECIES, EGG_EATERS = species_with("role: predator"), species_with("eats eggs")

# ---------------------------------------------------------------------- what depends on parameters and length alone


@dataclass(frozen=True)
class PredationTables:
    """What depends on parameters and length alone, tabulated on the grid once per run.

    prey_size: [m, predator * length, kind * prey length], share of full catchability
    catching: the same times the ease of capture of each kind
    gives_way: [m, predator * own length, predator * length of the other], share of another predator that is in one's way
    """

    prey_size: Array
    catching: Array
    gives_way: Array


def prey_size_kernel(p: Parameters, hunter: int = 0) -> Array:
    """Share of full catchability of prey of length b to a kind of predator of length a: [m, kind, b, a].

    Rises past `fish_eating_from_mm` of the predator and between the smallest and largest prey as shares of its length;
    some prey, as bluegill, are taken by young predators up to a larger share (SEAFWA 1993 and Hoyle & Keast 1987, as read
    in summaries).
    """
    predator = GRID_MM
    ratio = GRID_MM[:, None] / GRID_MM[None, :]

    def column(name: str, kind: int = hunter) -> Array:
        return np.asarray(getattr(p, name)[:, kind, None, None])

    eats_fish = logistic((predator - column("fish_eating_from_mm")) / column("fish_eating_width_mm"))
    large_enough = logistic((ratio - column("prey_length_ratio_min")) / column("prey_length_ratio_min_width"))
    kernels, taken_large = [], kinds_with("taken large by young predators", p.kinds)
    for kind in range(len(p.kinds)):
        largest = column("prey_length_ratio_max", kind)
        if kind in taken_large:
            none_at, full_at = column("young_gape_none_at_mm"), column("young_gape_full_at_mm")
            youth = np.clip(np.log(none_at / predator) / np.log(none_at / full_at), 0.0, 1.0)
            largest = largest + column("young_gape_gain", kind) * youth
        small_enough = logistic((largest - ratio) / column("prey_length_ratio_max_width"))
        kernels.append(eats_fish * large_enough * small_enough)
    return np.stack(np.broadcast_arrays(*kernels), axis=1)


def predation_tables(p: Parameters) -> PredationTables:
    """Tabulate prey sizes and who gives way for a set of parameters."""
    kernels = np.broadcast_arrays(*(prey_size_kernel(p, hunter) for hunter in range(community(p.kinds).predators)))
    by_hunter = [kernel.reshape(kernel.shape[0], -1, GRID_POINTS).swapaxes(1, 2) for kernel in kernels]
    prey_size = np.ascontiguousarray(np.concatenate(by_hunter, axis=1))
    return PredationTables(
        prey_size=prey_size,
        catching=aligned(prey_size * np.repeat(p.capture_ease, GRID_POINTS, axis=1)[:, None, :]),
        gives_way=aligned(_gives_way(p)),
    )


def leaving_cover(p: Parameters, relative_cover: float, planted: Array | None = None) -> Array:
    """Rate per day at which prey of each kind and length come out of a pond's cover [m, kind * length].

    The share of prey of length b in cover is cover · share · e^−(b/length)²; what is not in cover leaves it at
    `exposure_per_day` (assumed shape). planted: the cover [m or 1] where plants are stated, which hides kinds of the open
    water only as far as `plants_hide` says.
    """
    of_kind = np.full((1, 1), relative_cover)
    if planted is not None:
        of_kind = relative_cover + np.nan_to_num(p.plants_hide, nan=1.0) * (planted[:, None] - relative_cover)
    short = np.exp(-((GRID_MM / p.cover_length_mm[:, None]) ** 2))
    cover = of_kind[:, :, None] * p.cover_share[:, None, None] * short[:, None, :]
    leaving = p.exposure_per_day[:, :, None] * (1.0 - np.minimum(cover, MOST_HIDDEN))
    return np.asarray(leaving.reshape(leaving.shape[0], -1))


def _gives_way(p: Parameters) -> Array:
    """Share of a predator of length b that is in the way of one of length a: [m, a, b]; the smaller gives way (assumed shape).

    a and b run over the lengths of each kind of predator.
    """
    predators = community(p.kinds).predators
    share, width = (
        by_length(column[:, :predators])[:, :, None] for column in (p.interference_length_share, p.interference_length_width)
    )
    length = np.tile(GRID_MM, predators)
    apart = np.log(length[None, :] / (share * length[:, None]))
    return logistic(apart / width)


def by_length(of_predator: Array) -> Array:
    """Values of [member, predator] at each length, to stand against [member, predator * length]."""
    return of_predator if of_predator.shape[1] == 1 else of_predator.repeat(GRID_POINTS, axis=1)


def prey_within_reach(prey: Array, kernel: Array) -> Array:
    """Sum over prey of kernel times prey, for each length of predators [member, predator * length]; one product per member."""
    return np.matmul(kernel, prey[:, :, None])[:, :, 0]


def search_upon_prey(search: Array, kernel: Array) -> Array:
    """Rate at which prey of each kind and length meet the searching predators: [member, kind * length]."""
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


class Hunters(NamedTuple):
    """The predators' groups that held fish when columns changed last, one after the other, member by member [hunter].

    In a large block most columns of predators are empty in most members.
    """

    at: NDArray[np.intp]  # flat place among [member, group], and
    among: NDArray[np.intp]  # among [member, predator group]
    points_fewer: NDArray[np.intp]  # flat index on the grid of all kinds less that on the grid of predators alone
    ws_slope: Array
    log_search_at_1_g: Array
    search_exponent: Array
    log_interference_from: Array  # log length

    def whole(self, of_hunter: Array, of_others: Array) -> Array:
        """Values of [hunter] among those of others [member, predator group]."""
        of_others.reshape(-1)[self.among] = of_hunter
        return of_others


def living_hunters(pond: Pond) -> Hunters:
    """The predators that live, and what is known of them until columns change."""
    groups, kinds = pond.hunters, len(pond.community)
    number = pond.state.number[:, groups]
    member, column = (number > 0.0).nonzero()

    def each(of_group: Array) -> Array:
        if of_group.shape == (1, number.shape[1]):  # the usual one, and `broadcast_to` takes its time
            return of_group[0].take(column)
        return np.broadcast_to(of_group, number.shape)[member, column]

    return Hunters(
        at=member * pond.state.number.shape[1] + column,
        among=member * number.shape[1] + column,
        points_fewer=member * ((kinds - pond.community.predators) * GRID_POINTS),
        ws_slope=each(pond.group.ws_slope[:, groups]),
        log_search_at_1_g=each(pond.group.log_search_at_1_g[:, groups]),
        search_exponent=each(pond.of_hunters("search_area_exponent")),
        log_interference_from=np.log(each(pond.of_hunters("interference_from_mm"))),
    )


class Hunt(NamedTuple):
    """How predators and their prey met in a step."""

    at_length: GridPlace  # where the predators stand on a grid of their own
    naive: Naive
    out_of_cover: Array  # [member, kind * length], share of the prey that can be found, relative to many of them
    fish_met: Array  # [member, predator group], as multiples of what half satisfies
    appetite: Array  # [member, predator group], g per g and day
    hunting: Array  # [hunter], area searched while not handling food, ha per day and kg
    load: Array  # [member, predator * length], the same of all predators of a length, ha per day
    taken: Array  # [member, kind * length], predation of wary prey per day
    predation: Array  # [member, group], predation per g and day
    rise: Array  # [member, group], what a fish longer by a unit of log length suffers more of it


def hunt(pond: Pond, place: GridPlace, biomass: Array, appetite: Array, sated: Array) -> Hunt:
    """Predators look for fish: first as if no prey hid, then for the prey that is out of cover.

    After the foraging arena of Walters & Juanes 1993 (from memory): prey leave cover at a limited rate, so that
    they compete for what is out. Of prey that leave cover at v a day and are hunted at h a day if all could be found, a
    share v/(v + h) is out. One that searches a ha per day and kg meets a · prey within reach, m times what half
    satisfies it, and takes what it meets in the share 1/(1 + m) of the time that it is not handling food (Holling 1959,
    from memory). sated is 1 and the other food met [member, group].
    """
    kernel, those, own_points = pond.tables.catching, pond.living_hunters, pond.community.predators * GRID_POINTS
    at_length = place_at(
        place.members, own_points, place.below.take(those.at) - those.points_fewer, place.above_share.take(those.at)
    )
    naive, of_all = _naive(pond), appetite[:, pond.hunters]
    nothing = np.zeros_like(of_all)
    if not those.at.size:
        nowhere, load = np.zeros((place.members, place.points)), np.zeros((place.members, own_points))
        none, nobody = np.zeros_like(biomass), np.zeros(0)
        return Hunt(at_length, naive, nowhere, nothing, of_all, nobody, load, nowhere, none, none)
    hunters = biomass.take(those.at)
    hidden = [
        (slice(kind * GRID_POINTS, (kind + 1) * GRID_POINTS), _found(pond, kind, biomass))
        for kind in kinds_with("hard to find when few", pond.community.kinds)
    ]  # where kinds that are hard to find when few stand on the grid, and how easily they are found
    offered = lay(place, naive.times(biomass))
    for points, found in hidden:
        offered[:, points] *= found
    search = _search_area(pond, at_length, hunters)
    per_intake = search / appetite.take(those.at)
    sated_of_hunters = sated.take(those.at)

    def hunted_by(out_of_cover: Array) -> tuple[Array, Array, Array, Array]:
        fish_met = read(at_length, prey_within_reach(out_of_cover, kernel))
        fish_met *= per_intake
        hunting = search / (sated_of_hunters + fish_met)
        load = lay(at_length, hunters * hunting)
        hunted = search_upon_prey(load, kernel)
        for points, found in hidden:
            hunted[:, points] *= found
        return fish_met, hunting, load, hunted

    *_, hunted = hunted_by(offered)
    hunted += pond.leaving_cover
    exposed = pond.leaving_cover / hunted
    offered *= exposed
    fish_met, hunting, load, hunted = hunted_by(offered)
    taken = np.multiply(exposed, hunted, out=hunted)
    for points, found in hidden:
        exposed[:, points] *= found
    suffered, rise = read_with_slope(place, taken)
    return Hunt(
        at_length=at_length,
        naive=naive,
        out_of_cover=exposed,
        fish_met=those.whole(fish_met, nothing),
        appetite=of_all,
        hunting=hunting,
        load=load,
        taken=taken,
        predation=naive.times(suffered),
        rise=naive.times(rise),
    )


def _found(pond: Pond, kind: int, biomass: Array) -> Array:
    """Ease of finding fish relative to many of them: few are hard to find, B²/(B² + half²) (assumed shape) [member, 1].

    B is the kg/ha of the species.
    """
    there = (total(biomass[:, pond.slices[pond.community.species[kind]]]) / pond.area_share) ** 2
    return np.asarray(there / (there + pond.parameters.exposure_half_saturation_kg_per_ha[:, kind] ** 2))[:, None]


def _naive(pond: Pond) -> Naive:
    """How much more easily hatchery fish are caught in their first weeks: 1 + ease · e^(−days since stocking / memory)."""
    p = pond.parameters
    if pond.day - pond.last_stocked > pond.wary_from_day:
        return Naive(np.empty(0, np.intp), np.empty((1, 0)))
    (groups,) = (pond.day - pond.last_stocked_of <= pond.wary_from_day).nonzero()
    since = pond.day - pond.state.columns.stocked[:, groups]
    return Naive(groups, 1.0 + p.naive_ease[:, None] * np.exp(-since / p.naive_days[:, None]))


def _search_area(pond: Pond, at_length: GridPlace, biomass: Array) -> Array:
    """Area that predators search, ha per day and kg of them, of a biomass [hunter].

    a·(W/100)^−e · e^(g·growth type) · temperature / (1 + i · predators in the way, kg/ha).

    Per fish it rises with size; fast growers search more. They get into one another's way (interference
    after Beddington 1975 and DeAngelis et al. 1975, from memory), and the smaller gives way to the larger.
    """
    s, those = pond.state, pond.living_hunters
    mean, spread = s.log_length.take(those.at), s.spread.take(those.at)
    if s.uncut:
        shape = lengths.Shape(mean, spread, *lengths.NO_CUTS)
    else:
        shape = lengths.shape(mean, spread, s.low.take(those.at), s.high.take(those.at))
    large = lay(at_length, biomass * lengths.share_longer(shape, those.log_interference_from, those.ws_slope))
    in_the_way = prey_within_reach(large, pond.tables.gives_way) / pond.area_share
    crowding = 1.0 + by_length(pond.parameters.interference_ha_per_kg[:, : pond.community.predators]) * in_the_way
    area = s.log_weight.take(those.at) * -those.search_exponent
    area += those.log_search_at_1_g
    np.exp(area, out=area)
    area *= read(at_length, by_length(pond.today.search) / crowding)
    return area


def eat_fish(pond: Pond, place: GridPlace, hunt: Hunt, biomass_alive: Array) -> tuple[Array, Array]:
    """Fish that predators ate: g per g and day [member, predator group], and kg/ha and day [member, predator species, species].

    The prey is laid on the grid as it was alive over the step, so that what is eaten is what died of predation.
    """
    members = pond.state.members
    of_empty = hunt.appetite.copy()  # so that these do not waste away
    if not hunt.hunting.size:
        return of_empty, np.zeros((members, len(PREDATOR_SPECIES), len(SPECIES)))
    there = lay(place, hunt.naive.times(biomass_alive))
    within_reach = prey_within_reach(there * hunt.out_of_cover, pond.tables.catching)
    ate = read(hunt.at_length, within_reach)
    ate *= hunt.hunting
    eaten = np.zeros((members, len(PREDATOR_SPECIES), len(SPECIES)))
    for eater, taken in _taken_by(pond, there, hunt):
        eaten[:, eater, pond.community.species] += np.add.reduce(taken.reshape(members, -1, GRID_POINTS), axis=2)
    return pond.living_hunters.whole(ate, of_empty), eaten


def _taken_by(pond: Pond, there: Array, hunt: Hunt) -> Iterator[tuple[int, Array]]:
    """The place of a species of predators, and what each of its kinds takes, kg/ha and day [member, kind * length]."""
    if pond.community.predators == 1:
        yield 0, there * hunt.taken
        return
    for hunter in range(pond.community.predators):
        own = slice(hunter * GRID_POINTS, (hunter + 1) * GRID_POINTS)
        met = search_upon_prey(hunt.load[:, own], pond.tables.catching[:, own])
        yield PREDATOR_SPECIES.index(int(pond.community.species[hunter])), there * hunt.out_of_cover * met


def egg_predators(pond: Pond) -> Array:
    """Fish that eat eggs and fry in the school, in kg/ha of bluegill [member].

    Weight between two lengths, of a species as much as `egg_eating` says, times (2 · max(floor, 1 − ration))^e, the
    hungry eating more (assumed shape): bluegill, and bass of the years before.
    """
    p, s = pond.parameters, pond.state
    there = np.zeros(s.members)
    for species in EGG_EATERS:
        groups = pond.slices[species]
        shortest, longest = pond.of("egg_eating_from_mm", species), pond.of("egg_eating_until_mm", species)
        inside = pond.weight_longer(groups, shortest) - pond.weight_longer(groups, longest)
        inside *= pond.of("egg_eating", species)
        hunger = 2.0 * np.maximum(p.egg_predator_hunger_floor[:, None], 1.0 - s.ration[:, groups])
        there += total(s.biomass(groups) * inside * power(hunger, p.egg_predator_hunger_exponent[:, None]))
    return there
