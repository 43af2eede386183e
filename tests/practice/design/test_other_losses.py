"""Losses beside conduction in a sized stage."""

from __future__ import annotations

import pytest

import voltsec

RADIO = """source    Vg : in  -> gnd = 12 V
inductor  L  : in  -> x   = 68 uH { resistance 30 mohm }
switch    S  : x   -> gnd { turn_on 20 ns, turn_off 30 ns, gate_charge 15 nC, gate_voltage 10 V }
diode     D1 : x   -> out { drop 0.5 V, recovery_charge 40 nC }
capacitor Co : out -> gnd = 68 uF
load      R  : out -> gnd = 24 ohm
operate   D = 0.5, f = 200 kHz
"""


def test_the_loss_budget_holds_them_at_the_least_overall_efficiency() -> None:
    """The budget's losses are those of the sized stage's exact state at the corner that is named.

    Common practice, no source: a budget adds conduction, switching, gate and recovery losses.
    """
    sizing = voltsec.size(voltsec.read(RADIO), "Vin=9:16, Vout=24, Iout=0.2:1, ripple(L)=40%")
    assert sizing.losses is not None
    corner, losses = sizing.losses
    numbers = voltsec.solve(voltsec.read(RADIO)).at(
        Vg=corner.values["Vg"],
        D=corner.values["D"],
        R=24.0 / corner.values["Iout"],
        L=float(sizing.sizes[0].chosen),
    )
    for name in ("losses.L", "losses.D1", "other_losses.S.turn_off", "other_losses.D1.recovery"):
        assert losses[name] == pytest.approx(numbers.results[name], rel=1e-3)
    assert sizing.worst.extremes["overall_efficiency"].value == pytest.approx(
        numbers.overall_efficiency, rel=1e-4
    )
