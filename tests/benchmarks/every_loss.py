"""A circuit whose every part has its losses: the longest formulas that its stage can have."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import (
    Capacitor,
    Diode,
    Element,
    Inductor,
    Quantity,
    Source,
    Switch,
)
from voltsec.language.reader import read
from voltsec.language.writer import write

OHM = {
    Source: Fraction(20, 1000),
    Inductor: Fraction(80, 1000),
    Capacitor: Fraction(10, 1000),
    Switch: Fraction(40, 1000),
    Diode: Fraction(30, 1000),
}
"""Resistance in series, for a stage that feeds a radio and some sensors from a battery."""
VOLT = {Switch: Fraction(1, 10), Diode: Fraction(45, 100)}
"""Drop while conducting."""


def with_every_loss(circuit: Circuit) -> Circuit:
    """The same stage with a resistance in every part but loads, and a drop in every device.

    What a part states itself stays; the rest has the symbols that the language gives it.
    """
    lossy = replace(circuit, elements=tuple(map(_with_losses, circuit.elements)))
    return read(write(lossy), circuit.name)


def _with_losses(element: Element) -> Element:
    kind = type(element)
    changed = element
    if kind in OHM and changed.resistance is None:
        changed = replace(changed, resistance=Quantity(f"R_{element.name}", "ohm", OHM[kind]))
    if kind in VOLT and changed.drop is None:
        changed = replace(changed, drop=Quantity(f"V_{element.name}", "V", VOLT[kind]))
    return changed
