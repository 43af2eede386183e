"""What stands between input and output: capacitors that block direct current, windings that part grounds."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import TYPE_CHECKING

import networkx as nx

from voltsec.circuit.elements import Capacitor, Transformer
from voltsec.circuit.graph import graph_of

if TYPE_CHECKING:
    from voltsec.circuit.circuit import Circuit


def blocking_capacitors(circuit: Circuit) -> tuple[str, ...]:
    """Capacitors in series between input and output: without one, no path beside the grounds is left."""
    output = circuit.output
    targets = {output.start, output.end} - set(circuit.grounds)
    start = {circuit.input.start, circuit.input.end} - set(circuit.grounds)

    def reaches(leave_out: Callable[[object], bool]) -> bool:
        reached = set(start)
        while True:
            found = set(reached)
            for one, other in _links(circuit, leave_out):
                if one in found or other in found:
                    found |= {one, other}
            if found == reached:
                return bool(reached & targets)
            reached = found

    if not reaches(lambda element: False) or reaches(lambda element: isinstance(element, Capacitor)):
        return ()
    return tuple(c.name for c in circuit.capacitors if not reaches(partial(_is, c)))


def separating_windings(circuit: Circuit) -> tuple[str, ...]:
    """Transformers (and couplings, by symbol) that join the input's galvanic part to others.

    Empty where input and output are in one galvanic part.
    """
    part_of = {
        node: count for count, part in enumerate(nx.connected_components(graph_of(circuit))) for node in part
    }
    if part_of[circuit.input.start] == part_of[circuit.output.start]:
        return ()
    inductors = {one.name: one for one in circuit.inductors}
    links = [(t.name, {part_of[node] for node in t.nodes}) for t in circuit.transformers]
    links += [
        (c.symbol, {part_of[inductors[name].start] for name in (c.first, c.second)})
        for c in circuit.couplings
    ]
    return tuple(name for name, parts in links if len(parts) > 1)


def _is(one: object, other: object) -> bool:
    return one is other


def _links(circuit: Circuit, leave_out: Callable[[object], bool]) -> Iterator[tuple[str, str]]:
    """Pairs of nodes a part joins, the grounds left out."""
    for element in circuit.elements:
        if leave_out(element):
            continue
        pairs = element.windings if isinstance(element, Transformer) else ((element.start, element.end),)
        for one, other in pairs:
            if one not in circuit.grounds and other not in circuit.grounds:
                yield one, other
