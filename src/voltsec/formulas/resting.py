"""Which coils rest in which interval: their current is held and their flux stands still.

A coil rests where blocking devices leave its current no way, alone (the coil of a step-down stage that
has run dry) or together with others (the two coils of a SEPIC, whose currents then circulate), while no
voltage lies across it.  A winding that idles while its core's flux goes on through another one does not
rest: the flux puts a voltage across it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import CurrentSource, Transformer
from voltsec.periodic.balance import Balance
from voltsec.results.table import winding_current
from voltsec.tableau.network import Row, coils

RANK = 1e-9
SMALL_VOLTAGE = 0.2
"""Share of a coil's average voltage (its size) below which it counts as none: losses keep it from
vanishing."""
SMALL_CURRENT = 1e-6
SMALL_POWER = 1e-3

Array = np.ndarray


@dataclass(frozen=True)
class Rest:
    """Coils that rest together in one interval; ``empty`` where their currents are zero as well."""

    coils: frozenset[str]
    empty: bool


class Solved(Protocol):
    """A sequence solved at one point."""

    @property
    def balance(self) -> Balance:
        """The sequence's balance, solved or not."""
        ...  # pragma: no cover

    @property
    def point(self) -> Mapping[str, float]:
        """Symbols and fractions, SI units."""
        ...  # pragma: no cover

    def value(self, k: int, row: Row, part: str) -> float:
        """The ``"average"`` or ``"ramp"`` of a sum in interval ``k``, not a number where it is left open."""
        ...  # pragma: no cover


@dataclass(frozen=True)
class SolvedExactly:
    """Exact ratios, evaluated at a point."""

    balance: Balance
    point: Mapping[str, float]

    def value(self, k: int, row: Row, part: str) -> float:
        """As :class:`Solved`'s."""
        ratio = self.balance.value(k, row, part)
        if ratio is None:
            return float("nan")
        ring = self.balance.ring
        with np.errstate(all="ignore"):
            return float(
                ring.value(ratio.numerator, self.point)
                / np.float64(ring.value(ratio.denominator, self.point))
            )


def resting(solved: Solved) -> tuple[tuple[Rest, ...], ...]:
    """The coils at rest in every interval."""
    balance, point = solved.balance, solved.point
    circuit = balance.circuit
    names = [coil.name for coil in coils(circuit)]
    values = _Values(solved)
    held = [_held(circuit, values.carrying(k), point) for k in values.all]
    always = _common(held)
    one = balance.ring.one
    voltages = np.array([[values.mean(k, {("u", name): one}) for name in names] for k in values.all])
    currents = np.array([[values.largest(k, {("i", name): one}) for name in names] for k in values.all])
    voltages, currents = (array.reshape(len(held), len(names)) for array in (voltages, currents))
    with np.errstate(invalid="ignore"):
        usual = np.nansum(values.shares[:, None] * np.abs(voltages), axis=0)
        still = np.abs(voltages) <= SMALL_VOLTAGE * usual
        none = np.abs(currents) <= SMALL_CURRENT * np.nanmax(np.abs(currents), initial=0)
    for group in coupled_groups(circuit):  # one flux: it stands still in all windings or in none
        members = [names.index(name) for name in group]
        still[:, members] &= still[:, members].all(axis=1)[:, None]
    found = []
    for k, relations in enumerate(held):
        rests = []
        for together in _components(relations - always):
            if still[k, together].all() and usual[together].max() > 0:
                rests.append(Rest(frozenset(names[j] for j in together), bool(none[k, together].all())))
        found.append(tuple(rests))
    return tuple(found)


def transforming(solved: Solved) -> frozenset[str]:
    """Coils of cores that pass power on: in some interval one winding takes it and another gives it.

    Magnetizing inductances of transformers and coupled inductors; a core that stores what one winding
    brings before another takes it (a flyback's) is none.
    """
    balance = solved.balance
    circuit = balance.circuit
    values = _Values(solved)
    found: set[str] = set()
    for transformer in circuit.transformers:
        windings = [
            (balance.network.row(winding_current(transformer, number)), winding)
            for number, winding in enumerate(transformer.windings)
        ]
        if transformer.magnetizing is not None and values.opposed(windings):
            found.add(transformer.magnetizing.symbol)
    for group in coupled_groups(circuit):
        members = [circuit.element(name) for name in sorted(group)]
        flows: list[tuple[Row, tuple[str, str]]] = [
            ({("i", one.name): balance.ring.one}, (one.nodes[0], one.nodes[1])) for one in members
        ]
        if values.opposed(flows):
            found |= group
    return frozenset(found)


def coupled_groups(circuit: Circuit) -> list[frozenset[str]]:
    """Inductors on one core each."""
    groups: list[frozenset[str]] = []
    for coupling in circuit.couplings:
        pair = {coupling.first, coupling.second}
        joined = [group for group in groups if group & pair]
        groups = [group for group in groups if group not in joined]
        groups.append(frozenset(pair.union(*joined)))
    return groups


