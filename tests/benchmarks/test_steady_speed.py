"""The exact periodic state against a general integrator run from rest until it has come as near to it.

The integrator is scipy's ``solve_ivp`` on the same intervals' state equations, restarted at every switch edge
and watching a coil's current for its zero, where the diode would turn, at the tolerance its result needs.
How exact the exact state is, and so how near the integrator must come, is measured against matrix
exponentials of forty digits (mpmath).
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

import mpmath
import numpy as np
import pytest
import sympy
from scipy.integrate import solve_ivp

import voltsec
from voltsec.periodic.points import operating_point
from voltsec.practice.sweep import sweep
from voltsec.results.table import results_of
from voltsec.waveforms.exact import Expected, exact_results, exact_state
from voltsec.waveforms.trajectory import Trajectory

TIMES = 1000
"""How much faster the exact state must be."""
CLOSE = 3e-13
"""Share of the state's size to which the integrator must come, the tightest that it can be asked for; the
exact state is right to a hundredth of that."""
DIGITS = 40
MOST_PERIODS = 20_000
POINTS = 1000
SECONDS = 3.0


@dataclass(frozen=True)
class Piece:
    """One interval: dx/dt = a x + d for so many seconds."""

    a: np.ndarray
    d: np.ndarray
    span: float


def pieces(answer: voltsec.Solution, trajectory: Trajectory, point: dict[str, float]) -> list[Piece]:
    """The intervals at the operating point, continuous conduction."""
    values = {sympy.Symbol(name, positive=True): value for name, value in point.items()}
    found = []
    for k, interval in enumerate(voltsec.states(answer).intervals):
        own = interval.equations
        a, b = (np.array(m.subs(values).tolist(), float) for m in (own.A, own.B))
        drive = b @ np.array([point[symbol] for symbol in own.inputs])
        found.append(Piece(a, drive, float(trajectory.fractions[0, k]) * point["T"]))
    return found


def states_at_start(trajectory: Trajectory) -> np.ndarray:
    """Coil currents and capacitor voltages where the period begins."""
    network = trajectory.network
    to_physical = network.coordinates[0][0] * network.units[0, : network.count, None]
    return to_physical @ trajectory.start[0]


def to_many_digits(parts: list[Piece]) -> np.ndarray:
    """The state that repeats, each interval's matrix exponential and the last solve by mpmath."""
    size = len(parts[0].d)
    with mpmath.workdps(DIGITS):
        total = mpmath.eye(size + 1)
        for part in parts:
            augmented = mpmath.zeros(size + 1)
            augmented[:size, :size] = mpmath.matrix(part.a.tolist())
            augmented[:size, size] = mpmath.matrix(part.d.tolist())
            total = mpmath.expm(augmented * mpmath.mpf(part.span)) * total
        start = mpmath.lu_solve(mpmath.eye(size) - total[:size, :size], total[:size, size])
        return np.array([float(value) for value in start])


def first_state(_: float, y: np.ndarray) -> float:
    """The current of the first coil."""
    return float(y[0])


def from_rest(parts: list[Piece], wanted: np.ndarray) -> tuple[int, float]:
    """Periods and seconds until every state is within :data:`CLOSE`."""
    x = np.zeros(len(wanted))
    began = time.process_time()
    periods = 0
    while periods < MOST_PERIODS and np.abs(x - wanted).max() > CLOSE * np.abs(wanted).max():
        periods += 1
        for part in parts:
            done = solve_ivp(
                lambda _, y, part=part: part.a @ y + part.d,
                (0.0, part.span),
                x,
                rtol=CLOSE / 10,
                atol=CLOSE / 100,
                events=first_state,
            )
            x = done.y[:, -1]
    return periods, time.process_time() - began


def seconds_of(step: Callable[[], object], rounds: int = 20) -> float:
    """Processor time of one round, the first apart."""
    step()
    began = time.process_time()
    for _ in range(rounds):
        step()
    return (time.process_time() - began) / rounds


@pytest.mark.parametrize("name", ["boost_lossy", "sepic_lossy"])
def test_a_thousand_times_faster_than_an_integration(capsys, name: str) -> None:
    circuit = voltsec.load(name)
    answer = voltsec.solve(circuit)
    point = operating_point(circuit)
    assert point is not None
    state = exact_state(circuit, point)
    assert state is not None
    parts, wanted_state = pieces(answer, state.trajectory, point), states_at_start(state.trajectory)
    assert wanted_state == pytest.approx(
        to_many_digits(parts), rel=0.0, abs=CLOSE * np.abs(wanted_state).max()
    )
    periods, integrated = from_rest(parts, wanted_state)
    assert periods < MOST_PERIODS
    known = [Expected(state.trajectory.sequence, state.trajectory.fractions)]
    exact = seconds_of(lambda: exact_state(circuit, point, known))
    searched = seconds_of(lambda: exact_state(circuit, point))
    many = {**point, "D": np.linspace(point["D"] - 0.05, point["D"] + 0.05, POINTS)}
    wanted = [results_of(circuit)["output_voltage"]]
    guess = [Expected(known[0].sequence, np.repeat(known[0].fractions, POINTS, axis=0))]
    each = seconds_of(lambda: exact_results(circuit, many, wanted, guess), 2) / POINTS
    with capsys.disabled():
        print(
            f"\n{name}: solve_ivp from rest {integrated:.2f} s, {periods} periods, to {CLOSE:g}; exact state"
            f"\n  devices known   {1e3 * exact:.2f} ms, ratio {integrated / exact:.0f}"
            f"\n  from nothing    {1e3 * searched:.2f} ms, ratio {integrated / searched:.0f}"
            f"\n  {POINTS} together {1e3 * each:.3f} ms each, ratio {integrated / each:.0f}"
        )
    assert integrated > TIMES * exact
    assert integrated > TIMES * each


@pytest.mark.parametrize("name", ["boost_lossy", "sepic", "sepic_lossy", "cuk_coupled", "boost_mult1_lossy"])
def test_a_thousand_duties(capsys, name: str) -> None:
    """Every one the exact periodic state, ripple included, compilation of the modes with it."""
    answer = voltsec.solve(voltsec.load(name))
    began = time.process_time()
    found = sweep(answer, {"D": np.linspace(0.05, 0.9, POINTS)})
    spent = time.process_time() - began
    with capsys.disabled():
        print(f"\n{name}: {POINTS} duties in {spent:.2f} s, exact at {found.exact.mean():.1%} of them")
    assert found.exact.mean() > 0.99
    assert spent <= SECONDS
