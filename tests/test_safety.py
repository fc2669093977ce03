"""A file from someone else can do no harm: it reaches no other file, runs nothing, calls no one, marks up nothing."""

from __future__ import annotations

import csv
import io
import os
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest
from commands import asked
from hypothesis_ponds import toml
from small import raw

from pondpop.checks import InputError
from pondpop.ensemble import results
from pondpop.ensemble.run import compare
from pondpop.ensemble.store import Output
from pondpop.report import write_report
from pondpop.scenario import load, resolve

ROOT = Path(__file__).parent.parent
RUN = {"scenario": "one"}
SCRIPT = "<script>alert(1)</script>"
EVIL = {
    "title": f'{SCRIPT}"><img src=x onerror=alert(1)> =1+1',
    "consultant": '=HYPERLINK("http://192.0.2.1","click") <a href=\'javascript:alert(1)\'>',
    "note": f"</pre></p>{SCRIPT}\n<iframe src=//192.0.2.1></iframe>\n&lt;b&gt;",
    "strategy": f"</title></style>{SCRIPT}<svg onload=alert(1)>",
    "reason": "<style>*{display:none}</style>@SUM(1+1)",
    "origin": "--><script src=//192.0.2.1/x.js></script><!--",
}


def evil_scenario() -> dict:
    """A small pond in which every text that may be chosen freely is hostile."""
    scenario = raw(members=2)
    scenario["title"] = EVIL["title"]
    scenario["report"] = {"consultant": EVIL["consultant"], "note": EVIL["note"]}
    scenario["water"] = {"monthly_c": [9.0, 11, 15, 20, 25, 28, 30, 29, 27, 21, 16, 11], "origin": EVIL["origin"]}
    knowledge = {"species": "bass", "process": "growth", "multiplier": 1.1, "reason": EVIL["reason"]}
    scenario["local_knowledge"] = [knowledge]
    scenario["costs"] = {"per_bass": 1.0, "currency": "<b>=1+1"}
    for table in scenario["strategies"].values():
        table["title"] = EVIL["strategy"]
    return scenario


# ---------------------------------------------------------------------- paths


@pytest.fixture
def secret(tmp_path):
    home = tmp_path / "home"
    home.mkdir()
    (tmp_path / "secret.csv").write_text("date,water_c\npassword,hunter2\n", "utf-8")
    (home / "linked.csv").symlink_to(tmp_path / "secret.csv")
    return home


@pytest.mark.parametrize(
    "name",
    [
        "../secret.csv",
        "linked.csv",
        "/etc/passwd",
        "x/../../secret.csv",
        "./../home/../secret.csv",
        "~/x.csv",
        "//etc/passwd",
    ],
)
def test_a_scenario_reaches_no_file_outside_its_folder(secret, name):
    text = toml({k: v for k, v in raw().items() if k != "water"})
    (secret / "pond.toml").write_text(f"{text}[water]\nreadings_csv = {name!r}\n", "utf-8")
    status, out, err = asked("check", secret / "pond.toml")
    assert (status, out) == (2, "")
    assert "hunter2" not in err and "root:" not in err
    assert "in the scenario's folder" in err or "no such file" in err


@pytest.mark.parametrize(
    "name", ["../x", "/tmp/x", "a/b", "a\\b", "..", ".", "a.b", "con:", "-rf", "-", "=1", "+1", "@x"]
)
def test_names_are_no_paths_options_or_formulas(name):
    scenario = raw()
    scenario["strategies"] = {name: scenario["strategies"]["few"]}
    with pytest.raises(InputError):
        resolve(scenario)
    scenario = raw()
    scenario["stocking"][0]["name"] = name
    with pytest.raises(InputError):
        resolve(scenario)


def test_a_block_left_by_someone_else_cannot_run_code(tmp_path):
    import numpy as np

    class Runs:
        def __reduce__(self):
            return os.mkdir, (str(tmp_path / "ran"),)

    output = Output(tmp_path / "out", RUN)
    output.save("one", {"number": np.array([Runs()], dtype=object)})
    assert len(list(output.blocks.iterdir())) == 1
    assert output.load("one") is None
    assert not (tmp_path / "ran").exists()


# ---------------------------------------------------------------------- code and network

WATCHED = """
import os, sys
home = os.path.realpath(sys.argv[1])
told = []
def hook(event, arguments):
    first = event.split(".")[0]
    if first in ("socket", "subprocess", "urllib", "ftplib", "http", "smtplib", "webbrowser", "pty"):
        if event not in ("socket.__new__", "socket.gethostname"):
            told.append(event)
    elif event in ("os.system", "os.exec", "os.spawn", "os.posix_spawn", "os.fork", "pickle.find_class"):
        told.append(event)
    elif event == "open" and isinstance(arguments[0], str) and arguments[1] and set(str(arguments[1])) & set("wax+"):
        if not os.path.realpath(arguments[0]).startswith((home, "/dev/null")):
            told.append(f"wrote {arguments[0]}")
from pondpop import cli
import pondpop.ensemble.run, pondpop.ensemble.store, pondpop.decide.details, pondpop.decide.console, pondpop.report
import matplotlib.figure, scipy.stats
sys.dont_write_bytecode = True
sys.addaudithook(hook)
status = cli.main(sys.argv[2:])
print("STATUS", status, told)
"""


