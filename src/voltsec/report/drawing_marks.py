"""Everything a drawing consists of, as marks with a style each: what both writers draw, and nothing else."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from voltsec.drawing.extents import NAME_SIZE, NET_SIZE, VALUE_SIZE
from voltsec.drawing.symbols import Stroke, dot, placed
from voltsec.report.figure_face import ACCENT, DARK, INK, PAPER, QUIET

if TYPE_CHECKING:
    from voltsec.drawing.flow import Flow
    from voltsec.drawing.picture import Picture, Point, Text
    from voltsec.report.drawing import Drawing

CAPTION = 24.0
"""Room for the first line above a picture."""
NOTE = 16.0
"""Room for a further line, or one below the last picture."""
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
    "quiet": LineStyle(QUIET, DARK[QUIET], 1.2),
    "strong": LineStyle(ACCENT, DARK[ACCENT], 2.6),
    "faint": LineStyle("#b4bbc0", "#4d575e", 1.1),
}
TYPES = {
    "name": TypeStyle(INK, DARK[INK], NAME_SIZE, True),
    "value": TypeStyle(QUIET, DARK[QUIET], VALUE_SIZE),
    "net": TypeStyle(ACCENT, DARK[ACCENT], NET_SIZE),
    "sign": TypeStyle(INK, DARK[INK], 12.0),
    "caption": TypeStyle(INK, DARK[INK], NAME_SIZE),
    "note": TypeStyle(QUIET, DARK[QUIET], VALUE_SIZE),
}
ARROW = Stroke((("M", 6.0, 0.0), ("L", -4.0, 4.6), ("L", -4.0, -4.6), ("Z",)), True)
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
    state: str = ""
    """Whether a part ``conducts`` or ``blocks``, in the picture of an interval."""


def size(drawing: Drawing) -> Point:
    """Width and height of the whole drawing."""
    wide = max(panel.picture.width for panel in drawing.panels)
    high = 0.0
    for panel in drawing.panels:
        high += panel.picture.height
        high += CAPTION + NOTE * (len(panel.caption) - 1) if panel.caption else 0.0
    lines = [*drawing.notes, *(line for panel in drawing.panels for line in panel.caption)]
    wide = max([wide, *(2 * SIDE + 0.6 * VALUE_SIZE * len(line) for line in lines)])
    return wide, high + NOTE * len(drawing.notes)


def groups(drawing: Drawing) -> Iterator[Group]:
    """All marks of ``drawing`` in the order in which they are to be drawn."""
    top = 0.0
    for panel in drawing.panels:
        for count, line in enumerate(panel.caption):
            style = "note" if count else "caption"
            top += NOTE if count else CAPTION
            yield Group("caption", "", (Words(line, SIDE, top - 6.0, "start", style),))
        picture = panel.picture
        moved = picture.moved(0.0, top, picture.width, picture.height)
        yield from _picture(moved, None if panel.flow is None else panel.flow.moved(0.0, top))
        top += picture.height
    for note in drawing.notes:
        yield Group("note", "", (Words(note, SIDE, top + 3.0, "start", "note"),))
        top += NOTE


def _picture(picture: Picture, flow: Flow | None) -> Iterator[Group]:
    def style(carries: bool) -> str:
        return "plain" if flow is None else "strong" if carries else "faint"

    states = (False,) * len(picture.wires) if flow is None else flow.wires
    on_wires = [wire for wire, on in zip(picture.wires, states, strict=True) if on]
    live = {point for wire in on_wires for point in (wire.start, wire.end)}
    for carries in (False, True):  # what carries a current lies above what does not
        for wire, on in zip(picture.wires, states, strict=True):
            if on == carries:
                yield Group("wire", wire.net, tuple(_paths((_line(wire.start, wire.end),), style(on))))
    for net, strokes, _ in picture.references:
        yield Group("reference", net, tuple(_paths(strokes, "plain" if flow is None else "quiet")))
    if picture.cores:
        lines = [_line(*ends) for ends in picture.cores]
        yield Group("core", "", tuple(_paths(lines, "plain" if flow is None else "quiet")))
    for net, at in picture.junctions:
        yield Group("junction", net, tuple(_paths((dot(*at, 3.0),), style(at in live))))
    for part in picture.parts:
        on = flow is not None and part.name in flow.active
        closed = flow is not None and part.name in flow.closed
        strokes = (part.closed if closed else ()) or part.strokes
        marks: list[Mark] = [*_paths(strokes, style(on))]
        marks += _paths((dot(x, y, 2.5) for x, y in part.dots), style(True))
        polarity = 1 if part.kind == "source" else 0 if flow is None else flow.polarity.get(part.name, 0)
        if polarity:
            marks += [_sign(sign, at) for sign, at in zip("+−"[::polarity], part.signs, strict=True)]
        marks += [_words(text) for text in part.label]
        state = "" if flow is None else "conducts" if on else "blocks"
        yield Group("part", part.name, tuple(marks), state)
    for text in picture.texts:
        yield Group("net-name", text.text, (_words(text),))
    for at, along in () if flow is None else flow.arrows:
        head = placed((ARROW,), at, along, (-along[1], along[0]))
        yield Group("arrow", "", tuple(_paths(head, "strong")))


def _line(start: Point, end: Point) -> Stroke:
    return Stroke((("M", *start), ("L", *end)))


def _paths(strokes: Iterable[Stroke], style: str) -> Iterator[Path]:
    for stroke in strokes:
        yield Path(stroke, style)


def _words(text: Text) -> Words:
    return Words(text.text, text.x, text.y, text.anchor, text.role)


def _sign(sign: str, at: Point) -> Words:
    return Words(sign, at[0], at[1] + 4.0, "middle", "sign")
