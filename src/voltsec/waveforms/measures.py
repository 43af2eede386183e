"""Results of exact waveforms: every measure of :mod:`voltsec.results.measures` over a trajectory.

Averages and squares are exact integrals.  Peaks are those of a cubic through values and slopes between
samples, of which an interval has sixteen or more and ever closer ones after its beginning.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import singledispatchmethod
from typing import Any

import numpy as np

from voltsec.results.measures import (
    Average,
    Core,
    Efficiency,
    FlowShare,
    Gain,
    Gate,
    Heat,
    Measure,
    OverallEfficiency,
    Peak,
    RootMeanSquare,
    Step,
    Swing,
    Terms,
    Turning,
)
from voltsec.waveforms.linear import Array
from voltsec.waveforms.other_losses import JUMP, core, turning
from voltsec.waveforms.periodic import Periodic, with_open_shares
from voltsec.waveforms.shares import open_range, settled_functional
from voltsec.waveforms.trajectory import Trajectory

ROUNDING = 1e-9
"""An average, peak or swing of less than this share of the circuit's level is nothing."""
UNDECIDED = 1e-6
"""An average that moves by more along an open direction of the state is not determined."""
CHARGE = 1e-7
"""A jump that sends less than this share of an ordinary charge through a part sends none."""


class Measures:
    """Measures over one periodic trajectory; every value is an array (P,), nan where not determined.

    A peak or rms value of a current that comes in jumps of charge is infinite.
    """

    def __init__(self, periodic: Periodic) -> None:
        self.periodic = periodic = with_open_shares(periodic)
        self.trajectory: Trajectory = periodic.trajectory
        self.network = self.trajectory.network
        self.lasting = [k for k in range(len(self.trajectory.systems)) if k not in self.trajectory.instants]
        self._open_ranges: dict[tuple[Terms, int], tuple[Array, Array]] = {}
        self._waves: dict[Terms, list[tuple[Array, Array]]] = {}

    @singledispatchmethod
    def value(self, measure: Measure) -> Array:
        """The measure, SI."""
        raise TypeError(f"no such measure: {measure!r}")

    @value.register
    def _(self, measure: Average) -> Array:
        return self.average(measure.terms)

    @value.register
    def _(self, measure: Gain) -> Array:
        return self.average(measure.terms) / self.network.point[measure.source]

    @value.register
    def _(self, measure: RootMeanSquare) -> Array:
        found = self._cleaned(measure.terms, np.sqrt(self.mean_square(measure.terms)))
        # squares of rounding add up; no rms value is above the peak
        ranges = self.bounded(measure.terms, self.lasting)
        peak = np.max([np.maximum(np.abs(low), np.abs(high)) for low, high in ranges], axis=0)
        return np.where(found > peak, np.where(np.isinf(found), found, peak), found)

    @value.register
    def _(self, measure: Heat) -> Array:
        heat = np.zeros(self.points)
        if measure.resistance is not None:
            heat = heat + self.network.point[measure.resistance] * self.mean_square(measure.terms)
        if measure.drop is not None:
            heat = heat + self.network.point[measure.drop] * self.average(measure.terms)
        return heat

    def _powers(self, measure: Efficiency) -> tuple[Array, Array]:
        """What loads take and sources give, watt."""
        taken, given = np.zeros(self.points), np.zeros(self.points)
        for load in measure.loads:
            taken = taken + self.value(load)
        for symbol, terms in measure.ports:
            power = self.network.point[symbol] * self.average(terms)
            taken, given = taken + np.maximum(power, 0.0), given + np.maximum(-power, 0.0)
        return taken, given

    @value.register
    def _(self, measure: Efficiency) -> Array:
        taken, given = self._powers(measure)
        with np.errstate(all="ignore"):
            share = taken / given
        share = np.where(np.abs(share - 1.0) < ROUNDING, 1.0, share)
        level = self.network.scales.volt * self.network.scales.ampere
        return np.where(given > ROUNDING * level, share, np.nan)

    @value.register
    def _(self, measure: Turning) -> Array:
        return turning(self, measure)

    @value.register
    def _(self, measure: Gate) -> Array:
        return measure.charge * measure.voltage / self.network.point["T"] + np.zeros(self.points)

    @value.register
    def _(self, measure: Core) -> Array:
        return core(self, measure)

    @value.register
    def _(self, measure: OverallEfficiency) -> Array:
        taken, given = self._powers(measure.efficiency)
        lost = sum(self.value(one) for one in measure.beside)
        with np.errstate(all="ignore"):
            return np.where(given > 0, taken / (given + lost), np.nan)

    @value.register
    def _(self, measure: Peak) -> Array:
        places = self._blocked(measure)
        if not places:
            return np.zeros(self.points)
        ranges = self.bounded(measure.terms, places)
        peak = np.max([np.maximum(np.abs(low), np.abs(high)) for low, high in ranges], axis=0)
        peak = self._cleaned(measure.terms, peak)
        open_ = self.moves(measure.terms).any(axis=1)
        return np.where(self.jumps(measure.terms), np.inf, np.where(open_, np.nan, peak))

    def _blocked(self, measure: Peak) -> list[int]:
        """The intervals whose peak is asked for."""
        name, intervals = measure.blocked_by, self.trajectory.sequence.intervals
        return [k for k in self.lasting if name is None or name not in intervals[k].conducting]

    def is_bound(self, measure: Measure) -> Array:
        """(P,): True for a peak or rms value of which ideal parts leave the share open: the most is told."""
        if not isinstance(measure, Peak | RootMeanSquare):
            return np.zeros(self.points, bool)
        places = self._blocked(measure) if isinstance(measure, Peak) else self.lasting
        row = self.row(measure.terms)
        shared = [
            k for k in places if self.trajectory.is_open(k, row).any() and self.varies(measure.terms, k)
        ]
        if not shared:
            return np.zeros(self.points, bool)
        if isinstance(measure, RootMeanSquare):
            return np.ones(self.points, bool)
        sure = [np.zeros(self.points)]
        ranges = self.bounded(measure.terms, [k for k in places if k not in shared])
        sure += [np.maximum(np.abs(low), np.abs(high)) for low, high in ranges]
        return self.value(measure) > (1 + UNDECIDED) * np.max(sure, axis=0)

    @value.register
    def _(self, measure: Swing) -> Array:
        ranges = self.ranges(measure.terms, self.lasting)
        swing = np.max([high for _, high in ranges], axis=0) - np.min([low for low, _ in ranges], axis=0)
        swing = self._cleaned(measure.terms, swing)
        open_ = np.ptp(self.moves(measure.terms), axis=1) > UNDECIDED
        return np.where(self.jumps(measure.terms), np.inf, np.where(open_, np.nan, swing))

    @value.register
    def _(self, measure: FlowShare) -> Array:
        ranges = self.ranges(measure.terms, self.lasting)
        sizes = [np.maximum(np.abs(low), np.abs(high)) for low, high in ranges]
        peak = np.max(sizes, axis=0)
        flows = [np.where(size > JUMP * peak, 1.0, 0.0) for size in sizes]
        shares = self.trajectory.fractions[:, self.lasting].T
        return np.sum([share * flow for share, flow in zip(shares, flows, strict=True)], axis=0)

    @value.register
    def _(self, measure: Step) -> Array:
        waves = [values for values, _ in self.waves(measure.terms)]
        peak = np.max([np.abs(wave).max(axis=1) for wave in waves], axis=0)
        steps = [
            np.abs(after[:, 0] - before[:, -1])
            for before, after in zip(waves, waves[1:] + waves[:1], strict=True)
        ]
        step = np.max(steps, axis=0)
        return np.where(self.jumps(measure.terms), np.inf, np.where(step > JUMP * peak, step, 0.0))

    @property
    def points(self) -> int:
        """P."""
        return len(self.trajectory.fractions)

    def row(self, terms: Terms) -> Array:
        """A quantity as a row over all unknowns, (P or 1, u + 1)."""
        network = self.network
        return network.row({u: float(sign) for u, sign in _known(terms, network.network.references)})

    def average(self, terms: Terms) -> Array:
        """Mean over the period, jumps of charge included; nan where it is not determined."""
        found = self._average(terms)
        moves = self.moves(terms)
        drift = (moves * self.trajectory.fractions[:, self.lasting]).sum(axis=1)
        found = self._cleaned(terms, found)
        return np.where(np.abs(drift) > UNDECIDED, np.nan, found)

    def _cleaned(self, terms: Terms, values: Array) -> Array:
        """Zero where there is nothing but rounding."""
        unit = (np.abs(self.row(terms)[:, :-1]) * self.network.units).max(axis=1)
        return np.where(np.abs(values) < ROUNDING * unit, 0.0, values)

    def moves(self, terms: Terms) -> Array:
        """(P, lasting intervals): how far the quantity moves along open directions of the state."""
        row = self.row(terms)
        size = (np.abs(row[:, :-1]) * self.network.units).max(axis=1)
        total = np.zeros((self.points, len(self.lasting)))
        for number in range(self.network.count):
            if self.periodic.open_[:, number].any():
                moved = self._moved(number)
                for place, k in enumerate(self.lasting):
                    own = self.trajectory.functional(k, row)
                    change = moved.ends[k][0] - self.trajectory.ends[k][0]
                    total[:, place] += (own * change).sum(axis=1) / size
        return np.where(np.abs(total) > UNDECIDED, total, 0.0)

    def _average(self, terms: Terms) -> Array:
        trajectory, row = self.trajectory, self.row(terms)
        total = np.zeros(self.points)
        for k in range(len(trajectory.systems)):
            total = total + trajectory.impulse(k, row)
            if k not in trajectory.instants:
                total = total + trajectory.summed(k, self._functional(terms, k))
        # how a charge that jumps is shared is not told by signs
        open_ = [self.trajectory.is_open(k, row) for k in range(len(trajectory.courses))]
        return np.where(self.jumps(terms) & np.any(open_, axis=0), np.nan, total / self.network.point["T"])

    def _moved(self, number: int) -> Trajectory:
        trajectory = self.trajectory
        start = trajectory.start + self.periodic.open_[:, number]
        return Trajectory(
            trajectory.network, trajectory.sequence, trajectory.instants, trajectory.fractions, start
        )

    def _functional(self, terms: Terms, k: int) -> Array:
        """A quantity over (xi, 1), nan where it is open."""
        row = self.row(terms)
        open_ = self.trajectory.is_open(k, row)
        own = self.trajectory.functional(k, row)
        if not open_.any():
            return own
        if self.varies(terms, k):
            return np.where(open_[:, None], np.nan, own)
        return np.where(open_[:, None], settled_functional(self.trajectory, k, row), own)

    def mean_square(self, terms: Terms) -> Array:
        """Mean of the square over the period, the largest where it is open; infinite where charge jumps."""
        row = self.row(terms)
        total = np.zeros(self.points)
        for k in self.lasting:
            if self.trajectory.is_open(k, row).any() and self.varies(terms, k):
                total = total + self._largest_square(terms, k)
                continue
            total = total + self.trajectory.squared(k, self._functional(terms, k))
        found = np.maximum(total, 0.0) / self.network.point["T"]
        open_ = self.moves(terms).any(axis=1)
        return np.where(self.jumps(terms), np.inf, np.where(open_, np.nan, found))

    def open_range(self, terms: Terms, k: int) -> tuple[Array, Array]:
        """Lowest and highest value (P, s) that shares allow at the samples of interval ``k``."""
        if (terms, k) not in self._open_ranges:
            self._open_ranges[terms, k] = open_range(self.trajectory, k, self.row(terms))
        return self._open_ranges[terms, k]

    def varies(self, terms: Terms, k: int) -> bool:
        """True where shares make a difference: signs of diodes may leave only one."""
        low, high = self.open_range(terms, k)
        return not (high - low <= UNDECIDED * np.maximum(np.abs(low), np.abs(high)) + ROUNDING).all()

    def _largest_square(self, terms: Terms, k: int) -> Array:
        """Integral of the largest square that shares allow, straight between samples."""
        low, high = self.open_range(terms, k)
        size = np.maximum(np.abs(low), np.abs(high))
        first, last = size[:, :-1], size[:, 1:]
        squares = (first * first + first * last + last * last) / 3
        steps = np.diff(self.trajectory.sampled[k][0])
        seconds = self.trajectory.courses[k].length * self.network.scales.second
        return (squares * steps).sum(axis=1) * seconds

    def jumps(self, terms: Terms) -> Array:
        """(P,): True where the quantity comes in an impulse at some instant (charge, or flux)."""
        return np.any(self.impulses(terms), axis=1)

    def impulses(self, terms: Terms) -> Array:
        """(P, intervals): coulomb, or volt seconds, that come in no time as each interval begins."""
        row = self.row(terms)
        least = CHARGE * (np.abs(row[:, :-1]) * self.network.units).max(axis=1) * self.network.scales.second
        found = [self.trajectory.impulse(k, row) for k in range(len(self.trajectory.systems))]
        return np.stack([np.where(np.abs(one) > least, one, 0.0) for one in found], axis=1)

    def extent(self, terms: Terms) -> tuple[Array, Array]:
        """Lowest and highest value (P,), of an open share the lowest and highest that there may be.

        Infinite on the side of an impulse, nan where the level is open.
        """
        ranges = self.bounded(terms, self.lasting)
        low = self._cleaned(terms, np.min([low for low, _ in ranges], axis=0))
        high = self._cleaned(terms, np.max([high for _, high in ranges], axis=0))
        impulses, open_ = self.impulses(terms), self.moves(terms).any(axis=1)
        low = np.where((impulses < 0).any(axis=1), -np.inf, np.where(open_, np.nan, low))
        return low, np.where((impulses > 0).any(axis=1), np.inf, np.where(open_, np.nan, high))

    def waves(self, terms: Terms) -> list[tuple[Array, Array]]:
        """Values (P, s) at the samples of every interval that lasts, and slopes per sample step."""
        if terms not in self._waves:
            found = []
            for k in self.lasting:
                _, samples = self.trajectory.sampled[k]
                own = self._functional(terms, k)
                rate = (own[:, None, :] @ self.trajectory.courses[k].rate)[:, 0]
                length = self.trajectory.courses[k].length
                found.append(
                    (
                        (samples @ own[:, :, None])[:, :, 0],
                        (samples @ rate[:, :, None])[:, :, 0] * length[:, None],
                    )
                )
            self._waves[terms] = found
        return self._waves[terms]

    def ranges(self, terms: Terms, places: Iterable[int]) -> list[tuple[Array, Array]]:
        """Lowest and highest value in each of the intervals ``places``, nan where it is open."""
        found = []
        for k in places:
            values, slopes = self.waves(terms)[self.lasting.index(k)]
            found.append(extremes(self.trajectory.sampled[k][0], values, slopes))
        return found

    def bounded(self, terms: Terms, places: Iterable[int]) -> list[tuple[Array, Array]]:
        """The same, where it is open the lowest and highest that any shares of the devices allow."""
        row = self.row(terms)
        found = []
        for k in places:
            if self.trajectory.is_open(k, row).any():
                low, high = self.open_range(terms, k)
                found.append((low.min(axis=1), high.max(axis=1)))
            else:
                found += self.ranges(terms, [k])
        return found


