"""Losses as a correction: gain = ideal gain * correction, the long denominator named once.

Every average of a lossy mode of continuous conduction has the same polynomial P below: for a step-up
stage ``(1 - D)**2*R + R_L + D*R_S``.  With P0 its part without losses, ``Delta = P/P0`` is one plus a
term for each resistance, ``1 + R_L/((1 - D)**2*R) + ...``; it is named, and formulas become those of
the ideal stage divided by it.  A factor like ``R + R_Co`` that stands above goes into it as well.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import sympy
from sympy import Expr
from sympy.logic.boolalg import Boolean

from voltsec.formulas.choices import Knowledge
from voltsec.formulas.closed_form import ClosedForm
from voltsec.formulas.mode_formulas import ModeFormulas
from voltsec.formulas.modes import ModeBuilder
from voltsec.tableau.expression import symbol
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.ring import Polynomial, definite_sign, factors


@dataclass(frozen=True)
class Correction:
    """Gain of one lossy mode as ``ideal_gain * correction``."""

    ideal_gain: Expr
    correction: Expr
    """In terms of ``name``."""
    name: str
    denominator: Expr
    """What ``name`` stands for: one plus a term for each resistance."""


class CorrectedForm(ClosedForm):
    """Presentation of a mode with its loss denominator named; ``applies`` is False where it has none."""

    def __init__(self, builder: ModeBuilder) -> None:
        plain = builder.form
        self.name = "Delta"
        taken = set(plain.ring.names)
        while self.name in taken:
            self.name += "_"
        super().__init__(
            builder.balance, builder.found.fractions, builder.found.witness | {self.name: 1.0}, (self.name,)
        )
        self.small = builder.circuit.parasitics
        self.whole, self.ideal = self._denominator(builder)
        self.applies = self.whole is not None
        if self.whole is not None:
            value = self.ring.value(self.whole, self.point) / self.ring.value(self.ideal, self.point)
            self.point[self.name] = float(value)

    def _denominator(self, builder: ModeBuilder) -> tuple[Polynomial | None, Polynomial]:
        """P, and what it is replaced by: P0 times the resistive factors above, over their own ideal part."""
        none = None, self.ring.one
        voltage = builder.output_voltage()
        if voltage is None or self.unknown:
            return none
        top, bottom = super().shown(voltage).parts
        candidates = [f for f, _ in factors(bottom)[1] if len(f) > 1 and self._small_only_besides(f)]
        if not candidates:
            return none
        whole = max(candidates, key=len)
        ideal = self.ring.by_degree(whole, self.small)[0]
        drops = {name for name in self.small if name in self._drops(builder)}
        for factor, _ in factors(top)[1]:
            used = self.ring.variables(factor)
            if used & set(self.small) and not used & drops and self._small_only_besides(factor):
                own = self.ring.by_degree(factor, self.small)[0]
                if (ideal // own) * own == ideal:
                    ideal = (ideal // own) * factor
        return whole, ideal

    def _small_only_besides(self, polynomial: Polynomial) -> bool:
        """True for something ideal plus something small, all of it positive."""
        degrees = self.ring.by_degree(polynomial, self.small)
        positive = definite_sign(self._complements(polynomial)) is not None
        return 0 in degrees and len(degrees) > 1 and positive

    def _complements(self, polynomial: Polynomial) -> Polynomial:
        """The polynomial with D = x/(1 + x), times a power of 1 + x, so that signs show for 0 < D < 1."""
        ring = self.ring
        for name in self.fractions.stages.symbols:
            degree = ring.degree(polynomial, name)
            if degree > 0:
                variable = ring.symbol(name)
                total = ring.zero
                for power, part in enumerate(ring.coefficients(polynomial, name)):
                    total += part * variable**power * (variable + 1) ** (degree - power)
                polynomial = total
        return polynomial

    def _drops(self, builder: ModeBuilder) -> set[str]:
        return {e.parasitics["drop"].symbol for e in builder.circuit.elements if "drop" in e.parasitics}

    def shown(self, ratio: Ratio) -> Ratio:
        """As :class:`ClosedForm`'s, P replaced."""
        top, bottom = super().shown(ratio).parts
        if getattr(self, "whole", None) is None:
            return Ratio(top, bottom)
        named = self.ideal * self.ring.symbol(self.name)
        top, above = self._without(top)
        bottom, below = self._without(bottom)
        return Ratio(top * named**above, self.ring.one) * Ratio(self.ring.one, bottom * named**below)

    def _without(self, polynomial: Polynomial) -> tuple[Polynomial, int]:
        power = 0
        whole = self.whole
        assert whole is not None
        while not polynomial.is_zero() and len(polynomial) >= len(whole):
            quotient = polynomial // whole
            if quotient * whole != polynomial:
                break
            polynomial, power = quotient, power + 1
        return polynomial, power

    @cached_property
    def denominator(self) -> Expr:
        """What the name stands for: ``1 + R_L/((1 - D)**2*R) + ...``, a term for each resistance."""
        assert self.whole is not None
        used = self.ring.variables(self.ideal)
        groups = self.ring.by_powers(self.whole - self.ideal, [n for n in self.small if n not in used])
        order = sorted(groups, key=lambda g: (sum(g), [-power for power in g]))
        terms = [self.writer.ratio(Ratio(groups[g], self.ideal)) for g in order]
        return sympy.Add(sympy.Integer(1), *terms)


