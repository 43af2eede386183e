"""Which elements turn power into heat, and by what: resistances and drops."""

from __future__ import annotations

from collections.abc import Iterator

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import Load, Resistor, Transformer, TwoTerminal
from voltsec.steady.balance import Balance
from voltsec.tableau.network import Row


def lossy_elements(circuit: Circuit) -> tuple[TwoTerminal, ...]:
    """Elements that turn power into heat: those with a resistance or drop, and plain resistors."""
    return tuple(
        element
        for element in circuit.elements
        if not isinstance(element, Transformer) and _turns_warm(element)
    )


def _turns_warm(element: TwoTerminal) -> bool:
    if isinstance(element, Resistor):
        return not isinstance(element, Load)
    return any(getattr(element, part, None) is not None for part in ("resistance", "drop"))


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
