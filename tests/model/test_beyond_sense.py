"""Ponds beyond sense die back within the year: fish without number, and water too hot to eat in."""

from __future__ import annotations

import numpy as np
import pytest
from laws import assert_books_close, plain
from reference import scalar_day

from pondpop.model.day import Engine
from pondpop.scenario import load
from pondpop.species import SPECIES, load_parameters

POND = """
title = "beyond sense"
[pond]
area_ha = 1
fertility = 1
[run]
start = 2024-03-01
years = 1
[strategies.a]
"""
FISH = """
[[stocking]]
species = "{}"
resident = true
per_ha = {}
length_in = {}
"""
MOST_IN_SENSE_KG_PER_HA = 1500.0  # of bluegill fed as much as they eat; evidence ponds hold up to some 1,000


def after_a_year(tmp_path, *stocked: tuple[str, int, int], water: str = "") -> np.ndarray:
    """kg/ha by species; the books of a step a month close."""
    file = tmp_path / "pond.toml"
    file.write_text(POND + water + "".join(FISH.format(*one) for one in stocked), "utf-8")
    engine = Engine(plain(load(file)))
    for day in range(364):
        engine.books = [] if day % 30 == 0 else None
        engine.run_day()
        for page in engine.books or ():
            assert_books_close(page, float(engine.water_c[0, day]))
    return np.array([engine.state.biomass()[0, groups].sum() for groups in engine.slices])


@pytest.mark.parametrize(
    ("stocked", "most_left_kg"),
    [
        (("bass", 1_000_000, 4), 300.0),
        (("bass", 1_000_000, 16), 300.0),
        (("bluegill", 1_000_000, 10), 1000.0),
        (("bass", 1_000_000, 35), 5000.0),  # 13,700 t of giants beyond any record; they take longest to starve
    ],
)
def test_fish_without_number_die_back(tmp_path, stocked, most_left_kg):
    left = after_a_year(tmp_path, stocked)
    assert left.sum() < most_left_kg, left


@pytest.mark.parametrize("species", SPECIES)
def test_no_fish_live_in_water_of_40_c(tmp_path, species):
    hot = f"[water]\nmonthly_c = {[40] * 12}\n"
    left = after_a_year(tmp_path, (species, 3000, 3), water=hot)
    assert left.sum() < 0.01, left


def test_a_pond_with_natural_food_is_not_crowded():
    p = scalar_day.one_member(load_parameters())
    assert p.crowding_from_kg_per_ha > 3 * MOST_IN_SENSE_KG_PER_HA
