"""A pond stepped by day: as a projection of it is, read, fished and refused; what is read is of the days up to then."""

import datetime as dt

import numpy as np
import pytest
from small import pond

from pondpop import Simulation, Take
from pondpop.checks import InputError, RunError
from pondpop.ensemble.run import compare

DAY = dt.date(2026, 4, 3)
HARVEST = """
[[strategies.few.harvest]]
species = "bass"
length_in = [8, 14]
lb_per_acre = 10
when = { any = [{ quantity = "bass_psd", above = 10 }] }
"""


def test_what_was_harvested_is_told_from_the_day_on_which_it_is_taken():
    fished = Simulation(pond(members=2), "few", harvest=lambda one: [Take("bass", share=0.5)] if one.date == DAY else [])
    before = fished.run(until=DAY).number("bass")
    told = []
    for _ in range(2):
        fished.step()
        told.append(fished.harvested["number"].sel(species="bass").values)
    np.testing.assert_allclose(told, [0.5 * before] * 2, rtol=1e-9)


def test_a_stepped_pond_is_the_compared_one_to_the_bit():
    """With a reacting rule, and with an observer and a rule that do nothing."""
    scenario = pond(members=2, extra=HARVEST)
    dataset = compare(scenario).sel(strategy="few")
    assert dataset["harvest_number"].sum() > 0
    days = []
    stepped = Simulation(scenario, observers=[lambda p: days.append(p.date)], harvest=lambda p: [])
    for date in scenario.run.survey_dates:
        survey = stepped.run(until=date).survey()
        assert set(survey.data_vars) == {n for n, v in dataset.data_vars.items() if "survey_date" in v.dims}
        for name in survey.data_vars:
            wanted = dataset[name].sel(survey_date=str(date))
            np.testing.assert_array_equal(survey[name], wanted.transpose(*survey[name].dims), err_msg=name)
    stepped.run()
    assert len(days) == len(set(days)) == 366 and days[0] == scenario.run.start and days[-1] == scenario.run.end


def test_what_there_is_can_be_asked():
    one = Simulation(pond(members=3), "many").run(until=dt.date(2026, 6, 15))
    survey = one.survey()
    for species in ("bass", "bluegill", "minnow"):
        np.testing.assert_allclose(one.number(species), survey["number"].sel(species=species).sum("length_class"))
        np.testing.assert_allclose(one.biomass(species), survey["biomass"].sel(species=species).sum("length_class"))
    np.testing.assert_allclose(
        one.number("bass", (8 * 25.4, 12 * 25.4)),
        survey["number"].sel(species="bass", length_class=slice(8, 11)).sum("length_class"),
    )
    np.testing.assert_array_equal(one.psd("bass"), survey["psd"].sel(species="bass", length_category="quality"))
    small = survey.sel(species="bass", length_class=slice(8, 11))
    there = small["number"].where(small["relative_weight"].notnull(), 0.0)
    wanted = (small["relative_weight"].fillna(0.0) * there).sum("length_class") / there.sum("length_class")
    np.testing.assert_allclose(one.relative_weight("bass", (8, 12)), wanted, rtol=1e-12)
    assert (wanted > 60).all() and (wanted < 140).all()
    assert one.members == 3 and one.water_c.shape == (3,) and not one.finished


@pytest.mark.parametrize("amount", [{"share": 0.5}, {"per_ha": 4.0}, {"kg_per_ha": 1.0}, {"per_ha": np.array([1.0, 5.0])}])
def test_a_rule_takes_what_it_names_and_it_counts_as_harvest(amount):
    day, window = dt.date(2026, 5, 1), (250.0, 900.0)

    def rule(p: Simulation) -> list[Take]:
        return [Take("bass", window, **amount)] if p.date == day else []

    fished = Simulation(pond(members=2), "few", harvest=rule).run(until=day)
    there = {"share": fished.number("bass", window), "per_ha": 1.0, "kg_per_ha": 1.0}
    ((kind, asked),) = amount.items()
    fished.step()
    taken = fished.harvested.sel(species="bass")["biomass" if kind == "kg_per_ha" else "number"]
    np.testing.assert_allclose(taken, asked * there[kind] * np.ones(2), rtol=1e-9)
    assert fished.harvested["number"].sel(species="bluegill").sum() == 0
    left = Simulation(pond(members=2), "few").run(until=dt.date(2026, 5, 2)).number("bass", window)
    lost = left - fished.number("bass", window)
    np.testing.assert_allclose(lost, fished.harvested["number"].sel(species="bass"), rtol=0.05)


