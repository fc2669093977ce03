"""How much of wrong code the tests notice: one command.

    python benchmarks/mutants.py [--number N] [--seed N] [--only ROOM] [--part K/N]

Makes small changes of the code, one at a time, in a copy of the package in a temporary folder: signs, products,
exponents, bounds, constants and units, the order of statements and statements left out, an even share of each, drawn
by a seed among all places of all rooms. Each is tried against the tests of its room that are not slow, first those that
name the function or one that leads to it, of these the quick ones first, until one fails; a test that fails on the code as
it is catches nothing. With one of the rooms that make a Dataset which passes them two small ponds are projected, and it is
told whether their Datasets stay the same to 1e-12: many such changes change nothing at all, others only what the two ponds
have not. Both count as survivors, but for those of which REASONS tells why nothing could notice them. Prints each change
with its fate, and the share that was caught; status 1 if that is below 95 %. Needs a system that can fork.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import hashlib
import inspect
import io
import os
import random
import re
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
LAWS = (
    "tests/model/test_gate.py::test_engine_agrees_with_the_plain_day_group_by_group",
    "tests/model/test_laws.py", "tests/model/test_fishing.py", "tests/model/test_calendar.py",
)  # fmt: skip
ROOMS = {  # the tests that are to notice a change in each; the last is the modules above all rooms
    "model": (*LAWS, "tests/model", "tests/species/test_published.py", "tests/observe/test_harvest_control.py"),
    "species": ("tests/species", *LAWS),
    "scenario": ("tests/scenario", "tests/model/test_calendar.py"),
    "ensemble": ("tests/ensemble", *LAWS),
    "observe": ("tests/observe",),
    **{room: (f"tests/{room}",) for room in ("decide", "records", "assess", "update", "report")},
    "root": ("tests/test_units.py", "tests/test_checks.py", "tests/test_arrays.py"),
}
MAKE_DATASETS = ("model", "species", "scenario", "ensemble", "observe")
NOT_CHANGED = ("__main__", "cli", "commands", "progress", "begin")  # commands and words about them, which whole programs test
LONGEST_SECONDS = 600.0  # of processor time
KINDS = ("sign", "product", "exponent", "bound", "constant", "order")

# Changes of which a reason was found why no test can notice them, by their `key`; they are not counted.
REASONS: dict[str, str] = {
    "fa680810": "a setting of one C library, of memory only",
    "d459356d": "the fields of an error hold what its arguments do",
    "595e3cc1": "no table has the keys of one quantity only",
    "318954df": "at exactly 40 both ways tell the same digits",
    "74d18b48": "there is no thirteenth month among the wanted",
    "5769daca": "a month has its name in any year",
    "f9fd8a00": "the last of two axes is axis 1",
    "c58e6688": "the order of two factors",
    "2f3a5166": "the order of two summands",
    "f355af75": "how far from 0 and 1 a share that is drawn keeps, at the limit of what numbers tell apart",
    "d46c69e2": "a setting of one C library, of memory only",
    "8fc6ab72": "a setting of one C library, of memory only",
    "45c2cce4": "how far from 1 a share that is dealt keeps, rounded to the same number",
    "b1d9c134": "of powers of two none lies between",
    "2e36a640": "the order of two summands",
    "0c1c12a4": "two limits of which the lower is the smaller, in either order",
    "9fb58e9a": "the same line twice",
    "f6aba51c": "a month has its name in any year",
    "a9306f06": "there is no 31 September",
    "4cf9d779": "limits and marks of an axis, in either order",
    "4f36a27a": "the length of marks and where they stand, in either order",
    "e4e57ede": "nought more or less",
    "5387c9ff": "a setting of one C library, of memory only",
    "422a34e3": "a setting of one C library, of memory only",
    "71f70ff4": "at exactly one both ways tell 1",
    "c51108a5": "at an age that is known both lines tell the same length",
    "dfa73bbc": "a shorter stretch at the end is like no other",
    "9e1576b0": "a threshold that no length hits",
    "36eccd0f": "a threshold that no length hits",
    "835c64de": "a threshold that no length hits",
    "1f0d04f5": "of the last count the rest is taken anyway",
    "e106813b": "a threshold that no sum hits",
    "a931b42f": "a threshold that no species has",
    "87e214d9": "the first of January once more",
    "5dc7efeb": "another number for each sort of groups, for no two the same",
    "6ae19c2f": "two preparations, neither of which needs the other",
    "f7182bd8": "a width that is just met cuts nothing in either way",
    "0a4797b3": "two sums of their own, in either order",
    "32dbddf8": "two sums of their own, in either order",
    "57cbb545": "two factors in either order",
    "7459abb2": "two factors in either order",
    "78b1a6db": "two factors in either order",
    "ce74ad9e": "two sums of their own, in either order",
    "500713d4": "two sums of their own, in either order",
    "c22f3786": "two sums of their own, in either order",
    "194ca9aa": "two sums of their own, in either order",
    "f3ed800e": "two sums of their own, in either order",
    "687d92eb": "two sums of their own, in either order",
    "4797b34f": "two sums of their own, in either order",
    "48b78060": "two summands in either order",
    "dab75e8a": "two summands in either order",
    "1bcdd6ef": "the dead are counted before either",
    "1fc5bcbd": "two books, of which neither needs the other",
    "849ed5fe": "where the new groups stand is known before",
    "2732d4ae": "the same line twice",
    "47f99ab6": "two limits of which the lower is the smaller, in either order",
    "778c0c8a": "of two equal ends either order tells the same",
    "d056e97f": "at exactly a tenth both ways tell the same",
    "6c55ec46": "a threshold that no share hits",
    "5b2e3495": "a threshold that no amounts hit",
    "8458aa5c": "a threshold that no share hits",
    "1e8f1dc9": "a threshold that no share hits",
    "0e983bf3": "equal only where nothing is left",
    "13f888a1": "a threshold that no number of fish hits",
    "0e31164f": "a threshold that no share hits",
    "002a52f7": "a table with every key passes the next check too",
    "c4b0c170": "two arrays of their own, in either order",
    "36ac9ea4": "a threshold that no spread hits",
    "a2b9ec4c": "a threshold that no spread hits",
    "cdc2e439": "a threshold that no harvest hits",
    "5ddd9380": "how much is prepared at once, of memory only",
    "c6ff6ebd": "another number for each sort of groups, for no two the same",
    "9c1db743": "another number for each sort of groups, for no two the same",
}


@dataclass(frozen=True)
class Change:
    """One small change: a piece of a module's text in place of another."""

    module: str
    kind: str
    line: int
    start: int
    end: int
    new: str
    words: str

    def __str__(self) -> str:
        return f"{self.module}.py line {self.line}, {self.kind}: {self.words}"


