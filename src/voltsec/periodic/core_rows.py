"""A linear system made ready for many points: what no point changes is eliminated once.

Coefficients become polynomials with float coefficients in whatever varies (swept symbols and interval
fractions).  Every equation whose pivot is a plain number and causes little fill is used up at once;
what is left, the core, is small, and is solved at all points together by :mod:`voltsec.periodic.batched`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from voltsec.circuit.computing_time import go_on
from voltsec.periodic.coefficients import Terms
from voltsec.periodic.folding import Constants, Folded, nested
from voltsec.tableau.network import Row, Unknown
from voltsec.tableau.ring import value_of

FloatRow = dict[Unknown | None, Terms]

THRESHOLD = 0.01
"""A pivot is at least this share of its row's largest coefficient."""

FILL = 60
"""A pivot may touch so many coefficients at most ..."""

LONGEST = 40
"""... and make polynomials of so many terms at most."""

ROUNDING = 1e-13
"""A sum of terms that cancel to less than this share of their sizes is zero."""


@dataclass(frozen=True)
class Entry:
    """One coefficient of the core."""

    row: int
    column: int
    """-1 stands for the right side."""
    terms: Terms


@dataclass(frozen=True)
class Replacement:
    """An eliminated unknown: the sum of coefficient times unknown (``None``: the constant)."""

    unknown: Unknown
    terms: tuple[tuple[Unknown | None, Folded], ...]


@dataclass(frozen=True)
class Core:
    """What is left of a system: rows sum(coefficient * unknown) = right side, and what was eliminated."""

    unknowns: tuple[Unknown, ...]
    entries: tuple[Entry, ...]
    height: int
    """How many rows there are."""
    replaced: tuple[Replacement, ...]
    """In an order in which each refers to earlier ones and the core's unknowns only."""
    varying: tuple[str, ...]


def core_of(
    rows: list[Row],
    constants: Constants,
    typical: Mapping[str, float],
    level: Callable[[Unknown], float],
    loose: Iterable[Unknown] = (),
) -> Core:
    """The core of ``rows`` with ``constants`` put in.

    ``loose`` unknowns stand in no equation (the potential between two open devices, say) and stay free.

    ``typical`` holds an ordinary value of everything that varies, for judging the size of a pivot;
    ``level`` the size of an unknown (volt or ampere).
    """
    free = constants.varying
    weights = tuple(float(value_of(name, typical)) for name in free)
    active: dict[int, FloatRow] = {}
    for number, row in enumerate(rows):
        floats: FloatRow = {u: constants.grouped(c) for u, c in row.items() if not c.is_zero()}
        if floats:
            active[number] = floats
    order = _eliminate(active, weights, level)
    left = [row for row in active.values() if row]
    pivots = {pivot for pivot, _ in order}
    # an unknown that only eliminated rows mention stays free: it belongs to the core as well
    every = dict.fromkeys(u for row in (*left, *(row for _, row in order), loose) for u in row)
    unknowns = tuple(u for u in every if u is not None and u not in pivots)
    place = {unknown: k for k, unknown in enumerate(unknowns)}
    entries = [
        Entry(number, -1, {powers: -c for powers, c in terms.items()})
        if unknown is None
        else Entry(number, place[unknown], terms)
        for number, row in enumerate(left)
        for unknown, terms in row.items()
    ]
    replaced = []
    for pivot, row in reversed(order):
        (scale,) = row[pivot].values()
        replaced.append(
            Replacement(
                pivot,
                tuple(
                    (u, nested({p: -c / scale for p, c in terms.items()}, free))
                    for u, terms in row.items()
                    if u != pivot
                ),
            )
        )
    return Core(unknowns, tuple(entries), len(left), tuple(replaced), free)


