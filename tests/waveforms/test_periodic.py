"""The exact periodic state: closed solutions, state matrices by hand, the integration in time."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import expm

import voltsec
from tests.integration.switched import periodic_averages
from voltsec.periodic.points import operating_point
from voltsec.results.table import results_of
from voltsec.waveforms.exact import exact_results


def exact(name: str, **values: float) -> tuple[dict[str, float], dict[str, float]]:
    """Results of a shipped circuit, or of a netlist, at its operating point changed by ``values``; the point.

    Nothing is given but the circuit: the search finds by itself what conducts.
    """
    circuit = voltsec.read(name) if "\n" in name else voltsec.load(name)
    point = {**(operating_point(circuit) or {}), **values}
    found = exact_results(circuit, point, results_of(circuit).values())
    assert found.found.all()
    return {result: float(value[0]) for result, value in found.values.items()}, point


CHOPPER = """source Vg : in -> gnd = 12 V
switch S : in -> a
diode D1 : gnd -> a
inductor L : a -> b = 20 uH
load R : b -> gnd = 4 ohm
operate D = 0.3, T = 10 us
"""


def test_coil_and_resistor() -> None:
    """i' = (v - R i)/L solved by hand: two exponentials, joined at both ends (closed solution)."""
    found = exact(CHOPPER)[0]
    volt, ohm, decay = 12.0, 4.0, 4.0 * 10e-6 / 20e-6  # R T/L
    final = volt / ohm
    low = final * np.exp(-0.7 * decay) * (1 - np.exp(-0.3 * decay)) / (1 - np.exp(-decay))
    high = low * np.exp(0.7 * decay)
    assert found["ripple.L"] == pytest.approx(high - low, rel=1e-9)
    assert found["inductor_currents.L"] == pytest.approx(0.3 * final, rel=1e-9)
    assert found["output_voltage"] == pytest.approx(0.3 * volt, rel=1e-9)
    drawn = 0.3 * final + (low - final) * (1 - np.exp(-0.3 * decay)) / decay
    assert found["source_currents.Vg"] == pytest.approx(drawn, rel=1e-9)
    assert found["efficiency"] == pytest.approx(1.0, rel=1e-9)


CHARGER = """source Vg : in -> gnd = 10 V
switch S : in -> a
resistor Rs : a -> out = 2 ohm
capacitor C : out -> gnd = 5 uF
load R : out -> gnd = 8 ohm
operate D = 0.4, T = 10 us
"""


def test_capacitor_and_resistors() -> None:
    """C v' = (Vg - v)/Rs - v/R while closed, -v/R while open, by hand; powers integrated exactly."""
    found = exact(CHARGER)[0]
    final = 10.0 * 8 / (2 + 8)
    slow, fast = 10.0 / (8 * 5), 10.0 / (1.6 * 5)  # T over the time constants, 1.6 = 2 || 8 ohm
    fall, rise = np.exp(-0.6 * slow), np.exp(-0.4 * fast)
    low = final * fall * (1 - rise) / (1 - fall * rise)
    high = low / fall
    area = 0.4 * final + (low - final) * (1 - rise) / fast + high * (1 - fall) / slow
    assert found["capacitor_voltages.C"] == pytest.approx(area, rel=1e-9)
    assert found["ripple.C"] == pytest.approx(high - low, rel=1e-9)
    gap = low - final
    square = 0.4 * final**2 + 2 * final * gap * (1 - rise) / fast + gap**2 * (1 - rise**2) / (2 * fast)
    square += high**2 * (1 - fall**2) / (2 * slow)
    drawn = (0.4 * 10 - 0.4 * final - gap * (1 - rise) / fast) / 2
    assert found["efficiency"] == pytest.approx(square / 8 / (10 * drawn), rel=1e-9)


def test_state_matrices_by_hand() -> None:
    """A step-up stage with ten per cent of its capacitor: x' = A x + b of both intervals, scipy's expm."""
    found, point = exact("boost", Co=4e-6)
    henry, farad, ohm = point["L"], point["Co"], point["R"]
    period, duty, volt = point["T"], point["D"], point["Vg"]
    closed = np.array([[0, 0, volt / henry], [0, -1 / (ohm * farad), 0], [0, 0, 0]])
    opened = np.array([[0, -1 / henry, volt / henry], [1 / farad, -1 / (ohm * farad), 0], [0, 0, 0]])
    steps = 2000
    one, other = expm(closed * duty * period / steps), expm(opened * (1 - duty) * period / steps)
    whole = np.linalg.matrix_power(other, steps) @ np.linalg.matrix_power(one, steps)
    start = np.append(np.linalg.solve(np.eye(2) - whole[:2, :2], whole[:2, 2]), 1.0)
    mean = np.zeros(3)
    for matrix, share in ((one, duty), (other, 1 - duty)):
        for _ in range(steps):
            after = matrix @ start
            mean += (start + after) / 2 * share / steps
            start = after
    assert found["inductor_currents.L"] == pytest.approx(mean[0], rel=1e-6)
    assert found["output_voltage"] == pytest.approx(mean[1], rel=1e-6)


