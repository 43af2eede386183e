"""The named quantity K = 2*Le/(R*T) and the effective inductance Le behind a boundary.

A boundary says that the period is at most some ratio of polynomials.  Its factors made of
inductances and turns alone are the effective inductance; what is left is K_crit of the duty.
"""

from __future__ import annotations

from dataclasses import dataclass

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Load
from voltsec.tableau.network import coils
from voltsec.tableau.ratio import Ratio, lowest_terms
from voltsec.tableau.ring import Polynomial, Ring, definite_sign, factors, is_turns


@dataclass(frozen=True)
class Effective:
    """K = 2*Le/(R*T) with Le = ``inductance`` over a ring that has the circuit's symbols."""

    name: str
    load: str
    inductance: Ratio


def load_symbol(circuit: Circuit) -> str | None:
    """Symbol of the load resistance that K refers to: the output's, else the first load's."""
    loads = circuit.of(Load)
    for load in loads:
        if load.name == circuit.output.element:
            return load.quantity.symbol
    return loads[0].quantity.symbol if loads else None


def effective_inductance(circuit: Circuit, ring: Ring, period: Ratio, name: str) -> Effective | None:
    """Le from the greatest (or least) ``period`` at a boundary; None without a load resistance.

    ``period`` is over ``ring``.
    """
    load = load_symbol(circuit)
    if load is None:
        return None
    inductances = {coil.symbol for coil in coils(circuit)} | {c.symbol for c in circuit.couplings}
    positive = passive(circuit, ring)
    turns = {parameter.symbol for parameter in circuit.parameters} | {n for n in ring.names if is_turns(n)}
    others = {e.quantity.symbol for e in circuit.of(Load)}
    parts = []
    with_inductance = False
    for polynomial in period.times(ring.symbol(load)).parts:
        product = ring.one
        for factor, power in factors(polynomial)[1]:
            variables = ring.variables(factor)
            if definite_sign(factor) is None and not any(p in (factor, -factor) for p in positive):
                continue  # an inductance is positive
            if variables <= inductances | turns | others and variables & (inductances | turns):
                product *= factor**power
                with_inductance = with_inductance or bool(variables & inductances)
        parts.append(product)
    numerator, denominator = parts
    if not with_inductance:  # inductances and duties cannot be separated: refer K to the first coil
        first = next((c.symbol for c in coils(circuit) if c.symbol in ring.variables(period.numerator)), None)
        if first is None:
            return None
        numerator, denominator = ring.symbol(first), ring.one
    if numerator.leading_coefficient() < 0:
        numerator = -numerator
    if denominator.leading_coefficient() < 0:
        denominator = -denominator
    return Effective(name, load, lowest_terms(numerator, denominator))


def passive(circuit: Circuit, ring: Ring) -> list[Polynomial]:
    """Polynomials that are positive because coupled coils cannot give energy."""
    found = []
    for coupling in circuit.couplings:
        one, other = (
            ring.symbol(circuit.element(name).quantities[0].symbol)
            for name in (coupling.first, coupling.second)
        )
        mutual = ring.symbol(coupling.symbol)
        found += [one * other - mutual * mutual, one + other - 2 * mutual]
    return found
