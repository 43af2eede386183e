"""The charge that a current swings a capacitor by over one period, with all its cases.

The charge is at a high or a low where the current changes sign: at an interval's edge, or inside an
interval that begins and ends with currents of opposite sign.  Where the signs at the intervals' ends
are proved, there is one formula.  A sign that is open makes two cases, each with its condition.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import combinations, product

import numpy as np
import sympy
from sympy import Expr
from sympy.logic.boolalg import Boolean

from voltsec.formulas.choices import Choices, Sum, difference, open_factors
from voltsec.tableau import lengths
from voltsec.tableau.ratio import Ratio

MOST_OPEN = 6
"""Signs that may be open; with more the formula would be no help."""

MOST_CASES = 5
"""Cases of one formula."""

Signs = tuple[int, ...]
"""A sign for each end that is open, in order."""


@dataclass(frozen=True)
class Stretch:
    """One interval: its share of the period, the current's mean and half its rise, as places of bases.

    ``bend`` is the current's deviation from a straight line (None where it is one).
    """

    share: Ratio
    mean: int
    ramp: int | None
    bend: int | None = None

    @property
    def ends(self) -> tuple[Sum, Sum]:
        """The current at the interval's start and end."""
        middle: Sum = ((self.mean, 1),) if self.bend is None else ((self.mean, 1), (self.bend, 1))
        if self.ramp is None:
            return middle, middle
        return (*middle, (self.ramp, -1)), (*middle, (self.ramp, 1))


@dataclass
class Ends:
    """Signs of the current at all ends: proved ones, and places among the open ones."""

    proved: list[int | None] = field(default_factory=list)
    open: list[Sum] = field(default_factory=list)
    place: list[tuple[int, int]] = field(default_factory=list)
    """For an open end its place among ``open`` and the sign by which it is counted; (-1, 0) otherwise."""

    def at(self, number: int, signs: Signs) -> int:
        """Sign at an end in the case ``signs``."""
        found = self.proved[number]
        if found is not None:
            return found
        place, turn = self.place[number]
        return signs[place] * turn


def charge_swing(
    stretches: Sequence[Stretch],
    choices: Choices,
    period: Ratio,
    condition: Callable[[Sum], Boolean],
    scale: Ratio,
) -> Expr | None:
    """Peak-to-peak charge times ``scale``, ``None`` where there is no formula.

    ``condition`` says that a sum is positive.
    """
    ends = _ends(stretches, choices)
    if ends is None:
        return None
    lengths = [(stretch.share * period) * scale for stretch in stretches]
    cases: dict[Signs, list[Arc]] = {}
    for signs in _possible(ends.open, choices):
        arcs = _arcs(stretches, ends, signs)
        if len(arcs) != 1:  # what flows in flows out again
            cases[signs] = arcs
    if not cases:
        return None
    writer = Writer(stretches, lengths, choices)
    if len({writer.told_by(arcs) for arcs in cases.values()}) > MOST_CASES:
        return writer.clipped(ends) if all(len(arcs) == 2 for arcs in cases.values()) else None
    formulas: dict[Signs, Expr] = {}
    for signs, arcs in cases.items():
        found = writer.swing(arcs)
        if found is None:
            return None
        formulas[signs] = found
    return _together(formulas, ends.open, condition)


def _ends(stretches: Sequence[Stretch], choices: Choices) -> Ends | None:
    found = Ends()
    for stretch in stretches:
        for end in stretch.ends:
            sign = choices.sign(end)
            found.proved.append(sign)
            if sign is not None:
                found.place.append((-1, 0))
                continue
            for place, other in enumerate(found.open):
                turn = _same(end, other, choices)
                if turn:
                    found.place.append((place, turn))
                    break
            else:
                found.place.append((len(found.open), 1))
                found.open.append(end)
    return found if len(found.open) <= MOST_OPEN else None


def _same(one: Sum, other: Sum, choices: Choices) -> int:
    """1 where two sums always have one sign, -1 where they have opposite ones, 0 for others."""
    if one == other:  # even where it is zero, or no number, at a sample
        return 1
    values, others = choices.numeric(one), choices.numeric(other)
    turn = 1 if np.sum(np.sign(values * others)) > 0 else -1
    if not (turn * values * others >= 0).all():
        return 0
    if choices.long:
        turned = tuple((place, turn * coefficient) for place, coefficient in other)
        return turn if not difference(one, turned) else 0
    known = choices.known
    open_, others_open = (open_factors(known.freed(choices.ratio(each)), known)[0] for each in (one, other))
    if len(open_) != len(others_open):
        return 0
    return turn if all(any(f in (g, -g) for g in others_open) for f in open_) else 0


