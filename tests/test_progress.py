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
    now = [1000.0]
    monkeypatch.setattr(progress.time, "monotonic", lambda: now[0])
    return now


def test_it_tells_members_and_the_time_left(monkeypatch, clock):
    monkeypatch.setattr(progress.sys, "stderr", screen := Terminal())
    told = Progress()
    told(64, 256)
    clock[0] += 60.0
    told(128, 256)
    clock[0] += 60.0
    told(256, 256)
    told.close()
    lines = [line.strip() for line in screen.getvalue().split("\r") if line.strip()]
    # an earlier run left 64, so the next 64 took a minute and the last 128 take two
    assert lines == ["64 of 256 members", "128 of 256 members, about 2 min left", "256 of 256 members"]


def test_what_is_said_stands_beside_the_counts_and_is_wiped_away(monkeypatch, clock):
    monkeypatch.setattr(progress.sys, "stderr", screen := Terminal())
    monkeypatch.setenv("COLUMNS", "60")
    told = Progress()
    told(0, 100)
    told.say("after 50 of 100 members, not yet sure: choose few")
    told(50, 100)
    told.say("short")
    told.close()
    lines = screen.getvalue().split("\r")[1:]
    assert lines[1].startswith("0 of 100 members; after 50 of 100") and max(map(len, lines)) == 59
    assert lines[-3].startswith("50 of 100 members, about 0 s left; short ")  # and blanks over what was there
    assert lines[-2].strip() == "" and lines[-1] == ""
    assert len(lines[-3]) == len(lines[-4]) and len(lines[-2]) == len(lines[-3].rstrip())


def test_it_says_nothing_where_there_is_no_terminal(monkeypatch):
    monkeypatch.setattr(progress.sys, "stderr", file := io.StringIO())
    told = Progress()
    told(1, 2)
    told.say("words")
    told.close()
    assert file.getvalue() == ""


def test_a_line_is_wiped_away_once(monkeypatch, clock):
    monkeypatch.setattr(progress.sys, "stderr", screen := Terminal())
    told = Progress()
    told.close()
    assert screen.getvalue() == ""
    told.say("words")
    told.close()
    wiped = screen.getvalue()
    told.close()
    assert screen.getvalue() == wiped == "\rwords\r     \r"


@pytest.mark.parametrize(
    ("seconds", "words"), [(12.3, "12 s"), (89.4, "89 s"), (90, "2 min"), (5399, "90 min"), (5400, "1.5 h"), (7200, "2.0 h")]
)
def test_durations(seconds, words):
    assert in_words(seconds) == words
