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
    [["--help"], ["--version"], ["check", "--help"], ["check", str(SCENARIO)], ["check", "no_such_file"], ["sources"]],
    ids=lambda a: a[0] + str(len(a)) + a[-1][-4:],
)
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


def test_the_version(capsys):
    with pytest.raises(SystemExit) as stop:
        cli.main(["--version"])
    assert stop.value.code == 0
    assert capsys.readouterr().out == f"pondpop {pondpop.__version__}\n"


@pytest.mark.parametrize(
    ("error", "status", "says"),
    [
        (KeyboardInterrupt(), 130, "interrupted"),
        (OSError(28, "No space left on device"), 1, "No space left"),
        (RunError("the state is not finite"), 1, "the state is not finite"),
        (ZeroDivisionError("two\nlines"), 1, "internal fault"),
    ],
)
def test_other_failures_are_one_line_with_their_status(monkeypatch, capsys, error, status, says):
    def fail(given):
        raise error

    monkeypatch.setattr(cli, "_check", fail)
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
