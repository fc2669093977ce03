"""From a scenario's strategy to what the engine reads: arrays by day, by member, and by event."""

from __future__ import annotations

import datetime as dt
import zlib
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pondpop.arrays import Array
from pondpop.model.inputs import (
    AerationInput,
    FishingInput,
    Inputs,
    Luck,
    OxygenInput,
    RemovalInput,
    StockingInput,
    TruckInput,
)
from pondpop.model.oxygen import night_share
from pondpop.scenario import (
    SHORTEST_MM,
    Aeration,
    Drawdown,
    Feeding,
    Harvest,
    Scenario,
    Stocking,
    Strategy,
    temperature,
)
from pondpop.species import KINDS, SPECIES, TRAITS, Parameters, place_of, species_with
from pondpop.units import HOURS_PER_DAY


def run_days(scenario: Scenario) -> int:
    """Days of the run; the end is exclusive."""
    return (scenario.run.end - scenario.run.start).days


def daily_water(scenario: Scenario) -> Array:
    """Expected daily water temperature of the run [day], °C."""
    stated = scenario.pond.temperature
    days = run_days(scenario)
    if stated.readings is not None:
        dates = [date for date, _ in stated.readings]
        values = [value for _, value in stated.readings]
        return temperature.daily_from_readings(dates, values, scenario.run.start, days)
    assert stated.monthly_c is not None
    return temperature.daily_from_monthly(stated.monthly_c, scenario.run.start, days)


def prepare(
    scenario: Scenario, strategy: Strategy, parameters: Parameters, luck: Luck, steps_per_day: int = 1
) -> Inputs:
    """Put together the engine's inputs for one strategy and a block of members.

    parameters may have one member or as many as the luck; luck fixes the number of members.
    """
    days = run_days(scenario)
    start = scenario.run.start
    dates = [start + dt.timedelta(days=k) for k in range(days)]
    year = np.array([date.year - start.year for date in dates], dtype=np.intp)
    year_day = np.array([date.timetuple().tm_yday - 1 for date in dates], dtype=np.intp)
    local = {"growth": np.ones(len(SPECIES)), "survival": np.ones(len(SPECIES)), "spawning": np.ones(len(SPECIES))}
    for knowledge in scenario.local_knowledge:
        local[knowledge.process][place_of(knowledge.species)] *= knowledge.multiplier
    pellets = np.zeros(days)
    for feeding in strategy.feeding:
        pellets += feeding.kg_per_ha_day * _in_season(dates, year, feeding)
    hours, deaths = np.zeros(days), np.zeros(days)
    for angling in strategy.angling:
        effort = season_effort(dates, year, angling.season, angling.from_year, angling.to_year)
        hours += angling.hours_per_ha * effort
        deaths += angling.hours_per_ha * effort * angling.death_after_release
    return Inputs(
        parameters=parameters,
        luck=luck,
        area_ha=scenario.pond.area_ha,
        steps_per_day=steps_per_day,
        start=start,
        year_day=year_day,
        year=year,
        water_c=daily_water(scenario)[None, :],
        fertility=_fertility(strategy, start, days),
        fertility_at_start=strategy.fertility,
        alkalinity_mg_l=scenario.pond.alkalinity_mg_l,
        limings=tuple(((event.date - start).days, event.tonnes_per_ha) for event in strategy.liming),
        plants=_plants(strategy, start, days),
        carp=tuple(((event.date - start).days, event.per_ha) for event in strategy.grass_carp if event.per_ha),
        area_share=_area_share(strategy, start, days),
        cover=np.full(days, scenario.pond.cover),
        pellets_kg_per_ha=pellets,
        angling_hours_per_ha=hours,
        death_after_release=np.divide(deaths, hours, out=np.zeros(days), where=hours > 0.0),  # by hours, of all rules
        stockings=(*(
            StockingInput(
                day=(event.date - start).days,
                species=place_of(event.species),
                per_ha=event.per_ha,
                length_mm=event.length_mm,
                length_cv=event.length_cv,
                weight_g=event.weight_g,
                age_years=event.age_years if event.age_years is not None else usual_age(event.species, event.length_mm),
                female_share=_females(event, None if luck.missed_males is None else luck.missed_males[:, number]),
                origin=number,
                resident=event.resident,
                luck=zlib.crc32(event.name.encode()),
                blood=0.0 if event.strain is None else KINDS[event.strain].blood,
                truck=_truck(event),
            )
            for number, event in enumerate(strategy.stocking)
        ), *_arrivals(scenario, strategy, luck)),
        fishing=tuple(_fishing(rule, dates, year) for rule in strategy.harvest),
        removals=tuple(replace(one, number=k) for k, one in enumerate(_removals(strategy, start, parameters, luck))),
        oxygen=_oxygen(scenario, strategy, dates, year, year_day),
        local_growth=local["growth"],
        local_survival=local["survival"],
        local_spawning=local["spawning"],
        spell_most_c=_spells(scenario, dates, "at_most_c", min),
        spell_least_c=_spells(scenario, dates, "at_least_c", max),
        fertility_lost=_losses(scenario, dates),
        whole_below=scenario.ensemble.spreads["whole_fish"],
    )