class Corrected(ModeFormulas):
    """A mode's averages with its loss denominator named."""

    def __init__(self, builder: ModeBuilder) -> None:
        self.builder = builder
        self.balance, self.circuit = builder.balance, builder.circuit
        self.waveforms, self.witness = builder.waveforms, builder.witness
        self.too_long = builder.too_long
        self.named = CorrectedForm(builder)
        self.form = self.named

    @cached_property
    def known(self) -> Knowledge:
        """What is so where the mode holds."""
        return self.builder.known

    def condition(self, ratio: Ratio) -> Boolean:
        """That a ratio is positive where the mode holds."""
        return self.builder.condition(ratio)


def corrected(builder: ModeBuilder) -> Corrected | None:
    """The averages with the loss denominator named; None where there is nothing to name."""
    if builder.balance.by_itself or not builder.circuit.parasitics:
        return None
    told = Corrected(builder)
    return told if told.named.applies else None


def correction(builder: ModeBuilder) -> Correction | None:
    """The gain of a lossy mode as ideal gain times correction; None where it is no such product."""
    told = corrected(builder)
    if told is None:
        return None
    form = told.named
    voltage = builder.output_voltage()
    assert voltage is not None
    ring = builder.balance.ring
    source = builder.circuit.input.quantity.symbol
    top, bottom = form.shown(voltage * Ratio(ring.one, ring.symbol(source))).parts
    parts = [form.ring.by_degree(part, form.small) for part in (top, bottom)]
    if 0 not in parts[0] or 0 not in parts[1]:
        return None
    ideal_top, ideal_bottom = parts[0][0], parts[1][0]
    without = form.ring.symbol(form.name)
    if (ideal_bottom // without) * without == ideal_bottom:
        ideal_bottom = ideal_bottom // without
    ideal = form.writer.ratio(Ratio(ideal_top, ideal_bottom))
    rest = Ratio(top, bottom) * Ratio(ideal_bottom, ideal_top)
    left = _term_by_term(form, rest)
    return Correction(ideal, left, form.name, form.denominator)


def _term_by_term(form: CorrectedForm, ratio: Ratio) -> Expr:
    """``(1 - D'*V_D/Vg)/Delta``: where the bottom is one product, the top is divided term by term."""
    top, bottom = ratio.parts
    name = form.ring.symbol(form.name)
    left = bottom // name if (bottom // name) * name == bottom else bottom
    if len(left) != 1 or len(top) == 1:
        return form.writer.ratio(Ratio(top, bottom))
    groups = form.ring.by_powers(top, form.small)
    total = sympy.Add(*(form.writer.ratio(Ratio(group, left)) for group in groups.values()))
    return total / symbol(form.name) if left != bottom else total
