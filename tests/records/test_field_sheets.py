"""Field sheets as people keep them: read to the same records as their clean twins, or refused with one line that mends them."""

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pondpop.assess.text import left_out_and_odd
from pondpop.checks import InputError
from pondpop.records import read_records
from pondpop.records.field_sheets import MOST_SHOWN, OwnWords, Reading, in_words
from pondpop.records.told import slips_of

SHEETS = Path(__file__).parent / "field_sheets"
CASES = sorted(p.name for p in SHEETS.iterdir() if p.is_dir())
TODAY = dt.date(2026, 11, 26)


def told_of(records):
    """What is said of how records were read, as one line."""
    return " ".join(" ".join(left_out_and_odd(records)).split())


def without_lines(rows):
    return [replace(row, line=0) for row in rows]


@pytest.mark.parametrize("case", CASES)
def test_a_messy_sheet_is_read_as_its_clean_twin(case):
    messy, clean = (read_records(SHEETS / case / kind, strict=True, today=TODAY) for kind in ("messy", "clean"))
    for kind in ("fish", "effort", "catches", "tags"):
        ours, theirs = without_lines(getattr(messy, kind)), without_lines(getattr(clean, kind))
        for one, other in zip(ours, theirs, strict=True):
            for name in one.__dataclass_fields__:
                value, wanted = getattr(one, name), getattr(other, name)
                assert value == (pytest.approx(wanted, rel=1e-12) if isinstance(wanted, float) else wanted), (kind, name)
    assert len(clean.fish) + len(clean.catches) > 2 and not clean.read_as and not clean.notes
    assert messy.notes == clean.notes and messy.read_as


def test_what_was_read_as_what_is_told_in_one_paragraph():
    told = told_of(read_records(SHEETS / "spring_boat" / "messy", today=TODAY))
    for words in (
        "TL (in) as length_in", "Wt. (lbs) as weight_lb", "Effort (min) as hours", "LMB as bass", "BLG as bluegill",
        "EF as electrofishing", "M as male", "5/14/2026 as 2026-05-14 (month first)", "10 1/2 as 10.5", "as blank: n/a",
        "survey.csv columns not read: Notes", "survey.csv totals left out: line 11", "from the headings on line 3 on",
    ):  # fmt: skip
        assert words in told, words
    assert told.startswith("Read as: ") and "Left out" not in told
    told = told_of(read_records(SHEETS / "semicolons" / "messy", today=TODAY))
    assert "Windows-1252" in told and "semicolons" in told and "30,5 as 30.5" in told
    assert "day first, as dates with dots are" in told


@pytest.mark.parametrize(("about", "shown"), [("heading", 30), ("word", 30), ("date", MOST_SHOWN), ("fraction", MOST_SHOWN)])
def test_every_word_is_told_and_of_numbers_the_first_with_a_count(about, shown):
    reading = Reading("", OwnWords())
    for k in range(30):
        reading.say(about, f"w{k:02}", "x")
    told = in_words([reading])
    assert [f"w{k:02} as x" in told for k in range(30)] == [k < shown for k in range(30)]
    assert (f"and {30 - shown} more" in told) == (shown < 30)


@pytest.fixture
def survey(tmp_path):
    def write(text, words=""):
        (tmp_path / "survey.csv").write_text(text, "utf-8")
        if words:
            (tmp_path / "columns.toml").write_text(words, "utf-8")
        return tmp_path

    return write


def test_fish_that_the_model_does_not_know_are_left_out_where_the_folder_says_so(survey):
    sheet = "date,gear,species,length_in,#\n2026-04-14,EF,LM bass,11,2\n2026-04-14,EF,Channel Cat,15,1\n"
    records = read_records(survey(sheet), today=TODAY)
    assert [fish.count for fish in records.fish] == [2]
    assert 'write "Channel Cat" = one of these, or "" for another fish, under [species] in columns.toml' in told_of(records)
    records = read_records(survey(sheet, '[species]\n"channel cat" = ""\n'), today=TODAY)
    told = told_of(records)
    assert len(records.fish) == 1 and "Left out" not in told
    assert "fish that the model does not know left out: Channel Cat" in told


