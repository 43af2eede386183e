"""The exact state of a netlist at its operating point."""

from __future__ import annotations

import voltsec
from voltsec.periodic.points import operating_point
from voltsec.results.table import results_of
from voltsec.waveforms.exact import Exact, Expected, exact_results


def exact(text: str, expected: tuple[Expected, ...] = ()) -> Exact:
    """Every result of the circuit at the values in its netlist."""
    circuit = voltsec.read(text)
    point = operating_point(circuit)
    assert point is not None
    return exact_results(circuit, point, results_of(circuit).values(), expected)
