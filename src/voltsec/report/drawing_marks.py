"""Everything a drawing consists of, as marks with a style each: what both writers draw, and nothing else."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from voltsec.drawing.extents import NAME_SIZE, NET_SIZE, VALUE_SIZE
from voltsec.drawing.picture import Picture, Point, Text
from voltsec.drawing.symbols import Stroke, dot
from voltsec.report.drawing import Drawing
from voltsec.report.figure_face import ACCENT, DARK, INK, PAPER, QUIET

CAPTION = 24.0
"""Room for the line above a picture."""
NOTE = 16.0
"""Room for a line below the last picture."""
SIDE = 18.0


@dataclass(frozen=True)
class LineStyle:
    """How a line looks: its colour on a light ground and on a dark one, its width in points."""

    light: str
    dark: str
    width: float


@dataclass(frozen=True)
class TypeStyle:
    """How text looks."""

    light: str
    dark: str
    size: float
    bold: bool = False


LINES = {
    "plain": LineStyle(INK, DARK[INK], 1.5),
}
TYPES = {
    "name": TypeStyle(INK, DARK[INK], NAME_SIZE, True),
    "value": TypeStyle(QUIET, DARK[QUIET], VALUE_SIZE),
    "net": TypeStyle(ACCENT, DARK[ACCENT], NET_SIZE),
    "sign": TypeStyle(INK, DARK[INK], 12.0),
    "caption": TypeStyle(INK, DARK[INK], NAME_SIZE),
    "note": TypeStyle(QUIET, DARK[QUIET], VALUE_SIZE),
}
GROUND = (PAPER, DARK[PAPER])


@dataclass(frozen=True)
class Path:
    """A path to draw, in a style of :data:`LINES`."""

    stroke: Stroke
    style: str


@dataclass(frozen=True)
class Words:
    """Text to set, in a style of :data:`TYPES`; ``y`` is the base line's."""

    text: str
    x: float
    y: float
    anchor: str
    style: str


Mark = Path | Words


@dataclass(frozen=True)
class Group:
    """Marks that belong together: those of a part, of a net, or of nothing (an empty ``name``)."""

    kind: str
    name: str
    marks: tuple[Mark, ...]


def size(drawing: Drawing) -> Point:
    """Width and height of the whole drawing."""
    wide = max(panel.picture.width for panel in drawing.panels)
    high = sum(panel.picture.height + (CAPTION if panel.caption else 0.0) for panel in drawing.panels)
    for note in drawing.notes:
        wide = max(wide, 2 * SIDE + 0.55 * VALUE_SIZE * len(note))
    return wide, high + NOTE * len(drawing.notes)


def groups(drawing: Drawing) -> Iterator[Group]:
    """All marks of ``drawing`` in the order in which they are to be drawn."""
    top = 0.0
    for panel in drawing.panels:
        if panel.caption:
            yield Group("caption", "", (Words(panel.caption, SIDE, top + 18.0, "start", "caption"),))
            top += CAPTION
        picture = panel.picture
        yield from _picture(picture.moved(0.0, top, picture.width, picture.height))
        top += picture.height
    for note in drawing.notes:
        yield Group("note", "", (Words(note, SIDE, top + 3.0, "start", "note"),))
        top += NOTE


def _picture(picture: Picture) -> Iterator[Group]:
    for wire in picture.wires:
        yield Group("wire", wire.net, tuple(_paths((_line(wire.start, wire.end),), "plain")))
    for net, strokes, _ in picture.references:
        yield Group("reference", net, tuple(_paths(strokes, "plain")))
    if picture.cores:
        lines = [_line(*ends) for ends in picture.cores]
        yield Group("core", "", tuple(_paths(lines, "plain")))
    for net, (x, y) in picture.junctions:
        yield Group("junction", net, tuple(_paths((dot(x, y, 3.0),), "plain")))
    for part in picture.parts:
        marks: list[Mark] = [*_paths(part.strokes, "plain")]
        marks += _paths((dot(x, y, 2.5) for x, y in part.dots), "plain")
        if part.kind == "source":
            marks += [_sign(sign, at) for sign, at in zip("+−", part.signs, strict=True)]
        marks += [_words(text) for text in part.label]
        yield Group("part", part.name, tuple(marks))
    for text in picture.texts:
        yield Group("net-name", text.text, (_words(text),))


def _line(start: Point, end: Point) -> Stroke:
    return Stroke((("M", *start), ("L", *end)))


def _paths(strokes: Iterable[Stroke], style: str) -> Iterator[Path]:
    for stroke in strokes:
        yield Path(stroke, style)


def _words(text: Text) -> Words:
    return Words(text.text, text.x, text.y, text.anchor, text.role)


def _sign(sign: str, at: Point) -> Words:
    return Words(sign, at[0], at[1] + 4.0, "middle", "sign")
