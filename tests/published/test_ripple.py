"""Peak-to-peak ripple of coils and capacitors in continuous conduction."""

from __future__ import annotations

import pytest
import sympy

from .comparison import assert_same, continuous, formula, netlist, solved, symbol, with_sets
from .tables import BY_KEY, RIPPLES, Ripple

CASES = [(row, part) for row in RIPPLES for part in row.ripple]


@pytest.mark.parametrize("row, part", CASES, ids=[f"{row.key}-{part}" for row, part in CASES])
def test_ripple(row: Ripple, part: str) -> None:
    stage = BY_KEY[row.key]
    answer = solved(netlist(stage.netlist))
    mode = continuous(answer) if stage.conducting is None else with_sets(answer, stage.conducting)
    magnitude = formula(stage.gain.lstrip("-")) * symbol("Vg")
    published = formula(row.ripple[part], V=magnitude, Io=magnitude / symbol("R"), C=symbol("Co"))
    told = mode.ripple[part]
    if isinstance(told, sympy.Piecewise):  # tables mean a capacitor's current that keeps its sign
        told = told.args[0][0]
    assert_same(mode, told, published, (row.key, part, row.sources))


@pytest.mark.parametrize("key", ["cuk", "sepic", "zeta"])
def test_coupled_coils(key: str) -> None:
    """M2: both windings see one voltage; slopes v (L2-M)/(L1 L2-M^2) and v (L1-M)/(L1 L2-M^2)."""
    mode = continuous(solved(netlist(BY_KEY[key].netlist + " ; couple M : L1, L2")))
    volt_seconds = "Vg*D*T*({other}-M)/(L1*L2-M^2)"
    for coil, other in (("L1", "L2"), ("L2", "L1")):
        # Either sign of the slope: the ripple is its magnitude, and M may be larger than the other coil.
        published = formula(volt_seconds.format(other=other))
        ripple = mode.ripple[coil]
        assert ripple is not None
        assert_same(mode, ripple**2, published**2, (key, coil))


def test_coupling_that_steers_the_ripple_away() -> None:
    """M2, S6: no ripple in L2 when M = L1, none in L1 when M = L2."""
    mode = continuous(solved(netlist(BY_KEY["cuk"].netlist + " ; couple M : L1, L2")))
    assert mode.ripple["L2"].subs(symbol("M"), symbol("L1")).equals(0)
    assert mode.ripple["L1"].subs(symbol("M"), symbol("L2")).equals(0)
    # L1 may be the mutual inductance where L2 is larger still, L1 + x say
    larger = {symbol("M"): symbol("L1"), symbol("L2"): symbol("L1") + symbol("x")}
    assert_same(
        mode,
        mode.ripple["L1"].subs(larger, simultaneous=True),
        formula("Vg*D*T/L1"),
        "the other coil keeps the ripple it has alone",
    )
