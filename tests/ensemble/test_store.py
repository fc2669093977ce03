"""Folders of results: whole or not at all, never in place of what is not of pondpop, resumed to the same bytes."""

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from small import TEXT, pond

from pondpop import cli
from pondpop.checks import InputError
from pondpop.ensemble import store
from pondpop.ensemble.run import compare
from pondpop.ensemble.store import MARKER, PAGE_MARK, Output, page_place, text, write_page_files
from pondpop.report.files import comparison_files
from pondpop.scenario import dump

RUN = {"scenario": "one", "--members": "3"}
BLOCK = {"number": np.arange(6.0).reshape(2, 3)}


def contents(folder):
    """Every file below a folder with its bytes."""
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def finish(path, run=RUN, content="new", **options):
    output = Output(path, run, **options)
    output.finish({"a.txt": text(content)})


def test_a_folder_appears_at_the_end_and_whole(tmp_path):
    output = Output(tmp_path / "out", RUN)
    output.save("one", BLOCK)
    assert not (tmp_path / "out").exists()
    output.finish({"a.txt": text("é\n")})
    assert sorted(os.listdir(tmp_path)) == ["out"]
    assert sorted(os.listdir(tmp_path / "out")) == ["a.txt", MARKER]
    assert (tmp_path / "out" / "a.txt").read_bytes() == "é\n".encode()


def test_blocks_come_back_as_they_were(tmp_path):
    output = Output(tmp_path / "out", RUN)
    assert output.load("one") is None
    output.save("one", BLOCK)
    output.release()
    again = Output(tmp_path / "out", RUN, resume=True)
    np.testing.assert_array_equal(again.load("one")["number"], BLOCK["number"])
    file = again.blocks / "one.block"
    file.write_bytes(file.read_bytes()[:-40])
    assert again.load("one") is None


def test_without_resume_everything_starts_again(tmp_path):
    Output(tmp_path / "out", RUN).save("one", BLOCK)
    assert Output(tmp_path / "out", RUN).load("one") is None


@pytest.mark.parametrize(
    ("run", "says"),
    [
        (RUN | {"--members": "5"}, "--members 5, where .*out.partial was begun with 3,"),
        (RUN | {"--vary": "pond.cover=1,2"}, "--vary pond.cover=1,2, where .* was begun with none,"),
        ({"scenario": "one"}, "--members left out, where .* was begun with 3,"),
        (RUN | {"scenario": "another, which is too long to be told in one line of a terminal"}, "another scenario than"),
    ],
)
def test_resume_names_what_differs_from_the_interrupted_run(tmp_path, run, says):
    Output(tmp_path / "out", RUN).save("one", BLOCK)
    with pytest.raises(InputError, match=f"--resume: got {says}.*without --resume"):
        Output(tmp_path / "out", run, resume=True)
    assert Output(tmp_path / "out", RUN, resume=True).load("one")


def test_what_fits_into_a_line_is_told_by_its_words_and_what_is_longer_is_only_another(tmp_path):
    words = "a" * store._LONGEST_SAID
    Output(tmp_path / "short", {"scenario": words})
    with pytest.raises(InputError, match=f"scenario {words[:-1]}b, where "):
        Output(tmp_path / "short", {"scenario": words[:-1] + "b"}, resume=True)
    Output(tmp_path / "long", {"scenario": words + "a"})
    with pytest.raises(InputError, match="another scenario than "):
        Output(tmp_path / "long", {"scenario": words + "b"}, resume=True)


def test_resume_refuses_what_another_version_left(tmp_path, monkeypatch):
    Output(tmp_path / "out", RUN).save("one", BLOCK)
    monkeypatch.setattr(store, "package_versions", lambda: {"pondpop": "99"})
    with pytest.raises(InputError, match="another version than"):
        Output(tmp_path / "out", RUN, resume=True)


def test_fewer_members_replace_more_only_if_asked(tmp_path):
    many, few = RUN | {"--members": "1000"}, RUN | {"--members": "20"}
    finish(tmp_path / "out", many, "many")
    before = contents(tmp_path)
    with pytest.raises(InputError, match=r"of 1,000 members, for a run of 20, .* --replace"):
        Output(tmp_path / "out", few)
    assert contents(tmp_path) == before
    finish(tmp_path / "out", few, "few", replace=True)
    assert (tmp_path / "out" / "a.txt").read_text() == "few"
    finish(tmp_path / "out", many, "many")
    Output(tmp_path / "other", many).save("one", BLOCK)
    with pytest.raises(InputError, match=r"other.partial, left unfinished 1,000 members"):
        Output(tmp_path / "other", few)
    assert Output(tmp_path / "other", many, resume=True).load("one")


