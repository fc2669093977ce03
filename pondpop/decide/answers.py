"""The answers in words, each with the variables of the Dataset that it is made of."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from pondpop.decide import goals, harvest_outcome
from pondpop.decide.goals import SURE, Duel, Score
from pondpop.ensemble.draws import at_least_one
from pondpop.ensemble.quantities import QUANTILES, quantities
from pondpop.observe import indices
from pondpop.scenario import SPECIES, Scenario, Stocking
from pondpop.units import G_PER_LB, Units, brief, converted, unit_of

Array = NDArray[np.float64]

FEW = 30  # members below which it is said that they are few (a choice)
EVEN = 0.55  # below this chance of winning two strategies count as even
CLEAR = 0.7  # a difference is told where it has this sign in at least such a share of the members
MONTHS_AFTER_STOCKING = 24
AT_THE_END = (  # name, words, more, less
    ("bass_psd", "bass PSD", "higher", "lower"),
    ("bluegill_psd", "bluegill PSD", "higher", "lower"),
    ("bass_wr_8_12in", "relative weight of bass of 8–12 in", "higher", "lower"),
    ("bass_standing_crop", "standing crop of bass", "higher", "lower"),
    ("bluegill_standing_crop", "standing crop of bluegill", "higher", "lower"),
    ("bass_largest_weight", "the pond's largest bass", "heavier", "lighter"),
)


@dataclass(frozen=True)
class Answer:
    """One statement; `topic` says what it is about, `made_of` names the variables of the Dataset behind it."""

    topic: str
    words: str
    made_of: tuple[str, ...]


def answers(dataset: xr.Dataset, units: Units) -> list[Answer]:
    """What a comparison answers, the goals first."""
    scenario = goals.scenario_of(dataset)
    names = list(scenario.strategies)
    found: list[Answer] = []
    for score in goals.scores(dataset):
        found.append(_goal(dataset, scenario, score, units))
    if few := few_members(dataset.sizes["member"]):
        found.append(Answer("members", few, ("number",)))
    if len(names) > 1:
        found += _advice(dataset, scenario)
        for other in names[1:]:
            found += _differences(dataset, scenario, names[0], other, units)
    found += _shortfalls(dataset, scenario, units)
    found += _big_bass(dataset, scenario)
    found += _costs(dataset, scenario)
    if goals.is_repair(scenario):
        found += _repair(dataset, scenario)
    return found


def few_members(members: int) -> str:
    """How little so few members say of a probability; nothing where they are enough."""
    if members >= FEW:
        return ""
    if members == 1:
        return "Only one member was run: nothing is known of chance. Run 100 or more before you decide."
    off = round(100.0 / np.sqrt(members))  # two standard errors of a share of one half
    return f"Only {members} members were run: a probability may be off by {off} points. Run 100 or more before you decide."


def answers_text(dataset: xr.Dataset, units: Units) -> str:
    """The answers as lines for a terminal."""
    return "".join(f"- {answer.words}\n" for answer in answers(dataset, units))


# ---------------------------------------------------------------------- goals


def _goal(dataset: xr.Dataset, scenario: Scenario, score: Score, units: Units) -> Answer:
    goal, names, members = score.goal, list(scenario.strategies), dataset.sizes["member"]
    unit, factor = score_unit(score, scenario, units)
    whole = "over the run" if score.kind in ("crop", "money") else "at the end"
    when = f"by the end of year {goal.by_year}" if goal.by_year else whole
    each = []
    for s, name in enumerate(names):
        told = f"{_title(scenario, name)} {_band(score.values[s] * factor)}{unit}"
        if goal.kind in indices.TARGET_OPTIONS:
            chance = float(goals.chance_in_range(dataset, goal.kind, goal.by_year)[s])
            told += f" (both PSDs in range with probability {_percent(chance, members)})"
        if goal.kind == "bass_above":
            told += f" (at least one with probability {_percent(float(at_least_one(score.values[s])))})"
        each.append(told)
    words = f"{goal_words(score, units)} {when}: {'; '.join(each)}."
    for pair in _pairs(score, names):
        words += f" {_duel(scenario, pair, members, factor, unit)}"
    return Answer(goal.kind, words, score.made_of)


def _pairs(score: Score, names: list[str]) -> list[Duel]:
    """Every pair of up to four strategies; beyond that the best one against each other."""
    pairs = goals.duels(score, names)
    if len(names) <= 4:
        return pairs
    wins = {name: sum(p.first == name for p in pairs) for name in names}
    best = max(names, key=lambda name: wins[name])
    return [p for p in pairs if best in (p.first, p.second)]


def _duel(scenario: Scenario, pair: Duel, members: int, factor: float, unit: str) -> str:
    if not np.isfinite(pair.chance):
        return ""
    a, b = _title(scenario, pair.first), _title(scenario, pair.second)
    if pair.difference[0] == pair.difference[2] == 0.0:
        return f"{a} and {b} do not differ in this."
    low, middle, high = (factor * d for d in pair.difference)
    difference = f"{_signed(middle)} [{_range(low, high)}]{unit}"
    if pair.chance < EVEN:
        return f"{a} and {b} come out even (difference {difference})."
    return f"{a} beats {b} with probability {_percent(pair.chance, members)} (difference {difference})."


def goal_words(score: Score, units: Units) -> str:
    """What a goal counts, as the beginning of a sentence or a heading."""
    if score.goal.kind == "bass_above" and score.goal.above_g is not None:
        grams = score.goal.above_g
        return f"Bass above {brief(grams / G_PER_LB)} lb" if units == "us" else f"Bass above {brief(grams / 1000)} kg"
    return score.words[0].upper() + score.words[1:]


def _advice(dataset: xr.Dataset, scenario: Scenario) -> Iterator[Answer]:
    every = goals.scores(dataset)
    standing = goals.standing(every, list(scenario.strategies))
    best = max(standing, key=lambda name: standing[name])
    if standing[best] < goals.BETTER:
        yield Answer("advice", "By these goals no strategy stands out.", ("number",))
        return
    made_of = tuple(sorted({name for score in every for name in score.made_of}))
    yield Answer(
        "advice",
        f"By these goals and their weights {_title(scenario, best)} does best: it beats another strategy "
        f"in {_percent(standing[best], dataset.sizes['member'])} of paired ponds.",
        made_of,
    )


# ---------------------------------------------------------------------- what differs between two strategies


def _differences(dataset: xr.Dataset, scenario: Scenario, first: str, other: str, units: Units) -> Iterator[Answer]:
    names = list(scenario.strategies)
    a, b = names.index(first), names.index(other)
    lead = f"{_title(scenario, other)} instead of {_title(scenario, first)}"
    for event in scenario.strategies[first].stocking:
        twin = next((e for e in scenario.strategies[other].stocking if e.name == event.name), None)
        if event.species == "bass" and twin is not None and twin.date == event.date:
            yield from _group_difference(dataset, event, twin, a, b, lead, units)
    named = {q.name: q for q in quantities(dataset)}
    told, last = [], str(dataset["survey_date"].values[-1])[:10]
    for name, what, more, less in AT_THE_END:
        quantity = named[name]
        values = goals.at_end(quantity.in_units(units), dataset)
        unit = " points" if quantity.kind == "percent" else f" {quantity.unit(units)}".rstrip()
        if words := _difference_words(values[b] - values[a], unit, more, less):
            told.append(f"{what} {words}")
    words = "; ".join(told) if told else "no clear difference in PSD, relative weight, standing crop or largest bass"
    yield Answer("differences", f"{lead}, last twelve months to {last}: {words}.", ("number", "biomass"))


def _group_difference(
    dataset: xr.Dataset, event: Stocking, twin: Stocking, a: int, b: int, lead: str, units: Units
) -> Iterator[Answer]:
    groups = [str(name) for name in dataset["stocked_group"].values]
    k = groups.index(event.name)
    survey, months = _survey_after(dataset, event.date)
    if survey is None:
        return
    weight = converted(dataset["group_weight"].values[:, :, survey, k], "weight", units)
    share = 100.0 * dataset["group_survivors"].values[:, :, survey, k]
    unit = f" {unit_of('weight', units)}"
    per_ha = {a: event.per_ha, b: twin.per_ha}
    told = [
        _difference_words(weight[b] - weight[a], unit, "heavier", "lighter"),
        _difference_words(share[b] / per_ha[b] - share[a] / per_ha[a], " points", "more survive", "fewer survive"),
    ]
    words = "; ".join(t for t in told if t) or "no clear difference in weight or survival"
    yield Answer(
        "stocked group",
        f"{lead}: “{event.name}” {words} at {months} months (survivors "
        f"{_band(share[a] / per_ha[a])} % and {_band(share[b] / per_ha[b])} %, weight {_band(weight[a])} and "
        f"{_band(weight[b])}{unit}).",
        ("group_weight", "group_survivors"),
    )


def _difference_words(difference: Array, unit: str, more: str, less: str) -> str:
    """ "0.3 lb [0.2–0.4] lighter", or nothing where its sign is not clear."""
    known = difference[np.isfinite(difference)]
    if not known.size or max(np.mean(known > 0), np.mean(known < 0)) < CLEAR:
        return ""
    low, middle, high = np.quantile(known, QUANTILES)
    if middle < 0:
        low, middle, high = -high, -middle, -low
        more = less
    return f"{brief(middle, 2)}{unit} [{_range(low, high)}] {more}"


def _survey_after(dataset: xr.Dataset, stocked: dt.date) -> tuple[int | None, int]:
    """The survey nearest to MONTHS_AFTER_STOCKING, and how many months after stocking it is; None if all are before."""
    dates = dataset["survey_date"].values.astype("datetime64[D]").tolist()
    months = np.array([(date - stocked).days / 30.4375 for date in dates])
    if months[-1] <= 0:
        return None, 0
    nearest = int(np.abs(months - MONTHS_AFTER_STOCKING).argmin())
    return (nearest, round(months[nearest])) if months[nearest] > 0 else (None, 0)


# ---------------------------------------------------------------------- whole fish, catches, money, repairs


def _shortfalls(dataset: xr.Dataset, scenario: Scenario, units: Units) -> Iterator[Answer]:
    """What harvest rules ask for and anglers do not catch."""
    for catch in harvest_outcome.catches(dataset, scenario):
        if catch.falls_short:
            words = f"{_title(scenario, catch.strategy)} {shortfall_words(catch, units)}."
            yield Answer("harvest", words, (harvest_outcome.FLOWS[catch.amount],))


def shortfall_words(catch: harvest_outcome.Catch, units: Units) -> str:
    """What a strategy asks for and what is caught, as the end of a sentence that begins with the strategy."""
    kind = "crop" if catch.amount == "kg_per_ha" else "density"
    unit, factor = unit_of(kind, units), converted(1.0, kind, units)
    first, last = catch.years[0], catch.years[-1]
    years = f"{first}–{last}" if last > first else f"{first}"
    mean, caught = factor * catch.asked.mean(), factor * catch.caught.mean(axis=1)
    return (
        f"asks for {brief(mean, 2)} {unit} of {catch.species} a year in {years}, and {_band(caught)} are caught: its "
        "harvest is a ceiling, not a catch (too few such fish, or too few hours and bites)"
    )


def _big_bass(dataset: xr.Dataset, scenario: Scenario) -> Iterator[Answer]:
    """Chance that the pond holds at least one bass of each weight, at the best and at the last survey."""
    expected = dataset["bass_above"].values * scenario.pond.area_ha
    told = []
    for s, name in enumerate(scenario.strategies):
        chances = at_least_one(np.moveaxis(expected[s], 0, -1))  # [survey, weight]
        parts = []
        for k, grams in enumerate(dataset["big_weight"].values):
            best = int(chances[:, k].argmax())
            date = str(dataset["survey_date"].values[best])[:7]
            most = f"at most {_percent(chances[best, k])}, {date}"
            parts.append(f"{grams / G_PER_LB:.0f} lb {_percent(chances[-1, k])} ({most})")
        told.append(f"{_title(scenario, name)}: {', '.join(parts)}")
    words = f"Probability of at least one bass above a weight in this pond at the last survey – {'; '.join(told)}."
    yield Answer("big bass", words, ("bass_above",))


def _costs(dataset: xr.Dataset, scenario: Scenario) -> Iterator[Answer]:
    priced = scenario.costs is not None or any(
        event.cost_each is not None for s in scenario.strategies.values() for event in s.stocking
    )
    if not priced and not any(r.cost is not None for s in scenario.strategies.values() for r in s.removals):
        return
    cost = goals.costs(dataset)
    area = scenario.pond.area_ha
    big = goals.at_end(dataset["bass_above"].values[..., 0], dataset) * area
    told = []
    for s, name in enumerate(scenario.strategies):
        parts = [f"{what} {_money(v[s])}" for what, v in cost.parts.items() if v[s].any()]
        words = f"{_title(scenario, name)} {_money(cost.total[s])} {cost.currency}"
        words += f" ({', '.join(parts)})" if len(parts) > 1 else ""
        count = float(np.median(big[s]))
        if count >= 0.5 and cost.total[s].any():
            each = _money(cost.total[s] / np.maximum(big[s], 0.1))
            words += f", {each} {cost.currency} per bass above 5 lb at the end"
        told.append(words)
    note = f" No price is given for: {', '.join(cost.unpriced)}." if cost.unpriced else ""
    made_of = ("pellets_given", "harvest_number", "catch_rate", "bass_above")
    yield Answer("cost", f"Cost over the run: {'; '.join(told)}.{note}", made_of)


def _repair(dataset: xr.Dataset, scenario: Scenario) -> Iterator[Answer]:
    option = next((g.kind for g in scenario.goals if g.kind in indices.TARGET_OPTIONS), "balanced")
    repair = goals.repair(dataset, option)
    told = []
    for s, (name, years) in enumerate(repair.years.items()):
        when = f"after {brief(years, 2)} years" if years is not None else "not within the run"
        out = ", ".join(
            f"{_band(repair.taken_out[name][:, k])} {species}"
            for k, species in enumerate(SPECIES)
            if np.median(repair.taken_out[name][:, k]) >= 0.5
        )
        put = ", ".join(f"{brief(n)} {species}" for n, species in zip(repair.put_in[name], SPECIES, strict=True) if n)
        told.append(
            f"{_title(scenario, name)}: {when}; fish to take out {out or 'none'}; to put in {put or 'none'}; "
            f"seasons lost {_band(repair.seasons_lost[s])}"
        )
    yield Answer(
        "repair",
        f"Both PSDs in the {option} range with a probability of {_percent(SURE)} – {'. '.join(told)}. A season is lost "
        "where bass are caught less than half as fast as in the first month (assumed).",
        ("number", "harvest_number", "removed_number", "catch_rate"),
    )


# ---------------------------------------------------------------------- numbers in words


def score_unit(score: Score, scenario: Scenario, units: Units) -> tuple[str, float]:
    """The unit of a score's values, a blank before it, and what to multiply them with."""
    if score.kind == "points":
        return " points", 1.0
    if score.kind == "money":
        return f" {scenario.costs.currency if scenario.costs else 'USD'}", 1.0
    return f" {unit_of(score.kind, units)}", converted(1.0, score.kind, units)


