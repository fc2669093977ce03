"""How often a pond loses fish for want of oxygen under each strategy, in which months and by what, and what aerators save."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from pondpop.decide.phrases import Teller
from pondpop.scenario import Scenario
from pondpop.units import brief, converted, in_hundred, joined, months_in_words, unit_of

Array = NDArray[np.float64]

PARTIAL, SEVERE = 0.1, 0.5  # share of the weight of fish that die in one calendar month
SMALL = 0.02  # chance of a year below which a terminal says nothing of it, unless the pond is fed or aerated
ASSUMED = (
    "No rate of kills per pond and year is published: ours is assumed (0.5 % of years unfertilised, 1 to 2 fertilised, 3 to 5 "
    "fed 10 to 20 lb/acre a day, without aeration)"
)
PLAINLY = {
    "cloud": "dark, still days", "turnover": "deep water that mixes", "feed": "feed", "bloom": "a bloom that collapses",
    "ice": "ice and snow",
}  # fmt: skip


@dataclass(frozen=True)
class Risk:
    """Of one strategy: chances of a year, the months and causes of the kills, what they and the aerators come to a year."""

    partial: float
    severe: float
    months: tuple[int, ...]  # those that hold four fifths of the partial kills, most of them first
    by_month: tuple[float, ...]  # chance of a partial kill in January, February …
    causes: dict[str, float]  # share of the weight that died, by what it is put down to
    dead_kg_per_ha: float  # a year
    lowest: float  # dawn oxygen of the poorest night of a usual year, mg/L
    kwh: float  # whole pond, a year


def risks(dataset: xr.Dataset, scenario: Scenario) -> list[Risk]:
    """The risk of every strategy, in their order; none where oxygen was left out."""
    if not scenario.pond.oxygen_risk:
        return []
    share = dataset["oxygen_kill"].values  # strategy, member, month
    month = dataset["month"].values.astype("datetime64[M]").astype(int)
    years = (scenario.run.end - scenario.run.start).days / 365.25
    year, of_year = month // 12, month % 12
    found = []
    for s in range(share.shape[0]):
        worst = np.stack([share[s][:, year == y].max(axis=1) for y in np.unique(year)], axis=1)
        partial, severe = (float((worst > limit).sum() / (worst.shape[0] * years)) for limit in (PARTIAL, SEVERE))
        by_month = [float((share[s][:, of_year == m] > PARTIAL).sum() / (worst.shape[0] * years)) for m in range(12)]
        order = sorted((m for m in range(12) if by_month[m]), key=lambda m: -by_month[m])
        enough = next(k for k in range(len(order) + 1) if sum(by_month[m] for m in order[:k]) >= 0.79 * sum(by_month))
        dead = dataset["suffocated_biomass"].values[s].sum(axis=(1, 2))  # member, killer
        by_cause = dead.sum(axis=0)
        causes = {str(k): float(by_cause[i] / by_cause.sum()) for i, k in enumerate(dataset["killer"].values) if by_cause[i]}
        dawns = dataset["dawn_oxygen"].values[s]
        most = [y for y in np.unique(year) if (year == y).sum() >= 6] or np.unique(year)  # of which the run holds half or more
        lowest = np.median(np.stack([dawns[:, year == y].min(axis=1) for y in most]))
        found.append(Risk(
            min(partial, 1.0), min(severe, 1.0), tuple(m + 1 for m in order[:enough]), tuple(by_month), causes,
            float(dead.sum(axis=1).mean() / years), float(lowest),
            float(dataset["aeration_kwh"].values[s].sum(axis=1).mean() / years * scenario.pond.area_ha),
        ))  # fmt: skip
    return found


def words(told: Teller) -> str:
    """The chances of a kill by strategy, and what aerators save beside what they cost; nothing where oxygen is left out."""
    every = risks(told.dataset, told.scenario)
    if not every:
        return ""
    said = []
    for name, risk in zip(told.short, every, strict=True):
        text = f"{name} {_chance(told, risk.partial)} (over half {_chance(told, risk.severe)})"
        if risk.months and risk.partial >= 0.01:
            cause = max(risk.causes, key=risk.causes.__getitem__)
            text += f", {months_in_words(risk.months)}, mostly by {PLAINLY[cause]}"
        said.append(text)
    text = f"A year in which over a tenth of the fish die in a month: {'; '.join(said)}."
    return " ".join([text, *aeration(told, every), f"{ASSUMED}."])


def short_words(told: Teller) -> str:
    """One line for a terminal, where strategies feed or aerate or the chance is not small; nothing elsewhere."""
    every = risks(told.dataset, told.scenario)
    strategies = list(told.scenario.strategies.values())
    if not every or not (any(s.feeding or s.aeration for s in strategies) or max(r.partial for r in every) >= SMALL):
        return ""
    said = [f"{name} {_chance(told, risk.partial)}" for name, risk in zip(told.short, every, strict=True)]
    return f"Oxygen: chance a year that over a tenth of the fish die: {joined(said)} (frequencies assumed)"


def aeration(told: Teller, every: list[Risk]) -> list[str]:
    """What each strategy that aerates saves against the same one without, and what its electricity costs a year."""
    strategies = list(told.scenario.strategies.values())
    bare = [s._replace(name="", title="", aeration=()) for s in strategies]
    price = told.scenario.costs.per_kwh if told.scenario.costs else None
    said = []
    for s, strategy in enumerate(strategies):
        twins = [k for k, other in enumerate(strategies) if not other.aeration and bare[k] == bare[s]]
        if not strategy.aeration or not twins:
            continue
        saved = float(converted(every[twins[0]].dead_kg_per_ha - every[s].dead_kg_per_ha, "crop", told.units))
        cost = f"{brief(every[s].kwh, 2)} kWh a year"
        if price is not None:
            cost += f", {told.currency} {brief(every[s].kwh * price, 2)}, besides what it costs to buy"
        what = f"saves {brief(saved, 2)} {unit_of('crop', told.units)} of fish a year" if saved > 0 else "saves no fish"
        said.append(
            f"The aerator of {told.short[s]} {what} against {told.short[twins[0]]}, for {cost}; it keeps a refuge and does not "
            "lift the pond."
        )
    return said


def _chance(told: Teller, chance: float) -> str:
    """In per cent; never less than what the years that were run can tell."""
    years = told.decision.members * (told.scenario.run.end - told.scenario.run.start).days / 365.25
    if chance < 1.0 / years:
        return f"under {brief(100.0 / years, 1)} %"
    return in_hundred(chance) if chance >= 0.1 else f"{brief(100.0 * chance, 2)} %"

