"""A test of the test tool: the time-domain integration against published formulas and figures.

Nothing here touches the solver.  Sources are named in ``published.SOURCES`` by the codes in the tests.
"""

from __future__ import annotations

from math import sqrt

import pytest

import voltsec

from .published import PUBLISHED, SOURCES, Published
from .switched import Averages, periodic_averages, with_small_ripple

VOLTAGE, LOAD, PERIOD = 12.0, 10.0, 20e-6
TURNS = {"n": 2.0, "m": 0.5, "nr": 1.0}


def averages_of(key: str, values: dict[str, float], large: float = 50.0) -> Averages:
    """Periodic averages of a published converter; coils not in ``values`` are ``large`` times R T."""
    circuit = voltsec.read(PUBLISHED[key].netlist)
    point = {"Vg": VOLTAGE, "R": LOAD, "R2": LOAD, "T": PERIOD, **TURNS, **values}
    coils = [q.symbol for q in circuit.quantities if q.unit == "H"]
    point = {**{symbol: large * point["R"] * point["T"] for symbol in coils}, **point}
    return periodic_averages(circuit, with_small_ripple(circuit, point, 1e6))


def formula(text: str, duty: float) -> float:
    """Value of a formula of ``published`` at a duty ratio."""
    return eval(text, {"__builtins__": {}}, {"D": duty, "Q": 1 - duty, **TURNS})


@pytest.mark.parametrize("key", PUBLISHED)
def test_continuous_conduction_agrees_with_the_literature(key: str) -> None:
    row: Published = PUBLISHED[key]
    for duty in row.duties:
        # The core of the forward converter is emptied every period; its coil L stays continuous.
        found = averages_of(key, {"D": duty})
        assert found.gain == pytest.approx(formula(row.gain, duty), rel=1e-3)
        for name, text in row.capacitor_voltages.items():
            expected = formula(text, duty) * VOLTAGE
            assert found.capacitor_voltages[name] == pytest.approx(expected, rel=1e-3), name
        for name, text in row.inductor_currents.items():
            expected = formula(text, duty) * VOLTAGE / LOAD
            assert found.inductor_currents[name] == pytest.approx(expected, rel=2e-3), name
        for name, text in row.peak_voltages.items():
            assert found.peak_voltages[name] == pytest.approx(formula(text, duty) * VOLTAGE, rel=1e-2), name
        assert found.efficiency == pytest.approx(1.0, abs=3e-3)


def test_every_source_of_a_row_is_named() -> None:
    codes = {word.rstrip(";,") for row in PUBLISHED.values() for word in row.source.split()}
    used = {code for code in codes if code[:1] in ("M", "S") and code[1:].isdigit()}
    assert used and used <= set(SOURCES)


# M1 chapter 5 (buck, boost, buck-boost), M1 and M2 (Cuk), S23 (flyback); the isolated ones derived.
# Entry: effective inductance by coil of 1 H (all coils equal), Kcrit, |M|.
DISCONTINUOUS = {
    "buck": (1.0, lambda D: 1 - D, lambda D, K: 2 / (1 + sqrt(1 + 4 * K / D**2))),
    "boost": (1.0, lambda D: D * (1 - D) ** 2, lambda D, K: (1 + sqrt(1 + 4 * D**2 / K)) / 2),
    "buckboost": (1.0, lambda D: (1 - D) ** 2, lambda D, K: D / sqrt(K)),
    "cuk": (0.5, lambda D: (1 - D) ** 2, lambda D, K: D / sqrt(K)),
    "sepic": (0.5, lambda D: (1 - D) ** 2, lambda D, K: D / sqrt(K)),
    "zeta": (0.5, lambda D: (1 - D) ** 2, lambda D, K: D / sqrt(K)),
    "flyback": (4.0, lambda D: (1 - D) ** 2, lambda D, K: 2 * D / sqrt(K)),
    "iso_sepic": (2.0, lambda D: (1 - D) ** 2, lambda D, K: 2 * D / sqrt(K)),
    "iso_zeta": (0.8, lambda D: (1 - D) ** 2, lambda D, K: 2 * D / sqrt(K)),
    "iso_cuk": (2 / 3, lambda D: (1 - D) ** 2, lambda D, K: 2 * D / sqrt(K)),
}


