"""What an assessment says at the ends of its ranges: findings, surveys and records made by hand, answers as written."""

import csv
import datetime as dt
import io
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from pondpop.assess import text
from pondpop.assess.advice import advise, bass_amount
from pondpop.assess.findings import Finding
from pondpop.assess.size_and_condition import Change, PairDoubt, class_words, holm, weight_classes
from pondpop.assess.tags import growth, increments, kept_share
from pondpop.observe.indices import PAIR_READINGS, target_range
from pondpop.records import Catch, Fish, Records, TagEvent
from pondpop.units import HA_PER_ACRE

DAY = dt.date(2024, 4, 10)
GEAR = "electrofishing"


def psd(species, value=50.0, low=40.0, high=60.0):
    return Finding(f"{species}_psd", "%", value, low, high, 50, DAY, GEAR, species)


def wr(value, low, high):
    return Finding("bass_wr_8_12in", "%", value, low, high, 30, DAY, GEAR, "bass")


def advised(chances, *findings, **more):
    """The advice where readings by levels have these chances."""
    every = {words: chances.get(levels, 0.0) for levels, words in PAIR_READINGS.items()}
    pair = PairDoubt(GEAR, 50.0, 50.0, (50, 50), "", every)
    given = {f.quantity: f for f in (psd("bass"), psd("bluegill"), *findings)}
    return advise(DAY, pair, tuple(given.values()), **more)


CROWDED, BALANCED, SMALL = ("low", "high"), ("middle", "middle"), ("low", "middle")


@pytest.mark.parametrize(("chance", "sure"), [(0.8, True), (0.7999, False)])
def test_a_state_is_acted_on_from_eight_of_ten(chance, sure):
    found = advised({BALANCED: chance, ("low", "low"): 1 - chance})
    assert found.sure == sure and found.state == "balanced" and found.chance == chance
    assert found.steps[0].startswith("Hold it there") == sure


@pytest.mark.parametrize(("chance", "said"), [(0.5, "It is the likeliest state, but"), (0.49, "No state is likely enough: ")])
def test_a_state_is_called_likely_from_one_half(chance, said):
    rest = (1 - chance) / 3
    found = advised({BALANCED: chance, ("low", "low"): rest, CROWDED: rest, ("high", "low"): rest})
    assert found.steps[0].startswith(said)


def test_readings_of_one_state_add_up():
    """Bluegill are crowded whether bass are in range or large; few young fish have three readings."""
    found = advised({("high", "low"): 0.3, ("middle", "low"): 0.3, BALANCED: 0.4})
    assert (found.state, found.chance) == ("bluegill crowded", 0.6)
    found = advised({("middle", "high"): 0.2, ("high", "middle"): 0.2, ("high", "high"): 0.2, BALANCED: 0.4})
    assert (found.state, found.chance) == ("few young", pytest.approx(0.6))


@pytest.mark.parametrize(
    ("limits", "condition"),
    [
        ((90.0, 80.0, 94.9), "thin"), ((90.0, 80.0, 95.0), ""), ((100.0, 95.1, 110.0), "well fed"), ((100.0, 95.0, 110.0), ""),
        ((95.0, None, 99.0), ""), ((95.0, 91.0, None), ""),
    ],
)  # fmt: skip
def test_bass_are_thin_or_well_fed_where_the_limits_of_wr_leave_out_what_is_wanted(limits, condition):
    found = advised({SMALL: 1.0}, wr(*limits))
    assert found.state == {"thin": "bass crowded", "well fed": "bass fished hard", "": "bass small"}[condition]
    unknown = None in limits
    assert ("were not weighed" in found.why[-1]) == unknown
    if not unknown:
        low, high = (f"{end:.0f}" for end in limits[1:])
        assert f"is {limits[0]:.0f} ({low}–{high}; wanted 95–105, Anderson 1980): " in found.why[-1]
        assert (condition or "neither clearly thin nor well fed") in found.why[-1]


@pytest.mark.parametrize(("open_", "told"), [(0.05, True), (0.049, False)])
def test_what_condition_adds_is_told_where_the_psds_leave_something_open(open_, told):
    found = advised({CROWDED: 1 - open_, SMALL: open_}, wr(85.0, 80.0, 90.0))
    assert found.chance == pytest.approx(1.0) and bool(found.joined) == told


@pytest.mark.parametrize(("few", "added"), [(0.5, True), (0.49, False)])
def test_bluegill_are_added_where_it_is_as_likely_as_not_that_the_small_are_few(few, added):
    found = advised({CROWDED: few, SMALL: 1 - few}, wr(85.0, 80.0, 90.0))
    assert found.state == "bass crowded" and any("Bluegill of 3 to 6 in were few" in step for step in found.steps) == added


