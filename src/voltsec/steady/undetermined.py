"""What a circuit leaves open, in circuit terms: the unknowns and the sums that tie them."""

from __future__ import annotations

from collections.abc import Sequence

from voltsec.steady.balance import Balance
from voltsec.tableau.network import coils

OF_CURRENTS = "write their resistances into the netlist to have it decided"
OF_VOLTAGES = "write a resistor across each (its leakage or load) into the netlist to have it decided"


def undetermined(balance: Balance) -> list[tuple[str, ...]]:
    """Capacitor voltages or coil currents that the equations do not fix, those that share together."""
    solved = balance.averages.solved
    names: dict[tuple, str] = {("V", c.name): f"V({c.name})" for c in balance.circuit.capacitors}
    names |= {("m", 0, ("i", c.name)): f"i({c.name})" for c in coils(balance.circuit)}
    one = balance.ring.one
    tied: dict = {}
    for unknown, label in names.items():
        terms = solved[unknown][1] if unknown in solved else {unknown: one}
        for free in terms:
            if free is not None:
                tied.setdefault(free, []).append(label)
    return [tuple(labels) for labels in tied.values()]


def open_line(labels: Sequence[str]) -> str:
    """What is left open, such as ``i(L1), i(L2)``, and what settles it."""
    cure = OF_VOLTAGES if all(label.startswith("V(") for label in labels) else OF_CURRENTS
    if len(labels) == 1:
        return f"{labels[0]}: ideal parts leave it open; {cure}"
    return f"{', '.join(labels)}: ideal parts leave open how they share; {cure}"
