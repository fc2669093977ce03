"""Where the reading of records turns, by hand: books, surveys put together, notes on what is odd, headings and cells."""

import datetime as dt

import pytest

from pondpop.checks import InputError
from pondpop.records import read_records
from pondpop.records.consistency import some
from pondpop.records.csv_rows import Lines, Sheet, Sheets, measure
from pondpop.records.field_sheets import OwnWords, Reading, in_words
from pondpop.records.surveys import last_catches, surveys
from pondpop.records.told import how_read
from pondpop.species.catalogue import standard_weight_g
from pondpop.units import AREA, CROP, LENGTH, WEIGHT

TODAY = dt.date(2026, 6, 1)
SURVEY = "date,gear,species,length_mm,weight_g,count,tag,sex\n"
EFFORT = "date,gear,hours,hauls,water_c,species_sought\n"
CATCHES = "date,trip,hours,species,shortest_mm,longest_mm,kept,released\n"
TAGS = "tag,date,species,event,length_mm,weight_g\n"
TRIP = "2025-05-10,1,2,bass,,,1,0\n"


@pytest.fixture
def folder(tmp_path):
    def write(words="", **files):
        if words:
            (tmp_path / "columns.toml").write_text(words)
        for name, text in files.items():
            (tmp_path / f"{name}.csv").write_text(text, "utf-8")
        return tmp_path

    return write


def read(place, **said):
    return read_records(place, today=TODAY, **said)


# ---- books


def books(first="2025-05-01", last="2025-05-31"):
    return f"[books]\ncomplete_from = {first}\ncomplete_until = {last}\n"


def test_books_are_read_and_told(folder):
    records = read(folder(books(), catches=CATCHES + TRIP))
    assert records.books == (dt.date(2025, 5, 1), dt.date(2025, 5, 31)) and not records.notes
    assert list(how_read(records)) == [
        ("", "Said to hold every trip and every kept fish: the catches of 2025-05-01 to 2025-05-31.")
    ]
    assert read(folder(books("2025-05-10", "2025-05-10"))).books == (dt.date(2025, 5, 10),) * 2


@pytest.mark.parametrize(
    ("first", "last", "empty"),
    [("2025-05-10", "2025-06-30", False), ("2025-04-01", "2025-05-10", False), ("2025-05-11", "2025-06-30", True),
     ("2025-04-01", "2025-05-09", True)],
)  # fmt: skip
def test_books_that_hold_no_trip_of_their_days_are_odd(folder, first, last, empty):
    notes = read(folder(books(first, last), catches=CATCHES + TRIP)).notes
    told = f"catches are said to hold every trip from {first} to {last}, and hold none: nobody kept a fish then"
    assert notes == (told,) * empty


@pytest.mark.parametrize(("last", "odd"), [("2026-06-01", False), ("2026-06-02", True)])
def test_books_cannot_be_complete_before_their_last_day_has_come(folder, last, odd):
    notes = read(folder(books(last=last), catches=CATCHES + TRIP)).notes
    told = f"catches are said to hold every trip until {last}, a day after today, 2026-06-01; kept, but check the year"
    assert notes == (told,) * odd


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("books = 3\n", "books: got 3, needs a table"), ("[books]\ncomplete = 2025-05-01\n", "complete"),
        ("[books]\ncomplete_from = 2025-05-01\n", "books.complete_until: got nothing, needs a date"),
        ("[books]\ncomplete_until = 2025-05-01\n", "books.complete_from: got nothing, needs a date"),
        (books('"2025-05-01"'), "books.complete_from: got"), (books(last="2025-05-31T00:00:00"), "books.complete_until: got"),
        (books("2025-06-01"), "books.complete_until: got 2025-05-31, needs a day from complete_from, 2025-06-01, on"),
    ],
)  # fmt: skip
def test_books_that_cannot_be_are_refused(folder, words, says):
    with pytest.raises(InputError) as refused:
        read(folder(words, catches=CATCHES + TRIP))
    assert says in str(refused.value) and "columns.toml" in str(refused.value)


def test_books_without_catches_are_refused(folder):
    with pytest.raises(InputError, match=r"columns\.toml.*books that hold every trip, needs a catches\.csv"):
        read(folder(books(), survey=SURVEY + "2025-05-10,seine,bass,40,,,,\n"))


