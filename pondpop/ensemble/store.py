"""Where results are written: folders and pages appear whole or not at all, and nothing else is ever replaced.

A folder is written into DIR.partial, beside DIR, which takes its name at the end. Finished blocks of members lie there
meanwhile, so that a run that was interrupted goes on from them. Of two runs that would write the same folder at the
same time the second is refused, where the system can tell (by flock: not on Windows, nor on every network disk).
What is in the way is refused with the standard library only.
"""

from __future__ import annotations

import hashlib
import io
import itertools
import json
import os
import shutil
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from functools import cache
from importlib.metadata import version
from pathlib import Path

from pondpop import __version__
from pondpop.checks import Fact, InputError

try:
    import fcntl
except ImportError:  # Windows
    fcntl = None  # type: ignore[assignment]

TYPE_CHECKING = False
if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


MARKER = "pondpop.json"  # lies in every folder that pondpop wrote, and lists its files
UNFINISHED_MARKER = MARKER + ".unfinished"
BLOCKS = "blocks"
MEMBERS = "--members"  # by this name the number of members is part of a run
PAGE_MARK = '<meta name="generator" content="pondpop'  # stands in the head of every page that pondpop wrote
_PAGE_HEAD = 20_000  # bytes within which it stands
MOST_TRIES = 20  # to take a folder into hand before which others ended
_DIGEST = 32  # bytes of SHA-256 before a block
_LONGEST_SAID = 60


@cache
def package_versions() -> dict[str, str]:
    """Versions of pondpop and of the packages that figures depend on."""
    return {"pondpop": __version__, **{name: version(name) for name in ("numpy", "scipy", "xarray")}}