def room_of(module: str) -> str:
    return module.partition("/")[0] if "/" in module else "root"


def modules() -> list[str]:
    """Every module that is changed, as `model/day`."""
    every = (path.relative_to(ROOT / "pondpop").with_suffix("").as_posix() for path in (ROOT / "pondpop").rglob("*.py"))
    return sorted(name for name in every if name not in (*NOT_CHANGED, "__init__"))


# ---------------------------------------------------------------------- finding places


class Places:
    """All places of a module's text that can be changed."""

    def __init__(self, module: str, text: str) -> None:
        self.module, self.text = module, text
        self.raw = text.encode()
        starts = [0]
        for line in self.raw.splitlines(keepends=True):
            starts.append(starts[-1] + len(line))
        self.starts = starts

    def at(self, line: int, column: int) -> int:
        return self.starts[line - 1] + column

    def span(self, node: ast.expr | ast.stmt) -> tuple[int, int]:
        assert node.end_lineno is not None and node.end_col_offset is not None
        return self.at(node.lineno, node.col_offset), self.at(node.end_lineno, node.end_col_offset)

    def piece(self, start: int, end: int) -> str:
        return self.raw[start:end].decode()

    def change(self, kind: str, node: ast.expr | ast.stmt, start: int, end: int, new: str) -> Change:
        old = " ".join(self.piece(start, end).split())
        around = " ".join(self.piece(*self.span(node)).split())
        words = f"{old[:60]} → {' '.join(new.split())[:60]}  in  {around[:90]}"
        return Change(self.module, kind, node.lineno, start, end, new, words)

    def all(self) -> Iterator[Change]:
        tree = ast.parse(self.text)
        for function in (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)):
            if function.name.startswith("__") and function.name != "__init__":
                continue
            for statement in function.body:
                if isinstance(statement, ast.Assert) or _is_docstring(statement):
                    continue
                for node in ast.walk(statement):
                    yield from self._of(node)
            yield from self._order(function.body)
        for statement in tree.body:  # constants of the module
            if isinstance(statement, ast.Assign):
                for node in ast.walk(statement.value):
                    yield from self._of(node)

    def _of(self, node: ast.AST) -> Iterator[Change]:
        if isinstance(node, ast.BinOp):
            yield from self._operator(node)
        elif isinstance(node, ast.AugAssign):
            yield from self._step(node)
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
            start, _ = self.span(node)
            yield self.change("sign", node, start, start + 1, "")
        elif isinstance(node, ast.Attribute) and node.attr in ("minimum", "maximum"):
            start, end = self.span(node)
            new = self.piece(start, end).replace(node.attr, {"minimum": "maximum", "maximum": "minimum"}[node.attr])
            yield self.change("bound", node, start, end, new)
        elif isinstance(node, ast.Compare) and len(node.ops) == 1:
            turned = {"<": ">", "<=": "<", ">": "<", ">=": ">", "==": "!=", "!=": "=="}
            start, end = self.span(node.left)[1], self.span(node.comparators[0])[0]
            between = self.piece(start, end)  # brackets may stand there too
            sign = between.strip("() \n")
            if sign in turned:
                yield self.change("bound", node, start, end, between.replace(sign, turned[sign]))
        elif isinstance(node, ast.Constant) and type(node.value) in (float, int) and abs(node.value) > 2:
            start, end = self.span(node)
            new = repr(node.value * 1.01) if isinstance(node.value, float) else repr(node.value + 1)
            yield self.change("constant", node, start, end, new)

    def _operator(self, node: ast.BinOp) -> Iterator[Change]:
        start, end = self.span(node.left)[1], self.span(node.right)[0]
        between = self.piece(start, end)
        if isinstance(node.op, ast.Add | ast.Sub):
            new = between.replace("+", "-") if isinstance(node.op, ast.Add) else between.replace("-", "+")
            yield self.change("sign", node, start, end, new)
        elif isinstance(node.op, ast.Mult | ast.Div):
            new = between.replace("*", "/") if isinstance(node.op, ast.Mult) else between.replace("/", "*")
            yield self.change("product", node, start, end, new)
        elif isinstance(node.op, ast.Pow):
            right = self.span(node.right)
            yield self.change("exponent", node, *right, f"(1.01 * ({self.piece(*right)}))")
            yield self.change("exponent", node, *right, f"(-({self.piece(*right)}))")

    def _step(self, node: ast.AugAssign) -> Iterator[Change]:
        start, end = self.span(node.target)[1], self.span(node.value)[0]
        between = self.piece(start, end)
        turned = {"+=": "-=", "-=": "+=", "*=": "/=", "/=": "*="}
        sign = between.strip()
        if sign in turned:
            kind = "sign" if sign in ("+=", "-=") else "product"
            yield self.change(kind, node, start, end, between.replace(sign, turned[sign]))

    def _order(self, body: list[ast.stmt]) -> Iterator[Change]:
        for one, two in pairwise(body):
            steps = ast.Expr | ast.AugAssign
            if isinstance(one, steps) and isinstance(two, steps) and not _is_docstring(one):
                (a, b), (c, d) = self.span(one), self.span(two)
                yield self.change("order", one, a, d, self.piece(c, d) + self.piece(b, c) + self.piece(a, b))
        for one in body:
            acts = isinstance(one, ast.AugAssign) or (isinstance(one, ast.Expr) and isinstance(one.value, ast.Call))
            if acts:
                yield self.change("order", one, *self.span(one), "pass")


