"""What must hold in every pond that a scenario can describe, however odd: tried on ponds that Hypothesis draws."""

from __future__ import annotations

import copy
import datetime as dt
import warnings
from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis_ponds import scenarios
from laws import assert_books_close, assert_dataset_sound, assert_lawful_days, plain
from small import pond
from small import raw as raw_pond

from pondpop.checks import InputError
from pondpop.ensemble import results
from pondpop.ensemble.draws import Prior
from pondpop.ensemble.prepare import prepare
from pondpop.ensemble.run import compare
from pondpop.model.day import Engine
from pondpop.model.inputs import FishingInput, Inputs, Luck
from pondpop.observe.observers import project, read_survey
from pondpop.records import Records
from pondpop.scenario import resolve


@settings(max_examples=20)
@given(scenarios(years=1, strategies=1), st.integers(20, 90))
def test_every_day_of_any_pond_is_lawful(raw, days):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert_lawful_days(resolve(raw), days)


@settings(max_examples=8)
@given(scenarios(years=1, members=2, strategies=1))
def test_every_dataset_of_any_pond_is_sound(raw):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert_dataset_sound(compare(resolve(raw)))


def test_a_length_that_no_fish_has_holds_no_weight():
    """The normal of a group never ends: 35 fry of 1 in gave 13 in bass of 1e-310 kg/ha, and of no number."""
    engine = Engine(plain(pond()))
    engine.run_day()
    for spread in np.geomspace(0.02, 0.2, 60):
        engine.state.spread[:] = spread
        seen = read_survey(engine)
        number, biomass = seen["number"], seen["biomass"]
        assert ((number == 0.0) == (biomass == 0.0)).all(), spread
        np.testing.assert_allclose(number.sum(), engine.state.number.sum(), rtol=1e-9)
        np.testing.assert_allclose(biomass.sum(), engine.state.biomass().sum(), rtol=1e-9)
        assert number[number > 0.0].min() > 1e-9


def fished(inputs: Inputs, day: int, species: int, kind: str, ask: float) -> Inputs:
    effort = np.zeros(inputs.days)
    effort[day] = 1.0
    rule = FishingInput(species, 5.0, 900.0, effort, kind, np.full((1, inputs.years), ask))
    return replace(inputs, fishing=(rule,))


@settings(max_examples=15)
@given(
    scenarios(years=1, strategies=1),
    st.integers(0, 40),
    st.integers(0, 3),
    st.sampled_from(["share", "per_ha", "kg_per_ha"]),
    st.tuples(st.floats(0, 0.99), st.floats(0, 0.99)),
)
def test_more_harvest_never_leaves_more_fish_of_a_cohort_that_day(raw, day, species, kind, asks):
    little, much = (ask * (1.0 if kind == "share" else 2000.0) for ask in sorted(asks))
    engine = Engine(fished(plain(resolve(raw)), day, species, kind, 0.0))
    for _ in range(day):
        engine.run_day()
    engine.stock()
    left, caught = [], []
    before = engine.state.number.copy()
    for ask in (0.0, little, much):
        other = copy.deepcopy(engine)
        other.inputs = fished(engine.inputs, day, species, kind, ask)
        other.step()
        other.ledger.cast_up(other, other.flows)
        left.append(other.state.number)
        caught.append(other.flows.harvest_number - engine.flows.harvest_number)
    assert (left[0] >= left[1]).all() and (left[1] >= left[2]).all()
    assert (caught[0] <= caught[1] + 1e-12).all()
    there = before[:, engine.slices[species]].sum(axis=1)
    assert (caught[2][:, species] <= there + 1e-12).all()
    if there.sum() > 1e-6 and much > 1e-3:
        assert (caught[2][:, species] > 0.0).all()


@settings(max_examples=15)
@given(scenarios(years=1, strategies=1), st.integers(0, 40))
def test_removals_take_no_more_than_there_is(raw, days):
    engine = Engine(plain(resolve(raw)))
    for _ in range(days):
        engine.stock()
        before = engine.state.number.copy()
        flow = engine.flows.removed_number.copy()
        engine.remove(engine.inputs.removals)
        assert (engine.state.number <= before).all() and (engine.state.number >= 0.0).all()
        gone = before.sum() - engine.state.number.sum()
        assert (engine.flows.removed_number - flow).sum() <= gone * (1.0 + 1e-9) + 1e-9
        engine.step()
        engine.spawn()
        engine.forget_empty()
        engine.day += 1


