"""Plans: the search finds a known optimum with few looks; what is confirmed is confirmed on members it has not seen."""

import csv
import io
import itertools
import tomllib
from types import SimpleNamespace

import numpy as np
import pytest
from small import TEXT, readings

from pondpop import cli
from pondpop.checks import InputError
from pondpop.decide import goals, plan_search
from pondpop.decide import plan as planning
from pondpop.decide.plan import AS_IN_FILE, FILES_OWN, FRESH, plan, worth
from pondpop.decide.plan_phrases import plan_answer, plan_csv, plan_text
from pondpop.decide.plan_search import Record, search
from pondpop.decide.sweep_paths import Axis
from pondpop.ensemble import results
from pondpop.ensemble.draws import Prior
from pondpop.ensemble.run import Variant, project_all
from pondpop.scenario import Goal

PER_ACRE = "strategies.few.stocking.young_bass.per_acre"
LENGTH = "strategies.few.stocking.young_bass.length_in"
EXTRA = '[[goals]]\nkind = "bass_above"\nabove_lb = 1\n[costs]\nper_bass = 2.0\n'


# --- the search alone


class Hill:
    """A hill whose top is known: worth falls with the distance from it, all members see it, each with luck of its own."""

    def __init__(self, seed: int, sizes: tuple[int, ...], noise: float = 1.0) -> None:
        dealt = np.random.default_rng(seed)
        self.seed, self.sizes, self.noise, self.looked = seed, sizes, noise, 0
        self.top = dealt.uniform(0.15, 0.85, len(sizes))
        slopes = 0.5 * dealt.normal(size=(len(sizes), len(sizes)))
        self.curve = slopes @ slopes.T + 1.5 * np.eye(len(sizes))

    def height(self, place):
        away = np.array(place) / (np.array(self.sizes) - 1) - self.top
        return -8.0 * float(away @ self.curve @ away)

    def __call__(self, places, first, count):
        self.looked += len(places) * count
        members = range(first, first + count)
        shared = np.array([4.0 * np.random.default_rng([self.seed, 1, m]).normal() for m in members])
        own = [[np.random.default_rng([self.seed, 2, m, *place]).normal() for m in members] for place in places]
        return np.array([self.height(place) for place in places])[:, None] + shared + self.noise * np.array(own)


def test_search_finds_the_top_with_few_looks():
    near = 0
    for seed in range(20):
        hill = Hill(seed, (7, 7, 7, 7))
        record = search(hill.sizes, hill, 64, seed=seed)
        top = max(hill.height(place) for place in itertools.product(range(7), repeat=4))
        near += top - hill.height(record.ranked(64)[0]) < 1.0
        assert hill.looked == record.looks < 2401 * 64 / 50
    assert near >= 19


def test_search_is_the_same_again_and_starts_where_it_is_told():
    hill = Hill(3, (9, 9, 9))
    one, two = (search(hill.sizes, hill, 16, begin=[(8, 8, 8)], seed=5) for _ in range(2))
    assert list(one.worth) == list(two.worth)
    assert all(np.array_equal(one.worth[place], two.worth[place]) for place in one.worth)
    assert next(iter(one.worth)) == (8, 8, 8)


def test_a_surface_is_laid_once_in_every_round_by_what_its_members_said(monkeypatch):
    laid, real = [], plan_search._promised

    def promised(record, shape, seed):
        laid.append((seed, len(record.ranked(seed - 100))))
        return real(record, shape, seed)

    monkeypatch.setattr(plan_search, "_promised", promised)
    hill = Hill(4, (9, 9))
    search(hill.sizes, hill, 64, seed=100)
    assert [seed - 100 for seed, _ in laid] == plan_search._rounds(64) and all(seen for _, seen in laid)


