"""A verification in words: whether the pond follows its forecast, what is under suspicion, figure by figure."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence

import numpy as np
import scipy

from pondpop.assess.size_and_condition import class_words
from pondpop.decide.console import HIGH, WIDE, columns, fitted, wrapped
from pondpop.decide.passages import Passage
from pondpop.units import NONE, Units, brief, converted, in_csv, joined, unit_of
from pondpop.update.verify import Checked, Estimate, Verification

SURE = 0.05  # chance of as few, or as many, figures inside, below which it is told as such (a choice)
MOST_NAMED = 3  # assumptions under suspicion that are told at once
MOST_SHOWN = 12  # figures on the terminal, those farthest out first
KINDS = {"mm": "length", "mm a year": "length"}  # of units that have two systems
WHAT_TO_DO = {
    "food": "look at fertility, plants and the water; compare with a poorer or richer pond in the scenario",
    "growth": "compare Wr and length at age; a survey of the prey tells food from growth",
    "young": "seine in early summer, and count the young in the autumn survey",
    "natural": "look for deaths that the scenario does not know (kills, predators, unreported harvest)",
    "survival": "count what was stocked again in the next survey",
    "harvest": "ask the anglers: unreported trips or fish make catches look small",
    "reporting": "ask every angler for the trips and kept fish that are not in the books",
    "unreported": "look who else fishes, and ask every angler for the kept fish that are not in the books",
    "catchability": "the gear may see other fish than was thought; note water temperature, hours and crew",
}
CAUTION = (
    "A forecast that fails is no proof of its cause. Survey again before you stock, harvest or treat on this; ask the "
    "state agency and a certified fisheries professional."
)


def verify_text(found: Verification, units: Units) -> str:
    """The whole answer, on one plain screen where nothing was left unused."""
    said = [*wrapped(verdict(found)), *wrapped(score(found)), *wrapped(suspicion(found)), ""]
    caution = wrapped(CAUTION)
    room = min(MOST_SHOWN, HIGH - len(said) - len(caution) - 4)  # two heads, and where everything is
    shown = sorted(found.figures, key=lambda one: -abs(one.rank - 0.5))[: max(3, room)]
    days = sorted({one.day for one in found.figures})
    rows = [[*HEADS], *(_row(one, units, len(days) > 1) for one in shown)]
    if len(columns(rows).partition("\n")[0]) > WIDE:  # what no change would have foretold stands in the CSV
        rows = [row[:-1] for row in rows]
    more = len(found.figures) - len(shown)
    lines = [*said]
    of_day = f" of {days[0]}" if len(days) == 1 else ""
    lines.append(f"Figures{of_day}, those farthest out first{f' ({more} more in verify.csv)' if more else ''}:")
    text = "\n".join(lines) + "\n" + fitted(rows)
    for line in found.unused:
        text += f"Not used: {line}.\n"
    return text + "\n".join(caution) + "\n"


def verify_passages(found: Verification, units: Units) -> list[Passage]:
    """The whole answer for a client's page, with every figure."""
    rows = [[*HEADS], *(_row(one, units, True) for one in found.figures)]
    asked = [["assumption", "standard deviations", "under suspicion"]]
    asked += [[_more(one), f"{one.score:.1f}", "yes" if one.suspected else "no"] for one in found.estimates]
    parts = [
        Passage("\n".join([verdict(found), score(found), suspicion(found)])),
        Passage("What was foretold and what was seen; […] holds 8 of 10 futures:", rows),
        Passage("How much the records look like those of ponds where an assumption is wrong:", asked, detail=True),
        *(Passage(f"Not used: {line}.", detail=True) for line in found.unused),
    ]
    return [part for part in parts if part.words]


HEADS = ("record", "figure", "foretold", "seen", "", "no change")


def verdict(found: Verification) -> str:
    """How many figures lie where the forecast had them, and whether that is few."""
    count, inside = len(found.figures), found.inside
    expected = f"8 of 10 are expected, about {0.8 * count:.0f}"
    head = f"Of {count} figures seen after {found.since}, {inside} lie inside the range foretold for 8 of 10 ({expected}). "
    few, many = scipy.stats.binom.cdf(inside, count, 0.8), scipy.stats.binom.sf(inside - 1, count, 0.8)
    if few < SURE:
        return head + "That is too few for chance alone, were they independent: the pond does not follow its forecast."
    if many < SURE:
        return head + "That is more than chance would have it: the forecast is vaguer than it need be."
    if found.suspects:
        return head + "That alone would be as could be expected, but the figures together speak against an assumption."
    return head + "The pond follows its forecast as well as could be expected."


