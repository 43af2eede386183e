"""The reduced model of discontinuous conduction against the textbook's table and the exact period map."""

from __future__ import annotations

import pytest
import sympy

import voltsec
from tests.dynamics.models import model, response, same
from voltsec.dynamics.averaged import S
from voltsec.dynamics.discontinuous import reduced_model, to_first_order

# Erickson, Maksimovic, 2nd ed., table 11.3 (REFERENCES section 6: M1, re-derived), Vg V/M
TABLE = {
    "buck": ("2*V/D*(1 - M)/(2 - M)", "(2 - M)/((1 - M)*R*Co)", "D/(D + d2)", {"R": 400.0}),
    "boost": ("2*V/D*(M - 1)/(2*M - 1)", "(2*M - 1)/((M - 1)*R*Co)", "(D + d2)/d2", {"R": 500.0}),
    "buckboost": ("V/D", "2/(R*Co)", "-D/d2", {"R": 200.0}),
    "flyback": ("V/D", "2/(R*Co)", "n*D/d2", {"R": 400.0}),
}


@pytest.mark.parametrize("name", TABLE)
def test_table(name: str) -> None:
    control, pole, gain, _ = TABLE[name]
    found = model(name, "DCM")
    names = {n: sympy.Symbol(n, positive=True) for n in ("D", "d2", "Vg", "R", "Co", "n")}
    m = sympy.sympify(gain, locals=names)
    put = {"M": m, "V": m * names["Vg"]} | names
    duty, line = response(found, "duty").factored, response(found, "input").factored
    assert duty is not None and line is not None
    assert same(duty.gain, sympy.sympify(control, locals=put))
    assert same(line.gain, m)
    (one,) = duty.poles
    assert one.omega is not None and same(one.omega, sympy.sympify(pole, locals=put)) and duty.zeros == ()


@pytest.mark.parametrize("name", TABLE)
def test_pole_and_gain_of_the_exact_period_map(name: str) -> None:
    """REFERENCES: the table's poles were checked by switching to 1.5 %."""
    found = model(name, None, **TABLE[name][3])
    duty = response(found, "duty")
    assert found.reduced and duty.averaged is not None and duty.fitted is not None
    assert duty.fitted.poles[0].real == pytest.approx(duty.averaged.poles[0].real, rel=0.015)
    assert duty.fitted.dc_gain == pytest.approx(duty.averaged.dc_gain, rel=0.01)


LOSSY = {"boost_lossy": 500.0, "buck_lossy": 150.0, "buckboost_lossy": 200.0}
# Made up for the logger: one parasitic more than the model can be written with as a whole.
EVERY_PART = """source Vg : in -> gnd = 12 V
switch S : in -> x { resistance 30 mohm }
diode D1 : gnd -> x { drop 0.5 V, resistance 20 mohm }
inductor L : x -> out = 10 uH { resistance 40 mohm }
capacitor Co : out -> gnd = 100 uF { resistance 10 mohm }
load R : out -> gnd = 50 ohm
operate D = 0.3, T = 10 us
"""


@pytest.mark.parametrize("name", [*LOSSY, EVERY_PART], ids=[*LOSSY, "every part"])
def test_with_losses_gain_and_pole_are_those_of_the_exact_period_map(name: str) -> None:
    """Every part but the capacitor, there that too, has a resistance, the diode a drop; currents bend."""
    found = model(name, None, R=LOSSY.get(name, 50.0))
    duty = response(found, "duty")
    assert found.reduced and duty.averaged is not None and duty.fitted is not None
    assert duty.averaged.dc_gain == pytest.approx(duty.fitted.dc_gain, rel=5e-3)
    assert duty.averaged.poles[0].real == pytest.approx(duty.fitted.poles[0].real, rel=0.015)
    assert (duty.factored is None) == (name == EVERY_PART) and duty.shown is not None
    line = response(found, "input")
    assert line.averaged is not None and line.fitted is not None
    assert line.averaged.dc_gain == pytest.approx(line.fitted.dc_gain, rel=5e-3)


@pytest.mark.parametrize("name", LOSSY)
def test_one_parasitic_at_a_time_gives_the_first_order(name: str) -> None:
    """It is what the whole model is with a hundredth of the resistances and drops."""
    found = model(name, None, R=LOSSY[name])
    builder = found.case
    whole, near = (step(builder, None) for step in (reduced_model, to_first_order))
    assert near.first_order and not whole.first_order
    assert found.point is not None
    small = {p: 0.01 * found.point[p] for p in voltsec.load(name).parasitics}
    at = {**found.point, **found.shares, **small, S: 1000.0}
    for key, ratio in near.responses.items():
        ideal = whole.responses[key].value(whole.ring, {**at, **dict.fromkeys(small, 0.0)})
        exact = whole.responses[key].value(whole.ring, at)
        assert ratio.value(near.ring, at) - ideal == pytest.approx(exact - ideal, rel=0.01)


@pytest.mark.parametrize("name", [*LOSSY, "sepic_lossy"])
def test_what_is_left_out_is_of_second_order(name: str) -> None:
    """Half the resistances and drops leave a quarter of what the shortened formula misses."""
    small = voltsec.load(name).parasitics
    found = model(name, None, **({"R": LOSSY[name]} if name in LOSSY else {}))
    duty = response(found, "duty")
    assert duty.near is not None and duty.factored is not None and found.point is not None
    missed = []
    for part in (1.0, 0.5, 0.25):
        values = {**found.point, **found.shares, **{p: part * found.point[p] for p in small}}
        put = {sympy.Symbol(n, positive=True): value for n, value in values.items()}
        near, whole = (float(one.gain.subs(put)) for one in (duty.near, duty.factored))
        missed.append(abs(near / whole - 1))
    assert 0 < missed[0] < 0.02
    assert missed[1] / missed[0] == pytest.approx(0.25, rel=0.15)
    assert missed[2] / missed[1] == pytest.approx(0.25, rel=0.08)


def test_the_circulating_current_is_a_state_of_the_fourth_order_stage() -> None:
    """In SEPIC's idle interval L1, L2 and C1 go on ringing: a pair at 1/sqrt((L1 + L2) C1) stays (M2)."""
    duty = response(model("sepic", None, R=200.0), "duty")
    assert duty.fitted is not None
    (pair,) = [pole for pole in duty.fitted.poles if pole.imag > 0]
    assert abs(pair) == pytest.approx((136e-6 * 10e-6) ** -0.5, rel=0.01)


def test_coils_of_one_flux() -> None:
    """A flyback stage of two coils with k = 1: the same pole as with a transformer, turns sqrt(L2/L1)."""
    text = (
        "source Vg : in -> gnd = 12 V\ninductor L1 : in -> a = 40 uH\nswitch S : a -> gnd\n"
        "inductor L2 : gnd -> b = 10 uH\ndiode D1 : b -> out\ncapacitor Co : out -> gnd = 47 uF\n"
        "load R : out -> gnd = 50 ohm\ncouple L1, L2 = 1\noperate D = 0.3, f = 100 kHz\n"
    )
    found = model(text)
    duty = response(found, "duty")
    assert found.reduced and duty.averaged is not None and duty.fitted is not None
    assert duty.averaged.poles[0].real == pytest.approx(-2 / (50 * 47e-6), rel=1e-9)
    assert duty.fitted.poles[0].real == pytest.approx(duty.averaged.poles[0].real, rel=0.02)
