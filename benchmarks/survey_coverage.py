"""How often the limits of an assessment hold the truth, and how often it calls chance a change.

    python benchmarks/survey_coverage.py [--surveys 400] [--seed 1] [--write]

Invented ponds of many size structures are surveyed by the package's own law (`observe.gears`), the surveys go through
`assess` as records would, and what it says is held against the pond: PSD, PSD-P, parts of PSD, Wr by length class, catch
per hour, the share that anglers keep, and tests between two surveys of one unchanged pond. The truth is what the gear
shows on average: what it misses by length no number of fish can tell, and no limit says. Prints a table; with --write
also into benchmarks/SURVEYS.md. Some four minutes of one processor.
"""

from __future__ import annotations

import argparse
import datetime as dt
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from pondpop.assess import creel, size_and_condition
from pondpop.assess.effort import Outings
from pondpop.assess.size_and_condition import PAIR, weight_classes
from pondpop.observe import indices
from pondpop.observe.gears import draw_wr, gear, scatter
from pondpop.records import Catch, Fish, Records
from pondpop.records.surveys import Survey
from pondpop.species import SPECIES
from pondpop.units import MM_PER_IN

USED = "electrofishing"
CLASSES = 32
FIRST, LATER = dt.date(2024, 4, 10), dt.date(2025, 4, 10)
Tally = dict[str, list[bool]]


class Pond:
    """An invented pond: fish/ha and Wr by length class of bass and bluegill [species, length_class]."""

    def __init__(self, rng: np.random.Generator) -> None:
        inch = np.arange(CLASSES) + 0.5
        self.number, self.wr = np.zeros((len(SPECIES), CLASSES)), np.full((len(SPECIES), CLASSES), np.nan)
        for k, (species, centre, slope) in enumerate((("bass", (9, 15), (0.18, 0.5)), ("bluegill", (4.5, 7.5), (0.4, 1.1)))):
            old = rng.uniform(*centre) + np.array([0.0, rng.uniform(0.1, 0.4) * centre[0]])
            decline = np.exp(-rng.uniform(*slope) * inch)
            humps = np.exp(-0.5 * ((inch[:, None] - old) / (0.12 * old)) ** 2) @ [1.0, rng.uniform(0.1, 0.8)]
            fish = decline / decline[2:].sum() + rng.uniform(0.2, 1.5) * humps / humps.sum()
            fish[int(rng.uniform(1.5, 2.2) * centre[1]) :] = 0.0
            self.number[k] = 200.0 * fish / fish.sum() * (1, 20)[k]
            self.wr[k] = rng.uniform(80, 105) + rng.uniform(-1.5, 0.5) * inch
            assert species == SPECIES[k]

    @property
    def taken(self) -> np.ndarray:
        """What the gear shows on average [species, length_class], in no unit."""
        return self.number * gear(USED).class_selectivity(CLASSES)


def surveyed(pond: Pond, stock: float, outings: int, first: dt.date, rng: np.random.Generator) -> Survey:
    """A survey with as many fish of stock length of each species on average, all measured, bass of 6 in on weighed."""
    rows: list[Fish] = []
    for k, species in enumerate(PAIR):
        mean = pond.taken[k]
        mean = mean * stock / outings / category_mean(mean, species)
        for day in range(outings):
            classes = np.repeat(np.arange(CLASSES), scatter(mean, gear(USED), rng))
            length = (classes + rng.random(classes.size)) * MM_PER_IN
            grams = indices.standard_weight(length, species) * draw_wr(pond.wr[k, classes], rng) / 100
            rows += [
                Fish(0, first + dt.timedelta(day), USED, species, float(mm), float(g) if g > 0 else None, 1, None, None)
                for mm, g in zip(length, grams, strict=True)
            ]
    return Survey(first, first + dt.timedelta(outings - 1), tuple(rows), ())


def category_mean(mean: np.ndarray, species: str) -> float:
    return float(indices.category_numbers(mean, species).sum())


def held(pond: Pond, survey: Survey) -> Iterator[tuple[str, bool]]:
    """Each figure of an assessment and whether its limits hold the truth."""
    for k, species in enumerate(PAIR):
        parts = indices.category_numbers(pond.taken[k], species)
        truth = {f"{species}_psd": 100 * parts[1:].sum() / parts.sum(), f"{species}_psd_p": 100 * parts[2:].sum() / parts.sum()}
        at_once = []
        for f in size_and_condition.size_structure(survey, USED, species):
            if f.low is None or f.high is None:
                continue
            if f.quantity in truth:
                yield f"PSD{'-P' * f.quantity.endswith('_p')} of {species}", f.low <= truth[f.quantity] <= f.high
            elif "_part_" in f.quantity:
                at_once.append(f.low <= 100 * parts[len(at_once)] / parts.sum() <= f.high)
        if at_once:
            yield "all parts of PSD at once", all(at_once)
        wr = {f.quantity: f for f in size_and_condition.conditions(survey, USED, species)}
        for low, high in weight_classes(species):
            f = wr.get(f"{species}_wr_{size_and_condition.class_name(low, high)}")
            if f is not None and low:
                mean = indices.class_mean(pond.wr, pond.taken, species, low, high or CLASSES)
                assert f.low is not None and f.high is not None
                few = "under 5 fish" if (f.count or 0) < size_and_condition.LEAST_WEIGHED else "5 fish or more"
                yield f"Wr of a length class, {few}", f.low <= mean <= f.high


