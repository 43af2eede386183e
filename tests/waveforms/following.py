"""Periods of a netlist followed from a state, for tests."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

import voltsec
from voltsec.circuit.circuit import Circuit
from voltsec.periodic.points import operating_point
from voltsec.practice.start_state import start_state
from voltsec.waveforms.march import Switching, follow, switching_at
from voltsec.waveforms.network import PeriodNetwork
from voltsec.waveforms.periods import Periods
from voltsec.waveforms.state import state_values
from voltsec.waveforms.transient import transient


def ready(circuit: Circuit) -> tuple[PeriodNetwork, Switching]:
    """The network at the netlist's own operating point, and its switch intervals."""
    point = operating_point(circuit)
    assert point is not None
    return PeriodNetwork(circuit, point), switching_at(circuit, point)


def circuit_of(text: str) -> Circuit:
    """A netlist, or a shipped circuit by its name."""
    return voltsec.read(text) if "\n" in text else voltsec.load(text)


def followed(text: str | Circuit, count: int, start: Mapping[str, float] | None = None) -> Periods:
    """So many periods from ``start`` (rest)."""
    circuit = circuit_of(text) if isinstance(text, str) else text
    network, switching = ready(circuit)
    runs = list(transient(network, switching, start_state(network, start or {}), count))
    return Periods(network, runs, 0.0)


def named_states(periods: Periods) -> dict[str, float]:
    """Coil currents and capacitor voltages by name at the end, SI."""
    network = periods.network
    names = [flux.coil.name for flux in network.fluxes] + [c.name for c in network.circuit.capacitors]
    return dict(zip(names, map(float, state_values(network, periods.states[-1])), strict=True))


def by_events(circuit: Circuit, count: int) -> tuple[np.ndarray, np.ndarray]:
    """(count + 1, n) states from rest, every period followed event by event, and the scale of each state."""
    network, switching = ready(circuit)
    state, guess = np.zeros(network.count), frozenset[str]()
    states = [state]
    for _ in range(count):
        period = follow(network, switching, state, guess)
        state, guess = period.end, period.last
        states.append(state)
    return np.array(states), np.maximum(1.0, np.abs(states).max(axis=0))
