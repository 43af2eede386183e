r"""Responses in factors as mathematics, in whatever markup: G = G0 (1 - s/wz) / (1 + s/(Q w) + (s/w)^2).

What a symbol such as the first natural frequency stands for follows as an equation of its own.  Factors that
another response has as well (mostly the poles) keep their names and are not explained again.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import dataclass, field

from sympy import Expr, oo

from voltsec.dynamics.factored import Factor, Factored


class Markup(ABC):
    """How mathematics is written down."""

    longest = 1500
    """Signs of an equation up to which it is written."""

    def length(self, text: str) -> int:
        """Signs of a piece of markup."""
        return len(text)

    @abstractmethod
    def text(self, expression: Expr) -> str:
        """An expression."""

    @abstractmethod
    def lowered(self, letter: str, below: str) -> str:
        """``omega`` or another letter with what stands below it; no subscript where that is empty."""

    @abstractmethod
    def fraction(self, top: str, bottom: str) -> str:
        """A fraction."""

    @abstractmethod
    def raised(self, base: str, power: int) -> str:
        """A power."""

    @abstractmethod
    def bracketed(self, inside: str) -> str:
        """Round brackets."""

    @abstractmethod
    def row(self, parts: list[str]) -> str:
        """Signs and terms one after the other; also factors that are multiplied."""

    @abstractmethod
    def sign(self, sign: str) -> str:
        """``+``, ``-``, ``=`` or ``≈``."""

    def equation(self, left: str, right: str, near: bool = False) -> str:
        """Both sides; ``near`` where they are equal to first order."""
        return self.row([left, self.sign("≈" if near else "="), right])


@dataclass(frozen=True)
class Written:
    """One response."""

    ratio: str
    """``G(s) = ...``."""
    definitions: tuple[str, ...]
    """Equations of the symbols in it that were not explained before."""
    too_long: bool
    """An equation is left out because nobody could read it."""
    near: bool
    """Something is equal to first order only."""
    before: str
    """The responses whose symbols are used again: ``duty to output``."""


@dataclass
class FactoredForm:
    """Writes the responses of one model one after the other."""

    markup: Markup
    told: dict[Factor, tuple[str, str]] = field(default_factory=dict)
    """The markup of a factor without its power, and the response that explained it."""
    counts: dict[str, int] = field(default_factory=dict)

    def response(self, found: Factored, name: str) -> Written:
        """One response, called ``name``."""
        markup, definitions, used = self.markup, [], []
        gain = markup.lowered("G", "0")
        definitions.append(markup.equation(gain, markup.text(found.gain), found.near))
        sides: list[list[tuple[str, bool]]] = [[], []]
        s = markup.lowered("s", "")
        if found.origin:
            size = abs(found.origin)
            sides[0 if found.origin > 0 else 1].append((s if size == 1 else markup.raised(s, size), False))
        for place, factors in enumerate((found.zeros, found.poles)):
            for factor in factors:
                shown, own, before = self._factor(factor, "zp"[place], name)
                sides[place].append((shown, True))
                if factor.power > 1:
                    sides[place][-1] = markup.raised(markup.bracketed(shown), factor.power), False
                definitions += own
                used += [before] if before else []
        above, below = ([text for text, _ in side] for side in sides)
        for side, told in zip((above, below), sides, strict=True):
            alone = len(side) == 1 and bool(sides[1])  # the fraction's bar holds it together
            side[:] = [markup.bracketed(text) if a_sum and not alone else text for text, a_sum in told]
        ratio = markup.row([gain, *above])
        if below:
            ratio = markup.row([gain, markup.fraction(markup.row(above or ["1"]), markup.row(below))])
        short = [one for one in definitions if markup.length(one) < markup.longest]
        left = markup.lowered("G", "") + markup.bracketed(s)
        words = " and ".join(dict.fromkeys(used))
        return Written(
            markup.equation(left, ratio),
            tuple(short),
            len(short) < len(definitions),
            found.anything_near,
            words,
        )

    def _factor(self, factor: Factor, letter: str, name: str) -> tuple[str, list[str], str]:
        """Its sum without brackets, its equations, and whose they are where they were told before."""
        if factor in self.told:
            shown, before = self.told[factor]
            return shown, [], before
        self.counts[letter] = number = self.counts.get(letter, 0) + 1
        terms, definitions = self._terms(factor, f"{letter}{number}")
        shown = self.markup.row(["1", *terms])
        self.told[factor] = shown, name
        return shown, definitions, ""

    def _terms(self, factor: Factor, index: str) -> tuple[list[str], list[str]]:
        """Signs and terms behind the one, and what their symbols are."""
        markup = self.markup
        s, plus = markup.lowered("s", ""), markup.sign("+")
        if factor.omega is None:
            terms, definitions = [], []
            for power, coefficient in enumerate(factor.coefficients[1:], 1):
                if coefficient == 0:
                    continue
                name = markup.lowered("a", f"{index},{power}")
                terms += [plus, markup.row([name, s if power == 1 else markup.raised(s, power)])]
                definitions.append(markup.equation(name, markup.text(coefficient), factor.near))
            return terms, definitions
        omega = markup.lowered("omega", index)
        definitions = [markup.equation(omega, markup.text(factor.omega), factor.near)]
        sign = markup.sign("-") if factor.right else plus
        if factor.quality is None:
            return [sign, markup.fraction(s, omega)], definitions
        square = markup.fraction(markup.raised(s, 2), markup.raised(omega, 2))
        if factor.quality == oo:
            return [plus, square], definitions
        quality = markup.lowered("Q", index)
        definitions.append(markup.equation(quality, markup.text(factor.quality), factor.near))
        damped = markup.fraction(s, markup.row([quality, omega]))
        return [sign, damped, plus, square], definitions


def words_beside(written: Written) -> Iterator[str]:
    """Sentences that belong to a response: what was left out, and what was explained before."""
    if written.before:
        yield f"Symbols not explained here are those of {written.before}."
    if written.near:
        yield "To first order in the series resistances and drops where the whole would be too long."
    if written.too_long:
        yield "A coefficient is too long to be read; its value is in the numbers."
