"""By what the lossy elements turn power into heat: resistances and drops."""

from __future__ import annotations

from collections.abc import Iterator

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Capacitor, Resistor
from voltsec.steady.balance import Balance
from voltsec.tableau.network import Row


def current_rows(
    circuit: Circuit, balance: Balance, name: str
) -> Iterator[tuple[str | None, str | None, Row]]:
    """(resistance symbol, drop symbol, current) of the lossy parts of one element."""
    element = circuit.element(name)
    row: Row = {("i", name): balance.ring.one}
    if isinstance(element, Resistor):
        yield element.quantity.symbol, None, row
        return
    resistance = getattr(element, "resistance", None)
    drop = getattr(element, "drop", None)
    yield (
        None if resistance is None else resistance.symbol,
        None if drop is None else drop.symbol,
        row,
    )


def loses_by_ripple(circuit: Circuit, name: str) -> bool:
    """True for a capacitor: ripple current may be all that heats it, so it counts in small ripple too."""
    return isinstance(circuit.element(name), Capacitor)
