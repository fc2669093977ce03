"""What must hold on any day of any pond, and ponds to try it on; for the tests and for benchmarks/fuzz_long.py."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np
from small import pond

from pondpop.ensemble import results
from pondpop.ensemble.prepare import prepare, run_days
from pondpop.ensemble.quantities import quantities, yearly_csv
from pondpop.model import bioenergetics
from pondpop.model.day import Books, Engine
from pondpop.model.inputs import Inputs, Luck
from pondpop.model.state import of_foods
from pondpop.observe import indices
from pondpop.scenario import Scenario
from pondpop.species import SPECIES, load_parameters

BASS = SPECIES.index("bass")

UNDEFINED_IN_PLACES = {  # NaN where there are no such fish
    "relative_weight", "largest_weight", "group_survivors", "group_length", "group_weight", "group_largest_weight",
    "psd", "relative_weight_of_category", "length_at_age", "female_share",
}  # fmt: skip
OF_EITHER_SIGN = {"growth_biomass", "oxygen_moved"}  # fish also lose weight

EVERYTHING = """
[[strategies.few.harvest]]
species = "bass"
length_in = [8, 16]
lb_per_acre = 20
[[strategies.few.harvest]]
name = "panfish"
species = "bluegill"
length_in = [5, 12]
share = 0.4
[[strategies.few.feeding]]
lb_per_acre_day = 3
[[strategies.few.angling]]
hours_per_acre = 100
death_after_release = 0.2
[[strategies.few.removal]]
species = "bass"
date = 2026-07-01
length_in = [10, 20]
share = 0.5
[[strategies.few.stocking]]
species = "shad"
date = 2026-05-01
per_acre = 500
length_in = 3
[[strategies.few.stocking]]
species = "minnow"
date = 2026-04-15
per_acre = 1000
length_in = 2
[[strategies.few.stocking]]
name = "fingerlings"
species = "bass"
date = 2026-06-01
per_acre = 75
length_in = 2
"""


def inputs(extra: str = EVERYTHING, members: int = 2, years: int = 1, steps: int = 1, parameters=None, strategy="few"):
    scenario = pond(members, years, extra)
    chosen = scenario.strategies[strategy]
    luck = Luck.none(members, run_days(scenario), scenario.run.last_year, len(chosen.stocking))
    return prepare(scenario, chosen, parameters or load_parameters(), luck, steps)


def first(scenario: Scenario) -> str:
    return next(iter(scenario.strategies))


def plain(scenario: Scenario, members: int = 1, **changes: Any) -> Inputs:
    """The first strategy without any doubt: the model's own parameters and no luck."""
    strategy = scenario.strategies[first(scenario)]
    luck = Luck.none(members, run_days(scenario), scenario.run.last_year, len(strategy.stocking))
    return replace(prepare(scenario, strategy, load_parameters(), luck), **changes)


def assert_sound(engine: Engine) -> None:
    s = engine.state
    for name in ("number", "ration", "plankton", "benthos", "wariness", "spawn_gathered", "spawn_released"):
        values = getattr(s, name)
        assert np.isfinite(values).all() and (values >= 0.0).all(), name
    assert np.isfinite(s.log_weight).all() and np.isfinite(s.log_length).all()
    for field in fields(engine.flows):
        values = getattr(engine.flows, field.name)
        assert np.isfinite(values).all() and (field.name in OF_EITHER_SIGN or (values >= 0.0).all()), field.name


def assert_books_close(page: Books, water_c: float) -> None:
    """Fish, biomass and energy of one step: all that died has a cause, all that was eaten was there, all that grew was eaten."""
    p, kind = load_parameters(), page.columns.species
    assert all(np.isfinite(rate).all() and (rate >= 0.0).all() for rate in page.rates.values())
    total = sum(page.rates.values())
    deaths = sum(page.number * rate * page.alive * page.length for rate in page.rates.values())
    left = page.number * np.exp(-total * page.length)
    np.testing.assert_allclose(deaths + left, page.number, rtol=1e-9, atol=1e-12, err_msg="fish")
    assert (deaths <= page.number * (1.0 + 1e-9)).all()

    biomass = page.number * page.weight / 1000.0
    assert all(np.isfinite(rate).all() and (rate >= 0.0).all() for rate in page.weight_rates.values())
    of_weight = sum(page.weight_rates.values())
    lost = sum(biomass * rate * page.weight_alive * page.length for rate in page.weight_rates.values())
    np.testing.assert_allclose(
        lost + biomass * np.exp(-of_weight * page.length), biomass, rtol=1e-9, atol=1e-12, err_msg="weight of fish"
    )
    died = (biomass * page.weight_rates["predation"] * page.weight_alive).sum(axis=1)
    ate = (biomass[:, kind == BASS] * page.ate_fish).sum(axis=1)
    np.testing.assert_allclose(ate, died, rtol=1e-8, atol=1e-12, err_msg="prey")
    for r, eaten in enumerate(page.ate_food):
        assert (eaten >= 0.0).all()
        taken = (eaten * biomass).sum(axis=1) * page.length
        capacity = of_foods(p, "capacity_kg_per_ha")[r]
        renewed = page.food_after[:, r] - page.food[:, r] + taken
        assert (renewed >= -1e-9 * page.food[:, r]).all(), "food came from nowhere or was lost"
        assert (page.food_after[:, r] <= capacity * (1.0 + 1e-9)).all()
        gone = page.food[:, r] - page.food_after[:, r]
        assert (taken <= gone + renewed + 1e-9).all()

    energy = (page.ate_food * of_foods(p, "energy_j_per_g")[: len(page.ate_food), :, None]).sum(axis=0)
    energy[:, kind == BASS] += page.ate_fish * p.prey_fish_energy_j_per_g
    energy += page.ate_pellets * p.pellet_energy_j_per_g
    kept = ((1 - p.egested_share) * (1 - p.excreted_share - p.digestion_cost_share))[0, kind]
    rise = p.body_energy_exponent[0, BASS]
    held = np.broadcast_to(p.body_energy_j_per_g[0, kind], page.weight.shape).copy()
    held[:, kind == BASS] *= (1.0 + rise) * (page.weight[:, kind == BASS] / 100.0) ** rise
    spent = respired(page, water_c)
    scale = np.abs(energy * kept) + np.abs(spent) + 1e-9
    apart = np.abs((page.growth + page.refused) * held - (energy * kept - spent)) / scale
    assert apart.max(initial=0.0) < 1e-8, "energy"


