"""Losses to first order: ideal gain * (1 - sum of small terms), one term a resistance or drop.

Every small resistance and every drop is scaled by one epsilon; the exact ratio is expanded at
epsilon = 0.  Both polynomials are sorted by their total degree in the small symbols, so nothing but
the two lowest degrees is touched.  The efficiency follows from the losses with the ideal currents.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import sympy
from sympy import Expr

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import CurrentSource, Load, Resistor
from voltsec.formulas.modes import ModeBuilder
from voltsec.results.measures import Heat
from voltsec.results.table import heats
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.ring import Polynomial, Ring


@dataclass(frozen=True)
class FirstOrder:
    """Leading order of one mode of continuous conduction."""

    ideal_gain: Expr
    gain_terms: dict[str, Expr]
    """Small symbol -> share of the gain it takes; under ``""`` all together where they do not separate."""
    efficiency_terms: dict[str, Expr] | None
    """Small symbol -> share of the input power it takes; None where the ideal stage loses power, too."""
    definitions: dict[str, Expr] = field(default_factory=dict)
    """Named quantities of the ideal stage in them (K, d2)."""

    @property
    def gain(self) -> Expr:
        """Output over input voltage, first order in the small symbols."""
        return _reduced_by(self.ideal_gain, self.gain_terms)

    @property
    def efficiency(self) -> Expr | None:
        """First order in the small symbols; None where the ideal stage has losses of its own."""
        terms = self.efficiency_terms
        return None if terms is None else _reduced_by(sympy.Integer(1), terms)


def loses_nothing_ideally(circuit: Circuit) -> bool:
    """True for one source and no plain resistors: then the ideal stage's efficiency is 1."""
    plain = [e for e in circuit.of(Resistor) if not isinstance(e, Load)]
    return len(circuit.sources) == 1 and not plain and not circuit.of(CurrentSource)


def first_order(builder: ModeBuilder) -> FirstOrder | None:
    """The leading order of a mode in continuous conduction.

    ``None`` for other modes, without an ideal gain to start from, or where something is not determined.
    """
    if builder.balance.by_itself:
        return None
    circuit, ring = builder.circuit, builder.balance.ring
    small = circuit.parasitics
    output = circuit.output
    voltage = builder.waveforms.average_of_free(
        dict(builder.balance.network.voltage(output.start, output.end))
    )
    if voltage is None:
        return None
    own = builder.form.ring
    source = circuit.input.quantity.symbol
    shown = builder.form.shown(voltage * Ratio(ring.one, ring.symbol(source)))
    top, bottom = (own.by_degree(part, small) for part in shown.parts)
    if not top or min(top) != min(bottom):
        return None
    least = min(top)
    ideal = Ratio(top[least], bottom[least])
    after = (top.get(least + 1, own.zero), bottom.get(least + 1, own.zero))
    write = builder.form.writer.ratio
    terms: dict[str, Expr] = {}
    if least == 0:
        for name in small:
            taken = _relative(ideal, tuple(_linear(own, part, name) for part in after))
            if not taken.is_zero:
                terms[name] = write(taken)
    else:
        taken = _relative(ideal, after)
        if not taken.is_zero:
            terms[""] = write(taken)
    if not loses_nothing_ideally(circuit):
        return FirstOrder(write(ideal), terms, None)
    shares = _power_shares(builder, small)
    return None if shares is None else FirstOrder(write(ideal), terms, shares)


def _reduced_by(whole: Expr, terms: dict[str, Expr]) -> Expr:
    """whole * (1 - sum of terms), left in that form."""
    if not terms:
        return whole
    bracket = 1 - sympy.Add(*terms.values())
    return bracket if whole == 1 else sympy.Mul(whole, bracket, evaluate=False)


def _linear(ring: Ring, polynomial: Polynomial, name: str) -> Polynomial:
    """The terms that hold ``name``."""
    place = ring.index[name]
    return ring.context.from_dict({p: c for p, c in polynomial.to_dict().items() if p[place]})


def _relative(ideal: Ratio, after: tuple[Polynomial, ...]) -> Ratio:
    """bottom1/bottom0 - top1/top0: the share by which the next order lowers the ideal ratio."""
    return _over(after[1], ideal.denominator) + _over(-after[0], ideal.numerator)


def _over(top: Polynomial, bottom: Polynomial) -> Ratio:
    if top.is_zero():
        return Ratio(top, top + 1)
    common = top.gcd(bottom)
    return Ratio(top // common, bottom // common)


def _leading(builder: ModeBuilder, ratio: Ratio, small: tuple[str, ...]) -> Ratio | None:
    """Lowest order of a ratio in the small symbols; None where it grows without limit."""
    own = builder.form.ring
    shown = builder.form.shown(ratio)
    top, bottom = (own.by_degree(part, small) for part in shown.parts)
    if not top or min(top) > min(bottom):
        return Ratio(own.zero, own.one)
    return None if min(top) < min(bottom) else _over(top[min(top)], bottom[min(bottom)])


def _power_shares(builder: ModeBuilder, small: tuple[str, ...]) -> dict[str, Expr] | None:
    """Loss of each element with ideal currents over the ideal input power."""
    circuit, balance, own = builder.circuit, builder.balance, builder.form.ring
    drawn = Ratio(own.zero, own.one)
    for source in circuit.sources:
        current = builder.waveforms.average_of_free({("i", source.name): balance.ring.one})
        ideal = None if current is None else _leading(builder, current, small)
        if ideal is None:
            return None
        drawn = drawn + (ideal * Ratio(-own.symbol(source.quantity.symbol), own.one))
    if drawn.is_zero:
        return None
    found: dict[str, Expr] = {}
    for heat in heats(circuit).values():
        for name, loss in _ideal_losses(builder, heat, small).items():
            if loss is None:
                return None
            share = loss / drawn
            if not share.is_zero:
                found[name] = builder.form.writer.ratio(share)
    return found


def _ideal_losses(builder: ModeBuilder, heat: Heat, small: tuple[str, ...]) -> dict[str, Ratio | None]:
    """Small symbol of an element -> its loss with ideal currents; nothing of plain resistors."""
    balance, own = builder.balance, builder.form.ring
    found: dict[str, Ratio | None] = {}
    row = balance.network.row(heat.terms)
    for symbol, power in ((heat.resistance, 2), (heat.drop, 1)):
        if symbol not in small:
            continue
        total: Ratio | None = Ratio(own.zero, own.one)
        for k, fraction in enumerate(builder.waveforms.fractions):
            mean = balance.value(k, row, "average")
            ideal = None if mean is None else _leading(builder, mean, small)
            if ideal is None or total is None:
                total = None
                continue
            flow = ideal if power == 1 else ideal * ideal
            share = builder.form.shown(Ratio(fraction, balance.ring.one))
            total = total + ((flow * Ratio(own.symbol(symbol), own.one)) * share)
        found[symbol] = total
    return found
