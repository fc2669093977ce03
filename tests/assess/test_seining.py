"""Which fish of a seine count as young, and from how many a haul they are many."""

import datetime as dt
from types import SimpleNamespace

import pytest

from pondpop.assess.seining import seining

DAY = dt.date(2024, 6, 10)


def survey(*fish, date=DAY, hauls=2.0, species=("bass", "bluegill")):
    """Hauls of one day, and of another gear, that caught so many fish of these species and lengths in inches."""
    rows = [SimpleNamespace(gear="seine", species=s, date=date, length_mm=25.4 * inches, count=n) for s, inches, n in fish]
    other = SimpleNamespace(gear="electrofishing", species="bass", date=date, length_mm=50.0, count=99)
    return SimpleNamespace(
        effort=[SimpleNamespace(gear="seine", species=species, date=date, amount=hauls)], fish=[*rows, other]
    )


@pytest.mark.parametrize(("species", "inches", "counted"), [
    ("bass", 3.99, (1, 0, 0)), ("bass", 4.0, (0, 0, 0)), ("bluegill", 1.49, (0, 0.5, 0)), ("bluegill", 1.5, (0, 0, 0)),
    ("bluegill", 2.99, (0, 0, 0)), ("bluegill", 3.0, (0, 0, 0.5)), ("bluegill", 4.99, (0, 0, 0.5)), ("bluegill", 5.0, (0, 0, 0)),
])  # fmt: skip
def test_young_bass_and_hatched_and_intermediate_bluegill_are_told_by_length(species, inches, counted):
    found = seining(survey((species, inches, 1)))
    assert (found.young_bass, found.hatched_per_haul, found.intermediate_per_haul) == counted and found.hauls == 2


@pytest.mark.parametrize(("inches", "count", "words"), [(1, 20, "many"), (1, 19, "few"), (4, 10, "many"), (4, 9, "few")])
def test_ten_hatched_and_five_intermediate_a_haul_are_many(inches, count, words):
    found = seining(survey(("bluegill", inches, count)))
    assert (found.hatched if inches == 1 else found.intermediate) == words
    assert (found.intermediate if inches == 1 else found.hatched) == "none"


@pytest.mark.parametrize(("month", "day", "told"), [(5, 31, False), (6, 1, True), (9, 30, True), (10, 1, False)])
def test_a_seine_tells_most_from_june_to_september(month, day, told):
    assert seining(survey(date=dt.date(2024, month, day))).in_season == told


def test_hauls_in_which_a_species_was_not_taken_up_are_not_read():
    assert seining(survey(species=("bass",))) is None
