"""One period's linear system at many points at once, and the fractions that end by themselves.

The equations are those of the exact path (:func:`voltsec.tableau.assembly.period_rows`), in floats.  For
given fractions they are linear; there are more equations than unknowns by one for every interval that
ends by itself, and what is left over of these (its residual) is brought to zero by Newton's method, the
derivative taken through the linear system.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from voltsec.steady.core_rows import Core
from voltsec.steady.folding import Array, Folded, Linear, Value, evaluate

RANK = 1e-10
"""A pivot below this share of the largest entry (rows and columns scaled) is rounding."""

BLOCK = 2048
"""Points solved together, so that their matrices stay in the processor's cache."""

STEPS = 25
ASTRAY = 1.5
"""A fraction so far from the middle of the period does not come back."""

SETTLED = 1e-12
"""A last step of Newton's method below this is as good as rounding lets it be."""

CONVERGED = 1e-9
"""The last step of a point that counts as solved."""

CONSISTENT = 1e-9
"""What a step may leave of an equation, as a share of the sizes of its terms."""

FAINT = 1e-6
"""Share of the largest size that an equation between zeros is judged by."""

UNDRIVEN = 1e-3
"""How much less a pivot counts in a row without a right side."""

SAME = 1e-7
"""What changes by less than this share along the free directions does not depend on them."""


@dataclass(frozen=True)
class Basis:
    """Rows and columns of a regular part of the equations, chosen once for all points."""

    rows: Array
    others: Array
    columns: Array
    free: Array


Sum = tuple[tuple[object, Folded], ...]
"""Coefficient times unknown, added up; the constant stands at ``None``."""


@dataclass(frozen=True)
class Judged:
    """A sum, its change along each free direction, and the sum of the sizes of its terms."""

    value: Value
    slopes: tuple[Value, ...]
    size: Value


class Solved:
    """Unknowns at many points, and how they change with those that stay free.

    ``values`` holds points x unknowns of the core, with the free ones at zero; ``directions`` the same
    for a step of each free unknown.
    """

    def __init__(
        self, core: Core, point: Mapping[str, Value], values: Array, directions: tuple[Array, ...]
    ) -> None:
        self.point = point
        self.replaced = {entry.unknown: entry.terms for entry in core.replaced}
        self.layers: list[dict[object, Value]] = [
            {None: constant} | {unknown: array[:, place] for place, unknown in enumerate(core.unknowns)}
            for constant, array in ((1.0, values), *((0.0, array) for array in directions))
        ]

    def _unknown(self, unknown: Any, layer: int = 0) -> Value:
        known = self.layers[layer]
        if unknown not in known:
            total: Value = 0.0
            for other, coefficient in self.replaced[unknown]:
                total = total + self._unknown(other, layer) * evaluate(coefficient, self.point)
            known[unknown] = total
        return known[unknown]

    def judged(self, terms: Sum) -> Judged:
        """A sum with all that is known about it."""
        totals: list[Value] = [0.0] * len(self.layers)
        size: Value = 0.0
        for unknown, coefficient in terms:
            factor = evaluate(coefficient, self.point)
            for layer in range(len(totals)):
                part = self._unknown(unknown, layer) * factor
                totals[layer] = totals[layer] + part
                size = size + np.abs(part)
        return Judged(totals[0], tuple(totals[1:]), size)

    def sum(self, item: Linear) -> Value:
        """A sum; where it is not determined what stands for it, or no number."""
        judged = self.judged(item.terms)
        value = judged.value
        if judged.slopes:
            otherwise = float("nan") if item.otherwise is None else self.sum(item.otherwise)
            for slope in judged.slopes:
                value = np.where(np.abs(slope) <= SAME * judged.size, value, otherwise)
        return value


