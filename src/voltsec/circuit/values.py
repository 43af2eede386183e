"""The same circuit with other values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Element, Quantity

VALUED = ("quantity", "resistance", "drop", "magnetizing")
"""What of an element may have a value."""


def with_values(circuit: Circuit, values: Mapping[str, Fraction | None]) -> Circuit:
    """The circuit with other values of some symbols (``None``: without)."""

    def changed(quantity: Quantity | None) -> Quantity | None:
        if quantity is None or quantity.symbol not in values:
            return quantity
        return replace(quantity, value=values[quantity.symbol])

    elements: list[Element] = []
    for element in circuit.elements:
        names = [name for name in VALUED if hasattr(element, name)]
        put: dict[str, Any] = {n: changed(getattr(element, n)) for n in names}
        elements.append(replace(element, **put))
    parameters = tuple(q for q in (changed(one) for one in circuit.parameters) if q is not None)
    timing = {*circuit.timing_symbols, "T"}
    operating = {**dict(circuit.operating), **{n: v for n, v in values.items() if n in timing}}
    stated = tuple((name, value) for name, value in operating.items() if value is not None)
    return replace(circuit, elements=tuple(elements), parameters=parameters, operating=stated)
