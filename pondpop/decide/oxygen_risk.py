"""How often a pond loses fish for want of oxygen under each strategy, in which months and by what, and what aerators save."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from textwrap import wrap

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from pondpop.decide.phrases import Teller
from pondpop.scenario import Scenario
from pondpop.units import (
    DAYS_PER_CALENDAR_YEAR,
    FEED,
    brief,
    converted,
    in_hundred,
    joined,
    months_in_words,
    percent,
    unit_of,
)

Array = NDArray[np.float64]

PARTIAL, SEVERE = 0.1, 0.5  # share of the weight of fish that die in one calendar month
MOST_KILLS = 0.8 - 1e-9  # share of the kills that the months which are named hold, rounding aside (a choice)
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
    by_month_and_cause: dict[str, tuple[float, ...]]  # the same, shared out as the weight that died in those months
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
    years = (scenario.run.end - scenario.run.start).days / DAYS_PER_CALENDAR_YEAR
    year, of_year = month // 12, month % 12
    found = []
    for s in range(share.shape[0]):
        worst = np.stack([share[s][:, year == y].max(axis=1) for y in np.unique(year)], axis=1)
        partial, severe = (float((worst > limit).sum() / (worst.shape[0] * years)) for limit in (PARTIAL, SEVERE))
        by_month = [float((share[s][:, of_year == m] > PARTIAL).sum() / (worst.shape[0] * years)) for m in range(12)]
        order = sorted((m for m in range(12) if by_month[m]), key=lambda m: -by_month[m])
        enough = next(k for k in range(len(order) + 1) if sum(by_month[m] for m in order[:k]) >= MOST_KILLS * sum(by_month))
        in_months = dataset["suffocated_biomass"].values[s].sum(axis=(0, 2))  # month, killer
        of_months = np.stack([in_months[of_year == m].sum(axis=0) for m in range(12)])
        shares = of_months / np.maximum(of_months.sum(axis=1, keepdims=True), 1e-300) * np.array(by_month)[:, None]
        dead = dataset["suffocated_biomass"].values[s].sum(axis=(1, 2))  # member, killer
        by_cause = dead.sum(axis=0)
        causes = {str(k): float(by_cause[i] / by_cause.sum()) for i, k in enumerate(dataset["killer"].values) if by_cause[i]}
        dawns = dataset["dawn_oxygen"].values[s]
        most = [y for y in np.unique(year) if (year == y).sum() >= 6] or np.unique(year)  # of which the run holds half or more
        lowest = np.median(np.stack([dawns[:, year == y].min(axis=1) for y in most]))
        found.append(Risk(
            min(partial, 1.0), min(severe, 1.0), tuple(m + 1 for m in order[:enough]), tuple(by_month),
            {str(k): tuple(shares[:, i].tolist()) for i, k in enumerate(dataset["killer"].values)}, causes,
            float(dead.sum(axis=1).mean() / years), float(lowest),
            float(dataset["aeration_kwh"].values[s].sum(axis=1).mean() / years * scenario.pond.area_ha),
        ))  # fmt: skip
    return found


def put_down_to(causes: Mapping[str, float]) -> str:
    """What kills are put down to: whole per cents that add up to 100, and beside them what comes to less than one."""
    shares = {cause: 100.0 * share for cause, share in causes.items()}
    whole = {cause: int(share) for cause, share in shares.items()}
    for cause in sorted(shares, key=lambda cause: whole[cause] - shares[cause])[: 100 - sum(whole.values())]:
        whole[cause] += 1
    return joined(f"{cause} {whole[cause] or 'under 1'} %" for cause in causes)


def words(told: Teller) -> str:
    """The chances of a kill by strategy, and what aerators save beside what they cost; nothing where oxygen is left out."""
    every = risks(told.dataset, told.scenario)
    if not every:
        return ""
    said = []
    for name, risk in zip(told.short, every, strict=True):
        severe = f"over half {_chance(told, risk.severe)}" if risk.severe else "none over half"
        text = f"{name} {_chance(told, risk.partial)} ({severe})"
        if risk.months and risk.partial >= 0.01:
            cause = max(risk.causes, key=risk.causes.__getitem__)
            text += f", {months_in_words(risk.months)}, mostly by {PLAINLY[cause]}"
        said.append(text)
    text = f"A year in which over a tenth of the fish die in a month, in this run: {'; '.join(said)}."
    doubled = [doubling_words(feeds_alike(told, every))]
    return " ".join(filter(None, [text, *doubled, *aeration(told, every), f"{ASSUMED}."]))


def feeds_alike(told: Teller, every: list[Risk]) -> list[tuple[float, float]]:
    """Feed in lb/acre a day and chance of a partial kill, of the strategies that differ in nothing but how much they feed.

    Those of the largest set of such strategies; empty where there are no two.
    """
    sets: dict[object, list[tuple[float, float]]] = {}
    for strategy, risk in zip(told.scenario.strategies.values(), every, strict=True):
        fed = sum(feeding.kg_per_ha_day for feeding in strategy.feeding)
        alike = strategy._replace(name="", title="", feeding=())
        sets.setdefault(alike, []).append((fed / FEED["lb_per_acre_day"].factor, risk.partial))
    found: list[tuple[float, float]] = []
    for some in sets.values():
        found = sorted(some) if len(some) > len(found) else found
    return found if len({feed for feed, _ in found}) > 1 else []


def doubling_words(chances: list[tuple[float, float]]) -> str:
    """At which feed the chance is twice that of the least feed, along straight lines; nothing where it cannot be told.

    chances: feed in lb/acre a day and chance of a partial kill, in order of feed.
    """
    if len(chances) < 2 or chances[0][1] <= 0.0:
        return ""
    (least, first), most = chances[0], chances[-1][0]
    unfed = "without feed" if least == 0.0 else f"at {_feed(least)}"
    for (feed, chance), (more, higher) in pairwise(chances):
        if higher >= 2.0 * first:
            at = feed + (more - feed) * (2.0 * first - chance) / (higher - chance)
            return f"The chance is twice that {unfed} at about {_feed(at)} of feed."
    return f"Up to {_feed(most)} of feed the chance is less than twice that {unfed}."


def _feed(lb_per_acre_day: float) -> str:
    us, metric = FEED["lb_per_acre_day"], FEED["kg_per_ha_day"]
    return f"{brief(lb_per_acre_day, 2)} {us.words} ({brief(metric.from_si(lb_per_acre_day * us.factor), 2)} {metric.words})"


def short_words(told: Teller, lines: int = 2, wide: int = 79) -> str:
    """A sentence for a terminal, of so many lines, where `matters` says so: of many strategies that differ in it those that do
    best, called by their whole names, and how many more there are; one of them, however long its name is."""
    every = risks(told.dataset, told.scenario)
    if not matters(told, every):
        return ""
    head = "Oxygen, kills a year (assumed): "
    if len(alike := {_chance(told, risk.partial) for risk in every}) == 1:
        return f"{head}{alike.pop()} under each strategy"
    said = [f"{told.short[k]} {_chance(told, every[k].partial)}" for k in told.decision.ranked]
    fewer = [[*said[:shown], f"{len(said) - shown} more"] for shown in range(len(said) - 1, 0, -1)]
    texts = [head + ", ".join(parts) for parts in (said, *fewer)]
    fitting = (text for text in texts if len(wrap(text, wide, break_on_hyphens=False, break_long_words=False)) <= lines)
    return next(fitting, texts[-1])


def matters(told: Teller, every: list[Risk]) -> bool:
    """Whether some strategy feeds or aerates, or the chance of a kill is not small."""
    strategies = told.scenario.strategies.values()
    fed = any(strategy.feeding or strategy.aeration for strategy in strategies)
    return bool(every) and (fed or max(risk.partial for risk in every) >= SMALL)


def lead_words(told: Teller) -> str:
    """What the first lines of a page say of it, where it `matters`: the chances, and what aerators save and cost."""
    every = risks(told.dataset, told.scenario)
    if not matters(told, every):
        return ""
    return " ".join([f"{chances_in_short(told, every)}.", *aeration(told, every)])


def chances_in_short(told: Teller, every: list[Risk]) -> str:
    said = [f"{name} {_chance(told, risk.partial)}" for name, risk in zip(told.short, every, strict=True)]
    return f"chance a year that over a tenth of the fish die: {joined(said)} (frequencies assumed)"


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
    years = told.decision.members * (told.scenario.run.end - told.scenario.run.start).days / DAYS_PER_CALENDAR_YEAR
    if chance < 1.0 / years:
        return f"under {percent(1.0 / years, 1)}"
    return in_hundred(chance) if chance >= 0.1 else percent(chance, 2)