def test_forty_letters_of_a_word_that_is_not_known_are_told(survey):
    for sheet, table in (("2026-04-14,EF,{},15\n", "species"), ("2026-04-14,{},LMB,15\n", "gears")):
        lines = "date,gear,species,length_in\n2026-04-14,EF,LMB,11\n" + sheet.format("x" * 50)
        (line,) = (str(bad) for bad in read_records(survey(lines), today=TODAY).left_out)
        assert f'write "{"x" * 40}" = one of these' in line and f"under [{table}]" in line


HEAD = "date,gear,species,length_in,weight_lb,sex\n"


def test_a_date_that_could_be_either_is_asked_about_once_and_the_answer_read(survey):
    rows = HEAD + "5/6/2026,EF,LMB,12,,\n" * 30
    with pytest.raises(InputError) as caught:
        read_records(survey(rows))
    assert 'line 2, date: got "5/6/2026", needs a date that can be read one way only' in str(caught.value)
    assert 'dates = "month first" or dates = "day first"' in str(caught.value) and "\n" not in str(caught.value)
    for order, wanted in (("month first", dt.date(2026, 5, 6)), ("day first", dt.date(2026, 6, 5))):
        assert {f.date for f in read_records(survey(rows, f'dates = "{order}"\n')).fish} == {wanted}


def test_one_date_shows_the_order_of_all(survey):
    rows = HEAD + "5/6/2026,EF,LMB,12,,\n14/6/2026,EF,LMB,12,,\n"
    assert [f.date for f in read_records(survey(rows)).fish] == [dt.date(2026, 6, 5), dt.date(2026, 6, 14)]
    with pytest.raises(InputError, match=r"got 6/14/2026 and 14/6/2026, needs one order of day and month"):
        read_records(survey(rows.replace("5/6/2026", "6/14/2026")))
    assert read_records(survey(HEAD + "6/6/26,EF,LMB,12,,\n")).fish[0].date == dt.date(2026, 6, 6)


def test_no_measured_fish_is_lost_for_a_sex_that_is_not_understood(survey):
    records = read_records(survey(HEAD + "2026-05-06,EF,LMB,12,,X\n2026-05-06,EF,LMB,13,,X\n2026-05-06,EF,LMB,13,,F\n"))
    assert [f.sex for f in records.fish] == [None, None, "female"] and not records.left_out
    assert any('the sex "X" was not understood in 2 rows (line 2, 3)' in note for note in records.notes)


def test_one_slip_in_many_rows_is_one_line_with_a_count_and_the_first_three(survey):
    rows = "".join(f"2026-05-06,EF,crappie,{8 + k % 5},,\n" for k in range(111)) + "2026-05-06,EF,LMB,12,99,\n"
    good = "".join(f"2026-05-06,EF,LMB,{12 + k % 8},,\n" for k in range(112))
    records = read_records(survey(HEAD + rows + good))
    assert len(records.left_out) == 112
    told = list(left_out_and_odd(records))
    text = " ".join(" ".join(told).split())
    assert "survey.csv, line 2: species: got" in text and "(111 such rows: lines 2, 3, 4 and 108 more)" in text
    assert "survey.csv, line 113: weight" in text and len(told) < 10
    heavy = read_records(survey(HEAD + "".join(f"2026-05-06,EF,LMB,{10 + k},{300 + k},\n" for k in range(9)) + good))
    told = told_of(heavy)
    assert "9 such rows: lines 2, 3, 4 and 6 more" in told  # one slip, whatever the figures


