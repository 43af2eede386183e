r"""A small-signal model as a LaTeX fragment for a document that loads amsmath."""

from __future__ import annotations

from collections.abc import Iterator

from sympy import Expr

from voltsec.dynamics.model import Model
from voltsec.report.alphabet import UNICODE
from voltsec.report.dynamics_words import in_sentence, number_rows, reduced_sentences, title
from voltsec.report.factored_form import FactoredForm, Markup, words_beside
from voltsec.report.latex import equation, escaped, formula_latex, symbol_latex


def dynamics_latex(model: Model, output: str = "", numbers: bool = False) -> str:
    """A subsection; a paragraph a response: the ratio in factors, then what they are, then the numbers."""
    return "\n".join(_lines(model, output, numbers)) + "\n"


def _lines(model: Model, output: str, numbers: bool) -> Iterator[str]:
    markup = _Latex(model)
    form = FactoredForm(markup)
    heading = f"{model.circuit.name}: small signals, {model.mode.name}"
    yield rf"\subsection*{{{escaped(heading)}}}"
    duties = model.circuit.duty_symbols
    for name, value in model.definitions.items():
        yield "\\begin{align*}\n" + equation(symbol_latex(name), value, duties) + "\n\\end{align*}"
    yield from map(escaped, reduced_sentences(model))
    for response in model.responses:
        name = title(response.link, model, output)
        yield rf"\paragraph{{{escaped(name)}}}"
        if response.shown is None:
            yield "No formula that could be read."
        elif response.shown.gain == 0:
            yield "Zero at all frequencies, as far as the formulas go."
        else:
            written = form.response(response.shown, in_sentence(name))
            yield rf"\[ {written.ratio} \]"
            for definition in written.definitions:
                yield rf"\[ {definition} \]"
            yield from map(escaped, words_beside(written))
        rows = list(number_rows(response, model, UNICODE)) if numbers else []
        if rows:
            yield r"\begin{center}\begin{tabular}{ll}"
            yield from (rf"{escaped(label)} & {escaped(text)} \\" for label, text in rows)
            yield r"\end{tabular}\end{center}"


class _Latex(Markup):
    def __init__(self, model: Model) -> None:
        self.duties = model.circuit.duty_symbols

    def text(self, expression: Expr) -> str:
        return formula_latex(expression, self.duties)

    def lowered(self, letter: str, below: str) -> str:
        shown = rf"\{letter}" if len(letter) > 1 else letter
        return rf"{shown}_{{{below}}}" if below else shown

    def fraction(self, top: str, bottom: str) -> str:
        return rf"\frac{{{top}}}{{{bottom}}}"

    def raised(self, base: str, power: int) -> str:
        return f"{base}^{{{power}}}"

    def bracketed(self, inside: str) -> str:
        return rf"\left({inside}\right)"

    def row(self, parts: list[str]) -> str:
        return " ".join(parts)

    def sign(self, sign: str) -> str:
        return r"\approx " if sign == "≈" else sign
