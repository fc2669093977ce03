"""Parameters of the model: one file per species, one for the pond, and the reader that makes arrays of them.

To add a parameter, write its table in the species files (or in pond.toml) and its field below; nothing else.
What each one means, its unit, range and source stand in the files (`pondpop sources` prints them). numpy is
imported when parameters are loaded, not before.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from dataclasses import replace as _replaced
from typing import TYPE_CHECKING, Any, TypeAlias

from pondpop.checks import MISSING, InputError, nearest
from pondpop.species.listing import PLACES, SPECIES, entries, find, paths, sources_text, uncertain, works_cited

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

    PerSpecies: TypeAlias = NDArray[np.float64]  # [member, species]; NaN where a species does not have it
    Shared: TypeAlias = NDArray[np.float64]  # [member]

BASS, BLUEGILL, SHAD, MINNOW = range(len(SPECIES))

__all__ = [
    "BASS",
    "BLUEGILL",
    "MINNOW",
    "SHAD",
    "SPECIES",
    "Parameters",
    "find",
    "load_parameters",
    "paths",
    "sources_text",
    "uncertain",
    "works_cited",
]


@dataclass(frozen=True)
class Parameters:
    """One array per parameter: [member, species] in the order of SPECIES, or [member] where all species share it.

    The member axis has length 1 where all members have the same value. A species without the parameter has NaN.
    """

    # Food intake: max_intake_at_1_g * weight^exponent * dome of temperature (Kitchell et al. 1977)
    max_intake_at_1_g: PerSpecies
    max_intake_exponent: PerSpecies
    intake_dome_q: PerSpecies
    intake_optimum_c: PerSpecies
    intake_maximum_c: PerSpecies
    feeding_stops_below_c: PerSpecies
    feeding_stop_width_c: PerSpecies

    # Respiration: respiration_at_1_g * weight^exponent * temperature * activity, g oxygen per g and day
    respiration_at_1_g: PerSpecies
    respiration_exponent: PerSpecies
    respiration_per_c: PerSpecies
    respiration_flat_above_c: PerSpecies
    respiration_dome_q: PerSpecies
    respiration_optimum_c: PerSpecies
    respiration_maximum_c: PerSpecies
    winter_rest_share: PerSpecies
    winter_rest_size_exponent: PerSpecies
    activity_multiplier: PerSpecies
    activity_per_kg_female: PerSpecies
    activity_per_kg_male: PerSpecies

    # Fate and content of energy
    egested_share: PerSpecies
    excreted_share: PerSpecies
    digestion_cost_share: PerSpecies
    body_energy_j_per_g: PerSpecies
    body_energy_exponent: PerSpecies

    # Length, weight and growth types
    standard_weight_intercept: PerSpecies
    standard_weight_slope: PerSpecies
    isometric_below_mm: PerSpecies
    growth_spread: PerSpecies
    sex_growth_difference: PerSpecies

    # Search, and who can eat whom
    search_area_at_100_g: PerSpecies
    search_area_exponent: PerSpecies
    search_growth_exponent: PerSpecies
    interference_ha_per_kg: PerSpecies
    interference_from_mm: PerSpecies
    interference_length_share: PerSpecies
    interference_length_width: PerSpecies
    fish_eating_from_mm: PerSpecies
    fish_eating_width_mm: PerSpecies
    prey_length_ratio_min: PerSpecies
    prey_length_ratio_min_width: PerSpecies
    prey_length_ratio_max_width: PerSpecies
    prey_length_ratio_max: PerSpecies
    young_gape_gain: PerSpecies
    young_gape_none_at_mm: PerSpecies
    young_gape_full_at_mm: PerSpecies
    capture_ease: PerSpecies
    exposure_per_day: PerSpecies
    exposure_half_saturation_kg_per_ha: PerSpecies

    # Natural food
    resource_half_saturation_kg_per_ha: PerSpecies
    plankton_use: PerSpecies
    plankton_use_until_mm: PerSpecies
    plankton_use_width_mm: PerSpecies
    plankton_use_of_large: PerSpecies
    benthos_use: PerSpecies
    benthos_use_until_mm: PerSpecies
    benthos_use_until_width_mm: PerSpecies
    benthos_use_floor: PerSpecies
    benthos_use_from_mm: PerSpecies
    benthos_use_from_width_mm: PerSpecies
    foraging_size_exponent: PerSpecies
    foraging_size_offset_g: PerSpecies
    foraging_size_reference_g: PerSpecies

    # Pellets
    pellets_from_mm: PerSpecies
    pellets_above_c: PerSpecies
    pellet_ration_target: PerSpecies
    pellet_access: PerSpecies
    pellet_displacement: PerSpecies

    # Deaths
    background_deaths_multiplier: PerSpecies
    large_fish_death_reduction: PerSpecies
    large_fish_from_g: PerSpecies
    large_fish_width_ln: PerSpecies
    oldest_age_years: PerSpecies
    cold_deaths_per_day: PerSpecies
    cold_deaths_below_c: PerSpecies
    cold_deaths_width_c: PerSpecies

    # Spawning and young
    spawning_from_c: PerSpecies
    spawning_until_c: PerSpecies
    spawning_first_day: PerSpecies
    spawning_last_day: PerSpecies
    spawning_hazard_per_day: PerSpecies
    spawning_cycle_days: PerSpecies
    spawning_autumn_share: PerSpecies
    spawning_autumn_from_day: PerSpecies
    pulse_slot_days: PerSpecies
    recruits_cap_per_ha: PerSpecies
    recruits_half_saturation_kg_per_ha: PerSpecies
    recruit_food_exponent: PerSpecies
    recruit_length_mm: PerSpecies
    mature_length_mm: PerSpecies
    spawning_cost_female: PerSpecies
    spawning_cost_male: PerSpecies
    egg_predator_half_kg_per_ha: PerSpecies
    egg_predator_exponent: PerSpecies

    # ---- shared by all species ----

    # Temperature and search
    search_cold_exponent: Shared
    intake_dome_floor: Shared
    search_dome_floor: Shared
    winter_rest_below_c: Shared
    winter_rest_width_c: Shared

    # Length, condition and growth types
    condition_at_no_food: Shared
    condition_gain_at_full_food: Shared
    length_growth_power: Shared
    length_growth_limit: Shared
    ration_memory_days: Shared
    weight_loss_limit_per_day: Shared
    weight_gain_limit_per_day: Shared
    growth_type_z: Shared
    growth_type_middle_share: Shared
    stocking_length_growth_exponent: Shared
    stocking_ration: Shared
    recruit_ration: Shared
    recruit_age_years: Shared
    female_share: Shared
    length_cv: Shared

    # Cover and hatchery fish
    cover_share: Shared
    cover_length_mm: Shared
    naive_ease: Shared
    naive_days: Shared

    # Energy of food
    oxygen_energy_j_per_g: Shared
    prey_fish_energy_j_per_g: Shared
    plankton_energy_j_per_g: Shared
    benthos_energy_j_per_g: Shared
    pellet_energy_j_per_g: Shared

    # Renewal of natural food
    plankton_capacity_kg_per_ha: Shared
    benthos_capacity_kg_per_ha: Shared
    plankton_renewal_per_day: Shared
    benthos_renewal_per_day: Shared
    renewal_q10: Shared
    renewal_reference_c: Shared
    renewal_saturation: Shared
    pellet_fertility_ha_day_per_kg: Shared
    light_floor: Shared
    light_peak_day: Shared
    resource_floor_kg_per_ha: Shared
    pellet_waste_share: Shared

    # Deaths and harvest
    background_deaths_at_1_g_per_year: Shared
    background_deaths_exponent: Shared
    background_deaths_warming_per_c: Shared
    background_deaths_reference_c: Shared
    starvation_deaths_per_day: Shared
    starvation_below_condition: Shared
    starvation_width: Shared
    old_age_deaths_per_year: Shared
    old_age_from_share: Shared
    old_age_ramp_share: Shared
    old_age_ramp_limit: Shared
    quota_fishing_limit_per_year: Shared
    quota_limit_power: Shared
    catch_per_hour_at_100_per_ha: Shared
    catch_density_exponent: Shared
    wariness_per_catch: Shared
    wariness_memory_days: Shared

    # Spawning
    spawning_width_c: Shared
    mature_age_years: Shared
    pulse_min_weight: Shared
    pulse_min_per_ha: Shared
    group_min_per_ha: Shared
    egg_predator_min_mm: Shared
    egg_predator_max_mm: Shared
    egg_predator_hunger_exponent: Shared
    egg_predator_hunger_floor: Shared

    @property
    def members(self) -> int:
        """The length of the member axis: 1 unless a parameter was replaced by one value per member."""
        return max(getattr(self, field.name).shape[0] for field in fields(self))

    def value(self, path: str) -> NDArray[np.float64]:
        """Values [member] of one parameter, by a path such as `bass.max_intake_at_1_g`. Raises InputError."""
        name, column = _address(path)
        array = getattr(self, name)
        return array if column is None else array[:, column]

    def replace(self, path: str, values: ArrayLike) -> Parameters:
        """The same parameters with one of them changed: a number, or one number per member.

        The range in the file is not enforced, so that a scan may step beyond it. Raises InputError for an unknown
        path (naming the nearest), for values that are not finite, and for another number of members.
        """
        import numpy as np

        name, column = _address(path)
        new = np.atleast_1d(np.array(values, dtype=float))
        if new.ndim != 1 or not np.isfinite(new).all():
            raise InputError(path, str(values), "a finite number, or a list of them with one per member")
        if len({1, self.members, new.size}) > 2:
            raise InputError(path, f"{new.size} values", f"one value or {self.members}, one per member")
        if column is not None:
            old = getattr(self, name)
            column_values, new = new, np.repeat(old, new.size if old.shape[0] == 1 else 1, axis=0)
            new[:, column] = column_values
        new.flags.writeable = False
        return _replaced(self, **{name: new})

    def take(self, members: slice | ArrayLike) -> Parameters:
        """The parameters of some members only; what all members share stays as it is."""
        kept: dict[str, Any] = {}
        for field in fields(self):
            array = getattr(self, field.name)
            kept[field.name] = array if array.shape[0] == 1 else array[members]
        return Parameters(**kept)


def load_parameters() -> Parameters:
    """The parameters in the package's files, with a member axis of length 1. Raises InputError."""
    import numpy as np

    tables = entries()
    _check_fields(tables)
    arrays = {}
    for field in fields(Parameters):
        if field.type == "Shared":
            array = np.array([tables["pond"][field.name].value], dtype=float)
        else:
            row = [tables[species].get(field.name) for species in SPECIES]
            array = np.array([[np.nan if entry is None else entry.value for entry in row]], dtype=float)
        array.flags.writeable = False
        arrays[field.name] = array
    return Parameters(**arrays)


def _check_fields(tables: Any) -> None:
    """Every entry has a field and every field an entry. Raises InputError."""
    known = {field.name: field.type == "Shared" for field in fields(Parameters)}
    for place in PLACES:
        for key in tables[place]:
            if known.get(key) is not (place == "pond"):
                allowed = [name for name, shared in known.items() if shared is (place == "pond")]
                raise InputError(key, key, "the name of a parameter", nearest(key, allowed), f"{place}.toml")
    for name, shared in known.items():
        if not any(name in tables[place] for place in (["pond"] if shared else SPECIES)):
            raise InputError(name, MISSING, "an entry", f"add [{name}]", "pond.toml" if shared else "the species files")


def _address(path: str) -> tuple[str, int | None]:
    """Field and species column of a path. Raises InputError."""
    find(path)
    place, _, name = path.partition(".")
    return name, None if place == "pond" else SPECIES.index(place)
