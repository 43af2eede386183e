"""Where formulas differ from the exact numbers, held against the integration in time; silence elsewhere."""

from __future__ import annotations

import pytest

import voltsec
from tests.integration.switched import Averages, periodic_averages
from voltsec.practice.deviation import Deviation, deviations
from voltsec.report.machine import as_json
from voltsec.report.notes import deviation_rows, notes

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


def checked(text: str) -> tuple[voltsec.Solution, dict[str, Deviation], Averages]:
    circuit = voltsec.read(text)
    answer = voltsec.solve(circuit)
    assert answer.numbers is not None and answer.numbers.exact
    found = {deviation.name: deviation for deviation in deviations(answer)}
    return answer, found, periodic_averages(circuit, answer.numbers.point)


def about_ripple(answer: voltsec.Solution) -> list[str]:
    return [note for note in notes(answer) if "ripple" in note]


def test_far_too_small_an_output_capacitor() -> None:
    """The averages of a step-down stage hold all the same (flux balance); what swings does not."""
    answer, found, outside = checked(BUCK.format("1 uF"))
    assert not {"output_voltage", "efficiency", "capacitor_voltages.Co"} & set(found)
    assert answer.numbers.ripple["Co"] == pytest.approx(outside.ripple["Co"], rel=2e-2)
    assert found["stress.R.voltage_peak"].exact == pytest.approx(outside.peak_voltages["R"], rel=1e-3)
    assert outside.output_voltage == pytest.approx(answer.numbers.output_voltage, rel=1e-3)
    (note,) = about_ripple(answer)
    assert "exact periodic state" in note


def test_a_coupling_capacitor_that_resonates() -> None:
    """Differences as the integration has them, told with the exact numbers; every element's are looked at."""
    answer, found, outside = checked(SEPIC.format("470 nF"))
    output = found["output_voltage"]
    assert abs(outside.output_voltage / output.formula - 1) > 0.01
    assert output.exact == pytest.approx(outside.output_voltage, rel=5e-4)
    for part in ("S", "D1", "L1", "C1"):
        told = found.get(f"stress.{part}.current_rms")
        formula = answer.numbers.formulas.stress[part]["current_rms"]
        differs = abs(formula / outside.rms_currents[part] - 1)
        assert (told is not None) == (differs > 0.05), part
    (note,) = about_ripple(answer)
    assert f"output voltage 12 V where it is {outside.output_voltage:.2f}" in note
    heading, *rows = deviation_rows(answer)
    assert heading[0] == "Differs by formula" and rows[0][0] == "Output voltage"


def test_efficiency_that_a_charge_pump_loses() -> None:
    """A pump's losses are not in its ideal formulas (efficiency 1); the integration has them as well."""
    circuit = voltsec.load("boost_inv_pump")
    text = circuit.text.replace("22 uF", "4.7 uF")
    assert text != circuit.text
    answer, found, outside = checked(text)
    assert found["efficiency"].formula == 1.0
    assert found["efficiency"].exact == pytest.approx(outside.efficiency, abs=1e-3)
    assert answer.numbers.efficiency == found["efficiency"].exact
    assert any("efficiency" in note for note in about_ripple(answer))
    assert any("charge jumps" in note for note in notes(answer))


def test_two_output_capacitors_of_different_resistance() -> None:
    """The small one takes the edges, the large one the rest: rms as the integration has it."""
    text = """source Vg : in -> gnd = 12 V
inductor L : in -> a = 100 uH
switch S : a -> gnd
diode D1 : a -> out
capacitor C1 : out -> gnd = 1 mF { resistance 30 mohm }
capacitor C2 : out -> gnd = 22 uF
load R : out -> gnd = 15 ohm
operate D = 0.5, T = 10 us
"""
    answer, found, outside = checked(text)
    for part in ("C1", "C2"):
        told = answer.numbers.stress[part]["current_rms"]
        assert told == pytest.approx(outside.rms_currents[part], rel=2e-3)
        assert f"stress.{part}.current_rms" in found


@pytest.mark.parametrize("name", ["buck", "boost", "sepic", "cuk", "zeta", "flyback", "forward"])
def test_a_well_sized_stage_is_not_warned(name: str) -> None:
    """The integration with the real capacitors agrees, and so do the formulas within the limits."""
    circuit = voltsec.load(name)
    answer = voltsec.solve(circuit)
    assert about_ripple(answer) == []
    outside = periodic_averages(circuit, answer.numbers.point)
    assert answer.numbers.output_voltage == pytest.approx(outside.output_voltage, rel=1e-3)


def test_an_average_near_zero_is_no_reason() -> None:
    """The magnetizing current of this stage has no mean, and rounding is not a difference."""
    answer = voltsec.solve(voltsec.load("iso_cuk"))
    assert abs(answer.numbers.inductor_currents["LM"]) < 1e-9
    assert about_ripple(answer) == []


def test_without_numbers_there_is_no_comparison() -> None:
    answer = voltsec.solve(voltsec.read(BUCK.format("1 uF").replace(" = 12 V", "")))
    assert deviations(answer) == () and about_ripple(answer) == []
    assert as_json(answer)["numbers"] is None


def test_json_has_both_kinds_of_numbers() -> None:
    answer, found, outside = checked(SEPIC.format("470 nF"))
    told = as_json(answer)
    exact = told["numbers"]["exact"]
    assert set(exact) == {"output_voltage", "efficiency", "inductor_currents", "capacitor_voltages"}
    assert exact["inductor_currents"]["L1"] == pytest.approx(outside.inductor_currents["L1"], rel=1e-3)
    assert told["numbers"]["capacitor_voltages"]["C1"] == exact["capacitor_voltages"]["C1"]
    assert told["numbers"]["output_voltage"] == exact["output_voltage"]
    assert told["numbers"]["formulas"]["output_voltage"] == found["output_voltage"].formula
    assert told["warnings"] == list(notes(answer))
