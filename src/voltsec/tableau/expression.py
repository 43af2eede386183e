"""Ratios of polynomials written the way the trade writes them.

Numerator and denominator are factored, every factor turned so that it is positive where the mode
holds (``D/(1 - D)``, never ``-D/(D - 1)``), and inside a factor the duties are collected:
``R*(1 - D)**2 + R_L + R_S*D``.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

import numpy as np
import sympy
from sympy import Add, Expr, Integer, Mul, Pow, Symbol

from voltsec.circuit.computing_time import go_on
from voltsec.tableau import lengths
from voltsec.tableau.ratio import Ratio
from voltsec.tableau.ring import (
    Hashed,
    Polynomial,
    Ring,
    TooLarge,
    factors,
    is_turns,
    root_name,
    symbols_of,
    value_of,
)

ROUNDING = 1e-9
"""A value of less than this share of its terms' sizes is zero."""


@cache
def symbol(name: str) -> Expr:
    """The positive symbol called ``name``, whatever the name means elsewhere; a turns ratio is a root."""
    parts = symbols_of(name)
    if parts == (name,):
        return Symbol(name, positive=True)
    return sympy.sqrt(symbol(parts[0]) / symbol(parts[1]) if len(parts) > 1 else symbol(parts[0]))


class Writer:
    """Turns polynomials of ``ring`` into sympy expressions.

    ``duties`` are the variables to collect (duties and unknown fractions); ``point`` is a numeric
    point at which the mode holds, used to turn factors positive.
    """

    def __init__(self, ring: Ring, duties: tuple[str, ...], point: Mapping[str, float]) -> None:
        self.ring = ring
        self.point = point
        self.inner = [ring.index[name] for name in duties]
        self.written: dict[Hashed, Expr] = {}
        self.roots = _in_roots(ring)
        """Coils of one flux are written by the roots of their inductances, which keeps sums short."""

    def ratio(self, ratio: Ratio) -> Expr:
        """A ratio, factored and positive-looking; :class:`TooLarge` where very long."""
        go_on()
        numerator, denominator = ratio.parts
        if numerator.is_zero():
            return Integer(0)
        if len(numerator) + len(denominator) > lengths.WRITTEN:
            raise TooLarge(f"a formula of {len(numerator) + len(denominator)} terms")
        if self.roots is not None and any(map(self.roots.concern, ratio.parts)):
            return self._in_roots(ratio)
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

    def _in_roots(self, ratio: Ratio) -> Expr:
        """A ratio with turns of coils of one flux in it, by the roots of the inductances."""
        assert self.roots is not None
        target = self.roots.target
        point = {**self.point} | {name: value_of(name, self.point) for name in self.roots.names}
        inner = Writer(target, tuple(self.ring.names[place] for place in self.inner), point)
        (top, lacking), (bottom, missing) = (self.roots.image(part) for part in ratio.parts)
        return inner.ratio(Ratio(top * missing, bottom * lacking))

    def polynomial(self, polynomial: Polynomial) -> Expr:
        """A polynomial as a product of its factors."""
        return self.ratio(Ratio(polynomial, self.ring.one))

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
        terms = self.ring.terms(factor, self.point)
        value = float(terms.sum())
        if abs(value) < ROUNDING * float(np.abs(terms).sum()):  # a condition that holds there, say
            return int(factor.leading_coefficient()) < 0
        return value < 0

    def oriented(self, factor: Polynomial) -> Expr:
        """One irreducible factor as a sum, the duties collected in each term."""
        if self.roots is not None and self.roots.concern(factor):
            return self._in_roots(Ratio(factor, self.ring.one))
        key = Hashed(factor)
        if key not in self.written:  # the same denominator stands under many answers
            self.written[key] = self._oriented(factor)
        return self.written[key]

    def _oriented(self, factor: Polynomial) -> Expr:
        groups: dict[tuple[int, ...], dict[Any, Any]] = {}
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
            go_on()
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


class Roots:
    """Polynomials in turns ratios sqrt(L2/L1) told in sqrt(L1) and sqrt(L2)."""

    def __init__(self, ring: Ring, turns: tuple[str, ...]) -> None:
        self.ring = ring
        self.turns = {name: symbols_of(name) for name in turns}
        self.symbols = {part for parts in self.turns.values() for part in parts}
        self.names = {root_name(part): part for part in self.symbols}
        kept = [name for name in ring.names if name not in self.turns and name not in self.symbols]
        self.target = Ring((*kept, *self.names))

    def concern(self, polynomial: Polynomial) -> bool:
        """True where a turns ratio occurs."""
        return bool(self.ring.variables(polynomial) & set(self.turns))

    def image(self, polynomial: Polynomial) -> tuple[Polynomial, Polynomial]:
        """The polynomial times a product of roots, and that product."""
        firsts = {first for _, first in self.turns.values()}
        lacking = dict.fromkeys(firsts, 0)
        exponents = []
        for powers, coefficient in polynomial.to_dict().items():
            own: dict[str, int] = {}
            for name, power in zip(self.ring.names, powers, strict=True):
                if not power:
                    continue
                if name in self.turns:
                    coil, first = self.turns[name]
                    own[root_name(coil)] = own.get(root_name(coil), 0) + int(power)
                    own[root_name(first)] = own.get(root_name(first), 0) - int(power)
                elif name in self.symbols:
                    own[root_name(name)] = own.get(root_name(name), 0) + 2 * int(power)
                else:
                    own[name] = int(power)
            exponents.append((own, coefficient))
            for first in firsts:
                lacking[first] = max(lacking[first], -own.get(root_name(first), 0))
        target = self.target
        terms = {}
        for own, coefficient in exponents:
            for first in firsts:
                own[root_name(first)] = own.get(root_name(first), 0) + lacking[first]
            terms[tuple(own.get(name, 0) for name in target.names)] = coefficient
        factor = target.one
        for first, power in lacking.items():
            factor *= target.symbol(root_name(first)) ** power
        return target.context.from_dict(terms), factor


def _in_roots(ring: Ring) -> Roots | None:
    turns = tuple(name for name in ring.names if is_turns(name))
    return Roots(ring, turns) if turns else None
