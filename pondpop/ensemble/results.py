"""Results as a Dataset and as a file: SI inside, one file for all strategies.

`observers.VARIABLES` and `DERIVED` list what a projection holds. A file is netCDF version 3 written by scipy: float64, int32,
and names (of strategies, species, stocked groups …) as characters in UTF-8, so that any reader of netCDF finds them; dates
are days since 1970-01-01. A hash over all contents guards against a damaged or altered file.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from pondpop.arrays import Axis, Variable, names_axis
from pondpop.checks import Fact, InputError, RunError, ordinary_file
from pondpop.observe import indices, observers
from pondpop.observe.observers import LENGTH_CLASSES_IN, SURVEYED, VARIABLES
from pondpop.scenario import Scenario, befallen, dump, resolve
from pondpop.species import MEASURED, of_species

Array = NDArray[np.float64]
SCHEMA_VERSION = 3
EPOCH = "days since 1970-01-01"
MAGIC = b"CDF"  # with which netCDF 3 begins
AXES: dict[str, Axis] = observers.AXES | {"length_category": names_axis(indices.CATEGORIES, "length category (Gabelhouse 1984)")}

# What is made of them in `to_dataset`, in the same form
DERIVED: dict[str, Variable] = {
    "psd": Variable(
        ("survey_date", "species", "length_category"),
        "percent",
        "proportional size distribution: fish of the category and longer among those of stock length and longer",
    ),
    "relative_weight_of_category": Variable(
        ("survey_date", "species", "length_category"),
        "percent",
        "mean relative weight (Wr) of fish from the category's length to the next one's",
    ),
    "female_share": Variable(("survey_date", "species"), "1", "share of females among fish of age 1 and older"),
}
# What is kept of a projection with an event of [what_if]: all that goals and costs are made of, Wr, and the blood of strains
UNDER_EVENTS = (
    "number", "biomass", "relative_weight", "other_blood", "bass_above", "bass_heavier", "harvest_number", "harvest_biomass",
    "catch_rate", "pellets_given", "aeration_kwh", "oxygen_kill",
)  # fmt: skip
UNDER = "_what_if"  # what their names end in
# unit and meaning of the coordinates that a run or a scenario decides
COORDINATES: dict[str, tuple[str, str]] = {
    "strategy": ("", "strategy of the scenario"),
    "member": ("1", "number of the member of the ensemble; all strategies share its luck"),
    "survey_date": ("", "day at whose start the pond is surveyed"),
    "month": ("", "first day of the month"),
    "stocked_group": ("", "name of the stocking"),
    "year": ("1", "calendar year"),
    "what_if": ("", "event of the scenario that may befall the pond under every strategy"),
}


def to_dataset(
    scenario: Scenario, projected: Mapping[str, Mapping[str, Array]], versions: Mapping[str, str]
) -> xr.Dataset:
    """Put the readings of every strategy into one Dataset.

    projected: for each strategy in order, arrays [member, …] as `observers.project` returns them; those of a stocked
    group that a strategy does not have are NaN.
    """
    read = _labelled(scenario, projected, VARIABLES)
    read.attrs = {
        "title": scenario.title,
        "schema_version": np.int32(SCHEMA_VERSION),
        "seed": str(scenario.ensemble.seed),
        "area_ha": float(scenario.pond.area_ha),
        "length_categories": "; ".join(
            f"{species} {', '.join(map(str, indices.category_inches(species)))} inches" for species in MEASURED
        ),
        "scenario": dump(scenario),
        "versions": json.dumps(dict(versions), sort_keys=True),
    }
    return derive(read)


def with_events(
    dataset: xr.Dataset, scenario: Scenario, projected: Mapping[str, Mapping[str, Mapping[str, Array]]]
) -> xr.Dataset:
    """The Dataset with what comes of each event of `[what_if]`: the variables of UNDER_EVENTS, named as `under` reads them.

    projected: for each event, and each strategy in order, the readings that `to_dataset` takes.
    """
    wanted = {name: VARIABLES[name] for name in UNDER_EVENTS}
    each = [_labelled(scenario, readings, wanted) for readings in projected.values()]
    made = {}
    for name, (dims, unit, meaning) in wanted.items():
        values = np.stack([one[name].values for one in each])
        made[f"{name}{UNDER}"] = (("what_if", "strategy", "member", *dims), values, _about(unit, f"{meaning}, if it befalls"))
    events = ("what_if", _names(projected), _about(*COORDINATES["what_if"]))
    return dataset.assign_coords(what_if=events).assign(made)


def under(dataset: xr.Dataset, event: str) -> xr.Dataset:
    """The projection of the same strategies with one event of `[what_if]`; of what a projection holds UNDER_EVENTS and PSDs."""
    own = dataset[[f"{name}{UNDER}" for name in UNDER_EVENTS]].sel(what_if=event).drop_vars("what_if")
    found = own.rename({f"{name}{UNDER}": name for name in UNDER_EVENTS})
    scenario = befallen(resolve(tomllib.loads(dataset.attrs["scenario"])), event)
    found = found.assign_coords(length_category=dataset["length_category"]).assign({"psd": _psd(found)})
    return found.assign_attrs(dataset.attrs | {"scenario": dump(scenario)})


def _psd(read: xr.Dataset) -> tuple[tuple[str, ...], Array, dict[str, str]]:
    """The variable `psd` of `DERIVED`."""
    dims, unit, meaning = DERIVED["psd"]
    number = read["number"].values
    psd = np.full((*number.shape[:-1], len(indices.CATEGORIES)), np.nan)
    for species in MEASURED:
        for c, category in enumerate(indices.CATEGORIES):
            of_species(psd, species)[..., c] = indices.psd(number, species, category)
    return ("strategy", "member", *dims), psd, _about(unit, meaning)


def survey_dataset(scenario: Scenario, strategy: str, date: dt.date, read: Mapping[str, Array]) -> xr.Dataset:
    """One survey of one strategy: the variables along `survey_date` on a day, arrays [member, …] as they were read."""
    alone = scenario._replace(
        strategies={strategy: scenario.strategies[strategy]}, run=scenario.run._replace(survey_dates=(date,))
    )
    one = _labelled(alone, {strategy: {name: read[name][:, None] for name in SURVEYED}}, SURVEYED)
    return derive(one).isel(strategy=0, survey_date=0)


def _labelled(
    scenario: Scenario, projected: Mapping[str, Mapping[str, Array]], wanted: Mapping[str, Variable]
) -> xr.Dataset:
    """The wanted variables of every strategy, with their dimensions labelled."""
    groups = list(dict.fromkeys(event.name for s in scenario.strategies.values() for event in s.stocking))
    variables: dict[str, Any] = {}
    for name, (dims, unit, meaning) in wanted.items():
        arrays = []
        for key, strategy in scenario.strategies.items():
            array = projected[key][name]
            if "stocked_group" in dims:
                placed = np.full((*array.shape[:-1], len(groups)), np.nan)
                placed[..., [groups.index(event.name) for event in strategy.stocking]] = array
                array = placed
            arrays.append(array)
        variables[name] = (("strategy", "member", *dims), np.stack(arrays), _about(unit, meaning))
    start, last = scenario.run.start, scenario.run.end - dt.timedelta(days=1)
    months = range(start.month - 1, 12 * (last.year - start.year) + last.month)
    own: dict[str, Any] = {
        "strategy": _names(scenario.strategies),
        "member": np.arange(next(iter(variables.values()))[1].shape[1], dtype=np.int32),
        "survey_date": np.array(scenario.run.survey_dates, dtype="datetime64[ns]"),
        "month": np.array([dt.date(start.year + k // 12, k % 12 + 1, 1) for k in months], dtype="datetime64[ns]"),
        "stocked_group": _names(groups),
        "year": np.arange(start.year, start.year + scenario.run.last_year, dtype=np.int32),
    }
    axes = {name: Axis(labels, *COORDINATES[name]) for name, labels in own.items()} | AXES
    used = {dim for dims, _, _ in (*wanted.values(), *DERIVED.values()) for dim in ("strategy", "member", *dims)}
    coords = {name: (name, axis.labels, _about(axis.unit, axis.meaning)) for name, axis in axes.items() if name in used}
    return xr.Dataset(variables, coords=coords)


def derive(read: xr.Dataset) -> xr.Dataset:
    """The Dataset with the variables of `DERIVED`, made of those that were read."""
    number, relative_weight = read["number"].values, read["relative_weight"].values
    shape = (*number.shape[:-1], len(indices.CATEGORIES))
    wr = np.full(shape, np.nan)
    for species in MEASURED:
        edges = [*indices.category_inches(species), LENGTH_CLASSES_IN.size]
        for c in range(len(indices.CATEGORIES)):
            of_species(wr, species)[..., c] = indices.class_mean(relative_weight, number, species, edges[c], edges[c + 1])
    grown = read["number_at_age"].sel(age=slice(1, None)).sum("age")
    both = grown.sum("sex")
    made = {
        "psd": _psd(read)[1],
        "relative_weight_of_category": wr,
        "female_share": (grown.sel(sex="female", drop=True) / both.where(both > 0.0)).values,
    }
    return read.assign({
        name: (("strategy", "member", *dims), made[name], _about(unit, meaning))
        for name, (dims, unit, meaning) in DERIVED.items()
    })


def _about(unit: str, meaning: str) -> dict[str, str]:
    return {"units": unit, "long_name": meaning} if unit else {"long_name": meaning}


def _names(names: Iterable[str]) -> NDArray[np.str_]:
    return np.array(list(names), dtype=np.str_)


# ---------------------------------------------------------------------- files


def write(dataset: xr.Dataset, path: Path) -> None:
    """Write a Dataset to a netCDF version 3 file. Raises OSError."""
    plain = dataset.assign_attrs(content_hash=content_hash(dataset))
    for name in plain.coords:
        if plain[name].dtype.kind == "M":
            days = plain[name].values.astype("datetime64[D]").astype(np.int32)
            plain = plain.assign_coords({name: (name, days, {**plain[name].attrs, "units": EPOCH})})
    for name, variable in plain.variables.items():
        variable.encoding = {"_FillValue": None}
        if variable.dtype.kind == "U":
            variable.encoding["char_dim_name"] = f"{name}_characters"
    plain.to_netcdf(path, engine="scipy", format="NETCDF3_64BIT")


def read(path: Path, kind: str = "projection") -> xr.Dataset:
    """Read a file that `write` made; kind is its attribute of that name, if it has one.

    Raises InputError if there is no such file or one of another kind, OSError if it cannot be read, RunError if it is
    damaged, altered, or of another schema version.
    """
    wanted = f"a file that holds {_one(kind)}"
    ordinary_file(path, wanted, "check the path")
    try:
        with open(path, "rb") as file:
            if not MAGIC.startswith(file.read(len(MAGIC))):
                allowed = f"{wanted}, as pondpop writes it"
                raise InputError("", Fact("a file of another kind"), allowed, "check the path", str(path))
        with xr.open_dataset(path, engine="scipy", decode_times=False, mask_and_scale=False) as opened:
            plain = opened.load()
    except (OSError, InputError):
        raise
    except Exception as error:
        raise RunError(f"{path}: the file is damaged ({type(error).__name__}); make it again") from error
    version = plain.attrs.get("schema_version")
    if not isinstance(version, int | np.integer) or version != SCHEMA_VERSION:
        raise RunError(f"{path}: schema version {version}, this pondpop reads version {SCHEMA_VERSION}; make it again")
    try:
        for name in list(plain.coords):
            attrs = dict(plain[name].attrs)
            if plain[name].dtype.kind == "O":
                plain = plain.assign_coords({name: (name, _names(plain[name].values), attrs)})
            elif attrs.get("units") == EPOCH:
                del attrs["units"]
                days = plain[name].values.astype("datetime64[D]").astype("datetime64[ns]")
                plain = plain.assign_coords({name: (name, days, attrs)})
        stored = plain.attrs.pop("content_hash")
        damaged = stored != content_hash(plain)
    except (KeyError, ValueError, TypeError, AttributeError) as error:
        raise RunError(f"{path}: the file is damaged ({type(error).__name__}); make it again") from error
    if damaged:
        raise RunError(
            f"{path}: the contents do not match the file's own hash; it was altered or damaged, make it again"
        )
    if (found := str(plain.attrs.get("kind", "projection"))) != kind:
        raise InputError("", Fact(f"a file that holds {_one(found)}"), wanted, "check the path", str(path))
    return plain


def _one(kind: str) -> str:
    return f"a{'n' * (kind[:1] in 'aeiou')} {kind}"


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
