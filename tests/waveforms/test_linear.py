"""Transition matrices and their integrals against scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad_vec
from scipy.linalg import expm

from voltsec.waveforms.linear import course

MATRICES = {
    "oscillates": np.array([[0.0, 3.0, 0.5], [-3.0, -0.1, 0.0], [0.0, 0.0, 0.0]]),
    "decays fast and slowly": np.array([[-400.0, 2.0, 300.0], [2.0, -0.01, 0.5], [0.0, 0.0, 0.0]]),
    "ramp (not diagonalizable)": np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 2.0], [0.0, 0.0, 0.0]]),
}


START = np.array([1.0, -0.5, 1.0])


@pytest.mark.parametrize("name", MATRICES)
@pytest.mark.parametrize("duration", [0.03, 0.7])
def test_against_scipy(name: str, duration: float) -> None:
    """scipy.linalg.expm, and scipy.integrate.quad_vec for the integrals."""
    rate = MATRICES[name]
    found = course(rate[None], np.array([duration]))
    close = {"rtol": 1e-8, "atol": 1e-9}
    assert np.allclose(found.growth[0], expm(rate * duration) - np.eye(3), **close)
    integral = quad_vec(lambda t: expm(rate * t), 0, duration, epsabs=1e-12)[0]
    assert np.allclose(found.integral[0], integral, **close)

    def square(t: float) -> np.ndarray:
        there = expm(rate * t) @ START
        return np.outer(there, there)

    squares = quad_vec(square, 0, duration, epsabs=1e-12)[0]
    assert np.allclose(found.squares(START[None])[0], squares, **close)
    shares, samples = found.samples(START[None])
    assert shares[0] == 0 and shares[-1] == 1 and len(shares) > 16
    for share, sample in zip(shares, samples[0], strict=True):
        assert np.allclose(sample, expm(rate * duration * share) @ START, **close)


def test_a_slow_part_beside_a_very_fast_one() -> None:
    """The exact exponentials of two separate decays, eleven decades apart."""
    found = course(np.diag([-1e9, -1e-2])[None], np.ones(1))
    assert found.growth[0, 0, 0] == pytest.approx(-1.0, rel=1e-12)
    assert found.growth[0, 1, 1] == pytest.approx(np.expm1(-1e-2), rel=1e-7)
    assert found.integral[0, 0, 0] == pytest.approx(1e-9, rel=1e-7)
    squares = np.diag(found.squares(np.ones((1, 2)))[0])
    assert squares == pytest.approx([0.5e-9, (1 - np.exp(-2e-2)) / 2e-2], rel=1e-6)


def test_many_at_once_are_the_same_as_one_by_one() -> None:
    """Own check: points do not see each other."""
    rates = np.array(list(MATRICES.values()))
    lengths = np.array([0.1, 0.2, 0.3])
    together = course(rates, lengths)
    for place, (rate, length) in enumerate(zip(rates, lengths, strict=True)):
        alone = course(rate[None], np.array([length]))
        assert np.allclose(together.growth[place], alone.growth[0], rtol=1e-9, atol=1e-12)
