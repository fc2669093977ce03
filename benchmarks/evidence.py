"""Judges the model by every evidence row, in sample and out of fold; writes benchmarks/EVIDENCE.md.

    python benchmarks/evidence.py              everything, sensitivity, halved steps and smoothness included
    python benchmarks/evidence.py --rows-only  the verdicts alone

A row (tests/evidence/rows.toml) is judged on the median of an ensemble with the shipped spreads. Out of fold: a
documented pond is judged with parameters that were refitted without it (benchmarks/fit.toml, made by benchmarks/fit.py),
and its range is widened by the error from pond to pond that the other ponds showed.
"""

from __future__ import annotations

import argparse
import os
import sys
import tomllib
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path

for _library in ("OPENBLAS", "MKL", "OMP"):
    os.environ.setdefault(f"{_library}_NUM_THREADS", "1")
HOME = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(HOME), str(HOME / "benchmarks"), str(HOME / "tests")]

import numpy as np
from fit import MEMBERS, RESULT, Row, distance, folds_of, holds, load_priors, load_rows, scaled, spread_of
from measures import Chance, evaluate

from pondpop.ensemble.workers import processes
from pondpop.species import Parameters, load_parameters, paths

HELD = HOME / "tests" / "evidence" / "held.txt"
TABLE = HOME / "benchmarks" / "EVIDENCE.md"
HALF_OF_80 = 1.2816  # standard deviations of a normal within which 80 % lie
POOLED = 6  # rows that the misfit of all kinds counts for beside that of a kind of reading
FARTHEST = 3.0  # a misfit counts for no more standard deviations
Array = np.ndarray


@dataclass(frozen=True)
class Verdict:
    """One row against an ensemble: its median, the range of 80 % (members and the error of the observation)."""

    row: Row
    median: float
    low: float
    high: float

    @property
    def holds(self) -> bool:
        return bool(holds(self.row, self.median))

    @property
    def covered(self) -> bool:
        return self.low <= float(self.row["value"]) <= self.high

    @property
    def misfit(self) -> float:
        """Distance of the observation from the median, in standard deviations of the range."""
        low, high, middle, seen = (float(scaled(self.row, x)) for x in (self.low, self.high, self.median, self.row["value"]))  # type: ignore[arg-type]
        return (seen - middle) / ((high - low) / (2.0 * HALF_OF_80))

    def widened(self, times: float) -> Verdict:
        """The same with a range so many times as wide, on the row's scale."""
        middle = float(scaled(self.row, self.median))
        ends = [middle + times * (float(scaled(self.row, end)) - middle) for end in (self.low, self.high)]
        low, high = ends if self.row["scale"] == "linear" else np.exp(ends)
        return Verdict(self.row, self.median, float(low), float(high))

    @property
    def near_edge(self) -> bool:
        """Within 5 % of the interval's width of one of its ends, on the row's scale."""
        low, high, here = (float(scaled(self.row, x)) for x in (self.row["low"], self.row["high"], self.median))  # type: ignore[arg-type]
        return min(abs(here - low), abs(here - high)) <= 0.05 * (high - low)


def judge(row: Row, values: Array) -> Verdict:
    """A row's verdict from its values, one for each member; one that most members could not be read for has no median."""
    there = values[np.isfinite(values)]
    if 2 * there.size <= values.size:
        return Verdict(row, np.nan, np.nan, np.nan)
    middle = float(np.median(there))
    half = HALF_OF_80 * np.hypot(spread_of(row, there), float(row["error"]))  # type: ignore[arg-type]
    ends = [float(scaled(row, middle)) + sign * half for sign in (-1.0, 1.0)]
    low, high = ends if row["scale"] == "linear" else np.exp(ends)
    return Verdict(row, middle, float(low), float(high))


def in_sample(rows: dict[str, Row], executor: Executor | None) -> dict[str, Verdict]:
    values = evaluate(rows, load_parameters(), executor, Chance(MEMBERS))
    return {name: judge(row, values[name]) for name, row in rows.items()}


