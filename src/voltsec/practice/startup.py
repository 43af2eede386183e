"""Start-up and steps: a stage followed exactly from a state, period by period, until it has settled.

>>> import voltsec
>>> start = voltsec.solve(voltsec.load("buck")).startup(periods=300)
>>> round(start.responses[-1].final, 3), round(1e6 * start.responses[-1].settled)
(3.0, 620)
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.fault import CircuitError, Fault, NoSteadyState
from voltsec.practice.axes import read_value
from voltsec.practice.response import Response, response
from voltsec.practice.start_state import read_state, start_state
from voltsec.practice.stated_point import stated_point
from voltsec.practice.step import Step, read_steps
from voltsec.practice.sweep import BadSweep
from voltsec.practice.traces_wanted import TraceNames, WantedTrace, read_traces
from voltsec.results.table import Average, Peak, inductances, results_of
from voltsec.waveforms.exact import exact_state
from voltsec.waveforms.ledger import Ledger, LedgerBook
from voltsec.waveforms.linear import Array
from voltsec.waveforms.march import Switching
from voltsec.waveforms.measures import Measures
from voltsec.waveforms.network import NotDetermined, PeriodNetwork
from voltsec.waveforms.periodic import Periodic
from voltsec.waveforms.periods import Extreme, Periods, Series
from voltsec.waveforms.piece import one_period
from voltsec.waveforms.return_rate import ReturnRate, return_rate
from voltsec.waveforms.state import state_from, state_values
from voltsec.waveforms.switching_at import switching_at
from voltsec.waveforms.trajectory import Trajectory
from voltsec.waveforms.transient import transient

MOST_PERIODS = 100_000
"""Periods that may be asked for."""
USUAL = 5000
"""Periods that are followed at most where no number is given, ..."""
LEAST = 20
"""... and at least."""
NEAR = 5e-3
"""Without a number the end is one swing after the state is within this share of the periodic one."""
NEAREST = 1e-3
"""An output whose state is as near as this has settled, however short it has been so."""
TURNS = 6
"""Swings that are shown of a stage that never settles."""
DYING = 7.0
"""Time constants after which what dies away is below a thousandth."""
MOVED = 1e-9
"""A voltage or current that jumps by less than this share of the largest did not."""


@dataclass(frozen=True)
class Section:
    """What happens between two steps."""

    steps: tuple[Step, ...]
    """What changed at its beginning; none at the start."""
    point: Mapping[str, float]
    """Every symbol's value, SI units."""
    periods: Periods
    series: Mapping[str, Series]
    """Traces by name, see :attr:`Startup.traces`."""
    steady: Periodic | None
    """The exact periodic state it tends to; None where none was found."""
    response: Response


@dataclass(frozen=True)
class Largest:
    """The largest size of one voltage or current on the way."""

    name: str
    part: str
    value: float
    """With its sign."""
    time: float
    """Second."""
    steady: float | None
    """Largest size in the periodic state at the end; None where it is not known."""
    jumped: float
    """Charge (of a voltage: flux) that passed in no time in one period at most: then nothing bounds it."""


