"""Who eats what: prey sizes that a bass can take, cover and exposure, and food from the pond itself.

Fish meet on one fixed grid of lengths. A quantity of the fish is *laid* on the grid with linear weights in log length
and a field on the grid is *read* back at each fish with the same weights, so that what predators take and what prey
lose are the same sum. Prey-by-length arrays are [member, species, prey length]; predator arrays [member, length].
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pondpop.model.bioenergetics import logistic
from pondpop.species import BASS, BLUEGILL, MINNOW, SHAD, SPECIES, Parameters

Array = NDArray[np.float64]

GRID_POINTS = 36
GRID_MM = np.geomspace(8.0, 800.0, GRID_POINTS)
LOG_GRID_START = float(np.log(GRID_MM[0]))
LOG_GRID_STEP = float(np.log(GRID_MM[1] / GRID_MM[0]))
PLANKTON, BENTHOS = 0, 1
_LAST_POSITION = np.nextafter(GRID_POINTS - 1.0, 0.0)  # just before the last point, so that a point stands above


@dataclass(frozen=True)
class FeedingTables:
    """What depends on parameters and length alone, tabulated on the grid once per run.

    prey_size: [m, predator length, species * prey length], share of full catchability
    catching: the same times the ease of capture of each species
    leaving_cover: [m, species * prey length], per day
    gives_way: [m, own length, length of the other], share of another bass of that length that is in one's way
    food_use: [food, m, species, length], use of plankton and of benthos by the fish of a length
    """

    prey_size: Array
    catching: Array
    leaving_cover: Array
    food_use: Array
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


def feeding_tables(p: Parameters, relative_cover: float = 1.0) -> FeedingTables:
    """Tabulate prey sizes, cover and the use of plankton and benthos for a set of parameters and a pond's cover."""
    kernel = prey_size_kernel(p)
    prey_size = np.ascontiguousarray(kernel.reshape(kernel.shape[0], -1, GRID_POINTS).swapaxes(1, 2))
    cover = relative_cover * p.cover_share[:, None] * np.exp(-((GRID_MM / p.cover_length_mm[:, None]) ** 2))
    leaving = p.exposure_per_day[:, :, None] * (1.0 - cover[:, None, :])
    return FeedingTables(
        prey_size=prey_size,
        catching=prey_size * np.repeat(p.capture_ease, GRID_POINTS, axis=1)[:, None, :],
        leaving_cover=leaving.reshape(leaving.shape[0], -1),
        food_use=_food_use(p),
        gives_way=_gives_way(p),
    )


def _gives_way(p: Parameters) -> Array:
    """Share of a bass of length b that is in the way of one of length a: [m, a, b]; the smaller gives way (assumed shape)."""
    share = p.interference_length_share[:, BASS, None, None]
    apart = np.log(GRID_MM[None, :] / (share * GRID_MM[:, None]))
    return logistic(apart / p.interference_length_width[:, BASS, None, None])


def _food_use(p: Parameters) -> Array:
    """Use of plankton and of benthos by length [food, m, species, length]: plankton by the small, benthos by the larger."""

    def young(species: int) -> Array:
        until, width = p.plankton_use_until_mm[:, species, None], p.plankton_use_width_mm[:, species, None]
        return logistic((until - GRID_MM) / width)

    def shared(name: str, species: int) -> Array:
        return getattr(p, name)[:, species, None]

    kept = shared("plankton_use_of_large", BLUEGILL)
    plankton = (
        shared("plankton_use", BASS) * young(BASS),
        shared("plankton_use", BLUEGILL) * (kept + (1.0 - kept) * young(BLUEGILL)),
        shared("plankton_use", SHAD),
        shared("plankton_use", MINNOW),
    )
    until, small = shared("benthos_use_until_mm", BASS), shared("benthos_use_until_width_mm", BASS)
    begins, width = shared("benthos_use_from_mm", BLUEGILL), shared("benthos_use_from_width_mm", BLUEGILL)
    benthos = (
        shared("benthos_use", BASS) * logistic((until - GRID_MM) / small) + shared("benthos_use_floor", BASS),
        shared("benthos_use", BLUEGILL) * logistic((GRID_MM - begins) / width),
        np.zeros((1, 1)),
        shared("benthos_use", MINNOW),
    )
    use = np.stack(np.broadcast_arrays(*plankton, *benthos))  # [food * species, m, length]
    return np.ascontiguousarray(use.reshape(2, len(SPECIES), -1, GRID_POINTS).swapaxes(1, 2))


