"""Nothing is lost: outputs whole or not at all whenever a run may die, full disks told, damaged files refused."""

from __future__ import annotations

import contextlib
import functools
import io
import os
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from commands import asked, in_good_time
from hypothesis import given, settings
from hypothesis import strategies as st
from small import TEXT, pond

from pondpop import cli
from pondpop.checks import InputError, RunError
from pondpop.ensemble import results
from pondpop.ensemble.run import compare
from pondpop.ensemble.store import Output, text
from pondpop.update import prior_uniforms, up_to
from pondpop.update.posterior import Posterior, history, read_ensemble, write_ensemble

ROOT = Path(__file__).parent.parent
RUN = {"scenario": "one"}
BLOCK = {"number": np.arange(6.0)}
FILES = {"a.txt": text("new a"), "b.txt": text("new b")}


def contents(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def in_child(work: Callable[[], int]) -> tuple[int, str]:
    """Status and standard error of a function in a forked process."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        status = 97
        try:
            os.close(reader)
            os.dup2(writer, 2)
            sys.stderr = io.TextIOWrapper(io.FileIO(2, "w", closefd=False), write_through=True)
            with contextlib.redirect_stdout(io.StringIO()):
                status = work()
        finally:
            os._exit(status)
    os.close(writer)
    with os.fdopen(reader, "rb") as stream:
        said = stream.read().decode()
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), said


# ---------------------------------------------------------------------- death at every moment


def a_run(out: Path, resume: bool) -> None:
    """A run in miniature: two blocks are made unless they are there, then two files of them."""
    output = Output(out, RUN, resume=resume)
    blocks = []
    for name in ("one", "two"):
        block = output.load(name)
        if block is None:
            output.save(name, BLOCK)
            block = output.load(name)
        blocks.append(block)
    assert all(block is not None and (block["number"] == BLOCK["number"]).all() for block in blocks)
    output.finish(FILES)


def at_a_change(patch: pytest.MonkeyPatch, moment: int, after: bool, act: Callable[[], object]) -> None:
    """From now on act once, just before or just after the change of the disk with this number."""
    count = 0

    def noticed(change):
        def changed(*arguments, **options):
            nonlocal count
            count += 1
            now = count == moment
            if now and not after:
                act()
            try:
                return change(*arguments, **options)
            finally:
                if now and after:
                    act()

        return changed

    for place, names in ((os, ("rename", "replace", "mkdir", "unlink", "rmdir")), (Path, ("write_bytes",))):
        for name in names:
            patch.setattr(place, name, noticed(getattr(place, name)))
    patch.setattr(np, "savez", noticed(np.savez))


def dying_at(moment: int, after: bool, out: Path) -> int:
    """Run, and die without a word just before or just after the change of the disk with this number; 0 if it lived."""
    at_a_change(pytest.MonkeyPatch(), moment, after, lambda: os._exit(9))
    a_run(out, resume=False)
    return 0


@pytest.mark.parametrize("before", ["nothing", "an older result"])
@pytest.mark.parametrize("after", [False, True])
def test_death_at_any_moment_leaves_the_old_or_the_new_and_resumes_to_the_same_bytes(tmp_path, before, after):
    whole = tmp_path / "whole"
    a_run(whole, resume=False)
    new, old, moment, survived = contents(whole), {}, 0, False
    while not survived:
        moment += 1
        assert moment < 100
        folder = tmp_path / f"{moment}"
        folder.mkdir()
        out = folder / "out"
        if before != "nothing":
            Output(out, {"scenario": "earlier"}).finish({"a.txt": text("old a"), "c.txt": text("old c")})
            old = contents(out)
        status, said = in_child(lambda moment=moment, out=out: dying_at(moment, after, out))
        assert (status, said) in ((9, ""), (0, ""))
        survived = status == 0
        found = contents(out) if out.exists() else None
        if found is None and before != "nothing":  # between two renames: the old one stands beside, under its own name
            found = contents(folder / "out.replaced")
        assert found in (new, old) if found is not None else before == "nothing"
        a_run(out, resume=True)
        assert contents(out) == new
        assert sorted(os.listdir(folder)) == ["out"]
        shutil.rmtree(folder)
    assert moment > 8


@pytest.mark.parametrize("before", ["nothing", "an older result"])
@pytest.mark.parametrize("after", [False, True])
def test_a_disk_that_is_full_at_any_moment_leaves_the_old_and_what_can_be_resumed(tmp_path, monkeypatch, before, after):
    whole = tmp_path / "whole"
    a_run(whole, resume=False)
    new, old, moment, reached = contents(whole), {}, 0, True

    def full():
        nonlocal reached
        reached = True
        raise OSError(28, "No space left on device")

    while reached:
        moment += 1
        assert moment < 100
        folder = tmp_path / f"{moment}"
        folder.mkdir()
        out, reached = folder / "out", False
        if before != "nothing":
            Output(out, {"scenario": "earlier"}).finish({"a.txt": text("old a"), "c.txt": text("old c")})
            old = contents(out)
        with monkeypatch.context() as patch, contextlib.suppress(OSError):
            at_a_change(patch, moment, after, full)
            a_run(out, resume=False)
        found = contents(out) if out.exists() else contents(folder / "out.replaced") if old else None
        assert found in (old, new) if found is not None else before == "nothing"
        a_run(out, resume=True)
        assert contents(out) == new
        assert sorted(os.listdir(folder)) == ["out"]
    assert moment > 8


@pytest.mark.parametrize("other", ["begins and stays at work", "is over at once"])
@pytest.mark.parametrize("before", ["nothing", "an older result", "an unfinished run"])
@pytest.mark.parametrize("after", [False, True])
def test_a_second_run_that_begins_at_any_moment_takes_nothing_away(tmp_path, monkeypatch, before, after, other):
    """Whichever comes first finishes with its bytes; the other is refused in one line, or comes after it."""
    whole = tmp_path / "whole"
    a_run(whole, resume=False)
    new, moment, began = contents(whole), 0, True
    told = "in which another run is at work"
    while began:
        moment += 1
        assert moment < 100
        folder = tmp_path / f"{moment}"
        folder.mkdir()
        out, at_work, refused, began = folder / "out", list[Output](), list[str](), False
        if before == "an older result":
            Output(out, {"scenario": "earlier"}).finish({"a.txt": text("old a"), "c.txt": text("old c")})
        elif before == "an unfinished run":
            Output(out, RUN).save("one", BLOCK)

        def second(out=out, at_work=at_work, refused=refused):
            nonlocal began
            began = True
            try:
                if other == "is over at once":
                    a_run(out, resume=False)
                else:
                    at_work.append(Output(out, RUN))
            except InputError as error:
                refused.append(str(error))

        with monkeypatch.context() as patch:
            at_a_change(patch, moment, after, second)
            try:
                a_run(out, resume=False)
                first = ""
            except InputError as error:
                first = str(error)
        if at_work and not first:  # it began when the first had ended
            at_work[0].discard()
        elif at_work:
            assert told in first
            at_work[0].finish(FILES)
        assert all(told in words for words in refused) and (not first or at_work)
        assert contents(out) == new
        assert sorted(os.listdir(folder)) == ["out"]
    assert moment > 8


SLICED = (
    "import sys, pondpop.ensemble.run as v, pondpop.update as u; v.BLOCK_MEMBERS = int(sys.argv[1]); u.LEAST_EFFECTIVE = 2.0; "
    "u.FAR_OUT = 1e9; "
    "from pondpop import cli; sys.exit(cli.main(sys.argv[2:]))"
)
"""A command with blocks so small that there are many; and an update that concludes something from anything."""

LONG_WORK = {
    "compare": ("1", "compare", "pond.toml", "--members", "2"),
    "quota": (
        "1", "quota", "pond.toml", "--members", "1", "--search-members", "1", "--tries", "1", "--from-year", "1",
        "--window-in", "8..12",
    ),
    "update": ("4", "update", "pond.toml", "--members", "8", "--records", ".", "--strategy", "few"),
}  # fmt: skip


def write_inputs(folder: Path) -> None:
    """What the commands of LONG_WORK read."""
    (folder / "pond.toml").write_text(TEXT, "utf-8")
    survey = "date,gear,species,length_in,count\n2026-06-15,electrofishing,bass,8,4\n2026-06-15,electrofishing,bluegill,4,9\n"
    (folder / "survey.csv").write_text(survey, "utf-8")


def long_work(folder: Path, name: str, *options: str) -> subprocess.Popen[bytes]:
    """Start one of the commands in a folder of its own."""
    write_inputs(folder)
    env = os.environ | {"PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
    command = [sys.executable, "-c", SLICED, *LONG_WORK[name], "--workers", "1", *options]
    return subprocess.Popen(command, cwd=folder, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE)


@pytest.fixture(scope="module")
def unbroken(tmp_path_factory):
    """What each of the commands writes when nothing happens to it, by name; run once, when first asked for."""

    @functools.cache
    def of(name: str) -> dict[str, bytes]:
        folder = tmp_path_factory.mktemp(name)
        run = long_work(folder, name, "--out", "out")
        assert (run.communicate(timeout=240)[1], run.returncode) == (b"", 0)
        return contents(folder / "out")

    return of


@pytest.mark.slow
@pytest.mark.parametrize("name", LONG_WORK)
def test_killed_work_resumes_to_the_same_bytes(tmp_path, name, unbroken):
    """Killed outright after one block and after three; each time it goes on from what was there."""
    blocks = tmp_path / "out.partial" / "blocks"
    for wanted in (1, 3):
        run = long_work(tmp_path, name, "--out", "out", *(["--resume"] if wanted > 1 else []))
        until = time.monotonic() + 240
        while len(list(blocks.glob("*.block")) if blocks.exists() else []) < wanted and run.poll() is None:
            assert time.monotonic() < until
            time.sleep(0.01)
        run.send_signal(signal.SIGKILL)
        assert run.communicate(timeout=60)[1] == b"" and run.returncode == -signal.SIGKILL
        assert not (tmp_path / "out").exists()
    run = long_work(tmp_path, name, "--out", "out", "--resume")
    assert (run.communicate(timeout=240)[1], run.returncode) == (b"", 0)
    assert contents(tmp_path / "out") == unbroken(name)
    assert ("posterior.nc" in contents(tmp_path / "out")) == (name == "update")


def test_a_second_run_into_the_same_folder_is_refused_and_the_first_goes_on(tmp_path):
    first = Output(tmp_path / "out", RUN)
    first.save("one", BLOCK)
    for resume in (False, True):
        with pytest.raises(InputError, match="in which another run is at work, needs a folder of its own"):
            Output(tmp_path / "out", RUN, resume=resume)
    assert first.load("one") is not None
    first.finish(FILES)
    assert contents(tmp_path / "out").keys() == {*FILES, "pondpop.json"}
    Output(tmp_path / "out", RUN).finish(FILES)  # the first has let go, and so does one that is forgotten
    Output(tmp_path / "out", RUN)
    Output(tmp_path / "out", RUN)


def test_an_altered_block_is_made_again(tmp_path):
    """No byte of a kept block can be another, and none be missing, without its being noticed."""
    output = Output(tmp_path / "out", RUN)
    output.save("one", {"number": np.arange(6.0), "biomass": np.ones(2)})
    (file,) = output.blocks.iterdir()
    whole = file.read_bytes()
    for at in range(len(whole)):
        changed = bytearray(whole)
        changed[at] ^= 1 + at % 255
        file.write_bytes(changed)
        assert output.load("one") is None, at
        file.write_bytes(whole[:at])
        assert output.load("one") is None, at
    file.write_bytes(whole)
    assert output.load("one").keys() == {"number", "biomass"}


@pytest.mark.parametrize(
    "arguments",
    [
        ("sweep", "--vary", "pond.cover=1,2", "--survivors", "nobody"),
        ("sweep", "--vary", "strategies.few.title=1"),
        ("quota", "--strategy", "nobody"),
        ("update", "--records", ".", "--strategy", "nobody"),
    ],
)
def test_a_wrong_question_leaves_nothing_behind(tmp_path, arguments, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "pond.toml").write_text(TEXT.replace("years = 1", "years = 2"), "utf-8")
    (tmp_path / "survey.csv").write_text("date,gear,species,length_in\n2024-04-10,seine,bluegill,3\n", "utf-8")
    before = contents(tmp_path)
    status, out, err = asked(arguments[0], "pond.toml", *arguments[1:], "--out", "out")
    assert (status, out, err.count("\n")) == (2, "", 1), err
    assert contents(tmp_path) == before and not (tmp_path / "out.partial").exists()


# ---------------------------------------------------------------------- full disks and missing permission


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    """A scenario file and the folder that `compare` made of it."""
    folder = tmp_path_factory.mktemp("result")
    file = folder / "pond.toml"
    file.write_text(TEXT.replace("members = 3", "members = 1"), "utf-8")
    with contextlib.redirect_stdout(io.StringIO()):
        assert cli.main(["compare", str(file), "--out", str(folder / "out")]) == 0
    return folder


@pytest.mark.parametrize("bytes_allowed", [0, 100, 5_000, 60_000])
def test_a_full_disk_is_told_in_one_line_leaves_the_old_files_and_can_be_resumed(result, bytes_allowed):
    before = contents(result / "out")

    def work() -> int:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (bytes_allowed, bytes_allowed))
        return cli.main(["compare", str(result / "pond.toml"), "--out", str(result / "out")])

    status, said = in_child(work)
    assert (status, said.count("\n")) == (1, 1), said
    assert said.startswith("pondpop: ") and "may not become so large" in said
    assert contents(result / "out") == before
    assert asked("compare", result / "pond.toml", "--out", result / "out", "--resume")[0] == 0
    assert contents(result / "out") == before and not (result / "out.partial").exists()


@pytest.mark.slow
@pytest.mark.parametrize(("name", "bytes_allowed"), [("quota", 20_000), ("update", 0), ("update", 10_000), ("update", 25_000)])
def test_searches_and_updates_that_find_the_disk_full_say_so_and_go_on_to_the_same_bytes(
    tmp_path, monkeypatch, name, bytes_allowed, unbroken
):
    """No file, no block, or all blocks but not the largest file: one line, no result, and what was kept is gone on from."""
    write_inputs(tmp_path)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("pondpop.ensemble.run.BLOCK_MEMBERS", int(LONG_WORK[name][0]))
    monkeypatch.setattr("pondpop.update.LEAST_EFFECTIVE", 2.0)  # it concludes something
    monkeypatch.setattr("pondpop.update.FAR_OUT", 1e9)
    words = (*LONG_WORK[name][1:], "--workers", "1", "--out")

    def work() -> int:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (bytes_allowed, bytes_allowed))
        return cli.main([*words, "out"])

    status, said = in_child(work)
    assert (status, said.count("\n")) == (1, 1), said
    assert said.startswith("pondpop: ") and "may not become so large" in said
    assert not Path("out").exists()
    kept = len(list(Path("out.partial/blocks").glob("*.block")))
    assert (kept > 0) == (bytes_allowed == 25_000)  # how many stages an update takes is the model's affair
    assert asked(*words, "out", "--resume")[0] == 0
    assert contents(tmp_path / "out") == unbroken(name)
    assert not Path("out.partial").exists()


@pytest.mark.parametrize("bytes_allowed", [0, 1000])
def test_a_report_that_finds_the_disk_full_leaves_the_old_one(result, bytes_allowed):
    page = result / "out" / "report.html"
    before = contents(result)

    def work() -> int:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (bytes_allowed, bytes_allowed))
        return cli.main(["report", str(page.with_name("projection.nc"))])

    status, said = in_child(work)
    assert (status, said.count("\n")) == (1, 1), said
    assert page.read_bytes() == before["out/report.html"]


def test_a_full_disk_under_the_standard_output_is_told(result):
    with open("/dev/full", "w") as full:
        command = [sys.executable, "-m", "pondpop", "check", str(result / "pond.toml")]
        done = subprocess.run(
            command, stdout=full, stderr=subprocess.PIPE, text=True, env=os.environ | {"PYTHONPATH": str(ROOT)}
        )
    assert (done.returncode, done.stderr.count("\n")) == (1, 1), done.stderr
    assert "the disk is full" in done.stderr


def test_without_a_standard_output_the_work_is_done(result, monkeypatch):
    monkeypatch.setattr(sys, "stdout", None)
    assert cli.main(["check", str(result / "pond.toml")]) == 0


def test_too_little_memory_is_told(result, monkeypatch):
    def greedy(*_, **__):
        raise MemoryError

    monkeypatch.setattr("pondpop.ensemble.run.run_job", greedy)
    before = contents(result / "out")
    status, out, err = asked("compare", result / "pond.toml", "--out", result / "out")
    assert (status, out) == (1, "")
    assert err == "pondpop: not enough memory; ask for fewer members, workers or strategies\n"
    assert contents(result / "out") == before


def test_missing_permission_is_told_in_one_line_and_leaves_the_old_files(result):
    """Also of root, to whom nothing is forbidden: the child becomes nobody."""
    with tempfile.TemporaryDirectory() as folder:  # not below a folder of pytest's, which nobody may enter
        home = Path(folder) / "home"
        shutil.copytree(result, home)
        before = contents(home)

        def work() -> int:
            if os.geteuid() == 0:
                os.seteuid(65534)
            return cli.main(["compare", str(home / "pond.toml"), "--out", str(home / "out")])

        os.chmod(folder, 0o755)
        os.chmod(home, 0o555)
        status, said = in_child(work)
        os.chmod(home, 0o755)
        assert (status, said.count("\n")) == (1, 1), said
        assert "you may not read or write there" in said
        assert contents(home) == before


# ---------------------------------------------------------------------- damaged projection files


@pytest.fixture(scope="module")
def projection(tmp_path_factory):
    dataset = compare(pond(members=1, only="few"))
    path = tmp_path_factory.mktemp("projection") / "projection.nc"
    results.write(dataset, path)
    return path.read_bytes(), results.content_hash(dataset)


def refused_or_the_same(data: bytes, folder: Path, wanted: str) -> bool:
    path = folder / "other.nc"
    path.write_bytes(data)
    with in_good_time(60):
        try:
            found = results.read(path)
        except (InputError, RunError) as error:  # of the first bytes, by which its kind is known
            assert str(error).startswith(f"{path}: ") and "\n" not in str(error)
            return True
    assert results.content_hash(found) == wanted
    return False


@settings(max_examples=60)
@given(st.data())
def test_a_cut_projection_is_refused(projection, tmp_path_factory, data):
    whole, wanted = projection
    size = data.draw(st.one_of(st.integers(0, len(whole) - 1), st.integers(0, 4000), st.just(len(whole) - 1)))
    assert refused_or_the_same(whole[:size], tmp_path_factory.getbasetemp(), wanted)


@settings(max_examples=120)
@given(st.data())
def test_an_altered_projection_is_refused_or_reads_as_it_was(projection, tmp_path_factory, data):
    """Every byte counts, in the header and in the numbers; what is between them may hold anything."""
    whole, wanted = projection
    at = data.draw(st.one_of(st.integers(0, len(whole) - 1), st.integers(0, 6000)))
    changed = bytearray(whole)
    changed[at] ^= data.draw(st.integers(1, 255))
    refused_or_the_same(bytes(changed), tmp_path_factory.getbasetemp(), wanted)


@pytest.mark.parametrize("share", [0.3, 0.6, 0.95])
def test_an_altered_number_is_refused(projection, tmp_path, share):
    whole, wanted = projection
    changed = bytearray(whole)
    start = int(share * len(whole)) // 8 * 8
    changed[start : start + 64] = bytes(b ^ 1 for b in changed[start : start + 64])
    assert refused_or_the_same(bytes(changed), tmp_path, wanted)


def changed_file(original: Path, path: Path, change: Callable[[Any], None]) -> Path:
    """A projection file to which something was done, and which is sound netCDF."""
    import xarray as xr

    with xr.open_dataset(original, engine="scipy", decode_times=False, mask_and_scale=False) as opened:
        plain = opened.load()
    change(plain)
    plain.to_netcdf(path, engine="scipy", format="NETCDF3_64BIT")
    return path


@pytest.mark.parametrize("version", [np.int32(99), np.int32(0), 1.5, "one", np.array([1, 1], np.int32), None])
def test_another_schema_version_is_refused_with_the_reason(result, tmp_path, version):
    def change(plain):
        plain.attrs["schema_version"] = version
        if version is None:
            del plain.attrs["schema_version"]

    path = changed_file(result / "out" / "projection.nc", tmp_path / "projection.nc", change)
    status, out, err = asked("report", path)
    assert (status, out, err.count("\n")) == (1, "", 1)
    assert f"schema version {version}, this pondpop reads version 3" in err
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize(
    "change",
    [
        lambda plain: plain.update({"species": plain["species"][::-1].values}),
        lambda plain: plain.update({"species": ["bass", "bluegill", "shad", "minnow", "x" * 1000]}),
        lambda plain: plain.update({"species": [1, 2, 3, 4, 5]}),
        lambda plain: plain["number"].attrs.update(units="fish acre-1"),
        lambda plain: plain["month"].attrs.update(units="hours since 1970-01-01"),
        lambda plain: plain.attrs.update(content_hash=np.int32(1)),
        lambda plain: plain.attrs.pop("content_hash"),
        lambda plain: plain.attrs.update(area_ha=2.0),
        lambda plain: plain.__delitem__("number"),
    ],
)
def test_a_file_with_other_contents_is_refused(result, tmp_path, change):
    path = changed_file(result / "out" / "projection.nc", tmp_path / "projection.nc", change)
    status, out, err = asked("report", path)
    assert (status, out, err.count("\n")) == (1, "", 1)
    assert "make it again" in err


@pytest.fixture(scope="module")
def ensemble(tmp_path_factory):
    """The file of a small ensemble and what says whether two are the same."""
    scenario = pond(only="few")
    until = scenario.run.survey_dates[1]
    past = prior_uniforms(up_to(scenario, "few", until), "few", until, ())
    strategy = scenario.strategies["few"]
    posterior = Posterior({k: u[:2] for k, u in past.items()}, until, history(scenario, strategy, until), {"seed": "1"})
    path = tmp_path_factory.mktemp("ensemble") / "posterior.nc"
    write_ensemble(posterior, path)
    return path.read_bytes(), posterior.identity


def same_ensemble(path: Path, wanted: str) -> bool:
    """False if it is refused; one that is read must be the one that was written."""
    try:
        found = read_ensemble(path)
    except (InputError, RunError) as error:
        assert str(error).startswith(f"{path}: ") and "\n" not in str(error)
        return False
    assert found.identity == wanted
    return True


def test_an_ensemble_of_which_a_name_was_altered_is_refused(ensemble, tmp_path):
    """Else what was learned of that decision would be dropped in silence."""
    whole, wanted = ensemble
    path = tmp_path / "posterior.nc"
    path.write_bytes(whole)
    assert same_ensemble(path, wanted)
    for name in (b"productivity", b"growth of bass", b"weather of the year"):
        assert whole.count(name) == 1
        path.write_bytes(whole.replace(name, name.upper()))
        assert not same_ensemble(path, wanted)


@settings(max_examples=150)
@given(st.data())
def test_a_damaged_ensemble_is_refused_or_reads_as_it_was(ensemble, tmp_path_factory, data):
    whole, wanted = ensemble
    at = data.draw(st.integers(0, len(whole) - 1))
    changed = bytearray(whole)
    changed[at] ^= data.draw(st.integers(1, 255))
    path = tmp_path_factory.getbasetemp() / "posterior.nc"
    path.write_bytes(bytes(changed) if data.draw(st.booleans()) else whole[:at])
    same_ensemble(path, wanted)


@pytest.mark.parametrize("kind", ["pipe", "folder", "text", "projection"])
def test_what_is_no_ensemble_is_refused_and_nothing_is_written(result, tmp_path, kind):
    path = tmp_path / "posterior.nc"
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    elif kind == "text":
        path.write_text("strategy,date\n")
    else:
        shutil.copy(result / "out" / "projection.nc", path)
    status, out, err = asked("compare", result / "pond.toml", "--ensemble", path, "--out", tmp_path / "out")
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert str(path) in err and "internal fault" not in err
    assert list(tmp_path.iterdir()) == [path]


def test_a_pipe_is_no_projection_and_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "projection.nc")
    status, out, err = asked("report", tmp_path / "projection.nc")
    assert (status, out) == (2, "") and "projection.nc: got no ordinary file" in err


@pytest.mark.parametrize(
    "content",
    [b"", b"CDF", b"CDF\x01", b"CDF\x02" + b"\xff" * 64, b"CDF\x05" + b"\0" * 40, b"\x89HDF\r\n\x1a\n", b"x" * 99, TEXT.encode()],
)
def test_what_is_no_projection_is_refused(tmp_path, content):
    path = tmp_path / "projection.nc"
    path.write_bytes(content)
    status, out, err = asked("report", path)
    another = not b"CDF".startswith(content[:3])  # another file than was meant is wrong; a damaged one cannot be read
    assert (status, out, err.count("\n")) == (2 if another else 1, "", 1)
    assert str(path) in err and "internal fault" not in err and ("got a file of another kind" in err) == another
