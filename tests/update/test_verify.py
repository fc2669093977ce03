"""Verification: ranks and scores of a right forecast, suspicion of what is wrong, and the command on a small pond."""

import csv
import datetime as dt
import io
import tomllib
from dataclasses import dataclass, replace

import numpy as np
import pytest
from small import TEXT, pond

from pondpop import cli
from pondpop.checks import InputError, RunError
from pondpop.decide.passages import read
from pondpop.ensemble.draws import Prior
from pondpop.ensemble.run import compare
from pondpop.model.inputs import Luck
from pondpop.records import read_records
from pondpop.scenario import resolve
from pondpop.species import SPECIES
from pondpop.update import verify as views
from pondpop.update.likelihood import CATCHABILITY, Haul, Outing, View
from pondpop.update.verify import (
    Checked,
    Discriminants,
    Estimate,
    Off,
    Verification,
    _figures,
    assumptions,
    estimates,
    verify,
)
from pondpop.update.verify_text import score, suspicion, verdict, verify_csv, verify_passages, verify_text

DAY = dt.date(2026, 9, 15)


def checked(seen, foretold, before=float("nan"), unit="%"):
    return Checked("electrofishing bass", "bass", "mean Wr", unit, DAY, seen, np.asarray(foretold, float), before)


# --- figures


def test_rank_and_range_of_a_figure():
    one = checked(7.0, [np.nan, *range(10)])
    assert one.rank == pytest.approx(0.75) and one.inside
    assert checked(9.5, range(10)).rank == 1.0 and not checked(9.5, range(10)).inside


def test_miss_is_the_mean_distance_less_half_that_of_members():
    dealt = np.random.default_rng(1)
    x, seen = dealt.normal(size=57), 0.4
    known = np.abs(x - seen).mean() - 0.5 * np.abs(x[:, None] - x).mean()
    assert checked(seen, x).miss == pytest.approx(known, rel=1e-12)
    assert checked(3.0, np.full(30, 1.0)).miss == pytest.approx(2.0)  # of one number, the distance


def test_ranks_of_a_right_forecast_are_even_and_its_ranges_hold_eight_of_ten():
    dealt = np.random.default_rng(2)
    every = [checked(dealt.normal(), dealt.normal(size=80)) for _ in range(2000)]
    ranks = np.array([one.rank for one in every])
    assert np.histogram(ranks, bins=5, range=(0, 1))[0] / 2000 == pytest.approx(np.full(5, 0.2), abs=0.03)
    assert np.mean([one.inside for one in every]) == pytest.approx(0.8, abs=0.03)


def test_a_figure_is_told_of_twenty_members_who_have_it_with_what_was_seen_last_before_it():
    days = [dt.date(2026, 9, 15), dt.date(2027, 4, 20), dt.date(2027, 9, 15), dt.date(2027, 9, 15)]
    every = [Shows("a", 0.3, np.full(6, float(k))) for k in range(4)]
    for one, date in zip(every, days, strict=True):
        one.title = f"{date} electrofishing bass"
    for known, told in ((20, [1.0, 1.0]), (19, [])):
        view = View({"a": np.where(np.arange(25) < known, 5.0, np.nan)}, (0,), 1.0, np.zeros(1), {})
        found = views._checked(tuple(every[2:]), every, view, {id(one): day for one, day in zip(every, days, strict=True)})
        assert [one.before for one in found if one.name == "0"] == told


# --- suspicion


@dataclass
class Shows:
    """A record that shows a member's number with noise."""

    name: str
    noise: float
    data: np.ndarray

    def expected(self, view):
        return view.seen[self.name][:, None] * np.ones(6)

    def typical(self, expected):
        return expected

    def draw(self, expected, rng):
        return expected + self.noise * rng.normal(size=expected.shape)

    def figures(self, data):
        return {f"{k}": ("%", data[..., k]) for k in range(data.shape[-1])}