# ---- surveys


def fish(day, gear, species, inch, weight="", count="", tag=""):
    return f"{day},{gear},{species},{25.4 * inch:.4f},{weight},{count},{tag},\n"


def test_the_last_day_of_records_is_that_of_any_of_them(folder):
    seen = SURVEY + fish("2025-05-03", "seine", "bass", 2)
    assert read(folder(survey=seen, catches=CATCHES + TRIP)).last == dt.date(2025, 5, 10)
    later = TAGS + "A,2025-05-12,bass,tagged,300,\n"
    assert read(folder(tags=later)).last == dt.date(2025, 5, 12)
    assert read(folder(effort=EFFORT + "2025-05-14,seine,,1,,\n")).last == dt.date(2025, 5, 14)


def test_a_survey_names_its_gears_and_what_each_took_or_sought(folder):
    seen = fish("2025-05-03", "seine", "bass", 2) + fish("2025-05-03", "electrofishing", "bluegill", 5)
    worked = "2025-05-03,angling,1,,,bass\n2025-05-03,electrofishing,1,,,bluegill shad\n2025-05-03,seine,,2,,bass minnow\n"
    (survey,) = surveys(read(folder(survey=SURVEY + seen, effort=EFFORT + worked)))
    assert survey.gears == ("angling", "electrofishing", "seine")
    assert survey.sought("electrofishing", "shad") and not survey.sought("electrofishing", "minnow")
    assert survey.sought("seine", "minnow") and not survey.sought("seine", "bluegill")
    assert not survey.sought("angling", "bluegill")
    assert [f.species for f in survey.taken("seine", "bass")] == ["bass"] and survey.taken("electrofishing", "bass") == ()
    assert survey.again("electrofishing", "bass") == 0


def test_the_last_catch_is_of_the_days_with_effort_by_inch_with_its_condition(folder):
    """Two days of electrofishing of 1.5 hours in all, one seen without effort; three weighed of one class, one of another."""
    def full(inch, share):  # the weight of a fish of so much of its standard
        return f"{share * standard_weight_g('bass', 25.4 * inch):.5f}"

    first, last, without = "2025-05-03", "2025-05-05", "2025-05-04"
    seen = "".join(fish(first, "electrofishing", "bass", 12.25, full(12.25, share)) for share in (0.9, 1.0, 1.1))
    seen += fish(last, "electrofishing", "bass", 14, full(14, 0.8)) + fish(last, "electrofishing", "bass", 12, "", 5)
    seen += fish(last, "electrofishing", "bluegill", 5.99) + fish(without, "electrofishing", "bass", 20)
    seen += fish(last, "seine", "shad", 3) + fish("2024-05-05", "electrofishing", "bass", 9)
    worked = f"{first},electrofishing,1,,18,\n{last},electrofishing,0.5,,20,\n{last},seine,,3,,\n2024-05-05,electrofishing,2,,,\n"
    every = list(last_catches(read(folder(survey=SURVEY + seen, effort=EFFORT + worked)), ("seine", "electrofishing")))
    assert [(one.gear, one.last.year) for one in every] == [("seine", 2025), ("electrofishing", 2025), ("electrofishing", 2024)]
    newest, oldest = every[1:]
    assert (newest.first, newest.last, newest.amount, newest.water_c) == (dt.date(2025, 5, 3), dt.date(2025, 5, 5), 1.5, 19.0)
    assert list(newest.fish.items()) == [(("bass", 12), 8), (("bass", 14), 1), (("bluegill", 5), 1)]
    assert newest.condition == pytest.approx({("bass", 12): 1.0, ("bass", 14): (0.9 + 1.0 + 1.1 + 0.8) / 4}, rel=1e-4)
    assert (oldest.water_c, oldest.condition, oldest.amount, oldest.fish) == (None, {}, 2.0, {("bass", 9): 1})


# ---- notes


def notes(place):
    return read(place).notes