@pytest.mark.parametrize(("top", "best", "looked"), [(3, 3, 5), (19, 8, 9)])
def test_the_leader_climbs_until_no_neighbour_is_better_but_eight_steps_in_a_round_at_most(monkeypatch, top, best, looked):
    monkeypatch.setattr(plan_search, "_spread_out", lambda *given: [])
    monkeypatch.setattr(plan_search, "_promised", lambda *given: [])
    record = search((20,), lambda places, first, count: np.array([[-abs(k - top)] * count for (k,) in places]), 8, begin=[(0,)])
    assert record.ranked(8)[0] == (best,) and sorted(record.worth) == [(k,) for k in range(looked)]


def test_twelve_places_are_followed_from_one_round_to_the_next(monkeypatch):
    """Of fourteen that are as good as one another, and the neighbour of the leader, which is the first of them."""
    monkeypatch.setattr(plan_search, "_spread_out", lambda *given: [])
    monkeypatch.setattr(plan_search, "_promised", lambda *given: [])
    record = search((40,), lambda places, first, count: np.zeros((len(places), count)), 16, begin=[(k,) for k in range(0, 28, 2)])
    assert sorted(worth.size for worth in record.worth.values()) == [8] * 3 + [16] * 12


def test_a_place_that_is_not_allowed_is_never_best():
    hill = Hill(1, (9, 9), noise=0.0)

    def look(places, first, count):
        found = hill(places, first, count)
        found[[place[0] > 2 for place in places]] = -np.inf
        return found

    record = search(hill.sizes, look, 16)
    allowed = [place for place in itertools.product(range(9), repeat=2) if place[0] <= 2]
    assert hill.top[0] > 3 / 8  # the top itself is out of bounds
    assert record.ranked(16)[0] == max(allowed, key=hill.height)
    assert all(place[0] <= 2 for place in record.allowed)


def test_on_an_axis_without_order_every_value_is_a_neighbour():
    heights = {0: 0.0, 1: -9.0, 2: -9.0, 3: -9.0, 4: -9.0, 5: 5.0}

    def look(places, first, count):
        return np.array([[heights[place[0]] + place[1]] * count for place in places])

    record = search((6, 2), look, 8, begin=[(0, 0)], in_order=(False, True), start=1)
    assert record.ranked(8)[0] == (5, 1)


def seen(worths):
    """A record of places with these worths by member."""
    return Record({place: np.array(worth, dtype=float) for place, worth in worths.items()})


def test_members_double_from_round_to_round():
    assert plan_search._rounds(64) == [8, 16, 32, 64] and plan_search._rounds(20) == [8, 16, 20]
    assert plan_search._rounds(8) == [8] and plan_search._rounds(3) == [3]


def test_a_step_is_taken_on_one_axis_and_stays_on_the_grid():
    found = plan_search._neighbours((0, 2, 1), (3, 4, 3), (True, False, True))
    assert found == [(1, 2, 1), (0, 0, 1), (0, 1, 1), (0, 3, 1), (0, 2, 0), (0, 2, 2)]


@pytest.mark.parametrize("sizes", [(7, 7), (9, 3, 5), (64, 64), (65, 65)])
def test_the_start_and_the_surface_reach_all_of_the_grid(sizes):
    every = set(itertools.product(*map(range, sizes)))
    spread = plan_search._spread_out(sizes, max(sizes), 5)
    assert len(spread) <= max(sizes) and set(spread) <= every
    for axis, size in enumerate(sizes):  # a Latin hypercube: no part of an axis is left out
        assert {place[axis] for place in spread} == set(range(size))
    assert set(plan_search._spread_out(sizes, len(every), 5)) == every
    read = [tuple(row) for row in plan_search._places_to_read(sizes, 5).tolist()]
    assert set(read) <= every and (set(read) == every) == (len(every) <= 4096) and len(read) == min(len(every), 4096)


