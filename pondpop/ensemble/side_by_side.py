"""Variants of one pond as one block: each member has the events of its own variant, and the bits that it has alone."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import fields, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from pondpop.arrays import Array
from pondpop.model.inputs import FishingInput, Inputs, Luck, RemovalInput, StockingInput

Event = TypeVar("Event")


def side_by_side(every: Sequence[Inputs]) -> Inputs:
    """The members of several variants as one block: what is stocked, fed, fished or removed, fertility, spells of the water and
    parameters may differ. Each has the bits that it has alone."""
    one = every[0]
    if len(every) == 1:
        return one
    members = [other.members for other in every]

    def each(values: Iterable[float | Array]) -> Array:
        return np.concatenate([np.broadcast_to(v, (n,)) for v, n in zip(values, members, strict=True)])

    def joined(values: Sequence[Array]) -> Array:
        return np.concatenate([np.broadcast_to(v, (n, *v.shape[1:])) for v, n in zip(values, members, strict=True)])

    def dealt(values: Sequence[Array | None]) -> Array | None:
        """Luck of as many events as any variant has; that of none moves nothing."""
        given = [v for v in values if v is not None]
        if not given:
            return None
        most = np.max([v.shape[1:] for v in given], axis=0)
        own = [np.ones((n, *most)) if v is None else v for v, n in zip(values, members, strict=True)]
        return joined([np.pad(v, [(0, 0), *((0, m - k) for m, k in zip(most, v.shape[1:], strict=True))], constant_values=1.0)
                       for v in own])  # fmt: skip

    def by_day(values: Sequence[Array | None], none: float = 0.0) -> Array | None:
        """[day], or [day, member] where variants differ; `none` where one has nothing of the kind."""
        if all(v is None for v in values):
            return None
        known = [np.full(one.days, none) if v is None else v for v in values]
        if all(np.array_equal(v, known[0]) for v in known):
            return known[0]
        return np.repeat(np.stack(known, axis=1), members, axis=1)

    def spell(values: Sequence[Array | None], none: float) -> Array | None:
        water = by_day(values, none)
        return water if water is None else water.T

    def those(events: Sequence[Any]) -> NDArray[np.bool_] | None:
        """[member], whose variant has an event; None for all."""
        return None if None not in events else np.repeat([event is not None for event in events], members)

    starts = [start for other in every if (start := other.fertility_at_start) is not None]
    stockings, fishing, removals = [], [], []
    for event, own in together([other.stockings for other in every], _any_fish):
        fish = each(0.0 if mine is None else mine.per_ha for mine in own)
        females = each(0.5 if mine is None else mine.female_share for mine in own)
        stockings.append(replace(event, per_ha=fish, female_share=females, of=those(own)))
    for rule, of_rule in together([other.fishing for other in every], _any_ask):
        ask = joined([np.zeros((1, one.years)) if mine is None else mine.ask for mine in of_rule])
        otherwise = each(0.0 if mine is None else mine.otherwise for mine in of_rule)
        fishing.append(replace(rule, ask=ask, otherwise=otherwise))
    for removal, of_removal in together([other.removals for other in every], _any_removed):
        amount = each(0.0 if mine is None else mine.amount for mine in of_removal)
        removals.append(replace(removal, amount=amount, of=those(of_removal)))
    luck: dict[str, Any] = {field.name: dealt([getattr(other.luck, field.name) for other in every]) for field in fields(Luck)}
    known: dict[str, Any] = {
        name: by_day([getattr(other, name) for other in every])
        for name in ("fertility", "fertility_lost", "pellets_kg_per_ha", "angling_hours_per_ha", "death_after_release")
    }
    return replace(
        one,
        parameters=one.parameters.with_arrays({
            name: mine if mine.shape[0] == 1 else joined([getattr(other.parameters, name) for other in every])
            for name, mine in one.parameters.arrays().items()
        }),
        luck=Luck(**luck),
        fertility_at_start=each(starts) if len(starts) == len(every) else None,
        spell_most_c=spell([other.spell_most_c for other in every], np.inf),
        spell_least_c=spell([other.spell_least_c for other in every], -np.inf),
        stockings=tuple(stockings),
        fishing=tuple(fishing),
        removals=tuple(removals),
        **known,
    )  # fmt: skip


def together(every: Sequence[Sequence[Event]], kind: Callable[[Event], Hashable]) -> list[tuple[Event, list[Event | None]]]:
    """The events of several variants in one order that keeps each variant's own: the first of a kind, and each variant's.

    Those of one kind stand together; None stands for a variant that has no such event.
    """
    rows: list[tuple[Hashable, list[Event | None]]] = []
    for variant, events in enumerate(every):
        at = 0
        for event in events:
            own = kind(event)
            place = next((k for k in range(at, len(rows)) if rows[k][0] == own and rows[k][1][variant] is None), None)
            if place is None:
                place = at
                rows.insert(at, (own, [None] * len(every)))
            rows[place][1][variant] = event
            at = place + 1
    return [(next(event for event in events if event is not None), events) for _, events in rows]


def _any_fish(event: StockingInput) -> Hashable:
    return replace(event, per_ha=0.0, female_share=0.5)


def _any_ask(rule: FishingInput) -> Hashable:
    return rule.species, rule.shortest_mm, rule.longest_mm, rule.effort.tobytes(), rule.kind, rule.when


def _any_removed(event: RemovalInput) -> Hashable:
    return replace(event, amount=0.0)
