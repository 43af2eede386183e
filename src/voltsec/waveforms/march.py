"""One period followed from a state, whatever the devices do: intervals found as they come.

Between two instants the network is linear and its course exact; an interval ends with the switches, or
where a diode's current or reverse voltage would change its sign.  The derivative of the end state with
respect to the start comes along, instants that move included, for Newton's method on the period.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.computing_time import go_on
from voltsec.periodic.stages import stages_of
from voltsec.tableau.interval import Interval, Sequence
from voltsec.waveforms.instant import NOTHING, settle
from voltsec.waveforms.linear import Array, Course, course
from voltsec.waveforms.network import IntervalSystem, NotDetermined, PeriodNetwork

MOST_EVENTS = 400
"""Instants in one period at which a diode turns."""
STANDSTILL = 12
"""Instants in a row without any time between them."""
SHARPER = 10.0
"""Factor by which less is taken for nothing at each of them."""
SHORTEST = 1e-14
"""Shares of the period below this are no time at all."""
GRAZING = 1e-9
"""A sign that changes with a slope below this (scaled, per period) says nothing about the instant."""


@dataclass(frozen=True)
class Switching:
    """The switch intervals of a period: which switches are closed, and for how long (shares)."""

    closed: tuple[frozenset[str], ...]
    lengths: tuple[float, ...]


def switching_at(circuit: Circuit, point: Mapping[str, float]) -> Switching:
    """Which switches are closed in turn at ``point`` (every symbol, SI units), and for how long."""
    for stages in stages_of(circuit):
        lengths = tuple(float(length) for length in stages.fractions(dict(point)))
        if min(lengths) >= 0:
            return Switching(stages.closed, lengths)
    raise ValueError("the duties and starts of on-times fit no order of the switch edges")


@dataclass(frozen=True)
class Followed:
    """One period from a state."""

    sequence: Sequence
    instants: frozenset[int]
    fractions: tuple[float, ...]
    end: Array
    """(n,) the state after the period."""
    slope: Array
    """(n, n): derivative of ``end`` with respect to the start."""
    last: frozenset[str]
    """What conducts at the end."""


def follow(network: PeriodNetwork, switching: Switching, state: Array, guess: frozenset[str]) -> Followed:
    """Follow one period from ``state`` (n,); ``guess`` are diodes that may conduct at its start.

    ``network`` has one point.  Raises :class:`NotDetermined`.
    """
    walk = _Walk(network, state)
    conducting = guess
    for stage, (closed, length) in enumerate(zip(switching.closed, switching.lengths, strict=True)):
        if length > SHORTEST:
            conducting = walk.through(stage, closed, length, conducting)
    return walk.result(conducting)


class _Walk:
    """The state of the walk through a period."""

    def __init__(self, network: PeriodNetwork, state: Array) -> None:
        self.network = network
        self.state = state
        self.slope = np.eye(len(state))
        self.shift = np.zeros(len(state))
        """How the present instant moves with the start."""
        self.parts: list[tuple[Interval, float | None]] = []
        self.events = 0

    def through(
        self, stage: int, closed: frozenset[str], length: float, guess: frozenset[str]
    ) -> frozenset[str]:
        """Follow one switch interval; returns what conducts at its end."""
        network = self.network
        unit = float(network.point["T"][0]) / network.scales.second
        self.shift = np.zeros_like(self.shift)  # the edge stays where it is
        left = length
        still = 0
        while True:
            go_on()
            settled = settle(network, closed, self.state, guess, SHARPER**still)
            for devices in settled.jumps:
                self._enter(network.system(devices))
                self.parts.append((Interval(stage, devices), None))
            system = network.system(settled.conducting)
            moving = self._enter(system)
            rate = system.augmented[0] @ moving
            inner = system.free[0] @ self.slope - np.outer(rate[:-1], self.shift)
            one = course(system.augmented, np.array([left * unit]))
            found = _first_event(network, system, settled.conducting, one, moving)
            spent, device = (left, None) if found is None else (found[0] * left, found[1])
            growth = one.growth[0]
            if device is not None:
                growth = course(system.augmented, np.array([spent * unit])).growth[0]
            end = moving + growth @ moving
            inner = inner + growth[:-1, :-1] @ inner
            self.parts.append((Interval(stage, settled.conducting), spent))
            left -= spent
            if device is None:
                self._leave(system, end, inner)
                return settled.conducting
            self.events += 1
            still = still + 1 if spent < SHORTEST else 0
            if self.events > MOST_EVENTS or still > STANDSTILL:
                raise NotDetermined("diodes turn on and off without end")
            row = margin_row(network, system, device, device in settled.conducting)
            change = row @ system.augmented[0] @ end
            self.shift = -(row[:-1] @ inner) / change if abs(change) > GRAZING else 0 * self.shift
            inner = inner + np.outer((system.augmented[0] @ end)[:-1], self.shift)
            self._leave(system, end, inner)
            guess = settled.conducting ^ {device}
            if left <= SHORTEST:
                return guess

    def _enter(self, system: IntervalSystem) -> Array:
        """(xi, 1) in a new network; charges and fluxes jump where they must."""
        moving = system.free[0] @ self.state
        self.state = system.free[0].T @ moving + system.fixed[0]
        self.slope = system.free[0].T @ (system.free[0] @ self.slope)
        return np.append(moving, 1.0)

    def _leave(self, system: IntervalSystem, end: Array, inner: Array) -> None:
        self.state = system.free[0].T @ end[:-1] + system.fixed[0]
        self.slope = system.free[0].T @ inner

    def result(self, last: frozenset[str]) -> Followed:
        """Everything, neighbours with the same devices made one."""
        kept: list[tuple[Interval, float | None]] = []
        for interval, length in self.parts:
            if length is not None and length < SHORTEST:
                continue
            if kept and kept[-1][0] == interval and (kept[-1][1] is None) == (length is None):
                if length is not None:
                    kept[-1] = (interval, (kept[-1][1] or 0.0) + length)
            else:
                kept.append((interval, length))
        return Followed(
            Sequence(tuple(interval for interval, _ in kept)),
            frozenset(k for k, (_, length) in enumerate(kept) if length is None),
            tuple(length or 0.0 for _, length in kept),
            self.state,
            self.slope,
            last,
        )


def margin_row(network: PeriodNetwork, system: IntervalSystem, name: str, on: bool) -> Array:
    """A diode's current or reverse voltage over (xi, 1), scaled; not negative where its state is right."""
    voltage, current = network.device_values[name]
    row = (current if on else -voltage)[0]
    found = row[:-1] @ system.unknowns[0]
    found[-1] += row[-1]
    return found / float((network.scales.ampere if on else network.scales.volt)[0])


