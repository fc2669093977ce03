"""Rules that react: what a survey reads, its sampling error, and the amount that follows from it."""

import numpy as np
import pytest
from small import pond

from pondpop.ensemble.draws import uniform
from pondpop.ensemble.quantities import quantities
from pondpop.ensemble.run import compare
from pondpop.observe import indices
from pondpop.observe.gears import as_sampled_psd, gear, mean_wr_error
from pondpop.observe.harvest_control import holds, signs
from pondpop.scenario import Condition, Trigger
from pondpop.species import SPECIES

MEMBERS = 4000


def fish(members=1, bass=(60.0, 30.0, 10.0)):
    """Fish/ha at 9, 13 and 16 in for bass, and some bluegill; Wr 88 of bass of 8–12 in."""
    number, wr = np.zeros((members, len(SPECIES), 32)), np.full((members, len(SPECIES), 32), np.nan)
    number[:, 0, [9, 13, 16]] = bass
    number[:, 1, [4, 7, 9]] = (300.0, 150.0, 50.0)
    wr[:, 0, 9], wr[:, 0, 13] = 88.0, 95.0
    return number, wr


def test_a_survey_without_error_reads_the_pond():
    seen = signs(*fish(), area_ha=2.0, fish_sampled=None, uniforms=None)
    assert seen["bass_psd"][0] == pytest.approx(40.0)
    assert seen["bass_psd_p"][0] == pytest.approx(10.0)
    assert seen["bluegill_psd"][0] == pytest.approx(40.0)
    assert seen["bluegill_psd_p"][0] == pytest.approx(10.0)
    assert seen["bass_wr_8_12in"][0] == pytest.approx(88.0)
    assert np.isnan(seen["bass_wr_15_20in"][0])


def test_a_rule_that_asks_for_no_number_of_fish_reads_the_pond_as_it_is():
    exact = signs(*fish(), area_ha=2.0, fish_sampled=None, uniforms=None)
    for sampled, uniforms in ((None, np.full((1, 7), 0.9)), (50, None)):
        seen = signs(*fish(), area_ha=2.0, fish_sampled=sampled, uniforms=uniforms)
        assert all(np.array_equal(seen[name], exact[name], equal_nan=True) for name in exact)


def test_a_sample_errs_as_a_survey_of_one_outing_does():
    """Shown by the gear, and scattered as fish that keep together: n fish are worth n(m + 1)/(n + m) taken one by one."""
    u = uniform(5, "survey", range(MEMBERS), 7)
    number, wr = fish(MEMBERS)
    used = gear("electrofishing")
    for n in (50, 1000):
        seen = signs(number, wr, area_ha=5000.0, fish_sampled=n, uniforms=u)
        for species in ("bass", "bluegill"):
            shown = as_sampled_psd(number[:1], used, species)[0]
            m = used.independent_fish  # all fish here are of stock length
            sd = np.sqrt(shown * (100 - shown) * (n + m) / (n * (m + 1)))
            values = seen[f"{species}_psd"]
            assert values.mean() == pytest.approx(shown, abs=5 * sd / np.sqrt(MEMBERS))
            assert values.std() == pytest.approx(sd, rel=0.06)
            np.testing.assert_allclose(values * n / 100, np.round(values * n / 100), atol=1e-6)
        assert shown != pytest.approx(indices.psd(number, species)[0], abs=0.01)
        preferred = as_sampled_psd(number[:1], used, "bass", "preferred")[0]
        assert seen["bass_psd_p"].mean() == pytest.approx(preferred, abs=0.6)
        assert (seen["bass_psd_p"] <= seen["bass_psd"]).all()
    of_quality = seen["bass_psd_p"] / seen["bass_psd"]  # of a thousand bass, preferred among those of quality length
    quality = as_sampled_psd(number[:1], used, "bass")[0] / 100
    p, m, n = preferred / 100 / quality, used.independent_fish * quality, 1000 * quality
    assert of_quality.std() == pytest.approx(np.sqrt(p * (1 - p) * (n + m) / (n * (m + 1))), rel=0.06)
    seen = signs(number, wr, area_ha=5000.0, fish_sampled=50, uniforms=u)
    of_class = number[0, 0] * used.class_selectivity()[0]
    weighed = round(50 * of_class[9] / of_class[[9, 13, 16]].sum())
    mean = seen["bass_wr_8_12in"]
    assert mean.mean() == pytest.approx(88.0, abs=0.2)
    assert mean.std() == pytest.approx(float(mean_wr_error(weighed)), rel=0.06)


def test_a_pond_gives_no_more_fish_than_it_has():
    u = uniform(5, "survey", range(MEMBERS), 7)
    seen = signs(*fish(MEMBERS), area_ha=0.1, fish_sampled=500, uniforms=u)  # 10 bass in the pond
    assert set(np.unique(np.round(seen["bass_psd"], 6))) <= set(np.arange(0.0, 101.0, 10.0))


