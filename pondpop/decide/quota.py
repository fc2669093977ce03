"""Harvest quotas: how many kg/ha of bass to take, by length window and period, to serve the goals of the file.

What the goals ask for (`limits`) is to be kept, each with a probability; of what keeps it, most of what the goals are
worth (`goals.worth`) is looked for. A scan of a few amounts shows the trade-off, COBYLA (scipy) refines the best of them over all
variables with smoothed limits, and the few that come out best are confirmed, with half and double of the best and with
none, on members that the search has not seen. The answer is the best of all that was confirmed (`best_of`); where that is
not caught, a smaller one that does as well and is. All variants share their luck.
"""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

import numpy as np
import scipy  # its modules are imported when they are first used: `scipy.stats` takes longer than a small comparison's page
import xarray as xr
from numpy.typing import NDArray

from pondpop.checks import Fact, InputError, choice
from pondpop.decide import comparison, goals, harvest_outcome
from pondpop.decide.goals import Cost, Score
from pondpop.decide.limits import Limit, limits
from pondpop.ensemble import results
from pondpop.ensemble.draws import Prior, Source
from pondpop.ensemble.prepare import season_effort
from pondpop.ensemble.run import Store, Variant, project_all
from pondpop.scenario import Harvest, Scenario, Season, as_scenario, checked
from pondpop.scenario.events import DEFAULT_SEASON
from pondpop.units import KG_PER_HA_IN_LB_PER_ACRE, LENGTH, brief

Array = NDArray[np.float64]

MOST_KG_PER_HA = 100.0  # per window and year; no published quota is half as high
FRESH = 100_000  # number of the first member that confirms; the search never reaches it
SCAN = (0.0, 10.0, 20.0, 35.0, 60.0)  # kg/ha and year, first window
SCAN_OTHERS = (0.0, 10.0)  # every other window
FINALISTS = 2  # of the search that are confirmed (a choice)
EPOCH = dt.date(1970, 1, 1).toordinal()  # of the days of a Dataset
VAIN = 1.0  # differences that matter, that a quota of which nothing can be caught costs (a choice)
ALIKE = 1.0  # differences that matter, below which less is as good as more that is not caught
CONFIRMED = 0.9  # how sure the probability of a limit must be after so many fresh members (a choice)


@dataclass(frozen=True)
class Question:
    """What is asked: which bass may be taken and when, and with what probability each limit is to be kept.

    windows in mm; periods are (from_year, to_year), calendar years of the run; wr_floor: least Wr of bass of 8–12 in, None
    where it does not matter.
    """

    strategy: str
    windows: tuple[tuple[float, float], ...]
    periods: tuple[tuple[int, int], ...]
    wr_floor: float | None = None
    probability: float = 0.8
    season: Season = DEFAULT_SEASON

    @property
    def size(self) -> int:
        return len(self.windows) * len(self.periods)


