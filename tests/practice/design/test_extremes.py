"""Worst corners against points at random, and extremes that lie inside the ranges."""

from __future__ import annotations

import numpy as np
import pytest

import voltsec
from tests.practice.solved import solved
from voltsec.practice.design.corners import Axis, Box, worst_places
from voltsec.practice.design.extremes import HIGHEST, LOWEST, WorstCase
from voltsec.practice.sweep import sweep


def at_random(worst: WorstCase, count: int, seed: int) -> dict[str, np.ndarray]:
    """Results at random points of the ranges, by the sweep, which shares no search with the worst case."""
    generator = np.random.default_rng(seed)
    values = {axis.name: generator.uniform(axis.low, axis.high, count) for axis in worst.points.box.axes}
    names = {name.removeprefix(LOWEST).removeprefix(HIGHEST) for name in worst.extremes}
    return dict(sweep(worst.solution, {**worst.points.fixed, **values}, tuple(names)).values)


@pytest.mark.parametrize(
    "name, ranges",
    [
        ("sepic", "D=0.1:0.7, R=3:60, Vin=9:20"),
        ("boost_lossy", "D=0.3:0.97, R=10:100"),
        ("flyback", "D=0.2:0.6, Vin=9:18, R=2:200"),
    ],
)
def test_no_random_point_is_worse(name: str, ranges: str) -> None:
    worst = voltsec.worst_case(voltsec.load(name), ranges, solution=solved(name))
    drawn = at_random(worst, 1000, 7)
    assert len(worst.extremes) > 20
    for key, extreme in worst.extremes.items():
        values = np.abs(drawn[key.removeprefix(LOWEST).removeprefix(HIGHEST)])
        if key == "efficiency" or key.startswith(LOWEST):
            assert extreme.value <= np.nanmin(values) * (1 + 1e-5), key
        else:
            assert extreme.value >= np.nanmax(values) * (1 - 1e-5), key


def test_ripple_is_worst_inside_the_range() -> None:
    """A buck stage's ripple D (1 - D) Vg T/L is largest at D = 1/2 (M1, from memory)."""
    found = voltsec.worst_case(voltsec.load("buck"), "D=0.12:0.93", solution=solved("buck")).extremes[
        "ripple.L"
    ]
    values = {name: float(value) for name, value in voltsec.load("buck").values.items()}
    assert found.at.values["D"] == pytest.approx(0.5, abs=2e-3) and not found.at.corner
    assert found.value == pytest.approx(values["Vg"] * values["T"] / (4 * values["L"]), rel=1e-3)
    assert str(found.formula) == "D*T*Vg*(1 - D)/L"


def test_output_of_a_lossy_step_up_stage_is_highest_inside() -> None:
    """With winding loss the gain is largest at 1 - D = sqrt(RL/R), 1/(2 sqrt(RL/R)) (M1, from memory)."""
    text = """source Vg : in -> gnd = 12 V
    inductor L : in -> a = 1 mH { resistance RL = 0.1 ohm }
    switch S : a -> gnd
    diode D1 : a -> out
    capacitor Co : out -> gnd = 1 mF
    load R : out -> gnd = 10 ohm
    operate D = 0.5, T = 10 us
    """
    found = voltsec.worst_case(voltsec.read(text), "D=0.2:0.98").extremes[HIGHEST + "output_voltage"]
    assert found.at.values["D"] == pytest.approx(0.9, abs=2e-3)
    assert found.value == pytest.approx(60, rel=1e-3)


def test_every_point_has_the_duty_it_needs() -> None:
    """A boost stage's mean coil current is V Iout/Vin, its duty 1 - Vin/V (M1, from memory)."""
    worst = voltsec.worst_case(voltsec.load("boost"), "Vin=8:16, R=40:400", 24.0, solved("boost"))
    peak = worst.extremes["stress.S.current_peak"]
    assert peak.at.values["Vg"] == 8 and peak.at.values["R"] == 40
    assert peak.at.values["D"] == pytest.approx(1 - 8 / 24, abs=2e-3)
    values = {name: float(value) for name, value in voltsec.load("boost").values.items()}
    ripple = 8 * (2 / 3) * values["T"] / values["L"]
    assert peak.value == pytest.approx(24**2 / 40 / 8 + ripple / 2, rel=5e-3)


def test_two_hills_and_a_corner() -> None:
    """A function with known tops: inside, at a corner, and one of two hills."""
    box = Box((Axis("x", "1", 0.0, 1.0), Axis("y", "1", -2.0, 2.0)))

    def evaluate(places: np.ndarray) -> dict[str, np.ndarray]:
        x, y = places.T
        return {
            "inside": 99 - (x - 0.3137) ** 2 - (y - 0.777) ** 2,
            "corner": x + y,
            "hills": np.exp(-(((x - 0.2) / 0.1) ** 2)) + 1.5 * np.exp(-(((x - 0.8) / 0.1) ** 2)) + 0 * y,
            "least": 1 + (x - 0.5) ** 2 + y**2,
        }

    found = worst_places(box, evaluate, ("least",))
    assert found["inside"].place == pytest.approx((0.3137, 0.777), abs=1e-3) and not found["inside"].corner
    assert found["corner"].place == (1.0, 2.0) and found["corner"].corner
    assert found["hills"].value == pytest.approx(1.5, rel=1e-6)
    assert found["least"].value == pytest.approx(1.0, abs=1e-6)
