"""The answer first: which strategy, how sure, what it costs, what would change the advice; all from `goals`."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pondpop.decide import answers, goals, harvest_outcome
from pondpop.decide.goals import Duel, Score
from pondpop.ensemble.draws import at_least_one
from pondpop.ensemble.quantities import QUANTILES
from pondpop.observe import indices
from pondpop.report.calendar import first_steps
from pondpop.report.format import PLURAL
from pondpop.report.strategies import Array, Case, Material, Projection
from pondpop.scenario import SPECIES
from pondpop.units import G_PER_LB, NONE, both, brief, converted, figure_of, in_ten, joined, unit_of

BIG_G = 5 * G_PER_LB
CLOSE = 0.7  # and below which the other is close behind
MUCH_LESS, MORE_OFTEN = 0.5, 0.2  # from when a drawback of the best strategy is told; choices of ours
MOST_RIVALS = 3  # told one by one
GOOD = 0.5  # chance of being in range below which a strategy is not expected to get there


@dataclass(frozen=True, eq=False)
class Verdict:
    """What the goals say of one projection: `best` wins most comparisons; `ranked` has all, best first."""

    projection: Projection
    cases: list[Case]

    @cached_property
    def standing(self) -> dict[str, float]:
        return goals.standing(self.scores, self.names)

    @cached_property
    def scores(self) -> list[Score]:
        return goals.scores(self.projection.dataset)

    @cached_property
    def cost(self) -> goals.Cost:
        return goals.costs(self.projection.dataset)

    @cached_property
    def answers(self) -> list[answers.Answer]:
        return answers.answers(self.projection.dataset, self.projection.units)

    def answers_on(self, *topics: str) -> list[str]:
        return [one.words for one in self.answers if one.topic in topics]

    @cached_property
    def ranked(self) -> list[Case]:
        return sorted(self.cases, key=lambda case: -self.standing[case.strategy.name])

    @property
    def best(self) -> Case:
        return self.ranked[0]

    @cached_property
    def equals(self) -> list[Case]:
        """The best strategy, and those that it does not beat in `goals.BETTER` of the comparisons."""
        return [self.best, *(case for case in self.ranked[1:] if self.against(self.best, case) < goals.BETTER)]

    def against(self, case: Case, another: Case) -> float:
        """Chance that one strategy beats another, over the goals by their weight."""
        return goals.against(self.scores, self.names, case.index, another.index)

    @property
    def names(self) -> list[str]:
        return [case.strategy.name for case in self.cases]

    def duels(self, score: Score) -> list[Duel]:
        return goals.duels(score, self.names)

    def case(self, name: str) -> Case:
        return next(case for case in self.cases if case.strategy.name == name)

    @property
    def option(self) -> str:
        """The management option whose ranges count: of the first goal that names one, otherwise balanced."""
        kinds = [goal.kind for goal in self.projection.scenario.goals if goal.kind in indices.TARGET_OPTIONS]
        return kinds[0] if kinds else "balanced"


@dataclass(frozen=True)
class Answer:
    """What the page says first, for each projection in order; `best` stands for the page where one must be shown."""

    best: Case
    option: str
    verdicts: list[Verdict]
    lead: list[list[tuple[str, str]]]

    def shown(self, most: int) -> list[Case]:
        """The cases that are drawn where there is no room for all: the best of each projection in turn, by letter."""
        longest = max(len(v.cases) for v in self.verdicts)
        in_turn = [v.ranked[k] for k in range(longest) for v in self.verdicts if k < len(v.cases)]
        letters = {case.letter for case in in_turn[:most]}
        return [case for v in self.verdicts for case in v.cases if case.letter in letters]


def answer(material: Material) -> Answer:
    """The answer of every projection in words: a heading word and a sentence or two for each point."""
    verdicts = [Verdict(projection, material.cases_of(projection)) for projection in material.projections]
    lead = [
        [
            ("Choose" if len(verdict.cases) > 1 else "Only one strategy", _choice(verdict)),
            ("Do next", _next(verdict)),
            ("How sure", _sureness(verdict)),
            ("What to expect", _expected(verdict)),
            ("Mind", _mind(verdict)),
            *([("The repair", _repair(verdict))] if goals.is_repair(verdict.projection.scenario) else []),
            ("Cost", _cost(verdict)),
            ("What would change this", _change(verdict)),
        ]
        for verdict in verdicts
    ]
    lead = [[(head, text) for head, text in one if text] for one in lead]
    return Answer(verdicts[0].best, verdicts[0].option, verdicts, lead)


def named(case: Case) -> str:
    return f"{case.letter} ({case.title})"


def chance_words(chance: float, projection: Projection) -> str:
    """8 of 10 courses; where there is only one course, that it is only one."""
    if projection.members == 1:
        return "in the one course run" if chance > 0.5 else "not in the one course run"
    return f"in {in_ten(chance, projection.members)} courses"


def tenths(chance: float, projection: Projection) -> str:
    """A chance as a number of tenths, for a small space: 8, >9, <1."""
    words = in_ten(chance, projection.members)
    return words.replace("more than ", ">").replace("less than ", "<").removesuffix(" of 10")


def option_words(option: str) -> str:
    return {"big_bass": "big-bass"}.get(option, option)


def _choice(v: Verdict) -> str:
    if len(v.cases) == 1:
        return f"{v.best.title}. Nothing is compared."
    if len(v.equals) > 1:
        cheapest = _cheapest(v.equals, v)
        tip = f" {named(cheapest)} costs least of them." if cheapest else " Take the one that is easier to do."
        return f"{joined(map(named, v.equals), 'or')}: no clear winner on the goals.{tip}"
    return f"{named(v.best)}."


def _next(v: Verdict) -> str:
    """The first things to do under the best strategy (the cheapest of equals)."""
    case = v.best
    if len(v.equals) > 1:
        case = _cheapest(v.equals, v) or v.best
    steps = [
        f"{step.when}: {step.what.removeprefix('Later: ').partition('. Whole')[0].rstrip('.')}"
        for step in first_steps(case)
    ]
    return "; ".join(steps) + ". Then follow the calendar." if steps else "nothing but to survey, as the calendar says."


def _cheapest(cases: list[Case], v: Verdict) -> Case | None:
    total = np.median(v.cost.total, axis=1)
    prices = [float(total[case.index]) for case in cases]
    return cases[int(np.argmin(prices))] if max(prices) > min(prices) else None


def _sureness(v: Verdict) -> str:
    """Chances against each other strategy, goal by goal."""
    if len(v.cases) == 1:
        return ""
    lines = []
    for score in v.scores:
        parts = []
        rivals = {case.strategy.name for case in v.ranked[1 : 1 + MOST_RIVALS]}
        for duel in v.duels(score):
            if v.best.strategy.name not in (duel.first, duel.second) or not rivals & {duel.first, duel.second}:
                continue
            won = duel.first == v.best.strategy.name
            another = v.case(duel.second if won else duel.first)
            if not np.isfinite(duel.chance):
                parts.append(f"cannot be compared with {another.letter}")
            elif abs(duel.chance - 0.5) < 1e-9:
                parts.append(f"ties with {another.letter}")
            else:
                if in_ten(duel.chance, v.projection.members) == "5 of 10":
                    parts.append(f"is level with {another.letter}{_by(duel, score, v)}")
                    continue
                verb = "beats" if won else "loses to"
                parts.append(f"{verb} {another.letter} {chance_words(duel.chance, v.projection)}{_by(duel, score, v)}")
        lines.append(f"on {goal_words(score, v.projection)}, {v.best.letter} {joined(parts)}")
    text = "; ".join(lines)
    more = " The square below has the others." if len(v.cases) > 1 + MOST_RIVALS else ""
    few = answers.few_members(v.projection.members)
    return text[0].upper() + text[1:] + "." + more + (f" {few}" if few else "")


def _by(duel: Duel, score: Score, v: Verdict) -> str:
    """The difference as a size with its band: by 32 points [20–41]."""
    low, middle, high = (abs(d) for d in duel.difference)
    low, high = min(low, high), max(low, high)
    same_sign = duel.difference[0] * duel.difference[2] > 0
    if not np.isfinite(middle):
        return ""
    if v.projection.members == 1:
        return f", by {amount(middle, score.kind, v)}"
    if not same_sign:
        worse, better = sorted(score.better * d for d in (duel.difference[0], duel.difference[2]))
        if duel.first != v.best.strategy.name:
            worse, better = -better, -worse
        ends = [amount(max(0.0, end), score.kind, v) for end in (-worse, better)]
        return f" (from {ends[0]} worse to {ends[1]} better)"
    ends = [amount(end, score.kind, v, False) for end in (low, high)]
    band = f" [{ends[0]}–{ends[1]}]" if ends[0] != ends[1] else ""
    return f", by {amount(middle, score.kind, v)}{band}"


def amount(value: float, kind: str, v: Verdict, unit: bool = True) -> str:
    """A value of a score with its unit: 32 points, USD 1,200, 25 lb/acre."""
    if not np.isfinite(value):
        return NONE
    if kind == "money":
        return f"{v.cost.currency} {brief(value, 2)}" if unit else brief(value, 2)
    if kind == "points":
        number = figure_of(value, kind)
        return f"{number} PSD {'point' if number == '1' else kind}" if unit else number
    if unit:
        return both(value, kind, v.projection.units)
    return figure_of(converted(value, kind, v.projection.units), kind)


def points(value: float) -> str:
    """Points of a PSD: whole ones, below one with one digit."""
    if not np.isfinite(value):
        return NONE
    return f"{value:.0f}" if value >= 1 or value < 0.05 else brief(value, 1)


def goal_words(score: Score, projection: Projection) -> str:
    """What a goal asks for, short."""
    goal = score.goal
    if goal.kind in indices.TARGET_OPTIONS:
        text = f"being near the {option_words(goal.kind)} ranges"
    elif goal.kind == "bass_above":
        text = f"bass above {both(goal.above_g or 0.0, 'weight', projection.units)}"
    else:
        text = {"pounds_harvested": "weight harvested in all", "cost": "cost"}.get(goal.kind, score.words)
    return text + (f" in {projection.scenario.run.start.year + goal.by_year - 1}" if goal.by_year else "")


def _expected(v: Verdict) -> str:
    """Balance of the best at the end, and how likely the ranges are for each strategy."""
    case, words = v.best, option_words(v.option)
    chances = goals.chance_in_range(v.projection.dataset, v.option)
    bass, bluegill = (_at_end(case, f"{s}_psd") for s in ("bass", "bluegill"))
    if np.isfinite(bass[1]) and np.isfinite(bluegill[1]):
        harvested = bool(case.strategy.harvest or case.strategy.removals)
        reading = indices.pair_reading(float(bass[1]), float(bluegill[1]), harvested=harvested).words
        text = f"with {case.letter}, bass PSD {_band(bass)} and bluegill PSD {_band(bluegill)}, mean of the surveys of "
        text += f"the last twelve months: {reading}."
    else:
        text = f"with {case.letter}, too few fish of stock length in the last twelve months to read the balance."
    each = joined(f"{c.letter} {chance_words(float(chances[c.index]), v.projection)}" for c in v.cases)
    text += f" Both PSDs in the {words} ranges then: {each}."
    if max(chances) < GOOD and any(score.goal.kind == v.option for score in v.scores):
        text += " None is likely to get there: try other strategies, and survey before you spend."
    for score in v.scores:
        if score.goal.kind == "bass_above":
            sure = [float(at_least_one(score.values[c.index])) for c in v.cases]
            each = joined(f"{c.letter} {in_ten(p)}" for c, p in zip(v.cases, sure, strict=True))
            text += f" Chance of at least one {goal_words(score, v.projection)} in the pond: {each}."
    return text[0].upper() + text[1:]


def _mind(v: Verdict) -> str:
    """What the goals do not count: harvest that is not caught; what the best does badly, as few bass left or out of
    range more often."""
    letters = {case.strategy.name: case.letter for case in v.cases}
    texts = [
        f"{letters[catch.strategy]} {answers.shortfall_words(catch, v.projection.units)}"
        for catch in harvest_outcome.catches(v.projection.dataset, v.projection.scenario)
        if catch.falls_short
    ]
    crop = {case: float(case.band("bass_standing_crop")[-1, 1]) for case in v.cases}
    most = max(v.cases, key=lambda case: crop[case])
    if crop[v.best] < MUCH_LESS * crop[most]:
        unit = unit_of("crop", v.projection.units)
        left, there = (figure_of(crop[case], "crop") for case in (v.best, most))
        texts.append(f"{v.best.letter} leaves {left} {unit} of bass at the end, {named(most)} {there}")
    chances = goals.chance_in_range(v.projection.dataset, v.option)
    likely = max(v.cases, key=lambda case: chances[case.index])
    if chances[likely.index] - chances[v.best.index] > MORE_OFTEN:
        texts.append(f"{named(likely)} is in the {option_words(v.option)} ranges more often")
    return "; ".join(texts) + "." if texts else ""


def _at_end(case: Case, name: str) -> Array:
    """p10, p50, p90 of the surveys of the last twelve months, as the goals read them."""
    values = goals.at_end(case.projection.quantities[name].values, case.projection.dataset)[case.index]
    known = values[np.isfinite(values)]
    return np.quantile(known, QUANTILES) if known.size else np.full(3, np.nan)


def _band(values: Array) -> str:
    low, middle, high = (f"{x:.0f}" for x in values)
    return middle if low == high else f"{middle} [{low}–{high}]"


def _cost(v: Verdict) -> str:
    total = v.cost.total
    if not total.any():
        return "no prices were given, so nothing can be said of cost."
    big = goals.at_end(goals.bass_above(v.projection.dataset, BIG_G), v.projection.dataset)
    big *= v.projection.scenario.pond.area_ha
    each = []
    for case in v.cases:
        low, middle, high = (brief(x, 2) for x in np.quantile(total[case.index], QUANTILES))
        text = f"{case.letter} {v.cost.currency} {middle}" + ("" if low == high else f" [{low}–{high}]")
        if float(np.median(big[case.index])) >= 0.5 and middle != "0":
            one = float(np.median(total[case.index] / np.maximum(big[case.index], 0.1)))
            text += f" ({brief(one, 2)} for each bass above 5 lb at the end)"
        each.append(text)
    missing = (
        f" Without a price: {joined(words.replace('_', ' ') for words in v.cost.unpriced)}." if v.cost.unpriced else ""
    )
    return f"over {v.projection.scenario.run.years} years, {joined(each)}.{missing}"


def _repair(v: Verdict) -> str:
    found = goals.repair(v.projection.dataset, v.option)
    parts = []
    for case in v.cases:
        name = case.strategy.name
        years = found.years[name]
        when = f"in range after {years:.1f} years" if years is not None else "not surely in range within the run"
        out = np.median(found.taken_out[name], axis=0)
        out_words = joined(f"{brief(round(n), 2)} {PLURAL[s]}" for s, n in zip(SPECIES, out, strict=True) if n >= 0.5)
        added = found.put_in[name]
        in_words = joined(f"{brief(round(n), 2)} {PLURAL[s]}" for s, n in zip(SPECIES, added, strict=True) if n >= 0.5)
        lost = float(np.median(found.seasons_lost[case.index]))
        season = f"{lost:.0f} {'season' if round(lost) == 1 else 'seasons'} of fishing lost" if lost >= 0.5 else ""
        moved = "; ".join(p for p in (out_words and f"{out_words} out", in_words and f"{in_words} in", season) if p)
        parts.append(f"{case.letter}: {when}" + (f"; {moved}" if moved else ""))
    sure = "(8 of 10 courses with both PSDs in range count as sure) " if v.projection.members > 1 else ""
    return f"{sure}{'. '.join(parts)}."


def _change(v: Verdict) -> str:
    """Goals under which another strategy would win, close calls, and what a survey could show."""
    texts = []
    if len(v.cases) > 1:
        for score in v.scores:
            wins = {case: _wins(v, score, case) for case in v.cases}
            top = max(v.cases, key=lambda case: wins[case])
            if top not in v.equals and wins[top] > wins[v.best]:
                texts.append(f"if only {goal_words(score, v.projection)} counted, {named(top)} would be the choice")
        for case in v.ranked:
            if case not in v.equals and v.against(v.best, case) < CLOSE:
                texts.append(f"{named(case)} is close behind: a price, or your own liking, may decide")
    texts.append("a survey that finds a PSD or Wr outside the band drawn below: run it again from the fish found")
    text = "; ".join(texts)
    return text[0].upper() + text[1:] + "."


def _wins(v: Verdict, score: Score, case: Case) -> float:
    chances = [
        d.chance if d.first == case.strategy.name else 1 - d.chance
        for d in v.duels(score)
        if case.strategy.name in (d.first, d.second) and np.isfinite(d.chance)
    ]
    return float(np.mean(chances)) if chances else 0.5
