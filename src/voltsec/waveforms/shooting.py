"""The periodic state found from nothing: steps over many periods until the end of one meets its start.

Passive networks with ideal switches and diodes never move two states apart (in energy coordinates): the
period map P is nonexpansive.  So ``x - anchor = span (P(x) - x)``, an implicit step over ``span`` periods,
has one solution for every span, and steps from one solution to the next converge to a periodic state where
there is one (proximal point method; Rockafellar, SIAM J. Control Optim. 14, 1976, from memory).  The
equation is solved by Newton's method, whose derivative is exact; without end the span makes it Newton's
method on the period itself, which comes first, because it mostly gets there in a few steps.
"""

from __future__ import annotations

from contextlib import suppress

import numpy as np

from voltsec.circuit.computing_time import OutOfTime
from voltsec.circuit.graph import references
from voltsec.periodic.complementarity import PeriodicProblem
from voltsec.periodic.time_grid import uniform
from voltsec.waveforms.linear import Array
from voltsec.waveforms.march import Followed, Switching, follow
from voltsec.waveforms.network import NotDetermined, PeriodNetwork
from voltsec.waveforms.state import state_from

PERIODS = 320
"""Periods followed at most."""
CLOSED = 1e-10
"""The end meets the start within this share of the state's size."""
FINER = 0.5
"""A closed period is closed once more where that leaves less than this share of what it misses."""
RUNAWAY = 1e8
"""No state that is so many times the circuit's level is periodic."""
STEPS = (8, 24)
"""Steps in each switch interval of the problem that gives the first guess."""
SPANS = 2.0, 16.0, 1e12
"""Periods of an implicit step: the least, those after Newton's method was led astray, the most."""
LONGER, SHORTER = 8.0, 30.0
"""Spans grow by this factor after a step that was solved, and shrink after one that was not."""
SHORTENED = (1.0, 1 / 3, 1 / 9, 1 / 27)
"""Shares of Newton's step that are tried."""
ASTRAY = 3
"""So many steps in a row may make an implicit step's equation worse than it was at its best."""
SOLVED = 0.3
"""An implicit step is near enough where it is off by this share of what is missing at its anchor."""


def found_periodic(network: PeriodNetwork, switching: Switching) -> tuple[Followed, Array]:
    """One period that ends where it began, and the state there; raises :class:`NotDetermined`.

    ``network`` has one point.
    """
    search = _Search(network, switching)
    state, guess = _first_guess(network, switching)
    try:
        period = search.follow(state, guess)
    except NotDetermined:  # not from there: from rest, then
        state, guess = np.zeros(network.count), frozenset()
        period = search.follow(state, guess)
    least, usual, span = SPANS
    anchor, start = state, period
    best, astray = np.inf, 0
    while True:
        size = float(np.linalg.norm(state))
        if size < RUNAWAY and _misses(period, state) < CLOSED * max(1.0, size):
            return search.finest(period, state)
        state, period, off = search.step(period, state, anchor, span)
        astray = 0 if off < best else astray + 1
        best = min(best, off)
        far = not np.linalg.norm(state) < RUNAWAY
        if off < SOLVED * _misses(start, anchor):
            if far:  # an implicit step never leads farther from a periodic state than its anchor was
                raise NotDetermined("currents or voltages grow without limit")
            span = min(span * LONGER, SPANS[-1])
        elif astray > ASTRAY or far:
            # a plain period from the anchor, and shorter steps
            state = start.end
            period = search.follow(state, start.last)
            span = max(min(span / SHORTER, usual), least)
        else:
            continue
        anchor, start = state, period
        best, astray = np.inf, 0


def _misses(period: Followed, state: Array) -> float:
    return float(np.linalg.norm(period.end - state))


class _Search:
    """Periods followed, counted."""

    def __init__(self, network: PeriodNetwork, switching: Switching) -> None:
        self.network = network
        self.switching = switching
        self.left = PERIODS
        self.shortened = 0
        """Place in ``SHORTENED`` of the share that was taken last."""

    def follow(self, state: Array, guess: frozenset[str]) -> Followed:
        """One period from ``state``."""
        if self.left == 0:
            raise NotDetermined("no state was found that repeats after a period")
        self.left -= 1
        return follow(self.network, self.switching, state, guess)

    def finest(self, period: Followed, state: Array) -> tuple[Followed, Array]:
        """The period closed as well as rounding lets it: large capacitors carry what little it misses."""
        with suppress(NotDetermined, OutOfTime):
            while True:
                nearer, after, _ = self.step(period, state, state, SPANS[-1])
                if not _misses(after, nearer) < FINER * _misses(period, state):
                    break
                state, period = nearer, after
        return period, state

    def step(
        self, period: Followed, state: Array, anchor: Array, span: float
    ) -> tuple[Array, Followed, float]:
        """Newton's step towards the end of an implicit one, shortened while its equation gets worse.

        The new state, the period from there, and what the equation is still off.  Where no share of the step
        is better the best is taken all the same: beyond a corner, where other devices conduct, the next step
        may lead to the solution.
        """
        residual = period.end - state - (state - anchor) / span
        matrix = (1 + 1 / span) * np.eye(len(state)) - period.slope
        step = np.linalg.lstsq(matrix, residual, rcond=1e-12)[0]
        tried: list[tuple[Array, Followed, float]] = []
        for place in range(max(self.shortened - 1, 0), len(SHORTENED)):
            factor, self.shortened = SHORTENED[place], place
            trial = state + factor * step
            try:
                after = self.follow(trial, period.last)
            except NotDetermined:
                if self.left == 0:
                    raise
                continue
            off = float(np.linalg.norm(after.end - trial - (trial - anchor) / span))
            tried.append((trial, after, off))
            if off < (1 - factor / 10) * float(np.linalg.norm(residual)):
                break
        return min(tried, key=lambda one: one[2]) if tried else (state, period, np.inf)


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
    return state_from(network, values), guess
