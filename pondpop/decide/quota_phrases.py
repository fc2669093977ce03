"""A quota told in words and tables: what to take, what it does, when, and whether it can be caught."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pondpop.decide import goals, harvest_outcome
from pondpop.decide.comparison import Pair, judge, together
from pondpop.decide.console import HIGH, WIDE, band, columns, wrapped
from pondpop.decide.harvest_outcome import TAKEN
from pondpop.decide.passages import Passage, in_text
from pondpop.decide.phrases import FUTURES, Wording
from pondpop.decide.quota import MOST_KG_PER_HA, Found, Question, Trial, at_least, chance_caught, whole_fish, with_quota
from pondpop.ensemble.quantities import QUANTILES, quantities
from pondpop.scenario import Scenario
from pondpop.units import CROP, LENGTH, MM_PER_IN, brief, converted, hundredths, in_ten, joined, percent

Array = NDArray[np.float64]
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
BELOW = 3  # lines that the terminal shows below the answer
TAKE_NONE = "Take no bass: no harvest that was tried serves the goals better."
SHORT_CAUTION = "Ask the state agency before you harvest."
CAUTION = (
    "A quota is advice, not a licence: harvest rules, seasons and lengths are set by the state agency; ask it and a "
    "certified fisheries professional, and check for advisories before eating fish."
)


class Effect(NamedTuple):
    """Something that a quota does: its heading, the same in ASCII for a table of data, and values by member, or a share in %."""

    head: str
    key: str
    values: Array | float


def quota_answer(found: Found) -> str:
    """The answer on one screen: what to take, what it meets and how surely, what it does; the rest is in `quota_text`."""
    said = _lead(found)
    table = _amounts(found).text().splitlines()
    foot = wrapped(f"{FUTURES}. {SHORT_CAUTION}")
    rows = _trade_off_rows(found)
    while len(columns(rows).partition("\n")[0]) >= WIDE:
        rows = [row[:-1] for row in rows]
    room = HIGH - BELOW - len(table) - len(foot) - 1
    lines: list[str] = []
    for sentence in said:
        more = wrapped(sentence)
        if len(lines) + len(more) <= room - 3:  # headings and two rows at least
            lines += more
    head, *rest = rows
    kept = [row for name in FIRST for row in rest if row[0] == name][: max(2, room - len(lines) - 1)]
    body = columns([head, *(row for row in rest if row in kept)])
    return "\n".join([*lines, "", *table]) + "\n" + body + "\n".join(foot) + "\n"


def quota_text(found: Found) -> str:
    """The whole answer."""
    return in_text([*quota_passages(found), Passage(CAUTION)])


def quota_passages(found: Found) -> list[Passage]:
    """The whole answer but for the caution."""
    parts = [Passage("\n".join(_lead(found))), _amounts(found), *_trade_off(found), *_by_month(found), _schedule(found)]
    return [part for part in (*parts, _catching(found)) if part.words]


def quota_csv(found: Found) -> str:
    """The trade-off as CSV: one line per set of amounts, with the members it was judged on; headings in ASCII."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    question, unit = found.question, _suffix(found)
    names = [_ascii(f"bass {_window(w, found)} years {a} to {b} {unit}") for w in question.windows for a, b in question.periods]
    rows.writerow(["what", "members", *names, *(effect.key for effect in _effects(found, found.best))])
    fresh = [("quota", found.best), *found.others.items()]
    for name, trial in [*fresh, *((f"scan {k + 1}", trial) for k, trial in enumerate(found.scan))]:
        cells = [repr(float(a)) for a in (_in_unit(trial.amounts, found)).ravel()]
        effects = [_csv_cell(effect.values) for effect in _effects(found, trial)]
        rows.writerow([name, trial.members, *cells, *effects])
    return out.getvalue()


