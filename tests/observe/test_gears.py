"""How a survey sees a pond: laws of the catch, published rates, and the scatter of one outing and of several."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pondpop.checks import InputError
from pondpop.model.harvest import catch_per_hour
from pondpop.observe import indices
from pondpop.observe.gears import (
    WR_BETWEEN_FISH,
    WR_BETWEEN_OUTINGS,
    as_sampled_psd,
    counted,
    draw_wr,
    expected_catch,
    gear,
    mean_wr_error,
    scatter,
)
from pondpop.species import SPECIES, load_parameters
from pondpop.species.catalogue import gears
from pondpop.species.gears import GEARS

PER_ACRE = 1 / 0.40468564224


def pond(bass=None, bluegill=None):
    """Fish per ha [species, length_class]: bass and bluegill by inch class."""
    number = np.zeros((len(SPECIES), 32))
    for row, counts in ((0, bass), (1, bluegill)):
        for inch, n in (counts or {}).items():
            number[row, inch] = n
    return number


CROWDED = pond({5: 90, 7: 60, 9: 80, 11: 60, 13: 12, 16: 3}, {2: 900, 4: 120, 6: 160, 8: 60})
BALANCED = pond({5: 90, 9: 40, 11: 20, 13: 30, 16: 15, 20: 4}, {2: 5000, 4: 500, 6: 260, 8: 60})
MANY = np.stack([CROWDED, BALANCED])


def even(name="electrofishing"):
    """A gear that takes all lengths alike."""
    ones = np.ones(len(SPECIES))
    return replace(
        gear(name), reach_ha=0.1 * ones, selected_from_mm=-1e9 * ones, missed_share=0 * ones, density_exponent=ones
    )


@pytest.mark.parametrize("name", GEARS)
def test_every_value_of_a_gear_has_its_kind_and_range(name):
    table = gears()[name]
    assert {"temperature_from_c", "temperature_until_c", "temperature_width_c", "catch_cv", "catchability_spread"} <= set(table)
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


def test_catches_of_anglers_rise_less_than_the_fish_by_their_exponent():
    used = gear("angling")
    exponent = float(used.density_exponent[0])
    one, four = (expected_catch(pond({13: fish}), used, 1e-6, 22, 5)[0].sum() for fish in (100.0, 400.0))
    assert 0.0 < exponent < 1.0 and four / one == pytest.approx(4.0**exponent, rel=1e-5)


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


@pytest.mark.parametrize("per_ha", [100.0, 25.0])
def test_a_survey_of_anglers_catches_an_hour_what_anglers_of_the_model_do(per_ha):
    p, used = load_parameters(), gear("angling")
    bass = pond({13: per_ha / used.class_selectivity()[0, 13]})
    found = expected_catch(bass, used, 1e-6, 22.0, 5.0)[0].sum() / 1e-6 / used.temperature_factor(22.0)
    rate = catch_per_hour(np.array([per_ha]), p.catch_per_hour_at_100_per_ha, p.catch_density_exponent, np.zeros(1))
    assert found == pytest.approx(rate[0], rel=1e-4)


def test_what_each_gear_sees():
    electro, seine, angling = (gear(n).class_selectivity() for n in ("electrofishing", "seine", "angling"))
    assert electro[0, 10] > electro[0, 3] and electro[0, 10] > electro[0, 24]  # small and the largest bass are missed
    assert seine[1, 1] > 10 * seine[1, 8] and angling[0, 4] < 0.05 * angling[0, 13]
    on_the_hook = expected_catch(np.ones((len(SPECIES), 32)), gear("angling"), 5, 20, 1)
    assert on_the_hook[4].any() and not on_the_hook[2:4].any()  # redear, but no shad and no minnows


@pytest.mark.parametrize("name", GEARS)
def test_a_class_is_seen_as_the_mean_of_the_lengths_in_it(name):
    used, inches = gear(name), (np.arange(32 * 500) + 0.5) / 500
    taken = used.reach_ha > 0.0
    each = used.selectivity((inches * 25.4)[:, None]).reshape(32, 500, -1).mean(axis=1).T
    np.testing.assert_allclose(used.class_selectivity()[taken], each[taken], atol=3e-3)
    np.testing.assert_array_equal(used.class_selectivity(5), used.class_selectivity()[:, :5])


def test_a_gear_takes_what_its_settings_are_of():
    assert [name for name in SPECIES if gear("angling").takes(name)] == ["bass", "bluegill", "redear"]
    assert gear("electrofishing").takes("bass") and gear("seine").takes("bluegill")


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
    drawn = scatter(np.broadcast_to(mean, (4000, len(SPECIES), 32)), used, rng)
    assert drawn.mean(0) == pytest.approx(mean, abs=5 * np.sqrt(mean.max() * (1 + 0.35**2 * mean.max()) / 4000))
    total = mean[0].sum()
    assert drawn[:, 0].sum(-1).var() == pytest.approx(total + (used.catch_cv * total) ** 2, rel=0.1)


def test_the_shape_of_a_drawn_catch_is_that_of_its_coefficient_of_variation():
    class Drawing:
        asked = ()

        def gamma(self, shape, scale=None, size=None):
            if scale is not None:
                self.asked = shape, scale
            return np.ones(np.shape(shape) if size is None else size)

        def poisson(self, mean):
            return mean

    used, rng = gear("electrofishing"), Drawing()
    scatter(np.full((len(SPECIES), 32), 2.0), used, rng, outings=3)
    assert rng.asked == pytest.approx((3 / (used.catch_cv * used.catch_cv), used.catch_cv * used.catch_cv / 3), rel=1e-12)


def test_as_sampled_psd_is_that_of_the_expected_catch():
    for name in ("electrofishing", "angling"):
        catch = expected_catch(MANY, gear(name), 1e-6, 19, 5)
        for species in ("bass", "bluegill"):
            assert as_sampled_psd(MANY, gear(name), species) == pytest.approx(indices.psd(catch, species), rel=1e-4)
    assert as_sampled_psd(MANY, even(), "bass") == pytest.approx(indices.psd(MANY, "bass"))
    assert as_sampled_psd(BALANCED, gear("angling"), "bass") > indices.psd(BALANCED, "bass")
    assert np.isnan(as_sampled_psd(np.zeros((len(SPECIES), 32)), even(), "bass"))


@pytest.mark.parametrize("outings", [1, 3])
def test_psd_of_an_endless_catch_scatters_as_the_independent_fish_of_its_outings(outings):
    rng = np.random.default_rng(2)
    used, mean = gear("electrofishing"), 1e5 * BALANCED[0] / BALANCED[0].sum()
    parts = indices.category_numbers(mean, "bass")
    share, of_catch = parts[1:].sum() / parts.sum(), parts.sum() / mean.sum()
    psd = indices.psd_of_categories(indices.category_numbers(scatter(np.tile(mean, (6000, 1)), used, rng, outings), "bass"))
    assert psd.mean() == pytest.approx(100 * share, abs=0.5)
    strength = outings * float(used.concentration(of_catch))
    assert psd.var() == pytest.approx(1e4 * share * (1 - share) / (strength + 1), rel=0.06)


def test_several_outings_at_once_scatter_as_the_sum_of_so_many():
    rng = np.random.default_rng(3)
    used, mean = gear("seine"), np.array([30.0, 50.0, 20.0])
    together = scatter(np.tile(3 * mean, (20_000, 1)), used, rng, outings=3)
    apart = sum(scatter(np.tile(mean, (20_000, 1)), used, rng) for _ in range(3))
    assert together.sum(-1).var() == pytest.approx(apart.sum(-1).var(), rel=0.05)
    one, three = (x[:, 0] / np.maximum(x.sum(-1), 1) for x in (apart, together))
    assert three.std() == pytest.approx(one.std(), rel=0.12)  # outings of unlike size count unlike: a few per cent more


def test_what_is_counted_has_the_law_of_the_scatter():
    u = (np.arange(20_000) + 0.5) / 20_000
    n, p, m = 40.0, 0.3, 25.0
    drawn = counted(np.full(u.size, n), np.full(u.size, p), np.full(u.size, m), u)
    from scipy.stats import betabinom

    for k in (4, 12, 20):
        assert (drawn <= k).mean() == pytest.approx(betabinom.cdf(k, n, m * p, m * (1 - p)), abs=1e-4)
    none, all_of_them, no_fish = (counted(np.array([a]), np.array([b]), np.array([m]), np.array([0.5]))[0]
                                  for a, b in ((9.0, 0.0), (9.0, 1.0), (0.0, 0.4)))  # fmt: skip
    assert (none, all_of_them, no_fish) == (0, 9, 0)


def test_where_all_fish_are_of_a_kind_no_luck_finds_another():
    luck = np.array([1e-16, 0.5, 1.0 - 1e-16])
    assert counted(np.full(3, 9.0), np.ones(3), np.full(3, 25.0), luck).tolist() == [9.0, 9.0, 9.0]


def test_weighed_fish_of_one_outing_share_an_error():
    rng = np.random.default_rng(4)
    means = np.array([draw_wr(np.full(50, 90.0), rng).mean() for _ in range(6000)])
    assert means.mean() == pytest.approx(90, abs=0.15)
    assert means.std() == pytest.approx(float(mean_wr_error(50)), rel=0.05)
    assert float(mean_wr_error(1e9)) == pytest.approx(WR_BETWEEN_OUTINGS) and float(mean_wr_error(1)) > WR_BETWEEN_FISH


def test_areas_that_cannot_be():
    with pytest.raises(InputError, match="an area above 0"):
        expected_catch(BALANCED, even(), 1, 20, 0)
