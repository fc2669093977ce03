"""The command line: each command is a few lines over public functions.

Starting, help, `check` and every error of the input need the standard library only.
Exit status: 0 answered, 1 could not read or write or an internal fault, 2 the input is wrong, 130 interrupted.
"""

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from io import TextIOWrapper
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from pondpop import __version__
from pondpop.checks import InputError, RunError, one_line

if TYPE_CHECKING:
    from pondpop.scenario import Scenario

CAUTION = (
    "Stocking, moving and harvesting fish are regulated: ask the state agency and a certified fisheries professional."
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one command and returns the exit status."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without ° or – is no reason to fail
    given = _parser().parse_args(arguments)
    command: Callable[[argparse.Namespace], None] = given.command
    try:
        command(given)
        sys.stdout.flush()
    except InputError as error:
        return _complain(error, 2)
    except KeyboardInterrupt:
        return _complain("interrupted", 130)
    except BrokenPipeError:
        # whoever read the output has gone; keep Python from complaining once more when it closes the stream
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except (OSError, RunError) as error:
        return _complain(error, 1)
    except Exception as error:
        return _complain(f"internal fault, please report it: {type(error).__name__}: {error}", 1)
    return 0


def _complain(error: object, status: int) -> int:
    print(f"pondpop: {one_line(str(error))}", file=sys.stderr)
    return status


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        """One line instead of the usage and a line."""
        raise SystemExit(_complain(f"{message}; see {self.prog} --help", 2))


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="pondpop",
        description="Projects the balance of bass and forage in a fishing pond and compares strategies.",
        epilog=CAUTION,
    )
    parser.add_argument("--version", action="version", version=f"pondpop {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    units = _Parser(add_help=False)
    units.add_argument("--units", choices=("us", "metric"), help="units that come first (default: the scenario's)")

    check = commands.add_parser("check", parents=[units], help="tell what a scenario file says, in words")
    check.add_argument("file", metavar="FILE", help="a scenario (TOML)")
    check.set_defaults(command=_check)

    compare = commands.add_parser(
        "compare", parents=[units], help="project every strategy of a scenario and write the comparison"
    )
    compare.add_argument("file", metavar="FILE", help="a scenario (TOML)")
    compare.add_argument("--out", metavar="DIR", type=Path, help="folder to write (default: the file's name + -result)")
    compare.set_defaults(command=_compare)

    report = commands.add_parser("report", help="write the report of a stored projection again")
    report.add_argument("file", metavar="FILE", type=Path, help="projection.nc of an earlier comparison")
    report.add_argument("--out", metavar="HTML", type=Path, help="page to write (default: report.html beside FILE)")
    report.set_defaults(command=_report)

    assess = commands.add_parser("assess", help="judge survey, catch and tag records as a biologist would")
    assess.add_argument("folder", metavar="FOLDER", type=Path, help="folder with the record files (CSV)")
    assess.add_argument("--out", metavar="DIR", type=Path, help="folder to write the text and a table to")
    assess.add_argument("--strict", action="store_true", help="refuse a file with a bad row instead of leaving it out")
    assess.add_argument("--units", choices=("us", "metric"), default="us", help="units of the text (default: us)")
    assess.set_defaults(command=_assess)

    sources = commands.add_parser("sources", help="list every number of the model with its source, and what to cite")
    sources.set_defaults(command=_sources)
    return parser


def _load(given: argparse.Namespace) -> "Scenario":
    from pondpop.scenario import load

    scenario = load(given.file)
    return replace(scenario, units=given.units) if given.units else scenario


def _check(given: argparse.Namespace) -> None:
    from pondpop.scenario import describe

    print(describe(_load(given)), end="")


def _compare(given: argparse.Namespace) -> None:
    scenario = _load(given)
    out = given.out or Path(f"{Path(given.file).stem}-result")

    from pondpop.results import write
    from pondpop.variants import compare

    print(write(compare(scenario), out), end="")


def _report(given: argparse.Namespace) -> None:
    from pondpop.report import write_page
    from pondpop.results import read

    write_page([read(given.file)], given.out or given.file.with_name("report.html"))


def _assess(given: argparse.Namespace) -> None:
    from pondpop.records import read_records

    records = read_records(given.folder, given.strict)

    from pondpop.assess import assess, assessment_text, write_assessment

    found = assess(records)
    if given.out:
        write_assessment(found, given.out, given.units)
    print(assessment_text(found, given.units), end="")


def _sources(given: argparse.Namespace) -> None:
    from pondpop.species.listing import sources_text

    print(sources_text(), end="")
