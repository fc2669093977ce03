"""Progress: members done and time left, on a terminal only."""

import io

import pytest

from pondpop import progress
from pondpop.progress import Progress, in_words


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.fixture
def clock(monkeypatch):
    now = [0.0]
    monkeypatch.setattr(progress.time, "monotonic", lambda: now[0])
    return now


def test_it_tells_members_and_the_time_left(monkeypatch, clock):
    monkeypatch.setattr(progress.sys, "stderr", screen := Terminal())
    told = Progress()
    told(64, 256)
    clock[0] = 60.0
    told(128, 256)
    clock[0] = 120.0
    told(256, 256)
    told.close()
    lines = [line.strip() for line in screen.getvalue().split("\r") if line.strip()]
    # an earlier run left 64, so the next 64 took a minute and the last 128 take two
    assert lines == ["64 of 256 members", "128 of 256 members, about 2 min left", "256 of 256 members"]


def test_it_says_nothing_where_there_is_no_terminal(monkeypatch):
    monkeypatch.setattr(progress.sys, "stderr", file := io.StringIO())
    told = Progress()
    told(1, 2)
    told.close()
    assert file.getvalue() == ""


@pytest.mark.parametrize(
    ("seconds", "words"), [(12.3, "12 s"), (89, "89 s"), (95, "2 min"), (5000, "83 min"), (7200, "2.0 h")]
)
def test_durations(seconds, words):
    assert in_words(seconds) == words
