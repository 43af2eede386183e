"""Continuous conduction: gain, voltages, currents and blocking voltages of forty published stages."""

from __future__ import annotations

import pytest
from sympy import Expr

from voltsec.results.solution import Mode, Solution

from .comparison import assert_same, continuous, formula, netlist, shipped, solved, symbol, with_sets
from .tables import BY_KEY, ROWS, Row

VG = symbol("Vg")
R = symbol("R")

every_row = pytest.mark.parametrize("row", ROWS, ids=[row.key for row in ROWS])
# The published line itself, and the ready circuit with values: both have to agree with the table.
both_ways = pytest.mark.parametrize("way", ["published", "shipped"])


def answer_for(row: Row, way: str) -> Solution:
    """The solution of a row's own netlist or of the circuit file with its key."""
    return solved(netlist(row.netlist)) if way == "published" else shipped(row.key)


def mode_for(row: Row, way: str) -> Mode:
    """The mode a row speaks of."""
    answer = answer_for(row, way)
    if row.conducting is not None:
        return with_sets(answer, row.conducting)
    return continuous(answer, row.point)


def compare(row: Row, mode: Mode, actual: Expr | None, published: Expr, what: str) -> None:
    """Exact equality, with the row and its sources in the failure message."""
    assert_same(mode, actual, published, (row.key, what, row.sources), row.setting)


@every_row
@both_ways
def test_gain(row: Row, way: str) -> None:
    mode = mode_for(row, way)
    compare(row, mode, mode.gain, formula(row.gain), "gain")
    compare(row, mode, mode.output_voltage, formula(row.gain) * VG, "output voltage")


@pytest.mark.parametrize(
    "row", [r for r in ROWS if r.point == {"D": "2/5"} and r.conducting is None], ids=lambda r: r.key
)
def test_first_mode_is_the_continuous_one(row: Row) -> None:
    answer = answer_for(row, "published")
    assert answer.modes[0].name == "CCM"
    compare(row, answer.modes[0], answer.gain, formula(row.gain), "gain of the first mode")


@both_ways
@pytest.mark.parametrize("row", [r for r in ROWS if r.capacitors], ids=lambda r: r.key)
def test_capacitor_voltages(row: Row, way: str) -> None:
    mode = mode_for(row, way)
    for name, published in row.capacitors.items():
        compare(row, mode, mode.capacitor_voltages[name], formula(published) * VG, f"voltage of {name}")


@both_ways
@every_row
def test_inductor_currents(row: Row, way: str) -> None:
    mode = mode_for(row, way)
    for name, published in row.inductors.items():
        compare(row, mode, mode.inductor_currents[name], formula(published) * VG / R, f"current of {name}")


@both_ways
@every_row
def test_switch_voltage(row: Row, way: str) -> None:
    mode = mode_for(row, way)
    compare(row, mode, mode.stress["S"].voltage_peak, formula(row.switch) * VG, "off-voltage of S")


@both_ways
@pytest.mark.parametrize("row", [r for r in ROWS if r.diodes], ids=lambda r: r.key)
def test_diode_voltages(row: Row, way: str) -> None:
    mode = mode_for(row, way)
    for name, published in row.diodes.items():
        compare(row, mode, mode.stress[name].voltage_peak, formula(published) * VG, f"voltage of {name}")


@pytest.mark.parametrize("row", [r for r in ROWS if not r.setting], ids=lambda r: r.key)
def test_input_current_carries_the_output_power(row: Row) -> None:
    """Averages that follow from any row: the input current is M^2 Vg/R (either arrow)."""
    mode = mode_for(row, "published")
    current = mode.source_currents["Vg"]
    assert current is not None
    compare(row, mode, current**2, (formula(row.gain) ** 2 * VG / R) ** 2, "input current")


LONE_OUTPUT_DIODES = {
    "boost": "D1",
    "buckboost": "D1",
    "sepic": "D1",
    "flyback": "D1",
    "iso_sepic": "D1",
    "tap_boost_switchtap": "D1",
    "tap_bb_switchtap": "D1",
    "tap_bb_diodetap": "D1",
    "quad_boost": "D3",
    "quad_boost_lowC": "D3",
    "quad_sepic": "D2",
    "boost_mult1": "D3",
    "boost_inv_pump": "D2",
    "sl_boost": "D4",
    "modified_sepic": "D2",
    "superlift_po": "D2",
}


@pytest.mark.parametrize("key", LONE_OUTPUT_DIODES)
def test_lone_output_diode_carries_the_output_current(key: str) -> None:
    row = BY_KEY[key]
    mode = mode_for(row, "published")
    current = mode.stress[LONE_OUTPUT_DIODES[key]].current_average
    sign = -1 if row.gain.startswith("-") else 1
    compare(row, mode, current, sign * formula(row.gain) * VG / R, "current of the output diode")
