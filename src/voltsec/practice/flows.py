"""What flows in every interval of the exact steady state: currents and voltages, who feeds whom."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import networkx as nx
import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.fault import Fault, NoSteadyState
from voltsec.circuit.graph import graph_of
from voltsec.practice.exact_numbers import ExactNumbers
from voltsec.practice.solve import NO_NUMBERS
from voltsec.practice.stated_point import stated_point
from voltsec.practice.traces_wanted import TraceNames
from voltsec.results.solution import Solution
from voltsec.results.table import inductances
from voltsec.waveforms.exact import exact_state
from voltsec.waveforms.linear import Array
from voltsec.waveforms.traces import PeriodTraces

IDLE = 0.02
"""A part is idle whose mean power over an interval is less than this share of its largest."""


@dataclass(frozen=True)
class IntervalFlow:
    """One interval of the period."""

    start: float
    """Second, from the period's start."""
    end: float
    conducting: tuple[str, ...]
    """Switches and diodes that conduct, in netlist order."""
    currents: Mapping[str, Array]
    """Element, or winding (``T.1``) -> its current along its arrow at the interval's samples, (s,), ampere;
    nan where ideal parts leave it open."""
    voltages: Mapping[str, float]
    """Element or winding -> mean voltage along its arrow, volt; nan where it is open."""
    roles: Mapping[str, str]
    """Coil, capacitor or magnetizing inductance (by symbol) -> absorbs, supplies or idle."""
    jumps: tuple[str, ...]
    """Elements and windings through which charge passes in no time as the interval begins."""


def interval_flows(what: Circuit | Solution) -> tuple[IntervalFlow, ...]:
    """The intervals of a circuit's exact steady state at its operating point; no formulas are needed for it.

    Raises :class:`CircuitError` where values are missing and :class:`NoSteadyState` where no state is found
    that repeats.
    """
    circuit = what.circuit if isinstance(what, Solution) else what
    point = stated_point(circuit, {})
    evaluate = what.evaluate if isinstance(what, Solution) else None
    known = isinstance(evaluate, ExactNumbers)
    state = evaluate.state(point) if known else exact_state(circuit, point, [])  # type: ignore[union-attr]
    if state is None:
        raise NoSteadyState((Fault("no-steady-state", NO_NUMBERS),), circuit.file, circuit.text)
    courses, names = PeriodTraces(state), TraceNames(circuit)
    stored = [*(capacitor.name for capacitor in circuit.capacitors), *inductances(circuit)]
    with np.errstate(all="ignore"):
        points = {name: courses.points(terms) for name, terms in names.currents.items()}
        currents = {name: one.values for name, one in points.items()}
        voltages = {name: courses.points(terms).values for name, terms in names.voltages.items()}
    order = [device.name for device in circuit.devices]
    flows = []
    for place, (start, end, conducting) in enumerate(courses.intervals):
        here = courses.interval == place
        cut_off = _cut_off(circuit, conducting)
        time = courses.time[here]

        def mean(values: Array, time: Array = time, length: float = end - start) -> float:
            return float(np.trapezoid(values, time)) / length

        roles = {}
        for name in stored:
            power = mean(voltages[name][here] * currents[name][here])
            largest = float(np.nanmax(np.abs(voltages[name]), initial=0.0))
            largest *= float(np.nanmax(np.abs(currents[name]), initial=0.0))
            idle = not abs(power) > IDLE * largest
            roles[name] = "idle" if idle else "absorbs" if power > 0 else "supplies"
        flows.append(
            IntervalFlow(
                start,
                end,
                tuple(name for name in order if name in conducting),
                {name: _without(values[here], name in cut_off) for name, values in currents.items()},
                {name: mean(values[here]) for name, values in voltages.items()},
                roles,
                tuple(name for name, one in points.items() if any(i.time == start for i in one.impulses)),
            )
        )
    return tuple(flows)


def _cut_off(circuit: Circuit, conducting: frozenset[str]) -> frozenset[str]:
    """Elements and windings without a current: what blocks, and what no loop goes through without it.

    So much is known even where ideal parts leave open how much the others carry.
    """
    graph = graph_of(circuit)
    blocking = {device.name for device in circuit.devices} - conducting
    graph.remove_edges_from([edge for edge in graph.edges(keys=True) if edge[2] in blocking])
    bridges = nx.bridges(nx.Graph(graph))
    alone = [list(graph[one][other]) for one, other in bridges if len(graph[one][other]) == 1]
    return frozenset(blocking.union(*alone))


def _without(values: Array, nothing: bool) -> Array:
    return np.zeros_like(values) if nothing else values
