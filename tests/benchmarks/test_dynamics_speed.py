"""Small-signal formulas: a lossy SEPIC's response to the duty within a second."""

from __future__ import annotations

import time

import numpy as np
import pytest
import sympy

import voltsec
from voltsec.dynamics.averaged import S, probed, small_signal
from voltsec.dynamics.equations import duty_ring

MOST = 1.0
"""Seconds of processor time."""


@pytest.mark.parametrize("name", ["sepic_lossy", "quad_boost_lossy"])
def test_symbolic_duty_to_output(benchmark, name: str, capsys) -> None:
    answer = voltsec.solve(voltsec.load(name))
    case = probed(answer.engine.case("CCM"))

    def formulas() -> object:
        return small_signal(case, duty_ring(case, (S,))).responses["v", "D"]

    began = time.process_time()
    assert formulas() is not None
    spent = time.process_time() - began
    benchmark.pedantic(formulas, rounds=3, iterations=1)
    with capsys.disabled():
        print(f"\n{name}: {1e3 * spent:.0f} ms, a ratio of polynomials in s and all symbols")
    assert spent < MOST


def test_ratio_to_matrices_of_the_library(benchmark, capsys) -> None:
    """The same response of the lossless stage by sympy: c (s 1 - A)**-1 b."""
    answer = voltsec.solve(voltsec.load("sepic"))
    case = probed(answer.engine.case("CCM"))
    found = voltsec.states(answer)
    assert found.averaged is not None
    a, c = sympy.Matrix(found.averaged.A), sympy.Matrix(found.averaged.C)[:1, :]
    s = sympy.Symbol("s")
    began = time.process_time()
    (s * sympy.eye(4) - a).LUsolve(sympy.Matrix(found.averaged.B)).applyfunc(sympy.together)
    sympy.cancel((c * (s * sympy.eye(4) - a).LUsolve(sympy.Matrix(found.averaged.B)))[0])
    library = time.process_time() - began

    def formulas() -> object:
        return small_signal(case, duty_ring(case, (S,)))

    began = time.process_time()
    formulas()
    own = time.process_time() - began
    benchmark.pedantic(formulas, rounds=3, iterations=1)
    with capsys.disabled():
        print(
            f"\nsympy {1e3 * library:.0f} ms for one response, {1e3 * own:.1f} ms for all: "
            f"ratio {library / own:.0f}"
        )
    benchmark.extra_info["ratio"] = library / own
    assert np.isfinite(library)