def _problem(seed, food=0.0, young=0.0, members=100):
    """Two assumptions, of which records show one each; those of the pond may be off by so many standard deviations."""
    dealt = np.random.default_rng(seed)
    z, other = dealt.normal(size=(2, members)), dealt.normal(size=members)

    def view(by=(0.0, 0.0), count=members):
        seen = {name: z[k, :count] + by[k] + 0.3 * other[:count] for k, name in enumerate("ab")}
        return View(seen, (0,), 1.0, np.zeros(1), {})

    off = {
        name: {way: view(np.array([k == 0, k == 1]) * 3.0 * way, 32) for way in (-1, 1)}
        for k, name in enumerate(("food of the pond", "young of bass"))
    }
    truth = {"a": food, "b": young}
    if not (food or young):
        truth = dict(zip("ab", dealt.normal(size=2) + 0.3 * dealt.normal(), strict=True))
    seen = [Shows(name, 0.3, truth[name] + 0.3 * dealt.normal(size=6)) for name in ("a", "b")]
    return seen, view(), off


def test_a_right_forecast_is_seldom_suspected():
    every = [estimates(*_problem(seed)) for seed in range(200)]
    assert 0.03 < np.mean([any(one.suspected for one in some) for some in every]) < 0.15
    scores = np.array([one.score * (1 if one.more else -1) for some in every for one in some])
    assert abs(scores.mean()) < 0.2 and scores.std() == pytest.approx(1.0, abs=0.15)


def test_a_catch_is_told_by_length_category_too():
    inches = np.zeros((2, 33))
    inches[0, [5, 8, 11, 12, 30]] = 3, 2, 4, 1, 6
    bass, shad = (Haul("a", s, "electrofishing", (Outing(0, 1.0),), np.zeros(33)) for s in ("bass", "shad"))
    assert bass.as_long(inches).tolist() == [[16, 13, 7, 6, 6, 6], [0] * 6]  # from 0, 8, 12, 15, 20, 25 in
    assert shad.as_long(inches).tolist() == [[16.0], [0.0]]
    wide = Haul("b", "bass", "angling", (Outing(0, 1.0),), np.zeros(3), np.repeat(np.eye(2), 16, axis=1))
    assert wide.as_long(np.array([5.0, 7.0, 1.0])).tolist() == [12, 12, 7, 7, 7, 0]  # of 0-16 and 16-32 in; one unmeasured


def test_how_many_were_caught_tells_nothing_where_the_effort_is_unknown():
    catches = np.zeros((2, 33))
    catches[0, [9, 17]], catches[1, [9, 17]] = 5, 50
    known, unknown = (Haul("a", "bass", "electrofishing", (Outing(0, h),), np.zeros(33)) for h in (1.0, None))
    assert np.abs(np.diff(_figures(known, catches), axis=0)).max() > 1.0
    assert np.abs(np.diff(_figures(unknown, catches), axis=0)).max() < 1e-9


def test_catches_alike_in_number_and_mean_length_are_told_apart_by_their_classes():
    catches = np.zeros((2, 33))
    catches[0, [9, 17]] = 5  # small and large
    catches[1, 13] = 10  # as many, as long in the mean
    haul = Haul("a", "bass", "electrofishing", (Outing(0, 1.0),), np.zeros(33))
    assert all(one[1][0] == pytest.approx(one[1][1]) for one in haul.figures(catches).values())
    few, many = _figures(haul, catches)
    assert np.abs(few - many).max() > 1.0


def test_few_members_raise_no_more_suspicion_of_a_right_forecast():
    """Of whom there are hardly more than there are things that records show: members fit what they are told apart by."""

    def suspected(seed, members=24, others="cdefghijkl"):
        dealt = np.random.default_rng(seed)
        z = {name: dealt.normal(size=members) for name in ("a", "b", *others)}
        moves = {name: dealt.normal() for name in z}

        def view(by=0.0):
            return View({name: one + by * moves[name] for name, one in z.items()}, (0,), 1.0, np.zeros(1), {})

        off = {"food of the pond": {way: view(1.0 * way) for way in (-1, 1)}}
        seen = [Shows(name, 0.3, dealt.normal() + 0.3 * dealt.normal(size=6)) for name in z]
        return any(one.suspected for one in estimates(seen, view(), off))

    assert np.mean([suspected(seed) for seed in range(150)]) < 0.15


