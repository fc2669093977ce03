"""Time and memory of pondpop, and how near its daily step is to what the machine allows.

    python benchmarks/speed.py            everything; writes benchmarks/RESULTS.md (about half an hour on two idle cores)
    python benchmarks/speed.py --quick    a small version of the same, printed only (a minute)
    python benchmarks/speed.py --only NAME ...   some parts of it, printed only; with --quick, small

The part `beside` runs the same commands with an earlier commit, checked out beside, each with its own defaults: the earlier
one on one worker, as it was. Its ratios are judged in wall time, for two idle cores; where other work shares them the
processor times stand beside, which are of all processes of a command.

Ratios are taken within one run. Three ways to the same pond go side by side, a month of the pond's life at a time, and
their processor times are added up: the array engine (a block of members), the plainly written day of the tests
(`tests/reference/scalar_day.py`, pure Python floats), and the engine's own equations given to
`scipy.integrate.solve_ivp`. The fourth yardstick is a floor: the time that the day's bytes, exponentials, logarithms,
gathers, scatters and matrix products would take on this machine if nothing else were done.
"""

from __future__ import annotations

import argparse
import cProfile
import dataclasses
import json
import os
import platform
import pstats
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

for library in ("OPENBLAS", "MKL", "OMP"):
    os.environ.setdefault(f"{library}_NUM_THREADS", "1")

HOME = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(HOME), str(HOME / "tests")]
POND = HOME / "scenarios" / "predators_75_or_100.toml"
HARVESTED = HOME / "scenarios" / "harvest_none_moderate_heavy.toml"
SPAN_DAYS = 30
BLOCK = 128  # half of what ensembles run at most (`run.BLOCK_MEMBERS`)
EARLIER = "7604c20"  # the commit that `beside` runs
# what a person has: compiled modules are kept
COMMAND_ENVIRONMENT = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"} | {"PYTHONPATH": str(HOME)}
TARGETS = {
    "help, in empty Python starts": ("at most", 5.0),
    "input error, in empty Python starts": ("at most", 5.0),
    "one member, seconds": ("at most", 1.0),
    "scalar day / block on two workers, per member": ("at least", 400.0),
    "solve_ivp / block on one worker, per member": ("at least", 50.0),
    "block on one worker / floor": ("at most", 4.0),
    "cost of a group and day, second / first half of the years": ("at most", 1.1),
    "one worker / two workers": ("at least", 1.8),
    "1,024 members / 512 (least)": ("at least", 1.9),
    "1,024 members / 512 (most)": ("at most", 2.1),
    "twice the years (most)": ("at most", 2.1),
    "peak memory of a worker, MB": ("at most", 1000.0),
    "first command, 12 members / earlier": ("at most", 0.3),
    "first command, 100 members / earlier": ("at most", 0.3),
    "1,000 members on two workers / earlier": ("at most", 0.45),
    "sweep of 60 points / earlier": ("at most", 0.3),
    "quota search / earlier": ("at most", 0.4),
}

# What is known of a target that is missed; told only where it is.
PASSES = (
    "each operation of numpy is a pass of its own over the block: a step makes some 210 of them, which handle some 110 "
    "numbers for each group (counted on a winter day of the eighth year), at 0.2 to 0.8 ns a number by how much is in the "
    "second cache and how much is broadcast. They cannot be fused without a compiler. Members first or groups first "
    "in memory, larger and smaller blocks, and sparse matrices for laying and reading were tried and gained nothing"
)
WHY = {
    "scalar day / block on two workers, per member": PASSES,
    "block on one worker / floor": f"{PASSES}. The faster the processor's exponential, the lower the floor and the larger "
    "this ratio",
    "one member, seconds": "one member has so few numbers that the calls take the time: some 210 operations of numpy and "
    "200 calls of functions a step",
    "1,024 members / 512 (least)": "twice the members cost less than twice: what is done once a run weighs more in the "
    "shorter one (supposed, not measured)",
    "first command, 12 members / earlier": "imports, the drawing of the page and the files alone take more than the target; "
    "the days are ruled by some 410 calls of numpy each, for some 290 then, and all that came since are of processes that were "
    "not there (oxygen, deaths by cause and group, lengths that predation moves, two phases of growth)",
    "first command, 100 members / earlier": "a day of 100 members handles 0.75 to 0.95 of the numbers it did: fewer groups, but "
    "some 195 numbers a column and day for 140, since the model has more processes; 0.3 would ask for 60 to 80",
    "1,000 members on two workers / earlier": PASSES,
    "one worker / two workers": "each process imports the packages and draws its members' luck before the first day, and the "
    "two share caches and memory (supposed, not measured)",
}

