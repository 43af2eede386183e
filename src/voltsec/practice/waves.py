"""Waveforms of the exact steady state: chosen voltages and currents over one or more periods.

>>> import voltsec
>>> waves = voltsec.solve(voltsec.load("boost")).waves("i(L), v(out)", D=0.5)
>>> waves.names, waves["i(L)"].unit
(('i(L)', 'v(out)'), 'A')
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import isnan
from typing import Any

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.fault import Fault, NoSteadyState
from voltsec.circuit.graph import references
from voltsec.practice.asked import BadValues
from voltsec.practice.exact_numbers import ExactNumbers
from voltsec.practice.solve import NO_NUMBERS
from voltsec.practice.stated_point import stated_point
from voltsec.practice.traces_wanted import WantedTrace, default_traces, read_traces
from voltsec.results.measures import Average, RootMeanSquare, Swing, Terms
from voltsec.results.solution import Numbers, Solution
from voltsec.results.table import results_of, voltage
from voltsec.waveforms.measures import Measures
from voltsec.waveforms.traces import Impulse, PeriodTraces

Array = np.ndarray

MOST_PERIODS = 100
MEASURES = ("average", "rms", "peak_to_peak")
"""Measures that small-ripple formulas may have as well."""


@dataclass(frozen=True)
class Trace:
    """One voltage or current over time, SI units; arrays have the samples of :attr:`Waves.time`, (n,)."""

    name: str
    """As it was asked for: ``v(out)``."""
    unit: str
    """``V`` or ``A``."""
    part: str
    """The element it belongs to, a winding (``T.1``) or a magnetizing inductance; else empty."""
    values: Array
    """nan where ideal parts leave the value open."""
    low: Array
    """The least that any shares of ideal parts allow; the value where it is fixed, nan without a bound."""
    high: Array
    """The most."""
    impulses: tuple[Impulse, ...]
    """Charges (of a voltage: fluxes) that pass in no time, over all periods."""
    average: float | None
    """Mean over the period, charge that jumps included; None where it is open."""
    rms: float | None
    """Infinite where charge jumps."""
    peak_to_peak: float | None
    """Infinite where charge jumps."""
    least: float | None
    """Lowest value; where a share is open the lowest there may be."""
    largest: float | None
    """Highest value."""
    rms_is_bound: bool
    """The rms value is the most that any shares allow."""
    formulas: Mapping[str, float]
    """What the small-ripple formulas give for those of :data:`MEASURES` they have."""

    @property
    def open(self) -> bool:
        """True where ideal parts leave it open in some interval."""
        return bool(np.isnan(self.values).any())


@dataclass(frozen=True)
class Waves:
    """One or more periods of the exact steady state.

    An instant between two intervals is there twice, before and after, so that steps are steps.
    """

    circuit: Circuit
    numbers: Numbers
    """Everything else that is measured at the point."""
    periods: int
    time: Array
    """(n,), second; a period begins at 0."""
    interval: Array
    """(n,): each sample's place in :attr:`intervals`."""
    intervals: tuple[tuple[float, float, tuple[str, ...]], ...]
    """Start and end (second) and the devices that conduct, netlist order, of all periods."""
    traces: tuple[Trace, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the traces, in order."""
        return tuple(trace.name for trace in self.traces)

    @property
    def point(self) -> Mapping[str, float]:
        """Every symbol's value, SI units."""
        return self.numbers.point

    @property
    def mode(self) -> str:
        """The mode whose formulas hold at the point; empty where none does."""
        return self.numbers.mode

    @property
    def period(self) -> float:
        """Second."""
        return self.point["T"]

    def __getitem__(self, name: str) -> Trace:
        """The trace of that name; KeyError where there is none."""
        for trace in self.traces:
            if trace.name == name:
                return trace
        raise KeyError(name)

    def __repr__(self) -> str:
        names = ", ".join(trace.name for trace in self.traces)
        return f"<{self.periods} period{'s' * (self.periods > 1)} of {self.circuit.name}: {names}>"

    def _repr_html_(self) -> str:
        from voltsec.report.waves_figure import notebook_figure  # only a notebook asks for it

        return notebook_figure(self)


def waves(
    solution: Solution,
    show: str | Iterable[str] | None = None,
    periods: int = 1,
    values: Mapping[str, float] | None = None,
) -> Waves:
    """The exact steady state of ``solution`` at its operating point, changed by ``values`` (SI units).

    ``show`` lists traces as in :mod:`voltsec.practice.traces_wanted`; without it the coil currents, currents
    and voltages of switches and diodes and the output voltage are shown.  Raises :class:`CircuitError` for
    traces that do not exist and values that are missing, :class:`BadValues` for values and ``periods`` that
    make no sense, :class:`NoSteadyState` where no state is found that repeats.
    """
    circuit = solution.circuit
    wanted = default_traces(circuit) if show is None else read_traces(show, circuit)
    check_periods(periods)
    point = stated_point(circuit, values or {})
    evaluate = solution.evaluate
    numbers = None if evaluate is None else evaluate(point)
    # where there are no numbers a second search would take as long and find as little
    state = evaluate.state(point) if numbers is not None and isinstance(evaluate, ExactNumbers) else None
    if numbers is None or state is None:
        raise NoSteadyState((Fault("no-steady-state", NO_NUMBERS),), circuit.file, circuit.text)
    courses, measures = PeriodTraces(state), Measures(state)
    formulas = _Formulas(circuit, numbers.formulas)
    traces = tuple(_trace(one, courses, measures, formulas, periods) for one in wanted)
    shifts = np.arange(periods) * courses.period
    count = len(courses.intervals)
    order = [device.name for device in circuit.devices]
    return Waves(
        circuit,
        numbers,
        periods,
        (shifts[:, None] + courses.time).ravel(),
        (np.arange(periods)[:, None] * count + courses.interval).ravel(),
        tuple(
            (start + float(shift), end + float(shift), tuple(name for name in order if name in conducting))
            for shift in shifts
            for start, end, conducting in courses.intervals
        ),
        traces,
    )


def check_periods(periods: int) -> None:
    """Raise :class:`BadValues` for a number of periods that cannot be shown."""
    if not 1 <= periods <= MOST_PERIODS:
        raise BadValues(
            f"periods: {periods} cannot be shown, 1 to {MOST_PERIODS} can; in the steady state "
            "every period is like the first"
        )


def _trace(
    wanted: WantedTrace, courses: PeriodTraces, measures: Measures, formulas: _Formulas, periods: int
) -> Trace:
    terms = wanted.terms
    with np.errstate(all="ignore"):
        found = courses.points(terms)
        low, high = (_number(bound) for bound in measures.extent(terms))
        average = _number(measures.value(Average(terms)))
        rms = _number(measures.value(RootMeanSquare(terms)))
        swing = _number(measures.value(Swing(terms)))
        bound = bool(measures.is_bound(RootMeanSquare(terms))[0])
    impulses = tuple(
        Impulse(one.time + number * courses.period, one.amount)
        for number in range(periods)
        for one in found.impulses
    )
    values, least, most = (np.tile(part, periods) for part in (found.values, found.low, found.high))
    return Trace(
        wanted.text,
        wanted.unit,
        wanted.part,
        values,
        least,
        most,
        impulses,
        average,
        rms,
        swing,
        low,
        high,
        bound,
        formulas.of(terms),
    )


def _number(value: Array) -> float | None:
    number = float(value[0])
    return None if isnan(number) else number


class _Formulas:
    """Values that the small-ripple formulas give at the point, by quantity and measure."""

    def __init__(self, circuit: Circuit, numbers: Numbers | None) -> None:
        self.references = frozenset(references(circuit))
        self.across = {
            ("V", capacitor.name): voltage(capacitor.start, capacitor.end)
            for capacitor in circuit.capacitors
            if capacitor.resistance is None
        }
        self.found: dict[tuple[str, frozenset[Any]], float] = {}
        kinds = {Average: "average", RootMeanSquare: "rms", Swing: "peak_to_peak"}
        told = {} if numbers is None else numbers.results
        for name, result in results_of(circuit).items():
            measure, value = result.measure, told.get(name)
            if isinstance(measure, Average | RootMeanSquare | Swing) and value is not None:
                self.found.setdefault((kinds[type(measure)], self._key(measure.terms)), value)

    def of(self, terms: Terms) -> dict[str, float]:
        """Measure -> value, for those of :data:`MEASURES` that the formulas have."""
        key = self._key(terms)
        reverse = frozenset((unknown, -sign) for unknown, sign in key)
        found = {}
        for kind in MEASURES:
            if (kind, key) in self.found:
                found[kind] = self.found[kind, key]
            elif (kind, reverse) in self.found:
                value = self.found[kind, reverse]
                found[kind] = -value if kind == "average" else value
        return found

    def _key(self, terms: Terms) -> frozenset[Any]:
        """The quantity, however it is written."""
        total: dict[tuple[Any, ...], int] = {}
        for unknown, sign in terms:
            for inner, factor in self.across.get(unknown, ((unknown, 1),)):
                if not (inner[0] == "v" and inner[1] in self.references):
                    total[inner] = total.get(inner, 0) + sign * factor
        return frozenset((unknown, sign) for unknown, sign in total.items() if sign)
