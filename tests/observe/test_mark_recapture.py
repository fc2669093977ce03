"""Estimators from marked fish: worked examples, limits against simulated truths, laws."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pondpop.observe.mark_recapture import (
    CaptureSummary,
    Increments,
    _first,
    chapman,
    grow_from_tags,
    jolly_seber,
    poisson_limits,
    schnabel,
    summarize_captures,
)

# Worked examples, recalled from memory; their columns agree with each other by arithmetic.
FROGS = {"marked": 32, "caught": 54, "recaptured": 18}
"""Cricket frogs (Pyburn 1958, as told by Krebs; from memory): 94.5 animals, of which the book prints 94 or 95."""

# Redear sunfish of Gordy Lake (Gerking 1953, as told by Ricker 1975 and Krebs; from memory): Σ C·M = 10,740, Σ R = 24,
# printed estimate 10,740/24 = 447.5 (448).
GORDY_CAUGHT = [10, 27, 17, 7, 1, 5, 6, 15, 9, 18, 16, 5, 7, 19]
GORDY_RECAPTURED = [0, 0, 0, 0, 0, 0, 2, 1, 5, 5, 4, 2, 2, 3]
GORDY_MARKED = [0, 10, 37, 54, 61, 62, 67, 71, 85, 89, 102, 112, 115, 119]

# Black-kneed capsids (Jolly 1965, table repeated by Seber 1982; from memory).
CAPSIDS = CaptureSummary(
    caught=np.array([54, 146, 169, 209, 220, 209, 250, 176, 172, 127, 123, 120, 142]),
    marked=np.array([0, 10, 37, 56, 53, 77, 112, 86, 110, 84, 77, 72, 95]),
    released=np.array([54, 143, 164, 202, 214, 207, 243, 175, 169, 126, 120, 120, 0]),
    seen_again=np.array([24, 80, 70, 71, 109, 101, 108, 99, 70, 58, 44, 35, 0]),
    passed_by=np.array([0, 14, 57, 71, 89, 121, 110, 132, 121, 107, 88, 60, 0]),
)
CAPSIDS_MARKED = [35.02, 170.54, 258.00, 227.73, 324.99, 359.50, 319.33, 402.13, 316.45, 317.00, 277.71]
CAPSIDS_NUMBER = [511.2, 779.1, 963.0, 945.3, 882.2, 802.5, 653.6, 628.8, 478.5, 506.4, 462.8]
CAPSIDS_SURVIVAL = [0.649, 1.015, 0.867, 0.564, 0.836, 0.790, 0.651, 0.985, 0.686, 0.884, 0.771]
CAPSIDS_NUMBER_SE = [151.2, 129.3, 140.9, 125.5, 96.1, 74.8, 61.7, 61.8, 51.8, 65.8, 70.2]
CAPSIDS_SURVIVAL_SE = [0.114, 0.110, 0.107, 0.064, 0.075, 0.070, 0.056, 0.093, 0.080, 0.120, 0.128]


def test_chapman_worked_example():
    found = chapman(**FROGS)
    assert found.value == pytest.approx(33 * 55 / 19 - 1) and round(found.value, 1) == 94.5
    assert found.standard_error == pytest.approx(np.sqrt(33 * 55 * 14 * 36 / (19**2 * 20)))


@pytest.mark.parametrize(("caught", "marked"), [(5, 20), (20, 5)])
def test_no_more_can_be_recaptured_than_were_caught_and_than_are_at_large(caught, marked):
    assert schnabel([10, caught], [0, 5], [0, marked]).value > 0
    with pytest.raises(ValueError, match="more fish were recaptured"):
        schnabel([10, caught], [0, 6], [0, marked])


def test_schnabel_worked_example():
    found = schnabel(GORDY_CAUGHT, GORDY_RECAPTURED, GORDY_MARKED)
    assert found.value * 25 / 24 == pytest.approx(447.5)
    low, high = poisson_limits(24)
    assert (found.low, found.high) == pytest.approx((10740 / high, 10740 / low))


def test_there_are_no_fewer_fish_than_were_seen_to_be():
    found = schnabel([10, 5, 0], [0, 0, 0], [0, 10, 15])
    assert found.low == 15 > 50 / poisson_limits(0)[1]  # ten at large with a mark, and five without one


def test_poisson_limits_of_a_known_count():
    # Garwood's table (from memory): a count of 10 has 4.80 to 18.39, of 0 has 0 to 3.69
    assert poisson_limits(10) == pytest.approx((4.80, 18.39), abs=0.01)
    assert poisson_limits(0) == pytest.approx((0, 3.69), abs=0.01)
    assert poisson_limits(1) == pytest.approx((0.0253, 5.572), rel=1e-3)


def test_jolly_worked_example():
    found = jolly_seber(CAPSIDS, corrected=False)
    np.testing.assert_allclose(found.marked[1:-1], CAPSIDS_MARKED, atol=0.01)
    # the printed numbers rest on marked shares rounded to four digits
    np.testing.assert_allclose(found.number[1:-1], CAPSIDS_NUMBER, rtol=6e-4)
    np.testing.assert_allclose(found.survival[:-2], CAPSIDS_SURVIVAL, atol=6e-4)
    assert np.isnan(found.number[[0, -1]]).all() and np.isnan(found.survival[-2:]).all()
    # the printed errors hold the animals' own luck of living on as well, of that of the number a few per cent
    np.testing.assert_allclose(found.number_se[1:-1], CAPSIDS_NUMBER_SE, rtol=0.05)
    marked = (found.marked - CAPSIDS.marked + CAPSIDS.released)[:-2]
    luck = np.maximum(0.0, found.survival[:-2] * (1.0 - found.survival[:-2])) / marked
    np.testing.assert_allclose(np.sqrt(found.survival_se[:-2] ** 2 + luck), CAPSIDS_SURVIVAL_SE, rtol=0.04)


def test_chapman_limits_hold_the_truth():
    rng = np.random.default_rng(3)
    inside = []
    for truth in (60, 150, 400):
        for _ in range(150):
            found = chapman(50, 60, int(rng.hypergeometric(50, truth - 50, 60)))
            inside.append(found.low <= truth <= found.high)
    assert np.mean(inside) >= 0.94  # exact limits cover at least 95 % (450 draws: standard error 1 %)


@pytest.mark.parametrize(("marked", "caught", "recaptured"), [(50, 60, 7), (32, 54, 18), (200, 30, 1)])
def test_chapman_limits_are_the_last_numbers_that_are_not_refuted(marked, caught, recaptured):
    from scipy.stats import hypergeom

    found = chapman(marked, caught, recaptured)

    def as_few(n):
        return hypergeom.cdf(recaptured, n, marked, caught)

    def as_many(n):
        return hypergeom.sf(recaptured - 1, n, marked, caught)

    assert as_few(found.low - 1) <= 0.025 < as_few(found.low)
    assert as_many(found.high + 1) <= 0.025 < as_many(found.high)


def test_chapman_is_unbiased_where_every_fish_could_be_caught():
    # n1 + n2 >= N: exactly unbiased (Chapman 1951), so the expectation over all outcomes is the truth
    from scipy.stats import hypergeom

    m = np.arange(20, 61)
    expected = sum(p * chapman(60, 80, k).value for k, p in zip(m, hypergeom.pmf(m, 120, 60, 80), strict=True))
    assert expected == pytest.approx(120, rel=1e-9)


def simulate(rng, fish=600, survival=0.7, caught=0.25, occasions=5):
    alive = np.ones(fish, bool)
    seen, living = np.zeros((fish, occasions), bool), np.zeros((fish, occasions), bool)
    for t in range(occasions):
        living[:, t] = alive
        seen[:, t] = alive & (rng.random(fish) < caught)
        alive = alive & (rng.random(fish) < survival)
    return seen[seen.any(1)], living.sum(0)


def test_open_population_recovers_a_simulated_pond():
    rng = np.random.default_rng(11)
    number, survival, held, lived = [], [], [], []
    for _ in range(300):
        seen, living = simulate(rng)
        found = jolly_seber(summarize_captures(seen))
        number.append(found.number[2] / living[2])
        survival.append(found.survival[1])
        low, high = found.number_limits()
        held.append(low[2] <= living[2] <= high[2])
        low, high = found.survival_limits()
        lived.append(low[1] <= living[2] / living[1] <= high[1])
    assert np.mean(number) == pytest.approx(1, abs=0.05)
    assert np.mean(survival) == pytest.approx(0.7, abs=0.03)
    assert 0.90 <= np.mean(held) <= 0.99 and 0.90 <= np.mean(lived) <= 0.99


def test_summary_of_histories_by_hand():
    seen = np.array([[1, 0, 1], [1, 1, 0], [0, 1, 1], [1, 0, 0], [0, 1, 0]], bool)
    lost = np.zeros_like(seen)
    lost[4, 1] = True
    found = summarize_captures(seen, lost, unmarked=[0, 2, 3])
    assert found.caught.tolist() == [3, 5, 5]
    assert found.marked.tolist() == [0, 1, 2]
    assert found.released.tolist() == [3, 2, 2]
    assert found.seen_again.tolist() == [2, 1, 0]
    assert found.passed_by.tolist() == [0, 1, 0]


def test_histories_that_cannot_be():
    seen = np.array([[1, 0, 1]], bool)
    with pytest.raises(ValueError, match="cannot be caught again"):
        summarize_captures(seen, np.array([[1, 0, 0]], bool))
    with pytest.raises(ValueError, match="only be lost"):
        summarize_captures(seen, np.array([[0, 1, 0]], bool))
    with pytest.raises(ValueError, match="three or more occasions"):
        jolly_seber(summarize_captures(seen[:, :2]))


def test_nothing_caught_again_gives_no_number():
    found = jolly_seber(summarize_captures(np.eye(4, dtype=bool)))
    assert np.isnan(found.number).all() and np.isnan(found.survival[1:]).all()
    open_ended = chapman(20, 20, 0)
    assert open_ended.value == 440 and open_ended.low >= 40 and open_ended.high == np.inf
    assert schnabel([10, 10], [0, 0], [0, 10]).high == np.inf


@pytest.mark.parametrize("counts", [(10, 20, 11), (10, 5, 6), (-1, 5, 0), (10.5, 5, 0)])
def test_impossible_recaptures_are_refused(counts):
    with pytest.raises(ValueError):
        chapman(*counts)


@given(st.integers(1, 80), st.integers(1, 80), st.data())
def test_chapman_estimate_lies_within_its_limits(marked, caught, data):
    recaptured = data.draw(st.integers(0, min(marked, caught)))
    found = chapman(marked, caught, recaptured)
    assert found.low - 1 <= found.value <= found.high + 1 and found.low >= marked + caught - recaptured


def tagged(rng, fish=200, end=500.0, rate=0.35, scatter=8.0):
    first, days = rng.uniform(200, 420, fish), rng.uniform(150, 500, fish)
    second = first + (end - first) * -np.expm1(-rate * days / 365.25) + rng.normal(0, scatter, fish)
    return Increments(first, second, days)


def test_growth_is_recovered_within_its_limits():
    rng = np.random.default_rng(5)
    inside = []
    for _ in range(200):
        found = grow_from_tags(tagged(rng, 60))
        inside.append([e.low <= x <= e.high for e, x in ((found.final_length_mm, 500), (found.rate_per_year, 0.35))])
    assert np.all((np.mean(inside, 0) > 0.91) & (np.mean(inside, 0) < 0.985))
    exact = grow_from_tags(tagged(rng, scatter=0.0))
    assert exact.final_length_mm.value == pytest.approx(500, rel=1e-6)
    assert exact.increment(300) == pytest.approx(200 * -np.expm1(-0.35), rel=1e-6)


def test_growth_needs_enough_different_fish():
    with pytest.raises(ValueError, match="ten or more"):
        grow_from_tags(Increments(np.full(9, 300.0), np.full(9, 330.0), np.full(9, 365.0)))
    with pytest.raises(ValueError, match="too alike"):
        grow_from_tags(Increments(np.full(20, 300.0), np.full(20, 330.0), np.full(20, 365.0)))
    first = np.linspace(150.0, 450.0, 40)
    with pytest.raises(ValueError, match="too alike"):  # as fast at any length, they grow towards none
        grow_from_tags(Increments(first, first + 60.0, np.full(40, 365.0)))


def test_growth_is_the_least_squares_of_another_way():
    """Values, errors and limits as of scipy's curve_fit of the same curve in the logarithms of its two figures."""
    from scipy.optimize import curve_fit
    from scipy.stats import t

    pairs = tagged(np.random.default_rng(8), 10)  # ten pairs are enough
    found = grow_from_tags(pairs, 0.9)

    def grown(x, end, rate):
        first, days = x
        return (np.exp(end) - first) * (1 - np.exp(-np.exp(rate) * days / 365.25))

    x = np.array([pairs.first_mm, pairs.days])
    best, spread = curve_fit(grown, x, pairs.second_mm - pairs.first_mm, [np.log(500), np.log(0.4)])
    for e, value, error in zip((found.final_length_mm, found.rate_per_year), best, np.sqrt(np.diag(spread)), strict=True):
        assert e.value == pytest.approx(np.exp(value), rel=1e-4) and e.standard_error == pytest.approx(e.value * error, rel=1e-3)
        assert (e.low, e.high) == pytest.approx(tuple(np.exp(value + t.ppf([0.05, 0.95], 8) * error)), rel=1e-3)
    left = pairs.second_mm - pairs.first_mm - grown(x, *best)
    assert found.scatter_mm == pytest.approx(np.sqrt((left**2).sum() / 8), rel=1e-4) and found.pairs == 10
    later = found.increment(300, 100)
    assert found.increment(300, 0) == 0 and found.increment(300, 350) == pytest.approx(later + found.increment(300 + later, 250))


