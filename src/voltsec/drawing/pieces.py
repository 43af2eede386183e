"""What is to be drawn: elements as pieces with two ends each, nets with their depth from the source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import networkx as nx

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Transformer
from voltsec.circuit.graph import graph_of, references


@dataclass(frozen=True)
class Piece:
    """An element with two ends, or one winding of a transformer (``T.1``)."""

    name: str
    kind: str
    """The netlist's word for it, ``winding`` for a winding."""
    start: int
    """Net at its first node, a place in :attr:`Task.nets`."""
    end: int
    core: str = ""
    """The transformer a winding belongs to."""
    dotted: bool = False
    """True for a winding or a coupled coil: a dot stands at its first node."""


@dataclass(frozen=True)
class Task:
    """A circuit as pieces and nets (places in :attr:`nets`)."""

    pieces: tuple[Piece, ...]
    nets: tuple[str, ...]
    references: tuple[int, ...]
    """Nets at potential zero, that of the input's part first; it is drawn at the bottom."""
    input: int
    """The piece that is the input."""
    output: frozenset[int]
    """The nets between which the output voltage is."""

    @cached_property
    def depth(self) -> tuple[int, ...]:
        """How many parts each net is away from the input, reference nets and separate sides bridged."""
        graph = nx.Graph()
        graph.add_nodes_from(range(len(self.nets)))
        zero = set(self.references)
        for piece in self.pieces:
            if piece.start not in zero and piece.end not in zero:
                graph.add_edge(piece.start, piece.end)
        cores: dict[str, list[int]] = {}
        for piece in self.pieces:
            if piece.core:
                cores.setdefault(piece.core, []).extend({piece.start, piece.end} - zero)
        for members in cores.values():
            nx.add_path(graph, members)
        source = self.pieces[self.input]
        first = source.start if source.start not in zero else source.end
        known: dict[int, int] = nx.single_source_shortest_path_length(graph, first)
        furthest = max(known.values())
        return tuple(known.get(net, 0 if net in zero else furthest) for net in range(len(self.nets)))

    @cached_property
    def parts(self) -> tuple[frozenset[int], ...]:
        """For each net the nets of its galvanic part."""
        graph = nx.Graph([(piece.start, piece.end) for piece in self.pieces])
        found: dict[int, frozenset[int]] = {}
        for part in nx.connected_components(graph):
            found |= dict.fromkeys(part, frozenset(part))
        return tuple(found[net] for net in range(len(self.nets)))

    @cached_property
    def beside(self) -> tuple[tuple[int, ...], ...]:
        """For each load the capacitors across it, places in :attr:`pieces`; nothing for other pieces."""
        found = []
        for piece in self.pieces:
            ends = {piece.start, piece.end}
            found.append(
                tuple(
                    place
                    for place, other in enumerate(self.pieces)
                    if piece.kind in ("load", "current")
                    and other.kind == "capacitor"
                    and {other.start, other.end} == ends
                )
            )
        return tuple(found)

    @cached_property
    def cores(self) -> tuple[tuple[int, ...], ...]:
        """The windings of each transformer, places in :attr:`pieces`."""
        found: dict[str, list[int]] = {}
        for place, piece in enumerate(self.pieces):
            if piece.core:
                found.setdefault(piece.core, []).append(place)
        return tuple(tuple(places) for places in found.values())


def task_of(circuit: Circuit) -> Task:
    """The pieces of ``circuit``, in netlist order."""
    nets = circuit.nodes
    number: Mapping[str, int] = {node: place for place, node in enumerate(nets)}
    coupled = {name for coupling in circuit.couplings for name in (coupling.first, coupling.second)}
    pieces = []
    for element in circuit.elements:
        if isinstance(element, Transformer):
            for count, (start, end) in enumerate(element.windings, 1):
                name = f"{element.name}.{count}"
                pieces.append(Piece(name, "winding", number[start], number[end], element.name, True))
            continue
        pieces.append(
            Piece(
                element.name,
                element.kind,
                number[element.start],
                number[element.end],
                dotted=element.name in coupled,
            )
        )
    source = circuit.input.name
    joined = graph_of(circuit)
    zero = sorted(references(circuit), key=lambda node: not nx.has_path(joined, node, circuit.input.start))
    return Task(
        tuple(pieces),
        nets,
        tuple(number[node] for node in zero),
        next(place for place, piece in enumerate(pieces) if piece.name == source),
        frozenset({number[circuit.output.start], number[circuit.output.end]}),
    )
