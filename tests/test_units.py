import datetime as dt
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pondpop import units
from pondpop.units import (
    AREA,
    CROP,
    DENSITY,
    DEPTH,
    EFFORT,
    FEED,
    FEED_PRICE,
    KINDS,
    LENGTH,
    LIME,
    POWER,
    TEMPERATURE,
    WEIGHT,
    banded,
    both,
    brief,
    day,
    day_of_year,
    figure_of,
    hundredths,
    in_csv,
    in_hundred,
    in_ten,
    in_words,
    joined,
    months_in_words,
    percent,
    shortened,
    tenths,
    told_short,
    window,
    with_band,
    with_unit,
)

FAMILIES = [
    AREA, CROP, DENSITY, DEPTH, EFFORT, FEED, FEED_PRICE, LENGTH, LIME, POWER, TEMPERATURE, WEIGHT, units.density(2.0),
]  # fmt: skip


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
        (WEIGHT, "kg", 2.5, 2500),
        (DEPTH, "ft", 10, 3.048),
        (FEED, "lb_per_acre_day", 1, 1.1208511561),
        (EFFORT, "hours_per_acre", 1, 2.4710538147),  # 1 / 0.40468564224
        (LIME, "tons_per_acre", 1, 2.2417023122),  # 2,000 lb on an acre
        (POWER, "hp", 1, 0.7457),
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


def test_a_share_is_told_in_per_cent():
    assert [percent(share) for share in (0.45, 0.4526, 0.0031, 1.0, 0.0)] == ["45 %", "45.3 %", "0.31 %", "100 %", "0 %"]
    assert (percent(0.7549, 2), percent(0.0004126, 2)) == ("75 %", "0.041 %")


def test_thousands_are_set_apart_whatever_the_digits():
    assert brief(1000, 4) == "1,000" and brief(100) == "100"
    assert brief(1050, 4) == "1,050" and brief(1010, 2) == "1,000" and brief(0.99996, 4) == "1" and brief(7, 1) == "7"


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
    assert in_csv(5.1e-7) == "0.00000051" and in_csv(4.9e-7) == "0" and in_csv(0.0051, 0.01) == "0.0051"
    assert in_csv(5e-7) == "0.0000005"  # half of it is not below half of it


def test_in_words():
    assert in_words(203.2, LENGTH, "in") == in_words(203.3, LENGTH, "in") == "8 in"
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


@pytest.mark.parametrize("kind", KINDS)
def test_a_figure_has_the_same_meaning_in_either_system(kind):
    in_us, in_metric = (units.converted(12.5, kind, system) for system in ("us", "metric"))
    us, metric = units.unit(kind, "us"), units.unit(kind, "metric")
    assert us.to_si(in_us) == pytest.approx(metric.to_si(in_metric), rel=1e-12)
    assert units.other(units.other("us")) == "us" != units.other("us")


@pytest.mark.parametrize(
    ("kind", "si", "us"),
    [("catch", 0.45359237, 1), ("growth", 25.4, 1), ("length", 25.4, 1), ("weight", 453.59237, 1), ("temperature", 20, 68),
     ("density", 2.4710538147, 1), ("crop", 1.1208511561, 1), ("money", 7, 7), ("percent", 7, 7)],
)  # fmt: skip
def test_known_figures_in_either_system(kind, si, us):
    assert units.converted(si, kind, "us") == pytest.approx(us, rel=1e-9)
    assert units.converted(si, kind, "metric") == si


# --- figures by kind


@pytest.mark.parametrize(
    ("kind", "value", "told"),
    [
        ("percent", 52.4, "52"), ("percent", -0.4, "0"), ("temperature", -20.4, "-20"), ("temperature", 0.4, "0"),
        ("points", 12.4, "12"), ("points", -1.2, "-1"), ("points", 0.46, "0.5"), ("points", 0.06, "0.06"),
        ("points", 0.052, "0.05"), ("points", 0.049, "0"), ("money", 0.05, "0.05"),
        ("money", 114.6, "110"), ("money", 12345, "12,000"), ("money", 0.456, "0.46"),
        ("length", 203.4, "203"), ("length", 40.4, "40"), ("length", 39.96, "40"), ("length", 12.34, "12.3"),
        ("crop", 123.4, "120"), ("crop", 0.1, "0.1"), ("crop", 0.099, "<0.1"), ("crop", 0.00101, "<0.1"),
        ("crop", 0.000995, "0"), ("weight", 0.011, "0.011"), ("weight", 0.0099, "<0.01"), ("ratio", 0.0099, "<0.01"),
        ("ratio", 0.000099, "0"), ("fish", -0.5, "-0.5"), ("fish", math.nan, "–"), ("percent", math.inf, "–"),
        ("points", 0.05, "0.05"), ("points", 0.0499, "0"),
    ],
)  # fmt: skip
def test_a_figure_has_the_digits_it_deserves(kind, value, told):
    assert figure_of(value, kind) == told


@given(st.sampled_from([kind for kind in KINDS if kind not in ("percent", "temperature")]), st.floats(0.1, 1e6))
def test_a_figure_is_never_off_by_more_than_its_digits(kind, value):
    error = 0.5 if kind == "points" else 0.5 * 10 ** (math.floor(math.log10(value)) - 1)
    assert abs(float(figure_of(value, kind).replace(",", "")) - value) <= error * (1.0 + 1e-9)


