"""The course of linear systems over one interval, by repeated doubling, many at once.

For w' = G w the transition matrix of a tiny step is its power series, and of twice the step

    E(2h) = 2 E + E E,   S(2h) = 2 S + S E

with E = transition matrix - identity and S = integral of the transition matrix.  From a start w(0) the
integral of w w' follows likewise: M(2h) = M + (I + E) M (I + E)'.  Keeping E instead of the matrix itself
keeps slow parts to full accuracy beside fast ones, and a decaying part only ever adds up: stiff networks
need no special care.  (Scaling and squaring: Higham, Functions of Matrices, section 10.3; from memory.)

Every array has the points first; an axis of length 1 stands for "the same at all points".
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Array = np.ndarray

SMALL = 0.05
"""Norm of G times the first, tiny step."""
ORDER = 7
"""Terms of the power series: the next is below 1e-15 of the first."""
SAMPLES = 16
"""Even samples an interval has at least."""
MOST_SAMPLES = 1024
A_TURN = 12
"""Samples of one turn of an oscillation at least."""

# Gauss-Legendre nodes and weights on 0..1, exact to degree 7
NODES = 0.5 + 0.5 * np.array(
    [-0.8611363115940526, -0.3399810435848563, 0.3399810435848563, 0.8611363115940526]
)
WEIGHTS = 0.5 * np.array([0.3478548451374538, 0.6521451548625461, 0.6521451548625461, 0.3478548451374538])


@dataclass(frozen=True)
class Course:
    """One interval of linear systems of k unknowns at P points."""

    rate: Array
    """(P, k, k): the matrix G."""
    length: Array
    """(P,): duration."""
    growth: Array
    """(P, k, k): transition matrix minus identity over the whole interval."""
    ladder: tuple[Array, ...]
    """Transition matrices minus identity over length/2, length/4 ... down to the first step."""
    integral: Array
    """(P, k, k): integral of the transition matrix."""

    def squares(self, start: Array) -> Array:
        """(P, k, k): integral of w w' over the interval from ``start`` (P, k)."""
        steps = len(self.ladder)
        tiny = self.length / 2.0**steps
        powers = _powers(self.rate, tiny)
        total = np.zeros((*start.shape, start.shape[1]))
        for node, weight in zip(NODES, WEIGHTS, strict=True):
            there = _at(powers, node, start)
            total = total + (weight * tiny)[:, None, None] * there[:, :, None] * there[:, None, :]
        for growth in reversed(self.ladder):
            carried = growth @ total
            moved = total + carried + np.swapaxes(carried, 1, 2) + carried @ np.swapaxes(growth, 1, 2)
            total = total + moved
        return total

    def samples(self, start: Array, least: int = SAMPLES, halvings: int = 0) -> tuple[Array, Array]:
        """Instants as shares of the interval (s,), and w there (P, s, k).

        Even ones, ``least`` of them and enough for an oscillation, and before the first of them ever closer
        ones towards the start, where what is fast settles: one for each halving of the distance, the steps
        between them halved ``halvings`` times more.  Fewer where w is next to straight.
        """
        even = min(self._even(least), len(self.ladder))
        columns = [start]
        shares = [0.0]
        for depth in range(len(self.ladder), even, -1):
            fine = min(depth + halvings, len(self.ladder))
            now = start + _times(self.ladder[depth - 1], start)
            for number in range(2 ** (fine - depth)):
                if number:
                    now = now + _times(self.ladder[fine - 1], now)
                columns.append(now)
                shares.append(2.0**-depth + number * 2.0**-fine)
        step = self.growth if even == 0 else self.ladder[even - 1]
        now = start
        for number in range(1, 2**even + 1):
            now = now + _times(step, now)
            columns.append(now)
            shares.append(number / 2.0**even)
        return np.array(shares), np.stack(np.broadcast_arrays(*columns), axis=1)

    def _even(self, least: int) -> int:
        """Doublings that make the even samples."""
        size = self.rate.shape[1] - 1
        if not size:
            return 0
        values = np.linalg.eigvals(self.rate[:, :size, :size])
        ringing = np.where(np.abs(values.imag) > np.abs(values.real) / 4, np.abs(values.imag), 0.0)
        turns = float((ringing.max(axis=1) * np.abs(self.length)).max()) / (2 * np.pi)
        wanted = min(max(least, turns * A_TURN * least / SAMPLES), MOST_SAMPLES)
        return int(np.ceil(np.log2(wanted)))


def course(rate: Array, length: Array) -> Course:
    """The interval of ``length`` (P,) of w' = ``rate`` w, (P, k, k); one where all last equally long."""
    if (length == length[0]).all():
        length = length[:1]
    size = rate.shape[1]
    norm = float((np.abs(rate).sum(axis=2).max(axis=1, initial=0.0) * np.abs(length)).max())
    steps = int(np.log2(SAMPLES))
    if norm > SMALL:
        steps = max(steps, int(np.ceil(np.log2(norm / SMALL))))
    tiny = length / 2.0**steps
    powers = _powers(rate, tiny)
    identity = np.eye(size)
    growth = sum(powers[1:], powers[0])
    integral = tiny[:, None, None] * sum(
        (p / (k + 1) for k, p in enumerate(powers, 1)), identity + 0 * powers[0]
    )
    ladder = []
    for _ in range(steps):
        ladder.append(growth)
        integral = 2 * integral + integral @ growth
        growth = 2 * growth + growth @ growth
    return Course(rate, length, growth, tuple(reversed(ladder)), integral)


def _powers(rate: Array, tiny: Array) -> list[Array]:
    """Terms of the power series of the transition matrix, from the first on."""
    step = rate * tiny[:, None, None]
    found = [step]
    for k in range(2, ORDER + 1):
        found.append(found[-1] @ step / k)
    return found


def _at(powers: list[Array], share: float, start: Array) -> Array:
    """w at ``share`` of the first step."""
    there = start
    for k, power in enumerate(powers, 1):
        there = there + share**k * _times(power, start)
    return there


def _times(matrix: Array, vector: Array) -> Array:
    """(P, k, k) times (P, k)."""
    return (matrix @ vector[:, :, None])[:, :, 0]
