"""The command line: statuses, single lines, and nothing imported before it is needed."""

import os
import re
import signal
import subprocess
import sys
import threading
import time
from datetime import date
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
        (["quota", SCENARIO, "--window-mm", "8..12"], "for inches write --window-in 8..12"),
        (["quota", SCENARIO, "--strategy", "nobody"], '--strategy: got "nobody", needs one of bass_75, bass_100'),
        (["quota", SCENARIO, "--from-year", "2029"], "years count from 1, which is 2026; 2029 is year 4"),
        (["sweep", SCENARIO, "--vary", f"{VARY}.per_acre=50..100"], "a range with a step, such as 75..100/5"),
        (["sweep", SCENARIO, "--vary", f"{VARY}.date=2026-06-01..2026-08-01"], "a range with a step"),
        (["plan", SCENARIO, "--vary", f"{VARY}.per_acre=75"], "got 1 plan, needs 2 to 1,000,000 plans; give several values"),
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
        (MemoryError(), 1, "not enough memory; ask for fewer members"),
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


def test_signals_are_answered_as_before_when_a_command_has_ended(monkeypatch):
    monkeypatch.setattr("pondpop.commands.check", lambda given: during.append(signal.getsignal(signal.SIGTERM)))
    before, during = [signal.getsignal(sign) for sign in (signal.SIGINT, signal.SIGTERM)], []
    assert cli.main(["check", "x"]) == 0
    assert [signal.getsignal(sign) for sign in (signal.SIGINT, signal.SIGTERM)] == before
    assert during != [before[1]]


def test_once_asked_to_end_a_command_leaves_everything_in_order_undisturbed(monkeypatch):
    left = []

    def stubborn(given):
        try:
            signal.raise_signal(signal.SIGTERM)
        except KeyboardInterrupt:
            for sign in (signal.SIGTERM, signal.SIGINT):
                signal.raise_signal(sign)
            left.append("in order")
            raise

    monkeypatch.setattr("pondpop.commands.check", stubborn)
    before = {sign: signal.getsignal(sign) for sign in (signal.SIGINT, signal.SIGTERM)}
    try:
        assert cli.main(["check", "x"]) == 130 and left == ["in order"]
        assert {signal.getsignal(sign) for sign in before} == {signal.SIG_IGN}  # until the process ends
    finally:
        for sign, how in before.items():
            signal.signal(sign, how)


@pytest.mark.parametrize("slow", [0.0, 0.2])
def test_to_be_asked_to_end_while_something_is_finalised_is_not_forgotten(slow, monkeypatch, capsys):
    """Nor where the machine takes long to begin a thread, as a busy one does."""
    start = threading.Thread.start
    monkeypatch.setattr(threading.Thread, "start", lambda thread: (start(thread), time.sleep(slow)))

    class Finalised:
        def __del__(self):
            signal.raise_signal(signal.SIGTERM)  # Python loses what is raised here

    went_on = []

    def deaf(given):
        Finalised()
        time.sleep(5)
        went_on.append(given)

    monkeypatch.setattr("pondpop.commands.check", deaf)
    before, hook = {sign: signal.getsignal(sign) for sign in (signal.SIGINT, signal.SIGTERM)}, sys.unraisablehook
    try:
        assert cli.main(["check", "x"]) == 130 and went_on == []
        assert {signal.getsignal(sign) for sign in before} == {signal.SIG_IGN} and sys.unraisablehook is hook
        assert capsys.readouterr().err.count("\n") == 1
    finally:
        for sign, how in before.items():
            signal.signal(sign, how)


def test_to_be_asked_to_end_as_a_command_ends_disturbs_nothing_after_it(monkeypatch):
    class Finalised:
        def __del__(self):
            signal.raise_signal(signal.SIGTERM)

    monkeypatch.setattr("pondpop.commands.check", lambda given: Finalised() and None)
    before = {sign: signal.getsignal(sign) for sign in (signal.SIGINT, signal.SIGTERM)}
    try:
        assert cli.main(["check", "x"]) == 0
        time.sleep(0.1)
        assert {signal.getsignal(sign) for sign in before} == {signal.SIG_IGN}
    finally:
        for sign, how in before.items():
            signal.signal(sign, how)


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