def test_a_band_that_says_nothing_is_left_out():
    assert with_band((40, 52, 60), "percent") == ("52", "40–60") and banded((40, 52, 60), "percent") == "52 [40–60]"
    assert with_band((52, 52.1, 52.2), "percent") == ("52", "")
    assert with_band((0, 0.02, 0.05), "crop") == ("<0.1", "") == with_band((0.02, 0.02, 0.05), "crop")
    assert with_band((0, 0.02, 0.3), "crop") == ("<0.1", "0–0.3") and with_band((0.02, 0.2, 3), "crop") == ("0.2", "<0.1–3")
    assert banded((math.nan, 3.0, 4.0), "crop") == "3"


def test_a_value_has_as_many_digits_as_tell_it_from_others_and_three_at_least():
    pounds = [453.59237 * p for p in (10.04, 12.0, 10.01, 10.012)]
    told = [units.told_apart(pounds[0], others, "weight", "us") for others in ((), pounds[1:2], pounds[:3], pounds)]
    assert told == ["10 lb", "10 lb", "10.04 lb", "10.04 lb"]
    assert units.told_apart(pounds[2], pounds, "weight", "us") == "10.01 lb"
    assert units.told_apart(pounds[3], pounds, "weight", "us") == "10.012 lb"
    alike = units.told_apart(1 / 3, [math.nextafter(1 / 3, 1)], "ratio", "us")
    assert alike == "0.333333333333333"  # a number holds no more digits surely


def test_a_figure_is_told_with_its_unit():
    assert with_unit(1000, "weight", "metric") == "1 kg" and with_unit(1510, "weight", "metric") == "1.5 kg"
    assert with_unit(2346, "weight", "metric", 3) == "2.35 kg"
    assert with_unit(992, "weight", "metric") == "990 g" and with_unit(1500, "weight", "us") == "1,500 lb"
    assert with_unit(3, "ratio", "us") == "3"
    assert both(28.02, "crop", "us") == "25 lb/acre (28 kg/ha)" and both(28.02, "crop", "metric") == "28 kg/ha (25 lb/acre)"
    assert both(50.0, "percent", "us") == "50 %"


@pytest.mark.parametrize(
    ("chance", "told"), [(0.951, ">9"), (0.949, "9"), (0.8, "8"), (0.8 - 1e-12, "8"), (0.799, "7"), (0.1, "1"), (0.099, "<1")]
)
def test_tenths(chance, told):
    assert tenths(chance) == told


def test_a_chance_in_per_cent_is_never_told_as_more_than_it_is():
    assert [hundredths(k / 100) for k in range(101)] == list(range(101)) and hundredths(0.2899) == 28
    assert (in_hundred(0.76), in_hundred(0.76 - 1e-12), in_hundred(0.7699)) == ("76 %", "76 %", "76 %")
    assert (in_hundred(0.005), in_hundred(0.01), in_hundred(0.99), in_hundred(0.995)) == ("under 1 %", "1 %", "99 %", "over 99 %")
    assert (in_hundred(0.05, 9), in_hundred(0.95, 9)) == ("under 10 %", "over 90 %")
    assert tenths(math.nan) == "–"


# --- dates and lists


def test_dates_and_lists_in_words():
    assert day(dt.date(2027, 6, 5)) == "5 June 2027" and day_of_year((6, 5)) == "5 June"
    assert [joined("abc"[:k]) for k in range(4)] == ["", "a", "a and b", "a, b and c"] and joined("ab", "or") == "a or b"


@pytest.mark.parametrize(
    ("months", "told"),
    [((), ""), (range(1, 13), "every month"), ((2,), "February"), ((10, 3, 4), "March–April and October"),
     ((1, 12), "December–January"), ((12, 1, 2, 6), "June and December–February"), (range(1, 12), "January–November"),
     (range(2, 13), "February–December"), ((1, 11), "January and November")],
)  # fmt: skip
def test_months_in_words(months, told):
    assert months_in_words(months) == told


def test_what_is_shortened_ends_with_an_ellipsis_and_fits():
    assert shortened("a  b\n c", 5) == "a b c" and shortened("a b cd", 5) == "a b…" and shortened("abcdef", 5) == "abcd…"


def test_names_that_would_be_cut_to_the_same_text_stay_apart():
    long = ["restructure with a heavy harvest in spring", "restructure with a heavy harvest in autumn", "leave it"]
    assert told_short(long, 26) == ["restructure w…spring", "restructure w…autumn", "leave it"]
    assert told_short(["a" * 30 + "1" + "a" * 30, "a" * 30 + "2" + "a" * 30], 10) == ["aaaaa…aa1…", "aaaaa…aa2…"]
    assert told_short([long[0]] * 2, 10) == ["restructu…"] * 2  # one name twice is one name


def test_where_names_part_a_quarter_of_the_room_tells_what_stands_before_and_a_number_what_is_still_alike():
    assert told_short(["a" * 30 + "1bcdef", "a" * 30 + "2bcdef"], 20) == ["a" * 10 + "…aaaaa1bc…", "a" * 10 + "…aaaaa2bc…"]
    names = ["w" * 20 + "a" + "y" * 20 + "1", "w" * 20 + "a" + "y" * 20 + "2", "w" * 20 + "b" + "y" * 20]
    assert told_short(names, 12) == ["w" * 10 + "…1", "w" * 10 + "…2", "wwwwww…wwwb…"]


@given(st.lists(st.text("ab ", min_size=1, max_size=40).filter(str.strip), max_size=12), st.integers(8, 30))
def test_short_names_are_short_and_as_many_as_the_names(names, most):
    names = [" ".join(name.split()) for name in names]
    told = told_short(names, most)
    assert len(set(told)) == len(set(names)) == len({*zip(names, told, strict=True)}) and all(len(one) <= most for one in told)
