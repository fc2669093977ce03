"""What a scenario says, in SI: a pond, a run, and the strategies to compare.

Everything here is frozen and complete; `resolve` makes it of what a file says, `dump` writes it back.
Named tuples, because every start of a command pays for making these classes, and frozen dataclasses cost more.
Units: mm, g, ha, kg/ha, fish/ha, °C, days. Years count from 1, the calendar year of the start.
"""

import datetime as dt
from typing import Literal, NamedTuple

from pondpop.species.registry import TRAITS
from pondpop.units import KG_PER_HA_IN_LB_PER_ACRE

MonthDay = tuple[int, int]
"""Month and day."""

Season = tuple[MonthDay, MonthDay]
"""First and last day, both included, within one calendar year."""

# The words a scenario may use

SHORTEST_MM, LONGEST_MM = 5.0, 900.0
DEFAULT_SEED = 20260315
COLDEST_LIQUID_C = 1.0  # assumed: daily mean water of a pond with fish in it does not fall below this

FERTILITIES = {"unfertilized": 0.35, "fertilized": 1.0}  # renewal of food, assumed
COVERS = {"bare": 0.3, "some": 1.0, "much": 2.0}  # relative to the cover of the calibration, assumed
ASSUMED_DEPTH_M = 5 * 0.3048  # mean depth of a pond
AERATORS = ("paddlewheel", "propeller_aspirator", "vertical_pump", "pump_sprayer", "diffused")
DEFAULT_AERATION_BELOW_MG_L = 3.0  # assumed: what emergency aeration is switched on at
PROCESSES = ("growth", "survival", "spawning")
GOALS = ("balanced", "big_bass", "panfish", "pounds_harvested", "bass_above", "cost")
GOALS_BY_OTHER_NAMES = {
    "balance": "balanced", "all purpose": "balanced", "trophy": "big_bass", "trophy bass": "big_bass", "lunker": "big_bass",
    "large bass": "big_bass", "bluegill": "panfish", "bream": "panfish", "harvest": "pounds_harvested",
    "yield": "pounds_harvested", "pounds": "pounds_harvested", "money": "cost", "low cost": "cost",
}  # fmt: skip
MATTERS = {
    "balanced": 3.0, "big_bass": 3.0, "panfish": 3.0,  # PSD points, mean over the indices of the ranges
    "pounds_harvested": 10 * KG_PER_HA_IN_LB_PER_ACRE, "bass_above": 1.0, "cost": 100.0,  # kg/ha in all, fish in the pond, money
}  # fmt: skip
"""The smallest difference that matters for each kind of goal, where the file gives none (all assumed)."""

CONDITION_QUANTITIES = (
    "bass_psd", "bass_psd_p", "bluegill_psd", "bluegill_psd_p", "bass_wr_8_12in", "bass_wr_12_15in", "bass_wr_15_20in",
)  # fmt: skip


class Climate(NamedTuple):
    """Planning means of a pond's water by month, January first, in °C."""

    origin: str
    monthly_c: tuple[float, ...]


CLIMATES = {
    "deep_south": Climate(
        "ponds of Alabama and Georgia, monthly means from memory, ±2 °C",
        (9.0, 11.0, 15.0, 20.0, 25.0, 28.5, 30.0, 29.5, 27.0, 21.5, 16.0, 11.0),
    ),
    "upper_south": Climate(
        "ponds of Kentucky, Tennessee and Missouri, monthly means from memory, ±2 °C",
        (3.0, 4.0, 9.0, 15.0, 20.5, 25.5, 28.0, 27.5, 23.5, 17.0, 10.5, 5.5),
    ),
    "southern_plains": Climate(
        "ponds of Texas and Oklahoma, monthly means from memory, ±2 °C",
        (6.0, 8.0, 13.0, 18.0, 23.0, 27.5, 30.0, 30.0, 26.0, 20.0, 13.5, 8.0),
    ),
}


class Spread(NamedTuple):
    """A source of doubt: how far members differ by default, at most, and in what."""

    default: float
    most: float
    words: str
    source: str = "assumed"


