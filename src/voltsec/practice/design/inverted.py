"""Ripple formulas turned round: the inductance or capacitance at which a ripple is as large as allowed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

import numpy as np
import sympy
from sympy import Expr, Max, Min, Piecewise

from voltsec.practice.design.corners import Array
from voltsec.results.solution import Mode
from voltsec.tableau.expression import symbol

LONGEST = 3000
"""Operations of a formula up to which it is turned round."""
DECADES = (-14, 2)
"""Powers of ten between which a value is looked for where there is no closed form."""


def continuous_mode(modes: tuple[Mode, ...]) -> Mode | None:
    """The usual mode of continuous conduction."""
    return next((mode for mode in modes if mode.name.startswith("CCM")), None)


def expanded(mode: Mode, expression: Expr | None) -> Expr | None:
    """Named quantities replaced by what they stand for."""
    if expression is None:
        return None
    for _ in range(len(mode.definitions) + 1):
        named = {s: mode.definitions[s.name] for s in expression.free_symbols if s.name in mode.definitions}
        if not named:
            break
        expression = expression.xreplace(named)
    return expression


def inverted(ripple: Expr, name: str, limit: Expr) -> Expr | None:
    """The value of the symbol ``name`` at which ``ripple`` is ``limit``; ``None`` without a closed form.

    Closed where the ripple is inversely proportional to it, or where it enters to the first degree.
    """
    sought = symbol(name)
    if sought not in ripple.free_symbols or sympy.count_ops(ripple) > LONGEST:
        return None
    times = _times(ripple, sought)
    if sought not in times.free_symbols:
        return times / limit
    if ripple.has(Piecewise, Max, Min, sympy.Abs):
        return None
    top, _ = sympy.fraction(sympy.together(ripple - limit))
    polynomial = sympy.Poly(top, sought) if top.is_polynomial(sought) else None
    if polynomial is None or polynomial.degree() != 1:
        return None
    first, last = polynomial.all_coeffs()
    return sympy.factor(-last / first)


def _times(expression: Expr, factor: sympy.Symbol) -> Expr:
    """``factor`` times an expression, cases and maxima case by case."""
    if isinstance(expression, Piecewise):
        return Piecewise(*((_times(value, factor), when) for value, when in expression.args))
    if isinstance(expression, Max | Min):
        return expression.func(*(_times(value, factor) for value in expression.args))
    if isinstance(expression, sympy.Mul) and expression.has(Piecewise, Max, Min):
        parts = list(expression.args)
        for number, part in enumerate(parts):
            if factor in part.free_symbols:
                return sympy.Mul(*parts[:number], _times(part, factor), *parts[number + 1 :])
    product = expression * factor
    if factor not in product.free_symbols or expression.has(Piecewise, Max, Min):
        return product
    return sympy.factor(sympy.cancel(product))


def case_at(expression: Expr, values: Mapping[str, float]) -> Expr:
    """The case of a formula that applies at a point (every symbol of it), maxima decided too."""
    if not expression.args:
        return expression
    point = {symbol(name): value for name, value in values.items()}
    if isinstance(expression, Piecewise):
        for value, when in expression.args:
            if when is sympy.true or bool(when.subs(point)):
                return case_at(value, values)
    if isinstance(expression, Max | Min):
        pick = max if isinstance(expression, Max) else min
        return case_at(pick(expression.args, key=lambda one: float(one.subs(point))), values)
    if not expression.has(Piecewise, Max, Min):
        return expression
    return expression.func(*(case_at(one, values) for one in expression.args))


def numbers(expression: Expr, values: Mapping[str, Array]) -> Array:
    """A formula at (P,) values of its symbols; nan where it has none."""
    names = sorted({s.name for s in expression.free_symbols})
    if any(name not in values for name in names):
        missing = [name for name in names if name not in values]
        raise KeyError(", ".join(missing))
    function = _function(expression, tuple(names))
    with np.errstate(all="ignore"):
        found = np.asarray(function(*(values[name] for name in names)))
    length = max((np.size(value) for value in values.values()), default=1)
    found = np.broadcast_to(np.real_if_close(found), (length,)).astype(float)
    return np.where(np.isfinite(found), found, np.nan)


@lru_cache(64)
def _function(expression: Expr, names: tuple[str, ...]) -> Callable[..., Any]:
    function: Callable[..., Any] = sympy.lambdify([symbol(name) for name in names], expression, "numpy")
    return function


def value_by_search(ripple: Expr, name: str, limits: Array, values: Mapping[str, Array]) -> Array:
    """(P,) the least value of ``name`` at which the ripple stays below ``limits``, where there is no formula.

    The ripple is taken to fall with the value, which is tested at both ends; nan where it does not.
    """
    shape = limits.shape
    low = np.full(shape, float(DECADES[0]))
    high = np.full(shape, float(DECADES[1]))

    def over(power: Array) -> Array:
        return numbers(ripple, {**values, name: 10.0**power}) - limits

    good = (over(low) > 0) & (over(high) < 0)
    for _ in range(60):
        middle = (low + high) / 2
        above = over(middle) > 0
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return np.where(good, 10.0**high, np.nan)
