"""Which traces share a panel: those of one unit and kind whose shapes are readable on one scale."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.practice.waves import Trace, Waves
from voltsec.tableau.network import coils

MOST_TOGETHER = 4
"""Traces of a panel."""
MOST_BANDS = 2
"""The same where bands lie over each other."""
SMALLEST = 0.12
"""The smallest swing of a panel as a share of its height."""
FLAT = 1e-9


def panelled(waves: Waves) -> list[list[Trace]]:
    """The traces by panel, in the order they were asked for."""
    found: list[tuple[tuple[str, str], list[Trace]]] = []
    for trace in waves.traces:
        kind = (trace.unit, "open" if trace.open else _kind(trace, waves.circuit))
        most = MOST_BANDS if trace.open else MOST_TOGETHER
        for other, members in found:
            if kind == other and len(members) < most and _readable([*members, trace]):
                members.append(trace)
                break
        else:
            found.append((kind, [trace]))
    return [members for _, members in found]


def span(trace: Trace) -> tuple[float, float] | None:
    """Lowest and highest finite value that is drawn; None where nothing is."""
    values = np.concatenate([trace.values, trace.low, trace.high])
    values = values[np.isfinite(values)]
    return (float(values.min()), float(values.max())) if values.size else None


def _readable(traces: Iterable[Trace]) -> bool:
    spans = [one for one in map(span, traces) if one is not None]
    if not spans:
        return True
    height = max(high for _, high in spans) - min(low for low, _ in spans)
    # a level without any swing is readable on every scale
    return all(high - low >= SMALLEST * height or high - low <= FLAT * height for low, high in spans)


def _kind(trace: Trace, circuit: Circuit) -> str:
    """Coil, device or other: what is looked at together."""
    if trace.part in {coil.name for coil in coils(circuit)}:
        return "coil"
    return "device" if trace.part in {device.name for device in circuit.devices} else "other"
