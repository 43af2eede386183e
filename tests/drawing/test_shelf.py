"""Every circuit of the shelf drawn: the geometry, read back, is the circuit and nothing lies on anything."""

from __future__ import annotations

import networkx as nx
import pytest

import voltsec
from tests.drawing.geometry import circuit_is_drawn, collisions, crossings, is_planar
from voltsec.circuit.graph import graph_of
from voltsec.command.netlists import shipped_circuits
from voltsec.drawing.picture import Picture


@pytest.mark.parametrize("name", shipped_circuits())
def test_the_drawing_is_the_circuit(name: str) -> None:
    circuit = voltsec.load(name)
    drawn = voltsec.draw(circuit).panels[0].picture
    circuit_is_drawn(circuit, drawn)
    assert collisions(drawn) == []
    # a planar circuit can be drawn without crossings: its least number is 0
    assert is_planar(drawn), "the shelf's circuits are planar; another one needs a bound of its own"
    assert crossings(drawn) <= 1
    _as_expected(circuit, drawn)


def _as_expected(circuit: voltsec.Circuit, drawn: Picture) -> None:
    """Source left of everything, reference nodes at the bottom, every net named, dots on windings."""
    middles = {part.name: (part.terminals[0][0] + part.terminals[1][0]) / 2 for part in drawn.parts}
    assert middles[circuit.input.name] == min(middles.values())
    for part in nx.connected_components(graph_of(circuit)):  # each side of a transformer stands on its own
        (ground,) = {net for net, _, _ in drawn.references} & part
        heights = {net: max(w.end[1] for w in drawn.wires if w.net == net) for net in part}
        assert heights[ground] == max(heights.values())
    assert {text.text for text in drawn.texts} == set(circuit.nodes)
    if circuit.transformers:
        assert drawn.cores
        for part in drawn.parts:
            assert part.kind != "winding" or len(part.dots) == 1
