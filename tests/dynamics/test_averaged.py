"""The averaged small-signal model against textbook tables, worked figures and scipy's state space."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
import sympy
from scipy import signal

import voltsec
from tests.dynamics.models import model, ratio, response, same

# Erickson, Maksimovic, Fundamentals of Power Electronics, 2nd ed., table 8.2 (REFERENCES section 6: M1, S14)
TABLE = {
    "buck": ("D", "Vg", "1/sqrt(L*Co)", "R*sqrt(Co/L)", None),
    "boost": ("1/(1 - D)", "Vg/(1 - D)**2", "(1 - D)/sqrt(L*Co)", "(1 - D)*R*sqrt(Co/L)", "(1 - D)**2*R/L"),
    "buckboost": (
        "-D/(1 - D)",
        "-Vg/(1 - D)**2",
        "(1 - D)/sqrt(L*Co)",
        "(1 - D)*R*sqrt(Co/L)",
        "(1 - D)**2*R/(D*L)",
    ),
}


@pytest.mark.parametrize("name", TABLE)
def test_table_of_basic_stages(name: str) -> None:
    line, control, omega, quality, zero = TABLE[name]
    found = model(name)
    duty, source = response(found, "duty").factored, response(found, "input").factored
    assert duty is not None and source is not None
    assert same(duty.gain, control) and same(source.gain, line)
    for one in (duty, source):
        (pole,) = one.poles
        assert pole.omega is not None and pole.quality is not None and not pole.right
        assert same(pole.omega**2, f"({omega})**2") and same(pole.quality**2, f"({quality})**2")
    assert source.zeros == ()
    if zero is None:
        assert duty.zeros == ()
    else:
        (one,) = duty.zeros
        assert one.right and one.omega is not None and same(one.omega, zero)


# REFERENCES section 6, worked numbers: the buck-boost of M1 section 8.2.1, the others recomputed there
WORKED = [
    (
        "source Vg : in -> gnd = 30 V\nswitch S : in -> a\ninductor L : a -> gnd = 160 uH\n"
        "diode D1 : out -> a\ncapacitor Co : out -> gnd = 160 uF\nload R : out -> gnd = 10 ohm\n"
        "operate D = 0.6, f = 100 kHz\n",
        -187.5,
        [-312.5 - 2480.4j, -312.5 + 2480.4j],
        [2 * pi * 2652.6],
    ),
    (
        "source Vg : in -> gnd = 12 V\ninductor L : in -> a = 100 uH\nswitch S : a -> gnd\n"
        "diode D1 : a -> out\ncapacitor Co : out -> gnd = 100 uF\nload R : out -> gnd = 10 ohm\n"
        "operate D = 0.5, f = 100 kHz\n",
        48.0,
        [-500 - 4974.9j, -500 + 4974.9j],
        [25000.0],
    ),
    (
        "source Vg : in -> gnd = 12 V\ninductor L1 : in -> a = 432 uH\nswitch S : a -> gnd\n"
        "capacitor C1 : a -> b = 17.8 uF\ndiode D1 : b -> gnd\ninductor L2 : out -> b = 649 uH\n"
        "capacitor Co : out -> gnd = 3.08 uF\nload R : out -> gnd = 8.1 ohm\noperate D = 0.6, f = 50 kHz\n",
        -75.0,
        [-1374.9 - 4753.6j, -1374.9 + 4753.6j, -18666.7 - 8754.6j, -18666.7 + 8754.6j],
        [3121.1 - 6502.1j, 3121.1 + 6502.1j],
    ),
]


@pytest.mark.parametrize(("text", "gain", "poles", "zeros"), WORKED, ids=["buck-boost", "boost", "Cuk"])
def test_worked_numbers(text: str, gain: float, poles: list[complex], zeros: list[complex]) -> None:
    found = response(model(text), "duty").averaged
    assert found is not None
    assert found.dc_gain == pytest.approx(gain, rel=1e-9)
    for told, wanted in ((found.poles, poles), (found.zeros, zeros)):
        assert len(told) == len(wanted)
        for one, other in zip(sorted(told, key=_key), sorted(wanted, key=_key), strict=True):
            assert abs(one - other) < 2e-4 * abs(other) + 0.06


def _key(root: complex) -> tuple[float, float]:
    return round(abs(root), -1), root.imag


# REFERENCES section 6, fourth order: derived symbolically there, eigenvalues agree (Cuk as in M2)
NUMERATOR = "1 - s*D**2*L1/((1 - D)**2*R) + s**2*C1*L1/(1 - D)"
DENOMINATOR = (
    "1 + s*(D**2*L1 + (1 - D)**2*L2)/((1 - D)**2*R)"
    " + s**2*(C1*L1 + Co*(D**2*L1 + (1 - D)**2*L2))/(1 - D)**2"
    " + s**3*C1*L1*L2/((1 - D)**2*R) + s**4*C1*Co*L1*L2/(1 - D)**2"
)


@pytest.mark.parametrize(("name", "sign", "line"), [("cuk", -1, "1"), ("zeta", 1, "1 + s**2*C1*L1/(1 - D)")])
def test_fourth_order(name: str, sign: int, line: str) -> None:
    found = model(name)
    assert same(ratio(found, "duty"), f"{sign}*Vg/(1 - D)**2*({NUMERATOR})/({DENOMINATOR})")
    assert same(ratio(found, "input"), f"{sign}*D/(1 - D)*({line})/({DENOMINATOR})")


@pytest.mark.filterwarnings("ignore:Badly conditioned filter coefficients")
@pytest.mark.parametrize("name", ["boost_lossy", "sepic_lossy", "cuk_coupled", "quad_boost", "flyback"])
def test_against_state_space_by_matrices(name: str) -> None:
    """The same through other mathematics: scipy's state space from averaged matrices, duty by differences."""
    circuit = voltsec.load(name)
    answer = voltsec.solve(circuit)
    found = voltsec.states(answer, "CCM")
    values = {sympy.Symbol(k, positive=True): float(v) for k, v in circuit.values.items()}

    def numbers(matrix: sympy.ImmutableMatrix) -> np.ndarray:
        return np.array(matrix.subs(values).tolist(), float)

    assert found.averaged is not None and found.averaged.ties == ()
    parts = [[numbers(getattr(one.equations, m)) for m in "ABCE"] for one in found.intervals]
    a, b, c, e = (numbers(getattr(found.averaged, m)) for m in "ABCE")
    u = np.array([float(circuit.values[name]) for name in found.averaged.inputs])
    x = -np.linalg.solve(a, b @ u)
    (first, second) = parts
    moved = (first[0] - second[0]) @ x + (first[1] - second[1]) @ u
    direct = (first[2] - second[2]) @ x + (first[3] - second[3]) @ u
    omega = 2 * pi * np.geomspace(10, 3e4, 40)
    _, duty = signal.freqresp(signal.StateSpace(a, moved[:, None], c[:1], direct[:1, None]), omega)
    _, line = signal.freqresp(signal.StateSpace(a, b[:, :1], c[:1], e[:1, :1]), omega)
    for control, wanted in (("D", duty), (circuit.input.quantity.symbol, line)):
        _, told = signal.freqresp(answer.transfer(control, "V"), omega)
        assert np.abs(told / wanted - 1).max() < 1e-6


