"""Derivations: a known stage line by line, the check that guards each line, every shipped circuit."""

from __future__ import annotations

import pytest
import sympy
from sympy import Symbol, sqrt

import voltsec
from tests.practice.solved import SLOW, every_circuit, solved
from voltsec.practice.algebra import Board, vanishes
from voltsec.practice.blackboard import Blackboard, numbers_text
from voltsec.practice.derivation import Derivation, Equation, Heading, Paragraph
from voltsec.practice.derive import NoSuchMode, derive
from voltsec.tableau.expression import symbol
from voltsec.tableau.ratio import Ratio


def lines_of(derivation: Derivation) -> set[str]:
    return {f"{line.left} = {line.right}" for line in derivation.equations}


@pytest.mark.parametrize("name", every_circuit())
def test_the_last_line_is_the_solvers(name: str) -> None:
    """Each mode with formulas of each circuit; of slow circuits the first mode."""
    solution = solved(name)
    names = [mode_name for mode_name, _ in solution.engine.builders]
    for mode_name in names[:1] if name in SLOW else names:
        mode = next(mode for mode in solution.modes if mode.name == mode_name)
        derivation = derive(solution, mode_name)
        assert derivation.result is not None, mode_name
        assert derivation.result == derivation.lines[-1]
        assert derivation.result.right == (mode.output_voltage if mode.gain is None else mode.gain)
        assert not derivation.doubts, [doubt.pieces for doubt in derivation.doubts]


def test_sepic_line_by_line() -> None:
    """What a teacher writes on the board."""
    found = lines_of(derive(solved("sepic"), "CCM"))
    assert {
        "v(L1) = Vg",
        "v(L2) = v(C1)",
        "i(C1) = -i(L2)",
        "i(Co) = -v(Co)/R",
        "v(L2) = -v(Co)",
        "i(C1) = i(L1)",
        "v(C1) = Vg",
        "v(Co) = D*Vg/(1 - D)",
        "i(L2) = D*Vg/(R*(1 - D))",
        "K = (1 - D)**2",
    } <= found


def test_sepic_in_discontinuous_conduction() -> None:
    derivation = derive(solved("sepic"), "dcm")
    assert derivation.mode == "DCM"
    found = lines_of(derivation)
    assert {"rise1(L1) = D*T*Vg/L1", "i3(L1) = -i3(L2)", "v(Co) = D*Vg/d2", "d2 = sqrt(K)"} <= found
    assert "Equation for d2" in [line.text for line in derivation.lines if isinstance(line, Heading)]


@pytest.mark.parametrize("name", ["sepic", "boost_lossy", "boost_2x", "cuk_coupled", "flyback", "sl_boost"])
def test_solved_lines_satisfy_every_balance(name: str) -> None:
    """Checked with sympy alone, another algebra than the one that guards the lines."""
    derivation = derive(solved(name), "CCM")
    solved_lines = [e for e in derivation.equations if str(e.reason[0]).startswith("from ")]
    values = {equation.left: equation.right for equation in solved_lines}
    values |= {e.left: e.right for e in derivation.equations if "ties them" in str(e.reason[0])} | values
    balances = [e for e in derivation.equations if e.right == 0 and "balance" in str(e.reason[0])]
    assert balances
    for equation in balances:
        left = equation.left
        for _ in range(4):
            left = left.subs(values)
        assert sympy.cancel(sympy.together(left)) == 0


def test_every_citation_exists_and_comes_before() -> None:
    for mode in ("CCM", "DCM"):
        seen: set[int] = set()
        for line in derive(solved("zeta"), mode).lines:
            if isinstance(line, Equation):
                assert set(line.cites) <= seen
                assert line.number == len(seen) + 1
                seen.add(line.number)


def test_a_tie_is_told() -> None:
    """Two capacitors that an interval puts side by side, two coils it puts in line."""
    pieces = ["".join(map(str, line.reason)) for line in derive(solved("boost_2x"), "CCM").equations]
    assert any("a loop of capacitors" in piece for piece in pieces)
    pieces = ["".join(map(str, line.reason)) for line in derive(solved("sl_boost"), "CCM").equations]
    assert any("a cutset of coils" in piece for piece in pieces)


def test_long_equations_are_solved_together() -> None:
    derivation = derive(solved("boost_lossy"), "DCM")
    text = " ".join(str(p) for line in derivation.lines if isinstance(line, Paragraph) for p in line.pieces)
    assert "solved together" in text
    assert derivation.result is not None


def board() -> Blackboard:
    return Blackboard(Board(("D", "Vg"), ("v(C)",), ("D",), {"D": 0.5, "Vg": 10.0}))


