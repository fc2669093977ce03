"""Sweeps: what may be varied, the scenarios that follow, and the same luck at every point."""

import csv
import datetime as dt
import io
from dataclasses import replace

import numpy as np
import pytest
from small import TEXT, dataset, raw, readings

from pondpop import cli
from pondpop.checks import InputError
from pondpop.decide import sweep
from pondpop.decide.console import HIGH, wrapped
from pondpop.decide.goals import Score
from pondpop.decide.sweep_paths import MOST_POINTS, Axis, labels, points, put, read_axis, read_pair
from pondpop.ensemble.jobs import Job
from pondpop.ensemble.quantities import quantiles, quantities
from pondpop.ensemble.run import compare
from pondpop.scenario import Goal, resolve

PER_ACRE = "strategies.few.stocking.young_bass.per_acre"
DATE = "strategies.few.stocking.young_bass.date"


# --- values


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("a=75..100/5", (75, 80, 85, 90, 95, 100)),
        ("a=0.1..0.3/0.1", (0.1, 0.2, 0.3)),
        ("a=1,2.5,3", (1, 2.5, 3)),
        ("a=-2..2/2", (-2, 0, 2)),
        ("a=bare,much", ("bare", "much")),
        ("a=2027-06-05,2027-12-05", (dt.date(2027, 6, 5), dt.date(2027, 12, 5))),
        ("a=2027-06-05..2027-06-26/10", (dt.date(2027, 6, 5), dt.date(2027, 6, 15), dt.date(2027, 6, 25))),
        ("a=5..5/1", (5,)),
        ("a=9999-12-01..9999-12-31/20", (dt.date(9999, 12, 1), dt.date(9999, 12, 21))),
    ],
)
def test_values(text, values):
    axis = read_axis(text)
    assert axis == Axis("a", values)
    assert [type(v) for v in axis.values] == [type(v) for v in values]


@pytest.mark.parametrize(
    "text",
    ["a", "a=", "=1", "a=1..9/0", "a=1..9/-1", "a=1..9/x", "a=9..1/1", "a=1..9999/1", "a=nan", "a=inf", "a=2027-02-30",
     "a=bare..much/1", "a=1..2027-01-01/3", "a=1..9/nan", "a=1..1e9/1", "a=2027-06-05..2027-06-12/1.5", "a=1,1", "a=1,,2",
     "a=9990-01-01..9999-12-31/1", "a=2027-06-05..2027-06-07/10000000", "a=\uff17\uff15,80"],
)  # fmt: skip
def test_refused_values(text):
    with pytest.raises(InputError, match="--vary: got"):
        read_axis(text)


def test_a_pair():
    assert read_pair("--window-in", "8..12.5", 1, 30) == (8.0, 12.5)
    for text in ("8", "12..8", "8..8", "0..8", "8..99", "a..b", "8..nan"):
        with pytest.raises(InputError, match="--window-in"):
            read_pair("--window-in", text, 1, 30)


# --- paths


@pytest.mark.parametrize(
    ("path", "value", "look"),
    [
        (PER_ACRE, 45, lambda c: c["strategies"]["few"]["stocking"][0]["per_acre"]),
        ("stocking.old_bass.length_in", 12, lambda c: c["stocking"][1]["length_in"]),
        ("pond.cover", "much", lambda c: c["pond"]["cover"]),
        ("pond.area_acres", 3, lambda c: c["pond"]["area_acres"]),
        ("ensemble.spread.growth", 0, lambda c: c["ensemble"]["spread"]["growth"]),
    ],
)
def test_a_path_finds_its_place(path, value, look):
    content = raw()
    content["ensemble"]["spread"] = {}
    put(content, path, value)
    assert look(content) == value


def test_the_ends_of_a_pair_have_positions():
    content = raw(extra='[[harvest]]\nname = "t"\nspecies = "bass"\nlength_in = [8, 12]\nlb_per_acre = 5\n')
    put(content, "harvest.t.length_in.2", 14)
    assert content["harvest"][0]["length_in"] == [8, 14]


