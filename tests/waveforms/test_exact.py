"""Exact results of circuits whose ideal parts, snubbers or small inductors are hard on the formulas."""

from __future__ import annotations

import numpy as np
import pytest

import voltsec
from tests.integration.switched import periodic_averages
from tests.waveforms.found import exact
from voltsec.periodic.points import operating_point
from voltsec.results.table import results_of
from voltsec.tableau.interval import Interval, Sequence
from voltsec.waveforms.exact import Exact, Expected, exact_results

STEP_UP = """source Vg : in -> gnd = 12 V
inductor L : in -> a = 100 uH
switch S : a -> gnd
diode D1 : a -> out
capacitor Co : out -> gnd = 100 uF
load R : out -> gnd = 50 ohm
operate D = 0.5, T = 10 us
"""
STEP_DOWN = """source Vg : in -> gnd = 12 V
switch S : in -> a
diode D1 : gnd -> a
inductor L : a -> out = 100 uH
capacitor Co : out -> gnd = 100 uF
load R : out -> gnd = 5 ohm
operate D = 0.4, T = 10 us
"""
HARD = {
    "snubber across the switch": STEP_UP + "resistor Rs : a -> s = 47 ohm\ncapacitor Cs : s -> gnd = 1 nF\n",
    "snubber across the diode": STEP_UP + "resistor Rs : a -> s = 10 ohm\ncapacitor Cs : s -> out = 4.7 nF\n",
    "capacitance of the switch": STEP_UP + "capacitor Cs : a -> gnd = 1 nF\n",
    "two output capacitors": STEP_UP.replace("100 uF", "1 mF { resistance 30 mohm }")
    + "capacitor C2 : out -> gnd = 22 uF\n",
    "small inductor in series with the output capacitor": STEP_DOWN.replace(
        "Co : out -> gnd = 100 uF", "Co : out -> e = 100 uF { resistance 20 mohm }"
    )
    + "inductor Le : e -> gnd = 10 nH\n",
    "two devices in series": STEP_DOWN.replace("S : in -> a", "S : in -> x") + "diode Ds : x -> a\n",
    "resistor across the coil, discontinuous": """source Vg : in -> gnd = 12 V
switch S : in -> a
inductor L : a -> gnd = 10 uH
resistor Rx : a -> gnd = 1 kohm
diode D1 : out -> a
capacitor Co : out -> gnd = 100 uF
load R : out -> gnd = 50 ohm
operate D = 0.4, T = 10 us
""",
    "damped input filter": STEP_DOWN.replace("S : in -> a", "S : f -> a")
    + "inductor Lf : in -> f = 1 uH\ncapacitor Cf : f -> gnd = 10 uF\n"
    + "resistor Rd : f -> d = 1 ohm\ncapacitor Cd : d -> gnd = 47 uF\n",
    "leakage and clamp": """source Vg : in -> gnd = 12 V
inductor L1 : in -> a = 100 uH
switch S : a -> gnd
inductor L2 : gnd -> b = 400 uH
diode D1 : b -> out
diode Dc : a -> c
capacitor Cc : c -> in = 100 nF
resistor Rc : c -> in = 2 kohm
capacitor Co : out -> gnd = 100 uF
load R : out -> gnd = 20 ohm
couple L1, L2 = 0.999
operate D = 0.4, T = 10 us
""",
}


def results(text: str, expected: tuple[Expected, ...] = ()) -> tuple[Exact, voltsec.Circuit]:
    return exact(text, expected), voltsec.read(text)


@pytest.mark.parametrize("name", HARD)
def test_every_element_against_the_integration(name: str) -> None:
    """tests/integration/switched.py: averages, rms, peaks of everything.

    Its added resistances (2e-6 of the load) blunt the first microscopic part of a snubber's pulse, hence 1 %
    of the level for peaks.
    """
    found, circuit = results(HARD[name])
    outside = periodic_averages(circuit, {})
    value = {result: float(numbers[0]) for result, numbers in found.values.items()}
    assert found.found.all()
    volts, amperes = max(outside.peak_voltages.values()), max(outside.rms_currents.values())
    assert value["output_voltage"] == pytest.approx(outside.output_voltage, rel=5e-4)
    assert value["efficiency"] == pytest.approx(outside.efficiency, abs=5e-4)
    for element in circuit.elements:
        for key, figures, level in (
            ("current_average", outside.average_currents, 1e-3 * amperes),
            ("current_rms", outside.rms_currents, 1e-3 * amperes),
            ("current_peak", outside.peak_currents, 1e-2 * amperes),
            ("voltage_peak", outside.peak_voltages, 5e-3 * volts),
        ):
            told = value[f"stress.{element.name}.{key}"]
            if np.isinf(told):  # a closed switch across a charged capacitor
                assert name == "capacitance of the switch" and element.name in ("S", "Cs")
                continue
            assert told == pytest.approx(figures[element.name], rel=2e-3, abs=level), (element.name, key)


def test_a_snubber_loses_c_v_squared_f() -> None:
    """Charged and discharged through a resistance once a period (common practice, no source)."""
    found, _ = results(HARD["snubber across the switch"])
    loss = float(found.values["losses.Rs"][0])
    volts = float(found.values["output_voltage"][0])
    assert loss == pytest.approx(1e-9 * volts**2 / 10e-6, rel=1e-2)


