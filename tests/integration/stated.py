"""What a mode's formulas and region say at a point, evaluated as a reader of the answer would."""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import mpmath
import numpy as np
import sympy
from scipy.optimize import root

from voltsec.circuit.elements import Inductor, Load
from voltsec.results.solution import Mode, Solution

ZERO = 1e-7
"""An interval shorter than this part of the period does not exist: the point lies on an edge."""
SAME = 1e-12
"""Relative difference up to which two sides of an equation are equal: values are decimal fractions."""
STARTS = (0.03, 0.1, 0.3, 0.6, 0.9)
"""Where roots for several unknown fractions are sought, each fraction."""

Values = dict[str, float]


@dataclass(frozen=True)
class Standing:
    """What a mode says of a point."""

    holds: bool | None
    """None where the mode states no region."""
    shortest: float = 1.0
    """Its shortest interval there."""


def standing(mode: Mode, point: Mapping[str, float]) -> Standing:
    """Does the mode's own ``holds_when``, with its definitions and conditions, hold at ``point``?"""
    if not mode.written:
        return Standing(None)
    for values in values_where_it_holds(mode, point):
        return Standing(True, min(_number(interval.fraction, values) for interval in mode.intervals))
    return Standing(False)


def values_where_it_holds(mode: Mode, point: Mapping[str, float]) -> Iterator[Values]:
    """The point with unknown fractions and definitions filled in, for each root in the mode's region."""
    for roots in _roots(mode, point, _unknown_fractions(mode, point)):
        values = _with_definitions(mode, dict(point) | roots)
        if mode.holds_when is not None and not _truth(mode.holds_when, values):
            continue
        if not roots or all(_number(interval.fraction, values) > 0 for interval in mode.intervals):
            yield values


def value_of(formula: sympy.Expr, values: Mapping[str, float]) -> float | None:
    """A formula's number; None where ``values`` lack one of its symbols."""
    if any(symbol.name not in values for symbol in formula.free_symbols):
        return None
    return _number(formula, values)


def standings(solution: Solution, point: Mapping[str, float]) -> dict[str, Standing]:
    """What every mode says of ``point``."""
    return {mode.name: standing(mode, point) for mode in solution.modes}


def neighbours(solution: Solution, point: Values, rng: random.Random) -> Values:
    """A point not far away: loads, coils, the period and the duties changed, couplings as they were."""
    found = dict(point)
    found["T"] *= 10 ** rng.uniform(-0.7, 0.7)
    for element in solution.circuit.of(Load):
        found[element.quantity.symbol] *= 10 ** rng.uniform(-0.7, 0.7)
    for element in solution.circuit.of(Inductor):
        found[element.quantity.symbol] *= 10 ** rng.uniform(-0.3, 0.3)
    for duty in solution.circuit.duty_symbols:
        found[duty] = min(max(found[duty] + rng.uniform(-0.2, 0.2), 0.03), 0.97)
    for one in solution.circuit.couplings:
        pair = [solution.circuit.element(name).quantity.symbol for name in (one.first, one.second)]
        before, after = (p[pair[0]] * p[pair[1]] for p in (point, found))
        found[one.symbol] = point[one.symbol] * (after / before) ** 0.5
    return found


def _unknown_fractions(mode: Mode, point: Mapping[str, float]) -> list[str]:
    """Symbols that neither the point nor the definitions give."""
    found: set[str] = set()
    for expression in (*(mode.condition or ()), mode.holds_when, *(i.fraction for i in mode.intervals)):
        if expression is not None:
            found |= {symbol.name for symbol in expression.free_symbols}
    for name in list(found & set(mode.definitions)):
        found |= {symbol.name for symbol in mode.definitions[name].free_symbols}
    return sorted(found - set(point) - set(mode.definitions))


