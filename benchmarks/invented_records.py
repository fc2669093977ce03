"""Invents the records in scenarios/records: a pond that the model runs, seen through the project's sampling model.

    python benchmarks/invented_records.py [--seed 2024] [--out scenarios/records]

The pond is that of scenarios/managed_pond_with_records.toml with luck of its own (the seed) and with the deviations
from ponds in general that TRUTH states, which `pondpop update` is then to find. Fish of the days' catches are drawn by
`gears.scatter`; each is measured and weighed with its own error; bass of 8 in and more that are electrofished are
tagged, and a tagged fish lives, grows and is caught again as its group does. The files are written anew, with a
README.txt that says how they came about and how that pond differed; the same seed and model give the same files.
"""

from __future__ import annotations

import argparse
import csv
import datetime as dt
import hashlib
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from scipy.special import ndtr

import pondpop
from pondpop.ensemble.draws import draw_luck, draw_parameters, multiplier, streams
from pondpop.ensemble.prepare import daily_water, prepare
from pondpop.model import harvest
from pondpop.model.day import Engine
from pondpop.observe import indices
from pondpop.observe.gears import WR_BETWEEN_FISH, expected_catch, gear, scatter
from pondpop.observe.observers import read_survey
from pondpop.records import COLUMNS
from pondpop.species import SPECIES, TRAITS, find, paths
from pondpop.units import MM_PER_IN
from pondpop.update.likelihood import WR_OFF_IN_SURVEY

HOME = Path(__file__).parent.parent
TRUTH = {  # how this pond differs from ponds in general, in standard deviations of the scenario's spreads
    "growth of bass": 0.8,
    "growth of bluegill": -0.5,
    "productivity": -0.7,
    "natural deaths of bass": 0.6,
    "natural deaths of bluegill": -0.4,
}
CATCHABILITY = {("electrofishing", "bass"): 0.7, ("electrofishing", "bluegill"): -0.5, ("seine", "bluegill"): 0.4}
YEARS, BASS = (2023, 2024, 2025), SPECIES.index("bass")
ELECTRO_HOURS, HAULS, WEIGHED_BLUEGILL = 1.5, 5, 40
TRIPS, TRIP_HOURS, KEPT_IN, KEPT_SHARE = 26, (2, 5), (8, 14), 0.7
TAG_FROM_MM, TAG_SEEN, REPORTED = 8 * MM_PER_IN, 0.95, 0.6
LENGTH_ERROR_MM, SHORTEST_WEIGHED_MM = 1.5, {"bass": 160, "bluegill": 90}
CLASSES_IN = {"bass": (0, 8, 12, 15, 20, None), "bluegill": (0, 6, 8, 10, None)}
Group = tuple[float, ...]


@dataclass
class Tagged:
    """A tagged bass: its group, its length, whether it lives, and the deaths by anglers a fish of its length has met since it was
    last followed."""

    tag: str
    group: Group
    length_mm: float
    alive: bool = True
    fished: float = 0.0