def months_csv(found: Found) -> str:
    """Whole fish of the pond to take: one line for each window, year and month of the season."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(["length_from_in", "length_to_in", "year", "month", "fish"])
    fish, start = whole_fish(found.best, found.question, found.scenario), found.scenario.run.start.year
    for window, by_year in zip(found.question.windows, fish, strict=True):
        ends = [f"{edge / MM_PER_IN:.6g}" for edge in window]
        for year, month in np.argwhere(by_year >= 0):
            if month in _months(found.question) and found.question.periods[0][0] <= year + 1:
                rows.writerow([*ends, start + int(year), int(month) + 1, int(by_year[year, month])])
    return out.getvalue()


# ---------------------------------------------------------------------- the answer in sentences


def _lead(found: Found) -> list[str]:
    """What is asked, whether it is met, what stands in the way, what the reader must know besides."""
    first, last = [_asked(found), _met(found), _at_the_most(found)], [_binding(found), _against_none(found), _of_crowded(found)]
    advice = found.best.meets(found.question.probability)  # what is not caught of what is no advice matters less
    every = [*first, _not_caught(found), *last] if advice else [*first, *last, _not_caught(found)]
    return [line for line in every if line]


def quota_advice(found: Found) -> str:
    """What to take, in a sentence, for a page that tells of harvest elsewhere too; empty where nothing keeps every limit."""
    best, question = found.best, found.question
    if not best.meets(question.probability):
        return ""
    start, parts = found.scenario.run.start.year, []
    for window, row in zip(question.windows, _in_unit(best.amounts, found), strict=True):
        told = [
            f"{brief(float(amount))} {_unit(found)} a year in {start + a - 1}–{start + b - 1}"
            for amount, (a, b) in zip(row, question.periods, strict=True)
        ]
        if len(set(row)) == 1:
            told = [f"{brief(float(row[0]))} {_unit(found)} a year"]
        if row.any():
            parts.append(f"{joined(told)} of bass of {_window(window, found)}")
    if not parts:
        return TAKE_NONE
    if best.caught:
        return f"Take {'; '.join(parts)}."
    return f"Take what is caught, {_caught_a_year(found)}; the ceilings are {'; '.join(parts)}, which are not reached."


def _caught_a_year(found: Found) -> str:
    return f"{_cell(_in_unit(_mean_taken(found.best), found))} {_unit(found)} of bass a year in all"


def _mean_taken(trial: Trial) -> Array:
    """What is caught a year of those with a quota [member], kg/ha."""
    years = trial.asked > 0.0
    return np.asarray(trial.taken[:, years].mean(axis=1)) if years.any() else np.zeros(trial.members)


def _asked(found: Found) -> str:
    best, question = found.best, found.question
    title = found.scenario.strategies[question.strategy].title
    last = str(best.dataset["survey_date"].values[-1])[:10]
    told = joined(limit.name for limit in best.limits)
    if not told:
        return f"Quota for “{title}”, until {last}: the goals set no limits, so this is what serves them best."
    of = "with" if len(best.limits) == 1 else "each with"
    return (
        f"Quota for “{title}”: by the goals, {told}, {of} a probability of {percent(question.probability)}, over the "
        f"twelve months to {last}; of what keeps that, what serves the goals best."
    )


def _met(found: Found) -> str:
    best, question = found.best, found.question
    if not best.limits:
        return ""
    got = ", ".join(f"{name} {hundredths(chance)} %" for name, chance in best.chances.items())
    got += f", all at once {hundredths(best.all_at_once)} %" if len(best.limits) > 1 else ""
    each = "each of them" if len(best.limits) > 1 else "that"
    if found.met:
        met = f"This one meets {each}"
    elif best.meets(question.probability):
        least = min(at_least(chance, best.independent) for chance in best.chances.values())
        met = f"It may meet {each}, but so few futures are sure of {hundredths(least)} % only (more would tell). This one"
    else:
        them_all, nearest = ("them all", "The nearest of them") if len(best.limits) > 1 else ("that", "The nearest")
        if any(one.all_at_once > best.all_at_once for one in found.others.values()):
            alike = f"which {best.independent} futures cannot tell apart, this serves the goals best"
            nearest = f"Of those that come nearest, {alike}"
        met = f"No quota that was tried meets {them_all}. {nearest}"
    return f"{met}, in {best.members} futures that the search had not seen: {got}."


def _binding(found: Found) -> str:
    """Which limit stands in the way, and what to relax it would give."""
    binding, question = found.binding, found.question
    if binding is None:
        return ""
    limit, without = binding.limit, binding.without
    left = {name: chance for name, chance in without.chances.items() if name != limit.name}
    text = f"What binds is {limit.name}."
    same = bool((without.amounts == found.best.amounts).all())
    told = "the same amounts" if same else _told(without, found)
    if left:
        met = all(chance >= question.probability for chance in left.values())
        how = "meet the others" if met else "come nearest to the others"
        text += f" Without it {told} would {how} ({joined(f'{hundredths(c)} %' for c in left.values())})"
    else:
        text += f" Without it {told} would serve the goals best"
    text += "." if same else f", {_worth(float((without.worth - found.best.worth).mean()))}."
    if binding.widened is not None:
        low, high = binding.widened
        new = f"from {brief(low, 2)}" if np.isinf(high) else f"{brief(low, 2)}–{brief(high, 2)}"
        text += f" Were {new} enough, the quota would meet it."
    elif likely := hundredths(found.best.chances[limit.name]):
        text += f" Were a probability of {likely} % enough, the quota would meet it."
    return text


def _at_the_most(found: Found) -> str:
    """That the answer lies where the search ends."""
    if not found.best.at_the_most:
        return ""
    most = f"{brief(float(_in_unit(np.asarray(MOST_KG_PER_HA), found)), 2)} {_unit(found)} a year of a window"
    if found.best.caught:
        return f"More than {most} was not tried: the best may lie beyond."
    return f"It asks for the most that is tried, {most}, to take what anglers get, {_caught_a_year(found)}."


def _told(trial: Trial, found: Found) -> str:
    """A set of amounts in a few words."""
    if not trial.amounts.any():
        return "taking nothing"
    amounts = _in_unit(trial.amounts, found)
    each = ["–".join(dict.fromkeys(brief(float(a), 2) for a in row)) for row in amounts]
    return f"{' + '.join(each)} {_unit(found)} a year"


def _worth(difference: float) -> str:
    if abs(difference) < 0.05:
        return "worth as much by the goals as the quota below"
    more = "more" if difference > 0 else "less"
    return f"worth {more} than the quota below, by {brief(abs(difference), 2)} times the least difference that matters"


def _against_none(found: Found) -> str:
    """By the goals, against no harvest."""
    none = found.others.get("no harvest")
    if none is None:
        if found.best.meets(found.question.probability):
            return "Best of what was tried is to take nothing."
        return f"Of what was tried taking nothing comes nearest, as far as {found.best.independent} futures can tell."
    pair, told = _pair(found, none)
    gains = "; ".join(f"{told.goal(margin.score)}: {told.gain(margin)}" for margin in pair.margins)
    members = found.best.members
    if members == 1:
        return f"Against no harvest: {gains}."
    better, worse = (in_ten(share, members) for share in (pair.better, pair.worse))
    return f"Against no harvest: better in {better} futures, worse in {worse} ({gains})."


def _of_crowded(found: Found) -> str:
    """Where no amount, or none, is advised: that this is weak against thinning bass which a survey finds crowded."""
    if found.best.meets(found.question.probability) and found.best.amounts.any():
        return ""
    return (
        "Where a survey finds bass crowded this does not overrule what agencies advise: thinning has less effect in the model "
        "than the trade expects. Decide with a certified professional."
    )


def _pair(found: Found, other: Trial) -> tuple[Pair, Wording]:
    told = _wording(found, ["quota", "other"], [found.best, other])
    return told.decision.pair(0, 1), told


def _wording(found: Found, names: Sequence[str], trials: Sequence[Trial]) -> Wording:
    decision = judge(names, *together([(trial.scores, trial.cost) for trial in trials]))
    return Wording(found.scenario, decision, tuple(names), tuple(names), found.scenario.units)


def _not_caught(found: Found) -> str:
    """What the limits do not say and the reader must know: a quota that is not caught."""
    best = found.best
    if best.caught:
        return ""
    taken = np.minimum(best.taken, best.asked).sum(axis=1)
    asked, caught = (_in_unit(values, found) for values in (best.asked.sum(), taken))
    what = "Advised is what is caught," if best.meets(found.question.probability) else "That is"
    return (
        f"Not all of it is caught: of {brief(float(asked), 2)} {_unit(found)} that it asks for over the run, "
        f"{_cell(caught)}. {what} {_caught_a_year(found)}; the amounts are ceilings."
    )


# ---------------------------------------------------------------------- tables


def _amounts(found: Found) -> Passage:
    question, start = found.question, found.scenario.run.start.year
    fish = whole_fish(found.best, question, found.scenario).sum(axis=-1)  # [window, year]
    rows = [["bass of", *(f"{start + a - 1}–{start + b - 1}" for a, b in question.periods)]]
    amounts = _in_unit(found.best.amounts, found)
    for w, window in enumerate(question.windows):
        cells = []
        for p, (a, b) in enumerate(question.periods):
            some = fish[w, a - 1 : b]
            least, most = int(some.min()), int(some.max())
            told = f"{most}" if least == most else f"{least} to {most}"
            cells.append(f"{brief(amounts[w, p])} {_unit(found)}, {told} fish")
        rows.append([_window(window, found), *cells])
    note = "Fish are those of the whole pond, in each year, at their mean weight then."
    near = bool(found.best.limits) and not found.best.meets(question.probability)
    head = "The nearest tried, not advice; each year" if near else "Take each year" if found.best.caught else (
        "Ceilings, of which not all is caught; each year"
    )  # fmt: skip
    return Passage(f"{head}, {_season(question)}:", rows, note)


def _trade_off(found: Found) -> list[Passage]:
    scan = [
        [_scanned(trial, found), *(_cell(effect.values) for effect in _effects(found, trial))] for trial in found.scan
    ]
    fresh = f"{found.best.members} futures that the search had not seen; median, {FUTURES}"
    few = found.scan[0].members
    looked = f"{few} future{'s' if few > 1 else ''} of the search; amounts in {_unit(found)} by window, all years alike"
    rows = _trade_off_rows(found)
    rest = [trial for name, trial in found.others.items() if name not in ROWS]
    head = "What it does, and half and double of it"
    if not found.best.amounts.any():
        head = "What taking nothing does, and what other amounts do" if rest else "What taking nothing does"
    rows += [[_told(trial, found), *(_cell(effect.values) for effect in _effects(found, trial))] for trial in rest]
    return [
        Passage(f"{head} ({fresh}):", rows),
        Passage(f"The scan ({looked}):", [rows[0], *scan], detail=True),
    ]


ROWS = ("no harvest", "half", "quota", "double")
FIRST = ("quota", "no harvest", "double", "half")  # where there is no room for all


def _trade_off_rows(found: Found) -> list[list[str]]:
    """Headings, and what no harvest, half of the quota, the quota and double of it do."""
    every = {"quota": found.best, **found.others}
    fresh = [(name, every[name]) for name in ROWS if name in every]
    head = ["", *(effect.head for effect in _effects(found, found.best))]
    return [head, *([name, *(_cell(effect.values) for effect in _effects(found, trial))] for name, trial in fresh)]


def _effects(found: Found, trial: Trial) -> list[Effect]:
    """What is shown of a set of amounts, what matters most first."""
    ds, units = trial.dataset, found.scenario.units
    named = {q.name: q for q in quantities(ds)}
    unit = _unit(found)
    told = _wording(found, ["quota"], [trial])
    effects = [Effect(f"caught a year, {unit}", f"caught_{_suffix(found)}_a_year", _in_unit(_mean_taken(trial), found))]
    if trial.limits:
        effects.append(Effect("all limits, %", "all_limits_percent", 100.0 * trial.all_at_once))
    for score in sorted(trial.scores, key=lambda score: score.kind == "points"):
        values = converted(score.values[0], score.kind, units)
        head = told.heading(score, narrow=False)
        effects.append(Effect(head, _ascii(f"goal {head}"), values))
    for name, head in QUANTITIES.items():
        effects.append(Effect(head, name, goals.at_end(named[name].values, ds)[0]))
    for name, chance in trial.chances.items():
        effects.append(Effect(f"{name}, %", _ascii(f"chance {name} percent"), 100.0 * chance))
    return effects


QUANTITIES = {
    "bass_psd": "bass PSD",
    "bluegill_psd": "bluegill PSD",
    "bass_wr_8_12in": "Wr 8–12 in",
    "forage_carnivore_ratio": "F/C",
}


def _by_month(found: Found) -> list[Passage]:
    """Whole fish to take from each window in each month of every year, with the year's total."""
    question, start = found.question, found.scenario.run.start.year
    passages = []
    first, last = question.periods[0][0], question.periods[-1][1]
    for window, fish in zip(question.windows, whole_fish(found.best, question, found.scenario), strict=True):
        if not fish.any():
            continue
        rows = [["", *(str(start + year - 1) for year in range(first, last + 1))]]
        rows += [[MONTHS[m], *(str(int(n)) for n in fish[first - 1 : last, m])] for m in _months(question)]
        rows.append(["year", *(str(int(n)) for n in fish[first - 1 : last].sum(axis=1))])
        passages.append(Passage(f"Whole fish of {_window(window, found)} to take from the pond, by month:", rows))
    return passages


