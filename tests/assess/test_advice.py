"""What an assessment advises: the state, how sure, why and what to do; and lengths at age."""

from dataclasses import replace

import numpy as np
import pytest

from pondpop.assess import assess_records, assessment_text
from pondpop.assess.advice import LIKELY
from pondpop.assess.text import state_words
from pondpop.observe.indices import PAIR_READINGS, standard_weight
from pondpop.records import read_records

HEAD = "date,gear,species,length_mm,weight_g,count,age\n"
QUALITY = {"low": (0.10, 0.05), "middle": (0.55, 0.40), "high": (0.92, 0.85)}
"""PSD of bass and of bluegill on each side of and within the ranges of a balanced pond."""


@pytest.fixture
def judged(tmp_path):
    def write(rows):
        (tmp_path / "survey.csv").write_text(HEAD + rows, encoding="utf-8")
        return assess_records(read_records(tmp_path, strict=True))

    return write


def survey(bass, bluegill, fish=200, days=10, wr=None):
    """Rows of so many outings: shares of bass and bluegill of quality length; Wr of 40 bass of 9.8 in a day."""
    rows = []
    for day in range(days):
        date = f"2024-04-{day + 1:02d}"
        for species, share, small, large in (("bass", bass, 250, 350), ("bluegill", bluegill, 120, 180)):
            many = round(share * fish)
            rows.append(f"{date},electrofishing,{species},{large},,{many},")
            rows.append(f"{date},electrofishing,{species},{small},,{fish - many},")
        for _ in range(0 if wr is None else 40):
            rows.append(f"{date},electrofishing,bass,250,{wr / 100 * float(standard_weight(250, 'bass')):.3f},,")
    return "\n".join(row for row in rows if ",,0," not in row) + "\n"


STATES = {
    ("low", "high"): "bass crowded", ("high", "low"): "bluegill crowded", ("middle", "low"): "bluegill crowded",
    ("middle", "middle"): "balanced", ("low", "low"): "both small", ("low", "middle"): "bass small",
    ("middle", "high"): "few young", ("high", "middle"): "few young", ("high", "high"): "few young",
}  # fmt: skip


@pytest.mark.parametrize("levels", PAIR_READINGS)
def test_every_pair_of_psd_has_its_state_and_steps(judged, levels):
    advice = judged(survey(QUALITY[levels[0]][0], QUALITY[levels[1]][1])).advice()
    assert advice.state == STATES[levels] and advice.sure
    assert all(line.endswith(".") for line in advice.steps)
    taken = " ".join(advice.steps)
    assert ("Take out bass under" in taken) == (advice.state == "bass crowded")
    assert ("Take out no bass" in taken) == (advice.state == "bluegill crowded")


@pytest.mark.parametrize(("wr", "state"), [(84, "bass crowded"), (104, "bass fished hard"), (95, "bass small")])
def test_condition_tells_crowded_bass_from_those_taken_out_too_hard(judged, wr, state):
    advice = judged(survey(0.1, 0.4, wr=wr)).advice()
    assert advice.state == state and advice.sure
    assert any(f"Wr of bass of 8–12 in is {wr}" in line for line in advice.why)
    assert ("Put back all bass" in advice.steps[0]) == (state == "bass fished hard")


def test_bluegill_are_added_only_where_the_survey_found_few_small_ones(judged):
    few, enough = (judged(survey(0.1, share, wr=84)).advice() for share in (0.85, 0.4))
    assert few.state == enough.state == "bass crowded" and few.sure and enough.sure
    assert "Bluegill of 3 to 6 in were few (PSD): add some of 3 to 5 in, 200 an acre" in " ".join(few.steps)
    assert "bluegill" not in " ".join(enough.steps)


@pytest.mark.parametrize(("bluegill", "wr"), [(0.85, None), (0.4, 84)])
def test_bass_taken_out_and_put_back_are_of_different_lengths(judged, bluegill, wr):
    steps = " ".join(judged(survey(0.1, bluegill, wr=wr)).advice().steps)
    assert "Take out bass under 12 in (" in steps and "Put back bass of 12 to 15 in" in steps and "14 in" not in steps


