"""From an arrangement to places: x of every token and symbol by one linear program.

Things whose heights overlap keep the order the arrangement gives them and a distance that leaves room for
both; under that the bars' total length is least.  The constraints are differences of two unknowns and all
distances multiples of the grid, so the solution lies on the grid.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import ceil

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_array

from voltsec.drawing.arrangement import Arrangement, Laid, Upright, laid
from voltsec.drawing.extents import (
    CORE,
    CORE_ABOVE,
    GAP,
    GRID,
    LEAD,
    LINE,
    PITCH,
    SPAN,
    label_size,
    mark_width,
    widths,
)
from voltsec.drawing.pieces import Task
from voltsec.drawing.symbols import REACH

Labels = tuple[tuple[str, ...], ...]
"""The lines of each piece's label."""

BETWEEN_LINES = 20.0
BETWEEN_BOXES = 8.0
STRAIGHT = 6.0
"""Weight of a bar that had better be no longer than a point."""


@dataclass(frozen=True)
class Places:
    """An arrangement with its coordinates; x to the right, heights counted upwards from the lowest row."""

    arrangement: Arrangement
    laid: Laid
    token_x: dict[int, float]
    """x of every token in use."""
    centre: dict[int, tuple[float, float]]
    """Middle of every piece's symbol."""
    side: dict[int, int]
    """Where an upright piece has its label: 1 to the right, -1 to the left, 0 beside its upper lead."""
    bars: tuple[tuple[float, float], ...]
    """From where to where each net's bar goes."""
    labels: Labels


@dataclass(frozen=True)
class _Item:
    """Something of known height that hangs at one unknown x."""

    unknown: int
    left: float
    right: float
    low: float
    high: float
    order: float
    nets: frozenset[int] = frozenset()
    """Nets of a line; empty for a box."""
    piece: int = -1


def places(
    task: Task, arrangement: Arrangement, labels: Labels, to_left: frozenset[int] = frozenset()
) -> Places | None:
    """Coordinates of ``arrangement``; None where its order leaves no room (overlapping bars).

    Upright pieces ``to_left`` have their labels on the left.
    """
    return _Spacing(task, arrangement, labels, to_left).solved()


def bands(task: Task, found: Laid) -> dict[int, float]:
    """The height of the middle of every upright symbol, in rows."""
    stems = {stem.piece: stem for stem in found.upright if stem.net < 0}
    chosen = {p: stem.low + 0.5 for p, stem in stems.items()}
    for core in task.cores:
        standing = [stems[p] for p in core if p in stems]
        for stem in standing:
            # beside as many of the others as can be

            def beside(row: int, standing: list[Upright] = standing) -> tuple[int, int]:
                return sum(other.low <= row < other.high for other in standing), row

            chosen[stem.piece] = max(range(stem.low, stem.high), key=beside) + 0.5
    return chosen


