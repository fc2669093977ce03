"""Learning from records: the likelihood against its own draws, the stages against a known answer, plain answers."""

import datetime as dt
import math
import re
import warnings
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats
from scipy.special import ndtr, ndtri
from small import pond, raw

from pondpop import cli
from pondpop import update as learning
from pondpop.checks import InputError, RunError
from pondpop.ensemble.draws import Prior, uniform
from pondpop.ensemble.jobs import Job
from pondpop.ensemble.run import Variant, compare, project_all
from pondpop.observe.gears import gear, log_chance, scatter
from pondpop.records import read_records
from pondpop.species import SPECIES
from pondpop.update import followed, prior_uniforms, simulate, smc, up_to
from pondpop.update.from_records import _bins, evidence
from pondpop.update.likelihood import LENGTH_OFF, WR_ERROR, WR_OFF, WR_OFF_IN_SURVEY, View, lengths_off, view_of
from pondpop.update.posterior import Posterior, history, read_ensemble, write_ensemble
from pondpop.update.shares import MARKS_KEPT, MARKS_OFF, Recaptured
from pondpop.update.simulate import Growing, Marked, Watched, deal_past, watch_all
from pondpop.update.smc import Law, Members, alike, draw_rows, fit, learn, next_power, step, weights
from pondpop.update.text import Row, narrowed, rows, update_answer, update_csv, update_text

HEADS = {
    "survey.csv": "date,gear,species,length_in,weight_lb,count,tag,sex",
    "effort.csv": "date,gear,hours,hauls",
    "catches.csv": "date,trip,hours,species,shortest_in,longest_in,kept,released",
    "tags.csv": "tag,date,species,event,length_in",
}


def records(folder, **lines):
    for name, head in HEADS.items():
        rows = lines.get(name.removesuffix(".csv"), ())
        if rows or name == "survey.csv":
            (folder / name).write_text("\n".join([head, *rows]) + "\n")
    return read_records(folder)


def survey(bass=(6, 6.5, 7, 7.5, 8, 13), bluegill=(2, 2.5, 3, 3.5), day="2026-06-15"):
    return [f"{day},electrofishing,bass,{x},,2,," for x in bass] + [
        f"{day},electrofishing,bluegill,{x},,6,," for x in bluegill
    ]


EFFORT = ["2026-06-15,electrofishing,1.0,"]
SOON = {  # days after the run begins, so that ponds of many moves run for a few days each
    "survey": survey(bass=(6, 6, 6.5, 13), bluegill=(3.5, 4, 4.5), day="2026-04-20"),
    "effort": ["2026-04-20,electrofishing,1.0,"],
}  # fmt: skip


# ---------------------------------------------------------------------- the likelihood


def test_the_chance_of_a_catch_adds_up_to_one():
    used = gear("electrofishing")
    mean = np.array([0.3, 0.9])
    total = sum(float(np.exp(log_chance(np.array([a, b]), mean, used))) for a in range(60) for b in range(60))
    assert total == pytest.approx(1.0, abs=1e-6)


def test_the_chance_of_a_catch_is_how_often_it_is_drawn():
    used, mean = gear("seine"), np.array([0.5, 1.0, 0.2])
    drawn = scatter(np.broadcast_to(mean, (200_000, 3)), used, np.random.default_rng(2))
    for catch in ((0, 0, 0), (1, 0, 0), (0, 2, 0), (1, 1, 1)):
        share = (drawn == catch).all(axis=1).mean()
        chance = float(np.exp(log_chance(np.array(catch), mean, used)))
        assert share == pytest.approx(chance, abs=5 * np.sqrt(chance / 200_000))


def test_unknown_effort_leaves_out_how_many_were_caught():
    used, count = gear("electrofishing"), np.array([4, 6])
    few = log_chance(count, np.array([2.0, 3.0]), used, np.array(np.nan))
    many = log_chance(count, np.array([200.0, 300.0]), used, np.array(np.nan))
    assert few == pytest.approx(many)
    assert log_chance(count, np.array([2.0, 3.0]), used) > log_chance(count, np.array([200.0, 300.0]), used)


# ---------------------------------------------------------------------- the stages


@dataclass(frozen=True)
class Known:
    """A problem whose answer is known: normal deviates seen through noisy sums, and others that nothing was seen of."""

    prior: Members
    look: Callable[[dict], Members]
    observed: np.ndarray
    mean: np.ndarray
    sd: np.ndarray
    truth: np.ndarray

    def learned(self, seed):
        return learn(self.prior, self.look, self.observed, seed)


