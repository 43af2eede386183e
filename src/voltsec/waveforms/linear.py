"""Transition matrices and integrals of a linear system over one interval, by repeated doubling.

For w' = G w the transition matrix of a tiny step is its power series, and of twice the step

    E(2h) = 2 E + E E,   S(2h) = 2 S + S E,   W(2h) = W + (I + E)' W (I + E)

with E = transition matrix - identity, S = integral of the transition matrix, W = integral of
transition' Q transition.  Keeping E instead of the matrix itself keeps slow parts to full accuracy
beside fast ones, and a decaying part only ever adds up: stiff networks need no special care.
(Scaling and squaring: Higham, Functions of Matrices, section 10.3; from memory.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Array = np.ndarray

SMALL = 0.05
"""Norm of G times the first, tiny step."""
ORDER = 7
"""Terms of the power series: the next is below 1e-15 of the first."""
SAMPLES = 4
"""Doublings after the step at which samples are taken: 2**4 samples an interval."""

# Gauss-Legendre nodes and weights on 0..1, exact to degree 5
NODES = 0.5 + np.array([-0.5, 0.0, 0.5]) * np.sqrt(0.6)
WEIGHTS = np.array([5.0, 8.0, 5.0]) / 18


@dataclass(frozen=True)
class Course:
    """One interval of a linear system, (n, n) matrices."""

    growth: Array
    """Transition matrix minus identity over the whole interval."""
    integral: Array
    """Integral of the transition matrix."""
    step: Array
    """Transition matrix minus identity over a sixteenth of the interval."""
    squares: Array | None
    """Integral of transition' Q transition; None where no Q was given."""


def course(rate: Array, duration: float, square: Array | None = None) -> Course:
    """The interval of length ``duration`` of w' = ``rate`` w; ``square`` is the (n, n) matrix Q."""
    size = len(rate)
    norm = float(np.abs(rate).sum(axis=1).max()) * abs(duration) if size else 0.0
    doublings = SAMPLES
    if norm > SMALL:
        doublings = max(SAMPLES, int(np.ceil(np.log2(norm / SMALL))))
    tiny = duration / 2.0**doublings
    identity = np.eye(size)
    powers = [identity, rate * tiny]
    for k in range(2, ORDER + 1):
        powers.append(powers[-1] @ powers[1] / k)
    growth = sum(powers[1:], np.zeros_like(identity))
    integral = tiny * sum((p / (k + 1) for k, p in enumerate(powers)), np.zeros_like(identity))
    squares = None
    if square is not None:
        squares = np.zeros_like(identity)
        for node, weight in zip(NODES, WEIGHTS, strict=True):
            there = sum((p * node**k for k, p in enumerate(powers)), np.zeros_like(identity))
            squares = squares + tiny * weight * (there.T @ square @ there)
    step = growth
    for left in range(doublings, 0, -1):
        if left == SAMPLES:
            step = growth
        if squares is not None:
            carried = squares @ growth
            squares = 2 * squares + carried + carried.T + growth.T @ carried
        integral = 2 * integral + integral @ growth
        growth = 2 * growth + growth @ growth
    return Course(growth, integral, step, squares)
