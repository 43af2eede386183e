"""Starts for Newton's method where one fraction is unknown: between changes of the condition's sign.

The condition is taken as a polynomial, the determinant of the equations with their right side, so that
it has no poles, and every simple root in the switch interval shows unless two lie close together.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

import numpy as np

from voltsec.periodic.batched import BLOCK, System, choose, cut
from voltsec.periodic.folding import Array, Value

SHARES = (0.002, 0.006, 0.015, 0.03, 0.06, *np.linspace(0.1, 0.9, 13), 0.94, 0.97, 0.985, 0.994, 0.998)
"""Where the sign is asked, in shares of the switch interval."""

CHORDS = 8
"""Steps towards a root before Newton's method takes over."""


def starts(system: System, point: Mapping[str, Value], lengths: Array) -> Iterator[tuple[Array, Array]]:
    """Places and guesses there, one root after another (empty where a sign does not tell a root).

    ``lengths`` are those of the switch interval; ``point`` holds them in the last fraction's place.
    """
    if len(system.unknown) != 1 or not lengths.size:
        return
    middle = slice(lengths.size // 2, lengths.size // 2 + 1)
    one = system.with_fractions(cut(point, middle), 0.4 * lengths[None, middle])
    matrix, right, _ = system.scaled(system.filled(one, 1), one)
    basis = choose(matrix[0], right[0])
    if basis.surplus != 1:
        return
    columns = np.sort(basis.columns)
    condition = _Condition(system, point, lengths.size, columns)
    values = np.array([condition.at(share * lengths) for share in SHARES])
    shares = np.array(SHARES)
    flips = values[:-1] * values[1:] < 0
    rank = np.cumsum(flips, axis=0)
    for number in range(1, int(rank.max(initial=0)) + 1):
        here = flips & (rank == number)
        places = np.flatnonzero(here.any(axis=0))
        first = here[:, places].argmax(axis=0)
        trial = _narrowed(
            _Condition(system, cut(point, places), places.size, columns).at,
            (shares[first] * lengths[places], shares[first + 1] * lengths[places]),
            (values[first, places], values[first + 1, places]),
        )
        yield places, trial[None, :]


def _narrowed(
    condition: Callable[[Array], Array], ends: tuple[Array, Array], values: tuple[Array, Array]
) -> Array:
    """A root between ``ends``, nearly: the chord's zero again and again (the Illinois variant).

    After Dowell and Jarratt, BIT 1971 (from memory).
    """
    (old, new), (at_old, at_new) = ends, values
    for _ in range(CHORDS):
        trial = new - at_new * (new - old) / (at_new - at_old)
        trial = np.where(np.isfinite(trial), trial, new)
        value = condition(trial)
        turned = value * at_new < 0
        # an end that stays twice counts half, so that the chord turns towards it
        old, at_old = np.where(turned, new, old), np.where(turned, at_new, at_old / 2)
        new, at_new = trial, value
    return new


class _Condition:
    """The condition of a system at ``count`` points, rows scaled."""

    def __init__(self, system: System, point: Mapping[str, Value], count: int, columns: Array) -> None:
        self.system = system
        self.columns = columns
        self.parts = []
        """Pieces of the points, each with its coefficients."""
        for begin in range(0, count, BLOCK):
            part = slice(begin, min(begin + BLOCK, count))
            here = cut(point, part)
            self.parts.append((part, here, system.filled(here, part.stop - begin)))

    def at(self, trial: Array) -> Array:
        """Its values at ``trial``, the unknown fraction at each point."""
        found = np.zeros(trial.size)
        for part, here, filled in self.parts:
            full = self.system.with_fractions(here, trial[None, part])
            matrix, right, _ = self.system.scaled(filled, full)
            whole = np.concatenate([matrix[:, :, self.columns], right[:, :, None]], axis=2)
            with np.errstate(all="ignore"):
                found[part] = np.linalg.det(whole)
        return np.nan_to_num(found)
