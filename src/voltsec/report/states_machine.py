"""State equations as JSON: every matrix entry a string that ``sympy.sympify`` reads back."""

from __future__ import annotations

from typing import Any

from sympy import ImmutableMatrix

from voltsec.dynamics.state_equations import ModeEquations, StateEquations, state_symbol
from voltsec.results.solution import Solution


def states_json(answer: Solution, found: ModeEquations) -> dict[str, Any]:
    """One object; laws name states as ``i(L1)`` and ``v(C1)``."""
    return {
        "format": 1,
        "circuit": answer.circuit.name,
        "mode": found.mode,
        "symbols": answer.symbols,
        "intervals": [
            {
                "fraction": str(interval.fraction),
                "conducting": list(interval.conducting),
                **_equations(interval.equations, found),
            }
            for interval in found.intervals
        ],
        "averaged": None if found.averaged is None else _equations(found.averaged, found),
        "why_not_averaged": found.why_not or None,
    }


def _equations(equations: StateEquations, found: ModeEquations) -> dict[str, Any]:
    kinds = found.kinds
    told: dict[str, Any] = {
        "states": [state_symbol(name, kinds[name]) for name in equations.states],
        "inputs": list(equations.inputs),
        "outputs": list(equations.outputs),
    }
    told |= {name: _entries(getattr(equations, name)) for name in ("A", "B", "C", "E")}
    told["ties"] = [
        {"state": state_symbol(tie.state, kinds[tie.state]), "value": str(tie.value), "by": tie.kind}
        for tie in equations.ties
    ]
    told["laws"] = [
        {
            "element": law.element,
            "left": [[str(factor), state_symbol(name, kinds[name])] for factor, name in law.left],
            "right": str(law.right),
        }
        for law in equations.laws
    ]
    told["undetermined"] = list(equations.undetermined)
    return told


def _entries(matrix: ImmutableMatrix) -> list[list[str]]:
    return [[str(matrix[i, j]) for j in range(matrix.cols)] for i in range(matrix.rows)]
