"""What each command does: a few lines over public functions.

What needs more than the standard library is imported after the input was judged.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pondpop import checks

if TYPE_CHECKING:
    from xarray import Dataset

    from pondpop.ensemble.draws import Source
    from pondpop.ensemble.store import Output
    from pondpop.progress import Progress
    from pondpop.scenario import Scenario

RESULTS = {"assessment.csv", "scenario.resolved.toml"}  # files that no folder of records has


def begin(given: argparse.Namespace) -> None:
    from datetime import date

    from pondpop import begin as beginning

    question = beginning.asked(given.question)
    made = beginning.begin(given.folder, question, given.units or "us", date.today())
    print(beginning.told(made, question), end="")


def check(given: argparse.Namespace) -> None:
    from pondpop.scenario import describe
    from pondpop.scenario.initial import begun_with

    scenario = _load(given)
    print(describe(scenario), end="")
    for line in begun_with(given.file, scenario.run.start):
        print(line)


def compare(given: argparse.Namespace) -> None:
    if len(given.files) > 1:
        return _compare_ponds(given)
    given.file = given.files[0]
    scenario = _load(given)
    if given.against is not None:
        checks.choice("--against", given.against, scenario.strategies)
    if given.today is not None:
        checks.day("--today", given.today, scenario.run.start, scenario.run.end, " within the run")
    out = given.out if given.out is not None else Path(f"{Path(given.file).stem}-result")

    from pondpop.decide.console import answer_text, balance_table, details_text
    from pondpop.decide.phrases import teller
    from pondpop.ensemble import run
    from pondpop.report import can_draw
    from pondpop.report.files import comparison_files

    can_draw()
    source = _source(given, scenario)
    output = _output(given, out, scenario, source)
    with _working(given, output) as how:
        early = _first_words(scenario, how["progress"])
        dataset = _from_today(given, run.compare(scenario, source=source, early=early, **how))
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
    scenarios: dict[str, Scenario] = {}
    for file in given.files:
        given.file, name = file, Path(file).stem
        if name in scenarios:
            raise checks.InputError("FILE", name, "files of different names, which name their folders", "rename one of them")
        scenarios[name] = _load(given)
    for option, value in (("--against", given.against), ("--today", given.today)):
        if value is not None:
            raise checks.InputError(option, str(value), "one pond", "compare that pond alone")
    out = given.out if given.out is not None else Path("ponds-result")

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
    _close(f"Everything is in {out.absolute()}; {out / 'index.html'} leads to each pond.")


def _close(words: str) -> None:
    """The last words of an answer, on lines no wider than a plain terminal; a path stays in one piece."""
    from pondpop.decide.console import wrapped

    print("\n".join(wrapped(words)))


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


def sweep(given: argparse.Namespace) -> None:
    from pondpop.decide.sweep_paths import points, read_axis
    from pondpop.scenario import dump, read, resolve

    scenario = _load(given)
    keep_share = checks.number("--keep-share", given.keep_share, 0, 1)
    probability = checks.number("--with-probability", given.with_probability, 0, 1)
    axes = [read_axis(text) for text in given.vary]

    def finish(raw: dict[str, Any]) -> Scenario:
        found = resolve(raw, Path(given.file).parent)
        return found._replace(ensemble=found.ensemble._replace(members=scenario.ensemble.members), units=scenario.units)

    every = points(read(given.file), axes, finish)

    from pondpop.decide.sweep import Sweep, run, screen
    from pondpop.ensemble.store import text

    out = given.out if given.out is not None else Path(f"{Path(given.file).stem}-sweep")
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
    _close(f"seed {scenario.ensemble.seed}, {scenario.ensemble.members} futures{left_out}; everything is in {out.absolute()}")


def quota(given: argparse.Namespace) -> None:
    from pondpop.scenario import dump

    scenario = _load(given)
    windows = _windows(given)
    search_members = checks.integer("--search-members", given.search_members, 1, 1000)
    tries = checks.integer("--tries", given.tries, 0, 500)
    asked = {
        "wr_floor": None if given.wr_floor is None else checks.number("--wr-floor", given.wr_floor, 50, 130),
        "probability": checks.number("--with-probability", given.with_probability, 0, 1),
        "windows": windows,
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
    out = given.out if given.out is not None else Path(f"{Path(given.file).stem}-quota")
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
    _close(f"Seed {scenario.ensemble.seed}, {tried}; everything is in {out.absolute()}{more}.")


def _windows(given: argparse.Namespace) -> list[tuple[float, float]]:
    """The length windows of a quota in mm, from the one option of the two that is given. Raises InputError."""
    from pondpop.decide.sweep_paths import read_pair
    from pondpop.units import MM_PER_IN

    if given.window_mm and given.window_in:
        raise checks.InputError("--window-mm", given.window_mm[0], "windows in one unit", "--window-in is given too, remove one")
    if given.window_mm:
        windows = [read_pair("--window-mm", text, 5, 889) for text in given.window_mm]
        for text, (_, high) in zip(given.window_mm, windows, strict=True):
            if high <= 35:  # the longest length in inches; of such fry nobody takes any
                remedy = f"for inches write --window-in {text}"
                raise checks.InputError("--window-mm", text, "lengths of bass that can be caught, in mm", remedy)
        return windows
    inches = [read_pair("--window-in", text, 0.2, 35) for text in given.window_in or ("8..12", "15..25")]
    return [(low * MM_PER_IN, high * MM_PER_IN) for low, high in inches]


def plan(given: argparse.Namespace) -> None:
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
    out = given.out if given.out is not None else Path(f"{Path(given.file).stem}-plan")
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
    _close(f"Seed {scenario.ensemble.seed}, {futures}; everything is in {out.absolute()}{more}.")


def update(given: argparse.Namespace) -> None:
    from pondpop.records import read_records
    from pondpop.scenario import dump

    scenario = _load(given)
    records = read_records(given.records, given.strict)

    from dataclasses import replace

    from pondpop.ensemble.store import text
    from pondpop.update import update_ensemble
    from pondpop.update.posterior import write_ensemble
    from pondpop.update.text import update_answer, update_csv, update_text

    out = given.out if given.out is not None else Path(f"{Path(given.file).stem}-updated")
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
    _close(f"Seed {scenario.ensemble.seed}, {scenario.ensemble.members} members; everything is in {out.absolute()}{more}.")


def verify(given: argparse.Namespace) -> None:
    from pondpop.records import read_records

    checks.ordinary_file(given.file, "the projection.nc of a comparison", "check the path")
    if given.workers is not None:
        checks.integer("--workers", given.workers, 1, 256)
    records = read_records(given.records, given.strict)

    from pondpop.decide.goals import scenario_of
    from pondpop.decide.passages import to_json
    from pondpop.ensemble import results
    from pondpop.ensemble.store import text
    from pondpop.update import verify as forecasts
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
        found = forecasts.verify(dataset, records, given.strategy, since=given.since, source=source, **how)
    told = verify_text(found, scenario.units)
    page = to_json(scenario.title, verify_passages(found, scenario.units))
    files = {"verify.txt": told, "verify.json": page, "verify.csv": verify_csv(found, scenario.units)}
    output.finish({name: text(content) for name, content in files.items()})
    print(told, end="")
    _close(f"Everything is in {out.absolute()}.")


def report(given: argparse.Namespace) -> None:
    from pondpop.ensemble.store import page_place

    projections, found, folders = _parts(given.files)
    out = given.out if given.out is not None else (projections or found)[0].with_name("report.html")
    page_place(out, [*projections, *found], given.replace)
    whom = _whom(given)
    if not projections:
        from pondpop.report.document import For
        from pondpop.report.searches_page import write_searches

        for name in ("units", "today"):
            if getattr(given, name) is not None:
                allowed = "a comparison on the page; what was found is told as it was"
                raise checks.InputError(f"--{name}", checks.Fact("a page without a comparison"), allowed, "leave it out")
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
                raise checks.InputError("", checks.Fact("a folder with nothing of the kind"), parts, remedy, file=str(path))
        elif path.name in FILES and path.is_file():
            searches.append(path)
        else:
            checks.ordinary_file(path, "the projection.nc of a comparison", "check the path")
            projections.append(path)
    if not projections and (folders or not searches):
        remedy = "name one; `pondpop assess FOLDER --out DIR` makes a page of records alone"
        raise checks.InputError("", checks.Fact("no comparison"), "at least one projection.nc, or the folder of one", remedy)
    if len(folders) > 1:
        raise checks.InputError("", checks.Fact(f"{len(folders)} folders of records"), "those of one pond", file=str(folders[1]))
    return projections, searches, folders


def _whom(given: argparse.Namespace) -> dict[str, str]:
    """The names for a cover. Raises InputError."""
    names = {"pond": given.pond, "client": given.client, "consultant": given.consultant}
    for name, words in names.items():
        if words:
            checks.text(f"--{name}", words, 200)
    return names


def assess(given: argparse.Namespace) -> None:
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


def keys(given: argparse.Namespace) -> None:
    from pondpop.scenario.keys import keys_text

    print(keys_text(given.table), end="")


def sources(given: argparse.Namespace) -> None:
    from pondpop.species.catalogue import sources_text

    print(sources_text(), end="")


# ---------------------------------------------------------------------- how they work


def _load(given: argparse.Namespace) -> Scenario:
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
    from pondpop.scenario.what_if import begins
    from pondpop.update.posterior import read_ensemble

    posterior = read_ensemble(given.ensemble)
    for scenario in scenarios:
        for strategy in scenario.strategies.values():
            posterior.check(scenario, strategy)
        for one in scenario.what_if:
            if (first := begins(one)) <= posterior.until:
                raise checks.InputError(f"what_if.{one.name}", first, f"days after {posterior.until}, the last record")
    return posterior


def _without_events(scenario: Scenario) -> str:
    """What is said where a command runs the pond without what may befall it."""
    return "; without the events of [what_if], which compare runs" if scenario.what_if else ""


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
    from pondpop.ensemble.workers import cores, processes
    from pondpop.progress import Progress

    progress = Progress()
    try:
        with processes(given.workers or cores()) as executor:
            yield {"executor": executor, "store": output, "progress": progress}
    except KeyboardInterrupt:
        progress.close()
        raise KeyboardInterrupt(f"finished members are in {output.partial}; go on with --resume") from None
    except checks.InputError:
        output.discard()
        raise
    progress.close()


def _from_today(given: argparse.Namespace, dataset: Dataset) -> Dataset:
    """A projection whose calendar begins on the day asked for; as it was if none is."""
    if given.today is None:
        return dataset
    from pondpop.decide.goals import scenario_of

    run = scenario_of(dataset).run
    checks.day("--today", given.today, run.start, run.end, " within the run")
    return dataset.assign_attrs(today=given.today.isoformat())