@pytest.mark.parametrize(
    ("path", "says"),
    [
        ("strategies.fwe.stocking.young_bass.per_acre", 'did you mean "few"'),
        ("strategies.few.stocking.yuong_bass.per_acre", 'did you mean "young_bass"'),
        ("strategies.few.stocking", "one number, date or word"),
        ("strategies.few", "one number, date or word"),
        ("ensemble.seed", "share their luck"),
        ("title.a", "a table of the file"),
        ("title", "not what it is called"),
        ("strategies.few.title", "not what it is called"),
        ("run.surveys.9", "ends of a pair"),
        ("strategies.few.stocking.bass_2026-06-01.per_acre", 'got "bass_2026-06-01", needs a name that is written in the file'),
    ],
)
def test_a_wrong_path_is_told(path, says):
    with pytest.raises(InputError, match=says):
        put(raw(), path, 1)


# --- points


def test_points_hold_the_strategies_that_are_varied():
    found = points(raw(), [read_axis(f"{PER_ACRE}=20,40")])
    assert [p.values for p in found] == [(20,), (40,)]
    assert [list(p.scenario.strategies) for p in found] == [["few"], ["few"]]
    common = points(raw(), [read_axis("pond.cover=0,1")])
    assert [list(p.scenario.strategies) for p in common] == [["few", "many"]] * 2


def test_two_paths_make_a_grid():
    found = points(raw(), [read_axis(f"{PER_ACRE}=20,40"), read_axis("pond.cover=0,1,2")])
    assert [p.values for p in found] == [(20, 0), (20, 1), (20, 2), (40, 0), (40, 1), (40, 2)]
    assert found[5].scenario.pond.cover == 2


def test_too_much_is_refused_before_any_work():
    many = f"{PER_ACRE}=1..20/1"
    with pytest.raises(InputError, match=f"at most {MOST_POINTS} points"):
        points(raw(), [read_axis(many), read_axis("pond.cover=0..3/0.2")])
    with pytest.raises(InputError, match="two different ones"):
        points(raw(), [read_axis(many), read_axis(many)])
    with pytest.raises(InputError, match="per_acre: got -5"):
        points(raw(), [read_axis(f"{PER_ACRE}=20,-5")])
    with pytest.raises(InputError, match=r"young_bass.*: got 2029-01-01"):
        points(raw(), [read_axis(f"{DATE}=2029-01-01")])


# --- running


@pytest.fixture(scope="module")
def rows():
    every = points(raw(members=4), [read_axis(f"{DATE}=2026-04-10,2026-05-10")])
    return sweep.run(every)


@pytest.mark.parametrize(("kinds", "share"), [((), 1.0), (("bass_above", "panfish"), 0.25), (("bass_above",), None)])
def test_a_point_tells_how_often_it_is_in_the_ranges_of_its_goal_and_nothing_where_no_goal_has_ranges(kinds, share):
    """Bass PSD 40, in the ranges of balance and of panfish; bluegill PSD 60, in both, but 40 in three of four futures."""
    goals = "".join(f"[[goals]]\nkind = '{kind}'\n" + "above_lb = 5\n" * (kind == "bass_above") for kind in kinds)
    scenario = resolve(raw(members=4, only="few", extra=goals))
    read = readings(scenario)
    for species, small, large in ((0, 9, 13), (1, 4, 7)):
        read["few"]["number"][..., species, small], read["few"]["number"][..., species, large] = 60.0, 40.0
    read["few"]["number"][0, :, 1, [4, 7]] = np.array([[40.0], [60.0]])
    row = sweep._row((0,), "few", dataset(scenario, read), scenario)
    assert row.in_range == share and row.dates == ("2026-09-15",)


def test_a_point_is_the_same_as_comparing_its_own_scenario(rows):
    content = raw(members=4, only="few")
    put(content, DATE, dt.date(2026, 5, 10))
    alone = compare(resolve(content))
    named = {q.name: q for q in quantities(alone)}
    for name in ("bass_psd", "bass_standing_crop", "bluegill_density", "group_weight:young_bass"):
        expected = quantiles(named[name].in_units("us"))[0, -1]
        np.testing.assert_array_equal(rows[1].bands[name][2][-1], expected)
    assert not np.array_equal(rows[0].bands["bass_density"][2], rows[1].bands["bass_density"][2])


def test_the_table_and_the_file_hold_every_point(rows):
    axes = [read_axis(f"{DATE}=2026-04-10,2026-05-10")]
    told = sweep.table(rows, axes, resolve(raw(members=4, only="few")))
    assert "2026-04-10" in told and "2026-05-10" in told
    lines = list(csv.DictReader(io.StringIO(sweep.sweep_csv(rows, axes))))
    assert {line[DATE] for line in lines} == {"2026-04-10", "2026-05-10"}
    assert {line["strategy"] for line in lines} == {"few"}
    one = next(line for line in lines if line["quantity"] == "bass_standing_crop")
    assert float(one["p50"]) == pytest.approx(rows[0].bands["bass_standing_crop"][2][0, 1], rel=5e-4)  # four digits


