"""One thread a process, as the program has it: many small products share out more than they gain. And how Hypothesis draws
cases in this suite: the same ones on every run, and a failing one is told as it was drawn.

The random search for rare cases belongs in benchmarks/fuzz_long.py, and a failure of the suite is told at
once and not after minutes of shrinking.
"""

import os

from hypothesis import HealthCheck, Phase, settings

for library in ("OPENBLAS", "MKL", "OMP"):
    os.environ.setdefault(f"{library}_NUM_THREADS", "1")

settings.register_profile(
    "suite",
    derandomize=True,
    database=None,
    deadline=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.function_scoped_fixture],
)
settings.load_profile("suite")
