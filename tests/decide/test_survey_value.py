"""What a survey is worth: against the value that is known where plans and surveys are normal, and on a small pond."""

import datetime as dt

import numpy as np
import pytest
from scipy import stats
from small import TEXT, raw

from pondpop.checks import InputError
from pondpop.decide.plan import FRESH, ask, plan
from pondpop.decide.plan_phrases import plan_text
from pondpop.decide.survey_value import (
    DRAWN,
    Survey,
    alike_until,
    gain_from,
    ponds_on,
    read_survey,
    shown,
)
from pondpop.decide.sweep_paths import Axis
from pondpop.ensemble.run import compare
from pondpop.observe.gears import gear
from pondpop.scenario import resolve

PER_ACRE = "strategies.few.stocking.young_bass.per_acre"


def _normal_problem(seed: int, members: int, noise: float, others: int = 4):
    """Two plans, one worth nothing and one a + b·θ; surveys show θ with noise, and figures that tell nothing."""
    dealt = np.random.default_rng(seed)
    theta = dealt.normal(size=members)
    worth = np.stack([np.zeros(members), -0.5 + 3.0 * theta])
    seen = (theta + noise * dealt.normal(size=(DRAWN, members)))[..., None]
    return worth, np.concatenate([seen, dealt.normal(size=(DRAWN, members, others))], axis=-1)


def _known_gain(noise: float) -> float:
    """E max(0, E[worth | survey]): the mean of a normal number above 0 (its mean is −0.5), less what no survey gives, 0."""
    spread = 3.0 / np.sqrt(1.0 + noise**2)
    return float(-0.5 * stats.norm.cdf(-0.5 / spread) + spread * stats.norm.pdf(-0.5 / spread))


@pytest.mark.parametrize("noise", [0.3, 0.7, 1.5])
def test_the_gain_is_the_known_one_within_a_fifth(noise):
    found = [gain_from(*_normal_problem(seed, 400, noise))[0] for seed in range(6)]
    assert np.mean(found) == pytest.approx(_known_gain(noise), rel=0.2)


def test_a_survey_that_shows_nothing_gains_nothing():
    gains = []
    for seed in range(10):
        worth, seen = _normal_problem(seed, 200, 0.5)
        gains.append(gain_from(worth, seen[..., 1:])[0])
    assert abs(np.mean(gains)) < 0.05 and max(gains) < 0.2


def test_one_plan_or_few_members_gain_nothing():
    worth, seen = _normal_problem(0, 40, 0.5)
    assert gain_from(worth[:1], seen) == (0.0, 0.0)
    assert gain_from(worth[:, :9], seen[:, :9]) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("electrofishing:2h@2028-10-15", Survey("electrofishing", 2.0, dt.date(2028, 10, 15))),
        ("seine:4@2028-06-15", Survey("seine", 4.0, dt.date(2028, 6, 15))),
    ],
)
def test_surveys_are_read(text, found):
    assert read_survey(text) == found


@pytest.mark.parametrize(
    "text",
    ["electrofishing", "electrofishing:2h", "electrofishing:2h@2028-13-15", "nets:2h@2028-10-15", "seine:0@2028-10-15",
     "seine:1.2.3@2028-10-15", "electrofishing:２h@2028-10-15"],
)  # fmt: skip
def test_other_surveys_are_refused(text):
    with pytest.raises(InputError, match="--survey: got"):
        read_survey(text)


def test_ponds_on_a_day_are_those_of_a_survey_on_that_day():
    scenario = resolve(raw())
    alone = scenario._replace(strategies={"few": scenario.strategies["few"]})
    (seen,) = ponds_on([alone], "few", dt.date(2026, 6, 15), 0, 3)
    dataset = compare(alone).sel(strategy="few", survey_date="2026-06-15")
    assert np.array_equal(seen["number"], dataset["number"].values)


def test_plans_are_alike_until_they_differ():
    few, many = resolve(raw(only="few")), resolve(raw(only="few"))
    event = many.strategies["few"].stocking[-1]
    strategy = many.strategies["few"]
    many = many._replace(strategies={"few": strategy._replace(stocking=(*strategy.stocking[:-1], event._replace(per_ha=150.0)))})
    for date, alike in ((dt.date(2026, 4, 10), True), (dt.date(2026, 4, 20), False)):
        assert alike_until([few, many], "few", date, 0) == [True, alike]


def test_more_effort_shows_more_fish():
    scenario = resolve(raw(members=20))
    alone = scenario._replace(strategies={"few": scenario.strategies["few"]})
    (seen,) = ponds_on([alone], "few", dt.date(2026, 9, 15), FRESH, 20)
    rng = np.random.default_rng(1)
    short, long = (shown(seen, gear("electrofishing"), hours, 22.0, 0.81, rng) for hours in (0.2, 4.0))
    assert long[:, 0].mean() > short[:, 0].mean()
    assert np.isnan(short).sum() >= np.isnan(long).sum()


@pytest.mark.slow
def test_a_plan_tells_what_a_survey_is_worth(tmp_path):
    file = tmp_path / "pond.toml"
    file.write_text(TEXT.replace("date = 2026-04-10", "date = 2026-08-20"))
    axes = {PER_ACRE: (10, 60), "strategies.few.stocking.young_bass.date": (dt.date(2026, 7, 10), dt.date(2026, 8, 10))}
    before = plan(file, axes, survey="electrofishing:1h@2026-06-15", search_members=2)
    assert before.survey is not None and before.survey.plans > 1 and before.survey.perfect >= before.survey.gain
    after = plan(file, axes, survey="electrofishing:1h@2026-09-15", search_members=2)
    assert after.survey is not None and after.survey.plans == 1 and after.survey.gain == 0.0
    assert "The survey of 2026-09-15 (electrofishing, 1 h)" in plan_text(after)
    with pytest.raises(InputError, match="--survey"):
        ask(file, [Axis(PER_ACRE, (10, 60))], survey=read_survey("electrofishing:1h@2036-09-15"))
