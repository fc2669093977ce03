"""The Dataset and its file: named dimensions, variables that fit together, text that any reader of netCDF finds."""

import numpy as np
import pytest
import xarray as xr
from scipy.io import netcdf_file
from small import pond

from pondpop.checks import InputError, RunError
from pondpop.ensemble import results
from pondpop.ensemble.run import compare
from pondpop.observe import indices


@pytest.fixture(scope="module")
def dataset():
    return compare(pond(members=2, years=2))


@pytest.fixture(scope="module")
def file(dataset, tmp_path_factory):
    path = tmp_path_factory.mktemp("file") / "projection.nc"
    results.write(dataset, path)
    return path


def test_a_file_reads_back_as_it_was(dataset, file):
    xr.testing.assert_identical(results.read(file), dataset)


def test_what_is_no_projection_of_this_version_is_refused_with_what_it_is(file, tmp_path, monkeypatch):
    text, short, altered = (tmp_path / name for name in ("text.nc", "short.nc", "altered.nc"))
    content = file.read_bytes()
    text.write_text("ten years of work")
    short.write_bytes(content[: len(content) // 2])
    at = len(content) // 2  # within the numbers
    altered.write_bytes(content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :])
    for path, says in ((tmp_path / "none.nc", "check the path"), (tmp_path, "check the path"), (text, "a file of another kind")):
        with pytest.raises(InputError, match=says):
            results.read(path)
    for path, says in ((short, "the file is damaged"), (altered, "the contents do not match the file's own hash")):
        with pytest.raises(RunError, match=f"{says}.*make it again"):
            results.read(path)
    with pytest.raises(InputError, match="got a file that holds a projection, needs a file that holds an ensemble"):
        results.read(file, "ensemble")
    own = results.SCHEMA_VERSION
    monkeypatch.setattr(results, "SCHEMA_VERSION", own + 1)
    with pytest.raises(RunError, match=f"schema version {own}, this pondpop reads version {own + 1}; make it again"):
        results.read(file)


def test_names_are_text_to_any_reader_of_netcdf(dataset, file):
    with netcdf_file(file, mmap=False) as plain:
        assert plain.version_byte == 2
        strategy = plain.variables["strategy"]
        assert strategy.dimensions == ("strategy", "strategy_characters")
        assert [row.tobytes().decode("utf-8").strip("\0") for row in strategy.data] == ["few", "many"]
        for name in ("species", "stocked_group", "prey", "sex", "length_category"):
            assert plain.variables[name].data.dtype.char == "c", name
        kinds = {v.data.dtype.newbyteorder("=").str[1:] for v in plain.variables.values()}
        assert kinds == {"f8", "i4", "S1"}


def test_xarray_alone_reads_it_by_label(dataset, file):
    with xr.open_dataset(file, engine="scipy") as plain:
        assert [str(name) for name in plain["stocked_group"].values] == ["bluegill", "old_bass", "young_bass"]
        np.testing.assert_array_equal(plain["survey_date"].values, dataset["survey_date"].values)
        one = plain["psd"].sel(strategy="few", species="bass", length_category="quality", member=1)
        np.testing.assert_array_equal(one, dataset["psd"].sel(strategy="few", species="bass").isel(member=1)[:, 1])


def test_everything_has_a_unit_and_a_meaning(dataset):
    for name in dataset.data_vars:
        assert set(dataset[name].attrs) == {"units", "long_name"}, name
        assert dataset[name].dims[:2] == ("strategy", "member"), name
    for name in dataset.coords:
        has_unit = dataset[name].dtype.kind in "fi"
        assert set(dataset[name].attrs) == {"long_name"} | ({"units"} if has_unit else set()), name


def test_fish_by_age_are_the_fish_by_length(dataset):
    by_age, by_length = dataset["number_at_age"].sum(("sex", "age")), dataset["number"].sum("length_class")
    np.testing.assert_allclose(by_age, by_length, rtol=1e-9)
    young = dataset["number_at_age"].sel(species="bluegill", age=0).sum("sex")
    np.testing.assert_allclose(young, dataset["age0_number"].sel(species="bluegill"), rtol=1e-9)


def test_fish_age_on_new_years_day_and_grow(dataset):
    """Bass of 6 in, of last year, are stocked on 10 April 2026: of age 1 in September and 2 in the next April."""
    bass = dataset["number_at_age"].sel(strategy="many", species="bass").sum("sex").mean("member")
    young = dataset["group_survivors"].sel(strategy="many", stocked_group="young_bass").mean("member")
    assert bass.sel(survey_date="2026-09-15", age=1) == pytest.approx(float(young.sel(survey_date="2026-09-15")))
    assert bass.sel(survey_date="2027-04-20", age=2) == pytest.approx(float(young.sel(survey_date="2027-04-20")))
    length = dataset["length_at_age"].sel(strategy="many", species="bass", survey_date="2027-09-15").mean("member")
    assert (length.sel(age=2) < length.sel(age=4)).all()
    assert (length.sel(age=2, sex="female") > length.sel(age=2, sex="male")).all()


def test_half_of_those_stocked_alike_are_female(dataset):
    first = dataset["female_share"].sel(survey_date="2026-04-20")
    assert first.sel(species="bass").values == pytest.approx(0.5, abs=0.02)
    assert first.sel(species="bluegill").values == pytest.approx(0.5, abs=1e-9)
    assert np.isnan(first.sel(species="shad")).all()


def test_psd_and_relative_weight_by_category_are_those_of_the_fish(dataset):
    number = dataset["number"].sel(species="bass")
    stock, quality = number.sel(length_class=slice(8, None)), number.sel(length_class=slice(12, None))
    np.testing.assert_allclose(
        dataset["psd"].sel(species="bass", length_category="quality"),
        100 * quality.sum("length_class") / stock.sum("length_class"),
    )
    assert abs(dataset["psd"].sel(species="bass", length_category="stock").dropna("survey_date") - 100).max() < 1e-9
    inside = dataset["relative_weight"].sel(species="bluegill", length_class=slice(3, 5))
    wr = dataset["relative_weight_of_category"].sel(species="bluegill", length_category="stock")
    assert (wr >= inside.min("length_class") - 1e-9).all() and (wr <= inside.max("length_class") + 1e-9).all()
    assert "bass 8, 12, 15, 20, 25 inches" in dataset.attrs["length_categories"]
    assert list(dataset["length_category"].values) == list(indices.CATEGORIES)
    assert np.isnan(dataset["psd"].sel(species="minnow")).all()


EVENTFUL = """
[[strategies.few.harvest]]
species = "bass"
length_in = [8, 30]
share = 0.3
[[strategies.few.angling]]
hours_per_acre = 40
[[strategies.few.removal]]
species = "bluegill"
date = 2026-07-01
length_in = [3, 30]
share = 0.4
[[strategies.few.removal]]
species = "bluegill"
date = 2027-07-01
share = 0.2
reason = "die_off"
[[strategies.few.stocking]]
species = "shad"
date = 2026-05-01
per_acre = 300
length_in = 3
[[strategies.few.feeding]]
lb_per_acre_day = 5
"""


@pytest.fixture(scope="module")
def budget(tmp_path_factory):
    path = tmp_path_factory.mktemp("budget") / "projection.nc"
    results.write(compare(pond(members=2, years=3, extra=EVENTFUL, only="few")), path)
    with xr.open_dataset(path, engine="scipy") as plain:
        return plain.load()


@pytest.mark.parametrize("what", ["number", "biomass"])
def test_the_budget_closes_from_the_file_alone(budget, what):
    """What there was, came and went, by species and year; no term is made of the others."""
    left = budget[f"start_{what}"] + budget[f"stocked_{what}"] + budget[f"born_{what}"]
    if what == "biomass":
        left = left + budget["growth_biomass"] - budget["spawning_biomass"]
    left = left - budget[f"deaths_{what}"].sum("cause")
    turned_over = budget[f"start_{what}"] + budget[f"born_{what}"] + budget[f"deaths_{what}"].sum("cause")
    assert (abs(left - budget[f"end_{what}"]) <= 1e-13 * turned_over).all()
    np.testing.assert_array_equal(budget[f"end_{what}"][:, :, :-1], budget[f"start_{what}"][:, :, 1:])


def test_every_term_of_the_budget_says_what_happened(budget):
    one = budget.sel(strategy="few").mean("member")
    assert list(one["year"].values) == [2026, 2027, 2028, 2029]
    deaths = one["deaths_number"]
    for species, cause in (
        ("bluegill", "predation"), ("bluegill", "background"), ("bass", "predation"), ("bass", "harvest"),
        ("bass", "release"), ("bluegill", "removal"), ("shad", "cold"),
    ):  # fmt: skip
        assert deaths.sel(species=species, cause=cause).sum() > 0, (species, cause)
    of_july = deaths.sel(species="bluegill", cause=["removal", "die_off"]) > 0
    assert of_july.sel(year=2026).values.tolist() == [True, False]
    assert of_july.sel(year=2027).values.tolist() == [False, True]
    assert one["stocked_number"].sel(species="bass", year=2026) == pytest.approx(50 / 0.40468564224, rel=0.3)
    assert not one["stocked_number"].sel(year=slice(2027, None)).any()
    assert (one["born_number"].sel(species="bluegill", year=[2026, 2027]) > 1000).all()
    assert (one["spawning_biomass"].sel(species="bluegill", year=[2026, 2027]) > 0).all()
    monthly = budget["harvest_biomass"].groupby("month.year").sum()
    np.testing.assert_allclose(budget["deaths_biomass"].sel(cause="harvest"), monthly.transpose(..., "year", "species"))


def test_a_hash_is_of_numbers_and_attributes_but_not_of_itself():
    made = xr.Dataset({"number": ("member", [1.0, 2.0], {"units": "1"})}, attrs={"seed": 3})
    whole = results.content_hash(made)
    assert results.content_hash(made.assign_attrs(content_hash=whole)) == whole
    others = (made.assign_attrs(seed=4), made + 1.0, made.rename(number="count"), made.isel(member=[0]))
    assert len({whole, *map(results.content_hash, others)}) == 5
