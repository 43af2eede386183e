"""A circuit without the branches that follow it at once: settled capacitors open, settled inductors shorted.

What is left hanging by a capacitor that is taken away, resistors and diodes that lead nowhere else, goes with
it: they carry no current between the steps.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from voltsec.circuit.elements import Capacitor, Diode, Element, Inductor, Resistor, Transformer

if TYPE_CHECKING:
    from voltsec.circuit.circuit import Circuit


@dataclass(frozen=True)
class Settled:
    """A capacitor that is taken away: what it hangs on."""

    name: str
    start: str
    end: str
    """Nodes of the circuit that is left, whose voltage it takes over at every step."""
    branch: tuple[str, ...]
    """The parts that go with it."""

    def moved(self, node: str, attached: str, parts: tuple[str, ...]) -> Settled:
        """The same where ``parts`` that joined ``node`` to ``attached`` are gone."""
        if node not in (self.start, self.end):
            return self
        start, end = (attached if name == node else name for name in (self.start, self.end))
        return Settled(self.name, start, end, (*self.branch, *parts))


@dataclass(frozen=True)
class QuasiStatic:
    """``circuit`` is what is left of the whole one."""

    circuit: Circuit
    capacitors: tuple[Settled, ...]
    inductors: tuple[str, ...]


def quasi_static(circuit: Circuit, names: Iterable[str]) -> QuasiStatic | None:
    """``circuit`` with the capacitors and inductors ``names`` settled.

    ``None`` where that leaves no circuit.
    """
    wanted = frozenset(names)
    inductors = [e for e in circuit.elements if e.name in wanted and isinstance(e, Inductor)]
    capacitors = [e for e in circuit.elements if e.name in wanted and isinstance(e, Capacitor)]
    merged = {node: node for node in circuit.nodes}
    kept = [e for e in circuit.elements if e not in inductors and e not in capacitors]
    for inductor in inductors:
        one, other = merged[inductor.start], merged[inductor.end]
        into, gone = (other, one) if other in circuit.grounds else (one, other)
        merged = {node: into if name == gone else name for node, name in merged.items()}
    moved = [_moved(element, merged) for element in kept]
    if any(element.start == element.end for element in moved if not isinstance(element, Transformer)):
        return None  # something lies across an inductor that is shorted
    hangs = {c.name: Settled(c.name, merged[c.start], merged[c.end], ()) for c in capacitors}
    left, hangs = _without_hanging(replace(circuit, elements=tuple(moved)), hangs)
    if not {node for one in hangs.values() for node in (one.start, one.end)} <= set(left.nodes):
        return None
    output = circuit.output_choice
    if output is not None:
        output = replace(output, start=merged[output.start], end=merged[output.end])
        left = replace(left, output_choice=output)
    return QuasiStatic(left, tuple(hangs.values()), tuple(inductor.name for inductor in inductors))


def _moved(element: Element, merged: dict[str, str]) -> Element:
    if isinstance(element, Transformer):
        windings = tuple((merged[start], merged[end]) for start, end in element.windings)
        return replace(element, windings=windings)
    return replace(element, start=merged[element.start], end=merged[element.end])


def _without_hanging(circuit: Circuit, hangs: dict[str, Settled]) -> tuple[Circuit, dict[str, Settled]]:
    """The circuit less resistors and diodes that hang by one node, and where the capacitors then hang."""
    while True:
        for node in {node for one in hangs.values() for node in (one.start, one.end)}:
            own = [element for element in circuit.elements if node in element.nodes]
            passive = all(isinstance(element, Resistor | Diode) for element in own)
            others = {other for element in own for other in element.nodes} - {node}
            if own and passive and len(others) == 1 and node not in circuit.grounds:
                (attached,) = others
                circuit = replace(circuit, elements=tuple(e for e in circuit.elements if e not in own))
                parts = tuple(element.name for element in own)
                hangs = {name: one.moved(node, attached, parts) for name, one in hangs.items()}
                break
        else:
            return circuit, hangs
