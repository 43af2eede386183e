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
    rest: float
    """The same of the slowest part that dies away at all."""
    turn: float
    """Periods of one swing of the slowest part that swings; infinite where nothing does."""

    @property
    def undamped(self) -> bool:
        """True where a disturbance stays for ever."""
        return self.factor > 1 - UNDAMPED

    @property
    def periods(self) -> float:
        """Periods in which a disturbance shrinks to 1/e."""
        return inf if self.undamped else _decay(self.factor)

    @property
    def rest_periods(self) -> float:
        """The same of what dies away at all."""
        return _decay(self.rest)


def _decay(factor: float) -> float:
    return -1.0 / log(factor) if factor > 0 else 0.0


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
    factor = min(float(sizes.max(initial=0.0)), 1.0)
    rest = float(sizes[sizes <= 1 - UNDAMPED].max(initial=0.0))
    swings = np.abs(values.imag) > 1e-9
    if not swings.any():
        return ReturnRate(factor, rest, inf)
    lasting = swings & (sizes >= (1 - UNDAMPED if factor > 1 - UNDAMPED else 0.0))
    lasting = lasting if lasting.any() else swings
    slowest = lasting & (sizes >= 0.999 * sizes[lasting].max())
    return ReturnRate(factor, rest, float(2 * pi / np.abs(np.angle(values[slowest])).min()))


def _without_open(slope: Array, open_: Array) -> Array:
    """The part of ``slope`` between directions that are not open."""
    kept = np.eye(len(slope)) - open_.T @ open_
    return kept @ slope @ kept
