"""The page's grid of computed points: there where a formula is missing, equal to what solve tells."""

from __future__ import annotations

import numpy as np
import pytest

import voltsec
from tests.integration.switched import periodic_averages
from voltsec.report.computed_points import computed_points
from voltsec.report.contents import slider_key
from voltsec.report.page import page

CLAMPED = """converter "isolated rail for the radio, leakage clamped"
source Vg : in -> gnd = 24 V
ground gnd, sgnd
inductor Lk : in -> p = 1 uH
transformer T : p -> a, sgnd -> b = 1 : 0.5 { magnetizing LM = 50 uH }
switch S : a -> gnd { resistance 50 mohm }
diode Dc : a -> c { drop 0.7 V }
capacitor Cc : c -> in = 100 nF
resistor Rc : c -> in = 4.7 kohm
diode D1 : b -> out { drop 0.5 V }
capacitor Co : out -> sgnd = 220 uF { resistance 20 mohm }
load R : out -> sgnd = 8 ohm
operate D = 0.4, T = 10 us
"""


@pytest.fixture(scope="module")
def clamped() -> voltsec.Solution:
    return voltsec.solve(voltsec.read(CLAMPED))


def test_the_grid_holds_what_solve_tells(clamped: voltsec.Solution) -> None:
    found = computed_points(clamped)
    assert found is not None and list(found.axes) == ["D", "R"]
    assert len(found.modes) == len(found.axes["D"]) * len(found.axes["R"])
    shape = [len(values) for values in found.axes.values()]
    for place in ((4, 1), (9, 2), (20, 4)):
        values = {name: axis[k] for (name, axis), k in zip(found.axes.items(), place, strict=True)}
        numbers = clamped.at(**values)
        assert numbers is not None
        number = int(np.ravel_multi_index(place, shape))
        known = {slider_key(name): value for name, value in numbers.results.items()}
        for key, told in found.values.items():
            wanted = known[key]
            assert told[number] == (None if wanted is None else pytest.approx(wanted, rel=6e-6, abs=1e-12)), (
                key
            )


def test_a_curve_of_the_grid_is_the_integrations(clamped: voltsec.Solution) -> None:
    found = computed_points(clamped)
    assert found is not None and clamped.numbers is not None
    curve = dict(found.along("D", "V", clamped.numbers.point))
    for duty in (0.4, 0.62):
        share = min(curve, key=lambda one: abs(one - duty))
        averages = periodic_averages(clamped.circuit, {"D": share})
        assert curve[share] == pytest.approx(averages.output_voltage, rel=2e-3)


def test_the_page_says_so_and_its_curves_are_not_empty(clamped: voltsec.Solution) -> None:
    text = page(clamped)
    assert "computed points of the exact state" in text
    assert text.count('class="dot"') > 20


def test_where_all_modes_have_formulas_there_is_no_grid() -> None:
    assert computed_points(voltsec.solve(voltsec.load("sepic"))) is None
