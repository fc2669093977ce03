"""The species: what each is and can do, its parameters, and where every number comes from.

`registry` has the traits, `parameters` the arrays that the model reads, `catalogue` every number with its source. What is
imported here is the standard library only; numpy is imported when parameters are loaded. Parameters and catalogue are
imported when they are first used: to refuse a file takes neither, and they take as long as several empty Pythons to start.
"""

from pondpop.species.registry import (
    KINDS,
    MEASURED,
    SPECIES,
    STRAINS,
    TRAITS,
    Species,
    kinds_with,
    place_of,
    species_with,
)

TYPE_CHECKING = False  # as in the package's own `__init__`
if TYPE_CHECKING:
    from pondpop.species.catalogue import find, paths, sources_text, uncertain, works_cited
    from pondpop.species.parameters import Parameters, load_parameters, of_species

__all__ = [
    "KINDS",
    "MEASURED",
    "SPECIES",
    "STRAINS",
    "TRAITS",
    "Parameters",
    "Species",
    "find",
    "kinds_with",
    "load_parameters",
    "of_species",
    "paths",
    "place_of",
    "sources_text",
    "species_with",
    "uncertain",
    "works_cited",
]

_HOME = {
    **dict.fromkeys(("find", "paths", "sources_text", "uncertain", "works_cited"), "pondpop.species.catalogue"),
    **dict.fromkeys(("Parameters", "load_parameters", "of_species"), "pondpop.species.parameters"),
}

if not TYPE_CHECKING:

    def __getattr__(name: str) -> object:
        if name not in _HOME:
            raise AttributeError(f"module 'pondpop.species' has no attribute {name!r}")
        from importlib import import_module

        return getattr(import_module(_HOME[name]), name)
