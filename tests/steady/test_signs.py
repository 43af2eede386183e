"""Signs proved by squares and by facts; each claim is tried at random positive values."""

from __future__ import annotations

import random

import pytest

from voltsec.steady.signs import sign_given
from voltsec.tableau.ring import Ring

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
    assert sign_given((polynomial, ONE), []) == sign
    random.seed(3)
    for _ in range(200):
        value = float(RING.value(polynomial, {name: random.uniform(0.01, 3) for name in "xyz"}))
        assert sign is None or value * sign >= -1e-12


def test_facts() -> None:
    """What is given decides; without it nothing is claimed."""
    assert sign_given((X - Y, ONE), []) is None
    assert sign_given((X - Y, ONE), [X - Y - Z]) == 1
    assert sign_given((Z * Y - Z * X, ONE), [X - Y]) == -1
    assert sign_given((X * Z - Y + X, ONE), [X * Z - Y]) == 1
    assert sign_given((X - 2 * Y, ONE), [X - Y]) is None
