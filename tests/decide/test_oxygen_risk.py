"""What is said of kills for want of oxygen: chances by month and cause, the feed that doubles them, what aerators save."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from small import dataset, pond, readings

from pondpop.decide import oxygen_risk, sweep
from pondpop.decide.console import answer_text
from pondpop.decide.phrases import teller
from pondpop.decide.sweep_paths import Axis, put
from pondpop.model.oxygen import KILLERS
from pondpop.scenario import Aeration

FED = """
[costs]
per_kwh = 0.2
[[feeding]]
name = "pellets"
lb_per_acre_day = 10
"""
AERATED = {"aeration": (Aeration("aerator", "vertical_pump", 0.75, ((5, 1), (10, 31)), 1, 2, when_below_mg_l=3.0),)}


def killed_pond(few: float, many: float, changes=AERATED):
    """One of ten members loses a share of its fish in August under either strategy, by a bloom and in part by feed.

    The strategies are alike but for the changes of the second.
    """
    scenario = pond(members=10, extra=FED)
    one = scenario.strategies["few"]
    scenario = scenario._replace(strategies={"few": one, "many": one._replace(name="many", title="many", **changes)})
    read = readings(scenario)
    months = read["few"]["oxygen_kill"].shape[1]
    august = next(k for k in range(months) if (scenario.run.start.month - 1 + k) % 12 == 7)
    for name, share in (("few", few), ("many", many)):
        read[name]["oxygen_kill"][0, august] = share
        for cause, kg in (("bloom", 300.0), ("feed", 100.0)):
            read[name]["suffocated_biomass"][0, august, 1, KILLERS.index(cause)] = kg * share
        read[name]["dawn_oxygen"][:] = 4.0
    read["many"]["aeration_kwh"][:, august] = 100.0
    return dataset(scenario, read), scenario


def test_chances_by_month_and_cause_add_up():
    made, scenario = killed_pond(0.6, 0.05)
    few, many = oxygen_risk.risks(made, scenario)
    assert (few.partial, few.severe, few.months) == (pytest.approx(0.1, rel=0.01), pytest.approx(0.1, rel=0.01), (8,))
    assert few.by_month_and_cause["bloom"][7] == pytest.approx(0.075, rel=0.01)
    assert np.sum([*few.by_month_and_cause.values()], axis=0) == pytest.approx(few.by_month)
    assert many.partial == 0.0 and many.kwh == pytest.approx(100.0 * scenario.pond.area_ha, rel=0.01)


def test_the_months_that_are_named_hold_four_fifths_of_the_kills():
    made, scenario = killed_pond(0.0, 0.0)
    kills = made["oxygen_kill"].values[0]  # [member, month], from April on
    for member, month in enumerate([4, 4, 4, 4, 3, 3, 3, 3, 2, 1]):  # August, July, June and May
        kills[member, month] = 0.5
    assert oxygen_risk.risks(made, scenario)[0].months == (7, 8)
    kills[7, 3], kills[7, 2] = 0.0, 0.5
    assert oxygen_risk.risks(made, scenario)[0].months == (8, 7, 6)


def test_kills_of_over_half_are_told_as_none_where_there_were_none():
    """“under 2 %” beside a chance of 1.6 % would read as if the graver were as likely."""
    for share, said in ((0.6, "“few” 10 % (over half 10 %)"), (0.2, "“few” 10 % (none over half)")):
        assert said in oxygen_risk.words(teller(killed_pond(share, 0.05)[0], "us"))


def test_a_terminal_tells_a_chance_once_where_strategies_do_not_differ_in_it():
    line = oxygen_risk.short_words(teller(killed_pond(0.6, 0.6)[0], "us"))
    assert line == "Oxygen, kills a year (assumed): 10 % under each strategy"
    line = oxygen_risk.short_words(teller(killed_pond(0.6, 0.05)[0], "us"))
    assert "“few” 10 %" in line and "“many” under 10 %" in line


def test_what_an_aerator_saves_stands_beside_its_cost():
    said = oxygen_risk.lead_words(teller(killed_pond(0.6, 0.05)[0], "metric"))
    assert "“few” 10 %" in said and "saves 22 kg/ha of fish a year against “few”" in said and "USD" in said
    assert "keeps a refuge" in said
    assert "saves no fish" in oxygen_risk.lead_words(teller(killed_pond(0.05, 0.6)[0], "metric"))


@pytest.mark.parametrize(
    ("chances", "says"),
    [
        ([(0.0, 0.01), (10.0, 0.03)], "twice that without feed at about 5 lb/acre a day (5.6 kg/ha a day)"),
        ([(0.0, 0.01), (4.0, 0.015), (8.0, 0.025)], "at about 6 lb/acre a day"),
        ([(0.0, 0.01), (10.0, 0.02)], "twice that without feed at about 10 lb/acre a day"),
        ([(5.0, 0.02), (10.0, 0.03)], "Up to 10 lb/acre a day (11 kg/ha a day) of feed the chance is less than twice"),
        ([(0.0, 0.0), (10.0, 0.03)], ""),
        ([(0.0, 0.01)], ""),
    ],
)
def test_the_feed_that_doubles_the_chance(chances, says):
    words = oxygen_risk.doubling_words(chances)
    assert says in words and bool(says) == bool(words)


def test_strategies_that_differ_in_feed_alone_tell_it():
    made, scenario = killed_pond(0.05, 0.6)
    told = teller(made, "us")
    assert oxygen_risk.feeds_alike(told, oxygen_risk.risks(made, told.scenario)) == []  # they feed alike
    (fed,) = scenario.strategies["few"].feeding
    made, _ = killed_pond(0.05, 0.6, {"feeding": (fed._replace(kg_per_ha_day=2.0 * fed.kg_per_ha_day),)})
    told = teller(made, "us")
    assert oxygen_risk.feeds_alike(told, oxygen_risk.risks(made, told.scenario)) == [
        (pytest.approx(10.0), 0.0), (pytest.approx(20.0), pytest.approx(0.1, rel=0.01))
    ]  # fmt: skip


def test_a_sweep_over_feed_tells_it():
    scenario = killed_pond(0.6, 0.05)[1]
    few = scenario._replace(strategies={"few": scenario.strategies["few"]})
    row = sweep._row((0,), "few", dataset(few, readings(few)), few)
    rows = [sweep.replace(row, values=(feed,), kill=kill) for feed, kill in ((0, 0.01), (11.2085, 0.03))]
    said = sweep.answer(rows, [Axis("feeding.pellets.kg_per_ha_day", (0, 11.2085))], few, 0.5, 0.8)
    assert "1.0 % at 0, 3.0 % at 11.2 kg/ha a day" in said and "at about 5 lb/acre a day" in said
    assert "twice" not in sweep.answer(rows, [Axis("pond.cover", (0, 11.2085))], few, 0.5, 0.8)


@pytest.mark.parametrize("path", [
    "strategies.many.aeration.aerator.power_hp", "strategies.many.aeration.aerator.kind", "drawdown.low.area_share",
    "liming.lime.tons_per_acre", "fertilization.off.level", "plants.weeds.share", "grass_carp.carp.per_acre",
    "pond.mean_depth_ft",
])  # fmt: skip
def test_keys_of_the_water_can_be_varied(path):
    raw = {
        "pond": {"mean_depth_ft": 5}, "drawdown": [{"name": "low", "area_share": 0.6}],
        "liming": [{"name": "lime", "tons_per_acre": 1}], "fertilization": [{"name": "off", "level": 1}],
        "plants": [{"name": "weeds", "share": 0.2}], "grass_carp": [{"name": "carp", "per_acre": 5}],
        "strategies": {"many": {"aeration": [{"name": "aerator", "kind": "diffused", "power_hp": 1}]}},
    }  # fmt: skip
    put(raw, path, 0.5)
    assert "0.5" in str(raw)


@pytest.mark.parametrize(
    ("causes", "told"),
    [
        ({"turnover": 0.733, "bloom": 0.264, "feed": 0.003}, "turnover 73 %, bloom 27 % and feed under 1 %"),
        ({"feed": 1 / 3, "bloom": 1 / 3, "ice": 1 / 3}, "feed 34 %, bloom 33 % and ice 33 %"),
        ({"cloud": 0.994, "ice": 0.006}, "cloud 99 % and ice 1 %"),
        ({"cloud": 0.997, "ice": 0.003}, "cloud 100 % and ice under 1 %"), ({"ice": 1.0}, "ice 100 %"), ({}, ""),
    ],
)  # fmt: skip
def test_what_kills_are_put_down_to_adds_up_to_a_hundred(causes, told):
    assert oxygen_risk.put_down_to(causes) == told


def quiet(members=10, years=1, extra=""):
    """Readings of two strategies of which no fish die for want of oxygen."""
    scenario = pond(members=members, years=years, extra=extra)
    return scenario, readings(scenario)


def test_a_kill_is_over_a_tenth_and_a_severe_one_over_half_of_the_fish():
    scenario, read = quiet()
    for member, share in enumerate((0.1, 0.1001, 0.5, 0.5001)):
        read["few"]["oxygen_kill"][member, 4] = share
    few, many = oxygen_risk.risks(dataset(scenario, read), scenario)
    assert few.partial == pytest.approx(0.3, rel=0.01) and few.severe == pytest.approx(0.1, rel=0.01)
    assert (many.partial, many.severe, many.months, many.causes, many.dead_kg_per_ha) == (0.0, 0.0, (), {}, 0.0)


def test_kills_of_one_year_are_one_year_with_a_kill_and_chances_are_a_year():
    """A run of two years from April: three calendar years, of which the first ends with its ninth month."""
    scenario, read = quiet(members=4, years=2)
    kill = read["few"]["oxygen_kill"]
    kill[0, [3, 4]], kill[1, [4, 16]] = 0.2, 0.2  # July and August of one year; August of two
    read["few"]["suffocated_biomass"][0, 4, 1, KILLERS.index("ice")] = 8.0
    risk = oxygen_risk.risks(dataset(scenario, read), scenario)[0]
    years = 4 * (scenario.run.end - scenario.run.start).days / 365.25
    assert risk.partial == pytest.approx(3 / years) and risk.severe == 0.0
    assert risk.by_month == pytest.approx([0.0] * 6 + [1 / years, 3 / years] + [0.0] * 4)
    assert risk.months == (8, 7) and risk.causes == {"ice": 1.0}
    assert risk.dead_kg_per_ha == pytest.approx(8.0 / years)
    every = {cause: shares[7] for cause, shares in risk.by_month_and_cause.items()}
    assert every == {**dict.fromkeys(KILLERS, 0.0), "ice": pytest.approx(3 / years)}


def test_the_poorest_dawn_is_of_the_years_of_which_the_run_holds_half_or_more():
    """Of a run from April to March the second calendar year has three months only."""
    scenario, read = quiet(members=3)
    dawns = read["few"]["dawn_oxygen"]
    dawns[:], dawns[:, 10] = 6.0, 1.0  # February of the second year
    dawns[:, 3] = [[4.0], [3.0], [5.0]] if dawns.ndim == 3 else [4.0, 3.0, 5.0]
    assert oxygen_risk.risks(dataset(scenario, read), scenario)[0].lowest == 4.0


@pytest.mark.parametrize(("first", "lowest"), [(4, 3.0), (7, 4.0), (8, 4.5)])
def test_half_a_calendar_year_is_enough_for_its_poorest_dawn(first, lowest):
    """Of 24 months from April the third calendar year has three, from July the first and the third have six, from August the
    first has five. Their poorest dawns have 1, 5 and 4 mg/L."""
    scenario, read = quiet(years=2)
    made = dataset(scenario, read)
    month = np.arange(24) + np.datetime64(f"2026-{first:02d}")
    made = made.assign_coords(month=month.astype(made["month"].dtype))
    made["dawn_oxygen"].values[:] = np.array([1.0, 5.0, 4.0])[month.astype("datetime64[Y]").astype(int) - 56]
    assert oxygen_risk.risks(made, scenario)[0].lowest == lowest


def test_oxygen_that_is_left_out_has_no_risk():
    scenario, read = quiet()
    without = scenario._replace(pond=scenario.pond._replace(oxygen_risk=False))
    assert oxygen_risk.risks(dataset(without, read), without) == []
    told = teller(dataset(without, read), "us")
    assert (oxygen_risk.words(told), oxygen_risk.short_words(told), oxygen_risk.lead_words(told)) == ("", "", "")


@pytest.mark.parametrize(("kills", "told"), [(1, False), (2, True)])  # of 100 years, rounded: 1 and 2 in a hundred
def test_an_unfed_pond_is_told_of_from_a_chance_of_one_in_fifty(kills, told):
    scenario, read = quiet(members=99)  # 98.9 years
    read["few"]["oxygen_kill"][:kills, 4] = 0.3
    said = oxygen_risk.short_words(teller(dataset(scenario, read), "us"))
    assert bool(said) == told
    if told:
        assert said == "Oxygen, kills a year (assumed): “few” 2 %, “many” under 1 %"


def test_causes_and_months_are_named_from_a_chance_of_one_in_a_hundred():
    scenario, read = quiet(members=99, extra=FED)
    for name, kills in (("few", 1), ("many", 30)):
        read[name]["oxygen_kill"][:kills, 4] = 0.3
        read[name]["suffocated_biomass"][0, 4, 1, KILLERS.index("bloom")] = 3.0
        read[name]["suffocated_biomass"][0, 4, 1, KILLERS.index("feed")] = 2.0
    said = oxygen_risk.words(teller(dataset(scenario, read), "us"))
    start = "A year in which over a tenth of the fish die in a month, in this run: "
    assert said.startswith(f"{start}“few” 1 % (none over half), August, mostly by a bloom that collapses; “many” 30 % (none over")
    assert said.endswith("(0.5 % of years unfertilised, 1 to 2 fertilised, 3 to 5 fed 10 to 20 lb/acre a day, without aeration).")


def test_one_year_in_a_hundred_is_told_with_its_cause_and_one_in_fifty_on_a_terminal_too():
    scenario, read = quiet(members=25, years=4)  # a hundred years
    read["few"]["oxygen_kill"][0, 4], read["few"]["suffocated_biomass"][0, 4, 1, KILLERS.index("bloom")] = 0.3, 3.0
    told = teller(dataset(scenario, read), "us")
    assert "“few” 1 % (none over half), August, mostly by a bloom that collapses; “many” under 1 %" in oxygen_risk.words(told)
    assert oxygen_risk.short_words(told) == ""
    read["few"]["oxygen_kill"][1, 4] = 0.3
    assert "“few” 2 %" in oxygen_risk.short_words(teller(dataset(scenario, read), "us"))


LONG = "pellets for bluegill, March to October"


@pytest.mark.parametrize(("titles", "lines", "wide", "said"), [
    (("few", "many"), 1, 61, "“few” 10 %, “many” under 10 %"), (("few", "many"), 1, 60, "“few” 10 %, 1 more"),
    (("few", "many"), 2, 43, "“few” 10 %, “many” under 10 %"), (("few", LONG), 2, 79, f"“few” 10 %, “{LONG}” under 10 %"),
    ((LONG, "many"), 1, 78, f"“{LONG}” 10 %, 1 more"), ((LONG, "many"), 1, 30, f"“{LONG}” 10 %, 1 more"),
])  # fmt: skip
def test_a_terminal_is_told_whole_names_and_strategies_that_have_no_room_are_left_out(titles, lines, wide, said):
    made, scenario = killed_pond(0.6, 0.05)
    strategies = {s.name: s._replace(title=title) for s, title in zip(scenario.strategies.values(), titles, strict=True)}
    told = teller(dataset(scenario._replace(strategies=strategies), readings(scenario)), "us")
    told = replace(told, dataset=made)  # the chances
    assert oxygen_risk.short_words(told, lines, wide) == (told_of := f"Oxygen, kills a year (assumed): {said}")
    if wide == 79:
        screen = answer_text(told)
        assert told_of in " ".join(screen.split()) and max(map(len, screen.splitlines())) < 80


def test_chances_are_told_by_strategy():
    told = teller(killed_pond(0.6, 0.05)[0], "us")
    every = oxygen_risk.risks(told.dataset, told.scenario)
    assert oxygen_risk.chances_in_short(told, every) == (
        "chance a year that over a tenth of the fish die: “few” 10 % and “many” under 10 % (frequencies assumed)"
    )


def test_what_an_aerator_costs_is_told_in_hours_of_power_and_money():
    """20 kg/ha saved in a tenth of the futures, by 100 kWh/ha of 2 acres at 0.2 each."""
    told = teller(killed_pond(0.5, 0.0)[0], "metric")
    (said,) = oxygen_risk.aeration(told, oxygen_risk.risks(told.dataset, told.scenario))
    assert said == (
        "The aerator of “many” saves 20 kg/ha of fish a year against “few”, for 81 kWh a year, USD 16, besides what it costs to "
        "buy; it keeps a refuge and does not lift the pond."
    )
    other = teller(killed_pond(0.5, 0.0, AERATED | {"feeding": ()})[0], "metric")  # which differs in its feed as well
    assert oxygen_risk.aeration(other, oxygen_risk.risks(other.dataset, other.scenario)) == []
