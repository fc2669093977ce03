"""What is said of how records were read: in which order, how many of each, and what is left unsaid."""

import datetime as dt

import pytest

from pondpop.checks import InputError
from pondpop.records import BadRow, Effort, Records, read_records
from pondpop.records.surveys import last_catches, surveys
from pondpop.records.told import by_slip, how_read, left_out, slips_of

DAY = "2024-04-10"


def bad(reason, *lines, kind="survey.csv"):
    return [BadRow(kind, kind, line, reason, reason.partition(",")[0]) for line in lines]


def records(*left_out, effort=(), notes=(), read_as=""):
    return Records("pond", ("survey.csv",), (), tuple(effort), (), (), tuple(left_out), tuple(notes), read_as)


def test_rows_of_one_slip_are_told_with_the_first_three_of_them():
    told = slips_of(records(*bad("tag: got a"), *bad("age: got b", 5, 6, 7), *bad("sex: got c", 2, 3, 4, 8), *bad("no fish", 9)))
    assert told == [
        "survey.csv, line 5: age: got b (3 such rows: lines 5, 6, 7)",
        "survey.csv, line 2: sex: got c (4 such rows: lines 2, 3, 4 and 1 more)",
        "survey.csv, line 9: no fish",
    ]


def test_slips_that_cost_effort_or_empty_a_file_come_first():
    worked = Effort(2, None, "angling", 1.0, None, ("bass",))
    slips = [*bad("tag: got a", 2, kind="tags.csv"), *bad("date: got b", 3, kind="effort.csv")]
    fish = records(*bad("age: got c", 4, kind="catches.csv"), *slips, effort=[worked])
    assert [rows[0].kind for rows in by_slip(fish)] == ["catches.csv", "tags.csv", "effort.csv"]  # none of the others was read
    some = fish.__class__(**{**{name: getattr(fish, name) for name in fish.__dataclass_fields__}, "catches": ("a trip",)})
    assert [rows[0].kind for rows in by_slip(some)] == ["tags.csv", "effort.csv", "catches.csv"]


def test_how_records_were_read_is_told_in_order_and_what_was_left_out_is_counted():
    rows = [row for k in range(20) for row in bad(f"{chr(97 + k)}: got x", k + 2)]
    told = list(how_read(records(*rows, notes=["odd"], read_as="LMB as bass")))
    assert told[0] == ("", "Read as: LMB as bass.") and told[1] == ("", "Left out, 20 rows:") and told[-1] == ("", "Odd: odd")
    assert told[2:-1] == [("  ", f"survey.csv, line {k + 2}: {chr(97 + k)}: got x") for k in range(20)]
    more = list(how_read(records(*rows, *bad("w: got", 30), *bad("y: got", 31))))
    assert more[0] == ("", "Left out, 22 rows:") and more[20:] == [told[-2], ("  ", "and rows for 2 other reasons")]
    assert list(how_read(records(*rows, *bad("w: got", 30))))[-1] == ("  ", "and rows for 1 other reason")
    assert left_out(records(*bad("a: got", 2))) == "Left out, 1 row" and list(how_read(records())) == []


def sheet(folder, text, name="survey.csv"):
    (folder / name).write_text(text, "utf-8")
    return folder


HEAD = "date,gear,species,length_in,weight_lb\n"


def rows(*inches, day=DAY):
    return "".join(f"{day},electrofishing,bass,{inch},{inch / 10:g}\n" for inch in inches)


def test_rows_that_come_again_at_the_very_end_are_named(tmp_path):
    """Five unlike rows after one and before another, and once more as the last ones."""
    text = HEAD + rows(20) + rows(9, 10, 11, 12, 13) + rows(21) + rows(9, 10, 11, 12, 13)
    (note,) = [note for note in read_records(sheet(tmp_path, text)).notes if "repeats" in note]
    assert "the rows from line 9 are those from line 3 again" in note
    four = HEAD + rows(20) + rows(9, 10, 11, 12) + rows(21) + rows(9, 10, 11, 12)
    assert not any("repeats" in note for note in read_records(sheet(tmp_path, four)).notes)


@pytest.mark.parametrize(("titles", "read"), [(9, True), (10, False)])
@pytest.mark.parametrize("sign", [",", ";", "\t"])
def test_headings_are_looked_for_among_ten_lines_whatever_separates_their_cells(tmp_path, titles, read, sign):
    text = "title\n" * titles + HEAD.replace(",", sign) + rows(9, 10).replace(",", sign)
    if read:
        assert len(read_records(sheet(tmp_path, text)).fish) == 2
    else:
        with pytest.raises(InputError):
            read_records(sheet(tmp_path, text))


