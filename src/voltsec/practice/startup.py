"""Start-up and steps: a stage followed exactly from a state, period by period, until it has settled.

>>> import voltsec
>>> start = voltsec.solve(voltsec.load("buck")).startup(periods=600)
>>> round(start.responses[-1].final, 3), round(1e6 * start.responses[-1].settled)
(5.004, 1580)
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.practice.asked import BadValues
from voltsec.practice.axes import read_value
from voltsec.practice.start_state import read_state
from voltsec.practice.startup_result import Startup
from voltsec.practice.stated_point import stated_point
from voltsec.practice.step import Step, read_steps
from voltsec.practice.traces_wanted import TraceNames, WantedTrace, read_traces
from voltsec.practice.way import Way
from voltsec.results.table import inductances

MOST_PERIODS = 100_000
"""Periods that may be asked for."""


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

    Raises :class:`BadValues` for what makes no sense, :class:`CircuitError` for a circuit that cannot work,
    has no operating point, or where it could not be found which devices conduct, and :class:`NoSteadyState`
    where a steady state was asked for that was not found.
    """
    circuit.check()
    point = stated_point(circuit, values or {})
    if periods is not None and not 1 <= periods <= MOST_PERIODS:
        raise BadValues(f"{periods} periods cannot be followed; 1 to {MOST_PERIODS:,} can")
    listed = read_steps(steps, circuit, point)
    begin = start or ("steady" if listed else "rest")
    state = read_state(begin, circuit)
    if state is not None and any(step.time is None for step in listed):
        raise BadValues('a step that does not come from the steady state needs its instant, as in "at 2 ms"')
    wanted = _wanted(circuit, show)
    walk = Way(circuit, wanted, begin, state)
    for steps_now, length in _plan(listed, point, periods):
        for step in steps_now:
            point = stated_point(circuit, point | {step.symbol: step.after})
        walk.follow(steps_now, point, length)
        if walk.stopped:
            break
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
            raise BadValues(f"--step: the window of {periods} periods ends before the step at {instant:g} s")
        if count > MOST_PERIODS:
            raise BadValues(f"--step: the step at {instant:g} s comes after {MOST_PERIODS:,} periods")
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


def read_window(text: str) -> tuple[float, float]:
    """``0:2 ms`` -> two instants in second; a bare number has the other one's unit.

    Raises :class:`BadValues`.
    """
    first, colon, last = (part.strip() for part in text.partition(":"))
    if not (first and colon and last):
        raise BadValues(f"--window takes two instants, as in 0:2 ms, not {text!r}")
    unit = last.lstrip("+-.0123456789 ")
    if unit and not first.lstrip("+-.0123456789 "):
        first = f"{first} {unit}"
    begin, end = (read_value("--window", part, "s") for part in (first, last))
    if begin < 0 or not begin < end:
        raise BadValues(f"--window: {text} does not run forward from the start, which is at 0")
    return begin, end
