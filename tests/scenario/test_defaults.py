"""What a file leaves open, what a survey says of a pond's size, and what was altered in Python."""

import datetime as dt

import pytest
from small import pond, raw

from pondpop.checks import InputError
from pondpop.scenario import checked, describe, resolve
from pondpop.scenario.keys import keys_text
from pondpop.scenario.schema import DEFAULT_AERATION_BELOW_MG_L, Temperature
from pondpop.scenario.temperature import daily_from_monthly
from pondpop.scenario.water import expected_on, monthly_of_readings

SURVEY = {"gear": "electrofishing", "hours": 0.05, "water_c": 20.0}
CATCH = [{"species": "bluegill", "length_in": [5, 6], "count": 1}]


def bluegill_per_ha(acres: float, **changes: float) -> float:
    said = raw(only="few") | {"start_from_survey": SURVEY | changes | {"catch": CATCH}}
    said["pond"] |= {"area_acres": acres}
    fish = resolve(said).strategies["few"].stocking
    (event,) = (one for one in fish if one.species == "bluegill" and one.name != "bluegill")  # which the small pond has besides
    return event.per_ha


def test_a_catch_tells_of_as_many_fish_a_hectare_in_a_pond_of_any_size():
    """A short survey sees a share of the fish that falls with the area, and rises with the hours."""
    assert bluegill_per_ha(10) == pytest.approx(bluegill_per_ha(100), rel=0.02)
    assert bluegill_per_ha(100) == pytest.approx(2 * bluegill_per_ha(100, hours=0.1), rel=0.02)


def test_the_oxygen_at_which_aerators_start_is_what_the_page_of_keys_says():
    said = keys_text("aeration").partition("when_below_mg_l")[2].partition("\n\n")[0]
    assert f"{DEFAULT_AERATION_BELOW_MG_L:g} (assumed)" in said


def test_what_was_altered_in_python_is_judged_as_a_file_would_be():
    scenario = pond()
    assert checked(scenario) is scenario
    with pytest.raises(InputError, match="area"):
        checked(scenario._replace(pond=scenario.pond._replace(area_ha=-1.0)))


def test_months_of_daily_readings_are_the_means_of_their_days_whatever_the_day_they_end_on():
    """Each day of a month of the same temperature: so is the month, and it is reached in the middle of it."""
    for last in (dt.date(2024, 12, 31), dt.date(2024, 6, 30), dt.date(2025, 2, 28)):
        days = [last - dt.timedelta(k) for k in range(366 + 365, -1, -1)]
        monthly = monthly_of_readings([(day, 5.0 + day.month) for day in days])
        assert monthly == pytest.approx([6.0 + k for k in range(12)])
        water = Temperature("readings", "invented", readings=tuple((day, 5.0 + day.month) for day in days))
        assert [expected_on(water, dt.date(2026, month, 15)) for month in range(2, 12)] == pytest.approx(range(7, 17), abs=0.05)


@pytest.mark.parametrize("odd", ["first", "last"])
def test_every_day_of_a_month_of_readings_counts_once(odd):
    days = [dt.date(2024, 1, 1) + dt.timedelta(k) for k in range(366)]
    values = [40.0 if day == (days[0] if odd == "first" else days[-1]) else 9.0 for day in days]
    monthly = monthly_of_readings(list(zip(days, values, strict=True)))
    month = 0 if odd == "first" else 11
    assert monthly == pytest.approx([9.0 + (31.0 / 31 if k == month else 0.0) for k in range(12)])


def test_a_year_of_water_has_the_days_of_the_calendar_and_keeps_each_months_mean():
    monthly = [10.0 + k for k in range(12)]
    for year in (1900, 2000, 2023, 2024, 2100, 2400):
        water = daily_from_monthly(monthly, dt.date(year, 1, 1), (dt.date(year + 1, 1, 1) - dt.date(year, 1, 1)).days)
        months = [(dt.date(year, 1, 1) + dt.timedelta(k)).month for k in range(len(water))]
        means = [sum(c for c, m in zip(water, months, strict=True) if m == k) / months.count(k) for k in range(1, 13)]
        assert means == pytest.approx(monthly)


def test_fish_that_live_there_are_told_as_such_and_others_as_stocked():
    lines = describe(pond(only="few")).splitlines()
    for name, words in (("bluegill", "living there:"), ("old_bass", "living there:"), ("young_bass", "stock")):
        (line,) = (line for line in lines if f"  {name}: " in line)
        assert f"{name}: {words} " in line