@dataclass(frozen=True)
class Trial:
    """One set of amounts [window, period] in kg/ha and year, and what came of it, member by member.

    independent: members that have a past of their own; as many count for how sure a share of them is.
    """

    amounts: Array
    dataset: xr.Dataset
    limits: tuple[Limit, ...]
    scores: list[Score]
    cost: Cost
    taken: Array  # kg/ha [member, year]
    asked: Array  # kg/ha [year]
    independent: int

    @property
    def members(self) -> int:
        return int(self.taken.shape[0])

    @cached_property
    def chances(self) -> dict[str, float]:
        """Probability of each limit by its name."""
        return {limit.name: float(limit.holds.mean()) for limit in self.limits}

    @cached_property
    def keeps(self) -> Array:
        """Chance that all limits hold at once [member]; 0 or 1 but where fish are expected."""
        return self._all_at_once([limit.holds for limit in self.limits])

    @property
    def all_at_once(self) -> float:
        return float(self.keeps.mean())

    @cached_property
    def worth(self) -> Array:
        """Worth by the goals [member], in differences that matter."""
        return goals.worth(self.scores)[0]

    def _all_at_once(self, each: Sequence[Array]) -> Array:
        return np.asarray(np.prod([np.ones(self.members), *each], axis=0))

    def meets(self, probability: float) -> bool:
        """Whether each limit holds in at least this share of the members."""
        return all(chance >= probability for chance in self.chances.values())

    @property
    def at_the_most(self) -> bool:
        """Whether more of some window was never looked at."""
        return bool((self.amounts > MOST_KG_PER_HA - KG_PER_HA_IN_LB_PER_ACRE / 2).any())

    def surely_meets(self, probability: float) -> bool:
        """Whether each limit holds in so many members that chance among them can hardly be the reason."""
        return all(at_least(chance, self.independent) >= probability for chance in self.chances.values())

    def standing(self, probability: float) -> tuple[int, float, float]:
        """What the best of several trials has most of: limits surely met, or met, and then worth; else all at once."""
        level = 2 if self.surely_meets(probability) else 1 if self.meets(probability) else 0
        return level, 0.0 if level else self.all_at_once, self.value

    def near_standing(self, probability: float) -> tuple[int, float, float]:
        """The same with smoothed limits, for few members."""
        met = bool((self.near_chances >= probability).all())
        return int(met), 0.0 if met else float(self._all_at_once([limit.nearly for limit in self.limits]).mean()), self.value

    @cached_property
    def near_chances(self) -> Array:
        """Smoothed probability of each limit [limit]."""
        return np.array([limit.nearly.mean() for limit in self.limits])

    @property
    def caught(self) -> bool:
        """Whether anglers get as good as all that is asked for."""
        return in_vain(self) <= 1.0 - harvest_outcome.TAKEN

    @property
    def value(self) -> float:
        """Mean worth, less what is asked for in vain: a quota that anglers cannot catch is no advice."""
        return float(self.worth.mean()) - VAIN * in_vain(self)


@dataclass(frozen=True)
class Binding:
    """The one limit that stands in the way where not all can be met: without it the others are met, or nearest to it.

    without: the best set of amounts, were it not there, on the fresh members and without it; widened: the ends between
    which it would hold under the quota, None where none will do.
    """

    limit: Limit  # under the quota
    without: Trial
    widened: tuple[float, float] | None


@dataclass(frozen=True)
class Found:
    """The answer: the quota on fresh members, what else was confirmed there, and the scan that led there."""

    question: Question
    best: Trial
    others: dict[str, Trial]  # "no harvest", "half" and "double" of the quota, and what else was confirmed
    binding: Binding | None
    scan: list[Trial]
    tried: int
    scenario: Scenario = field(repr=False)

    @property
    def met(self) -> bool:
        """Whether the quota meets every limit, the number of fresh members allowed for."""
        return self.best.surely_meets(self.question.probability)

    @property
    def chosen_scenario(self) -> Scenario:
        """The scenario with the quota, and its strategy only."""
        return with_quota(self.scenario, self.question, self.best.amounts)