@pytest.mark.parametrize(("length", "odd"), [(118.0, False), (117.4, True)])
def test_a_gear_hardly_takes_fish_of_which_it_takes_less_than_a_fiftieth(folder, length, odd):
    """Anglers take half of the bass of 215 mm, and 1 / (1 + exp(97.3 / 25)) = 0.02 of those of 117.7 mm."""
    told = notes(folder(survey=SURVEY + f"2025-05-03,angling,bass,{length},,4,,\n2025-05-03,angling,bass,300,,,,\n"))
    assert bool(told) is odd
    if odd:
        assert told[0].startswith("4 bass from 117 mm (4.6 in) on, of a length that angling hardly takes (survey.csv line 2)")


def test_fish_that_a_gear_hardly_takes_are_told_from_the_shortest_on_with_the_first_three_lines(folder):
    rows = "".join(f"2025-05-03,angling,bass,{length},,,,\n" for length in (100, 90, 300, 95, 105))
    (told,) = notes(folder(survey=SURVEY + rows))
    assert told.startswith("4 bass from 90 mm (3.5 in) on") and "(survey.csv line 2, 3, 5 and 1 more)" in told
    others = rows + "2025-05-03,angling,bluegill,60,,,,\n2025-05-03,seine,bass,40,,,,\n"
    assert [note.split(" from")[0] for note in notes(folder(survey=SURVEY + others))] == ["4 bass", "1 bluegill"]


def test_effort_that_is_missing_is_told_for_days_with_fish_only(folder):
    seen = "2025-05-03,seine,bass,40,,,,\n2025-05-04,seine,bass,42,,,,\n"
    told = notes(folder(survey=SURVEY + seen, effort=EFFORT + "2025-05-03,seine,,1,,\n2025-05-09,seine,,1,,\n"))
    assert told == (
        "no effort is recorded for 2025-05-04 seine: no catch rates for these",
        "effort without a fish in survey.csv, 2025-05-09 seine: taken as nothing caught",
    )
    (folder() / "effort.csv").unlink()
    assert notes(folder()) == ()  # nobody said that effort was written down


@pytest.mark.parametrize(("hours", "odd"), [("60", True), ("12.1", True), ("12", False)])
def test_minutes_of_electrofishing_under_hours_are_asked_about(folder, hours, odd):
    seen = SURVEY + "2025-05-03,electrofishing,bass,300,,,,\n"
    told = notes(folder(survey=seen, effort=f"{EFFORT}2025-05-03,electrofishing,{hours},,,\n"))
    said = f"more electrofishing than a day has room for, {hours} hours on 2025-05-03: are these minutes?"
    assert told == ((said,) if odd else ())


def test_a_word_of_the_keeper_between_rows_is_no_row(folder):
    rows = "# after the rain\n2025-05-03,angling,bass,300,,,,\n# the rest are of the cove,,,,,,,\n# cloudy, then rain\n"
    read = read_records(folder(survey=SURVEY + rows, tags=TAGS + "#12,,,,,\n"))
    assert [one.length_mm for one in read.fish] == [300.0]
    assert [(one.file, one.line) for one in read.left_out] == [("survey.csv", 5), ("tags.csv", 2)]  # two cells; a tag alone


def test_effort_that_was_left_out_is_that_of_the_day_and_gear_that_can_be_read(folder):
    seen = "2025-05-03,seine,bass,40,,,,\n2025-05-04,seine,bass,42,,,,\n2025-05-04,angling,bass,300,,,,\n"
    for row, lost in (
        ("2025-05-04,seine,,0,,", "2025-05-04 seine"), ("2025-05-04,boat,,1,,", "2025-05-04 angling, 2025-05-04 seine"),
        ("2025-13-04,seine,,1,,", "2025-05-03 seine, 2025-05-04 seine"),
    ):  # fmt: skip
        told = notes(folder(survey=SURVEY + seen, effort=f"{EFFORT}{row}\n"))
        assert told[0] == f"effort.csv line 2 was left out, which may be the effort of {lost}: no catch rates for it"
        every = ["2025-05-03 seine", "2025-05-04 angling", "2025-05-04 seine"]
        rest = ", ".join(one for one in every if one not in lost.split(", "))
        assert told[1:] == (f"no effort is recorded for {rest}: no catch rates for these",)


