"""An arrangement: a row for every net, an order from left to right for every part, and what it costs.

Every net is one straight bar in its row.  A part whose nets lie in different rows stands upright between
the two bars; one whose nets lie in the same row lies in that row between them; a lifted part lies in a
row of its own, with a riser to each bar that lies elsewhere.  So bars never bend, and every planar
circuit has an arrangement without crossings (a visibility drawing, R. Tamassia and I. Tollis, *A unified
approach to visibility representations of planar graphs*, 1986; from memory).

The order is a list of tokens: token ``2 p`` is the first end of part ``p``, ``2 p + 1`` its second; an
upright part stands at its first token and its second is idle.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from voltsec.drawing.pieces import Task

OVERLAP = 60.0
FIRST_CROSSING = 11.0
"""One crossing is often better than a way round everything."""
CROSSING = 25.0
RISER = 1.4
LENGTH = 0.3
HEIGHT = 0.7
ROW = 1.5
BACKWARDS = 1.5
APART = 14.0
STACKED = 5.0
RAISED = 1.5
FAR = 10**6
SERIES = {"inductor": 2.6, "diode": 1.5, "capacitor": 0.8, "switch": 0.6, "resistor": 1.5}
"""For a part on the power's way that stands upright."""


@dataclass
class Arrangement:
    """Rows, lifts and order; changed in place while searching."""

    rows: list[int]
    """The row of each net, 0 at the bottom."""
    lifts: list[int]
    """The row in which a part lies that is lifted, else -1."""
    order: list[int]
    """Tokens from left to right."""

    def without_empty_rows(self) -> Arrangement:
        """The same with rows in which nothing lies left out."""
        used = sorted({*self.rows, *(row for row in self.lifts if row >= 0)})
        place = {row: k for k, row in enumerate(used)}
        return Arrangement(
            [place[row] for row in self.rows],
            [place[row] if row >= 0 else -1 for row in self.lifts],
            self.order[:],
        )

    def copy(self) -> Arrangement:
        """A copy that can be changed by itself."""
        return Arrangement(self.rows[:], self.lifts[:], self.order[:])


class Lying(NamedTuple):
    """A part that lies in a row between two tokens."""

    piece: int
    row: int


class Upright(NamedTuple):
    """A part, or a riser of a lying one, that stands at a token between two rows."""

    piece: int
    token: int
    low: int
    high: int
    net: int = -1
    """The net of a riser; -1 for a part."""


@dataclass
class Laid:
    """An arrangement read: what stands, what lies and from where to where each net's bar goes."""

    position: list[int]
    """Place of each token among those in use; -1 for idle ones."""
    first: list[int]
    """Leftmost position of each net."""
    last: list[int]
    upright: list[Upright]
    lying: list[Lying]


def laid(task: Task, arrangement: Arrangement) -> Laid:
    """``arrangement`` read once; positions count only tokens in use."""
    rows, lifts, pieces = arrangement.rows, arrangement.lifts, task.pieces
    stands = [lifts[p] < 0 and rows[one.start] != rows[one.end] for p, one in enumerate(pieces)]
    position = [-1] * (2 * len(pieces))
    count = 0
    for token in arrangement.order:
        if token & 1 and stands[token >> 1]:
            continue
        position[token] = count
        count += 1
    first, last = [FAR] * len(rows), [-1] * len(rows)
    upright: list[Upright] = []
    lying: list[Lying] = []
    for p, piece in enumerate(pieces):
        start, end = piece.start, piece.end
        one = position[2 * p]
        other = one if stands[p] else position[2 * p + 1]
        if one < first[start]:
            first[start] = one
        if one > last[start]:
            last[start] = one
        if other < first[end]:
            first[end] = other
        if other > last[end]:
            last[end] = other
        if stands[p]:
            low, high = rows[start], rows[end]
            upright.append(Upright(p, 2 * p, low, high) if low < high else Upright(p, 2 * p, high, low))
            continue
        row = lifts[p] if lifts[p] >= 0 else rows[start]
        lying.append(Lying(p, row))
        for token, net in ((2 * p, start), (2 * p + 1, end)):
            if rows[net] != row:
                upright.append(Upright(p, token, min(row, rows[net]), max(row, rows[net]), net))
    return Laid(position, first, last, upright, lying)


def cost(task: Task, arrangement: Arrangement) -> float:
    """What ``arrangement`` costs: overlaps, crossings, bends, lengths, and what a person would not expect."""
    found = laid(task, arrangement)
    rows, position = arrangement.rows, found.position
    first, last = found.first, found.last
    total = 0.0
    spans: list[tuple[int, float, float, bool]] = []
    for net, row in enumerate(rows):
        spans.append((row, first[net], last[net], False))
        total += LENGTH * (last[net] - first[net])
    for one in found.lying:
        a, b = position[2 * one.piece], position[2 * one.piece + 1]
        if a > b:
            a, b = b, a
        spans.append((one.row, a, b, True))
        total += 0.6 * LENGTH * (b - a - 1)
    total += OVERLAP * _overlaps(spans)
    crossings = 0
    for stem in found.upright:
        low, high, at = stem.low, stem.high, position[stem.token]
        total += HEIGHT * (high - low)
        if stem.net >= 0:
            total += RISER
        if high - low > 1:
            for row, left, right, _ in spans:
                if low < row < high and left < at < right:
                    crossings += 1
    if crossings:
        total += FIRST_CROSSING + CROSSING * (crossings - 1)
    total += ROW * max(max(rows), max(arrangement.lifts))
    return total + _manners(task, arrangement, found) + _windings(task, arrangement, found)


