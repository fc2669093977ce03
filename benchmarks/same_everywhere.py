"""The same answer everywhere: one command, two fresh virtual environments.

    python benchmarks/same_everywhere.py [--folder DIR]

Installs the lowest versions that pyproject.toml allows and the newest ones that pip finds into two new environments
(with this Python), projects one scenario in each, and compares every number. On each it also checks that a second run,
blocks of another size, two worker processes and threads give the same bits. Promised: same bits on one machine with
one set of packages, 1e-9 across versions. Prints what was found; status 0 if both hold, 1 if not.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PROMISED = 1e-9

# One strategy with all that happens in a pond, one without harvest; both from tests/small.py and tests/laws.py.
WORK = """
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
import numpy as np
sys.path[:0] = [sys.argv[1], sys.argv[1] + "/tests"]
from small import pond
from laws import EVERYTHING
from pondpop.ensemble import run
from pondpop.ensemble.store import package_versions
from pondpop.ensemble.workers import processes

if __name__ == "__main__":
    scenario = pond(members=5, years=2, extra=EVERYTHING)
    first = run.compare(scenario)
    found = {"a second run": run.compare(scenario)}
    run.BLOCK_MEMBERS = 2
    found["blocks of 2"] = run.compare(scenario)
    with ThreadPoolExecutor(2) as executor:
        found["two threads"] = run.compare(scenario, executor)
    with processes(2) as executor:
        found["two processes"] = run.compare(scenario, executor)
    for name, dataset in found.items():
        same = all(np.array_equal(first[v].values, dataset[v].values, equal_nan=True) for v in first.data_vars)
        print(f"  {name}: {'same bits' if same else 'OTHER BITS'}", flush=True)
    np.savez(sys.argv[2], **{v: first[v].values for v in first.data_vars})
    versions = package_versions()
    print("  versions: " + ", ".join(f"{k} {v}" for k, v in versions.items()))
"""


def requirements() -> tuple[list[str], list[str]]:
    """The lowest and the newest requirements of pyproject.toml, for pip; matplotlib is of no account to numbers."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    named = [re.fullmatch(r"([\w-]+) *>=([\d.]+)", one) for one in project["dependencies"]]
    pairs = [(match[1], match[2]) for match in named if match and match[1] != "matplotlib"]
    return [f"{name}=={low}" for name, low in pairs], [name for name, _ in pairs]


def environment(folder: Path, needed: list[str]) -> Path:
    """A fresh environment with what is needed, pytest among it, since the scenario lies among the tests."""
    venv.create(folder, with_pip=True)
    python = folder / "bin" / "python"
    subprocess.run([python, "-m", "pip", "install", "--quiet", *needed, "pytest"], check=True)
    return python


def project(python: Path, folder: Path, out: Path) -> bool:
    work = folder / "work.py"
    work.write_text(WORK, "utf-8")
    code = folder / "code"  # one copy for all, so that the work on the package may go on
    env = {k: v for k, v in os.environ.items() if k != "PYTHONPATH"} | {"PYTHONPATH": f"{code}:{code / 'tests'}"}
    done = subprocess.run([python, work, str(code), str(out)], text=True, stdout=subprocess.PIPE, check=True, env=env)
    print(done.stdout, end="", flush=True)
    return "OTHER BITS" not in done.stdout


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--folder", type=Path, help="where the environments are made (default: a temporary folder)")
    with tempfile.TemporaryDirectory() as temporary:
        folder = parser.parse_args().folder or Path(temporary)
        same, files = True, []
        shutil.rmtree(folder / "code", ignore_errors=True)
        for name in ("pondpop", "tests"):
            shutil.copytree(ROOT / name, folder / "code" / name, ignore=shutil.ignore_patterns("__pycache__"))
        for name, needed in zip(("lowest", "newest"), requirements(), strict=True):
            print(f"{name}: {', '.join(needed)}", flush=True)
            python = folder / name / "bin" / "python"
            if not python.exists():
                python = environment(folder / name, needed)
            files.append(folder / f"{name}.npz")
            same &= project(python, folder, files[-1])
        return 0 if compare(*files) and same else 1


def compare(low: Path, high: Path) -> bool:
    import numpy as np

    worst, where = 0.0, "nowhere"
    with np.load(low) as a, np.load(high) as b:
        assert set(a.files) == set(b.files)
        for name in a.files:
            x, y = a[name], b[name]
            if x.shape != y.shape or not np.array_equal(np.isnan(x), np.isnan(y)):
                print(f"{name}: another shape, or values where the other has none")
                return False
            with np.errstate(invalid="ignore"):
                apart = np.nan_to_num(np.abs(x - y) / np.maximum(np.maximum(np.abs(x), np.abs(y)), 1e-6))
            if apart.size and apart.max() > worst:
                worst, where = float(apart.max()), name
        print(f"lowest against newest: largest relative difference {worst:.2g} ({where}), promised {PROMISED:g}")
    return worst <= PROMISED


if __name__ == "__main__":
    sys.exit(main())
