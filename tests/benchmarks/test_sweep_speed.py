"""One million points through the sweep, against a loop over scipy's root finder at each point."""

from __future__ import annotations

import time

import numpy as np
import pytest
from scipy.optimize import brentq

import voltsec
from voltsec.practice.sweep import sweep

POINTS = 1_000_000
BY_HAND = 2_000


def random_points(count: int) -> dict[str, np.ndarray]:
    generator = np.random.default_rng(0)
    return {"D": generator.uniform(0.05, 0.95, count), "R": 10 ** generator.uniform(0, 3, count)}


@pytest.mark.parametrize("name", ["boost", "boost_lossy", "cuk_coupled"])
def test_a_million_points(benchmark, name: str) -> None:
    answer = voltsec.solve(voltsec.load(name))
    values = random_points(POINTS)
    result = benchmark.pedantic(sweep, (answer, values), rounds=1, iterations=1)
    assert np.isfinite(result.gain).all()
    assert len(set(result.mode_index.tolist())) == 2


def test_ratio_to_a_root_finder(benchmark, capsys) -> None:
    """Boost: at each point volt-second and charge balance, by brentq."""
    answer = voltsec.solve(voltsec.load("boost"))
    values = {name: float(value) for name, value in answer.circuit.values.items()}
    few = random_points(BY_HAND)

    def by_hand() -> np.ndarray:
        found = np.empty(BY_HAND)
        for k, (duty, load) in enumerate(zip(few["D"], few["R"], strict=True)):
            ratio = 2 * values["L"] / (load * values["T"])
            if ratio >= duty * (1 - duty) ** 2:
                found[k] = brentq(lambda m, d=duty: m * (1 - d) - 1, 1.0, 1e3)
            else:  # charge of the diode's pulse is the load's charge: D d2/K = (D + d2)/d2
                fraction = brentq(lambda x, d=duty, r=ratio: d * x * x - r * (d + x), 1e-9, 1.0)
                found[k] = (duty + fraction) / fraction
        return found

    began = time.perf_counter()
    expected = by_hand()
    loop = (time.perf_counter() - began) / BY_HAND
    result = benchmark.pedantic(sweep, (answer, random_points(POINTS)), rounds=1, iterations=1)
    assert result.gain.size == POINTS
    swept = benchmark.stats.stats.mean / POINTS if benchmark.stats else float("nan")
    assert sweep(answer, few).gain == pytest.approx(expected, rel=1e-6)
    with capsys.disabled():
        print(
            f"\nroot finder {1e6 * loop:.1f} us a point, sweep {1e6 * swept:.2f} us: ratio {loop / swept:.0f}"
        )
    benchmark.extra_info["ratio"] = loop / swept


@pytest.mark.parametrize(("name", "points"), [("sepic_lossy", 10_000), ("quad_boost_lossy", 2_000)])
def test_modes_without_formulas(benchmark, capsys, name: str, points: int) -> None:
    """Equations solved at many points together, against the exact equations point by point."""
    answer = voltsec.solve(voltsec.load(name))
    circuit = answer.circuit
    load = circuit.loads[0].quantity.symbol
    generator = np.random.default_rng(0)
    known = {symbol: float(value) for symbol, value in circuit.values.items()}
    values = {
        "D": generator.uniform(0.05, 0.95, points),
        load: known[load] * 10 ** generator.uniform(0, 2, points),
    }
    result = benchmark.pedantic(sweep, (answer, values), rounds=1, iterations=1)
    numbers = {label: place for place, label in enumerate(result.mode_names)}
    began, asked = time.perf_counter(), 0
    for label, mode in answer.engine.numeric:
        for place in np.flatnonzero(result.mode_index == numbers[label])[:10]:
            asked += 1
            assert mode.at(known | {key: float(value[place]) for key, value in values.items()}) is not None
    alone = (time.perf_counter() - began) / asked
    together = benchmark.stats.stats.mean / points if benchmark.stats else float("nan")
    with capsys.disabled():
        print(
            f"\n{name}: {1e3 * alone:.1f} ms a point alone, {1e3 * together:.3f} ms: "
            f"ratio {alone / together:.0f}"
        )
    benchmark.extra_info["ratio"] = alone / together
