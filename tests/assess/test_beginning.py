"""The last survey as the table with which a scenario begins from it."""

import tomllib
from pathlib import Path

import pytest
from small import raw

from pondpop.assess import assess_records, write_assessment
from pondpop.assess.beginning import beginning
from pondpop.records import read_records
from pondpop.scenario import resolve

SHIPPED = Path(__file__).parents[2] / "scenarios" / "records"
HEAD = "date,gear,species,length_in,count\n"
EFFORT = "date,gear,hours,hauls,water_c\n"


def records(tmp_path, survey, effort=""):
    (tmp_path / "survey.csv").write_text(HEAD + survey, "utf-8")
    if effort:
        (tmp_path / "effort.csv").write_text(EFFORT + effort, "utf-8")
    return read_records(tmp_path)


def test_the_last_survey_with_an_effort_becomes_fish_of_a_scenario(tmp_path):
    found = records(
        tmp_path,
        "2024-04-10,electrofishing,bass,9.5,7\n2025-04-10,electrofishing,bass,9.2,4\n2025-04-11,electrofishing,bass,9.8,3\n"
        "2025-04-11,electrofishing,bluegill,6,12\n2025-04-11,electrofishing,bluegill,1,2\n2025-08-01,electrofishing,bass,9,50\n",
        "2024-04-10,electrofishing,1,,\n2025-04-10,electrofishing,1.5,,16\n2025-04-11,electrofishing,0.5,,18\n",
    )
    text = beginning(found)
    table = tomllib.loads(text)["start_from_survey"]
    assert (table["gear"], table["hours"], table["water_c"]) == ("electrofishing", 2, 17)
    assert table["catch"] == [
        {"species": "bass", "length_in": [9, 10], "count": 7}, {"species": "bluegill", "length_in": [6, 7], "count": 12},
    ]  # fmt: skip
    assert "2 bluegill of 1 to 2 in are left out" in text and "2025-04-10 to 2025-04-11" in text
    scenario = resolve(raw(members=2, only="few") | {"start_from_survey": table})
    there = {event.name for event in scenario.strategies["few"].stocking if event.number_cv}
    assert there == {"bass_9_0_10_0in", "bluegill_6_0_7_0in"}


@pytest.mark.parametrize("effort", ["", "2023-01-01,electrofishing,1,,\n"])
def test_without_an_effort_there_is_none(tmp_path, effort):
    assert beginning(records(tmp_path, "2024-04-10,electrofishing,bass,9.5,7\n", effort)) == ""


def test_it_lies_beside_the_assessment_and_runs(tmp_path):
    write_assessment(assess_records(read_records(SHIPPED)), tmp_path / "out")
    table = tomllib.loads((tmp_path / "out" / "start_from_survey.toml").read_text("utf-8"))
    resolve(raw(members=2, only="few") | table)