@pytest.mark.parametrize("top", [(4.0, 4.0), (1.4, 6.3), (6.0, 2.0)])
def test_a_quadratic_surface_promises_the_top_of_a_quadratic_hill(top):
    def height(place):
        x, y = (np.array(place) - top) / 4.0
        return 3.0 - 5.0 * x * x - 4.0 * y * y + 2.0 * x * y

    every = list(itertools.product(range(9), repeat=2))
    near = sorted(every, key=height, reverse=True)
    looked = plan_search._spread_out((9, 9), 40, 2)
    record = seen({place: [height(place)] * 8 for place in looked if place not in near[:4]})
    promised = plan_search._promised(record, (9, 9), 1)
    assert len(promised) == 4 and set(promised) & set(near[:4])
    assert not set(promised) & set(record.worth)
    for count in (5, 6):  # of fewer than three places an axis too little is seen for a surface
        few = dict(itertools.islice(record.worth.items(), count))
        assert len(plan_search._promised(Record(few), (9, 9), 1)) == (4 if count == 6 else 0)


def test_a_surface_believes_what_many_members_say():
    every = {(k,): [-abs(k - 6.0) * 0.1] * 64 for k in (0, 2, 4, 8)}
    misled = seen(every | {(1,): [3.0]})
    assert plan_search._promised(misled, (9,), 1)[0][0] >= 3


def test_a_place_is_out_of_question_where_the_members_speak_clearly_against_it():
    swing = np.array([1.0, -1.0] * 8)  # the error of its mean is 0.258
    record = seen({(0,): np.zeros(16), (1,): swing - 0.50, (2,): swing - 0.53, (3,): [-9.0], (4,): [-np.inf] * 16})
    out = [place for place in record.worth if plan_search._out_of_question(record, place, (0,))]
    assert out == [(2,), (4,)]  # of one member nothing is clear
    assert not plan_search._out_of_question(record, (7,), (0,))


def test_a_record_compares_the_members_that_both_were_looked_at_in():
    record = seen({(0,): [1.0, 2.0, 3.0], (1,): [4.0, 0.0], (2,): [-np.inf, -np.inf]})
    assert record.against((0,), (1,)).tolist() == [-3.0, 2.0]
    assert record.ranked() == [(0,), (1,)] and record.ranked(3) == [(0,)] and record.looks == 7


def test_places_are_looked_at_on_from_where_they_stand():
    asked, record = [], seen({(0,): [1.0, 2.0], (1,): [-np.inf, 0.0]})

    def look(places, first, count):
        asked.append((list(places), first, count))
        return np.full((len(places), count), 5.0)

    plan_search._extend(record, [(0,), (1,), (2,), (3,)], 4, look)
    assert asked == [([(2,), (3,)], 0, 4), ([(0,)], 2, 2)]
    assert record.worth[(0,)].tolist() == [1.0, 2.0, 5.0, 5.0] and record.worth[(1,)].size == 2


# --- worth


def _scores(values, kind="bass_above", unit="fish", better=1, weight=1.0, matters=2.0):
    goal = Goal(kind, weight=weight, above_g=1000.0, matters=matters)
    return goals.Score(goal, "", unit, better, np.array(values), ())


def test_worth_counts_differences_that_matter_by_their_weights():
    fish = _scores([[4.0, 6.0], [8.0, np.nan]], weight=3.0)
    points = _scores([[10.0, 20.0], [4.0, 4.0]], "balanced", "points", -1, 1.0, 5.0)
    assert worth([fish, points]) == pytest.approx(np.array([[0.75 * 2 - 0.25 * 2, 0.75 * 3 - 1], [0.75 * 4 - 0.2, -0.2]]))


# --- ponds


TOLD = []


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    file = tmp_path_factory.mktemp("plan") / "pond.toml"
    file.write_text(TEXT + EXTRA)
    return plan(file, {PER_ACRE: (10, 30, 60), LENGTH: (5, 6, 8)}, search_members=4, progress=lambda *far: TOLD.append(far))


def test_finalists_are_judged_on_members_the_search_has_not_seen(found):
    made = found.trials[0].scenario
    assert made.ensemble.members == 3
    readings = next(iter(project_all([Variant(made, "few")], first=FRESH)))
    score = goals.scores(results.to_dataset(made, {"few": readings}, {}))[0]
    assert np.array_equal(found.decision.scores[0].values[0], score.values[0])


