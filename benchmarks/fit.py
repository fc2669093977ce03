"""Estimates the couplings of the model from the evidence, and refits them without each fold of documented ponds.

    python benchmarks/fit.py                from the values in the package
    python benchmarks/fit.py --from-priors  from the centres of the priors
    python benchmarks/fit.py --steps 1      one round from there, of all rows and of the refits; the spreads stay
    python benchmarks/fit.py --folds-only   the refits alone, from the values in the package, which stay

The estimate is the posterior mode: what minimises the squares of the rows' distances, in units of their errors and with
little weight for what lies far out, plus the squares of the parameters' distances from their priors. Priors
(benchmarks/priors.toml) are normal on a scale on which no value can reach a bound. Physiology has no prior there and stays.
A step is Gauss-Newton with Levenberg's damping: one block of members runs the base and each parameter moved, others the
steps that several dampings propose. Rows are run with the luck of a few members, a row's value being the mean of their
middle half: those few of an ensemble of 96 with the shipped spreads whose values lie nearest to its medians, sought anew in
every round; what still lies between is added. The spreads then are estimated, by source, from what refits without each fold
miss of its ponds.

Writes pondpop/species/*.toml (values, ranges, spreads), the spreads in pondpop/scenario/schema.py, and benchmarks/fit.toml,
which holds prior, mode, uncertainty and each fold's values; benchmarks/evidence.py judges them.
"""

from __future__ import annotations

import argparse
import os
import re
import sys
import time
import tomllib
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass, field
from pathlib import Path

for _library in ("OPENBLAS", "MKL", "OMP"):
    os.environ.setdefault(f"{_library}_NUM_THREADS", "1")
HOME = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(HOME), str(HOME / "benchmarks")]

import numpy as np
from measures import SEED, Chance, evaluate

from pondpop.ensemble.workers import processes
from pondpop.scenario import SPREADS
from pondpop.species import Parameters, find, load_parameters

ROWS = HOME / "tests" / "evidence" / "rows.toml"
PRIORS = HOME / "benchmarks" / "priors.toml"
RESULT = HOME / "benchmarks" / "fit.toml"
MEMBERS = tuple(range(96))  # over four lots of 24 the tests that hold ranged from 47 to 50 of 63 and from 67 to 76 of 89
FEW = 6  # of them that stand for the others while steps are taken
FOLDS = 5
MOVE = 0.15  # a parameter's step for its derivative, in standard deviations of its prior
FAR = 2.5  # distances beyond so many errors count linearly
LONGEST_STEP = 1.0  # of any parameter, in standard deviations of its prior
DAMPING = (0.1, 1.0)
SHARES = (1.0, 0.5)
STEPS = 4  # in a round, between two new looks at all derivatives
BLOCK = 32  # parameter sets that run side by side
# All rows count alike. When expectations counted half (about every second says over again what others say), the estimate
# gave up what the trade asks first of such a model: that a pond left alone crowds and that thinning it mends it.
COUNTS = {"documented": 1.0, "expectation": 1.0, "physiology": 1.0}
Array = np.ndarray
Row = dict[str, object]


# ---------------------------------------------------------------------- rows


def load_rows() -> dict[str, Row]:
    """The evidence rows by name, in order."""
    return tomllib.loads(ROWS.read_text(encoding="utf-8"))


def scaled(row: Row, value: Array | float) -> Array:
    """A value on the row's scale; what is 0 or less stands a thousandth of what was observed on the logarithm's."""
    number = np.asarray(value, dtype=float)
    return number if row["scale"] == "linear" else np.log(np.maximum(number, 1e-4 * float(row["value"])))


def distance(row: Row, value: Array | float, offset: Array | float = 0.0) -> Array:
    """Distance from the observation in units of its error; a row that could not be read counts as four."""
    found = (scaled(row, value) + offset - scaled(row, float(row["value"]))) / float(row["error"])
    return np.where(np.isfinite(found), found, 4.0)


