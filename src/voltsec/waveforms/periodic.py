"""The exact periodic state of a circuit for a given sequence of conducting devices.

No ripple is neglected: capacitors and coils are the real ones, every interval is an exact exponential
of its linear network (:mod:`voltsec.waveforms.network`), and the state that repeats after a period is
one linear solve.  Instants at which diodes turn on or off by themselves follow by Newton's method on
the current, or the voltage, that must be zero there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from voltsec.circuit.elements import CurrentSource, Load, Source
from voltsec.tableau.interval import Sequence
from voltsec.waveforms.linear import SAMPLES, Course, course
from voltsec.waveforms.network import Array, IntervalSystem, NotDetermined, PeriodNetwork, Reading

NEWTON_STEPS = 12
HALVINGS = 5
"""A step that leads farther away is halved so often at most."""
NUDGE = 1e-7
"""Step of the numeric derivatives by a fraction, in periods."""
CLOSE = 1e-11
"""Newton ends where fractions move by less."""
OPEN_DIRECTION = 1e-10
"""A singular value of (identity - period map) below this leaves a direction of the state open."""
VIOLATION = 1e-5
"""A sign is wrong from this share of the largest current or voltage on."""


@dataclass(frozen=True)
class Violation:
    """A diode that contradicts its state: conducts in reverse, or blocks forward voltage."""

    interval: int
    device: str
    quantity: str
    """"current" or "voltage"."""
    start: float
    """Share of the interval at which it begins, 0 to 1."""
    end: float
    """Share of the interval at which it ends."""
    charged: bool = False
    """The jump at the interval's start does send charge through it, in its own direction."""


@dataclass(frozen=True)
class PeriodicState:
    """Averages over one period of the exact periodic state, SI units; None where not determined."""

    sequence: Sequence
    instants: frozenset[int]
    """Intervals without length: all they do is to let charge jump from capacitor to capacitor."""
    fractions: tuple[float, ...]
    output_voltage: float | None
    efficiency: float | None
    capacitor_voltages: dict[str, float | None]
    inductor_currents: dict[str, float | None]
    """Coils by name, magnetizing inductances by symbol."""
    source_currents: dict[str, float | None]
    """Delivered by each source."""
    ripple: dict[str, float]
    """Peak to peak, of coil currents and capacitor voltages, at 16 samples an interval."""
    violations: tuple[Violation, ...]
    """Signs of diodes that are wrong, in order of time: then other devices conduct."""


