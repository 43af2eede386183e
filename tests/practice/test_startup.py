"""Start-up and steps: response, largest values, windows, what is refused."""

from __future__ import annotations

import doctest
from math import exp, pi, sqrt

import numpy as np
import pytest

import voltsec
from tests.integration.switched import periodic_averages
from voltsec.circuit.circuit import Circuit
from voltsec.circuit.fault import CircuitError, NoSteadyState
from voltsec.practice import startup as module
from voltsec.practice.asked import BadValues
from voltsec.practice.startup import read_window, startup
from voltsec.practice.startup_result import Startup

SECOND_ORDER = """source Vg : in -> gnd = 10 V
switch S1 : in -> a
switch S2 : a -> gnd
inductor L : a -> out = 100 uH
capacitor C : out -> gnd = 100 uF
load R : out -> gnd = {ohm} ohm
drive S1 at D
drive S2 against S1
operate D = 0.5, T = 1 us
"""
"""Two switches: never without a path, so its average is the linear second-order system's."""


def averages(circuit: Circuit, **values: float) -> float:
    """Output of the steady state by the independent integration."""
    return periodic_averages(circuit, values).output_voltage


@pytest.mark.parametrize("ohm", [1.0, 2.0, 0.7])
def test_overshoot_of_a_second_order_system(ohm: float) -> None:
    """exp(-pi*zeta/sqrt(1 - zeta**2)) after pi/(w0*sqrt(1 - zeta**2)), with zeta = sqrt(L/C)/(2 R).

    The unit step response of a second-order system (textbooks of control, from memory).
    """
    found = startup(voltsec.read(SECOND_ORDER.format(ohm=ohm)), 800)
    zeta, w0 = sqrt(100e-6 / 100e-6) / (2 * ohm), 1 / sqrt(100e-6 * 100e-6)
    (response,) = found.responses
    assert response.final == pytest.approx(5.0, rel=1e-9)
    assert response.overshoot == pytest.approx(exp(-pi * zeta / sqrt(1 - zeta**2)), abs=1e-3)
    assert response.highest.time == pytest.approx(pi / (w0 * sqrt(1 - zeta**2)), abs=3e-6)
    rate = response.rate
    assert rate is not None
    assert rate.factor == pytest.approx(exp(-zeta * w0 * 1e-6), rel=1e-6)
    assert rate.turn == pytest.approx(2 * pi / (w0 * sqrt(1 - zeta**2) * 1e-6), rel=1e-5)


def test_settling_is_where_the_averages_stay_in_the_band() -> None:
    found = startup(voltsec.load("sepic_lossy"))
    (response,) = found.responses
    means = found["v(out)"].mean
    outside = np.flatnonzero(np.abs(means - response.final) > 0.01 * response.final)
    assert response.settled == pytest.approx((outside[-1] + 1) * 10e-6)
    assert response.overshoot == pytest.approx(means.max() / response.final - 1)


def test_the_end_is_the_exact_steady_state() -> None:
    circuit = voltsec.load("boost_lossy")
    found = startup(circuit, 6000)
    numbers = voltsec.solve(circuit).numbers
    assert numbers is not None
    assert found.responses[-1].last == pytest.approx(numbers.output_voltage, rel=1e-9)
    assert found.responses[-1].final == pytest.approx(numbers.output_voltage, rel=1e-9)
    assert found.steady_efficiency == pytest.approx(numbers.efficiency, rel=1e-9)
    (coil,) = found.coils
    assert coil.steady == pytest.approx(numbers.stress["L"]["current_peak"], rel=1e-9)
    last = found.ledger(found.end - 10e-6, found.end)
    assert last.ratio == pytest.approx(numbers.efficiency, rel=1e-9)


def test_largest_values_are_those_of_the_courses() -> None:
    found = startup(voltsec.load("buck"), 150, show="i(L), v(D1), i(Vg)")
    times, values = found.samples()
    assert np.all(np.diff(times) >= -1e-15)
    (coil,) = found.coils
    place = int(np.argmax(values["i(L)"]))
    assert coil.value == pytest.approx(values["i(L)"][place], rel=1e-6)
    assert coil.time == pytest.approx(times[place], abs=1e-7)
    (source,) = found.sources
    assert source.value == pytest.approx(-values["i(Vg)"].min(), rel=1e-6)
    assert found["v(D1)"].low.min() == pytest.approx(values["v(D1)"].min(), rel=1e-9)


