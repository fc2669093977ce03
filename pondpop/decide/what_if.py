"""What becomes of the decision if something befalls the pond: the same strategies judged with each event of `[what_if]`.

An event is no strategy: it is never compared with one, only strategies with one another, with it or without. Which of them
stands up best is judged over all of these, none of them more likely than another.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from pondpop.decide import goals
from pondpop.decide.comparison import Decision, Margin, judge, margin_of, together
from pondpop.ensemble.results import under

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Event:
    """One event and the decision between the strategies with it; `hurts` is each strategy with it against itself without,
    by goal."""

    name: str
    title: str
    decision: Decision
    hurts: tuple[tuple[Margin, ...], ...]


@dataclass(frozen=True, eq=False)
class WhatIf:
    """Every event, and the decision over all of them and the pond that nothing befalls."""

    events: tuple[Event, ...]
    overall: Decision


def what_if(dataset: xr.Dataset, plain: Decision) -> WhatIf | None:
    """What the events of a Dataset do to the decision that was made without them; None where it has none.

    Where a Dataset of some members only was made before its events were run, there is none either.
    """
    scenario = goals.scenario_of(dataset)
    if not scenario.what_if or "what_if" not in dataset.coords:
        return None
    events = []
    for one in scenario.what_if:
        befallen = under(dataset, one.name)
        decision = judge(plain.names, goals.scores(befallen), goals.costs(befallen))
        hurts = tuple(
            tuple(
                margin_of(before, after.values[k] - before.values[k])
                for before, after in zip(plain.scores, decision.scores, strict=True)
            )
            for k in range(len(plain.names))
        )
        events.append(Event(one.name, one.title, decision, hurts))
    return WhatIf(tuple(events), _together([plain, *(event.decision for event in events)]))


def _together(decisions: Sequence[Decision]) -> Decision:
    """The decision over the members of all of them, side by side."""
    scores, cost = together([(one.scores, one.cost) for one in decisions], axis=1)
    return judge(decisions[0].names, scores, cost)
