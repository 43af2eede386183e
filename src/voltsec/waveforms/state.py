"""A state of the circuit in volts and amperes, and the energy that coils and capacitors hold in it.

Inside, states are written in energy coordinates (:mod:`voltsec.waveforms.network`); here they are the
currents of the inductances (of coils that share one flux, their common ampere-turns seen from the first)
and the voltages of the capacitors, in this order.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from voltsec.waveforms.linear import Array
from voltsec.waveforms.network import PeriodNetwork


def state_from(network: PeriodNetwork, values: Array) -> Array:
    """(n,): the state in energy coordinates with the currents and voltages ``values`` (n,), SI."""
    scaled = values / network.units[0, : network.count]
    return np.linalg.solve(network.coordinates[0][0], scaled)


def state_values(network: PeriodNetwork, states: Array) -> Array:
    """(..., n): currents and voltages, SI, of states in energy coordinates (..., n)."""
    return states @ network.coordinates[0][0].T * network.units[0, : network.count]


@dataclass(frozen=True)
class Store:
    """One capacitor, one coil, or coils that are coupled, whose energy belongs to them together."""

    names: tuple[str, ...]
    form: Array
    """(n, n): a state x in energy coordinates stores x' form x / 2, joule."""

    @property
    def label(self) -> str:
        """``C1``, or ``L1 + L2``."""
        return " + ".join(self.names)

    def energy(self, states: Array) -> Array:
        """(...,): joule stored in states (..., n)."""
        return np.einsum("...i,ij,...j->...", states, self.form, states) / 2


def stores(network: PeriodNetwork) -> tuple[Store, ...]:
    """Everything that stores energy: coils group by group, then capacitors."""
    of_state = network.coordinates[0][0]
    inverse = np.linalg.inv(of_state)
    matrix = inverse.T @ inverse * float(network.scales.energy[0])
    flux_names = [tuple(name for name, _ in flux.windings) for flux in network.fluxes]
    names = [*flux_names, *((capacitor.name,) for capacitor in network.circuit.capacitors)]
    found = []
    for places in _coupled(matrix, len(flux_names)):
        own = np.zeros_like(of_state)
        own[places] = of_state[places]
        members = tuple(name for place in places for name in names[place])
        found.append(Store(members, own.T @ matrix @ own))
    return tuple(found)


def _coupled(matrix: Array, coils: int) -> list[list[int]]:
    """Places of states that share energy: coils joined by mutual inductance; every capacitor alone."""
    size = np.sqrt(np.diag(matrix))
    groups: list[list[int]] = []
    for place in range(len(matrix)):
        near = [g for g in groups if place < coils and any(_mutual(matrix, size, place, k) for k in g)]
        groups = [g for g in groups if g not in near]
        groups.append(sorted([place, *(k for g in near for k in g)]))
    return sorted(groups)


def _mutual(matrix: Array, size: Array, one: int, other: int) -> bool:
    return bool(abs(matrix[one, other]) > 1e-12 * size[one] * size[other])
