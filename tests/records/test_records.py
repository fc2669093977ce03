"""Record files: what is read, what is left out with a reason, what is refused."""

import re
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pondpop.checks import InputError
from pondpop.records import COLUMNS, read_records
from pondpop.species import SPECIES

SURVEY = "date,gear,species,length_in,weight_lb,count,tag,sex\n"
EFFORT = "date,gear,hours,hauls,water_f,species_sought\n"
CATCHES = "date,trip,hours,species,shortest_in,longest_in,kept,released\n"
TAGS = "tag,date,species,event,length_in,weight_lb\n"


@pytest.fixture
def folder(tmp_path):
    def write(**files):
        for name, text in files.items():
            data = text if isinstance(text, bytes) else text.encode()
            (tmp_path / f"{name}.csv").write_bytes(data)
        return tmp_path

    return write


def reasons(records):
    return [str(bad) for bad in records.left_out]


def test_reads_all_four_in_si(folder):
    records = read_records(
        folder(
            survey=SURVEY
            + "2024-04-10,electrofishing,bass,12,0.9,,B1,female\n2024-04-10,electrofishing,bluegill,5.5,,7,,\n",
            effort=EFFORT + "2024-04-10,electrofishing,1.5,,59,bass bluegill\n2024-06-20,seine,,4,,\n",
            catches=CATCHES + "2024-05-01,1,3,bass,8,12,2,1\n2024-05-01,1,3,bass,12,,0,2\n2024-05-02,1,2,,,,0,0\n",
            tags=TAGS + "B1,2024-04-10,bass,tagged,12,0.9\nB1,2024-06-01,bass,kept,,\n",
        ),
        strict=True,
    )
    assert not records.left_out
    assert records.notes == ("effort without a fish in survey.csv, 2024-06-20 seine: taken as nothing caught",)
    bass, bluegill = records.fish
    assert bass.length_mm == pytest.approx(304.8) and bass.weight_g == pytest.approx(0.9 * 453.59237)
    assert (bass.tag, bass.sex, bass.count, bluegill.count, bluegill.weight_g) == ("B1", "female", 1, 7, None)
    boat, seine = records.effort
    assert boat.water_c == pytest.approx(15) and boat.species == ("bass", "bluegill")
    assert (seine.amount, seine.water_c, seine.species) == (4, None, SPECIES)
    assert records.catches[1].longest_mm is None and records.catches[2].species is None
    assert records.tags[1].event == "kept" and records.tags[1].length_mm is None


def test_metric_and_ounce_columns(folder):
    text = "date,gear,species,length_mm,weight_oz\n2024-04-10,angling,bass,305,16\n"
    assert read_records(folder(survey=text)).fish[0].weight_g == pytest.approx(453.59237)


BAD_FISH = [
    ("2024/4/10,angling,bass,12,,,,", "date: got"),
    ("2024-02-30,angling,bass,12,,,,", "date: got"),
    ("1849-02-03,angling,bass,12,,,,", "1950-01-01"),
    (",angling,bass,12,,,,", "date: got nothing"),
    ("2024-04-10,boat,bass,12,,,,", 'gear: got "boat"'),
    ("31/31/2024,angling,bass,12,,,,", "year-month-day, like 2024-06-05 for June 5; spreadsheets change dates"),
    ("2024-02-30,angling,bass,12,,,,", "a day that the calendar has"),
    ("2024-04-10,angling,bas,12,,,,", 'did you mean "bass"?'),
    ("2024-04-10,angling,trout,6,,,,", "needs one of bass, bluegill, shad, minnow, redear"),
    ("2024-04-10,angling,bass,,,,,", "length: got nothing"),
    ("2024-04-10,angling,bass,0.1,,,,", "length_in: got"),
    ("2024-04-10,angling,bass,45,,,,", "length_in: got"),
    ("2024-04-10,angling,bluegill,15,,,,", "for bluegill"),
    ("2024-04-10,angling,bass,nan,,,,", "a plain number"),
    ("2024-04-10,angling,bass,1e1,,,,", "a plain number"),
    ("2024-04-10,angling,bass,1_2,,,,", "a plain number"),
    ("2024-04-10,angling,bass,12 in,,,,", "a plain number"),
    ("2024-04-10,angling,bass,12,9,,,", "got 9 lb, needs 0.25 to 2.18 lb for a bass of 12 in"),
    ("2024-04-10,angling,bass,12,0.09,,,", "for a bass of 12 in"),
    ("2024-04-10,angling,bass,12,-1,,,", "weight_lb"),
    ("2024-04-10,angling,bass,12,,0,,", "count: got"),
    ("2024-04-10,angling,bass,12,,1.5,,", "a whole number"),
    ("2024-04-10,angling,bass,12,0.9,2,,", "1 on a row with a weight"),
    ("2024-04-10,angling,bass,12,,2,B1,", "1 on a row with a tag"),
    ("2024-04-10,angling,bass,12,,,B 1,", "tag: got"),
    ("2024-04-10,angling,bass,12", "cells: got 4, needs 8"),
    ("2024-04-10,angling,bass,12,5,0,9,,", "cells: got 9, needs 8"),
]


