"""How far a long run is, told on a terminal: members done and time left."""

from __future__ import annotations

import shutil
import sys
import time


class Progress:
    """Called with the members done and those there are; says nothing where standard error is no terminal."""

    def __init__(self) -> None:
        self.told = False
        self.began = time.monotonic()
        self.before: int | None = None
        self.counts = self.words = ""
        self.width = 0

    def say(self, words: str) -> None:
        """Tell something beside the counts, in place of what was said before."""
        self.words = words
        self._show()

    def __call__(self, done: int, of: int) -> None:
        if not sys.stderr.isatty():
            return
        if self.before is None:  # what an earlier run left does not count towards the speed of this one
            self.before = done
        left = ""
        if done > self.before:
            seconds = (time.monotonic() - self.began) / (done - self.before) * (of - done)
            left = f", about {in_words(seconds)} left" if done < of else ""
        self.counts = f"{done:,} of {of:,} members{left}"
        self._show()

    def _show(self) -> None:
        if not sys.stderr.isatty():
            return
        line = "; ".join(part for part in (self.counts, self.words) if part)
        line = line[: shutil.get_terminal_size().columns - 1]
        print("\r" + line.ljust(self.width), end="", file=sys.stderr, flush=True)
        self.width, self.told = len(line), True

    def close(self) -> None:
        """Leave the terminal's line clean for what follows."""
        if self.told:
            print("\r" + " " * self.width + "\r", end="", file=sys.stderr, flush=True)
            self.told = False


def in_words(seconds: float) -> str:
    """A duration as one would say it: 40 s, 3 min, 1.5 h."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"
