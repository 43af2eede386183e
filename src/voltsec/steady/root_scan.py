"""Starts for Newton's method where one fraction is unknown: between changes of the condition's sign.

The condition is taken as a polynomial, the determinant of the equations with their right side, so that
it has no poles, and every simple root in the switch interval shows unless two lie close together.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from voltsec.steady.batched import BLOCK, System, choose, cut
from voltsec.steady.folding import Array, Value

SHARES = (0.002, 0.006, 0.015, 0.03, 0.06, *np.linspace(0.1, 0.9, 13), 0.94, 0.97, 0.985, 0.994, 0.998)
"""Where the sign is asked, in shares of the switch interval."""

HALVINGS = 4


def starts(system: System, point: Mapping[str, Value], lengths: Array) -> Iterator[tuple[Array, Array]]:
    """Places and guesses there, one root after another (empty where a sign does not tell a root).

    ``lengths`` are those of the switch interval; ``point`` holds them in the last fraction's place.
    """
    if len(system.unknown) != 1 or not lengths.size:
        return
    middle = slice(lengths.size // 2, lengths.size // 2 + 1)
    one = system.with_fractions(cut(point, middle), 0.4 * lengths[None, middle])
    matrix, right, _ = system.scaled(one, 1)
    basis = choose(matrix[0], right[0])
    if basis.others.size != 1:
        return
    columns = np.sort(basis.columns)
    signs = np.array([_sign(system, point, share * lengths, columns) for share in SHARES])
    shares = np.array(SHARES)
    flips = signs[:-1] * signs[1:] < 0
    rank = np.cumsum(flips, axis=0)
    for number in range(1, int(rank.max(initial=0)) + 1):
        here = flips & (rank == number)
        places = np.flatnonzero(here.any(axis=0))
        first = here[:, places].argmax(axis=0)
        low, high = shares[first] * lengths[places], shares[first + 1] * lengths[places]
        below = signs[first, places]
        for _ in range(HALVINGS):
            half = (low + high) / 2
            same = _sign(system, cut(point, places), half, columns) == below
            low, high = np.where(same, half, low), np.where(same, high, half)
        yield places, (low + high)[None, :] / 2


def _sign(system: System, point: Mapping[str, Value], trial: Array, columns: Array) -> Array:
    """Sign of the condition at ``trial`` (the unknown fraction at each point)."""
    found = np.zeros(trial.size)
    for begin in range(0, trial.size, BLOCK):
        part = slice(begin, min(begin + BLOCK, trial.size))
        full = system.with_fractions(cut(point, part), trial[None, part])
        matrix, right, _ = system.scaled(full, part.stop - begin)
        whole = np.concatenate([matrix[:, :, columns], right[:, :, None]], axis=2)
        with np.errstate(all="ignore"):
            found[part] = np.linalg.slogdet(whole)[0]
    return np.nan_to_num(found)
