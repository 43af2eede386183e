"""Points at which a mode holds, and exact-enough values of formulas there (fifty digits)."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

import mpmath
import numpy as np
from mpmath import mpf
from sympy import Add, Expr, Max, Min, Mul, Pow, Symbol

from voltsec.practice.quantities import ModeValues
from voltsec.steady.numbers import holds_at

DIGITS = 50
SAME = mpf(10) ** -20
"""Relative difference below which two values of fifty digits are equal."""

SPREAD = 0.05
"""Sample points are moved by this share, so that no formula meets round numbers only."""


class Undefined(Exception):
    """A formula has no real value at the point (a division by zero, the root of a negative number)."""


class Point:
    """Values of every symbol at one point; abbreviations are worked out on first use."""

    def __init__(self, plain: Mapping[str, Any], definitions: Mapping[str, Expr]) -> None:
        self.plain = {name: _exact(value) for name, value in plain.items()}
        self.values = dict(self.plain)
        self.definitions = definitions

    def value(self, expression: Expr) -> mpf:
        """The value of ``expression``; :class:`Undefined` where it has none."""
        with mpmath.workdps(DIGITS):
            return self._value(expression)

    def _value(self, expression: Expr) -> mpf:
        if isinstance(expression, Symbol):
            return self._symbol(expression.name)
        if expression.is_Rational:
            return mpf(int(expression.p)) / int(expression.q)
        arguments = expression.args
        if isinstance(expression, Add):
            return mpmath.fsum(self._value(a) for a in arguments)
        if isinstance(expression, Mul):
            return mpmath.fprod(self._value(a) for a in arguments)
        if isinstance(expression, Pow) and expression.exp.is_Rational:
            return _power(self._value(expression.base), expression.exp)
        if isinstance(expression, Max | Min):
            return (max if isinstance(expression, Max) else min)(self._value(a) for a in arguments)
        raise Undefined(str(expression))

    def _symbol(self, name: str) -> mpf:
        if name not in self.values:
            if name not in self.definitions:
                raise Undefined(name)
            self.values[name] = self._value(self.definitions[name])
        return self.values[name]

    def with_values(self, changed: Mapping[str, Any]) -> Point:
        """The point with some plain values changed."""
        return Point(self.plain | {name: _exact(value) for name, value in changed.items()}, self.definitions)


def _exact(value: Any) -> mpf:
    with mpmath.workdps(DIGITS):
        if isinstance(value, Fraction):
            return mpf(value.numerator) / value.denominator
        return mpf(value)


def _power(base: mpf, exponent: Any) -> mpf:
    power = int(exponent.p)
    if base == 0 and power < 0:
        raise Undefined("a division by zero")
    if exponent.q == 1:
        return base**power
    if base < 0:
        raise Undefined("the root of a negative number")
    if exponent.q == 2:
        return mpmath.sqrt(base) ** power
    return base ** (mpf(power) / int(exponent.q))


def same(one: mpf, other: mpf) -> bool:
    """True where two values agree to far more digits than chance allows."""
    with mpmath.workdps(DIGITS):
        size = max(abs(one), abs(other))
        return bool(size == 0 or abs(one - other) <= SAME * size)


def sample(mode: ModeValues, count: int, seed: int = 0) -> list[Point]:
    """At most ``count`` points where the mode holds, spread over its sample points, moved at random."""
    builder = mode.builder
    if builder is None:
        return []
    inside = builder.waveforms.points
    length = max(len(np.atleast_1d(values)) for values in inside.values())
    generator = np.random.default_rng(seed)
    names = [quantity.symbol for quantity in mode.circuit.quantities]
    rows = np.resize(np.unique(np.linspace(0, length - 1, min(count, length)).astype(int)), 3 * count)
    moved = {}
    for name in names:
        values = np.broadcast_to(np.atleast_1d(np.asarray(inside[name], float)), (length,))[rows]
        # short decimals, so that an example can be shown as it is
        factor = 1 + SPREAD * generator.uniform(-1, 1, len(rows)) * (values != 0)
        moved[name] = np.array([float(f"{value:.4g}") for value in values * factor])
    mask, fractions = holds_at(builder, moved)
    found = []
    for column in np.flatnonzero(mask)[:count]:
        found.append(point_of(mode, {n: moved[n][column] for n in names}, fractions[:, column]))
    return [point for point in found if point is not None]


def point_of(mode: ModeValues, plain: Mapping[str, Any], fractions: Any) -> Point | None:
    """A point of the mode from values of all symbols and the shares of the intervals found there."""
    shares = mode.builder.form.fractions.unknown
    unknown = {name: float(fractions[k]) for k, name in shares.items() if name not in mode.mode.definitions}
    text = {name: Fraction(repr(float(value))) for name, value in plain.items()}
    if not unknown:
        return Point(text, mode.mode.definitions)
    return _refined(mode, text, unknown)


def _refined(mode: ModeValues, plain: Mapping[str, Any], unknown: dict[str, float]) -> Point | None:
    """The unknown shares to full precision, from the mode's implicit conditions."""
    conditions = mode.mode.condition or ()
    names = list(unknown)
    if len(conditions) != len(names):
        return None
    definitions = mode.mode.definitions

    def left(*shares: mpf) -> list[mpf]:
        point = Point({**plain, **dict(zip(names, shares, strict=True))}, definitions)
        return [point.value(condition) for condition in conditions]

    with mpmath.workdps(DIGITS):
        try:
            starts = [mpf(unknown[name]) for name in names]
            root = mpmath.findroot(left, starts, tol=mpf(10) ** -40, verify=False)
        except (ValueError, ZeroDivisionError, Undefined):
            return None
        shares = list(root) if len(names) > 1 else [root if isinstance(root, mpf) else root[0]]
        if any(abs(share - unknown[name]) > 1e-6 for share, name in zip(shares, names, strict=True)):
            return None
        return Point({**plain, **dict(zip(names, shares, strict=True))}, definitions)
