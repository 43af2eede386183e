"""Discontinuous conduction: gain over K, the edge to continuous conduction, worked numbers."""

from __future__ import annotations

import pytest
import sympy
from sympy import Expr, Rational

from .comparison import (
    assert_printed,
    assert_same,
    continuous,
    discontinuous,
    expanded,
    formula,
    netlist,
    number,
    solved,
    symbol,
)
from .tables import (
    BY_KEY,
    DISCONTINUOUS,
    DISCONTINUOUS_NUMBERS,
    Discontinuous,
)
from .worked import WORKED_DISCONTINUOUS, WorkedDiscontinuous

every_row = pytest.mark.parametrize("row", DISCONTINUOUS, ids=[row.key for row in DISCONTINUOUS])
D, R, T, VG = (symbol(name) for name in ("D", "R", "T", "Vg"))
POINT = {"n": "1", "R": "1", "T": "1", "Vg": "1"}


def answer_for(row: Discontinuous):
    """The solution of the stage's published netlist."""
    return solved(netlist(BY_KEY[row.key].netlist))


def published_k(row: Discontinuous) -> Expr:
    """K = 2 Le/(R T)"""
    return 2 * formula(row.effective) / (R * T)


@every_row
def test_gain(row: Discontinuous) -> None:
    mode = discontinuous(answer_for(row))
    gain = formula(row.gain, K=published_k(row))
    assert_same(mode, mode.gain, gain, (row.key, row.sources))
    assert_same(mode, mode.output_voltage, gain * VG, (row.key, row.sources))


@every_row
def test_conduction_fraction_of_the_diode(row: Discontinuous) -> None:
    mode = discontinuous(answer_for(row))
    assert len(mode.intervals) == 3
    assert mode.intervals[1].conducting == ("D1",)
    assert mode.intervals[1].ends == "D1"
    assert mode.intervals[2].conducting == ()
    k = published_k(row)
    second = formula(row.second, K=k, M=formula(row.gain, K=k))
    assert_same(mode, mode.intervals[1].fraction, second, (row.key, row.sources))
    assert_same(mode, sum(interval.fraction for interval in mode.intervals), sympy.Integer(1))


@every_row
def test_edge(row: Discontinuous) -> None:
    """K over Kcrit is what decides, however K is normalized; so is the critical load."""
    answer = answer_for(row)
    ratio = published_k(row) / formula(row.critical)
    edges = [mode for mode in (continuous(answer), discontinuous(answer)) if "K" in mode.boundary]
    assert edges, "no mode tells its edge"
    for mode in edges:
        k = discontinuous(answer).definitions["K"] / mode.boundary["K"]
        assert_same(mode, k, ratio, (row.key, row.sources))
        critical_load = 2 * formula(row.effective) / (T * formula(row.critical))
        assert_same(mode, mode.boundary["R"], critical_load, (row.key, row.sources))


@pytest.mark.parametrize("row", [r for r in DISCONTINUOUS if "n" not in r.effective], ids=lambda r: r.key)
def test_k_and_its_critical_value_as_printed(row: Discontinuous) -> None:
    mode = discontinuous(answer_for(row))
    assert_same(mode, mode.definitions["K"], published_k(row), (row.key, row.sources))
    assert_same(mode, mode.boundary["K"], formula(row.critical), (row.key, row.sources))


@every_row
def test_both_modes_agree_on_the_edge(row: Discontinuous) -> None:
    """At the critical load the discontinuous gain runs into the continuous one."""
    answer = answer_for(row)
    on_edge = {R: 2 * formula(row.effective) / (T * formula(row.critical))}
    gain = expanded(discontinuous(answer), discontinuous(answer).gain)
    for duty in (Rational(1, 5), Rational(1, 2), Rational(7, 9)):
        left = gain.subs(on_edge).subs(D, duty)
        right = answer.modes[0].gain.subs(D, duty)
        for values in ({}, {"n": 3}):
            exact = {symbol(name): value for name, value in values.items()}
            rest = {s: Rational(3, 7) for s in (left - right).free_symbols if s.name not in values}
            assert (left - right).subs({**exact, **rest}).equals(0), (row.key, duty)


