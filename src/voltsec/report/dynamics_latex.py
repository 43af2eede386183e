r"""A small-signal model as a LaTeX fragment for a document that loads amsmath."""

from __future__ import annotations

from collections.abc import Iterator

from sympy import Expr, oo

from voltsec.dynamics.factored import Factor, Factored
from voltsec.dynamics.model import Model
from voltsec.report.dynamics_words import title
from voltsec.report.latex import escaped, formula_latex
from voltsec.report.machine import circuit_name

LONGEST = 1500
"""Signs of a formula up to which it is written."""


def dynamics_latex(model: Model, output: str = "") -> str:
    """A subsection; a paragraph a response: the ratio in factors, then what they are."""
    return "\n".join(_lines(model, output)) + "\n"


def _lines(model: Model, output: str) -> Iterator[str]:
    write = _Writer(model)
    heading = f"{circuit_name(model.circuit)}: small signals, {model.mode.name}"
    yield rf"\subsection*{{{escaped(heading)}}}"
    for name, value in model.definitions.items():
        yield rf"\[ {write.text(_symbol(name))} = {write.text(value)} \]"
    for response in model.responses:
        yield rf"\paragraph{{{escaped(title(response.link, model, output))}}}"
        if response.factored is None:
            yield "No formula that could be read."
            continue
        yield from write.factored(response.factored)


def _symbol(name: str) -> Expr:
    from voltsec.tableau.expression import symbol

    return symbol(name)


class _Writer:
    def __init__(self, model: Model) -> None:
        self.duties = model.circuit.duty_symbols

    def text(self, expression: Expr) -> str:
        return formula_latex(expression, self.duties)

    def factored(self, found: Factored) -> Iterator[str]:
        """``G(s) = G_0 (1 - s/w_z1) / (1 + s/(Q_1 w_1) + (s/w_1)^2)`` and what its symbols are."""
        definitions = [rf"G_0 = {self.text(found.gain)}"]
        above = [self._factor(f, f"z{n}", definitions) for n, f in enumerate(found.zeros, 1)]
        below = [self._factor(f, f"p{n}", definitions) for n, f in enumerate(found.poles, 1)]
        origin = {0: "", 1: "s"}.get(abs(found.origin), f"s^{{{abs(found.origin)}}}")
        if origin:
            (above if found.origin > 0 else below).insert(0, origin)
        ratio = rf"G_0\,{' '.join(above)}"
        if below:
            ratio = rf"G_0\,\frac{{{' '.join(above) or '1'}}}{{{' '.join(below)}}}"
        yield rf"\[ G(s) = {ratio} \]"
        for definition in definitions:
            yield (
                rf"\[ {definition} \]"
                if len(definition) < LONGEST
                else "(A coefficient is too long to be read.)"
            )

    def _factor(self, factor: Factor, name: str, definitions: list[str]) -> str:
        sign = "-" if factor.right else "+"
        power = f"^{{{factor.power}}}" if factor.power > 1 else ""
        if factor.omega is None:
            terms = [rf"a_{{{name},{k}}} s^{{{k}}}" for k in range(1, factor.degree + 1)]
            definitions += [
                rf"a_{{{name},{k}}} = {self.text(c)}" for k, c in enumerate(factor.coefficients[1:], 1)
            ]
            return rf"\left(1 + {' + '.join(terms)}\right){power}"
        omega = rf"\omega_{{{name}}}"
        definitions.append(rf"{omega} = {self.text(factor.omega)}")
        if factor.quality is None:
            return rf"\left(1 {sign} \frac{{s}}{{{omega}}}\right){power}"
        square = rf"\frac{{s^2}}{{{omega}^2}}"
        if factor.quality == oo:
            return rf"\left(1 + {square}\right){power}"
        definitions.append(rf"Q_{{{name}}} = {self.text(factor.quality)}")
        return rf"\left(1 {sign} \frac{{s}}{{Q_{{{name}}} {omega}}} + {square}\right){power}"
