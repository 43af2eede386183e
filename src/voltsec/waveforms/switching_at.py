"""The switch intervals of a period at one operating point."""

from __future__ import annotations

from collections.abc import Mapping

from voltsec.circuit.circuit import Circuit
from voltsec.periodic.stages import stages_of
from voltsec.waveforms.march import Switching


def switching_at(circuit: Circuit, point: Mapping[str, float]) -> Switching:
    """Which switches are closed in turn at ``point`` (every symbol, SI units), and for how long."""
    for stages in stages_of(circuit):
        lengths = tuple(float(length) for length in stages.fractions(dict(point)))
        if min(lengths) >= 0:
            return Switching(stages.closed, lengths)
    raise ValueError("the duties and starts of on-times fit no order of the switch edges")