def _months(question: Question) -> list[int]:
    """Months of the season, from 0, in the order of the calendar."""
    (first, _), (last, _) = question.season
    return list(range(first - 1, last))


def _schedule(found: Found) -> Passage:
    """What is caught in each month of a year of the last period: weight, fish and hours of the whole pond."""
    ds, question = found.best.dataset, found.question
    scenario = _quota_scenario(found)
    months = ds["month"].values.astype("datetime64[M]").astype(int)
    first = found.scenario.run.start.year - 1970
    begin, end = question.periods[-1]
    years = months // 12 - first + 1
    there = (years >= begin) & (years <= end)
    weight = ds["harvest_biomass"].isel(strategy=0).sel(species="bass").values
    fish = ds["harvest_number"].isel(strategy=0).sel(species="bass").values * float(ds.attrs["area_ha"])
    hours = harvest_outcome.harvest_hours(ds, scenario)[0]
    rate = ds["catch_rate"].values[0]
    rows = [["month", f"bass, {_unit(found)}", "fish", "hours", "caught per hour > 8 in", "> 15 in"]]
    for month, name in enumerate(MONTHS):
        this = there & (months % 12 == month)
        if not this.any() or not weight[:, this].any():
            continue
        cells = [
            _cell(values[:, this].mean(axis=1))
            for values in (_in_unit(weight, found), fish, hours, rate[..., 0], rate[..., 1])
        ]
        rows.append([name, *cells])
    start = found.scenario.run.start.year
    head = f"Caught by month, mean of {start + begin - 1}–{start + end - 1} (median [p10–p90]; catch per hour at mid-month):"
    return Passage(head, rows) if len(rows) > 1 else Passage("Nothing is to be taken, so there is no schedule.")


