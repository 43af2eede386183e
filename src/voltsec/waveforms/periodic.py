"""The exact periodic state of a circuit for a given sequence of conducting devices, at many points.

No ripple is neglected: capacitors and inductors are the real ones, every interval is an exact exponential
of its linear network (:mod:`voltsec.waveforms.network`), and the state that repeats after a period is
one linear solve.  Instants at which diodes turn on or off by themselves follow by Newton's method on
the current, or the voltage, that must be zero there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from voltsec.tableau.interval import Interval, Sequence
from voltsec.waveforms.linear import Array, Course, course
from voltsec.waveforms.network import NotDetermined, PeriodNetwork
from voltsec.waveforms.trajectory import Trajectory

NEWTON_STEPS = 14
LARGEST_STEP = 0.1
"""A fraction changes by no more of the period at a time."""
CLOSE = 1e-11
"""Newton ends where fractions move by less."""
IDLE = 1e-9
"""A diode's current below this share of the largest one is none."""
SHORTEST = 1e-13
"""An interval lasts at least this share of the period."""
OPEN_DIRECTION = 1e-10
"""A singular value of (identity - period map) below this leaves a direction of the state open."""


@dataclass(frozen=True)
class Periodic:
    """The periodic trajectory of a sequence at P points."""

    trajectory: Trajectory
    good: Array
    """(P,): found, every interval lasts, and every diode's sign is right."""
    open_: Array
    """(P, n, n): orthonormal rows, the directions in which the state is not determined, others zero."""


def periodic_state(
    network: PeriodNetwork,
    sequence: Sequence,
    lengths: Array,
    guess: Array,
    instants: frozenset[int] = frozenset(),
    near: Array | None = None,
) -> Periodic:
    """The exact periodic state of ``sequence``.

    ``lengths`` (P, stages) are the fractions of the switch intervals, ``guess`` (P, intervals) those of all
    intervals, which where an interval ends by itself is only where Newton's method begins.  ``instants``
    are intervals without length.  Where ideal parts leave the state open, it is the one nearest to ``near``
    (n,), the origin where that is not given.  Raises :class:`NotDetermined` where the network of an
    interval has no solution.
    """
    solver = _Solver(network, sequence, np.asarray(lengths, float), instants)
    with np.errstate(all="ignore"):
        fractions, settled = solver.fractions(np.asarray(guess, float))
        _, total, courses = solver.chain(fractions)
        start, open_, closed = solver.fixed_point(total)
        if near is not None:
            start = start + (np.swapaxes(open_, 1, 2) @ (open_ @ near)[:, :, None])[:, :, 0]
        trajectory = Trajectory(network, sequence, instants, fractions, start, known=tuple(courses))
        lasting = [k for k in range(fractions.shape[1]) if k not in instants]
        good = settled & closed & (fractions[:, lasting] > SHORTEST).all(axis=1)
        good = good & trajectory.usable
        if good.any():
            good = good & trajectory.signs_right
        if good.any():
            good = good & trajectory.balanced
    return Periodic(trajectory, good, open_)


def followed_state(
    network: PeriodNetwork, sequence: Sequence, fractions: Array, instants: frozenset[int], start: Array
) -> Periodic:
    """The period of one point that was followed from ``start`` (n,) and ended there.

    ``fractions`` (1, intervals) are the lengths that were met.

    Not solved for once more: with an interval that is very short, or at whose end two diodes turn together,
    the equations of one sequence may have no solution near the state that was met, or another one.
    """
    solver = _Solver(network, sequence, fractions, instants)
    with np.errstate(all="ignore"):
        _, open_, _ = solver.fixed_point(solver.chain(fractions)[1])
        trajectory = Trajectory(network, sequence, instants, fractions, start[None])
        good = trajectory.signs_right & trajectory.usable & trajectory.balanced
    return Periodic(trajectory, good, open_)


def without_idle(periodic: Periodic) -> Periodic:
    """The same state (one point) with the diodes that carry nothing throughout an interval blocking in it.

    Such a diode may be said to conduct or to block; where it blocks, voltages that nothing fixes are open.
    """
    trajectory = periodic.trajectory
    if not periodic.good[0]:
        return periodic
    margins = [one for one in trajectory.diode_margins() if one[2] and one[0] not in trajectory.instants]
    largest = max((float(np.abs(values).max()) for *_, values in margins), default=0.0)
    idle: dict[int, set[str]] = {}
    for k, name, _, _, values in margins:
        if np.abs(values).max() < IDLE * largest:
            idle.setdefault(k, set()).add(name)
    if not idle:
        return periodic
    kept: list[tuple[Interval, float]] = []
    instants = set()
    for k, interval in enumerate(trajectory.sequence.intervals):
        fewer = Interval(interval.stage, interval.conducting - idle.get(k, set()))
        share = float(trajectory.fractions[0, k])
        if k in trajectory.instants:
            instants.add(len(kept))
        elif kept and kept[-1][0] == fewer and len(kept) - 1 not in instants:
            kept[-1] = (fewer, kept[-1][1] + share)
            continue
        kept.append((fewer, share))
    sequence = Sequence(tuple(interval for interval, _ in kept))
    fractions = np.array([[share for _, share in kept]])
    try:
        found = Trajectory(trajectory.network, sequence, frozenset(instants), fractions, trajectory.start)
        with np.errstate(all="ignore"):
            off = np.abs(found.end - trajectory.end).max()
            good = found.fixed_signs_right[0] and found.usable[0]
    except (NotDetermined, np.linalg.LinAlgError):
        return periodic
    same = off < CLOSE * (1 + np.abs(trajectory.start).max())
    return Periodic(found, periodic.good, periodic.open_) if good and same else periodic


