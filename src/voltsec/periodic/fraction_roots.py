"""Roots of the conditions on unknown fractions, at many points: one after another, or all together.

Written once for polynomials evaluated as they are and for folded ones: what is asked for are values.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from voltsec.tableau.ring import Polynomial, Ring

Array = np.ndarray
Branch = tuple[dict[str, Array], Array]
"""Unknown fractions by name, one value a point, and the points at which they exist."""

VANISHED = 1e-8
"""Fractions that Newton's method brings below this are on their way to zero."""
STARTS = 6
"""Places at random from which Newton's method begins."""
STEPS = 40
"""Steps after which it is given up."""


def in_turn(
    ring: Ring, conditions: Iterable[Polynomial], names: set[str]
) -> tuple[list[tuple[str, Polynomial]], list[Polynomial]] | None:
    """The order in which each condition has one unknown of ``names`` more, and what then remains to check.

    ``None`` where only several conditions together fix some unknown.
    """
    known: set[str] = set()
    steps: list[tuple[str, Polynomial]] = []
    waiting = list(conditions)
    while waiting:
        for condition in waiting:
            missing = (ring.variables(condition) & names) - known
            if len(missing) == 1:
                break
        else:
            break
        waiting.remove(condition)
        (unknown,) = missing
        steps.append((unknown, condition))
        known.add(unknown)
    if any((ring.variables(condition) & names) - known for condition in waiting):
        return None
    return steps, waiting


def with_root(branch: Branch, name: str, coefficients: Sequence[Array]) -> list[Branch]:
    """The branch with every root in 0 ... 1 of a polynomial for ``name`` (lowest power first)."""
    known, exists = branch
    found = []
    with np.errstate(all="ignore"):
        for candidate in _roots(list(coefficients), exists):
            good = exists & (candidate > 0) & (candidate < 1)
            if good.any():
                found.append((known | {name: candidate}, good))
    return found


def _roots(parts: list[Array], exists: Array) -> list[Array]:
    if len(parts) == 2:
        return [-parts[0] / parts[1]]
    if len(parts) == 3:
        c, b, a = parts
        root = np.sqrt(b * b - 4 * a * c)
        q = -0.5 * (b + np.where(b >= 0, root, -root))  # the pair without cancellation
        return [q / a, c / q]
    return _real_roots(parts, exists)


def _real_roots(parts: list[Array], exists: Array) -> list[Array]:
    """Real roots between 0 and 1 at every point, by companion matrices; nan where there are fewer."""
    degree = len(parts) - 1
    table = np.array(parts)
    whole = exists & np.isfinite(table).all(axis=0)
    found = np.full((degree, len(exists)), np.nan)
    good = whole & (table[-1] != 0)
    if good.any():
        companion = np.zeros((int(good.sum()), degree, degree))
        companion[:, 1:, :-1] = np.eye(degree - 1)
        companion[:, :, -1] = -(table[:-1, good] / table[-1, good]).T
        roots = np.linalg.eigvals(companion)
        real = np.abs(roots.imag) < 1e-9 * (1 + np.abs(roots))
        values = np.where(real & (roots.real > 0) & (roots.real < 1), roots.real, np.nan)
        found[:, good] = np.sort(values, axis=1).T
    lower = whole & ~good
    if lower.any():
        for place, values in enumerate(_roots(parts[:-1], lower)):
            found[place, lower] = values[lower]
    return list(found)


def newton(
    names: Sequence[str],
    conditions: Callable[[dict[str, Array]], tuple[Array, Array]],
    length: int,
    start: Array | None = None,
) -> list[Branch]:
    """Newton's method on all conditions at once, from ``start`` and several places at random.

    ``conditions`` gives values (conditions x points) and slopes (conditions x names x points).
    """
    starts = [] if start is None else [np.asarray(start, float)]
    starts += list(np.random.default_rng(0).uniform(0.05, 0.5, (STARTS, len(names))))
    found: list[Branch] = []
    for first in starts:
        x = np.repeat(first[:, None], length, axis=1)
        step = np.full_like(x, np.nan)
        with np.errstate(all="ignore"):
            for _ in range(STEPS):
                value, slope = conditions(dict(zip(names, x, strict=True)))
                step = newton_step(slope, value)
                x = x - np.clip(step, -0.25, 0.25)
                if np.nanmax(np.abs(step), initial=0) < 1e-13:
                    break
            good = np.isfinite(x).all(axis=0) & (np.nan_to_num(np.abs(step), nan=1).max(axis=0) < 1e-9)
            # where all intervals vanish the conditions hold without saying anything
            good &= (x > VANISHED).all(axis=0) & (x < 1).all(axis=0)
        if good.any():
            found.append((dict(zip(names, x, strict=True)), good))
        if good.all():
            break
    return found


def newton_step(slope: np.ndarray, value: np.ndarray) -> np.ndarray:
    """Solve slope @ step = value at every point (last axis); nan where that cannot be done."""
    step = np.full((slope.shape[1], slope.shape[2]), np.nan)
    scale = np.abs(slope).max(axis=1)  # each condition counts alike, whatever its units
    good = np.isfinite(slope).all(axis=(0, 1)) & np.isfinite(value).all(axis=0) & (scale > 0).all(axis=0)
    if not good.any():
        return step
    matrices = np.moveaxis(slope[:, :, good] / scale[:, None, good], 2, 0)
    rights = (value[:, good] / scale[:, good]).T[:, :, None]
    if matrices.shape[1] == matrices.shape[2]:
        regular = np.abs(np.linalg.det(matrices)) > 1e-14
        solved = np.full((len(matrices), matrices.shape[2]), np.nan)
        solved[regular] = np.linalg.solve(matrices[regular], rights[regular])[:, :, 0]
    else:
        solved = (np.linalg.pinv(matrices) @ rights)[:, :, 0]
    step[:, good] = solved.T
    return step
