"""What counts as a small loss: series resistances and drops, and polynomials sorted by them."""

from __future__ import annotations

from collections.abc import Iterable

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
    parts: dict[int, Polynomial] = {}
    for powers, part in by_powers(ring, polynomial, small).items():
        parts[sum(powers)] = parts.get(sum(powers), ring.zero) + part
    return parts


def by_powers(ring: Ring, polynomial: Polynomial, names: Iterable[str]) -> dict[tuple[int, ...], Polynomial]:
    """Parts of a polynomial by the powers of ``names`` in their terms."""
    places = [ring.index[name] for name in names]
    parts: dict[tuple[int, ...], dict] = {}
    for powers, coefficient in polynomial.to_dict().items():
        parts.setdefault(tuple(int(powers[place]) for place in places), {})[powers] = coefficient
    return {key: ring.context.from_dict(part) for key, part in parts.items()}
