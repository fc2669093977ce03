"""A pond stepped by day: what is read of it after a step is of the days up to that one."""

import datetime as dt

import numpy as np
from small import pond

from pondpop import Simulation, Take

DAY = dt.date(2026, 4, 3)


def test_what_was_harvested_is_told_from_the_day_on_which_it_is_taken():
    fished = Simulation(pond(members=2), "few", harvest=lambda one: [Take("bass", share=0.5)] if one.date == DAY else [])
    before = fished.run(until=DAY).number("bass")
    told = []
    for _ in range(2):
        fished.step()
        told.append(fished.harvested["number"].sel(species="bass").values)
    np.testing.assert_allclose(told, [0.5 * before] * 2, rtol=1e-9)