def middle(row: Row, values: Array) -> Array:
    """Mean of the middle half of members, on the row's scale, in its unit: [set, member] to [set]; NaN where at least half of
    them could not be read."""
    members = values.shape[1]
    ordered = np.sort(np.where(np.isfinite(values), scaled(row, values), np.nan), axis=1)  # NaN come last
    there = np.isfinite(ordered).sum(axis=1)
    place, outer = np.arange(members), there[:, None] // 4
    inside = (place >= outer) & (place < there[:, None] - outer)
    mean = np.where(inside, ordered, 0.0).sum(axis=1) / np.maximum(inside.sum(axis=1), 1)
    return np.where(2 * there > members, mean if row["scale"] == "linear" else np.exp(mean), np.nan)


def holds(row: Row, value: Array | float) -> Array:
    number = np.asarray(value, dtype=float)
    return np.isfinite(number) & (float(row["low"]) <= number) & (number <= float(row["high"]))


def folds_of(rows: dict[str, Row], seed: int = SEED) -> list[list[str]]:
    """The documented ponds dealt to folds by the seed; all rows of a pond stay together."""
    ponds = sorted({str(row["pond"]) for row in rows.values() if row["kind"] == "documented"})
    order = np.random.default_rng(seed).permutation(len(ponds))
    return [sorted(ponds[k] for k in order[first::FOLDS]) for first in range(FOLDS)]


# ---------------------------------------------------------------------- parameters


@dataclass(frozen=True)
class Prior:
    """A normal prior of one parameter on a scale: "log", "linear", or "logit" between low and high.

    sd is the standard deviation: relative (log), in the unit (linear, logit).
    """

    path: str
    centre: float
    sd: float
    scale: str
    low: float
    high: float
    source: str

    @property
    def _width(self) -> float:
        """Standard deviation on the scale."""
        if self.scale == "logit":
            return self.sd * (self.high - self.low) / ((self.centre - self.low) * (self.high - self.centre))
        return self.sd

    def value(self, z: Array | float) -> Array:
        """The value that lies z standard deviations from the centre."""
        z = np.asarray(z, dtype=float)
        if self.scale == "log":
            return self.centre * np.exp(self._width * z)
        if self.scale == "linear":
            return self.centre + self._width * z
        x = np.log((self.centre - self.low) / (self.high - self.centre)) + self._width * z
        return self.low + (self.high - self.low) / (1.0 + np.exp(-x))

    def place(self, value: float) -> float:
        """How many standard deviations a value lies from the centre."""
        if self.scale == "log":
            return float(np.log(value / self.centre) / self._width)
        if self.scale == "linear":
            return (value - self.centre) / self._width
        value = min(max(value, self.low + 1e-3 * (self.high - self.low)), self.high - 1e-3 * (self.high - self.low))
        logit = np.log((value - self.low) / (self.high - value))
        return float((logit - np.log((self.centre - self.low) / (self.high - self.centre))) / self._width)


def load_priors() -> list[Prior]:
    """The priors in the order of their file."""
    tables = tomllib.loads(PRIORS.read_text(encoding="utf-8"))
    priors = []
    for path, table in tables.items():
        find(path)
        scale = str(table["scale"])
        low = float(table.get("low", -np.inf if scale == "linear" else 0.0))
        high = float(table.get("high", np.inf))
        priors.append(Prior(path, float(table["centre"]), float(table["sd"]), scale, low, high, str(table["source"])))
    return priors


def parameters_at(priors: list[Prior], z: Array) -> Parameters:
    """The package's parameters with those that are estimated at z [member, parameter]."""
    parameters = load_parameters()
    for k, prior in enumerate(priors):
        parameters = parameters.replace(prior.path, prior.value(z[:, k]))
    return parameters


# ---------------------------------------------------------------------- the mode


def representatives(rows: dict[str, Row], lucky: dict[str, Array]) -> tuple[tuple[int, ...], Array]:
    """A few members whose middles lie nearest to the medians of all, and what lies between [row], on each row's scale.

    Sought by chance from a seed: the best of some lots, of which one member after another is changed. What lies between is
    told up to three errors.
    """
    rng = np.random.default_rng(SEED)
    errors = np.array([float(row["error"]) for row in rows.values()])
    medians = np.array([_median(scaled(row, lucky[name])) for name, row in rows.items()])

    def between(few: Array) -> Array:
        there = [float(scaled(row, middle(row, lucky[name][None, few])[0])) for name, row in rows.items()]
        gap = (medians - np.array(there)) / errors
        return np.where(np.isfinite(gap), np.clip(gap, -3.0, 3.0), 0.0)

    lots = [rng.choice(len(MEMBERS), FEW, replace=False) for _ in range(500)]
    gaps = [between(few) for few in lots]
    k = int(np.argmin([(gap**2).sum() for gap in gaps]))
    best, least = lots[k], gaps[k]
    for _ in range(1500):
        other = best.copy()
        other[rng.integers(FEW)] = rng.integers(len(MEMBERS))
        if len(set(other)) == FEW and ((gap := between(other)) ** 2).sum() < (least**2).sum():
            best, least = other, gap
    return tuple(MEMBERS[k] for k in np.sort(best)), least * errors


