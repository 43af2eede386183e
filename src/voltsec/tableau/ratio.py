"""Ratios of polynomials: sums, products and quotients in lowest terms, signs."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from voltsec.circuit.computing_time import go_on
from voltsec.tableau import lengths
from voltsec.tableau.ring import Polynomial, Ring, TooLarge, definite_sign


@dataclass(frozen=True, slots=True)
class Ratio:
    """One polynomial over another of the same ring; taken as it is given, see :func:`lowest_terms`."""

    numerator: Polynomial
    denominator: Polynomial

    def __add__(self, other: Ratio) -> Ratio:
        """The sum in lowest terms, if both are."""
        if self.is_zero:
            return other
        if other.is_zero:
            return self
        if self.denominator == other.denominator:
            return lowest_terms(self.numerator + other.numerator, self.denominator)
        common = self.denominator.gcd(other.denominator)
        left, right = other.denominator // common, self.denominator // common
        return lowest_terms(self.numerator * left + other.numerator * right, self.denominator * left)

    def __neg__(self) -> Ratio:
        return Ratio(-self.numerator, self.denominator)

    def __sub__(self, other: Ratio) -> Ratio:
        return self + (-other)

    def __mul__(self, other: Ratio) -> Ratio:
        """The product in lowest terms.

        What the two share crosswise is taken out first: that is far cheaper than from the products.
        """
        left = lowest_terms(self.numerator, other.denominator)
        right = lowest_terms(other.numerator, self.denominator)
        top, bottom = left.numerator * right.numerator, left.denominator * right.denominator
        return (
            Ratio(top, bottom)
            if len(top) + len(bottom) > lengths.COMMON_FACTOR
            else lowest_terms(top, bottom)
        )

    def __truediv__(self, other: Ratio) -> Ratio:
        """The quotient in lowest terms; ``other`` must not be zero."""
        return self * other.inverse

    def times(self, factor: Polynomial | int) -> Ratio:
        """The product with a polynomial or whole number, as it comes: perhaps not in lowest terms."""
        return Ratio(self.numerator * factor, self.denominator)

    def reduced(self) -> Ratio:
        """The same in lowest terms."""
        return lowest_terms(self.numerator, self.denominator)

    @property
    def inverse(self) -> Ratio:
        """Denominator over numerator."""
        return Ratio(self.denominator, self.numerator)

    @property
    def is_zero(self) -> bool:
        """True where the numerator is zero."""
        return bool(self.numerator.is_zero())

    @property
    def sign(self) -> int | None:
        """1, -1 or 0 where coefficients alone prove it for all positive variables, else None."""
        top, bottom = definite_sign(self.numerator), definite_sign(self.denominator)
        return None if top is None or bottom is None else top * bottom

    @property
    def parts(self) -> tuple[Polynomial, Polynomial]:
        """Numerator and denominator."""
        return self.numerator, self.denominator

    @property
    def terms(self) -> int:
        """Terms of both together."""
        return len(self.numerator) + len(self.denominator)

    @property
    def longest(self) -> int:
        """Terms of the longer of the two."""
        return max(len(self.numerator), len(self.denominator))

    def value(self, ring: Ring, point: Mapping[str, float | np.ndarray]) -> np.ndarray:
        """Float values at ``point`` (SI units), as :meth:`Ring.value` gives those of the parts."""
        return ring.value(self.numerator, point) / ring.value(self.denominator, point)

    def mapped(self, change: Callable[[Polynomial], Polynomial]) -> Ratio:
        """The same with both parts changed, into another ring or by a value put in."""
        return Ratio(change(self.numerator), change(self.denominator))

    def variables(self, ring: Ring) -> frozenset[str]:
        """Names of ``ring`` that occur in it."""
        return ring.variables(self.numerator) | ring.variables(self.denominator)


def lowest_terms(numerator: Polynomial, denominator: Polynomial) -> Ratio:
    """The ratio of two polynomials without common factors."""
    if denominator.is_one():
        return Ratio(numerator, denominator)
    go_on()
    common = numerator.gcd(denominator)
    if common.is_one():
        return Ratio(numerator, denominator)
    return Ratio(numerator // common, denominator // common)


def insert(ring: Ring, ratio: Ratio, name: str, value: Ratio) -> Ratio:
    """``ratio`` with the variable ``name`` replaced by ``value``; :class:`TooLarge` where very long."""
    degree = max(ring.degree(part, name) for part in ratio.parts)
    if degree <= 0:
        return ratio
    above, below = len(value.numerator), len(value.denominator)
    inserted = []
    for part in ratio.parts:
        total = ring.zero
        coefficients = ring.coefficients(part, name)
        most = sum(len(c) * above**power * below ** (degree - power) for power, c in enumerate(coefficients))
        if most > lengths.INSERTED:
            raise TooLarge(f"up to {most} terms with {name} put in")
        for power, coefficient in enumerate(coefficients):
            total += coefficient * value.numerator**power * value.denominator ** (degree - power)
        inserted.append(total)
    return lowest_terms(*inserted)
