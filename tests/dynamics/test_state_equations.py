"""State equations against textbook matrices, the steady state of ``solve``, and an integration by scipy."""

from __future__ import annotations

import numpy as np
import pytest
import sympy
from scipy.integrate import solve_ivp

import voltsec
from voltsec.dynamics.state_equations import StateEquations
from voltsec.periodic.points import operating_point
from voltsec.waveforms.exact import exact_state


def symbols(names: str) -> list[sympy.Symbol]:
    return [sympy.Symbol(name, positive=True) for name in names.split()]


def test_step_up_stage() -> None:
    """Middlebrook, Cuk 1976, and M1 section 7.3: the two intervals and their mean."""
    L, C, R, D = symbols("L Co R D")
    found = voltsec.states(voltsec.solve(voltsec.load("boost")))
    on, off = (interval.equations for interval in found.intervals)
    assert on.states == ("L", "Co") and on.inputs == ("Vg",)
    assert sympy.Matrix([[0, 0], [0, -1 / (R * C)]]) == sympy.Matrix(on.A)
    assert sympy.Matrix([[0, -1 / L], [1 / C, -1 / (R * C)]]) == sympy.Matrix(off.A)
    assert found.averaged is not None
    wanted = sympy.Matrix([[0, -(1 - D) / L], [(1 - D) / C, -1 / (R * C)]])
    assert sympy.simplify(sympy.Matrix(found.averaged.A) - wanted) == sympy.zeros(2)
    assert sympy.Matrix(found.averaged.B) == sympy.Matrix([1 / L, 0])


def test_laws_by_element_name() -> None:
    Vg, R_L, R_S, L = symbols("Vg R_L R_S L")
    current = sympy.Symbol("i(L)", positive=True)
    found = voltsec.states(voltsec.solve(voltsec.load("boost_lossy")))
    law = found.intervals[0].equations.laws[0]
    assert law.element == "L" and law.left == ((L, "L"),)
    assert sympy.expand(law.right - (Vg - (R_L + R_S) * current)) == 0


SHELF = ["buck_lossy", "boost_lossy", "sepic_lossy", "cuk_coupled", "boost_mult1", "superlift_po", "sl_boost"]


@pytest.mark.parametrize("name", [*SHELF, "quad_boost", "iso_cuk"])
def test_the_mean_at_rest_is_the_steady_state(name: str) -> None:
    """0 = A x + B u gives the averages that ``solve`` finds another way."""
    answer = voltsec.solve(voltsec.load(name))
    found = voltsec.states(answer, "CCM")
    own = found.averaged
    assert own is not None
    numbers = {symbol: value for symbol, value in zip(*_values(answer), strict=True)}
    a, b = (np.array(m.subs(numbers).tolist(), float) for m in (own.A, own.B))
    u = np.array([float(answer.circuit.values[symbol]) for symbol in own.inputs])
    x = -np.linalg.solve(a, b @ u)
    mode = next(mode for mode in answer.modes if mode.name == "CCM")
    for state, value in zip(own.states, x, strict=True):
        told = {**mode.inductor_currents, **mode.capacitor_voltages}[state]
        for _ in range(3):
            told = told.subs({sympy.Symbol(k, positive=True): v for k, v in mode.definitions.items()})
        assert float(told.subs(numbers)) == pytest.approx(value, rel=1e-9)


def _values(answer: voltsec.Solution) -> tuple[list[sympy.Symbol], list[float]]:
    known = {name: float(value) for name, value in answer.circuit.values.items()}
    return [sympy.Symbol(name, positive=True) for name in known], list(known.values())


@pytest.mark.parametrize("name", ["sepic_lossy", "cuk_coupled", "boost", "boost_lossy", "zeta"])
def test_a_period_integrated_by_scipy_closes(name: str) -> None:
    """From the exact periodic state's start the intervals' equations lead back to it."""
    circuit = voltsec.load(name)
    answer = voltsec.solve(circuit)
    found = voltsec.states(answer)
    point = operating_point(circuit)
    assert point is not None
    state = exact_state(circuit, point)
    assert state is not None
    trajectory = state.trajectory
    network = trajectory.network
    to_physical = network.coordinates[0][0] * network.units[0, : network.count, None]
    x = start = to_physical @ trajectory.start[0]
    values = {sympy.Symbol(k, positive=True): v for k, v in point.items()}
    for k, interval in enumerate(found.intervals):
        own: StateEquations = interval.equations
        a, b = (np.array(m.subs(values).tolist(), float) for m in (own.A, own.B))
        drive = b @ np.array([point[symbol] for symbol in own.inputs])
        span = float(trajectory.fractions[0, k]) * point["T"]
        done = solve_ivp(lambda _, y, a=a, d=drive: a @ y + d, (0, span), x, rtol=1e-10, atol=1e-12)
        x = done.y[:, -1]
    assert np.abs(x - start).max() < 1e-6 * np.abs(start).max()


def test_ties_are_named() -> None:
    found = voltsec.states(voltsec.solve(voltsec.load("boost_mult1")))
    (tie,) = found.intervals[0].equations.ties
    assert {tie.state, str(tie.value)} == {"C1", "v(C2)"} and tie.kind == "a loop of capacitors"
    assert found.averaged is not None and len(found.averaged.states) == 2
    dry = voltsec.states(voltsec.solve(voltsec.load("boost")), "DCM")
    (tie,) = dry.intervals[2].equations.ties
    assert (tie.state, tie.value, tie.kind) == ("L", 0, "a cutset of inductors")
    assert dry.averaged is None and "ends by itself" in dry.why_not


def test_an_unknown_mode_names_the_nearest() -> None:
    with pytest.raises(ValueError, match="did you mean 'DCM'"):
        voltsec.states(voltsec.solve(voltsec.load("boost")), "DMC")
