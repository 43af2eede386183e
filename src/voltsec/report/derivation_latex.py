r"""A derivation as a LaTeX fragment; compiles inside any document that loads amsmath."""

from __future__ import annotations

from sympy import Add, Basic

from voltsec.practice.derivation import Derivation, Equation, Heading, Paragraph, Prose, Result
from voltsec.report.formula import with_complements
from voltsec.report.latex import escaped, formula_latex

LINE = 90
"""Characters of LaTeX that fit one displayed line, roughly, counted without commands."""


def as_latex(derivation: Derivation, heading: str = "section") -> str:
    """The derivation; ``heading`` is the sectioning command of its title."""
    duties = derivation.circuit.duty_symbols
    below = "sub" + heading

    def prose(pieces: Prose) -> str:
        return "".join(escaped(p) if isinstance(p, str) else f"${formula_latex(p, duties)}$" for p in pieces)

    shown = [
        "% \\usepackage{amsmath} is all this needs.",
        rf"\{heading}*{{{escaped(derivation.circuit.name)}: derivation of {derivation.mode}}}",
        "",
    ]
    for line in derivation.lines:
        if isinstance(line, Heading):
            shown += [rf"\{below}*{{{escaped(line.text)}}}", ""]
        elif isinstance(line, Paragraph):
            mark = r"\emph{Not verified:} " if line.doubt else ""
            shown += [mark + prose(line.pieces), ""]
        else:
            shown += [*_display(line, duties), rf"\noindent\hfill{{\small {prose(line.reason)}}}", ""]
    return "\n".join(shown) + "\n"


def _display(line: Equation | Result, duties: tuple[str, ...]) -> list[str]:
    tag = rf" \tag{{{line.number}}}" if isinstance(line, Equation) else ""
    left = formula_latex(line.left, duties)
    rows = _rows(line.right, duties)
    if isinstance(line.left, Add) and len(str(line.left)) > LINE and line.right == 0:
        rows = [*_rows(line.left, duties)]
        rows[-1] += " = 0"
        body = [rows[0], *(rf"&\quad {row}" for row in rows[1:])]
        body[0] = "& " + body[0]
    else:
        body = [f"{left} &= {rows[0]}", *(rf"&\quad {row}" for row in rows[1:])]
    inner = " \\\\\n".join(body)
    return [r"\begin{equation*}", r"\begin{aligned}", inner, rf"\end{{aligned}}{tag}", r"\end{equation*}"]


def _rows(expression: Basic, duties: tuple[str, ...]) -> list[str]:
    """One row, or the terms of a long sum packed into several."""
    if not isinstance(expression, Add) or len(str(expression)) <= LINE:
        return [formula_latex(expression, duties)]
    rows: list[str] = []
    length = 0
    shown = with_complements(expression, duties)
    for term in shown.as_ordered_terms() if isinstance(shown, Add) else [shown]:
        text = formula_latex(term)
        signed = text if text.startswith("-") or not rows else f"+ {text}"
        if rows and length + len(str(term)) <= LINE:
            rows[-1] += f" {signed}"
            length += len(str(term))
        else:
            rows.append(signed)
            length = len(str(term))
    return rows
