"""A warning where ripple is not small, held against the integration in time; silence where it is."""

from __future__ import annotations

import pytest

import voltsec
from tests.integration.switched import Averages, periodic_averages
from voltsec.practice.ripple import RippleCheck, Swing, ripple_check
from voltsec.report.machine import as_json
from voltsec.report.notes import exact_json, notes, ripple_lines

BUCK = """source Vg : in -> gnd = 12 V
switch S : in -> a
diode D1 : gnd -> a
inductor L : a -> out = 60 uH
capacitor Co : out -> gnd = {}
load R : out -> gnd = 5 ohm
operate D = 0.4, T = 20 us
"""
SEPIC = """source Vg : in -> gnd = 18 V
inductor L1 : in -> a = 68 uH
switch S : a -> gnd
capacitor C1 : a -> b = {}
inductor L2 : gnd -> b = 68 uH
diode D1 : b -> out
capacitor Co : out -> gnd = 100 uF
load R : out -> gnd = 10 ohm
operate D = 0.4, T = 10 us
"""


def checked(text: str) -> tuple[voltsec.Solution, RippleCheck, Averages]:
    circuit = voltsec.read(text)
    answer = voltsec.solve(circuit)
    found = ripple_check(answer)
    assert found is not None and answer.numbers is not None
    return answer, found, periodic_averages(circuit, answer.numbers.point)


def about_ripple(answer: voltsec.Solution) -> list[str]:
    return [note for note in notes(answer) if "ripple" in note]


def test_far_too_small_an_output_capacitor() -> None:
    """The averages of a step-down stage hold all the same (flux balance); its ripple does not."""
    answer, found, outside = checked(BUCK.format("1 uF"))
    assert {d.kind for d in found.differences} == {"ripple"}
    assert found.differences[0].exact == pytest.approx(outside.ripple["Co"], rel=2e-2)
    assert outside.output_voltage == pytest.approx(answer.numbers.output_voltage, rel=1e-3)
    (note,) = about_ripple(answer)
    assert "averages hold" in note and "Co" in note


def test_a_coupling_capacitor_that_resonates() -> None:
    """Differences as the integration has them, told with the exact numbers."""
    answer, found, outside = checked(SEPIC.format("470 nF"))
    by_kind = {d.kind: d for d in found.differences}
    output = by_kind["output"]
    assert abs(outside.output_voltage / output.formula - 1) > 0.01
    assert output.exact == pytest.approx(outside.output_voltage, rel=5e-4)
    assert found.largest is not None and found.largest.name == "C1"
    assert found.largest.size == pytest.approx(outside.ripple["C1"], rel=2e-2)
    (note,) = about_ripple(answer)
    assert f"{outside.output_voltage:.2f} V, not 12 V" in note
    assert "Largest ripple: C1" in note


def test_efficiency_that_a_charge_pump_loses() -> None:
    """A pump's losses are not in its ideal formulas (efficiency 1); the integration has them as well."""
    circuit = voltsec.load("boost_inv_pump")
    text = circuit.text.replace("22 uF", "4.7 uF")
    assert text != circuit.text
    answer, found, outside = checked(text)
    efficiency = next(d for d in found.differences if d.kind == "efficiency")
    assert efficiency.formula == 1.0
    assert efficiency.exact == pytest.approx(outside.efficiency, abs=1e-3)
    assert any("efficiency" in note for note in about_ripple(answer))


@pytest.mark.parametrize(
    "name", ["buck", "boost", "sepic", "cuk", "zeta", "flyback", "forward", "sepic_lossy"]
)
def test_a_well_sized_stage_is_not_warned(name: str) -> None:
    """The integration with the real capacitors agrees with the formulas within one per cent."""
    circuit = voltsec.load(name)
    answer = voltsec.solve(circuit)
    assert about_ripple(answer) == []
    outside = periodic_averages(circuit, answer.numbers.point)
    assert answer.numbers.output_voltage == pytest.approx(outside.output_voltage, rel=1e-2)


def test_an_average_near_zero_is_no_reason() -> None:
    """The magnetizing current of this stage has no mean, and rounding is not a difference."""
    answer = voltsec.solve(voltsec.load("iso_cuk"))
    assert abs(answer.numbers.inductor_currents["LM"]) < 1e-9
    assert about_ripple(answer) == []


def test_without_numbers_there_is_no_comparison() -> None:
    answer = voltsec.solve(voltsec.read(BUCK.format("1 uF").replace(" = 12 V", "")))
    assert ripple_check(answer) is None and about_ripple(answer) == []
    assert as_json(answer)["numbers"] is None


def test_json_has_the_exact_numbers() -> None:
    answer, _, outside = checked(SEPIC.format("470 nF"))
    told = as_json(answer)
    exact = told["numbers"]["exact"]
    assert exact == exact_json(ripple_check(answer))
    assert set(exact) == {"output_voltage", "efficiency", "inductor_currents", "capacitor_voltages"}
    assert exact["inductor_currents"]["L1"] == pytest.approx(outside.inductor_currents["L1"], rel=1e-3)
    assert exact["capacitor_voltages"]["C1"] == pytest.approx(outside.capacitor_voltages["C1"], rel=1e-3)
    assert told["warnings"] == list(notes(answer))


@pytest.mark.parametrize("share, told", [(0.05, 0), (0.4, 1)])
def test_a_state_that_is_not_found_gives_no_number(share: float, told: int) -> None:
    """Own rule: nothing is claimed then, and large ripple by the formulas is still told."""
    check = RippleCheck(None, (), Swing("C1", "V", 3.0, share), False)
    lines = list(ripple_lines(check))
    assert len(lines) == told
    assert exact_json(check) is None
    assert all("was not found" in line and "C1, 40 %" in line for line in lines)