Rows = list[tuple[str, str]]
PARTS = ("start", "beside", "one", "step", "ensembles", "doubled", "commands", "profile")


# ---------------------------------------------------------------------------------------------- measuring


def best(work: Callable[[], object], repeats: int, clock: Callable[[], float] = time.process_time) -> float:
    """The shortest time of several runs, s; processor time unless another clock is given."""
    times = []
    for _ in range(repeats):
        begun = clock()
        work()
        times.append(clock() - begun)
    return min(times)


# A small process starts each command and waits for it, so that peak memory is the command's and not that of this one.
STARTER = """
import os, sys, time
quiet = os.open(os.devnull, os.O_WRONLY)
begun = time.perf_counter()
process = os.posix_spawn(sys.argv[1], sys.argv[1:], os.environ, file_actions=[(os.POSIX_SPAWN_DUP2, quiet, 1)])
_, status, usage = os.wait4(process, 0)
spent = usage.ru_utime + usage.ru_stime  # of the command and of the processes that it waited for
print(time.perf_counter() - begun, usage.ru_maxrss / 1024.0, spent, os.waitstatus_to_exitcode(status))
"""


class Took(NamedTuple):
    """What a command took: wall time, s, peak memory of its largest process, MB, and processor time of all of them, s."""

    seconds: float
    mb: float
    processor: float


def command(arguments: list[str], status: int = 0, home: Path = HOME) -> Took:
    """What one command took, with the package of a folder."""
    done = subprocess.run(
        [sys.executable, "-I", "-S", "-c", STARTER, *arguments],
        cwd=home,
        env=COMMAND_ENVIRONMENT | {"PYTHONPATH": str(home)},
        capture_output=True,
        text=True,
        check=True,
    )
    seconds, mb, processor, ended = done.stdout.split()
    if int(ended) != status:
        raise SystemExit(f"{' '.join(arguments)}: exit status {ended}\n{done.stderr}")
    return Took(float(seconds), float(mb), float(processor))


def apart(what: str, *arguments: object) -> dict[str, float]:
    """Run one of the measurements below in a process of its own, so that its memory is its own."""
    call = [sys.executable, __file__, "--alone", what, *map(str, arguments)]
    done = subprocess.run(call, cwd=HOME, stdout=subprocess.PIPE, text=True, check=True)
    return json.loads(done.stdout)


def alone_one_member(years: str) -> dict[str, float]:
    """One strategy and one member: time of the imports, and of the projection without them."""
    begun = time.perf_counter()
    from pondpop.ensemble.run import compare

    scenario = pond(1, int(years), strategies=1)
    imports = time.perf_counter() - begun
    return {"imports": imports, "seconds": best(lambda: compare(scenario), 7, time.perf_counter), "peak_mb": peak_mb()}


def alone_ensemble(members: str, years: str, workers: str, strategies: str) -> dict[str, float]:
    """An ensemble under each strategy, on so many workers."""
    from pondpop.ensemble.run import compare
    from pondpop.ensemble.workers import processes

    scenario = pond(int(members), int(years), int(strategies))
    begun = time.perf_counter()
    with processes(int(workers)) as executor:
        compare(scenario, executor)
    seconds = time.perf_counter() - begun
    of_workers = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024.0
    return {"seconds": seconds, "peak_mb": peak_mb(), "worker_mb": of_workers if int(workers) > 1 else peak_mb()}


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def pond(members: int, years: int, strategies: int = 2):
    """The pond of the benchmark: 75 or 100 bass per acre on fertilized water."""
    from pondpop.scenario import read, resolve

    raw = read(POND)
    raw.setdefault("ensemble", {})["members"] = members
    raw["run"]["years"] = years
    scenario = resolve(raw, POND.parent)
    kept = dict(list(scenario.strategies.items())[:strategies])
    return scenario._replace(strategies=kept, goals=())


# ---------------------------------------------------------------------------------------------- the same pond three ways