@pytest.mark.parametrize("species", ["bass", "bluegill"])
def test_where_a_psd_stands_and_how_clearly(species):
    low, high = target_range("balanced", species, "psd")

    def said(value, bottom, top):
        every = advised({BALANCED: 1.0}, psd(species, value, bottom, top)).why
        (words,) = [why for why in every if why.startswith(f"{species} PSD")]
        assert f"{species} PSD {value:.0f} ({bottom:.0f}–{top:.0f}) is " in words and f"{low:.0f}–{high:.0f} (Willis" in words
        return words.partition(" is ")[2].partition(" the range")[0]

    assert said(low, low - 9, high) == "in" and said(high, low, high + 9) == "in"
    assert said(low - 1, low - 9, low) == "below" and said(low - 5, low - 9, low - 1) == "clearly below"
    assert said(high + 1, high, high + 9) == "above" and said(high + 5, high + 1, high + 9) == "clearly above"


def test_amounts_are_those_of_the_extension_service_in_either_unit():
    assert bass_amount("us", "fertile").startswith("25 to 35 lb an acre a year from a pond as fertile as this one (Alabama")
    assert bass_amount("metric", "infertile").startswith("11 kg a hectare a year")  # 10 lb/acre is 11.2 kg/ha
    assert bass_amount("us").startswith("25 to 35 lb an acre a year from a fertile pond, 10 lb an acre from an infertile one")
    steps = " ".join(advised({("high", "low"): 1.0}).steps)
    assert "bass of 12 in and more, 20 to 30 an acre (advice of state agencies)" in steps
    assert "at most 200 lb an acre a year from a fertile pond, 100 lb an acre from an infertile one" in steps
    metric = " ".join(advised({("high", "low"): 1.0}, units="metric").steps)
    assert f"{20 / HA_PER_ACRE:.0f} to {30 / HA_PER_ACRE:.0f} a hectare" in metric and "bass of 30 cm and more" in metric
    assert "at most 224 kg a hectare" in metric and "112 kg a hectare" in metric
    crowded = " ".join(advised({CROWDED: 1.0}).steps)
    assert "may need 50 to 100 an acre under 12 in taken out" in crowded and "Put back bass of 12 to 15 in" in crowded
    fished = " ".join(advised({SMALL: 1.0}, wr(104.0, 100.0, 108.0)).steps)
    assert fished.startswith("Put back all bass for two years or more, those of 12 to 15 in above all")
    assert "Weigh 30 bass of 8 to 12 in or more" in advised({SMALL: 1.0}).steps[0]


@pytest.mark.parametrize("state", [("low", "low"), ("high", "high"), SMALL])
def test_where_the_cause_is_open_no_more_is_taken_than_in_balance(state):
    steps = " ".join(advised({state: 1.0}, units="us", pond="infertile").steps)
    assert "Until then take out no more bass than from a pond in balance: 10 lb an acre a year" in steps


# --- tables and lines


def test_classes_of_length_are_called_by_their_ends():
    assert weight_classes("bass") == [(0, 8), (8, 12), (12, 15), (15, 20), (20, 25), (25, None)]
    assert [class_words(name) for name in ("0_8in", "8_12in", "25in_up")] == ["under 8 in", "8–12 in", "25 in and up"]


def test_figures_stand_in_columns_with_their_limits():
    found = [
        Finding("bass_final_length", "mm", 254.0, 228.6, None, 12, DAY, GEAR),
        Finding("bass_growth_rate", "a year", 0.5, None, None),
        Finding("bass_number_closed", "fish", 40.0, None, 1234.0, 3),
    ]
    assert list(text._table(found, "us")) == [
        "from        gear            figure              value  limits         unit",
        "2024-04-10  electrofishing  bass_final_length      10  9 to no limit  in      n 12",
        "                            bass_growth_rate      0.5                 a year",
        "                            bass_number_closed     40  ? to 1,230     fish    n 3",
    ]
    assert list(text._table([], "us")) == []
    metric = list(text._table(found[:1], "metric"))[1]
    assert "254  229 to no limit  mm" in metric


