"""Each observation by hand: what it expects of a pond, the chance of every outcome, its draws and its figures."""

import numpy as np
import pytest
from scipy import stats

from pondpop.species import SPECIES
from pondpop.update.likelihood import CATCHABILITY, REPORTING, Haul, KeptInBooks, Mean, Outing, View, growth_of, wr_of
from pondpop.update.shares import Recaptured, Returned, _log_chance_of_shares, _log_odds_by_year

OFF = (0.0, 1.0, -2.0)  # of three ponds, in standard deviations


def view(doubt, **seen):
    """Three ponds of 2 ha seen on day 7, unlike in one doubt."""
    return View(seen, (7,), 2.0, np.full(9, 20.0), {doubt: np.array(OFF)})


def log_normal(spread):
    """Multipliers about a mean of one."""
    return np.exp(spread * np.array(OFF) - spread**2 / 2)


def of_all(chances):
    return np.exp(np.array(chances)).sum(axis=0)


def many(one, expected, count=4000):
    """Draws about what ponds have [draw, pond, value]."""
    return one.draw(np.tile(expected, (count, 1)), np.random.default_rng(3)).reshape(count, len(expected), -1)


def returned(data=3.0, tagged=20):
    return Returned("a", "bass", 7, 1, tagged, np.array([data]))


def test_tags_are_handed_in_of_six_in_ten_kept_fish():
    one = returned()
    assert one.doubts == ("offset tags handed in bass",)
    kept = np.array([[9.0, 10.0], [9.0, 10.0], [9.0, 10.0]])
    assert one.expected(view(one.doubts[0], marked_kept=kept))[:, 0] == pytest.approx(0.6 * log_normal(0.3) * 10 / 20)
    none, every = one.expected(view(one.doubts[0], marked_kept=np.zeros((3, 2)))), one.expected(
        view(one.doubts[0], marked_kept=np.full((3, 2), 99.0))
    )
    assert none[:, 0].tolist() == [0.002] * 3 and every[:, 0].tolist() == [0.95] * 3
    assert one.figures(np.array([[3.0], [5.0]]))["tags handed in"][1].tolist() == [15.0, 25.0]


def test_the_chance_of_tags_is_beta_binomial_and_adds_up_to_one():
    """Of 60 independent fish a share of 0.3 has the strengths 18 and 42."""
    one, share = returned(tagged=12), np.array([[0.3], [0.5]])
    chances = [one.log_likelihood(share, np.array([float(n)])) for n in range(13)]
    assert of_all(chances) == pytest.approx([1.0, 1.0])
    assert np.array(chances)[:, 0] == pytest.approx(stats.betabinom.logpmf(np.arange(13), 12, 18.0, 42.0))
    drawn = many(one, share)[..., 0]
    assert drawn.mean(axis=0) == pytest.approx([3.6, 6.0], rel=0.04)
    assert drawn.var(axis=0) == pytest.approx([stats.betabinom.var(12, 18, 42), stats.betabinom.var(12, 30, 30)], rel=0.12)
    assert one.typical(share)[:, 0] == pytest.approx([3.6, 6.0])
    assert one.summary(np.array([3.0])) == pytest.approx(np.log(4.0))


def test_fish_kept_in_books_are_those_of_the_whole_pond_with_a_few_strays():
    one = KeptInBooks("a", "bass", 7, 0, np.array([12.0]))
    assert one.doubts == (REPORTING,)
    there = one.expected(view(REPORTING, kept=np.full((3, 1), 5.0)))[:, 0]
    assert there == pytest.approx(log_normal(0.1) * 5.0 * 2.0 + 0.1)
    mean = np.array([[10.0], [40.0]])
    chances = [one.log_likelihood(mean, np.array([float(n)])) for n in range(200)]
    assert of_all(chances) == pytest.approx([1.0, 1.0])
    n = np.arange(200)
    for k, m in enumerate((10.0, 40.0)):  # beyond a count one tenth, as a share
        weight = np.exp(np.array(chances)[:, k])
        assert weight @ n == pytest.approx(m) and weight @ (n - m) ** 2 == pytest.approx(m + (0.1 * m) ** 2)
    drawn = many(one, mean)[..., 0]
    assert drawn.mean(axis=0) == pytest.approx([10, 40], rel=0.03)
    assert drawn.var(axis=0) == pytest.approx([11, 56], rel=0.12)
    assert one.figures(np.array([[7.0]]))["kept"][1].tolist() == [7.0] and one.typical(mean) is mean
    assert one.summary(np.array([7.0])) == pytest.approx(np.log(8.0))