FITTED = "calibrated to the evidence about an assumed prior"
SPREADS = {
    "productivity": Spread(0.16, 1.0, "renewal of food, standard deviation of its logarithm between ponds", FITTED),
    "growth": Spread(0.072, 0.5, "growth of each species, standard deviation of its logarithm", FITTED),
    "recruitment": Spread(0.72, 2.0, "young of each species and year, standard deviation of the logarithm", FITTED),
    "natural_mortality": Spread(0.21, 1.0, "background deaths of each species, standard deviation of the logarithm", FITTED),
    "stocking_survival": Spread(
        0.14, 1.0, "fish alive after a move without a truck told over those ordered, standard deviation of the logarithm", FITTED
    ),
    "truck": Spread(0.5, 1.5, "deaths of fish whose truck is told, standard deviation of the logarithm"),
    "angler_success": Spread(0.28, 1.0, "what anglers catch of a quota, standard deviation of the logarithm", FITTED),
    "weather_year": Spread(0.8, 5.0, "mean water temperature between years, standard deviation in °C"),
    "weather_day": Spread(1.5, 5.0, "water temperature between days, standard deviation in °C"),
    "weather_cloud": Spread(1.0, 2.0, "state of the sky between days, as a multiple of a spread that brings dark spells"),
    "weather_wind": Spread(0.5, 1.0, "wind between days, standard deviation of its logarithm"),
    "bloom_collapse": Spread(1.0, 5.0, "chance that a bloom collapses, as a multiple of that in `pondpop sources`"),
    "whole_fish": Spread(
        50.0, 1000.0, "fish of a group in a pond of up to 1 acre below which they live, spawn and are caught as whole fish"
    ),
    "parameters": Spread(
        1.0, 3.0, "uncertain parameters of the model, as a multiple of the spreads in `pondpop sources`", FITTED
    ),
}


class Stocking(NamedTuple):
    """Fish that are put in; or, if `resident`, fish that live there at the start, wary and paid for already.

    `strain` is one of `registry.STRAINS`, where it is not the species' own; `sexing_error`
    the chance that a fish taken for a female is a male. `number_cv` is the doubt about their number (standard
    deviation over mean), beyond losses in the move, in which all fish of a species share; `share_cv` that about this group
    alone. `haul_hours`: they come by truck, in water of `from_water_c` (None: that of the pond), tempered before they are let go
    or not, in salted water or not.
    """

    name: str
    species: str
    date: dt.date
    per_ha: float
    length_mm: float
    length_cv: float | None = None
    weight_g: float | None = None
    age_years: float | None = None
    female_share: float | None = None
    resident: bool = False
    cost_each: float | None = None
    number_cv: float | None = None
    share_cv: float | None = None
    strain: str | None = None
    sexing_error: float | None = None
    haul_hours: float | None = None
    from_water_c: float | None = None
    tempered: bool | None = None
    salted: bool | None = None


class Arrival(NamedTuple):
    """Wild fish that come in uninvited: surely on `date`, or in each year with a `chance` on a `day` of the year."""

    name: str
    species: str
    per_ha: float
    length_mm: float
    date: dt.date | None = None
    day: MonthDay | None = None
    chance: float | None = None
    strain: str | None = None

    def dates(self, run: "Run") -> list[dt.date]:
        """The days of the run on which they can come."""
        if self.date is not None:
            return [self.date]
        month, day = self.day or (1, 1)
        every = (dt.date(year, month, day) for year in range(run.start.year, run.end.year + 1))
        return [date for date in every if run.start <= date < run.end]


class Condition(NamedTuple):
    """One sign of the last survey: a quantity below or above a limit (in %)."""

    quantity: str
    below: float | None = None
    above: float | None = None


class Trigger(NamedTuple):
    """When a reacting rule takes its first amount: `needs` "any" or "all" of the conditions hold at the last survey.

    `fish_sampled` is the number of stock-length fish the survey measures; None means that it sees the pond as it is.
    """

    conditions: tuple[Condition, ...]
    needs: Literal["any", "all"] = "any"
    fish_sampled: int | None = None


class Harvest(NamedTuple):
    """Fish of one length window taken every year, within a season.

    Exactly one of `kg_per_ha`, `per_ha` (both per calendar year) and `share` (of the fish in the window, per season) is
    given; `otherwise`, in the same unit, is taken while `when` does not hold.
    """

    name: str
    species: str
    length_mm: tuple[float, float]
    season: Season
    from_year: int
    to_year: int
    kg_per_ha: float | None = None
    per_ha: float | None = None
    share: float | None = None
    when: Trigger | None = None
    otherwise: float | None = None


