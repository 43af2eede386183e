"""Bounds of what ideal parts leave open in an interval: how devices share a voltage or a current.

Real devices leak a little where they block, and have a little resistance where they conduct.  How the
voltages of devices in series, or the currents of devices beside each other, come out hangs on the ratios of
these, and what is largest for any ratios is reached where each is nothing or without limit (a quotient of
linear functions in every single one).  Then as many devices take no share as there are open directions:
all such choices in which no diode has the wrong sign are looked at.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from math import comb

import numpy as np

from voltsec.waveforms.linear import Array
from voltsec.waveforms.trajectory import Trajectory

SEEN = 1e-9
"""A scaled change of a device by less along an open direction is none."""
SIGN = 1e-7
"""A diode's sign is wrong from here on, scaled."""
MOST_CHOICES = 500


def open_range(trajectory: Trajectory, k: int, row: Array) -> tuple[Array, Array]:
    """Lowest and highest value (P, s) at the samples of interval ``k`` that any shares allow.

    ``row`` (P or 1, u + 1) is the quantity over all unknowns, SI.  nan where nothing bounds it.
    """
    base = trajectory.values(k, row)
    slope = _slope(trajectory, k, row)
    nothing = np.full(base.shape, np.nan)
    low, high = np.full(base.shape, np.inf), np.full(base.shape, -np.inf)
    for choice in _choices(trajectory, k, slope):
        value = base + (slope[:, None] @ choice.along)[:, 0]
        low = np.where(choice.allowed, np.minimum(low, value), low)
        high = np.where(choice.allowed, np.maximum(high, value), high)
    found = low <= high
    return np.where(found, low, nothing), np.where(found, high, nothing)


def settled_functional(trajectory: Trajectory, k: int, row: Array) -> Array:
    """A quantity in interval ``k`` as a row over (xi, 1), (P, m + 1), for which some shares are taken.

    It is the quantity's where all shares that the signs of diodes allow give the same.  nan where no
    shares are allowed throughout the interval.
    """
    own = trajectory.functional(k, row)
    slope = _slope(trajectory, k, row)
    found = np.full(np.broadcast_shapes(own.shape, (len(trajectory.fractions), 1)), np.nan)
    for choice in _choices(trajectory, k, slope):
        shared = own + (slope[:, None] @ choice.functionals)[:, 0]
        open_ = np.isnan(found).any(axis=1) & choice.allowed.all(axis=1)
        found = np.where(open_[:, None], shared, found)
    return found


@dataclass(frozen=True)
class _Choice:
    """As many devices as there are open directions take no share; arrays have the points first."""

    along: Array
    """(P, q, s): how far to go along each open direction, at the samples."""
    functionals: Array
    """(P, q, m + 1): the same as rows over (xi, 1)."""
    allowed: Array
    """(P, s): no diode has the wrong sign."""


def _slope(trajectory: Trajectory, k: int, row: Array) -> Array:
    """(P or 1, q): how a quantity changes along each open direction."""
    return (row[:, None, :-1] @ trajectory.systems[k].loose)[:, 0]


def _choices(trajectory: Trajectory, k: int, slope: Array) -> Iterator[_Choice]:
    """Every choice; none where too many, or where no share of any device bounds the quantity."""
    shares = _shares(trajectory, k)
    moves = shares.moves
    rank = int(np.linalg.matrix_rank(moves[0], tol=SEEN))
    seen = np.linalg.pinv(moves[:1], rcond=SEEN)[0] @ moves[0]
    size = max(float(np.abs(slope).max()), 1e-300)
    if (
        rank == 0
        or comb(moves.shape[1], rank) > MOST_CHOICES
        or np.abs(slope[0] - slope[0] @ seen).max() > SEEN * size
    ):
        return
    for chosen in map(list, combinations(range(moves.shape[1]), rank)):
        some = moves[:, chosen]
        if np.linalg.matrix_rank(some[0], tol=SEEN) < rank:
            continue
        back = -np.linalg.pinv(some, rcond=SEEN)
        along = back @ shares.values[:, chosen]
        shared = shares.values + moves @ along
        allowed = (shared[:, shares.signed] > -SIGN).all(axis=1)
        yield _Choice(along, back @ shares.functionals[:, chosen], allowed)


@dataclass(frozen=True)
class _Shares:
    """Devices with an open share, scaled: a current where one conducts, a reverse voltage where it blocks."""

    signed: list[int]
    """Which of them are diodes."""
    values: Array
    """(P, d, s) at the samples."""
    functionals: Array
    """(P, d, m + 1) over (xi, 1)."""
    moves: Array
    """(P, d, q): change along each open direction."""


def _shares(trajectory: Trajectory, k: int) -> _Shares:
    network, system = trajectory.network, trajectory.systems[k]
    conducting = trajectory.sequence.intervals[k].conducting
    _, samples = trajectory.sampled[k]
    diodes = {diode.name for diode in network.circuit.diodes}
    signed: list[int] = []
    values: list[Array] = []
    functionals: list[Array] = []
    moves: list[Array] = []
    for name, (voltage, current) in network.device_values.items():
        on = name in conducting
        row = current if on else -voltage
        unit = (network.scales.ampere if on else network.scales.volt)[:, None]
        move = (row[:, None, :-1] @ system.loose)[:, 0] / unit
        if np.abs(move).max(initial=0.0) > SEEN:
            if name in diodes:
                signed.append(len(values))
            values.append(trajectory.values(k, row) / unit)
            functionals.append(trajectory.functional(k, row) / unit)
            moves.append(np.broadcast_to(move, (max(len(move), len(samples)), move.shape[1])))
    if not values:
        nothing = np.zeros((len(samples), 0, samples.shape[1]))
        return _Shares([], nothing, nothing, np.zeros((1, 0, system.loose.shape[2])))
    return _Shares(signed, np.stack(values, axis=1), np.stack(functionals, axis=1), np.stack(moves, axis=1))