def test_comparing_a_hostile_scenario_calls_no_one_runs_nothing_and_writes_only_its_folder(tmp_path):
    file = tmp_path / "pond.toml"
    file.write_text(toml(evil_scenario()), "utf-8")
    command = [sys.executable, "-c", WATCHED, str(tmp_path), "compare", str(file), "--out", str(tmp_path / "out")]
    env = os.environ | {"PYTHONPATH": str(ROOT), "MPLCONFIGDIR": str(tmp_path)}
    done = subprocess.run(command, capture_output=True, text=True, timeout=300, env=env, cwd=tmp_path)
    assert done.stdout.splitlines()[-1] == "STATUS 0 []", done.stdout[-500:] + done.stderr
    assert not done.stderr
    assert_nothing_runs((tmp_path / "out" / "report.html").read_text("utf-8"))
    tables = [table.read_text("utf-8") for table in (tmp_path / "out").rglob("*.csv")]
    assert sum(text.count("\n") > 1 for text in tables) > 5  # some tables of this pond have no rows
    for text in tables:
        assert_no_formula(text)


# ---------------------------------------------------------------------- HTML


class Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.seen: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.words.append(data)


def assert_nothing_runs(page: str) -> None:
    """No element or attribute that loads or runs anything, whatever the texts hold."""
    tags = Tags()
    tags.feed(page)
    assert len(tags.seen) > 50
    for tag, attributes in tags.seen:
        assert tag not in ("script", "iframe", "object", "embed", "base", "form", "foreignobject", "audio", "video"), (
            tag
        )
        for name, value in attributes.items():
            assert not name.startswith("on"), (tag, name)
            if name in ("src", "href", "xlink:href", "action", "data", "srcset", "poster"):
                assert str(value).startswith(("#", "data:image/")), (tag, name, value)
            assert "javascript:" not in str(value), (tag, value)
    assert sum(tag == "style" for tag, _ in tags.seen) <= 2


@pytest.fixture(scope="module")
def evil():
    return compare(resolve(evil_scenario()))


def test_text_is_escaped_in_the_report_and_can_be_read_there(evil, tmp_path):
    write_report([evil], tmp_path / "report.html")
    page = (tmp_path / "report.html").read_text("utf-8")
    assert_nothing_runs(page)
    assert SCRIPT not in page
    tags = Tags()
    tags.feed(page)
    words = " ".join("".join(tags.words).split())
    for text in (EVIL["title"], EVIL["consultant"], *EVIL["note"].splitlines(), EVIL["strategy"]):
        assert " ".join(text.split()) in words, text


def test_the_check_of_html_notices_markup():
    for text in (SCRIPT, "<img src=x onerror=alert(1)>", "<a href=http://192.0.2.1>", "<iframe></iframe>"):
        with pytest.raises(AssertionError):
            assert_nothing_runs("<p>" * 60 + text)


# ---------------------------------------------------------------------- CSV


def assert_no_formula(text: str) -> None:
    """No cell that a spreadsheet would take for a formula: = + - @ or a control sign first, but for plain numbers."""
    rows = list(csv.reader(io.StringIO(text)))
    assert rows
    for row in rows:
        for cell in row:
            if cell[:1] in tuple("=+-@\t\r\n"):
                assert cell == "" or _is_number(cell), cell


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def test_the_check_of_csv_notices_formulas():
    assert_no_formula("a,b\n-1.5,1e-5\n")
    for cell in ("=1+1", "+A1", "-A1", "@SUM(A1)", "\tx"):
        with pytest.raises(AssertionError):
            assert_no_formula(f'a,b\nx,"{cell}"\n')


def test_no_table_of_an_assessment_holds_a_formula(tmp_path):
    folder = tmp_path / "records"
    folder.mkdir()
    (folder / "survey.csv").write_text(
        "date,gear,species,length_in,weight_lb,tag\n2024-04-10,angling,bass,12,0.9,=1+1\n2024-04-10,angling,bass,13,1,\n"
        "=1+1,angling,bass,13,1,\n2024-04-10,@x,+1,-1,=1,\n",
        "utf-8",
    )
    status, out, err = asked("assess", folder, "--out", tmp_path / "out")
    assert (status, err) == (0, "")
    assert "Left out, 3 rows" in out
    assert_no_formula((tmp_path / "out" / "assessment.csv").read_text("utf-8"))


def test_terminals_get_no_control_signs(tmp_path):
    """What a file says is shown, but nothing in it can move the cursor or recolour the screen."""
    scenario = raw()
    scenario["strategies"]["few"]["\x1b[31mx"] = 1
    file = tmp_path / "pond.toml"
    file.write_text(toml(scenario), "utf-8")
    status, _, err = asked("check", file)
    assert status == 2 and "\x1b" not in err and "x1b" in err


def test_the_projection_can_be_read_again_with_hostile_texts(evil, tmp_path):
    results.write(evil, tmp_path / "projection.nc")
    again = results.read(tmp_path / "projection.nc")
    assert again.attrs["title"] == EVIL["title"]
    (tmp_path / "again.toml").write_text(str(again.attrs["scenario"]), "utf-8")
    assert load(tmp_path / "again.toml").note == EVIL["note"]
