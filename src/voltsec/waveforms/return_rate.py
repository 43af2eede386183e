"""How fast a disturbed period returns to the periodic one: the eigenvalues of the period map there."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, log, pi

import numpy as np

from voltsec.waveforms.linear import Array
from voltsec.waveforms.march import Switching, follow
from voltsec.waveforms.network import NotDetermined
from voltsec.waveforms.periodic import Periodic

UNDAMPED = 1e-9
"""What dies away by less than this share in a period is not damped at all."""


@dataclass(frozen=True)
class ReturnRate:
    """The slowest part of a disturbance."""

    factor: float
    """What is left of it after a period: 1 where nothing damps it."""
    turn: float
    """Periods of one swing of the slowest part that swings; infinite where nothing does."""

    @property
    def undamped(self) -> bool:
        """True where a disturbance stays for ever."""
        return self.factor > 1 - UNDAMPED

    @property
    def periods(self) -> float:
        """Periods in which a disturbance shrinks to 1/e."""
        if self.undamped:
            return inf
        return -1.0 / log(self.factor) if self.factor > 0 else 0.0


def return_rate(periodic: Periodic, switching: Switching) -> ReturnRate | None:
    """The rate at a periodic state of one point; None where the period cannot be followed once more.

    Directions that ideal parts leave open in the periodic state count for nothing: it is as good anywhere.
    """
    trajectory = periodic.trajectory
    last = trajectory.sequence.intervals[-1].conducting
    try:
        slope = follow(trajectory.network, switching, trajectory.start[0], last).slope
    except NotDetermined:
        return None
    values = np.linalg.eigvals(_without_open(slope, periodic.open_[0]))
    sizes = np.abs(values)
    slowest = float(sizes.max(initial=0.0))
    angles = np.abs(np.angle(values[(sizes > 1e-3) & (np.abs(values.imag) > 1e-9)]))
    return ReturnRate(min(slowest, 1.0), float(2 * pi / angles.min()) if angles.size else inf)


def _without_open(slope: Array, open_: Array) -> Array:
    """The part of ``slope`` between directions that are not open."""
    kept = np.eye(len(slope)) - open_.T @ open_
    return kept @ slope @ kept  # type: ignore[no-any-return]
