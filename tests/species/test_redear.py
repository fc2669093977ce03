"""Redear: snails of its own, few and early young, none where bluegill crowd, and no cost where there are none."""

from __future__ import annotations

import numpy as np
import pytest
from small import pond

import pondpop
from pondpop.ensemble.draws import Prior
from pondpop.ensemble.prepare import prepare
from pondpop.model import feeding, recruitment
from pondpop.model.community import ALGAE, SNAILS, community, species_present
from pondpop.model.day import Engine
from pondpop.observe import indices
from pondpop.species import KINDS, SPECIES, load_parameters

BASS, BLUEGILL, REDEAR = (SPECIES.index(name) for name in ("bass", "bluegill", "redear"))


def stocked(per_acre: float, length_in: float = 6) -> str:
    of = f"resident = true\nper_acre = {per_acre}\nlength_in = {length_in}"
    return f'\n[[stocking]]\nname = "redear"\nspecies = "redear"\n{of}\n'


def engine(extra: str = "", days: int = 0, members: int = 3) -> Engine:
    scenario = pond(members, 2, extra, only="few")
    strategy = scenario.strategies["few"]
    made = Engine(prepare(scenario, strategy, *Prior().draw(scenario, strategy, 0, members)))
    for _ in range(days):
        made.run_day()
    return made


def test_it_weighs_what_its_published_equation_says_and_has_its_own_lengths():
    assert float(indices.standard_weight(200.0, "redear")) == pytest.approx(162, abs=0.5)
    assert indices.category_inches("redear") == (4, 7, 9, 11, 13)


def test_a_pond_without_redear_has_neither_its_columns_nor_snails():
    made = engine(days=1)
    assert set(made.community.kinds) == {"bass", "bluegill"} and made.state.food.shape[0] == 3
    there = engine(stocked(50), days=1)
    assert "redear" in there.community.kinds and there.community.foods[SNAILS] == "snails"
    minnows = stocked(50) + stocked(900, 2).replace("redear", "minnow")
    some = engine(minnows, days=1)
    slopes = load_parameters().of_kinds(SPECIES).standard_weight_slope[0, some.state.columns.species]
    np.testing.assert_array_equal(some.group.ws_slope[0], slopes)  # each group has the parameters of its kind
    assert community(tuple(species_present(range(len(SPECIES))))).kinds == SPECIES


def test_redear_of_which_there_are_none_change_nothing():
    """A stocking of none gives the axes of kinds and foods their full length; the pond is the same."""
    plain, none = (engine(extra, days=300) for extra in ("", stocked(0)))
    assert len(none.community) == len(plain.community) + 1
    for name in ("number", "log_weight", "log_length"):
        mine = [getattr(e.state, name)[e.state.number > 0.0] for e in (plain, none)]
        np.testing.assert_allclose(mine[1], mine[0], rtol=1e-10)


def test_only_redear_long_enough_eat_snails():
    p = load_parameters()
    use = feeding.food_use(p)[SNAILS, 0]
    assert not use[[k for k in range(len(KINDS)) if k != p.kinds.index("redear")]].any()
    own = use[p.kinds.index("redear")]
    assert (np.diff(own) >= 0.0).all() and own[0] < 0.001 < 0.99 < own[-1]
    fed = engine(stocked(300, 7), days=150)
    before = engine(stocked(300, 7)).state.food
    assert (fed.state.food[SNAILS] < 0.9 * before[SNAILS]).all()
    np.testing.assert_allclose(fed.state.food[ALGAE], before[ALGAE], rtol=1e-12)


def test_it_spawns_in_cooler_water_and_for_a_shorter_time_than_bluegill():
    p, day = load_parameters(), np.arange(365)[:, None]
    water_c = 17.0 + 12.0 * np.cos(2 * np.pi * (day - 205) / 365.0)
    redear, bluegill = (
        recruitment.spawning_of_day(p, p.kinds.index(name), water_c, day)[:, 0] * p.spawning_cycle_days[0, p.kinds.index(name)]
        for name in ("redear", "bluegill")
    )
    begin, end = ([days[0] for days in (np.flatnonzero(s[::way] > 0.5) for s in (redear, bluegill))] for way in (1, -1))
    assert begin[0] < begin[1] - 5 and end[0] > end[1] + 10
    assert (redear > 0.5).sum() < (bluegill > 0.5).sum()


def test_where_bluegill_crowd_hardly_a_young_redear_is_left_and_bluegill_are_no_worse_for_redear():
    """No redear young in two years of crowding by bluegill (Elrod 1971)."""
    p = load_parameters()
    names = ("egg_predator_half_kg_per_ha", "egg_predator_exponent")
    half, power = (getattr(p, name)[:, p.kinds.index("redear")] for name in names)
    left = recruitment.spawn_left_by_egg_predators(np.array([5.0, 250.0]), half, power)
    assert left[0] > 0.9 and left[1] < 0.01
    crowd = '\n[[stocking]]\nname = "crowd"\nspecies = "bluegill"\nresident = true\nper_acre = 4000\nlength_in = 4.5\n'

    def young(extra: str) -> float:
        s = engine(stocked(60, 8) + extra, days=200).state
        return float((s.number * ((s.columns.species == REDEAR) & (s.columns.origin < 0))).sum(axis=1).mean())

    assert young(crowd) < 0.1 * young("")
    with_redear, without = (engine(extra, days=300).state for extra in (stocked(60), ""))
    crops = [float((s.biomass()[:, s.columns.species == BLUEGILL]).sum()) for s in (with_redear, without)]
    assert 0.9 * crops[1] < crops[0] <= 1.01 * crops[1]


def test_it_is_projected_harvested_and_told(tmp_path):
    harvest = '\n[[harvest]]\nspecies = "redear"\nlength_in = [7, 14]\nshare = 0.3\n'
    scenario = pond(2, 2, stocked(150, 7.5) + harvest, only="few")
    text = pondpop.describe(scenario)
    assert "redear" in text
    dataset = pondpop.compare(scenario)
    assert float(dataset["harvest_number"].sel(species="redear").sum()) > 0.0
    assert np.isfinite(dataset["psd"].sel(species="redear", length_category="quality").values).any()
    page = tmp_path / "page.html"
    pondpop.write_report([dataset], page)
    words = page.read_text("utf-8")
    assert "Lengths of redear by year" in words and "Redear harvested in 12 months" in words
    pondpop.write_report([pondpop.compare(pond(2, 1, "", only="few"))], page)
    assert "redear by year" not in page.read_text("utf-8")