@pytest.mark.parametrize(("row", "reason"), BAD_FISH)
def test_bad_survey_rows_are_left_out_or_refused(folder, row, reason):
    path = folder(survey=SURVEY + "2024-04-10,angling,bass,11,,,,\n" + row + "\n")
    records = read_records(path)
    assert len(records.fish) == 1 and len(records.left_out) == 1
    assert records.left_out[0].line == 3 and reason in reasons(records)[0]
    with pytest.raises(InputError, match=r"survey\.csv: line 3, ") as caught:
        read_records(path, strict=True)
    assert "\n" not in str(caught.value) and reason.split(": ")[-1] in str(caught.value)
    assert "more bad row" not in str(caught.value)


OTHER_BAD = [
    ("effort", EFFORT + "2024-04-10,seine,2,,,", "nothing for seine"),
    ("effort", EFFORT + "2024-04-10,seine,,,,", "hauls: got nothing"),
    ("effort", EFFORT + "2024-04-10,seine,,2.5,,", "a whole number"),
    ("effort", EFFORT + "2024-04-10,angling,,2,,", "nothing for angling"),
    ("effort", EFFORT + "2024-04-10,angling,101,,,", "hours: got"),
    ("effort", EFFORT + "2024-04-10,angling,1,,120,", "water_f: got"),
    ("effort", EFFORT + "2024-04-10,angling,1,,,carp", "species_sought"),
    ("catches", CATCHES + "2024-04-10,1,2,bass,12,8,1,1", "above the shortest"),
    ("catches", CATCHES + "2024-04-10,1,2,bluegill,20,,1,1", "got 20 in, needs at most 14.2 in"),
    ("catches", CATCHES + "2024-04-10,1,,bass,8,12,1,1", "the hours of the trip"),
    ("catches", CATCHES + "2024-04-10,1,2,bass,8,12,,1", "kept: got nothing"),
    ("catches", CATCHES + "2024-04-10,1,2,,,,1,1", "species: got nothing"),
    ("catches", CATCHES + "2024-04-10,,2,bass,,,1,1", "trip: got nothing"),
    ("tags", TAGS + "B1,2024-04-10,bass,caught,12,", "event: got"),
    ("tags", TAGS + "B1,2024-04-10,bass,recaptured,12,", "never tagged"),
]


@pytest.mark.parametrize(("name", "text", "reason"), OTHER_BAD)
def test_bad_rows_of_the_other_files(folder, name, text, reason):
    records = read_records(folder(**{name: text + "\n"}))
    assert [bad.file for bad in records.left_out] == [f"{name}.csv"] and reason in reasons(records)[0]


def test_trips_keep_one_effort_and_distinct_classes(folder):
    rows = [
        "2024-04-10,1,2,bass,8,12,1,1",
        "2024-04-10,1,3,bass,12,15,1,1",  # another effort
        "2024-04-10,1,2,bass,8,12,1,1",  # the class again
        "2024-04-10,1,2,bass,10,15,1,1",  # overlaps
        "2024-04-10,1,2,,,,0,0",  # no fish after all
        "2024-04-10,1,2,bass,,,1,1",  # size not noted: allowed
        "2024-04-11,1,3,bass,8,12,1,1",  # another day
    ]
    records = read_records(folder(catches=CATCHES + "\n".join(rows) + "\n"))
    assert [c.line for c in records.catches] == [2, 7, 8]
    assert [b.line for b in records.left_out] == [3, 4, 5, 6]


def test_effort_twice_and_fish_not_sought(folder):
    records = read_records(
        folder(
            survey=SURVEY + "2024-04-10,electrofishing,bluegill,5,,,,\n",
            effort=EFFORT + "2024-04-10,electrofishing,1,,,bass\n2024-04-10,electrofishing,2,,,\n",
        )
    )
    assert not records.fish and [e.amount for e in records.effort] == [1]
    assert "one sought on that day (bass, effort.csv line 2)" in reasons(records)[0]
    assert "the first is line 2" in reasons(records)[1]