def _is_docstring(node: ast.stmt) -> bool:
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)


def chosen(texts: dict[str, bytes], number: int, seed: int, only: str | None) -> list[Change]:
    """An even share of each kind, drawn by the seed, at most one change a place."""
    every: dict[str, list[Change]] = {kind: [] for kind in KINDS}
    for module, text in texts.items():
        if only in (None, room_of(module)):
            for change in Places(module, text.decode()).all():
                every[change.kind].append(change)
    print("places: " + ", ".join(f"{len(found)} {kind}" for kind, found in every.items()), flush=True)
    drawn = random.Random(seed)
    picked: list[Change] = []
    for kind, found in every.items():
        drawn.shuffle(found)
        share = -(-(number - len(picked)) // (len(KINDS) - KINDS.index(kind)))
        picked += found[:share]
    return sorted(picked, key=lambda c: (c.module, c.line, c.kind))


# ---------------------------------------------------------------------- trying


def in_child(work: Callable[[], int], seconds: float = LONGEST_SECONDS) -> int:
    """The status of a function run in a forked process; 99 if it took or waited too long, 98 if it fell."""
    child = os.fork()
    if child == 0:
        status = 98
        try:
            resource.setrlimit(resource.RLIMIT_CPU, (int(seconds), int(seconds)))
            signal.alarm(2 * int(seconds))  # and not for ever where it waits
            status = work()
        finally:
            os._exit(status)
    _, ended = os.waitpid(child, 0)
    return 99 if os.WIFSIGNALED(ended) else os.waitstatus_to_exitcode(ended)


def names_that_lead_to(text: str, line: int) -> frozenset[str]:
    """The function, class or constant of a module that a line is in, and the functions of the module that use it, in any
    number of steps."""
    parts = [part for part in ast.parse(text).body if isinstance(part, ast.FunctionDef | ast.ClassDef | ast.Assign)]
    uses: dict[str, set[str]] = {}
    found: set[str] = set()
    for part in parts:
        functions = [n for n in ast.walk(part) if isinstance(n, ast.FunctionDef | ast.ClassDef)]
        for function in functions:
            words = (node for node in ast.walk(function) if isinstance(node, ast.Name | ast.Attribute))
            uses.setdefault(function.name, set()).update(n.id if isinstance(n, ast.Name) else n.attr for n in words)
        here = part.lineno <= line <= (part.end_lineno or part.lineno)
        if here and isinstance(part, ast.Assign):
            found = {n.id for n in ast.walk(part) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)}
        elif here:
            found = {f.name for f in functions if f.lineno <= line <= (f.end_lineno or f.lineno)}
    while more := {name for name, ids in uses.items() if ids & found} - found:
        found |= more
    return frozenset(name for name in found if not name.startswith("__"))


