"""On-times that start at different instants: ripple that cancels, formulas for a range of the duty."""

from __future__ import annotations

from math import floor

import numpy as np
import pytest
import sympy

import voltsec
from voltsec.formulas.ports import input_current, output_current
from voltsec.practice.check import check
from voltsec.practice.derive import derive
from voltsec.practice.map import region_map
from voltsec.practice.sweep import sweep
from voltsec.practice.verdict import HOLDS

STEP_UP = """
source Vg : in -> gnd = 12 V
inductor L1 : in -> a = 47 uH
inductor L2 : in -> b = 47 uH
switch S1 : a -> gnd
switch S2 : b -> gnd
diode D1 : a -> out
diode D2 : b -> out
capacitor Co : out -> gnd = 100 uF
load R : out -> gnd = 10 ohm
drive S1 at D
drive S2 at D from 0.5
operate D = 0.4, f = 100 kHz
"""


def step_down(legs: int) -> str:
    """A step-down stage of several legs, evenly spread, with two switches each."""
    lines = ["source Vg : in -> gnd = 12 V"]
    for k in range(legs):
        lines += [
            f"switch S{k} : in -> a{k}",
            f"switch Q{k} : gnd -> a{k}",
            f"inductor L{k} : a{k} -> out = 47 uH",
            f"drive S{k} at D from {k}/{legs}",
            f"drive Q{k} against S{k}",
        ]
    lines += ["capacitor Co : out -> gnd = 100 uF", "load R : out -> gnd = 2 ohm"]
    return "\n".join([*lines, "operate D = 0.4, f = 100 kHz"])


@pytest.fixture(scope="module")
def two_legs() -> voltsec.Solution:
    return voltsec.solve(voltsec.read(STEP_UP))


def test_the_input_ripple_of_two_legs(two_legs: voltsec.Solution) -> None:
    """Two step-up legs: Vg*T*D*(1-2D)/((1-D)*L) below one half, Vg*T*(2D-1)/L above (own derivation:
    both coils' slopes added up), nothing at one half (common practice, no source)."""
    vg, period, henry = 12.0, 1e-5, 47e-6
    for duty in (0.1, 0.3, 0.4999, 0.5, 0.5001, 0.8):
        ripple = two_legs.at(D=duty, R=2.0).formulas.input_current.ripple
        expected = period * vg / henry * (duty * (1 - 2 * duty) / (1 - duty) if duty < 0.5 else 2 * duty - 1)
        assert ripple == pytest.approx(expected, rel=1e-9, abs=1e-12)
    swept = sweep(
        two_legs, {"D": np.array([0.3, 0.5, 0.8]), "R": 2.0}, ("input_ripple", "gain"), most_exact=0
    )
    assert list(swept.mode) == ["CCM", "CCM", "CCM 2"] or list(swept.mode) == ["CCM", "CCM 2", "CCM 2"]
    assert swept["input_ripple"][1] == pytest.approx(0, abs=1e-12)
    assert swept.gain == pytest.approx([1 / 0.7, 2.0, 5.0])


def test_formulas_hold_for_a_range_of_the_duty(two_legs: voltsec.Solution) -> None:
    below, above = two_legs.modes[:2]
    assert [below.label, above.label] == ["CCM, D < 1/2", "CCM, D > 1/2"]
    D = sympy.Symbol("D", positive=True)
    half = sympy.Rational(1, 2)
    assert sympy.LessThan(D, half) in below.holds_when.args
    assert sympy.GreaterThan(D, half) in above.holds_when.args
    builders = dict(two_legs.engine.builders)
    symbols = {name: sympy.Symbol(name, positive=True) for name in ("L1", "L2", "Vg", "T")}
    same = {symbols["L1"]: 1, symbols["L2"]: 1, symbols["Vg"]: 1, symbols["T"]: 1}
    for name, expected in (("CCM", D * (1 - 2 * D) / (1 - D)), ("CCM 2", 2 * D - 1)):
        port = input_current(builders[name])
        assert port is not None and port.continuous and port.ripple is not None
        assert sympy.simplify(port.ripple.subs(same) - expected) == 0
    assert [str(interval.fraction) for interval in below.intervals] == ["D", "1/2 - D", "D", "1/2 - D"]


@pytest.mark.parametrize("legs", [2, 3, 4])
def test_the_output_ripple_of_several_legs(legs: int) -> None:
    """N step-down legs: Vg*T/L * N*(D - m/N)*((m+1)/N - D), m = floor(N*D); for N = 1 the known
    Vg*T*D*(1-D)/L (from memory)."""
    answer = voltsec.solve(voltsec.read(step_down(legs)))
    assert len(answer.modes) == legs
    for duty in (0.07, 0.3, 0.45, 0.6, 0.95, *(k / legs for k in range(1, legs))):
        m = min(floor(legs * duty + 1e-12), legs - 1)
        expected = 12 * 1e-5 / 47e-6 * legs * (duty - m / legs) * ((m + 1) / legs - duty)
        ripple = answer.at(D=duty).formulas.output_current.ripple
        assert ripple == pytest.approx(expected, rel=1e-9, abs=1e-12)
    port = output_current(dict(answer.engine.builders)["CCM"])
    assert port is not None and port.continuous


def test_a_symbol_for_the_start() -> None:
    """The gain of a leg does not depend on when it starts; the ripple of all legs does."""
    text = step_down(2).replace("from 1/2", "from phi").replace("operate", "operate phi = 0.25,")
    answer = voltsec.solve(voltsec.read(text))
    assert {str(mode.gain) for mode in answer.modes} == {"D"}
    assert answer.symbols["phi"] == "1"
    at_half = answer.at(phi=0.5).output_current.ripple
    assert at_half < answer.at(phi=0.25).output_current.ripple < answer.at(phi=0.0).output_current.ripple
    assert answer.at(phi=1.0).output_current.ripple == pytest.approx(
        answer.at(phi=0.0).output_current.ripple, rel=1e-9
    )
    with pytest.raises(ValueError, match="start of an on-time"):
        answer.at(phi=1.2)


def test_checked_and_derived(two_legs: voltsec.Solution) -> None:
    verdict = check(two_legs, ["Vout/Vg = 1/(1 - D)"])
    assert verdict.outcome == HOLDS and set(verdict.modes) == {"CCM", "CCM 2"}
    for name in ("CCM", "CCM 2"):
        derivation = derive(two_legs, name)
        assert derivation.result is not None and not derivation.doubts


def test_the_map_has_both_ranges(two_legs: voltsec.Solution) -> None:
    areas = region_map(two_legs, columns=20, rows=12)
    top = [areas.names[cell] for cell in areas.cells[-1]]
    assert top == ["CCM"] * 10 + ["CCM 2"] * 10


def test_duties_that_are_equal() -> None:
    """Two edges at one instant leave nothing between them: the numbers are the limit's."""
    answer = voltsec.solve(voltsec.load("boost_then_buck"))
    there = answer.at(D1=0.4, D2=0.4)
    near = answer.at(D1=0.4, D2=0.4 + 1e-9)
    assert there.output_voltage == pytest.approx(near.output_voltage, rel=1e-6)
    for name, stress in near.stress.items():
        for key, value in stress.items():
            if value is not None:
                assert there.stress[name][key] == pytest.approx(value, rel=1e-5, abs=1e-6)
