"""How an update is told: rows and stages made by hand, sentences and cells as written."""

import csv
import datetime as dt
import io
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from small import pond

from pondpop.records import BadRow, Records
from pondpop.species.registry import SPECIES
from pondpop.update import in_want_of, prior_uniforms, text, up_to
from pondpop.update.smc import Stage
from pondpop.update.text import Row, narrowed, update_answer, update_csv, update_text

RECORDS = Records("", (), (), (), (), (), (), ())
SPREAD = np.linspace(-1.0, 1.0, 41)


STAGES = Stage(0.25, 20.0, 22.0, 2, 0.5), Stage(1.0, 30.4, 25.6, 3, 0.254)


def found(observations=3, stages=STAGES, why="", impossible=(), contradictory=(), unused=(),
          until=dt.date(2026, 6, 15), records=RECORDS):  # fmt: skip
    evidence = SimpleNamespace(unused=unused, observations=[None] * observations)
    return SimpleNamespace(
        evidence=evidence, until=until, strategy="few", impossible=impossible, contradictory=contradictory, records=records,
        stages=stages, why=why, scenario=SimpleNamespace(ensemble=SimpleNamespace(members=40)),
    )  # fmt: skip


KNOWN = Row("model", "growth of bass", "ratio", None, np.exp(0.3 * SPREAD), np.exp(0.03 * SPREAD))
OPEN = Row("model", "young of bass 2026", "ratio", None, np.exp(0.3 * SPREAD), np.exp(0.29 * SPREAD))
CROPS = 112.08511561 + 0 * SPREAD, 56.042557805 + 11.208511561 * SPREAD
POND = Row("pond", "bass_standing_crop", "crop", None, *CROPS, words="bass")
SEEN = Row("record", "a: mean length", "mm", 254.0, 254.0 + 25.4 * SPREAD, None, "not used: no member explains it")


@pytest.fixture
def told(monkeypatch):
    monkeypatch.setattr(text, "rows", lambda _: [KNOWN, OPEN, POND, SEEN])


def test_an_update_is_told_with_its_stages_and_tables(told):
    lines = update_text(found(), "us").splitlines()
    assert lines[0] == "3 records of the strategy few until 2026-06-15."
    assert [line.split() for line in lines[3:5]] == [
        ["1", "25.0%", "20", "22", "2", "50%"], ["2", "100.0%", "30", "25", "3", "25%"]
    ]  # fmt: skip
    assert "What is left tells as much as 25 independent members of 40." in lines
    k = lines.index("What the records narrowed, relative to what is listed (median [p10–p90]):")
    assert [line.split() for line in lines[k + 1 : k + 4]] == [
        ["prior", "posterior", "spread", "left"], ["growth", "of", "bass", "1", "[0.787–1.27]", "1", "[0.976–1.02]", "10%"], [],
    ]  # fmt: skip
    k = lines.index("The pond on 2026-06-15:")
    assert lines[k + 2].split() == ["bass_standing_crop,", "lb/acre", "100", "[100–100]", "50", "[42–58]"]
    k = lines.index("Fitted against observed (what a pond would have shown, its sampling included):")
    assert lines[k + 1].split() == ["observed", "prior", "posterior"]
    assert lines[k + 2].split() == ["a:", "mean", "length,", "in", "10", "10", "[9.2–10.8]", "–", *SEEN.note.split()]


def test_one_record_and_none_are_told_as_such(told):
    assert update_text(found(1), "us").startswith("1 record of the strategy few until 2026-06-15.\n")
    assert update_answer(found(1), "us").startswith("1 record until 2026-06-15 of the strategy few.\n")
    without = found(0, until=None, stages=())
    assert "of the strategy" not in update_text(without, "us") + update_answer(without, "us")
    assert "The records narrow nothing about the model by more than members differ by chance." in update_text(without, "us")
    assert "The records narrow nothing about the model.\n" in update_answer(without, "us")