def test_no_cell_is_a_formula(rows):
    made = [replace(rows[0], values=(value,)) for value in ("=1+1", "@x", "bare", -2)]
    lines = list(csv.DictReader(io.StringIO(sweep.sweep_csv(made, [Axis("pond.cover", ())]))))
    assert list(dict.fromkeys(line["pond.cover"] for line in lines)) == ["'=1+1", "'@x", "bare", "-2"]


ONE = resolve(raw(members=4, only="few"))


def survivors(row, values, share):
    return replace(row, values=values, survivors=np.array(share))


def test_the_earliest_date_is_the_first_that_spares_enough_with_enough_probability(rows):
    axes = [Axis("strategies.few.stocking.adults.date", ())]
    dates = [dt.date(2027, month, 1) for month in (6, 3, 9, 12)]
    shares = [[0.5, 0.5, 0.9, 0.9], [0.1, 0.1, 0.1, 0.1], [0.7, 0.8, 0.9, 0.5], [0.9, 0.9, 0.9, 0.9]]
    made = [survivors(rows[0], (date,), share) for date, share in zip(dates, shares, strict=True)]
    assert "few: adults.date 2027-09-01 (75 %)" in sweep.answer(made, axes, ONE, 0.7, 0.75, "adults")
    assert "few: adults.date 2027-12-01 (over 80 %)" in sweep.answer(made, axes, ONE, 0.7, 0.8, "adults")
    assert "few: adults.date 2027-06-01" in sweep.answer(made, axes, ONE, 0.5, 0.99, "adults")
    turned = sweep.answer(made[::-1], axes, ONE, 0.7, 0.75, "adults")
    assert "few: adults.date 2027-09-01 (75 %)" in turned  # whatever their order
    none = sweep.answer(made[:3], axes, ONE, 0.7, 0.8, "adults")
    assert "At no date" in none and "few: adults.date 2027-09-01 (75 %)" in none
    of_others = sweep.answer(made, axes, ONE, 0.7, 0.75, "young_bass")  # the dates of those that may eat them
    assert "at least 70 % of young_bass live" in of_others and "few: adults.date 2027-09-01 (75 %)" in of_others


def scored(*points: list[float]) -> list[sweep.Row]:
    """Points of a sweep of which only a goal is known, larger being better, member by member."""
    goal = Goal("pounds_harvested", matters=0.5)
    return [
        sweep.Row((k,), "few", (), {}, [Score(goal, "harvest", "crop", 1, np.array([values]), ())], None)
        for k, values in enumerate(points)
    ]


def test_the_best_point_is_told_with_those_that_are_as_good():
    axes = [Axis("a.b", (0, 1, 2))]
    luck = np.random.default_rng(1).normal(size=50)
    rows = scored(luck, luck + 1.0, luck + np.where(np.arange(50) < 24, 1.2, 0.9))
    words = sweep.answer(rows, axes, ONE, 0.5, 0.5)
    assert "As good as one another: few: a.b 1 or few: a.b 2." in words
    assert "few: a.b 1 is better than few: a.b 0 in more than 9 of 10 futures" in words
    alone = sweep.answer(scored(luck, luck + 1.0), axes, ONE, 0.5, 0.5)
    assert "Choose: few: a.b 1." in alone and "As good" not in alone


def test_many_points_fit_a_screen_and_the_best_are_among_them(rows):
    axes = [Axis(DATE, ())]
    made = [replace(rows[k % 2], values=(dt.date(2026, 4, 1 + k),)) for k in range(29)]
    said = sweep.answer(made, axes, ONE, 0.5, 0.5)
    shown = sweep.screen(made, axes, ONE, said)
    above = len([line for words in said.splitlines() for line in wrapped(words)])
    assert len(shown.splitlines()) <= 23 and "more points (--details)" in shown
    points_told = [line for line in shown.splitlines()[above:] if "2026-04-" in line and "Survey of" not in line]
    assert len(points_told) == HIGH - 6 - above
    assert f" {made[sweep.decision(made, axes).best].values[0]} " in shown.partition("Survey of")[2]