def _median(values: Array) -> float:
    """Median of the members that could be read; NaN where at least half of them could not."""
    there = values[np.isfinite(values)]
    return float(np.median(there)) if 2 * there.size > values.size else np.nan


@dataclass
class Fit:
    """The rows of a likelihood, the priors, and where the estimate stands."""

    rows: dict[str, Row]
    priors: list[Prior]
    executor: Executor | None
    z: Array
    few: tuple[int, ...] = MEMBERS[:FEW]  # members that stand for all, and
    offsets: Array = field(init=False)  # how far all lie from them, on each row's scale
    spreads: tuple[tuple[str, float], ...] = ()

    def __post_init__(self) -> None:
        self.offsets = np.zeros(len(self.rows))

    def distances(self, z: Array) -> Array:
        """Rows' distances at parameter sets by the few members, with what lies between them and all [set, row]."""
        chance = Chance(self.few, spreads=self.spreads)
        found = np.empty((len(z), len(self.rows)))
        for first in range(0, len(z), BLOCK):
            block = slice(first, first + BLOCK)
            values = evaluate(self.rows, parameters_at(self.priors, z[block]), self.executor, chance)
            for k, (name, row) in enumerate(self.rows.items()):
                read = middle(row, values[name].reshape(-1, len(self.few)))
                found[block, k] = COUNTS[str(row["kind"])] ** 0.5 * distance(row, read, self.offsets[k])
        return found

    def with_luck(self, names: tuple[str, ...] = (), z: Array | None = None) -> dict[str, Array]:
        """Rows' values in an ensemble around the estimate, or another place, one for each member."""
        chance = Chance(MEMBERS, spreads=self.spreads)
        here = parameters_at(self.priors, (self.z if z is None else z)[None])
        return evaluate(names or tuple(self.rows), here, self.executor, chance)

    def look(self) -> tuple[Array, Array]:
        """Distances [row] and derivatives [row, parameter] at the estimate, by members that stand for all anew."""
        lucky = self.with_luck()
        self.few, self.offsets = representatives(self.rows, lucky)
        step = np.where(self.z > 0.0, -MOVE, MOVE)
        found = self.distances(np.vstack([self.z, self.z + np.diag(step)]))
        return found[0], ((found[1:] - found[0]) / step[:, None]).T

    def iterate(self, count: int, keep: Callable[[], None], until: float = np.inf) -> tuple[Array, Array]:
        """Rounds of steps until one brings less than half a per cent, or the next would end after a time; the distances
        and derivatives after them.

        A round chooses the members that stand for all anew, finds the derivatives by them and takes up to STEPS steps. keep is
        called after each round, so that an interrupted fit can go on.
        """
        for number in range(count):
            began = time.time()
            found, slope = self.look()
            start = float(cost(found, self.z))
            within = int(sum(abs(found) < 1.645))
            print(f"round {number + 1}: cost {start:.1f}, {within} of {found.size} within 1.645 errors", flush=True)
            every = np.ones((1, found.size), bool)
            places, distances, slopes = self.steps(self.z[None], found[None], slope[None], every, STEPS)
            self.z, found, slope = places[0], distances[0], slopes[0]
            keep()
            print(f"    {time.time() - began:.0f} s", flush=True)
            if float(cost(found, self.z)) > start * 0.995 or 2.0 * time.time() - began > until:
                break
        return found, slope

    def steps(
        self, z: Array, found: Array, slope: Array, kept: Array, count: int, dampings: tuple[float, ...] = DAMPING
    ) -> tuple[Array, Array, Array]:
        """Steps of several estimates side by side: places, distances and derivatives after them [estimate, …].

        kept [estimate, row] says which rows are in each one's likelihood. After a step the derivatives are brought up
        to date by what it showed (Broyden 1965, from memory).
        """
        z, found, slope = z.copy(), found.copy(), slope.copy()
        for _ in range(count):
            tried = [proposals(f[k], s[k], x, dampings) for f, s, k, x in zip(found, slope, kept, z, strict=True)]
            outcome = self.distances(np.concatenate([x + steps for x, steps in zip(z, tried, strict=True)]))
            gained = 0.0
            for j, (steps, there) in enumerate(zip(tried, np.split(outcome, len(tried)), strict=True)):
                costs = cost(there[:, kept[j]], z[j] + steps)
                now, best = float(cost(found[j, kept[j]], z[j])), int(np.argmin(costs))
                print(f"    cost {now:.1f}, proposals {np.round(costs, 1)}", flush=True)
                step = steps[best]
                slope[j] += np.outer(there[best] - found[j] - slope[j] @ step, step) / (step @ step)
                if costs[best] < now:
                    gained = max(gained, 1.0 - float(costs[best]) / now)
                    z[j], found[j] = z[j] + step, there[best]
            if gained < 0.005:
                break
        return z, found, slope


