"""Harvest quotas: how many kg/ha of bass to take, by length window and period, to serve the goals under constraints.

A scan of a few amounts shows the trade-off, COBYLA (scipy) refines the best of them over all variables with a smoothed
indicator of the constraints, and what it finds is confirmed, with half and double of it, on members that the search
has not seen. All variants share their luck.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import expit
from scipy.stats import beta

from pondpop.checks import Fact, InputError, nearest
from pondpop.decide import goals, harvest_outcome
from pondpop.ensemble import results
from pondpop.ensemble.draws import Source
from pondpop.ensemble.quantities import quantities
from pondpop.ensemble.run import Store, Variant, project_all
from pondpop.observe import indices
from pondpop.scenario import Harvest, Scenario, Season, as_scenario, checked
from pondpop.scenario.events import DEFAULT_SEASON
from pondpop.units import KG_PER_HA_IN_LB_PER_ACRE, MM_PER_IN, brief

Array = NDArray[np.float64]

MOST_KG_PER_HA = 100.0  # per window and year; no published quota is half as high
FRESH = 100_000  # number of the first member that confirms; the search never reaches it
SCAN = (0.0, 10.0, 20.0, 35.0, 60.0)  # kg/ha and year, first window
SCAN_OTHERS = (0.0, 10.0)  # every other window
# How soft the indicator of each constraint is in the search (choices): PSD points, Wr points, log of F/C
SOFT_PSD, SOFT_WR, SOFT_RATIO = 3.0, 1.5, 0.1
PENALTY = 10.0  # what a missing probability of 1 weighs against goals of about 1
VAIN = 1.0  # and what a quota of which nothing can be caught does
CONFIRMED = 0.9  # how sure the probability of a constraint must be after so many fresh members (a choice)
MOST_FORAGE = 10.0  # F/C above which bluegill are crowded (upper end of balanced ponds, Swingle 1950, from memory)


@dataclass(frozen=True)
class Question:
    """What is asked: which bass may be taken and when, and what the pond must keep to.

    windows in mm; periods are (from_year, to_year), calendar years of the run; option names the PSD range.
    """

    strategy: str
    windows: tuple[tuple[float, float], ...]
    periods: tuple[tuple[int, int], ...]
    option: str = "balanced"
    wr_floor: float = 90.0
    probability: float = 0.8
    season: Season = DEFAULT_SEASON

    @property
    def size(self) -> int:
        return len(self.windows) * len(self.periods)


@dataclass(frozen=True)
class Trial:
    """One set of amounts [window, period] in kg/ha and year, and what came of it, member by member."""

    amounts: Array
    dataset: xr.Dataset
    chances: dict[str, float]  # each constraint by its name, and "all"
    soft: Array  # the same constraints, smoothed
    worth: float  # by the goals, larger is better
    taken: Array  # kg/ha [member, year]
    asked: Array  # kg/ha [year]

    @property
    def members(self) -> int:
        return int(self.taken.shape[0])

    def meets(self, probability: float) -> bool:
        """Whether each constraint holds in at least this share of the members."""
        return all(chance >= probability for name, chance in self.chances.items() if name != "all")

    def surely_meets(self, probability: float) -> bool:
        """Whether each constraint holds in so many members that chance among them can hardly be the reason."""
        every = (chance for name, chance in self.chances.items() if name != "all")
        return all(at_least(chance, self.members) >= probability for chance in every)


@dataclass(frozen=True)
class Found:
    """The answer: the quota on fresh members, half and double of it and none, and the scan that led there."""

    question: Question
    best: Trial
    others: dict[str, Trial]  # "no harvest", "half", "double"
    scan: list[Trial]
    tried: int
    scenario: Scenario = field(repr=False)

    @property
    def met(self) -> bool:
        """Whether the quota meets every constraint, the number of fresh members allowed for."""
        return self.best.surely_meets(self.question.probability)


def find_quota(
    scenario: Scenario | str | Path,
    strategy: str | None = None,
    *,
    windows_mm: Sequence[tuple[float, float]] = ((203.2, 304.8), (381.0, 635.0)),
    from_year: int | None = None,
    option: str | None = None,
    wr_floor: float = 90.0,
    probability: float = 0.8,
    search_members: int = 16,
    tries: int = 24,
    source: Source | None = None,
    executor: Executor | None = None,
    store: Store | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Found:
    """How many bass to take each year, by length window, to serve the goals of a scenario under constraints.

    scenario: one that was loaded, or the path of its file. windows_mm: one to three windows of total length; from_year:
    the calendar year of the run in which harvest begins; option: whose PSD range; wr_floor: least Wr of bass of 8-12 in;
    probability: with which each constraint is to be met. The answer's `best.amounts` [window, period] are kg/ha and year,
    `met` says whether they meet the constraints. Raises InputError, RunError.

    >>> import pondpop
    >>> found = pondpop.find_quota("pond.toml", windows_mm=[(203, 305)], from_year=1, search_members=1, tries=0)
    >>> found.best.amounts.shape == (len(found.question.windows), len(found.question.periods))
    True
    """
    whole = as_scenario(scenario)
    question = ask(whole, strategy, windows_mm, from_year, option, wr_floor, probability)
    return search(
        whole, question, search_members=search_members, tries=tries, source=source, executor=executor, store=store,
        progress=progress,
    )  # fmt: skip


def ask(
    scenario: Scenario,
    strategy: str | None = None,
    windows: Sequence[tuple[float, float]] = ((203.2, 304.8), (381.0, 635.0)),
    from_year: int | None = None,
    option: str | None = None,
    wr_floor: float = 90.0,
    probability: float = 0.8,
) -> Question:
    """A question about one strategy of a scenario, checked.

    By default: the first strategy; bass of 8–12 and 15–25 in; from the calendar year after the one in which the last
    bass were stocked; the ranges of the first goal that has some, or else balanced. Raises InputError.
    """
    checked(scenario)
    name = next(iter(scenario.strategies)) if strategy is None else strategy
    if name not in scenario.strategies:
        raise InputError("--strategy", name, "a strategy of the scenario", nearest(name, scenario.strategies))
    stocked = [e.date.year for e in scenario.strategies[name].stocking if e.species == "bass" and not e.resident]
    start, last = scenario.run.start.year, scenario.run.last_year
    first = from_year if from_year is not None else max([year - start + 2 for year in stocked], default=1)
    if not 1 <= first <= last - 1:
        raise InputError("--from-year", first, f"a calendar year of the run from 1 to {last - 1}", "lengthen the run")
    if not 1 <= len(windows) <= 3:
        raise InputError("--window", Fact(f"{len(windows)} windows"), "1 to 3 length windows")
    for one, other in itertools.combinations(sorted(windows), 2):
        if other[0] < one[1]:
            words = " and ".join(f"{brief(low / MM_PER_IN)}..{brief(high / MM_PER_IN)}" for low, high in (one, other))
            raise InputError(
                "--window", Fact(f"{words} in, which overlap"), "windows apart", "let one end where the next begins"
            )
    if option is not None and option not in indices.TARGET_OPTIONS:
        raise InputError("--option", option, "one of " + ", ".join(indices.TARGET_OPTIONS))
    wanted = option or next((g.kind for g in scenario.goals if g.kind in indices.TARGET_OPTIONS), "balanced")
    build_up = min(first + 1, last - 1)  # the first two years of harvest apart from those that follow
    periods = ((first, build_up), (build_up + 1, last))
    return Question(name, tuple(windows), periods, wanted, wr_floor, probability)


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
    """Find the quota, confirm it on as many fresh members as the scenario asks for. Raises RunError.

    tries: steps after the scan; 0 leaves it at the scan.
    """
    scanned = [
        np.repeat(np.array([[first], *([other] for other in others)]), len(question.periods), axis=1)
        for first in SCAN
        for others in itertools.product(SCAN_OTHERS, repeat=len(question.windows) - 1)
    ]
    tries = max(tries, question.size + 2) if tries else 0  # COBYLA needs as many to begin with
    members = scenario.ensemble.members
    total, before = (len(scanned) + tries) * search_members + 4 * members, 0

    def told(done: int, of: int) -> None:
        if progress:
            progress(min(before + done, total), total)

    def project(every: Sequence[Array], first: int, count: int) -> list[Trial]:
        nonlocal before
        of_count = scenario._replace(ensemble=scenario.ensemble._replace(members=count))
        made = [with_quota(of_count, question, amounts) for amounts in every]
        readings = project_all(
            [Variant(one, question.strategy) for one in made],
            first=first,
            source=source,
            executor=executor,
            store=store,
            progress=told,
        )
        found = [
            judge(results.to_dataset(one, {question.strategy: read}, {}), one, question, amounts)
            for one, read, amounts in zip(made, readings, every, strict=True)
        ]
        before += len(every) * count
        return found

    scan = project(scanned, 0, search_members)
    tried = list(scan)

    def loss(x: Array) -> float:
        amounts = np.clip(x, 0.0, MOST_KG_PER_HA).reshape(len(question.windows), len(question.periods))
        tried.extend(project([amounts], 0, search_members))
        return -merit(tried[-1], question) + 0.01 * float(np.sum(np.maximum(-x, 0.0)))

    start = max(scan, key=lambda trial: merit(trial, question))
    if tries:
        options = {"rhobeg": 8.0, "maxiter": tries, "tol": 1.0}
        minimize(loss, start.amounts.ravel(), method="COBYLA", options=options)
    chosen = max(tried, key=lambda trial: merit(trial, question))
    rounded = _rounded(chosen.amounts, scenario.units)
    none, half, once, double = project(
        [np.zeros_like(rounded), 0.5 * rounded, rounded, np.minimum(2.0 * rounded, 2 * MOST_KG_PER_HA)], FRESH, members
    )
    others = {"no harvest": none, "half": half, "double": double}
    return Found(question, once, others, scan, len(tried), scenario)


def at_least(share: float, members: int) -> float:
    """The probability that is at least there if a share of so many members shows something.

    Lower end of a one-sided interval that holds in 9 of 10 cases at least (Clopper and Pearson 1934).
    """
    shown = round(share * members)
    return float(beta.ppf(1.0 - CONFIRMED, shown, members - shown + 1)) if shown else 0.0


def judge(dataset: xr.Dataset, scenario: Scenario, question: Question, amounts: Array) -> Trial:
    """What came of one set of amounts. PSD, Wr and F/C are read over the last twelve months of the run."""
    named = {q.name: q.values for q in quantities(dataset)}

    def end(name: str) -> Array:
        return goals.at_end(named[name], dataset)[0]

    bounds = indices.target_range(question.option, "bass", "psd")
    assert bounds is not None
    psd, wr, ratio = end("bass_psd"), end("bass_wr_8_12in"), end("forage_carnivore_ratio")
    met = {
        "bass PSD in range": (psd >= bounds[0]) & (psd <= bounds[1]),
        "Wr above the floor": wr >= question.wr_floor,
        "bluegill not crowded": ratio <= MOST_FORAGE,
    }
    chances = {name: float(holds.mean()) for name, holds in met.items()}
    chances["all"] = float(np.logical_and.reduce(list(met.values())).mean())
    soft = [
        expit((psd - bounds[0]) / SOFT_PSD) * expit((bounds[1] - psd) / SOFT_PSD),
        expit((wr - question.wr_floor) / SOFT_WR),
        expit((np.log(MOST_FORAGE) - np.log(np.maximum(ratio, 1e-9))) / SOFT_RATIO),
    ]
    smoothed = np.array([float(np.nan_to_num(each, nan=0.0).mean()) for each in soft])
    taken, asked = _taken_and_asked(dataset, scenario, question)
    return Trial(amounts, dataset, chances, smoothed, _worth(dataset, taken), taken, asked)


def merit(trial: Trial, question: Question) -> float:
    """What the search makes as large as it can: the goals, less what is missing of every probability, less what is
    asked for in vain (a quota that anglers cannot catch is no advice)."""
    missing = float(np.maximum(question.probability - trial.soft, 0.0).sum())
    return trial.worth - PENALTY * missing - VAIN * in_vain(trial)


def in_vain(trial: Trial) -> float:
    """Share of what is asked for over the run that is not caught in the middle member; 0 where nothing is asked for."""
    asked = float(trial.asked.sum())
    caught = float(np.median(np.minimum(trial.taken, trial.asked).sum(axis=1)))
    return 1.0 - caught / asked if asked > 0.0 else 0.0


def _worth(dataset: xr.Dataset, taken: Array) -> float:
    """Goals of the scenario in one number, each scaled to about 1 (the scales are choices)."""
    total, weights = 0.0, 0.0
    for score in goals.scores(dataset):
        value = float(np.nanmedian(score.values)) if np.isfinite(score.values).any() else 0.0
        worth = {
            "points": -value / 20.0,
            "crop": value / max(taken.shape[1], 1) / 40.0,
            "fish": float(np.log1p(max(value, 0.0))) / 3.0,
            "money": -value / 10_000.0,
        }[score.kind]
        total, weights = total + score.goal.weight * worth, weights + score.goal.weight
    return total / weights if weights else 0.0


def _taken_and_asked(dataset: xr.Dataset, scenario: Scenario, question: Question) -> tuple[Array, Array]:
    """Bass taken [member, year] and asked for [year] in each calendar year of the run, kg/ha."""
    rules = [rule for rule in scenario.strategies[question.strategy].harvest if rule.species == "bass"]
    taken = harvest_outcome.by_year(dataset, dataset["harvest_biomass"].isel(strategy=0).sel(species="bass").values)
    return taken, harvest_outcome.asked(scenario, rules, "kg_per_ha")


def _rounded(amounts: Array, units: str) -> Array:
    """Amounts that one can write on a sign: whole lb/acre, or whole kg/ha."""
    unit = KG_PER_HA_IN_LB_PER_ACRE if units == "us" else 1.0
    return np.asarray(np.round(amounts / unit) * unit)


def chance_caught(trial: Trial) -> Array:
    """Probability that at least `catches.TAKEN` of a year's quota is caught [year]; NaN in years without one."""
    share = (trial.taken >= harvest_outcome.TAKEN * trial.asked).mean(axis=0)
    return np.where(trial.asked > 0.0, share, np.nan)


def whole_fish(trial: Trial, question: Question) -> Array:
    """Fish of the whole pond in each window's yearly quota [window, period], from mean weights at the surveys then."""
    ds = trial.dataset
    area = float(ds.attrs["area_ha"])
    number, biomass = (ds[name].isel(strategy=0).sel(species="bass").values for name in ("number", "biomass"))
    years = ds["survey_date"].values.astype("datetime64[Y]").astype(int) - ds["month"].values[0].astype(
        "datetime64[Y]"
    ).astype(int) + 1
    low = np.arange(number.shape[-1], dtype=float)
    fish = np.zeros((len(question.windows), len(question.periods)))
    for w, window in enumerate(question.windows):
        first, last = (edge / MM_PER_IN for edge in window)
        inside = np.clip(np.minimum(last, low + 1.0) - np.maximum(first, low), 0.0, 1.0)
        for p, (begin, end) in enumerate(question.periods):
            there = (years >= begin) & (years <= end)
            there = there if there.any() else years == years[np.abs(years - begin).argmin()]
            count, weight = ((array[:, there] * inside).sum(axis=-1).mean() for array in (number, biomass))
            if count > 1e-9:
                fish[w, p] = trial.amounts[w, p] * area * count / weight
    return fish