def out_of_fold(rows: dict[str, Row], fit: dict[str, object], executor: Executor | None) -> dict[str, Verdict]:
    """Documented rows, each with the parameters that were refitted without its pond."""
    verdicts: dict[str, Verdict] = {}
    if not fit:
        return verdicts
    if fit["folds"] != folds_of(rows):
        sys.exit("benchmarks/fit.toml: its refits left out other folds than those of the rows; run benchmarks/fit.py first")
    for number, ponds in enumerate(folds_of(rows)):
        parameters = load_parameters()
        for path, table in estimates(fit).items():
            parameters = parameters.replace(path, table["folds"][number])
        mine = {n: row for n, row in rows.items() if row["kind"] == "documented" and row["pond"] in ponds}
        values = evaluate(mine, parameters, executor, Chance(MEMBERS))
        verdicts |= {name: judge(row, values[name]) for name, row in mine.items()}
    return {name: verdicts[name] for name in rows if name in verdicts}


def told_refits(fit: dict[str, object]) -> str:
    """How far each fold's refit came: what its own rows cost at the values of all rows and at its own, and the farthest
    that a value moved."""
    costs: list[list[float]] = fit["fold_costs"]  # type: ignore[assignment]
    moves = [
        [prior.place(of_fold) - prior.place(table["value"]) for of_fold in table["folds"]]
        for prior in load_priors()
        if (table := estimates(fit).get(prior.path))
    ]
    farthest = np.abs(np.array(moves)).max(axis=0)
    each = ", ".join(f"{a:g} to {b:g} ({far:.2f})" for (a, b), far in zip(costs, farthest, strict=True))
    return (
        f"The refits brought what is left without a fold from a cost of {each}; in brackets the farthest that a value moved, in "
        "standard deviations of its prior."
    )


def pond_to_pond(verdicts: dict[str, Verdict], without: str = "") -> dict[str, float]:
    """How many times as wide the range of each kind of reading must be for what ponds showed, but for one pond; 1 or more.

    A kind's standard deviation is the root of its mean square misfit, drawn to that of all rows; then all are widened alike
    until eight in ten of those rows lie within.
    """
    there = [v for v in verdicts.values() if np.isfinite(v.misfit) and v.row["pond"] != without]
    squares = np.array([min(abs(v.misfit), FARTHEST) ** 2 for v in there])
    about = np.array([str(v.row["about"]) for v in there])
    every = sorted({str(v.row["about"]) for v in verdicts.values()})
    if not there:
        return dict.fromkeys(every, 1.0)
    pooled = POOLED * squares.mean()
    spread = {kind: float(np.sqrt((pooled + squares[about == kind].sum()) / (POOLED + (about == kind).sum()))) for kind in every}
    relative = [abs(v.misfit) / spread[str(v.row["about"])] for v in there]
    alike = float(np.quantile(relative, 0.8)) / HALF_OF_80
    return {kind: max(1.0, alike * one) for kind, one in spread.items()}


def widened(verdicts: dict[str, Verdict]) -> dict[str, Verdict]:
    """Each pond's ranges with the error from pond to pond that the other ponds showed."""
    times = {pond: pond_to_pond(verdicts, pond) for pond in {str(v.row["pond"]) for v in verdicts.values()}}
    return {name: v.widened(times[str(v.row["pond"])][str(v.row["about"])]) for name, v in verdicts.items()}


def load_fit() -> dict[str, object]:
    """What the last fit wrote; empty before the first one."""
    return tomllib.loads(RESULT.read_text(encoding="utf-8")) if RESULT.exists() else {}


def estimates(fit: dict[str, object]) -> dict[str, dict[str, object]]:
    """The estimated parameters of a fit by path."""
    return {path: table for path, table in fit.items() if "." in path and isinstance(table, dict)}


def stale(fit: dict[str, object]) -> list[str]:
    """Parameters whose value in the package is not the one that was estimated."""
    package = load_parameters()
    return [path for path, table in estimates(fit).items() if float(package.value(path)[0]) != table["value"]]


# ---------------------------------------------------------------------- tables


def digits(value: float) -> str:
    return "none" if not np.isfinite(value) else f"{value:.0f}" if abs(value) >= 1000 else f"{value:.3g}"


def shares(verdicts: dict[str, Verdict]) -> str:
    """How many hold, and how many observations their ranges of 80 % cover."""
    if not verdicts:
        return "not yet fitted"
    held, covered = (sum(getattr(v, what) for v in verdicts.values()) for what in ("holds", "covered"))
    return f"{held} of {len(verdicts)} tests hold, coverage {100.0 * covered / len(verdicts):.0f} %"