@pytest.mark.parametrize(
    ("food", "young", "first", "more"), [(-4.0, 0.0, "food of the pond", False), (0.0, 4.0, "young of bass", True)]
)
def test_the_assumption_that_is_wrong_is_suspected(food, young, first, more):
    found = [estimates(*_problem(seed, food, young))[0] for seed in range(30)]
    right = [one.suspected and one.assumption == first and one.more == more for one in found]
    assert np.mean(right) >= 0.9


def test_assumptions_that_move_the_same_records_are_suspected_together():
    """Two that look alike are named both, a third that shows elsewhere is not."""

    def view(by=(0.0, 0.0), count=100):
        z = np.random.default_rng(5).normal(size=(2, 100))
        return View({name: z[k, :count] + by[k] for k, name in enumerate("ab")}, (0,), 1.0, np.zeros(1), {})

    moves = {"food of the pond": (1.0, 0.0), "growth of bass": (1.0, 0.1), "young of bass": (0.0, 1.0)}
    off = {
        name: {way: view(tuple(3.0 * way * np.array(by)), 32) for way in (-1, 1)} for name, by in moves.items()
    }
    seen = [Shows("a", 0.3, np.full(6, -4.0)), Shows("b", 0.3, np.full(6, 0.2))]
    found = estimates(seen, view(), off)
    assert {one.assumption for one in found if one.suspected} == {"food of the pond", "growth of bass"}
    assert not any(one.more for one in found if one.suspected)


def test_an_assumption_that_moves_hardly_anything_is_not_suspected_and_makes_no_other_so():
    def view(by=(0.0, 0.0), count=100):
        z = np.random.default_rng(7).normal(size=100)
        return View({"a": z[:count] + by[0], "b": np.zeros(count) + by[1]}, (0,), 1.0, np.zeros(1), {})

    moves = {"food of the pond": (3.0, 0.0), "young of bluegill": (0.0, 1e-3)}
    off = {name: {way: view(tuple(way * np.array(by)), 32) for way in (-1, 1)} for name, by in moves.items()}
    for a, b in ((0.0, 0.0), (-4.0, 0.2)):
        with np.errstate(all="raise"):
            found = estimates([Shows("a", 0.3, np.full(6, a)), Shows("b", 0.3, np.full(6, b))], view(), off)
        assert [(one.assumption, one.suspected) for one in found] == [("food of the pond", a < 0.0)]
    only = {"young of bluegill": off["young of bluegill"]}
    assert estimates([Shows("b", 0.3, np.full(6, 0.2))], view(), only) == []


def test_assumptions_are_taken_to_be_off_by_three_standard_deviations_in_the_first_32_members(monkeypatch):
    asked = []
    monkeypatch.setattr(views, "run_all", lambda jobs, *_: asked.extend(jobs))
    monkeypatch.setattr(views, "_told", lambda *_: [(k, ({},), None) for k in range(len(asked))])
    monkeypatch.setattr(views, "of_books", lambda view, more, by: {"by": by})
    scenario = pond(members=40, only="few")
    doubted = CATCHABILITY + "electrofishing bass"
    view = View({"number": np.zeros((40, 1))}, (0,), 1.0, np.zeros(1), {doubted: np.arange(40.0)})
    found = views.views_off(scenario, "few", None, Prior(), view)
    assert {job.members for job in asked} == {32} and {abs(job.source.by) for job in asked} == {3.0}
    off = found["catchability by electrofishing bass"]
    assert {way: set(one.doubts[doubted] - np.arange(40.0)) for way, one in off.items()} == {-1: {-3.0}, 1: {3.0}}
    assert found["by"] == 3.0 * scenario.ensemble.spreads["angler_success"]


def test_what_explains_the_records_two_units_of_log_likelihood_worse_than_the_best_is_suspected_no_more():
    names = ("food of the pond", 1), ("growth of bass", 1), ("young of bass", 1)
    told = Discriminants(names, np.zeros(3), np.ones(3), np.eye(3), 1.0)
    two_worse = (5.0**2 - 2.0 * 2.0) ** 0.5
    found = told.estimates([Shows("abc", 0.3, np.array([5.0, two_worse + 0.01, two_worse - 0.01]))])
    assert [(one.assumption, one.suspected) for one in found] == [(name, k < 2) for k, (name, _) in enumerate(names)]


