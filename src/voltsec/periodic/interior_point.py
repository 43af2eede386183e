"""An interior-point method for the monotone complementarity problem of one period."""

from __future__ import annotations

from typing import Any

import numpy as np

NEARLY = 1e-6
"""A mean product of current and voltage pairs this small tells conducting from blocking devices."""

STARTS = (1.0, 30.0, 1e3)
"""Sizes of all currents and voltages at the start, tried in turn."""


class InteriorPoint:
    """Predictor-corrector for the monotone problem, one block of equations a step.

    Unknowns: capacitor voltages V (common), coil currents i_k at each step's end, and local ones
    (capacitor currents, p, q).  Each step's local unknowns are eliminated by an orthogonal
    factorisation; what is left is followed from step to step round the period (coils never give more
    energy than they hold, so that errors do not grow), and closed by a small system in the coil currents
    at the period's start and the capacitor voltages.
    After Mehrotra, SIAM Journal on Optimization 1992 (from memory).
    """

    def __init__(
        self, blocks: np.ndarray, lengths: np.ndarray, n_coil: int, n_cap: int, n_diode: int, trace: float
    ) -> None:
        cuts = np.cumsum([n_coil, n_coil, n_cap, n_cap + 2 * n_diode])
        self.matrix, self.before, self.common, self.local, right = np.split(blocks, cuts, axis=2)
        self.right = right[:, :, 0]
        self.trace = trace
        self.lengths = lengths
        self.sizes = (len(lengths), n_coil, n_cap, n_diode)

    def solve(self) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
        """(V, coil currents, local unknowns), or None where no solution is approached."""
        for start in STARTS:
            found = self._from(start)
            if found is not None:
                return found
        return None

    def _from(self, start: float) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
        steps, n_coil, n_cap, n_diode = self.sizes
        self.voltages = np.zeros(n_cap)
        self.coil_currents = np.zeros((steps, n_coil))
        self.unknowns = np.zeros((steps, n_cap + 2 * n_diode))
        self.unknowns[:, n_cap:] = start
        shortest = 0
        p_part = slice(n_cap, n_cap + n_diode)
        q_part = slice(n_cap + n_diode, None)
        pairs = max(steps * n_diode, 1)
        for _ in range(70):
            p, q = self.unknowns[:, p_part].copy(), self.unknowns[:, q_part].copy()
            mean = float((p * q).sum()) / pairs
            residual, charge = self._residual()
            level = max(
                np.abs(self.unknowns).max(initial=1.0),
                np.abs(self.coil_currents).max(initial=1.0),
                np.abs(self.voltages).max(initial=1.0),
            )
            worst = max(np.abs(residual).max(initial=0), np.abs(charge).max(initial=0))
            if mean < 1e-13 * max(1.0, level) and worst < 1e-9 * (1 + level):
                return self.voltages, self.coil_currents, self.unknowns
            if not np.isfinite(level) or level > 1e11:
                return None
            try:
                self._factor(p, q)
                step = self._direction(residual, charge, -p * q)
                length = _step_length(p, q, step[2][:, p_part], step[2][:, q_part])
                after = (p + length * step[2][:, p_part]) * (q + length * step[2][:, q_part])
                centering = min(max((float(after.sum()) / pairs / max(mean, 1e-300)) ** 3, 1e-6), 1.0)
                target = centering * mean - p * q - step[2][:, p_part] * step[2][:, q_part]
                step = self._direction(residual, charge, target)
            except np.linalg.LinAlgError:
                return None
            if not np.all(np.isfinite(step[2])):
                return None
            length = _step_length(p, q, step[2][:, p_part], step[2][:, q_part])
            if length < 0.1:  # blocked at the border: go back towards the middle first
                step = self._direction(residual, charge, 0.8 * mean - p * q)
                length = _step_length(p, q, step[2][:, p_part], step[2][:, q_part])
            length = 1.0 if n_diode == 0 else min(1.0, 0.995 * length)
            shortest = shortest + 1 if length < 1e-2 else 0
            if shortest > 4 or (shortest > 2 and mean < NEARLY):
                break  # stuck at the border: near enough, or a start further inside may do better
            self.voltages = self.voltages + length * step[0]
            self.coil_currents = self.coil_currents + length * step[1]
            self.unknowns = self.unknowns + length * step[2]
            self.unknowns[:, n_cap:] = np.maximum(self.unknowns[:, n_cap:], 1e-30)
        if mean < NEARLY and worst < 1e-5:
            return self.voltages, self.coil_currents, self.unknowns
        return None

    def _residual(self) -> tuple[np.ndarray, np.ndarray]:
        n_cap = self.sizes[2]
        previous = np.roll(self.coil_currents, 1, axis=0)
        value = (
            self.right
            - np.einsum("krc,kc->kr", self.matrix, self.coil_currents)
            - np.einsum("krc,kc->kr", self.before, previous)
            - self.common @ self.voltages
            - np.einsum("krc,kc->kr", self.local, self.unknowns)
        )
        charge = -(self.trace * self.voltages + self.lengths @ self.unknowns[:, :n_cap])
        return value, charge

    def _factor(self, p: np.ndarray, q: np.ndarray) -> None:
        """Eliminate the local unknowns of every step and invert what is left."""
        steps, n_coil, n_cap, n_diode = self.sizes
        width = n_cap + 2 * n_diode
        products = np.zeros((steps, n_diode, width))
        diagonal = np.arange(n_diode)
        products[:, diagonal, n_cap + diagonal] = q
        products[:, diagonal, n_cap + n_diode + diagonal] = p
        # scaled rows: a pair near the solution has one large and one tiny entry
        self.product_scale = np.maximum(p, q)
        products /= self.product_scale[:, :, None]
        matrix = np.concatenate([self.local, products], axis=1)
        self.rotation, upper = np.linalg.qr(matrix, mode="complete")
        upper = upper[:, :width]
        small = np.abs(np.einsum("kii->ki", upper)) < 1e-14
        if small.any():
            upper = upper + 1e-12 * (small[:, :, None] * np.eye(width))
        padding = np.zeros((steps, n_diode, 2 * n_coil + n_cap))
        coupled = np.concatenate(
            [np.concatenate([self.matrix, self.before, self.common], axis=2), padding], axis=1
        )
        coupled = np.swapaxes(self.rotation, 1, 2) @ coupled
        self.upper = upper
        self.response = np.linalg.solve(upper, coupled[:, :width])
        rest = coupled[:, width:]
        own = rest[:, :, :n_coil]
        followed = np.linalg.solve(own, -rest[:, :, n_coil:])
        self.onward, drift = followed[:, :, :n_coil], followed[:, :, n_coil:]
        self.own = own
        # currents at the end of each step from those at the period's start and the capacitor voltages
        self.course = np.zeros((steps + 1, n_coil, n_coil + n_cap))
        self.course[0, :, :n_coil] = np.eye(n_coil)
        for k in range(steps):
            np.matmul(self.onward[k], self.course[k], out=self.course[k + 1])
            self.course[k + 1, :, n_coil:] += drift[k]
        weights = self.lengths[:, None, None] * self.response[:, :n_cap]
        self.taken = -weights[:, :, :n_coil], -weights[:, :, n_coil : 2 * n_coil]
        system = np.zeros((n_coil + n_cap, n_coil + n_cap))
        system[:n_coil] = -self.course[-1]
        system[:n_coil, :n_coil] += np.eye(n_coil)
        system[n_coil:] = self._charge(self.course)
        system[n_coil:, n_coil:] += self.trace * np.eye(n_cap) - weights[:, :, 2 * n_coil :].sum(axis=0)
        self.row_scale = np.abs(system).max(axis=1)
        self.row_scale[self.row_scale == 0] = 1
        self.inverse = np.linalg.inv(system / self.row_scale[:, None]) if system.size else system

    def _charge(self, currents: np.ndarray) -> np.ndarray:
        """What coil currents (at the ends of all steps, the period's start first) bring to the capacitors."""
        after, before = self.taken
        return np.einsum("krc,kc...->r...", after, currents[1:]) + np.einsum(
            "krc,kc...->r...", before, currents[:-1]
        )

    def _direction(self, residual: np.ndarray, charge: np.ndarray, target: np.ndarray) -> Any:
        steps, n_coil, n_cap, n_diode = self.sizes
        width = n_cap + 2 * n_diode
        right = np.concatenate([residual, target / self.product_scale], axis=1)
        right = np.einsum("kcr,kc->kr", self.rotation, right)
        offset = np.linalg.solve(self.upper, right[:, :width, None])[:, :, 0]
        # the charge row: trace*dV + sum of h_k i_C,k with i_C = offset - response * coupled
        low = charge - self.lengths @ offset[:, :n_cap]
        pushed = np.linalg.solve(self.own, right[:, width:, None])[:, :, 0]
        alone = np.zeros((steps + 1, n_coil))
        for k in range(steps):
            alone[k + 1] = self.onward[k] @ alone[k] + pushed[k]
        whole = np.concatenate([alone[-1], low - self._charge(alone)])
        found = self.inverse @ (whole / self.row_scale) if len(whole) else whole
        currents = (self.course @ found + alone)[1:]
        voltages = found[n_coil:]
        coupled = np.concatenate(
            [currents, np.roll(currents, 1, axis=0), np.broadcast_to(voltages, (steps, n_cap))], axis=1
        )
        return voltages, currents, offset - np.einsum("krc,kc->kr", self.response, coupled)


def _step_length(p: np.ndarray, q: np.ndarray, dp: np.ndarray, dq: np.ndarray) -> float:
    values = np.concatenate([p, q], axis=None)
    changes = np.concatenate([dp, dq], axis=None)
    falling = changes < 0
    if not falling.any():
        return 1.0
    return float(min(1.0, (values[falling] / -changes[falling]).min()))
