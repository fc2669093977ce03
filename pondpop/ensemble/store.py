"""Folders of results: they appear whole or not at all, and nothing that pondpop did not write is ever replaced.

Everything is written into DIR.partial, beside DIR, which takes its name at the end. Finished blocks of members lie
there meanwhile, so that a run that was interrupted goes on from them. Of two runs that would write the same folder at
the same time the second is refused, where the system can tell (by flock: not on Windows, nor on every network disk).
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import shutil
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from pondpop.checks import Fact, InputError
from pondpop.ensemble import results
from pondpop.ensemble.quantities import yearly_csv
from pondpop.scenario import Scenario, dump

MARKER = "pondpop.json"  # lies in every folder that pondpop wrote, and lists its files
UNFINISHED_MARKER = MARKER + ".unfinished"
BLOCKS = "blocks"
_DIGEST = 32  # bytes of SHA-256 before a block


class Output:
    """A folder in the making. `load` and `save` keep blocks of members; `finish` gives it its files and its name."""

    _held: int | None = None  # a descriptor, while other runs are kept out

    def __init__(self, path: Path, what: str, resume: bool = False) -> None:
        """Begin, or with `resume` go on with what an interrupted run of the same `what` (a text) left.

        Raises InputError if something else is in the way or another run is at work there, OSError if the folder
        cannot be written.
        """
        self.path = Path(os.path.abspath(path))
        if not self.path.name:
            raise InputError("--out", Fact(f"{self.path}, the top of the disk"), "a new folder", "give it a name")
        self.partial = self.path.with_name(self.path.name + ".partial")
        self._replaced = self.path.with_name(self.path.name + ".replaced")
        key = hashlib.sha256(f"{what}\n{json.dumps(results.package_versions(), sort_keys=True)}".encode()).hexdigest()
        if _ours(self._replaced) and not self.path.exists():  # stopped between two renames: give the old one back
            os.rename(self._replaced, self.path)
        _refuse_strange(self.path)
        _refuse_strange(self.partial)
        if self.partial.exists():
            self._hold()
        if resume and not _unbegun(self.partial):
            if _marker(self.partial).get("run") != key:
                raise InputError(
                    "--resume",
                    Fact(f"{self.partial}, left by another scenario, seed or version"),
                    "what an interrupted run of this scenario left",
                    "run it without --resume to start again",
                )
        else:
            _remove(self.partial)
            self.partial.mkdir(parents=True)
            self._hold()
        self._key = key
        _write_marker(self.partial, {"run": key})
        self.blocks = self.partial / BLOCKS
        self.blocks.mkdir(exist_ok=True)

    def load(self, identity: str) -> dict[str, NDArray[np.float64]] | None:
        """A finished block, or None if there is none that is as it was saved."""
        try:
            content = self._block(identity).read_bytes()
            if hashlib.sha256(content[_DIGEST:]).digest() != content[:_DIGEST]:
                return None
            with np.load(io.BytesIO(content[_DIGEST:]), allow_pickle=False) as kept:
                return {name: kept[name] for name in kept.files}
        except (OSError, ValueError):
            return None

    def save(self, identity: str, readings: Mapping[str, NDArray[np.float64]]) -> None:
        """Keep a finished block; it appears whole or not at all."""
        packed = io.BytesIO()
        np.savez(packed, **readings)  # type: ignore[arg-type]
        beside = self.blocks / "unfinished"
        beside.write_bytes(hashlib.sha256(packed.getbuffer()).digest() + packed.getbuffer())
        os.replace(beside, self._block(identity))

    def _block(self, identity: str) -> Path:
        return self.blocks / f"{identity}.block"

    def discard(self) -> None:
        """Leave nothing behind, since the input turned out to be wrong."""
        _remove(self.partial)
        self.release()

    def release(self) -> None:
        """Let another run write here; the end of the process does the same, and so does `finish`."""
        if self._held is not None:
            os.close(self._held)
            self._held = None

    __del__ = release

    def _hold(self) -> None:
        """Keep other runs from this folder while this one lives. Raises InputError if one is at work there."""
        self.release()
        try:
            import fcntl
        except ImportError:  # Windows
            return
        self._held = os.open(self.partial, os.O_RDONLY)
        try:
            fcntl.flock(self._held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            self.release()
            given = Fact(f"{self.partial}, in which another run is at work")
            raise InputError("--out", given, "a folder of its own", "wait for that run, or name another") from None
        except OSError:  # a disk that cannot lock
            self.release()

    def finish(self, files: Mapping[str, Callable[[Path], None]]) -> None:
        """Write each file by its function, then let the folder take its name in place of an earlier one."""
        try:
            for name, write in files.items():
                write(self.partial / name)
            shutil.rmtree(self.blocks)
            _write_marker(self.partial, {"run": self._key, "files": sorted(_files(self.partial))})
            if _ours(self._replaced):
                _remove(self._replaced)
            _refuse_strange(self.path)
            if self.path.exists():
                os.rename(self.path, self._replaced)
            os.rename(self.partial, self.path)
            _remove(self._replaced)
        finally:
            self.release()


def comparison_files(scenario: Scenario, dataset: xr.Dataset) -> dict[str, Callable[[Path], None]]:
    """The files of a comparison and how each is written."""

    def report(path: Path) -> None:
        from pondpop.report import write_page

        write_page([dataset], path)

    return {
        "scenario.resolved.toml": text(dump(scenario)),
        "yearly.csv": text(yearly_csv(dataset, scenario.units)),
        "projection.nc": lambda path: results.write(dataset, path),
        "report.html": report,
    }


def text(content: str) -> Callable[[Path], None]:
    """A function that writes the text, in UTF-8 with plain line ends."""

    def write(path: Path) -> None:
        path.write_bytes(content.encode("utf-8"))

    return write


# ---------------------------------------------------------------------- whose folder is it


def _marker(folder: Path) -> dict[str, object]:
    try:
        content = json.loads((folder / MARKER).read_text("utf-8"))
    except (OSError, ValueError):
        return {}
    return content if isinstance(content, dict) and content.get("written_by") == "pondpop" else {}


def _write_marker(folder: Path, content: Mapping[str, object]) -> None:
    marker = json.dumps({"written_by": "pondpop", **content}, indent=1, sort_keys=True) + "\n"
    beside = folder / UNFINISHED_MARKER
    beside.write_bytes(marker.encode())
    os.replace(beside, folder / MARKER)


def _files(folder: Path) -> set[str]:
    """Every file below a folder but the marker, by its path from there."""
    found = (item for item in folder.rglob("*") if item.is_symlink() or not item.is_dir())
    return {item.relative_to(folder).as_posix() for item in found} - {MARKER}


def _ours(folder: Path) -> bool:
    return folder.is_dir() and not folder.is_symlink() and bool(_marker(folder))


def _unbegun(folder: Path) -> bool:
    """Nothing there, or an empty folder, or one that a run left before it could put its marker into it."""
    if not os.path.lexists(folder):
        return True
    if not folder.is_dir() or folder.is_symlink():
        return False
    return {item.name for item in folder.iterdir()} <= {UNFINISHED_MARKER}


def _remove(folder: Path) -> None:
    """Remove a folder of ours, if it is there; its marker goes last, so that what a stop leaves is still ours."""
    if not folder.exists():
        return
    for item in folder.iterdir():
        if item.is_dir() and not item.is_symlink():
            shutil.rmtree(item)
        elif item.name != MARKER:
            item.unlink()
    shutil.rmtree(folder)


def _refuse_strange(folder: Path) -> None:
    """Refuse to replace what pondpop did not write, or a folder into which someone else has put something."""
    if _unbegun(folder):
        return
    remedy = "name another folder with --out, or move this one away"
    if not _ours(folder):
        raise InputError("--out", Fact(f"{folder}, which pondpop did not write"), "a new folder", remedy)
    marker = _marker(folder)
    if "files" in marker:
        listed = marker["files"]
        strange = sorted(_files(folder) - set(listed if isinstance(listed, list) else ()))
        if strange:
            given = Fact(f"{folder}, in which {strange[0]} is not of pondpop")
            raise InputError("--out", given, "a new folder", remedy)
