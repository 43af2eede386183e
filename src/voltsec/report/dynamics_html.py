"""A small-signal model for the page: each response in factors as MathML, its numbers beside."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from itertools import pairwise
from typing import Any

from sympy import Expr, Integer

from voltsec.dynamics.model import Model
from voltsec.report.alphabet import UNICODE
from voltsec.report.derivation_html import sized
from voltsec.report.dynamics_words import in_sentence, number_rows, title
from voltsec.report.factored_form import FactoredForm, Markup, words_beside
from voltsec.report.mathml import TAG, TIMES, equation_mathml, mathml, wrapped
from voltsec.tableau.expression import symbol


def responses_html(model: Model) -> Iterator[dict[str, Any]]:
    """For each response its ``name``, ``equations`` (markup), ``words`` and rows of ``numbers``."""
    markup = _MathML(model)
    form = FactoredForm(markup)
    for response in model.responses:
        name = title(response.link, model)
        equations: list[str] = []
        words: list[str] = []
        if response.shown is None:
            words.append("There is no formula that could be read.")
        elif response.shown.gain == Integer(0):
            words.append("Zero at all frequencies, as far as the formulas go.")
        else:
            written = form.response(response.shown, in_sentence(name))
            equations = [_display(one) for one in (written.ratio, *written.definitions)]
            words += words_beside(written)
        yield {
            "name": name,
            "equations": equations,
            "words": words,
            "numbers": list(number_rows(response, model, UNICODE)),
        }


def definitions_html(model: Model) -> list[str]:
    """Equations of the quantities that formulas of discontinuous conduction refer to."""
    duties = model.circuit.duty_symbols
    return [equation_mathml(symbol(name), value, duties) for name, value in model.definitions.items()]


def _display(inner: str) -> str:
    return sized(wrapped(inner, display=True), TAG.sub("", inner))


class _MathML(Markup):
    longest = 500

    def __init__(self, model: Model) -> None:
        self.duties = model.circuit.duty_symbols

    def length(self, text: str) -> int:
        return len(TAG.sub("", text))

    def text(self, expression: Expr) -> str:
        markup = mathml(expression, self.duties)
        return markup[markup.index(">") + 1 : markup.rindex("</math>")]

    def lowered(self, letter: str, below: str) -> str:
        shown = f"<mi>{'ω' if letter == 'omega' else escape(letter)}</mi>"
        return f"<msub>{shown}<mi mathvariant='normal'>{below}</mi></msub>" if below else shown

    def fraction(self, top: str, bottom: str) -> str:
        return f"<mfrac><mrow>{top}</mrow><mrow>{bottom}</mrow></mfrac>"

    def raised(self, base: str, power: int) -> str:
        return f"<msup><mrow>{base}</mrow><mn>{power}</mn></msup>"

    def bracketed(self, inside: str) -> str:
        return f"<mrow><mo>(</mo>{inside}<mo>)</mo></mrow>"

    def row(self, parts: list[str]) -> str:
        """Terms with signs between them; factors with the sign that is not seen."""
        shown = [f"<mn>{part}</mn>" if part == "1" else part for part in parts]
        found = shown[:1]
        for before, part in pairwise(shown):
            signs = any(one.startswith("<mo>") and one.endswith("</mo>") for one in (before, part))
            found.append(part if signs else TIMES + part)
        return "".join(found)

    def sign(self, sign: str) -> str:
        return f"<mo>{'−' if sign == '-' else sign}</mo>"
