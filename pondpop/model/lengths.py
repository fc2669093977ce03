"""How lengths are spread within a group, and what that says of the numbers and weights of its fish.

The natural log of length is normal about the group's mean, cut off where a removal has taken every fish beyond a length.
A fish of a length weighs what its group's fish of that length weigh: as length to the power `slope` of the standard
weight, such that all together weigh the group's biomass. The weight of the fish beyond a length is then the same
integral with the normal moved up by slope times its standard deviation.

Pure functions that broadcast. z counts standard deviations from the middle of the normal as it was before any cut.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from pondpop.arrays import Array, Value

UNCUT = 40.0  # a bound so many standard deviations away cuts nothing, to the last bit
MOST_MOVED = 0.5  # standard deviations by which predation may move the mean of log length in a step
LEAST_VARIANCE = 1e-6  # of z; never none, since it divides
NOTHING = 1e-12  # a group of which no larger share is left is gone
BEYOND = 1e-3  # fish beyond the far end of a window, relative to those before it, that do not keep a group from a cut


NO_CUTS = np.full((1, 1), -UNCUT), np.full((1, 1), UNCUT)


class Shape(NamedTuple):
    """How the lengths of some groups are spread; low and high may be one for all."""

    middle: Array  # log length at the middle of the normal before any cut
    sd: Array  # its standard deviation, of log length
    low: Array  # z below which there are no fish, and
    high: Array  # z above which there are none

    def z(self, log_length: Value) -> Array:
        """Place of a length among the fish of each group, within the cuts."""
        return np.asarray(((log_length - self.middle) / self.sd).clip(self.low, self.high))

    @property
    def uncut(self) -> bool:
        """Whether no group is cut; what follows from that differs in no bit from the general case."""
        return self.low is NO_CUTS[0] or uncut(self.low, self.high)


def shape(mean: Array, spread: Array, low: Array, high: Array) -> Shape:
    """The spread of lengths from mean and standard deviation of the fish's log length, and from the cuts.

    Where no group is cut, the bounds are one for all.
    """
    if uncut(low, high):
        return Shape(mean, spread, *NO_CUTS)
    mean_z, variance_z = moments(low, high)
    sd = spread / np.sqrt(variance_z)
    return Shape(mean - sd * mean_z, sd, low, high)


def uncut(low: Array, high: Array) -> bool:
    """Whether cuts, in standard deviations, leave every fish."""
    return bool((low == -UNCUT).all() and (high == UNCUT).all())


def density(z: Array) -> Array:
    """Standard normal density."""
    return np.asarray(np.exp(-0.5 * z * z) * (1.0 / np.sqrt(2.0 * np.pi)))


def between(low: Array, high: Array, tilt: Value = 0.0) -> Array:
    """Share of a normal between two z; with a tilt, share of the weight that grows by e^tilt per standard deviation."""
    return np.asarray(ndtr(tilt - low) - ndtr(tilt - high))


def moments(low: Array, high: Array) -> tuple[Array, Array]:
    """Mean and variance of a normal between two z."""
    inside = np.maximum(between(low, high), 1e-300)
    at_low, at_high = density(low), density(high)
    mean = (at_low - at_high) / inside
    variance = 1.0 + (low * at_low - high * at_high) / inside - mean * mean
    return mean, np.maximum(variance, LEAST_VARIANCE)


def log_uplift(spread: Array, slope: Value) -> Array:
    """Natural log of the mean weight of a group over the weight of its fish of mean length."""
    uplift = spread * slope
    uplift *= uplift
    uplift *= 0.5
    return uplift


def share_longer(groups: Shape, log_length: Value, slope: Value = 0.0) -> Array:
    """Share of the fish of each group that are longer than e^log_length; with the slope of weight, of their weight."""
    tilt = slope * groups.sd
    if groups.uncut:
        return np.asarray(ndtr(tilt - (log_length - groups.middle) / groups.sd))
    beyond = ndtr(tilt - groups.z(log_length))
    none = ndtr(tilt - groups.high)
    return np.asarray((beyond - none) / np.maximum(ndtr(tilt - groups.low) - none, 1e-300)).clip(0.0, 1.0)


def log_length_of_weight(groups: Shape, log_mean_weight: Array, log_weight: Value, slope: Value) -> Array:
    """Natural log of the length at which the fish of each group have a weight."""
    tilt = slope * groups.sd
    uplift = 0.5 * tilt * tilt  # log of mean weight over weight at the middle
    if not groups.uncut:
        cut = np.maximum(between(groups.low, groups.high, tilt), 1e-300)
        uplift = uplift + np.log(cut / np.maximum(between(groups.low, groups.high), 1e-300))
    return np.asarray(groups.middle + (log_weight - log_mean_weight + uplift) / slope)


class Left(NamedTuple):
    """What is left of each group when some of the fish of a window of lengths are taken."""

    number: Array  # share of the fish
    weight: Array  # share of the weight
    longer: Array  # gain of the mean of log length
    spread: Array  # standard deviation of log length, relative to before
    low: Array  # cuts, in z
    high: Array

    def where(self, these: NDArray[np.bool_], low: Array, high: Array) -> Left:
        """This of some groups, and of the others all of them, whose cuts are those given."""
        as_before: tuple[Value, ...] = (1.0, 1.0, 0.0, 1.0, low, high)
        return Left(*(np.where(these, one, other) for one, other in zip(self, as_before, strict=True)))


def left_by_window(groups: Shape, shortest: Value, longest: Value, share: Value, slope: Value) -> Left:
    """Take a share of the fish between two log lengths out of each group; number, weight, mean and variance are of the rest.

    Where that leaves no fish at one end of a group, the group is cut there, so that they do not come back; otherwise its
    cuts stay where they are in z.
    """
    low, high, tilt = groups.low, groups.high, slope * groups.sd
    a, b = groups.z(shortest), groups.z(longest)
    whole, weight = np.maximum(between(low, high), 1e-300), np.maximum(between(low, high, tilt), 1e-300)
    number_left = 1.0 - share * between(a, b) / whole
    weight_left = 1.0 - share * between(a, b, tilt) / weight
    gone = (number_left <= NOTHING) | (weight_left <= NOTHING)
    left = np.where(gone, 1.0, number_left)
    mean, variance = moments(low, high)
    at_a, at_b = density(a), density(b)
    mean_left = (mean - share * (at_a - at_b) / whole) / left
    square_left = variance + mean * mean - share * (between(a, b) + a * at_a - b * at_b) / whole
    variance_left = np.maximum(square_left / left - mean_left * mean_left, LEAST_VARIANCE)

    before, after = between(low, a), between(b, high)
    emptied = (np.asarray(share) >= 1.0) & (a < b) & ~gone
    cut_high = np.where(emptied & (after <= BEYOND * before), a, high)
    cut_low = np.where(emptied & (before < BEYOND * after), b, low)
    is_cut = (cut_high < high) | (cut_low > low)
    if is_cut.any():
        of_cut = moments(cut_low, cut_high)
        mean_left, variance_left = np.where(is_cut, of_cut, (mean_left, variance_left))
    return Left(
        number=np.where(gone, 0.0, number_left).clip(0.0, 1.0),
        weight=np.where(gone, 0.0, weight_left).clip(0.0, 1.0),
        longer=np.where(gone, 0.0, groups.sd * (mean_left - mean)),
        spread=np.where(gone | (np.asarray(share) == 0.0), 1.0, np.sqrt(variance_left / variance)),
        low=cut_low,
        high=cut_high,
    )
