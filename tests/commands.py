"""Commands as a test gives them: in good time, answered, or refused in one line."""

from __future__ import annotations

import contextlib
import io
import signal
import tempfile
import time
import warnings
from collections.abc import Iterator
from pathlib import Path

from pondpop import cli

LONGEST_SECONDS = 60.0  # of processor time, so that a busy machine is no failure
slowest = {"check": 0.0, "assess": 0.0}


class TooSlow(BaseException):
    """Not an Exception, so that nothing takes it for a fault of its own."""


@contextlib.contextmanager
def in_good_time(seconds: float = LONGEST_SECONDS) -> Iterator[None]:
    """TooSlow after so much processor time, or twenty times that by the clock, as of one who waits for ever."""

    def stop(*_: object) -> None:
        raise TooSlow

    timers = {signal.SIGPROF: (signal.ITIMER_PROF, seconds), signal.SIGALRM: (signal.ITIMER_REAL, 20.0 * seconds)}
    before = {sign: signal.signal(sign, stop) for sign in timers}
    left = {}
    for timer, longest in timers.values():
        left[timer] = signal.setitimer(timer, longest)[0]
        if 0.0 < left[timer] < longest:  # we are within another, which is stricter
            signal.setitimer(timer, left[timer])
    try:
        yield
    finally:
        for sign, (timer, _) in timers.items():
            signal.setitimer(timer, left[timer])
            signal.signal(sign, before[sign])


def asked(*arguments: object) -> tuple[int, str, str]:
    """Status, standard output and standard error of a command; any warning counts as an internal fault."""
    out, err = io.StringIO(), io.StringIO()
    started = time.process_time()
    with in_good_time(), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), warnings.catch_warnings():
        warnings.simplefilter("error")
        status = cli.main([str(a) for a in arguments])
    if arguments[0] in slowest:
        slowest[str(arguments[0])] = max(slowest[str(arguments[0])], time.process_time() - started)
    return status, out.getvalue(), err.getvalue()


def answered_or_refused(*arguments: object) -> int:
    """The status of a command that was answered (0) or refused in one line (2)."""
    status, out, err = asked(*arguments)
    assert status in (0, 2), err
    if status == 2:
        assert out == ""
        assert err.startswith("pondpop: ") and err.endswith("\n") and err.count("\n") == 1, err
        assert err[:-1].isprintable() and len(err) < 2000, err
        assert "got " in err and "needs " in err, err
    else:
        assert err == ""
    return status


def check_bytes(data: bytes) -> int:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "pond.toml"
        file.write_bytes(data)
        status = answered_or_refused("check", file)
        assert list(Path(folder).iterdir()) == [file]
        return status


def assess_files(files: dict[str, bytes], *options: str) -> int:
    with tempfile.TemporaryDirectory() as folder:
        for name, data in files.items():
            (Path(folder) / name).write_bytes(data)
        return answered_or_refused("assess", folder, *options)