def _overlaps(spans: list[tuple[int, float, float, bool]]) -> float:
    """How many bars and lying parts overlap in their rows."""
    found = 0
    ordered = sorted(spans)
    row_before, right_before, open_before = -1, -1.0, False
    for row, left, right, is_open in ordered:
        if row == row_before:
            touching = is_open or open_before
            if left < right_before or (left == right_before and not touching):
                found += 1
            if right > right_before:
                right_before, open_before = right, is_open
        else:
            row_before, right_before, open_before = row, right, is_open
    return found


def _manners(task: Task, arrangement: Arrangement, found: Laid) -> float:
    """Source left and upright, loads right and upright, the way of the power from left to right."""
    total = 0.0
    position, rows, lifts = found.position, arrangement.rows, arrangement.lifts
    end = max(position)
    depth, zero = task.depth, task.references
    for p, piece in enumerate(task.pieces):
        at, last = position[2 * p], position[2 * p + 1]
        lies = last >= 0
        kind = piece.kind
        if p == task.input:
            total += 4.0 * at + (8.0 if at else 0.0) + (12.0 if lies else 0.0)
            if not lies and rows[piece.start] < rows[piece.end]:
                total += 4.0
        elif kind in ("load", "current"):
            total += 0.35 * (end - at) + (9.0 if lies else 0.0)
            for other in task.beside[p]:
                if position[2 * other] > at:
                    total += 0.9
        elif kind == "source":
            total += 6.0 if lies else 0.0
        elif kind == "capacitor" and {piece.start, piece.end} == task.output:
            total += 0.2 * (end - at) + (3.0 if lies else 0.0)
        if not lies and kind in SERIES and piece.start not in zero and piece.end not in zero:
            total += SERIES[kind]
        if lies:
            start, stop = depth[piece.start], depth[piece.end]
            if start != stop and (start < stop) != (at < last):
                total += BACKWARDS
            if kind == "diode" and at > last:
                total += 0.3
            if lifts[p] >= 0:
                if lifts[p] == 0 or piece.start in zero or piece.end in zero:
                    total += 6.0
                total += 0.4
    for net in task.references[1:]:
        if rows[net]:
            total += RAISED * rows[net]
            total += 15.0 * sum(rows[other] < rows[net] for other in task.parts[net])
    for net in range(len(rows)):
        total += 0.02 * abs(found.first[net] - depth[net])
    return total


def _windings(task: Task, arrangement: Arrangement, found: Laid) -> float:
    """Windings side by side and upright, or, where they share a net, in one line."""
    total = 0.0
    stems = {stem.piece: stem for stem in found.upright if stem.net < 0}
    position = found.position
    for core in task.cores:
        standing = [stems[p] for p in core if p in stems]
        if len(core) > 2 and len(standing) == len(core):
            apart = sum(not _beside(standing[0], other) for other in standing[1:])
            total += STACKED * apart
        ordered = sorted(core, key=lambda p: position[2 * p])
        for one, other in pairwise(ordered):
            a, b = stems.get(one), stems.get(other)
            first, second = task.pieces[one], task.pieces[other]
            tapped = bool({first.start, first.end} & {second.start, second.end} - set(task.references))
            left, right = position[2 * one], position[2 * other]
            distance = right - left - 1
            if a is not None and b is not None:
                low, high = max(a.low, b.low), min(a.high, b.high)
                if high > low:
                    total += 1.2 * distance + 0.4 * (high - low - 1)
                    total += APART * _between(arrangement, found, (left, right), (low, high))
                elif tapped and high == low:
                    total += 1.0 + 1.2 * distance
                else:  # one above the other
                    total += STACKED + 1.2 * distance
                    total += APART * _between(
                        arrangement, found, (left, right), (min(a.low, b.low), max(a.high, b.high))
                    )
            elif tapped and a is b is None and arrangement.lifts[one] == arrangement.lifts[other] == -1:
                total += 2.5 + 0.8 * distance
            else:
                total += 3.0 * APART
    return total


def _beside(one: Upright, other: Upright) -> bool:
    """True where both stand at some height."""
    return one.low < other.high and other.low < one.high


def _between(arrangement: Arrangement, found: Laid, across: tuple[int, int], heights: tuple[int, int]) -> int:
    """How much stands or passes between two windings, at the height where both stand."""
    (left, right), (low, high) = across, heights
    count = 0
    for stem in found.upright:
        if left < found.position[stem.token] < right and stem.low < high and stem.high > low:
            count += 1
    for net, row in enumerate(arrangement.rows):
        if low < row < high and found.first[net] < right and found.last[net] > left:
            count += 1
    return count
