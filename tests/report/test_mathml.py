"""MathML: names, layout, and well-formed markup for every formula of several circuits."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest
import sympy
from sympy import And, Ge, Max, Or, Rational, Symbol, sqrt

from tests.practice.solved import solved
from voltsec.report.mathml import equation_mathml, mathml, symbol_mathml
from voltsec.report.read_back import expressions_of

D, K, R = (Symbol(name, positive=True) for name in ("D", "K", "R"))


def plain(markup: str) -> str:
    return "".join(ElementTree.fromstring(markup).itertext()).replace("\u2062", "")


@pytest.mark.parametrize(
    ("name", "letter", "below"),
    [("L1", "L", "1"), ("Vg", "V", "g"), ("R_L", "R", "L"), ("M_L1_L2", "M", "L1,L2"), ("omega_0", "ω", "0")],
)
def test_names_are_lowered(name: str, letter: str, below: str) -> None:
    element = ElementTree.fromstring(symbol_mathml(name))
    assert element.tag == "msub"
    assert "".join(element[0].itertext()) == letter
    assert "".join(element[1].itertext()) == below


def test_board_names() -> None:
    assert "".join(ElementTree.fromstring(symbol_mathml("i2(L1)")).itertext()) == "iL1(2)"
    assert "".join(ElementTree.fromstring(symbol_mathml("rise1(L1)")).itertext()) == "ΔiL1(1)"
    assert "".join(ElementTree.fromstring(symbol_mathml("v(C1)")).itertext()) == "vC1"


def test_the_complement_is_primed() -> None:
    markup = mathml(D / (1 - D), ("D",))
    assert plain(markup) == "DD′"
    assert markup.count("<mfrac>") == 1
    assert (
        plain(mathml(K * (1 - D) ** 2, ("D",))) == "D′2K" or plain(mathml(K * (1 - D) ** 2, ("D",))) == "KD′2"
    )


def test_signs_and_sums() -> None:
    assert plain(mathml(-D / K)) == "−DK"
    assert plain(mathml(K - D)) == "K−D"
    assert plain(mathml(-K * (R - D))).startswith("−")
    assert "<mo>(</mo>" not in mathml(D / (K - R))
    assert mathml(None) == "–"


def test_roots_stay_together() -> None:
    assert mathml(sqrt(3) * D * sqrt(R) / K).count("<msqrt>") == 1
    assert plain(mathml(Rational(3, 2))) == "32"
    assert "<msqrt>" in mathml(D / sqrt(K))


def test_conditions() -> None:
    assert plain(mathml(And(Ge(K, D), Ge(R, D)))).count("and") == 1
    assert "or" in plain(mathml(Or(Ge(K, D), Ge(R, D))))
    assert plain(mathml(Max(K, D, evaluate=False))).startswith("max(")
    assert "otherwise" in plain(mathml(sympy.Piecewise((K, K > D), (D, True))))


def test_an_equation() -> None:
    markup = equation_mathml(Symbol("V"), D, display=True)
    assert 'display="block"' in markup and plain(markup) == "V=D"


@pytest.mark.parametrize("name", ["sepic", "boost_lossy", "quad_boost", "cuk_coupled", "tap_bb_switchtap"])
def test_every_formula_is_well_formed(name: str) -> None:
    solution = solved(name)
    for mode in solution.modes:
        for expression in expressions_of(mode):
            markup = mathml(expression, solution.circuit.duty_symbols)
            root = ElementTree.fromstring(markup)
            assert not any(element.tag == "mtext" and "(" in (element.text or "") for element in root.iter())


def test_a_name_cannot_break_out() -> None:
    assert "<b>" not in symbol_mathml("x<b>")
