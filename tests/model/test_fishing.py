"""Catch per hour: less where fish are scarce, less where they are wary, back again when they have forgotten."""

from types import SimpleNamespace

import numpy as np
import pytest
from small import raw

from pondpop.ensemble.run import compare
from pondpop.model import harvest
from pondpop.scenario import resolve
from pondpop.species import load_parameters

ANGLING = """
[[strategies.few.angling]]
hours_per_acre = {hours}
season = ["04-15", "06-30"]
death_after_release = {deaths}
"""


def per_hour(catchable, wariness=0.0):
    p = load_parameters()
    return harvest.catch_per_hour(
        np.atleast_1d(catchable), p.catch_per_hour_at_100_per_ha, p.catch_density_exponent, np.atleast_1d(wariness)
    )


def test_catch_falls_less_than_density():
    sparse, dense = per_hour(50.0)[0], per_hour(100.0)[0]
    assert sparse < dense < 2 * sparse
    assert per_hour(0.0)[0] == 0.0


def test_a_fish_is_caught_no_more_often_for_the_want_of_others():
    for catchable in (1e-9, 1e-3, 0.5):
        assert per_hour(catchable)[0] == pytest.approx(catchable * per_hour(1.0)[0])


def new_pond(hours):
    """Catch per hour of a pond without bass before its fingerlings, month by month from April [member, month]."""
    stated = raw(extra=ANGLING.format(hours=hours, deaths=0).replace("06-30", "05-15"), only="few")
    stated["stocking"] = [event for event in stated["stocking"] if event["species"] != "bass"]
    stated["strategies"]["few"]["stocking"][0] |= {"length_in": 2}
    return read_rates(resolve(stated))[0]


def test_anglers_of_a_new_pond_do_not_make_wary_the_bass_that_grow_up_there():
    quiet, busy = new_pond(0), new_pond(200)
    assert (quiet[:, 1] < 0.01).all() and (quiet[:, 11] > 0.1).all()  # too small in May, to be caught in March
    np.testing.assert_allclose(busy[:, 11], quiet[:, 11], rtol=0.05)


def test_the_ends_of_the_published_range():
    assert per_hour(50 / 0.4047)[0] == pytest.approx(2.0, rel=0.05)  # 2–5 per hour at 50–250 bass per acre
    assert per_hour(250 / 0.4047)[0] == pytest.approx(5.0, rel=0.05)


def test_a_catch_per_bass_halves_it():
    assert per_hour(100.0, 1.0)[0] == pytest.approx(per_hour(100.0)[0] / 2)


def rates(hours, deaths):
    """Catch per hour of bass above 8 in, month by month from April, and bass above 12 in, too long to be young of the year,
    at the last survey."""
    return read_rates(resolve(raw(extra=ANGLING.format(hours=hours, deaths=deaths), only="few")))


def read_rates(scenario):
    ds = compare(scenario)
    return ds["catch_rate"].values[0, :, :, 0], ds["number"].values[0, :, -1, 0, 12:].sum(axis=-1)


@pytest.fixture(scope="module")
def quiet():
    return rates(0, 0)


def test_fish_grow_wary_and_forget(quiet):
    busy = rates(200, 0)
    share = busy[0] / quiet[0]
    np.testing.assert_allclose(busy[1], quiet[1], rtol=1e-9)  # every bass lives, so only wariness differs
    assert (share[:, 2] < share[:, 1]).all() and (share[:, 1] < share[:, 0]).all()  # June < May < April
    assert (share[:, 2] < 0.8).all()
    wary = 1.0 / share - 1.0
    forgotten = np.exp(-243.0 / load_parameters().wariness_memory_days[0])  # from the end of July to that of March
    np.testing.assert_allclose(wary[:, 11] / wary[:, 3], forgotten, rtol=0.02)
    assert (share[:, 11] > share[:, 2] + 0.1).all()


def test_more_hours_make_them_warier(quiet):
    few, many = rates(50, 0)[0], rates(200, 0)[0]
    assert (many[:, 2] < few[:, 2]).all() and (few[:, 2] < quiet[0][:, 2]).all()


def females_alone(deaths):
    """The same of a pond of females, in which no young take the place of the dead."""
    stated = raw(extra=ANGLING.format(hours=200, deaths=deaths), only="few")
    for event in [*stated["stocking"], *stated["strategies"]["few"]["stocking"]]:
        if event["species"] == "bass":
            event |= {"female_share": 1, "sexing_error": 0}
    return read_rates(resolve(stated))


def test_deaths_after_release_leave_fewer_to_catch():
    alive, dying = females_alone(0), females_alone(0.3)
    assert (dying[1] < alive[1]).all()
    assert (dying[0] < alive[0]).all()


def test_fish_are_caught_by_their_ease_over_the_mean_ease_of_those_that_could_be():
    strains = SimpleNamespace(species=0, factor=lambda name: np.array([[1.0, 0.5, 0.5], [1.0, 1.0, 0.4]]))
    fish = np.array([[10.0, 20.0, 10.0], [0.0, 0.0, 0.0]])
    ease, mean = harvest.ease_of_catching(SimpleNamespace(strains=[strains]), 0, fish)
    np.testing.assert_allclose(mean, [(10.0 + 10.0 + 5.0) / 40.0, 1.0])
    np.testing.assert_allclose(ease[0] * mean[0], [1.0, 0.5, 0.5])
    assert harvest.ease_of_catching(SimpleNamespace(strains=[strains]), 1, fish) is None
