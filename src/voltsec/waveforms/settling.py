"""Which capacitors and inductors follow the circuit at once: seen on the exact periodic state at one point.

Such a part (a snubber's capacitor, a stray inductance) settles within every interval: with all other states
held it decays in a small share of the interval, or ideal parts tie it.  Its voltage or current takes steps,
so a formula that takes it for constant would be far off, and what it passes on is little beside the rest.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf, isinf
from typing import Any

import numpy as np

from voltsec.circuit.circuit import Circuit
from voltsec.waveforms.exact import exact_state
from voltsec.waveforms.trajectory import Trajectory

SHORT = 0.02
"""Intervals of a smaller share of the period are steps themselves."""
TIME_CONSTANTS = 2.0
"""A state that has so many until what drives it changes has settled: a seventh of its step is left."""
UNCHANGED = 0.05
"""What a state decays to has changed where it moved by more than this share of the state's swing."""
TIED = 0.1
"""A state that is free to move by a smaller share of its energy follows others."""
STEPS = 0.2
"""Swing as a share of the largest size: less is nearly constant."""
LITTLE = 0.25
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
        if _settles(trajectory, place):
            names.add(name)
    return frozenset(names)


def _range(trajectory: Trajectory, unknown: tuple[Any, ...]) -> tuple[float, float]:
    row = trajectory.network.row({unknown: 1.0})
    values = [
        np.einsum("pm,psm->ps", trajectory.functional(k, row), states)
        for k, (_, states) in enumerate(trajectory.sampled)
    ]
    return min(float(v.min()) for v in values), max(float(v.max()) for v in values)


@dataclass(frozen=True)
class _Decay:
    """How a state behaves in one interval with all other states held."""

    constants: float
    """Time constants the interval lasts; infinite where ideal parts tie the state."""
    state: tuple[float, float]
    """Its value at the interval's start and end, in energy coordinates, ..."""
    target: tuple[float, float]
    """... and what it decays to, seen from there."""


def _settles(trajectory: Trajectory, place: int) -> bool:
    """Whether a state settles after every change of what it decays to.

    An edge elsewhere, of another leg, changes nothing for it: the intervals around it count together.
    """
    decays = [_decay(trajectory, k, place) for k in range(len(trajectory.systems))]
    lasting = [decay for decay in decays if decay is not None]
    values = [value for decay in lasting for value in decay.state]
    if not lasting:
        return False
    small = UNCHANGED * (max(values) - min(values))
    runs = [0.0]
    for before, decay in zip(lasting[-1:] + lasting[:-1], lasting, strict=True):
        change = abs(before.target[1] - decay.target[0])
        if isinf(before.constants) or isinf(decay.constants) or not change <= small:
            runs.append(0.0)
        runs[-1] += decay.constants
    if len(runs) > 1:  # what the period begins with goes on from its end
        runs[-1] += runs.pop(0)
    return min(runs) >= TIME_CONSTANTS


def _decay(trajectory: Trajectory, k: int, place: int) -> _Decay | None:
    """The state in interval ``k``; None where that is hardly more than a step."""
    share = float(trajectory.fractions[0, k])
    if share < SHORT:
        return None
    system = trajectory.systems[k]
    free = system.free[0][:, place]
    moves = float(free @ free)
    ends = [end[0] for end in trajectory.ends[k][:2]]
    state = tuple(float(free @ end[:-1]) for end in ends)
    if moves < TIED:
        return _Decay(inf, (state[0], state[1]), (0.0, 0.0))
    rate = float(free @ system.augmented[0][:-1, :-1] @ free) / moves
    if rate >= 0:
        return _Decay(0.0, (state[0], state[1]), (inf, -inf))
    slopes = [float(free @ (system.augmented[0] @ end)[:-1]) for end in ends]
    target = [value - slope / rate for value, slope in zip(state, slopes, strict=True)]
    constants = -rate * share * float(trajectory.period[0])
    return _Decay(constants, (state[0], state[1]), (target[0], target[1]))
