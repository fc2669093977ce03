"""Tags, tables and advice of records made by hand, each figure worked out on paper."""

import datetime as dt
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from pondpop import assess
from pondpop.assess import size_and_condition, tags, text
from pondpop.assess.advice import advise
from pondpop.assess.beginning import beginning
from pondpop.assess.effort import Outings
from pondpop.assess.findings import Finding
from pondpop.assess.seining import seining
from pondpop.assess.size_and_condition import PairDoubt, Structure
from pondpop.observe.indices import PAIR_READINGS
from pondpop.observe.limits import share_of
from pondpop.records import BadRow, Catch, Effort, Fish, Records, TagEvent
from pondpop.records.surveys import Survey, surveys

DAY = dt.date(2024, 4, 10)
BOAT = "electrofishing"


def day(year, later=0):
    return dt.date(year, 4, 10) + dt.timedelta(days=later)


def fish(date, tag=None, mm=280.0, count=1, species="bass", gear=BOAT, weight=None, line=0):
    return Fish(line, date, gear, species, mm, weight, count, tag, None)


def event(tag, date, what="tagged", mm=None, species="bass"):
    return TagEvent(0, tag, date, species, what, mm, None)


def records(fish=(), effort=(), catches=(), tagged=(), left_out=(), notes=()):
    return Records("pond", (), tuple(fish), tuple(effort), tuple(catches), tuple(tagged), tuple(left_out), tuple(notes))


# --- tags: survivors and numbers


def opened(seen, kept=(), untagged=0, extra=()):
    """Findings and gaps of surveys in spring of 2023 to 2025 that saw these tags, of two days each."""
    rows = [fish(day(year), tag) for year, those in seen.items() for tag in those.split()]
    rows += [fish(day(year, 9), mm=280.0, count=max(1, untagged)) for year in seen if untagged]
    first = {}
    for one in rows:
        if one.tag:
            first.setdefault(one.tag, one.date)
    events = [event(tag, date) for tag, date in first.items()] + [event(tag, date, "kept") for tag, date in kept]
    missing = []
    found = list(tags.open_numbers("bass", events, surveys(records([*rows, *extra])), missing))
    return {(f.quantity.removeprefix("bass_"), f.date.year): f for f in found}, missing


SEEN = {2023: "A1 A2 A3 A4", 2024: "A1 A2 B1", 2025: "A1 A3 B1"}


@pytest.mark.parametrize(("later", "lost"), [(0, True), (9, True), (10, False), (-1, False)])
def test_a_fish_kept_on_a_day_of_the_survey_is_not_among_those_let_go(later, lost):
    """Of three let go in 2024 two are seen again and A3 was passed by; with A2 kept, three become two."""
    found, _ = opened(SEEN, [("A2", day(2024, later))], untagged=4)
    marked = 2 + ((2 if lost else 3) + 1) * 1 / (2 + 1)
    assert found["number_open", 2024].value == pytest.approx(marked * (7 + 1) / (2 + 1))
    assert found["number_open", 2024].count == 3
    assert found["survival_per_year", 2023].value == pytest.approx((marked / 4) ** (365.25 / 366))


def test_survival_above_one_is_chance_and_told_so():
    """Four let go in 2024, one of them seen again, and two passed by: 1 + 5 · 2/2 = 6 marked fish alive of four."""
    found, _ = opened({2023: "A1 A2 A3 A4", 2024: "A1 B1 B2 B3", 2025: "A2 A3 B1"})
    above = found["survival_per_year", 2023]
    assert (above.value, above.high, above.count) == (1.0, 1.0, 4) and "; came out above 1, by chance;" in above.note
    assert above.low is None or 0.0 <= above.low <= 1.0
    assert "tagged fish, 1.00 years; Jolly–Seber" in above.note
    found, _ = opened(SEEN)
    assert "above 1" not in found["survival_per_year", 2023].note
    everyone = dict.fromkeys(SEEN, "A1 A2 A3 A4")  # who are all alive came out at 1, not above it
    assert opened(everyone)[0]["survival_per_year", 2023].value == 1.0
    assert "above 1" not in opened(everyone)[0]["survival_per_year", 2023].note


