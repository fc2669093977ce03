"""Do plans, quotas, what is said of them, verification and the value of a survey hold? Writes benchmarks/DECISIONS.md.

    python benchmarks/decisions.py [--seeds 20] [--ponds 60] [--truth 2000] [--workers 2] [--only plan|quota|verify|survey]

plan: a small invented pond with four decisions of 1,000 plans in all, each evaluated once at `truth` members
(of 2,000 that takes hours); then `pondpop plan` from so many seeds: how far the plan that it follows
is from the best one, in differences that matter, at how many looks; and whether "better than the file's own plan in x of
10 futures" holds on `truth` other members.
quota: a year of the same pond; `pondpop quota` from so many seeds, confirmed on `confirm` members each: whether the
probability told of each limit holds on `truth` members that no search has seen.
verify: simulated ponds like the forecast (ranks must be even), and ponds in which one assumption is wrong, by WRONG
standard deviations of its spread and by twice as many (it must be under suspicion), by few records and by many, without
and with ages of fish and with books that are said to be complete. With --keep the ponds of an earlier look are not run again.
survey: the gain by regression against a nested simulation, in which every survey weighs all members by their likelihood.

With --only the other sections stay as they are; each says how it was made.
"""

from __future__ import annotations

import argparse
import datetime as dt
import hashlib
import itertools
import os
import subprocess
import sys
import time
import tomllib
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

for _library in ("OPENBLAS", "MKL", "OMP"):
    os.environ.setdefault(f"{_library}_NUM_THREADS", "1")
HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

import numpy as np
from scipy.special import ndtr, ndtri

from pondpop.decide import goals, quota
from pondpop.decide.comparison import judge
from pondpop.decide.goals import worth
from pondpop.decide.plan import ask, find
from pondpop.decide.survey_value import DRAWN, gain_from, ponds_on
from pondpop.decide.sweep_paths import Axis
from pondpop.ensemble import results
from pondpop.ensemble.draws import Prior
from pondpop.ensemble.prepare import daily_water
from pondpop.ensemble.run import Variant, project_all
from pondpop.ensemble.workers import processes
from pondpop.observe.gears import expected_catch, gear, log_chance, scatter
from pondpop.scenario import Scenario, load, resolve
from pondpop.species import SPECIES
from pondpop.update import figures_of, prior_uniforms, up_to
from pondpop.update.likelihood import (
    CATCHABILITY,
    DOUBTS,
    REPORTED,
    REPORTING,
    Haul,
    KeptInBooks,
    Observation,
    Outing,
    View,
    doubts,
    growth_of,
    view_of,
    wr_of,
)
from pondpop.update.shares import Aged, Recaptured, Returned
from pondpop.update.simulate import Growing, Hatched, Keeping, Marked, Watched, watch_all
from pondpop.update.verify import (
    HARVEST,
    NOT_IN_BOOKS,
    REPORTED_FEWER,
    WRONG,
    Checked,
    Discriminants,
    assumptions,
    discriminants,
    views_off,
)

POND = """
title = "an invented pond for a test of plans"
[pond]
area_acres = 3
fertility = "fertilized"
[water]
climate = "deep_south"
[run]
start = 2026-04-01
years = 2
surveys = ["10-15"]
[[stocking]]
name = "bluegill"
species = "bluegill"
resident = true
per_acre = 600
length_in = 4
[[stocking]]
name = "old_bass"
species = "bass"
resident = true
per_acre = 30
length_in = 11
[strategies.only]
title = "only"
[[strategies.only.stocking]]
name = "adults"
species = "bass"
date = 2026-10-20
per_acre = 4
length_in = 14
[[strategies.only.harvest]]
name = "small"
species = "bass"
length_in = [8, 12]
lb_per_acre = 5
[[strategies.only.feeding]]
name = "feed"
lb_per_acre_day = 1
[[goals]]
kind = "bass_above"
above_lb = 2
matters = 2
[[goals]]
kind = "balanced"
[[goals]]
kind = "cost"
matters = 150
[costs]
per_bass = 12
per_lb_feed = 0.5
"""
AXES = (
    Axis("strategies.only.stocking.adults.per_acre", (0, 4, 8, 12, 16)),
    Axis("strategies.only.harvest.small.lb_per_acre", (0, 5, 10, 20, 30)),
    Axis("strategies.only.feeding.feed.lb_per_acre_day", (0, 0.5, 1, 2, 3)),
    Axis("stocking.bluegill.per_acre", (200, 300, 400, 500, 600, 800, 1000, 1500)),
)
TRUE_FIRST = 500_000  # members that no search and no confirmation reaches
CHUNK = 25  # plans evaluated together


