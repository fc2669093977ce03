"""The grid of lengths on which fish meet: laying amounts on it, reading fields off it.

A quantity of the fish is *laid* on the grid with linear weights in log length and a field on the grid is *read* back
at each fish with the same weights, so that what predators take and what prey lose are the same sum. Arrays by length
of all fish are [member, kind * length].
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pondpop.arrays import Array

GRID_POINTS = 36
GRID_MM = np.geomspace(8.0, 800.0, GRID_POINTS)
LOG_GRID_START = float(np.log(GRID_MM[0]))
LOG_GRID_STEP = float(np.log(GRID_MM[1] / GRID_MM[0]))
_LAST_POSITION = np.nextafter(GRID_POINTS - 1.0, 0.0)  # just before the last point, so that a point stands above


class GridPlace(NamedTuple):
    """Where each group stands on a grid: flat index of the point below it, and the weight of the point above it.

    The grid has `points` points a member: all lengths of every kind, or of some kinds. Groups are [member, group], or only
    some of them, one after the other [group].
    """

    members: int
    points: int
    below: NDArray[np.intp]  # of each group, index into [member, points]
    above_share: Array  # of each group
    corners: NDArray[np.intp]  # of all groups that point, and then the one above on a second grid behind the first


def first_points(members: int, kind: NDArray[np.intp], kinds: int) -> NDArray[np.intp]:
    """Flat index of the shortest length of each group's kind, of so many kinds [member, group]."""
    return (np.arange(members, dtype=np.intp)[:, None] * kinds + kind) * GRID_POINTS


def place_on_grid(log_length: Array, first: NDArray[np.intp], kinds: int) -> GridPlace:
    """Find the grid interval of each length; lengths beyond the ends stand at the ends. `first` as of `first_points`."""
    position = (log_length - LOG_GRID_START) * (1.0 / LOG_GRID_STEP)
    position.clip(0.0, _LAST_POSITION, out=position)
    lower = position.astype(np.intp)
    position -= lower
    lower += first
    return place_at(len(log_length), kinds * GRID_POINTS, lower, position)


def place_at(members: int, points: int, below: NDArray[np.intp], above_share: Array) -> GridPlace:
    """Where groups stand on a grid of so many points a member, from the point below each and the weight of the one above."""
    corners = np.empty((2, below.size), np.intp)
    corners[0] = below.ravel()
    np.add(corners[0], members * points + 1, out=corners[1])
    return GridPlace(members, points, below, above_share, corners.ravel())


def lay(place: GridPlace, amount: Array) -> Array:
    """Lay an amount of each group on the grid: [member, points]. Sums run in group order, always."""
    parts = np.empty((2, *amount.shape))  # of numpy's own type: for another, as unpickled numbers have, `at` takes long
    low, high = parts
    np.multiply(amount, place.above_share, out=high)
    np.subtract(amount, high, out=low)
    laid = np.zeros((2, place.members, place.points))
    np.add.at(laid.reshape(-1), place.corners, parts.reshape(-1))
    at_lower, at_upper = laid
    at_lower += at_upper
    return at_lower


def read_with_slope(place: GridPlace, field: Array) -> tuple[Array, Array]:
    """Read a field [member, points] at each group, and what it gains per unit of log length there: [member, group]."""
    flat = field.reshape(-1)
    rise = (flat[1:] - flat[:-1]).take(place.below)
    value = rise * place.above_share
    value += flat.take(place.below)
    rise *= 1.0 / LOG_GRID_STEP
    return value, rise


def read(place: GridPlace, field: Array) -> Array:
    """Read a field [..., member, points] at each group: [..., member, group], or [..., group] of some."""
    flat = field.reshape(*field.shape[:-2], -1)
    value = (flat[..., 1:] - flat[..., :-1]).take(place.below, axis=-1)
    value *= place.above_share
    value += flat.take(place.below, axis=-1)
    return value