class PeriodMap:
    """The period of one sequence; ``lengths`` are the fractions of the switch intervals.

    ``instants`` are intervals without length; the others end by themselves but for the last of each stage.
    """

    def __init__(
        self,
        network: PeriodNetwork,
        sequence: Sequence,
        lengths: list[float],
        instants: frozenset[int] = frozenset(),
    ) -> None:
        self.network = network
        self.sequence = sequence
        self.instants = instants
        self.lengths = lengths
        self.members = [
            [k for k, i in enumerate(sequence.intervals) if i.stage == stage and k not in instants]
            for stage in range(len(lengths))
        ]
        self.unknown = [k for members in self.members for k in members[:-1]]
        self.systems = [network.system(interval.conducting) for interval in sequence.intervals]
        self.known: dict[tuple[int, float], Course] = {}
        self.events = [self._event(k) for k in self.unknown]

    def device_row(self, name: str, quantity: str) -> dict[tuple | None, float]:
        """A device's current, or its voltage above its drop."""
        if quantity == "current":
            return {("i", name): 1.0}
        device = self.network.circuit.device(name)
        row = self.network.voltage(device.start, device.end)
        if device.drop is not None:
            row[None] = -self.network.point[device.drop.symbol]
        return row

    def _event(self, k: int) -> Reading:
        """What is zero at the end of interval ``k``, which ends by itself."""
        stops, starts = self.sequence.ended_by(k)
        for names, quantity in ((stops, "current"), (starts, "voltage")):
            for name in sorted(names):
                found = self.network.reading(self.systems[k], self.device_row(name, quantity))
                if found is not None and (np.any(found.states) or np.any(found.rates)):
                    return found
        raise NotDetermined("what ends an interval is not determined")

    def all_fractions(self, unknown: Array) -> Array:
        """Every fraction from those of the intervals that end by themselves."""
        found = np.zeros(len(self.systems))
        found[self.unknown] = unknown
        for members, length in zip(self.members, self.lengths, strict=True):
            if members:
                found[members[-1]] = length - sum(found[k] for k in members[:-1])
        return found

    def courses(self, fractions: Array, squares: list[Array] | None = None) -> list[Course]:
        """Transition matrices of every interval."""
        found = []
        for k, (system, fraction) in enumerate(zip(self.systems, fractions, strict=True)):
            if squares is not None:
                found.append(course(system.augmented, float(fraction), squares[k]))
                continue
            key = (k, float(fraction))
            if key not in self.known:  # a numeric derivative moves few intervals
                self.known[key] = course(system.augmented, float(fraction))
            found.append(self.known[key])
        return found

    def fixed_point(self, courses: list[Course]) -> tuple[Array, Array]:
        """The state at the period's start (before its first jump), and the directions it leaves open."""
        n = len(self.network.states)
        total = np.eye(n + 1)
        for system, one in zip(self.systems, courses, strict=True):
            into, out = entrance(system), outlet(system)
            total = out @ (into + one.growth @ into) @ total
        u, s, vt = np.linalg.svd(np.eye(n) - total[:n, :n])
        wanted = u.T @ total[:n, n]
        kept = s > OPEN_DIRECTION
        if np.abs(wanted[~kept]).max(initial=0.0) > 1e-7 * max(1.0, np.abs(wanted).max(initial=0.0)):
            raise NotDetermined("the sequence has no periodic state")
        return vt[kept].T @ (wanted[kept] / s[kept]), vt[~kept]

    def ends(self, courses: list[Course], state: Array) -> list[tuple[Array, Array]]:
        """(xi, 1) at the start and at the end of every interval."""
        found = []
        for system, one in zip(self.systems, courses, strict=True):
            start = entrance(system) @ np.append(state, 1.0)
            end = start + one.growth @ start
            state = (outlet(system) @ end)[:-1]
            found.append((start, end))
        return found

    def value(self, k: int, reading: Reading, place: Array) -> float | Array:
        """A reading at (xi, 1); columns of ``place`` are several instants."""
        system = self.systems[k]
        return self.functional(system, reading) @ place

    def functional(self, system: IntervalSystem, reading: Reading) -> Array:
        """A reading as a row over (xi, 1)."""
        moving = reading.states @ system.free.T + reading.rates @ system.free.T @ system.rate
        rest = reading.states @ system.fixed + reading.rates @ system.free.T @ system.drive
        return np.append(moving, rest + reading.constant)

    def misses(self, unknown: Array) -> Array:
        """The quantities that must be zero at the ends of the intervals that end by themselves."""
        courses = self.courses(self.all_fractions(unknown))
        state, _ = self.fixed_point(courses)
        ends = self.ends(courses, state)
        pairs = zip(self.unknown, self.events, strict=True)
        return np.array([self.value(k, event, ends[k][1]) for k, event in pairs])

    def solve_fractions(self, guess: Array) -> Array:
        """All fractions; an interval may come out shorter than nothing, which means it does not occur."""
        places = self.unknown
        unknown = np.array(guess, float)[places]
        if not places:
            return self.all_fractions(unknown)
        before = self.misses(unknown)
        for _ in range(NEWTON_STEPS):
            slopes = np.empty((len(places), len(places)))
            for column in range(len(places)):
                moved = unknown.copy()
                moved[column] += NUDGE
                slopes[:, column] = (self.misses(moved) - before) / NUDGE
            try:
                step = -np.linalg.solve(slopes, before)
            except np.linalg.LinAlgError:
                raise NotDetermined("the instants at which diodes turn are not determined") from None
            largest = np.abs(step).max()
            if not np.isfinite(largest):
                break
            factor = min(1.0, 0.1 / largest) if largest else 1.0
            size = np.abs(before).max()
            for _ in range(HALVINGS):
                after = self.misses(unknown + factor * step)
                if np.abs(after).max() <= size * (1 + 1e-9) or largest < 1e-8:
                    break
                factor /= 2
            unknown, before = unknown + factor * step, after
            if factor * largest < CLOSE:
                return self.all_fractions(unknown)
            if self.all_fractions(unknown).min() < -0.05:
                return self.all_fractions(unknown)
        raise NotDetermined("the instants at which diodes turn were not found")


