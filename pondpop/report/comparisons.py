"""Strategies against one another: each goal by strategy, and in how many futures one is better than another."""

from __future__ import annotations

import numpy as np

from pondpop.decide.goals import Score, cost_per_fish
from pondpop.ensemble.quantities import QUANTILES
from pondpop.report.answer import Verdict
from pondpop.report.drawing import Picture, grid, heading, picture
from pondpop.report.strategies import Case
from pondpop.report.tables import Cell, Table, chunks
from pondpop.units import converted, in_ten, tenths, unit_of, with_band


def squares(verdict: Verdict, key: str) -> Picture | None:
    """In how many futures one strategy is better than another: a square for each goal, rows against columns, in tenths."""
    told, members = verdict.told, verdict.decision.members
    if len(verdict.cases) < 2 or members < 2:
        return None
    letters = [case.letter for case in verdict.cases]
    n = len(letters)
    scores = verdict.decision.scores
    figure, panels = grid(len(scores), 0.25 * n + 0.25 if n < 7 else 1.7, gap_in=0.5, top_in=0.42,
                          bottom_in=0.08, left_in=0.24)  # fmt: skip
    said = []
    for g, (axes, score) in enumerate(zip(panels, scores, strict=True)):
        words = told.goal(score)
        heading(axes, "", words)
        axes.texts[-1].set_y(12)
        axes.set(xlim=(-0.5, n - 0.5), ylim=(n - 0.5, -0.5))
        axes.xaxis.tick_top()
        axes.set_xticks(range(n), labels=letters, fontweight="bold")
        axes.set_yticks(range(n), labels=letters, fontweight="bold")
        axes.tick_params(length=0)
        for spine in axes.spines.values():
            spine.set_visible(False)
        for row, column in ((i, j) for i in range(n) for j in range(n) if i != j):
            margin = verdict.decision.pair(row, column).margins[g]
            if not margin.compared:
                continue
            share = margin.better
            axes.fill_between([column - 0.47, column + 0.47], row - 0.46, row + 0.46, linewidth=0,
                              color=(0.98 - 0.4 * share, 0.98 - 0.33 * share, 0.95 - 0.4 * share))  # fmt: skip
            axes.text(column, row, tenths(share, members), ha="center", va="center", fontsize=8,
                      fontweight="bold" if share > margin.worse else "normal")  # fmt: skip
            said.append(f"{letters[row]} is better than {letters[column]} on {words} in {in_ten(share, members)} futures")
    matters = ", ".join(dict.fromkeys(told.matters(score) for score in scores))
    return picture(
        figure, key, "In how many futures one strategy is better than another",
        "Each number: in how many of 10 futures the strategy of the row is better than that of the column by what "
        f"matters ({matters} or more), weather and luck being the same for both. What is missing to 10 in the two "
        "numbers of a pair are futures in which neither is.",
        "; ".join(said) + ".",
    )  # fmt: skip


def goal_tables(verdicts: list[Verdict]) -> list[Table]:
    """Each goal by strategy with its band; and, as CSV only, every strategy against every other."""
    header = ["strategy", "title", "goal", "unit", "better", "matters", "p10", "p50", "p90"]
    csv_rows: list[list[object]] = []
    pairs: list[list[object]] = []
    tables = []
    caption = "The goals"
    if any(v.projection.members > 1 for v in verdicts):
        caption += ": the middle (median) and the range of 8 of 10 futures"
    for v in verdicts:
        rows: list[list[Cell]] = []
        for score in v.decision.scores:
            better = "more is better" if score.better > 0 else "less is better"
            unit, goal = _unit(score, v), v.told.goal(score)
            for case in v.cases:
                csv_rows.append([case.letter, case.title, goal, unit, better, _in_units(score.goal.smallest, score, v),
                                 *_quantiles(score, v, case)])  # fmt: skip
            rows.append([f"{v.told.heading(score, narrow=False)}; {better}", *(_goal_cell(score, v, case) for case in v.cases)])
            if score.goal.kind == "bass_above" and v.decision.cost is not None:
                each = np.quantile(cost_per_fish(v.decision.cost, score), QUANTILES, axis=1, method="inverted_cdf").T
                words = f"cost for each of them, {v.told.currency}"
                rows.append([f"{words}; less is better", *(with_band(each[case.index], "money") for case in v.cases)])
                each[~np.isfinite(each)] = np.nan
                for case in v.cases:
                    head = [case.letter, case.title, f"{goal}, {words}", v.told.currency, "less is better", ""]
                    csv_rows.append([*head, *each[case.index]])
        if len(v.cases) > 1 and v.projection.members > 1:
            rows.append([f"All goals, against {v.best.letter}: futures in which better; worse",
                         *(_against_best(v, case) for case in v.cases)])  # fmt: skip
        pairs += _pairs(v)
        for part in chunks(v.cases):
            k = v.cases.index(part[0])
            cut = [[row[0], *row[1 + k : 1 + k + len(part)]] for row in rows]
            tables.append(Table(
                "goals", caption + (f" ({v.projection.scenario.title})" if len(verdicts) > 1 else ""),
                ["Goal", *(f"{case.letter}: {case.title}" for case in part)], cut, header, csv_rows, look="bands",
            ))  # fmt: skip
    pair_header = ["first", "first_title", "second", "second_title", "goal", "first_better", "first_worse", "unit",
                   "difference_p10", "difference_p50", "difference_p90"]  # fmt: skip
    return [*tables, Table("pairs", "", [], [], pair_header, pairs)]


