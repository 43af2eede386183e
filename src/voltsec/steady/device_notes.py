"""Diodes that never conduct or never stop, and drops above the input: possible, and worth saying."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.steady.solution import Mode


def device_notes(circuit: Circuit, modes: Sequence[Mode]) -> list[str]:
    """One line for each diode that conducts in no interval of any mode, or all the time in some, and
    for each large drop."""
    lines = large_drops(circuit, {name: float(value) for name, value in circuit.values.items()})
    for diode in circuit.diodes:
        never = [mode.name for mode in modes if not any(diode.name in i.conducting for i in mode.intervals)]
        always = [mode.name for mode in modes if all(diode.name in i.conducting for i in mode.intervals)]
        if modes and len(never) == len(modes):
            lines.append(f"{diode.name} conducts in no interval of any mode: it only blocks")
        elif len(always) == len(modes):
            lines.append(f"{diode.name} conducts all the time in every mode")
        elif always:
            lines.append(f"{diode.name} conducts all the time in {', '.join(always)}")
    return lines


def large_drops(circuit: Circuit, point: Mapping[str, Any]) -> list[str]:
    """One line for each drop that is nowhere below a source at ``point`` (numbers or arrays, volt).

    A stage that raises the voltage works even so (one solar cell behind a silicon diode); in any other
    it is most likely a slip.  Nothing is said where a value is missing.
    """
    sources = [source.quantity.symbol for source in circuit.sources]
    if not sources or any(symbol not in point for symbol in sources):
        return []
    highest: Any = 0.0
    for symbol in sources:
        highest = np.maximum(highest, np.asarray(point[symbol], float))
    lines = []
    for device in circuit.devices:
        drop = device.drop
        if drop is None or drop.symbol not in point:
            continue
        if np.any(np.greater_equal(np.asarray(point[drop.symbol], float), highest)):
            lines.append(
                f"the drop {drop.symbol} of {device.name} is not below the input voltage "
                f"{circuit.input.quantity.symbol}: that works only where the voltage is raised first; "
                "check the two values"
            )
    return lines
