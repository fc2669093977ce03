"""What a survey is worth before it is made: how much better plans do, on average, that may still be changed by it.

Surveys are drawn of the members' ponds as the gear sees them; a regression of every plan's worth on what the surveys
show says which plan one would follow after each; the gain is that plan's worth over the one that is best without a
survey. Each member's own plan is chosen by a regression that has not seen it, so that the fit earns nothing.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pondpop.checks import InputError, nearest, number
from pondpop.ensemble.draws import Prior, Source
from pondpop.ensemble.jobs import Job, Readings
from pondpop.ensemble.prepare import daily_water
from pondpop.ensemble.results import stack_members
from pondpop.ensemble.run import Store, at_once, blocks, run_all
from pondpop.model.day import run
from pondpop.model.inputs import Inputs
from pondpop.observe import indices
from pondpop.observe.gears import Gear, draw_wr, expected_catch, gear, scatter
from pondpop.observe.observers import Surveys
from pondpop.scenario import Scenario
from pondpop.species import MEASURED, TRAITS, of_species
from pondpop.species.gears import GEARS

Array = NDArray[np.float64]

DRAWN = 8  # surveys of each member's pond (a choice)
FOLDS = 5  # of members, in choosing a plan after a survey (a choice)
RIDGE = 1.0  # penalty of the regression, in observations (a choice)
EFFORTS = (0.25, 0.5, 1.0, 2.0, 4.0)  # of the effort asked about, that are told (a choice)
ENOUGH = 0.9  # share of the largest gain from which an effort is called enough (a choice)
TELLING = 2  # members by which plans that were alike until a day are told from others
FEWEST = 3  # measured fish from which an index of a survey is read


@dataclass(frozen=True)
class Survey:
    """A survey that could be made: hours of electrofishing or angling, or hauls of a seine, on a day."""

    gear: str
    effort: float
    date: dt.date


@dataclass(frozen=True)
class SurveyValue:
    """gains [effort]: worth gained on average by plans that follow such a survey, in differences that matter; `error`
    is the standard error of the one asked about, `perfect` the gain from knowing each member's future, `plans` how many
    there are to choose from after the survey, `fish` bass of stock length expected at each effort."""

    survey: Survey
    efforts: tuple[float, ...]
    gains: tuple[float, ...]
    error: float
    perfect: float
    plans: int
    fish: tuple[float, ...]

    @property
    def gain(self) -> float:
        return self.gains[self.efforts.index(self.survey.effort)]

    @property
    def enough(self) -> int | None:
        """Position of the least effort with most of the largest gain; None where no effort gains surely anything."""
        most = max(self.gains)
        if most <= 2.0 * self.error:
            return None
        return next(k for k, gain in enumerate(self.gains) if gain >= ENOUGH * most)


def read_survey(text: str) -> Survey:
    """A survey from GEAR:EFFORT@DATE, such as electrofishing:2h@2028-10-15 (hours) or seine:4@2028-06-15 (hauls).

    Raises InputError.
    """
    match = re.fullmatch(r"([a-z]+):([0-9.]+) ?h?@(\d{4}-\d\d-\d\d)", text, flags=re.ASCII)
    if not match:
        raise InputError("--survey", text, "GEAR:EFFORT@DATE, such as electrofishing:2h@2028-10-15")
    if match[1] not in GEARS:
        raise InputError("--survey", match[1], "one of " + ", ".join(GEARS), nearest(match[1], GEARS))
    try:
        effort, date = float(match[2]), dt.date.fromisoformat(match[3])
    except ValueError:
        raise InputError("--survey", text, "an effort above 0 and a date such as 2028-10-15") from None
    return Survey(match[1], number("--survey", effort, 0.05, 1000, "hours or hauls"), date)


# ---------------------------------------------------------------------- the ponds on that day


@dataclass(frozen=True)
class OnDay:
    """Reads the fish on one day of a run: number and relative_weight [member, species, length_class]."""

    day: int

    @property
    def identity(self) -> str:
        return f"on day {self.day}"

    def __call__(self, inputs: Inputs, survey_days: Sequence[int]) -> Readings:
        surveys = Surveys(survey_days, (self.day,))
        run(inputs, [surveys], until=self.day)
        return {name: surveys.read[self.day][name] for name in ("number", "relative_weight")}


def ponds_on(
    scenarios: Sequence[Scenario],
    strategy: str,
    date: dt.date,
    first: int,
    members: int,
    source: Source | None = None,
    executor: Executor | None = None,
    store: Store | None = None,
) -> list[Readings]:
    """The ponds of each scenario's strategy on a day, in members from a first one on."""
    found: list[dict[int, Readings]] = [{} for _ in scenarios]
    jobs, places = [], []
    for k, scenario in enumerate(scenarios):
        look = OnDay((date - scenario.run.start).days)
        for part in blocks(members, at_once(executor)):
            jobs.append(Job(((scenario, strategy),), first + part.start, len(part), source or Prior(), look))
            places.append(k)
    for n, (readings,), _ in run_all(jobs, executor, store):
        found[places[n]][jobs[n].first] = readings
    return [stack_members([own[begin] for begin in sorted(own)]) for own in found]


