"""Where the least leakage leads a state that ideal parts leave open.

What only blocking devices surround (an output without load behind its rectifier) keeps any voltage that
lets them block.  The least leakage, of a device or of a capacitor itself, makes it drift until a device
just conducts and makes up for it: to one end of what is open, wherever the leakage is, if the loss of every
single leak becomes less towards that end.  There the state is told; where leaks pull to different sides, or
nothing ends the drift, it stays open.  (The limit of small leaks has the least loss of all periodic states,
which are a convex set, since a passive network never moves two states apart.)
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from voltsec.waveforms.linear import Array
from voltsec.waveforms.measures import extremes
from voltsec.waveforms.periodic import Periodic
from voltsec.waveforms.trajectory import Trajectory

MOVES = 1e-9
"""A scaled change by less along the open direction is none."""
HELD = 1e-7
"""Share of the largest loss that a leak may lose more of towards an end: rounding."""
FARTHEST = 1e3
"""Scaled changes along the open direction by more lead nowhere."""


def after_leaks(periodic: Periodic) -> tuple[Periodic, Array]:
    """The state to which any leaks lead, and which states (P, n) they decide that were open.

    Only one open direction is looked at: two may be pulled along by one another.
    """
    open_ = np.abs(periodic.open_).max(axis=2) > 0
    places = np.flatnonzero((open_.sum(axis=1) == 1) & periodic.good)
    trajectory = periodic.trajectory
    decided = np.zeros(len(trajectory.start), bool)
    if not places.size:
        return periodic, np.zeros(trajectory.start.shape, bool)
    along = periodic.open_.sum(axis=1)  # the others are zero
    moved = replace(trajectory, start=trajectory.start + along)
    low, high = _ends(trajectory, moved)
    towards = np.zeros(len(decided))
    with np.errstate(all="ignore"):
        for end, side in ((low, 1.0), (high, -1.0)):
            fixed = np.isfinite(end) & (np.abs(end) < FARTHEST) & ~decided
            at_end = replace(trajectory, start=trajectory.start + np.where(fixed, end, 0.0)[:, None] * along)
            beyond = replace(at_end, start=at_end.start + along)
            losses = np.array([side * loss for loss in _losses(at_end, beyond)])
            if len(losses):
                largest = np.abs(losses).max(axis=0)
                here = fixed & (largest > 0) & (losses >= -HELD * largest).all(axis=0)
                towards, decided = np.where(here, end, towards), decided | here
    kept = np.zeros(len(decided), bool)
    kept[places] = True
    decided &= kept
    start = trajectory.start + np.where(decided, towards, 0.0)[:, None] * along
    found = replace(trajectory, start=start)
    decided &= found.fixed_signs_right  # the others share alike here, at the end only as they must
    if not decided.any():
        return periodic, np.zeros(trajectory.start.shape, bool)
    start = np.where(decided[:, None], start, trajectory.start)
    still = np.where(decided[:, None, None], 0.0, periodic.open_)
    parts = np.abs((trajectory.network.coordinates[0] @ along[:, :, None])[:, :, 0])
    which = parts > MOVES * parts.max(axis=1, keepdims=True)
    return Periodic(replace(trajectory, start=start), periodic.good, still), which & decided[:, None]


def _ends(trajectory: Trajectory, moved: Trajectory) -> tuple[Array, Array]:
    """How far (P,) the state can go back and forth along the open direction with every diode's sign right."""
    points = len(trajectory.start)
    low, high = np.full(points, -np.inf), np.full(points, np.inf)
    network = trajectory.network
    for k, interval in enumerate(trajectory.sequence.intervals):
        if k in trajectory.instants:
            continue
        for diode in network.circuit.diodes:
            on = diode.name in interval.conducting
            voltage, current = network.device_values[diode.name]
            row = current if on else -voltage
            unit = (network.scales.ampere if on else network.scales.volt)[:, None]
            shares = trajectory.sampled[k][0]
            value, slope = (part / unit for part in _course(trajectory, k, row))
            other, rises = (part / unit for part in _course(moved, k, row))
            change, bend = other - value, rises - slope
            if np.abs(change).max() <= MOVES:
                continue
            with np.errstate(all="ignore"):
                ratio, turn = value / change, (slope * change - value * bend) / change**2
            if (change > MOVES).all():
                low = np.maximum(low, -extremes(shares, ratio, turn)[0])
            elif (change < -MOVES).all():
                high = np.minimum(high, extremes(shares, -ratio, -turn)[0])
            else:
                low = np.maximum(low, -np.where(change > MOVES, ratio, np.inf).min(axis=1))
                high = np.minimum(high, np.where(change < -MOVES, -ratio, np.inf).min(axis=1))
    return low, high


def _course(trajectory: Trajectory, k: int, row: Array) -> tuple[Array, Array]:
    """A sum of unknowns at the samples of interval ``k``, and its slope per interval, (P, s)."""
    own = trajectory.functional(k, row)
    one = trajectory.courses[k]
    rate = (own[:, None, :] @ one.rate)[:, 0] * one.length[:, None]
    _, samples = trajectory.sampled[k]
    return (samples @ own[:, :, None])[:, :, 0], (samples @ rate[:, :, None])[:, :, 0]


def _losses(trajectory: Trajectory, moved: Trajectory) -> Iterator[Array]:
    """(P,) for every possible leak: how much more it loses along the open direction (scaled, halved).

    A leak lies across a device that blocks or a capacitor; a device that conducts has a little resistance.
    Devices that share a voltage which nothing fixes lose together: one's leak alone takes no voltage.
    """
    network = trajectory.network
    scales = network.scales
    rows = [network.row({("V", one.name): 1.0}) / scales.volt[:, None] for one in network.circuit.capacitors]
    for row in rows:
        yield _more(trajectory, moved, _lasting(trajectory), row)
    together = np.zeros(len(trajectory.start))
    for device in network.circuit.devices:
        voltage, current = network.device_values[device.name]
        for on, row in ((True, current / scales.ampere[:, None]), (False, voltage / scales.volt[:, None])):
            places = [
                k
                for k in _lasting(trajectory)
                if on == (device.name in trajectory.sequence.intervals[k].conducting)
            ]
            shared = [k for k in places if trajectory.is_open(k, row).any()]
            together = together + _more(trajectory, moved, shared, row)
            yield _more(trajectory, moved, [k for k in places if k not in shared], row)
    yield together


def _lasting(trajectory: Trajectory) -> list[int]:
    return [k for k in range(len(trajectory.systems)) if k not in trajectory.instants]


def _more(trajectory: Trajectory, moved: Trajectory, places: list[int], row: Array) -> Array:
    """(P,): mean over some intervals of a sum times how much it changes along the open direction."""
    total = np.zeros(len(trajectory.start))
    for k in places:
        value, other = trajectory.values(k, row), moved.values(k, row)
        change = other - value
        change = np.where(np.abs(change) > MOVES, change, 0.0)
        shares = trajectory.sampled[k][0]
        total += np.trapezoid(value * change, shares, axis=1) * trajectory.fractions[:, k]
    return total
