"""Strategies against one another: each goal by strategy, and the chance that one beats another."""

from __future__ import annotations

import numpy as np

from pondpop.decide.goals import Score
from pondpop.ensemble.quantities import QUANTILES
from pondpop.observe import indices
from pondpop.report.answer import Verdict, chance_words, goal_words, tenths
from pondpop.report.drawing import Picture, grid, heading, picture
from pondpop.report.strategies import Case
from pondpop.report.tables import Cell, Table, chunks
from pondpop.units import converted, in_ten, unit_of, with_band


def duels(verdict: Verdict, key: str) -> Picture | None:
    """The chance that one strategy beats another: a square for each goal, rows against columns, in tenths."""
    if len(verdict.cases) < 2 or verdict.projection.members < 2:
        return None
    letters = [case.letter for case in verdict.cases]
    n = len(letters)
    figure, panels = grid(len(verdict.scores), 0.25 * n + 0.25 if n < 7 else 1.7, gap_in=0.5, top_in=0.42,
                          bottom_in=0.08, left_in=0.24)  # fmt: skip
    said = []
    for axes, score in zip(panels, verdict.scores, strict=True):
        words = goal_words(score, verdict.projection)
        heading(axes, "", words, 60 if len(verdict.scores) == 1 else 30)
        axes.texts[-1].set_y(12)
        axes.set(xlim=(-0.5, n - 0.5), ylim=(n - 0.5, -0.5))
        axes.xaxis.tick_top()
        axes.set_xticks(range(n), labels=letters, fontweight="bold")
        axes.set_yticks(range(n), labels=letters, fontweight="bold")
        axes.tick_params(length=0)
        for spine in axes.spines.values():
            spine.set_visible(False)
        for duel in verdict.duels(score):
            i, j = (letters.index(verdict.case(name).letter) for name in (duel.first, duel.second))
            for row, column, chance in ((i, j, duel.chance), (j, i, 1 - duel.chance)):
                if not np.isfinite(chance):
                    continue
                axes.fill_between([column - 0.47, column + 0.47], row - 0.46, row + 0.46, linewidth=0,
                                  color=(0.98 - 0.4 * chance, 0.98 - 0.33 * chance, 0.95 - 0.4 * chance))  # fmt: skip
                axes.text(column, row, tenths(chance, verdict.projection), ha="center", va="center", fontsize=8,
                          fontweight="bold" if chance > 0.5 else "normal")  # fmt: skip
            said.append(f"{verdict.case(duel.first).letter} beats {verdict.case(duel.second).letter} on {words} "
                        f"{chance_words(duel.chance, verdict.projection)}")  # fmt: skip
    return picture(
        figure, key, "How often one strategy beats another",
        "Each number: in how many of 10 courses the strategy of the row does better than that of the column, "
        "weather and "
        "luck being the same for both. 5 is a toss-up.",
        "; ".join(said) + ".",
    )  # fmt: skip


def goal_tables(verdicts: list[Verdict]) -> list[Table]:
    """Each goal by strategy with its band; and, as CSV only, the chance that one strategy beats another."""
    header = ["strategy", "title", "goal", "unit", "better", "p10", "p50", "p90", "standing"]
    csv_rows: list[list[object]] = []
    pairs: list[list[object]] = []
    tables = []
    caption = "The goals"
    if any(v.projection.members > 1 for v in verdicts):
        caption += ": the middle (median) and the range of 8 of 10 courses"
    for v in verdicts:
        rows: list[list[Cell]] = []
        for score in v.scores:
            better = "more is better" if score.better > 0 else "less is better"
            unit = _unit(score, v)
            for case in v.cases:
                csv_rows.append([case.letter, case.title, goal_words(score, v.projection), unit, better,
                                 *_quantiles(score, v, case), v.standing[case.strategy.name]])  # fmt: skip
            words = score.words if score.goal.kind in indices.TARGET_OPTIONS else goal_words(score, v.projection)
            words = words.replace("big_bass", "big-bass")
            rows.append([f"{words}{f', {unit}' if unit and unit not in words else ''}; {better}",
                         *(_goal_cell(score, v, case) for case in v.cases)])  # fmt: skip
            for duel in v.duels(score):
                a, b = v.case(duel.first), v.case(duel.second)
                difference = [_in_units(d, score, v) for d in duel.difference]
                pairs.append([a.letter, a.title, b.letter, b.title, goal_words(score, v.projection), duel.chance, unit,
                              *difference])  # fmt: skip
        if len(v.cases) > 1 and v.projection.members > 1:
            share: list[Cell] = [in_ten(v.standing[case.strategy.name], v.projection.members) for case in v.cases]
            rows.append(["Comparisons won, all goals by their weight", *share])
        for part in chunks(v.cases):
            k = v.cases.index(part[0])
            cut = [[row[0], *row[1 + k : 1 + k + len(part)]] for row in rows]
            tables.append(Table(
                "goals", caption + (f" ({v.projection.scenario.title})" if len(verdicts) > 1 else ""),
                ["Goal", *(f"{case.letter}: {case.title}" for case in part)], cut, header, csv_rows, look="bands",
            ))  # fmt: skip
    pair_header = ["first", "first_title", "second", "second_title", "goal", "chance_first_is_better", "unit",
                   "difference_p10", "difference_p50", "difference_p90"]  # fmt: skip
    return [*tables, Table("pairs", "", [], [], pair_header, pairs)]


def _unit(score: Score, v: Verdict) -> str:
    if score.kind == "money":
        return v.cost.currency
    return unit_of(score.kind, v.projection.units)


def _in_units(value: float, score: Score, v: Verdict) -> float:
    return converted(value, score.kind, v.projection.units)


def _quantiles(score: Score, v: Verdict, case: Case) -> list[float]:
    values = score.values[case.index]
    known = values[np.isfinite(values)]
    if not known.size:
        return [float("nan")] * 3
    return [_in_units(float(q), score, v) for q in np.quantile(known, QUANTILES)]


def _goal_cell(score: Score, v: Verdict, case: Case) -> Cell:
    return with_band(_quantiles(score, v, case), score.kind)