@dataclass(frozen=True)
class Startup:
    """A start, or steps, followed exactly; times in second from the beginning, SI units throughout."""

    circuit: Circuit
    start: str
    """``rest``, ``steady``, or the state as it was written."""
    traces: tuple[WantedTrace, ...]
    """What is shown; the output voltage comes first."""
    sections: tuple[Section, ...]
    """Parts of the time between steps."""
    moved: Mapping[str, tuple[float, float]]
    """Voltages and currents, by part, that jump at the very beginning because the state contradicts itself:
    before and after."""
    sources: tuple[Largest, ...]
    """Largest current drawn from each source."""
    coils: tuple[Largest, ...]
    """Largest current of each coil."""
    voltages: tuple[Largest, ...]
    """Largest voltage across each switch, diode and capacitor."""

    @property
    def responses(self) -> tuple[Response, ...]:
        """How the output comes to rest, section by section."""
        return tuple(section.response for section in self.sections)

    @property
    def end(self) -> float:
        """The last instant, second."""
        return self.sections[-1].periods.end

    @cached_property
    def time(self) -> Array:
        """(N + 1,): when each of the N periods begins, and the last ends."""
        parts = [section.periods.times[:-1] for section in self.sections]
        return np.concatenate([*parts, [self.end]])

    def __getitem__(self, name: str) -> Series:
        """Mean, lowest and highest value in each of the N periods of one of :attr:`traces`, (N,) each."""
        if name not in {trace.text for trace in self.traces}:
            raise KeyError(name)
        parts = [section.series[name] for section in self.sections]
        return Series(
            *(np.concatenate([getattr(p, f) for p in parts]) for f in ("mean", "low", "high", "jumped"))
        )

    def ledger(self, begin: float = 0.0, end: float | None = None) -> Ledger:
        """Where the energy went between two instants (second); all of the time without them."""
        book = LedgerBook()
        for section in self.sections:
            book.add(section.periods.between(begin, self.end if end is None else end))
        return book.ledger

    def samples(self) -> tuple[Array, dict[str, Array]]:
        """The traces' courses themselves: instants (s,), and values (s,) there.

        Where something steps, an instant is there twice.
        """
        times: list[Array] = []
        values: dict[str, list[Array]] = {trace.text: [] for trace in self.traces}
        for section in self.sections:
            for when, found in section.periods.courses({t.text: t.terms for t in self.traces}):
                times.append(when)
                for name, value in found.items():
                    values[name].append(value)
        return np.concatenate(times), {name: np.concatenate(parts) for name, parts in values.items()}

    @property
    def steady_efficiency(self) -> float | None:
        """Efficiency of the periodic state at the end; None where it is not known."""
        steady = self.sections[-1].steady
        if steady is None:
            return None
        with np.errstate(all="ignore"):
            value = float(Measures(steady).value(results_of(self.circuit)["efficiency"].measure)[0])
        return value if np.isfinite(value) else None


def startup(
    circuit: Circuit,
    periods: int | None = None,
    start: str | None = None,
    steps: Iterable[str] = (),
    show: str | Iterable[str] | None = None,
    values: Mapping[str, float] | None = None,
) -> Startup:
    """Follow ``circuit`` at its operating point, changed by ``values`` (SI units), from a state.

    ``periods`` is how many; without it they end where the stage has settled, or after 5000.  ``start`` is
    ``rest`` (the default, ``steady`` where there are ``steps``), ``steady``, or values such as
    ``v(Co)=5, i(L1)=2``.  ``steps`` are texts such as ``R: 10 ohm -> 5 ohm at 2 ms``
    (:mod:`voltsec.practice.step`), each at the beginning of the first period that begins then or later.
    ``show`` lists traces besides the output voltage; without it they are the coil currents.

    Raises :class:`BadSweep` for what makes no sense, :class:`CircuitError` for a circuit that cannot work,
    has no operating point, or where it could not be found which devices conduct, and :class:`NoSteadyState`
    where a steady state was asked for that was not found.
    """
    circuit.check()
    point = stated_point(circuit, values or {})
    if periods is not None and not 1 <= periods <= MOST_PERIODS:
        raise BadSweep(f"{periods} periods cannot be followed; 1 to {MOST_PERIODS:,} can")
    listed = read_steps(steps, circuit, point)
    begin = start or ("steady" if listed else "rest")
    state = read_state(begin, circuit)
    if state is not None and any(step.time is None for step in listed):
        raise BadSweep('a step that does not come from the steady state needs its instant, as in "at 2 ms"')
    wanted = _wanted(circuit, show)
    walk = _Walk(circuit, wanted, begin, state)
    for steps_now, length in _plan(listed, point, periods):
        for step in steps_now:
            point = stated_point(circuit, point | {step.symbol: step.after})
        walk.follow(steps_now, point, length)
    return walk.result()


def _plan(
    steps: tuple[Step, ...], point: Mapping[str, float], periods: int | None
) -> Iterator[tuple[tuple[Step, ...], int | None]]:
    """Steps that come together, and the periods until the next; the last may be open."""
    instants = sorted({step.time or 0.0 for step in steps})
    left, now, seconds = periods, 0.0, point["T"]
    own: tuple[Step, ...] = ()
    for instant in instants:
        count = int(np.ceil((instant - now) / seconds - 1e-9))
        if left is not None and count >= left:
            raise BadSweep(f"--step: the window of {periods} periods ends before the step at {instant:g} s")
        if count > MOST_PERIODS:
            raise BadSweep(f"--step: the step at {instant:g} s comes after more than {MOST_PERIODS:,} periods")
        coming = tuple(step for step in steps if (step.time or 0.0) == instant)
        if count > 0:
            yield own, count
            own = coming
            now += count * seconds
            left = None if left is None else left - count
        else:
            own += coming
        seconds = next((step.after for step in own if step.symbol == "T"), seconds)
    yield own, left