@pytest.mark.parametrize("kind", ["harvest", "removal"])
@pytest.mark.parametrize("longest_mm", [1e-110, 1.0, 5.0])
def test_a_window_below_every_fish_is_refused(kind, longest_mm):
    """It would be turned about, since the model has no fish below 5 mm, and a removal would add fish."""
    table = {"species": "bluegill", "length_mm": [0.0, longest_mm], "share": 0.5}
    if kind == "removal":
        table["date"] = dt.date(2026, 4, 20)
    with pytest.raises(InputError, match=r"length_mm: got \[0.0, .*\], needs \[from, to\] with to above 5 mm"):
        resolve(raw_pond() | {kind: [table]})
    table["length_mm"] = [0.0, 5.1]
    resolve(raw_pond() | {kind: [table]})


@settings(max_examples=4)
@given(scenarios(years=1, members=2, strategies=1))
def test_twice_the_area_with_the_same_densities_leaves_densities_alone(raw):
    assume(raw["pond"].get("area_ha", 0) <= 100 and raw["pond"].get("area_acres", 0) <= 247)
    for table in raw["strategies"].values():
        for event in table["stocking"]:
            if "count" in event:
                event["per_acre"] = event.pop("count")
        for rule in table["harvest"]:
            if "when" in rule:
                rule["when"]["fish_sampled"] = 0  # a larger pond holds more fish to measure
    raw["oxygen"] = {"risk": False}  # wind mixes a larger pond deeper
    for table in (raw, *raw["strategies"].values()):
        table.pop("aeration", None)  # refused without oxygen
    raw["ensemble"].setdefault("spread", {})["whole_fish"] = 0  # few fish of a small pond are whole
    one = resolve(raw)
    two = one._replace(pond=one.pond._replace(area_ha=2.0 * one.pond.area_ha))
    a, b = compare(one), compare(two)
    for name in results.VARIABLES:
        if "largest" not in name:
            np.testing.assert_array_equal(a[name].values, b[name].values, err_msg=name)


@settings(max_examples=60)
@given(scenarios(), st.randoms(use_true_random=False))
def test_the_order_of_events_in_the_file_does_not_matter(raw, random):
    turned = copy.deepcopy(raw)
    for table in turned["strategies"].values():
        for key, items in table.items():
            if isinstance(items, list):
                random.shuffle(items)
                table[key] = items
    if "local_knowledge" in turned:
        random.shuffle(turned["local_knowledge"])
    assert resolve(raw) == resolve(turned)


def permuted(luck: Luck, order: np.ndarray) -> Luck:
    values = {f.name: getattr(luck, f.name) for f in fields(luck)}
    return Luck(**{name: None if value is None else value[order].copy() for name, value in values.items()})


def test_permuted_members_permute_results():
    scenario = pond(members=4, extra=HARVESTED)
    strategy, order = scenario.strategies["few"], np.array([2, 0, 3, 1])
    parameters, luck = Prior().draw(scenario, strategy, 0, 4)
    days = [(date - scenario.run.start).days for date in scenario.run.survey_dates]
    one = project(prepare(scenario, strategy, parameters, luck), days)
    two = project(prepare(scenario, strategy, parameters.take(order), permuted(luck, order)), days)
    for name in one:
        np.testing.assert_array_equal(one[name][order], two[name], err_msg=name)
    assert np.ptp(one["biomass"].sum(axis=(1, 2, 3))) > 0.0


HARVESTED = """
[[strategies.few.harvest]]
species = "bass"
length_in = [8, 14]
lb_per_acre = 10
when = {any = [{quantity = "bass_psd", below = 60}]}
[[strategies.few.angling]]
hours_per_acre = 40
"""


def test_an_update_without_records_returns_the_prior():
    from pondpop.update import update_ensemble

    scenario = pond(members=3)
    nothing = Records(folder="", files=(), fish=(), effort=(), catches=(), tags=(), left_out=(), notes=())
    found = update_ensemble(scenario, nothing, strategy="few")
    prior, learned = compare(scenario), compare(scenario, source=found.posterior)
    for name in results.VARIABLES:
        np.testing.assert_array_equal(prior[name].values, learned[name].values, err_msg=name)


def test_the_laws_notice_a_broken_book():
    """The checks above can fail: a page with one figure changed is refused."""
    engine = Engine(plain(pond(extra=HARVESTED)), keep_books=True)
    for _ in range(40):
        engine.run_day()
    page, water_c = engine.books[-1], float(engine.water_c[0, 39])
    assert_books_close(page, water_c)
    food = page.ate_food.copy()
    food[0] *= 1.001
    more = page.rates | {"background": page.rates["background"] * 1.01}
    for wrong in (
        replace(page, ate_fish=page.ate_fish * 1.001),
        replace(page, ate_food=food),
        replace(page, rates=more),
        replace(page, growth=page.growth + 1e-6),
        replace(page, food_after=page.food_after * 2.0),
    ):
        with pytest.raises(AssertionError):
            assert_books_close(wrong, water_c)
