"""The command line: each command is a few lines over public functions.

Starting, help, `check` and every error of the input need the standard library only, and help little of it: what a
command needs is imported when it runs.
Exit status: 0 answered, 1 could not read or write or an internal fault, 2 the input is wrong, 130 interrupted.
"""

from __future__ import annotations

import argparse
import os
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from io import TextIOWrapper

from pondpop import __version__

TYPE_CHECKING = False  # the name that type checkers know; `typing` takes as long to import as an empty Python to start
if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path
    from typing import Any, NoReturn

    from xarray import Dataset

    from pondpop.ensemble.draws import Source
    from pondpop.ensemble.store import Output
    from pondpop.progress import Progress
    from pondpop.scenario import Scenario

_HELP_COLUMNS = 78
NAMES = {"pond": "name of the pond", "client": "for whom", "consultant": "by whom"}
RESULTS = {"assessment.csv", "scenario.resolved.toml"}  # files that no folder of records has
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

    from pondpop.checks import InputError, RunError, reason

    command: Callable[[argparse.Namespace], None] = given.command
    try:
        with _stopped_alike():
            command(given)
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
    """Being asked to end (SIGTERM) is like an interrupt from the keyboard; after the first one, more are ignored."""

    def stop(*_: object) -> NoReturn:
        for sign in before:
            signal.signal(sign, signal.SIG_IGN)
        before.clear()
        raise KeyboardInterrupt

    before = {sign: signal.getsignal(sign) for sign in (signal.SIGINT, signal.SIGTERM)}
    before = {sign: how for sign, how in before.items() if how in (signal.SIG_DFL, signal.default_int_handler)}
    try:
        for sign in before:
            signal.signal(sign, stop)
    except ValueError:  # not in the first thread: whoever called answers signals
        before = {}
    try:
        yield
    finally:
        for sign, how in before.items():
            signal.signal(sign, how)


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
        from pondpop.checks import Fact, shown

        raise SystemExit(_complain(f"{shown(Fact(message))}; see {self.prog} --help", 2))


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

    begin = commands.add_parser("begin", parents=[units], help="write a scenario for a question, and blank record sheets")
    begin.add_argument("folder", metavar="DIR", type=_path, help="folder to write to; nothing in it is overwritten")
    begin.add_argument(
        "--question",
        metavar="Q",
        default="predators",
        help="predators (default), adults, harvest, repair, feeding, strain or size",
    )
    begin.set_defaults(command=_begin)

    check = commands.add_parser("check", parents=[units], help="tell what a scenario file says, in words")
    check.add_argument("file", metavar="FILE", help="a scenario (TOML)")
    check.set_defaults(command=_check)

    compare = commands.add_parser(
        "compare", parents=[units], help="project every strategy of a scenario and write the comparison"
    )
    compare.add_argument("files", metavar="FILE", nargs="+", help="a scenario (TOML); of several, each pond is compared")
    _long_work(compare, "folder to write (default: the file's name + -result; of several ponds, ponds-result)")
    _with_ensemble(compare)
    compare.add_argument("--details", action="store_true", help="print all that the comparison shows, not the answer only")
    compare.add_argument("--against", metavar="NAME", help="strategy to tell differences from (default: the best one)")
    _with_today(compare)
    compare.set_defaults(command=_compare)

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
    sweep.set_defaults(command=_sweep)

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
    quota.set_defaults(command=_quota)

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
    plan.set_defaults(command=_plan)

    update = commands.add_parser(
        "update", parents=[units], help="learn from the records of a pond: an ensemble that explains them"
    )
    update.add_argument("file", metavar="FILE", help="a scenario (TOML)")
    update.add_argument("--records", metavar="FOLDER", type=_path, required=True, help="folder with record files (CSV)")
    update.add_argument("--strategy", metavar="NAME", help="the strategy that was followed so far (default: the first)")
    update.add_argument("--strict", action="store_true", help="refuse a file with a bad row instead of leaving it out")
    update.add_argument("--details", action="store_true", help="print all that was learned, not the answer only")
    update.add_argument("--seed", metavar="N", type=_whole, help="of all chance (default: the scenario's)")
    _long_work(update, "folder to write (default: the file's name + -updated)")
    update.set_defaults(command=_update)

    verify = commands.add_parser(
        "verify", parents=[units], help="hold a stored projection against what was seen since: does the pond follow it?"
    )
    verify.add_argument("file", metavar="FILE", type=_path, help="projection.nc of a comparison")
    verify.add_argument("--records", metavar="FOLDER", type=_path, required=True, help="folder with record files (CSV)")
    verify.add_argument("--strategy", metavar="NAME", help="the strategy that was followed (default: the first)")
    verify.add_argument(
        "--since", metavar="DATE", type=_day, help="only later records (default: what the ensemble has not learned from)"
    )
    verify.add_argument("--strict", action="store_true", help="refuse a file with a bad row instead of leaving it out")
    verify.add_argument("--out", metavar="DIR", type=_path, help="folder to write (default: the file's folder + -verified)")
    verify.add_argument("--workers", metavar="N", type=_whole, help="processes to work with (default: all cores)")
    verify.add_argument("--resume", action="store_true", help="go on with what an interrupted run left in DIR.partial")
    verify.add_argument("--replace", action="store_true", help="also replace a result of more members")
    _with_ensemble(verify)
    verify.set_defaults(command=_verify)

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
    report.set_defaults(command=_report)

    assess = commands.add_parser("assess", help="judge survey, catch and tag records as a biologist would")
    assess.add_argument("folder", metavar="FOLDER", type=_path, help="folder with the record files (CSV)")
    assess.add_argument("--out", metavar="DIR", type=_path, help="folder to write text, table and a page for the client to")
    _for_whom(assess)
    assess.add_argument("--strict", action="store_true", help="refuse a file with a bad row instead of leaving it out")
    assess.add_argument("--details", action="store_true", help="print every figure, not the answer only")
    assess.add_argument("--units", choices=("us", "metric"), default="us", help="units of the text (default: us)")
    assess.set_defaults(command=_assess)

    keys = commands.add_parser("keys", help="tell what a scenario file may say")
    keys.add_argument("table", metavar="TABLE", nargs="?", default="", help="a table, as stocking; all for all of them")
    keys.set_defaults(command=_keys)

    sources = commands.add_parser("sources", help="list every number of the model with its source, and what to cite")
    sources.set_defaults(command=_sources)
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


