"""The state of a block of ponds: the only place where the shapes of the state's arrays are declared.

`State` is what a day changes; `Pond` is the state with what its rates are made of, and what can be read off it without
changing it.

A *group* is fish of one species, one origin (a stocking event or a spawning pulse) and one growth type. Each member has its own
groups, in order of birth or stocking, in the columns of the species; columns stand species by species in the order of
`registry.SPECIES`, those of predators first. Now and then each member's groups close up, so that a column may hold other
groups in other members; where a member has no more groups, its columns are empty. On the axis of kinds stand the species
that the pond has (`community`).
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pondpop.arrays import Array
from pondpop.model import lengths
from pondpop.model.body import log_standard_weight
from pondpop.model.community import BENTHOS, PLANKTON, Community, community
from pondpop.model.inputs import Inputs
from pondpop.species import SPECIES, Parameters
from pondpop.units import DAYS_PER_YEAR, G_PER_KG

if TYPE_CHECKING:
    from pondpop.model.feeding import Meals
    from pondpop.model.forcing import DayFactors, Today
    from pondpop.model.hauling import Haul
    from pondpop.model.predation import Hunters, PredationTables
    from pondpop.model.strains import Strains

ALL = slice(None)


@dataclass
class Columns:
    """What never changes about the groups: [member, group], but one species for each column.

    All members may share one row.
    """

    species: NDArray[np.intp]  # [group]
    growth_z: Array  # place of the growth type in the spread of growth, in standard deviations
    sex: Array  # +1 female, −1 male, 0 both together
    female_share: Array  # share of females: 1, 0, or that of an unsexed group
    born: Array  # day of the run at which age was 0
    stocked: Array  # day of the run of stocking; −inf for fish born in the pond
    origin: NDArray[np.intp]  # index of the stocking event, −1 for fish born in the pond
    blood: Array  # share of blood of another strain than the species' own

    @classmethod
    def none(cls, members: int) -> Columns:
        real, integer = np.empty((members, 0)), np.empty((members, 0), np.intp)
        return cls(np.empty(0, np.intp), real, real.copy(), real.copy(), real.copy(), real.copy(), integer, real.copy())

    def __len__(self) -> int:
        return self.species.size


@dataclass
class State:
    """One block of members: groups [member, group], food [food, member], spawning counters [member, …]."""

    columns: Columns
    number: Array  # fish/ha
    log_weight: Array  # natural log of mean weight in g
    log_length: Array  # mean of the natural log of structural length in mm; a fish never shrinks
    spread: Array  # standard deviation of the natural log of length
    low: Array  # cuts of the spread of lengths, see `lengths`: no fish below, and
    high: Array  # none above, in standard deviations
    grown: Array  # log length that the fish have gained since they came into the pond
    ration: Array  # running mean of the share of maximum intake that was eaten
    food: Array  # kg/ha [food, member], in the order of the community's
    spawn_gathered: Array  # [member, counter]: spawning done this year by kinds, and by strains behind them; and
    spawn_released: Array  # [member, counter]: that part of it which pulses have used
    wariness: Array  # [member, species]: recent catches per catchable fish
    oxygen: Array  # [member]: of the water at dusk, mg/L,
    bloom: Array  # the bloom relative to its ordinary state,
    lately: Array  # oxygen that it made of late, g/m² a day, and
    waste: Array  # what feed and dead plankton will still take, g/m²
    uncut: bool = True  # whether no group was ever cut

    @classmethod
    def empty(cls, members: int, food: Array, counters: int) -> State:
        """A pond without fish and with its food, kg/ha [food, member or 1], with so many counters of spawning."""

        def groups() -> Array:
            return np.empty((members, 0))

        return cls(
            columns=Columns.none(members),
            number=groups(),
            log_weight=groups(),
            log_length=groups(),
            spread=groups(),
            low=groups(),
            high=groups(),
            grown=groups(),
            ration=groups(),
            food=np.broadcast_to(food, (food.shape[0], members)).astype(float),
            spawn_gathered=np.zeros((members, counters)),
            spawn_released=np.zeros((members, counters)),
            wariness=np.zeros((members, len(SPECIES))),
            oxygen=np.full(members, 8.0),
            bloom=np.ones(members),
            lately=np.full(members, 4.0),
            waste=np.zeros(members),
        )

    @property
    def members(self) -> int:
        return self.food.shape[1]

    @property
    def plankton(self) -> Array:
        return self.food[PLANKTON]

    @property
    def benthos(self) -> Array:
        return self.food[BENTHOS]

    def species_slices(self) -> tuple[slice, ...]:
        """The columns of each species, in the order of `SPECIES`."""
        return _runs(self.columns.species, len(SPECIES))

    def weight(self) -> Array:
        """Mean weight of each group, g [member, group]."""
        return np.exp(self.log_weight)

    def kilograms(self, fish: Array, groups: slice = ALL) -> Array:
        """What some fish/ha of some groups weigh, kg/ha, both [member, those groups]."""
        return np.asarray(fish * np.exp(self.log_weight[:, groups]) / G_PER_KG)

    def biomass(self, groups: slice = ALL) -> Array:
        """Biomass of some groups, of each one by default, kg/ha [member, those groups]."""
        return self.kilograms(self.number[:, groups], groups)

    def add(
        self, columns: Columns, number: Array, log_weight: Array, log_length: Array, spread: Array, ration: Array
    ) -> None:
        """Add groups of one species with uncut lengths; they go behind the others of it."""
        before = int(np.searchsorted(self.columns.species, columns.species[0], side="right"))
        behind = before + len(columns)

        def joined(old: NDArray[Any], new: NDArray[Any]) -> NDArray[Any]:
            both = np.empty((self.members, old.shape[1] + len(columns)), old.dtype)
            both[:, :before], both[:, before:behind], both[:, behind:] = old[:, :before], new, old[:, before:]
            return both

        uncut = np.full((1, 1), lengths.UNCUT)
        new_groups = (number, log_weight, log_length, spread, -uncut, uncut, 0.0 * uncut, ration)
        for name, new in zip(_VARIABLES, new_groups, strict=True):
            setattr(self, name, joined(getattr(self, name), new))
        constants = (joined(getattr(self.columns, name), getattr(columns, name)) for name in _CONSTANTS)
        self.columns = Columns(np.insert(self.columns.species, before, columns.species), *constants)

    def join(self, alike: NDArray[np.intp]) -> bool:
        """Put groups of one label [member, group] into the first of them; those with a label below 0 stay as they are.

        True if any join. Number, biomass, mean and variance of log length, mean birthday, blood and growth are kept.
        """
        labels, first, inverse, count = np.unique(alike, return_index=True, return_inverse=True, return_counts=True)
        joins = (count > 1) & (labels >= 0)
        if not joins.any():
            return False
        inverse = inverse.reshape(alike.shape)
        joining = joins[inverse]
        of, into = inverse[joining], first[joins]

        def sums(amount: Array) -> Array:
            in_group_order = np.bincount(of, weights=amount, minlength=labels.size)
            return in_group_order[joins].astype(float, copy=False)

        number, weight = self.number[joining], self.weight()[joining]
        mean = self.log_length[joining]
        all_fish, biomass = sums(number), sums(number * weight)
        log_length = sums(number * mean) / all_fish
        apart = mean - _spread_out(log_length, joins)[of]
        whole = {
            "number": all_fish,
            "log_weight": np.log(biomass / all_fish),
            "log_length": log_length,
            "spread": np.sqrt(sums(number * (self.spread[joining] ** 2 + apart**2)) / all_fish),
            "grown": sums(number * self.grown[joining]) / all_fish,
            "ration": sums(number * weight * self.ration[joining]) / biomass,
        }
        self.number[joining] = 0.0
        for name, values in whole.items():
            getattr(self, name).reshape(-1)[into] = values
        for name in ("born", "blood"):
            own = np.broadcast_to(getattr(self.columns, name), alike.shape).copy()
            own.reshape(-1)[into] = sums(number * own[joining]) / all_fish
            setattr(self.columns, name, own)
        return True

    def close_up(self) -> bool:
        """Move each member's groups to the first columns of their species, in their order; True if any column goes."""
        alive, order = self.number > 0.0, []
        if not len(self.columns):
            return False
        for groups in self.species_slices():
            inside = alive[:, groups]
            first = np.argsort(~inside, axis=1, kind="stable")
            order.append(groups.start + first[:, : int(inside.sum(axis=1).max())])
        index = np.concatenate(order, axis=1)
        if index.shape[1] == len(self.columns):
            return False
        index += len(self.columns) * np.arange(self.members)[:, None]
        for name in _VARIABLES:
            setattr(self, name, getattr(self, name).take(index))
        constants = (getattr(self.columns, name).take(index) for name in _CONSTANTS)
        self.columns = Columns(np.repeat(np.arange(len(SPECIES)), [part.shape[1] for part in order]), *constants)
        return True


