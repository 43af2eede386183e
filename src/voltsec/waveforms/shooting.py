"""The periodic state found from nothing: periods followed until the end meets the start.

Passive networks with ideal switches and diodes never move two states apart (in energy coordinates), so
plain periods never lead away from the periodic state, and Newton's method on the period, whose derivative
is exact, gets there in a few steps once the devices conduct as they will.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from voltsec.circuit.graph import references
from voltsec.steady.complementarity import PeriodicProblem
from voltsec.steady.time_grid import uniform
from voltsec.waveforms.linear import Array
from voltsec.waveforms.march import Followed, Switching, follow
from voltsec.waveforms.network import NotDetermined, PeriodNetwork

PERIODS = 120
"""Periods followed at most."""
CLOSED = 1e-10
"""The end meets the start within this share of the state's size."""
STEPS = (8, 24)
"""Steps in each switch interval of the problem that gives the first guess."""


def found_periodic(
    network: PeriodNetwork, switching: Switching, patience: Callable[[], None] = lambda: None
) -> tuple[Followed, Array]:
    """One period that ends where it began, and the state there; raises :class:`NotDetermined`.

    ``network`` has one point.  ``patience`` is called once a period and may raise to end the search.
    """
    state, guess = _first_guess(network, switching)
    last: Followed | None = None
    best = np.inf
    before: Array | None = None
    for _ in range(PERIODS):
        patience()
        period = follow(network, switching, state, guess)
        miss = period.end - state
        size = float(np.linalg.norm(miss))
        if size < CLOSED * max(1.0, float(np.linalg.norm(state))):
            return period, state
        guess = period.last
        if before is not None and size > 0.9 * best:
            # Newton led astray: back to where the step began, and a plain period from there
            assert last is not None
            state, guess, before = last.end, last.last, None
            best = np.inf
            continue
        best = size
        last, before = period, state
        step = np.linalg.lstsq(np.eye(len(state)) - period.slope, miss, rcond=1e-12)[0]
        state = state + step
    raise NotDetermined("no state was found that repeats after a period")


def _first_guess(network: PeriodNetwork, switching: Switching) -> tuple[Array, frozenset[str]]:
    """The state at the period's start as constant capacitor voltages give it, zero where nothing is found."""
    circuit = network.circuit
    point = {name: float(values[0]) for name, values in network.point.items()}
    values = np.zeros(network.count)
    guess: frozenset[str] = frozenset()
    lasting = [k for k, length in enumerate(switching.lengths) if length > 0]
    try:
        problem = PeriodicProblem(
            circuit, references(circuit), tuple(switching.closed[k] for k in lasting), point
        )
        lengths = np.array([switching.lengths[k] for k in lasting])
        grids = (uniform(len(lasting), steps) for steps in STEPS)
        found = (problem.solve(lengths, grid) for grid in grids)
        state = next((one for one in found if one is not None and not one.runaway), None)
    except np.linalg.LinAlgError:
        state = None
    if state is not None:
        values = np.concatenate([state.coil_currents[-1], state.capacitor_voltages])
        guess = frozenset(d.name for d, on in zip(circuit.diodes, state.conducting[-1], strict=True) if on)
    return np.linalg.solve(network.coordinates[0][0], values / network.units[0, : network.count]), guess