def test_a_row_of_another_time_than_the_others_is_left_out_and_named(survey):
    """A mistyped year makes no survey of its own; of few rows none can be told to be the wrong one."""
    five = "".join(f"2026-05-06,EF,LMB,{11 + k},,\n" for k in range(5))
    records = read_records(survey(HEAD + five + "2062-05-06,EF,LMB,12,,\n1990-05-06,EF,LMB,12,,\n2050-05-06,EF,LMB,12,,\n"))
    assert [bad.line for bad in records.left_out] == [7, 8] and len(records.fish) == 6
    told = " ".join(map(str, records.left_out))
    assert "date: got 2062-05-06, needs a date within 30 years of the others, of which the middle one is 2026-05-06" in told
    assert "check the year" in told and "1990-05-06" in told
    assert not read_records(survey(HEAD + "2026-05-06,EF,LMB,12,,\n" * 2 + "2062-05-06,EF,LMB,12,,\n" * 2)).left_out
    ends = "1996-05-05,EF,LMB,12,,\n1996-05-08,EF,LMB,12,,\n2056-05-05,EF,LMB,12,,\n2056-05-07,EF,LMB,12,,\n"
    assert [bad.line for bad in read_records(survey(HEAD + five + ends)).left_out] == [7, 10]  # 30 years and a day
    for rows in (3, 4):  # with the odd one four or five
        lines = "".join(f"2026-05-06,EF,LMB,{11 + k},,\n" for k in range(rows)) + "2062-05-06,EF,LMB,12,,\n"
        assert len(read_records(survey(HEAD + lines)).left_out) == rows - 3


def test_unknown_words_are_told_one_by_one(survey):
    rows = "".join(f"2026-05-06,EF,{word},12,,\n" for word in ("LBM", "Ch cat", "LBM", "LMB", "LMB", "LMB", "LMB"))
    told = slips_of(read_records(survey(HEAD + rows)))
    assert len(told) == 2 and 'got "LBM"' in told[0] and "2 such rows: lines 2, 4" in told[0] and 'got "Ch cat"' in told[1]


def test_dates_to_come_and_fish_that_the_gear_hardly_takes_are_named(survey):
    records = read_records(survey(HEAD + "2062-05-06,EF,LMB,12,,\n2026-05-06,EF,BG,0.5,,\n"), today=TODAY)
    notes = " / ".join(records.notes)
    assert "1 row dated after today, 2026-11-26: 2062-05-06" in notes
    assert "1 bluegill from 13 mm (0.5 in) on, of a length that electrofishing hardly takes (survey.csv line 3)" in notes
    assert not read_records(survey(HEAD + "2026-05-06,EF,LMB,12,,\n"), today=TODAY).notes


@pytest.mark.parametrize(
    "row",
    [
        "2026-05-06,EF,LMB,12,5,0,9",  # a decimal comma between commas shifts the cells
        "2026-05-06,EF,LMB,10 3/5,,",
        "2026-05-06,EF,LMB,10 5/4,,",
        "2026-05-06,EF,LMB,12 in,,",
        '2026-05-06,EF,LMB,"10,5",,',
        "2026-05-06,EF,sunfish,6,,",  # many fish are called so
        "2026-05-06,EF,gizzard shad,6,,",
        "2026-05-06,boat,LMB,12,,",
        "2026-13-06,EF,LMB,12,,",
        "May 2026,EF,LMB,12,,",
    ],
)
def test_what_could_be_anything_is_not_guessed(survey, row):
    records = read_records(survey(HEAD + row + "\n"))
    assert not records.fish and len(records.left_out) == 1


WORDS = [
    ("colums = 1", 'did you mean "columns"?'),
    ('dates = "us"', "one of month first, day first"),
    ('[columns]\nLen = "lenght_in"', "columns.Len"),
    ('[species]\ntrout = "trout"', "species.trout"),
    ("[gears]\nboat = 3", "gears.boat"),
    ('[always]\nlength_in = "3"', "always.length_in"),
    ("columns = 3", "write [columns] above"),
    ("[columns", "a TOML file"),
    ("[books]\ncomplete_form = 2026-04-01", 'did you mean "complete_from"?'),
]


