"""Kirchhoff's laws and element equations of one interval (modified nodal analysis).

``equations`` gives the network without its switches' and diodes' own equations; ``closed`` and
``open_`` give those.  The numeric search and the exact tableau both start from these rows, so an
element's physics is written down once.

A row is a dict: unknown -> coefficient, the constant term under ``None``, sum equal to zero.
Unknowns: ``("v", node)`` potential, ``("i", element)`` current, ``("i", transformer, winding)``,
``("u", coil)`` voltage across the inductance alone, ``("V", capacitor)`` its constant voltage.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from typing import Any, assert_never

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.elements import (
    Capacitor,
    CurrentSource,
    Diode,
    Element,
    Inductor,
    Quantity,
    Resistor,
    Source,
    Switch,
    Transformer,
    TwoTerminal,
)
from voltsec.circuit.perfect_coupling import perfect_groups
from voltsec.tableau.ring import Polynomial, Ring, root_name

Unknown = tuple[Any, ...]
"""An unknown of the network, ``("i", "L1")`` for one."""
Row = dict[Any, Any]
"""Coefficients, polynomials or numbers, of unknowns and of one, whose key is ``None``."""


@dataclass(frozen=True)
class Coil:
    """An inductance of the circuit: an inductor, or a transformer's magnetizing inductance.

    ``name`` is the inductor's name or the magnetizing inductance's symbol.
    """

    name: str
    symbol: str
    start: str
    end: str


def coils(circuit: Circuit) -> tuple[Coil, ...]:
    """Every inductance of the circuit, inductors first."""
    found = [Coil(e.name, e.quantity.symbol, e.start, e.end) for e in circuit.inductors]
    for transformer in circuit.transformers:
        if transformer.magnetizing is not None:
            symbol = transformer.magnetizing.symbol
            found.append(Coil(symbol, symbol, *transformer.windings[0]))
    return tuple(found)


def shared_flux(circuit: Circuit) -> dict[str, tuple[str, str | None]]:
    """For every coil of one flux with others its group's first coil and its turns over that one's.

    The turns are a variable's name, None for the first coil itself.
    """
    symbols = {one.name: one.quantity.symbol for one in circuit.inductors}
    return {
        name: (group[0], None if name == group[0] else root_name(symbols[name], symbols[group[0]]))
        for group in perfect_groups(circuit)
        for name in group
    }


@dataclass(frozen=True)
class Flux:
    """A flux that is continuous: that of one coil, or the one several coils share.

    Its current is that of the coil, or all currents seen from the first coil of the group:
    i_1 + i_2*sqrt(L_2/L_1) + ...
    """

    coil: Coil
    windings: tuple[tuple[str, str | None], ...]
    """Coil names with the variable of their turns over the first one's (None: as many)."""

    @property
    def shared(self) -> bool:
        """True for a flux of several coils."""
        return len(self.windings) > 1

    def current(self, ring: Ring) -> Row:
        """The current that is continuous, as a row."""
        return {("i", name): self._turns(ring, turns) for name, turns in self.windings}

    def voltage_ties(self, ring: Ring) -> list[Row]:
        """Rows that tie the further windings' voltages to the first one's."""
        return [
            {("u", name): ring.one, ("u", self.coil.name): -self._turns(ring, turns)}
            for name, turns in self.windings[1:]
        ]

    def _turns(self, ring: Ring, name: str | None) -> Polynomial:
        return ring.one if name is None else ring.symbol(name)


def fluxes(circuit: Circuit) -> tuple[Flux, ...]:
    """Every flux of the circuit, in the order of :func:`coils`."""
    shared = shared_flux(circuit)
    return tuple(
        Flux(
            coil,
            tuple((name, turns) for name, (first, turns) in shared.items() if first == coil.name)
            or ((coil.name, None),),
        )
        for coil in coils(circuit)
        if shared.get(coil.name, (coil.name,))[0] == coil.name
    )


def mutual_symbols(circuit: Circuit) -> dict[tuple[str, str], str]:
    """Mutual inductance symbol for each ordered pair of coupled coils."""
    pairs = {}
    for coupling in circuit.couplings:
        pairs[coupling.first, coupling.second] = coupling.symbol
        pairs[coupling.second, coupling.first] = coupling.symbol
    return pairs


