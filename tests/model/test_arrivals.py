"""Wild fish that come in uninvited: how often, in whose luck, what they do, and how they are told."""

from __future__ import annotations

import datetime as dt
import tomllib

import numpy as np
import pytest
from small import pond, raw

import pondpop
from pondpop.checks import InputError
from pondpop.ensemble.draws import Prior
from pondpop.ensemble.prepare import prepare
from pondpop.ensemble.results import under
from pondpop.ensemble.side_by_side import side_by_side
from pondpop.model.day import Engine
from pondpop.scenario import dump, resolve
from pondpop.scenario.schema import Arrival, Run
from pondpop.species import SPECIES

BASS, BLUEGILL, REDEAR = (SPECIES.index(name) for name in ("bass", "bluegill", "redear"))


def arrival(more: str = "chance = 0.4", species: str = "redear", per_acre: float = 100, *, name: str = "wild",
            table: str = "arrival") -> str:  # fmt: skip
    return f'\n[[{table}]]\nname = "{name}"\nspecies = "{species}"\nper_acre = {per_acre}\nlength_in = 4\n{more}\n'


def engine(extra: str, members: int = 2, years: int = 1) -> Engine:
    scenario = pond(members, years, extra, only="few")
    strategy = scenario.strategies["few"]
    return Engine(prepare(scenario, strategy, *Prior().draw(scenario, strategy, 0, members)))


def test_they_come_as_often_as_said_and_under_every_strategy_alike():
    scenario = pond(400, 3, arrival())
    dealt = {name: Prior().draw(scenario, one, 0, 400)[1].arrived for name, one in scenario.strategies.items()}
    np.testing.assert_array_equal(dealt["few"], dealt["many"])
    assert dealt["few"].shape == (400, 1, 4)
    share = dealt["few"].mean(axis=(0, 1))
    assert (abs(share - 0.4) < 5 * np.sqrt(0.24 / 400)).all() and np.corrcoef(dealt["few"][:, 0].T)[0, 1] < 0.2
    without = Prior().draw(pond(400, 3), scenario.strategies["few"]._replace(arrivals=()), 0, 400)[1]
    assert without.arrived is None
    with_them = Prior().draw(scenario, scenario.strategies["few"], 0, 400)[1]
    np.testing.assert_array_equal(without.growth[:, BASS], with_them.growth[:, BASS])


def test_they_are_there_from_their_day_in_those_members_alone_and_in_the_books():
    found = pondpop.compare(pond(12, 1, arrival(), only="few"))
    came = found["stocked_number"].sel(species="redear").sum("year").values[0]
    assert set(np.round(came, 6)) == {0.0, round(100 / 0.40468564224, 6)}
    at_end = found["end_number"].sel(species="redear").isel(year=-1).values[0]
    assert ((at_end > 0.0) == (came > 0.0)).all()
    ends = found["start_number"] + found["stocked_number"] + found["born_number"] - found["deaths_number"].sum("cause")
    np.testing.assert_allclose(ends, found["end_number"], rtol=1e-9, atol=1e-9)
    assert "wild" not in found["stocked_group"].values  # nobody bought them


def test_a_year_in_which_none_come_is_as_without_them():
    plain, never = engine(arrival("chance = 1", per_acre=0)), engine(arrival("chance = 0"))
    for made in (plain, never):
        for _ in range(120):
            made.run_day()
    np.testing.assert_array_equal(plain.state.number, never.state.number)
    assert never.state.number[:, never.slices[REDEAR]].sum() == 0.0


def test_members_that_stand_side_by_side_keep_their_own_arrivals():
    one, other = (engine(arrival(), members=6).inputs for _ in range(2))
    both = side_by_side([one, other])
    come = both.stockings[-1].per_ha
    np.testing.assert_array_equal(come, np.concatenate([one.stockings[-1].per_ha] * 2))
    assert both.luck.arrived.shape[0] == 12


def test_males_that_come_in_give_young_to_a_pond_of_females():
    females = raw(2, 2, arrival("date = 2026-05-01", "bass", per_acre=20).replace("length_in = 4", "length_in = 14"), "few")
    alone = raw(2, 2, only="few")
    born = []
    for content in (females, alone):
        for event in (*content["stocking"], *content["strategies"]["few"]["stocking"]):
            if event["species"] == "bass":
                event["female_share"] = 1
        born.append(float(pondpop.compare(resolve(content))["born_number"].sel(species="bass").sum()))
    assert born[0] > 0.0 == born[1]


def test_what_if_they_come(tmp_path):
    text = '\n[what_if.flood]\ntitle = "Wild bluegill come in"\n'
    text += arrival("date = 2026-06-01", "bluegill", 3000, table="what_if.flood.arrival")
    found = pondpop.compare(pond(2, 1, text))
    with_, without = (
        one["biomass"].sel(species="bluegill", length_class=slice(3, 6)).isel(survey_date=1).sum("length_class")
        for one in (under(found, "flood"), found)
    )  # a fortnight after they came
    assert (with_ > 2.0 * without).all()
    page = tmp_path / "page.html"
    pondpop.write_report([found], page)
    assert "Wild bluegill come in" in page.read_text("utf-8")


def test_they_are_read_written_and_told():
    text = arrival() + arrival("date = 2026-07-01", "bass", name="strays")
    scenario = pond(2, 2, text + arrival("date = 2026-08-01", table="what_if.flood.arrival"))
    assert resolve(tomllib.loads(dump(scenario))) == scenario
    told = pondpop.describe(scenario)
    assert "40 % of years, 15 May  wild: wild fish come in uninvited, redear 4 in" in told and "2026-07-01  strays" in told


@pytest.mark.parametrize(("more", "says"), [
    ("", "chance"), ("chance = 2", "0 to 1"), ("chance = 0.1\ndate = 2026-06-01", "a date, or a chance"),
    ('chance = 0.1\nday = "02-29"', "02-29 is not"), ("date = 2031-06-01", "within the run"), ("chance = 0.1\ncost = 3", "cost"),
])  # fmt: skip
def test_what_they_cannot_be_is_refused_in_one_line(more, says):
    with pytest.raises(InputError, match=says) as refused:
        pond(2, 1, arrival(more))
    assert "\n" not in str(refused.value)


def test_every_day_of_a_year_comes_once_in_each_year_of_a_run():
    """So no day on which fish may come in can lie beside the run."""
    days = [dt.date(2001, 1, 1) + dt.timedelta(days=k) for k in range(365)]
    wild = [Arrival("wild", "redear", 1.0, 100.0, day=(day.month, day.day), chance=0.5) for day in days]
    for start in (dt.date(2027, 3, 1), dt.date(2028, 2, 28), dt.date(2028, 2, 29), dt.date(2028, 3, 1), dt.date(2031, 12, 31)):
        for years in (1, 4):
            run = Run(start, years, ())
            assert {len(one.dates(run)) for one in wild} == {years}, (start, years)


def test_what_if_asks_for_a_date():
    with pytest.raises(InputError, match="a date"):
        pond(2, 1, arrival(table="what_if.flood.arrival"))
