"""Fish that come by truck: what kills them, that the books close, that nothing changes where no truck is told, and the words."""

from __future__ import annotations

import re
import tomllib

import numpy as np
import pytest
from small import pond

import pondpop
from pondpop.checks import InputError
from pondpop.ensemble import results
from pondpop.ensemble.draws import Prior
from pondpop.ensemble.prepare import prepare
from pondpop.ensemble.side_by_side import side_by_side
from pondpop.model.budget import CAUSES
from pondpop.model.day import Engine
from pondpop.scenario import dump, resolve
from pondpop.scenario.water import expected_on
from pondpop.species import SPECIES

BASS, HAULING = SPECIES.index("bass"), CAUSES.index("hauling")
SURE = "\n[ensemble.spread]\n" + "".join(
    f"{name} = 0\n" for name in ("truck", "stocking_survival", "weather_year", "weather_day", "parameters")
)


def lot(truck: str = "", species: str = "bass", length_in: float = 4, *, strain: str = "", name: str = "lot",
        day: str = "2026-04-10") -> str:  # fmt: skip
    of = f'strain = "{strain}"\n' if strain else ""
    head = f'\n[[stocking]]\nname = "{name}"\nspecies = "{species}"\n{of}date = {day}\n'
    return f"{head}per_acre = 40\nlength_in = {length_in}\n{truck}\n"


def engine(extra: str, members: int = 2, sure: bool = True) -> Engine:
    text = extra + (SURE if sure else "")
    scenario = pond(members, 1, text, only="few")
    strategy = scenario.strategies["few"]
    return Engine(prepare(scenario, strategy, *Prior().draw(scenario, strategy, 0, members)))


def dead(extra: str, days: int = 30) -> float:
    """Share of the stocked fish that die of the move: on its day, and in the 13 days after."""
    made, by_day = engine(extra), []
    for _ in range(days):
        made.run_day()
        by_day.append(float(made.flows.deaths_number[:, :, HAULING].sum(axis=1).mean()))
    put_in = next(event.per_ha for event in made.inputs.stockings if event.truck is not None)
    first = next(k for k, n in enumerate(by_day) if n > 0.0)
    assert all(n > 0.0 for n in by_day[first : first + 14]) and not any(by_day[first + 14 :]), "14 days"
    return sum(by_day) / put_in


def test_without_a_truck_nothing_of_it_is_worked_out_and_a_truck_that_costs_nothing_changes_nothing():
    assert engine(lot()).hauls == ()
    free, none = engine(lot("haul_hours = 0")), engine(lot())
    assert free.inputs.luck.truck is not None and none.inputs.luck.truck is None
    gentle = free.inputs.parameters.replace("bass.handling_deaths", 0.0)
    free = Engine(prepare(pond(2, 1, lot("haul_hours = 0") + SURE, only="few"),
                          pond(2, 1, lot("haul_hours = 0"), only="few").strategies["few"], gentle, free.inputs.luck))
    for made in (free, none):
        for _ in range(40):
            made.run_day()
    np.testing.assert_array_equal(free.state.number, none.state.number)


def test_luck_of_other_things_is_that_without_a_truck_and_strategies_share_that_of_a_truck():
    text = lot("haul_hours = 6")
    scenario, plain = pond(4, 1, text), pond(4, 1, lot())
    dealt = {name: Prior().draw(scenario, one, 0, 4)[1] for name, one in scenario.strategies.items()}
    names = [event.name for event in scenario.strategies["few"].stocking]
    k = names.index("lot")
    np.testing.assert_array_equal(dealt["few"].truck[:, k], dealt["many"].truck[:, k])
    assert np.ptp(dealt["few"].truck[:, k]) > 0.1 and (dealt["few"].truck[:, names.index("young_bass")] == 1.0).all()
    assert (dealt["few"].stocking_survival[:, k] == 1.0).all()
    other = Prior().draw(plain, plain.strategies["few"], 0, 4)[1]
    np.testing.assert_array_equal(np.delete(dealt["few"].stocking_survival, k, 1), np.delete(other.stocking_survival, k, 1))
    np.testing.assert_array_equal(dealt["few"].growth, other.growth)


def test_more_die_of_long_hauls_steps_of_temperature_heat_small_size_and_florida_blood():
    of = {
        "short": lot("haul_hours = 3"),
        "long": lot("haul_hours = 24"),
        "long, salted": lot("haul_hours = 24\nsalted = true"),
        "florida, long": lot("haul_hours = 16", strain="florida"),
        "northern, as long": lot("haul_hours = 16"),
        "warm truck": lot("haul_hours = 3\nfrom_water_f = 78"),
        "warm truck, tempered": lot("haul_hours = 3\nfrom_water_f = 78\ntempered = true"),
        "in June": lot("haul_hours = 3", day="2026-06-20"),
        "small": lot("haul_hours = 3", length_in=1.5),
        "shad": lot("haul_hours = 3", species="shad"),
        "minnows": lot("haul_hours = 3", species="minnow", length_in=2.5),
    }
    died = {name: dead(text, 100 if name == "in June" else 30) for name, text in of.items()}
    assert died["short"] < 0.03 < 0.3 < died["long"] < 0.45
    assert died["long, salted"] < 0.5 * died["long"]
    assert died["florida, long"] > 0.5 > 0.05 > died["northern, as long"]
    assert died["warm truck"] > 0.2 > 0.03 > died["warm truck, tempered"] == pytest.approx(died["short"], rel=1e-12)
    assert died["in June"] > 2.0 * died["short"] and died["small"] > died["short"]
    assert died["shad"] > died["minnows"] > 2.0 * died["short"]


