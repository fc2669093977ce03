"""A plan told in words and tables: what to do, how surely, what each decision is worth, what it costs and risks."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence

import numpy as np

from pondpop.decide.comparison import Decision
from pondpop.decide.console import HIGH, WIDE, columns, wrapped
from pondpop.decide.passages import Passage, in_text
from pondpop.decide.phrases import FUTURES, Wording, of_members
from pondpop.decide.plan import AS_IN_FILE, FILES_OWN, Change, Plan
from pondpop.decide.survey_value import SurveyValue
from pondpop.decide.sweep_paths import csv_cell, labels
from pondpop.ensemble.quantities import QUANTILES
from pondpop.units import brief, converted, figure_of, in_csv, in_ten, joined, shortened, told_short

CAUTION = "Ask the state agency and a certified fisheries professional before you stock, move or harvest fish."
NARROW = 28  # characters of a cell on one screen
MOST_NAMED = 2  # plans that are as good as one another, told by their values


def wording(found: Plan) -> Wording:
    """The decision between the plans that were confirmed, told with short names."""
    count = len(found.finalists)
    short = tuple(f"plan {k + 1}" for k in range(count)) + (FILES_OWN,) * (len(found.decision.names) - count)
    full = tuple(f"plan {k + 1} ({told})" if k < count else told for k, told in enumerate(found.decision.names))
    return Wording(found.scenario, found.decision, short, full, found.scenario.units)


def plan_answer(found: Plan) -> str:
    """The answer on one screen: what to do, how surely, at what cost; then the plans side by side."""
    lines = _choice(found)
    if sure := wording(found).sureness(most=1, goals=1):
        lines += wrapped(f"How sure: {sure}")
    if found.decision.cost is not None:
        lines += wrapped(f"Cost: {wording(found).money(most=1)}")
    lines += wrapped(f"Matters most: {_most(found)}") if found.changes else []
    lines += wrapped(survey_worth(found)) if found.survey else []
    table = [list(row) for row in zip(*plans_table(found), strict=True)]  # decisions and goals down, plans across
    own = _own(found.decision)
    order = sorted((k for k in found.decision.ranked if k != own), key=lambda k: k != found.decision.followed)
    shown = [1 + k for k in order] + ([1 + own] if own is not None else [])
    while len(shown) > 1 and len(columns(_columns_of(table, shown)).partition("\n")[0]) > WIDE:
        shown.remove(shown[-2])  # the file's own plan stays
    foot = wrapped(f"{FUTURES}. {CAUTION}")
    body = _columns_of(table, shown)[: max(4, HIGH - len(lines) - len(foot) - 2)]
    return "\n".join([*lines, "", columns(body) + "\n".join(foot)]) + "\n"


def _columns_of(table: Sequence[Sequence[str]], shown: Sequence[int]) -> list[list[str]]:
    names = told_short([row[0] for row in table], NARROW)
    return [[name, *(shortened(row[k], NARROW) for k in shown)] for name, row in zip(names, table, strict=True)]


def plan_text(found: Plan) -> str:
    """The whole answer."""
    return in_text([*plan_passages(found), Passage(CAUTION)])


def plan_passages(found: Plan) -> list[Passage]:
    """The whole answer but for the caution."""
    told = wording(found)
    parts = [Passage("\n".join(_choice(found)))]
    if sure := told.sureness():
        parts.append(Passage(f"How sure: {sure}"))
    if found.decision.cost is not None:
        parts.append(Passage(f"Cost: {told.money()}"))
    parts.append(Passage(searched(found), detail=True))
    where = f"in {found.decision.members} futures that the search had not seen"
    parts.append(Passage(f"The plans, {where}; {FUTURES}:", plans_table(found)))
    if found.changes:
        words = f"What each decision is worth, the others as in the plan ({found.changes[0].decision.members} futures):"
        parts.append(Passage(words, changes_table(found)))
    parts += [Passage(line) for line in (*regrets(found), looking(found), survey_worth(found)) if line]
    if len(found.frontier) > 1:
        words = "What more money buys (in the futures of the search, worth in differences that matter):"
        parts.append(Passage(words, frontier_table(found)))
    return parts


def _choice(found: Plan) -> list[str]:
    told = wording(found)
    head = told.head if len(told.short) > 1 else "Only one plan"
    lines = wrapped(f"{head}: {told.listed(found.decision.equals, MOST_NAMED)}.")
    if found.decision.chosen is None and len(found.decision.equals) > 1:
        name = told.short[found.decision.followed]
        why = "which costs least of them" if found.decision.cheapest is not None else "which the goals speak for most"
        lines += wrapped(f"What follows is of {name}, {why}.")
    if FILES_OWN not in found.decision.names:
        cost, currency = figure_of(found.own_cost, "money"), told.currency
        lines += wrapped(f"The file's own plan, at {currency} {cost}, is over the budget.")
    return lines


def searched(found: Plan) -> str:
    """What was looked at."""
    count = int(np.prod([len(axis.values) for axis in found.axes], dtype=float))
    looked = len(found.tried) + found.dear
    over = f"; {found.dear} of them were over the budget of {wording(found).currency} {found.budget:,.0f}" if found.dear else ""
    decisions = "1 decision" if len(found.axes) == 1 else f"{len(found.axes)} decisions"
    return (
        f"{decisions}, {count:,} plans; {looked} of them were looked at, the worse in few futures only{over}. A goal is "
        "weighed in differences that matter, each by its weight in the file."
    )


def plans_table(found: Plan) -> list[list[str]]:
    """The plans that were confirmed: values of the decisions, goals, cost."""
    told, d = wording(found), found.decision
    heads = ["", *labels(found.axes), *(told.heading(score) for score in d.scores)]
    heads += ["better than the file's own"] if _own(d) is not None else []
    priced = d.cost is not None and not any(score.kind == "money" for score in d.scores)
    heads += [f"cost, {told.currency}"] if priced else []
    rows = [heads]
    for k, name in enumerate(told.short):
        values = found.finalists[k] if k < len(found.finalists) else (AS_IN_FILE,) * len(found.axes)
        row = [name, *(str(value) for value in values)]
        row += [of_members(converted(s.values[k], s.kind, told.units), s.kind) for s in d.scores]
        own = _own(d)
        if own is not None:
            row += ["–" if k == own else in_ten(float(d.better[k, own]), d.members)]
        if priced:
            assert d.cost is not None
            row += [of_members(d.cost.total[k], "money")]
        rows.append(row)
    return rows


def _own(decision: Decision) -> int | None:
    return decision.names.index(FILES_OWN) if FILES_OWN in decision.names else None


def changes_table(found: Plan) -> list[list[str]]:
    """Each decision changed alone: what the plan has over the changed one, goal by goal, and how often it is better."""
    told = wording(found)
    rows = [["decision", "instead", "the plan is better", "and worse", *(told.goal(s, short=True) for s in told.decision.scores)]]
    for change in found.changes:
        one = _of(change, found)
        pair = change.decision.pair(0, 1)
        rows.append([
            labels(found.axes)[change.axis], str(change.value),
            in_ten(pair.better, change.decision.members), in_ten(pair.worse, change.decision.members),
            *(one.gain(margin) for margin in pair.margins),
        ])  # fmt: skip
    return rows


def _of(change: Change, found: Plan) -> Wording:
    return Wording(found.scenario, change.decision, change.decision.names, change.decision.names, found.scenario.units)


def _most(found: Plan) -> str:
    """The decisions whose change does most harm, the largest first."""
    harm: dict[int, tuple[float, Change]] = {}
    for change in found.changes:
        pair = change.decision.pair(0, 1)
        net = pair.better - pair.worse
        if net > harm.get(change.axis, (-2.0, change))[0]:
            harm[change.axis] = (net, change)
    ranked = sorted(harm.values(), key=lambda one: -one[0])
    told, followed = [], found.decision.followed
    values = found.finalists[followed] if followed < len(found.finalists) else (AS_IN_FILE,) * len(found.axes)
    for net, change in ranked[:2]:
        if net <= 0.0:
            break
        better = in_ten(change.decision.pair(0, 1).better, change.decision.members)
        name = labels(found.axes)[change.axis]
        told.append(f"{name} ({values[change.axis]!s} better than {change.value!s} in {better} futures)")
    count = found.changes[0].decision.members
    return f"{joined(told)}, of the {count} futures looked at." if told else "none of the decisions; other values do as well."


def regrets(found: Plan) -> list[str]:
    """What would be regretted in other kinds of futures."""
    told, k = wording(found), found.decision.followed
    lines = []
    for regret in found.regrets:
        lost, best = regret.lost[k], int(np.argmin(regret.lost))
        words = "nothing is better" if lost < 1.0 else f"{told.short[best]} is better by {_worth(lost, found)}"
        lines.append(f"In {regret.where} (the {regret.members} such futures of {found.decision.members}), {words}.")
    return lines


def _worth(value: float, found: Plan) -> str:
    """A difference of worth: in the goal's unit where there is one goal, else in differences that matter."""
    told, scores = wording(found), found.decision.scores
    if len(scores) == 1:
        return told.amount(value * scores[0].goal.smallest, scores[0]) + (" fish" if scores[0].kind == "fish" else "")
    return f"{brief(value, 2)} differences that matter"