class _Spacing:
    def __init__(self, task: Task, arrangement: Arrangement, labels: Labels, to_left: frozenset[int]) -> None:
        self.task, self.arrangement, self.labels = task, arrangement, labels
        self.laid = laid(task, arrangement)
        used = [token for token in arrangement.order if self.laid.position[token] >= 0]
        self.token = {token: place for place, token in enumerate(used)}
        self.middle = {one.piece: len(used) + place for place, one in enumerate(self.laid.lying)}
        self.bands = bands(task, self.laid)
        self.unknowns = len(used) + len(self.middle)
        self.side = self._sides(to_left)
        self.labels = self._labels()
        self.rows: list[dict[int, float]] = []
        self.bounds: list[float] = []

    def _sides(self, to_left: frozenset[int]) -> dict[int, int]:
        found = {p: -1 if p in to_left else 1 for p in self.bands}
        found[self.task.input] = -1
        position = self.laid.position
        for core in self.task.cores:
            standing = [p for p in core if p in self.bands]
            for p in standing:
                beside = [position[2 * q] for q in standing if q != p and self.bands[q] == self.bands[p]]
                left = any(at < position[2 * p] for at in beside)
                right = any(at > position[2 * p] for at in beside)
                found[p] = 0 if left and right else -1 if right else 1
        return found

    def _labels(self) -> Labels:
        """A winding in the middle has room for its name alone: the turns stand beside an outer one."""
        found = list(self.labels)
        for core in self.task.cores:
            first, outer = core[0], [p for p in core if self.side.get(p) != 0]
            if self.side.get(first) == 0 and outer:
                found[outer[0]] = (*found[outer[0]], *found[first][1:])
                found[first] = found[first][:1]
        return tuple(found)

    def solved(self) -> Places | None:
        items = self._items()
        for k, one in enumerate(items):
            for other in items[k + 1 :]:
                self._apart(one, other)
        self._leads()
        count = self.unknowns
        costs, extra = self._lengths()
        total = count + extra
        rows = coo_array(
            (
                [value for row in self.rows for value in row.values()],
                (
                    [k for k, row in enumerate(self.rows) for _ in row],
                    [column for row in self.rows for column in row],
                ),
            ),
            shape=(len(self.rows), total),
        )
        outcome = linprog(np.array(costs), A_ub=rows.tocsr(), b_ub=np.array(self.bounds), bounds=(0, None))
        if outcome.status != 0:
            return None
        x = [float(GRID / 2 * round(value / (GRID / 2))) for value in outcome.x]
        return self._told(x)

    def _told(self, x: list[float]) -> Places:
        rows = self.arrangement.rows
        token_x = {token: x[place] for token, place in self.token.items()}
        centre = {p: (token_x[2 * p], PITCH * band) for p, band in self.bands.items()}
        for one in self.laid.lying:
            centre[one.piece] = (x[self.middle[one.piece]], PITCH * one.row)
        ends: list[list[float]] = [[] for _ in rows]
        for p, piece in enumerate(self.task.pieces):
            ends[piece.start].append(token_x[2 * p])
            ends[piece.end].append(token_x[2 * p + 1] if p in self.middle else token_x[2 * p])
        bars = tuple((min(one), max(one)) for one in ends)
        return Places(self.arrangement, self.laid, token_x, centre, self.side, bars, self.labels)

    def _items(self) -> list[_Item]:
        found: list[_Item] = []
        position, rows = self.laid.position, self.arrangement.rows
        for stem in self.laid.upright:
            p, at = stem.piece, position[stem.token]
            piece = self.task.pieces[p]
            nets = {piece.start, piece.end} if stem.net < 0 else {stem.net}
            low, high = stem.low * PITCH, stem.high * PITCH
            unknown = self.token[stem.token]
            found.append(_Item(unknown, 0, 0, low, high, at, frozenset(nets), p))
            if stem.net < 0:
                found += self._upright_boxes(p, unknown, at)
        for one in self.laid.lying:
            p, height = one.piece, one.row * PITCH
            piece = self.task.pieces[p]
            for token, net in ((2 * p, piece.start), (2 * p + 1, piece.end)):
                if rows[net] == one.row:
                    found.append(
                        _Item(self.token[token], 0, 0, height, height, position[token], frozenset({net}), p)
                    )
            a, b = sorted((position[2 * p], position[2 * p + 1]))
            middle = self._gap(p, a, b, height)
            half = widths(piece.kind, False)[0]
            wide, high = label_size(self.labels[p])
            unknown = self.middle[p]
            below = mark_width(piece.kind, False)
            half += CORE_ABOVE if piece.core else 0.0
            found.append(_Item(unknown, REACH, REACH, height - below, height + half, middle, piece=p))
            low = height + half + GAP
            found.append(_Item(unknown, wide / 2, wide / 2, low, low + high, middle, piece=p))
        return found

    def _upright_boxes(self, p: int, unknown: int, at: float) -> list[_Item]:
        kind = self.task.pieces[p].kind
        height = self.bands[p] * PITCH
        half, mark = widths(kind, True)[0], mark_width(kind)
        wide, high = label_size(self.labels[p])
        if self.task.pieces[p].core:
            half, mark = mark_width(kind), CORE
        label = half + GAP + wide
        side = self.side[p]
        found = []
        if side == 0:
            found.append(_Item(unknown, CORE, CORE, height - REACH, height + REACH, at, piece=p))
            low = height + REACH + GAP
            found.append(_Item(unknown, 0, GAP + wide, low, low + LINE, at, piece=p))
            return found
        left, right = (mark, half) if side > 0 else (half, mark)
        found.append(_Item(unknown, left, right, height - REACH, height + REACH, at, piece=p))
        left, right = (0.0, label) if side > 0 else (label, 0.0)
        found.append(_Item(unknown, left, right, height - high / 2, height + high / 2, at, piece=p))
        return found

    def _gap(self, p: int, a: int, b: int, height: float) -> float:
        """Where between its ends a lying symbol goes: the middlemost gap between what stands across."""
        across = sorted(
            self.laid.position[stem.token]
            for stem in self.laid.upright
            if stem.low * PITCH < height + LINE
            and stem.high * PITCH > height
            and a < self.laid.position[stem.token] < b
        )
        edges = [a, *across, b]
        gaps = [(one + other) / 2 for one, other in pairwise(edges)]
        return min(gaps, key=lambda gap: (abs(gap - (a + b) / 2), gap))

    def _apart(self, one: _Item, other: _Item) -> None:
        if one.unknown == other.unknown or one.piece == other.piece:
            return
        low, high = max(one.low, other.low), min(one.high, other.high)
        lines = bool(one.nets) and bool(other.nets)
        pad = 0.0 if lines else 4.0
        if low > high + pad:
            return
        if (
            lines
            and low == high
            and any(self.arrangement.rows[net] * PITCH == low for net in one.nets & other.nets)
        ):
            return
        if one.order > other.order:
            one, other = other, one
        gap = BETWEEN_LINES if lines else BETWEEN_BOXES
        if not lines and any(item.piece in self.middle and item.right == REACH for item in (one, other)):
            gap = LEAD
        cores = self.task.pieces[one.piece].core, self.task.pieces[other.piece].core
        if cores[0] and cores[0] == cores[1] and not lines:
            gap = 0.0
        distance = GRID / 2 * ceil((one.right + other.left + gap) / (GRID / 2) - 1e-9)
        self._at_least(one.unknown, other.unknown, distance)

    def _at_least(self, one: int, other: int, distance: float) -> None:
        """x of ``other`` minus x of ``one`` is at least ``distance``."""
        self.rows.append({one: 1.0, other: -1.0})
        self.bounds.append(-distance)

    def _leads(self) -> None:
        position = self.laid.position
        for one in self.laid.lying:
            p = one.piece
            a, b = sorted((2 * p, 2 * p + 1), key=lambda token: position[token])
            room = max(SPAN / 2, GRID / 2 * ceil((REACH + LEAD) / (GRID / 2)))
            self._at_least(self.token[a], self.middle[p], room)
            self._at_least(self.middle[p], self.token[b], room)

    def _lengths(self) -> tuple[list[float], int]:
        """Costs of all unknowns, and how many were added: both ends of every bar, the width, how far off the
        middle of its span a lying symbol is."""
        nets = len(self.arrangement.rows)
        costs = [0.0] * self.unknowns
        count = self.unknowns
        for net in range(nets):
            first, last = count, count + 1
            count += 2
            weight = STRAIGHT if self._goes_on(net) else 1.0
            costs += [-weight, weight]
            for p, piece in enumerate(self.task.pieces):
                if piece.start == net:
                    self._between(first, self.token[2 * p], last)
                if piece.end == net:
                    self._between(first, self.token[2 * p + 1 if p in self.middle else 2 * p], last)
        for p, middle in self.middle.items():
            a, b = sorted((2 * p, 2 * p + 1), key=lambda token: self.laid.position[token])
            costs[self.token[a]] -= 1.0
            costs[self.token[b]] += 1.0
            for sign in (1.0, -1.0):
                self.rows.append({middle: 2 * sign, self.token[a]: -sign, self.token[b]: -sign, count: -1.0})
                self.bounds.append(0.0)
            costs.append(0.05)
            count += 1
        for core in self.task.cores:
            standing = sorted((p for p in core if p in self.bands), key=lambda p: self.laid.position[2 * p])
            for one, other in pairwise(standing):
                self.rows.append({self.token[2 * other]: 1.0, self.token[2 * one]: -1.0, count: -1.0})
                self.bounds.append(0.0)
                costs.append(4.0)
                count += 1
        for unknown in range(self.unknowns):
            costs[unknown] += 0.002
        return costs, count - self.unknowns

    def _goes_on(self, net: int) -> bool:
        """True where one part stands on the net's bar and one hangs from it: they had better be in line."""
        row = self.arrangement.rows[net]
        ends = []
        for p, piece in enumerate(self.task.pieces):
            if net in (piece.start, piece.end):
                if p in self.middle:
                    continue
                other = piece.end if piece.start == net else piece.start
                ends.append(self.arrangement.rows[other] > row)
        return sorted(ends) == [False, True]

    def _between(self, first: int, middle: int, last: int) -> None:
        self._at_least(first, middle, 0.0)
        self._at_least(middle, last, 0.0)
