"""The answer first: which strategy, how sure, what it costs, what would change the advice."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from pondpop import indices
from pondpop.report.cases import Case, Material
from pondpop.report.tables import Table

if TYPE_CHECKING:
    from pondpop.report.drawing import Picture


@dataclass(frozen=True)
class Answer:
    """What the page says first; `best` is None where nothing singles a strategy out."""

    best: Case | None
    option: str
    lead: list[str]
    more: list[tuple[str, list[str]]] = field(default_factory=list)
    tables: list[Table] = field(default_factory=list)
    pictures: list[Picture] = field(default_factory=list)


def answer(material: Material) -> Answer:
    """The answer of every projection in words."""
    lead = [f"{case.letter}, {case.title}: {_reading(case)}" for case in material.cases]
    return Answer(None, option(material), lead)


def option(material: Material) -> str:
    """The management option whose ranges are drawn: that of the first goal that names one, otherwise balanced."""
    for projection in material.projections:
        for goal in projection.scenario.goals:
            if goal.kind in indices.TARGET_OPTIONS:
                return goal.kind
    return "balanced"


def _reading(case: Case) -> str:
    bass, bluegill = (float(case.band(f"{s}_psd")[-1, 1]) for s in ("bass", "bluegill"))
    year = case.projection.yearly[-1][0]
    if not (np.isfinite(bass) and np.isfinite(bluegill)):
        return f"too few fish of stock length in {year} to read the balance."
    words = indices.pair_reading(bass, bluegill).words
    return f"in {year} bass PSD {bass:.0f}, bluegill PSD {bluegill:.0f}: {words}."
