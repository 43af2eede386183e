"""The rest of the trade's small-signal tables: the canonical model, worked figures, coupled coils' ripple.

Sources: M1 is Erickson, Maksimovic, Fundamentals of Power Electronics, 2nd ed. (tables and examples as
re-derived in the project's references, section 6); M2 is Middlebrook, Cuk 1977 on coupled coils; S6 an
application note on the same.  The figures marked "own" were worked out by hand for those references.
"""

from __future__ import annotations

from math import log10, pi

import numpy as np
import pytest
import sympy

import voltsec
from tests.dynamics.models import model, response, same

s = sympy.Symbol("s")


def symbols(names: str) -> list[sympy.Symbol]:
    return [sympy.Symbol(name, positive=True) for name in names.split()]


# M1 section 7.5: M, Le, e and j of the canonical model, V positive in the direction of the load's arrow
CANONICAL = {
    "buck": ("D", "L", "V/D**2", "V/R"),
    "boost": (
        "1/(1 - D)",
        "L/(1 - D)**2",
        "V*(1 - s*L/((1 - D)**2*R))",
        "V/((1 - D)**2*R)",
    ),
    "buckboost": (
        "-D/(1 - D)",
        "L/(1 - D)**2",
        "-V/D**2*(1 - s*D*L/((1 - D)**2*R))",
        "-V/((1 - D)**2*R)",
    ),
}


@pytest.mark.parametrize("name", CANONICAL)
def test_canonical_model(name: str) -> None:
    """Input source e, current source j, a transformer 1 : M, then Le, C and R: what the responses make of it.

    From the source: Gvg = M F and Gvd = e M F with the filter's F; Zout is Le, C and R in parallel; the input
    draws j and M times the current of Le, which is Gvd (s C + 1/R).
    """
    D, L, C, R, Vg = symbols("D L Co R Vg")
    answer = voltsec.solve(voltsec.load(name))
    ratio, inductance, source, current = (
        sympy.sympify(text, locals={"D": D, "L": L, "R": R, "V": sympy.Symbol("V"), "s": s})
        for text in CANONICAL[name]
    )
    volts = {sympy.Symbol("V"): ratio * Vg}
    line, duty, impedance = (answer.transfer(control, "V", form="symbolic") for control in ("Vg", "D", "Io"))
    drawn = answer.transfer("D", "I", form="symbolic")
    assert same(line.subs(s, 0), ratio)
    assert same(duty / line, source.subs(volts))
    assert same(1 / impedance, 1 / (s * inductance) + s * C + 1 / R)
    assert same(drawn - ratio * (s * C + 1 / R) * duty, current.subs(volts))


def test_worked_buck_boost_in_the_words_of_the_book() -> None:
    """M1 section 8.2.1: 3.5 dB, 187.5 V or 45.5 dBV, 397.9 Hz (400 Hz there), Q 4 or 12 dB, 2652.6 Hz."""
    found = model(
        "source Vg : in -> gnd = 30 V\nswitch S : in -> a\ninductor L : a -> gnd = 160 uH\n"
        "diode D1 : out -> a\ncapacitor Co : out -> gnd = 160 uF\nload R : out -> gnd = 10 ohm\n"
        "operate D = 0.6, f = 100 kHz\n"
    )
    duty, line = response(found, "duty").averaged, response(found, "input").averaged
    assert duty is not None and line is not None
    assert line.dc_gain == pytest.approx(-1.5, rel=1e-9)
    assert 20 * log10(1.5) == pytest.approx(3.5, abs=0.05)
    assert 20 * log10(abs(duty.dc_gain)) == pytest.approx(45.5, abs=0.05)
    pole = duty.poles[0]
    assert abs(pole) / 2 / pi == pytest.approx(397.9, abs=0.05)
    quality = abs(pole) / (2 * abs(pole.real))
    assert quality == pytest.approx(4.0, abs=0.005) and 20 * log10(quality) == pytest.approx(12.0, abs=0.05)
    (zero,) = duty.zeros
    assert zero.real > 0 and zero.real / 2 / pi == pytest.approx(2652.6, abs=0.05)


def test_the_other_worked_figures() -> None:
    """Own: a step-up stage with f0 795.8 Hz, Q 5; a Cuk stage with 18 V."""
    boost = model(
        "source Vg : in -> gnd = 12 V\ninductor L : in -> a = 100 uH\nswitch S : a -> gnd\n"
        "diode D1 : a -> out\ncapacitor Co : out -> gnd = 100 uF\nload R : out -> gnd = 10 ohm\n"
        "operate D = 0.5, f = 100 kHz\n"
    )
    duty = response(boost, "duty").averaged
    assert duty is not None
    pole = duty.poles[0]
    assert abs(pole) / 2 / pi == pytest.approx(795.8, abs=0.05)
    assert abs(pole) / (2 * abs(pole.real)) == pytest.approx(5.0, abs=0.005)


