"""What a circuit's equations are whatever its values: rows of the elements, states, columns of unknowns.

A state is asked for at many points one after another, and these parts cost more than solving there; so they
are made once a circuit, and with them the numbers that the ring keeps of its polynomials.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.graph import references
from voltsec.tableau.assembly import inductance_rows, parameter_names
from voltsec.tableau.network import Flux, Network, Row, Unknown, fluxes
from voltsec.tableau.ring import Polynomial, Ring

KEPT = 32
"""Circuits whose structure is kept."""


@dataclass(frozen=True)
class Structure:
    """The network's rows over the circuit's own symbols, for :mod:`voltsec.waveforms.network`."""

    circuit: Circuit
    ring: Ring
    network: Network
    fluxes: tuple[Flux, ...]
    states: tuple[Unknown, ...]
    """Currents of the inductances, then voltages of the capacitors."""
    place: dict[Unknown, int]
    """Columns of every unknown: states, their conjugates, then the inner ones."""
    fixed_rows: tuple[Row, ...]
    """Rows of all elements but devices."""
    device_rows: dict[str, tuple[Row, Row]]
    """Each device's row while it blocks and while it conducts."""

    @cached_property
    def inductances(self) -> dict[tuple[int, int], Polynomial]:
        """Own and mutual inductances by the places of two fluxes."""
        rows = inductance_rows(self.circuit, self.ring)
        names = [flux.coil.name for flux in self.fluxes]
        return {
            (i, j): rows[one][other]
            for i, one in enumerate(names)
            for j, other in enumerate(names)
            if rows[one].get(other) is not None
        }

    @cached_property
    def device_voltages(self) -> dict[str, Row]:
        """Each device's voltage, its drop included."""
        return {device.name: self.network.device_voltage(device) for device in self.circuit.devices}


@lru_cache(maxsize=KEPT)
def structure_of(circuit: Circuit) -> Structure:
    """The structure of ``circuit``; that of an equal one where it was asked for lately."""
    ring = Ring(parameter_names(circuit))
    network = Network(circuit, ring, references(circuit))
    found = fluxes(circuit)
    states: list[Unknown] = [("flux" if f.shared else "i", f.coil.name) for f in found]
    states += [("V", capacitor.name) for capacitor in circuit.capacitors]
    slopes: list[Unknown] = [("u", flux.coil.name) for flux in found]
    slopes += [("i", capacitor.name) for capacitor in circuit.capacitors]
    place: dict[Unknown, int] = {unknown: k for k, unknown in enumerate(states + slopes)}
    fixed = [*network.rows, *network.flux_ties]
    fixed += [{**flux.current(ring), ("flux", flux.coil.name): -ring.one} for flux in found if flux.shared]
    devices = {device.name: (network.open_(device), network.closed(device)) for device in circuit.devices}
    for row in (*fixed, *(row for pair in devices.values() for row in pair)):
        for unknown in row:
            if unknown is not None:
                place.setdefault(unknown, len(place))
    for node in circuit.nodes:  # at which every element may be a device
        if node not in network.references:
            place.setdefault(("v", node), len(place))
    return Structure(circuit, ring, network, found, tuple(states), place, tuple(fixed), devices)