def _wanted(circuit: Circuit, show: str | Iterable[str] | None) -> tuple[WantedTrace, ...]:
    names = TraceNames(circuit)
    output = names.output()
    if show is not None:
        asked = read_traces(show, circuit)
        return (output, *(trace for trace in asked if trace.text != output.text))
    coils = [names.of_part("i", name) for name in inductances(circuit)]
    return (output, *coils)


def _drawn(circuit: Circuit) -> list[WantedTrace]:
    """Currents drawn from the sources."""
    return [WantedTrace(f"-i({s.name})", ((("i", s.name), -1),), "A", s.name) for s in circuit.sources]


def read_window(text: str) -> tuple[float, float]:
    """``0:2 ms`` -> two instants in second; a bare number has the other one's unit.

    Raises :class:`BadSweep`.
    """
    first, colon, last = (part.strip() for part in text.partition(":"))
    if not (first and colon and last):
        raise BadSweep(f"--window takes two instants, as in 0:2 ms, not {text!r}")
    unit = last.lstrip("+-.0123456789 ")
    if unit and not first.lstrip("+-.0123456789 "):
        first = f"{first} {unit}"
    begin, end = (read_value("--window", part, "s") for part in (first, last))
    if begin < 0 or not begin < end:
        raise BadSweep(f"--window: {text} does not run forward from the start, which is at 0")
    return begin, end


class _Walk:
    """Sections one after another."""

    def __init__(
        self, circuit: Circuit, wanted: tuple[WantedTrace, ...], begin: str, values: dict[str, float] | None
    ) -> None:
        self.circuit = circuit
        self.wanted = wanted
        self.begin = begin
        self.values = values
        names = TraceNames(circuit)
        self.sources = _drawn(circuit)
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

    def follow(self, steps: tuple[Step, ...], point: Mapping[str, float], length: int | None) -> None:
        """One section of ``length`` periods; None: until it has settled."""
        network = PeriodNetwork(self.circuit, point)
        switching = switching_at(self.circuit, point)
        steady = exact_state(self.circuit, point)
        if self.state is None:
            self._start(network, steady, steps)
        assert self.state is not None
        rate = None if steady is None else return_rate(steady, switching)
        time = self.sections[-1].periods.end if self.sections else 0.0
        start = state_from(network, self.state)
        runs = self._runs(network, switching, start, length, steady, rate)
        periods = Periods(network, runs, time)
        if not self.sections:
            self._note_jumps(network, runs[0])
        everything = (*self.wanted, *self.sources, *self.coils, *self.voltages)
        series = periods.series({trace.text: trace.terms for trace in everything})
        output = self.wanted[0]
        final = None if steady is None else _number(Measures(steady).value(Average(output.terms)))
        near = steady is not None and _settles_in(_last(runs), steady, NEAREST) is not None
        answer = response(series[output.text].mean, periods.times, final, self.before, rate, near)
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
        self.before = _number(Measures(steady).value(Average(self.wanted[0].terms))) if steps else None

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
            for run in transient(network, switching, start, most, self.guess):
                near = None if stop is None else _settles_in(run, stop, NEAR)
                if near is not None:
                    most, stop = min(most, count + near + swing), None
                runs.append(_cut(run, most - count))
                count += len(runs[-1].start)
                if count == most:
                    break
        except NotDetermined as problem:
            time = (self.sections[-1].periods.end if self.sections else 0.0) + count * network.point["T"][0]
            fault = Fault(
                "not-determined",
                f"the way could not be followed beyond {time:.6g} s: {problem}",
                hint="small resistances of switches, diodes and capacitors settle what ideal ones leave open",
            )
            raise CircuitError((fault,), self.circuit.file, self.circuit.text) from None
        return runs

    def _note_jumps(self, network: PeriodNetwork, first: Trajectory) -> None:
        """What moves at the very first instant."""
        total = np.zeros(network.count)
        for k, (_, _, jump) in enumerate(first.ends):
            if k not in first.instants:
                break
            total = total + jump[0]
        before, after = (state_values(network, first.start[0] + part) for part in (0 * total, total))
        names = [(f.coil.name, "i") for f in network.fluxes] + [(c.name, "v") for c in self.circuit.capacitors]
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
