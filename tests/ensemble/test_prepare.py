"""What the model is told of the rules of a scenario."""

import datetime as dt
import itertools

import numpy as np
import pytest
from small import pond, raw

from pondpop.ensemble.draws import Prior
from pondpop.ensemble.prepare import _oxygen, prepare, season_effort
from pondpop.model.oxygen import night_share
from pondpop.scenario import befallen, resolve
from pondpop.species import place_of


def hours_at_night(first, last):
    """Hours of a night in which an aerator runs from one hour to another [day]."""
    said = raw(only="few")
    said["strategies"]["few"]["aeration"] = [{"kind": "diffused", "power_kw": 1, "hours": [first, last]}]
    scenario = resolve(said)
    dates = [scenario.run.start + dt.timedelta(k) for k in range(0, 365, 30)]
    year_day = np.array([date.timetuple().tm_yday - 1 for date in dates])
    aerator = _oxygen(scenario, scenario.strategies["few"], dates, np.zeros(len(dates), int), year_day).aeration[0]
    assert aerator.hours == pytest.approx((last - first) % 24 or 24)
    return aerator.night_hours


def test_aerators_of_all_hours_run_all_night_and_those_of_noon_never():
    night = hours_at_night(0, 24)
    assert (night > 8).all() and (night < 13).all() and np.ptp(night) > 1
    april = dt.date(2026, 4, 1).timetuple().tm_yday - 1
    assert night[0] == pytest.approx(24.0 * night_share(april))  # of the first day of the run
    assert hours_at_night(10, 14) == pytest.approx(0.0)
    assert hours_at_night(12, 24) == pytest.approx(night / 2) == hours_at_night(0, 12)
    assert hours_at_night(16, 8) == pytest.approx(night) == hours_at_night(17, 7)
    assert hours_at_night(23, 2) == pytest.approx(3.0)


@pytest.mark.parametrize(("first", "last"), [(20, 5), (22, 7), (18, 1), (3, 6), (20, 21)])
def test_hours_at_night_are_alike_about_midnight_and_add_up(first, last):
    assert hours_at_night(first, last) == pytest.approx(hours_at_night(24 - last, 24 - first))
    assert hours_at_night(first, last) + hours_at_night(last, first) == pytest.approx(hours_at_night(0, 24))


SEASONS = [((3, 1), (10, 31)), ((2, 1), (2, 28)), ((12, 31), (12, 31)), ((1, 1), (12, 31)), ((5, 5), (5, 5))]


@pytest.mark.parametrize("season", SEASONS)
def test_the_effort_of_a_year_is_even_over_its_season_and_one_in_all(season):
    start = dt.date(2027, 1, 1)
    dates = [start + dt.timedelta(k) for k in range(365 + 366 + 365)]
    year = np.array([date.year - 2027 for date in dates])
    effort = season_effort(dates, year, season, 1, 2)
    for y, told in ((0, 1.0), (1, 1.0), (2, 0.0)):
        assert effort[year == y].sum() == pytest.approx(told)
    days = [date for date, share in zip(dates, effort, strict=True) if share]
    assert {(date.month, date.day) for date in days if date.year == 2027} >= set(season)
    assert all(season[0] <= (date.month, date.day) <= season[1] for date in days)
    assert all(len(set(effort[(year == y) & (effort > 0)])) == 1 for y in (0, 1))
    later = season_effort(dates[130:], year[130:], season, 1, 2)  # a run that starts within a season does a part of its effort
    assert later == pytest.approx(effort[130:])


BEFALLS = """
[[what_if.bad.spell]]
name = "cool"
from = 2026-06-01
to = 2026-06-10
at_most_c = 20
[[what_if.bad.spell]]
name = "cooler"
from = 2026-06-10
to = 2026-06-12
at_most_c = 18
[[what_if.bad.spell]]
name = "warm"
from = 2026-12-01
to = 2026-12-03
at_least_c = 9
[[what_if.bad.spell]]
name = "warmer"
from = 2026-12-03
to = 2026-12-03
at_least_c = 11
[[what_if.bad.fertility_loss]]
from = 2026-06-01
to = 2026-06-10
share = 0.5
[[what_if.bad.fertility_loss]]
from = 2026-06-10
to = 2026-06-11
share = 0.2
[[strategies.few.drawdown]]
from = 2026-07-19
to = 2026-07-25
area_share = 0.6
[[strategies.few.drawdown]]
from = 2026-07-25
to = 2026-07-27
area_share = 0.8
[[strategies.few.feeding]]
lb_per_acre_day = 2
from_year = 2
to_year = 2
season = ["03-30", "04-02"]
[[strategies.few.feeding]]
name = "more"
lb_per_acre_day = 1
from_year = 1
season = ["04-02", "04-03"]
"""


def test_what_holds_from_one_day_to_another_holds_on_both_and_the_stricter_of_several_holds():
    scenario = befallen(pond(members=1, years=2, extra=BEFALLS, only="few"), "bad")
    chosen = scenario.strategies["few"]
    inputs = prepare(scenario, chosen, *Prior().draw(scenario, chosen, 0, 1))

    def by_date(values, none):
        """What is not as on other days, by date; runs of one value as their first and last day and it."""
        runs = []
        for value, days in itertools.groupby(range(inputs.days), lambda day: values[day]):
            first, *_, last = [inputs.date(day).strftime("%y-%m-%d") for day in days] * 2
            runs += [(first, last, value)] if value != none else []
        return runs

    assert by_date(inputs.spell_most_c, np.inf) == [("26-06-01", "26-06-09", 20.0), ("26-06-10", "26-06-12", 18.0)]
    assert by_date(inputs.spell_least_c, -np.inf) == [("26-12-01", "26-12-02", 9.0), ("26-12-03", "26-12-03", 11.0)]
    lost = by_date(np.round(inputs.fertility_lost, 9), 0.0)
    assert lost == [("26-06-01", "26-06-09", 0.5), ("26-06-10", "26-06-10", 0.6), ("26-06-11", "26-06-11", 0.2)]
    assert by_date(inputs.area_share, 1.0) == [("26-07-19", "26-07-25", 0.6), ("26-07-26", "26-07-27", 0.8)]
    fed = by_date(np.round(inputs.pellets_kg_per_ha / 1.1208511561, 6), 0.0)
    assert fed == [
        ("26-04-02", "26-04-03", 1.0), ("27-03-30", "27-04-01", 2.0), ("27-04-02", "27-04-02", 3.0),
        ("27-04-03", "27-04-03", 1.0),
    ]  # fmt: skip


