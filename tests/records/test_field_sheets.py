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
from pondpop.records.field_sheets import OwnWords, Reading

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
    records = read_records(survey(HEAD + rows))
    assert len(records.left_out) == 112
    told = list(left_out_and_odd(records))
    text = " ".join(" ".join(told).split())
    assert "survey.csv, line 2: species: got" in text and "(111 such rows: lines 2, 3, 4 and 108 more)" in text
    assert "survey.csv, line 113: weight" in text and len(told) < 10
    heavy = read_records(survey(HEAD + "".join(f"2026-05-06,EF,LMB,{10 + k},{300 + k},\n" for k in range(9))))
    told = told_of(heavy)
    assert "9 such rows: lines 2, 3, 4 and 6 more" in told  # one slip, whatever the figures


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
]


@pytest.mark.parametrize(("words", "says"), WORDS)
def test_words_of_ones_own_that_cannot_be(survey, words, says):
    with pytest.raises(InputError) as caught:
        read_records(survey(HEAD + "2026-05-06,EF,LMB,12,,\n", words))
    assert "columns.toml" in str(caught.value) and says in str(caught.value) and "\n" not in str(caught.value)


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
        ({"spring": FISH, "survey": FISH}, "spring.csv: got rows of survey.csv, as survey.csv has, needs one file for them"),
    ],
)  # fmt: skip
def test_a_sheet_that_may_be_anything_is_refused_with_what_to_rename(tmp_path, files, says):
    with pytest.raises(InputError) as caught:
        read_records(in_folder(tmp_path, **files))
    assert says in str(caught.value) and "\n" not in str(caught.value)


@pytest.mark.parametrize("title", ["Miller pond\n", "Pond 3,,5/14/2026\n\n", "Date: 5/14/2026,Gear: boat EF\n", "Date,Gear\n"])
def test_a_title_above_the_headings_is_no_heading_even_where_those_lack_a_unit(survey, title):
    with pytest.raises(InputError, match=r'got "TL", .* name its unit: TL \(in\) or TL \(mm\)'):
        read_records(survey(f"{title}Spp,TL,Wt\nLMB,12,0.9\n"))


def test_a_column_that_is_missing_may_be_stated_once_and_the_refusal_says_how(survey):
    with pytest.raises(InputError) as caught:
        read_records(survey("Species,TL (in)\nLMB,12\n"))
    says = 'date = 2026-05-14 and gear = "electrofishing" under [always] into columns.toml beside it, for all rows'
    assert "got nothing, needs columns date and gear; add what is missing, or write" in str(caught.value)
    assert says in str(caught.value)
    words = '[always]\ndate = 2026-05-14\ngear = "electrofishing"\n'
    assert len(read_records(survey("Species,TL (in)\nLMB,12\n", words)).fish) == 1


def test_a_word_that_is_not_known_is_told_with_the_known_ones_once(survey):
    told = told_of(read_records(survey(HEAD + "2026-05-06,EF,GSF,5,,\n")))
    assert told.count("bass, bluegill") == 1 and 'write "GSF" = one of these, or "" for another fish' in told
