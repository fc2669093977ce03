"""Stocking, harvest and angling: pure formulas that broadcast. Densities per ha, mass in g, biomass in kg/ha."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def share_of_window(kind: str, amount: ArrayLike, there: Array) -> Array:
    """Share [member] of the fish in a length window that a one-off removal takes; never more than all of them.

    there [member]: fish/ha or kg/ha in the window, in the unit of `amount`; for kind "share" it is not used.
    """
    if kind == "share":
        return np.broadcast_to(np.asarray(amount, dtype=float), there.shape)
    return np.minimum(1.0, np.asarray(amount) / np.maximum(there, 1e-300))


def season_fishing(kind: str, ask: Array, there: Array, limit: Array, limit_power: Array) -> Array:
    """Fishing deaths per fish and season [member] that a rule brings about.

    A share is taken as it stands: F = −ln(1 − share). A quota asks for F = quota / what is there, bounded smoothly by
    what anglers can catch: q / (1 + (q/limit)^power)^(1/power) (assumed shape).
    """
    if kind == "share":
        return np.broadcast_to(-np.log1p(-np.minimum(ask, 1.0 - 1e-9)), there.shape)
    wanted = np.minimum(ask / np.maximum(there, 1e-300), 1e6 * limit)
    # The same as wanted / (1 + (wanted/limit)^power)^(1/power), written so that no power overflows.
    low, high = np.minimum(wanted, limit), np.maximum(wanted, limit)
    return low / (1.0 + (low / high) ** limit_power) ** (1.0 / limit_power)


def catch_per_hour(catchable: Array, at_100_per_ha: Array, exponent: Array, wariness: Array) -> Array:
    """Bass caught per angler hour [member] from catchable bass/ha, falling as fish grow scarce and wary.

    Catch rises less than in proportion to density (hyperstability; exponent after 2–5 bass/h at 50–250 bass/acre).
    """
    return at_100_per_ha * (catchable / 100.0) ** exponent / (1.0 + wariness)
