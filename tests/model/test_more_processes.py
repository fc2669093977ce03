"""A process is added by a module, a line in the day and a line for what it moves: an invented one, in a copy of the package."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pondpop

PACKAGE = Path(pondpop.__file__).parent
TESTS = Path(__file__).parents[1]

# Invented: as many kg/ha of leaves a day as there are kg/ha of fish.
MODULE = '''
from pondpop.arrays import total


def fallen(pond):
    return total(pond.state.biomass())[:, None] * [1.0, 2.0]
'''
LINES = {
    "model/day.py": (
        "        self.stock()\n        self.remove(",
        "        self.flows.leaves += leaves.fallen(self)\n        self.stock()\n        self.remove(",
    ),
    "model/budget.py": (
        "    aeration_kwh:",
        '    leaves: Annotated[Array, Variable(("month", "shore"), KG, "leaves that fell in the month")]\n    aeration_kwh:',
    ),
}
AXIS = ("AXES = {\n", 'AXES = {\n    "shore": names_axis(("near", "far"), "shore that they fell from"),\n')
IMPORT = ("    lengths,\n", "    leaves,\n    lengths,\n")

RUN = """
import numpy as np
from small import pond
from pondpop.ensemble import results
from pondpop.ensemble.run import compare
from pathlib import Path
whole = compare(pond(members=2))
results.write(whole, Path("projection.nc"))
ds = results.read(Path("projection.nc"))
assert ds["leaves"].dims == ("strategy", "member", "month", "shore"), ds["leaves"].dims
assert ds["leaves"].attrs == {"units": "kg ha-1", "long_name": "leaves that fell in the month"}
assert list(ds["shore"].values) == ["near", "far"]
near, far = (ds["leaves"].sel(shore=shore).values for shore in ("near", "far"))
crop = ds["biomass"].sum(("species", "length_class")).isel(survey_date=-1).values
assert (near > 0.0).all() and np.allclose(far, 2.0 * near)
september = near[..., 5] / 30.0
assert (abs(september / crop - 1.0) < 0.2).all(), (september, crop)
print("told")
"""


def test_a_process_is_a_module_a_line_in_the_day_and_a_line_for_each_flow(tmp_path):
    shutil.copytree(PACKAGE, tmp_path / "pondpop", ignore=shutil.ignore_patterns("__pycache__"))
    (tmp_path / "pondpop/model/leaves.py").write_text(MODULE)
    for file, change in [*LINES.items(), ("model/budget.py", AXIS), ("model/day.py", IMPORT)]:
        path = tmp_path / "pondpop" / file
        assert path.read_text("utf-8").count(change[0]) == 1, file
        path.write_text(path.read_text("utf-8").replace(*change), "utf-8")
    env = {"PYTHONPATH": f"{tmp_path}:{TESTS}", "OPENBLAS_NUM_THREADS": "1", "PATH": ""}
    ran = subprocess.run([sys.executable, "-c", RUN], cwd=tmp_path, env=env, capture_output=True, text=True, timeout=300)
    assert (ran.returncode, ran.stdout) == (0, "told\n"), ran.stderr
