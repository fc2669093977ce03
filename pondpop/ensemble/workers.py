"""Processes that share the work of this one, and never outlive it."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import contextmanager
from queue import SimpleQueue
from typing import Any, ParamSpec, TypeVar

from pondpop.checks import RunError

P = ParamSpec("P")
T = TypeVar("T")


def cores() -> int:
    """How many processors this process may use."""
    if hasattr(os, "process_cpu_count"):  # Python 3.13
        return os.process_cpu_count() or 1
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextmanager
def processes(workers: int) -> Iterator[Executor | None]:
    """An executor of so many processes, or None for one worker, which is this process.

    Each has one thread for linear algebra. They end with the block, at once when it is left by an exception or an
    interrupt, and when this process is killed outright.
    """
    if workers == 1:
        yield None
        return
    for library in ("OPENBLAS", "MKL", "OMP"):
        os.environ.setdefault(f"{library}_NUM_THREADS", "1")
    executor = _Processes(workers)
    try:
        yield executor
    except BaseException:
        executor.stop()
        raise
    executor.shutdown()


class _Processes(ThreadPoolExecutor):
    """Each thread hands what it is given to a process of its own, which it starts when it needs one.

    A process reads its work from a pipe and ends when that closes, as it does however this process ends. It stands in
    a session of its own: interrupts from the keyboard do not reach it. (The standard library's pool of processes does
    not end its processes with their parent, and those that just start, or were cancelled, complain on the terminal.)
    """

    def __init__(self, workers: int) -> None:
        super().__init__(workers)
        self.workers = workers
        self._mine = threading.local()
        self._started: list[subprocess.Popen[bytes]] = []
        self._stopped = False

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        return super().submit(self._hand_over, fn, args, kwargs)

    def _hand_over(self, fn: Callable[..., T], args: tuple[Any, ...], kwargs: dict[str, Any]) -> T:
        """What the function returns, or raises, in the thread's process. RunError if that ended meanwhile."""
        task = pickle.dumps((fn, args, kwargs))
        if not hasattr(self._mine, "process"):
            self._mine.process = self._start()
        process: subprocess.Popen[bytes] = self._mine.process
        assert process.stdin and process.stdout
        try:
            process.stdin.write(task)
            process.stdin.flush()
            returned, answer = pickle.load(process.stdout)
        except (EOFError, OSError, ValueError, pickle.UnpicklingError):
            raise RunError(
                f"a worker process ended before its work (status {process.wait()}); ask for fewer --workers if memory is "
                "short, and go on with --resume"
            ) from None
        if not returned:
            raise answer
        return answer

    def _start(self) -> subprocess.Popen[bytes]:
        code = f"import sys; sys.path[:] = {sys.path!r}; from pondpop.ensemble.workers import work; work()"
        process = subprocess.Popen(
            [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, start_new_session=True
        )
        self._started.append(process)
        if self._stopped:
            process.kill()
        return process

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        super().shutdown(wait, cancel_futures=cancel_futures)
        if wait:
            for process in self._started:
                process.communicate()

    def stop(self) -> None:
        """End what is being done, and what waits is never begun."""
        super().shutdown(wait=False, cancel_futures=True)
        self._stopped = True
        for process in self._started:
            process.kill()
        self.shutdown()


def work() -> None:
    """What such a process does: call functions, one after the other, and answer with what they return or raise."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what else is printed is no answer
    tasks = SimpleQueue[Any]()

    def read() -> None:
        while True:
            try:
                tasks.put(pickle.load(sys.stdin.buffer))
            except EOFError:
                os._exit(0)
            except Exception as error:
                tasks.put(error)

    threading.Thread(target=read, daemon=True).start()
    while True:
        task = tasks.get()
        try:
            if isinstance(task, Exception):
                raise task
            fn, args, kwargs = task
            answer = pickle.dumps((True, fn(*args, **kwargs)))
        except Exception as error:
            answer = pickle.dumps((False, error))
        answers.write(answer)
        answers.flush()
