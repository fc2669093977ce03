"""The last survey as the table with which a scenario begins from it."""

import datetime as dt
import shutil
import tomllib
from pathlib import Path

import pytest
from small import raw

from pondpop.assess import assess_records, write_assessment
from pondpop.assess.beginning import beginning
from pondpop.checks import InputError
from pondpop.cli import main
from pondpop.records import read_records
from pondpop.scenario import resolve
from pondpop.scenario.initial import begun_with
from pondpop.species.catalogue import standard_weight_g

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


def test_weighed_fish_begin_in_the_condition_that_was_seen(tmp_path):
    """Thin where three of a class were weighed, as all fish of the species where fewer were, full where none was."""
    thin = "".join(f"2024-04-10,electrofishing,bass,{inch},{0.8 * standard_weight_g('bass', inch * 25.4) / 453.59237:.4f}\n"
                   for inch in (9.1, 9.5, 9.7))  # fmt: skip
    rows = thin + "2024-04-10,electrofishing,bass,13.5,\n2024-04-10,electrofishing,bluegill,6.5,\n"
    (tmp_path / "records").mkdir()
    (tmp_path / "records" / "survey.csv").write_text("date,gear,species,length_in,weight_lb\n" + rows, "utf-8")
    (tmp_path / "records" / "effort.csv").write_text(EFFORT + "2024-04-10,electrofishing,1,,16\n", "utf-8")
    there = {event.name: event for event in begun_from(tmp_path, dt.date(2024, 4, 10)).strategies["few"].stocking}
    for name in ("bass_9_0_10_0in", "bass_13_0_14_0in"):
        fish = there[name]
        assert fish.weight_g == pytest.approx(0.8 * standard_weight_g("bass", fish.length_mm), rel=1e-3), name
    assert there["bluegill_6_0_7_0in"].weight_g is None
    table = tomllib.loads(beginning(read_records(tmp_path / "records")))["start_from_survey"]["catch"]
    assert [round(row["weight_g"]) if "weight_g" in row else None for row in table] == [
        round(there["bass_9_0_10_0in"].weight_g), round(there["bass_13_0_14_0in"].weight_g), None
    ]  # fmt: skip


def begun_from(folder, start, **table):
    scenario = raw(members=2, only="few") | {"start_from_survey": {"records": "records"} | table}
    scenario["run"] = scenario["run"] | {"start": start}
    scenario["strategies"] = {name: {} for name in scenario["strategies"]}
    scenario["stocking"] = [{"species": "minnow", "date": start, "per_acre": 100, "length_in": 2}]
    return resolve(scenario, folder)


def test_a_scenario_reads_its_survey_as_the_written_table_has_it(tmp_path):
    shutil.copytree(SHIPPED, tmp_path / "records")
    start = dt.date(2025, 4, 16)
    read = begun_from(tmp_path, start)
    table = tomllib.loads(beginning(read_records(SHIPPED)))["start_from_survey"]
    typed = raw(members=2, only="few") | {"start_from_survey": table}
    typed["run"] = typed["run"] | {"start": start}
    typed["strategies"], typed["stocking"] = {"few": {}}, [{"species": "minnow", "date": start, "per_acre": 100, "length_in": 2}]
    one, two = (sorted(s.strategies["few"].stocking) for s in (read, resolve(typed)))
    assert len(one) > 15 and [a.name for a in one] == [b.name for b in two]
    for a, b in zip(one, two, strict=True):
        assert (a.species, a.length_mm, a.number_cv) == (b.species, b.length_mm, b.number_cv)
        assert a.per_ha == pytest.approx(b.per_ha, rel=0.01)  # the table tells the temperature to a tenth of a degree


