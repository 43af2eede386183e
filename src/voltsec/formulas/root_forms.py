"""A formula with a root of degree one or two written into it, in the shortest of several forms."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import sympy
from sympy import Expr

from voltsec.tableau import lengths
from voltsec.tableau.expression import Writer, symbol
from voltsec.tableau.ratio import Ratio, insert, lowest_terms
from voltsec.tableau.ring import Polynomial, Ring, definite_sign, factors

Sign = Callable[[Polynomial], int | None]
"""A polynomial's sign where the mode holds, ``None`` where it is not proved."""


@dataclass(frozen=True)
class Root:
    """A closed root of one unknown fraction: (plain + sign * sqrt(radicand)) as expressions."""

    name: str
    expression: Expr
    polynomial: Polynomial
    """The condition over the presentation ring, degree one or two in the unknown."""
    sign: int
    certain: bool = True
    """No other root could be the right one anywhere: there is one only, or one positive one."""
    positive: bool = False
    """Where it is real, it is positive: that is proved."""


class RootForms:
    """Ways to write a ratio over ``ring`` once an unknown fraction has a closed root.

    ``point`` is a numeric point at which the mode holds, ``sign`` tells signs that hold for all values.
    """

    def __init__(self, ring: Ring, writer: Writer, point: Mapping[str, float], sign: Sign) -> None:
        self.ring = ring
        self.writer = writer
        self.point = point
        self.sign = sign

    def rational(self, shown: Ratio, root: Root) -> Expr:
        """A ratio with a root of degree one put in its place."""
        return self.writer.ratio(self.rational_parts(shown, root))

    def rational_parts(self, shown: Ratio, root: Root) -> Ratio:
        """A root of degree one put in its place."""
        constant, linear = self.ring.coefficients(root.polynomial, root.name)
        return insert(self.ring, shown, root.name, Ratio(-constant, linear))

    def pure(self, shown: Ratio, root: Root) -> Expr:
        """d**2 = -c/a: even powers go, one odd power stays as a square root."""
        reduced_parts = [self._linear(part, root) for part in shown.parts]
        (n0, n1, n_scale), (m0, m1, m_scale) = reduced_parts
        if n0.is_zero() and m0.is_zero():
            return self.writer.ratio(lowest_terms(n1 * m_scale, m1 * n_scale))
        surd = root.expression
        if m1.is_zero() and n1.is_zero():
            return self.writer.ratio(lowest_terms(n0 * m_scale, m0 * n_scale))
        if n1.is_zero() and m0.is_zero():
            return self.writer.ratio(lowest_terms(n0 * m_scale, m1 * n_scale)) / surd
        if n0.is_zero() and m1.is_zero():
            return self.writer.ratio(lowest_terms(n1 * m_scale, m0 * n_scale)) * surd
        top = self.writer.polynomial(n0) + self.writer.polynomial(n1) * surd
        bottom = self.writer.polynomial(m0) + self.writer.polynomial(m1) * surd
        return top / bottom * self.writer.ratio(lowest_terms(m_scale, n_scale))

    def _linear(self, polynomial: Polynomial, root: Root) -> tuple[Polynomial, Polynomial, Polynomial]:
        """(p0, p1, scale) with scale * polynomial = p0 + p1 * d modulo the root's polynomial."""
        c, b, a = self.ring.coefficients(root.polynomial, root.name)
        powers = self.ring.coefficients(polynomial, root.name)
        scale = self.ring.one
        while len(powers) > 2:
            lead = powers.pop()
            powers = [part * a for part in powers]
            scale = scale * a
            powers[-1] = powers[-1] - lead * b
            powers[-2] = powers[-2] - lead * c
        powers += [self.ring.zero] * (2 - len(powers))
        return powers[0], powers[1], scale

    def closed(self, shown: Ratio, plain: Expr, root: Root) -> Expr:
        """The shortest of several ways to write a ratio with its root of degree two."""
        if shown.terms + len(root.polynomial) > lengths.CLOSED_ROOT:
            return plain
        substituted = plain.subs(symbol(root.name), root.expression)
        forms: list[Expr] = []
        upright = self._surd_form(shown, root)
        if upright is not None:
            factor, sum_ = upright
            product = sympy.Mul(factor, sum_, evaluate=not factor.is_Number)
            forms.append(factor if sum_ == 1 else sum_ if factor == 1 else product)
        inverse = self._surd_form(shown.inverse, root)
        if inverse is not None:
            factor, sum_ = inverse
            forms.append(1 / (factor * sum_) if sum_ == 1 else sympy.Mul(1 / factor, 1 / sum_))
        # the written-out surd unless putting the root in place is plainly shorter
        if not forms or size(substituted) < 0.8 * size(shortest(forms)):
            return substituted
        return shortest(forms)

    def _surd_form(self, shown: Ratio, root: Root) -> tuple[Expr, Expr] | None:
        """(a, 1 + sqrt(q)) with ratio = a*(1 + sqrt(q)) and q simplified; None without a part a."""
        c, b, a = self.ring.coefficients(root.polynomial, root.name)
        (n0, n1, n_scale), (m0, m1, m_scale) = (self._linear(part, root) for part in shown.parts)
        # multiply by the conjugate m0 + m1*(-b/a - d); everything over a
        norm = a * m0 * m0 - b * m0 * m1 + c * m1 * m1
        if norm.is_zero():
            return None
        plain = n0 * (a * m0 - b * m1) + n1 * c * m1
        slope = a * (n1 * m0 - n0 * m1)
        bottom = norm * n_scale
        plain, slope = plain * m_scale, slope * m_scale
        if slope.is_zero():  # the root cancels
            return self.writer.ratio(lowest_terms(plain, bottom)), sympy.Integer(1)
        # d = (-b + s*sqrt(r))/(2a)
        alpha = lowest_terms(2 * a * plain - b * slope, 2 * a * bottom)
        r = b * b - 4 * a * c
        gamma = lowest_terms(slope * slope * r, 4 * a * a * bottom * bottom)
        point = self.point
        value = shown.value(self.ring, point)
        alpha_value = alpha.value(self.ring, point)
        if alpha.is_zero or not self._fixed(alpha, Ratio(slope, a * bottom)):
            return None
        # alpha*(1 + sign*sqrt(inside)) with inside = gamma/alpha**2
        inside = lowest_terms(
            gamma.numerator * alpha.denominator * alpha.denominator,
            gamma.denominator * alpha.numerator * alpha.numerator,
        )
        grows = value / alpha_value >= 1
        written = self.writer.ratio(inside)
        expanded = sympy.expand(written)
        short = len(sympy.Add.make_args(expanded)) <= 3 and size(expanded) <= 1.6 * size(written)
        surd = sympy.sqrt(expanded) if short else self.square_root(inside, self.sign)
        if surd.has(sympy.Abs):  # a perfect square
            surd = self.square_root(inside, self.sign)
        if not grows and alpha_value < 0:  # a positive factor before a positive bracket
            return self.writer.ratio(-alpha), surd - 1
        return self.writer.ratio(alpha), 1 + (1 if grows else -1) * surd

    def _fixed(self, *ratios: Ratio) -> bool:
        """True where no factor of the ratios may change its sign."""
        pairs = [pair for ratio in ratios for part in ratio.parts for pair in factors(part)[1]]
        return all(definite_sign(f) is not None or self.sign(f) is not None for f, p in pairs if p % 2)

    def square_root(self, shown: Ratio, sign: Sign = lambda _: None) -> Expr:
        """Square root of a ratio that is positive where the mode holds, squares taken out.

        What is taken out stands between bars unless ``sign`` proves that it does not change its sign.
        """
        content_top, factors_top = factors(shown.numerator)
        content_bottom, factors_bottom = factors(shown.denominator)
        outside: list[Expr] = []
        inside: list[Expr] = []
        for pairs, place in ((factors_top, 1), (factors_bottom, -1)):
            for factor, power in pairs:
                expression = self.writer.oriented(-factor if self.writer.is_negative(factor) else factor)
                whole, rest = divmod(power, 2)
                certain = whole % 2 == 0 or definite_sign(factor) is not None or sign(factor) is not None
                taken = expression if certain else sympy.Abs(expression, evaluate=False)
                outside.append(sympy.Pow(taken, place * whole))
                inside.append(sympy.Pow(expression, sympy.Rational(place * rest, 2)))
        number = sympy.Rational(abs(content_top), abs(content_bottom))
        return sympy.Mul(*outside) * sympy.sqrt(number) * sympy.Mul(*inside)