def test_why_survival_is_not_told():
    assert opened({2023: "A1 A2", 2024: "B1 B2", 2025: "C1"})[1] == [
        "bass: too few tagged fish were seen again to tell survival"
    ]
    assert opened(SEEN)[1] == []
    assert opened({2023: "A1 A2", 2024: "A1"})[1] == [
        "bass: survival from recaptures needs three surveys with fish of taggable length, not 2"
    ]
    nobody = [fish(day(2025), mm=290.0)]
    assert opened({2023: "A1 A2", 2024: "A1"}, extra=nobody)[1] == [
        "bass: survival from recaptures needs three surveys with tagged fish, not 2"
    ]
    rows = [fish(day(year)) for year in SEEN]
    missing = []
    assert list(tags.open_numbers("bass", [event("A1", day(2023))], surveys(records(rows)), missing)) == []
    assert missing == ["bass: no tags are named in survey.csv, so recaptures cannot be told from the other fish"]


def test_surveys_before_the_first_tag_are_none_of_those_in_which_tags_were_looked_for():
    early = [fish(day(2020), "A1"), fish(day(2021), "A2")]
    plain, _ = opened(SEEN)
    rows = [*early, *(fish(day(year), tag) for year, those in SEEN.items() for tag in those.split())]
    events = [event(tag, day(2024 if tag == "B1" else 2023)) for tag in ("A1", "A2", "A3", "A4", "B1")]
    found = list(tags.open_numbers("bass", events, surveys(records(rows)), []))
    assert [(f.date.year, f.value) for f in found] == [(f.date.year, f.value) for f in plain.values()]


def test_the_shortest_tagged_fish_says_from_which_length_on_fish_are_counted():
    """Neither a length at recapture, nor one of another species or day, is one at which a fish was tagged."""
    events = [event("A1", DAY, mm=300.0), event("A2", DAY), event("A1", day(2024, 5), "recaptured", 100.0)]
    measured = (
        fish(DAY, "A2", 290.0),
        fish(day(2024, 5), "A2", 110.0),
        fish(DAY, "A2", 120.0, species="bluegill"),
        fish(DAY, mm=90.0),
    )
    assert tags._shortest_tagged("bass", events, measured) == 290.0
    assert tags._shortest_tagged("bass", events[:1], measured) == 300.0
    assert tags._shortest_tagged("bass", [], measured) == 0.0
    one = Survey(DAY, DAY, (fish(DAY, mm=290.0), fish(DAY, mm=289.9), fish(DAY, mm=400.0, species="bluegill")), ())
    assert [f.length_mm for f in tags._long_enough(one, "bass", 290.0)] == [290.0]


def test_numbers_of_three_days_are_schnabels():
    """Caught 4, 5 and 6, at large 0, 4 and 5 (B1 was kept when it was caught, A1 the day after), of them 2 and 3 seen again."""
    days = {0: "A1 A2 A3 A4", 3: "A1 A2 B1 B2 B3", 6: "A3 A4 B2 C1 C2 C3", 9: ""}
    rows = [fish(day(2024, k), tag) for k, those in days.items() for tag in those.split()]
    first = {}
    for one in rows:
        first.setdefault(one.tag, one.date)
    kept = [event("B1", day(2024, 3), "kept"), event("A1", day(2024, 4), "kept")]
    events = [event(tag, date) for tag, date in first.items()] + kept
    (found,) = tags.closed_numbers("bass", events, surveys(records(rows)))
    assert found.value == pytest.approx((5 * 4 + 6 * 5) / (2 + 3 + 1))
    assert found.count == 5 and "Schnabel 1938" in found.note and "fish of 280 mm (11.0 in) and more" in found.note
    assert "fewer than 7 seen again: it may be far off" in found.note
    assert list(tags.closed_numbers("bass", events[:4], surveys(records(rows[:4])))) == []  # of one day


