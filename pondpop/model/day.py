"""The order of a day, and the only place that changes a pond.

`Engine.step` reads as the list of what happens in a day. Every rate uses the state at the start of the step; what is
eaten is scaled to what died and to what the pond's food gave, so that the books of fish, biomass and energy close.
Arrays are [member, group] unless said; see `state` for the shapes and `inputs` for what comes in.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pondpop.model import feeding, foraging, growth, harvest, life, mortality
from pondpop.model.budget import Books, Flows
from pondpop.model.feeding import BENTHOS, PLANKTON
from pondpop.model.inputs import Inputs, StockingInput
from pondpop.model.pond import Pond, of_species, total
from pondpop.model.state import Columns
from pondpop.observe import harvest_control
from pondpop.species import BASS, BLUEGILL, SPECIES

Array = NDArray[np.float64]
DAYS_BETWEEN_TIDYING = 32  # empty columns cost time but change nothing


class Engine(Pond):
    """A block of members of one strategy, stepped day by day.

    `flows` adds up what moved until the reader of the run sets it back to zero; `books` keeps the accounts of every
    step if asked.
    """

    def __init__(self, inputs: Inputs, keep_books: bool = False) -> None:
        super().__init__(inputs)
        self.flows = Flows.zero(inputs.members)
        self.books: list[Books] | None = [] if keep_books else None
        self.angled = bool(inputs.angling_hours_per_ha.any())
        self.surveys = 0

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
                seen = harvest_control.signs(number, relative_weight, self.inputs.area_ha, rule.when.fish_sampled, uniforms)
                self.rule_holds[k] = harvest_control.holds(rule.when, seen)

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
            inside = self.window(groups, event.shortest_mm, event.longest_mm)
            kilograms = s.number[:, groups] * np.exp(s.log_weight[:, groups]) / 1000.0
            there = total((kilograms if event.kind == "kg_per_ha" else s.number[:, groups]) * inside)
            share = harvest.share_of_window(event.kind, event.amount, there)[:, None] * inside
            if event.counts_as_removed:
                self.flows.removed_number[:, event.species] += total(s.number[:, groups] * share)
                self.flows.removed_biomass[:, event.species] += total(kilograms * share)
            s.number[:, groups] *= 1.0 - share

    def step(self) -> None:
        """Meeting, feeding, deaths, growth and the renewal of the pond's food, over one step."""
        s, length = self.state, 1.0 / self.inputs.steps_per_day
        bass, bluegill = self.slices[BASS], self.slices[BLUEGILL]
        weight = s.weight()
        biomass = s.number * weight
        biomass *= 1e-3
        place = feeding.place_on_grid(s.log_length, self.first_points)
        log_condition = self.log_condition()

        max_intake = self.max_intake()
        food_met = foraging.food_met(self, place, weight)
        sated = food_met[PLANKTON] + food_met[BENTHOS]
        sated += 1.0
        hunt = foraging.hunt(self, place, biomass, max_intake, sated)
        rates = mortality.death_rates(self, log_condition, hunt.predation)
        log_left = mortality.log_share_left(rates, length)
        left = np.exp(log_left)
        alive = life.mean_share_alive(log_left, left)

        sated[:, bass] += hunt.fish_met
        pellets = foraging.eat_pellets(self, max_intake, biomass, sated)
        self.richness = foraging.richness(self, pellets, biomass)
        ate_food, food_after, food_of_bass = foraging.eat_food(
            self, max_intake, biomass, food_met, sated, pellets, length
        )
        ate_fish, fish_eaten = foraging.eat_fish(self, place, hunt, biomass * alive)

        free_growth = growth.free_growth(self, weight, ate_food, ate_fish, pellets)
        grew = growth.within_limits(self, free_growth)
        self.flows.add(self, rates, alive, weight, biomass, food_of_bass, fish_eaten, pellets, length)
        if self.books is not None:
            self.books.append(
                Books.of_step(
                    self,
                    weight=weight,
                    rates=rates,
                    alive=alive,
                    length=length,
                    ate_fish=ate_fish,
                    ate_food=ate_food,
                    pellets=pellets,
                    growth=grew,
                    free_growth=free_growth,
                    food_after=food_after,
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
            s.wariness = mortality.wariness_after(self, length)
        s.ration += ration
        gain = grew * length
        s.log_length += growth.lengthening(self, gain, log_condition)
        s.log_weight += gain
        s.number *= left
        s.food = food_after

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
        p, s = self.parameters, self.state
        growth_z, sex, share = self._types(species)
        sexes = np.where(sex > 0.0, female_share, np.where(sex < 0.0, 1.0 - female_share, 1.0))
        row = (1, sex.size)
        columns = Columns(
            species=np.full(sex.size, species, np.intp),
            growth_z=growth_z[None],
            sex=sex[None],
            female_share=np.where(sex > 0.0, 1.0, np.where(sex < 0.0, 0.0, female_share))[None],
            born=np.full(row, self.day - 365.0 * age_years),
            stocked=np.full(row, stocked),
            origin=np.full(row, origin, np.intp),
        )
        mean = np.full(row, np.log(length_mm))
        s.add(columns, number[:, None] * share * sexes, np.zeros(row), mean, ration[:, None])
        self.columns_changed()
        last = self.slices[species].stop
        new = slice(last - sex.size, last)
        if origin >= 0 and length_cv is None:
            s.log_length[:, new] += p.stocking_length_growth_exponent[:, None] * self.group.log_growth[:, new]
        elif length_cv is not None:
            apart = np.sqrt(np.maximum(0.0, length_cv**2 - p.length_cv**2) / (1.0 - p.growth_type_middle_share))
            s.log_length[:, new] += apart[:, None] * growth_z
        s.log_weight[:, new] = self.log_standard_weight(s.log_length[:, new], new)
        if weight_g is not None:
            at_mean = self.log_standard_weight(np.broadcast_to(mean, (s.members, sex.size)), new)
            s.log_weight[:, new] += np.log(weight_g) - at_mean

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
        s.spawn_gathered += self.by_day.spawning[self.day]
        for species in range(len(SPECIES)):
            if (year_day + 1) % self.pulse_slot_days[species] == 0 or self.day == 0:
                self._pulse(species)

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
        columns = s.columns
        of_age = (self.day + 1 - columns.born[:, groups]) / 365.0 >= p.mature_age_years[0]
        mature = self.longer(groups, p.mature_length_mm[:, species]) * of_age
        kilograms = s.number[:, groups] * np.exp(s.log_weight[:, groups]) / 1000.0
        spawners = total(kilograms * mature * columns.female_share[:, groups])
        if species == BASS:
            spawners = spawners * life.spawn_left_by_egg_predators(
                foraging.egg_predators(self), p.egg_predator_half_kg_per_ha[:, BASS], p.egg_predator_exponent[:, BASS]
            )
        young = ready * life.recruits(
            spawners, p.recruits_cap_per_ha[:, species], p.recruits_half_saturation_kg_per_ha[:, species]
        )
        larval_food = self.richness * s.plankton / p.plankton_capacity_kg_per_ha
        young = young * larval_food ** p.recruit_food_exponent[:, species]
        young = young * self.inputs.luck.recruitment[:, species, self.inputs.year[self.day]]
        young = young * self.inputs.local_spawning[species]
        young = np.where(young >= p.pulse_min_per_ha, young, 0.0)
        cost = np.where(
            columns.sex[:, groups] < 0.0, of_species(p.spawning_cost_male, species), of_species(p.spawning_cost_female, species)
        )
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

    def forget_empty(self) -> None:
        """Groups of hardly a fish are gone; now and then the others close up."""
        s = self.state
        s.number[s.number < self.parameters.group_min_per_ha[:, None]] = 0.0
        if self.day % DAYS_BETWEEN_TIDYING == 0 and s.close_up():
            self.columns_changed()