class NearestFirst:
    """Orders tests: first those whose text has one of some names, then those of files that do; of each, quick ones first.

    took: a file with what tests took so far, seconds; what this run's tests take is added.
    """

    def __init__(self, names: frozenset[str], took: Path) -> None:
        self.words = re.compile(rf"\b({'|'.join(map(re.escape, names))})\b") if names else None
        self.took = took
        lines = took.read_text("utf-8").splitlines() if took.exists() else []
        self.seconds = {name: float(seconds) for seconds, _, name in (line.partition(" ") for line in lines)}
        self.texts: dict[Path, str] = {}

    def pytest_collection_modifyitems(self, items: list[Any]) -> None:
        items.sort(key=self.rank)

    def rank(self, item: Any) -> tuple[int, int, str]:
        if item.path not in self.texts:
            self.texts[item.path] = item.path.read_text("utf-8")
        texts = inspect.getsource(item.function), self.texts[item.path]
        distance = next((k for k, text in enumerate(texts) if self.words and self.words.search(text)), len(texts))
        seconds = self.seconds.get(item.nodeid, 1.0)
        return distance, sum(seconds > limit for limit in (0.2, 1.0, 4.0)), str(item.path)

    def pytest_runtest_logreport(self, report: Any) -> None:
        if report.when == "call" and report.passed:
            with self.took.open("a", encoding="utf-8") as file:
                file.write(f"{report.duration:.3f} {report.nodeid}\n")


