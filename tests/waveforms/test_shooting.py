"""The periodic state from nothing where Newton's method on the period alone does not get there.

Checked by the integration in time, which shares no code with the solver, and by scipy for one circuit.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import expm

import voltsec
from voltsec.command.netlists import load

from ..integration.switched import periodic_averages
from .found import exact

LEGS = """source Vg : in -> gnd = 48 V
inductor L1 : in -> n2 = 220 uH
switch S1 : n2 -> gnd
diode D1 : n2 -> n1
inductor L2 : in -> n3 = 390 uH
switch S2 : n3 -> gnd
diode D2 : n3 -> n1
capacitor C1 : n1 -> gnd = 15 uF
load R : n1 -> gnd = 22 ohm
drive S1 at D
drive S2 against S1
operate D = 0.5, T = 2.7 us
"""
"""Ripple alone decides how the legs share: the state lies at the end of one leg's conduction."""

HARD = {
    "pump capacitor behind two legs": """source Vg : in -> gnd = 48 V
inductor L1 : in -> n2 = 820 nH
switch S1 : n2 -> gnd
diode D1 : n2 -> n1
inductor L2 : in -> n3 = 680 nH
switch S2 : n3 -> gnd
diode D2 : n3 -> n1
capacitor C1 : n1 -> gnd = 18 uF
inductor L3 : n1 -> n4 = 560 nH
switch S3 : n4 -> gnd
diode D3 : n4 -> n5
capacitor C2 : n5 -> gnd = 6.8 uF
diode D4 : n5 -> n6
capacitor C3 : n6 -> n4 = 6.8 uF
switch S4 : n6 -> n7
capacitor C4 : n7 -> gnd = 22 uF
load R : n7 -> gnd = 5.6 ohm
drive S1 at D
drive S2 against S1
drive S3 against S1
drive S4 against S3
operate D = 0.5, T = 2.7 us
""",
    "two diodes that turn at one instant": """source Vg : in -> gnd = 12 V { resistance 560 mohm }
switch S : in -> n1
inductor L : a -> gnd = 100 uH
diode D1 : out -> a
capacitor Co : out -> gnd = 68 uF
load R : out -> gnd = 24 ohm
switch S1 : n1 -> a
capacitor C1 : n1 -> out = 680 nF
diode D2 : n2 -> a
capacitor C2 : n2 -> gnd = 1.5 uF
load R1 : n2 -> gnd = 180 ohm
source V1 : in -> gnd = 11.9 V { resistance 390 mohm }
drive S at D
drive S1 against S
input Vg
operate D = 0.5, T = 10 us
""",
    "resistances that bend everything": """source Vg : in -> gnd = 12 V
inductor L1 : in -> a = 2.7 uH { resistance 560 mohm }
diode D1 : a -> b { resistance 470 mohm, drop 0.76 V }
diode D2 : a -> c { resistance 56 mohm, drop 0.82 V }
capacitor C1 : b -> gnd = 2.7 uF { resistance 220 mohm }
inductor L2 : b -> c = 3.3 uH { resistance 270 mohm }
switch S : c -> gnd { resistance 330 mohm }
diode D3 : c -> out { resistance 82 mohm, drop 0.26 V }
capacitor Co : out -> gnd = 82 uF { resistance 82 mohm }
load R : out -> gnd = 680 ohm
operate D = 0.15, T = 10 us
""",
}


@pytest.mark.parametrize("name", HARD)
def test_state_is_the_integrations(name: str) -> None:
    found, outside = exact(HARD[name]), periodic_averages(voltsec.read(HARD[name]), {})
    assert found.found[0]
    assert found.values["output_voltage"][0] == pytest.approx(outside.output_voltage, rel=5e-4)
    assert found.values["efficiency"][0] == pytest.approx(outside.efficiency, abs=5e-4)
    for capacitor, volts in outside.capacitor_voltages.items():
        told = found.values[f"capacitor_voltages.{capacitor}"][0]
        assert told == pytest.approx(volts, rel=2e-3, abs=1e-3)


