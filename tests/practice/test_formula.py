"""The formula language: what it reads, and what it says about what it cannot read."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from voltsec.practice.formula import (
    DEEPEST,
    LONGEST_FORMULA,
    Call,
    FormulaFault,
    Name,
    Number,
    Parallel,
    Power,
    Product,
    Sum,
    parse,
)

HALF = Fraction(1, 2)


@pytest.mark.parametrize(
    ("text", "node"),
    [
        ("D'", Name("D", 1)),
        ("D′", Name("D", 1)),
        ("D’", Name("D", 1)),
        ("D1'^2", Power(Name("D1", 1), Fraction(2))),
        ("D′²", Power(Name("D", 1), Fraction(2))),
        ("x⁻¹", Power(Name("x"), Fraction(-1))),
        ("x**-2", Power(Name("x"), Fraction(-2))),
        ("x^(3/4)", Power(Name("x"), Fraction(3, 4))),
        ("√K", Power(Name("K"), HALF)),
        ("√(K)", Power(Name("K"), HALF)),
        ("√√K", Power(Power(Name("K"), HALF), HALF)),
        ("sqrt(K)", Call("sqrt", (Name("K"),))),
        ("a || b", Parallel((Name("a"), Name("b")))),
        ("a ∥ b ∥ c", Parallel((Name("a"), Name("b"), Name("c")))),
        ("a·b", Product(((1, Name("a")), (1, Name("b"))))),
        ("a/b/c", Product(((1, Name("a")), (-1, Name("b")), (-1, Name("c"))))),
        ("a − b", Sum(((1, Name("a")), (-1, Name("b"))))),
        ("-a^2", Sum(((-1, Power(Name("a"), Fraction(2))),))),
        ("--a", Name("a")),
        ("1.5e-6", Number(Fraction(3, 2_000_000))),
        (".5", Number(HALF)),
        ("v(L1, 2)", Call("v", (Name("L1"), Number(Fraction(2))))),
        ("η", Name("η")),
        ("lambda", Name("lambda")),
    ],
)
def test_reading(text: str, node: object) -> None:
    assert parse(f"{text} = 0").left == node
    assert parse(f"0 = {text}").right == node


def test_the_interval_in_the_line() -> None:
    equation = parse("interval 2: v(L1) = Vg", 7)
    assert (equation.interval, equation.line) == (2, 7)
    with pytest.raises(FormulaFault) as caught:
        parse("interval 2: v(L1 = Vg")
    assert caught.value.fault.place is not None
    assert caught.value.fault.place.column == 14


BAD = (
    ("", "missing-equals", 1),
    ("Vout", "missing-equals", 5),
    ("Vout = ", "missing-operand", 7),
    ("= D", "missing-operand", 1),
    ("M = D/", "missing-operand", 7),
    ("M = D*/2", "missing-operand", 7),
    ("M = ()", "missing-operand", 6),
    ("M = 2D", "implicit-product", 6),
    ("M = (D)(D)", "implicit-product", 8),
    ("M = D R", "implicit-product", 7),
    ("L = 68 uH", "implicit-product", 8),
    ("M = (D", "unclosed-bracket", 5),
    ("M = D/(1 - D", "unclosed-bracket", 7),
    ("M = D)", "unclosed-bracket", 6),
    ("(M = D", "unclosed-bracket", 1),
    ("K = 2*L1 || L2", "ambiguous-parallel", 6),
    ("K = L1 || L2/R", "ambiguous-parallel", 13),
    ("M = D^n", "bad-exponent", 7),
    ("M = D^1000", "bad-exponent", 7),
    ("M = D^(1/0)", "bad-exponent", 8),
    ("M = ((((D^64)^64)^64)^64)", "bad-exponent", 19),
    ("M = D^2^3", "bad-formula", 8),
    ("M = D = 1", "bad-formula", 7),
    ("M == D", "bad-formula", 4),
    ("M >= D", "bad-formula", 3),
    ("M = D''", "bad-formula", 7),
    ("M = D; import os", "bad-formula", 6),
    ("M = 1,5", "bad-formula", 6),
    ("M = a.b", "bad-formula", 6),
    ("M = [D]", "bad-formula", 5),
    ("M = D % 2", "bad-formula", 7),
    ("M = 1e99999999999", "number-out-of-range", 5),
    ("M = " + "9" * 60, "number-out-of-range", 5),
    ("M = " + "(" * 200 + "D" + ")" * 200, "formula-too-long", 5 + DEEPEST),
    ("M = " + "√" * 9 + "D", "bad-exponent", 5),
    ("M = " + "D + " * LONGEST_FORMULA + "D", "formula-too-long", 1),
)


@pytest.mark.parametrize(("text", "kind", "column"), BAD, ids=[text[:24] for text, _, _ in BAD])
def test_bad_formulas(text: str, kind: str, column: int) -> None:
    with pytest.raises(FormulaFault) as caught:
        parse(text, 3)
    fault = caught.value.fault
    assert fault.place is not None
    assert (fault.kind, fault.place.line, fault.place.column) == (kind, 3, column)


def test_long_sums_and_products_are_read() -> None:
    assert len(parse("M = " + " + ".join(["D"] * 4000)).right.terms) == 4000  # type: ignore[union-attr]
    assert len(parse("M = " + "*".join(["D"] * 4000)).right.factors) == 4000  # type: ignore[union-attr]


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet="DRT1.9()+-*/^=|, '′²√·_ev\x00#\\", max_size=40))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        parse(text)
    except FormulaFault as problem:
        assert problem.fault.place is not None
        assert 1 <= problem.fault.place.column <= len(text) + 1
