"""Where reading turns: how far two measurements of a fish may differ, and how several species are sought."""

import re

import pytest

from pondpop.records import read_records

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