EVERY_OPTION = {
    "begin pond --question harvest --units metric": {"folder": Path("pond"), "question": "harvest", "units": "metric"},
    "check a.toml --units us": {"file": "a.toml", "units": "us"},
    "compare a.toml b.toml --out o --members 3 --workers 2 --resume --replace --ensemble e --details --against x "
    "--today 2027-06-05 --units us": {
        "files": ["a.toml", "b.toml"], "out": Path("o"), "members": 3, "workers": 2, "resume": True, "replace": True,
        "ensemble": Path("e"), "details": True, "against": "x", "today": date(2027, 6, 5), "units": "us",
    },
    "sweep a.toml --vary p=1 --vary q=2 --survivors g --keep-share .4 --with-probability .7 --out o --members 3 --workers 2 "
    "--resume --replace --ensemble e --details --units us": {
        "file": "a.toml", "vary": ["p=1", "q=2"], "survivors": "g", "keep_share": 0.4, "with_probability": 0.7, "out": Path("o"),
        "members": 3, "workers": 2, "resume": True, "replace": True, "ensemble": Path("e"), "details": True, "units": "us",
    },
    "quota a.toml --strategy s --window-in 8..12 --window-in 15..20 --window-mm 9..90 --from-year 2 --wr-floor 90 "
    "--with-probability .7 --search-members 5 --tries 6 --out o --members 3 --workers 2 --resume --replace --ensemble e "
    "--details --units us": {
        "file": "a.toml", "strategy": "s", "window_in": ["8..12", "15..20"], "window_mm": ["9..90"], "from_year": 2,
        "wr_floor": 90.0, "with_probability": 0.7, "search_members": 5, "tries": 6, "out": Path("o"), "members": 3,
        "workers": 2, "resume": True, "replace": True, "ensemble": Path("e"), "details": True, "units": "us",
    },
    "plan a.toml --vary p=1 --vary q=2 --strategy s --budget 9.5 --survey v --search-members 5 --out o --members 3 --workers 2 "
    "--resume --replace --ensemble e --details --units us": {
        "file": "a.toml", "vary": ["p=1", "q=2"], "strategy": "s", "budget": 9.5, "survey": "v", "search_members": 5,
        "out": Path("o"), "members": 3, "workers": 2, "resume": True, "replace": True, "ensemble": Path("e"), "details": True,
        "units": "us",
    },
    "update a.toml --records r --strategy s --strict --details --seed 7 --out o --members 3 --workers 2 --resume --replace "
    "--units us": {
        "file": "a.toml", "records": Path("r"), "strategy": "s", "strict": True, "details": True, "seed": 7, "out": Path("o"),
        "members": 3, "workers": 2, "resume": True, "replace": True, "units": "us",
    },
    "verify p.nc --records r --strategy s --since 2027-06-05 --strict --out o --workers 2 --resume --replace --ensemble e "
    "--units us": {
        "file": Path("p.nc"), "records": Path("r"), "strategy": "s", "since": date(2027, 6, 5), "strict": True, "out": Path("o"),
        "workers": 2, "resume": True, "replace": True, "ensemble": Path("e"), "units": "us",
    },
    "report r q --out o.html --replace --today 2027-06-05 --pond a --client b --consultant c --units us": {
        "files": [Path("r"), Path("q")], "out": Path("o.html"), "replace": True, "today": date(2027, 6, 5), "pond": "a",
        "client": "b", "consultant": "c", "units": "us",
    },
    "assess r --out o --pond a --client b --consultant c --strict --details --units metric": {
        "folder": Path("r"), "out": Path("o"), "pond": "a", "client": "b", "consultant": "c", "strict": True, "details": True,
        "units": "metric",
    },
    "keys stocking": {"table": "stocking"},
    "keys": {"table": ""},
    "sources": {},
}  # fmt: skip