def test_points_that_do_not_differ_have_no_best():
    luck = np.random.default_rng(1).normal(size=50)
    words = sweep.answer(scored(luck, luck, luck), [Axis("a.b", (0, 1, 2))], ONE, 0.5, 0.5)
    assert words.startswith("As good as one another") and "Choose" not in words


def test_goals_are_headed_and_told_in_the_units_of_the_scenario(rows):
    goals = [Score(Goal("pounds_harvested"), "fish harvested in all", "crop", 1, np.full((1, 4), 11.2085), ())]
    goals += [Score(Goal("bass_above", above_g=2267.96), "big bass in the pond", "fish", 1, np.full((1, 4), 3.0), ())]
    scenario = resolve(raw(members=4, only="few"))
    for units, words in (("us", ("harvest, lb/acre", "bass over 5 lb", " 10 ")),
                         ("metric", ("harvest, kg/ha", "bass over 2.27 kg", " 11 "))):  # fmt: skip
        one = replace(rows[0], scores=goals, values=(1,))
        told = sweep.table([one], [Axis("a.b", ())], scenario._replace(units=units))
        assert all(word in told.replace("\n", " ") for word in words), told


def swept(axis: str, group: str = "young_bass", years: int = 2, members: int = 2) -> tuple[list[sweep.Row], list[Axis]]:
    axes = [read_axis(axis)]
    return sweep.run(points(raw(members=members, years=years, only="few"), axes), axes, group=group), axes


def alive_on(content: dict, date: dt.date) -> np.ndarray:
    """Survivors of the young bass on a day, over those stocked, read at a survey of that day."""
    content["run"]["surveys"] = [*content["run"]["surveys"], date]
    found = compare(resolve(content))
    at = int(np.flatnonzero(found["survey_date"].values == np.datetime64(date))[0])
    group = [str(name) for name in found["stocked_group"].values].index("young_bass")
    return found["group_survivors"].values[0, :, at, group] / resolve(content).strategies["few"].stocking[group].per_ha


@pytest.mark.parametrize("axis", ["run.start=2026-04-01,2026-03-15", "run.years=2,3", f"{DATE}=2026-04-10,2026-05-01"])
def test_survivors_are_counted_a_year_after_their_stocking_at_every_point(axis):
    rows, (varied,) = swept(axis)
    counted = rows[:-1] if axis.startswith(DATE) else rows[:2]
    for row in counted:
        content = raw(members=2, years=2, only="few")
        put(content, varied.path, row.values[0])
        stocked = content["strategies"]["few"]["stocking"][0]["date"]
        assert row.counted == stocked.replace(year=2027)
        np.testing.assert_array_equal(row.survivors, alive_on(content, row.counted))


def test_a_day_of_counting_changes_nothing_else():
    axes = [read_axis("pond.cover=0.5")]
    every = points(raw(members=2, years=2, only="few"), axes)
    plain, counted = sweep.run(every, axes), sweep.run(every, axes, group="young_bass")
    for one, other in zip(plain, counted, strict=False):
        assert one.dates == other.dates
        for name, (_, _, values) in one.bands.items():
            np.testing.assert_array_equal(values, other.bands[name][2])


def test_the_pond_without_the_fish_stands_beside_them():
    rows, axes = swept(f"{DATE}=2026-04-10,2026-05-01")
    assert [row.values for row in rows[2:]] == [("without",)]  # the same pond for both dates
    content = raw(members=2, years=2, only="few")
    del content["strategies"]["few"]["stocking"]
    alone = {q.name: q for q in quantities(compare(resolve(content)))}["bass_standing_crop"]
    np.testing.assert_array_equal(rows[2].bands["bass_standing_crop"][2][-1], quantiles(alone.in_units("us"))[0, -1])
    told = sweep.answer(rows, axes, ONE, 0.5, 0.8, "young_bass") + sweep.table(rows, axes, ONE, "young_bass")
    assert "few: without these fish" in told and "alive: of young_bass, 12 months after their stocking" in told


def test_of_ponds_that_differ_each_stands_there_without_the_fish(monkeypatch):
    def run_job(job: Job):
        made = [readings(one._replace(ensemble=one.ensemble._replace(members=job.members)))["few"] for one, *_ in job.variants]
        return [one | {"survivors_counted": np.zeros((job.members, 9))} for one in made]

    monkeypatch.setattr("pondpop.ensemble.run.run_job", run_job)
    rows, _ = swept("pond.cover=0.5,1")
    assert [row.values for row in rows] == [(0.5,), (1,), ("without",), ("without",)]


