"""A species is added by one file and one word: an invented prey and an invented predator, in a copy of the package; and so
is a strain of a species.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import pondpop

PACKAGE = Path(pondpop.__file__).parent
ROOT = Path(__file__).parents[2]
PREY, PREDATOR, KIND = "goldfin", "pikeling", "swift"  # invented, as all their numbers are

SCENARIO = """
title = "An invented pond with invented fish"
[pond]
area_acres = 2
fertility = 1.0
[water]
climate = "deep_south"
[run]
start = 2026-04-15
years = 2
[ensemble]
members = 3
[[stocking]]
name = "bass"
species = "bass"
resident = true
per_acre = 60
length_in = 10
[[stocking]]
name = "bluegill"
species = "bluegill"
resident = true
per_acre = 1500
length_in = 4
[[stocking]]
name = "gold"
species = "goldfin"
resident = true
per_acre = 1500
length_in = 4
[[stocking]]
name = "pike"
species = "pikeling"
resident = true
per_acre = 40
length_in = 8
[strategies.leave]
title = "Leave them"
[strategies.take]
title = "Take some"
[[strategies.take.harvest]]
species = "pikeling"
length_in = [8, 12]
per_acre = 10
[[strategies.take.harvest]]
species = "goldfin"
length_in = [6, 10]
share = 0.2
"""

SURVEY = ["date,gear,species,length_in,weight_g,count,tag"] + [
    f"2026-10-10,electrofishing,{species},{low + 0.3 * k:.1f},,,"
    for species, low in (("bass", 8), ("bluegill", 4), (PREY, 4), (PREDATOR, 8))
    for k in range(12)
]
EFFORT = ["date,gear,hours,hauls,water_f,species_sought", "2026-10-10,electrofishing,1.5,,66,"]

BOOKS = """
import numpy as np
from pondpop.ensemble.draws import Prior
from pondpop.ensemble.prepare import prepare
from pondpop.model.day import Engine
from pondpop.scenario import load
from pondpop.species import SPECIES
scenario = load({path!r})
strategy = scenario.strategies["take"]
engine = Engine(prepare(scenario, strategy, *Prior().draw(scenario, strategy, 0, 3)), keep_books=True)
eaten = 0.0
for _ in range(200):
    engine.run_day()
    eaten = eaten + engine.flows.eaten
    for page in engine.books:
        biomass = page.number * page.weight / 1000.0
        died = (biomass * page.weight_rates["predation"] * page.weight_alive).sum(axis=1)
        ate = (biomass[:, page.columns.species < 2] * page.ate_fish).sum(axis=1)
        np.testing.assert_allclose(ate, died, rtol=1e-8, atol=1e-12)
    engine.books.clear()
fish = eaten[:, :, : len(SPECIES)].sum(axis=2)
assert SPECIES[:2] == ("bass", "pikeling"), SPECIES
assert (fish > 0.01).all(), fish
for groups in engine.slices:
    assert np.isfinite(engine.state.log_weight[:, groups]).all()
young = (engine.state.columns.origin < 0) & (engine.state.number > 0)
assert {{SPECIES[k] for k in np.unique(engine.state.columns.species[young.any(axis=0)])}} >= {{"goldfin", "bluegill"}}
print("lawful")
"""


STRAINS = """
import numpy as np
import tomllib
from pondpop.ensemble.draws import Prior
from pondpop.ensemble.prepare import prepare
from pondpop.model.day import Engine
from pondpop.scenario import dump, load, resolve
from pondpop.species import KINDS, SPECIES, find, load_parameters
text = open({path!r}).read().replace('species = "goldfin"', 'species = "goldfin"\\nstrain = "swift"', 1)
scenario = resolve(tomllib.loads(text))
assert [s.strain for s in scenario.strategies["leave"].stocking if s.species == "goldfin"] == ["swift"]
assert resolve(tomllib.loads(dump(scenario))) == scenario
plain = load({path!r})
p = load_parameters()
k, gold = list(KINDS).index("swift"), SPECIES.index("goldfin")
assert p.strain_intake[0, k] == find("swift.strain_intake").value > p.strain_intake[0, gold] == 1.0
assert p.capture_ease[0, k] == p.capture_ease[0, gold]
assert p.replace("goldfin.capture_ease", 0.123).capture_ease[0, k] == 0.123
assert p.replace("goldfin.strain_intake", 1.1).strain_intake[0, k] == p.strain_intake[0, k]
weight, blood = [], []
for one in (plain, scenario):
    strategy = one.strategies["leave"]
    engine = Engine(prepare(one, strategy, *Prior().draw(one, strategy, 0, 2)))
    for _ in range(400):
        engine.run_day()
    s = engine.state
    mine = (s.columns.species == gold) & (s.columns.origin >= 0)
    weight.append((s.number * s.weight() * mine).sum() / (s.number * mine).sum())
    young = s.number * ((s.columns.species == gold) & (s.columns.origin < 0))
    blood.append((young * s.columns.blood).sum() / young.sum())