def test_progress_counts_every_pond_that_is_run(found):
    done = [far for far, _ in TOLD]
    assert done == sorted(done) and all(0 <= far <= of for far, of in TOLD)
    confirmed, compared = 3 * len(found.trials), 3 * (1 + len(found.changes))
    assert TOLD[-1] == (sum(one.members for one in found.tried) + confirmed + compared,) * 2


def test_the_files_own_plan_stands_beside_the_finalists(found):
    assert found.decision.names[-1] == FILES_OWN
    own = found.trials[-1].scenario.strategies["few"].stocking[-1]
    assert (own.per_ha, own.length_mm) == (30 / 0.40468564224, 6 * 25.4)


def test_a_change_alters_one_decision(found):
    base = found.best or (AS_IN_FILE, AS_IN_FILE)
    for change in found.changes:
        assert change.value != base[change.axis]
        assert change.decision.names[0] == "this plan"
    assert {change.axis for change in found.changes} == {0, 1}


def test_the_value_that_the_file_has_is_no_change_of_it(tmp_path):
    (tmp_path / "pond.toml").write_text(TEXT + EXTRA)
    found = plan(tmp_path / "pond.toml", {PER_ACRE: (30, 60), LENGTH: (6, 8)}, search_members=4)
    assert found.best == (30, 8)
    assert [change.value for change in found.changes] == [60, AS_IN_FILE]  # 30 is the plan itself, and 6 as in the file
    assert (30, 6) not in found.finalists and found.decision.names[-1] == FILES_OWN  # it stands there once


def test_no_cheaper_plan_of_the_frontier_is_as_good(found):
    assert [one.cost for one in found.frontier] == sorted(one.cost for one in found.frontier)
    assert all(a.against_best < b.against_best for a, b in itertools.pairwise(found.frontier))
    best = max(found.tried, key=lambda one: one.against_best)
    assert found.frontier[-1].against_best == best.against_best


def test_a_budget_is_kept(tmp_path):
    file = tmp_path / "pond.toml"
    file.write_text(TEXT + EXTRA)
    axes = {PER_ACRE: (10, 30, 60)}
    found = plan(file, axes, search_members=2, budget=100)  # 2 acres at 2.0 each: 40, 120, 240
    assert found.finalists == ((10,),) and found.dear == 2 and FILES_OWN not in found.decision.names
    assert "over the budget" in plan_text(found)
    with pytest.raises(InputError, match="--budget: got 1, needs at least 40, the cheapest plan"):
        plan(file, axes, search_members=2, budget=1)


@pytest.fixture
def still(monkeypatch):
    """No pond is run, all of them read the same; the numbers of first members and sources that were asked for."""
    asked = []

    def project(variants, *, first, source, **_):
        asked.append((first, source))
        return [readings(one.scenario, 1.0)[one.strategy] for one in variants]

    monkeypatch.setattr(planning, "project_all", project)
    return asked


def test_a_plan_that_costs_just_what_may_be_spent_is_within_the_budget(tmp_path, still):
    file = tmp_path / "pond.toml"
    file.write_text(TEXT + EXTRA)
    own = planning.ask(file, [Axis(PER_ACRE, (10, 60))]).scenario
    cost = 2.0 * own.strategies["few"].stocking[-1].per_ha * own.pond.area_ha
    found = plan(file, {PER_ACRE: (10, 60)}, search_members=2, budget=cost)
    assert cost == pytest.approx(120) and found.own_cost == cost and FILES_OWN in found.decision.names and found.dear == 1


def test_plans_are_confirmed_on_pasts_that_the_search_has_not_seen(tmp_path, still):
    file = tmp_path / "pond.toml"
    file.write_text(TEXT + EXTRA)
    searching, confirming = SimpleNamespace(), Prior()
    plan(file, {PER_ACRE: (10, 60)}, search_members=2, source=SimpleNamespace(parted=lambda count: (searching, confirming)))
    assert {first for first, _ in still} == {0, FRESH}
    assert all(source is (confirming if first == FRESH else searching) for first, source in still)


