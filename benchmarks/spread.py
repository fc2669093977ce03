"""What it costs that predation moves the mean length of a group and leaves its spread: one command.

    python benchmarks/spread.py [--days N]

Runs a shipped pond without luck and without joining of groups. Beside each group its fish are counted at 61 lengths, which
grow with the group and die of the predation that the engine has there. Prints, by species and by how much predation a group
went through, the spread so counted over that of the engine and by how much the means of log length differ.
"""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT)]

import numpy as np  # noqa: E402

from pondpop.ensemble.prepare import prepare, run_days  # noqa: E402
from pondpop.model import grid, predation  # noqa: E402
from pondpop.model.day import Engine  # noqa: E402
from pondpop.model.inputs import Luck  # noqa: E402
from pondpop.scenario import load  # noqa: E402
from pondpop.species import SPECIES, load_parameters  # noqa: E402

Z = np.linspace(-4.5, 4.5, 61)
LEAST_DAYS = 30  # that a group lived
PREDATION = ((0.0, 1.0), (1.0, 3.0), (3.0, np.inf))  # deaths per fish in all


class Counted:
    """The fish of one group, length by length."""

    def __init__(self, mean: float, spread: float) -> None:
        self.log_length, self.number = mean + spread * Z, np.exp(-0.5 * Z**2)
        self.deaths, self.days, self.narrower, self.longer = 0.0, 0, 1.0, 0.0

    def day(self, field: np.ndarray, grown: float) -> None:
        """field: predation per fish and day on the grid of lengths."""
        rate = np.interp(self.log_length, np.log(grid.GRID_MM), field)
        self.number = self.number * np.exp(-rate)
        self.deaths += float((rate * self.number).sum() / self.number.sum())
        self.log_length, self.days = self.log_length + grown, self.days + 1

    def compare(self, mean: float, spread: float) -> None:
        share = self.number / self.number.sum()
        own = float((share * self.log_length).sum())
        self.narrower = float(np.sqrt((share * (self.log_length - own) ** 2).sum())) / spread
        self.longer = own - mean


def groups(engine: Engine) -> dict[Any, tuple[float, float, float]]:
    """Mean and spread of log length and growth so far of each group that there is, by what tells it from others."""
    s, c = engine.state, engine.state.columns
    told = [np.broadcast_to(part, s.number.shape)[0] for part in (c.species, c.origin, c.born, c.sex, c.growth_z)]
    alive = np.flatnonzero(s.number[0] > 0.0)
    return {
        tuple(float(part[k]) for part in told): (float(s.log_length[0, k]), float(s.spread[0, k]), float(s.grown[0, k]))
        for k in alive
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--days", type=int, default=2500)
    asked = parser.parse_args()
    scenario = load(ROOT / "scenarios" / "predators_75_or_100.toml")
    strategy = next(iter(scenario.strategies.values()))
    luck = Luck.none(1, run_days(scenario), scenario.run.last_year, len(strategy.stocking))
    engine = Engine(prepare(scenario, strategy, load_parameters().replace("pond.join_within", 0.0), luck))
    hunts: list[Any] = []
    hunt = predation.hunt

    def noted(*arguments: Any) -> Any:
        hunts[:] = [hunt(*arguments)]
        return hunts[0]

    predation.hunt = noted
    living: dict[Any, Counted] = {}
    every: list[tuple[str, Counted]] = []
    kinds = list(engine.community.species)
    for _ in range(min(asked.days, engine.inputs.days)):
        before = groups(engine)
        engine.run_day()
        after = groups(engine)
        fields = hunts[0].taken[0].reshape(len(kinds), grid.GRID_POINTS)
        for key, (mean, spread, grown) in before.items():
            if key not in living:
                living[key] = Counted(mean, spread)
                every.append((SPECIES[int(key[0])], living[key]))
            if key in after:
                living[key].day(fields[kinds.index(int(key[0]))], after[key][2] - grown)
                living[key].compare(*after[key][:2])
    for species in SPECIES:
        for low, high in PREDATION:
            found = [c for name, c in every if name == species and c.days >= LEAST_DAYS and low <= c.deaths < high]
            if found:
                narrower, longer = (
                    ", ".join(f"{v:.4f}" for v in np.quantile([getattr(c, what) for c in found], (0.1, 0.5, 0.9)))
                    for what in ("narrower", "longer")
                )
                print(f"{species}, {low:g} to {high:g} deaths per fish: {len(found)} groups; spread counted over the engine's "
                      f"{narrower}; mean of log length longer by {longer} (p10, p50, p90)")  # fmt: skip


if __name__ == "__main__":
    main()
