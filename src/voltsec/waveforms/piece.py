"""A part of one period: from an instant in it to a later one."""

from __future__ import annotations

import numpy as np

from voltsec.tableau.interval import Interval, Sequence
from voltsec.waveforms.linear import course
from voltsec.waveforms.trajectory import Trajectory


def one_period(trajectory: Trajectory, place: int) -> Trajectory:
    """The period ``place`` of a trajectory of many, alone."""
    return Trajectory(
        trajectory.network,
        trajectory.sequence,
        trajectory.instants,
        trajectory.fractions[place : place + 1],
        trajectory.start[place : place + 1],
    )


def piece(period: Trajectory, begin: float, end: float) -> Trajectory:
    """What lies between ``begin`` and ``end`` (shares of the period, begin < end) of one period.

    A jump right at ``begin`` belongs to it, one right at ``end`` does not.  Its fractions add up to the part
    it is of the period.
    """
    kept: list[tuple[Interval, float, bool]] = []
    start = period.start[0]
    passed = 0.0
    for k, interval in enumerate(period.sequence.intervals):
        instant = k in period.instants
        share = 0.0 if instant else float(period.fractions[0, k])
        until = passed + share
        if (passed >= begin if instant else until > begin) and passed < end:
            if not kept and passed < begin:
                start = _inside(period, k, begin - passed)
            kept.append((interval, min(until, end) - max(passed, begin), instant))
        elif until <= begin:
            following = period.ends[k][1]
            start = (period.systems[k].outlet @ following[:, :, None])[0, :-1, 0]
        passed = until
    sequence = Sequence(tuple(interval for interval, _, _ in kept))
    instants = frozenset(place for place, (_, _, instant) in enumerate(kept) if instant)
    fractions = np.array([[share for _, share, _ in kept]])
    return Trajectory(period.network, sequence, instants, fractions, start[None])


def _inside(period: Trajectory, k: int, share: float) -> np.ndarray:
    """(n,): the state ``share`` of the period after interval ``k`` began."""
    system, first = period.systems[k], period.ends[k][0]
    growth = course(system.augmented, np.array([share]) * period.period).growth
    there = first + (growth @ first[:, :, None])[:, :, 0]
    return (system.outlet @ there[:, :, None])[0, :-1, 0]