HISTORIES = {
    "recaptured before it was tagged": ("B1,2024-03-01,bass,recaptured,10,", "it was tagged on 2024-04-01, line 2"),
    "tagged twice": ("B1,2024-05-01,bass,tagged,10.2,", "one tagging a tag"),
    "twice a day": ("B1,2024-04-01,bass,recaptured,10,", "one row for this tag and date"),
    "kept twice": ("B1,2025-05-01,bass,kept,12,", "it was kept on 2025-04-01, line 3"),
    "caught after it was kept": ("B1,2025-05-01,bass,recaptured,12,", "a fish still in the pond"),
    "shrunk": ("B1,2024-06-01,bass,recaptured,9.5,", "one of the two is wrong"),
    "grown too fast": ("B1,2024-04-11,bass,recaptured,12,", "one of the two is wrong"),
    "another species": ("B1,2024-06-01,bluegill,recaptured,10.1,", "bass, as tagged on line 2"),
}


@pytest.mark.parametrize("case", HISTORIES)
def test_impossible_histories_are_named(folder, case):
    row, reason = HISTORIES[case]
    good = "B1,2024-04-01,bass,tagged,10,\nB1,2025-04-01,bass,kept,12,\n"
    records = read_records(folder(tags=TAGS + good + row + "\n"))
    assert [t.line for t in records.tags] == [2, 3]
    assert len(records.left_out) == 1 and reason in reasons(records)[0]


def test_a_row_that_is_left_out_leaves_nothing_in_the_history_of_its_tag(folder):
    left_out = "B1,2024-06-01,bass,kept,18,\nB1,2024-06-02,bass,recaptured,8,\n"
    rows = "B1,2024-04-01,bass,tagged,10,\n" + left_out + "B1,2024-07-01,bass,recaptured,11,\n"
    records = read_records(folder(tags=TAGS + rows))
    assert [t.line for t in records.tags] == [2, 5] and [bad.line for bad in records.left_out] == [3, 4]


def test_measurement_error_is_allowed(folder):
    rows = "B1,2024-04-01,bass,tagged,10,\nB1,2024-04-09,bass,recaptured,9.7,\n"
    assert not read_records(folder(tags=TAGS + rows)).left_out


def test_survey_fish_follow_the_history_of_their_tags(folder):
    survey = [
        "2024-04-01,angling,bass,10,,,B1,",  # the tagging itself
        "2024-04-01,angling,bass,10,,,B1,",  # twice on a day
        "2024-05-01,angling,bass,8,,,B1,",  # shrunk
        "2024-05-01,angling,bass,10,,,B9,",  # never tagged
        "2025-04-01,angling,bass,12,,,B1,",  # a recapture on the day it was kept
        "2025-04-02,angling,bass,12,,,B1,",  # after it was kept
    ]
    tags = "B1,2024-04-01,bass,tagged,10,\nB1,2025-04-01,bass,kept,12,\n"
    records = read_records(folder(survey=SURVEY + "\n".join(survey) + "\n", tags=TAGS + tags))
    assert [f.line for f in records.fish] == [2, 6]
    assert [b.line for b in records.left_out] == [3, 4, 5, 7]


def test_odd_things_are_kept_and_named(folder):
    fish = [f"2024-04-10,electrofishing,bass,{10 + i},{0.5 + 0.2 * i:.2f},,," for i in range(6)]
    records = read_records(
        folder(
            survey=SURVEY
            + "\n".join(fish + fish)
            + "\n2024-05-01,angling,bass,9,,,B2,\n2024-05-01,angling,bass,9,,,B3,\n",
            effort=EFFORT + "2024-04-10,electrofishing,1,,,\n",
            tags=TAGS + "B2,2024-05-01,bass,tagged,9,\nB3,2024-05-01,bass,tagged,9,\nB4,2024-05-01,bass,tagged,9,\n",
        )
    )
    assert len(records.fish) == 14 and not records.left_out
    notes = " / ".join(records.notes)
    assert (
        "2024-05-01 angling" in notes and "B4 on 2024-05-01" in notes and "from line 8 are those from line 2" in notes
    )


