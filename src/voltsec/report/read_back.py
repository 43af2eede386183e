"""Expressions as strings that ``sympy.sympify`` turns into the equal expressions, and the names in them."""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping
from dataclasses import fields
from typing import Any

from sympy import Add, Basic
from sympy.printing.str import StrPrinter

from voltsec.results.solution import Mode, Solution, Stress


def symbol_units(solution: Solution) -> dict[str, str]:
    """Every symbol that occurs in a formula, with its unit; the named quantities included."""
    units = dict(solution.symbols)
    known = {quantity.symbol: quantity.unit for quantity in solution.circuit.quantities}
    for mode in solution.modes:
        for expression in expressions_of(mode):
            for symbol in expression.free_symbols:
                units.setdefault(str(symbol), known.get(str(symbol), "1"))
        for name in mode.definitions:
            units.setdefault(name, "1")
    return units


def expressions_of(mode: Mode) -> Iterator[Basic]:
    """Every expression of ``mode``."""
    single = (mode.gain, mode.output_voltage, mode.efficiency, mode.holds_when, *(mode.condition or ()))
    groups: tuple[Mapping[str, Any], ...] = (
        mode.capacitor_voltages,
        mode.inductor_currents,
        mode.source_currents,
        mode.ripple,
        mode.losses,
        mode.definitions,
        mode.boundary,
    )
    found: list[Any] = [interval.fraction for interval in mode.intervals]
    found += single
    for group in groups:
        found += group.values()
    for stress in mode.stress.values():
        found += [getattr(stress, field.name) for field in fields(Stress)]
    return (expression for expression in found if isinstance(expression, Basic))


class Writer:
    """Turns an expression into the string that reads back, given the names that occur.

    ``sqrt`` is spelled as a power where a part is called so.
    """

    def __init__(self, names: Container[str]) -> None:
        self.printer = _Printer(rational_powers="sqrt" in names)

    def text(self, expression: Basic) -> str:
        """The string."""
        return str(self.printer.doprint(expression))

    def __call__(self, expression: Basic | None) -> str | None:
        """The string, or ``None`` for what is not determined."""
        return None if expression is None else self.text(expression)


class _Printer(StrPrinter):
    """As ``str``, but a sum opens with a positive term: ``1 - D - d2``, not ``-D - d2 + 1``."""

    def __init__(self, rational_powers: bool) -> None:
        super().__init__()
        self.rational_powers = rational_powers
        self._sums: dict[Add, str] = {}
        """Sums that are spelled already: the same ones stand in many results of a mode."""

    def _print_Pow(self, expr: Basic, rational: bool = False) -> str:
        return super()._print_Pow(expr, rational=rational or self.rational_powers)

    def _print_Add(self, expr: Add, order: str | None = None) -> str:
        if expr not in self._sums:
            self._sums[expr] = self._spelled(expr, order)
        return self._sums[expr]

    def _spelled(self, expr: Add, order: str | None) -> str:
        terms = [self._print(term) for term in self._as_ordered_terms(expr, order=order)]
        leader = next((n for n, term in enumerate(terms) if not term.startswith("-")), 0)
        terms.insert(0, terms.pop(leader))
        signed = [f" - {term[1:]}" if term.startswith("-") else f" + {term}" for term in terms[1:]]
        return "".join([terms[0], *signed])
