"""Exact zero test for formulas with roots: polynomials times roots of distinct positive irreducible factors.

An expression becomes a numerator and a denominator, each a sum of polynomials times monomials in roots
(``K**(3/4)``, ``sqrt(1 + 4*K/D**2)``).  Roots of distinct irreducible factors and primes that are positive
are independent over the rational functions (Besicovitch), so such a sum is zero exactly where every
polynomial in it is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction

import sympy
from sympy import Abs, Add, Expr, Mul, Pow, Symbol

from voltsec.tableau.ring import Polynomial, Ring

Key = tuple[tuple[int, Fraction], ...]
Part = dict[Key, Polynomial]

MOST_WORK = 150_000
"""Products of terms that are formed for one answer; what needs more is left to numbers."""

MOST_FACTORED = 400
"""Terms of a polynomial that is still factored or divided by common factors."""

MOST_DEGREE = 400


class NotAlgebraic(Exception):
    """The expression has a root of a sum of roots, a maximum, or is too long."""


class Radicals:
    """Arithmetic over ``names``; ``values`` are what abbreviations stand for.

    ``sign`` tells whether a polynomial is positive (1) or negative (-1) where the mode holds, and whether
    that is proved; :attr:`proved` turns False once an answer rests on a sign that is not.
    """

    def __init__(
        self,
        names: tuple[str, ...],
        values: Mapping[str, Expr],
        sign: Callable[[Ring, Polynomial], tuple[int, bool]],
    ) -> None:
        self.ring = Ring(names or ("_",))
        self.values = values
        self.sign = sign
        self.atoms: list[Polynomial] = []
        self.work = 0
        self.proved = True
        self.read: dict[Expr, tuple[Part, Part]] = {}

    def difference(self, left: Expr, right: Expr) -> Part:
        """The numerator of left - right; empty where they are equal."""
        one, other = self.element(left), self.element(right)
        return self._plus(self._times(one[0], other[1]), self._times(other[0], one[1]), -1)

    def element(self, expression: Expr) -> tuple[Part, Part]:
        """Numerator and denominator; ZeroDivisionError where the denominator vanishes."""
        if expression not in self.read:
            self.read[expression] = self._element(expression)
        return self.read[expression]

    def _element(self, expression: Expr) -> tuple[Part, Part]:
        if isinstance(expression, Symbol):
            value = self.values.get(expression.name)
            if value is not None:
                return self.element(value)
            return self._plain(self.ring.symbol(expression.name)), self._one()
        if expression.is_Rational:
            over = self._plain(self.ring.constant(int(expression.p))) if expression.p else {}
            return over, self._plain(self.ring.constant(int(expression.q)))
        if isinstance(expression, Add):
            return self._sum([self.element(argument) for argument in expression.args])
        if isinstance(expression, Mul):
            top, bottom = self._one(), self._one()
            for argument in expression.args:
                factor = self.element(argument)
                top, bottom = self._lowest(self._times(top, factor[0]), self._times(bottom, factor[1]))
            return top, bottom
        if isinstance(expression, Pow) and expression.exp.is_Rational:
            exponent = Fraction(int(expression.exp.p), int(expression.exp.q))
            top, bottom = self.element(expression.base)
            if exponent < 0:
                top, bottom = bottom, top
            if not bottom:
                raise ZeroDivisionError
            return self._power(top, abs(exponent)), self._power(bottom, abs(exponent))
        if isinstance(expression, Abs):  # the root of the square
            top, bottom = (self._power(part, Fraction(2)) for part in self.element(expression.args[0]))
            return self._power(top, Fraction(1, 2)), self._power(bottom, Fraction(1, 2))
        raise NotAlgebraic(type(expression).__name__)

    def _one(self) -> Part:
        return self._plain(self.ring.one)

    def _plain(self, polynomial: Polynomial) -> Part:
        """A polynomial without roots."""
        return {(): polynomial}

    def _sum(self, elements: list[tuple[Part, Part]]) -> tuple[Part, Part]:
        groups: list[tuple[Part, Part]] = []
        for top, bottom in elements:  # terms over one denominator first
            for place, (total, under) in enumerate(groups):
                if under == bottom:
                    groups[place] = (self._plus(total, top, 1), under)
                    break
            else:
                groups.append((top, bottom))
        top, bottom = groups[0]
        for over, under in groups[1:]:
            left, right = bottom, under
            if set(bottom) == set(under) == {()} and len(bottom[()]) * len(under[()]) <= MOST_FACTORED**2:
                common = bottom[()].gcd(under[()])
                left, right = self._plain(bottom[()] // common), self._plain(under[()] // common)
            top = self._plus(self._times(top, right), self._times(over, left), 1)
            bottom = self._times(bottom, right)
        return self._lowest(top, bottom)

    def _lowest(self, top: Part, bottom: Part) -> tuple[Part, Part]:
        if not top or set(bottom) != {()} or bottom[()].is_constant():
            return top, bottom
        common = bottom[()]
        if max(len(common), *(len(coefficient) for coefficient in top.values())) > MOST_FACTORED:
            return top, bottom
        for coefficient in top.values():
            common = common.gcd(coefficient)
            if common.is_constant():
                return top, bottom
        return {key: c // common for key, c in top.items()}, self._plain(bottom[()] // common)

    def _plus(self, one: Part, other: Part, sign: int) -> Part:
        total = dict(one)
        for key, coefficient in other.items():
            value = total[key] + sign * coefficient if key in total else sign * coefficient
            if value.is_zero():
                total.pop(key, None)
            else:
                total[key] = value
        return total

    def _times(self, one: Part, other: Part) -> Part:
        total: Part = {}
        for first, left in one.items():
            for second, right in other.items():
                self.work += len(left) * len(right)
                if self.work > MOST_WORK:
                    raise NotAlgebraic("too many terms")
                key, carried = self._joined(first, second)
                total = self._plus(total, {key: left * right * carried}, 1)
        return total

    def _joined(self, first: Key, second: Key) -> tuple[Key, Polynomial]:
        """The product of two root monomials: what stays under roots, and the whole powers."""
        exponents = dict(first)
        for atom, exponent in second:
            exponents[atom] = exponents.get(atom, Fraction(0)) + exponent
        carried = self.ring.one
        kept = []
        for atom, exponent in sorted(exponents.items()):
            whole = exponent.numerator // exponent.denominator
            if whole:
                if whole * len(self.atoms[atom]) > MOST_DEGREE:
                    raise NotAlgebraic("too high a power")
                carried = carried * self.atoms[atom] ** whole
            if exponent != whole:
                kept.append((atom, exponent - whole))
        return tuple(kept), carried

    def _power(self, part: Part, exponent: Fraction) -> Part:
        if not part:
            return {}
        if exponent.denominator == 1:
            total, base, left = self._one(), part, exponent.numerator
            degree = max(sum(int(d) for d in c.degrees()) for c in part.values())
            if degree * left > MOST_DEGREE or (len(part) > 1 and left > 16):
                raise NotAlgebraic("too high a power")
            while left:
                if left % 2:
                    total = self._times(total, base)
                left //= 2
                if left:
                    base = self._times(base, base)
            return total
        if len(part) != 1:
            raise NotAlgebraic("a root of a sum of roots")
        ((key, coefficient),) = part.items()
        exponents = {atom: old * exponent for atom, old in key}
        for atom, power in self._positive_factors(coefficient):
            exponents[atom] = exponents.get(atom, Fraction(0)) + power * exponent
        kept, carried = self._joined((), tuple(exponents.items()))
        return {kept: carried}

    def _positive_factors(self, polynomial: Polynomial) -> list[tuple[int, int]]:
        """Atoms and powers whose product is ``polynomial``, which must be positive.

        One factor of odd power may have a sign that is not proved: as the root is real, the others give it.
        """
        if len(polynomial) > MOST_FACTORED:
            raise NotAlgebraic("too many terms")
        content, pairs = polynomial.factor()
        number, found, open_factors = int(content), [], 0
        for factor, power in pairs:
            sign, proved = self.sign(self.ring, factor)
            if not proved:
                open_factors += 1
                self.proved = self.proved and open_factors == 1 and int(power) % 2 == 1
            if sign < 0:
                factor = -factor
                number = -number if int(power) % 2 else number
            found.append((self._atom(factor), int(power)))
        if number <= 0:
            raise NotAlgebraic("the root of a negative value")
        for prime, power in sympy.factorint(number, limit=10_000).items():
            found.append((self._atom(self.ring.constant(int(prime))), int(power)))
        return found

    def _atom(self, factor: Polynomial) -> int:
        for place, atom in enumerate(self.atoms):
            if atom == factor:
                return place
        self.atoms.append(factor)
        return len(self.atoms) - 1
