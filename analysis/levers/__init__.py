"""The levers: one module a tunable role whose effect is known, each with one `LEVER` that says all there is to know.

`LEVERS` is derived from the modules of this folder, in the order of the vocabulary: a new module is a new lever.
"""

from importlib import import_module
from pkgutil import iter_modules

from analysis.levers.lever import DoseLever, EdgeLever, Lever, Part, PolicyLever, Rule
from ingest.vocabulary import TunableRole


def _found() -> dict[TunableRole, Lever]:
    modules = [import_module(f"{__name__}.{module.name}") for module in iter_modules(__path__)]
    levers: dict[TunableRole, Lever] = {}
    for module in modules:
        lever: Lever | None = getattr(module, "LEVER", None)
        if lever is None:
            continue
        if lever.role in levers:
            raise ValueError(f"{module.__name__}: the role {lever.role} has a lever already")
        levers[lever.role] = lever
    return {role: levers[role] for role in TunableRole if role in levers}


LEVERS = _found()


def lever_of(role: TunableRole | None) -> Lever | None:
    """The lever of a tunable's role; None where no effect is known."""
    return None if role is None else LEVERS.get(role)


def policy_levers() -> list[PolicyLever]:
    """Those that set a rule of the outcome chain."""
    return [lever for lever in LEVERS.values() if isinstance(lever, PolicyLever)]


def rate_levers() -> list[DoseLever]:
    """Those that act on the rates of a run: deaths, clear times, rises of the tier."""
    return [one for one in _dose_levers() if one.deaths or one.times or one.rises]


def trial_levers() -> list[DoseLever]:
    """Those that act on the success of a single shot."""
    return [one for one in _dose_levers() if one.success]


def edge_levers() -> list[EdgeLever]:
    """Those that move the window in which a press counts."""
    return [lever for lever in LEVERS.values() if isinstance(lever, EdgeLever)]


def _dose_levers() -> list[DoseLever]:
    return [lever for lever in LEVERS.values() if isinstance(lever, DoseLever)]


__all__ = [
    "LEVERS",
    "DoseLever",
    "EdgeLever",
    "Lever",
    "Part",
    "PolicyLever",
    "Rule",
    "edge_levers",
    "lever_of",
    "policy_levers",
    "rate_levers",
    "trial_levers",
]