def found(verdict: Verdict | None) -> str:
    if verdict is None:
        return "| "
    mark = "" if verdict.holds else " **no**"
    cover = "" if verdict.covered else " (not covered)"
    return f"| {digits(verdict.median)} [{digits(verdict.low)} to {digits(verdict.high)}]{cover}{mark} "


def table(rows: dict[str, Row], *columns: dict[str, Verdict]) -> list[str]:
    lines = []
    for name, row in rows.items():
        test = f"{digits(float(row['low']))} to {digits(float(row['high']))}"  # type: ignore[arg-type]
        pond = f"{row['pond']}, " if row["kind"] in ("documented", "apart") else ""
        aside = "" if row["fit"] else " (not fitted)"
        cells = "".join(found(column.get(name)) for column in columns)
        lines.append(f"| {name}{aside} | {row['measured']} | {pond}{row['source']} | {test} {cells}|")
    return lines


def apart(rows: dict[str, Row], inside: dict[str, Verdict]) -> list[str]:
    """Ponds about what the fit has no part in: no part of the counts."""
    return [
        "## Apart from the fit",
        "",
        "Documented ponds and figures about fish and water that the fit has no part in; they are no part of the counts.",
        "",
        "| row | what | pond and source | test | model |",
        "|---|---|---|---|---|",
        *table(rows, inside),
        "",
    ]


def misses(verdicts: dict[str, Verdict]) -> list[str]:
    """The reason that rows.toml gives for each row that misses; a miss without one says so."""
    lines = [
        f"- {name}: {v.row.get('reason', 'no reason found yet')}" for name, v in verdicts.items() if not v.holds
    ]
    return lines or ["No row misses."]


def near_edges(verdicts: dict[str, Verdict]) -> list[str]:
    lines = [
        f"- {name}: {digits(v.median)}, test {digits(float(v.row['low']))} to {digits(float(v.row['high']))}"  # type: ignore[arg-type]
        + (", holds" if v.holds else ", misses")
        for name, v in verdicts.items()
        if v.near_edge
    ]
    return lines or ["None."]


def drawn_lines(fit: dict[str, object]) -> list[str]:
    """The parameters that the evidence drew farthest from their priors, and those at the end of what is allowed."""
    tables = sorted(estimates(fit).items(), key=lambda item: -abs(item[1]["z"]))  # type: ignore[arg-type, operator]
    far = [path for path, one in tables if abs(one["z"]) >= 2.0]  # type: ignore[arg-type]
    lines = [
        f"{len(tables)} parameters were estimated; no scale has a bound that a value can reach, and {len(far)} lie two or more",
        "standard deviations of their prior from its centre. The ten farthest:",
        "",
        "| parameter | prior | estimate | distance, sd of the prior | sd left, of the prior's |",
        "|---|---|---|---|---|",
    ]
    for path, one in tables[:10]:
        lines.append(f"| {path} | {one['prior']:g} | {one['value']:g} | {one['z']:+.1f} | {one['sd']:.2f} |")
    return lines


# ---------------------------------------------------------------------- moving one parameter at a time

# What the sensitivity is told of; rows of two ponds.
SENSITIVE = ("moderate_psd", "crowded_bluegill_psd", "weight_18_months_75", "total_fertilised")
# Not moved: days of the calendar, thresholds below which a group does not exist, the ends of shares, and the published
# standard-weight lines (2 % of a log10 intercept is 26-40 % of the weight; they are the definition of Wr).
STRUCTURAL = (
    "pulse_slot_days", "spawning_first_day", "spawning_last_day", "spawning_autumn_from_day", "pulse_min_weight",
    "pulse_min_per_ha", "join_within", "group_min_per_ha", "resource_floor_kg_per_ha", "light_peak_day", "intake_dome_floor",
    "standard_weight_", "search_dome_floor", "egg_predator_hunger_floor", "wariness", "catch_",
)  # fmt: skip
BATCH = 64


