"""The decision in sentences: terminal and page say these, and differ only in how they call the strategies.

Every sentence is made of a `Decision` and the Dataset behind it, none of another sentence.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from pondpop.decide import goals, harvest_outcome
from pondpop.decide.actions import PLURAL, Action, actions, first_steps
from pondpop.decide.comparison import Decision, Margin, Pair, Three, decide
from pondpop.decide.goals import SURE, Score, cost_per_fish
from pondpop.decide.what_if import Event, WhatIf, what_if
from pondpop.ensemble.quantities import QUANTILES, quantities
from pondpop.observe import indices
from pondpop.scenario import SPECIES, Scenario, unusual, weight_of
from pondpop.scenario.schema import Harvest, Removal, is_nothing
from pondpop.units import (
    NONE,
    Units,
    banded,
    brief,
    converted,
    figure_of,
    in_ten,
    joined,
    other,
    shortened,
    unit_of,
)

Array = NDArray[np.float64]

FEW = 30  # members below which it is said that they are few (a choice)
MOST_RIVALS = 3  # told one by one
MOST_PRICED = 4  # strategies whose price of each big bass is told; the page's table has all
MUCH_LESS, MORE_OFTEN = 0.5, 0.2  # from when a drawback of the best strategy is told; choices of ours
GOOD = 0.5  # chance of being in range below which a strategy is not expected to get there
LONGEST_NAME = 40  # characters of a title by which a strategy is called throughout; of a longer one it is its key
MORE_STEPS = 9  # first steps that are counted beyond those told
FUTURES = "[…] holds 8 of 10 futures"  # what brackets mean, said once


@dataclass(frozen=True, eq=False)
class Wording:
    """Words one decision. short: how strategies are called, by position; full: the same at their first mention."""

    scenario: Scenario
    decision: Decision
    short: tuple[str, ...]
    full: tuple[str, ...]
    units: Units

    # ------------------------------------------------------------------ the answer

    @property
    def head(self) -> str:
        """What kind of answer it is, before the strategies."""
        if len(self.decision.names) == 1:
            return "Only one strategy"
        if self.decision.chosen is not None:
            return "Choose"
        return "As good as one another" if self.decision.tied else "No sure choice"

    def choice(self) -> str:
        """The strategy to choose, or those that are as good as one another."""
        if len(self.decision.names) == 1:
            return f"{self.full[0]}. Nothing is compared."
        return f"{self.listed(self.decision.equals)}."

    def sureness(self, against: int | None = None, most: int = MOST_RIVALS, goals: int | None = None) -> str:
        """How surely the best strategy is better than others, and by how much, goal by goal.

        against: the one strategy to tell of; by default so many of those that come nearest to it. goals: by how much on
        so many goals only, the heaviest first.
        """
        d = self.decision
        if len(d.names) == 1:
            return ""
        rivals = [against] if against is not None else [k for k in d.ranked if k != d.best]
        told = [f"{self._outcome(pair)} ({self._margins(pair, goals)})" for pair in map(self._best_against, rivals[:most])]
        text = ". ".join(told) + "."
        if len(rivals) > most:
            text += " The table has the others."
        text += f" A difference under {self._matters()} does not matter."
        return f"{text} {few}" if (few := few_members(d.members)) else text

    def money(self, most: int = MOST_RIVALS) -> str:
        """What the choice costs, and what it costs more than so many others for how much more of what is wanted."""
        d = self.decision
        if d.cost is None:
            return "no prices were given, so nothing can be said of cost."
        named = [d.best] if len(d.equals) == 1 else list(d.equals[: 1 + most])
        own = joined(f"{self.short[k]} {self._cost(k)}" for k in named)
        text = f"{own} over {_years(self.scenario.run.years)}"
        rivals = [k for k in (d.ranked if len(d.equals) == 1 else d.equals) if k != d.best][:most]
        parts = [part for k in rivals if (part := self._price(self._best_against(k)))]
        missing = joined(words.replace("_", " ") for words in d.cost.unpriced)
        text += f", without {missing}, for which no price was given" if missing else ""
        so_far = "of the rest " if missing else ""
        return f"{text}; {so_far}{self.short[d.best]} costs {joined(parts)}." if parts else f"{text}."

    def each(self) -> str:
        """What each big bass costs under the best strategies, where there are prices and big bass are wanted."""
        d = self.decision
        if d.cost is None:
            return ""
        told = []
        for score in (score for score in d.scores if score.goal.kind == "bass_above"):
            prices = (f"{self.short[k]} {self.currency} {self.cost_per_fish(score, k)}" for k in d.ranked[:MOST_PRICED])
            told.append(f"{self.goal(score)}: {joined(prices)}")
        rest = " (of what has a price)" if d.cost.unpriced else ""
        return f"for each of the {'; '.join(told)}{rest}." if told else ""

    def listed(self, some: Sequence[int], most: int = 4, last: str = "or") -> str:
        """Strategies by their full names; no more than so many."""
        more = [f"{len(some) - most} more"] if len(some) > most else []
        return joined([*(self.full[k] for k in some[:most]), *more], last)

    # ------------------------------------------------------------------ strategies against one another

    def _best_against(self, other: int) -> Pair:
        return self.decision.pair(self.decision.best, other)

    def _outcome(self, pair: Pair) -> str:
        """Who wins, and in how many futures."""
        a, b, members = self.short[pair.first], self.short[pair.second], self.decision.members
        if not any(margin.compared for margin in pair.margins):
            return f"{a} cannot be compared with {b}"
        if members == 1:
            verb = "is better than" if pair.better else "is worse than" if pair.worse else "is as good as"
            return f"{a} {verb} {b} in the one future run"
        if pair.ties:
            return f"{a} and {b} are as good as one another in {in_ten(1.0 - pair.better - pair.worse, members)} futures"
        text = f"{a} is better than {b} in {in_ten(pair.better, members)} futures"
        return text if pair.wins else f"{text} and worse in {in_ten(pair.worse, members)}"

    def _margins(self, pair: Pair, most: int | None) -> str:
        told = list(pair.margins)
        if most is not None:
            told = sorted(told, key=lambda margin: -margin.score.goal.weight)[:most]
        return "; ".join(self._margin(margin) for margin in told)

    def _margin(self, margin: Margin) -> str:
        """By how much on one goal: being near the balanced ranges: 12 points better [8–20]."""
        goal = self.goal(margin.score)
        return f"{goal}: {self.gain(margin)}"

    def gain(self, margin: Margin) -> str:
        """A difference as a size with its band: 12 points nearer [8–20]; from 2 points farther to 3 points nearer."""
        low, middle, high = margin.gain
        more, less = _MORE[margin.score.kind]
        if margin.score.better < 0 and margin.score.kind != "points":  # less of it is better
            more, less = less, more
        if not margin.compared:
            return "not known"
        if low == high == 0.0:
            return "no difference"
        if self.decision.members == 1:
            return f"{self.amount(abs(middle), margin.score)} {more if middle > 0 else less}"
        if low < 0.0 < high or low * high == 0.0:
            worse, better = (self.amount(max(0.0, end), margin.score) for end in (-low, high))
            if worse == better and worse.startswith("0"):
                return "no difference"
            ends = [f"{worse} {less}"] * (low < 0.0) + [f"{better} {more}"] * (high > 0.0)
            return f"from {ends[0]} to {ends[1]}" if len(ends) == 2 else f"up to {ends[0]}"
        near, far = sorted((abs(low), abs(high)))
        ends = [self.amount(end, margin.score, unit=False) for end in (near, far)]
        band = f" [{ends[0]}–{ends[1]}]" if ends[0] != ends[1] else ""
        return f"{self.amount(abs(middle), margin.score)} {more if middle > 0 else less}{band}"

    def _matters(self) -> str:
        """The smallest differences that matter, goal by goal."""
        return joined(dict.fromkeys(self.matters(score) for score in self.decision.scores), "or")

    def matters(self, score: Score) -> str:
        return self.amount(score.goal.smallest, score) + (" fish" if score.kind == "fish" else "")

    def _price(self, pair: Pair) -> str:
        """What the first costs more, and for what: USD 12,000 more than B for 0.4 more bass above 5 lb."""
        assert self.decision.cost is not None and pair.dearer is not None
        middle = pair.dearer[1]
        other, currency = self.short[pair.second], self.decision.cost.currency
        said = figure_of(abs(middle), "money")
        if said == "0":
            return f"as much as {other}"
        wanted = max(
            (m for m in pair.margins if m.score.kind != "money"), key=lambda m: m.score.goal.weight, default=None
        )
        for_what = ""
        if wanted is not None and wanted.compared:
            gain = wanted.gain[1]
            more, less = _MORE[wanted.score.kind]
            goal = f"{'of ' if wanted.score.kind == 'crop' else ''}{self.goal(wanted.score, short=True)}"
            amount = self.amount(abs(gain), wanted.score)
            nothing = self.amount(0.0, wanted.score) == amount
            way = "for" if middle > 0 and (gain > 0 or nothing) else "with"  # money that is saved buys nothing
            what = f"no difference in {self.goal(wanted.score)}" if nothing else f"{amount} {more if gain > 0 else less} {goal}"
            for_what = f", {way} {what}"
        return f"{currency} {said} {'more' if middle > 0 else 'less'} than {other}{for_what}"

    def _cost(self, strategy: int) -> str:
        assert self.decision.cost is not None
        return f"{self.decision.cost.currency} {of_members(self.decision.cost.total[strategy], 'money')}"

    def cost_per_fish(self, score: Score, strategy: int) -> str:
        """What each big bass costs under a strategy, with its band; a dash where there are hardly any."""
        assert self.decision.cost is not None
        values = cost_per_fish(self.decision.cost, score)[strategy]
        return banded(np.quantile(values, QUANTILES, method="inverted_cdf"), "money")

    # ------------------------------------------------------------------ goals

    def goal(self, score: Score, short: bool = False) -> str:
        """What a goal asks for; short: without its year."""
        goal = score.goal
        if goal.kind in indices.TARGET_OPTIONS:
            text = f"the {option_words(goal.kind)} ranges" if short else f"being near the {option_words(goal.kind)} ranges"
        elif goal.kind == "bass_above":
            first, second = (weight_of(goal, self.scenario, units) for units in (self.units, other(self.units)))
            text = f"bass above {first} ({second})"
        else:
            text = {"pounds_harvested": "harvest" if short else "weight harvested in all"}.get(goal.kind, goal.kind)
        return f"{text} in {self._year(score)}" if goal.by_year and not short else text

    def _year(self, score: Score) -> int:
        """Calendar year by which a goal is due."""
        return self.scenario.run.start.year + (score.goal.by_year or self.scenario.run.last_year) - 1

    def heading(self, score: Score, narrow: bool = True) -> str:
        """A goal as the heading of a column, with its unit; of one that is not narrow, over which time weight counts."""
        goal = score.goal
        if goal.kind in indices.TARGET_OPTIONS:
            return f"points off {option_words(goal.kind)}"
        if goal.kind == "bass_above":
            return f"bass over {weight_of(goal, self.scenario, self.units)}"
        if goal.kind == "pounds_harvested":
            return f"{'harvest' if narrow else 'harvest in all'}, {unit_of('crop', self.units)}"
        return f"cost, {self.currency}"

    def amount(self, value: float, score: Score, unit: bool = True) -> str:
        """A value of a score with its unit: 32 points, USD 1,200, 25 lb/acre."""
        told = figure_of(converted(value, score.kind, self.units), score.kind)
        if not unit or score.kind == "fish":
            return told
        if score.kind == "money":
            return f"{self.currency} {told}"
        if score.kind == "points":
            return f"{told} PSD {'point' if told == '1' else 'points'}"
        return f"{told} {unit_of(score.kind, self.units)}"

    @property
    def currency(self) -> str:
        return self.scenario.costs.currency if self.scenario.costs else "USD"


@dataclass(frozen=True, eq=False)
class Teller(Wording):
    """Words a decision and what else the Dataset behind it shows."""

    dataset: xr.Dataset

    def next_steps(self, most: int = 3) -> str:
        """The first things to do under the strategy that is followed, which is named where others as good begin otherwise."""
        followed, equals = self.decision.followed, self.decision.equals
        of = {k: first_steps(self.actions_of(k), most + MORE_STEPS) for k in {followed, *equals}}
        shown, rest = of[followed][:most], of[followed][most:]
        steps = [f"{step.when}: {step.what}" for step in shown]
        if more := sum(step.when == shown[-1].when for step in rest):
            steps.append(f"and {more} more at that time")
        told = [[(step.when, step.what) for step in every[:most]] for every in of.values()]
        with_ = f" (with {self.short[followed]})" if any(one != told[0] for one in told) else ""
        if not steps:
            return f"nothing but to survey, as the calendar says{with_}."
        return f"{'; '.join(steps)}{with_}. Then follow the calendar."

    @cached_property
    def befalling(self) -> WhatIf | None:
        """What may befall the pond, and what it does to the decision."""
        return what_if(self.dataset, self.decision)

    def what_if(self) -> str:
        """What is to be chosen if each event comes, what it does to the strategy followed, and which stands up best."""
        if self.befalling is None:
            return ""
        told = [self._with_event(event) for event in self.befalling.events]
        return f"{' '.join(told)} {self.stands_up()}".strip()

    def _with_event(self, event: Event) -> str:
        followed = self.decision.followed
        heaviest = max(event.hurts[followed], key=lambda margin: margin.score.goal.weight)
        hurt = f"{self.goal(heaviest.score)} for {self.short[followed]}: {self.gain(heaviest)}"
        return f"If “{event.title}”: {self.chosen_with(event)} ({hurt})."

    def chosen_with(self, event: Event) -> str:
        """The choice with an event, beside the one without it."""
        with_, without = event.decision, self.decision
        if len(with_.names) == 1:
            return "nothing is compared"
        if with_.chosen is not None:
            return f"{'still' if with_.chosen == without.chosen else 'choose'} {self.short[with_.chosen]}"
        kind = "as good as one another" if with_.tied else "no sure choice"
        return f"{kind}, {joined((self.short[k] for k in with_.equals), 'or')}"

    def if_something_befalls(self, most: int = 2) -> str:
        """In short: the choice with each event, where they are few, and which strategy stands up best."""
        if self.befalling is None:
            return ""
        events = self.befalling.events
        told = [f"With “{event.title}”: {self.chosen_with(event)}." for event in events] if len(events) <= most else []
        return " ".join([*told, self.stands_up()]).strip()

    def stands_up(self, counted: bool = True) -> str:
        """Which strategy stands up best to all events; counted: and over what that is counted."""
        if self.befalling is None or len(self.decision.names) == 1:
            return ""
        overall, events = self.befalling.overall, len(self.befalling.events)
        second = next(k for k in overall.ranked if k != overall.best)
        pair = overall.pair(overall.best, second)
        best, rival = self.short[overall.best], self.short[second]
        all_of_them = "with and without it" if events == 1 else f"with none and with each of the {events}"
        count = f", counting {all_of_them} alike" if counted else ""
        if pair.ties:
            return f"Stands up best: none; {best} and {rival} are as good as one another{count}."
        shares = f"better than {rival} in {in_ten(pair.better, overall.members)} futures"
        if overall.chosen is None:
            return f"Stands up best: none surely; {best} is {shares}, worse in {in_ten(pair.worse, overall.members)}{count}."
        return f"Stands up best: {best}, {shares}{count}."

    def actions_of(self, strategy: int) -> list[Action]:
        scenario = self.scenario._replace(units=self.units)
        return actions(self.dataset, scenario, self.decision.names[strategy])

    @property
    def option(self) -> str:
        """The management option whose ranges count: of the first goal that names one, otherwise balanced."""
        kinds = [score.goal.kind for score in self.decision.scores if score.goal.kind in indices.TARGET_OPTIONS]
        return kinds[0] if kinds else "balanced"

    @cached_property
    def in_range(self) -> Array:
        """Share of members with both PSDs in the ranges of the option over the last twelve months [strategy]."""
        return goals.chance_in_range(self.dataset, self.option)

    def chance(self, share: float) -> str:
        """In 8 of 10 futures; where there is only one, that it is only one."""
        if self.decision.members == 1:
            return "in the one future run" if share > 0.5 else "not in the one future run"
        return f"in {in_ten(share, self.decision.members)} futures"

    # ------------------------------------------------------------------ what else to know

    def expected(self) -> str:
        """Balance of the strategy followed at the end, and how likely ranges and big bass are for each."""
        d, s = self.decision, self.decision.followed
        name = self.short[s]
        bass, bluegill = (self._psd_at_end(f"{species}_psd", s) for species in ("bass", "bluegill"))
        if np.isfinite(bass[1]) and np.isfinite(bluegill[1]):
            strategy = list(self.scenario.strategies.values())[s]
            harvested = bool(strategy.harvest or strategy.removals)
            reading = indices.pair_reading(bass[1], bluegill[1], harvested=harvested).words
            told = [banded(three, "percent") for three in (bass, bluegill)]
            text = f"with {name}, bass PSD {told[0]} and bluegill PSD {told[1]}, mean of the surveys of the last twelve "
            text += f"months; these two middles read: {reading}."
        else:
            text = f"with {name}, too few fish of stock length in the last twelve months to read the balance."
        every = range(len(d.names))
        each = joined(f"{self.short[k]} {self.chance(float(self.in_range[k]))}" for k in every)
        text += f" Both PSDs in the {option_words(self.option)} ranges then: {each}."
        if max(self.in_range) < GOOD and any(score.goal.kind == self.option for score in d.scores):
            text += " None is likely to get there: try other strategies, and survey before you spend."
        for score in d.scores:
            if score.goal.kind == "bass_above":
                chances = goals.chance_of_one(self.dataset, score.goal)
                each = joined(f"{self.short[k]} {in_ten(float(chances[k]))}" for k in every)
                year = f" of {self._year(score)}" if score.goal.by_year else ""
                what = self.goal(score, short=True)
                text += f" Chance of at least one of the {what} in the pond at the last survey{year}: {each}."
        return text[0].upper() + text[1:]

    def _psd_at_end(self, name: str, strategy: int) -> Three:
        """p10, p50, p90 over the surveys of the last twelve months, as the goals read them."""
        values = goals.at_end(self._quantities[name], self.dataset)[strategy]
        known = values[np.isfinite(values)]
        low, middle, high = np.quantile(known, QUANTILES) if known.size else (np.nan,) * 3
        return float(low), float(middle), float(high)

    @cached_property
    def _quantities(self) -> dict[str, Array]:
        return {q.name: q.values for q in quantities(self.dataset)}

    def unusual(self) -> str:
        """What in the scenario should be looked at again, without what to write into its file."""
        told = [odd.what for odd in unusual(self.scenario)]
        return f"{'; '.join(told)}." if told else ""

    def odd(self, most: int) -> str:
        """The first of that whole, cut to so many characters, and how much more there is."""
        every = unusual(self.scenario)
        more = f" (and {len(every) - 1} more, which check tells)" if len(every) > 1 else ""
        return f"Unusual{more}: {shortened(str(every[0]), most)}" if every else ""

    def mind(self) -> str:
        """What the goals do not count: harvest that is not caught; what the best does badly, as few bass left or out of
        range more often."""
        d = self.decision
        texts = [*self.unthinned(), *self.shortfalls()]
        crop = np.median(self._quantities["bass_standing_crop"][..., -1], axis=1)
        most, best = int(np.argmax(crop)), d.followed
        if crop[best] < MUCH_LESS * crop[most]:
            unit = unit_of("crop", self.units)
            left, there = (figure_of(float(converted(crop[k], "crop", self.units)), "crop") for k in (best, most))
            texts.append(f"{self.short[best]} leaves {left} {unit} of bass at the end, {self.full[most]} {there}")
        likely = int(np.argmax(self.in_range))
        if self.in_range[likely] - self.in_range[best] > MORE_OFTEN:
            texts.append(f"{self.full[likely]} is in the {option_words(self.option)} ranges more often")
        return "; ".join(texts) + "." if texts else ""

    def unthinned(self) -> list[str]:
        """What the model is known to miss, where it is to leave bass alone that another strategy would thin."""
        takes = []
        for one in self.scenario.strategies.values():
            events: list[Harvest | Removal] = [*one.harvest, *(r for r in one.removals if r.reason == "removal")]
            takes.append(any(event.species == "bass" and not is_nothing(event) for event in events))
        if not goals.is_repair(self.scenario) or takes[self.decision.followed] or not any(takes):
            return []
        return [
            f"{self.short[self.decision.followed]} takes out no bass, and the model makes too little of thinning "
            "crowded bass: where a survey finds them, this says little against thinning"
        ]

    def shortfalls(self) -> list[str]:
        """What harvest rules ask for and anglers do not catch."""
        texts = []
        for catch in harvest_outcome.catches(self.dataset, self.scenario):
            if not catch.falls_short:
                continue
            kind = "crop" if catch.amount == "kg_per_ha" else "density"
            first, last = catch.years[0], catch.years[-1]
            years = f"{first}–{last}" if last > first else f"{first}"
            asked = brief(float(converted(catch.asked.mean(), kind, self.units)), 2)
            caught = of_members(converted(catch.caught.mean(axis=1), kind, self.units), kind)
            texts.append(
                f"{self.short[self.decision.names.index(catch.strategy)]} asks for {asked} {unit_of(kind, self.units)} of "
                f"{catch.species} a year in {years}, and {caught} are caught: its harvest is a ceiling, not a catch (too few "
                "such fish, or too few hours and bites)"
            )
        return texts

    def repair(self) -> str:
        """What becomes of a pond that has fish at the start; nothing for another."""
        if not goals.is_repair(self.scenario):
            return ""
        found = goals.repair(self.dataset, self.option)
        parts = []
        for k, name in enumerate(self.decision.names):
            years = found.years[name]
            when = f"in range at a survey after {years:.1f} years" if years is not None else "at no survey surely in range"
            when += f", over the last twelve months {self.chance(float(self.in_range[k]))}"
            out = self._fish(np.median(found.taken_out[name], axis=0))
            put = self._fish(found.put_in[name])
            lost = float(np.median(found.seasons_lost[k]))
            season = f"{_count(lost, 'season')} of fishing lost" if lost >= 0.5 else ""
            moved = "; ".join(part for part in (out and f"{out} out", put and f"{put} in", season) if part)
            parts.append(f"{self.short[k]}: {when}" + (f"; {moved}" if moved else ""))
        ranges = f"the {option_words(self.option)} ranges"
        sure = f"({10 * SURE:.0f} of 10 futures with both PSDs in {ranges} at one survey count as sure) "
        return f"{sure if self.decision.members > 1 else ''}{'. '.join(parts)}."

    @staticmethod
    def _fish(counts: Array) -> str:
        return joined(f"{brief(n, 2)} {PLURAL[s]}" for s, n in zip(SPECIES, np.round(counts), strict=True) if n > 0)

    def change(self) -> str:
        """Goals under which another strategy would be the choice, and what a survey could show."""
        d, texts = self.decision, []
        if len(d.scores) > 1 and len(d.names) > 1:
            for score in d.scores:
                alone = self._alone(score)
                if alone.chosen is not None and alone.chosen not in d.equals:
                    texts.append(f"if only {self.goal(score)} counted, {self.full[alone.chosen]} would be the choice")
        texts.append("a survey that finds a PSD or Wr outside the band drawn below: run it again from the fish found")
        text = "; ".join(texts)
        return text[0].upper() + text[1:] + "."

    def _alone(self, score: Score) -> Decision:
        from pondpop.decide.comparison import judge

        return judge(self.decision.names, [score])


_MORE = {  # what a difference in the wanted direction is called, and one against it
    "points": ("nearer", "farther off"),
    "fish": ("more", "fewer"),
    "crop": ("more", "less"),
    "money": ("more", "less"),
}


def teller(dataset: xr.Dataset, units: Units, short: Sequence[str] | None = None, full: Sequence[str] | None = None) -> Teller:
    """Who tells the decision of a Dataset; strategies are called by their titles, or keys, unless names are given."""
    scenario = goals.scenario_of(dataset)
    if short is None:
        titles = {name: strategy.title for name, strategy in scenario.strategies.items()}
        several = Counter(titles.values())
        long = {
            name: f"{name} (“{shortened(title, 60)}”)"
            for name, title in titles.items()
            if len(title) > LONGEST_NAME or several[title] > 1
        }
        short = [name if name in long else f"“{title}”" for name, title in titles.items()]
        full = [long.get(name, f"“{title}”") for name, title in titles.items()]
    return Teller(scenario, decide(dataset), tuple(short), tuple(full or short), units, dataset)


def of_members(values: Array, kind: str) -> str:
    """Median and band of the members that have a value, in the unit they are in."""
    known = values[np.isfinite(values)]
    return banded(np.quantile(known, QUANTILES), kind) if known.size else NONE


def option_words(option: str) -> str:
    return {"big_bass": "big-bass"}.get(option, option)


def few_members(members: int) -> str:
    """How little so few members say of a probability; nothing where they are enough."""
    if members >= FEW:
        return ""
    if members == 1:
        return "Only one future was run: nothing is known of chance. Decide on 100 or more."
    off = round(100.0 / np.sqrt(members))  # two standard errors of a share of one half
    return f"Only {members} futures were run: a chance may be off by {off} points of a hundred. Decide on 100 or more."


def _years(count: int) -> str:
    return _count(count, "year")


def _count(count: float, word: str) -> str:
    told = brief(count, 2)
    return f"{told} {word}" if told == "1" else f"{told} {word}s"
