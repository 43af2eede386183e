"""One period of exact states: intervals, their courses, and what jumps between them.

A trajectory is the same thing at P points at once: the points share the sequence of conducting devices,
each has its own lengths and states.  Arrays have the points first.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from voltsec.tableau.interval import Sequence
from voltsec.waveforms.linear import SAMPLES, Array, Course, course
from voltsec.waveforms.network import IntervalSystem, PeriodNetwork

OPEN = 1e-6
"""What moves by less along a direction that ideal parts leave open is fixed."""
VIOLATION = 1e-5
"""A sign is wrong from this share of the largest current or voltage of all diodes on."""
UNBALANCED = 1e-2
"""What charges a capacitor, or magnetizes a coil, comes back in a period but for less than this share."""
NO_FLOW = 1e-9
"""A mean current or voltage below this share of the circuit's level is rounding ..."""
CANCELLED = 1e-13
"""... and so is one below this share of the terms that cancel in it."""


@dataclass(frozen=True)
class Trajectory:
    """The course of one period from a state; periodic where it ends where it began."""

    network: PeriodNetwork
    sequence: Sequence
    instants: frozenset[int]
    """Intervals without length: all they do is to let charge or flux jump."""
    fractions: Array
    """(P, intervals), shares of the period."""
    start: Array
    """(P, n): the state before the first interval."""
    least: int = SAMPLES
    """Samples of an interval at least (see :meth:`voltsec.waveforms.linear.Course.samples`)."""
    halvings: int = 0
    """How often the steps between samples near an interval's start are halved."""
    known: tuple[Course, ...] = ()
    """The intervals' courses where they were solved for before, else none."""

    @cached_property
    def systems(self) -> tuple[IntervalSystem, ...]:
        """The network of every interval."""
        return tuple(self.network.system(interval.conducting) for interval in self.sequence.intervals)

    @cached_property
    def period(self) -> Array:
        """(P,): the period in the network's unit of time."""
        return self.network.point["T"] / self.network.scales.second

    @cached_property
    def courses(self) -> tuple[Course, ...]:
        """The linear course of every interval, one for all points where they last equally long."""
        if self.known:
            return self.known
        return tuple(
            course(system.augmented, shares * self.period)
            for system, shares in zip(self.systems, self.fractions.T, strict=True)
        )

    @cached_property
    def ends(self) -> tuple[tuple[Array, Array, Array], ...]:
        """(xi, 1) at the start and end of every interval, and the jump of x (P, n) that began it."""
        state = np.concatenate([self.start, np.ones((len(self.start), 1))], axis=1)
        found = []
        for system, one in zip(self.systems, self.courses, strict=True):
            first = _apply(system.entrance, state)
            jump = _apply(system.outlet, first) - state
            last = first + _apply(one.growth, first)
            state = _apply(system.outlet, last)
            found.append((first, last, jump[:, :-1]))
        return tuple(found)

    @property
    def end(self) -> Array:
        """(P, n): the state after the last interval."""
        return _apply(self.systems[-1].outlet, self.ends[-1][1])[:, :-1]

    @cached_property
    def sampled(self) -> tuple[tuple[Array, Array], ...]:
        """For every interval the instants as shares of it (s,), and (xi, 1) there (P, s, m + 1)."""
        return tuple(
            one.samples(first, self.least, self.halvings)
            for one, (first, _, _) in zip(self.courses, self.ends, strict=True)
        )

    def functional(self, k: int, row: Array) -> Array:
        """A sum of unknowns (P, u + 1) in interval ``k`` as a row over (xi, 1), (P, m + 1)."""
        found = (row[:, None, :-1] @ self.systems[k].unknowns)[:, 0]
        found[:, -1] += row[:, -1]
        return found

    def values(self, k: int, row: Array) -> Array:
        """A sum of unknowns at the samples of interval ``k``, (P, s)."""
        return (self.sampled[k][1] @ self.functional(k, row)[:, :, None])[:, :, 0]

    @property
    def usable(self) -> Array:
        """(P,): where the networks are of the same rank as at the first point."""
        return np.all([system.usable for system in self.systems], axis=0)

    def summed(self, k: int, own: Array) -> Array:
        """(P,): what ``own`` (P, m + 1), over (xi, 1), comes to when integrated over interval ``k``, SI."""
        sums = _apply(self.courses[k].integral, self.ends[k][0])
        return (own * sums).sum(axis=1) * self.network.scales.second

    def squared(self, k: int, own: Array) -> Array:
        """(P,): the same of its square; jumps are not in it."""
        if k not in self._squares:
            self._squares[k] = self.courses[k].squares(self.ends[k][0])
        square = ((own[:, None, :] @ self._squares[k])[:, 0] * own).sum(axis=1)
        return square * self.network.scales.second

    @cached_property
    def _squares(self) -> dict[int, Array]:
        return {}

    def integral(self, row: Array) -> Array:
        """(P,): a sum of unknowns (P or 1, u + 1) integrated over all intervals, jumps included, SI.

        Where ideal parts leave it open, all devices share alike.
        """
        total = np.zeros(len(self.start))
        for k in range(len(self.systems)):
            total = total + self.summed(k, self.functional(k, row)) + self.impulse(k, row)
        return total

    def impulse(self, k: int, row: Array) -> Array:
        """(P,): what the jump at the start of interval ``k`` adds to the integral of a sum, SI."""
        jump = self.ends[k][2]
        moved = (row[:, None, :-1] @ self.systems[k].impulses)[:, 0]
        return (moved * jump).sum(axis=1) * self.network.scales.second

    def diode_margins(self) -> list[tuple[int, str, bool, Array, Array]]:
        """(interval, diode, conducts, impulse (P,), values at the samples (P, s)); negative is wrong."""
        found = []
        for k, interval in enumerate(self.sequence.intervals):
            for diode in self.network.circuit.diodes:
                on = diode.name in interval.conducting
                voltage, current = self.network.device_values[diode.name]
                row, sign = (current, 1.0) if on else (voltage, -1.0)
                values = sign * self.values(k, row)
                impulse = sign * self.impulse(k, row) / self.network.scales.second
                found.append((k, diode.name, on, impulse, values))
        return found

    def is_open(self, k: int, row: Array) -> Array:
        """(P,): True where ideal parts leave a quantity (P or 1, u + 1) open in interval ``k``."""
        loose, points = self.systems[k].loose, len(self.fractions)
        if not loose.shape[2]:
            return np.zeros(points, bool)
        size = (np.abs(row[:, :-1]) * self.network.units).max(axis=1)
        found = np.abs(row[:, None, :-1] @ loose).max(axis=(1, 2)) > OPEN * size
        return np.broadcast_to(found, (points,))

    @cached_property
    def signs_right(self) -> Array:
        """(P,): no diode conducts in reverse or blocks forward voltage, all open shares being alike."""
        return self._signs_right(frozenset())

    @cached_property
    def fixed_signs_right(self) -> Array:
        """(P,): the same but for diodes whose share ideal parts leave open."""
        open_ = set()
        for k, interval in enumerate(self.sequence.intervals):
            for diode in self.network.circuit.diodes:
                row = self.network.device_values[diode.name][diode.name in interval.conducting]
                if self.is_open(k, row).any():
                    open_.add((k, diode.name))
        return self._signs_right(frozenset(open_))

    @cached_property
    def balanced(self) -> Array:
        """(P,): the charge of every capacitor and the flux of every coil come back after the period.

        Where a voltage grows without limit ever less is added to it in a period, in the end less than any
        share of the state that rounding lets one see; but all that flows is still added.
        """
        network = self.network
        good = np.ones(len(self.start), bool)
        names = [("u", flux.coil.name) for flux in network.fluxes]
        names += [("i", capacitor.name) for capacitor in network.circuit.capacitors]
        for name in names:
            unit = network.scales.ampere if name[0] == "i" else network.scales.volt
            net, gross, rounding = self._flow(network.row({name: 1.0}))
            good &= np.abs(net) <= UNBALANCED * gross + NO_FLOW * unit + CANCELLED * rounding
        return good

    def _flow(self, row: Array) -> tuple[Array, Array, Array]:
        """(P,) each: mean of a sum of unknowns, of its size, and of the terms it is the sum of; SI."""
        net, gross, rounding = (np.zeros(len(self.start)) for _ in range(3))
        second = self.network.scales.second
        for k, one in enumerate(self.courses):
            first = self.ends[k][0]
            own = self.functional(k, row)
            moved = self.impulse(k, row) / second / self.period
            net = net + (own * (one.integral @ first[:, :, None])[:, :, 0]).sum(axis=1) / self.period + moved
            shares, samples = self.sampled[k]
            values = np.abs((samples @ own[:, :, None])[:, :, 0])
            gross = gross + np.trapezoid(values, shares, axis=1) * self.fractions[:, k] + np.abs(moved)
            terms = (np.abs(samples) @ np.abs(own)[:, :, None])[:, :, 0].max(axis=1)
            rounding = rounding + terms * self.fractions[:, k]
        return net, gross, rounding

    def _signs_right(self, left_out: frozenset[tuple[int, str]]) -> Array:
        scales = self.network.scales
        level = {True: scales.ampere * 1.0, False: scales.volt * 1.0}
        margins = [one for one in self.diode_margins() if one[:2] not in left_out]
        for k, _, on, _, values in margins:
            if k not in self.instants:
                level[on] = np.maximum(level[on], np.abs(values).max(axis=1))
        good = np.isfinite(self.start).all(axis=1)
        for k, _, on, impulse, values in margins:
            least = -VIOLATION * level[on]
            good = good & (impulse >= least)
            if k not in self.instants:
                good = good & (values.min(axis=1) >= least)
            elif not on:
                good = good & (values[:, 0] >= least)
        return good


def _apply(matrix: Array, vector: Array) -> Array:
    """(P, a, b) times (P, b)."""
    return (matrix @ vector[:, :, None])[:, :, 0]
