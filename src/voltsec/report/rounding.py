"""Numbers without what is rounding alone: a current of 1e-16 A in a stage of amperes is none."""

from __future__ import annotations

from dataclasses import replace

from voltsec.circuit.circuit import Circuit
from voltsec.results.solution import Numbers, Solution
from voltsec.results.table import results_of

ROUNDING = 1e-9
"""Share of the largest value of the same unit below which a number is rounding."""


def without_rounding(solution: Solution) -> Solution:
    """``solution`` with the numbers cleaned; itself where it has none."""
    if solution.numbers is None:
        return solution
    return replace(solution, numbers=cleaned(solution.numbers, solution.circuit))


def cleaned(numbers: Numbers, circuit: Circuit) -> Numbers:
    """Numbers with zero in place of what is below rounding."""
    largest: dict[str, float] = {}
    units = {name: result.unit for name, result in results_of(circuit).items()}
    for name, value in numbers.results.items():
        if value is not None:
            largest[units[name]] = max(largest.get(units[name], 0.0), abs(value))
    results = {
        name: 0.0 if value is not None and abs(value) < ROUNDING * largest[units[name]] else value
        for name, value in numbers.results.items()
    }
    formulas = None if numbers.formulas is None else cleaned(numbers.formulas, circuit)
    return replace(numbers, results=results, formulas=formulas)
