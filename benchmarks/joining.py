"""What joining groups that have become alike costs in accuracy, and what it saves.

    python benchmarks/joining.py                          every shipped scenario and evidence pond, with joining and without
    python benchmarks/joining.py --within 1 --members 8 FILE ...

Every strategy is projected twice under the same luck, with `join_within` as asked and with 0. A pond's rows are differences
over all surveys and strategies: of PSD in points, of relative weight, of the mean and largest weights and of standing
crops in per cent, each of the median over members; and the lowest rank correlation of the members' values. Figures that
the goal speaks of are marked where they miss it.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

HOME = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(HOME), str(HOME / "tests")]

import numpy as np
from scipy.stats import rankdata

from pondpop.ensemble.draws import Prior
from pondpop.ensemble.quantities import quantities
from pondpop.ensemble.run import compare
from pondpop.scenario import load
from pondpop.species import load_parameters

GOALS = {"PSD, points": 0.5, "Wr, points": 0.5, "weight, %": 0.5, "crop, %": 1.0}
LEAST_CROP_KG_PER_HA = 1.0  # smaller ones are not compared
LEAST_STOCK_PER_HA = 1.0  # nor PSD and Wr of fewer fish
RANK = 0.99


@dataclass(frozen=True)
class Joined(Prior):
    """Members as the scenario deals them, with groups joined as asked."""

    within: float = 0.0

    def draw(self, *which: Any) -> Any:
        parameters, luck = super().draw(*which)
        return parameters.replace("pond.join_within", self.within), luck


def kind(name: str) -> str | None:
    if name.endswith(("_psd", "_psd_p")):
        return "PSD, points"
    if "_wr_" in name:
        return "Wr, points"
    if name.startswith("group_weight:") or name == "bass_largest_weight":
        return "weight, %"
    return "crop, %" if name.endswith("standing_crop") else None


def ranks_agree(a: np.ndarray, b: np.ndarray) -> float:
    """Rank correlation of the members [member]; values that differ by less than 1e-6 of the largest count as ties."""
    scale = max(np.abs(a).max(), 1e-12) * 1e-6
    x, y = (rankdata(np.round(v / scale)) for v in (a, b))
    return 1.0 if x.std() == 0.0 or y.std() == 0.0 else float(np.corrcoef(x, y)[0, 1])


def compared(path: Path, within: float, members: int) -> tuple[dict[str, list[float]], list[float], list[float]]:
    scenario = load(path)
    scenario = scenario._replace(ensemble=scenario.ensemble._replace(members=members))
    datasets, seconds = [], []
    for share in (0.0, within):
        start = time.process_time()
        datasets.append(compare(scenario, source=Joined(within=share)))
        seconds.append(time.process_time() - start)
    off, on = datasets
    number = off["number"].values
    stock = {"bass": number[..., 0, 8:].sum(-1), "bluegill": number[..., 1, 3:].sum(-1)}
    apart: dict[str, list[float]] = {name: [] for name in GOALS}
    ranks = []
    for a, b in zip(quantities(off), quantities(on), strict=True):
        what = kind(a.name)
        if what is None:
            continue
        for strategy in range(a.values.shape[0]):
            for survey in range(a.values.shape[2]):
                x, y = a.values[strategy, :, survey], b.values[strategy, :, survey]
                if not (np.isfinite(x).all() and np.isfinite(y).all()):
                    continue
                before, after = float(np.median(x)), float(np.median(y))
                if what == "crop, %" and before < LEAST_CROP_KG_PER_HA:
                    continue
                fish = stock.get(a.name.split("_")[0])
                if "points" in what and np.median(fish[strategy, :, survey]) < LEAST_STOCK_PER_HA:
                    continue
                off_by = abs(after - before)
                apart[what].append(off_by if "points" in what else 100.0 * off_by / max(before, 1e-9))
                ranks.append(ranks_agree(x, y))
    return apart, ranks, seconds


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    usual = float(load_parameters().join_within[0])
    parser.add_argument("--within", type=float, default=usual, help="share of length_cv within which groups join")
    parser.add_argument("--members", type=int, default=16)
    parser.add_argument("files", nargs="*", type=Path)
    asked = parser.parse_args()
    files = asked.files or sorted((HOME / "scenarios").glob("*.toml")) + sorted((HOME / "tests/ponds").glob("*.toml"))
    print(f"join_within {asked.within:g}, {asked.members} members; median and largest difference, * where the largest misses")
    missed = 0
    for path in files:
        apart, ranks, seconds = compared(path, asked.within, asked.members)
        words = []
        for what, values in apart.items():
            if values:
                misses = max(values) > GOALS[what]
                missed += misses
                words.append(f"{what} {np.median(values):.2f} {max(values):.2f}{'*' if misses else ''}")
        if ranks:
            words.append(f"ranks {np.median(ranks):.3f} {min(ranks):.3f}{'*' if min(ranks) < RANK else ''}")
        print(f"{path.stem}: {'; '.join(words)}; time {seconds[1] / seconds[0]:.2f}", flush=True)
    return int(missed > 0)


if __name__ == "__main__":
    sys.exit(main())