class Output:
    """A folder in the making. `load` and `save` keep blocks of members; `finish` gives it its files and its name."""

    _held: int | None = None  # a descriptor, while other runs are kept out
    _made: Sequence[Path] = ()  # folders above DIR that were not there before

    def __init__(self, path: Path, run: Mapping[str, str], resume: bool = False, replace: bool = False) -> None:
        """Begin, or with `resume` go on with what an interrupted run of the same `run` left.

        run: all that decides what is written, by the name of the option or thing that sets it. replace: also in place of
        what a run of more members wrote or left unfinished. Raises InputError if something else is in the way or another
        run is at work there, OSError if the folder cannot be written.
        """
        self.path = Path(os.path.abspath(path))
        if not self.path.name:
            raise InputError("--out", Fact(f"{self.path}, the top of the disk"), "a new folder", "give it a name")
        self.partial = self.path.with_name(self.path.name + ".partial")
        self.blocks = self.partial / BLOCKS
        self._replaced = self.path.with_name(self.path.name + ".replaced")
        self._run = {name: _short(value) for name, value in run.items()} | {"version": json.dumps(package_versions())}
        self._refuse(replace)
        self._hold()
        try:
            self._begin(resume, replace)
        except BaseException:
            if _unbegun(self.partial):
                self.discard()
            self.release()
            raise

    def _begin(self, resume: bool, replace: bool) -> None:
        """Put the folder into the state in which blocks can be kept; no other run is at work in it."""
        if self.path.is_dir() and (held := self._locked(self.path)) is not None:  # else a run is about to end there
            os.close(held)
        if _ours(self._replaced) and not self.path.exists():  # stopped between two renames: give the old one back
            os.rename(self._replaced, self.path)
        self._refuse(replace)
        if resume and not _unbegun(self.partial):
            self._refuse_another()
        else:
            if not replace:
                self._refuse_larger(self.partial)
            _empty(self.partial)
        _write_marker(self.partial, {"run": self._run})
        self.blocks.mkdir(exist_ok=True)

    def _refuse(self, replace: bool) -> None:
        """Refuse folders in which something could be lost. Raises InputError."""
        _refuse_strange(self.path)
        _refuse_strange(self.partial)
        if not replace:
            self._refuse_larger(self.path)

    def _refuse_another(self) -> None:
        """Refuse to go on with what a run began that differs from this one in anything. Raises InputError."""
        begun = _marker(self.partial).get("run")
        begun = begun if isinstance(begun, dict) else {}
        for name in dict.fromkeys([*self._run, *begun]):
            now, before = self._run.get(name), begun.get(name)
            if now != before:
                if all(value is None or len(str(value)) <= _LONGEST_SAID for value in (now, before)):
                    given = f"{name} {now or 'left out'}, where {self.partial} was begun with {before or 'none'}"
                else:
                    given = f"another {name} than {self.partial} was begun with"
                remedy = "give that again, or run it without --resume to start anew"
                raise InputError("--resume", Fact(given), "what the interrupted run was given", remedy)

    def _refuse_larger(self, folder: Path) -> None:
        """Refuse to put fewer members in place of more. Raises InputError."""
        there, own = _members(_marker(folder).get("run")), _members(self._run)
        if there > own:
            what = "left unfinished" if folder == self.partial else "of"
            given = Fact(f"{folder}, {what} {there:,} members, for a run of {own:,}")
            remedy = "name another folder, or replace it with --replace"
            raise InputError("--out", given, f"a folder with at most {own:,} members", remedy)

    def load(self, identity: str) -> dict[str, NDArray[np.float64]] | None:
        """A finished block, or None if there is none that is as it was saved."""
        import numpy as np

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
        import numpy as np

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
        for place in self._made:
            with suppress(OSError):
                place.rmdir()
        self.release()

    def release(self) -> None:
        """Let another run write here; the end of the process does the same, and so does `finish`."""
        if self._held is not None:
            os.close(self._held)
            self._held = None

    __del__ = release

    def _hold(self) -> None:
        """Make the folder, unless it is there, and keep other runs from it while this one lives.

        Raises InputError if one is at work there.
        """
        for tries in itertools.count(1):
            _refuse_strange(self.partial)
            above = [place for place in self.partial.parents if not place.exists()]  # the innermost first
            try:
                self.partial.mkdir(parents=True, exist_ok=True)
                self._made = above or self._made
                self._held = self._locked(self.partial)
                if self._held is None or os.path.samestat(os.fstat(self._held), os.stat(self.partial)):
                    return
            except (FileExistsError, FileNotFoundError):
                if tries == MOST_TRIES:
                    raise
            self.release()  # another run has just ended, and its folder has taken its name

    def _locked(self, folder: Path) -> int | None:
        """A descriptor that locks a folder while it is open, None where nothing can be locked.

        Raises InputError if another run has locked it.
        """
        if fcntl is None:
            return None
        held = os.open(folder, os.O_RDONLY)
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(held)
            given = Fact(f"{self.partial}, in which another run is at work")
            raise InputError("--out", given, "a folder of its own", "wait for that run, or name another") from None
        except OSError:  # a disk that cannot lock
            os.close(held)
            return None
        return held

    def finish(self, files: Mapping[str, Callable[[Path], None]]) -> None:
        """Write each file by its function, then let the folder take its name in place of an earlier one.

        files: by their paths from the folder.
        """
        try:
            for name, write in files.items():
                (self.partial / name).parent.mkdir(exist_ok=True)
                write(self.partial / name)
            shutil.rmtree(self.blocks)
            _write_marker(self.partial, {"run": self._run, "files": sorted(_files(self.partial))})
            if _ours(self._replaced):
                _remove(self._replaced)
            _refuse_strange(self.path)
            if self.path.exists():
                os.rename(self.path, self._replaced)
            os.rename(self.partial, self.path)
            _remove(self._replaced)
        finally:
            self.release()


def text(content: str) -> Callable[[Path], None]:
    """A function that writes the text, in UTF-8 with plain line ends."""

    def write(path: Path) -> None:
        path.write_bytes(content.encode("utf-8"))

    return write


# ---------------------------------------------------------------------- pages