# ---------------------------------------------------------------------- plans


def plans(seeds: int, truth: int, search_members: int, confirm: int, executor) -> list[str]:
    with TemporaryDirectory() as folder:
        file = Path(folder) / "pond.toml"
        file.write_text(POND, encoding="utf-8")
        ensemble = load(file).ensemble
        questions = [ask(file, AXES, ensemble=ensemble._replace(seed=s, members=confirm)) for s in range(1, seeds + 1)]
    question = questions[0]
    places = list(itertools.product(*(range(len(axis.values)) for axis in AXES)))
    began = time.monotonic()
    true = np.array(_evaluate(question, places, truth, executor))
    spent = time.monotonic() - began
    mean = true.mean(axis=1)
    best = int(mean.argmax())
    gaps, looks, stated, held = [], [], [], []
    for seed, asked in enumerate(questions, 1):
        found = find(asked, search_members=search_members, executor=executor)
        looks.append(sum(one.members for one in found.tried))
        if found.best is None:
            continue
        followed = tuple(asked.axes[k].values.index(v) for k, v in enumerate(found.best))
        gaps.append(float(mean[best] - mean[places.index(followed)]))
        d = found.decision
        own = len(found.finalists)
        stated.append(float(d.better[d.followed, own]))
        held.append(_share_better(asked, found.best, truth, executor))
        print(f"seed {seed}: gap {gaps[-1]:.2f}, {looks[-1]} looks, said {stated[-1]:.2f}, true {held[-1]:.2f}", flush=True)
    off = 100 * (np.array(stated) - np.array(held))
    near, share = sum(gap < 1.0 for gap in gaps), len(places) * truth / np.mean(looks)
    return [
        f"{len(places):,} plans of four decisions, each once at {truth:,} members ({spent / 60:.0f} minutes).",
        f"Of {seeds} seeds {near} led to a plan within the smallest difference that matters of the best one; the worst was "
        f"{max(gaps):.2f} such differences off.",
        f"Looks (a member of a plan each) of a search: {np.mean(looks):.0f} on average, 1/{share:.0f} of those of the whole.",
        f"“Better than the file's own plan” was said with {np.mean(stated):.3f} on average ({confirm} members) and is "
        f"{np.mean(held):.3f} on {truth:,} others: off by {off.mean():+.1f} points, {np.abs(off).mean():.1f} in size.",
        "",
    ]


def _evaluate(question, places, members: int, executor) -> list[np.ndarray]:
    found = []
    for begin in range(0, len(places), CHUNK):
        made = [question.made(question.values(place)) for place in places[begin : begin + CHUNK]]
        made = [one._replace(ensemble=one.ensemble._replace(members=members)) for one in made]
        read = project_all([Variant(one, "only") for one in made], first=TRUE_FIRST, executor=executor)
        for one, readings in zip(made, read, strict=True):
            found.append(worth(goals.scores(results.to_dataset(one, {"only": readings}, {})))[0])
        print(f"{begin + len(made)} of {len(places)} plans", file=sys.stderr, flush=True)
    return found


def _share_better(question, values, members: int, executor) -> float:
    made = [question.made(values), question.made(["as in the file"] * len(values))]
    made = [one._replace(ensemble=one.ensemble._replace(members=members)) for one in made]
    read = project_all([Variant(one, "only") for one in made], first=TRUE_FIRST, executor=executor)
    sets = [goals.scores(results.to_dataset(one, {"only": r}, {})) for one, r in zip(made, read, strict=True)]
    scores = [replace(a, values=np.concatenate([a.values, b.values])) for a, b in zip(*sets, strict=True)]
    return float(judge(["plan", "own"], scores).better[0, 1])


# ---------------------------------------------------------------------- verification