def test_what_is_wrong_with_records_is_told_before_what_they_tell(told):
    some = found(impossible=("a of May",), contradictory=("b of June", "c of July"), unused=("d was before the run",))
    lines = update_text(some, "us").splitlines()
    assert lines[:5] == [
        "3 records of the strategy few until 2026-06-15.", "d was before the run",
        "Not used, for no member explains it: a of May.",
        "Contradicts the others, or the scenario: b of June.", "Contradicts the others, or the scenario: c of July.",
    ]  # fmt: skip
    short = update_answer(some, "us").splitlines()
    assert short[1:3] == [
        "1 left out or doubtful, for one no member explains: a of May.",
        "2 left out or doubtful, for one contradicts the others: b of June.",
    ]


def test_where_nothing_is_concluded_only_the_reason_is_told(told):
    refused = found(why="Nothing is concluded: too few.")
    for words in (update_text(refused, "us"), update_answer(refused, "us")):
        assert words.endswith("Nothing is concluded: too few.\n") and "The pond on" not in words and "narrow" not in words


def test_the_screen_tells_what_was_narrowed_most_first(told, monkeypatch):
    scaled = [Row("model", f"m{k}", "ratio", None, np.exp(0.3 * SPREAD), np.exp(0.01 * k * SPREAD)) for k in (4, 1, 3, 2)]
    monkeypatch.setattr(text, "rows", lambda _: [*scaled, *[POND] * 30])
    lines = update_answer(found(), "us").splitlines()
    k = lines.index("Narrowed most (median [p10–p90]):")
    assert [line.split()[0] for line in lines[k + 2 : k + 5]] == ["m1", "m2", "m3"] and lines[k + 5] == "The pond on 2026-06-15:"
    assert len(lines) == 22
    assert lines[-1].split() == ["bass,", "lb/acre", "100", "[100–100]", "50", "[42–58]"]


def test_words_are_broken_at_80_letters_on_the_screen_and_at_100_in_the_file_and_the_screen_has_ten_lines_of_them(told):
    refused = found(why="ab " * 2000, contradictory=("x" * 200,))
    screen, file = (words(refused, "us").splitlines() for words in (update_answer, update_text))
    assert next(len(line) for line in screen if set(line) == set("ab ")) == 77  # with one word more it were of 80
    assert next(len(line) for line in file if set(line) == set("ab ")) == 98  # of 101
    unused = update_text(found(unused=("ab " * 99,)), "us").splitlines()
    assert next(len(line) for line in unused if set(line) == set("ab ")) == 98
    assert len(screen) == 10 and len(file) > 60
    assert f":{'x' * 99}…." in "".join("".join(screen).split())


def test_condition_of_small_bass_is_that_of_the_inches_from_8_to_under_12():
    wr = np.full((40, 1, len(SPECIES), 32), 90.0)
    wr[..., 7], wr[..., 12] = 40.0, 140.0
    some = np.full((40, 1, len(SPECIES), 32), 44.5)
    seen = {"number": some, "relative_weight": wr, "biomass": some}
    _, kind, told = text._standing(SimpleNamespace(seen=seen), SPECIES)["bass_wr_8_12in"]
    assert kind == "percent" and (told == 90.0).all()


def test_no_quantity_of_the_pond_is_cut_off_on_the_screen(told, monkeypatch):
    members = SimpleNamespace(seen={
        "number": np.full((40, 1, len(SPECIES), 32), 44.5), "relative_weight": np.full((40, 1, len(SPECIES), 32), 88.0),
        "biomass": np.full((40, 1, len(SPECIES), 32), 44.5) * (np.arange(len(SPECIES)) < 4)[:, None],
    })  # fmt: skip
    spread = np.exp(np.linspace(-1.0, 1.0, 40))
    standing = text._standing(members, SPECIES).items()
    pond = [Row("pond", name, kind, None, v * spread, v * spread, words=words) for name, (words, kind, v) in standing]
    monkeypatch.setattr(text, "rows", lambda _: pond)
    for units in ("us", "metric"):
        screen = update_answer(found(), units)
        assert "…" not in screen and "_" not in screen and "e+" not in screen and max(map(len, screen.splitlines())) <= 80
        assert "bluegill from 3 in up, " in screen and "bass PSD, %" in screen and "redear, " not in screen  # none lives there


