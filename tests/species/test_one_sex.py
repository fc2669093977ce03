"""Only females: no male, no young; and how sure that is when one of a hundred may have been missed."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest
from small import TEXT

import pondpop
from pondpop.decide.details import details
from pondpop.decide.phrases import teller
from pondpop.ensemble.draws import Prior
from pondpop.scenario import dump, resolve
from pondpop.units import in_hundred

FEMALES = """
female_share = 1
"""


def scenario(error: float | None = None, members: int = 12, years: int = 2):
    """Grown female bass with bluegill, and the same with males."""
    text = TEXT.replace('per_acre = 20\nlength_in = 13', f"per_acre = 20\nlength_in = 13{FEMALES}" + (
        "" if error is None else f"sexing_error = {error}\n"
    ))  # fmt: skip
    text = text.replace("per_acre = 30\nlength_in = 6", "per_acre = 30\nlength_in = 6\nfemale_share = 1\n")
    raw = tomllib.loads(text)
    raw["ensemble"]["members"], raw["run"]["years"] = members, years
    return resolve(raw)


def test_females_alone_have_no_young_and_with_males_they_have():
    born = pondpop.compare(scenario(members=3))["born_number"].sel(species="bass").sum("year")
    assert (born.sel(strategy="few") == 0.0).all()
    assert (born.sel(strategy="many") > 0.0).all()


def test_missed_males_are_whole_fish_as_many_as_said_on_average_and_decide_whether_there_are_young():
    doubtful = scenario(0.02)
    strategy = doubtful.strategies["few"]
    doubtful = doubtful._replace(strategies={"few": strategy})
    k = [event.name for event in strategy.stocking].index("old_bass")
    luck = Prior().draw(doubtful, strategy, 0, 2000)[1]
    count = 20 * 2  # an acre, two acres
    males = luck.missed_males[:, k] * count
    np.testing.assert_allclose(males, np.round(males), atol=1e-9)
    assert abs(males.mean() - 0.02 * count) < 0.1
    born = pondpop.compare(doubtful)["born_number"].sel(species="bass", strategy="few").sum("year").values
    own = Prior().draw(doubtful, strategy, 0, 12)[1].missed_males[:, k]
    np.testing.assert_array_equal(born > 0.0, own > 0.0)
    assert 0 < (born > 0.0).sum() < 12


@pytest.mark.slow
def test_it_is_said_how_sure_no_young_is_and_the_key_is_read_written_and_told():
    for error in (None, 0.02):
        one = scenario(error)
        assert resolve(tomllib.loads(dump(one))) == one
        said = [d.words for d in details(teller(pondpop.compare(one), "us")) if d.topic == "no young"]
        assert len(said) == 1 and "no bass are born in" in said[0]  # of the strategy with males nothing is said
        assert ("taken for sure" in said[0]) == (error is None)
        born = pondpop.compare(one)["born_number"].sel(species="bass", strategy="few").sum("year").values
        assert f"in {in_hundred(float((born == 0.0).mean()), born.size)} of futures" in said[0]
    assert "2 of 100 taken for females are males" in pondpop.describe(scenario(0.02))
