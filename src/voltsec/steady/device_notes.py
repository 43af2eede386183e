"""Diodes that never conduct or never stop: possible, and worth saying."""

from __future__ import annotations

from collections.abc import Sequence

from voltsec.circuit.circuit import Circuit
from voltsec.steady.solution import Mode


def device_notes(circuit: Circuit, modes: Sequence[Mode]) -> list[str]:
    """One line for each diode that conducts in no interval of any mode, or all the time in some."""
    lines: list[str] = []
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
