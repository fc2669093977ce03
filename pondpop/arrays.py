"""Arrays of numbers: their type, sums whose bits do not depend on what else stands in an array, and a smooth step."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

Array = NDArray[np.float64]
Value = NDArray[np.float64] | float


def logistic(z: Value) -> Array:
    """1 / (1 + e^−z), a smooth step from 0 to 1; safe for any z."""
    return np.asarray(expit(z))


def total(amount: Array) -> Array:
    """Sum over groups [..., member], always in group order, so that empty columns change no bit of it."""
    if amount.shape[0] == 1:
        return np.bincount(np.zeros(amount.size, np.intp), weights=amount[0], minlength=1).astype(float, copy=False)
    return np.add.reduce(np.ascontiguousarray(amount.T), axis=0)  # row after row; along a row numpy adds pairwise


def sum_of_foods(amount: Array) -> Array:
    """Sum over foods [member, group] of [food, member, group], in their order."""
    first, *others = amount
    summed = first.copy()
    for other in others:
        summed += other
    return summed


def totals(amount: Array, part: slice) -> tuple[Array, Array]:
    """Sums over the groups of `part`, which come first, and over all: [food, member] of [food, member, group], in group order."""
    foods, members, groups = amount.shape
    by_group = amount.reshape(foods * members, groups).T.copy()  # foods keep numpy from adding a single column pairwise
    first = np.add.reduce(by_group[part], axis=0)
    whole = first + np.add.reduce(by_group[part.stop :], axis=0)
    return first.reshape(foods, members), whole.reshape(foods, members)