def entrance(system: IntervalSystem) -> Array:
    """(x, 1) before an interval -> (xi, 1) at its start: charges and fluxes kept where they can be."""
    count, n = system.free.shape
    matrix = np.zeros((count + 1, n + 1))
    matrix[:count, :n] = system.free
    matrix[count, n] = 1.0
    return matrix


def outlet(system: IntervalSystem) -> Array:
    """(xi, 1) -> (x, 1)."""
    count, n = system.free.shape
    matrix = np.zeros((n + 1, count + 1))
    matrix[:n, :count] = system.free.T
    matrix[:n, count] = system.fixed
    matrix[n, count] = 1.0
    return matrix


def periodic_state(
    network: PeriodNetwork,
    sequence: Sequence,
    lengths: list[float],
    guess: Array | list[float],
    instants: frozenset[int] = frozenset(),
) -> PeriodicState:
    """The exact periodic state of ``sequence``.

    ``lengths`` are the fractions of the switch intervals, ``guess`` those of all intervals, which
    where an interval ends by itself is only where Newton's method begins.  Raises
    :class:`NotDetermined`.
    """
    period = PeriodMap(network, sequence, lengths, instants)
    fractions = period.solve_fractions(np.array(guess, float))
    short = [k for k, f in enumerate(fractions) if f <= 0 and k not in instants]
    if short:
        wrong = tuple(Violation(k, "", "length", 0.0, 1.0) for k in short)
        return PeriodicState(sequence, instants, tuple(fractions), None, None, {}, {}, {}, {}, wrong)
    return Averages(period, fractions).state()