def _catching(found: Found) -> Passage:
    trial, scenario = found.best, _quota_scenario(found)
    chance = chance_caught(trial)
    hours = harvest_outcome.harvest_hours(trial.dataset, scenario)[0]
    numbers = trial.dataset["month"].values.astype("datetime64[Y]").astype(int)
    strategy = scenario.strategies[found.question.strategy]
    rows = [["year", "hours, whole pond", f"probability that {100 * TAKEN:.0f} % is caught"]]
    for k, year in enumerate(np.unique(numbers)):
        if np.isnan(chance[k]):
            continue
        total = hours[:, numbers == year].sum(axis=1)
        available = sum(a.hours_per_ha for a in strategy.angling if a.from_year <= k + 1 <= a.to_year)
        cells = [str(1970 + year), _cell(total), f"{hundredths(chance[k])} %"]
        if available:
            enough = float((total <= available * scenario.pond.area_ha).mean())
            cells[1] += f" (the {brief(available * scenario.pond.area_ha)} hours fished suffice: {hundredths(enough)} %)"
        rows.append(cells)
    if len(rows) == 1:
        return Passage("")
    note = "Hours follow from the catch per hour of the sizes that are kept, and are those of all species that are harvested."
    return Passage("Whether it can be caught at all:", rows, note)