def looking(found: Plan) -> str:
    """What rules that look at the pond are worth against the best fixed rule."""
    if found.looking is None:
        return ""
    d = found.looking.decision
    one = Wording(found.scenario, d, d.names, d.names, found.scenario.units)
    pair = d.pair(0, 1)
    gains = "; ".join(f"{one.goal(m.score)}: {one.gain(m)}" for m in pair.margins)
    fixed = f"the best fixed rule, {100 * found.looking.share:.0f} % of the amount every year whatever the survey says"
    return (
        f"Looking at the pond first, against {fixed}: better in {in_ten(pair.better, d.members)} futures, worse in "
        f"{in_ten(pair.worse, d.members)} ({gains})."
    )


def survey_worth(found: Plan) -> str:
    """What the survey that was asked about is worth, and how much of it is enough."""
    value = found.survey
    if value is None:
        return ""
    what = f"The survey of {value.survey.date} ({value.survey.gear}, {_effort(value, value.survey.effort)})"
    if value.plans < 2:
        return f"{what} can change nothing here: none of the plans told apart differ only after that day."
    of = f"{value.plans} plans that differ only after it are chosen from"
    all_known = _worth(value.perfect, found)
    if value.gain <= 2.0 * value.error:
        return f"{what} gains nothing sure by what it shows: {of} (to know all would gain {all_known})."
    text = f"{what} gains {_worth(value.gain, found)} on average by what it shows, of {all_known} if all were known; {of}"
    k = value.enough
    if k is not None:
        text += f". Enough is {_effort(value, value.efforts[k])}, about {brief(round(value.fish[k]), 2)} bass of stock length"
    return text + "."


