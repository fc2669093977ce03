"""Where reading turns: how far two measurements of a fish may differ, and how several species are sought."""

import re

import pytest

from pondpop.checks import InputError
from pondpop.records import read_records
from pondpop.records.rows import _size
from pondpop.species import TRAITS

TAGS = "tag,date,species,event,length_mm,weight_g\nB1,2024-04-01,bass,tagged,300,\nB1,{day},bass,recaptured,{length},\n"


@pytest.mark.parametrize(
    ("day", "length", "may_be"),
    [
        ("2024-04-02", 290.0, True),  # 10 mm of error each way, and 2 mm of growth a day
        ("2024-04-02", 289.95, False),
        ("2024-04-02", 312.0, True),
        ("2024-04-02", 312.05, False),
        ("2024-04-11", 330.0, True),
        ("2024-04-11", 330.05, False),
    ],
)
def test_measurements_of_a_fish_differ_by_an_error_and_by_growth(tmp_path, day, length, may_be):
    (tmp_path / "tags.csv").write_text(TAGS.format(day=day, length=length))
    assert bool(read_records(tmp_path).left_out) is not may_be


@pytest.mark.parametrize(
    ("said", "sought"),
    [
        ("bass bluegill", ("bass", "bluegill")),
        ("LMB BLG", ("bass", "bluegill")),
        ("lmb and shellcracker", ("bass", "redear")),
        ("largemouth bass", ("bass",)),
        ("red ear; blue gill", ("bluegill", "redear")),
    ],
)
def test_species_sought_are_read_however_they_are_set_apart(tmp_path, said, sought):
    (tmp_path / "effort.csv").write_text(f"date,gear,hours,species_sought\n2024-04-10,electrofishing,1,{said}\n")
    (effort,) = read_records(tmp_path).effort
    assert sorted(effort.species) == sorted(sought)


def test_bounds_are_told_in_three_digits_that_are_allowed(tmp_path):
    def said(inches):
        (tmp_path / "survey.csv").write_text(f"date,gear,species,length_in\n2024-04-10,angling,bass,{inches}\n")
        return [bad.reason for bad in read_records(tmp_path).left_out]

    (told,) = said(104)
    low, high = re.search(r"needs ([\d.]+) to ([\d.]+) in for bass", told).groups()
    assert (low, high) == ("0.473", "31.4")
    assert said(low) == said(high) == []


@pytest.mark.parametrize("length", ["12", "800", "0.47244094488", "31.496062992"])
def test_the_shortest_and_the_longest_fish_that_are_allowed_are_read_in_either_unit(tmp_path, length):
    unit = "mm" if length in ("12", "800") else "in"
    (tmp_path / "survey.csv").write_text(f"date,gear,species,length_{unit}\n2024-04-10,angling,bass,{length}\n")
    assert len(read_records(tmp_path, strict=True).fish) == 1


KINDS = {
    "survey": "date,gear,species,length_mm,weight_g,count,tag,sex,age",
    "effort": "date,gear,hours,hauls,water_c",
    "catches": "date,trip,hours,species,shortest_mm,longest_mm,kept,released",
}


def left_out(folder, kind, row):
    """Why a row of this kind is left out; "" if it is read."""
    (folder / f"{kind}.csv").write_text(f"{KINDS[kind]}\n{row}\n")
    return " ".join(bad.reason for bad in read_records(folder).left_out)


@pytest.mark.parametrize(
    ("kind", "row", "read", "refused"),
    [
        ("survey", "2024-04-10,seine,bluegill,40,,{},,,", ("1", "10000"), ("0", "10001")),
        ("survey", "2024-04-10,seine,bass,400,,,,,{}", ("0", "25"), ("-1", "26")),
        ("effort", "2024-04-10,angling,{},,", ("0.05", "100"), ("0.049", "100.1")),
        ("effort", "2024-04-10,seine,,{},", ("1", "200"), ("0", "201")),
        ("effort", "2024-04-10,angling,1,,{}", ("0", "45"), ("-0.1", "45.1")),
        ("catches", "2024-04-10,1,{},bass,,,1,1", ("0.05", "500"), ("0.049", "500.1")),
        ("catches", "2024-04-10,1,2,bass,,,{},0", ("0", "10000"), ("-1", "10001")),
        ("catches", "2024-04-10,1,2,bass,,,0,{}", ("0", "10000"), ("-1", "10001")),
        ("catches", "2024-04-10,1,2,bass,{},,1,1", ("0", "800"), ("-1", "801")),
        ("catches", "2024-04-10,1,2,bass,,{},1,1", ("1", "900"), ("0", "901")),
        ("catches", "2024-04-10,1,2,bass,300,{},1,1", ("301",), ("300", "299")),
        ("catches", "2024-04-10,1,2,,,,{},0", ("0",), ("1",)),
        ("catches", "2024-04-10,1,2,,,,0,{}", ("0",), ("1",)),
    ],
)
def test_what_a_cell_may_hold_ends_where_it_is_said_to(tmp_path, kind, row, read, refused):
    assert [left_out(tmp_path, kind, row.format(cell)) for cell in read] == [""] * len(read)
    assert all(left_out(tmp_path, kind, row.format(cell)) for cell in refused)