# Without pellets, since food can be wrong in earnest only where fish live on that of the pond; and with more harvest.
UNFED = POND.replace('[[strategies.only.feeding]]\nname = "feed"\nlb_per_acre_day = 1\n', "").replace("years = 2", "years = 3")
UNFED = UNFED.replace("lb_per_acre = 5\n", "lb_per_acre = 10\n")
SURVEYS = {197: 20.0, 380: 18.0, 562: 20.0, 745: 18.0, 927: 20.0}  # October and April of three years, °C
SEINED = (75, 440, 805)  # June
HANDLED = (4, 8, 12, 16)  # bass of 12 in and more on each of two days, a week apart
GROWN = tuple(Growing("bass", then, now, (mm,)) for then, now in ((197, 562), (562, 927)) for mm in (254.0, 330.2))
MARKED = tuple(Marked("bass", day, day + 7, (343.0,) * fish) for day in SURVEYS for fish in HANDLED)
LOOKED = tuple(sorted((*SURVEYS, *(one.last for one in MARKED[:: len(HANDLED)]), *SEINED)))
TAGGED = (3, 6, 9, 12, 16)  # bass tagged in a survey of each of two lengths, those of the seventh day too
TAGGED_MM = (254.0, 343.0)
LATER = tuple(itertools.combinations(SURVEYS, 2))  # survey in which they are tagged, and survey in which they are looked for
OLD_TAGS = tuple(Marked("bass", *days, TAGGED_MM * fish) for fish in TAGGED for days in LATER)
LAST = LOOKED[-1]
FISHED, TRIPS, HOURS = tuple(zip(SEINED, list(SURVEYS)[::2], strict=True)), 40, 2.5  # days, trips a year, hours each
YEARS = ((0, 275), (275, 640), (640, LAST))  # calendar years
RETURNED = tuple(Marked("bass", day, min(day + 365, LAST), TAGGED_MM * fish) for fish in TAGGED for day in list(SURVEYS)[:-1])
WATCHED = Watched(
    LOOKED, GROWN, (*MARKED, *OLD_TAGS), tuple(Hatched("bass", day) for day in SURVEYS),
    tuple(Keeping("bass", *days) for days in YEARS), RETURNED,
)  # fmt: skip
AGED = ((0, 8), (8, 12), (12, 15), (15, 20))  # in
MOST_AGED = 10  # bass of each of these classes and surveys
KNOWN = 0.2  # error of a number of fish, log, where all are counted
Counts = tuple[tuple[int, ...], ...]


def an_hour() -> tuple[Observation, ...]:
    """An hour of electrofishing at each survey, with 15 fish weighed in each of four length classes."""
    return _surveyed([1.0])


def three_hours_and_tags(handled: int) -> tuple[Observation, ...]:
    """Two days of 1.5 hours at each survey, with as many fish weighed; of bass those handled on the first day marked and looked
    for among as many on the second, and eight of each class measured again a year on; and a seine each June."""
    found = list(_surveyed([1.5, 1.5]))
    for day, species in itertools.product(SEINED, ("bass", "bluegill")):
        found.append(Haul(f"{day} seine {species}", species, "seine", (Outing(day, 8.0, 26.0),), np.zeros(33)))
    for k, one in enumerate(GROWN):
        found.append(growth_of(k, one.last, "bass", "growth", np.nan, 8, f"{one.first} {k} tags bass"))
    for k, one in enumerate(MARKED):
        if len(one.lengths_mm) == handled:
            title = f"{one.last} electrofishing bass"
            found.append(Recaptured(title, "new tags", "bass", "electrofishing", one.last, (k,), 12, None, handled, np.zeros(1)))
    return tuple(found)


def tags_over_years(fish: int, examined: tuple[tuple[int, int], ...]) -> tuple[Observation, ...]:
    """As many bass of each of two lengths tagged in each survey and looked for among those of 8–12 in and of 12 in and more
    that later ones take, and the tags that anglers hand in within a year."""
    found, at = [], TAGGED.index(fish)
    for day, of_day in zip(SURVEYS, examined, strict=True):
        earlier = [k for k, (_, looked) in enumerate(LATER) if looked == day]
        numbers = tuple(len(MARKED) + at * len(LATER) + k for k in earlier)
        title = f"{day} electrofishing bass"
        for (low, high), some in zip(((8, 12), (12, None)), of_day, strict=True):
            if earlier and some:
                none = np.zeros(len(earlier))
                found.append(Recaptured(title, "old tags", "bass", "electrofishing", day, numbers, low, high, some, none))
    per = len(RETURNED) // len(TAGGED)
    for k, one in enumerate(RETURNED[at * per : (at + 1) * per]):
        found.append(Returned(f"{one.first} tags bass", "bass", one.last, at * per + k, len(one.lengths_mm), np.zeros(1)))
    return tuple(found)


