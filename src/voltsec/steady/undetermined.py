"""What a circuit leaves open, in circuit terms: the unknowns and the sums that tie them."""

from __future__ import annotations

from voltsec.steady.balance import Balance
from voltsec.tableau.network import coils

CURE = "write their resistances into the netlist to have it decided"


def undetermined(balance: Balance) -> list[str]:
    """One line for each capacitor voltage or coil current that the equations do not fix."""
    lines = []
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
    for labels in tied.values():
        if len(labels) == 1:
            lines.append(f"{labels[0]}: ideal parts leave it open; {CURE}")
        else:
            lines.append(f"{', '.join(labels)}: ideal parts leave open how they share; {CURE}")
    return lines