def with_open_shares(periodic: Periodic) -> Periodic:
    """The same states with the diodes conducting that might as well: no voltage is across them throughout.

    Where such a diode beside others (two rectifiers of a winding that is shorted elsewhere) may take any part
    of their current, ideal parts leave the part open, whichever of them the sequence says conducts.
    """
    trajectory, good = periodic.trajectory, periodic.good
    network = trajectory.network
    if len(network.circuit.diodes) < 2 or not good.any():
        return periodic
    unit = np.broadcast_to(network.scales.volt, good.shape)[good, None]
    intervals = list(trajectory.sequence.intervals)
    for k, name, on, _, values in trajectory.diode_margins():
        if on or k in trajectory.instants or (np.abs(values[good]) > IDLE * unit).any():
            continue
        more = replace(intervals[k], conducting=intervals[k].conducting | {name})
        try:
            before, after = (network.system(one.conducting).loose for one in (intervals[k], more))
        except (NotDetermined, np.linalg.LinAlgError):
            continue
        if after.shape[2] > before.shape[2]:
            intervals[k] = more
    if tuple(intervals) == trajectory.sequence.intervals:
        return periodic
    found = replace(trajectory, sequence=Sequence(tuple(intervals)), known=())
    with np.errstate(all="ignore"):
        same = np.abs(found.end - trajectory.end).max(axis=1) < CLOSE * (1 + np.abs(found.start).max(axis=1))
        fits = (same & found.fixed_signs_right & found.usable)[good].all()
    return replace(periodic, trajectory=found) if fits else periodic


def ending_row(network: PeriodNetwork, sequence: Sequence, k: int) -> Array:
    """(P, m + 1): what is zero at the end of interval ``k``, which ends by itself, over (xi, 1), scaled.

    Raises :class:`NotDetermined` where nothing that the state moves is.
    """
    name, column = event_device(network, sequence, k)
    row = network.device_values[name][column]
    found = (row[:, None, :-1] @ network.system(sequence.intervals[k].conducting).unknowns)[:, 0]
    found[:, -1] += row[:, -1]
    unit = network.scales.ampere if column else network.scales.volt
    return found / unit[:, None]


def event_device(network: PeriodNetwork, sequence: Sequence, k: int) -> tuple[str, int]:
    """The device that ends interval ``k``, and whether by its voltage (0) or its current (1)."""
    system = network.system(sequence.intervals[k].conducting)
    stops, starts = sequence.ended_by(k)
    for names, column in ((stops, 1), (starts, 0)):
        for name in sorted(names):
            row = network.device_values[name][column]
            found = (row[:, None, :-1] @ system.unknowns)[:, 0]
            unit = network.scales.ampere if column else network.scales.volt
            if np.abs(found[0, :-1]).max(initial=0.0) > 1e-12 * unit[0]:
                return name, column
    raise NotDetermined("what ends an interval is not determined")