def test_a_load_step_goes_from_one_steady_state_to_the_other() -> None:
    circuit = voltsec.load("sepic_lossy")
    found = startup(circuit, steps=("R: 10 ohm -> 5 ohm",))
    (response,) = found.responses
    assert response.before == pytest.approx(averages(circuit), rel=1e-3)
    assert response.final == pytest.approx(averages(circuit, R=5.0), rel=1e-3)
    assert response.settled is not None
    assert 0 < response.settled < found.end
    assert response.lowest.value < min(response.before, response.final)


def test_steps_come_with_the_first_period_that_begins_then() -> None:
    found = startup(
        voltsec.load("boost_lossy"),
        steps=("Vg: 12 -> 10 at 25 us", "D: 0.52 -> 0.4 at 1 ms", "T: 10 us -> 8 us at 25 us"),
        periods=200,
    )
    begins = [section.periods.begin for section in found.sections]
    assert begins == pytest.approx([0.0, 30e-6, 1.006e-3], abs=1e-9)
    assert found.sections[1].point["T"] == 8e-6
    assert sum(section.periods.count for section in found.sections) == 200
    before = found.sections[0].series["v(out)"]
    assert before.mean == pytest.approx(np.full(3, before.mean[0]), rel=1e-9)  # steady until the step


def test_a_state_that_contradicts_itself_jumps_at_once() -> None:
    """C2 hangs on C1 by the closed switch: charge is kept, (4 uF * 10 V)/(5 uF) = 8 V (by hand)."""
    text = """source Vg : in -> gnd = 12 V
inductor L : in -> a = 100 uH
switch S : a -> b
switch S2 : b -> gnd
capacitor C1 : a -> gnd = 4 uF
capacitor C2 : b -> gnd = 1 uF
load R : b -> gnd = 50 ohm
drive S at D
drive S2 off
operate D = 0.5, T = 10 us
"""
    found = startup(voltsec.read(text), 5, "v(C1)=10")
    assert found.moved["v(C1)"] == pytest.approx((10.0, 8.0))
    assert found.moved["v(C2)"] == pytest.approx((0.0, 8.0))
    lost = 4e-6 * 100 / 2 - 5e-6 * 64 / 2
    assert found.ledger(0.0, 1e-9).jumps["C1, C2"] == pytest.approx(lost, rel=1e-6)


def test_without_damping_it_never_settles() -> None:
    found = startup(voltsec.load("boost_current_load"))
    (response,) = found.responses
    assert response.rate is not None
    assert response.rate.undamped
    assert response.settled is None
    means = found["v(out)"].mean
    assert response.swing > 0.01 * means[-1]
    assert response.swing == pytest.approx(np.ptp(means[-110:]) / 2, rel=1e-3)


def test_a_window_that_ends_too_early_says_how_long_it_takes() -> None:
    short, long = startup(voltsec.load("boost_lossy"), 60), startup(voltsec.load("boost_lossy"))
    assert short.responses[0].settled is None
    assert short.responses[0].still is not None
    settled = long.responses[0].settled
    assert settled is not None
    assert 0.4 * settled < 60 * 10e-6 + short.responses[0].still * 10e-6 < 2.5 * settled


def test_starting_steady_nothing_happens() -> None:
    found = startup(voltsec.load("buck_lossy"), 30, "steady")
    series = found["v(out)"]
    assert np.ptp(series.mean) < 1e-9
    assert found.responses[0].settled == 0


def test_shared_flux_begins_with_common_ampere_turns() -> None:
    text = """source Vg : in -> gnd = 12 V
switch S : in -> a
inductor L1 : a -> gnd = 100 uH
inductor L2 : gnd -> b = 400 uH
diode D1 : b -> out
capacitor C : out -> gnd = 10 uF
load R : out -> gnd = 50 ohm
couple L1, L2 = 1
operate D = 0.4, T = 10 us
"""
    found = startup(voltsec.read(text), 3, "i(L1)=1, i(L2)=0.5")
    series = startup(voltsec.read(text), 3, "i(L1)=2")  # 1 A + 0.5 A at twice the turns
    assert found["v(out)"].mean == pytest.approx(series["v(out)"].mean, rel=1e-9)


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ({"periods": 0}, "1 to 100,000"),
        ({"periods": 1_000_000}, "1 to 100,000"),
        ({"start": "v(L)=3"}, "L begins with a current"),
        ({"start": "v(Cx)=3"}, "did you mean 'Co"),
        ({"start": "i(L)=3 V"}, "is in A"),
        ({"start": "v(Co)=3, v(Co)=4"}, "given twice"),
        ({"start": "stopped"}, "rest, steady or values"),
        ({"steps": ("R 10 -> 5",)}, 'written "'),
        ({"steps": ("Q: 10 -> 5",)}, "nothing called Q"),
        ({"steps": ("S: 10 -> 5",)}, "its duty is D"),
        ({"steps": ("L: 100 uH -> 50 uH",)}, "make energy out of nothing"),
        ({"steps": ("R: 3 ohm -> 5 ohm",)}, "R is 24 ohm then, not 3 ohm"),
        ({"steps": ("R: 24 V -> 5 V",)}, "is in ohm"),
        ({"steps": ("D: 0.5 -> 1.2",)}, "between 0 and 1"),
        ({"steps": ("R: 24 -> 24",)}, "no step"),
        ({"steps": ("R: 24 -> 5 at 1 ms",), "periods": 10}, "ends before the step"),
        ({"steps": ("R: 24 -> 5 at 9 s",)}, "comes after"),
        ({"steps": ("R: 24 -> 5",), "start": "rest"}, "needs its instant"),
    ],
)
def test_what_makes_no_sense_is_refused(options: dict, told: str) -> None:
    with pytest.raises(BadValues, match=told.replace("(", r"\(").replace(")", r"\)")):
        startup(voltsec.load("boost"), **options)


