"""The catch of the last survey as the lines with which a scenario begins from it, so that nobody types it again."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pondpop.assess.size_and_condition import counts_by_inch
from pondpop.assess.surveys import surveys
from pondpop.records import Records
from pondpop.scenario.initial import GEARS, LEAST_TAKEN
from pondpop.species import SPECIES
from pondpop.species.catalogue import gears
from pondpop.species.gears import taken_share
from pondpop.units import MM_PER_IN


def beginning(records: Records) -> str:
    """The table [start_from_survey] of a scenario file, in TOML; empty where no survey has fish and a known effort.

    Of the last such survey, the days of one gear together: fish by species and inch class. Classes of which the gear
    hardly takes any are left out and named, as a scenario would refuse them.
    """
    for survey in reversed(surveys(records)):
        for gear in GEARS:
            worked = [e for e in survey.effort if e.gear == gear]
            days = {e.date for e in worked}
            fish = [f for f in survey.fish if f.gear == gear and f.date in days]
            if not fish:
                continue
            warm = [e.water_c for e in worked if e.water_c is not None]
            lines = [
                f"# The survey of {survey.first}{'' if survey.last == survey.first else f' to {survey.last}'} by {gear}; let the "
                "run start on that day.",
                "[start_from_survey]",
                f'gear = "{gear}"',
                f"{'hauls' if gear == 'seine' else 'hours'} = {sum(e.amount for e in worked):g}",
            ]
            if warm:
                lines.append(f"water_c = {np.mean(warm):.1f}")
            caught = [part for species in SPECIES for part in _classes([f for f in fish if f.species == species], gear, species)]
            if any(part.startswith("\n[[") for part in caught):
                return "\n".join([*lines, *caught]) + "\n"
    return ""


def _classes(fish: list, gear: str, species: str) -> Iterator[str]:
    settings = gears()[gear]
    for inch, count in enumerate(counts_by_inch(tuple(fish))):
        if not count:
            continue
        middles = [(inch + (k + 0.5) / 10) * MM_PER_IN for k in range(10)]
        taken = sum(taken_share(settings, species, mm) for mm in middles) / len(middles)
        if taken < LEAST_TAKEN:
            yield f"# {count:.0f} {species} of {inch} to {inch + 1} in are left out: {gear} hardly takes them"
        else:
            length = f"[{inch or 0.2:g}, {inch + 1}]"  # a scenario knows no fish of 0 in
            yield f'\n[[start_from_survey.catch]]\nspecies = "{species}"\nlength_in = {length}\ncount = {count:.0f}'