def cost(found: Array, z: Array) -> Array:
    """Half the penalised squares: rows' distances, linear beyond FAR, and the parameters' [member]."""
    rows = FAR**2 * (np.sqrt(1.0 + (found / FAR) ** 2) - 1.0)
    return rows.sum(axis=-1) + 0.5 * (z**2).sum(axis=-1)


def normal_matrix(found: Array, slope: Array) -> tuple[Array, Array]:
    """Second derivatives of the cost (Gauss-Newton), and the gradient of the rows' part."""
    weight = 1.0 / np.sqrt(1.0 + (found / FAR) ** 2)
    return slope.T @ (weight[:, None] * slope) + np.eye(slope.shape[1]), slope.T @ (weight * found)


def proposals(found: Array, slope: Array, z: Array, dampings: tuple[float, ...] = DAMPING) -> Array:
    """Whole steps and shares of them that several dampings propose, none longer than LONGEST_STEP [member, parameter]."""
    matrix, gradient = normal_matrix(found, slope)
    steps = []
    for damping in dampings:
        step = -np.linalg.solve(matrix + damping * np.diag(np.diag(matrix)), gradient + z)
        step *= min(1.0, LONGEST_STEP / np.abs(step).max())
        steps += [share * step for share in SHARES]
    return np.array(steps)


# ---------------------------------------------------------------------- spreads by source

# Priors of the spreads: centre, and standard deviation of the logarithm (assumed; recruitment after the variation of
# year classes that the trade sees, CV 0.4 to 1.0). Weather is not estimated.
SPREAD_PRIORS = {
    "productivity": (0.20, 0.6), "growth": (0.05, 0.6), "recruitment": (0.70, 0.3), "natural_mortality": (0.20, 0.6),
    "stocking_survival": (0.15, 0.6), "angler_success": (0.30, 0.6), "parameters": (1.0, 0.6),
}  # fmt: skip


def out_of_fold(fit: Fit, names: tuple[str, ...], folds: list[list[str]], places: Array) -> dict[str, float]:
    """Distances of the medians with luck of some rows, each at the place [fold, parameter] refitted without its pond."""
    found = {}
    for ponds, z in zip(folds, places, strict=True):
        mine = tuple(name for name in names if str(fit.rows[name].get("pond", "")) in ponds)
        found |= {name: float(np.median(distance(fit.rows[name], v))) for name, v in fit.with_luck(mine, z).items()}
    return found


