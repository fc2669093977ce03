"""Ages of fish as evidence: what a table of ages says, its chance, and what a pond's year classes would show."""

import datetime as dt
import itertools
from dataclasses import replace

import numpy as np
import pytest
from small import pond

from pondpop.observe.gears import gear
from pondpop.records import read_records
from pondpop.species import SPECIES
from pondpop.update import prior_uniforms, up_to, update_ensemble
from pondpop.update.from_records import evidence
from pondpop.update.likelihood import View
from pondpop.update.shares import LENGTHS_ALIKE, MISREAD, Aged
from pondpop.update.simulate import Hatched, Watched, watch_all
from pondpop.update.verify import estimates

HEAD = "date,gear,species,length_in,weight_lb,count,tag,age"
ROWS = [
    "2026-09-15,electrofishing,bass,5,,2,,0",
    "2026-09-15,electrofishing,bass,9,,,,1",
    "2026-09-15,electrofishing,bass,10,,,,",
    "2026-09-15,electrofishing,bass,14,,,,4",
    "2026-09-16,electrofishing,bass,14.5,,,,9",
    "2026-09-15,electrofishing,bluegill,4,,,,1",
]


def aged(data, classes=((8, 12), (12, None)), **other):
    return replace(Aged("a", "bass", "electrofishing", 7, 0, classes, np.array(data, float)), **other)


def view(fish, off=0.0):
    """Ponds [member] with fish/ha by inch class and year class."""
    fish = np.asarray(fish, float)
    return View({"year_classes": fish[:, None]}, (7,), 2.0, np.full(9, 20.0), {"offset ages bass": np.full(len(fish), off)})


def grown(per_year, deaths, years=4, first=100.0, spread=1.2):
    """Year classes [1, 32, years], the oldest first, each `per_year` inches longer than the next and fewer by deaths."""
    inch = np.arange(32) + 0.5
    age = np.arange(years)[::-1] + 0.5
    lengths = np.exp(-0.5 * ((inch[:, None] - 3.0 - per_year * age) / spread) ** 2)
    return (first * lengths / lengths.sum(axis=0) * np.exp(-deaths * age))[None]


def test_a_table_of_ages_is_read_by_length_class_and_year_of_hatching(tmp_path):
    (tmp_path / "survey.csv").write_text("\n".join([HEAD, *ROWS]) + "\n")
    found = [o for o in evidence(read_records(tmp_path), pond(only="few")).observations if isinstance(o, Aged)]
    assert [(one.title, one.day, one.k, one.classes) for one in found] == [
        ("2026-09-15 electrofishing bass", 167, 0, ((0, 8), (8, 12), (12, 15))),
        ("2026-09-15 electrofishing bluegill", 167, 1, ((3, 6),)),
    ]
    assert found[0].data.tolist() == [[0, 2], [1, 0], [2, 0]]  # before 2026, and in 2026; the one without an age is not there
    asked = evidence(read_records(tmp_path), pond(only="few")).watched
    assert asked.hatched == (Hatched("bass", 167), Hatched("bluegill", 167)) and 167 in asked.days
    ages = {name: float(value) for name, (unit, value) in found[0].figures(found[0].data).items() if unit == "years"}
    assert ages == {"mean age 0_8in": 0.0, "mean age 8_12in": 1.0, "mean age 12_15in": 1.0}


def test_records_without_ages_ask_for_none(tmp_path):
    (tmp_path / "survey.csv").write_text("\n".join([HEAD, "2026-09-15,electrofishing,bass,9,,,,"]) + "\n")
    seen = evidence(read_records(tmp_path), pond(only="few"))
    assert seen.watched.hatched == () and not any(isinstance(one, Aged) for one in seen.observations)


