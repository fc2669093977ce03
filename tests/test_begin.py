"""Beginning with a pond: scenarios for the common questions that run as they are, and blank sheets."""

import csv
import datetime as dt
import re
import tomllib

import pytest

from pondpop import cli
from pondpop.begin import begin
from pondpop.checks import InputError
from pondpop.records import COLUMNS, read_records
from pondpop.scenario import describe, load
from pondpop.scenario.questions import QUESTIONS, first_year

TODAY = dt.date(2026, 11, 26)


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("question", QUESTIONS)
def test_every_question_is_a_scenario_in_the_units_asked_for(tmp_path, question, units):
    file = begin(tmp_path / "pond", question, units, TODAY).scenario
    scenario = load(file)
    assert scenario.units == units and scenario.run.start > TODAY and scenario.goals
    assert len(scenario.strategies) > 1 and describe(scenario)
    assert scenario.run.years == (9 if question == "strain" else 6)  # how large strains become shows late
    text = file.read_text("utf-8")
    keys = re.findall(r"^(?:# )?(\w+) = ", text, re.MULTILINE)
    units_of_keys = {key.rpartition("_")[2] for key in keys} | {key for key in keys if "_per_" in key or key.startswith("per_")}
    other = {"ha", "mm", "kg", "c", "per_ha", "kg_per_ha", "kg_per_ha_day"}, {"acres", "in", "lb", "f", "per_acre", "lb_per_acre"}
    assert not units_of_keys & other[units == "metric"]
    assert 'consultant = ' in text and text.count("# yours") >= 5
    assert max(len(line) for line in text.splitlines() if str(file) not in line) <= 125 and "<" not in text and "YEAR" not in text
    # the lines that are left for the user to bring in are good ones
    tomllib.loads(re.sub(r"^# (\w+ = )", r"\1", text, flags=re.MULTILINE))


@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_lengths_in_titles_are_those_that_are_stocked(tmp_path, units):
    scenario = load(begin(tmp_path / "pond", "size", units, TODAY).scenario)
    for strategy in scenario.strategies.values():
        (bass,) = (event for event in strategy.stocking if event.species == "bass")
        number, unit = strategy.title.replace(",", "").split()[:2]
        assert bass.length_mm == pytest.approx(float(number) * {"in": 25.4, "mm": 1.0}[unit], rel=0.02)


def test_metric_ponds_are_the_same_ponds_in_round_numbers(tmp_path):
    us, metric = (load(begin(tmp_path / units, "harvest", units, TODAY).scenario) for units in ("us", "metric"))
    for one, two in zip(us.strategies["moderate"].stocking, metric.strategies["moderate"].stocking, strict=True):
        assert two.per_ha == pytest.approx(one.per_ha, rel=0.05) and two.length_mm == pytest.approx(one.length_mm, rel=0.05)
    assert us.strategies["moderate"].title == "15 lb/acre a year, bass of 8 in to 12 in"
    assert metric.strategies["moderate"].title == "17 kg/ha a year, bass of 200 mm to 300 mm"


def test_the_run_begins_after_today():
    assert first_year("predators", dt.date(2027, 3, 15)) == 2027
    assert first_year("predators", dt.date(2027, 3, 16)) == 2028


def test_blank_sheets_are_read_as_sheets_without_rows(tmp_path):
    for units in ("us", "metric"):
        sheets = begin(tmp_path / units, "repair", units, TODAY).sheets
        records = read_records(sheets)
        assert records.files == ("catches.csv", "effort.csv", "survey.csv", "tags.csv")
        assert not (records.fish or records.effort or records.left_out or records.read_as)
        for name, (needed, optional) in COLUMNS.items():
            with (sheets / name).open(encoding="utf-8", newline="") as stream:
                help_, headings = csv.reader(stream)
            assert len(help_) == 1 and help_[0].startswith("# ")
            assert [any(h in group.split("|") for group in needed + optional) for h in headings] == [True] * len(headings)
            assert any(h.endswith("_in") for h in headings) == (units == "us" and name != "effort.csv")
    with (sheets / "survey.csv").open("a", encoding="utf-8") as stream:
        stream.write("2026-05-14,EF,LMB,300,,,,,\n")
    assert [(fish.species, fish.length_mm) for fish in read_records(sheets).fish] == [("bass", 300)]


def test_nothing_is_overwritten(tmp_path, capsys):
    pond = tmp_path / "pond"
    sheet = pond / "records" / "survey.csv"
    sheet.parent.mkdir(parents=True)
    sheet.write_text("mine")
    assert cli.main(["begin", str(pond), "--question", "feeding"]) == 0
    out = capsys.readouterr().out
    assert out.count("\n") <= 24 and "left as they were: survey.csv" in out
    assert "and caught: effort.csv, catches.csv, tags.csv" in out
    (pond / "feeding.toml").write_text("mine too")
    before = {path: path.read_bytes() for path in pond.rglob("*") if path.is_file()}
    assert cli.main(["begin", str(pond), "--question", "feeding"]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and "which is there already" in err
    assert {path: path.read_bytes() for path in pond.rglob("*") if path.is_file()} == before
    assert sheet.read_text() == "mine"
    assert cli.main(["begin", str(pond), "--question", "predators"]) == 0
    assert "left as they were: survey.csv, effort.csv, catches.csv, tags.csv" in (out := capsys.readouterr().out)
    assert "blank sheets" not in out
    with pytest.raises(InputError, match="which is no folder"):
        begin(sheet, "predators", "us", TODAY)


def test_an_unknown_question_names_the_nearest(tmp_path, capsys):
    assert cli.main(["begin", str(tmp_path / "pond"), "--question", "feed"]) == 2
    assert 'did you mean "feeding"?' in capsys.readouterr().err
    assert not (tmp_path / "pond").exists()


@pytest.mark.slow
@pytest.mark.parametrize("question", QUESTIONS)
def test_it_runs_unchanged_from_check_to_report(tmp_path, monkeypatch, question, capsys):
    monkeypatch.chdir(tmp_path)
    few = ["--members", "1", "--workers", "1"]
    for command in (
        ["begin", "pond", "--question", question],
        ["check", f"pond/{question}.toml"],
        ["compare", f"pond/{question}.toml", *few],
        ["assess", "pond/records"],
    ):
        assert cli.main(command) == 0, capsys.readouterr().err
    page = tmp_path / f"{question}-result" / "report.html"  # by the function that `report` calls
    assert page.stat().st_size > 100_000
    if question == next(iter(QUESTIONS)):
        assert cli.main(["report", str(page.with_name("projection.nc")), "--out", "again.html"]) == 0
        again = (tmp_path / "again.html").read_bytes().replace(b"again_tables", b"report_tables")
        assert again == page.read_bytes()