def spreads_from_misfit(fit: Fit, misfit_of: dict[str, float]) -> dict[str, float]:
    """The spread of each source that makes the misfit of some rows, in their errors, most likely given priors (log-normal).

    Each source alone gives what a member differs by; squares add up with the error of the observation.
    """
    from scipy.optimize import minimize

    parameters, names = parameters_at(fit.priors, fit.z[None]), tuple(misfit_of)
    off = {name: 0.0 for name in SPREADS}
    alone = []
    for source, (spread, _) in SPREAD_PRIORS.items():
        chance = Chance(MEMBERS[:24], spreads=tuple((off | {source: spread}).items()))
        values = evaluate(names, parameters, fit.executor, chance)
        alone.append([spread_of(fit.rows[name], values[name]) / float(fit.rows[name]["error"]) for name in names])
    share = np.array(alone) ** 2  # [source, row], in squared errors at the first spread
    missed = np.array(list(misfit_of.values()))

    def misfit(log_ratio: Array) -> float:
        variance = 1.0 + np.exp(2.0 * log_ratio) @ share
        rows = 0.5 * np.log(variance) + 2.5 * np.log1p(missed**2 / variance / 4.0)  # Student, 4 degrees of freedom
        return float(rows.sum() + 0.5 * ((log_ratio / doubt) ** 2).sum())

    doubt = np.array([sd for _, sd in SPREAD_PRIORS.values()])
    found = minimize(misfit, np.zeros(doubt.size), method="Nelder-Mead", options={"maxiter": 20000, "fatol": 1e-6})
    return {s: float(f"{v * np.exp(x):.2g}") for (s, (v, _)), x in zip(SPREAD_PRIORS.items(), found.x, strict=True)}


def spread_of(row: Row, values: Array) -> float:
    """Standard deviation of members on the row's scale, from the range that holds the middle 80 %."""
    there = scaled(row, values[np.isfinite(values)])
    if there.size < 4:
        return 0.0
    low, high = np.quantile(there, [0.1, 0.9])
    return float((high - low) / (2.0 * 1.2816))


# ---------------------------------------------------------------------- refits without a fold


@dataclass(frozen=True)
class Refits:
    """The estimate without each fold's rows."""

    places: Array  # [fold, parameter]
    costs: Array  # of what is left without the fold, where the refit began and where it ended [fold, 2]


def refit_without(fit: Fit, folds: list[list[str]], found: Array, slope: Array) -> Refits:
    """The estimate without each fold's rows, and of all rows for a fold of no pond, from where the estimate stands.

    They go on side by side from the same distances and derivatives, looked at there, until none gains half a per cent, at
    most STEPS steps. With derivatives that an earlier round of steps left behind three refits of five did not move.
    """
    kept = np.array([[str(row.get("pond", "")) not in fold for row in fit.rows.values()] for fold in folds])
    copies = [np.repeat(x[None], len(folds), axis=0) for x in (fit.z, found, slope)]
    places, there, _ = fit.steps(*copies, kept, STEPS)
    after = [cost(distances[rows], z) for distances, rows, z in zip(there, kept, places, strict=True)]
    return Refits(places, np.stack([[cost(found[rows], fit.z) for rows in kept], after], axis=1))


# ---------------------------------------------------------------------- writing


def rounded(value: float) -> float:
    return float(f"{value:.4g}")


def write_values(priors: list[Prior], z: Array) -> None:
    """Put the estimates into the species files, with their range and where they come from."""
    for k, prior in enumerate(priors):
        place, key = prior.path.split(".")
        file = HOME / "pondpop" / "species" / f"{place}.toml"
        text = file.read_text(encoding="utf-8")
        block = re.search(rf"(?ms)^\[{key}\]\n.*?(?=^\[|^# ---|\Z)", text)
        assert block, prior.path
        new = block[0]
        low, high = (float(prior.value(side)) for side in (-3.0, 3.0))
        about = re.search(r'(?m)^note = "(.*)"$', new)
        told = [part.strip() for part in (about[1] if about else "").split(";")]
        told = [part for part in told if part and "calibrated" not in part and not part.startswith("prior ")]
        note = "; ".join([f"calibrated to the evidence; prior {prior.centre:g}, {prior.scale} sd {prior.sd:g}", *told])
        for name, written in (
            ("value", repr(rounded(float(prior.value(z[k]))))),
            ("low", repr(rounded(low))),
            ("high", repr(rounded(high))),
            ("kind", '"calibrated"'),
            ("note", f'"{note}"'),
        ):
            new = re.sub(rf"(?m)^{name} = .*$", lambda _, n=name, w=written: f"{n} = {w}", new, count=1)
        file.write_text(text[: block.start()] + new + text[block.end() :], encoding="utf-8")