PUMP = """source Vg : in -> gnd = 10 V
switch S1 : in -> a
capacitor C1 : a -> gnd = 2 uF
switch S2 : a -> out
capacitor C2 : out -> gnd = {}
load R : out -> gnd = 50 ohm
drive S1 at D
drive S2 against S1
operate D = 0.5, T = 10 us
"""


def test_charge_that_jumps_between_capacitors() -> None:
    """A switched capacitor is a resistance T/C into a large capacitor, and that is all it loses.

    Slow-switching limit (Seeman and Sanders, from memory): Vout = Vg R/(R + T/C1), the efficiency is
    Vout/Vg.
    """
    found = exact(PUMP.format("10 mF"))[0]
    gain = 50 / (50 + 10e-6 / 2e-6)
    assert found["output_voltage"] == pytest.approx(10 * gain, rel=2e-4)
    assert found["efficiency"] == pytest.approx(gain, rel=2e-4)
    assert found["source_currents.Vg"] == pytest.approx(10 * gain / 50, rel=2e-4)


def test_capacitors_in_series_are_open_singly() -> None:
    """How two ideal capacitors in series share a voltage depends on history; their sum does not."""
    pair = "capacitor Ca : out -> m = 10 uF\ncapacitor Cb : m -> gnd = 10 uF"
    text = CHARGER.replace("capacitor C : out -> gnd = 5 uF", pair)
    both = exact(text)[0]
    single = exact(CHARGER)[0]
    assert np.isnan([both["capacitor_voltages.Ca"], both["capacitor_voltages.Cb"]]).all()
    assert both["output_voltage"] == pytest.approx(single["output_voltage"], rel=1e-9)
    assert both["efficiency"] == pytest.approx(single["efficiency"], rel=1e-9)


@pytest.mark.parametrize(
    "name, changes",
    [
        ("buck", {}),
        ("boost_lossy", {}),
        ("sepic", {"C1": 1e-6}),
        ("sepic_lossy", {"C1": 2e-6, "Co": 5e-6}),
        ("cuk_coupled", {"T": 40e-6}),
        ("zeta", {"T": 80e-6, "Co": 5e-6}),
        ("flyback", {"Co": 3e-6, "T": 50e-6}),
        ("quad_boost", {"T": 60e-6}),
        ("boost_2x", {}),
        ("boost_mult1_lossy", {"C1": 3e-6}),
        ("qzs_boost", {}),
        ("forward", {"T": 30e-6}),
    ],
)
def test_against_the_integration_in_time(name: str, changes: dict[str, float]) -> None:
    """tests/integration/switched.py, which knows neither sequences nor this room, with the real capacitors.

    It gives ideal parts resistances of 2e-6 of the load, hence the tolerance.
    """
    found, point = exact(name, **changes)
    outside = periodic_averages(voltsec.load(name), point)
    assert found["output_voltage"] == pytest.approx(outside.output_voltage, rel=5e-4)
    assert found["efficiency"] == pytest.approx(outside.efficiency, abs=5e-4)
    volts = max(map(abs, outside.capacitor_voltages.values()))
    amperes = max(map(abs, outside.inductor_currents.values()))
    for part, voltage in outside.capacitor_voltages.items():
        told = found[f"capacitor_voltages.{part}"]
        assert told == pytest.approx(voltage, rel=5e-4, abs=2e-4 * volts), part
    for part, current in outside.inductor_currents.items():
        told = found[f"inductor_currents.{part}"]
        assert told == pytest.approx(current, rel=5e-4, abs=2e-4 * amperes), part
    resistive = {c.name for c in voltsec.load(name).capacitors if c.resistance is not None}
    for part, swing in outside.ripple.items():
        if part not in resistive:  # the integration counts the drop over the series resistance as well
            told = found[f"ripple.{part}"]
            assert told == pytest.approx(swing, rel=2e-2, abs=2e-3 * max(volts, amperes)), part
    unlimited = {name for name, value in found.items() if np.isinf(value)}
    for part, current in outside.rms_currents.items():
        if f"stress.{part}.current_rms" in found and f"stress.{part}.current_rms" not in unlimited:
            told = found[f"stress.{part}.current_rms"]
            assert told == pytest.approx(current, rel=5e-3, abs=1e-3 * amperes), part


def test_other_devices_than_the_formulas_assume() -> None:
    """Own check: by straight lines this coil runs dry; the output follows its current, so it does not, and
    the numbers are called by no mode that says so."""
    text = """source Vg : in -> gnd = 12 V
switch S : in -> a
diode D1 : gnd -> a
inductor L : a -> out = 47 uH
capacitor Co : out -> gnd = 100 nF
load R : out -> gnd = 10 ohm
operate D = 0.4, T = 20 us
"""
    numbers = voltsec.solve(voltsec.read(text)).numbers
    assert numbers is not None and numbers.mode == "" and numbers.exact
    outside = periodic_averages(voltsec.read(text), numbers.point)
    assert len(outside.sequence()) == 2
    assert numbers.output_voltage == pytest.approx(outside.output_voltage, rel=5e-4)
    assert numbers.inductor_currents["L"] == pytest.approx(outside.inductor_currents["L"], rel=5e-4)
    assert numbers.input_current is not None and numbers.formulas is None