def test_what_answers_only_when_it_is_far_off_is_suspected_too():
    """Records that do not move with small departures, so that members which differ a little tell nothing of large ones."""

    def bent(by, count=100, seed=4):
        z = np.random.default_rng(seed).normal(size=count) + by
        return View({"a": np.maximum(np.abs(z) - 2.5, 0.0), "b": z * 0.0}, (0,), 1.0, np.zeros(1), {})

    off = {"young of bass": {way: bent(3.0 * way, 32) for way in (-1, 1)}}
    seen = [Shows("a", 0.2, np.full(6, 1.0))]
    assert estimates(seen, bent(0.0), off)[0].suspected


def test_a_wrong_assumption_moves_its_luck_and_no_other():
    scenario = resolve(_raw())
    strategy = scenario.strategies["few"]
    known = assumptions(scenario, "few")
    assert "survival of stocked fish" in known and "harvest by anglers" not in known
    settled = [event for event in strategy.stocking if event.resident]
    alone = scenario._replace(strategies={"few": strategy._replace(stocking=tuple(settled))})
    assert settled and known.keys() - assumptions(alone, "few").keys() == {"survival of stocked fish"}
    bass = SPECIES.index("bass")
    for name, one in known.items():
        right, wrong = (dealer.draw(scenario, strategy, 0, 3)[1] for dealer in (Prior(), Off(Prior(), one, -2.0)))
        moved = [f for f in Luck.__dataclass_fields__ if not np.array_equal(getattr(right, f), getattr(wrong, f))]
        assert moved == [one.field], name
        assert Off(Prior(), one, -2.0).identity != Off(Prior(), one, 2.0).identity != Prior().identity
    survival = [one.draw(scenario, strategy, 0, 3)[1].stocking_survival for one in (
        Prior(), *(Off(Prior(), known["survival of stocked fish"], by) for by in (-2.0, 2.0)))]  # fmt: skip
    by = np.exp(2.0 * scenario.ensemble.spreads["stocking_survival"])
    assert survival[1] == pytest.approx(survival[0] / by)
    assert survival[2] == pytest.approx(np.minimum(survival[0] * by, np.maximum(survival[0], 1.0)))  # no more than were stocked
    young = Off(Prior(), known["young of bass"], -2.0).draw(scenario, strategy, 0, 3)[1].recruitment
    plain = Prior().draw(scenario, strategy, 0, 3)[1].recruitment
    ratio = young / plain
    assert ratio[:, bass] == pytest.approx(np.exp(-2.0 * scenario.ensemble.spreads["recruitment"]))
    assert (np.delete(ratio, bass, axis=1) == 1.0).all()


# --- words


def _verification(figures, some=()):
    return Verification(resolve(_raw()), "few", dt.date(2026, 4, 1), 40, tuple(figures), tuple(some), ("a note",))


def _raw():
    return tomllib.loads(TEXT)


@pytest.mark.parametrize(
    ("name", "words"),
    [("mean Wr 15_20in", "mean Wr 15–20 in"), ("mean Wr 0_8in", "mean Wr under 8 in"), ("growth 25in_up", "growth 25 in and up"),
     ("mean length", "mean length"), ("caught", "caught")],
)  # fmt: skip
def test_figures_are_told_with_their_length_class_in_words(name, words):
    text = verify_text(_verification([replace(checked(99.0, range(11)), name=name)]), "us")
    assert f" {words} " in text and (name == words or name not in text)


@pytest.mark.parametrize(("seen", "told"), [(-3.0, ["below"]), (0.5, ["below"]), (5.0, []), (9.5, ["above"])])
def test_a_figure_outside_is_told_with_its_side(seen, told):
    text = verify_text(_verification([checked(seen, range(11))]), "us")
    (row,) = (line for line in text.splitlines() if " mean Wr " in line)
    assert [word for word in row.split() if word in ("below", "above")] == told


@pytest.mark.parametrize(("letters", "there"), [(20, True), (60, False)])
def test_what_no_change_would_have_foretold_stands_on_the_screen_where_it_fits(letters, there):
    text = verify_text(_verification([replace(checked(5.0, range(11), before=4.0), title="b" * letters)]), "us")
    assert ("no change" in text.partition("Figures of")[2]) == there and max(map(len, text.splitlines())) <= 80


