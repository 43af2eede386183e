"""Signs proved by squares and by facts; each claim is tried at random positive values."""

from __future__ import annotations

import random

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from voltsec.formulas.requirements import undecided
from voltsec.periodic.signs import Facts
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.ring import Polynomial, Ring

RING = Ring(("x", "y", "z"))
X, Y, Z = (RING.symbol(name) for name in "xyz")
ONE = RING.one


@pytest.mark.parametrize(
    ("polynomial", "sign"),
    [
        (X**2 - X * Y + Y**2, 1),
        (12 * X**2 - 6 * X * Y + Y**2, 1),
        (-(X**2) + X * Y - Y**2, -1),
        (Z * (X**2 - X * Y + Y**2) + 3 * X, 1),
        (X**2 - 2 * X * Y + Y**2 + Z * X, 1),
        (X**2 - 3 * X * Y + Y**2, None),
        (X - Y, None),
        (X**2 - 2 * X * Y + Z * Y, None),
    ],
)
def test_squares(polynomial, sign: int | None) -> None:
    assert Facts().sign(Ratio(polynomial, ONE)) == sign
    random.seed(3)
    for _ in range(200):
        value = float(RING.value(polynomial, {name: random.uniform(0.01, 3) for name in "xyz"}))
        assert sign is None or value * sign >= -1e-12


@st.composite
def polynomials(draw: st.DrawFn) -> Polynomial:
    """Up to four terms of degree three at most, a constant among them now and then."""
    total = RING.zero
    for _ in range(draw(st.integers(1, 4))):
        powers = draw(st.tuples(*(st.integers(0, 2) for _ in "xyz")))
        total += draw(st.sampled_from([-3, -2, -1, 1, 2])) * X ** powers[0] * Y ** powers[1] * Z ** powers[2]
    return total


@settings(deadline=None, derandomize=True, max_examples=400)
@given(facts=st.lists(polynomials(), max_size=3), polynomial=polynomials())
@example(facts=[X**2 - Y], polynomial=X - Y)
@example(facts=[X - 1, Y * Z - X**2], polynomial=X * Y - Z)
@example(facts=[X - Y, Y - Z], polynomial=X - Z)
@example(facts=[X - Y, X - Z, X - 2 * Y], polynomial=X**2 - Y * Z)
def test_signs_hold_wherever_the_facts_do(facts: list[Polynomial], polynomial: Polynomial) -> None:
    """Whatever form the facts have: constants, powers, several larger than one, chains."""
    sign = Facts(facts).sign(Ratio(polynomial, ONE))
    if sign is None:
        return
    values = np.random.default_rng(1).lognormal(0, 1.2, (3, 2000))
    point = dict(zip("xyz", values, strict=True))
    there = np.ones(2000, bool)
    for fact in facts:
        there &= np.broadcast_to(RING.value(fact, point), (2000,)) > 0
    found = np.broadcast_to(RING.value(polynomial, point), (2000,))[there]
    assert (found * (sign or 1) >= -1e-9 * np.abs(found)).all()


def test_products_as_facts() -> None:
    """Of a product that is positive no factor is known to be, but what it divides is."""
    product = (X - Y) * (Y - Z)
    facts = Facts(products=[product])
    assert facts.sign(Ratio(X - Y, ONE)) is None
    assert undecided(Ratio(product * X, ONE), facts) == []
    assert undecided(Ratio(product * (X - Z), ONE), facts) == [X - Z]


def test_facts() -> None:
    """What is given decides; without it nothing is claimed."""
    assert Facts().sign(Ratio(X - Y, ONE)) is None
    assert Facts([X - Y - Z]).sign(Ratio(X - Y, ONE)) == 1
    assert Facts([X - Y]).sign(Ratio(Z * Y - Z * X, ONE)) == -1
    assert Facts([X * Z - Y]).sign(Ratio(X * Z - Y + X, ONE)) == 1
    assert Facts([X - Y]).sign(Ratio(X - 2 * Y, ONE)) is None