def test_a_plan_that_is_the_files_own_stands_once_also_where_there_is_no_other(tmp_path):
    file = tmp_path / "pond.toml"
    file.write_text(TEXT + EXTRA)
    found = plan(file, {PER_ACRE: (30, 60)}, search_members=2, budget=150)  # 120 as in the file, and 240
    assert found.finalists == () and found.decision.names == (FILES_OWN,) and found.best is None
    assert plan_answer(found).startswith("Only one plan: the file's own plan.\nCost:") and "How sure" not in plan_text(found)
    rows = list(csv.DictReader(io.StringIO(plan_csv(found))))
    assert [(row["plan"], row[PER_ACRE], row["worth_against_best"]) for row in rows] == [
        (FILES_OWN, AS_IN_FILE, "0.0000"), ("looked at", "30", "0.0000"),
    ]  # fmt: skip


def test_regret_is_none_for_the_plan_that_is_best_there():
    class Fixed:
        def __init__(self, worth):
            self.worth = np.array(worth)

    trials = [Fixed([0.0, 0.0, 0.0]), Fixed([5.0, -1.0, -1.0])]
    (regret,) = planning._regrets(trials, {"a poor pond": np.array([-1.0, 0.0, 1.0]), "none": np.zeros(3)})
    assert regret.lost == (5.0, 0.0) and regret.members == 1


def test_what_looking_first_is_worth(tmp_path):
    rule = (
        '[[strategies.few.harvest]]\nname = "small"\nspecies = "bass"\nlength_in = [8, 15]\nfrom_year = 1\nshare = 0.9\n'
        'when = { all = [{ quantity = "bass_wr_8_12in", below = 1 }] }\n'
    )
    file = tmp_path / "pond.toml"
    file.write_text(TEXT + rule + EXTRA)
    found = plan(file, {PER_ACRE: (10, 60)}, search_members=2)
    looking = found.looking
    assert looking is not None and looking.share == 0.0  # the rule never holds, and harvest takes what is wanted
    assert np.array_equal(looking.decision.scores[0].values[0], looking.decision.scores[0].values[1])
    assert "Looking at the pond first" in plan_text(found)


@pytest.mark.parametrize(
    ("axes", "more", "said"),
    [
        ({}, {}, "1 to 6 different paths"),
        ({PER_ACRE: (10,)}, {}, "2 to 1,000,000 plans"),
        ({PER_ACRE: (10, 10)}, {}, "each once"),
        ({PER_ACRE: (10, -5)}, {}, "per_acre"),
        ({PER_ACRE: (10, 20), "strategies.many.stocking.young_bass.per_acre": (5, 6)}, {}, "paths of one strategy"),
        ({PER_ACRE: (10, 20)}, {"strategy": "many"}, "the strategy that the paths name, few"),
        ({"pond.cover": (0.5, 1)}, {"strategy": "nobody"}, "one of few, many"),
        ({PER_ACRE: (10, 20)}, {"budget": -1.0}, "--budget"),
        ({PER_ACRE: (10, 20)}, {"budget": 1.001e9}, "from 0 to 1,000,000,000"),
    ],
)
def test_questions_that_are_refused(tmp_path, axes, more, said):
    file = tmp_path / "pond.toml"
    file.write_text(TEXT + EXTRA)
    with pytest.raises(InputError, match=said):
        plan(file, axes, search_members=2, **more)


def test_a_question_is_refused_before_any_pond_is_run(tmp_path):
    file = tmp_path / "pond.toml"
    file.write_text(TEXT)

    def said(*axes):
        with pytest.raises(InputError) as refused:
            planning.ask(file, axes)
        return str(refused.value)

    assert "per_acre: got -5" in said(Axis(PER_ACRE, (10, -5)))
    assert "got 2 paths, needs 1 to 6 different paths" in said(Axis(PER_ACRE, (10, 20)), Axis(PER_ACRE, (30, 40)))
    assert "got 1 plan, needs 2 to 1,000,000 plans; give several values" in said(Axis(PER_ACRE, (10,)))
    many = said(Axis(PER_ACRE, tuple(range(1, 1002))), Axis(LENGTH, tuple(range(1, 1001))))
    assert many.endswith("got 1,001,000 plans, needs 2 to 1,000,000 plans")


