"""Groups that have become alike join: what is kept to the last digit but rounding, and who stays apart."""

from __future__ import annotations

import copy
from types import SimpleNamespace

import numpy as np
import pytest
from laws import EVERYTHING, inputs
from small import pond

from pondpop.ensemble.draws import Prior
from pondpop.ensemble.prepare import prepare
from pondpop.model import joining
from pondpop.model.day import Engine
from pondpop.model.lengths import UNCUT
from pondpop.observe.observers import read_survey
from pondpop.species import SPECIES


def engine_after(days: int, within: float, members: int = 3, first: int = 0) -> Engine:
    scenario = pond(100, 2, EVERYTHING)
    strategy = scenario.strategies["few"]
    parameters, luck = Prior().draw(scenario, strategy, first, members)
    engine = Engine(prepare(scenario, strategy, parameters.replace("pond.join_within", within), luck))
    for _ in range(days):
        engine.run_day()
    return engine


@pytest.fixture(scope="module")
def after_500_days() -> Engine:
    return engine_after(500, 0.0)


@pytest.fixture
def unjoined(after_500_days: Engine) -> Engine:
    """A pond of a test's own, whose groups it may join."""
    return copy.deepcopy(after_500_days)


def totals(engine: Engine) -> dict[str, np.ndarray]:
    """Sums over each member's groups of one species, that joining keeps [member, species]."""
    s = engine.state
    amounts = {
        "number": s.number,
        "biomass": s.biomass(),
        "log length": s.number * s.log_length,
        "its square": s.number * (s.spread**2 + s.log_length**2),
        "birthday": s.number * s.columns.born,
        "growth": s.number * s.grown,
        "ration": s.biomass() * s.ration,
    }
    return {
        name: np.stack([amount[:, groups].sum(axis=1) for groups in engine.slices], axis=1)
        for name, amount in amounts.items()
    }


def join(engine: Engine, within: float) -> None:
    engine.parameters = engine.parameters.replace("pond.join_within", within)
    engine.state.join(joining.alike(engine))


@pytest.mark.parametrize("within", [0.3, 1.0, 3.0])
def test_joining_keeps_fish_weight_mean_and_variance_of_length_and_age(unjoined, within):
    before, groups = totals(unjoined), (unjoined.state.number > 0.0).sum()
    join(unjoined, within)
    assert (unjoined.state.number > 0.0).sum() < groups
    for name, amount in totals(unjoined).items():
        np.testing.assert_allclose(amount, before[name], rtol=1e-12, atol=1e-12, err_msg=name)


@pytest.mark.parametrize("within", [0.3, 1.0, 3.0])
def test_what_has_joined_has_no_more_to_join(unjoined, within):
    """Groups join on until none are alike; those that join one after another are placed where their fish are."""
    unjoined.parameters = unjoined.parameters.replace("pond.join_within", within)
    first = joining.alike(unjoined)
    assert np.unique(first[first >= 0], return_counts=True)[1].max() > 2
    unjoined.state.join(first)
    then = joining.alike(unjoined)
    assert np.unique(then[then >= 0]).size == (then >= 0).sum() > 0


def test_stocked_fish_stay_by_themselves_and_year_classes_apart(unjoined):
    s = unjoined.state
    stocked = (s.columns.origin >= 0) & (s.number > 0.0)
    before = [s.number[stocked].copy(), s.log_length[stocked].copy()]
    young = read_survey(unjoined)["age0_number"]
    year = np.where(s.number > 0.0, joining.year_of_birth(unjoined), -1)
    assert np.unique(year[(s.columns.origin < 0) & (s.number > 0.0)]).size > 1

    def of_years() -> np.ndarray:
        now = np.where(s.columns.origin < 0, joining.year_of_birth(unjoined), -1)
        return np.array([[(s.number * (now == k))[m].sum() for k in range(-1, 2)] for m in range(s.members)])

    was = of_years()
    join(unjoined, 3.0)
    np.testing.assert_array_equal(s.number[stocked], before[0])
    np.testing.assert_array_equal(s.log_length[stocked], before[1])
    np.testing.assert_allclose(of_years(), was, rtol=1e-12)
    np.testing.assert_allclose(read_survey(unjoined)["age0_number"], young, rtol=1e-12)