def _spread_out(values: Array, where: NDArray[np.bool_]) -> Array:
    """Values at some places, nothing at the others."""
    out = np.zeros(where.size)
    out[where] = values
    return out


_VARIABLES = ("number", "log_weight", "log_length", "spread", "low", "high", "grown", "ration")
_CONSTANTS = tuple(f.name for f in fields(Columns) if f.name != "species")


def _runs(places: NDArray[np.intp], count: int) -> tuple[slice, ...]:
    """Where each place from 0 to count − 1 stands among places in rising order."""
    ends = np.searchsorted(places, np.arange(count + 1))
    return tuple(slice(int(a), int(b)) for a, b in pairwise(ends))


class KindFactors:
    """What of `GroupFactors` depends on the kind alone, made once."""

    def __init__(self, p: Parameters) -> None:
        kept = (1.0 - p.egested_share) * (1.0 - p.excreted_share - p.digestion_cost_share)
        of_kind = {
            "growth_spread": p.growth_spread,
            "search_growth_exponent": np.nan_to_num(p.search_growth_exponent),
            "log_search_at_1_g": p.search_area_exponent * np.log(100.0) + np.log(p.search_area_at_100_g),
            "max_intake_exponent": p.max_intake_exponent,
            "respiration_exponent": p.respiration_exponent,
            "activity_per_g": np.nan_to_num(p.activity_per_kg) / G_PER_KG,
            "asymptotic_length_female_mm": p.asymptotic_length_female_mm,
            "asymptotic_length_male_mm": p.asymptotic_length_male_mm,
            "asymptotic_length_spread": p.asymptotic_length_spread,
            "growth_coefficient_female_per_year": p.growth_coefficient_female_per_year,
            "growth_coefficient_male_per_year": p.growth_coefficient_male_per_year,
            "cold_deaths_exponent": np.nan_to_num(p.cold_deaths_size_exponent),
            "background_deaths_exponent": p.background_deaths_exponent[:, None] + np.nan_to_num(p.background_deaths_size_gain),
            "growth_per_energy_eaten": kept / p.body_energy_j_per_g,
            "foraging_size_offset_g": np.nan_to_num(p.foraging_size_offset_g),
            "log_foraging_size_reference": np.log(np.nan_to_num(p.foraging_size_reference_g, nan=1.0)),
            "foraging_size_exponent": np.nan_to_num(p.foraging_size_exponent),
            "ws_intercept": p.standard_weight_intercept * np.log(10.0),
            "ws_slope": p.standard_weight_slope,
            "isometric_below": np.log(np.nan_to_num(p.isometric_below_mm, nan=1e-300)),
            "oldest_days": DAYS_PER_YEAR * p.oldest_age_years,
        }
        self.several: list[tuple[list[str], Array]] = []  # those of as many members: their names and [name, m, kind]
        for members in {values.shape[0] for values in of_kind.values()}:
            names = [name for name, values in of_kind.items() if values.shape[0] == members]
            self.several.append((names, np.stack([of_kind[name] for name in names])))

    def spread(self, kind: NDArray[np.intp]) -> dict[str, Array]:
        """Each by name, over columns of these kinds [m, group]."""
        return {name: own for names, of_kind in self.several for name, own in zip(names, of_kind.take(kind, axis=2), strict=True)}


