"""What was learned, as text and as a table: prior against posterior, and fitted against observed for each record."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import floor
from textwrap import fill

import numpy as np
import scipy
from numpy.typing import NDArray

from pondpop.assess.text import left_out_and_odd
from pondpop.decide.console import columns, fitted
from pondpop.ensemble.draws import draw_luck, draw_parameters, multiplier
from pondpop.ensemble.quantities import QUANTILES
from pondpop.observe import indices
from pondpop.observe.gears import gear
from pondpop.records.told import left_out, slips_of
from pondpop.scenario import SPECIES
from pondpop.species import MEASURED, load_parameters, of_species, uncertain
from pondpop.units import KINDS, Units, brief, converted, in_csv, shortened, unit_of
from pondpop.update import Update
from pondpop.update.likelihood import CATCHABILITY, OFFSET
from pondpop.update.simulate import deal_past
from pondpop.update.smc import Members

Array = NDArray[np.float64]
NARROWED = 0.85  # a spread that fell below this share of the prior's is worth a line of the text
CHANCE = 0.05  # that any line stands there by the chance of the members alone


@dataclass(frozen=True)
class Row:
    """One quantity before and after, or one figure of a record with what was observed; values [member]."""

    about: str  # "model", "pond" or "record"
    quantity: str
    kind: str
    observed: float | None
    prior: Array
    posterior: Array | None
    note: str = ""
    words: str = ""  # what a screen calls it, where that is not the quantity's name

    @property
    def narrowed(self) -> float:
        """Spread left, as a share of the prior's."""
        if self.posterior is None or not np.isfinite(self.prior).sum() > 1 or not np.isfinite(self.posterior).any():
            return np.nan
        values = [np.log(v) if self.kind == "ratio" else v for v in (self.prior, self.posterior)]
        before, after = (float(np.nanstd(v)) for v in values)
        return after / before if before > 1e-12 else np.nan


def rows(found: Update) -> list[Row]:
    """Everything that update.csv lists."""
    return [*_model(found), *_pond(found), *_records(found)]


def _model(found: Update) -> Iterator[Row]:
    """Parameters (relative to their listed values), luck, and the doubts that records share."""
    before = _dealt(found, found.prior)
    after = None if found.learned is None else _dealt(found, found.learned)
    for name, values in before.items():
        kind = "standard deviations" if name.startswith(OFFSET) else "ratio"
        yield Row("model", name, kind, None, values, None if after is None else after[name])


def _dealt(found: Update, members: Members) -> dict[str, Array]:
    from scipy.special import ndtri

    scenario, strategy = found.scenario, found.scenario.strategies[found.strategy]
    count = found.prior.log_likelihood.size
    deal = deal_past(members.uniforms, scenario.ensemble.seed, range(count), np.arange(count))
    parameters, luck = draw_parameters(scenario, deal), draw_luck(scenario, strategy, deal)
    listed = load_parameters()
    out = {"productivity": luck.productivity[:, 0]}
    for species in strategy.species:
        out[f"growth of {species}"] = of_species(luck.growth, species, axis=1)
        out[f"background deaths of {species}"] = of_species(luck.background_deaths, species, axis=1)[:, 0]
    start = scenario.run.start
    until = found.until or start - dt.timedelta(days=1)
    for year in range(start.year, until.year + 1):
        for species in strategy.species:
            out[f"young of {species} {year}"] = of_species(luck.recruitment, species, axis=1)[:, year - start.year]
    for k, event in enumerate(strategy.stocking):
        if event.date <= until:
            out[f"stocked {event.name}"] = luck.stocking_survival[:, k]
    for path in uncertain():
        if path.partition(".")[0] in SPECIES and path.partition(".")[0] not in strategy.species:
            continue
        out[path] = np.broadcast_to(parameters.value(path) / listed.value(path)[0], (count,))
    for name, u in members.uniforms.items():
        if name.startswith(CATCHABILITY):
            used = name.removeprefix(CATCHABILITY).split()[0]
            out[name] = multiplier(ndtri(u[:, 0]), gear(used).catchability_spread)
        elif name.startswith(OFFSET):
            out[name] = ndtri(u[:, 0])
    return out


def _pond(found: Update) -> Iterator[Row]:
    """The pond itself on the day of the last record."""
    if found.until is None or not found.prior.seen:
        return
    here = found.scenario.strategies[found.strategy].species
    before = _standing(found.prior, here)
    after = None if found.learned is None else _standing(found.learned, here)
    for name, (words, kind, values) in before.items():
        yield Row("pond", name, kind, None, values, None if after is None else after[name][-1], words=words)