def movable() -> list[str]:
    base = load_parameters()
    return [
        path
        for path in paths()
        if not any(path.split(".")[1].startswith(name) for name in STRUCTURAL) and base.value(path)[0] != 0.0
    ]


def moved(executor: Executor | None, moves: list[tuple[str, float]]) -> dict[str, Array]:
    """SENSITIVE rows without luck with one parameter moved by a share at a time, [move]."""
    parts = []
    for first in range(0, len(moves), BATCH):
        parts.append(evaluate(SENSITIVE, _moved_parameters(moves[first : first + BATCH]), executor))
    return {name: np.concatenate([part[name] for part in parts]) for name in SENSITIVE}


def _moved_parameters(batch: list[tuple[str, float]]) -> Parameters:
    together = base = load_parameters()
    for path in dict.fromkeys(path for path, _ in batch):
        value = float(base.value(path)[0])
        together = together.replace(path, [value * (1.0 + share if path == p else 1.0) for p, share in batch])
    return together


def scans(executor: Executor | None) -> tuple[str, str]:
    """Scans of ±3 % in steps of 1.5 %: what moves the outcomes most, and the largest jump between neighbours."""
    shares = [-0.03, -0.015, 0.0, 0.015, 0.03]
    free = movable()
    got = moved(executor, [(path, share) for path in free for share in shares])
    grid = {name: values.reshape(len(free), len(shares)) for name, values in got.items()}
    effect = {name: (v[:, -1] - v[:, 0]) / 0.06 / np.abs(v[:, 2]) for name, v in grid.items()}
    order = np.argsort(-sum(np.abs(one) for one in effect.values()))[:10]
    sensitive = ["| parameter | " + " | ".join(SENSITIVE) + " |", "|---|" + "---|" * len(SENSITIVE)]
    for k in order:
        sensitive.append(f"| {free[k]} | " + " | ".join(f"{float(effect[n][k]):+.1f}" for n in SENSITIVE) + " |")
    smooth = [
        "| quantity | largest departure of a 1.5 % step from the usual step | at | usual step there |",
        "|---|---|---|---|",
    ]
    for name, values in grid.items():
        steps = np.diff(values, axis=1)
        bend = np.abs(steps - np.median(steps, axis=1, keepdims=True)).max(axis=1)
        k = int(np.argmax(bend))
        usual = digits(float(np.median(np.abs(steps[k]))))
        smooth.append(f"| {name} | {digits(float(bend[k]))} | {free[k]} | {usual} |")
    return "\n".join(sensitive), "\n".join(smooth)


def halved_step(rows: dict[str, Row], executor: Executor | None) -> list[str]:
    """The rows whose value without luck changes most when the day is taken in two steps."""
    whole = evaluate(rows, load_parameters(), executor)
    half = evaluate(rows, load_parameters(), executor, steps_per_day=2)
    change = {n: abs(float(distance(rows[n], half[n])[0] - distance(rows[n], whole[n])[0])) for n in rows}
    turned = [n for n in rows if bool(holds(rows[n], half[n])[0]) != bool(holds(rows[n], whole[n])[0])]
    lines = [
        f"{len(turned)} of {len(rows)} verdicts without luck change with two steps a day"
        + (f" ({', '.join(turned)})." if turned else "."),
        "",
        "| row | a step a day | two steps a day | change in errors of the observation |",
        "|---|---|---|---|",
    ]
    for name in sorted(rows, key=lambda n: -change[n])[:10]:
        lines.append(f"| {name} | {digits(whole[name][0])} | {digits(half[name][0])} | {change[name]:.2f} |")
    return lines


def formula_checks() -> list[tuple[str, bool]]:
    """The published figures of tests/published against the package's formulas, in words, and whether each holds."""
    from published.formulas import checks

    return [(str(check), bool(check.holds)) for check in checks()]


# ---------------------------------------------------------------------- the page


