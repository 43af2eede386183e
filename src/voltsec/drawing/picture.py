"""The picture as geometry: parts, wires, junctions and labels with their places, y downwards, in points.

Both writers, SVG and the other formats, draw what stands here and nothing else; whoever wants to check a
picture reads the same values.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from voltsec.drawing.extents import Box
from voltsec.drawing.symbols import Stroke

Point = tuple[float, float]


@dataclass(frozen=True)
class Text:
    """One line of text; ``anchor`` is start, middle or end, ``role`` name, value, net or sign."""

    text: str
    x: float
    y: float
    """Of the base line."""
    anchor: str
    role: str
    box: Box


@dataclass(frozen=True)
class Part:
    """A symbol in its place."""

    name: str
    kind: str
    strokes: tuple[Stroke, ...]
    terminals: tuple[Point, Point]
    """Where wires reach its first and its second end."""
    nets: tuple[str, str]
    box: Box
    label: tuple[Text, ...]
    signs: tuple[Point, ...]
    """Middles of polarity signs at the first and the second end."""
    dots: tuple[Point, ...] = ()
    """The dot of a winding."""
    closed: tuple[Stroke, ...] = ()
    """A switch's strokes where it is on."""


@dataclass(frozen=True)
class Wire:
    """A straight piece of wire, upright or level."""

    net: str
    start: Point
    end: Point


@dataclass(frozen=True)
class Picture:
    """A circuit drawn."""

    width: float
    height: float
    parts: tuple[Part, ...]
    wires: tuple[Wire, ...]
    junctions: tuple[tuple[str, Point], ...]
    """Where three or more wires of a net meet."""
    cores: tuple[tuple[Point, Point], ...]
    """Lines of transformers' cores."""
    references: tuple[tuple[str, tuple[Stroke, ...], Box], ...]
    """Signs of reference nets, with their net."""
    texts: tuple[Text, ...]
    """Names of nets."""

    def part(self, name: str) -> Part:
        """The part called ``name``; KeyError where there is none."""
        for part in self.parts:
            if part.name == name:
                return part
        raise KeyError(name)

    def moved(self, dx: float, dy: float, width: float, height: float) -> Picture:
        """Everything moved by ``dx`` and ``dy``, in a picture of that size."""

        def at(point: Point) -> Point:
            return (point[0] + dx, point[1] + dy)

        def box(one: Box) -> Box:
            return Box(one.left + dx, one.low + dy, one.right + dx, one.high + dy)

        def text(one: Text) -> Text:
            return replace(one, x=one.x + dx, y=one.y + dy, box=box(one.box))

        def part(one: Part) -> Part:
            return replace(
                one,
                strokes=tuple(stroke.moved(dx, dy) for stroke in one.strokes),
                terminals=(at(one.terminals[0]), at(one.terminals[1])),
                box=box(one.box),
                label=tuple(map(text, one.label)),
                signs=tuple(map(at, one.signs)),
                dots=tuple(map(at, one.dots)),
                closed=tuple(stroke.moved(dx, dy) for stroke in one.closed),
            )

        return Picture(
            width,
            height,
            tuple(map(part, self.parts)),
            tuple(Wire(wire.net, at(wire.start), at(wire.end)) for wire in self.wires),
            tuple((net, at(point)) for net, point in self.junctions),
            tuple((at(a), at(b)) for a, b in self.cores),
            tuple(
                (net, tuple(stroke.moved(dx, dy) for stroke in strokes), box(around))
                for net, strokes, around in self.references
            ),
            tuple(map(text, self.texts)),
        )
