"""Clamps against the usual estimate of the energy; an input filter's damping."""

from __future__ import annotations

import pytest

import voltsec
from voltsec.practice.design.clamp import clamped
from voltsec.practice.design.specification import BadSpecification, read_specification

LEAKY = """converter "24 V for the sensors"
source    Vg : in  -> gnd = 9 V
inductor  L1 : in  -> a   = 60 uH
switch    S  : a   -> gnd
inductor  L2 : sg  -> b   = 240 uH
diode     D1 : b   -> out
capacitor Co : out -> sg  = 470 uF
load      R  : out -> sg  = 48 ohm
couple    L1, L2 = {k}
ground    gnd, sg
operate   D = 0.6, f = 100 kHz
"""


def test_clamp_of_a_leaky_flyback_stage() -> None:
    """Energy 1/2 Ll I^2 V/(V - Vr) a period, with Ll = L1 (1 - k^2), the clamp's voltage V and the reflected
    k V2 sqrt(L1/L2) over the winding (application notes on flyback stages, from memory).
    """
    circuit = voltsec.read(LEAKY.format(k=0.98))
    wanted = read_specification("Vout=24, Iout=0.5, clamp(S)=60V", circuit)
    with_clamp, (clamp,) = clamped(circuit, wanted)
    assert clamp.resistance is not None and clamp.capacitance is not None
    over, reflected = 60 / 1.025 - 9, 0.98 * 24 / 2
    # what the source gives is what load and clamp take; the magnetizing current's peak follows
    duty = clamp.at.values["D"] if clamp.at is not None else 0.0
    drawn = (12 + clamp.power) / 9
    peak = drawn / duty + 9 * duty * 10e-6 / 60e-6 / 2
    estimate = 0.5 * 60e-6 * (1 - 0.98**2) * peak**2 * over / (over - reflected)
    assert clamp.energy == pytest.approx(estimate, rel=0.08)
    assert clamp.power == pytest.approx(clamp.energy * 100e3, rel=1e-6)
    assert float(clamp.resistance) <= over**2 / clamp.power * (1 + 1e-6)
    assert 0.8 * 60 < clamp.peak <= 60
    assert [element.kind for element in with_clamp.elements[-3:]] == ["diode", "capacitor", "resistor"]
    with_clamp.check()


def test_a_clamp_below_what_the_switch_blocks() -> None:
    """It blocks more than the input voltage whatever the leakage (M1, from memory)."""
    circuit = voltsec.read(LEAKY.format(k=0.98))
    with pytest.raises(BadSpecification, match="not above the input voltage"):
        clamped(circuit, read_specification("Vout=24, Iout=0.5, clamp(S)=8V", circuit))


def test_a_stage_without_leakage_needs_no_clamp() -> None:
    circuit = voltsec.load("boost")
    same, (clamp,) = clamped(circuit, read_specification("Vin=12, Vout=24, Iout=0.5, clamp(S)=60V", circuit))
    assert clamp.elements == () and same == circuit


def test_an_input_filter_is_damped() -> None:
    """A branch of 6 dB, the usual distance (common practice, no source), checked with preferred values."""
    found = voltsec.size(voltsec.load("buck_input_filter"), "Vin=24, Vout=12, R=6").damping
    assert found is not None and "Lf" in found.elements
    assert found.margin < 6
    assert found.resistance is not None and found.damped is not None and found.damped > found.margin
    assert found.damped > 5
