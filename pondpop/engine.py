"""The order of a day, and the only place that changes the state.

`Engine.step` reads as the list of what happens in a day. Every rate uses the state at the start of the step; what is
eaten is scaled to what died and to what the pond's food gave, so that the books of fish, biomass and energy close.
Arrays are [member, group] unless said; see `state` for the shapes and `inputs` for what comes in.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pondpop import energetics, feeding, life, management, reacting, water
from pondpop.energetics import logistic, share_longer
from pondpop.feeding import BENTHOS, PLANKTON, GridPlace
from pondpop.inputs import Inputs, StockingInput
from pondpop.species import BASS, BLUEGILL, MINNOW, SHAD, SPECIES, Parameters
from pondpop.state import Columns, State

Array = NDArray[np.float64]
PREY = (*SPECIES, "plankton", "benthos", "pellets")
STOCK_LENGTH_MM = 8 * 25.4  # bass of stock length count as catchable by anglers
DAYS_BETWEEN_TIDYING = 32  # columns without fish cost time but change nothing
Rates = dict[
    str, tuple[slice, Array]
]  # deaths per fish and day by cause: the groups it acts on, and [member, those groups]
CAUSES = (
    "predation",
    "background",
    "starvation",
    "old_age",
    "cold",
    "harvest",
    "release",
    "removal",
    "die_off",
    "too_few",
)


@dataclass
class Flows:
    """What a step moved, per ha, summed until the reader of the run sets it back to zero."""

    eaten_by_bass: Array  # [member, prey] kg
    harvest_number: Array  # [member, species] fish
    harvest_biomass: Array  # [member, species] kg
    removed_number: Array  # [member, species] fish
    removed_biomass: Array  # [member, species] kg
    release_deaths: Array  # [member] bass
    pellets_given: Array  # [member] kg
    pellets_eaten: Array  # [member] kg

    @classmethod
    def zero(cls, members: int) -> Flows:
        kinds = len(SPECIES)
        return cls(
            np.zeros((members, len(PREY))),
            *(np.zeros((members, kinds)) for _ in range(4)),
            *(np.zeros(members) for _ in range(3)),
        )


class Hunt(NamedTuple):
    """How bass and their prey met in a step."""

    at_length: GridPlace  # where the bass stand on a grid of lengths
    naive: Array | None  # [member, group], ease of catching relative to a wary fish; None where all are wary
    out_of_cover: Array  # [member, species * length], share of the prey that bass can find
    fish_met: Array  # [member, bass group], as multiples of what half satisfies
    hunting: Array  # [member, bass group], area searched while not handling food, ha per day and kg
    taken: Array  # [member, species * length], predation of wary prey per day
    predation: Array  # [member, group], predation per day


@dataclass(frozen=True)
class Books:
    """The accounts of one step, group by group, for checking that they close."""

    columns: Columns
    number: Array  # fish/ha before
    weight: Array  # g before
    rates: dict[str, Array]  # deaths per fish and day by cause
    alive: Array  # mean share alive over the step
    length: float  # days
    ate_fish: Array  # g per g and day, [member, bass group]
    ate_food: Array  # g per g and day [food, member, group]
    ate_pellets: Array  # g per g and day, [member, bluegill group]
    growth: Array  # per day, in log weight
    refused: Array  # growth per day beyond the daily limits
    food: Array  # kg/ha [member, food] before: plankton and benthos
    food_after: Array


class _GroupParameters:
    """Parameters and constants spread over the columns, remade only when columns come or go and when the year turns.

    growth and background_luck are [member, species].
    """

    def __init__(self, p: Parameters, columns: Columns, growth: Array, background_luck: Array) -> None:
        kind = columns.species

        def spread(of_species: Array) -> Array:
            return of_species.take(kind, axis=1)

        of_sex = spread(np.nan_to_num(p.sex_growth_difference)) * columns.sex
        growth_type = spread(p.growth_spread) * p.growth_type_z[:, None] * columns.growth_z + of_sex
        self.log_growth = growth_type
        self.log_search_of_type = spread(np.nan_to_num(p.search_growth_exponent)) * growth_type
        self.log_max_intake = spread(np.log(p.max_intake_at_1_g * growth)) + growth_type
        self.max_intake_exponent = spread(p.max_intake_exponent)
        activity = p.activity_multiplier * p.oxygen_energy_j_per_g[:, None]
        self.log_respiration = spread(np.log(p.respiration_at_1_g * activity))
        self.respiration_exponent = spread(p.respiration_exponent)
        per_kg = np.where(columns.sex > 0.0, spread(p.activity_per_kg_female), spread(p.activity_per_kg_male))
        self.activity_per_g = np.where(kind == BASS, per_kg, 0.0) / 1000.0
        self.kept_share = spread((1.0 - p.egested_share) * (1.0 - p.excreted_share - p.digestion_cost_share))
        self.body_energy = spread(p.body_energy_j_per_g)
        self.ws_intercept = spread(p.standard_weight_intercept * np.log(10.0))
        self.ws_slope = spread(p.standard_weight_slope)
        self.isometric_below = spread(np.log(np.nan_to_num(p.isometric_below_mm, nan=1e-300)))
        background = p.background_deaths_multiplier * p.background_deaths_at_1_g_per_year[:, None] / 365.0
        self.log_background = spread(np.log(background * background_luck))
        oldest_days = spread(365.0 * p.oldest_age_years)
        self.age_tells_from = columns.born + p.old_age_from_share[:, None] * oldest_days  # day of the run
        self.old_age_ramp_days = p.old_age_ramp_share[:, None] * oldest_days


class Engine:
    """A block of members of one strategy, stepped day by day.

    Raises RunError when a state stops being finite, which no valid input should reach.
    """

    def __init__(self, inputs: Inputs, keep_books: bool = False) -> None:
        p = inputs.parameters
        self.inputs = inputs
        self.parameters = p
        self.day = 0
        self.books: list[Books] | None = [] if keep_books else None
        self.tables = feeding.feeding_tables(p, inputs.cover)
        self.water_c = np.maximum(inputs.water_c + inputs.luck.water_c, water.COLDEST_LIQUID_C)
        self._daily_factors()
        self.state = State.empty(inputs.members, p.plankton_capacity_kg_per_ha, p.benthos_capacity_kg_per_ha)
        self.flows = Flows.zero(inputs.members)
        self.growth = inputs.luck.growth * inputs.local_growth
        self.angled = bool(inputs.angling_hours_per_ha.any())
        self.rule_holds = [np.zeros(inputs.members, dtype=bool) for _ in inputs.fishing]
        self.surveys = 0
        self.columns_changed()

    def _daily_factors(self) -> None:
        """What temperature and light do, known for all days beforehand: arrays [day, member, species] or [day, member]."""
        p, inputs = self.parameters, self.inputs
        water_c = np.ascontiguousarray(self.water_c.T)
        t = water_c[:, :, None]
        dome = energetics.temperature_dome(t, p.intake_dome_q, p.intake_optimum_c, p.intake_maximum_c)
        self.intake_factor = energetics.intake_temperature_factor(
            dome, t, p.feeding_stops_below_c, p.feeding_stop_width_c, p.intake_dome_floor[:, None]
        )
        search = np.maximum(p.search_dome_floor[:, None], dome) ** -p.search_cold_exponent[:, None]
        self.bass_search_factor = np.ascontiguousarray(self.intake_factor[:, :, BASS] * search[:, :, BASS])
        self.food_ease = search / p.resource_half_saturation_kg_per_ha
        respiration = np.empty_like(dome)
        for k in (BASS, SHAD):
            respiration[:, :, k] = np.exp(
                p.respiration_per_c[:, k] * np.minimum(water_c, p.respiration_flat_above_c[:, k])
            )
        for k in (BLUEGILL, MINNOW):
            respiration[:, :, k] = energetics.temperature_dome(
                water_c, p.respiration_dome_q[:, k], p.respiration_optimum_c[:, k], p.respiration_maximum_c[:, k]
            )
        cold = energetics.winter_cold(water_c, p.winter_rest_below_c, p.winter_rest_width_c)
        self.bass_resting = energetics.resting_share(cold, p.winter_rest_share[:, BASS])
        self.respiration_factor = respiration * (1.0 - p.winter_rest_share * cold[:, :, None])
        self.cold_deaths = life.cold_deaths(
            water_c, p.cold_deaths_per_day[:, SHAD], p.cold_deaths_below_c[:, SHAD], p.cold_deaths_width_c[:, SHAD]
        )
        renewal = np.stack(np.broadcast_arrays(p.plankton_renewal_per_day, p.benthos_renewal_per_day))
        self.renewal_per_day = renewal[:, None, :] * self._warmth_and_light(water_c)  # [food, day, member], if rich
        self.food_capacity = np.stack(np.broadcast_arrays(p.plankton_capacity_kg_per_ha, p.benthos_capacity_kg_per_ha))
        self.richness = np.ones(inputs.members)
        self.spawning = np.stack([self._spawning(k, water_c) for k in range(len(SPECIES))], axis=2)
        self.pulse_slot_days = [int(days) for days in p.pulse_slot_days[0]]
        self.wary_from_day = np.max(p.naive_days * (np.log(np.maximum(p.naive_ease, 1.0)) + 37.0))
        self.ration_memory = -np.expm1(-1.0 / (inputs.steps_per_day * p.ration_memory_days[:, None]))

    def columns_changed(self) -> None:
        """Remake what depends on which groups there are, and on the year."""
        s = self.state
        self.group = self._group_parameters(s.columns)
        self.slices = s.species_slices()
        isometric_below = self.parameters.isometric_below_mm
        self.isometric = [groups for k, groups in enumerate(self.slices) if not np.isnan(isometric_below[:, k]).all()]
        self.first_points = feeding.first_points(s.members, s.columns.species)
        self.first_of_bass = feeding.first_points_of(BASS, s.members)
        self.last_stocked = float(np.max(s.columns.stocked, initial=-np.inf))

    def _group_parameters(self, columns: Columns) -> _GroupParameters:
        inputs = self.inputs
        year = inputs.year[min(self.day, inputs.days - 1)]
        background_luck = inputs.luck.background_deaths[:, :, year] / inputs.local_survival
        return _GroupParameters(self.parameters, columns, self.growth, background_luck)

    # ------------------------------------------------------------------ a day

    def run_day(self) -> None:
        """All of one day, in order; afterwards `day` is the next day's number."""
        if self.inputs.year_day[self.day] == 0:
            self.columns_changed()  # the year's luck
        self.stock()
        self.remove()
        for _ in range(self.inputs.steps_per_day):
            self.step()
        self.spawn()
        self.forget_empty()
        self.day += 1

    def surveyed(self, number: Array, relative_weight: Array) -> None:
        """Let reacting harvest rules learn of a survey, [member, species, length_class]; it holds until the next one."""
        dealt = self.inputs.luck.survey
        uniforms = None if dealt is None else dealt[:, self.surveys]
        self.surveys += 1
        for k, rule in enumerate(self.inputs.fishing):
            if rule.when is not None:
                seen = reacting.signs(number, relative_weight, self.inputs.area_ha, rule.when.fish_sampled, uniforms)
                self.rule_holds[k] = reacting.holds(rule.when, seen)

    def stock(self) -> None:
        """Put in the fish that are stocked on this day."""
        for event in self.inputs.stockings:
            if event.day == self.day:
                self._stock(event)

    def remove(self) -> None:
        """Take out, or let die, what one-off events ask for on this day."""
        s = self.state
        for event in self.inputs.removals:
            if event.day != self.day:
                continue
            groups = self.slices[event.species]
            inside = self._window(groups, event.shortest_mm, event.longest_mm)
            kilograms = s.number[:, groups] * np.exp(s.log_weight[:, groups]) / 1000.0
            there = _total((kilograms if event.kind == "kg_per_ha" else s.number[:, groups]) * inside)
            share = management.share_of_window(event.kind, event.amount, there)[:, None] * inside
            if event.counts_as_removed:
                self.flows.removed_number[:, event.species] += _total(s.number[:, groups] * share)
                self.flows.removed_biomass[:, event.species] += _total(kilograms * share)
            s.number[:, groups] *= 1.0 - share

    def step(self) -> None:
        """Meeting, feeding, deaths, growth and the renewal of the pond's food, over one step."""
        s, length = self.state, 1.0 / self.inputs.steps_per_day
        bass, bluegill = self.slices[BASS], self.slices[BLUEGILL]
        weight = s.weight()
        biomass = s.number * weight
        biomass *= 1e-3
        place = feeding.place_on_grid(s.log_length, self.first_points)
        log_condition = s.log_weight - self.log_standard_weight()

        max_intake = self.max_intake()
        food_met = self._food_met(place, weight)
        all_met = food_met[PLANKTON] + food_met[BENTHOS]
        hunt = self._hunt(place, biomass, max_intake, all_met)
        rates = self._death_rates(log_condition, hunt.predation)
        deaths = _sum_of(rates) * length
        left = life.share_left(deaths)
        alive = life.mean_share_alive(left)

        all_met[:, bass] += hunt.fish_met
        all_met += 1.0
        hunger = 1.0 / all_met
        pellets = self._pellets(max_intake, biomass, hunger)
        self.richness = self._richness(pellets, biomass)
        ate_food, food_after, food_of_bass = self._eat_food(max_intake, biomass, food_met, hunger, pellets, length)
        ate_fish, fish_eaten = self._eat_fish(place, hunt, biomass * alive)

        free_growth = self._free_growth(weight, ate_food, ate_fish, pellets)
        growth = self._within_limits(free_growth)
        self._tally(rates, alive, weight, biomass, food_of_bass, fish_eaten, pellets, length)
        if self.books is not None:
            shape = s.number.shape
            self.books.append(
                Books(
                    columns=s.columns,
                    number=s.number.copy(),
                    weight=weight,
                    rates={cause: _whole(groups, rate, shape) for cause, (groups, rate) in rates.items()},
                    alive=alive,
                    length=length,
                    ate_fish=ate_fish,
                    ate_food=ate_food,
                    ate_pellets=np.zeros_like(weight[:, bluegill]) if pellets is None else pellets,
                    growth=growth,
                    refused=free_growth - growth,
                    food=s.food.T.copy(),
                    food_after=food_after.T,
                )
            )

        ration = ate_food[PLANKTON] + ate_food[BENTHOS]
        ration[:, bass] += ate_fish
        if pellets is not None:
            ration[:, bluegill] += pellets
        ration /= max_intake
        ration -= s.ration
        ration *= self.ration_memory
        if self.angled:
            s.wariness = self._wariness_after(length)
        s.ration += ration
        gain = growth * length
        s.log_length += self._lengthening(gain, log_condition)
        s.log_weight += gain
        s.number *= left
        s.food = food_after

    # ------------------------------------------------------------------ meeting and eating

    def max_intake(self) -> Array:
        """Maximum intake of each group in this water, g per g and day."""
        g = self.group
        intake = g.max_intake_exponent * self.state.log_weight
        intake += g.log_max_intake
        np.exp(intake, out=intake)
        intake *= self.intake_factor[self.day][:, self.state.columns.species]
        return intake

    def _food_met(self, place: GridPlace, weight: Array) -> Array:
        """Plankton and benthos met, as multiples of what half satisfies: [food, member, group]."""
        p, s, bluegill = self.parameters, self.state, self.slices[BLUEGILL]
        ease = s.food[:, :, None] * self.food_ease[self.day]
        field = self.tables.food_use * ease[:, :, :, None]
        met = feeding.read(place, field.reshape(2, s.members, -1))
        size = (weight[:, bluegill] + _of(p.foraging_size_offset_g, BLUEGILL)) / _of(
            p.foraging_size_reference_g, BLUEGILL
        )
        met[:, :, bluegill] *= np.exp(
            np.log(size) * -_of(p.foraging_size_exponent, BLUEGILL)
        )  # small ones forage better
        return met

    def _hunt(self, place: GridPlace, biomass: Array, max_intake: Array, other_food_met: Array) -> Hunt:
        """Bass look for fish: first as if no prey hid, then for the prey that is out of cover.

        After the foraging arena of Walters & Juanes 1993 (from memory): prey leave cover at a limited rate, so that
        bass compete for what is out.
        """
        bass, kernel = self.slices[BASS], self.tables.prey_size
        hunters, at_length = biomass[:, bass], place.of_species(bass, self.first_of_bass)
        if not hunters.shape[1]:
            nothing, nowhere = np.zeros_like(hunters), np.zeros((hunters.shape[0], place.points))
            return Hunt(at_length, None, nowhere, nothing, nothing, nowhere, np.zeros_like(biomass))
        naive, found = self._naive(), self._found(biomass)
        offered = feeding.lay(place, _times(biomass, naive))
        offered *= found
        search = self._search_area(at_length, hunters)
        per_intake, not_hungry = search / max_intake[:, bass], 1.0 + other_food_met[:, bass]

        def hunted_by(out_of_cover: Array) -> tuple[Array, Array, Array]:
            fish_met = feeding.read(at_length, feeding.prey_within_reach(out_of_cover, kernel))
            fish_met *= per_intake
            hunting = search / (not_hungry + fish_met)
            load = feeding.lay(at_length, hunters * hunting)
            return fish_met, hunting, feeding.search_upon_prey(load, kernel) * found

        _, _, hunted = hunted_by(offered)
        exposed = 1.0 / (1.0 + hunted / self.tables.leaving_cover)
        fish_met, hunting, hunted = hunted_by(offered * exposed)
        taken = exposed * hunted
        return Hunt(
            at_length=at_length,
            naive=naive,
            out_of_cover=exposed * found,
            fish_met=fish_met,
            hunting=hunting,
            taken=taken,
            predation=_times(feeding.read(place, taken), naive),
        )

    def _found(self, biomass: Array) -> Array:
        """Ease of finding and catching prey; few shad are hard to find [member, species * length]."""
        p, groups, ease = self.parameters, self.slices[SHAD], self.tables.capture_ease
        if groups.start == groups.stop:
            return ease
        shad = _total(biomass[:, groups]) ** 2
        found = np.empty((biomass.shape[0], ease.shape[1]))
        found[:] = ease
        of_shad = slice(SHAD * feeding.GRID_POINTS, (SHAD + 1) * feeding.GRID_POINTS)
        found[:, of_shad] *= (shad / (shad + p.exposure_half_saturation_kg_per_ha[:, SHAD] ** 2))[:, None]
        return found

    def _naive(self) -> Array | None:
        """How much more easily hatchery fish are caught in their first weeks; None once all are as wary as wild fish."""
        p = self.parameters
        if self.day - self.last_stocked > self.wary_from_day:
            return None
        return 1.0 + p.naive_ease[:, None] * np.exp((self.state.columns.stocked - self.day) / p.naive_days[:, None])

    def _search_area(self, at_length: GridPlace, biomass: Array) -> Array:
        """Area that bass search, ha per day and kg of bass [member, bass group].

        Nearly the same for a fish of any size; fast growers search more. Bass get into one another's way (interference
        after Beddington 1975 and DeAngelis et al. 1975, from memory), and the smaller gives way to the larger.
        """
        p, groups = self.parameters, self.slices[BASS]
        large = feeding.lay(at_length, biomass * self.longer(groups, p.interference_from_mm[:, BASS]))
        in_the_way = feeding.prey_within_reach(large, self.tables.gives_way)
        crowding = 1.0 + _of(p.interference_ha_per_kg, BASS) * in_the_way
        area = self.group.log_search_of_type[:, groups] - _of(p.search_area_exponent, BASS) * (
            self.state.log_weight[:, groups] - np.log(100.0)
        )
        np.exp(area, out=area)
        area *= feeding.read(
            at_length, (p.search_area_at_100_g[:, BASS] * self.bass_search_factor[self.day])[:, None] / crowding
        )
        return area

    def _pellets(self, max_intake: Array, biomass: Array, hunger: Array) -> Array | None:
        """Pellets that bluegill eat, g per g and day [member, bluegill group]; None where none are given."""
        p, groups = self.parameters, self.slices[BLUEGILL]
        given = self.inputs.pellets_kg_per_ha[self.day]
        if given == 0.0:
            return None
        warm = self.water_c[:, self.day] > p.pellets_above_c[:, BLUEGILL]
        ration = 1.0 - hunger[:, groups]
        room = np.maximum(0.0, _of(p.pellet_ration_target, BLUEGILL) - ration)
        appetite = _of(p.pellet_access, BLUEGILL) * room * max_intake[:, groups] * warm[:, None]
        appetite = appetite * self.longer(groups, p.pellets_from_mm[:, BLUEGILL])
        wanted = _total(appetite * biomass[:, groups])
        reached = given * (1.0 - p.pellet_waste_share)
        return appetite * np.minimum(1.0, reached / np.maximum(wanted, 1e-300))[:, None]

    def _eat_food(
        self, max_intake: Array, biomass: Array, food_met: Array, hunger: Array, pellets: Array | None, length: float
    ) -> tuple[Array, Array, Array]:
        """Plankton and benthos eaten, g per g and day, no more than the pond gave [food, member, group].

        Also what is left of them, and what bass ate of them in the step, both kg/ha [food, member].
        """
        p, s, bass, bluegill = self.parameters, self.state, self.slices[BASS], self.slices[BLUEGILL]
        appetite = max_intake * hunger
        if pellets is not None:
            displacement = _of(p.pellet_displacement, BLUEGILL) * pellets / max_intake[:, bluegill]
            appetite[:, bluegill] *= np.maximum(0.0, 1.0 - displacement)
        ate = food_met * appetite
        wish_of_bass, wished = _totals(ate * biomass, bass)
        renewed = self.renewal_per_day[:, self.day] * self.richness * length
        left = (s.food + renewed * self.food_capacity) / (1.0 + renewed + wished * length / s.food)
        left = np.maximum(left, p.resource_floor_kg_per_ha)
        given = left / s.food
        ate *= given[:, :, None]
        return ate, left, wish_of_bass * given * length

    def _warmth_and_light(self, water_c: Array) -> Array:
        """How fast the pond's food renews, relative to midsummer light and the reference temperature [day, member]."""
        p = self.parameters
        warmth = p.renewal_q10 ** ((water_c - p.renewal_reference_c) / 10.0)
        return np.asarray(warmth * water.light(self.inputs.year_day[:, None], p.light_floor, p.light_peak_day))

    def _richness(self, pellets: Array | None, biomass: Array) -> Array:
        """Renewal of food relative to fertility 1 [member]: saturates, and pellets that are not eaten fertilise.

        Bluegill ponds of Wudtisin 2003 gained nothing from phosphorus beyond some dose; the shape is ours.
        """
        p, inputs = self.parameters, self.inputs
        year = inputs.year[self.day]
        fertility = inputs.fertility[year] * inputs.luck.productivity[:, year]
        if pellets is not None:
            eaten = _total(pellets * biomass[:, self.slices[BLUEGILL]])
            fertility = fertility + p.pellet_fertility_ha_day_per_kg * (inputs.pellets_kg_per_ha[self.day] - eaten)
        half = p.renewal_saturation
        return np.asarray(fertility * np.sqrt((1.0 + half) / (half + fertility**2)))

    def _eat_fish(self, place: GridPlace, hunt: Hunt, biomass_alive: Array) -> tuple[Array, Array]:
        """Fish that bass ate: g per g and day [member, bass group], and kg/ha and day by prey species [member, species].

        The prey is laid on the grid as it was alive over the step, so that what is eaten is what died of predation.
        """
        members = self.state.members
        if not hunt.hunting.shape[1]:
            return np.zeros_like(hunt.hunting), np.zeros((members, len(SPECIES)))
        there = feeding.lay(place, _times(biomass_alive, hunt.naive))
        within_reach = feeding.prey_within_reach(there * hunt.out_of_cover, self.tables.prey_size)
        ate = feeding.read(hunt.at_length, within_reach)
        ate *= hunt.hunting
        by_species = (there * hunt.taken).reshape(members, len(SPECIES), feeding.GRID_POINTS)
        return ate, by_species.sum(axis=2)

    # ------------------------------------------------------------------ growing and dying

    def log_standard_weight(self) -> Array:
        g, log_length = self.group, self.state.log_length
        standard = g.ws_slope * log_length
        standard += g.ws_intercept
        for groups in self.isometric:
            standard[:, groups] += energetics.isometric_excess(
                log_length[:, groups], g.ws_slope[:, groups], g.isometric_below[:, groups]
            )
        return standard

    def _free_growth(self, weight: Array, ate_food: Array, ate_fish: Array, pellets: Array | None) -> Array:
        """Growth per day in log weight that the energy eaten and respired asks for [member, group]."""
        p, g = self.parameters, self.group
        bass, bluegill = self.slices[BASS], self.slices[BLUEGILL]
        energy = ate_food[PLANKTON] * p.plankton_energy_j_per_g[:, None]
        energy += ate_food[BENTHOS] * p.benthos_energy_j_per_g[:, None]
        energy[:, bass] += ate_fish * p.prey_fish_energy_j_per_g[:, None]
        if pellets is not None:
            energy[:, bluegill] += pellets * p.pellet_energy_j_per_g[:, None]
        energy *= g.kept_share
        energy -= self._respired(weight)
        energy /= g.body_energy
        energy[:, bass] /= self._body_energy_rise()
        return energy

    def _respired(self, weight: Array) -> Array:
        """Energy respired, J per g and day [member, group]."""
        s, g, bass = self.state, self.group, self.slices[BASS]
        respired = g.respiration_exponent * s.log_weight
        respired += g.log_respiration
        np.exp(respired, out=respired)
        respired[:, bass] *= 1.0 + g.activity_per_g[:, bass] * weight[:, bass]
        respired *= self.respiration_factor[self.day][:, s.columns.species]
        resting = self.bass_resting[self.day]
        if resting.any():
            exponent = _of(self.parameters.winter_rest_size_exponent, BASS)
            size = np.expm1((s.log_weight[:, bass] - np.log(100.0)) * exponent)
            respired[:, bass] *= 1.0 + resting[:, None] * size
        return respired

    def _body_energy_rise(self) -> Array:
        """Energy that one more gram of a bass's body holds, relative to a bass of 100 g [member, bass group]."""
        rise = _of(self.parameters.body_energy_exponent, BASS)
        return np.exp((self.state.log_weight[:, self.slices[BASS]] - np.log(100.0)) * rise) * (1.0 + rise)

    def _within_limits(self, growth: Array) -> Array:
        p = self.parameters
        most = np.minimum(growth, p.weight_gain_limit_per_day[:, None])
        return np.maximum(most, -p.weight_loss_limit_per_day[:, None], out=most)

    def _lengthening(self, gain: Array, log_condition: Array) -> Array:
        """Growth in log length: thin fish put on weight first, plump fish length."""
        p, s, grows = self.parameters, self.state, gain > 0.0
        share = np.minimum(1.0, s.ration)
        share *= p.condition_gain_at_full_food[:, None]
        share += p.condition_at_no_food[:, None]  # the set point of condition
        np.log(share, out=share, where=grows)
        np.subtract(log_condition, share, out=share)
        share *= p.length_growth_power[:, None]
        np.exp(share, out=share, where=grows)
        np.minimum(share, p.length_growth_limit[:, None], out=share)
        share *= np.maximum(gain, 0.0)
        share /= self.group.ws_slope
        for groups in self.isometric:
            below = s.log_length[:, groups] < self.group.isometric_below[:, groups]
            share[:, groups] *= np.where(below, self.group.ws_slope[:, groups] / 3.0, 1.0)
        return share

    def _death_rates(self, log_condition: Array, predation: Array) -> Rates:
        """Deaths per fish and day by cause."""
        p, s, g, day = self.parameters, self.state, self.group, self.day
        bass, shad, every = self.slices[BASS], self.slices[SHAD], slice(None)
        background = p.background_deaths_exponent[:, None] * s.log_weight
        background += g.log_background
        np.exp(background, out=background)
        large = logistic(
            (s.log_weight[:, bass] - np.log(_of(p.large_fish_from_g, BASS))) / _of(p.large_fish_width_ln, BASS)
        )
        background[:, bass] *= 1.0 - _of(p.large_fish_death_reduction, BASS) * large
        old_age = life.old_age_deaths(
            day - g.age_tells_from,
            p.old_age_deaths_per_year[:, None],
            g.old_age_ramp_days,
            p.old_age_ramp_limit[:, None],
        )
        rates: Rates = {
            "predation": (every, predation),
            "background": (every, background),
            "old_age": (every, old_age),
            "cold": (shad, self.cold_deaths[day][:, None]),
        }
        starvation = self._starvation(log_condition)
        if starvation is not None:
            rates["starvation"] = every, starvation
        if any(rule.effort[day] for rule in self.inputs.fishing):
            rates["harvest"] = every, self._harvest_rates()
        if self.inputs.angling_hours_per_ha[day]:
            rates["release"] = bass, self._release_rates()
        return rates

    def _starvation(self, log_condition: Array) -> Array | None:
        """Deaths of thin fish per fish and day [member, group]; None where no fish is thin."""
        p = self.parameters
        thin = log_condition < np.log(p.starvation_below_condition)[:, None]
        if not thin.any():
            return None
        condition = np.empty_like(log_condition)
        condition.fill(np.inf)
        np.exp(log_condition, out=condition, where=thin)
        return life.starvation_deaths(
            condition,
            p.starvation_deaths_per_day[:, None],
            p.starvation_below_condition[:, None],
            p.starvation_width[:, None],
        )

    def _tally(
        self,
        rates: Rates,
        alive: Array,
        weight: Array,
        biomass: Array,
        food_of_bass: Array,
        fish_eaten: Array,
        pellets: Array | None,
        length: float,
    ) -> None:
        """Add what moved in this step to the flows."""
        s, flows, kinds = self.state, self.flows, len(SPECIES)
        bass = self.slices[BASS]
        flows.eaten_by_bass[:, :kinds] += fish_eaten * length
        flows.eaten_by_bass[:, kinds : kinds + 2] += food_of_bass.T
        if pellets is not None:
            flows.pellets_given += self.inputs.pellets_kg_per_ha[self.day] * length
            flows.pellets_eaten += _total(pellets * biomass[:, self.slices[BLUEGILL]]) * length
        if "harvest" in rates:
            caught = s.number * alive * rates["harvest"][1] * length
            for species, groups in enumerate(self.slices):
                flows.harvest_number[:, species] += _total(caught[:, groups])
                flows.harvest_biomass[:, species] += _total(caught[:, groups] * weight[:, groups]) / 1000.0
        if "release" in rates:
            flows.release_deaths += _total(s.number[:, bass] * alive[:, bass] * rates["release"][1]) * length

    def _harvest_rates(self) -> Array:
        """Deaths per fish and day from harvest rules [member, group]."""
        p, s, inputs = self.parameters, self.state, self.inputs
        rates = np.zeros_like(s.number)
        year = inputs.year[self.day]
        for rule, holds in zip(inputs.fishing, self.rule_holds, strict=True):
            effort = rule.effort[self.day]
            if effort == 0.0:
                continue
            groups = self.slices[rule.species]
            inside = self._window(groups, rule.shortest_mm, rule.longest_mm)
            amount = s.number[:, groups]
            if rule.kind == "kg_per_ha":
                amount = amount * np.exp(s.log_weight[:, groups]) / 1000.0
            ask = rule.ask[:, year] if rule.when is None else np.where(holds, rule.ask[:, year], rule.otherwise)
            season = management.season_fishing(
                rule.kind, ask, _total(amount * inside), p.quota_fishing_limit_per_year, p.quota_limit_power
            )
            success = inputs.luck.angler_success[:, year]
            rates[:, groups] += (season * effort * success)[:, None] * inside
        return rates

    def _release_rates(self) -> Array:
        """Deaths per bass and day after being caught and let go [member, bass group]."""
        groups, deaths = self.slices[BASS], self.inputs.death_after_release[self.day]
        return (self._caught_and_released() * deaths)[:, None] * self.longer(groups, STOCK_LENGTH_MM)

    def _caught_and_released(self) -> Array:
        """How often a catchable bass is caught and let go, per day [member]."""
        p, s, inputs, groups = self.parameters, self.state, self.inputs, self.slices[BASS]
        there = np.maximum(_total(s.number[:, groups] * self.longer(groups, STOCK_LENGTH_MM)), 1e-12)
        per_hour = management.catch_per_hour(
            there, p.catch_per_hour_at_100_per_ha, p.catch_density_exponent, p.wariness_per_catch * s.wariness
        )
        success = inputs.luck.angler_success[:, inputs.year[self.day]]
        return np.asarray(per_hour * success * inputs.angling_hours_per_ha[self.day] / there)

    def _wariness_after(self, length: float) -> Array:
        """Recent catches per catchable bass [member] after a step: those of the step come in, older ones fade."""
        kept = self.state.wariness * np.exp(-length / self.parameters.wariness_memory_days)
        return kept + self._caught_and_released() * length if self.inputs.angling_hours_per_ha[self.day] else kept

    # ------------------------------------------------------------------ stocking, spawning and forgetting

    def _types(self, species: int) -> tuple[Array, Array, Array]:
        """Growth place and sex of a new origin's groups [group], and the share of its fish in each [member or 1, group]."""
        p = self.parameters
        middle = p.growth_type_middle_share
        outer = (1.0 - middle) / 2.0
        if species == BASS:
            share = np.stack([outer, middle, outer] * 2, axis=1)
            return np.array([-1.0, 0.0, 1.0] * 2), np.array([1.0] * 3 + [-1.0] * 3), share
        if species == BLUEGILL:
            return np.array([-1.0, 0.0, 1.0]), np.zeros(3), np.stack([outer, middle, outer], axis=1)
        return np.zeros(1), np.zeros(1), np.ones((1, 1))

    def _add(
        self,
        species: int,
        number: Array,
        female_share: float,
        age_years: float | Array,
        stocked: float,
        origin: int,
        length_mm: float,
        length_cv: float | None,
        weight_g: float | None,
        ration: Array,
    ) -> None:
        """Add the groups of one origin; number [member] is split between sexes and growth types."""
        p = self.parameters
        growth_z, sex, share = self._types(species)
        sexes = np.where(sex > 0.0, female_share, np.where(sex < 0.0, 1.0 - female_share, 1.0))
        columns = Columns(
            species=np.full(sex.size, species, np.intp),
            growth_z=growth_z,
            sex=sex,
            female_share=np.where(sex > 0.0, 1.0, np.where(sex < 0.0, 0.0, female_share)),
            born=np.full(sex.size, self.day - 365.0 * age_years),
            stocked=np.full(sex.size, stocked),
            origin=np.full(sex.size, origin, np.intp),
        )
        group = self._group_parameters(columns)
        log_length = np.full((self.state.members, sex.size), np.log(length_mm))
        if origin >= 0:
            if length_cv is None:
                offset = p.stocking_length_growth_exponent[:, None] * group.log_growth
            else:
                apart = np.sqrt(np.maximum(0.0, length_cv**2 - p.length_cv**2) / (1.0 - p.growth_type_middle_share))
                offset = apart[:, None] * growth_z
            log_length = log_length + offset
        log_weight = energetics.log_standard_weight(
            log_length, group.ws_intercept, group.ws_slope, group.isometric_below
        )
        if weight_g is not None:
            at_mean = energetics.log_standard_weight(
                np.full_like(log_length, np.log(length_mm)), group.ws_intercept, group.ws_slope, group.isometric_below
            )
            log_weight = log_weight + np.log(weight_g) - at_mean
        self.state.drop_empty()
        self.state.add(columns, number[:, None] * share * sexes, log_weight, log_length, ration[:, None])
        self.columns_changed()

    def _stock(self, event: StockingInput) -> None:
        number = event.per_ha * self.inputs.luck.stocking_survival[:, event.origin]
        self._add(
            species=event.species,
            number=np.broadcast_to(number, (self.state.members,)),
            female_share=event.female_share,
            age_years=event.age_years,
            stocked=-np.inf if event.resident else self.day,
            origin=event.origin,
            length_mm=event.length_mm,
            length_cv=event.length_cv,
            weight_g=event.weight_g,
            ration=self.parameters.stocking_ration,
        )

    def spawn(self) -> None:
        """Gather spawning as temperature allows and release it as pulses of young."""
        inputs, s = self.inputs, self.state
        year_day = int(inputs.year_day[self.day])
        if year_day == 0:
            s.spawn_gathered[:] = 0.0
            s.spawn_released[:] = 0.0
        s.spawn_gathered += self.spawning[self.day]
        for species in range(len(SPECIES)):
            if (year_day + 1) % self.pulse_slot_days[species] == 0 or self.day == 0:
                self._pulse(species)

    def _spawning(self, species: int, water_c: Array) -> Array:
        """Spawning that each day's water allows [day, member]: for bass a hazard, for the others a share of a cycle."""
        p, year_day = self.parameters, self.inputs.year_day[:, None]
        today = logistic((water_c - p.spawning_from_c[:, species]) / p.spawning_width_c)
        if species == BASS:
            today = p.spawning_hazard_per_day[:, BASS] * today
        else:
            today = today / p.spawning_cycle_days[:, species]
        if species == SHAD:
            today = today * logistic((p.spawning_until_c[:, SHAD] - water_c) / p.spawning_width_c)
            autumn = year_day >= p.spawning_autumn_from_day[:, SHAD]
            today = np.where(autumn, today * p.spawning_autumn_share[:, SHAD], today)
        first, last = p.spawning_first_day[:, species], p.spawning_last_day[:, species]
        return np.where((year_day < first) | (year_day > last), 0.0, today)

    def _pulse(self, species: int) -> None:
        """Release what spawning has gathered since the last pulse as one group of young; parents pay for it.

        Larvae live on plankton: fewer recruits where it is grazed down or renews slowly (larval survival follows
        zooplankton; DeVries & Stein 1990, 1992, from memory; the shape is ours).
        """
        p, s, groups = self.parameters, self.state, self.slices[species]
        gathered = s.spawn_gathered[:, species]
        done = -np.expm1(-gathered) if species == BASS else gathered
        ready = done - s.spawn_released[:, species]
        ready = np.where(ready >= p.pulse_min_weight, ready, 0.0)
        if not ready.any():
            return
        s.spawn_released[:, species] += ready
        columns = s.columns.taken(np.arange(groups.start, groups.stop))
        of_age = (self.day + 1 - columns.born) / 365.0 >= p.mature_age_years[0]
        mature = self.longer(groups, p.mature_length_mm[:, species]) * of_age
        spawners = _total(
            s.number[:, groups] * np.exp(s.log_weight[:, groups]) / 1000.0 * mature * columns.female_share
        )
        if species == BASS:
            spawners = spawners * life.spawn_left_by_egg_predators(
                self._egg_predators(), p.egg_predator_half_kg_per_ha[:, BASS], p.egg_predator_exponent[:, BASS]
            )
        young = ready * life.recruits(
            spawners, p.recruits_cap_per_ha[:, species], p.recruits_half_saturation_kg_per_ha[:, species]
        )
        larval_food = self.richness * s.plankton / p.plankton_capacity_kg_per_ha
        young = young * larval_food ** p.recruit_food_exponent[:, species]
        young = young * self.inputs.luck.recruitment[:, species, self.inputs.year[self.day]]
        young = young * self.inputs.local_spawning[species]
        young = np.where(young >= p.pulse_min_per_ha, young, 0.0)
        cost = np.where(columns.sex < 0.0, _of(p.spawning_cost_male, species), _of(p.spawning_cost_female, species))
        s.log_weight[:, groups] += np.log1p(-cost * np.minimum(ready, 1.0)[:, None] * mature)
        if young.any():
            self._add(
                species=species,
                number=young,
                female_share=float(p.female_share[0]),
                age_years=float(p.recruit_age_years[0]) - 1.0 / 365.0,  # that age at the next day's start
                stocked=-np.inf,
                origin=-1,
                length_mm=float(p.recruit_length_mm[0, species]),
                length_cv=None,
                weight_g=None,
                ration=p.recruit_ration,
            )

    def _egg_predators(self) -> Array:
        """Bluegill of a size and hunger to eat bass eggs, kg/ha [member]."""
        p, s, groups = self.parameters, self.state, self.slices[BLUEGILL]
        inside = self.longer(groups, p.egg_predator_min_mm) - self.longer(groups, p.egg_predator_max_mm)
        hunger = 2.0 * np.maximum(p.egg_predator_hunger_floor[:, None], 1.0 - s.ration[:, groups])
        kilograms = s.number[:, groups] * np.exp(s.log_weight[:, groups]) / 1000.0
        return _total(kilograms * inside * hunger ** p.egg_predator_hunger_exponent[:, None])

    def forget_empty(self) -> None:
        """Groups of hardly a fish are gone; columns that are empty in every member are given up now and then."""
        s = self.state
        s.number[s.number < self.parameters.group_min_per_ha[:, None]] = 0.0
        if self.day % DAYS_BETWEEN_TIDYING == 0 and s.drop_empty():
            self.columns_changed()

    # ------------------------------------------------------------------ small helps

    def longer(self, groups: slice, threshold_mm: float | Array) -> Array:
        """Share of the fish of some groups that are longer than a threshold [member, group]."""
        return share_longer(
            self.state.log_length[:, groups], np.reshape(threshold_mm, (-1, 1)), self.parameters.length_cv[:, None]
        )

    def _window(self, groups: slice, shortest_mm: float, longest_mm: float) -> Array:
        return self.longer(groups, shortest_mm) - self.longer(groups, longest_mm)