@pytest.mark.parametrize(("bluegill", "wr", "says"), [
    (0.4, 84, "PSD and Wr together: thin bass are crowded, not overfished"),
    (0.4, 104, "PSD and Wr together: well-fed bass are overfished, not crowded"),
    (0.4, 95, ""), (0.4, None, ""), (0.85, 84, ""),
])  # fmt: skip
def test_the_headline_says_where_condition_decides_what_psd_leaves_open(judged, bluegill, wr, says):
    headline = state_words(judged(survey(0.1, bluegill, wr=wr)).advice())
    assert (says in headline) if says else ("together" not in headline)


def test_a_state_that_is_not_likely_is_no_headline(judged):
    advice = judged(survey(0.38, 0.2, fish=30, days=1)).advice()
    assert advice.chance < LIKELY and state_words(advice).startswith("No state is likely; the likeliest: ")
    sure = judged(survey(0.1, 0.85)).advice()
    assert "No state" not in state_words(sure) and "No state" not in state_words(replace(sure, chance=LIKELY))


@pytest.mark.parametrize("levels", PAIR_READINGS)
@pytest.mark.parametrize(("pond", "amount"), [("fertile", "25 to 35 lb an acre"), ("infertile", "10 lb an acre")])
def test_where_the_fertility_is_known_only_its_amount_is_told(judged, levels, pond, amount):
    found = judged(survey(QUALITY[levels[0]][0], QUALITY[levels[1]][1]))
    both, known = (" ".join(found.advice("us", kind).steps) for kind in (None, pond))
    other = {"fertile": "infertile", "infertile": " fertile"}[pond]
    assert other not in known and ("from a fertile pond" in both) == (f"a year from a pond as {pond} as this one" in known)
    if "no more bass than" in both or "Take out bass" in both:
        assert f"{amount} a year from a pond as {pond}" in known


@pytest.mark.parametrize("levels", PAIR_READINGS)
def test_no_bass_are_to_be_taken_where_the_likeliest_state_forbids_it_be_it_sure_or_not(judged, levels):
    advice = judged(survey(QUALITY[levels[0]][0], QUALITY[levels[1]][1], fish=12, days=1)).advice()
    if not advice.sure:
        taken = " ".join(advice.steps)
        assert ("take out no bass." in taken) == (advice.state in ("bluegill crowded", "bass fished hard"))
        assert ("no more bass than" in taken) != ("take out no bass." in taken)


def test_few_fish_are_advised_to_be_more_and_nothing_else(judged):
    advice = judged(survey(0.4, 0.3, fish=8, days=1)).advice()
    assert not advice.sure and "survey again on other days" in advice.steps[0]
    assert not any("Take out bass under" in line or "Add" in line for line in advice.steps)
    assert any("were not weighed" in line for line in advice.why)


def test_units_and_sources_of_the_amounts(judged):
    found = judged(survey(0.1, 0.85))
    us, metric = " ".join(found.advice().steps), " ".join(found.advice("metric").steps)
    assert "25 to 35 lb an acre a year from a fertile pond, 10 lb an acre from an infertile one (Alabama" in us
    assert "28 to 39 kg a hectare" in metric and "Put back bass of 30 to 38 cm" in metric and "124 to 247 a hectare" in metric
    assert " lb" not in metric and " acre" not in metric
    text = " ".join(assessment_text(found).split())
    assert "What it says, and what to do" in text and "Bass are crowded: many small bass" in text
    assert "state agency" in text and "certified" in text


def test_without_both_species_nothing_is_advised(judged):
    found = judged("2024-04-10,electrofishing,bass,250,,50,\n")
    assert found.advice() is None and "What it says" not in assessment_text(found)


def test_mean_length_at_age_by_hand(judged):
    rows = [f"2024-04-10,electrofishing,bass,{mm},,,{age}" for mm, age in ((200, 1), (220, 1), (210, 1), (300, 2), (405, 7))]
    found = {f.quantity: f for f in judged("\n".join([*rows, "2024-04-10,electrofishing,bass,500,,,"]) + "\n").findings}
    first = found["bass_length_at_age_1"]
    assert (first.value, first.count, first.unit) == (210, 3, "mm")
    assert (first.low, first.high) == pytest.approx((210 - 4.3027 * 10 / np.sqrt(3), 210 + 4.3027 * 10 / np.sqrt(3)), abs=0.01)
    assert found["bass_length_at_age_7"].low is None and "bass_length_at_age_3" not in found
    assert not any("at_age" in f.quantity for f in judged("2024-04-10,electrofishing,bass,500,,,\n").findings)
