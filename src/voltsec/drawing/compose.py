"""From places to the picture: symbols, wires, junctions, labels, signs of reference nets, net names."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import pairwise

from voltsec.drawing.extents import (
    CORE_ABOVE,
    GAP,
    LINE,
    NAME_SIZE,
    NET_SIZE,
    PITCH,
    SIGN,
    VALUE_SIZE,
    Box,
    label_size,
    mark_width,
    text_width,
    widths,
)
from voltsec.drawing.flow import arrow_place
from voltsec.drawing.picture import Part, Picture, Point, Text, Wire
from voltsec.drawing.pieces import Task
from voltsec.drawing.spacing import Places
from voltsec.drawing.symbols import REACH, Stroke, placed, symbol

MARGIN = 18.0
SIGN_SIZE = 12.0
SIGN_REACH = {"capacitor": 13.0, "source": 23.0}
"""How far along the axis polarity signs stand from the middle; else 21."""


def compose(task: Task, places: Places) -> Picture:
    """The picture of ``places``."""
    return _Composer(task, places).picture()


class _Composer:
    def __init__(self, task: Task, places: Places) -> None:
        self.task, self.places = task, places
        lifts = places.arrangement.lifts
        self.top = max(*places.arrangement.rows, *lifts) * PITCH

    def y(self, height: float) -> float:
        return self.top - height

    def row_y(self, net: int) -> float:
        return self.y(PITCH * self.places.arrangement.rows[net])

    def picture(self) -> Picture:
        parts = tuple(self._part(p) for p in range(len(self.task.pieces)))
        wires = tuple(self._wires(parts))
        cores = tuple(self._cores(parts, wires))
        references = tuple(self._references(parts, wires))
        texts = tuple(self._names(parts, wires, cores, [box for _, _, box in references]))
        return _framed(Picture(0, 0, parts, wires, _junctions(wires), cores, references, texts))

    def _part(self, p: int) -> Part:
        piece, places = self.task.pieces[p], self.places
        x, height = places.centre[p]
        y = self.y(height)
        if p in places.side:
            rows = places.arrangement.rows
            along = (0.0, -1.0) if rows[piece.start] < rows[piece.end] else (0.0, 1.0)
            side = places.side[p] or 1
            across = (-float(side), 0.0)
        else:
            one, other = places.token_x[2 * p], places.token_x[2 * p + 1]
            along = (1.0, 0.0) if one < other else (-1.0, 0.0)
            across = (0.0, 1.0)
        turned = piece.kind == "inductor" or (piece.kind == "switch" and p not in places.side)
        if piece.kind in ("inductor", "winding"):
            turned = piece.kind == "winding" and p in places.side
        strokes = placed(symbol(piece.kind, turned=turned), (x, y), along, across)
        closed: tuple[Stroke, ...] = ()
        if piece.kind == "switch":
            closed = placed(symbol(piece.kind, True, turned), (x, y), along, across)
        terminals = (
            (x - REACH * along[0], y - REACH * along[1]),
            (x + REACH * along[0], y + REACH * along[1]),
        )
        box = _box((x, y), along, across, *widths(piece.kind, p in places.side))
        dots: tuple[Point, ...] = ()
        if piece.dotted:
            # clear of the polarity signs
            back, away = (7.0, 8.0) if piece.kind == "inductor" else (17.0, 10.0)
            dots = ((x - back * along[0] + away * across[0], y - back * along[1] + away * across[1]),)
        reach = SIGN_REACH.get(piece.kind, 21.0)
        aside = -SIGN if piece.core and p in places.side else SIGN
        signs = tuple(
            (x + s * reach * along[0] + aside * across[0], y + s * reach * along[1] + aside * across[1])
            for s in (-1.0, 1.0)
        )
        label = tuple(self._label(p, x, y))
        nets = (self.task.nets[piece.start], self.task.nets[piece.end])
        return Part(piece.name, piece.kind, strokes, terminals, nets, box, label, signs, dots, closed)

    def _label(self, p: int, x: float, y: float) -> Iterator[Text]:
        lines, piece = self.places.labels[p], self.task.pieces[p]
        if not lines:
            return
        high = label_size(lines)[1]
        side = self.places.side.get(p)
        half = widths(piece.kind, side is not None)[0]
        if side is None:
            half += CORE_ABOVE if piece.core else 0.0
            yield from _lines(lines, x, y - half - GAP - high, "middle")
        elif side == 0:
            yield from _lines(lines, x + GAP, y - REACH - LINE - GAP, "start")
        else:
            if piece.core:
                half = mark_width(piece.kind)
            anchor = "start" if side > 0 else "end"
            yield from _lines(lines, x + side * (half + GAP), y - high / 2, anchor)

    def _wires(self, parts: tuple[Part, ...]) -> Iterator[Wire]:
        """Bars cut where something joins, leads of parts, risers."""
        places, task = self.places, self.task
        points: list[set[float]] = [set() for _ in task.nets]
        found: list[Wire] = []
        for p, piece in enumerate(task.pieces):
            for end, net in ((0, piece.start), (1, piece.end)):
                name, y = task.nets[net], self.row_y(net)
                terminal = parts[p].terminals[end]
                if p in places.side:
                    x = places.token_x[2 * p]
                    found.append(Wire(name, (x, y), terminal))
                else:
                    x = places.token_x[2 * p + end]
                    level = terminal[1]
                    if level == y:  # in its own row the lead is part of the bar
                        x = terminal[0]
                    else:
                        found += [Wire(name, (x, y), (x, level)), Wire(name, (x, level), terminal)]
                points[net].add(x)
        for net, name in enumerate(task.nets):
            y, xs = self.row_y(net), sorted(points[net])
            found += [Wire(name, (a, y), (b, y)) for a, b in pairwise(xs)]
        yield from (wire for wire in found if wire.start != wire.end)

    def _cores(self, parts: tuple[Part, ...], wires: tuple[Wire, ...]) -> Iterator[tuple[Point, Point]]:
        """Two lines between windings that stand side by side, beside those in one line."""
        places = self.places
        for core in self.task.cores:
            columns: dict[float, list[float]] = {}
            for p in core:
                if p in places.side:
                    columns.setdefault(places.centre[p][0], []).append(self.y(places.centre[p][1]))
            xs = sorted(columns)
            trials = [((a + b) / 2, columns[a] + columns[b]) for a, b in pairwise(xs)]
            if len(xs) == 1:
                trials = [(xs[0] - 19, columns[xs[0]])]
            taken = [part.box for part in parts] + [text.box for part in parts for text in part.label]
            taken += [_around(wire) for wire in wires]
            for x, heights in trials:
                low, high = min(heights), max(heights)
                room = Box(x - 4, low - REACH + 4, x + 4, high + REACH - 4)
                if not any(room.meets(box) for box in taken):
                    yield from _core(x, low, high)
            lying = [places.centre[p] for p in core if p not in places.side]
            if len(lying) > 1:
                left, right = min(x for x, _ in lying), max(x for x, _ in lying)
                y = self.y(lying[0][1]) - widths("winding", False)[0] - 3
                for line in (y, y - 4):
                    yield (left - REACH + 4, line), (right + REACH - 4, line)

    def _references(
        self, parts: tuple[Part, ...], wires: tuple[Wire, ...]
    ) -> Iterator[tuple[str, tuple[Stroke, ...], Box]]:
        """A sign below each reference net, where nothing else is."""
        for count, net in enumerate(self.task.references):
            name, y = self.task.nets[net], self.row_y(net)
            own = [point for wire in wires if wire.net == name for point in (wire.start, wire.end)]
            xs = sorted({x for x, at in own if at == y})
            wide = text_width(name, NET_SIZE)
            taken = [part.box for part in parts] + [text.box for part in parts for text in part.label]
            taken += [_around(wire) for wire in wires if max(wire.start[1], wire.end[1]) > y]
            places = [*xs, *((a + b) / 2 for a, b in pairwise(xs))]
            for x in places:
                box = Box(x - 13, y + 2, x + 17 + wide, y + 24)
                if not any(box.meets(other, 1) for other in taken):
                    break
            yield name, _reference_sign(x, y, count), box

    def _names(
        self,
        parts: tuple[Part, ...],
        wires: tuple[Wire, ...],
        cores: tuple[tuple[Point, Point], ...],
        taken: list[Box],
    ) -> Iterator[Text]:
        """Names of the other nets where there is room beside one of their wires, and of the references."""
        filled = [*taken, *(part.box for part in parts)]
        filled += [text.box for part in parts for text in part.label]
        filled += [Box(x - 6, y - 6, x + 6, y + 6) for part in parts for x, y in part.signs]
        filled += [Box(x - 4, y - 4, x + 4, y + 4) for part in parts for x, y in part.dots]
        filled += [_around(Wire("", a, b)) for a, b in cores]
        heads = [arrow_place(wires, part.terminals)[0] for part in parts]
        arrows = [Box(x - 5, y - 5, x + 5, y + 5) for x, y in heads]
        lines = [_around(wire) for wire in wires]
        for count, net in enumerate(self.task.references):
            name = self.task.nets[net]
            box = taken[count]
            yield _text(name, box.left + 29, box.low + 13, "start", "net")
        for net, name in enumerate(self.task.nets):
            if net in self.task.references:
                continue
            text = self._net_name(name, wires, filled + lines + arrows)
            text = text or self._net_name(name, wires, filled + lines)  # rather near an arrow than not at all
            if text is not None:
                filled.append(text.box)
                yield text

    def _net_name(self, name: str, wires: tuple[Wire, ...], filled: list[Box]) -> Text | None:
        own = [wire for wire in wires if wire.net == name]
        level = sorted({(min(w.start, w.end), max(w.start, w.end)) for w in own if w.start[1] == w.end[1]})
        trials: list[tuple[float, float, str]] = []
        for dy in (-7.0, 14.0):
            for a, b in level:
                trials += [(a[0] + 7, a[1] + dy, "start"), (b[0] - 7, a[1] + dy, "end")]
                trials += [((a[0] + b[0]) / 2, a[1] + dy, "middle")]
        for wire in own:
            if wire.start[0] == wire.end[0]:
                x, (low, high) = wire.start[0], sorted((wire.start[1], wire.end[1]))
                for y in (low + 13.0, (low + high) / 2 + 4, high - 6):
                    trials += [(x + 7, y, "start"), (x - 7, y, "end")]
        for x, y, anchor in trials:
            text = _text(name, x, y, anchor, "net")
            if not any(text.box.meets(box) for box in filled):
                return text
        return None


def _core(x: float, low: float, high: float) -> Iterator[tuple[Point, Point]]:
    for aside in (-2.0, 2.0):
        yield (x + aside, low - REACH + 4), (x + aside, high + REACH - 4)


def _box(centre: Point, along: Point, across: Point, half: float, mark: float) -> Box:
    """The symbol's rectangle: ``mark`` to the side ``across`` points to, ``half`` to the other."""
    corners = [
        (
            centre[0] + u * along[0] + v * across[0],
            centre[1] + u * along[1] + v * across[1],
        )
        for u in (-REACH, REACH)
        for v in (-half, mark)
    ]
    xs, ys = [x for x, _ in corners], [y for _, y in corners]
    return Box(min(xs), min(ys), max(xs), max(ys))


