"""Polynomials evaluated together, against numpy's own polynomials and term by term."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from voltsec.periodic.coefficients import Coefficients, slope

TERMS = st.dictionaries(
    st.tuples(st.integers(0, 3), st.integers(0, 2), st.integers(0, 1)), st.floats(-4, 4), max_size=6
)


@given(polynomials=st.lists(TERMS, max_size=5), x=st.floats(0.1, 2), y=st.floats(0.1, 2), z=st.floats(0.1, 2))
def test_term_by_term(polynomials: list[dict], x: float, y: float, z: float) -> None:
    """Own check: the sum of coefficient times powers, at two points of which one is the other's mirror."""
    point = {"x": np.array([x, y]), "y": np.array([y, x]), "z": z}
    found = Coefficients(("x", "y", "z"), polynomials).at(point, 2)
    assert found.shape == (len(polynomials), 2)
    for row, terms in zip(found, polynomials, strict=True):
        for place, (a, b) in enumerate(((x, y), (y, x))):
            expected = sum(c * a ** p[0] * b ** p[1] * z ** p[2] for p, c in terms.items())
            size = sum(abs(c) * a ** p[0] * b ** p[1] * z ** p[2] for p, c in terms.items())
            assert row[place] == pytest.approx(expected, abs=1e-12 * size + 1e-300)


@given(coefficients=st.lists(st.floats(-4, 4), min_size=1, max_size=5), x=st.floats(-2, 2))
def test_one_variable_and_its_slope(coefficients: list[float], x: float) -> None:
    """Against numpy.polynomial: values and derivatives."""
    outside = np.polynomial.Polynomial(coefficients)
    terms = {(k,): c for k, c in enumerate(coefficients)}
    value, rise = Coefficients(("x",), [terms, slope(terms, 0)]).at({"x": np.array([x])}, 1)[:, 0]
    assert value == pytest.approx(float(outside(x)), abs=1e-10)
    assert rise == pytest.approx(float(outside.deriv()(x)), abs=1e-10)


def test_no_polynomials() -> None:
    """A system in which nothing varies has none."""
    assert Coefficients((), []).at({}, 3).shape == (0, 3)
