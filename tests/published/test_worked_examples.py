"""Worked examples of data sheets, application notes and textbooks, within their printed rounding."""

from __future__ import annotations

import pytest
import sympy
from sympy import Rational

from voltsec.results.solution import Mode

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
from .sources import S4, S5, S7, S8, S15, S21
from .tables import BY_KEY
from .worked import WORKED, Worked

D, R, T, VG = (symbol(name) for name in ("D", "R", "T", "Vg"))


def duty_for(mode: Mode, wanted: str, values: dict[str, str]) -> str:
    """The duty, between 0 and 1, at which the output is what is wanted; exact, as text."""
    known = {symbol(name): Rational(value) for name, value in values.items()}
    output = expanded(mode, mode.output_voltage).subs(known)
    inside = [x for x in sympy.solve(output - Rational(wanted), D) if x.is_real and 0 < x < 1]
    assert len(inside) == 1, inside
    return str(inside[0])


def quantity(mode: Mode, name: str, values: dict[str, str]) -> float:
    """A quantity by the words of the table."""
    word, _, part = name.partition(" ")
    if word == "duty":
        return float(Rational(values["D"]))
    if word == "valley":
        return quantity(mode, f"average {part}", values) - quantity(mode, f"ripple {part}", values) / 2
    if word == "relative":
        across = mode.capacitor_voltages[part]
        return number(mode, mode.ripple[part], values) / abs(number(mode, across, values))
    expression = {
        "output": lambda: mode.output_voltage,
        "efficiency": lambda: mode.efficiency,
        "average": lambda: mode.inductor_currents[part],
        "peak": lambda: mode.stress[part].current_peak,
        "rms": lambda: mode.stress[part].current_rms,
        "ripple": lambda: mode.ripple[part],
        "boundary": lambda: mode.boundary[part],
    }[word]()
    return number(mode, expression, values)


CASES = [(row, name) for row in WORKED for name in row.numbers]


@pytest.mark.parametrize("row, name", CASES, ids=[f"{row.name}-{name}" for row, name in CASES])
def test_worked(row: Worked, name: str) -> None:
    mode = continuous(solved(netlist(BY_KEY[row.key].netlist, row.parts)))
    values = dict(row.values)
    if row.wanted is not None:
        values["D"] = duty_for(mode, row.wanted, values)
    assert_printed(quantity(mode, name, values), row.numbers[name], (row.name, name, row.sources))


def test_5_primary_coil_of_a_discontinuous_flyback() -> None:
    """18 V, on-time 2 us, 250 kHz, 10 W at 75 %: the primary takes 13.3 W; 12.15 uH (printed 12.2)."""
    mode = discontinuous(solved(netlist(BY_KEY["flyback"].netlist)))
    power = expanded(mode, mode.output_voltage) ** 2 / R
    values = {VG: Rational(18), D: Rational(1, 2), T: Rational(4, 10**6)}
    drawn = sympy.simplify(power).subs(values)
    (coil,) = sympy.solve(drawn - Rational(10) / Rational("0.75"), symbol("LM"))
    assert_printed(float(coil) * 1e6, "12.15", S4)
    assert_printed(float(coil) * 1e6 + 0.05, "12.2", S4)


def test_6_turns_ratio_of_a_flyback() -> None:
    """D = 50 % at the lowest input (16 V and 5 V inferred): ns/np = 0.3125, printed 0.313."""
    mode = continuous(solved(netlist(BY_KEY["flyback"].netlist)))
    (ratio,) = sympy.solve((mode.gain - Rational(5, 16)).subs(D, Rational(1, 2)), symbol("n"))
    assert ratio == Rational(5, 16), S5


def test_12_zeta_voltages_and_currents() -> None:
    """S7, S8: coupling capacitor at V (not at the input), switch and diode block Vin + V, carry Iin + Io."""
    mode = continuous(solved(netlist(BY_KEY["zeta"].netlist)))
    output = mode.output_voltage
    assert_same(mode, mode.capacitor_voltages["C1"], output, (S7, S8))
    for part, share in (("S", D), ("D1", 1 - D)):
        assert_same(mode, mode.stress[part].voltage_peak, VG + output, (S7, S8))
        both = formula("D/D'") * output / R + output / R
        assert_same(mode, mode.stress[part].current_average, share * both, (S7, S8))


def test_12_sepic_coupling_capacitor_is_at_the_input() -> None:
    """In the SEPIC it is the input voltage, not Vin + V (several tutorials)."""
    mode = continuous(solved(netlist(BY_KEY["sepic"].netlist)))
    assert_same(mode, mode.capacitor_voltages["C1"], VG)


def test_13_cuk_equations() -> None:
    """S15: D = (|V|+VD)/(|V|+VD+Vin); coupling capacitor at Vin + |V|; output capacitor rms 0.3 Delta i2."""
    lossy = continuous(solved(netlist(BY_KEY["cuk"].netlist, ("VD",))))
    magnitude = -lossy.output_voltage
    duty = (magnitude + symbol("VD")) / (magnitude + symbol("VD") + VG)
    assert_same(lossy, duty, D, S15)
    mode = continuous(solved(netlist(BY_KEY["cuk"].netlist)))
    assert_same(mode, mode.capacitor_voltages["C1"], VG - mode.output_voltage, S15)
    square = (mode.stress["Co"].current_rms / mode.ripple["L2"]) ** 2
    assert_same(mode, square, Rational(1, 12) + 0 * D, S15)
    assert_printed(float(sympy.sqrt(Rational(1, 12))), "0.3", S15)


@pytest.mark.parametrize(
    "key, peak, ratio",
    [
        ("boost", "2*Io*(x+1)", "(V+VF-Vg)/(Vg-Vsat)"),
        ("buck", "2*Io", "(V+VF)/(Vg-Vsat-V)"),
        ("buckboost", "2*Io*(x+1)", "(V+VF)/(Vg-Vsat)"),
    ],
)
def test_14_design_at_the_boundary(key: str, peak: str, ratio: str) -> None:
    """S21: peak of the switch at the boundary, x = ton/toff, and x from the volt-seconds with drops."""
    ideal = continuous(solved(netlist(BY_KEY[key].netlist)))
    sign = -1 if BY_KEY[key].gain.startswith("-") else 1
    on_edge = ideal.stress["S"].current_peak.subs(symbol("L"), ideal.boundary["L"])
    published = formula(peak, Io=sign * ideal.output_voltage / R, x=D / (1 - D))
    assert sympy.cancel(on_edge - published) == 0, (key, S21)

    lossy = continuous(solved(netlist(BY_KEY[key].netlist, ("VD", "Vsat"))))
    shares = formula(ratio, V=sign * lossy.output_voltage, VF=symbol("VD"))
    assert_same(lossy, shares, D / (1 - D), (key, S21))


def test_boost_boundary_is_half_of_a_printed_criterion() -> None:
    """S3 prints L = D D' Vin/(Io f) in a text about the boundary, which is half of that."""
    mode = continuous(solved(netlist(BY_KEY["boost"].netlist)))
    load_current = mode.output_voltage / R
    assert_same(mode, mode.boundary["L"], D * (1 - D) * VG * T / (2 * load_current))
