"""Any command line is answered, or refused in one line that leaves everything as it was, before any work.

A few hundred here, the same ones each time; benchmarks/fuzz_long.py tries thousands.
"""

from __future__ import annotations

import collections
import subprocess
import sys
from pathlib import Path

import pytest
from command_lines import command_lines, judged, laid_out
from hypothesis import given, settings
from small import pond

from pondpop.ensemble import results
from pondpop.ensemble.run import compare


@pytest.fixture(scope="module")
def projection(tmp_path_factory):
    path = tmp_path_factory.mktemp("projection") / "projection.nc"
    results.write(compare(pond(members=1)), path)
    return path.read_bytes()


def test_command_lines_are_answered_or_refused(projection, tmp_path):
    folder, became = tmp_path / "a" / "b" / "c", collections.Counter[str]()
    folder.mkdir(parents=True)

    @settings(max_examples=250)
    @given(command_lines())
    def each(words):
        laid_out(folder, projection)
        became[judged(words, folder)] += 1

    each()
    assert min(became[name] for name in ("answered", "begun", "refused")) > 10  # else little would be tried


@pytest.mark.parametrize(
    ("words", "became"),
    [
        (["x" * 5000], "refused"),
        (["report", "projection.nc", "--out", "x" * 5000 + ".html"], "could not read or write"),
        (["assess", "records", "--out=--"], "refused"),
        (["update", "pond.toml", "--records=--"], "refused"),
        (["compare", "pond.toml", "--members=--"], "refused"),
    ],
    ids=lambda value: value[0][:9] + value[-1][-9:] if isinstance(value, list) else "",
)
def test_long_words_and_missing_values_are_one_line(projection, tmp_path, words, became):
    """Each of these was a line of thousands of letters or an internal fault."""
    laid_out(tmp_path, projection)
    assert judged(words, tmp_path) == became


@pytest.mark.parametrize(
    ("words", "status", "says"),
    [
        (["known_posterior.py", "--help"], 0, "usage: known_posterior.py"),
        (["report_in_browser.py", "--help"], 0, "usage: report_in_browser.py"),
        (["fuzz_long.py", "--only", "runs", "--run", "0"], 0, "0 cases, 0 failures"),
        (["fuzz_long.py", "--run", "-1"], 2, "numbers of cases are 0 or more"),
    ],
)
def test_scripts_say_what_they_take_and_none_is_none(words, status, says):
    script = Path(__file__).parent.parent / "benchmarks" / words[0]
    done = subprocess.run([sys.executable, script, *words[1:]], capture_output=True, text=True, timeout=300)
    assert done.returncode == status and says in done.stdout + done.stderr and "Traceback" not in done.stderr