def test_a_table_of_figures_keeps_units_limits_and_counts():
    found = [Finding("bass_growth_8_12in", "mm a year", 25.4, 12.7, None, 0, note="x"), Finding("f", "%", 1e-9, 0.5, 99.123456)]
    rows = list(csv.reader(io.StringIO(text.assessment_csv(SimpleNamespace(findings=found)))))
    assert rows[0] == list(text.COLUMNS)
    assert rows[1] == ["", "", "", "bass_growth_8_12in", "in a year", "1", "0.5", "", "0", "x"]
    assert rows[2] == ["", "", "", "f", "%", "0", "0.5", "99.12", "", ""]


@pytest.mark.parametrize(("p_all", "said"), [(0.049, "a change"), (0.05, "may be chance")])
def test_a_change_is_one_below_one_in_twenty(p_all, said):
    change = Change("bass_psd", "%", GEAR, 20.4, 59.6, (100, 90), "shares", 0.0123, p_all)
    told = " ".join(" ".join(text._change(GEAR, "2023-04-10", [change], 366)).split())
    assert "bass_psd: 20 to 60 % (n 100, 90), shares p = 0.012, together" in told and told.endswith(f": {said}")
    assert "apart in the year" not in told and list(text._change(GEAR, "2023-04-10", [], 90)) == []


@pytest.mark.parametrize(("days", "apart"), [(45, 0), (46, 46), (365 + 46, 46), (365 - 46, 46), (365 - 45, 0), (182, 182)])
def test_seasons_are_told_apart_from_a_month_and_a_half_on(days, apart):
    change = Change("bass_psd", "%", GEAR, 20.0, 60.0, (100, 90), "shares", 0.01)
    told = " ".join(" ".join(text._change(GEAR, "2023-04-10", [change], days)).split())
    assert (f"taken {apart} days apart in the year" in told) if apart else ("apart in the year" not in told)


def test_readings_from_one_in_twenty_on_are_told_and_the_rest_together():
    def told(chances):
        pair = PairDoubt(GEAR, 40.4, 59.6, (12, 34), "balanced", chances)
        lines = " ".join(" ".join(text._pair(pair)).split())
        assert lines.startswith("Bass PSD 40 (12 of stock length), bluegill PSD 60 (34), by electrofishing: balanced.")
        return lines.partition("the chances are ")[2]

    under = "less than 1 of 10"
    assert told({"a": 0.9, "b": 0.05, "c": 0.049, "d": 0.001}) == f"9 of 10: a {under}: b {under}: another reading"
    assert told({"a": 0.996, "b": 0.004}) == "more than 9 of 10: a"  # half a hundredth is no other reading
    assert told({"a": 0.04, "b": 0.03}).startswith("less than 1 of 10: a more than 9 of 10: another reading")


def test_what_a_seine_says_is_told_with_its_hauls():
    from pondpop.assess.seining import SeiningReading

    found = SeiningReading(4, 0, 11.26, 0.24, "many", "few", "words", True)
    told = " ".join(" ".join(text._seining(found)).split())
    assert told.startswith(
        "4 seine hauls: no young bass, newly hatched bluegill many (11.3 a haul), intermediate bluegill few (0.2 a haul): words. "
    )
    assert "outside" not in told
    told = " ".join(" ".join(text._seining(replace(found, young_bass=3, in_season=False))).split())
    assert "3 young bass" in told and told.endswith("from June to September; this was outside.")


@pytest.mark.parametrize(("more", "said"), [(0.0, "known to ±10 points or better"), (1.0, "about 1 more outing on other"),
                                            (2.0, "about 2 more outings on other")])  # fmt: skip
def test_how_well_a_psd_is_known_is_told(more, said):
    at = {"date": DAY, "gear": GEAR, "species": "bass", "count": 50}
    part, empty = Finding("bass_psd_part_p_m", "%", 4.6, 0.4, 9.6, **at), Finding("bass_psd_part_t", "%", 0.0, 0.0, 5.0, **at)
    first = Finding("bass_psd_part_s_q", "%", 0.0, 0.0, 5.0, **at)
    few = Finding("bass_wr_8_12in", "%", 95.4, 90.4, 100.4, 4, DAY, GEAR, "bass")
    found = [
        psd("bass"), Finding("bass_psd_p", "%", 10.0, **at), first, part, empty,
        Finding("bass_psd_floor", "points", 12.6, **at, note="more fish would not tell PSD closer"),
        Finding("bass_more_outings_for_10_points", "outings", more, **at, note="on other days"), few,
        replace(few, quantity="bass_wr_12_15in", count=5),
        Finding("bass_wr_left_out", "fish", 2.0, **at, note="2 not weighed"),
    ]  # fmt: skip
    told = " ".join(" ".join(text._structure(found)).split())
    assert told.startswith("bass by electrofishing: PSD 50 (40–60), PSD-P 10 of 50 fish of stock length parts, limits of all ")
    assert "at once: S-Q 0 (0–5), P-M 5 (0–10) PSD: " in told and "T 0" not in told
    assert f"PSD: {said}" in told and "would not tell PSD closer than ±13 points, as fish" in told
    assert "Wr 8–12 in 95 (90–100, n 4, too few to judge by), 12–15 in 95 (90–100, n 5); left out: 2 not weighed" in told
    none = [replace(found[-1], value=0.0)]
    assert " ".join(text._structure(none)) == "bass by electrofishing: Wr of no fish"


