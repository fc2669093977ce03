"""Projects the fish of a small pond under several strategies and compares them.

    import pondpop
    dataset = pondpop.compare("scenarios/predators_75_or_100.toml")

Every function that takes a scenario takes the path of its file as well. Lengths are mm, weights g, areas ha, numbers
fish/ha, biomass kg/ha, temperatures °C; arrays have the members of the ensemble first. What is wrong with an input is an
`InputError` of one line, what cannot be done with a right one a `RunError`.

Names are imported when they are first used, so that reading a scenario needs the standard library only.
"""

TYPE_CHECKING = False  # the name that type checkers know; `typing` takes as long to import as an empty Python to start
if TYPE_CHECKING:
    from pondpop.assess import assess_records
    from pondpop.checks import InputError, RunError
    from pondpop.decide.plan import plan
    from pondpop.decide.quota import find_quota
    from pondpop.decide.sweep import sweep
    from pondpop.ensemble.run import compare
    from pondpop.ensemble.simulation import Simulation, Take
    from pondpop.ensemble.summary import summarise
    from pondpop.records import read_records
    from pondpop.report import write_report
    from pondpop.scenario import Scenario, load
    from pondpop.scenario.describe import describe
    from pondpop.update import update_ensemble
    from pondpop.update.verify import verify

__version__ = "0.1.0"
__all__ = [
    "InputError",
    "RunError",
    "Scenario",
    "Simulation",
    "Take",
    "__version__",
    "assess_records",
    "compare",
    "describe",
    "find_quota",
    "load",
    "plan",
    "read_records",
    "summarise",
    "sweep",
    "update_ensemble",
    "verify",
    "write_report",
]

_HOME = {
    "InputError": "pondpop.checks",
    "RunError": "pondpop.checks",
    "Scenario": "pondpop.scenario",
    "Simulation": "pondpop.ensemble.simulation",
    "Take": "pondpop.ensemble.simulation",
    "assess_records": "pondpop.assess",
    "compare": "pondpop.ensemble.run",
    "describe": "pondpop.scenario",
    "find_quota": "pondpop.decide.quota",
    "load": "pondpop.scenario",
    "plan": "pondpop.decide.plan",
    "read_records": "pondpop.records",
    "summarise": "pondpop.ensemble.summary",
    "sweep": "pondpop.decide.sweep",
    "update_ensemble": "pondpop.update",
    "verify": "pondpop.update.verify",
    "write_report": "pondpop.report",
}

if not TYPE_CHECKING:

    def __getattr__(name: str) -> object:
        if name not in _HOME:
            raise AttributeError(f"module 'pondpop' has no attribute {name!r}")
        from importlib import import_module

        return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