def test_never_more_is_taken_than_is_there():
    greedy = Simulation(
        pond(members=2), harvest=lambda p: [Take("bass", per_ha=1e6), Take("bass", kg_per_ha=1e6)]
    )
    greedy.run(until=dt.date(2026, 4, 5))
    assert (greedy.number("bass") < 1e-6).all()
    assert (greedy.harvested["number"].sel(species="bass") < 100).all()


def test_a_take_of_nothing_is_no_take():
    nothing = [Take("bass", share=0), Take("bass", per_ha=np.zeros(2)), Take("bass", kg_per_ha=0.0)]
    one, other = (Simulation(pond(members=2), harvest=rule) for rule in (lambda p: nothing, None))
    Simulation(pond(members=1), harvest=lambda p: None).step()
    for simulation in (one, other):
        simulation.run(until=dt.date(2026, 4, 3))
    np.testing.assert_array_equal(one.number("bass"), other.number("bass"))
    assert not one.harvested["number"].any()


def test_a_rule_may_take_all_fish_and_those_of_a_window_that_ends_at_forty_mm():
    takes = [Take("bluegill", share=1.0), Take("shad", (10.0, 40.0), share=0.1)]
    one = Simulation(pond(members=2), harvest=lambda p: takes if p.date == dt.date(2026, 6, 1) else [])
    one.run(until=dt.date(2026, 6, 1))
    assert (one.number("bluegill") > 0.0).all()
    one.step()
    assert (one.number("bluegill") < 1e-6).all()


@pytest.mark.parametrize(
    ("take", "says"),
    [
        (Take("bas", share=0.1), 'take 1 of the harvest rule, species: got "bas"'),
        (Take("bass"), "take 1 of the harvest rule: got no amount"),
        (Take("bass", share=0.1, per_ha=1), "take 1 of the harvest rule: got share and per_ha"),
        (Take("bass", share=1.1), "take 1 of the harvest rule, share: got 1.1"),
        (Take("bass", per_ha=-1), "take 1 of the harvest rule, per_ha: got -1"),
        (Take("bass", per_ha=float("nan")), "got nan, needs numbers of 0 or more; where a value is not known, as PSD"),
        (Take("bass", share=np.array([0.2, -0.1])), "share: got -0.1 for member 1, needs numbers from 0 to 1"),
        (Take("bass", share="0.1"), 'take 1 of the harvest rule, share: got "0.1", needs numbers'),
        (Take("bass", ("8", "12"), share=0.1), "length_mm: got [\"8\", \"12\"], needs two lengths in mm"),
        (Take("bass", per_ha=np.ones(3)), "one for each of the 2 members"),
        (Take("bass", (300, 200), share=0.1), "take 1 of the harvest rule, length_mm"),
        (Take("bass", (8, 12), share=0.1), "lengths are in mm: 8 to 12 in are (203, 305)"),
        (Take("bass", share=np.array([True, False])), "take 1 of the harvest rule, share: got truth values"),
        ("bass", "take 1 of the harvest rule: got"),
    ],
)  # fmt: skip
def test_a_rule_that_makes_no_sense_is_refused_before_the_day(take, says):
    one = Simulation(pond(members=2), harvest=lambda p: [take])
    before = one.number("bluegill")
    with pytest.raises(InputError) as error:
        one.step()
    assert says in str(error.value) and "\n" not in str(error.value)
    assert one.date == dt.date(2026, 4, 1)
    np.testing.assert_array_equal(one.number("bluegill"), before)


