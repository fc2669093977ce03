"""A scenario: `read` a file, `resolve` what it says, `dump` it again; `load` reads and resolves, `describe` tells it.

Standard library only.
"""

from pondpop.scenario.describe import describe, weight_of
from pondpop.scenario.dump import dump
from pondpop.scenario.read import read
from pondpop.scenario.resolve import as_scenario, checked, load, resolve
from pondpop.scenario.schema import (
    CLIMATES,
    COLDEST_LIQUID_C,
    CONDITION_QUANTITIES,
    COVERS,
    DEFAULT_SEED,
    FERTILITIES,
    GOALS,
    LONGEST_MM,
    MATTERS,
    PROCESSES,
    SHORTEST_MM,
    SPREADS,
    Aeration,
    Angling,
    Arrival,
    Climate,
    Condition,
    Costs,
    Drawdown,
    Ensemble,
    Feeding,
    FertilityLoss,
    Fertilization,
    Goal,
    GrassCarp,
    Harvest,
    Liming,
    LocalKnowledge,
    MonthDay,
    Plants,
    Pond,
    Removal,
    Run,
    Scenario,
    Season,
    Spell,
    Spread,
    Stocking,
    Strategy,
    Temperature,
    Trigger,
    WhatIf,
    years_after,
)
from pondpop.scenario.unusual import unusual
from pondpop.scenario.what_if import befallen
from pondpop.species.registry import SPECIES

__all__ = [
    "CLIMATES", "COLDEST_LIQUID_C", "CONDITION_QUANTITIES", "COVERS", "DEFAULT_SEED", "FERTILITIES", "GOALS",
    "LONGEST_MM", "MATTERS", "PROCESSES", "SHORTEST_MM", "SPECIES", "SPREADS", "Aeration", "Angling", "Arrival", "Climate",
    "Condition",
    "Costs", "Drawdown", "Ensemble", "Feeding", "FertilityLoss", "Fertilization", "Goal", "GrassCarp", "Harvest",
    "Liming", "LocalKnowledge", "MonthDay", "Plants", "Pond", "Removal", "Run", "Scenario", "Season", "Spell",
    "Spread", "Stocking", "Strategy", "Temperature", "Trigger", "WhatIf", "as_scenario", "befallen", "checked",
    "describe", "dump", "load", "read", "resolve", "unusual", "weight_of", "years_after",
]  # fmt: skip
