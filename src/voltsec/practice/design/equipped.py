"""Stages to be compared wear the same parts: their own losses are taken off, the same ones put on."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from fractions import Fraction
from typing import Any

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Capacitor, Diode, Element, Inductor, Quantity, Switch, TwoTerminal
from voltsec.circuit.spelling import hint_among
from voltsec.practice.axes import read_value
from voltsec.practice.design.specification import BadSpecification

MARK = "#"
"""Begins the symbols put on: no netlist can hold such a name."""


@dataclass(frozen=True)
class SameParts:
    """What every stage is built of; ohm and volt."""

    switch: float = 0.05
    """On resistance of each switch (these five are this project's own, a low-voltage stage's)."""
    diode: float = 0.02
    drop: float = 0.5
    """Of each diode."""
    coil: float = 0.05
    capacitor: float = 0.01


WORDS = {"switch": "ohm", "diode": "ohm", "drop": "V", "coil": "ohm", "capacitor": "ohm"}


def read_parts(text: str) -> SameParts:
    """``switch=50mohm, drop=0.4V`` over the ordinary ones.  Raises :class:`BadSpecification`."""
    found: dict[str, float] = {}
    for piece in (one.strip() for one in text.split(",") if one.strip()):
        name, equals, value = (part.strip() for part in piece.partition("="))
        if not (equals and value):
            raise BadSpecification(f"a part is written NAME=VALUE, as in switch=50mohm, not {piece!r}")
        if name not in WORDS:
            raise BadSpecification(f"there is no part {name!r} to be the same; {hint_among(name, WORDS)}")
        if name in found:
            raise BadSpecification(f"{name} is given twice")
        found[name] = read_value(name, value, WORDS[name])
        if found[name] <= 0:
            raise BadSpecification(f"{name} must be above zero, not {value}")
    return SameParts(**found)


def ideal(circuit: Circuit) -> Circuit:
    """The circuit without resistances and drops of its parts, and without what estimates beside them."""
    elements = []
    for element in circuit.elements:
        put: dict[str, Any] = {}
        if isinstance(element, TwoTerminal):
            put = {"resistance": None, "drop": None}
        put |= {f.name: () for f in fields(element) if f.name == "beside"}
        elements.append(replace(element, **put))
    return replace(circuit, elements=tuple(elements))


def equipped(circuit: Circuit, parts: SameParts) -> Circuit:
    """An ideal circuit with the same parts for all."""
    return replace(circuit, elements=tuple(_worn(element, parts) for element in circuit.elements))


def _worn(element: Element, parts: SameParts) -> Element:
    def quantity(letter: str, unit: str, value: float) -> Quantity:
        return Quantity(f"{letter}{MARK}{element.name}", unit, Fraction(repr(value)))

    if isinstance(element, Diode):
        return replace(
            element,
            resistance=quantity("R", "ohm", parts.diode),
            drop=quantity("V", "V", parts.drop),
        )
    for kind, value in ((Switch, parts.switch), (Inductor, parts.coil), (Capacitor, parts.capacitor)):
        if isinstance(element, kind):
            return replace(element, resistance=quantity("R", "ohm", value))
    return element


def same_structure(one: Circuit, other: Circuit) -> bool:
    """True for circuits that differ in values alone."""
    return _shape(one) == _shape(other)


def _shape(circuit: Circuit) -> tuple[Any, ...]:
    drives = tuple(circuit.schedule(switch.name) for switch in circuit.switches)
    parts = tuple((e.kind, e.name, e.nodes, getattr(e, "turns", None)) for e in circuit.elements)
    couplings = tuple((c.first, c.second, c.symbol) for c in circuit.couplings)
    return frozenset(parts), drives, couplings
