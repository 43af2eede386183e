"""A diode that never conducts or never stops is solved with, and told."""

import voltsec
from voltsec.circuit.fault import Fault
from voltsec.formulas.engine import Engine
from voltsec.formulas.remarks import device_notes, left_open
from voltsec.formulas.solve import without_modes
from voltsec.periodic.points import operating_point
from voltsec.practice.exact_numbers import ExactNumbers

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


def test_shares_that_only_the_numbers_leave_open_are_named() -> None:
    """Ideal parallel switches share their current anyhow (Kirchhoff's laws)."""
    circuit = voltsec.read(
        "source Vg : in -> gnd = 12 V\nswitch S : in -> x\nswitch S1 : in -> x\ndiode D1 : gnd -> x\n"
        "inductor L : x -> out = 100 uH\ncapacitor Co : out -> gnd = 47 uF\nload R : out -> gnd = 5 ohm\n"
        "drive S at D\ndrive S1 with S\noperate D = 0.4, f = 100 kHz\n"
    )
    point = operating_point(circuit)
    assert point is not None
    numbers = ExactNumbers(circuit, Engine(circuit, ()))(point)
    assert numbers is not None and numbers.results["stress.S.current_average"] is None
    lines = left_open(without_modes(circuit, Fault("not-verified", "no mode was looked for")), numbers)
    assert any("i(S)" in line and "i(S1)" in line and "i(D1)" not in line for line in lines)
