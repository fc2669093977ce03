import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pondpop import checks
from pondpop.checks import MISSING, Fact, InputError

ANYTHING = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(), st.binary(), st.dates(),
    st.datetimes(), st.times(),
    st.lists(st.integers() | st.text(), max_size=30), st.dictionaries(st.text(), st.integers()),
    st.just(10**5000), st.just("x" * 100_000), st.just(MISSING),
)  # fmt: skip


def test_an_error_says_where_what_and_how_to_go_on():
    error = InputError("strategies.light.stocking[1].length_in", -2, "a length above 0", "measure again", "pond.toml")
    assert str(error) == (
        "pond.toml: strategies.light.stocking[1].length_in: got -2, needs a length above 0; measure again"
    )
    assert str(InputError("title", MISSING, "text")) == "title: got nothing, needs text"
    empty = InputError("", Fact("an empty file"), "a scenario", file="a")
    assert str(empty) == "a: got an empty file, needs a scenario"


def test_a_file_that_is_known_is_not_replaced():
    error = InputError("a", 1, "b")
    assert error.in_file("x.toml").file == "x.toml"
    assert error.in_file("x.toml").in_file("y.toml").file == "x.toml"


@given(ANYTHING, st.text(), st.text())
def test_every_error_is_one_short_printable_line(value, path, file):
    line = str(InputError(path, value, "a number", file=file))
    assert line.isprintable()
    assert len(line) < 500


@given(ANYTHING)
def test_checks_return_what_they_promise_or_refuse(value):
    def passes(check):
        try:
            return check()
        except InputError:
            return None

    number = passes(lambda: checks.number("p", value, -5, 5))
    assert number is None or (isinstance(number, float) and -5 <= number <= 5 and number == value)
    integer = passes(lambda: checks.integer("p", value, -5, 5))
    assert integer is None or (type(integer) is int and -5 <= integer <= 5)
    text = passes(lambda: checks.text("p", value, 50))
    assert text is None or (text.isprintable() and 0 < len(text) <= 50)
    label = passes(lambda: checks.label("p", value))
    assert label is None or label.replace("_", "").replace("-", "").isalnum() or set(label) <= set("_-")
    day = passes(lambda: checks.day("p", value, dt.date(2020, 1, 1), dt.date(2021, 1, 1)))
    assert day is None or (type(day) is dt.date and day.year == 2020)


@pytest.mark.parametrize("value", [True, "3", None, float("nan"), float("inf"), 10**400, 5.01, MISSING])
def test_number_refuses(value):
    with pytest.raises(InputError, match="needs a number from 0 to 5 lb"):
        checks.number("p", value, 0, 5, "lb")


@pytest.mark.parametrize("value", [True, 2.0, "2", 0, 6])
def test_integer_refuses(value):
    with pytest.raises(InputError, match="a whole number from 1 to 5"):
        checks.integer("p", value, 1, 5)


def test_text_refuses_what_cannot_be_seen():
    for value in ["", "  ", "a\x00b", "a\u202eb", "a\nb", "x" * 11, 3]:
        with pytest.raises(InputError):
            checks.text("p", value, 10)
    assert checks.text("p", "a\nb", 10, lines=True) == "a\nb"


def test_label_refuses_what_could_not_be_a_file_name():
    for value in ["", "a b", "a/b", "..", "é", "x" * 41, "a.b"]:
        with pytest.raises(InputError):
            checks.label("p", value)


def test_day_is_within_and_no_datetime():
    first, end = dt.date(2026, 3, 15), dt.date(2027, 3, 15)
    assert checks.day("p", first, first, end) == first
    for value in [end, first - dt.timedelta(1), dt.datetime(2026, 4, 1), "2026-04-01"]:
        with pytest.raises(InputError, match="a date from 2026-03-15 to 2027-03-14"):
            checks.day("p", value, first, end)


def test_the_nearest_word_is_named():
    with pytest.raises(InputError, match='did you mean "bluegill"'):
        checks.choice("species", "blugill", ["bass", "bluegill"])
    with pytest.raises(InputError, match=r'pond\.area_acre: got "area_acre".*did you mean "area_acres"'):
        checks.only_known("pond", ["area_acre"], ["area_acres", "cover"])
    assert checks.nearest("zzz", ["bass", "shad"]) == "known: bass, shad"


def test_a_number_is_shown_up_to_sixty_digits():
    assert checks.shown(10**60 - 1) == "9" * 60
    assert checks.shown(10**60) == checks.shown(-(10**60)) == "a number of more than 60 digits"