def _eliminate(
    active: dict[int, FloatRow], weights: tuple[float, ...], level: Callable[[Unknown], float]
) -> list[tuple[Unknown, FloatRow]]:
    """Take pivot rows out of ``active``, cheapest fill first; returns them with their pivots."""
    columns: dict[Unknown, set[int]] = {}
    for number, row in active.items():
        for unknown in row:
            if unknown is not None:
                columns.setdefault(unknown, set()).add(number)

    def size(terms: Terms) -> float:
        total = 0.0
        for powers, coefficient in terms.items():
            product = abs(coefficient)
            for base, power in zip(weights, powers, strict=True):
                if power:
                    product *= base**power
            total += product
        return total

    def pivots_of(number: int) -> list[Unknown]:
        """Unknowns with a number for a coefficient that is not small among those of the row."""
        row = active[number]
        plain = [u for u, terms in row.items() if u is not None and _is_number(terms)]
        if not plain:
            return []
        sizes = {u: size(terms) * level(u) for u, terms in row.items() if u is not None}
        least = THRESHOLD * max(sizes.values())
        return [unknown for unknown in plain if not sizes[unknown] < least]

    usable_pivots = {number: pivots_of(number) for number in active}

    def cheapest(number: int) -> tuple[int, int, Unknown] | None:
        row = active[number]
        found = None
        for unknown in usable_pivots[number]:
            fill = (len(row) - 1) * (len(columns[unknown]) - 1)
            if fill <= FILL and (found is None or fill < found[0]):
                found = (fill, number, unknown)
        return found

    order: list[tuple[Unknown, FloatRow]] = []
    costs = {number: cheapest(number) for number in active}
    while True:
        go_on()
        usable = [cost for cost in costs.values() if cost is not None]
        if not usable:
            return order
        fill, number, pivot = min(usable, key=lambda cost: cost[:2])
        current = cheapest(number)  # columns may have filled since
        if current is None or current[0] > fill:
            costs[number] = current
            continue
        _, _, pivot = current
        row = active[number]
        touched = columns[pivot] - {number}
        combined = {other: _combine(active[other], row, pivot) for other in touched}
        if any(len(terms) > LONGEST for new in combined.values() for terms in new.values()):
            costs[number] = None
            continue
        del active[number], costs[number]
        for unknown in row:
            if unknown is not None:
                columns[unknown].discard(number)
        for other, new in combined.items():
            for unknown in active[other]:
                if unknown is not None and unknown not in new:
                    columns[unknown].discard(other)
            for unknown in new:
                if unknown is not None:
                    columns[unknown].add(other)
            active[other] = new
            usable_pivots[other] = pivots_of(other)
            costs[other] = cheapest(other)
        del columns[pivot]
        order.append((pivot, row))


def _is_number(terms: Terms) -> bool:
    return len(terms) == 1 and not any(next(iter(terms)))


def _combine(row: FloatRow, pivot_row: FloatRow, pivot: Unknown) -> FloatRow:
    """``row`` with ``pivot`` removed; the pivot's coefficient is a number."""
    (scale,) = pivot_row[pivot].values()
    factor = {powers: -c / scale for powers, c in row[pivot].items()}
    combined = {u: dict(terms) for u, terms in row.items() if u != pivot}
    for unknown, terms in pivot_row.items():
        if unknown == pivot:
            continue
        total = _sum(combined.get(unknown, {}), _product(terms, factor))
        if total:
            combined[unknown] = total
        else:
            combined.pop(unknown, None)
    return combined


def _product(one: Terms, other: Terms) -> Terms:
    found: Terms = {}
    for powers, a in one.items():
        for more, b in other.items():
            key = tuple(p + q for p, q in zip(powers, more, strict=True))
            found[key] = found.get(key, 0.0) + a * b
    return found


def _sum(one: Terms, other: Terms) -> Terms:
    found = dict(one)
    for powers, value in other.items():
        before = found.get(powers, 0.0)
        total = before + value
        if abs(total) <= ROUNDING * (abs(before) + abs(value)):
            found.pop(powers, None)
        else:
            found[powers] = total
    return found
