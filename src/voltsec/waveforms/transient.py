"""Many periods followed from a state, exactly; those in which the devices act alike are taken together.

A period in which the devices conduct as in the one before is a chain of linear maps.  What ends by itself
ends a little earlier or later than before: the instant follows by Newton's method on a power series about
the earlier one.  A run of such periods is then looked at as a whole: where a diode's current or reverse
voltage has a wrong sign, or charge jumps that did not before, the run ends, and the next period is followed
event by event (:mod:`voltsec.waveforms.march`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from voltsec.circuit.computing_time import go_on
from voltsec.tableau.interval import Sequence
from voltsec.waveforms.instant import NOTHING
from voltsec.waveforms.linear import Array, course
from voltsec.waveforms.march import SHORTEST, Followed, Switching, dips, follow, margin_row
from voltsec.waveforms.network import IntervalSystem, NotDetermined, PeriodNetwork
from voltsec.waveforms.periodic import ending_row
from voltsec.waveforms.trajectory import Trajectory

FIRST_RUN, LONGEST_RUN = 4, 512
"""Periods that are taken together: after one that was followed by events, and at most."""
TERMS = 14
"""Terms of the power series about an earlier instant, ..."""
NEAR = 0.5
"""... which is exact to rounding while the rate times what the instant moves stays below this."""
EXPONENTS = np.arange(TERMS)
NEWTON_STEPS = 12
CLOSE = 1e-15
"""An instant (share of the period) is found where it moves by less."""
MOST_ANEW = 8
"""So often a power series is begun anew at an instant that has moved far."""


def transient(
    network: PeriodNetwork,
    switching: Switching,
    state: Array,
    periods: int,
    guess: frozenset[str] = frozenset(),
) -> Iterator[Trajectory]:
    """Follow ``periods`` periods from ``state`` (n,); ``guess`` are diodes that may conduct at its start.

    Yields runs of periods with one sequence: trajectories whose points are the periods, one after another.
    ``network`` has one point.  Raises :class:`NotDetermined` where it is not found which devices conduct.
    """
    chains: dict[tuple[Sequence, frozenset[int]], _Chain] = {}
    chain: _Chain | None = None
    run = FIRST_RUN
    while periods:
        go_on()
        if chain is not None and chain.usable:
            asked = min(run, periods)
            some = chain.run(state, asked)
            if some is not None:
                trajectory, state = some
                periods -= len(trajectory.start)
                guess = trajectory.sequence.intervals[-1].conducting
                yield trajectory
                if len(trajectory.start) == asked:
                    run = min(2 * run, LONGEST_RUN)
                    continue
            run = FIRST_RUN
            if not periods:
                return
        followed = follow(network, switching, state, guess)
        shares = np.array([followed.fractions])
        yield Trajectory(network, followed.sequence, followed.instants, shares, state[None])
        state, guess = followed.end, followed.last
        periods -= 1
        key = (followed.sequence, followed.instants)
        if key not in chains:
            chains[key] = _Chain(network, switching, followed)
        chain = chains[key]
        chain.begin(followed.fractions)


class _Chain:
    """The periods of one sequence."""

    def __init__(self, network: PeriodNetwork, switching: Switching, period: Followed) -> None:
        self.network = network
        self.sequence = period.sequence
        self.instants = period.instants
        self.unit = float(network.point["T"][0]) / network.scales.second
        self.systems = [network.system(i.conducting) for i in self.sequence.intervals]
        self.usable = True
        """False where no equation tells when an interval ends."""
        self.links: list[_Link] = []
        last: dict[int, int] = {}
        for k, interval in enumerate(self.sequence.intervals):
            if k not in self.instants:
                last[interval.stage] = k
        ending = [k for k, i in enumerate(self.sequence.intervals) if k not in self.instants]
        ending = [k for k in ending if last[self.sequence.intervals[k].stage] != k]
        try:
            events = {k: ending_row(network, self.sequence, k)[0] for k in ending}
        except NotDetermined:
            self.usable = False
            return
        moved = {self.sequence.intervals[k].stage for k in ending}
        for k, interval in enumerate(self.sequence.intervals):
            whole = switching.lengths[interval.stage] if last.get(interval.stage) == k else None
            fixed = 0.0 if k in self.instants else whole if interval.stage not in moved else None
            self.links.append(_Link(self.systems[k], self.unit, events.get(k), whole, fixed, interval.stage))
        self.period_map = self._period_map()

    def begin(self, fractions: tuple[float, ...]) -> None:
        """Take the lengths of a period that was followed for the first guess."""
        for link, share in zip(self.links, fractions, strict=False):
            if link.fixed is None:
                link.about(share)

    def _period_map(self) -> Array | None:
        """(n + 1, n + 1): the map of a period in which only switches end intervals."""
        total = np.eye(self.network.count + 1)
        for link in self.links:
            if link.map is None:
                return None
            total = link.map @ total
        return total

    def run(self, state: Array, most: int) -> tuple[Trajectory, Array] | None:
        """As many periods as go like the one before, and the state after them; None for none."""
        one = np.append(state, 1.0)
        starts, fractions = [one], []
        for _ in range(most):
            after = self._period(starts[-1])
            if after is None:
                break
            starts.append(after[0])
            fractions.append(after[1])
        if not fractions:
            return None
        shares = np.array(fractions)
        trajectory = Trajectory(
            self.network, self.sequence, self.instants, shares, np.array(starts[:-1])[:, :-1]
        )
        right = _right(trajectory)
        count = len(right) if right.all() else int(np.argmin(right))
        if not count:
            return None
        if count < len(right):
            trajectory = replace(trajectory, fractions=shares[:count], start=trajectory.start[:count])
        return trajectory, starts[count][:-1]

    def _period(self, one: Array) -> tuple[Array, list[float]] | None:
        """(x, 1) after a period, and the lengths of its intervals; None where one would not end."""
        if self.period_map is not None:
            return self.period_map @ one, [link.fixed or 0.0 for link in self.links]
        lengths: list[float] = []
        spent: dict[int, float] = {}
        for link in self.links:
            if link.map is not None:
                one = link.map @ one
                lengths.append(link.fixed or 0.0)
                continue
            taken = spent.get(link.stage, 0.0)
            share = None if link.whole is None else link.whole - taken
            found = link.through(one, share)
            if found is None:
                return None
            one, share = found
            spent[link.stage] = taken + share
            lengths.append(share)
        return one, lengths


class _Link:
    """One interval of a chain; its length is ``fixed``, or the rest of the stage, or set by ``event``."""

    def __init__(
        self,
        system: IntervalSystem,
        unit: float,
        event: Array | None,
        whole: float | None,
        fixed: float | None,
        stage: int,
    ) -> None:
        self.rate = system.augmented[0]
        self.entrance = system.entrance[0]
        self.outlet = system.outlet[0]
        self.unit, self.event, self.whole, self.fixed, self.stage = unit, event, whole, fixed, stage
        self.norm = float(np.abs(self.rate).sum(axis=1).max(initial=0.0)) * unit
        self.map: Array | None = None
        if fixed is not None:
            growth = course(system.augmented, np.array([fixed * unit])).growth[0]
            self.map = self.outlet @ (self.entrance + growth @ self.entrance)
            return
        terms = [np.eye(len(self.rate))]
        for j in range(1, TERMS):
            terms.append(terms[-1] @ self.rate * (unit / j))
        self.terms = np.stack(terms).reshape(TERMS, -1)
        """(terms, k * k): the power series of the transition matrix, time in periods."""
        self.rows = None if event is None else event @ np.stack(terms)
        self.nominal, self.growth = -1.0, np.zeros_like(self.rate)

    def about(self, share: float) -> None:
        """Begin the power series at this length."""
        if share != self.nominal:
            self.nominal = share
            self.growth = course(self.rate[None], np.array([share * self.unit])).growth[0]

    def through(self, one: Array, share: float | None) -> tuple[Array, float] | None:
        """(x, 1) at the end of the interval, and its length: ``share``, or what the event tells."""
        first = self.entrance @ one
        for _ in range(MOST_ANEW):
            there = first + self.growth @ first
            moved = self._to_event(self.rows @ there) if share is None else share - self.nominal
            if moved is None or not self.nominal + moved > SHORTEST:
                return None
            if abs(moved) * self.norm <= NEAR:
                powers = moved**EXPONENTS
                end = (powers @ self.terms).reshape(self.rate.shape) @ there
                return self.outlet @ end, self.nominal + moved
            self.about(self.nominal + moved)
        return None

    def _to_event(self, series: Array) -> float | None:
        """How much later than before the event comes, by its power series; far off only a step towards it."""
        limit = np.inf if self.norm == 0 else 2 * NEAR / self.norm
        c = [float(value) for value in series]
        place = 0.0
        for _ in range(NEWTON_STEPS):
            value, slope = 0.0, 0.0
            for coefficient in reversed(c):
                slope = slope * place + value
                value = value * place + coefficient
            if slope == 0:
                return None
            step = value / slope
            place -= step
            if abs(place) > limit:
                return limit if place > 0 else -limit
            if abs(step) < CLOSE:
                return place
        return place if abs(step) < 10 * CLOSE else None


def _right(trajectory: Trajectory) -> Array:
    """(P,): the devices conduct as the sequence says: no sign is wrong, no charge jumps but at instants."""
    network = trajectory.network
    names = [diode.name for diode in network.circuit.diodes]
    good = np.isfinite(trajectory.start).all(axis=1)
    for k, interval in enumerate(trajectory.sequence.intervals):
        first, _, jump = trajectory.ends[k]
        system = trajectory.systems[k]
        at_instant = k in trajectory.instants
        if not at_instant:
            size = np.maximum(1.0, np.abs(first[:, :-1]).max(axis=1, initial=0.0))
            good = good & (np.abs(jump).max(axis=1, initial=0.0) <= NOTHING * size)
        if not names:
            continue
        rows = np.array([margin_row(network, system, name, name in interval.conducting) for name in names])
        if at_instant:
            good = good & _right_jump(trajectory, k, rows)
            continue
        shares, samples = trajectory.sampled[k]
        values = np.moveaxis(samples @ rows.T, 2, 1)
        rates = (rows @ system.augmented[0]).T
        length = trajectory.courses[k].length[:, None, None]
        slopes = np.moveaxis((samples @ rates) * length, 2, 1)
        count = values.shape[2]
        between = dips(shares, values.reshape(-1, count), slopes.reshape(-1, count))
        good = good & (values >= -NOTHING).all(axis=(1, 2))
        good = good & (between.reshape(len(values), -1) >= -NOTHING).all(axis=1)
    return good


def _right_jump(trajectory: Trajectory, k: int, rows: Array) -> Array:
    """(P,): no diode lets charge through backwards at instant ``k``, none that blocks is left forward."""
    network = trajectory.network
    good = np.ones(len(trajectory.start), bool)
    for diode, row in zip(network.circuit.diodes, rows, strict=True):
        on = diode.name in trajectory.sequence.intervals[k].conducting
        voltage, current = network.device_values[diode.name]
        unit = (network.scales.ampere if on else network.scales.volt) * network.scales.second
        impulse = trajectory.impulse(k, current if on else -voltage) / unit
        good = good & (impulse >= -NOTHING)
        if not on:
            good = good & ((impulse > NOTHING) | (trajectory.ends[k][0] @ row >= -NOTHING))
    return good