def _load(given: argparse.Namespace) -> Scenario:
    from pondpop import checks
    from pondpop.scenario import load

    scenario = load(given.file)
    if getattr(given, "members", None) is not None:
        members = checks.integer("--members", given.members, 1, 10_000)
        scenario = scenario._replace(ensemble=scenario.ensemble._replace(members=members))
    if getattr(given, "seed", None) is not None:
        seed = checks.integer("--seed", given.seed, 0, 2**63 - 1)
        scenario = scenario._replace(ensemble=scenario.ensemble._replace(seed=seed))
    if getattr(given, "workers", None) is not None:
        checks.integer("--workers", given.workers, 1, 256)
    return scenario._replace(units=given.units) if given.units else scenario


def _source(given: argparse.Namespace, *scenarios: Scenario) -> Source:
    """Where the luck of members comes from; an ensemble must have learned of the past that every strategy has."""
    from pondpop.ensemble.draws import Prior

    if given.ensemble is None:
        return Prior()
    from pondpop.checks import InputError
    from pondpop.scenario.what_if import begins
    from pondpop.update.posterior import read_ensemble

    posterior = read_ensemble(given.ensemble)
    for scenario in scenarios:
        for strategy in scenario.strategies.values():
            posterior.check(scenario, strategy)
        for one in scenario.what_if:
            if (first := begins(one)) <= posterior.until:
                raise InputError(f"what_if.{one.name}", first, f"days after {posterior.until}, the last record")
    return posterior


