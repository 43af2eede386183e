"""Snubbers and stray inductances: formulas leave them out, numbers have them.

A snubber's loss is C*V**2*f (common practice, no source); numbers by the exact periodic state, which
``tests/integration`` holds against an integration.
"""

from __future__ import annotations

import numpy as np
import pytest
import sympy

import voltsec
from voltsec.circuit.quasi_static import quasi_static
from voltsec.periodic.points import operating_point
from voltsec.practice.sweep import sweep
from voltsec.tableau.expression import symbol
from voltsec.waveforms.settling import settling

STEP_UP = """source Vg : in -> gnd = 12 V
inductor L : in -> a = 100 uH
switch S : a -> gnd
diode D1 : a -> out
capacitor Co : out -> gnd = 100 uF
load R : out -> gnd = 50 ohm
{more}
operate D = 0.5, T = 10 us
"""
SNUBBER = "resistor Rs : a -> s = 47 ohm\ncapacitor Cs : s -> gnd = 1 nF"
ACROSS_DIODE = "capacitor Cs : a -> s = 2.2 nF\nresistor Rs : s -> out = 22 ohm"
ACROSS_COIL = "resistor Rs : in -> s = 33 ohm\ncapacitor Cs : s -> a = 1 nF"
WITH_DIODE = "resistor Rs : a -> s = 330 ohm\ndiode Ds : a -> s\ncapacitor Cs : s -> gnd = 470 pF"
BARE = "capacitor Cs : a -> gnd = 1 nF"


def solved(more: str) -> voltsec.Solution:
    return voltsec.solve(voltsec.read(STEP_UP.format(more=more)))


@pytest.mark.parametrize("more", [SNUBBER, ACROSS_DIODE, ACROSS_COIL])
def test_the_loss_is_c_v_squared_f(more: str) -> None:
    answer = solved(more)
    mode = answer.modes[0]
    assert [m.label for m in answer.modes] == ["CCM", "DCM: L stops"]
    Vg, D, T, C, R = (symbol(name) for name in ("Vg", "D", "T", "Cs", "R"))
    across = Vg / (1 - D)
    assert mode.gain.equals(1 / (1 - D))
    assert mode.losses["Rs"].equals(C * across**2 / T)
    assert mode.efficiency.equals(1 / (1 + C * R / T))
    assert mode.stress["Cs"].current_average == 0
    numbers = answer.numbers
    assert numbers is not None and numbers.exact and numbers.formulas is not None
    assert numbers.formulas.efficiency == pytest.approx(numbers.efficiency, abs=2e-3)
    assert numbers.formulas.losses["Rs"] == pytest.approx(numbers.losses["Rs"], rel=0.35)
    assert any("settles within every interval" in line for line in answer.warnings)


def test_a_bare_capacitor_costs_half_of_it() -> None:
    """The inductor charges it for nothing, the switch discharges it (common practice, no source)."""
    answer = solved(BARE)
    Vg, D, T, C = (symbol(name) for name in ("Vg", "D", "T", "Cs"))
    assert answer.modes[0].losses["Cs"].equals(C * (Vg / (1 - D)) ** 2 / T / 2)
    numbers = answer.numbers
    assert numbers is not None and numbers.formulas is not None
    assert numbers.formulas.efficiency == pytest.approx(numbers.efficiency, abs=1e-3)


def test_a_snubber_with_a_diode_hangs_by_one_node_too() -> None:
    answer = solved(WITH_DIODE)
    assert answer.modes[0].gain.equals(1 / (1 - symbol("D")))
    assert {"Rs", "Ds", "Cs"} <= set(answer.modes[0].stress)


def test_a_stray_inductance_is_a_wire() -> None:
    text = STEP_UP.format(more="").replace(
        "capacitor Co : out -> gnd = 100 uF",
        "capacitor Co : out -> e = 100 uF { resistance 20 mohm }\ninductor Le : e -> gnd = 2 nH",
    )
    answer = voltsec.solve(voltsec.read(text))
    assert answer.modes[0].gain.subs(symbol("R_Co"), 0).equals(1 / (1 - symbol("D")))
    assert answer.modes[0].ripple["Le"] is None and answer.numbers is not None
    assert answer.numbers.ripple["Le"] > 0.1


@pytest.mark.parametrize("name", ["boost", "cuk", "sepic", "boost_2x", "boost_inv_pump", "buck_input_filter"])
def test_what_passes_the_power_on_does_not_settle(name: str) -> None:
    """Filters, coupling capacitors and the pump capacitors that carry the load's charge."""
    circuit = voltsec.load(name)
    point = operating_point(circuit)
    assert point is not None and settling(circuit, point) == frozenset()


def test_what_is_left() -> None:
    whole = voltsec.read(STEP_UP.format(more=WITH_DIODE))
    rest = quasi_static(whole, {"Cs"})
    assert rest is not None
    assert [e.name for e in rest.circuit.elements] == ["Vg", "L", "S", "D1", "Co", "R"]
    (one,) = rest.capacitors
    assert {one.start, one.end} == {"a", "gnd"} and set(one.branch) == {"Rs", "Ds"}
    assert quasi_static(whole, {"L"}) is not None  # a wire from the source to the switch
    parallel = voltsec.read(STEP_UP.format(more="resistor Rp : in -> a = 1 kohm"))
    assert quasi_static(parallel, {"L"}) is None  # the resistor would be shorted


def test_json_holds_every_part() -> None:
    from voltsec.report.machine import as_json

    told = as_json(solved(SNUBBER))
    assert told["modes"][0]["losses"]["Rs"] is not None
    assert set(told["numbers"]["stress"]) >= {"Rs", "Cs"}
    expression = sympy.sympify(told["modes"][0]["efficiency"])
    assert {str(free) for free in expression.free_symbols} == {"Cs", "R", "T"}


def test_a_sweep_tells_of_parts_that_settle() -> None:
    """No formula has them; numbers do, and a snubber's loss is C·V²·f (common practice, no source)."""
    answer = solved(SNUBBER)
    point = answer.numbers.point
    quantities = ("losses.Rs", "stress.Cs.voltage_peak", "stress.Rs.current_peak")
    found = sweep(answer, {"R": [0.5 * point["R"], point["R"]]}, quantities)
    assert found.exact.all() and not np.isfinite(found.formulas["losses.Rs"]).any()
    assert found["losses.Rs"][1] == pytest.approx(answer.numbers.results["losses.Rs"], rel=1e-9)
    volts = found["stress.Cs.voltage_peak"]
    assert found["losses.Rs"] == pytest.approx(point["Cs"] * volts**2 / point["T"], rel=0.03)
