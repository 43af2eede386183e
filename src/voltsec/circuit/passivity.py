"""Whether a set of magnetic couplings can exist: the inductance matrix must store no negative energy."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from voltsec.circuit.fault import Fault
from voltsec.circuit.perfect_coupling import perfect_groups

if TYPE_CHECKING:
    from voltsec.circuit.circuit import Circuit

TOLERANCE = 1e-9
"""Relative slack for coefficients that come from square roots; perfect coupling (k = 1) is allowed."""


def coupling_faults(circuit: Circuit) -> list[Fault]:
    """Pairs coupled more than fully, and larger sets whose inductance matrix is not positive semidefinite."""
    coefficients = _coefficients(circuit)
    faults, strong = [], set()
    for (first, second), (k, symbol) in coefficients.items():
        if k > 1 + TOLERANCE:
            strong |= {first, second}
            coupling = next(one for one in circuit.couplings if one.symbol == symbol)
            message = f"{symbol} couples {first} and {second} with a coefficient of {k:.4g}, above 1"
            hint = f"a mutual inductance is at most sqrt({first}*{second})"
            faults.append(Fault("coupling-not-passive", message, coupling.place, (first, second), (), hint))
    for group in _groups(circuit):
        pairs = [(a, b) for a in group for b in group if a < b]
        stated = {frozenset((one.first, one.second)) for one in circuit.couplings}
        known = {frozenset(pair): k for pair, (k, _) in coefficients.items()}
        symbolic = any(frozenset(pair) in stated and frozenset(pair) not in known for pair in pairs)
        if symbolic or strong & set(group):
            continue
        matrix = [[1.0 if a == b else float(known.get(frozenset((a, b)), 0.0)) for b in group] for a in group]
        if not is_positive_semidefinite(matrix):
            message = f"the couplings of {', '.join(group)} cannot exist together"
            hint = "two coils that couple strongly to a third couple to each other as well"
            places = [one.place for one in circuit.couplings if one.first in group and one.place is not None]
            place = places[-1] if places else None
            faults.append(Fault("coupling-not-passive", message, place, tuple(group), (), hint))
            strong |= set(group)
    return faults + [fault for fault in _unlike(circuit) if not strong & set(fault.elements)]


def _unlike(circuit: Circuit) -> Iterator[Fault]:
    """Windings of one flux of which some are coupled to a further coil and others are not."""
    stated = {frozenset((one.first, one.second)): one for one in circuit.couplings}
    for group in perfect_groups(circuit):
        for coil in circuit.inductors:
            coupled = [name for name in group if frozenset((name, coil.name)) in stated]
            left = [name for name in group if name not in coupled]
            if coil.name in group or not coupled or not left:
                continue
            message = f"{left[0]} shares the flux of {coupled[0]}, which couples to {coil.name}, and does not"
            hint = f"couple {left[0]} to {coil.name} as well, with the same coefficient"
            place = stated[frozenset((coupled[0], coil.name))].place
            yield Fault("coupling-not-passive", message, place, (left[0], coil.name), (), hint)


def is_positive_semidefinite(matrix: list[list[float]]) -> bool:
    """Whether a symmetric matrix with unit diagonal has no negative eigenvalue, by pivoted elimination."""
    rows = [list(row) for row in matrix]
    left = list(range(len(rows)))
    while left:
        pivot = max(left, key=lambda index: rows[index][index])
        value = rows[pivot][pivot]
        left.remove(pivot)
        if value <= TOLERANCE:
            # Nothing but zeros may be left: a row with a zero diagonal has to be zero throughout.
            rest = [pivot, *left]
            return all(rows[a][a] >= -TOLERANCE for a in rest) and all(
                abs(rows[a][b]) <= TOLERANCE**0.5 for a in rest for b in rest if a != b
            )
        for row in left:
            factor = rows[row][pivot] / value
            for column in left:
                rows[row][column] -= factor * rows[pivot][column]
    return True


def _coefficients(circuit: Circuit) -> dict[tuple[str, str], tuple[float, str]]:
    """Coefficient and symbol of every coupling whose coefficient the values tell."""
    inductances = {one.name: one.quantity.value for one in circuit.inductors}
    found: dict[tuple[str, str], tuple[float, str]] = {}
    for coupling in circuit.couplings:
        pair = (coupling.first, coupling.second)
        if coupling.coefficient is not None:
            found[pair] = float(coupling.coefficient), coupling.symbol
        elif coupling.mutual is not None:
            one, other = (inductances.get(name) for name in pair)
            if one and other:
                k = float(coupling.mutual) / (float(one) ** 0.5 * float(other) ** 0.5)
                found[pair] = k, coupling.symbol
    return found


def _groups(circuit: Circuit) -> list[list[str]]:
    """Inductors tied together by couplings, three or more of them, each group in alphabetical order."""
    groups: list[set[str]] = []
    for coupling in circuit.couplings:
        pair = {coupling.first, coupling.second}
        touching = [group for group in groups if group & pair]
        groups = [group for group in groups if not group & pair]
        groups.append(pair.union(*touching))
    return [sorted(group) for group in groups if len(group) > 2]
