"""Arrays of numbers: their type, how those that are kept are told, sums whose bits do not depend on what else stands in an
array, smooth steps, and memory."""

from __future__ import annotations

import ctypes
import sys
from collections.abc import Sequence
from functools import cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Value = NDArray[np.float64] | float


class Variable(NamedTuple):
    """How an array of results is told: its dimensions after those of strategy and member, its unit, and what it is."""

    dims: tuple[str, ...]
    unit: str
    meaning: str


class Axis(NamedTuple):
    """How a dimension is told: the label of each place, their unit (none: names or dates), and what they are."""

    labels: NDArray[Any]
    unit: str
    meaning: str


def names_axis(names: Sequence[str], meaning: str) -> Axis:
    """A dimension whose places have names."""
    return Axis(np.array(names, dtype=np.str_), "", meaning)


def whole_axis(numbers: Sequence[int] | NDArray[np.int_], unit: str, meaning: str) -> Axis:
    """A dimension whose places are whole numbers."""
    return Axis(np.array(numbers, dtype=np.int32), unit, meaning)


MOST_EXPONENT = 709.0  # e^709 is the largest that is a number


def logistic(z: Value) -> Array:
    """1 / (1 + e^−z), a smooth step from 0 to 1; safe for any z."""
    step = np.asarray(np.negative(z), dtype=float)
    step.clip(-np.inf, MOST_EXPONENT, out=step)  # with two bounds it takes half the time
    np.exp(step, out=step)
    step += 1.0
    return np.divide(1.0, step, out=step)


def softplus(z: Value) -> Array:
    """ln(1 + e^z), a smooth larger of 0 and z; safe for any z."""
    beyond = np.asarray(np.abs(z), dtype=float)
    np.negative(beyond, out=beyond)
    np.exp(beyond, out=beyond)
    np.log1p(beyond, out=beyond)
    beyond += np.asarray(z).clip(0.0, np.inf)
    return beyond


def hold_between(amount: Array, low: Value, high: Value) -> Array:
    """An amount [member, …] held between bounds, each one for all or [member, 1], in its own memory.

    Bounds of members cost `clip` twice what two passes do, and one for all half of it.
    """
    if getattr(low, "size", 1) == getattr(high, "size", 1) == 1:
        return amount.clip(low, high, out=amount)
    np.maximum(amount, low, out=amount)
    return np.minimum(amount, high, out=amount)


def power(base: Value, exponent: Value) -> Array:
    """base^exponent, with the same bits for an element whatever stands beside it.

    Of one exponent for many elements numpy makes squares, roots and inverses in another way than of one for one.
    """
    return np.asarray(np.power(base, exponent + np.zeros(np.broadcast(base, exponent).shape)))


def total(amount: Array) -> Array:
    """Sum over groups [..., member], always in group order, so that empty columns change no bit of it."""
    if amount.shape[0] == 1:
        return np.bincount(np.zeros(amount.size, np.intp), weights=amount[0], minlength=1).astype(float, copy=False)
    return np.add.reduce(np.ascontiguousarray(amount.T), axis=0)  # row after row; along a row numpy adds pairwise


LINE_BYTES = 64  # of memory that a processor reads at once


def aligned(amount: Array) -> Array:
    """A copy that begins where a line of memory does: products with a matrix take a sixth to a quarter less time."""
    memory = np.empty(amount.size + LINE_BYTES // amount.itemsize)
    begins = -memory.ctypes.data % LINE_BYTES // amount.itemsize
    out = memory[begins : begins + amount.size].reshape(amount.shape)
    out[...] = amount
    return out


@cache
def keep_memory() -> None:
    """Let this process keep the memory of arrays that are no more, for those to come.

    Each step makes some hundred arrays of some 200 kB and drops them. The C library of Linux gives memory of that size back
    to the system at once, which then clears every page of it anew: half of a step's time. Elsewhere nothing is done.
    """
    if sys.platform == "linux":
        allocator = getattr(ctypes.CDLL(None), "mallopt", None)  # of glibc; others lack it
        if allocator:
            trim_threshold, mmap_threshold = -1, -3
            allocator(mmap_threshold, 32 << 20)
            allocator(trim_threshold, 256 << 20)
