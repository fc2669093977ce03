"""The command line: what can be asked, how it is read, and how a command ends; of each, `commands` has a function.

Starting, help, `check` and every error of the input need the standard library only, and help little of it: what a
command needs is imported when it runs.
Exit status: 0 answered, 1 could not read or write or an internal fault, 2 the input is wrong, 130 interrupted.
"""

from __future__ import annotations

import argparse
import os
import signal
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from io import TextIOWrapper
from threading import Event, Thread, get_ident

from pondpop import __version__

TYPE_CHECKING = False  # the name that type checkers know; `typing` takes as long to import as an empty Python to start
if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path
    from typing import Any, NoReturn

_HELP_COLUMNS = 78
NAMES = {"pond": "name of the pond", "client": "for whom", "consultant": "by whom"}
CAUTION = (
    "Stocking, moving and harvesting fish are regulated: ask the state agency and a certified fisheries professional."
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one command and returns the exit status."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without ° or – is no reason to fail
    for library in ("OPENBLAS", "MKL", "OMP"):  # one thread each: the same bits for any number of processes
        os.environ.setdefault(f"{library}_NUM_THREADS", "1")
    given = _parser().parse_args(arguments)
    for name, value in vars(given).items():
        if value == []:  # argparse takes "--" after a "=" for no value at all
            return _complain(f'--{name.replace("_", "-")}: got "--", needs a value', 2)

    from pondpop import commands
    from pondpop.checks import InputError, RunError, reason

    try:
        with _stopped_alike():
            getattr(commands, given.command)(given)
        print(end="", flush=True)  # sys.stdout is None where there is none
    except InputError as error:
        return _complain(error, 2)
    except KeyboardInterrupt as error:
        return _complain(f"interrupted{'; ' if error.args else ''}{error}", 130)
    except BrokenPipeError:
        # whoever read the output has gone; keep Python from complaining once more when it closes the stream
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except OSError as error:
        return _complain(reason(error), 1)
    except RunError as error:
        return _complain(error, 1)
    except MemoryError:
        return _complain("not enough memory; ask for fewer members, workers or strategies", 1)
    except Exception as error:
        return _complain(f"internal fault, please report it: {type(error).__name__}: {error}", 1)
    return 0


@contextmanager
def _stopped_alike() -> Iterator[None]:
    """Being asked to end (SIGTERM) is like an interrupt from the keyboard; after the first one, more are ignored.

    Python loses what is raised while something is finalised, as happens at the end of every import: it is raised again, and
    again until it is heard, however long the machine takes over what was finalised.
    """

    def stop(*_: object) -> None:
        if deaf.is_set():
            return
        for sign in ours:
            signal.signal(sign, signal.SIG_IGN)
        before.clear()
        raise KeyboardInterrupt

    def again(lost: sys.UnraisableHookArgs) -> None:
        if lost.exc_type is not KeyboardInterrupt:
            return told(lost)
        deaf.set()  # what is raised here would be lost too, and for good
        signal.signal(ours[0], stop)
        if not asks.ident:
            asks.start()
        deaf.clear()

    def ask() -> None:
        while not over.wait(0.01):
            signal.pthread_kill(first, ours[0])

    before = {sign: signal.getsignal(sign) for sign in (signal.SIGINT, signal.SIGTERM)}
    before = {sign: how for sign, how in before.items() if how in (signal.SIG_DFL, signal.default_int_handler)}
    ours, told, first = list(before), sys.unraisablehook, get_ident()
    deaf, over, asks = Event(), Event(), Thread(target=ask, daemon=True)
    try:
        for sign in ours:
            signal.signal(sign, stop)
    except ValueError:  # not in the first thread: whoever called answers signals
        before, ours = {}, []
    if ours and hasattr(signal, "pthread_kill"):  # not on Windows
        sys.unraisablehook = again
    try:
        yield
    finally:
        sys.unraisablehook = told
        deaf.set()
        over.set()
        if asks.ident:
            asks.join()
        for sign in ours:
            signal.signal(sign, before.get(sign, signal.SIG_IGN))


def _complain(error: object, status: int) -> int:
    from pondpop.checks import one_line

    print(f"pondpop: {one_line(str(error))}", file=sys.stderr)
    return status


class _Parser(argparse.ArgumentParser):
    """Help is as wide as a plain terminal; to ask how wide this one is costs more time than all else about help."""

    def __init__(self, **options: Any) -> None:
        super().__init__(formatter_class=partial(argparse.HelpFormatter, width=_HELP_COLUMNS), **options)

    def error(self, message: str) -> NoReturn:
        """One line instead of the usage and a line."""
        import re

        from pondpop.checks import Fact, shown

        wrong = re.fullmatch(r"argument (\S+): invalid choice: '(.*)' \(choose from (.*)\)", message)
        if wrong:  # as every other refusal is told
            message = f'{wrong[1]}: got "{wrong[2]}", needs one of {wrong[3].replace(chr(39), "")}'
        raise SystemExit(_complain(f"{shown(Fact(message))}; see {self.prog} --help", 2))


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="pondpop",
        description="Projects the balance of bass and forage in a fishing pond and compares strategies.",
        epilog=CAUTION,
    )
    parser.add_argument("--version", action="version", version=f"pondpop {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND", dest="command")

    units = _Parser(add_help=False)
    units.add_argument("--units", choices=("us", "metric"), help="units that come first (default: the scenario's)")

    begin = commands.add_parser("begin", parents=[units], help="write a scenario for a question, and blank record sheets")
    begin.add_argument("folder", metavar="DIR", type=_path, help="folder to write to; nothing in it is overwritten")
    begin.add_argument(
        "--question",
        metavar="Q",
        default="predators",
        help="predators (default), adults, harvest, repair, feeding, strain or size",
    )

    check = commands.add_parser("check", parents=[units], help="tell what a scenario file says, in words")
    check.add_argument("file", metavar="FILE", help="a scenario (TOML)")

    compare = commands.add_parser(
        "compare", parents=[units], help="project every strategy of a scenario and write the comparison"
    )
    compare.add_argument("files", metavar="FILE", nargs="+", help="a scenario (TOML); of several, each pond is compared")
    _long_work(compare, "folder to write (default: the file's name + -result; of several ponds, ponds-result)")
    _with_ensemble(compare)
    compare.add_argument("--details", action="store_true", help="print all that the comparison shows, not the answer only")
    compare.add_argument("--against", metavar="NAME", help="strategy to tell differences from (default: the best one)")
    _with_today(compare)

    sweep = commands.add_parser(
        "sweep", parents=[units], help="vary one or two numbers or dates of a scenario under the same luck"
    )
    sweep.add_argument("file", metavar="FILE", help="a scenario (TOML)")
    sweep.add_argument(
        "--vary",
        metavar="PATH=VALUES",
        action="append",
        required=True,
        help="a path in the file and its values: first..last/step (days, for dates) or a,b,c; twice for a grid",
    )
    sweep.add_argument("--survivors", metavar="GROUP", help="stocked group whose survivors are counted")
    sweep.add_argument("--keep-share", metavar="SHARE", type=_real, default=0.5, help="of the group (default: 0.5)")
    sweep.add_argument("--with-probability", metavar="P", type=_real, default=0.8, help="(default: 0.8)")
    _long_work(sweep, "folder to write (default: the file's name + -sweep)")
    _with_ensemble(sweep)
    sweep.add_argument("--details", action="store_true", help="print every point and all that is shown of it")

    quota = commands.add_parser(
        "quota", parents=[units], help="find how many bass to take each year, by length window, to serve the goals"
    )
    quota.add_argument("file", metavar="FILE", help="a scenario (TOML)")
    quota.add_argument("--strategy", metavar="NAME", help="the strategy whose bass are harvested (default: the first)")
    quota.add_argument(
        "--window-in",
        metavar="FROM..TO",
        action="append",
        help="length window in inches, up to three times (default: 8..12 and 15..25)",
    )
    quota.add_argument("--window-mm", metavar="FROM..TO", action="append", help="the same in mm")
    quota.add_argument("--from-year", metavar="N", type=_whole, help="calendar year of the run in which harvest begins")
    quota.add_argument("--wr-floor", metavar="WR", type=_real, help="least Wr of bass of 8–12 in, beside the goals of the file")
    quota.add_argument(
        "--with-probability", metavar="P", type=_real, default=0.8, help="of each limit that the goals set (default: 0.8)"
    )
    quota.add_argument("--search-members", metavar="N", type=_whole, default=16, help="while searching (default: 16)")
    quota.add_argument("--tries", metavar="N", type=_whole, default=24, help="steps after the first scan (default: 24)")
    _long_work(quota, "folder to write (default: the file's name + -quota)")
    _with_ensemble(quota)
    quota.add_argument("--details", action="store_true", help="print all that was found, not the answer only")

    plan = commands.add_parser(
        "plan", parents=[units], help="find the combination of up to six decisions that serves the goals best"
    )
    plan.add_argument("file", metavar="FILE", help="a scenario (TOML)")
    plan.add_argument(
        "--vary",
        metavar="PATH=VALUES",
        action="append",
        required=True,
        help="a decision: a path in the file and its values, first..last/step or a,b,c; up to six times",
    )
    plan.add_argument("--strategy", metavar="NAME", help="what is planned (default: the strategy of the paths, or the first)")
    plan.add_argument("--budget", metavar="MONEY", type=_real, help="most that the plan may cost, in the currency of [costs]")
    plan.add_argument(
        "--survey", metavar="SURVEY", help="one that could be made, as electrofishing:2h@2028-10-15: what it is worth"
    )
    plan.add_argument("--search-members", metavar="N", type=_whole, default=32, help="while searching (default: 32)")
    _long_work(plan, "folder to write (default: the file's name + -plan)")
    _with_ensemble(plan)
    plan.add_argument("--details", action="store_true", help="print all that was found, not the answer only")

    update = commands.add_parser(
        "update", parents=[units], help="learn from the records of a pond: an ensemble that explains them"
    )
    update.add_argument("file", metavar="FILE", help="a scenario (TOML)")
    update.add_argument("--records", metavar="FOLDER", type=_path, required=True, help="folder with record files (CSV)")
    update.add_argument(
        "--strategy", metavar="NAME", help="the strategy that was followed so far (needed if they differ before the last record)"
    )
    update.add_argument("--strict", action="store_true", help="refuse a file with a bad row instead of leaving it out")
    update.add_argument("--details", action="store_true", help="print all that was learned, not the answer only")
    update.add_argument("--seed", metavar="N", type=_whole, help="of all chance (default: the scenario's)")
    _long_work(update, "folder to write (default: the file's name + -updated)")

    verify = commands.add_parser(
        "verify", parents=[units], help="hold a stored projection against what was seen since: does the pond follow it?"
    )
    verify.add_argument("file", metavar="FILE", type=_path, help="projection.nc of a comparison")
    verify.add_argument("--records", metavar="FOLDER", type=_path, required=True, help="folder with record files (CSV)")
    verify.add_argument(
        "--strategy", metavar="NAME", help="the strategy that was followed (needed if they differ before the last record)"
    )
    verify.add_argument(
        "--since", metavar="DATE", type=_day, help="only later records (default: what the ensemble has not learned from)"
    )
    verify.add_argument("--strict", action="store_true", help="refuse a file with a bad row instead of leaving it out")
    verify.add_argument("--out", metavar="DIR", type=_path, help="folder to write (default: the file's folder + -verified)")
    verify.add_argument("--workers", metavar="N", type=_whole, help="processes to work with (default: all cores)")
    verify.add_argument("--resume", action="store_true", help="go on with what an interrupted run left in DIR.partial")
    verify.add_argument("--replace", action="store_true", help="also replace a result of more members")
    _with_ensemble(verify)

    report = commands.add_parser("report", parents=[units], help="join comparisons, searches and records in one page")
    report.add_argument(
        "files",
        metavar="RESULT",
        nargs="+",
        type=_path,
        help="folder of a comparison, quota, plan, verification or records; several comparisons side by side",
    )
    report.add_argument("--out", metavar="HTML", type=_path, help="page to write (default: report.html beside the projection)")
    report.add_argument("--replace", action="store_true", help="also replace a page that pondpop did not write")
    _with_today(report)
    _for_whom(report)

    assess = commands.add_parser("assess", help="judge survey, catch and tag records as a biologist would")
    assess.add_argument("folder", metavar="FOLDER", type=_path, help="folder with the record files (CSV)")
    assess.add_argument("--out", metavar="DIR", type=_path, help="folder to write text, table and a page for the client to")
    _for_whom(assess)
    assess.add_argument("--strict", action="store_true", help="refuse a file with a bad row instead of leaving it out")
    assess.add_argument("--details", action="store_true", help="print every figure, not the answer only")
    assess.add_argument("--units", choices=("us", "metric"), default="us", help="units of the text (default: us)")

    keys = commands.add_parser("keys", help="tell what a scenario file may say")
    keys.add_argument("table", metavar="TABLE", nargs="?", default="", help="a table, as stocking, or a key; all for all of them")

    commands.add_parser("sources", help="list every number of the model with its source, and what to cite")
    return parser