@pytest.mark.parametrize(("words", "says"), WORDS)
def test_words_of_ones_own_that_cannot_be(survey, words, says):
    with pytest.raises(InputError) as caught:
        read_records(survey(HEAD + "2026-05-06,EF,LMB,12,,\n", words))
    assert "columns.toml" in str(caught.value) and says in str(caught.value) and "\n" not in str(caught.value)


def test_words_that_hold_for_all_rows_have_at_most_sixty_letters(survey):
    rows = "date,species,length_in\n2026-05-06,LMB,12\n"
    for letters, says in ((60, "gear"), (61, "always.gear: got .* needs text of 1 to 60 characters")):
        with pytest.raises(InputError, match=says):
            read_records(survey(rows, f'[always]\ngear = "{"g" * letters}"\n'), strict=True)


def test_a_folder_in_place_of_words_of_ones_own_is_refused(survey):
    folder = survey(HEAD + "2026-05-06,EF,LMB,12,,\n")
    (folder / "columns.toml").mkdir()
    with pytest.raises(InputError, match=r"columns\.toml: got a folder, needs a file of words"):
        read_records(folder)


def test_a_workbook_is_named_with_what_to_do(tmp_path):
    (tmp_path / "spring.xlsx").write_bytes(b"PK")
    with pytest.raises(InputError, match=r"save the sheets of spring\.xlsx as CSV"):
        read_records(tmp_path)


@given(st.dates(dt.date(1950, 1, 1), dt.date(2099, 12, 31)))
def test_every_way_to_write_a_date_is_the_same_day(day):
    for order, text in (
        ("month first", f"{day.month}/{day.day}/{day.year}"), ("day first", f"{day.day:02d}-{day.month:02d}-{day.year}"),
        ("", f"{day.day}.{day.month}.{day.year}"), ("", f"{day:%d %B %Y}"), ("", f"{day:%b} {day.day}, {day.year}"),
    ):  # fmt: skip
        assert Reading("", OwnWords(order)).date(text) == day.isoformat()


@given(st.integers(0, 40), st.sampled_from([(1, 2), (1, 4), (3, 4), (5, 8), (15, 16)]))
def test_fractions_of_an_inch(whole, part):
    reading = Reading("", OwnWords())
    text = f"{whole} {part[0]}/{part[1]}" if whole else f"{part[0]}/{part[1]}"
    assert float(reading.cell("length_in", text, 1)) == whole + part[0] / part[1]
    assert float(reading.cell("length_in", text.replace(" ", "-") + '"', 1)) == whole + part[0] / part[1]


def in_folder(folder, **files):
    """A folder of CSV files, their names without the ending."""
    folder.mkdir(exist_ok=True)
    for name, text in files.items():
        (folder / f"{name.replace('_', ' ')}.csv").write_text(text, "utf-8")
    return folder


FISH = "Date,Method,Species,TL (in),Wt (lb)\n5/14/2026,EF,LMB,12,0.8\n"
EFFORT = "Date,Method,Effort (min)\n5/14/2026,EF,60\n"


def test_a_sheet_may_have_any_name_if_its_headings_show_what_it_is(tmp_path):
    records = read_records(in_folder(tmp_path, spring_boat=FISH, shock_time=EFFORT), strict=True, today=TODAY)
    assert len(records.fish) == 1 and [e.amount for e in records.effort] == [1.0]
    assert "spring boat.csv read: as survey.csv" in told_of(records) and "shock time.csv read: as effort.csv" in told_of(records)
    left_out = read_records(in_folder(tmp_path, spring_boat=FISH + "5/14/2026,EF,GSF,5,\n"), today=TODAY).left_out
    assert [(bad.file, bad.kind) for bad in left_out] == [("spring boat.csv", "survey.csv")]


