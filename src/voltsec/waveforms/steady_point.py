"""The switch intervals and the exact periodic state at one operating point, without any guess."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.steady.stages import stages_of
from voltsec.waveforms.exact import periodic_from_nothing
from voltsec.waveforms.march import Switching
from voltsec.waveforms.network import PeriodNetwork
from voltsec.waveforms.periodic import Periodic


def switching_at(circuit: Circuit, point: Mapping[str, float]) -> Switching:
    """Which switches are closed in turn at ``point`` (every symbol, SI units), and for how long."""
    for stages in stages_of(circuit):
        lengths = tuple(float(length) for length in stages.fractions(dict(point)))
        if min(lengths) >= 0:
            return Switching(stages.closed, lengths)
    raise ValueError("the duties and starts of on-times fit no order of the switch edges")


def periodic_at(circuit: Circuit, point: Mapping[str, float]) -> Periodic | None:
    """The exact periodic state at ``point``; None where none is found that holds."""
    switching = switching_at(circuit, point)
    network = PeriodNetwork(circuit, point)
    found = periodic_from_nothing(network, switching.closed, np.array(switching.lengths))
    return found if found is not None and found.good[0] else None
