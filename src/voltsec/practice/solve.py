"""The main path for whoever asks: formulas of every mode, and exact numbers at the operating point."""

from __future__ import annotations

from dataclasses import replace

from voltsec.circuit.circuit import Circuit
from voltsec.practice.exact_numbers import ExactNumbers
from voltsec.steady.points import operating_point
from voltsec.steady.solution import Solution
from voltsec.steady.solve import solve as solve_formulas


def solve(circuit: Circuit) -> Solution:
    """Every mode of ``circuit`` with its formulas, and the numbers of the exact periodic state.

    Raises :class:`CircuitError` for a circuit that cannot work and :class:`NoSteadyState` where no
    periodic state exists.
    """
    answer = solve_formulas(circuit)
    numbers = ExactNumbers(circuit, answer.engine)
    point = operating_point(circuit)
    found = None if point is None else numbers(point)
    return replace(answer, numbers=found, evaluate=numbers)
