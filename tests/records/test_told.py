"""What is said of how records were read: in which order, how many of each, and what is left unsaid."""

from pondpop.records import BadRow, Effort, Records
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
    assert left_out(records(*bad("a: got", 2))) == "Left out, 1 row" and list(how_read(records())) == []
