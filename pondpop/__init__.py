"""Projects the fish of a small pond under several strategies and compares them.

    import pondpop
    scenario = pondpop.load("scenarios/predators_75_or_100.toml")
    dataset = pondpop.compare(scenario)

Names are imported when they are first used, so that reading a scenario needs the standard library only.
"""

from importlib import import_module

__version__ = "0.1.0"
__all__ = ["__version__", "compare", "load"]

_HOME = {"load": "pondpop.scenario", "compare": "pondpop.ensemble.run"}


def __getattr__(name: str) -> object:
    if name not in _HOME:
        raise AttributeError(f"module 'pondpop' has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)
