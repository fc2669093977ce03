"""What befalls a pond, put into the scenario: the same strategies, with the water, the losses and the deaths of one event."""

import datetime as dt
from collections.abc import Iterable
from typing import TypeVar

from pondpop.checks import InputError, nearest
from pondpop.scenario.schema import Arrival, Drawdown, FertilityLoss, Plants, Removal, Scenario, Spell, WhatIf

_LONGEST_NAME = 40
_Event = TypeVar("_Event", Spell, FertilityLoss, Removal, Drawdown, Plants, Arrival)


def befallen(scenario: Scenario, name: str) -> Scenario:
    """The scenario in which what `[what_if.NAME]` says happens under every strategy, and nothing else is asked.

    It is one that a file could state: spells of the water, losses of fertility, die-offs among the removals, droughts among
    the drawdowns, plants, arrivals. Raises InputError for a name that there is not.
    """
    every = {one.name: one for one in scenario.what_if}
    if name not in every:
        raise InputError("what_if", name, "an event of the scenario", nearest(name, every) if every else "it has none")
    one, pond = every[name], scenario.pond
    spells = _with(pond.temperature.spells, one.spells, name)
    return scenario._replace(
        pond=pond._replace(
            temperature=pond.temperature._replace(spells=tuple(sorted(spells, key=lambda e: (e.first, e.name)))),
            fertility_losses=tuple(
                sorted(_with(pond.fertility_losses, one.fertility_losses, name), key=lambda e: (e.first, e.name))
            ),
        ),
        strategies={
            key: strategy._replace(
                removals=tuple(sorted(_with(strategy.removals, one.die_offs, name), key=lambda e: (e.date, e.name))),
                drawdown=tuple(sorted(_with(strategy.drawdown, one.droughts, name), key=lambda e: (e.first, e.name))),
                plants=tuple(sorted(_with(strategy.plants, one.plants, name), key=lambda e: (e.date, e.name))),
                arrivals=tuple(_with(strategy.arrivals, one.arrivals, name)),
            )
            for key, strategy in scenario.strategies.items()
        },
        what_if=(),
    )


def begins(one: WhatIf) -> dt.date:
    """The first day on which an event changes anything."""
    lasting = [[event.first for event in one.spells], [event.first for event in one.fertility_losses],
               [event.first for event in one.droughts]]  # fmt: skip
    dated = [[event.date for event in one.die_offs], [event.date for event in one.plants],
             [event.date for event in one.arrivals if event.date is not None]]  # fmt: skip
    return min(day for days in (*lasting, *dated) for day in days)


def _with(there: Iterable[_Event], more: Iterable[_Event], name: str) -> list[_Event]:
    """The events that are there, and more of them under names that none has."""
    found = list(there)
    taken = {event.name for event in found}
    for event in more:
        called, copy = f"{name}_{event.name}"[:_LONGEST_NAME], 1
        while called in taken:
            copy += 1
            called = f"{f'{name}_{event.name}'[: _LONGEST_NAME - 4]}_{copy}"
        taken.add(called)
        found.append(event._replace(name=called))
    return found