def _title(scenario: Scenario, name: str) -> str:
    return f"“{scenario.strategies[name].title}”"


def _band(values: Array) -> str:
    """Median [p10–p90] of the members that have a value."""
    known = values[np.isfinite(values)]
    if not known.size:
        return "–"
    low, middle, high = np.quantile(known, QUANTILES)
    told = [_short(v) for v in (low, middle, high)]
    return told[1] if told[0] == told[2] else f"{told[1]} [{told[0]}–{told[2]}]"


def _money(values: Array) -> str:
    return _band(np.round(values))


def _short(value: float) -> str:
    return "0" if abs(value) < 0.005 else brief(value, 2 if abs(value) < 10 else 3)


def _range(low: float, high: float) -> str:
    return f"{_short(low)}–{_short(high)}" if low >= 0 else f"{_signed(low)} to {_signed(high)}"


def _signed(value: float) -> str:
    return _short(value).replace("-", "−")


def _percent(share: float, members: int = 99) -> str:
    """A probability, without more certainty than so many members give: all of 8 is over 89 %, not 100 %."""
    least = max(1.0 / (members + 1.0), 0.01)
    if share < least:
        return f"under {100.0 * least:.0f} %"
    return f"over {100.0 * (1.0 - least):.0f} %" if share > 1.0 - least else f"{100.0 * share:.0f} %"
