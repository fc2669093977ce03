"""A small invented pond that runs in a moment, for tests of chance, variants and decisions."""

from __future__ import annotations

import datetime as dt
import tomllib

import numpy as np
import xarray as xr

from pondpop.ensemble.results import to_dataset
from pondpop.observe.observers import AXES, VARIABLES
from pondpop.scenario import Scenario, resolve

SIZES = {name: axis.labels.size for name, axis in AXES.items()}

TEXT = """
title = "small pond"
[pond]
area_acres = 2
fertility = "fertilized"
[water]
climate = "deep_south"
[run]
start = 2026-04-01
years = 1
surveys = ["04-20", "06-15", "09-15"]
[[stocking]]
species = "bluegill"
resident = true
name = "bluegill"
per_acre = 600
length_in = 4
[[stocking]]
species = "bass"
resident = true
name = "old_bass"
per_acre = 20
length_in = 13
[strategies.few]
[[strategies.few.stocking]]
name = "young_bass"
species = "bass"
date = 2026-04-10
per_acre = 30
length_in = 6
[strategies.many]
[[strategies.many.stocking]]
name = "young_bass"
species = "bass"
date = 2026-04-10
per_acre = 60
length_in = 6
[ensemble]
members = 3
"""

EVENTS = """
[what_if.cold]
title = "a cold winter"
[[what_if.cold.spell]]
from = 2026-12-01
to = 2027-02-01
at_most_f = 38
[what_if.kill]
title = "a kill"
[[what_if.kill.die_off]]
species = "bass"
date = 2026-08-01
share = 0.5
"""


def raw(members: int = 3, years: int = 1, extra: str = "", only: str | None = None) -> dict:
    """What the small pond's file says, with `extra` TOML at its end, and one strategy only if it is named."""
    content = tomllib.loads(TEXT + extra)
    content["ensemble"]["members"] = members
    content["run"]["years"] = years
    if only:
        content["strategies"] = {only: content["strategies"][only]}
    return content


def pond(members: int = 3, years: int = 1, extra: str = "", only: str | None = None) -> Scenario:
    return resolve(raw(members, years, extra, only))


def readings(scenario: Scenario, fill: float = 0.0) -> dict[str, dict[str, np.ndarray]]:
    """Readings of every strategy as a projection would return them, all of one value, to be filled by a test."""
    run = scenario.run
    last = run.end - dt.timedelta(days=1)
    months = (last.year - run.start.year) * 12 + last.month - run.start.month + 1
    sizes = SIZES | {"survey_date": len(run.survey_dates), "month": months, "year": run.last_year}
    made = {}
    for name, strategy in scenario.strategies.items():
        own = sizes | {"stocked_group": len(strategy.stocking)}
        made[name] = {
            variable: np.full((scenario.ensemble.members, *(own[d] for d in dims)), fill)
            for variable, (dims, _, _) in VARIABLES.items()
        }
    return made


def dataset(scenario: Scenario, read: dict[str, dict[str, np.ndarray]]) -> xr.Dataset:
    return to_dataset(scenario, read, {})