def what_if_tables(verdicts: list[Verdict]) -> list[Table]:
    """Every goal by strategy if nothing befalls the pond, and with each event; what is to be chosen then."""
    header = ["what_if", "title", "choice", "strategy", "strategy_title", "goal", "unit", "p10", "p50", "p90",
              "change_p10", "change_p50", "change_p90"]  # fmt: skip
    csv_rows: list[list[object]] = []
    tables = []
    caption = "If something befalls the pond: each strategy with it, under the same luck"
    for v in verdicts:
        found = v.told.befalling
        if found is None:
            continue
        worlds = [("", "nothing befalls the pond", v.decision, "as above")]
        worlds += [(event.name, event.title, event.decision, v.told.chosen_with(event)) for event in found.events]
        rows: list[list[Cell]] = []
        for place, (name, title, decision, choice) in enumerate(worlds):
            for g, score in enumerate(decision.scores):
                head = v.told.heading(score, narrow=False)
                rows.append([(title, choice), head, *(_goal_cell(score, v, case) for case in v.cases)])
                for case in v.cases:
                    change = found.events[place - 1].hurts[case.index][g].difference if place else (0.0, 0.0, 0.0)
                    csv_rows.append([name, title, choice, case.letter, case.title, v.told.goal(score), _unit(score, v),
                                     *_quantiles(score, v, case), *(_in_units(d, score, v) for d in change)])  # fmt: skip
        for part in chunks(v.cases):
            k = 2 + v.cases.index(part[0])
            cut = [[*row[:2], *row[k : k + len(part)]] for row in rows]
            tables.append(Table(
                "what_if", caption + (f" ({v.projection.scenario.title})" if len(verdicts) > 1 else ""),
                ["If", "Goal", *(f"{case.letter}: {case.title}" for case in part)], cut, header, csv_rows, look="bands",
            ))  # fmt: skip
    return tables


def _pairs(v: Verdict) -> list[list[object]]:
    rows: list[list[object]] = []
    ranked = v.decision.ranked
    for k, first in enumerate(ranked):
        for second in ranked[k + 1 :]:
            pair, (a, b) = v.decision.pair(first, second), (v.cases[first], v.cases[second])
            names = [a.letter, a.title, b.letter, b.title]
            rows.append([*names, "all, by weight", pair.better, pair.worse, "", "", "", ""])
            for margin in pair.margins:
                difference = [_in_units(d, margin.score, v) for d in margin.difference]
                unit = _unit(margin.score, v)
                rows.append([*names, v.told.goal(margin.score), margin.better, margin.worse, unit, *difference])
            if pair.dearer is not None:
                rows.append([*names, "what it costs more", "", "", v.told.currency, *pair.dearer])
    return rows


def _against_best(v: Verdict, case: Case) -> str:
    if case is v.best:
        return "–"
    pair = v.decision.pair(case.index, v.decision.best)
    return "; ".join(in_ten(share, v.decision.members) for share in (pair.better, pair.worse))


def _unit(score: Score, v: Verdict) -> str:
    return v.told.currency if score.kind == "money" else unit_of(score.kind, v.projection.units)


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
