"""Traces of a circuit's exact periodic state, without any formula."""

from __future__ import annotations

import numpy as np

import voltsec
from voltsec.circuit.circuit import Circuit
from voltsec.periodic.points import operating_point
from voltsec.results.measures import Terms
from voltsec.results.table import stressed
from voltsec.waveforms.exact import exact_state
from voltsec.waveforms.traces import PeriodTraces


def traced(circuit: Circuit | str, **changes: float) -> PeriodTraces | None:
    """The traces at the operating point changed by ``changes``; None where no state is found."""
    if isinstance(circuit, str):
        circuit = voltsec.read(circuit)
    point = operating_point(circuit)
    assert point is not None
    state = exact_state(circuit, {**point, **changes})
    return None if state is None else PeriodTraces(state)


def currents(circuit: Circuit) -> dict[str, Terms]:
    """The current of every element and winding, what flows through the magnetizing inductance included."""
    magnetizing = {t.magnetizing.symbol for t in circuit.transformers if t.magnetizing is not None}
    return {name: current for name, current, _, _ in stressed(circuit) if name not in magnetizing}


def leaving(circuit: Circuit, node: str) -> list[tuple[str, int]]:
    """Elements and windings at ``node``, with the sign of their current out of it."""
    found = []
    for element in circuit.elements:
        if element.kind == "transformer":
            ends = [(f"{element.name}.{k}", *winding) for k, winding in enumerate(element.windings, 1)]
        else:
            ends = [(element.name, element.start, element.end)]
        for name, start, end in ends:
            found += [(name, 1)] * (start == node) + [(name, -1)] * (end == node)
    return found


def kirchhoff_misses(traces: PeriodTraces, circuit: Circuit) -> dict[str, float]:
    """For every node the largest sum of currents at any sample, and of charges at any jump, as shares."""
    terms = currents(circuit)
    points = {name: traces.points(one) for name, one in terms.items()}
    with np.errstate(all="ignore"):
        level = max(float(np.nanmax(np.abs(p.values), initial=0.0)) for p in points.values()) or 1.0
    instants = {one.time for p in points.values() for one in p.impulses}
    found = {}
    for node in circuit.nodes:
        parts = leaving(circuit, node)
        total = sum((sign * points[name].values for name, sign in parts), np.zeros_like(traces.time))
        known = total[np.isfinite(total)]  # an open share is no number
        found[node] = float(np.abs(known).max(initial=0.0)) / level
        for instant in instants:
            charges = [
                sign * one.amount
                for name, sign in parts
                for one in points[name].impulses
                if one.time == instant
            ]
            size = max((abs(charge) for charge in charges), default=0.0)
            if size:
                found[node] = max(found[node], abs(sum(charges)) / (size + level * traces.period))
    return found
