"""The way of a circuit through sections between steps, each followed to its end or until it has settled."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.computing_time import OutOfTime, limited
from voltsec.circuit.fault import CircuitError, Fault, NoSteadyState
from voltsec.practice.response import response
from voltsec.practice.start_state import start_state
from voltsec.practice.startup_result import Largest, Section, Startup
from voltsec.practice.step import Step
from voltsec.practice.traces_wanted import TraceNames, WantedTrace
from voltsec.results.measures import Average, Peak, Terms
from voltsec.results.table import inductances
from voltsec.waveforms.exact import exact_state
from voltsec.waveforms.linear import Array
from voltsec.waveforms.march import Switching, switching_at
from voltsec.waveforms.measures import Measures
from voltsec.waveforms.network import NotDetermined, PeriodNetwork
from voltsec.waveforms.periodic import Periodic
from voltsec.waveforms.periods import Extreme, Periods
from voltsec.waveforms.piece import one_period
from voltsec.waveforms.return_rate import ReturnRate, return_rate
from voltsec.waveforms.state import state_from, state_values
from voltsec.waveforms.trajectory import Trajectory
from voltsec.waveforms.transient import transient

USUAL = 5000
"""Periods that are followed at most where no number is given, ..."""
LEAST = 20
"""... and at least."""
NEAR = 5e-3
"""Without a number the end is one swing after the state is within this share of the periodic one."""
NEAREST = 1e-3
"""An output whose state is as near as this has settled, however short it has been so."""
PATIENCE = 60.0
"""Seconds of computing time for a section: most take hundredths, some stages turn diodes dozens of times a
period."""
TURNS = 6
"""Swings that are shown of a stage that never settles."""
REPEATS = 1e-8
"""A period that ends as near to its beginning as this repeats."""
DYING = 7.0
"""Time constants after which what dies away is below a thousandth."""
MOVED = 1e-9
"""A voltage or current that jumps by less than this share of the largest did not."""


class Way:
    """Sections one after another."""

    def __init__(
        self, circuit: Circuit, wanted: tuple[WantedTrace, ...], begin: str, values: dict[str, float] | None
    ) -> None:
        self.circuit = circuit
        self.wanted = wanted
        self.begin = begin
        self.values = values
        names = TraceNames(circuit)
        self.sources = drawn_currents(circuit)
        self.coils = [names.of_part("i", name) for name in inductances(circuit)]
        blocking = [names.of_part("v", device.name) for device in circuit.devices]
        self.voltages = blocking + [
            WantedTrace(f"v({c.name})", ((("V", c.name), 1),), "V", c.name) for c in circuit.capacitors
        ]
        self.sections: list[Section] = []
        self.state: Array | None = None
        """Where the next section begins: currents and voltages, SI."""
        self.guess: frozenset[str] = frozenset()
        self.before: float | None = None
        """Output of the periodic state that a step leaves."""
        self.moved: dict[str, tuple[float, float]] = {}
        self.stopped = ""
        """Why the way could not be followed to its end."""

    def follow(self, steps: tuple[Step, ...], point: Mapping[str, float], length: int | None) -> None:
        """One section of ``length`` periods; None: until it has settled."""
        network = PeriodNetwork(self.circuit, point)
        switching = switching_at(self.circuit, point)
        steady = exact_state(self.circuit, point)
        if self.state is None:
            self._start(network, steady, steps)
        assert self.state is not None
        output = self.wanted[0].terms
        rate = None if steady is None else return_rate(steady, switching)
        final = _mean(steady, output)
        time = self.sections[-1].periods.end if self.sections else 0.0
        start = state_from(network, self.state)
        goal = steady if final is not None else None
        runs = self._runs(network, switching, start, length, goal, rate)
        if final is None:  # which of many states it comes to, or a hard one, the way may tell
            steady = _repeating(_last(runs)) or steady
            final = _mean(steady, output)
            rate = None if steady is None else return_rate(steady, switching)
        periods = Periods(network, runs, time)
        if not self.sections:
            self._note_jumps(network, runs[0])
        everything = (*self.wanted, *self.sources, *self.coils, *self.voltages)
        series = periods.series({trace.text: trace.terms for trace in everything})
        near = steady is not None and _settles_in(_last(runs), steady, NEAREST) is not None
        means = series[self.wanted[0].text].mean
        answer = response(means, periods.times, final, self.before, rate, near)
        self.sections.append(Section(steps, point, periods, series, steady, answer))
        self.state = state_values(network, periods.states[-1])
        self.guess = runs[-1].sequence.intervals[-1].conducting
        self.before = final

    def _start(self, network: PeriodNetwork, steady: Periodic | None, steps: tuple[Step, ...]) -> None:
        if self.values is not None:
            self.state = state_values(network, start_state(network, self.values))
            return
        if steps:  # the steady state is the one before the first step
            old = dict(network.point) | {step.symbol: np.array([step.before]) for step in reversed(steps)}
            point = {name: float(value[0]) for name, value in old.items()}
            steady = exact_state(self.circuit, point)
            network = PeriodNetwork(self.circuit, point)
        if steady is None:
            fault = Fault(
                "no-steady-state",
                "no state was found that repeats from period to period, to begin with",
                hint="give another beginning, as --from rest, and steps an instant",
            )
            raise NoSteadyState((fault,), self.circuit.file, self.circuit.text)
        trajectory = steady.trajectory
        self.state = state_values(network, trajectory.start[0])
        self.guess = trajectory.sequence.intervals[-1].conducting
        self.before = _mean(steady, self.wanted[0].terms) if steps else None

    def _runs(
        self,
        network: PeriodNetwork,
        switching: Switching,
        start: Array,
        length: int | None,
        steady: Periodic | None,
        rate: ReturnRate | None,
    ) -> list[Trajectory]:
        most, stop = (USUAL, steady) if length is None else (length, None)
        if length is None and rate is not None and rate.undamped:
            turn = rate.turn if np.isfinite(rate.turn) else 0.0
            wanted = TURNS * turn + DYING * rate.rest_periods
            most, stop = int(np.clip(wanted, 10 * LEAST, USUAL)), None
        swing = int(np.clip(np.nan_to_num(rate.turn if rate else 0.0, posinf=0.0), LEAST, USUAL))
        runs: list[Trajectory] = []
        count = 0
        try:
            with limited(PATIENCE):
                for run in transient(network, switching, start, most, self.guess):
                    near = None if stop is None else _settles_in(run, stop, NEAR)
                    if near is not None:
                        most, stop = min(most, count + near + swing), None
                    runs.append(_cut(run, most - count))
                    count += len(runs[-1].start)
                    if count == most:
                        break
        except (NotDetermined, OutOfTime) as problem:
            self.stopped = str(problem) or f"{PATIENCE:g} seconds of computing time are over"
        if not runs:
            time = self.sections[-1].periods.end if self.sections else 0.0
            fault = Fault(
                "not-determined",
                f"the way could not be followed beyond {time:.6g} s: {self.stopped}",
                hint="a shorted source or a coil without a path may be why, which voltsec solve tells; small "
                "resistances of switches, diodes and capacitors settle what ideal ones leave open",
            )
            raise CircuitError((fault,), self.circuit.file, self.circuit.text)
        return runs

    def _note_jumps(self, network: PeriodNetwork, first: Trajectory) -> None:
        """What moves at the very first instant."""
        total = np.zeros(network.count)
        for k, (_, _, jump) in enumerate(first.ends):
            if k not in first.instants:
                break
            total = total + jump[0]
        before, after = (state_values(network, first.start[0] + part) for part in (0 * total, total))
        names = [(flux.coil.name, "i") for flux in network.fluxes]
        names += [(capacitor.name, "v") for capacitor in self.circuit.capacitors]
        for (name, letter), old, new, unit in zip(names, before, after, network.units[0], strict=False):
            if abs(new - old) > MOVED * max(unit, abs(old), abs(new)):
                self.moved[f"{letter}({name})"] = (float(old), float(new))

    def result(self) -> Startup:
        """All sections."""
        return Startup(
            self.circuit,
            self.begin,
            self.wanted,
            tuple(self.sections),
            self.moved,
            tuple(self._largest(one) for one in self.sources),
            tuple(self._largest(one) for one in self.coils),
            tuple(self._largest(one) for one in self.voltages),
            self.stopped,
        )

    def _largest(self, trace: WantedTrace) -> Largest:
        best: tuple[float, Section, int, float] | None = None
        jumped = 0.0
        for section in self.sections:
            one = section.series[trace.text]
            jumped = max(jumped, float(one.jumped.max()))
            for values, sign in ((one.high, 1.0), (one.low, -1.0)):
                if np.isnan(values).all():
                    continue
                place = int(np.nanargmax(sign * values))
                if best is None or sign * values[place] > best[0]:
                    best = (float(sign * values[place]), section, place, sign)
        steady = None
        last = self.sections[-1].steady
        if last is not None:
            with np.errstate(all="ignore"):
                steady = _number(Measures(last).value(Peak(trace.terms)))
        if best is None:
            return Largest(trace.text, trace.part, float("nan"), float("nan"), steady, jumped)
        value, section, place, sign = best
        found: Extreme = section.periods.instant(place, trace.terms, sign)
        if not np.isfinite(found.value) or abs(found.value) < abs(value):  # open: the most there may be
            found = replace(found, value=sign * value)
        return Largest(trace.text, trace.part, found.value, found.time, steady, jumped)


def _settles_in(run: Trajectory, steady: Periodic, share: float) -> int | None:
    """Periods of ``run`` after which the state is within ``share`` of the periodic one; None for never."""
    goal, open_ = steady.trajectory.start[0], steady.open_[0]
    missing = np.concatenate([run.start[1:], run.end[-1:]]) - goal
    missing = missing - missing @ open_.T @ open_
    near = np.linalg.norm(missing, axis=1) <= share * max(float(np.linalg.norm(goal)), 1e-12)
    return int(np.argmax(near)) + 1 if near.any() else None


def _mean(steady: Periodic | None, terms: Terms) -> float | None:
    """Average in a periodic state; None where there is none, or ideal parts leave it open."""
    return None if steady is None else _number(Measures(steady).value(Average(terms)))


def _repeating(period: Trajectory) -> Periodic | None:
    """A period that was followed as a periodic state, where it ends as it began; else None."""
    start = period.start[0]
    if np.linalg.norm(period.end[0] - start) > REPEATS * max(float(np.linalg.norm(start)), 1e-12):
        return None
    n = len(start)
    return Periodic(period, np.ones(1, bool), np.zeros((1, n, n)))


def _last(runs: list[Trajectory]) -> Trajectory:
    return one_period(runs[-1], len(runs[-1].start) - 1)


def _cut(run: Trajectory, count: int) -> Trajectory:
    """The first ``count`` periods."""
    if count >= len(run.start):
        return run
    return replace(run, fractions=run.fractions[:count], start=run.start[:count])


def _number(value: Array) -> float | None:
    number = float(value[0])
    return number if np.isfinite(number) else None


def drawn_currents(circuit: Circuit) -> list[WantedTrace]:
    """Currents drawn from the sources."""
    return [WantedTrace(f"-i({s.name})", ((("i", s.name), -1),), "A", s.name) for s in circuit.sources]