class Block:
    """The array engine with a block of members, as the ensembles run it."""

    def __init__(self, members: int, years: int) -> None:
        from pondpop.ensemble.draws import Prior
        from pondpop.ensemble.prepare import prepare
        from pondpop.model.day import Engine

        scenario = pond(members, years, 1)
        strategy = next(iter(scenario.strategies.values()))
        parameters, luck = Prior().draw(scenario, strategy, 0, members)
        inputs = prepare(scenario, strategy, parameters, luck)
        self.members, self.engine = members, Engine(inputs, flows_from=range(0, inputs.days, SPAN_DAYS))

    def run_until(self, day: int) -> None:
        while self.engine.day < day:
            self.engine.run_day()


def one_pond(years: int):
    """Inputs of one member without luck, and without the nights that fish die of want of oxygen."""
    from pondpop.ensemble.prepare import prepare, run_days
    from pondpop.model.inputs import Luck
    from pondpop.species import load_parameters

    scenario = pond(1, years, 1)
    strategy = next(iter(scenario.strategies.values()))
    luck = Luck.none(1, run_days(scenario), scenario.run.last_year, len(strategy.stocking))
    return dataclasses.replace(prepare(scenario, strategy, load_parameters(), luck), oxygen=None)


class Plain:
    """The plainly written day of the tests."""

    def __init__(self, years: int) -> None:
        from reference import scalar_day

        self.inputs, self.day, self.plain = one_pond(years), 0, scalar_day
        self.parameters = scalar_day.one_member(self.inputs.parameters)
        self.tables, self.pond = scalar_day.Tables(self.parameters), scalar_day.new_pond(self.parameters)

    def run_until(self, day: int) -> None:
        i = self.inputs
        while self.day < day:
            stocked = tuple(
                self.plain.Stocking(
                    e.species, e.per_ha, e.length_mm, e.age_years, e.weight_g, e.length_cv, e.female_share
                )
                for e in i.stockings
                if e.day == self.day
            )
            today = self.plain.Day(
                year_day=int(i.year_day[self.day]),
                water_c=float(i.water_c[0, self.day]),
                fertility=float(i.fertility[self.day]),
                cover=float(i.cover[self.day]),
                stockings=stocked,
                first_of_run=self.day == 0,
            )
            self.plain.one_day(self.pond, today, self.parameters, self.tables)
            self.day += 1

    def crops(self) -> list[float]:
        return [sum(g.biomass for g in self.pond.groups if g.species == k) for k in range(5)]


class Solver:
    """The engine's equations as rates of change, given to solve_ivp between the days on which groups come or go.

    The rate of change is what the engine's own step would do in a ten-thousandth of a day.
    """

    def __init__(self, years: int) -> None:
        from pondpop.model.day import Engine

        self.engine = Engine(dataclasses.replace(one_pond(years), steps_per_day=10_000), flows_from=())

    def run_until(self, day: int) -> None:
        e = self.engine
        while e.day < day:
            e.stock()
            last = e.day
            while last + 1 < day and not self._groups_change(last):
                last += 1
            self._integrate(e.day, last + 1)
            for day_now in range(e.day, last + 1):  # spawning depends on temperature alone until a pulse is due
                e.day = day_now
                e.spawn()
            e.day = last
            e.forget_empty()
            e.day = last + 1
            if e.day < e.inputs.days:
                e.begin_day()

    def _groups_change(self, day: int) -> bool:
        """A pulse may be due at the end of a day, the year turns, or fish are stocked on the next morning."""
        e = self.engine
        next_year_day = int(e.inputs.year_day[day]) + 1
        return (
            day == 0
            or any(next_year_day % slot == 0 for slot in e.parameters.pulse_slot_days[0].astype(int))
            or e.inputs.year[day + 1] != e.inputs.year[day]
            or any(event.day == day + 1 for event in e.inputs.stockings)
        )

    def _integrate(self, first: int, end: int) -> None:
        import numpy as np
        from scipy.integrate import solve_ivp

        e, s = self.engine, self.engine.state
        names = ("number", "log_weight", "log_length", "ration")
        groups = s.number.shape[1]

        def put(y: np.ndarray) -> None:
            for k, name in enumerate(names):
                setattr(s, name, y[None, k * groups : (k + 1) * groups].copy())
            s.food = y[4 * groups :, None].copy()

        def be_on(day: int) -> None:
            if day != e.day:
                e.day = day
                e.begin_day()

        def taken() -> np.ndarray:
            return np.concatenate([*(getattr(s, name)[0] for name in names), s.food[:, 0]])

        def rates(t: float, y: np.ndarray) -> np.ndarray:
            put(y)
            be_on(min(int(t), end - 1))
            e.step()
            return (taken() - y) * e.inputs.steps_per_day

        solved = solve_ivp(rates, (first, end), taken(), method="RK45", rtol=1e-3, max_step=1.0)
        put(solved.y[:, -1])
        s.number = np.maximum(s.number, 0.0)
        be_on(first)


