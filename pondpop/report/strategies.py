"""What the report is about: stored projections, and their strategies as cases side by side."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from pondpop.ensemble.quantities import Quantity, quantiles, quantities
from pondpop.scenario import Scenario, Strategy, resolve
from pondpop.units import KG_PER_HA_IN_LB_PER_ACRE, Units

Array = NDArray[np.float64]

# Colours of our own, dark enough for text on white, told apart by colour-blind readers; each has its line and marker.
LOOKS = (
    ("#14418b", "-", "o"),
    ("#b5461a", (0, (5, 2)), "s"),
    ("#0a6b5e", (0, (6, 1.5, 1, 1.5)), "^"),
    ("#7b3294", (0, (1.2, 1.2)), "D"),
    ("#5b5b5b", (0, (3, 1, 1, 1, 1, 1)), "v"),
    ("#8a1c4a", (0, (8, 2)), "P"),
    ("#3d5c10", (0, (4, 1, 1, 1)), "X"),
    ("#6b4a00", (0, (2, 2)), "<"),
    ("#00627a", (0, (10, 1, 1, 1)), ">"),
    ("#3b3b98", (0, (5, 1, 5, 3)), "p"),
)


@dataclass(frozen=True, eq=False)
class Projection:
    """One stored projection: its Dataset, its scenario as stored, and its quantities in the units of the page."""

    dataset: xr.Dataset
    units: Units
    scenario: Scenario
    _bands: dict[str, Array] = field(default_factory=dict)

    @cached_property
    def quantities(self) -> dict[str, Quantity]:
        return {q.name: q for q in quantities(self.dataset)}

    def bands(self, name: str) -> Array:
        """p10, p50 and p90 of a quantity [strategy, survey_date, 3], as in `yearly.csv` before rounding."""
        if name not in self._bands:
            self._bands[name] = quantiles(self.quantities[name].in_units(self.units))
        return self._bands[name]

    @property
    def members(self) -> int:
        return int(self.dataset.sizes["member"])

    @cached_property
    def survey_dates(self) -> NDArray[np.datetime64]:
        return self.dataset["survey_date"].values.astype("datetime64[D]")

    @cached_property
    def survey_years(self) -> Array:
        """Survey dates as decimal years."""
        return decimal_years(self.survey_dates)

    @cached_property
    def yearly(self) -> list[tuple[int, int]]:
        """Calendar year and index of the last survey in it, for every year with a survey."""
        years = self.survey_dates.astype("datetime64[Y]").astype(int) + 1970
        return [(int(year), int(np.flatnonzero(years == year)[-1])) for year in np.unique(years)]

    @cached_property
    def months(self) -> NDArray[np.datetime64]:
        return self.dataset["month"].values.astype("datetime64[M]")


@dataclass(frozen=True, eq=False)
class Case:
    """One strategy of one projection, with the letter and the look that it has throughout the page."""

    letter: str
    projection: Projection
    index: int
    look: tuple[str, object, str]

    @property
    def strategy(self) -> Strategy:
        return list(self.projection.scenario.strategies.values())[self.index]

    @property
    def title(self) -> str:
        return self.strategy.title

    def band(self, name: str) -> Array:
        """p10, p50 and p90 of a quantity [survey_date, 3] in the units of the page."""
        return self.projection.bands(name)[self.index]

    def of(self, variable: str, **labels: str) -> Array:
        """A variable of the Dataset for this case [member, …], in SI; of one species, cause … where labels name it."""
        return np.asarray(self.projection.dataset[variable].isel(strategy=self.index).sel(labels).values)


@dataclass(frozen=True, eq=False)
class Material:
    """All that a page is made of."""

    projections: tuple[Projection, ...]
    cases: tuple[Case, ...]
    units: Units

    @property
    def banded(self) -> bool:
        """Whether there are bands: where every projection has but one member there are none."""
        return any(projection.members > 1 for projection in self.projections)

    def cases_of(self, projection: Projection) -> list[Case]:
        return [case for case in self.cases if case.projection is projection]

    @property
    def crop_factor(self) -> float:
        """From kg/ha to the page's unit of standing crop."""
        return 1.0 if self.units == "metric" else 1.0 / KG_PER_HA_IN_LB_PER_ACRE


def gather(datasets: Sequence[xr.Dataset], units: Units | None) -> Material:
    """The material of a page; units are the first scenario's unless given."""
    scenarios = [resolve(tomllib.loads(dataset.attrs["scenario"])) for dataset in datasets]
    first = units or scenarios[0].units
    projections = tuple(
        Projection(dataset, first, scenario._replace(units=first))
        for dataset, scenario in zip(datasets, scenarios, strict=True)
    )
    places = [(p, k) for p in projections for k in range(len(p.scenario.strategies))]
    cases = tuple(Case(_letter(n), p, k, LOOKS[n % len(LOOKS)]) for n, (p, k) in enumerate(places))
    return Material(projections, cases, first)


def _letter(n: int) -> str:
    """A to Z, then A2, B2, …"""
    return chr(ord("A") + n % 26) + ("" if n < 26 else str(n // 26 + 1))


def decimal_years(dates: NDArray[np.datetime64]) -> Array:
    days = dates.astype("datetime64[D]")
    years = days.astype("datetime64[Y]")
    length = ((years + 1).astype("datetime64[D]") - years.astype("datetime64[D]")).astype(float)
    return years.astype(int) + 1970 + (days - years.astype("datetime64[D]")).astype(float) / length