@pytest.mark.parametrize(
    ("start", "table", "says"),
    [
        ("2026-04-14", {}, "the last survey is of 2025-04-16 to 2025-04-28: write start = 2025-04-28"),
        ("2025-04-16", {"hours": 2}, "start_from_survey.hours: got 2, needs records alone, which say it"),
        ("2025-04-16", {"records": "elsewhere"}, "no such folder"),
        ("2025-04-16", {"records": "../records"}, "a folder of records in the scenario's folder or below it"),
        ("2025-04-16", {"gear": "seine"}, "the last survey is of 2025-06-14"),
    ],
)
def test_a_survey_that_cannot_be_begun_from_is_refused_with_what_to_write(tmp_path, start, table, says):
    shutil.copytree(SHIPPED, tmp_path / "pond" / "records")
    with pytest.raises(InputError) as refused:
        begun_from(tmp_path / "pond", dt.date.fromisoformat(start), **table)
    assert says in str(refused.value)


def test_a_pond_begins_from_the_survey_before_its_start_whatever_was_seen_since(tmp_path):
    shutil.copytree(SHIPPED, tmp_path / "records")
    early = {one.name: one.per_ha for one in begun_from(tmp_path, dt.date(2023, 4, 24)).strategies["few"].stocking}
    for sheet in ("survey", "effort"):
        rows = (SHIPPED / f"{sheet}.csv").read_text("utf-8").splitlines(keepends=True)
        (tmp_path / "records" / f"{sheet}.csv").write_text("".join(row for row in rows if row[:4] in ("date", "2023")), "utf-8")
    alone = {one.name: one.per_ha for one in begun_from(tmp_path, dt.date(2023, 4, 24)).strategies["few"].stocking}
    assert early == alone and len(early) > 15


def test_check_names_the_survey_with_which_a_pond_begins_and_what_its_gear_hardly_takes(tmp_path):
    (tmp_path / "seen").mkdir()
    fish = "".join(f"{day},electrofishing,bass,{12 + k},\n" for day in ("2026-04-01", "2027-04-01") for k in range(3))
    small = "2026-04-01,electrofishing,bluegill,1.5,\n2026-04-01,electrofishing,bluegill,6,\n"
    (tmp_path / "seen" / "survey.csv").write_text(f"date,gear,species,length_in,weight_lb\n{fish}{small}")
    (tmp_path / "seen" / "effort.csv").write_text("date,gear,hours\n2026-04-01,electrofishing,1.5\n2027-04-01,electrofishing,1\n")
    (file := tmp_path / "pond.toml").write_text('[start_from_survey]\nrecords = "seen"\n')
    said = "The fish that live there are told by the survey of 2026-04-01, 1.5 hours of electrofishing: 3 bass and 2 bluegill"
    assert begun_with(file, dt.date(2026, 4, 20)) == [
        f"{said}; left out, as electrofishing hardly takes them: 1 bluegill of 1 to 2 in."
    ]
    (later,) = begun_with(file, dt.date(2027, 4, 20))
    assert later.endswith("of 2027-04-01, 1 hour of electrofishing: 3 bass.")


def test_check_tells_what_was_left_out_of_the_records(tmp_path, capsys):
    assert main(["begin", str(tmp_path / "pond"), "--question", "harvest"]) == 0
    file = tmp_path / "pond" / "harvest.toml"
    assert main(["check", str(file)]) == 0 and "Left out" not in capsys.readouterr().out
    text = file.read_text("utf-8")
    there = '[start_from_survey]\nrecords = "records"\n\n'
    text = text[: text.index("[[stocking]]")] + there + text[text.index("# What differs") :]
    start = next(line for line in text.splitlines() if line.startswith("start ="))
    file.write_text(text.replace(start, "start = 2026-04-14"), "utf-8")
    rows = "2026-04-14,electrofishing,bass,9,\n2026-04-14,electrofishing,bluegill,6,\n2026-04-14,electrofishing,GSF,6,\n"
    records(tmp_path / "pond" / "records", rows, "2026-04-14,electrofishing,1,,\n")
    assert main(["check", str(file)]) == 0
    told = capsys.readouterr().out
    assert 'Left out, 1 row of records:\n  survey.csv, line 4: species: got "GSF"' in told


def test_records_without_an_effort_are_refused(tmp_path):
    (tmp_path / "records").mkdir()
    records(tmp_path / "records", "2024-04-10,electrofishing,bass,9.5,7\n")
    with pytest.raises(InputError, match="add the hours or hauls of the survey"):
        begun_from(tmp_path, dt.date(2024, 4, 10))
