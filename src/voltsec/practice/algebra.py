"""Exact algebra for lines on a board: ratios of polynomials, and back from what is printed.

A derivation is checked on the expressions it prints: they are read back into ratios over one ring, and a
line follows from others where the difference vanishes identically.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import sympy
from sympy import Add, Expr, Mul, Pow, Symbol

from voltsec.tableau.expression import Writer, symbol
from voltsec.tableau.ratio import Ratio, insert, lowest_terms
from voltsec.tableau.ring import Polynomial, Ring


class NotRational(ValueError):
    """The expression is no ratio of polynomials."""


class Board:
    """The ring of everything that is written on the board, and the way there and back.

    ``names`` come duties first; ``states`` are the names among them that are unknown voltages and
    currents.  ``point`` gives a number to each duty and parameter where the mode holds.
    """

    def __init__(
        self, names: Iterable[str], states: Iterable[str], duties: tuple[str, ...], point: Mapping[str, float]
    ) -> None:
        self.states = tuple(dict.fromkeys(states))
        self.ring = Ring((*dict.fromkeys(names), *self.states))
        self.point = {name: point.get(name, 1.0) for name in self.ring.names}
        self.writer = Writer(self.ring, duties, self.point)
        self._state_names = frozenset(self.states)

    def take(
        self, polynomial: Polynomial, ring: Ring, images: Mapping[str, Polynomial] | None = None
    ) -> Polynomial:
        """A polynomial of another ring in this one; ``images`` are for names that change."""
        return ring.substitute(polynomial, self.ring, images or {})

    def unknowns(self, polynomial: Polynomial) -> frozenset[str]:
        """States that occur in ``polynomial``."""
        return self.ring.variables(polynomial) & self._state_names

    def read(self, expression: Expr) -> Ratio:
        """A printed expression as a ratio; :class:`NotRational` where it is none."""
        if isinstance(expression, Symbol):
            return Ratio(self.ring.symbol(expression.name), self.ring.one)
        if expression.is_Rational:
            return Ratio(self.ring.constant(int(expression.p)), self.ring.constant(int(expression.q)))
        if isinstance(expression, Add):
            total = Ratio(self.ring.zero, self.ring.one)
            for part in expression.args:
                total = total + self.read(part)
            return total
        if isinstance(expression, Mul):
            product = Ratio(self.ring.one, self.ring.one)
            for part in expression.args:
                product = product * self.read(part)
            return product
        if isinstance(expression, Pow) and expression.exp.is_Integer:
            top, bottom = self.read(expression.base).parts
            power = int(expression.exp)
            return Ratio(top**power, bottom**power) if power >= 0 else Ratio(bottom**-power, top**-power)
        raise NotRational(str(expression))

    def rational(self, expression: Expr) -> Ratio | None:
        """The same, None where it is none (a root of coupled inductances, say)."""
        try:
            return self.read(expression)
        except NotRational:
            return None

    def put(self, ratio: Ratio, values: Mapping[str, Ratio]) -> Ratio:
        """``ratio`` with states replaced by ``values`` until none of them is left."""
        for _ in range(len(values) + 1):
            present = [
                name for name in values if any(self.ring.degree(part, name) > 0 for part in ratio.parts)
            ]
            if not present:
                return ratio
            for name in present:
                ratio = insert(self.ring, ratio, name, values[name])
        raise NotRational("the values refer to each other in a circle")

    def write(self, ratio: Ratio) -> Expr:
        """A ratio without states, factored."""
        return self.writer.ratio(ratio)

    def write_linear(self, ratio: Ratio) -> Expr:
        """A ratio linear in the states as a sum with one term a state, the constant part written out."""
        top, bottom = ratio.parts
        terms: list[Expr] = []
        rest = top
        for name in self.states:
            if self.ring.degree(rest, name) > 0:
                constant, linear = self.ring.coefficients(rest, name)[:2]
                terms.append(Mul(self.writer.ratio(lowest_terms(linear, bottom)), symbol(name)))
                rest = constant
        if not rest.is_zero():
            terms = [*self._constant(rest, bottom), *terms]
        return Add(*terms)

    def _constant(self, top: Polynomial, bottom: Polynomial) -> list[Expr]:
        """Source terms one by one where they stay short, else the factored ratio."""
        parts = list(top.to_dict().items())
        if len(parts) <= 3 and len(bottom) == 1:
            return [
                self.writer.ratio(lowest_terms(self.ring.context.from_dict(dict([part])), bottom))
                for part in parts
            ]
        return [self.writer.ratio(lowest_terms(top, bottom))]


def subtract(one: Ratio, other: Ratio) -> Ratio:
    """Difference of two ratios."""
    return one - other


def vanishes(expression: Expr, point: Mapping[str, float]) -> bool:
    """True where an expression with square roots is identically zero around ``point``.

    Every irreducible factor under a root gets a variable whose square it is; ``point`` only tells which of
    a factor and its negative is the positive one.  A difference that does not reduce to zero that way is
    not called zero.
    """
    numbers = {symbol(name): value for name, value in point.items()}
    roots: dict[Expr, Symbol] = {}

    def root_of(power: Pow) -> Expr:
        whole: Expr = sympy.Integer(1)
        negative = False
        for part, sign in zip(sympy.fraction(sympy.together(power.base)), (1, -1), strict=True):
            content, factors = sympy.factor_list(part)
            negative = negative != bool(content < 0)
            factors += [(sympy.Integer(p), e) for p, e in sympy.factorint(abs(content)).items()]
            for factor, exponent in factors:
                if factor.subs(numbers) < 0:
                    factor, negative = -factor, negative != bool(exponent % 2)
                whole *= variable_of(factor) ** (sign * int(exponent))
        if negative:
            raise NotRational("a root of something negative")
        return whole ** int(2 * power.exp)

    def variable_of(factor: Expr) -> Symbol:
        if factor not in roots:
            roots[factor] = sympy.Dummy("root", positive=True)
            numbers[roots[factor]] = sympy.sqrt(factor.subs(numbers))  # it may stand under another root
        return roots[factor]

    def is_root(node: sympy.Basic) -> bool:
        return isinstance(node, Pow) and node.exp.is_Rational and node.exp.q == 2

    def signed(inner: Expr) -> Expr:
        return -inner if inner.subs(numbers) < 0 else inner

    expression = expression.replace(sympy.Abs, signed)
    try:
        plain = expression.replace(is_root, root_of)
    except (NotRational, sympy.PolynomialError):
        return False
    top = sympy.expand(sympy.together(plain).as_numer_denom()[0])
    for factor, variable in reversed(roots.items()):  # outer roots hold inner ones
        top = sympy.expand(sympy.rem(top, variable**2 - factor, variable))
    return bool(top == 0)
