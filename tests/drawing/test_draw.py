"""What a drawing must be whatever the circuit: the same every time, the same in every form."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

import voltsec
from tests.drawing.geometry import circuit_is_drawn, collisions, crossings, is_planar
from voltsec.drawing.compose import compose
from voltsec.drawing.pieces import task_of
from voltsec.drawing.search import spread
from voltsec.drawing.spacing import places
from voltsec.report.output_file import CannotWrite

SVG = "{http://www.w3.org/2000/svg}"

HALF_BRIDGES = """
converter "Sluice motor from the 48 V battery, two phase-shifted legs and a rectifier"
ground gnd, m
parameter n = 0.5
source Vg : in -> gnd = 48 V
switch S1 : in -> a
switch S2 : a -> gnd
switch S3 : in -> b
switch S4 : b -> gnd
transformer T : a -> b, c -> m, m -> d = 1 : n : n { magnetizing LM = 1 mH }
diode D1 : c -> x
diode D2 : d -> x
inductor L : x -> out = 47 uH
capacitor Co : out -> m = 100 uF
load R : out -> m = 5 ohm
drive S1 at D
drive S2 against S1
drive S3 at D from 0.5
drive S4 against S3
"""
LADDER = """
converter "Mast light, four stages of a ladder multiplier"
source Vg : in -> gnd = 12 V
inductor L : in -> a = 100 uH
switch S : a -> gnd
diode D1 : a -> n1
capacitor C1 : n1 -> gnd = 10 uF
diode D2 : n1 -> x1
capacitor C2 : x1 -> a = 10 uF
diode D3 : x1 -> n2
capacitor C3 : n2 -> n1 = 10 uF
diode D4 : n2 -> x2
capacitor C4 : x2 -> x1 = 10 uF
diode D5 : x2 -> out
capacitor C5 : out -> n2 = 10 uF
load R : out -> gnd = 1 kohm
"""
NO_PLANE = """
converter "Every node tied to every other: no drawing in the plane"
source Vg : a -> gnd = 12 V
switch S : a -> b
diode D1 : gnd -> b
inductor L : b -> c = 10 uH
capacitor C1 : c -> gnd = 10 uF
resistor R1 : a -> c = 1 kohm
resistor R2 : a -> d = 1 kohm
resistor R3 : b -> d = 1 kohm
resistor R4 : c -> d = 1 kohm
load R : d -> gnd = 10 ohm
"""


@pytest.mark.parametrize(("text", "most"), [(HALF_BRIDGES, 1), (LADDER, 1), (NO_PLANE, 2)])
def test_circuits_off_the_shelf(text: str, most: int) -> None:
    """``most``: the least number of crossings (0; 1 for the complete graph of five nodes), plus one."""
    circuit = voltsec.read(text)
    drawn = voltsec.draw(circuit).panels[0].picture
    circuit_is_drawn(circuit, drawn)
    assert collisions(drawn) == []
    assert crossings(drawn) <= most
    assert is_planar(drawn) == (most == 1)


def test_the_same_circuit_gives_the_same_drawing() -> None:
    assert voltsec.draw(voltsec.load("sepic")).svg == voltsec.draw(voltsec.load("sepic")).svg


def test_faults_of_a_drawing_are_seen() -> None:
    """The reading back finds a part moved onto another, a wire taken away, one drawn across."""
    circuit = voltsec.load("boost")
    drawn = voltsec.draw(circuit).panels[0].picture
    first, second, *rest = drawn.parts
    assert collisions(replace(drawn, parts=(first, replace(second, box=first.box), *rest)))
    for wire in drawn.wires:
        with pytest.raises(AssertionError):
            circuit_is_drawn(circuit, replace(drawn, wires=tuple(w for w in drawn.wires if w != wire)))
    through = first.box
    middle = (through.low + through.high) / 2
    across = replace(
        drawn.wires[0], start=(through.left - 5, middle), end=(through.right + 5, middle), net="other"
    )
    assert collisions(replace(drawn, wires=(*drawn.wires, across)))
    lead = (first.terminals[0][1] + through.low) / 2 - 4
    longer = replace(across, start=(through.left - 5, lead), end=(drawn.width, lead))
    assert crossings(replace(drawn, wires=(*drawn.wires, longer))) > 1


def test_svg_has_text_as_text_and_a_dark_theme() -> None:
    circuit = voltsec.load("flyback")
    text = voltsec.draw(circuit).svg
    root = ElementTree.fromstring(text)
    words = [one.text for one in root.iter(f"{SVG}text")]
    for element in ("Vg", "T.1", "T.2", "S", "D1", "Co", "R"):
        assert words.count(element) == 1
    assert Counter(g.get("data-part") for g in root.iter(f"{SVG}g"))["S"] == 1
    assert "prefers-color-scheme: dark" in text
    assert "@media screen" in text, "on paper the light colours stay"


@pytest.mark.parametrize(("ending", "magic"), [(".svg", b"<?xml"), (".png", b"\x89PNG"), (".pdf", b"%PDF")])
def test_every_form_is_written(tmp_path: Path, ending: str, magic: bytes) -> None:
    file = tmp_path / f"buck{ending}"
    voltsec.draw(voltsec.load("buck")).save(file)
    assert file.read_bytes().startswith(magic)


def test_what_cannot_be_written_leaves_nothing(tmp_path: Path) -> None:
    drawing = voltsec.draw(voltsec.load("buck"))
    for name in ("buck.gif", "missing/buck.svg"):
        with pytest.raises(CannotWrite):
            drawing.save(tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def test_a_notebook_shows_the_circuit() -> None:
    circuit = voltsec.load("buck")
    assert circuit._repr_svg_() == voltsec.draw(circuit).svg
    without_switch = voltsec.read("source V : a -> gnd = 5 V\nload R : a -> gnd = 5 ohm")
    assert without_switch._repr_svg_() is None
    with pytest.raises(voltsec.CircuitError, match="no switch"):
        voltsec.draw(without_switch)


def test_there_is_always_room() -> None:
    """Where the search finds nothing that can be drawn, every net gets a row of its own."""
    circuit = voltsec.load("flyback2")
    task = task_of(circuit)
    labels = tuple((piece.name,) for piece in task.pieces)
    found = places(task, spread(task), labels)
    assert found is not None
    circuit_is_drawn(circuit, compose(task, found))