def alike_until(
    scenarios: Sequence[Scenario],
    strategy: str,
    date: dt.date,
    first: int,
    source: Source | None = None,
    executor: Executor | None = None,
    store: Store | None = None,
) -> list[bool]:
    """Whether the ponds of each scenario are, on a day, those of the first one: only then it may still be chosen."""
    ponds = ponds_on(scenarios, strategy, date, first, TELLING, source, executor, store)
    return [np.array_equal(one["number"], ponds[0]["number"]) for one in ponds]


# ---------------------------------------------------------------------- surveys of them


def shown(seen: Readings, used: Gear, effort: float, water_c: float, area_ha: float, rng: np.random.Generator) -> Array:
    """What one survey of each pond shows, on scales for a regression [member, figure]: for each measured species how many
    were caught, PSD, and the mean Wr of its classes; where too few were measured, as little as nothing (0)."""
    mean = expected_catch(seen["number"], used, effort, water_c, area_ha)
    columns = []
    for species in MEASURED:
        if not used.takes(species):
            continue
        catch = np.zeros_like(seen["number"])
        own = of_species(catch, species)
        own[:] = scatter(of_species(mean, species), used, rng)
        columns.append(np.log1p(own.sum(-1)))
        with np.errstate(invalid="ignore", divide="ignore"):
            psd = indices.psd(catch, species, "quality")
        stock = own.sum(-1) >= FEWEST
        columns.append(np.where(stock & np.isfinite(psd), psd, np.nan))
        for low, high in TRAITS[species].wr_classes_in:
            fish = own[:, low:high].sum(-1)
            wr = indices.class_mean(seen["relative_weight"], catch, species, low, high)
            weighed = np.array([
                draw_wr(np.full(int(n), w), rng).mean() if n >= FEWEST and np.isfinite(w) else np.nan
                for n, w in zip(fish, wr, strict=True)
            ])  # fmt: skip
            columns.append(weighed)
    return np.column_stack(columns)


# ---------------------------------------------------------------------- what they are worth


def gain_from(worth: Array, seen: Array) -> tuple[float, float]:
    """The mean gain from choosing a plan by what was seen, and its standard error, in the unit of worth.

    worth [plan, member]; seen [draw, member, figure], NaN where a figure could not be read.
    """
    plans, members = worth.shape
    without = int(np.argmax(worth.mean(axis=1)))
    if plans < 2 or members < 2 * FOLDS:
        return 0.0, 0.0
    draws = seen.shape[0]
    features = np.stack([_features(one, seen) for one in seen])  # [draw, member, term]
    fold = np.arange(members) % FOLDS
    gained = np.zeros((draws, members))
    for k in range(FOLDS):
        there = fold != k
        terms = features[:, there].reshape(-1, features.shape[-1])
        targets = np.tile((worth - worth[without])[:, there].T, (draws, 1))
        penalty = RIDGE * draws * np.eye(terms.shape[1])
        penalty[0, 0] = 0.0
        weights = np.linalg.solve(terms.T @ terms + penalty, terms.T @ targets)
        predicted = features[:, ~there] @ weights  # [draw, member, plan]
        chosen = predicted.argmax(axis=-1)
        chosen = np.where(predicted.max(axis=-1) > 0.0, chosen, without)
        own = (worth - worth[without])[:, ~there]
        gained[:, ~there] = own[chosen, np.arange(own.shape[1])]
    each = gained.mean(axis=0)
    return float(each.mean()), float(each.std(ddof=1) / np.sqrt(members))


def _features(one: Array, every: Array) -> Array:
    """1, figures in standard deviations, what is missing as its mean and a sign, and squares [member, term]."""
    flat = every.reshape(-1, every.shape[-1])
    known = np.isfinite(flat)
    count = np.maximum(known.sum(axis=0), 1)
    middle = np.where(known, flat, 0.0).sum(axis=0) / count
    spread = np.sqrt(np.where(known, (flat - middle) ** 2, 0.0).sum(axis=0) / count)
    x = np.where(np.isfinite(one), (one - middle) / np.where(spread > 1e-12, spread, 1.0), 0.0)
    missing = (~np.isfinite(one)).astype(float)
    return np.column_stack([np.ones(len(one)), x, x**2 - 1.0, missing - (~known).mean(axis=0)])


def survey_value(worth: Array, seen: Readings, survey: Survey, scenario: Scenario, seed: int = 0) -> SurveyValue:
    """What a survey is worth. worth [plan, member] of the plans one may still choose from; seen: the members' ponds."""
    used = gear(survey.gear)
    water = float(daily_water(scenario)[(survey.date - scenario.run.start).days])
    area = scenario.pond.area_ha
    efforts = tuple(survey.effort * share for share in EFFORTS)
    gains, fish, errors = [], [], []
    stock_in = indices.category_inches("bass")[0]
    for k, effort in enumerate(efforts):
        rng = np.random.default_rng([seed, 19, k])
        drawn = np.stack([shown(seen, used, effort, water, area, rng) for _ in range(DRAWN)])
        gain, error = gain_from(worth, drawn)
        gains.append(gain)
        errors.append(error)
        bass = of_species(expected_catch(seen["number"], used, effort, water, area), "bass")
        fish.append(float(np.median(bass[:, stock_in:].sum(-1))))
    perfect = float((worth.max(axis=0) - worth[int(np.argmax(worth.mean(axis=1)))]).mean())
    asked = EFFORTS.index(1.0)
    return SurveyValue(survey, efforts, tuple(gains), errors[asked], perfect, worth.shape[0], tuple(fish))