def _roots(mode: Mode, point: Mapping[str, float], unknown: list[str]) -> list[Values]:
    """Values of the unknown fractions between 0 and 1 that solve the mode's conditions."""
    if not unknown:
        return [{}]
    values = _with_definitions(mode, dict(point))
    free = set().union(*(condition.free_symbols for condition in mode.condition or ()))
    known = {symbol: sympy.Float(values[symbol.name], 30) for symbol in free if symbol.name in values}
    symbols = sorted((symbol for symbol in free if symbol.name in unknown), key=str)
    unknown = [symbol.name for symbol in symbols]
    conditions = []
    for condition in mode.condition or ():
        put_in = condition.xreplace(known)
        if put_in.free_symbols:
            conditions.append(put_in)
        elif not _vanishes(condition, known):  # one on the duties alone
            return []
    if len(conditions) != len(unknown):
        raise ValueError(
            f"{mode.name} has {len(conditions)} conditions for {', '.join(unknown) or 'nothing'}"
        )
    if len(unknown) == 1:
        polynomial = sympy.Poly(sympy.expand(conditions[0]), symbols[0])
        coefficients = [float(c / max(map(abs, polynomial.all_coeffs()))) for c in polynomial.all_coeffs()]
        found = np.roots(coefficients)
        return [{unknown[0]: float(r.real)} for r in found if abs(r.imag) < 1e-9 and 0 < r.real < 1]
    function = sympy.lambdify(symbols, conditions, "numpy")
    solutions: list[Values] = []
    for start in itertools.product(STARTS, repeat=len(unknown)):
        if sum(start) > 1:
            continue
        scale = np.array([abs(v) or 1.0 for v in function(*start)], dtype=float)
        found = root(lambda x, scale=scale: np.array(function(*x), dtype=float) / scale, start, tol=1e-13)
        if not found.success or not all(0 < x < 1 for x in found.x):
            continue
        if all(max(abs(found.x[n] - s[u]) for n, u in enumerate(unknown)) > 1e-7 for s in solutions):
            solutions.append(dict(zip(unknown, map(float, found.x), strict=True)))
    return solutions


def _vanishes(condition: sympy.Expr, known: Mapping[sympy.Basic, sympy.Expr]) -> bool:
    """True where the terms of a condition cancel to what rounding leaves."""
    terms = [float(term.xreplace(known)) for term in sympy.Add.make_args(sympy.expand(condition))]
    return abs(sum(terms)) <= 1e-9 * sum(map(abs, terms))


def _with_definitions(mode: Mode, values: Values) -> Values:
    """``values`` and those of the definitions they lead to."""
    open_ = dict(mode.definitions)
    while True:
        ready = [n for n, meaning in open_.items() if {s.name for s in meaning.free_symbols} <= set(values)]
        if not ready:
            return values
        for name in ready:
            values[name] = _number(open_.pop(name), values)


def _evaluated(expression: sympy.Basic, values: Mapping[str, float]) -> object:
    # symbols of one name may differ in what is assumed of their sign
    expression = expression.xreplace({free: sympy.Symbol(free.name) for free in expression.free_symbols})
    symbols = sorted(expression.free_symbols, key=str)
    function = sympy.lambdify(symbols, expression, "mpmath")
    with mpmath.workdps(30):
        return function(*(mpmath.mpf(values[symbol.name]) for symbol in symbols))


def _number(expression: sympy.Basic, values: Mapping[str, float]) -> float:
    """A real number; not-a-number where a root is not real, or there is nothing to divide by."""
    try:
        value = mpmath.mpmathify(_evaluated(expression, values))
    except ZeroDivisionError:
        return float("nan")
    if isinstance(value, mpmath.mpc):
        return float(value.real) if abs(value.imag) < 1e-15 * abs(value) else float("nan")
    return float(value)


def _truth(condition: sympy.Basic, values: Mapping[str, float]) -> bool:
    """A condition's truth; false where a number in it does not exist."""
    exact = condition.replace(sympy.Eq, lambda one, other: abs(one - other) < SAME * (abs(one) + abs(other)))
    # an edge belongs to both its modes, and 0.3 is not quite 3/10
    exact = exact.replace(sympy.Ge, lambda one, other: one - other > -SAME * (abs(one) + abs(other)))
    exact = exact.replace(sympy.Le, lambda one, other: other - one > -SAME * (abs(one) + abs(other)))
    try:
        return bool(_evaluated(exact, values))
    except (TypeError, ZeroDivisionError):  # complex numbers have no order
        return False