def page_place(page: Path, sources: Iterable[Path] = (), replace: bool = False) -> None:
    """Refuse a place for a page, and for the folder of its tables, where anything could be lost. Raises InputError.

    Free are a new file and a page that pondpop wrote; with `replace` any ordinary file that is none of the sources.
    """
    if page.suffix.lower() not in (".html", ".htm"):
        remedy = "write the page, open it in a browser and print it" if page.suffix.lower() == ".pdf" else ""
        raise InputError("--out", Fact(page) if page.name else str(page), "a file name that ends in .html", remedy)
    folder, remedy, ours = tables_folder(page), "name another one, or replace it with --replace", False
    if _there(page):
        if page.is_symlink() or not page.is_file():
            kind = "a folder" if page.is_dir() else "no ordinary file"
            raise InputError("--out", Fact(f"{page}, {kind}"), "a new file", "name another one")
        if any(source.exists() and page.samefile(source) for source in sources):
            raise InputError("--out", Fact(f"{page}, from which the page is made"), "a new file", "name another one")
        with page.open("rb") as stream:
            ours = PAGE_MARK.encode() in stream.read(_PAGE_HEAD)
        if not ours and not replace:
            raise InputError("--out", Fact(f"{page}, which pondpop did not write"), "a new file", remedy)
    if os.path.lexists(folder):
        if folder.is_symlink() or not folder.is_dir():
            raise InputError("--out", Fact(f"{folder}, no folder"), "a free name for the folder of tables", "name another page")
        if not ours and not replace and any(folder.iterdir()):
            given = Fact(f"{folder}, which holds something already")
            raise InputError("--out", given, "a new folder for the tables", remedy)
    above = next((place for place in page.parents if os.path.lexists(place)), None)
    if above is not None and not above.is_dir():
        raise InputError("--out", Fact(f"{above}, a file"), "a folder to write the page to", "name another page")


def _there(place: Path) -> bool:
    """Whether anything has that name. Raises OSError where nothing can have it, since it is too long, say."""
    try:
        os.lstat(place)
    except (FileNotFoundError, NotADirectoryError):
        return False
    return True


def tables_folder(page: Path) -> Path:
    """The folder of CSV files that lies beside a page."""
    return page.with_name(f"{page.stem}_tables")


def write_page_files(page: Path, content: str, tables: Mapping[str, str]) -> None:
    """Write a page and the tables beside it, each whole or not at all; what a failure began is removed.

    tables: the text of each by its file name. Raises OSError.
    """
    folder = tables_folder(page)
    made = [place for place in (folder, *folder.parents) if not place.exists()]  # the innermost first
    (folder if tables else page.parent).mkdir(parents=True, exist_ok=True)
    try:
        for file, words in (*((folder / name, words) for name, words in tables.items()), (page, content)):
            partial = file.with_name(file.name + ".partial")
            partial.unlink(missing_ok=True)  # what a run that died has left
            try:
                with partial.open("x", encoding="utf-8", newline="\n") as stream:
                    stream.write(words)
                partial.replace(file)
            except BaseException:
                partial.unlink(missing_ok=True)
                raise
    except BaseException:
        for place in made[:1]:
            shutil.rmtree(place, ignore_errors=True)
        for place in made[1:]:
            with suppress(OSError):
                place.rmdir()
        raise


# ---------------------------------------------------------------------- whose folder is it


def _marker(folder: Path) -> dict[str, object]:
    try:
        content = json.loads((folder / MARKER).read_text("utf-8"))
    except (OSError, ValueError):
        return {}
    return content if isinstance(content, dict) and content.get("written_by") == "pondpop" else {}


def _members(run: object) -> int:
    """How many members a run was of; 0 where that is not known."""
    said = run.get(MEMBERS) if isinstance(run, dict) else None
    return int(said) if isinstance(said, str) and said.isascii() and said.isdigit() and len(said) < 9 else 0


def _short(value: str) -> str:
    """The value, or what stands for it if it is long."""
    return value if len(value) <= _LONGEST_SAID else hashlib.sha256(value.encode()).hexdigest()


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
    _empty(folder)
    folder.rmdir()


def _empty(folder: Path) -> None:
    """Remove what is in a folder of ours; its marker goes last."""
    for item in sorted(folder.iterdir(), key=lambda item: item.name == MARKER):
        if item.is_dir() and not item.is_symlink():
            shutil.rmtree(item)
        else:
            item.unlink()


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