def side_by_side(members: int, years: int) -> dict[str, object]:
    """Processor time of the three ways, month by month; and days, groups and times of the block."""
    import numpy as np

    block, plain, solver = Block(members, years), Plain(years), Solver(years)
    single = Block(1, years)
    ways = {"block": block, "single": single, "plain": plain, "solver": solver}
    spent = dict.fromkeys(ways, 0.0)
    spans = []
    days = block.engine.inputs.days
    for day in [*range(SPAN_DAYS, days, SPAN_DAYS), days]:
        for name, way in ways.items():
            begun = time.process_time()
            way.run_until(day)
            took = time.process_time() - begun
            spent[name] += took
            if name == "block":
                spans.append((len(block.engine.state.columns), took))
    by_solver = [float(solver.engine.state.biomass()[0, g].sum()) for g in solver.engine.slices]
    return {
        "days": days,
        "spent": spent,
        "spans": np.array(spans),
        "plain_groups": len(plain.pond.groups),
        "crops": {"plain": plain.crops(), "solver": by_solver},
        "engine": block.engine,
    }


# ---------------------------------------------------------------------------------------------- the floor


def rates_of_machine(members: int, groups: int) -> dict[str, float]:
    """ns an element of each kind of work, on arrays of the block's shape; matrix products in ns a member."""
    import numpy as np

    from pondpop.model.grid import GRID_POINTS

    rng = np.random.default_rng(1)
    a, out = rng.uniform(-3.0, 1.0, (members, groups)), np.empty((members, groups))
    points = 4 * GRID_POINTS
    field, index = rng.random(members * points), rng.integers(0, members * points, members * groups)
    positive, flat = np.exp(a), np.exp(a).ravel()
    kernel, grid = rng.random((1, GRID_POINTS, points)), rng.random((members, points))
    load, square = grid[:, : GRID_POINTS].copy(), kernel[:, :, : GRID_POINTS].copy()
    work = {
        "copy": lambda: np.copyto(out, a),
        "exp": lambda: np.exp(a, out=out),
        "log": lambda: np.log(positive, out=out),
        "gather": lambda: field.take(index),
        "scatter": lambda: np.bincount(index, weights=flat, minlength=members * points),
        "reach": lambda: np.matmul(kernel, grid[:, :, None]),
        "search": lambda: np.matmul(load[:, None, :], kernel),
        "square": lambda: np.matmul(square, load[:, :, None]),
    }
    size = {"reach": members, "search": members, "square": members}
    return {name: best(one, 60) / size.get(name, a.size) * 1e9 for name, one in work.items()}


def floor_ns(engine, rates: dict[str, float]) -> dict[str, float]:
    """ns a member and day that this work alone would take, from the state of a block."""
    import numpy as np

    from pondpop.species import SPECIES

    BASS, BLUEGILL = SPECIES.index("bass"), SPECIES.index("bluegill")

    s, members = engine.state, engine.state.members
    every = len(s.columns)
    bass, bluegill = (engine.slices[k].stop - engine.slices[k].start for k in (BASS, BLUEGILL))
    state = 2 * 4 * every * 8  # number, weight, length and ration, read and written
    constants = sum(a.nbytes for a in vars(engine.group).values() if isinstance(a, np.ndarray)) / members
    return {
        "bytes": (state + constants) / 16.0 * rates["copy"],  # a copied number is 8 bytes read and 8 written
        # weight, intake, respiration, background deaths, survival and lengthening; bluegill forage; of bass: share long
        # enough to be in the way, search, energy
        "exponentials": (6 * every + bluegill + 3 * bass) * rates["exp"],
        # set point of condition; size of foraging bluegill
        "logarithms": (every + bluegill) * rates["log"],
        "gathers": (6 * every + 8 * bass) * rates["gather"],  # two foods and predation; four fields at bass
        "scatters": (4 * every + 6 * bass) * rates["scatter"],  # prey twice; bass three times
        "matrix products": 3 * rates["reach"] + 2 * rates["search"] + rates["square"],
    }


