"""What a process that shares the work imports."""

from __future__ import annotations

import subprocess
import sys

HEAVY = ("xarray", "pandas", "matplotlib", "scipy.stats", "scipy.interpolate", "scipy.optimize")


def test_a_worker_imports_no_package_that_its_blocks_do_not_use():
    told = f"import sys, pondpop.ensemble.jobs, pondpop.ensemble.workers; print([m for m in {HEAVY} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