def _standing(members: Members, here: Sequence[str]) -> dict[str, tuple[str, str, Array]]:
    """By name: what a screen calls it (nothing where it need not stand there), the kind of its unit, values [member]."""
    number, biomass, wr = (members.seen[name][:, -1] for name in ("number", "biomass", "relative_weight"))
    out: dict[str, tuple[str, str, Array]] = {}
    measured = [species for species in MEASURED if species in here]
    for species in measured:
        out[f"{species}_psd"] = f"{species} PSD", "percent", indices.psd(number, species)
        used = gear("electrofishing")
        seen = number * used.class_selectivity()
        out[f"{species}_psd_as_sampled"] = "", "percent", indices.psd(seen, species)
    out["bass_wr_8_12in"] = "Wr of bass of 8–12 in", "percent", indices.class_mean(wr, number, "bass", 8, 12)
    for species in here:
        crop = of_species(biomass, species).sum(axis=-1)
        out[f"{species}_standing_crop"] = species if crop.any() else "", "crop", crop
    for species in measured:
        stock = indices.category_inches(species)[0]
        density = of_species(number, species)[:, stock:].sum(axis=-1)
        out[f"{species}_density_{stock}in_up"] = f"{species} from {stock} in up", "density", density
    return out


def _records(found: Update) -> Iterator[Row]:
    for fit in found.fits:
        if np.isfinite(fit.observed):
            note = "" if fit.used else "not used: no member explains it"
            yield Row("record", f"{fit.title}: {fit.name}", fit.unit, fit.observed, fit.prior, fit.posterior, note)


# ---------------------------------------------------------------------- telling it


def _in_units(kind: str, values: Array, units: Units) -> tuple[str, Array]:
    kind = {"mm": "length", "mm a year": "growth"}.get(kind, kind)
    return (unit_of(kind, units), converted(values, kind, units)) if kind in KINDS else (kind, values)


def _three(values: Array | None) -> list[float]:
    some = np.array([]) if values is None else values[np.isfinite(values)]
    return [float(q) for q in np.quantile(some, QUANTILES)] if some.size else [np.nan] * 3


def update_csv(found: Update, units: Units) -> str:
    """The text of update.csv: about, quantity, unit, observed, the prior's and the posterior's p10, p50, p90, note."""
    out = io.StringIO()
    lines = csv.writer(out, lineterminator="\n")
    sides = [f"{side}_{q}" for side in ("prior", "posterior") for q in ("p10", "p50", "p90")]
    lines.writerow(["about", "quantity", "unit", "observed", *sides, "note"])
    for row in rows(found):
        unit, prior = _in_units(row.kind, row.prior, units)
        posterior = None if row.posterior is None else _in_units(row.kind, row.posterior, units)[1]
        seen = np.nan if row.observed is None else float(_in_units(row.kind, np.array(row.observed), units)[1])
        cells = [in_csv(v, 0.0) for v in (seen, *_three(prior), *_three(posterior))]
        lines.writerow([row.about, row.quantity, unit, *cells, row.note])
    return out.getvalue()


def update_text(found: Update, units: Units) -> str:
    """What was learned, or why nothing was, in words and tables."""
    said = [*found.evidence.unused]
    if found.until is not None:
        n = len(found.evidence.observations)
        said.insert(0, f"{n} record{'s' * (n != 1)} of the strategy {found.strategy} until {found.until}.")
    said += [f"Not used, for no member explains it: {one}." for one in found.impossible]
    said += [f"Contradicts the others, or the scenario: {one}." for one in found.contradictory]
    text = "".join(fill(line, 100, subsequent_indent="  ") + "\n" for line in said)
    text += "".join(line + "\n" for line in left_out_and_odd(found.records))
    if found.stages:
        text += "\n" + columns(_stage_cells(found))
        worth = f"{floor(found.stages[-1].independent)} independent members of {found.scenario.ensemble.members}"
        text += f"\nWhat is left tells as much as {worth}.\n"
    if found.why:
        return text + "\n" + fill(found.why, 100) + "\n"
    every = rows(found)
    model = narrowed([r for r in every if r.about == "model"], found.stages[-1].independent if found.stages else 1.0)
    pond = [r for r in every if r.about == "pond"]
    if model:
        text += "\nWhat the records narrowed, relative to what is listed (median [p10–p90]):\n" + _table(model, units)
    else:
        text += "\nThe records narrow nothing about the model by more than members differ by chance.\n"
    text += f"\nThe pond on {found.until}:\n" + _table(pond, units)
    text += "\nFitted against observed (what a pond would have shown, its sampling included):\n"
    return text + _table([r for r in every if r.about == "record"], units)


