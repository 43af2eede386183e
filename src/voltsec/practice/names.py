"""A parsed formula -> an expression in the circuit's symbols, with placeholders for quantities."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import sympy
from sympy import Expr, Rational

from voltsec.circuit.elements import Place
from voltsec.circuit.fault import Fault
from voltsec.circuit.spelling import did_you_mean
from voltsec.practice.formula import (
    Call,
    Equation,
    FormulaFault,
    Name,
    Node,
    Number,
    Parallel,
    Power,
    Product,
    Sum,
)
from voltsec.practice.quantities import (
    FUNCTIONS,
    IN_INTERVALS,
    OF_PARTS,
    PLAIN,
    ModeValues,
    Quantity,
    parts_of,
    takes,
)
from voltsec.tableau.expression import symbol


@dataclass(frozen=True)
class Claim:
    """One equation to check: both sides with placeholders, and the quantities they stand for."""

    equation: Equation
    left: Expr
    right: Expr
    quantities: tuple[Quantity, ...]
    interval: int | None


class Names:
    """What names mean in formulas about one circuit; ``modes`` are its modes' values."""

    def __init__(self, modes: tuple[ModeValues, ...]) -> None:
        self.modes = modes
        self.circuit = modes[0].circuit
        self.symbols = {quantity.symbol for quantity in self.circuit.quantities}
        self.parts = parts_of(self.circuit)
        self.abbreviations = frozenset().union(*(mode.abbreviations for mode in modes))
        source = self.circuit.input.quantity.symbol
        self.aliases: dict[str, Expr] = {
            "Vin": symbol(source),
            "Vg": symbol(source),
            "Vi": symbol(source),
            "f": 1 / symbol("T"),
            "fs": 1 / symbol("T"),
        }

    def claim(self, equation: Equation, interval: int | None) -> Claim:
        """``equation`` with every name looked up; :class:`FormulaFault` where one is unknown."""
        reading = _Reading(self, equation.line, equation.interval or interval)
        left, right = reading.expression(equation.left), reading.expression(equation.right)
        for side in (left, right):
            if side.has(sympy.zoo, sympy.nan, sympy.oo):
                message = "this formula divides by zero"
                raise FormulaFault(Fault("bad-formula", message, Place(equation.line, 1)))
        return Claim(equation, left, right, tuple(reading.used), equation.interval or interval)

    def taken(self, claim: Claim) -> str:
        """A hint about names that would be quantities if the netlist did not use them as symbols."""
        written = {free.name for free in claim.left.free_symbols | claim.right.free_symbols}
        found = [name for name in PLAIN if name in self.symbols & written and PLAIN[name] not in self.symbols]
        return "; ".join(
            f"{name} is a symbol of this netlist; the quantity is called {PLAIN[name]}" for name in found
        )

    @property
    def known(self) -> list[str]:
        """Every plain name that means something."""
        return [*sorted(self.symbols), *sorted(self.abbreviations), *PLAIN, *self.aliases]