class GroupFactors:
    """Parameters spread over the columns of fish, known until columns change: [member, group] or [1, group]."""

    def __init__(self, p: Parameters, kinds: KindFactors, columns: Columns) -> None:
        own = kinds.spread(np.searchsorted(community(p.kinds).species, columns.species))
        growth_type = own["growth_spread"] * p.growth_type_z[:, None] * columns.growth_z
        self.log_growth = growth_type
        self.log_search_at_1_g = own["search_growth_exponent"] * growth_type + own["log_search_at_1_g"]
        self.max_intake_exponent = own["max_intake_exponent"]
        self.respiration_exponent = own["respiration_exponent"]
        self.activity_per_g = own["activity_per_g"]
        female = columns.sex > 0.0
        longest = np.where(female, own["asymptotic_length_female_mm"], own["asymptotic_length_male_mm"])
        apart = own["asymptotic_length_spread"] * p.growth_type_z[:, None] * columns.growth_z
        self.log_asymptotic_length = np.log(longest) + apart
        coefficient = own["growth_coefficient_female_per_year"], own["growth_coefficient_male_per_year"]
        self.growth_coefficient = np.where(female, *coefficient) / DAYS_PER_YEAR  # per day
        self.cold_deaths_exponent = own["cold_deaths_exponent"]
        self.background_deaths_exponent = own["background_deaths_exponent"]
        self.growth_per_energy_eaten = own["growth_per_energy_eaten"]
        self.foraging_size_offset_g = own["foraging_size_offset_g"]
        self.log_foraging_size_reference = own["log_foraging_size_reference"]
        self.foraging_size_exponent = own["foraging_size_exponent"]
        self.ws_intercept = own["ws_intercept"]
        self.ws_slope = own["ws_slope"]
        self.length_per_weight = 1.0 / self.ws_slope  # growth in log length per growth in log weight
        self.isometric_below = own["isometric_below"]
        self.age_tells_from = columns.born + p.old_age_from_share[:, None] * own["oldest_days"]  # day of the run
        self.first_day_of_old_age_of = self.age_tells_from.min(axis=0)  # [group]
        self.first_day_of_old_age = float(np.min(self.first_day_of_old_age_of, initial=np.inf))
        self.old_age_ramp_days = p.old_age_ramp_share[:, None] * own["oldest_days"]


