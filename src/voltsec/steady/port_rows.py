"""Currents of the input and the output as sums of unknowns."""

from __future__ import annotations

from dataclasses import dataclass

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Capacitor, CurrentSource, Resistor
from voltsec.results.table import output_path
from voltsec.steady.balance import Balance
from voltsec.tableau.network import Row
from voltsec.tableau.ring import Polynomial, Ring


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


@dataclass(frozen=True)
class OutputSwing:
    """What makes the output's voltage swing where capacitors and sources in series lie across it.

    The voltage is that of a capacitor with the current ``flow`` and the capacitance that is the product of
    ``farads``, and ``drops`` (empty where nothing has a resistance) in series with it.
    """

    flow: Row
    farads: tuple[str, ...]
    drops: Row
    single: str | None
    """The capacitor, where it is one alone."""


def follows_capacitors(circuit: Circuit) -> bool:
    """True for a resistive load whose voltage capacitors elsewhere swing, none right across it."""
    ports = {circuit.output.start, circuit.output.end}
    across = [e for e in circuit.of(Resistor, CurrentSource, Capacitor) if {e.start, e.end} == ports]
    return bool(circuit.capacitors) and bool(across) and all(isinstance(e, Resistor) for e in across)


def output_swing(circuit: Circuit, ring: Ring) -> OutputSwing | None:
    """The capacitors across the output as one; ``None`` where none (nor sources) lie across it in series.

    Capacitances in series count by the product of the others: i1/C1 + i2/C2 = (C2 i1 + C1 i2)/(C1 C2).
    """
    path = output_path(circuit)
    if path is None:
        return None
    farads = tuple(part.quantity.symbol for part, _ in path if isinstance(part, Capacitor))
    flow: Row = {}
    drops: Row = {}
    for part, sign in path:
        if part.resistance is not None:
            drops["i", part.name] = sign * ring.symbol(part.resistance.symbol)
        if isinstance(part, Capacitor):
            others: Polynomial = ring.one * sign
            for name in farads:
                others = others if name == part.quantity.symbol else others * ring.symbol(name)
            flow["i", part.name] = others
    single = path[0][0].name if len(path) == len(farads) == 1 else None
    return OutputSwing(flow, farads, drops, single)
