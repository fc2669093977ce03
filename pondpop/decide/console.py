"""What the commands print: the answer in three sentences and one table, and plain tables of medians for the rest."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil
from textwrap import wrap

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike

from pondpop.decide import oxygen_risk
from pondpop.decide.comparison import Decision, Pair
from pondpop.decide.details import details
from pondpop.decide.phrases import FUTURES, Teller, of_members, option_words
from pondpop.ensemble.quantities import Quantity, quantiles, quantities
from pondpop.units import NONE, Units, brief, converted, in_ten, joined, tenths, told_short

# name of the quantity, heading of its column
MAIN = (
    ("bass_psd", "bass PSD"),
    ("bluegill_psd", "bluegill PSD"),
    ("bass_wr_8_12in", "Wr 8–12 in"),
    ("bass_standing_crop", "bass"),
    ("total_standing_crop", "all fish"),
    ("forage_carnivore_ratio", "F/C"),
)


WIDE, HIGH = 80, 24  # characters and lines of a plain terminal
LONGEST_SHOWN = 26  # characters of a strategy's name in a table
FEWEST_ROWS = 2  # of the table, however long the sentences are


def answer_text(told: Teller, against: int | None = None, more: str = "") -> str:
    """The answer on one screen: what, how much better and how surely, what next; then one table; then `more`, a line.

    against: the strategy with which the others are compared, by default the best one.
    """
    events, oxygen = _events(told), [wrapped(oxygen_risk.short_words(told, lines)) for lines in (2, 1)]
    for below, odd in (*(([*events, *some], told.odd(220)) for some in (*oxygen, [])), (events, told.odd(60))):
        whole = _answer(told, against, [*wrapped(odd), *wrapped(more)], below)
        if height(whole) <= HIGH:
            break
    return whole


def height(text: str) -> int:
    """Lines of a plain terminal that a text takes: a long path is told in one piece, on several of them."""
    return sum(max(1, ceil(len(line) / WIDE)) for line in text.splitlines())


def _answer(told: Teller, against: int | None, last: list[str], below: list[str]) -> str:
    said = _said(told, against, None, 2)
    high = HIGH - height("\n".join(last)) + len(last)
    if len(said) > high - 9 - len(below):  # what the table and what is below it need
        said = _said(told, against, 1, 2)
    most = high - 5 - FEWEST_ROWS - len(last)  # a blank line, the heads, how many more rows and two lines of notes
    if len(said) + len(below) > most:
        said = _said(told, against, 1, 1)
    if len(said) + len(below) > most and told.befalling is not None:
        below = wrapped(told.stands_up(counted=False))  # more of the events with --details
    if len(said) + len(below) > most:
        said = _said(told, against, 1, 1, rivals=0)
    room = high - len(said) - len(below)
    foot = wrapped(f"Mind: {short[0]}") if (short := [*told.unthinned(), *told.shortfalls()]) and room > 12 else []
    foot = [*below, *foot, *last]
    return "\n".join([*said, "", _strategies(told, against, high - len(said) - 1 - len(foot)), *foot]) + "\n"


def fitted(rows: Sequence[Sequence[str]]) -> str:
    """The rows in columns no wider than a plain terminal, their first cells cut where they must be."""
    over = len(columns(rows).partition("\n")[0]) - WIDE
    longest = max(len(row[0]) for row in rows)
    return columns(rows if over <= 0 else _with_short_names(rows, max(12, longest - over)))


def pond_line(name: str, told: Teller) -> str:
    """One pond of several: its name and what to choose there."""
    return "\n".join(wrapped(f"{name}: {told.head.lower()}: {told.choice()}")) + "\n"


def _said(told: Teller, against: int | None, goals: int | None, steps: int, rivals: int = 1) -> list[str]:
    """The three sentences, as lines, of so many goals (all of them), steps, and rivals beside which money is told."""
    said = wrapped(f"{told.head}: {told.choice()} {_sentence(told.money(most=rivals))}")
    rival = against if against is not None and against != told.decision.best else None
    if sure := told.sureness(rival, most=1, goals=goals):
        said += wrapped(f"How sure: {sure}")
    return said + wrapped(f"Next: {told.next_steps(steps if len(said) < HIGH / 2 else 1)}")


def _strategies(told: Teller, against: int | None, most: int) -> str:
    """Every strategy with its goals, what it costs, and how often it is better and worse than one of them.

    Of too many strategies the first by rank, within `most` lines; of too many columns the first ones.
    """
    d = told.decision
    base = d.best if against is None else against
    order = [*d.ranked]
    notes = [FUTURES] if d.members > 1 else []
    heads = [told.heading(score) for score in d.scores]
    cells = [
        [of_members(converted(score.values[k], score.kind, told.units), score.kind) for score in d.scores] for k in order
    ]
    if len(order) > 1:
        heads.insert(1, "better; worse")
        futures = "in how many of 10 futures " if d.members > 1 else ""
        notes.append(f"“better; worse”: {futures}than {told.short[base]}")
        for k, row in zip(order, cells, strict=True):
            row.insert(1, NONE if k == base else _won_and_lost(d.pair(k, base), d.members))
    if d.cost is not None and not any(score.kind == "money" for score in d.scores):
        place = min(2, len(heads))
        heads.insert(place, f"cost, {d.cost.currency}")
        for k, row in zip(order, cells, strict=True):
            row.insert(place, of_members(d.cost.total[k], "money"))
    for score in d.scores:
        if d.cost is not None and score.goal.kind == "bass_above":
            heads.append(f"{told.currency} for each")
            for k, row in zip(order, cells, strict=True):
                row.append(told.cost_per_fish(score, k))
    heads.append(f"in {option_words(told.option)} ranges")
    for k, row in zip(order, cells, strict=True):
        share = float(told.in_range[k])
        row.append(in_ten(share, d.members) if d.members > 1 else "yes" if share else "no")
    whole = [["", *heads], *([told.short[k], *row] for k, row in zip(order, cells, strict=True))]
    rows = _with_short_names(whole, LONGEST_SHOWN)
    if len(columns(rows).partition("\n")[0]) > WIDE:
        rows = _with_short_names(whole, 18)
    while len(rows[0]) > 3 and len(columns(rows).partition("\n")[0]) > WIDE:
        rows = [row[:-1] for row in rows]
    if gone := [head for head in map(told.heading, d.scores) if head not in rows[0]]:
        notes.append(f"{joined(gone)}: --details")
    foot = wrapped("; ".join(notes)) if notes else []
    shown = max(2 + FEWEST_ROWS, most - len(foot))
    if len(rows) > shown:
        foot.append(f"… and {len(rows) - shown + 1} more strategies (--details)")
        rows = rows[: shown - 1]
    return columns(rows) + "\n".join(foot)


def _events(told: Teller) -> list[str]:
    """What comes of the strategies if something befalls the pond: the heaviest goal of the best ones, and the choice."""
    found = told.befalling
    if found is None:
        return []
    place = max(range(len(told.decision.scores)), key=lambda g: told.decision.scores[g].goal.weight)
    titles = told_short([e.title for e in found.events], 20)
    rows = [[f"What if: {told.heading(told.decision.scores[place])}", "nothing", *titles]]
    names = told_short(told.short, LONGEST_SHOWN)
    for k in found.overall.ranked[:FEWEST_ROWS]:
        scores = [decision.scores[place] for decision in (told.decision, *(e.decision for e in found.events))]
        cells = [of_members(converted(score.values[k], score.kind, told.units), score.kind) for score in scores]
        rows.append([names[k], *cells])
    if len(told.decision.names) > 1:
        chosen = [_choice(told, decision) for decision in (told.decision, *(e.decision for e in found.events))]
        rows.append(["choose", *chosen])
    shown = rows
    while len(shown[0]) > 3 and len(columns(shown).partition("\n")[0]) > WIDE:
        shown = [row[:-1] for row in shown]
    left = len(rows[0]) - len(shown[0])
    more = f" {left} more: --details." if left else ""
    return [*columns(shown).splitlines(), *wrapped(f"{told.stands_up()}{more}")]


def _choice(told: Teller, decision: Decision) -> str:
    return "none surely" if decision.chosen is None else told_short(told.short, 16)[decision.chosen]


def _won_and_lost(pair: Pair, members: int) -> str:
    if members == 1:
        return "better" if pair.better else "worse" if pair.worse else "neither"
    return "; ".join(tenths(share, members) for share in (pair.better, pair.worse))


def details_text(told: Teller, against: int | None = None) -> str:
    """All that can be said of a comparison, as lines for a terminal: what `answer_text` leaves out."""
    lines = [told.sureness(against), told.what_if(), told.expected(), told.mind(), told.change()]
    lines += [detail.words for detail in details(told, against)]
    return "".join(f"- {_sentence(line)}\n" for line in lines if line)


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def wrapped(words: str) -> list[str]:
    """Lines of a plain terminal; a word that is longer, as a path, stays in one piece."""
    return wrap(words, WIDE - 1, break_on_hyphens=False, break_long_words=False)


def _with_short_names(rows: Sequence[Sequence[str]], most: int) -> list[list[str]]:
    """The rows, the first cell of each cut to so many characters."""
    names = told_short([row[0] for row in rows], most)
    return [[name, *row[1:]] for name, row in zip(names, rows, strict=True)]


def balance_table(dataset: xr.Dataset, units: Units) -> str:
    """Per strategy and autumn survey: the main signs of balance, median [p10–p90]."""
    named = {quantity.name: quantity for quantity in quantities(dataset)}
    shown = [(heading, named[name]) for name, heading in MAIN]
    autumn = autumn_surveys(dataset)
    dates = [str(date)[:10] for date in dataset["survey_date"].values]
    head = ["survey", *(_headed(heading, quantity, units) for heading, quantity in shown)]
    values = [quantiles(quantity.in_units(units)) for _, quantity in shown]
    parts = []
    for s, strategy in enumerate(dataset["strategy"].values):
        rows = [[dates[d], *(band(v[s, d], q.kind) for (_, q), v in zip(shown, values, strict=True))] for d in autumn]
        parts.append(f"{strategy}\n{columns([head, *rows])}")
    about = "Last survey of each year, median [8 of 10 futures]; F/C: weight of forage fish over weight of bass.\n"
    return about + "\n".join(parts)


def autumn_surveys(dataset: xr.Dataset) -> list[int]:
    """The last survey of each calendar year, by position."""
    years = dataset["survey_date"].values.astype("datetime64[Y]").astype(int)
    return [int(np.flatnonzero(years == year)[-1]) for year in np.unique(years)]


def band(values: ArrayLike, kind: str = "") -> str:
    """p10, p50, p90 as "median [p10–p90]"; "–" where undefined. Per cent without decimals."""
    low, middle, high = (float(v) for v in np.asarray(values))
    if np.isnan(middle):
        return "–"
    told = [f"{v:.0f}" if kind == "percent" else brief(v, 2 if abs(v) < 10 else 3) for v in (low, middle, high)]
    return told[1] if low == high else f"{told[1]} [{told[0]}–{told[2]}]"


def columns(rows: Sequence[Sequence[str]]) -> str:
    """Rows as aligned text, the first column to the left and the others to the right."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    lines = []
    for row in rows:
        cells = [row[0].ljust(widths[0]), *(cell.rjust(w) for cell, w in zip(row[1:], widths[1:], strict=True))]
        lines.append("  " + "  ".join(cells).rstrip())
    return "\n".join(lines) + "\n"


def _headed(heading: str, quantity: Quantity, units: Units) -> str:
    unit = quantity.unit(units)
    return f"{heading}, {unit}" if unit else heading