def test_folders_above_that_a_refused_run_made_are_gone_again(tmp_path):
    Output(tmp_path / "new" / "deep" / "out", RUN).discard()
    assert os.listdir(tmp_path) == []


def test_a_folder_is_unbegun_while_it_holds_nothing_but_the_marker_of_a_beginning(tmp_path):
    folder = tmp_path / "out"
    assert store._unbegun(folder)
    folder.mkdir()
    assert store._unbegun(folder)
    (folder / store.UNFINISHED_MARKER).write_text("{}")
    assert store._unbegun(folder)
    (folder / "a.txt").write_text("a")
    assert not store._unbegun(folder)


def test_a_folder_of_pondpop_is_replaced(tmp_path):
    finish(tmp_path / "out", content="old")
    finish(tmp_path / "out")
    assert (tmp_path / "out" / "a.txt").read_text() == "new"
    assert os.listdir(tmp_path) == ["out"]


def strange_folder(path):
    path.mkdir()
    (path / "thesis.txt").write_text("ten years of work")


def strange_file(path):
    path.write_text("ten years of work")


def strange_link(path):
    (path.parent / "home").mkdir()
    (path.parent / "home" / "thesis.txt").write_text("ten years of work")
    path.symlink_to(path.parent / "home")


def strange_marker(path):
    path.mkdir()
    (path / MARKER).write_text('{"written_by": "someone"}')


def own_with_a_guest(path):
    finish(path)
    (path / "thesis.txt").write_text("ten years of work")


@pytest.mark.parametrize("make", [strange_folder, strange_file, strange_link, strange_marker, own_with_a_guest])
@pytest.mark.parametrize("name", ["out", "out.partial"])
def test_nothing_strange_is_replaced(tmp_path, make, name):
    make(tmp_path / name)
    before = contents(tmp_path)
    with pytest.raises(InputError, match="--out: got"):
        Output(tmp_path / "out", RUN)
    assert contents(tmp_path) == before


def test_of_a_strange_folder_and_a_strange_one_left_unfinished_the_one_asked_for_is_named(tmp_path):
    for name in ("out", "out.partial"):
        strange_folder(tmp_path / name)
    with pytest.raises(InputError) as refused:
        Output(tmp_path / "out", RUN)
    assert "out.partial" not in str(refused.value)


def test_the_top_of_the_disk_is_refused():
    with pytest.raises(InputError, match="top of the disk"):
        Output(Path("/"), RUN)


def test_an_empty_folder_may_be_filled(tmp_path):
    (tmp_path / "out").mkdir()
    finish(tmp_path / "out")
    assert (tmp_path / "out" / "a.txt").exists()


def test_what_appears_while_the_folder_is_taken_into_hand_is_not_replaced(tmp_path, monkeypatch):
    hold = Output._hold

    def held(output):
        hold(output)
        strange_folder(output.path)

    monkeypatch.setattr(Output, "_hold", held)
    with pytest.raises(InputError, match="which pondpop did not write"):
        Output(tmp_path / "out", RUN)
    assert (tmp_path / "out" / "thesis.txt").exists()


def test_what_appeared_meanwhile_is_not_replaced(tmp_path):
    output = Output(tmp_path / "out", RUN)
    strange_folder(tmp_path / "out")
    with pytest.raises(InputError):
        output.finish({"a.txt": text("new")})
    assert (tmp_path / "out" / "thesis.txt").exists()


def test_a_full_disk_leaves_the_old_files_and_the_blocks(tmp_path):
    finish(tmp_path / "out", content="old")
    output = Output(tmp_path / "out", RUN)
    output.save("one", BLOCK)

    def full(path):
        raise OSError(28, "No space left on device")

    with pytest.raises(OSError, match="No space left"):
        output.finish({"a.txt": text("new"), "b.txt": full})
    assert (tmp_path / "out" / "a.txt").read_text() == "old"
    assert Output(tmp_path / "out", RUN, resume=True).load("one")


