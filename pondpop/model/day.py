"""The order of a day, and the only place that changes a pond.

`Engine.run_day` and `Engine.step` read as the list of what happens in a day; `run` is the loop over days (a `Simulation`
takes them one by one). Every rate uses the state at the start of the step; what is eaten is scaled to what died and to
what the pond's food gave, so that the books of fish, biomass and energy close. Arrays are [member, group] unless said;
see `state` for the shapes and `inputs` for what comes in.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pondpop.arrays import Array, keep_memory, total
from pondpop.model import (
    bioenergetics,
    feeding,
    grid,
    harvest,
    hauling,
    joining,
    lengths,
    mortality,
    oxygen,
    plants,
    predation,
    recruitment,
    stocking,
    whole_fish,
)
from pondpop.model.budget import Books, Flows, Ledger, Step
from pondpop.model.community import community, species_present
from pondpop.model.forcing import DayFactors
from pondpop.model.inputs import Inputs, RemovalInput
from pondpop.model.state import GroupFactors, KindFactors, Pond, SpreadFactors, State, of_foods
from pondpop.model.strains import strains_of
from pondpop.units import G_PER_KG

DAYS_BETWEEN_TIDYING = 32  # groups that have become alike join then, and the columns of empty ones go


class Engine(Pond):
    """A block of members of one strategy, stepped day by day.

    `flows` is what moved in the last day, or since the last of the days `flows_from`, and then whole only when the next of
    these begins, or the run has ended; of no days steps are not summed. `books` keeps the accounts of every step if asked.
    """

    def __init__(self, inputs: Inputs, keep_books: bool = False, flows_from: Collection[int] | None = None) -> None:
        keep_memory()
        p = inputs.parameters.of_kinds(species_present(event.species for event in inputs.stockings))
        self.inputs = inputs
        self.parameters, self.of_species = p, {}
        self.community = community(p.kinds)
        self.day = 0
        self.tables = predation.predation_tables(p)
        self.meals = feeding.meals(p)
        self.by_day = DayFactors(inputs, p)
        self.strains = strains_of(inputs, self.by_day.water_c.T)
        self.hauls = hauling.hauls_of(inputs, self.by_day.water_c)
        self.food_capacity = of_foods(p, "capacity_kg_per_ha")
        self.wary_from_day = np.max(p.naive_days * (np.log(np.maximum(p.naive_ease, 1.0)) - np.log(np.finfo(float).epsneg)))
        self.thin_below = np.log(p.starvation_below_condition)[:, None]
        self.ration_memory = -np.expm1(-1.0 / (inputs.steps_per_day * p.ration_memory_days[:, None]))
        counters = len(self.community) + sum(len(one.names) for one in self.strains)
        self.state = State.empty(inputs.members, self.food_capacity, counters)
        self.richness = np.ones((len(self.community.foods), inputs.members))
        self.algae_richness = np.ones(inputs.members)
        self.fish_kg_per_ha = np.zeros(inputs.members)
        self.night: oxygen.Night | None = None  # the last one, where oxygen is followed, and
        self.killed_share: Array | None = None  # what share of the weight of fish it killed [member]; None: none
        self.whole = inputs.luck.whole is not None
        self.stocked_as = whole_fish.names_of_stockings(inputs)
        self.rule_holds = [np.zeros(inputs.members, dtype=bool) for _ in inputs.fishing]
        self.angled = any(self.by_day.angled)
        self.flows_from = None if flows_from is None else frozenset(flows_from)
        self.flows, self.ledger = Flows.zero(inputs.members), Ledger()
        self.books: list[Books] | None = [] if keep_books else None
        self.kind_factors = KindFactors(p)
        self.columns_changed()
        self.begin_day()

    # ------------------------------------------------------------------ a day

    def run_day(self, taken: Sequence[RemovalInput] = ()) -> None:
        """All of one day, in order; afterwards `day` is the next day's number, and what it brings is known.

        taken: removals beside those of the inputs.
        """
        if self.flows_begin():
            self.flows = Flows.zero(self.inputs.members)
        self.pass_night()
        self.stock()
        self.remove((*self.inputs.removals, *self.numbered(taken)))
        for part in range(self.inputs.steps_per_day):
            self.step(part)
        self.spawn()
        self.forget_empty()
        self.day += 1
        if self.flows_begin() or self.day == self.inputs.days:
            self.ledger.cast_up(self, self.flows)
        if self.day < self.inputs.days:
            self.begin_day()

    def flows_begin(self) -> bool:
        """Whether flows begin anew with this day."""
        return self.flows_from is None or self.day in self.flows_from

    def begin_day(self) -> None:
        """What the day brings: temperature and light, and the pond's fertility and cover, when they change."""
        inputs, day = self.inputs, self.day
        self.today = self.by_day.of(day)
        if self.by_day.fertility_changes[day]:
            self.fertility = self.by_day.fertility[day] * inputs.luck.productivity[:, inputs.year[day]]
            self.richness_of_day = feeding.richness(self.parameters, self.fertility)
            self.algae_of_day = feeding.rich_in_algae(self.fertility, self.parameters.algae_light_limit)
            self.share_of_large = feeding.share_of_large(self.parameters, self.fertility)
        share, stands = self.by_day.area_share, self.by_day.plants
        self.area_share = float(share[day])
        if self.by_day.cover_changes[day]:
            planted = None if stands is None else plants.relative_cover(self.parameters, stands[day]) * share[day]
            self.leaving_cover = predation.leaving_cover(self.parameters, inputs.cover[day] * share[day], planted)

    def pass_night(self) -> None:
        """The water of the night before this day, and of the day: its oxygen, whom that kills, and how well fish will eat."""
        if self.inputs.oxygen is None:
            return
        s = self.state
        night = self.night = oxygen.night(self)
        s.oxygen, s.bloom, s.lately, s.waste = night.dusk, night.bloom, night.lately, night.waste
        if isinstance(night.kwh, np.ndarray):
            self.flows.aeration_kwh += night.kwh
        killed, self.killed_share = oxygen.killed(self, night), None
        if killed is not None:
            dead = s.number * killed
            if self.whole:
                dead = s.number - whole_fish.left(self, s.number, s.number - dead, whole_fish.NIGHT)
            weight = s.weight()
            self.killed_share = total(dead * weight) / np.maximum(total(s.number * weight), 1e-300)
            self.flows.suffocated(self, dead, oxygen.killer(self, night))
            s.number -= dead
        eats = oxygen.eats(night)
        if eats is not None:
            today = self.today
            less = {name: getattr(today, name) * eats[:, None] for name in ("max_intake", "intake", "search")}
            self.today = today._replace(**less)

    def stock(self) -> None:
        """Put in the fish that are stocked on this day."""
        for event in self.inputs.stockings:
            if event.day == self.day:
                self.add(stocking.stocked(self, event))
        for haul in self.hauls:
            if haul.day == self.day:
                self.unload(haul)

    def unload(self, haul: hauling.Haul) -> None:
        """Let die at once what a haul costs on its day."""
        s, groups = self.state, self.slices[haul.species]
        dead = s.number[:, groups] * haul.dead_at_once(s.columns.origin[:, groups])
        if self.whole:
            number = s.number[:, groups]
            dead = number - whole_fish.left(self, number, number - dead, whole_fish.HAUL, groups)
            if haul.of is not None:
                dead *= haul.of[:, None]
        self.flows.gone(haul.species, "hauling", dead, s.kilograms(dead, groups))
        s.number[:, groups] -= dead

    def numbered(self, taken: Sequence[RemovalInput]) -> list[RemovalInput]:
        """Removals beside those of the inputs, numbered behind these, so that each has luck of its own."""
        return [replace(one, number=len(self.inputs.removals) + k) for k, one in enumerate(taken)]

    def remove(self, events: Sequence[RemovalInput]) -> None:
        """Take out, or let die, what those of the events that are of this day ask for."""
        s = self.state
        for event in events:
            if event.day != self.day:
                continue
            groups = self.slices[event.species]
            left = harvest.left_by_removal(self, event)
            fish = s.number[:, groups]
            if self.whole:
                left = whole_fish.left_by_removal(self, left, fish, groups, event.number)
            if event.of is not None:
                left = left.where(event.of[:, None], s.low[:, groups], s.high[:, groups])
            kilograms = s.biomass(groups)
            self.flows.gone(event.species, event.cause, fish * (1.0 - left.number), kilograms * (1.0 - left.weight))
            s.number[:, groups] *= left.number
            some = left.number > 0.0
            s.log_weight[:, groups] += np.log(np.where(some, left.weight, 1.0) / np.where(some, left.number, 1.0))
            s.log_length[:, groups] += left.longer
            s.spread[:, groups] *= left.spread
            self.spreads_changed()
            s.low[:, groups], s.high[:, groups] = left.low, left.high
            s.uncut = s.uncut and lengths.uncut(left.low, left.high)

    def step(self, part: int = 0) -> None:
        """Meeting, feeding, deaths, growth and the renewal of the pond's food, over one step."""
        s, length = self.state, 1.0 / self.inputs.steps_per_day
        weight = s.weight()
        biomass = s.number * weight
        biomass *= 1e-3
        self.fish_kg_per_ha = total(biomass)
        place = grid.place_on_grid(self.log_length_of_weight(), self.first_points, len(self.community))
        log_condition = self.log_condition()

        max_intake = bioenergetics.max_intake(self)
        grown = bioenergetics.grown_shares(self)
        for strains in self.strains:
            max_intake[:, self.slices[strains.species]] *= strains.intake(grown.get(strains.species))
        appetite = bioenergetics.appetite(self, max_intake, log_condition, grown)
        food_met = feeding.food_met(self, place, weight)
        sated = food_met.all_foods + 1.0
        hunt = predation.hunt(self, place, biomass, appetite, sated)
        deaths = mortality.deaths(self, biomass, log_condition, hunt, length)
        log_left, log_weight_left = deaths.log_shares_left(length)
        left = np.exp(log_left)
        alive = mortality.mean_share_alive(log_left, left)
        weight_left = np.exp(log_weight_left)
        weight_alive = mortality.mean_share_alive(log_weight_left, weight_left)

        sated[:, self.hunters] += hunt.fish_met
        pellets = feeding.eat_pellets(self, appetite, biomass, sated)
        self.richness, self.algae_richness = feeding.richness_with_pellets(self, pellets, biomass)
        food = feeding.eat_food(self, appetite, biomass, food_met, sated, pellets, length)
        biomass_alive = biomass * weight_alive
        ate_fish, fish_eaten = predation.eat_fish(self, place, hunt, biomass_alive)

        free_growth = bioenergetics.free_growth(self, weight, food.energy, ate_fish, pellets, sated)
        grew = bioenergetics.within_limits(self, free_growth)
        shares = (left, weight_left)
        whole = whole_fish.deaths(self, deaths, length, alive, weight_alive, shares, grew, part) if self.whole else None
        gain = grew if length == 1.0 else grew * length
        step = Step(
            length=length,
            weight=weight,
            biomass=biomass,
            deaths=deaths,
            alive=alive,
            weight_left=weight_left,
            weight_alive=weight_alive,
            biomass_alive=biomass_alive,
            gain=gain,
            sated=sated,
            ate_fish=ate_fish,
            food=food,
            pellets=pellets,
            fish_eaten=fish_eaten,
            growth=grew,
            free_growth=free_growth,
            whole=whole,
        )
        if self.flows_from is None or self.flows_from:
            self.flows.add(self, step)
            self.ledger.add(self, step)
        if self.books is not None:
            self.books.append(Books.of_step(self, step))

        ration = food.ate  # what was eaten is in the accounts now
        ration[:, self.hunters] += ate_fish
        if pellets is not None:
            ration += pellets
        ration /= max_intake
        ration -= s.ration
        ration *= self.ration_memory
        if self.angled:
            s.wariness = harvest.wariness_after(self, length)
        s.ration += ration
        lengthened = bioenergetics.lengthening(self, gain, log_condition, grown, length)
        s.grown += lengthened
        s.log_length += lengthened
        s.log_length += deaths.longer
        if deaths.spread is not None:
            s.spread *= deaths.spread
            self.spreads_changed()
        log_weight_left -= log_left
        s.log_weight += log_weight_left
        s.log_weight += gain
        if whole is None:
            s.number *= left
        else:
            s.number = whole.number
        s.food = food.after

    def spawn(self) -> None:
        """Gather spawning as temperature allows and release it as pulses of young; parents pay for it."""
        inputs, s = self.inputs, self.state
        year_day = int(inputs.year_day[self.day])
        if year_day == 0:
            s.spawn_gathered[:] = 0.0
            s.spawn_released[:] = 0.0
        kinds = len(self.community)
        s.spawn_gathered[:, :kinds] += self.by_day.spawning[self.day]
        for strains, counters in recruitment.counters_of_strains(self):
            s.spawn_gathered[:, counters] += strains.spawning[self.day]
        for kind in self.by_day.pulses[self.day]:
            pulse = recruitment.pulse(self, kind)
            if pulse is None:
                continue
            s.spawn_released[:, pulse.counters] += pulse.released
            groups = self.slices[self.community.species[kind]]
            parents = s.biomass(groups)
            self.flows.spawning_biomass[:, self.community.species[kind]] -= total(parents * np.expm1(pulse.parents_gain))
            s.log_weight[:, groups] += pulse.parents_gain
            if pulse.young.any():
                self.add(recruitment.young_groups(self, kind, pulse.young, pulse.blood))

    def forget_empty(self) -> None:
        """Groups of hardly a fish are gone; now and then those that have become alike join and the others close up."""
        s = self.state
        if self.whole:
            number = whole_fish.made_whole(self)
            self.ledger.make_whole(self, number, self.flows)
            s.number = number
        few = s.number < self.parameters.group_min_per_ha[:, None]
        few &= s.number > 0.0
        if few.any():
            where = np.nonzero(few)
            last = s.number[where]
            self.ledger.add_gone(self, where, "last_few", last, last * np.exp(s.log_weight[where]) / G_PER_KG)
            s.number[where] = 0.0
        if self.day % DAYS_BETWEEN_TIDYING == 0:
            self.ledger.cast_up(self, self.flows)
            joined = s.join(joining.alike(self))
            if s.close_up() or joined:
                self.columns_changed()

    # ------------------------------------------------------------------ what a day changes besides

    def add(self, groups: stocking.Groups) -> None:
        """Add the groups of one origin."""
        if self.whole:
            groups = whole_fish.newcomers(self, groups, self.stocked_as)
        self.flows.come(groups.columns, groups.number, groups.log_weight)
        self.ledger.make_room(self.slices[int(groups.columns.species[0])].stop, len(groups.columns))
        self.state.add(*groups)
        self.columns_changed()

    def let_rule_hold(self, rule: int, holds: NDArray[np.bool_]) -> None:
        """Say in which members [member] the condition of a reacting harvest rule holds from now on."""
        self.rule_holds[rule] = holds

    def columns_changed(self) -> None:
        """Remake what depends on which groups there are."""
        s = self.state
        self.group = GroupFactors(self.parameters, self.kind_factors, s.columns)
        if self.whole:
            self.group_keys = whole_fish.keys(s.columns, self.stocked_as)
        self.slices = s.species_slices()
        for strains in self.strains:
            groups = self.slices[strains.species]
            strains.see(s.columns.blood[:, groups])
            self.group.log_asymptotic_length[:, groups] += np.log(strains.factor("strain_length"))
        here = self.community
        self.columns_of_kind = np.array([self.slices[k].stop - self.slices[k].start for k in here.species])
        self.hunters = slice(0, self.slices[here.species[here.predators - 1]].stop)
        self.first_points = grid.first_points(s.members, np.searchsorted(here.species, s.columns.species), len(here))
        self.living_hunters = predation.living_hunters(self)
        self.last_stocked_of = s.columns.stocked.max(axis=0)
        self.last_stocked = float(np.max(self.last_stocked_of, initial=-np.inf))
        self.spreads_changed()

    def spreads_changed(self) -> None:
        """Remake what depends on how the lengths of groups are spread."""
        self.spreads = SpreadFactors(self.state.spread, self.group.ws_slope)


Observer = Callable[[Engine], None]
"""Looks at a pond at the start of a day, before that day's events, and once more at the end of the run.

`engine.day` is the day that begins, `engine.flows` what moved in the day before, or since some day (see `Engine`)."""


def run(
    inputs: Inputs,
    observers: Sequence[Observer] = (),
    until: int | None = None,
    keep_books: bool = False,
    flows_from: Collection[int] | None = None,
) -> Engine:
    """Run a block of members to the start of the day `until`, by default to the end of the run.

    Every observer is called at the start of each day, in their order, and at the end. Returns the engine as it stands.
    """
    engine = Engine(inputs, keep_books, flows_from)
    last = inputs.days if until is None else until
    while engine.day < last:
        for observe in observers:
            observe(engine)
        engine.run_day()
    for observe in observers:
        observe(engine)
    return engine
