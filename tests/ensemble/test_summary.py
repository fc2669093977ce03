"""Ensembles too large to be held: what is kept of them is right, whoever runs the blocks and in whatever order they come."""

import csv
import io

import numpy as np
import pytest
from small import dataset, pond, readings

from pondpop.checks import InputError
from pondpop.ensemble import run
from pondpop.ensemble.quantities import QUANTILES, _since_last_year, quantiles, quantities, yearly_csv
from pondpop.ensemble.run import compare
from pondpop.ensemble.summary import Gathered, summarise
from pondpop.species import TRAITS

OTHER = """
[[strategies.many.stocking]]
name = "more_bass"
species = "bass"
date = 2026-04-12
per_acre = 3
length_in = 12
"""


def test_the_table_of_years_tells_every_quantity_of_every_survey_by_strategy():
    one = pond(members=3)
    made = dataset(one, readings(one, 1.0))
    rows = list(csv.DictReader(io.StringIO(yearly_csv(made, "us"))))
    every = list(quantities(made))
    assert list(rows[0]) == ["strategy", "date", "quantity", "unit", "p10", "p50", "p90"]
    dates = [f"{date:%Y-%m-%d}" for date in made["survey_date"].values.astype("datetime64[D]").tolist()]
    assert [(row["strategy"], row["date"], row["quantity"]) for row in rows] == [
        (strategy, date, q.name) for strategy in one.strategies for date in dates for q in every
    ]
    crop = next(q for q in every if q.name == "bass_standing_crop")
    told = [row for row in rows if row["quantity"] == crop.name]
    middle = quantiles(crop.in_units("us"))[..., 1].ravel()
    assert [float(row["p50"]) for row in told] == pytest.approx(middle, rel=1e-3) and told[0]["unit"] == crop.unit("us")


@pytest.fixture(scope="module")
def scenario():
    return pond(members=5, extra=OTHER)


@pytest.fixture(scope="module")
def told(scenario):
    return summarise(scenario)


def test_values_at_the_end_are_those_of_a_comparison(scenario, told):
    for one in quantities(compare(scenario)):
        for strategy, values in zip(scenario.strategies, one.values, strict=True):
            kept = told["at_end"].sel(strategy=strategy, quantity=one.name)
            np.testing.assert_array_equal(kept, values[:, -1], err_msg=one.name)
            defined = told["defined"].sel(strategy=strategy, quantity=one.name)
            np.testing.assert_array_equal(defined, np.isfinite(values).sum(axis=0), err_msg=one.name)


def test_what_each_species_eats_is_told_of_all_its_prey_and_of_pellets_where_it_takes_them():
    dataset = compare(pond(members=1, only="few"))
    predators, prey = ([str(name) for name in dataset[axis].values] for axis in ("predator", "prey"))
    told = [one.name.removeprefix("eaten_by_") for one in quantities(dataset) if one.name.startswith("eaten_by_")]
    assert told == [f"{eater}_12_months_{food}" for eater in predators for food in prey
                    if food != "pellets" or TRAITS[eater].has("eats pellets")]  # fmt: skip
    assert "bass_12_months_benthos" in told and "bass_12_months_pellets" not in told


def test_the_share_of_a_strain_is_told_in_per_cent():
    made = compare(pond(members=1, only="few"))
    made["other_blood"][:] = 0.25
    (share,) = (one for one in quantities(made) if one.name == "bass_florida_share")
    assert share.kind == "percent" and (share.values == 25.0).all()


def test_quantities_stand_in_the_order_of_their_kinds():
    listed = [one.name for one in quantities(compare(pond(members=1, only="few")))]
    order = ["bass_psd", "bass_psd_as_sampled", "bass_wr_8_12in", "bluegill_psd", "bass_density", "bass_standing_crop",
             "bluegill_density", "total_standing_crop", "bass_density_8_12in", "bass_age0_density", "forage_carnivore_ratio",
             "edible_forage_carnivore_ratio", "harvestable_share", "bass_above_5lb_density", "bass_above_5lb_in_pond",
             "bass_largest_weight", "group_survivors:old_bass", "group_length:old_bass", "group_weight:old_bass",
             "bass_harvest_number_12_months", "bass_harvest_biomass_12_months", "eaten_by_bass_12_months_bass"]  # fmt: skip
    assert [name for name in listed if name in order] == order


def test_blocks_in_any_order_change_no_bit(scenario, told, monkeypatch):
    monkeypatch.setattr(run, "BLOCK_MEMBERS", 2)
    monkeypatch.setattr("pondpop.ensemble.summary.run_all", lambda jobs, *_: reversed(list(run.run_all(jobs, None, None))))
    assert summarise(scenario).identical(told)


def test_quantiles_are_right_to_two_parts_in_a_thousand():
    values = np.random.default_rng(1).lognormal(2.0, 4.0, (4001, 3))
    values[:, 1] = 0.0
    values[::2, 2] = np.nan
    gathered = Gathered(4001)
    for first in (2000, 0):  # blocks as they come
        gathered.add(first, {"crop": values[first : first + 2000 + first // 1000], "none": np.full((2000, 3), np.nan)})
    found = gathered.quantiles()
    wanted = np.nanquantile(values, QUANTILES, axis=0, method="nearest").T
    np.testing.assert_allclose(found[0], wanted, rtol=2.1e-3, atol=2.1e-6)
    assert np.isnan(found[1]).all()
    alone = Gathered(3)
    alone.add(0, {"crop": np.array([[np.nan], [7.0], [np.nan]])})
    np.testing.assert_allclose(alone.quantiles(), 7.0, rtol=2e-3)  # of one member that has a value, that


def test_so_many_members_as_are_asked_for(scenario):
    progress = []
    assert summarise(pond(members=1, only="few"), members=3, progress=lambda *done: progress.append(done)).sizes["member"] == 3
    assert progress[0] == (0, 3) and progress[-1] == (3, 3) and progress == sorted(progress)
    progress.clear()
    summarise(pond(members=3), progress=lambda *done: progress.append(done))
    assert progress == [(0, 6), (3, 6), (6, 6)]  # members of both strategies, each by itself
    for members in (0, 10_000_001):
        with pytest.raises(InputError, match="a whole number from 1 to 10,000,000"):
            summarise(scenario, members=members)


def test_a_year_before_a_survey_is_the_twelve_whole_months_before_its_month():
    monthly = 2.0 ** np.arange(30.0)
    before = _since_last_year(monthly[None, None], np.array([0, 1, 5, 12, 13, 30]))
    assert before[0, 0].tolist() == [0, 1, 2**5 - 1, 2**12 - 1, 2**13 - 2, 2**30 - 2**18]


def test_quantiles_are_of_the_members_that_have_a_value():
    values = np.random.default_rng(3).normal(size=(2, 40, 3))
    values[0, ::3, 1] = np.nan
    values[1, :, 2] = np.nan
    found = quantiles(values)
    for strategy, date in np.ndindex(2, 3):
        some = values[strategy, :, date][np.isfinite(values[strategy, :, date])]
        wanted = np.quantile(some, [0.1, 0.5, 0.9]) if some.size else np.full(3, np.nan)
        np.testing.assert_allclose(found[strategy, date], wanted)