def _spells(
    scenario: Scenario, dates: list[dt.date], side: str, stricter: Callable[[float, float], float]
) -> Array | None:
    """The limit of the water by day [day], the stricter of several on one day; None without any."""
    spells = [spell for spell in scenario.pond.temperature.spells if getattr(spell, side) is not None]
    if not spells:
        return None
    limits = np.full(len(dates), np.inf if side == "at_most_c" else -np.inf)
    for spell in spells:
        for day in range((spell.first - dates[0]).days, (spell.last - dates[0]).days + 1):
            limits[day] = stricter(limits[day], getattr(spell, side))
    return limits


def _fertility(strategy: Strategy, start: dt.date, days: int) -> Array:
    """The fertility to which the pond tends [day]: that of the rule that holds, or else its own."""
    target = np.full(days, strategy.fertility)
    for rule in strategy.fertilization:
        target[(rule.first - start).days : (rule.last - start).days + 1] = rule.level
    return target


def _plants(strategy: Strategy, start: dt.date, days: int) -> Array | None:
    """Share of the area in plants [day]: straight lines between the days stated, then as it is, NaN before; None if none are."""
    if not strategy.plants:
        return None
    at, shares = zip(*(((point.date - start).days, point.share) for point in strategy.plants), strict=True)
    return np.interp(np.arange(days), at, shares, left=np.nan)


def _area_share(strategy: Strategy, start: dt.date, days: int) -> Array | None:
    """Share of the area under water [day], the least of several drawdowns; None without any."""
    if not strategy.drawdown:
        return None
    share = np.ones(days)
    for event in strategy.drawdown:
        held = slice((event.first - start).days, (event.last - start).days + 1)
        share[held] = np.minimum(share[held], event.area_share)
    return share


def _removals(strategy: Strategy, start: dt.date, p: Parameters, luck: Luck) -> Iterator[RemovalInput]:
    for event in strategy.removals:
        yield RemovalInput(
            day=(event.date - start).days,
            species=place_of(event.species),
            shortest_mm=event.length_mm[0],
            longest_mm=event.length_mm[1],
            kind=_kind(event),
            amount=_amount(event),
            cause=event.reason,
        )
    for drawdown in strategy.drawdown:
        yield from _stranded(drawdown, start, p, luck)


def _stranded(event: Drawdown, start: dt.date, p: Parameters, luck: Luck) -> Iterator[RemovalInput]:
    """Small sunfish that are left on dry ground on the first day."""
    members = luck.growth.shape[0]
    for species in species_with("feeds by the shore when small"):
        share = np.broadcast_to(p.stranded_share * (1.0 - event.area_share), (members,))
        longest = float(p.stranded_below_mm[0])
        yield RemovalInput((event.first - start).days, species, SHORTEST_MM, longest, "share", share, "die_off")


def _losses(scenario: Scenario, dates: list[dt.date]) -> Array | None:
    """Share of the fertility that the pond lacks by day [day]; None without any loss."""
    if not scenario.pond.fertility_losses:
        return None
    kept = np.ones(len(dates))
    for loss in scenario.pond.fertility_losses:
        kept[(loss.first - dates[0]).days : (loss.last - dates[0]).days + 1] *= 1.0 - loss.share
    return 1.0 - kept


def _females(event: Stocking, missed: Array | None) -> float | Array:
    """Share of females of a stocking, less those that are males after all."""
    share = 0.5 if event.female_share is None else event.female_share
    return share if missed is None or not event.sexing_error else share * (1.0 - missed)


