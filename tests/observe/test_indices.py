"""Indices of samples and ponds: laws, and the same numbers as scipy's."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import stats

from pondpop.checks import InputError
from pondpop.observe import indices
from pondpop.species import SPECIES
from pondpop.species.catalogue import standard_weight_g
from pondpop.units import MM_PER_IN

CLASSES = 32
densities = st.one_of(st.just(0.0), st.floats(1e-30, 1e6))  # a ratio to less overflows, and no pond holds so few
ponds = arrays(float, (3, len(SPECIES), CLASSES), elements=densities)
counted = st.integers(1, 400).flatmap(lambda total: st.tuples(st.integers(0, total), st.just(total)))
confidences = st.floats(0.5, 0.99)


def pond(**fish):
    """Numbers [species, length_class] with the fish given as species={inches: number}."""
    number = np.zeros((len(SPECIES), CLASSES))
    for species, classes in fish.items():
        for inches, n in classes.items():
            number[SPECIES.index(species), inches] = n
    return number


# --- size structure ---


def test_psd_counts_by_hand():
    number = pond(bass={5: 999, 8: 20, 11: 30, 12: 25, 14: 5, 15: 12, 20: 6, 25: 2}, bluegill={2: 500, 3: 60, 6: 40})
    assert indices.psd(number, "bass") == pytest.approx(50)
    assert indices.psd(number, "bass", "preferred") == pytest.approx(20)
    assert indices.psd(number, "bass", "memorable") == pytest.approx(8)
    assert indices.psd(number, "bass", "trophy") == pytest.approx(2)
    assert indices.psd(number, "bass", "stock") == pytest.approx(100)
    assert indices.psd(number, "bluegill") == pytest.approx(40)


@given(ponds)
def test_psd_falls_with_the_category(number):
    for species in ("bass", "bluegill"):
        parts = indices.category_numbers(number[:, SPECIES.index(species)], species)
        some = parts.sum(axis=-1) > 0
        assert np.isnan(indices.psd(number, species)[~some]).all()
        family = np.stack([indices.psd(number, species, category) for category in indices.CATEGORIES])[:, some]
        assert (np.diff(family, axis=0) <= 1e-9).all()
        assert ((family >= 0) & (family <= 100 + 1e-9)).all()


@given(ponds, st.floats(1e-3, 1e3))
def test_indices_do_not_change_with_the_area_counted(number, area):
    for index in (
        lambda n: indices.psd(n, "bass"),
        lambda n: indices.psd(n, "bluegill", "preferred"),
        indices.forage_carnivore_ratio,
        indices.harvestable_share,
        lambda n: indices.edible_forage_carnivore_ratio(n, n, [0.5, 0.4, 0.5, 0.5, 0.5]),
    ):
        assert index(number * area) == pytest.approx(index(number), rel=1e-9, nan_ok=True)


@given(st.lists(st.integers(20, 760), max_size=40))
def test_a_sample_and_its_classes_give_the_same_categories(lengths):
    classes = np.histogram(lengths, bins=np.arange(CLASSES + 1) * MM_PER_IN)[0]
    for species in ("bass", "bluegill", "redear_sunfish", "gizzard_shad"):
        by_fish = indices.category_counts(lengths, species)
        assert by_fish == pytest.approx(indices.category_numbers(classes, species))


def test_a_fish_of_exactly_eight_inches_is_stock():
    assert indices.category_counts([8 * MM_PER_IN], "bass")[0] == 1
    assert indices.category_counts([np.nextafter(8 * MM_PER_IN, 0)], "bass").sum() == 0


def test_mean_of_a_length_window_weighs_by_fish_and_leaves_out_classes_without_a_value():
    number = pond(bass={8: 30, 9: 10, 11: 5, 12: 100})
    wr = np.full_like(number, np.nan)
    wr[0, 8], wr[0, 9], wr[0, 12] = 80, 100, 50
    assert indices.class_mean(wr, number, "bass", 8, 12) == pytest.approx(85)
    assert math.isnan(indices.class_mean(wr, number, "bass", 15, 20))


# --- weight ---


@pytest.mark.parametrize("species", ["bass", "bluegill", "redear_sunfish", "gizzard_shad"])
def test_relative_weight_of_a_standard_fish_is_100_from_the_shortest_length_on(species):
    shortest = {"bass": 150, "bluegill": 80, "redear_sunfish": 70, "gizzard_shad": 180}[species]
    lengths = np.array([shortest, shortest + 1, 350.0])
    assert indices.relative_weight(indices.standard_weight(lengths, species), lengths, species) == pytest.approx(100)
    assert math.isnan(indices.standard_weight(np.nextafter(shortest, 0), species))


@pytest.mark.parametrize(("species", "length_mm", "grams"), [("bass", 381.0, 830.6), ("bluegill", 203.2, 190.0)])
def test_standard_weights_are_those_of_the_published_lines(species, length_mm, grams):
    """Bass 10^(−5.528 + 3.273·log10 L), Henson 1991; bluegill 10^(−5.374 + 3.316·log10 L), Hillman 1982."""
    assert indices.standard_weight(length_mm, species) == pytest.approx(grams, rel=2e-3)
    assert standard_weight_g(species, length_mm) == pytest.approx(grams, rel=2e-3)


# --- balance ---


def test_balance_ratios_by_hand():
    # mean adult bass 12.5 in, swallows bluegill up to 5 in and minnows up to 6.25 in
    number = pond(bass={4: 50, 12: 10})
    kg = pond(bass={4: 2, 12: 8}, bluegill={3: 6, 5: 4, 6: 10}, shad={9: 5}, minnow={6: 4})
    assert indices.forage_carnivore_ratio(kg) == pytest.approx(29 / 10)
    assert indices.edible_forage_carnivore_ratio(number, kg, [0.5, 0.4, 0.5, 0.5, 0.5]) == pytest.approx((6 + 4 * 0.25) / 10)
    assert indices.harvestable_share(kg) == pytest.approx(100 * (8 + 10) / 39)


def test_ratios_without_bass_or_fish_are_not_defined():
    empty = np.zeros((len(SPECIES), CLASSES))
    assert math.isnan(indices.forage_carnivore_ratio(empty))
    assert math.isnan(indices.edible_forage_carnivore_ratio(empty, empty, [0.5] * len(SPECIES)))
    assert math.isnan(indices.harvestable_share(empty))


def test_balance_rating_names_each_region():
    words = [indices.balance_rating(x, "forage_carnivore_ratio") for x in (1.39, 1.4, 2.9, 3, 6, 6.1, 10, 10.1)]
    assert words[0].startswith("below") and words[-1].startswith("above")
    assert words[1] == words[2] == words[5] == words[6] == "balanced"
    assert words[3] == words[4] == "in the best part of the range of balanced ponds"
    assert indices.balance_rating(math.nan, "harvestable_share") == "not defined"


@pytest.mark.parametrize(
    ("bass", "bluegill", "begins"),
    [(20, 80, "bass crowded"), (80, 10, "bluegill crowded"), (55, 40, "balanced"), (40, 20, "balanced"),
     (70, 60, "balanced"), (20, 10, "both small"), (90, 90, "both large")],
)  # fmt: skip
def test_pair_reading(bass, bluegill, begins):
    assert indices.pair_reading(bass, bluegill).words.startswith(begins)


@pytest.mark.parametrize(("bass", "bluegill"), [(20, 10), (20, 40)])
def test_harvest_is_no_reason_where_there_is_none(bass, bluegill):
    assert "harvest" in indices.pair_reading(bass, bluegill).words
    without = indices.pair_reading(bass, bluegill, harvested=False)
    assert "harvest" not in without.words
    assert without[:2] == indices.pair_reading(bass, bluegill)[:2]


def below(quality, stock):
    """The chance that the share is below a bound, Beta(quality + ½, rest + ½)."""
    return lambda bound: float(stats.beta.cdf(bound, quality + 0.5, stock - quality + 0.5))


@given(counted, counted)
def test_chances_of_the_pair_readings_add_up_to_1(bass, bluegill):
    chances = indices.pair_reading_chances(below(*bass), below(*bluegill))
    assert len(chances) == 9
    assert sum(chances.values()) == pytest.approx(1.0)
    assert min(chances.values()) >= -1e-12


def test_what_is_sure_leaves_no_doubt_about_the_pair_and_what_is_not_leaves_much():
    sure = indices.pair_reading_chances(below(200, 1000), below(800, 1000))
    assert sure[indices.pair_reading(20, 80).words] > 0.999
    assert max(indices.pair_reading_chances(below(0, 0), below(0, 0)).values()) < 0.5


def test_chances_of_the_pair_agree_with_random_draws():
    rng = np.random.default_rng(5)
    bass, bluegill = (100 * rng.beta(q + 0.5, n - q + 0.5, 20_000) for q, n in ((12, 30), (20, 40)))
    drawn = [indices.pair_reading(b, g).words for b, g in zip(bass, bluegill, strict=True)]
    for words, chance in indices.pair_reading_chances(below(12, 30), below(20, 40)).items():
        assert drawn.count(words) / len(drawn) == pytest.approx(chance, abs=0.015)


def test_target_ranges_are_told_apart_and_may_be_missing():
    assert indices.target_range("big_bass", "bass", "psd_m") == (10, 25)
    assert indices.target_range("panfish", "bass", "psd_m") is None


# --- doubt ---


@given(counted, confidences)
def test_exact_limits_are_those_of_scipy(sample, confidence):
    count, total = sample
    limits, theirs = indices.exact_limits(count, total, confidence), stats.binomtest(count, total).proportion_ci(confidence)
    assert (float(limits.low), float(limits.high)) == pytest.approx((theirs.low, theirs.high), abs=1e-9)


@given(counted)
def test_exact_limits_hold_their_tails(sample):
    count, total = sample
    low, high = indices.exact_limits(count, total, 0.9)
    assert stats.binom.sf(count - 1, total, low) == pytest.approx(0.05 if count else 1.0)
    assert stats.binom.cdf(count, total, high) == pytest.approx(0.05 if count < total else 1.0)




def test_exact_limits_are_of_95_percent_unless_another_share_is_asked_for():
    np.testing.assert_array_equal(indices.exact_limits(3, 10), indices.exact_limits(3, 10, 0.95))
    assert np.isnan(indices.exact_limits(0, 0)).all()


# --- refusals ---


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: indices.standard_weight(100, "shad"), "a published standard weight: one of bass"),
        (lambda: indices.category_inches("bas"), 'did you mean "bass"?'),
        (lambda: indices.psd(np.ones((len(SPECIES), CLASSES)), "trout"), "one of bass, bluegill, shad, minnow, redear"),
        (lambda: indices.psd(np.ones((len(SPECIES), CLASSES)), "bass", "qality"), 'did you mean "quality"?'),
        (lambda: indices.psd_of_categories([3, 2], "trophy"), "one of stock, quality"),
        (lambda: indices.category_counts([100, math.nan], "bass"), "a length above 0"),
        (lambda: indices.target_range("big-bass", "bass", "psd"), 'did you mean "big_bass"?'),
        (lambda: indices.target_range("balanced", "trout", "psd"), "one of bass, bluegill"),
        (lambda: indices.target_range("balanced", "bass", "psd_x"), "one of psd, psd_p, psd_m"),
        (lambda: indices.balance_rating(1, "f/c"), "a balance ratio: one of"),
        (lambda: indices.pair_reading(100.1, 10), "a PSD from 0 to 100 %"),
        (lambda: indices.exact_limits(11, 10), "counts from 0 to their total"),
        (lambda: indices.exact_limits(-1, 10), "counts from 0 to their total"),
        (lambda: indices.exact_limits(1, 10, 95), "a share above 0 and below 1"),
        (lambda: indices.exact_limits(1, 10, 0), "a share above 0 and below 1"),
        (lambda: indices.exact_limits(1, 10, 1), "a share above 0 and below 1"),
        (lambda: indices.exact_limits([1, math.nan], 10), "counts from 0 to their total"),
        (lambda: indices.exact_limits(1, math.inf), "counts from 0 to their total"),
        (lambda: indices.exact_limits([1, 11], [10, 10]), "counts from 0 to their total"),
        (lambda: indices.pair_reading(50, -0.1), "a PSD from 0 to 100 %"),
        (lambda: indices.category_counts([0], "bass"), "a length above 0"),
        (lambda: indices.category_counts([math.inf], "bass"), "a length above 0"),
    ],
)
def test_wrong_arguments_are_refused_in_one_line(call, says):
    with pytest.raises(InputError) as refused:
        call()
    assert says in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("ratio", ["forage_carnivore_ratio", "edible_forage_carnivore_ratio", "harvestable_share"])
def test_a_ratio_on_a_bound_of_a_range_lies_in_it(ratio):
    row = indices.standards()["balance"][ratio]
    (low, high), (best_low, best_high) = row["balanced"], row["best"]
    assert low <= best_low < best_high <= high
    for bound in (best_low, best_high):
        assert indices.balance_rating(bound, ratio).startswith("in the best part")
    for bound, beyond, word in ((low, -1, "below"), (high, 1, "above")):
        assert not indices.balance_rating(bound, ratio).startswith(("below", "above"))
        assert indices.balance_rating(bound + beyond * 1e-6, ratio).startswith(word)


def test_a_psd_of_0_or_100_is_read():
    for bass in (0, 100):
        assert indices.pair_reading(bass, 100 - bass).words
