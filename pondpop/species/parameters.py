"""Parameters of the model as arrays, read from the files of this folder.

To add a parameter, write its table in the species files (and, unless every species has it, its name under the trait that
asks for it in `registry`) or in pond.toml, and its field below; nothing else. What each one means, its unit, range and
source stand in the files (`pondpop sources` prints them). numpy is imported when parameters are loaded, not before.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any, TypeAlias

from pondpop.checks import MISSING, InputError, nearest
from pondpop.species.catalogue import POND, entries, find
from pondpop.species.registry import ALWAYS, FORMS, HABITS, KINDS, place_of

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

    PerKind: TypeAlias = NDArray[np.float64]  # [member, kind]; NaN where a kind does not have it
    Shared: TypeAlias = NDArray[np.float64]  # [member]


@dataclass(frozen=True)
class Parameters:
    """One array per parameter: [member, kind] in the order of `kinds`, or [member] where all fish share it.

    The member axis has length 1 where all members have the same value. A kind without the parameter has NaN; one that does
    not say it has the value of its species.
    """

    # Food intake: max_intake_at_1_g * weight^exponent * dome of temperature (Kitchell et al. 1977)
    max_intake_at_1_g: PerKind
    max_intake_exponent: PerKind
    intake_dome_q: PerKind
    intake_optimum_c: PerKind
    intake_maximum_c: PerKind
    feeding_stops_below_c: PerKind
    feeding_stop_width_c: PerKind

    # Respiration: respiration_at_1_g * weight^exponent * temperature * activity, g oxygen per g and day
    respiration_at_1_g: PerKind
    respiration_exponent: PerKind
    respiration_per_c: PerKind
    respiration_flat_above_c: PerKind
    respiration_dome_q: PerKind
    respiration_optimum_c: PerKind
    respiration_maximum_c: PerKind
    winter_rest_share: PerKind
    winter_rest_size_exponent: PerKind
    activity_multiplier: PerKind
    activity_per_kg: PerKind

    # Fate and content of energy
    egested_share: PerKind
    excreted_share: PerKind
    digestion_cost_share: PerKind
    body_energy_j_per_g: PerKind
    body_energy_exponent: PerKind

    # Length, weight and growth types
    standard_weight_intercept: PerKind
    standard_weight_slope: PerKind
    isometric_below_mm: PerKind
    growth_spread: PerKind
    two_phase_from_mm: PerKind
    two_phase_width_mm: PerKind
    asymptotic_length_female_mm: PerKind
    asymptotic_length_male_mm: PerKind
    asymptotic_length_spread: PerKind
    growth_coefficient_female_per_year: PerKind
    growth_coefficient_male_per_year: PerKind
    full_condition: PerKind
    full_condition_power: PerKind

    # Search, and who can eat whom
    search_area_at_100_g: PerKind
    search_area_exponent: PerKind
    search_growth_exponent: PerKind
    interference_ha_per_kg: PerKind
    interference_from_mm: PerKind
    interference_length_share: PerKind
    interference_length_width: PerKind
    fish_eating_from_mm: PerKind
    fish_eating_width_mm: PerKind
    prey_length_ratio_min: PerKind
    prey_length_ratio_min_width: PerKind
    prey_length_ratio_max_width: PerKind
    prey_length_ratio_max: PerKind
    young_gape_gain: PerKind
    young_gape_none_at_mm: PerKind
    young_gape_full_at_mm: PerKind
    capture_ease: PerKind
    exposure_per_day: PerKind
    plants_hide: PerKind
    exposure_half_saturation_kg_per_ha: PerKind

    # Natural food
    resource_half_saturation_kg_per_ha: PerKind
    plankton_use: PerKind
    plankton_use_until_mm: PerKind
    plankton_use_width_mm: PerKind
    plankton_use_of_large: PerKind
    benthos_use: PerKind
    benthos_use_from_mm: PerKind
    benthos_use_from_width_mm: PerKind
    benthos_fertility_exponent: PerKind
    benthos_fertility_from_mm: PerKind
    benthos_fertility_width_mm: PerKind
    benthos_grazing_exponent: PerKind
    benthos_grazing_from_mm: PerKind
    benthos_grazing_width_mm: PerKind
    littoral_use: PerKind
    littoral_use_until_mm: PerKind
    littoral_use_width_mm: PerKind
    algae_use: PerKind
    snails_use: PerKind
    snails_use_from_mm: PerKind
    snails_use_width_mm: PerKind
    foraging_size_exponent: PerKind
    foraging_size_offset_g: PerKind
    foraging_size_reference_g: PerKind
    searching_cost: PerKind

    # Pellets
    pellets_from_mm: PerKind
    pellets_above_c: PerKind
    pellet_ration_target: PerKind
    pellet_access: PerKind
    pellet_displacement: PerKind

    # Deaths
    background_deaths_multiplier: PerKind
    background_deaths_size_gain: PerKind
    background_deaths_pivot_g: PerKind
    fry_deaths_per_day: PerKind
    fry_deaths_exponent: PerKind
    oldest_age_years: PerKind
    cold_deaths_per_day: PerKind
    cold_deaths_below_c: PerKind
    cold_deaths_width_c: PerKind
    cold_deaths_size_exponent: PerKind

    # Want of oxygen
    oxygen_limit_mg_l: PerKind
    oxygen_limit_width_mg_l: PerKind

    # Moving fish
    handling_deaths: PerKind
    haul_hours: PerKind
    shock_deaths: PerKind

    # Strains: what their fish are relative to the species' own, and cold that kills some of them alone
    strain_intake: PerKind
    strain_length: PerKind
    strain_spawning_later_c: PerKind
    strain_catching: PerKind
    chill_deaths_per_day: PerKind
    chill_deaths_below_c: PerKind
    chill_deaths_width_c: PerKind

    # Spawning and young
    spawning_from_c: PerKind
    spawning_width_c: PerKind
    spawning_until_c: PerKind
    spawning_first_day: PerKind
    spawning_last_day: PerKind
    spawning_hazard_per_day: PerKind
    spawning_cycle_days: PerKind
    spawning_autumn_share: PerKind
    spawning_autumn_from_day: PerKind
    pulse_slot_days: PerKind
    recruits_cap_per_ha: PerKind
    recruits_half_saturation_kg_per_ha: PerKind
    recruit_food_exponent: PerKind
    recruit_length_mm: PerKind
    recruit_delay_days: PerKind
    mature_length_mm: PerKind
    male_mature_length_mm: PerKind
    male_half_saturation_kg_per_ha: PerKind
    spawning_cost_female: PerKind
    spawning_cost_male: PerKind
    egg_predator_half_kg_per_ha: PerKind
    egg_predator_exponent: PerKind
    egg_eating: PerKind
    egg_eating_from_mm: PerKind
    egg_eating_until_mm: PerKind

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
    condition_ration_limit: Shared
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
    plants_of_ordinary_pond: Shared
    plants_hinder_from_share: Shared
    plants_hinder_per_share: Shared
    plants_regrowth_per_year: Shared
    carp_enough_per_ha: Shared
    carp_deaths_per_year: Shared
    stranded_share: Shared
    stranded_below_mm: Shared
    naive_ease: Shared
    naive_days: Shared

    # Moving fish
    handling_warming_per_c: Shared
    handling_reference_c: Shared
    handling_size_exponent: Shared
    haul_power: Shared
    salt_left: Shared
    shock_from_c: Shared
    shock_scale_c: Shared
    shock_of_cooling: Shared
    move_deaths_at_once: Shared
    move_deaths_days: Shared

    # Energy of food
    oxygen_energy_j_per_g: Shared
    prey_fish_energy_j_per_g: Shared
    plankton_energy_j_per_g: Shared
    benthos_energy_j_per_g: Shared
    littoral_energy_j_per_g: Shared
    algae_energy_j_per_g: Shared
    snails_energy_j_per_g: Shared
    pellet_energy_j_per_g: Shared

    # Renewal of natural food
    plankton_capacity_kg_per_ha: Shared
    benthos_capacity_kg_per_ha: Shared
    littoral_capacity_kg_per_ha: Shared
    algae_capacity_kg_per_ha: Shared
    snails_capacity_kg_per_ha: Shared
    plankton_renewal_per_day: Shared
    benthos_renewal_per_day: Shared
    littoral_renewal_per_day: Shared
    algae_renewal_per_day: Shared
    snails_renewal_per_day: Shared
    algae_light_limit: Shared
    renewal_q10: Shared
    renewal_reference_c: Shared
    renewal_saturation: Shared
    pellet_fertility_ha_day_per_kg: Shared
    light_floor: Shared
    light_peak_day: Shared
    resource_floor_kg_per_ha: Shared
    fertility_rise_days: Shared
    fertility_fall_days: Shared
    alkalinity_enough_mg_l: Shared
    alkalinity_exponent: Shared
    lime_mg_l_per_t_per_ha: Shared
    lime_days: Shared
    pellet_waste_share: Shared

    # Deaths and harvest
    background_deaths_at_1_g_per_year: Shared
    background_deaths_exponent: Shared
    background_deaths_warming_per_c: Shared
    background_deaths_reference_c: Shared
    crowding_from_kg_per_ha: Shared
    crowding_deaths_per_day: Shared
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

    # Oxygen of the water
    mixing_depth_at_1_ha_m: Shared
    mixing_depth_exponent: Shared
    oxygen_production_most: Shared
    oxygen_production_half: Shared
    bloom_light_point: Shared
    bloom_respires_today: Shared
    bloom_respires_lately: Shared
    bloom_memory_days: Shared
    mud_oxygen_g_per_m2_day: Shared
    fish_oxygen_mg_per_kg_hour: Shared
    feed_oxygen_kg_per_kg: Shared
    waste_decay_per_day: Shared
    oxygen_fade_mg_l: Shared
    overcast_light: Shared
    cloud_steepness: Shared
    mean_wind_m_s: Shared
    night_wind_share: Shared
    bloom_collapse_per_day: Shared
    bloom_collapse_above_c: Shared
    bloom_left_after_collapse: Shared
    bloom_recovery_per_day: Shared
    oxygen_of_collapse_g_per_m2: Shared
    turnover_cooling_c: Shared
    deep_shortage_mg_l_per_day: Shared
    deep_shortage_most_mg_l: Shared
    transfer_alpha: Shared
    transfer_beta: Shared
    aerator_reach_kw_per_ha: Shared
    aerator_paddlewheel_kg_per_kwh: Shared
    aerator_propeller_aspirator_kg_per_kwh: Shared
    aerator_vertical_pump_kg_per_kwh: Shared
    aerator_pump_sprayer_kg_per_kwh: Shared
    aerator_diffused_kg_per_kwh: Shared
    ice_below_c: Shared
    ice_water_g_per_m3_day: Shared
    ice_bottom_rich_g_per_m2_day: Shared
    ice_bottom_poor_g_per_m2_day: Shared
    ice_limited_below_mg_l: Shared

    # Spawning
    mature_age_years: Shared
    pulse_min_weight: Shared
    pulse_min_per_ha: Shared
    join_within: Shared
    group_min_per_ha: Shared
    egg_predator_hunger_exponent: Shared
    egg_predator_hunger_floor: Shared

    kinds: tuple[str, ...] = tuple(KINDS)

    @property
    def members(self) -> int:
        """The length of the member axis: 1 unless a parameter was replaced by one value per member."""
        return max(array.shape[0] for array in self.arrays().values())

    def arrays(self) -> dict[str, NDArray[np.float64]]:
        """Every parameter's array, by name."""
        return {name: getattr(self, name) for name in NAMES}

    def with_arrays(self, arrays: dict[str, NDArray[np.float64]]) -> Parameters:
        """Parameters of the same kinds with other arrays."""
        return Parameters(**arrays, kinds=self.kinds)

    def of_kinds(self, kinds: Sequence[str]) -> Parameters:
        """The parameters of some kinds, in their order."""
        columns = [self.kinds.index(kind) for kind in kinds]
        arrays = {name: array[:, columns] if array.ndim == 2 else array for name, array in self.arrays().items()}
        return Parameters(**arrays, kinds=tuple(kinds))

    def value(self, path: str) -> NDArray[np.float64]:
        """Values [member] of one parameter, by a path such as `bass.max_intake_at_1_g`. Raises InputError."""
        name, columns = self._address(path)
        array = getattr(self, name)
        return array if columns is None else array[:, columns[0]]

    def replace(self, path: str, values: ArrayLike) -> Parameters:
        """The same parameters with one of them changed: a number, or one number per member.

        The range in the file is not enforced, so that a scan may step beyond it. Raises InputError for an unknown
        path (naming the nearest), for values that are not finite, and for another number of members.
        """
        import numpy as np

        name, columns = self._address(path)
        new = np.atleast_1d(np.array(values, dtype=float))
        if new.ndim != 1 or not np.isfinite(new).all():
            raise InputError(path, str(values), "a finite number, or a list of them with one per member")
        if len({1, self.members, new.size}) > 2:
            raise InputError(path, f"{new.size} values", f"one value or {self.members}, one per member")
        if columns is not None:
            old = getattr(self, name)
            column_values, new = new, np.repeat(old, new.size if old.shape[0] == 1 else 1, axis=0)
            new[:, columns] = column_values[:, None]
        new.flags.writeable = False
        return self.with_arrays(self.arrays() | {name: new})

    def take(self, members: slice | ArrayLike) -> Parameters:
        """The parameters of some members only; what all members share stays as it is."""
        arrays = self.arrays()
        return self.with_arrays({name: _rows(array, members) for name, array in arrays.items()})

    def _address(self, path: str) -> tuple[str, list[int] | None]:
        """Field and columns of a path; a species' are also those of its kinds that do not say otherwise. Raises InputError."""
        find(path)
        place, _, name = path.partition(".")
        if place == POND:
            return name, None
        mine = (kind == place or (KINDS[kind].species == place and name not in entries()[kind]) for kind in self.kinds)
        return name, [k for k, so in enumerate(mine) if so]


