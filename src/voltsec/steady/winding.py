"""The current into a transformer winding's terminal."""

from __future__ import annotations

from voltsec.circuit.elements import Transformer
from voltsec.tableau.network import Row
from voltsec.tableau.ring import Ring


def winding_row(ring: Ring, transformer: Transformer, number: int) -> Row:
    """Current into a winding's terminal (numbered from 0), the magnetizing current included."""
    row: Row = {("i", transformer.name, number): ring.one}
    if number == 0 and transformer.magnetizing is not None:
        row["i", transformer.magnetizing.symbol] = ring.one
    return row