def score(found: Verification) -> str:
    """The forecast against "no change"."""
    gain = found.gain_on_no_change
    if not np.isfinite(gain):
        return "Nothing was seen twice, so there is no comparing with “no change”."
    seen = int(sum(np.isfinite(one.before) for one in found.figures))
    percent = round(100 * gain)
    how = f"{abs(percent)} % {'nearer to' if percent > 0 else 'farther from'} what was seen than “no change”"
    if not percent:
        how = "as near to what was seen as “no change”"
    return f"Over the {seen} figure{'s' * (seen != 1)} that had been seen before, the forecast was {how}."


def suspicion(found: Verification) -> str:
    """Which assumption the records speak against; those that they cannot tell apart, together."""
    if not found.suspects:
        first = found.estimates[:1]
        least = f" (most of all they ask for {_more(first[0])}, which chance may do)" if first else ""
        return f"No assumption is under suspicion{least}."
    parts = [f"{_more(one)} ({one.score:.1f} standard deviations)" for one in found.suspects[:MOST_NAMED]]
    if (rest := len(found.suspects) - MOST_NAMED) > 0:
        parts.append(f"{rest} more (see verify.csv)")
    apart = "; the records cannot tell these apart" if len(parts) > 1 else ""
    what = WHAT_TO_DO.get(found.suspects[0].assumption.partition(" ")[0], "")
    told = f"Under suspicion: the records ask for {joined(parts, 'or')} than the forecast had{apart}."
    return told + (f" Next: {what}." if what else "")


def _more(one: Estimate) -> str:
    word = "more" if one.more else "less"
    if one.assumption.startswith(("young", "natural")):
        word = "more" if one.more else "fewer"
    return f"{word} {one.assumption}"


def _row(one: Checked, units: Units, dated: bool) -> list[str]:
    low, middle, high = (_in(value, one, units) for value in one.band)
    unit = _unit(one, units)
    seen = f"{brief(_in(one.seen, one, units))} {unit}"
    where = "" if one.inside else "below" if one.rank < 0.5 else "above"
    band = f"{brief(middle)} [{brief(low)}–{brief(high)}]"
    before = brief(_in(one.before, one, units)) if np.isfinite(one.before) else NONE
    return [f"{one.day} {one.title}" if dated else one.title, _figure(one.name), band, seen, where, before]


def _figure(name: str) -> str:
    """What was seen, its length class in words: mean Wr 15–20 in."""
    what, _, sizes = name.rpartition(" ")
    return f"{what} {class_words(sizes)}" if re.fullmatch(r"\d+_\d+in|\d+in_up", sizes) else name


def _in(value: float, one: Checked, units: Units) -> float:
    kind = KINDS.get(one.unit)
    return float(value if kind is None else converted(np.array(value), kind, units))


def _unit(one: Checked, units: Units) -> str:
    kind = KINDS.get(one.unit)
    return one.unit if kind is None else one.unit.replace("mm", unit_of(kind, units))


def verify_csv(found: Verification, units: Units) -> str:
    """Every figure: what was foretold and seen, whether inside, its rank, and how far forecast and no change miss."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    heads = ("date", "record", "figure", "unit", "p10", "p50", "p90", "seen", "inside", "rank", "miss", "miss_of_no_change")
    rows.writerow(heads)
    for one in found.figures:
        numbers: Sequence[float] = [*one.band, one.seen]
        cells = [in_csv(_in(value, one, units)) for value in numbers]
        misses = [in_csv(_in(value, one, units)) for value in (one.miss, one.miss_of_no_change)]
        rows.writerow([one.day, one.title, one.name, _unit(one, units), *cells, "yes" if one.inside else "no",
                       f"{one.rank:.3f}", *misses])  # fmt: skip
    for estimate in found.estimates:
        rows.writerow(["", "assumption", estimate.assumption, "standard deviations", "", "", "",
                       f"{estimate.score if estimate.more else -estimate.score:.2f}",
                       "no" if estimate.suspected else "yes", "", "", ""])  # fmt: skip
    return out.getvalue()