# --- tags


def tagged(tag, date, event="tagged", length=None, species="bass", line=0):
    return TagEvent(line, tag, date, species, event, length, None)


def days_after(days, start=DAY):
    return start + dt.timedelta(days=days)


def test_fish_kept_within_a_year_are_counted_to_the_day():
    events = [tagged(name, DAY) for name in "abcd"]
    events += [tagged("a", days_after(365), "kept"), tagged("b", days_after(366), "kept"), tagged("c", days_after(1), "kept")]
    missing = []
    (found,) = kept_share("bass", events, days_after(365), missing)
    assert (found.value, found.count, found.date, missing) == (0.5, 4, DAY, [])
    assert 0.0 < found.low < 0.5 < found.high < 1.0 and found.note.startswith("2 of 4 tagged")
    assert list(kept_share("bass", events, days_after(364), missing)) == []
    assert missing == ["bass: the records end before the fish tagged in 2024 were at large for a year"]


def test_a_year_counts_as_over_when_its_last_tagged_fish_was_at_large_for_a_year():
    events = [tagged("a", DAY), tagged("b", days_after(30)), tagged("c", dt.date(2025, 4, 1))]
    missing = []
    assert list(kept_share("bass", events, days_after(394), missing)) == [] and len(missing) == 2
    (found,) = kept_share("bass", events, days_after(395), [])
    assert found.value == 0.0 and found.low == 0.0 and found.date == DAY


def measured(*rows, fish=()):
    """Increments of one fish measured so many days after the first (days, mm)."""
    tags = tuple(tagged("a", days_after(days), "tagged" if k == 0 else "recaptured", mm) for k, (days, mm) in enumerate(rows))
    return increments("bass", Records("", (), tuple(fish), (), (), tags, (), ()))


def test_a_spell_of_growth_begins_where_the_last_one_ended():
    pairs = measured((0, 250.0), (179, 260.0), (180, 270.0), (300, 280.0), (360, 290.0))
    assert list(zip(pairs.first_mm, pairs.second_mm, pairs.days, strict=True)) == [(250.0, 270.0, 180.0), (270.0, 290.0, 180.0)]
    assert list(pairs.mm_per_year) == pytest.approx([20.0 * 365.25 / 180] * 2)
    assert measured((0, 250.0), (179, 260.0)).days.size == 0


def test_lengths_of_a_survey_count_where_the_tag_sheet_has_none():
    def caught(days, mm, tag="a"):
        return Fish(0, days_after(days), GEAR, "bass", mm, None, 1, tag, None)

    pairs = measured((0, 250.0), (200, None), fish=[caught(200, 275.0), caught(0, 999.0), caught(200, 300.0, "of another")])
    assert (list(pairs.first_mm), list(pairs.second_mm)) == ([250.0], [275.0])  # the tag sheet's own length stands


def test_growth_is_told_by_length_at_marking_with_students_limits():
    pairs = SimpleNamespace(
        first_mm=np.array([250.0, 260.0, 304.8, 600.0]), days=np.full(4, 365.25), mm_per_year=np.array([30.0, 40.0, 9.0, 1.0]),
        second_mm=np.array([280.0, 300.0, 313.8, 601.0]),
    )  # fmt: skip
    found = {f.quantity: f for f in growth("bass", pairs, [])}
    small = found["bass_growth_8_12in"]
    assert (small.value, small.count, small.unit) == (35.0, 2, "mm a year")
    assert (small.low, small.high) == pytest.approx((35 - 12.7062 * 5, 35 + 12.7062 * 5), abs=0.01)  # t of one degree, s/√n = 5
    assert found["bass_growth_12_15in"].value == 9.0 and found["bass_growth_12_15in"].low is None
    assert found["bass_growth_20_25in"].value == 1.0 and "180 days or more at large" in small.note


