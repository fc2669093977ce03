"""A quota told in words and tables: what to take, what it does, when, and whether it can be caught."""

from __future__ import annotations

import csv
import io

import numpy as np
from numpy.typing import NDArray

from pondpop.decide import goals, harvest_outcome
from pondpop.decide.console import band, columns, wrapped
from pondpop.decide.harvest_outcome import TAKEN
from pondpop.decide.passages import Passage, in_text
from pondpop.decide.phrases import FUTURES
from pondpop.decide.quota import (
    MOST_FORAGE,
    Found,
    Question,
    Trial,
    at_least,
    chance_caught,
    in_vain,
    whole_fish,
    with_quota,
)
from pondpop.ensemble.quantities import QUANTILES, quantities
from pondpop.observe import indices
from pondpop.scenario import Scenario
from pondpop.units import CROP, G_PER_LB, LENGTH, brief

Array = NDArray[np.float64]
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
HEADS = (  # of what is shown of a set of amounts, and on one screen
    ("caught, {unit} a year", "caught, {unit}"),
    ("bass PSD", "bass PSD"),
    ("Wr 8–12 in", "Wr 8–12 in"),
    ("bluegill PSD", ""),
    ("F/C", ""),
    ("bass above 5 lb in the pond", ""),
    ("all constraints, %", "all, %"),
)
SHORT_CAUTION = "Ask the state agency before you harvest."
CAUTION = (
    "A quota is advice, not a licence: harvest rules, seasons and lengths are set by the state agency; ask it and a "
    "certified fisheries professional, and check for advisories before eating fish."
)


def quota_answer(found: Found) -> str:
    """The answer on one screen: what to take, what it meets and how surely, what it does; the rest is in `quota_text`."""
    lead = "\n".join(wrapped(" ".join(_lead(found).split())))
    shown = [k for k, (_, short) in enumerate(HEADS) if short]
    rows = [[row[0], *(row[1 + k] for k in shown)] for row in _trade_off_rows(found)]
    rows[0] = ["", *(HEADS[k][1].format(unit=_unit(found)) for k in shown)]
    return f"{lead}\n\n{_amounts(found).text()}{columns(rows)}{FUTURES}. {SHORT_CAUTION}\n"


def quota_text(found: Found) -> str:
    """The whole answer."""
    return in_text([*quota_passages(found), Passage(CAUTION)])


def quota_passages(found: Found) -> list[Passage]:
    """The whole answer but for the caution."""
    parts = [Passage(_lead(found).removesuffix("\n")), _amounts(found), *_trade_off(found), _schedule(found), _catching(found)]
    return [part for part in parts if part.words]


