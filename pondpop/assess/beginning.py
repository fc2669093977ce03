"""The catch of the last survey as the lines with which a scenario begins from it, so that nobody types it again."""

from __future__ import annotations

from collections.abc import Iterator

from pondpop.records import Records
from pondpop.records.surveys import LastCatch, last_catches
from pondpop.scenario.initial import GEARS, LEAST_TAKEN, class_in, share_of_class, weight_in
from pondpop.species import SPECIES
from pondpop.species.catalogue import gears


def beginning(records: Records) -> str:
    """The table [start_from_survey] of a scenario file, in TOML; empty where no survey has fish and a known effort.

    Of the last such survey, the days of one gear together: fish by species and inch class. Classes of which the gear
    hardly takes any are left out and named, as a scenario would refuse them.
    """
    for found in last_catches(records, GEARS):
        lines = [
            f"# The survey of {found.first}{'' if found.last == found.first else f' to {found.last}'} by {found.gear}; let the "
            "run start on that day.",
            "[start_from_survey]",
            f'gear = "{found.gear}"',
            f"{'hauls' if found.gear == 'seine' else 'hours'} = {found.amount:g}",
        ]
        if found.water_c is not None:
            lines.append(f"water_c = {found.water_c:.1f}")
        caught = [part for species in SPECIES for part in _classes(found, species)]
        if any(part.startswith("\n[[") for part in caught):
            return "\n".join([*lines, *caught]) + "\n"
    return ""


def _classes(found: LastCatch, species: str) -> Iterator[str]:
    for (name, inch), count in found.fish.items():
        if name != species:
            continue
        low, high = class_in(inch)
        if share_of_class(gears()[found.gear], species, inch) < LEAST_TAKEN:
            yield f"# {count} {species} of {inch} to {inch + 1} in are left out: {found.gear} hardly takes them"
        else:
            weight = weight_in(found, species, inch)
            weighed = "" if weight is None else f"\nweight_g = {weight:.4g}"
            size = f"length_in = [{low:g}, {high:g}]{weighed}"
            yield f'\n[[start_from_survey.catch]]\nspecies = "{species}"\n{size}\ncount = {count}'
