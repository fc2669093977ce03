"""Judges the records of a pond as a biologist would: what was seen, and how far it can be trusted.

from pondpop.assess import assess_records, assessment_text
print(assessment_text(assess_records(read_records("scenarios/records"))))
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pondpop.assess import size_and_condition
from pondpop.assess.advice import Advice, advise
from pondpop.assess.beginning import beginning
from pondpop.assess.creel import angler_findings
from pondpop.assess.findings import Finding
from pondpop.assess.seining import SeiningReading, seining
from pondpop.assess.size_and_condition import GAME, Change, PairDoubt
from pondpop.assess.tags import tag_findings
from pondpop.assess.text import assessment_csv, assessment_text
from pondpop.records import Records, read_records
from pondpop.records.surveys import Survey, surveys
from pondpop.species import SPECIES
from pondpop.units import Units

__all__ = [
    "Advice", "Assessment", "Change", "Finding", "PairDoubt", "SeiningReading", "SurveyAssessment",
    "assess_records", "assessment_csv", "assessment_text", "write_assessment",
]  # fmt: skip


@dataclass(frozen=True)
class SurveyAssessment:
    """One survey: its figures, its readings, and what changed since an earlier one."""

    first: dt.date
    last: dt.date
    findings: tuple[Finding, ...]
    pair: PairDoubt | None
    seining: SeiningReading | None
    compared_with: dict[str, dt.date]
    """By gear, the first day of the earlier survey that the changes refer to."""
    changes: tuple[Change, ...]
    disagreements: tuple[str, ...]
    """Sentences on outings of this survey that differ more than chance."""
    length_frequency: dict[tuple[str, str], np.ndarray]
    """By gear and species, fish in one-inch classes [length_class] from 0 to 31 in."""


@dataclass(frozen=True)
class Assessment:
    """All that the records say."""

    records: Records
    surveys: tuple[SurveyAssessment, ...]
    anglers: tuple[Finding, ...]
    tags: tuple[Finding, ...]
    missing: tuple[str, ...]
    """What cannot be told from these records, and why."""

    def advice(self, units: Units = "us", pond: str | None = None) -> Advice | None:
        """What the last survey that shows the pair of PSD values advises; None without one.

        pond: "fertile" or "infertile"; where it is not known the amounts for both are told.
        """
        for survey in reversed(self.surveys):
            if survey.pair is not None:
                return advise(survey.first, survey.pair, survey.findings, units, pond)
        return None

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Every figure: surveys by date, catch records, tags."""
        return (*(f for s in self.surveys for f in s.findings), *self.anglers, *self.tags)


def assess_records(records: Records | str | Path) -> Assessment:
    """The assessment of a pond's records, or of the folder that holds them.

    An empty set gives an assessment that says what is missing. Raises InputError and OSError for a folder.

    >>> import pondpop
    >>> found = pondpop.assess_records("records")
    >>> [survey.first.year for survey in found.surveys]
    [2023, 2023, 2024, 2024, 2025, 2025]
    """
    records = records if isinstance(records, Records) else read_records(records)
    found = surveys(records)
    tags, missing = tag_findings(records, found)
    missing = (*_gaps(records, found), *missing)
    return Assessment(
        records, tuple(_survey(found, i) for i in range(len(found))), tuple(angler_findings(records)), tags, missing
    )


def _survey(all_surveys: tuple[Survey, ...], index: int) -> SurveyAssessment:
    survey = all_surveys[index]
    findings: list[Finding] = []
    frequency: dict[tuple[str, str], np.ndarray] = {}
    changes: list[Change] = []
    compared: dict[str, dt.date] = {}
    for gear in survey.gears:
        for species in SPECIES:
            fish = survey.taken(gear, species)
            findings += size_and_condition.catch_rates(survey, gear, species)
            if fish:
                frequency[gear, species] = size_and_condition.counts_by_inch(fish)
            if species in GAME:
                if gear != "seine":  # a seine takes small fish only: its PSD says nothing
                    findings += size_and_condition.size_structure(survey, gear, species)
                findings += size_and_condition.conditions(survey, gear, species)
            findings += size_and_condition.lengths_at_age(survey, gear, species)
        findings += size_and_condition.balance_ratios(survey, gear)
        before = next((s for s in reversed(all_surveys[:index]) if gear in s.gears and _fish_of(s, gear)), None)
        if before and gear != "seine":
            compared[gear] = before.first
            changes += size_and_condition.changes(before, survey, gear)
    return SurveyAssessment(
        survey.first, survey.last, tuple(findings), size_and_condition.pair(survey), seining(survey), compared, tuple(changes),
        tuple(words for gear in survey.gears for words in size_and_condition.disagreements(survey, gear)), frequency,
    )  # fmt: skip


def _fish_of(survey: Survey, gear: str) -> bool:
    return any(f.gear == gear and f.species in GAME for f in survey.fish)


def _gaps(records: Records, found: tuple[Survey, ...]) -> tuple[str, ...]:
    gaps = []
    if not records.fish:
        gaps.append("no survey fish: neither size structure nor relative weight can be told")
    elif all(f.weight_g is None for f in records.fish):
        gaps.append("no fish was weighed: relative weight and the balance ratios cannot be told")
    if records.fish and not records.effort:
        lost = any(bad.kind == "effort.csv" for bad in records.left_out)
        gaps.append(f"{'every row of effort was left out' if lost else 'no effort'}: catch rates cannot be told")
    if found and not any(e.gear == "seine" for e in records.effort):
        gaps.append("no seine hauls: whether bass and bluegill spawned is not known")
    if records.fish and not any(size_and_condition.pair(s) for s in found):
        gaps.append("no survey has stock-length bass and bluegill from one gear: the pair of PSD values cannot be read")
    if not records.catches:
        gaps.append("no catch records: nothing is said about anglers' success or harvest")
    return tuple(gaps)


def write_assessment(assessment: Assessment, out: str | Path, units: Units = "us", page: str = "") -> None:
    """Writes the assessment into a folder of its own, whole or not at all: text, table, and the page if one was made.

    Beside them lies the last survey as the table with which a scenario begins from it, if it has an effort.

    Raises InputError if the folder holds anything that pondpop did not write, and OSError.
    """
    from pondpop.ensemble.store import Output, text

    output = Output(Path(out), {"command": "assess"})
    try:
        files = {"assessment.txt": assessment_text(assessment, units), "assessment.csv": assessment_csv(assessment, units)}
        files |= {"assessment.html": page, "start_from_survey.toml": beginning(assessment.records)}
        output.finish({name: text(content) for name, content in files.items() if content})
    except BaseException:
        output.discard()  # there is nothing to go on from
        raise
