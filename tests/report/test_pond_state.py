"""What a client's page says of the state of the pond."""

from types import SimpleNamespace

import pytest

from pondpop.assess.advice import Advice
from pondpop.report.pond_state import balance


@pytest.mark.parametrize(
    ("chance", "words"),
    [(0.2, "Not sure: no state is likely; the likeliest: bass are small (chance: 2 of 10"),
     (0.6, "Not sure: bass are small (chance: 6 of 10"), (0.9, "No: bass are small (chance: 9 of 10")],
)  # fmt: skip
def test_the_state_is_told_once_with_how_sure_it_is(chance, words):
    advice = Advice("2028-04-18", "electrofishing", "both small", "bass are small", chance, (), ())
    assert balance(SimpleNamespace(advice=lambda _: advice), "us").startswith(words)
