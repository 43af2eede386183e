"""Exact sparse elimination over integer polynomials.

Rows stay primitive (their common polynomial factor is removed after each combination), pivots of
plus or minus one come first, then integers, single terms and short polynomials, each with the
least fill.  What cannot be pivoted is kept: rows without unknowns are the conditions under which
the system has a solution, columns without a pivot are unknowns that the system leaves free.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from voltsec.circuit.computing_time import go_on
from voltsec.tableau import lengths
from voltsec.tableau.network import Row, Unknown
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.ring import Polynomial, Ring, TooLarge, definite_sign, factors


@dataclass(frozen=True)
class Eliminated:
    """Outcome of an elimination.

    ``solved[unknown]`` is (denominator, numerator terms): denominator * unknown = sum of
    coefficient * free unknown, the constant under ``None``.  ``conditions`` are polynomials that
    must vanish, ``free`` the unknowns without an equation.
    """

    ring: Ring
    solved: dict[Unknown, tuple[Polynomial, Row]]
    conditions: tuple[Polynomial, ...]
    free: tuple[Unknown, ...]
    assumed: tuple[Polynomial, ...] = ()
    """Pivots of no definite sign: the solution holds where none of them vanishes."""

    def fraction(self, unknown: Unknown) -> Ratio | None:
        """``unknown`` as a ratio, None where it is not determined."""
        found = self.solved.get(unknown)
        if found is None or any(free is not None for free in found[1]):
            return None
        denominator, row = found
        return Ratio(row.get(None, self.ring.zero), denominator)


def eliminate(
    rows: Iterable[Row],
    ring: Ring,
    wanted: Iterable[Unknown] | None = None,
    fractions_unknown: bool = False,
    limited: bool = True,
    vanishes: Callable[[Polynomial], bool] | None = None,
    last: frozenset[Unknown] = frozenset(),
    longest: int | None = None,
) -> Eliminated:
    """Solve ``rows`` exactly; only ``wanted`` unknowns (and what they need) are substituted back.

    With ``fractions_unknown`` some variables are themselves tied by the conditions that come out,
    so a polynomial without a definite sign may be zero: such pivots come last, and such a factor
    is never divided out of a row.  Unless ``limited`` is False, :class:`TooLarge` is raised where the
    answer would be too long to read.  ``vanishes`` tells coefficients that are zero at the solution
    looked for: they are no pivots, and a row of nothing else becomes conditions.  Unknowns in ``last``
    are solved for only where nothing else is left, so that the others are expressed by them.  Nor is a
    solution wanted of which a coefficient has more terms than ``longest``.
    """
    active: dict[int, Row] = {}
    columns: dict[Unknown | None, set[int]] = {}
    for number, row in enumerate(rows):
        active[number] = dict(row)
        for unknown in row:
            columns.setdefault(unknown, set()).add(number)
    constant_rows = columns.pop(None, set())
    order: list[tuple[Unknown, Row]] = []
    conditions: list[Polynomial] = []
    weights: dict[int, tuple[tuple[Any, ...], Unknown] | None] = {}
    terms = 0
    assumed: list[Polynomial] = []

    def best(number: int) -> tuple[tuple[Any, ...], Unknown] | None:
        """Cheapest pivot of one row."""
        row = active[number]
        length = len(row) - (None in row)
        found: tuple[tuple[Any, ...], Unknown] | None = None
        for unknown, coefficient in row.items():
            if unknown is None or (vanishes is not None and vanishes(coefficient)):
                continue
            weight = (
                unknown in last,
                fractions_unknown and definite_sign(coefficient) is None,
                _size(coefficient),
                (length - 1) * (len(columns[unknown]) - 1),
            )
            if found is None or weight < found[0]:
                found = (weight, unknown)
        return found

    for number in list(active):
        weights[number] = best(number)
    while active:
        chosen = -1
        chosen_weight: tuple[Any, ...] | None = None
        for number, entry in weights.items():
            if entry is None:
                chosen, chosen_weight = number, None
                break
            if chosen_weight is None or entry[0] < chosen_weight:
                chosen, chosen_weight = number, entry[0]
        row = active.pop(chosen)
        entry = weights.pop(chosen)
        if entry is None:
            constant_rows.discard(chosen)
            for unknown, left in row.items():
                if unknown is not None:
                    columns[unknown].discard(chosen)
                if not left.is_zero():
                    conditions.append(left)
            continue
        pivot = entry[1]
        go_on()
        for unknown in row:
            (constant_rows if unknown is None else columns[unknown]).discard(chosen)
        order.append((pivot, row))
        if definite_sign(row[pivot]) is None:
            assumed.append(row[pivot])
        touched = columns.pop(pivot)
        if limited and terms > lengths.ELIMINATED:
            raise TooLarge(f"more than {lengths.ELIMINATED} terms")
        for number in touched:
            other = active[number]
            combined = _combine(other, row, pivot, fractions_unknown, limited)
            for unknown in other:
                if unknown not in combined and unknown is not None and unknown != pivot:
                    columns[unknown].discard(number)
            for unknown in combined:
                if unknown is not None:
                    columns[unknown].add(number)
            active[number] = combined
            made = [len(coefficient) for coefficient in combined.values()]
            terms += sum(made)
            most = lengths.TOLD if limited else lengths.ELIMINATED_WITH_NUMBERS
            if fractions_unknown and made and max(made) > most:
                raise TooLarge(f"a coefficient of {max(made)} terms")
            weights[number] = best(number)
    pivots = {pivot for pivot, _ in order}
    free = tuple(unknown for unknown in columns if unknown is not None and unknown not in pivots)
    solved = _substitute_back(order, wanted, limited, longest)
    return Eliminated(ring, solved, tuple(conditions), free, tuple(assumed))


def _size(coefficient: Polynomial) -> tuple[int, int]:
    if coefficient.is_constant():
        return (0, 0) if abs(int(coefficient.leading_coefficient())) == 1 else (0, 1)
    return (len(coefficient), int(sum(coefficient.degrees())))


def _combine(row: Row, pivot_row: Row, pivot: Unknown, careful: bool = False, limited: bool = True) -> Row:
    """``row`` with ``pivot`` removed by means of ``pivot_row``, made primitive."""
    go_on()
    own, other = row[pivot], pivot_row[pivot]
    if other.is_constant() and abs(int(other.leading_coefficient())) == 1:
        factor_row, factor_pivot = None, -own * int(other.leading_coefficient())
    else:
        common = own.gcd(other)
        factor_row, factor_pivot = other // common, -(own // common)
    combined: Row = {}
    for unknown, coefficient in row.items():
        if unknown != pivot:
            combined[unknown] = coefficient if factor_row is None else coefficient * factor_row
    for unknown, coefficient in pivot_row.items():
        if unknown == pivot:
            continue
        product = coefficient * factor_pivot
        if unknown in combined:
            product = combined[unknown] + product
            if product.is_zero():
                del combined[unknown]
                continue
        combined[unknown] = product
    if limited and sum(map(len, combined.values())) > lengths.ONE_EQUATION:
        raise TooLarge(f"more than {lengths.ONE_EQUATION} terms in one equation")
    return _primitive(combined, careful)


def _primitive(row: Row, careful: bool) -> Row:
    """``row`` divided by what all its coefficients share; a condition (no unknowns) stays whole."""
    if len(row) == 1 and None in row:
        return row
    common = None
    for coefficient in row.values():
        if coefficient.is_constant() and abs(int(coefficient.leading_coefficient())) == 1:
            return row
    for coefficient in sorted(row.values(), key=len):
        common = coefficient if common is None else common.gcd(coefficient)
        if common.is_one():
            return row
    if common is not None and careful and definite_sign(common) is None:
        content, pairs = factors(common)
        common = common // common + int(content) - 1
        for factor, power in pairs:
            if definite_sign(factor) is not None:
                common *= factor**power
    if common is None or common.is_one():
        return row
    return {unknown: coefficient // common for unknown, coefficient in row.items()}


def _substitute_back(
    order: list[tuple[Unknown, Row]], wanted: Iterable[Unknown] | None, limited: bool, longest: int | None
) -> dict[Unknown, tuple[Polynomial, Row]]:
    pivots = {pivot for pivot, _ in order}
    needed = set(pivots) if wanted is None else set(wanted) & pivots
    if wanted is not None:
        for pivot, row in order:  # a row refers only to pivots chosen after it
            if pivot in needed:
                needed.update(unknown for unknown in row if unknown in pivots)
    solved: dict[Unknown, Row] = {}
    for pivot, row in reversed(order):
        if pivot not in needed:
            continue
        for unknown in [u for u in row if u in solved and u != pivot]:
            go_on()
            row = _combine(row, solved[unknown], unknown, limited=limited)
        if longest is not None and max(map(len, row.values())) > longest:
            raise TooLarge(f"a formula of more than {longest} terms")
        solved[pivot] = row
    result = {}
    for pivot, row in solved.items():
        result[pivot] = (row[pivot], {u: -c for u, c in row.items() if u != pivot})
    return result