def test_local_knowledge_multiplies_what_it_is_of_as_often_as_it_is_said():
    said = raw(only="few")
    told = [("bass", "growth", 1.2), ("bluegill", "spawning", 0.5), ("bass", "growth", 1.5), ("bass", "survival", 0.8)]
    said["local_knowledge"] = [
        {"species": species, "process": process, "multiplier": by, "reason": "invented"} for species, process, by in told
    ]
    scenario = resolve(said)
    made = prepare(scenario, scenario.strategies["few"], *Prior().draw(scenario, scenario.strategies["few"], 0, 1))
    bass, bluegill = place_of("bass"), place_of("bluegill")
    assert made.local_growth[bass] == pytest.approx(1.8) and made.local_growth[bluegill] == 1.0
    assert made.local_spawning[bluegill] == 0.5 and made.local_survival[bass] == 0.8 and made.local_spawning[bass] == 1.0


def prepared(content, members=1):
    """The one strategy of a pond as the model is told of it, and its luck."""
    scenario = resolve(content)
    ((_, chosen),) = scenario.strategies.items()
    parameters, luck = Prior().draw(scenario, chosen, 0, members)
    return prepare(scenario, chosen, parameters, luck), luck


def test_a_drawdown_strands_small_sunfish_on_its_first_day_the_more_the_less_water_is_left():
    content = raw(only="few")
    april = [dt.date(2026, 4, day) for day in range(1, 31)]
    content["strategies"]["few"]["drawdown"] = [
        {"from": april[10], "to": april[19], "area_share": 0.75}, {"from": april[20], "to": april[29], "area_share": 0.5},
    ]  # fmt: skip
    made, _ = prepared(content)
    stranded = {(one.day, one.species): one.amount.item() for one in made.removals}
    share = made.parameters.stranded_share.item()
    sunfish = [place_of(name) for name in ("bluegill", "redear")]
    assert stranded == {(day, one): pytest.approx(dry * share) for day, dry in ((10, 0.25), (20, 0.5)) for one in sunfish}
    assert {(one.kind, one.cause, one.longest_mm) for one in made.removals} == {
        ("share", "die_off", made.parameters.stranded_below_mm.item()),
    }  # fmt: skip


def test_of_fish_bought_as_females_those_that_are_males_after_all_are_none():
    content = raw(only="few")
    content["strategies"]["few"]["stocking"][0] |= {"female_share": 0.9, "sexing_error": 0.2}
    made, luck = prepared(content, members=40)
    shares = [one.female_share for one in made.stockings]
    assert shares[:2] == [0.5, 0.5]  # of the fish of which nothing is said
    np.testing.assert_allclose(shares[2], 0.9 * (1.0 - luck.missed_males[:, 2]))
    assert 0.5 < shares[2].mean() < 0.9


def test_wild_fish_come_on_their_days_in_the_members_whose_year_it_is_behind_all_that_is_stocked():
    comes = {"name": "wild", "species": "redear", "per_acre": 100, "length_in": 4, "chance": 0.5}
    flood = {"name": "flood", "species": "bluegill", "per_acre": 50, "length_in": 3, "date": dt.date(2026, 6, 1)}
    made, luck = prepared(raw(only="few", years=2) | {"arrival": [comes, flood]}, members=40)
    bought = [one for one in made.stockings if not one.uninvited]
    wild = [one for one in made.stockings if one.uninvited]
    assert [one.origin for one in made.stockings] == list(range(len(bought) + len(wild))) and len(wild) == 3
    (whole,) = (one for one in wild if one.species == place_of("bluegill"))
    assert whole.day == 61 and whole.per_ha == pytest.approx(np.full(40, 50 / 0.40468564224))
    some = [one for one in wild if one is not whole]
    assert some[1].day - some[0].day == 365
    place = next(event for event in range(2) if not (luck.arrived[:, event] == 1.0).all())
    for one in some:
        year = made.date(one.day).year - 2026
        np.testing.assert_allclose(one.per_ha * 0.40468564224, 100.0 * luck.arrived[:, place, year])


def test_an_aerator_runs_in_its_season_with_its_power_shared_out_over_the_pond():
    content = raw(only="few", years=2)
    season = {"season": ["06-01", "08-31"], "from_year": 2, "to_year": 2}
    content["strategies"]["few"]["aeration"] = [{"kind": "diffused", "power_kw": 3} | season]
    made, _ = prepared(content)
    (aerator,) = made.oxygen.aeration
    assert aerator.kw_per_ha == pytest.approx(3 / (2 * 0.40468564224))
    runs = np.flatnonzero(aerator.available)
    assert [made.date(int(day)) for day in (runs[0], runs[-1])] == [dt.date(2027, 6, 1), dt.date(2027, 8, 31)]
    assert runs.size == 92