class Averages:
    """What one period of the exact state comes to."""

    def __init__(self, period: PeriodMap, fractions: Array) -> None:
        self.period = period
        self.network = period.network
        self.circuit = period.network.circuit
        self.fractions = fractions
        self.loads = [self._load_readings(load.name) for load in self.circuit.of(Load)]
        self.courses = period.courses(fractions, self._squares())
        start, self.open_ = period.fixed_point(self.courses)
        self.start = start

    def _load_readings(self, name: str) -> list[Reading | None]:
        return [self.network.reading(system, {("i", name): 1.0}) for system in self.period.systems]

    def _squares(self) -> list[Array]:
        """Power into all load resistances in each interval, as a square form in (xi, 1)."""
        found = []
        for k, system in enumerate(self.period.systems):
            total = np.zeros((len(system.drive) + 1,) * 2)
            for load, readings in zip(self.circuit.of(Load), self.loads, strict=True):
                reading = readings[k]
                if reading is not None:
                    row = self.period.functional(system, reading)
                    total += self.network.point[load.quantity.symbol] * np.outer(row, row)
            found.append(total)
        return found

    def state(self) -> PeriodicState:
        """All averages, with the signs checked."""
        network, circuit = self.network, self.circuit
        return PeriodicState(
            sequence=self.period.sequence,
            instants=self.period.instants,
            fractions=tuple(float(f) for f in self.fractions),
            output_voltage=self.average(network.voltage(circuit.output.start, circuit.output.end)),
            efficiency=self._efficiency(),
            capacitor_voltages={c.name: self.average({("V", c.name): 1.0}) for c in circuit.capacitors},
            inductor_currents={c.name: self.average({("i", c.name): 1.0}) for c in network.coils},
            source_currents={s.name: self.average({("i", s.name): -1.0}) for s in circuit.sources},
            ripple=self._ripple(),
            violations=tuple(self._violations()),
        )

    def _averaged(self, row: Mapping[tuple | None, float], start: Array) -> float | None:
        """Average over the period from the state ``start``, charges of jumps included."""
        total = 0.0
        before = start
        period = self.period
        ends = period.ends(self.courses, start)
        for k, (system, one) in enumerate(zip(period.systems, self.courses, strict=True)):
            reading = self.network.reading(system, row)
            if reading is None:
                return None
            out = outlet(system)
            sums = (out @ (one.integral @ ends[k][0]))[:-1]
            after = (out @ ends[k][1])[:-1]
            total += float(reading.states @ sums + reading.rates @ (after - before))
            total += reading.constant * float(self.fractions[k])
            before = after
        return total

    def average(self, row: Mapping[tuple | None, float]) -> float | None:
        """Average over the period, SI; None where it is not determined."""
        found = self._averaged(row, self.start)
        if found is None:
            return None
        size = sum(abs(c) * self.network.unit_of(u) for u, c in row.items() if u is not None)
        for direction in self.open_:
            moved = self._averaged(row, self.start + direction)
            if moved is None or abs(moved - found) > 1e-6 * size:
                return None
        return found

    def _efficiency(self) -> float | None:
        """Power of loads and constant currents over that of the sources, as in the formulas."""
        if any(reading is None for readings in self.loads for reading in readings):
            return None
        taken = given = 0.0
        for (start, _), one in zip(self.period.ends(self.courses, self.start), self.courses, strict=True):
            assert one.squares is not None
            taken += float(start @ one.squares @ start)
        for element in self.circuit.of(Source, CurrentSource):
            if isinstance(element, Source):
                average = self.average({("i", element.name): 1.0})
            else:
                average = self.average(self.network.voltage(element.start, element.end))
            if average is None:
                return None
            power = average * self.network.point[element.quantity.symbol]
            taken += max(power, 0.0)
            given += max(-power, 0.0)
        return taken / given if given else None

    def _samples(self, k: int, start: Array) -> Array:
        """(xi, 1) at 17 instants of interval ``k``, one a column."""
        columns = [start]
        for _ in range(2**SAMPLES):
            columns.append(columns[-1] + self.courses[k].step @ columns[-1])
        return np.array(columns).T

    def _ripple(self) -> dict[str, float]:
        ends = self.period.ends(self.courses, self.start)
        states = np.concatenate(
            [
                (outlet(system) @ self._samples(k, ends[k][0]))[:-1]
                for k, system in enumerate(self.period.systems)
            ],
            axis=1,
        )
        values = self.network.of_state @ states
        found = {}
        for unknown, place in self.network.states.items():
            found[unknown[1]] = float(np.ptp(values[place])) * self.network.unit_of(unknown)
        return found

    def _violations(self) -> list[Violation]:
        """Signs that are wrong, first in time first."""
        ends = self.period.ends(self.courses, self.start)
        tracks: list[tuple[int, str, str, Array]] = []
        before = self.start
        largest = {"current": 0.0, "voltage": 0.0}
        for k, interval in enumerate(self.period.sequence.intervals):
            system = self.period.systems[k]
            samples = self._samples(k, ends[k][0])
            jump = (outlet(system) @ ends[k][0])[:-1] - before
            before = (outlet(system) @ ends[k][1])[:-1]
            for diode in self.circuit.diodes:
                conducts = diode.name in interval.conducting
                quantity = "current" if conducts else "voltage"
                reading = self.network.reading(system, self.period.device_row(diode.name, quantity))
                if reading is None:
                    continue
                values = np.asarray(self.period.value(k, reading, samples))
                if conducts:  # the charge that the jump sends through it counts as a current
                    values = np.concatenate([[reading.rates @ jump], values])
                else:
                    values = np.concatenate([[-values[0]], -values])
                largest[quantity] = max(largest[quantity], float(np.abs(values[1:]).max()))
                tracks.append((k, diode.name, quantity, values))
        found = []
        for k, name, quantity, values in tracks:
            wrong = values < -VIOLATION * largest[quantity]
            if k in self.period.instants and quantity == "current":
                wrong[1:] = False  # only the charge counts where there is no time to flow
            if wrong.any():
                first = int(np.argmax(wrong))
                right = np.flatnonzero(~wrong[first:])
                last = first + int(right[0]) if right.size else len(wrong) - 1
                count = len(values) - 2
                place = (max(first - 1, 0) / count, max(last - 1, 0) / count)
                charged = quantity == "current" and bool(values[0] > VIOLATION * largest[quantity])
                found.append(Violation(k, name, quantity, *place, charged))
        return sorted(found, key=lambda v: (v.interval, v.start))
