"""Voltages and currents over one period of an exact periodic state, sampled finely enough to be drawn.

Samples are exact values, even ones and, after an interval begins, ever closer ones.  An instant between two
intervals is there twice, as the last sample of the one and the first of the other: steps stay steps.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from voltsec.results.measures import Terms
from voltsec.waveforms.linear import Array
from voltsec.waveforms.measures import ROUNDING, Measures
from voltsec.waveforms.periodic import Periodic

LEAST = 64
"""Even samples of an interval whose course is bent."""
HALVINGS = 2
"""How often steps near an interval's start are halved."""


@dataclass(frozen=True)
class Impulse:
    """Charge (or flux) that passes in no time."""

    time: float
    """Second, from the period's start."""
    amount: float
    """Coulomb, of a voltage volt seconds; positive along the arrow, nan where ideal parts share it anyhow."""


@dataclass(frozen=True)
class TracePoints:
    """One quantity at the samples of a period; arrays (s,), SI."""

    values: Array
    """nan where ideal parts leave it open."""
    low: Array
    """The least that any shares of ideal parts allow; the value where it is fixed, nan without a bound."""
    high: Array
    """The most."""
    impulses: tuple[Impulse, ...]


class PeriodTraces:
    """Courses over one period of the periodic state of one point."""

    def __init__(self, periodic: Periodic) -> None:
        fine = replace(periodic.trajectory, least=LEAST, halvings=HALVINGS)
        self.measures = Measures(replace(periodic, trajectory=fine))
        self.trajectory = fine
        self.period = float(fine.network.point["T"][0])
        """Second."""

    @cached_property
    def starts(self) -> Array:
        """(intervals + 1,): when each interval begins and the last ends, second."""
        ends = np.cumsum(self.trajectory.fractions[0]) * self.period
        ends[-1] = self.period
        return np.concatenate([[0.0], ends])

    @cached_property
    def intervals(self) -> tuple[tuple[float, float, frozenset[str]], ...]:
        """Intervals that last: start and end (second), and what conducts."""
        parts = self.trajectory.sequence.intervals
        return tuple(
            (float(self.starts[k]), float(self.starts[k + 1]), parts[k].conducting)
            for k in self.measures.lasting
        )

    @cached_property
    def time(self) -> Array:
        """(s,): the samples' instants, second."""
        return np.concatenate(
            [
                self.starts[k] + self.trajectory.sampled[k][0] * (self.starts[k + 1] - self.starts[k])
                for k in self.measures.lasting
            ]
        )

    @cached_property
    def interval(self) -> Array:
        """(s,): for each sample the place of its interval in :attr:`intervals`."""
        counts = [len(self.trajectory.sampled[k][0]) for k in self.measures.lasting]
        return np.repeat(np.arange(len(counts)), counts)

    def points(self, terms: Terms) -> TracePoints:
        """One quantity at every sample."""
        measures, row = self.measures, self.measures.row(terms)
        level = ROUNDING * float((np.abs(row[:, :-1]) * measures.network.units).max())
        values, low, high = [], [], []
        for place, k in enumerate(measures.lasting):
            value = measures.waves(terms)[place][0][0]
            least = most = value
            if self.trajectory.is_open(k, row).any():
                least, most = (bound[0] for bound in measures.open_range(terms, k))
            values.append(value)
            low.append(least)
            high.append(most)
        found = [np.concatenate(part) for part in (values, low, high)]
        if measures.moves(terms).any():  # whatever repeats, at any level
            found = [np.full_like(part, np.nan) for part in found]
        value, least, most = (np.where(np.abs(part) < level, 0.0, part) for part in found)
        return TracePoints(value, least, most, self._impulses(terms))

    def _impulses(self, terms: Terms) -> tuple[Impulse, ...]:
        """Impulses; several at one instant are one."""
        total: dict[float, float] = {}
        amounts, row = self.measures.impulses(terms)[0], self.measures.row(terms)
        for k, amount in enumerate(amounts):
            if amount:
                time = float(self.starts[k])
                told = float("nan") if self.trajectory.is_open(k, row).any() else float(amount)
                total[time] = total.get(time, 0.0) + told
        least = ROUNDING * float(np.abs(amounts).max(initial=0.0))
        return tuple(Impulse(time, sum_) for time, sum_ in total.items() if not abs(sum_) <= least)