def _without_events(scenario: Scenario) -> str:
    """What is said where a command runs the pond without what may befall it."""
    return "; without the events of [what_if], which compare runs" if scenario.what_if else ""


def _begin(given: argparse.Namespace) -> None:
    from datetime import date

    from pondpop.begin import asked, begin, told

    question = asked(given.question)
    print(told(begin(given.folder, question, given.units or "us", date.today()), question), end="")


def _check(given: argparse.Namespace) -> None:
    from pondpop.scenario import describe
    from pondpop.scenario.initial import lost_rows

    print(describe(_load(given)), end="")
    for line in lost_rows(given.file):
        print(line)


def _compare(given: argparse.Namespace) -> None:
    from pondpop import checks

    if len(given.files) > 1:
        return _compare_ponds(given)
    given.file = given.files[0]
    scenario = _load(given)
    if given.against is not None:
        checks.choice("--against", given.against, scenario.strategies)
    if given.today is not None:
        checks.day("--today", given.today, scenario.run.start, scenario.run.end, " within the run")
    out = given.out if given.out is not None else _path(f"{_path(given.file).stem}-result")

    from pondpop.decide.console import answer_text, balance_table, details_text
    from pondpop.decide.phrases import teller
    from pondpop.ensemble.run import compare
    from pondpop.report import can_draw
    from pondpop.report.files import comparison_files

    can_draw()
    source = _source(given, scenario)
    output = _output(given, out, scenario, source)
    with _working(given, output) as how:
        early = _first_words(scenario, how["progress"])
        dataset = _from_today(given, compare(scenario, source=source, early=early, **how))
    output.finish(comparison_files(scenario, dataset))
    told = teller(dataset, scenario.units)
    against = None if given.against is None else list(scenario.strategies).index(given.against)
    more = "" if given.details else "; --details tells the rest"
    where = f"Everything is in {out.absolute()}; seed {scenario.ensemble.seed}, {scenario.ensemble.members} futures{more}."
    print(answer_text(told, against, where), end="")
    if given.details:
        print(f"\n{balance_table(dataset, scenario.units)}\n{details_text(told, against)}", end="")


def _compare_ponds(given: argparse.Namespace) -> None:
    """Several ponds: each in a folder of its own, and a page that leads to all."""
    from pondpop import checks

    scenarios: dict[str, Scenario] = {}
    for file in given.files:
        given.file, name = file, _path(file).stem
        if name in scenarios:
            raise checks.InputError("FILE", name, "files of different names, which name their folders", "rename one of them")
        scenarios[name] = _load(given)
    for option, value in (("--against", given.against), ("--today", given.today)):
        if value is not None:
            raise checks.InputError(option, str(value), "one pond", "compare that pond alone")
    out = given.out if given.out is not None else _path("ponds-result")

    from pondpop.decide.console import answer_text, pond_line
    from pondpop.decide.phrases import teller
    from pondpop.ensemble.run import compare_ponds
    from pondpop.ensemble.store import text
    from pondpop.report import can_draw, ponds_page
    from pondpop.report.files import comparison_files
    from pondpop.scenario import dump

    can_draw()
    source = _source(given, *scenarios.values())
    first, *others = scenarios.values()
    output = _output(given, out, first, source, **{"other ponds": "\n".join(map(dump, others))})
    with _working(given, output) as how:
        datasets = dict(zip(scenarios, compare_ponds(list(scenarios.values()), source=source, **how), strict=True))
    told = {name: teller(dataset, scenarios[name].units) for name, dataset in datasets.items()}
    files = {
        f"{name}/{file}": write
        for name, dataset in datasets.items()
        for file, write in comparison_files(scenarios[name], dataset).items()
    }
    output.finish(files | {"index.html": text(ponds_page(told))})
    for name, one in told.items():
        print(f"{name}\n{answer_text(one)}" if given.details else pond_line(name, one), end="")
    print(f"Everything is in {out.absolute()}; {out / 'index.html'} leads to each pond.")