def quota_csv(found: Found) -> str:
    """The trade-off as CSV: one line per set of amounts, with the members it was judged on."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    question, unit = found.question, _unit(found)
    amounts = [f"{_window(w, found)}, years {a}-{b} ({unit})" for w in question.windows for a, b in question.periods]
    heads = [head for head, _ in _effects(found, found.best)]
    rows.writerow(["what", "members", *amounts, *heads])
    for name, trial in _lines(found):
        cells = [repr(float(a)) for a in (_in_unit(trial.amounts, found)).ravel()]
        effects = [_csv_cell(values) for _, values in _effects(found, trial)]
        rows.writerow([name, trial.taken.shape[0], *cells, *effects])
    return out.getvalue()


def _lines(found: Found) -> list[tuple[str, Trial]]:
    fresh = [("quota", found.best), *found.others.items()]
    return [*fresh, *((f"scan {k + 1}", trial) for k, trial in enumerate(found.scan))]


def _lead(found: Found) -> str:
    question, best = found.question, found.best
    bounds = indices.target_range(question.option, "bass", "psd")
    assert bounds is not None
    asked = (
        f"bass PSD in {bounds[0]:.0f}–{bounds[1]:.0f} ({question.option}), Wr of 8–12 in at least "
        f"{question.wr_floor:.0f}, F/C at most {MOST_FORAGE:.0f} (bluegill not crowded), each with a probability of "
        f"{100 * question.probability:.0f} %"
    )
    got = ", ".join(f"{name} {100 * chance:.0f} %" for name, chance in best.chances.items() if name != "all")
    got += f", all at once {100 * best.chances['all']:.0f} %"
    title = found.scenario.strategies[question.strategy].title
    last = str(best.dataset["survey_date"].values[-1])[:10]
    head = f"Quota for “{title}”: {asked}, over the twelve months to {last}."
    if found.met:
        met = "This one meets each of them"
    elif best.meets(question.probability):
        least = min(at_least(chance, best.members) for name, chance in best.chances.items() if name != "all")
        met = f"It may meet them, but so few futures are sure of {int(100 * least)} % only (run more). This one"
    else:
        met = "No quota that was tried meets them. The nearest"
    lead = f"{head}\n{met}, in {best.members} futures that the search had not seen: {got}.\n"
    return lead + _nearer(found) + _not_asked(found)


def _nearer(found: Found) -> str:
    """Where no constraint set is met: which of none, half and double of the quota comes nearer on the fresh members."""
    if found.best.meets(found.question.probability):
        return ""
    name = max(found.others, key=lambda name: found.others[name].chances["all"])
    chance = found.others[name].chances["all"]
    words = {"half": "Half of it", "double": "Double of it"}.get(name, "No harvest at all")
    more = chance > found.best.chances["all"]
    return f"{words} does better in these futures: all at once {100 * chance:.0f} %.\n" if more else ""


def _not_asked(found: Found) -> str:
    """What the constraints do not say and the reader must know: a quota that is not caught, bluegill out of range."""
    said, best = "", found.best
    vain = in_vain(best)
    if vain > 1.0 - TAKEN:
        taken = np.minimum(best.taken, best.asked).sum(axis=1)
        asked, caught = (_in_unit(values, found) for values in (best.asked.sum(), taken))
        said += (
            f"Not all of it is caught: of {brief(float(asked), 2)} {_unit(found)} that it asks for over the run, "
            f"{_cell(caught)}. Read the amounts as ceilings; below is how likely each year's is caught.\n"
        )
    bounds = indices.target_range(found.question.option, "bluegill", "psd")
    psd = goals.at_end({q.name: q for q in quantities(best.dataset)}["bluegill_psd"].values, best.dataset)[0]
    middle = float(np.median(psd[np.isfinite(psd)])) if np.isfinite(psd).any() else float("nan")
    if bounds is not None and not bounds[0] <= middle <= bounds[1]:
        said += (
            f"Bluegill PSD is not among the constraints: {_cell(psd)}, outside {bounds[0]:.0f}–{bounds[1]:.0f} "
            f"({found.question.option}).\n"
        )
    return said


def _amounts(found: Found) -> Passage:
    question, start = found.question, found.scenario.run.start.year
    fish = whole_fish(found.best, question)
    rows = [["bass of", *(f"{start + a - 1}–{start + b - 1}" for a, b in question.periods)]]
    amounts = _in_unit(found.best.amounts, found)
    for w, window in enumerate(question.windows):
        cells = [
            f"{brief(amounts[w, p])} {_unit(found)}, about {brief(round(fish[w, p]))} fish"
            for p in range(len(question.periods))
        ]
        rows.append([_window(window, found), *cells])
    note = "Fish are those of the whole pond, a year, at their mean weight at the time."
    return Passage(f"Take each year, {_season(question)}:", rows, note)


def _trade_off(found: Found) -> list[Passage]:
    head, *rows = _trade_off_rows(found)
    scan = [
        [_scanned(trial, found), *(_cell(values) for _, values in _effects(found, trial))] for trial in found.scan
    ]
    fresh = f"{found.best.members} futures that the search had not seen; median, {FUTURES}"
    looked = f"{found.scan[0].members} futures of the search; amounts in {_unit(found)} by window, all years alike"
    return [
        Passage(f"What it does, and half and double of it ({fresh}):", [head, *rows]),
        Passage(f"The scan ({looked}):", [head, *scan], detail=True),
    ]


def _trade_off_rows(found: Found) -> list[list[str]]:
    """Headings, and what no harvest, half of the quota, the quota and double of it do."""
    fresh = [("no harvest", found.others["no harvest"]), ("half", found.others["half"]), ("quota", found.best)]
    fresh.append(("double", found.others["double"]))
    head = ["", *(head for head, _ in _effects(found, found.best))]
    return [head, *([name, *(_cell(values) for _, values in _effects(found, trial))] for name, trial in fresh)]


def _effects(found: Found, trial: Trial) -> list[tuple[str, Array | float]]:
    """What is shown of a set of amounts: values by member, or a probability in %."""
    ds = trial.dataset
    named = {q.name: q for q in quantities(ds)}
    years = trial.asked > 0.0
    taken = trial.taken[:, years].mean(axis=1) if years.any() else np.zeros(trial.taken.shape[0])
    big = goals.at_end(ds["bass_above"].sel(big_weight=5.0 * G_PER_LB).values, ds)[0] * float(ds.attrs["area_ha"])
    values: list[Array | float] = [
        _in_unit(taken, found),
        goals.at_end(named["bass_psd"].values, ds)[0],
        goals.at_end(named["bass_wr_8_12in"].values, ds)[0],
        goals.at_end(named["bluegill_psd"].values, ds)[0],
        goals.at_end(named["forage_carnivore_ratio"].values, ds)[0],
        big,
        100.0 * trial.chances["all"],
    ]
    return [(head.format(unit=_unit(found)), value) for (head, _), value in zip(HEADS, values, strict=True)]


def _schedule(found: Found) -> Passage:
    """What falls on each month of a year of the last period: weight, fish and angler hours of the whole pond."""
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
    rows = [["month", f"bass, {_unit(found)}", "fish", "angler hours", "caught per hour > 8 in", "> 15 in"]]
    for month in range(12):
        this = there & (months % 12 == month)
        if not this.any() or not weight[:, this].any():
            continue
        cells = [
            _cell(values[:, this].mean(axis=1))
            for values in (_in_unit(weight, found), fish, hours, rate[..., 0], rate[..., 1])
        ]
        rows.append([MONTHS[month], *cells])
    start = found.scenario.run.start.year
    head = f"By month, mean of {start + begin - 1}–{start + end - 1} (median [p10–p90]; catch per hour at mid-month):"
    return Passage(head, rows) if len(rows) > 1 else Passage("Nothing is to be taken, so there is no schedule.")


def _catching(found: Found) -> Passage:
    trial, scenario = found.best, _quota_scenario(found)
    chance = chance_caught(trial)
    hours = harvest_outcome.harvest_hours(trial.dataset, scenario)[0]
    numbers = trial.dataset["month"].values.astype("datetime64[Y]").astype(int)
    strategy = scenario.strategies[found.question.strategy]
    rows = [["year", "angler hours, whole pond", f"probability that {100 * TAKEN:.0f} % is caught"]]
    for k, year in enumerate(np.unique(numbers)):
        if np.isnan(chance[k]):
            continue
        total = hours[:, numbers == year].sum(axis=1)
        available = sum(a.hours_per_ha for a in strategy.angling if a.from_year <= k + 1 <= a.to_year)
        cells = [str(1970 + year), _cell(total), f"{100 * chance[k]:.0f} %"]
        if available:
            enough = float((total <= available * scenario.pond.area_ha).mean())
            cells[1] += f" (the {brief(available * scenario.pond.area_ha)} hours fished suffice: {100 * enough:.0f} %)"
        rows.append(cells)
    if len(rows) == 1:
        return Passage("")
    note = "Hours follow from the catch per hour of bass above 8 in and the share of them in the windows."
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


def _scanned(trial: Trial, found: Found) -> str:
    return " + ".join(brief(float(a), 2) for a in _in_unit(trial.amounts[:, 0], found))


def _season(question: Question) -> str:
    (a, b), (c, d) = question.season
    return f"{b} {MONTHS[a - 1]} to {d} {MONTHS[c - 1]}"


def _cell(values: Array | float) -> str:
    if isinstance(values, float):
        return f"{values:.0f}"
    known = values[np.isfinite(values)]
    return band(np.quantile(known, QUANTILES)) if known.size else "–"


def _csv_cell(values: Array | float) -> str:
    if isinstance(values, float):
        return repr(values)
    known = values[np.isfinite(values)]
    return repr(float(np.median(known))) if known.size else ""
