"""Ratios of polynomials in lowest terms: sums, products, signs."""

from __future__ import annotations

from voltsec.circuit.computing_time import go_on
from voltsec.tableau.elimination import TooLarge
from voltsec.tableau.ring import Polynomial, Ring, definite_sign

Ratio = tuple[Polynomial, Polynomial]
"""Numerator and denominator."""

LONG_PRODUCT = 100
"""Products of more terms are taken to be in lowest terms, as their factors are."""

LONGEST_INSERTED = 100_000
"""Nothing is put in where so many terms might come out."""


def ratio_sign(ratio: Ratio) -> int | None:
    """Sign that coefficients alone prove, None where they do not."""
    top, bottom = definite_sign(ratio[0]), definite_sign(ratio[1])
    return None if top is None or bottom is None else top * bottom


def add(one: Ratio, other: Ratio) -> Ratio:
    """Sum of two ratios in lowest terms."""
    if one[0].is_zero():
        return other
    if other[0].is_zero():
        return one
    if one[1] == other[1]:
        return reduced((one[0] + other[0], one[1]))
    common = one[1].gcd(other[1])
    left, right = other[1] // common, one[1] // common
    return reduced((one[0] * left + other[0] * right, one[1] * left))


def multiply(one: Ratio, other: Ratio) -> Ratio:
    """Product of two ratios in lowest terms.

    What they share crosswise is taken out first: that is far cheaper than from the products.
    """
    left, right = reduced((one[0], other[1])), reduced((other[0], one[1]))
    product = left[0] * right[0], left[1] * right[1]
    return product if len(product[0]) + len(product[1]) > LONG_PRODUCT else reduced(product)


def reduced(ratio: Ratio) -> Ratio:
    """The ratio without common factors."""
    numerator, denominator = ratio
    if denominator.is_one():
        return ratio
    go_on()
    common = numerator.gcd(denominator)
    return ratio if common.is_one() else (numerator // common, denominator // common)


def insert(ring: Ring, ratio: Ratio, name: str, value: Ratio) -> Ratio:
    """``ratio`` with the variable ``name`` replaced by ``value``; :class:`TooLarge` where very long."""
    degree = max(ring.degree(part, name) for part in ratio)
    if degree <= 0:
        return ratio
    above, below = len(value[0]), len(value[1])
    parts = []
    for part in ratio:
        total = ring.zero
        coefficients = ring.coefficients(part, name)
        most = sum(len(c) * above**power * below ** (degree - power) for power, c in enumerate(coefficients))
        if most > LONGEST_INSERTED:
            raise TooLarge(f"up to {most} terms with {name} put in")
        for power, coefficient in enumerate(coefficients):
            total += coefficient * value[0] ** power * value[1] ** (degree - power)
        parts.append(total)
    return reduced((parts[0], parts[1]))