def _first_words(scenario: Scenario, progress: Progress) -> Callable[[Any], None] | None:
    """Tells, on a terminal, what the first members say, beside how far the run is."""
    if not sys.stderr.isatty():
        return None
    from pondpop.decide.phrases import teller

    def tell(first: Any) -> None:
        told = teller(first, scenario.units)
        count = f"after {first.sizes['member']} of {scenario.ensemble.members} members"
        progress.say(f"{count}, not yet sure: {told.head}: {told.choice()}")

    return tell


def _sweep(given: argparse.Namespace) -> None:
    from pondpop import checks
    from pondpop.decide.sweep_paths import points, read_axis
    from pondpop.scenario import dump, read, resolve

    scenario = _load(given)
    keep_share = checks.number("--keep-share", given.keep_share, 0, 1)
    probability = checks.number("--with-probability", given.with_probability, 0, 1)
    axes = [read_axis(text) for text in given.vary]

    def finish(raw: dict[str, Any]) -> Scenario:
        found = resolve(raw, _path(given.file).parent)
        return found._replace(ensemble=found.ensemble._replace(members=scenario.ensemble.members), units=scenario.units)

    every = points(read(given.file), axes, finish)

    from pondpop.decide.sweep import Sweep, run, screen
    from pondpop.ensemble.store import text

    out = given.out if given.out is not None else _path(f"{_path(given.file).stem}-sweep")
    source = _source(given, *(point.scenario for point in every))
    output = _output(given, out, scenario, source, **{"--vary": given.vary, "--survivors": given.survivors})
    with _working(given, output) as how:
        rows = run(every, axes, group=given.survivors, source=source, **how)
    found = Sweep(tuple(axes), tuple(rows), scenario, given.survivors)
    said = found.answer(keep_share, probability)
    told = f"{said}\n{found.table()}"
    files = {"scenario.resolved.toml": dump(scenario), "sweep.csv": found.to_csv(), "sweep.txt": told}
    output.finish({name: text(content) for name, content in files.items()})
    print(told if given.details else screen(rows, axes, scenario, said, given.survivors), end="")
    left_out = "" if any(axis.path.startswith("what_if.") for axis in axes) else _without_events(scenario)
    print(f"seed {scenario.ensemble.seed}, {scenario.ensemble.members} futures{left_out}; everything is in {out.absolute()}")


def _quota(given: argparse.Namespace) -> None:
    from pondpop import checks
    from pondpop.decide.sweep_paths import read_pair
    from pondpop.scenario import dump
    from pondpop.units import MM_PER_IN

    scenario = _load(given)
    windows = [read_pair("--window-in", text, 0.2, 35) for text in given.window_in or ("8..12", "15..25")]
    search_members = checks.integer("--search-members", given.search_members, 1, 1000)
    tries = checks.integer("--tries", given.tries, 0, 500)
    asked = {
        "wr_floor": None if given.wr_floor is None else checks.number("--wr-floor", given.wr_floor, 50, 130),
        "probability": checks.number("--with-probability", given.with_probability, 0, 1),
        "windows": [(low * MM_PER_IN, high * MM_PER_IN) for low, high in windows],
        "strategy": given.strategy,
        "from_year": given.from_year,
    }

    import numpy as np

    from pondpop.decide.passages import to_json
    from pondpop.decide.quota import ask, search, with_quota
    from pondpop.decide.quota_phrases import (
        months_csv,
        quota_advice,
        quota_answer,
        quota_csv,
        quota_passages,
        quota_text,
    )
    from pondpop.ensemble.store import text

    question = ask(scenario, **asked)
    out = given.out if given.out is not None else _path(f"{_path(given.file).stem}-quota")
    with_none = with_quota(scenario, question, np.zeros((len(question.windows), len(question.periods))))
    source = _source(given, with_none)
    asked_for = {"question": question, "--search-members": search_members, "--tries": tries}
    output = _output(given, out, scenario, source, **asked_for)
    with _working(given, output) as how:
        found = search(scenario, question, search_members=search_members, tries=tries, source=source, **how)
    told = quota_text(found)
    files = {
        "quota.txt": told,
        "quota.json": to_json(scenario.title, quota_passages(found), quota_advice(found)),
        "quota.csv": quota_csv(found),
        "quota_by_month.csv": months_csv(found),
        "scenario.resolved.toml": dump(found.chosen_scenario),
    }
    output.finish({name: text(content) for name, content in files.items()})
    print(told if given.details else quota_answer(found), end="")
    more = "" if given.details else "; --details tells the rest"
    tried = f"{found.tried} sets of amounts tried{_without_events(scenario)}"
    print(f"Seed {scenario.ensemble.seed}, {tried}; everything is in {out.absolute()}{more}.")


