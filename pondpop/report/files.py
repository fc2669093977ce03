"""The files of a comparison, its page among them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import xarray as xr

from pondpop.ensemble import results
from pondpop.ensemble.quantities import yearly_csv
from pondpop.ensemble.store import text
from pondpop.report.page import write_report
from pondpop.scenario import Scenario, dump


def comparison_files(scenario: Scenario, dataset: xr.Dataset) -> dict[str, Callable[[Path], None]]:
    """The files of a comparison and how each is written."""
    return {
        "scenario.resolved.toml": text(dump(scenario)),
        "yearly.csv": text(yearly_csv(dataset, scenario.units)),
        "projection.nc": lambda path: results.write(dataset, path),
        "report.html": lambda path: write_report([dataset], path),
    }
