"""A ring in which the parameters are numbers: only fractions and turns ratios stay variables.

Values become integers in units so small that rounding to whole numbers does not matter; the units
fit together (volt = ampere * ohm, henry = ohm * second), so every equation keeps its form.
"""

from __future__ import annotations

from collections.abc import Mapping

from voltsec.circuit.circuit import Circuit
from voltsec.tableau.interval import Sequence
from voltsec.tableau.network import shared_flux
from voltsec.tableau.ring import Polynomial, Ring
from voltsec.tableau.tied import fraction_variables, tie

OHM = 1e-9
AMPERE = 1e-9
SECOND = 1e-15
VOLT = OHM * AMPERE
HENRY = OHM * SECOND

UNITS = {"V": VOLT, "A": AMPERE, "ohm": OHM, "H": HENRY, "s": SECOND}
"""Size of the ring's unit of each quantity in SI units."""


class ScaledRing(Ring):
    """Polynomials in the fractions and turns ratios; other symbols are integers in :data:`UNITS`."""

    def __init__(self, circuit: Circuit, sequence: Sequence, point: Mapping[str, float]) -> None:
        turns = [parameter.symbol for parameter in circuit.parameters]
        turns += [name for _, name in shared_flux(circuit).values() if name is not None]
        super().__init__((*fraction_variables(sequence), *turns))
        tie(self, sequence)
        self.numbers: dict[str, Polynomial] = {}
        for quantity in circuit.quantities:
            unit = UNITS.get(quantity.unit)
            if unit is not None:
                self.numbers[quantity.symbol] = self.constant(round(point[quantity.symbol] / unit))

    def symbol(self, name: str) -> Polynomial:
        """The variable called ``name``, or its number."""
        return self.numbers[name] if name in self.numbers else super().symbol(name)