def _of(parameter: Array, species: int) -> Array:
    """One species' values of a parameter, to stand against [member, group]: [member, 1]."""
    return parameter[:, species, None]


def _times(amount: Array, factor: Array | None) -> Array:
    """amount · factor, where None stands for 1."""
    return amount if factor is None else amount * factor


def _sum_of(rates: Rates) -> Array:
    """Deaths per fish and day of all causes [member, group]."""
    (_, predation), (_, background), *others = rates.values()
    deaths = predation + background
    for groups, rate in others:
        deaths[:, groups] += rate
    return deaths


def _whole(groups: slice, rate: Array, shape: tuple[int, ...]) -> Array:
    """Rates of one cause at all groups [member, group]."""
    whole = np.zeros(shape)
    whole[:, groups] = rate
    return whole


def _total(amount: Array) -> Array:
    """Sum over groups [..., member], always in group order, so that empty columns change no bit of it."""
    if amount.shape[0] == 1:
        return np.bincount(np.zeros(amount.size, np.intp), weights=amount[0], minlength=1).astype(float, copy=False)
    return np.add.reduce(np.ascontiguousarray(amount.T), axis=0)  # row after row; along a row numpy adds pairwise


def _totals(amount: Array, part: slice) -> tuple[Array, Array]:
    """Sums over the first groups, those of `part`, and over all [food, member] of [food, member, group], in group order."""
    foods, members, groups = amount.shape
    by_group = amount.reshape(foods * members, groups).T.copy()  # foods keep numpy from adding a single column pairwise
    first = np.add.reduce(by_group[part], axis=0)
    whole = first + np.add.reduce(by_group[part.stop :], axis=0)
    return first.reshape(foods, members), whole.reshape(foods, members)
