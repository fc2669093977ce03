"""What a command prints fits a plain terminal of 80 columns and 24 lines, for every scenario that is shipped."""

from pathlib import Path

import pytest

from pondpop import cli
from pondpop.decide.console import height

SCENARIOS = sorted((Path(__file__).parents[1] / "scenarios").glob("*.toml"))


@pytest.mark.slow
@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_the_answer_of_a_shipped_scenario_fits_a_plain_terminal(path, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert cli.main(["compare", str(path), "--members", "2", "--workers", "2"]) == 0
    text = capsys.readouterr().out
    assert height(text) <= 24 and max(len(line) for line in text.splitlines() if not line.startswith(str(tmp_path))) <= 80
