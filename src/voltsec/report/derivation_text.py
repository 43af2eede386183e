"""A derivation as plain text, 80 columns wide, and as Markdown."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap

from sympy import Basic

from voltsec.practice.derivation import Derivation, Equation, Heading, Line, Paragraph, Prose, Result
from voltsec.report.alphabet import UNICODE, Alphabet
from voltsec.report.formula import formula
from voltsec.report.wrapping import wrap_formula

INDENT = 4
REASON_COLUMN = 36
"""Where a short reason stands, beside a short formula."""
UNBROKEN = "\u00a0"
"""Keeps the blanks of a formula inside prose together."""


def as_text(derivation: Derivation, width: int = 80, alphabet: Alphabet = UNICODE) -> str:
    """The derivation for a terminal; no line is longer than ``width``."""
    return "\n".join(_Text(derivation, width, alphabet).lines()) + "\n"


class _Text:
    def __init__(self, derivation: Derivation, width: int, alphabet: Alphabet) -> None:
        self.derivation = derivation
        self.duties = derivation.circuit.duty_symbols
        self.width = max(width, 40)
        self.alphabet = alphabet

    def lines(self) -> Iterator[str]:
        """All lines."""
        plain = self.alphabet.plain
        title = f"{self.derivation.circuit.name}: derivation of {self.derivation.mode}"
        yield from wrap(plain(title), self.width)
        for line in self.derivation.lines:
            yield from self._line(line)

    def _line(self, line: Line) -> Iterator[str]:
        if isinstance(line, Heading):
            yield ""
            yield self.alphabet.plain(line.text)
            yield ("─" if self.alphabet.unicode else "-") * len(line.text)
        elif isinstance(line, Paragraph):
            mark = "Not verified: " if line.doubt else ""
            yield ""
            text = mark + self._prose(line.pieces)
            yield from (part.replace(UNBROKEN, " ") for part in wrap(text, self.width))
        elif isinstance(line, Equation):
            yield from self._equation(f"({line.number})", line)
        else:
            yield from self._equation("", line)

    def _formula(self, expression: Basic) -> str:
        return formula(expression, self.duties, self.alphabet)

    def _prose(self, pieces: Prose) -> str:
        shown = []
        for piece in pieces:
            if isinstance(piece, str):
                shown.append(self.alphabet.plain(piece))
                continue
            text = self._formula(piece)
            shown.append(text.replace(" ", UNBROKEN) if len(text) < self.width // 2 else text)
        return "".join(shown)

    def _equation(self, number: str, line: Equation | Result) -> Iterator[str]:
        """The formula, its number at the right margin, the reason beside it or below."""
        text = f"{self._formula(line.left)} = {self._formula(line.right)}"
        room = self.width - INDENT - len(number) - 2
        broken = wrap_formula(text, room)
        reason = self._prose(line.reason)
        beside = max(len(text) + INDENT + 2, REASON_COLUMN)
        if len(broken) == 1 and beside + len(reason) + 2 + len(number) <= self.width:
            start = (" " * INDENT + text).ljust(beside) + reason.replace(UNBROKEN, " ")
            yield start.ljust(self.width - len(number)) + number if number else start
            return
        for place, part in enumerate(broken):
            start = " " * INDENT + part
            last = place == len(broken) - 1
            yield start.ljust(self.width - len(number)) + number if last and number else start
        for part in wrap(reason, self.width - 2 * INDENT):
            yield " " * 2 * INDENT + part.replace(UNBROKEN, " ")


def as_markdown(derivation: Derivation) -> str:
    """The derivation as Markdown with formulas between dollar signs."""
    from voltsec.report.latex import formula_latex

    duties = derivation.circuit.duty_symbols

    def prose(pieces: Prose) -> str:
        return "".join(p if isinstance(p, str) else f"${formula_latex(p, duties)}$" for p in pieces)

    shown = [f"# {derivation.circuit.name}: derivation of {derivation.mode}", ""]
    for line in derivation.lines:
        if isinstance(line, Heading):
            shown += [f"## {line.text}", ""]
        elif isinstance(line, Paragraph):
            shown += [("*Not verified:* " if line.doubt else "") + prose(line.pieces), ""]
        else:
            left, right = formula_latex(line.left, duties), formula_latex(line.right, duties)
            tag = rf" \tag{{{line.number}}}" if isinstance(line, Equation) else ""
            shown += ["$$", f"{left} = {right}{tag}", "$$", "", f"({prose(line.reason)})", ""]
    return "\n".join(shown)
