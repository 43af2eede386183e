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
from voltsec.periodic.coefficients import Coefficients, PutIn, Terms, slope
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

SAME_ROOT = 1e-3
"""What comes so close to a root, as a share of its size, goes to it."""

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
            here = cut(point, part)
            matrix, right, _ = self.scaled(self.filled(here, part.stop - start), here)
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
        matrix, right, _ = self.scaled(self.filled(point, 1), point)
        return choose(matrix[0], right[0]).surplus

    def settle(
        self, point: Mapping[str, Value], start: Array, known: Array | None = None
    ) -> tuple[Array, Array]:
        """Unknown fractions from ``start`` (unknowns x points), and where they are found.

        ``point`` holds everything but the fractions; those of ``start`` that lead nowhere come back nan.
        A way that leads to the root already ``known`` at a point (not a number: none is) is left.
        """
        known = np.full(start.shape, np.nan) if known is None else known
        length = start.shape[1]
        found = np.full(start.shape, np.nan)
        good = np.zeros(length, bool)
        basis: Basis | None = None
        for begin in range(0, length, BLOCK):
            part = slice(begin, min(begin + BLOCK, length))
            here = cut(point, part)
            filled = self.filled(here, part.stop - begin)
            if basis is None:
                middle = slice((part.stop - begin) // 2, (part.stop - begin) // 2 + 1)
                one = self.with_fractions(cut(here, middle), start[:, part][:, middle])
                matrix, right, _ = self.scaled(filled.cut(middle), one)
                basis = choose(matrix[0], right[0])
            found[:, part], good[part] = self._newton(filled, here, start[:, part], basis, known[:, part])
        return found, good

    def filled(self, point: Mapping[str, Value], count: int) -> Filled:
        """Coefficients and their slopes at ``count`` points, where only the fractions may still change."""
        return Filled(self._values[3].at_points(point, count), self._changes[3].at_points(point, count))

    def scaled(self, filled: Filled, point: Mapping[str, Value]) -> tuple[Array, Array, Array]:
        """Matrix (points x rows x unknowns), right sides, and what every row was divided by."""
        matrix, right = self._matrix(filled, point)
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

    def _newton(
        self,
        filled: Filled,
        point: Mapping[str, Value],
        start: Array,
        basis: Basis,
        known: Array,
    ) -> tuple[Array, Array]:
        """Newton's method on unknowns and fractions together.

        The equations are linear in each of the two alone, so that a step goes astray far less than one of
        the fractions by themselves, whose condition is as crooked as the unknowns' solution makes it.
        """
        count = start.shape[1]
        fractions = start.copy()
        good = np.zeros(count, bool)
        active = np.arange(count)
        with np.errstate(all="ignore"):
            matrix, right, _ = self.scaled(filled, self.with_fractions(point, start))
            unknowns = _linear(matrix, right, replace(basis, free=basis.free[:0]))[0]
            for _ in range(STEPS):
                if not active.size:
                    break
                go_on()
                full = self.with_fractions(self._lengths(point, active, count), fractions[:, active])
                some = filled if active.size == count else filled.cut(active)
                step, change, rest = self._step(some, full, unknowns[active], basis)
                fractions[:, active] -= np.clip(step, -LARGEST_STEP, LARGEST_STEP)
                unknowns[np.ix_(active, basis.columns)] -= change
                largest = np.abs(step).max(axis=0, initial=0.0)
                good[active] = (largest < CONVERGED) & (rest < CONSISTENT)
                # one more step than needed brings the rest of the residual to rounding
                astray = (np.abs(fractions[:, active] - 0.5) > ASTRAY).any(axis=0)
                there = known[:, active]
                astray |= (np.abs(fractions[:, active] - there) < SAME_ROOT * np.abs(there)).all(axis=0)
                active = active[(largest >= SETTLED) & np.isfinite(largest) & ~astray]
        good &= np.isfinite(fractions).all(axis=0)
        return fractions, good

    def _lengths(self, point: Mapping[str, Value], places: Array, count: int) -> Mapping[str, Value]:
        """What stands for the fractions at some of ``count`` points."""
        own = {name: point[name] for name in self.fractions}
        return own if places.size == count else cut(own, places)

    def _step(
        self, filled: Filled, point: Mapping[str, Value], unknowns: Array, basis: Basis
    ) -> tuple[Array, Array, Array]:
        """Newton step of the unknown fractions (fractions x points) and of the unknowns of the basis.

        The last of what is returned is what the step leaves of the worst equation, as a share of its size.
        """
        width = basis.columns.size
        matrix, right, scale = self.scaled(filled, point)
        slopes = self._slopes(filled, point, unknowns) / scale[:, :, None]
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
        terms = [entry.terms for entry in varying]
        return fixed, rows, columns, Coefficients(self.core.varying, terms, self.fractions)

    @cached_property
    def _changes(self) -> tuple[Array, Array, Array, Coefficients]:
        """Columns of coefficients that change with an unknown fraction, the places in rows x fractions that
        they count for, where the coefficients of each place begin, and by how much they change."""
        found: list[tuple[int, int, Terms]] = []
        names = self.core.varying
        for entry in self.core.entries:
            for number, (k, last) in enumerate(zip(self.unknown, self.last, strict=True)):
                for fraction, sign in ((self.fractions[k], 1.0), (self.fractions[last], -1.0)):
                    change = slope(entry.terms, names.index(fraction)) if fraction in names else {}
                    if change:
                        # the right side counts against the row
                        sign = -sign if entry.column < 0 else sign
                        terms = {powers: sign * c for powers, c in change.items()}
                        found.append((entry.row * len(self.unknown) + number, entry.column, terms))
        found.sort(key=lambda entry: entry[0])
        columns = np.array([column for _, column, _ in found], int)
        places, first = np.unique(np.array([place for place, _, _ in found], int), return_index=True)
        return columns, places, first, Coefficients(names, [terms for *_, terms in found], self.fractions)

    def _matrix(self, filled: Filled, point: Mapping[str, Value]) -> tuple[Array, Array]:
        """Coefficients (points x rows x unknowns, columns in units of their levels) and right sides."""
        fixed, rows, columns, _ = self._values
        whole = np.repeat(fixed[None], filled.count, axis=0)
        whole[:, rows, columns] = filled.values.at(point).T
        return whole[:, :, :-1] * self._levels, whole[:, :, -1]

    def _slopes(self, filled: Filled, point: Mapping[str, Value], x: Array) -> Array:
        """Derivative of rows times x minus right side: points x rows x unknown fractions."""
        columns, places, first, _ = self._changes
        found = np.zeros((filled.count, self.core.height * len(self.unknown)))
        if places.size:
            factors = np.column_stack([x * self._levels, np.ones(filled.count)])[:, columns]
            found[:, places] = np.add.reduceat(filled.slopes.at(point).T * factors, first, axis=1)
        return found.reshape(filled.count, self.core.height, len(self.unknown))


@dataclass(frozen=True)
class Filled:
    """A system's coefficients at some points, everything put in but the fractions."""

    values: PutIn
    slopes: PutIn

    @property
    def count(self) -> int:
        """How many points there are."""
        return self.values.values.shape[1]

    def cut(self, part: slice | Array) -> Filled:
        """The same at some of the points."""
        return Filled(self.values.cut(part), self.slopes.cut(part))


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