def _path(text: str) -> Path:
    from pathlib import Path

    if not text:  # an empty variable of a shell, as a rule, and not the folder one stands in
        raise argparse.ArgumentTypeError(_got(text, "a path"))
    return Path(text)


def _whole(text: str) -> int:
    digits = text[1:] if text[:1] in ("+", "-") else text
    if not (digits.isascii() and digits.isdigit() and len(digits) <= 30):
        raise argparse.ArgumentTypeError(_got(text, "a whole number"))
    return int(text)


def _real(text: str) -> float:
    try:
        if text.isascii() and "_" not in text:
            return float(text)
    except ValueError:
        pass
    raise argparse.ArgumentTypeError(_got(text, "a number"))


def _got(text: str, allowed: str) -> str:
    from pondpop.checks import shown

    return f"got {shown(text)}, needs {allowed}"


def _day(text: str) -> date:
    from datetime import date
    from re import fullmatch

    try:
        if fullmatch("[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
            return date.fromisoformat(text)
    except ValueError:
        pass
    raise argparse.ArgumentTypeError(_got(text, "a date such as 2027-06-05"))


def _with_today(command: argparse.ArgumentParser) -> None:
    help_ = "day from which the calendar tells what to do (default: the last record, or the start of the run)"
    command.add_argument("--today", metavar="DATE", type=_day, help=help_)


def _for_whom(command: argparse.ArgumentParser) -> None:
    for name, words in NAMES.items():
        command.add_argument(f"--{name}", metavar="TEXT", default="", help=f"{words}, for the page")


def _long_work(command: argparse.ArgumentParser, out: str) -> None:
    """Options of every command that projects ponds."""
    command.add_argument("--out", metavar="DIR", type=_path, help=out)
    command.add_argument("--members", metavar="N", type=_whole, help="members of the ensemble (default: the scenario's)")
    command.add_argument("--workers", metavar="N", type=_whole, help="processes to work with (default: all cores)")
    command.add_argument("--resume", action="store_true", help="go on with what an interrupted run left in DIR.partial")
    command.add_argument("--replace", action="store_true", help="also replace a result of more members")


def _with_ensemble(command: argparse.ArgumentParser) -> None:
    command.add_argument("--ensemble", metavar="FILE", type=_path, help="posterior.nc of an update, in place of spreads")