def test_dates_after_today_are_counted_and_told_once(tmp_path):
    text = HEAD + rows(9, 10, day="2026-06-01") + rows(11, day="2026-06-02") + rows(12, day="2026-05-31")
    notes = read_records(sheet(tmp_path, text), today=dt.date(2026, 5, 31)).notes
    assert any(note.startswith("3 rows dated after today, 2026-05-31: 2026-06-01, 2026-06-02; kept") for note in notes)


@pytest.mark.parametrize(("years", "left_out"), [(30, 0), (31, 1)])
def test_a_row_of_another_time_than_the_middle_one_is_left_out(tmp_path, years, left_out):
    text = HEAD + rows(9, 10, 11, 12, 13, day="2020-06-01") + rows(14, day=f"{2020 + years}-06-01")
    assert len(read_records(sheet(tmp_path, text), today=dt.date(2099, 1, 1)).left_out) == left_out
    few = HEAD + rows(9, 10, 11, day="2020-06-01") + rows(14, day="2060-06-01")  # of four rows none can be told to be wrong
    assert not read_records(sheet(tmp_path, few), today=dt.date(2099, 1, 1)).left_out


def test_two_sheets_that_agree_are_one_from_three_unlike_fish_on(tmp_path):
    for n, refused in ((2, False), (3, True)):
        (folder := tmp_path / str(n)).mkdir()
        sheet(folder, HEAD + rows(*range(9, 9 + n)), "one.csv")
        sheet(folder, HEAD + rows(*range(9, 9 + n)[::-1]) + rows(15, day="2024-05-10"), "two.csv")
        if refused:
            with pytest.raises(InputError, match=r"two\.csv: got the fish of 2024-04-10 by .* again, as one\.csv line 2"):
                read_records(folder)
        else:
            assert len(read_records(folder).fish) == 5


def test_some_of_many_are_told_with_how_many_more():
    from pondpop.records.consistency import some

    assert some("abcde") == "a, b, c, d, e" and some("abcdef") == "a, b, c, d, e and 1 more"
    assert some("abc", 2) == "a, b and 1 more"


@pytest.mark.parametrize(("inches", "class_"), [(12.0, 12), (11.999, 11), (0.5, 0)])
def test_the_last_catch_is_counted_by_inch_class(tmp_path, inches, class_):
    sheet(tmp_path, f"date,gear,species,length_in\n{DAY},electrofishing,bass,{inches}\n")
    sheet(tmp_path, f"date,gear,hours,hauls,water_c\n{DAY},electrofishing,1.5,,18\n2024-05-20,electrofishing,2,,\n", "effort.csv")
    (found,) = last_catches(read_records(tmp_path), ("seine", "electrofishing"))
    assert (found.fish, found.amount, found.water_c, found.condition) == ({("bass", class_): 1}, 1.5, 18.0, {})


def test_the_condition_of_a_class_is_that_of_three_weighed_fish_or_else_of_all():
    from pondpop.records.surveys import _conditions

    few = {("bass", 9): [0.8, 0.9], ("bass", 12): [1.0, 1.1, 1.2], ("bluegill", 5): [0.7]}
    found = _conditions([("bass", 9), ("bass", 12), ("bass", 15), ("bluegill", 6), ("shad", 4)], few)
    assert found == {
        ("bass", 9): pytest.approx(1.0), ("bass", 12): pytest.approx(1.1), ("bass", 15): pytest.approx(1.0), ("bluegill", 6): 0.7,
    }  # fmt: skip


@pytest.mark.parametrize(("days", "surveys_"), [(30, 1), (31, 2)])
def test_days_within_a_month_of_the_first_are_one_survey(tmp_path, days, surveys_):
    later = dt.date(2024, 4, 10) + dt.timedelta(days)
    found = surveys(read_records(sheet(tmp_path, HEAD + rows(9) + rows(10, day="2024-04-25") + rows(11, day=f"{later}"))))
    assert len(found) == surveys_ and found[0].first == dt.date(2024, 4, 10) and found[-1].last == later


def test_a_tagged_fish_caught_again_counts_once_and_each_time(tmp_path):
    text = "date,gear,species,length_in,tag\n" + "".join(
        f"{day},electrofishing,bass,{inch},{tag}\n"
        for day, inch, tag in ((DAY, 9, "a"), ("2024-04-12", 9, "a"), ("2024-04-13", 9, "a"), (DAY, 12, "b"), (DAY, 12, ""))
    )
    (survey,) = surveys(read_records(sheet(tmp_path, text)))
    assert len(survey.taken("electrofishing", "bass")) == 3 and survey.again("electrofishing", "bass") == 2
    assert survey.again("electrofishing", "bass", 9.5 * 25.4) == 0 and survey.again("electrofishing", "bass", 9 * 25.4) == 2
    assert survey.sought("electrofishing", "bass") and not survey.sought("electrofishing", "shad")
    assert not survey.sought("seine", "bass")