def test_a_plan_has_six_decisions_at_most(tmp_path):
    file = tmp_path / "pond.toml"
    file.write_text(TEXT)
    stocked = [f"stocking.{name}.{what}" for name in ("bluegill", "old_bass") for what in ("per_acre", "length_in")]
    paths = [PER_ACRE, "pond.area_acres", "pond.cover", *stocked]
    values = dict(zip(paths, ((10, 20), (1, 2), (0.5, 1), (500, 600), (3, 4), (20, 30), (12, 13)), strict=True))
    axes = [Axis(path, some) for path, some in values.items()]
    assert len(planning.ask(file, axes[:6]).axes) == 6
    with pytest.raises(InputError, match="got 7 paths, needs 1 to 6"):
        planning.ask(file, axes)


def test_a_budget_needs_prices(tmp_path):
    file = tmp_path / "pond.toml"
    file.write_text(TEXT)
    with pytest.raises(InputError, match=r"prices in the file, which has no \[costs\]"):
        plan(file, {PER_ACRE: (10, 20)}, budget=100.0)


# --- words


def test_the_answer_fits_a_screen_and_the_table_has_every_plan(found):
    answer = plan_answer(found).splitlines()
    assert len(answer) <= 24 and max(map(len, answer)) <= 80
    text = plan_text(found)
    assert all(f"plan {k + 1}" in text for k in range(len(found.finalists)))
    rows = list(csv.DictReader(io.StringIO(plan_csv(found))))
    looked = [row for row in rows if row["plan"] == "looked at"]
    assert len(looked) == len(found.tried) and len(rows) == len(looked) + len(found.trials)
    assert rows[0][PER_ACRE] == str(found.finalists[0][0])


