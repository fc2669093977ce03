"""Variants that are alike until a day live the days before it once: one block is run until then and goes on as several.

Whether they are alike is read off their inputs, field by field; where that cannot be told of a day, they differ from the first
day of the run on. So every variant has the bits that it has alone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import fields, is_dataclass
from itertools import zip_longest
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pondpop.arrays import Array
from pondpop.ensemble.prepare import side_by_side
from pondpop.model.day import Engine, go_on
from pondpop.model.inputs import AerationInput, FishingInput, Inputs, Luck, StockingInput
from pondpop.observe.observers import Watch

# What is [day] or [day, member], and what stands for none of it.
BY_DAY = {
    "fertility": None, "cover": None, "pellets_kg_per_ha": None, "angling_hours_per_ha": None, "death_after_release": None,
    "spell_most_c": np.inf, "spell_least_c": -np.inf, "fertility_lost": 0.0, "plants": np.nan, "area_share": 1.0,
}  # fmt: skip
OF_STOCKINGS = ("stocking_survival", "truck")  # luck by stocking, and
DEALT_BEFORE = ("missed_males", "arrived")  # luck that is in what is stocked


def parting_day(one: Inputs, other: Inputs) -> int:
    """The first day that may not be the same to the bit under both inputs, given that all days before it are; days of the run
    where there is none."""
    apart = [one.days]
    if _always(one) != _always(other):
        return 0
    for field in fields(Inputs):
        mine, theirs = getattr(one, field.name), getattr(other, field.name)
        if field.name in BY_DAY:
            apart.append(_first_apart(mine, theirs, BY_DAY[field.name], one.days))
        elif field.name == "parameters":
            apart.append(one.days if same(mine.arrays(), theirs.arrays()) else 0)
        elif field.name == "luck":
            others = (f.name for f in fields(Luck) if f.name not in (*OF_STOCKINGS, *DEALT_BEFORE))
            apart.append(one.days if all(same(getattr(mine, name), getattr(theirs, name)) for name in others) else 0)
        elif field.name == "stockings":
            dealt, theirs_dealt = ([(event, _luck_of(event, own)) for event in own.stockings] for own in (one, other))
            apart += _events_apart(dealt, theirs_dealt, lambda event: event[0].day)
        elif field.name == "removals":
            apart += _events_apart(mine, theirs, lambda event: event.day)
        elif field.name in ("limings", "carp"):
            apart += _events_apart(mine, theirs, lambda event: event[0])
        elif field.name == "fishing":
            apart += [_rules_apart(a, b, one) for a, b in zip_longest(mine, theirs)]
        elif field.name == "oxygen" and mine is not None and theirs is not None:
            apart.append(one.days if mine.mean_depth_m == theirs.mean_depth_m else 0)
            apart += [_aeration_apart(a, b, one.days) for a, b in zip_longest(mine.aeration, theirs.aeration)]
        else:
            apart.append(one.days if same(mine, theirs) else 0)
    return min(apart)


def same(one: Any, other: Any) -> bool:
    """Whether values, arrays, or dataclasses, tuples and dicts of them are the same to the bit."""
    if one is other:
        return True
    if type(one) is not type(other):
        return False
    if isinstance(one, np.ndarray):
        return one.shape == other.shape and one.dtype == other.dtype and one.tobytes() == other.tobytes()
    if is_dataclass(one):
        return all(same(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(same(one[key], other[key]) for key in one)
    if isinstance(one, tuple | list):
        return len(one) == len(other) and all(map(same, one, other))
    return bool(one == other)


def _always(inputs: Inputs) -> tuple[object, ...]:
    """What of the future shapes a block from its first day on: its kinds of fish and strains, and whether plants are followed."""
    return (
        {event.species for event in inputs.stockings},
        {event.species for event in inputs.stockings if event.blood > 0.0},
        inputs.plants is None and not inputs.carp,
        inputs.days,
    )


def _first(apart: NDArray[np.bool_], days: int) -> int:
    """The first day of which it is true."""
    return int(apart.argmax()) if apart.any() else days


def _first_apart(one: Array | None, other: Array | None, none: float | None, days: int) -> int:
    mine, theirs = (
        np.full((days, 1), none, dtype=float) if by_day is None else by_day.reshape(days, -1) for by_day in (one, other)
    )
    if mine.shape[1] > 1 and theirs.shape[1] > 1 and mine.shape != theirs.shape:
        return 0
    return _first(((mine != theirs) & ~(np.isnan(mine) & np.isnan(theirs))).any(axis=1), days)


def _events_apart(one: Sequence[Any], other: Sequence[Any], day: Callable[[Any], int]) -> list[int]:
    """The days of events that stand in the same place and differ; of some the place has a bearing on their luck."""
    return [
        min(day(event) for event in pair if event is not None) for pair in zip_longest(one, other) if not same(*pair)
    ]


def _luck_of(event: StockingInput, inputs: Inputs) -> list[Array | None]:
    """The luck of a stocking and of its truck; wild fish that come in have none."""
    survival, trucks = (getattr(inputs.luck, name) for name in OF_STOCKINGS)
    return [
        None if event.uninvited else survival[:, event.origin],
        None if event.truck is None or trucks is None else trucks[:, event.origin],
    ]


def _rules_apart(one: FishingInput | None, other: FishingInput | None, inputs: Inputs) -> int:
    """The first day on which harvest rules in the same place act and differ."""
    acting = [rule.effort for rule in (one, other) if rule is not None]
    act = np.any(acting, axis=0)
    if one is None or other is None:
        return _first(act, inputs.days)
    names = (f.name for f in fields(FishingInput) if f.name not in ("effort", "ask"))
    if not all(same(getattr(one, name), getattr(other, name)) for name in names):
        return _first(act, inputs.days)
    asked = (one.ask != other.ask).any(axis=0)[inputs.year]
    return _first((one.effort != other.effort) | (act & asked), inputs.days)


def _aeration_apart(one: AerationInput | None, other: AerationInput | None, days: int) -> int:
    """The first day on which aerators in the same place are to be had and differ."""
    there = np.any([aerators.available for aerators in (one, other) if aerators is not None], axis=0)
    if one is None or other is None:
        return _first(there, days)
    names = (f.name for f in fields(AerationInput) if f.name != "available")
    if not all(same(getattr(one, name), getattr(other, name)) for name in names):
        return _first(there, days)
    return _first(one.available != other.available, days)


# ---------------------------------------------------------------------- running them

Strand = tuple[int, ...]
"""Numbers of variants that are alike so far; the first stands for them."""


class Block(NamedTuple):
    """A block that stands at a day: its strands side by side, as many rows each."""

    engine: Engine
    watch: Watch
    strands: list[Strand]


def run_forked(
    every: Sequence[Inputs], structures: Sequence[str], watch: Callable[[Inputs], Watch]
) -> list[dict[str, Array]]:
    """What is read of each variant, run with the others until it parts from them.

    every: of the same members. structures: a text for each, which those share that `side_by_side` can join.
    watch: makes of inputs what is read.
    """
    parted: dict[tuple[int, int], int] = {}

    def parts(one: int, other: int) -> int:
        if (one, other) not in parted:
            parted[one, other] = parting_day(every[one], every[other])
        return parted[one, other]

    def strands_of(strand: Strand, day: int) -> list[Strand]:
        """The strands into which one parts on a day."""
        found: list[list[int]] = []
        for variant in strand:
            alike = next((own for own in found if parts(own[0], variant) > day), None)
            if alike is None:
                found.append([variant])
            else:
                alike.append(variant)
        return [tuple(own) for own in found]

    def abreast(strands: Sequence[Strand]) -> list[list[int]]:
        """Places of the strands that can stand side by side."""
        found: dict[str, list[int]] = {}
        for place, strand in enumerate(strands):
            found.setdefault(structures[strand[0]], []).append(place)
        return list(found.values())

    read: dict[int, dict[str, Array]] = {}
    members, waiting = every[0].members, []
    first = strands_of(tuple(range(len(every))), 0)
    for places in reversed(abreast(first)):
        strands = [first[place] for place in places]
        inputs = side_by_side([every[strand[0]] for strand in strands])
        own = watch(inputs)
        waiting.append(Block(Engine(inputs, flows_from=own.flows_from), own, strands))
    while waiting:
        engine, own, strands = waiting.pop()
        last = engine.inputs.days if own.until is None else own.until
        day = min(parts(strand[0], variant) for strand in strands for variant in strand)
        go_on(engine, own.observers, min(day, last))
        if day >= last:
            for observe in own.observers:
                observe(engine)
            whole = own.read()
            for k, strand in enumerate(strands):
                for variant in strand:
                    read[variant] = {name: values[k * members : (k + 1) * members] for name, values in whole.items()}
            continue
        new = [(k, part) for k, strand in enumerate(strands) for part in strands_of(strand, day)]
        for places in abreast([part for _, part in new]):
            rows = np.concatenate([new[place][0] * members + np.arange(members) for place in places])
            branches = [new[place][1] for place in places]
            branch = engine.branch(side_by_side([every[strand[0]] for strand in branches]), rows)
            waiting.append(Block(branch, own.branch(branch, rows), branches))
    return [read[k] for k in range(len(every))]