class Removal(NamedTuple):
    """Fish that are taken out or die on one day; exactly one of `share`, `kg_per_ha` and `per_ha` is given."""

    name: str
    species: str
    date: dt.date
    length_mm: tuple[float, float]
    share: float | None = None
    kg_per_ha: float | None = None
    per_ha: float | None = None
    reason: Literal["removal", "die_off"] = "removal"
    cost: float | None = None


class Feeding(NamedTuple):
    """Pellets for bluegill."""

    name: str
    kg_per_ha_day: float
    season: Season
    from_year: int
    to_year: int


class Angling(NamedTuple):
    """Fishing for bass, all of them released; `death_after_release` is the share of them that dies."""

    name: str
    hours_per_ha: float
    season: Season
    death_after_release: float
    from_year: int
    to_year: int


class Fertilization(NamedTuple):
    """The fertility to which a pond tends between two days, both included; `cost` is that of a year of it."""

    name: str
    level: float
    first: dt.date
    last: dt.date
    cost: float | None = None


class Liming(NamedTuple):
    """Agricultural limestone spread on one day."""

    name: str
    date: dt.date
    tonnes_per_ha: float
    cost: float | None = None


class Plants(NamedTuple):
    """The share of the area that stands in plants on a day; between days straight lines."""

    name: str
    date: dt.date
    share: float
    cost: float | None = None


class Drawdown(NamedTuple):
    """Days, first and last included, on which the water covers only a share of the area."""

    name: str
    first: dt.date
    last: dt.date
    area_share: float
    cost: float | None = None


class GrassCarp(NamedTuple):
    """Sterile (triploid) grass carp put in to eat plants."""

    name: str
    date: dt.date
    per_ha: float
    cost: float | None = None


class Aeration(NamedTuple):
    """Aerators of one kind, with their power in the whole pond.

    They run in some hours of the day (from and to, 24-hour clock, past midnight if need be), or while the water at night has
    less oxygen than `when_below_mg_l`.
    """

    name: str
    kind: str
    kilowatts: float
    season: Season
    from_year: int
    to_year: int
    hours: tuple[float, float] | None = None
    when_below_mg_l: float | None = None


class LocalKnowledge(NamedTuple):
    """What is known of this pond or strain and not of ponds in general."""

    species: str
    process: Literal["growth", "survival", "spawning"]
    multiplier: float
    reason: str


class Spell(NamedTuple):
    """Days, first and last included, on which the water is at most, or at least, so warm; one of the two is given."""

    name: str
    first: dt.date
    last: dt.date
    at_most_c: float | None = None
    at_least_c: float | None = None


class FertilityLoss(NamedTuple):
    """Days, first and last included, in which a pond lacks a share of its fertility; afterwards it comes back as a response."""

    name: str
    first: dt.date
    last: dt.date
    share: float


class Temperature(NamedTuple):
    """Daily mean water temperature: twelve monthly means, January first, or dated readings; and spells within the run."""

    kind: Literal["monthly", "readings"]
    origin: str
    monthly_c: tuple[float, ...] | None = None
    readings: tuple[tuple[dt.date, float], ...] | None = None
    spells: tuple[Spell, ...] = ()


class Pond(NamedTuple):
    """`cover` is relative to an ordinary pond (1); alkalinity in mg/l as CaCO3, None where it is not short.
    `mean_depth_m` None is that of `ASSUMED_DEPTH_M`.

    Without `oxygen_risk` the water is always rich in oxygen.
    """

    area_ha: float
    cover: float
    temperature: Temperature
    fertility_losses: tuple[FertilityLoss, ...] = ()
    mean_depth_m: float | None = None
    oxygen_risk: bool = True
    alkalinity_mg_l: float | None = None

    @property
    def depth_m(self) -> float:
        """Mean depth, as given or assumed."""
        return ASSUMED_DEPTH_M if self.mean_depth_m is None else self.mean_depth_m