@pytest.mark.parametrize("key", DISCONTINUOUS)
@pytest.mark.parametrize("part", [0.2, 0.4, 0.8])
def test_discontinuous_conduction_agrees_with_the_literature(key: str, part: float) -> None:
    effective, critical, gain = DISCONTINUOUS[key]
    for duty in (0.3, 0.5):
        factor = part * critical(duty)
        coil = factor * LOAD * PERIOD / (2 * effective)
        found = averages_of(key, {"D": duty}, large=coil / (LOAD * PERIOD))
        assert abs(found.gain) == pytest.approx(gain(duty, factor), rel=1e-3)
        assert len(found.sequence()) == 3, found.intervals


@pytest.mark.parametrize("key", DISCONTINUOUS)
def test_boundary_of_continuous_conduction(key: str) -> None:
    effective, critical, _ = DISCONTINUOUS[key]
    for duty, side, intervals in ((0.4, 0.97, 3), (0.4, 1.03, 2)):
        coil = side * critical(duty) * LOAD * PERIOD / (2 * effective)
        found = averages_of(key, {"D": duty}, large=coil / (LOAD * PERIOD))
        assert len(found.sequence(1e-4)) == intervals, found.intervals


LOSSY = """
    source Vg : in -> gnd = 12 V
    {stage}
    capacitor Co : out -> gnd
    load R : out -> gnd = 10 ohm
    operate D = 0.6, T = 20 us
"""
COIL = "= 10 mH {{ resistance 0.1 ohm }}".replace("{{", "{").replace("}}", "}")
SWITCH, DIODE = "{ resistance 50 mohm }", "{ resistance 20 mohm, drop 0.5 V }"
LOSSY_STAGES = {
    # Output and efficiency from M1 sections 3.2 to 3.5 and the formulas derived like them.
    "boost": (f"inductor L : in -> a {COIL}", "a -> gnd", "a -> out", 27.158, 0.9053),
    "buck": (f"inductor L : a -> out {COIL}", "in -> a", "gnd -> a", 6.9047, 0.9590),
    "buckboost": (f"inductor L : a -> gnd {COIL}", "in -> a", "out -> a", -16.110, 0.8950),
}


@pytest.mark.parametrize("key", LOSSY_STAGES)
def test_losses_agree_with_the_literature(key: str) -> None:
    coil, switch, diode, voltage, efficiency = LOSSY_STAGES[key]
    stage = "\n".join([coil, f"switch S : {switch} {SWITCH}", f"diode D1 : {diode} {DIODE}"])
    circuit = voltsec.read(LOSSY.format(stage=stage))
    found = periodic_averages(circuit, with_small_ripple(circuit, {}, 1e6))
    assert found.output_voltage == pytest.approx(voltage, rel=3e-4)
    assert found.efficiency == pytest.approx(efficiency, abs=3e-4)


