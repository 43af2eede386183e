"""Formulas as fast Python functions, for curves that would take too long point by point through the solver."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import isfinite, sqrt

from sympy import Basic

from voltsec.report.javascript import has_formulas, in_order
from voltsec.report.machine import Writer
from voltsec.steady.solution import Mode, Solution

Point = Mapping[str, float]


def _equal(one: float, other: float) -> bool:
    return abs(one - other) <= 1e-9 * (abs(one) + abs(other))


WORDS = {"__builtins__": {}, "sqrt": sqrt, "Max": max, "Min": min, "Abs": abs, "Eq": _equal}


def function(expression: Basic) -> Callable[[Point], float | bool | None]:
    """``expression`` as a function of named values; ``None`` where it is no finite number."""
    names = {str(symbol) for symbol in expression.free_symbols}
    code = compile(Writer(names).text(expression), "<formula>", "eval")

    def value(point: Point) -> float | bool | None:
        try:
            number = eval(code, dict(WORDS), {name: point[name] for name in names})
            return number if isinstance(number, bool) or isfinite(number) else None
        except (ArithmeticError, ValueError, TypeError, KeyError, NameError):
            return None

    return value


class ModeFunctions:
    """The functions of one mode that a curve needs."""

    def __init__(self, mode: Mode) -> None:
        self.name = mode.name
        self.define = [(name, function(e)) for name, e in in_order(mode.definitions)]
        self.holds = None if mode.holds_when is None else function(mode.holds_when)
        self.shown = {
            key: function(e)
            for key, e in (("gain", mode.gain), ("V", mode.output_voltage), ("eta", mode.efficiency))
            if e is not None
        }

    def at(self, point: Point) -> dict[str, float] | None:
        """Values at ``point``, ``None`` where the mode does not hold."""
        full = dict(point)
        for name, defined in self.define:
            number = defined(full)
            if number is None or isinstance(number, bool):
                return None
            full[name] = number
        if self.holds is not None and not self.holds(full):
            return None
        values = {key: one(full) for key, one in self.shown.items()}
        return {key: float(number) for key, number in values.items() if number is not None}


def curve_functions(solution: Solution) -> list[ModeFunctions]:
    """One entry a mode with closed formulas, in the solution's order."""
    return [ModeFunctions(mode) for mode in solution.modes if has_formulas(mode)]


def curve(functions: list[ModeFunctions], point: Point, duty: str, key: str, shares: list[float]) -> list[float | None]:
    """The values of ``key`` over the duty; ``None`` where no mode holds."""
    found: list[float | None] = []
    for share in shares:
        value = None
        for one in functions:
            values = one.at({**point, duty: share})
            if values is not None:
                value = values.get(key)
                break
        found.append(value)
    return found