class Pond:
    """One pond on its way, whose fish can be drawn and whose tagged fish are followed."""

    def __init__(self, scenario: pondpop.Scenario, seed: int) -> None:
        strategy = next(iter(scenario.strategies.values()))
        fresh = streams(seed, range(1))

        def deal(decision: str, size: int) -> np.ndarray:
            return np.full((1, size), ndtr(TRUTH[decision])) if decision in TRUTH else fresh(decision, size)

        self.engine = Engine(
            prepare(
                scenario,
                strategy,
                draw_parameters(scenario, deal).replace("pond.join_within", 0.0),  # each tagged bass keeps its group
                draw_luck(scenario, strategy, deal),
            )
        )
        self.start, self.area_ha = scenario.run.start, scenario.pond.area_ha
        self.water, self.rng = daily_water(scenario), np.random.default_rng(seed)
        self.tagged: list[Tagged] = []
        self.followed: dict[Group, tuple[float, float]] = {}

    def go_to(self, date: dt.date) -> None:
        """Run until a date; tagged fish are fished for as others of their length."""
        while self.engine.day < (date - self.start).days:
            for rule, per_day in harvest.fished(self.engine):
                for one in self.tagged if rule.species == BASS else ():
                    if rule.shortest_mm <= one.length_mm < rule.longest_mm:
                        one.fished += float(per_day[0])
            self.engine.run_day()

    def follow(self) -> Iterator[tuple[Tagged, bool]]:
        """Lets tagged fish die and grow as their groups did since the last call; gives those that died, and whether anglers kept
        them."""
        now = self._groups()
        for one in (t for t in self.tagged if t.alive):
            number, length = self.followed[one.group]
            left, longer = now.get(one.group, (0.0, length))
            share = left / max(number, 1e-12)
            one.alive = self.rng.random() < share
            if one.alive:
                one.length_mm *= longer / length
            else:
                yield one, self.rng.random() < one.fished / -np.log(max(share, 1e-12))
            one.fished = 0.0
        self.followed = now

    def _groups(self) -> dict[Group, tuple[float, float]]:
        """Fish per ha and mean length in mm of each group of bass."""
        s, here = self.engine.state, self.engine.slices[0]
        c = s.columns
        return {
            (c.origin[0, k], c.born[0, k], c.growth_z[0, k], c.sex[0, k]): (
                s.number[0, k],
                float(np.exp(s.log_length[0, k])),
            )
            for k in range(here.start, here.stop)
            if s.number[0, k] > 0.0
        }

    def tag(self, length_mm: float) -> Tagged:
        """A new tag for a bass of this length: it belongs to one of the groups in which such a fish is likely."""
        groups = list(self.followed)
        number, mean = np.array([self.followed[g] for g in groups]).T
        off = np.log(length_mm / mean) / float(np.ravel(self.engine.parameters.length_cv[..., 0])[0])
        chance = number * np.exp(-0.5 * off**2)
        group = groups[int(self.rng.choice(len(groups), p=chance / chance.sum()))]
        self.tagged.append(Tagged(f"P{len(self.tagged) + 1:03d}", group, length_mm))
        return self.tagged[-1]

    def fish(self) -> dict[str, np.ndarray]:
        return {name: values[0] for name, values in read_survey(self.engine).items()}

    def catchability(self, used: str, species: str) -> float:
        return float(multiplier(np.array(CATCHABILITY.get((used, species), 0.0)), gear(used).catchability_spread))

    def expected(self, used: str, species: str, effort: float, water_c: float) -> np.ndarray:
        """Fish by inch that the gear takes on average."""
        effort = effort * self.catchability(used, species)
        found = expected_catch(self.fish()["number"], gear(used), effort, water_c, self.area_ha)
        return np.asarray(found[SPECIES.index(species)])

    def lengths(self, counts: np.ndarray, species: str) -> list[float]:
        """A length in mm for each of the fish counted by inch."""
        out = []
        for inch in np.repeat(np.arange(counts.size), counts):
            out.append(self.rng.uniform(max(inch * MM_PER_IN, TRAITS[species].records_mm[0] + 2), (inch + 1) * MM_PER_IN))
        self.rng.shuffle(out)
        return out

    def marked(self, length_mm: float, already: set[str]) -> Tagged | None:
        """The tagged bass that a caught bass of this length is, if it is one."""
        inch = int(length_mm / MM_PER_IN)
        there = [t for t in self.tagged if t.alive and int(t.length_mm / MM_PER_IN) == inch and t.tag not in already]
        in_pond = self.fish()["number"][0, inch] * self.area_ha
        if there and self.rng.random() < len(there) / max(in_pond, len(there)):
            return there[int(self.rng.integers(len(there)))]
        return None


