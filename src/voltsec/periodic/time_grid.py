"""Time steps of the numeric search: finer towards switch edges, and where devices change by themselves.

What commutates at a switch edge (the leakage of coupled coils, a small coil beside a large one) takes a
thousandth of the period or less, and so does the conduction of a leg whose gain is far from the others'.
A grid is one array of step lengths a switch interval, as shares of it.
"""

from __future__ import annotations

import numpy as np

Grid = tuple[np.ndarray, ...]

GRADED = np.array([2e-3, 0.018, 0.08, 0.15, 0.25, 0.25, 0.15, 0.08, 0.018, 2e-3])
"""Shares of a switch interval, short at both ends."""

SPLIT = np.array([0.02, 0.08, 0.2, 0.4, 0.2, 0.08, 0.02])
"""Parts of a step in or beside which a device changes."""

LONGEST = 0.05
"""Steps above this share of the switch interval are halved as steps become finer: a current that falls along
a step counts with its end, which moves the edges of a mode."""

FIRST = (0.125, 2e-3, 3.2e-5)
"""First steps of a switch interval, each sixty times shorter, that tell a voltage without limit."""

SHORTEST = 1e-7
"""Steps below this share of the switch interval are not parted."""


def graded(stages: int) -> Grid:
    """The first grid of so many switch intervals."""
    return (GRADED,) * stages


def uniform(stages: int, steps: int) -> Grid:
    """Equal steps."""
    return (np.full(steps, 1.0 / steps),) * stages


def sharp(stages: int) -> tuple[Grid, ...]:
    """Grids whose first step in a switch interval is each time some sixty times shorter."""
    rest = GRADED[2:] / GRADED[2:].sum()
    return tuple((np.array([step, *((1 - step) * rest)]),) * stages for step in FIRST)


def refined(grid: Grid, conducting: np.ndarray) -> Grid:
    """``grid`` with those steps parted that border a change of what conducts (steps x diodes, all intervals).

    The first and last step of a switch interval are parted as well: beyond the edge the switches differ.
    """
    found = []
    start = 0
    for steps in grid:
        own = conducting[start : start + len(steps)]
        start += len(steps)
        changes = (own[1:] != own[:-1]).any(axis=1)
        marked = np.zeros(len(steps), bool)
        marked[:-1] |= changes
        marked[1:] |= changes
        marked[[0, -1]] = True
        marked &= steps > SHORTEST
        parts = []
        for step, mark in zip(steps, marked, strict=True):
            halves = [0.5, 0.5] if step > LONGEST else [1.0]
            parts.append(step * (SPLIT if mark else np.array(halves)))
        found.append(np.concatenate(parts))
    return tuple(found)
