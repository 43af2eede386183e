"""A sequence: the intervals one period is cut into, and what conducts in each."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True)
class Interval:
    """One interval of the period.

    ``stage`` counts the switch intervals (between two switch edges) from 0; several intervals
    share a stage where diodes turn on or off by themselves inside it.  ``conducting`` holds the
    names of the switches and diodes that conduct.
    """

    stage: int
    conducting: frozenset[str]


@dataclass(frozen=True)
class Sequence:
    """All intervals of a period in order; the fraction of interval k is the variable ``#k+1``.

    The sign ``#`` cannot stand in a netlist's names, so no parameter is ever mistaken for one.
    """

    intervals: tuple[Interval, ...]
    stage_lengths: tuple[tuple[Fraction, ...], ...] = ()
    """Where switch intervals depend on each other (see :mod:`voltsec.tableau.tied`): how long each is,
    as coefficients over one and the symbols of the edges."""

    @property
    def fractions(self) -> tuple[str, ...]:
        """Names of the fractions as ring variables."""
        return tuple(f"#{k + 1}" for k in range(len(self.intervals)))

    @property
    def unknown(self) -> tuple[int, ...]:
        """Intervals (by place) that end by themselves: their fraction is not set by a switch edge."""
        return tuple(
            k
            for k in range(len(self.intervals) - 1)
            if self.intervals[k].stage == self.intervals[k + 1].stage
        )

    def ended_by(self, k: int) -> tuple[frozenset[str], frozenset[str]]:
        """Devices that stop and devices that start conducting at the end of interval ``k``."""
        now = self.intervals[k].conducting
        following = self.intervals[(k + 1) % len(self.intervals)].conducting
        return now - following, following - now
