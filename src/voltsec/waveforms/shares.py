"""Bounds of what ideal parts leave open in an interval: how devices share a voltage or a current.

Real devices leak a little where they block, and have a little resistance where they conduct.  How the
voltages of devices in series, or the currents of devices beside each other, come out hangs on the ratios of
these, and what is largest for any ratios is reached where each is nothing or without limit (a quotient of
linear functions in every single one).  Then as many devices take no share as there are open directions:
all such choices in which no diode has the wrong sign are looked at.
"""

from __future__ import annotations

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
    signed, values, moves = _shares(trajectory, k)
    base = trajectory.values(k, row)
    slope = (row[:, None, :-1] @ trajectory.systems[k].loose)[:, 0]
    nothing = np.full(base.shape, np.nan)
    rank = int(np.linalg.matrix_rank(moves[0], tol=SEEN))
    seen = np.linalg.pinv(moves[:1], rcond=SEEN)[0] @ moves[0]
    size = max(float(np.abs(slope).max()), 1e-300)
    if (
        rank == 0
        or comb(moves.shape[1], rank) > MOST_CHOICES
        or np.abs(slope[0] - slope[0] @ seen).max() > SEEN * size
    ):
        return nothing, nothing
    low, high = np.full(base.shape, np.inf), np.full(base.shape, -np.inf)
    for chosen in combinations(range(moves.shape[1]), rank):
        some = moves[:, list(chosen)]
        if np.linalg.matrix_rank(some[0], tol=SEEN) < rank:
            continue
        along = -np.linalg.pinv(some, rcond=SEEN) @ values[:, list(chosen)]
        shared = values + moves @ along
        allowed = (shared[:, signed] > -SIGN).all(axis=1)
        value = base + (slope[:, None] @ along)[:, 0]
        low = np.where(allowed, np.minimum(low, value), low)
        high = np.where(allowed, np.maximum(high, value), high)
    found = low <= high
    return np.where(found, low, nothing), np.where(found, high, nothing)


def _shares(trajectory: Trajectory, k: int) -> tuple[list[int], Array, Array]:
    """Devices with an open share: which are diodes, shares (P, d, s) at the samples, and slopes (P, d, q).

    Scaled; a share is a current where the device conducts and a reverse voltage where it blocks.
    """
    network, system = trajectory.network, trajectory.systems[k]
    conducting = trajectory.sequence.intervals[k].conducting
    _, samples = trajectory.sampled[k]
    diodes = {diode.name for diode in network.circuit.diodes}
    signed: list[int] = []
    values: list[Array] = []
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
            moves.append(np.broadcast_to(move, (max(len(move), len(samples)), move.shape[1])))
    if not values:
        return [], np.zeros((len(samples), 0, samples.shape[1])), np.zeros((1, 0, system.loose.shape[2]))
    return signed, np.stack(values, axis=1), np.stack(moves, axis=1)
