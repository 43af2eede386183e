"""Checking a line costs at most half of what solving costs, the circuit's solution included: 1.5 in all."""

from __future__ import annotations

from time import perf_counter

import pytest

import voltsec
from voltsec.practice.check import check

MOST = 1.5
LINES = {
    "sepic": ("Vout/Vg = D/(1 - D)", "Vout/Vg = (1 - D)/D"),
    "boost_lossy": (
        "Vout = (Vg - D'*V_D1)*D'*R/(D'^2*R + R_L + D*R_S + D'*R_D1)",
        "Vout/Vg = 1/(1 - D)",
    ),
    "quad_boost": ("Vout = Vg/D'^2", "Vout = Vg/D^2"),
}


def least(action, rounds: int = 3) -> float:
    """The shortest of several runs, seconds."""
    times = []
    for _ in range(rounds):
        start = perf_counter()
        action()
        times.append(perf_counter() - start)
    return min(times)


@pytest.mark.parametrize("line", [0, 1], ids=["right", "wrong"])
@pytest.mark.parametrize("name", LINES)
def test_check_against_solve(name: str, line: int, benchmark) -> None:
    circuit = voltsec.load(name)
    check(voltsec.solve(circuit), [LINES[name][line]])  # the parser and the library warm up
    alone = least(lambda: voltsec.solve(circuit))

    def fresh() -> tuple[tuple, dict]:
        """A solution that no check has worked with yet."""
        return (voltsec.solve(circuit), [LINES[name][line]]), {}

    benchmark.pedantic(check, setup=fresh, rounds=3)
    ratio = 1 + benchmark.stats.stats.min / alone
    benchmark.extra_info["ratio to solve"] = round(ratio, 3)
    print(f"\n{name}: solve {1e3 * alone:.0f} ms, solve and check {ratio:.2f} times as long")
    assert ratio <= MOST
