"""The long run against odd, broken and hostile files: one command, the same cases every time for a seed.

    python benchmarks/fuzz_long.py [--read N] [--ask N] [--run N] [--only KIND] [--seed N]

By default 13,000 cases are read (scenarios that are valid, broken and damaged; records that are sound and damaged;
projections, ensembles and files of a search of which bytes are altered, cut off, lost or put in), 6,600 command lines are
asked (long work ends where it would begin), and 400 of further valid scenarios are run for one or two years, day by day with
their books checked and as a whole with the Dataset, `yearly.csv`, projection file and (one in 25) the report. Each must be
answered and satisfy the invariants of tests/laws.py, or be refused in one line that leaves all as it was. A numpy warning is
a failure, and so are 60 seconds. Prints the figures and every failure; status 1 if there was one.
benchmarks/HARD_TO_BREAK.md says what came of it.
"""

from __future__ import annotations

import argparse
import collections
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import command_lines  # noqa: E402
import commands as fuzz  # noqa: E402
import hypothesis_ponds as ponds  # noqa: E402
from hypothesis import HealthCheck, Phase, given, seed, settings  # noqa: E402
from hypothesis import strategies as st  # noqa: E402
from laws import assert_dataset_sound, assert_lawful_days  # noqa: E402
from small import pond  # noqa: E402

from pondpop.decide.passages import Passage, read, to_json  # noqa: E402
from pondpop.ensemble import results  # noqa: E402
from pondpop.ensemble.run import compare  # noqa: E402
from pondpop.report import write_report  # noqa: E402
from pondpop.scenario import dump, resolve  # noqa: E402
from pondpop.update import prior_uniforms, up_to  # noqa: E402
from pondpop.update.posterior import Posterior, history, read_ensemble, write_ensemble  # noqa: E402

TOLD_EVERY = 500  # cases, so that a run that is ended early has told how far it came
Case = Callable[[Any], Any]


class Tally:
    """What became of the cases of each kind."""

    def __init__(self) -> None:
        self.outcomes: dict[str, collections.Counter[str]] = collections.defaultdict(collections.Counter)
        self.failures: list[str] = []

    def try_all(self, kind: str, number: int, seed_number: int, strategy: st.SearchStrategy[Any], judge: Case) -> None:
        """Judge so many drawn cases; a failure is kept, and the others go on."""
        if not number:
            return
        started = time.monotonic()

        @seed(seed_number)
        @settings(
            max_examples=number, database=None, deadline=None, phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )  # fmt: skip
        @given(strategy)
        def each(case: Any) -> None:
            try:
                outcome = str(judge(case))
            except (Exception, fuzz.TooSlow) as error:
                outcome = "FAILED"
                self.failures.append(f"{kind}: {error!r}\n{traceback.format_exc(limit=-4)}\n{case!r:.3000}")
                print(self.failures[-1], flush=True)
            self.outcomes[kind][outcome] += 1
            if sum(self.outcomes[kind].values()) % TOLD_EVERY == 0:
                tell("so far ")

        def tell(when: str = "") -> None:
            told = ", ".join(f"{count:,} {outcome}" for outcome, count in sorted(self.outcomes[kind].items()))
            print(f"{kind}: {when}{told} ({time.monotonic() - started:.0f} s)", flush=True)

        each()
        tell()


def status(of: Case) -> Case:
    return lambda case: {0: "answered", 2: "refused"}[of(case)]


def run_whole(raw: dict[str, Any]) -> str:
    """Run a scenario twice: day by day with open books, and as `compare` does, with its files."""
    scenario = resolve(raw)
    with warnings.catch_warnings(), tempfile.TemporaryDirectory() as folder, fuzz.in_good_time(300):
        warnings.simplefilter("error")
        assert_lawful_days(scenario, 120)
        dataset = compare(scenario)
        assert_dataset_sound(dataset)
        path = Path(folder) / "projection.nc"
        results.write(dataset, path)
        assert results.content_hash(results.read(path)) == results.content_hash(dataset)
        if scenario.ensemble.seed % 25 == 0:
            write_report([dataset], Path(folder) / "report.html")
            return f"run for {scenario.run.years} years, with report"
    return f"run for {scenario.run.years} years"


ACCIDENTS: dict[str, Callable[[bytes, int, bytes], bytes]] = {
    "altered": lambda data, at, some: data[:at] + bytes(a ^ b for a, b in zip(data[at:], some)) + data[at + len(some) :],  # noqa: B905
    "cut off": lambda data, at, some: data[:at],
    "lost": lambda data, at, some: data[:at] + data[at + len(some) :],
    "put in": lambda data, at, some: data[:at] + some + data[at:],
}
SEARCH = [Passage("Take 12 lb of bass an acre a year.", [["window", "lb"], ["8–12 in", "12"]], "In 8 of 10 futures.")]


