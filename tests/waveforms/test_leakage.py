"""An output that nothing loads, where the least leakage leads it, checked by the integration in time.

The integration gives every open device a leak, and the less it is the nearer it comes.  That a rectifier
without load holds the peak of what it rectifies: Horowitz and Hill, peak detectors (from memory).
"""

from __future__ import annotations

import numpy as np
import pytest

import voltsec

from ..integration.switched import periodic_averages
from .found import exact

PEAK = """source Vg : in -> gnd = 12 V
switch S : in -> a
diode D1 : gnd -> a
inductor L : a -> out = 100 uH
capacitor Co : out -> gnd = 47 uF
load R : out -> gnd = 5 ohm
diode D2 : {anode} -> hold
capacitor C2 : hold -> gnd = 10 uF
output hold -> gnd
operate D = 0.4, T = 10 us
"""

RAISED = """source Vg : in -> gnd = 12 V
switch S : in -> a
inductor L1 : a -> gnd = 100 uH
capacitor C1 : b -> a = 22 uF
diode D1 : a -> e
capacitor C2 : e -> gnd = 22 uF
inductor L2 : b -> out = 100 uH
capacitor Co : out -> gnd = 47 uF
switch S1 : e -> b
drive S at D
drive S1 against S
output out -> gnd
operate D = 0.5, T = 10 us
"""
"""A self-lifting stage without load: a diode that hardly conducts ties the floating capacitors."""

DIVIDER = """source Vg : in -> gnd = 12 V
switch S : in -> a
diode D : gnd -> a
inductor L : a -> out = 100 uH
capacitor C1 : out -> mid = 47 uF
capacitor C2 : mid -> gnd = 22 uF
load R : out -> gnd = 5 ohm
operate D = 0.4, T = 10 us
"""


IN_SERIES = """source Vg : in -> gnd = 12 V
switch S1 : in -> a
diode D1 : gnd -> a
inductor L : a -> b = 100 uH
diode D2 : b -> out
capacitor Co : out -> gnd = 68 uF
output out -> gnd
operate D = 0.4, T = 10 us
"""
"""While the switch is open, three devices share the held voltage as nothing fixes."""


def test_devices_that_share_a_voltage_leak_together() -> None:
    assert exact(IN_SERIES).values["output_voltage"][0] == pytest.approx(12.0, rel=1e-6)


@pytest.mark.parametrize(("anode", "volts"), [("a", 12.0), ("in", 12.0)])
def test_a_rectifier_without_load_holds_the_peak(anode: str, volts: float) -> None:
    found = exact(PEAK.format(anode=anode))
    assert found.values["output_voltage"][0] == pytest.approx(volts, rel=1e-6)


def test_the_peak_of_a_ripple_counts() -> None:
    """Behind the filter it is the output's peak: half the ripple above the mean, V(1 - D) T²/(8 L C) in all.

    Erickson and Maksimović, section 2.5 (from memory).
    """
    found = exact(PEAK.format(anode="out"))
    ripple = 4.8 * 0.6 * 10e-6**2 / (8 * 100e-6 * 47e-6)
    told = found.values["output_voltage"][0]
    assert told > 4.8 * (1 + 1e-4)
    assert told - 4.8 == pytest.approx(ripple / 2, rel=0.2)


@pytest.mark.parametrize("text", [PEAK.format(anode="a"), RAISED])
def test_the_integration_comes_nearer_the_less_it_leaks(text: str) -> None:
    told = exact(text).values["output_voltage"][0]
    far, near = (
        abs(told - periodic_averages(voltsec.read(text), {}, closed=r, open_=1 / r).output_voltage)
        for r in (1e-5, 1e-7)
    )
    assert near < max(far, 1e-4 * abs(told))
    assert near < 2e-3 * abs(told)


def test_what_leakage_decides_is_said() -> None:
    solution = voltsec.solve(voltsec.read(PEAK.format(anode="a")))
    assert solution.numbers is not None
    assert solution.numbers.output_voltage == pytest.approx(12.0)
    (line,) = (line for line in solution.undetermined if "V(C2)" in line)
    assert "any leakage, however small" in line


def test_what_leaks_pull_to_different_sides_stays_open() -> None:
    """Two capacitors in series share by their own leaks, of which nothing is known."""
    found = exact(DIVIDER)
    assert found.found[0]
    assert found.values["output_voltage"][0] == pytest.approx(4.8, rel=1e-6)
    assert np.isnan(found.values["capacitor_voltages.C1"][0])
    assert not found.leaks


def test_leaks_that_pull_to_different_sides_decide_nothing() -> None:
    """DB's leak charges C2 to the input, C2's own and DA's discharge it: the ratio of the leaks decides."""
    found = exact(
        """source Vg : in -> gnd = 12 V
switch S : in -> x
diode D1 : gnd -> x
inductor L : x -> out = 100 uH
capacitor Co : out -> gnd = 100 uF
load R : out -> gnd = 5 ohm
diode DA : gnd -> n2
capacitor C2 : gnd -> n2 = 1 mF
diode DB : n2 -> in
operate D = 0.4, T = 10 us
"""
    )
    assert found.found[0] and not found.leaks
    assert np.isnan(found.values["capacitor_voltages.C2"][0])
    assert np.isnan(found.values["stress.DB.voltage_peak"][0])
    assert found.values["output_voltage"][0] == pytest.approx(4.8, rel=1e-3)