def test_figures_fill_the_screen_but_are_no_more_than_twelve_and_no_fewer_than_three(monkeypatch):
    found = replace(_verification([replace(checked(99.0 + k, range(11)), name=f"f{k}") for k in range(40)]), unused=())
    for high, shown in ((60, 12), (24, 11), (20, 7), (10, 3)):
        monkeypatch.setattr("pondpop.update.verify_text.HIGH", high)
        lines = verify_text(found, "us").splitlines()
        assert sum(" f" in line and "above" in line for line in lines) == shown
        assert f" first ({40 - shown} more in verify.csv):" in "\n".join(lines)
        assert high in (60, 10) or len(lines) == high - 2  # for what the command says besides


def test_the_verdict_knows_few_and_many():
    inside, outside = checked(5.0, range(11)), checked(99.0, range(11))
    assert "as well as could be expected" in verdict(_verification([inside] * 8 + [outside] * 2))
    suspect = [Estimate("young of bass", False, 5.1, True)]
    told = verdict(_verification([inside] * 8 + [outside] * 2, suspect))
    assert "speak against an assumption" in told and "follows its forecast" not in told
    assert "does not follow" in verdict(_verification([inside] * 3 + [outside] * 7))
    assert "vaguer" in verdict(_verification([inside] * 30))


def test_the_score_is_against_no_change():
    better = checked(5.0, np.linspace(4.9, 5.1, 21), before=9.0)
    worse = checked(5.0, np.linspace(8.9, 9.1, 21), before=5.1)
    assert _verification([better]).gain_on_no_change > 0.9 and "nearer to" in score(_verification([better]))
    assert _verification([worse]).gain_on_no_change < 0.0 and "farther from" in score(_verification([worse]))
    near, far = checked(5.0, [4.0], before=8.0), checked(50.0, [30.0], before=20.0, unit="in")  # misses 1 of 3, and 20 of 30
    assert f"was {-100 * _verification([worse]).gain_on_no_change:.0f} % farther from" in score(_verification([worse]))
    assert _verification([near, far]).gain_on_no_change == pytest.approx(1.0 - (0.5 + 0.8) / (1.5 + 1.2))
    even = score(_verification([checked(5.0, [4.0], before=6.0)]))
    assert even == "Over the 1 figure that had been seen before, the forecast was as near to what was seen as “no change”."
    assert "Nothing was seen twice" in score(_verification([checked(5.0, range(11))]))


def test_suspicion_names_what_and_which_way():
    some = [Estimate("young of bass", False, 3.1, True), Estimate("food of the pond", True, 0.2, False)]
    told = suspicion(_verification([], some))
    assert "fewer young of bass (3.1 standard deviations)" in told and "seine" in told and "apart" not in told
    several = [Estimate(f"{what} of bass", False, 3.0, True) for what in ("growth", "young", "natural deaths", "food")]
    told = suspicion(_verification([], several[:2]))
    assert "less growth of bass (3.0 standard deviations) or fewer young of bass" in told and "cannot tell these apart" in told
    assert "or 1 more (see verify.csv)" in suspicion(_verification([], several))
    assert "No assumption is under suspicion" in suspicion(_verification([], [Estimate("food of the pond", True, 1.2, False)]))


def test_a_page_and_a_table_tell_every_figure_and_every_assumption():
    asked = [Estimate("young of bass", False, 3.1, True), Estimate("food of the pond", True, 0.2, False)]
    found = replace(_verification([checked(5.0, range(11))], asked), unused=())
    _, figures, assumptions = verify_passages(found, "us")
    assert len(figures.rows) == 2 and figures.rows[1][:4] == ["2026-09-15 electrofishing bass", "mean Wr", "5 [1–9]", "5 %"]
    assert [row[1:] for row in assumptions.rows] == [["standard deviations", "under suspicion"], ["3.1", "yes"], ["0.2", "no"]]
    table = list(csv.DictReader(io.StringIO(verify_csv(found, "us"))))
    assert [(row["record"], row["figure"], row["seen"], row["inside"]) for row in table] == [
        ("electrofishing bass", "mean Wr", "5", "yes"), ("assumption", "young of bass", "-3.10", "no"),
        ("assumption", "food of the pond", "0.20", "yes"),
    ]  # fmt: skip


