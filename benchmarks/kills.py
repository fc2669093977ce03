"""Kills commands at moments drawn by a seed, and goes on from what they left: the bytes must be those of an unbroken run.

    python benchmarks/kills.py [--kills N] [--seed N]

Every command that works for long (compare, sweep, quota, plan, update) with one and with two workers, and report and
assess: each is run once unbroken; then it is started, killed outright after a share of that time, and gone on with
(`--resume`, where there is one), in turn, until there were so many kills. After each kill the folder must not be there or
be whole, no process may be left after five seconds, and what the next run writes must be the same to the byte. A kill that
came after the end counts as one that missed. Prints the counts and every failure; status 1 if there was one.
"""

from __future__ import annotations

import argparse
import collections
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from small import TEXT  # noqa: E402

SECONDS = 5.0  # that workers may outlive the command
TOLD_EVERY = 12  # kills, once round all commands: a run that is ended early has told how far it came
SURVEY = (
    "date,gear,species,length_in,count\n2026-06-15,electrofishing,bass,8,4\n2026-06-15,electrofishing,bluegill,4,9\n"
)
VARIED = "strategies.few.stocking.young_bass"
LONG = {
    "compare": ("compare", "pond.toml", "--members", "16"),
    "sweep": ("sweep", "pond.toml", "--vary", f"{VARIED}.date=2026-04-10..2026-04-17/1", "--members", "4"),
    "quota": ("quota", "pond.toml", "--members", "4", "--search-members", "2", "--tries", "4", "--from-year", "1"),
    "plan": ("plan", "pond.toml", "--vary", f"{VARIED}.per_acre=10..40/10", "--members", "4", "--search-members", "4"),
    "update": ("update", "pond.toml", "--members", "24", "--records", "records", "--strategy", "few"),
}
SHORT = {"report": ("report", "projection.nc", "--out", "out/report.html"), "assess": ("assess", "records")}


def contents(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def clear(folder: Path) -> None:
    for name in ("out", "out.partial"):
        shutil.rmtree(folder / name, ignore_errors=True)


def start(folder: Path, words: tuple[str, ...]) -> subprocess.Popen[bytes]:
    env = os.environ | {"PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
    command = [sys.executable, "-m", "pondpop", *words]
    return subprocess.Popen(command, cwd=folder, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE)


def finished(folder: Path, words: tuple[str, ...]) -> tuple[str, float]:
    """What went wrong with a command that is let run, and how long it took."""
    began, run = time.monotonic(), start(folder, words)
    said = run.communicate()[1].decode()
    return "" if run.returncode == 0 else f"status {run.returncode}: {said}", time.monotonic() - began


def try_one(
    folder: Path, words: tuple[str, ...], long: bool, seconds: float, whole: dict[str, bytes]
) -> tuple[str, str]:
    """Kill a command after some seconds and go on: what became of it, and what was wrong."""
    out = folder / "out"
    run = start(folder, words)
    time.sleep(seconds)
    missed = run.poll() is not None
    run.send_signal(signal.SIGKILL)
    ended = time.monotonic()
    said = run.communicate()[1].decode()  # returns when nobody holds the pipes any more
    if time.monotonic() - ended > SECONDS:
        return "killed", f"a process lived on for {time.monotonic() - ended:.1f} s"
    if said:
        return "killed", f"said: {said}"
    if long and out.exists() and contents(out) != whole:
        return "killed", "a folder that is not whole"
    partial = folder / "out.partial" / "blocks"
    fate = "missed, it had ended" if missed else "killed with blocks to go on from" if any(partial.glob("*.block")) else (
        "killed before the first block" if long else "killed")  # fmt: skip
    wrong = finished(folder, (*words, "--resume") if long else words)[0]
    if not wrong and contents(out) != whole:
        wrong = "other bytes after going on"
    return fate, wrong


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    drawn, failures = random.Random(asked.seed), list[str]()
    told: dict[str, collections.Counter[str]] = collections.defaultdict(collections.Counter)
    with tempfile.TemporaryDirectory() as above:
        folder = Path(above)
        (folder / "records").mkdir()
        (folder / "pond.toml").write_text(TEXT, "utf-8")
        (folder / "records" / "survey.csv").write_text(SURVEY, "utf-8")
        every = [(f"{n}, {w} workers", (*words, "--workers", w), True) for n, words in LONG.items() for w in ("1", "2")]
        every += [(name, words, False) for name, words in SHORT.items()]
        unbroken: dict[str, tuple[dict[str, bytes], float]] = {}
        for k in range(asked.kills):
            name, words, long = every[k % len(every)]
            words = (*words, "--out", "out") if "--out" not in words else words
            if name not in unbroken:
                wrong, seconds = finished(folder, words)
                if wrong:
                    sys.exit(f"{name} fails: {wrong}")
                unbroken[name] = contents(folder / "out"), seconds
                if "projection.nc" in unbroken[name][0]:
                    (folder / "projection.nc").write_bytes(unbroken[name][0]["projection.nc"])
            whole, seconds = unbroken[name]
            clear(folder)
            fate, wrong = try_one(folder, words, long, drawn.uniform(0.2, 1.0) * seconds, whole)
            told[name][fate] += 1
            clear(folder)
            if wrong:
                failures.append(f"{name}, kill {k + 1}: {wrong}")
                print(failures[-1], flush=True)
            if (k + 1) % TOLD_EVERY == 0 or k + 1 == asked.kills:
                tell(told)
                print(f"{k + 1} kills, {len(failures)} failures", flush=True)
    return 1 if failures else 0


def tell(told: dict[str, collections.Counter[str]]) -> None:
    for name, fates in told.items():
        print(f"{name}: {', '.join(f'{count} {fate}' for fate, count in sorted(fates.items()))}")


if __name__ == "__main__":
    sys.exit(main())