def test_open_split_of_two_blocking_diodes_is_a_bound() -> None:
    """Two diodes in series may share the reverse voltage anyhow; neither takes more than all of it."""
    text = STEP_UP.replace("D1 : a -> out", "D1 : a -> x") + "diode D2 : x -> out\n"
    found, _ = results(text)
    for name in ("D1", "D2"):
        assert found.bounds[f"stress.{name}.voltage_peak"][0]
        assert float(found.values[f"stress.{name}.voltage_peak"][0]) == pytest.approx(24.0, rel=2e-3)
    assert not found.bounds["stress.S.voltage_peak"][0]


def test_open_share_of_two_conducting_switches_is_a_bound() -> None:
    """Two ideal switches in parallel may share the current anyhow: rms and peak are bounds, no mean."""
    text = STEP_UP + "switch S2 : a -> gnd\ndrive S at D\ndrive S2 with S\n"
    found, _ = results(text)
    alone, _ = results(STEP_UP)
    for key in ("current_rms", "current_peak"):
        assert found.bounds[f"stress.S2.{key}"][0]
        told = float(found.values[f"stress.S2.{key}"][0])
        assert told == pytest.approx(float(alone.values[f"stress.S.{key}"][0]), rel=1e-6)
    assert np.isnan(found.values["stress.S2.current_average"][0])
    assert found.values["output_voltage"][0] == pytest.approx(alone.values["output_voltage"][0], rel=1e-9)


def test_legs_against_each_other_at_half_duty() -> None:
    """Nothing fixes how two ideal legs share the current; the output and the ripple do not depend on it."""
    text = """source Vg : in -> gnd = 12 V
switch S1 : in -> a
diode D1 : gnd -> a
inductor L1 : a -> out = 100 uH
switch S2 : in -> b
diode D2 : gnd -> b
inductor L2 : b -> out = 100 uH
capacitor Co : out -> gnd = 100 uF
load R : out -> gnd = 5 ohm
drive S1 at D
drive S2 against S1
operate D = 0.5, T = 10 us
"""
    found, _ = results(text)
    assert found.values["output_voltage"][0] == pytest.approx(6.0, rel=1e-9)
    assert np.isnan(found.values["inductor_currents.L1"][0])
    assert found.values["ripple.L1"][0] == pytest.approx(0.5 * 6 * 10e-6 / 100e-6, rel=1e-6)
    assert found.values["stress.R.current_average"][0] == pytest.approx(1.2, rel=1e-9)


def test_without_load_current_a_step_down_stage_gives_its_input() -> None:
    """No current, no volt-seconds: the coil rests at Vg (common practice, no source)."""
    text = STEP_DOWN.replace("load R : out -> gnd = 5 ohm", "output out -> gnd")
    found, _ = results(text)
    assert found.values["output_voltage"][0] == pytest.approx(12.0, rel=1e-9)
    assert np.isnan(found.values["efficiency"][0])


def test_a_wrong_expectation_does_no_harm() -> None:
    """A sequence with wrong signs is not kept; the search goes on from nothing."""
    wrong = Sequence((Interval(0, frozenset({"S"})), Interval(1, frozenset())))
    told, _ = results(STEP_UP, (Expected(wrong, np.array([[0.5, 0.5]])),))
    right, _ = results(STEP_UP)
    assert told.values["output_voltage"][0] == pytest.approx(right.values["output_voltage"][0], rel=1e-9)


def test_many_points_are_the_same_as_one_by_one() -> None:
    """Own check, from deep continuous to deep discontinuous conduction and over the duty."""
    circuit = voltsec.load("sepic")
    point = operating_point(circuit)
    assert point is not None
    loads, duties = np.geomspace(3, 3000, 7), np.array([0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8])
    wanted = [results_of(circuit)[name] for name in ("output_voltage", "stress.S.current_rms", "ripple.C1")]
    together = exact_results(circuit, {**point, "R": loads, "D": duties}, wanted)
    assert together.found.all() and len(together.sequences) > 1
    for place, (ohm, duty) in enumerate(zip(loads, duties, strict=True)):
        alone = exact_results(circuit, {**point, "R": float(ohm), "D": float(duty)}, wanted)
        for name, values in together.values.items():
            assert values[place] == pytest.approx(alone.values[name][0], rel=1e-7)


def test_a_leak_is_part_of_the_current() -> None:
    """Kirchhoff's current law: an inductor in series with a capacitor has no average current, though only a
    leak at their node's far end tells its current from another inductor's."""
    text = """source Vg : in -> gnd = 12 V
switch S : in -> a
inductor L1 : a -> gnd = 100 uH
capacitor C1 : b -> a = 10 uF
diode D1 : gnd -> b
inductor L2 : b -> out = 100 uH
capacitor Co : out -> n1 = 22 uF { resistance 68 mohm }
inductor L3 : n1 -> gnd = 6.8 nH
resistor R1 : b -> out = 680 ohm
resistor R2 : gnd -> b = 1.5 Mohm
output out -> gnd
operate D = 0.43, T = 10 us
"""
    numbers = voltsec.solve(voltsec.read(text)).numbers
    assert numbers is not None
    peak = numbers.stress["L3"]["current_peak"]
    assert peak is not None and abs(numbers.inductor_currents["L3"] or 0.0) < 1e-9 * peak
