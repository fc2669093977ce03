"""Processes that share the work: they end with the one that started them, however that ends, and without a word."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from small import TEXT

from pondpop.checks import RunError
from pondpop.ensemble.workers import processes

ROOT = Path(__file__).parents[2]
PROC = Path("/proc")
SECONDS = 5.0  # that a process may outlive the one that started it

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not (PROC / "self/stat").exists(), reason="needs /proc to find processes"),
]


def begun_by(parent: int) -> set[int]:
    """Processes that a process has started and that still run."""
    found = set()
    for stat in PROC.glob("[0-9]*/stat"):
        try:
            state, above = stat.read_text().rpartition(")")[2].split()[:2]
        except OSError:  # has ended meanwhile
            continue
        if int(above) == parent and state != "Z":
            found.add(int(stat.parent.name))
    return found


def runs(pid: int) -> bool:
    try:
        return (PROC / str(pid) / "stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def working(pid: int) -> bool:
    """Whether a worker has come so far that it watches the process that started it: it has a second thread."""
    try:
        return len(list((PROC / str(pid) / "task").iterdir())) > 1
    except OSError:
        return False


def long_run(folder: Path) -> subprocess.Popen:
    file = folder / "pond.toml"
    file.write_text(TEXT.replace("members = 3", "members = 400").replace("years = 1", "years = 12"), "utf-8")
    return subprocess.Popen(
        [sys.executable, "-m", "pondpop", "compare", str(file), "--workers", "2", "--out", str(folder / "out")],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # whoever runs the tests may ignore it
    )


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT])
@pytest.mark.parametrize("moment", ["the first starts", "both start", "both work"])
def test_workers_end_with_the_run_that_started_them(tmp_path, how, moment):
    run, there = long_run(tmp_path), set[int]()
    enough = {
        "the first starts": lambda: len(there) >= 1,
        "both start": lambda: len(there) >= 2,
        "both work": lambda: sum(map(working, there)) >= 2,
    }[moment]
    try:
        until = time.monotonic() + 120
        while not enough():
            assert time.monotonic() < until and run.poll() is None
            time.sleep(0.002)
            there |= begun_by(run.pid)
        run.send_signal(how)
        there |= begun_by(run.pid)
        run.wait(timeout=60)
        ended = time.monotonic()
        told, said = run.communicate(timeout=SECONDS)  # when nobody holds the pipes any more
        while any(map(runs, there)):
            assert time.monotonic() < ended + SECONDS
            time.sleep(0.02)
    finally:
        for pid in {run.pid, *there}:
            if runs(pid):
                os.kill(pid, signal.SIGKILL)
        run.communicate()
    assert told == ""
    if how == signal.SIGKILL:
        assert run.returncode == -signal.SIGKILL and said == ""
    else:
        assert run.returncode == 130
        assert said.count("\n") == 1 and said.startswith("pondpop: interrupted; finished members are in"), said


def test_a_second_request_to_end_changes_nothing(tmp_path):
    run = long_run(tmp_path)
    until = time.monotonic() + 120
    while len(begun_by(run.pid)) < 2:
        assert time.monotonic() < until and run.poll() is None
        time.sleep(0.01)
    for _ in range(20):
        run.send_signal(signal.SIGTERM)
        time.sleep(0.002)
    said = run.communicate(timeout=60)[1]
    assert run.returncode == 130 and said.count("\n") == 1, said


def half(number: float) -> float:
    if number < 0:
        raise RunError(f"half of {number}?")
    print("no answer")
    return number / 2


def test_processes_answer_raise_and_are_missed():
    before = begun_by(os.getpid())
    with processes(2) as executor:
        assert list(executor.map(half, range(5))) == [0.0, 0.5, 1.0, 1.5, 2.0]
        with pytest.raises(RunError, match="half of -1"):
            executor.submit(half, -1).result()
        with pytest.raises(RunError, match="worker process ended before its work"):
            executor.submit(os._exit, 3).result()
        assert begun_by(os.getpid()) > before
    assert begun_by(os.getpid()) == before


def test_an_exception_ends_what_is_being_done():
    before, began = begun_by(os.getpid()), time.monotonic()
    with pytest.raises(ZeroDivisionError), processes(2) as executor:
        futures = [executor.submit(time.sleep, 600) for _ in range(5)]
        while len(begun_by(os.getpid()) - before) < 2:
            time.sleep(0.01)
        raise ZeroDivisionError
    assert begun_by(os.getpid()) == before and all(future.done() for future in futures)
    assert time.monotonic() < began + 300


def test_processes_have_one_thread_each_unless_told_otherwise(monkeypatch):
    monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
    monkeypatch.setenv("OMP_NUM_THREADS", "3")
    with processes(2):
        assert (os.environ["OPENBLAS_NUM_THREADS"], os.environ["OMP_NUM_THREADS"]) == ("1", "3")
