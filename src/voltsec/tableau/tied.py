"""Rings for sequences whose switch intervals depend on each other, as equal on-times make them.

Two legs that conduct for the same duty, half a period apart, have two pairs of equal intervals.  Were all
four fractions variables of their own, the balances of the two legs would contradict each other; so only
as many are variables as are independent, and the others are sums of these.
"""

from __future__ import annotations

from collections.abc import Sequence as Values
from fractions import Fraction
from itertools import combinations
from math import lcm

import flint

from voltsec.tableau.interval import Sequence
from voltsec.tableau.ring import Ring


def ring_of(sequence: Sequence, names: Values[str]) -> Ring:
    """The ring of a sequence's fractions and further variables."""
    ring = Ring((*fraction_variables(sequence), *names))
    tie(ring, sequence)
    return ring


def fraction_variables(sequence: Sequence) -> tuple[str, ...]:
    """The fractions that are variables; of a switch interval that depends on others its last is none."""
    if not sequence.stage_lengths:
        return sequence.fractions
    independent, _ = _basis(sequence)
    last = {stage: k for k, stage in enumerate(i.stage for i in sequence.intervals)}
    return tuple(
        name
        for k, name in enumerate(sequence.fractions)
        if sequence.intervals[k].stage in independent or k != last[sequence.intervals[k].stage]
    )


def tie(ring: Ring, sequence: Sequence) -> None:
    """Let ``ring`` know the fractions that are sums of others."""
    if not sequence.stage_lengths:
        return
    independent, parts = _basis(sequence)
    members: dict[int, list[str]] = {}
    for name, interval in zip(sequence.fractions, sequence.intervals, strict=True):
        members.setdefault(interval.stage, []).append(name)
    whole = []
    for place, stage in enumerate(independent):
        divisor = parts[stage][place]
        whole.append(sum((ring.generators[name] for name in members[stage]), ring.zero))
        if divisor > 1:
            ring.divisors |= dict.fromkeys(members[stage], divisor)
    for stage, names in members.items():
        if stage not in independent:
            total = sum((unit * part for unit, part in zip(whole, parts[stage], strict=True)), ring.zero)
            ring.sums[names[-1]] = total - sum((ring.generators[n] for n in names[:-1]), ring.zero)


def _basis(sequence: Sequence) -> tuple[tuple[int, ...], list[list[int]]]:
    """Independent switch intervals, and every one as whole multiples of as many common units.

    Preferred are those by which the others are sums without differences (all variables being
    positive, signs then show), and those that several intervals share.
    """
    lengths = sequence.stage_lengths
    count = len(lengths)
    shared = [sum(interval.stage == stage for interval in sequence.intervals) for stage in range(count)]
    rank = _matrix(lengths).rank()
    best = None
    for chosen in combinations(range(count), rank):
        base = _matrix([lengths[stage] for stage in chosen])
        if base.rank() < rank:
            continue
        columns = _independent_columns(base)
        square = flint.fmpq_mat([[base[row, column] for row in range(rank)] for column in columns])
        right = flint.fmpq_mat([[_rational(length[column]) for length in lengths] for column in columns])
        solved = square.solve(right)
        rows = [[_fraction(solved[j, stage]) for j in range(rank)] for stage in range(count)]
        differences = sum(part < 0 for row in rows for part in row)
        split = sum(members > 1 for stage, members in enumerate(shared) if stage not in chosen)
        whole = sum(part.denominator > 1 for row in rows for part in row)
        score = (differences, split, whole)
        if best is None or score < best[0]:
            best = (score, chosen, rows)
    assert best is not None
    _, chosen, rows = best
    scales = [lcm(*(row[place].denominator for row in rows)) for place in range(rank)]
    return chosen, [[int(part * scale) for part, scale in zip(row, scales, strict=True)] for row in rows]


def _matrix(lengths: Values[Values[Fraction]]) -> flint.fmpq_mat:
    return flint.fmpq_mat([[_rational(part) for part in length] for length in lengths])


def _rational(value: Fraction) -> flint.fmpq:
    return flint.fmpq(value.numerator, value.denominator)


def _fraction(value: flint.fmpq) -> Fraction:
    return Fraction(int(value.p), int(value.q))


def _independent_columns(matrix: flint.fmpq_mat) -> list[int]:
    """Columns in which a matrix of full row rank stays regular."""
    reduced, rank = matrix.rref()
    found = []
    for row in range(rank):
        found.append(next(c for c in range(matrix.ncols()) if reduced[row, c] != 0))
    return found