@pytest.mark.parametrize("line", EVERY_OPTION, ids=lambda line: line.split()[0])
def test_every_option_is_taken_as_it_is_given_and_there_are_no_others(line):
    given = vars(cli._parser().parse_args(line.split()))
    assert given == EVERY_OPTION[line] | {"command": line.split()[0]}


def options():
    (commands,) = (one for one in cli._parser()._actions if one.dest == "command")
    return [(name, option) for name, parser in commands.choices.items() for option in parser._actions]


def test_the_default_that_help_tells_is_the_one_that_is_used():
    says = re.compile(r"(\w+) \(default\)|default: ([\d.]+|us)\)")
    told = [(name, option, says.search(option.help or "")) for name, option in options()]
    found = {f"{name} {option.dest}": str(option.default) for name, option, said in told if said}
    assert found == {f"{name} {option.dest}": said[1] or said[2] for name, option, said in told if said}
    assert len(found) == 8


@pytest.mark.parametrize("line", ["sweep a", "plan a", "update a", "verify a", "compare", "report", "keys a b"])
def test_what_a_command_cannot_do_without_is_asked_for(line, capsys):
    with pytest.raises(SystemExit) as stop:
        cli.main(line.split())
    assert stop.value.code == 2 and capsys.readouterr().err.count("\n") == 1


@pytest.mark.parametrize(
    ("words", "allowed"),
    [
        ("compare {} --members 0", "a whole number from 1 to 10,000"),
        ("compare {} --members 10001", "a whole number from 1 to 10,000"),
        ("compare {} --workers 0", "a whole number from 1 to 256"),
        ("compare {} --workers 257", "a whole number from 1 to 256"),
        ("compare {} --members " + "9" * 30, "a whole number from 1 to 10,000"),
        ("compare {} --members " + "9" * 31, "needs a whole number; see"),
        ("verify {} --records . --workers 257", "a whole number from 1 to 256"),
        ("update {} --records . --seed -1", f"a whole number from 0 to {2**63 - 1:,}"),
        (f"update {{}} --records . --seed {2**63}", f"a whole number from 0 to {2**63 - 1:,}"),
        ("sweep {} --vary a=1 --keep-share 1.01", "a number from 0 to 1"),
        ("sweep {} --vary a=1 --keep-share -0.01", "a number from 0 to 1"),
        ("sweep {} --vary a=1 --with-probability 1.01", "a number from 0 to 1"),
        ("quota {} --with-probability -0.01", "a number from 0 to 1"),
        ("quota {} --search-members 1001", "a whole number from 1 to 1,000"),
        ("quota {} --tries -1", "a whole number from 0 to 500"),
        ("quota {} --wr-floor 49", "a number from 50 to 130"),
        ("quota {} --window-in 0.1..5", "0.2"),
        ("quota {} --window-in 5..36", "35"),
        ("quota {} --window-mm 4..200", "both from 5 to 889"),
        ("quota {} --window-mm 200..300 --window-in 8..12", "--window-in is given too"),
        ("quota {} --units metric --window-mm 200..300 --window-mm 250..400", "got 200..300 and 250..400 mm, which overlap"),
        ("plan {} --vary a=1 --search-members 0", "a whole number from 1 to 1,000"),
    ],
)
def test_numbers_of_options_have_bounds_that_are_told(words, allowed, capsys):
    try:
        status = cli.main(words.format(SCENARIO).split())
    except SystemExit as stop:
        status = stop.code
    out, err = capsys.readouterr()
    assert (status, out, err.count("\n")) == (2, "", 1) and allowed in err, err


def test_a_command_has_one_thread_unless_told_otherwise(monkeypatch, capsys):
    monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
    monkeypatch.setenv("OMP_NUM_THREADS", "3")
    assert cli.main(["keys"]) == 0 and capsys.readouterr().out
    assert (os.environ["OPENBLAS_NUM_THREADS"], os.environ["OMP_NUM_THREADS"]) == ("1", "3")