def test_impedances_of_a_step_down_stage() -> None:
    """Output: L, C and R in parallel; input: (R and C in parallel, and L)/D**2 (M1 section 10.2)."""
    found = model("buck")
    assert same(ratio(found, "zout"), "1/(1/(s*L) + s*Co + 1/R)")
    assert same(ratio(found, "zin"), "(s*L + 1/(s*Co + 1/R))/D**2")


def test_series_resistance_of_the_output_capacitor_is_a_zero() -> None:
    """A left-half-plane zero at 1/(R_Co Co) (M1 section 8.1, from memory)."""
    found = response(model("sepic_lossy"), "duty").factored
    assert found is not None
    assert any(f.omega is not None and same(f.omega, "1/(R_Co*Co)") and f.right is False for f in found.zeros)


def test_a_transformer_gives_the_duty_response_its_turns() -> None:
    found = model("flyback")
    assert same(ratio(found, "input").subs("s", 0), "n*D/(1 - D)")
    assert same(ratio(found, "duty").subs("s", 0), "n*Vg/(1 - D)**2")


def test_capacitors_tied_by_diodes_act_as_one() -> None:
    """The multiplier's three capacitors: two at V/2, one at V, store (C1 + C2 + 4 Co) V**2/8 (energy)."""
    found = model("boost_mult1")
    duty = response(found, "duty").factored
    assert duty is not None and len(duty.poles) == 1
    assert duty.poles[0].omega is not None
    assert same(duty.poles[0].omega ** 2, "(1 - D)**2/(L*(C1 + C2 + 4*Co))")


