"""The evidence: rows that can fail on both sides, verdicts that stand as written, a fit that is what the package has.

The whole is `python benchmarks/evidence.py`. Here the short ponds are run again with the same members, and their verdicts
compared with tests/evidence/held.txt, which that command wrote.
"""

import importlib
import re
import sys
from pathlib import Path

import numpy as np
import pytest

HOME = Path(__file__).parent.parent
HELD = HOME / "tests" / "evidence" / "held.txt"
SHORT = ("documented_4_1", "documented_p9", "documented_p10", "documented_p12", "documented_p15", "documented_p18",
         "documented_p19", "documented_p20", "documented_p21", "documented_p22", "winter_4c", "winter_5c", "winter_8c",
         "winter_9c")  # fmt: skip


def script(name):
    if str(HOME / "benchmarks") not in sys.path:
        sys.path.append(str(HOME / "benchmarks"))
    return importlib.import_module(name)


@pytest.fixture(scope="module")
def fit():
    return script("fit")


@pytest.fixture(scope="module")
def rows(fit):
    return fit.load_rows()


def test_verdicts_of_short_ponds_are_those_written(rows):
    evidence, measures = script("evidence"), script("measures")
    names = [n for n in rows if {file for (file, _), _ in measures.MEASURES[n].parts} <= set(SHORT)]
    assert len(names) > 15
    values = measures.evaluate(names, measures.load_parameters(), chance=measures.Chance(evidence.MEMBERS))
    now = {name for name in names if evidence.judge(rows[name], values[name]).holds}
    assert now == set(HELD.read_text(encoding="utf-8").split()) & set(names)


def test_every_row_has_its_arithmetic_and_can_fail_on_both_sides(fit, rows):
    assert set(rows) == set(script("measures").MEASURES)
    for name, row in rows.items():
        assert row["source"].strip() and row["measured"].strip(), name
        assert row["kind"] in ("documented", "expectation", "physiology", "apart"), name
        assert row["scale"] in ("log", "linear"), name
        assert row["error"] > 0.0, name
        assert row["low"] < row["value"] < row["high"] < np.inf, name
        possible = (-1.0, 1.0) if name.startswith("d410") else (0.0, np.inf) if row["scale"] == "log" else (-np.inf, np.inf)
        if "PSD" in row["measured"] and row["scale"] == "log" and row["high"] > 5:
            possible = (0.0, 100.0)
        assert possible[0] < row["low"] and row["high"] < possible[1], name
        assert ("pond" in row) or row["kind"] not in ("documented", "apart"), name
        assert row["kind"] != "apart" or not row["fit"], name


def test_distance_is_in_errors_and_an_unread_row_costs(fit):
    row = {"scale": "log", "value": 2.0, "error": 0.1, "low": 1.0, "high": 4.0}
    assert fit.distance(row, 2.0 * np.exp(0.25)) == pytest.approx(2.5)
    assert fit.distance(row, np.nan) == 4.0
    assert fit.distance(row | {"scale": "linear"}, 1.7) == pytest.approx(-3.0)
    assert not fit.holds(row, 0.99) and not fit.holds(row, 4.01) and not fit.holds(row, np.nan) and fit.holds(row, 1.5)


def test_middle_of_members_is_the_mean_of_their_middle_half_on_the_rows_scale(fit):
    row = {"scale": "log", "value": 2.0, "error": 0.1}
    members = np.array([[1e9, 2.0, 8.0, 1e-9], [np.nan, 3.0, 3.0, 3.0], [np.nan, 3.0, 3.0, np.nan]])
    assert fit.middle(row, members) == pytest.approx([4.0, 3.0, np.nan], nan_ok=True)  # 2 and 8; of three, none is left out
    assert fit.middle(row | {"scale": "linear"}, members[:1]) == pytest.approx([5.0])
    assert fit.middle(row | {"scale": "linear"}, np.arange(12.0)[None])[0] == pytest.approx(5.5)
    assert fit.middle(row | {"scale": "linear"}, np.array([[1.0, 2.0, 3.0, 4.0, 50.0, 60.0]]))[0] == pytest.approx(14.75)


def test_members_that_stand_for_all_lie_at_the_medians_and_the_rest_is_told(fit):
    rng = np.random.default_rng(5)
    rows = {f"row {k}": {"scale": "linear", "value": 0.0, "error": 2.0} for k in range(8)}
    lucky = {name: rng.normal(k, 1.0 + k, 96) for k, name in enumerate(rows)}
    few, offsets = fit.representatives(rows, lucky)
    again = fit.representatives(rows, lucky)
    assert len(set(few)) == len(few) == fit.FEW and few == again[0] and list(offsets) == list(again[1])
    for offset, (name, row) in zip(offsets, rows.items(), strict=True):
        assert fit.middle(row, lucky[name][None, list(few)])[0] + offset == pytest.approx(np.median(lucky[name]))
    assert (offsets**2).mean() < 0.05 * np.mean([(np.median(v) - v[:6].mean()) ** 2 for v in lucky.values()])


