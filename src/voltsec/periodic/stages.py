"""Switch intervals: what the drives alone cut the period into, for one order of the switch edges."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property, lru_cache
from math import lcm
from typing import Any

from sympy import Add, Expr, Rational
from sympy.core.relational import Relational

from voltsec.circuit.circuit import Circuit
from voltsec.circuit.timing import Edge, gaps, inside, needed, orders, schedules_of, symbols_of
from voltsec.tableau.expression import symbol


@dataclass(frozen=True)
class Stages:
    """The period cut at the switch edges, which come in the order ``edges``."""

    edges: tuple[Edge, ...]
    closed: tuple[frozenset[str], ...]
    """Switches that conduct in each switch interval; one more than there are edges."""

    @cached_property
    def symbols(self) -> tuple[str, ...]:
        """Duties and symbols of starts, in the order in which edges hold them."""
        return symbols_of(self.edges)

    @property
    def plain(self) -> bool:
        """True where every on-time begins with the period, so that the edges are the duties themselves."""
        return all(edge.constant == 0 and len(edge.symbols) == 1 for edge in self.edges)

    def fractions(self, values: Mapping[str, Any]) -> list[Any]:
        """Share of the period of each switch interval (numbers or arrays)."""
        return [after.at(values) - before.at(values) for before, after in gaps(self.edges)]

    @cached_property
    def lengths(self) -> tuple[tuple[Fraction, ...], ...]:
        """Coefficients of each switch interval's share over one and :attr:`symbols`."""
        found = []
        for before, after in gaps(self.edges):
            names = (Fraction(after.symbols.count(n) - before.symbols.count(n)) for n in self.symbols)
            found.append((after.constant - before.constant, *names))
        return tuple(found)

    @property
    def ties(self) -> tuple[tuple[Fraction, ...], ...]:
        """:attr:`lengths` where they depend on each other (equal on-times), else nothing."""
        return () if self.plain else self.lengths

    @cached_property
    def over(self) -> int:
        """A whole number by which every length becomes one with whole coefficients."""
        return lcm(*(part.denominator for length in self.lengths for part in length))

    def share(self, stage: int) -> Expr:
        """A switch interval's share of the period."""
        constant, *factors = self.lengths[stage]
        terms = [_number(f) * symbol(n) for f, n in zip(factors, self.symbols, strict=True)]
        return Add(_number(constant), *terms)

    def conditions(self) -> list[Relational]:
        """What puts the edges in this order, each as a relation solved for a symbol where that is alone."""
        return [_before(*pair) for pair in needed(self.edges)]

    def inner_point(self) -> dict[str, float]:
        """Values of :attr:`symbols` well inside this order."""
        return dict(inside(self.edges) or {})


@lru_cache(maxsize=64)
def stages_of(circuit: Circuit) -> tuple[Stages, ...]:
    """Every order of the switch edges that some duties and starts allow."""
    schedules = schedules_of(circuit)
    return tuple(Stages(order.edges, order.closed(schedules)) for order in orders(schedules))


def _number(value: Fraction) -> Rational:
    return Rational(value.numerator, value.denominator)


def _before(before: Edge, after: Edge) -> Relational:
    """``before <= after``, without what stands on both sides: where edges coincide both orders hold."""
    left = [name for name in before.symbols if name not in after.symbols]
    right = [name for name in after.symbols if name not in before.symbols]
    constant = _number(after.constant - before.constant)
    if not left and len(right) == 1:
        return symbol(right[0]) >= -constant
    low, high = Add(*map(symbol, left)), Add(*map(symbol, right))
    return low - constant <= high if constant < 0 else low <= high + constant