# --- on a pond


SURVEY = "date,gear,species,length_in,weight_lb\n" + "".join(
    f"2026-09-15,electrofishing,bass,{length},{weight}\n" for length, weight in [(13, 1.1), (13.5, 1.2), (14, 1.4), (7, 0.15)] * 3
)
EFFORT = "date,gear,hours,species_sought\n2026-09-15,electrofishing,1.5,bass bluegill\n"


@pytest.fixture
def records(tmp_path):
    folder = tmp_path / "records"
    folder.mkdir()
    (folder / "survey.csv").write_text(SURVEY)
    (folder / "effort.csv").write_text(EFFORT)
    return folder


@pytest.fixture(scope="module")
def projection():
    return compare(resolve(_raw() | {"ensemble": {"members": 24}}))


def test_a_pond_is_held_against_its_records(projection, records):
    found = verify(projection, records, "few")
    assert {one.name for one in found.figures} >= {"caught", "mean length"}
    assert all(one.foretold.shape == (24,) and one.day == DAY for one in found.figures)
    assert {one.assumption for one in found.estimates} >= {"food of the pond", "growth of bass"}
    assert [verify(projection, read_records(records), "few").estimates] == [found.estimates]
    text = verify_text(found, "us")
    assert f"Figures of {DAY}, those farthest out first" in text and "state agency" in text
    assert len(text.splitlines()) <= 23 and max(map(len, text.splitlines())) <= 80  # and a line on where everything is
    rows = list(csv.DictReader(io.StringIO(verify_csv(found, "us"))))
    assert len(rows) == len(found.figures) + len(found.estimates)
    length = next(row for row in rows if row["figure"] == "mean length" and "bass" in row["record"])
    assert length["unit"] == "in" and 8 < float(length["seen"]) < 14


def test_only_what_is_later_counts(projection, records):
    with pytest.raises(InputError, match="nothing later than 2026-09-15"):
        verify(projection, records, since=DAY)
    with pytest.raises(InputError, match=r"--strategy: got \"nobody\", needs one of few, many"):
        verify(projection, records, "nobody")
    with pytest.raises(InputError, match=r"differ before the last record, 2026-09-15, needs .* few, many"):
        verify(projection, records)
    with pytest.raises(InputError, match=r"the posterior\.nc that the projection was made with"):
        verify(projection.assign_attrs(members_from="ensemble until 2025"), records)
    with pytest.raises(RunError, match="5 members have no ranges"):
        verify(projection.isel(member=slice(5)), records, "few")


def test_the_command_writes_a_folder(tmp_path, records, capsys):
    file = tmp_path / "pond.toml"
    file.write_text(TEXT)
    assert cli.main(["compare", str(file), "--members", "20", "--workers", "1", "--out", str(tmp_path / "out")]) == 0
    given = ["verify", str(tmp_path / "out" / "projection.nc"), "--records", str(records), "--workers", "1", "--strategy", "many"]
    assert cli.main(given) == 0
    assert "figures seen after 2026-04-01" in capsys.readouterr().out
    assert {path.name for path in (tmp_path / "out-verified").iterdir()} >= {"verify.txt", "verify.csv", "verify.json"}
    title, _, told = read(tmp_path / "out-verified" / "verify.json")
    assert title == "small pond" and told[0].words.startswith("Of ") and "foretold" in told[1].rows[0]
    assert len(told[1].rows) > 2 and not told[1].detail and told[2].detail
    assert cli.main(["verify", str(tmp_path / "nothing.nc"), "--records", str(records)]) in (1, 2)
    assert capsys.readouterr().err.count("\n") == 1


def test_what_a_forecast_assumes_is_named_by_species_and_bought_fish_apart():
    scenario = resolve(tomllib.loads(TEXT))
    species = [f"{what} of {s}" for s in ("bass", "bluegill") for what in ("growth", "young", "natural deaths")]
    assert list(assumptions(scenario, "few"))[:8] == ["food of the pond", *species, "survival of stocked fish"]
