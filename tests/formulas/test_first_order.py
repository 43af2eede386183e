"""The leading order is the derivative of the exact answer at vanishing losses."""

from __future__ import annotations

import pytest
import sympy

import voltsec
from voltsec.formulas.first_order import first_order
from voltsec.tableau.expression import symbol


@pytest.mark.parametrize("name", ["boost_lossy", "buck_lossy", "sepic_lossy", "boost_mult1_lossy"])
def test_slope_at_no_losses(name: str) -> None:
    """Numeric: scale all losses by a small epsilon; what is left of the difference is of second order."""
    answer = voltsec.solve(voltsec.load(name))
    leading = first_order(answer.engine.builders[0][1])
    assert leading is not None
    small = answer.circuit.parasitics
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


DISCONTINUOUS = {
    "boost_lossy": 0.1,
    "buck_lossy": 0.1,
    "buckboost_lossy": 0.1,
    "sepic_lossy": 0.05,
    "quad_boost_lossy": 0.2,
}
"""Shipped stage -> factor on its coils that leads well into discontinuous conduction."""


@pytest.mark.parametrize("name", DISCONTINUOUS)
def test_slope_in_discontinuous_conduction(name: str) -> None:
    """Numeric: the exact numbers at small losses leave a difference of second order."""
    answer = voltsec.solve(voltsec.load(name))
    small = answer.circuit.parasitics
    base = {key: float(value) for key, value in answer.circuit.values.items()}
    for coil in answer.circuit.inductors:
        base[coil.quantity.symbol] *= DISCONTINUOUS[name]
    orders = dict(answer.engine.first_orders())
    errors: dict[str, list[float]] = {"gain": [], "efficiency": []}
    for epsilon in (1e-2, 1e-3):
        point = base | {key: base[key] * epsilon for key in small}
        numbers = answer.at(**point).formulas
        assert numbers.mode != "CCM"  # a diode stops by itself; for one stage before its inductor does
        leading = orders[numbers.mode]
        assert leading is not None
        known = {symbol(key): sympy.Float(value, 30) for key, value in point.items()}
        for key, value in leading.definitions.items():
            known[symbol(key)] = value.subs(known).subs(known).evalf(30)
        for key in errors:
            told = float(getattr(leading, key).subs(known).subs(known).evalf(30))
            errors[key].append(abs(told / getattr(numbers, key) - 1))
    for key, (coarse, fine) in errors.items():
        assert coarse < 5e-3, key
        assert fine < coarse / 50, key


def test_inverting_stage_terms_in_discontinuous_conduction() -> None:
    """By hand: the coil charges as Vg/R*(1 - exp(-R*t/L)), so its peak falls by R_L*D*T/(2*L).

    With d2**2 = K the output current follows the energy of the peak current: two halves of the peak's
    loss, R_L*D/(K*R), and the coil's own loss while it empties, 2*R_L/(3*R*sqrt(K)).
    """
    answer = voltsec.solve(voltsec.load("buckboost_lossy"))
    leading = dict(answer.engine.first_orders())["DCM"]
    assert leading is not None
    D, K, R, RL, RS, RD, VD, Vg = (symbol(n) for n in ("D", "K", "R", "R_L", "R_S", "R_D1", "V_D1", "Vg"))
    assert leading.ideal_gain.equals(-D / sympy.sqrt(K))
    assert leading.gain_terms["R_S"].equals(D * RS / (K * R))
    assert leading.gain_terms["R_L"].equals(RL * D / (K * R) + 2 * RL / (3 * R * sympy.sqrt(K)))
    assert leading.gain_terms["R_D1"].equals(2 * RD / (3 * R * sympy.sqrt(K)))
    assert leading.gain_terms["V_D1"].equals(VD * sympy.sqrt(K) / (2 * D * Vg))


def test_no_efficiency_where_the_ideal_stage_loses_power() -> None:
    """A plain resistor takes its part without any series resistance: one minus small terms would be wrong."""
    text = (
        "source Vg : in -> gnd = 12 V\nswitch S : in -> a { resistance 1 mohm }\n"
        "inductor L : a -> gnd = 100 uH\nresistor Rx : a -> gnd = 20 ohm\n"
        "diode D1 : out -> a\ncapacitor Co : out -> gnd = 100 uF\n"
        "load R : out -> gnd = 10 ohm\noperate D = 0.45, f = 100 kHz\n"
    )
    answer = voltsec.solve(voltsec.read(text))
    leading = dict(answer.engine.first_orders())["CCM"]
    assert leading is not None and leading.efficiency is None
    assert answer.numbers is not None
    point = {symbol(key): float(value) for key, value in answer.circuit.values.items()}
    assert float(leading.gain.subs(point)) == pytest.approx(answer.numbers.formulas.gain, rel=1e-6)


def test_none_without_continuous_conduction_or_losses() -> None:
    answer = voltsec.solve(voltsec.load("boost"))
    dry = dict(answer.engine.first_orders())["DCM"]
    assert dry is not None and dry.gain_terms == {} and dry.efficiency == 1
    plain = first_order(answer.engine.builders[0][1])
    assert plain is not None and plain.gain_terms == {} and plain.efficiency == 1