def test_a_stop_between_the_two_renames_loses_nothing(tmp_path, monkeypatch):
    finish(tmp_path / "out", content="old")
    output = Output(tmp_path / "out", RUN)
    rename, calls = os.rename, []

    def stopping(a, b):
        calls.append(a)
        if len(calls) == 2:
            raise KeyboardInterrupt
        rename(a, b)

    monkeypatch.setattr(os, "rename", stopping)
    with pytest.raises(KeyboardInterrupt):
        output.finish({"a.txt": text("new")})
    monkeypatch.setattr(os, "rename", rename)
    Output(tmp_path / "out", RUN)
    assert (tmp_path / "out" / "a.txt").read_text() == "old"


def test_what_a_stop_after_both_renames_left_is_gone_with_the_next_run(tmp_path):
    finish(tmp_path / "out", content="old")
    shutil.copytree(tmp_path / "out", tmp_path / "out.replaced")
    finish(tmp_path / "out", content="new")
    assert contents(tmp_path).keys() == {"out/a.txt", f"out/{MARKER}"} and contents(tmp_path / "out")["a.txt"] == b"new"


# ---------------------------------------------------------------------- pages


def own_page(path):
    write_page_files(path, f'<html><head>{store.PAGE_MARK} 0.1">', {"a.csv": "1\n"})


def test_a_new_page_and_an_own_page_may_be_written(tmp_path):
    page = tmp_path / "report.html"
    page_place(page)
    own_page(page)
    page_place(page)
    own_page(page)
    assert sorted(contents(tmp_path)) == ["report.html", "report_tables/a.csv"]


def test_a_page_is_known_by_the_mark_in_its_first_20_000_bytes(tmp_path):
    page = tmp_path / "report.html"
    for before, ours in ((20_000 - len(PAGE_MARK), True), (20_001 - len(PAGE_MARK), False)):
        page.write_text(" " * before + PAGE_MARK)
        if ours:
            page_place(page)
        else:
            with pytest.raises(InputError, match="which pondpop did not write"):
                page_place(page)


def a_folder(path):
    path.mkdir()


def a_link_to_a_page(path):
    own_page(path.with_name("real.html"))
    path.symlink_to(path.with_name("real.html"))


def tables_of_someone(path):
    path.with_name("report_tables").mkdir()
    (path.with_name("report_tables") / "a.csv").write_text("ten years of work")


@pytest.mark.parametrize("make", [strange_file, a_folder, a_link_to_a_page, os.mkfifo, tables_of_someone])
def test_nothing_strange_is_replaced_by_a_page(tmp_path, make):
    page = tmp_path / "report.html"
    make(page)
    before = contents(tmp_path)
    with pytest.raises(InputError, match="--out: got"):
        page_place(page)
    assert contents(tmp_path) == before
    if make in (strange_file, tables_of_someone):
        page_place(page, replace=True)
    else:
        with pytest.raises(InputError, match="--out: got"):
            page_place(page, replace=True)


@pytest.mark.parametrize("name", ["pond.toml", "projection.nc", "report.pdf", "report", "x.html.partial"])
def test_a_page_is_named_as_one(tmp_path, name):
    with pytest.raises(InputError, match=r"a file name that ends in \.html"):
        page_place(tmp_path / name, replace=True)
    with pytest.raises(InputError, match="open it in a browser and print it"):
        page_place(tmp_path / "r.pdf")


def test_a_page_is_never_written_over_its_source(tmp_path):
    source = tmp_path / "projection.html"
    own_page(source)
    (tmp_path / "other.html").hardlink_to(source)
    for page in (source, tmp_path / "other.html"):
        with pytest.raises(InputError, match="from which the page is made"):
            page_place(page, [source], replace=True)


def test_a_page_that_fails_leaves_no_folder_and_the_old_page(tmp_path, monkeypatch):
    page = tmp_path / "new" / "report.html"

    def full(self, target):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(Path, "replace", full)
        with pytest.raises(OSError):
            own_page(page)
    assert os.listdir(tmp_path) == []
    own_page(page)
    before = contents(tmp_path)
    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(OSError):
        own_page(page)
    assert contents(tmp_path) == before