@pytest.mark.parametrize("name", ["flyback", "iso_cuk", "iso_sepic", "iso_zeta"])
def test_a_transformer_leaves_the_duty_s_gain_in_terms_of_v(name: str) -> None:
    """S14: with a transformer Gd0 written with V is unchanged, V/(D D'), and Gg0 gains the turns ratio."""
    D, Vg = symbols("D Vg")
    answer = voltsec.solve(voltsec.load(name))
    duty = answer.transfer("D", "V", form="symbolic").subs(s, 0)
    line = answer.transfer("Vg", "V", form="symbolic").subs(s, 0)
    assert same(line, answer.gain)
    assert same(duty, answer.gain * Vg / (D * (1 - D)))


def test_ripple_of_coupled_coils_by_numbers() -> None:
    """Own: Cuk, 12 V, D = 0.4, 50 kHz: 0.480 A and 0.213 A alone; k = 2/3 leaves 0.480 A and below 1e-4 A.

    The exact periodic state has the capacitors' ripple in it as well, so large capacitors are taken.
    """
    text = (
        "source Vg : in -> gnd = 12 V\ninductor L1 : in -> a = 200 uH\nswitch S : a -> gnd\n"
        "capacitor C1 : a -> b = 10 mF\ndiode D1 : b -> gnd\ninductor L2 : out -> b = 450 uH\n"
        "capacitor Co : out -> gnd = 10 mF\nload R : out -> gnd = 5 ohm\n{}operate D = 0.4, f = 50 kHz\n"
    )
    alone = voltsec.solve(voltsec.read(text.format(""))).numbers
    together = voltsec.solve(voltsec.read(text.format("couple L1, L2 = 0.6666666666666667\n"))).numbers
    assert alone is not None and together is not None
    assert alone.ripple["L1"] == pytest.approx(0.480, abs=5e-4)
    assert alone.ripple["L2"] == pytest.approx(0.213, abs=5e-4)
    assert together.ripple["L1"] == pytest.approx(0.480, abs=5e-4)
    assert together.ripple["L2"] is not None and together.ripple["L2"] < 2e-4


def test_equal_coupled_coils_are_as_large_as_one_plus_k() -> None:
    """M2: equal windings at one voltage have the ripple of (1 + k) L each; twice L for k = 1 (S16)."""
    D, T, L, k, Vg = symbols("D T L k Vg")
    text = (
        "source Vg : in -> gnd\ninductor L1 : in -> a\nswitch S : a -> gnd\ncapacitor C1 : a -> b\n"
        "inductor L2 : gnd -> b\ndiode D1 : b -> out\ncapacitor Co : out -> gnd\nload R : out -> gnd\n"
        "couple M : L1, L2\n"
    )
    mode = voltsec.solve(voltsec.read(text)).modes[0]
    L1, L2, M = symbols("L1 L2 M")
    put = {L1: L, L2: L, M: k * L}
    for coil in ("L1", "L2"):
        told = mode.ripple[coil]
        assert told is not None
        # the magnitude stands there, k below one or not
        assert same(told.subs(put, simultaneous=True) ** 2, (Vg * D * T / ((1 + k) * L)) ** 2)


LAMP = """source Vg : in -> gnd = 12 V
inductor L : in -> a = 47 uH { resistance 0.2 ohm }
switch S : a -> gnd { resistance 50 mohm }
diode D1 : a -> out { drop 0.4 V }
capacitor Co : out -> gnd = 22 uF { resistance 30 mohm }
load R : out -> gnd = 8 ohm
operate D = 0.4, f = 200 kHz
"""


@pytest.mark.parametrize("step", [0.002, -0.002])
def test_a_step_of_the_duty_as_python_control_computes_it(step: float) -> None:
    """The averaged model's step response by another library, against the stage followed period by period."""
    control = pytest.importorskip("control")
    answer = voltsec.solve(voltsec.read(LAMP))
    told = answer.transfer("D", "V", form="control")
    period, count = 5e-6, 240
    followed = answer.startup(periods=count, steps=(f"D: 0.4 -> {0.4 + step}",), show="v(out)")
    assert followed.start == "steady" and len(followed.sections) == 1
    course = followed["v(out)"].mean
    _, wanted = control.step_response(told, T=np.arange(2 * count) * period / 2)
    wanted = wanted[1::2]  # in the middle of each period
    change = course - answer.numbers.output_voltage
    # edges move within the period: half a period earlier or later is what averaging leaves open
    assert np.abs(change - step * wanted)[4:].max() < 0.02 * abs(step * told.dcgain())
    assert change[-1] == pytest.approx(step * float(told.dcgain().real), rel=0.02)


def test_python_control_finds_the_poles_and_the_margins_of_a_loop() -> None:
    """Boost, ideal: the crossover of a slow integrator loop is its gain times Gd0 (by hand)."""
    control = pytest.importorskip("control")
    answer = voltsec.solve(voltsec.load("boost"))
    plant = answer.transfer("D", "V", form="control")
    gain = 1.0
    loop = plant * control.TransferFunction([gain], [1, 0])
    _, phase_margin, _, crossover = control.margin(loop)
    at = float(plant.dcgain().real) * gain
    assert crossover == pytest.approx(at, rel=0.01) and phase_margin == pytest.approx(90.0, abs=1.0)
    told = sorted(control.poles(plant), key=lambda pole: pole.imag)
    mine = sorted(response(model("boost"), "duty").averaged.poles, key=lambda pole: pole.imag)
    assert told == pytest.approx(mine, rel=1e-9)
