"""Formulas as text a person reads: ``D·Vg/D′``, ``√(K)``, ``K ≥ D′²``, or the same in plain ASCII.

The complement 1 − D of a duty symbol is written D′.  The text is for eyes only; what programs read
back comes from :mod:`voltsec.report.machine`.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import islice

from sympy import Add, Basic, Expr, Integer, Mul, Number, Pow, Rational, Symbol, preorder_traversal
from sympy.printing.precedence import PRECEDENCE
from sympy.printing.str import StrPrinter

from voltsec.circuit.computing_time import go_on
from voltsec.report.alphabet import UNICODE, Alphabet
from voltsec.report.outline import shown_name
from voltsec.tableau import lengths

UNREADABLE = "too long to be read; voltsec solve --json gives it"


def readable(expression: Basic | None) -> bool:
    """Whether a formula is short enough to be shown; found without going through all of a long one."""
    if expression is None:
        return True
    return sum(1 for _ in islice(preorder_traversal(expression), lengths.PAGE + 1)) <= lengths.PAGE


def complement(name: str, prime: str = "′") -> Symbol:
    """The symbol written in place of 1 − ``name``."""
    return Symbol(name + prime, positive=True)


def with_complements(expression: Basic, duties: Iterable[str], prime: str = "′") -> Basic:
    """``expression`` with every sum c − c·D written c·D′, for each duty symbol in ``duties``."""
    names = frozenset(duties)

    def match(node: Basic) -> bool:
        return complement_of(node, names) is not None

    def put(node: Basic) -> Basic:
        found = complement_of(node, names)
        assert found is not None
        factor, name = found
        return factor * complement(name, prime)

    return expression.replace(match, put) if isinstance(expression, Basic) else expression


def complement_of(node: Basic, names: frozenset[str]) -> tuple[Number, str] | None:
    """``(c, name)`` where ``node`` is c − c·name and ``name`` one of ``names``."""
    if not isinstance(node, Add) or len(node.args) != 2:
        return None
    for constant, other in (node.args, node.args[::-1]):
        if not isinstance(constant, Number):
            continue
        coefficient, rest = other.as_coeff_Mul()
        if isinstance(rest, Symbol) and rest.name in names and coefficient == -constant:
            return constant, rest.name
    return None


class FormulaPrinter(StrPrinter):
    """Prints with middle dots, superscripts and roots; fractions on one line.

    The complement of a duty in ``duties`` is primed while printing; putting a symbol in its place first
    would evaluate the whole expression anew, which costs more than printing it.
    """

    def __init__(self, alphabet: Alphabet = UNICODE, duties: Iterable[str] = ()) -> None:
        super().__init__()
        self.alphabet = alphabet
        self.duties = frozenset(duties)

    def parenthesize(self, item: Basic, level: int, strict: bool = False) -> str:
        """As sympy's, but D′ stands without parentheses."""
        found = complement_of(item, self.duties)
        if found is not None and found[0] == 1:
            return self._print(item)
        return str(super().parenthesize(item, level, strict))

    def _print_Symbol(self, expr: Symbol) -> str:
        return shown_name(expr.name) if self.alphabet.unicode else expr.name

    def _print_Add(self, expr: Add, order: str | None = None) -> str:
        found = complement_of(expr, self.duties)
        if found is not None:
            return self._print(found[0] * complement(found[1], self.alphabet.prime))
        go_on()
        text = ""
        terms = [self._print(term) for term in self._as_ordered_terms(expr, order=order)]
        leader = next((n for n, term in enumerate(terms) if not term.startswith(self.alphabet.minus)), 0)
        terms.insert(0, terms.pop(leader))
        for printed in terms:
            sign = "+"
            if printed.startswith(self.alphabet.minus):
                sign, printed = self.alphabet.minus, printed[len(self.alphabet.minus) :]
            if not text:
                text = printed if sign == "+" else self.alphabet.minus + printed
            else:
                text += f" {sign} {printed}"
        return text

    def _print_Mul(self, expr: Mul) -> str:
        coefficient, rest = expr.as_coeff_Mul()
        negative = coefficient.is_negative
        if negative:
            turned = _with_a_sum_turned(rest, self.duties)
            if turned is not None:
                rest, negative, coefficient = turned, False, -coefficient
        if negative:
            coefficient = -coefficient
        top: list[Basic] = []
        bottom: list[Basic] = []
        root_top: list[Basic] = []
        root_bottom: list[Basic] = []
        outside, factors = self._primed_factors(rest.as_ordered_factors())
        coefficient *= outside
        if coefficient.is_negative:
            negative, coefficient = not negative, -coefficient
        for factor in factors:
            base, exponent = factor.as_base_exp()
            if not exponent.is_Rational:
                top.append(factor)
                continue
            place, root = (top, root_top) if exponent > 0 else (bottom, root_bottom)
            size = abs(exponent)
            if size.q == 2:
                root.append(base)
                size -= Rational(1, 2)
            if size != 0:
                place.append(base if size == 1 else Pow(base, size, evaluate=False))
        if coefficient.is_Rational:
            over, under = int(coefficient.p), int(coefficient.q)
            # √3·x/6 reads better as √(1/3)·x/2
            for number in [n for n in root_top if n.is_Integer]:
                if under % int(number) == 0:
                    under //= int(number)
                    root_top.remove(number)
                    root_bottom.append(number)
            if over != 1:
                top.insert(0, Integer(over))
            if under != 1:
                bottom.insert(0, Integer(under))
        else:
            top.insert(0, coefficient)
        above = [self._factor(factor) for factor in top]
        below = [self._factor(factor) for factor in bottom]
        if root_top or root_bottom:
            if root_top:
                above.append(self.alphabet.root(self._quotient(root_top, root_bottom)))
            else:
                below.append(self.alphabet.root(self._quotient(root_bottom, [])))
        text = self._join(above, below)
        return self.alphabet.minus + text if negative else text

    def _primed_factors(self, factors: list[Basic]) -> tuple[Number, list[Basic]]:
        """The number that comes out of complements, and the factors with these as symbols in their place."""
        outside: Number = Integer(1)
        found: list[Basic] = []
        for factor in factors:
            base, exponent = factor.as_base_exp()
            primed = complement_of(base, self.duties)
            if primed is not None and exponent.is_Integer:
                outside *= primed[0] ** exponent
                factor = complement(primed[1], self.alphabet.prime) ** exponent
            elif primed is not None and primed[0] == 1:
                factor = complement(primed[1], self.alphabet.prime) ** exponent
            found.append(factor)
        return outside, sorted(found, key=_place_of)

    def _quotient(self, top: list[Basic], bottom: list[Basic]) -> str:
        if not bottom and len(top) == 1:
            return self._print(top[0])
        top.sort(key=lambda node: not node.is_Number)
        bottom.sort(key=lambda node: not node.is_Number)
        return self._join([self._factor(f) for f in top], [self._factor(f) for f in bottom])

    def _factor(self, node: Basic) -> str:
        return self.parenthesize(node, PRECEDENCE["Mul"], strict=True)

    def _join(self, above: list[str], below: list[str]) -> str:
        text = self.alphabet.dot.join(above) or "1"
        if not below:
            return text
        under = self.alphabet.dot.join(below)
        return f"{text}/({under})" if len(below) > 1 else f"{text}/{under}"

    def _print_Pow(self, expr: Pow, rational: bool = False) -> str:
        base, exponent = expr.base, expr.exp
        if exponent.is_Rational and (exponent.is_negative or exponent.q == 2) and exponent.q <= 2:
            if exponent == Rational(1, 2):
                return self.alphabet.root(self._print(base))
            return self._print_Mul(_AsProduct(expr))
        inner = self.parenthesize(base, PRECEDENCE["Pow"], strict=False)
        if exponent.is_Integer:
            return inner + self.alphabet.power(int(exponent))
        return f"{inner}^{self.parenthesize(exponent, PRECEDENCE['Atom'], strict=False)}"

    def _print_Rational(self, expr: Rational) -> str:
        sign = self.alphabet.minus if expr.p < 0 else ""
        return f"{sign}{abs(expr.p)}/{expr.q}"

    def _print_Integer(self, expr: Integer) -> str:
        return (self.alphabet.minus if expr.p < 0 else "") + str(abs(expr.p))

    def _print_Float(self, expr: Expr) -> str:
        text = f"{float(expr):.6g}"
        return text.replace("-", self.alphabet.minus)

    def _print_Abs(self, expr: Expr) -> str:
        return f"|{self._print(expr.args[0])}|"

    def _print_Max(self, expr: Expr) -> str:
        return f"max({self.stringify(expr.args, ', ')})"

    def _print_Min(self, expr: Expr) -> str:
        return f"min({self.stringify(expr.args, ', ')})"

    def _print_Relational(self, expr: Basic) -> str:
        sign = self.alphabet.relation(expr.rel_op)
        return f"{self._print(expr.lhs)} {sign} {self._print(expr.rhs)}"

    def _print_And(self, expr: Basic) -> str:
        parts = _in_reading_order(expr.args)
        return " and ".join(
            f"({self._print(part)})" if part.func.__name__ == "Or" else self._print(part) for part in parts
        )

    def _print_Or(self, expr: Basic) -> str:
        return " or ".join(
            f"({self._print(part)})" if part.func.__name__ == "And" else self._print(part)
            for part in _in_reading_order(expr.args)
        )

    def _print_Not(self, expr: Basic) -> str:
        return f"not ({self._print(expr.args[0])})"

    def _print_Piecewise(self, expr: Basic) -> str:
        parts = []
        for value, condition in expr.args:
            where = "otherwise" if condition == True else f"where {self._print(condition)}"  # noqa: E712
            parts.append(f"{self._print(value)} {where}")
        return "; ".join(parts)