def test_the_readme_names_the_columns_that_are_read():
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    for file, columns in COLUMNS.items():
        (row,) = [line for line in readme.splitlines() if line.startswith(f"| `{file}`") and "`date`" in line]
        for part, groups in zip(row.split("|")[3:5], columns, strict=True):
            named = re.findall(r"`(\w+)`", re.sub(r"\([^)]*\)", "", part))
            assert named == [name for group in groups for name in group.split("|")], file


HEADERS = [
    ("date,gear,species,length\n", "name its unit: length (in) or length (mm)"),
    ("Date,Gear,Species,TL (ft)\n", "name its unit: TL (in) or TL (mm)"),
    ("dat,gear,species,length_in\n", 'did you mean "date"?'),
    ("date,gear,species,length_in,weight\n", "name its unit: weight (lb), weight (oz) or weight (g)"),
    ("date,gear,species,length_in,Boat\n", 'got "Boat", needs a heading that record files know'),
    ("date,gear,species,TL (in),length_in\n", "each column once"),
    ("date,gear,species,length_in,length_mm\n", "one unit"),
    ("date,gear,species,length_in,weight_g,weight_lb\n", "one unit"),
    ("date,gear,species\n", "a column length_in or length_mm"),
    ("date,date,gear,species,length_in\n", "each column once"),
    ("", "a header"),
    ("\n\n", "a header"),
    (b"\xff\xfed\x00a\x00t\x00e\x00", "plain text"),
    ((SURVEY + "2024-04-10,angling,bass,12,,,,\n2024-04-1").encode() + b"\0", "line 3: got"),
    (SURVEY.encode() + b"2024-04-10,angling,b\x81ss,12,,,,\n", "line 2: got"),
    (SURVEY + '2024-04-10,"angling,bass\n', "check the quotation marks"),
    (SURVEY + "2024-04-10," + "x" * 140_000 + "\n", "rows of CSV"),
]


def test_every_heading_that_is_not_known_is_named_in_one_line(folder):
    with pytest.raises(InputError) as caught:
        read_records(folder(survey="Date,Gear,Species,TL,Wt,Boat,Wt\n"))
    said = str(caught.value)
    assert 'got "TL", "Wt" and "Boat", needs headings that record files know' in said and "\n" not in said
    assert '"TL": name its unit: TL (in) or TL (mm); "Wt": name its unit: Wt (lb), Wt (oz) or Wt (g); "Boat": known:' in said
    assert 'or write each that is not to be read, like "Boat" = "", under [columns] into columns.toml beside it' in said
    with pytest.raises(InputError, match=r'"F6" and 3 more, needs') as caught:
        read_records(folder(survey="Date,Gear,Species,TL (in)," + ",".join(f"F{n}" for n in range(1, 10)) + "\n"))


@pytest.mark.parametrize(("text", "message"), HEADERS)
def test_files_that_cannot_be_read_are_refused_even_when_not_strict(folder, text, message):
    with pytest.raises(InputError) as caught:
        read_records(folder(survey=text))
    assert message in str(caught.value) and "\n" not in str(caught.value)


def test_a_byte_order_mark_and_windows_lines_are_read(folder):
    text = b"\xef\xbb\xbf" + SURVEY.replace("\n", "\r\n").encode() + b"2024-04-10,angling,bass,12,,,,\r\n\r\n"
    assert len(read_records(folder(survey=text), strict=True).fish) == 1


def test_unknown_empty_and_missing_folders(folder, tmp_path):
    with pytest.raises(InputError, match=r"one or more of survey\.csv"):
        read_records(tmp_path)
    with pytest.raises(InputError, match="nowhere: got no such folder, needs a folder with record files; check the path"):
        read_records(tmp_path / "nowhere")
    with pytest.raises(InputError, match="got a file, needs a folder"):
        read_records(folder(survey=SURVEY) / "survey.csv")
    for name in ("x" * 5000, "a\0b"):
        with pytest.raises(InputError, match="needs a folder"):
            read_records(tmp_path / name)


def test_a_file_over_the_limit_is_refused_without_reading_it(folder):
    records = folder(survey=SURVEY)
    with (records / "survey.csv").open("ab") as file:
        file.truncate(123_400_000)  # which takes no place on the disk
    with pytest.raises(InputError, match="got 123 MB, needs at most 100 MB"):
        read_records(records)


def test_too_many_rows_are_refused(folder, monkeypatch):
    monkeypatch.setattr("pondpop.records.csv_rows.MAX_ROWS", 2)
    with pytest.raises(InputError, match="line 4: got"):
        read_records(folder(survey=SURVEY + "2024-04-10,angling,bass,12,,,,\n" * 3))


