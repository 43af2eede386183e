"""The duty for a wanted output, and the largest output that can be reached."""

from __future__ import annotations

from functools import cache

import pytest
import sympy

import voltsec
from voltsec.practice.asked import BadValues
from voltsec.practice.wanted import Unreachable, largest_output, wanted_duty
from voltsec.results.solution import Solution
from voltsec.tableau.expression import symbol

WINDING = """source Vg : in -> gnd = 12 V
inductor L : in -> a = 100 uH {{ resistance RL = {ohm} ohm }}
switch S : a -> gnd
diode D1 : a -> out
capacitor Co : out -> gnd = 100 uF
load R : out -> gnd = 10 ohm
operate D = 0.5, T = 10 us
"""


@cache
def shipped(name: str) -> Solution:
    return voltsec.solve(voltsec.load(name))


@cache
def with_winding(ohm: float) -> Solution:
    return voltsec.solve(voltsec.read(WINDING.format(ohm=ohm)))


@pytest.mark.parametrize(
    "ratio, duty, gain",
    [(0.01, 0.9, 5.0), (0.02, 0.8586, 3.5355), (0.05, 0.7764, 2.2361), (0.1, 0.6838, 1.5811)],
)
def test_largest_gain_of_a_boost(ratio: float, duty: float, gain: float) -> None:
    """M1 fig. 3.9 (from memory; values computed): largest M = 1/(2 sqrt(r)) at D = 1 - sqrt(r), 50 %."""
    top = largest_output(with_winding(10 * ratio))
    assert top.duty == pytest.approx(duty, abs=1e-4)
    assert top.gain == pytest.approx(gain, rel=3e-4)
    assert top.efficiency == pytest.approx(0.5, abs=5e-4)
    assert top.bounded


def test_two_duties_and_the_stable_one() -> None:
    """Boost with winding only: V = Vg D' R/(RL + D'**2 R), quadratic in D' (M1 3.3, from memory)."""
    wanted = wanted_duty(with_winding(0.1), 30.0)
    complements = sorted(
        float(root) for root in sympy.Poly([30 * 10, -12 * 10, 30 * 0.1], sympy.Symbol("x")).nroots()
    )
    assert [s.duty for s in wanted.solutions] == pytest.approx(  # its own ripple moves the duty a little
        [1 - complements[1], 1 - complements[0]], rel=1e-4
    )
    low, high = wanted.solutions
    assert (low.stable, high.stable) == (True, False)
    assert low.slope > 0 > high.slope and low.efficiency > 0.5 > high.efficiency
    for found in wanted.solutions:
        assert found.formula is not None
        values = {symbol(n): float(v) for n, v in with_winding(0.1).circuit.values.items()}
        placed = found.formula.subs(values)
        (unknown,) = placed.free_symbols
        assert float(placed.subs(unknown, 30)) == pytest.approx(found.duty, rel=1e-4)


def test_ideal_stages_have_one_duty() -> None:
    buck = wanted_duty(shipped("buck"), 5.0)
    (found,) = buck.solutions
    assert found.stable and found.duty == pytest.approx(5 / 12)
    assert str(found.formula) == "Vout/Vg"
    assert not wanted_duty(shipped("boost"), 24.0).largest.bounded


def test_example_7_of_the_references() -> None:
    """SEPIC 5 to 12 V, 4 ohm, 100 kHz: D = 0.7059 (S12)."""
    text = (
        "source Vg : in -> gnd = 5 V\ninductor L1 : in -> a = 10 uH\nswitch S : a -> gnd\n"
        "capacitor C1 : a -> b = 50 uF\ninductor L2 : gnd -> b = 20 uH\ndiode D1 : b -> out\n"
        "capacitor Co : out -> gnd = 50 uF\nload R : out -> gnd = 4 ohm\noperate D = 0.5, f = 100 kHz\n"
    )
    (found,) = wanted_duty(voltsec.solve(voltsec.read(text)), 12.0).solutions
    assert found.duty == pytest.approx(0.7059, abs=5e-4)


def test_discontinuous_conduction_counts() -> None:
    """At light load the duty is smaller: M = (1 + sqrt(1 + 4 D**2/K))/2 (M1 chapter 5, from memory)."""
    answer = shipped("boost")
    values = {name: float(value) for name, value in answer.circuit.values.items()}
    k = 2 * values["L"] / (2000 * values["T"])
    (found,) = wanted_duty(answer, 24.0, {"R": 2000.0}).solutions
    assert found.mode == "DCM"
    assert found.duty == pytest.approx((k * 2 * (2 - 1)) ** 0.5, rel=1e-9)


def test_an_inverting_stage_takes_the_size() -> None:
    wanted = wanted_duty(shipped("buckboost"), 12.0)
    assert wanted.inverted and wanted.output_voltage == -12.0
    assert wanted.solutions[0].duty == pytest.approx(0.5, abs=1e-4)


@pytest.mark.parametrize(
    "name, volts, words",
    [
        ("boost_lossy", 300.0, r"largest gain is 6\.8038, 81\.645\d V at D = 0\.9266"),
        ("boost", 5.0, "goes down to"),
        ("buck", 30.0, "only approaches 1 and the output 12 V"),
        ("buck", -5.0, "positive at every duty"),
    ],
)
def test_unreachable(name: str, volts: float, words: str) -> None:
    with pytest.raises(Unreachable, match=words):
        wanted_duty(shipped(name), volts)


def test_bad_input() -> None:
    for volts in (0.0, float("nan"), float("inf")):
        with pytest.raises(BadValues):
            wanted_duty(shipped("buck"), volts)
    with pytest.raises(BadValues, match="no duty of this circuit"):
        wanted_duty(shipped("buck"), 5.0, duty="Q")
