"""Where one mode ends the next begins, with the same voltages; and there is one mode at every point."""

from __future__ import annotations

import random

import mpmath
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from voltsec.results.solution import Mode, Solution

from .evaluation import Point, builders, environment_of, random_point, same, shares_at, value
from .variants import LOSSLESS, QUICK, SHIPPED, generated, solved

LOSSY = ("boost_lossy", "buck_lossy", "buckboost_lossy", "charger_lossy")
"""Circuits with losses that are solved in a second or two."""


def single_boundary(name: str) -> bool:
    """One mode of continuous and one of discontinuous conduction, with an edge between them."""
    modes = solved(name).modes
    return [mode.name for mode in modes] == ["CCM", "DCM"] and bool({"K", "T"} & set(modes[0].boundary))


CANDIDATES = tuple(name for name in SHIPPED if name in QUICK or name in LOSSY)


SLOW = 0.1
"""Period over the time constant of a coil with its resistances, up to which currents are nearly straight."""


def period_at_edge(solution: Solution, mode: Mode, point: Point) -> float | None:
    """The period at which the boundary of ``mode`` is met, from K and its definition; None for none."""
    builder = builders(solution)[mode.name]
    here = environment_of(mode, builder, point, None)
    if "T" in mode.boundary:
        found = value(mode.boundary["T"], here)
    else:
        at_one_second = environment_of(mode, builder, point | {"T": 1.0}, None)
        found = at_one_second["K"] / value(mode.boundary["K"], here)
    return float(found) if mpmath.isfinite(found) and found > 0 else None


def tolerance(name: str) -> float:
    """Ripple makes losses of its own, which continuous conduction neglects and discontinuous does not."""
    return 0.05 if name in LOSSY else 1e-6


@pytest.mark.parametrize("name", CANDIDATES)
def test_both_modes_state_the_same_edge(name: str) -> None:
    if not single_boundary(name):
        pytest.skip("several boundaries, or none")
    answer = solved(name)
    point = random_point(answer.circuit, random.Random(1), 0.2)
    edges = [period_at_edge(answer, mode, point) for mode in answer.modes if mode.boundary]
    assert all(same(edge, edges[0]) for edge in edges), [mode.boundary["K"] for mode in answer.modes]


# charger_lossy: a battery sets its output, so that there is an edge for few duties only
@pytest.mark.parametrize("name", [name for name in CANDIDATES if name != "charger_lossy"])
@settings(generated, max_examples=6)
@given(seed=st.integers(0, 2**32))
def test_both_modes_agree_on_their_edge(name: str, seed: int) -> None:
    if not single_boundary(name):
        pytest.skip("several boundaries, or none")
    answer = solved(name)
    point = random_point(answer.circuit, random.Random(seed), 0.2)
    lossy = name in LOSSY
    if lossy:  # small losses: straight currents are far off where a coil's time constant is short
        point = {key: number / 10 if key.startswith("R_") else number for key, number in point.items()}
    edge = period_at_edge(answer, answer.modes[0 if lossy else 1], point)
    assume(edge is not None)
    assert edge is not None
    henries = [point[coil.quantity.symbol] for coil in answer.circuit.inductors]
    ohms = [point[n] for n in point if n.startswith("R_")]
    assume(not lossy or sum(ohms) * edge < SLOW * min(henries))
    # straight currents before the edge and bent ones after it: lossy edges lie a little apart
    before, after = (0.97, 1.03) if lossy else (1 - 1e-5, 1 + 1e-5)
    # each mode must hold on its side of the edge: not so where another condition forbids both
    sides = {
        side: [
            n for n, b in builders(answer).items() if shares_at(b, point | {"T": edge * factor}) is not None
        ]
        for side, factor in (("short", before), ("long", after))
    }
    assume(sides["short"] or sides["long"])
    assert sides == {"short": ["CCM"], "long": ["DCM"]}, (sides, point, edge)
    at_edge = point | {"T": edge * (after if lossy else 1)}
    volts = []
    for mode in answer.modes:
        builder = builders(answer)[mode.name]
        shares = (
            None
            if mode.closed_form
            else shares_at(builder, point | {"T": edge * (after if lossy else 1 + 1e-9)})
        )
        here = environment_of(mode, builder, at_edge, shares)
        formulas = {"output": mode.output_voltage, "gain": mode.gain} | mode.capacitor_voltages
        volts.append({what: value(f, here) for what, f in formulas.items() if f is not None})
    assert "output" in volts[0] and "output" in volts[1]
    for what in volts[0].keys() & volts[1].keys():
        assert same(volts[0][what], volts[1][what], tolerance(name)), (what, point)
    beside = [answer.at(**point | {"T": edge * factor}).formulas for factor in (before, after)]
    currents = [numbers.inductor_currents for numbers in beside]
    scale = max(abs(number) for number in currents[0].values() if number is not None)
    for coil, number in currents[0].items():
        if number is not None:
            assert currents[1][coil] == pytest.approx(number, abs=max(tolerance(name), 1e-3) * scale), coil


LARGEST_DUTY = {
    # a core is emptied within the rest of the period, or the source is shorted on the average
    "forward": lambda point: 1 / (1 + point["nr"]),
    "qzs_boost": lambda point: 0.5,
    "qzs_c1": lambda point: 0.5,
}
"""Duties from which no steady state exists (common practice, no source)."""


@pytest.mark.parametrize("name", LOSSLESS)
@settings(generated, max_examples=8)
@given(seed=st.integers(0, 2**32))
def test_one_mode_holds_at_every_point(name: str, seed: int) -> None:
    answer = solved(name)
    point = random_point(answer.circuit, random.Random(seed))
    if "D" in point and point["D"] >= LARGEST_DUTY.get(name, lambda _: 1.0)(point):
        return
    holding = [mode for mode, builder in builders(answer).items() if shares_at(builder, point) is not None]
    holding += [mode for mode, numeric in answer.engine.numeric if numeric.holds(point)]
    assert len(holding) == 1, (holding, point)


@pytest.mark.parametrize("name", LOSSLESS)
@settings(generated, max_examples=8)
@example(seed=15, spread=0.0)
@example(seed=41, spread=0.3)
@given(seed=st.integers(0, 2**32), spread=st.sampled_from([0.0, 0.3]))
def test_the_stated_region_is_where_the_mode_holds(name: str, seed: int, spread: float) -> None:
    """``holds_when`` says at every point what the sign checks say."""
    answer = solved(name)
    point = random_point(answer.circuit, random.Random(seed), spread)
    if "D" in point and point["D"] >= LARGEST_DUTY.get(name, lambda _: 1.0)(point):
        return
    duties = {duty: point[duty] for duty in answer.circuit.duty_symbols}
    for mode in answer.modes:
        builder = builders(answer).get(mode.name)
        if builder is None:
            continue
        shares = shares_at(builder, point)
        if mode.holds_when is None:
            if len(duties) < 2:
                assert shares is not None, (mode.name, point)
        elif shares is not None:
            here = environment_of(mode, builder, point, shares)
            assert value(mode.holds_when, here), (mode.name, mode.holds_when, point)
        elif mode.closed_form and builder.found.stages.edges == tuple(sorted(duties, key=duties.__getitem__)):
            here = environment_of(mode, builder, point, None)
            # that an interval lasts some time goes without saying
            lasting = all(value(interval.fraction, here) > 0 for interval in mode.intervals)
            assert not (lasting and value(mode.holds_when, here)), (mode.name, mode.holds_when, point)
