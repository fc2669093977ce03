"""A scenario as a complete TOML file in SI, which reads back as an equal scenario."""

import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any

from pondpop.scenario.schema import (
    Aeration,
    Arrival,
    Costs,
    Goal,
    Harvest,
    Pond,
    Scenario,
    Season,
    Strategy,
    Temperature,
    WhatIf,
)


def dump(scenario: Scenario) -> str:
    """The resolved file: every number by `repr`, in SI, with all defaults written out."""
    ensemble, run = scenario.ensemble, scenario.run
    parts = [
        _lines({"title": scenario.title}),
        _table("pond", _pond(scenario.pond)),
        *_tables("pond.fertility_loss", map(_lasting, scenario.pond.fertility_losses)),
        _table("oxygen", {"risk": scenario.pond.oxygen_risk}),
        _table("water", _water(scenario.pond.temperature)),
        *_tables("water.spell", map(_lasting, scenario.pond.temperature.spells)),
        _table("run", {"start": run.start, "years": run.years, "surveys": list(run.survey_dates)}),
        _table("ensemble", {"members": ensemble.members, "seed": ensemble.seed}),
        _table("ensemble.spread", ensemble.spreads),
        *_tables("local_knowledge", (item._asdict() for item in scenario.local_knowledge)),
        *_tables("goals", map(_goal, scenario.goals)),
    ]
    if scenario.costs is not None:
        parts.append(_table("costs", _costs(scenario.costs)))
    report = {"consultant": scenario.consultant, "note": scenario.note, "units": scenario.units}
    parts.append(_table("report", report))
    for strategy in scenario.strategies.values():
        parts += _strategy(strategy)
    for one in scenario.what_if:
        parts += _what_if(one)
    return "\n".join(parts)


def _pond(pond: Pond) -> dict[str, Any]:
    values = {"area_ha": pond.area_ha, "mean_depth_m": pond.mean_depth_m, "cover": pond.cover}
    return values | {"alkalinity_mg_l": pond.alkalinity_mg_l}


def _water(temperature: Temperature) -> dict[str, Any]:
    readings = None if temperature.readings is None else [list(pair) for pair in temperature.readings]
    return {"monthly_c": temperature.monthly_c, "readings_c": readings, "origin": temperature.origin}


def _goal(goal: Goal) -> dict[str, Any]:
    key = "matters_kg_per_ha" if goal.kind == "pounds_harvested" else "matters"
    values = goal._asdict()
    return values | {"matters": None} | {key: values["matters"]}


def _costs(costs: Costs) -> dict[str, Any]:
    prices: dict[str, Any] = {f"per_{species}": price for species, price in costs.per_fish.items()}
    by_use = {"per_kg_feed": costs.per_kg_feed, "per_hour": costs.per_hour, "per_kwh": costs.per_kwh}
    return prices | by_use | {"currency": costs.currency}


def _strategy(strategy: Strategy) -> list[str]:
    path = f"strategies.{strategy.name}"
    return [
        _table(path, {"title": strategy.title, "fertility": strategy.fertility}),
        *_tables(f"{path}.stocking", (event._asdict() for event in strategy.stocking)),
        *_tables(f"{path}.harvest", (_harvest(rule) for rule in strategy.harvest)),
        *_tables(f"{path}.removal", (event._asdict() for event in strategy.removals)),
        *_tables(f"{path}.feeding", (_seasonal(rule) for rule in strategy.feeding)),
        *_tables(f"{path}.angling", (_seasonal(rule) for rule in strategy.angling)),
        *_tables(f"{path}.fertilization", map(_lasting, strategy.fertilization)),
        *_tables(f"{path}.liming", (event._asdict() for event in strategy.liming)),
        *_tables(f"{path}.plants", (event._asdict() for event in strategy.plants)),
        *_tables(f"{path}.drawdown", map(_lasting, strategy.drawdown)),
        *_tables(f"{path}.grass_carp", (event._asdict() for event in strategy.grass_carp)),
        *_tables(f"{path}.aeration", (_aeration(rule) for rule in strategy.aeration)),
        *_tables(f"{path}.arrival", map(_arrival, strategy.arrivals)),
    ]


def _what_if(one: WhatIf) -> list[str]:
    path = f"what_if.{one.name}"
    return [
        _table(path, {"title": one.title}),
        *_tables(f"{path}.spell", map(_lasting, one.spells)),
        *_tables(f"{path}.die_off", (event._asdict() | {"reason": None} for event in one.die_offs)),
        *_tables(f"{path}.fertility_loss", map(_lasting, one.fertility_losses)),
        *_tables(f"{path}.drought", map(_lasting, one.droughts)),
        *_tables(f"{path}.plants", (event._asdict() for event in one.plants)),
        *_tables(f"{path}.arrival", map(_arrival, one.arrivals)),
    ]


def _lasting(event: Any) -> dict[str, Any]:
    """What goes on from a first to a last day."""
    values = event._asdict()
    return {"name": values.pop("name"), "from": values.pop("first"), "to": values.pop("last")} | values


def _harvest(rule: Harvest) -> dict[str, Any]:
    values = _seasonal(rule)
    when, otherwise = values.pop("when"), values.pop("otherwise")
    if when is not None:
        kind = next(kind for kind in ("kg_per_ha", "per_ha", "share") if values[kind] is not None)
        conditions = [condition._asdict() for condition in when.conditions]
        values["when"] = {when.needs: conditions, "fish_sampled": when.fish_sampled or 0}
        values[f"otherwise_{kind}"] = otherwise
    return values


def _aeration(rule: Aeration) -> dict[str, Any]:
    values = _seasonal(rule)
    return values | {"power_kw": values.pop("kilowatts")}


def _seasonal(rule: Any) -> dict[str, Any]:
    return rule._asdict() | {"season": _season(rule.season)}


def _arrival(event: Arrival) -> dict[str, Any]:
    return event._asdict() | {"day": None if event.day is None else _season((event.day, event.day))[0]}


def _season(season: Season) -> list[str]:
    return [f"{month:02}-{day:02}" for month, day in season]


def _table(path: str, values: Mapping[str, Any]) -> str:
    return f"[{path}]\n{_lines(values)}"


def _tables(path: str, items: Iterable[Mapping[str, Any]]) -> list[str]:
    return [f"[[{path}]]\n{_lines(values)}" for values in items]


def _lines(values: Mapping[str, Any]) -> str:
    """One `key = value` a line; None is left out, since it means that nothing was said."""
    return "".join(f"{key} = {_value(value)}\n" for key, value in values.items() if value is not None)


def _value(value: Any) -> str:
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{k} = {_value(v)}" for k, v in value.items() if v is not None) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_value, value)) + "]"
    return repr(value)


def _text(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    return f'"{escaped}"'
