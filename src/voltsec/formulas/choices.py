"""Which of several quantities is the largest where a mode holds: proved where possible, else left open.

Peaks and ripples are the largest of a few sums such as mean + ramp of one interval.  A sum drops out
where another one is proved to be at least as large wherever the mode holds; sample points only tell
which proofs are worth trying, and which sums must stay because they are the largest somewhere.  What
stays is written as ``Max``, and a quantity whose sign is open as ``Abs``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import sympy
from sympy import Expr

from voltsec.circuit.computing_time import go_on
from voltsec.periodic.signs import Facts
from voltsec.tableau import lengths
from voltsec.tableau.ratio import Ratio, insert
from voltsec.tableau.ring import Hashed, Polynomial, Ring, TooLarge, definite_sign, factors, product

Array = np.ndarray
Points = Mapping[str, Array]

TIE = 1e-9
"""Values that differ by less of their size are equal."""

GENERIC = 4
"""Points of independent values that make an equality of ratios certain."""

MOST_PROOFS = 3
"""So many others are tried as upper bounds of one sum."""

Sum = tuple[tuple[int, int], ...]
"""A sum of base quantities: (place, coefficient) pairs, each place once."""


@dataclass(frozen=True)
class Knowledge:
    """What is so where a mode holds, over the ring of its ratios."""

    ring: Ring
    facts: Facts
    put_in: Sequence[tuple[str, Ratio]] = ()
    """Parameters by the mode's conditions: the period, say."""
    signs: Mapping[str, int | None] | None = None
    """Variables that are not positive: -1 for negative ones, None for those of either sign."""
    explicit: Callable[[Ratio], int | None] | None = None
    """Asked last: the sign once such variables are told by the parameters."""
    _told: dict[tuple[Hashed, Hashed], int | None] = field(default_factory=dict, compare=False, repr=False)

    def sign(self, ratio: Ratio) -> int | None:
        """Sign of a ratio, ``None`` where it is not proved."""
        if ratio.is_zero:
            return 0
        key = Hashed(ratio.numerator), Hashed(ratio.denominator)
        if key not in self._told:
            self._told[key] = self._sign(ratio)
        return self._told[key]

    def _sign(self, ratio: Ratio) -> int | None:
        if self.signs or self.explicit:
            turned = self.turned(ratio)
            found = None if turned is None else self.facts.sign(turned)
            return self.explicit(ratio) if found is None and self.explicit is not None else found
        found = _by_coefficients(ratio)
        if found is None and len(self.put_in) != 1:
            found = self.facts.sign(ratio)
        if found is not None or not self.put_in:
            return found
        try:
            return self.facts.sign(self.freed(ratio))
        except TooLarge:
            return None

    def agrees(self, points: Points) -> Array:
        """At which of ``points`` the facts hold, those about variables of either sign taken for granted."""
        mask = np.ones(len(points["T"]), bool)
        for fact in self.facts.known:
            if not self.ring.variables(fact) & set(self.signs or ()):
                mask &= self.ring.value(fact, points) > 0
        return mask

    def freed(self, ratio: Ratio) -> Ratio:
        """The ratio with parameters put in by the mode's conditions."""
        for name, value in self.put_in:
            ratio = insert(self.ring, ratio, name, value)
        return ratio

    def turned(self, ratio: Ratio) -> Ratio | None:
        """The ratio in variables that are all positive, ``None`` where one may have either sign."""
        images = {}
        signs = self.signs or {}
        for part in ratio.parts:
            for name in self.ring.variables(part) & set(signs):
                sign = signs[name]
                if sign is None:
                    return None
                images[name] = sign * self.ring.symbol(name)
        return ratio.mapped(lambda part: self.ring.substitute(part, self.ring, images))


def _by_coefficients(ratio: Ratio) -> int | None:
    top, bottom = definite_sign(ratio.numerator), definite_sign(ratio.denominator)
    return None if top is None or bottom is None else top * bottom


