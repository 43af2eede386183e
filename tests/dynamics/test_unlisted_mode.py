"""Small signals and state equations of the point's own mode, where the search for modes was not finished."""

from __future__ import annotations

import numpy as np
import pytest

import voltsec
from voltsec.practice.dynamics import told_of
from voltsec.results.table import results_of
from voltsec.waveforms.exact import exact_results

# Made up for the station's radio: two current-fed switches, a transformer, a rectifier of four diodes.
CURRENT_FED = """converter "isolated radio rail, current fed"
source Vg : in -> gnd = 12 V
ground gnd, sgnd
inductor L : in -> p = 100 uH { resistance 50 mohm }
transformer T1 : p -> a, b -> p, s -> t = 1 : 1 : 2 { magnetizing LM = 2 mH }
switch S1 : a -> gnd { resistance 20 mohm }
switch S2 : b -> gnd { resistance 20 mohm }
diode D1 : s -> out { drop 0.5 V }
diode D2 : t -> out { drop 0.5 V }
diode D3 : sgnd -> s { drop 0.5 V }
diode D4 : sgnd -> t { drop 0.5 V }
capacitor Co : out -> sgnd = 47 uF { resistance 20 mohm }
load R : out -> sgnd = 100 ohm
drive S1 at D
drive S2 at D from 0.5
operate D = 0.65, T = 20 us
"""


@pytest.fixture(scope="module")
def answer() -> voltsec.Solution:
    return voltsec.solve(voltsec.read(CURRENT_FED), 0.5)


def test_the_mode_at_the_point_has_its_small_signals(answer: voltsec.Solution) -> None:
    """At 0 Hz they are finite differences of the exact state; a current-fed stage's zero by the textbook.

    An isolated step-up stage: D' of the whole is 2 (1 - D), its right-half-plane zero D'^2 R/(n^2 L), a bit
    lower with its losses (Erickson, Maksimovic, section 6.3.5 and table 8.2, from memory).
    """
    assert answer.modes == ()
    found = told_of(answer, {}).model
    duty = found.response("duty")
    assert duty is not None and duty.averaged is not None and found.point is not None
    circuit, point = answer.circuit, {k: v for k, v in found.point.items() if not k.startswith("#")}
    output = results_of(circuit)["output_voltage"]
    low, high = (
        exact_results(circuit, {**point, "D": point["D"] + step}, [output]).values["output_voltage"][0]
        for step in (-1e-4, 1e-4)
    )
    slope = (high - low) / 2e-4
    assert duty.averaged.dc_gain == pytest.approx(slope, rel=0.01)
    exact = found.exact(duty.link, np.array([0.0]))
    assert exact is not None and exact[0].real == pytest.approx(slope, rel=1e-4)
    zeros = [zero.real for zero in duty.averaged.zeros if zero.real > 0]
    assert zeros == pytest.approx([(2 * 0.35) ** 2 * 100 / 4 / 100e-6], rel=0.05)
    assert any("not among those" in note for note in found.notes)


def test_its_state_equations_as_well(answer: voltsec.Solution) -> None:
    found = voltsec.states(answer)
    assert found.mode.startswith("CCM") and len(found.intervals) == 4
    assert found.intervals[0].conducting == ("S1", "S2")