@every_row
def test_largest_critical_value(row: Discontinuous) -> None:
    mode = discontinuous(answer_for(row))
    # With n = 1 every normalization of K is the printed one, but for a constant.
    ratio = expanded(mode, mode.boundary["K"] / mode.definitions["K"])
    critical = sympy.cancel((ratio * published_k(row)).subs(symbol("n"), 1))
    assert critical.free_symbols == {D}
    assert critical.subs(D, Rational(row.largest_at)) == Rational(row.largest)
    for step in range(1, 100):
        assert critical.subs(D, Rational(step, 100)) <= Rational(row.largest)


@every_row
@pytest.mark.parametrize("duty, share, gains", DISCONTINUOUS_NUMBERS, ids=["D=0.3", "D=0.5"])
def test_numbers_below_the_edge(row: Discontinuous, duty: str, share: str, gains: dict[str, str]) -> None:
    mode = discontinuous(answer_for(row))
    k = Rational(share) * formula(row.critical).subs(D, Rational(duty))
    # Any coils do; the load is set so that K is what it should be.
    coils = {"L": "1", "L1": "2", "L2": "3", "LM": "5"}
    effective = formula(row.effective).subs({symbol(name): Rational(v) for name, v in coils.items()})
    load = 2 * effective.subs(symbol("n"), 1) / k
    value = number(mode, mode.gain, {**POINT, **coils, "D": duty, "R": str(load)})
    printed = gains[row.key] if row.key in gains else gains["inverting"]
    assert_printed(abs(value), printed, (row.key, row.sources))


@pytest.mark.parametrize("row", WORKED_DISCONTINUOUS, ids=lambda row: row.name)
def test_worked(row: WorkedDiscontinuous) -> None:
    """The formulas at the example's values, and the numbers the solver gives at the operating point."""
    answer = solved(netlist(row.netlist) + f"operate {row.operate}\n")
    mode = discontinuous(answer)
    values = {name: str(value) for name, value in answer.circuit.values.items()}
    found = {
        "K": mode.definitions["K"],
        "output": mode.output_voltage,
        "second": mode.intervals[1].fraction,
        "peak L": mode.stress["L"].current_peak,
    }
    for quantity, printed in row.numbers.items():
        assert_printed(number(mode, found[quantity], values), printed, (row.name, quantity, row.sources))
    assert answer.numbers is not None
    assert answer.numbers.mode == mode.name
    assert_printed(answer.numbers.formulas.output_voltage, row.numbers["output"], row.sources)
    assert_printed(answer.numbers.formulas.stress["L"]["current_peak"], row.numbers["peak L"], row.sources)


def test_sepic_coils_at_their_own_edges_are_at_the_common_edge() -> None:
    """S16: L1 > Vg (1-D)/(2 Io f) and L2 > Vg D/(2 Io f), both as equalities, give K = Kcrit."""
    answer = solved(netlist(BY_KEY["sepic"].netlist))
    mode = discontinuous(answer)
    load_current = answer.modes[0].gain * VG / R
    coils = {
        symbol("L1"): VG * (1 - D) * T / (2 * load_current),
        symbol("L2"): VG * D * T / (2 * load_current),
    }
    difference = expanded(mode, mode.definitions["K"] - mode.boundary["K"]).subs(coils)
    assert sympy.cancel(difference) == 0


@pytest.mark.parametrize(
    "duty, mode, volts", [("0.25", "DCM", "5.59"), ("0.5", "DCM", "11.18"), ("0.75", "CCM", "30.00")]
)
def test_one_value_of_k_explains_a_measured_stage(duty: str, mode: str, volts: str) -> None:
    """Common practice: 10 V, 20 us, K = 0.2; light load lifts the output at short on-times only."""
    line = BY_KEY["sepic"].netlist.replace("in -> a", "in -> a = 100 uH", 1)
    line = line.replace("gnd -> b", "gnd -> b = 100 uH", 1).replace("a -> b ;", "a -> b = 100 uF ;", 1)
    text = netlist(
        "source Vg : in -> gnd = 10 V ; "
        + line
        + " ; capacitor Co : out -> gnd = 1 mF ; load R : out -> gnd = 25 ohm"
    )
    numbers = solved(text + f"operate D = {duty}, T = 20 us\n").numbers
    assert numbers is not None
    assert numbers.mode == mode
    assert_printed(numbers.formulas.output_voltage, volts, duty)
