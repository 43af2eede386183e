"""Which diodes conduct from an instant on, given the state and the closed switches.

At an instant each diode's current and reverse voltage are told apart by three numbers, the first that is
not zero decides: the charge (or flux) that a jump sends through it, its value after the jump, its slope.
A set of conducting diodes is right where none has the wrong sign.  It is found by turning the diodes with
wrong signs, and, where that goes round in circles, the first of them only: least-index pivoting ends for
the problems of passive networks (Murty, Mathematical Programming 1974, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from voltsec.waveforms.linear import Array
from voltsec.waveforms.network import IntervalSystem, NotDetermined, PeriodNetwork

NOTHING = 1e-8
"""Scaled jumps, currents and voltages below this are zero."""
LEVEL = 1e-6
"""Scaled slopes (per period) below this are zero."""
TOGETHER = 8
"""So often all wrong diodes are turned at once, then one at a time."""
TURNS = 80
MOST_TRIED = 8
"""Diodes up to which every set is tried where pivoting has not ended."""
MOST_JUMPS = 12
LENIENT = (1.0, 100.0, 1e4)
"""Where no set is right to rounding, more is taken for nothing: a state may be found to less than that."""


@dataclass(frozen=True)
class Settled:
    """What follows an instant."""

    jumps: tuple[frozenset[str], ...]
    """Sets of conducting devices through which charge jumps, one after another."""
    conducting: frozenset[str]
    """The set that conducts afterwards."""


def settle(
    network: PeriodNetwork,
    closed: frozenset[str],
    state: Array,
    guess: frozenset[str],
    sharpness: float = 1.0,
) -> Settled:
    """What happens at an instant; ``state`` (n,) is the state before it, ``guess`` the diodes to try first.

    ``network`` has one point.  A ``sharpness`` above 1 takes less for nothing, where a set that was right
    to rounding did not last.  Raises :class:`NotDetermined` where no set has the right signs.
    """
    jumps: list[frozenset[str]] = []
    for _ in range(MOST_JUMPS):
        conducting, after = _chosen(network, closed, state, guess, sharpness)
        if after is None:
            return Settled(tuple(jumps), conducting)
        jumps.append(conducting)
        state, guess = after, conducting - closed
    raise NotDetermined("charge jumps to and fro without end")


def _chosen(
    network: PeriodNetwork, closed: frozenset[str], state: Array, guess: frozenset[str], sharpness: float
) -> tuple[frozenset[str], Array | None]:
    """A set with the right signs, and the state after a jump where there is one."""
    for factor in dict.fromkeys((1 / sharpness, *LENIENT)):
        found = _pivoted(network, closed, state, guess, factor)
        if found is not None:
            return found
    raise NotDetermined("which devices conduct at an instant was not found")


def _pivoted(
    network: PeriodNetwork, closed: frozenset[str], state: Array, guess: frozenset[str], factor: float
) -> tuple[frozenset[str], Array | None] | None:
    """The same where less than ``factor`` times rounding is nothing; None where no set is right."""
    names = [diode.name for diode in network.circuit.diodes]
    trial = guess & set(names)
    seen: set[frozenset[str]] = set()
    for turn in range(TURNS):
        judged = _judge(network, closed | trial, state, factor)
        if judged is not None and not judged[0]:
            return closed | trial, judged[1]
        wrong = [name for name in names if judged is None or name in judged[0]]
        if judged is None:  # a short circuit: what conducts must give way
            wrong = [name for name in wrong if name in trial] or wrong
        at_once = turn < TOGETHER and judged is not None and trial ^ set(wrong) not in seen
        seen.add(trial)
        trial = trial ^ set(wrong if at_once else wrong[:1])
        if not at_once and trial in seen and turn > TOGETHER + 2 * len(names):
            break
    if len(names) <= MOST_TRIED:
        for size in range(len(names) + 1):
            for some in combinations(names, size):
                judged = _judge(network, closed | set(some), state, factor)
                if judged is not None and not judged[0]:
                    return closed | set(some), judged[1]
    return None


def _judge(
    network: PeriodNetwork, conducting: frozenset[str], state: Array, factor: float
) -> tuple[set[str], Array | None] | None:
    """Diodes with a wrong sign, and the state after the jump if there is one; None for a short circuit."""
    try:
        system = network.system(conducting)
    except NotDetermined:
        return None
    moving = np.append(system.free[0] @ state, 1.0)
    after = system.free[0].T @ moving[:-1] + system.fixed[0]
    jump = after - state
    jumps = bool(np.abs(jump).max(initial=0.0) > factor * NOTHING * max(1.0, np.abs(state).max(initial=0.0)))
    wrong = set()
    for diode in network.circuit.diodes:
        on = diode.name in conducting
        order = margins(network, system, diode.name, on, moving, jump)
        # without a jump an impulse is what rounding makes of large stored charges
        order = (order[:1] if on else order[:2]) if jumps else order[1:]
        decided = next((value for value, least in order if abs(value) > factor * least), 0.0)
        if decided < 0:
            wrong.add(diode.name)
    return wrong, after if jumps else None


def margins(
    network: PeriodNetwork, system: IntervalSystem, name: str, on: bool, moving: Array, jump: Array
) -> list[tuple[float, float]]:
    """(impulse, value, slope) of a diode, each with the size below which it is zero; negative is wrong."""
    voltage, current = network.device_values[name]
    row = (current if on else -voltage)[0]
    unit = float((network.scales.ampere if on else network.scales.volt)[0])
    functional = row[:-1] @ system.unknowns[0]
    functional[-1] += row[-1]
    impulse = row[:-1] @ system.impulses[0] @ jump
    slope = functional @ system.augmented[0] @ moving
    return [
        (float(impulse) / unit, NOTHING),
        (float(functional @ moving) / unit, NOTHING),
        (float(slope) / unit, LEVEL),
    ]