def update_answer(found: Update, units: Units) -> str:
    """What was learned on one plain screen: what the records are worth, what they narrowed most, and the pond now."""
    count = len(found.evidence.observations)
    said = [f"{count} record{'s' * (count != 1)} until {found.until} of the strategy {found.strategy}."] if found.until else []
    for words, left in (("no member explains", found.impossible), ("contradicts the others", found.contradictory)):
        if left:
            said.append(f"{len(left)} left out or doubtful, for one {words}: {shortened(str(left[0]), 100)}.")
    if found.records.left_out:
        slips = slips_of(found.records)
        more = f" Rows for {len(slips) - 1} other reason{'s' * (len(slips) > 2)} stand in update.txt." if len(slips) > 1 else ""
        said.append(f"{left_out(found.records)}: {shortened(slips[0], 300)}.{more}")
    if found.stages:
        said.append(f"What is left tells as much as {floor(found.stages[-1].independent)} independent members of "
                    f"{found.scenario.ensemble.members}.")  # fmt: skip
    if found.why:
        said.append(found.why)
    lines = [line for words in said for line in fill(words, 79, subsequent_indent="  ").split("\n")][:10]
    if not found.why:
        every = rows(found)
        model = narrowed([r for r in every if r.about == "model"], found.stages[-1].independent if found.stages else 1.0)
        model.sort(key=lambda row: row.narrowed)
        lines.append("Narrowed most (median [p10–p90]):" if model else "The records narrow nothing about the model.")
        lines += fitted(_cells(model[:3], units)).rstrip("\n").split("\n") if model else []
        shown = [replace(r, quantity=r.words) for r in every if r.about == "pond" and r.words]
        pond = fitted([row[:-1] for row in _cells(shown, units)]).rstrip("\n").split("\n")
        room = 22 - len(lines) - 1
        lines += [f"The pond on {found.until}:", *pond[:room]]
    return "\n".join(lines) + "\n"


def narrowed(every: list[Row], independent: float) -> list[Row]:
    """Rows whose spread fell by more than members differ by chance, all rows together.

    Logarithms of ratios, which are log-normal, and offsets are normal, so the ratio of two variances has an F law.
    """
    if not every or independent <= 2.0:
        return []
    freedom = independent - 1.0, every[0].prior.size - 1.0
    by_chance = np.sqrt(scipy.stats.f.ppf(CHANCE / len(every), *freedom) * freedom[0] / independent)
    return [row for row in every if row.narrowed < min(NARROWED, by_chance)]


def _stage_cells(found: Update) -> list[list[str]]:
    head = ["stage", "of the likelihood", "left by their weights", "independent members", "moves", "taken"]
    body = [
        [
            str(k + 1), f"{stage.power:.1%}", f"{stage.effective:.0f}", str(floor(stage.independent)), str(stage.moves),
            f"{stage.taken:.0%}",
        ]
        for k, stage in enumerate(found.stages)
    ]  # fmt: skip
    return [head, *body]


def _table(every: list[Row], units: Units) -> str:
    return columns(_cells(every, units))


def _cells(every: list[Row], units: Units) -> list[list[str]]:
    seen = any(row.observed is not None for row in every)
    head = ["", *(["observed"] if seen else []), "prior", "posterior", "" if seen else "spread left"]
    body = []
    for row in every:
        unit, prior = _in_units(row.kind, row.prior, units)
        posterior = None if row.posterior is None else _in_units(row.kind, row.posterior, units)[1]
        name = f"{row.quantity}, {unit}" if unit else row.quantity
        observed = np.nan if row.observed is None else float(_in_units(row.kind, np.array(row.observed), units)[1])
        cells = [name, *([brief(observed)] if seen else []), _band(prior), _band(posterior)]
        body.append([*cells, row.note if seen else "" if np.isnan(row.narrowed) else f"{row.narrowed:.0%}"])
    return [head, *body]


def _band(values: Array | None) -> str:
    low, middle, high = _three(values)
    return "–" if np.isnan(middle) else f"{brief(middle)} [{brief(low)}–{brief(high)}]"
