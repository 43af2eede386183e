"""Losses in continuous conduction: output voltage and efficiency with winding, switch and diode."""

from __future__ import annotations

import pytest
import sympy
from sympy import Rational

from .comparison import (
    assert_printed,
    assert_same,
    continuous,
    formula,
    netlist,
    number,
    shipped,
    solved,
    symbol,
)
from .sources import M1
from .tables import BY_KEY, LARGEST_GAIN, LOSS_NUMBERS, LOSS_POINT, LOSSES, Lossy

every_row = pytest.mark.parametrize("row", LOSSES, ids=[f"{row.key}-{'-'.join(row.parts)}" for row in LOSSES])
ALL = ("RL", "Ron", "VD", "RD")


def sign(key: str) -> int:
    """Of the published gain: the table gives magnitudes."""
    return -1 if BY_KEY[key].gain.startswith("-") else 1


@every_row
def test_output_voltage(row: Lossy) -> None:
    mode = continuous(solved(netlist(BY_KEY[row.key].netlist, row.parts)))
    assert_same(mode, mode.output_voltage, sign(row.key) * formula(row.output), (row.key, row.sources))


@every_row
def test_efficiency(row: Lossy) -> None:
    mode = continuous(solved(netlist(BY_KEY[row.key].netlist, row.parts)))
    published = formula(row.efficiency, V=formula(row.output))
    assert_same(mode, mode.efficiency, published, (row.key, row.sources))


@pytest.mark.parametrize("key", ["buck", "boost", "buckboost"])
def test_shipped_lossy_stage(key: str) -> None:
    """The ready stages with losses follow the same formula, with their own names for the parts."""
    mode = continuous(shipped(f"{key}_lossy"))
    row = next(row for row in LOSSES if row.key == key and row.parts == ALL)
    named = {"RL": symbol("R_L"), "Ron": symbol("R_S"), "RD": symbol("R_D1"), "VD": symbol("V_D1")}
    assert_same(mode, mode.output_voltage, sign(key) * formula(row.output, **named), (key, row.sources))


@pytest.mark.parametrize("key, volts, percent", LOSS_NUMBERS)
def test_numbers_with_every_loss(key: str, volts: str, percent: str) -> None:
    mode = continuous(solved(netlist(BY_KEY[key].netlist, ALL)))
    assert_printed(number(mode, mode.output_voltage, LOSS_POINT), volts, key)
    assert_printed(100 * number(mode, mode.efficiency, LOSS_POINT), percent, key)


@pytest.mark.parametrize("ratio, duty, largest", LARGEST_GAIN)
def test_largest_gain_of_a_boost_with_winding_resistance(ratio: str, duty: str, largest: str) -> None:
    """M1 fig. 3.9: M is largest, 1/(2 sqrt(r)), at D = 1 - sqrt(r), with an efficiency of 50 %."""
    mode = continuous(solved(netlist(BY_KEY["boost"].netlist, ("RL",))))
    values = {symbol("R"): Rational(1), symbol("RL"): Rational(ratio)}
    gain = mode.gain.subs(values)
    peak = 1 - sympy.sqrt(Rational(ratio))
    assert sympy.diff(gain, symbol("D")).subs(symbol("D"), peak).equals(0), M1
    assert (gain.subs(symbol("D"), peak) - 1 / (2 * sympy.sqrt(Rational(ratio)))).equals(0), M1
    assert (mode.efficiency.subs(values).subs(symbol("D"), peak) - Rational(1, 2)).equals(0), M1
    assert_printed(float(peak), duty, M1)
    assert_printed(float(gain.subs(symbol("D"), peak)), largest, M1)
