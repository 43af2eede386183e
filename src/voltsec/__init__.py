"""Closed-form steady state of switching DC-DC converter power stages.

>>> import voltsec
>>> stage = voltsec.load("sepic")                 # a shipped name or a path; voltsec.read(text) takes text
>>> answer = voltsec.solve(stage)
>>> answer.gain
D/(1 - D)

Importing the package does no work: each public name is fetched when it is first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from voltsec.circuit.circuit import Circuit
    from voltsec.circuit.fault import CircuitError, NoSteadyState
    from voltsec.command.netlists import load
    from voltsec.dynamics.state_equations import states
    from voltsec.language.reader import read
    from voltsec.practice.design.comparison import compare
    from voltsec.practice.design.extremes import worst_case
    from voltsec.practice.design.sizing import size
    from voltsec.practice.solve import solve
    from voltsec.report.drawing import draw
    from voltsec.results.solution import Solution

    __version__: str

_HOMES = {
    "Circuit": "voltsec.circuit.circuit",
    "CircuitError": "voltsec.circuit.fault",
    "NoSteadyState": "voltsec.circuit.fault",
    "Solution": "voltsec.results.solution",
    "compare": "voltsec.practice.design.comparison",
    "draw": "voltsec.report.drawing",
    "load": "voltsec.command.netlists",
    "read": "voltsec.language.reader",
    "solve": "voltsec.practice.solve",
    "size": "voltsec.practice.design.sizing",
    "states": "voltsec.dynamics.state_equations",
    "worst_case": "voltsec.practice.design.extremes",
}

__all__ = [
    "Circuit",
    "CircuitError",
    "NoSteadyState",
    "Solution",
    "compare",
    "draw",
    "load",
    "read",
    "size",
    "solve",
    "states",
    "worst_case",
]


def __getattr__(name: str) -> Any:
    """Fetch a public name from the room where it lives."""
    if name == "__version__":
        from importlib.metadata import version

        value: Any = version("voltsec")
    elif name in _HOMES:
        value = getattr(import_module(_HOMES[name]), name)
    else:
        raise AttributeError(f"module 'voltsec' has no attribute {name!r}")
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__, "__version__"})