class _Reading:
    """The translation of one line."""

    def __init__(self, names: Names, line: int, interval: int | None) -> None:
        self.names = names
        self.line = line
        self.interval = interval
        self.used: dict[Quantity, None] = {}

    def expression(self, node: Node) -> Expr:
        match node:
            case Number():
                return Rational(node.value.numerator, node.value.denominator)
            case Name():
                return self._name(node)
            case Call():
                return self._call(node)
            case Sum():
                return sympy.Add(*(sign * self.expression(term) for sign, term in node.terms))
            case Product():
                return sympy.Mul(*(self.expression(factor) ** side for side, factor in node.factors))
            case Power():
                exponent = Rational(node.exponent.numerator, node.exponent.denominator)
                return self.expression(node.base) ** exponent
            case Parallel():
                return 1 / sympy.Add(*(1 / self.expression(item) for item in node.items))

    def _name(self, node: Name) -> Expr:
        names, text = self.names, node.text
        if node.primes:
            if text not in names.circuit.duty_symbols:
                duties = ", ".join(f"{duty}'" for duty in names.circuit.duty_symbols)
                message = f"{text}' has no meaning: a prime makes 1 - D of a duty, and {text} is none"
                raise self._unknown(message, node.place, f"there is {duties}" if duties else "")
            return 1 - symbol(text)
        if text in names.symbols:
            return symbol(text)
        if text in names.abbreviations:
            return self._quantity(Quantity("defined", text))
        if text in PLAIN:
            return self._quantity(Quantity(PLAIN[text]))
        if text in names.aliases:
            return names.aliases[text]
        if text in (*OF_PARTS, *FUNCTIONS):
            hint = f"such as {self._sample(text)}"
            raise self._unknown(f"{text} needs a part in brackets", node.place, hint)
        if text in names.parts:
            kind = names.parts[text]
            hint = f"a {kind} has v({text}), i({text}), vpeak({text}), ipeak({text}), irms({text})"
            raise self._unknown(f"the {kind} {text} is no quantity", node.place, hint)
        hint = did_you_mean(text, names.known)
        if not hint:
            hint = f"the circuit's symbols are {', '.join(sorted(names.symbols))}"
        raise self._unknown(f"nothing is called '{text}' here", node.place, hint)

    def _call(self, node: Call) -> Expr:
        names, function = self.names, node.name
        if function in FUNCTIONS:
            return self._arithmetic(node)
        if function == "d" and len(node.arguments) == 1 and isinstance(node.arguments[0], Number):
            return self._quantity(Quantity("share", "", self._interval(node.arguments[0])))
        if function not in OF_PARTS:
            if function in names.known:
                message = f"'{function}' takes no brackets"
                raise self._fault("implicit-product", message, node.place, "write the product with '*'")
            hint = did_you_mean(function, (*OF_PARTS, *FUNCTIONS))
            if not hint:
                hint = f"there are {', '.join((*OF_PARTS, 'd', *FUNCTIONS))}"
            raise self._unknown(f"no quantity is called '{function}( )'", node.place, hint)
        first = node.arguments[0]
        if not isinstance(first, Name) or first.primes:
            message = f"{function}( ) takes the name of one part"
            raise self._fault("wrong-argument", message, node.place, f"such as {self._sample(function)}")
        part = first.text
        if part not in names.parts:
            hint = did_you_mean(part, names.parts) or f"the parts are {', '.join(names.parts)}"
            raise self._unknown(f"no part is called '{part}'", first.place, hint)
        if not takes(function, names.parts[part]):
            message = f"{function}( ) is not told for a {names.parts[part]}"
            raise self._fault("wrong-argument", message, first.place, f"such as {self._sample(function)}")
        interval = None
        if function in IN_INTERVALS:
            interval = self.interval
            if len(node.arguments) == 2 and isinstance(node.arguments[1], Number):
                interval = self._interval(node.arguments[1])
            elif len(node.arguments) > 1:
                raise self._fault("wrong-argument", "the second entry is an interval's number", node.place)
        elif len(node.arguments) > 1:
            raise self._fault("wrong-argument", f"{function}( ) takes one part", node.place)
        return self._quantity(Quantity(function, part, interval))

    def _arithmetic(self, node: Call) -> Expr:
        inner = [self.expression(argument) for argument in node.arguments]
        if node.name == "sqrt":
            if len(inner) != 1:
                raise self._fault("wrong-argument", "sqrt( ) takes one entry", node.place)
            return sympy.sqrt(inner[0])
        if len(inner) == 1:
            return inner[0]
        return choice(node.name, inner)

    def _interval(self, node: Number) -> int:
        most = max(len(mode.mode.intervals) for mode in self.names.modes)
        if node.value.denominator != 1 or not 1 <= node.value <= most:
            message = f"there is no interval {node.value}"
            raise self._fault("no-such-interval", message, node.place, intervals_told(self.names.modes))
        return int(node.value)

    def _quantity(self, quantity: Quantity) -> Expr:
        self.used[quantity] = None
        return quantity.placeholder

    def _sample(self, function: str) -> str:
        if function in FUNCTIONS:
            return f"{function}(K)" if function == "sqrt" else f"{function}(a, b)"
        fits = [part for part, kind in self.names.parts.items() if takes(function, kind)]
        preferred = [part for part in fits if self.names.parts[part] not in ("source", "load")]
        return f"{function}({(preferred or fits or ['L1'])[0]})"

    def _unknown(self, message: str, place: Place, hint: str) -> FormulaFault:
        return self._fault("unknown-quantity", message, place, hint)

    def _fault(self, kind: str, message: str, place: Place, hint: str = "") -> FormulaFault:
        return FormulaFault(Fault(kind, message, place, hint=hint))


def choice(name: str, entries: Iterable[Expr]) -> Expr:
    """``max`` or ``min`` of entries, in one order; sympy's own fail for roots that may be imaginary."""
    return sympy.Function(name)(*sorted(set(entries), key=sympy.default_sort_key))


def intervals_told(modes: tuple[ModeValues, ...]) -> str:
    """How many intervals each mode has, in words."""
    return "; ".join(f"{m.mode.name} has intervals 1 to {len(m.mode.intervals)}" for m in modes)