class Run(NamedTuple):
    """From `start` for whole years; the end is exclusive. Surveys are read before that day's events."""

    start: dt.date
    years: int
    survey_dates: tuple[dt.date, ...]

    @property
    def end(self) -> dt.date:
        return years_after(self.start, self.years)

    @property
    def last_year(self) -> int:
        """The number of the last calendar year that the run touches."""
        return (self.end - dt.timedelta(days=1)).year - self.start.year + 1


class Strategy(NamedTuple):
    """What is done; `fertility` is the renewal of food relative to a fertilised pond (1), at the start and where no rule
    of fertilization holds."""

    name: str
    title: str
    fertility: float
    stocking: tuple[Stocking, ...] = ()
    harvest: tuple[Harvest, ...] = ()
    removals: tuple[Removal, ...] = ()
    feeding: tuple[Feeding, ...] = ()
    angling: tuple[Angling, ...] = ()
    fertilization: tuple[Fertilization, ...] = ()
    liming: tuple[Liming, ...] = ()
    plants: tuple[Plants, ...] = ()
    drawdown: tuple[Drawdown, ...] = ()
    grass_carp: tuple[GrassCarp, ...] = ()
    aeration: tuple[Aeration, ...] = ()
    arrivals: tuple[Arrival, ...] = ()

    @property
    def species(self) -> tuple[str, ...]:
        """The species that are put into the pond, live there at the start or may come in, in the order of `registry.SPECIES`."""
        here = {event.species for event in self.stocking} | {event.species for event in self.arrivals}
        return tuple(name for name in TRAITS if name in here)


BY_AMOUNT = ("stocking", "harvest", "removals", "feeding", "angling", "liming", "grass_carp")
"""Fields of a strategy that hold what is done by an amount."""

_AMOUNTS = ("per_ha", "kg_per_ha", "share", "otherwise", "kg_per_ha_day", "hours_per_ha", "tonnes_per_ha")


def is_nothing(event: NamedTuple) -> bool:
    """Whether an event or rule of `BY_AMOUNT` states an amount of 0 only, so that nothing comes of it."""
    return not any(getattr(event, name, None) for name in _AMOUNTS)


class WhatIf(NamedTuple):
    """What may befall the pond under any strategy, and is never chosen."""

    name: str
    title: str
    spells: tuple[Spell, ...] = ()
    die_offs: tuple[Removal, ...] = ()
    fertility_losses: tuple[FertilityLoss, ...] = ()
    droughts: tuple[Drawdown, ...] = ()
    plants: tuple[Plants, ...] = ()
    arrivals: tuple[Arrival, ...] = ()


class Ensemble(NamedTuple):
    """`spreads` holds a number for every source of doubt in `SPREADS`; 0 switches one off."""

    members: int
    seed: int
    spreads: dict[str, float]


class Goal(NamedTuple):
    """What the owner wants, with its weight among the goals; `by_year` None means at the end of the run.

    `matters` is the smallest difference that matters to the owner, None that of `MATTERS`: PSD points for the ranges,
    kg/ha for weight harvested, fish in the pond for bass above a weight, money for cost.
    """

    kind: str
    weight: float = 1.0
    by_year: int | None = None
    above_g: float | None = None
    matters: float | None = None

    @property
    def smallest(self) -> float:
        """The smallest difference that matters, as given or by default."""
        return MATTERS[self.kind] if self.matters is None else self.matters


class Costs(NamedTuple):
    """Prices, where they are known: per fish of a species, kg of pellets, hour of fishing."""

    per_fish: dict[str, float]
    per_kg_feed: float | None = None
    per_hour: float | None = None
    per_kwh: float | None = None
    currency: str = "USD"


class Scenario(NamedTuple):
    title: str
    pond: Pond
    run: Run
    strategies: dict[str, Strategy]
    ensemble: Ensemble
    local_knowledge: tuple[LocalKnowledge, ...] = ()
    goals: tuple[Goal, ...] = ()
    costs: Costs | None = None
    consultant: str | None = None
    note: str | None = None
    units: Literal["us", "metric"] = "us"
    source_file: str | None = None
    what_if: tuple[WhatIf, ...] = ()


def years_after(start: dt.date, years: int) -> dt.date:
    """The same day some years later; 29 February becomes 1 March where there is none."""
    try:
        return start.replace(year=start.year + years)
    except ValueError:
        return dt.date(start.year + years, 3, 1)
