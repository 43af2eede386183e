"""Many periods from a state: scipy on state equations written by hand, the independent integration, and
periods that are followed one by one."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from tests.integration.switched import states_after
from tests.random.cases import make
from voltsec.waveforms.exact import exact_state

from .following import by_events, circuit_of, followed, named_states

Slopes = Callable[[np.ndarray], list[float]]
"""State -> its rate of change."""


def by_hand(on: Slopes, off: Slopes, idle: Slopes, duty: float, period: float, count: int) -> np.ndarray:
    """(2,): coil current and capacitor voltage after ``count`` periods from rest; the diode stops the coil.

    ``off`` holds while the coil's current flows, ``idle`` once it is zero; when ``idle`` would let a current
    begin (its first entry is not zero), it flows.
    """
    x = np.zeros(2)

    def integrate(slopes: Slopes, length: float, stop: bool) -> float:
        nonlocal x

        def dry(_: float, y: np.ndarray) -> float:
            return float(y[0]) if stop else 1.0

        dry.terminal, dry.direction = True, -1  # type: ignore[attr-defined]
        found = solve_ivp(
            lambda _, y: slopes(y), (0, length), x, method="DOP853", rtol=1e-12, atol=1e-14, events=dry
        )
        x = found.y[:, -1]
        return float(found.t[-1])

    for _ in range(count):
        integrate(on, duty * period, stop=False)
        left = (1 - duty) * period
        left -= integrate(off, left, stop=True)
        if left > 1e-15:
            x[0] = 0.0
            integrate(idle, left, stop=False)
    return x


def test_step_down_from_rest() -> None:
    """Ideal step-down stage, L i' = Vg - v or -v, C v' = i - v/R (textbook); it rests after its overshoot."""
    volt, henry, farad, ohm, duty, period = 12.0, 20e-6, 47e-6, 8.0, 0.4, 5e-6
    text = f"""source Vg : in -> gnd = {volt} V
switch S : in -> a
diode D1 : gnd -> a
inductor L : a -> out = 20 uH
capacitor C : out -> gnd = 47 uF
load R : out -> gnd = {ohm} ohm
operate D = {duty}, T = 5 us
"""
    expected = by_hand(
        lambda y: [(volt - y[1]) / henry, (y[0] - y[1] / ohm) / farad],
        lambda y: [-y[1] / henry, (y[0] - y[1] / ohm) / farad],
        lambda y: [0.0, -y[1] / ohm / farad],
        duty,
        period,
        120,
    )
    periods = followed(text, 120)
    assert named_states(periods)["L"] == pytest.approx(expected[0], abs=1e-7)
    assert named_states(periods)["C"] == pytest.approx(expected[1], rel=1e-8)
    assert len(periods.runs) < 60  # most of them are taken together
    assert any(len(run.sequence.intervals) == 3 for run in periods.runs)  # and some had the coil dry


def test_lossy_step_up_from_rest() -> None:
    """L i' = Vg - (RL + Rs) i, then Vg - RL i - Vd - v with the capacitor's resistance aside (textbook)."""
    volt, henry, farad, ohm, duty, period = 12.0, 100e-6, 22e-6, 50.0, 0.5, 10e-6
    coil, switch, drop = 0.2, 0.05, 0.6
    text = """source Vg : in -> gnd = 12 V
inductor L : in -> a = 100 uH { resistance 200 mohm }
switch S : a -> gnd { resistance 50 mohm }
diode D1 : a -> out { drop 0.6 V }
capacitor C : out -> gnd = 22 uF
load R : out -> gnd = 50 ohm
operate D = 0.5, T = 10 us
"""
    expected = by_hand(
        lambda y: [(volt - (coil + switch) * y[0]) / henry, -y[1] / ohm / farad],
        lambda y: [(volt - drop - coil * y[0] - y[1]) / henry, (y[0] - y[1] / ohm) / farad],
        lambda y: [0.0, -y[1] / ohm / farad],
        duty,
        period,
        250,
    )
    found = named_states(followed(text, 250))
    assert [found["L"], found["C"]] == pytest.approx(expected.tolist(), rel=1e-8)


@pytest.mark.parametrize(
    ("name", "count"), [("sepic_lossy", 60), ("boost_mult1_lossy", 50), ("cuk_coupled", 40), ("qzs_c1", 40)]
)
def test_the_integration_in_time(name: str, count: int) -> None:
    """It shares no code with the solver; its small resistances are what the tolerance is for."""
    circuit = circuit_of(name)
    found, outside = named_states(followed(circuit, count)), states_after(circuit, count)
    largest = {"i": 0.0, "v": 0.0}
    for part in outside:
        kind = "v" if part.startswith("C") else "i"
        largest[kind] = max(largest[kind], abs(outside[part]))
    for part, value in outside.items():
        kind = "v" if part.startswith("C") else "i"
        assert found[part] == pytest.approx(value, abs=1e-3 * largest[kind])


@pytest.mark.parametrize("number", [2, 5, 9, 17, 21, 46, 58, 77])
def test_periods_taken_together_are_those_followed_one_by_one(number: int) -> None:
    circuit = make(number).circuit
    expected, scale = by_events(circuit, 40)
    periods = followed(circuit, 40)
    assert periods.count == 40
    assert np.abs((periods.states - expected) / scale).max() < 1e-9


def test_a_run_ends_where_a_diode_turns_otherwise() -> None:
    """Once the overshoot is over the coil runs dry, later it does not again: three sequences at least."""
    periods = followed("buck", 400)
    assert len({run.sequence for run in periods.runs}) >= 2
    assert sum(len(run.start) for run in periods.runs) == 400


@pytest.mark.parametrize("name", ["buck", "boost_lossy", "sepic_lossy", "luo_selflift_no"])
def test_it_ends_in_the_exact_periodic_state(name: str) -> None:
    periods = followed(name, 9000)
    circuit = periods.network.circuit
    state = exact_state(circuit, {name: float(v[0]) for name, v in periods.network.point.items()})
    assert state is not None
    goal = state.trajectory.start[0]
    assert periods.states[-1] == pytest.approx(goal, rel=1e-7, abs=1e-7 * float(np.abs(goal).max()))