def _lines(lines: tuple[str, ...], x: float, top: float, anchor: str) -> Iterator[Text]:
    for k, line in enumerate(lines):
        yield _text(line, x, top + LINE * k + 11.5, anchor, "value" if k else "name")


def _text(text: str, x: float, y: float, anchor: str, role: str) -> Text:
    size = {"name": NAME_SIZE, "value": VALUE_SIZE, "net": NET_SIZE, "sign": SIGN_SIZE}[role]
    wide = text_width(text, size)
    left = x - {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
    return Text(text, x, y, anchor, role, Box(left, y - 0.75 * size, left + wide, y + 0.22 * size))


def _around(wire: Wire) -> Box:
    xs, ys = sorted((wire.start[0], wire.end[0])), sorted((wire.start[1], wire.end[1]))
    return Box(xs[0] - 1, ys[0] - 1, xs[1] + 1, ys[1] + 1)


def _reference_sign(x: float, y: float, count: int) -> tuple[Stroke, ...]:
    """Earth's sign for the first reference, an open triangle for separate ones."""
    stem = Stroke((("M", x, y), ("L", x, y + 10)))
    if count:
        return stem, Stroke((("M", x - 9, y + 10), ("L", x + 9, y + 10), ("L", x, y + 20), ("Z",)))
    lines = [
        Stroke((("M", x - half, y + 10 + 4.5 * k), ("L", x + half, y + 10 + 4.5 * k)))
        for k, half in enumerate((11.0, 7.0, 3.0))
    ]
    return stem, *lines


def _junctions(wires: tuple[Wire, ...]) -> tuple[tuple[str, Point], ...]:
    count = Counter((wire.net, point) for wire in wires for point in (wire.start, wire.end))
    return tuple(sorted(key for key, times in count.items() if times > 2))


def _framed(picture: Picture) -> Picture:
    """The picture moved so that all of it lies inside a margin, with its size."""
    boxes = [part.box for part in picture.parts] + [_around(wire) for wire in picture.wires]
    boxes += [text.box for part in picture.parts for text in part.label]
    boxes += [text.box for text in picture.texts] + [box for _, _, box in picture.references]
    boxes += [Box(x - 6, y - 6, x + 6, y + 6) for part in picture.parts for x, y in part.signs]
    left, top = min(box.left for box in boxes), min(box.low for box in boxes)
    right, low = max(box.right for box in boxes), max(box.high for box in boxes)
    return picture.moved(MARGIN - left, MARGIN - top, right - left + 2 * MARGIN, low - top + 2 * MARGIN)