def _plan(given: argparse.Namespace) -> None:
    from pondpop import checks
    from pondpop.decide.sweep_paths import read_axis
    from pondpop.scenario import dump

    scenario = _load(given)
    search_members = checks.integer("--search-members", given.search_members, 1, 1000)
    axes = [read_axis(text) for text in given.vary]

    from pondpop.decide.passages import to_json
    from pondpop.decide.plan import ask, find
    from pondpop.decide.plan_phrases import plan_answer, plan_csv, plan_passages, plan_text
    from pondpop.decide.survey_value import read_survey
    from pondpop.ensemble.store import text

    survey = None if given.survey is None else read_survey(given.survey)
    question = ask(given.file, axes, given.strategy, given.budget, survey, scenario.ensemble, scenario.units)
    out = given.out if given.out is not None else _path(f"{_path(given.file).stem}-plan")
    source = _source(given, question.scenario)
    asked = {"--vary": given.vary, "--strategy": question.strategy, "--budget": given.budget,
             "--survey": given.survey, "--search-members": search_members}  # fmt: skip
    output = _output(given, out, scenario, source, **asked)
    with _working(given, output) as how:
        found = find(question, search_members=search_members, source=source, **how)
    files = {
        "plan.txt": plan_text(found),
        "plan.json": to_json(scenario.title, plan_passages(found)),
        "plan.csv": plan_csv(found),
        "scenario.resolved.toml": dump(found.chosen_scenario),
    }
    output.finish({name: text(content) for name, content in files.items()})
    print(plan_text(found) if given.details else plan_answer(found), end="")
    more = "" if given.details else "; --details tells the rest"
    futures = f"{scenario.ensemble.members} futures{_without_events(scenario)}"
    print(f"Seed {scenario.ensemble.seed}, {futures}; everything is in {out.absolute()}{more}.")


def _update(given: argparse.Namespace) -> None:
    from pondpop.records import read_records
    from pondpop.scenario import dump

    scenario = _load(given)
    records = read_records(given.records, given.strict)

    from dataclasses import replace

    from pondpop.ensemble.store import text
    from pondpop.update import update_ensemble
    from pondpop.update.posterior import write_ensemble
    from pondpop.update.text import update_answer, update_csv, update_text

    out = given.out if given.out is not None else _path(f"{_path(given.file).stem}-updated")
    output = _output(given, out, scenario, None, **{"--strategy": given.strategy, "records": records})
    with _working(given, output) as how:
        found = update_ensemble(scenario, records, given.strategy, **how)
    told = update_text(found, scenario.units)
    files = {
        "update.txt": text(told),
        "update.csv": text(update_csv(found, scenario.units)),
        "scenario.resolved.toml": text(dump(scenario)),
    }
    posterior = found.posterior
    if posterior is not None:
        # what a report of a later comparison says of the records
        about = {**posterior.about, "update": told, "update_table": update_csv(found, "metric"),
                 "last_record": posterior.until.isoformat()}  # fmt: skip
        posterior = replace(posterior, about=about)
        files["posterior.nc"] = partial(write_ensemble, posterior)
    output.finish(files)
    print(told if given.details else update_answer(found, scenario.units), end="")
    more = "" if given.details else "; --details tells the rest"
    print(f"Seed {scenario.ensemble.seed}, {scenario.ensemble.members} members; everything is in {out.absolute()}{more}.")