def tests_in(
    folder: Path, tests: list[str], left_out: set[str], told: Path, names: frozenset[str] = frozenset()
) -> Callable[[], int]:
    def work() -> int:
        import pytest

        sys.path[:0] = [str(folder), str(folder / "tests")]
        os.chdir(folder)
        with told.open("w") as file, contextlib.redirect_stdout(file), contextlib.redirect_stderr(file):
            skip = [f"--deselect={name}" for name in left_out]
            options = ["-x", "-m", "not slow", "-q", "-p", "no:cacheprovider", "--tb=no"]
            return int(pytest.main([*options, *skip, *tests], plugins=[NearestFirst(names, folder / "took.txt")]))

    return work


def figures_of(folder: Path, out: Path) -> Callable[[], int]:
    """Two small ponds with all that can happen in one, their numbers in a file."""

    def work() -> int:
        import numpy as np

        sys.path[:0] = [str(folder), str(folder / "tests")]
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            from laws import EVERYTHING
            from small import pond

            from pondpop.ensemble.run import compare

            dataset = compare(pond(members=2, years=2, extra=EVERYTHING))
            np.savez(out, **{name: dataset[name].values for name in dataset.data_vars})
        return 0

    return work


def same_figures(a: Path, b: Path) -> bool:
    import numpy as np

    with np.load(a) as one, np.load(b) as two:
        return all(np.allclose(one[n], two[n], rtol=1e-12, atol=1e-300, equal_nan=True) for n in one.files)


def copied(folder: Path) -> Path:
    for name in ("pondpop", "tests"):
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__", ".hypothesis"))
    for name in ("pyproject.toml", "scenarios", "README.md"):
        source = ROOT / name
        shutil.copytree(source, folder / name) if source.is_dir() else shutil.copy(source, folder / name)
    return folder


