"""The species, and what each of them is and can do: the [traits] at the head of its file. Standard library only.

To add a species, write its file and its word in `_NAMES`; nothing else. `NEEDS` says which parameters a trait asks for.
"""

import re
import tomllib
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any, Final, NamedTuple

from pondpop.checks import MISSING, InputError, nearest, only_known

_NAMES: Final = ("bass", "bluegill", "shad", "minnow", "redear")
_KINDS: Final[tuple[str, ...]] = ("first_cross", "florida")

ALWAYS: Final = (
    "oxygen_limit_mg_l", "oxygen_limit_width_mg_l",
    "max_intake_at_1_g", "max_intake_exponent", "intake_dome_q", "intake_optimum_c", "intake_maximum_c",
    "feeding_stops_below_c", "feeding_stop_width_c", "respiration_at_1_g", "respiration_exponent", "winter_rest_share",
    "activity_multiplier", "egested_share", "excreted_share", "digestion_cost_share", "body_energy_j_per_g",
    "standard_weight_intercept", "standard_weight_slope", "growth_spread", "prey_length_ratio_max", "capture_ease",
    "exposure_per_day", "resource_half_saturation_kg_per_ha", "background_deaths_multiplier", "oldest_age_years",
    "spawning_from_c", "spawning_width_c", "pulse_slot_days", "recruits_cap_per_ha", "recruits_half_saturation_kg_per_ha",
    "recruit_food_exponent", "recruit_length_mm", "mature_length_mm", "spawning_cost_female",
    "handling_deaths", "haul_hours", "shock_deaths",
)  # fmt: skip
"""Parameters that every species has."""

FORMS: Final[Mapping[str, Mapping[str, tuple[str, ...]]]] = {
    "role": {
        "predator": (
            "search_area_at_100_g", "search_area_exponent", "search_growth_exponent", "interference_ha_per_kg",
            "interference_from_mm", "interference_length_share", "interference_length_width", "fish_eating_from_mm",
            "fish_eating_width_mm", "prey_length_ratio_min", "prey_length_ratio_min_width", "prey_length_ratio_max_width",
            "young_gape_none_at_mm", "young_gape_full_at_mm",
        ),
        "prey": (),
    },
    "sexes": {
        "apart": ("spawning_cost_male", "male_mature_length_mm", "male_half_saturation_kg_per_ha"),
        "together": (),
    },
    "respiration": {
        "exponential": ("respiration_per_c", "respiration_flat_above_c"),
        "dome": ("respiration_dome_q", "respiration_optimum_c", "respiration_maximum_c"),
    },
    "plankton": {
        "none": (),
        "all sizes": ("plankton_use",),
        "young": ("plankton_use", "plankton_use_until_mm", "plankton_use_width_mm"),
        "young most": ("plankton_use", "plankton_use_until_mm", "plankton_use_width_mm", "plankton_use_of_large"),
    },
    "benthos": {
        "none": (),
        "all sizes": ("benthos_use",),
        "large": ("benthos_use", "benthos_use_from_mm", "benthos_use_from_width_mm"),
    },
    "spawning": {"once a year": ("spawning_hazard_per_day",), "cycles": ("spawning_cycle_days",)},
}  # fmt: skip
"""Traits that a species has in one form of several, and the parameters that each form asks for."""

HABITS: Final[Mapping[str, tuple[str, ...]]] = {
    "isometric when short": ("isometric_below_mm",),
    "rests by size": ("winter_rest_size_exponent",),
    "more active when large": ("activity_per_kg",),
    "grows in two phases": (
        "two_phase_from_mm", "two_phase_width_mm", "asymptotic_length_female_mm", "asymptotic_length_male_mm",
        "asymptotic_length_spread", "growth_coefficient_female_per_year", "growth_coefficient_male_per_year",
        "full_condition", "full_condition_power",
    ),
    "richer when large": ("body_energy_exponent",),
    "forages better when small": ("foraging_size_exponent", "foraging_size_offset_g", "foraging_size_reference_g"),
    "searches at a cost": ("searching_cost",),
    "finds little where benthos is grazed down": (
        "benthos_grazing_exponent", "benthos_grazing_from_mm", "benthos_grazing_width_mm",
    ),
    "lives on large bottom animals": (
        "benthos_fertility_exponent", "benthos_fertility_from_mm", "benthos_fertility_width_mm",
    ),
    "hides little in plants": ("plants_hide",),
    "feeds by the shore when small": ("littoral_use", "littoral_use_until_mm", "littoral_use_width_mm"),
    "eats algae": ("algae_use",),
    "eats snails": ("snails_use", "snails_use_from_mm", "snails_use_width_mm"),
    "taken large by young predators": ("young_gape_gain",),
    "hard to find when few": ("exposure_half_saturation_kg_per_ha",),
    "eats pellets": (
        "pellets_from_mm", "pellets_above_c", "pellet_ration_target", "pellet_access", "pellet_displacement",
    ),
    "natural deaths fall less with size": ("background_deaths_size_gain", "background_deaths_pivot_g"),
    "dies as fry": ("fry_deaths_per_day", "fry_deaths_exponent"),
    "dies of cold": (
        "cold_deaths_per_day", "cold_deaths_below_c", "cold_deaths_width_c", "cold_deaths_size_exponent",
    ),
    "recruits after a delay": ("recruit_delay_days",),
    "spawns from a day": ("spawning_first_day",),
    "spawns until a day": ("spawning_last_day",),
    "spawns less in heat": ("spawning_until_c",),
    "spawns less in autumn": ("spawning_autumn_share", "spawning_autumn_from_day"),
    "loses eggs": ("egg_predator_half_kg_per_ha", "egg_predator_exponent"),
    "eats eggs": ("egg_eating", "egg_eating_from_mm", "egg_eating_until_mm"),
    "caught by anglers": (),
    "has strains": (
        "strain_intake", "strain_length", "strain_spawning_later_c", "strain_catching", "chill_deaths_per_day",
        "chill_deaths_below_c", "chill_deaths_width_c",
    ),
}  # fmt: skip
"""Traits that a species has or has not, and the parameters that each asks for."""

