"""One period's linear system at many points at once, and the fractions that end by themselves.

The equations are those of the exact path (:func:`voltsec.tableau.assembly.period_rows`), in floats.  For
given fractions they are linear; there are more equations than unknowns by one for every interval that
ends by itself, and Newton's method solves them for unknowns and fractions together.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from voltsec.circuit.computing_time import go_on
from voltsec.periodic.coefficients import Coefficients, slope
from voltsec.periodic.core_rows import Core
from voltsec.periodic.folding import Array, Folded, Linear, Value, evaluate

RANK = 1e-10
"""A pivot below this share of the largest entry (rows and columns scaled) is rounding."""

BLOCK = 2048
"""Points solved together, so that their matrices stay in the processor's cache."""

STEPS = 25
LARGEST_STEP = 0.25
"""A fraction changes by so much at most in one step."""
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
    """Unknowns that the equations determine, chosen once for all points."""

    columns: Array
    free: Array
    """Unknowns that stay open."""
    surplus: int
    """Equations beyond one for each unknown."""


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
        return choose(matrix[0], right[0]).surplus

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
        """Newton's method on unknowns and fractions together.

        The equations are linear in each of the two alone, so that a step goes astray far less than one of
        the fractions by themselves, whose condition is as crooked as the unknowns' solution makes it.
        """
        count = start.shape[1]
        fractions = start.copy()
        good = np.zeros(count, bool)
        active = np.arange(count)
        with np.errstate(all="ignore"):
            matrix, right, _ = self.scaled(self.with_fractions(point, start), count)
            unknowns = _linear(matrix, right, replace(basis, free=basis.free[:0]))[0]
            for _ in range(STEPS):
                if not active.size:
                    break
                go_on()
                here = point if active.size == count else cut(point, active)
                step, change, rest = self._step(here, fractions[:, active], unknowns[active], basis)
                fractions[:, active] -= np.clip(step, -LARGEST_STEP, LARGEST_STEP)
                unknowns[np.ix_(active, basis.columns)] -= change
                largest = np.abs(step).max(axis=0, initial=0.0)
                good[active] = (largest < CONVERGED) & (rest < CONSISTENT)
                # one more step than needed brings the rest of the residual to rounding
                astray = (np.abs(fractions[:, active] - 0.5) > ASTRAY).any(axis=0)
                active = active[(largest >= SETTLED) & np.isfinite(largest) & ~astray]
        good &= np.isfinite(fractions).all(axis=0)
        return fractions, good

    def _step(
        self, point: Mapping[str, Value], fractions: Array, unknowns: Array, basis: Basis
    ) -> tuple[Array, Array, Array]:
        """Newton step of the unknown fractions (fractions x points) and of the unknowns of the basis.

        The last of what is returned is what the step leaves of the worst equation, as a share of its size.
        """
        count, width = fractions.shape[1], basis.columns.size
        full = self.with_fractions(point, fractions)
        matrix, right, scale = self.scaled(full, count)
        slopes = self._slopes(full, unknowns, count) / scale[:, :, None]
        whole = np.concatenate([matrix[:, :, basis.columns], slopes], axis=2)
        residual = (matrix @ unknowns[:, :, None])[:, :, 0] - right
        step = _least_squares(whole, residual[:, :, None])[:, :, 0]
        sizes = np.abs(right) + (np.abs(matrix) @ np.abs(unknowns)[:, :, None])[:, :, 0]
        # an equation between nothing but zeros is judged by the others
        sizes = sizes + FAINT * sizes.max(axis=1, initial=0.0)[:, None]
        left = np.abs(residual - (whole @ step[:, :, None])[:, :, 0])
        rest = np.where(sizes > 0, left / sizes, 0.0).max(axis=1, initial=0.0)
        return step[:, width:].T, step[:, :width], rest

    @cached_property
    def _levels(self) -> Array:
        return np.array(
            [self.ampere if unknown[-1][0] == "i" else self.volt for unknown in self.core.unknowns]
        )

    @cached_property
    def _values(self) -> tuple[Array, Array, Array, Coefficients]:
        """What every matrix has in common, right side last, and where what varies stands in it."""
        fixed = np.zeros((self.core.height, len(self.core.unknowns) + 1))
        varying = []
        for entry in self.core.entries:
            if any(any(powers) for powers in entry.terms):
                varying.append(entry)
            else:
                fixed[entry.row, entry.column] = sum(entry.terms.values())
        rows = np.array([entry.row for entry in varying], int)
        columns = np.array([entry.column for entry in varying], int)
        return fixed, rows, columns, Coefficients(self.core.varying, [e.terms for e in varying])

    @cached_property
    def _changes(self) -> tuple[Array, Array, Coefficients]:
        """Columns of coefficients that change with an unknown fraction, which row and fraction they count
        for, and by how much they change."""
        columns: list[int] = []
        targets: list[tuple[int, int]] = []
        slopes = []
        names = self.core.varying
        for entry in self.core.entries:
            for number, (k, last) in enumerate(zip(self.unknown, self.last, strict=True)):
                for fraction, sign in ((self.fractions[k], 1.0), (self.fractions[last], -1.0)):
                    change = slope(entry.terms, names.index(fraction)) if fraction in names else {}
                    if change:
                        columns.append(entry.column)
                        targets.append((entry.row, number))
                        # the right side counts against the row
                        sign = -sign if entry.column < 0 else sign
                        slopes.append({powers: sign * c for powers, c in change.items()})
        counted = np.zeros((len(targets), self.core.height * len(self.unknown)))
        for place, (row, number) in enumerate(targets):
            counted[place, row * len(self.unknown) + number] = 1.0
        return np.array(columns, int), counted, Coefficients(names, slopes)

    def _matrix(self, point: Mapping[str, Value], count: int) -> tuple[Array, Array]:
        """Coefficients (points x rows x unknowns, columns in units of their levels) and right sides."""
        fixed, rows, columns, varying = self._values
        whole = np.repeat(fixed[None], count, axis=0)
        whole[:, rows, columns] = varying.at(point, count).T
        return whole[:, :, :-1] * self._levels, whole[:, :, -1]

    def _slopes(self, point: Mapping[str, Value], x: Array, count: int) -> Array:
        """Derivative of rows times x minus right side: points x rows x unknown fractions."""
        columns, counted, varying = self._changes
        factors = np.column_stack([x * self._levels, np.ones(count)])[:, columns]
        found: Array = (varying.at(point, count).T * factors) @ counted
        return found.reshape(count, self.core.height, len(self.unknown))


