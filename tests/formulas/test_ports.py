"""Output ripple with series resistance, and continuous or pulsating currents at the ports."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

import voltsec
from voltsec.formulas.ports import input_current, output_current, output_ripple
from voltsec.practice.sweep import sweep
from voltsec.tableau.expression import symbol

BUCK = """source Vg : in -> gnd = 12 V
switch S : in -> a
diode D1 : gnd -> a
inductor L : a -> out = {coil}
capacitor Co : out -> gnd = {farad} {{ resistance rc = {ohm} }}
load R : out -> gnd = 5 ohm
operate D = {duty}, T = 5 us
"""


def ripple(text: str, **values: float) -> float:
    answer = voltsec.solve(voltsec.read(text))
    return float(sweep(answer, values, ("output_ripple",), most_exact=0)["output_ripple"])


@pytest.mark.parametrize("duty", [0.3, 0.6])
@pytest.mark.parametrize("farad, ohm", [("100 uF", "1 mohm"), ("10 uF", "50 mohm"), ("47 uF", "60 mohm")])
def test_sum_of_both_parts_point_by_point(duty: float, farad: str, ohm: str) -> None:
    """Own check: charge and resistance drop of a triangular current, added up on a fine time grid."""
    text = BUCK.format(coil="47 uH", farad=farad, ohm=ohm, duty=duty)
    answer = voltsec.solve(voltsec.read(text))
    result = sweep(answer, {}, ("output_ripple", "ripple.L"), most_exact=0)
    values = {name: float(value) for name, value in answer.circuit.values.items()}
    delta = float(result["ripple.L"])
    load = values["R"] / (values["R"] + values["rc"])  # share of the coil's ripple that the capacitor takes
    t = np.linspace(0, 1, 400_001)
    ramp = np.where(t < duty, -0.5 + t / duty, 0.5 - (t - duty) / (1 - duty)) * delta * load
    charge = np.concatenate([[0], np.cumsum((ramp[1:] + ramp[:-1]) / 2 * np.diff(t))]) * values["T"]
    voltage = charge / values["Co"] + values["rc"] * ramp
    assert float(result["output_ripple"]) == pytest.approx(float(np.ptp(voltage)), rel=1e-6)


def test_resistance_alone_counts_when_it_is_large() -> None:
    """M20 (from memory): rc * delta iL is exact when rc C >= max(D, D') T/2; rc read as rc || R."""
    text = BUCK.format(coil="47 uH", farad="100 uF", ohm="30 mohm", duty=0.4)  # 3 us >= 1.5 us
    result = sweep(voltsec.solve(voltsec.read(text)), {}, ("output_ripple", "ripple.L"), most_exact=0)
    parallel = 0.03 * 5 / 5.03
    assert float(result["output_ripple"]) == pytest.approx(parallel * float(result["ripple.L"]), rel=1e-9)


def test_sum_of_peaks_is_only_a_bound() -> None:
    """S15: delta iL (rc + T/(8 C)) is an upper bound for the step-down stage."""
    text = BUCK.format(coil="47 uH", farad="22 uF", ohm="20 mohm", duty=0.4)
    result = sweep(voltsec.solve(voltsec.read(text)), {}, ("output_ripple", "ripple.L"), most_exact=0)
    bound = float(result["ripple.L"]) * (0.02 + 5e-6 / (8 * 22e-6))
    assert 0.5 * bound < float(result["output_ripple"]) < bound


def test_published_boost_ripple() -> None:
    """S3, example 4: 9 to 40 V, 33 uH, 9.4 uF with 1.5 mohm: 85 mV in all (85.7 mV checked)."""
    text = """source Vg : in -> gnd = 9 V
inductor L : in -> a = 33 uH
switch S : a -> gnd
diode D1 : a -> out { drop 0.5 V }
capacitor Co : out -> gnd = 9.4 uF { resistance rc = 1.5 mohm }
load R : out -> gnd = 80 ohm
operate D = 0.7778, f = 500 kHz
"""
    assert 1000 * ripple(text) == pytest.approx(85.7, abs=1.0)


def test_without_resistance_it_is_the_capacitors_ripple() -> None:
    answer = voltsec.solve(voltsec.load("cuk"))
    result = sweep(answer, {"R": np.array([5.0, 10.0, 300.0])}, ("output_ripple", "ripple.Co"), most_exact=0)
    assert result["output_ripple"] == pytest.approx(result["ripple.Co"])


def test_closed_forms() -> None:
    """Section 4 of the references: V D T/(R C) for the step-up stage; rc || R times delta iL (M20)."""
    boost = output_ripple(voltsec.solve(voltsec.load("boost")).engine.builders[0][1])
    D, R, T, Vg, Co = (symbol(name) for name in ("D", "R", "T", "Vg", "Co"))
    assert boost is not None
    small, where = boost.expression.args[0]  # of two cases the one of small ripple
    assert small.equals(Vg * D * T / ((1 - D) * R * Co))
    assert where == (symbol("K") >= (1 - D) ** 2)  # the diode's current stays above the load's
    text = BUCK.format(coil="47 uH", farad="1000 uF", ohm="300 mohm", duty=0.4)
    answer = voltsec.solve(voltsec.read(text))
    buck = output_ripple(answer.engine.builders[0][1])
    rc = symbol("rc")
    assert buck is not None
    assert buck.expression.equals(answer.modes[0].ripple["L"] * rc * R / (rc + R))


@pytest.mark.parametrize(
    "name, input_flows, input_share, output_flows, output_share",
    [
        ("buck", False, "D", True, "1"),
        ("boost", True, "1", False, "1 - D"),
        ("buckboost", False, "D", False, "1 - D"),
        ("cuk", True, "1", True, "1"),
        ("sepic", True, "1", False, "1 - D"),
        ("zeta", False, "D", True, "1"),
    ],
)
def test_continuous_and_pulsating(
    name: str, input_flows: bool, input_share: str, output_flows: bool, output_share: str
) -> None:
    """M1 chapter 6 (from memory): which ports of the six basic stages see pulses."""
    builder = voltsec.solve(voltsec.load(name)).engine.builders[0][1]
    into, out = input_current(builder), output_current(builder)
    assert into is not None and out is not None
    assert (into.continuous, str(into.share)) == (input_flows, input_share)
    assert (out.continuous, str(out.share)) == (output_flows, output_share)
    numbers = voltsec.solve(voltsec.load(name)).numbers.formulas
    assert numbers is not None and numbers.input_current is not None and numbers.output_current is not None
    point = {symbol(key): value for key, value in numbers.point.items()}
    for port, formula in ((numbers.input_current, into), (numbers.output_current, out)):
        assert port.continuous == formula.continuous
        assert port.share == pytest.approx(float(formula.share.subs(point)), rel=1e-9)
        assert port.ripple == pytest.approx(float(formula.ripple.subs(point)), rel=1e-6)


@pytest.mark.parametrize(
    "name, period, input_share, output_share",
    [
        ("buck", 400e-6, "D", "D + d2"),
        ("boost", 400e-6, "D + d2", "d2"),
        ("buckboost", 400e-6, "D", "sqrt(K)"),
    ],
)
def test_pulses_in_discontinuous_conduction(
    name: str, period: float, input_share: str, output_share: str
) -> None:
    """M1 chapter 5 (from memory): one coil, idle for the rest of the period; its current is a triangle."""
    answer = voltsec.solve(voltsec.load(name))
    builder = dict(answer.engine.builders)["DCM"]
    into, out = input_current(builder), output_current(builder)
    assert into is not None and out is not None
    assert (into.continuous, out.continuous) == (False, False)
    assert (str(into.share), str(out.share)) == (input_share, output_share)
    numbers = answer.at(T=period).formulas
    assert numbers.mode == "DCM"
    point, volt = numbers.point, numbers.output_voltage
    duty, henry = point["D"], point["L"]
    charging = point["Vg"] - volt if name == "buck" else point["Vg"]
    falling = {"buck": volt, "boost": volt - point["Vg"], "buckboost": -volt}[name]
    peak = charging * duty * period / henry
    fall = henry * peak / falling / period
    flows = {"buck": (duty, duty + fall), "boost": (duty + fall, fall), "buckboost": (duty, fall)}[name]
    for port, share in zip((numbers.input_current, numbers.output_current), flows, strict=True):
        assert port is not None and not port.continuous
        assert port.share == pytest.approx(share, rel=1e-9)
        assert port.ripple == pytest.approx(peak, rel=1e-9)


@pytest.mark.parametrize("farad, ohm", [("100 uF", "1 mohm"), ("22 uF", "20 mohm"), ("47 uF", "0.3 ohm")])
def test_output_ripple_in_discontinuous_conduction(farad: str, ohm: str) -> None:
    """Own check: exponentials of coil and series resistance, their charge and drop on a fine time grid."""
    text = BUCK.format(coil="1 uH", farad=farad, ohm=ohm, duty=0.4)
    answer = voltsec.solve(voltsec.read(text))
    numbers = answer.numbers.formulas
    assert numbers is not None and numbers.mode == "DCM"
    values = numbers.point
    ohms, duty, period, volts = values["rc"], values["D"], values["T"], values["Vg"]
    share = values["R"] / (values["R"] + ohms)  # of the coil's current that the capacitor takes
    lag = values["L"] / (share * ohms) / period
    t = np.linspace(0, 1, 400_001)

    def coil(inner: float) -> np.ndarray:
        """Ampere over the period for a capacitor voltage: exponential both ways, until it runs dry."""
        rising = (volts - share * inner) / (share * ohms) * -np.expm1(-np.minimum(t, duty) / lag)
        peak, floor = rising[-1], inner / ohms
        falling = (peak + floor) * np.exp(-(t - duty) / lag) - floor
        return np.where(t < duty, rising, np.maximum(falling, 0))

    inner = brentq(lambda v: np.trapezoid(coil(v), t) - v / values["R"], 0.1, volts)
    current = coil(inner) * share - inner / (values["R"] + ohms)
    charge = np.concatenate([[0], np.cumsum((current[1:] + current[:-1]) / 2 * np.diff(t))]) * period
    voltage = charge / values["Co"] + ohms * current
    assert numbers.output_ripple == pytest.approx(float(np.ptp(voltage)), rel=1e-3 if ohms > 0.1 else 1e-5)
    swept = sweep(answer, {}, ("output_ripple",), most_exact=0)["output_ripple"]
    assert numbers.output_ripple == pytest.approx(float(swept), rel=1e-9)


def test_numbers_without_formulas_see_the_ports_too() -> None:
    """A mode solved point by point: the input current is the first coil's, the output's is the diode's."""
    numbers = voltsec.solve(voltsec.load("sepic_lossy")).at(T=80e-6).formulas
    assert numbers.mode != "CCM" and numbers.input_current is not None and numbers.output_current is not None
    assert numbers.input_current.ripple == pytest.approx(numbers.ripple["L1"], rel=1e-6)
    assert numbers.output_current.ripple == pytest.approx(numbers.stress["D1"]["current_peak"], rel=1e-6)
    assert numbers.output_ripple is not None and numbers.output_ripple > numbers.ripple["Co"]


def test_a_filtered_input_is_continuous_without_ripple() -> None:
    """With its capacitor's voltage taken as constant, a filter's coil has no ripple."""
    numbers = voltsec.solve(voltsec.load("buck_input_filter")).numbers.formulas
    assert numbers is not None and numbers.input_current is not None
    assert numbers.input_current.continuous and numbers.input_current.ripple < 1e-9


def test_input_ripple_of_a_boost_is_its_coils() -> None:
    answer = voltsec.solve(voltsec.load("boost"))
    port = input_current(answer.engine.builders[0][1])
    assert port is not None and port.ripple.equals(answer.modes[0].ripple["L"])
