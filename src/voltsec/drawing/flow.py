"""Currents laid on a picture: which parts and wires carry one, which way, and the polarity of what stores."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import isnan

import numpy as np

from voltsec.drawing.extents import ENDS
from voltsec.drawing.picture import Picture, Point, Wire

LEAST = 1e-6
"""A current below this share of the largest is none."""
ONE_WAY = 0.05
"""A mean below this share of the largest value flows both ways."""
FROM_SYMBOL = 12.0
"""From a symbol to the middle of the arrowhead on its lead."""


@dataclass(frozen=True)
class Flow:
    """What an interval's picture shows beside the circuit."""

    active: frozenset[str]
    """Parts that carry a current."""
    closed: frozenset[str]
    """Switches that are on."""
    wires: tuple[bool, ...]
    """For each wire of the picture whether it carries a current."""
    arrows: tuple[tuple[Point, Point], ...]
    """Middles of arrowheads, and the unit vectors they point along."""
    polarity: Mapping[str, int]
    """Coil, capacitor or winding -> 1 where its first end is positive, else -1; left out without voltage."""

    def moved(self, dx: float, dy: float) -> Flow:
        """The same on a picture moved by ``dx`` and ``dy``."""
        arrows = tuple(((x + dx, y + dy), along) for (x, y), along in self.arrows)
        return replace(self, arrows=arrows)


def flow_of(
    picture: Picture,
    currents: Mapping[str, np.ndarray],
    voltages: Mapping[str, float],
    levels: tuple[float, float],
    closed: frozenset[str],
) -> Flow:
    """``currents`` (along each part's arrow, samples (s,)) and mean ``voltages`` on ``picture``.

    ``levels`` are the largest current and voltage of the whole period: far less than these is nothing.
    """
    least = LEAST * levels[0]
    active = frozenset(part.name for part in picture.parts if _size(currents[part.name]) > least)
    carried = _in_wires(picture, currents)
    arrows = []
    for part in picture.parts:
        values = currents[part.name]
        mean = float(np.mean(values))
        if part.name not in active or isnan(mean) or abs(mean) < ONE_WAY * _size(values):
            continue
        middle, (dx, dy) = arrow_place(picture.wires, part.terminals)
        arrows.append((middle, (dx, dy) if mean > 0 else (-dx, -dy)))
    polarity = {
        part.name: 1 if voltages[part.name] > 0 else -1
        for part in picture.parts
        if part.kind in ENDS and abs(voltages[part.name]) > 1e-3 * levels[1]
    }
    wires = tuple(_size(values) > least for values in carried)
    return Flow(active, closed, wires, tuple(arrows), polarity)


def _size(values: np.ndarray) -> float:
    """The largest value; infinite where ideal parts leave it open."""
    return float("inf") if np.isnan(values).any() else float(np.abs(values).max(initial=0.0))


def _in_wires(picture: Picture, currents: Mapping[str, np.ndarray]) -> list[np.ndarray]:
    """The current in each wire from its start to its end: a net's wires are a tree, taken leaf by leaf."""
    into: defaultdict[tuple[str, Point], np.ndarray | float] = defaultdict(float)
    for part in picture.parts:
        values = currents[part.name]
        for net, terminal, sign in zip(part.nets, part.terminals, (-1.0, 1.0), strict=True):
            into[net, terminal] = into[net, terminal] + sign * values
    found: dict[int, np.ndarray] = {}
    left = dict(enumerate(picture.wires))
    while left:
        ends: defaultdict[tuple[str, Point], list[int]] = defaultdict(list)
        for place, wire in left.items():
            ends[wire.net, wire.start].append(place)
            ends[wire.net, wire.end].append(place)
        leaves = [(key, places[0]) for key, places in ends.items() if len(places) == 1]
        for (net, point), place in leaves:
            if place not in left:  # its other end was a leaf as well
                continue
            wire = left.pop(place)
            value = into[net, point]
            outwards = wire.start == point
            other = wire.end if outwards else wire.start
            found[place] = np.asarray(value if outwards else -value)
            into[net, other] = into[net, other] + value
    return [found[place] for place in range(len(picture.wires))]


def arrow_place(wires: tuple[Wire, ...], terminals: tuple[Point, Point]) -> tuple[Point, Point]:
    """Where a part's arrowhead stands, on the longer of its leads, and the unit vector along the part."""
    (x1, y1), (x2, y2) = terminals
    length = abs(x2 - x1) + abs(y2 - y1)
    along = ((x2 - x1) / length, (y2 - y1) / length)
    leads = [next(wire for wire in wires if terminal in (wire.start, wire.end)) for terminal in terminals]
    first = _length(leads[0]) >= _length(leads[1])
    lead, terminal = (leads[0], terminals[0]) if first else (leads[1], terminals[1])
    far = min(FROM_SYMBOL, _length(lead) / 2) * (-1.0 if first else 1.0)
    return (terminal[0] + far * along[0], terminal[1] + far * along[1]), along


def _length(wire: Wire) -> float:
    return abs(wire.end[0] - wire.start[0]) + abs(wire.end[1] - wire.start[1])
