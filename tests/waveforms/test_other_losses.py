"""Losses beside conduction: the formulas they are estimated by, against the closed forms of small ripple."""

from __future__ import annotations

import math

import pytest

import voltsec

BOOST = """source    Vg : in  -> gnd = 12 V
inductor  L  : in  -> x   = {inductance} {{ core_turns 18, core_area 40 mm2, core_volume 1.5 cm3,
                                            steinmetz_k 2.1, steinmetz_alpha 1.4, steinmetz_beta 2.5 }}
switch    S  : {arrow}                   {{ turn_on 20 ns, turn_off 30 ns, output_capacitance 200 pF,
                                            gate_charge 15 nC, gate_voltage 10 V }}
diode     D1 : x   -> out {{ recovery_charge 40 nC }}
capacitor Co : out -> gnd = 10 mF
load      R  : out -> gnd = {load}
operate   D = 0.6, f = 200 kHz
"""
PERIOD = 5e-6


def boost(inductance: str = "10 mH", load: str = "15 ohm", arrow: str = "x -> gnd") -> voltsec.Numbers:
    """Numbers of a step-up stage for the station's radio."""
    answer = voltsec.solve(voltsec.read(BOOST.format(inductance=inductance, load=load, arrow=arrow)))
    assert answer.numbers is not None
    return answer.numbers


@pytest.mark.parametrize("arrow", ["x -> gnd", "gnd -> x"])
def test_turning_devices(arrow: str) -> None:
    """With next to no ripple 30 V and 5 A are turned: half of V*I*t*f, half of C*V**2*f, Q*V*f.

    Erickson, Maksimović, Fundamentals of Power Electronics, 2nd edition, section 4.3, from memory; the gate's
    Q*V*f is common practice, no source.
    """
    volt, ampere = 30.0, 5.0
    found = boost(arrow=arrow).other_losses
    assert found["S.turn_on"] == pytest.approx(volt * ampere * 20e-9 / 2 / PERIOD, rel=1e-3)
    assert found["S.turn_off"] == pytest.approx(volt * ampere * 30e-9 / 2 / PERIOD, rel=1e-3)
    assert found["S.output_capacitance"] == pytest.approx(200e-12 * volt**2 / 2 / PERIOD, rel=1e-3)
    assert found["D1.recovery"] == pytest.approx(40e-9 * volt / PERIOD, rel=1e-3)
    assert found["S.gate"] == pytest.approx(15e-9 * 10 / PERIOD, rel=1e-12)


def test_ripple_counts_where_the_current_is_turned() -> None:
    """The switch turns on at the valley and off at the peak of the coil's current: 12 V * D * T / L apart.

    Common practice, no source.
    """
    found = boost("40 uH").other_losses
    swing = 12.0 * 0.6 * PERIOD / 40e-6
    assert found["S.turn_on"] == pytest.approx(30 * (5 - swing / 2) * 20e-9 / 2 / PERIOD, rel=1e-3)
    assert found["S.turn_off"] == pytest.approx(30 * (5 + swing / 2) * 30e-9 / 2 / PERIOD, rel=1e-3)


def test_discontinuous_conduction_turns_on_without_current() -> None:
    """A diode that has run dry has no charge to give back, and the switch then turns on without current.

    Its output capacitance is at the input voltage.  Erickson, Maksimović, section 5, from memory.
    """
    found = boost("4 uH", "150 ohm").other_losses
    assert found["D1.recovery"] == 0.0
    assert found["S.turn_on"] == 0.0
    assert found["S.turn_off"] > 0.0
    assert found["S.output_capacitance"] == pytest.approx(200e-12 * 12.0**2 / 2 / PERIOD, rel=1e-3)


def test_core() -> None:
    """Half the swing of flux density is Vg*D*T/(2*N*A): the loss is V_e*k*f**alpha*B**beta.

    Steinmetz's equation as makers of cores print it (from memory).
    """
    density = 12.0 * 0.6 * PERIOD / (2 * 18 * 40e-6)
    watt = 1.5e-6 * 2.1 * (1 / PERIOD) ** 1.4 * density**2.5
    for inductance in ("10 mH", "40 uH"):
        assert boost(inductance).other_losses["L.core"] == pytest.approx(watt, rel=1e-6)