def _arrivals(scenario: Scenario, strategy: Strategy, luck: Luck) -> Iterator[StockingInput]:
    """Wild fish of every day on which some can come, as many as come in each member; their origins follow those of stockings."""
    origin, run = len(strategy.stocking), scenario.run
    for place, event in enumerate(strategy.arrivals):
        for date in event.dates(run):
            come = 1.0 if luck.arrived is None else luck.arrived[:, place, date.year - run.start.year]
            yield StockingInput(
                day=(date - run.start).days,
                species=place_of(event.species),
                per_ha=event.per_ha * come,
                length_mm=event.length_mm,
                length_cv=None,
                weight_g=None,
                age_years=usual_age(event.species, event.length_mm),
                female_share=0.5,
                origin=origin,
                resident=True,
                blood=0.0 if event.strain is None else KINDS[event.strain].blood,
                uninvited=True,
                luck=zlib.crc32(f"{event.name} {date.year}".encode()),
            )
            origin += 1


def _truck(event: Stocking) -> TruckInput | None:
    """How the fish came, where that is told."""
    if event.haul_hours is None:
        return None
    kind = event.strain or event.species
    return TruckInput(kind, event.haul_hours, event.from_water_c, bool(event.tempered), bool(event.salted))


def usual_age(species: str, length_mm: float) -> float:
    """Age in years that a stocked fish of this length usually has."""
    lengths, ages = zip(*TRAITS[species].usual_ages, strict=True)
    return float(np.interp(length_mm, lengths, ages))


def _kind(rule: object) -> str:
    return next(kind for kind in ("kg_per_ha", "per_ha", "share") if getattr(rule, kind) is not None)


def _amount(rule: object) -> float:
    return float(getattr(rule, _kind(rule)))


def _in_season(dates: list[dt.date], year: NDArray[np.intp], rule: Feeding | Aeration) -> Array:
    return np.array(
        [
            1.0 if rule.from_year <= y + 1 <= rule.to_year and _season_holds(date, rule.season) else 0.0
            for date, y in zip(dates, year, strict=True)
        ]
    )


def _season_holds(date: dt.date, season: tuple[tuple[int, int], tuple[int, int]]) -> bool:
    first, last = season  # within one calendar year
    return first <= (date.month, date.day) <= last


def season_effort(
    dates: list[dt.date],
    year: NDArray[np.intp],
    season: tuple[tuple[int, int], tuple[int, int]],
    from_year: int,
    to_year: int,
) -> Array:
    """Share of a calendar year's effort on each day: even over that year's season days, whether or not in the run."""
    effort = np.zeros(len(dates))
    season_days: dict[int, int] = {}
    for k, (date, y) in enumerate(zip(dates, year, strict=True)):
        if from_year <= y + 1 <= to_year and _season_holds(date, season):
            if date.year not in season_days:
                first = dt.date(date.year, 1, 1)
                length = (dt.date(date.year + 1, 1, 1) - first).days
                season_days[date.year] = sum(
                    _season_holds(first + dt.timedelta(days=j), season) for j in range(length)
                )
            effort[k] = 1.0 / season_days[date.year]
    return effort


def _oxygen(
    scenario: Scenario, strategy: Strategy, dates: list[dt.date], year: NDArray[np.intp], year_day: NDArray[np.intp]
) -> OxygenInput | None:
    if not scenario.pond.oxygen_risk:
        return None
    aeration = []
    dark = HOURS_PER_DAY * night_share(year_day)
    for rule in strategy.aeration:
        night_hours, hours = None, 0.0
        if rule.hours is not None:
            first, last = rule.hours[0], rule.hours[1] + (HOURS_PER_DAY if rule.hours[1] < rule.hours[0] else 0.0)
            hours = last - first
            night_hours = np.zeros(len(dates))  # of a night about midnight, which begins and ends on either side of it
            for midnight in (0.0, HOURS_PER_DAY, 2.0 * HOURS_PER_DAY):
                begins, ends = midnight - 0.5 * dark, midnight + 0.5 * dark
                night_hours += np.maximum(0.0, np.minimum(last, ends) - np.maximum(first, begins))
        available = _in_season(dates, year, rule) > 0.0
        per_ha = rule.kilowatts / scenario.pond.area_ha
        aeration.append(AerationInput(rule.kind, per_ha, available, rule.when_below_mg_l, night_hours, hours))
    return OxygenInput(scenario.pond.depth_m, tuple(aeration))


def _fishing(rule: Harvest, dates: list[dt.date], year: NDArray[np.intp]) -> FishingInput:
    return FishingInput(
        species=place_of(rule.species),
        shortest_mm=rule.length_mm[0],
        longest_mm=rule.length_mm[1],
        effort=season_effort(dates, year, rule.season, rule.from_year, rule.to_year),
        kind=_kind(rule),
        ask=np.full((1, int(year[-1]) + 1), _amount(rule)),
        when=rule.when,
        otherwise=rule.otherwise or 0.0,
    )
