"""What the move of fish asks for."""

import pytest

from pondpop.scenario.moving import tempering_minutes


@pytest.mark.parametrize(("from_f", "to_f", "minutes"), [(60, 76, 60), (75, 65, 60), (70, 70, 0), (65, 67, 7.5), (80, 74, 36)])
def test_minutes_of_tempering_are_8_degrees_up_or_5_down_in_half_an_hour(from_f, to_f, minutes):
    assert tempering_minutes((from_f - 32) / 1.8, (to_f - 32) / 1.8) == pytest.approx(minutes, abs=1e-9)
