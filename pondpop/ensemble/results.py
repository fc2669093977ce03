"""Results as a Dataset and as a file: SI inside, one file for all strategies.

A file is netCDF version 3 written by scipy: float64 and int32 only. Names (of strategies, species, stocked groups …)
are kept as text attributes beside whole-number coordinates and put back on reading. A hash over all contents guards
against a damaged or altered file.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from pondpop.checks import RunError, ordinary_file
from pondpop.model.budget import PREY
from pondpop.observe.observers import BASS_CLASSES_IN, BIG_BASS_LB, CATCH_SIZES_IN, LENGTH_CLASSES_IN
from pondpop.scenario import SPECIES, Scenario, dump
from pondpop.units import G_PER_LB

Array = NDArray[np.float64]
SCHEMA_VERSION = 1

# name: (dimensions after strategy and member, unit, what it is)
VARIABLES: dict[str, tuple[tuple[str, ...], str, str]] = {
    "number": (("survey_date", "species", "length_class"), "fish ha-1", "fish by length class"),
    "biomass": (("survey_date", "species", "length_class"), "kg ha-1", "standing crop by length class"),
    "relative_weight": (("survey_date", "species", "length_class"), "percent", "mean relative weight (Wr)"),
    "age0_number": (("survey_date", "species"), "fish ha-1", "young of the year"),
    "bass_above": (("survey_date", "big_weight"), "fish ha-1", "bass heavier than a weight"),
    "largest_weight": (("survey_date", "species"), "g", "weight that one expected fish of the pond exceeds"),
    "group_survivors": (("survey_date", "stocked_group"), "fish ha-1", "survivors of a stocked group"),
    "group_length": (("survey_date", "stocked_group"), "mm", "mean length of a stocked group"),
    "group_weight": (("survey_date", "stocked_group"), "g", "mean weight of a stocked group"),
    "group_largest_weight": (
        ("survey_date", "stocked_group"),
        "g",
        "weight that one expected fish of the group exceeds",
    ),
    "plankton": (("survey_date",), "kg ha-1", "plankton available to fish"),
    "benthos": (("survey_date",), "kg ha-1", "bottom food available to fish"),
    "eaten_by_bass": (("month", "prey"), "kg ha-1", "what bass ate in the month"),
    "harvest_number": (("month", "species"), "fish ha-1", "fish harvested in the month"),
    "harvest_biomass": (("month", "species"), "kg ha-1", "weight harvested in the month"),
    "removed_number": (("month", "species"), "fish ha-1", "fish taken out in one-off removals"),
    "removed_biomass": (("month", "species"), "kg ha-1", "weight taken out in one-off removals"),
    "release_deaths": (("month",), "fish ha-1", "bass that died after release"),
    "pellets_given": (("month",), "kg ha-1", "pellets given in the month"),
    "pellets_eaten": (("month",), "kg ha-1", "pellets eaten in the month"),
    "edible_prey": (("month", "bass_class"), "kg ha-1", "prey of a size that bass of the class eat, mid-month"),
    "prey_need": (("month", "bass_class"), "kg ha-1", "food in the month that would hold bass of the class at Wr 95"),
    "catch_rate": (("month", "catch_size"), "fish h-1", "bass caught per angler hour, longer than a size"),
    "water_temperature": (("month",), "degC", "mean water temperature of the month"),
}


def to_dataset(
    scenario: Scenario, projected: Mapping[str, Mapping[str, Array]], versions: Mapping[str, str]
) -> xr.Dataset:
    """Put the readings of every strategy into one Dataset.

    projected: for each strategy in order, arrays [member, …] as `readings.project` returns them; those of a stocked
    group that a strategy does not have are NaN.
    """
    groups = list(dict.fromkeys(event.name for s in scenario.strategies.values() for event in s.stocking))
    variables: dict[str, Any] = {}
    for name, (dims, unit, meaning) in VARIABLES.items():
        arrays = []
        for key, strategy in scenario.strategies.items():
            array = projected[key][name]
            if "stocked_group" in dims:
                placed = np.full((*array.shape[:-1], len(groups)), np.nan)
                placed[..., [groups.index(event.name) for event in strategy.stocking]] = array
                array = placed
            arrays.append(array)
        variables[name] = (("strategy", "member", *dims), np.stack(arrays), {"units": unit, "long_name": meaning})
    start = scenario.run.start
    months = variables["harvest_biomass"][1].shape[2]
    firsts = [
        dt.date(start.year + (start.month - 1 + k) // 12, (start.month - 1 + k) % 12 + 1, 1) for k in range(months)
    ]
    dataset = xr.Dataset(
        variables,
        coords={
            "strategy": list(scenario.strategies),
            "member": np.arange(variables["plankton"][1].shape[1], dtype=np.int32),
            "survey_date": np.array(scenario.run.survey_dates, dtype="datetime64[ns]"),
            "month": np.array(firsts, dtype="datetime64[ns]"),
            "species": list(SPECIES),
            "length_class": ("length_class", LENGTH_CLASSES_IN.astype(np.int32), {"long_name": "lower bound, inches"}),
            "bass_class": ("bass_class", np.array(BASS_CLASSES_IN, np.int32), {"long_name": "lower bound, inches"}),
            "big_weight": ("big_weight", np.array(BIG_BASS_LB) * G_PER_LB, {"units": "g"}),
            "catch_size": ("catch_size", np.array(CATCH_SIZES_IN, np.int32), {"long_name": "lower bound, inches"}),
            "prey": list(PREY),
            "stocked_group": groups,
        },
        attrs={
            "title": scenario.title,
            "schema_version": np.int32(SCHEMA_VERSION),
            "seed": str(scenario.ensemble.seed),
            "area_ha": float(scenario.pond.area_ha),
            "scenario": dump(scenario),
            "versions": json.dumps(dict(versions), sort_keys=True),
        },
    )
    return dataset


# ---------------------------------------------------------------------- files


def write(dataset: xr.Dataset, path: Path) -> None:
    """Write a Dataset to a netCDF version 3 file. Raises OSError."""
    plain = dataset.copy()
    for name in dataset.coords:
        if dataset[name].dtype.kind in "OU":
            labels = [str(label) for label in dataset[name].values]
            plain = plain.assign_coords({name: np.arange(len(labels), dtype=np.int32)})
            plain[name].attrs["labels"] = json.dumps(labels)
        elif dataset[name].dtype.kind == "M":
            days = dataset[name].values.astype("datetime64[D]").astype(np.int32)
            plain = plain.assign_coords({name: (name, days, {"units": "days since 1970-01-01"})})
    plain.attrs["content_hash"] = content_hash(dataset)
    for variable in plain.variables.values():
        variable.encoding = {"_FillValue": None}
    plain.to_netcdf(path, engine="scipy", format="NETCDF3_64BIT")


def read(path: Path, kind: str = "projection") -> xr.Dataset:
    """Read a file that `write` made; kind is its attribute of that name, if it has one.

    Raises InputError if there is no such file, OSError if it cannot be read, RunError if it is damaged, altered, or of
    another schema version.
    """
    ordinary_file(path, f"a file that holds a{'n' * (kind[0] in 'aeiou')} {kind}", "check the path")
    try:
        with open(path, "rb") as file:
            if file.read(3) != b"CDF":
                raise RunError(f"{path}: not a projection file of pondpop")
        with xr.open_dataset(path, engine="scipy", decode_times=False, mask_and_scale=False) as opened:
            plain = opened.load()
    except (OSError, RunError):
        raise
    except Exception as error:
        raise RunError(f"{path}: the file is damaged ({type(error).__name__}); make it again") from error
    version = plain.attrs.get("schema_version")
    if not isinstance(version, int | np.integer) or version != SCHEMA_VERSION:
        raise RunError(f"{path}: schema version {version}, this pondpop reads version {SCHEMA_VERSION}; make it again")
    if plain.attrs.get("kind", "projection") != kind:
        raise RunError(f"{path}: holds no {kind} but one of another kind: {plain.attrs.get('kind', 'projection')}")
    try:
        for name in list(plain.coords):
            attrs = plain[name].attrs
            if "labels" in attrs:
                plain = plain.assign_coords({name: json.loads(attrs["labels"])})
            elif str(attrs.get("units", "")).startswith("days since"):
                plain = plain.assign_coords({name: plain[name].values.astype("datetime64[D]").astype("datetime64[ns]")})
        stored = plain.attrs.pop("content_hash")
        damaged = stored != content_hash(plain)
    except (KeyError, ValueError, TypeError, RecursionError) as error:
        raise RunError(f"{path}: the file is damaged ({type(error).__name__}); make it again") from error
    if damaged:
        raise RunError(
            f"{path}: the contents do not match the file's own hash; it was altered or damaged, make it again"
        )
    return plain


def content_hash(dataset: xr.Dataset) -> str:
    """SHA-256 over names, shapes, numbers and attributes of a Dataset and of its variables."""
    digest = hashlib.sha256()
    for name in sorted(map(str, dataset.variables)):
        values = np.asarray(dataset[name].values)
        if values.dtype.kind in "OU":
            payload = json.dumps([str(v) for v in values]).encode()
        elif values.dtype.kind == "M":
            payload = values.astype("datetime64[D]").astype("<i8").tobytes()
        else:
            payload = np.ascontiguousarray(values, dtype="<f8").tobytes()
        digest.update(f"{name}{dataset[name].dims}{values.shape}{sorted(dataset[name].attrs.items())}".encode())
        digest.update(payload)
    for key in sorted(dataset.attrs):
        if key != "content_hash":
            digest.update(f"{key}={dataset.attrs[key]}".encode())
    return digest.hexdigest()


def stack_members(blocks: Sequence[Mapping[str, Array]]) -> dict[str, Array]:
    """Join the readings of blocks of members in order."""
    return {name: np.concatenate([block[name] for block in blocks], axis=0) for name in blocks[0]}