# ---------------------------------------------------------------------------------------------- sections


def start(repeats: int) -> tuple[Rows, dict[str, float]]:
    """(a): each command's shortest time, taken in turns."""
    with tempfile.TemporaryDirectory() as folder:
        wrong = Path(folder, "wrong.toml")
        wrong.write_text(POND.read_text().replace("years = 8", "years = -8"))
        commands = {
            "empty Python": ([sys.executable, "-c", "pass"], 0),
            "--help": ([sys.executable, "-m", "pondpop", "--help"], 0),
            "input error": ([sys.executable, "-m", "pondpop", "compare", str(wrong)], 2),
            "check": ([sys.executable, "-m", "pondpop", "check", str(POND)], 0),
        }
        took = {name: Took(9e9, 0.0, 0.0) for name in commands}
        for _ in range(repeats):
            for name, (arguments, status) in commands.items():
                took[name] = min(took[name], command(arguments, status))
    empty = took["empty Python"].seconds
    rows = [
        (name, f"{1000 * one.seconds:.0f} ms = {one.seconds / empty:.1f} × empty Python, {one.mb:.0f} MB")
        for name, one in took.items()
    ]
    return rows, {
        "help, in empty Python starts": took["--help"].seconds / empty,
        "input error, in empty Python starts": took["input error"].seconds / empty,
    }


def ensembles(members: int, years: int) -> tuple[Rows, dict[str, float]]:
    """(c): one worker before and after two, the shorter of both."""
    one, two, again = (apart("ensemble", members, years, workers, 2) for workers in (1, 2, 1))
    runs = {1: min(one, again, key=lambda run: run["seconds"]), 2: two}
    gain = runs[1]["seconds"] / runs[2]["seconds"]
    rows = [
        (
            f"{members:,} members × 2 strategies × {years} years, {workers} worker{'s' * (workers > 1)}",
            f"{run['seconds']:.1f} s = {run['seconds'] / members / 2 * 1000:.0f} ms a member and strategy; "
            f"peak memory {run['peak_mb']:.0f} MB, of a worker {run['worker_mb']:.0f} MB",
        )
        for workers, run in runs.items()
    ]
    rows.append(("one worker / two workers", f"{gain:.2f}"))
    return rows, {
        "one worker / two workers": gain,
        "peak memory of a worker, MB": max(run["worker_mb"] for run in runs.values()),
    }


def scaling(members: int, years: int, repeats: int) -> tuple[Rows, dict[str, float]]:
    """Twice the members, taken in turns."""
    took = {count: 9e9 for count in (members, 2 * members)}
    for _ in range(repeats):
        for count in took:
            took[count] = min(took[count], apart("ensemble", count, years, 1, 1)["seconds"])
    ratio = took[2 * members] / took[members]
    rows = [
        (
            f"{2 * members:,} members / {members:,}, {years} year(s)",
            f"{took[2 * members]:.1f} s / {took[members]:.1f} s = {ratio:.2f}",
        )
    ]
    return rows, {"1,024 members / 512 (least)": ratio, "1,024 members / 512 (most)": ratio} if members == 512 else {}


