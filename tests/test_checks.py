import datetime as dt
import errno
import pickle

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


def test_an_error_comes_whole_from_another_process():
    error = InputError(path="a", given=MISSING, allowed="b", remedy="c", file="d")
    for one, name in ((error, "a"), (error.of("a", "first"), "a (first)")):
        assert str(pickle.loads(pickle.dumps(one))) == str(one) == f"d: {name}: got nothing, needs b; c"


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
    assert checks.choice("species", "bass", ["bass", "bluegill"]) == "bass"
    with pytest.raises(InputError, match='did you mean "bluegill"'):
        checks.choice("species", "blugill", ["bass", "bluegill"])
    with pytest.raises(InputError, match=r'pond\.area_acre: got "area_acre".*did you mean "area_acres"'):
        checks.only_known("pond", ["area_acre"], ["area_acres", "cover"])
    assert checks.nearest("zzz", ["bass", "shad"]) == "known: bass, shad"


def test_a_number_is_shown_up_to_sixty_digits():
    assert checks.shown(10**60 - 1) == "9" * 60
    assert checks.shown(10**60) == checks.shown(-(10**60)) == "a number of more than 60 digits"


@pytest.mark.parametrize(
    ("told", "longest"),
    [
        (lambda n: str(InputError("p" * n, 1, "b")).partition(": ")[0], 160),
        (lambda n: str(InputError("", 1, "b", file="f" * n)).partition(": ")[0], 160),
        (lambda n: checks.shown(Fact("f" * n)), 200),
        (lambda n: checks.shown("t" * (n - 2)), 60),  # with its quotes
        (lambda n: checks.reason(OSError(errno.EIO, "", "d" * n)).partition(": ")[0], 1000),
    ],
)
def test_what_is_too_long_to_be_shown_is_cut_with_an_ellipsis(told, longest):
    assert len(told(longest)) == longest and "…" not in told(longest)
    for more in (1, 2, 500):
        assert len(told(longest + more)) == longest and told(longest + more).endswith("…")


@pytest.mark.parametrize("count", range(1, 40))
def test_a_list_is_shown_whole_or_ends_with_an_ellipsis(count):
    words = checks.shown([1] * count)
    assert (words == str([1] * count)) == (len(str([1] * count)) <= 60) == (not words.endswith("…"))


def test_entries_of_a_list_are_counted_from_one():
    assert [checks.entry("length_in", place) for place in (0, 1)] == ["length_in[1]", "length_in[2]"]


def test_an_entry_of_a_list_is_told_with_its_name():
    error = InputError("a.b[1].c", 1, "d").of("a.b[1]", "name").in_file("f")
    assert str(error) == "f: a.b[1] (name).c: got 1, needs d"
    assert str(InputError("x[1].x[1]", 1, "d").of("x[1]", "name")) == "x[1] (name).x[1]: got 1, needs d"


@pytest.mark.parametrize(("given", "remedy"), [
    (40, "write 0.4 for 40 %"), (100, "write 1 for 100 %"), (101, ""), (104, ""), (-1, ""),
])  # fmt: skip
def test_a_share_written_in_per_cent_is_told_so_up_to_a_hundred(given, remedy):
    with pytest.raises(InputError) as refused:
        checks.number("p", given, 0, 1)
    assert refused.value.remedy == remedy


def test_bounds_belong_to_what_is_allowed():
    assert [checks.number("p", value, -5, 5) for value in (-5, 5)] == [-5.0, 5.0]
    assert [checks.integer("p", value, 1, 5) for value in (1, 5)] == [1, 5]
    assert checks.text("p", "x" * 10, 10) == "x" * 10
    for value in ("a", "7", "x" * 40, "_a-"):
        assert checks.label("p", value) == value
    for value in ("-a", "_-"):
        with pytest.raises(InputError):
            checks.label("p", value)


def test_a_key_without_its_unit_is_told_all_that_its_quantity_has():
    lengths = ("length", ("length_in", "length_mm"))
    known = ["name", "length_in", "length_mm"]
    for word in ("length", "length_ft"):
        assert checks.nearest(word, known, [lengths]) == "the unit is part of the key: write length_in or length_mm"
    assert checks.alternatives(["a"]) == "a" and checks.alternatives(["a", "b", "c"]) == "a, b or c"
    assert checks.nearest("area", ["arex", "area_acres"]) == 'did you mean "area_acres"?'
    assert checks.nearest("lenght_in", known, [lengths]) == 'did you mean "length_in"?'


def test_a_word_that_goes_by_another_name_is_told():
    other = {"crappies": "crappie", "largemouth": "bass"}
    for word in ("Largemouth", "largemouths"):
        with pytest.raises(InputError, match='did you mean "bass"'):
            checks.choice("species", word, ["bass", "shad"], other)
    with pytest.raises(InputError, match="remedy of its own"):
        checks.only_known("a", ["b"], ["c"], remedy=lambda key: "remedy of its own")


def test_a_reason_of_the_system_is_told_in_plain_words():
    assert checks.reason(OSError(errno.ENOSPC, "x", "f")) == "f: the disk is full"
    assert checks.reason(OSError(errno.ENOSPC, "x")) == "the disk is full"
    assert checks.reason(OSError("it broke")) == "it broke"  # of no number
    assert checks.reason(OSError()) == "it could not be read or written"
    assert checks.reason(OSError(9999, "odd things", b"g")) == "g: odd things"


def test_a_key_of_another_unit_is_told_the_keys_of_its_quantity_and_no_unit_is_guessed():
    lengths, amounts = ("length", ("length_in", "length_mm")), ("", ("per_ha", "per_acre"))
    known = ["name", "length_in", "length_mm", "per_ha", "per_acre", "per_kg_feed", "per_lb_feed"]
    assert checks.nearest("lenght_ft", known, [lengths, amounts]).endswith("write length_in or length_mm")
    assert checks.nearest("length_max_in", known, [lengths, amounts]).endswith("write length_in or length_mm")
    assert checks.nearest("per_hectar", known, [lengths, amounts]).endswith("write per_ha or per_acre")
    feed = ("", ("per_kg_feed", "per_lb_feed"))
    assert checks.nearest("per", known, [lengths, amounts, feed]).endswith("per_ha, per_acre, per_kg_feed or per_lb_feed")


@pytest.mark.parametrize(
    ("value", "told"),
    [({"a": 1, "b": 2}, "a table of 2 keys"), ({}, "a table of 0 keys"), (True, "true"), (False, "false"), ("a\nb", '"a\\nb"'),
     (dt.date(2027, 6, 5), "2027-06-05"), (dt.time(7, 30), "07:30:00"), (["a", 1], '["a", 1]'), (1.5, "1.5")],
)  # fmt: skip
def test_a_value_is_shown_as_its_writer_would_know_it(value, told):
    assert checks.shown(value) == told


def test_what_is_no_ordinary_file_is_told_as_what_it_is(tmp_path):
    (tmp_path / "here").write_text("")
    assert checks.ordinary_file(tmp_path / "here", "a file") is None
    (tmp_path / "nowhere").symlink_to(tmp_path / "gone")
    for name, found in ((tmp_path, "a folder"), ("", "a folder"), ("/dev/null", "no ordinary file"),
                        (tmp_path / "nowhere", "no ordinary file"), (tmp_path / "none", "no such file")):  # fmt: skip
        with pytest.raises(InputError, match=f"got {found}, needs a file; look"):
            checks.ordinary_file(name, "a file", "look")