def test_growth_that_gives_no_curve_says_why():
    pairs = tags.Increments(np.array([250.0, 260.0]), np.array([280.0, 300.0]), np.full(2, 365.25))
    missing = []
    found = [f.quantity for f in tags.growth("bass", pairs, missing)]
    assert found == ["bass_growth_8_12in"]
    assert missing == ["bass: a growth curve needs ten or more fish measured twice, not 2"]
    missing = []
    assert list(tags.growth("shad", tags.Increments(*np.zeros((3, 0))), missing)) == []
    assert missing == ["shad: no fish was measured twice 180 days or more apart, so no growth from tags"]
    shad = [f.quantity for f in tags.growth("shad", pairs, [])]
    assert shad == ["shad_growth_0in_up"]  # a species without published classes has one


# --- size, condition, catch rates


def test_more_outings_are_counted_from_those_that_were():
    """Each of two outings of ten fish is worth 10 · 61/70, a further one of fifty 50 · 61/110; 96 are wanted at PSD 50."""
    parts = np.array([[5, 5, 0, 0, 0]] * 2)
    at = {"date": DAY, "gear": BOAT, "species": "bass", "count": 20}
    floor, more = size_and_condition._precision(Structure(parts, np.full(2, 60.0)), "bass", at)
    assert pytest.approx(2.83, abs=0.01) == (96.04 - 2 * 10 * 61 / 70) / (50 * 61 / 110) and more.value == 3
    assert "on other days of 50 fish" in more.note and "of these 2 outings would not" in floor.note
    assert floor.value == pytest.approx(196 * (0.25 / 122) ** 0.5, abs=0.01)
    many = Structure(np.array([[60, 60, 0, 0, 0]] * 2), np.full(2, 60.0))
    assert (
        "of 120 fish" in list(size_and_condition._precision(many, "bass", at))[1].note
    )  # as many as an outing brought
    alone = Structure(np.array([[5, 5, 0, 0, 0]]), np.full(1, 60.0))
    assert "of this outing would not" in next(iter(size_and_condition._precision(alone, "bass", at))).note


def test_limits_of_parts_hold_for_all_five_at_once():
    rows = tuple(fish(DAY, mm=mm, count=n) for mm, n in ((250.0, 30), (350.0, 15), (450.0, 5)))
    found = {f.quantity: f for f in size_and_condition.size_structure(Survey(DAY, DAY, rows, ()), BOAT, "bass")}
    seen = size_and_condition.structure(Survey(DAY, DAY, rows, ()), BOAT, "bass")
    for k, name in enumerate(("s_q", "q_p", "p_m", "m_t", "t")):
        part, mine = found[f"bass_psd_part_{name}"], seen.parts[:, k]
        wanted = share_of(mine, seen.parts.sum(axis=1), seen.concentration).limits(0.99)  # 0.05 among five
        assert (part.low, part.high) == pytest.approx(tuple(100 * x for x in wanted)), name
    assert [found[f"bass_psd{end}"].value for end in ("", "_p", "_m", "_t")] == [40.0, 10.0, 0.0, 0.0]
    for k, end in enumerate(("", "_p", "_m", "_t"), 1):  # each by itself
        wanted = share_of(seen.parts[:, k:].sum(axis=1), seen.parts.sum(axis=1), seen.concentration).limits()
        whole = found[f"bass_psd{end}"]
        assert (whole.low, whole.high) == pytest.approx(tuple(100 * x for x in wanted)), end


@pytest.mark.parametrize(("many", "few"), [(4, True), (5, False)])
def test_a_mean_of_five_weighed_fish_has_no_warning(many, few):
    rows = tuple(fish(DAY, weight=250.0) for _ in range(many))
    mean, left_out = size_and_condition.conditions(Survey(DAY, DAY, rows, ()), BOAT, "bass")
    assert (mean.note == "too few to judge by") == few and mean.count == many and left_out.value == 0
    assert list(size_and_condition.conditions(Survey(DAY, DAY, (fish(DAY),), ()), BOAT, "bass")) == []
    short = Survey(DAY, DAY, (fish(DAY, mm=60.0, weight=3.0),), ())
    (alone,) = size_and_condition.conditions(short, BOAT, "bass")
    assert alone.value == 1 and alone.note.startswith("0 not weighed, 1 shorter than the 150 mm")