def test_rows_that_end_in_other_years_say_so():
    axes = [read_axis("run.years=1,2")]
    rows = sweep.run(points(raw(members=2, only="few"), axes), axes)
    lines = sweep.table(rows, axes, ONE).splitlines()
    assert "survey" in lines[1].split()
    assert ["2026-09-15" in line for line in lines[2:4]] == [True, False]
    assert ["2027-09-15" in line for line in lines[2:4]] == [False, True]


def test_none_stocked_is_no_fault():
    rows, axes = swept(f"{PER_ACRE}=0,30")
    assert np.isnan(rows[0].survivors).all() and np.isfinite(rows[1].survivors).all()
    told = sweep.table(rows, axes, ONE, "young_bass") + sweep.answer(rows, axes, ONE, 0.5, 0.8, "young_bass")
    assert "nan" not in told
    assert "survivors" not in [line.split(",")[3] for line in sweep.sweep_csv(rows[:1], axes).splitlines()]


def test_a_group_that_cannot_be_counted_is_told():
    axes = [read_axis(f"{DATE}=2026-04-10")]
    with pytest.raises(InputError, match='did you mean "old_bass"'):
        sweep.run(points(raw(years=2), axes), axes, group="oldbass")
    with pytest.raises(InputError, match="no day of the run 12 months after 2026-04-10"):
        sweep.run(points(raw(), axes), axes, group="young_bass")


def test_a_number_in_doubt_is_no_survival():
    content = raw(members=12, years=2, only="few")
    content["stocking"][1]["number_cv"] = 0.8
    axes = [read_axis("pond.cover=0.5")]
    rows = sweep.run(points(content, axes), axes, group="old_bass")
    assert rows[0].survivors.max() == 1.0  # more were there than were counted on
    assert "of a number that is itself in doubt" in sweep.table(rows, axes, resolve(content), "old_bass")


@pytest.mark.parametrize(
    ("paths", "said"),
    [
        ((PER_ACRE,), ["young_bass.per_acre"]), (("strategies.few.fertility",), ["fertility"]),
        (("pond.cover", "run.start"), ["pond.cover", "run.start"]),
        (("harvest.t.length_in.1", "harvest.t.length_in.2"), ["t.length_in.1", "t.length_in.2"]),
        ((PER_ACRE, PER_ACRE.replace("few", "many")), [PER_ACRE, PER_ACRE.replace("few", "many")]),
        (("stocking.bass.per_acre", "stocking.shad.per_acre"), ["bass.per_acre", "shad.per_acre"]),
    ],
)
def test_values_are_labelled_so_that_they_can_be_told_apart(paths, said):
    assert labels([Axis(path, ()) for path in paths]) == said


def test_the_command_writes_its_files(tmp_path, capsys):
    file = tmp_path / "pond.toml"
    file.write_text(TEXT)
    given = ["sweep", str(file), "--vary", f"{PER_ACRE}=20,40", "--members", "2", "--out", str(tmp_path / "out")]
    assert cli.main(given) == 0
    out = capsys.readouterr().out
    assert "seed 20260315" in out and "How sure: few: young_bass.per_acre" in out
    assert len(out.splitlines()) <= 24
    assert cli.main([*given, "--details"]) == 0
    assert (tmp_path / "out" / "sweep.txt").read_text("utf-8") in capsys.readouterr().out
    assert {p.name for p in (tmp_path / "out").iterdir()} >= {"sweep.csv", "sweep.txt", "scenario.resolved.toml"}
    assert cli.main([*given[:3], "pond.cvoer=1", "--out", str(tmp_path / "new")]) == 2
    assert not (tmp_path / "new").exists() and not (tmp_path / "new.partial").exists()


def test_survivors_are_counted_on_the_last_day_of_a_run_and_not_after_it():
    scenario = resolve(raw())
    a_year_before = scenario.run.end - dt.timedelta(days=365)
    event = scenario.strategies["few"].stocking[0]._replace(date=a_year_before)
    with pytest.raises(InputError, match=f"goes on until {scenario.run.end}"):
        sweep._counting_day(scenario, event)
    earlier = event._replace(date=a_year_before - dt.timedelta(days=1))
    assert sweep._counting_day(scenario, earlier) == scenario.run.end - dt.timedelta(days=1)
