"""A diode that never conducts or never stops is solved with, and told."""

import voltsec
from voltsec.formulas.remarks import device_notes

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