class _Solver:
    """The period map of one sequence and its dependence on the fractions."""

    def __init__(
        self, network: PeriodNetwork, sequence: Sequence, lengths: Array, instants: frozenset[int]
    ) -> None:
        self.network = network
        self.sequence = sequence
        self.lengths = lengths
        stages = range(lengths.shape[1])
        members = [
            [k for k, i in enumerate(sequence.intervals) if i.stage == stage and k not in instants]
            for stage in stages
        ]
        self.members = members
        self.unknown = [k for places in members for k in places[:-1]]
        self.last = [places[-1] for places in members for _ in places[:-1]]
        self.systems = [network.system(interval.conducting) for interval in sequence.intervals]
        self.period = network.point["T"] / network.scales.second
        self.events = [ending_row(network, sequence, k) for k in self.unknown]

    def whole(self, unknown: Array) -> Array:
        """Every fraction (P, intervals) from those of the intervals that end by themselves (P, unknowns)."""
        points = max(len(unknown), len(self.lengths))
        found = np.zeros((points, len(self.systems)))
        for place, k in enumerate(self.unknown):
            found[:, k] = unknown[:, place]
        for stage, places in enumerate(self.members):
            if places:
                found[:, places[-1]] = self.lengths[:, stage] - found[:, places[:-1]].sum(axis=1)
        return found

    def chain(self, fractions: Array) -> tuple[list[Array], Array, list[Course]]:
        """End of every interval over (x, 1) at the period's start, the whole map, each interval's course."""
        n = self.network.count
        total = np.broadcast_to(np.eye(n + 1), (len(fractions), n + 1, n + 1))
        ends, courses = [], []
        for system, shares in zip(self.systems, fractions.T, strict=True):
            one = course(system.augmented, shares * self.period)
            into = system.entrance @ total
            end = into + one.growth @ into
            total = system.outlet @ end
            ends.append(end)
            courses.append(one)
        return ends, total, courses

    def fixed_point(self, total: Array) -> tuple[Array, Array, Array]:
        """The state that repeats (P, n), the directions it leaves open, and where there is one."""
        n = self.network.count
        total, sound = _finite(total)
        u, s, vt = np.linalg.svd(np.eye(n) - total[:, :n, :n])
        wanted = (np.swapaxes(u, 1, 2) @ total[:, :n, n:])[:, :, 0]
        kept = s > OPEN_DIRECTION
        missed = np.where(kept, 0.0, np.abs(wanted)).max(axis=1, initial=0.0)
        closed = sound & (missed <= 1e-7 * np.maximum(1.0, np.abs(wanted).max(axis=1, initial=0.0)))
        scaled = np.where(kept, wanted / np.where(kept, s, 1.0), 0.0)
        state = (np.swapaxes(vt, 1, 2) @ scaled[:, :, None])[:, :, 0]
        return state, np.where(kept[:, :, None], 0.0, vt), closed

    def fractions(self, guess: Array) -> tuple[Array, Array]:
        """All fractions (P, intervals) by Newton's method, and where it has settled."""
        if not self.unknown:
            found = self.whole(np.zeros((len(guess), 0)))
            return found, np.ones(len(found), bool)
        unknown = np.broadcast_to(
            guess[:, self.unknown], (max(len(guess), len(self.lengths)), len(self.unknown))
        ).copy()
        settled = np.zeros(len(unknown), bool)
        for _ in range(NEWTON_STEPS):
            value, slope = self._misses(unknown)
            regular = np.isfinite(slope).all(axis=(1, 2)) & np.isfinite(value).all(axis=1)
            regular &= (
                np.abs(np.linalg.det(np.where(regular[:, None, None], slope, np.eye(len(self.unknown))))) > 0
            )
            slope = np.where(regular[:, None, None], slope, np.eye(len(self.unknown)))
            step = np.linalg.solve(slope, value[:, :, None])[:, :, 0]
            largest = np.abs(step).max(axis=1)
            moving = regular & ~settled
            factor = np.minimum(1.0, LARGEST_STEP / np.where(largest > 0, largest, 1.0))
            unknown[moving] -= (factor[:, None] * step)[moving]
            settled |= regular & (largest < CLOSE)
            if settled.all():
                break
        return self.whole(unknown), settled

    def _misses(self, unknown: Array) -> tuple[Array, Array]:
        """What must vanish at the ends of the intervals that end by themselves, and its derivatives."""
        fractions = self.whole(unknown)
        ends, total, courses = self.chain(fractions)
        n = self.network.count
        state, _, _ = self.fixed_point(total)
        one = np.concatenate([state, np.ones((len(state), 1))], axis=1)[:, :, None]
        points = len(one)
        # a longer interval k, its stage's last shorter: how every interval's end moves, start held first
        shifts = np.zeros((points, n + 1, len(self.unknown)))
        at_end = []
        for j, system in enumerate(self.systems):
            moved = system.entrance @ shifts
            moved = moved + courses[j].growth @ moved
            rate = system.augmented @ (ends[j] @ one)
            for place, (k, last) in enumerate(zip(self.unknown, self.last, strict=True)):
                sign = (j == k) - (j == last)
                if sign:
                    moved[:, :, place] += sign * self.period[:, None] * rate[:, :, 0]
            at_end.append(moved)
            shifts = system.outlet @ moved
        # ... and then with the start that makes it periodic again
        back = np.linalg.pinv(np.eye(n) - _finite(total)[0][:, :n, :n], rcond=OPEN_DIRECTION) @ shifts[:, :n]
        values, slopes = [], []
        for k, event in zip(self.unknown, self.events, strict=True):
            values.append((event[:, None] @ (ends[k] @ one))[:, 0, 0])
            slopes.append((event[:, None] @ (at_end[k] + ends[k][:, :, :n] @ back))[:, 0])
        return np.stack(values, axis=1), np.stack(slopes, axis=1)


def _finite(maps: Array) -> tuple[Array, Array]:
    """Matrices (P, ...) with zeros for one that is not finite, which would spoil all; which are (P,)."""
    sound = np.isfinite(maps).all(axis=(1, 2))
    return np.where(sound[:, None, None], maps, 0.0), sound