def test_each_parameter_set_has_the_members_of_the_chance():
    measures, names = script("measures"), ("p10_crop", "threadfin_winter_8c", "p9_young_alike")
    one = measures.load_parameters()
    path, place = "shad.recruits_cap_per_ha", float(one.value("shad.recruits_cap_per_ha")[0])
    both, chance = one.replace(path, [place, 0.5 * place]), measures.Chance((3, 0))
    together = measures.evaluate(names, both, chance=chance)
    for k, factor in enumerate((1.0, 0.5)):
        alone = measures.evaluate(names, one.replace(path, factor * place), chance=chance)
        for name in names:
            assert together[name][2 * k : 2 * k + 2] == pytest.approx(alone[name], rel=1e-9), name
    first = measures.evaluate(names[:1], one, chance=measures.Chance((0,)))
    assert together["p10_crop"][1] == pytest.approx(first["p10_crop"][0], rel=1e-9)


def test_ponds_that_are_strangers_do_not_share_luck_and_sets_stay_apart(monkeypatch):
    measures = script("measures")
    ponds = (("one", "pond"), ("other", "pond"))
    two = measures.Measure(tuple((place, lambda run: run) for place in ponds), lambda a, b: 100.0 * a + b, across=True)
    monkeypatch.setitem(measures.MEASURES, "two", two)
    monkeypatch.setattr(measures, "_cost", lambda place: place)
    monkeypatch.setattr(measures, "_readings", lambda place, *_: {("two", ponds.index(place)): np.arange(4.0)})
    sets = measures.load_parameters().replace("shad.capture_ease", [0.5, 0.6])
    assert list(measures.evaluate(["two"], sets, chance=measures.Chance((7, 3)))["two"]) == [1.0, 100.0, 203.0, 302.0]
    assert list(measures.evaluate(["two"], sets)["two"]) == [0.0, 101.0, 202.0, 303.0]


def test_a_round_of_the_fit_with_luck_nears_the_rows_of_a_short_pond(fit, rows, monkeypatch):
    monkeypatch.setattr(fit, "MEMBERS", tuple(range(8)))
    own = {name: rows[name] | {"value": 0.9 * rows[name]["value"]} for name in ("p9_young_100", "p9_crop")}
    priors = [prior for prior in fit.load_priors() if prior.path in ("shad.recruits_cap_per_ha", "shad.capture_ease")]
    some = fit.Fit(own, priors, None, np.zeros(len(priors)))
    lucky = some.with_luck()
    found, slope = some.look()
    medians = np.array([float(np.median(fit.distance(own[name], lucky[name]))) for name in own])
    assert found == pytest.approx(medians, abs=1e-6) and len(some.few) == fit.FEW
    assert slope[0, 0] > 0.1 and (slope[:, 1] == 0.0).all()  # more recruits, more young; of bass, which are not there, nothing
    place, there, _ = some.steps(some.z[None], found[None], slope[None], np.ones((1, len(own)), bool), 1)
    assert fit.cost(there[0], place[0]) < fit.cost(found, some.z)
    assert there[0] == pytest.approx(some.distances(place)[0])


def test_range_of_a_verdict_joins_members_and_error():
    evidence = script("evidence")
    row = {"scale": "linear", "value": 12.0, "error": 3.0, "low": 8.0, "high": 15.0, "fit": True}
    members = 10.0 + 4.0 * np.array([-1.2816, -1.2816, 0.0, 1.2816, 1.2816])
    verdict = evidence.judge(row, members)
    assert verdict.median == 10.0 and verdict.holds
    assert verdict.high - verdict.median == pytest.approx(1.2816 * 5.0, rel=1e-3)
    assert verdict.covered and not evidence.judge(row | {"value": 17.0}, members).covered
    assert not verdict.near_edge and evidence.judge(row, members - 1.8).near_edge
    assert not evidence.judge(row, np.array([np.nan, np.nan, 9.0])).holds


def test_priors_cannot_reach_a_bound_and_are_told_back(fit):
    priors = fit.load_priors()
    assert len({prior.path for prior in priors}) == len(priors) > 20
    for prior in priors:
        assert float(prior.value(0.0)) == pytest.approx(prior.centre)
        for z in (-3.0, -1.0, 2.5):
            assert prior.place(float(prior.value(z))) == pytest.approx(z, abs=0.02)
            assert prior.low < prior.value(z) < prior.high
        assert prior.source.strip(), prior.path


def test_steps_find_the_mode_of_a_known_posterior(fit):
    """Three rows that are linear in two parameters: the mode is a linear system's solution."""
    slope = np.array([[0.3, 0.1], [0.0, 0.4], [0.2, -0.2]])
    at = np.array([0.05, -0.04, 0.02])
    mode = -np.linalg.solve(slope.T @ slope + np.eye(2), slope.T @ at)
    z = np.zeros(2)
    for _ in range(4):
        found = at + slope @ z
        steps = fit.proposals(found, slope, z)
        z = z + steps[np.argmin([fit.cost(at + slope @ (z + s), z + s) for s in steps])]
    assert z == pytest.approx(mode, abs=1e-4)