class Judge:
    """Tries changes against the tests; a test that fails on the code as it is, too, is left out from then on."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.told = folder, folder / "told.txt"
        self.sound, self.left_out = set[str](), set[str]()

    def tried(self, change: Change, original: bytes) -> int:
        """The status of the tests with the change made, which is taken back."""
        path = self.folder / "pondpop" / f"{change.module}.py"
        mutant = original[: change.start] + change.new.encode() + original[change.end :]
        ast.parse(mutant)
        tests = list(ROOMS[room_of(change.module)])
        names = names_that_lead_to(original.decode(), change.line)
        while True:
            path.write_bytes(mutant)
            status = in_child(tests_in(self.folder, tests, self.left_out, self.told, names))
            path.write_bytes(original)
            if status == 4 and "ERROR " in self.told.read_text("utf-8"):
                status = 2  # a file of which one test is named could not be imported
            if status not in (1, 2) or self._sound(self.failed()):
                return status
            self.left_out |= {self.failed()}
            print(f"left out, since it fails on the code as it is: {self.failed()}", flush=True)

    def failed(self) -> str:
        """The test that failed last, or the file that could not be imported."""
        lines = self.told.read_text("utf-8").splitlines()
        found = [line.split(" - ")[0].partition(" ")[2] for line in lines if line.startswith(("FAILED ", "ERROR "))]
        if not found:
            sys.exit(f"no test failed, yet the run did:\n{self.told.read_text('utf-8')[-2000:]}")
        return found[0]

    def _sound(self, test: str) -> bool:
        """Whether a test passes on the code as it is."""
        if test not in self.sound:
            beside = self.folder / "sound.txt"
            if in_child(tests_in(self.folder, [test], set(), beside)) != 0:
                return False
            self.sound.add(test)
        return True


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--number", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=ROOMS)
    parser.add_argument("--part", default="1/1", help="every N-th change from the K-th on, so that parts add up to all")
    asked = parser.parse_args()
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    sys.dont_write_bytecode = True
    import pytest  # noqa: F401  what every try needs is loaded once, before the forks
    import scipy.interpolate
    import scipy.special
    import scipy.stats  # noqa: F401
    import xarray  # noqa: F401

    with tempfile.TemporaryDirectory() as temporary:
        folder = copied(Path(temporary))
        original = {m: (folder / "pondpop" / f"{m}.py").read_bytes() for m in modules()}
        base, judge = folder / "base.npz", Judge(folder)
        part, parts = map(int, asked.part.split("/"))
        fates: dict[str, list[Change]] = {
            "caught": [], "too slow, caught": [], "nothing can notice": [], "SURVIVED": [], "SURVIVED, two ponds stay": [],
        }  # fmt: skip
        for change in chosen(original, asked.number, asked.seed, asked.only)[part - 1 :: parts]:
            room, began = room_of(change.module), time.monotonic()
            path, text = folder / "pondpop" / f"{change.module}.py", original[change.module]
            status = judge.tried(change, text)
            if status == 0 and key(change) in REASONS:
                fate = "nothing can notice"
            elif status == 0 and room not in MAKE_DATASETS and change.module != "arrays":
                fate = "SURVIVED"
            elif status == 0:
                if not base.exists():
                    assert in_child(figures_of(folder, base)) == 0
                other = folder / "other.npz"
                path.write_bytes(text[: change.start] + change.new.encode() + text[change.end :])
                fell = in_child(figures_of(folder, other)) != 0
                path.write_bytes(text)
                fate = "SURVIVED, two ponds stay" if not fell and same_figures(base, other) else "SURVIVED"
            elif status in (1, 2):  # a test failed, or the module could not be imported
                fate = "caught"
            elif status == 99:
                fate = "too slow, caught"
            else:
                sys.exit(f"no test was run: status {status}\n{judge.told.read_text('utf-8')[-2000:]}")
            fates[fate].append(change)
            reason = REASONS.get(key(change), "")
            by = f" by {judge.failed()}" if fate == "caught" else ""
            words = f"{fate}: {change}{f' ({reason})' if reason else ''} [{key(change)}]{by}"
            print(f"{words} ({time.monotonic() - began:.0f} s)", flush=True)
    caught = len(fates["caught"]) + len(fates["too slow, caught"])
    unmoved = len(fates["SURVIVED, two ponds stay"])
    counted = caught + len(fates["SURVIVED"]) + unmoved
    print(
        f"{counted + len(fates['nothing can notice'])} changes, {len(fates['nothing can notice'])} that nothing can notice; of "
        f"the other {counted}, {caught} caught ({100 * caught / max(counted, 1):.1f} %); {unmoved} of those that survived "
        "leave two small ponds as they are"
    )
    return 0 if caught >= 0.95 * counted else 1


def key(change: Change) -> str:
    """A short name of a change that stays while its line stays as it is, wherever that stands."""
    return hashlib.sha256(f"{change.module} {change.kind} {change.words}".encode()).hexdigest()[:8]


if __name__ == "__main__":
    sys.exit(main())
