"""Formulas as fast Python functions, for curves of many points."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import isfinite, sqrt

import numpy as np
from sympy import Basic

from voltsec.formulas.engine import engine_of
from voltsec.formulas.modes import ModeBuilder
from voltsec.formulas.numbers import holds_at
from voltsec.periodic.verification import GAP, may_miss_edge
from voltsec.report.javascript import has_formulas, in_order
from voltsec.report.read_back import Writer
from voltsec.results.solution import Mode, Solution

Point = Mapping[str, float]

WORDS = {"__builtins__": {}, "sqrt": sqrt, "Max": max, "Min": min, "Abs": abs}


def function(expression: Basic) -> Callable[[Point], float | None]:
    """``expression`` as a function of named values; ``None`` where it is no finite number."""
    names = {str(symbol) for symbol in expression.free_symbols}
    code = compile(Writer(names).text(expression), "<formula>", "eval")

    def value(point: Point) -> float | None:
        try:
            number = eval(code, dict(WORDS), {name: point[name] for name in names})
            return float(number) if isfinite(number) else None
        except (ArithmeticError, ValueError, TypeError, KeyError, NameError):
            return None

    return value


class ModeFunctions:
    """The functions of one mode that a curve needs, and where it holds."""

    def __init__(self, mode: Mode, builder: ModeBuilder) -> None:
        self.builder = builder
        self.define = [(name, function(e)) for name, e in in_order(mode.definitions)]
        self.shown = {
            key: function(e)
            for key, e in (("gain", mode.gain), ("V", mode.output_voltage), ("eta", mode.efficiency))
            if e is not None
        }

    def at(self, point: Point, key: str, shares: np.ndarray) -> float | None:
        """The value of ``key`` at a point where the mode holds with fractions ``shares``."""
        full = dict(point)
        full |= {name: float(shares[k]) for k, name in self.builder.found.fractions.unknown.items()}
        for name, defined in self.define:
            number = defined(full)
            if number is None:
                return None
            full[name] = float(number)
        value = self.shown[key](full) if key in self.shown else None
        return None if value is None else float(value)


def curve_functions(solution: Solution) -> list[ModeFunctions]:
    """One entry a mode with closed formulas, in the solution's order."""
    builders = dict(engine_of(solution).builders)
    return [ModeFunctions(mode, builders[mode.name]) for mode in solution.modes if has_formulas(mode)]


def curve(
    functions: list[ModeFunctions], point: Point, duty: str, key: str, shares: list[float]
) -> list[float | None]:
    """The values of ``key`` over the duty; ``None`` where no mode with formulas holds."""
    found: list[float | None] = [None] * len(shares)
    points = {name: np.full(len(shares), value) for name, value in point.items()} | {duty: np.array(shares)}
    free = np.ones(len(shares), bool)
    turns = [(one, 0.0) for one in functions]
    turns += [(one, GAP) for one in functions if may_miss_edge(one.builder.balance)]
    for one, slack in turns:
        holds, fractions = holds_at(one.builder, points, slack)
        holds = holds & free
        free &= ~holds
        for place in np.flatnonzero(holds):
            found[int(place)] = one.at({**point, duty: shares[place]}, key, fractions[:, place])
    return found
