"""The whole suite on the cores of this machine: `python tests`, with pytest's own options if wanted.

Starts one pytest a core, four at most. Each collects everything and runs the files that it claims first, so that every test
runs once; `python -m pytest` runs the same tests one after another. Status 0 only if every process ends with that.
"""

import os
import subprocess
import sys
from contextlib import ExitStack
from pathlib import Path
from tempfile import TemporaryDirectory, TemporaryFile

MOST = 4  # each collects the whole suite, and some tests start processes of their own


def main(options: list[str]) -> int:
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    home = Path(__file__).resolve().parent.parent
    with ExitStack() as ends:
        claims = ends.enter_context(TemporaryDirectory(prefix="pondpop-tests-"))
        command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", f"--claims={claims}", *options]
        later = [ends.enter_context(TemporaryFile()) for _ in range(1, min(cores, MOST))]  # what all but the first say
        running = []
        for output in (None, *later):
            running.append(subprocess.Popen(command, cwd=home, stdout=output, stderr=output))
            ends.callback(running[-1].kill)
        ended = [process.wait() for process in running]
        for output in later:
            output.seek(0)
            sys.stdout.buffer.write(output.read())
        sys.stdout.flush()
    print(f"{len(running)} processes ended with status {', '.join(map(str, ended))}")
    return max(ended, key=abs)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
