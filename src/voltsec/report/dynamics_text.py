"""A small-signal model on a terminal: each response in factors, its poles and zeros, the exact one beside."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap

import numpy as np
from sympy import Expr, oo

from voltsec.dynamics.bode import curves
from voltsec.dynamics.factored import Factor, Factored
from voltsec.dynamics.input_filter import Interaction
from voltsec.dynamics.model import Model, Response
from voltsec.report.alphabet import UNICODE, Alphabet
from voltsec.report.dynamics_words import (
    crossover_words,
    in_sentence,
    lowest_right_zero,
    number_rows,
    reduced_sentences,
    title,
)
from voltsec.report.filter_text import filter_lines
from voltsec.report.formula import formula
from voltsec.report.outline import shown_mode
from voltsec.report.quantity import engineering
from voltsec.report.wrapping import wrap_formula

INDENT = "  "
COLUMN = 20
LONGEST = 400
"""Signs of a formula up to which it is printed."""
NAME, WHAT, CELL = 17, 11, 8
"""Letters of the columns of that table."""
COMPARED = (0.001, 0.01, 0.03, 0.1, 0.2, 0.45)
"""Shares of the switching frequency at which averaged and exact response stand side by side."""


def dynamics_lines(
    model: Model,
    output: str = "",
    width: int = 80,
    alphabet: Alphabet = UNICODE,
    filter_: Interaction | None = None,
) -> Iterator[str]:
    """All lines, none longer than ``width``; ``output`` names what is looked at if not the output voltage."""
    view = _View(model, output, max(width, 40), alphabet)
    yield from view.prose(f"{model.circuit.name}: small signals, {shown_mode(model.mode)}", "")
    parts = [f"{duty}′ = 1 − {duty}" for duty in model.circuit.duty_symbols]
    yield from view.prose("; ".join(["Small changes of the output over those of a control", *parts]), "")
    yield from view.prose(" ".join(reduced_sentences(model)), "")
    for name, value in model.definitions.items():
        yield from view.row(f"with {name}", view.text(value))
    for response in model.responses:
        yield ""
        yield from view.response(response)
    if model.sampled is not None:
        yield ""
        yield from view.compared()
    if filter_ is not None:
        yield ""
        yield view.rule("Input filter against the stage")
        yield from filter_lines(filter_, view.width, alphabet)
    if model.notes:
        yield ""
        yield view.rule("Notes")
        for note in model.notes:
            yield from view.prose(note[0].upper() + note[1:] + ".")


class _View:
    def __init__(self, model: Model, output: str, width: int, alphabet: Alphabet) -> None:
        self.model = model
        self.output = output
        self.width = width
        self.alphabet = alphabet
        self.told: dict[tuple[Factor, ...], str] = {}
        """Zeros and poles too long to be told again, and whose they are."""

    def text(self, expression: Expr) -> str:
        """A formula."""
        return formula(expression, self.model.circuit.duty_symbols, self.alphabet)

    def prose(self, text: str, indent: str = INDENT) -> list[str]:
        """A sentence, broken."""
        plain = self.alphabet.plain(text)
        return wrap(plain, self.width, initial_indent=indent, subsequent_indent=indent)

    def rule(self, heading: str) -> str:
        """A section's heading."""
        line = "─" if self.alphabet.unicode else "-"
        start = self.alphabet.plain(f"{line * 2} {heading} ")
        return start + line * max(self.width - len(start), 0)

    def row(self, label: str, text: str) -> Iterator[str]:
        """A label and a formula or number."""
        start = INDENT + self.alphabet.plain(label).ljust(COLUMN)
        parts = wrap_formula(text, self.width - len(start))
        yield (start + parts[0]).rstrip()
        yield from (" " * len(start) + part for part in parts[1:])

    def response(self, response: Response) -> Iterator[str]:
        """One response."""
        link = response.link
        yield self.rule(title(link, self.model, self.output))
        found = response.shown
        if found is not None:
            yield from self._factored(found, title(link, self.model, self.output))
        elif response.ratio is not None:
            yield from self.prose("Its formula is too long to be read; its numbers follow.")
        elif response.transfer is None:
            yield from self.prose("Not determined in formulas.")
        yield from self._numbers(response)

    def _factored(self, found: Factored, name: str) -> Iterator[str]:
        gain = self.text(found.gain)
        if found.gain == 0:
            yield from self.row("Always", "0")
            return
        start = {0: "Gain at 0 Hz", 1: "Rises as s times", -1: "Falls as 1/s times"}.get(
            found.origin, f"s^{found.origin} times"
        )
        about = f"{self._equals(True)} " if found.near else ""
        yield from self.row(start, about + gain if len(gain) < LONGEST else "too long to be read")
        for label, factors in (("Zero", found.zeros), ("Pole", found.poles)):
            above = self.told.get(factors)
            if above is not None:
                yield from self.row(f"{label}s", f"the {above}")
                continue
            if any(factor.omega is None for factor in factors):
                self.told[factors] = f"{label.lower()}s of {in_sentence(name)}"
            for factor in factors:
                yield from self._factor(label, factor)

    def _factor(self, label: str, factor: Factor) -> Iterator[str]:
        power = f", {factor.power} times" if factor.power > 1 else ""
        side = "right half-plane" if factor.right else ""
        name = f"{label}{' pair' if factor.degree == 2 else ''}{power}"
        if factor.omega is None:
            texts = [self.text(coefficient) for coefficient in factor.coefficients]
            name = f"{label}s{power}"
            if sum(map(len, texts)) > LONGEST:
                yield from self.row(name, f"{factor.degree} of them, too long to be read")
                return
            terms = [f"a{k}·{self._power(k)}" for k in range(1, factor.degree + 1)]
            yield from self.row(name, self.alphabet.plain(f"1 + {' + '.join(terms)}"))
            for k, text in enumerate(texts[1:], 1):
                yield from self.row("", f"a{k} {self._equals(factor.near)} {text}")
            return
        omega = f"{self.alphabet.plain('ω')} {self._equals(factor.near)} {self.text(factor.omega)}"
        yield from self.row(name, omega + (f", {side}" if side else ""))
        if factor.quality is not None:
            equals = self._equals(factor.near)
            unbounded = "Q = unbounded: nothing damps it"
            yield from self.row(
                "", unbounded if factor.quality == oo else f"Q {equals} {self.text(factor.quality)}"
            )

    def _equals(self, near: bool) -> str:
        return self.alphabet.plain("≈") if near else "="

    def _power(self, k: int) -> str:
        return "s" if k == 1 else f"s{self.alphabet.power(k)}"

    def _numbers(self, response: Response) -> Iterator[str]:
        transfer, model = response.transfer, self.model
        if transfer is None or model.frequency is None:
            return
        link = response.link
        how = "" if response.fitted is None else ", of the exact period map"
        yield from self.row("Numbers", f"at the operating point{how}")
        for label, text in number_rows(response, model, self.alphabet):
            yield from self.row(INDENT + label if label else "", text)
        lowest = lowest_right_zero(response)
        if link.kind == "duty" and lowest is not None:
            words = crossover_words(lowest, model.frequency, self.alphabet)
            if words is not None:
                yield from self.prose(words[0].upper() + words[1:] + ".")

    def compared(self) -> Iterator[str]:
        """Averaged and exact response side by side."""
        model = self.model
        assert model.frequency is not None
        yield self.rule("Over frequency: magnitude in dB, phase in degrees")
        hertz = np.array(COMPARED) * model.frequency
        heads = [engineering(f, "Hz", self.alphabet, digits=3) for f in hertz]
        heads = [
            head if len(head) < CELL else engineering(f, "Hz", self.alphabet, digits=2)
            for head, f in zip(heads, hertz, strict=True)
        ]
        yield INDENT + " " * (NAME + WHAT) + "".join(f"{head:>{CELL}}" for head in heads)
        told = ""
        for curve in curves(model, hertz):
            name = title(curve.link, model, self.output)
            words = "exact" if curve.exact else "reduced" if model.reduced else "averaged"
            for what, row in ((f"{words} dB", curve.decibels), (self.alphabet.plain("phase"), curve.degrees)):
                cells = "".join(f"{self._cell(value):>{CELL}}" for value in row)
                shown = "" if name == told else self.alphabet.plain(name)
                yield f"{INDENT}{shown:<{NAME}}{what:>{WHAT}}{cells}"
                told = name
        yield from self.prose(
            "Exact: nothing averaged, the duty sampled at the edge it moves; the output's component at the "
            "control's frequency."
        )

    def _cell(self, value: float) -> str:
        return self.alphabet.plain(f"{value:.1f}".replace("-", "−")) if np.isfinite(value) else "–"