def test_the_smallest_p_is_held_against_all_tests():
    assert holm([0.02, 0.5]) == pytest.approx([0.04, 0.5]) and holm([]) == []
    assert holm([0.5, 0.04, 0.04]) == pytest.approx([0.5, 0.12, 0.12])


# --- catch records


def trip(day, name, hours, species, kept, released):
    return Catch(0, day, name, hours, species, None, None, kept, released)


def test_catches_are_told_by_year_and_a_trip_counts_once():
    from pondpop.assess.creel import angler_findings

    rows = (
        trip(DAY, "1", 2.0, "bass", 2, 1), trip(DAY, "1", 2.0, "bluegill", 0, 7), trip(DAY, "2", 4.0, None, 0, 0),
        trip(dt.date(2025, 5, 1), "1", 1.0, "bass", 0, 0),
    )  # fmt: skip
    found = list(angler_findings(Records("", (), (), (), rows, (), (), ())))
    assert [(f.quantity, f.value, f.count) for f in found if f.date == DAY] == [
        ("angling_hours", 6.0, 2), ("bass_caught_per_hour", 0.5, 2), ("bass_kept_share", pytest.approx(2 / 3), 3),
        ("bluegill_caught_per_hour", pytest.approx(7 / 6), 2), ("bluegill_kept_share", 0.0, 7),
    ]  # fmt: skip
    assert [f.quantity for f in found if f.date != DAY] == ["angling_hours"]  # none were caught
    kept = {f.species: f for f in found if f.quantity.endswith("kept_share")}
    assert kept["bass"].note == "2 of 3 caught in 2024" and kept["bluegill"].low == 0.0 < kept["bluegill"].high < 1.0
    assert kept["bass"].low < 2 / 3 < kept["bass"].high


# --- what is missing


def test_what_records_lack_is_told_one_by_one():
    from pondpop.assess import _gaps
    from pondpop.records import BadRow, Effort
    from pondpop.records.surveys import surveys

    def gaps(fish=(), effort=(), catches=(), left_out=()):
        records = Records("", (), tuple(fish), tuple(effort), tuple(catches), (), tuple(left_out), ())
        return [gap.partition(":")[0] for gap in _gaps(records, surveys(records))]

    bass = Fish(2, DAY, GEAR, "bass", 250.0, None, 1, None, None)
    bluegill = replace(bass, species="bluegill", length_mm=120.0)
    seine, boat = Effort(2, DAY, "seine", 2.0, None, ("bass", "bluegill")), Effort(2, DAY, GEAR, 1.0, None, ("bass",))
    lost = BadRow("effort.csv", "effort.csv", 3, "", "")
    pair = "no survey has stock-length bass and bluegill from one gear"
    hauls, catches = "no seine hauls", "no catch records"
    assert gaps() == ["no survey fish", catches]
    assert gaps([bass]) == ["no fish was weighed", "no effort", hauls, pair, catches]
    assert gaps([bass], left_out=[lost])[1] == "every row of effort was left out"
    assert gaps([bass, bluegill], [boat]) == ["no fish was weighed", hauls, catches]
    assert gaps([replace(bass, weight_g=200.0), bluegill], [seine], [trip(DAY, "1", 1.0, None, 0, 0)]) == []


def test_a_change_of_condition_needs_two_fish_at_either_time():
    from pondpop.assess.size_and_condition import changes
    from pondpop.records.surveys import Survey

    def survey(day, count):
        fish = [Fish(k, day, GEAR, "bass", 250.0, 190.0 + 5 * k, 1, None, None) for k in range(count)]
        return Survey(day, day, tuple(fish), ())

    later = dt.date(2025, 4, 10)
    for before, now, told in ((2, 2, True), (1, 3, False), (3, 1, False)):
        found = [one.quantity for one in changes(survey(DAY, before), survey(later, now), GEAR)]
        assert ("bass_wr_8_12in" in found) == told and "bass_psd" in found


def test_a_share_of_few_fish_is_no_certainty_when_the_next_survey_is_planned(tmp_path):
    """None of three bass is of quality length: half of one of four, of 61 independent fish at best."""
    from pondpop.assess import assess_records

    rows = "".join(f"2024-04-10,electrofishing,bass,{mm}\n" for mm in (250, 260, 270))
    (tmp_path / "survey.csv").write_text("date,gear,species,length_mm\n" + rows)
    found = {f.quantity: f for f in assess_records(tmp_path).findings}
    assert found["bass_psd_floor"].value == pytest.approx(196 * (0.125 * 0.875 / 61) ** 0.5, rel=1e-3)
