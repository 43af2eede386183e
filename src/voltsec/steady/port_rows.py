"""Currents of the input and the output as sums of unknowns."""

from __future__ import annotations

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Capacitor, CurrentSource, Resistor
from voltsec.steady.balance import Balance
from voltsec.tableau.network import Row
from voltsec.tableau.ring import Ring


def input_row(circuit: Circuit, ring: Ring) -> Row:
    """The current that the input delivers."""
    return {("i", circuit.input.name): -ring.one}


def output_row(circuit: Circuit, balance: Balance) -> Row:
    """The current into everything that lies directly across the output: load and capacitors."""
    output = circuit.output
    row: Row = {}
    for element in circuit.of(Resistor, CurrentSource, Capacitor):
        if (element.start, element.end) == (output.start, output.end):
            row["i", element.name] = balance.ring.one
        elif (element.end, element.start) == (output.start, output.end):
            row["i", element.name] = -balance.ring.one
    return row