def page(rows: dict[str, Row], inside: dict[str, Verdict], raw: dict[str, Verdict], fit: dict[str, object]) -> list[str]:
    """The verdicts, out of fold first; without the parts that take long."""
    every = ("documented", "expectation", "physiology", "apart")
    kinds = {kind: {n: r for n, r in rows.items() if r["kind"] == kind} for kind in every}
    within = {kind: {n: inside[n] for n in part} for kind, part in kinds.items()}
    outside, times = widened(raw), pond_to_pond(raw)
    before = f"{100.0 * sum(v.covered for v in raw.values()) / max(1, len(raw)):.0f} % without the error from pond to pond"
    wider = ", ".join(f"{kind} {times_as_wide:.1f}" for kind, times_as_wide in times.items())
    old = stale(fit)
    formulas = formula_checks()
    return [
        "# Evidence",
        "",
        "Made by `python benchmarks/evidence.py`. Rows, errors and sources: tests/evidence/rows.toml; ponds: tests/ponds;",
        f"fit and refits: benchmarks/fit.py. A row is judged on the median of {len(MEMBERS)} members with shipped spreads; in",
        "brackets the range of 80 %, members and the stated error of the observation together; a row is covered if the",
        "observation lies there. Out of fold each pond's ranges are widened by the error from pond to pond that the other",
        "ponds showed, by kind of reading (times, over all ponds:",
        f"{wider}).",
        "",
        f"**Documented ponds, out of fold** (refitted without the pond, in {len(folds_of(rows))} folds): {shares(outside)}",
        f"({before}).",
        *([told_refits(fit)] if fit else []),
        f"Documented ponds, in sample: {shares(within['documented'])}.",
        f"Expectations, all in sample: {shares(within['expectation'])}.",
        f"Physiology: {shares(within['physiology'])}; formulas {sum(ok for _, ok in formulas)} of {len(formulas)}.",
        *([f"**The package is not what was fitted**: {', '.join(old)}."] if old else []),
        "",
        "Expectations stay in the likelihood when a fold is left out; those that were taken from a pond are left out with it.",
        "",
        "## Documented ponds",
        "",
        "| row | what | pond and source | test | out of fold | in sample |",
        "|---|---|---|---|---|---|",
        *table(kinds["documented"], outside, inside),
        "",
        "## Expectations",
        "",
        "| row | what | source | test | in sample |",
        "|---|---|---|---|---|",
        *table(kinds["expectation"], inside),
        "",
        *apart(kinds["apart"], inside),
        "## Physiology",
        "",
        "| row | what | source | test | model |",
        "|---|---|---|---|---|",
        *table(kinds["physiology"], inside),
        "",
        *(f"- {'holds' if ok else '**misses**'}: {words}" for words, ok in formulas),
        "",
        "## Why documented rows miss out of fold",
        "",
        *misses(outside),
        "",
        "## Why expectations miss",
        "",
        *misses({n: inside[n] for n in rows if n not in outside}),
        "",
        "## Within 5 % of an end of their interval",
        "",
        "Out of fold:",
        "",
        *near_edges(outside),
        "",
        "In sample:",
        "",
        *near_edges(inside),
        "",
        "## What the evidence did to the priors",
        "",
        *drawn_lines(fit),
        "",
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rows-only", action="store_true", help="the verdicts alone")
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    rows, fit = load_rows(), load_fit()
    with processes(asked.workers) as executor:
        inside = in_sample(rows, executor)
        outside = out_of_fold(rows, fit, executor)
        parts = page(rows, inside, outside, fit)
        outside = widened(outside)
        counted = [verdict for verdict in inside.values() if verdict.row["kind"] != "apart"]
        held = sum(verdict.holds for verdict in counted)
        last = f"out of fold: {shares(outside)}; in sample: {held} of {len(counted)}"
        HELD.write_text("".join(f"{name}\n" for name, v in inside.items() if v.holds), encoding="utf-8")
        write([*parts, last])
        if not asked.rows_only:
            sensitive, smooth = scans(executor)
            parts += [
                "## Sensitivity",
                "",
                "The ten parameters that move the outcomes most, without luck: per cent for one per cent, from moves of ±3 %.",
                "",
                sensitive,
                "",
                "## Smoothness",
                "",
                smooth,
                "",
            ]
            write([*parts, last])
            parts += ["## Halving the step", "", *halved_step(rows, executor), ""]
            write([*parts, last])
    print("\n".join([*parts, last]))


def write(parts: list[str]) -> None:
    """The page after each part of the work, since the later parts take long."""
    TABLE.write_text("\n".join([*parts, ""]), encoding="utf-8")


if __name__ == "__main__":
    main()
