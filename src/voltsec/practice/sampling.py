"""Points at which a mode holds, and exact-enough values of formulas there (fifty digits)."""

from __future__ import annotations

import operator
from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any, NamedTuple

import mpmath
import numpy as np
from mpmath import mpf
from sympy import Abs, Add, And, Basic, Expr, Mul, Not, Or, Piecewise, Pow, Symbol
from sympy.core.relational import Relational
from sympy.logic.boolalg import Boolean

from voltsec.formulas.numbers import holds_at
from voltsec.practice.quantities import ModeValues

DIGITS = 50
SAME = mpf(10) ** -20
"""Relative difference below which two values of fifty digits are equal."""

SPREAD = 0.05
"""Sample points are moved by this share, so that no formula meets round numbers only."""


CHOICES: dict[str, Callable[..., Any]] = {"Max": max, "max": max, "Min": min, "min": min}
"""The tool's own largest of several, and a formula's."""

RELATIONS: dict[str, Callable[[mpf, mpf], bool]] = {
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
}

LOST = mpf(10) ** -30
"""A sum smaller than its terms by this factor is zero: the rest is rounding."""


class Undefined(Exception):
    """A formula has no real value at the point (a division by zero, the root of a negative number)."""


class Sized(NamedTuple):
    """A value and the size of what it was summed from, which tells rounding from a difference."""

    value: mpf
    size: mpf


class Point:
    """Values of every symbol at one point; abbreviations are worked out on first use."""

    def __init__(self, plain: Mapping[str, Any], definitions: Mapping[str, Expr]) -> None:
        self.plain = {name: _exact(value) for name, value in plain.items()}
        self.values = {name: Sized(value, abs(value)) for name, value in self.plain.items()}
        self.definitions = definitions

    def value(self, expression: Expr) -> mpf:
        """The value of ``expression``; :class:`Undefined` where it has none."""
        return self.sized(expression).value

    def sized(self, expression: Expr) -> Sized:
        """Value and size of ``expression``; :class:`Undefined` where it has none."""
        with mpmath.workdps(DIGITS):
            return self._sized(expression)

    def _sized(self, expression: Expr) -> Sized:
        if isinstance(expression, Symbol):
            return self._symbol(expression.name)
        if expression.is_Rational:
            value = mpf(int(expression.p)) / int(expression.q)
            return Sized(value, abs(value))
        if isinstance(expression, Pow) and expression.exp.is_Rational:
            return _power(self._sized(expression.base), expression.exp)
        if isinstance(expression, Piecewise):
            chosen_case = next((value for value, condition in expression.args if self._true(condition)), None)
            if chosen_case is None:
                raise Undefined(str(expression))
            return self._sized(chosen_case)
        parts = [self._sized(argument) for argument in expression.args]
        if isinstance(expression, Add):
            return Sized(mpmath.fsum(p.value for p in parts), mpmath.fsum(p.size for p in parts))
        if isinstance(expression, Mul):
            return _product(parts)
        if isinstance(expression, Abs):
            return Sized(abs(parts[0].value), parts[0].size)
        chosen = CHOICES.get(expression.func.__name__)
        if chosen is not None:
            return Sized(*chosen(parts))
        raise Undefined(str(expression))

    def true(self, condition: Boolean) -> bool:
        """Whether ``condition`` is met; :class:`Undefined` where that has no answer."""
        with mpmath.workdps(DIGITS):
            return self._true(condition)

    def _true(self, condition: Basic) -> bool:
        if isinstance(condition, And):
            return all(self._true(part) for part in condition.args)
        if isinstance(condition, Or):
            return any(self._true(part) for part in condition.args)
        if isinstance(condition, Not):
            return not self._true(condition.args[0])
        if isinstance(condition, Relational):
            left, right = (self._sized(side) for side in (condition.lhs, condition.rhs))
            return bool(RELATIONS[condition.rel_op](left.value, right.value))
        return bool(condition)

    def _symbol(self, name: str) -> Sized:
        if name not in self.values:
            if name not in self.definitions:
                raise Undefined(name)
            self.values[name] = self._sized(self.definitions[name])
        return self.values[name]

    def with_values(self, changed: Mapping[str, Any]) -> Point:
        """The point with some plain values changed."""
        return Point(self.plain | {name: _exact(value) for name, value in changed.items()}, self.definitions)


def _exact(value: Any) -> mpf:
    with mpmath.workdps(DIGITS):
        if isinstance(value, Fraction):
            return mpf(value.numerator) / value.denominator
        return mpf(value)


def _power(base: Sized, exponent: Any) -> Sized:
    power = mpf(int(exponent.p)) / int(exponent.q) if exponent.q != 1 else int(exponent.p)
    value, size = base
    if abs(value) <= LOST * size:
        if power < 0:
            raise Undefined("a division by zero")
        value = mpf(0)
    if value < 0 and exponent.q != 1:
        raise Undefined("the root of a negative number")
    if not value:
        return Sized(value, size**power)
    result = value**power
    return Sized(result, abs(result) * (size / abs(value)) * max(1, abs(power)))


def _product(factors: list[Sized]) -> Sized:
    """The relative errors of factors add up."""
    value = mpmath.fprod(factor.value for factor in factors)
    if not value:
        return Sized(value, mpmath.fprod(factor.size for factor in factors))
    return Sized(value, abs(value) * mpmath.fsum(factor.size / abs(factor.value) for factor in factors))


def same(one: Sized, other: Sized) -> bool:
    """True where two values agree to far more digits than chance allows."""
    with mpmath.workdps(DIGITS):
        size, largest = max(one.size, other.size), max(abs(one.value), abs(other.value))
        # where both are nothing but rounding they are zero
        return bool(largest <= LOST * size or abs(one.value - other.value) <= SAME * largest)


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
        some = inside.get(name, mode.circuit.values.get(name))  # of parts that formulas leave out
        values = np.broadcast_to(np.atleast_1d(np.asarray(some, float)), (length,))[rows]
        # short decimals, so that an example can be shown as it is; the points as they are come last
        factor = 1 + SPREAD * generator.uniform(-1, 1, len(rows))
        short = np.array([float(f"{value:.4g}") for value in values * factor])
        moved[name] = np.concatenate([short, values])
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