def test_fish_tagged_on_the_day_of_a_survey_belong_among_its_fish(folder):
    tags = TAGS + "A,2025-05-03,bass,tagged,300,\nB,2025-05-03,bass,tagged,310,\nC,2025-06-03,bass,tagged,310,\n"
    seen = SURVEY + "2025-05-03,angling,bass,300,,,A,\n"
    assert notes(folder(survey=seen, tags=tags)) == ("tagged on the day of a survey, but not among its fish: B on 2025-05-03",)
    (folder() / "tags.csv").unlink()
    assert notes(folder()) == ("survey.csv names tags, but there is no tags.csv: nothing is learned from them",)


def test_one_row_after_today_is_one_row(folder):
    told = notes(folder(survey=SURVEY + "2026-06-02,angling,bass,300,,,,\n2026-06-01,angling,bass,300,,,,\n"))
    assert told == ("1 row dated after today, 2026-06-01: 2026-06-02; kept, but check the year",)


def test_the_first_five_of_many_are_told():
    assert some("abcde") == "a, b, c, d, e" and some("abcdef") == "a, b, c, d, e and 1 more"
    assert some("abcd", 2) == "a, b and 2 more"


def test_sexes_that_are_not_understood_are_told_with_their_rows(folder):
    rows = "".join(f"2025-05-03,angling,bass,{300 + k},,,,{sex}\n" for k, sex in enumerate(("q", "z", "q", "q", "q")))
    told = notes(folder(survey=SURVEY + rows))
    assert told == (
        'survey.csv: the sex "q" was not understood in 4 rows (line 2, 4, 5 and 1 more); the fish are kept',
        'survey.csv: the sex "z" was not understood in 1 row (line 3); the fish are kept',
    )


# ---- fish that are held twice


def test_growth_that_cannot_be_is_told_with_the_file_of_the_earlier_measure(folder):
    tags = TAGS + "A,2025-05-01,bass,tagged,300,\n"
    seen = SURVEY + "2025-05-11,angling,bass,350,,,A,\n"
    (bad,) = read(folder(survey=seen, tags=tags)).left_out
    assert (bad.file, bad.line) == ("survey.csv", 2) and bad.in_short == "survey.csv, line 2: length: got 350 mm (13.8 in)"
    assert "needs 290 mm (11.4 in) to 330 mm (13.0 in); it measured 300 mm (11.8 in) 10 days before" in bad.reason
    assert "(tags.csv line 2)" in bad.reason
    later = tags + "A,2025-05-31,bass,recaptured,400,\n"
    (bad,) = read(folder(survey=seen.replace("350", "320"), tags=later)).left_out
    assert (bad.file, bad.line) == ("tags.csv", 3) and "(survey.csv line 2)" in bad.reason
    assert "needs 310 mm (12.2 in) to 370 mm (14.6 in); it measured 320 mm (12.6 in) 20 days before" in bad.reason


def test_a_fish_in_the_hand_twice_on_one_day_is_tagged_seen_and_kept_in_this_order(folder):
    """Whatever the order of the rows: tagged before it is seen, seen before it is kept; and never after it was kept."""
    tags = TAGS + "A,2025-05-03,bass,kept,,\nA,2025-05-01,bass,tagged,300,\n"
    seen = SURVEY + "2025-05-03,angling,bass,300,,,A,\n2025-05-01,angling,bass,300,,,A,\n"
    records = read(folder(survey=seen, tags=tags))
    assert not records.left_out and len(records.fish) == 2 and len(records.tags) == 2
    (bad,) = read(folder(survey=seen + "2025-05-04,angling,bass,300,,,A,\n", tags=tags)).left_out
    assert bad.line == 4 and "needs a fish still in the pond; it was kept on 2025-05-03, line 2" in bad.reason


def test_a_fish_seen_before_it_was_tagged_is_told_when_it_was(folder):
    tags = TAGS + "A,2025-05-05,bass,tagged,300,\nA,2025-05-20,bass,tagged,300,\n"
    first, second = read(folder(survey=SURVEY + "2025-05-03,angling,bass,300,,,A,\n", tags=tags)).left_out
    assert "needs a fish tagged by 2025-05-03; it was tagged on 2025-05-05, line 2" in first.reason
    assert "needs one tagging a tag; it was tagged on 2025-05-05, line 2" in second.reason
    (bad,) = read(folder(survey=SURVEY + "2025-05-08,angling,bluegill,150,,,A,\n", tags=tags.rsplit("A,", 1)[0])).left_out
    assert "needs bass, as tagged on line 2" in bad.reason