def marks(days=(0, 1), low=8, high=12, examined=30, data=(2.0, 3.0)):
    return Recaptured("a", "marks", "bass", "electrofishing", 7, days, low, high, examined, np.array(data))


def test_marked_fish_are_a_share_of_those_of_their_lengths_each_day_of_marking_apart():
    number, marked = np.zeros((3, 1, len(SPECIES), 32)), np.zeros((3, 2, 32))
    number[:, 0, SPECIES.index("bass"), [9, 12]] = 50.0, 500.0  # 100 in 2 ha, and others that are longer
    marked[:, 0, 9], marked[:, 1, 9], marked[:, :, 12] = 15.0, 5.0, 99.0
    one = marks()
    share = one.expected(view(one.doubts[0], number=number, marked=marked))
    assert share.sum(axis=1) == pytest.approx(0.95 * log_normal(0.15) * 0.2, rel=1e-3)
    assert share[:, 0] / share[:, 1] == pytest.approx(np.full(3, 3.0), rel=1e-3)
    of_few = one.expected(view(one.doubts[0], number=number, marked=0.0 * marked))
    assert of_few.sum(axis=1) == pytest.approx([0.002] * 3) and of_few[:, 0] == pytest.approx(of_few[:, 1])
    assert one.expected(view(one.doubts[0], number=0.0 * number, marked=marked)).sum(axis=1) == pytest.approx([0.95] * 3)
    assert one.figures(np.array([[2.0, 4.0]]))["marks 8_12in"][1].tolist() == [20.0]
    assert one.typical(share) == pytest.approx(30 * share)


def test_the_chance_of_marks_of_two_days_adds_up_to_one():
    one, share = marks(examined=8), np.array([[0.2, 0.1]])
    chances = [one.log_likelihood(share, np.array([a, b], float)) for a in range(9) for b in range(9 - a)]
    assert of_all(chances) == pytest.approx([1.0])
    drawn = many(one, share)[:, 0]
    assert drawn.mean(axis=0) == pytest.approx([1.6, 0.8], rel=0.07)
    spread = 8 * 0.2 * 0.8 * (8 + 60) / (1 + 60)  # Dirichlet-multinomial of 60 independent fish
    assert drawn[:, 0].var() == pytest.approx(spread, rel=0.12)


def test_odds_by_year_are_of_that_year_or_one_before():
    """Of 2, 3 and 5 fish: 2 against 8 and 5 against 5, half a fish added to each."""
    assert _log_odds_by_year(np.array([2.0, 3.0, 5.0])) == pytest.approx([np.log(2.5 / 8.5), np.log(5.5 / 5.5)])
    one = marks()
    assert one.summary(np.array([2.0, 3.0])) == pytest.approx([np.log(6.0), np.log(2.5 / 3.5)])


def test_shares_of_two_parts_are_beta_binomial():
    chance = _log_chance_of_shares(np.array([3.0, 9.0]), np.array([1.5, 4.0]))
    assert chance == pytest.approx(stats.betabinom.logpmf(3, 12, 1.5, 4.0))


def mean(fish=4, offsets=None):
    seen = type("Read", (), {"day": 7, "__call__": lambda self, view: view.seen["wr"]})()
    return Mean("a", "Wr", "%", np.array([92.0]), fish, 8.0, 3.0, (90.0, 30.0), seen, offsets or {})


def test_a_mean_is_off_by_what_other_records_share_with_it():
    one = mean(offsets={"offset a": 5.0, "offset b": 2.0})
    there = View({"wr": np.array([95.0, np.nan])}, (7,), 2.0, np.full(9, 20.0),
                 {"offset a": np.array([1.0, 0.0]), "offset b": np.array([-2.0, 0.0])})  # fmt: skip
    expected = one.expected(there)
    assert expected[0] == pytest.approx([96.0]) and np.isnan(expected[1])
    assert one.day == 7 and one.doubts == ("offset a", "offset b")
    sd = np.hypot(8.0 / 2, 3.0)
    chance = one.log_likelihood(expected, np.array([92.0]))
    assert chance == pytest.approx([stats.norm.logpdf(92, 96, sd), stats.norm.logpdf(92, 90, 30)])  # the second has no such fish
    assert one.typical(expected)[:, 0] == pytest.approx([96.0, 90.0])
    drawn = many(one, expected)[..., 0]
    assert drawn.mean(axis=0) == pytest.approx([96, 90], abs=3.0) and drawn.std(axis=0) == pytest.approx([sd, 30], rel=0.08)