# ---------------------------------------------------------------------- small helps


def _quota_scenario(found: Found) -> Scenario:
    return with_quota(found.scenario, found.question, found.best.amounts)


def _unit(found: Found) -> str:
    return CROP[_suffix(found)].words


def _suffix(found: Found) -> str:
    return "lb_per_acre" if found.scenario.units == "us" else "kg_per_ha"


def _in_unit(kg_per_ha: Array, found: Found) -> Array:
    return np.asarray(kg_per_ha) / CROP[_suffix(found)].factor


def _window(window: tuple[float, float], found: Found) -> str:
    unit = LENGTH["in" if found.scenario.units == "us" else "mm"]
    return f"{brief(unit.from_si(window[0]))}–{brief(unit.from_si(window[1]))} {unit.words}"


def _ascii(words: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", words.lower().replace("f/c", "fc")).strip("_")


def _scanned(trial: Trial, found: Found) -> str:
    return " + ".join(brief(float(a), 2) for a in _in_unit(trial.amounts[:, 0], found))


def _season(question: Question) -> str:
    (a, b), (c, d) = question.season
    return f"{b} {MONTHS[a - 1]} to {d} {MONTHS[c - 1]}"


def _cell(values: Array | float) -> str:
    if isinstance(values, float):
        return str(hundredths(values / 100.0))
    known = values[np.isfinite(values)]
    return band(np.quantile(known, QUANTILES)) if known.size else "–"


def _csv_cell(values: Array | float) -> str:
    if isinstance(values, float):
        return repr(values)
    known = values[np.isfinite(values)]
    return repr(float(np.median(known))) if known.size else ""