def test_rates_are_by_the_haul_of_a_seine_and_of_stock_only_where_there_is_such_a_length():
    rows = (
        fish(DAY, mm=60.0, count=9, gear="seine"),
        fish(DAY, mm=203.2, gear="seine"),
        fish(DAY, mm=90.0, species="shad", gear="seine"),
    )
    one = Survey(DAY, DAY, rows, (Effort(0, DAY, "seine", 5.0, None, ("bass", "shad")),))
    bass = {f.quantity: (f.value, f.unit, f.count) for f in size_and_condition.catch_rates(one, "seine", "bass")}
    assert bass == {"bass_caught_per_haul": (2.0, "per haul", 10), "bass_stock_caught_per_haul": (0.2, "per haul", 1)}
    assert [f.quantity for f in size_and_condition.catch_rates(one, "seine", "shad")] == ["shad_caught_per_haul"]
    assert list(size_and_condition.catch_rates(one, "seine", "bluegill")) == []


def test_the_pair_is_read_from_electrofishing_where_it_has_both_and_else_from_angling():
    def read(*kinds):
        rows = [fish(DAY, mm=mm, species=species, gear=gear) for gear, species, mm in kinds]
        found = size_and_condition.pair(Survey(DAY, DAY, tuple(rows), ()))
        return found and found.gear

    bass, bluegill = ("bass", 250.0), ("bluegill", 130.0)
    boat, hooks = [(BOAT, *bass), (BOAT, *bluegill)], [("angling", *bass), ("angling", *bluegill)]
    assert read(*boat, *hooks) == BOAT and read(*boat[:1], *hooks) == "angling"
    assert read(*boat[:1], *hooks[1:]) is None and read((BOAT, "bass", 203.1), boat[1]) is None  # under stock length


def test_outings_agree_or_not_from_three_fish_expected_on_each():
    assert Outings(np.array([3.0, 3.0]), np.array([1.0, 1.0]), 0.35).agreement() == pytest.approx(1.0)
    assert Outings(np.array([2.0, 3.0]), np.array([1.0, 1.0]), 0.35).agreement() is None
    apart = Outings(np.array([400.0, 10.0]), np.array([1.0, 1.0]), 0.35)
    assert (
        ": 10 to 400 per hour from outing" in (words := apart.disagreement("bass", "hour"))
        and "p under 0.001)" in words
    )
    assert Outings(np.array([4.0]), np.array([1.0]), 0.35).words("hour").startswith("one outing of 1 hour;")
    assert apart.words("hour").startswith("2 hours on 2 outings pooled; limits from their scatter")
    assert (
        Outings(np.array([4.0]), np.array([65 / 60]), 0.35).words("hour").startswith("one outing of 1.08 hours;")
    )
    assert (
        Outings(np.array([4.0]), np.array([1.5]), 0.35)
        .words("hour")
        .startswith("one outing of 1.5 hours; limits rest on")
    )


def test_the_youngest_bass_of_a_seine_are_young_bass():
    rows = (fish(DAY, mm=15.0, gear="seine", count=3), fish(DAY, mm=10.0, gear="seine", count=40, species="bluegill"))
    found = seining(Survey(DAY, DAY, rows, (Effort(0, DAY, "seine", 4.0, None, ("bass", "bluegill")),)))
    assert (found.young_bass, found.hatched_per_haul, found.hatched, found.intermediate) == (3, 10.0, "many", "none")
    one = (fish(DAY, mm=15.0, gear="seine"), rows[1])  # a single one says that bass spawned
    again = seining(Survey(DAY, DAY, one, (Effort(0, DAY, "seine", 4.0, None, ("bass", "bluegill")),)))
    assert (again.young_bass, again.words) == (1, found.words) and again.words.startswith("both spawn")


def test_what_a_seine_says_stands_in_the_survey_before_its_figures():
    rows = [fish(DAY, mm=15.0, gear="seine", count=3), fish(DAY, mm=15.0, gear="seine", count=40, species="bluegill")]
    told = assess.assess_records(records(rows, [Effort(0, DAY, "seine", 4.0, None, ("bass", "bluegill"))]))
    lines = list(text._survey(told.surveys[0], "us"))
    assert lines[2].startswith("4 seine hauls: 3 young bass, newly hatched bluegill many (10.0 a haul)")
    whole = text.assessment_text(told).splitlines()  # parts stand apart
    assert whole[whole.index("Survey of 2024-04-10") - 1] == whole[whole.index("What these records cannot tell") - 1] == ""
    assert whole[whole.index("Limits are of 95 %.") - 1] == ""


