"""Redear seen, judged, learned from and harvested as bluegill are: field sheets, assessment, update, beginning, quota."""

from __future__ import annotations

import numpy as np
import pytest
from small import pond, raw

import pondpop
from pondpop import update as learning
from pondpop.assess import assess_records, assessment_text
from pondpop.assess.beginning import beginning
from pondpop.observe.gears import expected_catch, gear
from pondpop.observe.indices import standard_weight
from pondpop.records import read_records
from pondpop.scenario import resolve
from pondpop.species import SPECIES
from pondpop.update.text import update_text

REDEAR, BLUEGILL = SPECIES.index("redear"), SPECIES.index("bluegill")
LIVING = '\n[[stocking]]\nname = "redear"\nspecies = "redear"\nresident = true\nper_acre = 60\nlength_in = 7.5\n'


def sheet(folder, lines, effort="2026-06-15,electrofishing,1.0,\n", head="date,gear,species,length_in,weight_g,count"):
    (folder / "survey.csv").write_text("\n".join([head, *lines]) + "\n")
    (folder / "effort.csv").write_text("date,gear,hours,hauls\n" + effort)
    return folder


def test_a_field_sheet_names_them_as_the_trade_does(tmp_path):
    head = "Date,Gear,Species,TL (in),Wt (g),No"
    lines = [f"6/15/2026,EF,{name},8,180,1" for name in ("RES", "Redear", "shellcracker", "Red-ear sunfish")]
    found = read_records(sheet(tmp_path, lines, head=head))
    assert [row.species for row in found.fish] == ["redear"] * 4


def test_they_are_assessed_by_their_own_categories_and_standard_weight(tmp_path):
    weight = 0.9 * float(standard_weight(8 * 25.4, "redear"))
    lines = [f"2026-06-15,electrofishing,redear,{length},{grams},{count}" for length, grams, count in (
        (3, "", 20), (5, "", 60), (8, round(weight, 3), 1), (8, "", 29), (9.5, "", 10))]  # fmt: skip
    found = assess_records(read_records(sheet(tmp_path, lines)))
    told = {one.quantity: one for one in found.findings}
    assert (told["redear_psd"].value, told["redear_psd"].count) == (40, 100)  # quality from 7 in, stock from 4
    assert told["redear_psd_p"].value == 10  # preferred from 9 in
    wr = next(one for name, one in told.items() if name.startswith("redear_wr_"))
    assert wr.value == pytest.approx(90, abs=0.1)
    assert "redear" in assessment_text(found)


def test_a_survey_of_them_begins_a_pond(tmp_path):
    lines = ["2026-04-01,electrofishing,redear,7.5,,12", "2026-04-01,electrofishing,bass,10.5,,10"]
    text = beginning(read_records(sheet(tmp_path, lines, "2026-04-01,electrofishing,1.5,\n")))
    assert "redear" in text
    catch = [{"species": "redear", "length_in": [7, 8], "count": 12}]
    scenario = resolve(raw(members=2, only="few") | {
        "start_from_survey": {"gear": "electrofishing", "hours": 1.5, "water_c": 18.0, "catch": catch}})  # fmt: skip
    there = next(event for event in scenario.strategies["few"].stocking if event.species == "redear")
    number = np.zeros((len(SPECIES), 32))
    number[REDEAR, 7] = there.per_ha
    caught = expected_catch(number, gear("electrofishing"), 1.5, 18.0, scenario.pond.area_ha)
    assert caught[REDEAR, 7] == pytest.approx(12, rel=0.01)


def test_an_update_learns_their_number_from_their_catch(tmp_path, monkeypatch):
    monkeypatch.setattr(learning, "LEAST_EFFECTIVE", 3)
    doubtful = LIVING + "number_cv = 0.8\n"

    def learned(count: int) -> tuple[float, str]:
        folder = tmp_path / str(count)
        folder.mkdir()
        lines = [f"2026-06-15,electrofishing,redear,{length},,{count}" for length in (7, 8)]
        found = learning.update_ensemble(pond(members=24, extra=doubtful, only="few"), read_records(sheet(folder, lines)))
        assert found.posterior is not None
        scenario = pond(members=24, extra=doubtful, only="few")
        names = [event.name for event in scenario.strategies["few"].stocking]
        luck = found.posterior.draw(scenario, scenario.strategies["few"], 0, 24)[1]
        return float(luck.stocking_survival[:, names.index("redear")].mean()), update_text(found, "us")

    (few, _), (many, text) = learned(1), learned(40)
    assert many > 1.5 * few
    assert "redear" in text


def test_a_quota_of_them_is_taken_within_its_window_and_of_no_other():
    rule = '\n[[harvest]]\nspecies = "redear"\nlength_in = [7, 12]\nper_acre = 6\nseason = ["05-01", "08-31"]\n'
    found = pondpop.compare(pond(2, 1, f"{LIVING}{rule}\n[ensemble.spread]\nangler_success = 0\n", only="few"))
    taken = found["harvest_number"].sum("month").isel(strategy=0).values
    np.testing.assert_allclose(taken[:, REDEAR], 6 / 0.40468564224, rtol=0.03)
    assert not np.delete(taken, REDEAR, axis=1).any()