def test_what_another_put_beside_a_page_that_fails_stays(tmp_path):
    class Meanwhile(dict):
        """Tables of which one cannot be written, and a file of another's that comes while they are."""

        def items(self):
            (tmp_path / "new" / "note.txt").write_text("a note")
            return super().items()

    with pytest.raises(UnicodeEncodeError):
        write_page_files(tmp_path / "new" / "report.html", "a page", Meanwhile({"one.csv": "\ud800"}))
    assert contents(tmp_path / "new") == {"note.txt": b"a note"}


# ---------------------------------------------------------------------- whole runs


def test_a_comparison_writes_its_files_and_the_same_bytes_again(tmp_path):
    scenario = pond(members=2)
    for name in ("a", "b"):
        Output(tmp_path / name, {"scenario": dump(scenario)}).finish(comparison_files(scenario, compare(scenario)))
    made = contents(tmp_path / "a")
    assert {"projection.nc", "scenario.resolved.toml", "yearly.csv", "report.html", MARKER} <= made.keys()
    assert made == contents(tmp_path / "b")


@pytest.fixture(scope="module")
def unbroken(tmp_path_factory):
    """A sweep's words up to where it is to be written, and the bytes that it writes."""
    folder = tmp_path_factory.mktemp("unbroken")
    file = folder / "pond.toml"
    file.write_text(TEXT.replace("members = 3", "members = 2"))
    dates = "strategies.few.stocking.young_bass.date=2026-04-10..2026-04-13/1"
    command = ["sweep", str(file), "--vary", dates, "--workers", "1", "--out"]
    assert cli.main([*command, str(folder / "out")]) == 0
    return command, contents(folder / "out")


STOPPED = """
import os, signal, sys
from pondpop import cli

how, put = int(sys.argv[1]), os.replace
signal.signal(signal.SIGINT, signal.default_int_handler)  # whoever runs the tests may ignore it

def replace(one, other):
    put(one, other)
    if str(other).endswith(".block"):
        os.kill(os.getpid(), how)

os.replace = replace
sys.exit(cli.main(sys.argv[2:]))
"""


@pytest.mark.slow
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL])
def test_a_run_that_is_stopped_resumes_to_the_same_bytes(tmp_path, how, unbroken):
    """Stopped by a signal as soon as its first block is kept."""
    command, whole = unbroken
    here = [sys.executable, "-c", STOPPED, str(int(how)), *command, str(tmp_path / "out")]
    stopped = subprocess.run(here, stderr=subprocess.PIPE, text=True, timeout=120)
    blocks = tmp_path / "out.partial" / "blocks"
    if how == signal.SIGINT:
        assert stopped.returncode == 130
        assert stopped.stderr.count("\n") == 1 and "interrupted" in stopped.stderr and "--resume" in stopped.stderr
    else:
        assert stopped.returncode == -how
    assert not (tmp_path / "out").exists()
    left = len(list(blocks.glob("*.block")))
    assert 1 <= left < 4
    assert cli.main([*command, str(tmp_path / "out"), "--resume"]) == 0
    assert contents(tmp_path / "out") == whole


def test_a_page_below_a_file_is_refused_with_the_file_and_one_in_a_folder_to_be_made_is_not(tmp_path):
    note = tmp_path / "note.txt"
    note.write_text("a note")
    for page in (note / "page.html", note / "deeper" / "page.html"):
        with pytest.raises(InputError, match=r"note\.txt, a file, needs a folder to write the page to"):
            page_place(page)
    page_place(tmp_path / "new" / "deeper" / "page.html")
    assert list(tmp_path.iterdir()) == [note]


def test_of_a_folder_that_is_removed_its_marker_goes_last(tmp_path, monkeypatch):
    """So that what is left, where something stops it, is still known as ours."""
    (folder := tmp_path / "out").mkdir()
    for name in ("a.txt", MARKER, "z.txt"):
        (folder / name).write_text("")
    gone, unlink = [], Path.unlink
    monkeypatch.setattr(Path, "unlink", lambda path: (gone.append(path.name), unlink(path)))
    store._remove(folder)
    assert gone[-1] == MARKER and len(gone) == 3 and not folder.exists()


@pytest.mark.parametrize(("run", "members"), [
    ({"--members": "12345678"}, 12345678), ({"--members": "123456789"}, 0), ({"--members": "1²"}, 0), ({"--members": 3}, 0),
    ({}, 0), (None, 0),
])  # fmt: skip
def test_how_many_members_a_folder_is_of_is_read_where_it_can_be_a_number_of_them(run, members):
    assert store._members(run) == members