def test_the_table_of_a_survey_stands_before_its_notes():
    told = assess.assess_records(records([fish(DAY)], [Effort(0, DAY, BOAT, 1.0, None, ("bass",))])).surveys[0]
    lines = list(text._survey(told, "us"))
    table, notes = (lines.index(next(iter(part))) for part in (
        text._table([f for f in told.findings if not text._compact(f)], "us"), text._notes(told.findings)
    ))  # fmt: skip
    assert table < notes


def test_as_much_is_told_as_a_screen_holds():
    lost = SimpleNamespace(records=records([fish(DAY)]), advice=lambda units: None, missing=[f"gap {k}" for k in range(40)])
    lines = text.assessment_answer(lost).splitlines()
    gaps = [line for line in lines if line.startswith("- gap")]
    assert len(lines) == 24 and gaps == [f"- gap {k}" for k in range(len(gaps))] and lines[-2].startswith("1 survey fish")


def test_a_fish_on_the_bound_of_a_class_is_in_it():
    lengths = np.array([8 * 25.4, 12 * 25.4])
    assert size_and_condition.within(lengths, 8, 12).tolist() == [True, False]
    assert size_and_condition.within(lengths, 12, None).tolist() == [False, True]


# --- surveys one after another


def test_a_survey_is_held_against_the_last_one_of_its_gear_that_saw_game():
    boat = [fish(day(year)) for year in (2022, 2023, 2024)]
    kinds = (("angling", 2021), ("angling", 2024), ("seine", 2023), ("seine", 2024))
    others = [fish(day(year), gear=gear) for gear, year in kinds]
    rows = [*boat, *others, fish(day(2023, 60), species="shad", mm=90.0)]
    found = assess.assess_records(records(rows))
    assert found.surveys[-1].compared_with == {BOAT: day(2023), "angling": day(2021)}
    assert [s.compared_with for s in found.surveys[:2]] == [{}, {}] and len(found.surveys) == 5
    assert found.surveys[2].length_frequency.keys() == {(BOAT, "bass"), ("seine", "bass")}
    assert not any("psd" in f.quantity for f in found.findings if f.gear == "seine")


def test_what_is_advised_is_that_of_the_last_survey_with_both_psds():
    both = [fish(day(2023), count=40), fish(day(2023), mm=130.0, species="bluegill", count=40)]
    large = [fish(day(2024), mm=350.0, count=40), fish(day(2024), mm=160.0, species="bluegill", count=40)]
    advice = assess.assess_records(records([*both, *large, fish(day(2025))])).advice()
    assert advice.survey == day(2024)
    assert assess.assess_records(records([*both, fish(day(2025))])).advice().survey == day(2023)


def test_a_survey_is_headed_by_its_days():
    for last, title in ((DAY, "Survey of 2024-04-10"), (day(2024, 5), "Survey of 2024-04-10 to 2024-04-15")):
        (one,) = assess.assess_records(records([fish(DAY), fish(last)])).surveys
        lines = list(text._survey(one, "us"))
        assert lines[:2] == [title, "-" * len(title)]


def test_a_beginning_tells_hauls_of_a_seine_and_hours_of_the_others_and_water_only_where_it_was_measured():
    rows = [fish(DAY, mm=60.0, gear="seine", count=30)]
    hauls = beginning(records(rows, [Effort(0, DAY, "seine", 4.0, None, ("bass",))]))
    assert "\nhauls = 4\n" in hauls and "hours" not in hauls and "water_c" not in hauls
    assert hauls.startswith("# The survey of 2024-04-10 by seine; let the run start on that day.")
    boat = [fish(DAY, mm=260.0, count=30), fish(day(2024, 3), mm=260.0)]
    hours = beginning(records(boat, [Effort(0, day(2024, 3 * k), BOAT, 1.25, 18.04, ("bass",)) for k in (0, 1)]))
    assert (
        "\nhours = 2.5\nwater_c = 18.0\n" in hauls.replace("hauls", "hours")
        or "\nhours = 2.5\nwater_c = 18.0\n" in hours
    )
    assert hours.startswith("# The survey of 2024-04-10 to 2024-04-13 by electrofishing;") and "count = 31" in hours