def test_where_every_fish_of_quality_length_is_of_preferred_length_a_sample_has_as_many_of_both():
    u = uniform(5, "survey", range(100), 7)
    for n in (50, 1000):
        seen = signs(*fish(100, bass=(60.0, 0.0, 40.0)), area_ha=5000.0, fish_sampled=n, uniforms=u)
        assert np.array_equal(seen["bass_psd_p"], seen["bass_psd"]) and seen["bass_psd"].std() > 0


def test_where_every_fish_is_of_quality_length_so_is_every_sample():
    u = uniform(5, "survey", range(400), 7)
    seen = signs(*fish(400, bass=(0.0, 60.0, 40.0)), area_ha=5000.0, fish_sampled=200, uniforms=u)
    np.testing.assert_allclose(seen["bass_psd"], 100.0, rtol=1e-12)


@pytest.mark.parametrize(("bass", "weighed"), [((60.0, 0.0, 0.0), 1), ((1.0, 0.0, 60.0), 0)])
def test_one_fish_tells_a_mean_wr_with_its_error_and_none_tells_none(bass, weighed):
    one_sd = np.full((1, 7), 0.8413447460685429)  # of the normal law
    seen = signs(*fish(bass=bass), area_ha=2.0, fish_sampled=1, uniforms=one_sd)["bass_wr_8_12in"][0]
    assert seen == pytest.approx(88.0 + float(mean_wr_error(1))) if weighed else np.isnan(seen)


def test_an_empty_pond_shows_no_sign_and_no_condition_holds():
    number, wr = fish()
    seen = signs(number * 0.0, wr * np.nan, 2.0, 50, np.full((1, 7), 0.5))
    assert all(np.isnan(values).all() for values in seen.values())
    assert not holds(Trigger((Condition("bass_psd", below=101.0), Condition("bass_psd", above=-1.0))), seen)[0]


def test_any_and_all():
    seen = {"bass_psd": np.array([30.0, 30.0, 60.0]), "bass_wr_8_12in": np.array([80.0, 95.0, 95.0])}
    conditions = (Condition("bass_psd", below=40.0), Condition("bass_wr_8_12in", above=90.0))
    assert holds(Trigger(conditions, "any"), seen).tolist() == [True, True, True]
    assert holds(Trigger(conditions, "all"), seen).tolist() == [False, True, False]


def test_a_sign_on_its_bound_is_neither_above_nor_below_it():
    seen = {"bass_psd": np.array([39.9, 40.0, 40.1])}
    assert holds(Trigger((Condition("bass_psd", below=40.0),)), seen).tolist() == [True, False, False]
    assert holds(Trigger((Condition("bass_psd", above=40.0),)), seen).tolist() == [False, False, True]
    both = Condition("bass_psd", above=39.9, below=40.1)
    assert holds(Trigger((both,)), seen).tolist() == [False, True, False]


def rule(limit, amount=20, otherwise=5, side="below"):
    return (
        f'[[strategies.few.harvest]]\nname = "take"\nspecies = "bass"\nlength_in = [8, 30]\nlb_per_acre = {amount}\n'
        f'otherwise_lb_per_acre = {otherwise}\nseason = ["04-01", "11-30"]\n'
        f'when = {{ any = [{{ quantity = "bass_psd", {side} = {limit} }}], fish_sampled = 40 }}\n'
    )


def plain(amount):
    return (
        '[[strategies.few.harvest]]\nname = "take"\nspecies = "bass"\nlength_in = [8, 30]\n'
        f'season = ["04-01", "11-30"]\nlb_per_acre = {amount}\n'
    )


def monthly(extra):
    return compare(pond(members=2, extra=extra, only="few"))["harvest_biomass"].values[0, :, :, 0]


def test_a_rule_takes_its_other_amount_until_a_survey_shows_the_condition():
    always, never = monthly(rule(limit=101)), monthly(rule(limit=0))
    np.testing.assert_array_equal(never, monthly(plain(5)))
    lots = monthly(plain(20))
    # the first survey is on 20 April: until then both take 5
    assert (always[:, 0] < lots[:, 0]).all()
    assert (always[:, 0] > never[:, 0]).all()
    assert (always[:, 1] > 2 * never[:, 1]).all()


def test_members_react_each_to_their_own_survey():
    psd = compare(pond(members=6, extra=plain(5), only="few"))
    named = {q.name: q.values for q in quantities(psd)}
    middle = float(np.median(named["bass_psd"][0, :, 0]))
    taken = compare(pond(members=6, extra=rule(limit=middle), only="few"))["harvest_biomass"].values[0, :, 1, 0]
    assert 2 * taken.min() < taken.max()