def test_a_core_with_two_coils_has_the_flux_of_both() -> None:
    """Volt-seconds set the flux, however much of it the other coil drives (induction law).

    Common practice, no source.
    """
    text = BOOST.format(inductance="40 uH", load="15 ohm", arrow="x -> gnd")
    text = text.replace("capacitor Co", "inductor L2 : c -> gnd = 90 uH\nload R2 : c -> gnd = 50 ohm\n"
                        "couple L, L2 = 0.9\noutput R\ncapacitor Co")  # fmt: skip
    found = voltsec.solve(voltsec.read(text)).numbers
    assert found is not None
    alone = boost("40 uH").other_losses["L.core"]
    assert found.other_losses["L.core"] == pytest.approx(alone, rel=0.02)


def test_overall_efficiency_counts_them_all() -> None:
    """Output over input and what is lost beside conduction; what is left out changes nothing."""
    numbers = boost()
    power = 30.0**2 / 15.0
    lost = math.fsum(numbers.other_losses.values())
    assert numbers.overall_efficiency == pytest.approx(power / (power + lost), rel=1e-3)
    assert numbers.efficiency == pytest.approx(1.0)
    stage = voltsec.read(
        "source Vg : in -> gnd = 12 V\ninductor L : in -> x = 10 mH\nswitch S : x -> gnd\n"
        "diode D1 : x -> out\ncapacitor Co : out -> gnd = 10 mF\nload R : out -> gnd = 15 ohm\n"
        "operate D = 0.6, f = 200 kHz\n"
    )
    bare = voltsec.solve(stage).numbers
    assert bare is not None and bare.overall_efficiency is None and bare.other_losses == {}
    assert {name: numbers.results[name] for name in bare.results} == pytest.approx(bare.results, nan_ok=True)


def test_sweep_follows_them() -> None:
    """A sweep tells them like any other result, by the same state."""
    answer = voltsec.solve(voltsec.read(BOOST.format(inductance="40 uH", load="15 ohm", arrow="x -> gnd")))
    swept = answer.sweep(("overall_efficiency", "other_losses.S.turn_off"), D=[0.4, 0.6])
    assert swept.values["other_losses.S.turn_off"][1] == pytest.approx(
        boost("40 uH").other_losses["S.turn_off"], rel=1e-9
    )
    assert swept.values["overall_efficiency"][1] == pytest.approx(boost("40 uH").overall_efficiency, rel=1e-9)


def test_what_ideal_parts_leave_open_is_not_told() -> None:
    """Nothing fixes a push-pull stage's mean magnetizing current, so neither the current that S1 turns.

    The voltage it blocks is known, and so is the core's swing.  Common practice, no source.
    """
    text = """source Vg : in -> gnd = 24 V
    transformer T : in -> a, b -> in, s -> c, c -> e = 1 : 1 : 1 : 1 { magnetizing Lm = 1 mH, core_turns 12,
        core_area 60 mm2, core_volume 3 cm3, steinmetz_k 2.1, steinmetz_alpha 1.4, steinmetz_beta 2.5 }
    switch S1 : a -> gnd { turn_on 20 ns, output_capacitance 300 pF }
    switch S2 : b -> gnd
    diode D1 : s -> x
    diode D2 : e -> x
    inductor L : x -> out = 100 uH
    capacitor Co : out -> c = 47 uF
    load R : out -> c = 5 ohm
    ground gnd, c
    drive S1 at D
    drive S2 at D from 0.5
    operate D = 0.3, f = 100 kHz
    """
    numbers = voltsec.solve(voltsec.read(text)).numbers
    assert numbers is not None
    found = numbers.other_losses
    assert found["S1.turn_on"] is None and numbers.overall_efficiency is None
    assert found["S1.output_capacitance"] == pytest.approx(300e-12 * 24.0**2 / 2 * 100e3, rel=1e-6)
    density = 24.0 * 0.3 * 10e-6 / (2 * 12 * 60e-6)
    assert found["T.core"] == pytest.approx(3e-6 * 2.1 * 100e3**1.4 * density**2.5, rel=1e-6)
