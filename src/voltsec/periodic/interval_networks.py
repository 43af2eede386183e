"""Networks of intervals in floats: what they alone determine is eliminated once for all sequences.

The same sets of conducting devices come back in many sequences, and in each of them for means, ramps and
bends.  Of a set's network only what other equations speak of is kept: coils' currents and voltages,
capacitors' currents and voltages, and what no plain number can be divided by.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from voltsec.circuit.circuit import Circuit
from voltsec.periodic.core_rows import Begun, FloatRow, Replacement, eliminate_numbers, replacement
from voltsec.periodic.folding import Constants
from voltsec.tableau.assembly import network_rows, parameter_names
from voltsec.tableau.interval import Sequence
from voltsec.tableau.network import Network, Unknown, coils, rename
from voltsec.tableau.ring import Ring, value_of


@dataclass(frozen=True)
class Reduced:
    """The network of one set of conducting devices; powers are those of the parameters that vary."""

    left: tuple[FloatRow, ...]
    order: tuple[tuple[Unknown, FloatRow], ...]
    """Eliminated unknowns with their equations, each in terms of later ones and of those that are left."""
    replaced: tuple[Replacement, ...]
    """The same solved for the unknowns, the last one first."""
    mentioned: frozenset[Unknown]
    """Unknowns that stand in some equation."""


class Networks:
    """The networks of ``circuit`` with ``constants`` (SI units) put in."""

    def __init__(
        self,
        circuit: Circuit,
        references: tuple[str, ...],
        constants: Mapping[str, float],
        typical: Mapping[str, float],
        level: Callable[[Unknown], float],
    ) -> None:
        self.circuit = circuit
        self.network = Network(circuit, Ring(parameter_names(circuit)), references)
        self.folding = Constants(self.network.ring, constants)
        self._weights = tuple(float(value_of(name, typical)) for name in self.folding.varying)
        self._level = level
        self._kept = {(letter, coil.name) for coil in coils(circuit) for letter in "iu"}
        self._kept |= {("i", capacitor.name) for capacitor in circuit.capacitors}
        self._known: dict[frozenset[str], Reduced] = {}

    def of(self, conducting: frozenset[str]) -> Reduced:
        """The network while these devices conduct."""
        if conducting not in self._known:
            self._known[conducting] = self._reduced(conducting)
        return self._known[conducting]

    def begun(self, sequence: Sequence, parts: tuple[str, ...], fractions: int) -> Begun:
        """The networks of all intervals of ``sequence``; powers of ``fractions`` variables stand before."""
        rows: list[FloatRow] = []
        order: list[tuple[Unknown, FloatRow]] = []
        replaced: list[Replacement] = []
        before = (0,) * fractions
        for k, interval in enumerate(sequence.intervals):
            reduced = self.of(interval.conducting)
            for part in parts:

                def named(unknown: Unknown, part: str = part, k: int = k) -> Unknown:
                    return unknown if unknown[0] == "V" else (part, k, unknown)

                def placed(row: FloatRow, part: str = part) -> FloatRow:
                    own = {
                        u: {before + powers: c for powers, c in terms.items()}
                        for u, terms in row.items()
                        if part == "m" or (u is not None and u[0] != "V")
                    }
                    return rename(own, named)

                rows += [row for row in map(placed, reduced.left) if row]
                order += [(named(pivot), placed(row)) for pivot, row in reduced.order]
                replaced += [
                    Replacement(
                        named(one.unknown),
                        tuple(
                            (None if u is None else named(u), folded)
                            for u, folded in one.terms
                            if part == "m" or (u is not None and u[0] != "V")
                        ),
                    )
                    for one in reduced.replaced
                ]
        return Begun(rows, order, replaced)

    def loose(self, sequence: Sequence, parts: tuple[str, ...]) -> Iterator[Unknown]:
        """Potentials that stand in no equation, of nodes at which every device is open."""
        for k, interval in enumerate(sequence.intervals):
            mentioned = self.of(interval.conducting).mentioned
            for node in self.network.nodes:
                if ("v", node) not in mentioned:
                    yield from ((part, k, ("v", node)) for part in parts)

    def _reduced(self, conducting: frozenset[str]) -> Reduced:
        rows = network_rows(self.network, conducting)
        active: dict[int, FloatRow] = {}
        for number, row in enumerate(rows):
            floats: FloatRow = {u: self.folding.grouped(c) for u, c in row.items() if not c.is_zero()}
            if floats:
                active[number] = floats
        mentioned = frozenset(u for row in active.values() for u in row if u is not None)
        order = eliminate_numbers(
            active,
            self._weights,
            lambda unknown: self._level(("m", 0, unknown)),
            lambda unknown: unknown[0] != "V" and unknown not in self._kept,
        )
        replaced = tuple(replacement(pivot, row, self.folding.varying) for pivot, row in reversed(order))
        return Reduced(tuple(row for row in active.values() if row), tuple(order), replaced, mentioned)