def test_missing_values_and_missing_states() -> None:
    text = SECOND_ORDER.format(ohm=1).replace(" = 100 uH", "")
    with pytest.raises(CircuitError) as missing:
        startup(voltsec.read(text))
    assert missing.value.faults[0].kind == "no-operating-point"
    assert "L has no value" in missing.value.faults[0].message
    shorted = """source Vg : in -> gnd = 12 V
inductor L : in -> gnd = 100 uH
switch S : in -> a
capacitor C : a -> gnd = 1 uF
load R : a -> gnd = 10 ohm
operate D = 0.5, T = 10 us
"""
    with pytest.raises(NoSteadyState):
        startup(voltsec.read(shorted), start="steady")
    assert isinstance(startup(voltsec.read(shorted), 20), Startup)  # but it can be followed: i(L) grows


@pytest.mark.parametrize(
    ("text", "expected"),
    [("0:2 ms", (0.0, 2e-3)), ("1:2ms", (1e-3, 2e-3)), ("500 us:2 ms", (5e-4, 2e-3)), ("0:0.5", (0.0, 0.5))],
)
def test_windows(text: str, expected: tuple[float, float]) -> None:
    assert read_window(text) == pytest.approx(expected)


@pytest.mark.parametrize("text", ["3", "2:1 ms", "a:b", "0:2 V", "-1:2 ms", ":"])
def test_windows_that_make_no_sense(text: str) -> None:
    with pytest.raises(BadValues, match="--window"):
        read_window(text)


def test_the_example_in_the_docstring_holds() -> None:
    assert doctest.testmod(module).failed == 0


def test_what_takes_too_long_ends_early_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("voltsec.practice.way.PATIENCE", 0.05)
    found = startup(voltsec.load("sepic_three_loads"), 90_000)
    assert "computing time" in found.stopped
    assert 0 < len(found.time) - 1 < 90_000
    assert startup(voltsec.load("buck"), 5).stopped == ""


HALVED = """source Vg : in -> gnd = 12 V
switch S1 : in -> a
switch S2 : a -> mid
switch S3 : mid -> b
switch S4 : b -> gnd
capacitor Cf : a -> b = 10 uF
capacitor Co : mid -> gnd = 22 uF
load R : mid -> gnd = 5 ohm
drive S1 at D
drive S3 with S1
drive S2 against S1
drive S4 with S2
operate D = 0.5, T = 10 us
"""
"""Capacitors on capacitors: most of the charge passes in no time."""


def test_jumps_and_currents_together_are_the_charge() -> None:
    """C*dv is what has flowed (the capacitor's law): the curve's integral and the jumps beside it."""
    found = startup(voltsec.read(HALVED), 12, show="i(Cf), v(Cf), i(Vg)")
    times, values = found.samples()
    jumps = found.jumps()
    assert set(jumps) == set(values) and all(len(one) == len(times) for one in jumps.values())
    flowed = np.cumsum(np.diff(times) * (values["i(Cf)"][1:] + values["i(Cf)"][:-1]) / 2)
    charge = np.cumsum(jumps["i(Cf)"]) + np.concatenate([[0.0], flowed])
    assert charge == pytest.approx(10e-6 * values["v(Cf)"], rel=1e-3, abs=1e-9)
    # the first instant: 10 uF and 22 uF in series at 12 V
    assert jumps["i(Vg)"][0] == pytest.approx(-12 / (1 / 10e-6 + 1 / 22e-6), rel=1e-9)
    assert not jumps["v(Cf)"].any()
