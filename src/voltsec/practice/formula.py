"""One equation of plain arithmetic -> a tree of names, numbers and operations.  Nothing is ever executed.

>>> equation = parse("Vout/Vg = D/(1 - D)")
>>> equation.left
Product(factors=((1, Name(text='Vout', primes=0)), (-1, Name(text='Vg', primes=0))))
"""

from __future__ import annotations

import functools
import re
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from voltsec.circuit.elements import Place
from voltsec.circuit.fault import Fault
from voltsec.circuit.shipped_files import shipped_text
from voltsec.practice.misread import explain

if TYPE_CHECKING:
    from lark import Lark, Token, Tree

LONGEST_FORMULA = 20_000
"""Characters of one line; the longest formula the tool prints itself has some thousand."""

DEEPEST = 60
"""Brackets within brackets."""

MOST_ROOTS = 4
LARGEST_POWER = 64
"""Exponents beyond are no formula of a power stage, and would take for ever."""

MOST_DIGITS = 40

_INTERVAL = re.compile(r"\s*interval\s+([0-9]{1,4})\s*:")
_SUPERSCRIPTS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻", "0123456789-")


@dataclass(frozen=True)
class Number:
    """A number as written."""

    value: Fraction
    place: Place = field(default=Place(1, 1), compare=False, repr=False)


@dataclass(frozen=True)
class Name:
    """A name; each prime turns it into 1 minus itself."""

    text: str
    primes: int = 0
    place: Place = field(default=Place(1, 1), compare=False, repr=False)


@dataclass(frozen=True)
class Call:
    """``v(C1)``, ``sqrt(K)``."""

    name: str
    arguments: tuple[Node, ...]
    place: Place = field(default=Place(1, 1), compare=False, repr=False)


@dataclass(frozen=True)
class Sum:
    """Terms with their signs."""

    terms: tuple[tuple[int, Node], ...]


@dataclass(frozen=True)
class Product:
    """Factors, 1 above and -1 below the fraction line."""

    factors: tuple[tuple[int, Node], ...]


@dataclass(frozen=True)
class Power:
    """A rational power; the root is the power one half."""

    base: Node
    exponent: Fraction


@dataclass(frozen=True)
class Parallel:
    """``A || B``: the value of resistances or inductances side by side."""

    items: tuple[Node, ...]


Node = Number | Name | Call | Sum | Product | Power | Parallel


@dataclass(frozen=True)
class Equation:
    """One line of a derivation; ``interval`` (counted from 1) where the line itself names one."""

    left: Node
    right: Node
    text: str = ""
    line: int = 1
    interval: int | None = None


