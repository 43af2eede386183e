"""Readable formulas."""

import pytest
from sympy import Abs, And, Ge, Lt, Max, Or, Piecewise, Rational, sqrt, symbols

from voltsec.report.alphabet import ASCII, UNICODE, alphabet_for
from voltsec.report.formula import formula

D, K, L1, L2, R, Vg, n = symbols("D K L1 L2 R Vg n", positive=True)
D1, D2 = symbols("D1 D2", positive=True)

CASES = [
    (D * Vg / (1 - D), "D·Vg/D′", "D*Vg/D'"),
    (D / (D - 1), "−D/D′", "-D/D'"),
    (-D / (1 - D), "−D/D′", "-D/D'"),
    ((1 - D) ** -2, "1/D′²", "1/D'^2"),
    (D**12, "D¹²", "D^12"),
    (2 * (1 - D), "2·D′", "2*D'"),
    (1 - 2 * D, "1 − 2·D", "1 - 2*D"),
    (1 - D - sqrt(K), "1 − D − √(K)", "1 - D - sqrt(K)"),
    (D / sqrt(K), "D/√(K)", "D/sqrt(K)"),
    (Vg * sqrt(D / 3), "Vg·√(D/3)", "Vg*sqrt(D/3)"),
    (Vg * sqrt(D / 12), "Vg·√(D/3)/2", "Vg*sqrt(D/3)/2"),
    (K ** Rational(3, 2), "K·√(K)", "K*sqrt(K)"),
    (K ** Rational(1, 3), "K^(1/3)", "K^(1/3)"),
    (L1 * L2 / (R * (L1 + L2)), "L1·L2/(R·(L1 + L2))", "L1*L2/(R*(L1 + L2))"),
    (-Rational(1, 2) * n, "−n/2", "-n/2"),
    (Ge(K, (1 - D) ** 2), "K ≥ D′²", "K >= D'^2"),
    (And(Lt(K, (1 - D) ** 2), Lt(D, Rational(1, 2))), "D < 1/2 and K < D′²", "D < 1/2 and K < D'^2"),
    (Or(Lt(K, 1), And(Lt(D, n), Lt(K, R))), "K < 1 or (D < n and K < R)", "K < 1 or (D < n and K < R)"),
    (Abs(D - n), "|D − n|", "|D - n|"),
    (Max(D, n), "max(D, n)", "max(D, n)"),
    (Piecewise((D, Lt(D, n)), (K, True)), "D where D < n; K otherwise", "D where D < n; K otherwise"),
    (1.5 * D, "1.5·D", "1.5*D"),
    (-(2 * L1 - R) / (L1 * R), "(R − 2·L1)/(L1·R)", "(R - 2*L1)/(L1*R)"),
    (-D * L1 / (R - 2 * L1), "D·L1/(2·L1 − R)", "D*L1/(2*L1 - R)"),
    (-D * (L1 + R), "−D·(L1 + R)", "-D*(L1 + R)"),
    (-((R - L1) ** 2), "−(R − L1)²", "-(R - L1)^2"),
    (None, "–", "-"),
]


@pytest.mark.parametrize(("expression", "fancy", "plain"), CASES)
def test_both_alphabets(expression: object, fancy: str, plain: str) -> None:
    assert formula(expression, ["D"]) == fancy
    assert formula(expression, ["D"], ASCII) == plain


def test_each_duty_has_its_own_complement() -> None:
    assert formula(D1 * D2 / ((1 - D1) * (1 - D2)), ["D1", "D2"]) == "D1·D2/(D1′·D2′)"


def test_only_duties_are_primed() -> None:
    assert formula(1 - K, ["D"]) == "1 − K"


@pytest.mark.parametrize("name", ["E", "I", "N", "S", "Q", "beta", "pi", "zoo"])
def test_names_that_mean_something_to_sympy_stay_plain(name: str) -> None:
    assert formula(symbols(name, positive=True) * D, ["D"]) in (f"D·{name}", f"{name}·D")


def test_the_encoding_chooses_the_alphabet() -> None:
    assert alphabet_for("utf-8") is UNICODE
    for encoding in ("ascii", "latin-1", None, "no-such-encoding"):
        assert alphabet_for(encoding) is ASCII


def test_plain_prose_is_ascii() -> None:
    assert ASCII.plain("V(C1) − V(C2): 5 µA → 3 Ω").isascii()
