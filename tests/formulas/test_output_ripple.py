"""The output's ripple follows every capacitor across the output, not only one right across it.

Outside check: capacitors in series that carry one current are one capacitor, C1*C2/(C1 + C2), with the sum of
their resistances in series (network theory, no source needed beyond Kirchhoff's laws).
"""

from __future__ import annotations

import random

import pytest

import voltsec
from voltsec.practice.solve import solve

STAGE = """
source Vg : in -> gnd = 12 V
inductor L : in -> x = {henry} uH
switch S : x -> gnd
diode D1 : x -> out {{ drop 0.4 V }}
load R : out -> gnd = {ohm} ohm
operate D = {duty}, f = 100 kHz
"""
ONE = "capacitor C1 : out -> gnd = {farad} uF {resistance}\n"
TWO = "capacitor C1 : {first} = {c1} uF {r1}\ncapacitor C2 : {second} = {c2} uF {r2}\n"


def esr(ohm: float) -> str:
    return f"{{ resistance {ohm:.6g} ohm }}" if ohm else ""


def cases() -> list[tuple[str, str]]:
    rng = random.Random(3)
    found = []
    for number in range(6):
        stage = STAGE.format(
            henry=rng.choice([10, 47, 220]), ohm=rng.choice([10, 40]), duty=rng.choice([0.3, 0.6])
        )
        c1, c2 = rng.choice([4.7, 10, 22]), rng.choice([10, 47])
        r1, r2 = (rng.choice([0.01, 0.05]), rng.choice([0, 0.03])) if number % 2 else (0, 0)
        ends = ["out -> mid", "mid -> gnd"]
        if number % 3 == 1:
            ends = ["mid -> out", "gnd -> mid"]  # arrows against the output's
        two = TWO.format(first=ends[0], second=ends[1], c1=c1, c2=c2, r1=esr(r1), r2=esr(r2))
        one = ONE.format(farad=c1 * c2 / (c1 + c2), resistance=esr(r1 + r2))
        found.append((stage + two, stage + one))
    return found


@pytest.mark.parametrize(("two", "one"), cases())
def test_two_in_series_swing_like_one(two: str, one: str) -> None:
    split, whole = (solve(voltsec.read(text)) for text in (two, one))
    assert split.numbers is not None and whole.numbers is not None
    assert split.numbers.output_ripple == pytest.approx(whole.numbers.output_ripple, rel=1e-6)
    told, right = split.numbers.formulas, whole.numbers.formulas
    assert told is not None and right is not None
    assert told.output_ripple == pytest.approx(right.output_ripple, rel=1e-6)
    assert told.output_ripple == pytest.approx(split.numbers.output_ripple, rel=0.1)


def test_ripple_that_no_formula_follows_is_not_told_as_zero() -> None:
    """Behind a sense resistor the load follows a capacitor that the formulas take as constant."""
    text = STAGE.format(henry=47, ohm=24, duty=0.5).replace("load R : out", "load R : far")
    solution = solve(
        voltsec.read(text + "resistor Rs : out -> far = 1 ohm\ncapacitor C1 : out -> gnd = 10 uF\n")
    )
    assert solution.numbers is not None and solution.numbers.formulas is not None
    assert solution.numbers.output_ripple is not None and solution.numbers.output_ripple > 0.3
    assert solution.numbers.formulas.output_ripple is None