class FormulaFault(Exception):
    """A line that cannot be read; ``fault`` says what is wrong where."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(fault.message)
        self.fault = fault


@functools.cache
def parser() -> Lark:
    """The parser, built on first use."""
    from lark import Lark

    return Lark(shipped_text("formula.lark"), parser="lalr", start="equation")


def parse(text: str, line: int = 1) -> Equation:
    """The equation in ``text``, which is line ``line`` of its file; :class:`FormulaFault` where it is none.

    ``interval 2: v(L1) = Vg - v(C1)`` names the interval in the line itself.
    """
    interval = None
    body = text
    prefix = _INTERVAL.match(text)
    if prefix:
        interval = int(prefix.group(1))
        body = " " * prefix.end() + text[prefix.end() :]
    _check_size(body, line)
    from lark import Token, UnexpectedInput

    try:
        tree = parser().parse(body)
    except UnexpectedInput as error:
        token = getattr(error, "token", None)
        accepts = frozenset(getattr(error, "accepts", None) or getattr(error, "allowed", None) or ())
        at_end = isinstance(token, Token) and token.type == "$END"
        position = len(body.rstrip()) if at_end else error.pos_in_stream or 0
        raise FormulaFault(explain(body, position, accepts, line)) from None
    left, right = (_Builder(line).node(child) for child in tree.children)
    return Equation(left, right, text.strip(), line, interval)


def _check_size(text: str, line: int) -> None:
    if len(text) > LONGEST_FORMULA:
        message = f"this line has {len(text)} characters; a formula has at most {LONGEST_FORMULA}"
        raise FormulaFault(Fault("formula-too-long", message, Place(line, 1)))
    depth = 0
    for column, character in enumerate(text, 1):
        depth += (character == "(") - (character == ")")
        if depth > DEEPEST:
            message = f"more than {DEEPEST} brackets within brackets"
            raise FormulaFault(Fault("formula-too-long", message, Place(line, column)))


class _Builder:
    """Parse tree -> nodes; depth is bounded by :data:`DEEPEST`."""

    def __init__(self, line: int) -> None:
        self.line = line

    def place(self, token: Token) -> Place:
        return Place(self.line, token.column or 1)

    def node(self, tree: Tree[Any] | Any) -> Node:
        built: Node = getattr(self, str(tree.data))(tree.children)
        return built

    def sum(self, children: list[Any]) -> Node:
        if len(children) == 1:
            return self.node(children[0])
        signs = [1, *(1 if token.type == "PLUS" else -1 for token in children[1::2])]
        return Sum(tuple(zip(signs, map(self.node, children[::2]), strict=True)))

    def parallel(self, children: list[Any]) -> Node:
        if len(children) == 1:
            return self.node(children[0])
        for child in children:
            if len(child.children) > 1:
                operator = child.children[1]
                raise self.fault(
                    "ambiguous-parallel",
                    f"'||' beside '{operator}' can be read in two ways",
                    operator,
                    "write brackets: 2*(L1 || L2) or (2*L1) || L2",
                )
        return Parallel(tuple(self.node(child) for child in children))

    def product(self, children: list[Any]) -> Node:
        if len(children) == 1:
            return self.node(children[0])
        places = [1, *(1 if token.type == "TIMES" else -1 for token in children[1::2])]
        return Product(tuple(zip(places, map(self.node, children[::2]), strict=True)))

    def signed(self, children: list[Any]) -> Node:
        sign = -1 if sum(token.type == "MINUS" for token in children[:-1]) % 2 else 1
        body = self.node(children[-1])
        return body if sign == 1 else Sum(((-1, body),))

    def power(self, children: list[Any]) -> Node:
        return self.node(children[0])

    def raised(self, children: list[Any]) -> Node:
        base, exponent = children
        value = _constant(self.exponent(exponent.children))
        first = next(exponent.scan_values(lambda token: True))
        if value is None:
            raise self.fault("bad-exponent", "an exponent must be a number", first, "such as 2, -1 or (1/2)")
        return self._raise(self.node(base), value, first)

    def superscripted(self, children: list[Any]) -> Node:
        base, token = children
        return self._raise(self.node(base), Fraction(int(str(token).translate(_SUPERSCRIPTS))), token)

    def _raise(self, base: Node, value: Fraction, token: Token) -> Node:
        height = abs(value) * _height(base)
        if abs(value) > LARGEST_POWER or value.denominator > LARGEST_POWER or height > LARGEST_POWER**2:
            raise self.fault("bad-exponent", f"exponents go up to {LARGEST_POWER}", token)
        return Power(base, value)

    def exponent(self, children: list[Any]) -> Node:
        return self.signed(children)

    def roots(self, children: list[Any]) -> Node:
        built = self.node(children[-1])
        if len(children) - 1 > MOST_ROOTS:
            raise self.fault("bad-exponent", f"more than {MOST_ROOTS} roots of a root", children[0])
        for _ in children[:-1]:
            built = Power(built, Fraction(1, 2))
        return built

    def number(self, children: list[Any]) -> Node:
        token = children[0]
        mantissa, _, exponent = str(token).lower().partition("e")
        if len(mantissa) > MOST_DIGITS or (exponent and abs(int(exponent[:6])) > MOST_DIGITS):
            raise self.fault("number-out-of-range", "a number is absurdly long, large or small", token)
        return Number(Fraction(str(token)), self.place(token))

    def name(self, children: list[Any]) -> Node:
        if len(children) > 2:
            raise self.fault("bad-formula", "one prime at most: D' is 1 - D", children[2])
        return Name(str(children[0]), len(children) - 1, self.place(children[0]))

    def call(self, children: list[Any]) -> Node:
        name, *arguments = children
        return Call(str(name), tuple(self.node(argument) for argument in arguments), self.place(name))

    def group(self, children: list[Any]) -> Node:
        return self.node(children[0])

    def fault(self, kind: str, message: str, token: Any, hint: str = "") -> FormulaFault:
        """The fault at a token."""
        return FormulaFault(Fault(kind, message, self.place(token), hint=hint))


def _height(node: Node) -> Fraction:
    """How far the exponents inside ``node`` multiply, at least 1."""
    inner: tuple[Node, ...] = ()
    match node:
        case Power():
            return max(Fraction(1), abs(node.exponent)) * _height(node.base)
        case Sum():
            inner = tuple(term for _, term in node.terms)
        case Product():
            inner = tuple(factor for _, factor in node.factors)
        case Parallel():
            inner = node.items
        case Call():
            inner = node.arguments
    return max((_height(one) for one in inner), default=Fraction(1))


def _constant(node: Node) -> Fraction | None:
    """The value of a node made of numbers alone."""
    if isinstance(node, Number):
        return node.value
    if isinstance(node, Sum):
        values = [(sign, _constant(term)) for sign, term in node.terms]
        if any(value is None for _, value in values):
            return None
        return sum((sign * value for sign, value in values if value is not None), Fraction(0))
    if isinstance(node, Product):
        total = Fraction(1)
        for side, factor in node.factors:
            value = _constant(factor)
            if value is None or (side == -1 and value == 0):
                return None
            total = total * value if side == 1 else total / value
        return total
    return None