def of_species(values: NDArray[np.float64], species: str, axis: int = -2) -> NDArray[np.float64]:
    """What of an array with an axis of species belongs to one of them, a view.

    By default the axis of species is the last but one, before that of length classes.
    """
    place: list[slice | int] = [slice(None)] * values.ndim
    place[axis] = place_of(species)
    return values[tuple(place)]


def _rows(array: Any, members: slice | ArrayLike) -> NDArray[np.float64]:
    return array if array.shape[0] == 1 else array[members]


_FIELDS = {field.name: field.type for field in fields(Parameters) if field.name != "kinds"}
NAMES = tuple(_FIELDS)
"""The names of all parameters."""
SHARED = tuple(name for name, of in _FIELDS.items() if of == "Shared")
"""Of those that all fish share."""


def load_parameters() -> Parameters:
    """The parameters in the package's files, with a member axis of length 1. Raises InputError."""
    import numpy as np

    tables = entries()
    _check_fields(tables)
    arrays: dict[str, Any] = {}
    for name in NAMES:
        if name in SHARED:
            array = np.array([tables[POND][name].value], dtype=float)
        else:
            row = [tables[key].get(name) or tables[kind.species].get(name) for key, kind in KINDS.items()]
            array = np.array([[np.nan if entry is None else entry.value for entry in row]], dtype=float)
        array.flags.writeable = False
        arrays[name] = array
    return Parameters(**arrays)


def _check_fields(tables: Any) -> None:
    """Every parameter that a trait asks for has a field, and so has every entry of pond.toml. Raises InputError."""
    of_fish = {*ALWAYS, *(key for forms in (*FORMS.values(), HABITS) for keys in forms.values() for key in keys)}
    known = {name: name in SHARED for name in NAMES}
    for key in (*of_fish, *tables[POND]):
        if known.get(key) is not (key in tables[POND]):
            file = "registry" if key in of_fish else "pond.toml"
            raise InputError(key, key, "the name of a parameter", nearest(key, known), file)
    for name, shared in known.items():
        if shared and name not in tables[POND]:
            raise InputError(name, MISSING, "an entry", f"add [{name}]", "pond.toml")
        if not shared and name not in of_fish:
            raise InputError(name, MISSING, "a trait that asks for it", "name it in ALWAYS, FORMS or HABITS", "registry")