# --- words


@pytest.mark.parametrize(("low", "high", "told"), [(40.4, 59.6, "50 (40–60)"), (None, 59.6, "50"), (40.4, None, "50")])
def test_limits_stand_where_there_are_two(low, high, told):
    assert text._with_limits(Finding("bass_psd", "%", 50.2, low, high)) == told


STEPS = {
    ("low", "high"): ("Take out bass under", "A crowded pond may need", "From April to October", "Put back bass of",
                      "Bluegill of 3 to 6 in were few", "Expect years, not months: after four years"),
    ("high", "low"): ("Take out no bass, and put in bass", "Take out bluegill, the small ones", "Seine between June and Sep"),
    ("middle", "middle"): ("Hold it there", "From April to October", "Put back bass of 12 to 15 in", "Bluegill: at most"),
    ("low", "low"): ("Find out why before fish are taken out", "Until then take out no more bass"),
    ("low", "middle"): ("Weigh 30 bass of 8 to 12 in", "Until then take out no more bass"),
    ("high", "high"): ("Seine between June and September for young bass", "Until then take out no more bass"),
}  # fmt: skip


def advised(levels, *given, chance=1.0):
    every = dict.fromkeys(PAIR_READINGS.values(), 0.0)
    every[PAIR_READINGS[levels]] = chance
    psds = tuple(
        Finding(f"{species}_psd", "%", 50.0, 40.0, 60.0, 50, DAY, BOAT, species) for species in ("bass", "bluegill")
    )
    return advise(DAY, PairDoubt(BOAT, 50.0, 50.0, (50, 50), "", every), (*psds, *given))


@pytest.mark.parametrize("levels", STEPS)
def test_each_state_has_its_steps_one_by_one_each_with_its_origin(levels):
    steps = advised(levels).steps
    assert len(steps) == len(STEPS[levels])
    for step, opening in zip(steps, STEPS[levels], strict=True):
        assert step.startswith(opening) and step.endswith(".")
        assert any(
            w in step for w in ("Extension", "agencies", "Oklahoma", "Gabelhouse", "common practice", "our reading")
        ), step


def test_bass_fished_hard_are_put_back_and_surveyed_again():
    fat = Finding("bass_wr_8_12in", "%", 104.0, 100.0, 108.0, 30, DAY, BOAT, "bass")
    put_back, again = advised(("low", "middle"), fat).steps
    assert put_back.startswith("Put back all bass for two years") and again == "Then survey again."
    other = replace(fat, gear="angling")  # the condition of fish of another gear says nothing of these
    assert advised(("low", "middle"), other).state == "bass small"
    unsure = advised(("low", "middle"), fat, chance=0.6)
    assert unsure.steps[1] == "Until then take out no bass." and len(unsure.steps) == 2


@pytest.mark.parametrize(("wr", "levels", "fits"), [
    (85.0, ("low", "high"), ": thin, as crowded bass are"),
    (105.0, ("low", "high"), ": well fed, which does not fit crowded bass"),
    (85.0, ("high", "low"), ": thin, which does not fit crowded bluegill"), (105.0, ("high", "low"), ": well fed"),
    (85.0, ("high", "high"), ": thin, as where little forage is left"),
    (105.0, ("low", "middle"), ": well fed, as where bass are few"),
])  # fmt: skip
def test_condition_is_told_for_or_against_the_state(wr, levels, fits):
    seen = Finding("bass_wr_8_12in", "%", wr, wr - 4, wr + 4, 30, DAY, BOAT, "bass")
    assert advised(levels, seen).why[-1].endswith(fits)


def slips(*reasons):
    return [BadRow("survey.csv", "survey.csv", 2 + k, reason, reason) for k, reason in enumerate(reasons)]