@dataclass(frozen=True)
class System:
    """A core with the fractions that are to be found in it."""

    core: Core
    fractions: tuple[str, ...]
    """Fraction variables of all intervals."""
    unknown: tuple[int, ...]
    """Intervals that end by themselves."""
    last: tuple[int, ...]
    """For each of these the last interval of its switch interval, which loses what it gains."""
    volt: float
    ampere: float
    """Ordinary sizes of a voltage and a current."""

    def solve(self, point: Mapping[str, Value], length: int) -> Solved:
        """Unknowns at ``length`` points; ``point`` includes every fraction."""
        core = self.core
        values = np.full((length, len(core.unknowns)), np.nan)
        directions: tuple[Array, ...] = ()
        basis: Basis | None = None
        for start in range(0, length, BLOCK):
            part = slice(start, min(start + BLOCK, length))
            matrix, right, _ = self.scaled(cut(point, part), part.stop - start)
            if basis is None:
                basis = choose(matrix[len(matrix) // 2], right[len(right) // 2])
                directions = tuple(np.full_like(values, np.nan) for _ in basis.free)
            found = _linear(matrix, right, basis)
            values[part] = found[0]
            for whole, some in zip(directions, found[1:], strict=True):
                whole[part] = some
        sizes = self._levels
        return Solved(core, point, values * sizes, tuple(whole * sizes for whole in directions))

    def surplus(self, point: Mapping[str, Value]) -> int:
        """How many equations more there are than unknowns can satisfy, at one ``point``."""
        matrix, right, _ = self.scaled(point, 1)
        return int(choose(matrix[0], right[0]).others.size)

    def settle(self, point: Mapping[str, Value], start: Array) -> tuple[Array, Array]:
        """Unknown fractions from ``start`` (unknowns x points), and where they are found.

        ``point`` holds everything but the fractions; those of ``start`` that lead nowhere come back nan.
        """
        length = start.shape[1]
        found = np.full(start.shape, np.nan)
        good = np.zeros(length, bool)
        basis: Basis | None = None
        for begin in range(0, length, BLOCK):
            part = slice(begin, min(begin + BLOCK, length))
            here = cut(point, part)
            if basis is None:
                middle = slice((part.stop - begin) // 2, (part.stop - begin) // 2 + 1)
                one = self.with_fractions(cut(here, middle), start[:, part][:, middle])
                matrix, right, _ = self.scaled(one, 1)
                basis = choose(matrix[0], right[0])
            found[:, part], good[part] = self._newton(here, start[:, part], basis)
        return found, good

    def scaled(self, point: Mapping[str, Value], count: int) -> tuple[Array, Array, Array]:
        """Matrix (points x rows x unknowns), right sides, and what every row was divided by."""
        matrix, right = self._matrix(point, count)
        scale = np.abs(matrix).max(axis=2, initial=0.0)
        scale = np.where(np.isfinite(scale) & (scale > 0), scale, 1.0)
        return matrix / scale[:, :, None], right / scale, scale

    def with_fractions(self, point: Mapping[str, Value], unknown: Array) -> dict[str, Value]:
        """``point`` (with the switch intervals' lengths as ``#k``) with all fractions put in."""
        full = dict(point)
        for row, (k, last) in enumerate(zip(self.unknown, self.last, strict=True)):
            full[self.fractions[k]] = unknown[row]
            full[self.fractions[last]] = full[self.fractions[last]] - unknown[row]
        return full

    def _newton(self, point: Mapping[str, Value], start: Array, basis: Basis) -> tuple[Array, Array]:
        count = start.shape[1]
        x = start.copy()
        good = np.zeros(count, bool)
        active = np.arange(count)
        for _ in range(STEPS):
            if not active.size:
                break
            here = point if active.size == count else cut(point, active)
            with np.errstate(all="ignore"):
                step, rest = self._step(here, x[:, active], basis)
                x[:, active] -= np.clip(step, -0.25, 0.25)
                largest = np.abs(step).max(axis=0, initial=0.0)
            good[active] = (largest < CONVERGED) & (rest < CONSISTENT)
            # one more step than needed brings the rest of the residual to rounding
            astray = (np.abs(x[:, active] - 0.5) > ASTRAY).any(axis=0)
            active = active[(largest >= SETTLED) & np.isfinite(largest) & ~astray]
        good &= np.isfinite(x).all(axis=0)
        return x, good

    def _step(self, point: Mapping[str, Value], unknown: Array, basis: Basis) -> tuple[Array, Array]:
        """Newton step of the unknown fractions (unknowns x points), and what is left over."""
        count = unknown.shape[1]
        full = self.with_fractions(point, unknown)
        matrix, right, scale = self.scaled(full, count)
        rows, others, kept = basis.rows, basis.others, basis.columns
        inverse = _inverse(matrix[:, rows][:, :, kept])
        x = np.zeros((count, matrix.shape[2]))
        x[:, kept] = (inverse @ right[:, rows, None])[:, :, 0]
        weights = matrix[:, others][:, :, kept] @ inverse
        residual = (weights @ right[:, rows, None])[:, :, 0] - right[:, others]
        sizes = np.abs(right) + (np.abs(matrix) @ np.abs(x)[:, :, None])[:, :, 0]
        sizes = sizes[:, others] + (np.abs(weights) @ sizes[:, rows, None])[:, :, 0]
        # an equation between nothing but zeros is judged by the others
        sizes = sizes + FAINT * sizes.max(axis=1, initial=0.0)[:, None]
        slopes = self._slopes(full, x, count) / scale[:, :, None]
        through = slopes[:, others] - weights @ slopes[:, rows]
        step = _least_squares(through, residual)
        # what the step does not bring to zero: an equation whose every coefficient vanishes at the solution
        # has been divided by its own size and tells nothing by itself
        left = np.abs(residual - (through @ step[:, :, None])[:, :, 0])
        with np.errstate(all="ignore"):
            rest = np.where(sizes > 0, left / sizes, 0.0).max(axis=1, initial=0.0)
        return step.T, rest

    @cached_property
    def _levels(self) -> Array:
        return np.array(
            [self.ampere if unknown[-1][0] == "i" else self.volt for unknown in self.core.unknowns]
        )

    def _matrix(self, point: Mapping[str, Value], count: int) -> tuple[Array, Array]:
        """Coefficients (points x rows x unknowns, columns in units of their levels) and right sides."""
        core, levels = self.core, self._levels
        matrix = np.zeros((count, len(core.rows), len(core.unknowns)))
        right = np.zeros((count, len(core.rows)))
        for number, row in enumerate(core.rows):
            for entry in row:
                value = evaluate(entry.value, point)
                if entry.column < 0:
                    right[:, number] = value
                else:
                    matrix[:, number, entry.column] = value * levels[entry.column]
        return matrix, right

    def _slopes(self, point: Mapping[str, Value], x: Array, count: int) -> Array:
        """Derivative of rows times x minus right side: points x rows x unknown fractions."""
        levels = self._levels
        found = np.zeros((count, len(self.core.rows), len(self.unknown)))
        for number, row in enumerate(self.core.rows):
            for entry in row:
                factor = -1.0 if entry.column < 0 else x[:, entry.column] * levels[entry.column]
                for place, (k, last) in enumerate(zip(self.unknown, self.last, strict=True)):
                    if entry.slopes[k] != 0.0:
                        found[:, number, place] += evaluate(entry.slopes[k], point) * factor
                    if entry.slopes[last] != 0.0:
                        found[:, number, place] -= evaluate(entry.slopes[last], point) * factor
        return found


def cut(point: Mapping[str, Value], part: slice | Array) -> dict[str, Value]:
    """The same point values for some of the points."""
    return {
        name: value[part] if isinstance(value, np.ndarray) and value.ndim else value
        for name, value in point.items()
    }


def choose(matrix: Array, right: Array) -> Basis:
    """Rows and columns of a regular part of ``matrix``, by complete pivoting.

    Rows with a right side come first: without them all unknowns might be zero, and nothing would then
    tell how the rest depends on the fractions.
    """
    scale = np.abs(matrix).max(axis=0, initial=0.0)
    left = np.column_stack([matrix / np.where(scale > 0, scale, 1.0), right])
    rows: list[int] = []
    columns: list[int] = []
    for _ in range(min(matrix.shape)):
        sizes = np.abs(left[:, :-1])
        driven = np.abs(left[:, -1]) > RANK
        row, column = np.unravel_index(
            int((sizes * np.where(driven, 1.0, UNDRIVEN)[:, None]).argmax()), sizes.shape
        )
        if not sizes[row, column] > RANK:
            break
        rows.append(int(row))
        columns.append(int(column))
        left = left - np.outer(left[:, column], left[row] / left[row, column])
        left[row], left[:, column] = 0.0, 0.0
    return Basis(
        np.array(rows, int),
        np.array([k for k in range(matrix.shape[0]) if k not in rows], int),
        np.array(columns, int),
        np.array([k for k in range(matrix.shape[1]) if k not in columns], int),
    )


def _linear(matrix: Array, right: Array, basis: Basis) -> list[Array]:
    """Unknowns (points x unknowns) with the free ones at zero, and their changes with each free one."""
    count, _, width = matrix.shape
    turn, upper = np.linalg.qr(matrix[:, :, basis.columns])
    rights = np.stack([right, *(-matrix[:, :, free] for free in basis.free)], axis=2)
    solved = _solve(upper, np.swapaxes(turn, 1, 2) @ rights)
    found = []
    for layer in range(rights.shape[2]):
        values = np.zeros((count, width))
        values[:, basis.columns] = solved[:, :, layer]
        if layer:
            values[:, basis.free[layer - 1]] = 1.0
        found.append(values)
    return found


def _solve(matrix: Array, right: Array) -> Array:
    try:
        return np.linalg.solve(matrix, right)
    except np.linalg.LinAlgError:
        found = np.full(right.shape, np.nan)
        good = _regular(matrix)
        found[good] = np.linalg.solve(matrix[good], right[good])
        return found


def _inverse(matrix: Array) -> Array:
    try:
        return np.linalg.inv(matrix)
    except np.linalg.LinAlgError:
        found = np.full(matrix.shape, np.nan)
        good = _regular(matrix)
        found[good] = np.linalg.inv(matrix[good])
        return found


def _regular(matrix: Array) -> Array:
    with np.errstate(all="ignore"):
        return np.isfinite(matrix).all(axis=(1, 2)) & (np.abs(np.linalg.det(matrix)) > 0)


def _least_squares(slope: Array, value: Array) -> Array:
    """Least-squares steps with slope @ step = value at every point; nan where that cannot be done."""
    count, _, width = slope.shape
    step = np.full((count, width), np.nan)
    if width == 0:
        return step
    good = np.isfinite(slope).all(axis=(1, 2)) & np.isfinite(value).all(axis=1)
    # equations that no fraction changes say nothing
    kept = np.abs(slope[good]).max(axis=(0, 2), initial=0.0) > 0
    if kept.sum() < width or not good.any():
        return step
    matrix, right = slope[good][:, kept], value[good][:, kept]
    if width == 1:
        square = (matrix[:, :, 0] ** 2).sum(axis=1)
        step[good, 0] = (matrix[:, :, 0] * right).sum(axis=1) / square
        return step
    if matrix.shape[1] == width:
        step[good] = _solve(matrix, right[:, :, None])[:, :, 0]
        return step
    turned = np.swapaxes(matrix, 1, 2)
    step[good] = _solve(turned @ matrix, turned @ right[:, :, None])[:, :, 0]
    return step
