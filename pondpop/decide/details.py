"""What a comparison shows beyond the decision: every goal and pair, what differs, whole fish, money."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from math import floor, log10

import numpy as np
from numpy.typing import NDArray

from pondpop.decide import goals, oxygen_risk
from pondpop.decide.goals import Score
from pondpop.decide.phrases import Teller, of_members
from pondpop.ensemble.draws import at_least_one
from pondpop.ensemble.quantities import QUANTILES, quantities
from pondpop.observe import indices
from pondpop.scenario import Stocking
from pondpop.units import G_PER_LB, brief, converted, in_hundred, joined, unit_of

Array = NDArray[np.float64]

CLEAR = 0.7  # a difference is told where it has this sign in at least such a share of the members
MONTHS_AFTER_STOCKING = 24
MOST_PAIRED = 4  # strategies of which every pair is told; of more, the best against each other
AT_THE_END = (  # name, words, more, less
    ("bass_psd", "bass PSD", "higher", "lower"),
    ("bluegill_psd", "bluegill PSD", "higher", "lower"),
    ("bass_wr_8_12in", "relative weight of bass of 8–12 in", "higher", "lower"),
    ("bass_standing_crop", "standing crop of bass", "higher", "lower"),
    ("bluegill_standing_crop", "standing crop of bluegill", "higher", "lower"),
    ("bass_largest_weight", "the pond's largest bass", "heavier", "lighter"),
)


@dataclass(frozen=True)
class Detail:
    """One statement; `topic` says what it is about, `made_of` names the variables of the Dataset behind it."""

    topic: str
    words: str
    made_of: tuple[str, ...]


def details(told: Teller, against: int | None = None) -> list[Detail]:
    """What can be said of a comparison besides its answer, the goals first.

    against: the strategy that others are compared with, by default the best one.
    """
    found = [_goal(told, score) for score in told.decision.scores]
    base = told.decision.best if against is None else against
    for other in range(len(told.decision.names)):
        if other != base:
            found += differences(told, base, other)
    found.append(_big_bass(told))
    found += _no_young(told)
    found += _costs(told)
    if oxygen := oxygen_risk.words(told):
        found.append(Detail("oxygen", oxygen, ("oxygen_kill", "suffocated_biomass", "dawn_oxygen", "aeration_kwh")))
    if repair := told.repair():
        found.append(Detail("repair", repair, ("number", "harvest_number", "removed_number", "catch_rate")))
    return found


# ---------------------------------------------------------------------- goals


def _goal(told: Teller, score: Score) -> Detail:
    goal, members = score.goal, told.decision.members
    whole = "over the run" if score.kind in ("crop", "money") else "at the end"
    each = []
    for s, name in enumerate(told.short):
        words = f"{name} {of_members(converted(score.values[s], score.kind, told.units), score.kind)}{_unit(told, score)}"
        if goal.kind in indices.TARGET_OPTIONS:
            chance = float(goals.chance_in_range(told.dataset, goal.kind, goal.by_year)[s])
            words += f" (both PSDs in range in {in_hundred(chance, members)} of futures)"
        if goal.kind == "bass_above":
            chance = float(goals.chance_of_one(told.dataset, goal)[s])
            words += f" (at least one at the last survey with a chance of {in_hundred(chance)})"
        each.append(words)
    what = told.goal(score)
    words = f"{what[0].upper()}{what[1:]}{'' if goal.by_year else f' {whole}'}: {'; '.join(each)}."
    for first, second in _pairs(told):
        margin = next(m for m in told.decision.pair(first, second).margins if m.score is score)
        a, b = told.short[first], told.short[second]
        won, lost = in_hundred(margin.better, members), in_hundred(margin.worse, members)
        if margin.compared:
            words += f" {a} against {b}: {told.gain(margin)}; better by what matters in {won}, worse in {lost} of futures."
    return Detail(goal.kind, words, score.made_of)


def _no_young(told: Teller) -> Iterator[Detail]:
    """How sure it is that there are no young bass, where only females are put in."""
    for s, (strategy, name) in enumerate(zip(told.scenario.strategies.values(), told.short, strict=True)):
        bass = [event for event in strategy.stocking if event.species == "bass"]
        if not bass or any(event.female_share != 1.0 for event in bass):
            continue
        born = told.dataset["born_number"].sel(species="bass").values[s].sum(axis=-1)
        chance = in_hundred(float((born == 0.0).mean()), born.size)
        sure = not any(event.sexing_error for event in bass)
        doubt = "; that none of them is a male is taken for sure (`sexing_error`)" if sure else ""
        words = f"{name}: only female bass are put in, and no bass are born in {chance} of futures{doubt}."
        yield Detail("no young", words, ("born_number",))


def _pairs(told: Teller) -> Iterator[tuple[int, int]]:
    """Every pair of a few strategies, the better one first; beyond that the best one against each other."""
    ranked = told.decision.ranked
    for k, first in enumerate(ranked):
        for second in ranked[k + 1 :]:
            if k == 0 or len(ranked) <= MOST_PAIRED:
                yield first, second


def _unit(told: Teller, score: Score) -> str:
    unit = told.currency if score.kind == "money" else unit_of(score.kind, told.units)
    return f" {unit}" if unit else ""


# ---------------------------------------------------------------------- what differs between two strategies


def differences(told: Teller, first: int, other: int) -> Iterator[Detail]:
    """What becomes different where another strategy is followed instead of the first."""
    strategies = list(told.scenario.strategies.values())
    lead = f"{told.short[other]} instead of {told.short[first]}"
    for event in strategies[first].stocking:
        twin = next((e for e in strategies[other].stocking if e.name == event.name), None)
        if event.species == "bass" and not event.share_cv and twin is not None and twin.date == event.date:  # a survey's classes
            yield from _group_difference(told, event, twin, first, other, lead)
    named = {q.name: q for q in quantities(told.dataset)}
    said, last = [], str(told.dataset["survey_date"].values[-1])[:10]
    for name, what, more, less in AT_THE_END:
        quantity = named[name]
        values = goals.at_end(quantity.in_units(told.units), told.dataset)
        unit = " points" if quantity.kind == "percent" else f" {quantity.unit(told.units)}".rstrip()
        if words := _difference(values[other] - values[first], unit, more, less):
            said.append(f"{what} {words}")
    words = "; ".join(said) if said else "no clear difference in PSD, relative weight, standing crop or largest bass"
    yield Detail("differences", f"{lead}, last twelve months to {last}: {words}.", ("number", "biomass"))


def _group_difference(
    told: Teller, event: Stocking, twin: Stocking, a: int, b: int, lead: str
) -> Iterator[Detail]:
    groups = [str(name) for name in told.dataset["stocked_group"].values]
    k = groups.index(event.name)
    survey, months = _survey_after(told, event.date)
    if survey is None:
        return
    weight = converted(told.dataset["group_weight"].values[:, :, survey, k], "weight", told.units)
    alive = told.dataset["group_survivors"].values[:, :, survey, k]
    share = {s: 100.0 * goals.survivors(alive[s], e.per_ha) for s, e in ((a, event), (b, twin))}
    unit = f" {unit_of('weight', told.units)}"
    said = [
        _difference(weight[b] - weight[a], unit, "heavier", "lighter"),
        _difference(share[b] - share[a], " points", "more survive", "fewer survive"),
    ]
    words = "; ".join(one for one in said if one) or "no clear difference in weight or survival"
    doubt = ", of a number that is itself in doubt" if event.number_cv or twin.number_cv else ""
    yield Detail(
        "stocked group",
        f"{lead}: {_called(event)} {words} at {months} months (survivors {of_members(share[a], 'percent')} % and "
        f"{of_members(share[b], 'percent')} %{doubt}, weight {of_members(weight[a], 'weight')} and "
        f"{of_members(weight[b], 'weight')}{unit}).",
        ("group_weight", "group_survivors"),
    )


def _called(group: Stocking) -> str:
    """Words for a stocked group: by its name where that says more than the species and the day do."""
    came = "living there at the start" if group.resident else f"stocked {group.date}"
    told = group.name in (group.species, f"{group.species}_{group.date}")
    return f"{group.species} {came}" + ("" if told else f" (“{group.name}”)")


def _difference(difference: Array, unit: str, more: str, less: str) -> str:
    """ "0.3 lb lighter [0.2–0.4]", or nothing where its sign is not clear."""
    known = difference[np.isfinite(difference)]
    if not known.size or max(np.mean(known > 0), np.mean(known < 0)) < CLEAR:
        return ""
    low, middle, high = np.quantile(known, QUANTILES)
    if middle < 0:
        low, middle, high = -high, -middle, -low
        more = less
    places = 1 - floor(log10(max(abs(low), abs(high))))  # two digits of the end that is farther from nought
    low, high = round(float(low), places), round(float(high), places)
    band = f"{brief(low, 2)}–{brief(high, 2)}" if low >= 0 else f"{brief(low, 2).replace('-', '−')} to {brief(high, 2)}"
    return f"{brief(middle, 2)}{unit} {more} [{band}]"


def _survey_after(told: Teller, stocked: dt.date) -> tuple[int | None, int]:
    """The survey nearest to MONTHS_AFTER_STOCKING, and how many months after stocking it is; None if all are before."""
    dates = told.dataset["survey_date"].values.astype("datetime64[D]").tolist()
    months = np.array([(date - stocked).days / 30.4375 for date in dates])
    nearest = int(np.abs(months - MONTHS_AFTER_STOCKING).argmin())
    return (nearest, round(months[nearest])) if months[nearest] > 0 else (None, 0)


# ---------------------------------------------------------------------- whole fish and money


def _big_bass(told: Teller) -> Detail:
    """Chance that the pond holds at least one bass of each weight, at the best and at the last survey."""
    expected = told.dataset["bass_above"].values * told.scenario.pond.area_ha
    said = []
    for s, name in enumerate(told.short):
        chances = at_least_one(np.moveaxis(expected[s], 0, -1))  # [survey, weight]
        parts = []
        for k, grams in enumerate(told.dataset["big_weight"].values):
            best = int(chances[:, k].argmax())
            date = str(told.dataset["survey_date"].values[best])[:7]
            most = f"at most {in_hundred(chances[best, k])}, {date}"
            parts.append(f"{grams / G_PER_LB:.0f} lb {in_hundred(chances[-1, k])} ({most})")
        said.append(f"{name}: {', '.join(parts)}")
    words = f"Chance of at least one bass above a weight in this pond at the last survey – {'; '.join(said)}."
    return Detail("big bass", words, ("bass_above",))


def _costs(told: Teller) -> Iterator[Detail]:
    """What the money goes to, for each strategy."""
    cost = told.decision.cost
    if cost is None:
        return
    said = []
    for s, name in enumerate(told.short):
        parts = [f"{what} {of_members(v[s], 'money')}" for what, v in cost.parts.items() if v[s].any()]
        words = f"{name} {cost.currency} {of_members(cost.total[s], 'money')}"
        said.append(words + (f" ({', '.join(parts)})" if len(parts) > 1 else ""))
    made_of = ("pellets_given", "harvest_number", "catch_rate", "aeration_kwh")
    rest = f", without {joined(cost.unpriced)}, for which no price was given" if cost.unpriced else ""
    yield Detail("cost", f"Cost over the run{rest}: {'; '.join(said)}.", made_of)
    priced = ", of what has a price" if cost.unpriced else ""
    for score in told.decision.scores:
        if score.goal.kind == "bass_above":
            each = "; ".join(f"{name} {told.currency} {told.cost_per_fish(score, s)}" for s, name in enumerate(told.short))
            yield Detail("cost", f"Cost for each of the {told.goal(score)}{priced}: {each}.", (*made_of, *score.made_of))
