"""One strategy stepped day by day, with observers and a harvest rule of one's own."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from numbers import Real
from pathlib import Path

import numpy as np
import xarray as xr

from pondpop.arrays import Array
from pondpop.checks import Fact, InputError, RunError, choice, integer
from pondpop.ensemble import results
from pondpop.ensemble.draws import Prior, Source
from pondpop.ensemble.prepare import prepare
from pondpop.model import harvest
from pondpop.model.day import Engine
from pondpop.model.inputs import RemovalInput
from pondpop.observe import indices
from pondpop.observe.observers import LENGTH_CLASSES_IN, Surveys, read_survey
from pondpop.scenario import Scenario, as_scenario, befallen
from pondpop.species import MEASURED, SPECIES, place_of

__all__ = ["Simulation", "Take"]

ANY_LENGTH = (0.0, np.inf)
SHORTEST = 1e-3  # mm, whose logarithm is finite; no fish is shorter
LEAST_ENDS_MM = 40.0  # a window that ends below is one in inches by mistake; up to there fry can be read (a choice of ours)


@dataclass(frozen=True)
class Take:
    """Fish of one species and length window to be taken on a day: exactly one of the three amounts.

    length_mm: total length, from and below. share: of the fish in the window, 0 to 1; per_ha: fish/ha; kg_per_ha. An amount is
    one number for all members, or an array [member]. Never more is taken than is there.
    """

    species: str
    length_mm: tuple[float, float] = ANY_LENGTH
    share: float | Array | None = None
    per_ha: float | Array | None = None
    kg_per_ha: float | Array | None = None


class Simulation:
    """A strategy of a scenario, stepped day by day; every member of the ensemble is a pond of its own.

    It gives the same ponds as `compare`, to the bit: a harvest rule or an observer that does nothing changes nothing.

    scenario: one that was loaded, or the path of its file. strategy: its name (default: the first). members: how many
    ponds (default: the scenario's). observers: each is called with the simulation at the start of every day, before that
    day's events, and once more at the end. harvest: a rule of one's own, called each day after the observers; the fish
    it names are taken that day, beside what the strategy says, and count as harvest. source: where parameters and luck
    come from (default: the scenario's spreads). what_if: an event of the scenario that befalls the pond. Raises InputError.

    >>> import pondpop
    >>> pond = pondpop.Simulation("pond.toml", "few", members=2)
    >>> pond.run(until=pond.date.replace(year=pond.date.year + 1)).number("bass").shape
    (2,)
    """

    def __init__(
        self,
        scenario: Scenario | str | Path,
        strategy: str | None = None,
        *,
        members: int | None = None,
        observers: Sequence[Callable[[Simulation], object]] = (),
        harvest: Callable[[Simulation], Iterable[Take] | None] | None = None,
        source: Source | None = None,
        what_if: str | None = None,
    ) -> None:
        whole = as_scenario(scenario)
        whole = whole._replace(what_if=()) if what_if is None else befallen(whole, what_if)
        name = next(iter(whole.strategies)) if strategy is None else strategy
        choice("strategy", name, whole.strategies)
        count = whole.ensemble.members if members is None else integer("members", members, 1, 10_000)
        self.scenario = whole._replace(
            strategies={name: whole.strategies[name]}, ensemble=whole.ensemble._replace(members=count)
        )
        self.strategy = name
        if callable(observers) or not all(callable(one) for one in observers):
            raise InputError("observers", observers, "a list of functions of the simulation", "put them between [ and ]")
        if harvest is not None and not callable(harvest):
            raise InputError("harvest", harvest, "a function of the simulation that returns a list of pondpop.Take, or None")
        self.observers = tuple(observers)
        self.harvest = harvest
        parameters, luck = (source or Prior()).draw(self.scenario, whole.strategies[name], 0, count)
        self._engine = Engine(prepare(self.scenario, whole.strategies[name], parameters, luck))
        self._surveys = Surveys([(date - whole.run.start).days for date in whole.run.survey_dates])
        self._harvested = np.zeros((2, count, len(SPECIES)))
        self._asking = False  # whether an observer or the rule looks at the pond

    # ------------------------------------------------------------------ time

    @property
    def date(self) -> dt.date:
        """The day that begins; at the end of the run the day after its last one."""
        return self.scenario.run.start + dt.timedelta(days=self._engine.day)

    @property
    def finished(self) -> bool:
        """Whether the run has come to its end."""
        return self._engine.day >= self._engine.inputs.days

    def step(self) -> None:
        """Run one day. Raises RunError past the end of the run, InputError for what the harvest rule says wrongly."""
        if self.finished:
            ends = f"the run ended on {self.date}; there is no day to step to"
            raise RunError(f"{ends}: step while not pond.finished, or give the scenario more years")
        if self._asking:
            raise RunError(f"on {self.date} an observer or the harvest rule steps the pond that asks it; let it look only")
        self._surveys(self._engine)
        self._asking = True
        try:
            for observe in self.observers:
                observe(self)
            takes = self.harvest(self) if self.harvest else None
        finally:
            self._asking = False
        takes = () if takes is None else takes
        if not isinstance(takes, Iterable):
            raise InputError("harvest", takes, "a list of pondpop.Take, or nothing", "put what is taken between [ and ]")
        taken = [self._removal(k, take) for k, take in enumerate(takes)]
        self._engine.run_day(taken)
        self._harvested += np.stack([self._engine.flows.harvest_number, self._engine.flows.harvest_biomass])
        if self.finished:
            for observe in self.observers:
                observe(self)

    def run(self, until: dt.date | None = None) -> Simulation:
        """Step to the start of a day (default: to the end of the run) and return the simulation itself.

        Raises InputError for a day that is past or beyond the run.
        """
        end = self.scenario.run.end
        if until is not None and (type(until) is not dt.date or not self.date <= until <= end):
            remedy = "give its day, until.date()" if isinstance(until, dt.datetime) else ""
            remedy = remedy or ("" if isinstance(until, dt.date) else "give datetime.date(year, month, day)")
            raise InputError("until", until, f"a date from {self.date} to {end}", remedy)
        while self.date < (until or end):
            self.step()
        return self

    # ------------------------------------------------------------------ what there is

    @property
    def members(self) -> int:
        """How many ponds are stepped together."""
        return self.scenario.ensemble.members

    @property
    def water_c(self) -> Array:
        """Water temperature of the day that begins, or of the last one at the end, in °C [member]."""
        water = self._engine.water_c[:, min(self._engine.day, self._engine.inputs.days - 1)]
        return np.array(np.broadcast_to(water, (self.members,)))

    def number(self, species: str, length_mm: tuple[float, float] = ANY_LENGTH) -> Array:
        """Fish/ha of a species between two total lengths in mm [member], all of them by default.

        Raises InputError for a species that there is not, or a window that ends below 40 mm, as one in inches would.
        """
        return harvest.in_window(self._engine, _place(species), "per_ha", *_window(length_mm))

    def biomass(self, species: str, length_mm: tuple[float, float] = ANY_LENGTH) -> Array:
        """kg/ha of a species between two total lengths in mm [member], all of them by default.

        Raises InputError for a species that there is not, or a window that ends below 40 mm, as one in inches would.
        """
        return harvest.in_window(self._engine, _place(species), "kg_per_ha", *_window(length_mm))

    def psd(self, species: str, category: str = "quality") -> Array:
        """Proportional size distribution of a species in per cent [member]; NaN without fish of stock length.

        Fish of the category and longer among those of stock length and longer (Guy et al. 2007, from memory). Raises
        InputError for a species or category that has none.
        """
        choice("species", species, MEASURED)
        return indices.psd(read_survey(self._engine)["number"], species, category)

    def relative_weight(self, species: str, length_in: tuple[int, int]) -> Array:
        """Mean relative weight (Wr) of the fish of a species between two whole inches, in per cent [member].

        Weight over the standard weight of a fish of that length, by the inch classes of a survey, since Wr is told so;
        NaN where there are no such fish. Raises InputError for a species that has no
        standard weight, or for what are no two whole inches.
        """
        choice("species", species, MEASURED)
        if not (
            isinstance(length_in, tuple | list) and len(length_in) == 2
            and all(type(end) is int for end in length_in) and 0 <= length_in[0] < length_in[1] <= LENGTH_CLASSES_IN.size
        ):  # fmt: skip
            allowed = f"two whole inches up to {LENGTH_CLASSES_IN.size}, the shorter one first, such as (8, 12)"
            raise InputError("length_in", length_in, allowed)
        read = read_survey(self._engine)
        return indices.class_mean(read["relative_weight"], read["number"], species, *length_in)

    def survey(self) -> xr.Dataset:
        """All that a survey without error finds on this day: the variables of `compare`'s Dataset that have a
        `survey_date`, with the dimensions member, species, length_class and so on, in SI.

        Length classes are those of surveys, an inch each. Fish that live in the pond when a run starts come in the
        course of its first day.
        """
        return results.survey_dataset(self.scenario, self.strategy, self.date, read_survey(self._engine))

    @property
    def harvested(self) -> xr.Dataset:
        """What was harvested since the start: `number` (fish/ha) and `biomass` (kg/ha), [member, species]."""
        number, biomass = self._harvested.copy()
        return xr.Dataset(
            {
                "number": (("member", "species"), number, {"units": "ha-1", "long_name": "fish harvested"}),
                "biomass": (("member", "species"), biomass, {"units": "kg ha-1", "long_name": "weight harvested"}),
            },
            {"species": list(SPECIES)},
        )

    def _removal(self, k: int, take: Take) -> RemovalInput:
        """What the harvest rule says, for the engine. Raises InputError."""
        path = f"take {k + 1} of the harvest rule"
        if not isinstance(take, Take):
            raise InputError(path, take, "a pondpop.Take", 'such as Take("bass", (203, 305), share=0.1)')
        amounts = {name: getattr(take, name) for name in ("share", "per_ha", "kg_per_ha")}
        given = [name for name, amount in amounts.items() if amount is not None]
        if len(given) != 1:
            raise InputError(path, Fact(" and ".join(given) or "no amount"), "one of share, per_ha, kg_per_ha")
        kind = given[0]
        amount = np.asarray(amounts[kind])
        if amount.dtype == bool:
            remedy = "np.where(these, 0.1, 0.0) takes a tenth of these"
            raise InputError(f"{path}, {kind}", Fact("truth values"), "numbers", remedy)
        if amount.dtype.kind not in "iuf":
            raise InputError(f"{path}, {kind}", amounts[kind], "numbers")
        most = 1.0 if kind == "share" else np.inf
        if amount.shape not in ((), (self.members,)):
            shape = Fact(f"an array of the shape {amount.shape}")
            raise InputError(f"{path}, {kind}", shape, f"one number, or one for each of the {self.members} members")
        held = (amount >= 0.0) & (amount <= most) & np.isfinite(amount)
        if not held.all():
            allowed = "numbers from 0 to 1" if kind == "share" else "numbers of 0 or more"
            first = int(np.argmin(held))
            value = float(amount.flat[first])
            remedy = "where a value is not known, as PSD without fish, np.nan_to_num makes it 0" if np.isnan(value) else ""
            told = Fact(f"{value:.4g} for member {first}") if amount.size > 1 else value
            raise InputError(f"{path}, {kind}", told, allowed, remedy)
        shortest, longest = _window(take.length_mm, f"{path}, length_mm")
        return RemovalInput(
            day=self._engine.day,
            species=_place(take.species, f"{path}, species"),
            shortest_mm=shortest,
            longest_mm=longest,
            kind=kind,
            amount=np.broadcast_to(amount.astype(float), (self.members,)),
            cause="harvest",
        )


def _place(species: str, path: str = "species") -> int:
    return place_of(choice(path, species, SPECIES))


def _window(length_mm: tuple[float, float], path: str = "length_mm") -> tuple[float, float]:
    pair = isinstance(length_mm, tuple | list) and len(length_mm) == 2 and all(isinstance(end, Real) for end in length_mm)
    if not pair or not 0.0 <= length_mm[0] < length_mm[1]:
        raise InputError(path, length_mm, "two lengths in mm, the shorter one first, such as (203, 305)")
    if length_mm[1] < LEAST_ENDS_MM:
        allowed = f"a window that ends at {LEAST_ENDS_MM:.0f} mm or more"
        raise InputError(path, length_mm, allowed, "lengths are in mm: 8 to 12 in are (203, 305)")
    return max(float(length_mm[0]), SHORTEST), float(length_mm[1])