# ---- trips


@pytest.mark.parametrize(
    ("second", "says"),
    [
        ("bass,300,,", ""), ("bass,299,,", "one that overlaps line 2, needs classes of a trip that do not overlap"),
        ("bass,,200,", ""), ("bass,,201,", "one that overlaps"), ("bluegill,100,,", ""), ("bass,,,", ""),
        ("bass,200,300,", "a second one, needs one row for this trip, species and class; the first is line 2"),
    ],
)  # fmt: skip
def test_classes_of_a_trip_do_not_overlap(folder, second, says):
    records = read(folder(catches=CATCHES + f"2025-05-10,1,2,bass,200,300,1,0\n2025-05-10,1,2,{second}1,0\n"))
    assert [says in bad.reason for bad in records.left_out] == [True] * bool(says)


def test_trips_of_other_days_or_names_are_other_trips_and_rows_keep_their_order(folder):
    rows = "2025-05-10,2,2,bass,,,1,0\n2025-05-10,1,3,bass,,,2,0\n2025-05-11,2,4,bass,,,3,0\n2025-05-10,2,2,shad,,,4,0\n"
    records = read(folder(catches=CATCHES + rows))
    assert not records.left_out and [c.kept for c in records.catches] == [1, 2, 3, 4]
    records = read(folder(catches=CATCHES + rows + "2025-05-10,2,2.5,minnow,,,1,0\n2025-05-10,1,3,,,,0,0\n"))
    assert [bad.line for bad in records.left_out] == [6, 7]
    assert "needs the hours of its trip, 2 on line 2" in records.left_out[0].reason
    assert "needs either fish or none; see line 3" in records.left_out[1].reason


# ---- sheets and headings


def sheets(tmp_path, *texts, columns=(("date", "gear"), ())):
    made = []
    for k, text in enumerate(texts):
        (path := tmp_path / f"s{k}.csv").write_text(text)
        made.append(Sheet("survey.csv", Lines(path), columns))
    return Sheets(made)


def test_lines_of_joined_sheets_are_numbered_through(tmp_path):
    two = sheets(tmp_path, "date,gear\n2025-05-01,seine\n2025-05-02,seine\n", "# a title\ndate,gear\n2025-05-03,seine\n")
    assert [line for line, _ in two.rows()] == [2, 3, 6]
    assert [two.named(line) for line in (1, 2, 3, 4, 6)] == ["s0.csv line 1", "s0.csv line 2", "s0.csv line 3", "s1.csv line 1",
                                                            "s1.csv line 3"]  # fmt: skip
    assert two.at(6) == "s1.csv line 3" and two.some([2, 3, 6], 2) == "s0.csv line 2, s0.csv line 3 and 1 more"
    one = sheets(tmp_path, "date,gear\n2025-05-01,seine\n")
    assert one.at(2) == "line 2" and one.some([2, 4, 5], 3) == "s0.csv line 2, 4, 5"


def test_a_folder_with_the_name_of_a_sheet_is_refused(tmp_path):
    (tmp_path / "survey.csv").mkdir()
    with pytest.raises(InputError, match=r"needs a file, not a folder"):
        read(tmp_path)


@pytest.mark.parametrize(("more", "told"), [(6, '"x5"'), (7, "1 more"), (9, "3 more")])
def test_of_headings_that_are_not_known_six_are_told(folder, more, told):
    with pytest.raises(InputError) as refused:
        read(folder(survey=SURVEY.strip() + "".join(f",x{k}" for k in range(more)) + "\n"))
    given = str(refused.value).split(", needs headings")[0]
    assert given.endswith(f"and {told}") and '"x5"' in given and '"x6"' not in given


def test_a_heading_is_asked_for_its_unit(folder):
    with pytest.raises(InputError, match=r'got "Length", needs a heading .*name its unit: Length \(in\) or Length \(mm\)'):
        read(folder(survey="date,gear,species,Length\n"))
    one = Reading("", OwnWords())
    assert one.wanted_units("Time", ("hours",)) == ["Time (hours)", "Time (min)"] and one.wanted_units("Time", ("date",)) == []
    assert one.wanted_units("TL (furlongs)", ("length_mm",)) == ["TL (mm)"] and one.wanted_units("Gear", ("gear",)) == []