def test_only_fish_of_one_kind_and_length_are_alike(unjoined):
    s = unjoined.state
    unjoined.parameters = unjoined.parameters.replace("pond.join_within", 0.3)
    s.high[:, -1] = 1.0  # cut by a removal
    labels = joining.alike(unjoined)
    assert (labels[:, -1] == -1).all()
    for label in np.unique(labels[labels >= 0]):
        member, group = np.nonzero(labels == label)
        assert np.unique(member).size == 1
        assert np.unique(s.columns.species[group]).size == 1
        for kind in (s.columns.sex, s.columns.growth_z):
            assert np.unique(kind[member, group]).size == 1
        year = joining.year_of_birth(unjoined)
        assert np.unique(year[member, group]).size == 1
        m, species = member[0], s.columns.species[group[0]]
        brood = (labels[m] >= 0) & (s.columns.species == species) & (year[m] == year[m, group[0]])
        fish, length = s.number[m, group], s.log_length[m, group]
        between = (fish * (length - np.average(length, weights=fish)) ** 2).sum() / s.number[m, brood].sum()
        assert between <= (group.size - 1) * 0.3**2 * 0.065**2 / 4.0 + 1e-15
        assert np.ptp(length) <= (group.size - 1) * 0.065
    assert len(SPECIES) * s.members < np.unique(labels).size < (labels >= 0).sum()
    assert s.high[:, 0].max() == UNCUT


def of_one_brood(fish, log_lengths, within):
    """A pond of one brood whose lengths spread by a quarter: its groups' fish, and their mean log lengths."""
    one, none = np.ones((1, len(fish))), np.zeros((1, len(fish)))
    columns = SimpleNamespace(
        species=np.zeros(len(fish), int), origin=-one.astype(int), sex=one, growth_z=none, born=none
    )  # fmt: skip
    return SimpleNamespace(
        parameters=SimpleNamespace(
            join_within=np.array([within]), length_cv=np.array([0.25]), recruit_age_years=np.zeros(1)
        ),
        state=SimpleNamespace(
            number=np.array([fish], float), log_length=np.array([log_lengths]), log_weight=none, low=-UNCUT * one,
            high=UNCUT * one, columns=columns, members=1,
        ),
        inputs=SimpleNamespace(years=1, days=1, year=np.zeros(1, int)),
    )  # fmt: skip


@pytest.mark.parametrize(("within", "fish", "apart", "join"), [
    (1.0, (4, 4), 0.25, True), (1.0, (4, 4), 0.251, False),  # halves as far apart as a brood's fish spread
    (0.5, (1, 31), 0.25, True), (0.5, (1, 31), 0.251, False),  # a small part, from twice as far and no farther than that
])  # fmt: skip
def test_groups_join_up_to_the_distance_that_is_said_and_at_it(within, fish, apart, join):
    labels = joining.alike(of_one_brood(fish, (0.0, apart), within))
    assert (np.unique(labels).size == 1) == join


def test_of_groups_equally_near_one_another_the_shortest_join_first():
    evenly = of_one_brood((1, 1, 1, 1), (0.0, 0.125, 0.25, 0.375), 1.0)
    assert joining.alike(evenly).tolist() == [[0, 0, 0, 0]]
    few = of_one_brood((1, 1, 1), (0.0, 0.125, 0.25), 0.5)
    assert joining.alike(few).tolist() == [[0, 0, 1]]


def test_groups_of_one_label_join_and_those_without_stay_as_they_are():
    engine = Engine(inputs(members=1))
    engine.run_day()
    s = engine.state
    one, other = np.flatnonzero(s.columns.species == SPECIES.index("bluegill"))[:2]
    fish, labels = s.number[0].copy(), np.full(s.number.shape, -1)
    assert fish.size > 2 and not s.join(labels)
    labels[0, [one, other]] = 0
    assert s.join(labels)
    joined = fish.copy()
    joined[one], joined[other] = fish[one] + fish[other], 0.0
    np.testing.assert_allclose(s.number[0], joined, rtol=1e-12)


def test_a_threshold_of_none_joins_none(unjoined):
    number = unjoined.state.number.copy()
    join(unjoined, 0.0)
    np.testing.assert_array_equal(unjoined.state.number, number)
    assert (joining.alike(unjoined) == -1).all()


def test_fewer_groups_are_nearly_the_same_pond():
    many, few = engine_after(720, 0.0), engine_after(720, 0.3)
    assert (few.state.number > 0.0).sum() < 0.9 * (many.state.number > 0.0).sum()
    crops = [np.stack([e.state.biomass()[:, g].sum(axis=1) for g in e.slices], axis=1) for e in (many, few)]
    worth = crops[0] > 1.0
    np.testing.assert_allclose(crops[1][worth], crops[0][worth], rtol=0.01)


def test_a_member_joins_alike_whoever_shares_its_block():
    block, alone = engine_after(600, 0.5, members=3), engine_after(600, 0.5, members=1, first=2)
    there, own = block.state.number[2] > 0.0, alone.state.number[0] > 0.0
    for name in ("number", "log_weight", "log_length", "spread", "grown", "ration"):
        np.testing.assert_array_equal(getattr(block.state, name)[2, there], getattr(alone.state, name)[0, own])
    np.testing.assert_array_equal(block.state.columns.born[2, there], alone.state.columns.born[0, own])
