"""A diode that never conducts or never stops is solved with, and told."""

import pytest

import voltsec
from tests.integration.switched import periodic_averages
from voltsec.steady.device_notes import device_notes, large_drops

NEVER = """source Vg : in -> gnd = 12 V
switch S : in -> a
diode D1 : gnd -> a
diode D2 : gnd -> in
inductor L : a -> out = 100 uH
capacitor Co : out -> gnd = 100 uF
load R : out -> gnd = 5 ohm
operate D = 0.5, T = 5 us"""

ALWAYS = """source Vg : in0 -> gnd = 12 V
diode D0 : in0 -> in { drop 0.5 V }
capacitor Ci : in -> gnd = 100 uF
inductor L : in -> a = 100 uH
switch S : a -> gnd
diode D1 : a -> out
capacitor Co : out -> gnd = 100 uF
load R : out -> gnd = 24 ohm
operate D = 0.5, T = 10 us"""


def notes(text: str) -> list[str]:
    solution = voltsec.solve(voltsec.read(text))
    return device_notes(solution.circuit, solution.modes)


def test_a_diode_across_the_source_never_conducts() -> None:
    assert notes(NEVER) == ["D2 conducts in no interval of any mode: it only blocks"]


def test_a_diode_in_line_with_the_source_conducts_all_the_time() -> None:
    assert notes(ALWAYS) == ["D0 conducts all the time in every mode"]


def test_ordinary_stages_have_nothing_to_tell() -> None:
    for name in ("boost", "sepic", "quad_boost"):
        solution = voltsec.solve(voltsec.load(name))
        assert device_notes(solution.circuit, solution.modes) == []


SOLAR_CELL = """
source    Vg : in -> gnd = 0.5 V
inductor  L : in -> a = 100 uH
switch    S : a -> gnd
diode     D1 : a -> out { drop 0.7 V }
capacitor C : out -> gnd = 47 mF
load      R : out -> gnd = 100 ohm
operate   D = 0.88, T = 20 us
"""
NOTE = "the drop V_D1 of D1 is not below the input voltage Vg"


def test_a_drop_above_the_input_works_where_the_voltage_is_raised() -> None:
    """One solar cell behind a silicon diode: the numbers are those of the integration in time
    (tests/integration/switched.py), and a note asks to check the values."""
    circuit = voltsec.read(SOLAR_CELL)
    answer = voltsec.solve(circuit)
    assert [line for line in answer.warnings if line.startswith(NOTE)]
    stepped = periodic_averages(circuit, {})
    assert answer.numbers is not None and answer.numbers.output_voltage is not None
    assert answer.numbers.output_voltage == pytest.approx(stepped.capacitor_voltages["C"], rel=1e-3)
    assert float(answer.sweep(D=0.88).output_voltage) == pytest.approx(answer.numbers.output_voltage)


@pytest.mark.parametrize(
    ("line", "noted"),
    [("", True), ("drop 0.7 V -> drop 0.4 V", False), ("= 0.5 V -> ", False), ("C : -> battery", False)],
)
def test_when_a_large_drop_is_noted(line: str, noted: bool) -> None:
    """Not where a value is missing, and not where another source is higher."""
    text = SOLAR_CELL
    if line.startswith("C :"):
        text = text.replace("load ", "source B : in2 -> gnd = 6 V\nresistor R2 : in2 -> out = 1 kohm\nload ")
    elif line:
        old, new = line.split(" -> ")
        text = text.replace(old, new)
    circuit = voltsec.read(text)
    values = {name: float(value) for name, value in circuit.values.items()}
    assert any(said.startswith(NOTE) for said in large_drops(circuit, values)) == noted