class Choices:
    """Largest ones among sums of ``bases``; ``write`` makes a formula of a ratio.

    ``points`` are generic points (of independent values) at which the mode holds.
    """

    def __init__(
        self, known: Knowledge, bases: Sequence[Ratio], points: Points, write: Callable[[Ratio], Expr]
    ) -> None:
        self.known = known
        self.ring = known.ring
        self.bases = list(bases)
        self.points = points
        self.write = write
        self.long = any(len(part) > lengths.COMMON_FACTOR for base in self.bases for part in base.parts)
        self._signs: dict[Sum, int | None] = {}

    @cached_property
    def values(self) -> list[Array]:
        """Values of the bases at the points."""
        length = len(self.points["T"])
        with np.errstate(all="ignore"):
            return [
                np.broadcast_to(
                    np.asarray(
                        self.ring.value(b.numerator, self.points)
                        / self.ring.value(b.denominator, self.points)
                    ),
                    (length,),
                )
                for b in self.bases
            ]

    def numeric(self, one: Sum) -> Array:
        """Values of a sum at the points."""
        total: Array = np.zeros(len(self.points["T"]))
        for place, coefficient in one:
            total = total + coefficient * self.values[place]
        return total

    def ratio(self, one: Sum) -> Ratio:
        """A sum as one ratio."""
        total = Ratio(self.ring.zero, self.ring.one)
        for place, coefficient in one:
            top, bottom = self.bases[place].parts
            total = total + Ratio(top * coefficient, bottom)
        return total

    def sign(self, one: Sum) -> int | None:
        """Sign of a sum, ``None`` where it is not proved."""
        go_on()
        if not one:
            return 0
        if one not in self._signs:
            self._signs[one] = None if self._has_both_signs(one) else self._sign(one)
        return self._signs[one]

    def _has_both_signs(self, one: Sum) -> bool:
        """True where the sum is positive at one point and negative at another: no proof need be sought."""
        with np.errstate(all="ignore"):
            slack = TIE * sum((abs(c) * np.abs(self.values[place]) for place, c in one), start=np.zeros(1))
            value = self.numeric(one)
            return bool((value > slack)[self._agreeing].any() and (value < -slack)[self._agreeing].any())

    @cached_property
    def _agreeing(self) -> Array:
        return self.known.agrees(self.points)

    def _sign(self, one: Sum) -> int | None:
        if len(one) == 1:
            ((place, coefficient),) = one
            sign = self.known.sign(self.bases[place])
            return None if sign is None else sign * (1 if coefficient > 0 else -1)
        signs = {self.sign((term,)) for term in one} - {0}
        if None not in signs and len(signs) <= 1:
            return signs.pop() if signs else 0
        if self.long:
            return None
        return self.known.sign(self.ratio(one))

    def upper(self, sums: Sequence[Sum]) -> list[Sum]:
        """Sums of which the largest is the largest of all, wherever the mode holds."""
        unique = list(dict.fromkeys(sums))
        if len(unique) == 1:
            return unique
        with np.errstate(all="ignore"):
            return self._upper(unique)

    def _upper(self, unique: list[Sum]) -> list[Sum]:
        values = np.array([self.numeric(one) for one in unique])
        top = np.nanmax(np.where(np.isfinite(values), values, -np.inf), axis=0)
        slack = TIE * np.abs(values).max(axis=0)
        reaches = values >= top - slack
        kept: list[int] = []
        missing = np.ones(values.shape[1], bool)
        while missing.any():
            gains = (reaches & missing).sum(axis=1)
            best = int(np.argmax(gains))
            if gains[best] == 0:
                break
            kept.append(best)
            missing &= ~reaches[best]
        # the larger ones first: they may cover what comes after
        for place in np.argsort(-np.nan_to_num(values).mean(axis=1), kind="stable").tolist():
            if place not in kept and not self._covered(unique, values, slack, place, kept):
                kept.append(place)
        return [unique[place] for place in sorted(kept)]

    def _covered(self, unique: list[Sum], values: Array, slack: Array, place: int, kept: list[int]) -> bool:
        """True where one of those kept is proved to be as large as the sum at ``place``."""
        above = [other for other in kept if (values[other] >= values[place] - slack).all()]
        above.sort(key=lambda other: -float(np.nan_to_num(values[other] - values[place]).mean()))
        if values.shape[1] >= GENERIC and any(
            (np.abs(values[other] - values[place]) <= slack).all() for other in above
        ):
            return True  # the same quantity, reached another way
        return any(
            self.sign(difference(unique[other], unique[place])) in (0, 1) for other in above[:MOST_PROOFS]
        )

    def distinct(self, sums: Sequence[Sum]) -> list[Sum]:
        """The sums without those equal to an earlier one."""
        unique = list(dict.fromkeys(sums))
        values = np.array([self.numeric(one) for one in unique])
        slack = TIE * np.abs(values).max(axis=0)
        found: list[int] = []
        for place in range(len(unique)):
            same = (np.abs(values[found] - values[place]) <= slack).all(axis=1)
            if not same.any() or values.shape[1] < GENERIC:
                found.append(place)
        return [unique[place] for place in found]

    def largest_size(self, sums: Sequence[Sum]) -> Expr:
        """Formula of the largest size among the sums."""
        both: list[Sum] = []
        for one in sums:
            sign = self.sign(one)
            if sign is None:
                both += [one, negative(one)]
            elif sign:
                both.append(one if sign > 0 else negative(one))
        if not both:
            return sympy.Integer(0)
        kept = self.upper(both)
        return self._written_all(kept)

    def largest(self, sums: Sequence[Sum]) -> Expr:
        """Formula of the largest of the sums."""
        return self._written_all(self.upper(sums))

    def _written_all(self, kept: list[Sum]) -> Expr:
        """``Max`` of the sums, those that differ in the sign of one part told by its size."""
        items: list[tuple[Sum, tuple[Sum, ...]]] = [(one, ()) for one in kept]
        for shared in (True, False):
            while (joined := self._joined(items, shared)) is not None:
                items = joined
        expressions = []
        for plain, sizes in items:
            parts = ([self.written(plain)] if plain else []) + [self.size(one) for one in sizes]
            expressions.append(sympy.Add(*parts))
        return largest(expressions)

    def _joined(
        self, items: list[tuple[Sum, tuple[Sum, ...]]], shared: bool
    ) -> list[tuple[Sum, tuple[Sum, ...]]] | None:
        """The items with two of them made one: a + b and a - b is a + |b|; None where there is no such pair.

        With ``shared`` there must be an ``a``.
        """
        for place, (one, sizes) in enumerate(items):
            for other_place, (other, other_sizes) in enumerate(items[:place]):
                common = tuple(term for term in one if term in other)
                rest = tuple(term for term in other if term not in common)
                mirrored = set(negative(rest)) == {term for term in one if term not in common}
                if sizes == other_sizes and rest and mirrored and bool(common) == shared:
                    found = [item for k, item in enumerate(items) if k not in (place, other_place)]
                    found.insert(other_place, (common, (*sizes, rest)))
                    return found
        return None

    def written(self, one: Sum) -> Expr:
        """A sum as a formula, turned as it is."""
        if self.long:
            return sympy.Add(*(c * self.write(self.bases[place]) for place, c in one))
        return self.write(self.ratio(one))

    def size(self, one: Sum) -> Expr:
        """Size of a sum: without ``Abs`` where its sign is proved."""
        sign = self.sign(one)
        if sign is not None:
            return self.written(one if sign >= 0 else negative(one))
        if self.long:
            return bars(self.written(one))
        return size_of(self.ratio(one), self.known, self.write)


