"""Cells as people write them, one by one: what each is read as, and what stays as it was written."""

import pytest

from pondpop.checks import InputError
from pondpop.records.field_sheets import OwnWords, Reading, _own_words

KNOWN = ("date", "gear", "species", "length_in", "length_mm", "weight_lb", "weight_oz", "weight_g", "hours", "count", "water_f",
         "water_c")  # fmt: skip


def reading(**own):
    return Reading("", OwnWords(**own))


@pytest.mark.parametrize(
    ("column", "written", "read"),
    [
        ("length_in", '10 1/2"', "10.5"), ("length_in", "10-3/4''", "10.75"), ("length_in", "9½", "9.5"),
        ("length_in", "⅞", "0.875"),
        ("length_in", "10 3/2", "10 3/2"), ("length_in", "10 1/3", "10 1/3"), ("length_in", "0/2", "0/2"),
        ("length_in", "2/2", "2/2"),
        ("length_in", "15/16", "0.9375"), ("length_in", "1/32", "1/32"), ("weight_lb", '1"', '1"'), ("length_in", "12”", "12"),
        ("weight_lb", "n/a", ""), ("weight_lb", "N/A", ""), ("species", "none", "none"), ("gear", "-", "-"), ("trip", "-", "-"),
        ("species", "LMB", "bass"), ("species", "Redear", "redear"), ("species", "SHAD", "shad"),
        ("gear", "Angling", "angling"), ("species", "bluegills", "bluegill"), ("species", "Largemouths", "bass"),
        ("gear", "seines", "seines"), ("gear", "Beach Seine", "seine"), ("event", "RECAP", "recaptured"), ("sex", "F", "female"),
        ("sex", "unknown", ""), ("sex", "x", ""), ("tag", "A1", "A1"), ("species_sought", "All fish", ""),
        ("species_sought", "LMB/BLG", "bass bluegill"), ("species_sought", "bass and shad", "bass shad"), ("length_in", "  ", ""),
    ],
)  # fmt: skip
def test_a_cell_is_read_as_it_says(column, written, read):
    assert reading().cell(column, written, 3) == read


def test_a_sex_that_is_not_understood_keeps_its_lines():
    one = reading()
    for line, text in ((3, "x"), (4, "F"), (9, "x")):
        one.cell("sex", text, line)
    assert one.not_understood == {"x": [3, 9]} and one.said["word"] == {"F": "female"}


def test_a_decimal_comma_is_one_only_where_commas_do_not_separate():
    one = reading()
    assert one.cell("length_mm", "30,5", 2) == "30,5"
    one.decimal_comma = True
    assert [one.cell("length_mm", text, 2) for text in ("30,5", ",5", "1,2,3")] == ["30.5", ".5", "1,2,3"]


@pytest.mark.parametrize(
    ("heading", "column"),
    [
        ("TL (in)", "length_in"), ("total length, mm", "length_mm"), ("TL [mm]", "length_mm"), ("TL", None), ("TL (lb)", None),
        ("Wt. (g)", "weight_g"), ("Wt (furlongs)", None), ("Species", "species"), ("Species (in)", None),
        ("Effort (min)", "hours"),
        ("Effort (hours)", "hours"), ("Effort (lb)", None), ("Notes", ""), ("nonsense", None), ("length_in", "length_in"),
        ("Water temp (F)", "water_f"),
    ],
)  # fmt: skip
def test_a_heading_names_its_column_if_its_unit_fits(heading, column):
    assert reading().column(heading, KNOWN) == column


def test_lengths_in_other_units_are_scaled_exactly():
    one = reading()
    assert one.column("TL (cm)", KNOWN) == "length_mm" and one.cell("length_mm", "30.5", 2) in ("305", "305.0")
    assert one.column("Effort (min)", KNOWN) == "hours" and float(one.cell("hours", "90", 2)) == 1.5
    assert one.cell("length_mm", "x", 2) == "x"


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("2026-5-4", "2026-05-04"), ("2026-05-04 00:00:00", "2026-05-04"), ("2026-05-04T00:00", "2026-05-04"),
        ("4.5.26", "2026-05-04"),
        ("4 May 2026", "2026-05-04"), ("May 4, 2026", "2026-05-04"), ("4-May-26", "2026-05-04"), ("May 2026", "May 2026"),
        ("4 May 4 2026", "4 May 4 2026"), ("4 Mai 2026", "4 Mai 2026"), ("31.2.2026", "31.2.2026"), ("today", "today"),
    ],
)  # fmt: skip
def test_a_date_is_read_where_it_can_be_one_only(written, read):
    assert reading().date(written) == read


def test_which_of_day_and_month_stands_first_is_found_once():
    orders = (["5/6/2026", "13/6/2026"], "day first"), (["5/6/2026", "6/13/2026"], "month first"), (["12/12/2026"], "")
    for dates, order in orders:
        one = reading()
        one.find_order(enumerate(dates, 2))
        assert one.order == order
    with pytest.raises(InputError, match=r"line 3, date: got \"5/6/2026\""):
        reading().find_order([(2, "6/6/2026"), (3, "5/6/2026")])
    told = reading(dates="day first")
    told.find_order([(2, "6/14/2026")])
    assert told.date("5/6/2026") == "2026-06-05"


@pytest.mark.parametrize(
    ("cells", "totals"),
    [
        ({"date": "", "species": "Total", "count": "30"}, True), ({"date": "2026-05-04", "species": "Total"}, False),
        ({"date": "Mean"}, True), ({"species": "bass"}, False), ({"count": "avg"}, True),
    ],
)  # fmt: skip
def test_a_row_of_totals_has_the_word_and_no_date(cells, totals):
    assert reading().totals(cells) == totals


def test_a_column_that_always_says_the_same_says_one_word():
    one = reading()
    assert one.one_word("gear", [(2, "EF"), (3, ""), (4, "electrofishing")]) == "electrofishing"
    assert one.one_word("gear", [(2, "EF"), (3, "seine")]) == "" and one.one_word("gear", [(2, " ")]) == ""


def test_other_fish_are_those_that_the_folder_says_are_none():
    one = reading(species={"channel cat": "", "green trout": "bass"})
    assert one.other_fish({"species": " Channel Cat "}) == "Channel Cat" and one.other_fish({"species": "green trout"}) == ""
    assert one.other_fish({"species": "bass"}) == one.other_fish({}) == "" and one.cell("species", "Green-Trout", 2) == "bass"


def test_words_of_a_folder_are_checked():
    known = set(KNOWN)
    for raw, says in (
        ({"dates": "us"}, "dates"), ({"colums": {}}, "colums"), ({"species": {"a": "trout"}}, "one of"),
        ({"gears": 3}, "a table"),
        ({"always": {"length_in": "3"}}, "always"), ({"columns": {"a": "lenght"}}, "one of"),
    ):  # fmt: skip
        with pytest.raises(InputError, match=says):
            _own_words(raw, known)
    own = _own_words({"dates": "day first", "columns": {"Fork L": ""}, "gears": {"Unit 4": "seine"}}, known)
    assert (own.dates, own.columns, own.gears, own.species) == ("day first", {"fork l": ""}, {"unit 4": "seine"}, {})