def _possible(open_: list[Sum], choices: Choices) -> list[Signs]:
    """Cases that are not excluded, the most frequent at the sample points first."""
    if not open_:
        return [()]
    seen = Counter(zip(*(np.where(choices.numeric(one) < 0, -1, 1).tolist() for one in open_), strict=True))
    excluded = []
    for (i, one), (k, other) in combinations(enumerate(open_), 2):
        for turn in (1, -1):
            total = tuple(difference(one, tuple((p, -turn * c) for p, c in other)))
            sign = choices.sign(total)  # of one + turn*other
            if sign:
                excluded.append((i, -sign, k, -sign * turn))
    found = []
    for signs in product((1, -1), repeat=len(open_)):
        if seen[signs] or not any(signs[i] == a and signs[k] == b for i, a, k, b in excluded):
            found.append(signs)
    return sorted(found, key=lambda signs: -seen[signs])


@dataclass(frozen=True)
class Piece:
    """A part of an interval in which the current has one sign."""

    number: int
    sign: int
    begins: bool | None = None
    """It is what comes before the current crosses zero, or what comes after; None: all of the interval."""


Arc = tuple[int, list[Piece]]
"""A sign, and the neighbouring pieces in which the current has it."""


def _arcs(stretches: Sequence[Stretch], ends: Ends, signs: Signs) -> list[Arc]:
    """Where the current has one sign, round the period."""
    pieces: list[Piece] = []
    for number in range(len(stretches)):
        first, last = ends.at(2 * number, signs), ends.at(2 * number + 1, signs)
        if first * last < 0:
            pieces += [Piece(number, first, True), Piece(number, last, False)]
        elif first or last:
            pieces.append(Piece(number, first or last))
    arcs: list[Arc] = []
    for piece in pieces:
        if arcs and arcs[-1][0] == piece.sign:
            arcs[-1][1].append(piece)
        else:
            arcs.append((piece.sign, [piece]))
    if len(arcs) > 1 and arcs[0][0] == arcs[-1][0]:
        arcs[0] = arcs[0][0], arcs[-1][1] + arcs[0][1]
        arcs.pop()
    return arcs