def test_a_wrong_line_is_not_written() -> None:
    """The line D·Vg - D'·v(C) = 0 gives D·Vg/D', and nothing else."""
    blackboard = board()
    ring = blackboard.board.ring
    duty, source, state = (ring.symbol(name) for name in ("D", "Vg", "v(C)"))
    balance = duty * source - (1 - duty) * state
    left = symbol("D") * symbol("Vg") - (1 - symbol("D")) * symbol("v(C)")
    assert blackboard.balance(left, ("balance",), Ratio(balance, ring.one), ()) == 1
    wrong = (1 - symbol("D")) * symbol("Vg") / symbol("D")
    assert blackboard.solved(symbol("v(C)"), wrong, ("wrong",), 1, ()) is None
    doubt = blackboard.lines[-1]
    assert isinstance(doubt, Paragraph) and doubt.doubt
    right = symbol("D") * symbol("Vg") / (1 - symbol("D"))
    assert blackboard.solved(symbol("v(C)"), right, ("right",), 1, ()) == 2


def test_a_wrong_balance_is_not_written() -> None:
    blackboard = board()
    ring = blackboard.board.ring
    value = Ratio(ring.symbol("D") * ring.symbol("Vg"), ring.one)
    assert blackboard.balance(symbol("Vg"), ("wrong",), value, ()) is None
    assert blackboard.identity(symbol("v(C)"), symbol("Vg"), ("wrong",), value) is None
    assert not blackboard.equations


def test_roots_are_compared_exactly() -> None:
    K, D = symbol("K"), symbol("D")
    point = {"K": 0.2, "D": 0.4}
    assert vanishes(sqrt(4 * D**2 / K + 1) - sqrt(K) * sqrt(4 * D**2 + K) / K, point)
    assert not vanishes(sqrt(4 * D**2 / K + 1) - sqrt(4 * D**2 + K), point)
    assert vanishes(sqrt((1 - D) ** 2 * K) - (1 - D) * sqrt(K), point)
    inner = 1 + sqrt(K)  # a root under a root
    assert vanishes(sqrt(D * inner) - sqrt(D) * sqrt(inner), point)
    assert not vanishes(sqrt(D * inner) - sqrt(D + inner), point)
    assert not vanishes(sqrt((1 - D) ** 2 * K) + (1 - D) * sqrt(K), point)


def test_numbers_are_told_in_runs() -> None:
    assert numbers_text([4]) == "(4)"
    assert numbers_text([6, 4]) == "(4) and (6)"
    assert numbers_text([1, 2, 3, 5, 3]) == "(1) to (3) and (5)"


def test_an_unknown_mode_names_the_others() -> None:
    with pytest.raises(NoSuchMode, match="CCM, DCM"):
        derive(solved("sepic"), "XCM")


def test_parts_may_carry_any_name() -> None:
    """A coil called E and a load called pi stay symbols."""
    import voltsec

    text = """
    source I : in -> gnd = 12 V
    switch S : in -> a
    diode D1 : gnd -> a
    inductor E : a -> out = 100 uH
    capacitor N : out -> gnd = 100 uF
    load pi : out -> gnd = 5 ohm
    operate D = 0.4, T = 10 us
    """
    for mode in ("CCM", "DCM"):
        derivation = derive(voltsec.solve(voltsec.read(text)), mode)
        assert derivation.result is not None and not derivation.doubts
    assert "v(E) = I - v(N)" in lines_of(derivation) or "v(E) = -v(N) + I" in lines_of(derivation)
    assert Symbol("pi", positive=True) in derivation.equations[1].right.free_symbols


def test_perfectly_coupled_windings_are_derived() -> None:
    """Formulas hold roots of inductances there: lines that cannot be read back are left out, not fatal.

    Gain of a tapped step-up with equal windings behind a step-up of duty D, all in continuous conduction:
    D/(1 - D) times (1 + D)/(1 - D) (balance of volt-seconds by hand, common practice, no source).
    """
    text = """source Vg : in -> gnd = 48 V
inductor L1 : in -> n1 = 390 uH
switch S1 : n1 -> gnd
capacitor C1 : n1 -> n2 = 560 uF
inductor L2 : gnd -> n2 = 470 uH
diode D1 : n2 -> n3
capacitor C2 : n3 -> gnd = 47 uF
inductor L3 : n3 -> n4 = 1.8 mH
inductor L4 : n4 -> n5 = 1.8 mH
switch S2 : n4 -> gnd
diode D2 : n5 -> n6
capacitor C3 : n6 -> gnd = 560 uF
load R : n6 -> gnd = 22 ohm
couple L3, L4 = 1
drive S1 at D
drive S2 with S1
operate D = 0.4, T = 5.6 us
"""
    solution = voltsec.solve(voltsec.read(text))
    assert solution.gain is not None
    at = {symbol("D"): 0.25, symbol("L3"): 1.0, symbol("L4"): 1.0}
    assert float(solution.gain.subs(at)) == pytest.approx(0.25 * 1.25 / 0.75**2)
    for mode in solution.modes:
        if mode.written:
            assert derive(solution, mode.name).equations