assert weight[1] > 1.02 * weight[0], weight
assert blood[0] == 0.0 and abs(blood[1] - 1.0) < 1e-9, blood
print("strains")
"""


def renamed(text: str, name: str, title: str, **traits: str) -> str:
    """A species file with another name and title, without other names, and with some traits changed."""
    text = re.sub(r"(?s)\nother_names = \[.*?\]\n", f'\nother_names = ["{title.lower()} fish"]\n', text, count=1)
    for key, value in {"title": f'"{title}"', "plural": f'"{name}s"', **traits}.items():
        text, found = re.subn(rf"(?m)^{key} = .*$", f"{key} = {value}", text, count=1)
        assert found, key
    return text


def tables(text: str) -> dict[str, str]:
    """The text of each table of a species file, by name."""
    return {part.split("]")[0]: f"[{part}" for part in re.split(r"(?m)^\[", text)[1:]}


@pytest.fixture(scope="module")
def package(tmp_path_factory) -> Path:
    """A folder with a copy of the package that has two species more."""
    home = tmp_path_factory.mktemp("more")
    shutil.copytree(PACKAGE, home / "pondpop", ignore=shutil.ignore_patterns("__pycache__"))
    folder = home / "pondpop" / "species"
    bluegill, bass = ((folder / f"{name}.toml").read_text("utf-8") for name in ("bluegill", "bass"))
    look = '{ colour = "#7a5c00", dashes = [3, 1], hatch = "++" }'
    prey = renamed(bluegill, PREY, "Goldfin", standard='"redear_sunfish"\ncaught_like = "bluegill"', look=look)
    predator = renamed(
        bluegill, PREDATOR, "Pikeling", role='"predator"', standard='"bass"\ncaught_like = "bass"', look=look,
        density_edges_in="[8, 12]", wr_classes_in="[[8, 12]]",
    )  # fmt: skip
    of_predators = subprocess.run(
        [sys.executable, "-c", "from pondpop.species.registry import FORMS; print(*FORMS['role']['predator'])"],
        capture_output=True, text=True, cwd=home, check=True,
    ).stdout.split()  # fmt: skip
    predator += "\n" + "\n".join(tables(bass)[name] for name in of_predators)
    assert prey.count('"eats eggs",\n') == 1
    prey = prey.replace('"eats eggs",\n', '"eats eggs", "has strains",\n').replace("\nlook = ", '\nown_strain = "slow"\nlook = ')
    of_strains = ("intake", "length", "spawning_later_c", "catching")
    names = (*(f"strain_{name}" for name in of_strains), *(f"chill_deaths_{name}" for name in ("per_day", "below_c", "width_c")))
    prey += "\n" + "\n".join(tables(bass)[name] for name in names)
    (folder / f"{PREY}.toml").write_text(prey, "utf-8")
    (folder / f"{PREDATOR}.toml").write_text(predator, "utf-8")
    registry = folder / "registry.py"
    text = registry.read_text("utf-8")
    assert text.count('"redear")') == 1
    registry.write_text(text.replace('"redear")', f'"redear", "{PREY}", "{PREDATOR}")'), "utf-8")
    faster = re.sub(r"(?m)^(value|high) = .*$", r"\1 = 1.3", tables(bass)["strain_intake"])
    head = f'[traits]\ntitle = "Swift goldfin"\nkind_of = "{PREY}"\nblood = 1.0\n\n'
    (folder / f"{KIND}.toml").write_text(head + faster, "utf-8")
    text = registry.read_text("utf-8")
    assert text.count('("first_cross", "florida")') == 1
    registry.write_text(text.replace('("first_cross", "florida")', f'("first_cross", "florida", "{KIND}")'), "utf-8")
    (home / "scenario.toml").write_text(SCENARIO, "utf-8")
    (home / "records").mkdir()
    (home / "records" / "survey.csv").write_text("\n".join(SURVEY) + "\n", "utf-8")
    (home / "records" / "effort.csv").write_text("\n".join(EFFORT) + "\n", "utf-8")
    return home


def run(home: Path, *arguments: str) -> str:
    done = subprocess.run(
        [sys.executable, *arguments], capture_output=True, text=True, cwd=home, env={"PYTHONPATH": str(home), "PATH": ""}
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert not done.stderr.strip() or "Traceback" not in done.stderr, done.stderr
    return done.stdout


def test_sources_tell_them(package):
    said = run(package, "-m", "pondpop", "sources")
    assert "Goldfin\n-------" in said and "Pikeling\n--------" in said


def test_the_books_close_with_two_predators(package):
    assert run(package, "-c", BOOKS.format(path=str(package / "scenario.toml"))).strip() == "lawful"


def test_a_strain_of_a_species_has_its_own_parameters_and_hands_on_its_blood(package):
    assert run(package, "-c", STRAINS.format(path=str(package / "scenario.toml"))).strip() == "strains"


@pytest.mark.slow
def test_compare_and_report_run_with_them(package):
    run(package, "-m", "pondpop", "compare", "scenario.toml", "--out", "out", "--workers", "1")
    yearly = (package / "out" / "yearly.csv").read_text("utf-8")
    for quantity in (
        "goldfin_psd", "goldfin_standing_crop", "pikeling_wr_8_12in", "pikeling_harvest_biomass_12_months",
        "eaten_by_pikeling_12_months_goldfin", "eaten_by_bass_12_months_pikeling",
    ):  # fmt: skip
        rows = [line.split(",") for line in yearly.splitlines() if f",{quantity}," in line]
        assert rows, quantity
        assert any(cell and float(cell) > 0.0 for row in rows for cell in row[-3:]), quantity
    run(package, "-m", "pondpop", "report", "out/projection.nc", "--out", "page.html")
    page = (package / "page.html").read_text("utf-8")
    assert "goldfin" in page and "pikeling" in page and "#7a5c00" in page


@pytest.mark.slow
def test_assess_and_update_run_with_them(package):
    said = run(package, "-m", "pondpop", "assess", "records", "--details")
    assert "goldfin" in said and "pikeling" in said
    options = ("--records", "records", "--out", "updated", "--workers", "1", "--strategy", "leave", "--members", "4")
    run(package, "-m", "pondpop", "update", "scenario.toml", *options)
    learned = (package / "updated" / "update.csv").read_text("utf-8")
    assert "goldfin" in learned and "pikeling" in learned
