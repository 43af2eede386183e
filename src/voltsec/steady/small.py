"""What counts as a small loss: series resistances and drops, and polynomials sorted by them."""

from __future__ import annotations

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Resistor
from voltsec.tableau.ring import Polynomial, Ring


def small_symbols(circuit: Circuit) -> tuple[str, ...]:
    """Series resistances and drops; loads and plain resistors are no losses of a part."""
    found = []
    for element in circuit.elements:
        if isinstance(element, Resistor):
            continue
        for part in ("resistance", "drop"):
            quantity = getattr(element, part, None)
            if quantity is not None:
                found.append(quantity.symbol)
    return tuple(found)


def by_degree(ring: Ring, polynomial: Polynomial, small: tuple[str, ...]) -> dict[int, Polynomial]:
    """Parts of a polynomial by total degree in the small symbols."""
    places = [ring.index[name] for name in small]
    parts: dict[int, dict] = {}
    for powers, coefficient in polynomial.to_dict().items():
        degree = sum(int(powers[place]) for place in places)
        parts.setdefault(degree, {})[powers] = coefficient
    return {degree: ring.context.from_dict(part) for degree, part in parts.items()}
