"""Does an update's ensemble know what it says it knows? Problems whose answer is known, in their hundreds.

    python benchmarks/known_posterior.py            about five minutes of one processor; writes KNOWN_POSTERIOR.md

Linear-Gaussian problems (8 deviates seen through 12 noisy sums with 64 members; 20 through 30 with 128), each beside 30
deviates that nothing was seen of, and the first kind bent by an exponential, which has no closed answer. For each kind:
how often the 80 % intervals of the members hold the truth that the records were drawn from; of how many independent
members the error of the mean is (linear kinds), and how many the update says.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent / part) for part in ("tests", "tests/update", "")]

from test_update import gaussian  # noqa: E402

KINDS = ((8, 12, 64, 0.0), (20, 30, 128, 0.0), (8, 12, 64, 0.4))
HEAD = """# Updates on problems whose answer is known

Made by `python benchmarks/known_posterior.py`; what is asked for: 80 % intervals that hold 76 to 84 %.

Independent: as many members as would leave the error of the mean, and as many as the update says. Runs: a member.

| deviates | records | members | bend | problems | 80 % intervals hold | independent | said | runs |
|---|---|---|---|---|---|---|---|---|
"""


def row(related: int, records: int, members: int, bend: float, problems: int) -> str:
    held, off, said, runs = [], [], [], []
    for seed in range(1000, 1000 + problems):  # others than those of the tests
        known = gaussian(members, seed, related, records, bend=bend)
        after, stages = known.learned(seed)
        low, high = np.quantile(after.seen["z"], [0.1, 0.9], axis=0)
        held.append(((low <= known.truth) & (known.truth <= high)).mean())
        off.append(np.mean(np.square((after.seen["z"].mean(axis=0) - known.mean) / known.sd)))
        said.append(stages[-1].independent)
        runs.append(1 + sum(stage.moves for stage in stages))
    sure = 1.96 * np.std(held) / np.sqrt(problems)
    by_error = "–" if bend else f"{1.0 / np.mean(off):.0f}"
    some = [related, records, members, bend, problems, f"{np.mean(held):.1%} ± {sure:.1%}", by_error]
    return "| " + " | ".join(map(str, [*some, f"{np.mean(said):.0f}", f"{np.mean(runs):.0f}"])) + " |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("problems", type=int, nargs="?", default=200, help="of each kind, 2 or more (default: 200)")
    problems = parser.parse_args().problems
    if problems < 2:
        parser.error(f"problems: got {problems}, needs 2 or more")
    began, lines = time.process_time(), []
    for kind in KINDS:
        lines.append(row(*kind, problems))
        print(lines[-1], flush=True)
    told = f"\n{time.process_time() - began:.0f} s of one processor.\n"
    (HERE / "KNOWN_POSTERIOR.md").write_text(HEAD + "\n".join(lines) + "\n" + told, "utf-8")


if __name__ == "__main__":
    main()