@pytest.mark.parametrize("read", ["number", "biomass"])
def test_a_window_in_inches_is_refused_where_fish_are_counted_too(read):
    count = getattr(Simulation(pond(members=2), "few").run(until=dt.date(2026, 4, 3)), read)
    with pytest.raises(InputError) as refused:
        count("bass", (8, 12))
    said = "length_mm: got [8, 12], needs a window that ends at 40 mm or more; lengths are in mm: 8 to 12 in are (203, 305)"
    assert str(refused.value) == said
    assert (count("bass", (203, 500)) > 0.0).all() and (count("bluegill", (0, 40)) == 0.0).all()


@pytest.mark.parametrize("read", ["number", "biomass"])
def test_fish_of_two_windows_that_touch_are_those_of_both(read):
    count = getattr(Simulation(pond(members=2), "few").run(until=dt.date(2026, 4, 3)), read)
    parts = [count("bluegill", window) for window in ((0, 95), (95, 110), (110, 400))]
    assert all((part > 0.0).all() for part in parts)
    np.testing.assert_allclose(np.sum(parts, axis=0), count("bluegill"), rtol=1e-9)


@pytest.mark.parametrize(
    ("until", "remedy"),
    [(dt.datetime(2026, 5, 1), "; give its day, until.date()"), ("2026-05-01", "; give datetime.date(year, month, day)")],
)
def test_a_day_to_stop_at_that_is_no_date_is_refused_with_what_to_give(until, remedy):
    with pytest.raises(InputError) as refused:
        Simulation(pond(members=1)).run(until=until)
    assert str(refused.value).endswith(f"needs a date from 2026-04-01 to 2027-04-01{remedy}")


def test_a_step_past_the_end_and_wrong_questions_are_refused():
    one = Simulation(pond(members=1))
    one.run()
    assert one.finished and one.date == dt.date(2027, 4, 1)
    with pytest.raises(RunError, match=r"the run ended on 2027-04-01; there is no day to step to: step while not pond\.finished"):
        one.step()
    for wrong in (
        lambda: one.run(until=dt.date(2026, 5, 1)),
        lambda: Simulation(pond(members=1)).run(until="2026-05-01"),
        lambda: Simulation(pond(members=1)).run(until=dt.datetime(2026, 5, 1)),
        lambda: Simulation(pond(members=1), harvest=lambda p: Take("bass", share=0.1)).step(),
        lambda: Simulation(pond(members=1), harvest=3),
        lambda: Simulation(pond(members=1), observers=print),
        lambda: Simulation(pond(members=1), observers=[print, 3]),
        lambda: Simulation(pond(), "nobody"),
        lambda: Simulation(pond(), members=0),
        lambda: one.number("trout"),
        lambda: one.psd("shad"),
        lambda: one.relative_weight("shad", (8, 12)),
        lambda: one.relative_weight("bass", (12, 8)),
        lambda: one.relative_weight("bass", (8, 12.5)),
        lambda: one.relative_weight("bass", (203, 305)),
        lambda: Simulation(pond(), members=10_001),
    ):
        with pytest.raises(InputError):
            wrong()
    for ask in (lambda: one.psd("shad"), lambda: one.relative_weight("shad", (8, 12))):
        with pytest.raises(InputError, match='species: got "shad", needs one of bass, bluegill'):
            ask()


@pytest.mark.parametrize("who", ["harvest", "observers"])
def test_who_looks_at_a_pond_cannot_step_it(who):
    one = Simulation(pond(members=1), **{who: (lambda p: p.step()) if who == "harvest" else [lambda p: p.run()]})
    with pytest.raises(RunError, match="on 2026-04-01 an observer or the harvest rule steps the pond that asks it"):
        one.step()
    assert one.date == dt.date(2026, 4, 1)


def test_a_rule_that_failed_may_be_asked_again():
    wrong = [True]
    one = Simulation(pond(members=1), harvest=lambda p: 1 / 0 if wrong else [])
    with pytest.raises(ZeroDivisionError):
        one.step()
    wrong.clear()
    one.step()
    assert one.date == dt.date(2026, 4, 2)


def test_a_category_that_there_is_not_is_told_with_those_that_there_are_once():
    with pytest.raises(InputError) as refused:
        Simulation(pond(members=1)).psd("bass", "huge")
    assert str(refused.value) == 'category: got "huge", needs one of stock, quality, preferred, memorable, trophy'
