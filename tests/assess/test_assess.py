"""Assessments: figures checked by hand, readings, tests of change, plain answers to poor records."""

import csv
import io
import re
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from pondpop.assess import assess_records, assessment_csv, assessment_text
from pondpop.assess.effort import Outings
from pondpop.assess.seining import reading
from pondpop.assess.size_and_condition import holm
from pondpop.cli import main
from pondpop.observe.indices import standard_weight
from pondpop.records import COLUMNS, read_records

SHIPPED = Path(__file__).parents[2] / "scenarios" / "records"
SURVEY = "date,gear,species,length_mm,weight_g,count,tag\n"
EFFORT = "date,gear,hours,hauls,species_sought\n"
CATCHES = "date,trip,hours,species,shortest_in,longest_in,kept,released\n"
TAGS = "tag,date,species,event,length_mm,weight_g\n"


@pytest.fixture
def judged(tmp_path):
    def write(**files):
        for name, text in files.items():
            (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
        return assess_records(read_records(tmp_path, strict=True))

    return write


def figures(assessment, date=None):
    return {f.quantity: f for f in assessment.findings if date is None or str(f.date) == date}


def fish(date, species, length, count=1, weight="", tag="", gear="electrofishing"):
    return f"{date},{gear},{species},{length},{weight},{count if count > 1 else ''},{tag}\n"


def test_size_structure_by_hand(judged):
    rows = (
        fish("2024-04-10", "bass", 250, 60)
        + fish("2024-04-10", "bass", 304.8, 30)
        + fish("2024-04-10", "bass", 400, 10)
    )
    found = figures(judged(survey=SURVEY + rows + fish("2024-04-10", "bass", 203, 55)))
    psd = found["bass_psd"]
    assert (psd.value, psd.count) == (40, 100)  # 203 mm is under stock, 304.8 mm is quality
    # 100 of the 155 fish caught: an outing is worth 60 · 100/155 independent ones, and those 100 fish 28.4
    limits = 100 * stats.beta.ppf([0.025, 0.975], 0.4 * 28.4 + 0.5, 0.6 * 28.4 + 0.5)
    assert (psd.low, psd.high) == pytest.approx(tuple(limits), abs=1.5)
    assert found["bass_psd_p"].value == 10 and found["bass_psd_m"].value == 0
    parts = [found[f"bass_psd_part_{p}"] for p in ("s_q", "q_p", "p_m", "m_t", "t")]
    assert [p.value for p in parts] == [60, 30, 10, 0, 0]
    assert parts[0].low < 100 - psd.high - 3  # limits of all at once are wider than those of one


def test_parts_that_hold_all_or_none_are_told_to_the_end_of_the_scale(judged):
    found = judged(survey=SURVEY + fish("2024-04-10", "bass", 350, 40))
    told = figures(found)
    assert told["bass_psd_part_q_p"].high == 100 and told["bass_psd_part_s_q"].low == told["bass_psd_part_t"].low == 0
    parts = " ".join(assessment_text(found).split()).partition("limits of all at once: ")[2]
    assert parts.startswith("S-Q 0 (0–") and ", Q-P 100 (" in parts and "P-M 0" not in parts and "M-T 0" not in parts


def test_no_number_of_fish_is_promised_to_tell_what_it_cannot(judged):
    """Of one outing PSD 50 is known to ±12.5 points at best (60 independent fish); other days are what helps."""
    rows = fish("2024-04-10", "bass", 250, 500) + fish("2024-04-10", "bass", 350, 500)
    found = judged(survey=SURVEY + rows)
    floor, more = (figures(found)[f"bass_{name}"] for name in ("psd_floor", "more_outings_for_10_points"))
    assert floor.value == pytest.approx(100 * 1.96 * (0.25 / 61) ** 0.5, abs=0.01)
    assert more.value == 1 and "other days" in more.note  # 96 independent fish wanted, 57.6 on each such outing
    text = " ".join(assessment_text(found).split())
    assert "about 1 more outing on other days of 1000 fish of stock length each would bring ±10" in text
    assert "more fish of this outing would not tell PSD closer than ±13 points" in text
    few = figures(judged(survey=SURVEY + fish("2024-04-10", "bass", 250) + fish("2024-04-10", "bass", 350)))
    # of two fish nothing follows: outings of 50 fish are counted on, 27.7 independent ones each
    assert few["bass_more_outings_for_10_points"].value == 4 and "of 50 fish" in few["bass_more_outings_for_10_points"].note
    again = rows + rows.replace("04-10", "04-12")
    wide, narrow = (figures(judged(survey=SURVEY + r))["bass_psd"] for r in (rows, again))
    assert narrow.high - narrow.low < 0.75 * (wide.high - wide.low)
    assert figures(judged(survey=SURVEY + again))["bass_more_outings_for_10_points"].value == 0


def test_a_tagged_fish_of_two_days_counts_once(judged):
    rows = fish("2024-04-10", "bass", 250, tag="A1") + fish("2024-04-20", "bass", 251, tag="A1")
    found = judged(survey=SURVEY + rows, tags=TAGS + "A1,2024-04-10,bass,tagged,250,\n")
    assert figures(found)["bass_psd"].count == 1 and len(found.surveys) == 1


def test_fish_caught_again_are_told_where_the_counts_differ(judged):
    rows = fish("2024-04-10", "bass", 250, tag="A1") + fish("2024-04-10", "bass", 150, tag="A2")
    rows += fish("2024-04-20", "bass", 251, tag="A1") + fish("2024-04-20", "bass", 151, tag="A2")
    worked = "2024-04-10,electrofishing,1,,bass\n2024-04-20,electrofishing,1,,bass\n"
    found = judged(survey=SURVEY + rows, effort=EFFORT + worked)
    told = figures(found)
    psd, stock, every = (told[f"bass_{name}"] for name in ("psd", "stock_caught_per_hour", "caught_per_hour"))
    assert "1 of them caught again" in psd.note  # the other is under stock length
    assert stock.count == 2 and "1 tagged fish caught again" in stock.note
    assert every.count == 4 and "2 tagged fish caught again" in every.note
    text = " ".join(assessment_text(found, "us").split())
    assert "(1 of them caught again in this survey, counted once)" in text
    assert "bass_caught_per_hour: 2 hours on 2 outings pooled" in text
    assert "bass_psd" not in text  # which stands in a line of the species


def test_outings_that_differ_more_than_chance_are_told(judged):
    def words(second):
        rows = fish("2024-04-10", "bass", 250, 49) + fish("2024-04-20", "bass", 250, second)
        worked = "2024-04-10,electrofishing,1.5,,bass\n2024-04-20,electrofishing,1.5,,bass\n"
        return " ".join(assessment_text(judged(survey=SURVEY + rows, effort=EFFORT + worked), "us").split())

    assert "6.67 to 32.7 per hour from outing to outing, further apart than days usually are" in words(10)
    assert "further apart than days" not in words(25)


def test_relative_weight_by_class_with_limits_and_the_fish_left_out(judged):
    lengths, factors = [250, 260, 270, 340], [0.8, 0.9, 1.0, 1.1]
    rows = "".join(
        fish("2024-04-10", "bass", length, weight=f"{factor * float(standard_weight(length, 'bass')):.6f}")
        for length, factor in zip(lengths, factors, strict=True)
    )
    rows += fish("2024-04-10", "bass", 120, weight=20) + fish("2024-04-10", "bass", 280, 3)
    found = figures(judged(survey=SURVEY + rows))
    small, large = found["bass_wr_8_12in"], found["bass_wr_12_15in"]
    assert (small.value, small.count, large.value) == pytest.approx((90, 3, 110), abs=1e-4)
    # the assumed spread of 8 % counts as ten fish beside the two degrees of freedom of the three; 2 % are shared
    spread = (10 * 8**2 + 2 * 10**2) / 12
    variance, freedom = spread / 3 + 2**2, 12 * (1 + 2**2 / (spread / 3)) ** 2
    assert (small.low, small.high) == pytest.approx(stats.t.interval(0.95, freedom, 90, variance**0.5), abs=1e-3)
    assert large.high - large.low > 30  # one fish tells little, but something
    assert small.note == "too few to judge by"
    text = " ".join(assessment_text(judged(survey=SURVEY + rows), "us").split())
    assert "n 3, too few to judge by)" in text and "bass_wr" not in text and "_more_outings" not in text
    assert found["bass_wr_left_out"].value == 4 and "3 not weighed, 1 shorter" in found["bass_wr_left_out"].note


def test_catch_rates_need_an_effort_and_a_species_taken_up(judged):
    rows = fish("2024-04-10", "bass", 250, 12) + fish("2024-04-10", "bass", 150, 8) + fish("2024-05-30", "bass", 250, 5)
    rows += fish("2024-04-12", "bass", 250, 90)  # another day of the same survey, its effort unknown
    found = judged(survey=SURVEY + rows, effort=EFFORT + "2024-04-10,electrofishing,0.5,,bass\n")
    first = figures(found, "2024-04-10")
    assert first["bass_caught_per_hour"].value == 40 and first["bass_stock_caught_per_hour"].value == 24
    assert first["bass_caught_per_hour"].low < 20 and first["bass_caught_per_hour"].high > 120  # one outing
    assert "bluegill_caught_per_hour" not in first and "bass_caught_per_hour" not in figures(found, "2024-05-30")


def test_a_species_sought_and_not_found_is_a_zero(judged):
    found = figures(judged(effort=EFFORT + "2024-04-10,electrofishing,1,,\n"))
    assert found["bluegill_caught_per_hour"].value == 0 and found["bluegill_caught_per_hour"].high > 3


def test_balance_ratios_only_when_all_fish_are_weighed(judged, tmp_path):
    rows = fish("2024-04-10", "bass", 300, weight=400) + fish("2024-04-10", "bluegill", 160, weight=80)
    rows += fish("2024-04-10", "bluegill", 60, weight=4) * 6
    effort = EFFORT + "2024-04-10,electrofishing,1,,\n"
    found = figures(judged(survey=SURVEY + rows, effort=effort))
    assert found["forage_carnivore_ratio"].value == pytest.approx(104 / 400)
    assert found["harvestable_share"].value == pytest.approx(100 * 480 / 504)
    assert found["edible_forage_carnivore_ratio"].value == pytest.approx(24 / 400)
    assert "forage_carnivore_ratio" not in figures(judged(survey=SURVEY + rows + fish("2024-04-10", "shad", 90)))


def test_the_pair_is_read_with_its_doubt(judged):
    def of(n):
        rows = fish("2024-04-10", "bass", 250, 9 * n) + fish("2024-04-10", "bass", 350, n)
        return judged(
            survey=SURVEY
            + rows
            + fish("2024-04-10", "bluegill", 130, 2 * n)
            + fish("2024-04-10", "bluegill", 160, 5 * n)
        )

    few, many = of(2).surveys[0].pair, of(40).surveys[0].pair
    assert few.words == many.words and "bass crowded" in few.words
    assert next(iter(few.chances)) == few.words
    assert few.chances[few.words] < many.chances[many.words] < 0.99  # however many fish, of one outing
    assert sum(few.chances.values()) == pytest.approx(1)
    assert "of 10: bass crowded" in assessment_text(of(2))


def test_the_readings_that_are_told_and_another_one_are_ten_of_ten(judged):
    sizes = [(("bass", 250), 6), (("bass", 350), 4), (("bluegill", 130), 5), (("bluegill", 160), 5)]
    text = assessment_text(judged(survey=SURVEY + "".join(fish("2024-04-10", *kind, number) for kind, number in sizes)))
    told = [int(n) for n in re.findall(r"^  (\d+) of 10: ", text.partition("the chances are")[2], re.MULTILINE)]
    assert len(told) > 2 and 10 - len(told) < sum(told) <= 10  # each is rounded down


def test_angling_is_read_when_there_is_no_electrofishing_and_a_seine_never(judged):
    rows = "".join(fish("2024-04-10", s, 250 if s == "bass" else 150, gear="angling") for s in ("bass", "bluegill"))
    assert judged(survey=SURVEY + rows).surveys[0].pair.gear == "angling"
    seined = judged(survey=SURVEY + rows.replace("angling", "seine"))
    assert "bass_psd" not in figures(seined)
    assert seined.surveys[0].pair is None and any("cannot be read" in m for m in seined.missing)


def test_seining(judged):
    rows = fish("2024-06-10", "bass", 50, 3, gear="seine") + fish("2024-06-10", "bluegill", 25, 45, gear="seine")
    rows += fish("2024-06-10", "bluegill", 100, 4, gear="seine") + fish("2024-06-10", "bluegill", 60, 99, gear="seine")
    found = judged(survey=SURVEY + rows, effort=EFFORT + "2024-06-10,seine,,4,\n").surveys[0].seining
    assert (found.young_bass, found.hatched_per_haul, found.intermediate_per_haul) == (3, 11.25, 1)
    assert (found.hatched, found.intermediate, found.in_season) == ("many", "few", True)
    assert found.words.startswith("balanced")


def test_every_seining_reading_has_words_and_the_contrasts_hold():
    amounts = ("none", "few", "many")
    words = {(b, h, i): reading(b, h, i) for b in (True, False) for h in amounts for i in amounts}
    assert all(words.values())
    assert "bluegill crowded" in words[False, "none", "many"] and "balance" in words[True, "many", "few"]
    assert words[True, "many", "few"] != words[False, "many", "few"]


def test_change_since_the_last_survey(judged):
    def year(y, quality):
        return fish(f"{y}-04-10", "bass", 250, 100 - quality) + fish(f"{y}-04-10", "bass", 350, quality)

    found = judged(survey=SURVEY + year(2023, 20) + year(2024, 22) + year(2025, 60))
    same, changed = (s.changes[0] for s in found.surveys[1:])
    assert (same.before, same.now) == (20, 22) and same.p_all > 0.5
    assert (changed.before, changed.now) == (22, 60)
    # 38 points at 100 · 61/160 = 38.1 effective fish each, the pooled share being 0.41
    assert changed.p == pytest.approx(2 * stats.norm.sf(0.38 / (2 * 0.41 * 0.59 / 38.125) ** 0.5), rel=0.3)
    assert changed.p > 10 * stats.fisher_exact([[22, 78], [60, 40]])[1] and changed.p_all < 0.01
    text = assessment_text(found)
    assert "20 to 22 % (n 100, 100), shares p" in text and "may be chance" in text and ": a change" in text


@pytest.mark.parametrize(("later", "apart"), [("2025-06-09", 61), ("2025-02-04", 64), ("2025-05-24", 0), ("2025-05-26", 47)])
def test_surveys_of_other_seasons_are_told_apart_by_their_days_in_the_year(judged, later, apart):
    rows = "".join(fish(day, "bass", 250, 60) + fish(day, "bass", 350, 20) for day in ("2023-04-10", later))
    text = " ".join(assessment_text(judged(survey=SURVEY + rows)).split())
    assert "Since the survey of 2023-04-10" in text
    assert (f"taken {apart} days apart in the year" in text) if apart else ("days apart in the year" not in text)


def test_change_of_relative_weight_holds_what_outings_share(judged):
    rng = np.random.default_rng(2)
    wr = {2023: rng.normal(0.85, 0.05, 12), 2024: rng.normal(0.95, 0.1, 20)}
    rows = "".join(
        fish(f"{y}-04-10", "bass", 250, weight=f"{f * float(standard_weight(250, 'bass')):.8f}")
        for y, w in wr.items()
        for f in w
    )
    (change,) = [c for c in judged(survey=SURVEY + rows).surveys[1].changes if "_wr_" in c.quantity]
    alone = stats.ttest_ind(wr[2023], wr[2024], equal_var=False).pvalue
    assert 2 * alone < change.p < 0.05 and change.test == "Welch's t"


def test_fish_that_weigh_almost_the_same_are_compared_without_a_warning(judged):
    rows = [fish(f"{year}-04-10", "bass", 250, weight=w) for year, w in ((2023, 200), (2024, 200)) for _ in range(3)]
    rows[-1] = fish("2024-04-10", "bass", 250, weight="200.00000000000003")
    (_, change) = judged(survey=SURVEY + "".join(rows)).surveys[1].changes  # warnings are errors here
    assert change.quantity == "bass_wr_8_12in" and change.p == pytest.approx(1)


def test_holm_by_hand_and_against_false_alarms():
    assert holm([0.01, 0.04, 0.03]) == pytest.approx([0.03, 0.06, 0.06])
    assert holm([0.6, 0.5, 0.9]) == [1.0, 1.0, 1.0]
    rng = np.random.default_rng(0)
    alarms = np.mean([min(holm(list(rng.random(8)))) < 0.05 for _ in range(2000)])
    assert alarms < 0.065  # 5 %, standard error 0.5 %


def test_anglers(judged):
    rows = [
        "2024-05-01,1,2,bass,8,12,2,1",
        "2024-05-01,1,2,bass,12,,0,1",
        "2024-05-02,1,4,,,,0,0",
        "2024-05-03,1,2,bass,,,0,4",
    ]
    found = figures(judged(catches=CATCHES + "\n".join(rows) + "\n"))
    assert found["angling_hours"].value == 8 and found["bass_caught_per_hour"].value == 1
    assert found["bass_kept_share"].value == 0.25 and found["bass_caught_per_hour"].count == 3


def test_limits_of_anglers_success_hold_the_truth():
    rng = np.random.default_rng(4)
    inside = []
    for _ in range(400):
        hours = rng.choice([2.0, 3, 4, 5], 25)
        low, high = Outings(rng.negative_binomial(3, 3 / (3 + 1.5 * hours)).astype(float), hours, 0.5).limits()
        inside.append(low <= 1.5 <= high)
    assert 0.92 < np.mean(inside) < 0.98


def test_trips_that_keep_or_release_by_habit_tell_less_of_the_share_kept(judged):
    def limits(*kept):
        rows = [f"2024-05-{1 + k:02d},1,3,bass,,,{x},{5 - x}" for k, x in enumerate(kept)]
        found = figures(judged(catches=CATCHES + "\n".join(rows) + "\n"))["bass_kept_share"]
        assert found.value == pytest.approx(sum(kept) / 5 / len(kept))
        return found.high - found.low

    assert limits(*[5, 0] * 6) > 1.4 * limits(*[3, 2] * 6)


def tagged_pond(rng, number=400, survival=0.6):
    """Records of a pond with bass of one length: two days a spring for three springs, a fifth caught on each."""
    survey, tags, alive = [], [], {i: None for i in range(number)}
    born, name = number, 0
    for year in (2023, 2024, 2025):
        for day in (f"{year}-04-10", f"{year}-04-20"):
            for i in [i for i in alive if rng.random() < 0.2]:
                if alive[i] is None:
                    name += 1
                    alive[i] = f"T{name}"
                    tags.append(f"{alive[i]},{day},bass,tagged,,\n")
                else:
                    tags.append(f"{alive[i]},{day},bass,recaptured,,\n")
                survey.append(fish(day, "bass", 280, tag=alive[i]))
        living = {i: t for i, t in alive.items() if rng.random() < survival}
        new = number - len(living)
        alive = living | {born + k: None for k in range(new)}
        born += new
    return SURVEY + "".join(survey), TAGS + "".join(tags)


def test_numbers_and_survival_from_tags(judged):
    rng = np.random.default_rng(8)
    closed, opened, survival = [], [], []
    for _ in range(12):
        survey, tags = tagged_pond(rng)
        found = [f for f in judged(survey=survey, tags=tags).tags if f.count]
        closed += [f for f in found if f.quantity == "bass_number_closed"]
        opened += [f for f in found if f.quantity == "bass_number_open"]
        survival += [f for f in found if f.quantity == "bass_survival_per_year"]
    assert len(closed) == 36 and len(opened) == 12 and len(survival) == 12
    for estimates, truth, error in ((closed, 400, 0.07), (opened, 400, 0.12), (survival, 0.6, 0.12)):
        assert np.mean([f.value for f in estimates]) == pytest.approx(truth, rel=error)
        assert np.mean([f.low <= truth <= f.high for f in estimates]) > 0.75


def test_closed_number_by_hand(judged):
    first = [fish("2023-04-10", "bass", 280, tag=f"A{i}") for i in range(4)]
    second = [fish("2023-04-20", "bass", 280, tag=t) for t in ("A1", "A2", "A9")] + [fish("2023-04-20", "bass", 285, 3)]
    second.append(fish("2023-04-20", "bass", 200, 50))  # too short to have been tagged
    tags = [f"A{i},2023-04-10,bass,tagged,,\n" for i in range(4)] + ["A9,2023-04-20,bass,tagged,,\n"]
    tags.append("A0,2023-04-15,bass,kept,,\n")
    number = figures(judged(survey=SURVEY + "".join(first + second), tags=TAGS + "".join(tags)))["bass_number_closed"]
    assert number.value == pytest.approx(
        (3 + 1) * (6 + 1) / (2 + 1) - 1
    )  # three at large, six caught, two of them marked
    assert "280 mm" in number.note and "2 of 6" in number.note and "fewer than 7 seen again" in number.note


def test_a_closed_number_from_seven_seen_again_has_no_warning(judged):
    first = "".join(fish("2023-04-10", "bass", 280, tag=f"A{i}") for i in range(9))
    second = "".join(fish("2023-04-20", "bass", 280, tag=f"A{i}") for i in range(7))
    tags = "".join(f"A{i},2023-04-10,bass,tagged,,\n" for i in range(9))
    number = figures(judged(survey=SURVEY + first + second, tags=TAGS + tags))["bass_number_closed"]
    assert number.count == 7 and "seen again" not in number.note


def test_open_number_by_hand(judged):
    # A1–A4 tagged in 2023; A1, A2 and four untagged fish in 2024, B1 tagged then; A1, A3, B1 in 2025
    seen = {2023: ("A1", "A2", "A3", "A4"), 2024: ("A1", "A2", "B1"), 2025: ("A1", "A3", "B1")}
    rows = "".join(fish(f"{y}-04-10", "bass", 280, tag=t) for y, tags in seen.items() for t in tags)
    tags = "".join(f"{t},{2023 + (t == 'B1')}-04-10,bass,tagged,,\n" for t in ("A1", "A2", "A3", "A4", "B1"))
    found = figures(judged(survey=SURVEY + rows + fish("2024-04-10", "bass", 280, 4), tags=TAGS + tags))
    marked = 2 + (3 + 1) * 1 / (2 + 1)  # m 2, R 3, z 1 (A3), r 2 (A1, B1)
    assert found["bass_number_open"].value == pytest.approx(marked * (7 + 1) / (2 + 1))
    stray = fish("2024-06-16", "bass", 285)  # a haul in which nobody looked for tags is no occasion
    again = figures(judged(survey=SURVEY + rows + fish("2024-04-10", "bass", 280, 4) + stray, tags=TAGS + tags))
    for name in ("bass_number_open", "bass_survival_per_year"):
        assert again[name] == found[name]
    assert "lost tags and fish that left count as dead" in found["bass_survival_per_year"].note
    assert found["bass_survival_per_year"].value == pytest.approx((marked / 4) ** (365.25 / 366))


def test_growth_and_kept_share_from_tags(judged):
    rows = "".join(
        f"A{i},2023-04-10,bass,tagged,{250 + 5 * i},\nA{i},2024-04-09,bass,recaptured,{290 + 4 * i},\n"
        for i in range(12)
    )
    rows += "B1,2023-04-10,bass,tagged,250,\nB1,2023-07-01,bass,kept,,\n"
    rows += "B2,2023-04-10,bass,tagged,250,\nB2,2024-06-01,bass,kept,,\n"
    found = figures(judged(tags=TAGS + rows))
    # growth is 40 − i mm: a straight line in length at marking, which is the curve's own shape
    growth = 40 - np.arange(12)[(250 + 5 * np.arange(12)) < 304.8]
    assert found["bass_growth_8_12in"].value == pytest.approx(growth.mean() * 365.25 / 365)
    assert found["bass_final_length"].value == pytest.approx(250 + 5 * 40, abs=0.01)
    assert found["bass_growth_rate"].value == pytest.approx(-np.log(0.8) * 365.25 / 365, rel=1e-4)
    kept = found["bass_kept_within_a_year"]
    assert kept.value == pytest.approx(1 / 14) and kept.low > 0


def test_growth_is_not_told_of_short_spells(judged):
    rows = "A1,2023-04-10,bass,tagged,250,\nA1,2023-07-10,bass,recaptured,280,\n"
    found = judged(tags=TAGS + rows)
    assert not any("growth" in f.quantity for f in found.tags) and any(
        "no growth from tags" in m for m in found.missing
    )


def test_empty_and_tiny_records_get_a_plain_answer(judged):
    headers = {
        n.removesuffix(".csv"): ",".join(g.split("|")[0] for g in needed) + "\n" for n, (needed, _) in COLUMNS.items()
    }
    text = assessment_text(judged(**headers))
    assert "0 survey fish" in text and "no survey fish" in text and "no tags" in text and "no catch records" in text
    tiny = judged(survey=SURVEY + fish("2024-04-10", "bass", 250))
    assert figures(tiny)["bass_psd"].high > 80 and "cannot be read" in assessment_text(tiny)


def test_bad_rows_are_named_in_the_text(tmp_path):
    bad = "2024-04-10,angling,bass,9999,,,\n"
    good = fish("2024-04-10", "bass", 250)
    (tmp_path / "survey.csv").write_text(SURVEY + good + bad * 25 + good * 25)
    text = " ".join(assessment_text(assess_records(read_records(tmp_path))).split())
    assert "Left out, 25 rows:" in text and "survey.csv, line 3: length_mm" in text
    assert "25 such rows: lines 3, 4, 5 and 22 more" in text


def test_the_shipped_records(tmp_path, capsys):
    out = tmp_path / "out"
    assert main(["assess", str(SHIPPED), "--out", str(out), "--strict", "--details"]) == 0
    printed = capsys.readouterr().out
    assert printed == (out / "assessment.txt").read_text(encoding="utf-8")
    rows = list(csv.DictReader(io.StringIO((out / "assessment.csv").read_text(encoding="utf-8"))))
    assert {"bass_psd", "bluegill_psd", "bass_wr_8_12in", "bass_number_closed", "bass_survival_per_year"} <= {
        r["quantity"] for r in rows
    }
    for row in rows:
        if row["low"] and row["high"]:
            assert float(row["low"]) <= float(row["value"]) <= float(row["high"])
    assert max(len(line) for line in printed.splitlines()) <= 110
    assert "state agency" in printed and "certified" in printed
    assert "INVENTED" in (SHIPPED / "README.txt").read_text(encoding="utf-8")
    assert {"assessment.csv", "assessment.txt"} <= {p.name for p in out.iterdir()}
    assert main(["assess", str(SHIPPED), "--out", str(out)]) == 0  # its own folder is written anew


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize(
    "rows", [None, "", (one := fish("2024-04-10", "bass", 250)) + "2024-04-10,angling,bass,9999,,,\n" * 9 + one * 9]
)
def test_the_answer_fits_a_plain_terminal(tmp_path, capsys, units, rows):
    folder = SHIPPED
    if rows is not None:
        folder = tmp_path
        (tmp_path / "survey.csv").write_text(SURVEY + rows)
    assert main(["assess", str(folder), "--units", units]) == 0
    lines = capsys.readouterr().out.splitlines()
    text = " ".join(" ".join(lines).split())
    assert len(lines) <= 24 and max(map(len, lines)) <= 80
    assert "state agency" in text and "--details tells all" in text
    assert text.startswith("Left out, 9 rows: survey.csv, line 3: length_mm") == bool(rows)
    assert ("(9 such rows: lines 3, 4, 5 and 6 more)" in text) == bool(rows)
    assert ("Take out bass under" in text) == (rows is None)


def test_every_reason_for_a_lost_row_is_on_the_screen_that_of_the_effort_first(tmp_path, capsys):
    rows = ["2024-04-10,angling,crappie,250,,,", "2024-04-10,angling,crappie,260,,,", "2024-04-10,angling,bass,x,,,"]
    (tmp_path / "survey.csv").write_text(SURVEY + "\n".join(rows) + "\n" + fish("2024-04-10", "bass", 250) * 4)
    (tmp_path / "effort.csv").write_text("date,gear,hours\n2024-04-10,fishin,2\n")
    assert main(["assess", str(tmp_path)]) == 0
    lines = capsys.readouterr().out.splitlines()
    text = " ".join(" ".join(lines).split())
    assert text.startswith('Left out, 4 rows: effort.csv, line 2: gear: got "fishin"') and len(lines) <= 24
    assert 'also survey.csv, line 2: species: got "crappie" (2 such rows)' in text
    assert 'also survey.csv, line 4: length_mm: got "x"' in text
    assert "every row of effort was left out: catch rates cannot be told" in text and "no effort" not in text


def test_what_is_odd_is_named_without_being_asked_for(tmp_path, capsys):
    (tmp_path / "survey.csv").write_text(SURVEY + fish("2062-04-10", "bass", 250))
    assert main(["assess", str(tmp_path), "--out", str(tmp_path / "out")]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert text.endswith(f"The page is {tmp_path / 'out' / 'assessment.html'}")
    assert "Odd: 1 row dated after today" in text and "2062-04-10; kept, but check the year." in text


def test_the_records_are_never_written_over(tmp_path, capsys):
    (tmp_path / "survey.csv").write_text(SURVEY + fish("2024-04-10", "bass", 250))
    assert main(["assess", str(tmp_path), "--out", str(tmp_path)]) == 2
    assert "which pondpop did not write" in capsys.readouterr().err
    assert [p.name for p in tmp_path.iterdir()] == ["survey.csv"]


def test_units_change_lengths_and_never_psd():
    judged = assess_records(read_records(SHIPPED))
    us, metric = (
        {(r["date"], r["quantity"]): r for r in csv.DictReader(io.StringIO(assessment_csv(judged, u)))}
        for u in ("us", "metric")
    )
    grown = ("", "bass_growth_8_12in")
    assert us[grown]["unit"] == "in a year" and metric[grown]["unit"] == "mm a year"
    assert float(us[grown]["value"]) * 25.4 == pytest.approx(float(metric[grown]["value"]), rel=5e-4)  # four digits
    psd = [k for k in us if "psd" in k[1]]
    assert psd and all(us[k] == metric[k] for k in psd)


def test_strict_refuses_with_status_2_in_one_line_and_writes_nothing(tmp_path, capsys):
    (tmp_path / "survey.csv").write_text(SURVEY + "2024-04-10,angling,bass,9999,,,\n")
    assert main(["assess", str(tmp_path), "--out", str(tmp_path / "out"), "--strict"]) == 2
    error = capsys.readouterr().err
    assert "survey.csv: line 2, length_mm: got" in error and error.count("\n") == 1
    assert not (tmp_path / "out").exists()
    assert main(["assess", str(tmp_path)]) == 0
    capsys.readouterr()
    assert main(["assess", str(tmp_path / "nowhere")]) == 2
    error = capsys.readouterr().err
    assert "nowhere: got no such folder" in error and error.count("\n") == 1
