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
