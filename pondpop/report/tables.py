"""Tables of the page, each with the CSV that lies beside it; numbers from the quantities, rounded only here."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from pondpop.decide import oxygen_risk
from pondpop.ensemble.quantities import Quantity
from pondpop.ensemble.results import under
from pondpop.report.format import html
from pondpop.report.strategies import Case, Material
from pondpop.species import KINDS, MEASURED, SPECIES, STRAINS, TRAITS
from pondpop.species.catalogue import entries
from pondpop.species.registry import STRAIN_PARAMETERS
from pondpop.units import (
    NONE,
    brief,
    converted,
    figure_of,
    in_csv,
    months_in_words,
    other,
    unit_of,
    with_band,
    with_unit,
)

Cell = str | tuple[str, str]  # a value, or a value and its range
LONG = 12  # rows that a table may have and still stay on one printed page
COLUMNS = 4  # strategies beside each other in one table

OTHERS = [(species, TRAITS[species].plural.capitalize()) for species in MEASURED if species not in ("bass", "bluegill")]
# quantity, how it is called, whether the other system stands beside it
OUTCOMES = (
    ("bass_psd", "Bass PSD, %"),
    ("bass_psd_p", "Bass PSD-P, %"),
    ("bass_psd_m", "Bass PSD-M, %"),
    ("bluegill_psd", "Bluegill PSD, %"),
    ("bluegill_psd_p", "Bluegill PSD-P, %"),
    *((f"{species}_psd", f"{words} PSD, %") for species, words in OTHERS),
    ("bass_wr_8_12in", "Wr of bass 8–12 in, %"),
    ("bass_wr_12_15in", "Wr of bass 12–15 in, %"),
    ("bass_wr_15_20in", "Wr of bass 15–20 in, %"),
    ("bass_standing_crop", "Bass"),
    ("bluegill_standing_crop", "Bluegill"),
    *((f"{species}_standing_crop", words) for species, words in OTHERS),
    ("shad_standing_crop", "Shad"),
    ("total_standing_crop", "All fish"),
    ("forage_carnivore_ratio", "F/C"),
    ("edible_forage_carnivore_ratio", "Y/C"),
    ("harvestable_share", "A_T, %"),
    ("bass_above_5lb_in_pond", "Bass above 5 lb (2.3 kg) in the pond"),
    ("bass_above_8lb_in_pond", "Bass above 8 lb (3.6 kg) in the pond"),
    ("bass_above_10lb_in_pond", "Bass above 10 lb (4.5 kg) in the pond"),
    ("bass_largest_weight", "Largest bass"),
    ("bass_harvest_biomass_12_months", "Bass harvested in 12 months"),
    ("bluegill_harvest_biomass_12_months", "Bluegill harvested in 12 months"),
    *((f"{species}_harvest_biomass_12_months", f"{words} harvested in 12 months") for species, words in OTHERS),
)
BY_YEAR = (
    ("bass_psd", "Bass PSD"),
    ("bass_wr_8_12in", "Wr, bass 8–12 in"),
    ("bluegill_psd", "Bluegill PSD"),
    ("bass_standing_crop", "Bass"),
    ("bluegill_standing_crop", "Bluegill"),
    ("forage_carnivore_ratio", "F/C"),
    ("bass_above_5lb_in_pond", "Bass over 5 lb"),
)


@dataclass(frozen=True)
class Table:
    """One table: the first column heads the rows; `rows` are as shown, `csv_rows` the same numbers before rounding."""

    name: str
    caption: str
    header: Sequence[str]
    rows: Sequence[Sequence[Cell]]
    csv_header: Sequence[str]
    csv_rows: Sequence[Sequence[object]] = field(default_factory=list)
    look: str = "numbers"  # numbers, bands (few columns), years (many), or texts

    def to_html(self) -> str:
        """The table with scoped headers, or nothing where it has no rows."""
        if not self.rows:
            return ""
        if self.look == "years":
            return self._in_rows()
        ranged = [any(isinstance(row[k], tuple) and row[k][1] for row in self.rows) for k in range(len(self.header))]
        head = "".join(
            f'<th scope="col"{" colspan=2" * wide}>{html(text)}</th>' for text, wide in zip(self.header, ranged, strict=True)
        )
        body = []
        for first, *rest in self.rows:
            cells = "".join(_cells(cell, wide, self.look == "bands") for cell, wide in zip(rest, ranged[1:], strict=True))
            body.append(f'<tr><th scope="row">{_cell(first)}</th>{cells}</tr>')
        long = " long" if len(self.rows) > LONG else ""  # may be broken between pages
        return (
            f'<table class="{self.look}{long}"><caption>{html(self.caption)}</caption><thead><tr>{head}</tr></thead>'
            f"<tbody>{''.join(body)}</tbody></table>"
        )

    def _in_rows(self) -> str:
        """Many columns: each range stands in a row of its own, below its value."""
        head = "".join(f'<th scope="col">{html(text)}</th>' for text in self.header)
        body = []
        for first, *rest in self.rows:
            pairs = [(cell, "") if isinstance(cell, str) else cell for cell in rest]
            ranged = any(beside for _, beside in pairs)
            values, ranges = ("".join(f"<td>{html(pair[k])}</td>" for pair in pairs) for k in (0, 1))
            body.append(f'<tr><th scope="row"{" rowspan=2" * ranged}>{_cell(first)}</th>{values}</tr>')
            body += [f'<tr class="range">{ranges}</tr>'] * ranged
        return (
            f'<table class="years"><caption>{html(self.caption)}</caption><thead><tr>{head}</tr></thead>'
            f"<tbody>{''.join(body)}</tbody></table>"
        )

    def to_csv(self) -> str:
        out = io.StringIO()
        rows = csv.writer(out, lineterminator="\n")
        rows.writerow([harmless(cell) for cell in self.csv_header])
        rows.writerows([harmless(cell) for cell in row] for row in self.csv_rows)
        return out.getvalue()


def _cell(cell: Cell) -> str:
    return html(cell if isinstance(cell, str) else ": ".join(filter(None, cell)))


def _cells(cell: Cell, wide: bool, spans: bool = False) -> str:
    """A value, and where its column has ranges its range in a column of its own, so that copying gives numbers.

    spans: what has no range takes both columns, so that a long one does not squeeze the ranges above it.
    """
    value, beside = (cell, "") if isinstance(cell, str) else cell
    if wide and spans and not beside:
        return f"<td colspan=2>{html(value)}</td>"
    return f"<td>{html(value)}</td>" + (f'<td class="range">{html(beside)}</td>' if wide else "")


def plain(words: str) -> str:
    """Our own words for a CSV, whose dashes every program reads."""
    return words.replace("–", "-")


def harmless(cell: object) -> object:
    """A cell that no spreadsheet executes: text that begins like a formula gets an apostrophe before it."""
    if isinstance(cell, str):
        return "'" + cell if cell.lstrip().startswith(("=", "+", "-", "@")) or cell.startswith(("\t", "\r")) else cell
    if isinstance(cell, float | np.floating):
        return in_csv(float(cell))
    return cell


def chunks(cases: Sequence[Case], most: int = COLUMNS) -> Iterable[Sequence[Case]]:
    """The cases in as few parts as their number allows, of about the same size."""
    size = -(-len(cases) // -(-len(cases) // most))
    for k in range(0, len(cases), size):
        yield cases[k : k + size]


def outcomes(material: Material) -> list[Table]:
    """Every strategy at its last survey: medians with their bands, in both systems of units."""
    tables, csv_rows = [], []
    band = ": the middle (median), with the range that 8 of 10 possible futures fall into" if material.banded else ""
    for case in material.cases:
        for name, words in OUTCOMES:
            q = case.projection.quantities[name]
            csv_rows.append([
                case.letter, case.title, str(case.projection.survey_dates[-1]), name, plain(words), q.unit(material.units),
                *case.band(name)[-1],
            ])  # fmt: skip
    header = ["strategy", "title", "date", "quantity", "words", "unit", "p10", "p50", "p90"]
    for cases in chunks(material.cases):
        rows: list[list[Cell]] = []
        for name, words in OUTCOMES:
            q = cases[0].projection.quantities[name]
            cells = [_both_systems(case, name, q) for case in cases]
            if all(cell[0] in (NONE, "0") for cell in cells):
                continue
            unit = unit_of(q.kind, material.units)
            said = f"{words}, {unit}" if unit not in ("", "%", "fish") else words
            rows.append([said, *cells])
        dates = sorted({str(case.projection.survey_dates[-1]) for case in cases})
        tables.append(Table(
            "outcomes", f"At the last survey ({', '.join(dates)}){band}. What is nil everywhere is left out.",
            ["", *(f"{case.letter}: {case.title}" for case in cases)], rows, header, csv_rows, look="bands",
        ))  # fmt: skip
    return tables


def _both_systems(case: Case, name: str, q: Quantity) -> tuple[str, str]:
    middle, band = with_band(case.band(name)[-1], q.kind)
    units = case.projection.units
    second = other(units)
    if middle in (NONE, "0") or unit_of(q.kind, units) == unit_of(q.kind, second):
        return middle, band
    beside = with_unit(converted(_si(case.band(name)[-1, 1], q.kind, units), q.kind, second), q.kind, second)
    return middle, "; ".join(part for part in (band, beside) if part)


def _si(value: float, kind: str, units: str) -> float:
    return float(value) / (converted(1.0, kind, "us") if units == "us" else 1.0)


def by_year(material: Material, shown: Sequence[Case]) -> list[Table]:
    """Strategies at the last survey of each year: those shown as tables, all of them in the CSV."""
    crop, header = (
        unit_of("crop", material.units),
        ["strategy", "title", "date", "quantity", "unit", "p10", "p50", "p90"],
    )
    csv_rows: list[list[object]] = []
    for case in material.cases:
        for _, i in case.projection.yearly:
            for name, _words in BY_YEAR:
                unit = case.projection.quantities[name].unit(material.units)
                date = str(case.projection.survey_dates[i])
                csv_rows.append([case.letter, case.title, date, name, unit, *case.band(name)[i]])
    tables = []
    below = "; range of 8 of 10 futures below" if material.banded else ""
    for case in shown:
        rows: list[list[Cell]] = []
        for year, i in case.projection.yearly:
            cells = [with_band(case.band(name)[i], case.projection.quantities[name].kind) for name, _ in BY_YEAR]
            rows.append([str(year), *cells])
        heads = [words + (f", {crop}" if name.endswith("standing_crop") else "") for name, words in BY_YEAR]
        tables.append(Table(
            "by_year", f"{case.letter}: {case.title}. Last survey of each year{below}.",
            ["Year", *heads], rows, header, csv_rows, look="years",
        ))  # fmt: skip
    return tables


def strains(material: Material) -> list[Table]:
    """The share of another strain's blood by year, also if something befalls the pond, and what cold killed; and the figures by
    which strains differ, with their ranges. Of cases in which there is such blood."""
    header = ["strategy", "title", "what_if", "year", "share_p10", "share_p50", "share_p90", "cold_unit", "cold_p50", "cold_p90"]
    crop, csv_rows, found = unit_of("crop", material.units), list[list[object]](), list[Table]()
    mixed: list[str] = []
    for case in material.cases:
        dataset = case.projection.dataset
        for species in SPECIES:
            blood = 100.0 * case.of("other_blood", species=species)
            if not STRAINS[species] or not blood.any():
                continue
            mixed += [species] if species not in mixed else []
            strain = KINDS[STRAINS[species][-1]].title
            cold = case.of("deaths_biomass", species=species, cause="cold")
            events = case.projection.scenario.what_if if "what_if" in dataset.coords else ()
            of_events = (under(dataset, one.name)["other_blood"].isel(strategy=case.index) for one in events)
            befallen = [100.0 * other.sel(species=species).values for other in of_events]
            rows: list[list[Cell]] = []
            for k, (year, i) in enumerate(case.projection.yearly):
                share = np.quantile(blood[:, i], (0.1, 0.5, 0.9))
                usual, hard = np.quantile(cold[:, k] * converted(1.0, "crop", material.units), (0.5, 0.9))
                with_event = [np.quantile(other[:, i], (0.1, 0.5, 0.9)) for other in befallen]
                rows.append([str(year), with_band(share, "percent"), figure_of(usual, "crop"), figure_of(hard, "crop"),
                             *(with_band(one, "percent") for one in with_event)])  # fmt: skip
                csv_rows.append([case.letter, case.title, "", year, *share, crop, usual, hard])
                csv_rows += [
                    [case.letter, case.title, one.name, year, *band, crop, "", ""]
                    for one, band in zip(events, with_event, strict=True)
                ]
            band = "; range of 8 of 10 futures below" if material.banded else ""
            found.append(Table(
                "strains", f"{case.letter}: {case.title}. Share of the blood of {strain} in the weight of all {species}, last "
                f"survey of each year{band}; and what died of cold in the year, in the middle and in the coldest tenth of "
                "futures. What cold kills is after published tests; how strains grow, spawn and bite is assumed.",
                ["Year", "Share, %", f"Died of cold, {crop}", "in one future of ten at least",
                 *(f"Share, %, if “{one.title}”" for one in events)], rows, header, csv_rows,
            ))  # fmt: skip
    return [*found, *map(_strain_figures, mixed)]


def _strain_figures(species: str) -> Table:
    """The figures in which the strains of a species differ from its own, each with its range."""
    kinds = STRAINS[species]
    rows: list[list[Cell]] = []
    csv_rows: list[list[object]] = []
    for name in STRAIN_PARAMETERS:
        own = [entries()[kind].get(name) for kind in kinds]
        told = [entry for entry in own if entry is not None]
        if told:
            cells = [NONE if e is None else (f"{e.value:g}", f"{e.low:g}–{e.high:g}") for e in own]
            unit = "" if told[0].unit == "1" else f", {told[0].unit}"
            rows.append([f"{told[0].name}{unit} ({', '.join(dict.fromkeys(e.kind for e in told))})", *cells])
            csv_rows += [
                [kind, name, e.value, e.low, e.high, e.unit, e.kind, e.source]
                for kind, e in zip(kinds, own, strict=True) if e is not None
            ]  # fmt: skip
    header = ["strain", "parameter", "value", "low", "high", "unit", "kind", "source"]
    caption = f"In what strains of {species} differ from its own: value, and the range in which it is believable. " \
              "Where no published figure was found it is assumed."  # fmt: skip
    return Table("strain_figures", caption, ["Figure", *(KINDS[kind].title for kind in kinds)], rows, header, csv_rows)


def moves(material: Material) -> list[Table]:
    """What died of moves by truck, at once and in two weeks, by year and species; of cases in which a truck is told."""
    header = ["strategy", "title", "year", "species", "stocked", "died_p10", "died_p50", "died_p90"]
    csv_rows, found = list[list[object]](), list[Table]()
    for case in material.cases:
        area = case.projection.scenario.pond.area_ha
        died = {species: area * case.of("deaths_number", species=species, cause="hauling") for species in SPECIES}
        stocked = {species: area * case.of("stocked_number", species=species) for species in SPECIES}
        rows: list[list[Cell]] = []
        for k, year in enumerate(case.projection.dataset["year"].values):
            for species in SPECIES:
                if died[species][:, k].any():
                    put_in = float(np.median(stocked[species][:, k]))
                    band = np.quantile(died[species][:, k], (0.1, 0.5, 0.9))
                    rows.append([str(year), species, figure_of(put_in, "fish"), with_band(band, "fish")])
                    csv_rows.append([case.letter, case.title, year, species, put_in, *band])
        if rows:
            band_words = "; range of 8 of 10 futures below" if material.banded else ""
            found.append(Table(
                "moves", f"{case.letter}: {case.title}. Fish of this pond that died of their move by truck, on the day and in "
                f"the two weeks after{band_words}. Hours are after published tests; the curve of temperature, what salt saves "
                "and the share that dies at once are assumed. What predators take of them is not counted here.",
                ["Year", "Species", "Stocked", "Died of the move"], rows, header, csv_rows,
            ))  # fmt: skip
    return found


def groups(material: Material) -> Table:
    """Stocked groups: survivors, length and weight at every survey; CSV only."""
    header = ["strategy", "title", "date", "group", "measure", "unit", "p10", "p50", "p90"]
    rows: list[list[object]] = []
    for case in material.cases:
        for event in case.strategy.stocking:
            for measure in ("survivors", "length", "weight"):
                name = f"group_{measure}:{event.name}"
                unit = case.projection.quantities[name].unit(material.units)
                for i, date in enumerate(case.projection.survey_dates):
                    if np.isfinite(case.band(name)[i, 1]):
                        row = [case.letter, case.title, str(date), event.name, measure, unit, *case.band(name)[i]]
                        rows.append(row)
    return Table("stocked_groups", "", [], [], header, rows)


def length_classes(material: Material) -> Table:
    """Median fish by inch class at every survey, for bass and bluegill; CSV only."""
    header = ["strategy", "title", "date", "species", "from_in", "unit", "p10", "p50", "p90"]
    unit = unit_of("density", material.units)
    factor = converted(1.0, "density", material.units)
    rows: list[list[object]] = []
    for case in material.cases:
        number = {species: case.of("number", species=species) * factor for species in MEASURED}
        bands = {species: np.quantile(fish, (0.1, 0.5, 0.9), axis=0) for species, fish in number.items()}
        for i, date in enumerate(case.projection.survey_dates):
            for species, band in bands.items():
                for c in range(band.shape[-1]):
                    if band[2, i, c] > 1e-6:
                        rows.append([case.letter, case.title, str(date), species, c, unit, *band[:, i, c]])
    return Table("length_classes", "", [], [], header, rows)


def oxygen(material: Material) -> Table:
    """By strategy: chances of a year of kills for want of oxygen, their months and causes, the poorest dawn, electricity."""
    rows: list[list[Cell]] = []
    csv_rows: list[list[object]] = []
    for projection in material.projections:
        every = oxygen_risk.risks(projection.dataset, projection.scenario)
        for case, risk in zip(material.cases_of(projection), every, strict=False):
            causes = oxygen_risk.put_down_to(risk.causes) or NONE
            rows.append([
                f"{case.letter}: {case.title}", f"{100 * risk.partial:.1f} %", f"{100 * risk.severe:.1f} %",
                months_in_words(risk.months) or NONE, causes, f"{risk.lowest:.1f}", brief(risk.kwh, 2),
            ])  # fmt: skip
            csv_rows.append([case.letter, case.title, risk.partial, risk.severe, *risk.by_month, risk.lowest, risk.kwh])
    of_month = [f"partial_{k}" for k in range(1, 13)]
    return Table(
        "oxygen", "Want of oxygen: chance of a year in which fish die in some month, by weight (frequencies assumed)",
        ["Strategy", "over a tenth", "over half", "mostly in", "put down to", "poorest dawn of a usual year, mg/l", "kWh a year"],
        rows, ["strategy", "title", "partial", "severe", *of_month, "lowest_dawn_mg_l", "kwh_a_year"], csv_rows, look="texts",
    )  # fmt: skip