def test_the_table_of_data_is_in_the_asked_units(told):
    for units, unit, value, crop in (("us", "in", "10", "100"), ("metric", "mm", "254", "112.1")):
        rows = list(csv.DictReader(io.StringIO(update_csv(found(), units))))
        assert [row["about"] for row in rows] == ["model", "model", "pond", "record"]
        assert (rows[3]["unit"], rows[3]["observed"], rows[3]["prior_p50"], rows[3]["posterior_p50"]) == (unit, value, value, "")
        assert (rows[2]["prior_p10"], rows[2]["observed"], rows[0]["unit"], rows[3]["note"]) == (crop, "", "", SEEN.note)
        assert float(rows[0]["prior_p90"]) == pytest.approx(np.exp(0.3 * 0.8), rel=1e-3)


@pytest.mark.parametrize(("independent", "named"), [(2.0, 0), (2.1, 0), (26.0, 1)])
def test_of_hardly_any_independent_members_nothing_is_narrowed(independent, named):
    assert len(narrowed([KNOWN, OPEN], independent)) == named and narrowed([], 26.0) == []


def test_of_two_independent_members_not_even_what_is_known_for_sure_is_narrowed():
    sure = Row("model", "a", "ratio", None, np.exp(SPREAD), np.ones(41))
    assert narrowed([sure], 2.0) == [] and narrowed([sure], 2.1) == [sure]


def test_what_was_stocked_up_to_the_day_of_the_last_record_is_told():
    scenario = pond(only="few")
    for until, told in ((dt.date(2026, 4, 9), False), (dt.date(2026, 4, 10), True)):
        dealt = prior_uniforms(up_to(scenario, "few", until), "few", until, ())
        members = SimpleNamespace(uniforms=dealt, log_likelihood=np.zeros(3))
        update = SimpleNamespace(scenario=scenario, strategy="few", until=until, prior=members, learned=None)
        assert any(row.quantity == "stocked young_bass" for row in text._model(update)) == told


def test_a_spread_that_fell_by_little_is_not_told_however_many_members_there_are():
    many = np.linspace(-1.0, 1.0, 100_001)
    for left, told in ((0.849, 1), (0.851, 0)):
        row = Row("model", "a", "ratio", None, np.exp(many), np.exp(left * many))
        assert len(narrowed([row], 50_000.0)) == told


def test_the_screen_says_why_rows_were_left_out(told):
    def screen(*bad):
        return " ".join(update_answer(found(records=Records("", (), (), (), (), (), bad, ())), "us").split())

    rows = [BadRow("survey.csv", "survey.csv", line, 'gear: got "eletro", needs one of two', "") for line in (4, 9, 11)]
    other = BadRow("tags.csv", "tags.csv", 2, "date: got none", "")
    one = screen(rows[0])
    assert 'Left out, 1 row: survey.csv, line 4: gear: got "eletro", needs one of two.' in one and "reason" not in one
    assert "Left out, 3 rows: survey.csv, line 4: " in screen(*rows) and "(3 such rows: lines 4, 9, 11)." in screen(*rows)
    assert "Left out, 4 rows: " in screen(*rows, other)
    assert "Rows for 1 other reason stand in update.txt." in screen(*rows, other)
    assert "Rows for 2 other reasons stand in update.txt." in screen(*rows, other, replace(other, reason="tag: got none"))


def test_what_is_missing_for_a_conclusion_is_told_in_figures_that_say_so():
    """A hair below the limit is below it in the words too; the limit is 20, or a tenth of the members."""

    def said(power, independent, members=128):
        return in_want_of([Stage(0.5, 64.0, 64.0, 3, 0.5), Stage(power, 30.0, independent, 3, 0.5)], members)

    assert said(1.0, 20.0) == "" and said(1.0, 20.5, members=205) == ""
    assert said(1.0, 19.96) == "what is left is worth only 19 independent members, 20 are needed"
    assert said(1.0, 20.4, members=205) == "what is left is worth only 20 independent members, 21 are needed"
    assert said(0.9996, 60.0) == "after 2 stages 99 % of what the records say was taken in"