class SpreadFactors:
    """What follows from the spread of lengths within groups, known until that changes: [member, group]."""

    def __init__(self, spread: Array, ws_slope: Array) -> None:
        variance = spread * spread
        self.longer_of_weight = variance * ws_slope  # mean log length of the weight less that of the fish
        self.log_uplift = lengths.log_uplift(spread, ws_slope)
        self.most_moved = lengths.MOST_MOVED * spread
        self.least_moved = -self.most_moved
        self.variance_less = -variance


class Pond:
    """A block of members: their state, and what its rates are made of. Only `day.Engine` changes it.

    Arrays are [member, group] unless said.
    """

    inputs: Inputs
    parameters: Parameters  # of the kinds of the community
    of_species: dict[tuple[str, int], Array]  # those of one species that were asked for (`of`)
    community: Community
    day: int  # of the run; what has happened is up to its start
    state: State
    by_day: DayFactors
    today: Today
    group: GroupFactors
    spreads: SpreadFactors
    tables: PredationTables
    meals: Meals  # which kind eats which food
    food_capacity: Array  # kg/ha [food, member or 1]
    slices: tuple[slice, ...]  # the columns of each species
    columns_of_kind: NDArray[np.intp]
    strains: tuple[Strains, ...]  # of species of which there are others than the own
    hauls: tuple[Haul, ...]  # of the stockings of which a truck is told
    hunters: slice  # the columns of all predators, and
    living_hunters: Hunters  # those of them that hold fish
    first_points: NDArray[np.intp]  # [member, group]: see `grid.first_points`
    last_stocked_of: Array  # [group], day
    last_stocked: float
    thin_below: Array  # log condition below which fish starve [m or 1, 1]
    wary_from_day: float  # days after stocking from which a hatchery fish is as wary as a wild one
    leaving_cover: Array  # [member, kind * prey length], per day, see `predation.leaving_cover`
    fertility: Array  # [member], of the day
    share_of_large: dict[int, Array]  # of the kinds that live on the large animals of the bottom, see `feeding.share_of_large`
    area_share: float  # share of the area under water, of the day
    richness_of_day: Array  # [food, member], renewal of food relative to fertility 1, and
    richness: Array  # [food, member], the same of late, with what uneaten pellets add
    algae_of_day: Array  # [member], renewal of algae, which may be nobody's food, relative to fertility 1, and
    algae_richness: Array  # [member], the same of late
    fish_kg_per_ha: Array  # [member], at the start of the last step
    rule_holds: list[NDArray[np.bool_]]  # of each harvest rule [member]
    group_keys: NDArray[np.uint64]  # [member or 1, group], see `whole_fish.keys`; none where there is no such luck

    @property
    def water_c(self) -> Array:
        """Water temperature [member or 1, day], °C."""
        return self.by_day.water_c

    def of_groups(self, of_kind: Array) -> Array:
        """Values of [member, kind] at each group [member, group]."""
        return of_kind.repeat(self.columns_of_kind, axis=1)

    def of_groups_of(self, species: int, of_kind: Array) -> Array:
        """Values of [member, kind] at the groups of a species, to stand against [member, group of the species]."""
        return of_kind[:, self.community.of_species[species]]

    def of(self, parameter: str, species: int) -> Array:
        """A parameter of the kinds of a species, to stand against [member, group of the species]."""
        known = self.of_species.get((parameter, species))
        if known is None:
            known = self.of_species[parameter, species] = self.of_groups_of(species, getattr(self.parameters, parameter))
        return known

    def of_hunters(self, parameter: str) -> Array:
        """A parameter of the kinds of predators, to stand against [member, predator group]."""
        of_kind: Array = getattr(self.parameters, parameter)
        kinds = self.community.predators
        return of_kind[:, :1] if kinds == 1 else of_kind[:, :kinds].repeat(self.columns_of_kind[:kinds], axis=1)

    def log_standard_weight(self, log_length: Array, groups: slice = ALL) -> Array:
        """Natural log of the standard weight in g of some groups, had they these lengths."""
        g = self.group
        return log_standard_weight(
            log_length, g.ws_intercept[:, groups], g.ws_slope[:, groups], g.isometric_below[:, groups]
        )

    def log_condition(self) -> Array:
        """Natural log of weight over standard weight, the same for all fish of a group."""
        condition = self.log_standard_weight(self.state.log_length)
        condition += self.spreads.log_uplift
        return np.subtract(self.state.log_weight, condition, out=condition)

    def log_length_of_weight(self) -> Array:
        """Mean log length of each group's weight: that of its fish, the heavier counting more [member, group]."""
        return self.spreads.longer_of_weight + self.state.log_length

    def longer(self, groups: slice, threshold_mm: float | Array) -> Array:
        """Share of the fish of some groups that are longer than a threshold, [member or 1, group or 1] or one for all."""
        return lengths.share_longer(self.lengths(groups), np.log(threshold_mm))

    def weight_longer(self, groups: slice, threshold_mm: float | Array) -> Array:
        """Share of the weight of some groups that is in fish longer than a threshold [member, group]."""
        slope = self.group.ws_slope[:, groups]
        return lengths.share_longer(self.lengths(groups), np.log(threshold_mm), slope)

    def lengths(self, groups: slice | NDArray[np.intp] = ALL) -> lengths.Shape:
        """How the lengths of some groups are spread."""
        s = self.state
        if s.uncut:
            return lengths.Shape(s.log_length[:, groups], s.spread[:, groups], *lengths.NO_CUTS)
        return lengths.shape(s.log_length[:, groups], s.spread[:, groups], s.low[:, groups], s.high[:, groups])


def of_foods(p: Parameters, quantity: str) -> Array:
    """A parameter that each food of the kinds has one of, such as `capacity_kg_per_ha` [food, member or 1]."""
    return np.stack(np.broadcast_arrays(*(getattr(p, f"{food}_{quantity}") for food in community(p.kinds).foods)))
