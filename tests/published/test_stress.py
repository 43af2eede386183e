"""Average, rms and peak currents of switch, diode and capacitors; utilisation of the switch."""

from __future__ import annotations

import pytest
import sympy
from sympy import Expr

from voltsec.results.solution import Mode

from .comparison import assert_same, continuous, formula, netlist, solved, symbol, with_sets
from .sources import M1, S17
from .tables import (
    BY_KEY,
    SOURCE_SIDE,
    SOURCE_SIDE_SQUARE,
    STRESS_SOURCES,
    STRESSES,
    UTILISATION,
    Stressed,
)

every_row = pytest.mark.parametrize("row", STRESSES, ids=[row.key for row in STRESSES])
D = symbol("D")


def mode_for(key: str) -> Mode:
    """Continuous conduction of the stage's published netlist."""
    stage = BY_KEY[key]
    answer = solved(netlist(stage.netlist))
    return continuous(answer) if stage.conducting is None else with_sets(answer, stage.conducting)


def load_current(key: str) -> Expr:
    """Io, a magnitude."""
    return formula(BY_KEY[key].gain.lstrip("-")) * symbol("Vg") / symbol("R")


def flat(row: Stressed) -> Expr:
    """IS: what the switch carries while it conducts, ripple left out."""
    return formula(row.flat, Io=load_current(row.key))


def squared(value: Expr | None) -> Expr | None:
    """Comparing squares of rms values keeps the comparison within rational functions."""
    return None if value is None else value**2


@every_row
@pytest.mark.parametrize("part, share", [("S", "D"), ("D1", "D'")])
def test_switch_and_diode_current(row: Stressed, part: str, share: str) -> None:
    mode = mode_for(row.key)
    divisor = formula(row.diode_share) if part == "D1" else sympy.Integer(1)
    level, ripple = flat(row) / divisor, formula(row.ripple) / divisor
    stress = mode.stress[part]
    because = (row.key, part, STRESS_SOURCES)
    assert_same(mode, stress.current_average, formula(share) * level, because)
    assert_same(mode, stress.current_peak, level + ripple / 2, because)
    assert_same(mode, squared(stress.current_rms), formula(share) * (level**2 + ripple**2 / 12), because)


@every_row
def test_switch_rms_from_peak_and_ripple_ratio(row: Stressed) -> None:
    """S17: Ipk sqrt(d (k^2/3 - k + 1)) with the ripple-to-peak ratio k."""
    mode = mode_for(row.key)
    peak = flat(row) + formula(row.ripple) / 2
    published = formula("Ipk^2*D*(k^2/3 - k + 1)", Ipk=peak, k=formula(row.ripple) / peak)
    assert_same(mode, squared(mode.stress["S"].current_rms), published, (row.key, S17))


@pytest.mark.parametrize(
    "row, part",
    [(row, part) for row in STRESSES for part in row.squares],
    ids=lambda value: getattr(value, "key", value),
)
def test_capacitor_rms(row: Stressed, part: str) -> None:
    mode = mode_for(row.key)
    slopes = {f"Delta{k}": formula(f"Vg*D*T/L{k}") for k in (1, 2)}
    published = formula(row.squares[part], Io=load_current(row.key), Delta=formula(row.ripple), **slopes)
    assert_same(mode, squared(mode.stress[part].current_rms), published, (row.key, part, STRESS_SOURCES))


@pytest.mark.parametrize("key", SOURCE_SIDE)
def test_source_side_capacitor_rms(key: str) -> None:
    """Behind a coil the source current is constant: the capacitor there carries the rest."""
    row = next(row for row in STRESSES if row.key == key)
    line = (
        "source Vg : feed -> gnd ; inductor Lf : feed -> in ; capacitor Cin : in -> gnd ; "
        + BY_KEY[key].netlist
    )
    mode = continuous(solved(netlist(line)))
    published = formula(SOURCE_SIDE_SQUARE, IS=flat(row), Delta=formula(row.ripple))
    assert_same(mode, squared(mode.stress["Cin"].current_rms), published, (key, STRESS_SOURCES))


@pytest.mark.parametrize("key, square, peak", UTILISATION, ids=[row[0] for row in UTILISATION])
def test_utilisation_of_the_switch(key: str, square: str, peak: str) -> None:
    """M1 table 6.1: output power over what the switch must stand, for large coils."""
    mode = mode_for(key)
    stress = mode.stress["S"]
    power = mode.output_voltage**2 / symbol("R")
    large = sympy.Symbol("large", positive=True)
    # Coils grow without bound together: ripple goes, the averages stay.  nr = 1 for the forward stage.
    coils = {symbol(name): large for name in ("L", "L1", "L2", "LM")}

    def limit(value: Expr) -> Expr:
        grown = sympy.cancel(value.subs(coils).subs(symbol("nr"), 1))
        return sympy.limit(grown, large, sympy.oo)

    at_rms = limit(power**2 / (stress.voltage_peak**2 * stress.current_rms**2))
    at_peak = limit(power / (stress.voltage_peak * stress.current_peak))
    assert sympy.cancel(at_rms - formula(square)) == 0, (key, at_rms, M1)
    assert sympy.cancel(at_peak - formula(peak)) == 0, (key, at_peak, M1)
