"""Coils of one flux: groups of inductors coupled perfectly, k = 1.

Their inductance matrix is singular: only the flux they share is continuous, while the current may
pass from one winding to another at once.  The turns of such windings are as the square roots of
their inductances.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from voltsec.circuit.circuit import Circuit, Coupling


def is_perfect(circuit: Circuit, coupling: Coupling) -> bool:
    """True for k = 1, and for a mutual inductance whose square is exactly the product of the coils'."""
    if coupling.coefficient is not None:
        return coupling.coefficient == 1
    if coupling.mutual is None:
        return False
    values = {one.name: one.quantity.value for one in circuit.inductors}
    one, other = (values.get(name) for name in (coupling.first, coupling.second))
    return one is not None and other is not None and coupling.mutual**2 == one * other


def perfect_groups(circuit: Circuit) -> tuple[tuple[str, ...], ...]:
    """Names of the inductors that share one flux, group by group, each in the order of the netlist."""
    group_of = {one.name: {one.name} for one in circuit.inductors}
    for coupling in circuit.couplings:
        if is_perfect(circuit, coupling):
            joined = group_of[coupling.first] | group_of[coupling.second]
            group_of |= dict.fromkeys(joined, joined)
    groups = (tuple(one.name for one in circuit.inductors if one.name in group_of[name]) for name in group_of)
    return tuple(group for group in dict.fromkeys(groups) if len(group) > 1)
