"""LaTeX: symbols, escapes, and a fragment whose formulas typeset."""

import re

import pytest
from sympy import Symbol, symbols

from tests.report.samples import sepic_solution
from voltsec.report.latex import equation, escaped, formula_latex, latex_fragment, symbol_latex
from voltsec.results.solution import Solution


@pytest.mark.parametrize(
    ("name", "latex"),
    [
        ("D", "D"),
        ("D′", "D'"),
        ("D1′", "D_{1}'"),
        ("Vg", "V_{g}"),
        ("L1", "L_{1}"),
        ("L12", "L_{12}"),
        ("Rload", r"R_{\mathrm{load}}"),
        ("R_L1", r"R_{\mathrm{L1}}"),
        ("M_L1_L2", r"M_{\mathrm{L1},\mathrm{L2}}"),
        ("beta", r"\beta"),
        ("eta_1", r"\eta_{1}"),
        ("nr", "n_{r}"),
        ("_x", r"\mathrm{\_x}"),
    ],
)
def test_symbols(name: str, latex: str) -> None:
    assert symbol_latex(name) == latex


def test_a_complement_takes_a_power() -> None:
    D, D1 = symbols("D D1", positive=True)
    assert formula_latex(1 / (1 - D) ** 2, ["D"]) == r"\frac{1}{D'^{2}}"
    assert formula_latex((1 - D1) ** 2, ["D1"]) == "D_{1}'^{2}"


def test_a_sum_opens_with_a_positive_term() -> None:
    D, d2 = symbols("D d2", positive=True)
    assert formula_latex(1 - D - d2, ["D"]) == "1 - D - d_{2}"


def test_prose_is_escaped() -> None:
    assert escaped("50 % & R_L1 #2 {x} ~ 3 $") == r"50 \% \& R\_L1 \#2 \{x\} \textasciitilde{} 3 \$"


def test_a_long_sum_goes_on_over_several_lines() -> None:
    terms = [Symbol(f"quantity{n}", positive=True) * Symbol(f"other{n}", positive=True) for n in range(8)]
    text = equation("x", sum(terms), [])
    assert text.count("\\\\\n&\\quad +") == 7


def test_every_formula_typesets(solution: Solution) -> None:
    """matplotlib's own typesetter reads the mathematics of the fragment."""
    mathtext = pytest.importorskip("matplotlib.mathtext")
    parser = mathtext.MathTextParser("path")
    fragment = latex_fragment(solution)
    blocks = re.findall(r"\\begin{align\*}(.*?)\\end{align\*}", fragment, re.DOTALL)
    lines = [line.split("&&")[0] for block in blocks for line in block.split("\\\\\n")]
    assert len(lines) > 30
    for line in lines:
        formula = line.replace("&", "").replace(r"\quad", "").replace(r"\big|", "|").strip()
        parser.parse(f"${formula}$")


def test_the_fragment_is_balanced(solution: Solution) -> None:
    fragment = latex_fragment(solution)
    opened = re.findall(r"\\begin{([a-z*]+)}", fragment)
    closed = re.findall(r"\\end{([a-z*]+)}", fragment)
    assert sorted(opened) == sorted(closed)
    assert fragment.count("{") - fragment.count(r"\{") == fragment.count("}") - fragment.count(r"\}")
    assert r"\subsection*{CCM: continuous conduction}" in fragment
    assert r"Holds when $K < D'^{2}$ (checked at sample values)." in fragment
    assert r"C1 blocks direct current only" in fragment
    assert "′" not in fragment and "µ" not in fragment


def test_a_title_cannot_break_the_fragment() -> None:
    from dataclasses import replace

    solution = sepic_solution()
    named = replace(solution, circuit=replace(solution.circuit, title="50 % of 3_4 & more"))
    assert r"\section*{50 \% of 3\_4 \& more}" in latex_fragment(named)