@pytest.mark.parametrize(
    ("header", "says"),
    [
        ("date,gear,species", "got nothing, needs a column length_in or length_mm"),
        ("date,species", "needs columns gear and length_in or length_mm"),
        ("date,gear,gear,species,length_mm", "needs each column once"),
        ("date,gear,species,length_mm,length_in", "got length_in and length_mm, needs one unit"),
    ],
)
def test_columns_that_are_needed_stand_there_once(folder, header, says):
    with pytest.raises(InputError) as refused:
        read(folder(survey=header + "\n"))
    assert says in str(refused.value) and "line 1" in str(refused.value)


def test_what_is_missing_can_be_stated_once_where_it_is_a_word_for_all(folder):
    with pytest.raises(InputError, match=r'write gear = "electrofishing" under \[always\]'):
        read(folder(survey="date,species,length_mm\n2025-05-03,bass,300\n"))
    with pytest.raises(InputError) as refused:
        read(folder(survey="date,gear,species\n"))
    assert "[always]" not in str(refused.value)


def test_effort_needs_hours_or_hauls_and_not_both(folder):
    for header, row in (("date,gear,hours", "2025-05-03,angling,2"), ("date,gear,hauls", "2025-05-03,seine,2")):
        (effort,) = read(folder(effort=f"{header}\n{row}\n"), strict=True).effort
        assert effort.amount == 2.0
    with pytest.raises(InputError, match=r"needs a column hours\|hauls|needs a column hours or hauls"):
        read(folder(effort="date,gear\n2025-05-03,angling\n"))


@pytest.mark.parametrize(
    ("day", "good"), [("1950-01-01", True), ("1949-12-31", False), ("2099-12-31", True), ("2100-01-01", False)]
)
def test_dates_are_of_a_century_and_a_half(folder, day, good):
    left_out = read(folder(survey=SURVEY + f"{day},angling,bass,300,,,,\n")).left_out
    assert bool(left_out) is not good
    assert good or "needs a date from 1950-01-01 to 2099-12-31" in left_out[0].reason


@pytest.mark.parametrize(("digits", "good"), [(30, True), (31, False)])
def test_a_number_has_at_most_thirty_signs(folder, digits, good):
    number = "300." + "0" * (digits - 4)
    assert bool(read(folder(survey=SURVEY + f"2025-05-03,angling,bass,{number},,,,\n")).left_out) is not good


@pytest.mark.parametrize(("tag", "good"), [("a" * 40, True), ("a" * 41, False), ("A_.-9", True), ("-A", False), ("A B", False)])
def test_a_tag_is_of_up_to_forty_signs(folder, tag, good):
    assert bool(read(folder(survey=SURVEY + f"2025-05-03,angling,bass,300,,,{tag},\n")).left_out) is not good


@pytest.mark.parametrize("sign", ";\t")
def test_what_separates_columns_is_what_stands_most_often_outside_quotation_marks(folder, sign):
    text = (SURVEY + '2025-05-03,angling,bass,"300,5",,,,\n').replace(",", sign).replace(f"300{sign}5", "300,5")
    (one,) = read(folder(survey=text), strict=True).fish
    assert one.length_mm == 300.5
    quoted = SURVEY + '2025-05-03,angling,bass,300,,,,"' + ";" * 90 + '"\n'
    assert len(read(folder(survey=quoted)).fish) == 1


def test_cells_beyond_the_headings_may_be_empty(folder):
    rows = "2025-05-03,angling,bass,300,,\n2025-05-03,angling,bass,301\n2025-05-03,angling,bass,302,,x\n"
    text = "date,gear,species,length_mm,,\n" + rows
    records = read(folder(survey=text))
    assert [f.length_mm for f in records.fish] == [300.0, 301.0] and [bad.line for bad in records.left_out] == [4]


def test_a_strict_reading_tells_the_first_bad_row_and_how_many_more_there_are(folder):
    bad = "2025-05-03,angling,bass,{},,,,\n"
    for rows, more in ((("1", "300"), ""), (("1", "2"), "1 more bad row in this file"), (("1", "2", "3"), "2 more bad rows in")):
        with pytest.raises(InputError) as refused:
            read(folder(survey=SURVEY + "".join(map(bad.format, rows))), strict=True)
        assert "survey.csv: line 2, length_mm: got" in str(refused.value)
        assert (more in str(refused.value)) if more else "more bad row" not in str(refused.value)


