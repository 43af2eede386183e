"""A derivation as HTML with MathML equations; numbers of lines are links."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from html import escape

from sympy import Basic

from voltsec.practice.derivation import Derivation, Equation, Heading, Paragraph, Prose
from voltsec.report.formula import UNREADABLE, formula, readable
from voltsec.report.mathml import equation_mathml, mathml

INLINE = 24
"""Characters of a formula in prose beyond which it gets a box that scrolls by itself."""

WIDE, WIDER = 110, 220
"""Characters of a fraction's longer half beyond which its equation is set smaller; sums go on in rows."""


def html_lines(derivation: Derivation, prefix: str) -> Iterator[str]:
    """One piece of HTML a line; ``prefix`` keeps the anchors of several derivations apart."""
    duties = derivation.circuit.duty_symbols

    def prose(pieces: Prose) -> str:
        parts = []
        for piece in pieces:
            if not isinstance(piece, str):
                if not readable(piece):
                    parts.append("a formula too long to be read")
                    continue
                text = formula(piece, duties)
                markup = sized(mathml(piece, duties), text)
                parts.append(f'<span class="scroll">{markup}</span>' if len(text) > INLINE else markup)
                continue
            parts.append(re.sub(r"\((\d+)\)", rf'<a href="#{prefix}-\1">(\1)</a>', escape(piece)))
        return "".join(parts)

    for line in derivation.lines:
        if isinstance(line, Heading):
            yield f"<h4>{escape(line.text)}</h4>"
        elif isinstance(line, Paragraph):
            mark = ' class="doubt"' if line.doubt else ""
            yield f"<p{mark}>{prose(line.pieces)}</p>"
        else:
            shown = _equation(line.left, line.right, duties)
            numbered = isinstance(line, Equation)
            anchor = f' id="{prefix}-{line.number}"' if isinstance(line, Equation) else ""
            tag = (
                f'<span class="tag">({line.number})</span>' if isinstance(line, Equation) else "<span></span>"
            )
            kind = "step" if numbered else "step result"
            why = prose(line.reason)
            yield (
                f'<div class="{kind}"{anchor}><div class="scroll">{shown}</div>{tag}'
                f'<div class="why">{why}</div></div>'
            )


def _equation(left: Basic, right: Basic, duties: Iterable[str]) -> str:
    if readable(left) and readable(right):
        text = f"{formula(left, duties)} = {formula(right, duties)}"
        return sized(equation_mathml(left, right, duties), text)
    shown = [mathml(side, duties) if readable(side) else UNREADABLE for side in (left, right)]
    return f"{shown[0]}: {shown[1]}"


def sized(markup: str, text: str) -> str:
    """``markup`` of a ``<math>`` element, set smaller where its plain ``text`` is long."""
    length = max(len(part) for part in text.split("/"))
    if length > WIDER:
        return markup.replace("<math", '<math class="wider"', 1)
    return markup.replace("<math", '<math class="wide"', 1) if length > WIDE else markup
