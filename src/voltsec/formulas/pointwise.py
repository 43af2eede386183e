"""Values of written formulas at many points at once: what a reader would compute from them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import reduce
from typing import Any

import numpy as np
import sympy
from sympy import Basic
from sympy.core.relational import Relational

Array = np.ndarray

COMPARED: dict[str, Callable[[Any, Any], Any]] = {
    ">": np.greater,
    ">=": np.greater_equal,
    "<": np.less,
    "<=": np.less_equal,
    "==": lambda left, right: np.isclose(left, right, rtol=1e-9, atol=0.0),
    "!=": lambda left, right: ~np.isclose(left, right, rtol=1e-9, atol=0.0),
}


def pointwise(expression: Basic, point: Mapping[str, float | Array]) -> Any:
    """Values (or truths) at ``point``: one number, or an array of one a point, for every symbol's name.

    Not a number where a root is not real.
    """
    if isinstance(expression, sympy.Symbol):
        return point[expression.name]
    if isinstance(expression, sympy.Rational):
        return float(expression)
    if expression in (sympy.true, sympy.false):
        return bool(expression)
    if isinstance(expression, sympy.Pow) and isinstance(expression.exp, sympy.Rational):
        return _power(pointwise(expression.base, point), expression.exp)
    if isinstance(expression, sympy.Piecewise):
        found: Any = np.nan
        for value, condition in reversed(expression.args):
            found = np.where(pointwise(condition, point), pointwise(value, point), found)
        return found
    parts = [pointwise(argument, point) for argument in expression.args]
    if isinstance(expression, sympy.Abs):
        return np.abs(parts[0])
    if isinstance(expression, sympy.Not):
        return np.logical_not(parts[0])
    if isinstance(expression, Relational):
        return COMPARED[expression.rel_op](*parts)
    joined = JOINED.get(expression.func)
    if joined is None:
        raise TypeError(f"no value is known for {expression.func}")
    return reduce(joined, parts)


def worked_out(expression: Basic, definitions: Mapping[str, Basic], point: dict[str, Any]) -> Any:
    """As :func:`pointwise`; names without a value get theirs from ``definitions`` and are added to ``point``.

    Raises KeyError where a name has neither.
    """
    for free in expression.free_symbols:
        if free.name not in point:
            point[free.name] = worked_out(definitions[free.name], definitions, point)
    return pointwise(expression, point)


def _power(base: Any, exponent: sympy.Rational) -> Any:
    if exponent.q == 2:
        root = np.sqrt(base)
        return root if exponent.p == 1 else root ** int(exponent.p)
    if exponent.q != 1:
        return np.power(base, float(exponent))
    return base ** int(exponent) if exponent > 0 else 1.0 / base ** int(-exponent)


JOINED: dict[Any, Callable[..., Any]] = {
    sympy.Add: np.add,
    sympy.Mul: np.multiply,
    sympy.Max: np.maximum,
    sympy.Min: np.minimum,
    sympy.And: np.logical_and,
    sympy.Or: np.logical_or,
}