def test_means_differ_by_what_is_assumed_of_fish_of_the_model_and_of_what_is_wrong_alike():
    """Growth: 12 mm of the model, 30 between fish, 8 alike in all records; Wr: 4 %, 5 alike and 4 more in one survey."""
    grown = growth_of(0, 99, "bass", "growth", 50.0, 9, "2027-04-01 tags")
    known, none = grown.log_likelihood(np.array([[70.0], [np.nan]]), np.array([50.0]))
    assert known == pytest.approx(stats.norm.logpdf(50, 70, np.hypot(12, 30 / 3)), rel=1e-9)
    assert none == pytest.approx(stats.norm.logpdf(50, 60, 60), rel=1e-9)
    assert grown.offsets == {"offset growth bass": 8.0}
    weighed = wr_of(99, "bass", "electrofishing", 8, 12, 92.0, 10**12, "2027-04-01 electrofishing")
    known, none = weighed.log_likelihood(np.array([[96.0], [np.nan]]), np.array([92.0]))
    assert known == pytest.approx(stats.norm.logpdf(92, 96, 4), rel=1e-9)
    assert none == pytest.approx(stats.norm.logpdf(92, 90, 30), rel=1e-9)
    assert weighed.offsets == {"offset Wr bass": 5.0, "offset Wr bass 2027-04-01": 4.0}


def haul(outings, data, bins=None, species="bass", used="electrofishing"):
    given = {} if bins is None else {"bins": bins}
    return Haul("a", species, used, outings, np.array(data, float), **given)


def test_a_haul_counts_where_the_effort_of_every_day_is_known():
    data = np.zeros(33)
    data[[9, 14, 32]] = 3.0, 1.0, 2.0  # of 9 and 14 in, and two that were not measured
    known, half = haul((Outing(3, 1.0), Outing(7, 2.0)), data), haul((Outing(3, 1.0), Outing(7, None)), data)
    assert known.counts and not half.counts and known.day == half.day == 7
    assert known.doubts == (f"{CATCHABILITY}electrofishing bass",)
    assert known.figures(data)["caught"][1] == 6.0 and "caught" not in half.figures(data)
    length = known.figures(data)["mean length"][1]
    assert length == pytest.approx((3 * 9.5 + 14.5) / 4 * 25.4)
    assert np.isnan(known.figures(np.zeros(33))["mean length"][1])
    roots = known.summary(data)
    assert roots[[9, 14]] == pytest.approx([0.75**0.5, 0.5]) and roots[-1] == pytest.approx(np.log(7.0)) and len(roots) == 33
    assert len(half.summary(data)) == 32
    assert known.as_long(data).tolist() == [4.0, 4.0, 1.0, 0.0, 0.0, 0.0]  # all, stock, quality (12 in), …


def test_more_effort_catches_more_and_some_fish_are_strays():
    number = np.zeros((3, 1, len(SPECIES), 32))
    number[:, 0, SPECIES.index("bass"), 12] = 40.0
    there = view(f"{CATCHABILITY}electrofishing bass", number=number)
    one, two = (haul((Outing(7, hours, 20.0),), np.zeros(33)).expected(there) for hours in (1.0, 2.0))
    assert (one[:, -1] == 0).all() and one[:, :-1].min() > 0.1 / 32 - 1e-9
    seen, twice = one[:, :-1].sum(axis=1) - 0.1, two[:, :-1].sum(axis=1) - 0.1  # without the strays, as many in any time
    assert (twice > 1.5 * seen).all() and (twice < 2 * seen).all()  # the second hour finds fewer
    assert seen[1] > seen[0] > seen[2]
    far = one[0, 25] - 0.1 / 32  # no fish of 12 in is measured at 25 in: only those of other lengths than the model has
    assert far == pytest.approx(0.02 * seen[0] / 32, rel=1e-6)
    days = haul((Outing(7, 1.0, 20.0), Outing(7, 1.0, 20.0)), np.zeros(33)).expected(there)
    assert days[:, :-1].sum(axis=1) - 0.1 == pytest.approx(2 * seen)
    unknown = haul((Outing(7, None, 20.0),), np.zeros(33)).expected(there)
    assert unknown == pytest.approx(one)
    assert haul((Outing(7, 1.0),), np.zeros(33)).expected(there) == pytest.approx(one)  # the water as expected on that day, 20
