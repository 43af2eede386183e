"""An error is data: what is wrong, where, with which elements and nodes, and what would help."""

from __future__ import annotations

from dataclasses import dataclass

from voltsec.circuit.elements import Place


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong with a netlist or a circuit.

    ``kind`` is a stable, hyphenated code (listed in DEVELOPERS.md), ``message`` says what is wrong
    in circuit terms, ``hint`` what to do about it.
    """

    kind: str
    message: str
    place: Place | None = None
    elements: tuple[str, ...] = ()
    nodes: tuple[str, ...] = ()
    hint: str = ""


class CircuitError(Exception):
    """Bad input: every fault found in one go.  ``file`` and ``text`` let a reader show the place."""

    def __init__(self, faults: tuple[Fault, ...], file: str = "<text>", text: str = "") -> None:
        super().__init__("; ".join(fault.message for fault in faults))
        self.faults = faults
        self.file = file
        self.text = text


class NoSteadyState(CircuitError):
    """The circuit is well formed, but no periodic state exists; the fault says why."""