@pytest.mark.parametrize(
    ("files", "says"),
    [
        ({"oxygen": "Depth,DO\n1,8\n"}, "oxygen.csv: got headings of no record file, needs those of one record file; rename it"),
        ({"fish": "Date,Species,Tag,TL (in)\n"}, "headings that may be of either, needs those of one record file; rename it to "
         "the one that it is, of survey.csv, tags.csv"),
    ],
)  # fmt: skip
def test_a_sheet_that_may_be_anything_is_refused_with_what_to_rename(tmp_path, files, says):
    with pytest.raises(InputError) as caught:
        read_records(in_folder(tmp_path, **files))
    assert says in str(caught.value) and "\n" not in str(caught.value)


YEARS = {
    "2025": "Date,Method,Species,TL (in),Wt (lb)\n5/14/2025,EF,LMB,12,0.8\n5/14/2025,EF,BG,6,\n5/14/2025,EF,BG,7,\n",
    "2026": "Date;Gear;Spp;Length (mm)\n14.05.2026;EF;LMB;310\n",
    "effort_2025": "Date,Method,Effort (min)\n5/14/2025,EF,60\n",
    "effort_2026": "Date,Method,Effort (hours)\n5/14/2026,EF,2\n",
}


def test_sheets_of_one_kind_are_joined_whatever_their_units_and_separators(tmp_path):
    records = read_records(in_folder(tmp_path, **YEARS), strict=True, today=TODAY)
    assert records.files == ("2025.csv", "2026.csv", "effort 2025.csv", "effort 2026.csv")
    assert [(f.date.year, round(f.length_mm)) for f in records.fish] == [(2025, 305), (2025, 152), (2025, 178), (2026, 310)]
    assert [(e.date.year, e.amount) for e in records.effort] == [(2025, 1.0), (2026, 2.0)]
    assert not records.notes


def test_a_blank_sheet_gives_way_to_those_that_are_filled_in(tmp_path):
    records = read_records(in_folder(tmp_path, survey="date,gear,species,length_in\n", **YEARS), today=TODAY)
    assert "survey.csv" not in records.files and len(records.fish) == 4
    one = {"spring": "date,gear,species,length_in\n", "summer": FISH}  # a single row is filled in
    records = read_records(in_folder(tmp_path / "one", **one), today=TODAY)
    assert records.files == ("summer.csv",) and len(records.fish) == 1
    blank = {name: "date,gear,species,length_in\n" for name in ("spring", "summer")}  # are not one sheet twice
    assert read_records(in_folder(tmp_path / "none", **blank), today=TODAY).files == ("spring.csv",)


def test_rows_of_joined_sheets_are_told_by_their_own_sheet_and_line(tmp_path):
    more = {
        "2026": YEARS["2026"] + "14.05.2026;EF;LMB;3100\n",
        "effort_2026": "Date,Method,Effort (hours),Species sought\n5/14/2026,EF,2,bluegill\n5/14/2025,EF,3,\n",
    }
    records = read_records(in_folder(tmp_path, **YEARS | more), today=TODAY)
    told = {str(bad).partition(":")[0]: bad.reason for bad in records.left_out}
    assert set(told) == {"2026.csv, line 2", "2026.csv, line 3", "effort 2026.csv, line 3"}
    assert "(bluegill, effort 2026.csv line 2)" in told["2026.csv, line 2"]
    assert "the first is effort 2025.csv line 2" in told["effort 2026.csv, line 3"]
    with pytest.raises(InputError, match=r"2026\.csv: line 2, species: got"):
        read_records(tmp_path, strict=True, today=TODAY)