def test_legs_whose_share_ripple_decides_have_a_state_and_it_is_said() -> None:
    """Output Vg/(1 - D) whatever the share (Erickson and Maksimović, section 2.3, from memory)."""
    solution = voltsec.solve(voltsec.read(LEGS))
    assert solution.numbers is not None
    assert solution.numbers.output_voltage == pytest.approx(96.0, rel=1e-3)
    assert solution.numbers.efficiency == pytest.approx(1.0)
    assert any("ripple alone decides" in line for line in solution.undetermined)


def test_no_state_no_numbers() -> None:
    """Above half duty the core does not reset by equal windings (common practice, no source)."""
    solution = voltsec.solve(load("forward"))
    assert solution.numbers is not None
    with pytest.raises(LookupError):
        solution.at(D=0.7)


def test_switches_in_turn_are_two_linear_networks() -> None:
    """Two switches in turn: the steady state from the network's matrix exponentials (scipy)."""
    ohm, henry, farad, period, duty = 10.0, 100e-6, 47e-6, 10e-6, 0.6
    found = exact(
        f"""source Vg : in -> gnd = 12 V
switch S : in -> a
switch S2 : a -> gnd
inductor L : a -> out = {henry} H
capacitor C : out -> gnd = {farad} F
load R : out -> gnd = {ohm} ohm
drive S at D
drive S2 against S
operate D = {duty}, T = {period} s
"""
    )
    rate = np.array([[0, -1 / henry, 12 / henry], [1 / farad, -1 / (ohm * farad), 0], [0, 0, 0]])
    off = rate.copy()
    off[0, 2] = 0.0
    whole = expm(off * (1 - duty) * period) @ expm(rate * duty * period)
    start = np.linalg.solve(np.eye(2) - whole[:2, :2], whole[:2, 2])
    middle = (expm(rate * duty * period) @ np.append(start, 1.0))[:2]
    assert found.values["ripple.L"][0] == pytest.approx(middle[0] - start[0], rel=1e-3)
    assert found.values["output_voltage"][0] == pytest.approx(12 * duty, rel=1e-9)


LOSSY_STEP_UP = """source Vg : in -> gnd = 12 V
inductor L : in -> a = 100 uH {{ resistance 50 mohm }}
switch S : a -> gnd {{ resistance 40 mohm }}
diode D1 : a -> out {{ resistance 30 mohm, drop 0.6 V }}
capacitor Co : out -> gnd = 47 uF {{ resistance 25 mohm }}
{load}operate D = 0.52, T = 10 us
"""


def test_a_voltage_that_grows_ever_slower_is_no_steady_state() -> None:
    """Without load every period adds the coil's energy to the output capacitor: its voltage has no limit.

    What it adds becomes less than rounding lets one see in a state of a million volts (energy balance of
    one period; common practice, no source).
    """
    assert not exact(LOSSY_STEP_UP.format(load="output out -> gnd\n")).found[0]
    assert exact(LOSSY_STEP_UP.format(load="load R : out -> gnd = 100 kohm\n")).found[0]


SNUBBED_NO_LOAD = """source Vg : in -> gnd = 12 V
inductor L1 : in -> a = 100 uH
diode D1 : a -> b
diode D2 : a -> c
capacitor C1 : b -> gnd = 22 uF
inductor L2 : b -> c = 220 uH
switch S : c -> gnd
diode D3 : c -> out
capacitor Co : out -> n1 = 47 uF {resistance 100 mohm}
inductor L3 : n1 -> gnd = 18 nH
capacitor C2 : a -> n2 = 1.8 nF
resistor R1 : n2 -> c = 15 ohm
output out -> gnd
operate D = 0.5, T = 10 us
"""


def test_an_output_that_only_a_snubber_loads_is_found() -> None:
    """A snubber's loss C V^2 f is the only load: the state lies far from where any search begins.

    The less the devices leak in the integration, the nearer it comes.
    """
    found = exact(SNUBBED_NO_LOAD)
    assert found.found[0]
    told = found.values["output_voltage"][0]
    values = [
        periodic_averages(voltsec.read(SNUBBED_NO_LOAD), {}, closed=r, open_=1 / r).output_voltage
        for r in (1e-6, 1e-7)
    ]
    assert values[0] < values[1] < told < 1.01 * values[1]