def extremes(shares: Array, values: Array, slopes: Array) -> tuple[Array, Array]:
    """Lowest and highest value of cubics through ``values`` and ``slopes`` (P, s) at ``shares`` (s,)."""
    low, high = values.min(axis=1), values.max(axis=1)
    step = np.diff(shares)
    before, after = values[:, :-1], values[:, 1:]
    first, last = slopes[:, :-1] * step, slopes[:, 1:] * step
    turning = first * last < 0
    if not turning.any():
        return low, high
    cubic = 2 * (before - after) + first + last
    square = 3 * (after - before) - 2 * first - last
    with np.errstate(all="ignore"):
        root = np.sqrt(np.maximum(square * square - 3 * cubic * first, 0.0))
        half = -(square + np.where(square < 0, -root, root))
        for place in (first / half, half / (3 * cubic)):
            inside = turning & (place > 0) & (place < 1)
            place = np.where(inside, place, 0.0)
            there = before + place * (first + place * (square + place * cubic))
            there = np.where(inside & np.isfinite(there), there, before)
            low, high = np.minimum(low, there.min(axis=1)), np.maximum(high, there.max(axis=1))
    return low, high


def _known(terms: Terms, references: frozenset[str]) -> list[tuple[tuple[Any, ...], int]]:
    """Terms without the potentials of reference nodes; several of one unknown are added up."""
    total: dict[tuple[Any, ...], int] = {}
    for unknown, sign in terms:
        if not (unknown[0] == "v" and unknown[1] in references):
            total[unknown] = total.get(unknown, 0) + sign
    return list(total.items())
