"""Switches whose on-times start at different instants, against the integration in time."""

from __future__ import annotations

from itertools import product

import pytest

import voltsec

from .switched import periodic_averages, with_small_ripple
from .test_against_solver import Comparison, compare_formulas, compare_numbers, compare_sequence

STEP_UP = """
source Vg : in -> gnd = 12 V
inductor L1 : in -> a = 47 uH
inductor L2 : in -> b = {coil}
switch S1 : a -> gnd
switch S2 : b -> gnd
diode D1 : a -> out
diode D2 : b -> out
capacitor Co : out -> gnd = 100 uF
load R : out -> gnd = 10 ohm
drive S1 at D
drive S2 at D from {start}
operate D = 0.4, f = 100 kHz
"""

STEP_DOWN = """
source Vg : in -> gnd = 12 V { resistance 10 mohm }
switch S1 : in -> a { resistance 20 mohm }
switch S2 : in -> b { resistance 30 mohm }
switch S3 : in -> c { resistance 20 mohm }
switch Q1 : gnd -> a { resistance 20 mohm }
switch Q2 : gnd -> b { resistance 20 mohm }
switch Q3 : gnd -> c { resistance 10 mohm }
inductor L1 : a -> out = 47 uH { resistance 40 mohm }
inductor L2 : b -> out = 60 uH { resistance 50 mohm }
inductor L3 : c -> out = 40 uH { resistance 30 mohm }
capacitor Co : out -> gnd = 100 uF
load R : out -> gnd = 3 ohm
drive S1 at D
drive S2 at D from {second}
drive S3 at D from {third}
drive Q1 against S1
drive Q2 against S2
drive Q3 against S3
operate D = 0.4, f = 100 kHz
"""

BRIDGE = """
source Vg : in -> gnd = 24 V
switch S1 : in -> a { resistance 20 mohm }
switch S2 : a -> gnd { resistance 20 mohm }
switch S3 : in -> b { resistance 20 mohm }
switch S4 : b -> gnd { resistance 20 mohm }
inductor L : a -> c = 5 mH { resistance 50 mohm }
capacitor Co : c -> b = 47 uF
load R : c -> b = 5 ohm
drive S1 at D
drive S2 against S1
drive S3 at E from phi
drive S4 against S3
operate D = 0.5, E = 0.4, phi = 0.3, f = 100 kHz
"""


SHARED = frozenset(
    f"{what}({part})"
    for what in ("i", "ripple", "mean i", "rms i", "peak i")
    for part in ("L1", "L2", "S1", "S2", "D1", "D2", "Co")
)
"""How ideal legs share their current is open; only the integration's small resistances decide it."""


def compare(
    text: str, points: list[dict[str, float]], least: float = 0.0, open_: frozenset[str] = frozenset()
) -> None:
    circuit = voltsec.read(text).check()
    solution = voltsec.solve(circuit)
    told = Comparison(least=least, open=open_)
    for point in points:
        told.place = str(point)
        values = with_small_ripple(circuit, point, 1e6)
        every = {name: float(value) for name, value in circuit.values.items()} | values
        found = periodic_averages(circuit, values)
        mode = compare_numbers(found, solution, values, told)
        if mode is not None:
            inside = compare_formulas(found, mode, every, told)
            if all(abs(share) > 1e-9 for share in _lengths(solution, mode.name, every)):
                compare_sequence(found, mode, inside, False, told)
    assert not told.differences, "\n".join(told.differences)


def _lengths(solution: voltsec.Solution, name: str, point: dict[str, float]) -> list[float]:
    """Shares of the switch intervals of a mode: where edges coincide the integration has one fewer."""
    known = {one: builder.found.stages for one, builder in solution.engine.builders}
    stages = (known | {one: mode.stages for one, mode in solution.engine.numeric})[name]
    return [float(length) for length in stages.fractions(point)]


@pytest.mark.parametrize("coil", ["47 uH", "80 uH"])
def test_two_legs_half_a_period_apart(coil: str) -> None:
    points = [{"D": d, "R": r} for d, r in product((0.2, 0.4, 0.5, 0.6, 0.8), (5.0, 60.0, 400.0))]
    compare(STEP_UP.format(coil=coil, start="0.5"), points, open_=SHARED)


def test_two_legs_at_another_distance() -> None:
    points = [{"D": d, "R": r} for d, r in product((0.2, 0.3, 0.5, 0.8), (5.0, 60.0))]
    compare(STEP_UP.format(coil="47 uH", start="0.3"), points, open_=SHARED)


@pytest.mark.parametrize(("second", "third"), [("1/3", "2/3"), ("0.15", "0.6")], ids=["even", "uneven"])
def test_three_legs_with_losses(second: str, third: str) -> None:
    text = STEP_DOWN.replace("{second}", second).replace("{third}", third)
    compare(text, [{"D": d} for d in (0.1, 1 / 3, 0.4, 0.8)], 1e-2)


def test_two_duties_and_a_symbol_of_the_start() -> None:
    """A bridge whose legs are shifted: on-times of both overlap, follow each other, run over the end.

    Its coil is large, because averages of devices neglect ripple in continuous conduction.
    """
    points = [{"D": d, "E": e, "phi": phi} for d, e, phi in product((0.3, 0.7), (0.6,), (0.0, 0.25, 0.9))]
    compare(BRIDGE, points, 1e-2)
