"""Which capacitors and inductors follow the circuit at once: seen on the exact periodic state at one point.

Such a part (a snubber's capacitor, a stray inductance) settles within every interval: with all other states
held it decays in a small share of the interval, or ideal parts tie it.  Its voltage or current takes steps,
so a formula that takes it for constant would be far off, and what it passes on is little beside the rest.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.waveforms.exact import exact_state
from voltsec.waveforms.trajectory import Trajectory

SHORT = 0.02
"""Intervals of a smaller share of the period are steps themselves."""
TIME_CONSTANTS = 4.0
"""A state that has so many in an interval has settled."""
TIED = 0.1
"""A state that is free to move by a smaller share of its energy follows others."""
STEPS = 0.2
"""Swing as a share of the largest size: less is nearly constant."""
LITTLE = 0.05
"""Charge or flux moved in a period, as a share of the circuit's current or voltage times the period."""


def settling(circuit: Circuit, point: Mapping[str, float]) -> frozenset[str]:
    """Names of capacitors and inductors that settle within every interval at ``point`` (SI units).

    None of them where the exact periodic state is not found.  Coupled inductors are not among them.
    """
    found = exact_state(circuit, point)
    if found is None:
        return frozenset()
    trajectory = found.trajectory
    network = trajectory.network
    coupled = {name for coupling in circuit.couplings for name in (coupling.first, coupling.second)}
    single = {inductor.name for inductor in circuit.inductors} - coupled
    volt, ampere = network.scales.volt[0], network.scales.ampere[0]
    period = float(network.point["T"][0])
    names = set()
    for unknown, place in network.place.items():
        kind, name = unknown[0], unknown[-1]
        if place >= network.count or kind == "flux" or (kind == "i" and name not in single):
            continue
        size = network.point[circuit.symbol_of(name)][0]
        low, high = _range(trajectory, unknown)
        swing, largest = high - low, max(abs(low), abs(high))
        level = (ampere if kind == "V" else volt) * period
        if swing <= STEPS * largest or size * swing > LITTLE * level:
            continue
        if all(_settles(trajectory, k, place) for k in range(len(trajectory.systems))):
            names.add(name)
    return frozenset(names)


def _range(trajectory: Trajectory, unknown: tuple[Any, ...]) -> tuple[float, float]:
    row = trajectory.network.row({unknown: 1.0})
    values = [
        np.einsum("pm,psm->ps", trajectory.functional(k, row), states)
        for k, (_, states) in enumerate(trajectory.sampled)
    ]
    return min(float(v.min()) for v in values), max(float(v.max()) for v in values)


def _settles(trajectory: Trajectory, k: int, place: int) -> bool:
    share = float(trajectory.fractions[0, k])
    if share < SHORT:
        return True
    system = trajectory.systems[k]
    free = system.free[0][:, place]
    if free @ free < TIED:
        return True
    rate = float(free @ system.augmented[0][:-1, :-1] @ free) / float(free @ free)
    return -rate * share * float(trajectory.period[0]) >= TIME_CONSTANTS
