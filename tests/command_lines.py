"""Command lines as people, scripts and the ill-willed write them, and what must become of each.

They are made of the program's own parser, so that a new command or option is among them by itself. Work that would be
long ends where it begins: then all that a command line can say has been read and judged.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import shutil
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from unittest import mock

from commands import in_good_time
from hypothesis import strategies as st
from hypothesis_ponds import HOSTILE
from small import TEXT

from pondpop import cli

FILES = {
    "pond.toml": TEXT.replace("members = 3", "members = 1"),
    "wrong.toml": TEXT.replace("years = 1", "years = 99"),
    "broken.toml": "title = [",
    "empty.toml": "",
    "notes.txt": "ten years of work",
    "strange.html": "ten years of work",
    "folder/notes.txt": "ten years of work",
    "records/survey.csv": "date,gear,species,length_in\n2026-06-15,electrofishing,bass,12\n2026-06-15,electrofishing,bass,9\n",
    "bad/survey.csv": "date,gear,species\n2026-06-15,electrofishing,bass\n",
    "odd/survey.csv": "date,gear,species,length_in\n2026-06-15,boat,bass,12\n2026-06-15,seine,bass,-3\n",
}
PLACES = ("pond.toml", "pond.toml", "wrong.toml", "broken.toml", "empty.toml", "notes.txt", "folder", "records", "bad", "odd",
          "projection.nc", "page.html", "strange.html", "nowhere.toml", "nowhere/deep", "", ".", "..", "/dev/null", "out",
          "out/", "-", "~", "pond.toml/x")  # fmt: skip
NUMBERS = ("1", "2", "0", "-1", "0.5", "1.5", "nan", "inf", "-inf", "1e999", "1e-320", "99999999999999999999", "0x10", "1_0",
           "", " 1", "٣", "１", "+1", "--", "1,5", "90", "0.8")  # fmt: skip
DATES = ("2026-06-01", "2026-13-01", "2026-02-30", "1999-01-01", "9999-12-31", "20260601", "2026-W10-1", "", "today")
_DATE = "strategies.few.stocking.young_bass.date"
PATHS = (
    f"{_DATE}=2026-04-10..2026-04-12/2", f"{_DATE}=2026-04-10..2026-04-12/10000000", "pond.fertility=0.5,1", "pond.cover=1",
    "strategies.few.stocking.young_bass.per_acre=10..30/10", "run.years=1,2", "run.start=2026-04-01,2026-05-01", "title=a,b",
    "=1,1", "pond.area_acres=-1,1", "pond.fertility=1..2/0", "pond.fertility=2..1/1", "pond.fertility=1..1e9/1e-9", "x", "",
    "pond=1", "stocking.0.per_acre=1", "strategies.nobody.x=1", "pond.fertility=nan", "pond.fertility=1..nan/1", "a.b.c.d=1",
    "ensemble.members=1,2", "pond.fertility=１", "run.years=0..99/1",
)  # fmt: skip
WINDOWS = (
    "8..12",
    "15..25",
    "12..8",
    "8..8",
    "8..12/2",
    "..",
    "0..35",
    "-1..3",
    "nan..9",
    "8",
    "8-12",
    "",
    "8..1e9",
    "9..13",
)
NAMES = (
    "few",
    "many",
    "nobody",
    "_",
    "old_bass",
    "young_bass",
    "balanced",
    "panfish",
    "harvest",
    "adults",
    "us",
    "metric",
)
SURVEYS = ("electrofishing:2h@2026-06-15", "seine:3@2026-06-15", "electrofishing:0h@2026-06-15", "boat:1h@2026-06-15",
           "electrofishing:2h@1999-01-01", "electrofishing:2h", ":", "@", "electrofishing:nanh@2026-06-15")  # fmt: skip
FIRST = {  # what makes a command a question that could be answered
    "begin": ("new",), "check": ("pond.toml",), "compare": ("pond.toml",), "sweep": ("pond.toml", "--vary", PATHS[0]),
    "quota": ("pond.toml", "--from-year", "1"), "plan": ("pond.toml", "--vary", PATHS[4]),
    "update": ("pond.toml", "--records", "records", "--strategy", "few"), "report": ("projection.nc",), "assess": ("records",),
    "keys": (), "sources": (),
}  # fmt: skip


class Began(BaseException):
    """All was read and judged, and long work would begin."""


def _values(action: argparse.Action) -> tuple[str, ...]:
    kinds = {"_path": PLACES, "_whole": NUMBERS, "_real": NUMBERS, "_day": DATES}
    known = {"--vary": PATHS, "--window-in": WINDOWS, "--window-mm": WINDOWS, "--survey": SURVEYS, "file": PLACES}
    name = action.option_strings[0] if action.option_strings else action.dest
    return known.get(name) or kinds.get(getattr(action.type, "__name__", ""), NAMES)


def _commands() -> dict[str, argparse.ArgumentParser]:
    (action,) = (a for a in cli._parser()._actions if isinstance(a, argparse._SubParsersAction))
    return dict(action.choices)


@st.composite
def command_lines(draw: Any) -> list[str]:
    """A command, what it needs, and up to three options or words more; some of all that is lost, doubled or turned about."""
    commands = _commands()
    name = draw(st.sampled_from(sorted(commands)))
    words = [name, *FIRST.get(name, ("projection.nc",))]
    actions = [a for a in commands[name]._actions if a.dest not in ("help", "workers")]
    for _ in range(draw(st.integers(0, 3))):
        if actions and draw(st.integers(0, 9)):
            action = draw(st.sampled_from(actions))
            value = draw(st.one_of(st.sampled_from(_values(action)), st.sampled_from((*HOSTILE, *NUMBERS, *PLACES))))
            if not action.option_strings:
                words[min(1, len(words)) : 2] = [value]
            elif action.nargs == 0:
                words += [action.option_strings[0]]
            else:
                words += (
                    [f"{action.option_strings[0]}={value}"] if value[:1] == "-" else [action.option_strings[0], value]
                )
        else:
            words.append(
                draw(st.sampled_from((*HOSTILE, "--", "--help", "--no-such", "--out", "-x", "check", "--workers=0")))
            )
    accident = draw(st.integers(0, 14))
    at = draw(st.integers(0, len(words) - 1))
    if accident == 0:
        del words[at]
    elif accident == 1:
        words.insert(at, words[at])
    elif accident == 2:
        words = [*words[at:], *words[:at]]
    return words


def laid_out(folder: Path, projection: bytes) -> None:
    """The files among which the commands are given, anew."""
    for item in folder.iterdir():
        shutil.rmtree(item) if item.is_dir() and not item.is_symlink() else item.unlink()
    for name, content in FILES.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text(content, "utf-8")
    (folder / "projection.nc").write_bytes(projection)
    (folder / "page.html").write_text(
        '<html><head><meta name="generator" content="pondpop 0.1"></head></html>', "utf-8"
    )


def _found(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() if p.is_file() else b"" for p in folder.rglob("*")}


@contextlib.contextmanager
def _within(folder: Path) -> Iterator[None]:
    before = Path.cwd()
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(before)


def judged(words: list[str], folder: Path) -> str:
    """What became of a command line: answered, begun or refused; a refusal is one line, and leaves all as it was."""

    def begin(*_: object) -> None:
        raise Began

    out, err, before = io.StringIO(), io.StringIO(), _found(folder)
    with (
        _within(folder), in_good_time(), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err),
        warnings.catch_warnings(), mock.patch("pondpop.ensemble.run.run_job", begin),
        mock.patch("pondpop.report.page.make_page", begin), mock.patch("pondpop.ensemble.workers.cores", lambda: 1),
    ):  # fmt: skip
        warnings.simplefilter("error")
        try:
            status = cli.main(words)
        except SystemExit as ended:
            status = int(str(ended.code or 0))
        except Began:
            return "begun"
    told = err.getvalue()
    assert status in (0, 1, 2), (status, told)
    if status == 0:
        assert told == ""
        return "answered"
    assert out.getvalue() == "" and told.startswith("pondpop: ") and told.count("\n") == 1 and told.endswith("\n"), told
    assert told[:-1].isprintable() and len(told) < 2000 and "internal fault" not in told, told
    assert _found(folder) == before, (told, set(before) ^ set(_found(folder)))
    return "refused" if status == 2 else "could not read or write"