def test_folds_hold_every_documented_pond_once_and_whole(fit, rows, monkeypatch):
    folds = fit.folds_of(rows)
    ponds = [pond for fold in folds for pond in fold]
    assert len(folds) == 5 and min(map(len, folds)) >= 4
    assert sorted(ponds) == sorted({row["pond"] for row in rows.values() if row["kind"] == "documented"})
    evidence = script("evidence")
    assert folds == fit.folds_of(rows) == evidence.load_fit()["folds"]
    monkeypatch.setattr(evidence, "evaluate", lambda *_: pytest.fail("judged by refits of other folds"))
    with pytest.raises(SystemExit, match="other folds"):  # a pond would be judged by a refit that has it in
        evidence.out_of_fold(rows, evidence.load_fit() | {"folds": folds[1:] + folds[:1]}, None)


def test_package_has_the_fitted_values_and_none_at_the_end_of_its_range(fit):
    evidence = script("evidence")
    result = evidence.load_fit()
    assert evidence.stale(result) == []
    assert set(evidence.estimates(result)) == {prior.path for prior in fit.load_priors()}
    for path, table in evidence.estimates(result).items():
        assert abs(table["z"]) < 2.9, path
        assert len(table["folds"]) == 5, path


def test_last_line_tells_out_of_fold_first(rows):
    last = (HOME / "benchmarks" / "EVIDENCE.md").read_text(encoding="utf-8").strip().splitlines()[-1]
    match = re.fullmatch(
        r"out of fold: (\d+) of (\d+) tests hold, coverage (\d+) %; in sample: (\d+) of (\d+)", last
    )
    assert match, last
    documented = sum(row["kind"] == "documented" for row in rows.values())
    counted = {name for name, row in rows.items() if row["kind"] != "apart"}
    assert (int(match[2]), int(match[5])) == (documented, len(counted))
    assert int(match[4]) == len(counted.intersection(HELD.read_text(encoding="utf-8").split()))


def test_every_fold_was_refitted():
    """A refit that finds nothing better than the values of all rows would leave nothing out in effect."""
    evidence = script("evidence")
    fit = evidence.load_fit()
    costs = fit["fold_costs"]
    assert len(costs) == len(fit["folds"]) and all(after < before for before, after in costs)
    for number in range(len(costs)):
        assert any(table["folds"][number] != table["value"] for table in evidence.estimates(fit).values())
    page = (HOME / "benchmarks" / "EVIDENCE.md").read_text(encoding="utf-8")
    assert evidence.told_refits(fit) in page
    prior = evidence.load_priors()[0]
    two = {"value": prior.value(0.0), "folds": [prior.value(0.5), prior.value(-0.25)]}
    assert "from a cost of 10 to 9.5 (0.50), 8 to 8 (0.25);" in evidence.told_refits(
        {"fold_costs": [[10.0, 9.5], [8.0, 8.0]], prior.path: two}
    )


def test_error_from_pond_to_pond_comes_of_other_ponds_and_covers_eight_in_ten():
    """Misfits of 60 ponds, twice the stated error in one kind of reading and as stated in the other."""
    evidence = script("evidence")
    deal = np.random.default_rng(5)
    verdicts = {}
    for k in range(60):
        about, times = ("growth", 1.0) if k % 2 else ("crop", 3.0)
        seen = 10.0 + times * deal.standard_normal()
        row = {"scale": "linear", "value": seen, "error": 1.0, "low": 0.0, "high": 20.0, "about": about, "pond": f"P{k}"}
        verdicts[str(k)] = evidence.judge(row, np.full(8, 10.0))
    assert verdicts["1"].misfit == pytest.approx(verdicts["1"].row["value"] - 10.0)
    wide = evidence.widened(verdicts)
    covered = np.mean([v.covered for v in wide.values()])
    assert 0.7 <= covered <= 0.9
    assert np.mean([v.covered for v in verdicts.values()]) < 0.7
    times = evidence.pond_to_pond(verdicts)
    assert times["crop"] > 1.5 * times["growth"] >= 1.5
    other = evidence.judge(verdicts["0"].row | {"value": 1e6}, np.full(8, 10.0))
    # A pond's own misfit widens the ranges of other ponds, not its own.
    assert evidence.pond_to_pond(verdicts | {"0": other}, "P0") == evidence.pond_to_pond(verdicts, "P0")


def test_documented_rows_say_what_they_read(rows):
    kinds = {row["about"] for row in rows.values() if row["kind"] == "documented"}
    assert kinds == {"growth", "condition", "crop", "numbers", "structure", "catch"}


def test_the_invented_records_are_of_the_model_as_it_is():
    """An update of records that another model made concludes nothing: draw them anew, and follow the README's commands."""
    said = (HOME / "scenarios" / "records" / "README.txt").read_text("utf-8")
    assert f"({script('invented_records').values()};" in said