class GridPlace(NamedTuple):
    """Where each group stands on a grid: flat index of the point below it, and the weight of the point above it.

    The grid has `points` points a member: all lengths of every species, or the lengths of one species.
    """

    points: int
    below: NDArray[np.intp]  # [member, group], index into [member, points]
    above_share: Array  # [member, group]

    def of_species(self, groups: slice, first: NDArray[np.intp]) -> GridPlace:
        """The groups of one species, on a grid of lengths alone. `first` as of `first_points_of`."""
        return GridPlace(GRID_POINTS, self.below[:, groups] - first, self.above_share[:, groups])


def first_points(members: int, species: NDArray[np.intp]) -> NDArray[np.intp]:
    """Flat index of the shortest length of each group's species [member, group]."""
    return (np.arange(members, dtype=np.intp)[:, None] * len(SPECIES) + species) * GRID_POINTS


def first_points_of(species: int, members: int) -> NDArray[np.intp]:
    """What flat indices of one species exceed those on a grid of lengths alone by [member, 1]."""
    return first_points(members, np.array([species])) - np.arange(members, dtype=np.intp)[:, None] * GRID_POINTS


def place_on_grid(log_length: Array, first: NDArray[np.intp]) -> GridPlace:
    """Find the grid interval of each length; lengths beyond the ends stand at the ends. `first` as of `first_points`."""
    position = (log_length - LOG_GRID_START) * (1.0 / LOG_GRID_STEP)
    position.clip(0.0, _LAST_POSITION, out=position)
    lower = position.astype(np.intp)
    position -= lower
    lower += first
    return GridPlace(points=len(SPECIES) * GRID_POINTS, below=lower, above_share=position)


def lay(place: GridPlace, amount: Array) -> Array:
    """Lay an amount of each group on the grid: [member, points]. Sums run in group order, always."""
    members = amount.shape[0]
    high = amount * place.above_share
    below, size = place.below.ravel(), members * place.points
    laid: Array = np.bincount(below, weights=(amount - high).ravel(), minlength=size).astype(float, copy=False)
    laid[1:] += np.bincount(below, weights=high.ravel(), minlength=size)[:-1]
    return laid.reshape(members, place.points)


def read(place: GridPlace, field: Array) -> Array:
    """Read a field [..., member, points] at each group: [..., member, group]."""
    flat = field.reshape(*field.shape[:-2], -1)
    value = (flat[..., 1:] - flat[..., :-1]).take(place.below, axis=-1, mode="clip")  # all are inside: no search for others
    value *= place.above_share
    value += flat.take(place.below, axis=-1, mode="clip")
    return value


def prey_within_reach(prey: Array, kernel: Array) -> Array:
    """Sum over prey of kernel times prey, for each predator length: [member, length]; one product per member."""
    return np.matmul(kernel, prey[:, :, None])[:, :, 0]


def search_upon_prey(search: Array, kernel: Array) -> Array:
    """Rate at which prey of each species and length meet the searching predators: [member, species * length]."""
    return np.matmul(search[:, None, :], kernel)[:, 0, :]


def richness(fertility: Array, saturation: Array) -> Array:
    """Renewal of food relative to fertility 1: rises with fertility and saturates.

    Bluegill ponds of Wudtisin 2003 gained nothing from phosphorus beyond some dose; the shape is ours.
    """
    return np.asarray(fertility * np.sqrt((1.0 + saturation) / (saturation + fertility**2)))