def test_a_sheet_that_lacks_dates_is_told_to_fill_them_down(folder):
    rows = "2025-05-03,angling,bass,300,,,,\n" + ",angling,bass,301,,,,\n" * 5
    with pytest.raises(InputError) as refused:
        read(folder(survey=SURVEY + rows))
    assert "got 5 of 6 rows that would be left out, needs at most half; 5 rows from line 3 on have no date" in str(refused.value)
    assert "fill it down to every row, or write date = 2025-05-03 under [always]" in str(refused.value)
    with pytest.raises(InputError) as refused:
        read(folder(survey=SURVEY + rows.replace("05-03,", "05-03,", 1) + "2025-05-04,angling,bass,300,,,,\n"))
    assert "fill it down to every row" in str(refused.value) and "[always]" not in str(refused.value)


# ---- what is said of how sheets were read


def reading(name, **said):
    one = Reading(name, OwnWords())
    for about, words in said.items():
        for written, as_ in words:
            one.say(about.replace("_", " "), written, as_)
    return one


def test_what_was_read_as_what_is_told_once_whatever_its_case():
    words = [("LMB", "bass"), ("lmb", "bass"), ("x", "")]
    one = reading("a/one.csv", heading=[("TL", "length_in")], word=words, blank=[("n/a", "")])
    two = reading("b/two.csv", word=[("Lmb", "bass")], unread=[("Notes", ""), ("Crew", "")], blank=[("-", ""), ("n/a", "")])
    assert in_words([one, two]) == (
        "headings: TL as length_in; words: LMB as bass, x as ; as blank: -, n/a; two.csv columns not read: Notes, Crew"
    )
    assert in_words([reading("one.csv")]) == ""


def test_of_dates_and_fractions_eight_are_told_and_the_rest_counted():
    for many, more in ((8, ""), (9, " and 1 more")):
        told = in_words([reading("one.csv", date=[(f"d{k}", "x") for k in range(many)])])
        assert told == "dates: " + ", ".join(f"d{k} as x" for k in range(8)) + more


def test_totals_are_told_by_their_line_and_not_read(folder):
    records = read(folder(survey=SURVEY + "2025-05-03,angling,bass,300,,,,\n,,Total,,,30,,\n"))
    assert len(records.fish) == 1 and not records.left_out and records.read_as == "survey.csv totals left out: line 3"


# ---- rows that come again


def plain(*inches, day="2025-05-03"):
    return "".join(f"{day},angling,bass,{25.4 * inch:.1f},,,,\n" for inch in inches)


@pytest.mark.parametrize(("rows", "told"), [(5, True), (4, False)])
def test_all_fish_of_a_day_written_twice_are_named_from_five_unlike_ones_on(folder, rows, told):
    day = range(10, 10 + rows)
    notes_ = notes(folder(survey=SURVEY + plain(20, day="2025-05-01") + plain(*day) + plain(*day)))
    wanted = f"survey.csv repeats itself: the rows from line {3 + rows} are those from line 3 again; kept, but check that they "
    assert notes_ == ((wanted + "were not pasted twice",) * told)


@pytest.mark.parametrize(("between", "told"), [((), True), ((30,), True)])
def test_twelve_rows_of_which_eight_are_unlike_are_told_again_from_the_first_row_on(folder, between, told):
    rows = (10, 11, 12, 13, 14, 15, 16, 17, 10, 10, 10, 10)
    text = plain(*rows) + plain(*between) + plain(*rows, day="2025-05-03")
    (note,) = notes(folder(survey=SURVEY + text))
    assert f"the rows from line {14 + len(between)} are those from line 2 again" in note
    seven = (10, 11, 12, 13, 14, 15, 16, 16, 10, 10, 10, 10)
    assert notes(folder(survey=SURVEY + plain(*seven) + plain(30) + plain(*seven))) == ()
    eleven = plain(*rows[:11]) + plain(30) + plain(*rows[:11])
    assert notes(folder(survey=SURVEY + eleven)) == ()


