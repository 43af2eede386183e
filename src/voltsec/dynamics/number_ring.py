"""A ring with numbers for the circuit's symbols: polynomials in s with exact whole coefficients.

As :class:`~voltsec.tableau.scaled_ring.ScaledRing`, but with capacitances, in finer units, and without
fractions of intervals: sources, drops, duties, starts of on-times and turns stay variables until they are put
in exactly.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from voltsec.dynamics.averaged import S
from voltsec.dynamics.equations import own_shares
from voltsec.formulas.first_order_dry import Case
from voltsec.tableau.assembly import parameter_names
from voltsec.tableau.ring import Polynomial, Ring, value_of

OHM = Fraction(1, 10**9)
AMPERE = Fraction(1, 10**12)
SECOND = Fraction(1, 10**27)
UNITS = {
    "V": OHM * AMPERE,
    "A": AMPERE,
    "ohm": OHM,
    "H": OHM * SECOND,
    "F": SECOND / OHM,
    "s": SECOND,
}
"""Size of the ring's unit of each quantity in SI units: they fit together, so equations keep their form."""


NUMBERS = ("ohm", "H", "F", "s")
"""Units of the symbols that are numbers; what responses are taken to stays a variable."""


class NumberRing(Ring):
    """Polynomials in s, sources, drops, timing and turns; other symbols are whole numbers of units."""

    def __init__(self, case: Case, point: Mapping[str, float]) -> None:
        units = {quantity.symbol: quantity.unit for quantity in case.circuit.quantities}
        names = [name for name in parameter_names(case.circuit) if units.get(name) not in NUMBERS]
        super().__init__((S, *case.stages.symbols, *own_shares(case), *names))
        self.values = {
            name: Fraction(float(value_of(name, point))) / UNITS.get(units.get(name, "1"), 1)
            for name in self.names
            if name != S and not name.startswith("#")
        }
        self.numbers = {
            symbol: self.constant(round(Fraction(point[symbol]) / UNITS[unit]))
            for symbol, unit in units.items()
            if unit in NUMBERS
        }

    def symbol(self, name: str) -> Polynomial:
        """The variable called ``name``, or its number."""
        return self.numbers[name] if name in self.numbers else super().symbol(name)

    def in_s(self, polynomial: Polynomial) -> list[Fraction]:
        """Coefficients of the powers of s in SI units of s, lowest first, the variables' values put in."""
        found = in_s(self, polynomial, self.values)
        return [coefficient * SECOND**power for power, coefficient in enumerate(found)]


def in_s(ring: Ring, polynomial: Polynomial, values: Mapping[str, Fraction]) -> list[Fraction]:
    """Coefficients of the powers of s, lowest first, with exact ``values`` for the other variables."""
    place = ring.index[S]
    found = [Fraction(0)] * (max(ring.degree(polynomial, S), 0) + 1)
    for powers, coefficient in polynomial.to_dict().items():
        term = Fraction(int(coefficient))
        for name, power in zip(ring.names, powers, strict=True):
            if power and name != S:
                term *= values[name] ** int(power)
        found[int(powers[place])] += term
    return found