def _verify(given: argparse.Namespace) -> None:
    from pondpop import checks
    from pondpop.records import read_records

    checks.ordinary_file(given.file, "the projection.nc of a comparison", "check the path")
    if given.workers is not None:
        checks.integer("--workers", given.workers, 1, 256)
    records = read_records(given.records, given.strict)

    from pondpop.decide.goals import scenario_of
    from pondpop.decide.passages import to_json
    from pondpop.ensemble import results
    from pondpop.ensemble.store import text
    from pondpop.update.verify import verify
    from pondpop.update.verify_text import verify_csv, verify_passages, verify_text

    dataset = results.read(given.file)
    scenario = scenario_of(dataset)
    scenario = scenario._replace(units=given.units or scenario.units)
    source = None if given.ensemble is None else _source(given)
    folder = given.file.absolute().parent
    out = given.out if given.out is not None else folder.with_name(f"{folder.name}-verified")
    asked = {"--strategy": given.strategy, "--since": given.since, "records": records}
    output = _output(given, out, scenario, source, **asked)
    with _working(given, output) as how:
        found = verify(dataset, records, given.strategy, since=given.since, source=source, **how)
    told = verify_text(found, scenario.units)
    page = to_json(scenario.title, verify_passages(found, scenario.units))
    files = {"verify.txt": told, "verify.json": page, "verify.csv": verify_csv(found, scenario.units)}
    output.finish({name: text(content) for name, content in files.items()})
    print(told, end="")
    print(f"Everything is in {out.absolute()}.")


def _output(
    given: argparse.Namespace, out: Path, scenario: Scenario, source: Source | None, **options: object
) -> Output:
    """The folder to write, for a run that all of this decides: two runs that differ in any of it give other results."""
    from pondpop.ensemble.store import MEMBERS, Output
    from pondpop.scenario import dump

    ensemble = scenario.ensemble
    alike = scenario._replace(ensemble=ensemble._replace(members=1, seed=0), units="us")
    run = {
        "scenario": dump(alike),
        MEMBERS: ensemble.members,
        "seed": ensemble.seed,
        "--units": scenario.units,
        **({"--ensemble": source.identity} if source else {}),
        **options,
    }
    told = {name: str(value) for name, value in run.items() if value is not None}
    return Output(out, told, given.resume, given.replace)


@contextmanager
def _working(given: argparse.Namespace, output: Output) -> Iterator[dict[str, Any]]:
    """How long work is done: by which executor, where blocks are kept, who is told; says how to go on if stopped."""
    from pondpop.checks import InputError
    from pondpop.ensemble.workers import cores, processes
    from pondpop.progress import Progress

    progress = Progress()
    try:
        with processes(given.workers or cores()) as executor:
            yield {"executor": executor, "store": output, "progress": progress}
    except KeyboardInterrupt:
        progress.close()
        raise KeyboardInterrupt(f"finished members are in {output.partial}; go on with --resume") from None
    except InputError:
        output.discard()
        raise
    progress.close()