def cut(point: Mapping[str, Value], part: slice | Array) -> dict[str, Value]:
    """The same point values for some of the points."""
    return {
        name: value[part] if isinstance(value, np.ndarray) and value.ndim else value
        for name, value in point.items()
    }


def choose(matrix: Array, right: Array) -> Basis:
    """The columns of a regular part of ``matrix``, by complete pivoting.

    Rows with a right side come first: without them all unknowns might be zero, and nothing would then
    tell how the rest depends on the fractions.
    """
    scale = np.abs(matrix).max(axis=0, initial=0.0)
    left = np.column_stack([matrix / np.where(scale > 0, scale, 1.0), right])
    columns: list[int] = []
    for _ in range(min(matrix.shape)):
        go_on()
        sizes = np.abs(left[:, :-1])
        driven = np.abs(left[:, -1]) > RANK
        row, column = np.unravel_index(
            int((sizes * np.where(driven, 1.0, UNDRIVEN)[:, None]).argmax()), sizes.shape
        )
        if not sizes[row, column] > RANK:
            break
        columns.append(int(column))
        left = left - np.outer(left[:, column], left[row] / left[row, column])
        left[row], left[:, column] = 0.0, 0.0
    free = [k for k in range(matrix.shape[1]) if k not in columns]
    return Basis(np.array(columns, int), np.array(free, int), matrix.shape[0] - len(columns))


def _linear(matrix: Array, right: Array, basis: Basis) -> list[Array]:
    """Unknowns (points x unknowns) with the free ones at zero, and their changes with each free one."""
    count, _, width = matrix.shape
    rights = np.stack([right, *(-matrix[:, :, free] for free in basis.free)], axis=2)
    solved = _least_squares(matrix[:, :, basis.columns], rights)
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


def _regular(matrix: Array) -> Array:
    with np.errstate(all="ignore"):
        return np.isfinite(matrix).all(axis=(1, 2)) & (np.abs(np.linalg.det(matrix)) > 0)


def _least_squares(matrix: Array, rights: Array) -> Array:
    """Solutions of more equations than unknowns at every point; nan where they tell too little."""
    count, height, width = matrix.shape
    if height < width:
        return np.full((count, width, rights.shape[2]), np.nan)
    if height == width:
        return _solve(matrix, rights)
    upper = np.asarray(np.linalg.qr(np.concatenate([matrix, rights], axis=2), mode="r"))
    return _solve(upper[:, :width, :width], upper[:, :width, width:])