GROWTH_TYPES: Final = (1, 3)
OPTIONAL: Final = ("caught_like", "standard", "harvestable_from_in", "own_strain")


class Look(NamedTuple):
    """How a species is drawn: colour, dashes of a line (none: unbroken), hatch of an area."""

    colour: str
    dashes: tuple[float, ...]
    hatch: str


class Species(NamedTuple):
    """What a species is and can do. Lengths in mm, ages in years.

    usual_ages: (length, age) of stocked fish of unstated age; records_mm and records_condition: what a field sheet may say
    of its length L and weight W, as mm and 100,000·W/L³; caught_like: the species whose settings of the gears hold for it where
    the gears have none of its own, or none; standard: its name among the published standards of surveys
    (length categories and standard weight), or none; wr_classes_in, density_edges_in: classes in which its condition and
    number are told, in; harvestable_from_in: length from which it counts as harvestable, or none; own_strain: what its own
    strain is called beside its kinds, or none.
    """

    name: str
    title: str
    plural: str
    other_names: tuple[str, ...]
    role: str
    sexes: str
    growth_types: int
    respiration: str
    plankton: str
    benthos: str
    spawning: str
    habits: tuple[str, ...]
    usual_ages: tuple[tuple[float, float], ...]
    records_mm: tuple[float, float]
    records_condition: tuple[float, float]
    caught_like: str | None
    standard: str | None
    wr_classes_in: tuple[tuple[int, int], ...]
    density_edges_in: tuple[int, ...]
    harvestable_from_in: int | None
    look: Look
    own_strain: str | None

    @property
    def needs(self) -> dict[str, str]:
        """Every parameter that its file has to hold, and the trait that asks for it."""
        asked = dict.fromkeys(ALWAYS, "every species")
        for trait, forms in FORMS.items():
            form = getattr(self, trait)
            asked |= dict.fromkeys(forms[form], f'{trait} = "{form}"')
        for habit in self.habits:
            asked |= dict.fromkeys(HABITS[habit], f'the habit "{habit}"')
        return asked

    def has(self, trait: str) -> bool:
        """Whether it has a habit, or the form of a trait written as `trait: form`."""
        key, _, form = trait.partition(": ")
        return str(getattr(self, key)) == form if form else trait in self.habits


class Kind(NamedTuple):
    """A kind of a species, a strain of it: its file holds only the parameters in which it differs, such as strains can.

    `blood` is the share of its blood that is not the species' own: fish between two kinds are between them in what they are.
    """

    name: str
    title: str
    species: str
    blood: float = 0.0


def read_species(name: str, text: str) -> Species:
    """The traits at the head of a species file. Raises InputError."""
    file, table = f"{name}.toml", traits_of(name, text)
    known = [field for field in Species._fields if field != "name"]
    _only(file, table, known)
    for key in known:
        if key not in table and key not in OPTIONAL:
            raise InputError(f"traits.{key}", MISSING, "an entry", f"add {key} = ...", file)
    for key, forms in FORMS.items():
        _one_of(file, key, table[key], forms)
    for habit in table["habits"]:
        _one_of(file, "habits", habit, HABITS)
    _one_of(file, "growth_types", table["growth_types"], GROWTH_TYPES)
    if table["sexes"] == "apart" and table["growth_types"] == 1:
        raise InputError("traits.growth_types", 1, "3 where the sexes are apart", file=file)
    look = table["look"]
    if not isinstance(look, dict) or set(look) != set(Look._fields):
        raise InputError("traits.look", look, "{ colour = ..., dashes = [...], hatch = ... }", file=file)
    values: dict[str, Any] = dict.fromkeys(OPTIONAL)
    values |= {key: _frozen(value) for key, value in table.items()}
    values["look"] = Look(**{key: _frozen(value) for key, value in look.items()})
    return Species(name=name, **values)