def yardsticks(members: int, years: int) -> tuple[Rows, dict[str, float], Rows]:
    """Ratios of the daily step to the plain day, to solve_ivp and to the floor; and cost by year and by groups."""
    import numpy as np

    seen = side_by_side(members, years)
    days, spent, engine = seen["days"], seen["spent"], seen["engine"]
    each = {name: 1e6 * seconds / days for name, seconds in spent.items()}  # µs a day
    block = each["block"] / members
    spans = seen["spans"]
    group_days = spans[:, 0].sum() * SPAN_DAYS * members
    # The floor belongs to one number of groups: measured on the state at the end, against fresh days of that state.
    rates = rates_of_machine(members, len(engine.state.columns))
    engine.day = days - 2
    step = 1e9 * best(engine.step, 40) / members
    floors = floor_ns(engine, rates)
    rows = [
        (
            f"block of {members}, one worker",
            f"{block:.1f} µs a day and member, {1e9 * spent['block'] / group_days:.0f} ns a group and day",
        ),
        ("one member alone", f"{each['single']:.0f} µs a day"),
        (
            "plain day of the tests",
            f"{each['plain']:.0f} µs a day = {each['plain'] / block:.0f} × the block per member",
        ),
        ("solve_ivp", f"{each['solver']:.0f} µs a day = {each['solver'] / block:.0f} × the block per member"),
        (
            f"floor, {len(engine.state.columns)} groups",
            f"{sum(floors.values()) / 1000:.1f} µs a day and member; the step takes {step / 1000:.1f}",
        ),
        *((f"– of it {name}", f"{ns / 1000:.1f} µs") for name, ns in floors.items()),
        *(
            (f"– {name}", f"{ns:.2f} ns {'a member' if name in ('reach', 'search', 'square') else 'a number'}")
            for name, ns in rates.items()
        ),
        ("crops at the end, kg/ha: plain day", ", ".join(f"{x:.4g}" for x in seen["crops"]["plain"])),
        ("crops at the end, kg/ha: solve_ivp", ", ".join(f"{x:.4g}" for x in seen["crops"]["solver"])),
    ]
    half = len(spans) // 2
    by_half = [
        1e9 * part[:, 1].sum() / (part[:, 0].sum() * SPAN_DAYS * members) for part in (spans[:half], spans[half:])
    ]
    order = np.argsort(spans[:, 0])
    few, many = order[: len(order) // 3], order[-len(order) // 3 :]
    cost = [
        ("ns a group and day, first and second half of the years", f"{by_half[0]:.0f}, {by_half[1]:.0f}"),
        *(
            (
                f"µs a day and member at {spans[part, 0].mean():.0f} groups",
                f"{1e6 * spans[part, 1].mean() / SPAN_DAYS / members:.1f}",
            )
            for part in (few, many)
        ),
    ]
    ratios = {
        "scalar day / block on one worker, per member": each["plain"] / block,
        "solve_ivp / block on one worker, per member": each["solver"] / block,
        "block on one worker / floor": step / sum(floors.values()),
        "cost of a group and day, second / first half of the years": by_half[1] / by_half[0],
    }
    return rows, ratios, cost


def commands(members: int, points: int, tries: int) -> Rows:
    """(d), (e) and (f): a sweep, a search for quotas and the writing of a report, by the commands a person types."""
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        program = [sys.executable, "-m", "pondpop"]
        vary = f"strategies.bass_75.stocking.bass.per_acre=60..{59 + points}/1"
        sweep = [*program, "sweep", str(POND), "--vary", vary, "--members", str(members), "--workers", "2"]
        quota = [
            *program,
            "quota",
            str(HARVESTED),
            "--members",
            str(members),
            "--search-members",
            str(min(16, members)),
        ]
        quota += ["--tries", str(tries), "--workers", "2"]
        compare = [*program, "compare", str(POND), "--members", str(members), "--workers", "2"]
        for name, arguments in (
            (f"sweep of {points} points, {members} members", [*sweep, "--out", f"{folder}/sweep"]),
            (f"quota search, {tries} tries, confirmed on {members} members", [*quota, "--out", f"{folder}/quota"]),
            (f"compare with report, {members} members", [*compare, "--out", f"{folder}/compare"]),
            (
                "report of it alone",
                [*program, "report", f"{folder}/compare/projection.nc", "--out", f"{folder}/r.html"],
            ),
        ):
            took = command(arguments)
            rows.append((name, f"{took.seconds:.1f} s, peak memory of a process {took.mb:.0f} MB"))
    return rows


def twice_the_years(members: int, years: int) -> tuple[Rows, dict[str, float]]:
    """A block of members for so many years and for twice as many, once each."""
    few, many = (apart("ensemble", members, count, 1, 1)["seconds"] for count in (years, 2 * years))
    said = f"{many:.1f} s / {few:.1f} s = {many / few:.2f}"
    return [(f"{2 * years} years / {years}, {members} members", said)], {"twice the years (most)": many / few}


def beside(small: bool) -> tuple[Rows, dict[str, float]]:
    """The same commands with today's package and with an earlier commit, in turn, once each."""
    vary = f"strategies.bass_75.stocking.bass.per_acre=60..{62 if small else 119}/1"
    few = "4" if small else "16"
    pairs: dict[str, list[str]] = {"first command, 12 members / earlier": ["compare", str(POND), "--members", "12"]}
    if not small:
        pairs["first command, 100 members / earlier"] = ["compare", str(POND)]
        pairs["1,000 members on two workers / earlier"] = ["compare", str(POND), "--members", "1000", "--workers", "2"]
    pairs["sweep of 60 points / earlier"] = ["sweep", str(POND), "--vary", vary, "--members", few, "--workers", "2"]
    if not small:
        pairs["quota search / earlier"] = [
            "quota", str(HARVESTED), "--members", few, "--search-members", few, "--tries", "24", "--workers", "2"
        ]  # fmt: skip
    rows, ratios = [], {}
    with tempfile.TemporaryDirectory() as folder:
        earlier = Path(folder, "earlier")
        tree = ["git", "-C", str(HOME), "worktree"]
        subprocess.run([*tree, "add", "--detach", str(earlier), EARLIER], check=True, capture_output=True)
        try:
            for place in (HOME, earlier):  # compiles its modules, which is not measured
                command([sys.executable, "-m", "pondpop", "compare", str(POND), "--members", "1", "--out", f"{folder}/first"],
                        home=place)  # fmt: skip
                shutil.rmtree(f"{folder}/first")
            for name, arguments in pairs.items():
                call = [sys.executable, "-m", "pondpop", *arguments, "--out", f"{folder}/out"]
                took = []
                for place in (HOME, earlier):
                    took.append(command(call, home=place))
                    shutil.rmtree(f"{folder}/out")
                now, then = took
                ratios[name] = now.seconds / then.seconds
                rows.append((
                    name,
                    f"{now.seconds:.1f} / {then.seconds:.1f} s = {ratios[name]:.2f}; processor {now.processor:.1f} / "
                    f"{then.processor:.1f} s = {now.processor / then.processor:.2f}",
                ))  # fmt: skip
        finally:
            subprocess.run([*tree, "remove", "--force", str(earlier)], check=True, capture_output=True)
    return rows, {} if small else ratios


def profile(members: int, years: int) -> list[str]:
    """Where the daily step spends its time: functions of the package, own processor time."""
    block = Block(members, years)
    profiler = cProfile.Profile(time.process_time)
    profiler.runcall(block.run_until, block.engine.inputs.days)
    stats = pstats.Stats(profiler).stats  # type: ignore[attr-defined]
    total = sum(own for _, _, own, _, _ in stats.values())
    shares: dict[str, float] = {}
    for (file, _, name), (_, _, own, _, _) in stats.items():
        inside = "pondpop" in file
        shares[f"{Path(file).stem}.{name}" if inside else "numpy methods called by them"] = (
            shares.get(f"{Path(file).stem}.{name}" if inside else "numpy methods called by them", 0.0) + own
        )
    top = sorted(shares.items(), key=lambda item: -item[1])[:22]
    return [f"{100 * own / total:5.1f} %  {name}" for name, own in top]


# ---------------------------------------------------------------------------------------------- the page


def machine() -> str:
    import numpy
    import scipy

    model = next(
        (line.split(":")[1].strip() for line in Path("/proc/cpuinfo").read_text().splitlines() if "model name" in line),
        platform.processor(),
    )
    load = ", ".join(f"{x:.1f}" for x in os.getloadavg())
    return (
        f"{model}, {os.cpu_count()} cores; {platform.system()} {platform.machine()}; Python {platform.python_version()}, "
        f"numpy {numpy.__version__}, scipy {scipy.__version__}, one thread for linear algebra; load average {load}"
    )


def table(rows: Rows) -> str:
    return "\n".join(["| measured | value |", "|---|---|", *(f"| {name} | {value} |" for name, value in rows)])


def verdicts(found: dict[str, float]) -> str:
    lines = ["| target | wanted | measured | |", "|---|---|---|---|"]
    for name, (sense, limit) in TARGETS.items():
        if name in found:
            met = found[name] <= limit if sense == "at most" else found[name] >= limit
            lines.append(f"| {name} | {sense} {limit:g} | {found[name]:.3g} | {'met' if met else '**missed**'} |")
    return "\n".join(lines)


def reasons(found: dict[str, float]) -> list[str]:
    """By how much each missed target was missed, and why as far as is known."""
    lines = []
    for name, (sense, limit) in TARGETS.items():
        if name not in found or (found[name] <= limit if sense == "at most" else found[name] >= limit):
            continue
        why = WHY.get(name, "why is not known")
        by = f"{100 * (found[name] / limit - 1):+.0f} %"
        lines.append(f"- {name}: {found[name]:.3g} for {sense} {limit:g} ({by}). {why[0].upper()}{why[1:]}.")
    return ["Missed:", "", *lines, ""] if lines else []


def write(before: str, members: int, found: dict[str, float], parts: list[tuple[str, str]], where: list[str]) -> None:
    """The page of results; written after every part, so that a run that is cut short leaves what it found."""
    load = ", ".join(f"{x:.1f}" for x in os.getloadavg())
    page = ["# Speed", "", "Written by `python benchmarks/speed.py`; what is measured and how is said there.", ""]
    page += [f"Machine: {before}; at the end {load}. Other work on the machine lengthens wall times.", ""]
    page += ["## Targets", "", verdicts(found), "", *reasons(found)]
    if members < 1000:
        page += [f"The ensembles had {members} members where the targets speak of 1,000.", ""]
    for title, body in parts:
        page += [f"## {title}", "", body, ""]
    if where:
        page += ["## Where a day's time goes", "", f"A block of {BLOCK} members over four years; own processor time.", ""]
        page += ["```", *where, "```", ""]
    (HOME / "benchmarks" / "RESULTS.md").write_text("\n".join(page))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="small sizes, nothing written")
    parser.add_argument("--only", nargs="+", choices=PARTS, default=PARTS, help="parts to run; nothing is written")
    parser.add_argument("--members", type=int, default=1000, help="of the large ensembles (default: %(default)s)")
    parser.add_argument("--alone", nargs="+", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.alone:
        what, *arguments = given.alone
        measure = {"one_member": alone_one_member, "ensemble": alone_ensemble}[what]
        print(json.dumps(measure(*arguments)))
        return
    quick, whole = given.quick, not given.quick and tuple(given.only) == PARTS
    before = machine()
    members, years = (64, 2) if quick else (given.members, 8)
    found: dict[str, float] = {}
    parts: list[tuple[str, str]] = []

    def part(title: str, rows: Rows, ratios: dict[str, float] | None = None) -> None:
        found.update(ratios or {})
        parts.append((title, table(rows)))
        if whole:
            write(before, members, found, parts, [])
        print(f"\n{title}", *(f"  {name}: {value}" for name, value in rows), sep="\n", flush=True)

    if "start" in given.only:
        part("Start", *start(5 if quick else 15))
    if "beside" in given.only:
        part(f"Beside {EARLIER} (wall time judged; processor time of all processes)", *beside(quick))
    if "one" in given.only:
        one = apart("one_member", years)
        part(
            f"One strategy, {years} years, one member",
            [("projection", f"{one['seconds']:.2f} s, and {one['imports']:.2f} s for imports; {one['peak_mb']:.0f} MB")],
            {"one member, seconds": one["seconds"]} if not quick else None,
        )
    if "step" in given.only:
        rows, ratios, cost = yardsticks(16 if quick else BLOCK, 2 if quick else 8)
        part("The daily step beside its yardsticks (processor time)", rows, ratios)
        part("Cost by years and groups", cost)
    if "ensembles" in given.only:
        part("Ensembles (wall time)", *ensembles(members, years))
        if "step" in given.only:
            found["scalar day / block on two workers, per member"] = (
                found.pop("scalar day / block on one worker, per member") * found["one worker / two workers"]
            )
    if "doubled" in given.only:
        part("Twice the members", *scaling(64 if quick else 512, 2, 1 if quick else 2))
        part("Twice the years", *twice_the_years(16 if quick else BLOCK, 1 if quick else 4))
    if "commands" in given.only:
        part("Commands (wall time, two workers)", commands(4, 6, 2) if quick else commands(16, 60, 24))
    where = profile(16 if quick else BLOCK, 2 if quick else 4) if "profile" in given.only else []
    print("\nProfile", *where, sep="\n")
    print("\n" + verdicts(found))
    if whole:
        write(before, members, found, parts, where)


if __name__ == "__main__":
    main()