def test_what_stands_in_two_sheets_is_noticed(tmp_path):
    with pytest.raises(InputError, match=r"copy\.csv: got what 2025\.csv holds too, cell by cell, needs each sheet once"):
        read_records(in_folder(tmp_path / "a", **YEARS, copy=YEARS["2025"]), today=TODAY)
    all_years = YEARS["2025"] + "5/14/2026,EF,LMB,13,1\n"
    with pytest.raises(InputError) as caught:
        read_records(in_folder(tmp_path / "b", **YEARS, so_far=all_years), today=TODAY)
    said = "so far.csv: got the fish of 2025-05-14 by electrofishing again, as 2025.csv line 2 and below has them, needs each"
    assert said in str(caught.value) and "\n" not in str(caught.value)
    other_boat = YEARS["2025"].replace("12,0.8", "14,1.4")
    records = read_records(in_folder(tmp_path / "c", **YEARS, other_boat=other_boat), today=TODAY)
    assert len(records.fish) == 7  # alike in two of three fish: two boats


def test_rows_that_come_again_in_another_sheet_are_named(tmp_path):
    def fish(day, lengths):
        return "".join(f"2026-05-{day},electrofishing,bass,{inch},{inch / 10:g}\n" for inch in lengths)

    head = "date,gear,species,length_in,weight_lb\n"
    one, two = head + fish(14, range(9, 16)), head + fish(14, [20]) + fish(14, range(9, 16))
    records = read_records(in_folder(tmp_path, one=one, two=two), today=TODAY)
    told = "two.csv repeats another: the rows from two.csv line 3 are those from one.csv line 2 again"
    assert any(told in note for note in records.notes), records.notes


@pytest.mark.parametrize("title", ["Miller pond\n", "Pond 3,,5/14/2026\n\n", "Date: 5/14/2026,Gear: boat EF\n", "Date,Gear\n"])
def test_a_title_above_the_headings_is_no_heading_even_where_those_lack_a_unit(survey, title):
    with pytest.raises(InputError, match=r'got "TL" and "Wt", .* "TL": name its unit: TL \(in\) or TL \(mm\); "Wt": '):
        read_records(survey(f"{title}Spp,TL,Wt\nLMB,12,0.9\n"))


def test_a_column_that_is_missing_may_be_stated_once_and_the_refusal_says_how(survey):
    with pytest.raises(InputError) as caught:
        read_records(survey("Species,TL (in)\nLMB,12\n"))
    says = 'date = 2026-05-14 and gear = "electrofishing" under [always] into columns.toml beside it, for all rows'
    assert "got nothing, needs columns date and gear; add what is missing, or write" in str(caught.value)
    assert says in str(caught.value)
    words = '[always]\ndate = 2026-05-14\ngear = "electrofishing"\n'
    assert len(read_records(survey("Species,TL (in)\nLMB,12\n", words)).fish) == 1


@pytest.mark.parametrize("word", ["EF boat", "boat EF", "Boat electrofishing", "boat shocking", "Shocker", "shock-boat"])
def test_usual_words_for_electrofishing_are_read_and_said(survey, word):
    records = read_records(survey(HEAD + f"2026-05-06,{word},LMB,12,,\n"), strict=True, today=TODAY)
    assert records.fish[0].gear == "electrofishing" and f"{word} as electrofishing" in told_of(records)


@pytest.mark.parametrize("heading", ["Station", "SITE", "Transect", "Run"])
def test_where_on_the_pond_a_fish_was_caught_is_left_unread_and_said(survey, heading):
    records = read_records(survey(f"Date,{heading},Gear,Species,TL (in)\n2026-05-06,3,EF,LMB,12\n"), strict=True, today=TODAY)
    assert len(records.fish) == 1 and f"survey.csv columns not read: {heading}" in told_of(records)


def test_the_refusal_of_a_heading_shows_the_line_that_mends_it(survey):
    sheet = "Date,Gear,Species,TL (in),Gill colour\n2026-05-06,EF,LMB,12,red\n"
    with pytest.raises(InputError) as caught:
        read_records(survey(sheet))
    line = '"Gill colour" = ""'
    assert f"write {line} under [columns] into columns.toml" in str(caught.value)
    assert str(caught.value).endswith("which leaves it unread (the name of a column there reads it as that)")
    assert len(read_records(survey(sheet, f"[columns]\n{line}\n"), strict=True).fish) == 1


