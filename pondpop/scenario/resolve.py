"""From what a file says to a `Scenario`, checked and in SI. Standard library only."""

import datetime as dt
import tomllib
from pathlib import Path
from typing import Any

from pondpop import checks
from pondpop.checks import MISSING, Fact, InputError, alternatives
from pondpop.scenario.dump import dump
from pondpop.scenario.events import Events
from pondpop.scenario.initial import residents
from pondpop.scenario.read import MOST_EVENTS, Table, month_day, read, word_or_number, words_or_number, yes_or_no
from pondpop.scenario.schema import (
    COVERS,
    DEFAULT_SEED,
    FERTILITIES,
    GOALS,
    GOALS_BY_OTHER_NAMES,
    MATTERS,
    PROCESSES,
    SPREADS,
    Costs,
    Ensemble,
    Goal,
    LocalKnowledge,
    Pond,
    Run,
    Scenario,
    Strategy,
    Temperature,
    WhatIf,
    years_after,
)
from pondpop.scenario.water import day_passing, temperature
from pondpop.species.registry import SPECIES
from pondpop.units import AREA, CROP, DEPTH, FEED_PRICE, WEIGHT

MOST_STRATEGIES = 20
MOST_WHAT_IFS = 10
DEFAULT_SURVEYS = ("04-15", "10-15")


def load(path: str | Path) -> Scenario:
    """The scenario of a file, checked and in SI: a frozen tuple of tuples. Raises InputError; OSError if it cannot be read.

    >>> import pondpop
    >>> scenario = pondpop.load("pond.toml")
    >>> scenario.run.years, list(scenario.strategies)
    (1, ['few', 'many'])
    """
    path = Path(path)
    try:
        return resolve(read(path), path.parent)._replace(source_file=str(path))
    except InputError as error:
        raise error.in_file(str(path)) from None


def as_scenario(given: Scenario | str | Path) -> Scenario:
    """The scenario itself, or that of a file; one that was altered in Python must be one that a file could state.

    Raises InputError.
    """
    if not isinstance(given, Scenario):
        if isinstance(given, str | Path):
            return load(given)
        raise InputError("scenario", given, "a scenario, or the path of its file", "pondpop.load(path) reads one")
    try:
        again = resolve(tomllib.loads(dump(given)))
    except tomllib.TOMLDecodeError:
        again = None
    if again != given._replace(source_file=None):
        fact = Fact("one that no file could state")
        raise InputError("scenario", fact, "plain numbers, texts and dates", "alter it with _replace, name by name")
    return given