def test_every_duty_is_a_control() -> None:
    found = model("boost_then_buck", budget=1.0)
    duties = [one.link.control for one in found.responses if one.link.kind == "duty"]
    assert duties == ["D1", "D2"]
    second = found.response("duty", "D2")
    assert second is not None and second.factored is not None
    assert same(second.factored.gain, "Vg/(1 - D1)")


def test_a_core_that_resets_leaves_the_model_as_it_is() -> None:
    """A forward stage is a step-down stage behind a transformer (M1 section 6.3.2)."""
    found = model("forward", budget=2.0)
    assert found.mode.label.startswith("CCM")
    assert same(ratio(found, "duty").subs("s", 0), "n*Vg")
    assert any("magnetizing current of LM" in note for note in found.notes)


def test_an_ideal_stage_without_load_resistance_is_undamped() -> None:
    text = (
        "source Vg : in -> gnd = 12 V\nswitch S : in -> a\ndiode D1 : gnd -> a\n"
        "inductor L : a -> out = 1 mH\ncapacitor Co : out -> gnd = 10 uF\n"
        "current Io : out -> gnd = 1 A\noperate D = 0.4, f = 100 kHz\n"
    )
    duty = response(model(text), "duty").factored
    assert duty is not None and duty.poles[0].quality == sympy.oo


def test_formulas_need_no_values() -> None:
    text = (
        "source Vg : in -> gnd\nswitch S : in -> a\ndiode D1 : gnd -> a\ninductor L : a -> out\n"
        "capacitor Co : out -> gnd\nload R : out -> gnd\n"
    )
    found = model(text)
    assert found.point is None and found.sampled is None
    assert same(ratio(found, "duty"), "Vg/(1 + s*L/R + s**2*L*Co)")


def test_python_control_gets_the_same_response() -> None:
    control = pytest.importorskip("control")
    answer = voltsec.solve(voltsec.load("boost"))
    told = answer.transfer("D", "V", form="control")
    assert isinstance(told, control.TransferFunction)
    assert complex(told(1000j)) == pytest.approx(
        complex(signal.freqresp(answer.transfer("D", "V"), [1000.0])[1][0]), rel=1e-9
    )
    assert sorted(control.poles(told), key=lambda p: p.imag)[0] == pytest.approx(-208.33 - 4995.66j, rel=1e-4)


@pytest.mark.parametrize(
    ("control", "output", "form", "words"),
    [
        ("d", "V", "scipy", "did you mean 'D'?"),
        ("D", "V", "scippy", "did you mean 'scipy'?"),
    ],
)
def test_unknown_names(control: str, output: str, form: str, words: str) -> None:
    with pytest.raises(ValueError, match="did you mean") as caught:
        voltsec.solve(voltsec.load("boost")).transfer(control, output, form)
    assert words in str(caught.value)
