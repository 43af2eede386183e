"""A picture read back as geometry: what is connected, what crosses, what lies on what.

Shares nothing with the way a picture is made: it reads end points, boxes and text places only.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

import networkx as nx

from voltsec.circuit.circuit import Circuit
from voltsec.drawing.extents import Box
from voltsec.drawing.picture import Picture, Point, Wire


def on_wire(point: Point, wire: Wire) -> bool:
    """True where ``point`` lies on ``wire``, its ends included."""
    xs, ys = sorted((wire.start[0], wire.end[0])), sorted((wire.start[1], wire.end[1]))
    return xs[0] - 1e-6 <= point[0] <= xs[1] + 1e-6 and ys[0] - 1e-6 <= point[1] <= ys[1] + 1e-6


def connections(picture: Picture) -> dict[tuple[str, int], int]:
    """For each end (0 or 1) of each part the number of the drawn net it is wired to.

    Two wires are joined where an end of the one lies on the other; crossing is not joining.
    """
    graph = nx.Graph()
    graph.add_nodes_from(range(len(picture.wires)))
    for (a, one), (b, other) in combinations(enumerate(picture.wires), 2):
        if any(on_wire(p, other) for p in (one.start, one.end)) or any(
            on_wire(p, one) for p in (other.start, other.end)
        ):
            graph.add_edge(a, b)
    found = {}
    group = {wire: k for k, part in enumerate(nx.connected_components(graph)) for wire in part}
    for part in picture.parts:
        for end, terminal in enumerate(part.terminals):
            touching = {
                group[k] for k, wire in enumerate(picture.wires) if terminal in (wire.start, wire.end)
            }
            assert len(touching) == 1, f"{part.name} has an end on {len(touching)} nets"
            found[part.name, end] = touching.pop()
    return found


def crossings(picture: Picture) -> int:
    """Points inside two wires."""
    level = [w for w in picture.wires if w.start[1] == w.end[1]]
    upright = [w for w in picture.wires if w.start[1] != w.end[1]]
    found = set()
    for one in level:
        for other in upright:
            point = (other.start[0], one.start[1])
            if on_wire(point, one) and on_wire(point, other) and one.net != other.net:
                found.add(point)
    return len(found)


def strictly_inside(wire: Wire, box: Box, pad: float = 0.5) -> bool:
    """True where ``wire`` runs through the inside of ``box``."""
    xs, ys = sorted((wire.start[0], wire.end[0])), sorted((wire.start[1], wire.end[1]))
    return (
        xs[0] < box.right - pad
        and xs[1] > box.left + pad
        and ys[0] < box.high - pad
        and ys[1] > box.low + pad
    )


def labels(picture: Picture) -> Iterator[tuple[str, Box]]:
    """Every text with its box: those of parts, then names of nets."""
    for part in picture.parts:
        for text in part.label:
            yield text.text, text.box
    for text in picture.texts:
        yield text.text, text.box


def collisions(picture: Picture) -> list[str]:
    """Everything that lies on something else."""
    found = []
    for one, other in combinations(picture.parts, 2):
        if one.box.meets(other.box):
            found.append(f"{one.name} on {other.name}")
    for part in picture.parts:
        through = [w.net for w in picture.wires if strictly_inside(w, part.box)]
        found += [f"wire of {net} through {part.name}" for net in through]
    texts = list(labels(picture))
    for name, box in texts:
        found += [f"{name} on {part.name}" for part in picture.parts if box.meets(part.box)]
        through = [w.net for w in picture.wires if strictly_inside(w, box, 0.0)]
        found += [f"wire of {net} through the label {name}" for net in through]
    found += [f"{a} on {b}" for (a, one), (b, other) in combinations(texts, 2) if one.meets(other)]
    for core in picture.cores:
        line = Wire("", *core)
        found += [f"core through {part.name}" for part in picture.parts if strictly_inside(line, part.box)]
        found += [f"core through {name}" for name, box in texts if strictly_inside(line, box)]
    for name, box in [*texts, *((part.name, part.box) for part in picture.parts)]:
        if min(box.left, box.low) < 0 or box.right > picture.width or box.high > picture.height:
            found.append(f"{name} outside")
    return found


def is_planar(picture: Picture) -> bool:
    """True where the circuit, each part an edge between its nets, has a drawing without crossings."""
    graph = nx.Graph()
    for part in picture.parts:
        graph.add_edge(*part.nets)
    return bool(nx.check_planarity(graph)[0])


def circuit_is_drawn(circuit: Circuit, picture: Picture) -> None:
    """Every part of ``circuit`` is there once, and ends are wired together exactly where the netlist says."""
    ends: dict[str, tuple[str, str]] = {}
    for element in circuit.elements:
        if element.kind == "transformer":
            ends |= {f"{element.name}.{k}": pair for k, pair in enumerate(element.windings, 1)}
        else:
            ends[element.name] = (element.start, element.end)
    assert sorted(part.name for part in picture.parts) == sorted(ends)
    drawn = connections(picture)
    net_of: dict[str, int] = {}
    for name, nodes in ends.items():
        for end, node in enumerate(nodes):
            assert net_of.setdefault(node, drawn[name, end]) == drawn[name, end], f"{node} is drawn in pieces"
    assert len(set(net_of.values())) == len(net_of), "two nets are drawn as one"