def test_a_weight_must_fit_the_length_but_for_what_a_coarse_scale_errs():
    """Within the condition that its records may have, and 1.5 g beyond it on either side."""
    low, high = TRAITS["bass"].records_condition
    for length in (50.0, 300.0):
        least, most = (condition * length**3 / 1e5 for condition in (low, high))
        for weight, fits in (
            (least - 1.5, True), (least - 1.51, False), (most + 1.5, True), (most + 1.51, False), (most + 1.0, True)
        ):  # fmt: skip
            if weight >= 0.005:
                cells = {"length_mm": f"{length}", "weight_g": f"{weight:.9f}"}
                try:
                    _size(cells, "bass")
                    assert fits, (length, weight)
                except InputError:
                    assert not fits, (length, weight)


@pytest.mark.parametrize(("weight", "read"), [("0.005", True), ("0.0049", False), ("15000", True), ("15001", False)])
def test_no_fish_weighs_less_than_a_scale_shows_or_more_than_bass_do(weight, read):
    cells = {"weight_g": weight, "length_mm": ""}
    try:
        assert _size(cells, "bass") == (None, float(weight)) and read
    except InputError as refused:
        assert not read and "needs 0.005 to 15000 g" in str(refused).replace(",", "")


def test_a_trip_without_fish_has_none(tmp_path):
    assert left_out(tmp_path, "catches", "2024-04-10,1,2,,,,0,0") == ""
    (trip,) = read_records(tmp_path).catches
    assert (trip.species, trip.kept, trip.released, trip.hours) == (None, 0, 0, 2.0)


def test_a_length_class_that_ends_where_it_begins_is_told_with_its_beginning(tmp_path):
    assert "needs a length above the shortest, 300 mm" in left_out(tmp_path, "catches", "2024-04-10,1,2,bass,300,300,1,1")
    assert "needs a length above the shortest, 0" in left_out(tmp_path, "catches", "2024-04-10,1,2,bass,,0,1,1")


@pytest.mark.parametrize(("unit", "told"), [("c", "needs 0 to 45 °C"), ("f", "needs 32 to 113 °F")])
def test_bounds_at_nought_are_told_as_nought(tmp_path, unit, told):
    (tmp_path / "effort.csv").write_text(f"date,gear,hours,hauls,water_{unit}\n2024-04-10,angling,1,,120\n")
    assert told in read_records(tmp_path).left_out[0].reason


AGED = "date,gear,species,length_mm,age\n"


@pytest.mark.parametrize(
    ("species", "age", "shortest", "longest"),
    [
        ("bass", 7, 0.5 * (457 + 103 * 2 / 3), 1.5 * 560),  # 18 in at 5 and 560 mm at 8 years, and no longer thereafter
        ("bass", 1, 0.5 * 203, 1.5 * 305), ("bass", 0, 12.0, 1.5 * 203), ("bluegill", 10, 100.0, 300.0),
        ("bluegill", 1, 40.0, 1.5 * (80 + 72 / 2.1)),
    ],
)  # fmt: skip
def test_a_fish_unlike_its_age_is_named(tmp_path, species, age, shortest, longest):
    for length, odd in ((shortest + 0.1, False), (shortest - 0.1, True), (longest - 0.1, False), (longest + 0.1, True)):
        if TRAITS[species].records_mm[0] <= length <= TRAITS[species].records_mm[1]:
            (tmp_path / "survey.csv").write_text(f"{AGED}2024-04-10,angling,{species},{length:.3f},{age}\n")
            records = read_records(tmp_path, strict=True)
            assert any("do not fit one another" in note for note in records.notes) == odd, length


def test_fish_unlike_their_age_are_counted_and_the_first_is_told(tmp_path):
    rows = "".join(f"2024-04-10,angling,bass,{length},{age}\n" for length, age in ((300, 2), (251.46, 7), (240, 8), (300, "")))
    (tmp_path / "survey.csv").write_text(AGED + rows)
    (note,) = read_records(tmp_path).notes
    assert note == (
        "2 bass whose age and length do not fit one another (survey.csv line 3, 4), the first 251 mm (9.9 in) at age 7: "
        "check both"
    )
    (tmp_path / "survey.csv").write_text(AGED + rows + "2024-04-10,angling,bass,250,7\n" * 2)
    (note,) = read_records(tmp_path).notes
    assert note.startswith("4 bass whose age and length do not fit one another (survey.csv line 3, 4, 6 and 1 more)")
