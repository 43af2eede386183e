"""In which order conditions on unknown fractions can be solved, one unknown after another."""

from __future__ import annotations

from collections.abc import Sequence

from voltsec.tableau.ratio import Ratio, insert, lowest_terms
from voltsec.tableau.ring import Polynomial, Ring, factors


def essential(ring: Ring, unknown: Sequence[str], polynomial: Polynomial) -> Polynomial:
    """The factors of a condition that hold an unknown fraction: only these can make it zero."""
    kept = ring.one
    for factor, power in factors(polynomial)[1]:
        if ring.variables(factor) & set(unknown):
            kept *= factor**power
    return kept


def solving_order(
    ring: Ring, unknown: Sequence[str], conditions: Sequence[Polynomial]
) -> list[tuple[Polynomial, str]] | None:
    """Conditions with the unknown each gives, earlier ones known; None where only all together give them."""
    found: list[tuple[Polynomial, str]] = []
    tied: list[tuple[Polynomial, str]] = []
    left = list(conditions)
    while left:
        single = _single(ring, unknown, left, {name for _, name in found})
        if single is not None:
            left.remove(single[0])
            found.append(single)
            continue
        tie = _tie(ring, unknown, left)
        if tie is None:
            return None
        condition, name, value = tie
        tied.append((condition, name))
        left = _with_tie(ring, unknown, left, condition, name, value)
    return [*found, *reversed(tied)]


def _single(
    ring: Ring, unknown: Sequence[str], conditions: list[Polynomial], known: set[str]
) -> tuple[Polynomial, str] | None:
    """A condition with one unknown that is not ``known``, and that unknown."""
    for condition in conditions:
        missing = (ring.variables(condition) & set(unknown)) - known
        if len(missing) == 1:
            return condition, next(iter(missing))
    return None


def _tie(
    ring: Ring, unknown: Sequence[str], conditions: list[Polynomial]
) -> tuple[Polynomial, str, Ratio] | None:
    """An unknown that a condition gives by another one (``d3 = d2`` of equal legs), and its value."""
    for condition in conditions:
        for name in sorted(ring.variables(condition) & set(unknown), reverse=True):
            parts = ring.coefficients(condition, name)
            if len(parts) == 2 and not ring.variables(parts[1]) & set(unknown):
                return condition, name, lowest_terms(-parts[0], parts[1])
    return None


def _with_tie(
    ring: Ring,
    unknown: Sequence[str],
    conditions: list[Polynomial],
    condition: Polynomial,
    name: str,
    value: Ratio,
) -> list[Polynomial]:
    """The other conditions with the tied unknown put in; those that then say nothing are left out."""
    left = []
    for other in conditions:
        if other == condition:
            continue
        rest = essential(ring, unknown, insert(ring, Ratio(other, ring.one), name, value).numerator)
        if not rest.is_one():
            left.append(rest)
    return left