class Book:
    """The rows of the four files."""

    def __init__(self) -> None:
        self.rows: dict[str, list[list[Any]]] = {name: [] for name in COLUMNS}

    def survey(self, *cells: object) -> None:
        self.rows["survey.csv"].append(list(cells))

    def tags(self, *cells: object) -> None:
        self.rows["tags.csv"].append(list(cells))

    def write(self, out: Path) -> None:
        heads = {
            "survey.csv": "date,gear,species,length_in,weight_g,count,tag",
            "effort.csv": "date,gear,hours,hauls,water_f,species_sought",
            "catches.csv": "date,trip,hours,species,shortest_in,longest_in,kept,released",
            "tags.csv": "tag,date,species,event,length_in,weight_g",
        }
        for name, head in heads.items():
            with (out / name).open("w", newline="") as file:
                lines = csv.writer(file, lineterminator="\n")
                lines.writerow(head.split(","))
                lines.writerows(self.rows[name])


def inches(length_mm: float) -> float:
    return round(length_mm / MM_PER_IN, 1)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--seed", type=int, default=2024)
    asked.add_argument("--out", type=Path, default=HOME / "scenarios/records")
    given = asked.parse_args()
    scenario = pondpop.load(HOME / "scenarios/managed_pond_with_records.toml")
    pond, book = Pond(scenario._replace(goals=()), given.seed), Book()
    rng = pond.rng
    outings: list[tuple[dt.date, str]] = []
    for year in YEARS:
        first = dt.date(year, 4, int(rng.integers(8, 17)))
        outings += [(first, "electrofishing"), (first + dt.timedelta(12), "electrofishing")]
        outings.append((dt.date(year, 6, int(rng.integers(12, 20))), "seine"))
        if year < YEARS[-1]:
            season = dt.date(year, 5, 5).toordinal() + np.sort(rng.choice(180, TRIPS, replace=False))
            outings += [(dt.date.fromordinal(int(day)), "angling") for day in season]
    crew = {(year, s): rng.normal(0, WR_OFF_IN_SURVEY) for year in YEARS for s in ("bass", "bluegill")}
    lucky = {(year, s): rng.gamma(16, 1 / 16) for year in YEARS for s in ("bass", "bluegill")}
    trip, last_spring = 0, None
    for date, used in sorted(outings):
        pond.go_to(date)
        water_c = float(pond.water[pond.engine.day]) + rng.normal(0, 1)
        if used == "angling":
            trip += 1
            angle(pond, book, date, trip, float(rng.integers(*TRIP_HOURS, endpoint=True)), lucky)
        else:
            if used == "electrofishing":
                last_spring = follow(pond, book, last_spring, date)
            work(pond, book, date, used, water_c, crew)
    book.rows["tags.csv"].sort(key=lambda row: (row[1], row[0]))
    book.write(given.out)
    (given.out / "README.txt").write_text(about(given.seed, book), "utf-8")


def work(pond: Pond, book: Book, date: dt.date, used: str, water_c: float, crew: dict) -> None:
    """A day of electrofishing or seining."""
    electro = used == "electrofishing"
    effort: float = ELECTRO_HOURS if electro else HAULS
    sought = ("bass", "bluegill") if electro else SPECIES
    cells = (ELECTRO_HOURS, "") if electro else ("", HAULS)
    book.rows["effort.csv"].append(
        [date, used, *cells, round(32 + 1.8 * water_c), " ".join(sought) if electro else ""]
    )  # fmt: skip
    wr = pond.fish()["relative_weight"]
    for k, species in enumerate(SPECIES):
        if species not in sought:
            continue
        caught = scatter(pond.expected(used, species, effort, water_c), gear(used), pond.rng)
        held: set[str] = set()
        weighed, unweighed = 0, defaultdict[float, int](int)
        for length in pond.lengths(caught, species):
            here = wr[k, int(length / MM_PER_IN)]
            many = species == "bluegill" and weighed >= WEIGHED_BLUEGILL
            if not electro or many or not np.isfinite(here) or length < SHORTEST_WEIGHED_MM[species]:
                unweighed[inches(length)] += 1
                continue
            weighed += 1
            tag = fresh = None
            if species == "bass" and length >= TAG_FROM_MM:
                tag = pond.marked(length, held)
                if tag is not None:
                    length = tag.length_mm
                elif pond.rng.random() < TAG_SEEN:
                    tag = fresh = pond.tag(length)
            share = here + crew[date.year, species] + pond.rng.normal(0, WR_BETWEEN_FISH)
            length += pond.rng.normal(0, LENGTH_ERROR_MM)
            grams = round(float(indices.standard_weight(length, species)) * max(share, 50) / 100, 1 if length < 150 else 0)
            book.survey(date, used, species, inches(length), f"{grams:g}", "", tag.tag if tag else "")
            if tag:
                held.add(tag.tag)
                event = "tagged" if fresh else "recaptured"
                book.tags(tag.tag, date, species, event, inches(length), f"{grams:g}")
        for length, count in sorted(unweighed.items()):
            book.survey(date, used, species, length, "", count, "")


