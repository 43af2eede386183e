"""Where the energy goes over a stretch of time: in, out, lost by each part, and into storage.

Every entry is an exact integral of the trajectory: of currents for sources, drops and constant currents, of
their squares for resistances.  Where charge or flux jumps, ideal devices lose half the square of the jump in
energy coordinates, whatever tiny resistance it is that they have (for a capacitor C charged at once by U,
C*U**2/2).  Nothing is found by difference, so the sum of all entries, which must vanish, tells how right
they are.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from voltsec.circuit.elements import CurrentSource, Load, Source
from voltsec.results.table import heats, voltage
from voltsec.tableau.network import Unknown
from voltsec.waveforms.linear import Array
from voltsec.waveforms.state import stores
from voltsec.waveforms.trajectory import Trajectory

JUMPED = 1e-6
"""A store with less than this share of a jump's energy takes no part in it."""
NOTHING = 1e-18
"""Jumps of less than this share of the circuit's energy are rounding."""


@dataclass(frozen=True)
class Ledger:
    """Energies over a stretch of time, joule."""

    sources: dict[str, float]
    """Given by the ideal part of each source; negative where it is fed."""
    loads: dict[str, float]
    """Taken by each load and constant current (negative where one gives energy)."""
    lost: dict[str, float]
    """Turned into heat by each part's resistance and drop."""
    jumps: dict[str, float]
    """Lost where charge or flux jumps, by the parts whose charge or flux it is: ``C1, C2``."""
    stored: dict[str, float]
    """Change of the energy of each capacitor and coil, coupled coils together: ``L1 + L2``."""

    @property
    def given(self) -> float:
        """All that sources gave, and constant currents that drive energy in."""
        return sum(max(e, 0.0) for e in self.sources.values()) - sum(min(e, 0.0) for e in self.loads.values())

    @property
    def taken(self) -> float:
        """All that loads took, and sources that were fed."""
        return sum(max(e, 0.0) for e in self.loads.values()) - sum(min(e, 0.0) for e in self.sources.values())

    @property
    def heat(self) -> float:
        """All that was lost, jumps included."""
        return sum(self.lost.values()) + sum(self.jumps.values())

    @property
    def into_storage(self) -> float:
        """What went into coils and capacitors; negative where it came out of them."""
        return sum(self.stored.values())

    @property
    def residual(self) -> float:
        """Given minus taken, lost and stored: rounding."""
        return self.given - self.taken - self.heat - self.into_storage

    @property
    def flowed(self) -> float:
        """The energy that flowed: given, or taken from storage."""
        return self.given + sum(max(-e, 0.0) for e in self.stored.values())

    @property
    def ratio(self) -> float | None:
        """Taken over given, the efficiency as a meter shows it; None where nothing was given."""
        return self.taken / self.given if self.given > 0 else None


@dataclass
class LedgerBook:
    """Adds up trajectories, one after another in time, to a :class:`Ledger`."""

    sources: dict[str, float] = field(default_factory=dict)
    loads: dict[str, float] = field(default_factory=dict)
    lost: dict[str, float] = field(default_factory=dict)
    jumps: dict[str, float] = field(default_factory=dict)
    stored: dict[str, float] = field(default_factory=dict)

    def add(self, trajectories: Iterable[Trajectory]) -> None:
        """Enter every period of ``trajectories``."""
        for trajectory in trajectories:
            self._enter(trajectory)

    @property
    def ledger(self) -> Ledger:
        """What has been entered."""
        return Ledger(self.sources, self.loads, self.lost, self.jumps, self.stored)

    def _enter(self, trajectory: Trajectory) -> None:
        network = trajectory.network
        circuit, point = network.circuit, network.point
        for source in circuit.of(Source):
            charge = _sum(trajectory.integral(network.row({("i", source.name): 1.0})))
            _add(self.sources, source.name, -float(point[source.quantity.symbol][0]) * charge)
        for load in circuit.of(Load):
            ohms = float(point[load.quantity.symbol][0])
            _add(self.loads, load.name, ohms * _square(trajectory, ("i", load.name)))
        for current in circuit.of(CurrentSource):
            across = _without(network.network.references, voltage(current.start, current.end))
            flux = _sum(trajectory.integral(network.row(across)))
            _add(self.loads, current.name, float(point[current.quantity.symbol][0]) * flux)
        for name, heat in heats(circuit).items():
            lost = 0.0
            if heat.resistance is not None:
                lost += float(point[heat.resistance][0]) * _square(trajectory, ("i", name))
            if heat.drop is not None:
                charge = _sum(trajectory.integral(network.row({("i", name): 1.0})))
                lost += float(point[heat.drop][0]) * charge
            _add(self.lost, name, lost)
        self._enter_storage(trajectory)

    def _enter_storage(self, trajectory: Trajectory) -> None:
        kept = stores(trajectory.network)
        for store in kept:
            change = store.energy(trajectory.end) - store.energy(trajectory.start)
            _add(self.stored, store.label, _sum(change))
        level = float(trajectory.network.scales.energy[0])
        for _, _, jump in trajectory.ends:
            parts = [_sum(store.energy(jump)) for store in kept]
            if sum(parts) > NOTHING * level * len(jump):
                moved = [s.label for s, part in zip(kept, parts, strict=True) if part > JUMPED * sum(parts)]
                _add(self.jumps, ", ".join(moved), sum(parts))


def _square(trajectory: Trajectory, unknown: Unknown) -> float:
    row = trajectory.network.row({unknown: 1.0})
    lasting = (k for k in range(len(trajectory.systems)) if k not in trajectory.instants)
    return sum(_sum(trajectory.squared(k, trajectory.functional(k, row))) for k in lasting)


def _without(references: frozenset[str], terms: tuple[tuple[Unknown, int], ...]) -> dict[Unknown, float]:
    return {u: float(sign) for u, sign in terms if not (u[0] == "v" and u[1] in references)}


def _add(table: dict[str, float], name: str, joule: float) -> None:
    table[name] = table.get(name, 0.0) + joule


def _sum(values: Array) -> float:
    return float(np.sum(values))