def _place_of(factor: Basic) -> tuple[int, str]:
    """Numbers first, then symbols by name, then all else as it comes."""
    base = factor.as_base_exp()[0]
    if base.is_Number:
        return (0, "")
    return (1, base.name) if isinstance(base, Symbol) else (2, "")


def _with_a_sum_turned(product: Basic, names: frozenset[str]) -> Basic | None:
    """−``product`` without its sign, where a factor a − b can be written b − a; ``None`` where none can."""
    factors = list(product.args) if isinstance(product, Mul) else [product]
    for place, factor in enumerate(factors):
        base, exponent = factor.as_base_exp()
        if isinstance(base, Add) and exponent in (1, -1) and complement_of(base, names) is None:
            signs = {term.could_extract_minus_sign() for term in base.args}
            if len(signs) == 2:
                turned = Add(*(-term for term in base.args))
                factors[place] = Pow(turned, exponent)
                return Mul(*factors, evaluate=False) if len(factors) > 1 else factors[0]
    return None


class _AsProduct:
    """Lets ``_print_Mul`` lay out a lone power such as 1/x²."""

    def __init__(self, power: Pow) -> None:
        self.power = power

    def as_coeff_Mul(self) -> tuple[Integer, _AsProduct]:
        return Integer(1), self

    def as_ordered_factors(self) -> list[Pow]:
        return [self.power]


def _in_reading_order(parts: Iterable[Basic]) -> list[Basic]:
    return sorted(parts, key=lambda part: (len(str(part)), str(part)))


def formula(expression: Basic | None, duties: Iterable[str] = (), alphabet: Alphabet = UNICODE) -> str:
    """``expression`` as readable text; the complements of ``duties`` are primed.

    ``None`` (not determined by the model) is shown as a dash.
    """
    if expression is None:
        return "–" if alphabet.unicode else "-"
    return str(FormulaPrinter(alphabet, duties).doprint(expression))
