"""How a gear takes fish: its settings, one file a gear, and the formulas that use them. Standard library only.

The formulas take numbers, or arrays together with `numpy.tanh`: whoever plans with plain numbers and whoever simulates
with arrays uses the same ones (`pondpop.observe.gears` is the model of a survey that is built on them).
"""

import math
from collections.abc import Callable, Mapping
from typing import Any

from pondpop.species.registry import TRAITS

GEARS = ("electrofishing", "seine", "angling")


def logistic(z: Any, tanh: Callable[[Any], Any] = math.tanh) -> Any:
    """1/(1 + e^−z)."""
    return 0.5 * (1 + tanh(z / 2))


def selectivity(
    length_mm: Any, selected: tuple[Any, Any], missed: tuple[Any, Any], missed_share: Any,
    tanh: Callable[[Any], Any] = math.tanh,
) -> Any:  # fmt: skip
    """Share of the fish of a length within reach that a gear takes, 0 to 1.

    S((L − from)/width) of those selected, less `missed_share` · S((L − from)/width) of those missed for their size, S
    being logistic; selected and missed are (from, width) in mm. The double-logistic form is a choice (assumed).
    """
    taken = logistic((length_mm - selected[0]) / selected[1], tanh)
    return taken * (1 - missed_share * logistic((length_mm - missed[0]) / missed[1], tanh))


def setting(settings: Mapping[str, Any], species: str, key: str, default: Any) -> Any:
    """A gear's setting for a species, or for the one that it is caught like; the default where the gear has neither."""
    like = TRAITS[species].caught_like
    return settings.get(f"{species}_{key}", default if like is None else setting(settings, like, key, default))


def taken_share(settings: Mapping[str, Any], species: str, length_mm: float) -> float:
    """The selectivity of a gear, whose settings are catalogue entries by key, for one species and length."""

    def of(key: str) -> float:
        return float(setting(settings, species, key, None).value)

    selected, missed = ((of(f"{name}_from_mm"), of(f"{name}_width_mm")) for name in ("selected", "missed"))
    return float(selectivity(length_mm, selected, missed, of("missed_share")))


def warmth(
    water_c: Any, from_c: float, until_c: float, width_c: float, tanh: Callable[[Any], Any] = math.tanh
) -> Any:
    """The catch at a water temperature relative to that at the best one: S((T − from)/width) · S((until − T)/width)."""

    def at(c: Any) -> Any:
        return logistic((c - from_c) / width_c, tanh) * logistic((until_c - c) / width_c, tanh)

    return at(water_c) / at((from_c + until_c) / 2)