def test_the_chance_of_ages_adds_up_to_one_and_is_how_often_they_are_drawn():
    one = aged([[2, 1, 0], [1, 1, 0]])
    share = np.array([[[0.5, 0.3, 0.2], [0.1, 0.2, 0.7]]])
    of_three = [x for x in itertools.product(range(4), repeat=3) if sum(x) == 3]
    of_two = [x for x in itertools.product(range(3), repeat=3) if sum(x) == 2]
    every = np.array(list(itertools.product(of_three, of_two)), float)
    chance = np.array([float(np.exp(one.log_likelihood(share, data)[0])) for data in every])
    assert chance.sum() == pytest.approx(1.0)
    drawn = one.draw(np.repeat(share, 20_000, axis=0), np.random.default_rng(3))
    often = (drawn[:, None] == every).all(axis=(2, 3)).mean(axis=0)
    assert often == pytest.approx(chance, abs=5 * np.sqrt(0.25 / 20_000))
    together = gear("electrofishing").independent_fish
    many = aged([[60, 0, 0], [0, 0, 0]]).draw(np.repeat(share, 5_000, axis=0), np.random.default_rng(3))[:, 0, 0]
    assert many.mean() == pytest.approx(30.0, abs=0.5)
    assert many.var() == pytest.approx(60 * 0.25 * (together + 60) / (together + 1), rel=0.1)  # fish keep together


def test_shares_add_up_to_one_and_do_not_depend_on_how_many_fish_there_are():
    one, fish = aged(np.ones((2, 4))), grown(4.0, 0.5)
    share = one.expected(view(fish))
    assert share.sum(axis=-1) == pytest.approx(np.ones((1, 2)))
    assert one.expected(view(7.0 * fish)) == pytest.approx(share)
    assert one.typical(share).sum(axis=-1) == pytest.approx(np.full((1, 2), 4.0))
    nobody = one.expected(view(0.0 * fish))
    assert nobody == pytest.approx(np.full((1, 2, 4), 0.25))


def test_a_pond_of_one_year_class_shows_it_but_for_ages_misread():
    fish = np.zeros((1, 32, 4))
    fish[0, 9, 1] = 50.0
    share = aged(np.ones((1, 4)), ((8, 12),)).expected(view(fish))[0, 0]
    assert share == pytest.approx(np.array([MISREAD / 2, 1 - MISREAD, MISREAD / 2, 0.0]) * 0.98 + 0.005)


def test_slow_growth_is_old_fish_of_a_length_and_deaths_are_young_ones():
    one = aged(np.full((2, 4), 4.0))

    def mean_age(fish, off=0.0):
        return np.array([v[0] for _, v in one.figures(one.typical(one.expected(view(fish, off)))).values()])

    usual = mean_age(grown(4.0, 0.5))
    assert (mean_age(grown(3.0, 0.5)) > usual + 0.2).all()
    assert (mean_age(grown(4.0, 1.5)) < usual - 0.05).all()
    assert (mean_age(grown(4.0, 0.5), 3.0) < usual).all()  # all fish longer than in the model, so younger at a length
    longer = grown(4.0 * np.exp(3 * LENGTHS_ALIKE), 0.5, spread=1.2 * np.exp(3 * LENGTHS_ALIKE))
    assert mean_age(grown(4.0, 0.5), 3.0) == pytest.approx(mean_age(longer), abs=0.15)


def test_what_ages_sum_up_to_is_the_odds_of_the_older_fish():
    one = aged([[2, 1, 3], [4, 1, 1]])
    assert one.summary(one.data) == pytest.approx(np.log([6.5 / 6.5, 8.5 / 4.5]))
    assert one.summary(np.stack([one.data, one.data[::-1]])).shape == (2, 2)


def test_an_update_holds_ages_against_its_members(tmp_path):
    (tmp_path / "survey.csv").write_text("\n".join([HEAD, *ROWS]) + "\n")
    found = update_ensemble(pond(members=4, only="few"), tmp_path)
    of_age = {fit.name: fit for fit in found.fits if fit.name.startswith("mean age") and "bass" in fit.title}
    assert set(of_age) == {"mean age 0_8in", "mean age 8_12in", "mean age 12_15in"}
    assert of_age["mean age 12_15in"].observed == 1.0 and (of_age["mean age 12_15in"].prior > 0.0).all()
    assert any(name.startswith("offset ages") for name in found.prior.uniforms)