def read_kind(name: str, text: str, species: Sequence[str]) -> Kind:
    """The head of the file of a kind. Raises InputError."""
    file, table = f"{name}.toml", traits_of(name, text)
    known = ("title", "kind_of", "blood")
    _only(file, table, known)
    for key in known:
        if key not in table:
            raise InputError(f"traits.{key}", MISSING, "an entry", f"add {key} = ...", file)
    _one_of(file, "kind_of", table["kind_of"], species)
    blood = table["blood"]
    if isinstance(blood, bool) or not isinstance(blood, int | float) or not 0.0 < blood <= 1.0:
        raise InputError("traits.blood", blood, "a share above 0 and up to 1", file=file)
    return Kind(name, table["title"], table["kind_of"], float(blood))


def traits_of(name: str, text: str) -> dict[str, Any]:
    """The table [traits], which stands before all others, so that the rest need not be read. Raises InputError."""
    file = f"{name}.toml"
    rest = re.search(r"(?m)^\[(?!traits\])", text)
    try:
        head = tomllib.loads(text[: rest.start()] if rest else text)
    except tomllib.TOMLDecodeError as error:
        raise InputError("", text, f"a TOML file ({error})", file=file) from error
    if list(head) != ["traits"]:
        raise InputError("traits", MISSING, "a table", "write [traits] before all others", file)
    return dict(head["traits"])


def text_of(name: str) -> str:
    """The text of a file of this folder."""
    return (Path(__file__).parent / f"{name}.toml").read_text("utf-8")


def _only(file: str, table: Mapping[str, Any], known: Sequence[str]) -> None:
    try:
        only_known("traits", table, known)
    except InputError as error:
        raise error.in_file(file) from None


def _one_of(file: str, key: str, value: object, known: Any) -> None:
    if value not in known:
        names = [str(word) for word in known]
        raise InputError(f"traits.{key}", value, "one of " + ", ".join(names), nearest(value, names), file)


def _frozen(value: Any) -> Any:
    return tuple(_frozen(item) for item in value) if isinstance(value, list) else value


@cache
def _all() -> tuple[Species, ...]:
    read = [read_species(name, text_of(name)) for name in _NAMES]
    return tuple(sorted(read, key=lambda one: one.role != "predator"))


def _all_kinds() -> tuple[Kind, ...]:
    names = [one.name for one in _all()]
    own = sorted((read_kind(name, text_of(name), names) for name in _KINDS), key=lambda kind: kind.blood)
    return (*(Kind(one.name, one.title, one.name) for one in _all()), *own)


TRAITS: Final[Mapping[str, Species]] = {one.name: one for one in _all()}
"""Every species by name, predators first: the order of arrays."""
SPECIES: Final = tuple(TRAITS)
OTHER_NAMES: Final = {other: one.name for one in TRAITS.values() for other in one.other_names}
"""What the trade calls the species (common practice, no source); names that other fish share, as sunfish, are not here."""
KINDS: Final[Mapping[str, Kind]] = {kind.name: kind for kind in _all_kinds()}
"""Every kind by name: the species in their order, and then their strains."""
STRAINS: Final[Mapping[str, tuple[str, ...]]] = {
    name: tuple(kind.name for kind in KINDS.values() if kind.species == name and kind.name != name) for name in SPECIES
}
"""The strains of each species besides its own, by their share of blood."""
STRAIN_PARAMETERS: Final = (*HABITS["has strains"], "haul_hours", "shock_deaths")
"""The parameters in which the strains of a species can differ."""


def place_of(species: str) -> int:
    """The place of a species on the axis of species that arrays have."""
    return SPECIES.index(species)


def species_with(trait: str) -> tuple[int, ...]:
    """The places of the species that have a trait: a habit, or `role: predator` and the like."""
    return tuple(k for k, one in enumerate(TRAITS.values()) if one.has(trait))


@cache
def kinds_with(trait: str, kinds: tuple[str, ...] = tuple(KINDS)) -> tuple[int, ...]:
    """The places among some kinds of those whose species have a trait."""
    return tuple(k for k, name in enumerate(kinds) if TRAITS[KINDS[name].species].has(trait))


MEASURED: Final = tuple(one.name for one in TRAITS.values() if one.standard)
"""The species whose sizes and condition are judged: those with published length categories and standard weight."""