def assert_lawful_days(scenario: Scenario, days: int) -> None:
    """The first strategy day by day: sound, its books closed, no more caught than was there."""
    engine = Engine(plain(scenario), keep_books=True)
    assert engine.books is not None
    for day in range(min(days, engine.inputs.days)):
        engine.run_day()
        assert_sound(engine)
        for page in engine.books:
            assert_books_close(page, float(engine.water_c[0, day]))
            assert_catch_was_there(page)
        engine.books.clear()


def assert_catch_was_there(page: Books) -> None:
    for cause in ("harvest", "release"):
        if cause in page.rates:
            caught = page.number * page.rates[cause] * page.alive * page.length
            assert (caught <= page.number * (1.0 + 1e-12)).all(), cause


def assert_dataset_sound(dataset: Any) -> None:
    for name, (_, _, _) in results.VARIABLES.items():
        values = dataset[name].values
        known = values[np.isfinite(values)]
        if name not in UNDEFINED_IN_PLACES:
            assert known.size == values.size, name
        assert not np.isinf(values).any(), name
        assert name in OF_EITHER_SIGN or (known >= 0.0).all(), name
    number, biomass = dataset["number"].values, dataset["biomass"].values
    assert (biomass[number == 0.0] == 0.0).all()
    for species in ("bass", "bluegill"):
        stock = indices.category_numbers(number[..., SPECIES.index(species), :], species).sum(axis=-1)
        assert (np.isfinite(indices.psd(number, species)) == (stock > 0.0)).all()
    for quantity in quantities(dataset):
        assert not np.isinf(quantity.values).any(), quantity.name
        known = quantity.values[np.isfinite(quantity.values)]
        assert (known >= -1e-9).all(), quantity.name
        if quantity.kind == "percent" and "_wr_" not in quantity.name:
            assert (known <= 100.0 + 1e-9).all(), quantity.name
    assert "nan" not in yearly_csv(dataset, "us")


def respired(page, water_c: float) -> np.ndarray:
    """Respiration J per g and day, worked out here from the parameters once more [member, group]."""
    p, kind = load_parameters(), page.columns.species

    def of(name: str) -> np.ndarray:
        return getattr(p, name)[0, kind]

    by_dome = bioenergetics.temperature_dome(
        np.minimum(water_c, of("respiration_optimum_c")), of("respiration_dome_q"), of("respiration_optimum_c"),
        of("respiration_maximum_c"),
    )
    exponential = np.exp(of("respiration_per_c") * np.minimum(water_c, of("respiration_flat_above_c")))
    warmth = np.where(np.isnan(of("respiration_per_c")), by_dome, exponential)
    cold = 1.0 / (1.0 + np.exp(-(p.winter_rest_below_c[0] - water_c) / p.winter_rest_width_c[0]))
    awake = 1.0 - of("winter_rest_share")
    size = (page.weight / 100.0) ** np.nan_to_num(of("winter_rest_size_exponent"))
    rest = 1.0 - cold + cold * awake + max(0.0, cold - 1e-6) * awake * (size - 1.0)
    activity = of("activity_multiplier") * (1.0 + np.nan_to_num(of("activity_per_kg")) * page.weight / 1000.0)
    dome = bioenergetics.temperature_dome(water_c, of("intake_dome_q"), of("intake_optimum_c"), of("intake_maximum_c"))
    eats = dome / (1.0 + np.exp(-(water_c - of("feeding_stops_below_c")) / of("feeding_stop_width_c")))
    eats = np.maximum(p.intake_dome_floor[0], eats)
    activity = activity * (1.0 + np.nan_to_num(of("searching_cost")) * eats * page.searching)
    oxygen = of("respiration_at_1_g") * page.weight ** of("respiration_exponent") * warmth * rest * activity
    return oxygen * p.oxygen_energy_j_per_g[0]