def write_spreads(spreads: dict[str, float]) -> None:
    file = HOME / "pondpop" / "scenario" / "schema.py"
    text = file.read_text(encoding="utf-8")
    for source, value in spreads.items():
        text = re.sub(rf'("{source}": Spread\(\s*)[0-9.]+', lambda m, v=value: f"{m[1]}{v!r}", text)
    file.write_text(text, encoding="utf-8")


def write_result(
    fit: Fit, mode_sd: Array, folds: list[list[str]], refits: Refits, spreads: dict[str, float], final_cost: float
) -> None:
    """benchmarks/fit.toml: what was estimated, from which priors, and each fold's values."""
    lines = [
        "# Made by `python benchmarks/fit.py`. z: distance from the prior's centre, sd: of the posterior about the mode",
        "# (Gauss-Newton), both in standard deviations of the prior. folds: values refitted without each fold.",
        "",
        f"seed = {SEED}",
        f"members = {len(MEMBERS)}",
        f"cost = {final_cost:.4g}",
        f"rows = {len(fit.rows)}",
        f"folds = {str(folds).replace(chr(39), chr(34))}",
        f"fold_costs = {np.round(refits.costs, 1).tolist()}  # without each fold, where its refit began and ended",
        "",
        "[spreads]",
        *(f"{name} = {value!r}" for name, value in spreads.items()),
    ]
    for k, prior in enumerate(fit.priors):
        lines += [
            "",
            f'["{prior.path}"]',
            f"prior = {prior.centre!r}",
            f"value = {rounded(float(prior.value(fit.z[k])))!r}",
            f"z = {fit.z[k]:.3f}",
            f"sd = {mode_sd[k]:.3f}",
        ]
        if len(refits.places):
            lines.append(f"folds = {[rounded(float(prior.value(z))) for z in refits.places[:, k]]}")
    RESULT.write_text("\n".join(lines) + "\n", encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--from-priors", action="store_true", help="start from the centres of the priors")
    parser.add_argument("--folds-only", action="store_true", help="the refits alone; the values stay")
    rounds = "most rounds of steps, the last one beside the refits and with new spreads; 1: that alone, spreads stay"
    parser.add_argument("--steps", type=int, default=12, help=rounds)
    parser.add_argument("--minutes", type=float, default=np.inf, help="time for the rounds before the spreads")
    parser.add_argument("--no-folds", action="store_true", help="leave the refits out")
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    priors = load_priors()
    rows = {name: row for name, row in load_rows().items() if row["fit"]}
    folds = folds_of(load_rows())
    z = np.array([np.clip(p.place(float(load_parameters().value(p.path)[0])), -2.5, 2.5) for p in priors])
    if asked.from_priors:
        z[:] = 0.0
    with processes(asked.workers) as executor:
        fit = Fit(rows, priors, executor, z)
        spreads = {name: SPREADS[name].default for name in SPREAD_PRIORS}
        if asked.steps > 1 and not asked.folds_only:
            until = time.time() + 60.0 * asked.minutes
            fit.iterate(asked.steps - 1, lambda: write_values(priors, fit.z), until)
            documented = tuple(name for name, row in rows.items() if row["kind"] == "documented")
            refits = refit_without(fit, folds, *fit.look())
            spreads = spreads_from_misfit(fit, out_of_fold(fit, documented, folds, refits.places))
            print("spreads", spreads, flush=True)
            write_spreads(spreads)
            fit.spreads = tuple(spreads.items())
        found, slope = fit.look()
        matrix, _ = normal_matrix(found, slope)
        sd = np.sqrt(np.diag(np.linalg.inv(matrix)))
        left_out = ([] if asked.folds_only else [[]]) + ([] if asked.no_folds else folds)
        refits = refit_without(fit, left_out, found, slope)
        final = float(cost(found, fit.z))
        if not asked.folds_only:
            fit.z, final = refits.places[0], float(refits.costs[0, 1])
            refits = Refits(refits.places[1:], refits.costs[1:])
            write_values(priors, fit.z)
        write_result(fit, sd, folds, refits, spreads, final)
    for prior, place, doubt in zip(priors, fit.z, sd, strict=True):
        print(f"{prior.path:50s} {float(prior.value(place)):10.4g}  z {place:+.2f}  sd {doubt:.2f}")


if __name__ == "__main__":
    main()