class Writer:
    """Formulas of the charges of arcs; ``lengths`` are the intervals' durations times the scale."""

    def __init__(self, stretches: Sequence[Stretch], lengths: list[Ratio], choices: Choices) -> None:
        self.stretches = stretches
        self.lengths = lengths
        self.choices = choices
        self.write = choices.write

    def swing(self, arcs: list[Arc]) -> Expr | None:
        """Peak-to-peak charge of a current with these arcs; ``None`` where it would be long."""
        if not arcs:
            return sympy.Integer(0)
        crossed = [piece.number for _, pieces in arcs for piece in pieces if piece.begins is not None]
        if any(self.stretches[number].bend is not None for number in crossed):
            return None  # where a bent current crosses zero takes long to say
        if len(arcs) > 2:
            return self._of_several(arcs)
        sign, pieces = self._lighter(arcs)
        if self.choices.long or sum(map(self._terms, pieces)) > lengths.WRITTEN:
            return sympy.Add(*(sign * self._apart(piece) for piece in pieces))
        total = self._sum(pieces)
        return self.write(total.times(sign))

    def told_by(self, arcs: list[Arc]) -> tuple[tuple[int, tuple[Piece, ...]], ...]:
        """The arcs whose charges make the formula."""
        told = [self._lighter(arcs)] if len(arcs) == 2 else arcs
        return tuple((sign, tuple(pieces)) for sign, pieces in told)

    def _lighter(self, arcs: list[Arc]) -> Arc:
        """Of two arcs, whose charges are the same, the one with less to say."""
        return min(arcs, key=self._weight)

    def _weight(self, arc: Arc) -> tuple[int, int]:
        return len(arc[1]), sum(piece.begins is not None for piece in arc[1])

    def _terms(self, piece: Piece) -> int:
        """About how many terms a piece's charge has."""
        stretch = self.stretches[piece.number]
        mean = self.choices.bases[stretch.mean].terms
        if piece.begins is None or stretch.ramp is None:
            return mean
        return (mean + self.choices.bases[stretch.ramp].terms) ** 2 // 2

    def _charge(self, piece: Piece) -> Ratio:
        """A current that goes from a to b crosses zero after the share a/(a - b) of the interval."""
        stretch, length = self.stretches[piece.number], self.lengths[piece.number]
        if piece.begins is None:
            return self.choices.bases[stretch.mean] * length
        assert stretch.ramp is not None
        value = self.choices.ratio(stretch.ends[0 if piece.begins else 1])
        ramp = self.choices.bases[stretch.ramp]
        area = (value * value) * (Ratio(ramp.denominator, ramp.numerator * 4) * length)
        return -area if piece.begins else area

    def _apart(self, piece: Piece) -> Expr:
        """The same with mean and ramp apart."""
        stretch, length = self.stretches[piece.number], self.write(self.lengths[piece.number])
        if piece.begins is None:
            return self.write(self.choices.bases[stretch.mean]) * length
        assert stretch.ramp is not None
        value = self.choices.written(stretch.ends[0 if piece.begins else 1])
        turn = -1 if piece.begins else 1
        return turn * length * value**2 / (4 * self.write(self.choices.bases[stretch.ramp]))

    def _sum(self, pieces: list[Piece]) -> Ratio:
        total = self._charge(pieces[0])
        for piece in pieces[1:]:
            total = total + self._charge(piece)
        return total

    def _of_several(self, arcs: list[Arc]) -> Expr | None:
        """The largest rise or fall over any odd number of neighbouring arcs."""
        if self.choices.long:
            return None
        if any(sum(map(self._terms, pieces)) > lengths.WRITTEN for _, pieces in arcs):
            return None
        totals = [self._sum(pieces) for _, pieces in arcs]
        own = Choices(self.choices.known, totals, self.choices.points, self.write)
        count = len(arcs)
        sums: list[Sum] = []
        for first in range(count):
            for length in range(1, count, 2):
                members = sorted((first + k) % count for k in range(length))
                sums.append(tuple((place, arcs[first][0]) for place in members))
        return own.largest(sums)

    def clipped(self, ends: Ends) -> Expr | None:
        """Charge of all positive (or all negative) parts, currents of the other sign counted as zero."""
        if any(stretch.bend is not None for stretch in self.stretches):
            return None
        options = [self._clipped(ends, sign) for sign in (1, -1)]
        return min(options, key=lambda terms: sum(term.has(sympy.Max) for term in terms) * 100 + len(terms))[
            0
        ]

    def _clipped(self, ends: Ends, sign: int) -> list[Expr]:
        terms: list[Expr] = []
        for number, stretch in enumerate(self.stretches):
            first, last = ends.proved[2 * number], ends.proved[2 * number + 1]
            if first in (sign, 0) and last in (sign, 0):
                terms.append(sign * self._apart(Piece(number, sign)))
            elif first not in (-sign, 0) or last not in (-sign, 0):
                if stretch.ramp is None:
                    mean = sign * self.choices.written(stretch.ends[0])
                    terms.append(sign * self.write(self.lengths[number]) * sympy.Max(mean, 0, evaluate=False))
                    continue
                start, end = (sign * self.choices.written(one) for one in stretch.ends)
                squares = sympy.Max(start, 0, evaluate=False) ** 2 - sympy.Max(end, 0, evaluate=False) ** 2
                length, ramp = self.write(self.lengths[number]), self.write(self.choices.bases[stretch.ramp])
                terms.append(-sign * length * squares / (4 * ramp))
        return [sympy.Add(*terms), *terms]


def _together(cases: dict[Signs, Expr], open_: list[Sum], condition: Callable[[Sum], Boolean]) -> Expr | None:
    """The cases as one formula, each with the condition that tells it from those that come after."""
    formulas = list(dict.fromkeys(cases.values()))
    if len(formulas) == 1:
        return formulas[0]
    left = dict(cases)
    pairs: list[tuple[Expr, Boolean]] = []
    for formula in formulas[:-1]:
        own = [signs for signs, found in left.items() if found == formula]
        others = [signs for signs, found in left.items() if found != formula]
        told = _telling(own, others)
        pairs.append((formula, sympy.Or(*(_conjunction(part, open_, condition) for part in told))))
        left = {signs: found for signs, found in left.items() if found != formula}
    return sympy.Piecewise(*pairs, (formulas[-1], True), evaluate=False)


def _telling(own: list[Signs], others: list[Signs]) -> list[dict[int, int]]:
    """Few conjunctions of signs that are true in all of ``own`` and in none of ``others``."""
    found: list[dict[int, int]] = []
    waiting = list(own)
    while waiting:
        signs = waiting[0]
        count = len(signs)
        part = next(
            dict(zip(places, (signs[place] for place in places), strict=True))
            for size in range(1, count + 1)
            for places in combinations(range(count), size)
            if not any(all(other[place] == signs[place] for place in places) for other in others)
        )
        found.append(part)
        waiting = [s for s in waiting if not all(s[place] == sign for place, sign in part.items())]
    return found


def _conjunction(part: dict[int, int], open_: list[Sum], condition: Callable[[Sum], Boolean]) -> Boolean:
    parts = []
    for place, sign in part.items():
        parts.append(condition(tuple((base, sign * coefficient) for base, coefficient in open_[place])))
    return sympy.And(*parts)
