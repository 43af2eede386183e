"""Spread over tolerances: against formulas where the spread is known."""

from __future__ import annotations

import numpy as np
import pytest

import voltsec
from voltsec.practice.asked import BadValues
from voltsec.practice.sweep import MOST_EXACT
from voltsec.practice.tolerance import MOST_DRAWS, PERCENTILES, tolerances
from voltsec.results.solution import Solution


@pytest.fixture(scope="module")
def boost() -> Solution:
    return voltsec.solve(voltsec.load("boost_lossy"))


@pytest.mark.parametrize("draws", [20_000, 50_000])
def test_percentiles_of_a_proportional_quantity(draws: int) -> None:
    """The ideal output is Vg/(1 - D): uniform +-10 % of Vg gives uniform +-10 % of V, the gain unchanged."""
    answer = voltsec.solve(voltsec.load("boost"))
    spread = tolerances(answer, {"Vg": 0.1}, draws=draws)
    assert spread.exact is (draws <= MOST_EXACT)
    nominal = spread.nominal["output_voltage"]
    expected = [nominal * (0.9 + 0.2 * p / 100) for p in PERCENTILES]
    assert spread.percentiles["output_voltage"] == pytest.approx(expected, rel=3e-3)
    assert spread.percentiles["gain"] == pytest.approx([spread.nominal["gain"]] * len(PERCENTILES))
    assert spread.modes == {"CCM": 1.0} and spread.undetermined == 0


def test_the_seed_decides(boost: Solution) -> None:
    one, same, other = (tolerances(boost, {"L": 0.2, "R_L": 0.3}, 2000, seed) for seed in (1, 1, 2))
    assert one == same
    assert one.percentiles != other.percentiles


def test_monotone_within_bounds(boost: Solution) -> None:
    """More winding resistance, less efficiency: the ends lie at the ends of the tolerance."""
    spread = tolerances(boost, {"R_L": 0.3}, 20_000, quantities=("efficiency",))
    resistance = float(boost.circuit.values["R_L"])
    worst, best = (boost.at(R_L=resistance * factor).efficiency for factor in (1.3, 0.7))
    low, high = spread.percentiles["efficiency"][0], spread.percentiles["efficiency"][-1]
    assert worst is not None and best is not None
    assert worst <= low < worst + 1e-4 and best - 1e-4 < high <= best


def test_share_of_modes_near_the_boundary() -> None:
    """At the boundary load half of the draws lie on either side."""
    answer = voltsec.solve(voltsec.load("boost"))
    values = {name: float(value) for name, value in answer.circuit.values.items()}
    edge = 2 * values["L"] / (values["T"] * values["D"] * (1 - values["D"]) ** 2)
    spread = tolerances(answer, {"R": 0.1}, 20_000, values={"R": edge}, quantities=("gain",))
    assert spread.modes["CCM"] == pytest.approx(0.5, abs=0.02)
    assert spread.modes["CCM"] + spread.modes["DCM"] == pytest.approx(1)


def test_a_part_stands_for_its_only_symbol(boost: Solution) -> None:
    assert tolerances(boost, {"S": 0.5}, 100, quantities=("gain",)).tolerances == {"R_S": 0.5}


@pytest.mark.parametrize(
    "parts, draws, words",
    [
        ({"XX": 0.1}, 100, "no part or symbol called XX"),
        ({"r_L": 0.1}, 100, "did you mean 'R_L"),
        ({"D1": 0.1}, 100, "say which: R_D1, V_D1"),
        ({"L": 0.1}, 0, "at least one draw"),
        ({"L": 0.1}, -3, "at least one draw"),
        ({"L": 0.1}, MOST_DRAWS + 1, "too many"),
        ({"L": 0.0}, 100, "between 0 and 100 %"),
        ({"L": 1.5}, 100, "between 0 and 100 %"),
        ({"D": 0.95}, 100, "would reach 1"),
        ({}, 100, "no tolerance"),
    ],
)
def test_bad_input(boost: Solution, parts: dict[str, float], draws: int, words: str) -> None:
    with pytest.raises(BadValues, match=words):
        tolerances(boost, parts, draws)


def test_executor_gives_the_same(boost: Solution) -> None:
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(2) as executor:
        assert tolerances(boost, {"L": 0.2}, 50_000, executor=executor) == tolerances(
            boost, {"L": 0.2}, 50_000
        )
    assert np.isfinite(tolerances(boost, {"L": 0.2}, 1).percentiles["gain"]).all()