def read_damaged(tally: Tally, number: int, seed_number: int) -> None:
    """Give the program results of which some bytes are wrong: refused, or read as they were."""
    with tempfile.TemporaryDirectory() as above:
        folder = Path(above) / "a" / "b" / "c"
        (folder / "search").mkdir(parents=True)
        projection, ensemble, search = folder / "projection.nc", folder / "posterior.nc", folder / "search" / "quota.json"
        whole = pond(members=1, only="few")
        results.write(compare(whole), projection)
        until = whole.run.survey_dates[0]
        past = prior_uniforms(up_to(whole, "few", until), "few", until, ())
        few = whole.strategies["few"]
        write_ensemble(Posterior({k: u[:2] for k, u in past.items()}, until, history(whole, few, until), {}), ensemble)
        search.write_text(to_json("An invented pond", SEARCH), "utf-8")
        kinds: list[tuple[Path, list[list[str]], Callable[[], object]]] = [
            (projection, [["report", "projection.nc"], ["verify", "projection.nc", "--records", "records"]],
             lambda: results.content_hash(results.read(projection))),
            (ensemble, [["compare", "few.toml", "--ensemble", "posterior.nc"]], lambda: read_ensemble(ensemble).identity),
            (search, [["report", "search"]], lambda: read(search)),
        ]  # fmt: skip
        sound = {path: (path.read_bytes(), said()) for path, _, said in kinds}

        def judge(case: tuple[int, int, str, float, bytes]) -> str:
            k, way, accident, share, some = case
            path, commands, said = kinds[k]
            command_lines.laid_out(folder, sound[projection][0])
            (folder / "few.toml").write_text(dump(whole), "utf-8")
            search.parent.mkdir()
            data, wanted = sound[path]
            path.write_bytes(ACCIDENTS[accident](data, int(share * len(data)), some))
            outcome = command_lines.judged(commands[way % len(commands)], folder)
            if outcome in ("answered", "begun"):
                assert said() == wanted, "read as something else"
            return outcome

        shares = st.one_of(st.floats(0, 1, exclude_max=True), st.floats(0, 0.03))
        some = st.one_of(st.integers(1, 255).map(lambda b: bytes([b])), st.binary(min_size=1, max_size=80))
        cases = st.tuples(st.integers(0, 2), st.integers(0, 1), st.sampled_from(sorted(ACCIDENTS)), shares, some)
        tally.try_all("damaged results", number, seed_number, cases, judge)


def ask_all(tally: Tally, number: int, seed_number: int) -> None:
    """Give the program so many command lines, among the same files each."""
    with tempfile.TemporaryDirectory() as above:
        folder, file = Path(above) / "a" / "b" / "c", Path(above) / "projection.nc"
        folder.mkdir(parents=True)
        results.write(compare(pond(members=1)), file)
        projection = file.read_bytes()

        def judge(words: list[str]) -> str:
            command_lines.laid_out(folder, projection)
            return command_lines.judged(words, folder)

        tally.try_all("command lines", number, seed_number, command_lines.command_lines(), judge)


def main() -> int:
    kinds = (
        "valid scenarios",
        "broken scenarios",
        "damaged files",
        "damaged results",
        "records",
        "damaged records",
        "command lines",
        "runs",
    )
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--read", type=int, default=13_000, help="cases that are only read; of this and the others 0 for none")
    parser.add_argument("--ask", type=int, default=6_600, help="command lines")
    parser.add_argument("--run", type=int, default=400, help="scenarios that are run")
    parser.add_argument("--only", choices=kinds, action="append", help="one kind of cases alone, or several")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    if min(asked.read, asked.ask, asked.run) < 0:
        parser.error("numbers of cases are 0 or more")
    tally, part = Tally(), -(-asked.read // 13)
    as_bytes = status(lambda raw: fuzz.check_bytes(ponds.toml(raw).encode("utf-8", "surrogatepass")))
    damaged = st.tuples(ponds.records(broken=True), st.booleans())
    strictly = status(lambda case: fuzz.assess_files(case[0], *(["--strict"] if case[1] else [])))
    kinds_read: dict[str, tuple[int, st.SearchStrategy[Any], Case]] = {
        "valid scenarios": (part, ponds.scenarios(), as_bytes),
        "broken scenarios": (5 * part, ponds.broken_scenarios(), as_bytes),
        "damaged files": (3 * part, ponds.scenario_bytes(), status(fuzz.check_bytes)),
        "records": (part, ponds.records(), status(fuzz.assess_files)),
        "damaged records": (2 * part, damaged, strictly),
        "runs": (asked.run, ponds.scenarios(years=2, members=2), run_whole),
    }
    for kind in kinds:
        if asked.only and kind not in asked.only:
            continue
        if kind == "command lines":
            ask_all(tally, asked.ask, asked.seed)
        elif kind == "damaged results":
            read_damaged(tally, part, asked.seed)
        else:
            number, strategy, judge = kinds_read[kind]
            tally.try_all(kind, number, asked.seed, strategy, judge)
    total = sum(sum(outcomes.values()) for outcomes in tally.outcomes.values())
    slow = ", ".join(f"{command} {seconds:.1f} s" for command, seconds in fuzz.slowest.items())
    print(f"{total:,} cases, {len(tally.failures)} failures; slowest reading in processor time: {slow}")
    return 1 if tally.failures else 0


if __name__ == "__main__":
    sys.exit(main())
