"""The worst point of a box of operating points, corner or inside, for many quantities at once.

A grid over the box finds every hill that is wider than a step; from the highest few the best point is
refined by ever smaller steps, all quantities together so that each round is one batch of points.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import product

import numpy as np

Array = np.ndarray
Evaluate = Callable[[Array], dict[str, Array]]
"""Places (P, axes) -> quantity -> (P,) values, nan where there is none."""

GRID = (1, 49, 15, 8, 5, 4)
"""Points along each axis of a box of 0, 1, 2 ... axes."""
STARTS = 2
"""Hills that are climbed for each quantity."""
SHRINK = 0.5
CLOSE = 1e-4
"""Steps are refined down to this share of an axis."""
IDLE = 4
"""Ever smaller steps away from a corner of which none leads higher, after which the corner is the top."""
EQUAL = 1e-7
"""Values whose relative difference is less are the same, and a corner is named rather than a point inside."""


@dataclass(frozen=True)
class Axis:
    """One varied quantity, SI units."""

    name: str
    unit: str
    low: float
    high: float


@dataclass(frozen=True)
class Worst:
    """The worst value of a quantity and where it lies."""

    value: float
    place: tuple[float, ...]
    """A value for each axis."""
    corner: bool
    """True where every axis is at one of its ends."""


@dataclass(frozen=True)
class Box:
    """All operating points between the ends of every axis."""

    axes: tuple[Axis, ...]

    def grid(self, points: int | None = None) -> Array:
        """(P, axes) places, ends included."""
        count = points or GRID[min(len(self.axes), len(GRID) - 1)]
        lines = [np.linspace(axis.low, axis.high, count) for axis in self.axes]
        return np.array(list(product(*lines)), float).reshape(count ** len(self.axes), len(self.axes))

    def corners(self) -> Array:
        """(P, axes) the corners."""
        return self.grid(2) if self.axes else self.grid()

    def is_corner(self, place: Array) -> bool:
        """True where every axis is at an end."""
        return all(value in (axis.low, axis.high) for value, axis in zip(place, self.axes, strict=True))


def worst_places(box: Box, evaluate: Evaluate, least: Iterable[str] = ()) -> dict[str, Worst]:
    """For every quantity of ``evaluate`` its largest size, or its least value for those in ``least``.

    A quantity without any finite value is left out; one that is infinite somewhere is told as such.
    """
    lowest = frozenset(least)
    grid = box.grid()
    table = {name: _score(values, name in lowest) for name, values in evaluate(grid).items()}
    best: dict[str, list[tuple[float, Array]]] = {}
    at_corner: dict[str, tuple[float, Array]] = {}
    corner = np.array([box.is_corner(place) for place in grid])
    for name, values in table.items():
        tops = _hills(box, values)
        if tops:
            best[name] = [(float(values[k]), grid[k]) for k in tops]
        if np.isfinite(values[corner]).any():
            k = int(np.nanargmax(np.where(corner & np.isfinite(values), values, -np.inf)))
            at_corner[name] = (float(values[k]), grid[k])
    idle: dict[tuple[str, int], int] = {}
    step = 1.0 / max(GRID[min(len(box.axes), len(GRID) - 1)] - 1, 1)
    while box.axes and step > CLOSE:
        step *= SHRINK
        tried: list[Array] = []
        owners: list[tuple[str, int, slice]] = []
        for name, hills in best.items():
            for number, (value, place) in enumerate(hills):
                if not np.isfinite(value) or (box.is_corner(place) and idle.get((name, number), 0) >= IDLE):
                    continue
                around = _around(box, place, step)
                owners.append((name, number, slice(len(tried), len(tried) + len(around))))
                tried += list(around)
        if not tried:
            break
        places, back = np.unique(np.array(tried), axis=0, return_inverse=True)
        back = np.ravel(back)
        found = evaluate(places)
        for name, number, part in owners:
            values = _score(found[name][back[part]], name in lowest)
            if np.isfinite(values).any():
                k = int(np.nanargmax(values))
                if values[k] > best[name][number][0]:
                    best[name][number] = (float(values[k]), places[back[part][k]])
                    idle[name, number] = 0
                    continue
            idle[name, number] = idle.get((name, number), 0) + 1
    return {name: _told(box, hills, at_corner.get(name), name in lowest) for name, hills in best.items()}


def _score(values: Array, least: bool) -> Array:
    """Larger is worse."""
    return -values if least else np.abs(values)


def _hills(box: Box, values: Array) -> list[int]:
    """Places of the highest points that no neighbour on the grid exceeds."""
    known = np.where(np.isnan(values), -np.inf, values)
    if not (known > -np.inf).any():
        return []
    count = round(len(values) ** (1 / len(box.axes))) if box.axes else 1
    table = known.reshape((count,) * len(box.axes)) if box.axes else known
    top = np.ones(table.shape, bool)
    for axis in range(len(box.axes)):
        with np.errstate(invalid="ignore"):  # between two points without a value
            after = np.diff(table, axis=axis, append=np.take(table, [-1], axis))
            before = -np.diff(table, axis=axis, prepend=np.take(table, [0], axis))
        top &= ~(after > 0) & ~(before > 0)
    places = np.flatnonzero(top.ravel() & (known > -np.inf))
    return [int(k) for k in places[np.argsort(-known[places], kind="stable")][:STARTS]]


def _around(box: Box, place: Array, step: float) -> Array:
    """Neighbours one step away, along every axis and, on two axes, between them."""
    lows = np.array([axis.low for axis in box.axes])
    highs = np.array([axis.high for axis in box.axes])
    if len(box.axes) <= 2:
        ways = [np.array(way, float) for way in product((-1, 0, 1), repeat=len(box.axes)) if any(way)]
    else:
        ways = [sign * unit for unit in np.eye(len(box.axes)) for sign in (-1.0, 1.0)]
    found = [np.clip(place + step * way * (highs - lows), lows, highs) for way in ways]
    return np.array([moved for moved in found if (moved != place).any()]).reshape(-1, len(box.axes))


def _told(
    box: Box, hills: list[tuple[float, Array]], corner: tuple[float, Array] | None, least: bool
) -> Worst:
    score, place = max(hills, key=lambda hill: hill[0])
    if corner is not None and (corner[0] == score or corner[0] >= score - EQUAL * abs(score)):
        score, place = corner
    return Worst(-score if least else score, tuple(float(x) for x in place), box.is_corner(place))
