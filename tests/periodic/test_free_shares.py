"""Signs where the equations leave something free: one mode holds at a point, and it is the integration's.

That no two modes hold is a passive network's (its periodic state is unique but for what is free; Tellegen).
"""

from __future__ import annotations

import pytest

import voltsec
from voltsec.circuit.graph import references
from voltsec.periodic.balance import Balance
from voltsec.periodic.points import operating_point
from voltsec.tableau.interval import Interval, Sequence

from ..integration.stated import standings
from ..integration.switched import periodic_averages

LEGS = """source Vg : in -> gnd = 20 V
switch S1 : in -> a
diode D1 : gnd -> a
inductor L1 : a -> out = 4.7 uH
switch S2 : in -> b
diode D2 : gnd -> b
inductor L2 : b -> out = 5.6 uH
capacitor Co : out -> gnd = 47 uF
load R : out -> gnd = {load}
drive S1 at D
drive S2 against S1
operate D = 0.5, T = 2.7 us
"""
"""Legs that complement each other share a current freely at D = 1/2, as long as there is enough for both."""

FED = """source Vg : in -> gnd = 5 V
inductor L1 : in -> n1 = 12 uH
switch S1 : n1 -> gnd
diode D1 : n1 -> n2
capacitor C1 : n2 -> gnd = 3.9 uF
diode D2 : n2 -> n3
capacitor C2 : n3 -> n1 = 1 uF
diode D3 : n3 -> n4
capacitor C3 : n4 -> gnd = 3.3 uF
inductor L2 : n6 -> n5 = 4.7 uH
switch S2 : n4 -> n6
diode D4 : gnd -> n6
inductor L3 : n7 -> n5 = 5.6 uH
switch S3 : n4 -> n7
diode D5 : gnd -> n7
capacitor C4 : n5 -> gnd = 15 uF
load R : n5 -> gnd = 18 ohm
diode D6 : n1 -> n8
capacitor C5 : n8 -> gnd = 8.2 uF
load R1 : n8 -> gnd = 56 ohm
drive S1 at D
drive S2 against S1
drive S3 against S2
operate D = 0.5, T = 2.7 us
"""
"""Such legs behind a stage whose diodes carry one leg's current or the other's: free but for D - D'."""

CLAMPED = """source Vg : in -> gnd = 12 V
switch S : in -> a
inductor L : a -> out = 47 uH {{ resistance 50 mohm }}
diode D1 : gnd -> a
capacitor Co : out -> gnd = 47 uF
load R : out -> gnd = 100 ohm
diode D2 : n1 -> in
capacitor C1 : n1 -> gnd = 390 uF
load R2 : n1 -> gnd = {load}
current I1 : gnd -> n1 = 0.68 A
output out -> gnd
operate D = 0.4, T = 10 us
"""
"""A capacitor that a diode ties to the source: how its current is spread over the intervals is free."""


@pytest.mark.parametrize("load", ["1 ohm", "3 ohm", "18 ohm"])
def test_legs_at_half_duty_need_a_current_for_both(load: str) -> None:
    """Each leg's mean is at least half its ripple, V D D' T/(2 L): 1.44 A and 1.21 A for the two together."""
    solution = voltsec.solve(voltsec.read(LEGS.format(load=load)))
    point = operating_point(solution.circuit)
    assert point is not None
    holding = [name for name, one in standings(solution, point).items() if one.holds]
    assert len(holding) == 1
    assert holding[0].startswith("CCM") == (10 / point["R"] > 1.44 + 1.21)
    outside = periodic_averages(solution.circuit, {})
    assert solution.numbers is not None
    assert solution.numbers.output_voltage == pytest.approx(outside.output_voltage, rel=5e-3)


def test_what_is_free_at_half_duty_only_leaves_no_condition_out() -> None:
    """1.4 A and 1.2 A of ripple at 10 V and 18 ohm: the legs run dry, so that this sequence cannot hold."""
    circuit = voltsec.read(FED)
    point = operating_point(circuit)
    assert point is not None
    conducting = ({"D2", "D4", "S1", "S3"}, {"D1", "D3", "D5", "D6", "S2"})
    sequence = Sequence(tuple(Interval(k, frozenset(names)) for k, names in enumerate(conducting)))
    balance = Balance(circuit, sequence, references(circuit))
    full = {**point, **dict.fromkeys(sequence.fractions, 0.5)}
    values = [one.ratio.value(balance.ring, full) for one in balance.sign_conditions]
    assert balance.all_decided
    assert min(values) < 0


@pytest.mark.parametrize(("load", "conducts"), [("10 ohm", False), ("30 ohm", True)])
def test_a_share_of_a_tied_capacitor_is_no_charge_of_a_diode(load: str, conducts: bool) -> None:
    """The diode carries the mean current I1 - Vg/R2, which must not be negative, whatever bends it has."""
    solution = voltsec.solve(voltsec.read(CLAMPED.format(load=load)))
    point = operating_point(solution.circuit)
    assert point is not None
    holding = [name for name, one in standings(solution, point).items() if one.holds]
    assert len(holding) == 1
    (mode,) = (mode for mode in solution.modes if mode.name == holding[0])
    assert any("D2" in interval.conducting for interval in mode.intervals) == conducts