def test_the_command_writes_a_folder(tmp_path, capsys, monkeypatch):
    file = tmp_path / "pond.toml"
    file.write_text(TEXT + EXTRA)
    out = tmp_path / "out"
    given = ["plan", str(file), "--vary", f"{PER_ACRE}=10,60", "--search-members", "2", "--members", "2", "--workers", "1"]
    assert cli.main([*given, "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert f"everything is in {out}" in " ".join(said.split())
    assert all(len(line) <= 80 or " " not in line for line in said.splitlines())  # a path stays in one piece
    assert {"plan.txt", "plan.csv", "scenario.resolved.toml"} <= {path.name for path in out.iterdir()}
    again = tmp_path / "again"
    assert cli.main([*given[:-1], "2", "--out", str(again)]) == 0
    assert (out / "plan.csv").read_bytes() == (again / "plan.csv").read_bytes()


def test_a_place_that_the_members_speak_against_is_not_followed():
    hill = Hill(2, (5, 5), noise=0.1)
    record = search(hill.sizes, hill, 64, begin=list(itertools.product(range(5), repeat=2)))
    ranked = record.ranked()
    best, worst = ranked[0], min(itertools.product(range(5), repeat=2), key=hill.height)
    assert record.worth[best].size == 64 and record.worth[worst].size == 8


def test_one_decision_is_changed_at_a_time():
    axes = (Axis("a.x", (1, 2, 3)), Axis("b.y", ("p", "q")))
    found = list(planning._changed(axes, (2, "q"), (2, "q")))
    assert found == [(0, AS_IN_FILE, (AS_IN_FILE, "q")), (0, 1, (1, "q")), (0, 3, (3, "q")),
                     (1, AS_IN_FILE, (2, AS_IN_FILE)), (1, "p", (2, "p"))]  # fmt: skip


def test_what_the_search_could_not_tell_from_the_best_is_confirmed():
    swing = np.array([1.0, -1.0] * 8)  # the error of its mean is 0.258
    places = {(0,): np.zeros(16), (1,): swing - 1.5, (2,): swing - 1.53, (3,): np.full(16, -0.99), (4,): np.full(16, -1.0)}
    record = seen(places)
    assert planning._finalists(record, list(places)) == [(0,), (1,), (3,)]  # within one difference that matters, and two errors
    many = seen({(k,): np.full(4, -0.01 * k) for k in range(9)})
    assert planning._finalists(many, many.ranked()) == [(k,) for k in range(5)]
    assert planning._finalists(seen({(0,): [1.0], (1,): [0.5]}), [(0,), (1,)]) == [(0,), (1,)]


def test_the_frontier_has_its_ends_and_few_of_many():
    def tried(cost, worth):
        return planning.Tried((cost,), 4, cost, worth)

    some = [tried(5, -1.0), tried(1, -3.0), tried(5, -2.0), tried(3, -3.0), tried(9, 0.0), tried(10, 0.0)]
    assert [one.cost for one in planning._frontier(some)] == [1, 5, 9]
    many = planning._frontier([tried(k, k - 20.0) for k in range(21)])
    assert [one.cost for one in many] == [0, 5, 10, 15, 20]


@pytest.mark.parametrize(("members", "there"), [(1, 1), (2, 1), (3, 1), (5, 2), (30, 10)])
def test_regret_is_counted_in_a_third_of_the_futures(members, there):
    class Fixed:
        worth = np.zeros(members)

    sign = np.arange(members, dtype=float) if members > 1 else np.zeros(1)
    found = planning._regrets([Fixed()], {"a poor pond": sign})
    assert [one.members for one in found] == ([there] if members > 1 else [])


def test_a_rule_that_always_holds_takes_a_share_of_its_amount():
    from pondpop.scenario import resolve

    text = (
        '[[strategies.few.harvest]]\nname = "small"\nspecies = "bass"\nlength_in = [8, 15]\nfrom_year = 1\n{amount}\n'
        'when = {{ all = [{{ quantity = "bass_wr_8_12in", below = 90 }}] }}\n'
    )
    for amount, name in (("share = 0.8", "share"), ("kg_per_ha = 8", "kg_per_ha"), ("per_ha = 8", "per_ha")):
        rule = resolve(tomllib.loads(TEXT + text.format(amount=amount))).strategies["few"].harvest[0]
        always = planning._always(rule, 0.25)
        assert always.when is None and getattr(always, name) == pytest.approx(getattr(rule, name) / 4)


def test_other_values_of_a_long_axis_are_spread_over_it():
    axes = (Axis("a.x", tuple(range(11))),)
    values = [value for _, value, _ in planning._changed(axes, (AS_IN_FILE,), (10,))]
    assert values == [0, 4, 9]


def test_progress_of_a_search_never_goes_back_nor_beyond_its_whole():
    told = []
    counted = planning._Told(lambda *far: told.append(far), 10)
    counted(3, 4)
    counted.done(4)
    counted(2, 4)
    counted.done(8)
    counted(5, 5)
    counted.finish()
    assert told == [(3, 10), (6, 10), (12, 12), (12, 12)]
    silent = planning._Told(None, 10)
    silent(1, 2)
    silent.finish()


def test_a_search_begins_at_eight_places_and_six_for_each_axis():
    assert [plan_search.places_to_begin(sizes) for sizes in ((50,), (9, 9), (9, 9, 9), (3, 3))] == [14, 20, 26, 9]


def test_about_how_many_ponds_will_be_run():
    """Of a grid of nine: 8 members of each at first, the rounds of the search, six finalists, and four changes an axis."""
    axes = (Axis("a.x", (1, 2, 3)), Axis("b.y", (1, 2, 3)))
    assert planning._expected(axes, 4, 10) == 8 * 9 + 24 * 4 + 6 * 10 + 4 * 2 * 4
    assert planning._expected((Axis("a.x", tuple(range(50))),), 32, 10) == 8 * 14 + 24 * 32 + 6 * 10 + 4 * 10
