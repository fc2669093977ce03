"""What the engine reads for a block of members: arrays by day, by member, and by event.

The engine knows no files or random numbers; `ensemble.prepare` makes these inputs of a scenario's strategy.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pondpop.arrays import Array
from pondpop.scenario import Trigger
from pondpop.species import SPECIES, Parameters


@dataclass(frozen=True)
class Luck:
    """What differs between members besides their parameters; neutral unless drawn (see `draws`).

    water_c [member, day] is added to the water temperature; cloud is the state of the sky, of a standard deviation of 1 and
    higher where it is clearer; a bloom collapses where its number, between 0 and 1, is below the chance of the day. The others
    are multipliers of 1 on average.
    """

    water_c: Array
    productivity: Array  # [member, year]
    growth: Array  # [member, species], on maximum intake
    recruitment: Array  # [member, species, year]
    background_deaths: Array  # [member, species, year]
    stocking_survival: Array  # [member, stocking event]
    angler_success: Array  # [member, year]
    cloud: Array  # [member, day]
    wind: Array  # [member, day]
    bloom: Array  # [member, day]
    truck: Array | None = None  # [member, stocking event], on deaths of a move by truck; None where none is told
    missed_males: Array | None = None  # [member, stocking event], share of those taken for females that are males
    arrived: Array | None = None  # [member, arrival, calendar year], 1 where wild fish come in and 0 where not
    survey: Array | None = None  # [member, survey, quantity], uniforms for the error of surveys that rules react to
    whole: Array | None = None  # [member, year], the number from which the luck of whole fish is made; None for none

    @classmethod
    def none(cls, members: int, days: int, years: int, stockings: int) -> Luck:
        kinds = len(SPECIES)
        return cls(
            water_c=np.zeros((members, days)),
            productivity=np.ones((members, years)),
            growth=np.ones((members, kinds)),
            recruitment=np.ones((members, kinds, years)),
            background_deaths=np.ones((members, kinds, years)),
            stocking_survival=np.ones((members, stockings)),
            angler_success=np.ones((members, years)),
            cloud=np.zeros((members, days)),
            wind=np.ones((members, days)),
            bloom=np.ones((members, days)),
        )


@dataclass(frozen=True)
class TruckInput:
    """How the fish of a stocking came: `kind` is their species or strain; from_c None is the temperature of the pond."""

    kind: str
    hours: float
    from_c: float | None
    tempered: bool
    salted: bool


@dataclass(frozen=True)
class StockingInput:
    """Fish put in on one day; `origin` numbers the event within the strategy.

    `blood` is the share of their blood that is of another strain than the species' own.
    """

    day: int
    species: int
    per_ha: float | Array  # or [member]
    length_mm: float
    length_cv: float | None
    weight_g: float | None
    age_years: float
    female_share: float | Array  # or [member]
    origin: int
    resident: bool = False  # has always lived in the pond: not naive
    blood: float = 0.0
    truck: TruckInput | None = None
    luck: int = 0  # stands for its name in the luck of whole fish
    uninvited: bool = False  # wild fish that come in: `per_ha` is what comes, and they are no stocked group
    of: NDArray[np.bool_] | None = None  # [member], the ponds that it is for; None for all


@dataclass(frozen=True)
class FishingInput:
    """A harvest rule: which days it acts on and how much it asks for in each calendar year of the run.

    share [days] is the part of the season's effort that falls on each day (0 outside the season; sums to 1 a season).
    ask [member or 1, year]: kg/ha, fish/ha, or share of the fish in the window, as `kind` says. A rule with `when` asks
    for `otherwise` until a survey has shown its condition.
    """

    species: int
    shortest_mm: float
    longest_mm: float
    effort: Array
    kind: str  # "kg_per_ha" | "per_ha" | "share"
    ask: Array
    when: Trigger | None = None
    otherwise: float | Array = 0.0  # or [member]


@dataclass(frozen=True)
class RemovalInput:
    """Fish taken out, or dying, on one day; `number` is its place within the strategy, from which its luck comes."""

    day: int
    species: int
    shortest_mm: float
    longest_mm: float
    kind: str  # "kg_per_ha" | "per_ha" | "share"
    amount: float | Array  # of every member, or [member]
    cause: str  # "removal" | "die_off" | "harvest"
    number: int = 0
    of: NDArray[np.bool_] | None = None  # [member], the ponds that it is for; None for all


@dataclass(frozen=True)
class AerationInput:
    """Aerators of one kind: the days on which they are to be had, and how many of a night's and a day's hours they run.

    night_hours and hours [day] are those of set hours; None where they run at night while oxygen is below a limit.
    """

    kind: str
    kw_per_ha: float
    available: NDArray[np.bool_]  # [day]
    below_mg_l: float | None
    night_hours: Array | None = None
    hours: float = 0.0


@dataclass(frozen=True)
class OxygenInput:
    """What the oxygen of the water depends on besides weather, food and fish."""

    mean_depth_m: float
    aeration: tuple[AerationInput, ...] = ()


@dataclass(frozen=True)
class Inputs:
    """All that a block of members needs. Days count from 0 at the start of the run; years are calendar years from 0."""

    parameters: Parameters
    luck: Luck
    area_ha: float
    steps_per_day: int
    start: dt.date
    year_day: NDArray[np.intp]  # [day], days since 1 January
    year: NDArray[np.intp]  # [day]
    water_c: Array  # [member or 1, day]
    fertility: Array  # [day] or [day, member], relative renewal of the pond's food, to which the pond tends
    cover: Array  # [day], relative to the ordinary pond
    pellets_kg_per_ha: Array  # [day] or [day, member]
    angling_hours_per_ha: Array  # [day] or [day, member]
    death_after_release: Array  # [day] or [day, member], share
    stockings: tuple[StockingInput, ...] = ()
    fishing: tuple[FishingInput, ...] = ()
    removals: tuple[RemovalInput, ...] = ()
    oxygen: OxygenInput | None = None  # None: water that is always rich in it
    local_growth: Array = field(default_factory=lambda: np.ones(len(SPECIES)))
    local_survival: Array = field(default_factory=lambda: np.ones(len(SPECIES)))
    local_spawning: Array = field(default_factory=lambda: np.ones(len(SPECIES)))
    spell_most_c: Array | None = None  # [day] or [member, day], what the water is at most; None for nothing of the kind
    spell_least_c: Array | None = None  # [day] or [member, day], and at least
    fertility_lost: Array | None = None  # [day] or [day, member], share of the fertility that the pond lacks
    fertility_at_start: float | Array | None = None  # or [member]; None for that to which it tends on the first day
    alkalinity_mg_l: float | None = None  # of the pond itself; None where it is not short
    limings: tuple[tuple[int, float], ...] = ()  # day, t/ha
    plants: Array | None = None  # [day], share of the area in plants, were there no carp; NaN: as `cover` says
    carp: tuple[tuple[int, float], ...] = ()  # day, sterile grass carp per ha
    area_share: Array | None = None  # [day], share of the area under water; None for all of it
    whole_below: float = 0.0  # fish of a group in the pond below which they are whole, where there is luck of whole fish

    @property
    def days(self) -> int:
        return self.year_day.size

    @property
    def years(self) -> int:
        return int(self.year[-1]) + 1

    @property
    def members(self) -> int:
        return self.luck.growth.shape[0]

    def date(self, day: int) -> dt.date:
        return self.start + dt.timedelta(days=day)
