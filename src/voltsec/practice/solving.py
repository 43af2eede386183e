"""Linear equations solved the way a person does: the one with a single unknown first.

Where every equation left has several unknowns, the shortest one expresses one of them by the others.
Each step becomes a line that cites the equation and the earlier lines it used.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from voltsec.practice.blackboard import Blackboard, numbers_text
from voltsec.tableau.expression import symbol
from voltsec.tableau.ratio import Ratio, lowest_terms
from voltsec.tableau.ring import Polynomial, definite_sign

LONGEST_LINE = 60
"""Terms of a line; equations that lead to longer ones are solved together instead."""


class TooLong(Exception):
    """A line nobody could follow would come out."""


LONGEST_EQUATION = 1200
"""Equations that grow longer while values are put in are not worked out line by line."""


@dataclass
class Pending:
    """A numbered equation still to be used: ``polynomial`` is zero."""

    number: int
    words: str
    polynomial: Polynomial
    used: list[int] = field(default_factory=list)
    """Lines already put into it."""


@dataclass
class Value:
    """What a line says about a name."""

    ratio: Ratio
    number: int


class Solver:
    """Solves pending equations on a blackboard; ``values`` holds every name with a line."""

    def __init__(self, blackboard: Blackboard) -> None:
        self.blackboard = blackboard
        self.board = blackboard.board
        self.values: dict[str, Value] = {}

    def define(self, name: str, ratio: Ratio, number: int) -> None:
        """A name that has its line already."""
        self.values[name] = Value(ratio, number)

    def run(self, equations: Iterable[Pending]) -> list[Pending]:
        """Solve for every state; returns what is left without states, and is not zero."""
        waiting = list(equations)
        left: list[Pending] = []
        while waiting:
            for equation in waiting:
                self._reduce(equation)
            without = [e for e in waiting if not self.board.unknowns(e.polynomial)]
            left += [e for e in without if not e.polynomial.is_zero()]
            waiting = [e for e in waiting if self.board.unknowns(e.polynomial)]
            if waiting:
                chosen = min(waiting, key=self._cost)
                waiting.remove(chosen)
                self._solve(chosen)
        return left

    def _cost(self, equation: Pending) -> tuple[int, int, int]:
        unknowns = self.board.unknowns(equation.polynomial)
        return len(unknowns), len(equation.polynomial), equation.number

    def _reduce(self, equation: Pending) -> None:
        """Put in every value that is known."""
        ratio = Ratio(equation.polynomial, self.board.ring.one)
        for _ in range(len(self.values) + 1):
            present = self.board.unknowns(ratio.numerator) & set(self.values)
            if not present:
                break
            for name in sorted(present):
                value = self.values[name]
                ratio = self.board.put(ratio, {name: value.ratio})
                if value.number not in equation.used:
                    equation.used.append(value.number)
            if len(ratio.numerator) > LONGEST_EQUATION:
                raise TooLong(f"equation ({equation.number}) grows to {len(ratio.numerator)} terms")
        equation.polynomial = self._without_positive_factors(ratio.numerator)

    def _without_positive_factors(self, polynomial: Polynomial) -> Polynomial:
        if polynomial.is_zero():
            return polynomial
        unknowns = self.board.unknowns(polynomial)
        kept = self.board.ring.one
        for factor, power in polynomial.factor()[1]:
            if definite_sign(factor) is None or self.board.unknowns(factor) or not unknowns:
                kept = kept * factor ** int(power)
        return kept

    def _solve(self, equation: Pending) -> None:
        ring = self.board.ring
        polynomial = equation.polynomial
        choices = []
        for place, name in enumerate(self.board.states):
            if ring.degree(polynomial, name) == 1:
                constant, linear = ring.coefficients(polynomial, name)
                sure = definite_sign(linear) is None
                choices.append((sure, len(linear), place, name, constant, linear))
        if not choices:
            raise TooLong("no unknown stands by itself")
        _, _, _, name, constant, linear = min(choices, key=lambda choice: choice[:3])
        ratio = lowest_terms(-constant, linear)
        if ratio.terms > LONGEST_LINE:
            raise TooLong(f"{name} would take {ratio.terms} terms")
        with_others = f", with {numbers_text(equation.used)}" if equation.used else ""
        reason = (f"from {equation.words} ({equation.number}){with_others}",)
        self._write(name, ratio, reason, equation.number, equation.used)

    def _write(
        self, name: str, ratio: Ratio, reason: tuple[str, ...], main: int, used: Iterable[int]
    ) -> None:
        free = self.board.unknowns(ratio.numerator)
        right = self.board.write_linear(ratio) if free else self.board.write(ratio)
        number = self.blackboard.solved(symbol(name), right, reason, main, tuple(used))
        if number is None:
            raise TooLong(f"the line of {name} could not be verified")
        self.values[name] = Value(ratio, number)

    def finish(self, names: Iterable[str]) -> None:
        """Put later lines back into the earlier ones that still hold unknowns."""
        for name in names:
            value = self.values.get(name)
            if value is None or not self.board.unknowns(value.ratio.numerator):
                continue
            holder = Pending(value.number, "", value.ratio.numerator)
            ratio = self._closed(value.ratio, holder)
            if ratio.terms > LONGEST_LINE:
                raise TooLong(f"{name} would take {ratio.terms} terms")
            if ratio != value.ratio:
                reason = (f"from ({value.number}) with {numbers_text(holder.used)}",)
                self._write(name, ratio, reason, value.number, holder.used)

    def _closed(self, ratio: Ratio, holder: Pending) -> Ratio:
        for _ in range(len(self.values) + 1):
            present = self.board.unknowns(ratio.numerator) & set(self.values)
            if not present:
                break
            for name in sorted(present):
                ratio = self.board.put(ratio, {name: self.values[name].ratio})
                if self.values[name].number not in holder.used:
                    holder.used.append(self.values[name].number)
        return ratio

    def value(self, ratio: Ratio) -> tuple[Ratio, tuple[int, ...]]:
        """``ratio`` with every known value put in, and the lines that were used."""
        holder = Pending(0, "", ratio.numerator)
        closed = self._closed(ratio, holder)
        return closed, tuple(holder.used)
