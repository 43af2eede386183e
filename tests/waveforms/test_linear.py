"""Transition matrices and their integrals against scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad_vec
from scipy.linalg import expm

from voltsec.waveforms.linear import SAMPLES, course

MATRICES = {
    "oscillates": np.array([[0.0, 3.0, 0.5], [-3.0, -0.1, 0.0], [0.0, 0.0, 0.0]]),
    "decays fast and slowly": np.array([[-400.0, 2.0, 300.0], [2.0, -0.01, 0.5], [0.0, 0.0, 0.0]]),
    "ramp (not diagonalizable)": np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 2.0], [0.0, 0.0, 0.0]]),
}


@pytest.mark.parametrize("name", MATRICES)
@pytest.mark.parametrize("duration", [0.03, 0.7])
def test_against_scipy(name: str, duration: float) -> None:
    """scipy.linalg.expm, and scipy.integrate.quad_vec for the integrals."""
    rate = MATRICES[name]
    square = np.diag([1.0, 2.0, 0.5])
    found = course(rate, duration, square)
    close = {"rtol": 1e-8, "atol": 1e-9}
    assert np.allclose(found.growth, expm(rate * duration) - np.eye(3), **close)
    assert np.allclose(found.step, expm(rate * duration / 2**SAMPLES) - np.eye(3), **close)
    integral = quad_vec(lambda t: expm(rate * t), 0, duration, epsabs=1e-12)[0]
    assert np.allclose(found.integral, integral, **close)
    squares = quad_vec(lambda t: expm(rate * t).T @ square @ expm(rate * t), 0, duration, epsabs=1e-12)[0]
    assert found.squares is not None and np.allclose(found.squares, squares, **close)


def test_a_slow_part_beside_a_very_fast_one() -> None:
    """The exact exponentials of two separate decays, eleven decades apart."""
    found = course(np.diag([-1e9, -1e-2]), 1.0, np.eye(2))
    assert found.growth[0, 0] == pytest.approx(-1.0, rel=1e-12)
    assert found.growth[1, 1] == pytest.approx(np.expm1(-1e-2), rel=1e-7)
    assert found.integral[0, 0] == pytest.approx(1e-9, rel=1e-7)
    assert found.squares is not None
    assert np.diag(found.squares) == pytest.approx([0.5e-9, (1 - np.exp(-2e-2)) / 2e-2], rel=1e-6)
