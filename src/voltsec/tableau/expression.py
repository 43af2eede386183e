"""Ratios of polynomials written the way the trade writes them.

Numerator and denominator are factored, every factor turned so that it is positive where the mode
holds (``D/(1 - D)``, never ``-D/(D - 1)``), and inside a factor the duties are collected:
``R*(1 - D)**2 + R_L + R_S*D``.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

import sympy
from sympy import Add, Expr, Integer, Mul, Pow, Symbol

from voltsec.tableau.ring import Polynomial, Ring, factors


@cache
def symbol(name: str) -> Symbol:
    """The positive symbol called ``name``, whatever the name means elsewhere."""
    return Symbol(name, positive=True)


class Writer:
    """Turns polynomials of ``ring`` into sympy expressions.

    ``duties`` are the variables to collect (duties and unknown fractions); ``point`` is a numeric
    point at which the mode holds, used to turn factors positive.
    """

    def __init__(self, ring: Ring, duties: tuple[str, ...], point: Mapping[str, float]) -> None:
        self.ring = ring
        self.point = point
        self.inner = [ring.index[name] for name in duties]
        self.written: dict[str, Expr] = {}

    def ratio(self, numerator: Polynomial, denominator: Polynomial) -> Expr:
        """numerator / denominator, factored and positive-looking."""
        if numerator.is_zero():
            return Integer(0)
        common = numerator.gcd(denominator)
        if not common.is_one():
            numerator, denominator = numerator // common, denominator // common
        top, top_factors = self._factors(numerator)
        bottom, bottom_factors = self._factors(denominator)
        coefficient = sympy.Rational(top, bottom)
        parts: list[Expr] = [self.oriented(f) ** p for f, p in top_factors]
        parts += [Pow(self.oriented(f), -p) for f, p in bottom_factors]
        product = Mul(*parts)
        if coefficient == 1:
            return product
        if coefficient == -1 and product.is_Add:
            return Mul(-1, product, evaluate=False) if len(parts) == 1 else -product
        if product.is_Add:  # keep 2*(1 - D) as it stands
            return Mul(coefficient, product, evaluate=False)
        return coefficient * product

    def polynomial(self, polynomial: Polynomial) -> Expr:
        """A polynomial as a product of its factors."""
        return self.ratio(polynomial, self.ring.one)

    def _factors(self, polynomial: Polynomial) -> tuple[int, list[tuple[Polynomial, int]]]:
        content, pairs = factors(polynomial)
        sign = 1
        oriented = []
        for factor, power in pairs:
            if self.is_negative(factor):
                factor = -factor
                sign *= -1 if power % 2 else 1
            oriented.append((factor, int(power)))
        return int(content) * sign, oriented

    def is_negative(self, factor: Polynomial) -> bool:
        """True where ``factor`` is negative at the point (or led by minus signs where it vanishes)."""
        coefficients = factor.coeffs()
        if all(c > 0 for c in coefficients):
            return False
        if all(c < 0 for c in coefficients):
            return True
        value = self.ring.value(factor, self.point)
        if value == 0:
            return int(factor.leading_coefficient()) < 0
        return bool(value < 0)

    def oriented(self, factor: Polynomial) -> Expr:
        """One irreducible factor as a sum, the duties collected in each term."""
        key = str(factor)
        if key not in self.written:  # the same denominator stands under many answers
            self.written[key] = self._oriented(factor)
        return self.written[key]

    def _oriented(self, factor: Polynomial) -> Expr:
        groups: dict[tuple[int, ...], dict] = {}
        for powers, coefficient in factor.to_dict().items():
            rest = list(powers)
            inner = [0] * len(powers)
            for place in self.inner:
                inner[place], rest[place] = rest[place], 0
            groups.setdefault(tuple(rest), {})[tuple(inner)] = coefficient
        if len(groups) == 1:
            return self._plain(factor)
        terms = []
        for outer, inner_terms in groups.items():
            inner_polynomial = self.ring.context.from_dict(inner_terms)
            content, pairs = factors(inner_polynomial)
            parts: list[Expr] = []
            sign = int(content)
            for part, power in pairs:
                if self.is_negative(part):
                    part = -part
                    sign *= -1 if power % 2 else 1
                parts.append(self._plain(part) ** int(power))
            monomial = self._monomial(outer)
            terms.append(Mul(Mul(sign, monomial), *parts))
        return Add(*terms)

    def _monomial(self, powers: tuple[int, ...]) -> Expr:
        return Mul(*(symbol(n) ** int(p) for n, p in zip(self.ring.names, powers, strict=True) if p))

    def _plain(self, polynomial: Polynomial) -> Expr:
        return Add(
            *(
                Mul(int(coefficient), self._monomial(tuple(powers)))
                for powers, coefficient in polynomial.to_dict().items()
            )
        )