def _effort(value: SurveyValue, effort: float) -> str:
    return f"{brief(effort, 2)} {'hauls' if value.survey.gear == 'seine' else 'h'}"


def frontier_table(found: Plan) -> list[list[str]]:
    told = wording(found)
    rows = [[f"cost, {told.currency}", "worth against the best", *labels(found.axes)]]
    rows += [[figure_of(t.cost, "money"), f"{t.against_best:+.1f}", *map(str, t.values)] for t in found.frontier]
    return rows


def _heading(words: str) -> str:
    """Words as the heading of a column: letters, digits and _."""
    return re.sub("[^a-z0-9]+", "_", words.lower())


def plan_csv(found: Plan) -> str:
    """Every plan that was looked at or confirmed: values, members, cost, worth against the best, goals of the confirmed."""
    told, d = wording(found), found.decision
    out = io.StringIO()
    lines = csv.writer(out, lineterminator="\n")
    first = found.trials[0 if found.finalists[:1] == (found.tried[0].values,) else -1]  # the best of the search
    goals = [_heading(f"{told.goal(s)} {s.kind} {q}") for s in d.scores for q in ("p10", "p50", "p90")]
    lines.writerow(["plan", *(axis.path for axis in found.axes), "members", "cost", "worth_against_best", *goals])
    for k, name in enumerate(told.short):
        values = found.finalists[k] if k < len(found.finalists) else (AS_IN_FILE,) * len(found.axes)
        trial = found.trials[k]
        against = float((trial.worth - first.worth).mean())
        three = [np.quantile(converted(s.values[k], s.kind, told.units), QUANTILES) for s in d.scores]
        cells = [in_csv(q) for one in three for q in one]
        lines.writerow([name, *map(csv_cell, values), d.members, f"{trial.middle_cost:.2f}", f"{against:.4f}", *cells])
    for tried in found.tried:
        numbers = [tried.members, f"{tried.cost:.2f}", f"{tried.against_best:.4f}"]
        lines.writerow(["looked at", *map(csv_cell, tried.values), *numbers])
    return out.getvalue()
