"""The quantities that people read: named, with a unit in either system, from a Dataset; made once, used everywhere.

The table on the screen, `yearly.csv`, the goals and the report all take their numbers from `quantities`, so that they
cannot differ.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from pondpop.observe import indices
from pondpop.observe.gears import as_sampled_psd, gear
from pondpop.species import MEASURED, SPECIES, STRAINS, TRAITS, load_parameters
from pondpop.units import G_PER_LB, Units, converted, in_csv, unit_of

Array = NDArray[np.float64]

PSD_CATEGORIES = {"psd": "quality", "psd_p": "preferred", "psd_m": "memorable"}
QUANTILES = (0.1, 0.5, 0.9)


@dataclass(frozen=True)
class Quantity:
    """One quantity at every survey: values [strategy, member, survey_date] in the metric unit of its kind."""

    name: str
    kind: str
    values: Array

    def unit(self, units: Units) -> str:
        return unit_of(self.kind, units)

    def in_units(self, units: Units) -> Array:
        """The values in the asked system."""
        return converted(self.values, self.kind, units)


def quantities(dataset: xr.Dataset) -> list[Quantity]:
    """Every quantity of a Dataset, in the order in which they are listed and written."""
    return list(_quantities(dataset))


def _quantities(ds: xr.Dataset) -> Iterator[Quantity]:
    number, biomass, wr = (ds[name].values for name in ("number", "biomass", "relative_weight"))
    for species in MEASURED:
        for short, category in PSD_CATEGORIES.items():
            psd = ds["psd"].sel(species=species, length_category=category)
            yield Quantity(f"{species}_{short}", "percent", psd.values)
        shown = as_sampled_psd(number, gear("electrofishing"), species)
        yield Quantity(f"{species}_psd_as_sampled", "percent", shown)
        for low, high in TRAITS[species].wr_classes_in:
            mean = indices.class_mean(wr, number, species, low, high)
            yield Quantity(f"{species}_wr_{low}_{high}in", "percent", mean)
    for species in names(ds, "species"):
        own = ds[["number", "biomass"]].sel(species=species)
        yield Quantity(f"{species}_density", "density", own["number"].values.sum(axis=-1))
        yield Quantity(f"{species}_standing_crop", "crop", own["biomass"].values.sum(axis=-1))
    yield Quantity("total_standing_crop", "crop", indices.whole(biomass))
    for species in MEASURED:
        edges = TRAITS[species].density_edges_in
        for low, below in zip(edges, (*edges[1:], None), strict=True):
            name = f"{species}_density_{low}_{below}in" if below else f"{species}_density_{low}in_up"
            inside = ds["number"].sel(species=species, length_class=slice(low, below and below - 1))
            yield Quantity(name, "density", inside.values.sum(axis=-1))
    for species in names(ds, "species"):
        blood = ds["other_blood"].sel(species=species).values
        if STRAINS[species] and blood.any():
            yield Quantity(f"{species}_{STRAINS[species][-1]}_share", "percent", 100.0 * blood)
    yield Quantity("bass_age0_density", "density", ds["age0_number"].sel(species="bass").values)
    yield Quantity("forage_carnivore_ratio", "ratio", indices.forage_carnivore_ratio(biomass))
    largest_prey = load_parameters().of_kinds(SPECIES).prey_length_ratio_max[0]
    edible = indices.edible_forage_carnivore_ratio(number, biomass, largest_prey)
    yield Quantity("edible_forage_carnivore_ratio", "ratio", edible)
    yield Quantity("harvestable_share", "percent", indices.harvestable_share(biomass))
    for grams in ds["big_weight"].values:
        pounds, above = round(grams / G_PER_LB), ds["bass_above"].sel(big_weight=grams).values
        yield Quantity(f"bass_above_{pounds}lb_density", "density", above)
        yield Quantity(f"bass_above_{pounds}lb_in_pond", "fish", above * float(ds.attrs["area_ha"]))
    for species in MEASURED:
        yield Quantity(f"{species}_largest_weight", "weight", ds["largest_weight"].sel(species=species).values)
    for group in names(ds, "stocked_group"):
        for measure, kind in (("survivors", "density"), ("length", "length"), ("weight", "weight")):
            yield Quantity(f"group_{measure}:{group}", kind, ds[f"group_{measure}"].sel(stocked_group=group).values)
    months = _survey_months(ds)
    for species in names(ds, "species"):
        for measure, kind in (("number", "density"), ("biomass", "crop")):
            total = _since_last_year(ds[f"harvest_{measure}"].sel(species=species).values, months)
            yield Quantity(f"{species}_harvest_{measure}_12_months", kind, total)
    for predator in names(ds, "predator"):
        for prey in names(ds, "prey"):
            if prey != "pellets" or TRAITS[predator].has("eats pellets"):
                total = _since_last_year(ds["eaten"].sel(predator=predator, prey=prey).values, months)
                yield Quantity(f"eaten_by_{predator}_12_months_{prey}", "crop", total)


def names(dataset: xr.Dataset, coordinate: str) -> list[str]:
    """The names along a dimension, in order."""
    return [str(name) for name in dataset[coordinate].values]


def _survey_months(ds: xr.Dataset) -> NDArray[np.intp]:
    """Index of the month that each survey falls in."""
    months = ds["month"].values.astype("datetime64[M]").astype(int)
    return ds["survey_date"].values.astype("datetime64[M]").astype(int) - months[0]


def _since_last_year(monthly: Array, at: NDArray[np.intp]) -> Array:
    """Sum over the twelve whole months before each survey's month [strategy, member, survey_date]."""
    running = np.concatenate([np.zeros_like(monthly[..., :1]), np.cumsum(monthly, axis=-1)], axis=-1)
    return running[..., at] - running[..., np.maximum(at - 12, 0)]


def quantiles(values: Array) -> Array:
    """p10, p50 and p90 over members [strategy, survey_date, 3]; NaN where no member has a value."""
    some = np.asarray(np.isfinite(values).any(axis=1))
    filled = np.where(some[:, None, :], values, 0.0)
    q = np.moveaxis(np.quantile(filled, QUANTILES, axis=1), 0, -1)
    for strategy, date in np.argwhere(np.isnan(filled).any(axis=1)):  # slower by far, and seldom needed
        q[strategy, date] = np.nanquantile(filled[strategy, :, date], QUANTILES)
    return np.where(some[..., None], q, np.nan)


def yearly_csv(dataset: xr.Dataset, units: Units) -> str:
    """The text of `yearly.csv`: strategy, date, quantity, unit, p10, p50, p90; an undefined value is an empty cell."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(["strategy", "date", "quantity", "unit", "p10", "p50", "p90"])
    dates = [str(date)[:10] for date in dataset["survey_date"].values]
    every = [(q, quantiles(q.in_units(units))) for q in quantities(dataset)]
    for s, strategy in enumerate(dataset["strategy"].values):
        for d, date in enumerate(dates):
            for q, values in every:
                rows.writerow([strategy, date, q.name, q.unit(units), *map(in_csv, values[s, d])])
    return out.getvalue()
