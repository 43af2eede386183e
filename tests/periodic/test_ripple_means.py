"""Means by averages and ramps, in stages with more than two intervals: against the exact periodic state.

The exact state is found by matrix exponentials (:mod:`voltsec.waveforms`), which share nothing with the
formulas.
"""

from __future__ import annotations

import numpy as np
import pytest

import voltsec
from voltsec.circuit.graph import references
from voltsec.formulas.solve import Engine
from voltsec.periodic.balance import Balance
from voltsec.periodic.points import as_arrays, operating_point
from voltsec.practice.exact_numbers import ExactNumbers
from voltsec.search.sequences import sequence_at
from voltsec.tableau import lengths
from voltsec.tableau.interval import Interval

LEGS = """
source Vg : in -> gnd = 12 V
inductor L1 : in -> a = 47 uH {{ resistance 30 mohm }}
inductor L2 : in -> b = 68 uH {{ resistance 20 mohm }}
switch S1 : a -> gnd {{ resistance 10 mohm }}
switch S2 : b -> gnd
diode D1 : a -> out {{ drop 0.4 V }}
diode D2 : b -> out {{ drop 0.4 V }}
capacitor Co : out -> gnd = 100 uF
load R : out -> gnd = 6 ohm
drive S1 at D
drive S2 at D from 0.5
operate D = {duty}, f = 100 kHz
"""


@pytest.mark.parametrize("duty", [0.35, 0.6, 0.75])
def test_currents_of_two_unequal_legs(duty: float, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lengths, "TOGETHER", 0)
    circuit = voltsec.read(LEGS.format(duty=duty))
    point = operating_point(circuit)
    assert point is not None
    mode = sequence_at(circuit, references(circuit), point)
    exact = ExactNumbers(circuit, Engine(circuit, ()))(point)
    assert mode is not None and exact is not None
    solved = Balance(circuit, mode.sequence, references(circuit))
    assert solved.ripple_means is not None
    shares = mode.stages.fractions(point)
    at = as_arrays(point) | {
        name: np.array([share]) for name, share in zip(mode.sequence.fractions, shares, strict=True)
    }

    def value(k: int, name: str, part: str) -> float:
        ratio = solved.value(k, {("i", name): solved.ring.one}, part)
        assert ratio is not None
        return float(np.ravel(ratio.value(solved.ring, at))[0])

    intervals: tuple[Interval, ...] = mode.sequence.intervals
    for name in ("L1", "L2", "S1", "S2", "D1", "D2"):
        means = [value(k, name, "mean") for k in range(len(intervals))]
        ramps = [value(k, name, "ramp") for k in range(len(intervals))]
        peak = max(abs(mean) + abs(ramp) for mean, ramp in zip(means, ramps, strict=True))
        square = sum(d * (m * m + r * r / 3) for d, m, r in zip(shares, means, ramps, strict=True))
        assert peak == pytest.approx(exact.results[f"stress.{name}.current_peak"], rel=0.01)
        assert square**0.5 == pytest.approx(exact.results[f"stress.{name}.current_rms"], rel=0.01)
