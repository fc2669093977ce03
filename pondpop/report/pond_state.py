"""What the records say of the pond's state, and where that speaks against what the model advises."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from pondpop.assess.advice import BASS_LB, LIKELY, bass_amount
from pondpop.assess.text import state_words
from pondpop.decide import harvest_outcome
from pondpop.decide.phrases import Teller
from pondpop.decide.quota_phrases import TAKE_NONE
from pondpop.scenario import FERTILITIES, Scenario, Strategy
from pondpop.units import KG_PER_HA_IN_LB_PER_ACRE, Units, day

if TYPE_CHECKING:
    from pondpop.assess import Assessment


def balance(found: Assessment, units: Units) -> str:
    """Whether the pond is balanced, by the last survey that shows it, in the trade's words."""
    advice = found.advice(units)
    if advice is None:
        return "The records cannot tell; what they lack stands with them."
    told = state_words(advice)
    if not advice.sure:
        return f"Not sure: {told[0].lower()}{told[1:]}."
    return f"{'Yes' if advice.state == 'balanced' else 'No'}: {told[0].lower()}{told[1:]}."


def too_early(found: Assessment, scenario: Scenario) -> str:
    """Whether the records hold fish of days of the run on which no strategy has any of them yet; nothing where they do not."""
    seen: dict[str, dt.date] = {}
    for fish in found.records.fish:
        if fish.date >= scenario.run.start:
            seen[fish.species] = min(fish.date, seen.get(fish.species, fish.date))
    every = scenario.strategies.values()
    wild = {one.species for strategy in every for one in strategy.arrivals}
    for species, first in seen.items():
        dates = [one.date for strategy in every for one in strategy.stocking if one.species == species]
        if dates and min(dates) > first and species not in wild:
            return (
                f"The records hold {species} of {day(first)}, but this scenario stocks its first on {day(min(dates))}: "
                "they are not of the pond that is projected here, or their dates are wrong; settle that before anything else."
            )
    return ""


def crowding(found: Assessment, told: Teller, quota: str | None) -> str:
    """What to make of the harvest that the page advises where the survey found bass crowded; nothing where it did not.

    quota: the amount that a search advises, "" where it advises none, None where nothing was searched; then the harvest of
    the strategy that is followed counts.
    """
    advice = found.advice(told.units)
    if advice is None or advice.state != "bass crowded" or advice.chance < LIKELY:
        return ""
    strategy = told.scenario.strategies[told.decision.names[told.decision.followed]]
    pond = _kind(strategy.fertility)
    if quota is None and _caught_lb(told) >= BASS_LB[pond or "infertile"][0]:
        return ""
    seen = "The survey found bass crowded" if advice.sure else "The survey finds bass crowded most probably, if not surely"
    small = "its small amount or none" if quota is None else "its “none”" if quota in ("", TAKE_NONE) else (
        "a smaller amount of it"
    )  # fmt: skip
    return (
        f"{seen}, and agencies advise to thin such bass: {bass_amount(told.units, pond)}. The model gives thinning less effect "
        f"than the trade expects, so {small} should not overrule that: decide with a certified professional."
    )


def kind_of(strategies: Iterable[Strategy]) -> str | None:
    """Which of the agencies' ponds all strategies have in common; None where they differ or change it."""
    kinds = {None if one.fertilization else _kind(one.fertility) for one in strategies}
    return kinds.pop() if len(kinds) == 1 else None


def _kind(fertility: float) -> str | None:
    """Which of the agencies' ponds it is; None between the two."""
    if fertility >= FERTILITIES["fertilized"]:
        return "fertile"
    return "infertile" if fertility <= FERTILITIES["unfertilized"] else None


def _caught_lb(told: Teller) -> float:
    """Bass caught a calendar year under the strategy that is followed, lb/acre, in the middle member."""
    caught = told.dataset["harvest_biomass"].sel(species="bass").values[told.decision.followed]
    by_year = harvest_outcome.by_year(told.dataset, caught)
    return float(np.median(by_year.mean(axis=1))) / KG_PER_HA_IN_LB_PER_ACRE