class _Values:
    """Means and ramps of one sequence at one point."""

    def __init__(self, solved: Solved) -> None:
        self.solved = solved
        balance, point = solved.balance, solved.point
        self.balance = balance
        self.all = range(len(balance.sequence.intervals))
        self.shares = np.array([float(point[name]) for name in balance.sequence.fractions])

    def mean(self, k: int, row: Row) -> float:
        """Mean in interval ``k``, not a number where it is left open."""
        return self.solved.value(k, row, "average")

    def largest(self, k: int, row: Row) -> float:
        """Largest size at the ends of interval ``k``."""
        ramp = self.solved.value(k, row, "ramp")
        return abs(self.mean(k, row)) + abs(ramp)

    def carrying(self, k: int) -> frozenset[str]:
        """Devices that conduct in interval ``k``, without diodes that carry nothing there."""
        ring, conducting = self.balance.ring, self.balance.sequence.intervals[k].conducting
        sizes = {
            diode.name: self.largest(k, {("i", diode.name): ring.one})
            for diode in self.balance.circuit.diodes
            if diode.name in conducting
        }
        level = max((size for size in self._levels if np.isfinite(size)), default=0.0)
        return conducting - {name for name, size in sizes.items() if size <= SMALL_CURRENT * level}

    @cached_property
    def _levels(self) -> list[float]:
        one = self.balance.ring.one
        names = [coil.name for coil in coils(self.balance.circuit)]
        return [self.largest(k, {("i", name): one}) for k in self.all for name in names]

    def opposed(self, flows: list[tuple[Row, tuple[str, str]]]) -> bool:
        """Whether in some interval power flows in by one of some branches and out by another."""
        network = self.balance.network
        powers = np.array(
            [
                [self.mean(k, row) * self.mean(k, dict(network.voltage(*nodes))) for row, nodes in flows]
                for k in self.all
            ]
        )
        powers = np.nan_to_num(powers)
        least = SMALL_POWER * np.abs(powers).max(initial=0)
        return bool(((powers > least).any(axis=1) & (powers < -least).any(axis=1)).any())


def _held(circuit: Circuit, conducting: frozenset[str], point: Mapping[str, float]) -> Array:
    """What blocking devices impose on the coils' currents alone, as the projection onto it.

    Kirchhoff's current law, with blocking devices and constant currents left out, and the transformers'
    ampere-turns: combinations of them in which nothing but coil currents is left.
    """
    inductances = coils(circuit)
    apart = {device.name for device in circuit.devices} - conducting | {coil.name for coil in inductances}
    nodes = {node: place for place, node in enumerate(circuit.nodes)}
    own: list[Array] = []
    others: list[Array] = []
    cores = list(circuit.transformers)

    def branch(start: str, end: str) -> Array:
        column = np.zeros(len(nodes) + len(cores))
        column[nodes[start]] += 1
        column[nodes[end]] -= 1
        return column

    for coil in inductances:
        own.append(branch(coil.start, coil.end))
    for element in circuit.elements:
        if isinstance(element, Transformer):
            for winding, turns in zip(element.windings, element.turns, strict=True):
                column = branch(*winding)
                column[len(nodes) + cores.index(element)] = (
                    point[turns] if isinstance(turns, str) else float(turns)
                )
                others.append(column)
        elif element.name not in apart and not isinstance(element, CurrentSource):
            others.append(branch(*element.nodes))
    size = len(nodes) + len(cores)
    free = _null_space(np.array(others).reshape(len(others), size))
    return _projection(free.T @ np.array(own).reshape(len(own), size).T)


def _null_space(rows: Array) -> Array:
    """Orthonormal columns that every row is orthogonal to."""
    if not len(rows):
        return np.eye(rows.shape[1])
    _, values, right = np.linalg.svd(rows, full_matrices=True)
    rank = int((values > RANK * max(values[0], 1)).sum())
    return right[rank:].T


def _projection(rows: Array) -> Array:
    """The projection onto what the rows span."""
    if not rows.size:
        return np.zeros((rows.shape[1], rows.shape[1]))
    _, values, right = np.linalg.svd(rows, full_matrices=False)
    kept = right[values > RANK]
    return kept.T @ kept


def _common(projections: list[Array]) -> Array:
    """The projection onto what all of them have in common."""
    size = projections[0].shape[0]
    left = _null_space(np.concatenate([np.eye(size) - one for one in projections]))
    return left @ left.T


def _components(projection: Array) -> list[list[int]]:
    """Places that a projection ties together."""
    open_ = [place for place in range(len(projection)) if projection[place, place] > RANK]
    found = []
    while open_:
        together, waiting = set(), [open_[0]]
        while waiting:
            place = waiting.pop()
            together.add(place)
            waiting += [j for j in open_ if j not in together and abs(projection[place, j]) > RANK]
        found.append(sorted(together))
        open_ = [place for place in open_ if place not in together]
    return found