@pytest.mark.parametrize(
    ("number", "rest"), [(4, ""), (5, "and rows for 1 other reason, see"), (6, "and rows for 2 other reasons, see")]
)
def test_four_reasons_for_lost_rows_are_shown_and_the_others_counted(number, rest):
    lost = slips(*(f'species: got "{letter}"' for letter in "abcdef"[:number]), 'species: got "a"')
    answer = text.assessment_answer(assess.assess_records(records([fish(DAY)], left_out=lost)))
    told = " ".join(answer.split())
    assert told.startswith(f'Left out, {number + 1} rows: survey.csv, line 2: species: got "a" (2 such rows')
    assert [f'got "{letter}"' in told for letter in "abcdef"] == [True] * 4 + [False] * 2
    assert (rest in told) if rest else ("other reason" not in told)


def test_of_a_long_reason_that_is_not_the_first_120_letters_are_told():
    lost = slips('species: got "a"', 'species: got "a"', "x" * 300)
    told = "".join(text.assessment_answer(assess.assess_records(records([fish(DAY)], left_out=lost))).split())
    assert f"alsosurvey.csv,line4:{'x' * 99}…" in told


@pytest.mark.parametrize("notes", [0, 1, 2, 3])
def test_what_is_odd_is_named_once_and_counted(notes):
    found = assess.assess_records(records([fish(DAY)], notes=[f"note {k}" for k in range(notes)]))
    told = " ".join(text.assessment_answer(found).split())
    assert ("Odd" in told) == (notes > 0) and (f"Odd ({notes - 1} more: --details): note 0." in told) == (notes > 1)
    assert ("Odd: note 0." in told) == (notes == 1) and "note 1" not in told


def test_words_are_broken_at_80_letters_on_the_screen_of_24_lines_and_at_100_in_the_text():
    found = assess.assess_records(records([fish(DAY)], notes=["abc " * 2000]))
    screen, whole = (words(found).splitlines() for words in (text.assessment_answer, text.assessment_text))
    broken = [max(len(line) for line in lines if set(line) == set("abc ")) for lines in (screen, whole)]
    assert broken == [77, 97] and len(screen) == 24  # with one word more they were of 81 and of 101


def test_fish_trips_days_and_tags_are_counted():
    rows = [fish(DAY, count=3), fish(DAY)]
    trips = [Catch(0, DAY, "1", 1.0, s, None, None, 0, 1) for s in ("bass", "bluegill")] + [
        Catch(0, DAY, "2", 1.0, None, None, None, 0, 0)
    ]
    worked = [Effort(0, DAY, BOAT, 1.0, None, ("bass",))]
    found = assess.assess_records(
        records(rows, worked, trips, [event("A1", DAY), event("A1", day(2024, 1), "recaptured")])
    )
    assert "4 survey fish, 1 day of effort by gear, 2 angling trips, 1 tag" in text.assessment_text(found)
    assert "4 survey fish, 2 angling trips read. --details" in " ".join(text.assessment_answer(found).split())
    two = assess.assess_records(records(rows, worked * 2))
    assert "2 days of effort by gear, 0 angling trips, 0 tags" in text.assessment_text(two)
    one = assess.assess_records(records(rows, catches=trips[:1], tagged=[event("A1", DAY), event("A2", DAY)]))
    assert "1 angling trip, 2 tags" in text.assessment_text(one) and "1 angling trip read." in text.assessment_answer(
        one
    )
    assert "Odd" not in text.assessment_answer(two) and "Left out" not in text.assessment_text(two)


def test_a_note_that_figures_share_is_told_once():
    shared = [Finding(name, "x", 1.0, note=note) for name, note in (("a", "n"), ("b", ""), ("c", "m"), ("d", "n"))]
    assert list(text._notes(shared)) == ["  a, d: n", "  c: m"]


def test_notes_on_tags_stand_under_their_table_and_those_on_catches_do_not():
    found = assess.assess_records(records([fish(DAY)]))
    kept, tagged = (Finding(name, "x", 1.0, note=f"why of {name}") for name in ("share_kept", "tag_returns"))
    told = text.assessment_text(replace(found, anglers=(kept,), tags=(tagged,)))
    catches, tags_told = told.split("\nCatch records\n")[1].split("\nTags\n")
    assert "tag_returns: why of tag_returns" in tags_told and "why of share_kept" not in catches + tags_told
