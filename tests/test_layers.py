"""Imports go down only: no room knows of one above it."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pondpop

PACKAGE = Path(pondpop.__file__).parent
ROOMS = ("species", "records", "scenario", "model", "observe", "ensemble", "assess", "decide", "update", "report")
HEIGHT = {room: height for height, room in enumerate(ROOMS)}


def rooms_imported(path: Path) -> set[str]:
    """The rooms from which a module imports anything at run time or for its types."""
    names: list[str] = []
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom):
            module = node.module or ""
            names += [module, *(f"{module}.{alias.name}" for alias in node.names)]
        elif isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
    return {name.split(".")[1] for name in names if name.startswith("pondpop.")} & HEIGHT.keys()


def test_imports_go_down_only():
    assert {path.name for path in PACKAGE.iterdir() if (path / "__init__.py").exists()} == HEIGHT.keys()
    upward = [
        f"{path.relative_to(PACKAGE)} imports {other}"
        for path in sorted(PACKAGE.rglob("*.py"))
        if (room := path.relative_to(PACKAGE).parts[0]) in HEIGHT
        for other in rooms_imported(path)
        if other != room and HEIGHT[other] >= HEIGHT[room]
    ]
    assert not upward, upward


def test_the_report_takes_data_by_label():
    """A page knows no species' place among the others."""
    found = [
        f"{path.name}: {how}"
        for path in sorted((PACKAGE / "report").glob("*.py"))
        for how in ("SPECIES.index(", "SPECIES[", "enumerate(SPECIES")
        if how in path.read_text("utf-8")
    ]
    assert not found, found


def test_only_the_species_know_their_places():
    """Elsewhere data are taken by the name of the species (`of_species`, `place_of`, `.sel`)."""
    outside = [path for path in sorted(PACKAGE.rglob("*.py")) if path.relative_to(PACKAGE).parts[0] != "species"]
    found = [str(path.relative_to(PACKAGE)) for path in outside if re.search(r"\bSPECIES\.index\(", path.read_text("utf-8"))]
    assert not found, found
