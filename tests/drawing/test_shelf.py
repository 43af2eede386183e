"""Every circuit of the shelf drawn: the geometry, read back, is the circuit and nothing lies on anything."""

from __future__ import annotations

import pytest

import voltsec
from tests.drawing.geometry import circuit_is_drawn, collisions, crossings, is_planar
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
    middles = {part.name: (part.box.left + part.box.right) / 2 for part in drawn.parts}
    assert middles[circuit.input.name] == min(middles.values())
    lowest = max(wire.end[1] for wire in drawn.wires)
    grounds = {net for net, _, _ in drawn.references}
    for net in grounds:
        assert max(wire.end[1] for wire in drawn.wires if wire.net == net) == lowest
    assert {text.text for text in drawn.texts} == set(circuit.nodes)
    if circuit.transformers:
        assert drawn.cores
        for part in drawn.parts:
            assert part.kind != "winding" or len(part.dots) == 1