def angle(pond: Pond, book: Book, date: dt.date, trip: int, hours: float, lucky: dict) -> None:
    """One trip: fish by length category, some kept."""
    rows = []
    for species, edges in CLASSES_IN.items():
        mean = pond.expected("angling", species, hours, float(pond.water[pond.engine.day]))
        fish = pond.lengths(pond.rng.poisson(mean * lucky[date.year, species]), species)
        low, high = KEPT_IN if species == "bass" else (6, 12)
        for a, b in pairwise(edges):
            mine = [x / MM_PER_IN for x in fish if a * MM_PER_IN <= x < (b or 99) * MM_PER_IN]
            kept = sum(low <= x < high and pond.rng.random() < KEPT_SHARE for x in mine)
            if mine:
                rows.append([date, trip, hours, species, a or "", b or "", kept, len(mine) - kept])
    book.rows["catches.csv"] += rows or [[date, trip, hours, "", "", "", 0, 0]]


def follow(pond: Pond, book: Book, before: dt.date | None, date: dt.date) -> dt.date:
    """Tagged fish since the last day of electrofishing: which died, and which of those anglers kept and told of."""
    for one, kept in pond.follow():
        if before is not None and before.year < date.year and kept and pond.rng.random() < REPORTED:
            day = dt.date(before.year, 5, 5) + dt.timedelta(int(pond.rng.integers(180)))
            book.tags(one.tag, day, "bass", "kept", "", "")
    return date


def values() -> str:
    """A short name of the values of the model's parameters, which differs where one of them does."""
    told = "\n".join(f"{path} {find(path).value!r}" for path in paths())
    return hashlib.sha256(told.encode()).hexdigest()[:12]


def about(seed: int, book: Book) -> str:
    said = [f"  {name}: {z:+g}" for name, z in TRUTH.items()]
    said += [f"  catchability of {species} by {used}: {z:+g}" for (used, species), z in CATCHABILITY.items()]
    differs = "\n".join(said)
    fish = sum(int(row[5] or 1) for row in book.rows["survey.csv"])
    bass = sum(row[3] == "tagged" for row in book.rows["tags.csv"])
    return f"""INVENTED RECORDS. No such pond, fish, crew or angler exists.

Three springs at an imaginary three-acre pond (1.2 ha) with largemouth bass, bluegill and a few fathead minnows:
survey.csv   {fish:,} fish of two electrofishing days each April and one day of seining each June, 2023 to 2025
effort.csv   hours, hauls, water temperature and the species taken up on those days
catches.csv  {2 * TRIPS} angling trips, May to November 2023 and 2024
tags.csv     {bass} bass of 8 in and more tagged on the electrofishing days, and what became of them

How they were made: `python benchmarks/invented_records.py --seed {seed}` runs the model once for the pond in
scenarios/managed_pond_with_records.toml, with luck of its own, and draws the catches with the project's sampling model
(pondpop/observe/gears.py); fish are measured and weighed with errors, and some anglers' tags go unreported. That pond differs
from ponds in general by this many standard deviations of the scenario's spreads, and by chance in all else:

{differs}

So the model can explain these records, as it may not those of a real pond, as long as its values are those they were drawn with
({values()}; else draw them anew). They show how records are read, judged and learned from, and are evidence of nothing.

The columns are described in README.md, under Records.
"""


if __name__ == "__main__":
    main()