def resolve(raw: dict[str, Any], folder: str | Path | None = None) -> Scenario:
    """The scenario that the file means, checked and in SI.

    `folder` is where a CSV of water temperatures and records may lie; None forbids them. Raises InputError.
    """
    top = Table(raw, "", "")
    title = top.get("title", lambda p, v: checks.text(p, v, 200))
    pond_table = top.table("pond")
    area_ha = pond_table.quantity("area", AREA, 0.01, 200)
    fertility = pond_table.get("fertility", lambda p, v: word_or_number(p, v, FERTILITIES, 0.1, 2), None)
    cover = pond_table.get("cover", lambda p, v: word_or_number(p, v, COVERS, 0, 3), COVERS["some"])
    depth_m = pond_table.quantity("mean_depth", DEPTH, 0.3, 10, needed=False)
    risk = top.table("oxygen", {}).get("risk", yes_or_no, True)
    water = temperature(top, folder)
    run = _run(top.table("run"), water)

    events = Events(run, area_ha)
    if "water" in top.raw:
        water = water._replace(spells=events.spells(top.table("water")))
    alkalinity = pond_table.number("alkalinity_mg_l", 1, 500, None)
    pond = Pond(area_ha, cover, water, events.fertility_losses(pond_table), depth_m, risk, alkalinity)
    common = events.lists(top, None)
    if "start_from_survey" in top.raw:
        there = residents(top.table("start_from_survey"), run, area_ha, pond.temperature, folder)
        for event in there:
            if any(event.name == other.name for other in common["stocking"]):
                raise InputError("start_from_survey", event.name, "names that no stocking has", "rename that stocking")
        common["stocking"] = tuple(sorted((*common["stocking"], *there), key=lambda e: (e.date, e.name)))
    strategies = {}
    for name, table in _named_tables(top, "strategies", MOST_STRATEGIES, "light", "strategies"):
        own = events.lists(table, common)
        path = f"{table.path}.fertility"
        given = table.get("fertility", lambda p, v: word_or_number(p, v, FERTILITIES, 0.1, 2), fertility)
        if given is None:
            raise InputError("pond.fertility", MISSING, words_or_number(FERTILITIES, 0.1, 2), f"or set {path}")
        strategy_title = table.get("title", lambda p, v: checks.text(p, v, 120), name.replace("_", " ").strip())
        strategies[name] = Strategy(name, strategy_title, given, **own)
        if own["aeration"] and not risk:
            raise InputError("oxygen.risk", risk, "true, or no aeration", "without oxygen an aerator does nothing")
        if own["liming"] and alkalinity is None:
            raise InputError("pond.alkalinity_mg_l", MISSING, "a number from 1 to 500", "lime acts by it: have the water tested")
    tables = _named_tables(top, "what_if", MOST_WHAT_IFS, "cold_winter", "events") if "what_if" in top.raw else []
    what_if = tuple(events.what_if(name, table) for name, table in tables)
    for one in what_if:
        _room_for(one, pond, strategies)

    return Scenario(
        title=title,
        pond=pond,
        run=run,
        strategies=strategies,
        ensemble=_ensemble(top.table("ensemble", {})),
        local_knowledge=tuple(_local_knowledge(t) for t in top.tables("local_knowledge")),
        goals=tuple(_goal(t, run) for t in top.tables("goals")),
        costs=_costs(top.table("costs")) if "costs" in top.raw else None,
        what_if=what_if,
        **_report(top.table("report", {})),
    )


def checked(scenario: Scenario) -> Scenario:
    """The scenario, if its file would be accepted; one that was altered in Python may hold what no file may.

    Raises InputError.
    """
    resolve(tomllib.loads(dump(scenario)))
    return scenario


def _run(table: Table, water: Temperature) -> Run:
    start = table.get("start", lambda p, v: checks.day(p, v, dt.date(1950, 1, 1), dt.date(2101, 1, 1)))
    years = table.integer("years", 1, 15)
    end = years_after(start, years)
    items = table.get("surveys", _survey_items, list(DEFAULT_SURVEYS))
    dates: set[dt.date] = set()
    for i, item in enumerate(items):
        path = checks.entry(table.at("surveys"), i)
        if isinstance(item, dict):
            month, day = day_passing(Table(item, path, "surveys"), water)
        elif isinstance(item, str):
            month, day = month_day(path, item)
        else:
            dates.add(checks.day(path, item, start, end, ' within the run, or a day of every year like "04-15"'))
            continue
        yearly = (dt.date(year, month, day) for year in range(start.year, end.year + 1))
        dates.update(date for date in yearly if start <= date < end)
    if not dates:
        raise InputError(table.at("surveys"), items, "at least one survey within the run")
    return Run(start, years, tuple(sorted(dates)))


def _survey_items(path: str, value: object) -> list[Any]:
    if not isinstance(value, list) or not 1 <= len(value) <= MOST_EVENTS:
        raise InputError(path, value, f"a list of 1 to {MOST_EVENTS} surveys")
    return value


def _named_tables(top: Table, kind: str, most: int, like: str, words: str) -> list[tuple[str, Table]]:
    """The tables [kind.NAME] with their names."""
    raw = top.raw.get(kind, MISSING)
    if not isinstance(raw, dict) or not 1 <= len(raw) <= most:
        given = Fact(f"{len(raw)} {words}") if isinstance(raw, dict) else raw
        raise InputError(kind, given, f"1 to {most} tables like [{kind}.{like}]")
    names = [checks.label(kind, name) for name in raw]
    return [(name, Table(raw[name], f"{kind}.{name}", kind)) for name in names]


