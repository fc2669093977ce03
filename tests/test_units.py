import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pondpop import units
from pondpop.units import (
    AREA,
    CROP,
    DENSITY,
    EFFORT,
    FEED,
    FEED_PRICE,
    LENGTH,
    TEMPERATURE,
    WEIGHT,
    brief,
    in_csv,
    in_hundred,
    in_ten,
    in_words,
    window,
)

FAMILIES = [AREA, CROP, DENSITY, EFFORT, FEED, FEED_PRICE, LENGTH, TEMPERATURE, WEIGHT, units.density(2.0)]


@pytest.mark.parametrize(
    ("family", "suffix", "value", "si"),
    [
        (LENGTH, "in", 8, 203.2),
        (WEIGHT, "lb", 1, 453.59237),
        (AREA, "acres", 1, 0.40468564224),
        (TEMPERATURE, "f", 32, 0),
        (TEMPERATURE, "f", 212, 100),
        (CROP, "lb_per_acre", 1, 1.1208511561),  # 453.59237 g on 0.40468564224 ha
        (DENSITY, "per_acre", 75, 185.3290360),
        (FEED_PRICE, "per_lb_feed", 0.5, 1.1023113109),
        (units.density(2.0), "count", 100, 50),
    ],
)
def test_known_conversions(family, suffix, value, si):
    assert family[suffix].to_si(value) == pytest.approx(si, rel=1e-9, abs=1e-12)


@given(st.sampled_from(FAMILIES), st.data(), st.floats(-1e6, 1e6))
def test_there_and_back(family, data, value):
    unit = family[data.draw(st.sampled_from(list(family)))]
    assert unit.from_si(unit.to_si(value)) == pytest.approx(value, rel=1e-12, abs=1e-9)


@pytest.mark.parametrize("family", FAMILIES)
def test_the_first_unit_of_a_family_is_si(family):
    first = next(iter(family.values()))
    assert first.to_si(1.25) == 1.25


@pytest.mark.parametrize(
    ("value", "words"),
    [(0, "0"), (1500, "1,500"), (1512, "1,510"), (0.45359, "0.454"), (12.345, "12.3"), (203.2, "203"), (-2.0, "-2"),
     (999.6, "1,000"), (0.05, "0.05")],
)  # fmt: skip
def test_brief(value, words):
    assert brief(value) == words


@given(st.floats(1e-3, 1e7))
def test_brief_stays_within_its_digits(value):
    assert math.isclose(float(brief(value).replace(",", "")), value, rel_tol=0.005)


@pytest.mark.parametrize(
    ("value", "told"),
    [(12345.678, "12350"), (0.28620032, "0.2862"), (1e-9, "0"), (-3.5, "-3.5"), (99.99999, "100"), (float("nan"), ""),
     (float("inf"), ""), (1e15, "1000000000000000")],
)  # fmt: skip
def test_numbers_of_a_csv_have_four_digits_and_no_powers(value, told):
    assert in_csv(value) == told


def test_small_parameters_are_kept_where_asked():
    assert in_csv(2.5e-7, 0.0) == "0.00000025" and in_csv(0.0, 0.0) == "0"


def test_in_words():
    assert in_words(203.2, LENGTH, "in") == "8 in"
    assert in_words(20, TEMPERATURE, "f") == "68 °F"


@given(st.integers(0, 400), st.integers(2, 400))
def test_a_chance_in_tenths_is_never_told_as_more_than_it_is(shown, members):
    share = min(shown, members) / members
    words = in_ten(share, members)
    least = {"less than 1 of 10": 0.0, "more than 9 of 10": 0.9}.get(words)
    least = float(words.split()[0]) / 10 if least is None else least
    assert share >= least - 1e-12 or share == 0.0  # none of a few members is no zero
    assert (share >= 0.8) == (least >= 0.8)  # what is called eight of ten is, and no less is


def test_few_members_make_no_certainty():
    assert in_ten(1.0, 4) == "9 of 10" and in_ten(0.0, 4) == "1 of 10" and in_ten(1.0, 1000) == "more than 9 of 10"
    assert in_hundred(1.0, 4) == "over 80 %" and in_hundred(0.0, 4) == "under 20 %" and in_hundred(0.799) == "79 %"
    assert in_hundred(1.0) == "over 99 %" and in_ten(math.nan) == "not known"


@pytest.mark.parametrize(("value", "told"), [(4.7e-5, "0.000047"), (-1e-9, "-0.000000001"), (2.5e6, "2,500,000")])
def test_no_number_is_told_in_powers_of_ten(value, told):
    assert brief(value) == told


def test_a_window_that_is_open_at_an_end_says_so():
    assert window((25.0, 900.0), 25.0, 900.0, "us") == window((0.0, 990.0), 25.0, 900.0, "us") == "all lengths"
    assert window((25.0, 254.0), 25.0, 900.0, "us") == "under 10 in (254 mm)"
    assert window((254.0, 900.0), 25.0, 900.0, "us") == "over 10 in (254 mm)"
    assert window((203.2, 254.0), 25.0, 900.0, "us") == "8–10 in (203–254 mm)"