def test_limits_of_an_open_population_are_symmetric_in_the_logarithm():
    found = jolly_seber(CAPSIDS)
    for value, error, (low, high) in (
        (found.number, found.number_se, found.number_limits(0.9)),
        (found.survival, found.survival_se, found.survival_limits(0.9)),
    ):
        known = np.isfinite(value) & (high < 1.0 if value is found.survival else True) & np.isfinite(error)
        assert known.sum() > 4
        np.testing.assert_allclose(low[known] * high[known], value[known] ** 2)
        sd = np.sqrt(np.log(1 + (error / value) ** 2))[known]  # of a log-normal with such an error
        np.testing.assert_allclose(np.log(high / low)[known], 2 * 1.6448536 * sd, rtol=1e-6)
    assert np.nanmax(found.survival) > 1.0 and np.nanmax(found.survival_limits()[1]) == 1.0
    for of in (found.number_limits, found.survival_limits):
        np.testing.assert_array_equal(of(), of(0.95))


def test_three_occasions_are_enough_and_two_are_not():
    def first(n):
        return CaptureSummary(*(getattr(CAPSIDS, name)[:n] for name in CaptureSummary.__dataclass_fields__))

    assert np.isfinite(jolly_seber(first(3)).number[1])
    with pytest.raises(ValueError, match="three or more occasions, not 2"):
        jolly_seber(first(2))