def books() -> tuple[Observation, ...]:
    """The bass kept in each calendar year, all of them written down, and those caught by four length classes on TRIPS trips of
    HOURS hours each, half of them about a day in June and half about one in October."""
    kept = tuple(KeptInBooks(f"{k} books bass", "bass", last, k, np.zeros(1)) for k, (_, last) in enumerate(YEARS))
    classes = np.array([np.isin(np.arange(32), np.arange(*one)) for one in ((0, 8), (8, 12), (12, 15), (15, 32))], float)
    outings = [tuple(Outing(day, TRIPS * HOURS / 2, None, TRIPS // 2) for day in days) for days in FISHED]
    caught = (Haul(f"{k} angling bass", "bass", "angling", some, np.zeros(5), classes) for k, some in enumerate(outings))
    return (*kept, *caught)


def ages(fish: Counts) -> tuple[Observation, ...]:
    """Bass of the electrofishing whose age is read, by survey and class of AGED."""
    found = []
    for k, (day, some) in enumerate(zip(SURVEYS, fish, strict=True)):
        years = up_to_year(day) + 1
        data = np.zeros((len(AGED), years))
        data[:, 0] = some
        kept = data[:, 0] > 0
        if kept.any():
            classes = tuple(one for one, there in zip(AGED, kept, strict=True) if there)
            found.append(Aged(f"{day} electrofishing bass", "bass", "electrofishing", day, k, classes, data[kept]))
    return tuple(found)


@dataclass(frozen=True)
class Counted:
    """Bass by year class and by length category and bluegill by length category at every survey, all known but for an error of
    KNOWN in each number: better than any survey, as a bound on what records of fish can tell."""

    data: np.ndarray = field(default_factory=lambda: np.zeros(0))
    title = "all counted"
    doubts = ()

    def expected(self, view: View) -> np.ndarray:
        """Logarithms of fish/ha [member, number]."""
        found = []
        for k, day in enumerate(SURVEYS):
            found.append(view.seen["year_classes"][:, k, :, : up_to_year(day) + 1].sum(axis=1))
            bass, bluegill = (view.at("number", day)[:, SPECIES.index(name)] for name in ("bass", "bluegill"))
            for fish, classes in ((bass, ((8, 12), (12, 15), (15, 32))), (bluegill, ((0, 3), (3, 6), (6, 8)))):
                found.append(np.stack([fish[:, low:high].sum(axis=1) for low, high in classes], axis=1))
        return np.log(np.maximum(np.concatenate(found, axis=1), 0.1))

    def typical(self, expected: np.ndarray) -> np.ndarray:
        return expected

    def draw(self, expected: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        return expected + KNOWN * rng.normal(size=expected.shape)

    def figures(self, data: np.ndarray) -> dict[str, tuple[str, np.ndarray]]:
        return {f"number {k}": ("log", data[..., k]) for k in range(data.shape[-1])}


def up_to_year(day: int) -> int:
    """Calendar years of the run that have begun by a day."""
    start = tomllib.loads(UNFED)["run"]["start"]
    return (start + dt.timedelta(days=day)).year - start.year + 1


def _surveyed(hours: list[float]) -> tuple[Observation, ...]:
    found: list[Observation] = []
    for (day, water), species in itertools.product(SURVEYS.items(), ("bass", "bluegill")):
        title, outings = f"{day} electrofishing {species}", tuple(Outing(day, one, water) for one in hours)
        found.append(Haul(title, species, "electrofishing", outings, np.zeros(33)))
        for low, high in ((8, 12), (12, 15)) if species == "bass" else ((3, 6), (6, 8)):
            found.append(wr_of(day, species, "electrofishing", low, high, np.nan, 15, title))
    return tuple(found)


WRONGS = {  # what is assumed: way in which it is wrong, and the decision that deals it
    "food of the pond": (-1, "productivity"),
    "young of bass": (-1, "recruitment of bass"),
    "natural deaths of bass": (1, "natural deaths of bass"),
    HARVEST: (1, "angler success"),
    REPORTED_FEWER: (-1, None),
    NOT_IN_BOOKS: (1, "angler success"),
    "growth of bass": (-1, "growth of bass"),
}


@dataclass(frozen=True)
class Blocks:
    """Keeps blocks of ponds in a folder, so that another look at the same ponds does not run them again; they are to be of the
    same code."""

    folder: Path

    def load(self, identity: str) -> dict[str, np.ndarray] | None:
        file = self._file(identity)
        if not file.exists():
            return None
        with np.load(file) as found:
            return dict(found)

    def save(self, identity: str, readings: dict[str, np.ndarray]) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        np.savez(self._file(identity), **readings)

    def _file(self, identity: str) -> Path:
        return self.folder / f"{hashlib.sha256(identity.encode()).hexdigest()}.npz"


MORE = tuple(((REPORTED_FEWER, WRONGS[REPORTED_FEWER]), by) for by in (3.0 * WRONG, 4.0 * WRONG))


def verification(ponds: int, members: int, luck: int, store: Blocks | None, executor) -> list[str]:
    scenario = resolve(tomllib.loads(UNFED))
    scenario = scenario._replace(ensemble=scenario.ensemble._replace(seed=scenario.ensemble.seed + luck))
    last = scenario.run.start.replace(year=2028, month=10, day=15)
    past = up_to(scenario._replace(ensemble=scenario.ensemble._replace(members=members)), "only", last)
    some_ages = ages(((1,) * len(AGED),) * len(SURVEYS))
    some_tags = tags_over_years(TAGGED[0], ((1, 1),) * len(SURVEYS))
    known = assumptions(past, "only")
    doubted = doubts((*three_hours_and_tags(HANDLED[0]), *some_ages, *some_tags, *books()))
    uniforms = prior_uniforms(past, "only", last, doubted)

    def watched(of: Scenario, dealt: dict[str, np.ndarray]) -> View:
        of_ponds = {name: u for name, u in dealt.items() if not name.startswith(DOUBTS)}
        return view_of(of, WATCHED, watch_all(of, "only", WATCHED, of_ponds, executor=executor, store=store), dealt)

    view = watched(past, uniforms)
    off = views_off(past, "only", WATCHED, Prior(), view, executor, store)
    other = past._replace(ensemble=past.ensemble._replace(seed=past.ensemble.seed + 2, members=ponds))
    rng = np.random.default_rng(5 + luck)

    @cache
    def ran(decision: str | None, by: float) -> View:
        dealt = prior_uniforms(other, "only", last, doubted)
        if decision:
            dealt[decision] = ndtr(0.3 * ndtri(dealt[decision]) + by)
        return watched(other, dealt)

    def truths(wrong: str, by: float) -> View:
        decision = WRONGS[wrong][1]
        own = ran(decision, by if decision else 0.0)
        if wrong == REPORTED_FEWER:
            return _written(own, 0.3, by)
        return _written(own, 1.0, -spread_of(HARVEST) * by / REPORTED) if wrong == NOT_IN_BOOKS else own

    def spread_of(wrong: str) -> float:
        if wrong == REPORTED_FEWER:
            return REPORTED
        return past.ensemble.spreads[known[HARVEST if wrong == NOT_IN_BOOKS else wrong].spread]

    @cache
    def telling(
        handled: int | None, aged: Counts, over_years: tuple, kept: bool
    ) -> tuple[tuple[Observation, ...], Discriminants]:
        some = (*(three_hours_and_tags(handled) if handled else an_hour()), *(ages(aged) if aged else ()))
        if handled is None:
            some = (Counted(),)
        some += tags_over_years(*over_years) if over_years else ()
        some += books() if kept else ()
        own = {f"catchability by {one.removeprefix(CATCHABILITY)}" for one in doubts(some)}
        own |= {REPORTED_FEWER, NOT_IN_BOOKS} if kept else set()
        not_always = ("catchability", REPORTED_FEWER, NOT_IN_BOOKS)
        ways = {name: ways for name, ways in off.items() if not name.startswith(not_always) or name in own}
        return some, discriminants(some, view, ways)

    def drawn(some: tuple, own: View) -> list[tuple]:
        shown = [one.draw(one.expected(own), rng) for one in some]
        return [tuple(replace(one, data=data[k]) for one, data in zip(some, shown, strict=True)) for k in range(ponds)]

    def kinds(own: View) -> list[tuple[tuple[Observation, ...], Discriminants]]:
        """Records of each kind as such ponds yield them: an hour without and with ages, with tags without and with ages, with
        books besides; and all counted, without and with books."""
        tags, few, many, over = _handled(own), _yielded(own, 1.0), _yielded(own, 3.0), _tagged(own)
        plain = [(0, (), (), False), (0, few, (), False), (tags, (), (), False), (tags, many, (), False)]
        more = [(tags, many, over, True), (None, (), (), False), (None, (), (), True)]
        return [telling(*of) for of in (*plain, *more)]

    ranks, inside, right = [], [], ran(None, 0.0)
    seen, _ = kinds(right)[4]
    foretold = figures_of(seen, view, 4)
    for pond in drawn(seen, right):
        for one, shown in zip(pond, foretold, strict=True):
            for name, (unit, _, values) in shown.items():
                at = float(one.figures(one.data)[name][1])
                if np.isfinite(at) and np.isfinite(values).sum() > 20:
                    checked = Checked(one.title, "", name, unit, None, at, values, np.nan)
                    ranks.append(checked.rank)
                    inside.append(checked.inside)
    counts = np.histogram(ranks, 10, (0, 1))[0] / len(ranks)
    lines = [
        f"{ponds} ponds like the forecast of {members} members, {len(ranks)} figures: shares of their ranks in ten bins "
        f"{', '.join(f'{c:.2f}' for c in counts)}; {100 * np.mean(inside):.0f} % inside ranges of 80 %.",
        "", "Records: “an hour” of electrofishing each October and April, 5 times, with 15 fish weighed in each of four length "
        "classes; “with tags”: two days of an hour and a half instead, with as many weighed, the bass of 12 in and more of the "
        "first marked and looked for on the second (as many as such ponds yield), 32 tagged bass measured again a year on, "
        "and 8 hauls of a seine each June; “ages”: those of up to 10 bass of each length class and survey besides, as many as "
        "such ponds yield; “books”: with these bass of two lengths tagged in each survey and looked for in all later ones (as "
        "many as such ponds yield), the tags handed in within a year, the bass kept in each calendar year as books that are said "
        f"to be complete hold them, and those caught on {TRIPS} trips of {HOURS:g} hours a year; “all counted”: no survey but "
        "the numbers of bass by year class and length category and of bluegill by "
        "length category, each but for an error of 20 % (with books: and those kept and caught by anglers). A spread is that of "
        "the one assumption; the forecast doubts parameters, young and weather besides. “Named”: under suspicion in the right "
        "way, alone or beside what the records cannot tell from it; in brackets, the first of them.",
        "", "| wrong | by standard deviations | that is, times | named, an hour | beside | an hour and ages | beside "
        "| with tags | beside | tags and ages | beside | tags, ages and books | beside | all counted | beside "
        "| all counted and books | beside |",
        "|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|",
    ]  # fmt: skip
    row = "| nothing (something is named) |  |  |"
    for some, how in kinds(right):
        alarms = [any(one.suspected for one in how.estimates(pond)) for pond in drawn(some, right)]
        row += f" {100 * np.mean(alarms):.0f} % |  |"
    lines.append(row)
    for (wrong, (way, _)), by in (*itertools.product(WRONGS.items(), (WRONG, 2.0 * WRONG)), *MORE):
        own, times = truths(wrong, way * by), np.exp(way * by * spread_of(wrong))
        row = f"| {wrong} | {by:g} | {times:.2g} |"
        for some, how in kinds(own):
            made = [how.estimates(pond) for pond in drawn(some, own)]
            named = [any(one.suspected and one.assumption == wrong and one.more == (way > 0) for one in of) for of in made]
            first = [yes and of[0].assumption == wrong for yes, of in zip(named, made, strict=True)]
            beside = [sum(one.suspected for one in of) - 1 for yes, of in zip(named, made, strict=True) if yes]
            row += f" {100 * np.mean(named):.0f} % ({100 * np.mean(first):.0f} %) | {np.mean(beside) if beside else 0.0:.1f} |"
        lines.append(row)
        print(row, flush=True)
    return [*lines, ""]


def _written(own: View, share: float, by: float) -> View:
    """What ponds would show, were the doubt of their books so large a share of itself, and off by so many standard deviations."""
    return replace(own, doubts={**own.doubts, REPORTING: share * own.doubts[REPORTING] + by})


def _tagged(own: View) -> tuple[int, tuple[tuple[int, int], ...]]:
    """Of TAGGED, what comes nearest to the mean of the bass of 8–12 in and of those of 12 in and more that three hours take in
    the middle one of these ponds and days; and how many of each they take at each survey."""
    found = [(fish[:, 8:12].sum(axis=1), fish[:, 12:].sum(axis=1)) for fish in _caught(own, 3.0)]
    every = tuple((round(float(np.median(few))), round(float(np.median(many)))) for few, many in found)
    return min(TAGGED, key=lambda fish: abs(np.log(fish / np.mean(every)))), every


def _handled(own: View) -> int:
    """Of HANDLED, what comes nearest to the bass of 12 in and more that an hour and a half takes in the middle one of these
    ponds and days."""
    found = [fish[:, 12:].sum(axis=1) for fish in _caught(own, 1.5)]
    return min(HANDLED, key=lambda fish: abs(np.log(fish / np.median(found))))


def _yielded(own: View, hours: float) -> Counts:
    """Bass whose age is read, by survey and class of AGED: those of so many hours in the middle one of these ponds, MOST_AGED at
    most."""
    found = []
    for fish in _caught(own, hours):
        every = [np.median(fish[:, low:high].sum(axis=1)) for low, high in AGED]
        found.append(tuple(int(min(MOST_AGED, round(one))) for one in every))
    return tuple(found)


def _caught(own: View, hours: float) -> list[np.ndarray]:
    """Bass that so many hours of electrofishing take on average at each survey [pond, inch]."""
    used, bass = gear("electrofishing"), SPECIES.index("bass")
    return [expected_catch(own.at("number", day), used, hours, water, own.area_ha)[:, bass] for day, water in SURVEYS.items()]


# ---------------------------------------------------------------------- quotas

# Fish so long that each limit holds in some members and not in others.
A_YEAR = POND.replace("years = 2", "years = 1")
A_YEAR = A_YEAR.replace("length_in = 4\n", "length_in = 5\n").replace("length_in = 11", "length_in = 9")
MOST_HARVEST = A_YEAR.replace("above_lb = 2", "above_lb = 1.75").replace('kind = "balanced"', 'kind = "pounds_harvested"')
QUESTIONS = {"a balanced pond with a bass above 2 lb": A_YEAR, "most harvest that leaves a bass above 1.75 lb": MOST_HARVEST}
WINDOWS = ((203.2, 304.8),)


def quotas(seeds: int, truth: int, search_members: int, confirm: int, executor) -> list[str]:
    lines = [
        f"{seeds} seeds of each question, bass of 8–12 in, from the amounts of the scan on {search_members} members, "
        f"confirmed on {confirm}; each quota found is held against {truth} members that no search has seen. Chance among "
        f"{confirm} members alone makes a share of one half off by {100 * np.sqrt(0.5 / np.pi / confirm):.1f} points in size.",
    ]
    for asked_for, pond in QUESTIONS.items():
        told = _quotas_told(resolve(tomllib.loads(pond)), asked_for, seeds, truth, search_members, confirm, executor)
        lines += ["", f"*{asked_for[0].upper()}{asked_for[1:]}*: {told}"]
    return [*lines, ""]


def _quotas_told(
    scenario: Scenario, asked_for: str, seeds: int, truth: int, search_members: int, confirm: int, executor
) -> str:
    known: dict[bytes, dict[str, float]] = {}

    def held(question: quota.Question, amounts: np.ndarray) -> dict[str, float]:
        if amounts.tobytes() not in known:
            made = quota.with_quota(scenario, question, amounts)
            made = made._replace(ensemble=made.ensemble._replace(members=truth))
            (read,) = project_all([Variant(made, "only")], first=TRUE_FIRST, executor=executor)
            trial = quota.judge(results.to_dataset(made, {"only": read}, {}), made, question, amounts)
            known[amounts.tobytes()] = trial.chances
        return known[amounts.tobytes()]

    off: dict[str, list[float]] = {}
    kept = []
    for seed in range(1, seeds + 1):
        asked = scenario._replace(ensemble=scenario.ensemble._replace(seed=seed, members=confirm))
        found = quota.find_quota(
            asked, "only", windows_mm=WINDOWS, from_year=1, search_members=search_members, tries=0, executor=executor
        )
        true = held(found.question, found.best.amounts)
        for name, chance in found.best.chances.items():
            off.setdefault(name, []).append(100 * (chance - true[name]))
        if found.met:
            kept.append(min(true.values()) >= found.question.probability)
        told = ", ".join(f"{name} said {chance:.2f} true {true[name]:.2f}" for name, chance in found.best.chances.items())
        print(f"{asked_for}, seed {seed}: {found.best.amounts.ravel()} kg/ha, {told}", flush=True)
    each = "; ".join(f"{name} {np.mean(some):+.1f} ({np.abs(some).mean():.1f} in size)" for name, some in off.items())
    every = np.concatenate([np.array(some) for some in off.values()])
    met = f"{sum(kept)} of the {len(kept)} quotas said to keep every limit do" if kept else "none was said to keep every limit"
    return (
        f"{len(known)} different quotas were found. What was told of a limit is off by {every.mean():+.1f} points on average, "
        f"{np.abs(every).mean():.1f} in size: {each}. On those members {met}."
    )


# ---------------------------------------------------------------------- what a survey is worth


def survey(members: int, executor) -> list[str]:
    text = POND.replace('name = "old_bass"', 'name = "old_bass"\nnumber_cv = 1.0')  # few or many: who knows
    scenario = resolve(tomllib.loads(text))
    scenario = scenario._replace(ensemble=scenario.ensemble._replace(members=members))
    date = scenario.run.start.replace(month=10, day=15)
    (seen,) = ponds_on([scenario], "only", date, 0, members, executor=executor)
    number = seen["number"]
    bass_there = np.log(number[:, 0, 8:].sum(-1))
    every = np.stack([np.zeros(members), 2.0 * (bass_there - bass_there.mean()) / bass_there.std()])
    used, bass = gear("electrofishing"), 0
    water = float(daily_water(scenario)[197])
    mean = expected_catch(number, used, 0.25, water, scenario.pond.area_ha)[:, bass] + 1e-6
    rng = np.random.default_rng(7)
    drawn = np.stack([scatter(mean, used, rng) for _ in range(DRAWN)])
    share = np.sqrt(drawn / np.maximum(drawn.sum(-1, keepdims=True), 1))
    shown = np.concatenate([np.log1p(drawn.sum(-1, keepdims=True)), share[..., 4:20]], axis=-1)
    gain, error = gain_from(every, shown)
    without = every.mean(axis=1).max()
    nested = []
    for k in range(members):
        weight = log_chance(np.broadcast_to(drawn[0, k], mean.shape), mean, used)
        weight[k] = -np.inf  # a survey is not weighed by the pond that made it
        weight = np.exp(weight - weight.max())
        nested.append(float((every @ weight / weight.sum()).max()))
    reference = float(np.mean(nested)) - float(without)
    known = float(every.max(axis=0).mean() - without)
    return [
        f"A quarter of an hour of electrofishing in the first October, {members} ponds with few or many bass, where one plan "
        f"is worth 2 for each standard deviation of (log) bass of 8 in and more, another always 0: by "
        f"regression {gain:.2f} differences that matter (standard error {error:.2f}), by nested simulation {reference:.2f}; "
        f"to know each member's future would gain {known:.2f}.",
        "",
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    for name, default in (("seeds", 20), ("ponds", 60), ("luck", 0), ("truth", 2000), ("workers", 2), ("search-members", 32),
                          ("confirm", 100), ("members", 200)):  # fmt: skip
        parser.add_argument(f"--{name}", type=int, default=default)
    parser.add_argument("--only", choices=("plan", "quota", "verify", "survey"))
    parser.add_argument("--keep", type=lambda folder: Blocks(Path(folder)), help="folder in which blocks of ponds are kept")
    given = parser.parse_args()
    sections = {
        "What a survey is worth": ("survey", lambda to: survey(given.members, to)),
        "Verification": ("verify", lambda to: verification(given.ponds, given.members, given.luck, given.keep, to)),
        "Quotas": ("quota", lambda to: quotas(given.seeds, given.truth, given.search_members, given.confirm, to)),
        "Plans": ("plan", lambda to: plans(given.seeds, given.truth, given.search_members, given.confirm, to)),
    }
    made_by = f"Made by `python benchmarks/decisions.py {' '.join(sys.argv[1:])}` at {_version()}."
    with processes(given.workers) as executor:
        for title, (name, make) in sections.items():
            if given.only in (None, name):
                found = "\n".join([made_by, "", *make(executor)])
                _put(HERE / "DECISIONS.md", title, found, list(sections))
                print(f"## {title}\n\n{found}", flush=True)


def _version() -> str:
    """What the code was, this page and all else that is not run apart."""
    of_git = ["git", "-C", str(HERE.parent)]
    commit = subprocess.run([*of_git, "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False).stdout.strip()
    changed = subprocess.run([*of_git, "diff", "--quiet", "HEAD", "--", "pondpop", __file__], check=False).returncode
    return f"{commit or 'an unknown version'}{' and later changes' if changed else ''}"


def _put(file: Path, title: str, found: str, titles: list[str]) -> None:
    """One section of the page anew; the others stay, and so does what stands in it under a heading of its own."""
    head, *parts = file.read_text(encoding="utf-8").split("\n## ")
    old = {part.partition("\n")[0]: part.partition("\n")[2].strip("\n") for part in parts}
    _, heading, by_hand = old.get(title, "").partition("\n### ")
    old[title] = found.strip("\n") + (f"\n{heading}{by_hand}" if heading else "")
    text = head.rstrip("\n") + "".join(f"\n\n## {one}\n\n{old[one]}" for one in titles if one in old)
    file.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
