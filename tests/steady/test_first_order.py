"""The leading order is the derivative of the exact answer at vanishing losses."""

from __future__ import annotations

import pytest
import sympy

import voltsec
from voltsec.steady.first_order import first_order
from voltsec.steady.small import small_symbols
from voltsec.tableau.expression import symbol


@pytest.mark.parametrize("name", ["boost_lossy", "buck_lossy", "sepic_lossy", "boost_mult1_lossy"])
def test_slope_at_no_losses(name: str) -> None:
    """Numeric: scale all losses by a small epsilon; what is left of the difference is of second order."""
    answer = voltsec.solve(voltsec.load(name))
    leading = first_order(answer.engine.builders[0][1])
    assert leading is not None
    small = small_symbols(answer.circuit)
    for key, exact in (
        ("gain", answer.output_voltage / symbol("Vg")),
        ("efficiency", answer.modes[0].efficiency),
    ):
        errors = []
        for epsilon in (1e-3, 1e-4):
            point = {
                symbol(n): sympy.Float(float(v), 40) * (sympy.Float(epsilon, 40) if n in small else 1)
                for n, v in answer.circuit.values.items()
            }
            errors.append(float(abs((exact - getattr(leading, key)).subs(point).evalf(40))))
        assert errors[1] < errors[0] / 50, key  # a factor of 100 for second order


def test_boost_terms_are_the_textbook_ones() -> None:
    """M1 section 3.3 (from memory): 1/(1 + RL/(D'^2 R)) is 1 - RL/(D'^2 R) to first order."""
    leading = first_order(voltsec.solve(voltsec.load("boost_lossy")).engine.builders[0][1])
    assert leading is not None
    D, R, RL, RS = (symbol(name) for name in ("D", "R", "R_L", "R_S"))
    assert leading.gain_terms["R_L"].equals(RL / (R * (1 - D) ** 2))
    assert leading.efficiency_terms["R_S"].equals(D * RS / (R * (1 - D) ** 2))


def test_none_without_continuous_conduction_or_losses() -> None:
    answer = voltsec.solve(voltsec.load("boost"))
    by_itself = next(builder for name, builder in answer.engine.builders if name == "DCM")
    assert first_order(by_itself) is None
    plain = first_order(answer.engine.builders[0][1])
    assert plain is not None and plain.gain_terms == {} and plain.efficiency == 1