def test_a_pond_is_run_for_the_whole_years_that_hold_the_last_record():
    scenario = pond(members=2, years=3, only="few")
    ends = [scenario.run.start.replace(year=scenario.run.start.year + n) for n in (1, 2)]
    day = dt.timedelta(days=1)
    years = [up_to(scenario, "few", until).run.years for until in (ends[0] - day, ends[0], ends[1] - day, ends[1])]
    assert years == [1, 2, 2, 3]


def test_year_classes_are_the_fish_of_a_survey_and_only_spawning_adds_to_them():
    scenario = pond(members=2, years=2, only="few")
    last = dt.date(2027, 10, 15)
    past = up_to(scenario, "few", last)
    dates = (dt.date(2026, 4, 20), dt.date(2026, 11, 1), dt.date(2027, 4, 1), last)
    days = tuple((day - scenario.run.start).days for day in dates)
    asked = Watched(days, hatched=tuple(Hatched("bass", day) for day in days))
    read = watch_all(past, "few", asked, prior_uniforms(past, "few", last, ()))
    classes = read["year_classes"]  # member, day, inch, year class: before 2026, 2026, 2027
    assert classes.shape == (2, 4, 32, 3)
    assert classes.sum(axis=3) == pytest.approx(read["number"][:, :, SPECIES.index("bass")], abs=1e-8)
    left = classes.sum(axis=2)
    assert (left[:, 0, 1:] == 0.0).all() and (left[:, 1:, 0] > 0.0).all()
    assert (left[:, 1, 1] > 0.0).all() and (left[:, 3, 2] > 0.0).all() and (left[:, :3, 2] == 0.0).all()
    assert (np.diff(left[:, :, 0]) < 0.0).all() and (np.diff(left[:, 1:, 1]) < 0.0).all()


def test_ages_raise_suspicion_of_deaths_that_lengths_do_not_show():
    """Ponds whose year classes overlap in length: those with more deaths have young ones only, of the same lengths."""
    rng = np.random.default_rng(4)

    def seen(by, z):
        fish = np.concatenate([grown(2.0, 0.5 * np.exp(0.3 * (x + by)), first=300.0, spread=3.0) for x in z])
        fish *= (grown(2.0, 0.5, first=300.0, spread=3.0).sum(-1) / fish.sum(-1))[:, :, None]  # the same lengths
        return view(fish)

    members, z = seen(0.0, rng.normal(size=80)), rng.normal(size=80)
    members = seen(0.0, z)
    off = {"natural deaths of bass": {way: seen(3.0 * way, z[:32]) for way in (-1, 1)}}
    one = aged(np.full((2, 4), 5.0))
    truth = one.draw(one.expected(seen(6.0, rng.normal(size=40))), rng)
    right = one.draw(one.expected(seen(0.0, rng.normal(size=40))), rng)
    found, alarms = ([estimates([replace(one, data=data)], members, off)[0] for data in some] for some in (truth, right))
    assert np.mean([it.suspected and it.more for it in found]) > 0.5
    assert np.mean([it.suspected for it in alarms]) < 0.2


def test_what_was_seen_on_the_first_day_tells_nothing_as_the_pond_holds_its_fish_only_after_it(tmp_path):
    """A pond that begins from its survey was held against the survey while it was still empty."""
    sheet = "date,gear,species,length_in,weight_lb,tag\n"
    fish = [f"{day},electrofishing,bass,{9 + k},,{day[5:7]}{k}\n" for day in ("2026-04-01", "2026-09-15") for k in range(4)]
    (tmp_path / "survey.csv").write_text(sheet + "".join(fish))
    (tmp_path / "effort.csv").write_text("date,gear,hours\n2026-04-01,electrofishing,1\n2026-09-15,electrofishing,1\n")
    seen = evidence(read_records(tmp_path), pond(only="few"))
    assert seen.watched.days == (167,) and seen.observations
    assert not any("2026-04-01" in one.title for one in seen.observations)
    (said,) = [line for line in seen.unused if "2026-04-01" in line]
    assert said.startswith("what was seen on 2026-04-01 tells nothing")