def gaussian(count, seed, related=8, records=12, unrelated=30, noise=0.3, bend=0.0):
    """bend: how far what is seen is from a linear function of the deviates; then mean and sd are not the answer's."""
    rng = np.random.default_rng([seed, related])
    sums = rng.normal(size=(records, related)) / np.sqrt(related)
    truth = rng.normal(size=related)

    def shown(z):
        x = z @ sums.T
        return (np.expm1(bend * x) / bend if bend else x) / noise

    observed = shown(truth) + rng.normal(size=records)

    def look(u):
        z = np.concatenate([ndtri(u[f"seen {k}"]) for k in range(4)], axis=1)
        typical = shown(z)
        chance = rng.normal(size=typical.shape)
        likelihood = -0.5 * ((observed - typical) ** 2).sum(axis=1)
        return Members(u, {"z": z, "rest": ndtri(u["rest"])}, likelihood, typical, typical + chance)

    names = {f"seen {k}": related // 4 for k in range(4)} | {"rest": unrelated}
    spread = np.linalg.inv(sums.T @ sums / noise**2 + np.eye(related))
    prior = look({name: uniform(seed, name, range(count), size) for name, size in names.items()})
    mean = spread @ sums.T @ observed / noise
    return Known(prior, look, observed, mean, np.sqrt(np.diag(spread)), truth)


@pytest.mark.parametrize(("related", "records", "count", "bend"), [(8, 12, 64, 0.0), (20, 30, 128, 0.0), (8, 12, 64, 0.4)])
def test_intervals_hold_as_often_as_they_say(related, records, count, bend):
    held, off, narrow, rest, said = [], [], [], [], []
    for seed in range(24):
        known = gaussian(count, seed, related, records, bend=bend)
        after, stages = known.learned(seed)
        assert stages[-1].power == 1.0 and stages[0].effective == pytest.approx(count / 2, abs=1)
        low, high = np.quantile(after.seen["z"], [0.1, 0.9], axis=0)
        held.append(((low <= known.truth) & (known.truth <= high)).mean())
        off.append((after.seen["z"].mean(axis=0) - known.mean) / known.sd)
        narrow.append(after.seen["z"].std(axis=0) / known.sd)
        rest.append(after.seen["rest"])
        said.append(stages[-1].independent)
    assert abs(np.mean(held) - 0.8) < 3.5 * np.std(held) / np.sqrt(24)
    assert np.std(held) / np.sqrt(24) < 0.04  # or the line above says nothing
    assert np.mean(said) > 0.6 * count
    assert np.mean(np.square(np.mean(rest, axis=1))) < 2.0 / np.mean(said) and 0.93 < np.std(rest) < 1.07
    if not bend:
        assert np.mean(np.square(off)) == pytest.approx(1.0 / np.mean(said), rel=0.35)
        assert 0.95 < np.mean(narrow) < 1.05


def test_few_moves_leave_few_independent_members_and_are_not_said_to_leave_many(monkeypatch):
    """Where no fit leads the way, the mean is off by as much as that of so few members, or less."""
    monkeypatch.setattr(smc, "fit", lambda shown, observed, power: Law(np.zeros(38), np.eye(38)))
    off, said = [], []
    for seed in range(16):
        known = gaussian(64, seed)
        after, stages = known.learned(seed)
        off.append((after.seen["z"].mean(axis=0) - known.mean) / known.sd)
        said.append(stages[-1].independent)
    assert np.median(said) < 20 and np.mean(said) < 1.5 / np.mean(np.square(off))


def test_a_flat_likelihood_changes_nothing_but_the_luck():
    known = gaussian(50, 1)

    def flat(u):
        return replace(known.look(u), log_likelihood=np.zeros(50), typical=np.ones((50, 1)), drawn=np.ones((50, 1)))

    after, stages = learn(flat(known.prior.uniforms), flat, np.ones(1), 1)
    assert len(stages) == 1 and stages[0].effective == pytest.approx(50) and stages[0].taken == 1.0
    assert abs(after.seen["z"].mean()) < 0.2 and after.seen["z"].std() == pytest.approx(1, abs=0.1)


@pytest.mark.parametrize("count", [4, 16])
def test_moves_keep_the_answer(count):
    """Members that lie as the answer says lie so after many moves about any law, however few they are."""
    known = gaussian(count, 3, unrelated=2)
    rng = np.random.default_rng(4)
    wrong = Law(rng.normal(size=10) * 0.3, np.linalg.cholesky(0.6 * np.eye(10) + 0.1))
    grid = np.linspace(-6, 6, 4001)

    def one(u):  # one deviate of each member is seen, twice too high
        z = ndtri(u["a"][:, 0])
        return replace(known.prior, uniforms=u, seen={"z": z}, log_likelihood=-0.5 * ((1.0 - 0.5 * z) / 0.4) ** 2)

    density = np.exp(-0.5 * grid**2 - 0.5 * ((1.0 - 0.5 * grid) / 0.4) ** 2)
    law = np.cumsum(density) / density.sum()
    after, moved = [], []
    for seed in range(4000 // count):
        start = rng.normal(size=(count, 10))
        start[:, 0] = np.interp(rng.random(count), law, grid)
        now = one({"a": ndtr(start)})
        for number in range(4):
            proposed, gain = step(now, wrong, 0.8, seed, number)
            there = one(proposed)
            taken = np.log(rng.random(count)) < there.log_likelihood - now.log_likelihood + gain
            now = now.where(taken, there)
            moved.append(taken.mean())
        after.append(ndtri(now.uniforms["a"]))
    found = np.concatenate(after)
    assert 0.1 < np.mean(moved) < 0.9
    assert stats.kstest(np.interp(found[:, 0], grid, law), "uniform").pvalue > 1e-3
    assert stats.kstest(found[:, 1:].ravel()[::9], "norm").pvalue > 1e-3


@pytest.mark.parametrize("width", [3, smc.MANY + 1])
def test_of_where_members_are_a_step_leaves_so_much_that_standard_deviates_stay_so(width):
    known = gaussian(4, 3, unrelated=0)
    rng, led = np.random.default_rng(5), width if width <= smc.MANY else 0
    law = Law(np.zeros(led), np.eye(led))

    def moved(z):
        return ndtri(step(replace(known.prior, uniforms={"a": ndtr(z)}), law, 0.6, 7, 1)[0]["a"])

    z, farther = rng.normal(size=(4, width)), rng.normal(size=(4, width))
    np.testing.assert_allclose(moved(z) - moved(farther), 0.8 * (z - farther), atol=1e-8)


@pytest.mark.parametrize("width", [smc.MANY, smc.MANY + 1])
def test_forty_values_of_a_decision_are_led_by_the_law_and_more_are_not(width):
    known = replace(gaussian(4, 3, unrelated=0).prior, uniforms={"a": ndtr(np.random.default_rng(5).normal(size=(4, width)))})
    led = width if width <= smc.MANY else 0
    assert known.deviates().shape == (4, led)
    moved = ndtri(step(known, Law(np.zeros(led), 1e-9 * np.eye(led)), 0.6, 7, 1)[0]["a"])
    stays = 0.8 * ndtri(known.uniforms["a"])  # of a law with next to no spread nothing new is dealt
    assert np.allclose(moved, stays, atol=1e-6) == (led > 0)


def test_the_law_is_that_of_linear_ponds():
    known = gaussian(400, 2, unrelated=0)
    law = fit([(known.prior.deviates(), known.prior.typical, known.prior.drawn)], known.observed, 1.0)
    assert law.mean == pytest.approx(known.mean, abs=0.1 * known.sd.max())
    assert np.sqrt(np.diag(law.root @ law.root.T)) == pytest.approx(known.sd, rel=0.1)
    nothing = fit([(known.prior.deviates(), known.prior.typical, known.prior.drawn)], known.observed, 0.0)
    np.testing.assert_array_equal(nothing.root, np.eye(8))


def test_what_a_fit_leaves_of_a_figure_is_its_error_beside_chance():
    rng = np.random.default_rng(8)
    z = rng.normal(size=(4000, 3))
    typical = 2.0 * z[:, :1] + 0.6 * rng.normal(size=(4000, 1))
    law = fit([(z, typical, typical + 0.8 * rng.normal(size=(4000, 1)))], np.array([3.0]), 1.0)
    error = 0.6**2 + 0.8**2
    assert law.mean == pytest.approx([2.0 * 3.0 / (error + 4.0), 0.0, 0.0], abs=0.04)
    assert np.sqrt((law.root @ law.root.T).diagonal()) == pytest.approx([np.sqrt(error / (error + 4.0)), 1.0, 1.0], rel=0.03)


def test_what_members_show_without_error_or_chance_is_known_to_two_hundredths():
    z = np.random.default_rng(8).normal(size=(400, 1))
    law = fit([(z, z, z)], np.array([0.5]), 1.0)
    assert law.mean == pytest.approx([0.5], abs=0.002) and law.root.ravel() == pytest.approx([0.02], rel=0.02)


def test_numbers_of_fish_are_held_against_those_of_members_by_their_logarithm():
    values = np.concatenate([np.full(20, 10.0), np.full(20, 200.0)])  # sd of the logarithm 1.5, from 1.1 and 6.0 on far out
    assert not learning._outside("fish", 8.0, values) and not learning._outside("fish", 15_000.0, values)
    assert learning._outside("mm", 15_000.0, values) and not learning._outside("mm", 440.0, values)
    assert learning._outside("fish", 80_000.0, values) and not learning._outside("fish", 100.0, values)
    even = np.concatenate([np.full(20, -1.0), np.full(20, 1.0)])  # four standard deviations are far out
    assert learning._outside("%", 4.01, even) and not learning._outside("%", 3.99, even)


def test_stages_and_moves_end_and_the_law_is_that_of_the_last_moves(monkeypatch):
    known, seen, whole = gaussian(30, 3), [], smc.fit
    monkeypatch.setattr(smc, "fit", lambda shown, *more: seen.append(len(shown)) or whole(shown, *more))
    for wanted, moves, last in ((0.0, 1, 3), (9.0, 8, 16)):
        monkeypatch.setattr(smc, "WANTED_SHARE", wanted)
        stages = known.learned(1)[1]
        assert [stage.moves for stage in stages] == [moves] * (len(stages) - 1) + [last] and stages[-1].power == 1.0
    assert seen[:3] == [1, 2, 3] and max(seen) == 8
    monkeypatch.setattr(smc, "WANTED_SHARE", 0.0)
    monkeypatch.setattr(smc, "next_power", lambda _, power: power + 0.01)
    assert [stage.power for stage in known.learned(1)[1]] == pytest.approx(np.arange(0.01, 0.205, 0.01))


def test_steps_shrink_where_few_members_take_them_and_grow_where_many_do(monkeypatch):
    known, sizes, whole = gaussian(50, 1), [], smc.step
    monkeypatch.setattr(smc, "WANTED_SHARE", 9.0)
    monkeypatch.setattr(smc, "step", lambda now, law, size, *more: sizes.append(size) or whole(now, law, size, *more))
    taken = [0, 9, 9, 9, 9, 11, 19, 21, 50, 50, 50, 50, 50, 50, 50, 50]  # members of fifty at each step

    def flat(u):
        likelihood = np.where(np.arange(50) < (taken[len(sizes) - 1] if sizes else 50), 0.0, -np.inf)
        return replace(known.prior, uniforms=u, log_likelihood=likelihood, typical=np.ones((50, 1)), drawn=np.ones((50, 1)))

    learn(flat(known.prior.uniforms), flat, np.ones(1), 1)
    shrunk = [1.0, 0.6, 0.36, 0.216, 0.1296, 0.1, 0.1, 0.1]  # no smaller than a tenth
    assert sizes == pytest.approx([*shrunk, *(0.1 * 1.5**k for k in range(1, 6)), 1.0, 1.0, 1.0])


def test_shares_that_are_dealt_lie_inside_at_the_limit_of_what_numbers_tell_apart():
    assert list(smc._dealt(np.array([-60.0, 0.0, 60.0]))) == [2.0**-53, 0.5, 1.0 - 2.0**-53] and 1.0 - 2.0**-53 < 1.0


def test_copies_and_small_steps_count_as_what_they_are():
    rng = np.random.default_rng(1)
    a = rng.normal(size=(200, 30))
    assert alike(a, a) == 1.0 and alike(a, rng.normal(size=(200, 30))) < 0.01
    assert alike(a, 0.6 * a + 0.8 * rng.normal(size=(200, 30))) == pytest.approx(0.36, abs=0.05)
    assert alike(np.ones((200, 2)), np.ones((200, 2))) == 0.0


def test_members_count_by_what_they_have_in_common_and_by_what_is_as_it_was():
    alone, pairs = np.eye(6), np.kron(np.eye(3), np.ones((2, 2)))
    assert smc.independent_members(alone, 0.0, 2.0) == 6.0 and smc.independent_members(pairs, 0.0, 2.0) == 3.0
    assert smc.independent_members(alone, 1.0, 2.0) == 2.0
    assert smc.independent_members(alone, 0.5, 2.0) == pytest.approx(1 / (0.5 / 2 + 0.5 / 6))


def test_of_three_members_a_law_can_be_made_and_of_two_not():
    z = np.array([[-1.0], [0.0], [1.0]])
    assert fit([(z, z, z)], np.array([0.5]), 1.0).mean == pytest.approx([0.5], abs=0.01)
    assert fit([(z[:2], z[:2], z[:2])], np.array([0.5]), 1.0).mean == [0.0]


def test_powers_keep_half_of_the_members():
    likelihood = -(np.linspace(0, 300, 100) ** 1.2)
    power = next_power(likelihood, 0.0)
    assert 0 < power < 1 and 1 / np.sum(weights(power * likelihood) ** 2) == pytest.approx(50, abs=0.5)
    assert next_power(np.zeros(10), 0.4) == 1.0


def test_members_that_records_rule_out_weigh_nothing_and_where_few_are_left_powers_rise_by_a_thousandth():
    possible = -(np.linspace(0, 300, 100) ** 1.2)
    power = next_power(np.append(possible, np.full(20, -np.inf)), 0.0)
    assert 1 / np.sum(weights(power * possible) ** 2) == pytest.approx(60, abs=0.1)  # half of all, also of those
    assert next_power(np.append(np.zeros(61), np.full(59, -np.inf)), 0.4) == 1.0
    assert next_power(np.array([0.0, 0.0, -np.inf, -np.inf]), 0.4) == 1.0  # just half
    assert next_power(np.append(possible[:30], np.full(90, -np.inf)), 0.4) == pytest.approx(0.401)


def test_rows_are_drawn_as_often_as_they_weigh():
    weight = np.array([0.5, 0.25, 0.125, 0.125])
    counts = sum(np.bincount(draw_rows(weight, start), minlength=4) for start in np.linspace(0.05, 0.95, 10))
    assert counts == pytest.approx(np.array([20, 10, 5, 5]), abs=1)


# ---------------------------------------------------------------------- watching


def test_watched_ponds_are_those_that_are_projected():
    scenario = pond(members=3, only="few")
    last = scenario.run.survey_dates[-1]
    past = up_to(scenario, "few", last)
    days = tuple((day - scenario.run.start).days for day in scenario.run.survey_dates)
    read = watch_all(past, "few", Watched(days), prior_uniforms(past, "few", last, ()))
    projected = next(project_all([Variant(scenario, "few")]))
    for name in ("number", "biomass", "relative_weight"):
        np.testing.assert_array_equal(read[name], projected[name])


def test_tagged_fish_grow_and_die_as_their_group_does():
    shad = '[[strategies.few.stocking]]\nname = "shad"\nspecies = "shad"\ndate = 2026-04-10\n'
    shad += "per_acre = 90\nlength_in = 3\n"  # shad of one stocking are one group
    scenario = pond(members=2, only="few", extra=shad + shad.replace('"shad"\nspecies', '"more"\nspecies'))
    few = scenario.strategies["few"]  # without bass, which take some lengths more than others
    few = few._replace(stocking=tuple(event for event in few.stocking if event.species != "bass"))
    scenario = scenario._replace(strategies={"few": few})
    first, last = scenario.run.survey_dates[:2]
    past = up_to(scenario, "few", last)
    days = tuple((day - scenario.run.start).days for day in (first, last))
    asked = Watched(days, (Growing("shad", *days, (70.0, 80.0)),), (Marked("shad", *days, (70.0, 75.0, 80.0)),))
    read = watch_all(past, "few", asked, prior_uniforms(past, "few", last, ()))
    projected = next(project_all([Variant(scenario, "few")]))
    length, there = projected["group_length"], projected["group_survivors"]
    named = [event.name for event in scenario.strategies["few"].stocking]
    k, both = named.index("shad"), [named.index("shad"), named.index("more")]
    there = there[:, :, both].sum(axis=2)
    grown = 75.0 * (length[:, 1, k] / length[:, 0, k] - 1.0)
    assert read["growth"][:, 0] == pytest.approx(grown * 365.25 / (days[1] - days[0]))
    alive = read["marked"][:, 0]
    assert alive.sum(axis=1) == pytest.approx(3.0 * there[:, 1] / there[:, 0])
    mean = alive @ (np.arange(alive.shape[1]) + 0.5) / alive.sum(axis=1)
    assert mean == pytest.approx(length[:, 1, k] / 25.4, abs=1.0)


def groups(number, grown):
    """Two groups of one member."""
    same = {name: np.arange(2.0)[None] for name in simulate.SAME_GROUP}
    return same | {"number": np.array([number]), "grown": np.array([grown]), "born": np.zeros((1, 2)),
                   "log_length": np.log([[100.0, 130.0]]), "spread": np.array([[0.1, 0.2]])}  # fmt: skip


def test_a_marked_fish_is_of_the_groups_in_which_its_length_is_likely_and_lives_as_they_do(monkeypatch):
    monkeypatch.setattr(simulate, "_groups", lambda engine, species: groups([8.0, 4.0], [0.3, 0.9]))
    engine = SimpleNamespace(state=SimpleNamespace(members=1))
    alive = simulate._alive(engine, Marked("bass", 100, 200, (110.0, 110.0)), groups([10.0, 20.0], [0.0, 0.0]))
    off = (math.log(110 / 100) / 0.1, math.log(110 / 130) / 0.2)
    likely = 10.0 / 0.1 * math.exp(-0.5 * off[0] ** 2), 20.0 / 0.2 * math.exp(-0.5 * off[1] ** 2)
    inches = [int(110.0 * math.exp(grown) / 25.4) for grown in (0.3, 0.9)]
    assert np.flatnonzero(alive[0]).tolist() == inches
    assert alive[0, inches] == pytest.approx([2 * 0.8 * likely[0] / sum(likely), 2 * 0.2 * likely[1] / sum(likely)])


def test_marked_fish_are_counted_anew_every_half_month(monkeypatch):
    counted = []
    monkeypatch.setattr(simulate, "_groups", lambda engine, species: {})
    none = np.zeros((1, simulate.CLASSES))
    monkeypatch.setattr(simulate, "_alive", lambda engine, one, then: counted.append(engine.day) or none)
    monkeypatch.setattr(simulate.harvest, "fished", lambda engine: ())
    read = simulate._MarkedKept([Marked("bass", 10, 50, (300.0,))], 1)
    for day in range(60):
        read(SimpleNamespace(day=day, inputs=SimpleNamespace(days=100)))
    assert counted == [10, 15, 30, 45, 50]


def test_a_tagged_fish_is_of_the_groups_in_which_its_length_is_likely_by_the_fish_that_live(monkeypatch):
    monkeypatch.setattr(simulate, "_groups", lambda engine, species: groups([8.0, 4.0], [0.3, 0.1]))
    engine = SimpleNamespace(state=SimpleNamespace(members=1), parameters=SimpleNamespace(recruit_age_years=np.zeros(1)))
    off = (math.log(110 / 100) / 0.1, math.log(110 / 130) / 0.2)
    likely = 8.0 * math.exp(-0.5 * off[0] ** 2), 4.0 * math.exp(-0.5 * off[1] ** 2)
    longer = (likely[0] * math.expm1(0.3) + likely[1] * math.expm1(0.1)) / sum(likely) * 110.0
    found = simulate._growth(engine, Growing("bass", 100, 200, (110.0,)), groups([10.0, 10.0], [0.0, 0.0]))
    assert found == pytest.approx([longer * 3.6525])


@pytest.mark.parametrize(
    ("before", "after", "same"), [(0.0, 60.0, True), (0.0, 60.1, False), (63.0, 63.5, True), (63.0, 63.6, False)]
)
def test_tagged_fish_are_of_groups_born_within_60_days_of_one_another_that_had_recruits_age(monkeypatch, before, after, same):
    """Of a day later than 100 less the 37.5 days of that age and one more none can be."""
    monkeypatch.setattr(simulate, "_groups", lambda *_: groups([8.0, 4.0], [0.3, 0.1]) | {"born": np.full((1, 2), after)})
    recruits = SimpleNamespace(recruit_age_years=np.array([37.5 / 365]))
    engine = SimpleNamespace(state=SimpleNamespace(members=1), parameters=recruits)
    then = groups([10.0, 10.0], [0.0, 0.0]) | {"born": np.full((1, 2), before)}
    assert np.isfinite(simulate._growth(engine, Growing("bass", 100, 200, (110.0,)), then)).all() == same


@pytest.mark.parametrize(("born", "left"), [(60.0, 1.2), (60.1, 0.0)])
def test_marked_fish_live_on_in_groups_born_within_60_days_of_theirs(monkeypatch, born, left):
    monkeypatch.setattr(simulate, "_groups", lambda *_: groups([6.0, 6.0], [0.0, 0.0]) | {"born": np.full((1, 2), born)})
    engine = SimpleNamespace(state=SimpleNamespace(members=1))
    alive = simulate._alive(engine, Marked("bass", 100, 200, (110.0, 110.0)), groups([10.0, 10.0], [0.0, 0.0]))
    assert alive.sum() == pytest.approx(left)


# ---------------------------------------------------------------------- the posterior as a source


def test_without_records_the_ensemble_is_the_prior_exactly(tmp_path):
    scenario = pond(members=3, only="few")
    found = learning.update_ensemble(scenario, records(tmp_path), "few")
    assert found.posterior is not None and "unchanged" in found.why
    write_ensemble(found.posterior, tmp_path / "posterior.nc")
    source = read_ensemble(tmp_path / "posterior.nc")
    ours, prior = (s.draw(scenario, scenario.strategies["few"], 1, 2) for s in (source, Prior()))
    for name in prior[1].__dataclass_fields__:
        np.testing.assert_array_equal(getattr(ours[1], name), getattr(prior[1], name))
    np.testing.assert_array_equal(ours[0].max_intake_at_1_g, prior[0].max_intake_at_1_g)
    with_source, without = compare(scenario, source=source), compare(scenario)
    np.testing.assert_array_equal(with_source["number"].values, without["number"].values)
    assert "members_from" in with_source.attrs and "members_from" not in without.attrs


def some_posterior(scenario, until=dt.date(2026, 6, 15), members=2):
    past = prior_uniforms(up_to(scenario, "few", until), "few", until, ())
    past = {name: u[:members] * 0.5 for name, u in past.items()}
    return Posterior(past, until, history(scenario, scenario.strategies["few"], until), {"seed": "1"})


def test_the_past_is_kept_and_the_future_is_fresh():
    scenario = pond(members=6, years=2, only="few")
    source = some_posterior(scenario)
    luck = source.draw(scenario, scenario.strategies["few"], 0, 4)[1]
    other = Prior().draw(scenario, scenario.strategies["few"], 0, 4)[1]
    days = (source.until - scenario.run.start).days
    # members 0 and 2 share the past of member 0, and nothing of the future
    assert np.array_equal(luck.water_c[0, :days], luck.water_c[2, :days])
    assert not np.array_equal(luck.water_c[0, days:], luck.water_c[2, days:])
    assert np.array_equal(luck.recruitment[1, :, 0], luck.recruitment[3, :, 0])
    np.testing.assert_array_equal(luck.recruitment[:, :, 1:], other.recruitment[:, :, 1:])
    assert not np.array_equal(luck.recruitment[:, :, 0], other.recruitment[:, :, 0])


def test_the_air_of_days_after_the_last_record_is_no_part_of_the_past():
    scenario, until = pond(members=2, only="few"), dt.date(2026, 6, 15)
    few, days = scenario.strategies["few"], (until - scenario.run.start).days
    dealt = prior_uniforms(up_to(scenario, "few", until), "few", until, ("catchability seine bass",))
    past = learning.known_past(dealt, days)
    assert dealt.keys() - past.keys() == {"catchability seine bass"}
    luck = Posterior(past, until, history(scenario, few, until), {}).draw(scenario, few, 0, 4)[1]
    for name in ("water_c", "cloud", "wind", "bloom"):
        first, third = getattr(luck, name)[[0, 2]]  # of the same past
        assert np.array_equal(first[:days], third[:days]) and (first[days:] != third[days:]).all(), name


def test_members_are_dealt_the_stockings_and_the_weather_up_to_the_day_of_the_last_record():
    for until, put_in in ((dt.date(2026, 4, 9), False), (dt.date(2026, 4, 10), True)):
        dealt = prior_uniforms(up_to(pond(only="few"), "few", until), "few", until, ())
        assert ("stocking young_bass" in dealt) == put_in and "stocking old_bass" in dealt
        assert dealt["weather of the day"].shape == (3, until.day - 1)


def test_another_past_is_refused_and_another_future_is_not():
    scenario = pond(years=2, only="few")
    source = some_posterior(scenario)
    later = '[[strategies.few.harvest]]\nname = "t"\nspecies = "bass"\nfrom_year = 2\nlb_per_acre = 5\n'
    source.check(changed := pond(years=3, only="few", extra=later), changed.strategies["few"])
    for extra in (later.replace("from_year = 2", "from_year = 1"), "[ensemble.spread]\ngrowth = 0.1\n"):
        other = pond(years=2, only="few", extra=extra)
        with pytest.raises(InputError, match=r"--ensemble.*another past"):
            source.draw(other, other.strategies["few"], 0, 1)
    many = pond(years=2)
    with pytest.raises(InputError, match="another past"):
        source.check(many, many.strategies["many"])


EVENTS = {
    "strategies.few.fertilization": 'from = {day}\nto = 2027-02-01\nlevel = 0.9',
    "strategies.few.liming": "date = {day}\ntons_per_acre = 1",
    "strategies.few.drawdown": "from = {day}\nto = 2027-02-01\narea_share = 0.7",
    "strategies.few.grass_carp": "date = {day}\nper_acre = 5",
    "strategies.few.stocking": 'species = "bass"\ndate = {day}\nper_acre = 5\nlength_in = 8',
    "strategies.few.removal": 'species = "bass"\ndate = {day}\nshare = 0.5',
    "strategies.few.arrival": 'species = "bass"\ndate = {day}\nper_acre = 5\nlength_in = 8',
    "water.spell": "from = {day}\nto = 2027-02-01\nat_most_f = 50",
    "pond.fertility_loss": "from = {day}\nto = 2027-02-01\nshare = 0.5",
}


@pytest.mark.parametrize("kind", EVENTS)
def test_what_befell_the_pond_up_to_the_day_of_the_last_record_is_its_past_and_how_long_it_goes_on_is_not(kind):
    def past(extra=""):
        from pondpop.scenario import resolve

        said = raw(only="few", extra=extra)
        said["pond"]["alkalinity_mg_l"] = 20
        made = resolve(said)
        return history(made, made.strategies["few"], dt.date(2026, 6, 15))

    one = f'[[{kind}]]\nname = "x"\n' + EVENTS[kind] + "\n"
    assert past(one.format(day="2026-06-16")) == past(one.format(day="2026-07-01")) == past()
    assert len({past(), past(one.format(day="2026-06-15")), past(one.format(day="2026-06-01"))}) == 3
    assert past(one.format(day="2026-06-01")) == past(one.format(day="2026-06-01").replace("2027-02-01", "2026-06-30"))


REACTS = 'when = { any = [{ quantity = "bass_psd", below = 60 }] }\n'


@pytest.mark.parametrize(("when", "from_year", "past"), [(REACTS, 1, True), (REACTS, 2, False), ("", 1, False)])
def test_surveys_up_to_the_day_of_the_last_record_are_of_the_past_where_a_rule_has_begun_to_react_to_them(when, from_year, past):
    rule = '[[strategies.few.harvest]]\nname = "t"\nspecies = "bass"\nlb_per_acre = 5\n' + f"from_year = {from_year}\n{when}"

    def made(*surveys):
        from pondpop.scenario import resolve

        said = raw(years=2, only="few", extra=rule)
        said["run"]["surveys"] = list(surveys)
        scenario = resolve(said)
        return history(scenario, scenario.strategies["few"], dt.date(2026, 6, 15))

    assert made("04-20", "06-15", "09-15") == made("04-20", "06-15")
    assert (made("04-20", "06-15") != made("04-20")) == past


def test_a_pond_that_is_watched_has_the_surveys_up_to_the_day_of_the_last_record():
    first, second, _ = pond(only="few").run.survey_dates
    for until, left in ((second - dt.timedelta(days=1), (first,)), (second, (first, second))):
        assert up_to(pond(only="few"), "few", until).run.survey_dates == left


def test_its_file_is_guarded(tmp_path):
    source = some_posterior(pond(only="few"))
    path = tmp_path / "posterior.nc"
    write_ensemble(source, path)
    again = read_ensemble(path)
    assert again.identity == source.identity and again.until == source.until and again.about["seed"] == "1"
    raw_bytes = bytearray(path.read_bytes())
    raw_bytes[-3] ^= 1
    path.write_bytes(raw_bytes)
    with pytest.raises(RunError, match="altered or damaged"):
        read_ensemble(path)


def test_a_projection_is_no_ensemble_and_the_reverse(tmp_path):
    from pondpop.ensemble import results

    write_ensemble(some_posterior(pond(only="few")), tmp_path / "posterior.nc")
    with pytest.raises(InputError, match="got a file that holds an ensemble, needs a file that holds a projection"):
        results.read(tmp_path / "posterior.nc")
    results.write(compare(pond(members=1, only="few")), tmp_path / "projection.nc")
    with pytest.raises(InputError, match="got a file that holds a projection, needs a file that holds an ensemble"):
        read_ensemble(tmp_path / "projection.nc")


def test_jobs_with_another_ensemble_have_another_name():
    scenario = pond(only="few")
    one, two = some_posterior(scenario), some_posterior(scenario, members=1)
    names = {Job(((scenario, "few"),), 0, 2, source).identities[0] for source in (Prior(), one, two)}
    assert len(names) == 3


# ---------------------------------------------------------------------- updating


ENOUGH = 5  # independent members, for these small ensembles


@pytest.fixture(scope="module")
def learned(tmp_path_factory):
    folder = tmp_path_factory.mktemp("records")
    catches = ["2026-05-20,1,4,bass,8,12,2,3", "2026-05-28,1,3,bass,,,0,1", "2026-05-28,1,3,bluegill,,,0,2"]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(learning, "LEAST_EFFECTIVE", ENOUGH)
        some = records(folder, survey=survey(), effort=EFFORT, catches=catches)
        return learning.update_ensemble(pond(members=40, only="few"), some, progress=lambda *told: PROGRESS.append(told))


PROGRESS = []


def test_progress_goes_on_and_is_never_more_than_the_whole(learned):
    done, total = zip(*PROGRESS, strict=True)
    assert list(done) == sorted(set(done)) and list(total) == sorted(total)
    assert 0 < done[0] < total[0] == 30 * 40 and done[-1] >= len(learned.stages) * 40 <= total[-1]
    assert all(some <= every for some, every in PROGRESS)


def test_an_update_reports_its_stages_and_reaches_the_end(learned):
    assert learned.posterior is not None and learned.posterior.members == 40
    assert learned.stages[-1].power == 1.0 and all(s.effective <= 40.001 for s in learned.stages)
    assert learned.stages[-1].independent >= ENOUGH
    assert learned.until == dt.date(2026, 6, 15)
    assert {learned.posterior.past[name].shape for name in ("weather of the day", "cloud", "wind", "bloom")} == {(40, 75)}


def test_an_update_fits_better_than_the_prior(learned):
    assert learned.learned.log_likelihood.mean() > learned.prior.log_likelihood.mean()


def test_it_tells_prior_posterior_and_every_record(learned):
    table, text = update_csv(learned, "us"), update_text(learned, "us")
    assert "2026-06-15 electrofishing bass: caught" in table and "2026 angling bass: caught" in table
    assert "independent members of 40" in text and "Fitted against observed" in text
    screen = update_answer(learned, "us").splitlines()
    assert len(screen) <= 22 and max(map(len, screen)) <= 80 and "independent members of 40" in "\n".join(screen)
    assert "The pond on 2026-06-15:" in screen
    stages = re.findall(r"^ *(\d+)  .*%", text.partition("\nWhat is left tells")[0], re.MULTILINE)
    assert list(map(int, stages)) == list(range(1, len(learned.stages) + 1))
    for row in rows(learned):  # each under the heading of what it is about
        part = {"pond": "\nThe pond on", "record": "\nFitted against"}.get(row.about)
        if part:
            assert row.quantity in text.partition(part)[2].partition("\n\n")[0]
    head, *lines = table.splitlines()
    assert head.startswith("about,quantity,unit,observed,prior_p10") and len(lines) == len(rows(learned))
    metric = update_csv(learned, "metric")
    assert ",mm," in metric and ",mm," not in table
    assert all(0.4 < np.median(row.prior) < 2.5 for row in rows(learned) if row.kind == "ratio")  # of what is listed


def test_the_spread_left_is_a_share_of_that_before_and_of_no_spread_none():
    before = np.array([1.0, 2.0, 4.0])
    for kind, after in (("ratio", np.sqrt(before)), ("count", before / 2 + 7)):
        for prior, posterior in ((before, after), (np.append(before, np.nan), np.append(after, np.nan))):
            assert Row("model", "a", kind, None, prior, posterior).narrowed == pytest.approx(0.5)
    unknown = np.full(3, np.nan)
    for prior, posterior in ((before, None), (before, unknown), (unknown, before), (np.array([1.0, np.nan, np.nan]), before),
                             (np.ones(3), before)):  # fmt: skip
        with warnings.catch_warnings(action="error"):
            assert np.isnan(Row("model", "a", "count", None, prior, posterior).narrowed)


def test_only_what_chance_among_members_would_not_narrow_is_named():
    rng = np.random.default_rng(8)
    named = 0
    for _ in range(50):
        prior = np.exp(0.3 * rng.normal(size=(60, 100)))
        after = np.exp(0.3 * rng.normal(size=(60, 25)))  # so many are independent, of what the records do not touch
        every = [Row("model", str(k), "ratio", None, prior[k], np.repeat(after[k], 4)) for k in range(60)]
        named += bool(narrowed(every, 25.0))
        learned = Row("model", "known", "ratio", None, prior[0], np.exp(0.1 * np.log(prior[0])))
        assert learned in narrowed([*every, learned], 25.0)
    assert named <= 8


def test_updates_repeat_to_the_bit(tmp_path):
    some = records(tmp_path, **SOON)
    one, two = (learning.update_ensemble(pond(members=4, only="few"), some) for _ in range(2))
    assert one.stages == two.stages != ()
    for a, b in zip(one.fits, two.fits, strict=True):
        np.testing.assert_array_equal(a.posterior, b.posterior)


def test_impossible_records_are_named_and_nothing_is_concluded_from_them(tmp_path):
    whales = survey(bass=(28,) * 8, bluegill=(13,) * 4)
    found = learning.update_ensemble(pond(members=20, only="few"), records(tmp_path, survey=whales, effort=EFFORT), "few")
    assert found.posterior is None and found.why.startswith("Nothing is concluded")
    assert any("2026-06-15 electrofishing bass" in one and "mean length" in one for one in found.impossible)
    assert "posterior" in update_csv(found, "us").splitlines()[0] and "Nothing is concluded" in update_text(found, "us")


def test_one_impossible_record_among_others_is_left_out_and_named(tmp_path):
    mixed = [*survey(day="2026-04-25"), *(f"2026-06-10,seine,bass,24,,{n},," for n in (5, 5, 5))]  # one before the fry
    effort = ["2026-04-25,electrofishing,0.25,", "2026-06-10,seine,,3"]
    found = learning.update_ensemble(pond(members=20, only="few"), records(tmp_path, survey=mixed, effort=effort), "few")
    assert any("seine bass" in one for one in found.impossible) and "records of fish lie outside" not in found.why
    assert not any("electrofishing" in one for one in found.impossible), found.impossible


def test_too_few_members_conclude_nothing(tmp_path):
    found = learning.update_ensemble(pond(members=5, only="few"), records(tmp_path, **SOON), "few")
    assert found.posterior is None and "independent members" in found.why and found.stages


def test_records_outside_the_run_are_named(tmp_path):
    seen = evidence(records(tmp_path, survey=survey(day="2030-09-15")), pond(only="few"))
    assert not seen.observations and seen.unused[0].startswith("1 day of records, 2030-09-15 to 2030-09-15, lie")
    days = [*survey(day="2030-09-15"), *survey(day="2025-09-15")]
    (unused,) = evidence(records(tmp_path, survey=days), pond(only="few")).unused
    assert unused == "2 days of records, 2025-09-15 to 2030-09-15, lie outside the run, 2026-04-01 to 2027-03-31"


def test_a_class_without_catch_tells_something(tmp_path):
    catches = ["2026-05-20,1,4,bass,8,12,2,3"]
    bass = next(
        o for o in evidence(records(tmp_path, catches=catches), pond(only="few")).observations if "bass" in o.title
    )
    assert list(bass.data) == [0, 5, 0, 0]
    assert bass.bins.sum(axis=0) == pytest.approx(np.ones(32))


def test_fish_that_the_scenario_lets_be_caught_and_released_take_worse_in_the_records_too(tmp_path):
    catches = ["2026-06-15,1,4,bass,8,12,2,3"]
    expected = []
    for hours in (0, 200):
        scenario = pond(members=2, only="few", extra=f"[[angling]]\nhours_per_acre = {hours}\ndeath_after_release = 0\n")
        seen = evidence(records(tmp_path, catches=catches), scenario)
        bass = next(o for o in seen.observations if "bass" in o.title)
        last = scenario.run.survey_dates[-1]
        past = up_to(scenario, "few", last)
        uniforms = prior_uniforms(past, "few", last, bass.doubts)
        watched = watch_all(past, "few", seen.watched, uniforms)
        expected.append((watched, bass.expected(view_of(past, seen.watched, watched, uniforms)).sum(axis=1)))
    (calm, of_calm), (wary, of_wary) = expected
    np.testing.assert_array_equal(calm["number"], wary["number"])  # none die
    assert (calm["catch_while_wary"] == 1.0).all()
    worse = wary["catch_while_wary"][:, 0, SPECIES.index("bass")]
    assert (worse < 0.9).all() and (wary["catch_while_wary"][:, 0, SPECIES.index("bluegill")] == 1.0).all()
    assert of_wary / of_calm == pytest.approx(worse, rel=0.1)  # some of a catch are strays, and none is caught twice


def test_tags_tell_growth_between_surveys(tmp_path):
    fish = [
        f"{day},electrofishing,bass,{x},,1,T{k},"
        for k in range(4)
        for day, x in (("2026-05-01", 9), ("2027-04-20", 12))
    ]
    tags = [f"T{k},2026-05-01,bass,tagged,9" for k in range(4)]
    seen = evidence(records(tmp_path, survey=fish, tags=tags), pond(years=2, only="few"))
    mine = [o for o in seen.observations if "tags" in o.title]
    assert len(mine) == 1 and mine[0].fish == 4
    assert mine[0].data[0] == pytest.approx(3 * 25.4 * 365.25 / 354)


@pytest.mark.parametrize(("again", "known"), [("2026-10-27", False), ("2026-10-28", True)])
def test_tags_tell_growth_of_180_days_and_of_no_fewer(tmp_path, again, known):
    fish = [f"{day},electrofishing,bass,{x},,1,T0," for day, x in (("2026-05-01", 9), (again, 12))]
    seen = evidence(records(tmp_path, survey=fish, tags=["T0,2026-05-01,bass,tagged,9"]), pond(only="few"))
    assert bool(seen.watched.growth) == known


def test_tags_tell_how_many_of_a_later_catch_are_marked(tmp_path):
    fish = [f"2026-05-01,electrofishing,bass,{9 + k},,1,T{k}," for k in range(4)]
    fish += [f"2027-04-20,electrofishing,bass,{x},,{count},{tag}," for x, count, tag in ((12, 1, "T0"), (13, 5, ""), (7, 9, ""))]
    fish += ["2027-04-21,electrofishing,bass,12,,1,T0,", "2027-04-21,electrofishing,bass,9,,2,,"]
    tags = [f"T{k},2026-05-01,bass,tagged,{9 + k}" for k in range(4)]
    seen = evidence(records(tmp_path, survey=fish, tags=tags), pond(years=2, only="few"))
    found = [o for o in seen.observations if isinstance(o, Recaptured)]
    told = [(o.title, o.name, o.low_in, o.high_in, o.marked, o.data.tolist(), o.examined) for o in found]
    first, second = (f"2027-04-{day} electrofishing bass" for day in (20, 21))
    assert told == [
        (first, "old tags", 8, 12, (0,), [0.0], 2),
        (first, "old tags", 12, None, (0,), [1.0], 6),  # caught on both days, counted once
        (second, "new tags", 8, 12, (1,), [0.0], 2),
        (second, "new tags", 12, None, (1,), [1.0], 1),
    ]
    (of,) = found[1].figures(found[1].data).items()
    assert of[0] == "old tags 12in_up" and of[1][1] == pytest.approx(100 / 6)
    asked = seen.watched.marked
    assert [(one.first, one.last) for one in asked] == [(30, 384), (384, 385)]
    assert [np.divide(one.lengths_mm, 25.4).round(6).tolist() for one in asked] == [[9, 10, 11, 12], [12]]
    assert {384, 385} <= set(seen.watched.days)


def test_the_share_that_is_marked_is_of_those_that_the_gear_takes():
    one = Recaptured("a", "old tags", "bass", "electrofishing", 7, (0,), 12, None, 40, np.array([8.0]))
    number, marked = np.zeros((2, 1, len(SPECIES), 32)), np.zeros((2, 1, 32))
    number[:, 0, SPECIES.index("bass"), [5, 12]] = 500.0, 20.0  # the small ones were not examined
    marked[0, 0, 12], marked[1, 0, 12] = 8.0, 4.0  # of 40 in 2 ha
    doubt = {one.doubts[0]: np.zeros(2)}
    share = one.expected(View({"number": number, "marked": marked}, (7,), 2.0, np.full(9, 20.0), doubt))
    centre = MARKS_KEPT * np.exp(-0.5 * MARKS_OFF**2)  # log-normal about a mean of 1
    assert share[:, 0] == pytest.approx(centre * np.array([0.2, 0.1]))
    drawn = np.stack([one.draw(share, np.random.default_rng(k))[:, 0] for k in range(2000)])
    assert drawn.mean(axis=0) == pytest.approx(40 * share[:, 0], rel=0.05)
    every = [np.exp(one.log_likelihood(share, np.array([float(n)]))) for n in range(41)]
    assert np.sum(every, axis=0) == pytest.approx(np.ones(2))
    assert np.array(every)[:, 0] == pytest.approx((drawn[:, 0] == np.arange(41)[:, None]).mean(axis=1), abs=0.03)
    assert every[8][0] > every[8][1]


def test_strategies_that_differed_must_be_told(tmp_path, capsys):
    some = records(tmp_path, survey=survey(), effort=EFFORT)
    with pytest.raises(InputError, match=r"--strategy.*few, many"):
        learning.update_ensemble(pond(members=2), some)
    with pytest.raises(InputError, match='did you mean "few"'):
        learning.update_ensemble(pond(members=2), some, "fe")
    later = '[[strategies.few.removal]]\nname = "x"\nspecies = "bass"\ndate = 2027-02-01\nshare = 0.5\n'
    alike = pond(members=2, only="few", extra=later)
    one = alike.strategies["few"]
    alike = alike._replace(strategies={"few": one, "same": one._replace(name="same", removals=())})
    assert followed(alike, None, dt.date(2026, 6, 15)) == "few"
    for command in ("update", "verify"):
        with pytest.raises(SystemExit):
            cli.main([command, "--help"])
        assert "(needed if they differ before the last record)" in " ".join(capsys.readouterr().out.split())


# ---------------------------------------------------------------------- the command


def test_the_command_writes_an_ensemble_that_compare_takes(tmp_path, capsys):
    file = tmp_path / "pond.toml"
    from pondpop.scenario import dump, resolve

    file.write_text(dump(resolve(raw(members=2, only="few"))))
    (tmp_path / "seen").mkdir()
    records(tmp_path / "seen")
    out = tmp_path / "updated"
    assert cli.main(["update", str(file), "--records", str(tmp_path / "seen"), "--out", str(out)]) == 0
    assert "unchanged" in capsys.readouterr().out
    assert {p.name for p in out.iterdir()} >= {"posterior.nc", "update.csv", "update.txt", "scenario.resolved.toml"}
    compared = ["compare", str(file), "--ensemble", str(out / "posterior.nc"), "--out", str(tmp_path / "result")]
    assert cli.main(compared) == 0
    other = tmp_path / "other.toml"
    other.write_text(dump(resolve(raw(members=2, only="few") | {"pond": {"area_acres": 3, "fertility": 1.0}})))
    assert cli.main([*compared[:1], str(other), *compared[2:-1], str(tmp_path / "no")]) == 2
    assert "another past" in capsys.readouterr().err and not (tmp_path / "no").exists()


def test_a_refusal_is_an_answer(tmp_path, capsys):
    from pondpop.scenario import dump, resolve

    file = tmp_path / "pond.toml"
    file.write_text(dump(resolve(raw(members=4, only="few"))))
    (tmp_path / "seen").mkdir()
    records(tmp_path / "seen", **SOON)
    arguments = ["update", str(file), "--records", str(tmp_path / "seen"), "--out", str(tmp_path / "updated")]
    assert cli.main(arguments) == 0
    assert "Nothing is concluded" in capsys.readouterr().out
    assert not (tmp_path / "updated" / "posterior.nc").exists()


def test_the_seed_of_the_command_is_that_of_the_update(tmp_path, capsys):
    assert cli.main(["update", "none.toml", "--records", str(tmp_path), "--seed", "-1"]) == 2


def test_normal_means_are_weighed_as_they_are_drawn(tmp_path):
    weighed = [f"2026-06-15,electrofishing,bass,10,{w},1,," for w in (0.5, 0.55, 0.6)]
    seen = evidence(records(tmp_path, survey=weighed), pond(only="few"))
    mean = next(o for o in seen.observations if "Wr" in getattr(o, "name", ""))
    expected = np.full((4000, 1), 95.0)
    drawn = mean.draw(expected, np.random.default_rng(1))
    sd = np.hypot(8.0 / np.sqrt(3), WR_ERROR)
    assert drawn.std() == pytest.approx(sd, rel=0.05) and drawn.mean() == pytest.approx(95, abs=0.5)
    assert mean.log_likelihood(expected[:1], np.array([100.0]))[0] == pytest.approx(stats.norm.logpdf(100, 95, sd))


def survey_of_two_days(tmp_path, **lines):
    fish = [*survey(), *survey(day="2026-06-20")]
    effort = [*EFFORT, "2026-06-20,electrofishing,2.0,"]
    return evidence(records(tmp_path, survey=fish, effort=effort, **lines), pond(only="few")).observations


def test_classes_that_share_all_lengths_share_every_inch_between_them():
    edges = [0.0, 203.2, 300.0, 305.0, 1000.0]
    shares = _bins(list(pairwise(edges)))
    np.testing.assert_allclose(shares.sum(axis=0), 1.0)
    np.testing.assert_allclose(shares.sum(axis=1)[1:3] * 25.4, [96.8, 5.0])  # each as long as it is


def test_the_days_of_a_survey_are_one_sample_of_lengths(tmp_path):
    bass = [o for o in survey_of_two_days(tmp_path) if "electrofishing bass" in o.title]
    assert len(bass) == 1 and bass[0].data.sum() == 24
    assert [(one.day, one.effort) for one in bass[0].outings] == [(75, 1.0), (80, 2.0)]
    number = np.zeros((2, 2, len(SPECIES), 32))
    number[0, 0, 0, 10], number[1, :, 0, 10] = 50.0, 50.0
    view = View({"number": number}, (75, 80), 2.0, np.full(400, 20.0), {bass[0].doubts[0]: np.zeros(2)})
    expected = bass[0].expected(view)
    assert expected[1].sum() / expected[0].sum() == pytest.approx(3.0, rel=0.05)
    off = np.delete(expected[1], 10).sum() / expected[1].sum()  # lengths that the model does not have
    assert off == pytest.approx(1 - lengths_off(LENGTH_OFF)[10, 10], abs=0.03)


def test_a_day_without_known_effort_stands_apart(tmp_path):
    fish = [*survey(), *survey(day="2026-06-20")]
    seen = evidence(records(tmp_path, survey=fish, effort=EFFORT), pond(only="few")).observations
    bass = [o for o in seen if "electrofishing bass" in o.title]
    assert sorted((o.counts, float(o.data.sum())) for o in bass) == [(False, 12.0), (True, 12.0)]


EVERY = {"bass", "bluegill"}  # what lives in the pond


def hauls(tmp_path, **lines):
    some = records(tmp_path, **lines)
    seen = evidence(some, pond(only="few"))
    return {(o.title, o.counts): float(o.data.sum()) for o in seen.observations if hasattr(o, "counts")}, seen.unused


@pytest.mark.parametrize(
    ("row", "in_doubt"),
    [
        ("2026-06-15,electrofishin,bluegill,3,,22,,", {"bluegill"}),  # the gear is not known, the species is
        ("2026-06-15,electrofishing,bluegil,3,,22,,", EVERY),
        ("2026-06-15,electrofishing,bass,3 in,,1,,", {"bass"}),
        ("15/06/20026,electrofishing,bass,3,,1,,", {"bass"}),
        ("2026-06-15,seine,bass,3,,x,,", set()),
        ("2026-06-16,electrofishing,bass,3,,x,,", set()),
        ("2026-06-15,electrofishing", EVERY),
    ],
)
def test_what_was_left_out_of_a_survey_is_never_a_zero(tmp_path, row, in_doubt):
    whole, _ = hauls(tmp_path, survey=survey(), effort=EFFORT)
    assert {title.split()[-1] for title, counts in whole if counts} == EVERY
    found, unused = hauls(tmp_path, survey=[*survey(), row], effort=EFFORT)
    mine = {key: caught for key, caught in found.items() if key[0].startswith("2026-06-15 electrofishing")}
    assert {title.split()[-1] for title, counts in whole if (title, counts) not in mine} == in_doubt
    assert {title.split()[-1] for title, counts in mine if not counts} == in_doubt & {"bass", "bluegill"}
    assert all(caught > 0 for (_, counts), caught in mine.items() if not counts)
    assert len([line for line in unused if "left out" in line]) >= len(in_doubt)


def test_a_survey_of_which_every_row_was_left_out_says_nothing_and_so(tmp_path):
    misspelt = [row.replace("electrofishing", "electrofishin") for row in (*survey()[:2], *survey()[-2:])]
    found, _ = hauls(tmp_path, survey=misspelt, effort=EFFORT)
    assert not found  # every row of what lives in the pond was left out
    told = update_text(learning.update_ensemble(pond(members=4, only="few"), read_records(tmp_path)), "us")
    told = " ".join(told.split())
    assert 'survey.csv, line 2: gear: got "electrofishin"' in told and "Left out, 4 rows:" in told
    assert "4 rows that were left out may be of it" not in told  # two of bass, two of bluegill
    assert "bluegill: 2 rows that were left out may be of it, so nothing is known of it" in told


def test_a_second_row_of_effort_leaves_how_many_were_caught_open(tmp_path):
    found, _ = hauls(tmp_path, survey=survey(), effort=[*EFFORT, "2026-06-15,electrofishing,3.0,"])
    assert set(found) == {(f"2026-06-15 electrofishing {s}", False) for s in ("bass", "bluegill")}


def test_a_trip_of_which_a_row_was_left_out_is_left_out_whole(tmp_path):
    whole = ["2026-05-20,1,4,bass,8,12,2,3", "2026-05-28,2,3,bass,,,0,1"]
    bad = "2026-05-28,2,3,bluegil,,,0,9"
    one = evidence(records(tmp_path, catches=[*whole[:1]]), pond(only="few")).observations
    seen = evidence(records(tmp_path, catches=[*whole, bad]), pond(only="few"))
    for a, b in zip(one, seen.observations, strict=True):
        assert a.outings == b.outings and list(a.data) == list(b.data)
    assert "2026-05-28 2" in seen.unused[0]
    lost = evidence(records(tmp_path, catches=[*whole, bad.replace("2026-05-28", "28.15.2026")]), pond(only="few"))
    assert [(o.title, o.counts) for o in lost.observations] == [("2026 angling bass", False)]


@pytest.mark.parametrize(("second", "overlap"), [("12,15", False), ("14,15", False), ("11,15", True)])
def test_length_classes_of_trips_may_touch_but_not_overlap(tmp_path, second, overlap):
    caught = [f"2026-06-1{trip},{trip},3,bass,{inches},2,1" for trip, inches in ((1, "8,12"), (2, second))]
    found = evidence(records(tmp_path, catches=caught), pond(only="few"))
    assert any("length classes of the trips overlap" in line for line in found.unused) == overlap
    (haul,) = [one for one in found.observations if one.title == "2026 angling bass"]
    counted = {"12,15": [0, 3, 3, 0, 0], "14,15": [0, 3, 0, 3, 0, 0], "11,15": [0, 6]}  # by class, and of unknown length
    assert haul.data.tolist() == counted[second]


def test_a_species_that_no_trip_lists_is_not_taken_for_none_caught(tmp_path):
    bass, none = ["2026-05-20,1,4,bass,8,12,2,3", "2026-05-28,2,3,,,,0,0"], "2026-04-01,3,2,bluegill,,,0,0"
    found, (unused,) = hauls(tmp_path, catches=bass)
    assert found == {("2026 angling bass", True): 5}
    assert unused.startswith("angling bluegill: no trip lists any and none says what was sought")
    for row in (none, none.replace("04-01", "05-28")):  # a row that says so counts for every trip, be it of the first day
        found, unused = hauls(tmp_path, catches=[*bass, row])
        assert found == {("2026 angling bass", True): 5, ("2026 angling bluegill", True): 0}
        assert not any("no trip lists" in line for line in unused)
    _, unused = hauls(tmp_path, catches=[row.replace("2026", "2031") for row in bass])
    assert not any("no trip lists" in line for line in unused)  # none of them is on the run


def test_a_row_of_a_trip_that_was_left_out_says_that_its_species_was_sought_and_one_of_a_survey_does_not(tmp_path):
    bass, bad = ["2026-05-20,1,4,bass,8,12,2,3"], "2026-05-28,2,3,bluegill,,,x,9"
    _, unused = hauls(tmp_path, catches=[*bass, bad])
    assert not any("no trip lists" in line for line in unused)
    _, unused = hauls(tmp_path, catches=bass, survey=[*survey(), "2026-06-15,electrofishing,bluegill,x,,1,,"])
    assert any(line.startswith("angling bluegill: no trip lists any") for line in unused)


def test_an_update_says_what_looks_odd(tmp_path):
    pasted = [f"2026-06-15,electrofishing,bass,{x},{w},1,," for x, w in ((10, 0.5), (11, 0.7), (13, 1.1), (13, 1.2), (9, 0.4))]
    told = update_text(learning.update_ensemble(pond(members=4, only="few"), records(tmp_path, survey=pasted * 2)), "us")
    assert "Odd: survey.csv repeats itself" in told


def test_lengths_are_off_by_their_share_and_no_fish_is_lost():
    share = lengths_off(0.06)
    np.testing.assert_allclose(share.sum(axis=1), 1.0)
    middle = np.arange(32) + 0.5
    for inch in (8, 12, 20):
        mean = share[inch] @ middle
        sd = np.sqrt(share[inch] @ (middle - mean) ** 2)
        within = np.sqrt(1 / 12 + 1 / 12)  # of a class, before and after
        assert mean == pytest.approx(inch + 0.5, rel=0.01)
        assert sd == pytest.approx(np.hypot(0.06 * (inch + 0.5), within), rel=0.1)


def test_lengths_that_are_off_leave_a_class_to_either_side_as_from_all_of_it():
    """Of fish spread evenly over an inch class so many lie below and above once they are off; five points stand for all."""
    inside = np.linspace(20, 21, 4001)
    for off in (0.03, 0.06):
        share = lengths_off(off)
        below, above = stats.norm.cdf(np.log(20 / inside) / off).mean(), stats.norm.sf(np.log(21 / inside) / off).mean()
        assert share[20, :20].sum() == pytest.approx(below, rel=0.01) and share[20, 21:].sum() == pytest.approx(above, rel=0.01)


def test_what_is_wrong_alike_in_several_records_is_not_averaged_away(tmp_path):
    weighed = [f"2026-06-15,electrofishing,bass,{x},{w},1,," for x, w in ((10, 0.5), (11, 0.7), (13, 1.1), (13, 1.2))]
    seen = evidence(records(tmp_path, survey=weighed), pond(only="few")).observations
    wr = [o for o in seen if "Wr" in getattr(o, "name", "")]
    assert len(wr) == 2 and wr[0].doubts == wr[1].doubts
    rng, count = np.random.default_rng(3), 20_000
    dealt = {name: rng.normal(size=count) for name in wr[0].doubts}
    number, condition = np.ones((count, 1, len(SPECIES), 32)), np.full((count, 1, len(SPECIES), 32), 90.0)
    view = View({"number": number, "relative_weight": condition}, (wr[0].read.day,), 2.0, np.zeros(400), dealt)
    drawn = [o.draw(o.expected(view), rng)[:, 0] for o in wr]
    shared = WR_OFF**2 + WR_OFF_IN_SURVEY**2
    assert np.cov(*drawn)[0, 1] == pytest.approx(shared, rel=0.05)
    assert drawn[0].var() == pytest.approx(shared + WR_ERROR**2 + 8.0**2 / 2, rel=0.05)


def test_a_deal_of_the_past_goes_on_from_the_members_own_streams():
    deal = deal_past({"a": np.full((2, 3), 0.25)}, 7, range(5, 7), np.array([1, 0]))
    np.testing.assert_array_equal(deal("a", 5)[:, :3], np.full((2, 3), 0.25))
    np.testing.assert_array_equal(deal("a", 5)[:, 3:], uniform(7, "a", range(5, 7), 5)[:, 3:])
    np.testing.assert_array_equal(deal("b", 2), uniform(7, "b", range(5, 7), 2))


# ---------------------------------------------------------------------- starting from a survey

START = {
    "gear": "electrofishing",
    "hours": 1.5,
    "water_c": 18,
    "catch": [
        {"species": "bass", "length_in": [9, 10], "count": 40},
        {"species": "bluegill", "length_in": [5, 6], "count": 60},
    ],
}


def from_survey(**changes):
    from pondpop.scenario import resolve

    return resolve(raw(members=300, only="few") | {"start_from_survey": START | changes})


def test_a_survey_at_the_start_is_what_its_gear_would_catch():
    from pondpop.observe.gears import expected_catch

    catch = [*START["catch"], {"species": "bass", "length_in": [3, 7], "count": 30}]  # the longer of them are taken rather
    scenario = from_survey(catch=catch)
    number = np.zeros((len(SPECIES), 32))
    there = {event.name: event for event in scenario.strategies["few"].stocking}
    for row in catch:
        low, high = row["length_in"]
        event = there[f"{row['species']}_{low}_0_{high}_0in"]
        number[("bass", "bluegill").index(event.species), low:high] = event.per_ha / (high - low)
    caught = expected_catch(number, gear("electrofishing"), 1.5, 18.0, scenario.pond.area_ha)
    assert caught[0, 9] == pytest.approx(40, rel=0.01) and caught[1, 5] == pytest.approx(60, rel=0.01)
    assert caught[0, 3:7].sum() == pytest.approx(30, rel=0.03)


def test_the_doubt_about_numbers_is_dealt_and_shared_within_a_species():
    catch = [*START["catch"], {"species": "bass", "length_in": [12, 13], "count": 40}]
    scenario = from_survey(catch=catch)
    strategy = scenario.strategies["few"]
    luck = Prior().draw(scenario, strategy, 0, 300)[1].stocking_survival
    names = [event.name for event in strategy.stocking]
    bass = next(event for event in strategy.stocking if event.name == "bass_9_0_10_0in")
    shared, own = np.log1p(bass.number_cv**2), np.log1p(bass.share_cv**2)
    used = gear("electrofishing")
    assert bass.number_cv == pytest.approx(np.hypot(used.catch_cv, used.catchability_spread))
    # forty of eighty bass: the count, and the scatter of a share of a half among as many as the independent fish
    assert bass.share_cv**2 == pytest.approx(1 / 40 + 1 / (used.independent_fish + 1))
    one, two, other = (
        np.log(luck[:, names.index(n)]) for n in ("bass_9_0_10_0in", "bass_12_0_13_0in", "bluegill_5_0_6_0in")
    )
    every = shared + own + 0.15**2
    assert one.std() == pytest.approx(np.sqrt(every), rel=0.15)
    assert np.corrcoef(one, two)[0, 1] == pytest.approx(shared / every, abs=0.06)
    assert abs(np.corrcoef(one, other)[0, 1]) < 0.2


def test_a_start_from_a_survey_is_dumped_whole():
    import tomllib

    from pondpop.scenario import dump, resolve

    scenario = from_survey()
    assert resolve(tomllib.loads(dump(scenario))) == scenario


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"gear": "angling"}, "electrofishing, seine"),
        ({"hauls": 3}, "hours of electrofishing"),
        ({"catch": []}, "at least one"),
        ({"catch": [{"species": "bass", "length_in": [1, 2], "count": 4}]}, "leave it out"),
        ({"catch": [START["catch"][0]] * 2}, "a second row"),
        ({"water_c": 44.9, "hours": 0.05}, "1,000,000 fish"),
    ],
)
def test_a_start_from_a_survey_refuses_what_cannot_be_told(changes, says):
    with pytest.raises(InputError, match=says):
        from_survey(**changes)