def find_quota(
    scenario: Scenario | str | Path,
    strategy: str | None = None,
    *,
    windows_mm: Sequence[tuple[float, float]] = ((203.2, 304.8), (381.0, 635.0)),
    from_year: int | None = None,
    wr_floor: float | None = None,
    probability: float = 0.8,
    search_members: int = 16,
    tries: int = 24,
    source: Source | None = None,
    executor: Executor | None = None,
    store: Store | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Found:
    """How many bass to take each year, by length window, to serve the goals of a scenario and keep what they ask for.

    scenario: one that was loaded, or the path of its file. windows_mm: one to three windows of total length; from_year:
    the calendar year of the run in which harvest begins; wr_floor: least Wr of bass of 8-12 in, if it matters;
    probability: with which each limit is to be kept. The answer's `best.amounts` [window, period] are kg/ha and year,
    `met` says whether they keep the limits. Raises InputError, RunError.

    >>> import pondpop
    >>> found = pondpop.find_quota("pond.toml", windows_mm=[(203, 305)], from_year=1, search_members=1, tries=0)
    >>> found.best.amounts.shape == (len(found.question.windows), len(found.question.periods))
    True
    """
    whole = as_scenario(scenario)
    question = ask(whole, strategy, windows_mm, from_year, wr_floor, probability)
    return search(
        whole, question, search_members=search_members, tries=tries, source=source, executor=executor, store=store,
        progress=progress,
    )  # fmt: skip


def ask(
    scenario: Scenario,
    strategy: str | None = None,
    windows: Sequence[tuple[float, float]] = ((203.2, 304.8), (381.0, 635.0)),
    from_year: int | None = None,
    wr_floor: float | None = None,
    probability: float = 0.8,
) -> Question:
    """A question about one strategy of a scenario, checked.

    By default: the first strategy; bass of 8–12 and 15–25 in; from the calendar year after the one in which the last
    bass were stocked. Raises InputError.
    """
    checked(scenario)
    name = next(iter(scenario.strategies)) if strategy is None else strategy
    choice("--strategy", name, scenario.strategies)
    stocked = [e.date.year for e in scenario.strategies[name].stocking if e.species == "bass" and not e.resident]
    start, last = scenario.run.start.year, scenario.run.last_year
    first = from_year if from_year is not None else max([year - start + 2 for year in stocked], default=1)
    if not 1 <= first <= last - 1:
        counted = f"years count from 1, which is {start}"
        if start <= first <= start + last - 1:
            counted += f"; {first} is year {first - start + 1}"
        remedy = "lengthen the run" if from_year is None else counted
        raise InputError("--from-year", first, f"a year of the run from 1 to {last - 1}", remedy)
    if not 1 <= len(windows) <= 3:
        raise InputError("windows", Fact(f"{len(windows)} of them"), "1 to 3 length windows")
    for one, other in itertools.combinations(sorted(windows), 2):
        if other[0] < one[1]:
            unit = LENGTH["in" if scenario.units == "us" else "mm"]
            words = " and ".join("..".join(brief(unit.from_si(end)) for end in ends) for ends in (one, other))
            given = Fact(f"{words} {unit.words}, which overlap")
            raise InputError("windows", given, "windows apart", "let one end where the next begins")
    build_up = min(first + 1, last - 1)  # the first two years of harvest apart from those that follow
    periods = ((first, build_up), (build_up + 1, last))
    return Question(name, tuple(windows), periods, wr_floor, probability)


def with_quota(scenario: Scenario, question: Question, amounts: Array) -> Scenario:
    """The strategy alone, with these amounts as its bass harvest in place of the rules that it has for bass by then."""
    strategy, before = scenario.strategies[question.strategy], question.periods[0][0] - 1
    rules = [rule for rule in strategy.harvest if rule.species != "bass"]
    done = [rule for rule in strategy.harvest if rule.species == "bass" and rule.from_year <= before]
    rules += [rule._replace(to_year=min(rule.to_year, before)) for rule in done]
    for (w, window), (p, (first, last)) in itertools.product(
        enumerate(question.windows), enumerate(question.periods)
    ):
        rules.append(
            Harvest(
                name=f"quota_{w + 1}_{p + 1}",
                species="bass",
                length_mm=window,
                season=question.season,
                from_year=first,
                to_year=last,
                kg_per_ha=float(amounts[w, p]),
            )
        )
    changed = strategy._replace(harvest=tuple(rules))
    return scenario._replace(strategies={question.strategy: changed}, what_if=())


def search(
    scenario: Scenario,
    question: Question,
    *,
    search_members: int = 16,
    tries: int = 24,
    source: Source | None = None,
    executor: Executor | None = None,
    store: Store | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Found:
    """Find the quota, and confirm it on as many fresh members as the scenario asks for. Raises InputError, RunError.

    tries: steps after the scan; 0 leaves it at the scan. Of an ensemble that records have weighed, the fresh members have
    pasts that no member of the search has.
    """
    scanned = [
        np.repeat(np.array([[first], *([other] for other in others)]), len(question.periods), axis=1)
        for first in SCAN
        for others in itertools.product(SCAN_OTHERS, repeat=len(question.windows) - 1)
    ]
    tries = max(tries, question.size + 2) if tries else 0  # COBYLA needs as many to begin with
    members, wanted = scenario.ensemble.members, question.probability
    searching, confirming = (source or Prior()).parted(search_members)
    total, before = (len(scanned) + tries) * search_members + (4 + FINALISTS) * members, 0

    def told(done: int, of: int) -> None:
        if progress:
            progress(min(before + done, total), total)

    def project(every: Sequence[Array], first: int, count: int) -> list[Trial]:
        nonlocal before
        own = confirming if first >= FRESH else searching
        of_count = scenario._replace(ensemble=scenario.ensemble._replace(members=count))
        made = [with_quota(of_count, question, amounts) for amounts in every]
        readings = project_all(
            [Variant(one, question.strategy) for one in made],
            first=first,
            source=own,
            executor=executor,
            store=store,
            progress=told,
        )
        independent = count if own.pasts is None else min(count, own.pasts)
        found = [
            judge(results.to_dataset(one, {question.strategy: read}, {}), one, question, amounts, independent)
            for one, read, amounts in zip(made, readings, every, strict=True)
        ]
        before += len(every) * count
        return found

    tried = dict(zip(map(_key, scanned), project(scanned, 0, search_members), strict=True))
    scan = list(tried.values())

    def at(x: Array) -> Trial:
        amounts = np.clip(x, 0.0, MOST_KG_PER_HA).reshape(len(question.windows), len(question.periods))
        if _key(amounts) not in tried:
            tried[_key(amounts)] = project([amounts], 0, search_members)[0]
        return tried[_key(amounts)]

    if tries:
        start = max(scan, key=lambda trial: trial.near_standing(wanted))
        scipy.optimize.minimize(
            lambda x: -at(x).value + 0.01 * float(np.sum(np.maximum(-x, 0.0))),
            start.amounts.ravel(),
            method="COBYLA",
            constraints=[{"type": "ineq", "fun": lambda x: at(x).near_chances - wanted}] if start.limits else [],
            options={"rhobeg": 8.0, "maxiter": tries, "tol": 1.0},
        )
    every = sorted(tried.values(), key=lambda trial: trial.near_standing(wanted), reverse=True)

    confirmed: dict[bytes, Trial] = {}

    def confirm(some: Sequence[Array]) -> list[Trial]:
        new = {_key(amounts): amounts for amounts in some if _key(amounts) not in confirmed}
        if new:
            confirmed.update(zip(new, project(list(new.values()), FRESH, members), strict=True))
        return [confirmed[_key(amounts)] for amounts in some]

    def around(amounts: Array) -> list[Array]:
        return [_rounded(0.5 * amounts, scenario.units), np.minimum(2.0 * amounts, MOST_KG_PER_HA)]

    finalists = list({_key(a): a for a in (_rounded(trial.amounts, scenario.units) for trial in every)}.values())
    (none, *_) = confirm([np.zeros_like(finalists[0]), *finalists[:FINALISTS]])
    limit, unlimited = _binds(every, wanted) if every[0].limits else (0, every[0])
    without = _rounded(unlimited.amounts, scenario.units)
    while True:  # every round but the last confirms new amounts, and these are whole and bounded: this ends
        best = best_of(confirmed.values(), wanted)
        looked = len(confirmed)
        confirm([*around(best.amounts), *([] if best.meets(wanted) else [without])])
        if len(confirmed) == looked:
            break

    def chosen(under: Callable[[Trial], Trial]) -> Trial:
        """The best of what was confirmed, under its limits or others; where it is not caught, less that does as well."""
        fewer = top = best_of(map(under, confirmed.values()), wanted)
        while not fewer.caught and keeps_as_well(fewer, top, wanted):  # what anglers get of it is asked for in its place
            amounts = _rounded((1.0 - in_vain(fewer)) * fewer.amounts, scenario.units)
            less = under(confirm([amounts])[0])
            if in_vain(less) >= in_vain(fewer):
                break
            fewer = less
        return top if top.caught else instead_of(top, map(under, confirmed.values()), wanted)

    best, binding = chosen(lambda trial: trial), None
    if not best.meets(wanted):
        free = chosen(lambda trial: replace(trial, limits=(*trial.limits[:limit], *trial.limits[limit + 1 :])))
        binding = Binding(best.limits[limit], free, best.limits[limit].widened(wanted))
    others = {}
    if best is not none:
        half, double = confirm(around(best.amounts))
        every_other = {"no harvest": none, "half": half, "double": double}
        others = {name: trial for name, trial in every_other.items() if trial is not best}
    shown = {id(best), *map(id, others.values())}
    rest = [trial for trial in confirmed.values() if id(trial) not in shown]
    others |= {f"also tried {n}": trial for n, trial in enumerate(rest, 1)}
    return Found(question, best, others, binding, scan, len(tried), scenario)


def best_of(trials: Iterable[Trial], probability: float) -> Trial:
    """The best: of those that meet the limits, the one of the highest standing.

    Where none does, of those that so few members cannot tell from the one that comes nearest (within one standard error of
    how much more often that one keeps the limits, member by member), the one that serves the goals best.
    """
    every = list(trials)
    top = max(every, key=lambda trial: trial.standing(probability))
    if top.meets(probability):
        return top

    def alike(one: Trial) -> bool:
        more = top.keeps - one.keeps
        return float(more.mean()) <= float(more.std()) / max(top.independent - 1, 1) ** 0.5

    return max(filter(alike, every), key=lambda trial: (trial.value, trial.all_at_once))


def keeps_as_well(one: Trial, best: Trial, probability: float) -> bool:
    """Whether a trial keeps the limits as well as the best one; where that misses some, as often."""
    if best.meets(probability):
        return one.standing(probability)[0] >= best.standing(probability)[0]
    return one.all_at_once >= best.all_at_once


def as_good(best: Trial, others: Iterable[Trial], probability: float) -> list[Trial]:
    """Of other trials those that ask for less, are caught, keep the limits as well, and that the goals do not rank below."""
    found = []
    for one in others:
        if one.caught and one.asked.sum() < best.asked.sum() and keeps_as_well(one, best, probability):
            both = comparison.together([(trial.scores, trial.cost) for trial in (best, one)])
            if not comparison.judge(["best", "other"], *both).pair(0, 1).wins:
                found.append(one)
    return found


def instead_of(best: Trial, others: Iterable[Trial], probability: float) -> Trial:
    """What to offer in place of the best trial where anglers do not catch what it asks for.

    The best of those that do as well and are caught; where none is, the one that asks for the least of those that keep the
    limits as well and are worth less by no difference that matters: more would be asked for in vain.
    """
    every = list(others)
    if caught := as_good(best, every, probability):
        return max(caught, key=lambda trial: trial.value)
    near = [one for one in every if keeps_as_well(one, best, probability) and one.value > best.value - ALIKE]
    return min([best, *near], key=lambda trial: float(trial.asked.sum()))


def _binds(every: Sequence[Trial], probability: float) -> tuple[int, Trial]:
    """The limit without which the others are nearest to being met, by its place, and the best trial then."""

    def others(trial: Trial, k: int) -> float:
        return float(np.min(np.delete(trial.near_chances, k), initial=1.0))

    def nearest_of(k: int) -> float:
        return min(max(others(trial, k) for trial in every), probability)

    def own(k: int) -> float:
        return max(float(trial.near_chances[k]) for trial in every)

    binding = max(range(len(every[0].limits)), key=lambda k: (nearest_of(k), -own(k)))
    enough = [trial for trial in every if others(trial, binding) >= probability]
    if enough:
        return binding, max(enough, key=lambda trial: trial.value)
    return binding, max(every, key=lambda trial: (others(trial, binding), trial.value))


def _key(amounts: Array) -> bytes:
    return np.round(amounts, 9).tobytes()


def at_least(share: float, members: int) -> float:
    """The probability that is at least there if a share of so many members shows something.

    Lower end of a one-sided interval that holds in 9 of 10 cases at least (Clopper and Pearson 1934).
    """
    shown = round(share * members)
    return float(scipy.stats.beta.ppf(1.0 - CONFIRMED, shown, members - shown + 1)) if shown else 0.0


def judge(
    dataset: xr.Dataset, scenario: Scenario, question: Question, amounts: Array, independent: int | None = None
) -> Trial:
    """What came of one set of amounts; independent: by default every member."""
    rules = [rule for rule in scenario.strategies[question.strategy].harvest if rule.species == "bass"]
    taken = harvest_outcome.by_year(dataset, dataset["harvest_biomass"].isel(strategy=0).sel(species="bass").values)
    return Trial(
        amounts=amounts,
        dataset=dataset,
        limits=limits(dataset, scenario, question.wr_floor),
        scores=goals.scores(dataset),
        cost=goals.costs(dataset),
        taken=taken,
        asked=harvest_outcome.asked(scenario, rules, "kg_per_ha"),
        independent=taken.shape[0] if independent is None else independent,
    )


def in_vain(trial: Trial) -> float:
    """Share of what is asked for over the run that is not caught in the middle member; 0 where nothing is asked for."""
    asked = float(trial.asked.sum())
    caught = float(np.median(np.minimum(trial.taken, trial.asked).sum(axis=1)))
    return 1.0 - caught / asked if asked > 0.0 else 0.0


def _rounded(amounts: Array, units: str) -> Array:
    """Amounts that one can write on a sign: whole lb/acre, or whole kg/ha."""
    unit = KG_PER_HA_IN_LB_PER_ACRE if units == "us" else 1.0
    return np.asarray(np.round(amounts / unit) * unit)


def chance_caught(trial: Trial) -> Array:
    """Probability that at least `harvest_outcome.TAKEN` of a year's quota is caught [year]; NaN in years without one."""
    share = (trial.taken >= harvest_outcome.TAKEN * trial.asked).mean(axis=0)
    return np.where(trial.asked > 0.0, share, np.nan)


def whole_fish(trial: Trial, question: Question, scenario: Scenario) -> NDArray[np.intp]:
    """Fish of the whole pond to take from each window in each month of the run's calendar years [window, year, month].

    The quota of the month over the mean weight of such fish at the nearest survey; whole fish so that the months add up to
    the year's fish.
    """
    run, ds = scenario.run, trial.dataset
    number, biomass = (ds[name].isel(strategy=0).sel(species="bass").values.sum(axis=0) for name in ("number", "biomass"))
    surveys = ds["survey_date"].values.astype("datetime64[D]").astype(int)
    dates = [run.start + dt.timedelta(days=k) for k in range((run.end - run.start).days)]
    year = np.array([date.year - run.start.year for date in dates], dtype=np.intp)
    month = np.array([date.month - 1 for date in dates])
    mid_month = np.array([[dt.date(run.start.year + y, m, 15).toordinal() for m in range(1, 13)] for y in range(run.last_year)])
    nearest_survey = np.abs(surveys + EPOCH - mid_month[..., None]).argmin(axis=-1)
    fish = np.zeros((len(question.windows), run.last_year, 12))
    for w, window in enumerate(question.windows):
        inside = harvest_outcome.inside(window, number.shape[-1])
        count, weight = (array @ inside for array in (number, biomass))  # [survey]
        per_kg = np.where(weight > 1e-9, count / np.maximum(weight, 1e-9), count.sum() / max(float(weight.sum()), 1e-9))
        for p, period in enumerate(question.periods):
            effort = season_effort(dates, year, question.season, *period)
            share = np.bincount(year * 12 + month, weights=effort, minlength=12 * run.last_year).reshape(-1, 12)
            fish[w] += trial.amounts[w, p] * scenario.pond.area_ha * share * per_kg[nearest_survey]
    upto = np.round(np.cumsum(fish, axis=-1)).astype(np.intp)
    return np.diff(upto, axis=-1, prepend=0)