@pytest.mark.parametrize(("weights", "told"), [(",700,,,", True), (",,,,", False)])
def test_five_unlike_rows_that_come_again_are_told_where_any_is_weighed(folder, weights, told):
    rows = plain(10, 11, 12, 13) + f"2025-05-03,angling,bass,355.6{weights}\n"
    found = notes(folder(survey=SURVEY + rows + plain(30) + rows))
    assert len(found) == told and all("the rows from line 8 are those from line 2 again" in note for note in found)


def test_headings_of_no_record_file_may_be_moved_away_and_those_of_two_may_not(folder):
    with pytest.raises(InputError) as refused:
        read(folder(other="a,b\n1,2\n"))
    assert "headings of no record file" in str(refused.value) and ", or move it out of the folder" in str(refused.value)
    with pytest.raises(InputError) as refused:
        read(folder(other="date,species\n2025-05-01,bass\n"))
    assert "headings that may be of either" in str(refused.value) and "move it out" not in str(refused.value)


@pytest.mark.parametrize(
    ("said", "read_as"),
    [("LMB BLG", "bass bluegill"), ("LMB bluegill", "bass bluegill"), ("blue gill", "bluegill"),
     ("LMB, blue gill", "bass bluegill"), ("all species", ""), ("threadfin shad and fathead minnow", "shad minnow")],
)  # fmt: skip
def test_species_sought_are_words_set_apart_or_one_name(said, read_as):
    assert Reading("", OwnWords()).cell("species_sought", said, 2) == read_as


def test_headings_written_as_record_files_have_them_are_not_told():
    one = Reading("", OwnWords(columns={"lmb len": "length_mm", "x": ""}))
    known = ("date", "length_mm", "hours", "tag")
    for heading in ("date", "Date", "LENGTH_MM", "Tag", "TL (mm)", "Lmb len", "X", "Effort (min)"):
        one.column(heading, known)
    assert one.said["heading"] == {"TL (mm)": "length_mm", "Lmb len": "length_mm", "Effort (min)": "hours"}
    assert one.said["unread"] == {"X": ""}


def test_a_row_that_is_left_out_keeps_its_species_but_for_effort_which_is_of_all(folder):
    worked = EFFORT + "2025-05-04,seine,,1,,bass\n2025-05-04,seine,,2,,bass\n"
    records = read(folder(survey=SURVEY + "2025-05-04,seine,bass,1,,,,\n", effort=worked))
    assert {(bad.kind, bad.date, bad.gear, bad.species) for bad in records.left_out} == {
        ("survey.csv", dt.date(2025, 5, 4), "seine", "bass"), ("effort.csv", dt.date(2025, 5, 4), "seine", None),
    }  # fmt: skip


def test_dates_that_are_wrong_are_not_said_to_be_missing(folder):
    with pytest.raises(InputError) as refused:
        read(folder(survey=SURVEY + "2025-05-03,angling,bass,300,,,,\n" + "2025-02-30,angling,bass,301,,,,\n" * 5))
    assert "5 rows from line 3 on: date: got" in str(refused.value) and "fill it down" not in str(refused.value)
    with pytest.raises(InputError) as refused:
        read(folder(survey=SURVEY + "2025-05-03,angling,bass,300,,,,\n" + "2025-05-03,angling,bass,,,,,\n" * 5))
    assert "5 rows from line 3 on: length: got nothing" in str(refused.value) and "fill it down" not in str(refused.value)


@pytest.mark.parametrize(("family", "suffix"), [(LENGTH, "in"), (WEIGHT, "lb"), (AREA, "acres"), (CROP, "lb_per_acre")])
def test_a_bound_that_is_a_whole_number_of_the_unit_of_its_column_is_allowed_and_no_more(family, suffix):
    for whole in (*range(1, 2000), 10**6 + 1, 0.001):
        cells, bound = {f"x_{suffix}": f"{whole}"}, family[suffix].to_si(whole)
        assert measure(cells, "x", family, 0.0, bound) == measure(cells, "x", family, bound, 2 * bound) == bound
    for low, high in ((0.0, bound * (1 - 1e-8)), (bound * (1 + 1e-8), 1.0)):
        with pytest.raises(InputError):
            measure(cells, "x", family, low, high)
