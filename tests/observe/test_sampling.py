"""The sampling model: laws of the catch, published rates, and the chance of wrong advice against plain simulation."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pondpop.checks import InputError
from pondpop.observe import indices
from pondpop.observe.sampling import (
    as_sampled_psd,
    chance_of_wrong_reading,
    draw_catch,
    expected_catch,
    gear,
    gear_entries,
    survey_advice,
    wrong_however_many,
)
from pondpop.records import GEARS

PER_ACRE = 1 / 0.40468564224


def pond(bass=None, bluegill=None):
    """Fish per ha [species, length_class]: bass and bluegill by inch class."""
    number = np.zeros((4, 32))
    for row, counts in ((0, bass), (1, bluegill)):
        for inch, n in (counts or {}).items():
            number[row, inch] = n
    return number


CROWDED = pond({5: 90, 7: 60, 9: 80, 11: 60, 13: 12, 16: 3}, {2: 900, 4: 120, 6: 160, 8: 60})
BALANCED = pond({5: 90, 9: 40, 11: 20, 13: 30, 16: 15, 20: 4}, {2: 5000, 4: 500, 6: 260, 8: 60})
MANY = np.stack([CROWDED, BALANCED])


def even(name="electrofishing"):
    """A gear that takes all lengths alike."""
    ones = np.ones(4)
    return replace(
        gear(name), reach_ha=0.1 * ones, selected_from_mm=-1e9 * ones, missed_share=0 * ones, density_exponent=ones
    )


@pytest.mark.parametrize("name", GEARS)
def test_every_value_of_a_gear_has_its_kind_and_range(name):
    table = gear_entries(name)
    assert {"temperature_from_c", "temperature_until_c", "temperature_width_c", "catch_cv"} <= set(table)
    assert all(e.low <= e.value <= e.high and e.kind for e in table.values())
    used = {f"{s}_{k}" for s in ("bass", "bluegill") for k in ("selected_from_mm", "missed_share")}
    assert used <= set(table)


def test_unknown_gear_is_refused_with_the_nearest():
    with pytest.raises(InputError, match='did you mean "seine"'):
        gear("sein")


@pytest.mark.parametrize("name", GEARS)
@given(st.floats(0.01, 200), st.floats(-1, 40), st.floats(0.05, 50))
def test_no_more_fish_are_caught_than_there_are_and_more_effort_never_catches_fewer(name, effort, temperature, area):
    there = MANY * area
    some, more = (expected_catch(MANY, gear(name), effort * k, temperature, area) for k in (1, 2))
    assert np.all(some >= 0) and np.all(some <= more + 1e-12) and np.all(more <= there * (1 + 1e-12))


def test_catch_follows_density_and_effort_where_little_is_taken():
    one = expected_catch(MANY, gear("electrofishing"), 0.01, 19, 10)
    assert expected_catch(MANY, gear("electrofishing"), 0.02, 19, 10) == pytest.approx(2 * one, rel=2e-3)
    assert expected_catch(3 * MANY, gear("electrofishing"), 0.01, 19, 10) == pytest.approx(3 * one, rel=1e-12)
    assert expected_catch(MANY, gear("electrofishing"), 0.01, 19, 20) == pytest.approx(one, rel=2e-3)


def test_effort_and_temperature_broadcast_over_members():
    catch = expected_catch(MANY, gear("seine"), [1, 4], [25, 12], 2)
    for i, (effort, temperature) in enumerate(((1, 25), (4, 12))):
        assert catch[i] == pytest.approx(expected_catch(MANY[i], gear("seine"), effort, temperature, 2))


@pytest.mark.parametrize(("per_acre", "per_hour"), [(50, 2), (250, 5)])
def test_anglers_catch_as_in_the_published_range(per_acre, per_hour):
    # 2 to 5 bass an hour at 50 to 250 bass an acre; fish of 13 in, which anglers take almost without selection
    bass = pond({13: per_acre * PER_ACRE})
    found = expected_catch(bass, gear("angling"), 0.01, 22, 5)[0].sum() / 0.01
    assert found == pytest.approx(per_hour, rel=0.08)


def test_what_each_gear_sees():
    electro, seine, angling = (gear(n).class_selectivity() for n in ("electrofishing", "seine", "angling"))
    assert electro[0, 10] > electro[0, 3] and electro[0, 10] > electro[0, 24]  # small and the largest bass are missed
    assert seine[1, 1] > 10 * seine[1, 8] and angling[0, 4] < 0.05 * angling[0, 13]
    assert not expected_catch(np.ones((4, 32)), gear("angling"), 5, 20, 1)[2:].any()  # no shad, no minnows on the hook


@pytest.mark.parametrize("name", GEARS)
def test_temperature_factor_is_one_at_its_best_and_falls_to_both_sides(name):
    t = np.linspace(0, 40, 401)
    f = gear(name).temperature_factor(t)
    best = f.argmax()
    assert f.max() == pytest.approx(1, abs=1e-3)
    assert np.all(np.diff(f[: best + 1]) >= 0) and np.all(np.diff(f[best:]) <= 0) and f[0] < 0.2


def test_drawn_catches_have_the_mean_and_scatter_they_should():
    rng = np.random.default_rng(1)
    used = gear("electrofishing")
    mean = expected_catch(CROWDED, used, 1, 19, 2)
    drawn = draw_catch(np.broadcast_to(CROWDED, (4000, 4, 32)), used, 1, 19, 2, rng)
    assert drawn.mean(0) == pytest.approx(mean, abs=5 * np.sqrt(mean.max() * (1 + 0.35**2 * mean.max()) / 4000))
    total = mean[0].sum()
    assert drawn[:, 0].sum(-1).var() == pytest.approx(total + (used.catch_cv * total) ** 2, rel=0.1)


def test_as_sampled_psd_is_that_of_the_expected_catch():
    for name in ("electrofishing", "angling"):
        catch = expected_catch(MANY, gear(name), 1e-6, 19, 5)
        for species in ("bass", "bluegill"):
            assert as_sampled_psd(MANY, gear(name), species) == pytest.approx(indices.psd(catch, species), rel=1e-4)
    assert as_sampled_psd(MANY, even(), "bass") == pytest.approx(indices.psd(MANY, "bass"))
    assert as_sampled_psd(BALANCED, gear("angling"), "bass") > indices.psd(BALANCED, "bass")
    assert np.isnan(as_sampled_psd(np.zeros((4, 32)), even(), "bass"))


@pytest.mark.parametrize("number", [CROWDED, BALANCED], ids=["crowded", "balanced"])
@pytest.mark.parametrize("fish", [10, 35, 100])
def test_chance_of_wrong_reading_against_plain_simulation(number, fish):
    rng = np.random.default_rng(fish)
    used, draws = gear("electrofishing"), 4000
    seen = number * used.class_selectivity()
    truth = indices.pair_reading(float(indices.psd(number, "bass")), float(indices.psd(number, "bluegill")))
    shown = []
    for row, (species, stock) in enumerate((("bass", 8), ("bluegill", 3))):
        p = seen[row, stock:] / seen[row, stock:].sum()
        sample = np.zeros((draws, 4, 32))
        sample[:, row, stock:] = rng.multinomial(fish, p, draws)
        shown.append(indices.psd(sample, species))
    wrong = np.mean([indices.pair_reading(b, g) != truth for b, g in zip(*shown, strict=True)])
    found = float(chance_of_wrong_reading(number, used, fish))
    assert found == pytest.approx(wrong, abs=4 * np.sqrt(0.25 / draws))


def test_a_value_on_a_bound_counts_as_in_range():
    # a PSD of exactly 40 in pond and sample of ten: levels agree whenever 4 to 7 of 10 are quality fish
    number = pond({9: 60, 13: 40}, {4: 60, 6: 40})
    from scipy.stats import binom

    right = (binom.cdf(7, 10, 0.4) - binom.cdf(3, 10, 0.4)) * (binom.cdf(6, 10, 0.4) - binom.cdf(1, 10, 0.4))
    assert chance_of_wrong_reading(number, even(), 10) == pytest.approx(1 - right)


def test_more_fish_help_without_selectivity_and_the_number_needed_holds():
    advice = survey_advice(MANY, even(), (25, 50, 100, 200))
    assert list(advice.wrong) == sorted(advice.wrong, reverse=True) and advice.wrong_however_many == 0
    assert advice.fish_needed is not None
    n = advice.fish_needed
    around = chance_of_wrong_reading(MANY[:, None], even(), np.array([n, 2 * n, int(0.75 * n)])).mean(0)
    assert around[0] <= 0.1 and around[1] <= 0.1 < around[2]
    assert f"With {n} of each" in advice.in_words()


def test_selectivity_can_make_every_survey_wrong():
    # bass many between 8 and 10 in, which anglers hardly see: in the pond PSD is low, on the hook it is not
    number = pond({8: 200, 9: 60, 13: 80, 15: 60}, {4: 60, 6: 40})
    assert indices.psd(number, "bass") < 40 < as_sampled_psd(number, gear("angling"), "bass")
    assert wrong_however_many(number, gear("angling")) == 1
    advice = survey_advice(number, gear("angling"))
    assert advice.fish_needed is None and advice.wrong[-1] > 0.9 and "No number of fish" in advice.in_words()


def test_ponds_without_a_reading_do_not_count():
    with_empty = np.stack([BALANCED, np.zeros((4, 32))])
    assert survey_advice(with_empty, even()) == survey_advice(BALANCED, even())
    assert np.isnan(chance_of_wrong_reading(np.zeros((4, 32)), even(), 50))
    with pytest.raises(InputError, match="stock length"):
        survey_advice(np.zeros((4, 32)), even())


@pytest.mark.parametrize("fish", [0, -3, 2.5])
def test_numbers_of_fish_that_cannot_be(fish):
    with pytest.raises(InputError):
        chance_of_wrong_reading(BALANCED, even(), fish)


def test_areas_and_limits_that_cannot_be():
    with pytest.raises(InputError, match="an area above 0"):
        expected_catch(BALANCED, even(), 1, 20, 0)
    with pytest.raises(InputError, match="limit"):
        survey_advice(BALANCED, even(), limit=0)