def _room_for(one: WhatIf, pond: Pond, strategies: dict[str, Strategy]) -> None:
    """Refuse what, with what stands there already, would be more than a list may hold. Raises InputError."""
    for strategy in strategies.values():
        taken = {point.date for point in strategy.plants}
        if any(point.date in taken for point in one.plants):
            given = Fact(f"plants on a day on which those of {strategy.name} are stated")
            raise InputError(f"what_if.{one.name}.plants", given, "days of its own")
    removals = max(len(strategy.removals) for strategy in strategies.values())
    for there, more in (
        (removals, one.die_offs),
        (max(len(strategy.drawdown) for strategy in strategies.values()), one.droughts),
        (max(len(strategy.plants) for strategy in strategies.values()), one.plants),
        (len(pond.temperature.spells), one.spells),
        (len(pond.fertility_losses), one.fertility_losses),
    ):
        if there + len(more) > MOST_EVENTS:
            given = Fact(f"{there + len(more)} events of one kind")
            raise InputError(f"what_if.{one.name}", given, f"at most {MOST_EVENTS} in all")


def _local_knowledge(table: Table) -> LocalKnowledge:
    return LocalKnowledge(
        species=table.species(),
        process=table.choice("process", PROCESSES),
        multiplier=table.number("multiplier", 0.2, 5),
        reason=table.get("reason", lambda p, v: checks.text(p, v, 300)),
    )


def _ensemble(table: Table) -> Ensemble:
    spread = table.table("spread", {})
    spreads = {name: spread.number(name, 0, s.most, s.default) for name, s in SPREADS.items()}
    return Ensemble(
        table.integer("members", 1, 10_000, 100), table.integer("seed", 0, 2**63 - 1, DEFAULT_SEED), spreads
    )


def _goal(table: Table, run: Run) -> Goal:
    kind = table.get("kind", lambda p, v: checks.choice(p, v, GOALS, GOALS_BY_OTHER_NAMES))
    above = table.quantity("above", WEIGHT, 100, 15_000, needed=kind == "bass_above")
    if above is not None and kind != "bass_above":
        raise InputError(table.path, Fact(f"a weight for {kind}"), "a weight for bass_above only")
    by_year = table.run_year("by_year", run, 1, None)
    return Goal(kind, table.number("weight", 0, 100, 1.0), by_year, above, _matters(table, kind))


def _matters(table: Table, kind: str) -> float:
    """The smallest difference that matters, in the unit of the goal; of a weight, which has two, the key says which."""
    weight = table.quantity("matters", CROP, 0, 10_000, needed=False)
    plain = table.number("matters", 0, 1_000_000, None)
    keys = alternatives([f"matters_{suffix}" for suffix in CROP])
    if kind == "pounds_harvested" and plain is not None:
        raise InputError(table.at("matters"), plain, "a weight", f"the unit is part of the key: write {keys}")
    if kind != "pounds_harvested" and weight is not None:
        raise InputError(table.path, Fact(f"a weight that matters for {kind}"), "matters, without a unit")
    given = weight if plain is None else plain
    return MATTERS[kind] if given is None else given


def _costs(table: Table) -> Costs:
    prices = {species: table.number(f"per_{species}", 0, 10_000, None) for species in SPECIES}
    return Costs(
        per_fish={species: price for species, price in prices.items() if price is not None},
        per_kg_feed=table.quantity("", FEED_PRICE, 0, 10_000, needed=False),
        per_hour=table.number("per_hour", 0, 10_000, None),
        per_kwh=table.number("per_kwh", 0, 10_000, None),
        currency=table.get("currency", lambda p, v: checks.text(p, v, 10), "USD"),
    )


def _report(table: Table) -> dict[str, Any]:
    return {
        "consultant": table.get("consultant", lambda p, v: checks.text(p, v, 200), None),
        "note": table.get("note", lambda p, v: checks.text(p, v, 4000, lines=True), None),
        "units": table.choice("units", ("us", "metric"), "us"),
    }
