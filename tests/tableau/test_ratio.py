"""Ratios of polynomials, held against the rational functions of sympy."""

from __future__ import annotations

from itertools import product

import pytest
import sympy

from voltsec.tableau.ratio import Ratio, insert, lowest_terms
from voltsec.tableau.ring import Ring, TooLarge

RING = Ring(("D", "R", "r"))
D, R, SMALL = (RING.symbol(name) for name in RING.names)
ONE = RING.one
RATIOS = (
    Ratio(RING.zero, ONE),
    Ratio(D, ONE),
    Ratio(ONE - D, R + SMALL),
    Ratio(-R * D, (ONE - D) * (R + SMALL)),
    Ratio(R * R - SMALL * SMALL, D * R),
)


def plain(ratio: Ratio) -> sympy.Expr:
    top, bottom = (sympy.sympify(str(part).replace("^", "**")) for part in ratio.parts)
    return top / bottom


def is_reduced(ratio: Ratio) -> bool:
    return ratio.is_zero or bool(ratio.numerator.gcd(ratio.denominator).is_one())


@pytest.mark.parametrize(("one", "other"), list(product(RATIOS, RATIOS)))
def test_arithmetic_is_that_of_rational_functions(one: Ratio, other: Ratio) -> None:
    one, other = one.reduced(), other.reduced()
    results = [(one + other, plain(one) + plain(other)), (one - other, plain(one) - plain(other))]
    results.append((one * other, plain(one) * plain(other)))
    if not other.is_zero:
        results.append((one / other, plain(one) / plain(other)))
    for found, expected in results:
        assert sympy.cancel(plain(found) - expected) == 0
        assert is_reduced(found)


def test_signs_are_told_by_coefficients_alone() -> None:
    assert Ratio(D, R + SMALL).sign == 1
    assert Ratio(-D, R).sign == -1
    assert Ratio(RING.zero, R).sign == 0
    assert Ratio(ONE - D, R).sign is None


def test_a_ratio_takes_no_new_parts() -> None:
    with pytest.raises(AttributeError):
        Ratio(D, R).numerator = R  # type: ignore[misc]


def test_a_value_is_put_in_for_a_variable() -> None:
    found = insert(RING, lowest_terms(D * D, R + D), "D", Ratio(SMALL, R))
    expected = plain(Ratio(D * D, R + D)).subs(sympy.Symbol("D"), plain(Ratio(SMALL, R)))
    assert sympy.cancel(plain(found) - expected) == 0
    many = Ring(tuple(f"x{k}" for k in range(40)))
    long = sum((many.symbol(name) for name in many.names), many.zero)
    with pytest.raises(TooLarge):
        insert(many, Ratio(many.symbol("x0") ** 5, many.one), "x0", Ratio(long**3, many.one))
