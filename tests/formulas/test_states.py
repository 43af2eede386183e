"""Lossy modes told by coil currents and capacitor voltages, and as ideal gain times correction.

Checked against the explicit solution of the same netlist (another elimination, no states in it) and
against textbook forms.
"""

from __future__ import annotations

import random

import pytest
import sympy

import voltsec
from tests.properties.evaluation import worked_out as value
from voltsec.formulas.correction import correction
from voltsec.formulas.modes import ModeBuilder
from voltsec.formulas.shortened import shortened
from voltsec.formulas.states import StateBuilder, serves
from voltsec.results.solution import Mode
from voltsec.tableau.expression import symbol

LOSSY = ("boost_lossy", "buck_lossy", "buckboost_lossy", "charger_lossy", "sepic_lossy", "boost_mult1_lossy")


def first(name: str) -> tuple[Mode, ModeBuilder]:
    answer = voltsec.solve(voltsec.load(name))
    mode, builder = answer.engine.builders[0]
    assert mode == "CCM"
    return answer.modes[0], builder


@pytest.mark.parametrize("name", LOSSY)
def test_stress_by_states_is_the_explicit_one(name: str) -> None:
    _, builder = first(name)
    assert serves(builder)
    states = StateBuilder(builder)
    point = {key: float(v) for key, v in builder.circuit.values.items()}
    stress = builder.fields(["stress"])["stress"]
    for part, told in states.fields(["stress"])["stress"].items():
        explicit = stress[part]
        for key in vars(told):
            one, other = getattr(told, key), getattr(explicit, key)
            if one is None or other is None:
                assert one is None and other is None, (part, key)
                continue
            expected = value(other, {}, point)
            assert abs(value(one, states.definitions, point)) == pytest.approx(abs(expected), abs=1e-9), (
                part,
                key,
            )


@pytest.mark.parametrize("name", LOSSY)
def test_ripple_and_voltages_by_states(name: str) -> None:
    _, builder = first(name)
    states = StateBuilder(builder)
    point = {key: float(v) for key, v in builder.circuit.values.items()}
    for part, told in states.fields(["ripple"])["ripple"].items():
        expected = value(
            builder.told(f"ripple.{part}"), builder.form.definitions | builder.area.definitions, point
        )
        assert value(told, states.definitions, point) == pytest.approx(expected, rel=1e-9), part
    for capacitor in builder.circuit.capacitors:
        told = states.voltage_by_currents(capacitor.name)
        if told is not None:
            expected = builder.form.expression(builder.balance.capacitor_voltage(capacitor.name))
            assert value(told, states.definitions, point) == pytest.approx(
                value(expected, {}, point), rel=1e-9
            )


@pytest.mark.parametrize("name", [n for n in LOSSY if n != "charger_lossy"])
def test_gain_is_ideal_gain_times_correction(name: str) -> None:
    """Exactly so at random rational values, and the correction is 1 without losses."""
    mode, builder = first(name)
    told = correction(builder)
    assert told is not None
    whole = (told.ideal_gain * told.correction).xreplace({symbol(told.name): told.denominator})
    difference = whole * symbol("Vg") - mode.output_voltage
    generator = random.Random(5)
    for _ in range(5):
        point = {s: sympy.Rational(generator.randint(1, 99), 100) for s in difference.free_symbols}
        assert difference.subs(point) == 0
    lossless = {s: 0 for s in told.denominator.free_symbols if str(s).startswith("R_")}
    assert told.denominator.subs(lossless) == 1


def test_step_up_correction_is_the_textbook_one() -> None:
    """M1 section 3.4 (from memory): 1/D' (1 - D' VD/Vg) / (1 + (RL + D Ron + D' RD)/(D'^2 R))."""
    _, builder = first("boost_lossy")
    told = correction(builder)
    assert told is not None
    D, R, RL, RS, RD, VD, Vg = (symbol(n) for n in ("D", "R", "R_L", "R_S", "R_D1", "V_D1", "Vg"))
    assert told.ideal_gain.equals(1 / (1 - D))
    assert told.denominator.equals(1 + (RL + D * RS + (1 - D) * RD) / ((1 - D) ** 2 * R))
    assert told.correction.equals((1 - (1 - D) * VD / Vg) / symbol(told.name))


def test_long_modes_are_told_by_states_everywhere() -> None:
    """Eleven losses: the mode itself names its states; definitions lead back to the netlist's symbols."""
    answer = voltsec.solve(voltsec.load("quad_boost_lossy"))
    mode = answer.modes[0]
    assert mode.states and mode.stress["S"].current_peak is not None
    netlist = {symbol(q.symbol) for q in answer.circuit.quantities}
    point = {key: float(v) for key, v in answer.circuit.values.items()}
    assert answer.numbers is not None
    for part, stress in mode.stress.items():
        for key, told in vars(stress).items():
            assert told is not None and told.free_symbols <= netlist | {symbol(n) for n in mode.definitions}
            expected = answer.numbers.formulas.stress[part][key]
            assert abs(value(told, mode.definitions, point)) == pytest.approx(
                abs(expected), rel=1e-9, abs=1e-9
            )
    assert value(mode.efficiency, mode.definitions, point) == pytest.approx(
        answer.numbers.formulas.efficiency, rel=1e-9
    )


def test_what_people_see_is_the_same_mode() -> None:
    """Every shortened formula has the value of the explicit one at the operating point."""
    for name in ("boost_lossy", "sepic_lossy"):
        answer = voltsec.solve(voltsec.load(name))
        point = {key: float(v) for key, v in answer.circuit.values.items()}
        raw, short = answer.modes[0], shortened(answer).modes[0]
        known = dict(short.definitions) | dict(StateBuilder(answer.engine.builders[0][1]).definitions)
        pairs = [(raw.output_voltage, short.output_voltage), (raw.efficiency, short.efficiency)]
        for group in ("capacitor_voltages", "inductor_currents", "ripple", "losses"):
            pairs += [(e, getattr(short, group)[key]) for key, e in getattr(raw, group).items()]
        for one, other in pairs:
            assert value(other, known, point) == pytest.approx(value(one, raw.definitions, point), rel=1e-9)
        assert sum(map(sympy.count_ops, short.losses.values())) < sum(
            map(sympy.count_ops, raw.losses.values())
        )


def test_an_ideal_stage_is_left_alone() -> None:
    answer = voltsec.solve(voltsec.load("sepic"))
    assert shortened(answer) is answer
    assert correction(answer.engine.builders[0][1]) is None