def of_surveys(surveys: int, stock: float, outings: int, seed: int) -> Tally:
    """Whether the limits of each figure hold, and whether the tests between two surveys of one pond alarm."""
    rng = np.random.default_rng((seed, int(stock), outings))
    tally: Tally = defaultdict(list)
    for _ in range(surveys):
        pond = Pond(rng)
        one, other = (surveyed(pond, stock, outings, day, rng) for day in (FIRST, LATER))
        for name, inside in held(pond, one):
            tally[name].append(inside)
        changes = size_and_condition.changes(one, other, USED)
        for change in changes:
            tally["alarm: PSD" if change.quantity.endswith("psd") else "alarm: Wr of a class"].append(change.p < 0.05)
        tally["alarm: any, of all tests together"].append(any(change.p_all < 0.05 for change in changes))
    return dict(tally)


def of_rates(surveys: int, cv: float, outings: int, seed: int) -> float:
    """How often the limits of catch per hour hold, the days differing by a coefficient of variation."""
    rng = np.random.default_rng((seed, int(1000 * cv), outings))
    inside = []
    for _ in range(surveys):
        hours, rate = rng.choice([0.5, 1.0, 1.5], outings), np.exp(rng.uniform(np.log(4), np.log(120)))
        caught = rng.poisson(rate * hours * rng.gamma(cv**-2, cv**2, outings)).astype(float)
        low, high = Outings(caught, hours, gear(USED).catch_cv).limits()
        inside.append(low <= rate <= high)
    return float(np.mean(inside))


def of_kept(surveys: int, habit: float, trips: int, seed: int) -> float:
    """How often the limits of the share kept hold; a trip's share is Beta(habit · p, habit · (1 − p))."""
    rng = np.random.default_rng((seed, int(1000 * habit), trips))
    inside = []
    for _ in range(surveys):
        share, rows = rng.uniform(0.1, 0.9), []
        for trip in range(trips):
            caught = int(rng.poisson(rng.gamma(2.0, 2.0)))
            kept = int(rng.binomial(caught, rng.beta(habit * share, habit * (1 - share))))
            rows.append(Catch(0, FIRST, str(trip), 3.0, "bass", None, None, kept, caught - kept))
        records = Records("", (), (), (), tuple(rows), (), (), ())
        for f in creel.angler_findings(records):
            if f.quantity == "bass_kept_share":
                assert f.low is not None and f.high is not None
                inside.append(f.low <= share <= f.high)
    return float(np.mean(inside))


FISH, OUTINGS = (50, 100, 200), (1, 2, 4)
CVS, DAYS = (0.1, 0.3, 0.45, 0.6), (1, 2, 3, 5, 8)
HABITS, TRIPS = (1.5, 3, 6), (10, 20, 40)


def table(surveys: int, seed: int) -> Iterator[str]:
    found = {(n, k): of_surveys(surveys, n, k, seed) for k in OUTINGS for n in FISH}
    yield f"Limits that hold the truth, and tests that alarm, % of {surveys} surveys each."
    yield ""
    yield "| fish of stock length (outings) | " + " | ".join(f"{n} ({k})" for n, k in found) + " |"
    yield "|---|" + "---|" * len(found)
    for name in sorted({name for tally in found.values() for name in tally}, key=lambda n: (n.startswith("alarm"), n)):
        yield f"| {name} | " + " | ".join(f"{100 * np.mean(t[name]):.1f}" if name in t else "" for t in found.values()) + " |"
    yield ""
    yield "| catch per hour: outings | " + " | ".join(map(str, DAYS)) + " |"
    yield "|---|" + "---|" * len(DAYS)
    for cv in CVS:
        cells = " | ".join(f"{100 * of_rates(surveys, cv, outings, seed):.1f}" for outings in DAYS)
        yield f"| days differ by {100 * cv:.0f} % | {cells} |"
    yield ""
    yield "| share kept: trips | " + " | ".join(map(str, TRIPS)) + " |"
    yield "|---|" + "---|" * len(TRIPS)
    for habit in HABITS:
        cells = " | ".join(f"{100 * of_kept(surveys, habit, trips, seed):.1f}" for trips in TRIPS)
        yield f"| a trip is worth {habit:g} independent fish | {cells} |"


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--surveys", type=int, default=400)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--write", action="store_true", help="write the table into benchmarks/SURVEYS.md")
    given = options.parse_args()
    lines = list(table(given.surveys, given.seed))
    print("\n".join(lines))
    if given.write:
        (Path(__file__).parent / "SURVEYS.md").write_text("\n".join([*ABOUT, *lines, ""]), "utf-8")


ABOUT = (
    "# How far a survey can be trusted: what was measured",
    "",
    "`python benchmarks/survey_coverage.py --write` made this file. Invented ponds were surveyed by the package's own law",
    "of a survey (`pondpop/observe/gears.py`, its settings assumed) and judged by `assess`; limits are of 95 %, tests of 5 %.",
    "400 surveys leave a standard error of 1.1 points at 95 %. The truth is what the gear shows on average, not the pond: what",
    "electrofishing misses by length is in no limit. Catch per hour is meant to hold at least 92 % however far days differ, up",
    "to 60 %, so that limits are wider than they need to be where days are alike. `tests/observe/test_limits.py` holds a",
    "smaller run of the same.",
    "",
)

if __name__ == "__main__":
    main()
