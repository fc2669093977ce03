"""An ensemble that records have weighed: members of equal weight with a known past and a fresh future, and its file."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from pondpop.checks import Fact, InputError, RunError
from pondpop.ensemble import results
from pondpop.ensemble.draws import draw_luck, draw_parameters
from pondpop.model.inputs import Luck
from pondpop.scenario import Plants, Scenario, Strategy
from pondpop.species import Parameters
from pondpop.update.simulate import deal_past

Array = NDArray[np.float64]
KIND = "ensemble"


@dataclass(frozen=True)
class Posterior:
    """A `chance.Source`: what members were dealt up to the last record, by decision, uniforms [member, size].

    Member k of a projection has the past of member k (modulo their number) and a future from its own streams, so that
    there may be more members than were kept. It belongs to one past of a pond: another is refused.
    """

    past: Mapping[str, Array]
    until: date
    history: str
    about: Mapping[str, str]

    @property
    def members(self) -> int:
        return next(iter(self.past.values())).shape[0]

    @property
    def identity(self) -> str:
        digest = hashlib.sha256(f"{self.until} {self.history}".encode())
        for decision in sorted(self.past):
            digest.update(decision.encode() + np.ascontiguousarray(self.past[decision]).tobytes())
        return f"ensemble until {self.until}, {digest.hexdigest()}"

    @property
    def pasts(self) -> int:
        return self.members

    def parted(self, members: int) -> tuple[Posterior, Posterior]:
        """The ensemble of the first pasts, as many as these members but at most half of all, and that of the others.

        Raises InputError where there is one past only.
        """
        first = min(members, self.members // 2)
        if not first:
            remedy = "update with more members"
            raise InputError("--ensemble", Fact("an ensemble of 1 member"), "some to search with, others to confirm", remedy)
        parts = ({name: dealt[rows] for name, dealt in self.past.items()} for rows in (slice(first), slice(first, None)))
        searching, confirming = (replace(self, past=past) for past in parts)
        return searching, confirming

    def draw(self, scenario: Scenario, strategy: Strategy, first: int, members: int) -> tuple[Parameters, Luck]:
        """Parameters and luck of members first … first + members − 1. Raises InputError for another past."""
        self.check(scenario, strategy)
        numbers = range(first, first + members)
        deal = deal_past(self.past, scenario.ensemble.seed, numbers, np.array(numbers) % self.members)
        return draw_parameters(scenario, deal), draw_luck(scenario, strategy, deal)

    def check(self, scenario: Scenario, strategy: Strategy) -> None:
        """Refuses a strategy whose pond or past, up to the last record, is another. Raises InputError."""
        if history(scenario, strategy, self.until) != self.history:
            raise InputError(
                "--ensemble",
                Fact(f"an ensemble that learned of another past than that of the strategy {strategy.name}"),
                f"the same pond, start, spreads, and the same events and rules up to {self.until}",
                "change only what comes later, or update this scenario",
            )


def history(scenario: Scenario, strategy: Strategy, until: date) -> str:
    """A hash of all that acts on a pond up to a day: the water, stockings, removals, and rules by calendar year."""
    year = until.year - scenario.run.start.year + 1

    def rules(every: tuple) -> list:
        begun = [one._replace(name="", to_year=min(one.to_year, year)) for one in every if one.from_year <= year]
        return sorted(map(repr, begun))

    def begun(every: tuple) -> list:
        """What began, with its days up to the last; of plants also the next share, which draws the line."""
        dated = sorted(every, key=lambda one: getattr(one, "first", None) or one.date)
        found = [one for one in dated if (getattr(one, "first", None) or one.date) <= until]
        lasting = [one._replace(last=min(one.last, until)) if hasattr(one, "last") else one for one in found]
        line = [one for one in dated[len(found) : len(found) + 1] if isinstance(one, Plants) and found]
        return [repr(one._replace(name="", cost=None)) for one in (*lasting, *line)]

    watched = any(rule.when for rule in strategy.harvest if rule.from_year <= year)
    pond, water = scenario.pond, scenario.pond.temperature
    spells = tuple(one._replace(name="", last=min(one.last, until)) for one in water.spells if one.first <= until)
    losses = tuple(one._replace(name="", last=min(one.last, until)) for one in pond.fertility_losses if one.first <= until)
    what = (
        pond._replace(temperature=water._replace(origin="", spells=spells), fertility_losses=losses),
        scenario.run.start,
        [day for day in scenario.run.survey_dates if day <= until] if watched else [],
        scenario.local_knowledge,
        sorted(scenario.ensemble.spreads.items()),
        strategy.fertility,
        sorted(repr(one._replace(cost_each=None)) for one in strategy.stocking if one.date <= until),
        sorted(repr(one._replace(name="", cost=None)) for one in strategy.removals if one.date <= until),
        *(rules(every) for every in (strategy.harvest, strategy.feeding, strategy.angling, strategy.aeration)),
        *(begun(every) for every in (strategy.fertilization, strategy.liming, strategy.plants)),
        *(begun(every) for every in (strategy.drawdown, strategy.grass_carp)),
        sorted(repr(one) for one in strategy.arrivals if one.date is None or one.date <= until),
    )
    return hashlib.sha256(repr(what).encode()).hexdigest()


def write_ensemble(posterior: Posterior, path: Path) -> None:
    """Write the file that `read_ensemble` reads: one variable a decision, [member, size]. Raises OSError."""
    variables = {}
    for k, (decision, uniforms) in enumerate(posterior.past.items()):
        variables[f"dealt_{k}"] = (("member", f"size_{k}"), np.asarray(uniforms), {"long_name": decision})
    attrs = {
        "schema_version": np.int32(results.SCHEMA_VERSION),
        "kind": KIND,
        "until": posterior.until.isoformat(),
        "history": posterior.history,
        **posterior.about,
    }
    results.write(xr.Dataset(variables, {"member": np.arange(posterior.members, dtype=np.int32)}, attrs), path)


def read_ensemble(path: Path) -> Posterior:
    """The ensemble in a file. Raises InputError if it holds none, OSError, RunError if it is damaged."""
    dataset = results.read(path, KIND)
    known = {"schema_version", "kind", "until", "history"}
    try:
        past = {str(v.attrs["long_name"]): np.asarray(v.values, float) for v in dataset.data_vars.values()}
        until = date.fromisoformat(str(dataset.attrs["until"]))
        about = {str(key): str(value) for key, value in dataset.attrs.items() if key not in known}
        return Posterior(past, until, str(dataset.attrs["history"]), about)
    except (KeyError, ValueError) as error:
        raise RunError(f"{path}: the file is damaged ({type(error).__name__}); make it again") from error