def test_reading_needs_the_standard_library_only():
    code = "import sys, pondpop.records; print({'numpy', 'scipy', 'xarray', 'matplotlib'} & set(sys.modules))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "set()"


CELLS = st.one_of(
    st.sampled_from(
        ["", "2024-04-10", "2025-04-10", "bass", "bluegill", "angling", "seine", "tagged", "kept", "B1", "B2"]
    ),
    st.sampled_from(["10", "12.5", "0", "-1", "1e9", "nan", '"', "é", "9" * 40, "٣", "=1+1"]),
    st.text(max_size=8),
)


@settings(max_examples=40)
@given(st.data())
def test_whatever_is_in_the_rows_every_row_is_read_or_named(tmp_path_factory, data):
    folder = tmp_path_factory.mktemp("rows")
    written = 0
    for name, (needed, _) in COLUMNS.items():
        rows = data.draw(st.lists(st.lists(CELLS, min_size=len(needed), max_size=len(needed)), max_size=6))
        rows = [[c.replace("\r", "").replace("\n", "").replace('"', "").replace(",", "") for c in row] for row in rows]
        rows = [row for row in rows if any(c.strip() for c in row)]
        head = [group.split("|")[0] for group in needed]
        (folder / name).write_text("\n".join(",".join(r) for r in [head, *rows]), encoding="utf-8", newline="")
        written += len(rows)
    try:
        records = read_records(folder)
    except InputError as e:
        assert "\n" not in str(e)
        return
    read = sum(map(len, (records.fish, records.effort, records.catches, records.tags)))
    assert read + len(records.left_out) == written
    assert all("\n" not in str(bad) for bad in records.left_out)


@settings(max_examples=150)
@given(st.binary(max_size=200), st.booleans())
def test_no_bytes_bring_it_down(tmp_path_factory, data, with_header):
    folder = tmp_path_factory.mktemp("bytes")
    (folder / "survey.csv").write_bytes(SURVEY.encode() * with_header + data)
    try:
        read_records(folder)
    except InputError as e:
        assert "\n" not in str(e)


def pasted(rows, times=2):
    return SURVEY + "".join(f"2024-04-10,electrofishing,{row},,\n" for row in rows * times)


@pytest.mark.parametrize(
    "rows",
    [
        [f"bass,{8 + k % 7}.{(k * k) % 10},," for k in range(15)],  # nothing weighed
        [f"bluegill,{3 + k},,{2 + k}" for k in range(6)],  # a short table of lengths and counts
        [f"bass,{10 + k},{0.5 + 0.1 * k:.1f}," for k in range(6)],
    ],
)
def test_a_survey_pasted_twice_is_noticed(folder, rows):
    (note,) = (n for n in read_records(folder(survey=pasted(rows))).notes if "repeats itself" in n)
    assert f"the rows from line {2 + len(rows)} are those from line 2 again" in note
    assert not any("repeats" in n for n in read_records(folder(survey=pasted(rows, 1))).notes)


def test_of_days_written_down_twice_the_first_is_told(folder):
    days = ("2024-04-10", "2025-04-12", "2026-04-09")
    twice = "".join(
        f"{day},electrofishing,bass,{10 + k + 0.1 * n:.1f},{0.5 + 0.1 * k:.1f},,,\n"
        for n, day in enumerate(days) for _ in range(2) for k in range(6)
    )  # fmt: skip
    (note,) = (n for n in read_records(folder(survey=SURVEY + twice)).notes if "repeats itself" in n)
    assert "the rows from line 8 are those from line 2 again" in note


def test_fish_of_one_length_are_no_rows_pasted_twice(folder):
    rows = [f"bluegill,{length},," for length in (4, 5, 5, 4, 6, 5, 4, 5) * 10]
    assert not any("repeats" in n for n in read_records(folder(survey=pasted(rows, 1))).notes)


def test_a_sheet_of_any_name_is_of_the_kind_of_which_most_headings_are_known(folder):
    """Headings of a survey and of effort, of neither of which any is lacking; those that are not its kind's are then named."""
    either = "date,gear,species,length_in{},hours,hauls\n"
    for more in (",weight_lb", ",count,tag"):
        with pytest.raises(InputError, match='got "hours" and "hauls", needs headings that record files know'):
            read_records(folder(spring=either.format(more)))
    with pytest.raises(InputError, match=r"may be of either.*, of survey\.csv, effort\.csv"):
        read_records(folder(spring=either.format("")))  # four of each
