"""The order of a day, and the only place that changes the state.

`Engine.step` reads as the list of what happens in a day. Every rate uses the state at the start of the step; what is
eaten is scaled to what died and to what the pond's food gave, so that the books of fish, biomass and energy close.
Arrays are [member, group] unless said; see `state` for the shapes and `inputs` for what comes in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pondpop import energetics, feeding, life, management, reacting, water
from pondpop.energetics import logistic, share_longer
from pondpop.feeding import BENTHOS, PLANKTON
from pondpop.feeding import GridPlace
from pondpop.inputs import Inputs, StockingInput
from pondpop.species import BASS, BLUEGILL, MINNOW, SHAD, SPECIES, Parameters
from pondpop.state import Columns, State

Array = NDArray[np.float64]
PREY = (*SPECIES, "plankton", "benthos", "pellets")
STOCK_LENGTH_MM = 8 * 25.4  # bass of stock length count as catchable by anglers
CAUSES = ("predation", "background", "starvation", "old_age", "cold", "harvest", "release", "removal", "die_off", "too_few")


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


@dataclass(frozen=True)
class Hunt:
    """How bass and their prey met in a step."""

    naive: Array  # [member, group], ease of catching relative to a wary fish
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
    ate_food: list[Array]  # plankton, benthos, g per g and day
    ate_pellets: Array  # g per g and day, [member, bluegill group]
    growth: Array  # per day, in log weight
    refused: Array  # growth per day beyond the daily limits
    food: Array  # kg/ha [member, food] before
    food_after: Array


class _GroupParameters:
    """Parameters and constants spread over the columns, remade only when columns come or go."""

    def __init__(self, p: Parameters, columns: Columns, growth: Array) -> None:
        kind = columns.species

        def spread(name: str) -> Array:
            return getattr(p, name)[:, kind]

        of_sex = np.where(columns.sex == 0.0, 0.0, spread("sex_growth_difference")) * columns.sex
        growth_type = spread("growth_spread") * p.growth_type_z[:, None] * columns.growth_z + of_sex
        self.log_growth = growth_type
        self.log_max_intake = np.log(spread("max_intake_at_1_g")) + growth_type + np.log(growth[:, kind])
        self.max_intake_exponent = spread("max_intake_exponent")
        activity = spread("activity_multiplier") * p.oxygen_energy_j_per_g[:, None]
        self.log_respiration = np.log(spread("respiration_at_1_g") * activity)
        self.respiration_exponent = spread("respiration_exponent")
        per_kg = np.where(columns.sex > 0.0, spread("activity_per_kg_female"), spread("activity_per_kg_male"))
        self.activity_per_g = np.where(kind == BASS, per_kg, 0.0) / 1000.0
        self.kept_share = (1.0 - spread("egested_share")) * (
            1.0 - spread("excreted_share") - spread("digestion_cost_share")
        )
        self.body_energy = spread("body_energy_j_per_g")
        self.ws_intercept = spread("standard_weight_intercept") * np.log(10.0)
        self.ws_slope = spread("standard_weight_slope")
        isometric = spread("isometric_below_mm")
        self.isometric_below = np.where(np.isnan(isometric), -np.inf, np.log(isometric))
        self.background = (
            spread("background_deaths_multiplier") * p.background_deaths_at_1_g_per_year[:, None] / 365.0
        )
        self.oldest = spread("oldest_age_years")


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
        self._temperature_factors()
        self.state = State.empty(inputs.members, p.plankton_capacity_kg_per_ha, p.benthos_capacity_kg_per_ha)
        self.flows = Flows.zero(inputs.members)
        self.growth = inputs.luck.growth * inputs.local_growth
        self.rule_holds = [np.zeros(inputs.members, dtype=bool) for _ in inputs.fishing]
        self.surveys = 0
        self.columns_changed()

    def _temperature_factors(self) -> None:
        """Factors on intake, search and respiration, [member, day, species], known for all days beforehand."""
        p, t = self.parameters, self.water_c[:, :, None]

        def of_species(name: str) -> Array:
            return getattr(p, name)[:, None, :]

        dome = energetics.temperature_dome(
            t, of_species("intake_dome_q"), of_species("intake_optimum_c"), of_species("intake_maximum_c")
        )
        self.intake_factor = energetics.intake_temperature_factor(
            dome, t, of_species("feeding_stops_below_c"), of_species("feeding_stop_width_c"), p.intake_dome_floor[:, None, None]
        )
        self.search_factor = np.maximum(p.search_dome_floor[:, None, None], dome) ** -p.search_cold_exponent[:, None, None]
        respiration = np.empty_like(dome)
        for k in (BASS, SHAD):
            per_c, flat = p.respiration_per_c[:, k, None], p.respiration_flat_above_c[:, k, None]
            respiration[:, :, k] = np.exp(per_c * np.minimum(self.water_c, flat))
        for k in (BLUEGILL, MINNOW):
            respiration[:, :, k] = energetics.temperature_dome(
                self.water_c,
                p.respiration_dome_q[:, k, None],
                p.respiration_optimum_c[:, k, None],
                p.respiration_maximum_c[:, k, None],
            )
        rest = energetics.winter_rest(
            t, of_species("winter_rest_share"), p.winter_rest_below_c[:, None, None], p.winter_rest_width_c[:, None, None]
        )
        self.respiration_factor = respiration * rest
        self.cold_deaths = life.cold_deaths(
            self.water_c,
            p.cold_deaths_per_day[:, SHAD, None],
            p.cold_deaths_below_c[:, SHAD, None],
            p.cold_deaths_width_c[:, SHAD, None],
        )

    def columns_changed(self) -> None:
        """Remake what depends on which groups there are."""
        self.group = _GroupParameters(self.parameters, self.state.columns, self.growth)
        self.slices = self.state.species_slices()

    # ------------------------------------------------------------------ a day

    def run_day(self) -> None:
        """All of one day, in order; afterwards `day` is the next day's number."""
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
        s, kind, length = self.state, self.state.columns.species, 1.0 / self.inputs.steps_per_day
        bass = self.slices[BASS]
        weight = s.weight()
        biomass = s.number * weight / 1000.0
        place = feeding.place_on_grid(s.log_length, kind)
        log_condition = s.log_weight - self.log_standard_weight()

        max_intake = self.max_intake()
        food_met = self._food_met(place, weight)
        hunt = self._hunt(place, weight, biomass, max_intake, food_met)
        rates = self._death_rates(weight, log_condition, hunt.predation)
        deaths = sum(rates.values()) * length
        alive = life.mean_share_alive(deaths)

        all_met = food_met[PLANKTON] + food_met[BENTHOS]
        all_met[:, bass] += hunt.fish_met
        hunger = 1.0 / (1.0 + all_met)
        pellets = self._pellets(max_intake, biomass, 1.0 - hunger)
        ate_food, food_after = self._eat_food(max_intake, biomass, food_met, hunger, pellets, length)
        ate_fish, fish_eaten = self._eat_fish(place, hunt, biomass * alive)

        growth, refused = self._growth(weight, ate_food, ate_fish, pellets)
        self._tally(rates, alive, weight, biomass, ate_food, fish_eaten, pellets, length)
        if self.books is not None:
            self.books.append(
                Books(
                    columns=s.columns,
                    number=s.number.copy(),
                    weight=weight,
                    rates=rates,
                    alive=alive,
                    length=length,
                    ate_fish=ate_fish,
                    ate_food=ate_food,
                    ate_pellets=pellets,
                    growth=growth,
                    refused=refused,
                    food=np.stack([s.plankton, s.benthos], axis=1),
                    food_after=food_after,
                )
            )

        ration = ate_food[PLANKTON] + ate_food[BENTHOS]
        ration[:, bass] += ate_fish
        ration[:, self.slices[BLUEGILL]] += pellets
        memory = -np.expm1(-length / self.parameters.ration_memory_days[:, None])
        s.wariness = self._wariness_after(length)
        s.ration += (ration / max_intake - s.ration) * memory
        s.log_length += self._lengthening(growth * length, log_condition)
        s.log_weight += growth * length
        s.number *= np.exp(-deaths)
        s.plankton, s.benthos = food_after[:, PLANKTON].copy(), food_after[:, BENTHOS].copy()

    # ------------------------------------------------------------------ meeting and eating

    def max_intake(self) -> Array:
        """Maximum intake of each group in this water, g per g and day."""
        g = self.group
        factor = self.intake_factor[:, self.day][:, self.state.columns.species]
        return np.exp(g.log_max_intake + g.max_intake_exponent * self.state.log_weight) * factor

    def _food_met(self, place: GridPlace, weight: Array) -> list[Array]:
        """Plankton and benthos met, as multiples of what half satisfies: two arrays [member, group]."""
        p, s, bluegill = self.parameters, self.state, self.slices[BLUEGILL]
        ease = self.search_factor[:, self.day] / p.resource_half_saturation_kg_per_ha
        met = []
        for resource, stock in ((PLANKTON, s.plankton), (BENTHOS, s.benthos)):
            used = feeding.read_table(place, self.tables.food_use[resource])
            met.append(used * (stock[:, None] * ease)[:, s.columns.species])
        size = (weight[:, bluegill] + _of(p.foraging_size_offset_g, BLUEGILL)) / _of(p.foraging_size_reference_g, BLUEGILL)
        small_forage_better = size ** -_of(p.foraging_size_exponent, BLUEGILL)
        for share in met:
            share[:, bluegill] *= small_forage_better
        return met

    def _hunt(self, place: GridPlace, weight: Array, biomass: Array, max_intake: Array, food_met: list[Array]) -> Hunt:
        """Bass look for fish: first as if no prey hid, then for the prey that is out of cover.

        After the foraging arena of Walters & Juanes 1993 (from memory): prey leave cover at a limited rate, so that
        bass compete for what is out.
        """
        bass, kernel = self.slices[BASS], self.tables.prey_size
        naive, found = self._naive(), self._found(biomass)
        offered = feeding.lay_by_species(place, biomass * naive) * found
        search = self._search_area(weight[:, bass], biomass[:, bass])
        other_food = food_met[PLANKTON][:, bass] + food_met[BENTHOS][:, bass]

        def hunted_by(out_of_cover: Array) -> tuple[Array, Array, Array]:
            reach = feeding.read(place, feeding.prey_within_reach(out_of_cover, kernel), bass)
            fish_met = search * reach / max_intake[:, bass]
            hunting = search / (1.0 + fish_met + other_food)
            load = feeding.lay(place, biomass[:, bass] * hunting, bass)
            return fish_met, hunting, feeding.search_upon_prey(load, kernel) * found

        _, _, hunted = hunted_by(offered)
        exposed = 1.0 / (1.0 + hunted / self.tables.leaving_cover)
        fish_met, hunting, hunted = hunted_by(offered * exposed)
        taken = exposed * hunted
        predation = feeding.read_by_species(place, taken) * naive
        return Hunt(naive=naive, out_of_cover=exposed * found, fish_met=fish_met, hunting=hunting, taken=taken, predation=predation)

    def _found(self, biomass: Array) -> Array:
        """Ease of finding prey, relative: few shad are hard to find [member, species * length]."""
        p = self.parameters
        shad = _total(biomass[:, self.slices[SHAD]])
        found = np.ones((shad.size, len(SPECIES), feeding.GRID_POINTS))
        found[:, SHAD] = (shad**2 / (shad**2 + p.exposure_half_saturation_kg_per_ha[:, SHAD] ** 2))[:, None]
        return found.reshape(shad.size, -1)

    def _naive(self) -> Array:
        """How much more easily hatchery fish are caught in their first weeks."""
        p = self.parameters
        return 1.0 + p.naive_ease[:, None] * np.exp((self.state.columns.stocked - self.day) / p.naive_days[:, None])

    def _search_area(self, weight: Array, biomass: Array) -> Array:
        """Area that bass search, ha per day and kg of bass [member, bass group].

        Nearly the same for a fish of any size; large bass in numbers get into one another's way (interference after
        Beddington 1975 and DeAngelis et al. 1975, from memory).
        """
        p, groups = self.parameters, self.slices[BASS]
        large = _total(biomass * self.longer(groups, p.interference_from_mm[:, BASS]))
        crowding = 1.0 + p.interference_ha_per_kg[:, BASS] * large
        factor = self.intake_factor[:, self.day, BASS] * self.search_factor[:, self.day, BASS]
        area = _of(p.search_area_at_100_g, BASS) * (weight / 100.0) ** -_of(p.search_area_exponent, BASS)
        return area * (factor / crowding)[:, None]

    def _pellets(self, max_intake: Array, biomass: Array, ration: Array) -> Array:
        """Pellets that bluegill eat, g per g and day [member, bluegill group]."""
        p, groups = self.parameters, self.slices[BLUEGILL]
        given = self.inputs.pellets_kg_per_ha[self.day]
        if given == 0.0:
            return np.zeros_like(ration[:, groups])
        warm = self.water_c[:, self.day] > p.pellets_above_c[:, BLUEGILL]
        room = np.maximum(0.0, _of(p.pellet_ration_target, BLUEGILL) - ration[:, groups])
        appetite = _of(p.pellet_access, BLUEGILL) * room * max_intake[:, groups] * warm[:, None]
        appetite = appetite * self.longer(groups, p.pellets_from_mm[:, BLUEGILL])
        wanted = _total(appetite * biomass[:, groups])
        reached = given * (1.0 - p.pellet_waste_share)
        return appetite * np.minimum(1.0, reached / np.maximum(wanted, 1e-300))[:, None]

    def _eat_food(
        self, max_intake: Array, biomass: Array, food_met: list[Array], hunger: Array, pellets: Array, length: float
    ) -> tuple[list[Array], Array]:
        """Plankton and benthos eaten, g per g and day, no more than the pond gave; and what is left, [member, food]."""
        p, s, bluegill = self.parameters, self.state, self.slices[BLUEGILL]
        displaced = np.maximum(0.0, 1.0 - _of(p.pellet_displacement, BLUEGILL) * pellets / max_intake[:, bluegill])
        ate, left = [], []
        for met, stock, capacity, renewal in (
            (food_met[PLANKTON], s.plankton, p.plankton_capacity_kg_per_ha, p.plankton_renewal_per_day),
            (food_met[BENTHOS], s.benthos, p.benthos_capacity_kg_per_ha, p.benthos_renewal_per_day),
        ):
            wish = max_intake * met * hunger
            wish[:, bluegill] *= displaced
            renewed = renewal * self._renewal_factor() * length
            wished = _total(wish * biomass) * length
            after = (stock + renewed * capacity) / (1.0 + renewed + wished / stock)
            after = np.maximum(after, p.resource_floor_kg_per_ha)
            ate.append(wish * (after / stock)[:, None])
            left.append(after)
        return ate, np.stack(left, axis=1)

    def _renewal_factor(self) -> Array:
        """How fast the pond's food renews, relative to midsummer light, 20 °C and fertility 1 [member]."""
        p, inputs, day = self.parameters, self.inputs, self.day
        year = inputs.year[day]
        fertility = inputs.fertility[year] * inputs.luck.productivity[:, year]
        saturating = fertility * (1.0 + p.renewal_saturation) / (1.0 + p.renewal_saturation * fertility)
        warmth = p.renewal_q10 ** ((self.water_c[:, day] - p.renewal_reference_c) / 10.0)
        return warmth * saturating * water.light(inputs.year_day[day], p.light_floor, p.light_peak_day)

    def _eat_fish(self, place: GridPlace, hunt: Hunt, biomass_alive: Array) -> tuple[Array, Array]:
        """Fish that bass ate: g per g and day [member, bass group], and kg/ha and day by prey species [member, species].

        The prey is laid on the grid as it was alive over the step, so that what is eaten is what died of predation.
        """
        bass = self.slices[BASS]
        there = feeding.lay_by_species(place, biomass_alive * hunt.naive)
        within_reach = feeding.prey_within_reach(there * hunt.out_of_cover, self.tables.prey_size)
        ate = hunt.hunting * feeding.read(place, within_reach, bass)
        by_species = (there * hunt.taken).reshape(self.state.members, len(SPECIES), feeding.GRID_POINTS)
        return ate, by_species.sum(axis=2)

    # ------------------------------------------------------------------ growing and dying

    def log_standard_weight(self) -> Array:
        g = self.group
        return energetics.log_standard_weight(self.state.log_length, g.ws_intercept, g.ws_slope, g.isometric_below)

    def _growth(self, weight: Array, ate_food: list[Array], ate_fish: Array, pellets: Array) -> tuple[Array, Array]:
        """Growth per day in log weight [member, group], and what daily limits refused of it."""
        p, s, g = self.parameters, self.state, self.group
        bass, bluegill = self.slices[BASS], self.slices[BLUEGILL]
        energy = (
            ate_food[PLANKTON] * p.plankton_energy_j_per_g[:, None] + ate_food[BENTHOS] * p.benthos_energy_j_per_g[:, None]
        )
        energy[:, bass] += ate_fish * p.prey_fish_energy_j_per_g[:, None]
        energy[:, bluegill] += pellets * p.pellet_energy_j_per_g[:, None]
        respired = (
            np.exp(g.log_respiration + g.respiration_exponent * s.log_weight)
            * self.respiration_factor[:, self.day][:, s.columns.species]
            * (1.0 + g.activity_per_g * weight)
        )
        free = (energy * g.kept_share - respired) / self._body_energy(weight)
        growth = np.clip(free, -p.weight_loss_limit_per_day[:, None], p.weight_gain_limit_per_day[:, None])
        return growth, free - growth

    def _body_energy(self, weight: Array) -> Array:
        """Energy that one more gram of body holds, J/g; in bass it rises with size."""
        p, bass = self.parameters, self.slices[BASS]
        held = np.broadcast_to(self.group.body_energy, weight.shape).copy()
        rise = _of(p.body_energy_exponent, BASS)
        held[:, bass] = held[:, bass] * (weight[:, bass] / 100.0) ** rise * (1.0 + rise)
        return held

    def _lengthening(self, gain: Array, log_condition: Array) -> Array:
        """Growth in log length: thin fish put on weight first, plump fish length."""
        p, s = self.parameters, self.state
        set_point = p.condition_at_no_food[:, None] + p.condition_gain_at_full_food[:, None] * np.minimum(1.0, s.ration)
        share = np.exp(p.length_growth_power[:, None] * (log_condition - np.log(set_point)))
        share = np.minimum(p.length_growth_limit[:, None], share)
        slope = np.where(s.log_length < self.group.isometric_below, 3.0, self.group.ws_slope)
        return np.maximum(gain, 0.0) / slope * share

    def _death_rates(self, weight: Array, log_condition: Array, predation: Array) -> dict[str, Array]:
        """Deaths per fish and day by cause [member, group]."""
        p, s, g, day = self.parameters, self.state, self.group, self.day
        bass, shad = self.slices[BASS], self.slices[SHAD]
        year = self.inputs.year[day]
        background = g.background * np.exp(p.background_deaths_exponent[:, None] * s.log_weight)
        large = logistic((s.log_weight[:, bass] - np.log(_of(p.large_fish_from_g, BASS))) / _of(p.large_fish_width_ln, BASS))
        background[:, bass] *= 1.0 - _of(p.large_fish_death_reduction, BASS) * large
        luck = self.inputs.luck.background_deaths[:, :, year] / self.inputs.local_survival
        background *= luck[:, s.columns.species]
        age_years = (day - s.columns.born) / 365.0
        cold = np.zeros_like(predation)
        cold[:, shad] = self.cold_deaths[:, day, None]
        rates = {
            "predation": predation,
            "background": background,
            "starvation": life.starvation_deaths(
                np.exp(log_condition),
                p.starvation_deaths_per_day[:, None],
                p.starvation_below_condition[:, None],
                p.starvation_width[:, None],
            ),
            "old_age": np.broadcast_to(
                life.old_age_deaths(
                    age_years,
                    g.oldest,
                    p.old_age_deaths_per_year[:, None],
                    p.old_age_from_share[:, None],
                    p.old_age_ramp_share[:, None],
                    p.old_age_ramp_limit[:, None],
                ),
                predation.shape,
            ),
            "cold": cold,
        }
        rates["harvest"] = self._harvest_rates()
        rates["release"] = np.zeros_like(predation)
        rates["release"][:, bass] = self._release_rates()
        return rates

    def _tally(
        self,
        rates: dict[str, Array],
        alive: Array,
        weight: Array,
        biomass: Array,
        ate_food: list[Array],
        fish_eaten: Array,
        pellets: Array,
        length: float,
    ) -> None:
        """Add what moved in this step to the flows."""
        s, flows, kinds = self.state, self.flows, len(SPECIES)
        bass = self.slices[BASS]
        flows.eaten_by_bass[:, :kinds] += fish_eaten * length
        for r in (PLANKTON, BENTHOS):
            flows.eaten_by_bass[:, kinds + r] += _total(ate_food[r][:, bass] * biomass[:, bass]) * length
        if self.inputs.pellets_kg_per_ha[self.day]:
            flows.pellets_given += self.inputs.pellets_kg_per_ha[self.day] * length
            flows.pellets_eaten += _total(pellets * biomass[:, self.slices[BLUEGILL]]) * length
        if any(rule.effort[self.day] for rule in self.inputs.fishing):
            caught = s.number * alive * rates["harvest"] * length
            for species, groups in enumerate(self.slices):
                flows.harvest_number[:, species] += _total(caught[:, groups])
                flows.harvest_biomass[:, species] += _total(caught[:, groups] * weight[:, groups]) / 1000.0
        if self.inputs.angling_hours_per_ha[self.day]:
            flows.release_deaths += _total(s.number[:, bass] * alive[:, bass] * rates["release"][:, bass]) * length

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
        if self.inputs.angling_hours_per_ha[self.day] == 0.0:
            return np.zeros_like(self.state.number[:, groups])
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
        return np.zeros(1), np.zeros(1), np.ones((p.members, 1))

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
        group = _GroupParameters(p, columns, self.growth)
        log_length = np.full((self.state.members, sex.size), np.log(length_mm))
        if origin >= 0:
            if length_cv is None:
                offset = p.stocking_length_growth_exponent[:, None] * group.log_growth
            else:
                apart = np.sqrt(np.maximum(0.0, length_cv**2 - p.length_cv**2) / (1.0 - p.growth_type_middle_share))
                offset = apart[:, None] * growth_z
            log_length = log_length + offset
        log_weight = energetics.log_standard_weight(log_length, group.ws_intercept, group.ws_slope, group.isometric_below)
        if weight_g is not None:
            at_mean = energetics.log_standard_weight(
                np.full_like(log_length, np.log(length_mm)), group.ws_intercept, group.ws_slope, group.isometric_below
            )
            log_weight = log_weight + np.log(weight_g) - at_mean
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
        for species in range(len(SPECIES)):
            s.spawn_gathered[:, species] += self._spawning_today(species, year_day)
            if (year_day + 1) % int(self.parameters.pulse_slot_days[0, species]) == 0 or self.day == 0:
                self._pulse(species)

    def _spawning_today(self, species: int, year_day: int) -> Array:
        """Spawning that this day's water allows [member]: for bass a hazard, for the others a share of a cycle."""
        p, water_c = self.parameters, self.water_c[:, self.day]
        first, last = p.spawning_first_day[0, species], p.spawning_last_day[0, species]
        if year_day < first or year_day > last:
            return np.zeros(1)
        today = logistic((water_c - p.spawning_from_c[:, species]) / p.spawning_width_c)
        if species == BASS:
            return p.spawning_hazard_per_day[:, BASS] * today
        if species == SHAD:
            today = today * logistic((p.spawning_until_c[:, SHAD] - water_c) / p.spawning_width_c)
            if year_day >= p.spawning_autumn_from_day[0, SHAD]:
                today = today * p.spawning_autumn_share[:, SHAD]
        return today / p.spawning_cycle_days[:, species]

    def _pulse(self, species: int) -> None:
        """Release what spawning has gathered since the last pulse as one group of young; parents pay for it."""
        p, s, groups = self.parameters, self.state, self.slices[species]
        gathered = s.spawn_gathered[:, species]
        done = -np.expm1(-gathered) if species == BASS else gathered
        ready = done - s.spawn_released[:, species]
        ready = np.where(ready >= p.pulse_min_weight, ready, 0.0)
        if not ready.any():
            return
        s.spawn_released[:, species] += ready
        columns = s.columns.taken(np.arange(groups.start, groups.stop))
        of_age = (self.day - columns.born) / 365.0 >= p.mature_age_years[0]
        mature = self.longer(groups, p.mature_length_mm[:, species]) * of_age
        spawners = _total(s.number[:, groups] * np.exp(s.log_weight[:, groups]) / 1000.0 * mature * columns.female_share)
        if species == BASS:
            spawners = spawners * life.spawn_left_by_egg_predators(
                self._egg_predators(), p.egg_predator_half_kg_per_ha[:, BASS], p.egg_predator_exponent[:, BASS]
            )
        young = ready * life.recruits(
            spawners, p.recruits_cap_per_ha[:, species], p.recruits_half_saturation_kg_per_ha[:, species]
        )
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
                age_years=float(p.recruit_age_years[0]),
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
        """Groups of hardly a fish are gone; columns that are empty in every member are given up."""
        s = self.state
        s.number[s.number < self.parameters.group_min_per_ha[:, None]] = 0.0
        if s.drop_empty():
            self.columns_changed()

    # ------------------------------------------------------------------ small helps

    def longer(self, groups: slice, threshold_mm: float | Array) -> Array:
        """Share of the fish of some groups that are longer than a threshold [member, group]."""
        return share_longer(self.state.log_length[:, groups], np.reshape(threshold_mm, (-1, 1)), self.parameters.length_cv[:, None])

    def _window(self, groups: slice, shortest_mm: float, longest_mm: float) -> Array:
        return self.longer(groups, shortest_mm) - self.longer(groups, longest_mm)


def _of(parameter: Array, species: int) -> Array:
    """One species' values of a parameter, to stand against [member, group]: [member, 1]."""
    return parameter[:, species, None]


def _total(amount: Array) -> Array:
    """Sum over groups [member], always in group order, so that empty columns change no bit of it."""
    members, groups = amount.shape
    rows = np.repeat(np.arange(members), groups)
    return np.bincount(rows, weights=amount.ravel(), minlength=members)
