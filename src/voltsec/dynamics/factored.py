"""A symbolic response in the trade's form: DC gain, natural frequencies, quality factors, zeros."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from sympy import Expr, Integer, oo

from voltsec.dynamics.averaged import S
from voltsec.formulas.root_forms import RootForms
from voltsec.periodic.signs import Facts
from voltsec.tableau.expression import Writer
from voltsec.tableau.ratio import Ratio, lowest_terms
from voltsec.tableau.ring import Polynomial, Ring, factors

LONGEST_ROOT = 32
"""Terms of a factor up to which its natural frequency and quality factor are written."""
LONGEST_GAIN = 16
"""Terms of all factors of a gain that need no shortening."""


@dataclass(frozen=True)
class Factor:
    """1 + s/omega, 1 + s/(Q omega) + (s/omega)**2, or a longer polynomial, to the power ``power``."""

    coefficients: tuple[Expr, ...]
    """Of the powers of s, the first is 1."""
    power: int = 1
    omega: Expr | None = None
    """Natural frequency, rad/s; None where the factor is of higher degree or too long."""
    quality: Expr | None = None
    """Of a factor of degree two; infinite where nothing damps it."""
    right: bool | None = False
    """In the right half-plane (at the mode's point where signs are not proved)."""
    near: bool = False
    """To first order in the parasitics."""

    @property
    def degree(self) -> int:
        """Degree in s."""
        return len(self.coefficients) - 1


@dataclass(frozen=True)
class Factored:
    """``gain`` times s**``origin`` times the zeros' factors over the poles'."""

    gain: Expr
    origin: int
    zeros: tuple[Factor, ...]
    poles: tuple[Factor, ...]
    near: bool = False
    """The gain is to first order in the parasitics."""

    @property
    def all_near(self) -> Factored:
        """The same, every part said to be to first order."""
        zeros, poles = (tuple(replace(f, near=True) for f in side) for side in (self.zeros, self.poles))
        return replace(self, zeros=zeros, poles=poles, near=True)

    @property
    def anything_near(self) -> bool:
        """Some part is to first order in the parasitics."""
        return self.near or any(factor.near for factor in (*self.zeros, *self.poles))


class Factorer:
    """Writes responses over ``ring``, which has :data:`S`.

    ``duties`` are variables to be collected, ``point`` is one at which the mode holds, ``positive`` are
    polynomials that are positive wherever it does.
    """

    def __init__(
        self,
        ring: Ring,
        duties: tuple[str, ...],
        point: Mapping[str, float],
        positive: Iterable[Polynomial],
    ) -> None:
        self.ring = ring
        self.point = {**point, S: 1.0}
        self.writer = Writer(ring, duties, self.point)
        self.facts = Facts(positive)
        self.forms = RootForms(ring, self.writer, self.point, self._sign)

    def _sign(self, polynomial: Polynomial) -> int | None:
        return self.facts.sign(Ratio(polynomial, self.ring.one))

    def positive(self, ratio: Ratio) -> bool:
        """The sign where the mode holds; that at its point where it is not proved."""
        sign = self.facts.sign(ratio)
        if sign is not None:
            return sign > 0
        return bool(ratio.value(self.ring, self.point) > 0)

    def factored(self, ratio: Ratio, small: Iterable[str] = ()) -> Factored:
        """The response in factors; :class:`~voltsec.tableau.ring.TooLarge` where it is too long.

        Where the gain is longer than :data:`LONGEST_GAIN`, or a factor than :data:`LONGEST_ROOT`, every
        coefficient is told to first order in ``small`` (symbols).
        """
        small = tuple(small)
        top, bottom = ratio.reduced().parts
        if top.is_zero():
            return Factored(Integer(0), 0, (), ())
        gain, cut = Ratio(self.ring.one, self.ring.one), False
        origin = 0
        found: list[list[Factor]] = [[], []]
        sides = factors(top), factors(bottom)
        parts = [factor for _, pairs in sides for factor, _ in pairs]
        shorter = any(len(part) > LONGEST_ROOT for part in parts)
        shorter = shorter or sum(len(self.ring.coefficients(part, S)[0]) for part in parts) > LONGEST_GAIN
        for place, (number, pairs) in enumerate(sides):
            gain = self._times(gain, self.ring.constant(int(number)), place)
            for factor, power in pairs:
                powers = self.ring.coefficients(factor, S)
                if len(powers) > 1 and powers[0].is_zero():  # irreducible: s itself
                    origin += -power if place else power
                    continue
                if shorter and small:
                    whole, powers = powers, [self._to_first_order(part, small) for part in powers]
                    cut = cut or len(powers[0]) < len(whole[0])
                gain = self._times(gain, powers[0] ** power, place)
                if len(powers) > 1:
                    near = sum(map(len, powers)) < len(factor)
                    found[place].append(replace(self._factor(powers, power), near=near))
        return Factored(self.writer.ratio(gain), origin, tuple(found[0]), tuple(found[1]), cut)

    def _to_first_order(self, polynomial: Polynomial, small: tuple[str, ...]) -> Polynomial:
        """Its terms of the lowest degree in ``small`` and of the next."""
        parts = self.ring.by_degree(polynomial, small)
        least = min(parts, default=0)
        return sum((part for degree, part in parts.items() if degree <= least + 1), self.ring.zero)

    @staticmethod
    def _times(gain: Ratio, factor: Polynomial, place: int) -> Ratio:
        one = factor // factor
        return gain * (Ratio(one, factor) if place else Ratio(factor, one))

    def _factor(self, powers: list[Polynomial], power: int) -> Factor:
        first = powers[0]
        ratios = [lowest_terms(part, first) for part in powers]
        told = tuple(self.writer.ratio(ratio) for ratio in ratios)
        if len(powers) > 3 or sum(map(len, powers)) > LONGEST_ROOT:
            return Factor(told, power, right=None)
        if len(powers) == 2:
            left = self.positive(ratios[1])
            top, bottom = ratios[1].parts
            return Factor(
                told, power, self.writer.ratio(Ratio(bottom, top if left else -top)), None, not left
            )
        square = ratios[2]
        if not self.positive(square):  # a zero on either side
            return Factor(told, power, right=None)
        omega = self.forms.square_root(square.inverse, self._sign)
        if powers[1].is_zero():
            return Factor(told, power, omega, oo, False)
        left = self.positive(ratios[1])
        slope = ratios[1] if left else -ratios[1]
        # Q = sqrt(c2/c0) c0/c1
        quality = self.forms.square_root(square * (slope.inverse / slope), self._sign)
        return Factor(told, power, omega, quality, not left)
