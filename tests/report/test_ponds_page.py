"""Several ponds in one command: each as alone, in one queue, with a page that leads to all."""

import re

import numpy as np
import pytest
from small import TEXT, raw

from pondpop import cli
from pondpop.ensemble.run import compare, compare_ponds
from pondpop.scenario import resolve


@pytest.fixture
def files(tmp_path):
    for name, acres in (("north", 2), ("south", 3)):
        text = TEXT.replace("small pond", f"{name} <pond>").replace("area_acres = 2", f"area_acres = {acres}")
        (tmp_path / f"{name}.toml").write_text(text)
    return tmp_path


def test_each_of_several_ponds_is_as_alone():
    one = resolve(raw())
    other = one._replace(pond=one.pond._replace(area_ha=2.0), ensemble=one.ensemble._replace(members=2))
    for pond, dataset in zip((one, other), compare_ponds([one, other]), strict=True):
        alone = compare(pond)
        assert dataset.attrs == alone.attrs
        assert all(np.array_equal(dataset[v].values, alone[v].values, equal_nan=True) for v in ("number", "biomass", "eaten"))


def test_the_command_writes_each_pond_and_a_page_that_leads_to_them(files, capsys):
    out = files / "out"
    ponds = [str(files / "north.toml"), str(files / "south.toml")]
    assert cli.main(["compare", *ponds, "--workers", "1", "--members", "2", "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert said.startswith("north: ") and "\nsouth: " in said
    page = (out / "index.html").read_text("utf-8")
    links = re.findall(r'href="([^"]*)"', page)
    assert links == ["north/report.html", "south/report.html"] and all((out / link).is_file() for link in links)
    assert page.count("north &lt;pond&gt;") == 2 and "<pond>" not in page and "state agency" in page
    assert cli.main(["compare", *ponds, "--workers", "1", "--members", "2", "--out", str(out)]) == 0  # its own folder


@pytest.mark.parametrize("option", [["--against", "few"], ["--today", "2026-05-01"]])
def test_what_asks_for_one_pond_is_refused_of_several(files, capsys, option):
    ponds = [str(files / "north.toml"), str(files / "south.toml")]
    assert cli.main(["compare", *ponds, *option]) == 2
    assert "needs one pond" in capsys.readouterr().err
    assert cli.main(["compare", ponds[0], ponds[0]]) == 2
    assert "files of different names" in capsys.readouterr().err
