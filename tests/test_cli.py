"""The command line: statuses, single lines, and nothing imported before it is needed."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

import pondpop
from pondpop import cli
from pondpop.checks import RunError

ROOT = Path(__file__).parent.parent
SCENARIO = ROOT / "scenarios" / "predators_75_or_100.toml"
HEAVY = ("numpy", "scipy", "xarray", "matplotlib", "pandas")


def run(*arguments, **options):
    command = [sys.executable, "-m", "pondpop", *map(str, arguments)]
    env = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"} | options.pop("env", {})
    return subprocess.run(command, capture_output=True, text=True, encoding="utf-8", timeout=60, env=env, **options)


@pytest.mark.parametrize(
    "arguments",
    [["--help"], ["--version"], ["check", "--help"], ["check", str(SCENARIO)], ["check", "no_such_file"], ["sources"],
     ["keys"], ["keys", "all"]],
    ids=lambda a: a[0] + str(len(a)) + a[-1][-4:],
)  # fmt: skip
def test_the_standard_library_is_enough_before_work_begins(arguments):
    code = (
        "import sys; from pondpop import cli\n"
        "try: cli.main(sys.argv[1:])\n"
        "except SystemExit: pass\n"
        f"print([m for m in {HEAVY!r} if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code, *arguments], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1] == "[]"


def test_a_page_does_without_what_takes_long_to_import():
    code = "import sys, pondpop.report.page, pondpop.decide.console; print('scipy.stats' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stdout) == (0, "False\n"), done.stderr


def test_check_tells_what_was_understood(capsys):
    assert cli.main(["check", str(SCENARIO)]) == 0
    out, err = capsys.readouterr()
    assert "75 per acre (185 per ha), 255 in the pond" in out
    assert not err
    assert cli.main(["check", str(SCENARIO), "--units", "metric"]) == 0
    assert "185 per ha (75 per acre), 255 in the pond" in capsys.readouterr().out


def test_wrong_input_is_one_line_and_status_2(tmp_path):
    file = tmp_path / "pond.toml"
    file.write_text(SCENARIO.read_text("utf-8").replace("years = 8", "years = 80"), "utf-8")
    for command in ("check", "compare"):
        done = run(command, file, cwd=tmp_path)
        assert (done.returncode, done.stdout) == (2, "")
        assert done.stderr == f"pondpop: {file}: run.years: got 80, needs a whole number from 1 to 15\n"
    assert list(tmp_path.iterdir()) == [file]


@pytest.mark.parametrize("arguments", [[], ["chek"], ["check"], ["check", "a", "b"], ["check", "a", "--units", "si"]])
def test_a_wrong_command_is_one_line_and_status_2(arguments, capsys):
    with pytest.raises(SystemExit) as stop:
        cli.main(arguments)
    assert stop.value.code == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert "--help" in err


@pytest.mark.parametrize(("arguments", "says"), [
    (["check", "a", "--units", "si"], "--units: got \"si\", needs one of us, metric"),
    (["chek"], "COMMAND: got \"chek\", needs one of"),
])  # fmt: skip
def test_a_word_that_is_none_of_those_to_choose_from_is_told_as_every_other_refusal(arguments, says, capsys):
    with pytest.raises(SystemExit):
        cli.main(arguments)
    assert says in capsys.readouterr().err


VARY = "strategies.bass_75.stocking.bass"


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["sweep", SCENARIO, "--vary", f"{VARY}.date=2026-06-01..2026-08-01/10000000"], "a step of at most 61,"),
        (["sweep", SCENARIO, "--vary", f"{VARY}.per_acre=50..100/60"], "a step of at most 50,"),
        (["sweep", SCENARIO, "--vary", f"{VARY}.date=2026-06-01..2026-08-01/1.5"], "a whole number of days"),
        (["sweep", SCENARIO, "--vary", f"{VARY}.date=2026-06-01..9999-12-31/1"], "at most 200"),
        (["sweep", SCENARIO, "--vary", "title=a,b"], "title: got a sweep over it"),
        (["sweep", SCENARIO, "--vary", "strategies.bass_75.title=a,b"], "title: got a sweep over it"),
        (["sweep", SCENARIO, "--vary", f"{VARY}.per_acre=1,1"], "got 1 more than once, needs every value once"),
        (["sweep", SCENARIO, "--vary", f"{VARY}.per_acre=75,75.0"], "every value once"),
        (["sweep", SCENARIO, "--vary", f"{VARY}.per_acre=７５"], '--vary: got "７５", needs plain'),
        (["sweep", SCENARIO, "--vary", f"{VARY}.per_acre=７５..９０/5"], "needs plain letters and digits"),
        (["sweep", SCENARIO, "--vary", f"{VARY}.per_acre=75..90/５"], "a step above 0"),
        (["sweep", SCENARIO, "--vary", f"{VARY}.per_acre=1_0"], 'got "1_0", needs a number'),
        (["quota", SCENARIO, "--window-in", "８..12"], "FROM..TO"),
        (["compare", SCENARIO, "--members", "５"], "--members: got \"５\", needs a whole number"),
        (["compare", SCENARIO, "--members", "1_0"], "--members: got \"1_0\", needs a whole number"),
        (["quota", SCENARIO, "--wr-floor", "９0"], "--wr-floor: got \"９0\", needs a number"),
        (["report", "."], ".: got a folder with nothing of the kind, needs a result of compare, quota, plan or verify"),
        (["report", ""], 'RESULT: got "", needs a path'),  # not the folder one stands in
        (["report", "no_such.nc"], "no_such.nc: got no such file"),
        (["report", SCENARIO, "--out", "."], "--out: got"),
        (["report", SCENARIO, "--out", SCENARIO], "a file name that ends in .html"),
        (["report", SCENARIO, "--out", "/dev/null"], "a file name that ends in .html"),
        (["compare", SCENARIO, "--out", ""], '--out: got "", needs a path'),
        (["compare", SCENARIO, "--ensemble", "."], ".: got a folder, needs a file that holds an ensemble"),
    ],
)  # fmt: skip
def test_wrong_options_are_refused_before_any_work(tmp_path, monkeypatch, arguments, says, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "thesis.txt").write_text("ten years of work")
    monkeypatch.setattr("pondpop.ensemble.run.run_job", lambda job: pytest.fail("work was begun"))
    try:
        status = cli.main([str(a) for a in arguments])
    except SystemExit as stop:
        status = stop.code
    out, err = capsys.readouterr()
    assert (status, out, err.count("\n")) == (2, "", 1), err
    assert says in err
    assert os.listdir(tmp_path) == ["thesis.txt"]


@pytest.mark.parametrize("command", ["compare", "report"])
def test_a_setting_with_which_nothing_can_be_drawn_is_refused_before_any_work(tmp_path, command):
    (tmp_path / "projection.nc").write_bytes(b"CDF")
    file = SCENARIO if command == "compare" else "projection.nc"
    done = run(command, file, cwd=tmp_path, env={"MPLBACKEND": "nonsense"})
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1), done.stderr
    assert done.stderr.startswith('pondpop: MPLBACKEND: got "nonsense", needs')
    assert os.listdir(tmp_path) == ["projection.nc"]


@pytest.mark.parametrize("name", ["_", "__", "_-_"])
def test_a_strategy_has_a_name_that_can_be_said(tmp_path, name, capsys):
    file = tmp_path / "pond.toml"
    file.write_text(SCENARIO.read_text("utf-8").replace("strategies.bass_75", f"strategies.{name}"), "utf-8")
    assert cli.main(["compare", str(file), "--out", str(tmp_path / "out")]) == 2
    assert "a letter or digit among them" in capsys.readouterr().err
    assert os.listdir(tmp_path) == ["pond.toml"]


def test_no_raw_error_number_reaches_the_user(tmp_path, capsys):
    assert cli.main(["compare", str(SCENARIO), "--out", "/proc/x"]) == 1
    err = capsys.readouterr().err
    assert "/proc/x.partial: " in err and "Errno" not in err and err.count("\n") == 1


def test_the_version(capsys):
    with pytest.raises(SystemExit) as stop:
        cli.main(["--version"])
    assert stop.value.code == 0
    assert capsys.readouterr().out == f"pondpop {pondpop.__version__}\n"


@pytest.mark.parametrize(
    ("error", "status", "says"),
    [
        (KeyboardInterrupt(), 130, "interrupted"),
        (OSError(28, "No space left on device", "out.partial"), 1, "out.partial: the disk is full"),
        (OSError(1234, "Odd things happened"), 1, "Odd things happened"),
        (RunError("the state is not finite"), 1, "the state is not finite"),
        (ZeroDivisionError("two\nlines"), 1, "internal fault"),
    ],
)
def test_other_failures_are_one_line_with_their_status(monkeypatch, capsys, error, status, says):
    def fail(given):
        raise error

    monkeypatch.setattr("pondpop.commands.check", fail)
    assert cli.main(["check", "x"]) == status
    err = capsys.readouterr().err
    assert says in err
    assert err.count("\n") == 1


def test_a_closed_pipe_is_no_complaint():
    reader, writer = os.pipe()
    os.close(reader)
    command = [sys.executable, "-m", "pondpop", "check", str(SCENARIO)]
    env = os.environ | {"PYTHONPATH": str(ROOT)}
    done = subprocess.run(command, stdout=writer, stderr=subprocess.PIPE, text=True, timeout=60, env=env)
    os.close(writer)
    assert (done.returncode, done.stderr) == (1, "")


def test_a_terminal_without_our_signs_still_works(tmp_path):
    done = run("check", SCENARIO, env={"PYTHONIOENCODING": "ascii"})
    assert done.returncode == 0, done.stderr


def test_the_package_loads_lazily_and_knows_its_names():
    assert pondpop.load(SCENARIO).title
    with pytest.raises(AttributeError, match="laod"):
        _ = pondpop.laod
