"""Python as users meet it: the names of the package, and their examples."""

from __future__ import annotations

import contextlib
import doctest
import inspect
import io
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from small import TEXT, pond

import pondpop
from pondpop.checks import InputError

ROOT = Path(__file__).parent.parent
EXAMPLES = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text("utf-8"), re.DOTALL)
NAMES = [name for name in pondpop.__all__ if name != "__version__"]


# ---------------------------------------------------------------------- names


def test_the_names_are_listed_and_lead_to_what_they_say():
    assert dir(pondpop) == sorted(pondpop.__all__)
    for name in NAMES:
        assert getattr(pondpop, name).__name__ == name
    with pytest.raises(AttributeError, match="laod"):
        _ = pondpop.laod


def test_numpy_is_imported_when_it_is_needed():
    code = (
        "import sys, pondpop; dir(pondpop); pondpop.load(sys.argv[1]); pondpop.describe(sys.argv[1]); "
        "pondpop.read_records(sys.argv[2]); print([m for m in ('numpy', 'xarray', 'scipy') if m in sys.modules])"
    )
    given = [str(ROOT / "scenarios" / "predators_75_or_100.toml"), str(ROOT / "scenarios" / "records")]
    env = os.environ | {"PYTHONPATH": str(ROOT)}
    done = subprocess.run([sys.executable, "-c", code, *given], capture_output=True, text=True, env=env, timeout=60)
    assert done.stdout == "[]\n", done.stderr


@pytest.fixture
def beside(tmp_path, monkeypatch):
    """A folder with what the examples name."""
    (tmp_path / "pond.toml").write_text(TEXT, "utf-8")
    shutil.copytree(ROOT / "scenarios" / "records", tmp_path / "records")
    shutil.copytree(ROOT / "scenarios", tmp_path / "scenarios", ignore=shutil.ignore_patterns("*.png"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("name", [name for name in NAMES if inspect.isfunction(getattr(pondpop, name))] + ["Simulation"])
def test_every_docstring_says_what_is_refused_and_its_example_runs(beside, name):
    told = getattr(pondpop, name)
    assert "InputError" in told.__doc__, name
    (example,) = doctest.DocTestFinder(recurse=False).find(told, name)
    assert example.examples, name
    said = io.StringIO()
    runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS)
    runner.run(example, out=said.write)
    assert runner.failures == 0, said.getvalue()


@pytest.mark.parametrize("number", range(len(EXAMPLES)))
def test_every_example_of_the_readme_runs(beside, number):
    with contextlib.redirect_stdout(io.StringIO()) as said:
        exec(compile(EXAMPLES[number], "README.md", "exec"), {"__name__": "example"})
    assert said.getvalue()


def test_every_example_of_the_readme_is_strictly_typed(tmp_path):
    pytest.importorskip("mypy")
    assert len(EXAMPLES) >= 2
    for number, example in enumerate(EXAMPLES):
        (tmp_path / f"example_{number}.py").write_text(example, "utf-8")
    command = [sys.executable, "-m", "mypy", "--strict", "--follow-imports=silent", "--ignore-missing-imports"]
    env = os.environ | {"MYPYPATH": str(ROOT), "PYTHONPATH": str(ROOT)}
    done = subprocess.run([*command, str(tmp_path)], capture_output=True, text=True, cwd=tmp_path, env=env, timeout=600)
    assert done.returncode == 0, done.stdout + done.stderr


def test_a_sweep_of_a_file_and_of_its_scenario_are_the_same(tmp_path):
    file = tmp_path / "pond.toml"
    file.write_text(TEXT, "utf-8")
    one = pondpop.sweep(file, {"pond.cover": [0.5, 2]})
    assert one.to_csv() == pondpop.sweep(pondpop.load(file), {"pond.cover": [0.5, 2]}).to_csv()
    assert "pond.cover" in one.table() and one.answer()


@pytest.mark.parametrize("axes", [{"pond.cover": [1, 1]}, {"pond.title": [1, 2]}])
def test_a_sweep_that_makes_no_sense_is_refused(axes):
    with pytest.raises(InputError):
        pondpop.sweep(pond(), axes)