# Worked with real capacitors: output, a coil's average and largest current, output ripple.
WORKED = [
    # M18.
    (
        "buck",
        {"Vg": 50, "D": 0.4, "T": 50e-6, "L": 400e-6, "Co": 100e-6, "R": 20},
        20,
        ("L", 1, 1.75),
        0.0939,
    ),
    (
        "boost",
        {"Vg": 12, "D": 0.6, "T": 40e-6, "L": 120e-6, "Co": 48e-6, "R": 50},
        30,
        ("L", 1.5, 2.7),
        0.306,
    ),
    (
        "buck",
        {"Vg": 24, "D": 0.4, "T": 1e-4, "L": 200e-6, "Co": 1e-3, "R": 20},
        13.92,
        ("L", 0.696, 2.016),
        None,
    ),
    (
        "boost",
        {"Vg": 20, "D": 0.6, "T": 1 / 15e3, "L": 1e-4, "Co": 5e-3, "R": 50},
        60,
        ("L", 3.6, 8.0),
        None,
    ),
    # S13: 5 V to 15 V.
    (
        "boost",
        {"Vg": 5, "D": 2 / 3, "T": 40e-6, "L": 150e-6, "Co": 220e-6, "R": 30},
        15,
        ("L", 1.5, 1.944),
        0.0606,
    ),
    (
        "sepic",
        {"Vg": 9, "D": 0.4, "T": 1e-5, "L1": 90e-6, "L2": 90e-6, "C1": 80e-6, "Co": 80e-6, "R": 2},
        6,
        ("L2", 3, 3.2),
        0.15,
    ),
]


@pytest.mark.parametrize(("key", "values", "voltage", "coil", "ripple"), WORKED)
def test_worked_examples(key, values, voltage, coil, ripple) -> None:
    found = periodic_averages(voltsec.read(PUBLISHED[key].netlist), values)
    assert found.output_voltage == pytest.approx(voltage, rel=4e-3)
    name, average, peak = coil
    assert found.inductor_currents[name] == pytest.approx(average, rel=6e-3)
    assert found.peak_currents[name] == pytest.approx(peak, rel=6e-3)
    if ripple is not None:
        assert found.ripple["Co"] == pytest.approx(ripple, rel=6e-3)


def test_root_mean_squares_of_a_sepic() -> None:
    """S12 with its slip corrected: 5 V to 12 V, 4 ohm, 100 kHz; C1 carries 4.70 A."""
    values = {"Vg": 5, "D": 12 / 17, "T": 1e-5, "L1": 10e-6, "L2": 20e-6, "C1": 50e-6, "Co": 50e-6, "R": 4}
    found = periodic_averages(voltsec.read(PUBLISHED["sepic"].netlist), values)
    assert found.ripple["L1"] == pytest.approx(3.529, rel=1e-2)
    assert found.ripple["L2"] == pytest.approx(1.765, rel=1e-2)
    assert found.peak_currents["L1"] == pytest.approx(8.965, rel=1e-2)
    assert found.ripple["C1"] == pytest.approx(0.42, rel=1e-2)
    assert found.rms_currents["C1"] == pytest.approx(4.70, rel=1e-2)


def test_coupling_that_frees_one_winding_from_ripple() -> None:
    """M2: with k = sqrt(L1/L2) the second winding of a Cuk stage carries direct current."""
    values = {"Vg": 12, "D": 0.4, "T": 20e-6, "L1": 200e-6, "L2": 450e-6, "R": 10}
    plain = voltsec.read(PUBLISHED["cuk"].netlist)
    coupled = voltsec.read(PUBLISHED["cuk"].netlist + "\ncouple L1, L2 = 0.6666666667")
    apart = periodic_averages(plain, with_small_ripple(plain, values, 1e6))
    together = periodic_averages(coupled, with_small_ripple(coupled, values, 1e6))
    assert (apart.ripple["L1"], apart.ripple["L2"]) == pytest.approx((0.480, 0.2133), rel=1e-3)
    assert together.ripple["L1"] == pytest.approx(0.480, rel=1e-3)
    assert together.ripple["L2"] < 1e-3


def test_currents_and_powers_balance() -> None:
    """Direct current through no capacitor, direct voltage across no coil, no power lost on the way."""
    found = averages_of("modified_sepic", {"D": 0.45}, large=0.05)
    circuit = voltsec.read(PUBLISHED["modified_sepic"].netlist)
    for capacitor in circuit.capacitors:
        assert abs(found.average_currents[capacitor.name]) < 1e-4
    for coil in circuit.inductors:
        assert abs(found.average_voltages[coil.name]) < 1e-3
    assert sum(found.powers.values()) == pytest.approx(0.0, abs=1e-3)