def test_a_fall_of_temperature_costs_more_than_a_rise_and_florida_bass_more_than_northern():
    water = expected_on(pond().pond.temperature, pond().strategies["few"].stocking[-1].date)

    def killed(step_c: float, strain: str = "northern") -> float:
        return float(engine(lot(f"haul_hours = 3\nfrom_water_c = {water - step_c:.3f}", strain=strain)).hauls[0].at_once.mean())

    calm = killed(0.0)
    assert killed(2.0) == pytest.approx(calm, rel=1e-9)
    assert calm < killed(6.0) < killed(-6.0) < killed(-6.0, "florida")


def test_the_budget_closes_and_says_what_the_move_cost(tmp_path):
    text = lot("haul_hours = 20\nfrom_water_f = 75") + lot("haul_hours = 4", "shad", 3, name="threadfin")
    scenario = pond(3, 1, text, only="few")
    path = tmp_path / "moved.nc"
    results.write(pondpop.compare(scenario), path)
    found = results.read(path)
    ends = found["start_number"] + found["stocked_number"] + found["born_number"] - found["deaths_number"].sum("cause")
    np.testing.assert_allclose(ends, found["end_number"], rtol=1e-9, atol=1e-9)
    moved = found["deaths_number"].sel(cause="hauling").sum("year")
    assert (moved.sel(species=["bass", "shad"]) > 5.0).all() and (moved.sel(species="bluegill") == 0.0).all()
    stocked = found["stocked_number"].sum("year").sel(species="shad").values
    np.testing.assert_allclose(stocked, 40 / 0.40468564224, rtol=1e-9)


def test_a_truck_is_read_written_told_and_shown(tmp_path):
    text = lot("haul_hours = 6\nfrom_water_f = 78\ntempered = false\nsalted = true")
    text += lot("haul_hours = 2", "shad", 3, name="threadfin")
    scenario = pond(2, 1, text, only="few")
    assert resolve(tomllib.loads(dump(scenario))) == scenario
    event = next(event for event in scenario.strategies["few"].stocking if event.name == "lot")
    pond_f = 32 + 1.8 * expected_on(scenario.pond.temperature, event.date)
    minutes = f"tempering takes {30 * (78 - pond_f) / 5:.0f} minutes"
    told = pondpop.describe(scenario)
    assert minutes in told and "6 hours by truck in salted water, not tempered" in told and "fragile fish" in told
    page = tmp_path / "page.html"
    pondpop.write_report([pondpop.compare(scenario)], page)
    shown = re.sub("<[^>]*>", "", page.read_text("utf-8"))
    assert minutes.capitalize() in shown and "Died of the move" in shown and "They are fragile" in shown
    pondpop.write_report([pondpop.compare(pond(2, 1, "", only="few"))], page)
    assert "Died of the move" not in page.read_text("utf-8")


@pytest.mark.parametrize(("truck", "says"), [
    ("salted = true", "haul_hours beside it"), ("tempered = true\nhaul_hours = 3", "from_water_f or from_water_c"),
    ("haul_hours = 90", "0 to 72"), ("haul_hours = 3\nfrom_water_f = 120", "104"),
    ("haul_hours = 3\nfrom_water_f = 60\nfrom_water_c = 15", "one quantity in one unit"),
])  # fmt: skip
def test_a_truck_that_is_told_in_part_or_out_of_bounds_is_refused(truck, says):
    with pytest.raises(InputError, match=says) as refused:
        pond(2, 1, lot(truck), only="few")
    assert "\n" not in str(refused.value)


def test_fish_that_live_there_came_by_no_truck():
    resident = lot("haul_hours = 3").replace("date = 2026-04-10", "resident = true")
    with pytest.raises(InputError, match="no truck: these fish live there at the start"):
        pond(2, 1, resident, only="few")


def test_a_truck_touches_no_pond_of_another_strategy():
    """Even where a night has left a part of a fish, which only the end of the day makes whole."""
    scenario = pond(2, 1, lot("haul_hours = 6") + "[ensemble.spread]\nwhole_fish = 40\n")
    scenario = scenario._replace(pond=scenario.pond._replace(area_ha=0.2))
    few = scenario.strategies["few"]
    without = few._replace(stocking=tuple(event for event in few.stocking if event.name != "lot"))
    engine = Engine(side_by_side([prepare(scenario, one, *Prior().draw(scenario, one, 0, 2)) for one in (few, without)]))
    (haul,) = engine.hauls
    while engine.day < haul.day:
        engine.run_day()
    engine.stock()
    engine.state.number[engine.state.number > 0.0] = 2.4 / scenario.pond.area_ha
    before = engine.state.number.copy()
    engine.unload(haul)
    np.testing.assert_array_equal(engine.state.number[2:], before[2:])
    assert (engine.state.number[:2] != before[:2]).any()
