"""Periods in a row, and what voltages and currents do in each: mean, lowest, highest, charge that jumps.

Periods that go alike are measured together, wherever in the row they stand.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from voltsec.results.measures import Terms
from voltsec.tableau.interval import Sequence
from voltsec.waveforms.linear import Array
from voltsec.waveforms.measures import Measures
from voltsec.waveforms.network import PeriodNetwork
from voltsec.waveforms.periodic import Periodic
from voltsec.waveforms.piece import one_period, piece
from voltsec.waveforms.trajectory import Trajectory

TOGETHER = 1024
"""Periods that are measured at once."""
WHOLE = 1e-9
"""A window's edge nearer to a period's than this share of it is that one."""


@dataclass(frozen=True)
class Series:
    """One quantity in each of N periods, SI units; arrays (N,)."""

    mean: Array
    """Average over the period, jumps of charge included; nan where ideal parts leave it open."""
    low: Array
    high: Array
    """Lowest and highest value, without what jumps; where it is open the least and most there may be."""
    jumped: Array
    """Charge (of a voltage: flux) that passes in no time, the size of all jumps together."""


@dataclass(frozen=True)
class Extreme:
    """A largest value and when it is reached."""

    value: float
    time: float
    """Second."""


class Periods:
    """Consecutive periods of one network, the first of which begins at ``begin`` (second)."""

    def __init__(self, network: PeriodNetwork, runs: list[Trajectory], begin: float) -> None:
        self.network = network
        self.runs = runs
        self.begin = begin
        self.period = float(network.point["T"][0])
        """Second."""
        self.firsts = np.concatenate([[0], np.cumsum([len(run.start) for run in runs])]).astype(int)
        self.count = int(self.firsts[-1])

    @cached_property
    def states(self) -> Array:
        """(N + 1, n): the state before each period, and after the last."""
        last = self.runs[-1].end[-1:]
        return np.concatenate([*(run.start for run in self.runs), last])

    @property
    def times(self) -> Array:
        """(N + 1,): when each period begins and the last ends, second."""
        return self.begin + self.period * np.arange(self.count + 1)

    @property
    def end(self) -> float:
        """When the last period ends, second."""
        return self.begin + self.period * self.count

    def one(self, place: int) -> Trajectory:
        """The period ``place`` alone."""
        run = int(np.searchsorted(self.firsts, place, side="right")) - 1
        return one_period(self.runs[run], place - int(self.firsts[run]))

    def grouped(self) -> Iterator[tuple[Array, Trajectory]]:
        """All periods by the way they go: their places, and them as one trajectory."""
        groups: dict[tuple[Sequence, frozenset[int]], list[int]] = {}
        for number, run in enumerate(self.runs):
            groups.setdefault((run.sequence, run.instants), []).append(number)
        for (sequence, instants), numbers in groups.items():
            places = np.concatenate([np.arange(self.firsts[k], self.firsts[k + 1]) for k in numbers])
            fractions = np.concatenate([self.runs[k].fractions for k in numbers])
            start = np.concatenate([self.runs[k].start for k in numbers])
            for first in range(0, len(places), TOGETHER):
                some = slice(first, first + TOGETHER)
                yield (
                    places[some],
                    Trajectory(self.network, sequence, instants, fractions[some], start[some]),
                )

    def between(self, begin: float, end: float) -> Iterator[Trajectory]:
        """What lies between two instants (second), whole periods together, in order."""
        first, last = (float(np.clip((t - self.begin) / self.period, 0, self.count)) for t in (begin, end))
        first, last = (round(x) if abs(x - round(x)) < WHOLE else x for x in (first, last))
        whole = range(int(np.ceil(first)), int(np.floor(last)))
        if first >= last:
            return
        if int(np.floor(first)) == int(np.floor(last)) and first % 1:
            yield piece(self.one(int(first)), first % 1, last % 1)
            return
        if first % 1:
            yield piece(self.one(int(first)), first % 1, 1.0)
        for number, run in enumerate(self.runs):
            low, high = (int(self.firsts[number + side]) for side in (0, 1))
            some = slice(max(whole.start - low, 0), max(min(whole.stop, high) - low, 0))
            if some.start < some.stop:
                yield Trajectory(
                    self.network, run.sequence, run.instants, run.fractions[some], run.start[some]
                )
        if last % 1:
            yield piece(self.one(int(last)), 0.0, last % 1)

    def series(self, wanted: Mapping[str, Terms]) -> dict[str, Series]:
        """Each quantity in each period."""
        found = {name: Series(*(np.full(self.count, np.nan) for _ in range(4))) for name in wanted}
        for places, trajectory in self.grouped():
            measures = _measures(trajectory)
            for name, terms in wanted.items():
                one = found[name]
                with np.errstate(all="ignore"):
                    one.mean[places] = measures.average(terms)
                    ranges = measures.bounded(terms, measures.lasting)
                    one.low[places] = np.min([low for low, _ in ranges], axis=0)
                    one.high[places] = np.max([high for _, high in ranges], axis=0)
                one.jumped[places] = np.abs(measures.impulses(terms)).sum(axis=1)
        return found

    def courses(
        self, wanted: Mapping[str, Terms]
    ) -> Iterator[tuple[Array, dict[str, Array], dict[str, Array]]]:
        """Run by run the samples' instants (s,), second, and every quantity there (s,); nan where open.

        Last of all the charge (of a voltage: flux) that passes in no time (s,), at the sample behind it.
        """
        for number, run in enumerate(self.runs):
            measures = _measures(run)
            passed = np.concatenate([np.zeros((len(run.start), 1)), np.cumsum(run.fractions, axis=1)], axis=1)
            begins = self.firsts[number] + np.arange(len(run.start))[:, None]
            times = [
                begins + passed[:, k, None] + run.fractions[:, k, None] * run.sampled[k][0]
                for k in measures.lasting
            ]
            values = {
                name: np.concatenate([one for one, _ in measures.waves(terms)], axis=1).ravel()
                for name, terms in wanted.items()
            }
            jumps = {name: _jumps(measures, terms, times).ravel() for name, terms in wanted.items()}
            yield self.begin + self.period * np.concatenate(times, axis=1).ravel(), values, jumps

    def instant(self, place: int, terms: Terms, sign: float) -> Extreme:
        """The largest value of ``sign`` times a quantity in the period ``place``, and when it is reached."""
        measures = _measures(self.one(place))
        best, when = -np.inf, 0.0
        passed = np.concatenate([[0.0], np.cumsum(measures.trajectory.fractions[0])])
        for k, (values, slopes) in zip(measures.lasting, measures.waves(terms), strict=True):
            shares = measures.trajectory.sampled[k][0]
            value, share = _highest(shares, sign * values[0], sign * slopes[0])
            if value > best:
                best, when = value, passed[k] + share * measures.trajectory.fractions[0, k]
        return Extreme(sign * float(best), self.begin + (place + float(when)) * self.period)


def _jumps(measures: Measures, terms: Terms, times: list[Array]) -> Array:
    """(P, s): what passes in no time before each sample; what ends the period stands at its last one."""
    amounts = measures.impulses(terms)
    lengths = [part.shape[1] for part in times]
    found = np.zeros((len(amounts), sum(lengths)))
    firsts = np.concatenate([[0], np.cumsum(lengths)[:-1]])
    before = 0
    for first, k in zip(firsts, measures.lasting, strict=True):
        found[:, first] = amounts[:, before : k + 1].sum(axis=1)
        before = k + 1
    found[:, -1] += amounts[:, before:].sum(axis=1)
    return found


def _measures(trajectory: Trajectory) -> Measures:
    points, n = trajectory.start.shape
    return Measures(Periodic(trajectory, np.ones(points, bool), np.zeros((points, n, n))))


def _highest(shares: Array, values: Array, slopes: Array) -> tuple[float, float]:
    """Highest value of the cubics through ``values`` and ``slopes`` (s,), and its share of the interval."""
    if np.isnan(values).all():
        return -np.inf, 0.0
    from scipy.interpolate import CubicHermiteSpline

    spline = CubicHermiteSpline(shares, values, slopes)
    places = np.append(shares, [x for x in spline.derivative().roots(extrapolate=False) if np.isfinite(x)])
    found = np.append(values, spline(places[len(shares) :]))
    best = int(np.nanargmax(found))
    return float(found[best]), float(places[best])