def shortest(forms: list[Expr]) -> Expr:
    """The form with the fewest nodes."""
    return min(forms, key=size)


def size(expression: Expr) -> int:
    """Number of nodes of an expression tree: how long it is to read."""
    return 1 + sum(size(argument) for argument in expression.args)


def root_of_sum(terms: list[Expr]) -> Expr:
    """Square root of a sum, its terms left as they are."""
    total = terms[0] if len(terms) == 1 else sympy.Add(*terms)
    if len(terms) == 1 and not total.has(sympy.Add):
        return sympy.sqrt(total)
    return sympy.Pow(total, sympy.Rational(1, 2), evaluate=False)


def square_factor_out(ring: Ring, radicand: Polynomial) -> tuple[Polynomial, Polynomial]:
    """(outside, inside) with radicand = outside**2 * inside."""
    content, pairs = factors(radicand)
    outside, inside = ring.one, ring.one
    number = max(abs(int(content)), 1)
    square = 1
    for candidate in range(2, 100):
        while number % (candidate * candidate) == 0:
            number //= candidate * candidate
            square *= candidate
    inside = inside * (number if int(content) > 0 else -number)
    outside = outside * square
    for factor, power in pairs:
        outside = outside * factor ** (int(power) // 2)
        if int(power) % 2:
            inside = inside * factor
    return outside, inside