def size_of(ratio: Ratio, known: Knowledge, write: Callable[[Ratio], Expr]) -> Expr:
    """Size of a ratio: only what may have either sign stands between the bars."""
    open_, sign = open_factors(ratio, known)
    if not open_:
        return write(ratio.times(sign))
    one = known.ring.one
    if len(product(open_)) > lengths.SIGN_FACTORED:
        return bars(write(ratio))
    rest = write(Ratio(_without(ratio.numerator, open_) * sign, _without(ratio.denominator, open_)))
    over = [f for f in open_ if (ratio.denominator // f) * f != ratio.denominator]
    sizes: Expr = sympy.Integer(1)
    for group, power in ((over, 1), ([f for f in open_ if f not in over], -1)):
        for factor in group:
            sizes *= bars(write(Ratio(factor, one))) ** power
    return rest * sizes


def bars(expression: Expr) -> Expr:
    """The size of an expression whose sign is open, without a sign of its own between the bars."""
    coefficient, rest = expression.as_coeff_Mul()
    if coefficient == -1:
        expression = rest
    elif expression.could_extract_minus_sign():
        expression = -expression
    return sympy.Abs(expression, evaluate=False)


def open_factors(ratio: Ratio, known: Knowledge) -> tuple[list[Polynomial], int]:
    """Factors of odd power without a proved sign, and the sign of all else."""
    sign = 1
    open_: list[Polynomial] = []
    one = known.ring.one
    for part in ratio.parts:
        content, pairs = factors(part) if len(part) <= lengths.SIGN_FACTORED else (1, [(part, 1)])
        sign *= 1 if content > 0 else -1
        for factor, power in pairs:
            if power % 2 == 0:
                continue
            found = known.sign(Ratio(factor, one))
            if found is None:
                open_.append(factor)
            elif found < 0:
                sign = -sign
    return open_, sign


def _without(polynomial: Polynomial, open_: list[Polynomial]) -> Polynomial:
    for factor in open_:
        rest = polynomial // factor
        if rest * factor == polynomial:
            polynomial = rest
    return polynomial


def largest(expressions: Sequence[Expr]) -> Expr:
    """``Max`` of what differs."""
    different = list(dict.fromkeys(expressions))
    return different[0] if len(different) == 1 else sympy.Max(*different, evaluate=False)


def negative(one: Sum) -> Sum:
    """A sum counted the other way."""
    return tuple((place, -coefficient) for place, coefficient in one)


def added(one: Sum, other: Sum) -> Sum:
    """Two sums together, places in order."""
    total = dict(one)
    for place, coefficient in other:
        total[place] = total.get(place, 0) + coefficient
    return tuple((place, coefficient) for place, coefficient in sorted(total.items()) if coefficient)


def difference(one: Sum, other: Sum) -> Sum:
    """One sum less another."""
    return added(one, negative(other))