FIRST_DATED = "Date,Gear,Species,TL (in)\n4/14/2026,EF,LMB,12\n" + ",EF,LMB,13\n" * 8
ONE_DATE = "[always]\ndate = 2026-04-14\n"


def test_a_sheet_of_which_most_would_be_lost_is_refused_with_the_line_that_mends_it(survey):
    with pytest.raises(InputError) as caught:
        read_records(survey(FIRST_DATED))
    said = str(caught.value)
    assert "got 8 of 9 rows that would be left out, needs at most half; 8 rows from line 3 on have no date" in said
    assert "fill it down to every row, or write date = 2026-04-14 under [always] into columns.toml" in said and "\n" not in said
    records = read_records(survey(FIRST_DATED, ONE_DATE), strict=True, today=TODAY)
    assert {f.date for f in records.fish} == {dt.date(2026, 4, 14)} and len(records.fish) == 9
    assert "survey.csv read: blank cells of date as 2026-04-14" in told_of(records)


def test_the_commonest_reason_is_told_whatever_was_wrong_first(survey):
    with pytest.raises(InputError, match="8 rows from line 4 on have no date: fill it down to every row"):
        read_records(survey(FIRST_DATED.replace("LMB,12\n", "LMB,12\n4/14/2026,EF,perch,12\n")))


def test_blank_dates_below_several_are_never_filled(survey):
    several = FIRST_DATED + "4/15/2026,EF,LMB,12\n" + ",EF,LMB,13\n" * 3
    with pytest.raises(InputError, match=r"11 of 13 rows .* fill it down to every row$"):
        read_records(survey(several, ONE_DATE))


@pytest.mark.parametrize(("bad", "good", "refused"), [(5, 5, False), (6, 5, True), (4, 0, False), (5, 0, True)])
def test_more_than_half_is_most(survey, bad, good, refused):
    rows = HEAD + "2026-05-06,EF,LMB,12,,\n" * good + "2026-05-06,EF,crappie,9,,\n" * bad
    if not refused:
        assert len(read_records(survey(rows)).left_out) == bad
        return
    with pytest.raises(InputError, match=r'write "crappie" = one of these, or "" for another fish'):
        read_records(survey(rows))


def test_effort_that_was_left_out_is_not_said_to_be_missing(tmp_path):
    fish, effort = FISH, EFFORT.replace("EF", "EF raft")
    told = told_of(read_records(in_folder(tmp_path, survey=fish, effort=effort), today=TODAY))
    assert "no effort is recorded" not in told
    assert "effort.csv line 2 was left out, which may be the effort of 2026-05-14 electrofishing" in told
    assert 'write "EF raft" = one of these under [gears] in columns.toml' in told
    another = EFFORT.replace("5/14", "5/13") + "5/12/2026,EF raft,60\n"
    told = told_of(read_records(in_folder(tmp_path, survey=fish, effort=another), today=TODAY))
    assert "no effort is recorded for 2026-05-14 electrofishing" in told


def test_a_word_that_is_not_known_is_told_with_the_known_ones_once(survey):
    told = told_of(read_records(survey(HEAD + "2026-05-06,EF,GSF,5,,\n")))
    assert told.count("bass, bluegill") == 1 and 'write "GSF" = one of these, or "" for another fish' in told


def test_a_sheet_is_taken_for_what_most_of_its_headings_say(tmp_path):
    """Trips with three headings in words of one's own, where the gear of the surveys is said once for all rows."""
    (tmp_path / "columns.toml").write_text('[always]\ngear = "electrofishing"\n')
    (tmp_path / "boat.csv").write_text("Date,Trip,Out,Fish,from (in),to (in),kept,released\n5/14/2027,1,3.5,LMB,8,12,1,0\n")
    with pytest.raises(InputError) as told:
        read_records(tmp_path)
    assert '"Out", "from (in)" and "to (in)"' in str(told.value) and '"kept"' not in str(told.value)
