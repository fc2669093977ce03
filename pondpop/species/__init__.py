"""The species: what each is and can do, its parameters, and where every number comes from.

`registry` has the traits, `parameters` the arrays that the model reads, `catalogue` every number with its source. What is
imported here is the standard library only; numpy is imported when parameters are loaded.
"""

from pondpop.species.catalogue import find, paths, sources_text, uncertain, works_cited
from pondpop.species.parameters import Parameters, load_parameters, of_species
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