def test_limits_are_those_of_95_percent_unless_another_share_is_asked_for():
    assert poisson_limits(7) == poisson_limits(7, 0.95) and chapman(**FROGS) == chapman(**FROGS, confidence=0.95)
    gordy = (GORDY_CAUGHT, GORDY_RECAPTURED, GORDY_MARKED)
    assert schnabel(*gordy) == schnabel(*gordy, confidence=0.95)
    assert schnabel(*gordy).standard_error == pytest.approx(schnabel(*gordy).value / 24**0.5)
    pairs = tagged(np.random.default_rng(8), 20)
    assert grow_from_tags(pairs) == grow_from_tags(pairs, 0.95)


def test_growth_of_marked_fish_is_told_by_the_year():
    pairs = Increments(*(np.array(x) for x in ([300.0, 200.0], [330.0, 190.0], [365.25 / 2, 731.0])))
    assert pairs.mm_per_year == pytest.approx([60.0, -4.9966], rel=1e-4)


def test_the_corrected_form_by_hand_which_is_the_usual_one():
    """M = m + (R + 1)·z/(r + 1) and N = M·(n + 1)/(m + 1) of the second occasion."""
    found = jolly_seber(CAPSIDS)
    marked = 10 + 144 * 14 / 81
    assert found.marked[1] == pytest.approx(marked) and found.number[1] == pytest.approx(marked * 147 / 11)
    assert found.survival[0] == pytest.approx(marked / 54)
    np.testing.assert_array_equal(found.number, jolly_seber(CAPSIDS, corrected=True).number)


@pytest.mark.parametrize("start", [0, 7])
def test_the_first_number_of_which_something_holds_is_found_wherever_it_is(start):
    for first in range(120):
        assert _first(lambda n, first=first: n >= first, start) == max(first, start)
    with pytest.raises(ValueError, match="no limit found"):
        _first(lambda n: False, start)
