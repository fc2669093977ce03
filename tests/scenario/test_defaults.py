"""What a file leaves open, what a survey says of a pond's size, and what was altered in Python."""

import pytest
from small import pond, raw

from pondpop.checks import InputError
from pondpop.scenario import checked, resolve
from pondpop.scenario.keys import keys_text
from pondpop.scenario.schema import DEFAULT_AERATION_BELOW_MG_L

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