class Network:
    """Equations of a circuit over ``ring``; ``references`` are the nodes at zero potential."""

    def __init__(self, circuit: Circuit, ring: Ring, references: tuple[str, ...]) -> None:
        self.circuit = circuit
        self.ring = ring
        self.references = frozenset(references)
        self.nodes = tuple(node for node in circuit.nodes if node not in self.references)
        self.currents: dict[str, list[tuple[Unknown, Polynomial]]] = {}
        self.rows: list[Row] = []
        for element in circuit.elements:
            self._stamp(element)
        for row in self.currents.values():
            # Kirchhoff's current law: the currents that leave a node sum to zero.
            self._add(row)
        self.flux_ties: list[Row] = [row for flux in fluxes(circuit) for row in flux.voltage_ties(ring)]
        """Voltages of coils of one flux are as their turns."""

    def voltage(self, start: str, end: str, sign: int = 1) -> list[tuple[Unknown, Polynomial]]:
        """Terms of ``sign`` times the voltage from ``start`` to ``end``."""
        terms: list[tuple[Unknown, Polynomial]] = []
        if start not in self.references:
            terms.append((("v", start), self.ring.constant(sign)))
        if end not in self.references:
            terms.append((("v", end), self.ring.constant(-sign)))
        return terms

    def row(self, terms: Iterable[tuple[Unknown, int]]) -> Row:
        """A quantity (unknowns with their signs) as a row; a reference node's potential is left out."""
        return {
            unknown: self.ring.constant(sign)
            for unknown, sign in terms
            if unknown[0] != "v" or unknown[1] not in self.references
        }

    def closed(self, device: Switch | Diode) -> Row:
        """A conducting device: v = drop + resistance * i."""
        terms = self.voltage(device.start, device.end)
        terms += self._times(device.resistance, ("i", device.name), -1)
        terms += self._times(device.drop, None, -1)
        return self._row(terms)

    def open_(self, device: Switch | Diode) -> Row:
        """A blocking device: i = 0."""
        return {("i", device.name): self.ring.one}

    def device_rows(self, conducting: Collection[str]) -> list[Row]:
        """Every switch and diode as it is in an interval: ``conducting`` are closed, the others open."""
        return [self.closed(d) if d.name in conducting else self.open_(d) for d in self.circuit.devices]

    def device_voltage(self, device: Switch | Diode) -> Row:
        """The device's voltage as a row (not an equation)."""
        return self._row(self.voltage(device.start, device.end))

    def _stamp(self, element: Element) -> None:
        """The element's equations; its branch current is added to the nodes it joins."""
        match element:
            case Source():
                self._branch(element, (None, element.quantity), (("i", element.name), element.resistance))
            case CurrentSource():
                unknown = ("i", element.name)
                self._leave(element.start, element.end, unknown)
                self._add([(unknown, self.ring.one), *self._times(element.quantity, None, -1)])
            case Resistor():
                self._branch(element, (("i", element.name), element.quantity))
            case Inductor():
                self._branch(element, (("i", element.name), element.resistance), extra=("u", element.name))
            case Capacitor():
                self._branch(element, (("i", element.name), element.resistance), extra=("V", element.name))
            case Switch() | Diode():  # what it does depends on the interval: see closed and open_
                self._leave(element.start, element.end, ("i", element.name))
            case Transformer():
                self._transform(element)
            case _:
                assert_never(element)

    def _transform(self, element: Transformer) -> None:
        turns = self._turns(element)
        first = element.windings[0]
        balance: list[tuple[Unknown, Polynomial]] = []
        for number, winding in enumerate(element.windings):
            unknown = ("i", element.name, number)
            self._leave(*winding, unknown)
            balance.append((unknown, turns[number]))
            if number:
                terms = [(u, c * turns[0]) for u, c in self.voltage(*winding)]
                terms += [(u, c * turns[number]) for u, c in self.voltage(*first, -1)]
                self._add(terms)
        self._add(balance)  # an ideal core needs no ampere-turns
        if element.magnetizing is not None:
            coil = element.magnetizing.symbol
            self._leave(*first, ("i", coil))
            self._add([*self.voltage(*first), (("u", coil), self.ring.constant(-1))])

    def _turns(self, element: Transformer) -> list[Polynomial]:
        scale = 1
        for turn in element.turns:
            if not isinstance(turn, str):
                scale = scale * turn.denominator
        return [
            self.ring.symbol(turn) * scale if isinstance(turn, str) else self.ring.constant(int(turn * scale))
            for turn in element.turns
        ]

    def _branch(
        self,
        element: TwoTerminal,
        *parts: tuple[Unknown | None, Quantity | None],
        extra: Unknown | None = None,
    ) -> None:
        """v(element) = sum of quantity * unknown over ``parts`` (+ ``extra``), and its current."""
        self._leave(element.start, element.end, ("i", element.name))
        terms = self.voltage(element.start, element.end)
        for unknown, quantity in parts:
            terms += self._times(quantity, unknown, -1)
        if extra is not None:
            terms.append((extra, self.ring.constant(-1)))
        self._add(terms)

    def _times(self, quantity: Quantity | None, unknown: Unknown | None, sign: int) -> list[Any]:
        return [] if quantity is None else [(unknown, sign * self.ring.symbol(quantity.symbol))]

    def _leave(self, start: str, end: str, unknown: Unknown) -> None:
        for node, sign in ((start, 1), (end, -1)):
            if node not in self.references:
                self.currents.setdefault(node, []).append((unknown, self.ring.constant(sign)))

    def _row(self, terms: Iterable[Any]) -> Row:
        row: Row = {}
        for unknown, coefficient in terms:
            row[unknown] = row[unknown] + coefficient if unknown in row else coefficient
        return {unknown: c for unknown, c in row.items() if not c.is_zero()}

    def _add(self, terms: Iterable[Any]) -> None:
        row = self._row(terms)
        if row:
            self.rows.append(row)


def rename(row: Row, name: Callable[[Unknown], Unknown], constants: bool = True) -> Row:
    """``row`` with its unknowns renamed; without ``constants`` the constant term is left out."""
    return {
        (None if unknown is None else name(unknown)): coefficient
        for unknown, coefficient in row.items()
        if constants or unknown is not None
    }
