"""Strains of bass: what the share of Florida blood changes, how young inherit it, and that northern bass cost nothing."""

from __future__ import annotations

import re
import tomllib

import numpy as np
import pytest
from small import pond

import pondpop
from pondpop.checks import InputError
from pondpop.ensemble.draws import Prior
from pondpop.ensemble.prepare import prepare
from pondpop.ensemble.results import under
from pondpop.model.day import Engine
from pondpop.scenario import dump, resolve
from pondpop.species import SPECIES

BASS = SPECIES.index("bass")


def bass(strain: str, per_acre: float = 30, length_in: float = 13) -> str:
    of = f'strain = "{strain}"\nresident = true\nper_acre = {per_acre}\nlength_in = {length_in}'
    return f'\n[[stocking]]\nname = "{strain}"\nspecies = "bass"\n{of}\n'


def engine(extra: str = "", days: int = 0, cold: float | None = None, members: int = 2) -> Engine:
    scenario = pond(members, 2, extra, only="few")
    if cold is not None:
        monthly = (cold,) * 12
        water = scenario.pond.temperature._replace(monthly_c=monthly)
        scenario = scenario._replace(pond=scenario.pond._replace(temperature=water))
    strategy = scenario.strategies["few"]
    made = Engine(prepare(scenario, strategy, *Prior().draw(scenario, strategy, 0, members)))
    for _ in range(days):
        made.run_day()
    return made


def left(made: Engine, name: str) -> float:
    stocked = pond(2, 2, "".join(map(bass, ("florida", "first_cross", "northern"))), only="few").strategies["few"].stocking
    names = [event.name for event in stocked]
    s = made.state
    return float((s.number * (s.columns.origin == names.index(name))).sum(axis=1).mean())


def test_northern_is_what_is_unsaid_and_nothing_of_strains_is_worked_out():
    said, unsaid = engine(bass("northern"), 60), engine(bass("northern").replace('strain = "northern"\n', ""), 60)
    assert said.strains == unsaid.strains == ()
    np.testing.assert_array_equal(said.state.number, unsaid.state.number)


def test_cold_near_freezing_kills_florida_bass_few_of_the_first_cross_and_no_northern():
    every = "".join(map(bass, ("florida", "first_cross", "northern")))
    before, after = engine(every, 1, cold=2.0, members=2), engine(every, 31, cold=2.0, members=2)
    alive = {name: left(after, name) / left(before, name) for name in ("florida", "first_cross", "northern")}
    assert alive["florida"] < 0.3 < 0.6 < alive["first_cross"] < alive["northern"]
    assert alive["northern"] > 0.97
    dead = after.flows.deaths_number[:, BASS]  # of the last day: told as deaths of cold
    assert dead.sum() > 0.0


def test_young_have_the_mean_blood_of_their_mothers_and_fathers_and_joining_keeps_it():
    only = engine(bass("florida", 200), 250)
    s = only.state
    young = (s.columns.species == BASS) & (s.columns.origin < 0) & (s.number > 0.0)
    assert young.any()
    blood = float((s.number * s.columns.blood * young).sum() / (s.number * young).sum())
    assert 0.4 < blood < 0.95  # many Florida bass beside few northern ones
    wild = np.flatnonzero(((s.columns.origin < 0) & (s.columns.species == BASS) & (s.number > 0.0)).all(axis=0))
    assert wild.size > 1
    labels = np.full(s.number.shape, -1)
    labels[:, wild] = np.arange(2)[:, None]
    s.columns.blood = s.columns.blood + 0.001 * np.arange(len(s.columns)) * (s.columns.origin < 0)
    there = (s.number * s.columns.blood).sum(axis=1)
    assert s.join(labels)
    np.testing.assert_allclose((s.number * s.columns.blood).sum(axis=1), there, rtol=1e-12)


def test_florida_bass_spawn_later():
    strains = engine(bass("florida")).strains[0]
    begins = [np.argmax(strains.spawning[:, 0, k].cumsum() > 1e-3) for k in range(3)]
    assert begins[0] < begins[1] < begins[2]


def test_florida_bass_are_caught_less_and_a_quota_is_what_was_asked():
    harvest = '\n[[harvest]]\nspecies = "bass"\nlength_in = [12, 16]\nper_acre = 12\nseason = ["04-01", "10-31"]\n'
    def taken(extra: str) -> tuple[float, float]:
        every = "".join(map(bass, ("florida", "first_cross", "northern")))
        made, number = engine(every + extra), 0.0
        for _ in range(100):
            made.run_day()
            number = number + made.flows.harvest_number[:, BASS]
        return left(made, "florida") / left(made, "northern"), float(np.mean(number))

    (fished, caught), (free, none) = taken(harvest), taken("")
    assert fished > 1.01 * free and none == 0.0
    alone = engine(bass("northern", 90) + harvest)
    asked = 0.0
    for _ in range(100):
        alone.run_day()
        asked = asked + alone.flows.harvest_number[:, BASS]
    assert caught == pytest.approx(float(np.mean(asked)), rel=0.05)


def test_florida_bass_eat_less_when_young_and_as_much_as_others_when_grown():
    strains = engine(bass("florida")).strains[0]
    strains.see(np.array([[1.0, 0.5, 0.0]]))
    young, grown = (strains.intake(np.full((1, 3), share))[0] for share in (0.0, 1.0))
    assert 0.9 <= young[0] < young[1] <= 1.06 and young[0] < young[2] == 1.0
    np.testing.assert_array_equal(grown, 1.0)
    np.testing.assert_array_equal(strains.intake(None)[0], young)


def test_the_page_shows_what_a_cold_winter_does_to_the_share_of_florida_blood_and_the_ranges_of_figures(tmp_path):
    cold = '''
[what_if.freeze]
title = "A freeze"
[[what_if.freeze.spell]]
from = 2027-01-05
to = 2027-01-24
at_most_c = 2.0
'''
    scenario = pond(2, 2, bass("florida") + bass("northern") + cold, only="few")
    found = pondpop.compare(scenario)
    shares = (one["other_blood"].isel(survey_date=-1).sel(species="bass") for one in (found, under(found, "freeze")))
    own, frozen = (float(share.mean()) for share in shares)
    assert own > 0.05 and frozen < 0.7 * own
    page = tmp_path / "page.html"
    pondpop.write_report([found], page)
    words = re.sub("<[^>]*>", " ", page.read_text("utf-8"))
    assert "Share, %, if “A freeze”" in words
    assert "In what strains of bass differ from its own" in words and "1.05–1.2" in words and "(assumed)" in words


def test_strains_are_read_written_told_and_shown(tmp_path):
    scenario = pond(2, 2, bass("florida"), only="few")
    assert resolve(tomllib.loads(dump(scenario))) == scenario
    assert "Florida bass" in pondpop.describe(scenario)
    page = tmp_path / "page.html"
    pondpop.write_report([pondpop.compare(scenario)], page)
    assert re.search(r"Share of the blood of Florida bass", page.read_text("utf-8"))
    pondpop.write_report([pondpop.compare(pond(2, 1, "", only="few"))], page)
    assert "Share of the blood" not in page.read_text("utf-8")


@pytest.mark.parametrize(("strain", "species", "says"), [
    ("southern", "bass", "northern, first_cross, florida"), ("florida", "bluegill", "only bass has strains"),
])  # fmt: skip
def test_a_strain_that_is_none_is_refused(strain, species, says):
    with pytest.raises(InputError, match=says):
        pond(2, 1, bass(strain).replace('species = "bass"', f'species = "{species}"'), only="few")