def _report(given: argparse.Namespace) -> None:
    from pondpop.ensemble.store import page_place

    projections, found, folders = _parts(given.files)
    out = given.out if given.out is not None else (projections or found)[0].with_name("report.html")
    page_place(out, [*projections, *found], given.replace)
    whom = _whom(given)
    if not projections:
        from pondpop.checks import Fact, InputError
        from pondpop.report.document import For
        from pondpop.report.searches_page import write_searches

        for name in ("units", "today"):
            if getattr(given, name) is not None:
                allowed = "a comparison on the page; what was found is told as it was"
                raise InputError(f"--{name}", Fact("a page without a comparison"), allowed, "leave it out")
        write_searches(found, out, given.replace, For(**whom))
        return

    from pondpop.assess import assess_records
    from pondpop.ensemble.results import read
    from pondpop.records import read_records
    from pondpop.report import For, can_draw, write_report

    can_draw()
    assessment = assess_records(read_records(folders[0])) if folders else None
    datasets = [_from_today(given, read(file)) for file in projections]
    if assessment and len(datasets) == 1 and "last_record" not in datasets[0].attrs and assessment.records.last:
        datasets = [datasets[0].assign_attrs(last_record=assessment.records.last.isoformat())]
    write_report(datasets, out, given.units, given.replace, assessment, found, For(**whom))


def _parts(given: Sequence[Path]) -> tuple[list[Path], list[Path], list[Path]]:
    """Projections, files of searches and folders of records among what a page is to be made of. Raises InputError."""
    from pondpop.checks import Fact, InputError, ordinary_file
    from pondpop.decide.passages import FILES

    projections, searches, folders = [], [], []
    parts = "a result of compare, quota, plan or verify, or a folder of records"
    for path in given:
        if path.is_dir():
            inside = {one.name for one in path.iterdir() if one.is_file()}
            if "projection.nc" in inside:
                projections.append(path / "projection.nc")
            elif inside & FILES.keys():
                searches += [path / name for name in FILES if name in inside]
            elif any(name.lower().endswith(".csv") for name in inside) and not inside & RESULTS:
                folders.append(path)
            else:
                of_records = "assessment.csv" in inside
                remedy = "name the folder of the records that were assessed" if of_records else "check the path"
                raise InputError("", Fact("a folder that holds none"), parts, remedy, file=str(path))
        elif path.name in FILES and path.is_file():
            searches.append(path)
        else:
            ordinary_file(path, "the projection.nc of a comparison", "check the path")
            projections.append(path)
    if not projections and (folders or not searches):
        remedy = "name one; `pondpop assess FOLDER --out DIR` makes a page of records alone"
        raise InputError("", Fact("no comparison"), "at least one projection.nc, or the folder of one", remedy)
    if len(folders) > 1:
        raise InputError("", Fact(f"{len(folders)} folders of records"), "those of one pond", file=str(folders[1]))
    return projections, searches, folders


def _whom(given: argparse.Namespace) -> dict[str, str]:
    """The names for a cover. Raises InputError."""
    from pondpop.checks import text

    names = {name: str(getattr(given, name)) for name in NAMES}
    for name, words in names.items():
        if words:
            text(f"--{name}", words, 200)
    return names


def _from_today(given: argparse.Namespace, dataset: Dataset) -> Dataset:
    """A projection whose calendar begins on the day asked for; as it was if none is."""
    if given.today is None:
        return dataset
    from pondpop import checks
    from pondpop.decide.goals import scenario_of

    run = scenario_of(dataset).run
    checks.day("--today", given.today, run.start, run.end, " within the run")
    return dataset.assign_attrs(today=given.today.isoformat())


def _assess(given: argparse.Namespace) -> None:
    from pondpop.records import read_records

    names = _whom(given)
    records = read_records(given.folder, given.strict)

    from pondpop.assess import assess_records, assessment_text, write_assessment
    from pondpop.assess.text import assessment_answer

    found = assess_records(records)
    if given.out is not None:
        from pondpop.report import For, assessment_page, can_draw

        can_draw()
        write_assessment(found, given.out, given.units, assessment_page(found, given.units, For(**names)))
    where = "" if given.out is None else str(given.out.absolute() / "assessment.html")
    print(assessment_text(found, given.units) if given.details else assessment_answer(found, given.units, where), end="")


def _keys(given: argparse.Namespace) -> None:
    from pondpop.scenario.keys import keys_text

    print(keys_text(given.table), end="")


def _sources(given: argparse.Namespace) -> None:
    from pondpop.species.catalogue import sources_text

    print(sources_text(), end="")