def _first_event(
    network: PeriodNetwork,
    system: IntervalSystem,
    conducting: frozenset[str],
    one: Course,
    start: Array,
) -> tuple[float, str] | None:
    """The first instant (share of the interval) at which a diode's sign turns wrong, and which."""
    names = [diode.name for diode in network.circuit.diodes]
    if not names:
        return None
    rows = np.array([margin_row(network, system, name, name in conducting) for name in names])
    shares, samples = one.samples(start[None])
    states = samples[0].T
    values = rows @ states
    slopes = rows @ system.augmented[0] @ states * float(one.length[0])
    wrong = values < -NOTHING
    wrong[:, 1:] |= dips(shares, values, slopes) < -NOTHING
    if not wrong[:, 1:].any():
        return None
    place = int(np.argmax(wrong[:, 1:].any(axis=0))) + 1
    found: tuple[float, str] | None = None
    for number in np.flatnonzero(wrong[:, place]):
        share = _crossing(one, states[:, place - 1], shares[place - 1 : place + 1], rows[number])
        if found is None or share < found[0]:
            found = (share, names[number])
    return found


def dips(shares: Array, values: Array, slopes: Array) -> Array:
    """Least value between each pair of samples, of the cubic through values and slopes."""
    step = np.diff(shares)
    low, high = values[:, :-1], values[:, 1:]
    first, last = slopes[:, :-1] * step, slopes[:, 1:] * step
    falls_and_rises = (first < 0) & (last > 0)
    cubic = 2 * (low - high) + first + last
    square = 3 * (high - low) - 2 * first - last
    with np.errstate(all="ignore"):
        root = np.sqrt(np.maximum(square * square - 3 * cubic * first, 0.0))
        place = np.where(square > 0, -first / (square + root), (root - square) / (3 * cubic))
    place = np.clip(np.nan_to_num(place, nan=0.5), 0.0, 1.0)
    least = low + place * (first + place * (square + place * cubic))
    return np.where(falls_and_rises, least, np.inf)


def _crossing(one: Course, start: Array, bracket: Array, row: Array) -> float:
    """Share of the interval at which ``row`` is zero, between two samples; ``start`` is at the first."""
    from scipy.optimize import brentq, minimize_scalar  # only a search from nothing needs them

    length = float(one.length[0])

    def value(share: float) -> float:
        growth = course(one.rate, np.array([(share - bracket[0]) * length])).growth[0]
        return float(row @ (start + growth @ start))

    low, high = float(bracket[0]), float(bracket[1])
    if value(low) <= 0:
        return low
    if value(high) > 0:  # it dips below zero in between
        high = float(
            minimize_scalar(
                value, bounds=(low, high), method="bounded", options={"xatol": 1e-6 * (high - low)}
            ).x
        )
        if value(high) > 0:
            return high
    return float(brentq(value, low, high, xtol=1e-15, rtol=8.9e-16))
